//! A backup taken while the server writes is a point of its history; what is no backup is refused.

use std::collections::HashSet;
use std::sync::atomic::{AtomicBool, Ordering};

use undercroft::db::connection::Address;

use super::{Client, Heard, Server, all_follows_from_the_journal, entry_of, run};
use crate::ground::Ground;

#[test]
fn a_backup_while_writing_is_a_point_of_the_history() {
    let ground = Ground::sqlite();
    let client = Client::settle(&ground);
    let server = Server::start(&ground, None);
    let Address::Sqlite(database) = &ground.address else { panic!("a SQLite database is a file") };
    let file = database.with_extension("backup");
    let file = file.to_str().expect("a temporary folder has a plain name");
    let done = AtomicBool::new(false);
    // One client writes in order, so that a point of the history is a beginning of its list.
    let (entries, before) = std::thread::scope(|threads| {
        let writing = threads.spawn(|| {
            let (agent, mut entries) = (server.client(), Vec::new());
            while !done.load(Ordering::Relaxed) {
                match client.receive(&agent, &server.at, &format!("order-{}", entries.len())) {
                    Heard::Answer(201, answer) => entries.push(entry_of(&answer)),
                    other => panic!("{other:?}"),
                }
            }
            entries
        });
        std::thread::sleep(std::time::Duration::from_millis(400));
        let before = client.journal(&server).len();
        let (made, said) = run(&ground, &["backup", file], "");
        assert!(made, "{said}");
        std::thread::sleep(std::time::Duration::from_millis(200));
        done.store(true, Ordering::Relaxed);
        (writing.join().expect("it writes on"), before)
    });
    drop(server);

    let (restored, said) = run(&ground, &["restore", file], "");
    assert!(restored, "{said}");
    all_follows_from_the_journal(&ground);
    let server = Server::start(&ground, None);
    let kept: HashSet<String> = client.journal(&server).into_keys().collect();
    println!(
        "{} entries, of which {} are in the backup; {before} had been there before",
        entries.len(),
        kept.len()
    );
    assert!(before <= kept.len() && kept.len() < entries.len(), "it was taken while the server wrote");
    assert_eq!(entries[..kept.len()].iter().cloned().collect::<HashSet<_>>(), kept);
}

#[test]
fn a_damaged_or_foreign_file_is_refused_and_the_database_stays() {
    let ground = Ground::sqlite();
    let client = Client::settle(&ground);
    let Address::Sqlite(database) = &ground.address else { panic!("a SQLite database is a file") };
    let good = database.with_extension("good");
    let (made, said) = run(&ground, &["backup", good.to_str().expect("a plain name")], "");
    assert!(made, "{said}");
    let bytes = std::fs::read(&good).expect("it was written");
    let mut holed = bytes.clone();
    let middle = bytes.len() / 2;
    holed[middle - 8192..middle + 8192].fill(0xA5);
    let cases: [(&str, &[u8]); 4] = [
        ("cut short", &bytes[..bytes.len() / 2]),
        ("with a hole", &holed),
        ("empty", b""),
        ("a text", b"This is no database at all, only a note about the pears of the year."),
    ];
    for (name, content) in cases {
        let file = database.with_extension("bad");
        std::fs::write(&file, content).expect("the folder is ours");
        let (restored, said) = run(&ground, &["restore", file.to_str().expect("a plain name")], "");
        assert!(!restored, "{name}: {said}");
        assert!(said.contains("damaged") || said.contains("not a"), "{name}: {said}");
        println!("{name}: {said}");
    }
    all_follows_from_the_journal(&ground);
    let server = Server::start(&ground, None);
    assert!(client.journal(&server).is_empty(), "the database is the one from before");
}
