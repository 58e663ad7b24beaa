//! Reading pages and programs: the same reader, every fault at once.

use chrono_tz::Tz;
use serde_json::{Value, json};

use super::*;
use crate::domain::bottles::Purpose;
use crate::units::days::Day;
use crate::units::ids::{LotId, PlaceId};
use crate::units::quantity::{BaseUnit, Milli};

fn form(text: &str) -> Draft {
    try_form(text).unwrap()
}

fn try_form(text: &str) -> Result<Draft, Refusal> {
    Draft::from_form(form_urlencoded::parse(text.as_bytes()).map(|(name, text)| (name.into(), text.into())))
}

fn program(value: Value) -> Draft {
    Draft::from_json(value).unwrap()
}

fn day(text: &str) -> Day {
    text.parse().unwrap()
}

fn read<T>(draft: &Draft, read: impl FnOnce(&mut Reader) -> T) -> Result<T, Refusal> {
    let zone: Tz = "Europe/Amsterdam".parse().unwrap();
    Reader::run(draft, day("2026-06-23").and_hms_opt(22, 30, 0).unwrap(), zone, read)
}

fn faults<T: std::fmt::Debug>(result: Result<T, Refusal>) -> Vec<(String, String)> {
    result.unwrap_err().faults.into_iter().map(|fault| (fault.field, fault.message)).collect()
}

#[test]
fn the_same_reader_reads_a_page_and_a_program() {
    let place = PlaceId::fresh();
    let typed =
        form(&format!("bottles=6&purpose=gift&place={place}&remark=for+the+fair%0D%0Athanks&volume=4.5+L"));
    let sent = program(json!({
        "bottles": 6, "purpose": "gift", "place": place, "remark": "for the fair\nthanks",
        "volume": {"amount": "4.5", "unit": "L"},
    }));
    for draft in [typed, sent] {
        let command = read(&draft, |r| {
            (
                r.whole("bottles", 1..=100),
                r.choice("purpose", &Purpose::ALL, Purpose::code),
                r.id::<PlaceId>("place", "place"),
                r.remark("remark"),
                r.volume("volume"),
                r.day("day"),
                r.flag("normal"),
                r.optional_id::<LotId>("lot", "lot"),
            )
        });
        let (bottles, purpose, at, remark, volume, on, normal, lot) = command.unwrap();
        assert_eq!(
            (bottles, purpose, at, remark.as_str()),
            (6, Purpose::Gift, place, "for the fair\nthanks")
        );
        // Half past midnight in Amsterdam: the day there, not the day in UTC.
        assert_eq!((volume, on, normal, lot), (Milli::new(4_500_000), day("2026-06-24"), false, None));
    }
}

#[test]
fn every_fault_is_told_at_once_and_says_what_to_do() {
    let draft = form("bottles=0&purpose=theft&place=nowhere&volume=4.5&day=2027-01-01&normal=perhaps");
    let told = faults(read(&draft, |r| {
        r.whole("bottles", 1..=100);
        r.choice("purpose", &Purpose::ALL, Purpose::code);
        r.id::<PlaceId>("place", "place");
        r.volume("volume");
        r.day("day");
        r.flag("normal");
        r.id::<LotId>("lot", "lot");
        r.line("name", 80, "a name");
        r.fault("name", "the first fault of a field is kept");
    }));
    let told: Vec<_> = told.iter().map(|(field, message)| (field.as_str(), message.as_str())).collect();
    assert_eq!(
        told,
        [
            ("bottles", "Write a whole number from 1 to 100"),
            ("purpose", "Choose one of these: taken, tasting, gift, broken"),
            ("place", "There is no such place in this club"),
            ("volume", "“4.5” has no unit; write it with one: 24 L or ½ gal"),
            ("day", "1 January 2027 is still to come; write a day up to today, 24 June 2026"),
            ("normal", "Write true or false"),
            ("lot", "Say which lot"),
            ("name", "Write a name"),
        ]
    );
}

#[test]
fn lines_left_empty_are_not_there_and_the_others_are_counted_as_the_page_shows_them() {
    let draft = form(
        "lines.0.lot=&lines.0.quantity=&lines.10.quantity=3+kg&lines.2.quantity=two&lines.2.lot=x&lines.7.lot=",
    );
    assert_eq!(draft.count("lines"), 2);
    assert_eq!(draft.typed("lines.1.quantity").as_deref(), Some("3 kg"));
    let told = faults(read(&draft, |r| r.rows("lines", |r| r.quantity("quantity", BaseUnit::Gram))));
    assert_eq!(told.len(), 1);
    assert_eq!(told[0].0, "lines.0.quantity");
}

#[test]
fn a_list_has_a_most_and_a_program_may_not_leave_a_line_empty() {
    let many: Vec<_> = (0..101).map(|_| json!({"bottles": 1})).collect();
    let told =
        faults(read(&program(json!({ "lines": many })), |r| r.rows("lines", |r| r.whole("bottles", 1..=9))));
    assert_eq!(told, [("lines".to_owned(), "Write at most 100 lines at once; this has 101".to_owned())]);
    let told =
        faults(read(&program(json!({"lines": [{}]})), |r| r.rows("lines", |r| r.whole("bottles", 1..=9))));
    assert_eq!(told[0].0, "lines.0.bottles");
    let none = read(&program(json!({"lines": []})), |r| r.rows("lines", |r| r.whole("bottles", 1..=9)));
    assert_eq!(none, Ok(vec![]));
}

