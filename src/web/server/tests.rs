//! The real server on a free port, with a club in it.

use std::net::TcpListener;
use std::path::PathBuf;
use std::sync::mpsc;
use std::thread::JoinHandle;

use actix_web::dev::ServerHandle;
use actix_web::rt::System;
use serde_json::Value;
use ureq::Agent;
use ureq::http::{HeaderMap, Request};

use super::*;
use crate::actions::members::{self as members, Invitation, NewToken, Visitor};
use crate::db::connection::Address;
use crate::domain::members::{NewClub, NewPerson, Onlooker, Password, Role, Scope, Steward};
use crate::web::extract::now;
use crate::web::site::form_token;
use crate::web::table::Route;

pub(in crate::web) const PASSWORD: &str = "wheel pit at low tide";

pub(in crate::web) struct House {
    at: String,
    pub(in crate::web) db: Database,
    folder: PathBuf,
    handle: ServerHandle,
    thread: Option<JoinHandle<io::Result<()>>>,
    agent: Agent,
}

pub(in crate::web) struct Heard {
    pub(in crate::web) status: u16,
    headers: HeaderMap,
    pub(in crate::web) body: String,
}

impl Heard {
    pub(in crate::web) fn header(&self, name: &str) -> &str {
        self.headers.get(name).map_or("", |value| value.to_str().unwrap())
    }

    fn json(&self) -> Value {
        serde_json::from_str(&self.body).unwrap()
    }
}

impl House {
    pub(in crate::web) fn open(base: &str) -> Self {
        let folder = std::env::temp_dir().join(format!("undercroft-web-{:016x}", getrandom::u64().unwrap()));
        std::fs::create_dir(&folder).unwrap();
        let db = Database::open(&Address::Sqlite(folder.join("cellar.db"))).unwrap();
        let listener = TcpListener::bind("127.0.0.1:0").unwrap();
        let address = listener.local_addr().unwrap();
        let settings = Settings { base: base.to_owned(), workers: 2, ..Settings::on(address) };
        let (say, hear) = mpsc::channel();
        let cellar = db.clone();
        let thread = std::thread::spawn(move || {
            System::new().block_on(async {
                let server = serve_on(listener, cellar, settings).unwrap();
                say.send(server.handle()).unwrap();
                server.await
            })
        });
        let handle = hear.recv().unwrap();
        let config = Agent::config_builder().http_status_as_error(false).max_redirects(0).build();
        let agent = Agent::new_with_config(config);
        Self { at: format!("http://{address}{base}"), db, folder, handle, thread: Some(thread), agent }
    }

    pub(in crate::web) fn ask(
        &self,
        method: &str,
        path: &str,
        headers: &[(&str, &str)],
        body: &str,
    ) -> Heard {
        let mut request = Request::builder().method(method).uri(format!("{}{path}", self.at));
        for (name, value) in headers {
            request = request.header(*name, *value);
        }
        let mut answer = self.agent.run(request.body(body.to_owned()).unwrap()).unwrap();
        // A PDF is no text.
        let body = String::from_utf8_lossy(&answer.body_mut().read_to_vec().unwrap()).into_owned();
        Heard { status: answer.status().as_u16(), headers: answer.headers().clone(), body }
    }

    pub(in crate::web) fn get(&self, path: &str) -> Heard {
        self.ask("GET", path, &[], "")
    }

    /// A club with a member of each role; each with the secret of a session and a token that records.
    pub(in crate::web) fn found(&self) -> Vec<(Role, String, String)> {
        System::new().block_on(async {
            let steward = NewPerson::read("Maren Holt", "maren@example.org", PASSWORD);
            let club = NewClub::read("Tidemill Cellar Club", "EUR", "Europe/Amsterdam", steward).unwrap();
            members::found_club(&self.db, club, now()).await.unwrap();
            let visitor = Visitor { device: String::new(), address: "127.0.0.1".to_owned(), now: now() };
            let password = Password::new(PASSWORD);
            let (secret, _) =
                members::sign_in(&self.db, "maren@example.org", &password, &visitor).await.unwrap();
            let mut secrets = vec![(Role::Steward, secret.reveal().to_owned())];
            let found =
                members::doer_of_session(&self.db, secret.reveal(), "", now()).await.unwrap().unwrap();
            let steward = Steward::from_doer(found).unwrap();
            for role in [Role::Cellarhand, Role::Taster, Role::Onlooker] {
                let invitation = Invitation::read(role.name(), role).unwrap();
                let (_, link) = members::invite(&self.db, &steward, None, invitation).await.unwrap();
                let person =
                    NewPerson::read(role.name(), &format!("{}@example.org", role.name()), PASSWORD).unwrap();
                let joined =
                    members::accept_invitation(&self.db, link.reveal(), person, &visitor).await.unwrap();
                secrets.push((role, joined.0.reveal().to_owned()));
            }
            let mut found = Vec::new();
            for (role, secret) in secrets {
                let token = self.token(&secret, Scope::Write).await;
                found.push((role, secret, token));
            }
            found
        })
    }

