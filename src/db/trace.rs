//! Following postings from lot to batch to lot, up to the receipts and down to who took the bottles.

use std::collections::{BTreeSet, HashMap};

use diesel::prelude::*;

pub use walk::{Node, Reached, Way, network, walk, walk_from};

pub mod recall;
mod walk;

use super::connection::AnyConn;
use super::failure::Failure;
use super::schema::{accounts, batches, bottlings, entries, items, lots, members, postings};
use crate::db::prepared::{Prepare, padded};
use crate::domain::books::EntryKind;
use crate::units::days::Day;
use crate::units::ids::{BatchId, BottlingId, ClubId, EntryId, ItemId, LotId};
use crate::units::quantity::{BaseUnit, Milli};

/// A lot found on the way.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Found {
    /// Which.
    pub lot: LotId,
    /// Its code.
    pub code: String,
    /// What it is.
    pub item: String,
    /// The receipt that brought it, where it was bought.
    pub receipt: Option<String>,
    /// Who sold it, and their own mark.
    pub supplier: (String, String),
    /// When it came.
    pub day: Day,
    /// The batch it came from, where it was made.
    pub batch: Option<BatchId>,
    /// The bottling it is.
    pub bottling: Option<BottlingId>,
    /// What is left of it.
    pub left: Milli,
    /// In what.
    pub unit: BaseUnit,
}

/// Who took bottles of a lot.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Taken {
    /// The entry.
    pub entry: EntryId,
    /// When.
    pub day: Day,
    /// From which lot.
    pub lot: LotId,
    /// The lot's code.
    pub code: String,
    /// How many.
    pub bottles: i64,
    /// The member, or what it was opened for.
    pub who: String,
}

/// Both ways from a lot.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct Trace {
    /// Lots that went into it.
    pub up: Vec<Found>,
    /// Lots that came of it.
    pub down: Vec<Found>,
    /// Batches on the way up and down: code and drink.
    pub batches: Vec<(BatchId, String, String)>,
    /// Who took what came of it, or of the lot itself.
    pub taken: Vec<Taken>,
    /// There is more of it than is told here.
    pub cut: bool,
}

/// A trace tells so many lots and batches each way, and so many takings.
pub const MOST: usize = 5000;

/// Follow a lot both ways, through by-products, splits and blends to any depth. Reversed entries do not count.
pub fn trace(conn: &mut AnyConn, club: ClubId, lot: LotId) -> Result<Trace, Failure> {
    trace_within(conn, club, lot, MOST)
}

/// The same, with at most so many.
pub fn trace_within(conn: &mut AnyConn, club: ClubId, lot: LotId, most: usize) -> Result<Trace, Failure> {
    let known: LotId =
        lots::table.filter(lots::id.eq(lot).and(lots::club_id.eq(club))).select(lots::id).first(conn)?;
    let up = walk(conn, Node::Lot(known), Way::Up, most)?;
    let down = walk(conn, Node::Lot(known), Way::Down, most)?;
    let others = |reached: &Reached| -> Vec<LotId> {
        reached.lots().into_iter().filter(|found| *found != lot).collect()
    };
    let named: BTreeSet<BatchId> = up.batches().union(&down.batches()).copied().collect();
    let (taken, more_taken) = taken(conn, &down.lots(), most)?;
    Ok(Trace {
        up: described(conn, &others(&up))?,
        down: described(conn, &others(&down))?,
        batches: batches_named(conn, &named)?,
        taken,
        cut: up.cut || down.cut || more_taken,
    })
}

fn batches_named(
    conn: &mut AnyConn,
    of: &BTreeSet<BatchId>,
) -> Result<Vec<(BatchId, String, String)>, Failure> {
    let of: Vec<BatchId> = of.iter().copied().collect();
    let mut found = Vec::new();
    for some in of.chunks(500) {
        let rows: Vec<(BatchId, String, String)> = batches::table
            .filter(batches::id.eq_any(padded(some)))
            .order(batches::id)
            .select((batches::id, batches::code, batches::name))
            .prepared()
            .load(conn)?;
        found.extend(rows);
    }
    Ok(found)
}

/// The items that went into each of these batches, and into all that some of it came from.
pub fn items_into(conn: &mut AnyConn, of: &[BatchId]) -> Result<HashMap<BatchId, Vec<ItemId>>, Failure> {
    let above = network(conn, of.iter().copied().map(Node::Batch), Way::Up)?;
    let lot = |node: &Node| if let Node::Lot(lot) = node { Some(*lot) } else { None };
    let all: Vec<LotId> = above.keys().filter_map(lot).collect();
    let mut items: HashMap<LotId, ItemId> = HashMap::new();
    for some in all.chunks(500) {
        let rows: Vec<(LotId, ItemId)> = lots::table
            .filter(lots::id.eq_any(padded(some)))
            .select((lots::id, lots::item_id))
            .prepared()
            .load(conn)?;
        items.extend(rows);
    }
    let into = |batch: &BatchId| {
        let mut reached = BTreeSet::new();
        let mut next = vec![Node::Batch(*batch)];
        while let Some(node) = next.pop() {
            if reached.insert(node) {
                next.extend(above.get(&node).into_iter().flatten());
            }
        }
        let mut found: Vec<ItemId> =
            reached.iter().filter_map(|node| items.get(&lot(node)?).copied()).collect();
        found.sort_unstable();
        found.dedup();
        (*batch, found)
    };
    Ok(of.iter().map(into).collect())
}

