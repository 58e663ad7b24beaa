//! A tasting over HTTP: from the plan to the results, on the phone of each taster; what nobody is told before the key is
//! open; and what is sent that cannot be meant.

use serde_json::{Value, json};
use undercroft::actions::members::{self, NewToken};
use undercroft::domain::members::{Doer, Onlooker, Scope};
use undercroft::units::ids::MemberId;

use super::{Heard, House, token};
use crate::ground::cellar::Cellar;
use crate::ground::{Ground, findings, on_both};

on_both!(
    a_blind_tasting_from_the_plan_to_the_results,
    nobody_is_told_which_glass_holds_what,
    what_cannot_be_meant_at_a_tasting_is_refused,
    a_bottling_over_time
);

/// A house with the small cellar, and a token for each of the three members.
struct Loft {
    house: House,
    cellar: Cellar,
    steward: String,
    taster: String,
}

impl Loft {
    async fn open(ground: &Ground) -> Self {
        let mut house = House::open(ground).await;
        let cellar = Cellar::new(&house.db, "Quay Cellar").await;
        house.token = token(&house.db, &cellar.club).await;
        let steward = token_of(&house, &cellar.club.steward).await;
        let taster = token_of(&house, &cellar.club.taster).await;
        Self { house, cellar, steward, taster }
    }

    fn send(&self, token: &str, method: &str, path: &str, body: &Value) -> Heard {
        let body = if method == "GET" { String::new() } else { body.to_string() };
        self.house.send(token, method, path, None, &body)
    }

    /// What has to be done.
    fn done(&self, token: &str, method: &str, path: &str, body: &Value) -> Heard {
        let heard = self.send(token, method, path, body);
        assert!(heard.status < 300, "{method} {path} {body}: {} {}", heard.status, heard.body);
        heard
    }

    /// The path of the tasting, with an end.
    fn at(&self, end: &str) -> String {
        format!("/tastings/{}{end}", self.cellar.tasting)
    }

    /// The cellarhand and the taster say yes, and it begins.
    fn sit_down(&self) {
        for token in [&self.house.token, &self.taster] {
            self.done(token, "POST", &self.at("/allergens"), &json!({"may_taste": true}));
        }
        self.done(&self.house.token, "POST", &self.at("/beginning"), &json!({"of_age": true}));
    }

    /// The codes before somebody, in order.
    fn serving(&self, token: &str) -> Vec<u64> {
        let sheet = self.done(token, "GET", &self.at("/sheet"), &json!({}));
        sheet.json["serving"].as_array().expect("codes").iter().filter_map(Value::as_u64).collect()
    }

    /// Every glass of a sheet marked for the whole, and handed in.
    fn hand_in(&self, token: &str, mark: &str) -> Heard {
        let glass = |code: &u64| json!({"code": code, "marks": [{"line": 0, "mark": mark}, {"line": 2, "mark": "3"}]});
        let glasses: Vec<Value> = self.serving(token).iter().map(glass).collect();
        self.send(token, "PUT", &self.at("/sheet"), &json!({"glasses": glasses, "hand_in": true}))
    }
}

async fn token_of(house: &House, doer: &Doer) -> String {
    let doer = Doer { now: undercroft::web::extract::now(), ..doer.clone() };
    let by = Onlooker::from_doer(doer).expect("a member");
    let new = NewToken::read("phone", Scope::Write, 300).expect("a token");
    members::new_token(&house.db, &by, None, new).await.expect("a token is made").1.reveal().to_owned()
}

