//! What could be meant, but not by these books: more than there is, what has ended, what was taken back already. And
//! how people come in, who are told no more than they may know.

use serde_json::{Value, json};
use undercroft::actions::members::{Invitation, begin_set_up, invite};
use undercroft::domain::members::{Doer, Role, Steward};
use undercroft::web::extract::now;

use super::Server;
use super::bad_input::Stage;
use super::scene::{PASSWORD, Scene};
use super::values::amount;
use crate::ground::{Ground, findings, on_both};

on_both!(
    what_the_books_do_not_allow_is_refused,
    a_lot_past_its_day_is_drawn_with_a_reason_only,
    what_was_done_is_not_done_twice,
    people_come_in_by_what_they_know
);

/// A request of the API that the books or a rule refuse.
struct Case(String, Value, u16, &'static str, &'static str);

#[allow(clippy::too_many_lines, reason = "a table, a few lines a case")]
fn cases(s: &Scene) -> Vec<Case> {
    let c = &s.cellar;
    let batch = |what: &str| format!("/batches/{}/{what}", c.batch);
    let lot = |what: &str| format!("/lots/{}/{what}", c.milk_lot);
    let line = |quantity: Value| json!([{"lot": c.milk_lot, "quantity": quantity}]);
    let bottled = |bottles: u32, each: &str| {
        let each = amount(each, "L");
        json!({"day": "2026-06-02", "bottles": bottles, "bottle_volume": each, "place": c.place})
    };
    let mut packed = bottled(1, "0.75");
    packed["packaging"] = json!([{"item": s.corks, "quantity": "501"}]);
    let moved = |quantity: &str, from: Value, to: Value| {
        let quantity = amount(quantity, "L");
        json!({"quantity": quantity, "from": from, "to": to})
    };
    let much = amount("11", "L");
    let reason = "lees";
    let stale = json!({"day": "2026-03-12", "lines": [{"item": c.milk, "quantity": amount("1", "L"), "cost": "1",
        "place": c.place, "best_before": "2026-03-10"}]});
    let item = |name: &str, unit: &str| json!({"name": name, "kind": "ingredient", "unit": unit});
    let mut parts = item("Syrup", "g");
    (parts["sugar_g_per_kg"], parts["fat_g_per_kg"]) = (json!("700"), json!("700"));
    vec![
        Case(
            batch("draws"),
            json!({"lines": line(amount("900", "L"))}),
            409,
            "lines.0.quantity",
            "Only 10.0 L",
        ),
        Case(
            batch("draws"),
            json!({"day": "2026-02-01", "lines": line(amount("1", "L"))}),
            422,
            "day",
            "since",
        ),
        Case(batch("draws"), json!({"lines": []}), 422, "lines", "Choose what is drawn"),
        Case(
            batch("draws"),
            json!({"lines": [{"quantity": "1 L"}]}),
            422,
            "lines.0.item",
            "Choose what is drawn",
        ),
        Case(
            batch("draws"),
            json!({"lines": [line(amount("1", "L"))[0], line(amount("2", "L"))[0]]}),
            422,
            "lines.1.quantity",
            "stands here twice",
        ),
        Case(batch("losses"), json!({"volume": much, "reason": reason}), 409, "volume", "holds 10.0 L"),
        Case(batch("splits"), json!({"volume": much}), 409, "volume", "holds 10.0 L"),
        Case(batch("blends"), json!({"volume": much, "into": s.spare}), 409, "volume", "holds 10.0 L"),
        Case(
            batch("blends"),
            json!({"volume": amount("1", "L"), "into": c.batch}),
            422,
            "into",
            "another batch",
        ),
        Case(
            batch("by-products"),
            json!({"item": c.curds, "quantity": amount("11", "kg"), "place": c.place}),
            409,
            "quantity",
            "holds only 10.0 L",
        ),
        Case(
            batch("by-products"),
            json!({"item": c.yeast, "quantity": amount("1", "g"), "place": c.place}),
            422,
            "item",
            "is not a by-product",
        ),
        Case(batch("bottlings"), bottled(500, "0.75"), 409, "bottles", "holds 10.0 L"),
        Case(batch("bottlings"), bottled(1, "61"), 422, "bottle_volume", "what one bottle holds"),
        Case(batch("bottlings"), packed, 409, "packaging.0.quantity", "Only 500 pieces"),
        Case(batch("readings"), json!({"kind": "brix", "value": "12"}), 409, "kind", "hydrometer"),
        Case(batch("closing"), json!({}), 409, "", "still in batch"),
        Case(
            batch("losses"),
            json!({"day": "2026-02-01", "volume": "1 L", "reason": reason}),
            422,
            "day",
            "since",
        ),
        Case(
            format!("/batches/{}/losses", s.spare),
            json!({"volume": "1 L", "reason": reason}),
            409,
            "",
            "nothing yet",
        ),
        Case(format!("/entries/{}/reversal", c.draw), json!({"reason": "typo"}), 409, "", "stand in the way"),
        Case("/items".to_owned(), item("whole MILK", "mL"), 409, "name", "already"),
        Case("/items".to_owned(), parts, 422, "sugar_g_per_kg", "more than the whole"),
        Case("/places".to_owned(), json!({"name": "Cellar"}), 409, "name", "already"),
        Case(
            format!("/members/{}/payments", s.taster),
            json!({"way": "to-club", "amount": "0"}),
            422,
            "amount",
            "above zero",
        ),
        Case("/receipts".to_owned(), json!({"lines": []}), 422, "lines", "at least one line"),
        Case("/receipts".to_owned(), stale, 422, "lines.0.best_before", "had passed when it came"),
        Case(lot("moves"), moved("900", json!(c.place), json!(c.shelf)), 409, "quantity", "Only 10.0 L"),
        Case(lot("moves"), moved("1", json!(c.place), json!(c.place)), 422, "to", "another place"),
        Case(lot("moves"), moved("1", json!(c.shelf), json!(c.place)), 409, "from", "Nothing of this lot"),
        Case(
            lot("counts"),
            json!({"place": c.place, "counted": amount("10", "L"), "reason": "counted"}),
            422,
            "counted",
            "The books say",
        ),
        Case(
            format!("/bottlings/{}/withdrawals", c.bottled.bottling),
            json!({"bottles": 500, "reason": "gift"}),
            409,
            "bottles",
            "are only 20 left",
        ),
        Case(format!("/reminders/{}/undone", c.reminder), json!({}), 409, "", "still to do"),
        Case(format!("/reminders/{}/done", s.settled), json!({}), 409, "", "done already"),
    ]
}

