//! What a member can do: one function, one transaction, one permission each.
//!
//! An action takes the rank it needs as a type, a command that cannot be wrong in itself, and the key of the request;
//! it loads what the rule needs, asks `domain`, and writes what the rule gives.

pub mod archive;
pub mod batches;
pub mod bills;
pub mod bottles;
pub mod buying;
pub mod calendars;
mod cautions;
pub mod cellar;
pub mod climate;
pub mod counts;
pub mod efforts;
pub mod holds;
pub mod instruments;
pub mod intake;
pub mod letters;
pub mod members;
pub mod once;
pub mod payments;
pub mod plans;
pub mod recipes;
pub mod reminders;
pub mod reports;
pub mod reversals;
pub mod shares;
pub mod steps;
pub mod stock;
pub mod tastings;
pub mod vessels;

use std::fmt;

use crate::db::Failure;
use crate::db::connection::Again;
use crate::domain::refusal::Refusal;

/// Why an action did not happen; nothing was recorded.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Error {
    /// A rule refused it, in plain words.
    Refused(Refusal),
    /// The database could not.
    Failed(Failure),
}

impl fmt::Display for Error {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Refused(refusal) => refusal.fmt(f),
            Self::Failed(failure) => failure.fmt(f),
        }
    }
}

impl std::error::Error for Error {}

impl From<Refusal> for Error {
    fn from(refusal: Refusal) -> Self {
        Self::Refused(refusal)
    }
}

impl From<Failure> for Error {
    fn from(failure: Failure) -> Self {
        Self::Failed(failure)
    }
}

impl Again for Error {
    fn again(&self) -> bool {
        matches!(self, Self::Failed(failure) if failure.again())
    }
}

/// The outcome of an action.
pub type Done<T> = Result<T, Error>;

/// Says what is missing when a row is not in this club.
pub(crate) fn or_missing<T>(found: Result<T, Failure>, field: &str, what: &str) -> Done<T> {
    found.map_err(|failure| match failure {
        Failure::Gone => Refusal::missing(field, what).into(),
        other => other.into(),
    })
}
