//! Recipes: the first revision, the next one, putting a recipe aside, and a batch made by one.

use serde::{Deserialize, Serialize};

use super::batches::{Plan, Planned, new_batch};
use super::once::{RequestKey, once};
use super::{Done, or_missing};
use crate::db::recipes::{self as rows, Kept};
use crate::db::{AnyConn, Database, plans, stock};
use crate::domain::members::{Cellarhand, Doer};
use crate::domain::plans::PlanSupply;
use crate::domain::recipes::{Revision, differences, scaled};
use crate::domain::refusal::{Fault, Refusal, Why};
use crate::domain::stock::ItemKind;
use crate::units::days::Day;
use crate::units::ids::RecipeId;
use crate::units::quantity::{BaseUnit, Milli};

/// A revision to be kept.
#[derive(Debug, Clone, Serialize, Deserialize)]
pub struct NewRevision {
    /// What it says.
    pub revision: Revision,
    /// What changed and why.
    pub note: String,
}

/// A revision that was made.
#[derive(Debug, Clone, Serialize, Deserialize)]
pub struct Made {
    /// Of which recipe.
    pub recipe: RecipeId,
    /// Its number.
    pub number: i64,
}

/// Write a recipe: its first revision.
pub async fn write(db: &Database, by: &Cellarhand, key: Option<RequestKey>, new: NewRevision) -> Done<Made> {
    once(db, by, key, "recipe", new, |conn, doer, new| {
        fits(conn, doer, &new.revision)?;
        let recipe = RecipeId::fresh();
        rows::add(conn, doer.club, recipe)?;
        rows::add_revision(conn, doer, (recipe, 1), &new.revision, &new.note)?;
        Ok(Made { recipe, number: 1 })
    })
    .await
}

/// The next revision of a recipe.
#[derive(Debug, Clone, Serialize, Deserialize)]
pub struct Revising {
    /// Of which recipe.
    pub recipe: RecipeId,
    /// The number of the revision that was changed; none takes the latest.
    pub from: Option<i64>,
    /// What it says.
    pub new: NewRevision,
}

/// Save a recipe as it is now: the next number, unless nothing differs from the latest.
pub async fn revise(db: &Database, by: &Cellarhand, key: Option<RequestKey>, order: Revising) -> Done<Made> {
    once(db, by, key, "revision", order, |conn, doer, order| {
        let Revising { recipe, from, new } = order;
        let latest = or_missing(rows::latest(conn, doer.club, *recipe), "", "recipe")?;
        let before = rows::revision(conn, doer.club, *recipe, latest)?;
        fits(conn, doer, &new.revision)?;
        if let Some(from) = from.filter(|from| *from > latest) {
            return Err(Refusal::unfit("from", format!("There is no revision {from}; the latest is {latest}")).into());
        }
        if from.is_some_and(|from| from < latest) {
            let Kept { by, note, .. } = &before;
            return Err(Refusal::conflict(
                "from",
                format!("{by} made revision {latest} while you wrote (“{note}”); look at it, then save yours after it"),
            )
            .into());
        }
        if differences(&before.revision, &new.revision).is_empty() {
            return Err(Refusal::conflict(
                "",
                format!("Nothing differs from revision {latest}, so no revision was made"),
            )
            .into());
        }
        if new.note.is_empty() {
            return Err(Refusal::unfit("note", "Write what you changed and why").into());
        }
        rows::add_revision(conn, doer, (*recipe, latest + 1), &new.revision, &new.note)?;
        Ok(Made { recipe: *recipe, number: latest + 1 })
    })
    .await
}

