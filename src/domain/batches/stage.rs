//! How far a batch is. The stage follows from the entries that stand, in the order of their days, and from nothing
//! else:
//!
//! - Nothing came into it: planned. Supplies, or must from another batch: preparing.
//! - Yeast is pitched, or working must comes from another batch: working, whatever else is in it.
//! - Working must is racked, or some of it bottled: resting. Racking what has no yeast in it yet changes nothing.
//! - Resting drink that comes into a batch leaves one that works working; any other it makes resting.
//! - All of it is bottled: laid down. Closed and abandoned end it.
//!
//! So a batch that has working must in it is working until it is racked, and reversing an entry gives the stage that it
//! would have had without it. How far drink was that came from another batch is part of the entry that moved it.

use serde::{Deserialize, Serialize};

use crate::domain::books::EntryKind;
use crate::units::days::Day;
use crate::units::ids::EntryId;
use crate::units::measure::Measured;
use crate::units::money::Money;
use crate::units::quantity::Milli;

/// How far a batch is.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, PartialOrd, Ord, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Stage {
    /// On paper, nothing drawn.
    Planned,
    /// Supplies drawn.
    Preparing,
    /// Yeast pitched.
    Working,
    /// Off the lees or done, in bulk.
    Resting,
    /// Bottled, ageing.
    LaidDown,
    /// Books settled, nothing left.
    Closed,
    /// Given up, with the reason and the loss.
    Abandoned,
}

impl Stage {
    /// All stages in the order of a life.
    pub const ALL: [Stage; 7] = [
        Self::Planned,
        Self::Preparing,
        Self::Working,
        Self::Resting,
        Self::LaidDown,
        Self::Closed,
        Self::Abandoned,
    ];

    /// As in the database and the API.
    pub const fn code(self) -> &'static str {
        match self {
            Self::Planned => "planned",
            Self::Preparing => "preparing",
            Self::Working => "working",
            Self::Resting => "resting",
            Self::LaidDown => "laid-down",
            Self::Closed => "closed",
            Self::Abandoned => "abandoned",
        }
    }

    /// For people.
    pub const fn label(self) -> &'static str {
        match self {
            Self::LaidDown => "laid down",
            other => other.code(),
        }
    }

    /// From its code.
    pub fn from_code(code: &str) -> Option<Self> {
        Self::ALL.into_iter().find(|stage| stage.code() == code)
    }

    /// Nothing more is recorded for it.
    pub const fn ended(self) -> bool {
        matches!(self, Self::Closed | Self::Abandoned)
    }
}

/// An entry that moved a batch and stands: neither reversed nor a reversal.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Moved {
    /// Which.
    pub entry: EntryId,
    /// What happened.
    pub kind: EntryKind,
    /// On which day.
    pub day: Day,
    /// What came (+) or went (−).
    pub volume: Milli,
    /// What it cost.
    pub cost: Money,
    /// What the drink was, where it came from another batch.
    pub came: Option<Came>,
}

/// Drink that goes from one batch to another, as its record gives it when that is recorded.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Came {
    /// How far it is.
    pub progress: Progress,
    /// The gravity it began with, where nothing but its yeast has changed it since.
    pub first_gravity: Option<Measured>,
    /// Its strength, % vol, where that is known.
    pub strength: Option<Measured>,
}

impl Moved {
    /// Drink that came from another batch.
    pub fn from_another(&self) -> bool {
        matches!(self.kind, EntryKind::Split | EntryKind::Blend) && self.volume > Milli::ZERO
    }
}

/// How far a batch is, and since when its yeast has been in it.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
pub struct Progress {
    /// How far.
    pub stage: Stage,
    /// When the yeast was pitched, into it or into the batch it came from.
    pub pitched_on: Option<Day>,
}

/// How far a batch is, from the entries that stand; their order does not matter, only their days, and of one day the
/// order in which they were recorded.
pub fn progress(moved: &[Moved]) -> Progress {
    let mut moved: Vec<&Moved> = moved.iter().collect();
    moved.sort_by_key(|line| (line.day, line.entry));
    let had = |kind| moved.iter().any(|line| line.kind == kind);
    let left: Milli = moved.iter().map(|line| line.volume).sum();
    let stage = if had(EntryKind::Abandonment) {
        Stage::Abandoned
    } else if had(EntryKind::Closing) {
        Stage::Closed
    } else if had(EntryKind::Bottling) && left <= Milli::ZERO {
        Stage::LaidDown
    } else {
        moved.iter().fold(Stage::Planned, |stage, line| after(stage, line))
    };
    let own = moved.iter().find(|line| line.kind == EntryKind::Pitch).map(|line| line.day);
    let came =
        || moved.iter().filter(|line| line.from_another()).find_map(|line| line.came?.progress.pitched_on);
    Progress { stage, pitched_on: own.or_else(came) }
}

/// How far what is in a batch is after one more entry.
fn after(stage: Stage, line: &Moved) -> Stage {
    match line.kind {
        EntryKind::Pitch => Stage::Working,
        EntryKind::Racking if stage == Stage::Working => Stage::Resting,
        EntryKind::Bottling => Stage::Resting,
        EntryKind::Split | EntryKind::Blend if line.volume > Milli::ZERO => {
            let came = line.came.map_or(Stage::Preparing, |came| came.progress.stage);
            if [stage, came].contains(&Stage::Working) {
                Stage::Working
            } else {
                stage.max(came).clamp(Stage::Preparing, Stage::Resting)
            }
        }
        EntryKind::Draw => stage.max(Stage::Preparing),
        _ if line.volume > Milli::ZERO || line.cost > Money::ZERO => stage.max(Stage::Preparing),
        _ => stage,
    }
}

