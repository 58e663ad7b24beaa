//! What is known of items that are bought: their use, their reorder point, what is free to use. The figures are worked
//! out by hand.

use undercroft::actions::buying::{Keeping, keep_up};
use undercroft::actions::holds::{HoldBack, hold};
use undercroft::actions::{batches, bottles, reversals, stock};
use undercroft::db::Database;
use undercroft::db::buying::{Of, look};
use undercroft::domain::batches::{DrawLine, Source};
use undercroft::domain::bottles::Bottling;
use undercroft::domain::buying::{Known, Point, Upkeep, Use};
use undercroft::domain::stock::{ItemKind, Receipt};
use undercroft::units::ids::{ClubId, ItemId};
use undercroft::units::quantity::{BaseUnit, Milli};

use crate::ground::cellar::{Cellar, bottling, bought, draw, item};
use crate::ground::{Ground, day, findings, on_both};

on_both!(
    a_reorder_point_follows_from_what_was_used,
    what_was_taken_back_is_no_use_and_packaging_is,
    what_is_on_hold_is_not_free_and_packs_are_those_of_receipts_that_stand
);

async fn known(db: &Database, club: ClubId, of: ItemId, today: &str) -> Known {
    let today = day(today);
    let looked = db.read(move |conn| look(conn, club, today, Of::All)).await.expect("items are looked at");
    let found = looked.items.into_iter().find(|one| one.1.id == of).expect("it is bought").1;
    let alone = db.read(move |conn| look(conn, club, today, Of::Item(of))).await.expect("one is looked at");
    assert_eq!(alone.items[0].1, found, "one item alone is the same");
    found
}

fn used(thousandths: i64, days: i64) -> Use {
    Use { quantity: Milli::new(thousandths), days }
}

async fn a_reorder_point_follows_from_what_was_used(ground: &Ground) {
    let db = ground.open();
    let cellar = Cellar::new(&db, "Tidemill Cellar Club").await;
    let (club, hand) = (cellar.club.hand.club, &cellar.club.hand);
    // Milk came on 1 March and 30 L were drawn. From then to 30 June are 122 days: 30 L × 10.5 / 122, rounded up.
    let milk = known(&db, club, cellar.milk, "2026-06-30").await;
    assert_eq!(milk.used, used(30_000_000, 122));
    assert_eq!(milk.point, Point::WorkedOut(Milli::new(2_581_968)));
    assert_eq!((milk.free, milk.needed().buy), (Milli::new(10_000_000), Milli::ZERO));
    let upkeep = Upkeep { lead_days: Some(10), cover_days: Some(0), ..Upkeep::default() };
    let order = Keeping { item: cellar.milk, upkeep: upkeep.clone() };
    keep_up(&db, hand, None, order).await.expect("it is said how milk is bought");
    // 30 L × 10 / 122, rounded up.
    let milk = known(&db, club, cellar.milk, "2026-06-30").await;
    assert_eq!((milk.upkeep, milk.point), (upkeep, Point::WorkedOut(Milli::new(2_459_017))));
    // A year later: on 2 March 2027 the milk was drawn 365 days ago, and the yeast, pitched a day later, within them.
    let milk = known(&db, club, cellar.milk, "2027-03-02").await;
    assert_eq!((milk.used, milk.point), (used(0, 365), Point::NoUse));
    assert_eq!(known(&db, club, cellar.yeast, "2027-03-02").await.used, used(10_000, 365));
    assert_eq!(known(&db, club, cellar.yeast, "2027-03-03").await.used, used(0, 365));
    // Ten days after it came it counts as thirty.
    assert_eq!(known(&db, club, cellar.milk, "2026-03-10").await.used, used(30_000_000, 30));
    // What is kept is changed, not kept beside.
    let order = Keeping { item: cellar.milk, upkeep: Upkeep::default() };
    keep_up(&db, hand, None, order).await.expect("it is said again");
    assert_eq!(known(&db, club, cellar.milk, "2026-06-30").await.upkeep, Upkeep::default());
    assert_eq!(findings(&db).off, Vec::<String>::new());
}

