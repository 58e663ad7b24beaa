//! A written way to make a drink, in numbered revisions: what a revision says, how it is scaled to what is there, and
//! how two of them differ.
//!
//! A revision is never changed: saving makes the next one. All its amounts are for one amount of its base (the milk,
//! the juice, the honey), so that a batch of any size follows from it.

use serde::{Deserialize, Serialize};

use super::plans::{MOST_STEPS, PlanStep, PlanSupply};
use super::refusal::{Fault, Refusal, Why};
use crate::units::Misread;
use crate::units::ids::ItemId;
use crate::units::measure::Measured;

pub use compare::{Difference, Part, Said, differences};
pub use scale::{Scaled, in_proportion, reach, scaled, scarcest};

mod compare;
mod scale;
#[cfg(test)]
mod tests;

/// What a revision says.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct Revision {
    /// The drink.
    pub drink: String,
    /// What it is made from, and the amount that all others are for.
    pub base: PlanSupply,
    /// What is added.
    pub supplies: Vec<PlanSupply>,
    /// What is expected to come off.
    pub by_products: Vec<PlanSupply>,
    /// What is done, in order.
    pub steps: Vec<PlanStep>,
    /// What it should become.
    pub goals: Goals,
}

/// What a drink should become.
#[derive(Debug, Clone, Default, PartialEq, Eq, Serialize, Deserialize)]
pub struct Goals {
    /// % vol.
    pub strength: Option<Measured>,
    /// Sugar left over, g/L.
    pub sugar_g_l: Option<Measured>,
    /// Ages at which it should be tasted.
    pub tasting_ages_months: Vec<u32>,
    /// They are counted by the warmth of the shelf, in days at 15 °C.
    pub ages_by_warmth: bool,
}

/// The most ages of one recipe.
const MOST_AGES: usize = 20;
/// The greatest age, in months.
const OLDEST_MONTHS: u32 = 600;

/// Reads ages in months with commas between, each once, in order; empty is none.
pub fn read_months(text: &str) -> Result<Vec<u32>, Misread> {
    let mut ages = Vec::new();
    for word in text.split([',', ' ', ';']).filter(|word| !word.is_empty()) {
        let age = word.parse().ok().filter(|age| (1..=OLDEST_MONTHS).contains(age));
        let said = format!("Write ages in months from 1 to {OLDEST_MONTHS}, such as 6, 12, 24");
        ages.push(age.ok_or_else(|| Misread::new(said))?);
    }
    ages.sort_unstable();
    ages.dedup();
    if ages.len() > MOST_AGES {
        return Err(Misread::new(format!("Write at most {MOST_AGES} ages")));
    }
    Ok(ages)
}

/// Months as days, at which a bottling's tasting ages are kept: a month is a twelfth of 365.25 days.
pub fn days_of_months(months: u32) -> u32 {
    (months * 36_525 + 600) / 1200
}

impl Revision {
    /// Refuses what cannot be meant whatever the items are: too many lines, or one thing twice.
    pub fn check(&self) -> Result<(), Refusal> {
        let mut faults = Vec::new();
        let mut fault = |field: String, message: &str| {
            faults.push(Fault { field, message: message.to_owned() });
        };
        for (list, lines) in [("supplies", &self.supplies), ("by_products", &self.by_products)] {
            for (at, line) in lines.iter().enumerate() {
                let field = format!("{list}.{at}.item");
                if lines[..at].iter().any(|other| other.item == line.item) {
                    fault(field, "This stands here twice; write the sum in one line");
                } else if line.item == self.base.item {
                    fault(field, "This is the base: write it there");
                }
            }
            if lines.len() > MOST_STEPS {
                fault(list.to_owned(), "Write at most 100 lines");
            }
        }
        if self.steps.len() > MOST_STEPS {
            fault("steps".to_owned(), "Write at most 100 steps");
        }
        if faults.is_empty() { Ok(()) } else { Err(Refusal { why: Why::Unfit, faults, entries: Vec::new() }) }
    }

    /// Every item that it names.
    pub fn items(&self) -> Vec<ItemId> {
        let lines = std::iter::once(&self.base).chain(&self.supplies).chain(&self.by_products);
        let mut items: Vec<ItemId> =
            lines.map(|line| line.item).chain(self.steps.iter().filter_map(|step| step.item)).collect();
        items.sort_unstable();
        items.dedup();
        items
    }
}