    async fn token(&self, secret: &str, scope: Scope) -> String {
        let doer = members::doer_of_session(&self.db, secret, "", now()).await.unwrap().unwrap();
        let new = NewToken::read("a script", scope, 30).unwrap();
        let (_, token) =
            members::new_token(&self.db, &Onlooker::from_doer(doer).unwrap(), None, new).await.unwrap();
        token.reveal().to_owned()
    }
}

impl Drop for House {
    fn drop(&mut self) {
        System::new().block_on(self.handle.stop(true));
        if let Some(thread) = self.thread.take() {
            let _ = thread.join();
        }
        let _ = std::fs::remove_dir_all(&self.folder);
    }
}

pub(in crate::web) const FORM: (&str, &str) = ("content-type", "application/x-www-form-urlencoded");
const JSON: (&str, &str) = ("content-type", "application/json");

#[test]
fn it_says_that_it_is_alive_and_ready_and_what_it_counted() {
    let house = House::open("");
    assert_eq!(house.get("/healthz").body, "alive\n");
    assert_eq!(house.get("/readyz").body, "ready\n");
    assert!(
        house.get("/metrics").body.contains("undercroft_requests_total{group=\"health\",status=\"2xx\"} 2")
    );
    let through_a_proxy = house.ask("GET", "/metrics", &[("x-forwarded-for", "127.0.0.1")], "");
    assert_eq!(through_a_proxy.status, 404);
}

#[test]
fn every_answer_keeps_browsers_strict_and_caches_empty() {
    let house = House::open("");
    for path in ["/healthz", "/nowhere", "/api/v1/places", "/stores/places", "/static/undercroft.css"] {
        let heard = house.get(path);
        assert!(heard.header("content-security-policy").starts_with("default-src 'none';"), "{path}");
        assert_eq!(heard.header("x-content-type-options"), "nosniff", "{path}");
        assert_eq!(heard.header("referrer-policy"), "same-origin", "{path}");
        let kept = path.starts_with("/static");
        assert_eq!(heard.header("cache-control") == "no-store", !kept, "{path}");
    }
}

#[test]
fn style_and_script_are_kept_until_they_change() {
    let house = House::open("/cellar");
    let page = house.get("/nowhere").body;
    let (_, rest) = page.split_once("href=\"/cellar/static/undercroft.css?v=").unwrap();
    let version = rest.split('"').next().unwrap();
    let heard = house.get(&format!("/static/undercroft.css?v={version}"));
    assert_eq!((heard.status, heard.header("content-type")), (200, "text/css; charset=utf-8"));
    assert!(heard.header("cache-control").contains("immutable"));
    let again = house.ask("GET", "/static/undercroft.css", &[("if-none-match", heard.header("etag"))], "");
    assert_eq!((again.status, again.body.as_str()), (304, ""));
    assert!(!again.header("cache-control").contains("immutable"));
}

#[test]
fn it_works_under_a_path_and_says_so_in_every_address() {
    let house = House::open("/cellar");
    let heard = house.get("");
    assert_eq!((heard.status, heard.header("location")), (308, "/cellar/"));
    let heard = house.get("/stores/places?after=1");
    assert_eq!(
        (heard.status, heard.header("location")),
        (303, "/cellar/sign-in?next=%2Fstores%2Fplaces%3Fafter%3D1")
    );
    let problem = house.get("/api/v1/places").json();
    assert_eq!(problem["type"], "/cellar/api/v1/problems/signed-out");
    assert_eq!(house.get("/api/v1/openapi.json").json()["servers"][0]["url"], "/cellar");
}

