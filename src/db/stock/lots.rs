//! Lots, what is left of them at each place, and what things are counted in.

use std::collections::{BTreeMap, HashMap};

use diesel::prelude::*;

use super::items::ItemRow;
use super::list::InStock;
use crate::db::books::changes_after;
use crate::db::buying::until;
use crate::db::connection::AnyConn;
use crate::db::failure::Failure;
use crate::db::prepared::{Prepare, padded};
use crate::db::schema::{accounts, bottlings, entries, items, lots, openings, upkeep};
use crate::domain::books::Holding;
use crate::domain::buying::good_until;
use crate::domain::stock::{Item, ReceiptLine, Shelf};
use crate::units::days::Day;
use crate::units::ids::{AccountId, BatchId, BottlingId, ClubId, EntryId, ItemId, LotId, PlaceId};
use crate::units::money::Money;
use crate::units::quantity::{BaseUnit, Milli};

/// What a new lot is.
pub struct NewLot<'a> {
    /// Its code, unique in the club.
    pub code: &'a str,
    /// Of which item.
    pub item: ItemId,
    /// The entry that brought it.
    pub entry: EntryId,
    /// The batch it came from.
    pub batch: Option<BatchId>,
    /// When it came.
    pub day: Day,
    /// Its last good day.
    pub best_before: Option<Day>,
    /// Who sold it.
    pub supplier: &'a str,
    /// The supplier's own mark.
    pub supplier_mark: &'a str,
}

/// Keep a new lot.
pub fn add_lot(conn: &mut AnyConn, club: ClubId, id: LotId, lot: &NewLot<'_>) -> Result<(), Failure> {
    diesel::insert_into(lots::table)
        .values((
            lots::id.eq(id),
            lots::club_id.eq(club),
            lots::item_id.eq(lot.item),
            lots::code.eq(lot.code),
            lots::entry_id.eq(lot.entry),
            lots::batch_id.eq(lot.batch),
            lots::received_on.eq(lot.day),
            lots::best_before.eq(lot.best_before),
            lots::supplier.eq(lot.supplier),
            lots::supplier_mark.eq(lot.supplier_mark),
        ))
        .prepared()
        .run(conn)?;
    Ok(())
}

/// A new lot of a receipt line.
pub fn add_received(
    conn: &mut AnyConn,
    club: ClubId,
    id: LotId,
    code: &str,
    entry: EntryId,
    day: Day,
    line: &ReceiptLine,
) -> Result<(), Failure> {
    let lot = NewLot {
        code,
        item: line.item,
        entry,
        batch: None,
        day,
        best_before: line.best_before,
        supplier: &line.supplier,
        supplier_mark: &line.supplier_mark,
    };
    add_lot(conn, club, id, &lot)
}

/// A lot with its item.
#[derive(Debug, Clone, PartialEq)]
pub struct Lot {
    /// Which.
    pub id: LotId,
    /// Its code.
    pub code: String,
    /// Its item.
    pub item_id: ItemId,
    /// What it is.
    pub item: Item,
    /// The entry that brought it.
    pub entry: EntryId,
    /// The receipt's number, where it was bought.
    pub receipt: Option<String>,
    /// The batch it came from.
    pub batch: Option<BatchId>,
    /// The bottling it is.
    pub bottling: Option<BottlingId>,
    /// When it came.
    pub received_on: Day,
    /// Its best-before day.
    pub best_before: Option<Day>,
    /// When it was opened.
    pub opened_on: Option<Day>,
    /// How many days its item keeps once it is open.
    pub keeps_open: Option<u32>,
    /// What its item loses of its strength in a year, in thousandths.
    pub weakens: Option<u32>,
    /// Who sold it.
    pub supplier: String,
    /// The supplier's own mark.
    pub supplier_mark: String,
}

impl Lot {
    /// Its last good day.
    pub fn good_until(&self) -> Option<Day> {
        good_until(self.best_before, self.opened_on, self.keeps_open)
    }
}

