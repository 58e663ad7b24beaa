//! What the program survives: the server as its own process, ended in the middle of writing, on a disk that is full,
//! beside another program that holds the database, and backed up while it writes. Each test prints its figures.

mod backups;
mod disk;
mod killed;

use std::collections::HashMap;
use std::io::{BufRead, BufReader, Write};
use std::process::{Child, Command, Stdio};

use serde_json::{Value, json};
use undercroft::db::connection::Address;
use ureq::Agent;
use ureq::http::Request;

use crate::ground::{Ground, findings};

/// The program, as `cargo test` built it.
const PROGRAM: &str = env!("CARGO_BIN_EXE_undercroft");
/// Who runs the club.
const STEWARD: &str = "marit@tidemill.example";

/// The address of a database, as the command line takes it.
fn address(ground: &Ground) -> String {
    match &ground.address {
        Address::Sqlite(path) => path.to_string_lossy().into_owned(),
        Address::Postgres(url) => url.clone(),
    }
}

/// Runs a command of the program to its end: whether it went well, and what it said.
pub fn run(ground: &Ground, arguments: &[&str], input: &str) -> (bool, String) {
    let mut child = Command::new(PROGRAM)
        .args(["--database", &address(ground), "--log", "error"])
        .args(arguments)
        .stdin(Stdio::piped())
        .stdout(Stdio::piped())
        .stderr(Stdio::piped())
        .spawn()
        .expect("the program starts");
    // A command that reads nothing may have ended already.
    let _ = child.stdin.take().expect("its input").write_all(input.as_bytes());
    let out = child.wait_with_output().expect("it ends");
    let said = format!("{}{}", String::from_utf8_lossy(&out.stdout), String::from_utf8_lossy(&out.stderr));
    (out.status.success(), said.trim().to_owned())
}

/// The club's things, made once, and what a client needs to record.
struct Client {
    token: String,
    item: String,
    place: String,
}

/// What became of a request.
#[derive(Debug)]
enum Heard {
    /// It was answered.
    Answer(u16, Value),
    /// The connection broke: whether it was recorded is not known.
    Nothing,
}

/// The server as a process of its own.
pub struct Server {
    child: Child,
    /// Where it serves.
    pub at: String,
}

impl Server {
    /// Starts it; `limit` is the largest file in units of 512 bytes that it may write.
    pub fn start(ground: &Ground, limit: Option<u64>) -> Self {
        let within = limit.map_or(String::new(), |blocks| format!("trap '' XFSZ; ulimit -f {blocks}; "));
        let mut child = Command::new("sh")
            .args(["-c", &format!("{within}exec \"$0\" \"$@\""), PROGRAM])
            .args(["--database", &address(ground), "--log", "off", "serve", "--listen", "127.0.0.1:0"])
            .stdout(Stdio::piped())
            .stderr(Stdio::null())
            .spawn()
            .expect("the server starts");
        let mut lines = BufReader::new(child.stdout.take().expect("what it says")).lines();
        let at = lines
            .find_map(|line| Some(line.ok()?.strip_prefix("Serving at ")?.trim_end_matches('/').to_owned()))
            .expect("it says where it serves");
        Self { child, at }
    }

    /// Ends it as a power cut would.
    pub fn kill(&mut self) {
        self.child.kill().expect("it was started here");
        self.child.wait().expect("it ends");
    }

    fn client(&self) -> Agent {
        let config = Agent::config_builder().http_status_as_error(false).build();
        debug_assert!(self.at.starts_with("http://127.0.0.1:"));
        Agent::new_with_config(config)
    }
}

impl Drop for Server {
    fn drop(&mut self) {
        // It was started here; that it has gone already is no trouble.
        let _ = self.child.kill();
        let _ = self.child.wait();
    }
}

impl Client {
    /// A club with an item and a place, made by the command line and over HTTP.
    fn settle(ground: &Ground) -> Self {
        let club =
            ["club", "new", "--name", "Tidemill Cellar Club", "--currency", "EUR", "--time-zone", "UTC"];
        let steward = ["--steward-name", "Marit", "--steward-email", STEWARD];
        let (made, club) = run(ground, &[&club[..], &steward[..]].concat(), "wheel pit at low tide\n");
        assert!(made, "{club}");
        let token = ["token", "new", "--club", &club, "--email", STEWARD, "--scope", "write"];
        let (made, token) = run(ground, &token, "");
        assert!(made, "{token}");
        let mut client = Self { token, item: String::new(), place: String::new() };
        let server = Server::start(ground, None);
        let agent = server.client();
        let made = |path: &str, body: Value| match client.send(&agent, &server.at, "POST", path, path, &body)
        {
            Heard::Answer(201, answer) => answer["id"].as_str().expect("an id").to_owned(),
            other => panic!("{path}: {other:?}"),
        };
        let item = made("/items", json!({"name": "Cane sugar", "kind": "ingredient", "unit": "g"}));
        let place = made("/places", json!({"name": "Wheel pit"}));
        (client.item, client.place) = (item, place);
        client
    }

    fn send(&self, agent: &Agent, at: &str, method: &str, path: &str, key: &str, body: &Value) -> Heard {
        let mut request = Request::builder()
            .method(method)
            .uri(format!("{at}/api/v1{path}"))
            .header("Authorization", format!("Bearer {}", self.token));
        if method != "GET" {
            request = request.header("Content-Type", "application/json").header("Idempotency-Key", key);
        }
        let body = if method == "GET" { String::new() } else { body.to_string() };
        let Ok(mut answer) = agent.run(request.body(body).expect("a request")) else { return Heard::Nothing };
        let status = answer.status().as_u16();
        let body = answer.body_mut().read_to_string().ok().and_then(|text| serde_json::from_str(&text).ok());
        body.map_or(Heard::Nothing, |body| Heard::Answer(status, body))
    }

    /// Records a receipt under this key; the same key is the same receipt.
    fn receive(&self, agent: &Agent, at: &str, key: &str) -> Heard {
        let quantity = json!({"amount": "1", "unit": "kg"});
        let line = json!({"item": self.item, "quantity": quantity, "cost": "1.20", "place": self.place});
        self.send(agent, at, "POST", "/receipts", key, &json!({"day": "2026-03-01", "lines": [line]}))
    }

    /// Every entry of the journal by its id, with how many times it was listed.
    fn journal(&self, server: &Server) -> HashMap<String, usize> {
        let (agent, mut seen, mut path) = (server.client(), HashMap::new(), "/entries".to_owned());
        loop {
            let Heard::Answer(200, list) = self.send(&agent, &server.at, "GET", &path, "", &Value::Null)
            else {
                panic!("the journal can be read");
            };
            for entry in list["items"].as_array().expect("a list") {
                *seen.entry(entry["id"].as_str().expect("an id").to_owned()).or_default() += 1;
            }
            match list["next"].as_str() {
                Some(next) => path = format!("/entries?after={next}"),
                None => return seen,
            }
        }
    }
}

/// The id of the entry that an answer names.
fn entry_of(answer: &Value) -> String {
    answer["entry"].as_str().unwrap_or_else(|| panic!("no entry in {answer}")).to_owned()
}

/// The check of the whole database finds nothing.
fn all_follows_from_the_journal(ground: &Ground) {
    assert_eq!(findings(&ground.open()).off, Vec::<String>::new());
}
