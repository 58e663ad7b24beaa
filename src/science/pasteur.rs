//! Holding milk hot, and pasteurisation units of finished drinks.
//!
//! A home thermometer's log is no legal record of pasteurisation, and never becomes one here.

use super::{Guide, OutOfRange, Range};

/// Temperature in a log.
pub const LOG_C: Range = Range::new("temperature in the log", "°C", -5.0, 110.0);
const TIME_MIN: Range = Range::new("time in the log", "min", 0.0, 100_000.0)
    .advice("Put the readings in the order of their times.");

/// A reading of a thermometer: minutes since the start, and °C.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Held {
    /// Minutes since the start.
    pub minutes: f64,
    /// Temperature, °C.
    pub temperature_c: f64,
}

/// A temperature and the time it must be held for.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Minimum {
    /// Temperature, °C.
    pub temperature_c: f64,
    /// Seconds.
    pub seconds: f64,
}

/// Pasteurisation of milk by 21 CFR 1240.61(b), an example: the local rule comes first.
pub const MILK_MINIMA: [Minimum; 7] = [
    Minimum { temperature_c: 63.0, seconds: 1800.0 },
    Minimum { temperature_c: 72.0, seconds: 15.0 },
    Minimum { temperature_c: 89.0, seconds: 1.0 },
    Minimum { temperature_c: 90.0, seconds: 0.5 },
    Minimum { temperature_c: 94.0, seconds: 0.1 },
    Minimum { temperature_c: 96.0, seconds: 0.05 },
    Minimum { temperature_c: 100.0, seconds: 0.01 },
];
/// What is added to the temperature when the milk has 10 % fat or more, or is sweetened.
pub const RICH_MILK_ADD_C: f64 = 3.0;

/// Readings must lie closer than this share of the time to be held, so that a dip is seen (own rule).
const LARGEST_GAP: f64 = 1.0 / 3.0;

/// The first minimum for milk that a log meets, if any: every reading of an unbroken run at or above
/// the temperature, for the whole time, with readings close enough to see a dip.
///
/// Source of the minima: 21 CFR 1240.61(b). `rich` is milk with 10 % fat or more, or sweetened. The
/// thermometer's error is not taken off: log the lowest temperature it may be.
pub fn milk_minimum_met(log: &[Held], rich: bool) -> Result<Option<Minimum>, OutOfRange> {
    check(log)?;
    let add = if rich { RICH_MILK_ADD_C } else { 0.0 };
    let asked = MILK_MINIMA.map(|row| Minimum { temperature_c: row.temperature_c + add, ..row });
    Ok(asked.into_iter().find(|minimum| is_met(log, *minimum)))
}

fn is_met(log: &[Held], minimum: Minimum) -> bool {
    let needed = minimum.seconds / 60.0;
    let mut run: Option<(f64, f64)> = None;
    log.iter().any(|reading| {
        let now = reading.minutes;
        run = match run {
            _ if reading.temperature_c < minimum.temperature_c => None,
            Some((start, last)) if now - last <= needed * LARGEST_GAP + 1e-9 => Some((start, now)),
            _ => Some((now, now)),
        };
        run.is_some_and(|(start, last)| last > start && last - start >= needed - 1e-9)
    })
}

/// Pasteurisation units of a drink held at one temperature: minutes at 60 °C with the same effect.
/// Source: Del Vecchio (1951), 1.393^(T - 60) a minute.
pub fn pasteurisation_units(temperature_c: f64, minutes: f64) -> Result<Guide<f64>, OutOfRange> {
    Ok(not_for_milk(lethal_rate(LOG_C.check(temperature_c)?) * TIME_MIN.check(minutes)?))
}

/// Pasteurisation units of a log, by the trapezoid rule between its readings.
pub fn pasteurisation_units_of(log: &[Held]) -> Result<Guide<f64>, OutOfRange> {
    check(log)?;
    let units = log.windows(2).map(|pair| {
        let rates = lethal_rate(pair[0].temperature_c) + lethal_rate(pair[1].temperature_c);
        rates / 2.0 * (pair[1].minutes - pair[0].minutes)
    });
    Ok(not_for_milk(units.sum()))
}

fn lethal_rate(temperature_c: f64) -> f64 {
    1.393_f64.powf(temperature_c - 60.0)
}

fn not_for_milk(units: f64) -> Guide<f64> {
    Guide::sure(units).warn(
        "Pasteurisation units are about spoilage of acid or alcoholic drinks; they say nothing about the \
         safety of milk.",
    )
}

