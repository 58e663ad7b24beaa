//! Where the mass of a batch went, how strong the drink is, and how well each step yielded.
//!
//! The books give masses and volumes; `science` gives densities, carbon dioxide and strength. A drink made of milk is
//! never judged by its gravity: whey holds salts and sugars that do not ferment.

use super::stock::Item;
use crate::science::{alcohol, dairy, sugar};
use crate::units::quantity::{BaseUnit, Milli};

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
    /// Volume recorded as lost: losses, lees left at racking, spilt at bottling.
    pub lost: Milli,
    /// Volume in bottles.
    pub bottled: Milli,
    /// Volume still in bulk.
    pub left: Milli,
    /// Volume when the yeast was pitched, and what came to it afterwards; zero before.
    pub must: Milli,
    /// Corrected gravities, oldest first.
    pub gravities: Vec<f64>,
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

impl Balance {
    /// All that came in.
    pub fn total_g(&self) -> f64 {
        self.ins.iter().map(|part| part.grams).sum()
    }
}

/// Kilograms a litre of water weighs at 20 °C, the reference of all gravities here.
const WATER_G_ML: f64 = sugar::WATER_20_KG_M3 / 1000.0;

impl Story {
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
        let density = self.gravities.last().map_or(1.0, |gravity| gravity * WATER_G_ML);
        let first = self.gravities.first().map_or(1.0, |gravity| gravity * WATER_G_ML);
        let mut ins: Vec<Part> =
            self.supplies.iter().filter_map(|used| part(used, used.item.grams(used.quantity))).collect();
        volume_part(&mut ins, "from other batches", self.moved_in, first);
        let mut outs: Vec<Part> =
            self.by_products.iter().filter_map(|used| part(used, used.item.grams(used.quantity))).collect();
        volume_part(&mut outs, "drink in bottles", self.bottled, density);
        volume_part(&mut outs, "drink in bulk", self.left, density);
        volume_part(&mut outs, "to other batches", self.moved_out, density);
        volume_part(&mut outs, "lees, samples and losses", self.lost, density);
        if let Some(gas) = self.carbon_dioxide_g() {
            outs.push(Part { name: "carbon dioxide".to_owned(), grams: gas, about: true });
        }
        let sum = |parts: &[Part]| parts.iter().map(|part| part.grams).sum::<f64>();
        let unaccounted_g = sum(&ins) - sum(&outs);
        Balance { ins, outs, unaccounted_g }
    }

    /// Carbon dioxide given off, from the drop of the gravity.
    pub fn carbon_dioxide_g(&self) -> Option<f64> {
        let (first, last) = (*self.gravities.first()?, *self.gravities.last()?);
        let grams_per_litre = alcohol::co2_from_gravities_g_l(first, last).ok()?.value;
        Some(grams_per_litre * self.must.base() / 1000.0)
    }

    /// How strong the drink is, or will be; `None` where the records do not say: what sugar came into whey by way of
    /// another batch is not known here.
    pub fn strength(&self) -> Option<Strength> {
        match (self.dairy(), self.moved_in > Milli::ZERO) {
            (true, true) => None,
            (true, false) => self.dairy_strength(),
            (false, _) => self.gravity_strength(),
        }
    }

    fn gravity_strength(&self) -> Option<Strength> {
        if self.gravities.len() < 2 {
            return None;
        }
        let (first, last) = (*self.gravities.first()?, *self.gravities.last()?);
        let found = alcohol::strength_from_gravities(first, last).ok()?;
        Some(Strength {
            vol_percent: found.value.vol_percent,
            basis: Basis::Gravities { first, last },
            warning: found.warning,
        })
    }

    /// The lactose route: whey is the milk less the curd; its lactose counts only if an enzyme split it, and then
    /// only its glucose; sugar that was added counts in full.
    fn dairy_strength(&self) -> Option<Strength> {
        let litres = if self.must > Milli::ZERO { self.must } else { self.left }.base() / 1000.0;
        if litres <= 0.0 {
            return None;
        }
        let whey_litres = self.whey_kg() / dairy::WHEY_KG_L;
        let split = self.supplies.iter().any(|used| used.item.splits_lactose);
        let hydrolysed = if split { dairy::DEFAULT_HYDROLYSED_FRACTION } else { 0.0 };
        let natural = dairy::natural_strength(
            dairy::DEFAULT_WHEY_LACTOSE_G_L,
            hydrolysed,
            dairy::GALACTOSE_FRACTION_FOR_STRENGTH,
            alcohol::DEFAULT_HEXOSE_PER_VOL_G_L,
        )
        .ok()?
        .value;
        let natural_g = natural.fermentable_g_l * whey_litres;
        let added_g = self.grams_of(|item| item.sugar_mg_per_kg);
        let found = alcohol::potential_vol_percent(
            (natural_g + added_g) / litres,
            alcohol::DEFAULT_HEXOSE_PER_VOL_G_L,
        )
        .ok()?;
        Some(Strength {
            vol_percent: found.value,
            basis: Basis::Whey { whey_litres, split, natural_g, added_g, litres },
            warning: found.warning,
        })
    }

    fn milk_kg(&self) -> f64 {
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

    fn curd_kg(&self) -> f64 {
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
                expected: None,
                basis: "by mass; what is not curd".to_owned(),
            });
        }
        let hexose = self.grams_of(|item| item.sugar_mg_per_kg);
        let volume = (self.bottled + self.left + self.moved_out + self.lost).base();
        let own_sugar = hexose > 0.0 && self.moved_in == Milli::ZERO;
        if let (Some(strength), false, true) = (self.strength(), self.dairy(), own_sugar) {
            let ethanol_ml = strength.vol_percent / 100.0 * volume;
            let ethanol_g = ethanol_ml * alcohol::ethanol_g_l(100.0).unwrap_or(789.239) / 1000.0;
            found.push(Recovery {
                name: "Alcohol from sugar".to_owned(),
                percent: 100.0 * ethanol_g / (hexose * alcohol::ETHANOL_PER_HEXOSE),
                expected: Some((85.0, 94.0)),
                basis: "of what all the sugar could give; 16.5 to 18 g/L for 1 % vol is usual".to_owned(),
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

/// How strong a drink is and how that is known.
#[derive(Debug, Clone, PartialEq)]
pub struct Strength {
    /// % vol at 20 °C.
    pub vol_percent: f64,
    /// From what it was computed.
    pub basis: Basis,
    /// A warning to show with it.
    pub warning: Option<String>,
}

/// From what a strength was computed.
#[derive(Debug, Clone, PartialEq)]
pub enum Basis {
    /// The first and the last gravity: what is in it now, to ± 0.3 % vol.
    Gravities {
        /// Original gravity.
        first: f64,
        /// The last one read.
        last: f64,
    },
    /// The sugar of whey and what was added: what it reaches when it has fermented out.
    Whey {
        /// Litres of whey: milk less curd.
        whey_litres: f64,
        /// An enzyme split the lactose.
        split: bool,
        /// Grams of glucose from the lactose.
        natural_g: f64,
        /// Grams of hexose added.
        added_g: f64,
        /// Litres that hold them.
        litres: f64,
    },
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
mod tests {
    use super::*;
    use crate::domain::stock::ItemKind;

    fn item(name: &str, unit: BaseUnit) -> Item {
        Item {
            name: name.to_owned(),
            kind: ItemKind::Ingredient,
            unit,
            density_micro: None,
            allergens: Vec::new(),
            value_per_unit: None,
            low_at: None,
            sugar_mg_per_kg: None,
            lactose_mg_per_kg: None,
            fat_mg_per_kg: None,
            casein_mg_per_kg: None,
            splits_lactose: false,
        }
    }

    fn used(item: Item, base: i64) -> Used {
        Used { item, quantity: Milli::new(base * 1000) }
    }

    fn whey(lactase: bool) -> Story {
        let milk = Item {
            density_micro: Some(1_030_000),
            lactose_mg_per_kg: Some(48_000),
            fat_mg_per_kg: Some(36_000),
            casein_mg_per_kg: Some(25_000),
            allergens: vec!["milk".to_owned()],
            ..item("Milk", BaseUnit::Millilitre)
        };
        let curd = Item { allergens: vec!["milk".to_owned()], ..item("Curd", BaseUnit::Gram) };
        let enzyme = Item { splits_lactose: lactase, ..item("Enzyme", BaseUnit::Millilitre) };
        Story {
            supplies: vec![used(milk, 4000), used(enzyme, 0)],
            by_products: vec![used(curd, 645)],
            left: Milli::new(3_390_000),
            must: Milli::new(3_390_000),
            gravities: vec![1.026, 1.018],
            ..Story::default()
        }
    }

    /// Whey with its lactose split ferments to about 1.4 % vol: common practice, no source; and not at all without
    /// the enzyme, since wine yeast cannot take lactose.
    #[test]
    fn the_strength_of_whey_follows_its_lactose_and_not_its_gravity() {
        let strength = whey(true).strength().unwrap();
        assert!((strength.vol_percent - 1.4).abs() < 0.02, "{strength:?}");
        assert!(whey(false).strength().unwrap().vol_percent.abs() < 1e-9);
    }

    /// 4 L of milk (4.12 kg, fat 3.6 %, casein 2.5 %): 0.645 kg of curd at 60 % moisture, 15.66 % (Van Slyke and Price,
    /// University of Guelph, Cheese Technology, "Yield Prediction").
    #[test]
    fn curd_is_compared_with_what_the_milk_could_give() {
        let recoveries = whey(true).recoveries();
        let curd = &recoveries[0];
        assert!((curd.percent - 15.66).abs() < 0.01);
        let (low, high) = curd.expected.unwrap();
        assert!((low - 15.663).abs() < 0.001 && (high - 25.061).abs() < 0.001);
    }

    /// The whey for which there was no room is neither curd nor drink: 4.12 kg of milk, 0.645 kg of curd, 1 kg of whey.
    #[test]
    fn whey_left_over_is_no_curd_and_its_lactose_is_not_in_the_drink() {
        let mut story = whey(true);
        let left_over = Item { allergens: vec!["milk".to_owned()], ..item("Whey", BaseUnit::Millilitre) };
        let all = story.strength().unwrap().vol_percent;
        story.by_products.push(used(left_over, 1000));
        let recoveries = story.recoveries();
        assert!((recoveries[0].percent - 15.66).abs() < 0.01, "{recoveries:?}");
        assert!((recoveries[1].percent - 84.34).abs() < 0.01, "{recoveries:?}");
        let rest = (4.12 - 0.645 - 1.0) / (4.12 - 0.645);
        assert!((story.strength().unwrap().vol_percent - all * rest).abs() < 0.001);
    }

    #[test]
    fn alcohol_is_not_compared_with_sugar_when_some_of_it_came_with_another_batch() {
        let honey = Item { sugar_mg_per_kg: Some(800_000), ..item("Honey", BaseUnit::Gram) };
        let mut story =
            Story { supplies: vec![used(honey, 5000)], gravities: vec![1.080, 1.000], ..Story::default() };
        story.left = Milli::new(20_000_000);
        assert_eq!(story.recoveries()[0].name, "Alcohol from sugar");
        story.moved_in = Milli::new(5_000_000);
        assert_eq!(story.recoveries(), []);
    }

    #[test]
    fn what_went_to_another_batch_is_not_missing_from_the_bottles() {
        let litres = |litres: i64| Milli::new(litres * 1_000_000);
        let story =
            Story { must: litres(50), moved_out: litres(10), bottled: litres(36), ..Story::default() };
        assert!((story.recoveries()[0].percent - 90.0).abs() < 1e-9);
    }

    #[test]
    fn the_balance_names_what_is_missing() {
        let mut story = whey(true);
        story.left = Milli::new(3_000_000);
        let balance = story.balance();
        let out: f64 = balance.outs.iter().map(|part| part.grams).sum();
        assert!((balance.total_g() - out - balance.unaccounted_g).abs() < 1e-9);
        assert!(balance.unaccounted_g > 300.0);
        assert!(balance.outs.iter().any(|part| part.name == "carbon dioxide" && part.grams > 0.0));
    }

    /// OG 1.080 to 1.000: 10.63 % vol by Balling and Tabarié together (see `science::alcohol`).
    #[test]
    fn a_drink_without_milk_is_judged_by_its_gravities() {
        let honey = Item { sugar_mg_per_kg: Some(800_000), ..item("Honey", BaseUnit::Gram) };
        let story =
            Story { supplies: vec![used(honey, 5000)], gravities: vec![1.080, 1.000], ..Story::default() };
        assert!((story.strength().unwrap().vol_percent - 10.632).abs() < 0.005);
    }
}
