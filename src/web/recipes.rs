//! Recipes: what the club makes and how, revision by revision; here the list and the page of a revision.

use std::collections::HashMap;

use askama::Template;

pub mod batch;
pub mod difference;
pub mod read;
pub mod write;

use super::body::Form;
use super::extract::{Paging, Path, Query};
use super::frame::Frame;
use super::plans::{StepRow, named_step_rows};
use super::problem::Problem;
use super::respond::{self, Reply};
use super::site::{Room, Site};
use super::words;
use crate::actions::recipes as acts;
use crate::db::recipes::{self as rows, Kept, Listed, Told};
use crate::db::stock;
use crate::db::{AnyConn, Failure};
use crate::domain::members::{Cellarhand, Doer, Onlooker, Role};
use crate::domain::plans::PlanSupply;
use crate::domain::recipes::{Revision, in_proportion};
use crate::domain::stock::Item;
use crate::units::days;
use crate::units::ids::{BatchId, ItemId, RecipeId};
use crate::units::measure::Measured;
use crate::units::number;
use crate::units::quantity::{BaseUnit, Milli};

use read::exact;

/// Recipes on one page of the list.
const LIST: i64 = 40;

/// Which recipes the list shows.
#[derive(serde::Deserialize, utoipa::ToSchema)]
pub struct Sift {
    /// `yes` shows those that were put aside.
    pub aside: Option<String>,
}

#[derive(Template)]
#[template(path = "recipes/list.html")]
struct ListPage {
    frame: Frame,
    lead: String,
    aside: bool,
    may_record: bool,
    rows: Vec<ListRow>,
    more: Option<String>,
}

struct ListRow {
    href: String,
    drink: String,
    about: String,
    number: i64,
    when: String,
}

/// Shows the list.
pub async fn list(who: Onlooker, site: Site, sift: Query<Sift>, paging: Paging<RecipeId>) -> Reply {
    let aside = sift.value.aside.as_deref() == Some("yes");
    let after = paging.after;
    let read = site.read(&who, move |conn, doer| rows::list(conn, doer.club, aside, after, LIST + 1));
    let (facts, mut found) = read.await?;
    let more = (found.len() > 40).then(|| {
        found.truncate(40);
        let which = if aside { "aside=yes&" } else { "" };
        site.at(&format!("/recipes?{which}after={}", found[39].id))
    });
    let row = |listed: &Listed| ListRow {
        href: site.at(&format!("/recipes/{}", listed.id)),
        drink: listed.drink.clone(),
        about: match listed.batches {
            0 => format!("from {}, not made yet", listed.base),
            made => format!("from {}, {}", listed.base, words::count(made, "batch made", "batches made")),
        },
        number: listed.number,
        when: days::short(days::local_day(listed.at, who.zone), who.today()),
    };
    let page = ListPage {
        lead: match (aside, found.len()) {
            (true, _) => "These are not offered any more; their batches stay.".to_owned(),
            (false, 0) => "No recipe is written yet.".to_owned(),
            (false, 1) => "One way to make a drink is written down.".to_owned(),
            (false, _) => "How the club makes its drinks, and what it learnt on the way.".to_owned(),
        },
        aside,
        may_record: who.role >= Role::Cellarhand,
        rows: found.iter().map(row).collect(),
        more,
        frame: site.frame(&who, Room::Batches, "Recipes", facts),
    };
    respond::page(&page)
}

/// A revision with what stands around it.
#[derive(Clone)]
pub struct Found {
    /// The revision.
    pub kept: Kept,
    /// The number of the latest.
    pub latest: i64,
    /// The recipe is not offered any more.
    pub aside: bool,
    /// All revisions, newest first.
    pub revisions: Vec<Told>,
    /// The items that it names.
    pub items: HashMap<ItemId, Item>,
}

