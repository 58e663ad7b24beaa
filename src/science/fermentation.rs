//! A working batch: whether it is still going, has finished, or has stopped too early.
//!
//! A flat line is no proof of safety. What may be bottled is for the pressure to say, by
//! [`pressure`](super::pressure); one reading never says anything.

use super::{OutOfRange, Range};
use std::fmt;

mod curve;
mod forecast;

pub use curve::Curve;
pub use forecast::{END_SG, Forecast, NoForecast, forecast};

/// Gravity in a series of readings.
pub const GRAVITY: Range = Range::new("gravity", "SG", 0.970, 1.20);
/// Gravity at which the drink is expected to end.
pub const EXPECTED_GRAVITY: Range = Range::new("expected final gravity", "SG", 0.980, 1.10);
/// Day of a reading, counted from any day before the first.
const DAY: Range = Range::new("day of the reading", "days", 0.0, 100_000.0)
    .advice("Put the readings in the order of their times.");
const TEMPERATURE_C: Range = Range::new("temperature of the batch", "°C", -10.0, 60.0);

/// A gravity, corrected to 20 °C, and when it was read.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Reading {
    /// Days since pitching.
    pub day: f64,
    /// Gravity, SG 20/20.
    pub sg: f64,
    /// Temperature of the batch, °C, if it was noted.
    pub temperature_c: Option<f64>,
}

/// Where a batch stands.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Progress {
    /// The gravity is still moving.
    Working,
    /// It does not move, but that is not enough to say that it is done.
    Unsure(Doubt),
    /// Flat for long enough, warm enough, and near the gravity expected.
    Finished,
    /// Flat for long enough, warm enough, and far above the gravity expected.
    Stalled,
}

/// Why a flat line says nothing yet.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Doubt {
    /// Fewer than three readings agree.
    FewReadings,
    /// The readings that agree span less than three days.
    ShortTime,
    /// A temperature is missing.
    UnknownTemperature,
    /// It is too cold for yeast to show whether it is done.
    Cold,
    /// It is above what was expected, but not by much.
    AboveExpected,
}

/// Readings that must agree, over so many days, within so much, at least so warm (common practice).
const AGREEING: usize = 3;
const AGREEING_DAYS: f64 = 3.0;
const AGREEING_SG: f64 = 0.001;
const WARM_C: f64 = 18.0;
/// Up to this above the expected gravity a batch counts as near it (own choice within common practice).
const NEAR_SG: f64 = 0.005;
/// From this above the expected gravity a flat batch has stalled (common practice).
const STALLED_SG: f64 = 0.010;
/// Gravities are read to four decimals; half of the last is no difference.
const ROUNDING_SG: f64 = 0.000_05;

/// Where a batch stands, by its readings in the order of time.
///
/// Finished is: the last readings, at least three over at least three days at 18 °C or more, agree within
/// 0.001 and lie near `expected_fg`. Stalled is the same line more than 0.010 above it (common practice).
pub fn progress(readings: &[Reading], expected_fg: f64) -> Result<Progress, OutOfRange> {
    check(readings)?;
    let expected = EXPECTED_GRAVITY.check(expected_fg)?;
    let flat = flat_end(readings);
    let (Some(first), Some(last)) = (flat.first(), flat.last()) else {
        return Ok(Progress::Unsure(Doubt::FewReadings));
    };
    if flat.len() == 1 && readings.len() > 1 {
        return Ok(Progress::Working);
    }
    let above = last.sg - expected;
    let unknown = flat.iter().any(|reading| reading.temperature_c.is_none());
    let cold = flat.iter().filter_map(|reading| reading.temperature_c).any(|t| t < WARM_C);
    Ok(if flat.len() < AGREEING {
        Progress::Unsure(Doubt::FewReadings)
    } else if last.day - first.day < AGREEING_DAYS {
        Progress::Unsure(Doubt::ShortTime)
    } else if cold {
        Progress::Unsure(Doubt::Cold)
    } else if unknown {
        Progress::Unsure(Doubt::UnknownTemperature)
    } else if above > STALLED_SG + ROUNDING_SG {
        Progress::Stalled
    } else if above > NEAR_SG + ROUNDING_SG {
        Progress::Unsure(Doubt::AboveExpected)
    } else {
        Progress::Finished
    })
}

/// For how many days the last readings have agreed within 0.001, from the first of them to the last; 0
/// where the gravity moved between the last two. Whether that means anything is for [`progress`] and for
/// the gravity itself to say.
pub fn flat_days(readings: &[Reading]) -> Result<f64, OutOfRange> {
    check(readings)?;
    let flat = flat_end(readings);
    Ok(flat.first().zip(flat.last()).map_or(0.0, |(first, last)| last.day - first.day))
}

/// The longest run of readings up to the last one that agree with each other.
fn flat_end(readings: &[Reading]) -> &[Reading] {
    let (mut low, mut high) = (f64::INFINITY, f64::NEG_INFINITY);
    let agreeing = readings.iter().rev().take_while(|reading| {
        (low, high) = (low.min(reading.sg), high.max(reading.sg));
        high - low <= AGREEING_SG + ROUNDING_SG
    });
    let count = agreeing.count();
    &readings[readings.len() - count..]
}

