//! Many at once, and what breaks off half-way: nothing below zero, nothing lost, nothing twice.

use undercroft::actions::once::RequestKey;
use undercroft::actions::stock::{self, NewPlace};
use undercroft::actions::{Done, Error, batches, bottles};
use undercroft::db::{Failure, bottles as bottle_rows, stock as stock_rows};
use undercroft::domain::batches::Source;
use undercroft::domain::bottles::{Purpose, Withdrawal};
use undercroft::domain::stock::Receipt;
use undercroft::units::ids::PlaceId;

use super::world::told;
use crate::ground::cellar::{Cellar, bought, draw};
use crate::ground::{self, Ground, block_on, day, findings, on_both};

on_both!(
    the_last_bottles_go_to_as_many_as_there_are,
    draws_at_once_share_what_is_there,
    the_first_of_everything_comes_at_once,
    the_check_finds_nothing_while_others_write,
    work_that_breaks_off_leaves_nothing,
    a_lost_answer_is_no_second_entry,
);

/// How many were done; every other one was refused by a rule, none by a failure of the database.
fn done<T: std::fmt::Debug>(answers: &[Done<T>]) -> usize {
    let failed: Vec<_> = answers.iter().filter(|answer| matches!(answer, Err(Error::Failed(_)))).collect();
    assert!(failed.is_empty(), "{failed:?}");
    answers.iter().filter(|answer| answer.is_ok()).count()
}

/// Waits for all of these tasks.
async fn all<T>(tasks: Vec<tokio::task::JoinHandle<T>>) -> Vec<T> {
    let mut answers = Vec::new();
    for task in tasks {
        answers.push(task.await.expect("no task breaks off"));
    }
    answers
}

async fn the_last_bottles_go_to_as_many_as_there_are(ground: &Ground) {
    const TAKERS: usize = 32;
    let db = ground.open();
    let cellar = Cellar::new(&db, "Tidemill Cellar Club").await;
    let takers = (0..TAKERS).map(|_| {
        let (db, by, bottling) = (db.clone(), cellar.club.taster.clone(), cellar.bottled.bottling);
        tokio::spawn(async move {
            let order = Withdrawal {
                bottling,
                day: day("2026-07-01"),
                bottles: 1,
                purpose: Purpose::Taken,
                member: Some(by.member),
                place: None,
                happened_at: None,
                remark: String::new(),
            };
            bottles::record_withdrawal(&db, &by, None, order).await
        })
    });
    let answers = all(takers.collect()).await;
    assert_eq!(done(&answers), 20, "there were twenty bottles for {TAKERS} takers");
    let (club, lot) = (cellar.club.hand.club, cellar.bottled.lot);
    let left = bottle_rows::standing(&mut ground.connection(), club, lot).expect("bottles are read");
    assert_eq!(left, [], "none is left");
    assert_eq!(findings(&db).off, Vec::<String>::new());
}

async fn draws_at_once_share_what_is_there(ground: &Ground) {
    let db = ground.open();
    let cellar = Cellar::new(&db, "Tidemill Cellar Club").await;
    let drawn = (0..24).map(|_| {
        let (db, hand, milk) = (db.clone(), cellar.club.hand.clone(), cellar.milk);
        tokio::spawn(async move {
            let plan = batches::Plan { name: "Kefir".to_owned(), base_volume: None, day: day("2026-06-02") };
            let batch = batches::plan(&db, &hand, None, plan).await?.id;
            batches::draw(&db, &hand, None, draw(batch, day("2026-06-02"), Source::Item(milk), 999_999)).await
        })
    });
    let answers = all(drawn.collect()).await;
    assert_eq!(done(&answers), 10, "ten times 999.999 mL are in 10 L");
    let shelves = stock_rows::shelves(
        &mut ground.connection(),
        cellar.club.hand.club,
        stock_rows::Shelved::Lot(cellar.milk_lot),
    );
    let left: Vec<i64> =
        shelves.expect("stock is read").iter().map(|shelf| shelf.holding.quantity.get()).collect();
    assert_eq!(left, [10]);
    assert_eq!(findings(&db).off, Vec::<String>::new());
}

async fn the_first_of_everything_comes_at_once(ground: &Ground) {
    let db = ground.open();
    let club = ground::club(&db, "Tidemill Cellar Club").await;
    let milk = ground::cellar::item(
        "Whole milk",
        undercroft::domain::stock::ItemKind::Ingredient,
        undercroft::units::quantity::BaseUnit::Millilitre,
    );
    let milk = stock::add_item(&db, &club.hand, None, milk).await.expect("an item");
    let place = NewPlace { name: "Cellar".to_owned(), within: None, capacity: None };
    let place = stock::add_place(&db, &club.hand, None, place).await.expect("a place");
    let receipts = (0..16).map(|_| {
        let (db, hand) = (db.clone(), club.hand.clone());
        tokio::spawn(async move {
            let lines = vec![bought(milk, 1_000_000, 1_000_001, place)];
            let receipt = Receipt { day: day("2026-06-02"), paid_by: None, lines, remark: String::new() };
            stock::record_receipt(&db, &hand, None, receipt).await.map(|received| received.code)
        })
    });
    let answers = all(receipts.collect()).await;
    let mut codes: Vec<String> =
        answers.into_iter().map(|answer| answer.expect("each is recorded")).collect();
    codes.sort_by_key(|code| code[2..].parse::<u32>().expect("a number"));
    assert_eq!(codes, (1..=16).map(|number| format!("R-{number}")).collect::<Vec<_>>());
    assert_eq!(findings(&db).off, Vec::<String>::new());
}

