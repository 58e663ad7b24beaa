//! Writing a recipe, and its next revision: one form of many lines. It may begin with a revision, or with a batch
//! as it was really made.

use crate::actions::recipes as acts;
use crate::db::stock::{self, Units};
use crate::db::{AnyConn, Failure, batches, recipes as rows, steps};
use crate::domain::members::{Cellarhand, Doer};
use crate::domain::plans::{PlanStep, PlanSupply, StepKind};
use crate::domain::recipes::{Goals, Revision};
use crate::domain::refusal::Refusal;
use crate::domain::steps::{State, Step};
use crate::domain::stock::{Item, ItemKind};
use crate::units::ids::{BatchId, ItemId, RecipeId};
use crate::units::quantity::BaseUnit;
use crate::web::body::Form;
use crate::web::extract::{Path, Query};
use crate::web::form_page::FormPage;
use crate::web::forms::{Choice, Field, FormView, Group};
use crate::web::input::Draft;
use crate::web::problem::Problem;
use crate::web::recipes::read::{self, fields_of};
use crate::web::respond::{self, Reply};
use crate::web::site::{Room, Site};

/// With what the form begins.
#[derive(serde::Deserialize, utoipa::ToSchema)]
pub struct Begin {
    /// A batch, as it was made.
    pub batch: Option<String>,
    /// A revision of the recipe.
    pub from: Option<String>,
}

/// All items, to choose from.
type Items = Vec<(ItemId, Item)>;

fn unit_of(items: &Items, id: ItemId) -> BaseUnit {
    items.iter().find(|item| item.0 == id).map_or(BaseUnit::Gram, |item| item.1.unit)
}

/// What a form is filled with at first.
struct Filling {
    items: Items,
    revision: Option<Revision>,
    note: String,
    latest: i64,
}

fn filling(
    conn: &mut AnyConn,
    doer: &Doer,
    recipe: Option<RecipeId>,
    batch: Option<BatchId>,
    from: Option<i64>,
) -> Result<Option<Filling>, Failure> {
    let found = (|| {
        let latest = match recipe {
            Some(recipe) => rows::latest(conn, doer.club, recipe)?,
            None => 0,
        };
        let mut revision = match recipe {
            Some(recipe) => Some(rows::revision(conn, doer.club, recipe, from.unwrap_or(latest))?.revision),
            None => None,
        };
        let mut note = String::new();
        if let Some(batch) = batch {
            let (code, _) = batches::named(conn, doer.club, batch)?;
            revision = as_made(conn, doer, batch, revision)?;
            note = format!("As batch {code} was made.");
        }
        Ok(Filling { items: stock::items(conn, doer.club)?, revision, note, latest })
    })();
    match found {
        Err(Failure::Gone) => Ok(None),
        found => found.map(Some),
    }
}

/// A batch as it was made: what was drawn, what came off, what was done with the values that were measured. What it
/// should become is as its recipe says. None where nothing was drawn.
pub fn as_made(
    conn: &mut AnyConn,
    doer: &Doer,
    id: BatchId,
    recipe: Option<Revision>,
) -> Result<Option<Revision>, Failure> {
    let batch = batches::batch(conn, doer.club, id)?;
    let recipe = match (recipe, rows::followed_by(conn, doer.club, id)?) {
        (None, Some(followed)) => {
            Some(rows::revision(conn, doer.club, followed.recipe, followed.number)?.revision)
        }
        (recipe, _) => recipe,
    };
    let made = rows::as_made(conn, doer.club, id)?;
    let lines = |off: bool| {
        let line = |one: &rows::AsMade| PlanSupply { item: one.item, amount: one.amount };
        made.iter().filter(|one| one.off == off).map(line).collect::<Vec<_>>()
    };
    let mut supplies = lines(false);
    // The base is that of the recipe; without one, the ingredient of which most was drawn.
    let base = recipe
        .as_ref()
        .map(|recipe| recipe.base.item)
        .filter(|base| supplies.iter().any(|s| s.item == *base));
    let most = || {
        let ingredient = |one: &&rows::AsMade| !one.off && one.kind == ItemKind::Ingredient;
        made.iter().filter(ingredient).max_by_key(|one| one.amount).map(|one| one.item)
    };
    let Some(base) = base.or_else(most) else { return Ok(None) };
    let at = supplies.iter().position(|line| line.item == base);
    let Some(base) = at.map(|at| supplies.remove(at)) else { return Ok(None) };
    let steps = steps::steps(conn, doer.club, id)?;
    Ok(Some(Revision {
        drink: batch.name,
        base,
        supplies,
        by_products: lines(true),
        steps: steps.iter().filter_map(|step| step_as_done(step, &made)).collect(),
        goals: recipe.map_or_else(Goals::default, |recipe| recipe.goals),
    }))
}

