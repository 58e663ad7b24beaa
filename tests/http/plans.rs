//! From 60 litres of sheep's milk to a planned batch and its shopping list, by the API and by the pages.

use serde_json::{Value, json};

use super::House;
use crate::ground::{Ground, findings, on_both};

on_both!(
    the_ways_are_compared_with_the_clubs_own_lots,
    a_way_becomes_a_batch_that_keeps_its_plan,
    it_works_on_pages
);

/// What is in the stores: the ids of milk, sugar and bottles.
fn stock(house: &House) -> [String; 3] {
    let item = |body: Value| house.post("/items", &body).text("id");
    let place = house.post("/places", &json!({"name": "Wheel pit"})).text("id");
    let milk = item(json!({"name": "Sheep’s milk, whole", "kind": "ingredient", "unit": "mL",
        "density_g_per_ml": "1.036", "allergens": ["milk"], "lactose_g_per_kg": "48"}));
    let sugar = item(json!({"name": "Cane sugar", "kind": "ingredient", "unit": "g",
        "density_g_per_ml": "1.617", "sugar_g_per_kg": "1052.6"}));
    let rennet = item(json!({"name": "Rennet", "kind": "aid", "unit": "mL"}));
    let lactase = item(json!({"name": "Lactase", "kind": "aid", "unit": "mL", "splits_lactose": true}));
    let yeast = item(json!({"name": "Yeast, white", "kind": "aid", "unit": "g"}));
    let bottle = item(json!({"name": "Bottle 75 cl", "kind": "packaging", "unit": "piece"}));
    let cork = item(json!({"name": "Cork 38 mm", "kind": "packaging", "unit": "piece"}));
    let line = |item: &str, amount: &str, unit: &str, cost: &str, best_before: Option<&str>| {
        json!({"item": item, "quantity": {"amount": amount, "unit": unit}, "cost": cost, "place": place,
            "best_before": best_before})
    };
    let today = undercroft::web::extract::now().date();
    let (soon, later) = (today + chrono::Duration::days(5), today + chrono::Duration::days(50));
    house.post(
        "/receipts",
        &json!({"day": today.to_string(), "lines": [
            line(&milk, "60", "L", "66.00", Some(&soon.to_string())),
            line(&sugar, "2", "kg", "2.40", Some(&later.to_string())),
            line(&sugar, "10", "kg", "20.00", None),
            line(&rennet, "100", "mL", "10.00", None),
            line(&lactase, "500", "mL", "50.00", None),
            line(&yeast, "100", "g", "10.00", None),
            line(&bottle, "200", "piece", "100.00", None),
            line(&cork, "20", "piece", "2.00", None),
        ]}),
    );
    [milk, sugar, bottle]
}

fn way<'h>(heard: &'h super::Heard, code: &str) -> &'h Value {
    let routes = heard.json["routes"].as_array().expect("ways");
    routes.iter().find(|route| route["route"] == code).unwrap_or_else(|| panic!("no {code}: {}", heard.body))
}

fn ask(house: &House, body: &Value) -> super::Heard {
    house.send(&house.token, "POST", "/workbench/routes", None, &body.to_string())
}

fn cost_of(way: &Value, role: &str) -> f64 {
    let takes = way["takes"].as_array().expect("what it takes");
    let line = takes.iter().find(|line| line["role"] == role).unwrap_or_else(|| panic!("no {role}"));
    line["cost"].as_str().unwrap_or_else(|| panic!("{line}")).parse().expect("money")
}

