//! How warm and how damp a place is, and what that makes of the bottles that stand there.
//!
//! A day of a place is told by its readings: the lowest, the mean, the highest, and its worth, which is how many
//! days at the reference temperature it counts for ([`crate::science::ageing`]). A bottling ages by the places
//! where its bottles stood: each day counts with the worth of the place, or of the nearest one around it that is
//! measured. Days without a reading count as the measured ones do on average, and it is said how many were
//! measured; with none measured a day is a day.

use std::collections::{BTreeMap, HashMap};

use crate::domain::refusal::Refusal;
use crate::domain::stock::places::Place;
use crate::science::ageing::{DEFAULT_Q10, DEFAULT_REFERENCE_C, SHELF_C, ageing_factor};
use crate::units::Misread;
use crate::units::days::{Day, Instant};
use crate::units::ids::PlaceId;
use crate::units::measure::{Measured, ReadingKind};
use crate::units::number;

/// What was measured at a place at one time.
#[derive(Debug, Clone, Copy, PartialEq, Eq, serde::Serialize, serde::Deserialize)]
pub struct Sample {
    /// When.
    pub at: Instant,
    /// °C.
    pub temperature: Measured,
    /// Relative humidity, per cent.
    pub humidity: Option<Measured>,
}

/// Reads a temperature of the air: within what the weighting takes.
pub fn read_temperature(text: &str) -> Result<Measured, Misread> {
    let value = ReadingKind::Temperature.read(text)?;
    let (low, high) = SHELF_C.allowed;
    if (low..=high).contains(&value.number()) {
        return Ok(value);
    }
    Err(Misread::new(format!(
        "The air of a cellar has between {low:.0} and {high:.0} °C; write it like 14.5"
    )))
}

/// Reads a relative humidity in per cent.
pub fn read_humidity(text: &str) -> Result<Measured, Misread> {
    let plain = text.trim().trim_end_matches('%').trim();
    let micros = number::scaled(plain, 1_000_000, "68")?;
    if (0..=100_000_000).contains(&micros) {
        return Ok(Measured::from_micros(micros));
    }
    Err(Misread::new("Humidity is between 0 and 100 %; write it like 68"))
}

/// How many days at the reference temperature a day at this one counts for.
pub fn worth(temperature_c: f64) -> f64 {
    let (low, high) = SHELF_C.allowed;
    // Both settings are within their ranges, and so is the clamped temperature.
    ageing_factor(temperature_c.clamp(low, high), DEFAULT_Q10, DEFAULT_REFERENCE_C)
        .map_or(1.0, |found| found.value)
}

/// A day of a place.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct DayThere {
    /// Which day.
    pub day: Day,
    /// How many readings it has.
    pub readings: i64,
    /// °C.
    pub mean_c: f64,
    /// °C.
    pub lowest_c: f64,
    /// °C.
    pub highest_c: f64,
    /// Days at the reference temperature that it counts for.
    pub worth: f64,
    /// Mean relative humidity, per cent.
    pub humidity: Option<f64>,
}

/// The day that these samples of it tell; none without any.
pub fn day_of(day: Day, samples: &[Sample]) -> Option<DayThere> {
    let warm: Vec<f64> = samples.iter().map(|sample| sample.temperature.number()).collect();
    let damp: Vec<f64> = samples.iter().filter_map(|sample| Some(sample.humidity?.number())).collect();
    Some(DayThere {
        day,
        readings: i64::try_from(samples.len()).unwrap_or(i64::MAX),
        mean_c: mean(&warm)?,
        lowest_c: warm.iter().copied().min_by(f64::total_cmp)?,
        highest_c: warm.iter().copied().max_by(f64::total_cmp)?,
        worth: mean(&warm.iter().map(|c| worth(*c)).collect::<Vec<_>>())?,
        humidity: mean(&damp),
    })
}

#[allow(clippy::cast_precision_loss, reason = "readings of a day")]
fn mean(of: &[f64]) -> Option<f64> {
    (!of.is_empty()).then(|| of.iter().sum::<f64>() / of.len() as f64)
}

