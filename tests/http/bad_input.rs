//! Whatever is sent to whatever records, the answer says in plain words what, where and what to do: 4xx, never 500, and
//! nothing is recorded. A write route that `writes.rs` does not list fails here.

use std::collections::BTreeSet;

use serde_json::{Value, json};
use undercroft::db::AnyConn;
use undercroft::web::batches::task::Task;

use super::scene::Scene;
use super::tally::{Tally, tally};
use super::values::{Takes, Wrong};
use super::writes::{Write, all};
use super::{Heard, House};
use crate::ground::{Ground, findings, on_both};

on_both!(
    every_route_that_records_is_tried,
    no_field_takes_what_cannot_be_meant,
    what_is_not_here_is_not_told_from_what_is_anothers,
    what_cannot_be_read_is_refused,
    the_workbench_breaks_at_nothing,
    a_request_is_carried_out_once_and_a_comma_is_a_point
);

/// Routes for somebody who is not signed in or comes from a letter, and those that only end a session:
/// `people_who_come_in` tries them.
const ENTRANCES: [&str; 7] = [
    "/sign-in",
    "/sign-out",
    "/invitation/{secret}",
    "/set-up/{secret}",
    "/letters/{secret}",
    "/me/password",
    "/me/sessions/{id}/end",
];

/// Routes to which files are sent as they are: `bills` tries them.
const FILES: [&str; 2] = ["/entries/{id}/bills", "/api/v1/entries/{id}/bills"];

/// Questions that are worked out and not recorded: `the_workbench_breaks_at_nothing` tries them.
const WORKBENCH: &str = "/workbench/";

/// The server, with a cellar of the club that asks and one of another.
pub struct Stage {
    pub house: House,
    pub own: Scene,
    pub other: Scene,
    form_token: String,
    conn: AnyConn,
}

impl Stage {
    pub async fn open(ground: &Ground) -> Self {
        let house = House::open(ground).await;
        let own = Scene::new(&house.db, "Quay Cellar").await;
        let other = Scene::new(&house.db, "Other Cellar").await;
        let conn = house.db.connection().expect("a connection of its own");
        let mut stage = Self { house, own, other, form_token: String::new(), conn };
        stage.form_token = stage.token_of_forms();
        stage
    }

    /// Another club asks from now on, whose cellar is as it was made.
    pub async fn anew(&mut self, name: &str) {
        self.own = Scene::new(&self.house.db, name).await;
        self.form_token = self.token_of_forms();
    }

    fn token_of_forms(&self) -> String {
        let page = self.house.server.open_page(&self.own.session, "/me/password").body;
        let (_, rest) = page.split_once("name=\"form_token\" value=\"").expect("a form has its token");
        rest.split('"').next().unwrap_or_default().to_owned()
    }

    /// Sends a body as JSON, or as the fields of a form.
    pub fn send(&self, write: &Write, path: &str, body: &Value, key: Option<&str>) -> Heard {
        let text = if write.has_body() { body.to_string() } else { String::new() };
        self.send_text(write, path, &text, body, key)
    }

    fn send_text(&self, write: &Write, path: &str, text: &str, body: &Value, key: Option<&str>) -> Heard {
        if write.is_api() {
            let path = &path["/api/v1".len()..];
            return self.house.send(&self.own.token, write.route.0, path, key, text);
        }
        let mut form = form_urlencoded::Serializer::new(String::new());
        form.append_pair("form_token", &self.form_token);
        form.append_pair("request_key", key.unwrap_or_default());
        flatten("", body, &mut |name, text| {
            form.append_pair(name, text);
        });
        self.house.server.submit(&self.own.session, path, &form.finish())
    }

    /// The same; a server that has been asked too often is started again, as it forgets who asked.
    pub async fn insist(&mut self, write: &Write, path: &str, body: &Value, key: Option<&str>) -> Heard {
        let heard = self.send(write, path, body, key);
        if heard.status != 429 {
            return heard;
        }
        self.house.reopen().await;
        self.send(write, path, body, key)
    }

