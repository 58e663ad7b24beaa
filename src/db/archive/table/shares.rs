//! The files of whose the bottles of a batch are.

use super::super::files::{File, Scope, has};
use super::{COST, WHOLE};
use crate::domain::archive::Kind::{Instant, Of, Text};

pub(super) const SHARES: File = File {
    name: "shares.csv",
    table: "shares",
    says: "Who has which part of a batch.",
    scope: Scope::Club,
    keys: &["batch_id", "member_id"],
    columns: &[
        has("batch_id", Of("batches.csv")),
        has("member_id", Of("members.csv")),
        has("laid_out", COST),
        has("worked", COST).says("what work counts for"),
        has("settled_by", Of("members.csv")),
        has("settled_at", Instant),
    ],
    derived: &[],
};

pub(super) const WISHES: File = File {
    name: "wishes.csv",
    table: "wishes",
    says: "What members would like to have of a bottling.",
    scope: Scope::Club,
    keys: &["bottling_id", "member_id"],
    columns: &[
        has("bottling_id", Of("bottlings.csv")),
        has("member_id", Of("members.csv")),
        has("bottles", WHOLE),
        has("remark", Text),
        has("wished_at", Instant),
    ],
    derived: &[],
};
