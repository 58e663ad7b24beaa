//! The books: entries, their postings, and what an account holds.
//!
//! An entry is one event. Each posting moves a quantity and a cost to (+) or from (−) one account. The costs of an
//! entry add up to zero; quantities do not, since what leaves a lot in kilograms enters a batch in litres.

use serde::{Deserialize, Serialize};

use super::batches::Came;
use super::members::Role;
use super::refusal::Refusal;
use crate::units::days::{self, Day, Instant};
use crate::units::ids::{BatchId, BottlingId, EntryId, LotId, MemberId, PlaceId};
use crate::units::money::Money;
use crate::units::quantity::{BaseUnit, Milli};

/// Where value can be.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, PartialOrd, Ord, Serialize, Deserialize)]
pub enum Account {
    /// A lot at a place; quantity in the item's unit.
    Stock {
        /// The lot.
        lot: LotId,
        /// The place.
        place: PlaceId,
    },
    /// A batch in progress; quantity is its volume in mL.
    Batch(BatchId),
    /// What a member has taken home (+).
    Member(MemberId),
    /// What a member has paid for the club's supplies (−).
    Payer(MemberId),
    /// What a member has paid to the club (−), or been paid back (+).
    Settled(MemberId),
    /// The club's own money: what went out to suppliers and members (−), and what members paid in (+).
    Purse,
    /// What was lost, broken or thrown away.
    Lost,
    /// What was opened for tastings.
    Tasted,
    /// What was given away.
    Given,
    /// What a count found more (−) or less (+) than the books said.
    Difference,
}

impl Account {
    /// What a member took, laid out and paid in.
    pub const fn of_member(member: MemberId) -> [Account; 3] {
        [Self::Member(member), Self::Payer(member), Self::Settled(member)]
    }

    /// The name under which it is found, unique in a club.
    pub fn key(self) -> String {
        match self {
            Self::Stock { lot, place } => format!("stock:{lot}:{place}"),
            Self::Batch(batch) => format!("batch:{batch}"),
            Self::Member(member) => format!("member:{member}"),
            Self::Payer(member) => format!("payer:{member}"),
            Self::Settled(member) => format!("settled:{member}"),
            other => other.kind().to_owned(),
        }
    }

    /// Its kind, as in the database.
    pub const fn kind(self) -> &'static str {
        match self {
            Self::Stock { .. } => "stock",
            Self::Batch(_) => "batch",
            Self::Member(_) => "member",
            Self::Payer(_) => "payer",
            Self::Settled(_) => "settled",
            Self::Purse => "purse",
            Self::Lost => "lost",
            Self::Tasted => "tasted",
            Self::Given => "given",
            Self::Difference => "difference",
        }
    }

    /// Stock and batches never hold less than nothing.
    pub const fn never_below_zero(self) -> bool {
        matches!(self, Self::Stock { .. } | Self::Batch(_))
    }
}

/// What kind of event an entry is.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
#[allow(missing_docs, reason = "the words are those of the trade; see `label`")]
pub enum EntryKind {
    Receipt,
    Move,
    Draw,
    ByProduct,
    Loss,
    Pitch,
    Racking,
    Split,
    Blend,
    Bottling,
    Withdrawal,
    Difference,
    Closing,
    Abandonment,
    Payment,
    Reversal,
}

impl EntryKind {
    /// All kinds.
    pub const ALL: [EntryKind; 16] = [
        Self::Receipt,
        Self::Move,
        Self::Draw,
        Self::ByProduct,
        Self::Loss,
        Self::Pitch,
        Self::Racking,
        Self::Split,
        Self::Blend,
        Self::Bottling,
        Self::Withdrawal,
        Self::Difference,
        Self::Closing,
        Self::Abandonment,
        Self::Payment,
        Self::Reversal,
    ];

    /// As in the database and the API.
    pub const fn code(self) -> &'static str {
        match self {
            Self::Receipt => "receipt",
            Self::Move => "move",
            Self::Draw => "draw",
            Self::ByProduct => "by-product",
            Self::Loss => "loss",
            Self::Pitch => "pitch",
            Self::Racking => "racking",
            Self::Split => "split",
            Self::Blend => "blend",
            Self::Bottling => "bottling",
            Self::Withdrawal => "withdrawal",
            Self::Difference => "difference",
            Self::Closing => "closing",
            Self::Abandonment => "abandonment",
            Self::Payment => "payment",
            Self::Reversal => "reversal",
        }
    }

    /// From its code.
    pub fn from_code(code: &str) -> Option<Self> {
        Self::ALL.into_iter().find(|kind| kind.code() == code)
    }

    /// For people.
    pub const fn label(self) -> &'static str {
        match self {
            Self::Receipt => "Supplies received",
            Self::Move => "Moved",
            Self::Draw => "Supplies drawn",
            Self::ByProduct => "By-product weighed",
            Self::Loss => "Loss",
            Self::Pitch => "Yeast pitched",
            Self::Racking => "Racked",
            Self::Split => "Split",
            Self::Blend => "Blended",
            Self::Bottling => "Bottled",
            Self::Withdrawal => "Bottles taken",
            Self::Difference => "Count put right",
            Self::Closing => "Closed",
            Self::Abandonment => "Abandoned",
            Self::Payment => "Paid",
            Self::Reversal => "Reversed",
        }
    }

    /// Who may take it back: those who may record it.
    pub const fn taken_back_by(self) -> Role {
        match self {
            Self::Payment => Role::Steward,
            _ => Role::Cellarhand,
        }
    }
}