    pub fn tally(&mut self) -> Tally {
        tally(&mut self.conn)
    }
}

/// The fields of a form: a quantity as a page sends it, lists of values with commas between.
fn flatten(under: &str, value: &Value, each: &mut impl FnMut(&str, &str)) {
    let name = |part: &str| if under.is_empty() { part.to_owned() } else { format!("{under}.{part}") };
    match value {
        Value::Object(fields) => match (fields.get("amount"), fields.get("unit")) {
            (Some(amount), Some(Value::String(unit))) => each(under, &format!("{} {unit}", text(amount))),
            _ => fields.iter().for_each(|(part, value)| flatten(&name(part), value, each)),
        },
        Value::Array(rows) if rows.iter().any(Value::is_object) => {
            rows.iter().enumerate().for_each(|(at, row)| flatten(&name(&at.to_string()), row, each));
        }
        Value::Array(values) => each(under, &values.iter().map(text).collect::<Vec<_>>().join(", ")),
        Value::Bool(yes) => each(under, if *yes { "yes" } else { "no" }),
        other => each(under, &text(other)),
    }
}

fn text(value: &Value) -> String {
    value.as_str().map_or_else(|| value.to_string(), str::to_owned)
}

/// The body with another value in one field; none leaves it out.
pub fn with(body: &Value, path: &str, value: Option<Value>) -> Value {
    let mut body = body.clone();
    let (above, last) = path.rsplit_once('.').unwrap_or(("", path));
    let pointer = if above.is_empty() { String::new() } else { format!("/{}", above.replace('.', "/")) };
    let fields = body.pointer_mut(&pointer).and_then(Value::as_object_mut).expect("the fields of a body");
    match value {
        Some(value) => fields.insert(last.to_owned(), value),
        None => fields.remove(last),
    };
    body
}

fn shown(body: &Value) -> String {
    body.to_string().chars().take(400).collect()
}

/// What a refusal has to look like, on a page and from the API.
#[track_caller]
fn is_refused(write: &Write, said: &str, heard: &Heard, field: &str, says: &str) {
    let said = format!("{} {} {said}: {} {}", write.route.0, write.path, heard.status, heard.body);
    assert_eq!(heard.status, 422, "{said}");
    let words = heard.body.replace("&#39;", "'").replace("&quot;", "\"").replace("&#38;", "&");
    assert!(words.contains(says), "“{says}” is not in {said}");
    if write.is_api() {
        assert!(heard.kind.starts_with("application/problem+json"), "{}: {said}", heard.kind);
        let faults = heard.json["errors"].as_array().cloned().unwrap_or_default();
        let of = |fault: &Value| fault["field"].as_str().is_some_and(|found| found.starts_with(field));
        assert!(faults.iter().any(of), "no fault names {field}: {said}");
    } else {
        assert!(heard.kind.starts_with("text/html"), "{}: {said}", heard.kind);
    }
}

async fn every_route_that_records_is_tried(ground: &Ground) {
    let stage = Stage::open(ground).await;
    let listed: BTreeSet<_> = all(&stage.own).iter().map(|write| (write.route.0, write.route.1)).collect();
    let routes = undercroft::web::routes::table().routes;
    let there: BTreeSet<_> = routes
        .iter()
        .filter(|route| route.method != "GET" && !ENTRANCES.contains(&route.path.as_str()))
        .filter(|route| !FILES.contains(&route.path.as_str()))
        .filter(|route| {
            !route.path.starts_with(&format!("/api/v1{WORKBENCH}")) || route.path.ends_with("/batch")
        })
        .map(|route| (route.method.as_str(), route.path.as_str()))
        .collect();
    let missing: Vec<_> = there.difference(&listed).collect();
    let gone: Vec<_> = listed.difference(&there).collect();
    assert!(missing.is_empty() && gone.is_empty(), "not tried: {missing:?}; not there: {gone:?}");
    for task in Task::ALL {
        let end = format!("/{}", task.code());
        let tried = all(&stage.own).iter().any(|w| w.route.1.ends_with("{task}") && w.path.ends_with(&end));
        assert!(tried, "the task {task:?} is not tried");
    }
    stage.house.close().await;
}

