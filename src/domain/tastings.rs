//! A tasting from the invitation to the open key: how glasses are judged, who runs it, what stands in its way, and who
//! may see what when.
//!
//! A blind tasting is double-blind: the host wraps the bottles in bags with letters and never sees the codes; somebody
//! else pours from the bags into coded glasses and never sees what is in them. Letters and codes are drawn when it
//! begins, and no one is shown both before the key is open.

use serde::{Deserialize, Serialize};

pub mod ageing;
mod choices;
pub mod panel;
mod plan;
pub mod results;
mod seen;
pub mod serving;
pub mod sheet;
#[cfg(test)]
mod tests;

pub use plan::{MOST_TASTERS, POUR_ML, Person, Plan};
pub use seen::Seen;

use super::members::{Doer, Role};
use super::refusal::{Refusal, Why};
use crate::units::days::{self, Day, Instant};
use crate::units::ids::{BottlingId, EntryId, GlassId, MemberId, SampleId, SheetId, TastingId};
use crate::units::measure::Measured;
use crate::units::quantity::Milli;
use serving::{MOST_ALCOHOL_G, most_for_one};
use sheet::Attribute;

/// How glasses are judged.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Method {
    /// Marks on lines from 0 to 10, the club's list of attributes.
    Scored,
    /// All glasses in one order. ISO 8587.
    Ranking,
    /// Three glasses, two alike: which is the odd one? ISO 4120.
    Triangle,
    /// Two glasses: which of them? ISO 5495.
    Paired,
    /// A known glass and two more: which is like it? ISO 10399.
    DuoTrio,
    /// Words only.
    Words,
}

impl Method {
    /// All of them.
    pub const ALL: [Method; 6] =
        [Self::Scored, Self::Ranking, Self::Triangle, Self::Paired, Self::DuoTrio, Self::Words];

    /// As in the database and the API.
    pub const fn code(self) -> &'static str {
        match self {
            Self::Scored => "scored",
            Self::Ranking => "ranking",
            Self::Triangle => "triangle",
            Self::Paired => "paired",
            Self::DuoTrio => "duo-trio",
            Self::Words => "words",
        }
    }

    /// From its code.
    pub fn from_code(code: &str) -> Option<Self> {
        Self::ALL.into_iter().find(|method| method.code() == code)
    }

    /// For people.
    pub const fn label(self) -> &'static str {
        match self {
            Self::Scored => "Marks on lines",
            Self::Ranking => "Put in order",
            Self::Triangle => "Three glasses, two alike: which is the odd one?",
            Self::Paired => "Two glasses: which of them?",
            Self::DuoTrio => "A known glass and two more: which is like it?",
            Self::Words => "Words only",
        }
    }

    /// How many bottlings it takes, at least and at most. More tire the tongue (common practice, no source).
    pub const fn samples(self) -> (usize, usize) {
        match self {
            Self::Scored | Self::Words => (1, 12),
            Self::Ranking => (2, 8),
            Self::Triangle | Self::Paired | Self::DuoTrio => (2, 2),
        }
    }

    /// One glass is chosen.
    pub const fn is_choice(self) -> bool {
        matches!(self, Self::Triangle | Self::Paired | Self::DuoTrio)
    }

    /// It asks who can tell two drinks apart; whoever knows which glasses are alike cannot take part.
    pub const fn is_difference(self) -> bool {
        matches!(self, Self::Triangle | Self::DuoTrio)
    }

    /// What is asked where the host wrote nothing else.
    pub const fn question(self) -> &'static str {
        match self {
            Self::Scored | Self::Words => "",
            Self::Ranking => "Which do you like best? The best is 1.",
            Self::Triangle => "Two of the three glasses hold the same drink. Which is the odd one?",
            Self::Paired => "Which of the two do you like better?",
            Self::DuoTrio => "One of the two coded glasses holds the same as the known glass. Which?",
        }
    }

    /// Whether the host may ask in words of their own.
    pub const fn asks(self) -> bool {
        matches!(self, Self::Ranking | Self::Paired)
    }
}

/// How far a tasting is.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum State {
    /// Members are invited; nothing is poured.
    ToCome,
    /// Bottles are open, sheets are being filled.
    AtTheTable,
    /// The key is open: which glass held what.
    Open,
    /// It did not take place.
    CalledOff,
}

impl State {
    /// As in the API.
    pub const fn code(self) -> &'static str {
        match self {
            Self::ToCome => "to-come",
            Self::AtTheTable => "at-the-table",
            Self::Open => "open",
            Self::CalledOff => "called-off",
        }
    }

    /// For people.
    pub const fn label(self) -> &'static str {
        match self {
            Self::ToCome => "to come",
            Self::AtTheTable => "at the table",
            Self::Open => "key open",
            Self::CalledOff => "called off",
        }
    }
}