async fn a_blind_tasting_from_the_plan_to_the_results(ground: &Ground) {
    let loft = Loft::open(ground).await;
    let hand = loft.house.token.clone();
    let bottles = |loft: &Loft| {
        loft.house.get(&format!("/bottlings/{}", loft.cellar.bottled.bottling)).json["left"].clone()
    };
    assert_eq!(bottles(&loft), 20);
    loft.sit_down();
    assert_eq!(bottles(&loft), 19, "one bottle of 75 cl holds two glasses of 30 mL");
    let closed = loft.done(&hand, "GET", &loft.at("/results"), &json!({}));
    assert_eq!((closed.json["open"].clone(), closed.json["counted"].clone()), (json!(false), json!(0)));
    assert_eq!(closed.json["missing"], json!(["Joost", "Wieke"]));
    // The same sheet sent twice with one key is one sheet; a correction takes its place.
    let code = loft.serving(&loft.taster)[0];
    let sheet =
        json!({"glasses": [{"code": code, "marks": [{"line": 0, "mark": "6,5"}], "words": "pear, smoke"}],
        "hand_in": true})
        .to_string();
    for _ in 0..2 {
        let heard = loft.house.send(&loft.taster, "PUT", &loft.at("/sheet"), Some("phone-0001"), &sheet);
        assert_eq!((heard.status, heard.json["handed_in"].as_bool()), (200, Some(true)), "{}", heard.body);
    }
    let after = loft.done(&hand, "GET", &loft.at("/results"), &json!({}));
    assert_eq!((after.json["missing"].clone(), after.json["says"].clone()), (json!(["Joost"]), json!([])));
    assert!(!after.body.contains("pear, smoke") && !after.body.contains("6.5"), "{}", after.body);
    let correction = json!({"glasses": [{"code": code, "marks": [{"line": 0, "mark": "7.0"}]}]});
    let corrected = loft.done(&loft.taster, "PUT", &loft.at("/sheet"), &correction);
    assert_eq!(
        corrected.json["glasses"],
        json!([{"code": code, "marks": [{"line": 0, "mark": "7"}], "place": null, "words": ""}])
    );
    let last = loft.hand_in(&hand, "8");
    assert_eq!(last.status, 200, "{}", last.body);
    let open = loft.done(&loft.taster, "GET", &loft.at("/results"), &json!({}));
    assert_eq!((open.json["open"].clone(), open.json["counted"].clone()), (json!(true), json!(2)));
    let whole = &open.json["means"]
        .as_array()
        .expect("means")
        .iter()
        .find(|mean| mean["line"] == 0)
        .expect("the whole");
    assert_eq!((whole["mean"].as_f64(), whole["of"].as_u64()), (Some(7.5), Some(2)));
    assert!(open.json["says"][1].as_str().expect("a sentence").contains("too few"), "{}", open.body);
    let late = loft.send(&loft.taster, "PUT", &loft.at("/sheet"), &correction);
    assert_eq!(late.status, 409, "{}", late.body);
    assert!(late.body.contains("The key is open"), "{}", late.body);
    let off = loft.send(&hand, "POST", &loft.at("/calling-off"), &json!({"reason": "too late"}));
    assert_eq!(off.status, 409, "{}", off.body);
    assert_eq!(findings(&loft.house.db).off, Vec::<String>::new());
    loft.house.close().await;
}

/// The host sees bags and bottles, whoever pours bags and codes, all others neither; the key joins them.
async fn nobody_is_told_which_glass_holds_what(ground: &Ground) {
    let loft = Loft::open(ground).await;
    loft.sit_down();
    let (host, pourer, taster) = (loft.house.token.clone(), loft.steward.clone(), loft.taster.clone());
    let bottling = loft.cellar.bottled.bottling.to_string();
    let told = |token: &str| loft.done(token, "GET", &loft.at(""), &json!({}));
    let (of_host, of_pourer, of_taster) = (told(&host), told(&pourer), told(&taster));
    for heard in [&of_host, &of_pourer, &of_taster] {
        assert_eq!(heard.json["key"], Value::Null, "{}", heard.body);
        assert!(heard.json["bags"].is_null() || heard.json["pouring"].is_null(), "{}", heard.body);
    }
    assert_eq!(of_host.json["bags"][0]["bottling"], json!(bottling));
    assert_eq!(of_pourer.json["pouring"][0]["bag"], "A");
    assert!(
        !of_pourer.body.contains(&bottling) && !of_taster.body.contains(&bottling),
        "bottles are the host's"
    );
    assert!(of_taster.json["bags"].is_null() && of_taster.json["pouring"].is_null(), "{}", of_taster.body);
    let code = of_pourer.json["pouring"][0]["glasses"][0].to_string();
    assert!(!of_host.body.contains(&code), "the host sees no code: {}", of_host.body);
    // What others said to the allergens is for the host.
    let wieke = |heard: &Heard| {
        let tasters = heard.json["tasters"].as_array().expect("tasters");
        tasters.iter().find(|one| one["name"] == "Wieke").expect("Wieke is invited")["may_taste"].clone()
    };
    assert_eq!((wieke(&of_host), wieke(&of_taster)), (json!(true), json!(true)));
    let joost =
        of_taster.json["tasters"].as_array().expect("tasters").iter().find(|one| one["name"] == "Joost");
    assert_eq!(joost.expect("Joost is invited")["may_taste"], Value::Null);
    // Nor does anything else of the program say which code it is.
    for path in
        ["/entries", "/stock", "/reminders?until=2027-12-31", &format!("/bottlings/{bottling}/tastings")]
    {
        let heard = loft.done(&host, "GET", path, &json!({}));
        assert!(!heard.body.contains(&format!("\"{code}\"")), "{path}: {}", heard.body);
    }
    loft.done(&taster, "PUT", &loft.at("/sheet"), &json!({"glasses": [
        {"code": code.parse::<u64>().expect("a code"), "marks": [{"line": 0, "mark": "5"}]}], "hand_in": true}));
    loft.done(&host, "POST", &loft.at("/opening"), &json!({}));
    let open = told(&taster);
    assert_eq!(
        open.json["key"],
        json!([{"glass": code.parse::<u64>().expect("a code"), "bottling": bottling,
        "code": "1-1", "drink": "Whey wine"}])
    );
    loft.house.close().await;
}