/// One lot.
pub fn lot(conn: &mut AnyConn, club: ClubId, id: LotId) -> Result<Lot, Failure> {
    type Kept = (Option<i64>, Option<i64>);
    type Head = (String, ItemId, EntryId, Option<String>, Option<BatchId>, Day, Option<Day>, String, String);
    let (
        (code, item_id, entry, receipt, batch, received_on, best_before, supplier, supplier_mark),
        item,
        bottling,
        opened_on,
        (keeps_open, weakens),
    ): (Head, ItemRow, Option<BottlingId>, Option<Day>, Kept) = lots::table
        .inner_join(items::table.on(items::id.eq(lots::item_id)))
        .inner_join(entries::table.on(entries::id.eq(lots::entry_id)))
        .left_join(bottlings::table.on(bottlings::lot_id.eq(lots::id)))
        .left_join(openings::table.on(openings::lot_id.eq(lots::id)))
        .left_join(upkeep::table.on(upkeep::item_id.eq(lots::item_id)))
        .filter(lots::id.eq(id).and(lots::club_id.eq(club)))
        .select((
            (
                lots::code,
                lots::item_id,
                lots::entry_id,
                entries::code,
                lots::batch_id,
                lots::received_on,
                lots::best_before,
                lots::supplier,
                lots::supplier_mark,
            ),
            ItemRow::as_select(),
            bottlings::id.nullable(),
            openings::opened_on.nullable(),
            (upkeep::keeps_open_days.nullable(), upkeep::weakens_permille.nullable()),
        ))
        .first(conn)?;
    Ok(Lot {
        id,
        code,
        item_id,
        item: item.into(),
        entry,
        receipt,
        batch,
        bottling,
        received_on,
        best_before,
        opened_on,
        keeps_open: keeps_open.and_then(|days| u32::try_from(days).ok()),
        weakens: weakens.and_then(|share| u32::try_from(share).ok()),
        supplier,
        supplier_mark,
    })
}

/// The lot with this code.
pub fn lot_coded(conn: &mut AnyConn, club: ClubId, code: &str) -> Result<LotId, Failure> {
    Ok(lots::table.filter(lots::club_id.eq(club).and(lots::code.eq(code))).select(lots::id).first(conn)?)
}

/// Which lots to look at.
#[derive(Debug, Clone, Copy)]
pub enum Shelved {
    /// Of one lot.
    Lot(LotId),
    /// Of one item.
    Item(ItemId),
    /// One lot at one place, also where nothing of it is left there.
    At(LotId, PlaceId),
}

/// Where something of it is left now, first-expired-first.
pub fn shelves(conn: &mut AnyConn, club: ClubId, of: Shelved) -> Result<Vec<Shelf>, Failure> {
    Ok(left_at(conn, club, of)?.into_iter().map(|(_, shelf)| shelf).collect())
}

/// The same for something that is recorded for a day.
pub fn shelves_on(conn: &mut AnyConn, club: ClubId, of: Shelved, day: Day) -> Result<Vec<Shelf>, Failure> {
    let found = left_at(conn, club, of)?;
    let accounts: Vec<AccountId> = found.iter().map(|(account, _)| *account).collect();
    let mut later = changes_after(conn, club, &accounts, day)?;
    let looked_at = |(account, shelf)| Shelf { later: later.remove(&account).unwrap_or_default(), ..shelf };
    Ok(found.into_iter().map(looked_at).collect())
}

fn left_at(conn: &mut AnyConn, club: ClubId, of: Shelved) -> Result<Vec<(AccountId, Shelf)>, Failure> {
    type Good = (Option<Day>, Option<Day>, Option<i64>);
    type Row = (AccountId, LotId, String, PlaceId, Day, Good, Milli, Money, Day);
    let all = accounts::table
        .inner_join(lots::table.on(lots::id.nullable().eq(accounts::lot_id)))
        .left_join(openings::table.on(openings::lot_id.eq(lots::id)))
        .left_join(upkeep::table.on(upkeep::item_id.eq(lots::item_id)))
        .filter(accounts::club_id.eq(club).and(accounts::kind.eq("stock")))
        .select((
            accounts::id,
            lots::id,
            lots::code,
            accounts::place_id.assume_not_null(),
            lots::received_on,
            (lots::best_before, openings::opened_on.nullable(), upkeep::keeps_open_days.nullable()),
            accounts::quantity,
            accounts::cost,
            accounts::opened_on,
        ));
    let rows: Vec<Row> = match of {
        Shelved::Lot(lot) => {
            let left = accounts::lot_id.eq(lot).and(accounts::quantity.gt(Milli::ZERO));
            all.filter(left).prepared().all(conn)?
        }
        Shelved::Item(item) => all.filter(lots::item_id.eq(item).and(InStock)).prepared().all(conn)?,
        Shelved::At(lot, place) => {
            let there = accounts::lot_id.eq(lot).and(accounts::place_id.eq(place));
            all.filter(there).prepared().all(conn)?
        }
    };
    let shelf = |(account, lot, code, place, received_on, good, quantity, cost, opened_on): Row| {
        let (holding, later) = (Holding { quantity, cost }, Vec::new());
        let best_before = until(good.0, good.1, good.2);
        (account, Shelf { lot, code, place, received_on, best_before, holding, opened_on, later })
    };
    let mut shelves: Vec<(AccountId, Shelf)> = rows.into_iter().map(shelf).collect();
    shelves.sort_by_key(|(_, shelf)| shelf.turn());
    Ok(shelves)
}

