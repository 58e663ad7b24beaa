//! Every rule on both sides of its limit, with the source of the limit.

use super::*;
use crate::science::glass::Glass;

mod bottled;

fn titles(facts: &Facts, doing: Doing) -> Vec<(Rule, bool)> {
    cautions(facts, doing).iter().map(|caution| (caution.rule, caution.needs_reason)).collect()
}

/// Whether a rule speaks, and whether it needs a reason.
fn says(facts: &Facts, doing: Doing, rule: Rule) -> Option<bool> {
    titles(facts, doing).iter().find(|found| found.0 == rule).map(|found| found.1)
}

fn words(facts: &Facts, doing: Doing, rule: Rule) -> String {
    let found = cautions(facts, doing).into_iter().find(|caution| caution.rule == rule);
    found.map(|caution| format!("{} {}", caution.title, caution.points.join(" "))).unwrap_or_default()
}

fn at(stage: Stage) -> Facts {
    Facts { stage: Some(stage), ..Facts::default() }
}

fn read(points: &[(f64, f64)]) -> Vec<Reading> {
    points.iter().map(|&(day, sg)| Reading { day, sg, temperature_c: Some(20.0) }).collect()
}

fn milk() -> Facts {
    Facts { dairy: Some(true), ..at(Stage::Preparing) }
}

fn jar() -> Holder {
    Holder {
        name: "vessel G3".to_owned(),
        glass: Some(Glass::Ordinary),
        glass_c: None,
        capacity: Milli::new(25_000_000),
        safe_filling: Milli::new(22_500_000),
        filling: Milli::new(20_000_000),
        vented: true,
    }
}

#[test]
fn every_rule_has_a_code_of_its_own_and_a_caution_says_what_why_and_from_where() {
    for rule in Rule::ALL {
        assert_eq!(Rule::from_code(rule.code()), Some(rule));
    }
    let everything = [Doing::Draw, Doing::Pitch, Doing::ByProduct, Doing::Rack, Doing::Blend, Doing::Bottle];
    let facts = Facts {
        held: vec!["Lot L-1 is on hold".to_owned()],
        honey: true,
        allergens: vec!["milk".to_owned()],
        vessel: Some(Holder { vented: false, filling: Milli::new(24_000_000), ..jar() }),
        free_sulphite_mg_l: Some(400.0),
        ..milk()
    };
    let steps = StepKind::ALL.into_iter().map(Doing::Step);
    let mut spoke: Vec<Rule> = Vec::new();
    for doing in everything.into_iter().chain(steps) {
        for caution in cautions(&facts, doing) {
            assert!(!caution.title.is_empty() && !caution.points.is_empty(), "{caution:?}");
            assert!(!caution.why.is_empty() && !caution.source.is_empty(), "{caution:?}");
            spoke.push(caution.rule);
        }
    }
    assert!(Rule::ALL.iter().all(|rule| spoke.contains(rule)), "{spoke:?}");
}

#[test]
fn what_is_not_known_gets_the_caution_of_the_worse_case() {
    let nothing = Facts::default();
    for rule in [Rule::BoilOver, Rule::HotGlass, Rule::RawMilk] {
        assert_eq!(says(&nothing, Doing::Draw, rule), Some(false), "{rule:?}");
    }
    assert!(words(&nothing, Doing::Draw, Rule::RawMilk).contains("if milk goes in"));
    assert_eq!(says(&nothing, Doing::Bottle, Rule::Unfinished), Some(true), "nobody knows whether it works");
    assert_eq!(says(&nothing, Doing::Bottle, Rule::Acid), Some(false));
    assert_eq!(says(&nothing, Doing::Pitch, Rule::TooHot), Some(false));
    assert!(says(&Facts { dairy: Some(false), ..nothing }, Doing::Draw, Rule::RawMilk).is_none());
}

#[test]
fn what_foams_is_80_degrees_or_more() {
    // Common practice, no source.
    let heated = |c| Facts { liquid_c: Some(c), ..at(Stage::Preparing) };
    let step = Doing::Step(StepKind::HeatTo);
    assert_eq!(says(&heated(79.9), step, Rule::BoilOver), None);
    assert_eq!(says(&heated(80.0), step, Rule::BoilOver), Some(false));
    assert_eq!(says(&at(Stage::Working), Doing::Draw, Rule::BoilOver), None);
}

