//! The workbench: where a number is worked out before anything is recorded.
//!
//! Every question a maker asks is one [`Question`] in a table: what it is called, what it asks for, what it gives,
//! and a pure function from the one to the other. Pages, the API and its description follow from that table; nothing
//! else has to be written for one more question. The formulas are those of [`crate::science`].

mod additions;
mod gas;
mod given;
mod heat;
mod milk;
mod mixing;
mod question;
mod readings;
pub mod routes;
mod sheet;
mod strength;
mod time;

pub use given::{Given, Value};
pub use question::{Gives, Input, Kind, Need, Question};
pub use sheet::{Caution, Figure, Held, Sheet, Table, Unfit, shown};

/// Questions that belong together, in the order of the workbench's first page.
pub struct Group {
    /// Its name in a few words.
    pub name: &'static str,
    /// Its questions.
    pub questions: &'static [Question],
}

/// All questions, group by group.
pub const GROUPS: &[Group] = &[
    Group { name: "How strong", questions: strength::QUESTIONS },
    Group { name: "Readings put right", questions: readings::QUESTIONS },
    Group { name: "Sweeten, weaken, blend", questions: mixing::QUESTIONS },
    Group { name: "Milk and whey", questions: milk::QUESTIONS },
    Group { name: "Acid, sulphite, nitrogen, label", questions: additions::QUESTIONS },
    Group { name: "Gas and pressure", questions: gas::QUESTIONS },
    Group { name: "Heat", questions: heat::QUESTIONS },
    Group { name: "Time", questions: time::QUESTIONS },
];

/// Every question.
pub fn questions() -> impl Iterator<Item = &'static Question> {
    GROUPS.iter().flat_map(|group| group.questions)
}

/// The question of this address.
pub fn question(slug: &str) -> Option<&'static Question> {
    questions().find(|question| question.slug == slug)
}

#[cfg(test)]
mod tests;
