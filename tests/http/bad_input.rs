//! Whatever is sent, the answer says in plain words what, where and what to do: 4xx, never 500, and nothing is recorded.

use serde_json::{Value, json};

use super::{Heard, House, token};
use crate::ground::cellar::Cellar;
use crate::ground::{Ground, findings, on_both};

on_both!(
    what_cannot_be_meant_is_refused_in_words_that_help,
    what_is_not_json_is_refused,
    nonsense_never_breaks_a_route
);

struct Bad {
    path: String,
    body: Value,
    status: u16,
    field: &'static str,
    says: &'static str,
}

fn bad(path: &str, body: Value, status: u16, field: &'static str, says: &'static str) -> Bad {
    Bad { path: path.to_owned(), body, status, field, says }
}

fn quantity(amount: &str, unit: &str) -> Value {
    json!({"amount": amount, "unit": unit})
}

fn with(mut body: Value, field: &str, value: Value) -> Value {
    *body.pointer_mut(field).expect("the field is there") = value;
    body
}

/// A cellar whose token is of its own club.
async fn house_with_cellar(ground: &Ground) -> (House, Cellar) {
    let mut house = House::open(ground).await;
    let cellar = Cellar::new(&house.db, "Quay Cellar").await;
    house.token = token(&house.db, &cellar.club).await;
    (house, cellar)
}

