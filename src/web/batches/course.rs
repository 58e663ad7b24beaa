//! The course of a fermentation by its gravities, as Today, the list and the batch's own page show it: how far it has
//! come, when it may be done, whether it stands still, and whether that is enough to bottle it.

use std::cell::OnceCell;
use std::collections::HashMap;

use crate::db::batches::{self as rows, Series};
use crate::db::{AnyConn, Failure};
use crate::domain::batches::readings::followed;
use crate::domain::cautions::{EXPECTED_END_SG, Readiness, readiness};
use crate::domain::members::Doer;
use crate::domain::reminders::stopped_for;
use crate::science::fermentation::{Forecast, Reading, forecast};
use crate::units::days::{self, Day, Instant};
use crate::units::ids::BatchId;
use crate::units::measure::{Measured, ReadingKind};
use crate::web::pictures::{Ahead, stem};
use crate::web::words;

/// Warmer than this most yeast for such drinks works badly (common practice, no source).
const WARM_C: f64 = 25.0;

/// A batch whose gravity has been read at least once.
pub struct Course {
    first: Measured,
    last: Measured,
    start: Instant,
    last_at: Instant,
    /// As science reads them: days since `start`.
    readings: Vec<Reading>,
    /// The last temperature, and when.
    warmth: Option<(Instant, Measured)>,
    forecast: OnceCell<Option<Forecast>>,
}

/// The kinds of values that a course follows from.
pub const FOLLOWED: [ReadingKind; 2] = [ReadingKind::Gravity, ReadingKind::Temperature];

impl Course {
    /// The course of a batch.
    pub fn find(conn: &mut AnyConn, id: BatchId) -> Result<Option<Self>, Failure> {
        Ok(Self::of_batches(conn, &[id])?.remove(&id))
    }

    /// The courses of these batches: the number of queries does not grow with theirs.
    pub fn of_batches(conn: &mut AnyConn, ids: &[BatchId]) -> Result<HashMap<BatchId, Self>, Failure> {
        let found = rows::series(conn, ids, &FOLLOWED)?;
        let none = Series::new();
        let of = |id: BatchId, kind| found.get(&(id, kind)).unwrap_or(&none);
        let course = |id: &BatchId| {
            let course = Self::of(of(*id, ReadingKind::Gravity), of(*id, ReadingKind::Temperature))?;
            Some((*id, course))
        };
        Ok(ids.iter().filter_map(course).collect())
    }

    /// The course by the gravities and temperatures that stand, oldest first.
    pub fn of(gravities: &Series, temperatures: &Series) -> Option<Self> {
        let ((start, first), (last_at, last)) = (*gravities.first()?, *gravities.last()?);
        Some(Self {
            first,
            last,
            start,
            last_at,
            readings: followed(gravities, temperatures),
            warmth: temperatures.last().copied(),
            forecast: OnceCell::new(),
        })
    }

    /// What to do when it is warmer than yeast likes: the last temperature, if it was noted in these days.
    pub fn too_warm(&self, doer: &Doer) -> Option<String> {
        let (at, warmth) = self.warmth?;
        let fresh = (doer.now - at).num_days() <= 3;
        (fresh && warmth.number() > WARM_C).then(|| {
            format!(
                "It is {} °C in it, warmer than about {WARM_C:.0} °C.",
                warmth.shown(ReadingKind::Temperature)
            )
        })
    }

    /// The readings as science takes them: those of a logger by stretches of time.
    pub fn readings(&self) -> &[Reading] {
        &self.readings
    }

    /// The day of the last gravity.
    pub fn last_day(&self, doer: &Doer) -> Day {
        days::local_day(self.last_at, doer.zone)
    }

    /// The last gravity: "1.0150".
    pub fn last_gravity(&self) -> String {
        self.last.shown(ReadingKind::Gravity)
    }

    /// "Has not moved for 5 days.", where it stands too high to be finished.
    pub fn stopped(&self) -> Option<String> {
        stopped_for(&self.readings).map(|still| format!("Has not moved for {}.", days::age(still)))
    }

    /// Whether it may be finished, and why that is said.
    pub fn readiness(&self) -> (Readiness, String) {
        readiness(&self.readings)
    }

    /// How far the gravity has come towards where most drinks end, from 0 to 1.
    fn gone(&self) -> f64 {
        let way = self.first.number() - EXPECTED_END_SG;
        if way > 0.0005 { ((self.first.number() - self.last.number()) / way).clamp(0.0, 1.0) } else { 0.0 }
    }

    fn way(&self) -> String {
        format!("about {:.0} % of the way", 100.0 * self.gone())
    }

    fn forecast(&self) -> Option<&Forecast> {
        let found = || {
            forecast(&self.readings, EXPECTED_END_SG).ok().filter(|_| stopped_for(&self.readings).is_none())
        };
        self.forecast.get_or_init(found).as_ref()
    }

