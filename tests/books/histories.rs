//! Random histories through the actions, checked after every step against the model of the books.

use std::collections::BTreeMap;

use proptest::prelude::*;
use proptest::test_runner::{Config, RngAlgorithm, TestCaseError, TestError, TestRng, TestRunner};
use undercroft::actions::Error;

use super::deeds::{Bought, Deed, Held, Source, Spot, Stage, TODAY, Take};
use super::model::Model;
use super::steps::{Step, histories};
use super::traces;
use super::world::{World, date, items};
use crate::ground::{Ground, block_on};

/// Histories on SQLite and on PostgreSQL, and steps in each; `PROPTEST_CASES` asks for more histories.
const HISTORIES: (u32, u32) = (40, 12);
const STEPS: usize = 70;

#[test]
fn sqlite_keeps_the_books_as_the_model_does() {
    run(HISTORIES.0, |steps, tally| block_on(live(&Ground::sqlite(), steps, tally)).map(drop));
}

#[test]
#[ignore = "needs PostgreSQL: UNDERCROFT_TEST_POSTGRES"]
fn postgres_keeps_the_same_books_as_sqlite() {
    run(HISTORIES.1, |steps, tally| {
        let here = block_on(live(&Ground::sqlite(), steps, &mut Tally::default()))?;
        let there = block_on(live(&Ground::postgres(), steps, tally))?;
        prop_assert_eq!(here, there);
        Ok(())
    });
}

/// How often each deed was done and refused.
#[derive(Debug, Default)]
struct Tally {
    done: BTreeMap<&'static str, u32>,
    refused: BTreeMap<&'static str, u32>,
}

/// Tries histories, always the same ones; shrinks the first that fails. All deeds have to be done in some of them.
fn run(histories_to_try: u32, mut live: impl FnMut(&[Step], &mut Tally) -> Result<(), TestCaseError>) {
    let cases =
        if std::env::var_os("PROPTEST_CASES").is_some() { Config::default().cases } else { histories_to_try };
    let config = Config { cases, failure_persistence: None, max_shrink_iters: 500, ..Config::default() };
    let rng = TestRng::deterministic_rng(RngAlgorithm::ChaCha);
    let tally = std::cell::RefCell::new(Tally::default());
    let live = std::cell::RefCell::new(&mut live);
    let outcome = TestRunner::new_with_rng(config, rng)
        .run(&histories(STEPS), |steps| (live.borrow_mut())(&steps, &mut tally.borrow_mut()));
    match outcome {
        Ok(()) => {}
        Err(TestError::Fail(reason, _)) => panic!("{reason}"),
        Err(TestError::Abort(reason)) => panic!("given up: {reason}"),
    }
    let tally = tally.into_inner();
    println!("{cases} histories: done {:?}, refused {:?}", tally.done, tally.refused);
    for (deed, done) in &tally.done {
        assert!(*done >= cases / 4, "{deed} was done only {done} times in {cases} histories");
    }
    assert_eq!(tally.done.len(), 13, "every kind of deed is tried");
}

/// Lives one history through in a new database, and tells what the books say at the end.
async fn live(ground: &Ground, steps: &[Step], tally: &mut Tally) -> Result<Vec<String>, TestCaseError> {
    let mut world = World::new(ground).await;
    let mut model = Model::new(items());
    let mut story = Vec::new();
    for deed in &opening() {
        follow(&mut world, &mut model, deed, tally).await.map_err(TestCaseError::fail)?;
    }
    for (turn, step) in steps.iter().enumerate() {
        let Some(deed) = step.deed(turn, &model) else { continue };
        story.push(format!("{deed:?}"));
        if let Err(wrong) = follow(&mut world, &mut model, &deed, tally).await {
            return Err(TestCaseError::fail(format!("{wrong}\nafter\n{}", story.join("\n"))));
        }
    }
    past_days_agree(&mut world, &model).map_err(TestCaseError::fail)?;
    traces::agree(&mut world, &model).map_err(TestCaseError::fail)?;
    prop_assert_eq!(world.findings(), Vec::<String>::new());
    Ok(world.told())
}

/// A batch of milk and sugar to begin with, and bottles for it.
fn opening() -> Vec<Deed> {
    let line = |item, quantity, cost| Bought { item, quantity, cost, place: 0, best_before: None };
    let bought = vec![
        line(0, 80_000_000, 66_000_001),
        line(1, 9_000_000, 9_999_999),
        line(2, 20_000_000, 30_000_000),
        line(3, 50_000, 4_000_000),
        line(4, 80_000, 31_999_999),
        line(5, 100_000, 12_000_007),
    ];
    let milk = Take { from: Source::Item(0), quantity: 40_000_000, although_expired: false };
    let lines = vec![milk];
    vec![
        Deed::Plan,
        Deed::Plan,
        Deed::Receive { day: 4, payer: None, lines: bought },
        Deed::Draw { batch: 0, day: 5, pitch: false, lines, volume_after: None },
    ]
}

