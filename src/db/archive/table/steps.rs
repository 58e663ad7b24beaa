//! The files of the steps of batches in an archive.

use super::{MEASURED, QUANTITY, UNIT, WHOLE};
use crate::db::archive::files::{File, Scope, has, may};
use crate::domain::archive::Kind::{Id, Instant, Of, Text, Word};
use crate::domain::plans::StepKind;
use crate::domain::steps::RecordKind;

/// The steps.
pub const STEPS: File = File {
    name: "steps.csv",
    table: "steps",
    says: "Steps of a batch, planned or added to the plan.",
    scope: Scope::Club,
    keys: &["batch_id", "line"],
    columns: &[
        has("batch_id", Of("batches.csv")),
        has("line", WHOLE).says("its number, which stays"),
        has("turn", WHOLE).says("its turn among the steps of its batch"),
        has("kind", Word(|word| StepKind::from_code(word).is_some())),
        has("what", Text),
        may("amount", QUANTITY),
        may("unit", UNIT),
        may("item_id", Of("items.csv")),
        may("target_c", MEASURED).kept_as("target_micro_c"),
        may("minutes", WHOLE),
        has("caution", Text),
        may("added_by", Of("members.csv")).says("who added it to the plan"),
    ],
    derived: &[],
};

/// What became of them.
pub const RECORDS: File = File {
    name: "step_records.csv",
    table: "step_records",
    says: "What became of the steps: begun, done, left out, remarked.",
    scope: Scope::Club,
    keys: &["id"],
    columns: &[
        has("id", Id),
        has("batch_id", Of("batches.csv")),
        has("line", WHOLE).says("which step of the batch"),
        has("kind", Word(|word| RecordKind::from_code(word).is_some())),
        may("begun_at", Instant),
        may("begun_by", Of("members.csv")),
        may("done_at", Instant).says("empty while it runs"),
        may("done_by", Of("members.csv")),
        may("temperature_c", MEASURED).kept_as("temperature_micro_c"),
        may("amount", QUANTITY),
        may("unit", UNIT),
        may("entry_id", Of("entries.csv")).says("the entry by which it was done"),
        has("remark", Text),
        has("because", Text).says("why it was left out, or done all the same"),
        has("recorded_at", Instant),
        may("struck_at", Instant),
        may("struck_by", Of("members.csv")),
        has("struck_because", Text),
    ],
    derived: &[],
};

/// What was measured in them.
pub const READINGS: File = File {
    name: "step_readings.csv",
    table: "step_readings",
    says: "The readings that were taken in a step.",
    scope: Scope::Club,
    keys: &["record_id", "reading_id"],
    columns: &[has("record_id", Of("step_records.csv")), has("reading_id", Of("readings.csv"))],
    derived: &[],
};
