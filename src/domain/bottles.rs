//! Bottling a batch, and taking bottles out again.

use serde::{Deserialize, Serialize};

use super::batches::{DrawLine, Standing, Supply};
use super::books::{Account, EntryKind, NewEntry, above_zero, not_before, not_below_zero};
use super::cautions::{Filled, Reasons};
use super::refusal::Refusal;
use super::stock::{Item, Shelf, draw};
use crate::units::Misread;
use crate::units::days::{Day, Instant};
use crate::units::ids::{BatchId, BottlingId, LotId, MemberId, PlaceId};
use crate::units::money::Money;
use crate::units::quantity::{BaseUnit, Milli};

/// One filling of a batch into bottles of one size.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct Bottling {
    /// Which batch.
    pub batch: BatchId,
    /// When.
    pub day: Day,
    /// How many bottles.
    pub bottles: u32,
    /// How many broke while they were filled or closed: what they held is lost.
    pub broken: u32,
    /// What each holds, in thousandths of a millilitre.
    pub bottle_volume: Milli,
    /// What else was spilt or left: a normal loss.
    pub lost_volume: Milli,
    /// Bottles, closures, labels.
    pub packaging: Vec<DrawLine>,
    /// Where the bottles are laid.
    pub place: PlaceId,
    /// Ages, in days, at which it should be tasted.
    pub tasting_ages_days: Vec<u32>,
    /// They are counted by the warmth of the shelf, in days at 15 °C.
    pub ages_by_warmth: bool,
    /// Why it is done in spite of dangerous cautions.
    pub reasons: Reasons,
    /// A remark.
    pub remark: String,
}

impl Bottling {
    /// The volume in the bottles.
    pub fn filled(&self) -> Milli {
        self.times(self.bottles)
    }

    /// What was lost, with what the broken bottles held.
    pub fn lost(&self) -> Milli {
        Milli::new(self.times(self.broken).get().saturating_add(self.lost_volume.get()))
    }

    fn times(&self, bottles: u32) -> Milli {
        Milli::new(self.bottle_volume.get().saturating_mul(i64::from(bottles)))
    }
}

/// What is filled, for the cautions: bottles of this size, from what is drawn for them.
pub fn to_fill<'i>(bottle_volume: Milli, packaging: impl Iterator<Item = &'i Item>) -> Filled {
    let name = format!("bottles of {}", bottle_volume.shown(BaseUnit::Millilitre));
    Filled { name, drink: bottle_volume, made_for_bar: made_for_bar(packaging) }
}

/// The over-pressure in bar that what is filled is made for: the least that its packaging states. Where none is
/// stated, the bottles are not made for pressure.
fn made_for_bar<'i>(packaging: impl Iterator<Item = &'i Item>) -> Option<f64> {
    let stated = packaging.filter_map(|item| item.made_for_mbar).min()?;
    Some(f64::from(i32::try_from(stated).unwrap_or(i32::MAX)) / 1000.0)
}

/// The most bottles in one filling.
pub const MOST_BOTTLES: u32 = 100_000;

/// How the strength is known of bottles that were filled before they came into these books: somebody said it.
pub const STATED: &str = "stated";

/// Tasting ages as typed: "90, 180, 365" or "90;180": ascending, without doubles, at most twenty.
pub fn read_ages(text: &str) -> Result<Vec<u32>, Misread> {
    let mut ages = Vec::new();
    for part in text.split([',', ';', ' ', '\n']).map(str::trim).filter(|part| !part.is_empty()) {
        match part.parse::<u32>() {
            Ok(age) if (1..=36_500).contains(&age) => ages.push(age),
            _ => return Err(Misread::new("Write the ages in days, such as 90, 180, 365")),
        }
    }
    ages.sort_unstable();
    ages.dedup();
    if ages.len() > 20 {
        return Err(Misread::new("Write at most twenty tasting ages"));
    }
    Ok(ages)
}

/// The entry of a bottling. The bottles carry the drink by volume (what is lost stays in the cost of what is
/// bottled), and all of the packaging.
pub fn bottle(
    standing: &Standing,
    order: &Bottling,
    packaging: &mut [Supply],
    lot: LotId,
) -> Result<NewEntry, Refusal> {
    above_zero("bottles", Milli::new(i64::from(order.bottles)))?;
    above_zero("bottle_volume", order.bottle_volume)?;
    not_below_zero("lost_volume", Some(order.lost_volume))?;
    let (filled, spilt) = (order.filled(), order.lost());
    let needed = filled + spilt;
    let there = standing.holding.quantity;
    if standing.stage.ended() || standing.opened_on.is_none() {
        return Err(Refusal::conflict(
            "",
            format!("Batch {} is {}: there is nothing to bottle", standing.code, standing.stage.label()),
        ));
    }
    if let Some(opened) = standing.opened_on {
        not_before(order.day, opened, &format!("Batch {}", standing.code))?;
    }
    if needed > there {
        return Err(Refusal::conflict(
            "bottles",
            format!(
                "{} and what was lost are {}, but batch {} holds {} by the books; write fewer, or record the volume \
                 measured at racking first",
                if order.bottles == 1 { "1 bottle".to_owned() } else { format!("{} bottles", order.bottles) },
                needed.shown(BaseUnit::Millilitre),
                standing.code,
                there.shown(BaseUnit::Millilitre)
            ),
        ));
    }
    let mut cost = standing.holding.cost.share(filled.get(), (there - spilt).get());
    standing.spares("bottles", order.day, needed, cost)?;
    let mut entry = NewEntry::new(EntryKind::Bottling, order.day, order.remark.clone()).of_batch(order.batch);
    entry.post(Account::Batch(standing.id), needed.negated(), cost.negated());
    for (at, (line, supply)) in order.packaging.iter().zip(packaging).enumerate() {
        let because = line.expired_because.as_deref();
        cost = cost
            + draw(&mut entry, &mut supply.shelves, line.quantity, supply.item.unit, because)
                .map_err(|refusal| refusal.in_line(&format!("packaging.{at}")))?;
    }
    let bottles = Milli::new(i64::from(order.bottles) * 1000);
    entry.post(Account::Stock { lot, place: order.place }, bottles, cost);
    Ok(entry)
}