/// A tasting as it stands.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Tasting {
    /// Which.
    pub id: TastingId,
    /// Its number, "T-4".
    pub code: String,
    /// What the club calls it.
    pub title: String,
    /// Who runs it, with their name.
    pub host: (MemberId, String),
    /// Who pours, with their name.
    pub pourer: Option<(MemberId, String)>,
    /// When.
    pub day: Day,
    /// Where.
    pub place: String,
    /// Nobody knows which glass holds what.
    pub blind: bool,
    /// How glasses are judged.
    pub method: Method,
    /// What is asked.
    pub question: String,
    /// In a pair: the number of the sample that should be named.
    pub expected: Option<u32>,
    /// How much goes into each glass.
    pub pour_volume: Milli,
    /// When bottles were opened.
    pub begun_at: Option<Instant>,
    /// When the key was opened.
    pub opened_at: Option<Instant>,
    /// When it was called off.
    pub called_off_at: Option<Instant>,
    /// Why.
    pub called_off_because: String,
}

impl Tasting {
    /// How far it is.
    pub const fn state(&self) -> State {
        match (self.called_off_at, self.opened_at, self.begun_at) {
            (Some(_), _, _) => State::CalledOff,
            (None, Some(_), _) => State::Open,
            (None, None, Some(_)) => State::AtTheTable,
            (None, None, None) => State::ToCome,
        }
    }

    /// Refuses what the tasting is too far for, or not far enough.
    pub fn expect(&self, wanted: &[State]) -> Result<(), Refusal> {
        let state = self.state();
        if wanted.contains(&state) {
            return Ok(());
        }
        let words = match state {
            State::ToCome => "This tasting has not begun; nothing is poured yet",
            State::AtTheTable => "This tasting has begun: glasses are poured",
            State::Open => "The key is open: nothing on the sheets changes any more",
            State::CalledOff => "This tasting was called off; plan another",
        };
        Err(Refusal::conflict("", words))
    }

    /// Refuses anybody but the host and stewards.
    pub fn run_by(&self, doer: &Doer) -> Result<(), Refusal> {
        if doer.member == self.host.0 || doer.role >= Role::Steward {
            return Ok(());
        }
        let words = format!("{} is the host of this tasting; ask them, or a steward", self.host.1);
        Err(Refusal::new(Why::Forbidden, "", words))
    }

    /// Refuses anybody who may not see, and change, what is planned: if it is blind, that is the host alone.
    pub fn planned_by(&self, doer: &Doer) -> Result<(), Refusal> {
        if !self.blind || doer.member == self.host.0 {
            return self.run_by(doer);
        }
        let words = format!("It is blind: only {}, the host, sees and changes what is poured", self.host.1);
        Err(Refusal::new(Why::Forbidden, "", words))
    }

    /// What this member may see now.
    pub fn sight(&self, viewer: MemberId) -> Sight {
        let resolved = !self.blind || self.state() == State::Open;
        let pours = self.pourer.as_ref().is_some_and(|pourer| pourer.0 == viewer);
        Sight {
            key: resolved,
            bags: resolved || viewer == self.host.0,
            pouring: self.begun_at.is_some() && (resolved || pours),
        }
    }
}

/// What a member may see of a tasting. While it is closed, nobody sees both what is in the bags and what is poured
/// from them.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Sight {
    /// Which glass holds what.
    pub key: bool,
    /// Which bottle is in which bag.
    pub bags: bool,
    /// From which bag each glass is poured, and in which order glasses stand before whom.
    pub pouring: bool,
}

/// A bottling that is poured.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Sample {
    /// Which.
    pub id: SampleId,
    /// Its place in the list, from 1.
    pub number: u32,
    /// The bottling.
    pub bottling: BottlingId,
    /// The bottling's code.
    pub code: String,
    /// The drink.
    pub drink: String,
    /// When it was bottled.
    pub bottled_on: Day,
    /// What a bottle holds.
    pub bottle_volume: Milli,
    /// % vol, where it is known.
    pub strength: Option<Measured>,
    /// What must be said of it.
    pub allergens: Vec<String>,
    /// What took its bottles out of the cellar.
    pub entry: Option<EntryId>,
    /// The letter of its bag, once it has begun.
    pub bag: Option<char>,
}

impl Sample {
    /// "Moor Mead, 6-1".
    pub fn name(&self) -> String {
        format!("{}, {}", self.drink, self.code)
    }
}

/// The letter of a bag, by its number from 1.
pub fn letter(bag: u32) -> char {
    let at = u8::try_from(bag.saturating_sub(1)).unwrap_or(25).min(25);
    char::from(b'A' + at)
}

/// A coded glass.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Glass {
    /// Which.
    pub id: GlassId,
    /// What is in it.
    pub sample: SampleId,
    /// Its code, three digits.
    pub code: u16,
}

