//! What a bottle may come to, and whether sulphite keeps the drink, against the published figures.

use super::{at, read, says, words};
use crate::domain::batches::Stage;
use crate::domain::cautions::{Doing, Facts, Filled, Rule, cautions};
use crate::units::quantity::Milli;

/// 75 cl of 12 % vol at 20 °C.
fn cool() -> Facts {
    Facts { strength: Some(12.0), warmest_c: Some(20.0), ..at(Stage::Resting) }
}

fn bottles(made_for_bar: Option<f64>) -> Vec<Filled> {
    vec![Filled { name: "bottles of 750 mL".to_owned(), drink: Milli::new(750_000), made_for_bar }]
}

/// Gravities that stand still for days.
fn flat(sg: f64) -> Facts {
    Facts { gravities: read(&[(0.0, 1.05), (9.0, sg), (10.5, sg), (12.0, sg)]), ..cool() }
}

fn why(facts: &Facts) -> String {
    let found = cautions(facts, Doing::Bottle).into_iter().find(|caution| caution.rule == Rule::Pressure);
    found.expect("it is always told").why
}

#[test]
fn a_bottle_of_750_ml_comes_to_the_published_pressure() {
    // Computed by the OIV's solubility with 15 mL of gas and 1.5 g/L in it, 12 % vol; tolerance 0.01 bar. 20 g/L at
    // 20 °C: 7.617 bar; a textbook has about 6 bar at 10 °C of 24 g/L (from memory).
    for (sugar, t, bar) in [(0.0, 20.0, 1.014), (1.0, 20.0, 1.344), (4.0, 20.0, 2.334), (10.0, 30.0, 5.567)] {
        let facts = Facts { galactose_g_l: Some(sugar), warmest_c: Some(t), ..flat(0.998) };
        let told = why(&facts);
        let found: f64 =
            told.rsplit_once("= ").unwrap().1.trim_end_matches(" bar.").parse().expect("a pressure in bar");
        assert!((found - bar).abs() < 0.01, "{sugar} g/L at {t} °C: {told}");
    }
}

#[test]
fn sugar_that_the_gravity_shows_is_asked_about_in_a_bottle_that_does_not_bear_it() {
    let ask =
        |sg, made_for| says(&Facts { bottles: bottles(made_for), ..flat(sg) }, Doing::Bottle, Rule::Pressure);
    // A reading is within 0.001: below that it shows no sugar.
    assert_eq!(
        (ask(0.998, None), ask(1.001, None), ask(1.0012, None)),
        (Some(false), Some(false), Some(true))
    );
    // 1.006 can be 16 g/L, which come to 6.3 bar at 20 °C; bottles for 7 bar bear it, and those for 6 do not.
    assert_eq!(
        (ask(1.006, Some(2.5)), ask(1.006, Some(6.0)), ask(1.006, Some(7.0))),
        (Some(true), Some(true), Some(false))
    );
    // What moves or stands too high is asked about as unfinished, once.
    let works = Facts { gravities: read(&[(0.0, 1.08), (5.0, 1.03)]), ..cool() };
    assert_eq!(says(&works, Doing::Bottle, Rule::Pressure), Some(false));
    assert_eq!(says(&works, Doing::Bottle, Rule::Unfinished), Some(true));
    assert_eq!(says(&works, Doing::Rack, Rule::Pressure), None);
}

#[test]
fn the_weakest_bottle_and_the_warmest_shelf_decide() {
    let two = [bottles(Some(7.0)), bottles(None)].concat();
    assert_eq!(says(&Facts { bottles: two, ..flat(1.006) }, Doing::Bottle, Rule::Pressure), Some(true));
    let warm = Facts { bottles: bottles(Some(7.0)), warmest_c: Some(30.0), ..flat(1.006) };
    assert_eq!(says(&warm, Doing::Bottle, Rule::Pressure), Some(true));
    let unknown = Facts { warmest_c: None, bottles: Vec::new(), ..flat(0.998) };
    assert!(why(&unknown).contains("At 30 °C (taken as the warmest"), "{}", why(&unknown));
    assert!(words(&unknown, Doing::Bottle, Rule::Pressure).contains("not made for pressure: 1 bar"));
}

#[test]
fn stabilised_counts_where_sulphite_is_read_to_be_enough() {
    let made = |stabilised, free| {
        let facts = Facts { stabilised, free_sulphite_mg_l: free, ph: Some(3.5), ..flat(1.006) };
        (says(&facts, Doing::Bottle, Rule::Pressure), words(&facts, Doing::Bottle, Rule::Pressure))
    };
    // OIV-MA-AS323-04C: 2.773 % is molecular at pH 3.5 and 12 % vol, so that 18.1 mg/L free make 0.5 mg/L.
    assert_eq!(made(true, Some(18.1)).0, Some(false));
    assert_eq!(made(true, Some(17.9)).0, Some(true));
    assert_eq!(made(true, None).0, Some(true));
    assert_eq!(made(false, Some(40.0)).0, Some(true));
    assert!(made(false, None).1.contains("No step says that it was stabilised"));
}

#[test]
fn free_sulphite_is_weighed_against_the_ph() {
    let told = |free, ph| {
        words(&Facts { free_sulphite_mg_l: free, ph: Some(ph), ..cool() }, Doing::Bottle, Rule::Protection)
    };
    // 5.385 % of free at pH 3.2, 2.773 % at 3.5; 28.8 mg/L for 0.8 mg/L, so 18 for 0.5.
    assert!(
        told(Some(20.0), 3.2).contains("1.08 mg/L molecular, which protects it"),
        "{}",
        told(Some(20.0), 3.2)
    );
    let little = told(Some(15.0), 3.5);
    assert!(little.contains("0.42 mg/L molecular, which protects it little"), "{little}");
    assert!(little.contains("About 18 mg/L free"), "{little}");
    assert!(told(None, 3.5).contains("is not known"));
    assert_eq!(told(Some(20.0), 4.4), "", "beyond the table");
}
