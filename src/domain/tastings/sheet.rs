//! A sheet: what one member says of the glasses, and the lines on which it is marked.

use serde::{Deserialize, Serialize};

use super::{Method, Seat, State, Table};
use crate::domain::refusal::{Fault, Refusal, Why};
use crate::units::ids::TastingId;

/// Something that is marked on a line from 0 to 10.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct Attribute {
    /// Its place in the list, from 1; [`WHOLE`] for the drink as a whole.
    pub number: u32,
    /// What is marked.
    pub name: String,
    /// What 0 means.
    pub low_end: String,
    /// What 10 means.
    pub high_end: String,
}

/// The number of the mark for the drink as a whole: every list has it, at its end.
pub const WHOLE: u32 = 0;
/// The most lines beside the whole.
pub const MOST_ATTRIBUTES: usize = 12;
/// The longest name of an attribute or of an end.
pub const LONGEST_NAME: usize = 40;

/// The list of a club that has not changed it (common practice, no source).
pub fn usual_attributes() -> Vec<Attribute> {
    let lines = [
        ("Look", "dull", "bright"),
        ("Smell", "says nothing", "rich and clean"),
        ("Sweetness", "bone dry", "very sweet"),
        ("Acidity", "flat", "sharp"),
        ("Body", "thin", "full"),
        ("Finish", "gone at once", "stays long"),
        ("Faults", "none", "they spoil it"),
    ];
    let mut list: Vec<Attribute> =
        (1..).zip(lines).map(|(number, line)| attribute(number, line.0, line.1, line.2)).collect();
    list.push(attribute(WHOLE, "Overall", "would pour it away", "could not be better"));
    list
}

fn attribute(number: u32, name: &str, low_end: &str, high_end: &str) -> Attribute {
    Attribute { number, name: name.to_owned(), low_end: low_end.to_owned(), high_end: high_end.to_owned() }
}

/// Refuses a list of attributes that cannot be marked.
pub fn check_attributes(list: &[Attribute]) -> Result<(), Refusal> {
    if list.len() > MOST_ATTRIBUTES + 1 {
        return Err(Refusal::unfit(
            "lines",
            format!("Keep at most {MOST_ATTRIBUTES} lines beside the whole"),
        ));
    }
    if list.iter().filter(|attribute| attribute.number == WHOLE).count() != 1 {
        return Err(Refusal::unfit(
            "whole.name",
            "Keep the line for the drink as a whole: ages are compared by it",
        ));
    }
    let folded = |at: usize| crate::units::text::folded(&list[at].name);
    match (1..list.len()).find(|at| (0..*at).any(|other| folded(other) == folded(*at))) {
        Some(at) => {
            let words = format!("“{}” is in the list twice; give one of them another name", list[at].name);
            let field =
                if list[at].number == WHOLE { "whole.name".to_owned() } else { format!("lines.{at}.name") };
            Err(Refusal::unfit(field, words))
        }
        None => Ok(()),
    }
}

/// What is said of one glass.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct Answer {
    /// The code of the glass.
    pub code: u16,
    /// Attribute and mark, in tenths from 0 to 100.
    pub marks: Vec<(u32, i64)>,
    /// Its place in the order; 1 for the glass that was chosen.
    pub place: Option<u32>,
    /// In the taster's own words.
    pub words: String,
}

impl Answer {
    /// The mark for an attribute, from 0 to 10.
    #[allow(clippy::cast_precision_loss, reason = "tenths up to 100")]
    pub fn mark(&self, attribute: u32) -> Option<f64> {
        self.marks.iter().find(|mark| mark.0 == attribute).map(|mark| mark.1 as f64 / 10.0)
    }

    fn says_nothing(&self) -> bool {
        self.marks.is_empty() && self.place.is_none() && self.words.is_empty()
    }
}

/// What somebody saves of their sheet: it takes the place of what was said of these glasses before.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct Part {
    /// At which tasting.
    pub tasting: TastingId,
    /// What is said; in a choice, of the glass that is chosen alone.
    pub answers: Vec<Answer>,
    /// The sheet is handed in with it.
    pub hand_in: bool,
}

/// A sheet as it is after a part was saved.
pub fn with_part(method: Method, before: &[Answer], part: &Part) -> Vec<Answer> {
    let kept = before.iter().filter(|old| {
        // One choice takes the place of the other.
        !method.is_choice() && !part.answers.iter().any(|new| new.code == old.code)
    });
    let mut after: Vec<Answer> =
        kept.chain(&part.answers).filter(|one| !one.says_nothing()).cloned().collect();
    after.sort_by_key(|answer| answer.code);
    after
}

