//! The files of counts.

use super::super::files::{File, Scope, has, may};
use super::{COST, QUANTITY, UNIT, WHOLE};
use crate::domain::archive::Kind::{Flag, Id, Instant, Of, Text, Word};
use crate::domain::counts::{Ending, Reason};

pub(super) const WALKING_ORDER: File = File {
    name: "walking_order.csv",
    table: "walking_order",
    says: "In which order one walks past the places when they are counted.",
    scope: Scope::Club,
    keys: &["place_id"],
    columns: &[has("place_id", Of("places.csv")), has("number", WHOLE)],
    derived: &[],
};

pub(super) const COUNTS: File = File {
    name: "counts.csv",
    table: "counts",
    says: "Stock-takings.",
    scope: Scope::Club,
    keys: &["id"],
    columns: &[
        has("id", Id),
        has("code", Text),
        has("title", Text),
        has("started_by", Of("members.csv")),
        has("started_at", Instant),
        may("ended_at", Instant).says("since when its differences are looked at"),
        may("ended_by", Of("members.csv")),
        may("over_at", Instant).says("since when nothing of it is open"),
        has("called_off_because", Text),
    ],
    derived: &[],
};

pub(super) const COUNT_LINES: File = File {
    name: "count_lines.csv",
    table: "count_lines",
    says: "What is counted: a lot at a place, or something found that the books did not know.",
    scope: Scope::Club,
    keys: &["id"],
    columns: &[
        has("id", Id),
        has("count_id", Of("counts.csv")),
        has("number", WHOLE),
        has("place_id", Of("places.csv")),
        may("lot_id", Of("lots.csv")),
        has("what", Text),
        has("unit", UNIT),
        has("found", Flag).says("it was not on the sheet"),
        may("asked_at", Instant).says("since when a second count is asked for"),
        may("asked_by", Of("members.csv")),
        may("chosen_id", Of("tallies.csv")).says("which of several counts stands"),
        may("reason", Word(|word| Reason::from_code(word).is_some())),
        has("words", Text),
        may("outcome", Word(|word| Ending::from_code(word).is_some())),
        may("settled_at", Instant),
        may("settled_by", Of("members.csv")),
        may("entry_id", Of("entries.csv")).says("what put the books right"),
        may("counted", QUANTITY),
        may("book", QUANTITY).says("what the books said of the instant at which it was counted"),
        may("worth", COST).says("of the difference"),
    ],
    derived: &[],
};

pub(super) const TALLIES: File = File {
    name: "tallies.csv",
    table: "tallies",
    says: "What somebody counted, as it was said.",
    scope: Scope::Club,
    keys: &["id"],
    columns: &[
        has("id", Id),
        has("count_id", Of("counts.csv")),
        has("line_id", Of("count_lines.csv")),
        has("member_id", Of("members.csv")),
        has("counted", QUANTITY),
        may("gross_g", QUANTITY).kept_as("gross"),
        may("tare_g", QUANTITY).kept_as("tare"),
        has("opened", Flag).says("a package of it was open"),
        has("remark", Text),
        has("counted_at", Instant),
        has("recorded_at", Instant),
    ],
    derived: &[],
};
