//! What a batch or a bottling cost by the API, line by line.

use serde::Serialize;
use utoipa::ToSchema;

use super::Amount;
use crate::db::efforts::Effort;
use crate::domain::bottles::cost_per_bottle;
use crate::domain::costs::by_products::By;
use crate::domain::costs::{CostLine, Effect};
use crate::domain::members::Onlooker;
use crate::units::days;
use crate::units::ids::{BatchId, BottlingId};
use crate::units::money::Money;
use crate::units::quantity::Milli;
use crate::web::costs::{batch, find};
use crate::web::extract::Path;
use crate::web::problem::Problem;
use crate::web::respond::Answer;
use crate::web::site::Site;

/// One line of a cost.
#[derive(Serialize, ToSchema)]
pub struct CostLineBody {
    /// supply, by-product, packaging, or went: what left with a share of the cost.
    pub part: String,
    /// Item, other batch or event.
    pub what: String,
    /// The entry.
    pub entry: String,
    /// When.
    pub day: String,
    /// The lot it came from or became.
    pub lot: Option<String>,
    /// The number of the receipt that brought it, such as R-118.
    pub receipt: Option<String>,
    /// The other batch of a split or blend.
    pub batch: Option<String>,
    /// How much; below zero where it left.
    pub quantity: Amount,
    /// What it brought to the cost of the batch, or took off it.
    pub cost: String,
    /// How much of that is meant here: what is still in the batch, or in the bottles of the bottling.
    pub share: Option<String>,
}

fn line(part: &str, line: &CostLine, share: Option<Money>) -> CostLineBody {
    CostLineBody {
        part: part.to_owned(),
        what: line.what.clone(),
        entry: line.entry.to_string(),
        day: days::iso(line.day),
        lot: line.lot.as_ref().map(|lot| lot.0.to_string()),
        receipt: line.receipt.clone().and_then(|receipt| receipt.1),
        batch: line.other_batch.as_ref().map(|batch| batch.0.to_string()),
        quantity: Amount::of(line.quantity, line.unit),
        cost: line.cost.plain(),
        share: share.map(Money::plain),
    }
}

fn part(of: &CostLine) -> &'static str {
    match of.effect() {
        Effect::Came => "supply",
        Effect::Deducted => "by-product",
        Effect::Went => "went",
    }
}

/// A bottling of a batch, with what it was booked at.
#[derive(Serialize, ToSchema)]
pub struct BottlingCostLine {
    /// The bottling.
    pub bottling: String,
    /// Its code.
    pub code: String,
    /// How many bottles.
    pub bottles: i64,
    /// What they were booked at, with bottles and closures.
    pub cost: String,
    /// What one costs, rounded down; the last one takes the rest.
    pub cost_per_bottle: String,
}

/// What a batch cost, and where that went.
#[derive(Serialize, ToSchema)]
pub struct BatchCostBody {
    /// Every line, in the order of the journal: the costs add up to what is still in the batch.
    pub lines: Vec<CostLineBody>,
    /// What came in.
    pub supplies: String,
    /// What by-products took off; zero or less.
    pub by_products: String,
    /// What the drink cost: the two together.
    pub total: String,
    /// What is still in the batch.
    pub held: String,
    /// Its bottlings.
    pub bottlings: Vec<BottlingCostLine>,
    /// Work and energy beside the books, struck ones too.
    pub efforts: Vec<EffortBody>,
    /// What the drink cost with them.
    pub total_with_efforts: String,
}

/// Work or energy that went into a batch.
#[derive(Serialize, ToSchema)]
pub struct EffortBody {
    /// Its id.
    pub id: String,
    /// When.
    pub day: String,
    /// work or energy.
    pub kind: String,
    /// Hours, or kWh.
    pub amount: Option<String>,
    /// What it cost.
    pub cost: String,
    /// For what.
    pub remark: String,
    /// It was struck out and does not count.
    pub struck: bool,
}

