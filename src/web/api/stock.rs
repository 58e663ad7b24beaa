//! The stores by the API: items, places, receipts, moves, counts, and the stock list. One lot and its
//! trace are beside this; the shapes are in `bodies.rs`.

use serde::Serialize;
use utoipa::ToSchema;

use super::Page;
use crate::actions::stock as actions;
use crate::db::stock as rows;
use crate::domain::members::{Cellarhand, Onlooker};
use crate::units::days;
use crate::units::ids::{ItemId, LotId, PlaceId};
use crate::units::money::Money;
use crate::web::body::Json;
use crate::web::extract::{Key, Paging, Path, Query};
use crate::web::problem::Problem;
use crate::web::respond::{Answer, Created};
use crate::web::site::Site;
use crate::web::stock::read::{self, Asked};

pub mod bodies;
pub mod lots;

use bodies::{
    ItemBody, LotName, NewCount, NewItem, NewMove, NewPlace, NewReceipt, PlaceBody, Received, RecordedEntry,
    StockLine,
};

/// All items, in the order in which they were first kept.
pub async fn items(
    who: Onlooker,
    site: Site,
    paging: Paging<ItemId>,
) -> Result<Answer<Page<ItemBody>>, Problem> {
    let (club, after, limit) = (who.club, paging.after, paging.rows());
    let items = site.db.read(move |conn| rows::items_after(conn, club, after, limit)).await?;
    Ok(Answer(paging.page(items, |(id, _)| *id, |(id, item)| ItemBody::of(id, &item))))
}

/// A new item.
pub async fn add_item(
    hand: Cellarhand,
    site: Site,
    Key(key): Key,
    sent: Json<NewItem>,
) -> Result<Created<ItemBody>, Problem> {
    let item = read::item(&sent.draft, &hand, None, Asked::ByApi)?;
    let id = actions::add_item(&site.db, &hand, key, item).await?;
    Ok(Created(one_item(&site, &hand, id).await?))
}

/// One item.
pub async fn item(who: Onlooker, site: Site, path: Path<ItemId>) -> Result<Answer<ItemBody>, Problem> {
    Ok(Answer(one_item(&site, &who, path.0).await?))
}

async fn one_item(site: &Site, who: &crate::domain::members::Doer, id: ItemId) -> Result<ItemBody, Problem> {
    let club = who.club;
    let item = site.db.read(move |conn| rows::item(conn, club, id)).await?;
    Ok(ItemBody::of(id, &item))
}

/// An item as it should be from now on.
pub async fn change_item(
    hand: Cellarhand,
    site: Site,
    path: Path<ItemId>,
    Key(key): Key,
    sent: Json<NewItem>,
) -> Result<Answer<ItemBody>, Problem> {
    let (id, club) = (path.0, hand.club);
    let kept = site.db.read(move |conn| rows::item(conn, club, id)).await?;
    let item = read::item(&sent.draft, &hand, Some(&kept), Asked::ByApi)?;
    actions::change_item(&site.db, &hand, key, id, item).await?;
    Ok(Answer(one_item(&site, &hand, id).await?))
}

/// What stands where.
#[derive(Serialize, ToSchema)]
pub struct Places {
    /// All places, the outer before the inner.
    pub items: Vec<PlaceBody>,
    /// Always null: there is no second part.
    pub next: Option<String>,
}

/// All places.
pub async fn places(who: Onlooker, site: Site) -> Result<Answer<Places>, Problem> {
    let club = who.club;
    let places = site.db.read(move |conn| rows::places(conn, club)).await?;
    Ok(Answer(Places { items: places.into_iter().map(PlaceBody::from).collect(), next: None }))
}

/// A new place.
pub async fn add_place(
    hand: Cellarhand,
    site: Site,
    Key(key): Key,
    sent: Json<NewPlace>,
) -> Result<Created<PlaceBody>, Problem> {
    let id = actions::add_place(&site.db, &hand, key, read::place(&sent.draft, &hand)?).await?;
    let club = hand.club;
    let place = site.db.read(move |conn| rows::place(conn, club, id)).await?;
    Ok(Created(place.into()))
}

