//! Tables as people have them: spreadsheets of two countries, a mark at the start, amounts with units over the column.

use super::*;
use crate::domain::batches::Stage;
use crate::domain::stock::ItemKind;
use crate::domain::stock::places::Place;
use crate::units::days::Instant;
use crate::units::ids::{BatchId, ItemId, PlaceId};
use crate::units::measure::ReadingKind;
use crate::units::quantity::BaseUnit;

fn day(text: &str) -> Day {
    text.parse().unwrap()
}

fn now() -> Instant {
    day("2026-06-23").and_hms_opt(16, 0, 0).unwrap()
}

/// A club with sugar, corks, a cellar with a rack, and batch 7 under way, whose yeast was pitched on 2 May.
fn known() -> Known {
    let place = |id, within, name: &str, path: &str| {
        let place =
            Place { id: PlaceId(id), within, name: name.to_owned(), path: path.to_owned(), capacity: None };
        (folded(path), place)
    };
    let underway = |id, open| Some(Underway { id: BatchId(id), open, pitched_on: Some(day("2026-05-02")) });
    Known {
        now: now(),
        zone: "Europe/Amsterdam".parse().unwrap(),
        items: HashMap::from([
            ("cane sugar".to_owned(), (ItemId(1), ItemKind::Ingredient, BaseUnit::Gram)),
            ("cork".to_owned(), (ItemId(2), ItemKind::Packaging, BaseUnit::Piece)),
            ("perry, 750 ml".to_owned(), (ItemId(3), ItemKind::Drink, BaseUnit::Piece)),
        ]),
        places: HashMap::from([
            place(1, None, "Wheel pit", "Wheel pit"),
            place(2, Some(PlaceId(1)), "Rack", "Wheel pit, Rack"),
            place(3, None, "Loft", "Loft"),
            place(4, Some(PlaceId(3)), "Rack", "Loft, Rack"),
            place(5, Some(PlaceId(3)), "Bay 1", "Loft, Bay 1"),
        ]),
        members: ["maren holt".to_owned()].into(),
        batches: HashMap::from([
            ("7".to_owned(), underway(7, true)),
            ("perry".to_owned(), None),
            ("8".to_owned(), underway(8, false)),
        ]),
    }
}

/// What a table holds, and what is wrong with its rows: line and words.
fn read_with(kind: Kind, text: &str, said: &Said) -> (Vec<Made>, Vec<(u64, String)>, Vec<String>) {
    let table = Table::open(kind, &text, said).unwrap();
    let sheet = table.looked_at(day("2026-06-23")).unwrap();
    let mut made = Vec::new();
    let found = Reader::new(kind, known()).read(&sheet, |_, one| {
        made.push(one);
        Ok::<_, Refusal>(Ok(()))
    });
    let found = found.unwrap();
    assert_eq!(found.good, made.len());
    assert_eq!(found.bad_in_all, found.bad.len());
    (made, found.bad.into_iter().map(|bad| (bad.line, bad.why)).collect(), sheet.read_as())
}

fn read(kind: Kind, text: &str) -> (Vec<Made>, Vec<(u64, String)>) {
    let (made, bad, _) = read_with(kind, text, &Said::default());
    (made, bad)
}

/// The words about the only row of a table.
fn wrong(kind: Kind, text: &str) -> String {
    let (made, bad) = read(kind, text);
    assert_eq!(made, [], "{text}");
    assert_eq!(bad.len(), 1, "{text}");
    bad[0].1.clone()
}

