//! Bottles, what they cost, what is due and what it adds up to, over HTTP.

use actix_web::rt::System;
use serde_json::{Value, json};

use crate::actions::reminders::reconcile;
use crate::db::members::clubs;
use crate::domain::bottles::TastingAge;
use crate::domain::members::Role;
use crate::units::days::Day;
use crate::units::money::Money;
use crate::web::bottles::{age_row, tasting};
use crate::web::extract::now;
use crate::web::server::tests::{FORM, Heard, House};
use crate::web::site::form_token;

/// A house with a club, and what its members send.
struct Cellar {
    house: House,
    people: Vec<(Role, String, String)>,
    place: String,
}

impl Cellar {
    fn open() -> Self {
        let house = House::open("");
        let people = house.found();
        let mut cellar = Self { house, people, place: String::new() };
        cellar.place = cellar.post("/places", &json!({"name": "Wheel pit"}));
        cellar
    }

    fn person(&self, role: Role) -> &(Role, String, String) {
        self.people.iter().find(|person| person.0 == role).unwrap()
    }

    fn ask(&self, role: Role, method: &str, path: &str, body: &str) -> Heard {
        let token = format!("Bearer {}", self.person(role).2);
        let headers = [("authorization", &*token), ("content-type", "application/json")];
        self.house.ask(method, &format!("/api/v1{path}"), &headers, body)
    }

    fn read(&self, path: &str) -> Value {
        let heard = self.ask(Role::Onlooker, "GET", path, "");
        assert_eq!(heard.status, 200, "{path}: {}", heard.body);
        serde_json::from_str(&heard.body).unwrap()
    }

    /// Records something; gives the id of what it made.
    fn post(&self, path: &str, body: &Value) -> String {
        let heard = self.ask(Role::Cellarhand, "POST", path, &body.to_string());
        assert!(matches!(heard.status, 200 | 201), "{path}: {}", heard.body);
        let made: Value = serde_json::from_str(&heard.body).unwrap();
        let id = ["bottling", "into", "id", "lot", "entry"].into_iter().find_map(|name| made[name].as_str());
        id.unwrap().to_owned()
    }

    fn page(&self, role: Role, path: &str) -> String {
        let heard = self.browse(role, "GET", path, "");
        assert_eq!(heard.status, 200, "{path}");
        heard.body
    }

    fn browse(&self, role: Role, method: &str, path: &str, body: &str) -> Heard {
        let cookie = format!("undercroft={}", self.person(role).1);
        self.house.ask(method, path, &[("cookie", &cookie), FORM], body)
    }

    fn send(&self, role: Role, path: &str, fields: &[(&str, &str)]) -> Heard {
        let token = form_token(&self.person(role).1);
        let mut body = form_urlencoded::Serializer::new(String::new());
        body.append_pair("form_token", &token).extend_pairs(fields);
        self.browse(role, "POST", path, &body.finish())
    }

    fn item(&self, name: &str, kind: &str, unit: &str, more: &Value) -> String {
        let mut body = json!({"name": name, "kind": kind, "unit": unit});
        body.as_object_mut().unwrap().extend(more.as_object().unwrap().clone());
        self.post("/items", &body)
    }

    /// Supplies of one item, received at a cost.
    fn supply(&self, item: &str, amount: &str, unit: &str, cost: &str) {
        let quantity = json!({"amount": amount, "unit": unit});
        let line = json!({"item": item, "quantity": quantity, "cost": cost, "place": self.place});
        self.post("/receipts", &json!({"lines": [line]}));
    }

