//! What a batch is planned to be: numbered steps, and supplies with their amounts. And what is missing for it.
//!
//! A plan is paper: nothing is booked by it. Its steps are of few kinds, so that whoever reads a plan, a person or
//! the
//! program, knows what is meant without the words.

use serde::{Deserialize, Serialize};

use super::books::Holding;
use super::refusal::Refusal;
use super::stock::Shelf;
use crate::units::days::Day;
use crate::units::ids::ItemId;
use crate::units::measure::Measured;
use crate::units::money::Money;
use crate::units::quantity::{BaseUnit, Milli};

pub use duration::{duration, read_duration};

mod duration;

macro_rules! kinds {
    ($($(#[$doc:meta])* $kind:ident $code:literal $name:literal),* $(,)?) => {
        /// What is done in a step.
        #[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Serialize, Deserialize)]
        #[serde(rename_all = "kebab-case")]
        pub enum StepKind {
            $($(#[$doc])* $kind),*
        }

        impl StepKind {
            /// All kinds, in about the order in which they come.
            pub const ALL: [Self; [$($code),*].len()] = [$(Self::$kind),*];

            /// As in the database and the API.
            pub const fn code(self) -> &'static str {
                match self {
                    $(Self::$kind => $code),*
                }
            }

            /// In words, as an order.
            pub const fn name(self) -> &'static str {
                match self {
                    $(Self::$kind => $name),*
                }
            }
        }
    };
}

kinds! {
    /// Bring to a temperature.
    HeatTo "heat-to" "Heat",
    /// Keep at a temperature.
    Hold "hold" "Hold",
    /// Add rennet and let it set.
    Curdle "curdle" "Curdle",
    /// Take the liquid off what is solid.
    Strain "strain" "Strain",
    /// Let lactase work.
    SplitLactose "split-lactose" "Split the lactose",
    /// Boil water off.
    BoilDown "boil-down" "Boil down",
    /// Add sugar.
    Sweeten "sweeten" "Sweeten",
    /// Bring something into solution.
    Dissolve "dissolve" "Dissolve",
    /// Bring down to a temperature.
    Cool "cool" "Cool",
    /// Fill a vessel.
    Fill "fill" "Fill the vessel",
    /// Add the yeast.
    Pitch "pitch" "Pitch",
    /// Draw off the lees.
    Rack "rack" "Rack",
    /// Clear with a fining.
    Fine "fine" "Fine",
    /// Keep it from working again.
    Stabilise "stabilise" "Stabilise",
    /// Sweeten the finished drink.
    BackSweeten "back-sweeten" "Sweeten the drink",
    /// Put batches together.
    Blend "blend" "Blend",
    /// Take a batch apart.
    Split "split" "Split",
    /// Measure.
    Sample "sample" "Take a reading",
    /// Anything else.
    Note "note" "Note",
}

impl StepKind {
    /// From its code.
    pub fn from_code(code: &str) -> Option<Self> {
        Self::ALL.into_iter().find(|kind| kind.code() == code)
    }
}

/// One step of a plan.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct PlanStep {
    /// What is done.
    pub kind: StepKind,
    /// In words.
    pub what: String,
    /// How much, and what that is counted in.
    pub amount: Option<(Milli, BaseUnit)>,
    /// What is added in it, or comes off; none where the words say it.
    pub item: Option<ItemId>,
    /// Temperature to reach or keep, °C.
    pub target_c: Option<Measured>,
    /// How long.
    pub minutes: Option<i64>,
    /// What can hurt somebody; empty where nothing does.
    pub caution: String,
}

/// A supply of a plan.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
pub struct PlanSupply {
    /// What.
    pub item: ItemId,
    /// How much.
    pub amount: Milli,
}

/// The most steps and supplies of one plan.
pub const MOST_STEPS: usize = 100;

/// Refuses a plan that cannot be meant, and joins supplies of the same item.
pub fn check(steps: &[PlanStep], supplies: &[PlanSupply]) -> Result<Vec<PlanSupply>, Refusal> {
    if steps.len() > MOST_STEPS || supplies.len() > MOST_STEPS {
        return Err(Refusal::unfit(
            "",
            format!("A plan has at most {MOST_STEPS} steps and as many supplies"),
        ));
    }
    let mut joined: Vec<PlanSupply> = Vec::new();
    for supply in supplies.iter().filter(|supply| supply.amount > Milli::ZERO) {
        match joined.iter_mut().find(|other| other.item == supply.item) {
            Some(other) => other.amount = other.amount + supply.amount,
            None => joined.push(*supply),
        }
    }
    Ok(joined)
}

/// A supply that a plan asks for, and how much of it was drawn already.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Wanted {
    /// What.
    pub item: ItemId,
    /// How much the plan says.
    pub planned: Milli,
    /// How much was drawn.
    pub drawn: Milli,
}