#[test]
fn what_is_not_there_or_not_taken_is_said_as_a_page_and_as_problem_details() {
    let house = House::open("");
    let heard = house.get("/nowhere");
    assert_eq!((heard.status, heard.header("content-type")), (404, "text/html; charset=utf-8"));
    assert!(heard.body.contains("<h1>There is nothing here</h1>"));
    let heard = house.get("/api/v1/nowhere");
    assert_eq!((heard.status, heard.header("content-type")), (404, "application/problem+json"));
    assert_eq!(
        (&heard.json()["status"], &heard.json()["errors"]),
        (&Value::from(404), &serde_json::json!([]))
    );
    let heard = house.ask("DELETE", "/stores/places", &[], "");
    assert_eq!((heard.status, heard.header("allow")), (405, "GET, POST"));
    let heard = house.ask("DELETE", "/api/v1/places", &[], "");
    assert_eq!((heard.status, heard.json()["title"].as_str()), (405, Some("This cannot be done here")));
    let kind = house.get(heard.json()["type"].as_str().unwrap());
    assert_eq!((kind.status, &kind.json()["title"]), (200, &heard.json()["title"]));
    let heard = house.ask("HEAD", "/healthz", &[], "");
    assert_eq!((heard.status, heard.body.as_str()), (200, ""));
}

#[test]
fn a_form_is_shown_sent_shown_again_and_recorded_once() {
    let house = House::open("");
    let hand = &house.found()[1].1;
    let cookie = ("cookie", &*format!("other=1; undercroft={hand}"));
    let page = house.ask("GET", "/stores/places/new", &[cookie], "").body;
    assert!(page.contains("<title>A new place · Tidemill Cellar Club</title>"), "{page}");
    let hidden = |page: &str, name: &str| {
        let (_, rest) = page.split_once(&format!("name=\"{name}\" value=\"")).unwrap();
        rest.split('"').next().unwrap().to_owned()
    };
    let (token, key) = (hidden(&page, "form_token"), hidden(&page, "request_key"));
    let send = |body: &str| house.ask("POST", "/stores/places", &[cookie, FORM], body);
    let refused = send(&format!("form_token={token}&request_key={key}&name=&within=zzz"));
    assert_eq!(refused.status, 422);
    assert!(
        refused.body.contains("There is a problem")
            && refused.body.contains("href=\"#name\">Write a name</a>")
    );
    assert_eq!(hidden(&refused.body, "request_key"), key);
    let filled = format!("form_token={token}&request_key={key}&name=Cold+store&within=");
    for _ in 0..2 {
        let done = send(&filled);
        assert_eq!((done.status, done.header("location")), (303, "/stores/places"));
    }
    let places = house.ask("GET", "/stores/places", &[cookie], "").body;
    assert_eq!(places.matches("<span>Cold store</span>").count(), 1);
    let changed = send(&filled.replace("Cold+store", "Warm+store"));
    assert!(changed.body.contains("This form was sent before with other content"));
}

#[test]
fn a_form_from_an_earlier_session_is_offered_again_and_one_from_elsewhere_is_not_taken() {
    let house = House::open("");
    let hand = &house.found()[1].1;
    let cookie = ("cookie", &*format!("undercroft={hand}"));
    let body = "form_token=0123456789abcdef&request_key=0123456789&name=Loft&within=";
    let heard = house.ask("POST", "/stores/places", &[cookie, FORM], body);
    assert_eq!(heard.status, 409);
    assert!(heard.body.contains("<input type=\"hidden\" name=\"name\" value=\"Loft\">"));
    let (_, rest) = heard.body.split_once("name=\"form_token\" value=\"").unwrap();
    let sent = body.replace("0123456789abcdef", rest.split('"').next().unwrap());
    for foreign in
        [("sec-fetch-site", "cross-site"), ("origin", "http://elsewhere.example"), ("origin", "null")]
    {
        let heard = house.ask("POST", "/stores/places", &[cookie, FORM, foreign], &sent);
        assert_eq!(heard.status, 403, "{foreign:?}");
    }
    assert_eq!(house.ask("POST", "/stores/places", &[cookie, FORM], &sent).status, 303);
    assert_eq!(house.ask("POST", "/stores/places", &[FORM], &sent).status, 401);
    assert_eq!(house.ask("POST", "/stores/places", &[cookie], &sent).status, 415);
}

