//! Plans by the API: the ways to a strength, a batch made of one of them, what a batch is planned to be, what is
//! missing.

use serde::Serialize;
use utoipa::ToSchema;
use utoipa::openapi::{ObjectBuilder, Schema, Type};

use super::Amount;
use super::describe::Operation;
use super::workbench::object;
use crate::actions::plans as acts;
use crate::db::{Failure, batches, plans, steps as kept};
use crate::domain::members::{Cellarhand, Onlooker};
use crate::domain::plans::PlanStep;
use crate::domain::workbench::routes::{Bill, INPUTS, Role, Route, steps};
use crate::units::ids::BatchId;
use crate::units::quantity::Milli;
use crate::web::body::Sent;
use crate::web::extract::{Key, Path};
use crate::web::problem::Problem;
use crate::web::respond::{Answer, Created};
use crate::web::site::Site;
use crate::web::workbench::routes::{asked_by_program, ways, whole_plan};

/// One step of a plan.
#[derive(Serialize, ToSchema)]
#[schema(as = PlanStep)]
pub struct StepBody {
    /// Which, from 1.
    pub number: usize,
    /// heat-to, hold, curdle, strain, split-lactose, boil-down, sweeten, dissolve, cool, fill, pitch, rack, fine,
    /// stabilise,
    /// back-sweeten, blend, split, sample or note.
    pub kind: String,
    /// In words.
    pub what: String,
    /// How much.
    pub amount: Option<Amount>,
    /// What is added, or comes off.
    pub item: Option<String>,
    /// Temperature to reach or keep, °C.
    pub target_c: Option<String>,
    /// How long.
    pub minutes: Option<i64>,
    /// What can hurt somebody; empty where nothing does.
    pub caution: String,
}

/// Steps as they are answered.
pub(super) fn step_bodies(steps: &[PlanStep]) -> Vec<StepBody> {
    steps.iter().enumerate().map(|(at, step)| step_body(at, step)).collect()
}

/// A step as it is answered.
pub(super) fn step_body(at: usize, step: &PlanStep) -> StepBody {
    StepBody {
        number: at + 1,
        kind: step.kind.code().to_owned(),
        what: step.what.clone(),
        amount: step.amount.map(|(amount, unit)| Amount::of(amount, unit)),
        item: step.item.map(|item| item.to_string()),
        target_c: step.target_c.map(crate::units::measure::Measured::plain),
        minutes: step.minutes,
        caution: step.caution.clone(),
    }
}

/// A supply of a plan.
#[derive(Serialize, ToSchema)]
#[schema(as = PlanSupply)]
pub struct SupplyBody {
    /// The item.
    pub item: String,
    /// Its name.
    pub name: String,
    /// How much the plan says.
    pub planned: Amount,
    /// How much was drawn.
    pub drawn: Amount,
}

/// What a batch is planned to be.
#[derive(Serialize, ToSchema)]
#[schema(as = BatchPlan)]
pub struct PlanBody {
    /// Its steps, in their order.
    pub steps: Vec<StepBody>,
    /// Its supplies.
    pub supplies: Vec<SupplyBody>,
}

/// What a batch is planned to be, and what of it was drawn.
pub async fn show(who: Onlooker, site: Site, path: Path<BatchId>) -> Result<Answer<PlanBody>, Problem> {
    let read = site.read(&who, move |conn, doer| {
        match batches::named(conn, doer.club, path.0) {
            Err(Failure::Gone) => return Ok(None),
            found => found?,
        };
        let steps: Vec<PlanStep> =
            kept::steps(conn, doer.club, path.0)?.into_iter().map(|step| step.plan).collect();
        Ok(Some((steps, plans::supplies(conn, doer.club, path.0)?)))
    });
    let (steps, supplies) = read.await?.1.ok_or_else(|| Problem::missing("batch"))?;
    let supply = |supply: plans::Supply| SupplyBody {
        item: supply.wanted.item.to_string(),
        planned: Amount::of(supply.wanted.planned, supply.unit),
        drawn: Amount::of(supply.wanted.drawn, supply.unit),
        name: supply.name,
    };
    let supplies = supplies.into_iter().map(supply).collect();
    Ok(Answer(PlanBody { steps: step_bodies(&steps), supplies }))
}

