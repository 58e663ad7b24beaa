//! The steps of a batch, what became of them, and what runs just now.

use std::collections::HashMap;

use diesel::prelude::*;

use super::connection::AnyConn;
use super::failure::Failure;
use super::schema::{batches, entries, items, members, readings, step_readings, step_records, steps};
use crate::db::prepared::{Prepare, padded};
use crate::domain::members::Doer;
use crate::domain::plans::{PlanStep, StepKind};
use crate::domain::steps::{Record, RecordKind, Step, Taken};
use crate::units::days::Instant;
use crate::units::ids::{BatchId, ClubId, EntryId, ItemId, MemberId, ReadingId, StepRecordId};
use crate::units::measure::{Measured, ReadingKind};
use crate::units::quantity::{BaseUnit, Milli};

/// Keep the planned steps of a batch that has none yet.
pub fn add_planned(
    conn: &mut AnyConn,
    club: ClubId,
    batch: BatchId,
    planned: &[PlanStep],
) -> Result<(), Failure> {
    for (line, step) in (1_i64..).zip(planned) {
        insert(conn, club, (batch, line, line), step, None)?;
    }
    Ok(())
}

fn insert(
    conn: &mut AnyConn,
    club: ClubId,
    (batch, line, turn): (BatchId, i64, i64),
    step: &PlanStep,
    added_by: Option<MemberId>,
) -> Result<(), Failure> {
    diesel::insert_into(steps::table)
        .values((
            steps::batch_id.eq(batch),
            steps::line.eq(line),
            steps::club_id.eq(club),
            steps::turn.eq(turn),
            steps::kind.eq(step.kind),
            steps::what.eq(&step.what),
            steps::amount.eq(step.amount.map(|amount| amount.0)),
            steps::unit.eq(step.amount.map(|amount| amount.1)),
            steps::item_id.eq(step.item),
            steps::target_micro_c.eq(step.target_c),
            steps::minutes.eq(step.minutes),
            steps::caution.eq(&step.caution),
            steps::added_by.eq(added_by),
        ))
        .execute(conn)?;
    Ok(())
}

/// Add a step that was not planned after the step with the number `after`, or before all of them. Gives its number.
pub fn add_after(
    conn: &mut AnyConn,
    doer: &Doer,
    batch: BatchId,
    after: Option<i64>,
    step: &PlanStep,
) -> Result<i64, Failure> {
    let turns: Vec<(i64, i64)> = steps::table
        .filter(steps::batch_id.eq(batch).and(steps::club_id.eq(doer.club)))
        .select((steps::line, steps::turn))
        .load(conn)?;
    let line = turns.iter().map(|step| step.0).max().unwrap_or(0) + 1;
    let turn = match after {
        None => 1,
        Some(after) => turns.iter().find(|step| step.0 == after).ok_or(Failure::Gone)?.1 + 1,
    };
    diesel::update(steps::table.filter(steps::batch_id.eq(batch).and(steps::turn.ge(turn))))
        .set(steps::turn.eq(steps::turn + 1))
        .execute(conn)?;
    insert(conn, doer.club, (batch, line, turn), step, Some(doer.member))?;
    Ok(line)
}

/// The steps of a batch in their turn, with all that was recorded of them.
pub fn steps(conn: &mut AnyConn, club: ClubId, batch: BatchId) -> Result<Vec<Step>, Failure> {
    type Row = (
        (i64, StepKind, String),
        (Option<Milli>, Option<BaseUnit>),
        (Option<ItemId>, Option<String>),
        (Option<Measured>, Option<i64>, String),
        Option<String>,
    );
    let rows: Vec<Row> = steps::table
        .left_join(items::table.on(items::id.nullable().eq(steps::item_id)))
        .left_join(members::table.on(members::id.nullable().eq(steps::added_by)))
        .filter(steps::batch_id.eq(batch).and(steps::club_id.eq(club)))
        .order((steps::turn, steps::line))
        .select((
            (steps::line, steps::kind, steps::what),
            (steps::amount, steps::unit),
            (steps::item_id, items::name.nullable()),
            (steps::target_micro_c, steps::minutes, steps::caution),
            members::name.nullable(),
        ))
        .load(conn)?;
    if rows.is_empty() {
        return Ok(Vec::new());
    }
    let mut records = records(conn, club, batch)?;
    let step = |row: Row| {
        let ((line, kind, what), (amount, unit), (item, name), (target_c, minutes, caution), added_by) = row;
        let plan = PlanStep { kind, what, amount: amount.zip(unit), item, target_c, minutes, caution };
        Step { line, plan, item: name, added_by, records: records.remove(&line).unwrap_or_default() }
    };
    Ok(rows.into_iter().map(step).collect())
}

