//! Whether a reading is likely, which is asked and never decided: a slip of the pen is caught while the glass is still
//! in the hand, and an odd reading that is true is recorded as read.
//!
//! The bounds are common practice, no source, or an own choice where it says so; they only decide whether a question is
//! asked.

use chrono_tz::Tz;

use crate::domain::refusal::{Fault, Refusal, Why};
use crate::science::fermentation::Reading;
use crate::units::days::{self, Day, Instant};
use crate::units::measure::{Measured, ReadingKind};

/// What is known of a batch around the time of a reading.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct Around {
    /// The gravity that stands before it, and when.
    pub gravity_before: Option<(Instant, Measured)>,
    /// The last day on which something came into it.
    pub added_on: Option<Day>,
    /// Its yeast is in it.
    pub pitched: bool,
    /// It holds milk or whey.
    pub dairy: bool,
    /// The gravity of its must by the sugar that was drawn into it, where all supplies state theirs.
    pub must_sg: Option<f64>,
    /// What it holds by the books, litres.
    pub litres: f64,
    /// The lowest and the highest temperature read in the cellar in these weeks, °C, where there are enough.
    pub cellar_c: Option<(f64, f64)>,
}

/// A value as it would be kept.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Seen {
    /// What.
    pub kind: ReadingKind,
    /// When.
    pub at: Instant,
    /// As corrected.
    pub value: Measured,
}

/// Up to so many gravities are looked at one by one; more are taken together, by stretches of time.
const ONE_BY_ONE: usize = 60;
const STRETCHES: usize = 40;
/// A temperature belongs to a gravity when it was noted at most so long before it.
const NOTED_WITHIN_HOURS: i64 = 1;
/// A gravity that rises by more than readings differ.
const RISES_SG: f64 = 0.002;
/// A fall of more than this in a day is faster than yeast works.
const FALLS_SG_A_DAY: f64 = 0.045;
/// Less than this in all is never called a jump.
const JUMP_SG: f64 = 0.012;
/// No drink without sugar stands lower.
const LOWEST_SG: f64 = 0.985;
/// A must may stand so much above the sugar that its supplies state: acids, and fruit that varies (own choice).
const ABOVE_MUST_SG: f64 = 0.015;
/// So far outside of what the cellar read in these weeks a temperature is odd (own choice).
const OUTSIDE_K: f64 = 8.0;

/// What is to be asked about a reading, in the days of the club; nothing where it is likely.
pub fn doubt(seen: Seen, around: &Around, zone: Tz) -> Option<String> {
    let value = seen.value.number();
    let odd = |low: f64, high: f64, what: String| (!(low..=high).contains(&value)).then_some(what);
    let shown = seen.value.shown(seen.kind);
    match seen.kind {
        ReadingKind::Gravity => gravity(seen, around, zone),
        ReadingKind::Temperature => temperature(value, &shown, around),
        ReadingKind::Ph if around.dairy && !around.pitched => odd(
            4.0,
            6.9,
            format!("pH {shown} is unusual for milk or whey, which lie between 4 and 6.9. Is it meant?"),
        ),
        ReadingKind::Ph => odd(
            2.7,
            if around.dairy { 5.5 } else { 4.3 },
            format!(
                "pH {shown} is unusual: most musts and drinks lie between 2.8 and 4.2. Is the meter checked?"
            ),
        ),
        ReadingKind::Acidity => {
            odd(2.0, 15.0, format!("{shown} g/L is unusual: most lie between 3 and 12. Is it meant?"))
        }
        ReadingKind::FreeSulphite => {
            odd(0.0, 80.0, format!("{shown} mg/L of free sulphite is a lot: it can be smelled. Is it meant?"))
        }
        ReadingKind::Brix => odd(0.0, 45.0, format!("{shown} °Brix is more than a must holds. Is it meant?")),
        ReadingKind::Volume => {
            let more = around.litres > 0.0 && value > around.litres * 1.1 + 0.5;
            more.then(|| {
                format!(
                    "By the books {:.1} L are in it, and this says {shown} L. Is it meant?",
                    around.litres
                )
            })
        }
    }
}

