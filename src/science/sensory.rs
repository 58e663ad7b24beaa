//! What a tasting shows: choices among glasses, ranks, scores, and the order in which glasses are served.
//!
//! Distributions are a library's; the designs are ours. Every result keeps apart what was seen, how sure one can be,
//! and what it does not show: a difference that was not found is not sameness.

pub mod choice;
pub mod order;
pub mod ranks;
pub mod scores;

/// Fewer judges than this show nothing, whatever they say (common practice, no source).
pub const TOO_FEW: u32 = 5;
/// So many judges a test for a difference should have; the standards ask for about 24 to 30 (from memory).
pub const ENOUGH_FOR_DIFFERENCE: u32 = 24;

/// A share or a value with the bounds that hold it in 95 of 100 such tastings.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Interval {
    /// Lower bound.
    pub low: f64,
    /// Upper bound.
    pub high: f64,
}

/// Why nothing can be said about a set of sheets.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum NotEnough {
    /// No sheet, or one alone where two are needed.
    Judges,
    /// Fewer than two samples.
    Samples,
    /// A sheet lacks a sample, or has a value that is no number.
    Gap,
    /// Every judge gave all samples the same: there is nothing to compare.
    AllTied,
}

impl std::error::Error for NotEnough {}

impl std::fmt::Display for NotEnough {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.write_str(match self {
            Self::Judges => "At least two sheets are needed.",
            Self::Samples => "At least two samples are needed.",
            Self::Gap => "A sheet lacks a value for a sample.",
            Self::AllTied => "Every judge gave all samples the same, so there is no order to look at.",
        })
    }
}
