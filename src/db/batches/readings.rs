//! What was measured of a batch.

use std::collections::HashMap;

use diesel::prelude::*;

use crate::db::connection::AnyConn;
use crate::db::failure::Failure;
use crate::db::schema::{members, readings};
use crate::units::days::Instant;
use crate::units::ids::{BatchId, ClubId, MemberId, ReadingId};
use crate::units::measure::{Measured, ReadingKind};

/// A measured value.
#[derive(Debug, Clone, PartialEq)]
pub struct Reading {
    /// Which.
    pub id: ReadingId,
    /// When it was measured.
    pub at: Instant,
    /// What.
    pub kind: ReadingKind,
    /// As read off the instrument.
    pub read: Measured,
    /// The temperature of the sample, °C.
    pub sample_c: Option<Measured>,
    /// Corrected to 20 °C where that applies.
    pub value: Measured,
    /// A remark.
    pub remark: String,
    /// By whom.
    pub by: String,
    /// If it was struck out: when, by whom, why.
    pub struck: Option<(Instant, String, String)>,
}

/// Keep a reading.
#[allow(clippy::too_many_arguments, reason = "the columns of the row")]
pub fn add_reading(
    conn: &mut AnyConn,
    club: ClubId,
    batch: BatchId,
    by: MemberId,
    recorded_at: Instant,
    reading: &Reading,
) -> Result<(), Failure> {
    diesel::insert_into(readings::table)
        .values((
            readings::id.eq(reading.id),
            readings::club_id.eq(club),
            readings::batch_id.eq(batch),
            readings::at.eq(reading.at),
            readings::kind.eq(reading.kind),
            readings::read_micro.eq(reading.read),
            readings::sample_micro_c.eq(reading.sample_c),
            readings::value_micro.eq(reading.value),
            readings::remark.eq(&reading.remark),
            readings::recorded_by.eq(by),
            readings::recorded_at.eq(recorded_at),
            readings::struck_because.eq(""),
        ))
        .execute(conn)?;
    Ok(())
}

/// Strike a reading out; it stays, with who, when and why. `false` if it was struck before.
pub fn strike(
    conn: &mut AnyConn,
    club: ClubId,
    id: ReadingId,
    by: MemberId,
    at: Instant,
    because: &str,
) -> Result<(BatchId, bool), Failure> {
    let batch: BatchId = readings::table
        .filter(readings::id.eq(id).and(readings::club_id.eq(club)))
        .select(readings::batch_id)
        .first(conn)?;
    let struck =
        diesel::update(readings::table.filter(readings::id.eq(id).and(readings::struck_at.is_null())))
            .set((
                readings::struck_at.eq(Some(at)),
                readings::struck_by.eq(Some(by)),
                readings::struck_because.eq(because),
            ))
            .execute(conn)?;
    Ok((batch, struck > 0))
}

/// The readings of a batch, oldest first, struck ones too; at most the latest `limit`.
pub fn readings(
    conn: &mut AnyConn,
    club: ClubId,
    batch: BatchId,
    limit: i64,
) -> Result<Vec<Reading>, Failure> {
    type Row = (
        (ReadingId, Instant, ReadingKind, Measured, Option<Measured>, Measured, String, String),
        (Option<Instant>, Option<String>, String),
    );
    let strikers = diesel::alias!(members as strikers);
    let mut rows: Vec<Row> = readings::table
        .inner_join(members::table.on(members::id.eq(readings::recorded_by)))
        .left_join(strikers.on(strikers.field(members::id).nullable().eq(readings::struck_by)))
        .filter(readings::batch_id.eq(batch).and(readings::club_id.eq(club)))
        .order((readings::at.desc(), readings::id.desc()))
        .limit(limit)
        .select((
            (
                readings::id,
                readings::at,
                readings::kind,
                readings::read_micro,
                readings::sample_micro_c,
                readings::value_micro,
                readings::remark,
                members::name,
            ),
            (readings::struck_at, strikers.field(members::name).nullable(), readings::struck_because),
        ))
        .load(conn)?;
    rows.reverse();
    Ok(rows
        .into_iter()
        .map(|((id, at, kind, read, sample_c, value, remark, by), (struck_at, struck_by, because))| Reading {
            id,
            at,
            kind,
            read,
            sample_c,
            value,
            remark,
            by,
            struck: struck_at.map(|at| (at, struck_by.unwrap_or_default(), because)),
        })
        .collect())
}

/// The first and the last gravity of each batch that stand, for lists: (batch, first, last, last at).
pub fn gravity_ends(
    conn: &mut AnyConn,
    ids: &[BatchId],
) -> Result<Vec<(BatchId, Measured, Measured, Instant)>, Failure> {
    let mut found = Vec::new();
    for id in ids {
        let of = || {
            readings::table
                .filter(readings::batch_id.eq(*id).and(readings::kind.eq(ReadingKind::Gravity)))
                .filter(readings::struck_at.is_null())
        };
        let first: Option<Measured> =
            of().order(readings::at).select(readings::value_micro).first(conn).optional()?;
        let last: Option<(Measured, Instant)> = of()
            .order(readings::at.desc())
            .select((readings::value_micro, readings::at))
            .first(conn)
            .optional()?;
        if let (Some(first), Some((last, at))) = (first, last) {
            found.push((*id, first, last, at));
        }
    }
    Ok(found)
}

/// The latest gravities of a batch that stand, oldest first, at most `limit`.
pub fn latest_gravities(
    conn: &mut AnyConn,
    id: BatchId,
    limit: i64,
) -> Result<Vec<(Instant, Measured)>, Failure> {
    let mut found: Vec<(Instant, Measured)> = readings::table
        .filter(readings::batch_id.eq(id).and(readings::kind.eq(ReadingKind::Gravity)))
        .filter(readings::struck_at.is_null())
        .order((readings::at.desc(), readings::id.desc()))
        .limit(limit)
        .select((readings::at, readings::value_micro))
        .load(conn)?;
    found.reverse();
    Ok(found)
}

/// The same of many batches, all of them, oldest first.
pub(super) fn gravities_of(
    conn: &mut AnyConn,
    ids: &[BatchId],
) -> Result<HashMap<BatchId, Vec<(Instant, Measured)>>, Failure> {
    let mut found: HashMap<BatchId, Vec<(Instant, Measured)>> = HashMap::new();
    for some in ids.chunks(500) {
        let rows: Vec<(BatchId, (Instant, Measured))> = readings::table
            .filter(readings::batch_id.eq_any(some.to_vec()).and(readings::kind.eq(ReadingKind::Gravity)))
            .filter(readings::struck_at.is_null())
            .order((readings::at, readings::id))
            .select((readings::batch_id, (readings::at, readings::value_micro)))
            .load(conn)?;
        for (batch, reading) in rows {
            found.entry(batch).or_default().push(reading);
        }
    }
    Ok(found)
}

/// The day of the latest reading of a batch.
pub fn last_read(conn: &mut AnyConn, id: BatchId) -> Result<Option<Instant>, Failure> {
    Ok(readings::table
        .filter(readings::batch_id.eq(id).and(readings::struck_at.is_null()))
        .order(readings::at.desc())
        .select(readings::at)
        .first(conn)
        .optional()?)
}
