//! What is measured of a batch: asked about where it is unlikely, corrected for its instrument, sent by a sensor
//! once, brought in from a logger and undone as one act; batches side by side, and the record of one.

use serde_json::{Value, json};
use undercroft::actions::members::{self, NewToken};
use undercroft::domain::members::{Doer, Onlooker, Scope};
use undercroft::web::extract::now;

use super::House;
use crate::ground::cellar::Cellar;
use crate::ground::{Ground, findings, on_both};

on_both!(
    an_unlikely_reading_is_asked_about_and_can_be_meant,
    a_sensor_sends_with_the_least_scope_and_counts_once,
    a_loggers_file_comes_in_once_and_is_undone_as_one_act,
    batches_stand_side_by_side_and_each_has_its_record,
    the_club_chooses_how_by_products_carry_cost
);

/// A house whose cellarhand has a batch that works: its gravity was 1.0450 on 5 March.
async fn house(ground: &Ground) -> (House, Cellar, String) {
    let house = House::open(ground).await;
    let cellar = Cellar::new(&house.db, "Quay Cellar").await;
    let doer = Doer { now: now(), ..(*cellar.club.steward).clone() };
    let by = Onlooker::from_doer(doer).expect("a steward is an onlooker");
    let new = NewToken::read("test", Scope::Write, 300).expect("a token");
    let token = members::new_token(&house.db, &by, None, new).await.expect("it is made").1;
    let token = token.reveal().to_owned();
    (house, cellar, token)
}

fn post(house: &House, token: &str, path: &str, body: &Value) -> super::Heard {
    house.send(token, "POST", path, None, &body.to_string())
}

fn readings(house: &House, token: &str, path: &str) -> Vec<Value> {
    let heard = house.send(token, "GET", &format!("{path}?limit=200"), None, "");
    heard.json["items"].as_array().expect("readings").clone()
}

async fn an_unlikely_reading_is_asked_about_and_can_be_meant(ground: &Ground) {
    let (house, cellar, token) = house(ground).await;
    let path = format!("/batches/{}/readings", cellar.batch);
    let risen = json!({"kind": "gravity", "value": "1.070", "at": "2026-03-08T10:00:00Z"});
    let heard = post(&house, &token, &path, &risen);
    assert_eq!(heard.status, 409, "{}", heard.body);
    assert!(heard.json["type"].as_str().expect("a type").ends_with("/problems/question"), "{}", heard.body);
    assert_eq!(heard.json["errors"][0]["field"], "value");
    assert!(heard.body.contains("It was 1.0450 on 5 March 2026, and now it is higher"), "{}", heard.body);
    let before = readings(&house, &token, &path).len();
    let mut meant = risen.clone();
    meant["as_read"] = json!(true);
    let kept = post(&house, &token, &path, &meant);
    assert_eq!(kept.status, 201, "{}", kept.body);
    assert_eq!(readings(&house, &token, &path).len(), before + 1);
    // Read again: the old one stays, struck out, the new one counts and is with the instrument it names.
    let again = json!({"value": "1.040", "reason": "the glass was foul"});
    let path = format!("/readings/{}/correction", kept.text("id"));
    let heard = post(&house, &token, &path, &again);
    assert_eq!((heard.status, heard.json["value"].as_str()), (201, Some("1.04")), "{}", heard.body);
    assert!(post(&house, &token, &path, &again).body.contains("struck out already"));
    let mut off = json!({"kind": "gravity", "value": "1.030", "at": "2026-03-10T10:00:00Z"});
    off["instrument"] = json!(cellar.instrument);
    let heard = post(&house, &token, &format!("/batches/{}/readings", cellar.batch), &off);
    assert_eq!((heard.status, heard.json["value"].as_str()), (201, Some("1.032")), "{}", heard.body);
    let all = readings(&house, &token, &format!("/batches/{}/readings", cellar.batch));
    let last = all.last().expect("readings");
    assert_eq!((&last["read"], &last["value"]), (&json!("1.03"), &json!("1.032")), "both are kept");
    house.close().await;
}