#[test]
fn hot_liquid_into_a_glass_vessel_needs_a_reason_and_into_steel_nothing() {
    // 40 °C of difference, from `science::glass`; a glass that nobody measured is taken to have 15 °C.
    let filled = |c: f64, glass| Facts {
        liquid_c: Some(c),
        vessel: Some(Holder { glass, ..jar() }),
        ..at(Stage::Preparing)
    };
    let ordinary = Some(Glass::Ordinary);
    assert_eq!(says(&filled(35.0, ordinary), Doing::Fill, Rule::HotGlass), None);
    assert_eq!(says(&filled(55.0, ordinary), Doing::Fill, Rule::HotGlass), Some(false));
    assert_eq!(says(&filled(55.1, ordinary), Doing::Fill, Rule::HotGlass), Some(true));
    assert!(words(&filled(95.0, ordinary), Doing::Fill, Rule::HotGlass).contains("heat breaks vessel G3"));
    assert_eq!(says(&filled(95.0, Some(Glass::Borosilicate)), Doing::Fill, Rule::HotGlass), None);
    assert_eq!(says(&filled(36.0, Some(Glass::Damaged)), Doing::Fill, Rule::HotGlass), Some(true));
    assert_eq!(says(&filled(300.0, ordinary), Doing::Fill, Rule::HotGlass), Some(true), "no such liquid");
    assert_eq!(says(&filled(95.0, None), Doing::Fill, Rule::HotGlass), None, "steel");
    let unknown = Facts { vessel: Some(jar()), ..at(Stage::Preparing) };
    assert_eq!(says(&unknown, Doing::Fill, Rule::HotGlass), Some(false));
    assert_eq!(says(&Facts { vessel: Some(jar()), ..at(Stage::Resting) }, Doing::Rack, Rule::HotGlass), None);
}

#[test]
fn yeast_goes_in_below_30_and_enzyme_below_40() {
    // Common practice, no source.
    let warm = |c| Facts { liquid_c: Some(c), ..milk() };
    assert_eq!(says(&warm(29.9), Doing::Pitch, Rule::TooHot), None);
    assert_eq!(says(&warm(30.0), Doing::Pitch, Rule::TooHot), Some(false));
    assert!(words(&warm(62.0), Doing::Pitch, Rule::TooHot).contains("It has 62 °C"));
    let enzyme = Doing::Step(StepKind::SplitLactose);
    assert_eq!(says(&warm(39.9), enzyme, Rule::TooHot), None);
    assert_eq!(says(&warm(40.0), enzyme, Rule::TooHot), Some(false));
}

#[test]
fn raw_milk_is_warned_of_unless_it_is_known_to_be_heated() {
    // 21 CFR 1240.61: 72 °C for 15 seconds or 63 °C for 30 minutes.
    assert!(
        words(&milk(), Doing::Draw, Rule::RawMilk).contains("72 °C for 15 seconds or 63 °C for 30 minutes")
    );
    let heated = Facts { raw_milk: Some(false), ..milk() };
    assert_eq!(says(&heated, Doing::Draw, Rule::RawMilk), None);
    let raw = Facts { raw_milk: Some(true), ..milk() };
    assert!(words(&raw, Doing::ByProduct, Rule::RawMilk).contains("this milk is raw"));
}

#[test]
fn whey_and_cheese_have_two_hours_and_four() {
    // Common practice, no source.
    let stood = |hours| Facts { standing_hours: Some(hours), ..milk() };
    let strain = Doing::Step(StepKind::Strain);
    for rule in [Rule::WarmWhey, Rule::FreshCheese] {
        assert_eq!(says(&stood(4.0), strain, rule), Some(false), "{rule:?}");
        assert_eq!(says(&stood(4.1), strain, rule), Some(true), "{rule:?}");
    }
    assert_eq!(says(&stood(2.0), strain, Rule::WarmWhey), None);
    assert_eq!(says(&stood(2.1), strain, Rule::WarmWhey), Some(false));
    let cold = Facts { liquid_c: Some(7.9), ..stood(9.0) };
    assert_eq!(says(&cold, strain, Rule::WarmWhey), None);
    assert_eq!(says(&Facts { liquid_c: Some(8.0), ..stood(9.0) }, strain, Rule::WarmWhey), Some(true));
    assert_eq!(says(&milk(), Doing::ByProduct, Rule::FreshCheese), Some(false), "it always says so");
    assert_eq!(says(&at(Stage::Preparing), Doing::ByProduct, Rule::FreshCheese), None);
}

