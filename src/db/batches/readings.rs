//! What was measured of a batch, read part by part; curves are read as bare numbers ([`super::curves`]).

use std::collections::BTreeSet;

use diesel::prelude::*;

use super::curves::{Series, pack, week_of};
use crate::db::connection::AnyConn;
use crate::db::failure::Failure;
use crate::db::prepared::Prepare;
use crate::db::schema::{instruments, members, reading_imports, readings};
use crate::units::days::{Day, Instant};
use crate::units::ids::{BatchId, ClubId, ImportId, InstrumentId, MemberId, ReadingId};
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
    /// Corrected for its instrument, and to 20 °C where that applies.
    pub value: Measured,
    /// The instrument it was read off, and its name.
    pub instrument: Option<(InstrumentId, String)>,
    /// The file it came in with.
    pub import: Option<ImportId>,
    /// The program or file it came from; empty where a person wrote it.
    pub source: String,
    /// A remark.
    pub remark: String,
    /// By whom.
    pub by: String,
    /// If it was struck out: when, by whom, why.
    pub struck: Option<(Instant, String, String)>,
}

/// Keep readings of a batch.
pub fn add_readings(
    conn: &mut AnyConn,
    club: ClubId,
    batch: BatchId,
    by: MemberId,
    recorded_at: Instant,
    rows: &[Reading],
) -> Result<(), Failure> {
    for reading in rows {
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
                readings::instrument_id.eq(reading.instrument.as_ref().map(|one| one.0)),
                readings::import_id.eq(reading.import),
                readings::source.eq(&reading.source),
            ))
            .prepared()
            .run(conn)?;
    }
    let weeks: BTreeSet<_> = rows.iter().map(|reading| week_of(reading.kind, reading.at)).collect();
    pack(conn, batch, &weeks)
}

/// The reading of a club with its batch.
pub fn reading(conn: &mut AnyConn, club: ClubId, id: ReadingId) -> Result<(BatchId, Reading), Failure> {
    let batch: BatchId = readings::table
        .filter(readings::id.eq(id).and(readings::club_id.eq(club)))
        .select(readings::batch_id)
        .first(conn)?;
    let found = load(conn, club, batch, &Part { only: Some(id), ..Part::newest(1) })?.pop();
    Ok((batch, found.ok_or(Failure::Gone)?))
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
    let (batch, kind, read_at): (BatchId, ReadingKind, Instant) = readings::table
        .filter(readings::id.eq(id).and(readings::club_id.eq(club)))
        .select((readings::batch_id, readings::kind, readings::at))
        .first(conn)?;
    let struck =
        diesel::update(readings::table.filter(readings::id.eq(id).and(readings::struck_at.is_null())))
            .set((
                readings::struck_at.eq(Some(at)),
                readings::struck_by.eq(Some(by)),
                readings::struck_because.eq(because),
            ))
            .execute(conn)?;
    pack(conn, batch, &BTreeSet::from([week_of(kind, read_at)]))?;
    Ok((batch, struck > 0))
}

/// A place in the list of a batch's readings.
pub type At = (Instant, ReadingId);

/// A part of the list.
#[derive(Debug, Clone, Copy)]
pub struct Part {
    /// Those after this place, oldest first.
    pub after: Option<At>,
    /// Those before this place, newest first; without either it begins with the newest.
    pub before: Option<At>,
    /// From the oldest on, even without a place.
    pub forward: bool,
    /// This one alone.
    pub only: Option<ReadingId>,
    /// Only what a person wrote.
    pub by_hand: bool,
    /// How many.
    pub limit: i64,
}

impl Part {
    /// The newest ones, newest first.
    pub const fn newest(limit: i64) -> Self {
        Self { after: None, before: None, forward: false, only: None, by_hand: false, limit }
    }

    /// From the oldest on.
    pub const fn oldest(after: Option<At>, limit: i64) -> Self {
        Self { after, before: None, forward: true, only: None, by_hand: false, limit }
    }

    /// Those that a person wrote, from the oldest on.
    pub const fn by_hand(limit: i64) -> Self {
        Self { after: None, before: None, forward: true, only: None, by_hand: true, limit }
    }
}