/// A lot at a place for something that is recorded for a day. Where nothing of it is left or ever was, it may be found
/// from the day on which the lot came.
pub fn shelf_on(
    conn: &mut AnyConn,
    club: ClubId,
    lot: &Lot,
    at: PlaceId,
    day: Day,
) -> Result<Shelf, Failure> {
    let nothing = Shelf {
        lot: lot.id,
        code: lot.code.clone(),
        place: at,
        received_on: lot.received_on,
        best_before: lot.good_until(),
        holding: Holding::default(),
        opened_on: lot.received_on,
        later: Vec::new(),
    };
    Ok(match shelves_on(conn, club, Shelved::At(lot.id, at), day)?.pop() {
        Some(shelf) if shelf.holding.quantity > Milli::ZERO => shelf,
        Some(emptied) => Shelf { later: emptied.later, ..nothing },
        None => nothing,
    })
}

/// The latest day something of this item came in; the key of "low" notices.
pub fn filled_up_on(conn: &mut AnyConn, item: ItemId) -> Result<Option<Day>, Failure> {
    Ok(lots::table
        .filter(lots::item_id.eq(item))
        .order(lots::id.desc())
        .select(lots::received_on)
        .first(conn)
        .optional()?)
}

/// The last hundred suppliers that were written, so that they need not be written again.
pub fn suppliers(conn: &mut AnyConn, club: ClubId) -> Result<Vec<String>, Failure> {
    let mut names: Vec<String> = lots::table
        .filter(lots::club_id.eq(club).and(lots::supplier.ne("")))
        .order(lots::id.desc())
        .limit(100)
        .select(lots::supplier)
        .load(conn)?;
    names.sort();
    names.dedup();
    Ok(names)
}

/// What things are counted in, to read the quantities of a form or a request.
#[derive(Debug, Clone, Default)]
pub struct Units {
    items: HashMap<ItemId, BaseUnit>,
    lots: HashMap<LotId, BaseUnit>,
}

impl Units {
    /// What this item is counted in.
    pub fn of_item(&self, item: ItemId) -> Option<BaseUnit> {
        self.items.get(&item).copied()
    }

    /// What this lot is counted in.
    pub fn of_lot(&self, lot: LotId) -> Option<BaseUnit> {
        self.lots.get(&lot).copied()
    }
}

/// What these items and lots are counted in; those of another club are left out.
pub fn units(conn: &mut AnyConn, club: ClubId, of: &[ItemId], lots_of: &[LotId]) -> Result<Units, Failure> {
    let items: Vec<(ItemId, BaseUnit)> = items::table
        .filter(items::club_id.eq(club).and(items::id.eq_any(padded(of))))
        .select((items::id, items::unit))
        .prepared()
        .all(conn)?;
    if lots_of.is_empty() {
        return Ok(Units { items: items.into_iter().collect(), lots: HashMap::new() });
    }
    let lots: Vec<(LotId, BaseUnit)> = lots::table
        .inner_join(items::table.on(items::id.eq(lots::item_id)))
        .filter(lots::club_id.eq(club).and(lots::id.eq_any(padded(lots_of))))
        .select((lots::id, items::unit))
        .prepared()
        .load(conn)?;
    Ok(Units { items: items.into_iter().collect(), lots: lots.into_iter().collect() })
}

/// Who a lot came from.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Supplier {
    /// Their name.
    pub name: String,
    /// Their own mark of it.
    pub mark: String,
    /// Use by.
    pub best_before: Option<Day>,
}

/// Who these lots came from.
pub fn suppliers_of(
    conn: &mut AnyConn,
    club: ClubId,
    of: &[LotId],
) -> Result<BTreeMap<LotId, Supplier>, Failure> {
    let mut found = BTreeMap::new();
    for some in of.chunks(500) {
        let rows: Vec<(LotId, String, String, Option<Day>)> = lots::table
            .filter(lots::club_id.eq(club).and(lots::id.eq_any(padded(some))))
            .select((lots::id, lots::supplier, lots::supplier_mark, lots::best_before))
            .prepared()
            .load(conn)?;
        found.extend(
            rows.into_iter().map(|(id, name, mark, best_before)| (id, Supplier { name, mark, best_before })),
        );
    }
    Ok(found)
}
