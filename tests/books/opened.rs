//! What is open keeps for fewer days: drawing, reminders and what is free to use go by the earlier day.

use undercroft::actions::buying::{Keeping, keep_up, open_lot};
use undercroft::actions::counts::{FoundThing, found_thing};
use undercroft::actions::{batches, reminders, stock};
use undercroft::db::Database;
use undercroft::db::buying::{Of, look};
use undercroft::db::stock as rows;
use undercroft::domain::batches::Source;
use undercroft::domain::buying::{Opening, Upkeep};
use undercroft::domain::stock::{Receipt, ReceiptLine};
use undercroft::units::days::Day;
use undercroft::units::ids::LotId;
use undercroft::units::quantity::{BaseUnit, Milli};

use crate::ground::cellar::{Cellar, bought, draw, found};
use crate::ground::{Ground, day, findings, now, on_both};

on_both!(
    what_is_open_is_used_first_and_refused_sooner,
    whoever_counts_an_open_package_opens_its_lot,
    a_use_by_day_comes_sooner_for_what_is_open
);

/// More milk, good until a day; and milk that is open keeps for ten days.
async fn milk(db: &Database, cellar: &Cellar, until: &str) -> LotId {
    let hand = &cellar.club.hand;
    let line = ReceiptLine {
        best_before: Some(day(until)),
        ..bought(cellar.milk, 5_000_000, 5_000_000, cellar.place)
    };
    let receipt = Receipt { day: day("2026-06-01"), paid_by: None, lines: vec![line], remark: String::new() };
    let received = stock::record_receipt(db, hand, None, receipt).await.expect("milk comes");
    let upkeep = Upkeep { keeps_open_days: Some(10), ..Upkeep::default() };
    keep_up(db, hand, None, Keeping { item: cellar.milk, upkeep }).await.expect("it is said how it keeps");
    received.lots[0].0
}

async fn open(db: &Database, cellar: &Cellar, lot: LotId, on: Option<&str>) {
    let opening = Opening { lot, on: on.map(day) };
    open_lot(db, &cellar.club.hand, None, opening).await.expect("it is said to be open");
}

async fn good_until(db: &Database, cellar: &Cellar, lot: LotId) -> Option<Day> {
    let club = cellar.club.hand.club;
    db.read(move |conn| rows::lot(conn, club, lot)).await.expect("a lot").good_until()
}

async fn what_is_open_is_used_first_and_refused_sooner(ground: &Ground) {
    let db = ground.open();
    let cellar = Cellar::new(&db, "Tidemill Cellar Club").await;
    let (club, hand) = (cellar.club.hand.club, &cellar.club.hand);
    let dated = milk(&db, &cellar, "2026-06-25").await;
    // The milk of March has no day, so that the dated one goes first; opened, the old one is good until 12 June.
    let first = async || {
        let of = rows::Shelved::Item(cellar.milk);
        db.read(move |conn| rows::shelves(conn, club, of)).await.expect("milk is there")[0].lot
    };
    assert_eq!(first().await, dated);
    open(&db, &cellar, cellar.milk_lot, Some("2026-06-02")).await;
    assert_eq!(good_until(&db, &cellar, cellar.milk_lot).await, Some(day("2026-06-12")));
    assert_eq!(first().await, cellar.milk_lot);
    // On its last day it is drawn; a day later it is refused until a reason is given.
    let on = |when| draw(cellar.batch, day(when), Source::Lot(cellar.milk_lot), 1_000_000);
    batches::draw(&db, hand, None, on("2026-06-12")).await.expect("it is good that day");
    let refused = batches::draw(&db, hand, None, on("2026-06-13")).await.unwrap_err().to_string();
    assert!(refused.contains("was good until 12 June 2026"), "{refused}");
    let today = day("2026-06-13");
    let looked = db.read(move |conn| look(conn, club, today, Of::Item(cellar.milk))).await.expect("milk");
    let known = &looked.items[0].1;
    assert_eq!((known.free, known.stopped), (Milli::new(5_000_000), Milli::new(9_000_000)));
    // A best-before day that comes first stays; and it is not open after all.
    open(&db, &cellar, dated, Some("2026-06-24")).await;
    assert_eq!(good_until(&db, &cellar, dated).await, Some(day("2026-06-25")));
    open(&db, &cellar, cellar.milk_lot, None).await;
    assert_eq!(good_until(&db, &cellar, cellar.milk_lot).await, None);
    batches::draw(&db, hand, None, on("2026-06-13")).await.expect("it is closed again");
    let early = Opening { lot: dated, on: Some(day("2026-05-31")) };
    let refused = open_lot(&db, hand, None, early).await.unwrap_err().to_string();
    assert!(refused.contains("It came on 1 June 2026"), "{refused}");
    let drink = Opening { lot: cellar.bottled.lot, on: Some(day("2026-06-02")) };
    assert!(open_lot(&db, hand, None, drink).await.is_err(), "bottles are taken");
    assert_eq!(findings(&db).off, Vec::<String>::new());
}

async fn whoever_counts_an_open_package_opens_its_lot(ground: &Ground) {
    let db = ground.open();
    let cellar = Cellar::new(&db, "Tidemill Cellar Club").await;
    let club = cellar.club.hand.club;
    let count = async |opened, place| {
        let found = undercroft::actions::counts::Found { opened, ..found(1_000_000) };
        let (lot, unit) = (Some(cellar.milk_lot), BaseUnit::Millilitre);
        let thing = FoundThing { count: cellar.count, place, lot, what: String::new(), unit, found };
        found_thing(&db, &cellar.club.taster, None, thing).await.expect("milk is found");
    };
    let opened_on = async || {
        let lot = cellar.milk_lot;
        db.read(move |conn| rows::lot(conn, club, lot)).await.expect("a lot").opened_on
    };
    count(false, cellar.place).await;
    assert_eq!(opened_on().await, None);
    count(true, cellar.shelf).await;
    let counted_on = opened_on().await.expect("it is open");
    assert_eq!(counted_on, now().date());
    // Who knows better says so, and a later count does not change it.
    open(&db, &cellar, cellar.milk_lot, Some("2026-03-20")).await;
    count(true, cellar.shelf).await;
    assert_eq!(opened_on().await, Some(day("2026-03-20")));
}

async fn a_use_by_day_comes_sooner_for_what_is_open(ground: &Ground) {
    let db = ground.open();
    let cellar = Cellar::new(&db, "Tidemill Cellar Club").await;
    let (club, zone) = (cellar.club.hand.club, cellar.club.hand.zone);
    let lot = milk(&db, &cellar, "2027-06-25").await;
    let soon = async || {
        let until = day("2027-01-14");
        let found = db.read(move |conn| rows::expiring(conn, club, until)).await.expect("what expires");
        found.into_iter().map(|line| (line.lot, line.best_before)).collect::<Vec<_>>()
    };
    assert_eq!(soon().await, []);
    open(&db, &cellar, lot, Some("2026-12-30")).await;
    assert_eq!(soon().await, [(lot, Some(day("2027-01-09")))]);
    reminders::reconcile(&db, club, zone, now()).await.expect("reminders are made");
    let open_ones =
        db.read(move |conn| undercroft::db::reminders::open(conn, club, day("2027-12-31"), 50)).await;
    let open_ones = open_ones.expect("reminders are read");
    let due = open_ones.iter().find(|one| one.lot.as_ref().is_some_and(|of| of.0 == lot));
    assert!(due.is_some(), "{open_ones:?}");
}
