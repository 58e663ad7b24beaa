//! When a batch will be done: a logistic curve through its gravities.

use super::curve::{Curve, fit};
use super::{EXPECTED_GRAVITY, OutOfRange, Reading, check};
use std::fmt;

/// How close to its final gravity a curve must come to count as ended.
pub const END_SG: f64 = 0.001;

/// A curve through the readings, and when it ends.
#[derive(Debug, Clone, PartialEq)]
pub struct Forecast {
    /// The curve.
    pub curve: Curve,
    /// The day on which it comes within [`END_SG`] of its end.
    pub end_day: f64,
    /// The earliest day to expect that, a quarter sooner.
    pub earliest_day: f64,
    /// The latest day to expect that, a quarter later.
    pub latest_day: f64,
    /// What a person must be told with it.
    pub warning: Option<String>,
}

/// Why there is no forecast.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum NoForecast {
    /// Fewer than four readings at different times.
    FewReadings {
        /// How many there are.
        have: usize,
    },
    /// Less than 30 % of the way to the expected gravity is done.
    TooEarly {
        /// The share that is done.
        gone: f64,
    },
    /// The curve misses the readings by too much.
    PoorFit {
        /// Root of the mean square distance.
        rmse_sg: f64,
    },
    /// The readings do not say where it will end.
    NoEnd,
    /// A reading or the expected gravity is no use.
    Reading(OutOfRange),
}

impl From<OutOfRange> for NoForecast {
    fn from(refused: OutOfRange) -> Self {
        Self::Reading(refused)
    }
}

impl std::error::Error for NoForecast {}

impl fmt::Display for NoForecast {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::FewReadings { have } => {
                write!(f, "No forecast yet: it needs four readings at different times and has {have}.")
            }
            Self::TooEarly { gone } => write!(
                f,
                "No forecast yet: {:.0} % of the fall is done and 30 % are needed. \
                 Read again in a day or two.",
                (100.0 * gone).max(0.0)
            ),
            Self::PoorFit { rmse_sg } => write!(
                f,
                "No forecast: the readings lie {rmse_sg:.4} off any smooth curve. \
                 Check them, their temperatures, and whether the batch was cooled, fed or diluted."
            ),
            Self::NoEnd => f.write_str(
                "No forecast: the readings do not show where it will end. Read again when it has slowed.",
            ),
            Self::Reading(refused) => refused.fmt(f),
        }
    }
}

/// Readings needed, the share of the fall, the largest misfit, and the width of the interval (common
/// practice, no source).
const NEEDED_READINGS: usize = 4;
const NEEDED_FALL: f64 = 0.30;
const LARGEST_RMSE: f64 = 0.003;
const INTERVAL: f64 = 0.25;
/// An end further than this from what was expected must show in the readings (own rule).
const EXPECTED_WITHIN_SG: f64 = 0.010;
/// A batch whose temperature moved by more than this does not follow one curve (common practice).
const STEADY_K: f64 = 3.0;

/// Forecasts the end of a fermentation from its readings in the order of time.
///
/// The logistic curve is fitted by least squares with 0.980 ≤ FG ≤ OG and a rate above zero. It is refused
/// with fewer than four readings, before 30 % of the fall to `expected_fg`, with a misfit above 0.003, where
/// the best curve lies on a bound, or where it ends far from what is expected before the readings show
/// that. Published use of such curves: Rivera Flores et al. (2021).
pub fn forecast(readings: &[Reading], expected_fg: f64) -> Result<Forecast, NoForecast> {
    check(readings)?;
    let expected = EXPECTED_GRAVITY.check(expected_fg)?;
    let have = 1 + readings.windows(2).filter(|pair| pair[1].day > pair[0].day).count();
    let (Some(first), Some(last)) = (readings.first(), readings.last()) else {
        return Err(NoForecast::FewReadings { have: 0 });
    };
    if have < NEEDED_READINGS {
        return Err(NoForecast::FewReadings { have });
    }
    let fall = first.sg - expected;
    let gone = if fall > 0.0 { (first.sg - last.sg) / fall } else { 0.0 };
    if gone <= NEEDED_FALL {
        return Err(NoForecast::TooEarly { gone });
    }
    let curve = fit(readings).filter(|curve| curve.drop_sg() > END_SG).ok_or(NoForecast::NoEnd)?;
    if curve.rmse_sg > LARGEST_RMSE {
        return Err(NoForecast::PoorFit { rmse_sg: curve.rmse_sg });
    }
    if !shows_its_end(&curve, expected, last.sg) {
        return Err(NoForecast::NoEnd);
    }
    let end = curve.day_within(END_SG);
    let span = end - first.day;
    Ok(Forecast {
        curve,
        end_day: end,
        earliest_day: first.day + span * (1.0 - INTERVAL),
        latest_day: first.day + span * (1.0 + INTERVAL),
        warning: unsteady(readings).then(|| {
            "The temperature changed by more than 3 °C: one curve cannot follow that. \
             Take the day as a rough guide."
                .to_owned()
        }),
    })
}

