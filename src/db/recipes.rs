//! Recipes and their revisions; and which of them a batch was made by.

use std::collections::HashMap;

use diesel::prelude::*;

use super::connection::AnyConn;
use super::failure::Failure;
use super::prepared::{Prepare, padded};
use super::schema::{
    batches, items, members, recipe_by_products, recipe_revisions, recipe_steps, recipe_supplies, recipes,
};
use crate::domain::members::Doer;
use crate::domain::plans::{PlanStep, PlanSupply, StepKind};
use crate::domain::recipes::{Goals, Revision, read_months};
use crate::units::days::Instant;
use crate::units::ids::{BatchId, ClubId, ItemId, MemberId, RecipeId, RevisionId};
use crate::units::measure::Measured;
use crate::units::quantity::{BaseUnit, Milli};

mod made;

pub use made::{AsMade, as_made};

/// Keep a recipe; its first revision follows.
pub fn add(conn: &mut AnyConn, club: ClubId, id: RecipeId) -> Result<(), Failure> {
    diesel::insert_into(recipes::table)
        .values((recipes::id.eq(id), recipes::club_id.eq(club)))
        .execute(conn)?;
    Ok(())
}

/// Keep a revision.
pub fn add_revision(
    conn: &mut AnyConn,
    doer: &Doer,
    (recipe, number): (RecipeId, i64),
    revision: &Revision,
    note: &str,
) -> Result<RevisionId, Failure> {
    let (id, club) = (RevisionId::fresh(), doer.club);
    let ages: Vec<String> = revision.goals.tasting_ages_months.iter().map(u32::to_string).collect();
    diesel::insert_into(recipe_revisions::table)
        .values((
            recipe_revisions::id.eq(id),
            recipe_revisions::club_id.eq(club),
            recipe_revisions::recipe_id.eq(recipe),
            recipe_revisions::number.eq(number),
            recipe_revisions::drink.eq(&revision.drink),
            recipe_revisions::base_item_id.eq(revision.base.item),
            recipe_revisions::base_amount.eq(revision.base.amount),
            recipe_revisions::strength_micro.eq(revision.goals.strength),
            recipe_revisions::sugar_micro_g_l.eq(revision.goals.sugar_g_l),
            recipe_revisions::tasting_ages_months.eq(ages.join(", ")),
            recipe_revisions::ages_by_warmth.eq(revision.goals.ages_by_warmth),
            recipe_revisions::note.eq(note),
            recipe_revisions::made_by.eq(doer.member),
            recipe_revisions::made_at.eq(doer.now),
        ))
        .execute(conn)?;
    for (line, supply) in (1_i64..).zip(&revision.supplies) {
        diesel::insert_into(recipe_supplies::table)
            .values((
                recipe_supplies::revision_id.eq(id),
                recipe_supplies::line.eq(line),
                recipe_supplies::club_id.eq(club),
                recipe_supplies::item_id.eq(supply.item),
                recipe_supplies::amount.eq(supply.amount),
            ))
            .execute(conn)?;
    }
    for (line, off) in (1_i64..).zip(&revision.by_products) {
        diesel::insert_into(recipe_by_products::table)
            .values((
                recipe_by_products::revision_id.eq(id),
                recipe_by_products::line.eq(line),
                recipe_by_products::club_id.eq(club),
                recipe_by_products::item_id.eq(off.item),
                recipe_by_products::amount.eq(off.amount),
            ))
            .execute(conn)?;
    }
    for (line, step) in (1_i64..).zip(&revision.steps) {
        diesel::insert_into(recipe_steps::table)
            .values((
                recipe_steps::revision_id.eq(id),
                recipe_steps::line.eq(line),
                recipe_steps::club_id.eq(club),
                recipe_steps::kind.eq(step.kind),
                recipe_steps::what.eq(&step.what),
                recipe_steps::amount.eq(step.amount.map(|amount| amount.0)),
                recipe_steps::unit.eq(step.amount.map(|amount| amount.1)),
                recipe_steps::item_id.eq(step.item),
                recipe_steps::target_micro_c.eq(step.target_c),
                recipe_steps::minutes.eq(step.minutes),
                recipe_steps::caution.eq(&step.caution),
            ))
            .execute(conn)?;
    }
    Ok(id)
}

