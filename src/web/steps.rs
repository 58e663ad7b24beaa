//! The steps of a batch: all of them with what became of each, and one of them to be recorded, left out, remarked on or
//! corrected. What one wet hand needs while making is in `now`.

use askama::Template;

pub mod add;
pub mod now;
pub mod read;
mod record;
mod shown;
pub mod told;

pub use record::{begin, leave_out, record, remark, strike};
pub use shown::{RecordRow, StepView, Timer};

use super::cautions;
use super::extract::Path;
use super::forms::{Caution, Choice, Field, FormView};
use super::frame::Frame;
use super::problem::Problem;
use super::respond::{self, Reply};
use super::site::{Room, Site};
use crate::actions::steps::facts_at;
use crate::db::batches::{self, Batch};
use crate::db::books::{self, Which as Entries};
use crate::db::stock::{self, Units};
use crate::db::{AnyConn, Failure, cautions as dangers, steps as rows};
use crate::domain::cautions as rules;
use crate::domain::members::{Doer, Onlooker, Role};
use crate::domain::steps::{Act, OUT_OF_ORDER, RecordKind, State, Step, question};
use crate::units::days::{self, Instant};
use crate::units::ids::{BatchId, EntryId};
use crate::units::measure::Measured;
use crate::web::recipes::read::exact;
use crate::web::trail;

/// Entries of a batch among which that of a step may be.
const ENTRIES: i64 = 40;

/// A batch with its steps.
pub struct Found {
    /// The batch.
    pub batch: Batch,
    /// Its steps, in their turn.
    pub steps: Vec<Step>,
    /// What is known of it, for the cautions.
    pub facts: rules::Facts,
    /// Its latest entries: which, kind and words.
    entries: Vec<(EntryId, crate::domain::books::EntryKind, String)>,
    /// What its items are counted in.
    pub units: Units,
}

/// Reads a batch with its steps; `None` where there is no such batch.
pub fn find(conn: &mut AnyConn, doer: &Doer, id: BatchId) -> Result<Option<Found>, Failure> {
    let club = doer.club;
    let batch = match batches::batch(conn, club, id) {
        Err(Failure::Gone) => return Ok(None),
        found => found?,
    };
    let steps = rows::steps(conn, club, id)?;
    let items: Vec<_> = steps.iter().filter_map(|step| step.plan.item).collect();
    let entries = books::tell(conn, club, Entries::Batch(id), None, ENTRIES)?;
    let free = |told: &&books::Told| told.reversed.is_none() && told.reverses.is_none();
    Ok(Some(Found {
        facts: dangers::facts(conn, doer, id)?,
        entries: entries
            .iter()
            .filter(free)
            .map(|told| {
                let row = trail::row(told, doer);
                (told.id, told.kind, format!("{}, {}", row.title, row.when))
            })
            .collect(),
        units: stock::units(conn, club, &items, &[])?,
        steps,
        batch,
    }))
}

impl Found {
    /// The step of this number.
    pub fn step(&self, line: i64) -> Option<&Step> {
        self.steps.iter().find(|step| step.line == line)
    }

    /// Its number among the others, from 1.
    pub fn number(&self, step: &Step) -> usize {
        self.steps.iter().position(|other| other.line == step.line).unwrap_or(0) + 1
    }
}

/// What a step says to beware of, and the cautions of the rules by how warm it should be.
pub fn step_cautions(known: &rules::Facts, step: &Step) -> Vec<Caution> {
    let written = (!step.plan.caution.is_empty())
        .then(|| Caution::new("Caution at this step", [step.plan.caution.clone()]));
    let facts = facts_at(known.clone(), step, None);
    let running = matches!(step.state(), State::Running(_));
    // What runs was begun with all of them in sight; what is dangerous stays so.
    let stands = |caution: &rules::Caution| !running || caution.needs_reason;
    let shown = |caution: rules::Caution| {
        let mut shown = cautions::shown(&caution);
        // Who began it has said why.
        shown.reason = shown.reason.filter(|_| !running);
        shown
    };
    let of_rules = rules::for_step(step.plan.kind, &facts);
    written.into_iter().chain(of_rules.into_iter().filter(stands).map(shown)).collect()
}

fn shown_cautions(found: &Found, step: &Step) -> Vec<Caution> {
    step_cautions(&found.facts, step)
}

#[derive(Template)]
#[template(path = "steps/all.html")]
struct AllPage {
    frame: Frame,
    batch: Batch,
    href: String,
    lead: String,
    may_record: bool,
    now: bool,
    steps: Vec<StepView>,
}