async fn a_sensor_sends_with_the_least_scope_and_counts_once(ground: &Ground) {
    let (house, cellar, token) = house(ground).await;
    let doer = Doer { now: now(), ..(*cellar.club.hand).clone() };
    let by = Onlooker::from_doer(doer).expect("a cellarhand is an onlooker");
    let new = NewToken::read("float 7", Scope::Readings, 30).expect("a token");
    let sensor = members::new_token(&house.db, &by, None, new).await.expect("it is made").1;
    let sensor = sensor.reveal();
    let path = format!("/batches/{}/readings", cellar.batch);
    let one = |minute: u32, value: &str| {
        let at = format!("2026-03-06T10:{minute:02}:00Z");
        json!({"kind": "gravity", "at": at, "value": value})
    };
    let sent =
        json!({"source": "float 7", "readings": [one(0, "1.044"), one(15, "1.0435"), one(0, "1.044")]});
    let first = post(&house, sensor, &path, &sent);
    assert_eq!(first.status, 201, "{}", first.body);
    assert_eq!((first.json["readings"].as_array().map(Vec::len), &first.json["known"]), (Some(2), &json!(1)));
    let again = post(&house, sensor, &path, &sent);
    assert_eq!((again.json["readings"].as_array().map(Vec::len), &again.json["known"]), (Some(0), &json!(3)));
    let other = json!({"source": "float 8", "readings": [one(0, "1.0445")]});
    assert_eq!(
        post(&house, sensor, &path, &other).json["known"],
        json!(0),
        "another source is another reading"
    );
    for (method, path, body) in [
        ("GET", path.clone(), ""),
        ("POST", format!("/batches/{}/losses", cellar.batch), "{}"),
        ("GET", "/me".to_owned(), ""),
    ] {
        let heard = house.send(sensor, method, &path, None, body);
        assert_eq!(heard.status, 403, "{method} {path}: {}", heard.body);
        assert!(heard.body.contains("only sends readings"), "{}", heard.body);
    }
    let many = json!({"readings": vec![one(0, "1.044"); 501]});
    assert!(post(&house, sensor, &path, &many).body.contains("at most 500"));
    assert_eq!(readings(&house, &token, &path).iter().filter(|one| one["source"] == "float 7").count(), 2);
    house.close().await;
}

async fn a_loggers_file_comes_in_once_and_is_undone_as_one_act(ground: &Ground) {
    let (house, cellar, token) = house(ground).await;
    let path = format!("/batches/{}/reading-imports", cellar.batch);
    let rows = "Datum;Zeit;Dichte;Temperatur °C\n08.03.2026;10:00;1,0440;18,5\n08.03.2026;11:00;1,0438;18,6\n\
                08.03.2026;25:00;1,0437;18,6\n08.03.2026;10:30;1,0439;18,5\n08.03.2026;10:00;1,0440;18,5\n";
    let refused = post(&house, &token, &path, &json!({"rows": rows}));
    assert_eq!(refused.status, 422, "{}", refused.body);
    assert!(refused.body.contains("Line 4: “25:00” is no time"), "{}", refused.body);
    let good = json!({"rows": rows, "file_name": "vat.csv", "keep": "good"});
    let brought = post(&house, &token, &path, &good);
    assert_eq!(brought.status, 201, "{}", brought.body);
    assert_eq!(
        (&brought.json["kept"], &brought.json["left_out"]),
        (&json!(6), &json!(1)),
        "{}",
        brought.body
    );
    let again = post(&house, &token, &path, &good);
    assert_eq!((&again.json["kept"], &again.json["known"]), (&json!(0), &json!(6)), "{}", again.body);
    let undo = format!("/reading-imports/{}/undoing", brought.text("import"));
    assert_eq!(post(&house, &token, &undo, &json!({"reason": "of another vat"})).status, 201);
    assert_eq!(post(&house, &token, &undo, &json!({"reason": "of another vat"})).status, 409);
    let of_file = |all: &[Value]| {
        all.iter().filter(|one| one["source"] == "logger file").filter(|one| one["struck"] == false).count()
    };
    let readings_path = format!("/batches/{}/readings", cellar.batch);
    assert_eq!(of_file(&readings(&house, &token, &readings_path)), 2, "those of the other file stay");
    let once_more = post(&house, &token, &path, &good);
    assert_eq!(once_more.json["kept"], json!(6), "what was undone may come in again: {}", once_more.body);
    assert_eq!(of_file(&readings(&house, &token, &readings_path)), 8);
    assert_eq!(findings(&house.db).off, Vec::<String>::new());
    house.close().await;
}

