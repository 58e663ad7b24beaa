//! When the drop of the gravity is the strength, when the strength is computed, and when it is not known.

use super::*;
use crate::domain::yields::Used;

fn june(day: u32) -> Day {
    Day::from_ymd_opt(2026, 6, day).unwrap()
}

fn litres(litres: i64) -> Milli {
    Milli::new(litres * 1_000_000)
}

fn turn(day: u32, before: i64, what: What) -> Turn {
    Turn { day: june(day), before: litres(before), what }
}

/// Drink of this strength from another batch, pitched on 1 June there.
fn came(volume: i64, stage: Stage, first: Option<f64>, strength: Option<f64>) -> What {
    let pitched_on = (stage >= Stage::Working).then(|| june(1));
    What::Came(
        litres(volume),
        Came {
            progress: Progress { stage, pitched_on },
            first_gravity: first.and_then(Measured::from_number),
            strength: strength.and_then(Measured::from_number),
        },
    )
}

fn read(readings: &[(u32, f64)]) -> Vec<(Day, f64)> {
    readings.iter().map(|(day, gravity)| (june(*day), *gravity)).collect()
}

/// 40 L of must, pitched on the 2nd, racked on the 20th; the gravity as it is read.
fn rested(readings: &[(u32, f64)], later: &[Turn]) -> Story {
    let mut turns =
        vec![turn(1, 0, What::Added(litres(40))), turn(2, 40, What::Pitched), turn(20, 40, What::Settled)];
    turns.extend(later);
    Story { turns, gravities: read(readings), left: litres(40), must: litres(40), ..Story::default() }
}

const DRY: [(u32, f64); 2] = [(2, 1.080), (20, 1.000)];
/// OG 1.080 to 1.000: 10.63 % vol by Balling and Tabarié together (see `science::alcohol`).
const DRY_PERCENT: f64 = 10.632;

#[track_caller]
fn percent(story: &Story) -> f64 {
    story.strength().unwrap().vol_percent
}

#[test]
fn what_leaves_the_must_alone_leaves_the_gravity_its_meaning() {
    let story = rested(&DRY, &[turn(21, 38, What::Settled)]);
    assert!((percent(&story) - DRY_PERCENT).abs() < 0.005);
    assert_eq!(story.strength().unwrap().basis, Basis::Gravities { first: 1.080, last: 1.000 });
    assert_eq!(rested(&DRY[..1], &[]).strength(), Err(Unknown::Readings));
    // Sugar that came in before the yeast makes what was read before it worthless.
    let mut sweetened = rested(&[(1, 1.040), (2, 1.080), (20, 1.000)], &[]);
    sweetened.turns[0].day = june(2);
    assert!((percent(&sweetened) - DRY_PERCENT).abs() < 0.005);
}

/// 30 L of 10.63 % vol and 10 L of 6 % vol: 9.47 % vol by volume alone, and at these strengths nearly the same by
/// mass (`science::blend` has the check values).
#[test]
fn a_blend_is_computed_from_its_parts() {
    let other = came(10, Stage::Resting, None, Some(6.0));
    let story = rested(&[DRY[0], DRY[1], (25, 1.004)], &[turn(22, 30, other)]);
    let found = story.strength().unwrap();
    let by_volume = (30.0 * DRY_PERCENT + 10.0 * 6.0) / 40.0;
    assert!((found.vol_percent - by_volume).abs() < 0.01, "{found:?}");
    assert!(matches!(&found.basis, Basis::Parts(parts) if parts.len() == 2 && parts[1] == (10.0, 6.0)));
    assert_eq!(found.warning.as_deref(), Some("Computed, not measured."));
    // The gravity of the blend says nothing by itself, but a drop says that it works again.
    let again = rested(&[DRY[0], DRY[1], (25, 1.004), (29, 1.0015)], &[turn(22, 30, other)]);
    assert_eq!(again.strength(), Err(Unknown::Again));
    assert_eq!(again.line(), Some((1.080, 1.000)), "its own fermentation ended before");
}

#[test]
fn a_blend_of_what_is_not_known_is_not_known() {
    let dry = |what| rested(&DRY, &[turn(22, 30, what)]).strength();
    assert_eq!(dry(came(10, Stage::Resting, None, None)), Err(Unknown::Blended));
    assert_eq!(dry(came(10, Stage::Working, Some(1.080), Some(5.0))), Err(Unknown::Blended));
    assert_eq!(dry(What::Poured), Err(Unknown::Blended));
    let known = came(10, Stage::Resting, None, Some(6.0));
    let early = rested(&DRY, &[]);
    let turns = [&early.turns[..2], &[turn(10, 40, known)], &early.turns[2..]].concat();
    assert_eq!(Story { turns, ..early }.strength(), Err(Unknown::Blended), "it worked when it was blended");
    assert_eq!(
        rested(&DRY[..1], &[turn(22, 30, known)]).strength(),
        Err(Unknown::Blended),
        "one gravity only"
    );
}

#[test]
fn sweetening_makes_what_rests_weaker_and_what_works_unknown() {
    let story = rested(&[DRY[0], DRY[1], (23, 1.020)], &[turn(22, 40, What::Added(litres(1)))]);
    let diluted = percent(&story);
    assert!((diluted - DRY_PERCENT * 40.0 / 41.0).abs() < 0.02, "{diluted}");
    let fed = rested(&DRY, &[]);
    let turns = [&fed.turns[..2], &[turn(5, 40, What::Added(litres(1)))], &fed.turns[2..]].concat();
    assert_eq!(Story { turns, ..fed }.strength(), Err(Unknown::Added));
    let again = rested(&DRY, &[turn(22, 40, What::Added(litres(1))), turn(23, 41, What::Pitched)]);
    assert_eq!(again.strength(), Err(Unknown::Again));
}

