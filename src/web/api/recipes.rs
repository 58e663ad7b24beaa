//! Recipes by the API: revisions, how two of them differ, a revision for what is there, a batch made by one, and a
//! batch as a recipe could be written from it.

use serde::Serialize;
use utoipa::ToSchema;

mod sent;

pub use sent::{BatchOfRecipe, NewRecipe, NextRevision};

use super::plans::StepBody;
use super::{Amount, Page};
use crate::actions::batches::{Plan, Planned};
use crate::actions::once::RequestKey;
use crate::actions::recipes as acts;
use crate::db::recipes::{self as rows, Kept, Listed, Told};
use crate::db::{Failure, stock};
use crate::domain::members::{Cellarhand, Onlooker};
use crate::domain::plans::PlanSupply;
use crate::domain::recipes::Revision;
use crate::domain::refusal::Refusal;
use crate::units::ids::{BatchId, ItemId, RecipeId};
use crate::units::measure::Measured;
use crate::units::quantity::BaseUnit;
use crate::web::api::batches::Made;
use crate::web::api::reminders::Nothing;
use crate::web::body::Json;
use crate::web::extract::{Key, Paging, Path, Query};
use crate::web::problem::Problem;
use crate::web::recipes::batch::{Size, sized};
use crate::web::recipes::difference::{Between, compared};
use crate::web::recipes::{Found, Sift, find, read, write};
use crate::web::respond::{Answer, Created, Empty};
use crate::web::site::Site;

/// A recipe in a list.
#[derive(Serialize, ToSchema)]
#[schema(as = Recipe)]
pub struct RecipeBody {
    /// Its id.
    pub id: String,
    /// The drink, as the latest revision calls it.
    pub drink: String,
    /// The name of its base.
    pub base: String,
    /// The number of its latest revision.
    pub revision: i64,
    /// When that was made.
    pub made_at: String,
    /// How many batches were made by any of its revisions.
    pub batches: i64,
    /// It is not offered any more.
    pub aside: bool,
}

impl From<Listed> for RecipeBody {
    fn from(listed: Listed) -> Self {
        Self {
            id: listed.id.to_string(),
            drink: listed.drink,
            base: listed.base,
            revision: listed.number,
            made_at: listed.at.and_utc().to_rfc3339(),
            batches: listed.batches,
            aside: listed.aside,
        }
    }
}

/// Recipes, newest first.
pub async fn list(
    who: Onlooker,
    site: Site,
    sift: Query<Sift>,
    paging: Paging<RecipeId>,
) -> Result<Answer<Page<RecipeBody>>, Problem> {
    let aside = sift.draft.read(&who, |r| r.flag("aside"))?;
    let (club, after, limit) = (who.club, paging.after, paging.rows());
    let found = site.db.read(move |conn| rows::list(conn, club, aside, after, limit)).await?;
    Ok(Answer(paging.page(found, |listed| listed.id, RecipeBody::from)))
}

/// One item of a recipe.
#[derive(Serialize, ToSchema)]
pub struct LineBody {
    /// The item.
    pub item: String,
    /// Its name.
    pub name: String,
    /// How much.
    pub amount: Amount,
}

/// A revision in the list of those of its recipe.
#[derive(Serialize, ToSchema)]
pub struct RevisionLine {
    /// Its number.
    pub number: i64,
    /// What changed and why.
    pub note: String,
    /// By whom it was made.
    pub made_by: String,
    /// When.
    pub made_at: String,
}

impl From<&Told> for RevisionLine {
    fn from(told: &Told) -> Self {
        Self {
            number: told.number,
            note: told.note.clone(),
            made_by: told.by.clone(),
            made_at: told.at.and_utc().to_rfc3339(),
        }
    }
}

/// What a recipe says.
#[derive(Serialize, ToSchema)]
#[schema(as = WhatARecipeSays)]
pub struct SaysBody {
    /// The drink.
    pub drink: String,
    /// What it is made from, and the amount that all others are for.
    pub base: LineBody,
    /// What is added.
    pub supplies: Vec<LineBody>,
    /// What is expected to come off.
    pub by_products: Vec<LineBody>,
    /// What is done, in order.
    pub steps: Vec<StepBody>,
    /// % vol that is wanted.
    pub strength: Option<String>,
    /// Sugar that should be left over, g/L.
    pub sugar_g_l: Option<String>,
    /// Ages at which it should be tasted.
    pub tasting_ages_months: Vec<u32>,
    /// They are counted by the warmth of the shelf, as months at 15 °C.
    pub ages_by_warmth: bool,
}

