//! What to buy, how items are bought and kept, and what is open, by the API.

use serde::Serialize;
use utoipa::ToSchema;

use super::Amount;
use crate::actions::buying as acts;
use crate::db::buying::{Of, look};
use crate::db::stock;
use crate::domain::buying::{Known, Needed};
use crate::domain::members::{Cellarhand, Onlooker};
use crate::units::days;
use crate::units::ids::{ItemId, LotId};
use crate::units::money::Money;
use crate::units::number;
use crate::units::quantity::Milli;
use crate::web::body::Json;
use crate::web::buying::instead::Suggestion;
use crate::web::buying::item::{read, working};
use crate::web::buying::opened::read_opening;
use crate::web::buying::{Group, Line, half_days, last_price};
use crate::web::extract::{Key, Path, Query};
use crate::web::problem::Problem;
use crate::web::respond::{Answer, Created};
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

/// What can be used in the place of an item.
#[derive(Serialize, ToSchema)]
#[schema(as = Substitute)]
pub struct SubstituteBody {
    /// The other item.
    pub item: String,
    /// How much of it for one unit.
    pub factor: String,
}

/// What could be used now for what plans want and is not there.
#[derive(Serialize, ToSchema)]
#[schema(as = Instead)]
pub struct InsteadBody {
    /// The other item.
    pub item: String,
    /// Its name.
    pub name: String,
    /// How much of it.
    pub quantity: Amount,
    /// So much of what is missing it stands for.
    pub replaces: Amount,
    /// Allergens that it brings and the item does not have.
    pub brings_allergens: Vec<String>,
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
    /// Days that it keeps once it is open.
    pub keeps_open_days: Option<u32>,
    /// Per cent of its strength that it loses in a year; a guide.
    pub weakens_percent: Option<String>,
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
    /// What can be used in its place, the best first.
    pub substitutes: Vec<SubstituteBody>,
    /// What of that is there and could be used for what plans want, on the shopping list; nothing is swapped by itself.
    pub instead: Vec<InsteadBody>,
    /// How it comes about, in words.
    pub working: Vec<String>,
}

fn body<'n>(
    name: &str,
    known: &Known,
    needed: &Needed,
    instead: &[Suggestion],
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
        keeps_open_days: known.upkeep.keeps_open_days,
        weakens_percent: known.upkeep.weakens_permille.map(|share| number::plain(i64::from(share), 1)),
        free: amount(known.free),
        stopped: amount(known.stopped),
        pack: needed.pack.map(amount),
        supplier: Some(known.supplier().to_owned()).filter(|name| !name.is_empty()),
        last_price: last.map(|last| last.0.plain()),
        last_bought: last.map(|last| days::iso(last.1)),
        cost: needed.cost.map(Money::plain),
        substitutes: known
            .upkeep
            .substitutes
            .iter()
            .map(|one| SubstituteBody {
                item: one.other.to_string(),
                factor: number::plain(one.factor_micro, 6),
            })
            .collect(),
        instead: instead
            .iter()
            .map(|one| InsteadBody {
                item: one.other.to_string(),
                name: one.name.clone(),
                quantity: amount(one.instead.quantity),
                replaces: amount(one.instead.replaces),
                brings_allergens: one.brings.clone(),
            })
            .collect(),
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
    let line = |line: &Line| body(&line.item.name, &line.known, &line.needed, &line.instead, numbers);
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
    Ok(Answer(body(&item.name, known, &known.needed(), &[], numbers)))
}

/// How an item is bought from now on.
#[derive(ToSchema)]
pub struct NewUpkeep {
    /// Days from ordering to having it; 7 if left out.
    pub lead_days: Option<u32>,
    /// Days of use that the safety stock lasts; half of the lead time if left out.
    pub cover_days: Option<u32>,
    /// Days that it keeps once it is open; opening changes nothing if left out.
    pub keeps_open_days: Option<u32>,
    /// Per cent of its strength that it loses in a year, of yeast and enzymes; it only gives a hint.
    #[schema(example = "20")]
    pub weakens_percent: Option<String>,
    /// What can be used in its place, the best first; at most 10.
    pub substitutes: Option<Vec<NewSubstitute>>,
}

/// An item that can be used in the place of another.
#[derive(ToSchema)]
pub struct NewSubstitute {
    /// The other item, counted in the same unit.
    pub item: String,
    /// How much of it for one unit; 1 if left out.
    #[schema(example = "1.2")]
    pub factor: Option<String>,
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

/// When a lot was opened.
#[derive(ToSchema)]
pub struct NewOpening {
    /// The day; today if left out. Not in the future.
    pub day: Option<String>,
    /// It is not open after all.
    pub closed: Option<bool>,
}

/// What counts for a lot from now on.
#[derive(Serialize, ToSchema)]
#[schema(as = Opening)]
pub struct OpeningBody {
    /// The lot.
    pub lot: String,
    /// When it was opened; null where it is not.
    pub opened_on: Option<String>,
    /// Its last good day: the earlier of its best-before day and the last one that it keeps open.
    pub good_until: Option<String>,
}

/// Says that a lot was opened, or that it is not open after all.
pub async fn open_lot(
    hand: Cellarhand,
    site: Site,
    path: Path<LotId>,
    Key(key): Key,
    sent: Json<NewOpening>,
) -> Result<Created<OpeningBody>, Problem> {
    let opening = read_opening(&sent.draft, &hand, path.0)?;
    let (id, club) = (acts::open_lot(&site.db, &hand, key, opening).await?, hand.club);
    let lot = site.db.read(move |conn| stock::lot(conn, club, id)).await?;
    Ok(Created(OpeningBody {
        lot: lot.id.to_string(),
        opened_on: lot.opened_on.map(days::iso),
        good_until: lot.good_until().map(days::iso),
    }))
}
