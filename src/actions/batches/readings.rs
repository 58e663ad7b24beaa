//! Reading an instrument, sending what a sensor measured, striking a reading out, and reading it again.

use std::collections::HashSet;

use serde::{Deserialize, Serialize};

use crate::actions::once::{RequestKey, once};
use crate::actions::{Done, Error, or_missing};
use crate::db::batches::{self as rows, Batch, Reading};
use crate::db::{AnyConn, Database, Failure, instruments, reminders};
use crate::domain::batches::readings::{Around, Seen, asked, doubt};
use crate::domain::books::EntryKind;
use crate::domain::instruments::{Instrument, corrected};
use crate::domain::members::{Cellarhand, Doer};
use crate::domain::refusal::Refusal;
use crate::units::days::Instant;
use crate::units::ids::{BatchId, InstrumentId, ReadingId};
use crate::units::measure::{Measured, ReadingKind};

/// A value read off an instrument.
#[derive(Debug, Clone, Serialize, Deserialize)]
pub struct NewReading {
    /// Of which batch.
    pub batch: BatchId,
    /// When.
    pub at: Instant,
    /// What.
    pub kind: ReadingKind,
    /// As read.
    pub value: Measured,
    /// The temperature of the sample, °C, where the instrument minds.
    pub sample_c: Option<Measured>,
    /// The instrument of the club it was read off.
    pub instrument: Option<InstrumentId>,
    /// It is meant, however unlikely.
    pub as_read: bool,
    /// A remark.
    pub remark: String,
}

/// What a reading became.
#[derive(Debug, Clone, Serialize, Deserialize)]
pub struct Read {
    /// Which.
    pub id: ReadingId,
    /// Corrected for its instrument, and to 20 °C.
    pub value: Measured,
    /// What to know about the correction.
    pub warning: Option<String>,
}

/// Record what was read off one instrument; a gravity is corrected from the temperature of its sample to 20 °C.
pub async fn record_reading(
    db: &Database,
    by: &Cellarhand,
    key: Option<RequestKey>,
    reading: NewReading,
) -> Done<Read> {
    let read = record_readings(db, by, key, vec![reading]).await;
    let mut read = read.map_err(|error| match error {
        Error::Refused(mut refusal) => {
            for fault in &mut refusal.faults {
                let own = fault.field.strip_prefix("readings.0").unwrap_or(&fault.field);
                fault.field = own.trim_start_matches('.').to_owned();
            }
            refusal.into()
        }
        failed @ Error::Failed(_) => failed,
    })?;
    read.pop().ok_or_else(|| Failure::Fault("a reading was not kept".to_owned()).into())
}

/// Record what was read off several instruments at once: all of it or nothing. What is unlikely is asked about first.
/// What is wrong is said at `readings.0.value` and the like.
pub async fn record_readings(
    db: &Database,
    by: &Cellarhand,
    key: Option<RequestKey>,
    readings: Vec<NewReading>,
) -> Done<Vec<Read>> {
    once(db, by, key, "readings", readings, |conn, doer, readings| {
        let mut rows = Vec::new();
        for (at, reading) in readings.iter().enumerate() {
            open_batch(conn, doer, reading.batch)?;
            rows.push(prepared(conn, doer, reading, "").map_err(|error| of_line(error, at))?);
        }
        ask(conn, doer, readings, &rows, |at| format!("readings.{at}.value"))?;
        rows.into_iter().zip(readings).map(|(row, reading)| keep(conn, doer, reading.batch, row)).collect()
    })
    .await
}

/// What is wrong with one of several readings is said at that one.
fn of_line(error: Error, at: usize) -> Error {
    match error {
        Error::Refused(refusal) => refusal.under(&format!("readings.{at}")).into(),
        failed @ Error::Failed(_) => failed,
    }
}

/// A reading with its corrections, not kept yet.
struct Prepared {
    row: Reading,
    warning: Option<String>,
}

impl Prepared {
    /// What is told of it once it is kept.
    fn told(&self) -> Read {
        Read { id: self.row.id, value: self.row.value, warning: self.warning.clone() }
    }
}

fn open_batch(conn: &mut AnyConn, doer: &Doer, id: BatchId) -> Done<Batch> {
    let batch = or_missing(rows::batch(conn, doer.club, id), "", "batch")?;
    if batch.stage.ended() {
        let stage = batch.stage.label();
        return Err(Refusal::conflict("", format!("Batch {} is {stage}", batch.code)).into());
    }
    Ok(batch)
}

