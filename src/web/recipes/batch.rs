//! A batch made by a recipe, scaled to what is there: for an amount of the base, for all of the base in the stores, or
//! for as much as the scarcest supply allows.

use std::collections::HashMap;

use askama::Template;

use super::read::{self, exact};
use super::{Found, find};
use crate::actions::recipes as acts;
use crate::db::stock::{StockFilter, stock};
use crate::db::{AnyConn, Failure};
use crate::domain::members::{Cellarhand, Doer};
use crate::domain::plans::PlanSupply;
use crate::domain::recipes::{Scaled, reach, scaled, scarcest};
use crate::domain::refusal::Refusal;
use crate::units::days;
use crate::units::ids::{ItemId, RecipeId};
use crate::units::quantity::{BaseUnit, Milli};
use crate::web::body::Form;
use crate::web::extract::{Path, Query};
use crate::web::form_page::FormPage;
use crate::web::forms::{Field, FormView};
use crate::web::frame::Frame;
use crate::web::input::Draft;
use crate::web::plans::{StepRow, named_step_rows};
use crate::web::problem::Problem;
use crate::web::respond::{self, Reply};
use crate::web::site::{Room, Site};

/// How large the batch should be.
#[derive(serde::Deserialize, utoipa::ToSchema)]
pub struct Size {
    /// So much of the base, such as `40 L`.
    pub amount: Option<String>,
    /// `base`: all of the base that is in the stores; `most`: as much as everything in the stores is enough for.
    pub take: Option<String>,
}

/// One thing that a batch takes.
pub struct Take {
    /// Which item.
    pub item: ItemId,
    /// What it is called.
    pub name: String,
    /// What it is counted in.
    pub unit: BaseUnit,
    /// How much.
    pub wanted: Milli,
    /// How much of it is there and good today.
    pub there: Milli,
    /// How much of the base that is enough for.
    pub enough_for: Milli,
}

impl Take {
    /// What is missing.
    pub fn missing(&self) -> Milli {
        self.wanted.above(self.there)
    }
}

/// A revision for what is there.
pub struct Sized {
    /// The revision.
    pub found: Found,
    /// It, scaled.
    pub scaled: Scaled,
    /// What it takes, the base first.
    pub takes: Vec<Take>,
    /// The greatest amount of the base for which everything is there, and what limits it.
    pub most: (Milli, ItemId),
}

/// What of these items is there and good today.
fn there(conn: &mut AnyConn, doer: &Doer, items: &[ItemId]) -> Result<HashMap<ItemId, Milli>, Failure> {
    let filter = StockFilter { items: items.to_vec(), ..StockFilter::default() };
    let mut found: HashMap<ItemId, Milli> = HashMap::new();
    for line in stock(conn, doer.club, &filter)? {
        if line.best_before.is_none_or(|day| day >= doer.today()) {
            let sum = found.entry(line.item).or_default();
            *sum = *sum + line.quantity;
        }
    }
    Ok(found)
}

/// What scaling needs: the revision and what is there of all that it takes.
type Stores = (Found, HashMap<ItemId, Milli>);

fn load(conn: &mut AnyConn, doer: &Doer, recipe: RecipeId, number: i64) -> Result<Option<Stores>, Failure> {
    let Some(found) = find(conn, doer, recipe, Some(number))? else { return Ok(None) };
    let items = found.kept.revision.items();
    let there = there(conn, doer, &items)?;
    Ok(Some((found, there)))
}

/// Reads how large the batch should be and scales the revision to it.
fn size(draft: &Draft, doer: &Doer, (found, there): Stores) -> Result<Sized, Refusal> {
    let revision = &found.kept.revision;
    let of = |item: ItemId| there.get(&item).copied().unwrap_or_default();
    let most = scarcest(revision, of);
    let unit = found.unit(revision.base.item);
    let wanted = draft.read(doer, |r| {
        let takes = ["base", "most"];
        let take = r.optional_choice("take", &takes, |take| take);
        let amount = r.optional_quantity("amount", unit);
        let amount = match (take, amount) {
            (Some("base"), _) => of(revision.base.item),
            (Some(_), _) => most.0,
            (None, Some(amount)) => amount,
            (None, None) => revision.base.amount,
        };
        if amount <= Milli::ZERO && take.is_some() {
            let what = found.name(if take == Some("base") { revision.base.item } else { most.1 });
            r.fault(
                "take",
                format!("{what} is not in the stores, or too little: write how much base there will be"),
            );
        }
        amount
    });
    let scaled = scaled(revision, wanted?)?;
    let take = |line: PlanSupply| Take {
        item: line.item,
        name: found.name(line.item),
        unit: found.unit(line.item),
        wanted: line.amount,
        there: of(line.item),
        enough_for: reach(line.amount, scaled.base.amount, of(line.item)),
    };
    let takes = scaled.takes().into_iter().map(take).collect();
    Ok(Sized { found, scaled, takes, most })
}

/// The revision for what is there, as a program asks for it.
pub(in crate::web) async fn sized(
    site: &Site,
    doer: &Doer,
    (recipe, number): (RecipeId, i64),
    size_of: &Query<Size>,
) -> Result<Sized, Problem> {
    let read = site.read(doer, move |conn, doer| load(conn, doer, recipe, number));
    let stores = read.await?.1.ok_or_else(|| Problem::missing("recipe"))?;
    Ok(size(&size_of.draft, doer, stores)?)
}

