//! The values of a batch that stand, as bare numbers: what curves, strengths and forecasts follow from.
//!
//! A logger gives thousands of them, and a page wants all. As rows each would cost half a microsecond to step to and to
//! take apart, so they are kept packed as well, one row for a week of a kind: in the order of time, each with its
//! seconds since the week began and its millionths, in twelve bytes. Whatever adds or strikes readings packs their
//! weeks anew, and `verify` packs them all and compares.

use std::collections::{BTreeMap, BTreeSet, HashMap};

use diesel::dsl::sql;
use diesel::prelude::*;
use diesel::sql_types::BigInt;

use crate::db::connection::AnyConn;
use crate::db::failure::Failure;
use crate::db::prepared::{Prepare, padded};
use crate::db::schema::{batches, reading_weeks, readings};
use crate::units::days::Instant;
use crate::units::ids::{BatchId, ClubId};
use crate::units::measure::{Measured, ReadingKind};

/// Values of one kind that stand, oldest first, to the second.
pub type Series = Vec<(Instant, Measured)>;

/// The values of some kinds of some batches.
pub type Curves = HashMap<(BatchId, ReadingKind), Series>;

/// The seconds of a week; weeks are counted from the first day of 1970.
const WEEK: i64 = 7 * 86_400;

/// A value takes so many bytes: four of seconds, eight of millionths.
const BYTES: usize = 12;

/// A kind, and the week of its values.
pub(super) type Week = (ReadingKind, i64);

/// The week in which a value of a kind was read.
pub(super) fn week_of(kind: ReadingKind, at: Instant) -> Week {
    (kind, at.and_utc().timestamp().div_euclid(WEEK))
}

/// The values of some kinds of these batches that stand, oldest first.
pub fn series(conn: &mut AnyConn, ids: &[BatchId], kinds: &[ReadingKind]) -> Result<Curves, Failure> {
    let mut found = Curves::new();
    for kind in kinds {
        for some in ids.chunks(500) {
            let rows: Vec<(BatchId, i64, Vec<u8>)> = reading_weeks::table
                .filter(reading_weeks::batch_id.eq_any(padded(some)).and(reading_weeks::kind.eq(*kind)))
                .order((reading_weeks::batch_id, reading_weeks::week))
                .select((reading_weeks::batch_id, reading_weeks::week, reading_weeks::packed))
                .prepared()
                .load(conn)?;
            for (batch, week, packed) in rows {
                found.entry((batch, *kind)).or_default().extend(unpacked(week, &packed));
            }
        }
    }
    Ok(found)
}

fn unpacked(week: i64, packed: &[u8]) -> impl Iterator<Item = (Instant, Measured)> {
    packed.as_chunks::<BYTES>().0.iter().map(move |[a, b, c, d, micros @ ..]| {
        let seconds = week * WEEK + i64::from(u32::from_le_bytes([*a, *b, *c, *d]));
        let at = chrono::DateTime::from_timestamp(seconds, 0).unwrap_or_default().naive_utc();
        (at, Measured::from_micros(i64::from_le_bytes(*micros)))
    })
}

/// Pack some weeks of a batch anew.
pub(super) fn pack(conn: &mut AnyConn, batch: BatchId, weeks: &BTreeSet<Week>) -> Result<(), Failure> {
    for (kind, week) in weeks {
        let packed = packed_from_rows(conn, batch, Some((*kind, *week)))?.remove(&(*kind, *week));
        put(conn, batch, (*kind, *week), packed)?;
    }
    Ok(())
}

fn put(
    conn: &mut AnyConn,
    batch: BatchId,
    (kind, week): Week,
    packed: Option<Vec<u8>>,
) -> Result<(), Failure> {
    diesel::delete(reading_weeks::table.find((batch, kind, week))).execute(conn)?;
    if let Some(packed) = packed {
        diesel::insert_into(reading_weeks::table)
            .values((
                reading_weeks::batch_id.eq(batch),
                reading_weeks::kind.eq(kind),
                reading_weeks::week.eq(week),
                reading_weeks::packed.eq(packed),
            ))
            .execute(conn)?;
    }
    Ok(())
}

/// Pack everything that was read in a club that came in from an archive.
pub fn pack_all(conn: &mut AnyConn, club: ClubId) -> Result<(), Failure> {
    let all: Vec<BatchId> =
        batches::table.filter(batches::club_id.eq(club)).select(batches::id).load(conn)?;
    for batch in all {
        for (week, packed) in packed_from_rows(conn, batch, None)? {
            put(conn, batch, week, Some(packed))?;
        }
    }
    Ok(())
}

/// The first batch whose packed values are not those that its readings give.
pub(in crate::db) fn first_off(conn: &mut AnyConn) -> Result<Option<(BatchId, String)>, Failure> {
    let all: Vec<(BatchId, String)> =
        batches::table.order(batches::id).select((batches::id, batches::code)).load(conn)?;
    for (batch, code) in all {
        let kept: Vec<(ReadingKind, i64, Vec<u8>)> = reading_weeks::table
            .filter(reading_weeks::batch_id.eq(batch))
            .select((reading_weeks::kind, reading_weeks::week, reading_weeks::packed))
            .load(conn)?;
        let kept: BTreeMap<Week, Vec<u8>> =
            kept.into_iter().map(|(kind, week, packed)| ((kind, week), packed)).collect();
        if kept != packed_from_rows(conn, batch, None)? {
            return Ok(Some((batch, code)));
        }
    }
    Ok(None)
}

/// The readings of a batch that stand, packed: of one week, or all. Values of one second are in the order of their
/// numbers, so that the same readings are always packed alike.
fn packed_from_rows(
    conn: &mut AnyConn,
    batch: BatchId,
    only: Option<Week>,
) -> Result<BTreeMap<Week, Vec<u8>>, Failure> {
    let seconds = match conn {
        AnyConn::Sqlite(_) => "unixepoch(readings.at)",
        AnyConn::Postgres(_) => "CAST(FLOOR(EXTRACT(EPOCH FROM readings.at)) AS BIGINT)",
    };
    let mut query = readings::table
        .filter(readings::batch_id.eq(batch).and(readings::struck_at.is_null()))
        .select((readings::kind, sql::<BigInt>(seconds), readings::value_micro))
        .into_boxed();
    if let Some((kind, week)) = only {
        let begins =
            |week: i64| chrono::DateTime::from_timestamp(week * WEEK, 0).unwrap_or_default().naive_utc();
        query = query
            .filter(readings::kind.eq(kind))
            .filter(readings::at.ge(begins(week)).and(readings::at.lt(begins(week + 1))));
    }
    let mut rows: Vec<(ReadingKind, i64, Measured)> = query.load(conn)?;
    rows.sort_unstable();
    let mut found: BTreeMap<Week, Vec<u8>> = BTreeMap::new();
    for (kind, seconds, value) in rows {
        let packed = found.entry((kind, seconds.div_euclid(WEEK))).or_default();
        let within = u32::try_from(seconds.rem_euclid(WEEK)).unwrap_or_default();
        packed.extend(within.to_le_bytes());
        packed.extend(value.micros().to_le_bytes());
    }
    Ok(found)
}
