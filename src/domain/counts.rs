//! Counts: what several people find when they go through the places, without knowing what the books say; what a third
//! makes of the differences; and the one entry that puts the books right.
//!
//! A count does not freeze the books. People take bottles and weigh curds while others count, and a phone in a cellar
//! without signal hands in what it counted an hour later. So each line is compared with what the books say of the
//! instant at which it was counted ([`then`]), and only the difference is carried over to today's balance
//! ([`posting`]): what moved in between moved, and is no difference.
//!
//! Who counts does not see what the books say; who has seen it does not count any more. Two who counted the same and
//! found different differences are not added up and not averaged: somebody looks again, or says which stands.

use serde::{Deserialize, Serialize};

use super::members::{Doer, Role};
use super::refusal::Refusal;
use crate::units::days::Instant;
use crate::units::ids::{
    BottlingId, CountId, CountLineId, EntryId, ItemId, LotId, MemberId, PlaceId, TallyId,
};
use crate::units::money::Money;
use crate::units::quantity::{BaseUnit, Milli};

pub mod accuracy;
pub mod covered;
pub mod posting;
mod reasons;
pub mod then;
pub mod weighed;

pub use reasons::{Ending, Reason};
use then::Movement;

/// How far a count is.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum State {
    /// People count.
    Counting,
    /// Differences are looked at; what is asked again is counted again.
    Review,
    /// All of it is settled.
    Over,
    /// It came to nothing.
    CalledOff,
}

impl State {
    /// As in the API.
    pub const fn code(self) -> &'static str {
        match self {
            Self::Counting => "counting",
            Self::Review => "review",
            Self::Over => "over",
            Self::CalledOff => "called-off",
        }
    }

    /// For people.
    pub const fn label(self) -> &'static str {
        match self {
            Self::Counting => "being counted",
            Self::Review => "differences are looked at",
            Self::Over => "settled",
            Self::CalledOff => "called off",
        }
    }
}

/// A stock-taking.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Count {
    /// Which.
    pub id: CountId,
    /// Its number, "C-3".
    pub code: String,
    /// What it covers.
    pub title: String,
    /// Who began it.
    pub started_by: (MemberId, String),
    /// When.
    pub started_at: Instant,
    /// Since when its differences are looked at.
    pub ended_at: Option<Instant>,
    /// Since when nothing of it is open.
    pub over_at: Option<Instant>,
    /// Why it came to nothing.
    pub called_off_because: String,
    /// Who has counted in it.
    pub counters: Vec<(MemberId, String)>,
    /// Nobody in the club could look at the differences but those who counted.
    pub nobody_else: bool,
}

impl Count {
    /// How far it is.
    pub fn state(&self) -> State {
        match (self.over_at, self.ended_at) {
            (Some(_), _) if !self.called_off_because.is_empty() => State::CalledOff,
            (Some(_), _) => State::Over,
            (None, Some(_)) => State::Review,
            (None, None) => State::Counting,
        }
    }

    /// Whether a member has counted in it.
    pub fn counted_by(&self, member: MemberId) -> bool {
        self.counters.iter().any(|counter| counter.0 == member)
    }

    /// Whether it may be shown to this member what the books say against what was counted: while people count, to
    /// nobody; then to a cellarhand who has not counted (or to all of them, where the club has no other); when all is
    /// settled, to everybody.
    pub fn shows_books_to(&self, doer: &Doer) -> bool {
        match self.state() {
            State::Over => true,
            State::Review => {
                doer.role >= Role::Cellarhand && (!self.counted_by(doer.member) || self.nobody_else)
            }
            State::Counting | State::CalledOff => false,
        }
    }

    /// Refuses whoever has seen what the books say, and everybody when nothing is counted any more. What was counted at
    /// `at`, before the counting ended, is taken also if it comes later.
    pub fn check_counter(&self, doer: &Doer, at: Instant) -> Result<(), Refusal> {
        match self.state() {
            State::Counting => Ok(()),
            State::Review if self.ended_at.is_some_and(|ended| at <= ended) => Ok(()),
            State::Review if !self.shows_books_to(doer) || self.nobody_else => Ok(()),
            State::Review => Err(Refusal::conflict(
                "",
                "You may see what the books say, so you do not count in this one; let somebody else count it again",
            )),
            State::Over | State::CalledOff => Err(Refusal::conflict(
                "",
                format!(
                    "Count {} is {}: nothing is counted in it any more. What you counted is not recorded; begin \
                     another count to put it right",
                    self.code,
                    self.state().label()
                ),
            )),
        }
    }

