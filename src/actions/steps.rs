//! The steps of a batch: begun, done, left out, remarked, corrected, added; on their own, or by an entry in the books.

use serde::{Deserialize, Serialize};

use super::batches::{NewReading, Recorded, drawn, keep_reading, recorded, weighed_off};
use super::once::{RequestKey, once};
use super::vessels::{Into, rack_in, transfer_in};
use super::{Done, cautions, or_missing};
use crate::db::steps::{self as rows, NewRecord};
use crate::db::{AnyConn, Database, Failure, batches, books, cautions as dangers};
use crate::domain::batches::{ByProduct, Draw, Racking, Transfer};
use crate::domain::cautions::{Facts, Reasons, for_step};
use crate::domain::members::{Cellarhand, Doer};
use crate::domain::plans::{MOST_STEPS, PlanStep, StepKind};
use crate::domain::refusal::Refusal;
use crate::domain::steps::{Act, RecordKind, State, Step, clock, in_turn, still_ahead};
use crate::units::days::Instant;
use crate::units::ids::{BatchId, EntryId, LotId, StepRecordId};
use crate::units::measure::Measured;
use crate::units::quantity::{BaseUnit, Milli};

/// Which step.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
pub struct Which {
    /// Of which batch.
    pub batch: BatchId,
    /// Its number there.
    pub line: i64,
}

/// A batch that goes on, with its steps.
fn steps_of(conn: &mut AnyConn, doer: &Doer, batch: BatchId) -> Done<Vec<Step>> {
    let found = or_missing(batches::batch(conn, doer.club, batch), "", "batch")?;
    if found.stage.ended() {
        let (code, stage) = (found.code, found.stage.label());
        return Err(
            Refusal::conflict("", format!("Batch {code} is {stage}: nothing more is done to it")).into()
        );
    }
    Ok(rows::steps(conn, doer.club, batch)?)
}

fn of_line(steps: &[Step], line: i64) -> Done<&Step> {
    let found = steps.iter().find(|step| step.line == line).ok_or(Failure::Gone);
    or_missing(found, "", "step")
}

/// A step that is still ahead, in its turn or knowingly out of it.
fn ahead<'s>(doer: &Doer, steps: &'s [Step], line: i64, out_of_order: bool) -> Done<&'s Step> {
    let step = of_line(steps, line)?;
    still_ahead(step, doer.zone, doer.today())?;
    // What runs was begun in its turn, or knowingly out of it.
    if !matches!(step.state(), State::Running(_)) {
        in_turn(steps, line, out_of_order)?;
    }
    Ok(step)
}

/// What is known of a batch when this step is done: how warm it was measured, else how warm it should be; how long milk
/// stands out of the cold by it.
pub fn facts_at(facts: Facts, step: &Step, measured: Option<Measured>) -> Facts {
    let stands = matches!(step.plan.kind, StepKind::Curdle | StepKind::SplitLactose | StepKind::Hold);
    // Two years of minutes are a number without loss.
    #[allow(clippy::cast_precision_loss, reason = "a step takes two years at most")]
    let hours = step.plan.minutes.filter(|_| stands).map(|minutes| minutes as f64 / 60.0);
    let volume = step.plan.amount.filter(|amount| amount.1 == BaseUnit::Millilitre).map(|amount| amount.0);
    Facts {
        liquid_c: measured.or(step.plan.target_c).map(Measured::number).or(facts.liquid_c),
        standing_hours: hours.or(facts.standing_hours),
        volume: facts.volume.or(volume),
        ..facts
    }
}

/// Refuses to go on at a danger without a reason; keeps the reasons that were given.
fn mind(
    conn: &mut AnyConn,
    doer: &Doer,
    (batch, entry): (BatchId, Option<EntryId>),
    (step, measured): (&Step, Option<Measured>),
    reasons: &Reasons,
) -> Done<()> {
    let facts = facts_at(dangers::facts(conn, doer, batch)?, step, measured);
    cautions::go_on(conn, doer, (batch, entry), &for_step(step.plan.kind, &facts), reasons)
}

/// A step that begins and takes a while.
#[derive(Debug, Clone, Serialize, Deserialize)]
pub struct Beginning {
    /// Which.
    pub step: Which,
    /// When; none is now.
    pub at: Option<Instant>,
    /// Although others before it are not done.
    pub out_of_order: bool,
    /// Why one goes on in spite of a danger.
    pub reasons: Reasons,
}

