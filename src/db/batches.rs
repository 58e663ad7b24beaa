//! Batches and their readings.

use diesel::prelude::*;

use super::connection::AnyConn;
use super::failure::Failure;
use super::schema::{accounts, batches, entries, members, postings, readings};
use crate::domain::batches::{Facts, Stage, Standing, stage};
use crate::domain::books::{EntryKind, Holding};
use crate::units::days::{Day, Instant};
use crate::units::ids::{BatchId, ClubId, EntryId, MemberId, ReadingId};
use crate::units::measure::{Measured, ReadingKind};
use crate::units::money::Money;
use crate::units::quantity::Milli;

mod story;

pub use story::story;

/// A batch.
#[derive(Debug, Clone, PartialEq, Eq, Queryable)]
pub struct Batch {
    /// Which.
    pub id: BatchId,
    /// Its number.
    pub code: String,
    /// Its drink.
    pub name: String,
    /// How much base it was planned for.
    pub base_volume: Option<Milli>,
    /// When it was planned.
    pub planned_on: Day,
    /// The batch it was split from.
    pub came_from: Option<BatchId>,
    /// How far it is.
    pub stage: Stage,
    /// When its yeast was pitched.
    pub pitched_on: Option<Day>,
}

type Columns = (
    batches::id,
    batches::code,
    batches::name,
    batches::base_volume,
    batches::planned_on,
    batches::came_from,
    batches::stage,
    batches::pitched_on,
);
const COLUMNS: Columns = (
    batches::id,
    batches::code,
    batches::name,
    batches::base_volume,
    batches::planned_on,
    batches::came_from,
    batches::stage,
    batches::pitched_on,
);

/// A batch to be kept.
pub struct NewBatch<'a> {
    /// Which.
    pub id: BatchId,
    /// Its number.
    pub code: &'a str,
    /// Its drink.
    pub name: &'a str,
    /// How much base it is planned for.
    pub base_volume: Option<Milli>,
    /// When it was planned.
    pub day: Day,
    /// By whom.
    pub by: MemberId,
    /// The batch it is split from.
    pub came_from: Option<BatchId>,
}

/// Keep a new batch, as planned.
pub fn add(conn: &mut AnyConn, club: ClubId, batch: &NewBatch<'_>) -> Result<(), Failure> {
    diesel::insert_into(batches::table)
        .values((
            batches::id.eq(batch.id),
            batches::club_id.eq(club),
            batches::code.eq(batch.code),
            batches::name.eq(batch.name),
            batches::base_volume.eq(batch.base_volume),
            batches::planned_on.eq(batch.day),
            batches::created_by.eq(batch.by),
            batches::came_from.eq(batch.came_from),
            batches::stage.eq(Stage::Planned),
        ))
        .execute(conn)?;
    Ok(())
}

/// One batch.
pub fn batch(conn: &mut AnyConn, club: ClubId, id: BatchId) -> Result<Batch, Failure> {
    Ok(batches::table
        .filter(batches::id.eq(id).and(batches::club_id.eq(club)))
        .select(COLUMNS)
        .first(conn)?)
}

/// Batches of some stages (none means all), newest first, before `before`.
pub fn batches(
    conn: &mut AnyConn,
    club: ClubId,
    stages: &[Stage],
    before: Option<BatchId>,
    limit: i64,
) -> Result<Vec<Batch>, Failure> {
    let mut query = batches::table
        .filter(batches::club_id.eq(club))
        .order(batches::id.desc())
        .limit(limit)
        .select(COLUMNS)
        .into_boxed();
    if !stages.is_empty() {
        query = query.filter(batches::stage.eq_any(stages.to_vec()));
    }
    if let Some(before) = before {
        query = query.filter(batches::id.lt(before));
    }
    Ok(query.load(conn)?)
}

/// Code and name of a batch, to say where something came from.
pub fn named(conn: &mut AnyConn, club: ClubId, id: BatchId) -> Result<(String, String), Failure> {
    Ok(batches::table
        .filter(batches::id.eq(id).and(batches::club_id.eq(club)))
        .select((batches::code, batches::name))
        .first(conn)?)
}

/// What each of these batches holds now.
pub fn holdings(conn: &mut AnyConn, ids: &[BatchId]) -> Result<Vec<(BatchId, Holding)>, Failure> {
    let rows: Vec<(Option<BatchId>, Milli, Money)> = accounts::table
        .filter(accounts::batch_id.eq_any(ids.iter().copied().map(Some)))
        .select((accounts::batch_id, accounts::quantity, accounts::cost))
        .load(conn)?;
    Ok(rows
        .into_iter()
        .filter_map(|(batch, quantity, cost)| Some((batch?, Holding { quantity, cost })))
        .collect())
}

/// A batch as the rules see it.
pub fn standing(conn: &mut AnyConn, club: ClubId, id: BatchId) -> Result<Standing, Failure> {
    let (code, stage): (String, Stage) = batches::table
        .filter(batches::id.eq(id).and(batches::club_id.eq(club)))
        .select((batches::code, batches::stage))
        .first(conn)?;
    let account: Option<(Milli, Money, Day)> = accounts::table
        .filter(accounts::batch_id.eq(id))
        .select((accounts::quantity, accounts::cost, accounts::opened_on))
        .first(conn)
        .optional()?;
    let (quantity, cost, opened_on) =
        account.map_or((Milli::ZERO, Money::ZERO, None), |(quantity, cost, day)| (quantity, cost, Some(day)));
    Ok(Standing { id, code, stage, holding: Holding { quantity, cost }, opened_on })
}