struct Bad {
    token: String,
    method: &'static str,
    path: String,
    body: Value,
    status: u16,
    field: &'static str,
    says: &'static str,
}

fn plan(loft: &Loft) -> Value {
    let member = |id: MemberId| id.to_string();
    json!({"title": "Wheys", "day": "2026-06-30", "method": "scored", "samples": [{"bottling": loft.cellar.bottled.bottling.to_string()}],
        "tasters": [member(loft.cellar.club.taster.member)], "pourer": member(loft.cellar.club.steward.member)})
}

fn changed(mut body: Value, field: &str, value: Value) -> Value {
    body[field] = value;
    body
}

fn of_plans(loft: &Loft, other: &Cellar) -> Vec<Bad> {
    let with = |field: &str, value: Value| changed(plan(loft), field, value);
    let bottling = json!({"bottling": loft.cellar.bottled.bottling.to_string()});
    let bad = |body, status, field, says| Bad {
        token: loft.house.token.clone(),
        method: "POST",
        path: "/tastings".to_owned(),
        body,
        status,
        field,
        says,
    };
    vec![
        bad(with("title", json!("")), 422, "title", "what you call it"),
        bad(with("title", json!("x".repeat(10_000))), 422, "title", "at most"),
        bad(with("day", json!("soon")), 422, "day", "Write the day like"),
        bad(with("method", json!("sniffing")), 422, "method", "Choose one of these"),
        bad(with("method", json!("triangle")), 422, "samples", "Choose 2 bottlings"),
        bad(with("samples", json!([bottling.clone(), bottling])), 422, "samples", "twice"),
        bad(with("samples", json!([])), 422, "samples", "Choose 1 to 12"),
        bad(
            with("samples", json!([{"bottling": other.bottled.bottling.to_string()}])),
            422,
            "samples.0.bottling",
            "no such",
        ),
        bad(with("samples", json!([{"bottling": "nothing"}])), 422, "samples.0.bottling", "no such"),
        bad(with("tasters", json!([])), 422, "tasters", "at least one"),
        bad(with("tasters", json!([other.club.taster.member.to_string()])), 422, "tasters", "no such"),
        bad(with("tasters", json!([[["deep"]]])), 422, "tasters", ""),
        bad(
            with("pourer", json!(loft.cellar.club.hand.member.to_string())),
            422,
            "pourer",
            "somebody else pour",
        ),
        bad(with("host", json!(loft.cellar.club.taster.member.to_string())), 422, "host", "opens bottles"),
        bad(with("pour_volume", json!({"amount": "1", "unit": "L"})), 422, "pour_volume", "Pour 5 to 150 mL"),
        bad(with("pour_volume", json!({"amount": "150", "unit": "mL"})), 422, "pour_volume", "g of alcohol"),
        bad(with("expected", json!(1)), 422, "expected", "Only in a pair"),
        bad(with("colour", json!("red")), 422, "colour", ""),
    ]
}

fn of_sheets(loft: &Loft) -> Vec<Bad> {
    let code = loft.serving(&loft.taster)[0];
    let glass = |value: Value| json!({"glasses": [value]});
    let mark =
        |line: Value, mark: Value| glass(json!({"code": code, "marks": [{"line": line, "mark": mark}]}));
    let bad = |body, status, field, says| Bad {
        token: loft.taster.clone(),
        method: "PUT",
        path: loft.at("/sheet"),
        body,
        status,
        field,
        says,
    };
    vec![
        bad(mark(json!(0), json!("10.5")), 422, "glasses.0.marks.0.mark", "from 0 to 10"),
        bad(mark(json!(0), json!("good")), 422, "glasses.0.marks.0.mark", "7.5"),
        bad(mark(json!(0), Value::Null), 422, "glasses.0.marks.0.mark", "7.5"),
        bad(mark(json!(12), json!("5")), 422, "glasses.0.marks", "no line with the number 12"),
        bad(glass(json!({"code": 999})), 422, "glasses.0.code", "does not stand before you"),
        bad(glass(json!({"code": "x"})), 422, "glasses.0.code", "whole number"),
        bad(glass(json!({"code": code, "place": 1})), 422, "glasses.0.place", "not put in order"),
        bad(json!({"chosen": code}), 422, "glasses.0.place", "not put in order"),
        bad(json!({}), 422, "glasses", "Say something"),
        bad(json!({"words": "lovely"}), 422, "words", "Words stand with the glass"),
        bad(json!({"hand_in": true}), 409, "", "still lacks a mark"),
        Bad {
            token: loft.steward.clone(),
            ..bad(mark(json!(0), json!("5")), 409, "", "Say first whether you may taste")
        },
    ]
}

