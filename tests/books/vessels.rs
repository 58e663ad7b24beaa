//! Where batches stand follows what is recorded of them, and a vessel never holds two of them.

use undercroft::actions::batches::{self, Plan};
use undercroft::actions::reversals::{TakeBack, record_reversal};
use undercroft::actions::{bottles, vessels};
use undercroft::db::Database;
use undercroft::db::vessels as rows;
use undercroft::domain::batches::{Draw, Ending, Racking, Source, Transfer};
use undercroft::domain::cautions::{Reasons, Rule};
use undercroft::domain::members::Cellarhand;
use undercroft::domain::vessels::{Closure, Filling, Material, Vessel};
use undercroft::units::ids::{BatchId, VesselId};
use undercroft::units::measure::ReadingKind;
use undercroft::units::quantity::Milli;

use crate::ground::cellar::{Cellar, bottling, draw, fill, steel};
use crate::ground::{Ground, day, findings, on_both};

on_both!(
    a_vessel_holds_one_batch_at_a_time,
    racking_splitting_and_ending_move_what_stands_in_vessels,
    hot_liquid_and_a_closed_vessel_need_a_reason_that_is_kept,
    what_was_recorded_wrongly_is_struck_out,
    many_hands_fill_the_same_vessel_at_once
);

/// Codes and litres of the vessels in which a batch stands.
fn stands(db: &Database, batch: BatchId) -> Vec<(String, i64)> {
    let mut conn = db.connection().expect("a connection");
    let found = rows::of_batch(&mut conn, batch).expect("its vessels are read");
    found.into_iter().map(|vessel| (vessel.code, vessel.volume.get() / 1_000_000)).collect()
}

fn litres(code: &str, litres: i64) -> (String, i64) {
    (code.to_owned(), litres)
}

async fn new_vessel(db: &Database, by: &Cellarhand, vessel: Vessel) -> VesselId {
    vessels::add_vessel(db, by, None, vessel).await.expect("a new vessel")
}

/// Another batch with ten litres of the milk.
async fn other_batch(db: &Database, cellar: &Cellar) -> BatchId {
    let hand = &cellar.club.hand;
    let plan = Plan { name: "Whey drink".to_owned(), base_volume: None, day: day("2026-03-01") };
    let batch = batches::plan(db, hand, None, plan).await.expect("a batch is planned").id;
    let order = draw(batch, day("2026-03-04"), Source::Lot(cellar.milk_lot), 10_000_000);
    batches::draw(db, hand, None, order).await.expect("milk is drawn");
    batch
}

async fn a_vessel_holds_one_batch_at_a_time(ground: &Ground) {
    let db = ground.open();
    let cellar = Cellar::new(&db, "Quay Cellar").await;
    let hand = &cellar.club.hand;
    let other = other_batch(&db, &cellar).await;
    let refused = |filled: Filling| {
        let db = &db;
        async move { vessels::fill_vessel(db, hand, None, filled).await.expect_err("it is full").to_string() }
    };
    let said = refused(fill(cellar.vessel, other, 3)).await;
    assert!(said.contains("is in vessel T1 since 1 June 2026"), "{said}");
    assert!(refused(fill(cellar.vessel, cellar.batch, 26)).await.contains("holds 25.0 L"));
    assert!(refused(fill(cellar.vessel, cellar.batch, 11)).await.contains("holds 10.0 L by the books"));
    assert!(refused(fill(cellar.vessel, cellar.batch, 0)).await.contains("above zero"));
    assert!(refused(fill(cellar.vessel, cellar.batch, -4)).await.contains("above zero"));
    // More of the same batch is no second filling.
    vessels::fill_vessel(&db, hand, None, fill(cellar.vessel, cellar.batch, 9)).await.expect("topped up");
    assert_eq!(stands(&db, cellar.batch), [litres("T1", 9)]);
    let deed = vessels::Deed::Empty("into bottles".to_owned());
    vessels::tend(&db, hand, None, cellar.vessel, day("2026-06-05"), deed).await.expect("it is emptied");
    let said = refused(fill(cellar.vessel, other, 3)).await;
    assert!(said.contains("was in use until 5 June 2026"), "{said}");
    let later = Filling { day: day("2026-06-05"), ..fill(cellar.vessel, other, 3) };
    vessels::fill_vessel(&db, hand, None, later).await.expect("it is free");
    assert_eq!((stands(&db, cellar.batch), stands(&db, other)), (vec![], vec![litres("T1", 3)]));
    let again = vessels::add_vessel(&db, hand, None, steel("T1", cellar.place)).await.expect_err("its code");
    assert!(again.to_string().contains("There is a vessel T1 already"), "{again}");
}