async fn the_ways_are_compared_with_the_clubs_own_lots(ground: &Ground) {
    let house = House::open(ground).await;
    let missing = ask(&house, &json!({"base": "sheep", "amount": "60 L", "goal": 11}));
    let sweeten = way(&missing, "sweeten");
    assert!(sweeten["takes"].to_string().contains("no sugar in the stores"), "{sweeten}");
    assert_eq!(sweeten["cost_is_incomplete"], true);
    let [milk, ..] = stock(&house);
    let heard =
        ask(&house, &json!({"base": "sheep", "amount": {"amount": "60", "unit": "L"}, "goal": "11 % vol"}));
    assert_eq!(heard.status, 200, "{}", heard.body);
    for code in ["sweeten", "boil-down", "mix"] {
        let way = way(&heard, code);
        assert_eq!(way["cannot"], Value::Null, "{way}");
        let strength = way["strength"].as_f64().expect("a strength");
        assert!((strength - 11.0).abs() < 1e-6, "{code}: {strength}");
    }
    let sweeten = way(&heard, "sweeten");
    // First-expired-first: 2 kg at 1.20, then what is more than that at 2.00 a kg.
    let kg = sweeten["sugar_kg"].as_f64().expect("sugar");
    let wanted = 2.40 + (kg - 2.0) * 2.0;
    assert!(
        (cost_of(sweeten, "sugar_item") - wanted).abs() < 0.002,
        "{kg} kg cost {}",
        cost_of(sweeten, "sugar_item")
    );
    assert!((cost_of(sweeten, "base_item") - 66.0).abs() < 1e-9);
    let bottles = sweeten["bottles"].as_f64().expect("bottles");
    let total: f64 = sweeten["takes"]
        .as_array()
        .expect("lines")
        .iter()
        .filter_map(|line| line["cost"].as_str())
        .map(|cost| cost.parse::<f64>().expect("money"))
        .sum();
    let each: f64 = sweeten["cost_per_bottle"].as_str().expect("a cost").parse().expect("money");
    assert!((each - total / bottles).abs() < 1e-5, "{each} is not {total}/{bottles}");
    // All that is there, by the item that was chosen.
    let all = ask(&house, &json!({"base": "sheep", "all_there": true, "base_item": milk, "goal": 11}));
    assert_eq!(all.json["base_l"], heard.json["base_l"], "{}", all.body);
    let none = ask(&house, &json!({"base": "honey", "all_there": true, "goal": 11}));
    assert_eq!(
        (none.status, none.json["errors"][0]["field"].as_str()),
        (422, Some("all_there")),
        "{}",
        none.body
    );
    for (body, field) in [
        (json!({"base": "sheep", "goal": 11}), "amount"),
        (json!({"base": "sheep", "amount": "60", "goal": 11}), "amount"),
        (json!({"base": "juice", "amount": "60 L", "goal": 11}), "sugar"),
        (json!({"base": "sheep", "amount": "60 L", "goal": 30}), "goal"),
        (json!({"base": "sheep", "amount": "60 L", "goal": 11, "sugar_item": "0000000000001"}), "sugar_item"),
        (json!({"base": "sheep", "amount": "60 L", "goal": 11, "moisture": 5}), "moisture"),
        (json!({"base": "sheep", "amount": "60 L", "goal": 11, "colour": "green"}), "colour"),
    ] {
        let heard = ask(&house, &body);
        assert_eq!(heard.status, 422, "{body}: {}", heard.body);
        assert_eq!(heard.json["errors"][0]["field"], field, "{body}: {}", heard.body);
    }
    for base in ["cow", "goat", "buffalo", "honey", "fruit", "sugar"] {
        let heard = ask(&house, &json!({"base": base, "amount": "20 kg", "goal": 9}));
        assert_eq!(heard.status, 200, "{base}: {}", heard.body);
    }
    house.close().await;
}

async fn a_way_becomes_a_batch_that_keeps_its_plan(ground: &Ground) {
    let house = House::open(ground).await;
    let [milk, sugar, _] = stock(&house);
    let body =
        json!({"base": "sheep", "amount": "60 L", "goal": 11, "route": "sweeten", "name": "Tide White"});
    let key = Some("plan-1");
    let made = house.send(&house.token, "POST", "/workbench/routes/batch", key, &body.to_string());
    assert_eq!(made.status, 201, "{}", made.body);
    let again = house.send(&house.token, "POST", "/workbench/routes/batch", key, &body.to_string());
    assert_eq!(again.body, made.body, "the same request makes one batch");
    let batch = format!("/batches/{}", made.text("id"));
    assert_eq!(house.get(&batch).text("stage"), "planned");
    let plan = house.get(&format!("{batch}/plan")).json;
    let kinds: Vec<&str> =
        plan["steps"].as_array().expect("steps").iter().filter_map(|step| step["kind"].as_str()).collect();
    assert_eq!(kinds[..5], ["heat-to", "curdle", "strain", "cool", "split-lactose"]);
    assert!(kinds.contains(&"sweeten") && kinds.contains(&"pitch"), "{kinds:?}");
    assert_eq!(plan["steps"][0]["amount"]["amount"], "60000");
    assert_eq!(plan["steps"][0]["target_c"], "32");
    assert!(plan["steps"][0]["caution"].as_str().is_some_and(|said| said.contains("pasteurised")));
    let of = |plan: &Value, item: &str, what: &str| {
        let supplies = plan["supplies"].as_array().expect("supplies").clone();
        let line = supplies.into_iter().find(|line| line["item"] == item).expect("it is planned");
        line[what]["amount"].as_str().expect("an amount").to_owned()
    };
    assert_eq!(of(&plan, &milk, "planned"), "60000");
    assert_eq!(of(&plan, &milk, "drawn"), "0");
    // Only corks are missing: 20 are there, and there are as many bottles as corks to be had.
    let list = house.get("/shopping-list").json;
    let names: Vec<&str> =
        list["items"].as_array().expect("a list").iter().filter_map(|line| line["name"].as_str()).collect();
    assert_eq!(names, ["Cork 38 mm"]);
    let draw = json!({"lines": [{"item": milk, "quantity": {"amount": "60", "unit": "L"}},
        {"item": sugar, "quantity": {"amount": "3", "unit": "kg"}}]});
    house.post(&format!("{batch}/draws"), &draw);
    let plan = house.get(&format!("{batch}/plan")).json;
    assert_eq!((of(&plan, &milk, "drawn").as_str(), of(&plan, &sugar, "drawn").as_str()), ("60000", "3000"));
    // A second plan of the same wants milk again, which is no longer there, and the sugar of both.
    let second = json!({"base": "sheep", "amount": "60 L", "goal": 11, "route": "mix", "share_boiled": 50, "name": "Second"});
    house.post("/workbench/routes/batch", &second);
    let list = house.get("/shopping-list").json;
    let milk_line =
        list["items"].as_array().expect("a list").iter().find(|line| line["item"] == milk.as_str()).cloned();
    assert_eq!(milk_line.expect("milk is missing")["missing"]["amount"], "60000");
    for (change, field) in
        [(json!({"name": ""}), "name"), (json!({"route": "boil-down", "lactose": 3}), "route")]
    {
        let mut body = body.clone();
        let change = change.as_object().expect("fields").clone();
        body.as_object_mut().expect("fields").extend(change);
        let heard = house.send(&house.token, "POST", "/workbench/routes/batch", None, &body.to_string());
        assert_eq!(
            (heard.status, heard.json["errors"][0]["field"].as_str()),
            (422, Some(field)),
            "{}",
            heard.body
        );
    }
    house.close().await;
    assert_eq!(findings(&ground.open()).off, Vec::<String>::new());
}

