//! Steps as a maker records them: on pages, with what was typed kept whatever stands in the way, and by the API.

use serde_json::json;

use super::scene::Scene;
use super::{Heard, House};
use crate::ground::{Ground, findings, on_both};

on_both!(a_step_is_made_on_pages, an_entry_of_the_api_does_a_step, recipes_are_shown_compared_and_scaled);

struct Phone<'h> {
    house: &'h House,
    scene: &'h Scene,
    token: String,
}

impl<'h> Phone<'h> {
    fn new(house: &'h House, scene: &'h Scene) -> Self {
        let page = house.server.open_page(&scene.session, "/me/password").body;
        let (_, rest) = page.split_once("name=\"form_token\" value=\"").expect("a form has its token");
        let token = rest.split('"').next().unwrap_or_default().to_owned();
        Self { house, scene, token }
    }

    fn open(&self, path: &str) -> Heard {
        self.house.server.open_page(&self.scene.session, path)
    }

    fn send(&self, path: &str, fields: &[(&str, &str)]) -> Heard {
        let mut form = form_urlencoded::Serializer::new(String::new());
        form.append_pair("form_token", &self.token);
        for (name, text) in fields {
            form.append_pair(name, text);
        }
        self.house.server.submit(&self.scene.session, path, &form.finish())
    }
}

#[track_caller]
fn says(heard: &Heard, status: u16, words: &[&str]) {
    assert_eq!(heard.status, status, "{}", heard.body);
    for word in words {
        let body = heard.body.replace("&#39;", "'").replace("&#38;", "&");
        assert!(body.contains(word), "“{word}” is not in {body}");
    }
}

async fn a_step_is_made_on_pages(ground: &Ground) {
    let house = House::open(ground).await;
    let scene = Scene::new(&house.db, "Quay Cellar").await;
    let phone = Phone::new(&house, &scene);
    let batch = format!("/batches/{}", scene.making);
    let step = |line: u32| format!("{batch}/steps/{line}");
    says(&phone.open(&format!("{batch}/now")), 200, &["Keep it warm", "Begin: 30 min from now", "63 °C"]);
    says(&phone.open(&batch), 200, &["1 of 5 steps are done", "Next: Keep it warm", "revision 2"]);
    says(&phone.open(&step(3)), 200, &["Weigh it off", "by-product?step=3", "is not done yet"]);

    let begun = phone.send(&format!("{}/begin", step(2)), &[("request_key", "b-1")]);
    assert_eq!(
        (begun.status, begun.location.as_str()),
        (303, format!("{batch}/now").as_str()),
        "{}",
        begun.body
    );
    let now = phone.open(&format!("{batch}/now"));
    says(&now, 200, &["30 min left", "data-ends=", "It is over", "until "]);
    says(&phone.open("/"), 200, &["Being made", "Keep it warm"]);
    let done = phone.send(&step(2), &[("temperature", "62,5"), ("request_key", "d-1")]);
    assert_eq!(done.status, 303, "{}", done.body);
    // A second phone, with what it measured: kept, and offered as a remark.
    let late =
        phone.send(&step(2), &[("temperature", "61"), ("remark", "it foamed"), ("request_key", "d-2")]);
    says(
        &late,
        409,
        &["Maren Holt did this step at", "61 °C; it foamed", "as a remark", &format!("{}/remark", step(2))],
    );
    let remark = phone.send(&format!("{}/remark", step(2)), &[("remark", "61 °C; it foamed")]);
    assert_eq!(remark.status, 303, "{}", remark.body);
    says(&phone.open(&step(2)), 200, &["0 min instead of 30 min", "62.5 °C", "61 °C; it foamed"]);

    let early = [("gravity", "1.045"), ("remark", "clear"), ("request_key", "g-1")];
    let asked = phone.send(&step(4), &early);
    says(&asked, 409, &["is not done yet: do it first", "value=\"1.045\"", "clear", "name=\"out_of_order\""]);
    let meant = phone.send(&step(4), &[&early[..], &[("out_of_order", "yes")]].concat());
    assert_eq!(meant.status, 303, "{}", meant.body);
    let wrong = phone.send(&step(3), &[("temperature", "900"), ("remark", "hot"), ("out_of_order", "yes")]);
    says(&wrong, 422, &["Temperature is between", "value=\"900\"", "hot"]);
    let silent = phone.send(&format!("{}/leave-out", step(3)), &[("reason", " ")]);
    assert_eq!(silent.status, 422, "{}", silent.body);
    says(&phone.open(&format!("{batch}/steps")), 200, &["3 of 5 steps are done", "Gravity 1.0450"]);
    let as_recipe = phone.open(&format!("/recipes/new?batch={}", scene.cellar.batch));
    says(&as_recipe, 200, &["Whey wine", "30 L", "10 g", "5 kg", "As batch 1 was made."]);
    house.close().await;
    assert_eq!(findings(&ground.open()).off, Vec::<String>::new());
}

