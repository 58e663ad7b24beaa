//! The trace of a lot against a search that tries every event of the model until nothing more is reached; and what a trace
//! that is cut short says.

use std::collections::BTreeSet;

use undercroft::actions::batches;
use undercroft::db::trace::trace_within;
use undercroft::domain::batches::{Draw, Source, Transfer};
use undercroft::units::quantity::Milli;

use super::deeds::{Bought, Deed, Event, Source as From, Spot, Take, What};
use super::fifo::python;
use super::model::Model;
use super::world::{PLACES, World, items};
use crate::ground::cellar::{Cellar, bottling, draw};
use crate::ground::{Ground, block_on, day, on_both};

on_both!(
    every_trace_of_a_random_network_is_what_a_search_finds,
    a_long_trace_says_that_it_is_cut,
    milk_in_a_by_product_is_followed_into_the_next_drink,
);

/// A lot or a batch by its number.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub enum Node {
    Lot(usize),
    Batch(usize),
}

/// What a trace tells.
#[derive(Debug, Default, PartialEq, Eq)]
pub struct Told {
    pub up: BTreeSet<usize>,
    pub down: BTreeSet<usize>,
    pub batches: BTreeSet<usize>,
    /// Events in which bottles left, with the lot and how many.
    pub taken: BTreeSet<(usize, usize, i128)>,
}

/// The steps that an event makes from lots and batches to others.
fn steps(event: &Event) -> Vec<(Node, Node)> {
    let mut lots = BTreeSet::new();
    let mut batches = BTreeSet::new();
    for (spot, held) in &event.changes {
        match spot {
            Spot::Shelf { lot, .. } => drop(lots.insert((Node::Lot(*lot), held.quantity > 0))),
            Spot::Batch(batch) => drop(batches.insert((Node::Batch(*batch), held.quantity > 0))),
            _ => {}
        }
    }
    let (from, to): (Vec<_>, Vec<_>) = match event.what {
        What::Draw | What::Pitch => (lots.into_iter().collect(), batches.into_iter().collect()),
        What::ByProduct => (batches.into_iter().collect(), lots.into_iter().collect()),
        What::Bottling | What::Transfer => lots.into_iter().chain(batches).partition(|(_, came)| !came),
        _ => (Vec::new(), Vec::new()),
    };
    from.iter().flat_map(|(from, _)| to.iter().map(|(to, _)| (*from, *to))).collect()
}

/// Everything that is reached, by trying all steps again until nothing is new.
fn reached(steps: &[(Node, Node)], start: Node) -> BTreeSet<Node> {
    let mut found = BTreeSet::from([start]);
    loop {
        let before = found.len();
        found.extend(
            steps.iter().filter(|(from, _)| found.contains(from)).map(|(_, to)| *to).collect::<Vec<_>>(),
        );
        if found.len() == before {
            return found;
        }
    }
}

/// What the trace of a lot has to tell.
fn expected(model: &Model, lot: usize) -> Told {
    let live: Vec<(usize, &Event)> =
        model.events.iter().enumerate().filter(|(_, event)| event.stands()).collect();
    let down: Vec<(Node, Node)> = live.iter().flat_map(|(_, event)| steps(event)).collect();
    let up: Vec<(Node, Node)> = down.iter().map(|(from, to)| (*to, *from)).collect();
    let (below, above) = (reached(&down, Node::Lot(lot)), reached(&up, Node::Lot(lot)));
    let lots = |of: &BTreeSet<Node>| -> BTreeSet<usize> {
        of.iter().filter_map(|node| if let Node::Lot(lot) = node { Some(*lot) } else { None }).collect()
    };
    let batch = |node: &Node| if let Node::Batch(batch) = node { Some(*batch) } else { None };
    let mut told = Told {
        up: lots(&above),
        down: lots(&below),
        batches: above.union(&below).filter_map(batch).collect(),
        taken: BTreeSet::new(),
    };
    for (at, event) in live.iter().filter(|(_, event)| event.what == What::Withdrawal) {
        for (spot, held) in &event.changes {
            if let Spot::Shelf { lot, .. } = spot
                && told.down.contains(lot)
            {
                told.taken.insert((*at, *lot, held.quantity / -1000));
            }
        }
    }
    told.up.remove(&lot);
    told.down.remove(&lot);
    told
}

/// Every lot's trace is what the search finds; how many lots came of by-products or bottles that were drawn again.
pub fn agree(world: &mut World, model: &Model) -> Result<usize, String> {
    let mut far = 0;
    for lot in 0..model.lots.len() {
        let (expected, found) = (expected(model, lot), world.trace(lot));
        if expected != found {
            return Err(format!("of lot {lot} the program traces {found:?}\nthe search {expected:?}"));
        }
        far += usize::from(!expected.up.is_empty() && !expected.down.is_empty());
    }
    Ok(far)
}