/// By the number of their step, oldest first.
fn records(conn: &mut AnyConn, club: ClubId, batch: BatchId) -> Result<HashMap<i64, Vec<Record>>, Failure> {
    type Row = (
        (StepRecordId, i64, RecordKind),
        (Option<Instant>, Option<MemberId>, Option<Instant>, Option<MemberId>),
        (Option<Measured>, Option<Milli>, Option<BaseUnit>),
        (Option<EntryId>, Option<EntryId>),
        (String, String),
        (Option<Instant>, Option<MemberId>, String),
    );
    let back = diesel::alias!(entries as back);
    let rows: Vec<Row> = step_records::table
        .left_join(back.on(back.field(entries::reverses).eq(step_records::entry_id)))
        .filter(step_records::batch_id.eq(batch).and(step_records::club_id.eq(club)))
        .order(step_records::id)
        .select((
            (step_records::id, step_records::line, step_records::kind),
            (step_records::begun_at, step_records::begun_by, step_records::done_at, step_records::done_by),
            (step_records::temperature_micro_c, step_records::amount, step_records::unit),
            (step_records::entry_id, back.field(entries::id).nullable()),
            (step_records::remark, step_records::because),
            (step_records::struck_at, step_records::struck_by, step_records::struck_because),
        ))
        .load(conn)?;
    let mut who: Vec<MemberId> = rows.iter().flat_map(|row| [row.1.1, row.1.3, row.5.1]).flatten().collect();
    who.sort_unstable();
    who.dedup();
    let names: Vec<(MemberId, String)> = members::table
        .filter(members::id.eq_any(padded(&who)))
        .select((members::id, members::name))
        .prepared()
        .load(conn)?;
    let names: HashMap<MemberId, String> = names.into_iter().collect();
    let name = |id: MemberId| names.get(&id).cloned().unwrap_or_default();
    let mut taken = taken(conn, batch)?;
    let mut found: HashMap<i64, Vec<Record>> = HashMap::new();
    for ((id, line, kind), times, (temperature_c, amount, unit), entry, words, struck) in rows {
        let (begun_at, begun_by, done_at, done_by) = times;
        let (remark, because) = words;
        let at = |at: Option<Instant>, by: Option<MemberId>| at.zip(by).map(|(at, by)| (at, name(by)));
        found.entry(line).or_default().push(Record {
            id,
            kind,
            begun: at(begun_at, begun_by),
            done: at(done_at, done_by),
            temperature_c,
            amount: amount.zip(unit),
            entry: entry.0.map(|of| (of, entry.1.is_some())),
            readings: taken.remove(&id).unwrap_or_default(),
            remark,
            because,
            struck: at(struck.0, struck.1).map(|(at, by)| (at, by, struck.2)),
        });
    }
    Ok(found)
}

fn taken(conn: &mut AnyConn, batch: BatchId) -> Result<HashMap<StepRecordId, Vec<Taken>>, Failure> {
    type Row = (StepRecordId, ReadingId, ReadingKind, Measured, Option<Instant>);
    let rows: Vec<Row> = step_readings::table
        .inner_join(step_records::table.on(step_records::id.eq(step_readings::record_id)))
        .inner_join(readings::table.on(readings::id.eq(step_readings::reading_id)))
        .filter(step_records::batch_id.eq(batch))
        .order(step_readings::reading_id)
        .select((
            step_readings::record_id,
            readings::id,
            readings::kind,
            readings::value_micro,
            readings::struck_at,
        ))
        .load(conn)?;
    let mut found: HashMap<StepRecordId, Vec<Taken>> = HashMap::new();
    for (record, reading, kind, value, struck) in rows {
        found.entry(record).or_default().push(Taken { reading, kind, value, struck: struck.is_some() });
    }
    Ok(found)
}

/// A record to be kept.
#[derive(Debug, Clone, Default)]
pub struct NewRecord {
    /// When it began, if that was said.
    pub begun_at: Option<Instant>,
    /// When it was done; none where it runs from now on.
    pub done_at: Option<Instant>,
    /// How warm it was.
    pub temperature_c: Option<Measured>,
    /// How much it was.
    pub amount: Option<(Milli, BaseUnit)>,
    /// By which entry.
    pub entry: Option<EntryId>,
    /// What was written.
    pub remark: String,
    /// Why.
    pub because: String,
}

