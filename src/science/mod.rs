//! The cellar's formulas: pure functions over `f64`, with no clock, no database and no other room.
//!
//! Every public item names its unit and its source. The marks in the tests say where a check value
//! is from: **S** a published source that was read, **M** a published source from memory, **C**
//! computed independently, **CP** common practice without a source.
//!
//! A value a formula cannot take is an [`OutOfRange`] that says what to do; a value that is taken
//! but lies beyond what was checked comes back as a [`Guide`] with a warning that must be shown.

pub mod acid;
pub mod ageing;
pub mod alcohol;
pub mod blend;
pub mod dairy;
pub mod fermentation;
pub mod glass;
pub mod heat;
pub mod molar;
pub mod nitrogen;
pub mod pasteur;
pub mod pressure;
pub mod range;
pub mod root;
pub mod sensory;
pub mod sugar;
pub mod sulphite;

pub use range::{Guide, OutOfRange, Range};

/// The polynomial `c[0] + c[1] x + c[2] x² + …`.
fn polynomial(coefficients: &[f64], x: f64) -> f64 {
    coefficients.iter().rev().fold(0.0, |sum, c| sum * x + c)
}

#[cfg(test)]
mod wild;

#[cfg(test)]
mod checks {
    //! Helpers for tests against published tables.

    /// Asserts that `got` lies within `tolerance` of `want`.
    #[track_caller]
    pub fn near(got: f64, want: f64, tolerance: f64) {
        assert!((got - want).abs() <= tolerance, "got {got}, want {want} within {tolerance}");
    }

    /// A repeatable source of numbers (xorshift, Marsaglia 2003).
    pub struct Draw(u64);

    impl Draw {
        /// A source; the same seed gives the same numbers.
        pub const fn new(seed: u64) -> Self {
            Self(seed.wrapping_mul(0x9E37_79B9_7F4A_7C15) | 1)
        }

        /// A number from 0 to `below`, without it.
        pub fn index(&mut self, below: u32) -> u32 {
            self.0 ^= self.0 << 13;
            self.0 ^= self.0 >> 7;
            self.0 ^= self.0 << 17;
            u32::try_from(((self.0 >> 32) * u64::from(below)) >> 32).unwrap_or(0)
        }

        /// A number between the two.
        pub fn between(&mut self, low: f64, high: f64) -> f64 {
            low + (high - low) * f64::from(self.index(u32::MAX)) / f64::from(u32::MAX)
        }
    }

    /// The numbers of a CSV table, without its heading; cells that are no numbers become NaN.
    pub fn table(csv: &str) -> Vec<Vec<f64>> {
        let cells = |line: &str| line.split(',').map(|c| c.trim().parse().unwrap_or(f64::NAN)).collect();
        csv.lines().skip(1).map(cells).collect()
    }
}
