//! What is on hold is not drawn, bottled, taken or poured, whichever way it is asked for; and a recall names everybody.

use undercroft::actions::batches::{self, Plan};
use undercroft::actions::holds::{HoldBack, Release, hold, release};
use undercroft::actions::{bottles, stock, tastings};
use undercroft::db::Database;
use undercroft::db::holds as rows;
use undercroft::db::trace::recall::recall;
use undercroft::domain::batches::{Source, Transfer};
use undercroft::domain::bottles::{Purpose, Withdrawal};
use undercroft::domain::cautions::{Reasons, Rule};
use undercroft::domain::members::{Cellarhand, Doer, Role, Taster};
use undercroft::domain::stock::{Counted, Move, Receipt};
use undercroft::units::ids::{BatchId, LotId};
use undercroft::units::quantity::Milli;

use crate::ground::cellar::{Cellar, bottling, bought, draw, tasting};
use crate::ground::{Ground, day, findings, on_both};

on_both!(
    a_lot_on_hold_is_passed_over_or_named,
    everything_that_came_of_it_is_held_in_one_act,
    a_recall_names_members_shelves_and_batches
);

fn back(lot: LotId, all: bool) -> HoldBack {
    HoldBack { lot, reason: "it smells of solvent".to_owned(), all }
}

fn held(db: &Database, cellar: &Cellar) -> Vec<LotId> {
    let mut conn = db.connection().expect("a connection");
    let found = rows::all(&mut conn, cellar.club.hand.club).expect("holds are read");
    found.into_iter().map(|hold| hold.lot).collect()
}

async fn new_batch(db: &Database, hand: &Cellarhand) -> BatchId {
    let plan = Plan { name: "Whey drink".to_owned(), base_volume: None, day: day("2026-03-01") };
    batches::plan(db, hand, None, plan).await.expect("a batch is planned").id
}

fn taken(cellar: &Cellar, bottles: u32) -> Withdrawal {
    Withdrawal {
        bottling: cellar.bottled.bottling,
        day: day("2026-06-20"),
        bottles,
        purpose: Purpose::Taken,
        member: Some(cellar.club.taster.member),
        place: None,
        happened_at: None,
        remark: String::new(),
    }
}

async fn a_lot_on_hold_is_passed_over_or_named(ground: &Ground) {
    let db = ground.open();
    let cellar = Cellar::new(&db, "Quay Cellar").await;
    let hand = &cellar.club.hand;
    let lines = vec![bought(cellar.milk, 4_000_000, 4_000_000, cellar.shelf)];
    let receipt = Receipt { day: day("2026-06-01"), paid_by: None, lines, remark: String::new() };
    let fresh = stock::record_receipt(&db, hand, None, receipt).await.expect("milk comes").lots[0].0;
    let batch = new_batch(&db, hand).await;
    assert_eq!(hold(&db, hand, None, back(cellar.milk_lot, false)).await, Ok(1));
    let twice = hold(&db, hand, None, back(cellar.milk_lot, false)).await.expect_err("it is held");
    assert!(twice.to_string().contains("on hold already"), "{twice}");
    // First expired, first out would have taken the older lot, of which 10 L are left.
    let order = |source, litres: i64| draw(batch, day("2026-06-02"), source, litres * 1_000_000);
    batches::draw(&db, hand, None, order(Source::Item(cellar.milk), 3)).await.expect("of the other lot");
    let mut conn = db.connection().expect("a connection");
    let left = |conn: &mut _, lot| -> i64 {
        let shelves =
            undercroft::db::stock::shelves(conn, hand.club, undercroft::db::stock::Shelved::Lot(lot));
        shelves.expect("it is read").iter().map(|shelf| shelf.holding.quantity.get() / 1_000_000).sum()
    };
    assert_eq!((left(&mut conn, cellar.milk_lot), left(&mut conn, fresh)), (10, 1));
    for (source, litres) in [(Source::Item(cellar.milk), 2), (Source::Lot(cellar.milk_lot), 1)] {
        let refused = batches::draw(&db, hand, None, order(source, litres)).await.expect_err("it is held");
        let said = refused.to_string();
        assert!(said.contains("is on hold since") && said.contains("it smells of solvent"), "{said}");
    }
    // It may be carried to where it is in nobody's way, and counted.
    let quantity = Milli::new(1_000_000);
    let carried =
        Move { day: day("2026-06-03"), lot: cellar.milk_lot, quantity, from: cellar.place, to: cellar.shelf };
    stock::move_stock(&db, hand, None, carried).await.expect("it is moved");
    let counted = Counted {
        day: day("2026-06-03"),
        lot: cellar.milk_lot,
        place: cellar.place,
        counted: Milli::new(8_000_000),
        reason: "spilt".to_owned(),
    };
    stock::record_count(&db, hand, None, counted).await.expect("it is counted");
    // Bottles on hold are neither taken nor poured.
    hold(&db, hand, None, back(cellar.bottled.lot, false)).await.expect("the bottles are held");
    let by = Taster::from_doer(Doer::clone(hand)).expect("a cellarhand tastes");
    let said = bottles::record_withdrawal(&db, &by, None, taken(&cellar, 1)).await.expect_err("it is held");
    assert!(said.to_string().contains("is on hold since"), "{said}");
    let plan = tasting(&cellar.club, vec![cellar.bottled.bottling]);
    let said = tastings::plan_tasting(&db, hand, None, plan).await.expect_err("it is held");
    assert!(said.to_string().contains("is on hold since"), "{said}");
    // Another cellarhand does not release it; a steward does.
    let other = Doer { role: Role::Cellarhand, ..Doer::clone(&cellar.club.taster) };
    let other = Cellarhand::from_doer(other).expect("a cellarhand");
    let order = || Release { lot: cellar.bottled.lot, reason: "tested".to_owned(), all: false };
    let said = release(&db, &other, None, order()).await.expect_err("somebody else holds it").to_string();
    assert!(said.contains("only they or a steward release it"), "{said}");
    let steward = Cellarhand::from_doer(Doer::clone(&cellar.club.steward)).expect("a steward");
    assert_eq!(release(&db, &steward, None, order()).await, Ok(1));
    bottles::record_withdrawal(&db, &by, None, taken(&cellar, 1)).await.expect("it may be taken");
    let again = release(&db, hand, None, order()).await.expect_err("it is released");
    assert!(again.to_string().contains("not on hold"), "{again}");
    let past = rows::history(&mut conn, cellar.bottled.lot).expect("its holds");
    let (_, by, why) = past[0].released.clone().expect("it was released");
    assert_eq!(
        (past[0].reason.as_str(), by, why.as_str()),
        ("it smells of solvent", steward.name.clone(), "tested")
    );
    assert_eq!(findings(&db).off, Vec::<String>::new());
}

