//! What is recorded for a past day: it takes no more than was there then, what was measured or counted is compared with
//! that day, and a batch's stage follows from the days on which things happened.

use undercroft::actions::batches::{self, Planned, Transferred};
use undercroft::actions::reversals::{TakeBack, record_reversal};
use undercroft::actions::{Done, Error, bottles, stock};
use undercroft::db::{Database, batches as rows, books, stock as stock_rows};
use undercroft::domain::batches::{Ending, Loss, Racking, Source, Stage, Transfer};
use undercroft::domain::books::{Account, EntryKind};
use undercroft::domain::bottles::{Purpose, Withdrawal};
use undercroft::domain::members::{Cellarhand, Taster};
use undercroft::domain::stock::{Counted, Move};
use undercroft::units::ids::{BatchId, EntryId};
use undercroft::units::quantity::Milli;

use crate::ground::cellar::{Cellar, draw};
use crate::ground::{Ground, day, findings, on_both};

on_both!(
    what_came_to_a_shelf_later_was_not_there_before,
    what_came_into_a_batch_later_was_not_in_it_before,
    what_was_counted_is_compared_with_its_day,
    a_blend_leaves_working_must_working_and_its_reversal_takes_its_stage_along,
    a_reversal_stands_in_the_record_of_what_it_concerns,
);

/// The field and the words of a refusal.
#[track_caller]
fn refused<T: std::fmt::Debug>(done: Done<T>) -> (String, String) {
    match done {
        Err(Error::Refused(refusal)) => (refusal.faults[0].field.clone(), refusal.to_string()),
        other => panic!("it was to be refused: {other:?}"),
    }
}

fn litres(litres: i64) -> Milli {
    Milli::new(litres * 1_000_000)
}

async fn what_came_to_a_shelf_later_was_not_there_before(ground: &Ground) {
    let db = ground.open();
    let cellar = Cellar::new(&db, "Tidemill Cellar Club").await;
    let (hand, lot, place, shelf) = (&cellar.club.hand, cellar.milk_lot, cellar.place, cellar.shelf);
    let carry = async |on: &str, much: i64, from, to| {
        let order = Move { day: day(on), lot, quantity: litres(much), from, to };
        stock::move_stock(&db, hand, None, order).await
    };
    carry("2026-03-05", 2, place, shelf).await.expect("2 L are carried");
    carry("2026-06-02", 5, place, shelf).await.expect("5 L more");
    let (field, words) = refused(carry("2026-05-01", 4, shelf, place).await);
    assert_eq!(field, "quantity");
    assert!(
        words.contains("only 2.0 L was left of lot L-1 on 1 May 2026; write that or less, or a later day")
    );
    let (_, words) = refused(carry("2026-03-04", 1, shelf, place).await);
    assert!(words.contains("since 5 March 2026"), "{words}");
    let counted =
        Counted { day: day("2026-05-01"), lot, place: shelf, counted: Milli::ZERO, reason: "gone".into() };
    stock::record_count(&db, hand, None, counted).await.expect("the 2 L of that day are gone, the 5 L stay");
    // Nothing of that shelf may be used any more before June; the 3 L at the other place may.
    let drawn = draw(cellar.batch, day("2026-05-02"), Source::Lot(lot), 4_000_000);
    let (field, words) = refused(batches::draw(&db, hand, None, drawn).await);
    assert_eq!(field, "lines.0.quantity");
    assert!(words.contains("nothing was left of lot L-1 on 2 May 2026"), "{words}");
    let drawn = draw(cellar.batch, day("2026-05-02"), Source::Lot(lot), 3_000_000);
    batches::draw(&db, hand, None, drawn).await.expect("3 L stood at the other place");

    let club = hand.club;
    let on =
        db.read(move |conn| stock_rows::stock_on(conn, club, day("2026-05-02"))).await.expect("a past day");
    assert!(on.iter().all(|line| line.place != shelf), "{on:?}");
    assert_eq!(findings(&db).off, Vec::<String>::new());
}

