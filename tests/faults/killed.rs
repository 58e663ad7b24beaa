//! The server is ended without warning while many write; every client keeps its own list of what was acknowledged.

use std::collections::HashSet;
use std::sync::Mutex;
use std::time::{Duration, Instant};

use serde_json::{Value, json};

use super::{Client, Heard, Server, all_follows_from_the_journal, entry_of};
use crate::ground::{Ground, on_both};

const ROUNDS: u64 = 4;
const CLIENTS: usize = 6;
/// How long a round waits for work to be under way.
const LONGEST: Duration = Duration::from_mins(1);

on_both!(what_was_acknowledged_survives_a_sudden_end, a_table_half_brought_in_leaves_nothing);

async fn what_was_acknowledged_survives_a_sudden_end(ground: &Ground) {
    let client = Client::settle(ground);
    let (acknowledged, broken) = (Mutex::new(Vec::new()), Mutex::new(Vec::new()));
    for round in 0..ROUNDS {
        let mut server = Server::start(ground, None);
        let at = server.at.clone();
        std::thread::scope(|threads| {
            for number in 0..CLIENTS {
                let (agent, at) = (server.client(), &at);
                let (client, acknowledged, broken) = (&client, &acknowledged, &broken);
                threads.spawn(move || {
                    for count in 0.. {
                        let key = format!("{round}-{number}-{count}");
                        match client.receive(&agent, at, &key) {
                            Heard::Answer(201, answer) => {
                                acknowledged.lock().expect("a list").push((key, entry_of(&answer)));
                            }
                            Heard::Answer(status, answer) => panic!("{status}: {answer}"),
                            Heard::Nothing => return broken.lock().expect("a list").push(key),
                        }
                    }
                });
            }
            // In the middle of work, however fast the machine is; at a different moment each time.
            let (enough, started) = (25 * (usize::try_from(round).unwrap_or(0) + 1), Instant::now());
            while acknowledged.lock().expect("a list").len() < enough && started.elapsed() < LONGEST {
                std::thread::sleep(Duration::from_millis(3));
            }
            std::thread::sleep(Duration::from_millis(17 * round));
            server.kill();
        });
    }
    all_follows_from_the_journal(ground);

    let server = Server::start(ground, None);
    let agent = server.client();
    let (acknowledged, broken) =
        (acknowledged.into_inner().expect("a list"), broken.into_inner().expect("a list"));
    let journal = client.journal(&server);
    let lost = acknowledged.iter().filter(|(_, entry)| !journal.contains_key(entry)).count();
    // Sent again under its key, what was acknowledged gives the same entry, and what broke off is recorded once.
    let mut entries: HashSet<String> = acknowledged.iter().map(|(_, entry)| entry.clone()).collect();
    let distinct = entries.len();
    let mut doubled = acknowledged.len() - distinct;
    for (key, entry) in acknowledged.iter().rev().take(100) {
        match client.receive(&agent, &server.at, key) {
            Heard::Answer(_, answer) if entry_of(&answer) == *entry => {}
            Heard::Answer(..) => doubled += 1,
            Heard::Nothing => panic!("the server answers"),
        }
    }
    let had_been_recorded = journal.len() - distinct;
    for key in &broken {
        match client.receive(&agent, &server.at, key) {
            Heard::Answer(201, answer) => {
                assert!(entries.insert(entry_of(&answer)), "{key} has another's entry");
            }
            other => panic!("{key}: {other:?}"),
        }
    }
    doubled += client.journal(&server).len() - entries.len();
    println!(
        "killed {ROUNDS} times among {CLIENTS} clients: acknowledged {}, lost {lost}, doubled {doubled}; broke off {}, of \
         which {had_been_recorded} had been recorded",
        acknowledged.len(),
        broken.len()
    );
    assert!(acknowledged.len() > 20 && !broken.is_empty(), "the server was ended in the middle of work");
    assert_eq!((lost, doubled), (0, 0));
    drop(server);
    all_follows_from_the_journal(ground);
}

/// Rows of the table, and how often the server is ended while it brings them in.
const ROWS: usize = 3_000;
const ENDS: u64 = 5;

async fn a_table_half_brought_in_leaves_nothing(ground: &Ground) {
    let client = Client::settle(ground);
    let rows: Vec<String> = (1..=ROWS).map(|row| format!("Cane sugar;{row} g;1,20;Wheel pit")).collect();
    let rows = format!("Item;How much;Cost;Place\n{}\n", rows.join("\n"));
    let mut server = Server::start(ground, None);
    let send = |server: &Server, method: &str, path: &str, key: &str, body: &Value| {
        client.send(&server.client(), &server.at, method, path, key, body)
    };
    let heard = send(&server, "POST", "/tables", "the-table", &json!({"kind": "lots", "rows": rows}));
    let Heard::Answer(201, told) = heard else { panic!("{heard:?}") };
    assert_eq!(told["looked_at"]["good"], json!(ROWS), "{told}");
    let path = format!("/tables/{}", told["id"].as_str().expect("an id"));
    let (keep, before) = (json!({"keep": "all"}), client.journal(&server).len());
    let mut in_the_middle = 0;
    for end in 0..ENDS {
        let began = Instant::now();
        let heard = std::thread::scope(|threads| {
            let (agent, at) = (server.client(), server.at.clone());
            let (client, keep, path) = (&client, &keep, format!("{path}/bringing"));
            let asked =
                threads.spawn(move || client.send(&agent, &at, "POST", &path, &format!("end-{end}"), keep));
            std::thread::sleep(Duration::from_millis(20 + 35 * end));
            server.kill();
            asked.join().expect("it was asked")
        });
        server = Server::start(ground, None);
        let Heard::Answer(200, now) = send(&server, "GET", &path, "", &Value::Null) else {
            panic!("the table is there")
        };
        if matches!(heard, Heard::Answer(201, _)) {
            panic!("{ROWS} rows were brought in within {:?}: take more of them", began.elapsed());
        }
        in_the_middle += 1;
        assert_eq!((&now["brought_at"], &now["looked_at"]["good"]), (&Value::Null, &json!(ROWS)), "{now}");
        assert_eq!(client.journal(&server).len(), before, "nothing of it is in the books");
    }
    let done = send(&server, "POST", &format!("{path}/bringing"), "at-last", &keep);
    let Heard::Answer(201, done) = done else { panic!("{done:?}") };
    assert_eq!(done["kept"], json!(ROWS));
    println!(
        "ended {in_the_middle} times while {ROWS} rows were brought in: left behind 0; then all of them came in"
    );
    drop(server);
    all_follows_from_the_journal(ground);
}
