//! Saying how an item is bought.

use serde::{Deserialize, Serialize};

use super::once::{RequestKey, once};
use super::{Done, or_missing};
use crate::db::{Database, buying as rows, stock};
use crate::domain::buying::Upkeep;
use crate::domain::members::Cellarhand;
use crate::units::ids::ItemId;

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
        or_missing(stock::item(conn, doer.club, order.item), "", "item")?;
        rows::set_upkeep(conn, doer.club, order.item, &order.upkeep)?;
        Ok(order.item)
    })
    .await
}