/// Does one deed in the model and in the program; both do it or neither does, and all balances agree.
async fn follow(world: &mut World, model: &mut Model, deed: &Deed, tally: &mut Tally) -> Result<(), String> {
    let before = world.told();
    let expected = model.record(deed);
    let kind = kind(deed);
    match (world.perform(deed).await, expected) {
        (Ok(()), Ok(())) => *tally.done.entry(kind).or_default() += 1,
        (Err(Error::Refused(_)), Err(_)) => {
            *tally.refused.entry(kind).or_default() += 1;
            if world.told() != before {
                return Err("what was refused changed something".to_owned());
            }
        }
        (done, expected) => return Err(format!("the program: {done:?}; the model: {expected:?}")),
    }
    balances_agree(world, model)?;
    stages_agree(world, model)
}

fn balances_agree(world: &mut World, model: &Model) -> Result<(), String> {
    let expected: BTreeMap<String, Held> =
        model.held.iter().map(|(spot, held)| (world.key(*spot), *held)).collect();
    let found = world.balances();
    if found != expected {
        return Err(format!("the program holds {found:#?}\nthe model {expected:#?}"));
    }
    let sum: i128 = found.values().map(|held| held.cost).sum();
    if sum != 0 {
        return Err(format!("{sum} millionths were made or lost"));
    }
    Ok(())
}

fn stages_agree(world: &mut World, model: &Model) -> Result<(), String> {
    let stage = |batch| match model.stage(batch) {
        Stage::Planned => "planned",
        Stage::Preparing => "preparing",
        Stage::Working => "working",
        Stage::Resting => "resting",
        Stage::LaidDown => "laid-down",
        Stage::Closed => "closed",
        Stage::Abandoned => "abandoned",
    };
    let pitched = |batch| model.pitched_on(batch).map_or("never".to_owned(), |day| date(day).to_string());
    let expected: Vec<String> =
        (0..model.batches).map(|batch| format!("{} {}", stage(batch), pitched(batch))).collect();
    let found = world.stages();
    if found == expected { Ok(()) } else { Err(format!("the program: {found:?}\nthe model: {expected:?}")) }
}

/// The shelves as they stood at the end of any past day are the sum of what was recorded for days up to it, and never
/// less than nothing.
fn past_days_agree(world: &mut World, model: &Model) -> Result<(), String> {
    for day in 0..60 {
        if let Some((spot, held)) =
            model.held.keys().map(|spot| (*spot, model.on(*spot, day))).find(|(spot, held)| {
                spot.is_real() && (held.quantity < 0 || matches!(spot, Spot::Batch(_)) && held.cost < 0)
            })
        {
            return Err(format!("{spot:?} held {held:?} on day {day}"));
        }
    }
    for day in [0, 8, 15, 22, 30, 40, TODAY] {
        let mut expected: BTreeMap<(usize, usize), Held> = BTreeMap::new();
        for event in model.events.iter().filter(|event| event.day <= day) {
            for (spot, change) in &event.changes {
                if let Spot::Shelf { lot, place } = spot {
                    let held = expected.entry((*lot, *place)).or_default();
                    held.quantity += change.quantity;
                    held.cost += change.cost;
                }
            }
        }
        expected.retain(|_, held| held.quantity > 0);
        let found = world.shelves_on(day);
        if found != expected {
            return Err(format!("on day {day} the program shows {found:?}\nthe model {expected:?}"));
        }
    }
    Ok(())
}

fn kind(deed: &Deed) -> &'static str {
    match deed {
        Deed::Plan => "plan",
        Deed::Receive { .. } => "receive",
        Deed::Draw { .. } => "draw",
        Deed::WeighOff { .. } => "weigh off",
        Deed::Lose { .. } => "lose",
        Deed::Rack { .. } => "rack",
        Deed::Transfer { .. } => "split or blend",
        Deed::Bottle { .. } => "bottle",
        Deed::Withdraw { .. } => "withdraw",
        Deed::Move { .. } => "move",
        Deed::Count { .. } => "count",
        Deed::End { .. } => "end",
        Deed::Reverse { .. } => "reverse",
    }
}
