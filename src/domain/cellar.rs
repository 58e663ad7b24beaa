//! The cellar by its places: what stands where, how much room there is, where more bottles should go, and what
//! comes of age in the months ahead.
//!
//! A place is proposed for its room first: bottles of one filling belong together. Then for its climate, and for what
//! stands there already. The proposal says its reasons; whoever carries the bottles knows better what is at hand.

use super::refusal::Refusal;
use crate::units::days::Day;
use crate::units::ids::{BottlingId, LotId, PlaceId};
use crate::units::money::Money;
use crate::units::text::folded;

/// Bottles of one filling at one place.
#[derive(Debug, Clone, PartialEq)]
pub struct Stand {
    /// Which filling.
    pub bottling: BottlingId,
    /// Its lot.
    pub lot: LotId,
    /// Its code.
    pub code: String,
    /// The drink.
    pub drink: String,
    /// When it was laid down.
    pub bottled_on: Day,
    /// Where.
    pub place: PlaceId,
    /// All names of that place.
    pub path: String,
    /// How many.
    pub bottles: i64,
    /// What they cost.
    pub cost: Money,
}

/// A place for bottles.
#[derive(Debug, Clone, PartialEq)]
pub struct Spot {
    /// Which.
    pub place: PlaceId,
    /// All names, from the outside in.
    pub path: String,
    /// How many bottles it takes, where somebody said.
    pub capacity: Option<i64>,
    /// What stands there, the oldest first.
    pub stands: Vec<Stand>,
    /// What it was like in the last month, where that was read: mean °C, and whether it was too warm, frosty or
    /// changing.
    pub air: Option<(f64, bool)>,
}

impl Spot {
    /// Bottles that stand there.
    pub fn bottles(&self) -> i64 {
        self.stands.iter().map(|stand| stand.bottles).sum()
    }

    /// How many more find room; none where nobody said what it takes.
    pub fn free(&self) -> Option<i64> {
        self.capacity.map(|capacity| (capacity - self.bottles()).max(0))
    }
}

/// Bottles that are to be put somewhere.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Wanted {
    /// How many.
    pub bottles: i64,
    /// Of which drink, where that is known.
    pub drink: Option<String>,
}

/// So many at a place, and why there.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Proposal {
    /// Where.
    pub place: PlaceId,
    /// All its names.
    pub path: String,
    /// How many.
    pub bottles: i64,
    /// Why.
    pub reasons: Vec<String>,
}

/// A month's mean above which a place is for young drinks to be drunk soon, °C (common practice, no source).
const COOL_C: f64 = 18.0;

/// Where they should go, the best place first, and how many find no room. Places of which nobody said what they
/// take are left out.
pub fn propose(spots: &[Spot], wanted: &Wanted) -> (Vec<Proposal>, i64) {
    let mut found = Vec::new();
    let mut left = wanted.bottles;
    let mut taken: Vec<PlaceId> = Vec::new();
    while left > 0 {
        let open = spots.iter().filter(|spot| spot.free() > Some(0) && !taken.contains(&spot.place));
        let Some(best) = open.max_by_key(|spot| rank(spot, wanted, left)) else { break };
        let bottles = left.min(best.free().unwrap_or(0));
        found.push(Proposal {
            place: best.place,
            path: best.path.clone(),
            bottles,
            reasons: reasons(best, wanted, bottles),
        });
        taken.push(best.place);
        left -= bottles;
    }
    (found, left)
}

fn same_drink(spot: &Spot, wanted: &Wanted) -> bool {
    wanted.drink.as_ref().is_some_and(|drink| spot.stands.iter().any(|stand| stand.drink == *drink))
}

/// What speaks for a place: all find room, the air is good, the drink stands there, and little room is left over
/// (or most of them find room). Of equals the first wins.
fn rank(spot: &Spot, wanted: &Wanted, left: i64) -> (bool, i64, bool, i64, std::cmp::Reverse<PlaceId>) {
    let free = spot.free().unwrap_or(0);
    let air = match spot.air {
        Some((mean, false)) if mean <= COOL_C => 2,
        None => 1,
        Some(_) => 0,
    };
    let fits = free >= left;
    let close = if fits { -free } else { free };
    (fits, air, same_drink(spot, wanted), close, std::cmp::Reverse(spot.place))
}

fn reasons(spot: &Spot, wanted: &Wanted, bottles: i64) -> Vec<String> {
    let free = spot.free().unwrap_or(0);
    let takes = spot.capacity.unwrap_or(0);
    let mut found = vec![if bottles == wanted.bottles {
        format!("all of them find room: {free} of {takes} are free")
    } else {
        format!("{free} of {takes} are free")
    }];
    found.push(match spot.air {
        Some((mean, false)) if mean <= COOL_C => format!("cool and steady, {mean:.1} °C this month"),
        Some((mean, false)) => format!("but warm, {mean:.1} °C this month"),
        Some((mean, true)) => {
            format!("but it was too warm, frosty or changing there, {mean:.1} °C this month")
        }
        None => "nobody reads how warm it is there".to_owned(),
    });
    if same_drink(spot, wanted) {
        found.push("the same drink stands there".to_owned());
    }
    found
}

