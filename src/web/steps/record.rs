//! What is sent about a step. Who comes second learns who was first, and what they typed is offered as a remark.

use super::{Found, StepPage, begin_form, find, leave_out_form, page, read, record_form, remark_form};
use crate::actions::Done;
use crate::actions::steps::{self as acts, Which};
use crate::domain::members::Cellarhand;
use crate::domain::refusal::Refusal;
use crate::domain::steps::{OUT_OF_ORDER, Step};
use crate::units::ids::{BatchId, StepRecordId};
use crate::web::body::Form;
use crate::web::extract::Path;
use crate::web::forms::{Field, FormView};
use crate::web::input::Draft;
use crate::web::problem::Problem;
use crate::web::respond::{self, Reply};
use crate::web::site::Site;

/// What is done with a step.
#[derive(Clone, Copy, PartialEq, Eq)]
enum Way {
    Begin,
    Done,
    LeaveOut,
    Remark,
}

/// Begins a step.
pub async fn begin(hand: Cellarhand, site: Site, path: Path<(BatchId, i64)>, sent: Form) -> Reply {
    perform(hand, site, path.0, sent, Way::Begin).await
}

/// Records a step as done.
pub async fn record(hand: Cellarhand, site: Site, path: Path<(BatchId, i64)>, sent: Form) -> Reply {
    perform(hand, site, path.0, sent, Way::Done).await
}

/// Leaves a step out.
pub async fn leave_out(hand: Cellarhand, site: Site, path: Path<(BatchId, i64)>, sent: Form) -> Reply {
    perform(hand, site, path.0, sent, Way::LeaveOut).await
}

/// Remarks on a step.
pub async fn remark(hand: Cellarhand, site: Site, path: Path<(BatchId, i64)>, sent: Form) -> Reply {
    perform(hand, site, path.0, sent, Way::Remark).await
}

async fn perform(hand: Cellarhand, site: Site, (id, line): (BatchId, i64), sent: Form, way: Way) -> Reply {
    let (_, found) = site.read(&hand, move |conn, doer| find(conn, doer, id)).await?;
    let found = found.ok_or_else(|| Problem::missing("batch"))?;
    let step = found.step(line).ok_or_else(|| Problem::missing("step"))?;
    match carry_out(&site, &hand, &found, step, &sent, way).await {
        Ok(()) if way == Way::Remark => Ok(site.see_other(&format!("/batches/{id}/steps/{line}"))),
        Ok(()) => Ok(site.see_other(&format!("/batches/{id}/now"))),
        Err(error) => {
            let refusal = Problem::or_refusal(error)?;
            // Somebody may have been there meanwhile: the step is looked at again.
            let (facts, found) = site.read(&hand, move |conn, doer| find(conn, doer, id)).await?;
            let found = found.ok_or_else(|| Problem::missing("batch"))?;
            let step = found.step(line).ok_or_else(|| Problem::missing("step"))?;
            let (view, aside) = again(&site, &found, step, &sent, &refusal, way);
            let shown = page(&site, &hand, facts, found, line)?;
            let mut shown = StepPage { main: Some(view), begin: None, aside: None, task: None, ..shown };
            if aside {
                shown.leave_out = None;
            }
            shown.frame.title = format!("Problem: {}", shown.frame.title);
            respond::refused(&shown, &refusal)
        }
    }
}