/// A revision of a recipe.
#[derive(Serialize, ToSchema)]
#[schema(as = RecipeRevision)]
pub struct RevisionBody {
    /// The recipe.
    pub recipe: String,
    /// Which revision.
    pub number: i64,
    /// The number of the latest.
    pub latest: i64,
    /// The recipe is not offered any more.
    pub aside: bool,
    /// What changed and why.
    pub note: String,
    /// By whom it was made.
    pub made_by: String,
    /// When.
    pub made_at: String,
    /// What it says.
    pub says: SaysBody,
    /// All revisions, newest first.
    pub revisions: Vec<RevisionLine>,
}

fn line(line: PlanSupply, of: &impl Fn(ItemId) -> (String, BaseUnit)) -> LineBody {
    let (name, unit) = of(line.item);
    LineBody { item: line.item.to_string(), name, amount: Amount::of(line.amount, unit) }
}

fn says(revision: &Revision, of: &impl Fn(ItemId) -> (String, BaseUnit)) -> SaysBody {
    let lines = |lines: &[PlanSupply]| lines.iter().map(|one| line(*one, of)).collect();
    SaysBody {
        drink: revision.drink.clone(),
        base: line(revision.base, of),
        supplies: lines(&revision.supplies),
        by_products: lines(&revision.by_products),
        steps: super::plans::step_bodies(&revision.steps),
        strength: revision.goals.strength.map(Measured::plain),
        sugar_g_l: revision.goals.sugar_g_l.map(Measured::plain),
        tasting_ages_months: revision.goals.tasting_ages_months.clone(),
        ages_by_warmth: revision.goals.ages_by_warmth,
    }
}

fn body(found: &Found) -> RevisionBody {
    let Kept { recipe, number, revision, note, by, at, .. } = &found.kept;
    RevisionBody {
        recipe: recipe.to_string(),
        number: *number,
        latest: found.latest,
        aside: found.aside,
        note: note.clone(),
        made_by: by.clone(),
        made_at: at.and_utc().to_rfc3339(),
        says: says(revision, &|item| (found.name(item), found.unit(item))),
        revisions: found.revisions.iter().map(RevisionLine::from).collect(),
    }
}

async fn shown(
    who: Onlooker,
    site: Site,
    recipe: RecipeId,
    number: Option<i64>,
) -> Result<Answer<RevisionBody>, Problem> {
    let doer = who.clone();
    let read = site.db.read(move |conn| find(conn, &doer, recipe, number)).await?;
    Ok(Answer(body(&read.ok_or_else(|| Problem::missing("recipe"))?)))
}

/// The latest revision of a recipe.
pub async fn show(who: Onlooker, site: Site, path: Path<RecipeId>) -> Result<Answer<RevisionBody>, Problem> {
    shown(who, site, path.0, None).await
}

/// One revision of a recipe.
pub async fn revision(
    who: Onlooker,
    site: Site,
    path: Path<(RecipeId, i64)>,
) -> Result<Answer<RevisionBody>, Problem> {
    shown(who, site, path.0.0, Some(path.0.1)).await
}

/// A revision that was made.
#[derive(Serialize, ToSchema)]
pub struct RevisionMade {
    /// The recipe.
    pub recipe: String,
    /// The number of the revision.
    pub number: i64,
}

impl From<acts::Made> for RevisionMade {
    fn from(made: acts::Made) -> Self {
        Self { recipe: made.recipe.to_string(), number: made.number }
    }
}

/// Writes a recipe.
pub async fn add(
    hand: Cellarhand,
    site: Site,
    Key(key): Key,
    sent: Json<NewRecipe>,
) -> Result<Created<RevisionMade>, Problem> {
    let (club, named) = (hand.club, read::named(&sent.draft));
    let units = site.db.read(move |conn| stock::units(conn, club, &named, &[])).await?;
    let new = read::revision(&sent.draft, &hand, &units)?;
    Ok(Created(acts::write(&site.db, &hand, key, new).await?.into()))
}

