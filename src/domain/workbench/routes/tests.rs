//! The ways: each reaches the same goal within what it says, and makes or loses no sugar.

use super::*;
use crate::domain::workbench::{Input, Kind, Value};
use crate::science::alcohol::{DEFAULT_HEXOSE_PER_VOL_G_L, HEXOSE_PER_DISACCHARIDE};
use crate::units::dimension::Amount;

fn ask(base: &str, amount: &str, goal: f64) -> Ask {
    let mut given = usual();
    given.set("goal", Value::Number(goal));
    for (name, typed) in [("base", base), ("amount", amount), ("sugar", "1.050")] {
        let input = INPUTS.iter().find(|input| input.name == name).unwrap();
        given.set(input.name, input.read(typed).unwrap());
    }
    Ask::of(&given).unwrap_or_else(|why| panic!("{base}: {why:?}"))
}

fn all(base: &str, amount: &str, goal: f64) -> Comparison {
    compare(&ask(base, amount, goal)).unwrap_or_else(|why| panic!("{base}: {why:?}"))
}

#[track_caller]
fn near(found: f64, wanted: f64, within: f64) {
    assert!((found - wanted).abs() <= within, "{found} is not {wanted} ± {within}");
}

#[test]
fn sixty_litres_of_sheeps_milk_to_eleven_per_cent() {
    let found = all("sheep", "60 L", 11.0);
    // The whey by itself: 49.8 g/L of lactose, 95 % split, its glucose at 16.83 g/L.
    near(found.natural_vol_percent, 49.8 * 0.95 * HEXOSE_PER_DISACCHARIDE / 2.0 / 16.83, 0.01);
    let codes: Vec<&str> = found.routes.iter().map(|route| route.code).collect();
    assert_eq!(codes, ["sweeten", "boil-down", "mix"]);
    let [sweeten, boil, mix] = &found.routes[..] else { panic!("three ways") };
    for route in &found.routes {
        assert_eq!(route.cannot, None, "{}", route.code);
        near(route.vol_percent, 11.0, 1e-6);
        assert!(route.within_vol_percent > 0.3 && route.within_vol_percent < 3.0);
        assert!(route.bottles > 0);
    }
    assert!(boil.sugar_kg < 1e-9 && boil.hours > mix.hours && mix.hours > 0.0 && sweeten.hours == 0.0);
    assert!(sweeten.sugar_kg > mix.sugar_kg && mix.sugar_kg > 0.0);
    assert!(sweeten.bottles > mix.bottles && mix.bottles > boil.bottles);
    assert!(boil.left_g_l > mix.left_g_l && mix.left_g_l > sweeten.left_g_l);
    assert!(boil.within_vol_percent > sweeten.within_vol_percent, "weighed sugar is known better than whey");
    // C: sugar by the balance of the check values, 27 CFR 24.181 (0.618 L for each kg): 43.3 L to 11 % vol.
    let wanted = 11.0 * DEFAULT_HEXOSE_PER_VOL_G_L / HEXOSE_PER_DISACCHARIDE;
    let has = found.base.hexose_g_l / HEXOSE_PER_DISACCHARIDE;
    let by_rule = found.base.litres * (wanted - has) / (1000.0 - 0.618 * wanted);
    near(sweeten.sugar_kg, by_rule, 0.01 * by_rule);
    near(sweeten.must_l, found.base.litres + 0.618 * sweeten.sugar_kg, 0.1);
}

#[test]
fn no_way_makes_or_loses_sugar() {
    for (base, amount) in [
        ("sheep", "60 L"),
        ("cow", "4 L"),
        ("goat", "10 L"),
        ("buffalo", "25 kg"),
        ("juice", "30 L"),
        ("fruit", "20 kg"),
        ("honey", "6 kg"),
        ("sugar", "10 L"),
    ] {
        for goal in [3.0, 8.0, 11.0, 14.0, 17.0] {
            let found = all(base, amount, goal);
            let had = found.base.hexose_g_l * found.base.litres;
            for route in found.routes.iter().filter(|route| route.cannot.is_none()) {
                let has = route.hexose_g_l * route.must_l;
                let added = 1000.0 * route.sugar_kg * HEXOSE_PER_DISACCHARIDE;
                near(has, had + added, 1e-6 * has.max(1.0));
                near(route.vol_percent, goal, SAME_VOL_PERCENT + 1e-6);
                let left = found.base.left_g_l * found.base.litres;
                near(route.left_g_l * route.must_l, left, 1e-6 * left.max(1.0));
            }
        }
    }
}