/// A line that moved a batch: the entry, its kind and day, and what changed; none of what was reversed.
pub(super) type Moved = (EntryId, EntryKind, Day, Milli, Money);

pub(super) fn moves(conn: &mut AnyConn, id: BatchId) -> Result<Vec<Moved>, Failure> {
    moves_until(conn, id, None)
}

/// The same as it was when the entry `until` had been recorded: what was reversed only later still counted then.
pub(super) fn moves_until(
    conn: &mut AnyConn,
    id: BatchId,
    until: Option<EntryId>,
) -> Result<Vec<Moved>, Failure> {
    let back = diesel::alias!(entries as back);
    let rows: Vec<(Moved, Option<EntryId>)> = postings::table
        .inner_join(accounts::table.on(accounts::id.eq(postings::account_id)))
        .inner_join(entries::table.on(entries::id.eq(postings::entry_id)))
        .left_join(back.on(back.field(entries::reverses).eq(entries::id.nullable())))
        .filter(accounts::batch_id.eq(id))
        .filter(entries::reverses.is_null())
        .order(entries::id)
        .select((
            (entries::id, entries::kind, entries::day, postings::quantity, postings::cost),
            back.field(entries::id).nullable(),
        ))
        .load(conn)?;
    let counts = |entry: EntryId, back: Option<EntryId>| match until {
        Some(until) => entry <= until && back.is_none_or(|back| back > until),
        None => back.is_none(),
    };
    Ok(rows.into_iter().filter(|row| counts(row.0.0, row.1)).map(|row| row.0).collect())
}

fn came_from_another(moved: &[Moved]) -> bool {
    moved.iter().any(|line| matches!(line.1, EntryKind::Split | EntryKind::Blend) && line.3 > Milli::ZERO)
}

/// Remember how far the batch was from which this one is split or blended, unless it was filled so before.
pub fn comes_from(conn: &mut AnyConn, into: BatchId, from: BatchId) -> Result<(), Failure> {
    if came_from_another(&moves(conn, into)?) {
        return Ok(());
    }
    let (from_stage, pitched_on): (Stage, Option<Day>) = batches::table
        .filter(batches::id.eq(from))
        .select((batches::stage, batches::pitched_on))
        .first(conn)?;
    diesel::update(batches::table.filter(batches::id.eq(into)))
        .set((batches::came_as.eq(from_stage.code()), batches::came_pitched_on.eq(pitched_on)))
        .execute(conn)?;
    Ok(())
}

/// What has been recorded of a batch and not reversed, and when its yeast was pitched.
pub fn facts(conn: &mut AnyConn, id: BatchId) -> Result<(Facts, Option<Day>), Failure> {
    let (came_as, came_pitched_on): (Option<String>, Option<Day>) = batches::table
        .filter(batches::id.eq(id))
        .select((batches::came_as, batches::came_pitched_on))
        .first(conn)?;
    let moved = moves(conn, id)?;
    let any = |kind| moved.iter().any(|line| line.1 == kind);
    let left: Milli = moved.iter().map(|line| line.3).sum();
    let came = came_from_another(&moved);
    let facts = Facts {
        filled: moved.iter().any(|line| line.3 > Milli::ZERO || line.4 > Money::ZERO) || any(EntryKind::Draw),
        pitched: any(EntryKind::Pitch),
        racked: any(EntryKind::Racking),
        bottled: any(EntryKind::Bottling),
        closed: any(EntryKind::Closing),
        abandoned: any(EntryKind::Abandonment),
        holds_volume: left > Milli::ZERO,
        came_as: came_as.as_deref().and_then(Stage::from_code).filter(|_| came),
    };
    let pitched = moved.iter().find(|line| line.1 == EntryKind::Pitch).map(|line| line.2);
    Ok((facts, pitched.or(came_pitched_on.filter(|_| came))))
}

/// Bring the kept stage in line with what has been recorded. Where nothing changed, nothing is written.
pub fn restage(conn: &mut AnyConn, id: BatchId) -> Result<(), Failure> {
    let (facts, pitched_on) = facts(conn, id)?;
    let kept: (Stage, Option<Day>) = batches::table
        .filter(batches::id.eq(id))
        .select((batches::stage, batches::pitched_on))
        .first(conn)?;
    let now = (stage(&facts), pitched_on);
    if kept != now {
        diesel::update(batches::table.filter(batches::id.eq(id)))
            .set((batches::stage.eq(now.0), batches::pitched_on.eq(now.1)))
            .execute(conn)?;
    }
    Ok(())
}

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

/// The day of the latest reading of a batch.
pub fn last_read(conn: &mut AnyConn, id: BatchId) -> Result<Option<Instant>, Failure> {
    Ok(readings::table
        .filter(readings::batch_id.eq(id).and(readings::struck_at.is_null()))
        .order(readings::at.desc())
        .select(readings::at)
        .first(conn)
        .optional()?)
}