async fn an_entry_of_the_api_does_a_step(ground: &Ground) {
    let house = House::open(ground).await;
    let scene = Scene::new(&house.db, "Quay Cellar").await;
    let batch = format!("/batches/{}", scene.making);
    let send = |path: &str, body: serde_json::Value| {
        house.send(&scene.token, "POST", &format!("{batch}{path}"), None, &body.to_string())
    };
    let milk = json!([{"lot": scene.cellar.milk_lot, "quantity": "5 L"}]);
    let again = send("/draws", json!({"lines": milk, "step": 1}));
    assert_eq!(again.status, 409, "{}", again.body);
    assert!(again.body.contains("did this step at"), "{}", again.body);
    let wrong = send("/draws", json!({"lines": milk, "step": 99}));
    assert_eq!(
        (wrong.status, wrong.json["errors"][0]["field"].as_str()),
        (422, Some("step")),
        "{}",
        wrong.body
    );
    let drawn = send("/draws", json!({"lines": milk}));
    assert_eq!(drawn.status, 201, "{}", drawn.body);
    let curds =
        json!({"item": scene.cellar.curds, "quantity": "1 kg", "place": scene.cellar.place, "step": 3});
    let asked = send("/by-products", curds.clone());
    assert_eq!((asked.status, asked.json["errors"][0]["field"].as_str()), (409, Some("out_of_order")));
    let mut meant = curds;
    meant["out_of_order"] = json!(true);
    let booked = send("/by-products", meant);
    assert_eq!(booked.status, 201, "{}", booked.body);
    let states = || {
        let heard = house.send(&scene.token, "GET", &format!("{batch}/steps"), None, "");
        let items = heard.json["items"].as_array().cloned().expect("steps");
        items.iter().map(|step| step["state"].as_str().unwrap_or_default().to_owned()).collect::<Vec<_>>()
    };
    assert_eq!(states(), ["done", "open", "done", "open", "open"]);
    let entry = booked.json["entry"].as_str().expect("an entry");
    let path = format!("/entries/{entry}/reversal");
    let back = house.send(&scene.token, "POST", &path, None, &json!({"reason": "the wrong pot"}).to_string());
    assert_eq!(back.status, 201, "{}", back.body);
    assert_eq!(states(), ["done", "open", "open", "open", "open"], "its entry was reversed");
    for (kind, path, mut body) in [
        ("rack", "/rackings", json!({"volume_after": "4 L"})),
        ("split", "/splits", json!({"volume": "1 L"})),
    ] {
        let added = send("/steps", json!({"kind": kind, "what": "Off the sediment"}));
        assert_eq!(added.status, 201, "{}", added.body);
        let done = |states: Vec<String>| states.iter().filter(|state| *state == "done").count();
        let before = done(states());
        body["step"] = added.json["step"].clone();
        body["out_of_order"] = json!(true);
        let booked = send(path, body);
        assert_eq!(booked.status, 201, "{kind}: {}", booked.body);
        assert_eq!(done(states()), before + 1, "{kind}: what was recorded did the step");
        assert_eq!(booked.json["into"].is_string(), kind == "split", "{}", booked.body);
    }
    let body = json!({"name": "Tide Pink", "base_volume": "12 L", "recipe": scene.cellar.recipe});
    let made = house.send(&scene.token, "POST", "/batches", None, &body.to_string());
    assert_eq!(made.status, 201, "{}", made.body);
    let by = house.send(&scene.token, "GET", &format!("/batches/{}/recipe", made.text("id")), None, "");
    assert_eq!((by.json["revision"].as_i64(), by.json["as_made"].is_null()), (Some(2), true), "{}", by.body);
    let list = format!("/batches?recipe={}", scene.cellar.recipe);
    let list = house.send(&scene.token, "GET", &list, None, "");
    assert_eq!(list.json["items"].as_array().map(Vec::len), Some(2), "{}", list.body);
    house.close().await;
    assert_eq!(findings(&ground.open()).off, Vec::<String>::new());
}