async fn what_the_books_do_not_allow_is_refused(ground: &Ground) {
    let mut stage = Stage::open(ground).await;
    let before = stage.tally();
    for Case(path, body, status, field, says) in cases(&stage.own) {
        let heard = stage.house.send(&stage.own.token, "POST", &path, None, &body.to_string());
        let said = format!("{path} {body}: {} {}", heard.status, heard.body);
        assert_eq!(heard.status, status, "{said}");
        assert!(heard.kind.starts_with("application/problem+json"), "{said}");
        let faults = heard.json["errors"].as_array().cloned().unwrap_or_default();
        let tells = |fault: &Value| {
            fault["field"] == field && fault["message"].as_str().is_some_and(|message| message.contains(says))
        };
        assert!(faults.iter().any(tells), "“{says}” at “{field}” is not in {said}");
        assert_eq!(stage.tally(), before, "{path} {body} recorded something");
    }
    let other_unit = json!({"name": "Curds", "kind": "by-product", "unit": "mL"}).to_string();
    let path = format!("/items/{}", stage.own.cellar.curds);
    let heard = stage.house.send(&stage.own.token, "PUT", &path, None, &other_unit);
    assert!(heard.status == 409 && heard.body.contains("is counted in g"), "{}", heard.body);
    assert_eq!(findings(&stage.house.db).off, Vec::<String>::new());
    stage.house.close().await;
}

