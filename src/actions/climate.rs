//! What was read at a place: by a person, out of a logger’s file, or by a sensor; and striking out what was wrong.

use serde::{Deserialize, Serialize};

use super::once::{RequestKey, once};
use super::{Done, or_missing};
use crate::db::{AnyConn, Database, climate as rows, stock};
use crate::domain::climate::{Sample, days_touched, span};
use crate::domain::members::{Cellarhand, Doer};
use crate::domain::refusal::Refusal;
use crate::units::days::{Instant, local_day};
use crate::units::ids::PlaceId;

/// What was read at a place.
#[derive(Debug, Clone, Serialize, Deserialize)]
pub struct Measurements {
    /// Where.
    pub place: PlaceId,
    /// Which program or file sends it; empty where a person read it, which is one reading.
    pub source: String,
    /// What was read.
    pub samples: Vec<Sample>,
}

/// What came of it.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
pub struct Brought {
    /// Readings that were kept.
    pub kept: usize,
    /// Readings of which the time was known.
    pub known: usize,
}

/// Keep what was read at a place. A time counts once there, whoever sends it; who reads again puts it right.
pub async fn measure(
    db: &Database,
    by: &Cellarhand,
    key: Option<RequestKey>,
    order: Measurements,
) -> Done<Brought> {
    once(db, by, key, "climate", order, measured).await
}

fn measured(conn: &mut AnyConn, doer: &Doer, order: &Measurements) -> Done<Brought> {
    or_missing(stock::place(conn, doer.club, order.place), "", "place")?;
    let times = || order.samples.iter().map(|sample| sample.at);
    let (Some(first), Some(last)) = (times().min(), times().max()) else {
        return Err(Refusal::unfit("readings", "Send at least one reading").into());
    };
    if order.source.is_empty() {
        // What a person reads again at the same time puts the earlier one right.
        rows::strike(conn, doer, order.place, (first, last), "Read again at the same time")?;
    }
    let mut known = rows::known(conn, order.place, (first, last))?;
    let mut kept = Vec::new();
    for sample in &order.samples {
        if known.insert(sample.at) {
            let day = local_day(sample.at, doer.zone);
            rows::add(conn, doer, (order.place, day), sample, &order.source)?;
            kept.push(*sample);
        }
    }
    follow(conn, doer, order.place, &kept)?;
    Ok(Brought { kept: kept.len(), known: order.samples.len() - kept.len() })
}

fn follow(conn: &mut AnyConn, doer: &Doer, place: PlaceId, samples: &[Sample]) -> Done<()> {
    let days = days_touched(samples, doer.zone);
    if let (Some(first), Some(last)) = (days.first(), days.last()) {
        rows::follow(conn, doer.club, place, (*first, *last))?;
    }
    Ok(())
}

/// Readings that were wrong.
#[derive(Debug, Clone, Serialize, Deserialize)]
pub struct Strike {
    /// Where.
    pub place: PlaceId,
    /// From this instant.
    pub from: Instant,
    /// Up to this one.
    pub until: Instant,
    /// Why.
    pub reason: String,
}

/// Strike them out: they stay in the record and no longer count. Gives how many days they were of.
pub async fn strike_measurements(
    db: &Database,
    by: &Cellarhand,
    key: Option<RequestKey>,
    order: Strike,
) -> Done<usize> {
    once(db, by, key, "climate strike", order, |conn, doer, order| {
        or_missing(stock::place(conn, doer.club, order.place), "", "place")?;
        span(order.from, order.until)?;
        let days = rows::strike(conn, doer, order.place, (order.from, order.until), &order.reason)?;
        let (Some(first), Some(last)) = (days.first(), days.last()) else {
            let words = "Nothing was read there in that time; write another";
            return Err(Refusal::conflict("from", words).into());
        };
        rows::follow(conn, doer.club, order.place, (*first, *last))?;
        Ok(days.len())
    })
    .await
}
