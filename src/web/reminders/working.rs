//! The working batches as Today shows them: how far each is, when it may be done, and whether it stands
//! still.

use crate::db::batches::{self as rows, Batch};
use crate::db::{AnyConn, Failure};
use crate::domain::batches::Stage;
use crate::domain::members::Doer;
use crate::domain::reminders::{READ_EVERY_DAYS, stopped_for};
use crate::science::fermentation::{Reading, forecast};
use crate::units::days::{self, Instant};
use crate::units::ids::ClubId;
use crate::units::measure::{Measured, ReadingKind};
use crate::web::pictures::stem;
use crate::web::site::Site;

/// Gravities of each batch that are looked at: the latest ones.
const GRAVITIES: i64 = 60;
/// Where a drink that has fermented out is expected to stand, as long as nobody said otherwise (common
/// practice, no source).
const EXPECTED_END_SG: f64 = 1.000;

/// A working batch with its first gravity and its latest ones, oldest first.
pub(super) struct Found {
    batch: Batch,
    first: Option<Measured>,
    latest: Vec<(Instant, Measured)>,
}

pub(super) fn find(conn: &mut AnyConn, club: ClubId, limit: i64) -> Result<Vec<Found>, Failure> {
    let mut found = Vec::new();
    for batch in rows::batches(conn, club, &[Stage::Working], None, limit)? {
        let first = rows::gravity_ends(conn, &[batch.id])?.first().map(|ends| ends.1);
        let latest = rows::latest_gravities(conn, batch.id, GRAVITIES)?;
        found.push(Found { batch, first, latest });
    }
    Ok(found)
}

/// A working batch as a row.
pub(super) struct WorkingRow {
    pub(super) href: String,
    pub(super) day: String,
    pub(super) code: String,
    pub(super) drink: String,
    pub(super) stem: String,
    /// "Last read 6 days ago."
    pub(super) read: Option<String>,
    /// "Has not moved for 5 days."
    pub(super) stopped: Option<String>,
}

pub(super) fn row(site: &Site, doer: &Doer, found: &Found) -> WorkingRow {
    let batch = &found.batch;
    let readings = readings(&found.latest);
    let stopped = stopped_for(&readings);
    let last = found.latest.last();
    let unread_days = last.map(|(at, _)| (doer.today() - days::local_day(*at, doer.zone)).num_days());
    WorkingRow {
        href: site.at(&format!("/batches/{}", batch.id)),
        day: batch
            .pitched_on
            .map(|day| format!("day {}", (doer.today() - day).num_days()))
            .unwrap_or_default(),
        code: batch.code.clone(),
        drink: batch.name.clone(),
        stem: match (found.first, last) {
            (Some(first), Some((_, last))) => {
                let end =
                    if stopped.is_some() { "no forecast".to_owned() } else { end(found, &readings, doer) };
                gauge(first, *last, &end)
            }
            _ => String::new(),
        },
        read: match unread_days {
            None => Some("No gravity has been read yet.".to_owned()),
            Some(unread) if unread > READ_EVERY_DAYS => Some(format!("Last read {} ago.", days::age(unread))),
            Some(_) => None,
        },
        stopped: stopped.map(|still| format!("Has not moved for {}.", days::age(still))),
    }
}

/// As science reads them: days since the first of these.
#[allow(clippy::cast_precision_loss, reason = "seconds of a fermentation")]
fn readings(gravities: &[(Instant, Measured)]) -> Vec<Reading> {
    let Some((start, _)) = gravities.first() else { return Vec::new() };
    let day = |at: &Instant| (*at - *start).num_seconds() as f64 / 86_400.0;
    gravities.iter().map(|(at, sg)| Reading { day: day(at), sg: sg.number(), temperature_c: None }).collect()
}

/// When it will be done, if the readings say so.
#[allow(clippy::cast_possible_truncation, reason = "days of a fermentation")]
fn end(found: &Found, readings: &[Reading], doer: &Doer) -> String {
    let expected = format!("ends about {EXPECTED_END_SG:.3}");
    let (Some((start, _)), Ok(forecast)) = (found.latest.first(), forecast(readings, EXPECTED_END_SG)) else {
        return expected;
    };
    let done = days::local_day(*start, doer.zone) + chrono::Duration::days(forecast.end_day.ceil() as i64);
    if done <= doer.today() {
        return "near its end".to_owned();
    }
    let day = if chrono::Datelike::year(&done) == chrono::Datelike::year(&doer.today()) {
        "%-d %B"
    } else {
        "%-d %B %Y"
    };
    format!("done about {}", done.format(day))
}

/// The ruled scale from the first gravity to the end that is expected.
fn gauge(first: Measured, last: Measured, end: &str) -> String {
    let shown = |gravity: Measured| gravity.shown(ReadingKind::Gravity);
    let way = first.number() - EXPECTED_END_SG;
    let gone = if way > 0.0 { ((first.number() - last.number()) / way).clamp(0.0, 1.0) } else { 0.0 };
    let percent = format!("about {:.0} % of the way", 100.0 * gone);
    let says = format!(
        "{} from {} to about {EXPECTED_END_SG:.3}; {end}",
        crate::web::words::capital(&percent),
        shown(first)
    );
    stem(gone, &says, &format!("{}, {percent}", shown(last)), end, None)
}
