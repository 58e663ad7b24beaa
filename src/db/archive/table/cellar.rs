//! The files of what is minded in the cellar.

use super::super::files::{File, Scope, has, may};
use crate::domain::archive::Kind::{Day, Flag, Id, Instant, Number, Of, Text, Word};
use crate::domain::cautions::Rule;
use crate::domain::vessels::{Closure, Material};

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

pub(super) const VESSELS: File = File {
    name: "vessels.csv",
    table: "vessels",
    says: "What batches stand in.",
    scope: Scope::Club,
    keys: &["id"],
    columns: &[
        has("id", Id),
        has("code", Text),
        has("material", Word(|word| Material::from_code(word).is_some())),
        has("capacity_ml", Number(3)).kept_as("capacity").says("to the brim"),
        has("safe_filling_ml", Number(3)).kept_as("safe_filling").says("the most in it while it works"),
        has("place_id", Of("places.csv")),
        has("closure", Word(|word| Closure::from_code(word).is_some())),
        has("worn", Flag).says("old, scratched or chipped"),
        has("marks", Text),
        may("cleaned_on", Day),
        may("out_of_use_since", Day),
        has("out_of_use_because", Text),
    ],
    derived: &[],
};

pub(super) const FILLINGS: File = File {
    name: "fillings.csv",
    table: "fillings",
    says: "Which batch was in which vessel, from when to when.",
    scope: Scope::Club,
    keys: &["id"],
    columns: &[
        has("id", Id),
        has("vessel_id", Of("vessels.csv")),
        has("batch_id", Of("batches.csv")),
        has("volume_ml", Number(3)).kept_as("volume"),
        has("filled_on", Day),
        may("entry_id", Of("entries.csv")).says("the entry with which it came in"),
        has("recorded_by", Of("members.csv")),
        has("recorded_at", Instant),
        may("emptied_on", Day),
        may("emptied_entry", Of("entries.csv")).says("the entry with which it left"),
        has("emptied_because", Text),
        may("struck_at", Instant),
        may("struck_by", Of("members.csv")),
        has("struck_because", Text),
    ],
    derived: &[],
};

pub(super) const HOLDS: File = File {
    name: "holds.csv",
    table: "holds",
    says: "Lots that are or were held back.",
    scope: Scope::Club,
    keys: &["id"],
    columns: &[
        has("id", Id),
        has("lot_id", Of("lots.csv")),
        may("because_of", Of("lots.csv")).says("the lot of which it came, where that was held with all"),
        has("reason", Text),
        has("held_by", Of("members.csv")),
        has("held_at", Instant),
        may("released_at", Instant),
        may("released_by", Of("members.csv")),
        has("released_because", Text),
    ],
    derived: &[],
};