#[test]
fn drink_that_was_split_off_brings_along_how_it_began() {
    let from = rested(&[(2, 1.080), (8, 1.040)], &[]);
    let working = Progress { stage: Stage::Working, pitched_on: Some(june(2)) };
    let passed = from.passed_on(working);
    assert_eq!(passed.first_gravity.map(Measured::number), Some(1.080));
    let turns = vec![turn(10, 0, What::Came(litres(10), passed))];
    let own = |readings: &[(u32, f64)]| Story {
        turns: turns.clone(),
        gravities: read(readings),
        moved_in: litres(10),
        ..Story::default()
    };
    assert!((percent(&own(&[(30, 1.000)])) - DRY_PERCENT).abs() < 0.005);
    assert!((percent(&own(&[])) - percent(&from)).abs() < 0.001, "as strong as it was");
    // A blend that is split keeps its computed strength, and no first gravity.
    let blend = rested(&DRY, &[turn(22, 30, came(10, Stage::Resting, None, Some(6.0)))]);
    let passed = blend.passed_on(Progress { stage: Stage::Resting, pitched_on: Some(june(2)) });
    assert_eq!(passed.first_gravity, None);
    assert!((passed.strength.unwrap().number() - percent(&blend)).abs() < 0.001);
}

#[test]
fn whey_is_never_judged_by_its_gravity() {
    let mut story = rested(&DRY, &[turn(22, 30, came(10, Stage::Resting, None, Some(6.0)))]);
    story.milk_before = true;
    assert_eq!(story.strength(), Err(Unknown::Whey));
    let mut split =
        Story { turns: vec![turn(10, 0, came(10, Stage::Resting, None, Some(8.0)))], ..Story::default() };
    split.milk_before = true;
    assert!((percent(&split) - 8.0).abs() < 1e-6, "as its own batch counted it");
}

fn supply(kind: ItemKind, unit: BaseUnit, sugar_mg_per_kg: Option<i64>, density_micro: Option<i64>) -> Item {
    Item {
        name: "Supply".to_owned(),
        kind,
        unit,
        density_micro,
        allergens: Vec::new(),
        value_per_unit: None,
        low_at: None,
        made_for_mbar: None,
        sugar_mg_per_kg,
        lactose_mg_per_kg: None,
        fat_mg_per_kg: None,
        casein_mg_per_kg: None,
        splits_lactose: false,
    }
}

#[test]
fn only_what_changes_the_gravity_counts_as_added() {
    let sugar = supply(ItemKind::Ingredient, BaseUnit::Gram, Some(1_000_000), Some(1_587_000));
    let nuts = supply(ItemKind::Ingredient, BaseUnit::Gram, None, None);
    let water = supply(ItemKind::Ingredient, BaseUnit::Millilitre, None, None);
    let sulphite = supply(ItemKind::Aid, BaseUnit::Gram, None, None);
    let grams = |item, grams: i64| added(&[(item, Milli::new(grams * 1000))], litres(20));
    assert_eq!(grams(&sulphite, 500), None);
    assert_eq!(grams(&nuts, 400), None);
    assert_eq!(grams(&sugar, 30), None, "1.5 g/L");
    assert_eq!(grams(&sugar, 1587), Some(litres(1)));
    assert_eq!(grams(&water, 100), None);
    assert_eq!(grams(&water, 1000), Some(litres(1)));
    assert_eq!(added(&[(&sulphite, Milli::new(1000))], Milli::ZERO), None, "sulphite into an empty jar");
    let used = Used { item: sugar, quantity: Milli::new(1) };
    assert!(used.item.sugar_mg_per_kg.is_some());
}

/// 16.83 g of sugar in a litre of must for 1 % vol: the convention of the European Union (Regulation (EU) 1308/2013,
/// annex VII, counts grape must so).
#[test]
fn what_its_sugar_gives_is_expected_while_it_works() {
    let sugar = supply(ItemKind::Ingredient, BaseUnit::Gram, Some(1_000_000), Some(1_587_000));
    let pears = Item { name: "Pears".to_owned(), ..supply(ItemKind::Ingredient, BaseUnit::Gram, None, None) };
    let used = |item: &Item, grams: i64| Used { item: item.clone(), quantity: Milli::new(grams * 1000) };
    let must = Story {
        supplies: vec![used(&sugar, 1683), used(&pears, 2000)],
        must: litres(10),
        gravities: read(&[(2, 1.0700), (3, 1.0600)]),
        ..Story::default()
    };
    let (strength, silent) = must.expected().unwrap();
    assert!((strength.vol_percent - 10.0).abs() < 1e-9, "{strength:?}");
    assert_eq!(silent, ["Pears"]);
    assert!(must.strength().unwrap().vol_percent < 2.0, "beside what the readings say");
    let moved = Story { turns: vec![turn(3, 10, came(5, Stage::Resting, None, Some(8.0)))], ..must.clone() };
    assert_eq!(moved.expected(), None, "drink from elsewhere came in");
    assert_eq!(Story { must: Milli::ZERO, ..must }.expected(), None, "no yeast yet");
}