/// One line of an entry.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Posting {
    /// Where.
    pub account: Account,
    /// How much came (+) or went (−), in thousandths of the account's unit.
    pub quantity: Milli,
    /// What it cost.
    pub cost: Money,
}

/// An event to be recorded.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct NewEntry {
    /// What happened.
    pub kind: EntryKind,
    /// On which day.
    pub day: Day,
    /// To which batch.
    pub batch: Option<BatchId>,
    /// To which bottling.
    pub bottling: Option<BottlingId>,
    /// Which entry it takes back.
    pub reverses: Option<EntryId>,
    /// What the drink was that a split or blend moved.
    pub moved: Option<Came>,
    /// When it happened, where it was sent later.
    pub happened_at: Option<Instant>,
    /// What the member wrote.
    pub remark: String,
    /// The lines.
    pub postings: Vec<Posting>,
}

impl NewEntry {
    /// An entry without lines yet.
    pub fn new(kind: EntryKind, day: Day, remark: impl Into<String>) -> Self {
        Self {
            kind,
            day,
            batch: None,
            bottling: None,
            reverses: None,
            moved: None,
            happened_at: None,
            remark: remark.into(),
            postings: Vec::new(),
        }
    }

    /// For a batch.
    #[must_use]
    pub fn of_batch(mut self, batch: BatchId) -> Self {
        self.batch = Some(batch);
        self
    }

    /// Adds a line; lines of the same account are added up, so that each account has one line at the end.
    pub fn post(&mut self, account: Account, quantity: Milli, cost: Money) {
        match self.postings.iter_mut().find(|posting| posting.account == account) {
            Some(posting) => {
                posting.quantity = posting.quantity + quantity;
                posting.cost = posting.cost + cost;
            }
            None => self.postings.push(Posting { account, quantity, cost }),
        }
    }

    /// Whether the costs add up to zero, exactly.
    pub fn balances(&self) -> bool {
        self.postings.iter().map(|posting| i128::from(posting.cost.micros())).sum::<i128>() == 0
    }

    /// Everything taken back.
    pub fn reversal(id: EntryId, postings: &[Posting], day: Day, reason: String) -> Self {
        let mut entry = Self::new(EntryKind::Reversal, day, reason);
        entry.reverses = Some(id);
        entry.postings = postings
            .iter()
            .map(|posting| Posting {
                account: posting.account,
                quantity: posting.quantity.negated(),
                cost: posting.cost.negated(),
            })
            .collect();
        entry
    }
}

/// What an account holds.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq)]
pub struct Holding {
    /// How much.
    pub quantity: Milli,
    /// What it cost.
    pub cost: Money,
}

impl Holding {
    /// Take `quantity` out with its share of the cost, rounded down; the last of it takes the rest. So no part of
    /// a cent is ever made or lost. `None` if there is less than that.
    pub fn take(&mut self, quantity: Milli) -> Option<Money> {
        if quantity > self.quantity {
            return None;
        }
        let cost = self.cost.share(quantity.get(), self.quantity.get());
        self.quantity = self.quantity - quantity;
        self.cost = self.cost - cost;
        Some(cost)
    }
}

/// What came to an account (+) or went from it (−) on one day.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Change {
    /// When.
    pub day: Day,
    /// What.
    pub by: Holding,
}

/// What an account held at the end of a past day, and the least that it has held since: so much can be taken from it
/// on that day, and no day ends with less than nothing.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Past {
    /// What it held at the end of the day.
    pub then: Holding,
    /// The least quantity at the end of that day or of any later one.
    pub least: Milli,
    /// The first day that ended with so little.
    pub least_on: Day,
    /// The least cost, in the same way.
    pub least_cost: Money,
}

impl Past {
    /// Works back from what an account holds now; `later` are its changes after the day, in any order.
    pub fn of(now: Holding, day: Day, later: &[Change]) -> Self {
        let mut later: Vec<&Change> = later.iter().filter(|change| change.day > day).collect();
        later.sort_by_key(|change| std::cmp::Reverse(change.day));
        let ends = |at: usize| later.get(at).map_or(day, |change| change.day);
        let mut past = Self { then: now, least: now.quantity, least_on: ends(0), least_cost: now.cost };
        for (at, change) in later.iter().enumerate() {
            past.then.quantity = past.then.quantity - change.by.quantity;
            past.then.cost = past.then.cost - change.by.cost;
            if ends(at + 1) == change.day {
                continue;
            }
            if past.then.quantity <= past.least {
                (past.least, past.least_on) = (past.then.quantity, ends(at + 1));
            }
            past.least_cost = past.least_cost.min(past.then.cost);
        }
        past.least = past.least.max(Milli::ZERO);
        past.least_cost = past.least_cost.max(Money::ZERO);
        past
    }

