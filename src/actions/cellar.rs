//! Carrying the bottles of many fillings from one place to another at once.

use serde::{Deserialize, Serialize};

use super::once::{RequestKey, once};
use super::{Done, or_missing};
use crate::db::{Database, cellar, stock as rows};
use crate::domain::cellar::{Spot, room_for};
use crate::domain::members::Cellarhand;
use crate::domain::refusal::Refusal;
use crate::domain::stock::{Move, carry};
use crate::units::days::Day;
use crate::units::ids::{EntryId, LotId, PlaceId};
use crate::units::quantity::Milli;

/// Bottles that are carried.
#[derive(Debug, Clone, Serialize, Deserialize)]
pub struct Carrying {
    /// When.
    pub day: Day,
    /// From where.
    pub from: PlaceId,
    /// To where.
    pub to: PlaceId,
    /// All bottles there of these lots.
    pub lots: Vec<LotId>,
}

/// Carry them: an entry for each filling, all of them or none. No place gets more than it takes.
pub async fn carry_bottles(
    db: &Database,
    by: &Cellarhand,
    key: Option<RequestKey>,
    order: Carrying,
) -> Done<Vec<EntryId>> {
    once(db, by, key, "carrying", order, |conn, doer, order| {
        or_missing(rows::place(conn, doer.club, order.from), "", "place")?;
        let to = or_missing(rows::place(conn, doer.club, order.to), "to", "place")?;
        if order.from == order.to {
            return Err(Refusal::unfit("to", "They stand there already; choose another place").into());
        }
        let mut entries = Vec::new();
        let mut bottles = 0;
        for (at, lot) in order.lots.iter().enumerate() {
            let field = format!("lots.{at}");
            let lot = or_missing(rows::lot(conn, doer.club, *lot), &field, "lot")?;
            let mut shelf = rows::shelf_on(conn, doer.club, &lot, order.from, order.day)?;
            let quantity = shelf.holding.quantity;
            if quantity <= Milli::ZERO {
                let words = format!("Nothing of lot {} stands there on that day; leave it out", lot.code);
                return Err(Refusal::conflict(field, words).into());
            }
            let one = Move { day: order.day, lot: order.lots[at], from: order.from, to: order.to, quantity };
            let mut entry = carry(&one, &mut shelf, lot.item.unit)?;
            entry.bottling = lot.bottling;
            bottles += quantity.get() / 1000;
            entries.push(entry);
        }
        let spots = cellar::spots(conn, doer.club, doer.today())?;
        let empty = || Spot {
            place: order.to,
            path: to.path.clone(),
            capacity: to.capacity,
            stands: Vec::new(),
            air: None,
        };
        room_for(&spots.into_iter().find(|spot| spot.place == order.to).unwrap_or_else(empty), bottles)?;
        entries.iter().map(|entry| super::stock::record(conn, doer, entry)).collect()
    })
    .await
}
