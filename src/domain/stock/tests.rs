//! The rules of the stores: what is drawn first, what is refused, what a count puts right.

use super::*;

fn day(text: &str) -> Day {
    text.parse().unwrap()
}

fn shelf(code: &str, best_before: Option<&str>, kilos: i64) -> Shelf {
    Shelf {
        lot: LotId::fresh(),
        code: code.to_owned(),
        place: PlaceId::fresh(),
        received_on: day("2026-03-01"),
        best_before: best_before.map(day),
        holding: Holding {
            quantity: Milli::new(kilos * 1_000_000),
            cost: Money::from_micros(kilos * 2_000_000),
        },
        opened_on: day("2026-03-01"),
        later: Vec::new(),
    }
}

#[test]
fn what_expires_first_is_drawn_first() {
    let mut shelves =
        vec![shelf("C", None, 5), shelf("B", Some("2026-09-01"), 5), shelf("A", Some("2026-07-01"), 5)];
    shelves.sort_by_key(Shelf::turn);
    let mut entry = NewEntry::new(EntryKind::Draw, day("2026-06-01"), "");
    let cost = draw(&mut entry, &mut shelves, Milli::new(7_000_000), BaseUnit::Gram, None).unwrap();
    assert_eq!(cost, Money::from_micros(14_000_000));
    let left: Vec<_> =
        shelves.iter().map(|s| (s.code.as_str(), s.holding.quantity.get() / 1_000_000)).collect();
    assert_eq!(left, [("A", 0), ("B", 3), ("C", 5)]);
}

#[test]
fn an_expired_lot_needs_a_reason_and_a_later_lot_does_not_hide_it() {
    let mut shelves = vec![shelf("A", Some("2026-05-01"), 5), shelf("B", None, 5)];
    let mut entry = NewEntry::new(EntryKind::Draw, day("2026-06-01"), "");
    let refused = draw(&mut entry, &mut shelves, Milli::new(1), BaseUnit::Gram, Some("")).unwrap_err();
    assert_eq!(refused.faults[0].field, "expired_because");
    assert!(refused.to_string().contains("Lot A was good until 1 May 2026"));
    assert!(draw(&mut entry, &mut shelves, Milli::new(1), BaseUnit::Gram, Some("still sealed")).is_ok());
}

#[test]
fn two_lines_of_an_entry_share_what_is_there() {
    let lot = shelf("A", None, 3);
    let mut entry = NewEntry::new(EntryKind::Draw, day("2026-06-01"), "");
    let mut take = |grams: i64| {
        let shelves = &mut [lot.clone()];
        draw(&mut entry, shelves, Milli::new(grams * 1000), BaseUnit::Gram, None).map(Money::micros)
    };
    assert_eq!(take(1000), Ok(2_000_000));
    assert!(take(2001).unwrap_err().to_string().contains("Only 2.0 kg is there"));
    assert_eq!(take(2000), Ok(4_000_000));
}

#[test]
fn no_more_is_drawn_than_there_is_and_not_before_it_came() {
    let mut shelves = vec![shelf("A", None, 5)];
    let mut entry = NewEntry::new(EntryKind::Draw, day("2026-02-01"), "");
    let more = Milli::new(5_000_001);
    let refused = draw(&mut entry, &mut shelves, more, BaseUnit::Gram, None).unwrap_err();
    assert!(refused.to_string().contains("Only 5.0 kg is there"));
    let refused = draw(&mut entry, &mut shelves, Milli::new(1), BaseUnit::Gram, None).unwrap_err();
    assert!(refused.to_string().contains("since 1 March 2026"));
}