async fn what_was_taken_back_is_no_use_and_packaging_is(ground: &Ground) {
    let db = ground.open();
    let cellar = Cellar::new(&db, "Tidemill Cellar Club").await;
    let (club, hand) = (cellar.club.hand.club, &cellar.club.hand);
    let order = draw(cellar.batch, day("2026-06-02"), Source::Item(cellar.milk), 4_000_000);
    let drawn = batches::draw(&db, hand, None, order).await.expect("more milk is drawn");
    assert_eq!(known(&db, club, cellar.milk, "2026-06-30").await.used.quantity, Milli::new(34_000_000));
    let order = reversals::TakeBack { entry: drawn.entry, reason: "the wrong jar".to_owned() };
    reversals::record_reversal(&db, hand, None, order).await.expect("it is taken back");
    assert_eq!(known(&db, club, cellar.milk, "2026-06-30").await.used.quantity, Milli::new(30_000_000));

    let cork = item("Cork", ItemKind::Packaging, BaseUnit::Piece);
    let cork = stock::add_item(&db, hand, None, cork).await.expect("corks are kept");
    let lines = vec![bought(cork, 100_000, 18_000_000, cellar.place)];
    let receipt = Receipt { day: day("2026-05-01"), paid_by: None, lines, remark: String::new() };
    stock::record_receipt(&db, hand, None, receipt).await.expect("corks come");
    let packaging =
        vec![DrawLine { source: Source::Item(cork), quantity: Milli::new(4_000), expired_because: None }];
    let order = Bottling { packaging, ..bottling(cellar.batch, cellar.place, 4) };
    bottles::record_bottling(&db, hand, None, order).await.expect("four are corked");
    // 4 corks in the 61 days of May and June, for 10.5 days: 0.69, so one cork.
    let corks = known(&db, club, cork, "2026-06-30").await;
    assert_eq!((corks.used, corks.point), (used(4_000, 61), Point::WorkedOut(Milli::new(1_000))));
    // Curds and bottles are made, not bought.
    let today = day("2026-06-30");
    let looked = db.read(move |conn| look(conn, club, today, Of::All)).await.expect("items are looked at");
    let names: Vec<&str> = looked.items.iter().map(|one| one.0.name.as_str()).collect();
    assert_eq!(names, ["Cork", "Dry yeast", "Whole milk"]);
}

async fn what_is_on_hold_is_not_free_and_packs_are_those_of_receipts_that_stand(ground: &Ground) {
    let db = ground.open();
    let cellar = Cellar::new(&db, "Tidemill Cellar Club").await;
    let (club, hand) = (cellar.club.hand.club, &cellar.club.hand);
    let order = HoldBack { lot: cellar.milk_lot, reason: "smells of hay".to_owned(), all: false };
    hold(&db, hand, None, order).await.expect("it is held");
    let milk = known(&db, club, cellar.milk, "2026-06-30").await;
    assert_eq!((milk.free, milk.stopped), (Milli::ZERO, Milli::new(10_000_000)));
    assert_eq!((milk.needed().missing, milk.needed().pack), (Milli::new(2_581_968), None));
    let buy = async |on: &str, quantity: i64, cost: i64| {
        let lines = vec![bought(cellar.milk, quantity, cost, cellar.place)];
        let receipt = Receipt { day: day(on), paid_by: None, lines, remark: String::new() };
        stock::record_receipt(&db, hand, None, receipt).await.expect("milk comes").entry
    };
    buy("2026-05-02", 1_000_000, 3_000_000).await;
    buy("2026-05-03", 1_000_000, 2_000_000).await;
    let wrong = buy("2026-05-04", 9_000_000, 1_000_000).await;
    let order = reversals::TakeBack { entry: wrong, reason: "it was butter".to_owned() };
    reversals::record_reversal(&db, hand, None, order).await.expect("it is taken back");
    // 0.582 L are missing besides the two bottles of 1 L: one more at 2.00.
    let milk = known(&db, club, cellar.milk, "2026-06-30").await;
    assert_eq!((milk.free, milk.needed().missing), (Milli::new(2_000_000), Milli::new(581_968)));
    assert_eq!(milk.needed().buy, Milli::new(1_000_000));
    assert_eq!(milk.needed().cost.map(undercroft::units::money::Money::micros), Some(2_000_000));
    assert_eq!(milk.supplier(), "Weir Farm");
}