/// Networks in which by-products and bottles are drawn again, batches flow into each other and back, and some of it is
/// taken back; always the same ones.
async fn every_trace_of_a_random_network_is_what_a_search_finds(ground: &Ground) {
    let mut world = World::new(ground).await;
    let mut model = Model::new(items());
    let mut dice = dice(20_261_126);
    for _ in 0..4 {
        both(&mut world, &mut model, &Deed::Plan).await;
    }
    let mut far = 0;
    for turn in 0..400_i64 {
        if let Some(deed) = next(&mut dice, &model, turn) {
            both(&mut world, &mut model, &deed).await;
        }
        if turn % 40 == 39 {
            far += agree(&mut world, &model).unwrap_or_else(|wrong| panic!("{wrong}"));
        }
    }
    println!("{} lots, {} batches, {far} traces that go far both ways", model.lots.len(), model.batches);
    assert!(far > 200, "lots that were made of others went into others again {far} times");
    assert_eq!(world.findings(), Vec::<String>::new());
}

/// The same network, followed down by the graph package networkx (Python package networkx 3.6.1).
#[test]
#[ignore = "needs Python with networkx"]
fn what_came_of_a_lot_is_what_networkx_reaches() {
    let ground = Ground::sqlite();
    let (asked, ours) = block_on(async {
        let mut world = World::new(&ground).await;
        let mut model = Model::new(items());
        let mut dice = dice(20_261_127);
        for _ in 0..4 {
            both(&mut world, &mut model, &Deed::Plan).await;
        }
        for turn in 0..600_i64 {
            if let Some(deed) = next(&mut dice, &model, turn) {
                both(&mut world, &mut model, &deed).await;
            }
        }
        let name = |node: &Node| match node {
            Node::Lot(lot) => format!("L{lot}"),
            Node::Batch(batch) => format!("B{batch}"),
        };
        let live = model.events.iter().filter(|event| event.stands()).flat_map(steps);
        let edges = live.map(|(from, to)| format!("edge {} {}\n", name(&from), name(&to)));
        let lots = 0..model.lots.len();
        let asked: String = edges.chain(lots.clone().map(|lot| format!("asked L{lot}\n"))).collect();
        let mut ours = BTreeSet::new();
        for lot in lots {
            let mut names: Vec<String> = world.trace(lot).down.iter().map(|lot| format!(" L{lot}")).collect();
            names.sort();
            ours.insert(format!("L{lot}{}", names.concat()));
        }
        (asked, ours)
    });
    let theirs: BTreeSet<String> = python("networks.py", &asked).lines().map(str::to_owned).collect();
    let far = theirs.iter().filter(|line| line.contains(' ')).count();
    println!("{} lots, of {far} of which something came", theirs.len());
    assert!(far > 40, "only of {far} lots something came");
    assert_eq!(ours.symmetric_difference(&theirs).collect::<Vec<_>>(), Vec::<&String>::new());
}

/// Numbers that look random and are always the same (Knuth's MMIX constants, from memory).
fn dice(mut seed: u64) -> impl FnMut(usize) -> usize {
    move |sides| {
        seed = seed.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1_442_695_040_888_963_407);
        usize::try_from(seed >> 33).expect("31 bits") % sides
    }
}

/// The next deed of a network: small parts, so that everything stays in use.
fn next(dice: &mut impl FnMut(usize) -> usize, model: &Model, turn: i64) -> Option<Deed> {
    let day = turn / 2;
    let lots: Vec<usize> = (0..model.lots.len()).filter(|lot| left(model, *lot) > 0).collect();
    let held = |batch| model.at(Spot::Batch(batch)).quantity;
    let full: Vec<usize> = (0..model.batches).filter(|batch| held(*batch) > 2_000_000).collect();
    Some(match if turn < 4 { 0 } else { 1 + dice(12) } {
        0 => {
            let (item, quantity, cost) = (dice(3), 90_000_000, 60_000_000);
            let lines = vec![Bought { item, quantity, cost, place: 0, best_before: None }];
            Deed::Receive { day, payer: None, lines }
        }
        1..=4 => {
            let lot = lots[dice(lots.len())];
            let quantity = if model.lots[lot].item.is_some() { left(model, lot) / 9 + 1 } else { 1000 };
            let lines = vec![Take { from: From::Lot(lot), quantity, although_expired: true }];
            Deed::Draw { batch: dice(model.batches), day, pitch: dice(5) == 0, lines, volume_after: None }
        }
        12 => Deed::Reverse { event: model.events.len() - 1 - dice(3) },
        11 if !model.bottlings.is_empty() => {
            let (bottling, to) = (dice(model.bottlings.len()), Spot::Member(dice(3)));
            Deed::Withdraw { bottling, day, bottles: 1, to, place: None }
        }
        _ if full.is_empty() => return None,
        5 | 6 => {
            let (batch, item) = (full[dice(full.len())], 6 + dice(2));
            let (quantity, after) = (held(batch) / 20, (dice(4) == 0).then(|| held(batch) + 5));
            Deed::WeighOff { batch, day, item, quantity, place: dice(3), after }
        }
        7 | 8 => {
            let batch = full[dice(full.len())];
            let into = (dice(4) > 0).then(|| dice(model.batches));
            Deed::Transfer { batch, day, volume: held(batch) / 7, into }
        }
        _ => {
            let (batch, place) = (full[dice(full.len())], dice(3));
            Deed::Bottle { batch, day, bottles: 3, size: 330_000, lost: 0, packaging: Vec::new(), place }
        }
    })
}

