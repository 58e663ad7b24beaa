//! Yields and strength, with worked examples.

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
        made_for_mbar: None,
        sugar_mg_per_kg: None,
        lactose_mg_per_kg: None,
        fat_mg_per_kg: None,
        casein_mg_per_kg: None,
        splits_lactose: false,
    }
}

/// Read on the first days of June.
fn gravities(read: &[f64]) -> Vec<(Day, f64)> {
    (1..).zip(read).map(|(day, gravity)| (june(day), *gravity)).collect()
}

fn june(day: u32) -> Day {
    Day::from_ymd_opt(2026, 6, day).unwrap()
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
        gravities: gravities(&[1.026, 1.018]),
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
    let mut story = Story {
        supplies: vec![used(honey, 5000)],
        gravities: gravities(&[1.080, 1.000]),
        ..Story::default()
    };
    story.left = Milli::new(20_000_000);
    assert_eq!(story.recoveries()[0].name, "Alcohol from sugar");
    story.moved_in = Milli::new(5_000_000);
    assert_eq!(story.recoveries(), []);
}

#[test]
fn what_went_to_another_batch_is_not_missing_from_the_bottles() {
    let litres = |litres: i64| Milli::new(litres * 1_000_000);
    let story = Story { must: litres(50), moved_out: litres(10), bottled: litres(36), ..Story::default() };
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
    let story = Story {
        supplies: vec![used(honey, 5000)],
        gravities: gravities(&[1.080, 1.000]),
        ..Story::default()
    };
    assert!((story.strength().unwrap().vol_percent - 10.632).abs() < 0.005);
}

#[test]
fn alcohol_is_judged_only_when_the_sugar_has_had_its_time() {
    let honey = Item { sugar_mg_per_kg: Some(800_000), ..item("Honey", BaseUnit::Gram) };
    let mut story = Story {
        supplies: vec![used(honey, 5000)],
        gravities: gravities(&[1.080, 1.040]),
        left: Milli::new(20_000_000),
        under_way: true,
        ..Story::default()
    };
    let recovery = &story.recoveries()[0];
    assert_eq!((recovery.name.as_str(), recovery.expected), ("Alcohol from sugar so far", None));
    story.under_way = false;
    let recovery = &story.recoveries()[0];
    assert_eq!((recovery.name.as_str(), recovery.expected), ("Alcohol from sugar", Some((85.0, 94.0))));
    assert!(!recovery.basis.contains("weighed off"));
    story.by_products.push(used(item("Pomace", BaseUnit::Gram), 900));
    assert!(
        story.recoveries()[0].basis.contains("must that stayed in what was weighed off is not taken off")
    );
}

proptest::proptest! {
    /// In whole grams the balance closes, whatever went in and came out.
    #[test]
    fn the_mass_balance_closes_to_the_gram(
        milk in 1_i64..80_000, sugar in 0_i64..9_000, curd in 0_i64..20_000, bottled in 0_i64..60_000_000,
        left in 0_i64..60_000_000, lost in 0_i64..9_000_000, boiled in 0_i64..9_000_000, last in 0.985_f64..1.05,
    ) {
        let story = Story {
            supplies: vec![
                used(Item { density_micro: Some(1_031_700), ..item("Juice", BaseUnit::Millilitre) }, milk),
                used(item("Sugar", BaseUnit::Gram), sugar),
            ],
            by_products: vec![used(item("Pomace", BaseUnit::Gram), curd)],
            bottled: Milli::new(bottled),
            left: Milli::new(left),
            lost: Milli::new(lost),
            boiled: Milli::new(boiled),
            must: Milli::new(milk * 1000),
            gravities: gravities(&[1.08, last]),
            ..Story::default()
        };
        let balance = story.balance();
        let whole = balance.whole();
        let sum = |parts: &[(String, i64, bool)]| parts.iter().map(|part| part.1).sum::<i64>();
        proptest::prop_assert_eq!(sum(&whole.ins), sum(&whole.outs) + whole.unaccounted);
        for (part, (_, grams, _)) in balance.outs.iter().zip(&whole.outs) {
            #[allow(clippy::cast_precision_loss, reason = "grams of a test")]
            let off = (part.grams - *grams as f64).abs();
            proptest::prop_assert!(off <= 0.5, "{} is off by {off}", part.name);
        }
        proptest::prop_assert_eq!(boiled > 0, balance.outs.iter().any(|part| part.name == "water boiled off"));
    }
}

/// 20 L of must with 201.96 g/L of hexose to 12 % vol give 1974 g of carbon dioxide (0.48857 g/g, by the molar
/// masses); by Balling's 0.9565 of 2.0665, which also feeds the yeast, 0.4629 g/g: 5 % less.
#[test]
fn carbon_dioxide_follows_the_extract_that_went() {
    let story = Story {
        must: Milli::new(20_000_000),
        left: Milli::new(20_000_000),
        gravities: gravities(&[1.090, 0.995]),
        ..Story::default()
    };
    // OG 1.090 holds 234.8 g/L of sucrose: 247.2 g/L of hexose, of which a little is left at 0.995.
    let by_mass = 247.2 * 20.0 * 0.48857;
    let found = story.carbon_dioxide_g().unwrap();
    assert!(found < by_mass && found > by_mass * 0.75, "{found} of {by_mass}");
}

/// Curd of milk with 3.6 % fat and 2.5 % casein at 60 % moisture is 15.66 % of its mass, at 75 % 25.06 %
/// (University of Guelph, Cheese Technology, "Yield Prediction"); the whey is the rest: "about 90 % of the volume"
/// at hard-cheese moisture.
#[test]
fn the_whey_that_is_expected_is_what_the_curd_leaves() {
    let found = whey(true).recoveries();
    let of = |name: &str| found.iter().find(|one| one.name == name).unwrap();
    let (curd, whey) = (of("Curd from milk").expected.unwrap(), of("Whey from milk").expected.unwrap());
    assert!((curd.0 - 15.66).abs() < 0.35 && (curd.1 - 25.06).abs() < 0.5, "{curd:?}");
    assert!((whey.0 + curd.1 - 100.0).abs() < 1e-9 && (whey.1 + curd.0 - 100.0).abs() < 1e-9);
}