/// The allergens of a lot: what its own item states, and what the items of all lots state that went into it by whatever
/// way, as they state it today. A drink is made anew with every batch, so its item states nothing by itself: what a
/// bottling may hold follows from its own batch and packaging, whatever went into another bottling of that drink.
pub fn allergens(conn: &mut AnyConn, lot: LotId) -> Result<Vec<String>, Failure> {
    let above = walk(conn, Node::Lot(lot), Way::Up, usize::MAX)?;
    let mut found = BTreeSet::new();
    for some in above.lots().chunks(500) {
        let rows: Vec<String> = lots::table
            .inner_join(items::table.on(items::id.eq(lots::item_id)))
            .filter(lots::id.eq_any(padded(some)))
            .select(items::allergens)
            .distinct()
            .prepared()
            .load(conn)?;
        let words = rows.iter().flat_map(|row| row.split(',')).filter(|word| !word.is_empty());
        found.extend(words.map(str::to_owned));
    }
    Ok(found.into_iter().collect())
}

fn described(conn: &mut AnyConn, of: &[LotId]) -> Result<Vec<Found>, Failure> {
    type Row = (
        (LotId, String, String, BaseUnit),
        (Option<String>, String, String, Day),
        (Option<BatchId>, Option<BottlingId>),
    );
    let mut found = Vec::new();
    for some in of.chunks(500) {
        let rows: Vec<Row> = lots::table
            .inner_join(items::table.on(items::id.eq(lots::item_id)))
            .inner_join(entries::table.on(entries::id.eq(lots::entry_id)))
            .left_join(bottlings::table.on(bottlings::lot_id.eq(lots::id)))
            .filter(lots::id.eq_any(padded(some)))
            .order(lots::id)
            .select((
                (lots::id, lots::code, items::name, items::unit),
                (entries::code, lots::supplier, lots::supplier_mark, lots::received_on),
                (lots::batch_id, bottlings::id.nullable()),
            ))
            .prepared()
            .load(conn)?;
        let there: Vec<(LotId, Milli)> = accounts::table
            .filter(accounts::lot_id.eq_any(padded(&some.iter().copied().map(Some).collect::<Vec<_>>())))
            .select((accounts::lot_id.assume_not_null(), accounts::quantity))
            .prepared()
            .load(conn)?;
        let mut left: HashMap<LotId, Milli> = HashMap::new();
        for (lot, quantity) in there {
            let sum = left.entry(lot).or_default();
            *sum = *sum + quantity;
        }
        for ((lot, code, item, unit), (receipt, supplier, mark, day), (batch, bottling)) in rows {
            let left = left.get(&lot).copied().unwrap_or_default();
            let supplier = (supplier, mark);
            found.push(Found { lot, code, item, receipt, supplier, day, batch, bottling, left, unit });
        }
    }
    Ok(found)
}

/// Who took bottles of these lots, `most` takings at most, and whether there are more.
fn taken(conn: &mut AnyConn, of: &[LotId], most: usize) -> Result<(Vec<Taken>, bool), Failure> {
    type Row = (EntryId, Day, LotId, String, Milli);
    let back = diesel::alias!(entries as back);
    let mut found = Vec::new();
    for some in of.chunks(500) {
        let rows: Vec<Row> = entries::table
            .inner_join(postings::table.on(postings::entry_id.eq(entries::id)))
            .inner_join(accounts::table.on(accounts::id.eq(postings::account_id)))
            .inner_join(lots::table.on(lots::id.nullable().eq(accounts::lot_id)))
            .left_join(back.on(back.field(entries::reverses).eq(entries::id.nullable())))
            .filter(entries::kind.eq(EntryKind::Withdrawal).and(lots::id.eq_any(padded(some))))
            .filter(back.field(entries::id).nullable().is_null())
            .order(entries::id)
            .limit(i64::try_from(most - found.len() + 1).unwrap_or(i64::MAX))
            .select((entries::id, entries::day, lots::id, lots::code, postings::quantity))
            .prepared()
            .load(conn)?;
        let entries: Vec<EntryId> = rows.iter().map(|row| row.0).collect();
        let receivers = receivers(conn, &entries)?;
        for (entry, day, lot, code, quantity) in rows {
            let who = receivers.get(&entry).cloned().unwrap_or_default();
            found.push(Taken { entry, day, lot, code, bottles: quantity.get() / -1000, who });
        }
        if found.len() > most {
            found.truncate(most);
            return Ok((found, true));
        }
    }
    Ok((found, false))
}

/// Who or what bottles went to, by entry.
fn receivers(conn: &mut AnyConn, of: &[EntryId]) -> Result<HashMap<EntryId, String>, Failure> {
    let mut found = HashMap::new();
    for some in of.chunks(500) {
        let rows: Vec<(EntryId, String, Option<String>)> = postings::table
            .inner_join(accounts::table.on(accounts::id.eq(postings::account_id)))
            .left_join(members::table.on(members::id.nullable().eq(accounts::member_id)))
            .filter(postings::entry_id.eq_any(padded(some)).and(accounts::kind.ne("stock")))
            .select((postings::entry_id, accounts::kind, members::name.nullable()))
            .prepared()
            .load(conn)?;
        found.extend(rows.into_iter().map(|(entry, kind, name)| (entry, name.unwrap_or(kind))));
    }
    Ok(found)
}