    /// Refuses whoever may not settle its differences.
    pub fn check_settler(&self, doer: &Doer) -> Result<(), Refusal> {
        match self.state() {
            State::Review if self.shows_books_to(doer) => Ok(()),
            State::Review => Err(Refusal::conflict(
                "",
                "You have counted in this one: somebody else looks at the differences and posts them",
            )),
            State::Counting => {
                Err(Refusal::conflict("", "It is still being counted; end the counting first"))
            }
            State::Over | State::CalledOff => Err(self.refuse_closed()),
        }
    }

    /// What is said of a count that is over.
    pub fn refuse_closed(&self) -> Refusal {
        Refusal::conflict("", format!("Count {} is {} already", self.code, self.state().label()))
    }
}

/// How far a line may be off before it is counted a second time (common practice, no source for the figures).
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
pub struct Tolerance {
    /// Of what is weighed or measured, in thousandths of what the books say.
    pub permille: u32,
    /// Of what is counted, in pieces.
    pub pieces: u32,
}

impl Tolerance {
    /// Whether a difference is more than that.
    pub fn passed_by(self, difference: Milli, book: Milli, unit: BaseUnit) -> bool {
        let off = i128::from(difference.get()).abs();
        match unit {
            BaseUnit::Piece => off > i128::from(self.pieces) * 1000,
            _ => off * 1000 > i128::from(self.permille) * i128::from(book.get()),
        }
    }
}

/// What one member counted of a line.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Tally {
    /// Which.
    pub id: TallyId,
    /// Who.
    pub member: (MemberId, String),
    /// How much.
    pub counted: Milli,
    /// What was weighed, and what of that is the vessel, where it was weighed: in thousandths of a gram.
    pub weighed: Option<(Milli, Milli)>,
    /// A package of it is open.
    pub opened: bool,
    /// What was said to it.
    pub remark: String,
    /// When it was counted.
    pub counted_at: Instant,
}

/// The lot of a line.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct LotOf {
    /// Which.
    pub id: LotId,
    /// Its code.
    pub code: String,
    /// Its item.
    pub item: (ItemId, String),
    /// Grams a millilitre, in millionths.
    pub density_micro: Option<i64>,
    /// The bottling it is, with its code.
    pub bottling: Option<(BottlingId, String)>,
}

/// How a line was settled.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Settled {
    /// How.
    pub ending: Ending,
    /// When.
    pub at: Instant,
    /// What stood against what, where something was counted.
    pub against: Option<(Milli, Milli)>,
    /// What the difference was worth.
    pub worth: Option<Money>,
    /// The entry that put it right, and whether it was taken back.
    pub entry: Option<(EntryId, bool)>,
}

/// What the books hold of a line now, and what moved since it was counted first.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct Books {
    /// Now.
    pub now: super::books::Holding,
    /// What came and went since the day of the first count of it.
    pub moves: Vec<Movement>,
}

/// A lot at a place, or something that the books do not know.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Line {
    /// Which.
    pub id: CountLineId,
    /// Its number in the count.
    pub number: u32,
    /// Where.
    pub place: (PlaceId, String),
    /// Of which lot; nothing where the books do not know it.
    pub lot: Option<LotOf>,
    /// What was found, where no lot is known.
    pub what: String,
    /// What it is counted in.
    pub unit: BaseUnit,
    /// It was not on the sheet.
    pub found: bool,
    /// Since when a second count is asked for.
    pub asked_at: Option<Instant>,
    /// Which count stands, where somebody said so.
    pub chosen: Option<TallyId>,
    /// Why it differs.
    pub reason: Option<Reason>,
    /// The same in words.
    pub words: String,
    /// How it ended.
    pub settled: Option<Settled>,
    /// What was counted, in the order in which it came.
    pub tallies: Vec<Tally>,
    /// What the books say; for whoever counts they are not even read.
    pub books: Option<Books>,
}

/// What is known of a line without the books.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Progress {
    /// Nobody has counted it.
    NotCounted,
    /// A second count is asked for and has not come.
    Again,
    /// It is counted.
    Counted,
    /// It is settled.
    Settled,
}

impl Progress {
    /// As in the API.
    pub const fn code(self) -> &'static str {
        match self {
            Self::NotCounted => "not-counted",
            Self::Again => "again",
            Self::Counted => "counted",
            Self::Settled => "settled",
        }
    }
}