/// A place as it should be called and stand from now on; what stands in it goes along.
pub async fn change_place(
    hand: Cellarhand,
    site: Site,
    path: Path<PlaceId>,
    Key(key): Key,
    sent: Json<NewPlace>,
) -> Result<Answer<PlaceBody>, Problem> {
    let (id, club) = (path.0, hand.club);
    actions::change_place(&site.db, &hand, key, id, read::place(&sent.draft, &hand)?).await?;
    let place = site.db.read(move |conn| rows::place(conn, club, id)).await?;
    Ok(Answer(place.into()))
}

/// Supplies that arrive.
pub async fn receive(
    hand: Cellarhand,
    site: Site,
    Key(key): Key,
    sent: Json<NewReceipt>,
) -> Result<Created<Received>, Problem> {
    let (club, named) = (hand.club, read::items_named(&sent.draft));
    let units = site.db.read(move |conn| rows::units(conn, club, &named, &[])).await?;
    let receipt = read::receipt(&sent.draft, &hand, &units)?;
    let done = actions::record_receipt(&site.db, &hand, key, receipt).await?;
    Ok(Created(Received {
        entry: done.entry.to_string(),
        code: done.code,
        lots: done.lots.into_iter().map(|(id, code)| LotName::of(id, code)).collect(),
    }))
}

/// A lot carried elsewhere.
pub async fn move_lot(
    hand: Cellarhand,
    site: Site,
    path: Path<LotId>,
    Key(key): Key,
    sent: Json<NewMove>,
) -> Result<Created<RecordedEntry>, Problem> {
    let (id, club) = (path.0, hand.club);
    let lot = site.db.read(move |conn| rows::lot(conn, club, id)).await?;
    let order = read::movement(&sent.draft, &hand, id, lot.item.unit)?;
    let entry = actions::move_stock(&site.db, &hand, key, order).await?;
    Ok(Created(RecordedEntry { entry: entry.to_string() }))
}

/// A lot that was counted at a place.
pub async fn count_lot(
    hand: Cellarhand,
    site: Site,
    path: Path<LotId>,
    Key(key): Key,
    sent: Json<NewCount>,
) -> Result<Created<RecordedEntry>, Problem> {
    let (id, club) = (path.0, hand.club);
    let lot = site.db.read(move |conn| rows::lot(conn, club, id)).await?;
    let count = read::count(&sent.draft, &hand, id, lot.item.unit)?;
    let entry = actions::record_count(&site.db, &hand, key, count).await?;
    Ok(Created(RecordedEntry { entry: entry.to_string() }))
}

/// Of which day.
#[derive(serde::Deserialize, ToSchema)]
pub struct StockQuery {
    /// As it stood at the end of this day; as it stands if left out.
    #[schema(example = "2025-12-31")]
    pub on: Option<String>,
}

/// The stock on a day.
#[derive(Serialize, ToSchema)]
pub struct Stock {
    /// The day at whose end it stood so; today if it is as it stands.
    pub on: String,
    /// Every lot at every place where something of it is, by item.
    pub lots: Vec<StockLine>,
    /// What all of it cost.
    pub total_value: String,
    /// The currency of the club (ISO 4217).
    pub currency: String,
}

/// The stock as it stands, or as it stood on a past day.
pub async fn stock(who: Onlooker, site: Site, query: Query<StockQuery>) -> Result<Answer<Stock>, Problem> {
    let on = query.draft.read(&who, |r| {
        let today = r.today();
        r.optional("on", |text| days::read_past(text, today))
    })?;
    let club = who.club;
    let lines = site.db.read(move |conn| match on {
        Some(day) => rows::stock_on(conn, club, day),
        None => rows::stock(conn, club, &rows::StockFilter::default()),
    });
    let lines = lines.await?;
    let total: Money = lines.iter().map(|line| line.cost).sum();
    Ok(Answer(Stock {
        on: on.unwrap_or(who.today()).to_string(),
        lots: lines.into_iter().map(StockLine::from).collect(),
        total_value: total.plain(),
        currency: who.currency.clone(),
    }))
}
