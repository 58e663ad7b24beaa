//! A member's calendar: its identity over changes, across a change of clocks, and as other programs read it.

use std::process::Command;
use std::time::Instant as Clock;

use serde_json::Value;
use undercroft::actions::calendars::{end, make, read};
use undercroft::db::{reminders, stock};
use undercroft::domain::calendars::Event;
use undercroft::domain::members::{Doer, Onlooker};
use undercroft::domain::stock::ItemKind;
use undercroft::units::ids::ItemId;
use undercroft::units::quantity::BaseUnit;
use undercroft::web::calendars::written;

use super::{at, remind};
use crate::ground::cellar::item;
use crate::ground::{Ground, club, day, on_both, run};

on_both!(an_event_keeps_its_identity_and_the_address_ends);

const NOW: &str = "2026-10-20T10:00:00";

async fn an_event_keeps_its_identity_and_the_address_ends(ground: &Ground) {
    let db = ground.open();
    let people = club(&db, "Tidemill Cellar Club").await;
    let (id, other) = (people.hand.club, people.steward.member);
    let who = Onlooker::from_doer(Doer { now: at(NOW), ..(*people.hand).clone() }).expect("a member");
    let secret = make(&db, &who).await.expect("an address");
    db.write(move |conn| {
        let thing = ItemId::fresh();
        stock::add_item(conn, id, thing, &item("Cane sugar", ItemKind::Ingredient, BaseUnit::Gram))?;
        for (key, due) in [("a", "2026-10-24"), ("b", "2026-10-25"), ("c", "2026-10-26"), ("d", "2026-10-27")]
        {
            remind(conn, id, thing, key, day(due))?;
        }
        Ok::<_, undercroft::db::Failure>(())
    })
    .await
    .expect("they are kept");
    let told = |events: &[Event]| -> Vec<(String, String, i64, bool)> {
        events.iter().map(|one| (one.key.clone(), one.day.to_string(), one.revision, one.off)).collect()
    };
    let line = |key: &str, day: &str, revision, off| (key.to_owned(), day.to_owned(), revision, off);
    let seen = async |secret: &str| {
        read(&db, secret, at(NOW)).await.expect("it is read").map(|(_, _, events)| told(&events))
    };
    let first = seen(secret.reveal()).await.expect("it has an address");
    assert_eq!(first[0], line("a", "2026-10-24", 0, false));
    assert_eq!(first.len(), 4);
    db.write(move |conn| {
        let open = reminders::open(conn, id, day("2026-12-31"), 10)?;
        reminders::put_off(conn, open[0].id, day("2026-11-30"))?;
        reminders::done(conn, open[1].id, other, at(NOW))?;
        // It is another's now, and stands in the calendar of whom it was given to alone.
        reminders::give(conn, open[2].id, other)?;
        reminders::keep(conn, id, &[], at(NOW))
    })
    .await
    .expect("they are settled");
    // Nothing followed any more: what was open is off, and each is a later revision.
    let then = seen(secret.reveal()).await.expect("it has an address");
    assert_eq!(
        then,
        [
            line("b", "2026-10-25", 1, true),
            line("d", "2026-10-27", 1, true),
            line("a", "2026-11-30", 2, true)
        ]
    );
    let next = make(&db, &who).await.expect("another address");
    assert_eq!(seen(secret.reveal()).await, None, "the address before ended");
    assert!(seen(next.reveal()).await.is_some());
    end(&db, &who).await.expect("it ends");
    assert_eq!(seen(next.reveal()).await, None);
    assert_eq!(seen("").await, None);
}

#[test]
#[ignore = "needs Python with icalendar and vobject"]
fn others_read_the_same_calendar() {
    run(Ground::sqlite(), others_read_the_same);
}

async fn others_read_the_same(ground: &Ground) {
    let db = ground.open();
    let people = club(&db, "Tidemill; Cellar, Club").await;
    let doer = Doer { now: at(NOW), ..(*people.hand).clone() };
    let texts = [
        "Taste at 6 months: Perry",
        "Buy Cane sugar; 2 kg, soon\\now",
        "Größe prüfen: öffnen – mit sehr langem Text, der über die fünfundsiebzig Oktette einer Zeile hinausgeht 🍐🍐",
        "Two\nlines",
    ];
    // The clocks go back on 25 October 2026 and forward on 28 March 2027.
    let days = ["2026-10-24", "2026-10-25", "2026-10-26", "2027-03-27", "2027-03-28", "2027-03-29"];
    let mut events: Vec<Event> = Vec::new();
    for (number, date) in (0_i64..).zip(days.iter().cycle().take(500)) {
        let text = texts[usize::try_from(number).expect("small") % texts.len()].to_owned();
        let path = format!("/reminders/{number}");
        events.push(Event {
            key: format!("tasting:x:{number}"),
            day: day(date),
            revision: number % 4,
            text,
            path,
            off: number % 5 == 0,
        });
    }
    let began = Clock::now();
    let calendar = written(&doer, Some(7), &events, |path| format!("https://cellar.example.org{path}"));
    println!("a calendar of {} events is written in {:.1?} (this build)", events.len(), began.elapsed());
    let file = std::env::temp_dir().join(format!("undercroft-calendar-{}.ics", std::process::id()));
    std::fs::write(&file, &calendar).expect("it can be written");
    let python = std::env::var("UNDERCROFT_PYTHON").unwrap_or_else(|_| "python3".to_owned());
    let script = concat!(env!("CARGO_MANIFEST_DIR"), "/tests/letters/events.py");
    let out = Command::new(python).arg(script).arg(&file).output().expect("Python starts");
    std::fs::remove_file(&file).expect("it is ours");
    assert!(out.status.success(), "{}", String::from_utf8_lossy(&out.stderr));
    let told = String::from_utf8(out.stdout).expect("text");
    let parsers: Vec<Vec<Value>> =
        told.lines().map(|line| serde_json::from_str(line).expect("JSON")).collect();
    assert_eq!(parsers.len(), 2);
    for found in &parsers {
        assert_eq!(found.len(), events.len());
        for (event, other) in events.iter().zip(found) {
            let number = event.key.rsplit(':').next().expect("a number");
            assert_eq!(other["uid"], format!("tasting.x.{number}.{}@undercroft", doer.club).as_str());
            assert_eq!(other["day"], event.day.to_string().as_str());
            assert_eq!(other["sequence"], event.revision);
            assert_eq!(other["summary"], event.text.as_str());
            assert_eq!(other["url"], format!("https://cellar.example.org{}", event.path).as_str());
            assert_eq!(other["off"], event.off);
            let alarms = if event.off { serde_json::json!([]) } else { serde_json::json!([7.0]) };
            assert_eq!(other["alarm_hours"], alarms);
        }
    }
}