/// Makes the next revision of a recipe.
pub async fn revise(
    hand: Cellarhand,
    site: Site,
    path: Path<RecipeId>,
    Key(key): Key,
    sent: Json<NextRevision>,
) -> Result<Created<RevisionMade>, Problem> {
    let (club, named, recipe) = (hand.club, read::named(&sent.draft), path.0);
    let found = site.db.read(move |conn| {
        rows::latest(conn, club, recipe)?;
        stock::units(conn, club, &named, &[])
    });
    let units = match found.await {
        Err(Failure::Gone) => return Err(Problem::missing("recipe")),
        found => found?,
    };
    let order = read::revising(&sent.draft, &hand, recipe, &units)?;
    Ok(Created(acts::revise(&site.db, &hand, key, order).await?.into()))
}

/// Puts a recipe aside.
pub async fn put_aside(
    hand: Cellarhand,
    site: Site,
    path: Path<RecipeId>,
    Key(key): Key,
    sent: Json<Nothing>,
) -> Result<Empty, Problem> {
    sent.draft.read(&hand, |_| ())?;
    acts::put_aside(&site.db, &hand, key, path.0, true).await?;
    Ok(Empty)
}

/// Offers a recipe again.
pub async fn take_back(
    hand: Cellarhand,
    site: Site,
    path: Path<RecipeId>,
    Key(key): Key,
    sent: Json<Nothing>,
) -> Result<Empty, Problem> {
    sent.draft.read(&hand, |_| ())?;
    acts::put_aside(&site.db, &hand, key, path.0, false).await?;
    Ok(Empty)
}

/// One difference between two revisions.
#[derive(Serialize, ToSchema)]
#[schema(as = RecipeDifference)]
pub struct DifferenceBody {
    /// What of the recipe.
    pub what: String,
    /// came, went or changed.
    pub how: String,
    /// What the first says; null where it says nothing.
    pub from: Option<String>,
    /// What the second says; null where it says nothing.
    pub to: Option<String>,
}

/// How two revisions differ.
#[derive(Serialize, ToSchema)]
#[schema(as = RecipeDifferences)]
pub struct DifferencesBody {
    /// The number of the first.
    pub from: i64,
    /// The number of the second.
    pub to: i64,
    /// What the second says of it: what changed and why.
    pub note: String,
    /// In what they differ, in words.
    pub differences: Vec<DifferenceBody>,
}

/// How two revisions differ.
pub async fn difference(
    who: Onlooker,
    site: Site,
    path: Path<RecipeId>,
    between: Query<Between>,
) -> Result<Answer<DifferencesBody>, Problem> {
    let (_, found) = compared(&site, &who, path.0, &between).await?;
    let said = |text: String| (!text.is_empty()).then_some(text);
    let differences = found.rows.into_iter().map(|row| DifferenceBody {
        what: row.what,
        how: row.how.to_owned(),
        from: said(row.from),
        to: said(row.to),
    });
    Ok(Answer(DifferencesBody {
        from: found.from.kept.number,
        to: found.to.kept.number,
        note: found.to.kept.note.clone(),
        differences: differences.collect(),
    }))
}

/// One thing that a batch by a recipe takes.
#[derive(Serialize, ToSchema)]
#[schema(as = RecipeTakes)]
pub struct TakesBody {
    /// The item.
    pub item: String,
    /// Its name.
    pub name: String,
    /// How much.
    pub wanted: Amount,
    /// How much is there and good today.
    pub there: Amount,
    /// How much is missing.
    pub missing: Amount,
}

/// A revision for as much as is there.
#[derive(Serialize, ToSchema)]
#[schema(as = RecipeScaled)]
pub struct ScaledBody {
    /// How much of the base.
    pub base: LineBody,
    /// What it takes, the base first.
    pub takes: Vec<TakesBody>,
    /// What is expected to come off.
    pub by_products: Vec<LineBody>,
    /// What is done, in order.
    pub steps: Vec<StepBody>,
    /// An amount was rounded to a whole thousandth.
    pub rounded: bool,
    /// The greatest amount of the base for which everything is there.
    pub most: Amount,
    /// The name of the item that runs out then.
    pub limited_by: String,
}