async fn recipes_are_shown_compared_and_scaled(ground: &Ground) {
    let house = House::open(ground).await;
    let scene = Scene::new(&house.db, "Quay Cellar").await;
    let phone = Phone::new(&house, &scene);
    let recipe = format!("/recipes/{}", scene.cellar.recipe);
    says(&phone.open("/recipes"), 200, &["Tide White", "Revision 2", "1 batch made"]);
    says(&phone.open("/recipes?aside=yes"), 200, &["Tide White", "Put aside"]);
    says(&phone.open(&recipe), 200, &["60 L", "15 g", "Make a batch by it", "What revision 2 changed"]);
    let differ = phone.open(&format!("{recipe}/difference"));
    says(&differ, 200, &["They differ in one thing", "12 g for 60 L", "15 g for 60 L"]);
    says(&phone.open(&format!("{recipe}/difference?from=2&to=2")), 200, &["They say the same"]);
    // 15 L of milk are in the stores, 5 L of them past their day.
    let batch = format!("{recipe}/revisions/2/batch");
    says(
        &phone.open(&format!("{batch}?take=base")),
        200,
        &["A batch from 10 L", "2.5 g", "Everything for it"],
    );
    says(
        &phone.open(&format!("{batch}?take=most")),
        200,
        &["A batch from 10 L", "all of the base that is there"],
    );
    says(&phone.open(&format!("{batch}?amount=7+L")), 200, &["1.75 g", "about 1.866667 kg", "rounded"]);
    let wrong = phone.open(&format!("{batch}?amount=lots"));
    says(&wrong, 422, &["There is a problem", "value=\"lots\"", "A batch from 60 L"]);
    assert_eq!(phone.open(&format!("{recipe}/revisions/9")).status, 404);
    // Two at one recipe: the second sees what came between, and may save after it.
    let form = phone.open(&format!("{recipe}/revise"));
    says(&form, 200, &["Warm the milk", "Save the next revision", "name=\"from\" value=\"2\""]);
    let milk = scene.cellar.milk.to_string();
    let save = |from: &str, amount: &str, note: &str| {
        let fields = [
            ("drink", "Tide White"),
            ("base", &milk),
            ("base_amount", amount),
            ("note", note),
            ("from", from),
        ];
        phone.send(&format!("{recipe}/revisions"), &fields)
    };
    let saved = save("2", "50 L", "smaller");
    assert_eq!(saved.location, format!("{recipe}/revisions/3"), "{}", saved.body);
    let late = save("2", "40 L", "smaller still");
    says(&late, 409, &["made revision 3 while you wrote", "name=\"from\" value=\"3\"", "smaller still"]);
    assert_eq!(save("3", "40 L", "smaller still").location, format!("{recipe}/revisions/4"));
    says(&save("4", "40 L", "again"), 409, &["Nothing differs from revision 4"]);
    house.close().await;
}
