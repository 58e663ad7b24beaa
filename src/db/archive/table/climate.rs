//! The files of how warm and how damp places are.

use super::super::files::{File, Scope, has, may};
use super::{MEASURED, WHOLE};
use crate::domain::archive::Kind::{Day, Id, Instant, Of, Text};

pub(super) const READINGS: File = File {
    name: "climate_readings.csv",
    table: "climate_readings",
    says: "How warm and how damp it was at places.",
    scope: Scope::Club,
    keys: &["id"],
    columns: &[
        has("id", Id),
        has("place_id", Of("places.csv")),
        has("at", Instant),
        has("day", Day).says("in the club’s zone"),
        has("temperature_c", MEASURED).kept_as("temperature_micro_c"),
        may("humidity_percent", MEASURED).kept_as("humidity_micro"),
        has("source", Text).says("which program or file it came from; empty where a person read it"),
        has("recorded_by", Of("members.csv")),
        has("recorded_at", Instant),
        may("struck_at", Instant),
        may("struck_by", Of("members.csv")),
        has("struck_because", Text),
    ],
    derived: &[],
};

pub(super) const DAYS: File = File {
    name: "climate_days.csv",
    table: "climate_days",
    says: "What the readings of a day come to.",
    scope: Scope::Club,
    keys: &["id"],
    columns: &[
        has("id", Id),
        has("place_id", Of("places.csv")),
        has("day", Day),
        has("readings", WHOLE),
        has("mean_c", MEASURED).kept_as("mean_micro_c"),
        has("lowest_c", MEASURED).kept_as("lowest_micro_c"),
        has("highest_c", MEASURED).kept_as("highest_micro_c"),
        has("worth", MEASURED).kept_as("worth_micro").says("days at 15 °C that it counts for"),
        may("humidity_percent", MEASURED).kept_as("humidity_micro"),
    ],
    derived: &[],
};
