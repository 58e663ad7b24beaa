//! The main job through the API: from purchase to tasting reminder, cost, mass, withdrawal and reversal.

use serde_json::{Value, json};

use super::House;
use crate::ground::{Ground, findings, on_both};

on_both!(a_batch_from_purchase_to_last_bottle, the_same_request_sent_again_records_nothing_twice);

struct Ids {
    place: String,
    milk: String,
    sugar: String,
    yeast: String,
    lactase: String,
    bottle: String,
    curds: String,
}

fn grounds(house: &House) -> Ids {
    let item = |body: Value| house.post("/items", &body).text("id");
    let place = house.post("/places", &json!({"name": "Wheel pit"})).text("id");
    let shelf = house.post("/places", &json!({"name": "Shelf A", "within": place})).text("id");
    assert_ne!(place, shelf);
    Ids {
        milk: item(json!({"name": "Whole sheep’s milk", "kind": "ingredient", "unit": "mL",
            "density_g_per_ml": "1.036", "allergens": ["milk"], "lactose_g_per_kg": "48"})),
        sugar: item(json!({"name": "Cane sugar", "kind": "ingredient", "unit": "g",
            "density_g_per_ml": "1.617", "sugar_g_per_kg": "1052.6"})),
        yeast: item(json!({"name": "Dry yeast", "kind": "aid", "unit": "g"})),
        lactase: item(json!({"name": "Lactase", "kind": "aid", "unit": "mL", "splits_lactose": true})),
        bottle: item(json!({"name": "Bottle 75 cl", "kind": "packaging", "unit": "piece"})),
        curds: item(json!({"name": "Curds", "kind": "by-product", "unit": "g", "allergens": ["milk"],
            "value_per_unit": "0.005"})),
        place: shelf,
    }
}

fn receive(house: &House, ids: &Ids) -> Vec<String> {
    let line = |item: &str, amount: &str, unit: &str, cost: &str| {
        json!({"item": item, "quantity": {"amount": amount, "unit": unit}, "cost": cost, "place": ids.place,
            "supplier": "Quay Dairy"})
    };
    let receipt = json!({"day": "2026-03-01", "lines": [
        line(&ids.milk, "60", "L", "66.00"),
        line(&ids.sugar, "10", "kg", "12.00"),
        line(&ids.yeast, "100", "g", "18.00"),
        line(&ids.lactase, "100", "mL", "15.00"),
        line(&ids.bottle, "100", "piece", "62.00"),
    ]});
    let heard = house.post("/receipts", &receipt);
    heard.json["lots"]
        .as_array()
        .expect("lots")
        .iter()
        .map(|lot| lot["id"].as_str().expect("id").to_owned())
        .collect()
}

async fn a_batch_from_purchase_to_last_bottle(ground: &Ground) {
    let house = House::open(ground).await;
    let ids = grounds(&house);
    let lots = receive(&house, &ids);
    let planned = house.post(
        "/batches",
        &json!({"name": "Tide White", "base_volume": {"amount": "60", "unit": "L"}, "day": "2026-03-01"}),
    );
    assert_eq!(planned.text("stage"), "planned");
    let batch = format!("/batches/{}", planned.text("id"));
    let draw = |item: &str, amount: &str, unit: &str| json!({"item": item, "quantity": {"amount": amount, "unit": unit}});
    let drawn = house.post(
        &format!("{batch}/draws"),
        &json!({"day": "2026-03-02", "lines": [draw(&ids.milk, "60", "L")]}),
    );
    assert_eq!(drawn.text("stage"), "preparing");
    assert_eq!(drawn.json["volume"]["amount"], "60000");
    let curds = house.post(
        &format!("{batch}/by-products"),
        &json!({"day": "2026-03-02", "item": ids.curds, "quantity": {"amount": "13", "unit": "kg"}, "place": ids.place,
            "best_before": "2026-03-12", "volume_after": {"amount": "46", "unit": "L"}}),
    );
    house.post(
        &format!("{batch}/draws"),
        &json!({"day": "2026-03-02", "lines": [draw(&ids.sugar, "6", "kg"), draw(&ids.lactase, "60", "mL")],
            "volume_after": {"amount": "49", "unit": "L"}}),
    );
    let pitched = house.post(
        &format!("{batch}/pitch"),
        &json!({"day": "2026-03-03", "lines": [draw(&ids.yeast, "20", "g")]}),
    );
    assert_eq!(pitched.text("stage"), "working");
    let read = |at: &str, value: &str| json!({"at": at, "kind": "gravity", "value": value, "sample_temperature_c": "25"});
    let first = house.post(&format!("{batch}/readings"), &read("2026-03-03T12:00:00Z", "1.0500"));
    // NBS C440 as in the hydrometer's own tests: 1.050 read at 25 °C is 1.0513 at 20 °C.
    assert_eq!(&first.text("value")[..6], "1.0513", "{}", first.body);
    house.post(&format!("{batch}/readings"), &read("2026-03-20T12:00:00Z", "0.9980"));
    house.post(
        &format!("{batch}/rackings"),
        &json!({"day": "2026-03-21", "volume_after": {"amount": "47", "unit": "L"}}),
    );
    let bottled = house.post(
        &format!("{batch}/bottlings"),
        &json!({"day": "2026-04-20", "bottles": 62, "bottle_volume": {"amount": "75", "unit": "cl"}, "place": ids.place,
            "packaging": [draw(&ids.bottle, "62", "piece")], "tasting_ages_days": [90, 180],
            "lost_volume": {"amount": "0.5", "unit": "L"}}),
    );
    // 66 + 6/10 of 12 + 60/100 of 15 + 20/100 of 18 − 13 kg at 5.00 a kg + 62 bottles at 0.62, over 62 bottles.
    let total = 66.0 + 7.2 + 9.0 + 3.6 - 65.0 + 38.44;
    let each: f64 = bottled.text("cost_per_bottle").parse().expect("money");
    assert!((each - total / 62.0).abs() < 1e-6, "{each}");
    assert_eq!(house.get(&batch).text("stage"), "laid-down");
    the_cost_and_the_mass_add_up(&house, &batch, &ids);
    bottles_are_taken_and_a_mistake_is_reversed(&house, &bottled.text("bottling"), &bottled.text("entry"));
    the_stock_of_a_past_day_and_the_trace(&house, &lots[0], &curds.text("lot"));
    assert_eq!(findings(&house.db).off, Vec::<String>::new());
    house.close().await;
}