#[test]
fn items_are_read_from_a_table_with_semicolons_and_decimal_commas() {
    let text = "\u{feff}Name;Kind;Counted in;Density;Allergens;Worth of one kg, L or piece;Low at (kg);Colour\n\
                Honey;ingredient;g;1,42;;9,80;2,5;amber\n\
                Whey;by-product;mL;1.025;milk;0,40;;\n";
    let (made, bad, read_as) = read_with(Kind::Items, text, &Said::default());
    assert_eq!(bad, []);
    assert_eq!(read_as, ["Cells separated by semicolons.", "Numbers with a decimal comma."]);
    let items: Vec<_> = made
        .iter()
        .map(|made| match made {
            Made::Item(item) => item,
            other => panic!("{other:?}"),
        })
        .collect();
    assert_eq!(items[0].density_micro, Some(1_420_000));
    assert_eq!(items[0].value_per_unit.unwrap().plain(), "0.0098");
    assert_eq!(items[0].low_at.unwrap().get(), 2_500_000);
    assert_eq!((items[1].kind, &*items[1].allergens), (ItemKind::ByProduct, &["milk".to_owned()][..]));
}

#[test]
fn what_could_be_a_thousand_or_a_decimal_is_refused_where_the_table_does_not_tell() {
    let costs = |cells: &[&str]| {
        let rows: Vec<String> = cells.iter().map(|cell| format!("Cork;1;{cell};Loft")).collect();
        let rows = rows.join("\n");
        let (made, bad) = read(Kind::Lots, &format!("Item;How much;Cost in all;Place\n{rows}"));
        let cost = |made: &Made| match made {
            Made::Lot(supply) => supply.line.cost.plain(),
            other => panic!("{other:?}"),
        };
        (made.iter().map(cost).collect::<Vec<_>>(), bad.into_iter().map(|bad| bad.1).collect::<Vec<_>>())
    };
    assert_eq!(costs(&["1.234,50", "12,5"]).0, ["1234.5", "12.5"]);
    assert_eq!(costs(&["1,234.50", "12.5"]).0, ["1234.5", "12.5"]);
    assert_eq!(costs(&["1.234.567", "0,5"]).0, ["1234567", "0.5"]);
    assert_eq!(
        costs(&["2.500", "12.5"]).0,
        ["2.5", "12.5"],
        "points are decimals where nothing says otherwise"
    );
    let (kept, bad) = costs(&["2.500", "12,5"]);
    assert_eq!(kept, ["12.5"]);
    assert!(bad[0].contains("“2.500” could be 2500 or a number with three decimals"), "{}", bad[0]);
    let (kept, bad) = costs(&["2,500", "12.5"]);
    assert_eq!(kept, ["12.5"]);
    assert!(bad[0].contains("“2,500” could be 2500"), "{}", bad[0]);
    let (kept, bad) = costs(&["1,23,4.5"]);
    assert_eq!((kept.len(), bad.len()), (0, 1));
}

#[test]
fn places_come_with_those_around_them() {
    let (made, bad) =
        read(Kind::Places, "Name\tBottles it takes\nLoft, Bay 2\t120\nMill, Floor, Shelf\t\nLoft, Bay 1\t\n");
    let paths: Vec<Vec<(&str, Option<i64>)>> = made
        .iter()
        .map(|made| match made {
            Made::Places(places) => places.iter().map(|place| (&*place.path, place.capacity)).collect(),
            other => panic!("{other:?}"),
        })
        .collect();
    assert_eq!(paths[0], [("Loft, Bay 2", Some(120))]);
    assert_eq!(paths[1], [("Mill", None), ("Mill, Floor", None), ("Mill, Floor, Shelf", None)]);
    assert_eq!(bad, [(4, "There is a place “Loft, Bay 1” already".to_owned())]);
    let one_column = read(Kind::Places, "Name\nDairy\nDairy\n");
    assert_eq!((one_column.0.len(), one_column.1[0].0), (1, 3));
}

