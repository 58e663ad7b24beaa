//! Bottles of several sizes that are filled in one go over HTTP, with what breaks and is spilt.

use serde_json::{Value, json};

use super::scene::Scene;
use super::{Heard, House};
use crate::ground::{Ground, on_both};

on_both!(sizes_are_filled_together_or_not_at_all, sizes_are_filled_from_the_page);

const WHY: &str = "stabilised and read twice";

fn amount(much: &str, unit: &str) -> Value {
    json!({"amount": much, "unit": unit})
}

fn order(scene: &Scene) -> Value {
    json!({
        "day": "2026-06-02", "bottles": 4, "broken": 1, "bottle_volume": amount("75", "cl"),
        "lost_volume": amount("250", "mL"), "place": scene.cellar.place, "reasons": {"unfinished": WHY},
        "packaging": [{"item": scene.corks, "quantity": amount("5", "piece")}],
        "also": [
            {"bottles": 2, "bottle_volume": amount("1.5", "L"),
             "packaging": [{"item": scene.corks, "quantity": amount("2", "piece")}]},
            {"bottles": 3, "bottle_volume": amount("37.5", "cl")},
        ],
    })
}

/// What stands in a batch, in millilitres, and what it cost.
fn holds(house: &House, batch: &str) -> (f64, f64) {
    let told = house.get(&format!("/batches/{batch}")).json;
    let number = |value: &Value| value.as_str().and_then(|text| text.parse::<f64>().ok()).expect("a number");
    (number(&told["volume"]["amount"]), number(&told["cost"]))
}

async fn sizes_are_filled_together_or_not_at_all(ground: &Ground) {
    let mut house = House::open(ground).await;
    let scene = Scene::new(&house.db, "Quay Cellar").await;
    house.token = scene.token.clone();
    let batch = scene.cellar.batch.to_string();
    let path = format!("/batches/{batch}/bottlings");
    let (volume, cost) = holds(&house, &batch);
    let mut body = order(&scene);

    body["also"][1]["bottles"] = json!(90_000);
    let heard = house.send(&house.token, "POST", &path, None, &body.to_string());
    assert_eq!(
        (heard.status, &heard.json["errors"][0]["field"]),
        (409, &json!("also.1.bottles")),
        "{}",
        heard.body
    );
    assert_eq!(holds(&house, &batch), (volume, cost), "nothing of it was recorded");

    let made = house.post(&path, &order(&scene)).json;
    let (left, cost_left) = holds(&house, &batch);
    // 3 L, 3 L and 1.125 L in bottles; one of 750 mL broke and 250 mL were spilt.
    assert!((volume - left - 8125.0).abs() < 1e-6, "{volume} mL, then {left} mL");
    let tell = |id: &Value| house.get(&format!("/bottlings/{}", id.as_str().expect("an id"))).json;
    let told =
        [tell(&made["bottling"]), tell(&made["also"][0]["bottling"]), tell(&made["also"][1]["bottling"])];
    assert_eq!(
        (&told[0]["broken"], &told[0]["lost_volume"]["amount"]),
        (&json!(1), &json!("1000")),
        "{}",
        told[0]
    );
    assert_eq!((&told[1]["broken"], &told[2]["bottles"]), (&json!(0), &json!(3)));
    for (one, code) in told.iter().zip(["2", "3", "4"]) {
        assert!(one["code"].as_str().is_some_and(|own| own.ends_with(&format!("-{code}"))), "{one}");
        assert_eq!(
            one["places"][0]["place"],
            json!(scene.cellar.place),
            "beside the first where none is named"
        );
    }
    // A litre costs the same in every size, but for what closes it: what was lost is borne by all alike.
    let costs: Vec<f64> = told.iter().map(|one| one["cost"].as_str().unwrap().parse().unwrap()).collect();
    let moved = cost - cost_left;
    let of_corks = costs.iter().sum::<f64>() - moved;
    let drink = [costs[0] - of_corks * 5.0 / 7.0, costs[1] - of_corks * 2.0 / 7.0, costs[2]];
    for (share, litres) in drink.iter().zip([3.0, 3.0, 1.125]) {
        assert!((share / litres - moved / 7.125).abs() < 1e-4, "{share} for {litres} L of {moved}");
    }
    house.close().await;
}

/// The page's own form, filled and sent.
fn fill(house: &House, session: &str, path: &str, fields: &[(&str, String)]) -> Heard {
    let page = house.page(session, path).body;
    let (_, rest) = page.split_once("name=\"form_token\" value=\"").expect("a form has its token");
    let mut form = form_urlencoded::Serializer::new(String::new());
    form.append_pair("form_token", rest.split('"').next().expect("a token"));
    for (name, text) in fields {
        form.append_pair(name, text);
    }
    house.server.submit(session, path, &form.finish())
}

async fn sizes_are_filled_from_the_page(ground: &Ground) {
    let mut house = House::open(ground).await;
    let scene = Scene::new(&house.db, "Quay Cellar").await;
    house.token = scene.token.clone();
    let batch = scene.cellar.batch.to_string();
    let path = format!("/batches/{batch}/bottle");
    let form = house.page(&scene.session, &path).body;
    assert!(form.contains("name=\"also.0.bottles\"") && form.contains("Beside the first"), "{form}");
    let mut fields = vec![
        ("day", "2026-06-02".to_owned()),
        ("bottles", "2".to_owned()),
        ("bottle_volume", "75 cl".to_owned()),
        ("place", scene.cellar.place.to_string()),
        ("reasons.unfinished", WHY.to_owned()),
        ("also.0.bottles", "2".to_owned()),
        ("also.0.bottle_volume", "a jug".to_owned()),
        ("also.0.packaging.0.source", format!("item:{}", scene.corks)),
        ("also.0.packaging.0.quantity", "2".to_owned()),
        ("also.1.bottles", String::new()),
        ("also.1.packaging.0.source", String::new()),
    ];
    let heard = fill(&house, &scene.session, &path, &fields);
    assert_eq!(heard.status, 422, "{}", heard.body);
    assert!(
        heard.body.contains("href=\"#also-0-bottle_volume\"") && heard.body.contains("a jug"),
        "{}",
        heard.body
    );
    "1.5 L".clone_into(&mut fields[6].1);
    let heard = fill(&house, &scene.session, &path, &fields);
    assert_eq!(heard.status, 303, "{}", heard.body);
    let listed = house.get("/bottlings").json;
    let sizes: Vec<&str> = listed["items"]
        .as_array()
        .expect("a list")
        .iter()
        .filter_map(|one| one["bottle_volume"]["amount"].as_str())
        .collect();
    assert_eq!(sizes[..2], ["1500", "750"], "{listed}");
    house.close().await;
}
