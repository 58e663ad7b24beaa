//! How right the books were, why not, what drifts, and when what is to be counted: summed up by both databases alike.

use undercroft::actions::counts::{Posting, Start, Tallied, end, post, start, tally};
use undercroft::actions::reminders::reconcile;
use undercroft::actions::stock;
use undercroft::db::Database;
use undercroft::db::counts::accuracy::{By, drifting, groups, reasons, turns};
use undercroft::db::counts::tolerance;
use undercroft::db::reminders::open;
use undercroft::domain::counts::Reason;
use undercroft::domain::counts::accuracy::Class;
use undercroft::domain::members::{Cellarhand, Doer, Taster};
use undercroft::domain::reminders::ReminderKind;
use undercroft::domain::stock::{ItemKind, Receipt};
use undercroft::units::days::Instant;
use undercroft::units::ids::ItemId;
use undercroft::units::money::Money;
use undercroft::units::quantity::{BaseUnit, Milli};

use crate::ground::cellar::{Cellar, bought, found, item};
use crate::ground::{Ground, day, now, on_both};

on_both!(counts_say_how_right_the_books_are, what_was_not_counted_for_long_is_reminded_of);

fn on(doer: &Doer, at: Instant) -> Doer {
    Doer { now: at, ..doer.clone() }
}

async fn corks(db: &Database, cellar: &Cellar) -> ItemId {
    let by = &cellar.club.hand;
    let new = item("Cork 38 mm", ItemKind::Packaging, BaseUnit::Piece);
    let id = stock::add_item(db, by, None, new).await.expect("a new item");
    let lines = vec![bought(id, 40_000, 8_000_000, cellar.place)];
    let receipt = Receipt { day: day("2026-06-01"), paid_by: None, lines, remark: String::new() };
    stock::record_receipt(db, by, None, receipt).await.expect("corks come");
    id
}

/// A count of the corks in which so many are found, and posted.
async fn counted(db: &Database, cellar: &Cellar, item: ItemId, at: Instant, pieces: i64, reason: Reason) {
    let hand = Cellarhand::from_doer(on(&cellar.club.hand, at)).expect("a cellarhand");
    let order = Start { title: "Corks".to_owned(), places: Vec::new(), kinds: Vec::new(), items: vec![item] };
    let id = start(db, &hand, None, order).await.expect("it begins").id;
    let taster = Taster::from_doer(on(&cellar.club.taster, at)).expect("a taster");
    let order = Tallied { count: id, number: 1, found: found(pieces * 1000) };
    tally(db, &taster, None, order).await.expect("it is counted");
    end(db, &hand, None, id).await.expect("it ends");
    let steward = Cellarhand::from_doer(on(&cellar.club.steward, at)).expect("she records everything");
    let order = Posting {
        count: id,
        again: Vec::new(),
        reasons: Vec::new(),
        reason: Some(reason),
        words: String::new(),
    };
    post(db, &steward, None, order).await.expect("it is posted");
}

async fn counts_say_how_right_the_books_are(ground: &Ground) {
    let db = ground.open();
    let cellar = Cellar::new(&db, "Quay Cellar").await;
    let item = corks(&db, &cellar).await;
    // One, two and one are missing: within the two pieces that this club lets pass.
    for (week, pieces, reason) in
        [(0, 39, Reason::Broken), (1, 37, Reason::NotWritten), (2, 36, Reason::Broken)]
    {
        counted(&db, &cellar, item, now() + chrono::Duration::weeks(week), pieces, reason).await;
    }
    let (club, zone) = (cellar.club.hand.club, cellar.club.hand.zone);
    let since = now() - chrono::Duration::days(30);
    let conn = &mut db.connection().expect("a connection");
    let lets_pass = tolerance(conn, club).expect("the tolerance");
    let by_count = groups(conn, club, since, lets_pass, By::Count).expect("by count");
    assert_eq!(by_count.len(), 3);
    // The corks had cost 0.20 each.
    let sums: Vec<_> = by_count.iter().map(|group| (group.lines, group.agreed, group.net.micros())).collect();
    assert_eq!(sums, [(1, 1, -200_000), (1, 1, -400_000), (1, 1, -200_000)]);
    assert!(by_count[0].name.contains("Corks"), "{by_count:?}");
    let strict = undercroft::domain::counts::Tolerance { permille: 0, pieces: 1 };
    let by_place = groups(conn, club, since, strict, By::Place).expect("by place");
    assert_eq!((by_place.len(), by_place[0].lines, by_place[0].agreed), (1, 3, 2));
    assert_eq!(by_place[0].worth, Money::from_micros(800_000));
    let by_kind = groups(conn, club, since, strict, By::Kind).expect("by kind");
    assert_eq!((by_kind[0].name.as_str(), by_kind[0].lines), ("packaging", 3));
    let why = reasons(conn, club, since).expect("by reason");
    assert_eq!((why[0].reason, why[0].lines, why[0].net.micros()), (Reason::Broken, 2, -400_000));
    assert_eq!((why[1].reason, why[1].lines), (Reason::NotWritten, 1));
    let drifts = drifting(conn, club, since).expect("what drifts");
    assert_eq!(
        (drifts.len(), drifts[0].item, drifts[0].off, drifts[0].counts),
        (1, item, Milli::new(-4_000), 3)
    );
    let today = (now() + chrono::Duration::weeks(2)).date();
    let all = turns(conn, club, zone, today).expect("what is to be counted");
    let corks = all.iter().find(|turn| turn.item == item).expect("corks are in stock");
    assert_eq!((corks.class, corks.counted_on), (Class::C, Some(today)), "nothing was used of them");
    assert_eq!(corks.due_on, today + chrono::Duration::days(365));
    // Most of what was used in the year is milk.
    let milk = all.iter().find(|turn| turn.item == cellar.milk).expect("milk is in stock");
    assert_eq!((milk.class, milk.counted_on), (Class::A, None));
    assert_eq!(milk.due_on, day("2026-03-01") + chrono::Duration::days(91));
    assert_eq!(all[0].class, Class::A, "what matters most comes first");
}

async fn what_was_not_counted_for_long_is_reminded_of(ground: &Ground) {
    let db = ground.open();
    let cellar = Cellar::new(&db, "Quay Cellar").await;
    let (club, zone) = (cellar.club.hand.club, cellar.club.hand.zone);
    let due = async |at: Instant| {
        reconcile(&db, club, zone, at).await.expect("reminders are made");
        let found =
            db.read(move |conn| open(conn, club, day("2030-01-01"), 100)).await.expect("they are read");
        found.into_iter().filter(|one| one.kind == ReminderKind::Count).collect::<Vec<_>>()
    };
    let item = corks(&db, &cellar).await;
    let before = due(now()).await;
    assert!(before.iter().any(|one| one.text.contains("class A")), "{before:?}");
    assert!(!before.iter().any(|one| one.text.contains("Cork")), "corks came half a year ago: {before:?}");
    let later = now() + chrono::Duration::days(200);
    let overdue = due(later).await;
    let named = |found: &[undercroft::db::reminders::Reminder]| {
        found.iter().filter(|one| one.text.contains("class C")).map(|one| one.due_on).collect::<Vec<_>>()
    };
    assert_eq!(named(&overdue).len(), 1, "{overdue:?}");
    assert_eq!(due(later).await.len(), overdue.len(), "made once, however often it is asked");
    counted(&db, &cellar, item, later, 40, Reason::NotKnown).await;
    let after = due(later + chrono::Duration::days(1)).await;
    assert!(after.iter().all(|one| !one.text.contains("Cork")), "they were counted: {after:?}");
}
