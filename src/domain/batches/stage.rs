//! How far a batch is: the stage that follows from what has been recorded.

use serde::{Deserialize, Serialize};

use crate::domain::books::EntryKind;

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

/// What has been recorded and not reversed: all that the stage depends on.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq)]
#[allow(clippy::struct_excessive_bools, reason = "each is one thing that may have been recorded")]
pub struct Facts {
    /// Something came into it.
    pub filled: bool,
    /// Yeast was pitched.
    pub pitched: bool,
    /// It was racked.
    pub racked: bool,
    /// Some of it was bottled.
    pub bottled: bool,
    /// It was closed.
    pub closed: bool,
    /// It was given up.
    pub abandoned: bool,
    /// It still holds something.
    pub holds_volume: bool,
    /// The stage of the batch it was split or blended from.
    pub came_as: Option<Stage>,
}

/// The stage that follows from the facts.
pub fn stage(facts: &Facts) -> Stage {
    let came = facts.came_as.filter(|_| facts.filled);
    let pitched = facts.pitched || came >= Some(Stage::Working);
    if facts.abandoned {
        Stage::Abandoned
    } else if facts.closed {
        Stage::Closed
    } else if facts.bottled && !facts.holds_volume {
        Stage::LaidDown
    } else if facts.bottled || pitched && facts.racked || came >= Some(Stage::Resting) {
        Stage::Resting
    } else if pitched {
        Stage::Working
    } else if facts.filled {
        Stage::Preparing
    } else {
        Stage::Planned
    }
}

/// Whether an entry of this kind can change the stage of a batch at all: supplies drawn into one that is under way
/// cannot, and they are what is recorded most.
pub const fn may_change(kind: EntryKind, stage: Stage) -> bool {
    !(matches!(kind, EntryKind::Draw) && matches!(stage, Stage::Preparing | Stage::Working | Stage::Resting))
}