/// Refuses what cannot be said of these glasses by this taster.
pub fn check_part(table: &Table, seat: &Seat, part: &Part) -> Result<(), Refusal> {
    may_write(table, seat)?;
    let mut faults = Vec::new();
    let mut fault = |at: usize, field: &str, message: String| {
        faults.push(Fault { field: format!("glasses.{at}.{field}"), message });
    };
    for (at, answer) in part.answers.iter().enumerate() {
        if !seat.serving.contains(&answer.code) {
            fault(
                at,
                "code",
                format!("Glass {} does not stand before you; look at its code again", answer.code),
            );
        }
        if part.answers[..at].iter().any(|other| other.code == answer.code) {
            fault(at, "code", format!("Glass {} is there twice; say all of it at once", answer.code));
        }
        if !answer.marks.is_empty() && table.tasting.method != Method::Scored {
            fault(at, "marks", "Nothing is marked on lines at this tasting".to_owned());
        }
        for (number, mark) in &answer.marks {
            if !table.attributes.iter().any(|attribute| attribute.number == *number) {
                fault(at, "marks", format!("There is no line with the number {number} at this tasting"));
            }
            if !(0..=100).contains(mark) {
                fault(at, "marks", "A line goes from 0 to 10".to_owned());
            }
        }
        let glasses = u32::try_from(seat.serving.len()).unwrap_or(u32::MAX);
        match (table.tasting.method, answer.place) {
            (Method::Ranking, Some(place)) if !(1..=glasses).contains(&place) => {
                fault(at, "place", format!("Write a place from 1 to {glasses}"));
            }
            (Method::Scored | Method::Words, Some(_)) => {
                fault(at, "place", "Glasses are not put in order at this tasting".to_owned());
            }
            _ => {}
        }
    }
    if table.tasting.method.is_choice() && !(part.answers.len() == 1 && part.answers[0].place == Some(1)) {
        faults.push(Fault {
            field: "chosen".to_owned(),
            message: "Choose one glass, also if you are not sure".to_owned(),
        });
    }
    if faults.is_empty() { Ok(()) } else { Err(Refusal { why: Why::Unfit, faults, entries: Vec::new() }) }
}

/// Refuses a sheet that nobody may write on now.
pub fn may_write(table: &Table, seat: &Seat) -> Result<(), Refusal> {
    table.tasting.expect(&[State::AtTheTable])?;
    match seat.may_taste {
        None => Err(Refusal::conflict("", "Say first whether you may taste what is poured")),
        Some(false) => {
            Err(Refusal::conflict("", "You said that you leave this tasting out; say yes first to take part"))
        }
        Some(true) if seat.serving.is_empty() => {
            Err(Refusal::conflict("", "Nothing was poured for you; ask the host"))
        }
        Some(true) => Ok(()),
    }
}

/// Refuses to hand in a sheet on which something is missing, or to take away what one that was handed in needs.
pub fn check_complete(table: &Table, seat: &Seat, answers: &[Answer]) -> Result<(), Refusal> {
    let of = |code: &u16| answers.iter().find(|answer| answer.code == *code);
    let lacking = |lacks: &dyn Fn(Option<&Answer>) -> bool| -> Vec<String> {
        seat.serving.iter().filter(|code| lacks(of(code))).map(u16::to_string).collect()
    };
    let missing = match table.tasting.method {
        Method::Scored => lacking(&|answer| answer.is_none_or(|answer| answer.mark(WHOLE).is_none())),
        Method::Ranking => lacking(&|answer| answer.is_none_or(|answer| answer.place.is_none())),
        Method::Words => {
            let none = lacking(&|answer| answer.is_none_or(|answer| answer.words.is_empty()));
            if none.len() < seat.serving.len() { Vec::new() } else { none }
        }
        Method::Triangle | Method::Paired | Method::DuoTrio => {
            if answers.iter().any(|answer| answer.place == Some(1)) {
                return Ok(());
            }
            return Err(Refusal::conflict("chosen", "Choose one glass, also if you are not sure"));
        }
    };
    if missing.is_empty() {
        return Ok(());
    }
    let glasses = if missing.len() == 1 { "glass" } else { "glasses" };
    let lacks = match table.tasting.method {
        Method::Scored => {
            let whole = table.attributes.iter().find(|attribute| attribute.number == WHOLE);
            format!("a mark for “{}”", whole.map_or("the whole", |whole| whole.name.as_str()))
        }
        Method::Ranking => "a place in the order".to_owned(),
        _ => "a word".to_owned(),
    };
    Err(Refusal::conflict("", format!("Your sheet still lacks {lacks} for {glasses} {}", missing.join(", "))))
}