impl From<&Effort> for EffortBody {
    fn from(effort: &Effort) -> Self {
        Self {
            id: effort.id.to_string(),
            day: days::iso(effort.day),
            kind: effort.kind.code().to_owned(),
            amount: effort.amount.map(Milli::plain),
            cost: effort.cost.plain(),
            remark: effort.remark.clone(),
            struck: effort.struck.is_some(),
        }
    }
}

/// What a batch cost.
pub async fn of_batch(
    who: Onlooker,
    site: Site,
    path: Path<BatchId>,
) -> Result<Answer<BatchCostBody>, Problem> {
    let (_, found) = site.read(&who, move |conn, doer| batch::find(conn, doer, path.0)).await?;
    let found = found.ok_or_else(|| Problem::missing("batch"))?;
    let effort = found.effort();
    let batch::Found { cost, bottlings, efforts, .. } = found;
    let parts = cost.parts.iter().map(|kept| (&kept.line, Some(kept.share)));
    let mut all: Vec<_> = parts.chain(cost.went.iter().map(|line| (line, None))).collect();
    all.sort_by_key(|(line, _)| line.entry);
    Ok(Answer(BatchCostBody {
        lines: all.into_iter().map(|(of, share)| line(part(of), of, share)).collect(),
        supplies: cost.came().plain(),
        by_products: cost.deducted().plain(),
        total: cost.drink().plain(),
        held: cost.held().plain(),
        efforts: efforts.iter().map(EffortBody::from).collect(),
        total_with_efforts: (cost.drink() + effort).plain(),
        bottlings: bottlings
            .iter()
            .map(|(bottling, booked)| BottlingCostLine {
                bottling: bottling.id.to_string(),
                code: bottling.code.clone(),
                bottles: bottling.bottles,
                cost: booked.plain(),
                cost_per_bottle: cost_per_bottle(*booked, bottling.bottles).plain(),
            })
            .collect(),
    }))
}

/// What the bottles of a bottling cost.
#[derive(Serialize, ToSchema)]
pub struct BottlingCostBody {
    /// Every line: the shares add up to what the bottles were booked at.
    pub lines: Vec<CostLineBody>,
    /// What of the supplies is in the bottles.
    pub supplies: String,
    /// What by-products took off them; zero or less.
    pub by_products: String,
    /// Bottles, closures, labels.
    pub packaging: String,
    /// What the bottles were booked at.
    pub total: String,
    /// How many bottles.
    pub bottles: i64,
    /// What one costs, rounded down; the last one takes the rest.
    pub cost_per_bottle: String,
    /// What one would cost by each way in which by-products may take their share.
    pub ways: Vec<WayBody>,
}

/// A way in which by-products take their share of the cost.
#[derive(Serialize, ToSchema)]
pub struct WayBody {
    /// net-value, mass or sales-value.
    pub by: String,
    /// What a bottle costs by it; none where it has nothing to rest on.
    pub cost_per_bottle: Option<String>,
    /// It is how it was booked.
    pub booked: bool,
}

/// What the bottles of a bottling cost.
pub async fn of_bottling(
    who: Onlooker,
    site: Site,
    path: Path<BottlingId>,
) -> Result<Answer<BottlingCostBody>, Problem> {
    let (_, found) = site.read(&who, move |conn, doer| find(conn, doer, path.0)).await?;
    let found = found.ok_or_else(|| Problem::missing("bottling with a cost"))?;
    let way = |(by, each): &(By, Option<Money>)| WayBody {
        by: by.code().to_owned(),
        cost_per_bottle: each.map(Money::plain),
        booked: found.taken.contains(by),
    };
    let ways = found.ways.iter().map(way).collect();
    let cost = found.cost;
    let parts = cost.parts.iter().map(|kept| line(part(&kept.line), &kept.line, Some(kept.share)));
    let packaging = cost.packaging.iter().map(|of| line("packaging", of, Some(of.cost)));
    Ok(Answer(BottlingCostBody {
        lines: parts.chain(packaging).collect(),
        supplies: cost.came().plain(),
        by_products: cost.deducted().plain(),
        packaging: cost.packaging().plain(),
        total: cost.total().plain(),
        bottles: cost.bottles,
        cost_per_bottle: cost_per_bottle(cost.total(), cost.bottles).plain(),
        ways,
    }))
}
