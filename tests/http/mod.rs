//! What a program or a person can do over HTTP, against the real server with its own database, on both databases.

mod bad_input;
mod bills;
mod buying;
mod cautions;
mod cellar;
mod climate;
mod counts;
mod described;
mod foreign;
mod intake;
mod labels;
mod main_job;
mod making;
mod measured;
mod plans;
mod refusals;
pub mod scene;
mod shares;
mod sizes;
mod spreadsheets;
mod tally;
mod tastings;
mod values;
mod workbench;
mod writes;

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

/// The real server on a free port.
pub struct Server {
    /// Where its pages are.
    root: String,
    handle: ServerHandle,
    thread: Option<JoinHandle<std::io::Result<()>>>,
    agent: Agent,
}

/// The real server, with one club in its database.
pub struct House {
    server: Server,
    /// Where its API is.
    at: String,
    /// Its database.
    pub db: Database,
    /// The club.
    pub club: Club,
    /// A token of its cellarhand.
    pub token: String,
}

/// What was answered.
#[derive(Debug)]
pub struct Heard {
    /// The status.
    pub status: u16,
    /// The media type.
    pub kind: String,
    /// Where it leads on to.
    pub location: String,
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

impl Server {
    /// Starts it on this database.
    pub fn start(db: &Database) -> Self {
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
        Self { root: format!("http://{address}"), handle, thread: Some(thread), agent }
    }

    /// Ends it and waits until it has ended.
    pub async fn end(mut self) {
        self.handle.stop(true).await;
        let thread = self.thread.take().expect("it runs until here");
        thread.join().expect("the server ends").expect("and ends well");
    }

    /// Sends a form of a page from a browser that is signed in.
    pub fn submit(&self, session: &str, path: &str, form: &str) -> Heard {
        let request = Request::builder().method("POST").uri(format!("{}{path}", self.root));
        let request = request.header("Cookie", format!("undercroft={session}"));
        let request = request.header("Content-Type", "application/x-www-form-urlencoded");
        self.ask(request.body(form.to_owned()).expect("a request"))
    }

    /// Opens a page in a browser that is signed in.
    pub fn open_page(&self, session: &str, path: &str) -> Heard {
        let request = Request::builder().uri(format!("{}{path}", self.root));
        let request = request.header("Cookie", format!("undercroft={session}"));
        self.ask(request.body(String::new()).expect("a request"))
    }

    /// Takes a file of a page: the status, and its bytes.
    pub fn file(&self, session: &str, path: &str) -> (u16, Vec<u8>) {
        let request = Request::builder().uri(format!("{}{path}", self.root));
        let request = request.header("Cookie", format!("undercroft={session}"));
        let mut answer = self.agent.run(request.body(String::new()).expect("a request")).expect("an answer");
        (answer.status().as_u16(), answer.body_mut().read_to_vec().expect("all of it"))
    }

    /// Takes a file of the API: the status, and its bytes.
    pub fn take(&self, token: &str, path: &str) -> (u16, Vec<u8>) {
        let request = Request::builder().uri(format!("{}{path}", self.root));
        let request = request.header("Authorization", format!("Bearer {token}"));
        let request = request.body(String::new()).expect("a request");
        let mut answer = self.agent.run(request).expect("the server answers");
        (answer.status().as_u16(), answer.body_mut().read_to_vec().expect("all of it"))
    }

    fn ask(&self, request: Request<String>) -> Heard {
        let mut answer = self.agent.run(request).expect("the server answers");
        let header = |name: &str| {
            let found = answer.headers().get(name).and_then(|value| value.to_str().ok());
            found.unwrap_or_default().to_owned()
        };
        let (kind, location) = (header("content-type"), header("location"));
        let status = answer.status().as_u16();
        let body = answer.body_mut().read_to_string().expect("text");
        let json = serde_json::from_str(&body).unwrap_or(Value::Null);
        Heard { status, kind, location, body, json }
    }
}

impl House {
    /// Opens it on this ground.
    pub async fn open(ground: &Ground) -> Self {
        let db = ground.open();
        let club = club(&db, "Tidemill Cellar Club").await;
        let token = token(&db, &club).await;
        let server = Server::start(&db);
        let at = format!("{}/api/v1", server.root);
        Self { server, at, db, club, token }
    }

    /// Ends the server and starts it again on the same database: what it had only in memory is forgotten.
    pub async fn reopen(&mut self) {
        let next = Server::start(&self.db);
        self.at = format!("{}/api/v1", next.root);
        std::mem::replace(&mut self.server, next).end().await;
    }

    /// Sends a request with a token and a body as it is.
    pub fn send(&self, token: &str, method: &str, path: &str, key: Option<&str>, body: &str) -> Heard {
        let request = Request::builder().method(method).uri(format!("{}{path}", self.at));
        let request = request.header("Authorization", format!("Bearer {token}"));
        let request =
            if method == "GET" { request } else { request.header("Content-Type", "application/json") };
        let request = if let Some(key) = key { request.header("Idempotency-Key", key) } else { request };
        self.server.ask(request.body(body.to_owned()).expect("a request"))
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

    /// The session of a new cellarhand.
    pub async fn sign_in(&self) -> String {
        let hand = Invitation::read("Famke", Role::Cellarhand).expect("an invitation");
        let steward = Steward::from_doer(Doer { now: now(), ..(*self.club.steward).clone() });
        let steward = steward.expect("Marit is steward");
        let (_, link) = members::invite(&self.db, &steward, None, hand).await.expect("she invites");
        let person = NewPerson::read("Famke", "famke@tidemill.example", "wheel pit at low tide");
        let visitor = Visitor { device: String::new(), address: "127.0.0.1".to_owned(), now: now() };
        let person = person.expect("a person");
        let joined = members::accept_invitation(&self.db, link.reveal(), person, &visitor).await;
        joined.expect("Famke joins").0.reveal().to_owned()
    }

    /// Opens a page in a browser that is signed in.
    pub fn page(&self, session: &str, path: &str) -> Heard {
        self.server.open_page(session, path)
    }

    /// Ends the server and waits until it has.
    pub async fn close(self) {
        self.server.end().await;
    }
}

/// A token that records, of the club's cellarhand.
pub async fn token(db: &Database, club: &Club) -> String {
    let doer = Doer { now: now(), ..(*club.hand).clone() };
    let by = Onlooker::from_doer(doer).expect("a cellarhand is an onlooker");
    let new = NewToken::read("test", Scope::Write, 300).expect("a token");
    members::new_token(db, &by, None, new).await.expect("a token is made").1.reveal().to_owned()
}
