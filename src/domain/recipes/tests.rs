//! Proportions are kept exactly; two revisions differ in the same things from either side.

use proptest::prelude::*;

use super::scale::MOST;
use super::*;
use crate::domain::plans::StepKind;
use crate::units::quantity::{BaseUnit, Milli};

fn item(number: i64) -> ItemId {
    ItemId(number)
}

fn line(number: i64, amount: i64) -> PlanSupply {
    PlanSupply { item: item(number), amount: Milli::new(amount) }
}

fn step(kind: StepKind, what: &str, amount: Option<i64>) -> PlanStep {
    PlanStep {
        kind,
        what: what.to_owned(),
        amount: amount.map(|amount| (Milli::new(amount), BaseUnit::Gram)),
        item: None,
        target_c: None,
        minutes: None,
        caution: String::new(),
    }
}

/// 60 L of milk, 7 kg of sugar, 12 mL of rennet; 16 kg of curds come off.
fn whey() -> Revision {
    Revision {
        drink: "Tide White".to_owned(),
        base: line(1, 60_000_000),
        supplies: vec![line(2, 7_000_000), line(3, 12_000)],
        by_products: vec![line(4, 16_000_000)],
        steps: vec![
            step(StepKind::HeatTo, "Warm the milk", None),
            step(StepKind::Curdle, "Stir in the rennet", None),
            step(StepKind::Sweeten, "Dissolve the sugar", Some(7_000_000)),
            step(StepKind::Pitch, "Pitch", None),
        ],
        goals: Goals { strength: Measured::from_number(11.0), ..Goals::default() },
    }
}

fn said(found: &[Difference]) -> Vec<(Part, bool, bool)> {
    found.iter().map(|one| (one.part, one.from.is_some(), one.to.is_some())).collect()
}

#[test]
fn ages_are_read_and_a_year_of_months_is_a_year_of_days() {
    assert_eq!(read_months("12, 6;24 6"), Ok(vec![6, 12, 24]));
    assert_eq!(read_months(" "), Ok(vec![]));
    for bad in ["0", "-6", "soon", "601", "6.5"] {
        assert!(read_months(bad).unwrap_err().to_string().contains("months from 1 to 600"), "{bad}");
    }
    assert_eq!([1, 3, 6, 12, 24].map(days_of_months), [30, 91, 183, 365, 731]);
}

/// By hand: 7 kg for 60 L are 4.666 666… kg for 40 L; 12 mL are 8 mL.
#[test]
fn a_batch_is_as_large_as_its_base() {
    let scaled = scaled(&whey(), Milli::new(40_000_000)).unwrap();
    assert_eq!(scaled.supplies, [line(2, 4_666_667), line(3, 8_000)]);
    assert_eq!(scaled.by_products, [line(4, 10_666_667)]);
    assert_eq!(scaled.steps[2].amount, Some((Milli::new(4_666_667), BaseUnit::Gram)));
    assert!(scaled.rounded);
    assert_eq!(scaled.takes()[0], line(1, 40_000_000));
    assert!(!super::scaled(&whey(), Milli::new(30_000_000)).unwrap().rounded);
    let words = super::scaled(&whey(), Milli::new(10_000_000_000_000)).unwrap();
    assert_eq!(words.base.amount.get(), 10_000_000_000_000);
    let heavy = Revision { base: line(1, 1), ..whey() };
    let refusal = super::scaled(&heavy, Milli::new(10_000_000_000_000)).unwrap_err();
    assert!(refusal.to_string().contains("more is needed of something"), "{refusal}");
}

#[test]
fn what_runs_out_first_says_how_much_can_be_made() {
    let there =
        |of: [i64; 3]| move |item: ItemId| Milli::new(of[usize::try_from(item.0 - 1).expect("one of three")]);
    // 90 L of milk, but sugar for 30 L only.
    let found = scarcest(&whey(), there([90_000_000, 3_500_000, 100_000]));
    assert_eq!(found, (Milli::new(30_000_000), item(2)));
    let found = scarcest(&whey(), there([20_000_000, 3_500_000, 100_000]));
    assert_eq!(found, (Milli::new(20_000_000), item(1)));
    assert_eq!(scarcest(&whey(), there([20_000_000, 0, 0])).0, Milli::ZERO);
}

#[test]
fn what_stands_twice_or_is_the_base_is_refused_beside_its_line() {
    let wrong = Revision { supplies: vec![line(2, 1), line(2, 1), line(1, 5)], ..whey() };
    let refusal = wrong.check().unwrap_err();
    let fields: Vec<&str> = refusal.faults.iter().map(|fault| fault.field.as_str()).collect();
    assert_eq!(fields, ["supplies.1.item", "supplies.2.item"]);
    assert!(whey().check().is_ok());
}

#[test]
fn differences_are_what_came_what_went_and_what_changed() {
    assert_eq!(differences(&whey(), &whey()), []);
    let mut other = whey();
    other.supplies[0].amount = Milli::new(8_000_000);
    other.supplies.push(line(5, 1_000));
    other.by_products.clear();
    other.steps[2].amount = Some((Milli::new(8_000_000), BaseUnit::Gram));
    other.steps.insert(1, step(StepKind::Hold, "Keep it warm", None));
    other.steps.pop();
    other.goals.tasting_ages_months = vec![6, 12];
    let found = differences(&whey(), &other);
    let expected = [
        (Part::Supply(item(2)), true, true),
        (Part::Supply(item(5)), false, true),
        (Part::ByProduct(item(4)), true, false),
        (Part::Step, false, true),
        (Part::Step, true, true),
        (Part::Step, true, false),
        (Part::TastingAges, false, true),
    ];
    assert_eq!(said(&found), expected);
    let Some(Said::Step(3, _)) = found[4].from else { panic!("the third step: {found:?}") };
    let Some(Said::Step(4, _)) = found[4].to else { panic!("is the fourth now: {found:?}") };
}

