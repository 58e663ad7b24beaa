//! Vessels: what a batch stands in before it is in bottles. A vessel holds one batch at a time; a batch may stand in
//! several. What is in a vessel moves nothing in the books: they know the batch, the vessel only says where it is.

use serde::{Deserialize, Serialize};

use super::batches::Standing;
use super::books::above_zero;
use super::cautions::{Holder, Reasons};
use super::refusal::Refusal;
use crate::science::glass::Glass;
use crate::units::days::{self, Day};
use crate::units::ids::{BatchId, PlaceId, VesselId};
use crate::units::measure::Measured;
use crate::units::quantity::{BaseUnit, Milli};

macro_rules! words {
    ($(#[$all:meta])* $name:ident { $($(#[$doc:meta])* $kind:ident $code:literal $label:literal),* $(,)? }) => {
        $(#[$all])*
        #[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
        #[serde(rename_all = "kebab-case")]
        pub enum $name {
            $($(#[$doc])* $kind),*
        }

        impl $name {
            /// All of them.
            pub const ALL: [Self; [$($code),*].len()] = [$(Self::$kind),*];

            /// As in the database and the API.
            pub const fn code(self) -> &'static str {
                match self {
                    $(Self::$kind => $code),*
                }
            }

            /// For people.
            pub const fn label(self) -> &'static str {
                match self {
                    $(Self::$kind => $label),*
                }
            }

            /// From its code.
            pub fn from_code(code: &str) -> Option<Self> {
                Self::ALL.into_iter().find(|one| one.code() == code)
            }
        }
    };
}

words! {
    /// What a vessel is made of.
    Material {
        /// Jars and demijohns.
        Glass "glass" "Glass",
        /// Glass that says that it takes heat.
        OvenGlass "oven-glass" "Heat-proof glass",
        /// Stainless steel.
        Steel "steel" "Stainless steel",
        /// Plastic made for food.
        Plastic "plastic" "Food plastic",
        /// Barrels.
        Wood "wood" "Wood",
        /// Crocks.
        Stoneware "stoneware" "Stoneware",
        /// Pots.
        Enamel "enamel" "Enamel",
        /// What nobody knows.
        Other "other" "Something else",
    }
}

words! {
    /// What closes a vessel.
    Closure {
        /// Gas leaves, nothing comes in.
        Airlock "airlock" "Airlock",
        /// Nothing leaves.
        Lid "lid" "Tight lid or stopper",
        /// A cloth or a loose lid.
        Loose "loose" "Cloth or loose lid",
    }
}

/// The most a vessel may hold, in thousandths of a millilitre: 10,000 L. More is a slip of the pen in a club.
const MOST: Milli = Milli::new(10_000_000_000);
/// What may be in a vessel while it works, if nobody said: nine tenths. Common practice, no source.
const SAFE_PER_CENT: i64 = 90;

/// What a member says of a vessel.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct Vessel {
    /// Short, unique in the club: "G3".
    pub code: String,
    /// What it is made of.
    pub material: Material,
    /// What it holds to the brim.
    pub capacity: Milli,
    /// The most that is in it while it works.
    pub safe_filling: Milli,
    /// Where it stands.
    pub place: PlaceId,
    /// What closes it.
    pub closure: Closure,
    /// It is old, scratched or chipped.
    pub worn: bool,
    /// What to know of it.
    pub marks: String,
}

impl Vessel {
    /// Nine tenths of what it holds.
    pub fn usual_filling(capacity: Milli) -> Milli {
        Milli::new(capacity.get() / 100 * SAFE_PER_CENT)
    }

    /// Refuses what cannot be meant.
    pub fn check(&self) -> Result<(), Refusal> {
        above_zero("capacity", self.capacity)?;
        above_zero("safe_filling", self.safe_filling)?;
        if self.capacity > MOST {
            return Err(Refusal::unfit("capacity", "Write what one vessel holds, 10,000 L at most"));
        }
        if self.safe_filling > self.capacity {
            let holds = self.capacity.shown(BaseUnit::Millilitre);
            return Err(Refusal::unfit("safe_filling", format!("It holds {holds}; write that or less")));
        }
        Ok(())
    }

    /// As the cautions see it, with so much in it. What is not known to take heat counts as glass.
    pub fn holder(&self, filling: Milli) -> Holder {
        Holder {
            name: format!("vessel {}", self.code),
            glass: match self.material {
                Material::Steel | Material::Plastic | Material::Wood | Material::Enamel => None,
                _ if self.worn => Some(Glass::Damaged),
                Material::Glass | Material::Stoneware | Material::Other => Some(Glass::Ordinary),
                Material::OvenGlass => Some(Glass::Borosilicate),
            },
            glass_c: None,
            capacity: self.capacity,
            safe_filling: self.safe_filling,
            filling,
            vented: self.closure != Closure::Lid,
        }
    }
}

/// What is in a vessel, or was.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Inside {
    /// Which batch.
    pub batch: BatchId,
    /// Its number.
    pub code: String,
    /// How much.
    pub volume: Milli,
    /// Since when.
    pub since: Day,
    /// Until when, if it is not in it any more.
    pub until: Option<Day>,
}