async fn what_cannot_be_meant_at_a_tasting_is_refused(ground: &Ground) {
    let loft = Loft::open(ground).await;
    let other = Cellar::new(&loft.house.db, "Other Cellar").await;
    let hand = loft.house.token.clone();
    let said = |method, end: &str, body, status, field, says| Bad {
        token: hand.clone(),
        method,
        path: loft.at(end),
        body,
        status,
        field,
        says,
    };
    let mut cases = of_plans(&loft, &other);
    cases.extend([
        said("POST", "/allergens", json!({}), 422, "may_taste", "yes or no"),
        said("POST", "/beginning", json!({}), 422, "of_age", "under age"),
        said("POST", "/beginning", json!({"of_age": true}), 409, "", "Nobody has said yet"),
        said("POST", "/opening", json!({}), 409, "", "has not begun"),
        said("POST", "/calling-off", json!({}), 422, "reason", "why it is called off"),
        said("PUT", "/sheet", json!({"hand_in": true}), 409, "", "has not begun"),
    ]);
    let foreign = Bad { token: loft.taster.clone(), ..said("POST", "/opening", json!({}), 403, "", "") };
    cases.push(foreign);
    try_all(&loft, cases);
    loft.sit_down();
    try_all(&loft, of_sheets(&loft));
    let again = said("POST", "/beginning", json!({"of_age": true}), 409, "", "has begun");
    let moved = Bad { body: plan(&loft), ..said("PUT", "", json!({}), 409, "", "has begun") };
    try_all(&loft, vec![again, moved]);
    loft.house.close().await;
}

fn try_all(loft: &Loft, cases: Vec<Bad>) {
    let before = findings(&loft.house.db);
    for case in cases {
        let heard = loft.send(&case.token, case.method, &case.path, &case.body);
        let said = format!("{} {} {}: {} {}", case.method, case.path, case.body, heard.status, heard.body);
        assert_eq!(heard.status, case.status, "{said}");
        assert!(
            heard.kind.starts_with("application/problem+json") && heard.body.contains(case.says),
            "{said}"
        );
        if !case.field.is_empty() {
            let faults = heard.json["errors"].as_array().into_iter().flatten();
            assert!(faults.map(|fault| &fault["field"]).any(|field| field == case.field), "{said}");
        }
    }
    assert_eq!(findings(&loft.house.db), before, "nothing was recorded");
}

async fn a_bottling_over_time(ground: &Ground) {
    let loft = Loft::open(ground).await;
    let at = format!("/bottlings/{}", loft.cellar.bottled.bottling);
    let never = loft.house.get(&format!("{at}/tastings"));
    assert_eq!((never.json["tastings"].clone(), never.json["ageing"].clone()), (json!([]), Value::Null));
    loft.sit_down();
    loft.hand_in(&loft.taster, "6");
    loft.hand_in(&loft.house.token.clone(), "7");
    let told = loft.house.get(&format!("{at}/tastings"));
    assert_eq!(told.json["tastings"][0]["tasting"], json!(loft.cellar.tasting.to_string()));
    let ageing = &told.json["ageing"];
    assert_eq!((ageing["verdict"].as_str(), ageing["trend"].clone()), (Some("too-few"), Value::Null));
    assert_eq!(
        (ageing["points"][0]["age_days"].as_i64(), ageing["points"][0]["mean"].as_f64()),
        (Some(29), Some(6.5))
    );
    let next = ageing["proposal"]["next_age_days"].as_i64().expect("an age");
    assert!(next > 29, "{ageing}");
    let path = format!("{at}/tasting-ages");
    let set = |age: Value| loft.send(&loft.house.token, "POST", &path, &json!({"age_days": age}));
    assert_eq!(set(json!(9999)).status, 201);
    let twice = set(json!(9999));
    assert_eq!((twice.status, twice.body.contains("set already")), (409, true), "{}", twice.body);
    let past = set(json!(1));
    assert_eq!((past.status, past.body.contains("that old already")), (422, true), "{}", past.body);
    assert_eq!(set(json!("many")).status, 422);
    loft.house.close().await;
}
