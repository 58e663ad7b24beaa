//! A task that does a step of the batch: its form is filled with what the step says, and what is recorded marks the
//! step as done, so that nothing is typed twice.

use super::{Material, Task};
use crate::actions::steps::{self as acts, Booked, ByEntry, Deed, Mark};
use crate::actions::{Done, Error};
use crate::db::steps as rows;
use crate::db::{AnyConn, Failure};
use crate::domain::members::{Cellarhand, Doer};
use crate::domain::refusal::Refusal;
use crate::domain::steps::{Act, OUT_OF_ORDER, State, Step, question};
use crate::units::ids::BatchId;
use crate::web::batches::read;
use crate::web::forms::{Field, FormView, Group};
use crate::web::input::Draft;
use crate::web::plans::rounded;
use crate::web::site::Site;
use crate::web::steps::step_cautions;

/// The step that a task does.
pub(super) struct OfStep {
    pub(super) step: Step,
    /// What is asked where others come first.
    asks: Option<String>,
}

/// Reads the step that is named in the address or in the form.
pub(super) fn find(
    conn: &mut AnyConn,
    doer: &Doer,
    batch: BatchId,
    draft: &Draft,
) -> Result<Option<OfStep>, Failure> {
    let Some(line) = draft.typed("step").and_then(|line| line.trim().parse::<i64>().ok()) else {
        return Ok(None);
    };
    let steps = rows::steps(conn, doer.club, batch)?;
    let asks = question(&steps, line);
    Ok(steps.into_iter().find(|step| step.line == line).map(|step| OfStep { step, asks }))
}

/// Which task does a step of this kind.
const fn fits(task: Task, act: Act) -> bool {
    matches!(
        (task, act),
        (Task::Draw, Act::Draw)
            | (Task::Pitch, Act::Pitch)
            | (Task::ByProduct, Act::ByProduct)
            | (Task::Rack, Act::Rack)
            | (Task::Split, Act::Split)
            | (Task::Blend, Act::Blend)
    )
}

/// What the form is filled with at first: what the step says.
pub(super) fn filled(of: &OfStep) -> Vec<(String, String)> {
    let plan = &of.step.plan;
    let mut fields = vec![("step".to_owned(), of.step.line.to_string())];
    // As a kitchen can weigh it; what was really taken is typed over it.
    let amount = plan.amount.map(|(amount, unit)| rounded(amount, unit)).unwrap_or_default();
    match (of.step.act(), plan.item) {
        (Act::Draw | Act::Pitch, Some(item)) => {
            fields.push(("lines.0.source".to_owned(), format!("item:{item}")));
            fields.push(("lines.0.quantity".to_owned(), amount));
        }
        (Act::ByProduct, Some(item)) => {
            fields.push(("item".to_owned(), item.to_string()));
            fields.push(("quantity".to_owned(), amount));
        }
        (Act::Split | Act::Blend, _) => fields.push(("volume".to_owned(), amount)),
        _ => {}
    }
    fields
}

/// The form says which step it does, asks what the step asks, and shows its cautions.
pub(super) fn asked(mut view: FormView, found: &Material, task: Task, draft: &Draft) -> FormView {
    let Some(of) = found.step.as_ref().filter(|of| fits(task, of.step.act())) else { return view };
    view.intro = format!("Step “{}”. {}", of.step.name(), view.intro);
    let mut fields = vec![Field::hidden("step", of.step.line.to_string())];
    if let Some(asks) = &of.asks {
        fields.push(Field::check(OUT_OF_ORDER, "It is done all the same").hint(format!("{asks}.")));
    }
    let begun = matches!(of.step.state(), State::Running(record) if record.entry.is_some());
    if begun || !of.step.state().is_ahead() || draft.typed("apart").is_some() {
        fields.push(
            Field::check("apart", "Record it all the same, apart from the step")
                .hint("If there is more of it than what was recorded then."),
        );
    }
    match view.groups.last_mut() {
        Some(group) => group.fields.extend(fields),
        None => view.groups.push(Group::new("", fields)),
    }
    // The step says better than the task what can hurt somebody; what is dangerous stays.
    view.cautions.retain(|caution| caution.reason.is_some());
    let known: Vec<String> = view.cautions.iter().map(|caution| caution.title.clone()).collect();
    let more = step_cautions(&found.known, &of.step).into_iter().filter(|one| !known.contains(&one.title));
    more.fold(view, FormView::caution)
}

/// Which step is to be marked as done by what is sent; none where it is recorded apart from it.
pub(super) fn mark(draft: &mut Draft, hand: &Cellarhand) -> Result<Option<Mark>, Refusal> {
    let apart = draft.take("apart").is_some_and(|text| text == "yes");
    let mark = crate::web::steps::read::mark(draft, hand)?;
    Ok(mark.filter(|_| !apart))
}

/// Records the entry of a task together with its step.
pub(super) async fn record(
    site: &Site,
    hand: &Cellarhand,
    task: Task,
    found: &Material,
    (draft, key): (&Draft, Option<crate::actions::once::RequestKey>),
    mark: Mark,
) -> Done<Booked> {
    let id = found.batch.id;
    let deed = match task {
        Task::Draw | Task::Pitch => {
            Deed::Draw(read::draw(draft, hand, id, task == Task::Pitch, &found.units)?)
        }
        Task::ByProduct => Deed::ByProduct(read::by_product(draft, hand, id, &found.units)?),
        Task::Rack => {
            let (racking, into) = read::racking(draft, hand, id)?;
            Deed::Rack(racking, into)
        }
        Task::Split | Task::Blend => {
            let read = if task == Task::Split { read::split } else { read::blend };
            let (transfer, into) = read(draft, hand, id)?;
            Deed::Transfer(transfer, into)
        }
        _ => {
            let said = "This step is not done by an entry of this kind";
            return Err(Error::Refused(Refusal::unfit("step", said)));
        }
    };
    acts::by_entry(&site.db, hand, key, ByEntry { batch: id, deed, mark }).await
}