/// Reads a revision, the latest where no number is given; `None` where there is no such recipe or revision.
pub fn find(
    conn: &mut AnyConn,
    doer: &Doer,
    recipe: RecipeId,
    number: Option<i64>,
) -> Result<Option<Found>, Failure> {
    let aside = match rows::aside(conn, doer.club, recipe) {
        Err(Failure::Gone) => return Ok(None),
        found => found?.is_some(),
    };
    let revisions = rows::revisions(conn, doer.club, recipe)?;
    let Some(latest) = revisions.first().map(|told| told.number) else { return Ok(None) };
    let kept = match rows::revision(conn, doer.club, recipe, number.unwrap_or(latest)) {
        Err(Failure::Gone) => return Ok(None),
        found => found?,
    };
    let items = stock::items_of(conn, doer.club, &kept.revision.items())?;
    Ok(Some(Found { kept, latest, aside, revisions, items }))
}

impl Found {
    /// What an item is called.
    pub fn name(&self, item: ItemId) -> String {
        self.items.get(&item).map(|item| item.name.clone()).unwrap_or_default()
    }

    /// What an item is counted in.
    pub fn unit(&self, item: ItemId) -> BaseUnit {
        self.items.get(&item).map_or(BaseUnit::Gram, |item| item.unit)
    }

    /// An amount of an item, in words and exact.
    pub fn much(&self, line: PlanSupply) -> String {
        match self.unit(line.item) {
            BaseUnit::Piece => line.amount.shown(BaseUnit::Piece),
            unit => exact(line.amount, unit),
        }
    }

    /// Name and amount of each line.
    pub fn lines(&self, lines: &[PlanSupply]) -> Vec<(String, String)> {
        lines.iter().map(|line| (self.name(line.item), self.much(*line))).collect()
    }
}