#[test]
fn supplies_name_their_item_place_and_unit() {
    let text = "item,quantity,unit,cost,place,best_before,received\n\
                Cane sugar,2.5,kg,4.20,\"Wheel pit, Rack\",2027-03-01,2026-05-30\n\
                Cork,6 x 100,,18,Bay 1,,\n";
    let (made, bad) = read(Kind::Lots, text);
    assert_eq!(bad, []);
    let [Made::Lot(sugar), Made::Lot(corks)] = &made[..] else { panic!("{made:?}") };
    assert_eq!(
        (sugar.line.quantity.get(), sugar.line.place, sugar.day),
        (2_500_000, PlaceId(2), day("2026-05-30"))
    );
    assert_eq!(sugar.line.best_before, Some(day("2027-03-01")));
    assert_eq!(
        (corks.line.quantity.get(), corks.line.place, corks.day),
        (600_000, PlaceId(5), day("2026-06-23"))
    );
    let row = |row: &str| wrong(Kind::Lots, &format!("Item;How much;Cost;Place;Came on\n{row}\n"));
    assert!(row("Sugar;1 kg;1;Loft;").contains("There is no item “Sugar”"));
    assert!(
        row("Cane sugar;1;1;Loft;").starts_with("How much: "),
        "a bare number of what is weighed says no unit"
    );
    assert!(row("Cane sugar;1 kg;;Loft;").contains("Write what it cost in all, or 0"));
    assert!(row("Cane sugar;1 kg;1;Rack;").contains("no place “Rack”, or several"));
    assert!(row("Cane sugar;1 kg;1;;").contains("Place: This cell is empty"));
    assert!(row("Cane sugar;1 kg;1;Loft;2026-06-24").contains("still to come"));
    assert!(row("Perry, 750 mL;1;1;Loft;").contains("a table of bottles"));
    assert!(row("Cane sugar;-1 kg;1;Loft;").starts_with("How much: "));
    assert!(row("Cane sugar;1 kg;much;Loft;").starts_with("Cost in all: “much” is not a number"));
}

#[test]
fn days_are_read_in_the_order_that_the_table_shows() {
    let days = |cells: &[&str], said: Option<Order>| {
        let rows: Vec<String> = cells.iter().map(|cell| format!("Mead;{cell}")).collect();
        let rows = rows.join("\n");
        let said = Said { order: said, ..Said::default() };
        let text = format!("Drink;Begun on\n{rows}");
        let text = text.as_str();
        let table = Table::open(Kind::Batches, &text, &said).unwrap();
        let sheet = table.looked_at(day("2026-06-23"))?;
        let mut found = Vec::new();
        let read = Reader::new(Kind::Batches, known()).read(&sheet, |_, made| {
            if let Made::Batch(batch) = made {
                found.push(batch.day.to_string());
            }
            Ok::<_, Refusal>(Ok(()))
        });
        read.map(|_| found)
    };
    assert_eq!(days(&["03/04/2026", "23/04/2026"], None).unwrap(), ["2026-04-03", "2026-04-23"]);
    assert_eq!(days(&["03/04/2026", "04/23/2026"], None).unwrap(), ["2026-03-04", "2026-04-23"]);
    assert_eq!(days(&["3.4.2026", "3 May 2026", "2026-05-09 00:00:00"], None).unwrap().len(), 3);
    assert!(
        days(&["03/04/2026"], None)
            .unwrap_err()
            .to_string()
            .contains("Does the day or the month come first?")
    );
    assert_eq!(days(&["03/04/2026"], Some(Order::MonthFirst)).unwrap(), ["2026-03-04"]);
}

#[test]
fn a_batch_is_planned_or_holds_something_that_is_said_wholly() {
    let heads = "Drink;Begun on;Base;Volume now;Cost so far;Stage;Yeast pitched on;Place;Allergens";
    let text = format!(
        "{heads}\nMead;2026-05-01;20 L;;;;;;\nPerry;2026-04-01;;18 L;31,50;resting;2026-04-02;Loft;none\n\
         Wine;2026-05-01;;5 L;0;;;Loft;milk, sulphites\n"
    );
    let (made, bad) = read(Kind::Batches, &text);
    assert_eq!(bad, []);
    let held: Vec<_> = made
        .iter()
        .map(|made| match made {
            Made::Batch(batch) => batch.held.as_ref(),
            other => panic!("{other:?}"),
        })
        .collect();
    assert_eq!(held[0], None);
    let perry = held[1].unwrap();
    assert_eq!(
        (perry.stage, perry.pitched_on, perry.volume.get()),
        (Stage::Resting, Some(day("2026-04-02")), 18_000_000)
    );
    assert_eq!((held[2].unwrap().stage, held[2].unwrap().allergens.len()), (Stage::Preparing, 2));
    let row = |row: &str| wrong(Kind::Batches, &format!("{heads}\n{row}\n"));
    assert!(row("Perry;2026-04-01;;18 L;1;;;Loft;").contains("or “none”: milk"));
    assert!(row("Perry;2026-04-01;;18 L;;;;Loft;none").contains("Write what it has cost so far, or 0"));
    assert!(row("Perry;2026-04-01;;;5;;;;").contains("Write the volume as well"));
    assert!(row("Perry;2026-04-01;;1 L;1;preparing;2026-04-02;Loft;none").contains("With yeast in it"));
    assert!(row("Perry;2026-04-02;;1 L;1;;2026-04-01;Loft;none").contains("before the batch was begun"));
    assert!(row("Perry;2026-04-02;;1 L;1;closed;;Loft;none").contains("preparing, working, resting"));
    assert!(row("Perry;2026-04-02;;1 L;1;;;Loft;wool").contains("“wool” is none of these"));
}