/// Whether the items that a revision names are there and can be meant where they stand.
fn fits(conn: &mut AnyConn, doer: &Doer, revision: &Revision) -> Done<()> {
    revision.check()?;
    let found = stock::items_of(conn, doer.club, &revision.items())?;
    let mut faults = Vec::new();
    let mut look = |field: String, line: &PlanSupply, off: bool| {
        let message = match found.get(&line.item) {
            None => "There is no such item in this club".to_owned(),
            Some(item) if off && item.kind != ItemKind::ByProduct => {
                format!("{} is not a by-product", item.name)
            }
            Some(item) if !off && item.kind == ItemKind::Drink => {
                format!("{} is a finished drink; a blend is a step", item.name)
            }
            Some(_) => return,
        };
        faults.push(Fault { field, message });
    };
    look("base".to_owned(), &revision.base, false);
    for (list, lines, off) in
        [("supplies", &revision.supplies, false), ("by_products", &revision.by_products, true)]
    {
        for (at, line) in lines.iter().enumerate() {
            look(format!("{list}.{at}.item"), line, off);
        }
    }
    for (at, step) in revision.steps.iter().enumerate() {
        if step.item.is_some_and(|item| !found.contains_key(&item)) {
            let (field, message) =
                (format!("steps.{at}.item"), "There is no such item in this club".to_owned());
            faults.push(Fault { field, message });
        }
    }
    if faults.is_empty() {
        Ok(())
    } else {
        Err(Refusal { why: Why::Unfit, faults, entries: Vec::new() }.into())
    }
}

/// Put a recipe aside, or offer it again.
pub async fn put_aside(
    db: &Database,
    by: &Cellarhand,
    key: Option<RequestKey>,
    recipe: RecipeId,
    aside: bool,
) -> Done<RecipeId> {
    once(db, by, key, "recipe aside", (recipe, aside), |conn, doer, (recipe, aside)| {
        let before = or_missing(rows::aside(conn, doer.club, *recipe), "", "recipe")?;
        match (before, aside) {
            (Some(_), true) => Err(Refusal::conflict("", "This recipe was put aside already").into()),
            (None, false) => Err(Refusal::conflict("", "This recipe is offered already").into()),
            _ => {
                rows::put_aside(conn, *recipe, aside.then_some((doer.now, doer.member)))?;
                Ok(*recipe)
            }
        }
    })
    .await
}

/// A batch to be made by a revision.
#[derive(Debug, Clone, Serialize, Deserialize)]
pub struct Making {
    /// Which recipe.
    pub recipe: RecipeId,
    /// Which revision; none takes the latest.
    pub number: Option<i64>,
    /// How much of the base.
    pub amount: Milli,
    /// The name of the drink, if other than the recipe's.
    pub name: Option<String>,
    /// When it is planned.
    pub day: Day,
}

/// Put a batch on paper that is made by a revision, scaled to so much of its base.
pub async fn make(db: &Database, by: &Cellarhand, key: Option<RequestKey>, order: Making) -> Done<Planned> {
    once(db, by, key, "batch of a recipe", order, made).await
}

/// The same in a transaction that is open already.
pub(super) fn made(conn: &mut AnyConn, doer: &Doer, order: &Making) -> Done<Planned> {
    let latest = or_missing(rows::latest(conn, doer.club, order.recipe), "recipe", "recipe")?;
    let number = order.number.unwrap_or(latest);
    let kept = or_missing(rows::revision(conn, doer.club, order.recipe, number), "revision", "revision")?;
    if rows::aside(conn, doer.club, order.recipe)?.is_some() {
        return Err(Refusal::conflict("", "This recipe was put aside; take it back first").into());
    }
    let scaled = scaled(&kept.revision, order.amount)?;
    let base = stock::item(conn, doer.club, scaled.base.item)?;
    let base_volume = (base.unit == BaseUnit::Millilitre).then_some(scaled.base.amount);
    let name = order.name.clone().unwrap_or(kept.revision.drink);
    let plan = Plan { name, base_volume, day: order.day };
    let batch = new_batch(conn, doer, &plan.name, plan.base_volume, plan.day, None)?;
    plans::add(conn, doer.club, batch.id, &scaled.steps, &scaled.takes())?;
    rows::follow(conn, batch.id, kept.id)?;
    Ok(batch)
}
