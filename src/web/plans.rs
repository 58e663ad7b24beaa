//! What a batch is planned to be, on its page; and the shopping list: what all plans still want, less what is there.

use std::collections::HashMap;
use std::collections::hash_map::Entry;

use askama::Template;

use super::extract::Query;
use super::frame::Frame;
use super::recipes::CameOff;
use super::respond::{self, Reply};
use super::site::{Room, Site};
use super::spreadsheet::{self, Cell};
use super::steps::Timer;
use crate::db::plans::Supply;
use crate::db::stock::{self, Shelved};
use crate::db::{AnyConn, Failure, batches, plans};
use crate::domain::members::{Doer, Onlooker, Role};
use crate::domain::plans::{Missing, PlanStep, good, shopping};
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

/// The shopping list.
pub struct Line {
    /// What is missing.
    pub missing: Missing,
    /// Its name.
    pub name: String,
    /// What it is counted in.
    pub unit: BaseUnit,
    /// The numbers of the batches that want it.
    pub batches: Vec<(BatchId, String)>,
}

/// What is missing for the plans of all batches; with `all`, what they want and is there too.
pub fn list(conn: &mut AnyConn, doer: &Doer, all: bool) -> Result<Vec<Line>, Failure> {
    let wanted = plans::wanted(conn, doer.club)?;
    let mut there = HashMap::new();
    for (_, one) in &wanted {
        if let Entry::Vacant(place) = there.entry(one.item) {
            let shelves = stock::shelves(conn, doer.club, Shelved::Item(one.item))?;
            place.insert(good(&shelves, doer.today()));
        }
    }
    let lines: Vec<_> = wanted.iter().map(|one| one.1).collect();
    let list = shopping(&lines, |item| there.get(&item).copied().unwrap_or_default(), all);
    let mut found = Vec::with_capacity(list.len());
    for missing in list {
        let item = stock::item(conn, doer.club, missing.item)?;
        let wants = |one: &&(BatchId, crate::domain::plans::Wanted)| {
            one.1.item == missing.item && one.1.left() > Milli::ZERO
        };
        let mut of = Vec::new();
        for (batch, _) in wanted.iter().filter(wants) {
            of.push((*batch, batches::named(conn, doer.club, *batch)?.0));
        }
        found.push(Line { name: item.name, unit: item.unit, missing, batches: of });
    }
    found.sort_by(|one, next| one.name.cmp(&next.name));
    Ok(found)
}

/// What the list shows.
#[derive(serde::Deserialize, utoipa::ToSchema)]
pub struct Sift {
    /// `yes` shows what is there too.
    pub all: Option<String>,
}

#[derive(Template)]
#[template(path = "plans/shopping.html")]
struct ShoppingPage {
    frame: Frame,
    lead: String,
    all: bool,
    rows: Vec<ShoppingRow>,
}

struct ShoppingRow {
    name: String,
    buy: String,
    wanted: String,
    there: String,
    /// Address and number of the batches that want it.
    batches: Vec<(String, String)>,
}

/// Shows the shopping list.
pub async fn show(who: Onlooker, site: Site, sift: Query<Sift>) -> Reply {
    let all = sift.value.all.as_deref() == Some("yes");
    let (facts, lines) = site.read(&who, move |conn, doer| list(conn, doer, all)).await?;
    let short = lines.iter().filter(|line| line.missing.missing > Milli::ZERO).count();
    let row = |line: &Line| {
        let shown = |amount: Milli| rounded(amount, line.unit);
        let of = line.batches.iter().map(|(id, code)| (site.at(&format!("/batches/{id}")), code.clone()));
        let Missing { wanted, there, missing, .. } = line.missing;
        let buy = if missing == Milli::ZERO { "nothing".to_owned() } else { shown(missing) };
        let (name, wanted, there) = (line.name.clone(), shown(wanted), shown(there));
        ShoppingRow { name, buy, wanted, there, batches: of.collect() }
    };
    let page = ShoppingPage {
        lead: match short {
            0 => "Nothing is missing for what is planned.".to_owned(),
            1 => "One thing is missing for what is planned.".to_owned(),
            more => format!("{more} things are missing for what is planned."),
        },
        all,
        rows: lines.iter().map(row).collect(),
        frame: site.frame(&who, Room::Stores, "Shopping list", facts),
    };
    respond::page(&page)
}

/// The shopping list as a file, with the rows that the page shows.
pub async fn file(who: Onlooker, site: Site, sift: Query<Sift>) -> Reply {
    let all = sift.value.all.as_deref() == Some("yes");
    let (_, lines) = site.read(&who, move |conn, doer| list(conn, doer, all)).await?;
    let header = ["item", "to_buy", "unit", "wanted", "there", "batches"];
    let rows = lines.into_iter().map(|line| {
        let of: Vec<String> = line.batches.into_iter().map(|batch| batch.1).collect();
        vec![
            Cell::typed(line.name),
            Cell::ours(line.missing.missing.plain()),
            Cell::ours(line.unit.sign()),
            Cell::ours(line.missing.wanted.plain()),
            Cell::ours(line.missing.there.plain()),
            Cell::ours(of.join(" ")),
        ]
    });
    let leaving = spreadsheet::leaving(&site, &who, "exported the shopping list").await?;
    spreadsheet::csv(&leaving, "shopping.csv", &header, rows)
}