#[test]
fn readings_stand_in_columns_of_their_own_or_named_beside_their_value() {
    let text = "batch;when;time;gravity;temperature;sample_temperature_c;kind;value\n\
                7;23.06.2026;09:30;1,0450;19,5;30;;\n\
                7;2026-06-22;;;;;ph;3,42\n";
    let (made, bad) = read(Kind::Readings, text);
    assert_eq!(bad, []);
    let [Made::Readings(first), Made::Readings(second)] = &made[..] else { panic!("{made:?}") };
    assert_eq!(first.at, day("2026-06-23").and_hms_opt(7, 30, 0).unwrap(), "in the clock of the club");
    let kinds: Vec<_> = first.values.iter().map(|value| value.0).collect();
    assert_eq!(kinds, [ReadingKind::Gravity, ReadingKind::Temperature]);
    assert_eq!(first.values[0].1.plain(), "1.045");
    assert!(first.values[0].2 > first.values[0].1, "a warm sample reads low");
    assert_eq!(second.at, day("2026-06-22").and_hms_opt(10, 0, 0).unwrap(), "noon");
    let row = |row: &str| wrong(Kind::Readings, &format!("batch;when;gravity;brix\n{row}\n"));
    assert!(row("9;2026-06-01;1.05;").contains("There is no batch “9”"));
    assert!(row("Perry;2026-06-01;1.05;").contains("Several batches are “Perry”"));
    assert!(row("8;2026-06-01;1.05;").contains("has ended"));
    assert!(row("7;2026-06-01;;").contains("no value in this row"));
    assert!(row("7;2026-06-24;1.05;").contains("still to come"));
    assert!(row("7;2026-06-01;;12").contains("A refractometer reads alcohol"));
    assert!(row("7;2026-06-01;2;").starts_with("Gravity: "));
    assert!(row(";2026-06-01;1.05;").contains("Batch: This cell is empty"));
}

#[test]
fn bottles_of_one_batch_are_of_one_drink() {
    let heads = "batch;drink;bottled_on;bottles;size;cost;place;allergens;strength";
    let text = format!(
        "{heads}\nOld 3;Perry;2025-10-01;24;75 cl;1,12;Loft;none;7,1\nold 3;Perry;2025-10-01;6;37.5 cl;0.8;Loft;none;\n\
         old 3;Cider;2025-10-01;6;37.5 cl;0.8;Loft;none;\nold 3;Perry;2025-10-01;6;37.5 cl;0.8;Loft;milk;\n"
    );
    let (made, bad) = read(Kind::Bottles, &text);
    assert_eq!(made.len(), 2);
    let Made::Bottles(first) = &made[0] else { panic!("{made:?}") };
    assert_eq!((first.bottles, first.bottle_volume.get(), &*first.cost.plain()), (24, 750_000, "1.12"));
    assert_eq!(first.strength.unwrap().plain(), "7.1");
    assert!(bad[0].1.contains("An earlier row of batch “old 3” says “Perry”"), "{}", bad[0].1);
    assert!(bad[1].1.contains("An earlier row of batch “old 3” says “none”"), "{}", bad[1].1);
    let row = |row: &str| wrong(Kind::Bottles, &format!("{heads}\n{row}\n"));
    assert!(row("7;Perry;2025-10-01;24;75 cl;1;Loft;none;").contains("There is a batch “7” already"));
    assert!(row("A;Perry;2025-10-01;0;75 cl;1;Loft;none;").contains("whole number from 1"));
    assert!(row("A;Perry;2025-10-01;2;75 L;1;Loft;none;").contains("such as 75 cl"));
    assert!(row("A;Perry;2025-10-01;2;75 cl;1;Loft;;").contains("Write what is in it of these"));
    assert!(row("A;Perry;2025-10-01;2;75 cl;1;Loft;none;40").contains("from 0 to 25"));
}