/// C: 10 L of water to 12 % vol takes 2.1767 kg of sugar and makes 11.345 L at 1.0737; scipy, by mass.
#[test]
fn plain_sugar_agrees_with_the_check_value() {
    let found = all("sugar", "10 L", 12.0);
    let sweeten = &found.routes[0];
    near(sweeten.sugar_kg, 2.1767, 0.002);
    near(sweeten.must_l, 11.345, 0.002);
    near(sweeten.must_sg, 1.0737, 0.0002);
    assert!(found.routes[1].cannot.as_ref().is_some_and(|why| why.contains("no sugar")));
}

/// The drink of pure sugar water is what alcohol and water weigh: at 12 % vol 982.355 kg/m³ (OIML R 22, C).
#[test]
fn the_volume_of_the_drink_knows_gas_and_contraction() {
    let found = all("sugar", "10 L", 12.0);
    let sweeten = &found.routes[0];
    let must_kg = sweeten.must_l * sweeten.must_sg * 0.998_201_7;
    // 12 % vol of the must are 12 × 7.89239 g/L of ethanol, and 0.9553 g of gas for each.
    let gas_kg = sweeten.must_l * 12.0 * 7.892_39 / 1000.0 * 0.955_3;
    near(sweeten.drink_l, (must_kg - gas_kg) / 0.982_4, 0.12);
    assert!(sweeten.drink_l < sweeten.must_l * 1.001 && sweeten.drink_l > sweeten.must_l * 0.95);
}

#[test]
fn what_is_strong_already_takes_water() {
    let found = all("juice", "10 L", 3.0);
    let [water] = &found.routes[..] else { panic!("one way") };
    assert_eq!(water.code, "water");
    near(water.vol_percent, 3.0, 1e-6);
    assert!(water.water_l > 5.0 && water.must_l > 15.0);
}

#[test]
fn steps_and_their_amounts_follow_from_the_way() {
    use crate::domain::plans::StepKind;
    let found = all("sheep", "60 L", 11.0);
    let kinds = |at: usize| -> Vec<StepKind> {
        steps(&found, &found.routes[at]).iter().map(|step| step.kind).collect()
    };
    assert!(kinds(0).contains(&StepKind::Sweeten) && !kinds(0).contains(&StepKind::BoilDown));
    assert!(kinds(1).contains(&StepKind::BoilDown) && !kinds(1).contains(&StepKind::Sweeten));
    assert!(kinds(2).contains(&StepKind::BoilDown) && kinds(2).contains(&StepKind::Sweeten));
    for at in 0..3 {
        let steps = steps(&found, &found.routes[at]);
        assert_eq!(steps[0].kind, StepKind::HeatTo);
        assert!(steps.iter().any(|step| step.kind == StepKind::SplitLactose && step.minutes > Some(600)));
        let split = steps.iter().position(|step| step.kind == StepKind::SplitLactose);
        let boil = steps.iter().position(|step| step.kind == StepKind::BoilDown);
        assert!(
            boil.is_none_or(|boil| Some(boil) > split),
            "split before it is boiled down, or it crystallises"
        );
        assert!(steps.iter().filter(|step| !step.caution.is_empty()).count() >= 5);
    }
}

#[test]
fn a_goal_out_of_reach_is_said_so() {
    let mut wild = ask("sheep", "60 L", 11.0);
    wild.goal_vol_percent = 19.9;
    wild.share_boiled = 1.0;
    let found = compare(&wild).unwrap();
    assert!(found.routes[0].warnings.iter().any(|warning| warning.contains("16 to 18")));
    wild.lactose_g_l = 5.0;
    let found = compare(&wild).unwrap();
    assert!(found.routes[1].cannot.as_ref().is_some_and(|why| why.contains("15 are the most")));
    wild.amount = Amount::Litres(60.0);
    assert!(compare(&wild).is_ok());
}

#[test]
fn every_input_is_read_as_it_is_written() {
    let inner = |input: &Input| matches!(input.kind, Kind::Parts(..) | Kind::Log(_));
    assert!(!INPUTS.iter().any(inner), "the comparison asks for single values");
    for input in INPUTS.iter().filter(|input| !input.example.is_empty()) {
        assert!(input.read(input.example).is_ok(), "{}", input.name);
    }
}