impl Wanted {
    /// What is still to be drawn.
    pub fn left(&self) -> Milli {
        self.planned.above(self.drawn)
    }
}

/// What is there of an item that may be used on a day.
pub fn good(shelves: &[Shelf], on: Day) -> Milli {
    shelves.iter().filter(|shelf| !shelf.expired(on)).map(|shelf| shelf.holding.quantity).sum()
}

/// What taking `wanted` from the shelves would cost, first-expired-first, and how much of it is not there. What is
/// past
/// its day is passed over.
pub fn price(shelves: &[Shelf], wanted: Milli, on: Day) -> (Money, Milli) {
    let (mut rest, mut cost) = (wanted, Money::ZERO);
    for shelf in shelves.iter().filter(|shelf| !shelf.expired(on)) {
        let mut holding: Holding = shelf.holding;
        let part = rest.min(holding.quantity);
        cost = cost + holding.take(part).unwrap_or_default();
        rest = rest - part;
        if rest == Milli::ZERO {
            break;
        }
    }
    (cost, rest)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::units::ids::{LotId, PlaceId};

    fn shelf(quantity: i64, cost: i64, best_before: Option<&str>) -> Shelf {
        let day: Day = "2026-01-01".parse().unwrap();
        Shelf {
            lot: LotId::fresh(),
            code: "L-1".to_owned(),
            place: PlaceId::fresh(),
            received_on: day,
            best_before: best_before.map(|day| day.parse().unwrap()),
            holding: Holding { quantity: Milli::new(quantity), cost: Money::from_micros(cost) },
            opened_on: day,
            later: Vec::new(),
        }
    }

    /// Worked out by hand: 100 at 10.00 and 200 at 11.00, of which 250 are taken: 1000 + 150 × 11.
    #[test]
    fn a_price_is_that_of_the_first_to_expire() {
        let today: Day = "2026-06-01".parse().unwrap();
        let shelves = [shelf(100_000, 1_000_000_000, None), shelf(200_000, 2_200_000_000, None)];
        assert_eq!(
            price(&shelves, Milli::new(250_000), today),
            (Money::from_micros(2_650_000_000), Milli::ZERO)
        );
        let (cost, missing) = price(&shelves, Milli::new(350_000), today);
        assert_eq!((cost, missing), (Money::from_micros(3_200_000_000), Milli::new(50_000)));
        let old = [shelf(100_000, 1_000_000_000, Some("2026-05-31"))];
        assert_eq!(price(&old, Milli::new(1000), today), (Money::ZERO, Milli::new(1000)));
        assert_eq!(good(&old, today), Milli::ZERO);
    }

    #[test]
    fn what_is_left_to_draw_is_never_below_nothing() {
        let left = |planned, drawn| {
            let (planned, drawn) = (Milli::new(planned), Milli::new(drawn));
            Wanted { item: ItemId::fresh(), planned, drawn }.left()
        };
        assert_eq!((left(5000, 2000), left(10, 30)), (Milli::new(3000), Milli::ZERO));
    }

    #[test]
    fn supplies_of_the_same_item_are_joined() {
        let item = ItemId::fresh();
        let line = |amount| PlanSupply { item, amount: Milli::new(amount) };
        assert_eq!(check(&[], &[line(3), line(0), line(4)]).unwrap(), [line(7)]);
    }
}
