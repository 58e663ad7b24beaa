//! Every way a database can fail, in the few kinds the rest of the program tells apart.

use std::fmt;

use diesel::result::{DatabaseErrorKind, Error as DieselError};

/// A database failure.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Failure {
    /// What was asked for is not there.
    Gone,
    /// Something with the same name or key is there already.
    Taken,
    /// A rule of the schema refused it.
    Refused(String),
    /// Another transaction came between; the same again may succeed.
    Again,
    /// Too much waits to be written, or the database is held by another program.
    Busy,
    /// The disk or the server does not take it.
    Unavailable(String),
    /// Anything else: a fault of this program.
    Fault(String),
}

impl fmt::Display for Failure {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Gone => f.write_str("it is not there"),
            Self::Taken => f.write_str("this name or key is taken"),
            Self::Refused(why) => write!(f, "the database refused it: {why}"),
            Self::Again => f.write_str("another change came between"),
            Self::Busy => f.write_str("the database is busy"),
            Self::Unavailable(why) => write!(f, "the database cannot be used: {why}"),
            Self::Fault(why) => write!(f, "a fault: {why}"),
        }
    }
}

impl std::error::Error for Failure {}

impl From<DieselError> for Failure {
    fn from(error: DieselError) -> Self {
        match error {
            DieselError::NotFound => Self::Gone,
            DieselError::DatabaseError(kind, info) => from_database(&kind, info.message()),
            DieselError::BrokenTransactionManager => Self::Unavailable("the connection broke".to_owned()),
            other => Self::Fault(other.to_string()),
        }
    }
}

#[allow(clippy::trivially_copy_pass_by_ref, reason = "the kind cannot be copied out of the error")]
fn from_database(kind: &DatabaseErrorKind, message: &str) -> Failure {
    let said = |words: &[&str]| words.iter().any(|word| message.contains(word));
    match kind {
        DatabaseErrorKind::UniqueViolation => Failure::Taken,
        DatabaseErrorKind::CheckViolation | DatabaseErrorKind::ForeignKeyViolation => {
            Failure::Refused(message.to_owned())
        }
        DatabaseErrorKind::SerializationFailure => Failure::Again,
        DatabaseErrorKind::ClosedConnection => Failure::Unavailable(message.to_owned()),
        // SQLite names these in words only.
        _ if said(&["database is locked", "database table is locked"]) => Failure::Busy,
        _ if said(&["deadlock detected", "could not serialize"]) => Failure::Again,
        _ if said(&["are never changed", "are never deleted"]) => Failure::Refused(message.to_owned()),
        _ if said(&[
            "disk is full",
            "readonly database",
            "disk I/O",
            "unable to open",
            "No space left",
            "read-only transaction",
            "terminating connection",
            "malformed",
            "not a database",
        ]) =>
        {
            Failure::Unavailable(message.to_owned())
        }
        _ => Failure::Fault(message.to_owned()),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn failures_that_sqlite_only_names_in_words_are_told_apart() {
        let unknown = DatabaseErrorKind::Unknown;
        assert_eq!(from_database(&unknown, "database is locked"), Failure::Busy);
        assert!(matches!(
            from_database(&unknown, "attempt to write a readonly database"),
            Failure::Unavailable(_)
        ));
        assert!(matches!(from_database(&unknown, "database or disk is full"), Failure::Unavailable(_)));
        assert!(matches!(from_database(&unknown, "no such table: x"), Failure::Fault(_)));
        assert_eq!(from_database(&DatabaseErrorKind::SerializationFailure, ""), Failure::Again);
    }
}