fn left(model: &Model, lot: usize) -> i128 {
    (0..PLACES).map(|place| model.at(Spot::Shelf { lot, place }).quantity).sum()
}

/// Does a deed in the program and in the model; both do it or neither does.
async fn both(world: &mut World, model: &mut Model, deed: &Deed) {
    let expected = model.record(deed);
    let done = world.perform(deed).await;
    assert_eq!(done.is_ok(), expected.is_ok(), "{deed:?}: the program {done:?}, the model {expected:?}");
}

async fn a_long_trace_says_that_it_is_cut(ground: &Ground) {
    let db = ground.open();
    let cellar = Cellar::new(&db, "Tidemill Cellar Club").await;
    let (club, lot) = (cellar.club.hand.club, cellar.milk_lot);
    let trace =
        async |most: usize| db.read(move |conn| trace_within(conn, club, lot, most)).await.expect("a trace");
    let whole = trace(1000).await;
    // Milk, then the batch, then its curds and its bottling.
    assert_eq!((whole.batches.len(), whole.down.len(), whole.cut), (1, 2, false));
    assert!(!trace(4).await.cut);
    let cut = trace(3).await;
    assert_eq!((cut.batches.len(), cut.down.len(), cut.cut), (1, 1, true));
    let cut = trace(1).await;
    assert_eq!((cut.batches.len(), cut.down.len(), cut.cut), (0, 0, true));
}

/// Milk → batch → curds → another batch → blended → bottles: the bottles name the milk and its allergen, the milk the
/// bottles; a bottling of the same drink without it names no milk.
async fn milk_in_a_by_product_is_followed_into_the_next_drink(ground: &Ground) {
    let db = ground.open();
    let cellar = Cellar::new(&db, "Tidemill Cellar Club").await;
    let hand = &cellar.club.hand;
    let milk = undercroft::domain::stock::Item {
        allergens: vec!["milk".to_owned()],
        ..crate::ground::cellar::item(
            "Whole milk",
            undercroft::domain::stock::ItemKind::Ingredient,
            undercroft::units::quantity::BaseUnit::Millilitre,
        )
    };
    undercroft::actions::stock::change_item(&db, hand, None, cellar.milk, milk)
        .await
        .expect("it states milk");
    let plan = async |name: &str| {
        let plan = batches::Plan { name: name.to_owned(), base_volume: None, day: day("2026-06-01") };
        batches::plan(&db, hand, None, plan).await.expect("a plan").id
    };
    let draw_in = async |batch, source, quantity, volume: i64| {
        let order = Draw {
            volume_after: Some(Milli::new(volume)),
            ..draw(batch, day("2026-06-02"), source, quantity)
        };
        batches::draw(&db, hand, None, order).await.expect("it is drawn");
    };
    let (curds, blend, other) = (plan("Perry").await, plan("Perry").await, plan("Perry").await);
    draw_in(curds, Source::Item(cellar.curds), 1_000_000, 9_000_000).await;
    draw_in(blend, Source::Item(cellar.yeast), 1_000, 9_000_000).await;
    draw_in(other, Source::Item(cellar.yeast), 1_000, 9_000_000).await;
    let order = Transfer {
        batch: curds,
        day: day("2026-06-03"),
        volume: Milli::new(1_000_000),
        into: Some(blend),
        name: None,
        remark: String::new(),
    };
    batches::record_transfer(&db, hand, None, order).await.expect("a litre is blended in");
    let fill = async |batch| {
        let order = undercroft::domain::bottles::Bottling {
            day: day("2026-06-04"),
            ..bottling(batch, cellar.place, 4)
        };
        undercroft::actions::bottles::record_bottling(&db, hand, None, order)
            .await
            .expect("it is bottled")
            .lot
    };
    let (with, without) = (fill(blend).await, fill(other).await);

    let (club, milk_lot) = (hand.club, cellar.milk_lot);
    let found = db.read(move |conn| {
        Ok::<_, undercroft::db::Failure>((
            trace_within(conn, club, milk_lot, 100)?,
            trace_within(conn, club, with, 100)?,
            undercroft::db::trace::allergens(conn, with)?,
            undercroft::db::trace::allergens(conn, without)?,
            undercroft::db::stock::lot(conn, club, without)?.item.allergens,
        ))
    });
    let (down, up, milky, milkless, stated) = found.await.expect("traces");
    assert!(down.down.iter().any(|found| found.lot == with), "{down:?}");
    assert!(down.down.iter().all(|found| found.lot != without), "{down:?}");
    assert!(up.up.iter().any(|found| found.lot == milk_lot), "{up:?}");
    assert_eq!((milky, milkless), (vec!["milk".to_owned()], Vec::new()), "both are bottles of Perry, 750 mL");
    assert_eq!(stated, Vec::<String>::new(), "the drink itself states nothing");
}
