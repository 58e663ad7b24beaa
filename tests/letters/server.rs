//! A real mail server, which refuses, drops and delays before it takes a letter.

use std::io::{BufRead, BufReader};
use std::process::{Child, ChildStdout, Command, Stdio};

use chrono::Duration;
use serde_json::Value;
use tokio::sync::watch;
use undercroft::db::{letters, stock};
use undercroft::domain::stock::ItemKind;
use undercroft::jobs::letters::post::{MailServer, Route};
use undercroft::jobs::letters::turn;
use undercroft::units::ids::ItemId;
use undercroft::units::quantity::BaseUnit;

use super::{at, remind};
use crate::ground::cellar::item;
use crate::ground::{Ground, club, day, run};

/// The server; it ends when its input does.
struct Server {
    child: Child,
    told: BufReader<ChildStdout>,
    port: u16,
}

impl Server {
    fn start(moods: &[&str]) -> Self {
        let python = std::env::var("UNDERCROFT_PYTHON").unwrap_or_else(|_| "python3".to_owned());
        let script = concat!(env!("CARGO_MANIFEST_DIR"), "/tests/letters/server.py");
        let mut child = Command::new(python)
            .arg(script)
            .args(moods)
            .stdin(Stdio::piped())
            .stdout(Stdio::piped())
            .spawn()
            .expect("Python starts");
        let mut told = BufReader::new(child.stdout.take().expect("its output"));
        let mut line = String::new();
        told.read_line(&mut line).expect("it says its port");
        let port = line.trim().parse().unwrap_or_else(|_| panic!("a port, not “{line}”"));
        Self { child, told, port }
    }

    /// Everything it took.
    fn end(mut self) -> Vec<Value> {
        drop(self.child.stdin.take());
        let lines = self.told.lines().map(|line| line.expect("text"));
        let taken = lines.map(|line| serde_json::from_str(&line).expect("JSON")).collect();
        self.child.wait().expect("it ends");
        taken
    }
}

#[test]
#[ignore = "needs Python with aiosmtpd"]
fn a_letter_arrives_once_however_often_it_is_refused() {
    run(Ground::sqlite(), a_letter_arrives_once);
}

async fn a_letter_arrives_once(ground: &Ground) {
    let db = ground.open();
    let people = club(&db, "Tidemill Cellar Club").await;
    let id = people.hand.club;
    db.write(move |conn| {
        use undercroft::db::members::{add_member, add_person};
        let thing = ItemId::fresh();
        stock::add_item(conn, id, thing, &item("Gist & “wein”", ItemKind::Aid, BaseUnit::Gram))?;
        let person = add_person(conn, "Nobody", "nobody@tidemill.example", "", at("2026-01-01T00:00:00"))?;
        add_member(conn, id, person, "Nobody", undercroft::domain::members::Role::Taster, day("2026-01-01"))?;
        remind(conn, id, thing, "buy-yeast", day("2026-06-23"))
    })
    .await
    .expect("they are kept");
    let server = Server::start(&["refuse", "drop", "delay"]);
    let route = Route::read(&format!("smtp://127.0.0.1:{}", server.port)).expect("a route");
    let from = "Tidemill Cellar <cellar@tidemill.example>";
    let post = MailServer::new(&route, None, from, "https://cellar.example.org").expect("a mail server");
    let (_stop, running) = watch::channel(false);
    for minutes in [0, 1, 2, 3, 4, 6, 10, 20, 60, 600] {
        turn(&db, &post, &running, at("2026-06-23T05:00:00") + Duration::minutes(minutes)).await;
    }
    let taken = server.end();
    let mut to: Vec<&str> =
        taken.iter().map(|letter| letter["to"][0].as_str().expect("an address")).collect();
    to.sort_unstable();
    let names = ["joost", "marit", "wieke"].map(|name| format!("{name}@tidemill-cellar-club.example"));
    assert_eq!(to.len(), 3, "each once: {taken:?}");
    assert!(to.iter().zip(&names).all(|(one, other)| one.eq_ignore_ascii_case(other)), "{to:?}");
    for letter in &taken {
        assert_eq!(letter["tries"], 3, "refused, dropped, taken");
        let header = |name: &str| letter["headers"][name].as_str().unwrap_or_default().to_owned();
        assert_eq!(header("Subject"), "Tidemill Cellar Club: one thing is due");
        assert_eq!(header("From"), from);
        assert!(header("List-Unsubscribe").starts_with("<https://cellar.example.org/letters/"));
        assert_eq!(header("List-Unsubscribe-Post"), "List-Unsubscribe=One-Click");
        assert_eq!(header("Auto-Submitted"), "auto-generated");
        for kind in ["text/plain", "text/html"] {
            let part = letter["parts"][kind].as_str().expect("both parts");
            assert!(
                part.contains("Do buy-yeast") && part.contains("https://cellar.example.org/reminders/"),
                "{part}"
            );
        }
    }
    let refused = db
        .read(move |conn| {
            let all = undercroft::db::members::members(conn, id)?;
            let nobody = all.iter().find(|member| member.name == "Nobody").expect("Nobody is a member");
            letters::last(conn, nobody.id)
        })
        .await
        .expect("it is read")
        .expect("there was a letter");
    assert!(refused.sent_at.is_none() && refused.next_try_at.is_none(), "it is given up at once");
    assert!(refused.trouble.contains("no such person"), "{}", refused.trouble);
}