#[test]
fn a_field_that_a_program_misspells_is_named_and_one_of_a_page_is_not() {
    let sent = program(
        json!({"nmae": "x", "lines": [{"lott": 1, "quantity": {"amount": 1, "unit": "kg"}}], "odd": []}),
    );
    let told = faults(read(&sent, |r| r.rows("lines", |r| r.quantity("quantity", BaseUnit::Gram))));
    let mut fields: Vec<_> = told.iter().map(|(field, _)| field.as_str()).collect();
    fields.sort_unstable();
    assert_eq!(fields, ["lines.0.lott", "nmae", "odd"]);
    assert!(told[0].1.contains("spelling"));
    assert_eq!(read(&form("nmae=x"), |r| r.flag("normal")), Ok(false));
}

#[test]
fn a_value_of_the_wrong_shape_is_refused_in_words() {
    let sent = program(json!({"name": {"first": "x"}, "lines": "none", "place": [["x"]]}));
    let told = faults(read(&sent, |r| {
        r.line("name", 80, "a name");
        r.rows("lines", |r| r.flag("x"));
        r.optional_id::<PlaceId>("place", "place");
    }));
    let told: Vec<_> = told.iter().map(|(field, message)| (field.as_str(), &message[..12])).collect();
    assert_eq!(told, [("name", "Write a sing"), ("lines", "Write a list"), ("place", "Write a sing")]);
}

#[test]
fn ticks_and_lists_are_both_choices() {
    let words =
        |draft: &Draft| read(draft, |r| r.choices("allergens", &["milk", "egg", "fish"], |word| word));
    assert_eq!(words(&form("allergens.fish=yes&allergens.milk=yes")), Ok(vec!["milk", "fish"]));
    assert_eq!(words(&program(json!({"allergens": ["fish", "milk", "fish"]}))), Ok(vec!["milk", "fish"]));
    assert_eq!(words(&form("")), Ok(vec![]));
    assert_eq!(faults(words(&program(json!({"allergens": ["bread"]}))))[0].0, "allergens");
}

#[test]
fn what_no_page_of_ours_sends_is_refused_before_it_is_read() {
    let long = format!("{}=1", "x".repeat(200));
    let many = "name=1&".repeat(5000);
    for bad in ["a.b=1&a=2", "a=1&a.b=2", "a..b=1", "a b=1", "a.b.c.d.e.f.g=1", "name=x%00y", &long, &many] {
        assert!(try_form(bad).is_err(), "{}", &bad[..bad.len().min(40)]);
    }
    let deep = (0..20).fold(json!(1), |inner, _| json!({ "x": inner }));
    let wide = json!({ "lines": vec![1; 5000] });
    for bad in [json!([1]), json!("x"), json!(null), json!({"a": "x\0y"}), json!({"a\0": 1}), deep, wide] {
        assert!(Draft::from_json(bad).is_err());
    }
}

#[test]
fn a_field_sent_twice_is_not_quietly_one_of_the_two() {
    let told = faults(read(&form("bottles=1&bottles=2"), |r| r.whole("bottles", 1..=9)));
    assert_eq!(told[0].0, "bottles");
}

mod whatever_is_sent {
    use proptest::prelude::*;

    use super::*;

    fn any_json() -> impl Strategy<Value = Value> {
        let leaf = prop_oneof![
            Just(Value::Null),
            any::<bool>().prop_map(Value::from),
            any::<f64>().prop_map(Value::from),
            any::<i64>().prop_map(Value::from),
            ".{0,12}".prop_map(Value::from),
        ];
        leaf.prop_recursive(5, 40, 6, |inner| {
            prop_oneof![
                prop::collection::vec(inner.clone(), 0..6).prop_map(Value::from),
                prop::collection::btree_map("(lines|0|1|quantity|amount|unit|day|.{0,4})", inner, 0..6)
                    .prop_map(|fields| Value::Object(fields.into_iter().collect())),
            ]
        })
    }

    fn read_all(draft: &Draft) {
        let outcome = read(draft, |r| {
            r.day("day");
            r.instant("at");
            r.optional_scaled("density", 1_000_000, &(1..=2_000_000), "0.95");
            r.choices("allergens", &["milk"], |word| word);
            r.rows("lines", |r| {
                (r.quantity("quantity", BaseUnit::Gram), r.money("cost"), r.id::<LotId>("lot", "lot"))
            })
        });
        if let Err(refusal) = outcome {
            assert!(refusal.faults.iter().all(|fault| !fault.message.is_empty()));
        }
    }

    proptest! {
        #[test]
        fn json_is_read_or_refused(value in any_json()) {
            if let Ok(draft) = Draft::from_json(value) {
                read_all(&draft);
            }
        }

        #[test]
        fn forms_are_read_or_refused(
            text in "((lines|day|at|[a-z]{1,3})(\\.[0-9]{1,3})?(\\.(quantity|lot))?=.{0,8}&){0,12}",
        ) {
            if let Ok(draft) = try_form(&text) {
                read_all(&draft);
            }
        }
    }
}
