//! What a batch and a bottling have cost, line by line, so that the lines add up to what the books hold,
//! exactly.
//!
//! Supplies, and drink that came from other batches, are the parts of a batch's cost. A by-product is a
//! part below zero: what it is worth is taken off the cost of the drink (IAS 2, paragraph 14). What leaves
//! with a share of the cost (a bottling, a split, a loss that is not normal) takes of every part in
//! proportion; the millionths that rounding leaves go where the remainders are largest, so that the shares
//! add up to what was posted.

use crate::units::days::Day;
use crate::units::ids::{BatchId, EntryId, LotId};
use crate::units::money::Money;
use crate::units::quantity::{BaseUnit, Milli};

use super::books::EntryKind;

pub mod by_products;
#[cfg(test)]
mod tests;

/// One line of what moved the cost of a batch, in the order of the journal.
#[derive(Debug, Clone, PartialEq)]
pub struct CostLine {
    /// The entry.
    pub entry: EntryId,
    /// What kind of event.
    pub kind: EntryKind,
    /// When.
    pub day: Day,
    /// Item, other batch or event.
    pub what: String,
    /// The lot it came from or became.
    pub lot: Option<(LotId, String)>,
    /// The entry that brought the lot, and its number where it was bought.
    pub receipt: Option<(EntryId, Option<String>)>,
    /// The other batch, for splits and blends: which, its code, its drink.
    pub other_batch: Option<(BatchId, String, String)>,
    /// How much; below zero where it left.
    pub quantity: Milli,
    /// In what.
    pub unit: BaseUnit,
    /// What it brought (+) to or took (−) from the batch.
    pub cost: Money,
}

/// What a line does to the cost of a batch.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Effect {
    /// It is a part of the cost.
    Came,
    /// It is taken off the cost at what it is worth.
    Deducted,
    /// It takes a share of all parts along, or only volume.
    Went,
}

impl CostLine {
    /// What it does.
    pub fn effect(&self) -> Effect {
        match self.kind {
            EntryKind::Draw | EntryKind::Pitch => Effect::Came,
            EntryKind::ByProduct => Effect::Deducted,
            EntryKind::Split | EntryKind::Blend if self.quantity > Milli::ZERO => Effect::Came,
            _ => Effect::Went,
        }
    }
}

/// A part of a cost: the line it came with, and how much of it is meant.
#[derive(Debug, Clone, PartialEq)]
pub struct Part {
    /// The line.
    pub line: CostLine,
    /// How much of its cost.
    pub share: Money,
}

/// Whether a part is a by-product.
fn deducted(part: &Part) -> bool {
    part.line.effect() == Effect::Deducted
}

fn sum<'p>(parts: impl Iterator<Item = &'p Part>) -> Money {
    parts.map(|part| part.share).sum()
}

/// What a batch has cost and where that went.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct BatchCost {
    /// The parts; the share of each is what is still in the batch.
    pub parts: Vec<Part>,
    /// What left with a share of the cost, or with volume alone.
    pub went: Vec<CostLine>,
}

impl BatchCost {
    /// From all lines of a batch, in their order.
    pub fn of(lines: Vec<CostLine>) -> Self {
        let mut cost = Self::default();
        for line in lines {
            cost.add(line);
        }
        cost
    }

    /// Add the next line; gives what it took of each part.
    fn add(&mut self, line: CostLine) -> Vec<Money> {
        if line.effect() != Effect::Went {
            self.parts.push(Part { share: line.cost, line });
            return Vec::new();
        }
        let held: Vec<Money> = self.parts.iter().map(|part| part.share).collect();
        let taken = apportion(line.cost.negated(), &held);
        for (part, taken) in self.parts.iter_mut().zip(&taken) {
            part.share = part.share - *taken;
        }
        self.went.push(line);
        taken
    }

    /// What came in.
    pub fn came(&self) -> Money {
        self.parts.iter().filter(|part| !deducted(part)).map(|part| part.line.cost).sum()
    }

    /// What by-products took off; zero or less.
    pub fn deducted(&self) -> Money {
        self.parts.iter().filter(|part| deducted(part)).map(|part| part.line.cost).sum()
    }

    /// What the drink has cost, wherever it went.
    pub fn drink(&self) -> Money {
        self.came() + self.deducted()
    }

    /// What went elsewhere; zero or less.
    pub fn went(&self) -> Money {
        self.went.iter().map(|line| line.cost).sum()
    }