fn item(kind: ItemKind, unit: BaseUnit) -> Item {
    Item {
        name: "Thing".to_owned(),
        kind,
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

#[test]
fn what_came_past_its_day_needs_a_word() {
    let line = |best_before: Option<&str>| ReceiptLine {
        item: ItemId::fresh(),
        quantity: Milli::new(1_000),
        cost: Money::ZERO,
        place: PlaceId::fresh(),
        best_before: best_before.map(day),
        supplier: String::new(),
        supplier_mark: String::new(),
    };
    let mut receipt = Receipt {
        day: day("2026-06-23"),
        paid_by: None,
        lines: vec![line(None), line(Some("2026-06-23")), line(Some("2026-06-21"))],
        remark: String::new(),
    };
    let faults = receipt.check().unwrap_err().faults;
    assert_eq!(faults.len(), 1);
    assert_eq!(faults[0].field, "lines.2.best_before");
    assert!(faults[0].message.contains("21 June 2026 had passed"));
    receipt.remark = "Frozen on its day".to_owned();
    assert!(receipt.check().is_ok());
}

#[test]
fn an_item_is_what_it_can_be_and_stays_what_it_is() {
    assert!(item(ItemKind::Drink, BaseUnit::Gram).check().is_err());
    let mut milk = item(ItemKind::Ingredient, BaseUnit::Millilitre);
    (milk.sugar_mg_per_kg, milk.fat_mg_per_kg) = (Some(1_052_600), None);
    assert!(milk.check().is_ok());
    milk.fat_mg_per_kg = Some(65_000);
    assert_eq!(milk.check().unwrap_err().faults[0].field, "sugar_g_per_kg");
    let by_mass = item(ItemKind::Ingredient, BaseUnit::Gram);
    assert_eq!(by_mass.check_change(&milk).unwrap_err().faults[0].field, "unit");
    let drink = item(ItemKind::Drink, BaseUnit::Piece);
    let packaging = item(ItemKind::Packaging, BaseUnit::Piece);
    assert_eq!(packaging.check_change(&drink).unwrap_err().faults[0].field, "kind");
    assert!(item(ItemKind::Aid, BaseUnit::Gram).check_change(&by_mass).is_ok());
}

#[test]
fn a_count_moves_the_difference_at_the_lots_own_cost() {
    let mut found = shelf("A", None, 5);
    let count = |kilos: i64| Counted {
        day: day("2026-06-01"),
        lot: found.lot,
        place: found.place,
        counted: Milli::new(kilos * 1_000_000),
        reason: "weighed".to_owned(),
    };
    let (more, less) = (count(6), count(3));
    let entry = difference(&more, &mut found.clone(), BaseUnit::Gram).unwrap();
    assert!(entry.balances());
    assert_eq!(entry.postings[0].cost, Money::from_micros(2_000_000));
    let entry = difference(&less, &mut found, BaseUnit::Gram).unwrap();
    assert!(entry.balances());
    assert_eq!(entry.postings[0].cost, Money::from_micros(-4_000_000));
}

#[test]
fn a_lot_is_moved_from_where_it_stands_to_another_place() {
    let mut from = shelf("A", Some("2026-05-01"), 5);
    let order = |to, kilos: i64| Move {
        day: day("2026-06-01"),
        lot: from.lot,
        quantity: Milli::new(kilos * 1_000_000),
        from: from.place,
        to,
    };
    let (elsewhere, same, more) =
        (order(PlaceId::fresh(), 2), order(from.place, 2), order(PlaceId::fresh(), 6));
    assert_eq!(carry(&same, &mut from.clone(), BaseUnit::Gram).unwrap_err().faults[0].field, "to");
    assert_eq!(carry(&more, &mut from.clone(), BaseUnit::Gram).unwrap_err().faults[0].field, "quantity");
    let mut empty = Shelf { holding: Holding::default(), ..from.clone() };
    assert_eq!(carry(&elsewhere, &mut empty, BaseUnit::Gram).unwrap_err().faults[0].field, "from");
    let entry = carry(&elsewhere, &mut from, BaseUnit::Gram).unwrap();
    assert!(entry.balances());
    assert_eq!(entry.postings[1].cost, Money::from_micros(4_000_000));
}

/// 5 kg came on 1 March, 3 kg more on 1 May; 4 kg are left after 4 kg went on 10 May.
#[test]
fn what_came_later_is_not_taken_on_a_past_day() {
    let kilos = |kilos: i64| Holding {
        quantity: Milli::new(kilos * 1_000_000),
        cost: Money::from_micros(kilos * 2_000_000),
    };
    let change = |on: &str, by: i64| Change { day: day(on), by: kilos(by) };
    let lot = Shelf { later: vec![change("2026-05-01", 3), change("2026-05-10", -4)], ..shelf("A", None, 4) };
    let other = shelf("B", None, 5);
    let take = |on: &str, kilos: i64, shelves: &[&Shelf]| {
        let mut entry = NewEntry::new(EntryKind::Draw, day(on), "");
        let mut shelves: Vec<Shelf> = shelves.iter().copied().cloned().collect();
        let taken = draw(&mut entry, &mut shelves, Milli::new(kilos * 1_000_000), BaseUnit::Gram, None);
        taken.map(|_| entry.postings.iter().map(|line| line.quantity.get() / -1_000_000).collect::<Vec<_>>())
    };
    assert_eq!(take("2026-04-01", 4, &[&lot]), Ok(vec![4]));
    assert_eq!(take("2026-05-20", 4, &[&lot]), Ok(vec![4]));
    let early = Shelf { later: vec![change("2026-05-01", 3)], ..shelf("A", None, 4) };
    let refused = take("2026-04-01", 2, &[&early]).unwrap_err();
    assert_eq!(refused.faults[0].field, "quantity");
    assert!(refused.to_string().contains("only 1.0 kg was left of lot A on 1 April 2026"), "{refused}");
    assert_eq!(take("2026-04-01", 2, &[&early, &other]), Ok(vec![1, 1]), "the next lot gives the rest");
    let used = Shelf { later: vec![change("2026-05-10", -5)], ..shelf("A", None, 0) };
    assert_eq!(take("2026-04-01", 1, &[&used, &other]), Ok(vec![1]));
}

/// The books say 8 kg on 20 April and 4 kg now: what was counted then is compared with the 8.
#[test]
fn a_count_is_compared_with_the_books_of_its_day() {
    let by = Holding { quantity: Milli::new(-4_000_000), cost: Money::from_micros(-8_000_000) };
    let lot = Shelf { later: vec![Change { day: day("2026-05-10"), by }], ..shelf("A", None, 4) };
    let count = |kilos: i64| {
        let counted = Milli::new(kilos * 1_000_000);
        let (lot_id, place, reason) = (lot.lot, lot.place, "counted".to_owned());
        let count = Counted { day: day("2026-04-20"), lot: lot_id, place, counted, reason };
        difference(&count, &mut lot.clone(), BaseUnit::Gram)
    };
    assert_eq!(count(7).unwrap().postings[0].quantity, Milli::new(-1_000_000));
    assert!(count(8).unwrap_err().to_string().contains("nothing to put right"));
    let refused = count(3).unwrap_err();
    assert_eq!(refused.faults[0].field, "counted");
    assert!(
        refused
            .to_string()
            .contains("say 8.0 kg on 20 April 2026, and of that only 4.0 kg was left on 10 May 2026"),
        "{refused}"
    );
}