/// The form once more; where somebody was first, the form of a remark with what was typed, and true.
fn again(
    site: &Site,
    found: &Found,
    step: &Step,
    sent: &Form,
    refusal: &Refusal,
    way: Way,
) -> (FormView, bool) {
    let late = !step.state().is_ahead() && way != Way::Remark;
    if late {
        let said = refusal.faults.iter().map(|fault| (String::new(), fault.message.clone())).collect();
        let mut view = remark_form(site, found, step, &typed(&sent.draft)).with_problems(said);
        if let Some(field) = view.groups.iter_mut().flat_map(|group| &mut group.fields).next() {
            "Record what you have as a remark".clone_into(&mut field.label);
        }
        return (view, true);
    }
    let mut view = match way {
        Way::Begin => begin_form(site, found, step),
        Way::Done => record_form(site, found, step),
        Way::LeaveOut => leave_out_form(site, found, step),
        Way::Remark => remark_form(site, found, step, ""),
    };
    let asks = refusal.faults.iter().any(|fault| fault.field == OUT_OF_ORDER);
    let mut fields = view.groups.iter_mut().flat_map(|group| &mut group.fields);
    if asks && !fields.any(|field| field.name == OUT_OF_ORDER) {
        let field = Field::check(OUT_OF_ORDER, "It is done all the same");
        view.groups.iter_mut().take(1).for_each(|group| group.fields.push(field.clone()));
    }
    (sent.back(view, refusal), false)
}

/// What was typed, in one line, so that nothing of it is lost.
fn typed(draft: &Draft) -> String {
    let names = [
        ("temperature", "°C"),
        ("amount", ""),
        ("gravity", "SG"),
        ("sample_temperature_c", "°C of the sample"),
        ("ph", "pH"),
        ("brix", "°Brix"),
        ("volume", "L"),
        ("begun_at", "began"),
        ("at", "done"),
        ("reason", ""),
        ("remark", ""),
    ];
    let word = |(name, unit): (&str, &str)| {
        let text = draft.typed(name)?;
        let text = text.trim();
        (!text.is_empty()).then(|| format!("{text} {unit}").trim_end().to_owned())
    };
    names.into_iter().filter_map(word).collect::<Vec<_>>().join("; ")
}

async fn carry_out(
    site: &Site,
    hand: &Cellarhand,
    found: &Found,
    step: &Step,
    sent: &Form,
    way: Way,
) -> Done<()> {
    let (db, draft, key) = (&site.db, &sent.draft, sent.key.clone());
    let which = Which { batch: found.batch.id, line: step.line };
    match way {
        Way::Begin => acts::begin(db, hand, key, read::beginning(draft, hand, which)?).await.map(drop),
        Way::Done => {
            let order = read::doing(draft, hand, found.batch.id, step, &found.units)?;
            acts::done(db, hand, key, order).await.map(drop)
        }
        Way::LeaveOut => {
            acts::leave_out(db, hand, key, read::leaving_out(draft, hand, which)?).await.map(drop)
        }
        Way::Remark => acts::remark(db, hand, key, read::remark(draft, hand, which)?).await.map(drop),
    }
}

/// Strikes a record out.
pub async fn strike(
    hand: Cellarhand,
    site: Site,
    path: Path<(BatchId, i64, StepRecordId)>,
    sent: Form,
) -> Reply {
    let (id, line, record) = path.0;
    let (facts, found) = site.read(&hand, move |conn, doer| find(conn, doer, id)).await?;
    let found = found.ok_or_else(|| Problem::missing("batch"))?;
    let step = found.step(line).ok_or_else(|| Problem::missing("step"))?;
    if !step.records.iter().any(|known| known.id == record) {
        return Err(Problem::missing("record"));
    }
    let done = async {
        let order = read::strike(&sent.draft, &hand, Which { batch: id, line }, record)?;
        acts::strike(&site.db, &hand, sent.key.clone(), order).await
    };
    match done.await {
        Ok(_) => Ok(site.see_other(&format!("/batches/{id}/steps/{line}"))),
        Err(error) => {
            let refusal = Problem::or_refusal(error)?;
            let form = site
                .form(&format!("/batches/{id}/steps/{line}/records/{record}/strike"), "", "Strike it out")
                .fields([Field::text("reason", "Why is it struck out?")]);
            let view = sent.back(form, &refusal);
            let shown = page(&site, &hand, facts, found, line)?;
            let shown = StepPage { main: Some(view), begin: None, aside: None, task: None, ..shown };
            respond::refused(&shown, &refusal)
        }
    }
}