async fn no_field_takes_what_cannot_be_meant(ground: &Ground) {
    let mut stage = Stage::open(ground).await;
    let before = stage.tally();
    let mut tried = 0;
    for write in all(&stage.own) {
        for field in &write.fields {
            let wrongs = field.takes.wrongs().into_iter().filter(|wrong| write.is_api() || !wrong.json_only);
            let left_out = field.needed.then_some(Wrong { value: Value::Null, says: "", json_only: false });
            for wrong in wrongs.chain(left_out) {
                let value = (!wrong.value.is_null()).then_some(wrong.value);
                let body = with(&write.body, field.path, value);
                let heard = stage.insist(&write, &write.path, &body, None).await;
                is_refused(&write, &shown(&body), &heard, field.path, wrong.says);
                assert_eq!(stage.tally(), before, "{} {} recorded something", write.path, shown(&body));
                tried += 1;
            }
        }
    }
    println!("{tried} requests with one field that cannot be meant: all refused, nothing recorded");
    assert_eq!(findings(&stage.house.db).off, Vec::<String>::new());
    stage.house.close().await;
}

/// Ids in the address and in the body: of another club, of nothing, and no id at all; the first two are answered alike.
async fn what_is_not_here_is_not_told_from_what_is_anothers(ground: &Ground) {
    let mut stage = Stage::open(ground).await;
    let before = stage.tally();
    let others = all(&stage.other);
    for (write, other) in all(&stage.own).iter().zip(&others) {
        if write.route.1.contains('{') {
            let mut answers = Vec::new();
            for path in [other.path.clone(), nowhere(write, other)] {
                let heard = stage.insist(write, &path, &write.body, None).await;
                assert_eq!(heard.status, 404, "{} {path}: {}", write.route.0, heard.body);
                answers.push(heard.json["detail"].clone());
            }
            assert_eq!(answers[0], answers[1], "{}", write.path);
            let heard = stage.insist(write, &no_id(write, other), &write.body, None).await;
            assert_eq!(heard.status, 404, "{} {}: {}", write.route.0, no_id(write, other), heard.body);
        }
        for field in write.fields.iter().filter(|field| matches!(field.takes, Takes::Id | Takes::Source)) {
            let pointer = format!("/{}", field.path.replace('.', "/"));
            let foreign = other.body.pointer(&pointer).and_then(Value::as_str).expect("an id in the body");
            let nothing = match foreign.split_once(':') {
                Some((kind, _)) => format!("{kind}:{NOTHING}"),
                None => NOTHING.to_owned(),
            };
            let mut answers = Vec::new();
            for id in [foreign, &nothing] {
                let body = with(&write.body, field.path, Some(json!(id)));
                let heard = stage.insist(write, &write.path, &body, None).await;
                let says = if field.path == "club" { "not a member" } else { "no such" };
                is_refused(write, &shown(&body), &heard, field.path, says);
                answers.push(heard.json["errors"].clone());
            }
            assert_eq!(answers[0], answers[1], "{} tells them apart by {}", write.path, field.path);
        }
        assert_eq!(stage.tally(), before, "{} recorded something", write.path);
    }
    stage.house.close().await;
}

/// An id of nothing.
const NOTHING: &str = "00000000000zz";

/// The address with an id of nothing in the place of each of its own.
fn nowhere(write: &Write, other: &Write) -> String {
    put_for_ids(write, other, NOTHING)
}

fn no_id(write: &Write, other: &Write) -> String {
    put_for_ids(write, other, "nothing")
}

/// The parts of an address that differ from club to club are its ids.
fn put_for_ids(write: &Write, other: &Write, id: &str) -> String {
    let parts = write.path.split('/').zip(other.path.split('/'));
    parts.map(|(own, other)| if own == other { own } else { id }).collect::<Vec<_>>().join("/")
}

