//! Where the mass of a batch went, how strong the drink is, and how well each step yielded.
//!
//! The books give masses and volumes; `science` gives densities, carbon dioxide and strength. A drink made of milk is
//! never judged by its gravity: whey holds salts and sugars that do not ferment.

use super::stock::{Item, ItemKind};
use crate::science::{alcohol, dairy, sugar};
use crate::units::days::Day;
use crate::units::quantity::{BaseUnit, Milli};

pub mod compared;

pub use strength::{Basis, Strength, Turn, Unknown, What, added};

mod strength;

/// One supply drawn, summed over the batch.
#[derive(Debug, Clone, PartialEq)]
pub struct Used {
    /// What.
    pub item: Item,
    /// How much.
    pub quantity: Milli,
}

/// What the books and the readings say of a batch.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct Story {
    /// Supplies drawn.
    pub supplies: Vec<Used>,
    /// By-products weighed off.
    pub by_products: Vec<Used>,
    /// Milk went into a batch that some of it came from, as drink in bulk or in bottles.
    pub milk_before: bool,
    /// Volume that came from other batches.
    pub moved_in: Milli,
    /// Volume that went to other batches.
    pub moved_out: Milli,
    /// Volume that was measured less before the yeast came: it boiled off or evaporated.
    pub boiled: Milli,
    /// Volume recorded as lost: losses, lees left at racking, spilt at bottling.
    pub lost: Milli,
    /// Volume in bottles.
    pub bottled: Milli,
    /// Volume still in bulk.
    pub left: Milli,
    /// Volume when the yeast was pitched, and what came to it afterwards; zero before.
    pub must: Milli,
    /// Corrected gravities of its own with their days, oldest first; of a day with many the first and the last.
    pub gravities: Vec<(Day, f64)>,
    /// What happened on the way to its strength, in the order of the days.
    pub turns: Vec<Turn>,
    /// It still works, or has not begun to.
    pub under_way: bool,
}

/// One part of the mass balance.
#[derive(Debug, Clone, PartialEq)]
pub struct Part {
    /// What it is.
    pub name: String,
    /// Its mass.
    pub grams: f64,
    /// It rests on an assumption or a formula rather than on a weighing.
    pub about: bool,
}

/// The mass balance of a batch.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct Balance {
    /// What came in.
    pub ins: Vec<Part>,
    /// What went out or is still there.
    pub outs: Vec<Part>,
    /// In less out: positive is missing, negative is more than came in.
    pub unaccounted_g: f64,
}

/// A mass balance in whole grams: name, grams, whether it is a guide.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct Whole {
    /// What came in.
    pub ins: Vec<(String, i64, bool)>,
    /// What went out or is still there.
    pub outs: Vec<(String, i64, bool)>,
    /// In less out.
    pub unaccounted: i64,
}

impl Balance {
    /// The same in whole grams, which close exactly: what went in is what came out and what is not accounted for.
    pub fn whole(&self) -> Whole {
        #[allow(clippy::cast_possible_truncation, reason = "masses of a batch are far below 2^52 g")]
        let rounded = |parts: &[Part]| {
            let one = |part: &Part| (part.name.clone(), part.grams.round() as i64, part.about);
            parts.iter().map(one).collect::<Vec<_>>()
        };
        let (ins, outs) = (rounded(&self.ins), rounded(&self.outs));
        let sum = |parts: &[(String, i64, bool)]| parts.iter().map(|part| part.1).sum::<i64>();
        Whole { unaccounted: sum(&ins) - sum(&outs), ins, outs }
    }

    /// All that came in.
    pub fn total_g(&self) -> f64 {
        self.ins.iter().map(|part| part.grams).sum()
    }
}

/// Kilograms a litre of water weighs at 20 °C, the reference of all gravities here.
const WATER_G_ML: f64 = sugar::WATER_20_KG_M3 / 1000.0;

impl Story {
    /// Must to which the yeast was pitched, without what came from other batches.
    pub fn own_must(&self) -> Milli {
        self.must.above(self.moved_in)
    }

