//! Why something is not done, in words that say what to do instead, with the field each reason belongs to.

use std::fmt;

use crate::units::ids::EntryId;

/// What kind of refusal it is: decides the status of the answer.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Why {
    /// What was sent cannot be meant.
    Unfit,
    /// It could be meant, but what is in the books does not allow it.
    Conflict,
    /// It may be meant, and is asked: saying yes records it.
    Question,
    /// There is no such thing in this club.
    Missing,
    /// The member's role does not cover it.
    Forbidden,
}

/// One fault: the dotted path of the field (empty for the whole), and what to do.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Fault {
    /// Such as `lines.0.quantity`.
    pub field: String,
    /// In plain words.
    pub message: String,
}

/// A refusal with at least one fault.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Refusal {
    /// The kind.
    pub why: Why,
    /// The faults, in the order of the form.
    pub faults: Vec<Fault>,
    /// Entries that stand in the way, where there are any.
    pub entries: Vec<EntryId>,
}

impl Refusal {
    /// One fault of a kind.
    pub fn new(why: Why, field: impl Into<String>, message: impl Into<String>) -> Self {
        let fault = Fault { field: field.into(), message: message.into() };
        Self { why, faults: vec![fault], entries: Vec::new() }
    }

    /// A field that cannot be meant as it is.
    pub fn unfit(field: impl Into<String>, message: impl fmt::Display) -> Self {
        Self::new(Why::Unfit, field, message.to_string())
    }

    /// The books do not allow it.
    pub fn conflict(field: impl Into<String>, message: impl fmt::Display) -> Self {
        Self::new(Why::Conflict, field, message.to_string())
    }

    /// There is no such thing here.
    pub fn missing(field: impl Into<String>, what: &str) -> Self {
        Self::new(Why::Missing, field, format!("There is no such {what} in this club"))
    }

    /// Names the entries in the way.
    #[must_use]
    pub fn because_of(mut self, entries: Vec<EntryId>) -> Self {
        self.entries = entries;
        self
    }

    /// The same refusal where the field has another name.
    #[must_use]
    pub fn beside(mut self, field: &str, instead_of: &str) -> Self {
        for fault in self.faults.iter_mut().filter(|fault| fault.field == instead_of) {
            field.clone_into(&mut fault.field);
        }
        self
    }

    /// The same refusal for a line of a list: its fields are under `path`, the day is that of the whole.
    #[must_use]
    pub fn in_line(self, path: &str) -> Self {
        if self.faults.iter().all(|fault| fault.field == "day") { self } else { self.under(path) }
    }

    /// The same refusal with every field under `path`.
    #[must_use]
    pub fn under(mut self, path: &str) -> Self {
        for fault in &mut self.faults {
            fault.field =
                if fault.field.is_empty() { path.to_owned() } else { format!("{path}.{}", fault.field) };
        }
        self
    }
}

impl fmt::Display for Refusal {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let words: Vec<_> = self.faults.iter().map(|fault| fault.message.as_str()).collect();
        f.write_str(&words.join("; "))
    }
}

impl std::error::Error for Refusal {}