async fn everything_that_came_of_it_is_held_in_one_act(ground: &Ground) {
    let db = ground.open();
    let cellar = Cellar::new(&db, "Quay Cellar").await;
    let hand = &cellar.club.hand;
    let split = Transfer {
        batch: cellar.batch,
        day: day("2026-06-02"),
        volume: Milli::new(4_000_000),
        into: None,
        name: None,
        remark: String::new(),
    };
    let part = batches::record_transfer(&db, hand, None, split).await.expect("it is split").into;
    let order = |batch| undercroft::domain::bottles::Bottling {
        day: day("2026-06-03"),
        ..bottling(batch, cellar.place, 2)
    };
    let more = bottles::record_bottling(&db, hand, None, order(part)).await.expect("it is bottled").lot;
    // The milk, the curds, the bottles of the batch and those of the part that was split off.
    assert_eq!(hold(&db, hand, None, back(cellar.milk_lot, true)).await, Ok(4));
    let now = held(&db, &cellar);
    for lot in [cellar.milk_lot, cellar.bottled.lot, more] {
        assert!(now.contains(&lot), "{lot}");
    }
    let refused =
        bottles::record_bottling(&db, hand, None, order(part)).await.expect_err("it holds such milk");
    let said = refused.to_string();
    assert!(said.contains("Danger: what went into this batch is on hold"), "{said}");
    let reasons =
        Reasons::default().with(Rule::Held, "for the laboratory").with(Rule::Unfinished, "as before");
    let told = undercroft::domain::bottles::Bottling { reasons, ..order(part) };
    bottles::record_bottling(&db, hand, None, told).await.expect("it is said why");
    let all = Release { lot: cellar.milk_lot, reason: "the dairy was mistaken".to_owned(), all: true };
    assert_eq!(release(&db, hand, None, all).await, Ok(4));
    assert_eq!(held(&db, &cellar), []);
}

async fn a_recall_names_members_shelves_and_batches(ground: &Ground) {
    let db = ground.open();
    let cellar = Cellar::new(&db, "Quay Cellar").await;
    let hand = &cellar.club.hand;
    let by = Taster::from_doer(Doer::clone(hand)).expect("a cellarhand tastes");
    let order = |purpose, member, bottles| Withdrawal { purpose, member, ..taken(&cellar, bottles) };
    let taster = cellar.club.taster.member;
    for (purpose, member, bottles) in [
        (Purpose::Taken, Some(taster), 2),
        (Purpose::Taken, Some(taster), 1),
        (Purpose::Gift, None, 3),
        (Purpose::Broken, None, 1),
    ] {
        let order = order(purpose, member, bottles);
        bottles::record_withdrawal(&db, &by, None, order).await.expect("they are taken");
    }
    let mut conn = db.connection().expect("a connection");
    let of_milk = recall(&mut conn, hand.club, &[cellar.milk_lot]).expect("a recall");
    assert_eq!(of_milk.tell.len(), 1);
    let told = &of_milk.tell[0];
    assert_eq!((told.member, told.bottles, told.left_on), (taster, 3, None));
    assert_eq!(told.days, Some((day("2026-06-20"), day("2026-06-20"))));
    assert_eq!(of_milk.gone.iter().map(|gone| gone.bottles).sum::<i64>(), 7);
    let stands: i64 =
        of_milk.stands.iter().filter(|row| row.0 == cellar.bottled.lot).map(|row| row.2.get() / 1000).sum();
    assert_eq!(stands, 13, "twenty less seven");
    let batch = of_milk.batches.iter().find(|batch| batch.batch == cellar.batch).expect("its batch");
    assert_eq!((batch.left.get() / 1_000_000, batch.vessels[0].0.as_str()), (10, "T1"));
    // From the bottles alone it is the same members, and no batch.
    let of_bottles = recall(&mut conn, hand.club, &[cellar.bottled.lot]).expect("a recall");
    assert_eq!((&of_bottles.tell, of_bottles.batches.len()), (&of_milk.tell, 0));
    // A receipt is recalled by its lots; what is of another club is not found.
    let receipt =
        undercroft::db::trace::recall::of_receipt(&mut conn, hand.club, cellar.receipt).expect("its lots");
    assert_eq!(receipt.len(), 2);
    let other = Cellar::new(&db, "Other Cellar").await;
    assert!(recall(&mut conn, other.club.hand.club, &receipt).is_err());
    assert_eq!(
        undercroft::db::trace::recall::of_receipt(&mut conn, hand.club, cellar.draw).expect("no receipt"),
        []
    );
}