/// A vessel as the rules see it when something goes into it.
#[derive(Debug, Clone)]
pub struct Ready<'v> {
    /// What it is.
    pub vessel: &'v Vessel,
    /// Why it is out of use, if it is.
    pub out_of_use: Option<&'v str>,
    /// What is in it now.
    pub inside: Option<&'v Inside>,
    /// Every day on which something was in it that is not any more: the last one.
    pub last: Option<&'v Inside>,
}

/// Drink that goes into a vessel.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct Filling {
    /// Into which.
    pub vessel: VesselId,
    /// Of which batch.
    pub batch: BatchId,
    /// When.
    pub day: Day,
    /// How much is in it then.
    pub volume: Milli,
    /// How warm the liquid is, °C.
    pub liquid_c: Option<Measured>,
    /// Another closure than it had.
    pub closure: Option<Closure>,
    /// Why it is done in spite of dangerous cautions.
    pub reasons: Reasons,
}

/// Whether so much of a batch may go into a vessel; `elsewhere` is what of it stands in other vessels.
pub fn fill(
    ready: &Ready<'_>,
    batch: &Standing,
    elsewhere: Milli,
    day: Day,
    volume: Milli,
) -> Result<(), Refusal> {
    let code = &ready.vessel.code;
    if let Some(why) = ready.out_of_use {
        return Err(Refusal::conflict(
            "vessel",
            format!("Vessel {code} is out of use ({why}): take another, or put it back in use first"),
        ));
    }
    if let Some(inside) = ready.inside.filter(|inside| inside.batch != batch.id) {
        return Err(Refusal::conflict(
            "vessel",
            format!(
                "Batch {} is in vessel {code} since {}: take another vessel, or empty it first",
                inside.code,
                days::long(inside.since)
            ),
        ));
    }
    above_zero("volume", volume)?;
    if volume > ready.vessel.capacity {
        let holds = ready.vessel.capacity.shown(BaseUnit::Millilitre);
        return Err(Refusal::conflict("volume", format!("Vessel {code} holds {holds}; write that or less")));
    }
    batch.filled(day)?;
    if volume + elsewhere > batch.holding.quantity {
        let there = batch.holding.quantity.shown(BaseUnit::Millilitre);
        let other = if elsewhere > Milli::ZERO {
            format!(", of which {} stand in other vessels", elsewhere.shown(BaseUnit::Millilitre))
        } else {
            String::new()
        };
        return Err(Refusal::conflict(
            "volume",
            format!(
                "Batch {} holds {there} by the books{other}; write what is left or less, or record the volume \
                 measured first",
                batch.code
            ),
        ));
    }
    let since = ready.inside.map(|inside| inside.since);
    let until = ready.last.and_then(|last| last.until);
    match since.or(until).filter(|after| day < *after) {
        Some(after) => Err(Refusal::unfit(
            "day",
            format!("Vessel {code} was in use until {}; write that day or a later one", days::long(after)),
        )),
        None => Ok(()),
    }
}

