//! How two revisions differ: what came, what went, what changed. Seen from the other side, each difference is the
//! same with its sides changed.

use super::{Goals, Revision};
use crate::domain::plans::{PlanStep, PlanSupply};
use crate::units::ids::ItemId;
use crate::units::measure::Measured;
use crate::units::quantity::Milli;

/// What of a revision differs.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Part {
    /// The name of the drink.
    Drink,
    /// The base.
    Base,
    /// A supply.
    Supply(ItemId),
    /// A by-product.
    ByProduct(ItemId),
    /// A step.
    Step,
    /// The strength that is wanted.
    Strength,
    /// The sugar that should be left.
    Sugar,
    /// The ages at which it should be tasted.
    TastingAges,
}

/// What one of the two says.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Said {
    /// A name.
    Name(String),
    /// An amount of an item, for so much of the base.
    Amount(PlanSupply, Milli),
    /// A step and its number.
    Step(usize, PlanStep),
    /// A figure.
    Figure(Measured),
    /// Ages in months, and whether they are counted by warmth.
    Months(Vec<u32>, bool),
}

/// One difference: a side that says nothing has nothing there.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Difference {
    /// What differs.
    pub part: Part,
    /// What the first says.
    pub from: Option<Said>,
    /// What the second says.
    pub to: Option<Said>,
}

impl Difference {
    /// The same, seen from the other side.
    #[must_use]
    pub fn turned(self) -> Self {
        Self { part: self.part, from: self.to, to: self.from }
    }
}

/// Everything in which two revisions differ, in the order in which a recipe is read. Amounts that are in the same
/// proportion to their bases do not differ.
pub fn differences(from: &Revision, to: &Revision) -> Vec<Difference> {
    // What is paired with what must not depend on which one is named first.
    if key(to) < key(from) {
        return differences_in_order(to, from).into_iter().map(Difference::turned).collect();
    }
    differences_in_order(from, to)
}

fn key(revision: &Revision) -> String {
    format!("{revision:?}")
}

fn differences_in_order(from: &Revision, to: &Revision) -> Vec<Difference> {
    let mut found = Vec::new();
    let mut push = |part, from, to| found.push(Difference { part, from, to });
    if from.drink != to.drink {
        push(Part::Drink, Some(Said::Name(from.drink.clone())), Some(Said::Name(to.drink.clone())));
    }
    if from.base != to.base {
        let said = |base: PlanSupply| Some(Said::Amount(base, base.amount));
        push(Part::Base, said(from.base), said(to.base));
    }
    let bases = (from.base.amount, to.base.amount);
    lines(&from.supplies, &to.supplies, bases, Part::Supply, &mut push);
    lines(&from.by_products, &to.by_products, bases, Part::ByProduct, &mut push);
    steps(from, to, &mut push);
    let (was, is) = (&from.goals, &to.goals);
    if was.strength != is.strength {
        push(Part::Strength, was.strength.map(Said::Figure), is.strength.map(Said::Figure));
    }
    if was.sugar_g_l != is.sugar_g_l {
        push(Part::Sugar, was.sugar_g_l.map(Said::Figure), is.sugar_g_l.map(Said::Figure));
    }
    let ages = |goals: &Goals| (goals.tasting_ages_months.clone(), goals.ages_by_warmth);
    if ages(was) != ages(is) {
        let said =
            |(ages, by_warmth): (Vec<u32>, bool)| (!ages.is_empty()).then_some(Said::Months(ages, by_warmth));
        push(Part::TastingAges, said(ages(was)), said(ages(is)));
    }
    found
}

type Push<'p> = &'p mut dyn FnMut(Part, Option<Said>, Option<Said>);

fn lines(
    from: &[PlanSupply],
    to: &[PlanSupply],
    (was, is): (Milli, Milli),
    part: fn(ItemId) -> Part,
    push: Push,
) {
    let of = |lines: &[PlanSupply], item| lines.iter().find(|line| line.item == item).copied();
    let mut items: Vec<ItemId> = from.iter().chain(to).map(|line| line.item).collect();
    items.sort_unstable();
    items.dedup();
    for item in items {
        let (before, after) = (of(from, item), of(to, item));
        let same = match (before, after) {
            (Some(before), Some(after)) => same_proportion(before.amount, was, after.amount, is),
            _ => false,
        };
        if !same {
            push(
                part(item),
                before.map(|line| Said::Amount(line, was)),
                after.map(|line| Said::Amount(line, is)),
            );
        }
    }
}

fn same_proportion(one: Milli, of: Milli, other: Milli, of_other: Milli) -> bool {
    i128::from(one.get()) * i128::from(of_other.get()) == i128::from(other.get()) * i128::from(of.get())
}

/// Steps that stand in both, in the same order, are no difference. Between those, a step that went and one of the
/// same kind that came are one step that changed.
fn steps(from: &Revision, to: &Revision, push: Push) {
    let bases = (from.base.amount, to.base.amount);
    let same = |one: &PlanStep, other: &PlanStep| {
        let amounts = match (one.amount, other.amount) {
            (Some((one, unit)), Some((other, of))) => {
                unit == of && same_proportion(one, bases.0, other, bases.1)
            }
            (None, None) => true,
            _ => false,
        };
        amounts && PlanStep { amount: other.amount, ..one.clone() } == *other
    };
    let (left, right) = (&from.steps, &to.steps);
    let mut kept = in_common(left, right, same);
    kept.push((left.len(), right.len()));
    let (mut at, mut other) = (0, 0);
    for (until, other_until) in kept {
        let mut came: Vec<usize> = (other..other_until).collect();
        let said = |number: usize, step: &PlanStep| Some(Said::Step(number + 1, step.clone()));
        for (gone, step) in left.iter().enumerate().take(until).skip(at) {
            let place = came.iter().position(|came| right[*came].kind == step.kind);
            let after = place.map(|place| came.remove(place));
            push(Part::Step, said(gone, step), after.and_then(|after| said(after, &right[after])));
        }
        for new in came {
            push(Part::Step, None, said(new, &right[new]));
        }
        (at, other) = (until + 1, other_until + 1);
    }
}

/// The longest run of steps that both have in the same order: their places in each.
fn in_common(
    left: &[PlanStep],
    right: &[PlanStep],
    same: impl Fn(&PlanStep, &PlanStep) -> bool,
) -> Vec<(usize, usize)> {
    let mut longest = vec![vec![0_usize; right.len() + 1]; left.len() + 1];
    for at in (0..left.len()).rev() {
        for other in (0..right.len()).rev() {
            longest[at][other] = if same(&left[at], &right[other]) {
                longest[at + 1][other + 1] + 1
            } else {
                longest[at + 1][other].max(longest[at][other + 1])
            };
        }
    }
    let (mut at, mut other, mut found) = (0, 0, Vec::new());
    while at < left.len() && other < right.len() {
        if same(&left[at], &right[other]) {
            found.push((at, other));
            (at, other) = (at + 1, other + 1);
        } else if longest[at + 1][other] >= longest[at][other + 1] {
            at += 1;
        } else {
            other += 1;
        }
    }
    found
}
