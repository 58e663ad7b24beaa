//! What is sent and answered about a tasting and a sheet.

use serde::Serialize;
use utoipa::ToSchema;

use crate::db::tastings::Listed;
use crate::domain::members::Doer;
use crate::domain::tastings::serving::most_for_one;
use crate::domain::tastings::sheet::{Answer, Attribute, WHOLE};
use crate::domain::tastings::{Sample, Seat, Table};
use crate::units::days;
use crate::units::number;
use crate::web::api::Amount;

/// A bottling to be poured.
#[derive(ToSchema)]
pub struct NewSample {
    /// Which.
    pub bottling: String,
}

/// A tasting on paper.
#[derive(ToSchema)]
pub struct NewTasting {
    /// What the club calls it.
    pub title: String,
    /// When.
    pub day: String,
    /// Where, in words.
    pub place: Option<String>,
    /// scored, ranking, triangle, paired, duo-trio or words.
    pub method: String,
    /// Nobody knows which glass holds what; true if left out.
    pub blind: Option<bool>,
    /// What is asked in a ranking or a pair; which is liked best, if left out.
    pub question: Option<String>,
    /// In a pair: 1 or 2, the sample that should be named, if that is known beforehand.
    pub expected: Option<u32>,
    /// How much goes into each glass; 30 mL if left out.
    pub pour_volume: Option<Amount>,
    /// What is poured; the first is the known glass of a duo-trio.
    pub samples: Vec<NewSample>,
    /// Who runs it; the member of the token if left out.
    pub host: Option<String>,
    /// Who pours; needed to begin if it is blind.
    pub pourer: Option<String>,
    /// Who is invited to taste.
    pub tasters: Vec<String>,
}

/// What planning made.
#[derive(Serialize, ToSchema)]
pub struct TastingPlanned {
    /// Its id.
    pub id: String,
    /// Its number.
    pub code: String,
}

/// A tasting in a list.
#[derive(Serialize, ToSchema)]
pub struct TastingLine {
    /// Its id.
    pub id: String,
    /// Its number.
    pub code: String,
    /// What the club calls it.
    pub title: String,
    /// When.
    pub day: String,
    /// Where.
    pub place: String,
    /// Nobody knows which glass holds what.
    pub blind: bool,
    /// scored, ranking, triangle, paired, duo-trio or words.
    pub method: String,
    /// to-come, at-the-table, open or called-off.
    pub state: String,
    /// How many bottlings are poured.
    pub samples: i64,
    /// How many are invited.
    pub invited: usize,
    /// How many sheets are in.
    pub sheets_in: usize,
}

impl From<&Listed> for TastingLine {
    fn from(listed: &Listed) -> Self {
        let Listed { tasting, samples, seats } = listed;
        Self {
            id: tasting.id.to_string(),
            code: tasting.code.clone(),
            title: tasting.title.clone(),
            day: days::iso(tasting.day),
            place: tasting.place.clone(),
            blind: tasting.blind,
            method: tasting.method.code().to_owned(),
            state: tasting.state().code().to_owned(),
            samples: *samples,
            invited: seats.len(),
            sheets_in: seats.iter().filter(|seat| seat.handed_in_at.is_some()).count(),
        }
    }
}

/// A member with a part in a tasting.
#[derive(Serialize, ToSchema)]
pub struct Part {
    /// Who.
    pub member: String,
    /// Their name.
    pub name: String,
}

/// One who is invited.
#[derive(Serialize, ToSchema)]
pub struct TasterBody {
    /// Who.
    pub member: String,
    /// Their name.
    pub name: String,
    /// What they said to the allergens; for themselves, the host and stewards only.
    pub may_taste: Option<bool>,
    /// Glasses are poured for them.
    pub tastes: bool,
    /// Their sheet is in.
    pub handed_in: bool,
}

/// A bottling that is poured, and the letter of its bag.
#[derive(Serialize, ToSchema)]
pub struct BagBody {
    /// The letter; null until it begins.
    pub bag: Option<String>,
    /// The bottling.
    pub bottling: String,
    /// Its code.
    pub code: String,
    /// The drink.
    pub drink: String,
    /// The entry that took its bottles out of the cellar.
    pub entry: Option<String>,
}

/// From which bag glasses are poured.
#[derive(Serialize, ToSchema)]
pub struct PouringBody {
    /// The letter of the bag.
    pub bag: String,
    /// The codes of the glasses.
    pub glasses: Vec<u16>,
}

/// Which glass holds what.
#[derive(Serialize, ToSchema)]
pub struct KeyBody {
    /// The code of the glass.
    pub glass: u16,
    /// The bottling.
    pub bottling: String,
    /// Its code.
    pub code: String,
    /// The drink.
    pub drink: String,
}

