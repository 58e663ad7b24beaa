//! The steps of a batch: planned or added, and what became of each, from records that are never changed but struck out.
//!
//! A step that is an act in the books is done by an entry and counts as done while that entry stands; reversing it
//! opens the step again by itself. How far a step is follows from its records, so that two people who look see the
//! same.

use chrono_tz::Tz;
use serde::{Deserialize, Serialize};

use super::books::EntryKind;
use super::plans::{PlanStep, StepKind, duration};
use super::refusal::Refusal;
use crate::units::days::{self, Day, Instant};
use crate::units::ids::{EntryId, ItemId, ReadingId, StepRecordId};
use crate::units::measure::{Measured, ReadingKind};
use crate::units::quantity::{BaseUnit, Milli};

#[cfg(test)]
mod tests;

/// What a record says of its step.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
pub enum RecordKind {
    /// It was done, or is being done.
    Done,
    /// It is not done, for a reason.
    LeftOut,
    /// Something to be known of it.
    Remark,
}

impl RecordKind {
    /// As in the database and the API.
    pub const fn code(self) -> &'static str {
        match self {
            Self::Done => "done",
            Self::LeftOut => "left-out",
            Self::Remark => "remark",
        }
    }

    /// From its code.
    pub fn from_code(code: &str) -> Option<Self> {
        [Self::Done, Self::LeftOut, Self::Remark].into_iter().find(|kind| kind.code() == code)
    }
}

/// A value that was read off in a step.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Taken {
    /// Which reading.
    pub reading: ReadingId,
    /// Of what.
    pub kind: ReadingKind,
    /// As corrected.
    pub value: Measured,
    /// It was struck out.
    pub struck: bool,
}

/// Something that was recorded of a step.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Record {
    /// Which.
    pub id: StepRecordId,
    /// What it says.
    pub kind: RecordKind,
    /// When it began and who began it, where that was recorded.
    pub begun: Option<(Instant, String)>,
    /// When it was done and by whom; none while it runs.
    pub done: Option<(Instant, String)>,
    /// How warm it was, °C.
    pub temperature_c: Option<Measured>,
    /// How much it was.
    pub amount: Option<(Milli, BaseUnit)>,
    /// The entry by which it was done, and whether that was reversed.
    pub entry: Option<(EntryId, bool)>,
    /// What was read off.
    pub readings: Vec<Taken>,
    /// What was written.
    pub remark: String,
    /// Why it was left out, or done all the same.
    pub because: String,
    /// If it was struck out: when, by whom, why.
    pub struck: Option<(Instant, String, String)>,
}

impl Record {
    /// Whether it counts: not struck out, and its entry not reversed.
    pub fn stands(&self) -> bool {
        self.struck.is_none() && !self.entry.is_some_and(|entry| entry.1)
    }

    /// From its beginning to its end, in whole minutes.
    pub fn minutes(&self) -> Option<i64> {
        let ((begun, _), (done, _)) = (self.begun.as_ref()?, self.done.as_ref()?);
        Some((*done - *begun).num_minutes())
    }
}

/// A step with all that was recorded of it.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Step {
    /// Its number in the batch, which stays.
    pub line: i64,
    /// What is to be done.
    pub plan: PlanStep,
    /// The name of its item.
    pub item: Option<String>,
    /// Who added it to the plan; none where it was planned from the start.
    pub added_by: Option<String>,
    /// What was recorded, oldest first.
    pub records: Vec<Record>,
}

/// How far a step is.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum State<'s> {
    /// Nothing was done of it.
    Open,
    /// It was begun.
    Running(&'s Record),
    /// It was done.
    Done(&'s Record),
    /// It is left out.
    LeftOut(&'s Record),
}

impl State<'_> {
    /// As in the API.
    pub const fn code(self) -> &'static str {
        match self {
            Self::Open => "open",
            Self::Running(_) => "running",
            Self::Done(_) => "done",
            Self::LeftOut(_) => "left-out",
        }
    }

    /// Whether something is still to be done of it.
    pub const fn is_ahead(self) -> bool {
        matches!(self, Self::Open | Self::Running(_))
    }
}

/// How a step is recorded: by which form, and so by which entry.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Act {
    /// By drawing supplies.
    Draw,
    /// By pitching the yeast.
    Pitch,
    /// By weighing off what comes off.
    ByProduct,
    /// By racking.
    Rack,
    /// By splitting.
    Split,
    /// By blending.
    Blend,
    /// By readings.
    Read,
    /// On its own: nothing comes into the books.
    Own,
}

impl Act {
    /// How a step of this kind, with or without an item, is recorded.
    pub const fn of(kind: StepKind, item: Option<ItemId>) -> Self {
        match kind {
            StepKind::Pitch => Self::Pitch,
            StepKind::Strain => Self::ByProduct,
            StepKind::Rack => Self::Rack,
            StepKind::Split => Self::Split,
            StepKind::Blend => Self::Blend,
            StepKind::Sample => Self::Read,
            StepKind::Curdle
            | StepKind::SplitLactose
            | StepKind::Sweeten
            | StepKind::Fine
            | StepKind::Stabilise
            | StepKind::BackSweeten => Self::Draw,
            _ if item.is_some() => Self::Draw,
            _ => Self::Own,
        }
    }

