//! The files of what is minded in the cellar.

use super::super::files::{File, Scope, has, may};
use crate::domain::archive::Kind::{Id, Instant, Of, Text, Word};
use crate::domain::cautions::Rule;

pub(super) const REASONS: File = File {
    name: "reasons.csv",
    table: "reasons",
    says: "Why somebody went on in spite of a dangerous caution.",
    scope: Scope::Club,
    keys: &["id"],
    columns: &[
        has("id", Id),
        has("batch_id", Of("batches.csv")),
        may("entry_id", Of("entries.csv")),
        has("rule", Word(|word| Rule::from_code(word).is_some())),
        has("danger", Text).says("the caution as it was worded then"),
        has("words", Text).says("the reason"),
        has("given_by", Of("members.csv")),
        has("given_at", Instant),
    ],
    derived: &[],
};