/// A revision as it is kept.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Kept {
    /// Which.
    pub id: RevisionId,
    /// Of which recipe.
    pub recipe: RecipeId,
    /// Its number.
    pub number: i64,
    /// What it says.
    pub revision: Revision,
    /// What changed and why.
    pub note: String,
    /// By whom it was made.
    pub by: String,
    /// When.
    pub at: Instant,
}

/// The number of the latest revision of a recipe.
pub fn latest(conn: &mut AnyConn, club: ClubId, recipe: RecipeId) -> Result<i64, Failure> {
    Ok(recipe_revisions::table
        .filter(recipe_revisions::recipe_id.eq(recipe).and(recipe_revisions::club_id.eq(club)))
        .order(recipe_revisions::number.desc())
        .select(recipe_revisions::number)
        .first(conn)?)
}

/// One revision.
pub fn revision(conn: &mut AnyConn, club: ClubId, recipe: RecipeId, number: i64) -> Result<Kept, Failure> {
    type Row = (
        (RevisionId, String, ItemId, Milli),
        (Option<Measured>, Option<Measured>, String, bool),
        (String, String, Instant),
    );
    let ((id, drink, item, amount), (strength, sugar_g_l, ages, ages_by_warmth), (note, by, at)): Row =
        recipe_revisions::table
            .inner_join(members::table.on(members::id.eq(recipe_revisions::made_by)))
            .filter(recipe_revisions::recipe_id.eq(recipe).and(recipe_revisions::club_id.eq(club)))
            .filter(recipe_revisions::number.eq(number))
            .select((
                (
                    recipe_revisions::id,
                    recipe_revisions::drink,
                    recipe_revisions::base_item_id,
                    recipe_revisions::base_amount,
                ),
                (
                    recipe_revisions::strength_micro,
                    recipe_revisions::sugar_micro_g_l,
                    recipe_revisions::tasting_ages_months,
                    recipe_revisions::ages_by_warmth,
                ),
                (recipe_revisions::note, members::name, recipe_revisions::made_at),
            ))
            .first(conn)?;
    let supplies: Vec<(ItemId, Milli)> = recipe_supplies::table
        .filter(recipe_supplies::revision_id.eq(id))
        .order(recipe_supplies::line)
        .select((recipe_supplies::item_id, recipe_supplies::amount))
        .load(conn)?;
    let by_products: Vec<(ItemId, Milli)> = recipe_by_products::table
        .filter(recipe_by_products::revision_id.eq(id))
        .order(recipe_by_products::line)
        .select((recipe_by_products::item_id, recipe_by_products::amount))
        .load(conn)?;
    let line = |(item, amount): (ItemId, Milli)| PlanSupply { item, amount };
    let tasting_ages_months = read_months(&ages).map_err(|why| Failure::Fault(why.to_string()))?;
    let revision = Revision {
        drink,
        base: PlanSupply { item, amount },
        supplies: supplies.into_iter().map(line).collect(),
        by_products: by_products.into_iter().map(line).collect(),
        steps: steps(conn, id)?,
        goals: Goals { strength, sugar_g_l, tasting_ages_months, ages_by_warmth },
    };
    Ok(Kept { id, recipe, number, revision, note, by, at })
}

