//! Why a line differs, and how it ended.

use serde::{Deserialize, Serialize};

/// Why the books and the shelf differ.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
#[allow(missing_docs, reason = "`label` says what each is")]
pub enum Reason {
    NotWritten,
    WrittenWrong,
    Broken,
    Dried,
    Measured,
    Elsewhere,
    NotKnown,
}

impl Reason {
    /// All of them, in the order of a form.
    pub const ALL: [Reason; 7] = [
        Self::NotWritten,
        Self::WrittenWrong,
        Self::Broken,
        Self::Dried,
        Self::Measured,
        Self::Elsewhere,
        Self::NotKnown,
    ];

    /// As in the database and the API.
    pub const fn code(self) -> &'static str {
        match self {
            Self::NotWritten => "not-written",
            Self::WrittenWrong => "written-wrong",
            Self::Broken => "broken",
            Self::Dried => "dried",
            Self::Measured => "measured",
            Self::Elsewhere => "elsewhere",
            Self::NotKnown => "not-known",
        }
    }

    /// From its code.
    pub fn from_code(code: &str) -> Option<Self> {
        Self::ALL.into_iter().find(|reason| reason.code() == code)
    }

    /// For people.
    pub const fn label(self) -> &'static str {
        match self {
            Self::NotWritten => "taken or brought and not written down",
            Self::WrittenWrong => "written down wrong",
            Self::Broken => "broken, spilt or spoilt",
            Self::Dried => "dried out or evaporated",
            Self::Measured => "weighed or measured differently",
            Self::Elsewhere => "stood at another place",
            Self::NotKnown => "not known",
        }
    }
}

/// How a line ended.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Ending {
    /// The books were right.
    Right,
    /// The books were put right.
    Posted,
    /// It was left as it is, with a reason.
    LeftOut,
}

impl Ending {
    /// As in the database and the API.
    pub const fn code(self) -> &'static str {
        match self {
            Self::Right => "right",
            Self::Posted => "posted",
            Self::LeftOut => "left-out",
        }
    }

    /// From its code.
    pub fn from_code(code: &str) -> Option<Self> {
        [Self::Right, Self::Posted, Self::LeftOut].into_iter().find(|ending| ending.code() == code)
    }
}
