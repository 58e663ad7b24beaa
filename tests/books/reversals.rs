//! Taking entries back: refused while later ones rest on them, naming those; allowed once these are taken back in turn.

use undercroft::actions::reversals::{TakeBack, record_reversal};
use undercroft::actions::{Done, Error, batches, bottles, stock};
use undercroft::db::stock::{self as stock_rows, StockFilter};
use undercroft::db::{Database, batches as rows, books};
use undercroft::domain::batches::{Ending, Racking, Stage};
use undercroft::domain::books::{Account, Holding};
use undercroft::domain::bottles::{Purpose, Withdrawal};
use undercroft::domain::members::{Cellarhand, Taster};
use undercroft::domain::stock::Move;
use undercroft::units::ids::EntryId;
use undercroft::units::money::Money;
use undercroft::units::quantity::Milli;

use crate::ground::cellar::Cellar;
use crate::ground::{Ground, day, findings, on_both};

on_both!(
    what_others_rest_on_stays_until_they_are_taken_back,
    an_entry_is_taken_back_once,
    what_is_taken_back_leaves_the_balances_as_they_were,
    an_ended_batch_keeps_its_entries,
);

async fn back(db: &Database, by: &Cellarhand, entry: EntryId) -> Done<EntryId> {
    record_reversal(db, by, None, TakeBack { entry, reason: "a mistake".to_owned() }).await
}

/// The refusal's words and the entries it names.
#[track_caller]
fn refused<T: std::fmt::Debug>(done: Done<T>) -> (String, Vec<EntryId>) {
    match done {
        Err(Error::Refused(refusal)) => (refusal.to_string(), refusal.entries),
        other => panic!("it was to be refused: {other:?}"),
    }
}

async fn what_others_rest_on_stays_until_they_are_taken_back(ground: &Ground) {
    let db = ground.open();
    let cellar = Cellar::new(&db, "Tidemill Cellar Club").await;
    let hand = &cellar.club.hand;
    let order = Withdrawal {
        bottling: cellar.bottled.bottling,
        day: day("2026-07-01"),
        bottles: 2,
        purpose: Purpose::Gift,
        member: None,
        place: None,
        happened_at: None,
        remark: String::new(),
    };
    let by = Taster::from_doer((**hand).clone()).expect("a cellarhand may");
    let gift = bottles::record_withdrawal(&db, &by, None, order).await.expect("two bottles are given away");

    let (words, named) = refused(back(&db, hand, cellar.receipt).await);
    assert_eq!(named, [cellar.pitch, cellar.draw], "the latest first");
    assert!(
        words.contains("“Yeast pitched” of 3 March 2026, “Supplies drawn” of 2 March 2026 stand in the way"),
        "{words}"
    );
    let (words, named) = refused(back(&db, hand, cellar.draw).await);
    assert_eq!(named, [cellar.bottled.entry, cellar.curds_entry]);
    assert!(words.contains("“Bottled” of 1 June 2026"), "{words}");
    let (_, named) = refused(back(&db, hand, cellar.bottled.entry).await);
    assert_eq!(named, [gift]);

    for entry in [gift, cellar.bottled.entry, cellar.curds_entry, cellar.pitch, cellar.draw, cellar.receipt] {
        back(&db, hand, entry).await.expect("nothing rests on it any more");
    }
    let club = hand.club;
    let left = db.read(move |conn| stock_rows::stock(conn, club, &StockFilter::default())).await;
    assert_eq!(left.expect("stock is read"), [], "nothing was ever received");
    assert_eq!(findings(&db).off, Vec::<String>::new());
}

async fn an_entry_is_taken_back_once(ground: &Ground) {
    let db = ground.open();
    let cellar = Cellar::new(&db, "Tidemill Cellar Club").await;
    let hand = &cellar.club.hand;
    let reversal = back(&db, hand, cellar.bottled.entry).await.expect("no bottle was taken yet");
    let (words, _) = refused(back(&db, hand, cellar.bottled.entry).await);
    assert!(words.contains("has been reversed already; nothing was changed"), "{words}");
    let (words, _) = refused(back(&db, hand, reversal).await);
    assert!(words.contains("A reversal is not reversed"), "{words}");
    assert_eq!(findings(&db).off, Vec::<String>::new());
}

async fn what_is_taken_back_leaves_the_balances_as_they_were(ground: &Ground) {
    let db = ground.open();
    let cellar = Cellar::new(&db, "Tidemill Cellar Club").await;
    let hand = &cellar.club.hand;
    let (club, lot, batch) = (hand.club, cellar.milk_lot, cellar.batch);
    let (place, shelf) = (cellar.place, cellar.shelf);
    let held = async || {
        let milk = Account::Stock { lot, place };
        let read = db.read(move |conn| {
            Ok::<_, undercroft::db::Failure>((
                books::holding(conn, club, milk)?,
                books::holding(conn, club, Account::Batch(batch))?,
                books::holding(conn, club, Account::Lost)?,
                rows::batch(conn, club, batch)?.stage,
            ))
        });
        read.await.expect("balances are read")
    };
    let before = held().await;
    assert_eq!(before.0, Holding { quantity: Milli::new(10_000_000), cost: Money::from_micros(10_000_000) });
    assert_eq!(before.3, Stage::Resting);

    let order = Move { day: day("2026-06-02"), lot, quantity: Milli::new(3_333_333), from: place, to: shelf };
    let moved = stock::move_stock(&db, hand, None, order).await.expect("milk is carried");
    let order = Ending { batch, day: day("2026-06-02"), abandoned: true, reason: "mould".to_owned() };
    let ended = batches::record_end(&db, hand, None, order).await.expect("the rest is given up");
    let given_up = held().await;
    assert_eq!((given_up.1, given_up.3), (Holding::default(), Stage::Abandoned));
    assert_eq!(given_up.2.cost, before.1.cost, "its cost is lost");

    back(&db, hand, moved).await.expect("the milk is carried back");
    back(&db, hand, ended.entry).await.expect("it was not given up");
    assert_eq!(held().await, before);
    assert_eq!(findings(&db).off, Vec::<String>::new());
}

async fn an_ended_batch_keeps_its_entries(ground: &Ground) {
    let db = ground.open();
    let cellar = Cellar::new(&db, "Tidemill Cellar Club").await;
    let (hand, batch) = (&cellar.club.hand, cellar.batch);
    let order =
        Racking { batch, day: day("2026-06-02"), volume_after: Some(Milli::ZERO), remark: String::new() };
    let racked = batches::record_racking(&db, hand, None, order).await.expect("the rest is lees");
    let order = Ending { batch, day: day("2026-06-03"), abandoned: false, reason: String::new() };
    let closed = batches::record_end(&db, hand, None, order).await.expect("nothing is left in it");
    for entry in [racked.entry, cellar.bottled.entry, cellar.pitch] {
        let (words, named) = refused(back(&db, hand, entry).await);
        assert!(named.contains(&closed.entry) && words.contains("“Closed” of 3 June 2026"), "{words}");
    }
    back(&db, hand, closed.entry).await.expect("it was not closed");
    back(&db, hand, racked.entry).await.expect("and not racked");
    assert_eq!(findings(&db).off, Vec::<String>::new());
}
