//! What a program or a person can do over HTTP, against the real server with its own database, on both databases.

mod bad_input;
mod described;
mod foreign;
mod main_job;
mod workbench;

use std::net::TcpListener;
use std::sync::mpsc;
use std::thread::JoinHandle;

use actix_web::dev::ServerHandle;
use actix_web::rt::System;
use serde_json::Value;
use undercroft::actions::members::{self, Invitation, NewToken, Visitor};
use undercroft::db::Database;
use undercroft::domain::members::{Doer, NewPerson, Onlooker, Role, Scope, Steward};
use undercroft::web::extract::now;
use undercroft::web::server::{Settings, serve_on};
use ureq::Agent;
use ureq::http::Request;

use crate::ground::{Club, Ground, club};

/// The real server on a free port, with one club in it.
pub struct House {
    at: String,
    /// Its database.
    pub db: Database,
    /// The club.
    pub club: Club,
    /// A token of its cellarhand.
    pub token: String,
    handle: ServerHandle,
    thread: Option<JoinHandle<std::io::Result<()>>>,
    agent: Agent,
}

/// What was answered.
#[derive(Debug)]
pub struct Heard {
    /// The status.
    pub status: u16,
    /// The media type.
    pub kind: String,
    /// The body as it came.
    pub body: String,
    /// The body, where it is JSON.
    pub json: Value,
}

impl Heard {
    /// A text of the answer, by name.
    pub fn text(&self, name: &str) -> String {
        self.json[name].as_str().unwrap_or_else(|| panic!("no “{name}” in {}", self.body)).to_owned()
    }
}

impl House {
    /// Opens it on this ground.
    pub async fn open(ground: &Ground) -> Self {
        let db = ground.open();
        let club = club(&db, "Tidemill Cellar Club").await;
        let token = token(&db, &club).await;
        let listener = TcpListener::bind("127.0.0.1:0").expect("a free port");
        let address = listener.local_addr().expect("its address");
        let settings = Settings { workers: 2, ..Settings::on(address) };
        let (say, hear) = mpsc::channel();
        let cellar = db.clone();
        let thread = std::thread::spawn(move || {
            System::new().block_on(async {
                let server = serve_on(listener, cellar, settings).expect("the server starts");
                say.send(server.handle()).expect("the test waits for it");
                server.await
            })
        });
        let handle = hear.recv().expect("the server runs");
        let config = Agent::config_builder().http_status_as_error(false).max_redirects(0).build();
        let agent = Agent::new_with_config(config);
        Self { at: format!("http://{address}/api/v1"), db, club, token, handle, thread: Some(thread), agent }
    }

    /// Sends a request with a token and a body as it is.
    pub fn send(&self, token: &str, method: &str, path: &str, key: Option<&str>, body: &str) -> Heard {
        let mut request = Request::builder()
            .method(method)
            .uri(format!("{}{path}", self.at))
            .header("Authorization", format!("Bearer {token}"));
        if method != "GET" {
            request = request.header("Content-Type", "application/json");
        }
        if let Some(key) = key {
            request = request.header("Idempotency-Key", key);
        }
        let mut answer =
            self.agent.run(request.body(body.to_owned()).expect("a request")).expect("the server answers");
        let kind =
            answer.headers().get("content-type").and_then(|kind| kind.to_str().ok()).unwrap_or_default();
        let kind = kind.to_owned();
        let status = answer.status().as_u16();
        let body = answer.body_mut().read_to_string().expect("text");
        let json = serde_json::from_str(&body).unwrap_or(Value::Null);
        Heard { status, kind, body, json }
    }

    /// Reads as the cellarhand.
    pub fn get(&self, path: &str) -> Heard {
        let heard = self.send(&self.token, "GET", path, None, "");
        assert_eq!(heard.status, 200, "GET {path}: {}", heard.body);
        heard
    }

    /// Records as the cellarhand.
    pub fn post(&self, path: &str, body: &Value) -> Heard {
        let heard = self.send(&self.token, "POST", path, None, &body.to_string());
        assert_eq!(heard.status, 201, "POST {path}: {}", heard.body);
        heard
    }

    /// The cookie of a new cellarhand's session.
    pub async fn sign_in(&self) -> String {
        let hand = Invitation::read("Famke", Role::Cellarhand).expect("an invitation");
        let steward = Steward::from_doer(Doer { now: now(), ..(*self.club.steward).clone() });
        let steward = steward.expect("Marit is steward");
        let (_, link) = members::invite(&self.db, &steward, None, hand).await.expect("she invites");
        let person = NewPerson::read("Famke", "famke@tidemill.example", "wheel pit at low tide");
        let visitor = Visitor { device: String::new(), address: "127.0.0.1".to_owned(), now: now() };
        let person = person.expect("a person");
        let joined = members::accept_invitation(&self.db, link.reveal(), person, &visitor).await;
        format!("undercroft={}", joined.expect("Famke joins").0.reveal())
    }

    /// Asks for a page with a cookie.
    pub fn page(&self, cookie: &str, path: &str) -> Heard {
        let at = self.at.trim_end_matches("/api/v1");
        let request = Request::builder().method("GET").uri(format!("{at}{path}")).header("Cookie", cookie);
        let mut answer = self.agent.run(request.body(String::new()).expect("a request")).expect("an answer");
        let status = answer.status().as_u16();
        let body = answer.body_mut().read_to_string().expect("text");
        Heard { status, kind: String::new(), body, json: Value::Null }
    }

    /// Ends the server and waits until it has.
    pub async fn close(mut self) {
        self.handle.stop(true).await;
        let thread = self.thread.take().expect("it runs until here");
        thread.join().expect("the server ends").expect("and ends well");
    }
}

/// A token that records, of the club's cellarhand.
pub async fn token(db: &Database, club: &Club) -> String {
    let doer = undercroft::domain::members::Doer { now: now(), ..(*club.hand).clone() };
    let by = Onlooker::from_doer(doer).expect("a cellarhand is an onlooker");
    let new = NewToken::read("test", Scope::Write, 300).expect("a token");
    members::new_token(db, &by, None, new).await.expect("a token is made").1.reveal().to_owned()
}
