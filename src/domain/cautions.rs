//! The cautions of this work: what can hurt somebody, where a person can still act on it.
//!
//! Pure: from what is known about a batch and about what is to be done with it ([`Facts`]) to the cautions that stand
//! before the button ([`cautions`]), each with what to do, why, and from where that is known. What is not known is no
//! reason to be silent: it gives the caution of the worse case. A caution that is dangerous needs a reason to go on,
//! and [`reasoned`] refuses without one; that is kept for what can burst, scald or make ill, so that ordinary work
//! never asks for words.

use std::collections::BTreeMap;

use serde::{Deserialize, Serialize};

pub use readiness::{EXPECTED_END_SG, Readiness, readiness};
pub use rules::{cautions, for_step, warm_shelf};

use super::batches::Stage;
use super::plans::StepKind;
use super::refusal::{Fault, Refusal, Why};
use crate::science::fermentation::Reading;
use crate::science::glass::Glass;
use crate::units::quantity::Milli;

mod readiness;
mod rules;
#[cfg(test)]
mod tests;

macro_rules! rules {
    ($($(#[$doc:meta])* $rule:ident $code:literal),* $(,)?) => {
        /// What a caution is about.
        #[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, PartialOrd, Ord)]
        pub enum Rule {
            $($(#[$doc])* $rule),*
        }

        impl Rule {
            /// All rules.
            pub const ALL: [Self; [$($code),*].len()] = [$(Self::$rule),*];

            /// As in the database and the API.
            pub const fn code(self) -> &'static str {
                match self {
                    $(Self::$rule => $code),*
                }
            }
        }
    };
}

rules! {
    /// Boiling liquid foams over.
    BoilOver "boil-over",
    /// Hot liquid breaks glass.
    HotGlass "hot-glass",
    /// Hot liquid kills enzyme and yeast.
    TooHot "too-hot",
    /// Raw milk carries germs.
    RawMilk "raw-milk",
    /// Fresh cheese spoils.
    FreshCheese "fresh-cheese",
    /// Warm whey spoils.
    WarmWhey "warm-whey",
    /// Carbon dioxide fills a closed room.
    Gas "gas",
    /// A closed vessel bursts.
    ClosedVessel "closed-vessel",
    /// Foam needs room.
    Headspace "headspace",
    /// A full vessel is heavy, and glass.
    Weight "weight",
    /// An unfinished drink bursts its bottles.
    Unfinished "unfinished",
    /// What is left of sugar and gas presses on the bottle.
    Pressure "pressure",
    /// A drink that is not sour enough lets germs grow.
    Acid "acid",
    /// Sulphite takes the breath.
    Sulphite "sulphite",
    /// Sulphite keeps a drink.
    Protection "protection",
    /// Allergens are carried on.
    Allergens "allergens",
    /// Honey is not for infants.
    Honey "honey",
    /// Something on hold went into it.
    Held "held",
}

impl Rule {
    /// From its code.
    pub fn from_code(code: &str) -> Option<Self> {
        Self::ALL.into_iter().find(|rule| rule.code() == code)
    }
}

/// What is to be done.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
#[allow(missing_docs, reason = "the words are those of the trade")]
pub enum Doing {
    Draw,
    Pitch,
    ByProduct,
    Rack,
    Split,
    Blend,
    Bottle,
    /// Filling a vessel.
    Fill,
    /// A step of a recipe or plan.
    Step(StepKind),
    /// What hurts nobody: a reading, a loss, an end.
    Else,
}

/// The vessel that is filled, as far as it is known.
#[derive(Debug, Clone, PartialEq)]
pub struct Holder {
    /// What to call it: "vessel G3".
    pub name: String,
    /// Whether it is glass, and which; `None` for what takes heat.
    pub glass: Option<Glass>,
    /// How warm the glass is, °C.
    pub glass_c: Option<f64>,
    /// What it holds to the brim.
    pub capacity: Milli,
    /// The most that is in it while it works.
    pub safe_filling: Milli,
    /// What will be in it.
    pub filling: Milli,
    /// Whether gas can leave it: an airlock, or a loose lid.
    pub vented: bool,
}

/// Bottles of one kind that are to be filled.
#[derive(Debug, Clone, PartialEq)]
pub struct Filled {
    /// What to call them: "bottles of 750 mL".
    pub name: String,
    /// What one holds.
    pub drink: Milli,
    /// The over-pressure that they are made for, bar; `None` where that is not stated.
    pub made_for_bar: Option<f64>,
}

/// All that a caution may follow from. `None`: not known.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct Facts {
    /// How far the batch is.
    pub stage: Option<Stage>,
    /// Whether milk is in it.
    pub dairy: Option<bool>,
    /// Whether that milk is raw.
    pub raw_milk: Option<bool>,
    /// Honey is in it.
    pub honey: bool,
    /// The allergens of all that went into it.
    pub allergens: Vec<String>,
    /// What went into it and is on hold, in words.
    pub held: Vec<String>,
    /// How warm the liquid is, or is meant to be, °C.
    pub liquid_c: Option<f64>,
    /// For how long milk, whey or curds stood or will stand out of the cold, hours.
    pub standing_hours: Option<f64>,
    /// How much of it there is.
    pub volume: Option<Milli>,
    /// The room in which it stands, m³.
    pub room_m3: Option<f64>,
    /// What is filled.
    pub vessel: Option<Holder>,
    /// Its gravities, days counted from any start, oldest first.
    pub gravities: Vec<Reading>,
    /// Its last pH since the yeast went in.
    pub ph: Option<f64>,
    /// Its last free sulphite, mg/L.
    pub free_sulphite_mg_l: Option<f64>,
    /// How strong it is, % vol.
    pub strength: Option<f64>,
    /// What of the galactose of split milk sugar may be left, g/L.
    pub galactose_g_l: Option<f64>,
    /// A step says that it was stabilised.
    pub stabilised: bool,
    /// What is filled; plain wine bottles where that is not said.
    pub bottles: Vec<Filled>,
    /// The warmest that a shelf of this club gets, °C.
    pub warmest_c: Option<f64>,
}

/// A caution.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Caution {
    /// Which rule.
    pub rule: Rule,
    /// What it is about: "heat breaks vessel G3".
    pub title: String,
    /// What to do and what to leave, a sentence or two each.
    pub points: Vec<String>,
    /// What happens otherwise.
    pub why: String,
    /// From where that is known, or "common practice, no source".
    pub source: &'static str,
    /// It is dangerous: who goes on says why.
    pub needs_reason: bool,
}

/// Why somebody goes on in spite of a dangerous caution, by the code of its rule.
#[derive(Debug, Clone, Default, PartialEq, Eq, Serialize, Deserialize)]
#[serde(transparent)]
pub struct Reasons(BTreeMap<String, String>);

impl Reasons {
    /// With one more reason; empty words are none.
    #[must_use]
    pub fn with(mut self, rule: Rule, words: impl Into<String>) -> Self {
        let words = words.into();
        if !words.trim().is_empty() {
            self.0.insert(rule.code().to_owned(), words);
        }
        self
    }

    /// The words for a rule.
    pub fn of(&self, rule: Rule) -> Option<&str> {
        self.0.get(rule.code()).map(String::as_str)
    }
}

/// The field in which the reason for a rule is given: `reasons.unfinished`.
pub fn field(rule: Rule) -> String {
    format!("reasons.{}", rule.code())
}

/// The dangerous ones among these with the reason for going on; refused where one is missing.
pub fn reasoned<'c>(
    cautions: &'c [Caution],
    reasons: &'c Reasons,
) -> Result<Vec<(&'c Caution, &'c str)>, Refusal> {
    let (mut kept, mut faults) = (Vec::new(), Vec::new());
    for caution in cautions.iter().filter(|caution| caution.needs_reason) {
        match reasons.of(caution.rule) {
            Some(words) => kept.push((caution, words)),
            None => faults.push(Fault {
                field: field(caution.rule),
                message: format!("Danger: {}. Do not go on, or write why it is safe here", caution.title),
            }),
        }
    }
    if faults.is_empty() { Ok(kept) } else { Err(Refusal { why: Why::Unfit, faults, entries: Vec::new() }) }
}