/// What something from the stores costs for a way.
#[derive(Serialize, ToSchema)]
#[schema(as = WayTakes)]
pub struct TakesBody {
    /// What it is for: the name of the field that chooses the item.
    pub role: String,
    /// The item, where one is known.
    pub item: Option<String>,
    /// Its name.
    pub name: Option<String>,
    /// How much.
    pub needed: Option<Amount>,
    /// How much of that is not there.
    pub missing: Option<Amount>,
    /// What it costs; null where nothing is there to say.
    pub cost: Option<String>,
    /// What is to be known.
    pub note: String,
}

/// One way.
#[derive(Serialize, ToSchema)]
#[schema(as = Way)]
pub struct WayBody {
    /// sweeten, boil-down, mix, water or as-it-is.
    pub route: String,
    /// Its name.
    pub name: String,
    /// Why it cannot be gone; then the figures are those of the base.
    pub cannot: Option<String>,
    /// Cane sugar to add.
    pub sugar_kg: f64,
    /// Water to add.
    pub water_l: f64,
    /// Volume after boiling down.
    pub boiled_l: f64,
    /// Water boiled off.
    pub evaporated_kg: f64,
    /// Hours on the stove.
    pub hours: f64,
    /// Energy drawn.
    pub energy_kwh: f64,
    /// Volume of the must.
    pub must_l: f64,
    /// Its gravity.
    pub must_sg: f64,
    /// Sugar in it that ferments, as hexose.
    pub hexose_g_l: f64,
    /// Volume of the drink.
    pub drink_l: f64,
    /// Strength expected, % vol.
    pub strength: f64,
    /// Half the width of what that may be off by.
    pub strength_give_or_take: f64,
    /// Sugar that stays.
    pub left_g_l: f64,
    /// Bottles that can be filled.
    pub bottles: u32,
    /// What a bottle costs by the club's lots; null where that is not known.
    pub cost_per_bottle: Option<String>,
    /// Something has no price: the cost is at least this.
    pub cost_is_incomplete: bool,
    /// What it takes from the stores.
    pub takes: Vec<TakesBody>,
    /// What must be known.
    pub warnings: Vec<String>,
    /// Its steps.
    pub steps: Vec<StepBody>,
}

/// The ways side by side.
#[derive(Serialize, ToSchema)]
#[schema(as = Ways)]
pub struct WaysBody {
    /// What the base comes to by itself, % vol.
    pub natural_strength: f64,
    /// Volume of the base: whey, juice, honey water.
    pub base_l: f64,
    /// Curd of milk.
    pub curd_kg: Option<f64>,
    /// Rennet of milk.
    pub rennet_ml: Option<f64>,
    /// Lactase of milk.
    pub lactase_ml: Option<f64>,
    /// What was given, as it was read.
    pub given: String,
    /// The ways.
    pub routes: Vec<WayBody>,
}

fn takes(bill: &Bill) -> Vec<TakesBody> {
    let body = |line: &crate::domain::workbench::routes::BillLine| {
        let amount = |amount: Milli| line.item.as_ref().map(|item| Amount::of(amount, item.2));
        TakesBody {
            role: line.role.code().to_owned(),
            item: line.item.as_ref().map(|item| item.0.to_string()),
            name: line.item.as_ref().map(|item| item.1.clone()),
            needed: amount(line.needed),
            missing: amount(line.missing),
            cost: line.cost.map(crate::units::money::Money::plain),
            note: line.note.clone(),
        }
    };
    bill.lines.iter().map(body).collect()
}

