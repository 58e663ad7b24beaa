//! A batch as it was really made, to write a recipe from: what was drawn, and what was weighed off.

use diesel::prelude::*;

use crate::db::connection::AnyConn;
use crate::db::failure::Failure;
use crate::db::schema::{accounts, entries, items, lots, postings};
use crate::domain::books::EntryKind;
use crate::domain::stock::ItemKind;
use crate::units::ids::{BatchId, ClubId, ItemId};
use crate::units::quantity::{BaseUnit, Milli};

/// One item that went into a batch, or came off it.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct AsMade {
    /// Which.
    pub item: ItemId,
    /// What kind of item.
    pub kind: ItemKind,
    /// What it is counted in.
    pub unit: BaseUnit,
    /// How much, with what was taken back.
    pub amount: Milli,
    /// It came off.
    pub off: bool,
}

/// Item by item what was drawn into a batch and pitched, and what was weighed off, in the order in which it came first.
pub fn as_made(conn: &mut AnyConn, club: ClubId, batch: BatchId) -> Result<Vec<AsMade>, Failure> {
    type Row = (EntryKind, Option<EntryKind>, ItemId, ItemKind, BaseUnit, Milli);
    let meant = diesel::alias!(entries as meant);
    let rows: Vec<Row> = postings::table
        .inner_join(entries::table.on(entries::id.eq(postings::entry_id)))
        .left_join(meant.on(meant.field(entries::id).nullable().eq(entries::reverses)))
        .inner_join(accounts::table.on(accounts::id.eq(postings::account_id)))
        .inner_join(lots::table.on(lots::id.nullable().eq(accounts::lot_id)))
        .inner_join(items::table.on(items::id.eq(lots::item_id)))
        .filter(entries::club_id.eq(club).and(entries::batch_id.eq(Some(batch))))
        .filter(accounts::kind.eq("stock"))
        .order((postings::entry_id, postings::line))
        .select((
            entries::kind,
            meant.field(entries::kind).nullable(),
            items::id,
            items::kind,
            items::unit,
            postings::quantity,
        ))
        .load(conn)?;
    let mut found: Vec<AsMade> = Vec::new();
    for (kind, reversed, item, of, unit, quantity) in rows {
        let (off, amount) = match reversed.unwrap_or(kind) {
            EntryKind::Draw | EntryKind::Pitch => (false, quantity.negated()),
            EntryKind::ByProduct => (true, quantity),
            _ => continue,
        };
        match found.iter_mut().find(|made| (made.item, made.off) == (item, off)) {
            Some(made) => made.amount = made.amount + amount,
            None => found.push(AsMade { item, kind: of, unit, amount, off }),
        }
    }
    found.retain(|made| made.amount > Milli::ZERO);
    Ok(found)
}
