//! What is done to a batch now: one step in large letters, its cautions, one button. Made for one wet hand on a phone.

use askama::Template;

use super::{Found, StepView, find, order_field, shown_cautions, task};
use crate::db::AnyConn;
use crate::db::Failure;
use crate::db::batches::Batch;
use crate::domain::members::{Doer, Onlooker, Role};
use crate::domain::steps::{Act, State, Step, clock, current};
use crate::units::ids::BatchId;
use crate::web::extract::Path;
use crate::web::forms::{Field, FormView};
use crate::web::frame::Frame;
use crate::web::plans::degrees;
use crate::web::problem::Problem;
use crate::web::respond::{self, Reply};
use crate::web::site::{Room, Site};

/// Steps that are shown after the one that is done now.
const NEXT: usize = 2;

#[derive(Template)]
#[template(path = "steps/now.html")]
struct NowPage {
    frame: Frame,
    batch: Batch,
    href: String,
    /// What was done last, and when.
    last: Option<(String, String)>,
    /// Changes when somebody else records something.
    fingerprint: String,
    of: usize,
    current: Option<Current>,
    next: Vec<StepView>,
    may_record: bool,
}

/// The step that is done now.
struct Current {
    number: usize,
    view: StepView,
    /// "63 °C"
    target: String,
    /// "Cane sugar, 7 kg"
    much: String,
    /// "30 min"
    takes: String,
    /// Where its entry is recorded, and what the button says.
    task: Option<(String, &'static str)>,
    /// Begins or records it.
    form: Option<FormView>,
    cautions: Vec<crate::web::forms::Caution>,
}

/// Shows it.
pub async fn show(who: Onlooker, site: Site, path: Path<BatchId>) -> Reply {
    let id = path.0;
    let read =
        move |conn: &mut AnyConn, doer: &Doer| -> Result<Option<Found>, Failure> { find(conn, doer, id) };
    let (facts, found) = site.read(&who, read).await?;
    let found = found.ok_or_else(|| Problem::missing("batch"))?;
    let may_record = who.role >= Role::Cellarhand && !found.batch.stage.ended();
    let step = current(&found.steps);
    let after = step.and_then(|step| found.steps.iter().position(|other| other.line == step.line));
    let next = found.steps.iter().skip(after.map_or(0, |at| at + 1)).filter(|step| step.state().is_ahead());
    let page = NowPage {
        href: site.at(&format!("/batches/{id}")),
        last: last(&found, &who),
        fingerprint: fingerprint(&found),
        of: found.steps.len(),
        current: step.map(|step| of_step(&site, &who, &found, step, may_record)),
        next: next.take(NEXT).map(|step| StepView::of(&site, &who, &found, step)).collect(),
        may_record,
        frame: site.frame(&who, Room::Batches, &format!("Now: batch {}", found.batch.code), facts),
        batch: found.batch,
    };
    respond::page(&page)
}

fn fingerprint(found: &Found) -> String {
    let records = found.steps.iter().flat_map(|step| &step.records);
    let standing = records.clone().filter(|record| record.stands()).count();
    let done = records.clone().filter(|record| record.done.is_some()).count();
    format!("{}.{}.{standing}.{done}", found.steps.len(), records.count())
}

fn last(found: &Found, doer: &Doer) -> Option<(String, String)> {
    let done = found.steps.iter().filter_map(|step| match step.state() {
        State::Done(record) => Some((record.done.as_ref()?, step)),
        _ => None,
    });
    let ((at, by), step) = done.max_by_key(|((at, _), _)| *at)?;
    Some((step.name().to_owned(), format!("{}, by {by}", clock(*at, doer.zone, doer.today()))))
}

fn of_step(site: &Site, doer: &Doer, found: &Found, step: &Step, may_record: bool) -> Current {
    let running = matches!(step.state(), State::Running(_));
    let task = task(site, found, step).filter(|_| may_record);
    let form = may_record.then(|| form(site, found, step, running)).filter(|_| task.is_none());
    let amount = step.plan.amount.map(|(amount, unit)| crate::web::plans::rounded(amount, unit));
    let item = step.item.clone();
    Current {
        number: found.number(step),
        target: step.plan.target_c.map(degrees).unwrap_or_default(),
        much: item.into_iter().chain(amount).collect::<Vec<_>>().join(", "),
        takes: step.plan.minutes.map(crate::domain::plans::duration).unwrap_or_default(),
        cautions: if form.is_some() { Vec::new() } else { shown_cautions(found, step) },
        view: StepView::of(site, doer, found, step),
        task,
        form,
    }
}

/// One question at most, and one button.
fn form(site: &Site, found: &Found, step: &Step, running: bool) -> FormView {
    let path = format!("/batches/{}/steps/{}", found.batch.id, step.line);
    let begins = step.takes_time() && !running && step.act() == Act::Own;
    let form = if begins {
        let takes = step.plan.minutes.map(crate::domain::plans::duration);
        let says =
            takes.map_or_else(|| "Begin it now".to_owned(), |takes| format!("Begin: {takes} from now"));
        site.form(&format!("{path}/begin"), "", &says).fields(Vec::new())
    } else {
        let mut fields = Vec::new();
        if step.act() == Act::Read {
            fields
                .push(Field::decimal("gravity", "Gravity").hint("Such as 1.0450 or 1045.").after("SG 20/20"));
            fields.push(Field::decimal("sample_temperature_c", "Temperature of the sample").after("°C"));
        } else if step.plan.target_c.is_some() {
            fields.push(Field::decimal("temperature", "How warm it was").after("°C"));
        }
        fields.extend(order_field(found, step));
        site.form(&path, "", if running { "It is over" } else { "Done" }).fields(fields)
    };
    shown_cautions(found, step).into_iter().fold(form, FormView::caution)
}