/// A revision for what is there.
pub async fn scaled(
    who: Onlooker,
    site: Site,
    path: Path<(RecipeId, i64)>,
    how_large: Query<Size>,
) -> Result<Answer<ScaledBody>, Problem> {
    let sized = sized(&site, &who, path.0, &how_large).await?;
    let found = &sized.found;
    let of = |item: ItemId| (found.name(item), found.unit(item));
    let takes = sized.takes.iter().map(|take| TakesBody {
        item: take.item.to_string(),
        name: take.name.clone(),
        wanted: Amount::of(take.wanted, take.unit),
        there: Amount::of(take.there, take.unit),
        missing: Amount::of(take.missing(), take.unit),
    });
    Ok(Answer(ScaledBody {
        base: line(sized.scaled.base, &of),
        takes: takes.collect(),
        by_products: sized.scaled.by_products.iter().map(|one| line(*one, &of)).collect(),
        steps: super::plans::step_bodies(&sized.scaled.steps),
        rounded: sized.scaled.rounded,
        most: Amount::of(sized.most.0, found.unit(found.kept.revision.base.item)),
        limited_by: found.name(sized.most.1),
    }))
}

/// Makes a batch by a revision.
pub async fn make(
    hand: Cellarhand,
    site: Site,
    path: Path<(RecipeId, i64)>,
    Key(key): Key,
    sent: Json<BatchOfRecipe>,
) -> Result<Created<Made>, Problem> {
    let (doer, (recipe, number)) = (hand.clone(), path.0);
    let found = site.db.read(move |conn| find(conn, &doer, recipe, Some(number))).await?;
    let found = found.ok_or_else(|| Problem::missing("recipe"))?;
    let unit = found.unit(found.kept.revision.base.item);
    let order = read::making(&sent.draft, &hand, path.0, unit)?;
    let made = acts::make(&site.db, &hand, key, order).await?;
    let stage = crate::domain::batches::Stage::Planned.code().to_owned();
    Ok(Created(Made { id: made.id.to_string(), code: made.code, stage }))
}

/// Makes a plan a batch by the latest revision of a recipe, scaled to its base volume.
pub(super) async fn of_plan(
    site: &Site,
    hand: &Cellarhand,
    key: Option<RequestKey>,
    recipe: RecipeId,
    plan: Plan,
) -> Result<Planned, Problem> {
    let doer = hand.clone();
    let found = site.db.read(move |conn| find(conn, &doer, recipe, None)).await?;
    let found = found.ok_or_else(|| Refusal::unfit("recipe", "There is no such recipe in this club"))?;
    let base = found.kept.revision.base.item;
    if found.unit(base) != BaseUnit::Millilitre {
        let said =
            format!("This recipe is for a mass of {}: make its batch under the recipe", found.name(base));
        return Err(Refusal::unfit("recipe", said).into());
    }
    let amount = plan.base_volume.ok_or_else(|| {
        Refusal::unfit("base_volume", "Write how much base there is: the recipe is scaled to it")
    })?;
    let order = acts::Making { recipe, number: None, amount, name: Some(plan.name), day: plan.day };
    Ok(acts::make(&site.db, hand, key, order).await?)
}

/// A batch as a recipe could be written from it.
#[derive(Serialize, ToSchema)]
pub struct BatchAsRecipe {
    /// The recipe by which it was made.
    pub recipe: Option<String>,
    /// The revision of that.
    pub revision: Option<i64>,
    /// What was drawn, weighed off and done; null where nothing was drawn.
    pub as_made: Option<SaysBody>,
}

/// The recipe of a batch, and the batch as it was made.
pub async fn of_batch(
    who: Onlooker,
    site: Site,
    path: Path<BatchId>,
) -> Result<Answer<BatchAsRecipe>, Problem> {
    let (doer, id) = (who.clone(), path.0);
    let read = site.db.read(move |conn| {
        let followed = rows::followed_by(conn, doer.club, id)?;
        let made = write::as_made(conn, &doer, id, None)?;
        let items = made.as_ref().map(Revision::items).unwrap_or_default();
        Ok::<_, Failure>((followed, made, stock::items_of(conn, doer.club, &items)?))
    });
    let (followed, made, items) = match read.await {
        Err(Failure::Gone) => return Err(Problem::missing("batch")),
        found => found?,
    };
    let of = |item: ItemId| {
        items
            .get(&item)
            .map_or_else(|| (String::new(), BaseUnit::Gram), |item| (item.name.clone(), item.unit))
    };
    Ok(Answer(BatchAsRecipe {
        recipe: followed.as_ref().map(|followed| followed.recipe.to_string()),
        revision: followed.map(|followed| followed.number),
        as_made: made.map(|made| says(&made, &of)),
    }))
}