fn steps(conn: &mut AnyConn, revision: RevisionId) -> Result<Vec<PlanStep>, Failure> {
    type Row = (
        StepKind,
        String,
        (Option<Milli>, Option<BaseUnit>),
        Option<ItemId>,
        Option<Measured>,
        Option<i64>,
        String,
    );
    let rows: Vec<Row> = recipe_steps::table
        .filter(recipe_steps::revision_id.eq(revision))
        .order(recipe_steps::line)
        .select((
            recipe_steps::kind,
            recipe_steps::what,
            (recipe_steps::amount, recipe_steps::unit),
            recipe_steps::item_id,
            recipe_steps::target_micro_c,
            recipe_steps::minutes,
            recipe_steps::caution,
        ))
        .load(conn)?;
    let step = |(kind, what, (amount, unit), item, target_c, minutes, caution): Row| PlanStep {
        kind,
        what,
        amount: amount.zip(unit),
        item,
        target_c,
        minutes,
        caution,
    };
    Ok(rows.into_iter().map(step).collect())
}

/// A revision in the list of those of its recipe.
#[derive(Debug, Clone, PartialEq, Eq, Queryable)]
pub struct Told {
    /// Which.
    pub id: RevisionId,
    /// Its number.
    pub number: i64,
    /// The drink.
    pub drink: String,
    /// What changed and why.
    pub note: String,
    /// By whom it was made.
    pub by: String,
    /// When.
    pub at: Instant,
}

/// The revisions of a recipe, newest first.
pub fn revisions(conn: &mut AnyConn, club: ClubId, recipe: RecipeId) -> Result<Vec<Told>, Failure> {
    Ok(recipe_revisions::table
        .inner_join(members::table.on(members::id.eq(recipe_revisions::made_by)))
        .filter(recipe_revisions::recipe_id.eq(recipe).and(recipe_revisions::club_id.eq(club)))
        .order(recipe_revisions::number.desc())
        .select((
            recipe_revisions::id,
            recipe_revisions::number,
            recipe_revisions::drink,
            recipe_revisions::note,
            members::name,
            recipe_revisions::made_at,
        ))
        .load(conn)?)
}

/// When a recipe was put aside; none while it is offered.
pub fn aside(conn: &mut AnyConn, club: ClubId, recipe: RecipeId) -> Result<Option<Instant>, Failure> {
    Ok(recipes::table
        .filter(recipes::id.eq(recipe).and(recipes::club_id.eq(club)))
        .select(recipes::aside_at)
        .first(conn)?)
}

/// Put it aside, or offer it again.
pub fn put_aside(
    conn: &mut AnyConn,
    recipe: RecipeId,
    aside: Option<(Instant, MemberId)>,
) -> Result<(), Failure> {
    diesel::update(recipes::table.filter(recipes::id.eq(recipe)))
        .set((
            recipes::aside_at.eq(aside.map(|aside| aside.0)),
            recipes::aside_by.eq(aside.map(|aside| aside.1)),
        ))
        .execute(conn)?;
    Ok(())
}

/// A recipe in a list, as its latest revision has it.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Listed {
    /// Which.
    pub id: RecipeId,
    /// It is not offered any more.
    pub aside: bool,
    /// The drink.
    pub drink: String,
    /// What it is made from.
    pub base: String,
    /// The number of its latest revision.
    pub number: i64,
    /// When that was made.
    pub at: Instant,
    /// How many batches were made by any of its revisions.
    pub batches: i64,
}

/// Recipes that are offered, or those that were put aside, newest first, before `before`.
pub fn list(
    conn: &mut AnyConn,
    club: ClubId,
    aside: bool,
    before: Option<RecipeId>,
    limit: i64,
) -> Result<Vec<Listed>, Failure> {
    let mut query = recipes::table
        .filter(recipes::club_id.eq(club))
        .order(recipes::id.desc())
        .limit(limit)
        .select(recipes::id)
        .into_boxed();
    query = if aside {
        query.filter(recipes::aside_at.is_not_null())
    } else {
        query.filter(recipes::aside_at.is_null())
    };
    if let Some(before) = before {
        query = query.filter(recipes::id.lt(before));
    }
    let ids: Vec<RecipeId> = query.load(conn)?;
    let of = named(conn, &ids)?;
    let batches = batches_made(conn, &ids)?;
    let listed = |id: RecipeId| {
        let (drink, base, number, at) = of.get(&id)?.clone();
        let batches = batches.get(&id).copied().unwrap_or_default();
        Some(Listed { id, aside, drink, base, number, at, batches })
    };
    Ok(ids.into_iter().filter_map(listed).collect())
}