/// Whether a curve that ends elsewhere than expected has come far enough to be believed: a few early
/// readings always seem to promise an end too soon and too high (own rule).
fn shows_its_end(curve: &Curve, expected: f64, last_sg: f64) -> bool {
    (curve.final_gravity - expected).abs() <= EXPECTED_WITHIN_SG
        || last_sg - curve.final_gravity <= 0.1 * curve.drop_sg()
}

fn unsteady(readings: &[Reading]) -> bool {
    let known = readings.iter().filter_map(|reading| reading.temperature_c);
    let (low, high) =
        known.fold((f64::INFINITY, f64::NEG_INFINITY), |(low, high), t| (low.min(t), high.max(t)));
    high - low > STEADY_K
}

#[cfg(test)]
mod tests {
    use super::super::super::checks::{Draw, near};
    use super::*;

    fn curve_of(points: &[(f64, f64)]) -> Forecast {
        forecast(&readings(points), 0.998).unwrap()
    }

    /// An invented batch: day and gravity.
    const DATA: [(f64, f64); 12] = [
        (0.0, 1.081),
        (1.0, 1.077),
        (2.0, 1.067),
        (3.0, 1.051),
        (4.0, 1.032),
        (5.0, 1.016),
        (6.0, 1.006),
        (7.0, 1.002),
        (8.0, 0.999),
        (10.0, 0.998),
        (12.0, 0.998),
        (14.0, 0.998),
    ];

    fn readings(points: &[(f64, f64)]) -> Vec<Reading> {
        points.iter().map(|&(day, sg)| Reading { day, sg, temperature_c: Some(20.0) }).collect()
    }

    #[test]
    fn the_curve_is_that_of_scipy() {
        // C: scipy.optimize.curve_fit; tolerance 1e-4 for gravities, 1e-3 for the rest.
        let Forecast { curve, end_day, warning, .. } = curve_of(&DATA);
        near(curve.final_gravity, 0.997_886, 1e-4);
        near(curve.original_gravity, 1.084_807, 1e-4);
        near(curve.rate_per_day, 0.900_220, 1e-3);
        near(curve.midpoint_day, 3.510_759, 1e-3);
        near(curve.rmse_sg, 0.000_256, 0.000_001);
        near(end_day, 8.458, 0.005);
        near(curve.day_within(0.0005), 9.234, 0.005);
        near(curve.sg_on(end_day), curve.final_gravity + 0.001, 1e-9);
        assert_eq!(warning, None);
    }

    #[test]
    fn six_readings_already_tell_the_day() {
        // C: scipy on the first six readings.
        let early = curve_of(&DATA[..6]);
        near(early.curve.final_gravity, 0.999_01, 1e-4);
        near(early.curve.rate_per_day, 0.9174, 1e-3);
        near(early.curve.midpoint_day, 3.4833, 1e-3);
        near(early.end_day, 8.32, 0.01);
        // CP: a quarter either way, which holds the day that all readings give.
        near(early.earliest_day, 0.75 * early.end_day, 1e-9);
        near(early.latest_day, 1.25 * early.end_day, 1e-9);
        assert!((early.earliest_day..=early.latest_day).contains(&8.458));
    }