/// One who is invited, and their sheet.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Seat {
    /// The sheet.
    pub sheet: SheetId,
    /// Who.
    pub member: MemberId,
    /// Their name.
    pub name: String,
    /// What they said when they were asked about the allergens; none before.
    pub may_taste: Option<bool>,
    /// The allergens they were asked about.
    pub asked: Vec<String>,
    /// The codes of their glasses, in the order in which they are served.
    pub serving: Vec<u16>,
    /// When the sheet was handed in.
    pub handed_in_at: Option<Instant>,
}

impl Seat {
    /// Whether they said that they may taste a drink with all of these allergens.
    pub fn may(&self, allergens: &[String]) -> bool {
        self.may_taste == Some(true) && allergens.iter().all(|allergen| self.asked.contains(allergen))
    }

    /// A sheet that is waited for, or is in.
    pub fn tastes(&self) -> bool {
        self.may_taste == Some(true) && !self.serving.is_empty()
    }

    /// A sheet that is waited for.
    pub fn is_missing(&self) -> bool {
        self.tastes() && self.handed_in_at.is_none()
    }
}

/// A tasting with everything on its table.
#[derive(Debug, Clone, PartialEq)]
pub struct Table {
    /// The tasting.
    pub tasting: Tasting,
    /// What is poured.
    pub samples: Vec<Sample>,
    /// The coded glasses, once it has begun; by code.
    pub glasses: Vec<Glass>,
    /// What is marked: the club's list until it begins, its own after that.
    pub attributes: Vec<Attribute>,
    /// Who is invited, by name.
    pub seats: Vec<Seat>,
}

impl Table {
    /// Every allergen of every sample.
    pub fn allergens(&self) -> Vec<String> {
        let mut all: Vec<String> = self.samples.iter().flat_map(|sample| sample.allergens.clone()).collect();
        all.sort();
        all.dedup();
        all
    }

    /// The seat of a member.
    pub fn seat(&self, member: MemberId) -> Option<&Seat> {
        self.seats.iter().find(|seat| seat.member == member)
    }

    /// The seat of a member, or why there is none.
    pub fn own_seat(&self, member: MemberId) -> Result<&Seat, Refusal> {
        self.seat(member).ok_or_else(|| {
            Refusal::new(
                Why::Forbidden,
                "",
                format!("You are not invited to this tasting; ask {}", self.tasting.host.1),
            )
        })
    }

    /// The glass with this code.
    pub fn glass(&self, code: u16) -> Option<&Glass> {
        self.glasses.iter().find(|glass| glass.code == code)
    }

    /// The sample in a glass.
    pub fn sample_in(&self, glass: &Glass) -> Option<&Sample> {
        self.samples.iter().find(|sample| sample.id == glass.sample)
    }

    /// Those whose sheets are waited for.
    pub fn missing(&self) -> Vec<&Seat> {
        self.seats.iter().filter(|seat| seat.is_missing()).collect()
    }

    /// Every sheet that is waited for is in, and there is at least one.
    pub fn all_in(&self) -> bool {
        self.missing().is_empty() && self.seats.iter().any(|seat| seat.handed_in_at.is_some())
    }

    /// Refuses more alcohol than is poured for one at a tasting.
    pub fn check_alcohol(&self) -> Result<(), Refusal> {
        let alcohol = most_for_one(self.tasting.method, &self.samples, self.tasting.pour_volume);
        if alcohol.grams <= MOST_ALCOHOL_G {
            return Ok(());
        }
        let most_ml = self.tasting.pour_volume.base() * MOST_ALCOHOL_G / alcohol.grams;
        let words = format!(
            "That is {:.0} g of alcohol for one taster, and {MOST_ALCOHOL_G:.0} g is the most that is poured here: \
             pour {:.0} mL or less, or take fewer samples",
            alcohol.grams,
            most_ml.floor()
        );
        Err(Refusal::unfit("pour_volume", words))
    }

    /// Refuses to begin what is not ready: too early, nobody to pour, nobody to pour for, or somebody too young.
    pub fn check_beginning(&self, today: Day, of_age: bool) -> Result<(), Refusal> {
        let tasting = &self.tasting;
        tasting.expect(&[State::ToCome])?;
        if !of_age {
            let words =
                "Say that everybody who tastes is of age where you are: nobody under age is poured for";
            return Err(Refusal::unfit("of_age", words));
        }
        if tasting.day > today {
            let words = format!("It is planned for {}; change the day to begin now", days::long(tasting.day));
            return Err(Refusal::conflict("", words));
        }
        if tasting.blind && tasting.pourer.is_none() {
            let words = "Say who pours: somebody who does not know what is in the bags. Change the plan";
            return Err(Refusal::conflict("", words));
        }
        let allergens = self.allergens();
        if !self.seats.iter().any(|seat| seat.may(&allergens)) {
            let words = "Nobody has said yet that they may taste everything in it; ask them to open this tasting and \
                         answer";
            return Err(Refusal::conflict("", words));
        }
        self.check_alcohol()
    }
}