#[test]
fn members_have_a_role_and_come_once() {
    let (made, bad) =
        read(Kind::Members, "Name,Role,Since\nJorrit Vale,cellarhand,2024-05-01\nMAREN HOLT,,\nA,chief,\n");
    let [Made::Member { name, joined_on, .. }] = &made[..] else { panic!("{made:?}") };
    assert_eq!((&**name, *joined_on), ("Jorrit Vale", day("2024-05-01")));
    assert!(bad[0].1.contains("There is a member “MAREN HOLT” already"));
    assert!(bad[1].1.contains("“chief” is none of these: cellarhand, taster, onlooker"));
}

#[test]
fn what_is_no_table_is_refused_with_what_to_do() {
    let open =
        |text: &str| Table::open(Kind::Lots, &text, &Said::default()).map(|_| ()).unwrap_err().to_string();
    assert!(open(" \n").contains("Choose a file, or paste"));
    assert!(open("just words").contains("a comma, a semicolon or a tab"));
    assert!(legible("a;b\n\0;c").unwrap_err().to_string().contains("code 0"));
    assert!(open(&";x".repeat(80)).contains("At most 60 columns"));
    let table = Table::open(Kind::Lots, &"Item;Price\nCork;2\n", &Said::default()).unwrap();
    let said = table.looked_at(day("2026-06-23")).map(|_| ()).unwrap_err().to_string();
    assert!(said.contains("Say which column holds “How much” and “Cost in all” and “Place”"), "{said}");
    let table = Table::open(Kind::Places, &"Name\n", &Said::default()).unwrap();
    assert!(
        table.looked_at(day("2026-06-23")).map(|_| ()).unwrap_err().to_string().contains("no rows under")
    );
    let long = format!("Name\n{}\n", "x".repeat(3000));
    assert!(wrong(Kind::Places, &long).contains("more than 2000 letters"));
    assert!(wrong(Kind::Members, "Name;Role\n;taster\n").starts_with("Name: "));
}

#[test]
fn what_was_said_of_a_column_comes_before_its_name() {
    let columns =
        HashMap::from([("price".to_owned(), "cost".to_owned()), ("cost".to_owned(), String::new())]);
    let said = Said { columns, order: None };
    let text = "Item;How much;Cost;Price;Place\nCork;5;9;2;Loft\n";
    let (made, bad, _) = read_with(Kind::Lots, text, &said);
    assert_eq!(bad, []);
    let [Made::Lot(supply)] = &made[..] else { panic!("{made:?}") };
    assert_eq!(supply.line.cost.plain(), "2");
}

#[test]
fn every_kind_names_its_columns_once() {
    for kind in Kind::ALL {
        assert_eq!(Kind::from_code(kind.code()), Some(kind));
        let mut codes: Vec<_> = kind.fields().iter().map(|field| field.code).collect();
        codes.sort_unstable();
        codes.dedup();
        assert_eq!(codes.len(), kind.fields().len());
        for field in kind.fields() {
            let first = kind.fields().iter().find(|other| other.is_called(field.label));
            assert_eq!(first.map(|first| first.code), Some(field.code), "{} of {}", field.label, kind.code());
        }
    }
}
