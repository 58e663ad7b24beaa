//! What moved the cost of a batch, line by line, down to the receipts; and what bottles were booked at.

use std::collections::HashMap;

use diesel::prelude::*;

use super::batches::{moves_of, moves_until, standing_then};
use super::connection::AnyConn;
use super::failure::Failure;
use super::schema::{accounts, batches, bottlings, by_product_shares, entries, items, lots, postings};
use crate::db::prepared::{Prepare, padded};
use crate::domain::batches::Moved;
use crate::domain::books::EntryKind;
use crate::domain::costs::by_products::{By, Grounds};
use crate::domain::costs::{BottlingCost, CostLine};
use crate::units::days::Day;
use crate::units::ids::{BatchId, ClubId, EntryId, LotId};
use crate::units::money::Money;
use crate::units::quantity::{BaseUnit, Milli};

/// All lines that moved the cost of a batch, in the order of the journal: supplies lot by lot, by-products,
/// losses, splits and blends, bottlings. Their costs add up to what the batch holds. With `until`, they are
/// those that counted when that entry had been recorded, and add up to what the batch held then.
pub fn of_batch(
    conn: &mut AnyConn,
    batch: BatchId,
    until: Option<EntryId>,
) -> Result<Vec<CostLine>, Failure> {
    let moved = moves_until(conn, batch, until)?;
    let of = |by_lot: bool| {
        let kept = moved.iter().filter(move |line| is_by_lot(line.kind) == by_lot);
        kept.map(|line| line.entry).collect::<Vec<_>>()
    };
    let mut lots = lot_rows(conn, &of(true))?;
    let mut others = other_batches(conn, &of(false), batch)?;
    let mut found = Vec::new();
    for line in moved {
        if is_by_lot(line.kind) {
            let rows = lots.remove(&line.entry).unwrap_or_default();
            found.extend(rows.into_iter().map(|row| row.line(line.kind, line.day)));
        } else {
            found.push(whole_line(&line, others.remove(&line.entry)));
        }
    }
    Ok(found)
}

/// What the bottles of each of these bottlings cost, by the entry that made them; which batches drink came from is not
/// said. The number of queries does not grow with theirs.
pub fn of_bottlings(
    conn: &mut AnyConn,
    of: &[super::bottles::Bottling],
) -> Result<HashMap<EntryId, BottlingCost>, Failure> {
    let mut batches: Vec<BatchId> = of.iter().map(|bottling| bottling.batch).collect();
    batches.sort_unstable();
    batches.dedup();
    let kept = moves_of(conn, &batches)?;
    let by_lot = kept.values().flatten().filter(|kept| is_by_lot(kept.0.kind)).map(|kept| kept.0.entry);
    let entries: Vec<EntryId> = by_lot.chain(of.iter().map(|bottling| bottling.entry)).collect();
    let lots = lot_rows(conn, &entries)?;
    let rows = |entry: EntryId| lots.get(&entry).into_iter().flatten().cloned();
    let cost = |bottling: &super::bottles::Bottling| {
        let mut lines = Vec::new();
        for moved in standing_then(kept.get(&bottling.batch)?, Some(bottling.entry)) {
            if is_by_lot(moved.kind) {
                lines.extend(rows(moved.entry).map(|row| row.line(moved.kind, moved.day)));
            } else {
                lines.push(whole_line(&moved, None));
            }
        }
        let taken = rows(bottling.entry).filter(|row| row.quantity < Milli::ZERO);
        let packaging = taken.map(|row| row.line(EntryKind::Bottling, bottling.bottled_on)).collect();
        Some((bottling.entry, BottlingCost::of(lines, bottling.entry, packaging, bottling.bottles)?))
    };
    Ok(of.iter().filter_map(cost).collect())
}

/// Bottles, closures and labels that went into a bottling.
pub fn packaging(conn: &mut AnyConn, bottling: &super::bottles::Bottling) -> Result<Vec<CostLine>, Failure> {
    let rows = lot_rows(conn, &[bottling.entry])?.remove(&bottling.entry).unwrap_or_default();
    let taken = rows.into_iter().filter(|row| row.quantity < Milli::ZERO);
    Ok(taken.map(|row| row.line(EntryKind::Bottling, bottling.bottled_on)).collect())
}

/// What the bottles of each of these bottlings were booked at, by the entry that made them.
pub fn booked(conn: &mut AnyConn, of: &[EntryId]) -> Result<HashMap<EntryId, Money>, Failure> {
    let rows: Vec<(EntryId, Money)> = postings::table
        .inner_join(accounts::table.on(accounts::id.eq(postings::account_id)))
        .inner_join(bottlings::table.on(bottlings::entry_id.eq(postings::entry_id)))
        .filter(postings::entry_id.eq_any(padded(of)))
        .filter(accounts::lot_id.eq(bottlings::lot_id.nullable()))
        .select((postings::entry_id, postings::cost))
        .prepared()
        .load(conn)?;
    Ok(rows.into_iter().collect())
}