/// What was found of a line, against the books.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Finding {
    /// Nobody has counted it, or not again as it was asked.
    Missing,
    /// It was counted so often and with different findings.
    Disagreed,
    /// The books do not know what it is.
    Unknown(Milli),
    /// It was counted.
    Known {
        /// How much.
        counted: Milli,
        /// What the books say of that instant.
        book: Milli,
        /// It was put right at another time since: there is nothing to post.
        put_right: bool,
    },
}

impl Finding {
    /// What is to be put right.
    pub fn difference(self) -> Milli {
        match self {
            Self::Known { counted, book, put_right: false } => counted - book,
            _ => Milli::ZERO,
        }
    }
}

impl Line {
    /// What it is called: the lot's item, or what was written.
    pub fn name(&self) -> &str {
        self.lot.as_ref().map_or(self.what.as_str(), |lot| lot.item.1.as_str())
    }

    /// The short code that stands on the label.
    pub fn code(&self) -> &str {
        self.lot
            .as_ref()
            .map_or("", |lot| lot.bottling.as_ref().map_or(lot.code.as_str(), |one| one.1.as_str()))
    }

    /// What a figure of it is followed by, and how one may write it.
    pub fn asked_in(&self) -> (&'static str, &'static str) {
        let bottled = self.lot.as_ref().is_some_and(|lot| lot.bottling.is_some());
        match self.unit {
            BaseUnit::Piece if bottled => ("bottles", "3 × 12 + 5"),
            BaseUnit::Piece => ("pieces", "3 × 12 + 5"),
            BaseUnit::Gram => ("", "2 × 25 kg + 3.4 kg"),
            BaseUnit::Millilitre => ("", "2 × 5 L + 250 mL"),
        }
    }

    /// Whether a scale says how much of it there is.
    pub fn weighs(&self) -> bool {
        match self.unit {
            BaseUnit::Gram => true,
            BaseUnit::Millilitre => self.lot.as_ref().is_some_and(|lot| lot.density_micro.is_some()),
            BaseUnit::Piece => false,
        }
    }

    /// The counts that stand: the latest of each member, of those since it was asked for again.
    pub fn standing(&self) -> Vec<&Tally> {
        let mut latest: Vec<&Tally> = Vec::new();
        for tally in self.tallies.iter().filter(|tally| self.asked_at.is_none_or(|at| tally.counted_at > at))
        {
            match latest.iter_mut().find(|known| known.member.0 == tally.member.0) {
                Some(known) if (known.counted_at, known.id) < (tally.counted_at, tally.id) => *known = tally,
                Some(_) => {}
                None => latest.push(tally),
            }
        }
        latest
    }

    /// The latest count of one member that stands.
    pub fn own(&self, member: MemberId) -> Option<&Tally> {
        self.standing().into_iter().find(|tally| tally.member.0 == member)
    }

    /// How far it is.
    pub fn progress(&self) -> Progress {
        if self.settled.is_some() {
            Progress::Settled
        } else if !self.standing().is_empty() {
            Progress::Counted
        } else if self.asked_at.is_some() {
            Progress::Again
        } else {
            Progress::NotCounted
        }
    }

    /// What was found, against what the books say of that instant. Two who found the same difference agree, even if
    /// something was taken between the one and the other.
    pub fn finding(&self, zone: chrono_tz::Tz) -> Finding {
        let mut standing = self.standing();
        if let Some(chosen) = self.chosen {
            standing.retain(|tally| tally.id == chosen);
        }
        let Some(last) = standing.iter().max_by_key(|tally| (tally.counted_at, tally.id)) else {
            return Finding::Missing;
        };
        let (Some(_), Some(books)) = (&self.lot, &self.books) else {
            let agree = standing.iter().all(|tally| tally.counted == last.counted);
            return if agree { Finding::Unknown(last.counted) } else { Finding::Disagreed };
        };
        let against = |tally: &Tally| then::book_at(books, tally.counted_at, zone);
        let book = against(last);
        let difference = last.counted - book.quantity;
        if standing.iter().any(|tally| tally.counted - against(tally).quantity != difference) {
            return Finding::Disagreed;
        }
        Finding::Known { counted: last.counted, book: book.quantity, put_right: book.put_right }
    }

    /// Whether a second count is to be asked for before it can be posted: it is further off than the club lets pass,
    /// and only one has counted it, once.
    pub fn needs_second(&self, finding: Finding, tolerance: Tolerance) -> bool {
        let off = match finding {
            Finding::Known { book, .. } => tolerance.passed_by(finding.difference(), book, self.unit),
            _ => false,
        };
        off && self.asked_at.is_none() && self.standing().len() < 2
    }
}

#[cfg(test)]
mod tests;