    /// 40 L of whey wine, less 8.8 kg of curds: 66.00 of milk, 5.52 of sugar, curds at 5.25 a kg.
    fn whey_wine(&self) -> String {
        let milk = json!({"density_g_per_ml": "1.03", "allergens": ["milk"], "lactose_g_per_kg": "48"});
        let milk = self.item("Sheep's milk", "ingredient", "mL", &milk);
        let sugar = self.item("Cane sugar", "ingredient", "g", &json!({"density_g_per_ml": "1.59"}));
        let curds = json!({"allergens": ["milk"], "value_per_unit": "0.00525", "density_g_per_ml": "1.03"});
        let curds = self.item("Curds", "by-product", "g", &curds);
        self.supply(&milk, "40", "L", "66.00");
        self.supply(&sugar, "4.6", "kg", "5.52");
        let batch = self.post("/batches", &json!({"name": "Whey wine"}));
        let quantity = |amount: &str, unit: &str| json!({"amount": amount, "unit": unit});
        let line =
            |item: &str, amount: &str, unit: &str| json!({"item": item, "quantity": quantity(amount, unit)});
        let lines = json!([line(&milk, "40", "L"), line(&sugar, "4.6", "kg")]);
        self.post(&format!("/batches/{batch}/draws"), &json!({"lines": lines}));
        let weighed =
            json!({"item": curds, "quantity": {"amount": "8.8", "unit": "kg"}, "place": self.place});
        self.post(&format!("/batches/{batch}/by-products"), &weighed);
        batch
    }

    fn bottle(&self, batch: &str, bottles: u32) -> String {
        let volume = json!({"amount": "750", "unit": "mL"});
        let ages = [1, 90];
        let (place, path) = (&self.place, format!("/batches/{batch}/bottlings"));
        let body = json!({"bottles": bottles, "bottle_volume": volume, "place": place, "tasting_ages_days": ages,
                "reasons": {"unfinished": "kept sweet on purpose, and sterile"}});
        self.post(&path, &body)
    }
}

/// A sum of decimal texts in millionths.
fn sum<'v>(texts: impl Iterator<Item = &'v Value>) -> i64 {
    texts.map(micros).sum()
}

fn micros(text: &Value) -> i64 {
    let text = text.as_str().unwrap();
    let (whole, part) = text.split_once('.').unwrap_or((text, ""));
    let size = format!("{}{part:0<6}", whole.trim_start_matches('-')).parse::<i64>().unwrap();
    if text.starts_with('-') { -size } else { size }
}

#[test]
fn what_a_bottle_cost_is_told_line_by_line_and_adds_up() {
    let cellar = Cellar::open();
    let batch = cellar.whey_wine();
    let other =
        cellar.post(&format!("/batches/{batch}/splits"), &json!({"volume": {"amount": "7", "unit": "L"}}));
    let bottling = cellar.bottle(&batch, 20);
    let cost = cellar.read(&format!("/bottlings/{bottling}/cost"));
    let lines = cost["lines"].as_array().unwrap();
    assert_eq!(lines.len(), 3);
    assert_eq!(
        (&lines[0]["what"], &lines[0]["cost"], &lines[0]["receipt"]),
        (&json!("Sheep's milk"), &json!("66"), &json!("R-1"))
    );
    assert_eq!((&lines[2]["part"], &lines[2]["cost"]), (&json!("by-product"), &json!("-46.2")));
    assert!(micros(&lines[0]["share"]) < micros(&lines[0]["cost"]), "some of it went into the split");
    let booked = micros(&cellar.read(&format!("/bottlings/{bottling}"))["cost"]);
    assert_eq!(sum(lines.iter().map(|line| &line["share"])), booked);

    let whole = cellar.read(&format!("/batches/{batch}/cost"));
    assert_eq!(
        (&whole["supplies"], &whole["by_products"], &whole["total"]),
        (&json!("71.52"), &json!("-46.2"), &json!("25.32"))
    );
    assert_eq!(
        sum(whole["lines"].as_array().unwrap().iter().map(|line| &line["cost"])),
        micros(&whole["held"])
    );
    let split = cellar.read(&format!("/batches/{other}/cost"));
    assert_eq!(split["lines"][0]["batch"], json!(batch));

    let page = cellar.page(Role::Onlooker, &format!("/bottles/{bottling}/cost"));
    assert!(page.contains("Curds took €"), "{page}");
    assert!(page.contains(&format!("href=\"/batches/{other}/cost\">Batch 2</a>")));
    assert!(cellar.page(Role::Onlooker, &format!("/batches/{batch}/cost")).contains("Curds, deducted"));
    let file = cellar.page(Role::Onlooker, &format!("/bottles/{bottling}/cost.csv"));
    let shares = file.lines().skip(1).map(|line| json!(line.split(',').nth(9).unwrap())).collect::<Vec<_>>();
    assert_eq!(sum(shares.iter()), booked);
}

