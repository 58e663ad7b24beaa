//! The cellar's formulas: pure functions over `f64`, with no clock, no database and no other room.
//!
//! Every public item names its unit and its source. The marks in the tests say where a check value
//! is from: **S** a published source that was read, **M** a published source from memory, **C**
//! computed independently, **CP** common practice without a source.
//!
//! A value a formula cannot take is an [`OutOfRange`] that says what to do; a value that is taken
//! but lies beyond what was checked comes back as a [`Guide`] with a warning that must be shown.

pub mod alcohol;
pub mod dairy;
pub mod molar;
pub mod range;
pub mod root;
pub mod sugar;

pub use range::{Guide, OutOfRange, Range};

/// The polynomial `c[0] + c[1] x + c[2] x² + …`.
fn polynomial(coefficients: &[f64], x: f64) -> f64 {
    coefficients.iter().rev().fold(0.0, |sum, c| sum * x + c)
}

#[cfg(test)]
mod checks {
    //! Helpers for tests against published tables.

    /// Asserts that `got` lies within `tolerance` of `want`.
    #[track_caller]
    pub fn near(got: f64, want: f64, tolerance: f64) {
        assert!(
            (got - want).abs() <= tolerance,
            "got {got}, want {want} within {tolerance}"
        );
    }

    /// The numbers of a CSV table, without its heading; cells that are no numbers become NaN.
    pub fn table(csv: &str) -> Vec<Vec<f64>> {
        let cells = |line: &str| {
            line.split(',')
                .map(|c| c.trim().parse().unwrap_or(f64::NAN))
                .collect()
        };
        csv.lines().skip(1).map(cells).collect()
    }
}
