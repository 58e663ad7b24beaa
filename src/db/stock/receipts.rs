//! Receipts as they were written, to write the next one by, and the lots they brought.

use diesel::prelude::*;

use super::items::ItemRow;
use crate::db::connection::AnyConn;
use crate::db::failure::Failure;
use crate::db::prepared::{Prepare, padded};
use crate::db::schema::{accounts, entries, items, lots, places, postings};
use crate::domain::stock::{Item, ReceiptLine};
use crate::units::days::Day;
use crate::units::ids::{ClubId, EntryId, ItemId, LotId, MemberId, PlaceId};
use crate::units::money::Money;
use crate::units::quantity::Milli;

/// A receipt of before, in short.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Earlier {
    /// Which.
    pub entry: EntryId,
    /// When it came.
    pub day: Day,
    /// What came, in the order in which it was written.
    pub items: Vec<String>,
}

/// Bought lots that are looked at to find the latest receipts.
const LOOKED_AT: i64 = 60;

/// The latest receipts, the newest first.
pub fn latest_receipts(conn: &mut AnyConn, club: ClubId, most: usize) -> Result<Vec<Earlier>, Failure> {
    let rows: Vec<(EntryId, Day, String)> = lots::table
        .inner_join(items::table.on(items::id.eq(lots::item_id)))
        .filter(lots::club_id.eq(club).and(lots::batch_id.is_null()))
        .order(lots::id.desc())
        .limit(LOOKED_AT)
        .select((lots::entry_id, lots::received_on, items::name))
        .load(conn)?;
    let ids: Vec<EntryId> = rows.iter().map(|row| row.0).collect();
    let back: Vec<Option<EntryId>> = entries::table
        .filter(entries::reverses.eq_any(padded(&ids).into_iter().map(Some)))
        .select(entries::reverses)
        .prepared()
        .load(conn)?;
    let mut found: Vec<Earlier> = Vec::new();
    for (entry, day, item) in rows.into_iter().filter(|row| !back.contains(&Some(row.0))) {
        match found.iter_mut().find(|earlier| earlier.entry == entry) {
            Some(earlier) => earlier.items.insert(0, item),
            None => found.push(Earlier { entry, day, items: vec![item] }),
        }
    }
    found.truncate(most);
    Ok(found)
}

/// What a receipt brought, as it would be written again: without the days and marks on the packages. Empty where the
/// club has no such receipt.
pub fn receipt_again(
    conn: &mut AnyConn,
    club: ClubId,
    entry: EntryId,
) -> Result<(Option<MemberId>, Vec<ReceiptLine>), Failure> {
    type Row = (ItemId, Milli, Money, Option<PlaceId>, String);
    let rows: Vec<Row> = postings::table
        .inner_join(accounts::table.on(accounts::id.eq(postings::account_id)))
        .inner_join(lots::table.on(lots::id.nullable().eq(accounts::lot_id)))
        .filter(postings::entry_id.eq(entry).and(postings::club_id.eq(club)))
        .filter(lots::entry_id.eq(entry).and(lots::batch_id.is_null()))
        .order(postings::line)
        .select((lots::item_id, postings::quantity, postings::cost, accounts::place_id, lots::supplier))
        .load(conn)?;
    let payer: Option<Option<MemberId>> = postings::table
        .inner_join(accounts::table.on(accounts::id.eq(postings::account_id)))
        .filter(postings::entry_id.eq(entry).and(postings::club_id.eq(club)))
        .filter(accounts::member_id.is_not_null())
        .select(accounts::member_id)
        .first(conn)
        .optional()?;
    let line = |(item, quantity, cost, place, supplier): Row| {
        let (best_before, supplier_mark) = (None, String::new());
        Some(ReceiptLine { item, quantity, cost, place: place?, best_before, supplier, supplier_mark })
    };
    Ok((payer.flatten(), rows.into_iter().filter_map(line).collect()))
}

/// A bought lot as its label says it.
#[derive(Debug, Clone, PartialEq)]
pub struct Brought {
    /// Which.
    pub lot: LotId,
    /// Its code.
    pub code: String,
    /// What it is.
    pub item: Item,
    /// When it came.
    pub came_on: Day,
    /// Its last good day.
    pub best_before: Option<Day>,
    /// Who sold it.
    pub supplier: String,
    /// The supplier's own mark.
    pub supplier_mark: String,
    /// How much came.
    pub quantity: Milli,
    /// The places where something of it stands now.
    pub places: Vec<String>,
}

/// Of which lots.
#[derive(Debug, Clone, Copy)]
pub enum Bringing {
    /// Those of one receipt.
    Receipt(EntryId),
    /// One, however it came.
    Lot(LotId),
}

/// Lots with what came of each and where it stands, in the order in which they were written down.
pub fn brought(conn: &mut AnyConn, club: ClubId, of: Bringing) -> Result<Vec<Brought>, Failure> {
    type Head = (LotId, String, Day, Option<Day>, String, String);
    let mut query = postings::table
        .inner_join(accounts::table.on(accounts::id.eq(postings::account_id)))
        .inner_join(lots::table.on(lots::id.nullable().eq(accounts::lot_id)))
        .inner_join(items::table.on(items::id.eq(lots::item_id)))
        .filter(postings::club_id.eq(club).and(lots::club_id.eq(club)))
        .filter(postings::entry_id.eq(lots::entry_id))
        .order(postings::line)
        .select((
            (lots::id, lots::code, lots::received_on, lots::best_before, lots::supplier, lots::supplier_mark),
            ItemRow::as_select(),
            postings::quantity,
        ))
        .into_boxed();
    query = match of {
        Bringing::Receipt(entry) => {
            query.filter(postings::entry_id.eq(entry)).filter(lots::batch_id.is_null())
        }
        Bringing::Lot(lot) => {
            // By the entry that brought it, so that not all that ever moved it is looked at.
            let entry: EntryId = lots::table.filter(lots::id.eq(lot)).select(lots::entry_id).first(conn)?;
            query.filter(postings::entry_id.eq(entry)).filter(lots::id.eq(lot))
        }
    };
    let rows: Vec<(Head, ItemRow, Milli)> = query.prepared().load(conn)?;
    let ids: Vec<Option<LotId>> = rows.iter().map(|row| Some(row.0.0)).collect();
    let stands: Vec<(Option<LotId>, String)> = accounts::table
        .inner_join(places::table.on(places::id.nullable().eq(accounts::place_id)))
        .filter(accounts::lot_id.eq_any(padded(&ids)).and(accounts::quantity.gt(Milli::ZERO)))
        .order(places::path)
        .select((accounts::lot_id, places::path))
        .prepared()
        .load(conn)?;
    let mut found: Vec<Brought> = Vec::new();
    for ((lot, code, came_on, best_before, supplier, supplier_mark), item, quantity) in rows {
        if let Some(known) = found.iter_mut().find(|known| known.lot == lot) {
            known.quantity = known.quantity + quantity;
            continue;
        }
        let here = stands.iter().filter(|(of, _)| *of == Some(lot)).map(|(_, path)| path.clone());
        let places = here.collect();
        let item = item.into();
        found.push(Brought {
            lot,
            code,
            item,
            came_on,
            best_before,
            supplier,
            supplier_mark,
            quantity,
            places,
        });
    }
    Ok(found)
}