/// The ways from what there is to a strength.
pub async fn compare(who: Onlooker, site: Site, sent: Sent) -> Result<Answer<WaysBody>, Problem> {
    let wish = asked_by_program(&sent.0, &who)?;
    let (_, (_, found)) = site.read(&who, move |conn, doer| ways(conn, doer, wish)).await?;
    let ways = found?;
    let all = &ways.comparison;
    let way = |(route, bill): (&Route, &Bill)| WayBody {
        route: route.code.to_owned(),
        name: route.name.to_owned(),
        cannot: route.cannot.clone(),
        sugar_kg: route.sugar_kg,
        water_l: route.water_l,
        boiled_l: route.boiled_l,
        evaporated_kg: route.evaporated_kg,
        hours: route.hours,
        energy_kwh: route.energy_kwh,
        must_l: route.must_l,
        must_sg: route.must_sg,
        hexose_g_l: route.hexose_g_l,
        drink_l: route.drink_l,
        strength: route.vol_percent,
        strength_give_or_take: route.within_vol_percent,
        left_g_l: route.left_g_l,
        bottles: route.bottles,
        cost_per_bottle: bill.bottle.map(crate::units::money::Money::plain),
        cost_is_incomplete: bill.incomplete,
        takes: takes(bill),
        warnings: route.warnings.clone(),
        steps: if route.cannot.is_some() { Vec::new() } else { step_bodies(&steps(all, route)) },
    };
    let milk = all.ask.base.is_milk();
    Ok(Answer(WaysBody {
        natural_strength: all.natural_vol_percent,
        base_l: all.base.litres,
        curd_kg: all.ask.curd().ok().flatten().map(|curd| curd.curd_kg),
        rennet_ml: milk.then(|| all.ask.rennet_ml()),
        lactase_ml: milk.then_some(all.ask.lactase_ml_l * all.base.litres),
        given: ways.given(),
        routes: all.routes.iter().zip(&ways.bills).map(way).collect(),
    }))
}

/// A batch on paper.
#[derive(Serialize, ToSchema)]
#[schema(as = PlannedBatch)]
pub struct PlannedBody {
    /// Which.
    pub id: String,
    /// Its number.
    pub code: String,
}

/// Makes a way a planned batch.
pub async fn make(
    hand: Cellarhand,
    site: Site,
    key: Key,
    sent: Sent,
) -> Result<Created<PlannedBody>, Problem> {
    let plan = match whole_plan(&site, &hand, &sent.0).await {
        Ok(plan) => plan,
        Err(Ok(refusal)) => return Err(refusal.into()),
        Err(Err(problem)) => return Err(problem),
    };
    let made = acts::plan(&site.db, &hand, key.0, plan).await?;
    Ok(Created(PlannedBody { id: made.id.to_string(), code: made.code }))
}

/// What the ways take, as a schema.
fn asked() -> ObjectBuilder {
    let text = || ObjectBuilder::new().schema_type(Type::String);
    let object = object(INPUTS).property(
        "all_there",
        ObjectBuilder::new()
            .schema_type(Type::Boolean)
            .description(Some("Take all of it that is in the stores.")),
    );
    Role::ALL.into_iter().fold(object, |object, role| {
        let words = format!("The item for {}; left out: recognised by its name.", role.name());
        object.property(role.code(), text().description(Some(words)))
    })
}

/// Describes the comparison.
pub fn describe_compare(operation: &mut Operation) {
    let answer: Schema = asked().build().into();
    operation.takes_shape("WaysQuestion".to_owned(), answer);
    operation.answers::<WaysBody>(actix_web::http::StatusCode::OK);
}

/// Describes how a way becomes a batch.
pub fn describe_make(operation: &mut Operation) {
    let text = || ObjectBuilder::new().schema_type(Type::String);
    let codes = ["sweeten", "boil-down", "mix", "water", "as-it-is"];
    let object = asked()
        .property("route", text().enum_values(Some(codes)).description(Some("The way that was chosen.")))
        .property("name", text().description(Some("The name of the drink.")))
        .property("day", text().description(Some("When it is planned; left out: today.")))
        .required("route")
        .required("name");
    operation.takes_shape("WayToPlan".to_owned(), object.build().into());
    operation.answers::<PlannedBody>(actix_web::http::StatusCode::CREATED);
}