#[test]
fn a_page_asks_for_the_worth_of_a_kilo_of_by_product() {
    let cellar = Cellar::open();
    let batch = cellar.whey_wine();
    let items = cellar.read("/items");
    let curds = items["items"].as_array().unwrap().iter().find(|item| item["name"] == "Curds").unwrap();
    let fields = [
        ("item", curds["id"].as_str().unwrap()),
        ("quantity", "2 kg"),
        ("value", "5.50"),
        ("place", &cellar.place),
    ];
    let sent = cellar.send(Role::Cellarhand, &format!("/batches/{batch}/by-product"), &fields);
    assert_eq!(sent.status, 303, "{}", sent.body);
    let cost = cellar.read(&format!("/batches/{batch}/cost"));
    assert_eq!(cost["by_products"], json!("-57.2"), "46.20, and 11.00 for the two kilos");
}

#[test]
fn milk_that_came_with_another_batch_is_named_and_no_gravity_is_trusted() {
    let cellar = Cellar::open();
    let batch = cellar.whey_wine();
    let split = json!({"volume": {"amount": "9", "unit": "L"}, "name": "Whey wine with pear"});
    let other = cellar.post(&format!("/batches/{batch}/splits"), &split);
    for (at, value) in [("2020-01-01T10:00:00Z", "1.080"), ("2020-02-01T10:00:00Z", "1.020")] {
        let reading = json!({"kind": "gravity", "value": value, "at": at});
        cellar.post(&format!("/batches/{other}/readings"), &reading);
    }
    let bottling = cellar.bottle(&other, 12);
    let told = cellar.read(&format!("/bottlings/{bottling}"));
    assert_eq!((&told["allergens"], &told["strength"]), (&json!(["milk"]), &Value::Null));
    let page = cellar.page(Role::Onlooker, &format!("/bottles/{bottling}"));
    assert!(page.contains("Contains <strong>milk</strong>."));
    assert!(page.contains("gravity would mislead") && page.contains("This is high: sugar may be left."));
}

#[test]
fn a_taster_takes_bottles_in_their_own_name_and_never_more_than_there_are() {
    let cellar = Cellar::open();
    let bottling = cellar.bottle(&cellar.whey_wine(), 12);
    let path = format!("/bottles/{bottling}");
    let page = cellar.page(Role::Taster, &path);
    assert!(page.contains("Take them home, at cost") && !page.contains("name=\"member\""));
    assert!(!cellar.page(Role::Onlooker, &path).contains("/withdrawals"));
    let take = format!("{path}/withdrawals");
    let fields = [("request_key", "0123456789abcdef"), ("bottles", "2")];
    for _ in 0..2 {
        let done = cellar.send(Role::Taster, &take, &fields);
        assert_eq!(done.status, 303);
        assert!(cellar.page(Role::Taster, done.header("location")).contains("2 bottles taken by taster."));
    }
    assert_eq!(cellar.read(&format!("/bottlings/{bottling}"))["left"], json!(10));
    let more = cellar.send(Role::Taster, &take, &[("bottles", "11")]);
    assert_eq!(more.status, 409);
    assert!(more.body.contains("There are only 10 left there") && more.body.contains("value=\"11\""));
    assert_eq!(cellar.send(Role::Taster, &take, &[("bottles", "1"), ("reason", "gift")]).status, 403);
    assert_eq!(cellar.send(Role::Cellarhand, &take, &[("bottles", "10"), ("reason", "tasting")]).status, 303);
    assert!(cellar.page(Role::Onlooker, "/bottles?view=gone").contains(&path));
    assert!(!cellar.page(Role::Onlooker, "/bottles?sort=name").contains(&path));
}

