//! From what was typed to values that cannot be wrong, with every fault named beside its field.
//!
//! A [`Draft`] is what was sent, as texts under dotted paths (`lines.0.quantity`), whether it came from
//! a page or from the API; it can be shown again as it was. [`Draft::read`] lends a [`Reader`], which
//! reads one field after another and goes on after a fault, so that a person learns of all of them at
//! once. Only if there was none does the command come out. What a command means, and whether the books
//! allow it, is decided elsewhere.

use crate::domain::members::Doer;
use crate::domain::refusal::Refusal;
use crate::units::days::Instant;

pub use draft::Draft;
pub use reader::Reader;

mod draft;
mod reader;

/// What is said of a field that is not known.
pub(super) const UNKNOWN: &str = "There is no field of this name here; look at its spelling";

impl Draft {
    /// Read a command of a member's, or say all that is wrong with it. Read every field that the API
    /// describes: from JSON, a field that nobody read is refused as unknown.
    pub fn read<T>(&self, doer: &Doer, read: impl FnOnce(&mut Reader) -> T) -> Result<T, Refusal> {
        Reader::run(self, doer.now, doer.zone, read)
    }

    /// The same for somebody who is not signed in; days are those of UTC.
    pub fn read_unsigned<T>(&self, now: Instant, read: impl FnOnce(&mut Reader) -> T) -> Result<T, Refusal> {
        Reader::run(self, now, chrono_tz::UTC, read)
    }
}

#[cfg(test)]
mod tests;