async fn racking_splitting_and_ending_move_what_stands_in_vessels(ground: &Ground) {
    let db = ground.open();
    let cellar = Cellar::new(&db, "Quay Cellar").await;
    let (hand, batch) = (&cellar.club.hand, cellar.batch);
    let second = new_vessel(&db, hand, steel("T2", cellar.place)).await;
    let third = new_vessel(&db, hand, steel("T3", cellar.place)).await;
    let into = |vessel| Some(vessels::Into { vessel, liquid_c: None, reasons: Reasons::default() });
    let racking = Racking {
        batch,
        day: day("2026-06-03"),
        volume_after: Some(Milli::new(9_000_000)),
        remark: String::new(),
    };
    let racked = vessels::racked(&db, hand, None, (racking, into(second))).await.expect("it is racked");
    assert_eq!(stands(&db, batch), [litres("T2", 9)]);
    let split = Transfer {
        batch,
        day: day("2026-06-04"),
        volume: Milli::new(2_000_000),
        into: None,
        name: None,
        remark: String::new(),
    };
    let made = vessels::transferred(&db, hand, None, (split, into(third))).await.expect("it is split");
    assert_eq!((stands(&db, batch), stands(&db, made.into)), (vec![litres("T2", 7)], vec![litres("T3", 2)]));
    let order = undercroft::domain::bottles::Bottling {
        day: day("2026-06-05"),
        bottle_volume: Milli::new(1_000_000),
        ..bottling(batch, cellar.place, 7)
    };
    let filled = bottles::record_bottling(&db, hand, None, order).await.expect("it is bottled");
    assert_eq!(stands(&db, batch), [], "nothing is left of it");
    let back = |entry| TakeBack { entry, reason: "not yet".to_owned() };
    record_reversal(&db, hand, None, back(filled.entry)).await.expect("it goes back");
    assert_eq!(stands(&db, batch), [litres("T2", 7)]);
    record_reversal(&db, hand, None, back(made.entry)).await.expect("it goes back");
    assert_eq!((stands(&db, batch), stands(&db, made.into)), (vec![litres("T2", 9)], vec![]));
    record_reversal(&db, hand, None, back(racked.entry)).await.expect("it goes back");
    assert_eq!(stands(&db, batch), [litres("T1", 5)], "as it stood before it was racked");
    let order = Ending { batch, day: hand.today(), abandoned: true, reason: "it turned".to_owned() };
    batches::record_end(&db, hand, None, order).await.expect("it is given up");
    assert_eq!(stands(&db, batch), []);
    assert_eq!(findings(&db).off, Vec::<String>::new());
}

