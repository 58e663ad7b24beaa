//! Items, places, receipts, moves and counts.

use serde::{Deserialize, Serialize};

use super::once::{RequestKey, once};
use super::{Done, or_missing};
use crate::db::stock as rows;
use crate::db::{AnyConn, Database, Failure, books};
use crate::domain::books::NewEntry;
use crate::domain::members::{Cellarhand, Doer};
use crate::domain::refusal::Refusal;
use crate::domain::stock::{Counted, Item, ItemKind, Move, Receipt, carry, difference, places, receive};
use crate::units::ids::{EntryId, ItemId, LotId, MemberId, PlaceId};

/// A new kind of thing to keep.
pub async fn add_item(db: &Database, by: &Cellarhand, key: Option<RequestKey>, item: Item) -> Done<ItemId> {
    once(db, by, key, "add item", item, |conn, doer, item| {
        item.check()?;
        let id = ItemId::fresh();
        taken(rows::add_item(conn, doer.club, id, item), "name", &item.name)?;
        Ok(id)
    })
    .await
}

/// Another name, value or limit for an item. What it is counted in cannot change once it is kept.
pub async fn change_item(
    db: &Database,
    by: &Cellarhand,
    key: Option<RequestKey>,
    id: ItemId,
    item: Item,
) -> Done<ItemId> {
    once(db, by, key, "change item", (id, item), |conn, doer, (id, item)| {
        let before = or_missing(rows::item(conn, doer.club, *id), "", "item")?;
        item.check_change(&before)?;
        item.check()?;
        taken(rows::change_item(conn, doer.club, *id, item), "name", &item.name)?;
        Ok(*id)
    })
    .await
}

fn taken<T>(result: Result<T, Failure>, field: &str, name: &str) -> Done<T> {
    result.map_err(|failure| match failure {
        Failure::Taken => {
            Refusal::conflict(field, format!("There is “{name}” already; choose another name")).into()
        }
        other => other.into(),
    })
}

/// A new place.
#[derive(Debug, Clone, Serialize, Deserialize)]
pub struct NewPlace {
    /// Its name.
    pub name: String,
    /// The place around it.
    pub within: Option<PlaceId>,
    /// How many bottles it takes, where somebody said.
    pub capacity: Option<i64>,
}

/// A room, a fridge, a shelf, a bay.
pub async fn add_place(
    db: &Database,
    by: &Cellarhand,
    key: Option<RequestKey>,
    place: NewPlace,
) -> Done<PlaceId> {
    once(db, by, key, "add place", place, |conn, doer, place| {
        let around = match place.within {
            Some(within) => Some(or_missing(rows::place(conn, doer.club, within), "within", "place")?),
            None => None,
        };
        let path = places::path(around.as_ref().map(|around| around.path.as_str()), &place.name)?;
        let id = PlaceId::fresh();
        let added = rows::add_place(conn, doer.club, id, place.within, &place.name, &path, place.capacity);
        taken(added, "name", &path)?;
        Ok(id)
    })
    .await
}

/// Another name for a place, or another place around it; what stands in it goes along.
pub async fn change_place(
    db: &Database,
    by: &Cellarhand,
    key: Option<RequestKey>,
    id: PlaceId,
    place: NewPlace,
) -> Done<PlaceId> {
    once(db, by, key, "change place", (id, place), |conn, doer, (id, place)| {
        or_missing(rows::place(conn, doer.club, *id), "", "place")?;
        if let Some(within) = place.within {
            or_missing(rows::place(conn, doer.club, within), "within", "place")?;
        }
        let all = rows::places(conn, doer.club)?;
        let paths = places::changed(&all, *id, &place.name, place.within)?;
        let name = paths.first().map(|path| path.1.clone()).unwrap_or_default();
        taken(rows::change_place(conn, doer.club, *id, place.within, &place.name, &paths), "name", &name)?;
        rows::set_capacity(conn, doer.club, *id, place.capacity)?;
        Ok(*id)
    })
    .await
}

/// What a receipt made.
#[derive(Debug, Clone, Serialize, Deserialize)]
pub struct Received {
    /// The entry.
    pub entry: EntryId,
    /// Its number.
    pub code: String,
    /// The lots, one a line, with their codes.
    pub lots: Vec<(LotId, String)>,
}

