//! By-products and their share of the cost, with worked examples.

use proptest::prelude::*;

use super::*;
use crate::units::quantity::BaseUnit;

fn money(micros: i64) -> Money {
    Money::from_micros(micros)
}

fn grounds(worth: i64, mass: i64, drink_mass: i64, drink_worth: Option<i64>) -> Grounds {
    Grounds {
        by: By::NetValue,
        worth: money(worth),
        mass: Milli::new(mass),
        drink_mass: Milli::new(drink_mass),
        drink_worth: drink_worth.map(money),
    }
}

#[test]
fn the_worked_examples_of_ias_2_come_out() {
    // IAS 2, paragraph 14, worked: joint cost 120.00, curd worth 18.00 less 2.50 to finish it: the drink costs 104.50.
    let curd = grounds(15_500_000, 0, 0, None);
    assert_eq!(curd.share(By::NetValue, money(120_000_000)), Some(money(15_500_000)));
    // Never below zero: what is worth more than all takes all.
    assert_eq!(curd.share(By::NetValue, money(9_000_000)), Some(money(9_000_000)));
    // Joint products: 12000 by sales of 15000, 9000 and 6000 are 6000, 3600 and 2400. One off after the other: the
    // second is weighed against what is left.
    let first = grounds(9_000_000_000, 0, 0, Some(21_000_000_000));
    let second = grounds(6_000_000_000, 0, 0, Some(15_000_000_000));
    let whole = money(12_000_000_000);
    let one = first.share(By::SalesValue, whole).unwrap();
    assert_eq!(one, money(3_600_000_000));
    assert_eq!(second.share(By::SalesValue, whole + one.negated()), Some(money(2_400_000_000)));
    // By mass: 8 kg of curd and 52 kg of whey share 60.00.
    let curd = grounds(0, 8_000_000, 52_000_000, None);
    assert_eq!(curd.share(By::Mass, money(60_000_000)), Some(money(8_000_000)));
}

#[test]
fn a_way_with_nothing_to_rest_on_is_not_guessed() {
    let bare = grounds(0, 0, 0, None);
    assert_eq!(bare.share(By::NetValue, money(100)), Some(Money::ZERO));
    assert_eq!(bare.share(By::Mass, money(100)), None);
    assert_eq!(bare.share(By::SalesValue, money(100)), None);
    let said = Grounds { by: By::SalesValue, ..bare }.booked(money(100)).unwrap_err().to_string();
    assert!(said.contains("what a litre counts for"), "{said}");
}

fn line(kind: EntryKind, quantity: i64, cost: i64) -> CostLine {
    CostLine {
        entry: EntryId::fresh(),
        kind,
        day: "2026-03-01".parse().unwrap(),
        what: String::new(),
        lot: None,
        receipt: None,
        other_batch: None,
        quantity: Milli::new(quantity),
        unit: BaseUnit::Millilitre,
        cost: money(cost),
    }
}

proptest! {
    /// Whatever came in, was weighed off and left: by every way, by-products, what left and what stays add up to what
    /// came, to the millionth, and nothing is below zero.
    #[test]
    fn cost_is_conserved_by_every_way(
        came in prop::collection::vec(0_i64..900_000_000, 1..5),
        off in prop::collection::vec((0_i64..400_000_000, 1_i64..9_000_000, 1_i64..90_000_000, 0_i64..9_000_000), 0..4),
        parts in prop::collection::vec(1_i64..=100, 0..5),
        last in any::<bool>(),
    ) {
        let mut lines: Vec<CostLine> = came.iter().map(|cost| line(EntryKind::Draw, 1, *cost)).collect();
        let mut known = Vec::new();
        let mut booked: i64 = came.iter().sum();
        for (worth, mass, drink_mass, drink_worth) in off {
            let ground = grounds(worth, mass, drink_mass, Some(drink_worth.max(1)));
            let share = ground.share(By::NetValue, money(booked)).unwrap();
            booked -= share.micros();
            let weighed = line(EntryKind::ByProduct, -1, -share.micros());
            known.push((weighed.entry, ground));
            lines.push(weighed);
        }
        for (at, part) in parts.iter().enumerate() {
            let all = last && at + 1 == parts.len();
            let taken = if all { booked } else { i64::try_from(i128::from(booked) * i128::from(*part) / 101).unwrap() };
            booked -= taken;
            lines.push(line(EntryKind::Bottling, -1, -taken));
        }
        let whole: Money = came.iter().map(|cost| money(*cost)).sum();
        for by in By::ALL {
            let told = told_by(&lines, by, |entry| known.iter().find(|one| one.0 == entry).map(|one| one.1)).unwrap();
            let went: Money = told.iter().filter(|one| one.effect() != Effect::Came).map(|one| one.cost).sum();
            prop_assert_eq!(whole + went, held(&told));
            prop_assert!(held(&told) >= Money::ZERO, "{:?}", held(&told));
            prop_assert!(told.iter().filter(|one| one.effect() != Effect::Came).all(|one| one.cost <= Money::ZERO));
            if by == By::NetValue {
                prop_assert_eq!(&told, &lines);
            }
        }
    }
}
