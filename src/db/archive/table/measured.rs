//! What was measured of a batch, and what is kept beside its books.

use super::super::files::{File, Scope, has, may};
use super::{COST, MEASURED, QUANTITY, WHOLE};
use crate::domain::archive::Kind::{Day, Id, Instant, Of, Text, Word};
use crate::domain::costs::by_products::By;
use crate::domain::efforts::EffortKind;
use crate::domain::instruments::InstrumentKind;
use crate::units::measure::ReadingKind;

pub(super) const BY_PRODUCT_SHARES: File = File {
    name: "by_product_shares.csv",
    table: "by_product_shares",
    says: "How a by-product took its share of the cost, and what the other ways would rest on.",
    scope: Scope::Club,
    keys: &["entry_id"],
    columns: &[
        has("entry_id", Of("entries.csv")),
        has("method", Word(|word| By::from_code(word).is_some())),
        has("worth", COST).says("quantity times net value"),
        has("mass_g", QUANTITY).kept_as("mass"),
        has("drink_mass_g", QUANTITY).kept_as("drink_mass").says("what was left in the batch"),
        may("drink_worth", COST).says("what that would sell for"),
    ],
    derived: &[],
};

pub(super) const EFFORTS: File = File {
    name: "efforts.csv",
    table: "efforts",
    says: "Work and energy that went into a batch; they are beside the books.",
    scope: Scope::Club,
    keys: &["id"],
    columns: &[
        has("id", Id),
        has("batch_id", Of("batches.csv")),
        has("day", Day),
        has("kind", Word(|word| EffortKind::from_code(word).is_some())),
        may("amount", QUANTITY).says("hours, or kWh"),
        has("cost", COST),
        has("remark", Text),
        has("recorded_by", Of("members.csv")),
        has("recorded_at", Instant),
        may("struck_at", Instant),
        may("struck_by", Of("members.csv")),
        has("struck_because", Text),
    ],
    derived: &[],
};

pub(super) const INSTRUMENTS: File = File {
    name: "instruments.csv",
    table: "instruments",
    says: "Instruments, and what they are known to be off by.",
    scope: Scope::Club,
    keys: &["id"],
    columns: &[
        has("id", Id),
        has("name", Text),
        has("kind", Word(|word| InstrumentKind::from_code(word).is_some())),
        may("made_for_c", MEASURED).kept_as("made_for_micro_c").says("the temperature it is made for"),
        has("offset", MEASURED).kept_as("offset_micro").says("added to what it shows"),
        has("checked_on", Day),
        may("retired_at", Instant),
    ],
    derived: &[],
};

pub(super) const READING_IMPORTS: File = File {
    name: "reading_imports.csv",
    table: "reading_imports",
    says: "Files of loggers, each brought in as one act.",
    scope: Scope::Club,
    keys: &["id"],
    columns: &[
        has("id", Id),
        has("batch_id", Of("batches.csv")),
        has("file_name", Text),
        has("kept", WHOLE),
        has("known", WHOLE).says("rows that were there before"),
        has("left_out", WHOLE).says("rows that could not be read"),
        has("recorded_by", Of("members.csv")),
        has("recorded_at", Instant),
        may("undone_at", Instant),
        may("undone_by", Of("members.csv")),
    ],
    derived: &[],
};

pub(super) const READINGS: File = File {
    name: "readings.csv",
    table: "readings",
    says: "Measured values.",
    scope: Scope::Club,
    keys: &["id"],
    columns: &[
        has("id", Id),
        has("batch_id", Of("batches.csv")),
        has("at", Instant),
        has("kind", Word(|word| ReadingKind::from_code(word).is_some())),
        has("read", MEASURED).kept_as("read_micro").says("as the instrument showed it"),
        may("sample_temperature_c", MEASURED).kept_as("sample_micro_c"),
        has("value", MEASURED).kept_as("value_micro").says("as corrected"),
        has("remark", Text),
        has("recorded_by", Of("members.csv")),
        has("recorded_at", Instant),
        may("struck_at", Instant),
        may("struck_by", Of("members.csv")),
        has("struck_because", Text),
        may("instrument_id", Of("instruments.csv")),
        may("import_id", Of("reading_imports.csv")),
        has("source", Text).says("which program or file it came from; empty where a person wrote it"),
    ],
    derived: &[],
};