/// Drink, base, number and time of the latest revision.
type Latest = (String, String, i64, Instant);

fn named(conn: &mut AnyConn, ids: &[RecipeId]) -> Result<HashMap<RecipeId, Latest>, Failure> {
    let rows: Vec<(RecipeId, String, String, i64, Instant)> = recipe_revisions::table
        .inner_join(items::table.on(items::id.eq(recipe_revisions::base_item_id)))
        .filter(recipe_revisions::recipe_id.eq_any(padded(ids)))
        .order((recipe_revisions::recipe_id, recipe_revisions::number))
        .select((
            recipe_revisions::recipe_id,
            recipe_revisions::drink,
            items::name,
            recipe_revisions::number,
            recipe_revisions::made_at,
        ))
        .prepared()
        .load(conn)?;
    // A later revision takes the place of an earlier one.
    Ok(rows.into_iter().map(|(id, drink, base, number, at)| (id, (drink, base, number, at))).collect())
}

fn batches_made(conn: &mut AnyConn, ids: &[RecipeId]) -> Result<HashMap<RecipeId, i64>, Failure> {
    use diesel::dsl::count_star;
    let rows: Vec<(RecipeId, i64)> = batches::table
        .inner_join(
            recipe_revisions::table.on(recipe_revisions::id.nullable().eq(batches::recipe_revision_id)),
        )
        .filter(recipe_revisions::recipe_id.eq_any(padded(ids)))
        .group_by(recipe_revisions::recipe_id)
        .select((recipe_revisions::recipe_id, count_star()))
        .prepared()
        .load(conn)?;
    Ok(rows.into_iter().collect())
}

/// The revisions of a recipe, to find the batches that were made by it.
pub fn revision_ids(conn: &mut AnyConn, club: ClubId, recipe: RecipeId) -> Result<Vec<RevisionId>, Failure> {
    Ok(recipe_revisions::table
        .filter(recipe_revisions::recipe_id.eq(recipe).and(recipe_revisions::club_id.eq(club)))
        .select(recipe_revisions::id)
        .load(conn)?)
}

/// A batch is made by this revision.
pub fn follow(conn: &mut AnyConn, batch: BatchId, revision: RevisionId) -> Result<(), Failure> {
    diesel::update(batches::table.filter(batches::id.eq(batch)))
        .set(batches::recipe_revision_id.eq(Some(revision)))
        .execute(conn)?;
    Ok(())
}

/// The recipe by which a batch was made.
#[derive(Debug, Clone, PartialEq, Eq, Queryable)]
pub struct Followed {
    /// Which.
    pub recipe: RecipeId,
    /// The number of the revision.
    pub number: i64,
    /// What the recipe is called in that revision.
    pub drink: String,
}

/// The recipes by which these batches were made.
pub fn followed(
    conn: &mut AnyConn,
    club: ClubId,
    of: &[BatchId],
) -> Result<HashMap<BatchId, Followed>, Failure> {
    let rows: Vec<(BatchId, Followed)> = batches::table
        .inner_join(
            recipe_revisions::table.on(recipe_revisions::id.nullable().eq(batches::recipe_revision_id)),
        )
        .filter(batches::club_id.eq(club).and(batches::id.eq_any(padded(of))))
        .select((
            batches::id,
            (recipe_revisions::recipe_id, recipe_revisions::number, recipe_revisions::drink),
        ))
        .prepared()
        .load(conn)?;
    Ok(rows.into_iter().collect())
}

/// The recipe by which a batch was made; none where it was made without.
pub fn followed_by(conn: &mut AnyConn, club: ClubId, batch: BatchId) -> Result<Option<Followed>, Failure> {
    Ok(followed(conn, club, &[batch])?.remove(&batch))
}