async fn the_check_finds_nothing_while_others_write(ground: &Ground) {
    let db = ground.open();
    let cellar = Cellar::new(&db, "Tidemill Cellar Club").await;
    let writers = (0..2).map(|_| {
        let (db, hand, milk, batch) = (db.clone(), cellar.club.hand.clone(), cellar.milk, cellar.batch);
        tokio::spawn(async move {
            for _ in 0..40 {
                let order = draw(batch, day("2026-06-02"), Source::Item(milk), 10_000);
                batches::draw(&db, &hand, None, order).await.expect("milk is there");
            }
        })
    });
    let writing = tokio::spawn(all(writers.collect()));
    let mut checks = 0;
    while !writing.is_finished() {
        let db = db.clone();
        let found = tokio::task::spawn_blocking(move || findings(&db)).await.expect("the check runs");
        assert_eq!(found.off, Vec::<String>::new());
        checks += 1;
    }
    writing.await.expect("the writers end");
    assert!(checks > 1, "it was checked meanwhile");
}

async fn work_that_breaks_off_leaves_nothing(ground: &Ground) {
    let db = ground.open();
    let cellar = Cellar::new(&db, "Tidemill Cellar Club").await;
    let club = cellar.club.hand.club;
    let before = told(&mut ground.connection());
    for _ in 0..10 {
        let broken: Result<(), Failure> = db
            .write(move |conn| {
                stock_rows::add_place(conn, club, PlaceId::fresh(), None, "Attic", "Attic", None)?;
                panic!("the test breaks off here")
            })
            .await;
        assert!(matches!(broken, Err(Failure::Fault(_))), "{broken:?}");
    }
    let places = stock_rows::places(&mut ground.connection(), club).expect("places are read");
    assert_eq!(places.len(), 2, "no attic: {places:?}");
    assert_eq!(told(&mut ground.connection()), before);
    let attic = NewPlace { name: "Attic".to_owned(), within: None, capacity: None };
    stock::add_place(&db, &cellar.club.hand, None, attic).await.expect("others are served as before");
}

/// The caller goes away before the answer comes, and sends the same again.
async fn a_lost_answer_is_no_second_entry(ground: &Ground) {
    let db = ground.open();
    let cellar = Cellar::new(&db, "Tidemill Cellar Club").await;
    let key = |number: usize| RequestKey::read(&format!("draw-number-{number}")).ok();
    let send = |number| {
        let (db, hand, milk, batch) = (db.clone(), cellar.club.hand.clone(), cellar.milk, cellar.batch);
        async move {
            let order = draw(batch, day("2026-06-02"), Source::Item(milk), 100_000);
            batches::draw(&db, &hand, key(number), order).await
        }
    };
    let entries = |ground: &Ground| {
        let lines = told(&mut ground.connection());
        lines.into_iter().find(|line| line.starts_with("entries ")).expect("entries are counted")
    };
    assert_eq!(entries(ground), "entries 5");
    for number in 0..20 {
        let first = tokio::spawn(send(number));
        for _ in 0..number % 5 {
            tokio::task::yield_now().await;
        }
        first.abort();
        send(number).await.expect("the second time it is answered");
    }
    assert_eq!(entries(ground), "entries 25", "twenty draws, whatever became of the first answers");
    assert_eq!(findings(&db).off, Vec::<String>::new());
}

/// Only SQLite has a queue.
#[test]
fn a_full_queue_says_that_it_is_busy_and_loses_nothing() {
    const WAITING: usize = 1024;
    let ground = Ground::sqlite();
    block_on(async {
        let db = ground.open();
        let cellar = Cellar::new(&db, "Tidemill Cellar Club").await;
        let (begun, has_begun) = std::sync::mpsc::channel();
        let (go_on, wait) = std::sync::mpsc::channel::<()>();
        let wait = std::sync::Mutex::new(wait);
        let slow = {
            let db = db.clone();
            tokio::spawn(async move {
                db.write(move |_| {
                    begun.send(()).expect("the test waits for this");
                    let _ = wait.lock().map(|wait| wait.recv());
                    Ok::<_, Failure>(())
                })
                .await
            })
        };
        tokio::task::yield_now().await;
        has_begun.recv().expect("the writer is at work");
        let club = cellar.club.hand.club;
        let sent = std::rc::Rc::new(std::cell::Cell::new(0));
        let local = tokio::task::LocalSet::new();
        let tasks = (0..WAITING + 10).map(|number| {
            let (db, sent) = (db.clone(), sent.clone());
            local.spawn_local(async move {
                sent.set(sent.get() + 1);
                let name = format!("Bay {number}");
                db.write(move |conn| {
                    stock_rows::add_place(conn, club, PlaceId::fresh(), None, &name, &name, None)
                })
                .await
            })
        });
        let tasks: Vec<_> = tasks.collect();
        while sent.get() < WAITING + 10 {
            local.run_until(tokio::task::yield_now()).await;
        }
        go_on.send(()).expect("the writer waits for this");
        slow.await.expect("it ends").expect("and is done");
        let answers = local.run_until(all(tasks)).await;
        let busy = answers.iter().filter(|answer| **answer == Err(Failure::Busy)).count();
        let kept = answers.iter().filter(|answer| answer.is_ok()).count();
        assert_eq!((kept, busy), (WAITING, 10));
        let places = stock_rows::places(&mut ground.connection(), club).expect("places are read");
        assert_eq!(places.len(), 2 + WAITING, "all that waited was kept, and nothing else");
    });
}
