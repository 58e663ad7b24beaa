//! The ground floor: values that cannot be wrong once they exist.
//!
//! Everything a person types is read here into a typed value or refused in plain words ([`Misread`]).
//! Nothing in this room knows a database, a web page or a clock.

pub mod days;
pub mod dimension;
pub mod ids;
pub mod measure;
pub mod money;
pub mod number;
pub mod quantity;
pub mod text;

use std::fmt;

/// Why something that was typed could not be read, in words that say what to write instead.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Misread(String);

impl Misread {
    /// A refusal in plain words; `message` says what to do.
    pub fn new(message: impl Into<String>) -> Self {
        Self(message.into())
    }
}

impl fmt::Display for Misread {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(&self.0)
    }
}

impl std::error::Error for Misread {}