fn prepared(conn: &mut AnyConn, doer: &Doer, reading: &NewReading, source: &str) -> Done<Prepared> {
    let batch = open_batch(conn, doer, reading.batch)?;
    let instrument = match reading.instrument {
        Some(id) => Some(read_off(conn, doer, id, reading.kind)?),
        None => None,
    };
    if reading.kind == ReadingKind::Brix && batch.pitched_on.is_some() {
        return Err(Refusal::conflict(
            "kind",
            "A refractometer reads alcohol as sugar: once the yeast is in, use a hydrometer",
        )
        .into());
    }
    let (value, warning) = corrected(reading.kind, reading.value, reading.sample_c, instrument.as_ref())?;
    let warning = warning.or_else(|| instrument.as_ref().and_then(|found| found.stale(doer.today())));
    let row = Reading {
        id: ReadingId::fresh(),
        at: reading.at,
        kind: reading.kind,
        read: reading.value,
        sample_c: reading.sample_c,
        value,
        instrument: reading.instrument.map(|id| (id, String::new())),
        import: None,
        source: source.to_owned(),
        remark: reading.remark.clone(),
        by: String::new(),
        struck: None,
    };
    Ok(Prepared { row, warning })
}

/// The instrument, which must read this kind of value.
fn read_off(conn: &mut AnyConn, doer: &Doer, id: InstrumentId, kind: ReadingKind) -> Done<Instrument> {
    let found = or_missing(instruments::instrument(conn, doer.club, id), "instrument", "instrument")?;
    if found.instrument.kind.reads() == kind {
        return Ok(found.instrument);
    }
    let (label, (name, _)) = (found.instrument.kind.label().to_lowercase(), kind.label());
    Err(Refusal::unfit("instrument", format!("A {label} does not read this: {name}; choose another one"))
        .into())
}

/// Asks about what is unlikely, unless it was said that it is meant.
fn ask(
    conn: &mut AnyConn,
    doer: &Doer,
    readings: &[NewReading],
    rows: &[Prepared],
    field: impl Fn(usize) -> String,
) -> Done<()> {
    let mut doubts = Vec::new();
    for (at, (reading, prepared)) in readings.iter().zip(rows).enumerate().filter(|(_, one)| !one.0.as_read) {
        let around = around(conn, doer, reading)?;
        let seen = Seen { kind: reading.kind, at: reading.at, value: prepared.row.value };
        doubts.extend(doubt(seen, &around, doer.zone).map(|words| (field(at), words)));
    }
    Ok(asked(doubts)?)
}

fn around(conn: &mut AnyConn, doer: &Doer, reading: &NewReading) -> Done<Around> {
    let id = reading.batch;
    let story = rows::story(conn, doer.club, id)?;
    let moved = rows::moves(conn, id)?;
    let comes =
        |kind| matches!(kind, EntryKind::Draw | EntryKind::Pitch | EntryKind::Split | EntryKind::Blend);
    let added = moved.iter().filter(|line| comes(line.kind) && line.volume.get() >= 0);
    let cellar = rows::cellar_temperature(conn, doer.club, reading.at)?;
    Ok(Around {
        gravity_before: rows::last_of(conn, id, ReadingKind::Gravity, Some(reading.at))?,
        added_on: added.map(|line| line.day).max(),
        pitched: moved.iter().any(|line| line.kind == EntryKind::Pitch || line.from_another()),
        dairy: story.dairy(),
        must_sg: story.must_gravity(),
        litres: story.left.base() / 1000.0,
        cellar_c: cellar.map(|(low, high)| (low.number(), high.number())),
    })
}

/// Keeps a reading that belongs to something else that is recorded; nothing is asked.
pub(in crate::actions) fn keep_reading(conn: &mut AnyConn, doer: &Doer, reading: &NewReading) -> Done<Read> {
    let row = prepared(conn, doer, reading, "")?;
    keep(conn, doer, reading.batch, row)
}

fn keep(conn: &mut AnyConn, doer: &Doer, batch: BatchId, prepared: Prepared) -> Done<Read> {
    let read = prepared.told();
    keep_rows(conn, doer, batch, &[prepared.row])?;
    Ok(read)
}

fn keep_rows(conn: &mut AnyConn, doer: &Doer, batch: BatchId, rows: &[Reading]) -> Done<()> {
    rows::add_readings(conn, doer.club, batch, doer.member, doer.now, rows)?;
    Ok(reminders::settle_readings(conn, batch, doer.member, doer.now)?)
}

