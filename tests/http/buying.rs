//! The shopping list by the API, as a page and as a file: what is below its reorder point, by supplier.

use serde_json::{Value, json};
use undercroft::actions::batches::Plan;
use undercroft::actions::plans::{WholePlan, plan};
use undercroft::domain::plans::PlanSupply;
use undercroft::units::quantity::Milli;

use super::House;
use crate::ground::{Ground, findings, on_both};

on_both!(
    what_is_below_its_point_is_bought_by_supplier,
    an_item_shows_how_it_is_bought,
    what_is_short_is_offered_a_substitute_and_says_what_it_brings,
    what_loses_its_strength_says_how_much_more_to_use
);

/// Sugar in two bags of 10 kg, lemon juice past its day, and honey that was never bought; the addresses of the items
/// and of a batch into which 18.5 kg of sugar were drawn, and the entry that did it.
fn stocked(house: &House) -> ([String; 3], String) {
    let id = |heard: super::Heard| heard.text("id");
    let item = |body: Value| id(house.post("/items", &body));
    let sugar = item(json!({"name": "Cane sugar", "kind": "ingredient", "unit": "g"}));
    let juice = item(json!({"name": "Lemon juice", "kind": "ingredient", "unit": "mL",
        "low_at": {"amount": "200", "unit": "mL"}}));
    let honey = item(json!({"name": "Heather honey", "kind": "ingredient", "unit": "g",
        "low_at": {"amount": "3", "unit": "kg"}}));
    let place = id(house.post("/places", &json!({"name": "Dry shelf"})));
    let today = undercroft::web::extract::now().date();
    let ago = |days| (today - chrono::Duration::days(days)).to_string();
    let line = |item: &str, amount: &str, unit: &str, cost: &str, until: Option<String>| {
        json!({"item": item, "quantity": {"amount": amount, "unit": unit}, "cost": cost, "place": place,
            "supplier": "Sluisweg Grocer", "best_before": until})
    };
    let receipt = |days, lines: Value| house.post("/receipts", &json!({"day": ago(days), "lines": lines}));
    receipt(20, json!([line(&sugar, "10", "kg", "12.00", None)]));
    receipt(
        10,
        json!([line(&sugar, "10", "kg", "12.50", None), line(&juice, "500", "mL", "4", Some(ago(2)))]),
    );
    let batch = id(house.post("/batches", &json!({"name": "Tide White"})));
    let drawn = house.post(
        &format!("/batches/{batch}/draws"),
        &json!({"lines": [{"item": sugar, "quantity": {"amount": "18.5", "unit": "kg"}}]}),
    );
    ([sugar, juice, honey], drawn.text("entry"))
}