#[derive(Template)]
#[template(path = "recipes/batch.html")]
struct BatchPage {
    frame: Frame,
    href: String,
    here: String,
    drink: String,
    number: i64,
    base: String,
    amount: String,
    problem: Option<String>,
    typed: String,
    lead: String,
    limit: String,
    rounded: bool,
    takes: Vec<TakeRow>,
    by_products: Vec<(String, String)>,
    steps: Vec<StepRow>,
    form: FormView,
}

struct TakeRow {
    name: String,
    wanted: String,
    there: String,
    missing: Option<String>,
}

fn much(amount: Milli, unit: BaseUnit) -> String {
    if unit == BaseUnit::Piece { amount.shown(unit) } else { exact(amount, unit) }
}

/// Shows a revision scaled, to be made a batch.
pub async fn show(hand: Cellarhand, site: Site, path: Path<(RecipeId, i64)>, asked: Query<Size>) -> Reply {
    let (recipe, number) = path.0;
    let read = site.read(&hand, move |conn, doer| load(conn, doer, recipe, number));
    let (facts, stores) = read.await?;
    let stores = stores.ok_or_else(|| Problem::missing("recipe"))?;
    let here = format!("/recipes/{recipe}/revisions/{number}/batch");
    let again = (stores.0.clone(), stores.1.clone());
    let (sized, refusal) = match size(&asked.draft, &hand, stores) {
        Ok(sized) => (sized, None),
        // What was asked for cannot be: it is shown for the amount that the recipe itself names.
        Err(refusal) => (size(&Draft::default(), &hand, again)?, Some(refusal)),
    };
    let Sized { found, scaled, takes, most } = &sized;
    let revision = &found.kept.revision;
    let row = |take: &Take| TakeRow {
        name: take.name.clone(),
        wanted: much(take.wanted, take.unit),
        there: if take.there == Milli::ZERO { "none".to_owned() } else { much(take.there, take.unit) },
        missing: (take.missing() > Milli::ZERO).then(|| much(take.missing(), take.unit)),
    };
    let short = takes.iter().filter(|take| take.missing() > Milli::ZERO).count();
    let amount = much(scaled.base.amount, found.unit(scaled.base.item));
    let title = if refusal.is_some() { "Problem: A batch by this recipe" } else { "A batch by this recipe" };
    let page = BatchPage {
        href: site.at(&format!("/recipes/{recipe}/revisions/{number}")),
        drink: revision.drink.clone(),
        number,
        base: found.name(revision.base.item),
        lead: match short {
            0 => "Everything for it is in the stores.".to_owned(),
            1 => "One thing is missing; it goes on the shopping list when the batch is on paper.".to_owned(),
            more => {
                format!("{more} things are missing; they go on the shopping list when the batch is on paper.")
            }
        },
        problem: refusal.as_ref().map(ToString::to_string),
        typed: asked.draft.typed("amount").unwrap_or_default(),
        limit: limit(found, *most),
        rounded: scaled.rounded,
        takes: takes.iter().map(row).collect(),
        by_products: found.lines(&scaled.by_products),
        steps: named_step_rows(&scaled.steps, |item| found.name(item)),
        form: make_form(&site, &here, &amount, &revision.drink, &hand),
        here: site.at(&here),
        amount,
        frame: site.frame(&hand, Room::Batches, title, facts),
    };
    match &refusal {
        Some(refusal) => respond::refused(&page, refusal),
        None => respond::page(&page),
    }
}

/// What is enough for how much, and what limits it.
fn limit(found: &Found, (most, item): (Milli, ItemId)) -> String {
    let name = found.name(item);
    let base = &found.kept.revision.base;
    if most == Milli::ZERO {
        format!("By what the stores hold nothing can be made: {name} is missing.")
    } else if item == base.item {
        format!(
            "The stores are enough for {}: all of the base that is there.",
            found.much(PlanSupply { amount: most, ..*base })
        )
    } else {
        let most = found.much(PlanSupply { amount: most, ..*base });
        format!("The stores are enough for {most} of {}: then {name} runs out.", found.name(base.item))
    }
}

fn make_form(site: &Site, here: &str, amount: &str, drink: &str, doer: &Doer) -> FormView {
    site.form(here, "", "Put it on paper").fields([
        Field::text("amount", "How much base").value(amount),
        Field::text("name", "What it is called").value(drink),
        Field::day("day", "Day").value(days::long(doer.today())),
    ])
}

/// Makes the batch.
pub async fn make(hand: Cellarhand, site: Site, path: Path<(RecipeId, i64)>, form: Form) -> Reply {
    let (recipe, number) = path.0;
    let (facts, found) = site.read(&hand, move |conn, doer| find(conn, doer, recipe, Some(number))).await?;
    let found = found.ok_or_else(|| Problem::missing("recipe"))?;
    let unit = found.unit(found.kept.revision.base.item);
    let done = async {
        let order = read::making(&form.draft, &hand, (recipe, number), unit)?;
        acts::make(&site.db, &hand, form.key.clone(), order).await
    };
    match done.await {
        Ok(made) => Ok(site.see_other(&format!("/batches/{}", made.id))),
        Err(error) => {
            let refusal = Problem::or_refusal(error)?;
            let here = format!("/recipes/{recipe}/revisions/{number}/batch");
            let view = make_form(&site, &here, "", &found.kept.revision.drink, &hand);
            let mut view = form.back(view.leave(site.at(&here)), &refusal);
            "A batch by this recipe".clone_into(&mut view.heading);
            let frame = site.frame(&hand, Room::Batches, "A batch by this recipe", facts);
            let up = (site.at(&here), "What it takes".to_owned());
            respond::refused(&FormPage::new(frame, Some(up), view), &refusal)
        }
    }
}
