//! Following postings from lot to batch to lot, up to the receipts and down to who took the bottles.

use std::collections::BTreeSet;

use diesel::prelude::*;

use super::connection::AnyConn;
use super::failure::Failure;
use super::schema::{accounts, batches, bottlings, entries, items, lots, members, postings};
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
    /// Lots that went into it, the farthest last.
    pub up: Vec<Found>,
    /// Lots that came of it.
    pub down: Vec<Found>,
    /// Batches on the way up and down: code and drink.
    pub batches: Vec<(BatchId, String, String)>,
    /// Who took what came of it, or of the lot itself.
    pub taken: Vec<Taken>,
}

/// Follow a lot both ways. Reversed entries do not count.
pub fn trace(conn: &mut AnyConn, club: ClubId, lot: LotId) -> Result<Trace, Failure> {
    let origin: Option<BatchId> = lots::table
        .filter(lots::id.eq(lot).and(lots::club_id.eq(club)))
        .select(lots::batch_id)
        .first(conn)?;
    let above = spread(conn, origin.into_iter().collect(), false)?;
    let drawn_into = batches_drawn_into(conn, &[lot])?;
    let below = spread(conn, drawn_into, true)?;
    let up = lots_into(conn, &above)?;
    let down = lots_out_of(conn, &below)?;
    let mut of = down.clone();
    of.push(lot);
    let named: BTreeSet<BatchId> = above.union(&below).copied().collect();
    Ok(Trace {
        up: described(conn, &up)?,
        down: described(conn, &down)?,
        batches: batches::table
            .filter(batches::id.eq_any(named))
            .order(batches::id)
            .select((batches::id, batches::code, batches::name))
            .load(conn)?,
        taken: taken(conn, &of)?,
    })
}

/// The items that went into a batch, and into those that some of it came from.
pub fn items_into(conn: &mut AnyConn, batch: BatchId) -> Result<Vec<ItemId>, Failure> {
    let above = spread(conn, vec![batch], false)?;
    let mut found = Vec::new();
    for some in lots_into(conn, &above)?.chunks(500) {
        let part: Vec<ItemId> =
            lots::table.filter(lots::id.eq_any(some.to_vec())).select(lots::item_id).distinct().load(conn)?;
        found.extend(part);
    }
    found.sort_unstable();
    found.dedup();
    Ok(found)
}

/// Entries that stand: not reversed and no reversals, with a line on one of these accounts.
fn standing_entries(
    conn: &mut AnyConn,
    of_batches: &[BatchId],
    kinds: &[EntryKind],
) -> Result<Vec<EntryId>, Failure> {
    let back = diesel::alias!(entries as back);
    let mut found = Vec::new();
    for some in of_batches.chunks(500) {
        let of: Vec<Option<BatchId>> = some.iter().copied().map(Some).collect();
        let part: Vec<EntryId> = entries::table
            .inner_join(postings::table.on(postings::entry_id.eq(entries::id)))
            .inner_join(accounts::table.on(accounts::id.eq(postings::account_id)))
            .left_join(back.on(back.field(entries::reverses).eq(entries::id.nullable())))
            .filter(accounts::batch_id.eq_any(of).and(entries::kind.eq_any(kinds.to_vec())))
            .filter(back.field(entries::id).nullable().is_null())
            .select(entries::id)
            .load(conn)?;
        found.extend(part);
    }
    found.sort_unstable();
    found.dedup();
    Ok(found)
}

/// All batches reached from these through splits and blends, down (into) or up (out of).
fn spread(conn: &mut AnyConn, from: Vec<BatchId>, down: bool) -> Result<BTreeSet<BatchId>, Failure> {
    let mut reached: BTreeSet<BatchId> = from.iter().copied().collect();
    let mut edge = from;
    while !edge.is_empty() {
        let moved = standing_entries(conn, &edge, &[EntryKind::Split, EntryKind::Blend])?;
        let rows: Vec<(EntryId, Option<BatchId>, Milli)> = postings::table
            .inner_join(accounts::table.on(accounts::id.eq(postings::account_id)))
            .filter(postings::entry_id.eq_any(moved).and(accounts::batch_id.is_not_null()))
            .select((postings::entry_id, accounts::batch_id, postings::quantity))
            .load(conn)?;
        let starts =
            |batch: BatchId, quantity: Milli| edge.contains(&batch) && (quantity < Milli::ZERO) == down;
        let started: BTreeSet<EntryId> = rows
            .iter()
            .filter(|row| row.1.is_some_and(|batch| starts(batch, row.2)))
            .map(|row| row.0)
            .collect();
        let next: Vec<BatchId> = rows
            .iter()
            .filter(|row| started.contains(&row.0) && (row.2 > Milli::ZERO) == down)
            .filter_map(|row| row.1)
            .filter(|batch| !reached.contains(batch))
            .collect();
        reached.extend(&next);
        edge = next;
        edge.sort_unstable();
        edge.dedup();
    }
    Ok(reached)
}

/// The allergens of all that went into a batch: its own supplies, those of the batches it came from, and of the batches
/// whose by-products and drinks were drawn into it.
pub fn allergens(conn: &mut AnyConn, batch: BatchId) -> Result<Vec<String>, Failure> {
    let (mut reached, mut edge) = (BTreeSet::new(), vec![batch]);
    let mut found = BTreeSet::new();
    while !edge.is_empty() {
        let above = spread(conn, edge, false)?;
        let mut rows: Vec<(String, Option<BatchId>)> = Vec::new();
        for some in lots_into(conn, &above)?.chunks(500) {
            let of = lots::table.inner_join(items::table.on(items::id.eq(lots::item_id)));
            let of = of.filter(lots::id.eq_any(some.to_vec())).select((items::allergens, lots::batch_id));
            rows.extend(of.load::<(String, Option<BatchId>)>(conn)?);
        }
        reached.extend(above);
        let words = rows.iter().flat_map(|row| row.0.split(',')).filter(|word| !word.is_empty());
        found.extend(words.map(str::to_owned));
        let origins: BTreeSet<BatchId> = rows.iter().filter_map(|row| row.1).collect();
        edge = origins.difference(&reached).copied().collect();
    }
    Ok(found.into_iter().collect())
}