/// Begin a step: it runs until it is said to be done.
pub async fn begin(
    db: &Database,
    by: &Cellarhand,
    key: Option<RequestKey>,
    order: Beginning,
) -> Done<StepRecordId> {
    once(db, by, key, "begin step", order, |conn, doer, order| {
        let Which { batch, line } = order.step;
        let steps = steps_of(conn, doer, batch)?;
        let step = ahead(doer, &steps, line, order.out_of_order)?;
        if let State::Running(record) = step.state() {
            let (at, who) = record.begun.clone().unwrap_or_default();
            let at = clock(at, doer.zone, doer.today());
            return Err(
                Refusal::conflict("", format!("{who} began this step at {at}; it runs since then")).into()
            );
        }
        mind(conn, doer, (batch, None), (step, None), &order.reasons)?;
        let new = NewRecord { begun_at: Some(order.at.unwrap_or(doer.now)), ..NewRecord::default() };
        Ok(rows::record(conn, doer, (batch, line), RecordKind::Done, &new)?)
    })
    .await
}

/// A step that was done.
#[derive(Debug, Clone, Serialize, Deserialize)]
pub struct Doing {
    /// Which.
    pub step: Which,
    /// When it began, where that was not recorded.
    pub begun_at: Option<Instant>,
    /// When it was done; none is now.
    pub at: Option<Instant>,
    /// How warm it was.
    pub temperature_c: Option<Measured>,
    /// How much it was.
    pub amount: Option<(Milli, BaseUnit)>,
    /// What was read off; the time is that of the step.
    pub readings: Vec<NewReading>,
    /// The entry by which it was done, where that is in the books already.
    pub entry: Option<EntryId>,
    /// A remark.
    pub remark: String,
    /// Although others before it are not done.
    pub out_of_order: bool,
    /// Why one went on in spite of a danger.
    pub reasons: Reasons,
}

/// Record that a step was done.
pub async fn done(
    db: &Database,
    by: &Cellarhand,
    key: Option<RequestKey>,
    order: Doing,
) -> Done<StepRecordId> {
    once(db, by, key, "step", order, |conn, doer, order| {
        let Which { batch, line } = order.step;
        let steps = steps_of(conn, doer, batch)?;
        let step = ahead(doer, &steps, line, order.out_of_order)?;
        if let Some(entry) = order.entry {
            is_its_entry(conn, doer, batch, step, entry)?;
        }
        // What runs was gone on with when it began.
        if !matches!(step.state(), State::Running(_)) {
            mind(conn, doer, (batch, order.entry), (step, order.temperature_c), &order.reasons)?;
        }
        let new = NewRecord {
            begun_at: order.begun_at,
            done_at: Some(order.at.unwrap_or(doer.now)),
            temperature_c: order.temperature_c,
            amount: order.amount,
            entry: order.entry,
            remark: order.remark.clone(),
            because: String::new(),
        };
        let id = keep(conn, doer, order.step, step, &new)?;
        for reading in &order.readings {
            let reading = NewReading { at: new.done_at.unwrap_or(doer.now), ..reading.clone() };
            let read = keep_reading(conn, doer, &reading)?;
            rows::add_reading(conn, doer.club, id, read.id)?;
        }
        Ok(id)
    })
    .await
}

/// Ends what runs, or keeps a new record.
fn keep(conn: &mut AnyConn, doer: &Doer, which: Which, step: &Step, new: &NewRecord) -> Done<StepRecordId> {
    let running = match step.state() {
        State::Running(record) => Some(record),
        _ => None,
    };
    let begun = running.and_then(|record| record.begun.as_ref()).map(|begun| begun.0).or(new.begun_at);
    if let (Some(begun), Some(done)) = (begun, new.done_at)
        && done < begun
    {
        let from = clock(begun, doer.zone, doer.today());
        return Err(
            Refusal::unfit("at", format!("It began at {from}; write that time or a later one")).into()
        );
    }
    if let Some(record) = running {
        // The entry with which it began stays its entry.
        let entry = new.entry.or(record.entry.map(|entry| entry.0));
        rows::end(conn, doer, record.id, &NewRecord { entry, ..new.clone() })?;
        return Ok(record.id);
    }
    Ok(rows::record(conn, doer, (which.batch, which.line), RecordKind::Done, new)?)
}

/// Refuses an entry that cannot have been this step.
fn is_its_entry(conn: &mut AnyConn, doer: &Doer, batch: BatchId, step: &Step, entry: EntryId) -> Done<()> {
    let recorded = or_missing(books::recorded(conn, doer.club, entry), "entry", "entry")?;
    let wrong = |why: &str| Err(Refusal::unfit("entry", why).into());
    if recorded.batch != Some(batch) {
        return wrong("This entry is of another batch; choose one of this batch");
    }
    if recorded.reversed_by.is_some() {
        return wrong("This entry was reversed; choose one that stands");
    }
    if step.act().entry() != Some(recorded.kind) {
        return wrong("An entry of this kind is not what this step does; choose another");
    }
    if rows::is_of_a_step(conn, entry)? {
        return wrong("This entry did another step already; choose another");
    }
    Ok(())
}

