//! What is poured: under which codes, before whom in which order, from how many bottles, and how much alcohol that is.

use super::{Method, Sample, Table};
use crate::science::alcohol::ethanol_g_l;
use crate::science::sensory::order;
use crate::units::ids::{SampleId, SheetId};
use crate::units::measure::Measured;
use crate::units::quantity::Milli;

/// The most alcohol that is poured for one taster, g; as if all of it were swallowed. Some countries call 20 to 24 g
/// a day the most for a man and half of it for a woman, others say that no amount is safe (from memory, no source).
pub const MOST_ALCOHOL_G: f64 = 20.0;
/// From this much on, it is said before the first glass, g. A standard drink is 8 to 14 g, by country (from memory).
pub const MUCH_ALCOHOL_G: f64 = 10.0;
/// What a drink of unknown strength is taken for, % vol: few yeasts go further (common practice, no source).
pub const UNKNOWN_VOL_PERCENT: f64 = 18.0;
/// More glasses than this tire the tongue (common practice, no source).
pub const MANY_GLASSES: usize = 6;

/// How much alcohol is poured for one.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Alcohol {
    /// Grams of ethanol.
    pub grams: f64,
    /// Some strength is not known and was taken for [`UNKNOWN_VOL_PERCENT`].
    pub guessed: bool,
}

/// Grams of ethanol in so much of a drink: volume × % vol × the density of ethanol at 20 °C (OIML R 22).
fn ethanol_g(volume: Milli, strength: Option<Measured>) -> f64 {
    let vol_percent = strength.map_or(UNKNOWN_VOL_PERCENT, Measured::number);
    let g_l = ethanol_g_l(vol_percent).or_else(|_| ethanol_g_l(UNKNOWN_VOL_PERCENT)).unwrap_or_default();
    volume.base() / 1000.0 * g_l
}

/// The most alcohol that one taster gets: every glass, and the stronger of two where one of them is served twice.
pub fn most_for_one(method: Method, samples: &[Sample], pour: Milli) -> Alcohol {
    let each: Vec<f64> = samples.iter().map(|sample| ethanol_g(pour, sample.strength)).collect();
    let again = match method {
        Method::Triangle => each.iter().copied().fold(0.0, f64::max),
        // The known glass.
        Method::DuoTrio => each.first().copied().unwrap_or_default(),
        _ => 0.0,
    };
    Alcohol {
        grams: each.iter().sum::<f64>() + again,
        guessed: samples.iter().any(|sample| sample.strength.is_none()),
    }
}

/// What stands on the table when a tasting begins.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Served {
    /// The coded glasses: what is in each, and its code.
    pub glasses: Vec<(SampleId, u16)>,
    /// The codes before each taster, in the order of serving.
    pub servings: Vec<(SheetId, Vec<u16>)>,
    /// How many bottles of each sample are opened.
    pub bottles: Vec<(SampleId, u32)>,
    /// In which bag each sample is wrapped, from 1.
    pub bags: Vec<(SampleId, u32)>,
}

/// Codes, orders and bottles for all who may taste. `draw` gives random numbers.
pub fn serve(table: &Table, mut draw: impl FnMut() -> u32) -> Served {
    let method = table.tasting.method;
    let of_each = if method == Method::Triangle { 2 } else { 1 };
    let codes = order::codes(table.samples.len() * of_each, &mut draw);
    let glasses: Vec<(SampleId, u16)> = table
        .samples
        .iter()
        .flat_map(|sample| std::iter::repeat_n(sample.id, of_each))
        .zip(codes.iter().copied())
        .collect();
    let allergens = table.allergens();
    let sheets: Vec<SheetId> =
        table.seats.iter().filter(|seat| seat.may(&allergens)).map(|seat| seat.sheet).collect();
    let start = usize::try_from(draw() % 1000).unwrap_or(0);
    let designed = in_design(&glasses);
    let servings: Vec<(SheetId, Vec<u16>)> = sheets
        .into_iter()
        .zip(orders(method, table.samples.len(), start))
        .map(|(sheet, order)| (sheet, order.into_iter().filter_map(|at| designed.get(at).copied()).collect()))
        .collect();
    let bottles = bottles(table, &glasses, &servings);
    Served { glasses, servings, bottles, bags: bags(table, draw) }
}

/// The samples in an order that nobody chose (Fisher and Yates).
fn bags(table: &Table, mut draw: impl FnMut() -> u32) -> Vec<(SampleId, u32)> {
    let mut samples: Vec<SampleId> = table.samples.iter().map(|sample| sample.id).collect();
    for at in (1..samples.len()).rev() {
        let other = usize::try_from(draw()).unwrap_or(0) % (at + 1);
        samples.swap(at, other);
    }
    samples.into_iter().zip(1..).collect()
}

