//! A disk that is full, and a database that another program holds: a clear answer, reads go on, nothing is lost.

use diesel::connection::SimpleConnection;
use serde_json::Value;

use super::{Client, Heard, Server, all_follows_from_the_journal, entry_of};
use crate::ground::Ground;

/// Records until it is refused: the entries that were acknowledged, and the refusal.
fn record_until_refused(client: &Client, server: &Server) -> (Vec<String>, String, (u16, Value)) {
    let (agent, mut entries) = (server.client(), Vec::new());
    for count in 0..20_000 {
        let key = format!("full-{count}");
        match client.receive(&agent, &server.at, &key) {
            Heard::Answer(201, answer) => entries.push(entry_of(&answer)),
            Heard::Answer(status, answer) => return (entries, key, (status, answer)),
            Heard::Nothing => panic!("the server went away at {key}"),
        }
    }
    panic!("the disk was never full");
}

#[test]
fn a_full_disk_is_said_and_loses_nothing() {
    let ground = Ground::sqlite();
    let client = Client::settle(&ground);
    let Some(size) = size_of(&ground) else { panic!("a SQLite database is a file") };
    // Room for a log of two megabytes, then no more: the size is in units of 512 bytes.
    let server = Server::start(&ground, Some(size.max(2 * 1024 * 1024) / 512));
    let (mut entries, key, (status, answer)) = record_until_refused(&client, &server);
    println!("the disk was full after {} entries: {status} {}", entries.len(), answer["detail"]);
    assert_eq!(status, 503, "{answer}");
    assert!(
        answer["detail"].as_str().is_some_and(|words| words.contains("disk") || words.contains("full")),
        "{answer}"
    );
    assert!(entries.len() > 10, "some were recorded before");
    // Reads go on, and show what was acknowledged and nothing else.
    let journal = client.journal(&server);
    assert!(entries.iter().all(|entry| journal.contains_key(entry)), "an acknowledged entry is lost");
    assert_eq!(journal.len(), entries.len(), "a refused entry was recorded");
    drop(server);

    // With room again, the one that was refused is recorded under its key, once.
    let server = Server::start(&ground, None);
    match client.receive(&server.client(), &server.at, &key) {
        Heard::Answer(201, answer) => entries.push(entry_of(&answer)),
        other => panic!("{other:?}"),
    }
    assert_eq!(client.journal(&server).len(), entries.len());
    drop(server);
    all_follows_from_the_journal(&ground);
}

fn size_of(ground: &Ground) -> Option<u64> {
    match &ground.address {
        undercroft::db::connection::Address::Sqlite(path) => Some(std::fs::metadata(path).ok()?.len()),
        undercroft::db::connection::Address::Postgres(_) => None,
    }
}

#[test]
fn a_database_that_another_program_holds_is_said_to_be_busy() {
    let ground = Ground::sqlite();
    let client = Client::settle(&ground);
    let server = Server::start(&ground, None);
    let agent = server.client();
    let mut other = ground.connection();
    other.batch_execute("BEGIN IMMEDIATE").expect("the database is free");
    let (status, answer) = match client.receive(&agent, &server.at, "held") {
        Heard::Answer(status, answer) => (status, answer),
        Heard::Nothing => panic!("the server answers"),
    };
    println!("held by another program: {status} {}", answer["detail"]);
    assert_eq!(status, 503, "{answer}");
    assert!(client.journal(&server).is_empty(), "reads go on");
    other.batch_execute("ROLLBACK").expect("it was begun");
    assert!(
        matches!(client.receive(&agent, &server.at, "held"), Heard::Answer(201, _)),
        "then it is recorded"
    );
    assert_eq!(client.journal(&server).len(), 1);
}