/// A part of a batch's readings, struck ones too.
pub fn part(conn: &mut AnyConn, club: ClubId, batch: BatchId, part: &Part) -> Result<Vec<Reading>, Failure> {
    load(conn, club, batch, part)
}

fn load(conn: &mut AnyConn, club: ClubId, batch: BatchId, part: &Part) -> Result<Vec<Reading>, Failure> {
    type Row = (
        (ReadingId, Instant, ReadingKind, Measured, Option<Measured>, Measured, String, String),
        (Option<Instant>, Option<String>, String),
        (Option<InstrumentId>, Option<String>, Option<ImportId>, String),
    );
    let strikers = diesel::alias!(members as strikers);
    let mut query = readings::table
        .inner_join(members::table.on(members::id.eq(readings::recorded_by)))
        .left_join(strikers.on(strikers.field(members::id).nullable().eq(readings::struck_by)))
        .left_join(instruments::table.on(instruments::id.nullable().eq(readings::instrument_id)))
        .filter(readings::batch_id.eq(batch).and(readings::club_id.eq(club)))
        .limit(part.limit)
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
            (readings::instrument_id, instruments::name.nullable(), readings::import_id, readings::source),
        ))
        .into_boxed();
    if let Some(id) = part.only {
        query = query.filter(readings::id.eq(id));
    }
    if part.by_hand {
        query = query.filter(readings::source.eq(""));
    }
    if let Some((at, id)) = part.after {
        query = query.filter(readings::at.ge(at)).filter(readings::at.gt(at).or(readings::id.gt(id)));
    }
    if let Some((at, id)) = part.before {
        query = query.filter(readings::at.le(at)).filter(readings::at.lt(at).or(readings::id.lt(id)));
    }
    query = if part.forward {
        query.order((readings::at.asc(), readings::id.asc()))
    } else {
        query.order((readings::at.desc(), readings::id.desc()))
    };
    let rows: Vec<Row> = query.prepared().load(conn)?;
    let reading = |(own, struck, origin): Row| {
        let (id, at, kind, read, sample_c, value, remark, by) = own;
        let (struck_at, struck_by, because) = struck;
        let (instrument, name, import, source) = origin;
        Reading {
            id,
            at,
            kind,
            read,
            sample_c,
            value,
            instrument: instrument.zip(name),
            import,
            source,
            remark,
            by,
            struck: struck_at.map(|at| (at, struck_by.unwrap_or_default(), because)),
        }
    };
    Ok(rows.into_iter().map(reading).collect())
}

/// The readings of a batch, oldest first, struck ones too; at most the latest `limit`.
pub fn readings(
    conn: &mut AnyConn,
    club: ClubId,
    batch: BatchId,
    limit: i64,
) -> Result<Vec<Reading>, Failure> {
    let mut found = part(conn, club, batch, &Part::newest(limit))?;
    found.reverse();
    Ok(found)
}

/// How many readings a batch has, struck ones too.
pub fn count(conn: &mut AnyConn, batch: BatchId) -> Result<i64, Failure> {
    Ok(readings::table.filter(readings::batch_id.eq(batch)).count().get_result(conn)?)
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
        let last = last_of(conn, *id, ReadingKind::Gravity, None)?;
        if let (Some(first), Some((at, last))) = (first, last) {
            found.push((*id, first, last, at));
        }
    }
    Ok(found)
}

/// The last value of a kind that stands, up to an instant where one is given.
pub fn last_of(
    conn: &mut AnyConn,
    batch: BatchId,
    kind: ReadingKind,
    until: Option<Instant>,
) -> Result<Option<(Instant, Measured)>, Failure> {
    let mut query = readings::table
        .filter(readings::batch_id.eq(batch).and(readings::kind.eq(kind)))
        .filter(readings::struck_at.is_null())
        .order(readings::at.desc())
        .select((readings::at, readings::value_micro))
        .into_boxed();
    if let Some(until) = until {
        query = query.filter(readings::at.le(until));
    }
    Ok(query.limit(1).prepared().get_result(conn).optional()?)
}

