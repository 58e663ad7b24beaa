//! A revision for as much of the base as is there: every amount in the same proportion, in whole thousandths.

use super::Revision;
use crate::domain::plans::{PlanStep, PlanSupply};
use crate::domain::refusal::Refusal;
use crate::units::ids::ItemId;
use crate::units::quantity::{BaseUnit, Milli};

/// More than can be kept of anything.
pub(super) const MOST: i128 = 10_000_000_000_000;

/// A revision for another amount of its base.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Scaled {
    /// How much of the base.
    pub base: PlanSupply,
    /// What is added.
    pub supplies: Vec<PlanSupply>,
    /// What is expected to come off.
    pub by_products: Vec<PlanSupply>,
    /// What is done; how warm and how long stay as they are.
    pub steps: Vec<PlanStep>,
    /// An amount was rounded to a whole thousandth: by half a thousandth at most.
    pub rounded: bool,
}

impl Scaled {
    /// All that is taken from the stores, the base first.
    pub fn takes(&self) -> Vec<PlanSupply> {
        std::iter::once(self.base).chain(self.supplies.iter().copied()).collect()
    }
}

/// `amount`, which is for `of` of the base, for `to` of it: to the nearest thousandth and never nothing, and whether
/// that is exact. None where it is more than can be kept.
pub fn in_proportion(amount: Milli, of: Milli, to: Milli) -> Option<(Milli, bool)> {
    let (product, of) = (i128::from(amount.get()) * i128::from(to.get()), i128::from(of.get()));
    let nearest = ((2 * product + of) / (2 * of)).max(1);
    let whole = i64::try_from(nearest).ok().filter(|_| nearest <= MOST)?;
    Some((Milli::new(whole), nearest * of == product))
}

/// The revision for so much of its base.
pub fn scaled(revision: &Revision, base: Milli) -> Result<Scaled, Refusal> {
    let mut rounded = false;
    let mut to = |amount: Milli| {
        let (amount, exact) = in_proportion(amount, revision.base.amount, base).ok_or_else(|| {
            Refusal::unfit("amount", "For so much base, more is needed of something than can be kept here")
        })?;
        rounded |= !exact;
        Ok::<_, Refusal>(amount)
    };
    let mut lines = |lines: &[PlanSupply]| {
        let line = |line: &PlanSupply| Ok(PlanSupply { item: line.item, amount: to(line.amount)? });
        lines.iter().map(line).collect::<Result<Vec<_>, Refusal>>()
    };
    let (supplies, by_products) = (lines(&revision.supplies)?, lines(&revision.by_products)?);
    let step = |step: &PlanStep| {
        let amount = step.amount.map(|(amount, unit): (Milli, BaseUnit)| Ok((to(amount)?, unit)));
        Ok(PlanStep { amount: amount.transpose()?, ..step.clone() })
    };
    let steps = revision.steps.iter().map(step).collect::<Result<_, Refusal>>()?;
    let base = PlanSupply { item: revision.base.item, amount: base };
    Ok(Scaled { base, supplies, by_products, steps, rounded })
}

/// The greatest amount of the base for which `there` is enough, where `amount` is needed for `of` of the base.
pub fn reach(amount: Milli, of: Milli, there: Milli) -> Milli {
    let most = i128::from(there.get().max(0)) * i128::from(of.get()) / i128::from(amount.get().max(1));
    Milli::new(i64::try_from(most.min(MOST)).unwrap_or(0))
}

/// The greatest amount of the base for which everything is there, and what would run out first.
pub fn scarcest(revision: &Revision, there: impl Fn(ItemId) -> Milli) -> (Milli, ItemId) {
    let base = (there(revision.base.item).max(Milli::ZERO), revision.base.item);
    let of = |line: &PlanSupply| (reach(line.amount, revision.base.amount, there(line.item)), line.item);
    revision.supplies.iter().map(of).fold(base, |least, one| if one.0 < least.0 { one } else { least })
}
