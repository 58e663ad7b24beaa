//! What somebody should do by a day: which reminders follow from the state of the cellar.
//!
//! Each reminder has a key that says what it is about; the periodic job makes each key once.

use serde::{Deserialize, Serialize};

use super::climate::{Lasting, Trouble};
use super::counts::accuracy::Class;
use crate::science::fermentation::{Reading, flat_days};
use crate::units::days::Day;
use crate::units::ids::{BatchId, BottlingId, ItemId, LotId, PlaceId, StepRecordId};

/// What kind of thing is due.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum ReminderKind {
    /// A bottling has reached an age at which it should be tasted.
    Tasting,
    /// A working batch has not been read for a while.
    Reading,
    /// A lot should be used.
    UseBy,
    /// An item is low.
    Low,
    /// A step of a batch has taken as long as it should.
    Step,
    /// Bottles stand too warm.
    TooWarm,
    /// Bottles stand in the frost.
    Frost,
    /// It is warm and cold within a day where bottles stand.
    Swing,
    /// Items were not counted for too long.
    Count,
}

impl ReminderKind {
    /// All kinds.
    pub const ALL: [ReminderKind; 9] = [
        Self::Tasting,
        Self::Reading,
        Self::UseBy,
        Self::Low,
        Self::Step,
        Self::TooWarm,
        Self::Frost,
        Self::Swing,
        Self::Count,
    ];

    /// As in the database and the API.
    pub const fn code(self) -> &'static str {
        match self {
            Self::Tasting => "tasting",
            Self::Reading => "reading",
            Self::UseBy => "use-by",
            Self::Low => "low",
            Self::Step => "step",
            Self::TooWarm => "too-warm",
            Self::Frost => "frost",
            Self::Swing => "swing",
            Self::Count => "count",
        }
    }

    /// From its code.
    pub fn from_code(code: &str) -> Option<Self> {
        Self::ALL.into_iter().find(|kind| kind.code() == code)
    }
}

/// What a reminder is about.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Subject {
    /// A bottling.
    Bottling(BottlingId),
    /// A batch.
    Batch(BatchId),
    /// A lot.
    Lot(LotId),
    /// An item.
    Item(ItemId),
    /// A place.
    Place(PlaceId),
    /// The whole cellar.
    Cellar,
}

/// A reminder to be made, unless its key is there already.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct NewReminder {
    /// Kind.
    pub kind: ReminderKind,
    /// Unique in the club: the same thing is never made twice.
    pub key: String,
    /// The day it is due.
    pub due_on: Day,
    /// What it is about.
    pub subject: Subject,
    /// What to do, in a few words.
    pub text: String,
}

/// Days before a use-by day on which its reminder falls.
pub const USE_BY_NOTICE_DAYS: i64 = 3;
/// A working batch should be read at least this often.
pub const READ_EVERY_DAYS: i64 = 3;

/// A tasting so many days before an age answers its reminder too (common practice, no source).
pub const TASTED_EARLY_DAYS: i64 = 14;

/// A tasting age that falls on `falls_on`.
pub fn tasting(bottling: BottlingId, age_days: i64, falls_on: Day) -> NewReminder {
    NewReminder {
        kind: ReminderKind::Tasting,
        key: format!("tasting:{bottling}:{age_days}"),
        due_on: falls_on,
        subject: Subject::Bottling(bottling),
        text: format!("Taste at {}", crate::units::days::age(age_days)),
    }
}

/// A working batch whose last reading (or pitch) was on `last`.
pub fn reading(batch: BatchId, last: Day) -> NewReminder {
    NewReminder {
        kind: ReminderKind::Reading,
        key: format!("reading:{batch}:{last}"),
        due_on: last + chrono::Duration::days(READ_EVERY_DAYS),
        subject: Subject::Batch(batch),
        text: "Read gravity and temperature".to_owned(),
    }
}

/// A step that runs and was over on `day`.
pub fn step_over(record: StepRecordId, batch: BatchId, day: Day, step: &str) -> NewReminder {
    NewReminder {
        kind: ReminderKind::Step,
        key: format!("step:{record}"),
        due_on: day,
        subject: Subject::Batch(batch),
        text: format!("“{step}” is over"),
    }
}