/// The codes in the order in which the design numbers them: by code, the glasses of a sample side by side. An order of
/// the samples would be one that the host knows, and whoever saw the trays of all could tell from the design what is in
/// which glass.
fn in_design(glasses: &[(SampleId, u16)]) -> Vec<u16> {
    let least = |sample: SampleId| glasses.iter().filter(|one| one.0 == sample).map(|one| one.1).min();
    let mut keyed: Vec<_> = glasses.iter().map(|(sample, code)| (least(*sample), *code)).collect();
    keyed.sort_unstable();
    keyed.into_iter().map(|one| one.1).collect()
}

/// The codes for one who says after the beginning that they may taste: the order after those that are given out.
pub fn serve_one_more(table: &Table) -> Vec<u16> {
    let given = table.seats.iter().filter(|seat| !seat.serving.is_empty()).count();
    let glasses: Vec<(SampleId, u16)> =
        table.glasses.iter().map(|glass| (glass.sample, glass.code)).collect();
    let designed = in_design(&glasses);
    let order = orders(table.tasting.method, table.samples.len(), given).next().unwrap_or_default();
    order.into_iter().filter_map(|at| designed.get(at).copied()).collect()
}

/// Orders of serving without end, balanced: glasses by number from 0, as [`in_design`] numbers them.
fn orders(method: Method, samples: usize, start: usize) -> impl Iterator<Item = Vec<usize>> {
    // The six ways to set two alike and one other (ISO 4120), once with either glass of the one that stands alone.
    const TRIANGLES: [[usize; 3]; 12] = [
        [0, 1, 2],
        [2, 3, 0],
        [0, 2, 1],
        [2, 0, 3],
        [2, 0, 1],
        [0, 2, 3],
        [0, 1, 3],
        [2, 3, 1],
        [0, 3, 1],
        [2, 1, 3],
        [3, 0, 1],
        [1, 2, 3],
    ];
    let all = if method == Method::Triangle {
        TRIANGLES.map(Vec::from).into()
    } else {
        // A pair is a design of two orders; in a duo-trio the known glass stands first before everybody.
        order::williams(samples)
    };
    let skip = start % all.len().max(1);
    all.into_iter().cycle().skip(skip)
}

/// How many bottles of each sample hold what is poured of it.
fn bottles(
    table: &Table,
    glasses: &[(SampleId, u16)],
    servings: &[(SheetId, Vec<u16>)],
) -> Vec<(SampleId, u32)> {
    let known_glass = table.tasting.method == Method::DuoTrio;
    let each = |(at, sample): (usize, &Sample)| {
        let holds = |code: &u16| glasses.iter().any(|glass| glass.0 == sample.id && glass.1 == *code);
        let mut pours: usize =
            servings.iter().map(|(_, codes)| codes.iter().filter(|code| holds(code)).count()).sum();
        if known_glass && at == 0 {
            pours += servings.len();
        }
        let volume = i64::try_from(pours).unwrap_or(i64::MAX).saturating_mul(table.tasting.pour_volume.get());
        let bottles =
            volume.saturating_add(sample.bottle_volume.get() - 1) / sample.bottle_volume.get().max(1);
        (sample.id, u32::try_from(bottles.max(1)).unwrap_or(u32::MAX))
    };
    table.samples.iter().enumerate().map(each).collect()
}

#[cfg(test)]
mod tests {
    use std::collections::HashMap;

    use super::super::tests::{sample, table};
    use super::*;

    fn numbers() -> impl FnMut() -> u32 {
        let mut last = 12_345_u32;
        move || {
            last = last.wrapping_mul(1_664_525).wrapping_add(1_013_904_223);
            last >> 8
        }
    }

    #[test]
    fn alcohol_is_volume_by_strength_by_density() {
        // C: 7.89239 g/L for each % vol (OIML R 22). 5 glasses of 40 mL at 10 % vol: 0.2 L × 78.92 g/L.
        let samples: Vec<Sample> = (1..=5).map(|number| sample(number, Some(10.0))).collect();
        let pour = Milli::new(40_000);
        let scored = most_for_one(Method::Scored, &samples, pour);
        assert!((scored.grams - 15.785).abs() < 0.001 && !scored.guessed, "{scored:?}");
        // Three glasses, of which the stronger may be served twice: 40 mL of 10 and twice 40 mL of 12 % vol.
        let two = [sample(1, Some(10.0)), sample(2, Some(12.0))];
        let triangle = most_for_one(Method::Triangle, &two, pour).grams;
        assert!((triangle - 10.733).abs() < 0.001, "{triangle}");
        let duo_trio = most_for_one(Method::DuoTrio, &two, pour).grams;
        assert!((duo_trio - 10.102).abs() < 0.001, "{duo_trio}");
        let unknown = most_for_one(Method::Words, &[sample(1, None)], pour);
        assert!((unknown.grams - 0.04 * 18.0 * 7.892_39).abs() < 0.001 && unknown.guessed, "{unknown:?}");
    }

