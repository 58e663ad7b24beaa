//! The course of a fermentation by its gravities, as Today, the list and the batch's own page show it: how far it has
//! come, when it may be done, whether it stands still, and whether that is enough to bottle it.

use crate::db::batches::{self as rows, Reading as Read};
use crate::db::{AnyConn, Failure};
use crate::domain::cautions::{EXPECTED_END_SG, Readiness, readiness};
use crate::domain::members::Doer;
use crate::domain::reminders::stopped_for;
use crate::science::fermentation::{Forecast, Reading, forecast};
use crate::units::days::{self, Day, Instant};
use crate::units::ids::BatchId;
use crate::units::measure::{Measured, ReadingKind};
use crate::web::pictures::{Ahead, stem};
use crate::web::words;

/// Gravities that are looked at: the latest ones.
const GRAVITIES: i64 = 60;

/// A batch whose gravity has been read at least once.
pub struct Course {
    first: Measured,
    last: Measured,
    start: Instant,
    last_at: Instant,
    /// As science reads them: days since `start`.
    readings: Vec<Reading>,
}

impl Course {
    /// The course of a batch, from its latest gravities.
    pub fn find(conn: &mut AnyConn, id: BatchId) -> Result<Option<Self>, Failure> {
        let Some((_, first, ..)) = rows::gravity_ends(conn, &[id])?.into_iter().next() else {
            return Ok(None);
        };
        let latest = rows::latest_gravities(conn, id, GRAVITIES)?;
        Ok(Self::of(first, latest.into_iter().map(|(at, gravity)| (at, gravity, None))))
    }

    /// The course of a batch from all its readings that stand, oldest first. A temperature belongs to a gravity when
    /// it was recorded for the same moment.
    pub fn of_readings<'r>(readings: impl Iterator<Item = &'r Read> + Clone) -> Option<Self> {
        let standing = readings.filter(|reading| reading.struck.is_none());
        let of_kind = move |kind| standing.clone().filter(move |reading| reading.kind == kind);
        let warmth = |at| {
            let same = of_kind(ReadingKind::Temperature).find(|reading| reading.at == at);
            same.map(|reading| reading.value.number())
        };
        let first = of_kind(ReadingKind::Gravity).next()?.value;
        Self::of(
            first,
            of_kind(ReadingKind::Gravity).map(|reading| (reading.at, reading.value, warmth(reading.at))),
        )
    }

    #[allow(clippy::cast_precision_loss, reason = "seconds of a fermentation")]
    fn of(
        first: Measured,
        gravities: impl Iterator<Item = (Instant, Measured, Option<f64>)>,
    ) -> Option<Self> {
        let gravities: Vec<_> = gravities.collect();
        let ((start, ..), (last_at, last, _)) = (*gravities.first()?, *gravities.last()?);
        let day = |at: Instant| (at - start).num_seconds() as f64 / 86_400.0;
        let readings = gravities.iter().map(|(at, gravity, temperature_c)| Reading {
            day: day(*at),
            sg: gravity.number(),
            temperature_c: *temperature_c,
        });
        Some(Self { first, last, start, last_at, readings: readings.collect() })
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

    fn forecast(&self) -> Option<Forecast> {
        forecast(&self.readings, EXPECTED_END_SG).ok().filter(|_| stopped_for(&self.readings).is_none())
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
