//! The cellar by its places: room, bottles found, where more go, many carried at once; and the year ahead.

use serde_json::{Value, json};

use super::House;
use super::scene::Scene;
use crate::ground::{Ground, findings, on_both};

on_both!(bottles_find_room_and_are_found, many_fillings_are_carried_at_once, the_year_ahead_is_told);

async fn house(ground: &Ground) -> (House, Scene) {
    let mut house = House::open(ground).await;
    let scene = Scene::new(&house.db, "Quay Cellar").await;
    house.token.clone_from(&scene.token);
    (house, scene)
}

fn spot(house: &House, place: &str) -> Value {
    let told = house.get("/cellar").json;
    told["places"]
        .as_array()
        .expect("places")
        .iter()
        .find(|one| one["place"] == place)
        .cloned()
        .unwrap_or_default()
}

async fn bottles_find_room_and_are_found(ground: &Ground) {
    let (house, scene) = house(ground).await;
    let bottling = house.get(&format!("/bottlings/{}", scene.cellar.bottled.bottling)).json;
    let (code, left) = (bottling["code"].as_str().expect("a code"), &bottling["left"]);
    let found = house.get(&format!("/cellar?words={code}")).json;
    assert_eq!((&found["found"][0]["code"], &found["found"][0]["bottles"]), (&json!(code), left), "{found}");
    let days = bottling["age_days"].as_i64().expect("an age");
    let older = house.get(&format!("/cellar?words={code}&from_months={}", days / 30 + 2)).json;
    assert_eq!(older["found"], json!([]), "{older}");
    assert_eq!(house.send(&house.token, "GET", "/cellar?from_months=old", None, "").status, 422);

    let bay =
        |name: &str, takes: u32| house.post("/places", &json!({"name": name, "capacity": takes})).text("id");
    let (small, large) = (bay("Bay 1", 30), bay("Bay 2", 60));
    assert_eq!(spot(&house, &large)["free"], json!(60));
    let proposed = house.get("/cellar?put=48").json;
    assert_eq!(proposed["without_room"], json!(0));
    let first = &proposed["proposed"][0];
    assert_eq!((&first["place"], &first["bottles"]), (&json!(large), &json!(48)), "{proposed}");
    let reasons = first["reasons"].to_string();
    assert!(reasons.contains("all of them find room: 60 of 60 are free"), "{reasons}");
    let split = house.get("/cellar?put=100").json;
    let places: Vec<&Value> =
        split["proposed"].as_array().expect("two").iter().map(|one| &one["place"]).collect();
    assert_eq!((places, &split["without_room"]), (vec![&json!(large), &json!(small)], &json!(10)));
    let page = house.page(&scene.session, &format!("/bottles/cellar?put=48&words={code}")).body;
    assert!(page.contains("Put them all at Bay 2") && page.contains("How full the places are"), "{page}");
    let wrong = house.page(&scene.session, "/bottles/cellar?put=none").body;
    assert!(wrong.contains("role=\"alert\"") && wrong.contains("value=\"none\""), "{wrong}");
    house.close().await;
}

async fn many_fillings_are_carried_at_once(ground: &Ground) {
    let (house, scene) = house(ground).await;
    let told = house.get("/cellar").json;
    let from = told["places"].as_array().expect("places").iter().max_by_key(|one| one["bottles"].as_i64());
    let from = from.expect("bottles stand somewhere")["place"].as_str().expect("an id").to_owned();
    let all = house.get(&format!("/cellar?place={from}")).json["found"].as_array().expect("found").clone();
    let there: Vec<Value> = all.iter().filter(|one| one["place"] == json!(from)).cloned().collect();
    let lots: Vec<&Value> = there.iter().map(|one| &one["lot"]).collect();
    let bottles: i64 = there.iter().filter_map(|one| one["bottles"].as_i64()).sum();
    assert!(lots.len() > 1, "two fillings stand there: {told}");
    let takes =
        |name: &str, takes: i64| house.post("/places", &json!({"name": name, "capacity": takes})).text("id");
    let (tight, wide) = (takes("Nook", bottles - 1), takes("Bay", bottles));
    let path = format!("/places/{from}/carrying");
    let refused =
        house.send(&house.token, "POST", &path, None, &json!({"to": tight, "lots": lots}).to_string());
    assert_eq!(
        (refused.status, &refused.json["errors"][0]["field"]),
        (409, &json!("to")),
        "{}",
        refused.body
    );
    assert!(refused.body.contains("more find room"), "{}", refused.body);
    let done = house.post(&path, &json!({"to": wide, "lots": lots})).json;
    assert_eq!(done["entries"].as_array().map(Vec::len), Some(lots.len()));
    assert_eq!((&spot(&house, &wide)["bottles"], &spot(&house, &wide)["free"]), (&json!(bottles), &json!(0)));
    let again = house.send(&house.token, "POST", &path, None, &json!({"to": wide, "lots": lots}).to_string());
    assert_eq!(again.status, 409, "nothing is left there: {}", again.body);
    let form = house.page(&scene.session, &format!("/bottles/cellar/{wide}/carry"));
    assert!(form.status == 200 && form.body.contains("name=\"lots."), "{}", form.body);
    assert_eq!(findings(&house.db).off, Vec::<String>::new());
    house.close().await;
}

async fn the_year_ahead_is_told(ground: &Ground) {
    let (house, scene) = house(ground).await;
    let bottling = scene.cellar.bottled.bottling.to_string();
    let known = house.get(&format!("/bottlings/{bottling}")).json;
    let told = house.get("/cellar/ahead").json;
    let stands = house.get("/cellar?from_months=0").json["found"].as_array().expect("all").clone();
    let all: i64 = stands.iter().filter_map(|one| one["bottles"].as_i64()).sum();
    let sum = |of: &str| -> i64 {
        told[of].as_array().expect("rows").iter().filter_map(|one| one["bottles"].as_i64()).sum()
    };
    assert_eq!((sum("drinks"), sum("ages")), (all, all), "{told}");
    let worth = |rows: &Value| -> f64 {
        let rows = rows.as_array().expect("rows").iter();
        rows.map(|one| one["value"].as_str().expect("money").parse::<f64>().expect("a number")).sum()
    };
    let value = house.get("/reports/value").json;
    assert!(worth(&told["drinks"]) > 0.0, "{told} {value}");
    // It is to be tasted at 180 days alone; whether that lies ahead depends on today.
    let falls = known["tasting_ages"][0]["falls_on"].as_str().expect("a day");
    let ahead =
        told["coming"].as_array().expect("coming").iter().find(|one| one["bottling"] == json!(bottling));
    let today = undercroft::web::extract::now().date().to_string();
    assert_eq!(ahead.is_some(), *falls >= *today, "{told}");
    let page = house.page(&scene.session, "/bottles/ahead").body;
    assert!(page.contains("Bottles by age") && page.contains("Drink by drink"), "{page}");
    house.close().await;
}