/// Why bottles leave.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Serialize, Deserialize)]
#[serde(rename_all = "lowercase")]
pub enum Purpose {
    /// Taken home by a member and charged at cost.
    Taken,
    /// Opened for a tasting.
    Tasting,
    /// Given away.
    Gift,
    /// Broken or spoilt.
    Broken,
}

impl Purpose {
    /// All purposes.
    pub const ALL: [Purpose; 4] = [Self::Taken, Self::Tasting, Self::Gift, Self::Broken];

    /// As in the API.
    pub const fn code(self) -> &'static str {
        match self {
            Self::Taken => "taken",
            Self::Tasting => "tasting",
            Self::Gift => "gift",
            Self::Broken => "broken",
        }
    }

    /// From its code.
    pub fn from_code(code: &str) -> Option<Self> {
        Self::ALL.into_iter().find(|purpose| purpose.code() == code)
    }

    /// For people.
    pub const fn label(self) -> &'static str {
        match self {
            Self::Taken => "Taken home by a member, charged at cost",
            Self::Tasting => "Opened for a tasting",
            Self::Gift => "Given away",
            Self::Broken => "Broken or spoilt",
        }
    }
}

/// Bottles that leave the cellar.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct Withdrawal {
    /// From which bottling.
    pub bottling: BottlingId,
    /// When.
    pub day: Day,
    /// How many.
    pub bottles: u32,
    /// What for.
    pub purpose: Purpose,
    /// Who is charged, where they are taken home.
    pub member: Option<MemberId>,
    /// From where; none takes them where most stand.
    pub place: Option<PlaceId>,
    /// When exactly, where it was sent later.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub happened_at: Option<Instant>,
    /// A remark.
    pub remark: String,
}

/// The entry of a withdrawal, at cost.
pub fn withdraw(order: &Withdrawal, batch: BatchId, shelves: &mut [Shelf]) -> Result<NewEntry, Refusal> {
    let account = match (order.purpose, order.member) {
        (Purpose::Taken, Some(member)) => Account::Member(member),
        (Purpose::Taken, None) => {
            return Err(Refusal::unfit("member", "Say who takes them: they are charged at cost"));
        }
        (Purpose::Tasting, _) => Account::Tasted,
        (Purpose::Gift, _) => Account::Given,
        (Purpose::Broken, _) => Account::Lost,
    };
    let wanted = Milli::new(i64::from(order.bottles) * 1000);
    above_zero("bottles", wanted)?;
    let there: Milli = shelves.iter().map(|shelf| shelf.holding.quantity).sum();
    if wanted > there {
        let left = there.get() / 1000;
        let left = if left == 1 { "is only 1".to_owned() } else { format!("are only {left}") };
        return Err(Refusal::conflict("bottles", format!("There {left} left there; write that or less")));
    }
    let mut entry = NewEntry::new(EntryKind::Withdrawal, order.day, order.remark.clone());
    entry.batch = Some(batch);
    entry.bottling = Some(order.bottling);
    entry.happened_at = order.happened_at;
    shelves.sort_by_key(|shelf| (std::cmp::Reverse(shelf.holding.quantity), shelf.place));
    let cost = draw(&mut entry, shelves, wanted, BaseUnit::Piece, Some("a drink keeps"))
        .map_err(|refusal| refusal.beside("bottles", "quantity"))?;
    entry.post(account, Milli::ZERO, cost);
    Ok(entry)
}

/// What one of `bottles` costs, to the millionth, rounded down; the last one takes the rest.
pub fn cost_per_bottle(cost: Money, bottles: i64) -> Money {
    if bottles == 0 { Money::ZERO } else { Money::from_micros(cost.micros() / bottles) }
}

/// An age at which a bottling should be tasted.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct TastingAge {
    /// The age.
    pub age_days: i64,
    /// It is counted by the warmth of the shelf, in days at 15 °C.
    pub by_warmth: bool,
    /// The day on which it has that age, or is expected to.
    pub falls_on: Day,
    /// The day its reminder is due, and whether it is done; none while none has been made.
    pub reminder: Option<(Day, bool)>,
}