/// Refuses to empty a vessel in which nothing is, or on a day before it was filled.
pub fn empty(code: &str, inside: Option<&Inside>, day: Day) -> Result<(), Refusal> {
    let Some(inside) = inside else {
        return Err(Refusal::conflict("", format!("Nothing is in vessel {code}")));
    };
    if day < inside.since {
        return Err(Refusal::unfit(
            "day",
            format!(
                "Batch {} came into vessel {code} on {}; write that day or a later one",
                inside.code,
                days::long(inside.since)
            ),
        ));
    }
    Ok(())
}

/// Refuses a code that is not short and plain; gives it in capitals.
pub fn code(typed: &str) -> Result<String, crate::units::Misread> {
    let code: String = typed.trim().to_uppercase();
    let plain = |letter: char| letter.is_alphanumeric() || letter == '-';
    if (1..=8).contains(&code.chars().count()) && code.chars().all(plain) {
        Ok(code)
    } else {
        Err(crate::units::Misread::new("Write a short code of up to 8 letters and digits, such as G3"))
    }
}

/// Vessels that could take `volume`, the one that fits best first: free, in use, and large enough while it works.
pub fn fitting<'v, T>(all: impl Iterator<Item = (&'v T, &'v Vessel)>, volume: Milli) -> Vec<&'v T> {
    let mut found: Vec<_> = all.filter(|(_, vessel)| vessel.safe_filling >= volume).collect();
    found.sort_by_key(|(_, vessel)| (vessel.safe_filling, vessel.code.clone()));
    found.into_iter().map(|(one, _)| one).collect()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::domain::batches::Stage;
    use crate::domain::books::Holding;
    use crate::units::money::Money;

    fn day(text: &str) -> Day {
        text.parse().unwrap()
    }

    fn litres(litres: i64) -> Milli {
        Milli::new(litres * 1_000_000)
    }

    fn vessel() -> Vessel {
        Vessel {
            code: "G3".to_owned(),
            material: Material::Glass,
            capacity: litres(25),
            safe_filling: Vessel::usual_filling(litres(25)),
            place: PlaceId::fresh(),
            closure: Closure::Airlock,
            worn: false,
            marks: String::new(),
        }
    }

    fn batch(held: i64) -> Standing {
        Standing {
            id: BatchId::fresh(),
            code: "24".to_owned(),
            stage: Stage::Working,
            holding: Holding { quantity: litres(held), cost: Money::ZERO },
            opened_on: Some(day("2026-03-02")),
            later: Vec::new(),
        }
    }

    fn inside(batch: BatchId, since: &str, until: Option<&str>) -> Inside {
        Inside { batch, code: "20".to_owned(), volume: litres(20), since: day(since), until: until.map(day) }
    }

    fn ready<'v>(vessel: &'v Vessel, inside: Option<&'v Inside>, last: Option<&'v Inside>) -> Ready<'v> {
        Ready { vessel, out_of_use: None, inside, last }
    }

    #[test]
    fn a_vessel_holds_one_batch_and_no_more_than_it_holds() {
        let (vessel, drink) = (vessel(), batch(40));
        let on = day("2026-03-05");
        let says = |ready: &Ready<'_>, elsewhere, volume, on| {
            fill(ready, &drink, litres(elsewhere), on, litres(volume)).map_err(|refusal| refusal.to_string())
        };
        assert_eq!(says(&ready(&vessel, None, None), 15, 25, on), Ok(()));
        let other = inside(BatchId::fresh(), "2026-03-03", None);
        let said = says(&ready(&vessel, Some(&other), None), 0, 20, on).unwrap_err();
        assert!(said.contains("Batch 20 is in vessel G3 since"), "{said}");
        let own = inside(drink.id, "2026-03-03", None);
        assert_eq!(says(&ready(&vessel, Some(&own), None), 0, 20, on), Ok(()), "more of the same");
        for (elsewhere, volume, words) in [
            (0, 26, "holds 25.0 L"),
            (16, 25, "of which 16.0 L stand in other vessels"),
            (0, 0, "above zero"),
            (0, -3, "above zero"),
        ] {
            let said = says(&ready(&vessel, None, None), elsewhere, volume, on).unwrap_err();
            assert!(said.contains(words), "{said}");
        }
        let early = says(&ready(&vessel, None, None), 0, 20, day("2026-03-01")).unwrap_err();
        assert!(early.contains("2 March"), "{early}");
        let last = inside(BatchId::fresh(), "2026-03-03", Some("2026-03-09"));
        let said = says(&ready(&vessel, None, Some(&last)), 0, 20, on).unwrap_err();
        assert!(said.contains("was in use until"), "{said}");
        assert_eq!(says(&ready(&vessel, None, Some(&last)), 0, 20, day("2026-03-09")), Ok(()));
        let broken = Ready { out_of_use: Some("cracked"), ..ready(&vessel, None, None) };
        assert!(says(&broken, 0, 20, on).unwrap_err().contains("out of use (cracked)"));
    }

    #[test]
    fn what_is_said_of_a_vessel_can_be_meant() {
        let fits = |change: fn(&mut Vessel)| {
            let mut said = vessel();
            change(&mut said);
            said.check().map_err(|refusal| refusal.faults[0].field.clone())
        };
        assert_eq!(fits(|_| ()), Ok(()));
        assert_eq!(fits(|vessel| vessel.capacity = Milli::ZERO), Err("capacity".to_owned()));
        assert_eq!(fits(|vessel| vessel.capacity = litres(10_001)), Err("capacity".to_owned()));
        assert_eq!(fits(|vessel| vessel.safe_filling = litres(26)), Err("safe_filling".to_owned()));
        assert_eq!(fits(|vessel| vessel.safe_filling = litres(-1)), Err("safe_filling".to_owned()));
        assert_eq!(Vessel::usual_filling(litres(20)), litres(18));
        assert_eq!(code(" g3 ").unwrap(), "G3");
        for wrong in ["", "a jar", "123456789", "G<3"] {
            assert!(code(wrong).is_err(), "{wrong}");
        }
    }

    #[test]
    fn heat_is_minded_where_it_may_break() {
        let glass = |material, worn| Vessel { material, worn, ..vessel() }.holder(litres(1)).glass;
        assert_eq!(glass(Material::Glass, false), Some(Glass::Ordinary));
        assert_eq!(glass(Material::Glass, true), Some(Glass::Damaged));
        assert_eq!(glass(Material::Stoneware, false), Some(Glass::Ordinary));
        assert_eq!(glass(Material::Other, false), Some(Glass::Ordinary), "nobody knows");
        assert_eq!(glass(Material::OvenGlass, false), Some(Glass::Borosilicate));
        assert_eq!(glass(Material::Steel, true), None);
        assert!(!Vessel { closure: Closure::Lid, ..vessel() }.holder(litres(1)).vented);
    }

    #[test]
    fn an_empty_vessel_is_not_emptied_and_nothing_before_it_came() {
        let full = inside(BatchId::fresh(), "2026-03-03", None);
        assert_eq!(empty("G3", Some(&full), day("2026-03-03")), Ok(()));
        assert!(
            empty("G3", Some(&full), day("2026-03-02"))
                .unwrap_err()
                .to_string()
                .contains("came into vessel G3")
        );
        assert!(
            empty("G3", None, day("2026-03-03")).unwrap_err().to_string().contains("Nothing is in vessel G3")
        );
    }

    #[test]
    fn the_vessel_that_fits_best_stands_first() {
        let sized = |code: &str, held| Vessel {
            code: code.to_owned(),
            capacity: litres(held),
            safe_filling: Vessel::usual_filling(litres(held)),
            ..vessel()
        };
        let all = [sized("A", 60), sized("B", 20), sized("C", 25), sized("D", 23)];
        let found = fitting(all.iter().map(|vessel| (&vessel.code, vessel)), litres(20));
        assert_eq!(found, ["D", "C", "A"], "20.7 L, 22.5 L, 54 L; the one of 20 L has room for 18");
    }
}
