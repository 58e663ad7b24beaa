//! The climate of places: by hand, from a sensor and out of a file; what it makes of the age of bottles, and what
//! is told.

use serde_json::{Value, json};
use undercroft::actions::letters;
use undercroft::actions::members::{self, NewToken};
use undercroft::actions::reminders::reconcile;
use undercroft::db::letters::Letter;
use undercroft::domain::members::{Doer, Onlooker, Scope};
use undercroft::units::days::Instant;
use undercroft::web::extract::now;

use super::House;
use super::scene::Scene;
use crate::ground::{Ground, findings, on_both};

on_both!(
    a_place_is_read_by_hand_by_a_sensor_and_out_of_a_file,
    bottles_age_by_the_warmth_of_where_they_stand,
    a_shelf_that_is_too_warm_is_told_once,
    an_age_by_warmth_falls_as_the_shelf_is
);

async fn house(ground: &Ground) -> (House, Scene) {
    let mut house = House::open(ground).await;
    let scene = Scene::new(&house.db, "Quay Cellar").await;
    house.token.clone_from(&scene.token);
    (house, scene)
}

fn days(house: &House, path: &str) -> Vec<Value> {
    house.get(&format!("{path}?from=2026-03-01&until=2026-03-31")).json["days"]
        .as_array()
        .expect("days")
        .clone()
}

async fn a_place_is_read_by_hand_by_a_sensor_and_out_of_a_file(ground: &Ground) {
    let (house, scene) = house(ground).await;
    let path = format!("/places/{}/climate", scene.cellar.place);
    let by_hand = json!({"at": "2026-03-07T06:00:00Z", "temperature": "10", "humidity": "70 %"});
    assert_eq!(house.post(&path, &by_hand).json, json!({"kept": 1, "known": 0}));
    let hot = json!({"at": "2026-03-07T06:00:00Z", "temperature": "30"});
    assert_eq!(house.post(&path, &hot).json, json!({"kept": 1, "known": 0}), "read again, it is put right");
    assert_eq!(days(&house, &path)[0]["highest_c"], json!("30.00"));
    house.post(&path, &by_hand);

    let doer = Doer { now: now(), ..(*scene.cellar.club.hand).clone() };
    let by = Onlooker::from_doer(doer).expect("a cellarhand is an onlooker");
    let new = NewToken::read("probe", Scope::Readings, 30).expect("a token");
    let sensor = members::new_token(&house.db, &by, None, new).await.expect("it is made").1;
    let one = |hour: u32, c: &str| json!({"at": format!("2026-03-07T{hour:02}:00:00Z"), "temperature": c});
    let sent =
        json!({"source": "probe", "readings": [one(6, "11"), one(18, "20"), one(18, "21")]}).to_string();
    let heard = house.send(sensor.reveal(), "POST", &path, None, &sent);
    assert_eq!((heard.status, heard.json), (201, json!({"kept": 1, "known": 2})), "a time counts once");
    let again = house.send(sensor.reveal(), "POST", &path, None, &sent);
    assert_eq!((again.status, again.json), (201, json!({"kept": 0, "known": 3})));
    assert_eq!(house.send(sensor.reveal(), "GET", &path, None, "").status, 403);
    // 10 °C counts 0.632 and 20 °C 1.581 of a day at 15 °C (Q10 of 2.5).
    let day = &days(&house, &path)[0];
    let told = (&day["mean_c"], &day["lowest_c"], &day["highest_c"], &day["worth_days"]);
    assert_eq!(told, (&json!("15.00"), &json!("10.00"), &json!("20.00"), &json!("1.107")), "{day}");

    let rows = "Zeit;Temperatur °C;Feuchte %\n08.03.2026 10:00;14,5;71\n08.03.2026 22:00;13,5;73\nDefekt;;\n";
    let file = |keep: bool| json!({"rows": rows, "file_name": "shelf.csv", "keep": keep});
    let looked = house.post(&format!("{path}/file"), &file(false)).json;
    assert_eq!((&looked["readings"], &looked["kept"]), (&json!(2), &Value::Null), "{looked}");
    assert_eq!(days(&house, &path).len(), 1, "nothing is kept before it was looked at");
    assert_eq!(house.post(&format!("{path}/file"), &file(true)).json["kept"], json!(2));
    let day = &days(&house, &path)[1];
    assert_eq!((&day["mean_c"], &day["humidity_percent"]), (&json!("14.00"), &json!("72.00")), "{day}");

    let page = format!("/stores/places/{}/climate", scene.cellar.place);
    let shown = house.page(&scene.session, &page).body;
    assert!(shown.contains("shelf.csv, by") && shown.contains("Temperature of"), "{shown}");
    let struck = json!({"from": "2026-03-07T18:00:00Z", "reason": "held in the hand"});
    assert_eq!(house.post(&format!("{path}/strike"), &struck).json["days"], json!(1));
    assert_eq!(days(&house, &path)[0]["highest_c"], json!("10.00"));
    let nothing = house.send(&house.token, "POST", &format!("{path}/strike"), None, &struck.to_string());
    assert_eq!(nothing.status, 409, "{}", nothing.body);
    assert!(house.page(&scene.session, &page).body.contains("held in the hand"));
    assert_eq!(findings(&house.db).off, Vec::<String>::new());
    house.close().await;
}