async fn what_came_into_a_batch_later_was_not_in_it_before(ground: &Ground) {
    let db = ground.open();
    let cellar = Cellar::new(&db, "Tidemill Cellar Club").await;
    let (hand, batch) = (&cellar.club.hand, cellar.batch);
    let drawn = draw(batch, day("2026-06-20"), Source::Item(cellar.milk), 9_000_000);
    batches::draw(&db, hand, None, drawn).await.expect("more milk is drawn");
    let club = hand.club;
    let holds =
        db.read(move |conn| books::holding(conn, club, Account::Batch(batch))).await.expect("a balance");
    let before = holds.quantity - litres(9);
    let lose = async |on: &str, volume: Milli| {
        let order = Loss { batch, day: day(on), volume, normal: true, reason: "spilt".to_owned() };
        batches::record_loss(&db, hand, None, order).await
    };
    let (field, words) = refused(lose("2026-06-10", before + Milli::new(1)).await);
    assert_eq!(field, "volume");
    assert!(words.contains("was left of batch 1 on 10 June 2026"), "{words}");
    let rack = async |on: &str, after: Milli| {
        let order = Racking { batch, day: day(on), volume_after: Some(after), remark: String::new() };
        batches::record_racking(&db, hand, None, order).await
    };
    rack("2026-06-10", before - litres(1)).await.expect("a litre of lees on that day");
    let end = Ending { batch, day: day("2026-06-11"), abandoned: true, reason: "mould".to_owned() };
    let (_, words) = refused(batches::record_end(&db, hand, None, end).await);
    assert!(words.contains("The books of batch 1 go on until 20 June 2026"), "{words}");
    lose("2026-06-10", before - litres(1)).await.expect("all of what was in it");
    assert_eq!(findings(&db).off, Vec::<String>::new());
}

async fn what_was_counted_is_compared_with_its_day(ground: &Ground) {
    let db = ground.open();
    let cellar = Cellar::new(&db, "Tidemill Cellar Club").await;
    let (hand, lot, place) = (&cellar.club.hand, cellar.milk_lot, cellar.place);
    let order = Move { day: day("2026-06-02"), lot, quantity: litres(6), from: place, to: cellar.shelf };
    stock::move_stock(&db, hand, None, order).await.expect("6 of 10 L are carried away");
    let count = async |on: &str, counted: Milli| {
        let count = Counted { day: day(on), lot, place, counted, reason: "counted".to_owned() };
        stock::record_count(&db, hand, None, count).await
    };
    let (_, words) = refused(count("2026-06-01", litres(10)).await);
    assert!(words.contains("nothing to put right"), "{words}");
    let (field, words) = refused(count("2026-06-01", litres(5)).await);
    assert_eq!(field, "counted");
    assert!(
        words.contains("10.0 L on 1 June 2026, and of that only 4.0 L was left on 2 June 2026"),
        "{words}"
    );
    count("2026-06-01", litres(9)).await.expect("one less than the books said of that day");
    let club = hand.club;
    let left = db.read(move |conn| books::holding(conn, club, Account::Stock { lot, place })).await;
    assert_eq!(left.expect("a balance").quantity, litres(3));
    assert_eq!(findings(&db).off, Vec::<String>::new());
}

async fn stage(db: &Database, hand: &Cellarhand, batch: BatchId) -> Stage {
    let club = hand.club;
    db.read(move |conn| rows::batch(conn, club, batch)).await.expect("a batch").stage
}

async fn batch_with_milk(db: &Database, cellar: &Cellar, name: &str) -> Planned {
    let hand = &cellar.club.hand;
    let plan = batches::Plan { name: name.to_owned(), base_volume: None, day: day("2026-06-01") };
    let made = batches::plan(db, hand, None, plan).await.expect("a plan");
    let drawn = draw(made.id, day("2026-06-02"), Source::Item(cellar.milk), 2_000_000);
    batches::draw(db, hand, None, drawn).await.expect("milk is drawn");
    made
}