/// Shows all steps of a batch.
pub async fn show_all(who: Onlooker, site: Site, path: Path<BatchId>) -> Reply {
    let id = path.0;
    let (facts, found) = site.read(&who, move |conn, doer| find(conn, doer, id)).await?;
    let found = found.ok_or_else(|| Problem::missing("batch"))?;
    let ahead = found.steps.iter().filter(|step| step.state().is_ahead()).count();
    let page = AllPage {
        href: site.at(&format!("/batches/{id}")),
        lead: match (found.steps.len(), ahead) {
            (0, _) => "No steps are planned for it.".to_owned(),
            (_, 0) => "All of them are done or left out.".to_owned(),
            (all, ahead) if all == ahead => format!("{all} steps, none of them done yet."),
            (all, ahead) => format!("{} of {all} steps are done or left out.", all - ahead),
        },
        may_record: who.role >= Role::Cellarhand && !found.batch.stage.ended(),
        now: ahead > 0,
        steps: found.steps.iter().map(|step| StepView::of(&site, &who, &found, step)).collect(),
        frame: site.frame(&who, Room::Batches, &format!("Steps of batch {}", found.batch.code), facts),
        batch: found.batch,
    };
    respond::page(&page)
}

#[derive(Template)]
#[template(path = "steps/step.html")]
struct StepPage {
    frame: Frame,
    batch: Batch,
    href: String,
    step: StepView,
    number: usize,
    of: usize,
    ahead: bool,
    running: bool,
    may_record: bool,
    /// Where the form of its entry is, and what its link says.
    task: Option<(String, &'static str)>,
    /// Begins it.
    begin: Option<FormView>,
    /// Records it, or the problem with that.
    main: Option<FormView>,
    /// Records it without a new entry.
    aside: Option<FormView>,
    leave_out: Option<FormView>,
    remark: FormView,
    keys: Vec<String>,
}

/// Shows one step.
pub async fn show(who: Onlooker, site: Site, path: Path<(BatchId, i64)>) -> Reply {
    let (id, line) = path.0;
    let (facts, found) = site.read(&who, move |conn, doer| find(conn, doer, id)).await?;
    let found = found.ok_or_else(|| Problem::missing("batch"))?;
    respond::page(&page(&site, &who, facts, found, line)?)
}

fn page(
    site: &Site,
    who: &Doer,
    facts: crate::db::reminders::Facts,
    found: Found,
    line: i64,
) -> Result<StepPage, Problem> {
    let step = found.step(line).ok_or_else(|| Problem::missing("step"))?;
    let state = step.state();
    let (ahead, running) = (state.is_ahead(), matches!(state, State::Running(_)));
    let may_record = who.role >= Role::Cellarhand;
    let records = may_record && ahead && !found.batch.stage.ended();
    let task = task(site, &found, step).filter(|_| records);
    let own = corrected(record_form(site, &found, step), step, who);
    let (main, aside) = match (records, &task) {
        (false, _) => (None, None),
        (true, None) => (Some(own), None),
        (true, Some(_)) => (None, Some(own)),
    };
    Ok(StepPage {
        href: site.at(&format!("/batches/{}", found.batch.id)),
        step: StepView::of(site, who, &found, step),
        number: found.number(step),
        of: found.steps.len(),
        ahead,
        running,
        may_record,
        begin: (records && !running && step.takes_time()).then(|| begin_form(site, &found, step)),
        main,
        aside,
        leave_out: records.then(|| leave_out_form(site, &found, step)),
        remark: remark_form(site, &found, step, ""),
        keys: step.records.iter().map(|_| super::site::fresh_key()).collect(),
        task,
        frame: site.frame(who, Room::Batches, &format!("Step: {}", step.name()), facts),
        batch: found.batch,
    })
}

/// Where the entry of a step is recorded, and what the link says.
pub fn task(site: &Site, found: &Found, step: &Step) -> Option<(String, &'static str)> {
    if begun_by_entry(step) {
        return None;
    }
    let (code, says) = match step.act() {
        Act::Draw => ("draw", "Draw supplies"),
        Act::Pitch => ("pitch", "Pitch the yeast"),
        Act::ByProduct => ("by-product", "Weigh it off"),
        Act::Rack => ("rack", "Rack it"),
        Act::Split => ("split", "Split it"),
        Act::Blend => ("blend", "Blend it"),
        Act::Read | Act::Own => return None,
    };
    Some((site.at(&format!("/batches/{}/{code}?step={}", found.batch.id, step.line)), says))
}

/// The form filled with what was struck out last, to be put right.
fn corrected(mut view: FormView, step: &Step, doer: &Doer) -> FormView {
    let struck = step.records.iter().rev().find(|record| record.kind != RecordKind::Remark);
    let Some(record) = struck.filter(|record| record.struck.is_some() && record.done.is_some()) else {
        return view;
    };
    let at = |at: &Option<(Instant, String)>| {
        at.as_ref().map(|at| days::local(at.0, doer.zone).format("%Y-%m-%d %H:%M").to_string())
    };
    for field in view.groups.iter_mut().flat_map(|group| &mut group.fields) {
        let text = match field.name.as_str() {
            "temperature" => record.temperature_c.map(Measured::plain),
            "amount" => record.amount.map(|(amount, unit)| exact(amount, unit)),
            "begun_at" => at(&record.begun),
            "at" => at(&record.done),
            "remark" => Some(record.remark.clone()),
            _ => None,
        };
        let taken = record.readings.iter().find(|taken| taken.kind.code() == field.name);
        field.value = taken.map(|taken| taken.value.plain()).or(text).unwrap_or_default();
    }
    view
}

/// Whether it runs since its entry was recorded.
fn begun_by_entry(step: &Step) -> bool {
    matches!(step.state(), State::Running(record) if record.entry.is_some())
}

fn path_of(found: &Found, step: &Step) -> String {
    format!("/batches/{}/steps/{}", found.batch.id, step.line)
}

/// The question whether it is meant, where others come first.
pub fn order_field(found: &Found, step: &Step) -> Option<Field> {
    let running = matches!(step.state(), State::Running(_));
    let asked = question(&found.steps, step.line).filter(|_| !running)?;
    Some(Field::check(OUT_OF_ORDER, "It is done all the same").hint(format!("{asked}.")))
}

fn begin_form(site: &Site, found: &Found, step: &Step) -> FormView {
    let form = site
        .form(&format!("{}/begin", path_of(found, step)), "", "Begin it now")
        .fields(order_field(found, step).into_iter().collect::<Vec<_>>());
    shown_cautions(found, step).into_iter().fold(form, FormView::caution)
}

/// The form that records a step.
pub fn record_form(site: &Site, found: &Found, step: &Step) -> FormView {
    let running = matches!(step.state(), State::Running(_));
    let mut fields = Vec::new();
    match step.act() {
        Act::Read => fields.extend(reading_fields()),
        act => {
            if act != Act::Own && !begun_by_entry(step) {
                fields.push(entry_field(found, act));
            }
            let target =
                step.plan.target_c.map(|target| format!("It should be {}.", super::plans::degrees(target)));
            fields.push(
                Field::decimal("temperature", "How warm it was").hint(target.unwrap_or_default()).after("°C"),
            );
            let amount = step.plan.amount.map(|(amount, unit)| super::plans::rounded(amount, unit));
            let hint = amount.map_or_else(
                || "As measured: 55 L, or 2.5 kg.".to_owned(),
                |much| format!("It should be about {much}."),
            );
            fields.push(Field::text("amount", "How much it was").hint(hint));
        }
    }
    if step.takes_time() && !running {
        fields.push(
            Field::text("begun_at", "When it began").hint("Such as 14:05; leave it empty if nobody looked."),
        );
    }
    fields.push(
        Field::text("at", "When it was done")
            .hint("Left empty it is now. Such as 14:32, or 2026-06-23 14:32."),
    );
    fields.push(Field::area("remark", "Remark"));
    fields.extend(order_field(found, step));
    let says = if running { "It is over: record it" } else { "Record it as done" };
    let form = site.form(&path_of(found, step), "", says).fields(fields);
    shown_cautions(found, step).into_iter().fold(form, FormView::caution)
}

fn reading_fields() -> Vec<Field> {
    vec![
        Field::decimal("gravity", "Gravity")
            .hint("As the hydrometer shows it, such as 1.0450 or 1045.")
            .after("SG 20/20"),
        Field::decimal("sample_temperature_c", "Temperature of the sample")
            .hint("The gravity is then corrected to 20 °C.")
            .after("°C"),
        Field::decimal("temperature", "Temperature of the batch").after("°C"),
        Field::decimal("ph", "pH"),
        Field::decimal("brix", "Sugar by refractometer").after("°Brix"),
        Field::decimal("volume", "Volume").after("L"),
    ]
}

fn entry_field(found: &Found, act: Act) -> Field {
    let taken: Vec<EntryId> = found
        .steps
        .iter()
        .flat_map(|step| step.records.iter().filter(|record| record.stands()))
        .filter_map(|record| record.entry.map(|entry| entry.0))
        .collect();
    let mut choices = vec![Choice::new("", "none: nothing comes into the books by it")];
    choices.extend(
        found
            .entries
            .iter()
            .filter(|(id, kind, _)| Some(*kind) == act.entry() && !taken.contains(id))
            .map(|(id, _, words)| Choice::new(id.to_string(), words.clone())),
    );
    Field::select("entry", "The entry that did it, if it is in the books already", choices)
}

fn leave_out_form(site: &Site, found: &Found, step: &Step) -> FormView {
    site.form(&format!("{}/leave-out", path_of(found, step)), "", "Leave it out")
        .fields([Field::text("reason", "Why it is left out")])
}

/// The form of a remark, perhaps with what was typed in another form.
pub fn remark_form(site: &Site, found: &Found, step: &Step, typed: &str) -> FormView {
    site.form(&format!("{}/remark", path_of(found, step)), "", "Record the remark")
        .fields([Field::area("remark", "Remark").value(typed)])
}

/// Whether a step of this kind of record may be struck out here.
pub(super) fn may_strike(kind: RecordKind, entry: Option<(EntryId, bool)>) -> bool {
    kind != RecordKind::Done || entry.is_none_or(|entry| entry.1)
}