/// What a step did in the books.
#[derive(Debug, Clone, Serialize, Deserialize)]
pub enum Deed {
    /// Supplies were drawn, or the yeast pitched.
    Draw(Draw),
    /// A by-product was weighed off.
    ByProduct(ByProduct),
    /// It was racked, perhaps into another vessel.
    Rack(Racking, Option<Into>),
    /// It was split, or blended into another, perhaps into a vessel.
    Transfer(Transfer, Option<Into>),
}

/// That an entry does a step.
#[derive(Debug, Clone, Serialize, Deserialize)]
pub struct Mark {
    /// The number of the step.
    pub line: i64,
    /// Although others before it are not done.
    pub out_of_order: bool,
    /// Why one goes on in spite of a danger.
    pub reasons: Reasons,
}

/// An entry by which a step is done.
#[derive(Debug, Clone, Serialize, Deserialize)]
pub struct ByEntry {
    /// Of which batch.
    pub batch: BatchId,
    /// What is recorded.
    pub deed: Deed,
    /// Which step it does.
    pub mark: Mark,
}

/// What such an entry made.
#[derive(Debug, Clone, Serialize, Deserialize)]
pub struct Booked {
    /// The entry, and how the batch stood then.
    pub recorded: Recorded,
    /// The batch it went into, of a split or blend.
    pub into: Option<BatchId>,
    /// The lot of a by-product, with its code.
    pub lot: Option<(LotId, String)>,
}

/// Record an entry and with it the step that it does: both or neither.
pub async fn by_entry(
    db: &Database,
    by: &Cellarhand,
    key: Option<RequestKey>,
    order: ByEntry,
) -> Done<Booked> {
    once(db, by, key, "step by entry", order, |conn, doer, order| {
        let ByEntry { batch, mark, deed } = order;
        let (batch, line) = (*batch, mark.line);
        let steps = steps_of(conn, doer, batch)?;
        let step = ahead(doer, &steps, line, mark.out_of_order).map_err(|error| match error {
            super::Error::Refused(refusal) if refusal.why == crate::domain::refusal::Why::Missing => {
                Refusal::unfit("step", "There is no such step in this batch").into()
            }
            other => other,
        })?;
        let kind = step.act();
        if let State::Running(record) = step.state()
            && let Some((entry, _)) = record.entry
        {
            let (_, who) = record.begun.clone().unwrap_or_default();
            let said = format!(
                "{who} began this step with an entry; say that it is over, or draw more without the step"
            );
            return Err(Refusal::conflict("", said).because_of(vec![entry]).into());
        }
        // The reasons are those of the step: the form has each field once.
        let vessel =
            |into: &Option<Into>| into.clone().map(|into| Into { reasons: mark.reasons.clone(), ..into });
        let (booked, remark) = match deed {
            Deed::Draw(draw) if kind == if draw.pitch { Act::Pitch } else { Act::Draw } => {
                let entry = drawn(conn, doer, draw)?;
                (booked(conn, doer, batch, entry)?, &draw.remark)
            }
            Deed::ByProduct(off) if kind == Act::ByProduct => {
                let made = weighed_off(conn, doer, off)?;
                (
                    Booked { lot: Some((made.lot, made.code)), ..booked(conn, doer, batch, made.entry)? },
                    &off.remark,
                )
            }
            Deed::Rack(racking, into) if kind == Act::Rack => {
                let entry = rack_in(conn, doer, racking, vessel(into).as_ref())?;
                (booked(conn, doer, batch, entry)?, &racking.remark)
            }
            Deed::Transfer(transfer, into)
                if kind == if transfer.into.is_some() { Act::Blend } else { Act::Split } =>
            {
                let made = transfer_in(conn, doer, transfer, vessel(into).as_ref())?;
                (Booked { into: Some(made.into), ..booked(conn, doer, batch, made.entry)? }, &transfer.remark)
            }
            _ => return Err(Refusal::unfit("step", "This step is not done by an entry of this kind").into()),
        };
        if !matches!(step.state(), State::Running(_)) {
            mind(conn, doer, (batch, Some(booked.recorded.entry)), (step, None), &mark.reasons)?;
        }
        // What takes a while begins with its entry and runs from then on: rennet sets, an enzyme works.
        let runs = step.takes_time() && step.state() == State::Open;
        let new = NewRecord {
            begun_at: runs.then_some(doer.now),
            done_at: (!runs).then_some(doer.now),
            entry: Some(booked.recorded.entry),
            remark: remark.clone(),
            ..NewRecord::default()
        };
        keep(conn, doer, Which { batch, line }, step, &new)?;
        Ok(booked)
    })
    .await
}