    /// The gravity of its must by the sugar that was drawn into it; none where a supply does not state its sugar, or
    /// drink came from elsewhere.
    pub fn must_gravity(&self) -> Option<f64> {
        let silent =
            |used: &Used| used.item.kind == ItemKind::Ingredient && used.item.sugar_mg_per_kg.is_none();
        let poured =
            self.moved_in > Milli::ZERO || self.supplies.iter().any(|used| used.item.kind == ItemKind::Drink);
        let litres = self.must.max(self.left).base() / 1000.0;
        let sugar_g = self.grams_of(|item| item.sugar_mg_per_kg);
        if poured || litres <= 0.0 || sugar_g <= 0.0 || self.supplies.iter().any(silent) {
            return None;
        }
        sugar::sg_from_sugar_g_l(sugar_g / litres).ok().map(|found| found.value)
    }

    /// Whether any of it is milk, or holds lactose.
    pub fn dairy(&self) -> bool {
        self.milk_before || self.supplies.iter().any(|used| used.item.dairy())
    }

    fn grams_of(&self, of: impl Fn(&Item) -> Option<i64>) -> f64 {
        self.supplies
            .iter()
            .filter_map(|used| Some(used.item.grams(used.quantity)?.0 * per_kg(of(&used.item)?)))
            .sum()
    }

    /// Where the mass went. The drink's density follows its gravity (1 where none was read).
    pub fn balance(&self) -> Balance {
        let density = self.gravities.last().map_or(1.0, |gravity| gravity.1 * WATER_G_ML);
        let first = self.line().map(|line| line.0).or(self.gravities.first().map(|gravity| gravity.1));
        let first = first.map_or(1.0, |gravity| gravity * WATER_G_ML);
        let mut ins: Vec<Part> =
            self.supplies.iter().filter_map(|used| part(used, used.item.grams(used.quantity))).collect();
        volume_part(&mut ins, "from other batches", self.moved_in, first);
        let mut outs: Vec<Part> =
            self.by_products.iter().filter_map(|used| part(used, used.item.grams(used.quantity))).collect();
        volume_part(&mut outs, "drink in bottles", self.bottled, density);
        volume_part(&mut outs, "drink in bulk", self.left, density);
        volume_part(&mut outs, "to other batches", self.moved_out, density);
        volume_part(&mut outs, "lees, samples and losses", self.lost, density);
        volume_part(&mut outs, "water boiled off", self.boiled, 1.0);
        if let Some(gas) = self.carbon_dioxide_g() {
            outs.push(Part { name: "carbon dioxide".to_owned(), grams: gas, about: true });
        }
        let sum = |parts: &[Part]| parts.iter().map(|part| part.grams).sum::<f64>();
        let unaccounted_g = sum(&ins) - sum(&outs);
        Balance { ins, outs, unaccounted_g }
    }

    /// Carbon dioxide given off by its own must, from the drop of the gravity before anything else came into it.
    pub fn carbon_dioxide_g(&self) -> Option<f64> {
        let (first, last) = self.line()?;
        let grams_per_litre = alcohol::co2_from_gravities_g_l(first, last).ok()?.value;
        let own = if self.must > self.moved_in { self.must - self.moved_in } else { self.must };
        Some(grams_per_litre * own.base() / 1000.0)
    }

    /// The milk that was drawn.
    pub fn milk_kg(&self) -> f64 {
        self.supplies
            .iter()
            .filter(|used| used.item.lactose_mg_per_kg.is_some_and(|lactose| lactose > 0))
            .filter_map(|used| used.item.grams(used.quantity))
            .map(|(grams, _)| grams / 1000.0)
            .sum()
    }

    /// By-products of milk; curd is weighed, whey left over is measured.
    fn milk_by_product_kg(&self, counted: impl Fn(BaseUnit) -> bool) -> f64 {
        self.by_products
            .iter()
            .filter(|used| {
                used.item.allergens.iter().any(|allergen| allergen == "milk") && counted(used.item.unit)
            })
            .filter_map(|used| used.item.grams(used.quantity))
            .map(|(grams, _)| grams / 1000.0)
            .sum()
    }

    /// The curd that was weighed off.
    pub fn curd_kg(&self) -> f64 {
        self.milk_by_product_kg(|unit| unit == BaseUnit::Gram)
    }

    /// The whey that went on into the drink.
    fn whey_kg(&self) -> f64 {
        (self.milk_kg() - self.milk_by_product_kg(|_| true)).max(0.0)
    }