/// A step as it was done; none where it was not.
fn step_as_done(step: &Step, made: &[rows::AsMade]) -> Option<PlanStep> {
    let State::Done(record) = step.state() else { return None };
    let plan = step.plan.clone();
    let measured = plan.kind != StepKind::Sample;
    let booked = plan.item.filter(|_| record.entry.is_some());
    let booked = booked.and_then(|item| made.iter().find(|one| one.item == item));
    Some(PlanStep {
        target_c: record.temperature_c.filter(|_| measured).or(plan.target_c),
        minutes: record.minutes().or(plan.minutes),
        amount: record.amount.or(booked.map(|one| (one.amount, one.unit))).or(plan.amount),
        ..plan
    })
}

/// Shows the form of a new recipe.
pub async fn new_form(hand: Cellarhand, site: Site, begin: Query<Begin>) -> Reply {
    form_page(&hand, &site, None, &begin).await
}

/// Shows the form of the next revision.
pub async fn revise_form(hand: Cellarhand, site: Site, path: Path<RecipeId>, begin: Query<Begin>) -> Reply {
    form_page(&hand, &site, Some(path.0), &begin).await
}

async fn form_page(doer: &Doer, site: &Site, recipe: Option<RecipeId>, begin: &Query<Begin>) -> Reply {
    let batch = begin.value.batch.as_deref().map(|id| id.parse().map_err(|_| Problem::missing("batch")));
    let batch = batch.transpose()?;
    let from = begin.draft.read(doer, |r| {
        r.text("batch");
        r.optional_whole("from", 1..=1_000_000).map(i64::from)
    })?;
    let read = site.read(doer, move |conn, doer| filling(conn, doer, recipe, batch, from));
    let (facts, found) = read.await?;
    let found = found.ok_or_else(|| Problem::missing(if batch.is_some() { "batch" } else { "recipe" }))?;
    let mut fields = match &found.revision {
        Some(revision) => fields_of(revision, |item| unit_of(&found.items, item)),
        None => Vec::new(),
    };
    fields.push(("note".to_owned(), found.note));
    fields.push(("from".to_owned(), found.latest.to_string()));
    let draft = Draft::from_form(fields.into_iter())?;
    let view = form(site, recipe, &found.items, &draft).filled(|name| draft.typed(name));
    let title = title(recipe);
    respond::page(&FormPage::new(site.frame(doer, Room::Batches, title, facts), Some(up(site, recipe)), view))
}

fn title(recipe: Option<RecipeId>) -> &'static str {
    if recipe.is_some() { "Change the recipe" } else { "Write a recipe" }
}

fn up(site: &Site, recipe: Option<RecipeId>) -> (String, String) {
    match recipe {
        Some(recipe) => (site.at(&format!("/recipes/{recipe}")), "The recipe".to_owned()),
        None => (site.at("/recipes"), "Recipes".to_owned()),
    }
}

/// The form of a recipe; it works without script, with spare lines at the end of each list.
fn form(site: &Site, recipe: Option<RecipeId>, items: &Items, draft: &Draft) -> FormView {
    let path = recipe.map_or_else(|| "/recipes".to_owned(), |recipe| format!("/recipes/{recipe}/revisions"));
    let intro = if recipe.is_some() {
        "What you save becomes the next revision; those before it stay as they are."
    } else {
        "For one amount of what it is made from; batches of any size follow from it."
    };
    let submit = if recipe.is_some() { "Save the next revision" } else { "Save the recipe" };
    let supplies = [ItemKind::Ingredient, ItemKind::Aid, ItemKind::ByProduct];
    let with_packaging = [ItemKind::Ingredient, ItemKind::Aid, ItemKind::ByProduct, ItemKind::Packaging];
    let mut view = site
        .form(&path, title(recipe), submit)
        .intro(intro)
        .leave(up(site, recipe).0)
        .group(Group::new(
            "The drink and its base",
            [
                Field::text("drink", "What it becomes").hint("The name of the drink, such as Heather mead."),
                Field::select("base", "What it is made from", choices(items, &supplies, "Choose the base")),
                Field::text("base_amount", "For how much of it")
                    .hint("All other amounts are for so much: 60 L, or 10 kg."),
            ],
        ))
        .group(lines(
            "What is added",
            "supply",
            "supplies",
            draft,
            &choices(items, &with_packaging, "Choose what"),
        ))
        .group(lines(
            "What comes off",
            "by-product",
            "by_products",
            draft,
            &choices(items, &[ItemKind::ByProduct], "Choose what"),
        ))
        .group(steps_group(draft, &choices(items, &with_packaging, "nothing by itself")))
        .group(Group::new(
            "What it should become",
            [
                Field::decimal("strength", "Strength").after("% vol"),
                Field::decimal("sugar_g_l", "Sugar left over").after("g/L"),
                Field::text("tasting_ages_months", "To be tasted at these ages")
                    .hint("In months, such as 6, 12, 24."),
                Field::check("ages_by_warmth", "Count them by the warmth of the shelf, as months at 15 °C"),
            ],
        ))
        .group(Group::new("Why", [Field::area("note", note_label(recipe))]));
    if recipe.is_some()
        && let Some(last) = view.groups.last_mut()
    {
        last.fields.push(Field::hidden("from", ""));
    }
    view
}

