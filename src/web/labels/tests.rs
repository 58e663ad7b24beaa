//! Labels of all lots of a receipt: how many of each, and what stands in the way.

use serde_json::{Value, json};

use crate::domain::members::Role;
use crate::web::server::tests::House;

#[test]
fn all_lots_of_a_receipt_are_labelled_at_once() {
    let house = House::open("");
    let people = house.found();
    let (_, session, token) = people.iter().find(|person| person.0 == Role::Cellarhand).unwrap();
    let bearer = format!("Bearer {token}");
    let headers = [("authorization", &*bearer), ("content-type", "application/json")];
    let make = |path: &str, body: &Value| -> Value {
        let heard = house.ask("POST", &format!("/api/v1{path}"), &headers, &body.to_string());
        assert_eq!(heard.status, 201, "{path}: {}", heard.body);
        serde_json::from_str(&heard.body).unwrap()
    };
    let id = |made: &Value| made["id"].as_str().unwrap().to_owned();
    let milk = json!({"name": "Sheep’s milk", "kind": "ingredient", "unit": "mL", "allergens": ["milk"]});
    let milk = id(&make("/items", &milk));
    let sugar = id(&make("/items", &json!({"name": "Cane sugar", "kind": "ingredient", "unit": "g"})));
    let place = id(&make("/places", &json!({"name": "Wheel pit"})));
    let line = |item: &str, amount: &str, unit: &str| {
        json!({"item": item, "quantity": {"amount": amount, "unit": unit}, "cost": "3", "place": place,
            "supplier": "Holm dairy", "supplier_mark": "M-7", "best_before": "2099-12-24"})
    };
    let lines = json!([line(&milk, "24", "L"), line(&sugar, "7", "kg")]);
    let came = make("/receipts", &json!({"day": "2026-06-01", "lines": lines}));
    let entry = came["entry"].as_str().unwrap();
    let code = |at: usize| came["lots"][at]["code"].as_str().unwrap().to_owned();
    let cookie = format!("undercroft={session}");
    let ask = |path: &str| house.ask("GET", path, &[("cookie", &cookie)], "");

    let entry_page = ask(&format!("/entries/{entry}")).body;
    assert!(entry_page.contains("Print the labels of these lots"));
    let told = ask(&format!("/stores?received={entry}")).body;
    assert!(told.contains(&format!("/entries/{entry}/labels\"")));
    let form = ask(&format!("/entries/{entry}/labels")).body;
    for words in ["24.0 L, Wheel pit", "Contains milk", "Use by 24 December 2099", "Holm dairy M-7"] {
        assert!(form.contains(words), "{words}: {form}");
    }
    let file = |counts: &str| ask(&format!("/entries/{entry}/labels.pdf?sheet=a4-3x8&{counts}"));
    let both = format!("each.{}=2&each.{}=3", code(0), code(1));
    assert_eq!(file(&both).status, 200);
    // What is left empty is not wanted; nothing at all, and too much, is said where it was typed.
    assert_eq!(file(&format!("each.{}=&each.{}=1", code(0), code(1))).status, 200);
    for (counts, words) in [
        (format!("each.{}=0&each.{}=", code(0), code(1)), "all are 0"),
        (format!("each.{}=900&each.{}=200", code(0), code(1)), "These are 1100 labels"),
        (format!("each.{}=some", code(0)), "There is a problem"),
    ] {
        let heard = file(&counts);
        assert_eq!(heard.status, 422, "{counts}");
        assert!(heard.body.contains(words), "{words}: {}", heard.body);
    }
    assert_eq!(ask("/entries/06ayqksyefbbq/labels").status, 404);
    // Taken back, there is nothing left to label.
    let back = make(&format!("/entries/{entry}/reversal"), &json!({"reason": "Twice"}));
    assert!(!ask(&format!("/entries/{entry}")).body.contains("Print the labels"));
    let reversal = back["entry"].as_str().or(back["id"].as_str()).unwrap();
    assert_eq!(ask(&format!("/entries/{reversal}/labels")).status, 404);
}