fn booked(conn: &mut AnyConn, doer: &Doer, batch: BatchId, entry: EntryId) -> Done<Booked> {
    Ok(Booked { recorded: recorded(conn, doer, batch, entry)?, into: None, lot: None })
}

/// Words about a step: why it is left out, or a remark.
#[derive(Debug, Clone, Serialize, Deserialize)]
pub struct Words {
    /// Which.
    pub step: Which,
    /// What was written.
    pub words: String,
}

/// Leave a step out.
pub async fn leave_out(
    db: &Database,
    by: &Cellarhand,
    key: Option<RequestKey>,
    order: Words,
) -> Done<StepRecordId> {
    once(db, by, key, "leave step out", order, |conn, doer, order| {
        let Which { batch, line } = order.step;
        let steps = steps_of(conn, doer, batch)?;
        let step = of_line(&steps, line)?;
        still_ahead(step, doer.zone, doer.today())?;
        if let State::Running(record) = step.state() {
            // What ran is not lost: it is struck out with the reason.
            rows::strike(conn, doer, record.id, &order.words)?;
        }
        let (done_at, because) = (Some(doer.now), order.words.clone());
        let new = NewRecord { done_at, because, ..NewRecord::default() };
        Ok(rows::record(conn, doer, (batch, line), RecordKind::LeftOut, &new)?)
    })
    .await
}

/// Remark something on a step, whatever became of it.
pub async fn remark(
    db: &Database,
    by: &Cellarhand,
    key: Option<RequestKey>,
    order: Words,
) -> Done<StepRecordId> {
    once(db, by, key, "remark on step", order, |conn, doer, order| {
        let Which { batch, line } = order.step;
        or_missing(batches::named(conn, doer.club, batch), "", "batch")?;
        of_line(&rows::steps(conn, doer.club, batch)?, line)?;
        let (done_at, remark) = (Some(doer.now), order.words.clone());
        let new = NewRecord { done_at, remark, ..NewRecord::default() };
        Ok(rows::record(conn, doer, (batch, line), RecordKind::Remark, &new)?)
    })
    .await
}

/// A record that was wrong.
#[derive(Debug, Clone, Serialize, Deserialize)]
pub struct Strike {
    /// Of which step.
    pub step: Which,
    /// Which record.
    pub record: StepRecordId,
    /// Why.
    pub reason: String,
}

/// Strike a record out, with the readings that were taken: it stays in the history, and the step is as it was before.
pub async fn strike(
    db: &Database,
    by: &Cellarhand,
    key: Option<RequestKey>,
    order: Strike,
) -> Done<StepRecordId> {
    once(db, by, key, "strike step", order, |conn, doer, order| {
        let Which { batch, line } = order.step;
        let steps = steps_of(conn, doer, batch)?;
        let step = of_line(&steps, line)?;
        let found = step.records.iter().find(|record| record.id == order.record).ok_or(Failure::Gone);
        let record = or_missing(found, "", "record")?;
        if record.struck.is_some() {
            return Err(Refusal::conflict("", "This was struck out already").into());
        }
        if let Some((entry, false)) = record.entry {
            let said = "An entry in the books did this step: reverse that entry, and the step is open again";
            return Err(Refusal::conflict("", said).because_of(vec![entry]).into());
        }
        rows::strike(conn, doer, record.id, &order.reason)?;
        for taken in record.readings.iter().filter(|taken| !taken.struck) {
            batches::strike(conn, doer.club, taken.reading, doer.member, doer.now, &order.reason)?;
        }
        Ok(record.id)
    })
    .await
}

/// A step that was not planned.
#[derive(Debug, Clone, Serialize, Deserialize)]
pub struct Adding {
    /// To which batch.
    pub batch: BatchId,
    /// After which step; none puts it first.
    pub after: Option<i64>,
    /// What is to be done.
    pub step: PlanStep,
}

/// Add a step to a batch. Gives its number.
pub async fn add(db: &Database, by: &Cellarhand, key: Option<RequestKey>, order: Adding) -> Done<i64> {
    once(db, by, key, "add step", order, |conn, doer, order| {
        let steps = steps_of(conn, doer, order.batch)?;
        if steps.len() >= MOST_STEPS {
            return Err(Refusal::conflict("", format!("A batch has at most {MOST_STEPS} steps")).into());
        }
        if let Some(item) = order.step.item {
            or_missing(crate::db::stock::item(conn, doer.club, item), "item", "item")?;
        }
        let line = rows::add_after(conn, doer, order.batch, order.after, &order.step);
        or_missing(line, "after", "step")
    })
    .await
}