    /// What the forecast rests on, in a sentence; none where there is none.
    pub fn basis(&self) -> Option<String> {
        let forecast = self.forecast()?;
        Some(format!(
            "A logistic curve through {} by least squares, {:.4} off them; it ends at {:.4}. The band is a quarter of \
             the time sooner or later: common practice, no source.",
            words::count(i64::try_from(self.readings.len()).unwrap_or(i64::MAX), "reading", "readings"),
            forecast.curve.rmse_sg,
            forecast.curve.final_gravity,
        ))
    }

    #[allow(clippy::cast_possible_truncation, reason = "days of a fermentation")]
    fn on(&self, day: f64, doer: &Doer) -> Day {
        days::local_day(self.start, doer.zone) + chrono::Duration::days(day.ceil() as i64)
    }

    /// The end in a few words: "done about 3 July".
    pub fn end(&self, doer: &Doer) -> String {
        match self.forecast() {
            Some(forecast) if self.on(forecast.end_day, doer) <= doer.today() => "near its end".to_owned(),
            Some(forecast) => {
                format!("done about {}", days::tiny(self.on(forecast.end_day, doer), doer.today()))
            }
            None => "no forecast".to_owned(),
        }
    }

    /// The ruled scale from the first gravity to the end that is expected.
    pub fn stem(&self, doer: &Doer) -> String {
        let end = self.end(doer);
        let says = format!("{}; {end}", words::capital(&self.way_in_full()));
        stem(self.gone(), &says, &format!("{}, {}", self.last_gravity(), self.way()), &end, None)
    }

    fn way_in_full(&self) -> String {
        format!(
            "{} from {} to about {EXPECTED_END_SG:.3}",
            self.way(),
            self.first.shown(ReadingKind::Gravity)
        )
    }

    /// How far it is and when it may be done, in sentences.
    pub fn lead(&self, doer: &Doer) -> String {
        let read = match (doer.today() - self.last_day(doer)).num_days() {
            0 => "read today".to_owned(),
            ago => format!("last read {} ago", days::age(ago)),
        };
        let lead = format!("{}, {read}.", words::capital(&self.way_in_full()));
        let Some(forecast) = self.forecast() else { return lead };
        let today = doer.today();
        let day = |day| words::day(self.on(day, doer), today);
        let warning = forecast.warning.clone().map(|warning| format!(" {warning}")).unwrap_or_default();
        match self.on(forecast.end_day, doer) {
            end if end <= today => {
                format!("{lead} It should be near its end: read it on, three days or more.{warning}")
            }
            _ => format!(
                "{lead} It should be done about {}, at the latest by {}.{warning}",
                day(forecast.end_day),
                day(forecast.latest_day)
            ),
        }
    }

    /// The forecast after the last reading, for the curve; none where there is none or it is over.
    pub fn ahead(&self, doer: &Doer) -> Option<Ahead> {
        /// Points of each line.
        const STEPS: u32 = 24;
        let forecast = self.forecast()?;
        let last = self.readings.last()?.day;
        let (end, late) = (forecast.end_day, forecast.latest_day);
        if self.on(end, doer) <= doer.today() || end <= last {
            return None;
        }
        let early = forecast.earliest_day.max(last + 0.1 * (end - last));
        // The same fall, sooner or later: the days from the last reading are stretched so that it ends on that day.
        let line = |ends: f64| {
            let point = |step: u32| {
                let day = last + (late - last) * f64::from(step) / f64::from(STEPS);
                (day, forecast.curve.sg_on(last + (day - last) * (end - last) / (ends - last)))
            };
            (0..=STEPS).map(point).collect::<Vec<_>>()
        };
        Some(Ahead { expected: line(end), early: line(early), late: line(late) })
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// A logistic fall from 1.080 to 0.998 in a fortnight, read every ten minutes, with the noise of a logger.
    fn logged() -> Series {
        let start: Instant = "2026-05-01T08:00:00".parse().unwrap();
        let value = |minute: i32| {
            let day = f64::from(minute) / 1440.0;
            let noise = f64::from(minute * 7919 % 21 - 10) * 0.000_05;
            0.998 + 0.082 / (1.0 + (0.9 * (day - 4.0)).exp()) + noise
        };
        let row = |n: i32| {
            let at = start + chrono::Duration::minutes(i64::from(n) * 10);
            (at, Measured::from_number(value(n * 10)).unwrap())
        };
        (0..1000).map(row).collect()
    }

    #[test]
    fn the_readings_of_a_logger_give_the_curve_that_a_few_would() {
        let gravities = logged();
        let course = Course::of(&gravities, &Series::new()).unwrap();
        assert!(course.readings.len() <= 43, "{}", course.readings.len());
        let few: Series = gravities.iter().step_by(50).copied().collect();
        let by_few = Course::of(&few, &Series::new()).unwrap();
        let (many, few) = (course.forecast().unwrap(), by_few.forecast().unwrap());
        assert!((many.end_day - few.end_day).abs() < 0.35, "{} and {}", many.end_day, few.end_day);
        assert!(course.basis().unwrap().contains("logistic"));
    }
}