#[test]
fn twenty_litres_at_twelve_per_cent_fill_a_tenth_of_a_small_room() {
    // Ideal gas: 20 L to 12 % vol make 1.08 m³, 11 % of 10 m³. A gravity of 1.0747 is 191.9 g/L of sucrose, which is
    // the 202 g/L of hexose that 12 % vol take (sugar scale and EU convention, as in their own tests).
    let must = Facts {
        volume: Some(Milli::new(20_000_000)),
        gravities: read(&[(0.0, 1.0742)]),
        ..at(Stage::Preparing)
    };
    let said = words(&must, Doing::Pitch, Rule::Gas);
    assert!(
        said.contains("about 1.1 m³") && said.contains("11 % of the air in a closed room of 10 m³"),
        "{said}"
    );
    let large = Facts { room_m3: Some(100.0), ..must };
    assert!(words(&large, Doing::Pitch, Rule::Gas).contains("1 % of the air in a closed room of 100 m³"));
    assert!(words(&Facts::default(), Doing::Pitch, Rule::Gas).contains("about a cubic metre"));
}

#[test]
fn a_closed_vessel_with_a_working_batch_needs_a_reason() {
    let closed = |stage| Facts { vessel: Some(Holder { vented: false, ..jar() }), ..at(stage) };
    assert_eq!(says(&closed(Stage::Working), Doing::Fill, Rule::ClosedVessel), Some(true));
    assert_eq!(says(&closed(Stage::Preparing), Doing::Fill, Rule::ClosedVessel), Some(false));
    assert_eq!(says(&closed(Stage::Resting), Doing::Rack, Rule::ClosedVessel), Some(false));
    let open = Facts { vessel: Some(jar()), ..at(Stage::Working) };
    assert_eq!(says(&open, Doing::Fill, Rule::ClosedVessel), None);
}

#[test]
fn foam_needs_a_tenth_and_a_resting_drink_little_air() {
    // Common practice, no source.
    let filled = |stage, litres: i64| Facts {
        vessel: Some(Holder {
            filling: Milli::new(litres * 1_000_000),
            capacity: Milli::new(20_000_000),
            safe_filling: Milli::new(18_000_000),
            ..jar()
        }),
        ..at(stage)
    };
    assert_eq!(says(&filled(Stage::Working, 18), Doing::Fill, Rule::Headspace), None);
    assert_eq!(says(&filled(Stage::Working, 19), Doing::Fill, Rule::Headspace), Some(false));
    assert_eq!(says(&filled(Stage::Resting, 16), Doing::Fill, Rule::Headspace), None);
    assert_eq!(says(&filled(Stage::Resting, 15), Doing::Fill, Rule::Headspace), Some(false));
}

#[test]
fn an_unfinished_drink_is_bottled_with_a_reason_only() {
    let bottled = |points: &[(f64, f64)]| {
        says(&Facts { gravities: read(points), ..at(Stage::Resting) }, Doing::Bottle, Rule::Unfinished)
    };
    // Three flat, low, warm gravities over three days: it seems finished, and nobody is asked why.
    assert_eq!(bottled(&[(0.0, 1.081), (9.0, 0.998), (10.5, 0.998), (12.0, 0.998)]), Some(false));
    // Low, but read once: a caution, as the old readings say little.
    assert_eq!(bottled(&[(0.0, 1.05), (17.0, 0.998)]), Some(false));
    // Nothing was read.
    assert_eq!(bottled(&[]), Some(true));
    // Still falling within a week.
    assert_eq!(bottled(&[(0.0, 1.081), (9.0, 1.003), (10.0, 1.0)]), Some(true));
    assert_eq!(bottled(&[(0.0, 1.081), (9.0, 1.001), (10.0, 1.0)]), Some(false));
    // Standing still too high, and too high without more being known.
    assert_eq!(bottled(&[(0.0, 1.081), (9.0, 1.012), (10.5, 1.012), (12.0, 1.012)]), Some(true));
    let flat = |sg| bottled(&[(0.0, 1.05), (9.0, sg), (10.5, sg), (12.0, sg)]);
    assert_eq!((flat(1.0075), flat(1.01), flat(1.0102)), (Some(false), Some(false), Some(true)), "perry");
    assert_eq!(bottled(&[(9.0, 1.005)]), Some(false));
    assert_eq!(bottled(&[(9.0, 1.0052)]), Some(true));
}