fn check(log: &[Held]) -> Result<(), OutOfRange> {
    let mut last = TIME_MIN.allowed.0;
    for reading in log {
        LOG_C.check(reading.temperature_c)?;
        last = TIME_MIN.within(last, TIME_MIN.allowed.1).check(reading.minutes)?;
    }
    Ok(())
}

#[cfg(test)]
mod tests {
    use super::super::checks::near;
    use super::*;

    fn log(readings: &[(f64, f64)]) -> Vec<Held> {
        readings.iter().map(|&(minutes, temperature_c)| Held { minutes, temperature_c }).collect()
    }

    fn steady(temperature_c: f64, minutes: u32) -> Vec<Held> {
        (0..=minutes).map(|minute| Held { minutes: f64::from(minute), temperature_c }).collect()
    }

    #[test]
    fn units_at_a_steady_temperature() {
        // C from Del Vecchio 1951 (S: sizes.com); tolerance 0.1 %, and half the last digit printed.
        for (t, minutes, want) in [
            (60.0, 15.0, 15.00),
            (62.0, 15.0, 29.11),
            (63.0, 30.0, 81.09),
            (65.0, 10.0, 52.45),
            (67.0, 1.0, 10.18),
            (70.0, 1.0, 27.51),
            (72.0, 0.25, 13.35),
            (55.0, 60.0, 11.44),
        ] {
            near(pasteurisation_units(t, minutes).unwrap().value, want, 0.001 * want);
        }
        // C: z = 6.947 °C, tenfold.
        near(pasteurisation_units(66.947, 1.0).unwrap().value, 10.0, 0.001);
    }

    #[test]
    fn units_of_a_warming_and_cooling_bath() {
        // C: numpy, trapezoid.
        let bath = log(&[
            (0.0, 50.0),
            (5.0, 56.0),
            (10.0, 60.0),
            (15.0, 62.0),
            (20.0, 62.0),
            (25.0, 58.0),
            (30.0, 50.0),
        ]);
        let units = pasteurisation_units_of(&bath).unwrap();
        near(units.value, 28.491, 0.001);
        assert!(units.warning.unwrap().contains("safety of milk"));
        near(pasteurisation_units_of(&[]).unwrap().value, 0.0, 0.0);
    }

    #[test]
    fn milk_is_held_only_when_every_reading_is_hot_enough() {
        // S: 21 CFR 1240.61(b).
        let met = |log: &[Held], rich| milk_minimum_met(log, rich).unwrap().map(|row| row.temperature_c);
        assert_eq!(met(&steady(63.0, 30), false), Some(63.0));
        assert_eq!(met(&steady(63.0, 29), false), None);
        assert_eq!(met(&steady(62.9, 60), false), None);
        assert_eq!(met(&steady(63.0, 30), true), None);
        assert_eq!(met(&steady(66.0, 30), true), Some(66.0));
        let mut dipped = steady(64.0, 40);
        dipped[20].temperature_c = 62.5;
        assert_eq!(met(&dipped, false), None);
        // 72 °C for 15 s, read every five seconds.
        let quick: Vec<Held> =
            (0..4).map(|n| Held { minutes: f64::from(n) / 12.0, temperature_c: 72.0 }).collect();
        assert_eq!(met(&quick, false), Some(72.0));
        // C: the first two rows imply z = 4.33 °C.
        let z = (MILK_MINIMA[1].temperature_c - MILK_MINIMA[0].temperature_c)
            / (MILK_MINIMA[0].seconds / MILK_MINIMA[1].seconds).log10();
        near(z, 4.33, 0.005);
    }

    #[test]
    fn two_readings_half_an_hour_apart_prove_nothing() {
        assert_eq!(milk_minimum_met(&log(&[(0.0, 64.0), (30.0, 64.0)]), false), Ok(None));
        assert_eq!(milk_minimum_met(&log(&[(0.0, 100.0)]), false), Ok(None));
        assert_eq!(milk_minimum_met(&[], false), Ok(None));
    }

    #[test]
    fn a_log_out_of_order_is_refused() {
        let refused = milk_minimum_met(&log(&[(5.0, 63.0), (4.0, 63.0)]), false).unwrap_err();
        assert!(refused.to_string().contains("order of their times"), "{refused}");
        assert!(pasteurisation_units_of(&log(&[(0.0, f64::NAN)])).is_err());
        assert!(pasteurisation_units(60.0, -1.0).is_err() && pasteurisation_units(200.0, 1.0).is_err());
    }
}