#[test]
fn a_program_records_with_a_token_and_the_same_key_records_once() {
    let house = House::open("");
    let (_, secret, token) = &house.found()[1];
    let bearer = ("authorization", &*format!("Bearer {token}"));
    let send = |key: &str, body: &str| {
        house.ask("POST", "/api/v1/places", &[bearer, JSON, ("idempotency-key", key)], body)
    };
    let first = send("key-number-1", r#"{"name":"Cold store"}"#);
    assert_eq!(first.status, 201, "{}", first.body);
    assert_eq!(send("\"key-number-1\"", r#"{"name":"Cold store"}"#).json(), first.json());
    let changed = send("key-number-1", r#"{"name":"Warm store"}"#);
    assert_eq!((changed.status, changed.json()["errors"][0]["field"].as_str()), (422, Some("request_key")));
    let twice = send("key-number-2", r#"{"name":"Cold store"}"#);
    assert_eq!((twice.status, twice.json()["type"].as_str()), (409, Some("/api/v1/problems/conflict")));
    assert_eq!(send("two words", r#"{"name":"Loft"}"#).status, 400);
    let list = house.ask("GET", "/api/v1/places", &[bearer], "").json();
    assert_eq!(list["items"].as_array().unwrap().len(), 1);
    assert_eq!(list["items"][0]["id"], first.json()["id"]);
    let reads = System::new().block_on(house.token(secret, Scope::Read));
    let reads = ("authorization", &*format!("bearer {reads}"));
    assert_eq!(house.ask("GET", "/api/v1/places", &[reads], "").status, 200);
    let heard = house.ask("POST", "/api/v1/places", &[reads, JSON], r#"{"name":"Loft"}"#);
    assert_eq!(heard.status, 403);
    // The session of a browser opens no door here, nor a token on a page.
    let cookie = ("cookie", &*format!("undercroft={secret}"));
    let heard = house.ask("GET", "/api/v1/places", &[cookie], "");
    assert_eq!((heard.status, heard.header("www-authenticate")), (401, "Bearer"));
    assert_eq!(house.ask("GET", "/stores/places", &[bearer], "").status, 303);
}

#[test]
fn whatever_a_program_sends_it_is_told_what_to_send() {
    let house = House::open("");
    let token = &house.found()[1].2;
    let bearer = ("authorization", &*format!("Bearer {token}"));
    let huge = format!(r#"{{"name":"{}"}}"#, "x".repeat(300_000));
    let deep = format!("{}{}", "[".repeat(5000), "]".repeat(5000));
    let nested = r#"{"name":{"a":{"b":{"c":{"d":{"e":{"f":{"g":1}}}}}}}}"#;
    for (body, status, field) in [
        ("{\"name\":", 400, None),
        ("{\"name\":\"x\",}", 400, None),
        ("\u{0}", 400, None),
        (&deep, 400, None),
        (&huge, 413, None),
        ("[1]", 422, Some("")),
        (nested, 422, Some("name.a.b.c.d.e.f")),
        ("{\"name\":\"x\\u0000\"}", 422, Some("name")),
        ("{\"name\":{\"first\":\"x\"}}", 422, Some("name")),
        ("{\"name\":\"x\",\"colour\":\"red\"}", 422, Some("colour")),
        ("{\"name\":\"x\",\"within\":7}", 422, Some("within")),
        ("", 422, Some("name")),
    ] {
        let heard = house.ask("POST", "/api/v1/places", &[bearer, JSON], body);
        let shown = &body[..body.len().min(40)];
        assert_eq!(heard.status, status, "{shown}: {}", heard.body);
        assert_eq!(heard.header("content-type"), "application/problem+json", "{shown}");
        let told = heard.json();
        assert_eq!(told["errors"][0]["field"].as_str(), field, "{shown}: {told}");
        assert!(!told["detail"].as_str().unwrap().to_lowercase().contains("invalid"), "{told}");
    }
    let heard =
        house.ask("POST", "/api/v1/places", &[bearer, ("content-type", "text/plain")], "{\"name\":\"x\"}");
    assert_eq!(heard.status, 415);
    let heard =
        house.ask("POST", "/api/v1/places", &[bearer, JSON], "{\"name\":\"x\",\"within\":\"0000000000001\"}");
    assert_eq!((heard.status, heard.json()["errors"][0]["field"].as_str()), (422, Some("within")));
}

#[test]
fn a_large_page_is_sent_small() {
    let house = House::open("");
    let heard = house.ask("HEAD", "/static/undercroft.css", &[("accept-encoding", "gzip")], "");
    assert_eq!(heard.header("content-encoding"), "gzip");
    assert!(heard.header("vary").contains("accept-encoding"));
}

/// Every route, asked for by nobody and by each role. Ids are of nothing, so that nothing is done; what ends the
/// sender's own session has a house to itself.
#[test]
fn a_route_answers_nobody_below_its_rank() {
    let ends = |route: &Route| ["/sign-out", "/me/leave"].contains(&&*route.path);
    let (last, others): (Vec<_>, Vec<_>) = routes::table().routes.into_iter().partition(ends);
    walk(&others);
    last.chunks(1).for_each(walk);
}

fn walk(routes: &[Route]) {
    let house = House::open("");
    let people = house.found();
    for route in routes {
        let path =
            route.path.split('/').map(|part| if part.starts_with('{') { "0000000000001" } else { part });
        let path = path.collect::<Vec<_>>().join("/");
        let (method, api) = (route.method.as_str(), path.starts_with("/api/"));
        let kind = if api { JSON } else { FORM };
        let nobody = house.ask(method, &path, &[kind], "").status;
        let turned_away = if api || method != "GET" { 401 } else { 303 };
        assert_eq!(nobody == turned_away, route.least.is_some(), "{method} {path} as nobody: {nobody}");
        for (role, secret, token) in &people {
            let cookie = ("cookie", &*format!("undercroft={secret}"));
            let bearer = ("authorization", &*format!("Bearer {token}"));
            let body = if api { String::new() } else { format!("form_token={}", form_token(secret)) };
            let status = house.ask(method, &path, &[kind, cookie, bearer], &body).status;
            let below = route.least.is_some_and(|least| *role < least);
            assert_eq!(status == 403, below, "{method} {path} as {}: {status}", role.name());
            assert!(status != 401 && status < 500, "{method} {path} as {}: {status}", role.name());
        }
    }
}

#[test]
fn no_route_stands_in_the_table_twice() {
    let routes = routes::table().routes;
    for (at, route) in routes.iter().enumerate() {
        let twice = |other: &&Route| other.method == route.method && other.path == route.path;
        assert_eq!(routes[..at].iter().find(twice), None);
    }
}

#[test]
fn the_description_follows_from_the_handlers() {
    let described: Value = serde_json::from_str(&routes::described().written("")).unwrap();
    assert_eq!(described["openapi"], "3.1.0");
    let post = &described["paths"]["/api/v1/places"]["post"];
    assert_eq!(
        post["requestBody"]["content"]["application/json"]["schema"]["$ref"],
        "#/components/schemas/NewPlace"
    );
    assert_eq!(
        post["responses"]["201"]["content"]["application/json"]["schema"]["$ref"],
        "#/components/schemas/Place"
    );
    assert_eq!(post["parameters"][0]["name"], "Idempotency-Key");
    assert!(post["description"].as_str().unwrap().contains("cellarhand"));
    for name in ["NewPlace", "Place", "Problem", "FieldFault"] {
        assert!(described["components"]["schemas"][name].is_object(), "{name}");
    }
    for operation in
        described["paths"].as_object().unwrap().values().flat_map(|path| path.as_object().unwrap().values())
    {
        assert!(
            operation["responses"]["default"]["content"]["application/problem+json"].is_object(),
            "{operation}"
        );
    }
}

#[test]
fn stopping_finishes_what_is_under_way() {
    use std::io::{Read as _, Write as _};
    let house = House::open("");
    let address = house.at.trim_start_matches("http://").to_owned();
    let token = house.found().swap_remove(1).2;
    let body = r#"{"name":"Cold store"}"#;
    let mut socket = std::net::TcpStream::connect(&address).unwrap();
    let head = format!(
        "POST /api/v1/places HTTP/1.1\r\nhost: {address}\r\nauthorization: Bearer {token}\r\n\
         content-type: application/json\r\ncontent-length: {}\r\nconnection: close\r\n\r\n",
        body.len()
    );
    socket.write_all(head.as_bytes()).unwrap();
    std::thread::sleep(Duration::from_millis(200));
    let handle = house.handle.clone();
    let stopping = std::thread::spawn(move || System::new().block_on(handle.stop(true)));
    std::thread::sleep(Duration::from_millis(200));
    socket.write_all(body.as_bytes()).unwrap();
    let mut answer = String::new();
    socket.read_to_string(&mut answer).unwrap();
    assert!(answer.starts_with("HTTP/1.1 201"), "{answer}");
    stopping.join().unwrap();
    assert!(std::net::TcpStream::connect(&address).is_err());
}

#[test]
fn cookies_are_bound_to_tls_wherever_others_can_listen() {
    let near = Settings::on("127.0.0.1:8080".parse().unwrap());
    let far = Settings::on("0.0.0.0:8080".parse().unwrap());
    assert!(!near.over_tls() && far.over_tls());
    assert!(!Settings { plain_http: true, ..far.clone() }.over_tls());
    let public = Settings { public: Some("https://cellar.example.org".to_owned()), ..near.clone() };
    assert_eq!(public.cookie_name(), "__Host-undercroft");
    assert_eq!(near.cookie_name(), "undercroft");
    assert_eq!(near.origin(), "http://127.0.0.1:8080");
}