/// What is wrong with the climate of a place where bottles stand.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub enum Trouble {
    /// Too warm.
    Warm,
    /// It freezes.
    Frost,
    /// Warm and cold within a day.
    Swing,
}

impl Trouble {
    /// All of them.
    pub const ALL: [Self; 3] = [Self::Warm, Self::Frost, Self::Swing];
}

/// From here on a shelf is too warm: at 25 °C a drink ages two and a half times as fast as at 15 (common practice).
pub const WARM_FROM_C: f64 = 25.0;
/// From here down the cold is told: wine freezes at about −4 °C and pushes its closure out; an open door is not far
/// from it.
pub const FROST_BELOW_C: f64 = 0.0;
/// More than this between the lowest and the highest of a day moves air through corks (common practice, no source).
pub const SWING_C: f64 = 6.0;
/// A trouble that was not read for so many days is over.
pub const OVER_AFTER_DAYS: i64 = 3;

impl DayThere {
    /// Whether this trouble was there on the day, with its figure in °C.
    pub fn trouble(&self, trouble: Trouble) -> Option<f64> {
        let swing = self.highest_c - self.lowest_c;
        match trouble {
            Trouble::Warm => (self.highest_c >= WARM_FROM_C).then_some(self.highest_c),
            Trouble::Frost => (self.lowest_c <= FROST_BELOW_C).then_some(self.lowest_c),
            Trouble::Swing => (swing > SWING_C).then_some(swing),
        }
    }
}

/// A trouble that lasts: since when, and the worst of it.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Lasting {
    /// What.
    pub trouble: Trouble,
    /// The first day of it.
    pub since: Day,
    /// The worst figure, °C.
    pub worst_c: f64,
}

/// The troubles that are not over on `today`, from the days of a place in their order.
pub fn troubles(days: &[DayThere], today: Day) -> Vec<Lasting> {
    let lasting = |trouble| {
        let mut found: Option<Lasting> = None;
        let mut last = today;
        for day in days.iter().rev() {
            let Some(figure) = day.trouble(trouble) else { continue };
            if (last - day.day).num_days() > OVER_AFTER_DAYS {
                break;
            }
            last = day.day;
            let worst_c = found.map_or(figure, |so_far| {
                if trouble == Trouble::Frost {
                    so_far.worst_c.min(figure)
                } else {
                    so_far.worst_c.max(figure)
                }
            });
            found = Some(Lasting { trouble, since: day.day, worst_c });
        }
        found
    };
    Trouble::ALL.into_iter().filter_map(lasting).collect()
}

/// The place whose readings count for a place: its own, or those of the nearest one around it that is measured.
pub fn measured_by(places: &[Place], measured: &[PlaceId]) -> BTreeMap<PlaceId, PlaceId> {
    let around: HashMap<PlaceId, Option<PlaceId>> =
        places.iter().map(|place| (place.id, place.within)).collect();
    let nearest = |id: PlaceId| {
        let mut at = Some(id);
        // Places are eight deep at most.
        for _ in 0..=8 {
            let here = at?;
            if measured.contains(&here) {
                return Some((id, here));
            }
            at = around.get(&here).copied().flatten();
        }
        None
    };
    places.iter().filter_map(|place| nearest(place.id)).collect()
}

/// Bottles of one lot that came to a place (above zero) or left it on a day.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Carried {
    /// When.
    pub day: Day,
    /// Where.
    pub place: PlaceId,
    /// How many, in thousandths.
    pub bottles: i64,
}

/// From a day up to another, what share of the bottles stood where.
#[derive(Debug, Clone, PartialEq)]
pub struct Stay {
    /// From this day on.
    pub from: Day,
    /// Up to this day, which no longer counts.
    pub until: Day,
    /// Each place with its share of the bottles.
    pub at: Vec<(PlaceId, f64)>,
}