#[allow(clippy::cast_precision_loss, reason = "seconds of a fermentation")]
fn gravity(seen: Seen, around: &Around, zone: Tz) -> Option<String> {
    let value = seen.value.number();
    let shown = seen.value.shown(seen.kind);
    if value < LOWEST_SG {
        return Some(format!("{shown} is lower than a drink without any sugar stands. Is it meant?"));
    }
    if let Some((at, before)) = around.gravity_before {
        let (from, until) = (days::local_day(at, zone), days::local_day(seen.at, zone));
        let added = around.added_on.is_some_and(|day| (from..=until).contains(&day));
        let (fall, was) = (before.number() - value, before.shown(seen.kind));
        let on = days::long(from);
        if fall < -RISES_SG && !added {
            return Some(format!(
                "It was {was} on {on}, and now it is higher, {shown}. Did something go into it?"
            ));
        }
        let day = ((seen.at - at).num_seconds() as f64 / 86_400.0).max(0.25);
        if fall > JUMP_SG && fall / day > FALLS_SG_A_DAY && !added {
            return Some(format!(
                "It was {was} on {on}: to {shown} is a jump that yeast does not make. Is it meant?"
            ));
        }
        return None;
    }
    let most = around.must_sg.filter(|_| !around.dairy)? + ABOVE_MUST_SG;
    (value > most).then(|| {
        format!(
            "By the sugar drawn into it this must stands at about {:.3}; {shown} is more. Is it stirred well?",
            most - ABOVE_MUST_SG
        )
    })
}

fn temperature(value: f64, shown: &str, around: &Around) -> Option<String> {
    if around.pitched && !(0.0..=38.0).contains(&value) {
        return Some(format!("{shown} °C is no temperature for a drink with yeast in it. Is it meant?"));
    }
    let (low, high) = around.cellar_c.filter(|_| around.pitched)?;
    (value < low - OUTSIDE_K || value > high + OUTSIDE_K).then(|| {
        format!(
            "The cellar read {low:.0} to {high:.0} °C in the weeks around this day, and this is {shown} °C. Is it \
             meant, in °C?"
        )
    })
}

/// The gravities of a batch as science reads them, in days since the first, each with the temperature that was noted
/// with it or shortly before; those of a logger by stretches of time.
pub fn followed(gravities: &[(Instant, Measured)], temperatures: &[(Instant, Measured)]) -> Vec<Reading> {
    let Some((start, _)) = gravities.first().copied() else { return Vec::new() };
    let (mut at, noted_within) = (0, chrono::Duration::hours(NOTED_WITHIN_HOURS));
    let mut found = Vec::with_capacity(gravities.len());
    for (when, gravity) in gravities {
        while temperatures.get(at + 1).is_some_and(|next| next.0 <= *when) {
            at += 1;
        }
        let noted = temperatures.get(at).filter(|noted| noted.0 <= *when && *when - noted.0 <= noted_within);
        found.push(Reading {
            day: days_between(start, *when),
            sg: gravity.number(),
            temperature_c: noted.map(|noted| noted.1.number()),
        });
    }
    taken_together(found)
}

#[allow(clippy::cast_precision_loss, reason = "seconds of a fermentation")]
fn days_between(start: Instant, at: Instant) -> f64 {
    (at - start).num_seconds() as f64 / 86_400.0
}

/// The readings of a logger, taken together by stretches of time: the mean of each. The first and the last stay as they
/// are, for they say how far it came.
#[allow(
    clippy::cast_precision_loss,
    clippy::cast_possible_truncation,
    clippy::cast_sign_loss,
    reason = "few stretches"
)]
fn taken_together(readings: Vec<Reading>) -> Vec<Reading> {
    let (Some(first), Some(last)) = (readings.first().copied(), readings.last().copied()) else {
        return readings;
    };
    let wide = (last.day - first.day) / STRETCHES as f64;
    if readings.len() <= ONE_BY_ONE || wide <= 0.0 {
        return readings;
    }
    let stretch = |reading: &Reading| ((reading.day - first.day) / wide) as usize;
    let inner = &readings[1..readings.len() - 1];
    let mean = |some: &[Reading]| {
        let count = some.len() as f64;
        let warm: Vec<f64> = some.iter().filter_map(|one| one.temperature_c).collect();
        Reading {
            day: some.iter().map(|one| one.day).sum::<f64>() / count,
            sg: some.iter().map(|one| one.sg).sum::<f64>() / count,
            temperature_c: (!warm.is_empty()).then(|| warm.iter().sum::<f64>() / warm.len() as f64),
        }
    };
    let stretches = inner.chunk_by(|one, next| stretch(one) == stretch(next)).map(mean);
    std::iter::once(first).chain(stretches).chain([last]).collect()
}

/// The questions as a refusal that can be answered with yes.
pub fn asked(doubts: Vec<(String, String)>) -> Result<(), Refusal> {
    if doubts.is_empty() {
        return Ok(());
    }
    let faults = doubts.into_iter().map(|(field, message)| Fault { field, message }).collect();
    Err(Refusal { why: Why::Question, faults, entries: Vec::new() })
}