async fn pour(db: &Database, hand: &Cellarhand, from: BatchId, into: BatchId, on: &str) -> Transferred {
    let into = Some(into);
    let order =
        Transfer { batch: from, day: day(on), volume: litres(1), into, name: None, remark: String::new() };
    batches::record_transfer(db, hand, None, order).await.expect("a litre is blended in")
}

async fn back(db: &Database, hand: &Cellarhand, entry: EntryId) -> EntryId {
    let order = TakeBack { entry, reason: "a mistake".to_owned() };
    record_reversal(db, hand, None, order).await.expect("it is taken back")
}

async fn a_blend_leaves_working_must_working_and_its_reversal_takes_its_stage_along(ground: &Ground) {
    let db = ground.open();
    let cellar = Cellar::new(&db, "Tidemill Cellar Club").await;
    let hand = &cellar.club.hand;
    let working = batch_with_milk(&db, &cellar, "Working").await.id;
    let pitch = draw(working, day("2026-06-03"), Source::Item(cellar.yeast), 1_000);
    let pitch = undercroft::domain::batches::Draw { pitch: true, ..pitch };
    batches::draw(&db, hand, None, pitch).await.expect("yeast is pitched");
    let resting = cellar.batch;
    assert_eq!(stage(&db, hand, resting).await, Stage::Resting);
    pour(&db, hand, resting, working, "2026-06-05").await;
    assert_eq!(stage(&db, hand, working).await, Stage::Working, "it works until it is racked");

    let other = batch_with_milk(&db, &cellar, "Blend").await.id;
    let first = pour(&db, hand, working, other, "2026-06-06").await;
    let second = pour(&db, hand, resting, other, "2026-06-07").await;
    assert_eq!(stage(&db, hand, other).await, Stage::Working);
    back(&db, hand, first.entry).await;
    assert_eq!(stage(&db, hand, other).await, Stage::Resting, "only resting drink came into it now");
    back(&db, hand, second.entry).await;
    assert_eq!(stage(&db, hand, other).await, Stage::Preparing);

    // Racked juice works once it is pitched; and racking written down late counts for its own day.
    let order = Racking { batch: other, day: day("2026-06-03"), volume_after: None, remark: String::new() };
    batches::record_racking(&db, hand, None, order).await.expect("juice is racked");
    let pitch = draw(other, day("2026-06-04"), Source::Item(cellar.yeast), 1_000);
    let pitch = undercroft::domain::batches::Draw { pitch: true, ..pitch };
    batches::draw(&db, hand, None, pitch).await.expect("yeast is pitched");
    assert_eq!(stage(&db, hand, other).await, Stage::Working);
    assert_eq!(findings(&db).off, Vec::<String>::new());
}

async fn a_reversal_stands_in_the_record_of_what_it_concerns(ground: &Ground) {
    let db = ground.open();
    let cellar = Cellar::new(&db, "Tidemill Cellar Club").await;
    let hand = &cellar.club.hand;
    let by = Taster::from_doer((**hand).clone()).expect("a cellarhand may");
    let order = Withdrawal {
        bottling: cellar.bottled.bottling,
        day: day("2026-12-20"),
        bottles: 2,
        purpose: Purpose::Tasting,
        member: None,
        place: None,
        happened_at: None,
        remark: String::new(),
    };
    let opened = bottles::record_withdrawal(&db, &by, None, order).await.expect("two bottles are opened");
    let reversal = back(&db, hand, opened).await;
    let (club, bottling) = (hand.club, cellar.bottled.bottling);
    let told = db.read(move |conn| books::tell(conn, club, books::Which::Bottling(bottling), None, 9)).await;
    let told = told.expect("the record of the bottling");
    assert_eq!(told[0].id, reversal);
    assert_eq!(told[0].reverses, Some((opened, EntryKind::Withdrawal)));
    assert_eq!((told[0].batch, told[0].bottling), (Some(cellar.batch), Some(bottling)));
    // The tasting did not happen: the one of 180 days still waits.
    let waits = db.read(move |conn| {
        undercroft::db::bottles::ages_falling(conn, club, day("2026-11-01"), day("2026-12-31"))
    });
    assert_eq!(waits.await.expect("ages").len(), 1);
}
