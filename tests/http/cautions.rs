//! Dangerous cautions over HTTP: refused by name without a reason, and what was said is kept where people look.

use serde_json::json;

use super::House;
use super::scene::Scene;
use crate::ground::{Ground, on_both};

on_both!(
    an_unfinished_drink_is_bottled_with_a_reason_that_stays,
    bottles_are_checked_against_what_they_are_made_for
);

/// The batch of the scene was last read at 1.0450.
async fn an_unfinished_drink_is_bottled_with_a_reason_that_stays(ground: &Ground) {
    let mut house = House::open(ground).await;
    let scene = Scene::new(&house.db, "Quay Cellar").await;
    house.token = scene.token.clone();
    let batch = scene.cellar.batch;
    let (path, page) = (format!("/batches/{batch}/bottlings"), format!("/batches/{batch}"));
    let mut body = json!({"day": "2026-06-02", "bottles": 3, "bottle_volume": {"amount": "75", "unit": "cl"},
        "place": scene.cellar.place, "remark": "bright"});
    for reasons in [json!(null), json!({}), json!({"unfinished": " "}), json!({"acid": "sour"})] {
        body["reasons"] = reasons;
        let heard = house.send(&house.token, "POST", &path, None, &body.to_string());
        assert_eq!(heard.status, 422, "{}", heard.body);
        assert_eq!(heard.json["errors"][0]["field"], "reasons.unfinished");
        assert!(heard.body.contains("Danger: nothing shows that this batch has finished"), "{}", heard.body);
    }
    let form = house.page(&scene.session, &format!("{page}/bottle"));
    assert!(
        form.body.contains("Its last gravity was 1.0450")
            && form.body.contains("name=\"reasons.unfinished\"")
    );
    body["reasons"] = json!({"unfinished": "stabilised, sorbate < 0.2 g/L"});
    let made = house.post(&path, &body);
    let entry = house.get(&format!("/entries/{}", made.text("entry")));
    assert_eq!(entry.json["reasons"][0]["words"], "stabilised, sorbate < 0.2 g/L");
    assert_eq!(entry.json["reasons"][0]["danger"], "nothing shows that this batch has finished");
    for page in
        [page, format!("/bottles/{}", made.text("bottling")), format!("/entries/{}", made.text("entry"))]
    {
        let told = house.page(&scene.session, &page).body;
        assert!(told.contains("stabilised, sorbate &#60; 0.2 g/L"), "{page}: {told}");
    }
    house.close().await;
}

/// 20 L of juice, of which nothing was read yet.
fn juice(house: &House, place: &str) -> String {
    let item = |body: serde_json::Value| house.post("/items", &body).text("id");
    let pears = item(json!({"name": "Pear juice", "kind": "ingredient", "unit": "mL"}));
    let yeast = item(json!({"name": "Cellar yeast", "kind": "aid", "unit": "g"}));
    let much = |item: &str, amount: &str| {
        let (amount, unit) = amount.split_once(' ').expect("a unit");
        json!({"item": item, "quantity": {"amount": amount, "unit": unit}, "cost": "1", "place": place})
    };
    let lines = [much(&pears, "20 L"), much(&yeast, "9 g")];
    house.post("/receipts", &json!({"day": "2026-04-01", "lines": lines}));
    let batch = house.post("/batches", &json!({"name": "Late pears", "day": "2026-04-01"})).text("id");
    let draw = |item: &str, amount: &str| {
        let quantity = json!({"amount": amount, "unit": if amount == "20" { "L" } else { "g" }});
        json!({"day": "2026-04-02", "lines": [{"item": item, "quantity": quantity}]})
    };
    house.post(&format!("/batches/{batch}/draws"), &draw(&pears, "20"));
    house.post(&format!("/batches/{batch}/pitch"), &draw(&yeast, "9"));
    format!("/batches/{batch}")
}

/// Flat at 1.0060 for four days: 16 g/L of sugar, or what pears keep.
async fn bottles_are_checked_against_what_they_are_made_for(ground: &Ground) {
    let mut house = House::open(ground).await;
    let scene = Scene::new(&house.db, "Quay Cellar").await;
    house.token = scene.token.clone();
    let place = scene.cellar.place.to_string();
    let batch = juice(&house, &place);
    let mut body = json!({"day": "2026-05-20", "bottles": 2, "bottle_volume": {"amount": "75", "unit": "cl"},
        "place": place});
    let refused = |body: &serde_json::Value, at: &str| {
        let heard = house.send(&house.token, "POST", &format!("{batch}/bottlings"), None, &body.to_string());
        assert_eq!(heard.status, 422, "{}", heard.body);
        assert_eq!(heard.json["errors"][0]["field"], at, "{}", heard.body);
        heard.body
    };
    assert!(refused(&body, "reasons.unfinished").contains("no gravity of this batch is known"));
    for (day, gravity) in [("02", "1.0500"), ("26", "1.0060"), ("28", "1.0060"), ("30", "1.0060")] {
        for (kind, value) in [("temperature", "20"), ("gravity", gravity)] {
            let read = json!({"at": format!("2026-04-{day}T12:00:00Z"), "kind": kind, "value": value});
            house.post(&format!("{batch}/readings"), &read);
        }
    }
    let told = refused(&body, "reasons.pressure");
    assert!(told.contains("Danger: bottles of 750 mL can come to about"), "{told}");
    let check = format!("{batch}/bottling-check?bottle_volume=75%20cl");
    let shown = house.get(&check).json;
    let line = |shown: &serde_json::Value, rule: &str| {
        let mut lines = shown["lines"].as_array().expect("lines").iter();
        lines.find(|line| line["rule"] == rule).cloned().expect("the rule speaks")
    };
    assert_eq!(
        (&shown["refused"], &line(&shown, "pressure")["reason_in"]),
        (&json!(true), &json!("reasons.pressure"))
    );
    assert_eq!(line(&shown, "unfinished")["reason_in"], json!(null), "{shown}");
    let strong =
        json!({"name": "Bottle for sparkling", "kind": "packaging", "unit": "piece", "made_for_bar": "10"});
    let strong = house.post("/items", &strong);
    assert_eq!(house.get(&format!("/items/{}", strong.text("id"))).json["made_for_bar"], "10");
    let shown = house.get(&format!("{check}&item={}", strong.text("id"))).json;
    assert_eq!(shown["refused"], json!(false), "{shown}");
    assert!(shown.to_string().contains("made for up to 10 bar"), "{shown}");
    body["reasons"] = json!({"pressure": "pears keep sorbitol"});
    let made = house.post(&format!("{batch}/bottlings"), &body);
    let page = house.page(&scene.session, &format!("/bottles/{}", made.text("bottling"))).body;
    assert!(page.contains("pears keep sorbitol"), "{page}");
    house.close().await;
}
