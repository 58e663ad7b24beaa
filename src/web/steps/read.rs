//! From what was typed of a step to the commands of `actions`, the same for pages and API.

use crate::actions::batches::NewReading;
use crate::actions::steps::{Adding, Beginning, Doing, Mark, Strike, Which, Words};
use crate::db::stock::Units;
use crate::domain::members::Doer;
use crate::domain::refusal::Refusal;
use crate::domain::steps::{Act, OUT_OF_ORDER, Step};
use crate::units::ids::{BatchId, EntryId, StepRecordId};
use crate::units::measure::ReadingKind;
use crate::web::cautions;
use crate::web::input::{Draft, Reader};
use crate::web::recipes::read::{plan_step, read_amount};

/// A step that begins.
pub fn beginning(draft: &Draft, doer: &Doer, step: Which) -> Result<Beginning, Refusal> {
    draft.read(doer, |r| Beginning {
        step,
        at: r.optional_instant("at"),
        out_of_order: r.flag(OUT_OF_ORDER),
        reasons: cautions::reasons(r),
    })
}

/// A step that was done.
pub fn doing(
    draft: &Draft,
    doer: &Doer,
    batch: BatchId,
    step: &Step,
    units: &Units,
) -> Result<Doing, Refusal> {
    draft.read(doer, |r| {
        let begun_at = r.optional_instant("begun_at");
        let at = r.optional_instant("at");
        if let (Some(begun), Some(at)) = (begun_at, at)
            && at < begun
        {
            r.fault("at", "Write a time after its beginning");
        }
        let unit = step.plan.item.and_then(|item| units.of_item(item)).or(step.plan.amount.map(|of| of.1));
        let amount = match unit {
            Some(unit) => r.optional_quantity("amount", unit).map(|amount| (amount, unit)),
            None => r.optional("amount", read_amount),
        };
        let entry: Option<EntryId> = r.optional_id("entry", "entry");
        let read = step.act() == Act::Read;
        let readings = if read { readings(r, batch) } else { Vec::new() };
        let temperature_c =
            if read { None } else { r.optional_measured("temperature", ReadingKind::Temperature) };
        Doing {
            step: Which { batch, line: step.line },
            begun_at,
            at,
            temperature_c,
            amount,
            readings,
            entry,
            remark: r.remark("remark"),
            out_of_order: r.flag(OUT_OF_ORDER),
            reasons: cautions::reasons(r),
        }
    })
}

/// What was read off; the time is that of the step.
fn readings(r: &mut Reader, batch: BatchId) -> Vec<NewReading> {
    let sample_c = r.optional_measured("sample_temperature_c", ReadingKind::Temperature);
    // The time of a reading is that of the step; until that is known, the same for every sending of the form.
    let at = chrono::DateTime::UNIX_EPOCH.naive_utc();
    let mut found = Vec::new();
    for kind in ReadingKind::ALL {
        if let Some(value) = r.optional_measured(kind.code(), kind) {
            let minds = matches!(kind, ReadingKind::Gravity | ReadingKind::Brix);
            let sample_c = sample_c.filter(|_| minds);
            found.push(NewReading {
                batch,
                at,
                kind,
                value,
                sample_c,
                instrument: None,
                as_read: true,
                remark: String::new(),
            });
        }
    }
    if found.is_empty() {
        r.fault("gravity", "Write at least one value");
    }
    found
}

/// Why a step is left out.
pub fn leaving_out(draft: &Draft, doer: &Doer, step: Which) -> Result<Words, Refusal> {
    draft.read(doer, |r| Words { step, words: r.line("reason", 300, "why it is left out") })
}

/// A remark on a step.
pub fn remark(draft: &Draft, doer: &Doer, step: Which) -> Result<Words, Refusal> {
    draft.read(doer, |r| {
        let words = r.remark("remark");
        if words.is_empty() {
            r.fault("remark", "Write what should be known");
        }
        Words { step, words }
    })
}

/// A record that was wrong.
pub fn strike(draft: &Draft, doer: &Doer, step: Which, record: StepRecordId) -> Result<Strike, Refusal> {
    draft.read(doer, |r| Strike { step, record, reason: r.line("reason", 300, "why it is struck out") })
}

/// A step that was not planned.
pub fn adding(draft: &Draft, doer: &Doer, batch: BatchId, units: &Units) -> Result<Adding, Refusal> {
    draft.read(doer, |r| Adding {
        batch,
        after: r.optional_whole("after", 1..=100_000).map(i64::from),
        step: plan_step(r, units),
    })
}

/// Which step an entry does, with the reasons for going on: taken out of what was sent, so that the rest is read as if
/// it did none.
pub fn mark(draft: &mut Draft, doer: &Doer) -> Result<Option<Mark>, Refusal> {
    if draft.typed("step").is_none_or(|text| text.trim().is_empty()) {
        // A page sends the field empty where no step is meant.
        draft.part(&["step", OUT_OF_ORDER]);
        return Ok(None);
    }
    draft.part(&["step", OUT_OF_ORDER, "reasons"]).read(doer, |r| {
        Some(Mark {
            line: i64::from(r.whole("step", 1..=100_000)),
            out_of_order: r.flag(OUT_OF_ORDER),
            reasons: cautions::reasons(r),
        })
    })
}