async fn what_is_below_its_point_is_bought_by_supplier(ground: &Ground) {
    let house = House::open(ground).await;
    let ([sugar, juice, honey], entry) = stocked(&house);
    let list = house.get("/shopping-list").json;
    let items = list["items"].as_array().expect("a list");
    let names: Vec<&str> = items.iter().filter_map(|line| line["item"].as_str()).collect();
    assert_eq!(names, [&*sugar, &*juice, &*honey], "by supplier, then by name: {list}");
    // 18.5 kg in 30 days: 6.475 kg for 10.5 days, of which 1.5 kg are there. Both bags held 10 kg.
    let amount = |line: usize, what: &str| items[line][what]["amount"].as_str().unwrap_or("none").to_owned();
    let sugars: Vec<String> =
        ["reorder_point", "free", "missing", "to_buy", "pack"].iter().map(|what| amount(0, what)).collect();
    assert_eq!(sugars, ["6475", "1500", "4975", "10000", "10000"]);
    assert_eq!((&items[0]["cost"], &items[0]["last_price"]), (&json!("12.5"), &json!("1.25")));
    // What is past its day is not free to use: 200 mL at 4.00 for 500 mL.
    let juices: Vec<String> = ["free", "stopped", "to_buy"].iter().map(|what| amount(1, what)).collect();
    assert_eq!(juices, ["0", "500", "200"]);
    assert_eq!(items[1]["cost"], "1.6");
    assert_eq!((amount(2, "to_buy").as_str(), &items[2]["cost"]), ("3000", &Value::Null));
    assert_eq!(list["cost"], "14.1");
    let sums = json!([{"supplier": "Sluisweg Grocer", "cost": "14.1", "without_price": 0},
        {"supplier": null, "cost": "0", "without_price": 1}]);
    assert_eq!(list["suppliers"], sums);

    let cookie = house.sign_in().await;
    let page = house.page(&cookie, "/stores/shopping").body;
    for words in [
        "3 things to buy. About €14.10 at the last prices, without 1 thing that has no price yet.",
        "Sluisweg Grocer",
        "No supplier written down",
        "1 × 10.0 kg",
        "Never bought yet.",
        "500 mL past its day or on hold",
    ] {
        assert!(page.contains(words), "{words}: {page}");
    }
    let file = house.page(&cookie, "/stores/shopping.csv").body;
    let lines: Vec<&str> = file.lines().collect();
    assert_eq!(lines.len(), 4, "{file}");
    assert!(
        lines[1]
            .starts_with("Sluisweg Grocer,Cane sugar,10000,g,4975,0,,6475,worked-out,1500,10000,12.5,EUR"),
        "{file}"
    );
    assert!(lines[3].starts_with(",Heather honey,3000,g,3000,0,,3000,typed,0,,,EUR,"), "{file}");

    // With the draw taken back there was no use, and the sugar is there; seen with all that is kept.
    house.post(&format!("/entries/{entry}/reversal"), &json!({"reason": "the wrong batch"}));
    assert_eq!(house.get("/shopping-list").json["items"].as_array().map(Vec::len), Some(2));
    // A point of zero is of what is bought for a batch only.
    for item in [&juice, &honey] {
        let kept = house.get(&format!("/items/{item}")).json;
        let body =
            json!({"name": kept["name"], "kind": "ingredient", "low_at": {"amount": "0", "unit": "g"}});
        let body = if *item == juice {
            json!({"name": kept["name"], "kind": "ingredient", "low_at": {"amount": "0", "unit": "mL"}})
        } else {
            body
        };
        let heard = house.send(&house.token, "PUT", &format!("/items/{item}"), None, &body.to_string());
        assert_eq!(heard.status, 200, "{}", heard.body);
    }
    assert_eq!(house.get("/shopping-list").json["items"], json!([]));
    let page = house.page(&cookie, "/stores/shopping").body;
    assert!(page.contains("Nothing has to be bought"), "{page}");
    house.close().await;
    assert_eq!(findings(&ground.open()).off, Vec::<String>::new());
}

async fn an_item_shows_how_it_is_bought(ground: &Ground) {
    let house = House::open(ground).await;
    let ([sugar, ..], _) = stocked(&house);
    let path = format!("/items/{sugar}/upkeep");
    let body = json!({"lead_days": 14, "cover_days": 1});
    let heard = house.send(&house.token, "PUT", &path, None, &body.to_string());
    assert_eq!(heard.status, 200, "{}", heard.body);
    // 18.5 kg in 30 days, for 15 days.
    assert_eq!(heard.json["reorder_point"]["amount"], "9250");
    assert_eq!((&heard.json["lead_days"], &heard.json["cover_days"]), (&json!(14), &json!("1")));
    for (body, field) in [
        (json!({"lead_days": -1}), "lead_days"),
        (json!({"lead_days": 366}), "lead_days"),
        (json!({"cover_days": "a week"}), "cover_days"),
        (json!({"lead": 3}), "lead"),
    ] {
        let heard = house.send(&house.token, "PUT", &path, None, &body.to_string());
        assert_eq!((heard.status, heard.json["errors"][0]["field"].as_str()), (422, Some(field)), "{body}");
    }
    let cookie = house.sign_in().await;
    let page = house.page(&cookie, &format!("/stores/items/{sugar}")).body;
    for words in [
        "Buying it",
        "Reorder point",
        "9.25",
        "14 days of lead time and 1 days of safety stock",
        "617 g a day",
    ] {
        assert!(page.contains(words), "{words}: {page}");
    }
    let form = house.page(&cookie, &format!("/stores/items/{sugar}/upkeep"));
    assert!(form.body.contains("value=\"14\"") && form.body.contains("Safety stock"), "{}", form.body);
    house.close().await;
}