#[test]
fn a_statement_is_for_the_member_and_for_stewards_and_for_nobody_else() {
    let cellar = Cellar::open();
    let take = format!("/bottles/{}/withdrawals", cellar.bottle(&cellar.whey_wine(), 12));
    assert_eq!(cellar.send(Role::Taster, &take, &[("bottles", "2")]).status, 303);
    let seen_by = |role| {
        let heard = cellar.ask(role, "GET", "/reports/members", "");
        let told: Value = serde_json::from_str(&heard.body).unwrap();
        told["items"].as_array().unwrap().clone()
    };
    let everyone = seen_by(Role::Steward);
    assert_eq!(everyone.len(), 4);
    let taster = everyone.iter().find(|row| row["name"] == "taster").unwrap();
    assert_eq!(micros(&taster["took"]), -micros(&taster["balance"]));
    assert!(micros(&taster["took"]) > 0);
    assert_eq!(seen_by(Role::Taster), std::slice::from_ref(taster));
    let path = format!("/reports/members/{}", taster["member"].as_str().unwrap());
    for role in [Role::Taster, Role::Steward] {
        let statement = cellar.page(role, &path);
        assert!(statement.contains("is owed to the club") && statement.contains("2 bottles taken by taster"));
        assert!(cellar.page(role, "/reports/members").contains(&path));
    }
    for role in [Role::Onlooker, Role::Cellarhand] {
        assert_eq!(seen_by(role).len(), 1, "oneself");
        assert_eq!(cellar.browse(role, "GET", &path, "").status, 404);
        assert!(!cellar.page(role, "/reports/members").contains(&path));
        assert!(!cellar.page(role, "/reports/members.csv").contains("\r\ntaster,"), "oneself alone");
    }
    assert!(cellar.page(Role::Steward, "/reports/members.csv").contains("\r\ntaster,0,0,"));

    let (owed, pay) = (taster["took"].as_str().unwrap(), format!("{path}/payments"));
    assert!(!cellar.page(Role::Taster, &path).contains("payments/new"));
    for role in [Role::Taster, Role::Cellarhand] {
        assert_eq!(cellar.send(role, &pay, &[("way", "to-club"), ("amount", owed)]).status, 403);
    }
    let form = cellar.page(Role::Steward, &format!("{pay}/new"));
    let due = Money::read(owed).unwrap().paid().shown();
    assert!(form.contains("taster owes the club") && form.contains(&format!("value=\"{due}\"")), "{form}");
    let done = cellar.send(Role::Steward, &pay, &[("way", "to-club"), ("amount", owed)]);
    assert_eq!((done.status, done.header("location")), (303, path.as_str()));
    let statement = cellar.page(Role::Taster, &path);
    assert!(
        statement.contains("to the club, took home") && statement.contains("that is even"),
        "{statement}"
    );
    assert!(statement.contains("taster paid the club"));
    let row = &seen_by(Role::Taster)[0];
    assert_eq!((&row["paid_in"], &row["balance"]), (&taster["took"], &json!("0")));

    let entries = |role| {
        let told: Value = serde_json::from_str(&cellar.ask(role, "GET", "/entries", "").body).unwrap();
        told["items"].as_array().unwrap().clone()
    };
    let paid = entries(Role::Steward).into_iter().find(|entry| entry["kind"] == "payment").unwrap();
    assert!(entries(Role::Cellarhand).iter().all(|entry| entry["kind"] != "payment"));
    let id = paid["id"].as_str().unwrap();
    for (role, status) in [(Role::Cellarhand, 404), (Role::Taster, 200), (Role::Steward, 200)] {
        assert_eq!(cellar.browse(role, "GET", &format!("/entries/{id}"), "").status, status, "{role:?}");
        assert_eq!(cellar.ask(role, "GET", &format!("/entries/{id}"), "").status, status, "{role:?}");
    }
    let back = format!("/entries/{id}/reversal");
    assert_eq!(cellar.send(Role::Cellarhand, &back, &[("reason", "slip")]).status, 404);
    let done = cellar.send(Role::Steward, &back, &[("reason", "slip")]);
    assert_eq!((done.status, done.header("location")), (303, format!("{path}#e-{id}").as_str()));
    assert_eq!(seen_by(Role::Taster)[0]["balance"], taster["balance"]);
}