/// The bottling of the cellar was laid down at its place; 100 days at 25 °C are 250 at 15.
async fn bottles_age_by_the_warmth_of_where_they_stand(ground: &Ground) {
    let (house, scene) = house(ground).await;
    let bottling = format!("/bottlings/{}", scene.cellar.bottled.bottling);
    let known = house.get(&bottling).json;
    assert_eq!(known["age_by_warmth_days"], Value::Null, "nothing was read");
    let age = known["age_days"].as_f64().expect("an age");
    let place = known["places"][0]["place"].as_str().expect("a place").to_owned();
    let at = |month: u32| json!({"at": format!("2026-{month:02}-10T12:00:00Z"), "temperature": "25"});
    let readings = json!({"source": "probe", "readings": [at(6), at(7), at(8)]});
    house.post(&format!("/places/{place}/climate"), &readings);
    let told = house.get(&bottling).json;
    let warm: f64 = told["age_by_warmth_days"].as_str().expect("an age").parse().expect("days");
    assert!((warm - 2.5 * age).abs() < 1.0, "{warm} for {age}");
    let page = house.page(&scene.session, &format!("/bottles/{}", scene.cellar.bottled.bottling)).body;
    assert!(page.contains("by the warmth of the shelf"), "{page}");
    house.close().await;
}

async fn a_shelf_that_is_too_warm_is_told_once(ground: &Ground) {
    let (house, scene) = house(ground).await;
    let bottling = house.get(&format!("/bottlings/{}", scene.cellar.bottled.bottling)).json;
    let place = bottling["places"][0]["place"].as_str().expect("a place").to_owned();
    let path = format!("/places/{place}/climate");
    let at = |day: u32, hour: u32, c: &str| {
        let at = format!("2026-07-{day:02}T{hour:02}:00:00Z");
        json!({"at": at, "temperature": c})
    };
    let warm = [at(1, 4, "18"), at(1, 14, "24.9"), at(2, 4, "19"), at(2, 14, "26.1"), at(3, 14, "25.4")];
    house.post(&path, &json!({"source": "probe", "readings": warm}));
    let club = &scene.cellar.club.hand;
    let told = async |day: &str| {
        let now: Instant = format!("{day}T16:00:00").parse().expect("an instant");
        reconcile(&house.db, club.club, club.zone, now).await.expect("reminders are made");
        let due = house.get("/reminders?until=2026-12-31").json;
        let due = due["items"].as_array().expect("reminders").clone();
        let climate = due.into_iter().filter(|one| one["place"] == json!(place));
        climate.map(|one| one["text"].as_str().expect("words").to_owned()).collect::<Vec<_>>()
    };
    let first = told("2026-07-02").await;
    assert!(first.iter().any(|text| text.contains("is too warm for bottles: 26.1 °C")), "{first:?}");
    assert!(first.iter().any(|text| text.contains("7.1 °C between night and day")), "{first:?}");
    let evening: Instant = "2026-07-02T18:00:00".parse().expect("an instant");
    letters::write(&house.db, club.club, club.zone, evening).await.expect("letters are written");
    let letters = letters::take(&house.db, evening, 100).await.expect("they are there");
    for text in &first {
        let says = |letter: &&Letter| letter.lines.iter().any(|line| line.text == *text);
        let (told, all) = (letters.iter().filter(says).count(), letters.len());
        assert!(told == all && all > 1, "{told} of {all} letters say “{text}”");
    }
    assert_eq!(told("2026-07-03").await.len(), first.len(), "it lasts, and is told once");
    assert_eq!(told("2026-07-09").await, Vec::<String>::new(), "it is over");
    house.close().await;
}

/// An age of 200 days at 15 °C falls after 80 days at 25 °C, and later once it is known to be cooler.
async fn an_age_by_warmth_falls_as_the_shelf_is(ground: &Ground) {
    let (house, scene) = house(ground).await;
    let place = scene.cellar.place.to_string();
    let today = now().date();
    let ago = |days: u64| (today - chrono::Days::new(days)).to_string();
    let read = |days: u64, c: &str| json!({"at": format!("{}T12:00:00Z", ago(days)), "temperature": c});
    let path = format!("/places/{place}/climate");
    house.post(&path, &json!({"source": "probe", "readings": [read(9, "25"), read(6, "25")]}));
    let body = json!({"day": ago(10), "bottles": 1, "bottle_volume": {"amount": "75", "unit": "cl"}, "place": place,
        "tasting_ages_days": [200], "ages_by_warmth": true, "reasons": {"unfinished": "a trial of the shelf"}});
    let made = house.post(&format!("/batches/{}/bottlings", scene.cellar.batch), &body);
    let bottling = format!("/bottlings/{}", made.text("bottling"));
    let age = || house.get(&bottling).json["tasting_ages"][0].clone();
    let ahead = |days: u64| json!((today + chrono::Days::new(days)).to_string());
    // 10 days are 25 by now; the 175 that are missing take 70 days.
    assert_eq!((&age()["by_warmth"], &age()["falls_on"]), (&json!(true), &ahead(70)), "{}", age());
    // 5 °C counts 0.4: with three such days the mean of five readings is 1.24.
    let cool = [read(5, "5"), read(4, "5"), read(3, "5")];
    house.post(&path, &json!({"source": "probe", "readings": cool}));
    let hand = &scene.cellar.club.hand;
    reconcile(&house.db, hand.club, hand.zone, now()).await.expect("reminders are made");
    let later = age()["falls_on"].as_str().expect("a day").to_owned();
    assert_eq!(json!(later), ahead(152), "(200 − 12.4) / 1.24, rounded up");
    let page = house.page(&scene.session, &format!("/bottles/{}", made.text("bottling"))).body;
    assert!(page.contains("by warmth, about"), "{page}");
    house.close().await;
}