/// A lot with something left and a last good day.
pub fn use_by(lot: LotId, best_before: Day, left: &str, item: &str) -> NewReminder {
    NewReminder {
        kind: ReminderKind::UseBy,
        key: format!("use-by:{lot}:{best_before}"),
        due_on: best_before - chrono::Duration::days(USE_BY_NOTICE_DAYS),
        subject: Subject::Lot(lot),
        text: use_by_text(item, left),
    }
}

/// What to do about a lot of which so much is left.
pub fn use_by_text(item: &str, left: &str) -> String {
    format!("Use {left} of {item}")
}

/// An item that has run low, noticed on `today`; it may be noticed again when it was filled up in between.
pub fn low(item: ItemId, name: &str, left: Option<&str>, today: Day, filled_up: Option<Day>) -> NewReminder {
    NewReminder {
        kind: ReminderKind::Low,
        key: format!("low:{item}:{}", filled_up.unwrap_or(Day::MIN)),
        due_on: today,
        subject: Subject::Item(item),
        text: low_text(name, left),
    }
}

/// What to do about an item of which so much is left.
pub fn low_text(name: &str, left: Option<&str>) -> String {
    match left {
        None => format!("Buy {name}: none is left"),
        Some(left) => format!("Buy {name}: {left} left"),
    }
}

/// A place where bottles stand, too warm, frosty or changing since a day: said once as long as it lasts.
pub fn climate(place: PlaceId, name: &str, lasting: &Lasting) -> NewReminder {
    let figure = lasting.worst_c;
    let (kind, text) = match lasting.trouble {
        Trouble::Warm => (ReminderKind::TooWarm, format!("{name} is too warm for bottles: {figure:.1} °C")),
        Trouble::Frost => (ReminderKind::Frost, format!("Frost where bottles stand, {name}: {figure:.1} °C")),
        Trouble::Swing => (ReminderKind::Swing, format!("{figure:.1} °C between night and day, {name}")),
    };
    NewReminder {
        kind,
        key: format!("{}:{place}:{}", kind.code(), lasting.since),
        due_on: lasting.since,
        subject: Subject::Place(place),
        text,
    }
}

/// Items of a class that were to be counted by a day and were not: the one that waits longest, and how many in all.
pub fn count(class: Class, due_on: Day, names: &[&str]) -> NewReminder {
    let what = match names {
        [one] => (*one).to_owned(),
        [one, other] => format!("{one} and {other}"),
        [one, rest @ ..] => format!("{one} and {} more items", rest.len()),
        [] => String::new(),
    };
    NewReminder {
        kind: ReminderKind::Count,
        key: format!("count:{}:{due_on}", class.letter()),
        due_on,
        subject: Subject::Cellar,
        text: format!("Count {what}, class {}", class.letter()),
    }
}

/// A gravity that has not moved for so many days, above this, is taken for a fermentation that stopped
/// before its end (common practice, no source).
pub const STOPPED_DAYS: f64 = 5.0;
/// Above this no usual drink has fermented out.
pub const STOPPED_ABOVE_SG: f64 = 1.010;

/// For how many days a working batch has stood still too high to be finished; none where it moves, is low
/// enough, or too little has been read to say.
#[allow(clippy::cast_possible_truncation, reason = "days between two readings")]
pub fn stopped_for(readings: &[Reading]) -> Option<i64> {
    let last = readings.last()?;
    let days = flat_days(readings).ok()?;
    (last.sg > STOPPED_ABOVE_SG && days >= STOPPED_DAYS).then_some(days as i64)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_batch_that_stands_still_too_high_is_noticed() {
        let read = |points: &[(f64, f64)]| {
            let reading = |&(day, sg): &(f64, f64)| Reading { day, sg, temperature_c: None };
            stopped_for(&points.iter().map(reading).collect::<Vec<_>>())
        };
        assert_eq!(read(&[(0.0, 1.088), (20.0, 1.0234), (23.0, 1.023), (25.2, 1.0232)]), Some(5));
        assert_eq!(read(&[(0.0, 1.088), (20.0, 1.0234), (23.0, 1.023)]), None, "three days say little");
        assert_eq!(read(&[(0.0, 1.088), (20.0, 1.002), (27.0, 1.002)]), None, "low enough to be finished");
        assert_eq!(read(&[(0.0, 1.088), (20.0, 1.050), (27.0, 1.040)]), None, "it moves");
        assert_eq!(read(&[]), None);
    }
}