    /// What was got out of what was put in, each with what could be expected.
    pub fn recoveries(&self) -> Vec<Recovery> {
        let mut found = Vec::new();
        let (milk, curd) = (self.milk_kg(), self.curd_kg());
        if milk > 0.0 && curd > 0.0 {
            found.push(Recovery {
                name: "Curd from milk".to_owned(),
                percent: 100.0 * curd / milk,
                expected: self.expected_curd(milk),
                basis: "by mass; expected by Van Slyke and Price between 60 and 75 % moisture".to_owned(),
            });
            found.push(Recovery {
                name: "Whey from milk".to_owned(),
                percent: 100.0 * (milk - curd) / milk,
                expected: self.expected_curd(milk).map(|(low, high)| (100.0 - high, 100.0 - low)),
                basis:
                    "by mass; what is not curd, and expected as what Van Slyke and Price leave of the milk"
                        .to_owned(),
            });
        }
        let hexose = self.grams_of(|item| item.sugar_mg_per_kg);
        let volume = (self.bottled + self.left + self.moved_out + self.lost).base();
        let own_sugar = hexose > 0.0 && self.moved_in == Milli::ZERO;
        if let (Ok(strength), false, true) = (self.strength(), self.dairy(), own_sugar) {
            let ethanol_ml = strength.vol_percent / 100.0 * volume;
            let ethanol_g = ethanol_ml * alcohol::ethanol_g_l(100.0).unwrap_or(789.239) / 1000.0;
            let name = if self.under_way { "Alcohol from sugar so far" } else { "Alcohol from sugar" };
            let mut basis =
                "of what all the sugar could give; 16.5 to 18 g/L for 1 % vol is usual".to_owned();
            if !self.by_products.is_empty() {
                basis.push_str(
                    "; must that stayed in what was weighed off is not taken off, so this may look too low",
                );
            }
            found.push(Recovery {
                name: name.to_owned(),
                percent: 100.0 * ethanol_g / (hexose * alcohol::ETHANOL_PER_HEXOSE),
                expected: (!self.under_way).then_some((85.0, 94.0)),
                basis,
            });
        }
        let kept = self.must - self.moved_out;
        if kept > Milli::ZERO && self.bottled > Milli::ZERO {
            found.push(Recovery {
                name: "Bottled from must pitched".to_owned(),
                percent: 100.0 * self.bottled.base() / kept.base(),
                expected: None,
                basis: "by volume; what went to other batches is not counted".to_owned(),
            });
        }
        found
    }

    fn expected_curd(&self, milk_kg: f64) -> Option<(f64, f64)> {
        let percent = |of: fn(&Item) -> Option<i64>| {
            let grams: f64 = self
                .supplies
                .iter()
                .filter_map(|used| Some(used.item.grams(used.quantity)?.0 * per_kg(of(&used.item)?)))
                .sum();
            grams / milk_kg / 10.0
        };
        let (fat, casein) = (percent(|item| item.fat_mg_per_kg), percent(|item| item.casein_mg_per_kg));
        let expected =
            |moisture| dairy::curd_kg_per_100_kg(fat, casein, moisture).ok().map(|found| found.value);
        Some((expected(0.60)?, expected(0.75)?))
    }
}

/// Milligrams per kilogram as a share of the mass.
#[allow(clippy::cast_precision_loss, reason = "at most a million")]
fn per_kg(mg: i64) -> f64 {
    mg as f64 / 1e6
}

fn part(used: &Used, grams: Option<(f64, bool)>) -> Option<Part> {
    let (grams, known) = grams?;
    Some(Part { name: used.item.name.clone(), grams, about: !known })
}

fn volume_part(parts: &mut Vec<Part>, name: &str, volume: Milli, density: f64) {
    if volume > Milli::ZERO {
        parts.push(Part { name: name.to_owned(), grams: volume.base() * density, about: true });
    }
}

/// One recovery.
#[derive(Debug, Clone, PartialEq)]
pub struct Recovery {
    /// What from what.
    pub name: String,
    /// Measured.
    pub percent: f64,
    /// Between what and what it was expected.
    pub expected: Option<(f64, f64)>,
    /// How it is meant.
    pub basis: String,
}

#[cfg(test)]
mod tests;