/// Twice the base and twice of everything is another base and nothing else.
#[test]
fn amounts_in_the_same_proportion_are_the_same() {
    let twice = scaled(&whey(), Milli::new(120_000_000)).unwrap();
    let twice = Revision {
        base: twice.base,
        supplies: twice.supplies,
        by_products: twice.by_products,
        steps: twice.steps,
        ..whey()
    };
    assert_eq!(said(&differences(&whey(), &twice)), [(Part::Base, true, true)]);
}

fn revision() -> impl Strategy<Value = Revision> {
    let amount = 1_i64..2_000_000_000;
    let lines = |from: i64| {
        proptest::collection::btree_map(from..from + 4, 1_i64..2_000_000_000, 0..4)
            .prop_map(|lines| lines.into_iter().map(|(of, amount)| line(of, amount)).collect::<Vec<_>>())
    };
    let steps = proptest::collection::vec((0..4_usize, 0..3_u8, proptest::option::of(1_i64..900)), 0..7);
    (amount, lines(10), lines(20), steps, "[AB]", proptest::collection::vec(1_u32..4, 0..3)).prop_map(
        |(base, supplies, by_products, steps, drink, ages)| Revision {
            drink,
            base: line(1, base),
            supplies,
            by_products,
            steps: steps
                .into_iter()
                .map(|(kind, what, amount)| step(StepKind::ALL[kind], &what.to_string(), amount))
                .collect(),
            goals: Goals { tasting_ages_months: ages, ..Goals::default() },
        },
    )
}

proptest! {
    #[test]
    fn scaling_keeps_every_proportion(revision in revision(), to in 1_i64..2_000_000_000) {
        let (of, times) = (i128::from(revision.base.amount.get()), i128::from(to));
        let Ok(scaled) = scaled(&revision, Milli::new(to)) else {
            // It is refused only where something is needed in an amount that cannot be kept.
            let lines = revision.supplies.iter().chain(&revision.by_products).map(|line| line.amount);
            let steps = revision.steps.iter().filter_map(|step| Some(step.amount?.0));
            let most = lines.chain(steps).map(|amount| i128::from(amount.get()) * times / of).max();
            prop_assert!(most.is_some_and(|most| most >= MOST));
            return Ok(());
        };
        let to = times;
        let mut exact = true;
        let off = revision.by_products.iter().zip(&scaled.by_products);
        let pairs = revision.supplies.iter().zip(&scaled.supplies).chain(off);
        for (before, after) in pairs {
            prop_assert_eq!(before.item, after.item);
            let (wanted, got) = (i128::from(before.amount.get()) * to, i128::from(after.amount.get()) * of);
            exact &= wanted == got;
            // Half a thousandth off at most, but never nothing.
            prop_assert!(2 * (wanted - got).abs() <= of || after.amount.get() == 1);
        }
        for (before, after) in revision.steps.iter().zip(&scaled.steps) {
            if let (Some((before, _)), Some((after, _))) = (before.amount, after.amount) {
                exact &= i128::from(before.get()) * to == i128::from(after.get()) * of;
            }
            prop_assert_eq!((before.kind, &before.what, before.minutes), (after.kind, &after.what, after.minutes));
        }
        prop_assert_eq!(scaled.rounded, !exact);
    }

    #[test]
    fn its_own_base_and_whole_multiples_are_exact(revision in revision(), times in 1_i64..50) {
        let to = Milli::new(revision.base.amount.get() * times);
        let scaled = scaled(&revision, to).unwrap();
        prop_assert!(!scaled.rounded);
        for (before, after) in revision.supplies.iter().zip(&scaled.supplies) {
            prop_assert_eq!(before.amount.get() * times, after.amount.get());
        }
    }

    #[test]
    fn what_the_scarcest_supply_allows_is_there(
        revision in revision(),
        there in proptest::collection::vec(0_i64..3_000_000_000, 30),
    ) {
        let of = |item: ItemId| Milli::new(there[usize::try_from(item.0).unwrap() % 30]);
        let (most, limits) = scarcest(&revision, of);
        if most > Milli::ZERO {
            for line in scaled(&revision, most).unwrap().takes() {
                prop_assert!(line.amount <= of(line.item) || line.amount.get() == 1);
            }
        }
        // One thousandth more of the base, and what limits is not enough any more in exact proportion.
        if limits != revision.base.item {
            let line = revision.supplies.iter().find(|line| line.item == limits).unwrap();
            let wanted = i128::from(line.amount.get()) * i128::from(most.get() + 1);
            prop_assert!(wanted > i128::from(of(limits).get()) * i128::from(revision.base.amount.get()));
        }
    }

    #[test]
    fn differences_are_the_same_from_either_side(one in revision(), other in revision()) {
        prop_assert_eq!(differences(&one, &one), Vec::new());
        let there = differences(&one, &other);
        let back: Vec<_> = differences(&other, &one).into_iter().map(Difference::turned).collect();
        prop_assert_eq!(&there, &back);
        prop_assert_eq!(there.is_empty(), one == other);
    }
}