/// Bodies that no route can read, each with the status that says so.
fn unreadable() -> Vec<(String, u16)> {
    let line = json!({"item": "x", "quantity": "1 kg"});
    let mut wide = serde_json::Map::new();
    wide.extend((0..5000).map(|at| (format!("f{at}"), json!(1))));
    vec![
        ("{".to_owned(), 400),
        ("{\"day\":}".to_owned(), 400),
        ("nonsense".to_owned(), 400),
        ("\u{feff}{}".to_owned(), 400),
        (format!("{}1{}", "[".repeat(5000), "]".repeat(5000)), 400),
        ("[1,2]".to_owned(), 422),
        ("null".to_owned(), 422),
        ("\"text\"".to_owned(), 422),
        (format!("{{\"remark\":{}1{}}}", "[".repeat(100), "]".repeat(100)), 422),
        ("{\"colour\":\"green\"}".to_owned(), 422),
        ("{\"lines\":\"many\",\"colour\":1}".to_owned(), 422),
        (Value::Object(wide).to_string(), 422),
        (json!({"lines": vec![line; 4000]}).to_string(), 422),
        (json!({"remark": "x".repeat(600_000)}).to_string(), 413),
    ]
}

async fn what_cannot_be_read_is_refused(ground: &Ground) {
    let mut stage = Stage::open(ground).await;
    let before = stage.tally();
    let line = json!({"item": "x", "quantity": "1 kg"});
    let many = json!({"lines": vec![line; 101]}).to_string();
    for write in all(&stage.own).iter().filter(|write| write.is_api() && write.has_body()) {
        for (body, status) in unreadable() {
            // A table may be longer than anything else.
            let table = write.path.ends_with("/tables") && status == 413;
            let status = if table { 422 } else { status };
            let send = |stage: &Stage| stage.send_text(write, &write.path, &body, &Value::Null, None);
            let mut heard = send(&stage);
            if heard.status == 429 {
                stage.house.reopen().await;
                heard = send(&stage);
            }
            is_a_problem(&heard, status, &write.path, &body);
        }
        if write.body.get("lines").is_some() {
            let heard = stage.send_text(write, &write.path, &many, &Value::Null, None);
            is_refused(write, "101 lines", &heard, "lines", "at most 100 lines at once; this has 101");
            assert!(!heard.body.contains("no field of this name"), "{}", heard.body);
        }
        assert_eq!(stage.tally(), before, "{} recorded something", write.path);
    }
    stage.house.close().await;
}

#[track_caller]
fn is_a_problem(heard: &Heard, status: u16, path: &str, body: &str) {
    let said: String = body.chars().take(60).collect();
    assert_eq!(heard.status, status, "{path} {said}: {}", heard.body);
    assert!(heard.kind.starts_with("application/problem+json"), "{path} {said}: {}", heard.kind);
}

/// The workbench records nothing; every question, with every field that the description of the API names, all the same.
async fn the_workbench_breaks_at_nothing(ground: &Ground) {
    let mut stage = Stage::open(ground).await;
    let before = stage.tally();
    let described = stage.house.get("/openapi.json").json;
    let mut tried = 0;
    for (path, methods) in described["paths"].as_object().expect("paths") {
        let Some(path) = path.strip_prefix("/api/v1").filter(|path| path.starts_with(WORKBENCH)) else {
            continue;
        };
        for (body, status) in unreadable() {
            let heard = stage.house.send(&stage.own.token, "POST", path, None, &body);
            is_a_problem(&heard, status, path, &body);
        }
        let schema = &methods["post"]["requestBody"]["content"]["application/json"]["schema"];
        let named = schema["$ref"].as_str().and_then(|named| named.strip_prefix('#'));
        let schema = named.and_then(|named| described.pointer(named)).unwrap_or(schema);
        for field in schema["properties"].as_object().expect("each field is described").keys() {
            for value in [
                json!("1\0"),
                json!("9".repeat(10_000)),
                json!("NaN"),
                json!("-1"),
                json!(-1e300),
                json!(1e300),
                json!("999999999999999999 L"),
                json!("\u{202e}\n\n"),
                json!({"a": {"b": []}}),
                json!([null, 7, {}]),
            ] {
                let body = json!({field: value}).to_string();
                let heard = stage.house.send(&stage.own.token, "POST", path, None, &body);
                let said = format!("{path} {}: {}", shown(&json!(body)), heard.body);
                assert!(heard.status == 422 || heard.status == 200, "{} {said}", heard.status);
                tried += 1;
            }
        }
    }
    assert!(tried > 500, "only {tried} values of fields");
    assert_eq!(stage.tally(), before, "the workbench recorded something");
    stage.house.close().await;
}

