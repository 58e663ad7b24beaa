//! What people and programs send about the stores, and what is said to them when it cannot be meant.

use serde_json::json;

use super::*;
use crate::domain::members::Role;
use crate::units::ids::{ClubId, PersonId, PlaceId};

fn doer() -> Doer {
    Doer {
        club: ClubId::fresh(),
        club_name: "Tidemill Cellar Club".to_owned(),
        currency: "EUR".to_owned(),
        zone: chrono_tz::UTC,
        member: MemberId::fresh(),
        person: PersonId::fresh(),
        name: "Maren Holt".to_owned(),
        role: Role::Cellarhand,
        now: "2026-06-23T12:00:00".parse().unwrap(),
        address: String::new(),
    }
}

fn form(fields: &[(&str, &str)]) -> Draft {
    let fields = fields.iter().map(|(name, text)| ((*name).to_owned(), (*text).to_owned()));
    Draft::from_form(fields).unwrap()
}

/// What is wrong, as field and beginning of the message.
fn faults<T: std::fmt::Debug>(read: Result<T, Refusal>) -> Vec<(String, String)> {
    read.unwrap_err().faults.into_iter().map(|fault| (fault.field, fault.message)).collect()
}

#[test]
fn a_page_asks_for_the_worth_of_a_kilo_and_the_api_for_that_of_a_gram() {
    let page = form(&[
        ("name", " Curds "),
        ("kind", "by-product"),
        ("unit", "g"),
        ("allergens.milk", "yes"),
        ("value", "5,25"),
        ("low_at", "2 lb"),
        ("density_g_per_ml", "1.06"),
        ("sugar_g_per_kg", ""),
    ]);
    let api = json!({
        "name": "Curds", "kind": "by-product", "unit": "g", "allergens": ["milk"],
        "value_per_unit": "0.00525",
        "low_at": {"amount": "907.18474", "unit": "g"}, "density_g_per_ml": "1.06", "splits_lactose": false
    });
    let on_page = item(&page, &doer(), None, Asked::OnPage).unwrap();
    let by_api = item(&Draft::from_json(api).unwrap(), &doer(), None, Asked::ByApi).unwrap();
    assert_eq!(on_page, by_api);
    assert_eq!(on_page.value_per_unit, Some(Money::from_micros(5_250)));
    assert_eq!(on_page.allergens, ["milk"]);
    assert_eq!(per_priced(Money::from_micros(5_250), BaseUnit::Gram), "5.25");
    assert_eq!(per_priced(Money::from_micros(120_000), BaseUnit::Piece), "0.12");
}

#[test]
fn an_item_is_refused_with_every_fault_beside_its_field() {
    let page = form(&[
        ("name", &"x".repeat(10_000)),
        ("kind", "thing"),
        ("unit", "stone"),
        ("value", "5.2501"),
        ("low_at", "3 bags"),
        ("density_g_per_ml", "1036"),
        ("fat_g_per_kg", "-1"),
    ]);
    let found = faults(item(&page, &doer(), None, Asked::OnPage));
    let fields: Vec<_> = found.iter().map(|fault| fault.0.as_str()).collect();
    assert_eq!(fields, ["name", "kind", "unit", "density_g_per_ml", "value", "low_at", "fat_g_per_kg"]);
    assert!(found[3].1.contains("from 0.3 to 5"));
    assert!(found[4].1.contains("three places"));
    let api = json!({"name": "x", "kind": "aid", "unit": "g", "value": "1", "allergens": ["cats"]});
    let found = faults(item(&Draft::from_json(api).unwrap(), &doer(), None, Asked::ByApi));
    let fields: Vec<_> = found.iter().map(|fault| fault.0.as_str()).collect();
    assert_eq!(fields, ["allergens", "value"]);
}

#[test]
fn a_kept_item_need_not_say_again_how_it_is_counted() {
    let first = form(&[("name", "Milk"), ("kind", "ingredient"), ("unit", "mL")]);
    let kept = item(&first, &doer(), None, Asked::OnPage).unwrap();
    let again = form(&[("name", "Whole milk"), ("kind", "ingredient"), ("low_at", "5 L")]);
    let changed = item(&again, &doer(), Some(&kept), Asked::OnPage).unwrap();
    assert_eq!((changed.unit, changed.low_at), (BaseUnit::Millilitre, Some(Milli::new(5_000_000))));
}

#[test]
fn a_receipt_names_the_line_and_the_field_of_each_fault() {
    let place = PlaceId::fresh().to_string();
    let item = ItemId::fresh().to_string();
    let page = form(&[
        ("day", "24 June 2026"),
        ("paid_by", "somebody"),
        ("lines.0.item", &item),
        ("lines.0.quantity", "24 cans"),
        ("lines.0.cost", ""),
        ("lines.0.place", &place),
        ("lines.3.item", ""),
        ("lines.3.cost", "-1"),
    ]);
    assert_eq!(items_named(&page).len(), 1);
    let found = faults(receipt(&page, &doer(), &Units::default()));
    let fields: Vec<_> = found.iter().map(|fault| fault.0.as_str()).collect();
    assert_eq!(
        fields,
        [
            "day",
            "paid_by",
            "lines.0.item",
            "lines.0.cost",
            "lines.1.item",
            "lines.1.quantity",
            "lines.1.cost",
            "lines.1.place"
        ]
    );
    assert!(found[0].1.contains("still to come"));
    assert!(found[2].1.contains("no such item in this club"));
    assert_eq!(found[4].1, "Say which item");
    let none = faults(receipt(&form(&[("lines.0.item", " ")]), &doer(), &Units::default()));
    assert_eq!(none[0].0, "lines");
}

#[test]
fn what_is_moved_or_counted_is_read_in_the_unit_of_the_lot() {
    let (lot, from, to) = (LotId::fresh(), PlaceId::fresh(), PlaceId::fresh());
    let sent =
        json!({"quantity": {"amount": "1,5", "unit": "kg"}, "from": from.to_string(), "to": to.to_string()});
    let order = movement(&Draft::from_json(sent).unwrap(), &doer(), lot, BaseUnit::Gram).unwrap();
    assert_eq!((order.quantity, order.from, order.to), (Milli::new(1_500_000), from, to));
    assert_eq!(order.day, doer().today());
    let sent = form(&[("place", &from.to_string()), ("counted", "0"), ("reason", "eaten")]);
    let counted = count(&sent, &doer(), lot, BaseUnit::Piece).unwrap();
    assert_eq!((counted.counted, counted.reason.as_str()), (Milli::ZERO, "eaten"));
    let found = faults(count(&form(&[("counted", "2")]), &doer(), lot, BaseUnit::Gram));
    let fields: Vec<_> = found.iter().map(|fault| fault.0.as_str()).collect();
    assert_eq!(fields, ["place", "counted", "reason"]);
}
