//! Saying how an item is bought and kept, and when a lot was opened.

use serde::{Deserialize, Serialize};

use super::once::{RequestKey, once};
use super::{Done, or_missing};
use crate::db::{AnyConn, Database, buying as rows, stock};
use crate::domain::buying::instead::check;
use crate::domain::buying::{Opening, Upkeep};
use crate::domain::members::{Cellarhand, Doer};
use crate::units::days::{Instant, local_day};
use crate::units::ids::{ItemId, LotId};

/// How an item is bought from now on.
#[derive(Debug, Clone, Serialize, Deserialize)]
pub struct Keeping {
    /// Which.
    pub item: ItemId,
    /// How; all of it.
    pub upkeep: Upkeep,
}

/// Say how an item is bought.
pub async fn keep_up(
    db: &Database,
    by: &Cellarhand,
    key: Option<RequestKey>,
    order: Keeping,
) -> Done<ItemId> {
    once(db, by, key, "upkeep", order, |conn, doer, order| {
        let item = or_missing(stock::item(conn, doer.club, order.item), "", "item")?;
        let others: Vec<ItemId> = order.upkeep.substitutes.iter().map(|one| one.other).collect();
        let units = stock::units(conn, doer.club, &others, &[])?;
        check(order.item, item.unit, &order.upkeep.substitutes, |id| units.of_item(id))?;
        rows::set_upkeep(conn, doer.club, order.item, &order.upkeep)?;
        Ok(order.item)
    })
    .await
}

/// Say that a lot was opened, or that it is not open after all.
pub async fn open_lot(
    db: &Database,
    by: &Cellarhand,
    key: Option<RequestKey>,
    opening: Opening,
) -> Done<LotId> {
    once(db, by, key, "opening", opening, |conn, doer, opening| {
        let lot = or_missing(stock::lot(conn, doer.club, opening.lot), "", "lot")?;
        opening.check(lot.item.kind, lot.received_on)?;
        rows::set_opening(conn, doer, opening)?;
        Ok(opening.lot)
    })
    .await
}

/// Whoever counted saw a package of a lot open.
pub(super) fn seen_open(conn: &mut AnyConn, doer: &Doer, lot: LotId, at: Instant) -> Done<()> {
    let lot = or_missing(stock::lot(conn, doer.club, lot), "lot", "lot")?;
    let day = local_day(at, doer.zone);
    match Opening::seen(lot.id, lot.item.kind, lot.opened_on, lot.received_on, day) {
        Some(opening) => Ok(rows::set_opening(conn, doer, &opening)?),
        None => Ok(()),
    }
}