/// Refuses more bottles than a place takes.
pub fn room_for(spot: &Spot, more: i64) -> Result<(), Refusal> {
    let Some(free) = spot.free().filter(|free| more > *free) else { return Ok(()) };
    let (takes, holds) = (spot.capacity.unwrap_or(0), spot.bottles());
    Err(Refusal::conflict(
        "to",
        format!(
            "{} takes {takes} bottles and holds {holds}: {free} more find room, and these are {more}. Choose \
             fewer, or another place, or change what it takes",
            spot.path
        ),
    ))
}

/// What is looked for.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct Sought {
    /// Words that code, drink or place hold, all of them.
    pub words: String,
    /// At least so old, in days.
    pub from_age: Option<i64>,
    /// At most so old.
    pub until_age: Option<i64>,
    /// At this place or within it.
    pub places: Option<Vec<PlaceId>>,
}

impl Sought {
    /// Whether anything is looked for.
    pub fn is_any(&self) -> bool {
        *self != Self::default()
    }

    /// Whether these bottles are meant.
    pub fn finds(&self, stand: &Stand, today: Day) -> bool {
        let age = (today - stand.bottled_on).num_days();
        let text = folded(&format!("{} {} {}", stand.code, stand.drink, stand.path));
        folded(&self.words).split_whitespace().all(|word| text.contains(word))
            && self.from_age.is_none_or(|from| age >= from)
            && self.until_age.is_none_or(|until| age <= until)
            && self.places.as_ref().is_none_or(|places| places.contains(&stand.place))
    }
}

/// A year of age, for pictures and profiles.
pub const AGES: [(&str, i64); 4] =
    [("under a year", 365), ("one to two years", 730), ("two to three years", 1095), ("older", i64::MAX)];

/// Which of [`AGES`] it is.
pub fn age_class(days: i64) -> usize {
    AGES.iter().position(|(_, below)| days < *below).unwrap_or(AGES.len() - 1)
}

/// How many bottles there are of each of [`AGES`].
pub fn profile(stands: &[Stand], today: Day) -> [i64; AGES.len()] {
    let mut found = [0; AGES.len()];
    for stand in stands {
        found[age_class((today - stand.bottled_on).num_days())] += stand.bottles;
    }
    found
}

/// A drink in stock.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct DrinkStock {
    /// Its name.
    pub drink: String,
    /// How many bottles.
    pub bottles: i64,
    /// What they cost.
    pub cost: Money,
    /// When the youngest was laid down.
    pub youngest: Day,
    /// And the oldest.
    pub oldest: Day,
    /// Where they stand.
    pub places: Vec<PlaceId>,
}

/// The drinks in stock, most bottles first.
pub fn drinks(stands: &[Stand]) -> Vec<DrinkStock> {
    let mut found: Vec<DrinkStock> = Vec::new();
    for stand in stands {
        let at = found.iter().position(|one| one.drink == stand.drink).unwrap_or_else(|| {
            found.push(DrinkStock {
                drink: stand.drink.clone(),
                bottles: 0,
                cost: Money::ZERO,
                youngest: stand.bottled_on,
                oldest: stand.bottled_on,
                places: Vec::new(),
            });
            found.len() - 1
        });
        let one = &mut found[at];
        one.bottles += stand.bottles;
        one.cost = one.cost + stand.cost;
        one.youngest = one.youngest.max(stand.bottled_on);
        one.oldest = one.oldest.min(stand.bottled_on);
        if !one.places.contains(&stand.place) {
            one.places.push(stand.place);
        }
    }
    found.sort_by(|one, other| other.bottles.cmp(&one.bottles).then(one.drink.cmp(&other.drink)));
    found
}

/// An age of a filling that falls in the months ahead.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct ComingAge {
    /// The age.
    pub age_days: i64,
    /// When it has that.
    pub falls_on: Day,
    /// It is the first that is planned: until then it is not ready.
    pub first: bool,
    /// It is the last that is planned: it should be drunk from then on.
    pub last: bool,
}

/// A filling with the ages that fall in the months ahead.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Coming {
    /// Which.
    pub bottling: BottlingId,
    /// Its code.
    pub code: String,
    /// The drink.
    pub drink: String,
    /// How many bottles are left.
    pub bottles: i64,
    /// The ages.
    pub ages: Vec<ComingAge>,
}

/// What falls between two days of fillings with bottles left, given all planned ages of each; what comes first is
/// first.
pub fn coming(
    stands: &[Stand],
    planned: impl Fn(BottlingId) -> Vec<(i64, Day)>,
    (from, until): (Day, Day),
) -> Vec<Coming> {
    let mut found: Vec<Coming> = Vec::new();
    for stand in stands {
        if let Some(one) = found.iter_mut().find(|one| one.bottling == stand.bottling) {
            one.bottles += stand.bottles;
            continue;
        }
        let mut all = planned(stand.bottling);
        all.sort_unstable();
        let ends = (all.first().copied(), all.last().copied());
        let meant = all.iter().filter(|age| (from..=until).contains(&age.1));
        let ages = meant.map(|age| ComingAge {
            age_days: age.0,
            falls_on: age.1,
            first: Some(*age) == ends.0,
            last: Some(*age) == ends.1,
        });
        found.push(Coming {
            bottling: stand.bottling,
            code: stand.code.clone(),
            drink: stand.drink.clone(),
            bottles: stand.bottles,
            ages: ages.collect(),
        });
    }
    found.retain(|one| !one.ages.is_empty());
    found.sort_by_key(|one| (one.ages[0].falls_on, one.bottling));
    found
}

#[cfg(test)]
mod tests;