/// Keep a record of a step.
pub fn record(
    conn: &mut AnyConn,
    doer: &Doer,
    (batch, line): (BatchId, i64),
    kind: RecordKind,
    new: &NewRecord,
) -> Result<StepRecordId, Failure> {
    let id = StepRecordId::fresh();
    diesel::insert_into(step_records::table)
        .values((
            step_records::id.eq(id),
            step_records::club_id.eq(doer.club),
            step_records::batch_id.eq(batch),
            step_records::line.eq(line),
            step_records::kind.eq(kind),
            step_records::begun_at.eq(new.begun_at),
            step_records::begun_by.eq(new.begun_at.map(|_| doer.member)),
            step_records::done_at.eq(new.done_at),
            step_records::done_by.eq(new.done_at.map(|_| doer.member)),
            step_records::temperature_micro_c.eq(new.temperature_c),
            step_records::amount.eq(new.amount.map(|amount| amount.0)),
            step_records::unit.eq(new.amount.map(|amount| amount.1)),
            step_records::entry_id.eq(new.entry),
            step_records::remark.eq(&new.remark),
            step_records::because.eq(&new.because),
            step_records::recorded_at.eq(doer.now),
            step_records::struck_because.eq(""),
        ))
        .execute(conn)?;
    Ok(id)
}

/// What was running is done.
pub fn end(conn: &mut AnyConn, doer: &Doer, id: StepRecordId, new: &NewRecord) -> Result<(), Failure> {
    diesel::update(step_records::table.filter(step_records::id.eq(id)))
        .set((
            step_records::done_at.eq(new.done_at),
            step_records::done_by.eq(Some(doer.member)),
            step_records::temperature_micro_c.eq(new.temperature_c),
            step_records::amount.eq(new.amount.map(|amount| amount.0)),
            step_records::unit.eq(new.amount.map(|amount| amount.1)),
            step_records::entry_id.eq(new.entry),
            step_records::remark.eq(&new.remark),
            step_records::because.eq(&new.because),
            step_records::recorded_at.eq(doer.now),
        ))
        .execute(conn)?;
    Ok(())
}

/// This was read off in it.
pub fn add_reading(
    conn: &mut AnyConn,
    club: ClubId,
    record: StepRecordId,
    reading: ReadingId,
) -> Result<(), Failure> {
    diesel::insert_into(step_readings::table)
        .values((
            step_readings::record_id.eq(record),
            step_readings::reading_id.eq(reading),
            step_readings::club_id.eq(club),
        ))
        .execute(conn)?;
    Ok(())
}

/// Strike a record out; it stays, with who, when and why.
pub fn strike(conn: &mut AnyConn, doer: &Doer, id: StepRecordId, because: &str) -> Result<(), Failure> {
    diesel::update(step_records::table.filter(step_records::id.eq(id)))
        .set((
            step_records::struck_at.eq(Some(doer.now)),
            step_records::struck_by.eq(Some(doer.member)),
            step_records::struck_because.eq(because),
        ))
        .execute(conn)?;
    Ok(())
}

/// Whether an entry is the doing of a step already: of a record that was not struck out.
pub fn is_of_a_step(conn: &mut AnyConn, entry: EntryId) -> Result<bool, Failure> {
    let found: i64 = step_records::table
        .filter(step_records::entry_id.eq(entry).and(step_records::struck_at.is_null()))
        .count()
        .get_result(conn)?;
    Ok(found > 0)
}

/// A step that runs.
#[derive(Debug, Clone, PartialEq, Eq, Queryable)]
pub struct Running {
    /// Its record.
    pub record: StepRecordId,
    /// Of which batch.
    pub batch: BatchId,
    /// The number of the batch.
    pub code: String,
    /// Its drink.
    pub drink: String,
    /// Which step.
    pub line: i64,
    /// What kind of step.
    pub kind: StepKind,
    /// In words.
    pub what: String,
    /// How long it should take.
    pub minutes: Option<i64>,
    /// When it began.
    pub begun_at: Option<Instant>,
}

impl Running {
    /// When it is over.
    pub fn ends_at(&self) -> Option<Instant> {
        Some(self.begun_at? + chrono::Duration::minutes(self.minutes?))
    }
}

/// The steps that run in a club, the first begun first.
pub fn running(conn: &mut AnyConn, club: ClubId, limit: i64) -> Result<Vec<Running>, Failure> {
    Ok(step_records::table
        .inner_join(
            steps::table
                .on(steps::batch_id.eq(step_records::batch_id).and(steps::line.eq(step_records::line))),
        )
        .inner_join(batches::table.on(batches::id.eq(step_records::batch_id)))
        .filter(step_records::club_id.eq(club).and(step_records::done_at.is_null()))
        .filter(step_records::struck_at.is_null())
        .order((step_records::begun_at, step_records::id))
        .limit(limit)
        .select((
            step_records::id,
            batches::id,
            batches::code,
            batches::name,
            steps::line,
            steps::kind,
            steps::what,
            steps::minutes,
            step_records::begun_at,
        ))
        .load(conn)?)
}

/// Which of these batches have steps that are still to be done.
pub fn being_made(conn: &mut AnyConn, of: &[BatchId]) -> Result<Vec<BatchId>, Failure> {
    Ok(steps::table
        .filter(steps::batch_id.eq_any(padded(of)))
        .select(steps::batch_id)
        .distinct()
        .prepared()
        .load(conn)?)
}