#[cfg(test)]
mod tests {
    use super::*;

    fn at(text: &str) -> Instant {
        text.parse().unwrap()
    }

    fn seen(kind: ReadingKind, value: &str) -> Seen {
        Seen { kind, at: at("2026-06-05T18:00:00"), value: kind.read(value).unwrap() }
    }

    fn says(kind: ReadingKind, value: &str, around: &Around) -> String {
        doubt(seen(kind, value), around, chrono_tz::Europe::Amsterdam).unwrap_or_default()
    }

    fn working() -> Around {
        Around {
            gravity_before: Some((at("2026-06-03T18:00:00"), ReadingKind::Gravity.read("1.050").unwrap())),
            pitched: true,
            cellar_c: Some((14.0, 18.0)),
            litres: 50.0,
            ..Around::default()
        }
    }

    #[test]
    fn what_falls_as_yeast_works_is_not_asked_about() {
        for value in ["1.0515", "1.050", "1.030", "0.998"] {
            assert_eq!(says(ReadingKind::Gravity, value, &working()), "", "{value}");
        }
        assert_eq!(says(ReadingKind::Temperature, "20", &working()), "");
        assert_eq!(says(ReadingKind::Ph, "3.5", &working()), "");
        assert_eq!(says(ReadingKind::Volume, "54", &working()), "");
    }

    #[test]
    fn what_is_odd_is_asked_in_words_that_name_it() {
        let rises = says(ReadingKind::Gravity, "1.060", &working());
        assert!(rises.contains("It was 1.0500 on 3 June 2026, and now it is higher, 1.0600"), "{rises}");
        let soon = Around {
            gravity_before: Some((at("2026-06-05T08:00:00"), Measured::from_micros(1_080_000))),
            ..working()
        };
        assert!(says(ReadingKind::Gravity, "1.030", &soon).contains("a jump"));
        assert!(says(ReadingKind::Gravity, "0.980", &working()).contains("without any sugar"));
        assert!(says(ReadingKind::Temperature, "68", &working()).contains("no temperature for a drink"));
        assert!(says(ReadingKind::Temperature, "30", &working()).contains("14 to 18 °C"));
        assert!(says(ReadingKind::Ph, "7.2", &working()).contains("Is the meter checked"));
        assert!(says(ReadingKind::Volume, "80", &working()).contains("By the books 50.0 L"));
    }

    #[test]
    fn what_was_added_explains_a_rise_and_whey_is_not_measured_by_sugar() {
        let fed = Around { added_on: Some("2026-06-04".parse().unwrap()), ..working() };
        assert_eq!(says(ReadingKind::Gravity, "1.070", &fed), "");
        // Fed after midnight by the club's clock, which is two hours ahead of the instants.
        let at_night = Around {
            gravity_before: Some((at("2026-06-05T22:10:00"), Measured::from_micros(1_050_000))),
            added_on: Some("2026-06-06".parse().unwrap()),
            ..working()
        };
        let late = Seen { at: at("2026-06-05T22:20:00"), ..seen(ReadingKind::Gravity, "1.070") };
        assert_eq!(doubt(late, &at_night, chrono_tz::Europe::Amsterdam), None);
        let elsewhere = doubt(late, &at_night, chrono_tz::UTC).unwrap_or_default();
        assert!(elsewhere.contains("It was 1.0500 on 5 June 2026"), "{elsewhere}");
        let must = Around { must_sg: Some(1.05), ..Around::default() };
        assert!(says(ReadingKind::Gravity, "1.090", &must).contains("about 1.050"));
        assert_eq!(says(ReadingKind::Gravity, "1.062", &must), "");
        assert_eq!(says(ReadingKind::Gravity, "1.090", &Around { dairy: true, ..must }), "");
        assert_eq!(says(ReadingKind::Ph, "6.5", &Around { dairy: true, ..Around::default() }), "");
        assert_ne!(
            says(ReadingKind::Ph, "6.5", &Around { dairy: true, pitched: true, ..Around::default() }),
            ""
        );
    }

    #[test]
    fn a_temperature_belongs_to_the_gravities_of_the_hour_after_it() {
        let start = at("2026-05-01T08:00:00");
        let after = |minutes: i64| start + chrono::Duration::minutes(minutes);
        let gravities = [0, 40, 600].map(|minutes| (after(minutes), Measured::from_micros(1_050_000)));
        let found = followed(&gravities, &[(after(1), Measured::from_micros(19_000_000))]);
        let found: Vec<_> = found.iter().map(|reading| reading.temperature_c).collect();
        assert_eq!(found, [None, Some(19.0), None]);
    }
}