    #[test]
    fn every_taster_has_every_glass_in_an_order_of_their_own() {
        let table = table(Method::Scored, 4, 8);
        let served = serve(&table, numbers());
        assert_eq!((served.glasses.len(), served.servings.len()), (4, 8));
        let mut places = HashMap::new();
        for (_, codes) in &served.servings {
            let mut sorted = codes.clone();
            sorted.sort_unstable();
            sorted.dedup();
            assert_eq!(sorted.len(), 4);
            for (at, code) in codes.iter().enumerate() {
                *places.entry((at, *code)).or_insert(0) += 1;
            }
        }
        assert!(places.len() == 16 && places.values().all(|count| *count == 2), "{places:?}");
        let mut bags: Vec<u32> = served.bags.iter().map(|bag| bag.1).collect();
        bags.sort_unstable();
        assert_eq!(bags, [1, 2, 3, 4], "every sample has a bag of its own");
        // 8 tasters × 30 mL from bottles of 75 cl.
        assert!(served.bottles.iter().all(|bottles| bottles.1 == 1));
    }

    #[test]
    fn the_trays_do_not_follow_the_order_of_the_plan() {
        // Of four samples every order of the design begins with a number and the next one, modulo four.
        let table = table(Method::Scored, 4, 8);
        let mut draw = numbers();
        let mut step = || {
            let served = serve(&table, &mut draw);
            let at = |code: u16| {
                let sample = served.glasses.iter().find(|glass| glass.1 == code).unwrap().0;
                table.samples.iter().position(|one| one.id == sample).unwrap()
            };
            let first = &served.servings[0].1;
            (at(first[1]) + 4 - at(first[0])) % 4
        };
        let steps: std::collections::HashSet<usize> = (0..40).map(|_| step()).collect();
        assert_eq!(steps.len(), 3, "a tray does not tell what is in its glasses");
    }

    #[test]
    fn in_a_triangle_every_odd_glass_stands_everywhere_equally_often() {
        let table = table(Method::Triangle, 2, 12);
        let served = serve(&table, numbers());
        assert_eq!(served.glasses.len(), 4);
        let of = |code: &u16| served.glasses.iter().find(|glass| glass.1 == *code).unwrap().0;
        let (mut sets, mut poured) = (HashMap::new(), HashMap::new());
        for (_, codes) in &served.servings {
            let set: Vec<bool> = codes.iter().map(|code| of(code) == table.samples[0].id).collect();
            assert_eq!(set.len(), 3);
            *sets.entry(set).or_insert(0) += 1;
            for code in codes {
                *poured.entry(*code).or_insert(0) += 1;
            }
        }
        assert_eq!((sets.len(), sets.values().all(|count| *count == 2)), (6, true), "ISO 4120: six sets");
        assert!(poured.values().all(|count| *count == 9), "no code is rarer than another: {poured:?}");
        // 18 pours of 30 mL of each: 540 mL.
        assert!(served.bottles.iter().all(|bottles| bottles.1 == 1));
    }

    #[test]
    fn the_known_glass_is_poured_too() {
        let mut table = table(Method::DuoTrio, 2, 20);
        table.tasting.pour_volume = Milli::new(30_000);
        let served = serve(&table, numbers());
        // 40 and 20 pours of 30 mL.
        assert_eq!(served.bottles.iter().map(|bottles| bottles.1).collect::<Vec<_>>(), [2, 1]);
        let first =
            |served: &Served| served.servings.iter().filter(|one| one.1[0] == served.glasses[0].1).count();
        assert_eq!(first(&served), 10, "either glass comes first equally often");
    }

    #[test]
    fn nobody_is_poured_for_who_has_not_said_yes_to_every_allergen() {
        let mut table = table(Method::Scored, 3, 4);
        table.samples[1].allergens = vec!["milk".to_owned()];
        table.seats[0].asked = vec!["milk".to_owned()];
        table.seats[1].may_taste = Some(false);
        let served = serve(&table, numbers());
        let poured: Vec<SheetId> = served.servings.iter().map(|serving| serving.0).collect();
        assert_eq!(poured, [table.seats[0].sheet], "the others were not asked about milk");
    }

    #[test]
    fn bags_do_not_follow_the_order_of_the_plan() {
        let table = table(Method::Scored, 6, 1);
        let mut draw = numbers();
        let orders: Vec<Vec<SampleId>> =
            (0..40).map(|_| serve(&table, &mut draw).bags.iter().map(|bag| bag.0).collect()).collect();
        let first = |sample: &Sample| orders.iter().filter(|order| order[0] == sample.id).count();
        assert!(table.samples.iter().all(|sample| first(sample) > 0), "each may come first: {orders:?}");
    }

    #[test]
    fn who_comes_late_gets_the_next_order() {
        let mut table = table(Method::Scored, 4, 3);
        let served = serve(&table, numbers());
        table.glasses = served
            .glasses
            .iter()
            .map(|(sample, code)| super::super::Glass {
                id: crate::units::ids::GlassId::fresh(),
                sample: *sample,
                code: *code,
            })
            .collect();
        let mut late = serve_one_more(&table);
        late.sort_unstable();
        let mut all: Vec<u16> = served.glasses.iter().map(|glass| glass.1).collect();
        all.sort_unstable();
        assert_eq!(late, all);
    }
}