#[allow(clippy::too_many_lines, reason = "a table, one line a case")]
fn table(cellar: &Cellar, other: &Cellar) -> Vec<Bad> {
    let batch = format!("/batches/{}", cellar.batch);
    let (draws, losses) = (format!("{batch}/draws"), format!("{batch}/losses"));
    let line = json!({"item": cellar.milk, "quantity": quantity("1", "L")});
    let draw = json!({"day": "2026-03-05", "lines": [line]});
    let receipt = json!({"day": "2026-03-01", "lines": [
        {"item": cellar.milk, "quantity": quantity("1", "L"), "cost": "1.00", "place": cellar.place}]});
    let loss = json!({"day": "2026-06-02", "volume": quantity("1", "L"), "normal": true, "reason": "lees"});
    let reading = json!({"kind": "gravity", "value": "1.0400"});
    let bottling = json!({"day": "2026-06-02", "bottles": 2, "bottle_volume": quantity("75", "cl"), "place": cellar.place});
    let at = "/lines/0/quantity";
    vec![
        bad(&draws, with(draw.clone(), at, quantity("1", "cans")), 422, "lines.0.quantity", "not a unit"),
        bad(&draws, with(draw.clone(), at, quantity("-1", "L")), 422, "lines.0.quantity", "not below zero"),
        bad(&draws, with(draw.clone(), at, quantity("0", "L")), 422, "lines.0.quantity", "above zero"),
        bad(
            &draws,
            with(draw.clone(), at, quantity("9".repeat(17).as_str(), "L")),
            422,
            "lines.0.quantity",
            "more than can",
        ),
        bad(&draws, with(draw.clone(), at, quantity("NaN", "L")), 422, "lines.0.quantity", ""),
        bad(&draws, with(draw.clone(), at, quantity("1\u{0}", "L")), 422, "", ""),
        bad(&draws, with(draw.clone(), at, quantity("1", "kg")), 422, "lines.0.quantity", "by volume"),
        bad(&draws, with(draw.clone(), at, quantity("900", "L")), 409, "lines.0.quantity", "Only"),
        bad(&draws, with(draw.clone(), "/day", json!("2199-01-01")), 422, "day", "still to come"),
        bad(&draws, with(draw.clone(), "/day", json!("1 Smarch")), 422, "day", "Write the day like"),
        bad(&draws, with(draw.clone(), "/day", json!("2026-02-01")), 422, "", "since"),
        bad(&draws, with(draw.clone(), "/lines", json!([])), 422, "", "Choose what is drawn"),
        bad(&draws, with(draw.clone(), "/lines/0/item", json!(other.milk)), 422, "lines.0.item", "no such"),
        bad(&draws, with(draw.clone(), "/lines/0/item", json!("nothing")), 422, "lines.0.item", "no such"),
        bad(
            &draws,
            json!({"lines": [{"lot": other.milk_lot, "quantity": quantity("1", "L")}]}),
            422,
            "lines.0.lot",
            "no such",
        ),
        bad(
            &draws,
            json!({"remark": "x".repeat(10_000), "lines": [draw["lines"][0]]}),
            422,
            "remark",
            "at most",
        ),
        bad(&draws, json!({"lines": [draw["lines"][0]], "colour": "green"}), 422, "colour", ""),
        bad(
            "/receipts",
            with(receipt.clone(), "/lines/0/cost", json!("-1")),
            422,
            "lines.0.cost",
            "not below zero",
        ),
        bad(
            "/receipts",
            with(receipt.clone(), "/lines/0/cost", json!("39,6O")),
            422,
            "lines.0.cost",
            "39.60",
        ),
        bad(
            "/receipts",
            with(receipt.clone(), "/lines/0/cost", json!("99999999999999")),
            422,
            "lines.0.cost",
            "",
        ),
        bad(
            "/receipts",
            with(receipt.clone(), "/lines/0/place", json!(other.place)),
            404,
            "lines.0.place",
            "no such",
        ),
        bad(
            "/receipts",
            with(receipt.clone(), "/lines/0/item", json!(other.milk)),
            422,
            "lines.0.item",
            "no such",
        ),
        bad("/receipts", with(receipt, "/day", json!("2199-01-01")), 422, "day", "still to come"),
        bad(&losses, with(loss.clone(), "/volume", quantity("11", "L")), 409, "volume", "holds 10.0 L"),
        bad(&losses, with(loss.clone(), "/reason", json!("")), 422, "reason", "how it happened"),
        bad(&losses, with(loss, "/normal", json!("perhaps")), 422, "normal", "true or false"),
        bad(
            &format!("{batch}/readings"),
            with(reading.clone(), "/value", json!("45")),
            422,
            "value",
            "between",
        ),
        bad(&format!("{batch}/readings"), with(reading.clone(), "/kind", json!("smell")), 422, "kind", ""),
        bad(
            &format!("{batch}/readings"),
            json!({"kind": "gravity", "value": "1.0400", "sample_temperature_c": "80"}),
            422,
            "sample_temperature_c",
            "",
        ),
        bad(&format!("{batch}/readings"), json!({"kind": "brix", "value": "12"}), 409, "kind", "hydrometer"),
        bad(
            &format!("{batch}/bottlings"),
            with(bottling.clone(), "/bottles", json!(500)),
            409,
            "bottles",
            "holds 10.0 L",
        ),
        bad(
            &format!("{batch}/bottlings"),
            with(bottling.clone(), "/bottles", json!("many")),
            422,
            "bottles",
            "whole number",
        ),
        bad(
            &format!("{batch}/bottlings"),
            with(bottling, "/bottle_volume", quantity("0", "L")),
            422,
            "bottle_volume",
            "above zero",
        ),
        bad(&format!("{batch}/closing"), json!({"day": "2026-06-02"}), 409, "", "still in batch"),
        bad(&format!("/entries/{}/reversal", cellar.draw), json!({"reason": "typo"}), 409, "", "stand"),
        bad(&format!("/entries/{}/reversal", cellar.draw), json!({"reason": ""}), 422, "reason", "why"),
        bad(&format!("/batches/{}/draws", other.batch), draw, 404, "", ""),
        bad("/batches/0000000000000/draws", json!({"lines": []}), 422, "", ""),
        bad("/items", json!({"name": "Sand", "kind": "rock", "unit": "g"}), 422, "kind", ""),
        bad(
            "/items",
            json!({"name": "Whole milk", "kind": "ingredient", "unit": "mL"}),
            409,
            "name",
            "already",
        ),
        bad("/places", json!({"name": "Shelf", "within": other.place}), 404, "within", "no such"),
        bad("/batches", json!({"name": "x".repeat(10_000)}), 422, "name", "at most"),
    ]
}

async fn what_cannot_be_meant_is_refused_in_words_that_help(ground: &Ground) {
    let (house, cellar) = house_with_cellar(ground).await;
    let other = Cellar::new(&house.db, "Other Cellar").await;
    let before = findings(&house.db);
    for case in table(&cellar, &other) {
        let heard = house.send(&house.token, "POST", &case.path, None, &case.body.to_string());
        let said = format!("{} {}: {} {}", case.path, case.body, heard.status, heard.body);
        assert_eq!(heard.status, case.status, "{said}");
        assert!(heard.kind.starts_with("application/problem+json"), "{said}");
        assert!(heard.body.contains(case.says), "{said}");
        if !case.field.is_empty() {
            let fields: Vec<_> =
                heard.json["errors"].as_array().into_iter().flatten().map(|e| &e["field"]).collect();
            assert!(fields.contains(&&json!(case.field)), "{said}");
        }
    }
    assert_eq!(findings(&house.db), before, "nothing was recorded");
    house.close().await;
}