/// What a sensor or a program measured of one batch.
#[derive(Debug, Clone, Serialize, Deserialize)]
pub struct Sent {
    /// Of which batch.
    pub batch: BatchId,
    /// What it calls itself: the same value of the same source is kept once.
    pub source: String,
    /// What it measured.
    pub readings: Vec<NewReading>,
}

/// Record what a source sent: what it has sent before counts once. Nothing is asked: a sensor cannot answer. The second
/// value is how many were known.
pub async fn send_readings(
    db: &Database,
    by: &Cellarhand,
    key: Option<RequestKey>,
    sent: Sent,
) -> Done<(Vec<Read>, usize)> {
    once(db, by, key, "sent readings", sent, |conn, doer, sent| {
        open_batch(conn, doer, sent.batch)?;
        let ends = span(sent.readings.iter().map(|reading| reading.at));
        let known = rows::given_by(conn, sent.batch, &sent.source, ends)?;
        let mut known: HashSet<(ReadingKind, Instant)> = known.into_iter().collect();
        let (mut new, mut kept) = (Vec::new(), Vec::new());
        for (at, reading) in sent.readings.iter().enumerate() {
            if known.insert((reading.kind, reading.at)) {
                let row = prepared(conn, doer, reading, &sent.source).map_err(|error| of_line(error, at))?;
                kept.push(row.told());
                new.push(row.row);
            }
        }
        keep_rows(conn, doer, sent.batch, &new)?;
        let before = sent.readings.len() - kept.len();
        Ok((kept, before))
    })
    .await
}

/// The first and the last of some instants.
pub(super) fn span(of: impl Iterator<Item = Instant> + Clone) -> (Instant, Instant) {
    (of.clone().min().unwrap_or_default(), of.max().unwrap_or_default())
}

/// A reading that was wrong.
#[derive(Debug, Clone, Serialize, Deserialize)]
pub struct Strike {
    /// Which.
    pub reading: ReadingId,
    /// Why.
    pub reason: String,
}

/// Strike a reading out: it stays in the record and no longer counts.
pub async fn strike_reading(
    db: &Database,
    by: &Cellarhand,
    key: Option<RequestKey>,
    order: Strike,
) -> Done<BatchId> {
    once(db, by, key, "strike", order, |conn, doer, order| struck(conn, doer, order.reading, &order.reason))
        .await
}

fn struck(conn: &mut AnyConn, doer: &Doer, reading: ReadingId, reason: &str) -> Done<BatchId> {
    let struck = rows::strike(conn, doer.club, reading, doer.member, doer.now, reason);
    match or_missing(struck, "", "reading")? {
        (batch, true) => Ok(batch),
        (_, false) => Err(Refusal::conflict("", "This reading has been struck out already").into()),
    }
}

/// A reading that was wrong, and what it should have been.
#[derive(Debug, Clone, Serialize, Deserialize)]
pub struct Correction {
    /// Which.
    pub reading: ReadingId,
    /// Why.
    pub reason: String,
    /// What it is instead; its batch, its kind and its instrument are those of the one that is struck out.
    pub value: Measured,
    /// When it was read; as before where nothing is said.
    pub at: Option<Instant>,
    /// The temperature of the sample, °C.
    pub sample_c: Option<Measured>,
    /// It is meant, however unlikely.
    pub as_read: bool,
}

/// Strike a reading out and record it anew, in one go.
pub async fn correct_reading(
    db: &Database,
    by: &Cellarhand,
    key: Option<RequestKey>,
    order: Correction,
) -> Done<(BatchId, Read)> {
    once(db, by, key, "correction", order, |conn, doer, order| {
        let (batch, old) = or_missing(rows::reading(conn, doer.club, order.reading), "", "reading")?;
        let reading = NewReading {
            batch,
            at: order.at.unwrap_or(old.at),
            kind: old.kind,
            value: order.value,
            sample_c: order.sample_c,
            instrument: old.instrument.map(|one| one.0),
            as_read: order.as_read,
            remark: old.remark,
        };
        // First struck out, so that it is not compared with itself.
        let because = format!("Read again as {}: {}", order.value.shown(old.kind), order.reason);
        struck(conn, doer, order.reading, &because)?;
        let row = prepared(conn, doer, &reading, "")?;
        ask(conn, doer, std::slice::from_ref(&reading), std::slice::from_ref(&row), |_| "value".to_owned())?;
        Ok((batch, keep(conn, doer, batch, row)?))
    })
    .await
}