/// Where the bottles of a lot stood, from what was carried in the order of days, up to `until`.
#[allow(clippy::cast_precision_loss, reason = "bottles of one bottling")]
pub fn stays(carried: &[Carried], until: Day) -> Vec<Stay> {
    let mut found = Vec::new();
    let mut there: BTreeMap<PlaceId, i64> = BTreeMap::new();
    for (at, one) in carried.iter().enumerate() {
        *there.entry(one.place).or_default() += one.bottles;
        let next = carried.get(at + 1).map_or(until, |next| next.day.min(until));
        let all: i64 = there.values().filter(|bottles| **bottles > 0).sum();
        if next > one.day && all > 0 {
            let share = |(place, bottles): (&PlaceId, &i64)| (*place, *bottles as f64 / all as f64);
            let at = there.iter().filter(|one| *one.1 > 0).map(share).collect();
            found.push(Stay { from: one.day, until: next, at });
        }
    }
    found
}

/// The climate of places by day.
pub type Climate = HashMap<PlaceId, BTreeMap<Day, f64>>;

/// An age weighted by temperature.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Weighted {
    /// In days at the reference temperature.
    pub days: f64,
    /// What share of the time was measured, 0 to 1.
    pub measured: f64,
    /// What a day counts for where the bottles stand now, by the last year there.
    pub per_day: f64,
}

/// The weighted age that these stays amount to. `by` says whose readings count for a place.
#[allow(clippy::cast_precision_loss, reason = "days of a life")]
pub fn weighted(stays: &[Stay], climate: &Climate, by: &BTreeMap<PlaceId, PlaceId>) -> Weighted {
    let (mut sum, mut known, mut all) = (0.0, 0.0, 0.0);
    for stay in stays {
        let days = (stay.until - stay.from).num_days() as f64;
        for (place, share) in &stay.at {
            let there = by.get(place).and_then(|place| climate.get(place));
            let found = there.map(|there| there.range(stay.from..stay.until)).into_iter().flatten();
            let (worth, count) = found.fold((0.0, 0.0), |(worth, count), day| (worth + day.1, count + 1.0));
            sum += share * worth;
            known += share * count;
            all += share * days;
        }
    }
    let usual = if known > 0.0 { sum / known } else { 1.0 };
    let per_day = stays.last().map_or(usual, |stay| {
        let since = stay.until - chrono::Duration::days(366);
        let share = |(place, share): &(PlaceId, f64)| {
            let there = by.get(place).and_then(|place| climate.get(place));
            let year = there.map(|there| there.range(since..stay.until)).into_iter().flatten();
            let worths: Vec<f64> = year.map(|day| *day.1).collect();
            share * mean(&worths).unwrap_or(usual)
        };
        stay.at.iter().map(share).sum()
    });
    let measured = if all > 0.0 { known / all } else { 0.0 };
    Weighted { days: sum + (all - known) * usual, measured, per_day }
}

/// When a drink of this weighted age has another, to come: by what a day counts for where it stands now. One that
/// has it already has it today.
#[allow(clippy::cast_precision_loss, clippy::cast_possible_truncation, reason = "days of a life")]
pub fn falls_on(age: &Weighted, age_days: i64, today: Day) -> Day {
    let missing = (age_days as f64 - age.days).max(0.0);
    let wait = (missing / age.per_day.max(0.05)).ceil().min(100_000.0);
    today + chrono::Duration::days(wait as i64)
}

/// The days on which something was measured, from the samples.
pub fn days_touched(samples: &[Sample], zone: chrono_tz::Tz) -> Vec<Day> {
    let mut days: Vec<Day> =
        samples.iter().map(|sample| crate::units::days::local_day(sample.at, zone)).collect();
    days.sort_unstable();
    days.dedup();
    days
}

/// A wrong stretch of readings that is struck out.
pub fn span(from: Instant, until: Instant) -> Result<(), Refusal> {
    if until < from {
        return Err(Refusal::unfit("until", "The end comes before the beginning; write a later time"));
    }
    Ok(())
}

#[cfg(test)]
mod tests;