/// "1,5" and "1.5" are the same, as a number or as a text.
async fn what_is_not_json_is_refused(ground: &Ground) {
    let (house, cellar) = house_with_cellar(ground).await;
    let losses = format!("/batches/{}/losses", cellar.batch);
    let deep = format!("{}1{}", "[".repeat(5000), "]".repeat(5000));
    let huge = format!("{{\"reason\":\"{}\"}}", "x".repeat(600_000));
    for (body, statuses) in [
        ("", &[400, 422][..]),
        ("{", &[400]),
        ("[1,2]", &[400, 422]),
        ("null", &[400, 422]),
        ("{\"volume\":{\"amount\":{},\"unit\":[]}}", &[422]),
        (deep.as_str(), &[400, 422]),
        (huge.as_str(), &[413]),
        ("\u{feff}{}", &[400, 422]),
    ] {
        let heard = house.send(&house.token, "POST", &losses, None, body);
        let start: String = body.chars().take(40).collect();
        assert!(statuses.contains(&heard.status), "{start}: {} {}", heard.status, heard.body);
        assert!(heard.kind.starts_with("application/problem+json"), "{start}: {}", heard.kind);
    }
    for amount in [json!("1.5"), json!("1,5"), json!(1.5)] {
        let body = json!({"day": "2026-06-02", "volume": {"amount": amount, "unit": "L"}, "normal": true, "reason": "lees"});
        house.post(&losses, &body);
    }
    let left = house.get(&format!("/batches/{}", cellar.batch));
    assert_eq!(left.json["volume"]["amount"], "5500", "{}", left.body);
    house.close().await;
}

/// Every write route of the API with bodies that fit none of them.
async fn nonsense_never_breaks_a_route(ground: &Ground) {
    let (house, cellar) = house_with_cellar(ground).await;
    let before = findings(&house.db);
    let nonsense = [
        json!({}),
        json!({"day": 5, "lines": "many", "name": {"a": {"b": {"c": []}}}, "quantity": [], "volume": true}),
        json!({"day": null, "lines": [null, 7, {"item": [], "quantity": {"amount": [], "unit": {}}}]}),
        json!({"lines": vec![json!({"item": "x", "quantity": "1 kg"}); 500]}),
        json!({"name": "\u{202e}\u{0}\u{7f}", "reason": "\n\n", "value": 1e308, "bottles": -1}),
    ];
    for route in undercroft::web::routes::table().routes {
        if route.method == "GET" || !route.path.starts_with("/api/v1") {
            continue;
        }
        let path = filled(&route.path["/api/v1".len()..], &cellar);
        for body in &nonsense {
            let heard: Heard =
                house.send(&house.token, route.method.as_str(), &path, None, &body.to_string());
            let fits = (400..500).contains(&heard.status) || harmless(&path, &heard);
            assert!(fits, "{} {path} {body}: {} {}", route.method, heard.status, heard.body);
        }
    }
    assert_eq!(findings(&house.db).postings, before.postings, "nothing was recorded in the books");
    house.close().await;
}

/// Where an empty body is a fitting request: what it asks for can be done, or is done already.
fn harmless(path: &str, heard: &Heard) -> bool {
    let may = ["/rackings", "/done", "/closing", "/invitations", "/tokens"];
    heard.status < 300 && may.iter().any(|end| path.ends_with(end)) || heard.status == 204
}

/// A path with the ids of this cellar in the place of its variables.
pub fn filled(path: &str, cellar: &Cellar) -> String {
    let id = if path.contains("bottlings/{") || path.contains("bottles/{") {
        cellar.bottled.bottling.to_string()
    } else if path.contains("readings/{id}") {
        cellar.reading.to_string()
    } else if path.contains("entries/{") {
        cellar.draw.to_string()
    } else if path.contains("lots/{") || path.contains("trace/{") {
        cellar.milk_lot.to_string()
    } else if path.contains("items/{") {
        cellar.milk.to_string()
    } else if path.contains("reminders/{") {
        cellar.reminder.to_string()
    } else {
        cellar.batch.to_string()
    };
    let path = path.replace("{task}", "draw").replace("{reading}", &cellar.reading.to_string());
    let mut filled = String::new();
    let mut rest = path.as_str();
    while let Some((before, after)) = rest.split_once('{') {
        let (_, behind) = after.split_once('}').expect("a variable ends");
        filled.push_str(before);
        filled.push_str(&id);
        rest = behind;
    }
    filled + rest
}
