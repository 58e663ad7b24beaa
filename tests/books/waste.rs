//! What was thrown away past its day, and what will be: the figures are worked out by hand.

use undercroft::actions::buying::{Keeping, keep_up, open_lot};
use undercroft::actions::{reversals, stock};
use undercroft::db::Database;
use undercroft::db::buying::waste::{Thrown, thrown};
use undercroft::domain::buying::{Opening, Upkeep};
use undercroft::domain::reports::Span;
use undercroft::domain::stock::{Counted, Receipt, ReceiptLine};
use undercroft::units::ids::{EntryId, LotId};
use undercroft::units::quantity::Milli;

use crate::ground::cellar::{Cellar, bought};
use crate::ground::{Ground, day, findings, on_both};

on_both!(what_is_counted_away_after_its_day_was_thrown_away);

async fn away(db: &Database, cellar: &Cellar, lot: LotId, on: &str, left: i64) -> EntryId {
    let counted = Counted {
        day: day(on),
        lot,
        place: cellar.place,
        counted: Milli::new(left),
        reason: "down the drain".to_owned(),
    };
    stock::record_count(db, &cellar.club.hand, None, counted).await.expect("it is counted")
}

async fn what_is_counted_away_after_its_day_was_thrown_away(ground: &Ground) {
    let db = ground.open();
    let cellar = Cellar::new(&db, "Tidemill Cellar Club").await;
    let (club, hand) = (cellar.club.hand.club, &cellar.club.hand);
    let gone = async |year| {
        let span = Span::year(year).expect("a year");
        db.read(move |conn| thrown(conn, club, span)).await.expect("what was thrown away")
    };
    let line = ReceiptLine {
        best_before: Some(day("2026-06-10")),
        ..bought(cellar.milk, 5_000_000, 6_000_000, cellar.place)
    };
    let receipt = Receipt { day: day("2026-06-01"), paid_by: None, lines: vec![line], remark: String::new() };
    let lot = stock::record_receipt(&db, hand, None, receipt).await.expect("milk comes").lots[0].0;
    // On its last day a litre is spilt: it was still good. The next day two litres go; the rest is taken back.
    away(&db, &cellar, lot, "2026-06-10", 4_000_000).await;
    away(&db, &cellar, lot, "2026-06-11", 2_000_000).await;
    let wrong = away(&db, &cellar, lot, "2026-06-12", 0).await;
    let order = reversals::TakeBack { entry: wrong, reason: "it was another jar".to_owned() };
    reversals::record_reversal(&db, hand, None, order).await.expect("it is taken back");
    let milk = |found: &[Thrown]| -> Vec<(i32, i64, i64)> {
        found.iter().map(|one| (one.year, one.gone.quantity.get(), one.gone.cost.micros())).collect()
    };
    // Two of five litres for 6.00.
    assert_eq!(milk(&gone(2026).await), [(2026, 2_000_000, 2_400_000)]);
    assert_eq!(milk(&gone(2025).await), []);
    // The milk of March has no day; opened and kept for ten days it has one, and what is counted away then counts.
    away(&db, &cellar, cellar.milk_lot, "2026-06-20", 9_000_000).await;
    assert_eq!(milk(&gone(2026).await), [(2026, 2_000_000, 2_400_000)]);
    let upkeep = Upkeep { keeps_open_days: Some(10), ..Upkeep::default() };
    keep_up(&db, hand, None, Keeping { item: cellar.milk, upkeep }).await.expect("it is said how it keeps");
    let opening = Opening { lot: cellar.milk_lot, on: Some(day("2026-06-02")) };
    open_lot(&db, hand, None, opening).await.expect("it is open");
    assert_eq!(milk(&gone(2026).await), [(2026, 3_000_000, 3_400_000)]);
    assert_eq!(findings(&db).off, Vec::<String>::new());
}