impl TastingAge {
    /// The day for which it waits; none where it is done, or passed before anybody was reminded.
    pub fn waits_for(&self, today: Day) -> Option<Day> {
        match self.reminder {
            Some((due_on, done)) => (!done).then_some(due_on),
            None => (self.falls_on >= today).then_some(self.falls_on),
        }
    }
}

/// The tasting that comes next and its day: of those that are due, the oldest age; of those to come, the
/// soonest.
pub fn next_tasting(ages: &[TastingAge], today: Day) -> Option<(TastingAge, Day)> {
    let waiting = || ages.iter().filter_map(|age| Some((*age, age.waits_for(today)?)));
    let due = waiting().filter(|(_, day)| *day <= today).max_by_key(|(age, _)| age.age_days);
    due.or_else(|| waiting().min_by_key(|(age, day)| (*day, age.age_days)))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::domain::batches::Stage;
    use crate::domain::books::Holding;

    fn batch(litres: i64, euros: i64) -> Standing {
        Standing {
            id: BatchId::fresh(),
            code: "36".to_owned(),
            stage: Stage::Resting,
            holding: Holding {
                quantity: Milli::new(litres * 1_000_000),
                cost: Money::from_micros(euros * 1_000_000),
            },
            opened_on: Some("2026-03-11".parse().unwrap()),
            later: Vec::new(),
        }
    }

    fn order(batch: &Standing, bottles: u32, lost_ml: i64) -> Bottling {
        Bottling {
            batch: batch.id,
            day: "2026-06-11".parse().unwrap(),
            bottles,
            broken: 0,
            bottle_volume: Milli::new(750_000),
            lost_volume: Milli::new(lost_ml * 1000),
            packaging: Vec::new(),
            place: PlaceId::fresh(),
            tasting_ages_days: vec![90],
            ages_by_warmth: false,
            reasons: Reasons::default(),
            remark: String::new(),
        }
    }

    #[test]
    fn what_is_lost_at_bottling_stays_in_the_cost_of_the_bottles() {
        let batch = batch(32, 64);
        let entry = bottle(&batch, &order(&batch, 42, 500), &mut [], LotId::fresh()).unwrap();
        assert!(entry.balances());
        assert_eq!(entry.postings[0].quantity, Milli::new(-32_000_000));
        assert_eq!(entry.postings[1].cost, Money::from_micros(64_000_000));
        let broke = Bottling { broken: 2, ..order(&batch, 40, 500) };
        let entry = bottle(&batch, &broke, &mut [], LotId::fresh()).unwrap();
        assert_eq!(
            entry.postings[0].quantity,
            Milli::new(-32_000_000),
            "two bottles of 750 mL went with the rest"
        );
        assert_eq!(entry.postings[1].quantity, Milli::new(40_000));
        assert_eq!(entry.postings[1].cost, Money::from_micros(64_000_000));
        let half = bottle(&batch, &order(&batch, 21, 500), &mut [], LotId::fresh()).unwrap();
        assert_eq!(half.postings[1].cost, Money::from_micros(32_000_000));
    }

    #[test]
    fn no_more_is_bottled_than_the_batch_holds() {
        let batch = batch(31, 64);
        let said = bottle(&batch, &order(&batch, 42, 0), &mut [], LotId::fresh()).unwrap_err().to_string();
        assert!(said.contains("31.5 L, but batch 36 holds 31.0 L"), "{said}");
    }

    #[test]
    fn ages_are_read_in_any_order() {
        assert_eq!(read_ages("365, 90;180 90"), Ok(vec![90, 180, 365]));
        assert_eq!(read_ages(""), Ok(vec![]));
        for bad in ["soon", "-1", "0", "99999999"] {
            assert!(read_ages(bad).is_err(), "{bad}");
        }
    }
    #[test]
    fn the_next_tasting_is_the_one_that_is_due_or_the_soonest_to_come() {
        let day = |text: &str| -> Day { text.parse().unwrap() };
        let age = |age_days, falls_on: &str, reminder| TastingAge {
            age_days,
            by_warmth: false,
            falls_on: day(falls_on),
            reminder,
        };
        let mut ages = vec![
            age(90, "2026-03-20", Some((day("2026-03-20"), true))),
            age(180, "2026-06-18", Some((day("2026-06-18"), false))),
            age(365, "2026-12-20", None),
        ];
        let next =
            |ages: &[TastingAge]| next_tasting(ages, day("2026-06-23")).map(|(age, day)| (age.age_days, day));
        assert_eq!(next(&ages), Some((180, day("2026-06-18"))));
        ages[1].reminder = Some((day("2027-01-10"), false));
        assert_eq!(next(&ages), Some((365, day("2026-12-20"))), "it was put off beyond the next");
        ages[1].reminder = Some((day("2026-06-18"), true));
        ages[2].reminder = Some((day("2026-12-20"), true));
        assert_eq!(next(&ages), None);
        assert_eq!(next(&[age(30, "2025-12-01", None)]), None, "nobody was ever reminded of it");
    }
}