/// A tasting, as far as this member may see it.
#[derive(Serialize, ToSchema)]
pub struct TastingBody {
    /// Its id.
    pub id: String,
    /// Its number.
    pub code: String,
    /// What the club calls it.
    pub title: String,
    /// Who runs it.
    pub host: Part,
    /// Who pours.
    pub pourer: Option<Part>,
    /// When.
    pub day: String,
    /// Where.
    pub place: String,
    /// Nobody knows which glass holds what.
    pub blind: bool,
    /// scored, ranking, triangle, paired, duo-trio or words.
    pub method: String,
    /// What is asked.
    pub question: String,
    /// How much goes into each glass.
    pub pour_volume: Amount,
    /// The most alcohol that one taster is poured, g, as if all of it were swallowed.
    pub alcohol_g: String,
    /// Every allergen of every sample.
    pub allergens: Vec<String>,
    /// to-come, at-the-table, open or called-off.
    pub state: String,
    /// When bottles were opened, RFC 3339.
    pub begun_at: Option<String>,
    /// When the key was opened, RFC 3339.
    pub opened_at: Option<String>,
    /// Why it was called off.
    pub called_off_because: Option<String>,
    /// How many bottlings are poured.
    pub samples: usize,
    /// What is in which bag: for the host, and for all when it is no secret; null for others.
    pub bags: Option<Vec<BagBody>>,
    /// What is poured from which bag: for whoever pours, and for all when it is no secret; null for others.
    pub pouring: Option<Vec<PouringBody>>,
    /// Which glass holds what; null until the key is open.
    pub key: Option<Vec<KeyBody>>,
    /// Who is invited.
    pub tasters: Vec<TasterBody>,
    /// The names of those whose sheets are waited for.
    pub missing: Vec<String>,
}

impl TastingBody {
    /// What this member sees.
    pub fn of(table: &Table, doer: &Doer) -> Self {
        let (tasting, seen) = (&table.tasting, table.seen_by(doer));
        let part = |(member, name): &(crate::units::ids::MemberId, String)| Part {
            member: member.to_string(),
            name: name.clone(),
        };
        let bag = |sample: &&Sample| BagBody {
            bag: sample.bag.map(String::from),
            bottling: sample.bottling.to_string(),
            code: sample.code.clone(),
            drink: sample.drink.clone(),
            entry: sample.entry.map(|entry| entry.to_string()),
        };
        let key = |(glass, sample): &(u16, &Sample)| KeyBody {
            glass: *glass,
            bottling: sample.bottling.to_string(),
            code: sample.code.clone(),
            drink: sample.drink.clone(),
        };
        let pour = |(bag, glasses): &(char, Vec<u16>)| PouringBody {
            bag: bag.to_string(),
            glasses: glasses.clone(),
        };
        let own = seen.own.map(|seat| seat.sheet);
        let taster = |seat: &Seat| TasterBody {
            member: seat.member.to_string(),
            name: seat.name.clone(),
            may_taste: seat.may_taste.filter(|_| seen.runs || own == Some(seat.sheet)),
            tastes: seat.tastes(),
            handed_in: seat.handed_in_at.is_some(),
        };
        let alcohol = most_for_one(tasting.method, &table.samples, tasting.pour_volume);
        let instant = |at: Option<crate::units::days::Instant>| at.map(|at| at.and_utc().to_rfc3339());
        Self {
            id: tasting.id.to_string(),
            code: tasting.code.clone(),
            title: tasting.title.clone(),
            host: part(&tasting.host),
            pourer: tasting.pourer.as_ref().map(part),
            day: days::iso(tasting.day),
            place: tasting.place.clone(),
            blind: tasting.blind,
            method: tasting.method.code().to_owned(),
            question: tasting.question.clone(),
            pour_volume: Amount::volume(tasting.pour_volume),
            alcohol_g: format!("{:.1}", alcohol.grams),
            allergens: table.allergens(),
            state: tasting.state().code().to_owned(),
            begun_at: instant(tasting.begun_at),
            opened_at: instant(tasting.opened_at),
            called_off_because: tasting.called_off_at.map(|_| tasting.called_off_because.clone()),
            samples: table.samples.len(),
            bags: seen.sight.bags.then(|| seen.bags.iter().map(bag).collect()),
            pouring: seen.sight.pouring.then(|| seen.pouring.iter().map(pour).collect()),
            key: seen.sight.key.then(|| seen.key.iter().map(key).collect()),
            tasters: table.seats.iter().map(taster).collect(),
            missing: table.missing().into_iter().map(|seat| seat.name.clone()).collect(),
        }
    }
}

/// A line from 0 to 10.
#[derive(Serialize, ToSchema)]
pub struct AttributeBody {
    /// Its number in the list; 0 for the drink as a whole.
    pub number: u32,
    /// What is marked.
    pub name: String,
    /// What 0 means.
    pub low_end: String,
    /// What 10 means.
    pub high_end: String,
}

impl From<&Attribute> for AttributeBody {
    fn from(line: &Attribute) -> Self {
        Self {
            number: line.number,
            name: line.name.clone(),
            low_end: line.low_end.clone(),
            high_end: line.high_end.clone(),
        }
    }
}

/// What the club marks on lines.
#[derive(Serialize, ToSchema)]
pub struct AttributeList {
    /// The lines, the drink as a whole last.
    pub lines: Vec<AttributeBody>,
}