    /// Why `what` cannot give more than [`Self::least`] on this day.
    pub fn refusal(&self, field: &str, what: &str, unit: BaseUnit) -> Refusal {
        let (day, least) = (days::long(self.least_on), self.least.shown(unit));
        Refusal::conflict(
            field,
            if self.least == Milli::ZERO {
                format!("By the books nothing was left of {what} on {day}; write a later day")
            } else {
                format!(
                    "By the books only {least} was left of {what} on {day}; write that or less, or a later day"
                )
            },
        )
    }
}

/// A refusal for an entry that would be recorded before its account existed.
pub fn not_before(day: Day, opened: Day, what: &str) -> Result<(), Refusal> {
    if day < opened {
        return Err(Refusal::unfit(
            "day",
            format!(
                "{what} has been in the books since {}; write that day or a later one",
                days::long(opened)
            ),
        ));
    }
    Ok(())
}

/// A refusal for an amount that is nothing, or less.
pub fn above_zero(field: &str, amount: Milli) -> Result<(), Refusal> {
    if amount > Milli::ZERO { Ok(()) } else { Err(Refusal::unfit(field, "Write an amount above zero")) }
}

/// A refusal for what was measured or counted as less than nothing.
pub fn not_below_zero(field: &str, amount: Option<Milli>) -> Result<(), Refusal> {
    if amount >= Some(Milli::ZERO) || amount.is_none() {
        return Ok(());
    }
    Err(Refusal::unfit(field, "Write an amount that is not below zero"))
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Lots 100 @ 10, 200 @ 11, 150 @ 12; issue 250, then 100: FIFO gives 2650 and 1150 and leaves 100 @ 12 (computed
    /// by hand, the same as the plain-text accounting package beancount 3.2.3 books; see tests/reference).
    #[test]
    fn lots_are_issued_at_their_own_cost() {
        let mut lots = [(100, 1000), (200, 2200), (150, 1800)].map(|(quantity, cost)| Holding {
            quantity: Milli::new(quantity * 1000),
            cost: Money::from_micros(cost * 1_000_000),
        });
        let mut issue = |mut wanted: i64| {
            let mut cost = Money::ZERO;
            for lot in &mut lots {
                let part = wanted.min(lot.quantity.get() / 1000);
                wanted -= part;
                cost = cost + lot.take(Milli::new(part * 1000)).unwrap();
            }
            cost.micros() / 1_000_000
        };
        assert_eq!(issue(250), 2650);
        assert_eq!(issue(100), 1150);
        assert_eq!(lots[2].quantity, Milli::new(100_000));
        assert_eq!(lots[2].cost, Money::from_micros(1_200_000_000));
    }

    #[test]
    fn the_last_of_a_lot_takes_the_rest() {
        let mut lot = Holding { quantity: Milli::new(3), cost: Money::from_micros(10) };
        let costs: Vec<_> = (0..3).map(|_| lot.take(Milli::new(1)).unwrap().micros()).collect();
        assert_eq!(costs, [3, 3, 4]);
        assert_eq!(lot, Holding::default());
        assert_eq!(lot.take(Milli::new(1)), None);
    }

    /// 10 came on the 1st, 4 went on the 5th, 6 came and 3 went on the 8th, 9 are left.
    #[test]
    fn what_was_there_on_a_past_day_and_the_least_since() {
        let day = |day: u32| Day::from_ymd_opt(2026, 3, day).unwrap();
        let held =
            |quantity, cost| Holding { quantity: Milli::new(quantity), cost: Money::from_micros(cost) };
        let later = [
            Change { day: day(1), by: held(10, 20) },
            Change { day: day(8), by: held(6, 60) },
            Change { day: day(5), by: held(-4, -8) },
            Change { day: day(8), by: held(-3, -18) },
        ];
        let past = |on| {
            let past = Past::of(held(9, 54), day(on), &later);
            (past.then, past.least.get(), past.least_on, past.least_cost.micros())
        };
        assert_eq!(past(9), (held(9, 54), 9, day(9), 54));
        assert_eq!(past(8), (held(9, 54), 9, day(8), 54));
        assert_eq!(past(6), (held(6, 12), 6, day(6), 12));
        assert_eq!(past(3), (held(10, 20), 6, day(5), 12));
        assert_eq!(past(1), (held(10, 20), 6, day(5), 12));
    }

    #[test]
    fn every_kind_has_its_own_code() {
        for kind in EntryKind::ALL {
            assert_eq!(EntryKind::from_code(kind.code()), Some(kind));
        }
    }
}
