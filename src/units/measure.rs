//! Measured values of a drink, in whole millionths of the unit of their kind.

use std::fmt;

use serde::{Deserialize, Serialize};

use super::{Misread, number};

/// What a reading measures.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, PartialOrd, Ord, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum ReadingKind {
    /// Relative density at 20 °C against water at 20 °C.
    Gravity,
    /// Mass per cent of sugar by a refractometer or saccharimeter.
    Brix,
    /// Degrees Celsius.
    Temperature,
    /// pH.
    Ph,
    /// Titratable acidity, g/L as tartaric acid.
    Acidity,
    /// Free sulphur dioxide, mg/L.
    FreeSulphite,
    /// Litres.
    Volume,
}

impl ReadingKind {
    /// All of them, in the order of a form.
    pub const ALL: [Self; 7] = [
        Self::Gravity,
        Self::Temperature,
        Self::Ph,
        Self::Acidity,
        Self::FreeSulphite,
        Self::Brix,
        Self::Volume,
    ];

    /// The name used in the API and in the database.
    pub const fn code(self) -> &'static str {
        match self {
            Self::Gravity => "gravity",
            Self::Brix => "brix",
            Self::Temperature => "temperature",
            Self::Ph => "ph",
            Self::Acidity => "acidity",
            Self::FreeSulphite => "free-sulphite",
            Self::Volume => "volume",
        }
    }

    /// From its name.
    pub fn from_code(code: &str) -> Option<Self> {
        Self::ALL.into_iter().find(|kind| kind.code() == code)
    }

    /// Name and unit for people.
    pub const fn label(self) -> (&'static str, &'static str) {
        match self {
            Self::Gravity => ("Gravity", "SG 20/20"),
            Self::Brix => ("Sugar by refractometer", "°Brix"),
            Self::Temperature => ("Temperature", "°C"),
            Self::Ph => ("pH", "pH"),
            Self::Acidity => ("Acidity", "g/L as tartaric"),
            Self::FreeSulphite => ("Free sulphite", "mg/L"),
            Self::Volume => ("Volume", "L"),
        }
    }

    /// The places with which a value of this kind is shown.
    pub const fn places(self) -> u32 {
        match self {
            Self::Gravity => 4,
            Self::Ph => 2,
            Self::FreeSulphite => 0,
            _ => 1,
        }
    }

    /// The least and the greatest value that can be meant, in millionths, and an example.
    const fn range(self) -> (i64, i64, &'static str) {
        match self {
            Self::Gravity => (970_000, 1_420_000, "1.0450"),
            Self::Brix => (-5_000_000, 85_000_000, "12.4"),
            Self::Temperature => (-30_000_000, 120_000_000, "18.5"),
            Self::Ph => (0, 14_000_000, "3.65"),
            Self::Acidity => (0, 50_000_000, "6.5"),
            Self::FreeSulphite => (0, 1_000_000_000, "25"),
            Self::Volume => (0, 1_000_000_000_000, "34.7"),
        }
    }

    /// Read a value of this kind; a gravity may be written in points ("1045").
    pub fn read(self, text: &str) -> Result<Measured, Misread> {
        let (low, high, example) = self.range();
        let trimmed = text.trim().trim_end_matches(|c: char| "°CLSGpHmg/ Brix".contains(c));
        let mut micros = number::scaled(trimmed, 1_000_000, example)?;
        if self == Self::Gravity && (970_000_000..=1_420_000_000).contains(&micros) {
            micros /= 1000;
        }
        if micros < low || micros > high {
            let places = self.places();
            let (low, high) = (number::fixed(low, 6, places), number::fixed(high, 6, places));
            let (name, unit) = self.label();
            return Err(Misread::new(format!(
                "{name} is between {low} and {high} {unit}; write it like {example}"
            )));
        }
        Ok(Measured(micros))
    }
}

/// A measured value in millionths of its unit.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize)]
#[serde(transparent)]
pub struct Measured(pub(crate) i64);

impl Measured {
    /// From millionths.
    pub const fn from_micros(micros: i64) -> Self {
        Self(micros)
    }

    /// In millionths.
    pub const fn micros(self) -> i64 {
        self.0
    }

    /// As a number for formulas.
    #[allow(clippy::cast_precision_loss, reason = "values are far below 2^52 millionths")]
    pub fn number(self) -> f64 {
        self.0 as f64 / 1e6
    }

    /// From a computed number, to the nearest millionth; `None` if it is not finite or absurdly large.
    #[allow(clippy::cast_possible_truncation, reason = "the range is checked first")]
    pub fn from_number(number: f64) -> Option<Self> {
        let micros = (number * 1e6).round();
        (micros.is_finite() && micros.abs() < 1e18).then_some(Self(micros as i64))
    }

    /// With the places of its kind.
    pub fn shown(self, kind: ReadingKind) -> String {
        number::fixed(self.0, 6, kind.places())
    }

    /// For machines.
    pub fn plain(self) -> String {
        number::plain(self.0, 6)
    }
}

impl fmt::Display for ReadingKind {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(self.code())
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_gravity_may_be_written_in_points() {
        let gravity = |text| ReadingKind::Gravity.read(text).map(Measured::micros);
        assert_eq!(gravity("1.0450"), Ok(1_045_000));
        assert_eq!(gravity("1,045"), Ok(1_045_000));
        assert_eq!(gravity("1045"), Ok(1_045_000));
        assert!(gravity("45").unwrap_err().to_string().contains("between 0.9700 and 1.4200"));
    }

    #[test]
    fn units_typed_behind_a_value_are_understood() {
        assert_eq!(ReadingKind::Temperature.read("18.5 °C").map(Measured::micros), Ok(18_500_000));
        assert_eq!(ReadingKind::Volume.read("34,7 L").map(Measured::micros), Ok(34_700_000));
        assert!(ReadingKind::Ph.read("15").is_err());
    }
}
