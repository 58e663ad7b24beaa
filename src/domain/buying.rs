//! What to buy before the next batch: when an item is to be bought again, and the list that follows from it and from
//! the plans of batches.
//!
//! An item is bought again when what is free to use falls below its reorder point, which is the mean use of a day times
//! the days from ordering to having it, and a safety stock, here the use of some more days. That is the usual formula
//! of stock-keeping (as textbooks have it, from memory). A club uses things in lumps: what planned batches want is
//! counted beside it, and a person who knows better types a point of their own.
//!
//! All of it is in whole numbers: the point is rounded up, to a thousandth of the unit or to a whole piece.

use serde::{Deserialize, Serialize};

pub mod instead;
pub mod strength;
pub mod waste;

use super::refusal::Refusal;
use super::stock::ItemKind;
use crate::units::days::{self, Day};
use crate::units::ids::{BatchId, ItemId, LotId};
use crate::units::money::Money;
use crate::units::quantity::{BaseUnit, Milli};

/// Days from ordering to having it, where nobody said.
pub const USUAL_LEAD_DAYS: u32 = 7;
/// The most days from ordering to having it, and the most that a safety stock lasts.
pub const MOST_DAYS: u32 = 365;
/// The most days that something keeps once it is open.
pub const MOST_KEEPS: u32 = 3650;
/// Days back over which use is looked at.
pub const LOOKED_BACK_DAYS: i64 = 365;
/// Use is never taken as if it were of fewer days: one batch just after the first receipt is no habit.
pub const LEAST_DAYS: i64 = 30;

/// How an item is bought and kept.
#[derive(Debug, Clone, Default, PartialEq, Eq, Serialize, Deserialize)]
pub struct Upkeep {
    /// Days from ordering to having it.
    pub lead_days: Option<u32>,
    /// How many days the safety stock lasts.
    pub cover_days: Option<u32>,
    /// How many days it keeps once it is open.
    pub keeps_open_days: Option<u32>,
    /// What it loses of its strength in a year, in thousandths.
    pub weakens_permille: Option<u32>,
    /// What can be used in its place, the best first.
    pub substitutes: Vec<instead::Substitute>,
}

impl Upkeep {
    /// Days from ordering to having it.
    pub fn lead(&self) -> i64 {
        i64::from(self.lead_days.unwrap_or(USUAL_LEAD_DAYS))
    }

    /// How long the safety stock lasts, in half days: half the lead time where nobody said.
    pub fn cover_half_days(&self) -> i64 {
        self.cover_days.map_or(self.lead(), |days| 2 * i64::from(days))
    }

    /// What the point has to last for, in half days.
    pub fn half_days(&self) -> i64 {
        2 * self.lead() + self.cover_half_days()
    }
}

/// What was drawn, pitched and put on bottles of an item, and in how many days.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Use {
    /// How much.
    pub quantity: Milli,
    /// In so many days.
    pub days: i64,
}

impl Use {
    /// What was used up to today, of an item that first came on a day.
    pub fn until(today: Day, first: Option<Day>, quantity: Milli) -> Self {
        let days = first.map_or(LEAST_DAYS, |first| (today - first).num_days() + 1);
        Self { quantity, days: days.clamp(LEAST_DAYS, LOOKED_BACK_DAYS) }
    }

    /// The use of some half days, rounded up; whole pieces of what is counted in pieces.
    pub fn of_half_days(&self, half_days: i64, unit: BaseUnit) -> Milli {
        let whole = i128::from(2 * self.days) * if unit == BaseUnit::Piece { 1000 } else { 1 };
        let used = i128::from(self.quantity.get().max(0)) * i128::from(half_days);
        let steps = i64::try_from((used + whole - 1) / whole).unwrap_or(i64::MAX);
        Milli::new(if unit == BaseUnit::Piece { steps.saturating_mul(1000) } else { steps })
    }
}

/// Below how much an item is bought again, and why that.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Point {
    /// A person said so.
    Typed(Milli),
    /// It follows from use and lead time.
    WorkedOut(Milli),
    /// What came last kept for fewer days than it would have to last: it is bought for a batch.
    KeepsTooShort(i64),
    /// None of it was used.
    NoUse,
}

impl Point {
    /// Of an item with a point that somebody typed, its use, how it is bought, and for how many days what came last
    /// kept.
    pub fn of(typed: Option<Milli>, used: Use, upkeep: &Upkeep, keeps: Option<i64>, unit: BaseUnit) -> Self {
        match (typed, keeps) {
            (Some(typed), _) => Self::Typed(typed),
            (None, _) if used.quantity <= Milli::ZERO => Self::NoUse,
            (None, Some(days)) if 2 * days < upkeep.half_days() => Self::KeepsTooShort(days),
            _ => Self::WorkedOut(used.of_half_days(upkeep.half_days(), unit)),
        }
    }

    /// How it came about, as files and the API say it.
    pub const fn code(self) -> &'static str {
        match self {
            Self::Typed(_) => "typed",
            Self::WorkedOut(_) => "worked-out",
            Self::KeepsTooShort(_) => "keeps-too-short",
            Self::NoUse => "no-use",
        }
    }

    /// How much of it is to be there.
    pub fn quantity(self) -> Milli {
        match self {
            Self::Typed(point) | Self::WorkedOut(point) => point,
            Self::KeepsTooShort(_) | Self::NoUse => Milli::ZERO,
        }
    }
}