/// The item has a lot that was good until 10 March, which goes first; the other lot has no last day.
async fn a_lot_past_its_day_is_drawn_with_a_reason_only(ground: &Ground) {
    let mut stage = Stage::open(ground).await;
    let before = stage.tally();
    let s = &stage.own;
    let draws = format!("/batches/{}/draws", s.cellar.batch);
    let of = |key: &str, id: Value, why: &str| {
        let line = json!({key: id, "quantity": amount("1", "L"), "expired_because": why});
        json!({"day": "2026-06-02", "lines": [line]})
    };
    let sources = [("item", json!(s.cellar.milk)), ("lot", json!(s.stale_lot))];
    for (key, id) in &sources {
        for why in ["", "  "] {
            let heard =
                stage.house.send(&s.token, "POST", &draws, None, &of(key, id.clone(), why).to_string());
            assert_eq!(heard.status, 409, "{}", heard.body);
            assert_eq!(heard.json["errors"][0]["field"], "lines.0.expired_because", "{}", heard.body);
            assert!(heard.body.contains("was good until 10 March 2026"), "{}", heard.body);
        }
    }
    assert_eq!(stage.tally(), before);
    for (key, id) in sources {
        let body = of(key, id, "it smells of hay").to_string();
        let heard = stage.house.send(&stage.own.token, "POST", &draws, None, &body);
        assert_eq!(heard.status, 201, "{}", heard.body);
        let entry =
            stage.house.send(&stage.own.token, "GET", &format!("/entries/{}", heard.text("entry")), None, "");
        assert!(entry.body.contains("past its day: it smells of hay"), "the reason is kept: {}", entry.body);
    }
    stage.house.close().await;
}