/// Refuses readings that are no numbers or out of order.
fn check(readings: &[Reading]) -> Result<(), OutOfRange> {
    let mut last = DAY.allowed.0;
    for reading in readings {
        last = DAY.within(last, DAY.allowed.1).check(reading.day)?;
        GRAVITY.check(reading.sg)?;
        reading.temperature_c.map_or(Ok(0.0), |t| TEMPERATURE_C.check(t))?;
    }
    Ok(())
}

impl fmt::Display for Progress {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(match self {
            Self::Working => "Still working.",
            Self::Finished => "It seems finished. Work out the pressure before bottling.",
            Self::Stalled => {
                "It has stopped far above what was expected. Do not bottle it: it may start again."
            }
            Self::Unsure(doubt) => return doubt.fmt(f),
        })
    }
}

impl fmt::Display for Doubt {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(match self {
            Self::FewReadings => "Too few readings agree: take three over at least three days.",
            Self::ShortTime => "The readings agree, but over less than three days: read again later.",
            Self::UnknownTemperature => {
                "The readings agree, but how warm was it? Note the temperature with each."
            }
            Self::Cold => "It is flat, but below 18 °C that says little: warm it and read again.",
            Self::AboveExpected => {
                "It is flat a little above what was expected: wait, warm it and read again."
            }
        })
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn readings(points: &[(f64, f64)], temperature_c: Option<f64>) -> Vec<Reading> {
        points.iter().map(|&(day, sg)| Reading { day, sg, temperature_c }).collect()
    }

    fn warm(points: &[(f64, f64)]) -> Progress {
        progress(&readings(points, Some(20.0)), 0.998).unwrap()
    }

    #[test]
    fn three_flat_readings_over_three_warm_days_are_finished() {
        // CP: within 0.001 over three readings, three days and 18 °C.
        assert_eq!(
            warm(&[(0.0, 1.081), (6.0, 1.006), (9.0, 0.998), (10.5, 0.999), (12.0, 0.998)]),
            Progress::Finished
        );
        assert_eq!(warm(&[(9.0, 0.998), (10.0, 0.998), (12.0, 0.996)]), Progress::Working);
        assert_eq!(warm(&[(9.0, 0.9945), (10.0, 0.994), (12.0, 0.994)]), Progress::Finished);
    }

    #[test]
    fn a_slow_slide_is_not_flat() {
        assert_eq!(
            warm(&[(0.0, 1.003), (1.0, 1.002), (2.0, 1.001), (3.0, 1.0), (4.0, 0.999)]),
            Progress::Unsure(Doubt::FewReadings)
        );
    }

    #[test]
    fn the_same_line_too_high_has_stalled() {
        assert_eq!(warm(&[(0.0, 1.081), (9.0, 1.012), (10.5, 1.012), (12.0, 1.012)]), Progress::Stalled);
        assert_eq!(
            warm(&[(9.0, 1.008), (10.5, 1.008), (12.0, 1.008)]),
            Progress::Unsure(Doubt::AboveExpected)
        );
        assert_eq!(
            warm(&[(9.0, 1.005), (10.5, 1.005), (12.0, 1.005)]),
            Progress::Unsure(Doubt::AboveExpected)
        );
    }

    #[test]
    fn nothing_is_said_too_early() {
        assert_eq!(warm(&[]), Progress::Unsure(Doubt::FewReadings));
        assert_eq!(warm(&[(12.0, 0.998)]), Progress::Unsure(Doubt::FewReadings));
        assert_eq!(warm(&[(9.0, 0.998), (12.0, 0.998)]), Progress::Unsure(Doubt::FewReadings));
        assert_eq!(warm(&[(10.0, 0.998), (11.0, 0.998), (12.9, 0.998)]), Progress::Unsure(Doubt::ShortTime));
        let line = [(9.0, 0.998), (10.5, 0.998), (12.0, 0.998)];
        let at = |t| progress(&readings(&line, t), 0.998).unwrap();
        assert_eq!(at(Some(12.0)), Progress::Unsure(Doubt::Cold));
        assert_eq!(at(None), Progress::Unsure(Doubt::UnknownTemperature));
        assert!(at(Some(12.0)).to_string().contains("warm it"));
    }

    #[test]
    fn flat_days_count_from_the_first_reading_that_agrees() {
        let flat = |points: &[(f64, f64)], expected: f64| {
            (flat_days(&readings(points, None)).unwrap() - expected).abs() < 1e-9
        };
        assert!(flat(&[(0.0, 1.081), (6.0, 1.023), (9.0, 1.0226), (11.5, 1.023)], 5.5));
        assert!(flat(&[(0.0, 1.081), (6.0, 1.023)], 0.0));
        assert!(flat(&[], 0.0));
    }

    #[test]
    fn readings_must_be_numbers_in_order() {
        assert!(
            progress(&readings(&[(2.0, 1.0), (1.0, 1.0)], None), 0.998)
                .unwrap_err()
                .to_string()
                .contains("order")
        );
        assert!(progress(&readings(&[(2.0, f64::NAN)], None), 0.998).is_err());
        assert!(progress(&readings(&[(2.0, 1.0)], Some(f64::NAN)), 0.998).is_err());
        assert!(progress(&[], 2.0).is_err());
    }
}