/// Whether an entry of this kind can change the stage of a batch at all: supplies drawn into one that is under way
/// cannot, and they are what is recorded most.
pub const fn may_change(kind: EntryKind, stage: Stage) -> bool {
    !(matches!(kind, EntryKind::Draw) && matches!(stage, Stage::Preparing | Stage::Working | Stage::Resting))
}

#[cfg(test)]
mod tests {
    use super::*;

    /// An entry of a batch: what happened on which day of June, litres, and how far what came was.
    fn on(day: u32, kind: EntryKind, litres: i64, came: Option<Stage>) -> Moved {
        let day = Day::from_ymd_opt(2026, 6, day).unwrap();
        Moved {
            entry: EntryId::fresh(),
            kind,
            day,
            volume: Milli::new(litres * 1_000_000),
            cost: Money::ZERO,
            came: came.map(|stage| Came {
                progress: Progress { stage, pitched_on: Day::from_ymd_opt(2026, 5, 1) },
                first_gravity: None,
                strength: None,
            }),
        }
    }

    fn draw() -> Moved {
        on(1, EntryKind::Draw, 40, None)
    }

    fn pitch() -> Moved {
        on(2, EntryKind::Pitch, 0, None)
    }

    #[track_caller]
    fn stands(at: Stage, moved: &[Moved]) {
        assert_eq!(progress(moved).stage, at);
        let mut turned = moved.to_vec();
        turned.reverse();
        assert_eq!(progress(&turned).stage, at, "the order in which they are loaded does not matter");
    }

    #[test]
    fn a_batch_goes_from_stage_to_stage() {
        use EntryKind::{Abandonment, Blend, Bottling, Closing, Loss, Racking};
        stands(Stage::Planned, &[]);
        stands(Stage::Preparing, &[draw()]);
        stands(Stage::Preparing, &[draw(), on(2, Racking, -1, None)]);
        stands(Stage::Working, &[draw(), on(1, Racking, -1, None), pitch()]);
        stands(Stage::Working, &[draw(), pitch(), on(5, Loss, -1, None), on(5, EntryKind::Draw, 1, None)]);
        let racked = [draw(), pitch(), on(20, Racking, -1, None)];
        stands(Stage::Resting, &racked);
        stands(Stage::Working, &[&racked[..], &[on(25, EntryKind::Pitch, 0, None)]].concat());
        stands(Stage::Resting, &[&racked[..], &[on(25, Bottling, -20, None)]].concat());
        stands(Stage::Resting, &[draw(), pitch(), on(25, Bottling, -20, None)]);
        let bottled = [&racked[..], &[on(25, Bottling, -39, None)]].concat();
        stands(Stage::LaidDown, &bottled);
        stands(Stage::Closed, &[&bottled[..], &[on(26, Closing, 0, None)]].concat());
        stands(Stage::Abandoned, &[draw(), on(26, Abandonment, -40, None)]);
        stands(Stage::Working, &[&bottled[..], &[on(27, Blend, 10, Some(Stage::Working))]].concat());
    }

    #[test]
    fn working_must_is_working_until_it_is_racked_whatever_is_blended_into_it() {
        use EntryKind::{Blend, Racking, Split};
        let resting = on(10, Blend, 10, Some(Stage::Resting));
        let working = on(12, Blend, 10, Some(Stage::Working));
        stands(Stage::Working, &[draw(), pitch(), resting]);
        stands(Stage::Resting, &[draw(), pitch(), resting, on(11, Racking, 0, None)]);
        stands(Stage::Working, &[draw(), pitch(), on(9, Racking, 0, None), working]);
        stands(Stage::Resting, &[draw(), resting]);
        stands(Stage::Working, &[draw(), resting, working]);
        stands(Stage::Preparing, &[on(3, Split, 10, Some(Stage::Preparing))]);
        stands(Stage::Working, &[on(3, Split, 10, Some(Stage::Working))]);
        stands(Stage::Resting, &[on(3, Split, 10, Some(Stage::Resting))]);
        let gone = on(3, Split, -10, Some(Stage::Working));
        stands(Stage::Preparing, &[draw(), gone]);
    }

    /// The entry that is reversed is not among those that stand.
    #[test]
    fn without_the_first_of_two_blends_the_second_decides() {
        let working = on(10, EntryKind::Blend, 10, Some(Stage::Working));
        let resting = on(12, EntryKind::Blend, 10, Some(Stage::Resting));
        stands(Stage::Working, &[working, resting]);
        stands(Stage::Resting, &[resting]);
        stands(Stage::Working, &[working]);
        stands(Stage::Planned, &[]);
    }

    #[test]
    fn the_yeast_counts_from_its_own_pitch_or_from_that_of_what_came() {
        let may = Day::from_ymd_opt(2026, 5, 1);
        let came = on(10, EntryKind::Blend, 10, Some(Stage::Resting));
        assert_eq!(progress(&[draw(), came]).pitched_on, may);
        assert_eq!(progress(&[came, pitch()]).pitched_on, Day::from_ymd_opt(2026, 6, 2));
        assert_eq!(progress(&[draw()]).pitched_on, None);
    }
}