#[test]
fn a_drink_above_ph_4_6_is_not_bottled_without_a_reason() {
    // 21 CFR 114.3: 4.6.
    let sour = |ph| Facts { ph: Some(ph), ..at(Stage::Resting) };
    assert_eq!(says(&sour(4.2), Doing::Bottle, Rule::Acid), None);
    assert_eq!(says(&sour(4.3), Doing::Bottle, Rule::Acid), Some(false));
    assert_eq!(says(&sour(4.6), Doing::Bottle, Rule::Acid), Some(false));
    assert_eq!(says(&sour(4.61), Doing::Bottle, Rule::Acid), Some(true));
}

#[test]
fn sulphite_has_its_limits() {
    // 200 mg/L in the EU, 350 mg/L in 27 CFR 4.22 (b)(1).
    let free = |mg| Facts { free_sulphite_mg_l: Some(mg), ..at(Stage::Resting) };
    assert_eq!(says(&free(200.0), Doing::Bottle, Rule::Sulphite), None);
    assert_eq!(says(&free(201.0), Doing::Bottle, Rule::Sulphite), Some(false));
    assert_eq!(says(&free(351.0), Doing::Bottle, Rule::Sulphite), Some(true));
    assert!(words(&free(30.0), Doing::Step(StepKind::Stabilise), Rule::Sulphite).contains("Gloves"));
}

#[test]
fn allergens_and_honey_go_along() {
    let facts = Facts { allergens: vec!["egg".into(), "milk".into()], honey: true, ..at(Stage::Resting) };
    assert!(words(&facts, Doing::Bottle, Rule::Allergens).contains("egg, milk"));
    assert!(words(&facts, Doing::Blend, Rule::Allergens).contains("other batch"));
    assert!(words(&facts, Doing::Bottle, Rule::Honey).contains("under 12 months"));
    assert_eq!(says(&at(Stage::Resting), Doing::Bottle, Rule::Honey), None);
}

#[test]
fn what_is_on_hold_is_bottled_with_a_reason_only() {
    let facts = Facts { held: vec!["Lot L-1 is on hold".to_owned()], ..at(Stage::Resting) };
    assert_eq!(says(&facts, Doing::Bottle, Rule::Held), Some(true));
    assert_eq!(says(&facts, Doing::Blend, Rule::Held), Some(false));
    assert_eq!(says(&at(Stage::Resting), Doing::Bottle, Rule::Held), None);
}

#[test]
fn a_dangerous_caution_without_a_reason_is_refused_by_its_name() {
    let facts = Facts { gravities: read(&[(9.0, 1.02)]), ph: Some(5.0), ..at(Stage::Resting) };
    let found = cautions(&facts, Doing::Bottle);
    assert!(found[0].needs_reason, "the dangerous ones stand first");
    let refused = reasoned(&found, &Reasons::default().with(Rule::Acid, "  ")).unwrap_err();
    let fields: Vec<&str> = refused.faults.iter().map(|fault| fault.field.as_str()).collect();
    assert_eq!(fields, ["reasons.unfinished", "reasons.acid"]);
    assert!(
        refused.faults[0].message.starts_with("Danger: nothing shows that this batch has finished. Do not")
    );
    let reasons =
        Reasons::default().with(Rule::Acid, "a slip of the probe").with(Rule::Unfinished, "stabilised");
    let kept = reasoned(&found, &reasons).unwrap();
    assert_eq!(
        kept.iter().map(|(_, words)| *words).collect::<Vec<_>>(),
        ["stabilised", "a slip of the probe"]
    );
}

#[test]
fn ordinary_work_asks_for_no_reason() {
    let working = Facts {
        volume: Some(Milli::new(20_000_000)),
        gravities: read(&[(0.0, 1.08), (5.0, 1.03)]),
        vessel: Some(Holder { filling: Milli::new(18_000_000), ..jar() }),
        ..at(Stage::Working)
    };
    for facts in [Facts::default(), milk(), working] {
        for doing in [Doing::Draw, Doing::Pitch, Doing::ByProduct, Doing::Rack, Doing::Split, Doing::Blend] {
            assert!(titles(&facts, doing).iter().all(|found| !found.1), "{doing:?}");
        }
        for kind in StepKind::ALL {
            assert!(for_step(kind, &facts).iter().all(|caution| !caution.needs_reason), "{kind:?}");
        }
    }
}