    /// The kind of entry that does it.
    pub const fn entry(self) -> Option<EntryKind> {
        match self {
            Self::Draw => Some(EntryKind::Draw),
            Self::Pitch => Some(EntryKind::Pitch),
            Self::ByProduct => Some(EntryKind::ByProduct),
            Self::Rack => Some(EntryKind::Racking),
            Self::Split => Some(EntryKind::Split),
            Self::Blend => Some(EntryKind::Blend),
            Self::Read | Self::Own => None,
        }
    }
}

impl Step {
    /// How far it is.
    pub fn state(&self) -> State<'_> {
        let of = |record: &&Record| record.stands() && record.kind != RecordKind::Remark;
        match self.records.iter().rfind(of) {
            None => State::Open,
            Some(record) if record.kind == RecordKind::LeftOut => State::LeftOut(record),
            Some(record) if record.done.is_some() => State::Done(record),
            Some(record) => State::Running(record),
        }
    }

    /// How it is recorded.
    pub fn act(&self) -> Act {
        Act::of(self.plan.kind, self.plan.item)
    }

    /// What it is called in a sentence: its words, or those of its kind.
    pub fn name(&self) -> &str {
        if self.plan.what.is_empty() { self.plan.kind.name() } else { &self.plan.what }
    }

    /// Whether its beginning is recorded by itself, because it takes a while.
    pub fn takes_time(&self) -> bool {
        self.plan.kind == StepKind::Hold || self.plan.minutes.is_some_and(|minutes| minutes > 0)
    }

    /// When it is over, if it runs and how long it takes is known.
    pub fn ends_at(&self) -> Option<Instant> {
        match (self.state(), self.plan.minutes) {
            (State::Running(record), Some(minutes)) => {
                Some(record.begun.as_ref()?.0 + chrono::Duration::minutes(minutes))
            }
            _ => None,
        }
    }

    /// What it did of what it should: "63.4 °C instead of 63".
    pub fn took(&self, record: &Record) -> Option<String> {
        let took = record.minutes()?;
        match self.plan.minutes {
            Some(planned) if planned != took => {
                Some(format!("{} instead of {}", duration(took), duration(planned)))
            }
            _ => Some(duration(took)),
        }
    }
}

/// The step that is running or comes next.
pub fn current(steps: &[Step]) -> Option<&Step> {
    steps.iter().find(|step| step.state().is_ahead())
}

/// The steps before this one that are still to be done; what was passed over before an earlier step was done is not
/// asked for again.
pub fn passed_over(steps: &[Step], line: i64) -> Vec<&Step> {
    let mut found = Vec::new();
    for step in steps.iter().take_while(|step| step.line != line) {
        match step.state() {
            State::Done(_) => found.clear(),
            State::LeftOut(_) => {}
            State::Open | State::Running(_) => found.push(step),
        }
    }
    found
}

/// "14:32", or with its day where that is not today.
pub fn clock(at: Instant, zone: Tz, today: Day) -> String {
    let local = days::local(at, zone);
    let time = local.format("%H:%M");
    if local.date() == today {
        time.to_string()
    } else {
        format!("{time} on {}", days::short(local.date(), today))
    }
}

/// Refuses a step that somebody has done or left out already.
pub fn still_ahead(step: &Step, zone: Tz, today: Day) -> Result<(), Refusal> {
    let (record, did) = match step.state() {
        State::Open | State::Running(_) => return Ok(()),
        State::Done(record) => (record, "did this step"),
        State::LeftOut(record) => (record, "left this step out"),
    };
    let (at, who) = record.done.clone().unwrap_or_default();
    Err(Refusal::conflict(
        "",
        format!("{who} {did} at {}; nothing was recorded a second time", clock(at, zone, today)),
    ))
}

/// The field that says that a step is done before those that come first.
pub const OUT_OF_ORDER: &str = "out_of_order";

/// Asks before a step is done out of its turn.
pub fn in_turn(steps: &[Step], line: i64, out_of_order: bool) -> Result<(), Refusal> {
    match question(steps, line) {
        Some(question) if !out_of_order => Err(Refusal::conflict(OUT_OF_ORDER, question)),
        _ => Ok(()),
    }
}

/// What is asked before a step is done out of its turn.
pub fn question(steps: &[Step], line: i64) -> Option<String> {
    let before = passed_over(steps, line);
    let first = before.first()?;
    let name = first.name();
    let more = match before.len() {
        1 => String::new(),
        2 => ", nor one more step".to_owned(),
        more => format!(", nor {} more steps", more - 1),
    };
    let running = matches!(first.state(), State::Running(_));
    Some(if running {
        format!("“{name}” is still running{more}: end it first, or say that this one is done all the same")
    } else {
        format!("“{name}” is not done yet{more}: do it first, or say that this one is done all the same")
    })
}