fn batches_drawn_into(conn: &mut AnyConn, of: &[LotId]) -> Result<Vec<BatchId>, Failure> {
    let back = diesel::alias!(entries as back);
    let of: Vec<Option<LotId>> = of.iter().copied().map(Some).collect();
    let found: Vec<Option<BatchId>> = entries::table
        .inner_join(postings::table.on(postings::entry_id.eq(entries::id)))
        .inner_join(accounts::table.on(accounts::id.eq(postings::account_id)))
        .left_join(back.on(back.field(entries::reverses).eq(entries::id.nullable())))
        .filter(accounts::lot_id.eq_any(of).and(postings::quantity.lt(Milli::ZERO)))
        .filter(entries::kind.eq_any([EntryKind::Draw, EntryKind::Pitch, EntryKind::Bottling]))
        .filter(back.field(entries::id).nullable().is_null())
        .select(entries::batch_id)
        .distinct()
        .load(conn)?;
    Ok(found.into_iter().flatten().collect())
}

fn stock_lines(conn: &mut AnyConn, of: &[EntryId], came: bool) -> Result<Vec<LotId>, Failure> {
    let mut found = Vec::new();
    for some in of.chunks(500) {
        let rows: Vec<(Option<LotId>, Milli)> = postings::table
            .inner_join(accounts::table.on(accounts::id.eq(postings::account_id)))
            .filter(postings::entry_id.eq_any(some.to_vec()).and(accounts::lot_id.is_not_null()))
            .select((accounts::lot_id, postings::quantity))
            .load(conn)?;
        found.extend(rows.into_iter().filter(|row| (row.1 > Milli::ZERO) == came).filter_map(|row| row.0));
    }
    found.sort_unstable();
    found.dedup();
    Ok(found)
}

fn lots_into(conn: &mut AnyConn, of: &BTreeSet<BatchId>) -> Result<Vec<LotId>, Failure> {
    let of: Vec<BatchId> = of.iter().copied().collect();
    let drawn = standing_entries(conn, &of, &[EntryKind::Draw, EntryKind::Pitch, EntryKind::Bottling])?;
    stock_lines(conn, &drawn, false)
}

fn lots_out_of(conn: &mut AnyConn, of: &BTreeSet<BatchId>) -> Result<Vec<LotId>, Failure> {
    let of: Vec<BatchId> = of.iter().copied().collect();
    let made = standing_entries(conn, &of, &[EntryKind::ByProduct, EntryKind::Bottling])?;
    stock_lines(conn, &made, true)
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
            .filter(lots::id.eq_any(some.to_vec()))
            .order(lots::id)
            .select((
                (lots::id, lots::code, items::name, items::unit),
                (entries::code, lots::supplier, lots::supplier_mark, lots::received_on),
                (lots::batch_id, bottlings::id.nullable()),
            ))
            .load(conn)?;
        let left: Vec<(Option<LotId>, Milli)> = accounts::table
            .filter(accounts::lot_id.eq_any(some.iter().copied().map(Some)))
            .select((accounts::lot_id, accounts::quantity))
            .load(conn)?;
        for ((lot, code, item, unit), (receipt, supplier, mark, day), (batch, bottling)) in rows {
            let left = left.iter().filter(|row| row.0 == Some(lot)).map(|row| row.1).sum();
            let supplier = (supplier, mark);
            found.push(Found { lot, code, item, receipt, supplier, day, batch, bottling, left, unit });
        }
    }
    Ok(found)
}

fn taken(conn: &mut AnyConn, of: &[LotId]) -> Result<Vec<Taken>, Failure> {
    type Row = (EntryId, Day, LotId, String, Milli);
    let back = diesel::alias!(entries as back);
    let mut found = Vec::new();
    for some in of.chunks(500) {
        let rows: Vec<Row> = entries::table
            .inner_join(postings::table.on(postings::entry_id.eq(entries::id)))
            .inner_join(accounts::table.on(accounts::id.eq(postings::account_id)))
            .inner_join(lots::table.on(lots::id.nullable().eq(accounts::lot_id)))
            .left_join(back.on(back.field(entries::reverses).eq(entries::id.nullable())))
            .filter(entries::kind.eq(EntryKind::Withdrawal).and(lots::id.eq_any(some.to_vec())))
            .filter(back.field(entries::id).nullable().is_null())
            .order(entries::id)
            .select((entries::id, entries::day, lots::id, lots::code, postings::quantity))
            .load(conn)?;
        for (entry, day, lot, code, quantity) in rows {
            let who = receiver(conn, entry)?;
            found.push(Taken { entry, day, lot, code, bottles: quantity.get() / -1000, who });
        }
    }
    Ok(found)
}

fn receiver(conn: &mut AnyConn, entry: EntryId) -> Result<String, Failure> {
    let (kind, name): (String, Option<String>) = postings::table
        .inner_join(accounts::table.on(accounts::id.eq(postings::account_id)))
        .left_join(members::table.on(members::id.nullable().eq(accounts::member_id)))
        .filter(postings::entry_id.eq(entry).and(accounts::kind.ne("stock")))
        .select((accounts::kind, members::name.nullable()))
        .first(conn)?;
    Ok(name.unwrap_or(kind))
}