async fn hot_liquid_and_a_closed_vessel_need_a_reason_that_is_kept(ground: &Ground) {
    let db = ground.open();
    let cellar = Cellar::new(&db, "Quay Cellar").await;
    let hand = &cellar.club.hand;
    let batch = other_batch(&db, &cellar).await;
    let yeast = draw(batch, day("2026-03-05"), Source::Item(cellar.yeast), 1_000);
    batches::draw(&db, hand, None, Draw { pitch: true, ..yeast }).await.expect("it works");
    let glass = Vessel { material: Material::Glass, ..steel("G1", cellar.place) };
    let jar = new_vessel(&db, hand, glass).await;
    let warm = |text: &str| Some(ReadingKind::Temperature.read(text).expect("a temperature"));
    let order = |celsius, closure, reasons| Filling {
        liquid_c: warm(celsius),
        closure: Some(closure),
        reasons,
        ..fill(jar, batch, 2)
    };
    // The glass is taken to have 15 °C; 40 °C more are the limit.
    let hot = order("55.1", Closure::Airlock, Reasons::default());
    let said = vessels::fill_vessel(&db, hand, None, hot).await.expect_err("it is hot").to_string();
    assert!(said.contains("Danger: heat breaks vessel G1, and the liquid has 55 °C"), "{said}");
    let closed = order("20", Closure::Lid, Reasons::default());
    let said = vessels::fill_vessel(&db, hand, None, closed).await.expect_err("it is closed").to_string();
    assert!(said.contains("vessel G1 is closed, and this batch is working"), "{said}");
    let why = Reasons::default().with(Rule::HotGlass, "the jar stood in warm water");
    let both = order("55.1", Closure::Airlock, why);
    vessels::fill_vessel(&db, hand, None, both).await.expect("it is said why");
    let mut conn = db.connection().expect("a connection");
    let which = undercroft::db::cautions::Which::Batch(batch);
    let kept = undercroft::db::cautions::given(&mut conn, hand.club, which, 9).expect("reasons");
    let hot: Vec<_> = kept.iter().filter(|given| given.rule == Rule::HotGlass).collect();
    assert_eq!(hot.len(), 1);
    assert_eq!(
        (hot[0].words.as_str(), hot[0].by.as_str()),
        ("the jar stood in warm water", hand.name.as_str())
    );
    assert!(hot[0].entry.is_none() && hot[0].danger.contains("55 °C"));
}

async fn what_was_recorded_wrongly_is_struck_out(ground: &Ground) {
    let db = ground.open();
    let cellar = Cellar::new(&db, "Quay Cellar").await;
    let hand = &cellar.club.hand;
    let strike = || vessels::StrikeFilling { filling: cellar.filling, reason: "the wrong jar".to_owned() };
    vessels::strike_filling(&db, hand, None, strike()).await.expect("it is struck out");
    assert_eq!(stands(&db, cellar.batch), []);
    let again = vessels::strike_filling(&db, hand, None, strike()).await.expect_err("once is enough");
    assert!(again.to_string().contains("struck out already"), "{again}");
    let other = other_batch(&db, &cellar).await;
    let early = Filling { day: day("2026-03-05"), ..fill(cellar.vessel, other, 3) };
    vessels::fill_vessel(&db, hand, None, early).await.expect("as if it had not been");
    let mut conn = db.connection().expect("a connection");
    let history = rows::history(&mut conn, cellar.vessel, None, 9).expect("its history");
    assert_eq!(history.len(), 2);
    let (at, why) = history[1].struck.clone().expect("it stays, struck out");
    assert_eq!((at, why.as_str()), (hand.now, "the wrong jar"));
}

async fn many_hands_fill_the_same_vessel_at_once(ground: &Ground) {
    let db = ground.open();
    let cellar = Cellar::new(&db, "Quay Cellar").await;
    let vessel = new_vessel(&db, &cellar.club.hand, steel("T2", cellar.place)).await;
    let other = other_batch(&db, &cellar).await;
    let mut hands = tokio::task::JoinSet::new();
    for at in 0..8 {
        let (db, hand) = (db.clone(), cellar.club.hand.clone());
        let batch = if at % 2 == 0 { cellar.batch } else { other };
        hands.spawn(
            async move { vessels::fill_vessel(&db, &hand, None, fill(vessel, batch, 2)).await.is_ok() },
        );
    }
    while let Some(done) = hands.join_next().await {
        done.expect("nobody panics");
    }
    let there = [stands(&db, cellar.batch), stands(&db, other)].concat();
    assert_eq!(there.iter().filter(|(code, _)| code == "T2").count(), 1, "{there:?}");
}