#[test]
fn what_is_due_is_done_put_off_given_and_opened_again() {
    let cellar = Cellar::open();
    let first = cellar.page(Role::Steward, "/");
    assert!(first.contains("Nothing is due.") && first.contains("What to do first"));
    assert!(!cellar.page(Role::Onlooker, "/").contains("What to do first"));
    cellar.bottle(&cellar.whey_wine(), 12);
    let (db, at) = (cellar.house.db.clone(), now() + chrono::Duration::days(1));
    System::new().block_on(async {
        let club = db.read(clubs).await.unwrap()[0].0;
        reconcile(&db, club, chrono_tz::UTC, at).await.unwrap();
    });
    let tomorrow = (now().date() + chrono::Duration::days(2)).to_string();
    let found = cellar.read(&format!("/reminders?until={tomorrow}"));
    let reminder = found["items"].as_array().unwrap().iter().find(|one| one["kind"] == "tasting").unwrap();
    let id = reminder["id"].as_str().unwrap();
    assert!(cellar.page(Role::Onlooker, "/").contains(&format!("/reminders/{id}")));
    assert!(cellar.page(Role::Onlooker, "/reminders").contains(&format!("/reminders/{id}")));
    assert!(!cellar.page(Role::Onlooker, &format!("/reminders/{id}")).contains("<button"));

    let become_of = |what: &str, fields: &[(&str, &str)]| {
        cellar.send(Role::Taster, &format!("/reminders/{id}/{what}"), fields)
    };
    let refused = become_of("put-off", &[("day", "yesterday")]);
    assert!(refused.status == 422 && refused.body.contains("Choose a day to come"));
    let member = cellar.read("/members")["items"][0]["id"].as_str().unwrap().to_owned();
    for (what, fields) in
        [("put-off", &[("day", "2199-01-01")][..]), ("give", &[("member", &member)]), ("done", &[])]
    {
        let sent = become_of(what, fields);
        assert_eq!((sent.status, sent.header("location")), (303, format!("/?said={id}").as_str()), "{what}");
    }
    assert!(cellar.page(Role::Taster, &format!("/?said={id}")).contains("is done."));
    assert_eq!(become_of("done", &[]).status, 409);
    assert_eq!(cellar.ask(Role::Taster, "POST", &format!("/reminders/{id}/undone"), "").status, 200);
    assert_eq!(
        cellar.read("/reminders?until=2199-12-31")["items"].as_array().unwrap().last().unwrap()["member"],
        json!(member)
    );
}

#[test]
fn reports_say_what_the_cellar_is_worth_and_files_are_noted() {
    let cellar = Cellar::open();
    cellar.bottle(&cellar.whey_wine(), 12);
    let value = cellar.read("/reports/value");
    assert_eq!(value["total"], json!("71.52"), "nothing is lost on the way");
    assert_eq!(cellar.read("/reports/value?on=2020-01-01")["total"], json!("0"));
    let page = cellar.page(Role::Onlooker, "/reports?on=1+January+2020");
    assert!(page.contains("€71.52") && page.contains("At the end of 1 January 2020 it was €0.00."));
    for path in ["/reports?on=soon", "/stores?kind=drink&on=soon"] {
        let again = cellar.browse(Role::Onlooker, "GET", path, "").body;
        assert!(again.contains("<a href=\"#on\">Write the day like") && again.contains("value=\"soon\""));
    }
    assert!(cellar.page(Role::Onlooker, "/reports/yields").contains("Whey wine"));
    assert!(cellar.page(Role::Onlooker, "/reports/costs").contains("1-1, Whey wine"));
    let yields = cellar.page(Role::Onlooker, "/reports/yields.csv");
    assert!(yields.starts_with("batch,drink,") && yields.lines().count() == 2, "{yields}");
    assert!(cellar.page(Role::Onlooker, "/reports/costs.csv").contains("\r\n1-1,Whey wine,"));
    assert!(cellar.page(Role::Steward, "/reports/members.csv").contains("\r\ntaster,0,0,0,0,0,EUR\r\n"));
    let log = cellar.page(Role::Steward, "/club/log");
    assert!(log.contains("exported the yields") && log.contains("exported the costs"));
}

