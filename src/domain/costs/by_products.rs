//! How a by-product takes its share of the cost of a batch: three ways, of which the club chooses one.
//!
//! IAS 2, paragraph 14: a by-product that is not the point of the making is measured at its net realisable value, and
//! that is taken off the cost of the drink. Where curd and drink are both wanted, they are joint products, and the cost
//! is split on a rational basis: by mass, or by what each would sell for. Whatever the way, what the by-product takes
//! and what stays add up to what the batch had cost, to the millionth.

use serde::{Deserialize, Serialize};

use super::{BatchCost, CostLine, Effect, apportion};
use crate::domain::books::EntryKind;
use crate::domain::refusal::Refusal;
use crate::units::ids::EntryId;
use crate::units::money::Money;
use crate::units::quantity::Milli;

/// The way.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum By {
    /// At net realisable value, never more than the batch has cost.
    NetValue,
    /// By mass.
    Mass,
    /// By what each would sell for.
    SalesValue,
}

impl By {
    /// All ways.
    pub const ALL: [Self; 3] = [Self::NetValue, Self::Mass, Self::SalesValue];

    /// As in the database and the API.
    pub const fn code(self) -> &'static str {
        match self {
            Self::NetValue => "net-value",
            Self::Mass => "mass",
            Self::SalesValue => "sales-value",
        }
    }

    /// From its code.
    pub fn from_code(code: &str) -> Option<Self> {
        Self::ALL.into_iter().find(|by| by.code() == code)
    }

    /// For people, after "by-products".
    pub const fn label(self) -> &'static str {
        match self {
            Self::NetValue => "at what they are worth",
            Self::Mass => "by mass",
            Self::SalesValue => "by what each would sell for",
        }
    }
}

/// What a share rests on: the by-product, and what stays in the batch.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
pub struct Grounds {
    /// The way that was taken.
    pub by: By,
    /// Quantity times net value, uncapped.
    pub worth: Money,
    /// The mass of the by-product, thousandths of a gram.
    pub mass: Milli,
    /// The mass of what stays.
    pub drink_mass: Milli,
    /// What that would sell for; none where nobody said.
    pub drink_worth: Option<Money>,
}

impl Grounds {
    /// What the by-product takes of what the batch has cost; none where this way has nothing to rest on.
    pub fn share(&self, by: By, batch_cost: Money) -> Option<Money> {
        if batch_cost <= Money::ZERO {
            return Some(Money::ZERO);
        }
        let weights = match by {
            By::NetValue => return Some(self.worth.min(batch_cost)),
            By::Mass => [self.mass.get(), self.drink_mass.get()],
            By::SalesValue => [self.worth.micros(), self.drink_worth?.micros()],
        };
        if weights.iter().any(|weight| *weight < 0) || weights.iter().all(|weight| *weight == 0) {
            return None;
        }
        Some(apportion(batch_cost, &weights.map(Money::from_micros))[0])
    }

    /// The same for what is booked: a way with nothing to rest on says what is missing.
    pub fn booked(&self, batch_cost: Money) -> Result<Money, Refusal> {
        self.share(self.by, batch_cost).ok_or_else(|| {
            Refusal::conflict(
                "quantity",
                match self.by {
                    By::SalesValue => {
                        "By-products of this club share the cost by what each would sell for, and neither this one nor \
                         the drink has a value: write what it is worth, or have a steward set what a litre counts for"
                    }
                    _ => {
                        "By-products of this club share the cost by mass, and this one has no density: write its \
                         density under Stores, Items"
                    }
                },
            )
        })
    }
}

/// What a bottle would cost by each way; none where a way has nothing to rest on. Empty where nothing was weighed off.
pub fn ways(
    lines: &[CostLine],
    grounds: impl Fn(EntryId) -> Option<Grounds> + Copy,
    of_bottle: impl Fn(Vec<CostLine>) -> Option<Money>,
) -> Vec<(By, Option<Money>)> {
    if !lines.iter().any(|line| line.kind == EntryKind::ByProduct) {
        return Vec::new();
    }
    By::ALL.into_iter().map(|by| (by, told_by(lines, by, grounds).and_then(&of_bottle))).collect()
}

/// The lines of a batch as they would be if by-products took their shares another way; what left takes the same part of
/// what there was. None where this way has nothing to rest on.
pub fn told_by(
    lines: &[CostLine],
    by: By,
    grounds: impl Fn(EntryId) -> Option<Grounds>,
) -> Option<Vec<CostLine>> {
    let (mut booked, mut would) = (Money::ZERO, Money::ZERO);
    let mut found = Vec::with_capacity(lines.len());
    for line in lines {
        let cost = match line.effect() {
            Effect::Deducted if line.kind == EntryKind::ByProduct => {
                grounds(line.entry)?.share(by, would)?.negated()
            }
            Effect::Came | Effect::Deducted => line.cost,
            Effect::Went => part_of(would, line.cost, booked),
        };
        booked = booked + line.cost;
        would = would + cost;
        found.push(CostLine { cost, ..line.clone() });
    }
    Some(found)
}

/// The same part of one amount that `taken` is of another: all where that took all.
fn part_of(of: Money, taken: Money, whole: Money) -> Money {
    if whole == Money::ZERO {
        return Money::ZERO;
    }
    if taken.negated() == whole {
        return of.negated();
    }
    let part = i128::from(of.micros()) * i128::from(taken.micros()) / i128::from(whole.micros());
    Money::from_micros(i64::try_from(part).unwrap_or(0))
}

/// What is left of it in the end, to see that nothing was made or lost.
pub fn held(lines: &[CostLine]) -> Money {
    BatchCost::of(lines.to_vec()).held()
}

#[cfg(test)]
mod tests;