async fn what_was_done_is_not_done_twice(ground: &Ground) {
    let mut stage = Stage::open(ground).await;
    let s = &stage.own;
    let reversal = format!("/entries/{}/reversal", s.cellar.bottled.entry);
    let strike = format!("/readings/{}/strike", s.cellar.reading);
    let closing = format!("/batches/{}/closing", s.spare);
    let done = format!("/reminders/{}/done", s.cellar.reminder);
    let member = format!("/members/{}", s.taster);
    for (method, path, says) in [
        ("POST", reversal, "has been reversed already"),
        ("POST", strike, "struck out already"),
        ("POST", closing, "reverse that first if it was a mistake"),
        ("POST", done, "done already"),
        ("DELETE", member, "has left the club already"),
    ] {
        let body =
            if path.ends_with("reversal") || path.ends_with("strike") { r#"{"reason":"slip"}"# } else { "" };
        let first = stage.house.send(&stage.own.token, method, &path, None, body);
        assert!(first.status < 300, "{path}: {} {}", first.status, first.body);
        let after = stage.tally();
        let again = stage.house.send(&stage.own.token, method, &path, None, body);
        assert_eq!(again.status, 409, "{path}: {}", again.body);
        assert!(again.body.contains(says), "{path}: {}", again.body);
        assert_eq!(stage.tally(), after, "{path} recorded something twice");
    }
    stage.house.close().await;
}

fn form(fields: &[(&str, &str)]) -> String {
    form_urlencoded::Serializer::new(String::new()).extend_pairs(fields).finish()
}

/// Setting up, an invitation, signing in, another password: what cannot be meant is said beside its field, nothing that
/// was typed but secrets is lost, and nobody comes in.
async fn people_come_in_by_what_they_know(ground: &Ground) {
    let db = ground.open();
    let link = begin_set_up(&db, now()).await.expect("a new database").expect("has nobody yet");
    let server = Server::start(&db);
    let (long, nul) = ("x".repeat(10_000), "Maren\0Holt");
    let founder: &[(&str, &str, &[&str])] = &[
        ("name", "Tidemill Cellar Club", &["", nul, &long]),
        ("currency", "EUR", &["", "EURO", "12", nul, &long]),
        ("time_zone", "Europe/Amsterdam", &["", "Atlantis/Port", nul, &long]),
        ("steward_name", "Maren Holt", &["", nul, &long]),
        ("steward_email", "maren@tidemill.example", &["", "maren", "a@b@c.example", nul, &long]),
        ("password", PASSWORD, &["", "short", nul, &long]),
    ];
    tries(&server, &format!("/set-up/{}", link.reveal()), founder);
    assert_eq!(server.submit("", "/set-up/nothing", "").status, 404);
    let scene = Scene::new(&db, "Quay Cellar").await;
    let host = Doer { now: now(), ..(*scene.cellar.club.steward).clone() };
    let invitation = Invitation::read("Ilse", Role::Taster).expect("an invitation");
    let host = Steward::from_doer(host).expect("a steward");
    let (_, link) = invite(&db, &host, None, invitation).await.expect("an invitation");
    let guest: &[(&str, &str, &[&str])] = &[
        ("name", "Ilse", &["", nul, &long]),
        ("email", "ilse@tidemill.example", &["", "ilse", nul, &long]),
        ("password", "a gannet over the weir", &["", "short", nul, &long]),
    ];
    tries(&server, &format!("/invitation/{}", link.reveal()), guest);
    assert_eq!(server.submit("", "/invitation/nothing", "").status, 404);
    let (email, wrong) = ("maren@quay-cellar.example", "high tide at the sluice");
    for (email, password) in
        [("", ""), (email, wrong), (nul, wrong), (&*long, &*long), ("nobody@x.example", nul)]
    {
        let heard = server.submit("", "/sign-in", &form(&[("email", email), ("password", password)]));
        assert_eq!(heard.status, 422, "{}", heard.body);
        assert!(heard.kind.starts_with("text/html"), "{}", heard.kind);
    }
    assert_eq!(server.submit("", "/sign-in", &form(&[("email", email), ("password", PASSWORD)])).status, 303);
    let page = server.open_page(&scene.session, "/me/password").body;
    let (_, rest) = page.split_once("name=\"form_token\" value=\"").expect("a form has its token");
    let token = rest.split('"').next().expect("the token ends");
    for (current, new) in
        [(wrong, PASSWORD), (PASSWORD, ""), (PASSWORD, "short"), (nul, nul), (PASSWORD, &*long)]
    {
        let fields = [("form_token", token), ("current_password", current), ("new_password", new)];
        let heard = server.submit(&scene.session, "/me/password", &form(&fields));
        assert_eq!(heard.status, 422, "{}", heard.body);
        assert!(new.len() < 20 || !heard.body.contains(new), "a password is never sent back");
    }
    let heard = server.submit(&scene.session, "/me/sessions/nothing/end", &form(&[("form_token", token)]));
    assert_eq!(heard.status, 404, "{}", heard.body);
    let heard = server.submit("nobody", "/sign-out", &form(&[("form_token", token)]));
    assert!(matches!(heard.status, 401 | 409), "a form of another session: {}", heard.body);
    assert_eq!(server.open_page(&scene.session, "/me").status, 200, "still signed in");
    server.end().await;
}

/// Each field with each of its wrong values, the others as they should be.
fn tries(server: &Server, path: &str, fields: &[(&str, &str, &[&str])]) {
    for (field, _, wrongs) in fields {
        for wrong in *wrongs {
            let sent: Vec<(&str, &str)> = fields
                .iter()
                .map(|(name, right, _)| (*name, if name == field { wrong } else { *right }))
                .collect();
            let heard = server.submit("", path, &form(&sent));
            assert_eq!(heard.status, 422, "{path} {field}: {}", heard.body);
            assert!(heard.kind.starts_with("text/html"), "{path} {field}: {}", heard.kind);
        }
    }
}
