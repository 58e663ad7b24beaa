//! What to buy, and how items are bought, by the API.

use serde::Serialize;
use utoipa::ToSchema;

use super::Amount;
use crate::actions::buying as acts;
use crate::db::buying::{Of, look};
use crate::domain::buying::{Known, Needed};
use crate::domain::members::{Cellarhand, Onlooker};
use crate::units::days;
use crate::units::ids::ItemId;
use crate::units::money::Money;
use crate::units::quantity::Milli;
use crate::web::body::Json;
use crate::web::buying::item::{read, working};
use crate::web::buying::{Group, Line, half_days, last_price};
use crate::web::extract::{Key, Path, Query};
use crate::web::problem::Problem;
use crate::web::respond::Answer;
use crate::web::site::Site;

/// What a batch still wants.
#[derive(Serialize, ToSchema)]
#[schema(as = BatchWants)]
pub struct WantsBody {
    /// The batch.
    pub batch: String,
    /// Its number.
    pub code: String,
    /// How much.
    pub quantity: Amount,
}

/// How an item is bought, and how much of it is to be bought now.
#[derive(Serialize, ToSchema)]
#[schema(as = Upkeep)]
pub struct UpkeepBody {
    /// The item.
    pub item: String,
    /// Its name.
    pub name: String,
    /// How much to buy: whole packs where one is usual, else rounded up.
    pub to_buy: Amount,
    /// What is missing for the plans and the reorder point, to the last digit.
    pub missing: Amount,
    /// What all plans still want.
    pub wanted: Amount,
    /// What each batch of them wants.
    pub batches: Vec<WantsBody>,
    /// Below how much it is bought again.
    pub reorder_point: Amount,
    /// typed, worked-out, keeps-too-short or no-use.
    pub reorder_point_from: String,
    /// What was drawn, pitched and put on bottles in `used_days`.
    pub used: Amount,
    /// Days that were looked at: 365, or since it first came, at least 30.
    pub used_days: i64,
    /// Days from ordering to having it.
    pub lead_days: i64,
    /// Days that the safety stock lasts.
    pub cover_days: String,
    /// What is there and may be used.
    pub free: Amount,
    /// What is there besides, past its day or on hold.
    pub stopped: Amount,
    /// What the last two receipts both brought.
    pub pack: Option<Amount>,
    /// Who sold it last.
    pub supplier: Option<String>,
    /// What one kg, L or piece cost last.
    pub last_price: Option<String>,
    /// When that was.
    pub last_bought: Option<String>,
    /// What `to_buy` comes to at that price.
    pub cost: Option<String>,
    /// How it comes about, in words.
    pub working: Vec<String>,
}

fn body<'n>(
    name: &str,
    known: &Known,
    needed: &Needed,
    number: impl Fn(&Known) -> Vec<&'n str>,
) -> UpkeepBody {
    let amount = |amount: Milli| Amount::of(amount, known.unit);
    let last = last_price(known);
    let numbers = number(known);
    UpkeepBody {
        item: known.id.to_string(),
        name: name.to_owned(),
        to_buy: amount(needed.buy),
        missing: amount(needed.missing),
        wanted: amount(needed.wanted),
        batches: known
            .wants
            .iter()
            .zip(numbers)
            .map(|((batch, quantity), code)| WantsBody {
                batch: batch.to_string(),
                code: code.to_owned(),
                quantity: amount(*quantity),
            })
            .collect(),
        reorder_point: amount(known.point.quantity()),
        reorder_point_from: known.point.code().to_owned(),
        used: amount(known.used.quantity),
        used_days: known.used.days,
        lead_days: known.upkeep.lead(),
        cover_days: half_days(known.upkeep.cover_half_days()),
        free: amount(known.free),
        stopped: amount(known.stopped),
        pack: needed.pack.map(amount),
        supplier: Some(known.supplier().to_owned()).filter(|name| !name.is_empty()),
        last_price: last.map(|last| last.0.plain()),
        last_bought: last.map(|last| days::iso(last.1)),
        cost: needed.cost.map(Money::plain),
        working: working(known, needed),
    }
}

/// What is bought from one supplier.
#[derive(Serialize, ToSchema)]
#[schema(as = ShoppingSum)]
pub struct SumBody {
    /// Who sold it last; null where nobody wrote it.
    pub supplier: Option<String>,
    /// What it comes to at the last prices.
    pub cost: String,
    /// Things without a price.
    pub without_price: usize,
}

impl SumBody {
    fn of(group: &Group) -> Self {
        Self {
            supplier: Some(group.supplier.clone()).filter(|name| !name.is_empty()),
            cost: group.cost().plain(),
            without_price: group.unpriced(),
        }
    }
}

/// The shopping list.
#[derive(Serialize, ToSchema)]
#[schema(as = ShoppingList)]
pub struct ListBody {
    /// What is to be bought, supplier by supplier.
    pub items: Vec<UpkeepBody>,
    /// What it comes to, supplier by supplier.
    pub suppliers: Vec<SumBody>,
    /// What all of it comes to at the last prices.
    pub cost: String,
    /// The club's currency.
    pub currency: String,
}

/// What to buy before the next batch.
pub async fn list(
    who: Onlooker,
    site: Site,
    sift: Query<crate::web::buying::Sift>,
) -> Result<Answer<ListBody>, Problem> {
    let all = sift.value.all();
    let (_, list) = site.read(&who, move |conn, doer| crate::web::buying::list(conn, doer, all)).await?;
    let numbers = |known: &Known| {
        let code = |want: &(_, Milli)| list.batches.get(&want.0).map_or("", |batch| &*batch.0);
        known.wants.iter().map(code).collect()
    };
    let line = |line: &Line| body(&line.item.name, &line.known, &line.needed, numbers);
    Ok(Answer(ListBody {
        items: list.groups.iter().flat_map(|group| &group.lines).map(line).collect(),
        suppliers: list.groups.iter().map(SumBody::of).collect(),
        cost: list.cost().plain(),
        currency: who.currency.clone(),
    }))
}

/// How an item is bought.
pub async fn show(who: Onlooker, site: Site, path: Path<ItemId>) -> Result<Answer<UpkeepBody>, Problem> {
    told(&who, &site, path.0).await
}

async fn told(
    who: &crate::domain::members::Doer,
    site: &Site,
    id: ItemId,
) -> Result<Answer<UpkeepBody>, Problem> {
    let read = site.read(who, move |conn, doer| look(conn, doer.club, doer.today(), Of::Item(id)));
    let (_, looked) = read.await?;
    let (item, known) = looked.items.first().ok_or_else(|| Problem::missing("item"))?;
    let numbers = |known: &Known| {
        let code = |want: &(_, Milli)| looked.batches.get(&want.0).map_or("", |batch| &*batch.0);
        known.wants.iter().map(code).collect()
    };
    Ok(Answer(body(&item.name, known, &known.needed(), numbers)))
}

/// How an item is bought from now on.
#[derive(ToSchema)]
pub struct NewUpkeep {
    /// Days from ordering to having it; 7 if left out.
    pub lead_days: Option<u32>,
    /// Days of use that the safety stock lasts; half of the lead time if left out.
    pub cover_days: Option<u32>,
}

/// Says how an item is bought.
pub async fn keep_up(
    hand: Cellarhand,
    site: Site,
    path: Path<ItemId>,
    Key(key): Key,
    sent: Json<NewUpkeep>,
) -> Result<Answer<UpkeepBody>, Problem> {
    let order = read(&sent.draft, &hand, path.0)?;
    let id = acts::keep_up(&site.db, &hand, key, order).await?;
    told(&hand, &site, id).await
}
