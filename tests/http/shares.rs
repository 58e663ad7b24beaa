//! Whose the bottles of a batch are, and settling up, over HTTP.

use serde_json::{Value, json};

use super::House;
use super::scene::Scene;
use crate::ground::{Ground, on_both};

on_both!(bottles_are_due_by_shares_and_wished_for, all_are_even_after_settling_up);

/// The bottling of the scene, and its batch, as the API names them.
async fn opened(ground: &Ground) -> (House, Scene, String) {
    let mut house = House::open(ground).await;
    let scene = Scene::new(&house.db, "Quay Cellar").await;
    house.token.clone_from(&scene.token);
    let bottling = scene.cellar.bottled.bottling.to_string();
    (house, scene, bottling)
}

fn of<'v>(told: &'v Value, bottling: &str) -> &'v Value {
    let all = told["bottlings"].as_array().expect("bottlings");
    all.iter().find(|one| one["bottling"] == bottling).expect("the bottling is among them")
}

async fn bottles_are_due_by_shares_and_wished_for(ground: &Ground) {
    let (house, scene, bottling) = opened(ground).await;
    let told = house.get(&format!("/bottlings/{bottling}")).json;
    let (batch, left) = (told["batch"].as_str().expect("a batch"), told["left"].as_i64().expect("a number"));
    let path = format!("/batches/{batch}/shares");
    let before = house.get(&path).json;
    assert_eq!(before["shares"], json!([]), "it belongs to all");

    let (member, taster) = (scene.member.to_string(), scene.taster.to_string());
    let part = |who: &str, laid_out: &str, worked: &str| json!({"member": who, "laid_out": laid_out, "worked": worked});
    let twice = json!({"shares": [part(&member, "5", "0"), part(&member, "6", "0")]});
    let heard = house.send(&house.token, "POST", &path, None, &twice.to_string());
    assert_eq!(
        (heard.status, &heard.json["errors"][0]["field"]),
        (422, &json!("shares.1.member")),
        "{}",
        heard.body
    );
    let empty = json!({"shares": [part(&member, "0", "0")]});
    let heard = house.send(&house.token, "POST", &path, None, &empty.to_string());
    assert_eq!(
        (heard.status, &heard.json["errors"][0]["field"]),
        (422, &json!("shares.0.laid_out")),
        "{}",
        heard.body
    );

    house.post(&path, &json!({"shares": [part(&member, "20", "10"), part(&taster, "10", "0")]}));
    let told = house.get(&path).json;
    let percents: Vec<&str> =
        told["shares"].as_array().unwrap().iter().map(|one| one["percent"].as_str().unwrap()).collect();
    assert!(percents.contains(&"75.0") && percents.contains(&"25.0"), "{told}");
    let due = |told: &Value, who: &str| {
        let members = of(told, &bottling)["members"].as_array().expect("members").clone();
        let line = members.into_iter().find(|line| line["member"] == who).expect("a line");
        (line["due"].as_i64().unwrap(), line["taken"].as_i64().unwrap())
    };
    let (mine, theirs) = (due(&told, &member), due(&told, &taster));
    let taken_before = mine.1 + theirs.1;
    assert_eq!(mine.0 + theirs.0, left + taken_before, "all that is left or was taken is due to somebody");

    let more = json!({"day": "2026-06-03", "bottles": 1, "member": taster});
    house.post(&format!("/bottlings/{bottling}/withdrawals"), &more);
    house.post(&format!("/bottlings/{bottling}/wishes"), &json!({"bottles": 2, "remark": "the last of it"}));
    let told = house.get(&path).json;
    assert_eq!(
        due(&told, &taster),
        (theirs.0, theirs.1 + 1),
        "what was taken counts, and changes nothing that is due"
    );
    assert_eq!(of(&told, &bottling)["wishes"][0]["bottles"], json!(2));
    // A bottle that is opened for a tasting is nobody's any more.
    let opened = json!({"day": "2026-06-03", "bottles": 1, "reason": "tasting"});
    house.post(&format!("/bottlings/{bottling}/withdrawals"), &opened);
    let after = house.get(&path).json;
    assert_eq!(due(&after, &member).0 + due(&after, &taster).0, left + taken_before - 1);
    let page = house.page(&scene.session, &format!("/bottles/{bottling}")).body;
    assert!(page.contains("Whose they are") && page.contains("the last of it"), "{page}");
    let page = house.page(&scene.session, &format!("/batches/{batch}/shares")).body;
    assert!(page.contains("75.0") && page.contains("30.00"), "{page}");
    house.post(&format!("/bottlings/{bottling}/wishes"), &json!({"bottles": 0}));
    assert_eq!(of(&house.get(&path).json, &bottling)["wishes"], json!([]));
    house.post(&path, &json!({"shares": []}));
    assert_eq!(house.get(&path).json["shares"], json!([]));
    house.close().await;
}

async fn all_are_even_after_settling_up(ground: &Ground) {
    let (house, scene, _) = opened(ground).await;
    for at in 0.. {
        assert!(at < 12, "so few members are even after fewer payments");
        let told = house.get("/reports/settling-up").json;
        let page = house.page(&scene.session, "/reports/settling-up").body;
        let lines = told["tables"][0]["rows"].as_array().expect("rows").clone();
        let Some(line) = lines.first() else {
            assert!(page.contains("Nobody has to pay anybody"), "{page}");
            break;
        };
        let (_, rest) = page.split_once("/reports/settling-up/paid?").expect("a line leads to its form");
        let asked = rest.split('"').next().expect("an address").replace("&#38;", "&").replace("&amp;", "&");
        let form = house.page(&scene.session, &format!("/reports/settling-up/paid?{asked}")).body;
        assert!(form.contains("Record what was paid"), "{form}");
        let fields: Vec<(String, String)> = form_urlencoded::parse(asked.as_bytes()).into_owned().collect();
        let mut body = serde_json::Map::new();
        for (name, text) in fields.into_iter().filter(|field| !field.1.is_empty()) {
            body.insert(name, json!(text));
        }
        let made = house.post("/transfers", &Value::Object(body)).json;
        assert!(!made["entries"].as_array().expect("entries").is_empty(), "{line}");
    }
    let nobody = json!({"amount": "3"});
    let heard = house.send(&house.token, "POST", "/transfers", None, &nobody.to_string());
    assert_eq!((heard.status, &heard.json["errors"][0]["field"]), (422, &json!("to")), "{}", heard.body);
    for ending in ["csv", "pdf"] {
        let (status, bytes) = house.server.file(&scene.session, &format!("/reports/settling-up.{ending}"));
        assert!(status == 200 && bytes.len() > 20, "{ending}: {status}");
    }
    house.close().await;
}