/// What came with a receipt that stands.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Bought {
    /// When.
    pub day: Day,
    /// How much.
    pub quantity: Milli,
    /// For how much.
    pub cost: Money,
    /// From whom; empty where nobody wrote it.
    pub supplier: String,
    /// For how many days it was good when it came.
    pub keeps: Option<i64>,
}

/// What is known of an item that may have to be bought.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Known {
    /// Which.
    pub id: ItemId,
    /// What it is counted in.
    pub unit: BaseUnit,
    /// How it is bought.
    pub upkeep: Upkeep,
    /// What was used.
    pub used: Use,
    /// Below how much it is bought again.
    pub point: Point,
    /// What is there and may be used: neither past its day nor on hold.
    pub free: Milli,
    /// What is there besides.
    pub stopped: Milli,
    /// What the plans of batches still want of it.
    pub wants: Vec<(BatchId, Milli)>,
    /// What came with the last two receipts that stand, the latest first.
    pub bought: Vec<Bought>,
}

/// How much of an item is to be bought.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Needed {
    /// What all plans still want.
    pub wanted: Milli,
    /// What is missing for the plans and the reorder point, to the last digit.
    pub missing: Milli,
    /// As it is bought: whole packs where one is usual, else rounded up to what a shop weighs.
    pub buy: Milli,
    /// What is in a pack.
    pub pack: Option<Milli>,
    /// What it comes to at the last price.
    pub cost: Option<Money>,
}

impl Known {
    /// How much of it is to be bought.
    pub fn needed(&self) -> Needed {
        let wanted = self.wanted();
        let missing = (wanted + self.point.quantity()).above(self.free);
        let pack = self.pack();
        let buy = match pack {
            Some(pack) => up_to(missing, pack),
            None => up_to(missing, weighed(missing, self.unit)),
        };
        let last = self.bought.first();
        let cost = last.map(|last| last.cost.share(buy.get(), last.quantity.get()));
        Needed { wanted, missing, buy, pack, cost: cost.filter(|_| buy > Milli::ZERO) }
    }

    /// What all plans still want.
    pub fn wanted(&self) -> Milli {
        self.wants.iter().map(|want| want.1).sum()
    }

    /// What may be used and no plan wants.
    pub fn spare(&self) -> Milli {
        self.free.above(self.wanted())
    }

    /// What is missing for the plans alone.
    pub fn short_of_plans(&self) -> Milli {
        self.wanted().above(self.free)
    }

    /// What is missing for the plan of one batch, if it were drawn next.
    pub fn short_for(&self, batch: BatchId) -> Milli {
        let wanted: Milli = self.wants.iter().filter(|want| want.0 == batch).map(|want| want.1).sum();
        wanted.above(self.free)
    }

    /// What the last two receipts both brought.
    fn pack(&self) -> Option<Milli> {
        match self.bought[..] {
            [ref last, ref before, ..] if last.quantity == before.quantity => Some(last.quantity),
            _ => None,
        }
    }

    /// From whom it came last; empty where nobody wrote it.
    pub fn supplier(&self) -> &str {
        self.bought.first().map_or("", |bought| &bought.supplier)
    }
}

/// Up to the next whole step.
fn up_to(quantity: Milli, step: Milli) -> Milli {
    let step = step.get().max(1);
    let steps = quantity.get().saturating_add(step - 1) / step;
    Milli::new(steps.saturating_mul(step))
}

/// The step in which so much is weighed out in a shop: 100 g of kilograms, 10 g of hundreds of grams, 1 g below.
const fn weighed(quantity: Milli, unit: BaseUnit) -> Milli {
    Milli::new(match (unit, quantity.get()) {
        (BaseUnit::Gram | BaseUnit::Millilitre, 1_000_000..) => 100_000,
        (BaseUnit::Gram | BaseUnit::Millilitre, 100_000..) => 10_000,
        _ => 1_000,
    })
}

/// The last good day of what is good until one day and was opened on another: the earlier of its best-before day and
/// the last day that it keeps once it is open.
pub fn good_until(best_before: Option<Day>, opened_on: Option<Day>, keeps_open: Option<u32>) -> Option<Day> {
    let open = opened_on.zip(keeps_open).map(|(day, days)| day + chrono::Duration::days(i64::from(days)));
    match (best_before, open) {
        (Some(best), Some(open)) => Some(best.min(open)),
        (best, open) => best.or(open),
    }
}

/// A lot was opened, or is not open after all.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
pub struct Opening {
    /// Which.
    pub lot: LotId,
    /// On which day; none where it is not open after all.
    pub on: Option<Day>,
}

impl Opening {
    /// Whoever counted saw a package open on a day: its lot is open since then at the latest. None where an earlier day
    /// was said, and for bottles, which are opened by taking them.
    pub fn seen(
        lot: LotId,
        kind: ItemKind,
        opened_on: Option<Day>,
        received_on: Day,
        day: Day,
    ) -> Option<Self> {
        let news = opened_on.is_none() && kind != ItemKind::Drink;
        news.then(|| Self { lot, on: Some(day.max(received_on)) })
    }

    /// Refuses what cannot be: bottles of a drink are opened by taking them, and nothing is opened before it came.
    pub fn check(&self, kind: ItemKind, received_on: Day) -> Result<(), Refusal> {
        if kind == ItemKind::Drink {
            return Err(Refusal::conflict("", "Bottles are taken to be opened: record that at the bottling"));
        }
        match self.on.filter(|day| *day < received_on) {
            Some(_) => Err(Refusal::unfit(
                "day",
                format!("It came on {}: write that day or a later one", days::long(received_on)),
            )),
            None => Ok(()),
        }
    }
}

#[cfg(test)]
mod tests;