/// The last value of every kind that has one.
pub fn last_of_each(
    conn: &mut AnyConn,
    batch: BatchId,
) -> Result<Vec<(ReadingKind, Instant, Measured)>, Failure> {
    let mut found = Vec::new();
    for kind in ReadingKind::ALL {
        found.extend(last_of(conn, batch, kind, None)?.map(|(at, value)| (kind, at, value)));
    }
    Ok(found)
}

/// Readings that are enough to say what is usual in a cellar, and for how long they say it.
const USUAL: i64 = 40;
const ENOUGH: usize = 5;
const WEEKS: i64 = 4;

/// The lowest and the highest temperature read in the club in the weeks before, where there are enough.
pub fn cellar_temperature(
    conn: &mut AnyConn,
    club: ClubId,
    at: Instant,
) -> Result<Option<(Measured, Measured)>, Failure> {
    let values: Vec<Measured> = readings::table
        .filter(readings::club_id.eq(club).and(readings::kind.eq(ReadingKind::Temperature)))
        .filter(readings::struck_at.is_null())
        .filter(readings::at.between(at - chrono::Duration::weeks(WEEKS), at))
        .order(readings::at.desc())
        .limit(USUAL)
        .select(readings::value_micro)
        .load(conn)?;
    let ends = values.iter().min().copied().zip(values.iter().max().copied());
    Ok(ends.filter(|_| values.len() >= ENOUGH))
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

/// The instants at which a source has given values of each kind between two instants: those that stand, and those that
/// somebody struck out by themselves, which do not come back.
pub fn given_by(
    conn: &mut AnyConn,
    batch: BatchId,
    source: &str,
    (from, until): (Instant, Instant),
) -> Result<Vec<(ReadingKind, Instant)>, Failure> {
    Ok(readings::table
        .left_join(reading_imports::table.on(reading_imports::id.nullable().eq(readings::import_id)))
        .filter(readings::batch_id.eq(batch).and(readings::at.between(from, until)))
        .filter(readings::source.eq(source.to_owned()))
        .filter(readings::struck_at.is_null().or(reading_imports::undone_at.is_null()))
        .select((readings::kind, readings::at))
        .load(conn)?)
}

/// The first and the last value of every day, which is all that a strength follows from.
pub(super) fn ends_of_days(series: &Series, zone: chrono_tz::Tz) -> Vec<(Day, f64)> {
    let mut found: Vec<(Day, f64)> = Vec::new();
    let (mut until, mut of_day) = (Instant::MIN, 0);
    for (at, value) in series {
        if *at >= until {
            let day = crate::units::days::local_day(*at, zone);
            until = crate::units::days::begin(day.succ_opt().unwrap_or(day), zone);
            found.push((day, value.number()));
            of_day = 1;
            continue;
        }
        let day = found.last().map(|last| last.0).unwrap_or_default();
        if of_day == 1 {
            found.push((day, value.number()));
        } else if let Some(last) = found.last_mut() {
            last.1 = value.number();
        }
        of_day += 1;
    }
    found
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn of_a_day_with_many_values_the_first_and_the_last_are_kept() {
        let zone: chrono_tz::Tz = "Europe/Amsterdam".parse().unwrap();
        let read = |text: &str, micros| (text.parse::<Instant>().unwrap(), Measured::from_micros(micros));
        let series = vec![
            read("2026-06-01T20:00:00", 1_090_000),
            // 22:00 UTC is midnight in the club.
            read("2026-06-01T22:00:00", 1_080_000),
            read("2026-06-02T10:00:00", 1_100_000),
            read("2026-06-02T21:59:00", 1_070_000),
            read("2026-06-05T10:00:00", 1_050_000),
        ];
        let found: Vec<String> =
            ends_of_days(&series, zone).iter().map(|(day, sg)| format!("{day} {sg:.3}")).collect();
        assert_eq!(found, ["2026-06-01 1.090", "2026-06-02 1.080", "2026-06-02 1.070", "2026-06-05 1.050"]);
    }
}