#[test]
fn the_answer_says_when_to_taste() {
    let today: Day = "2026-06-23".parse().unwrap();
    let age = TastingAge {
        age_days: 365,
        by_warmth: false,
        falls_on: "2026-06-20".parse().unwrap(),
        reminder: None,
    };
    let due = TastingAge { reminder: Some((age.falls_on, false)), ..age };
    assert_eq!(tasting(&[due], today).0, "Now");
    assert!(tasting(&[due], today).2.ends_with("the tasting at 12 months is due, since Sat 20 June"));
    let later = TastingAge { falls_on: "2026-07-03".parse().unwrap(), ..age };
    let said = tasting(&[later], today);
    assert_eq!((said.0.as_str(), said.1.as_str()), ("10", "days"));
    assert_eq!(tasting(&[age], today).2, "no tasting is to come");
    let told = super::ageing::Told::default();
    assert_eq!(age_row(&due, &[due], &told, today).state, "due");
}

#[test]
fn a_file_of_many_parts_has_every_row_of_its_list() {
    let cellar = Cellar::open();
    let names: Vec<String> = (0..203).map(|number| format!("=Jar {number:03}")).collect();
    let items: Vec<String> =
        names.iter().map(|name| cellar.item(name, "packaging", "piece", &json!({}))).collect();
    for some in items.chunks(70) {
        let line = |item: &String| {
            let quantity = json!({"amount": "12", "unit": "piece"});
            json!({"item": item, "quantity": quantity, "cost": "6", "place": cellar.place})
        };
        let lines: Vec<Value> = some.iter().map(line).collect();
        let heard = cellar.ask(Role::Cellarhand, "POST", "/receipts", &json!({"lines": lines}).to_string());
        assert_eq!(heard.status, 201, "{}", heard.body);
    }
    let file = cellar.page(Role::Onlooker, "/stores/stock.csv");
    let rows: Vec<Vec<&str>> = file.lines().map(|line| line.split(',').collect()).collect();
    assert_eq!(
        rows[0],
        [
            "item",
            "kind",
            "lot",
            "place",
            "quantity",
            "unit",
            "cost",
            "currency",
            "best_before",
            "received",
            "opened",
            "on_hold"
        ]
    );
    let stock = cellar.read("/stock");
    let lots = stock["lots"].as_array().unwrap();
    assert_eq!((rows.len() - 1, lots.len()), (203, 203));
    for (row, lot) in rows[1..].iter().zip(lots) {
        let name = format!("'{}", lot["item"]["name"].as_str().unwrap());
        assert_eq!(row[0], name, "what was typed is never run");
        assert_eq!((row[2], row[4], row[6]), (lot["lot"]["code"].as_str().unwrap(), "12", "6"));
    }
}

#[test]
fn of_many_readings_the_list_says_how_many_and_the_file_has_all() {
    let cellar = Cellar::open();
    let batch = cellar.whey_wine();
    let path = format!("/batches/{batch}/readings");
    let before = cellar.read(&path)["items"].as_array().unwrap().len();
    for minute in 0..201 {
        let at = (now() - chrono::Duration::minutes(500 - minute)).and_utc().to_rfc3339();
        let body = json!({"at": at, "kind": "temperature", "value": "18.5"});
        assert_eq!(cellar.ask(Role::Cellarhand, "POST", &path, &body.to_string()).status, 201);
    }
    let (mut found, mut after) = (0, String::new());
    loop {
        let part = cellar.read(&format!("{path}?limit=100{after}"));
        found += part["items"].as_array().unwrap().len();
        let Some(next) = part["next"].as_str() else { break };
        after = format!("&after={next}");
    }
    assert_eq!(found, before + 201, "part by part, each once");
    let batch_body = cellar.read(&format!("/batches/{batch}"));
    assert_eq!(batch_body["readings"].as_array().unwrap().len(), 200);
    assert_eq!((&batch_body["more_readings"], &batch_body["more_entries"]), (&json!(true), &json!(false)));
    let page = cellar.page(Role::Onlooker, &format!("/batches/{batch}"));
    assert!(page.contains("The latest readings") && page.contains("All readings"), "{page}");
    let list = cellar.page(Role::Onlooker, &format!("/batches/{batch}/readings"));
    assert!(list.contains(&format!("{} readings", before + 201)), "{list}");
    assert!(list.contains(&format!("/batches/{batch}/readings.csv")) && list.contains("Earlier readings"));
    let file = cellar.page(Role::Onlooker, &format!("/batches/{batch}/readings.csv"));
    assert_eq!(file.lines().count(), before + 202);
    assert!(file.starts_with("batch,at_utc,kind,value_at_20_celsius,"));
}