/// With one key: the same again gives the same answer, also where a number is written in another way; another command
/// is refused.
async fn a_request_is_carried_out_once_and_a_comma_is_a_point(ground: &Ground) {
    let mut stage = Stage::open(ground).await;
    for at in 0..all(&stage.own).len() {
        stage.anew(&format!("Cellar {at}")).await;
        let write = all(&stage.own).swap_remove(at);
        let first = stage.insist(&write, &write.path, &write.body, Some("key-0")).await;
        assert!(first.status < 400, "{} {}: {} {}", write.route.0, write.path, first.status, first.body);
        let after = stage.tally();
        let leaves = ["/me/leave", "/me/club"].contains(&write.route.1);
        if !write.keyed || leaves {
            continue;
        }
        let again = stage.insist(&write, &write.path, &write.body, Some("key-0")).await;
        same(&write, &first, &again);
        if let Some((path, value)) = &write.other {
            let body = with(&write.body, path, Some(value.clone()));
            let heard = stage.insist(&write, &write.path, &body, Some("key-0")).await;
            is_refused(&write, "with the same key", &heard, "request_key", "sent before with other content");
        }
        assert_eq!(stage.tally(), after, "{} was carried out twice", write.path);
        numbers(&mut stage, &write).await;
    }
    assert_eq!(findings(&stage.house.db).off, Vec::<String>::new());
    stage.house.close().await;
}

/// In every field with a decimal number: "1.5", "1,5" and 1.5 are the same command.
async fn numbers(stage: &mut Stage, write: &Write) {
    // A step is done once.
    let fields = if write.path.ends_with("/steps/4") || write.path.ends_with("/done") {
        &[]
    } else {
        &write.fields[..]
    };
    for (nr, field) in fields.iter().enumerate() {
        let Some(decimal) = field.takes.decimal() else { continue };
        let key = format!("key-{}", nr + 1);
        let mut heard: Vec<Heard> = Vec::new();
        for way in decimal.ways() {
            let mut body = with(&write.body, field.path, Some(way));
            if ["/items", "/batches", "/instruments"].iter().any(|end| write.path.ends_with(end)) {
                body["name"] = json!(format!("Name {nr}"));
            }
            if write.path.ends_with("/vessels") {
                body["code"] = json!(format!("N{}", 2 + nr));
            }
            let now = stage.insist(write, &write.path, &body, Some(&key)).await;
            assert!(now.status < 400, "{} {}: {} {}", write.path, shown(&body), now.status, now.body);
            heard.push(now);
        }
        same(write, &heard[0], &heard[1]);
        same(write, &heard[0], &heard[2]);
    }
}

/// Secrets are shown once: the same request again gives another, of the same thing.
#[track_caller]
fn same(write: &Write, first: &Heard, again: &Heard) {
    assert_eq!((first.status, &first.location), (again.status, &again.location), "{}", write.path);
    if write.path.ends_with("/invitations") || write.path.ends_with("/link") {
        assert_eq!(first.json["id"], again.json["id"], "{}", write.path);
    } else if write.is_api() {
        assert_eq!(first.body, again.body, "{}", write.path);
    }
}