async fn batches_stand_side_by_side_and_each_has_its_record(ground: &Ground) {
    let (house, cellar, token) = house(ground).await;
    let second =
        post(&house, &token, "/batches", &json!({"name": "Whey wine", "day": "2026-03-01"})).text("id");
    let address = format!("/batches/comparison?batch={}&batch={second}", cellar.batch);
    let heard = house.send(&token, "GET", &address, None, "");
    assert_eq!(heard.status, 200, "{}", heard.body);
    assert_eq!(heard.json["batches"].as_array().map(Vec::len), Some(2));
    assert!(heard.text("warning").contains("prove nothing"));
    let figures = heard.json["figures"].as_array().expect("figures");
    let milk = figures.iter().find(|one| one["name"] == "Whole milk").expect("the milk");
    assert_eq!(milk["values"][1], Value::Null, "the other holds nothing yet");
    for wrong in ["/batches/comparison", "/batches/comparison?batch=nothing"] {
        assert_eq!(house.send(&token, "GET", wrong, None, "").status, 422, "{wrong}");
    }
    assert_eq!(findings(&house.db).off, Vec::<String>::new());
    house.close().await;
}

async fn the_club_chooses_how_by_products_carry_cost(ground: &Ground) {
    let (house, cellar, token) = house(ground).await;
    let wrong = json!({"by_products_by": "sales-value"});
    let heard = house.send(&token, "PUT", "/club/counting", None, &wrong.to_string());
    assert!(heard.status == 422 && heard.body.contains("litre"), "{}", heard.body);
    let by_mass = json!({"by_products_by": "mass", "hour_rate": "12"});
    assert_eq!(house.send(&token, "PUT", "/club/counting", None, &by_mass.to_string()).status, 200);
    let new = post(&house, &token, "/batches", &json!({"name": "Whey wine", "day": "2026-03-01"})).text("id");
    let draw = json!({"day": "2026-03-05", "lines": [{"item": cellar.milk, "quantity": {"amount": "9", "unit": "L"}}]});
    assert_eq!(post(&house, &token, &format!("/batches/{new}/draws"), &draw).status, 201);
    // 9.00 of milk; 3 kg of curds leave 6 L, which count 1 kg a litre: a third of it goes with the curds.
    let curds = json!({"day": "2026-03-05", "item": cellar.curds, "quantity": {"amount": "3", "unit": "kg"},
        "place": cellar.place, "volume_after": {"amount": "6", "unit": "L"}});
    assert_eq!(post(&house, &token, &format!("/batches/{new}/by-products"), &curds).status, 201);
    let work = json!({"kind": "work", "amount": "1.5", "day": "2026-03-05"});
    assert_eq!(post(&house, &token, &format!("/batches/{new}/efforts"), &work).status, 201);
    let litre = json!({"amount": "1", "unit": "L"});
    let bottled = json!({"day": "2026-03-09", "bottles": 6, "bottle_volume": litre, "place": cellar.place,
        "reasons": {"unfinished": "drunk today"}});
    let bottled = post(&house, &token, &format!("/batches/{new}/bottlings"), &bottled);
    assert_eq!(bottled.status, 201, "{}", bottled.body);
    let cost = house.send(&token, "GET", &format!("/batches/{new}/cost"), None, "").json;
    assert_eq!((&cost["by_products"], &cost["total"]), (&json!("-3"), &json!("6")), "{cost}");
    assert_eq!(cost["total_with_efforts"], json!("24"), "{cost}");
    let of =
        house.send(&token, "GET", &format!("/bottlings/{}/cost", bottled.text("bottling")), None, "").json;
    let way = |by: &str| {
        of["ways"].as_array().expect("ways").iter().find(|way| way["by"] == by).cloned().expect("a way")
    };
    assert_eq!(
        (&way("mass")["cost_per_bottle"], &way("mass")["booked"]),
        (&json!("1"), &json!(true)),
        "{of}"
    );
    assert_eq!(
        way("net-value")["cost_per_bottle"],
        json!("1.5"),
        "these curds have no value of their own: {of}"
    );
    assert_eq!(way("sales-value")["cost_per_bottle"], Value::Null);
    assert_eq!(findings(&house.db).off, Vec::<String>::new());
    house.close().await;
}