async fn it_works_on_pages(ground: &Ground) {
    let house = House::open(ground).await;
    stock(&house);
    let cookie = house.sign_in().await;
    let shown = house.page(&cookie, "/workbench/routes?base=sheep&amount=60+L&goal=11");
    assert_eq!(shown.status, 200);
    for words in [
        "Sweeten",
        "Boil down",
        "Some of both",
        "A bottle costs",
        "Make this a planned batch",
        "Caution: milk",
    ] {
        assert!(shown.body.contains(words), "{words}");
    }
    let wrong = house.page(&cookie, "/workbench/routes?base=sheep&amount=lots&goal=11");
    assert_eq!(wrong.status, 422);
    assert!(wrong.body.contains("There is a problem") && wrong.body.contains("value=\"lots\""));
    let form = house.page(&cookie, "/workbench/routes/batch?route=mix&base=sheep&amount=60+L&goal=11");
    assert_eq!(form.status, 200, "{}", form.body);
    let value = |name: &str| {
        let at = form.body.find(&format!("name=\"{name}\" value=\"")).unwrap_or_else(|| panic!("no {name}"));
        let rest = &form.body[at + name.len() + 15..];
        rest[..rest.find('"').expect("an end")].to_owned()
    };
    let send = |name: &str| {
        let (token, key) = (value("form_token"), value("request_key"));
        let body = format!(
            "form_token={token}&request_key={key}&base=sheep&amount=60+L&goal=11&route=mix&name={name}&day="
        );
        house.server.submit(&cookie, "/workbench/routes/batch", &body)
    };
    assert_eq!(send("").status, 422, "a batch has a name");
    let made = send("Tide+White");
    assert_eq!(made.status, 303, "{}", made.body);
    let batch = house.page(&cookie, made.location.split('#').next().expect("a path"));
    assert_eq!(batch.status, 200);
    for words in ["Making it", "Next: Warm the milk", "Cane sugar", "nothing yet"] {
        assert!(batch.body.contains(words), "{words}");
    }
    let steps =
        house.page(&cookie, &format!("{}/steps", made.location.split('#').next().expect("a path"))).body;
    for words in ["Split the lactose", "Boil down", "none of them done yet"] {
        assert!(steps.contains(words), "{words}");
    }
    let list = house.page(&cookie, "/stores/shopping");
    assert_eq!(list.status, 200);
    let file = house.page(&cookie, "/stores/shopping.csv");
    assert!(file.body.starts_with("supplier,item,to_buy,unit,missing,wanted,batches,"), "{}", file.body);
    for view in ["", "?all=yes"] {
        let list = house.page(&cookie, &format!("/stores/shopping{view}")).body;
        let file = house.page(&cookie, &format!("/stores/shopping.csv{view}")).body;
        let rows = list.matches("<h3><a href=\"/stores/items/").count();
        assert_eq!(rows, file.lines().count() - 1, "{file}");
        let link = list.contains(&format!("/stores/shopping.csv{view}\""));
        assert_eq!(link, rows > 0, "the file of the rows shown");
        assert!(rows > 0 || view.is_empty(), "what is there is shown too");
    }
    assert_eq!(
        house.page(&cookie, "/workbench/routes/batch?route=colour&base=sheep&amount=60+L&goal=11").status,
        422
    );
    house.close().await;
}