fn the_cost_and_the_mass_add_up(house: &House, batch: &str, ids: &Ids) {
    let cost = house.get(&format!("{batch}/cost"));
    assert!(cost.body.contains("Whole sheep’s milk") && cost.body.contains("Curds"), "{}", cost.body);
    let yields = house.get(&format!("{batch}/yield"));
    let sum = |name: &str| -> f64 {
        let parts = yields.json[name].as_array().expect("parts");
        parts
            .iter()
            .map(|part| part["grams"].as_str().expect("grams").parse::<f64>().expect("a number"))
            .sum()
    };
    let missing: f64 = yields.text("unaccounted_grams").parse().expect("a number");
    assert!((sum("in") - sum("out") - missing).abs() < 1.0, "{}", yields.body);
    assert!(sum("in") > 68_000.0 && sum("in") < 69_000.0, "60 L at 1.036 and 6 kg of sugar: {}", sum("in"));
    let strength = &house.get(batch).json["strength"];
    assert_eq!(strength["basis"], "sugars", "a drink of milk is not judged by its gravity");
    assert!(house.get("/items").body.contains(&ids.milk));
}

fn bottles_are_taken_and_a_mistake_is_reversed(house: &House, bottling: &str, bottling_entry: &str) {
    let shown = house.get(&format!("/bottlings/{bottling}"));
    assert!(shown.body.contains("2026-07-19"), "90 days after 20 April: {}", shown.body);
    let taken = house.post(
        &format!("/bottlings/{bottling}/withdrawals"),
        &json!({"day": "2026-05-01", "bottles": 2, "reason": "taken", "member": house.club.hand.member.to_string()}),
    );
    let refused = house.send(
        &house.token,
        "POST",
        &format!("/entries/{bottling_entry}/reversal"),
        None,
        r#"{"reason":"typo"}"#,
    );
    assert_eq!(refused.status, 409, "{}", refused.body);
    assert_eq!(refused.json["entries"][0], taken.text("entry"), "{}", refused.body);
    house.post(
        &format!("/entries/{}/reversal", taken.text("entry")),
        &json!({"reason": "they were put back"}),
    );
    let again = house.send(
        &house.token,
        "POST",
        &format!("/entries/{}/reversal", taken.text("entry")),
        None,
        r#"{"reason":"again"}"#,
    );
    assert_eq!(again.status, 409, "{}", again.body);
}

fn the_stock_of_a_past_day_and_the_trace(house: &House, milk_lot: &str, curds_lot: &str) {
    let then = house.get("/stock?on=2026-03-01");
    assert!(then.body.contains("Whole sheep’s milk"), "{}", then.body);
    let now = house.get("/stock");
    assert!(!now.body.contains("Whole sheep’s milk") && now.body.contains("Curds"), "{}", now.body);
    let trace = house.get(&format!("/trace/{milk_lot}"));
    assert!(trace.body.contains(curds_lot), "curds came of the milk: {}", trace.body);
    let up = house.get(&format!("/trace/{curds_lot}"));
    assert!(up.body.contains(milk_lot), "and lead back to it: {}", up.body);
}

async fn the_same_request_sent_again_records_nothing_twice(ground: &Ground) {
    let house = House::open(ground).await;
    let body = json!({"name": "Tide White", "day": "2026-03-01"}).to_string();
    let send = |body: &str| house.send(&house.token, "POST", "/batches", Some("kitchen-tablet-0001"), body);
    let (first, second) = (send(&body), send(&body));
    assert_eq!((first.status, second.status), (201, 201));
    assert_eq!(first.body, second.body);
    let other = send(&json!({"name": "Tide Red", "day": "2026-03-01"}).to_string());
    assert_eq!(other.status, 422, "{}", other.body);
    assert_eq!(house.get("/batches").json["items"].as_array().map(Vec::len), Some(1));
    house.close().await;
}