#[derive(Template)]
#[template(path = "recipes/recipe.html")]
struct RecipePage {
    frame: Frame,
    drink: String,
    number: i64,
    latest: i64,
    aside: bool,
    may_record: bool,
    href: String,
    base: (String, String),
    about: String,
    note: String,
    supplies: Vec<(String, String)>,
    by_products: Vec<(String, String)>,
    steps: Vec<StepRow>,
    goals: Vec<(&'static str, String)>,
    revisions: Vec<RevisionRow>,
    form_token: String,
    request_key: String,
}

struct RevisionRow {
    number: i64,
    href: String,
    here: bool,
    when: String,
    note: String,
    /// Where it is compared with the one before.
    changed: Option<String>,
}

/// Shows the latest revision of a recipe.
pub async fn show(who: Onlooker, site: Site, path: Path<RecipeId>) -> Reply {
    page(&who, &site, path.0, None).await
}

/// Shows one revision.
pub async fn show_revision(who: Onlooker, site: Site, path: Path<(RecipeId, i64)>) -> Reply {
    page(&who, &site, path.0.0, Some(path.0.1)).await
}

async fn page(who: &Doer, site: &Site, recipe: RecipeId, number: Option<i64>) -> Reply {
    let (facts, found) = site.read(who, move |conn, doer| find(conn, doer, recipe, number)).await?;
    let found = found.ok_or_else(|| Problem::missing("recipe"))?;
    let href = site.at(&format!("/recipes/{recipe}"));
    let Kept { number, revision, note, by, at, .. } = &found.kept;
    let revision_row = |told: &Told| RevisionRow {
        number: told.number,
        href: format!("{href}/revisions/{}", told.number),
        here: told.number == *number,
        when: format!("{} · {}", words::when(told.at, who), told.by),
        note: told.note.clone(),
        changed: (told.number > 1)
            .then(|| format!("{href}/difference?from={}&to={}", told.number - 1, told.number)),
    };
    let form = site.form("", "", "");
    let page = RecipePage {
        drink: revision.drink.clone(),
        number: *number,
        latest: found.latest,
        aside: found.aside,
        may_record: who.role >= Role::Cellarhand,
        base: (found.name(revision.base.item), found.much(revision.base)),
        about: format!("Revision {number} of {}, {} by {by}", found.latest, words::when(*at, who)),
        note: note.clone(),
        supplies: found.lines(&revision.supplies),
        by_products: found.lines(&revision.by_products),
        steps: named_step_rows(&revision.steps, |item| found.name(item)),
        goals: goals(revision),
        revisions: found.revisions.iter().map(revision_row).collect(),
        form_token: form.form_token,
        request_key: form.request_key,
        frame: site.frame(who, Room::Batches, &format!("Recipe: {}", revision.drink), facts),
        href,
    };
    respond::page(&page)
}

/// What a drink should become, in words.
fn goals(revision: &Revision) -> Vec<(&'static str, String)> {
    let goals = &revision.goals;
    let figure = |value: Measured| number::plain(value.micros(), 6);
    let mut found = Vec::new();
    found.extend(goals.strength.map(|strength| ("Strength", format!("{} % vol", figure(strength)))));
    found.extend(goals.sugar_g_l.map(|sugar| ("Sugar left over", format!("{} g/L", figure(sugar)))));
    if !goals.tasting_ages_months.is_empty() {
        found.push(("To be tasted at", months(&goals.tasting_ages_months, goals.ages_by_warmth)));
    }
    found
}

/// "6, 12 and 24 months".
pub(super) fn months(ages: &[u32], by_warmth: bool) -> String {
    let texts: Vec<String> = ages.iter().map(u32::to_string).collect();
    let listed = match texts.split_last() {
        Some((last, rest)) if !rest.is_empty() => format!("{} and {last}", rest.join(", ")),
        Some((last, _)) => last.clone(),
        None => String::new(),
    };
    let by = if by_warmth { ", by the warmth of the shelf" } else { "" };
    format!("{listed} {}{by}", if ages == [1] { "month" } else { "months" })
}

/// A by-product of a batch, and what its recipe expects of as much base as was drawn.
pub struct CameOff {
    /// What it is.
    pub name: String,
    /// What it is counted in.
    pub unit: BaseUnit,
    /// How much the recipe expects.
    pub expected: Milli,
    /// How much was weighed off.
    pub weighed: Milli,
}

/// What came off a batch against what its recipe expects; nothing of a batch without a recipe, or without its base.
pub fn came_off(
    conn: &mut AnyConn,
    doer: &Doer,
    batch: BatchId,
    by: Option<&rows::Followed>,
) -> Result<Vec<CameOff>, Failure> {
    let Some(by) = by else { return Ok(Vec::new()) };
    let revision = rows::revision(conn, doer.club, by.recipe, by.number)?.revision;
    let made = rows::as_made(conn, doer.club, batch)?;
    let amount = |item, off| made.iter().find(|one| (one.item, one.off) == (item, off)).map(|one| one.amount);
    let Some(base) = amount(revision.base.item, false) else { return Ok(Vec::new()) };
    let items = stock::items_of(conn, doer.club, &revision.items())?;
    let of = |line: &PlanSupply| {
        let item = items.get(&line.item)?;
        let (expected, _) = in_proportion(line.amount, revision.base.amount, base)?;
        let weighed = amount(line.item, true).unwrap_or_default();
        Some(CameOff { name: item.name.clone(), unit: item.unit, expected, weighed })
    };
    Ok(revision.by_products.iter().filter_map(of).collect())
}

/// Puts a recipe aside.
pub async fn put_aside(hand: Cellarhand, site: Site, path: Path<RecipeId>, form: Form) -> Reply {
    acts::put_aside(&site.db, &hand, form.key, path.0, true).await?;
    Ok(site.see_other(&format!("/recipes/{}", path.0)))
}

/// Offers it again.
pub async fn take_back(hand: Cellarhand, site: Site, path: Path<RecipeId>, form: Form) -> Reply {
    acts::put_aside(&site.db, &hand, form.key, path.0, false).await?;
    Ok(site.see_other(&format!("/recipes/{}", path.0)))
}