fn note_label(recipe: Option<RecipeId>) -> &'static str {
    if recipe.is_some() { "What you changed, and why" } else { "What should be known of it" }
}

fn choices(items: &Items, kinds: &[ItemKind], none: &str) -> Vec<Choice> {
    let mut found = vec![Choice::new("", none)];
    for kind in kinds {
        let of = items.iter().filter(|(_, item)| item.kind == *kind);
        found.extend(
            of.map(|(id, item)| Choice::new(id.to_string(), item.name.clone()).under(kind.heading())),
        );
    }
    found
}

fn lines(name: &str, each: &str, path: &str, draft: &Draft, choices: &[Choice]) -> Group {
    let count = (draft.count(path) + 2).min(100);
    Group::repeated(name, each, path, count, |_| {
        vec![
            Field::select("item", "What", choices.to_vec()),
            Field::text("amount", "How much").hint("With its unit: 2.5 kg, 12 mL; pieces without."),
        ]
    })
}

fn steps_group(draft: &Draft, items: &[Choice]) -> Group {
    let count = (draft.count("steps") + 3).min(100);
    Group::repeated("What is done, step by step", "step", "steps", count, |at| {
        let mut fields = step_fields(items);
        let order = Field::decimal("turn", "Order").hint("Such as 2.5 to come between 2 and 3.");
        fields.push(if at < draft.count("steps") { order } else { order.value("") });
        fields
    })
}

/// The questions of one step.
pub fn step_fields(items: &[Choice]) -> Vec<Field> {
    let mut kinds = vec![Choice::new("", "Choose what is done")];
    kinds.extend(StepKind::ALL.map(|kind| Choice::new(kind.code(), kind.name())));
    vec![
        Field::select("kind", "What is done", kinds),
        Field::text("what", "In your words"),
        Field::select("item", "What is added, or comes off", items.to_vec()),
        Field::text("amount", "How much").hint("With its unit: 2.5 kg, 12 mL."),
        Field::decimal("target_c", "How warm").after("°C"),
        Field::text("minutes", "How long").hint("45 min, 2 h 30 min, 14 days."),
        Field::text("caution", "What can hurt somebody").hint("It stands before the button of this step."),
    ]
}

/// Saves a new recipe.
pub async fn save_new(hand: Cellarhand, site: Site, form: Form) -> Reply {
    save(&hand, &site, None, &form).await
}

/// Saves the next revision.
pub async fn save_next(hand: Cellarhand, site: Site, path: Path<RecipeId>, form: Form) -> Reply {
    save(&hand, &site, Some(path.0), &form).await
}

async fn save(hand: &Cellarhand, site: &Site, recipe: Option<RecipeId>, sent: &Form) -> Reply {
    let named = read::named(&sent.draft);
    let read = site.read(hand, move |conn, doer| {
        let latest = match recipe.map(|recipe| rows::latest(conn, doer.club, recipe)) {
            Some(Err(Failure::Gone)) => return Ok(None),
            Some(latest) => latest?,
            None => 0,
        };
        Ok(Some((stock::units(conn, doer.club, &named, &[])?, stock::items(conn, doer.club)?, latest)))
    });
    let (facts, found) = read.await?;
    let (units, items, latest) = found.ok_or_else(|| Problem::missing("recipe"))?;
    match keep(hand, site, recipe, sent, &units).await {
        Ok(made) => Ok(site.see_other(&format!("/recipes/{}/revisions/{}", made.recipe, made.number))),
        Err(error) => {
            let refusal = Problem::or_refusal(error)?;
            let mut view = sent.back(form(site, recipe, &items, &sent.draft), &refusal);
            if of_another(&refusal) {
                // Whoever has read this may save after the revision that came between.
                let fields = view.groups.iter_mut().flat_map(|group| &mut group.fields);
                fields
                    .filter(|field| field.name == "from")
                    .for_each(|field| field.value = latest.to_string());
            }
            let frame = site.frame(hand, Room::Batches, title(recipe), facts);
            respond::refused(&FormPage::new(frame, Some(up(site, recipe)), view), &refusal)
        }
    }
}

fn of_another(refusal: &Refusal) -> bool {
    refusal.faults.iter().any(|fault| fault.field == "from")
}

async fn keep(
    hand: &Cellarhand,
    site: &Site,
    recipe: Option<RecipeId>,
    sent: &Form,
    units: &Units,
) -> crate::actions::Done<acts::Made> {
    let key = sent.key.clone();
    match recipe {
        None => acts::write(&site.db, hand, key, read::revision(&sent.draft, hand, units)?).await,
        Some(recipe) => {
            acts::revise(&site.db, hand, key, read::revising(&sent.draft, hand, recipe, units)?).await
        }
    }
}