    /// What is still in the batch.
    pub fn held(&self) -> Money {
        sum(self.parts.iter())
    }
}

/// What the bottles of one bottling have cost.
#[derive(Debug, Clone, PartialEq)]
pub struct BottlingCost {
    /// The parts of the batch's cost; the share of each is what is in these bottles.
    pub parts: Vec<Part>,
    /// What had left the batch before.
    pub before: Vec<CostLine>,
    /// What stayed in the batch.
    pub stayed: Money,
    /// Bottles, closures, labels.
    pub packaging: Vec<CostLine>,
    /// How many bottles.
    pub bottles: i64,
}

impl BottlingCost {
    /// From the lines of its batch up to `entry`, which bottled it, and the packaging. `None` if that is
    /// not among them.
    pub fn of(lines: Vec<CostLine>, entry: EntryId, packaging: Vec<CostLine>, bottles: i64) -> Option<Self> {
        let mut batch = BatchCost::default();
        for line in lines {
            if line.entry != entry {
                batch.add(line);
                continue;
            }
            let before = std::mem::take(&mut batch.went);
            let taken = batch.add(line);
            let stayed = batch.held();
            let share = |(part, share): (Part, Money)| Part { share, ..part };
            let parts = batch.parts.into_iter().zip(taken).map(share).collect();
            return Some(Self { parts, before, stayed, packaging, bottles });
        }
        None
    }

    /// What of the supplies is in the bottles.
    pub fn came(&self) -> Money {
        sum(self.parts.iter().filter(|part| !deducted(part)))
    }

    /// What by-products took off these bottles; zero or less.
    pub fn deducted(&self) -> Money {
        sum(self.parts.iter().filter(|part| deducted(part)))
    }

    /// The drink in the bottles.
    pub fn drink(&self) -> Money {
        sum(self.parts.iter())
    }

    /// What is around it.
    pub fn packaging(&self) -> Money {
        self.packaging.iter().map(|line| line.cost).sum()
    }

    /// All of it.
    pub fn total(&self) -> Money {
        self.drink() + self.packaging()
    }

    /// Whether the batch was not bottled whole: some of its cost had left before, or stayed.
    pub fn is_part(&self) -> bool {
        self.stayed != Money::ZERO || self.before.iter().any(|line| line.cost != Money::ZERO)
    }

    /// The shares of supplies with the same name together, the largest first; by-products are not among them.
    pub fn by_name(&self) -> Vec<(String, Money)> {
        let came = self.parts.iter().filter(|part| !deducted(part));
        let mut sums = named(came.map(|part| (part.line.what.as_str(), part.share)));
        sums.sort_by_key(|(_, cost)| std::cmp::Reverse(*cost));
        sums
    }
}

/// Costs of the same name together, in the order in which the names first come.
pub fn named<'n>(costs: impl Iterator<Item = (&'n str, Money)>) -> Vec<(String, Money)> {
    let mut sums: Vec<(String, Money)> = Vec::new();
    for (name, cost) in costs {
        match sums.iter_mut().find(|(known, _)| known == name) {
            Some((_, sum)) => *sum = *sum + cost,
            None => sums.push((name.to_owned(), cost)),
        }
    }
    sums
}

/// Take `amount` out of what is `held`, of each in proportion: rounded down, the rest to the largest
/// remainders, ties to the first. No share is larger than what it is taken from, as long as `amount` is not
/// larger than the whole.
fn apportion(amount: Money, held: &[Money]) -> Vec<Money> {
    let whole: i128 = held.iter().map(|part| i128::from(part.micros())).sum();
    if whole == 0 {
        return vec![Money::ZERO; held.len()];
    }
    let amount = i128::from(amount.micros());
    let wanted = |part: &Money| i128::from(part.micros()) * amount;
    let mut shares: Vec<i128> = held.iter().map(|part| wanted(part).div_euclid(whole)).collect();
    let mut order: Vec<usize> = (0..held.len()).collect();
    order.sort_by_key(|at| (std::cmp::Reverse(wanted(&held[*at]).rem_euclid(whole)), *at));
    let rest = amount - shares.iter().sum::<i128>();
    for at in order.into_iter().take(usize::try_from(rest).unwrap_or(0)) {
        shares[at] += 1;
    }
    // A share lies between nothing and its part, which is an i64.
    shares.into_iter().map(|share| Money::from_micros(i64::try_from(share).unwrap_or(0))).collect()
}
