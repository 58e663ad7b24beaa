//! What a batch is planned to be, on its page.

use askama::Template;

use super::recipes::CameOff;
use super::site::Site;
use super::steps::Timer;
use crate::db::plans::Supply;
use crate::domain::members::{Doer, Role};
use crate::domain::plans::PlanStep;
use crate::domain::steps::{Step, current};
use crate::units::ids::{BatchId, ItemId};
use crate::units::measure::{Measured, ReadingKind};
use crate::units::quantity::{BaseUnit, Milli};

/// One step as it is shown.
pub struct StepRow {
    /// What is done.
    pub name: &'static str,
    /// In words.
    pub what: String,
    /// How much, how warm, how long.
    pub figures: String,
    /// What can hurt somebody.
    pub caution: String,
}

/// Steps as they are shown.
pub fn step_rows(steps: &[PlanStep]) -> Vec<StepRow> {
    named_step_rows(steps, |_| String::new())
}

/// The same, with the names of their items.
pub fn named_step_rows(steps: &[PlanStep], name: impl Fn(ItemId) -> String) -> Vec<StepRow> {
    let row = |step: &PlanStep| {
        let item = step.item.map(&name).unwrap_or_default();
        let figures = figures(step);
        StepRow {
            name: step.kind.name(),
            what: step.what.clone(),
            figures: [item, figures]
                .into_iter()
                .filter(|part| !part.is_empty())
                .collect::<Vec<_>>()
                .join(" · "),
            caution: step.caution.clone(),
        }
    };
    steps.iter().map(row).collect()
}

/// How much, how warm, how long, as a kitchen can measure it.
pub fn figures(step: &PlanStep) -> String {
    let amount = step.amount.map(|(amount, unit)| rounded(amount, unit));
    let figures = [amount, step.target_c.map(degrees), step.minutes.map(lasting)];
    figures.into_iter().flatten().collect::<Vec<_>>().join(" · ")
}

/// "63 °C".
pub fn degrees(celsius: Measured) -> String {
    format!("{} °C", trimmed(&celsius.shown(ReadingKind::Temperature)))
}

fn trimmed(text: &str) -> &str {
    text.strip_suffix(".0").unwrap_or(text)
}

/// An amount of a plan, with no more digits than a kitchen can weigh.
pub fn rounded(amount: Milli, unit: BaseUnit) -> String {
    let step = match amount.get() {
        size if size >= 10_000_000 => 100_000,
        size if size >= 1_000_000 => 10_000,
        size if size >= 100_000 => 1_000,
        _ => 100,
    };
    let whole = if unit == BaseUnit::Piece { 1_000 } else { step };
    Milli::new((amount.get() + whole / 2) / whole * whole).shown(unit)
}

/// "45 min", "6 h", "14 days".
fn lasting(minutes: i64) -> String {
    match minutes {
        0..=119 => format!("{minutes} min"),
        120..=2879 => format!("{} h", (minutes + 30) / 60),
        more => format!("{} days", (more + 720) / 1440),
    }
}

/// The steps and supplies of a batch as a part of its page.
#[derive(Template)]
#[template(path = "plans/part.html")]
pub struct Part {
    href: String,
    /// "3 of 9 steps are done."
    lead: String,
    /// Something is still to be done.
    ahead: bool,
    /// The step that is done now, and what runs of it.
    current: Option<(String, Option<Timer>)>,
    next: Vec<String>,
    /// Item, planned, drawn, and whether all of it was.
    supplies: Vec<(String, String, String, bool)>,
    /// What comes off: what the recipe expects of so much base, and what was weighed.
    came_off: Vec<(String, String, String)>,
    shopping: String,
    may_record: bool,
}

impl Part {
    /// What is planned and done for a batch; none where nothing is planned.
    pub fn of(
        site: &Site,
        doer: &Doer,
        id: BatchId,
        steps: &[Step],
        supplies: &[Supply],
        came_off: &[CameOff],
    ) -> Option<Self> {
        if steps.is_empty() && supplies.is_empty() {
            return None;
        }
        let row = |supply: &Supply| {
            let drawn = match supply.wanted.drawn {
                drawn if drawn <= Milli::ZERO => "nothing yet".to_owned(),
                drawn => drawn.shown(supply.unit),
            };
            let all = supply.wanted.left() == Milli::ZERO;
            (supply.name.clone(), rounded(supply.wanted.planned, supply.unit), drawn, all)
        };
        let ahead = steps.iter().filter(|step| step.state().is_ahead()).count();
        let now = current(steps);
        let after = now.and_then(|now| steps.iter().position(|step| step.line == now.line));
        let next = steps.iter().skip(after.map_or(0, |at| at + 1)).filter(|step| step.state().is_ahead());
        Some(Self {
            href: site.at(&format!("/batches/{id}")),
            lead: match (steps.len(), steps.len() - ahead) {
                (0, _) => String::new(),
                (all, 0) => format!("{all} steps, none of them done yet."),
                (all, done) if all == done => "All steps are done or left out.".to_owned(),
                (all, done) => format!("{done} of {all} steps are done or left out."),
            },
            ahead: ahead > 0,
            current: now.map(|now| (now.name().to_owned(), now.ends_at().map(|ends| Timer::of(ends, doer)))),
            next: next.take(2).map(|step| step.name().to_owned()).collect(),
            supplies: supplies.iter().map(row).collect(),
            came_off: came_off
                .iter()
                .map(|off| {
                    let weighed = match off.weighed {
                        Milli::ZERO => "nothing yet".to_owned(),
                        weighed => weighed.shown(off.unit),
                    };
                    (off.name.clone(), rounded(off.expected, off.unit), weighed)
                })
                .collect(),
            shopping: site.at("/stores/shopping"),
            may_record: doer.role >= Role::Cellarhand,
        })
    }
}