/// Keep what the share of a by-product rests on.
pub fn add_grounds(
    conn: &mut AnyConn,
    club: ClubId,
    entry: EntryId,
    grounds: &Grounds,
) -> Result<(), Failure> {
    diesel::insert_into(by_product_shares::table)
        .values((
            by_product_shares::entry_id.eq(entry),
            by_product_shares::club_id.eq(club),
            by_product_shares::method.eq(grounds.by),
            by_product_shares::worth.eq(grounds.worth),
            by_product_shares::mass.eq(grounds.mass),
            by_product_shares::drink_mass.eq(grounds.drink_mass),
            by_product_shares::drink_worth.eq(grounds.drink_worth),
        ))
        .execute(conn)?;
    Ok(())
}

/// What the shares of the by-products among these lines rest on.
pub fn grounds(conn: &mut AnyConn, lines: &[CostLine]) -> Result<HashMap<EntryId, Grounds>, Failure> {
    let weighed = lines.iter().filter(|line| line.kind == EntryKind::ByProduct).map(|line| line.entry);
    let entries: Vec<EntryId> = weighed.collect();
    let mut found = HashMap::new();
    for some in entries.chunks(500) {
        type Row = (EntryId, By, Money, Milli, Milli, Option<Money>);
        let rows: Vec<Row> = by_product_shares::table
            .filter(by_product_shares::entry_id.eq_any(padded(some)))
            .select((
                by_product_shares::entry_id,
                by_product_shares::method,
                by_product_shares::worth,
                by_product_shares::mass,
                by_product_shares::drink_mass,
                by_product_shares::drink_worth,
            ))
            .prepared()
            .load(conn)?;
        let told = |(entry, by, worth, mass, drink_mass, drink_worth): Row| {
            (entry, Grounds { by, worth, mass, drink_mass, drink_worth })
        };
        found.extend(rows.into_iter().map(told));
    }
    Ok(found)
}

const fn is_by_lot(kind: EntryKind) -> bool {
    matches!(kind, EntryKind::Draw | EntryKind::Pitch | EntryKind::ByProduct)
}

/// A line of an entry that moved a lot.
#[derive(Clone, Queryable)]
struct LotRow {
    entry: EntryId,
    what: String,
    unit: BaseUnit,
    lot: LotId,
    code: String,
    brought_by: EntryId,
    receipt: Option<String>,
    quantity: Milli,
    cost: Money,
}

impl LotRow {
    /// As the batch or bottling sees it: what left a lot came in.
    fn line(self, kind: EntryKind, day: Day) -> CostLine {
        CostLine {
            entry: self.entry,
            kind,
            day,
            what: self.what,
            lot: Some((self.lot, self.code)),
            receipt: Some((self.brought_by, self.receipt)),
            other_batch: None,
            quantity: self.quantity.negated(),
            unit: self.unit,
            cost: self.cost.negated(),
        }
    }
}

fn lot_rows(conn: &mut AnyConn, of: &[EntryId]) -> Result<HashMap<EntryId, Vec<LotRow>>, Failure> {
    let mut found: HashMap<EntryId, Vec<LotRow>> = HashMap::new();
    for some in of.chunks(500) {
        let rows: Vec<LotRow> = postings::table
            .inner_join(accounts::table.on(accounts::id.eq(postings::account_id)))
            .inner_join(lots::table.on(lots::id.nullable().eq(accounts::lot_id)))
            .inner_join(items::table.on(items::id.eq(lots::item_id)))
            .inner_join(entries::table.on(entries::id.eq(lots::entry_id)))
            .filter(postings::entry_id.eq_any(padded(some)))
            .order((postings::entry_id, postings::line))
            .select((
                postings::entry_id,
                items::name,
                items::unit,
                lots::id,
                lots::code,
                lots::entry_id,
                entries::code,
                postings::quantity,
                postings::cost,
            ))
            .prepared()
            .load(conn)?;
        for row in rows {
            found.entry(row.entry).or_default().push(row);
        }
    }
    Ok(found)
}

fn whole_line(moved: &Moved, other_batch: Option<(BatchId, String, String)>) -> CostLine {
    let Moved { entry, kind, day, volume: quantity, cost, .. } = *moved;
    let what = match &other_batch {
        Some((_, code, name)) => format!("{name}, batch {code}"),
        None => kind.label().to_owned(),
    };
    CostLine {
        entry,
        kind,
        day,
        what,
        lot: None,
        receipt: None,
        other_batch,
        quantity,
        unit: BaseUnit::Millilitre,
        cost,
    }
}

/// The batch on the other side of each split or blend: which, its code, its drink.
fn other_batches(
    conn: &mut AnyConn,
    of: &[EntryId],
    batch: BatchId,
) -> Result<HashMap<EntryId, (BatchId, String, String)>, Failure> {
    let mut found = HashMap::new();
    for some in of.chunks(500) {
        let rows: Vec<(EntryId, (BatchId, String, String))> = postings::table
            .inner_join(accounts::table.on(accounts::id.eq(postings::account_id)))
            .inner_join(batches::table.on(batches::id.nullable().eq(accounts::batch_id)))
            .filter(postings::entry_id.eq_any(padded(some)).and(batches::id.ne(batch)))
            .select((postings::entry_id, (batches::id, batches::code, batches::name)))
            .prepared()
            .load(conn)?;
        found.extend(rows);
    }
    Ok(found)
}
