//! Dangerous cautions over HTTP: refused by name without a reason, and what was said is kept where people look.

use serde_json::json;

use super::House;
use super::scene::Scene;
use crate::ground::{Ground, on_both};

on_both!(an_unfinished_drink_is_bottled_with_a_reason_that_stays);

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