/// Record supplies that arrive.
pub async fn record_receipt(
    db: &Database,
    by: &Cellarhand,
    key: Option<RequestKey>,
    receipt: Receipt,
) -> Done<Received> {
    once(db, by, key, "receipt", receipt, received).await
}

pub(super) fn received(conn: &mut AnyConn, doer: &Doer, receipt: &Receipt) -> Done<Received> {
    receipt.check()?;
    if let Some(member) = receipt.paid_by {
        known_member(conn, doer, member, "paid_by")?;
    }
    for (at, line) in receipt.lines.iter().enumerate() {
        let item = or_missing(rows::item(conn, doer.club, line.item), &format!("lines.{at}.item"), "item")?;
        if item.kind == ItemKind::Drink {
            return Err(Refusal::unfit(
                format!("lines.{at}.item"),
                format!("{} is made by bottling a batch, not received", item.name),
            )
            .into());
        }
        or_missing(rows::place(conn, doer.club, line.place), &format!("lines.{at}.place"), "place")?;
    }
    taken_in(conn, doer, receipt)
}

/// The same of what is known to be of this club.
pub(super) fn taken_in(conn: &mut AnyConn, doer: &Doer, receipt: &Receipt) -> Done<Received> {
    let lots: Vec<LotId> = receipt.lines.iter().map(|_| LotId::fresh()).collect();
    let entry = receive(receipt, &lots)?;
    let id = EntryId::fresh();
    let code = format!("R-{}", books::next_number(conn, doer.club, "receipt")?);
    books::begin_entry(conn, doer, id, Some(&code), &entry)?;
    let mut made = Vec::new();
    let count = i64::try_from(lots.len()).unwrap_or(i64::MAX);
    let first = books::next_numbers(conn, doer.club, "lot", count)?;
    for (number, (line, lot)) in (first..).zip(receipt.lines.iter().zip(lots)) {
        let code = format!("L-{number}");
        rows::add_received(conn, doer.club, lot, &code, id, receipt.day, line)?;
        made.push((lot, code));
    }
    books::post(conn, doer.club, id, &entry)?;
    Ok(Received { entry: id, code, lots: made })
}

/// Refuses a member who is not of this club.
pub(super) fn known_member(conn: &mut AnyConn, doer: &Doer, member: MemberId, field: &str) -> Done<()> {
    or_missing(crate::db::members::member(conn, doer.club, member), field, "member").map(|_| ())
}

/// Carry stock to another place.
pub async fn move_stock(
    db: &Database,
    by: &Cellarhand,
    key: Option<RequestKey>,
    order: Move,
) -> Done<EntryId> {
    once(db, by, key, "move", order, |conn, doer, order| {
        let lot = or_missing(rows::lot(conn, doer.club, order.lot), "lot", "lot")?;
        or_missing(rows::place(conn, doer.club, order.from), "from", "place")?;
        or_missing(rows::place(conn, doer.club, order.to), "to", "place")?;
        let mut shelf = rows::shelf_on(conn, doer.club, &lot, order.from, order.day)?;
        let mut entry = carry(order, &mut shelf, lot.item.unit)?;
        entry.bottling = lot.bottling;
        record(conn, doer, &entry)
    })
    .await
}

/// Put the books right after a count.
pub async fn record_count(
    db: &Database,
    by: &Cellarhand,
    key: Option<RequestKey>,
    count: Counted,
) -> Done<EntryId> {
    once(db, by, key, "count", count, |conn, doer, count| {
        let lot = or_missing(rows::lot(conn, doer.club, count.lot), "lot", "lot")?;
        or_missing(rows::place(conn, doer.club, count.place), "place", "place")?;
        let mut shelf = rows::shelf_on(conn, doer.club, &lot, count.place, count.day)?;
        let mut entry = difference(count, &mut shelf, lot.item.unit)?;
        entry.bottling = lot.bottling;
        record(conn, doer, &entry)
    })
    .await
}

/// Write an entry that makes no new lots.
pub(super) fn record(conn: &mut AnyConn, doer: &Doer, entry: &NewEntry) -> Done<EntryId> {
    let id = EntryId::fresh();
    books::begin_entry(conn, doer, id, None, entry)?;
    books::post(conn, doer.club, id, entry)?;
    Ok(id)
}