async fn what_is_short_is_offered_a_substitute_and_says_what_it_brings(ground: &Ground) {
    let house = House::open(ground).await;
    let ([sugar, ..], _) = stocked(&house);
    let raisins = house.post(
        "/items",
        &json!({"name": "Raisins", "kind": "ingredient", "unit": "g", "allergens": ["sulphites"]}),
    );
    let raisins = raisins.text("id");
    let place = house.get("/places").json["items"][0]["id"].as_str().expect("a place").to_owned();
    let today = undercroft::web::extract::now().date();
    let line =
        json!({"item": raisins, "quantity": {"amount": "3", "unit": "kg"}, "cost": "15", "place": place});
    house.post("/receipts", &json!({"day": today.to_string(), "lines": [line]}));
    let body = json!({"substitutes": [{"item": raisins, "factor": "1.5"}]});
    let heard = house.send(&house.token, "PUT", &format!("/items/{sugar}/upkeep"), None, &body.to_string());
    assert_eq!(heard.json["substitutes"], json!([{"item": raisins, "factor": "1.5"}]), "{}", heard.body);
    for (other, factor, field) in [
        (&sugar, "1", "substitutes.0.item"),
        (&raisins, "0", "substitutes.0.factor"),
        (&raisins, "many", "substitutes.0.factor"),
    ] {
        let body = json!({"substitutes": [{"item": other, "factor": factor}]});
        let heard =
            house.send(&house.token, "PUT", &format!("/items/{sugar}/upkeep"), None, &body.to_string());
        assert_eq!((heard.status, heard.json["errors"][0]["field"].as_str()), (422, Some(field)), "{body}");
    }
    // The plan wants 2.5 kg of sugar and 1.5 kg are there: 1 kg is short, for which 1.5 kg of raisins do.
    let order = WholePlan {
        batch: Plan { name: "Tide White".to_owned(), base_volume: None, day: today },
        steps: Vec::new(),
        supplies: vec![PlanSupply { item: sugar.parse().expect("an id"), amount: Milli::new(2_500_000) }],
    };
    let batch = plan(&house.db, &house.club.hand, None, order).await.expect("it is planned").id;
    let list = house.get("/shopping-list").json;
    let instead = json!([{"item": raisins, "name": "Raisins", "quantity": {"amount": "1500", "unit": "g"},
        "replaces": {"amount": "1000", "unit": "g"}, "brings_allergens": ["sulphites"]}]);
    assert_eq!(list["items"][0]["instead"], instead, "{list}");
    let cookie = house.sign_in().await;
    let words = "use 1.5 kg of Raisins, which you have, for 1.0 kg of it. Caution: it brings sulphites";
    for path in ["/stores/shopping".to_owned(), format!("/batches/{batch}/draw")] {
        let page = house.page(&cookie, &path).body;
        assert!(page.contains(words), "{path}: {page}");
    }
    house.close().await;
}

async fn what_loses_its_strength_says_how_much_more_to_use(ground: &Ground) {
    let house = House::open(ground).await;
    let yeast = house.post("/items", &json!({"name": "Yeast, white", "kind": "aid", "unit": "g"})).text("id");
    let place = house.post("/places", &json!({"name": "Fridge"})).text("id");
    let today = undercroft::web::extract::now().date();
    // 731 days are two years of 365.25 days and half a day.
    let came = today - chrono::Duration::days(731);
    let line = json!({"item": yeast, "quantity": {"amount": "25", "unit": "g"}, "cost": "6", "place": place});
    let lot =
        house.post("/receipts", &json!({"day": came.to_string(), "lines": [line]})).json["lots"][0]["id"]
            .as_str()
            .expect("a lot")
            .to_owned();
    let batch = house.post("/batches", &json!({"name": "Tide White"})).text("id");
    assert_eq!(house.get(&format!("/lots/{lot}")).json["strength_left_percent"], Value::Null);
    let body = json!({"weakens_percent": "20"});
    let heard = house.send(&house.token, "PUT", &format!("/items/{yeast}/upkeep"), None, &body.to_string());
    assert_eq!((heard.status, &heard.json["weakens_percent"]), (200, &json!("20")), "{}", heard.body);
    assert_eq!(house.get(&format!("/lots/{lot}")).json["strength_left_percent"], json!(64.0));
    let cookie = house.sign_in().await;
    for path in [format!("/stores/lots/{lot}"), format!("/batches/{batch}/draw")] {
        let page = house.page(&cookie, &path).body;
        assert!(page.contains("bout 64 % of its strength, a guide: use 1.6 times as much"), "{path}: {page}");
    }
    house.close().await;
}