impl From<Vec<Attribute>> for AttributeList {
    fn from(list: Vec<Attribute>) -> Self {
        let mut lines: Vec<AttributeBody> = list.iter().map(AttributeBody::from).collect();
        lines.sort_by_key(|line| (line.number == WHOLE, line.number));
        Self { lines }
    }
}

/// A line to be marked.
#[derive(ToSchema)]
pub struct NewAttribute {
    /// What is marked.
    pub name: String,
    /// What 0 means.
    pub low_end: String,
    /// What 10 means.
    pub high_end: String,
}

/// Another list of what the club marks.
#[derive(ToSchema)]
pub struct NewAttributes {
    /// The lines, in their order.
    pub lines: Vec<NewAttribute>,
    /// The line for the drink as a whole.
    pub whole: NewAttribute,
}

/// Whether one may taste everything that is poured.
#[derive(ToSchema)]
pub struct AllergenAnswer {
    /// Yes or no.
    pub may_taste: bool,
}

/// That it begins.
#[derive(ToSchema)]
pub struct BeginningBody {
    /// The host says that everybody who tastes is of age.
    pub of_age: bool,
}

/// Nothing has to be said.
#[derive(ToSchema)]
#[schema(as = NothingToSay)]
pub struct Nothing {}

/// A mark on a line.
#[derive(Serialize, ToSchema)]
pub struct MarkBody {
    /// The number of the line; 0 for the drink as a whole.
    pub line: u32,
    /// From 0 to 10, with at most one decimal.
    pub mark: String,
}

/// What is said of a glass.
#[derive(Serialize, ToSchema)]
pub struct GlassBody {
    /// Its code.
    pub code: u16,
    /// Its marks, where glasses are marked on lines.
    pub marks: Vec<MarkBody>,
    /// Its place in the order, where there is one; 1 is first.
    pub place: Option<u32>,
    /// In your words.
    pub words: String,
}

/// One's own sheet.
#[derive(Serialize, ToSchema)]
pub struct SheetBody {
    /// Of which tasting.
    pub tasting: String,
    /// What was said to the allergens; null where nothing was said yet.
    pub may_taste: Option<bool>,
    /// The codes of one's glasses, in the order in which they are served; empty until they are poured.
    pub serving: Vec<u16>,
    /// What is marked, where glasses are marked on lines.
    pub lines: Vec<AttributeBody>,
    /// What is said so far.
    pub glasses: Vec<GlassBody>,
    /// The glass that is chosen, where one is.
    pub chosen: Option<u16>,
    /// The sheet is in.
    pub handed_in: bool,
}

impl SheetBody {
    /// From what stands on it.
    pub fn of(table: &Table, seat: &Seat, answers: &[Answer]) -> Self {
        use crate::domain::tastings::Method;
        let method = table.tasting.method;
        let glass = |answer: &Answer| GlassBody {
            code: answer.code,
            marks: answer
                .marks
                .iter()
                .map(|(line, tenths)| MarkBody { line: *line, mark: number::plain(*tenths, 1) })
                .collect(),
            place: answer.place.filter(|_| !method.is_choice()),
            words: answer.words.clone(),
        };
        let chosen = answers.iter().find(|answer| method.is_choice() && answer.place == Some(1));
        let lines = table.attributes.iter().filter(|_| method == Method::Scored);
        Self {
            tasting: table.tasting.id.to_string(),
            may_taste: seat.may_taste,
            serving: seat.serving.clone(),
            lines: lines.map(AttributeBody::from).collect(),
            glasses: answers.iter().map(glass).collect(),
            chosen: chosen.map(|answer| answer.code),
            handed_in: seat.handed_in_at.is_some(),
        }
    }
}

/// A mark to be saved.
#[derive(ToSchema)]
pub struct NewMark {
    /// The number of the line; 0 for the drink as a whole.
    pub line: u32,
    /// From 0 to 10, with at most one decimal.
    pub mark: String,
}

/// What is said of a glass; it takes the place of what was said of it before.
#[derive(ToSchema)]
pub struct NewGlass {
    /// Its code.
    pub code: u16,
    /// Its marks, where glasses are marked on lines.
    pub marks: Option<Vec<NewMark>>,
    /// Its place, where glasses are put in order; 1 is first.
    pub place: Option<u32>,
    /// In your words.
    pub words: Option<String>,
}

/// Glasses of one's own sheet.
#[derive(ToSchema)]
pub struct NewSheet {
    /// What is said of glasses; the others stay as they are.
    pub glasses: Option<Vec<NewGlass>>,
    /// The code of the glass that is chosen, where one is.
    pub chosen: Option<u16>,
    /// Words that go with what is chosen.
    pub words: Option<String>,
    /// The sheet is handed in with it; the last one opens the key.
    pub hand_in: Option<bool>,
}

/// An age at which a bottling should be tasted.
#[derive(Serialize, ToSchema)]
pub struct NewTastingAge {
    /// In days.
    pub age_days: u32,
}
