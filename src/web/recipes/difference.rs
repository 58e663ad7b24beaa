//! The difference between two revisions, in words: what came, what went, what changed from what to what.

use askama::Template;

use super::read::exact;
use super::{Found, find, months};
use crate::domain::members::Onlooker;
use crate::domain::plans::{PlanStep, PlanSupply, duration};
use crate::domain::recipes::{Difference, Part, Said, differences};
use crate::units::ids::{ItemId, RecipeId};
use crate::units::number;
use crate::web::extract::{Path, Query};
use crate::web::frame::Frame;
use crate::web::problem::Problem;
use crate::web::respond::{self, Reply};
use crate::web::site::{Room, Site};
use crate::web::words;

/// Which revisions are compared.
#[derive(serde::Deserialize, utoipa::ToSchema)]
pub struct Between {
    /// The number of the one; left out, that before the other.
    pub from: Option<String>,
    /// The number of the other; left out, the latest.
    pub to: Option<String>,
}

/// One difference in words.
pub struct Row {
    /// What of the recipe: "Cane sugar", "Step", "Strength".
    pub what: String,
    /// `came`, `went` or `changed`.
    pub how: &'static str,
    /// What the first says; empty where it says nothing.
    pub from: String,
    /// What the second says.
    pub to: String,
}

#[derive(Template)]
#[template(path = "recipes/difference.html")]
struct DifferencePage {
    frame: Frame,
    href: String,
    drink: String,
    from: i64,
    to: i64,
    lead: String,
    note: String,
    numbers: Vec<i64>,
    rows: Vec<Row>,
}

/// Two revisions and all in which they differ.
pub struct Compared {
    /// The one.
    pub from: Found,
    /// The other.
    pub to: Found,
    /// In what they differ.
    pub rows: Vec<Row>,
}

/// Compares two revisions of a recipe.
pub async fn compared(
    site: &Site,
    who: &Onlooker,
    recipe: RecipeId,
    between: &Query<Between>,
) -> Result<(crate::db::reminders::Facts, Compared), Problem> {
    let (from, to) = between.draft.read(who, |r| {
        let mut number = |field: &str| r.optional_whole(field, 1..=1_000_000).map(i64::from);
        (number("from"), number("to"))
    })?;
    let read = site.read(who, move |conn, doer| {
        let Some(other) = find(conn, doer, recipe, to)? else { return Ok(None) };
        let before = from.unwrap_or_else(|| (other.kept.number - 1).max(1));
        Ok(find(conn, doer, recipe, Some(before))?.map(|one| (one, other)))
    });
    let (facts, found) = read.await?;
    let (from, to) = found.ok_or_else(|| Problem::missing("revision"))?;
    let mut rows = differences(&from.kept.revision, &to.kept.revision);
    // Steps in the order in which they are done.
    let steps = |one: &Difference| one.part == Part::Step;
    if let Some(first) = rows.iter().position(steps) {
        let last = rows.iter().rposition(steps).unwrap_or(first);
        rows[first..=last].sort_by_key(|one| match one.to.as_ref().or(one.from.as_ref()) {
            Some(Said::Step(number, _)) => *number,
            _ => 0,
        });
    }
    let rows = rows.iter().map(|one| row(one, &from, &to)).collect();
    Ok((facts, Compared { from, to, rows }))
}

/// Shows the difference.
pub async fn show(who: Onlooker, site: Site, path: Path<RecipeId>, between: Query<Between>) -> Reply {
    let (facts, found) = compared(&site, &who, path.0, &between).await?;
    let Compared { from, to, rows } = found;
    let page = DifferencePage {
        href: site.at(&format!("/recipes/{}", path.0)),
        drink: to.kept.revision.drink.clone(),
        from: from.kept.number,
        to: to.kept.number,
        lead: match rows.len() {
            0 => "They say the same.".to_owned(),
            1 => "They differ in one thing.".to_owned(),
            more => format!("They differ in {more} things."),
        },
        note: format!("{} ({})", to.kept.note, words::when(to.kept.at, &who)),
        numbers: to.revisions.iter().map(|told| told.number).collect(),
        rows,
        frame: site.frame(&who, Room::Batches, "What changed", facts),
    };
    respond::page(&page)
}

fn row(difference: &Difference, from: &Found, to: &Found) -> Row {
    let name = |item: ItemId| {
        let name = from.name(item);
        if name.is_empty() { to.name(item) } else { name }
    };
    let what = match difference.part {
        Part::Drink => "The name".to_owned(),
        Part::Base => "The base".to_owned(),
        Part::Supply(item) => name(item),
        Part::ByProduct(item) => format!("{}, which comes off", name(item)),
        Part::Step => match difference.to.as_ref().or(difference.from.as_ref()) {
            Some(Said::Step(number, step)) => format!("Step {number}: {}", step.kind.name().to_lowercase()),
            _ => "A step".to_owned(),
        },
        Part::Strength => "Strength".to_owned(),
        Part::Sugar => "Sugar left over".to_owned(),
        Part::TastingAges => "To be tasted at".to_owned(),
    };
    Row {
        what,
        how: match (&difference.from, &difference.to) {
            (None, _) => "came",
            (_, None) => "went",
            _ => "changed",
        },
        from: difference.from.as_ref().map(|said| words_of(said, difference.part, from)).unwrap_or_default(),
        to: difference.to.as_ref().map(|said| words_of(said, difference.part, to)).unwrap_or_default(),
    }
}

fn words_of(said: &Said, part: Part, of: &Found) -> String {
    match (said, part) {
        (Said::Name(name), _) => name.clone(),
        (Said::Amount(line, _), Part::Base) => format!("{}, {}", of.name(line.item), of.much(*line)),
        (Said::Amount(line, base), _) => {
            let base = PlanSupply { item: of.kept.revision.base.item, amount: *base };
            format!("{} for {}", of.much(*line), of.much(base))
        }
        (Said::Step(_, step), _) => step_words(step, of),
        (Said::Figure(value), Part::Strength) => format!("{} % vol", number::plain(value.micros(), 6)),
        (Said::Figure(value), _) => format!("{} g/L", number::plain(value.micros(), 6)),
        (Said::Months(ages, by_warmth), _) => months(ages, *by_warmth),
    }
}

fn step_words(step: &PlanStep, of: &Found) -> String {
    let item = step.item.map(|item| of.name(item)).filter(|name| !name.is_empty());
    let what = if step.what.is_empty() { step.kind.name() } else { &step.what };
    let mut parts = vec![what.to_owned()];
    parts.extend(item);
    parts.extend(step.amount.map(|(amount, unit)| exact(amount, unit)));
    parts.extend(step.target_c.map(|target| format!("{} °C", target.plain())));
    parts.extend(step.minutes.map(duration));
    if !step.caution.is_empty() {
        parts.push(format!("Caution: {}", step.caution));
    }
    parts.join("; ")
}
