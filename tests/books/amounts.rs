//! Nothing, and less than nothing, is no amount: whatever way it came, a rule refuses it and nothing is recorded.

use undercroft::actions::{Done, Error, batches, bottles, stock};
use undercroft::db::Database;
use undercroft::domain::batches::{ByProduct, Draw, Loss, Racking, Source, Transfer};
use undercroft::domain::bottles::{Bottling, Purpose, Withdrawal};
use undercroft::domain::stock::{Counted, Move, Receipt, ReceiptLine};
use undercroft::units::days::Day;
use undercroft::units::money::Money;
use undercroft::units::quantity::Milli;

use super::world::told;
use crate::ground::cellar::{Cellar, bottling, bought, curds_off, draw};
use crate::ground::{Ground, day, on_both};

on_both!(nothing_and_less_is_refused);

/// What was wrongly done, or refused for another field.
#[derive(Default)]
struct Wrong(Vec<String>);

impl Wrong {
    fn unless_refused<T: std::fmt::Debug>(&mut self, what: &str, field: &str, done: Done<T>) {
        match done {
            Err(Error::Refused(refusal)) if refusal.faults[0].field == field => {}
            other => self.0.push(format!("{what}: {other:?}")),
        }
    }
}

async fn nothing_and_less_is_refused(ground: &Ground) {
    let db = ground.open();
    let cellar = Cellar::new(&db, "Tidemill Cellar Club").await;
    let before = told(&mut ground.connection());
    let mut wrong = Wrong::default();
    measured_below_zero(&db, &cellar, &mut wrong).await;
    for amount in [0, -1] {
        supplies_of(&db, &cellar, Milli::new(amount), &mut wrong).await;
        volumes_of(&db, &cellar, Milli::new(amount), &mut wrong).await;
    }
    no_lines_and_no_bottles(&db, &cellar, &mut wrong).await;
    assert!(wrong.0.is_empty(), "\n{}", wrong.0.join("\n"));
    assert_eq!(told(&mut ground.connection()), before);
}

async fn measured_below_zero(db: &Database, cellar: &Cellar, wrong: &mut Wrong) {
    let (hand, batch, place, lot, day) =
        (&cellar.club.hand, cellar.batch, cellar.place, cellar.milk_lot, june());
    let (below, volume_after) = (Milli::new(-1), Some(Milli::new(-1)));
    let owed = receipt(vec![bought(cellar.milk, 1, -1, place)]);
    wrong.unless_refused("a cost", "lines.0.cost", stock::record_receipt(db, hand, None, owed).await);
    let order = Draw { volume_after, ..draw(batch, day, Source::Lot(lot), 1) };
    wrong.unless_refused("a draw", "volume_after", batches::draw(db, hand, None, order).await);
    let order = Racking { batch, day, volume_after, remark: String::new() };
    wrong.unless_refused("a racking", "volume_after", batches::record_racking(db, hand, None, order).await);
    let curds = ByProduct { day, ..curds_off(batch, cellar.curds, place) };
    let order = ByProduct { volume_after, ..curds.clone() };
    wrong.unless_refused("curds", "volume_after", batches::by_product(db, hand, None, order).await);
    let order = ByProduct { value_per_unit: Some(Money::from_micros(-1)), ..curds };
    wrong.unless_refused("curds", "value_per_unit", batches::by_product(db, hand, None, order).await);
    let order = Bottling { lost_volume: below, ..bottling(batch, place, 1) };
    wrong.unless_refused("a bottling", "lost_volume", bottles::record_bottling(db, hand, None, order).await);
    let count = Counted { day, lot, place, counted: below, reason: String::new() };
    wrong.unless_refused("a count", "counted", stock::record_count(db, hand, None, count).await);
}

async fn supplies_of(db: &Database, cellar: &Cellar, quantity: Milli, wrong: &mut Wrong) {
    let (hand, batch, place, lot) = (&cellar.club.hand, cellar.batch, cellar.place, cellar.milk_lot);
    let lines = vec![bought(cellar.milk, 1, 1, place), bought(cellar.milk, quantity.get(), 1, place)];
    let done = stock::record_receipt(db, hand, None, receipt(lines)).await;
    wrong.unless_refused("a receipt", "lines.1.quantity", done);
    let order = Move { day: june(), lot, quantity, from: place, to: cellar.shelf };
    wrong.unless_refused("a move", "quantity", stock::move_stock(db, hand, None, order).await);
    let order = draw(batch, june(), Source::Lot(lot), quantity.get());
    wrong.unless_refused("a draw", "lines.0.quantity", batches::draw(db, hand, None, order).await);
    let order = ByProduct { quantity, ..curds_off(batch, cellar.curds, place) };
    wrong.unless_refused("curds", "quantity", batches::by_product(db, hand, None, order).await);
}

async fn volumes_of(db: &Database, cellar: &Cellar, volume: Milli, wrong: &mut Wrong) {
    let (hand, batch, day) = (&cellar.club.hand, cellar.batch, june());
    let order = Loss { batch, day, volume, normal: true, reason: String::new() };
    wrong.unless_refused("a loss", "volume", batches::record_loss(db, hand, None, order).await);
    let order = Transfer { batch, day, volume, into: None, name: None, remark: String::new() };
    wrong.unless_refused("a split", "volume", batches::record_transfer(db, hand, None, order).await);
    let order = Bottling { bottle_volume: volume, ..bottling(batch, cellar.place, 1) };
    wrong.unless_refused(
        "a bottling",
        "bottle_volume",
        bottles::record_bottling(db, hand, None, order).await,
    );
}

async fn no_lines_and_no_bottles(db: &Database, cellar: &Cellar, wrong: &mut Wrong) {
    let (hand, taster, batch) = (&cellar.club.hand, &cellar.club.taster, cellar.batch);
    wrong.unless_refused("a receipt", "lines", stock::record_receipt(db, hand, None, receipt(vec![])).await);
    let order = Draw { lines: vec![], ..draw(batch, june(), Source::Item(cellar.milk), 1) };
    wrong.unless_refused("a draw", "lines", batches::draw(db, hand, None, order).await);
    let order = bottling(batch, cellar.place, 0);
    wrong.unless_refused("a bottling", "bottles", bottles::record_bottling(db, hand, None, order).await);
    let order = Withdrawal {
        bottling: cellar.bottled.bottling,
        day: june(),
        bottles: 0,
        purpose: Purpose::Taken,
        member: Some(taster.member),
        place: None,
        happened_at: None,
        remark: String::new(),
    };
    let done = bottles::record_withdrawal(db, taster, None, order).await;
    wrong.unless_refused("a withdrawal", "bottles", done);
}

fn receipt(lines: Vec<ReceiptLine>) -> Receipt {
    Receipt { day: june(), paid_by: None, lines, remark: String::new() }
}

fn june() -> Day {
    day("2026-06-02")
}