    #[test]
    fn the_logistic_curve_fits_better_than_the_other_usual_one() {
        // M: Zwietering 1990, drop(t) = a exp(-exp(mu e/a (lambda - t) + 1)), in gravity points.
        let gompertz = |a: f64, mu: f64, lambda: f64, t: f64| {
            a * (-((mu * std::f64::consts::E / a * (lambda - t) + 1.0).exp())).exp()
        };
        // C: check values at a 87, mu 20, lambda 1; tolerance 1e-3.
        for (t, want) in [
            (0.0, 0.5423),
            (1.0, 5.7410),
            (2.0, 20.3028),
            (3.0, 39.9225),
            (5.0, 69.5942),
            (8.0, 84.0712),
            (12.0, 86.7557),
        ] {
            near(gompertz(87.0, 20.0, 1.0, t), want, 1e-3);
        }
        // C: from SG 1.085 its best fit by scipy is a 88.698, mu 19.550, lambda 1.1303, RMSE 1.98 points.
        let og = 1.085;
        let sum: f64 = DATA
            .iter()
            .map(|&(day, sg)| (gompertz(88.698, 19.550, 1.1303, day) - 1000.0 * (og - sg)).powi(2))
            .sum();
        let rmse_points = (sum / 12.0).sqrt();
        near(rmse_points, 1.98, 0.01);
        assert!(1000.0 * curve_of(&DATA).curve.rmse_sg < rmse_points / 5.0);
    }

    #[test]
    fn it_is_silent_rather_than_wrong() {
        let no = |points: &[(f64, f64)]| forecast(&readings(points), 0.998).unwrap_err();
        assert_eq!(no(&DATA[..3]), NoForecast::FewReadings { have: 3 });
        assert_eq!(no(&[]), NoForecast::FewReadings { have: 0 });
        assert_eq!(
            no(&[(1.0, 1.08), (1.0, 1.05), (1.0, 1.02), (1.0, 1.0)]),
            NoForecast::FewReadings { have: 1 }
        );
        // Four readings always fit, and these would promise SG 1.028 on day 6.
        assert_eq!(no(&DATA[..4]), NoForecast::NoEnd);
        assert!(matches!(
            no(&[(0.0, 1.08), (1.0, 1.079), (2.0, 1.078), (3.0, 1.07)]),
            NoForecast::TooEarly { .. }
        ));
        let jumpy = [(0.0, 1.08), (1.0, 1.04), (2.0, 1.07), (3.0, 1.02), (4.0, 1.05), (5.0, 1.01)];
        assert!(matches!(no(&jumpy), NoForecast::PoorFit { .. } | NoForecast::NoEnd));
        let straight = [(0.0, 1.08), (1.0, 1.07), (2.0, 1.06), (3.0, 1.05), (4.0, 1.04)];
        assert!(matches!(no(&straight), NoForecast::NoEnd | NoForecast::PoorFit { .. }));
        assert!(matches!(no(&[(0.0, f64::NAN)]), NoForecast::Reading(_)));
        assert!(no(&DATA[..3]).to_string().contains("four readings"));
    }

    #[test]
    fn a_forecast_that_is_given_holds_the_day() {
        // Invented batches, read daily to 0.001 with an error of about 0.0005, until 40 to 97 % are gone:
        // the true end lies in the interval for at least 97 of 100 that get a forecast at all.
        let mut draw = Draw::new(1);
        let (mut given, mut held) = (0, 0);
        for batch in 0..400 {
            let (og, fg) = (draw.between(1.04, 1.12), draw.between(0.992, 1.012));
            let rate = draw.between(0.3, 1.5);
            let midpoint = draw.between(2.2, 6.6) / rate;
            let sg_on = |day: f64| fg + (og - fg) / (1.0 + (rate * (day - midpoint)).exp());
            let until = fg + (og - fg) * [0.6, 0.4, 0.2, 0.03][batch % 4];
            let readings: Vec<Reading> = (0..200)
                .map(f64::from)
                .scan(true, |more, day| {
                    let noise = draw.between(-0.001, 0.001);
                    let sg = ((sg_on(day) + noise) * 1000.0).round() / 1000.0;
                    std::mem::replace(more, sg_on(day) > until).then_some(Reading {
                        day,
                        sg,
                        temperature_c: None,
                    })
                })
                .collect();
            let end_day = midpoint + ((og - fg) / END_SG - 1.0).ln() / rate;
            if let Ok(forecast) = forecast(&readings, 0.998) {
                given += 1;
                held += u32::from((forecast.earliest_day..=forecast.latest_day).contains(&end_day));
            }
        }
        assert!(given > 200 && held * 100 >= given * 97, "{held} of {given}");
    }

    #[test]
    fn a_batch_that_was_cooled_is_warned_about() {
        let mut cooled = readings(&DATA);
        cooled[6].temperature_c = Some(14.0);
        assert!(forecast(&cooled, 0.998).unwrap().warning.unwrap().contains("rough guide"));
    }
}
