//! Holding lots back, with everything that came of them, and releasing them.

use serde::{Deserialize, Serialize};

use super::once::{RequestKey, once};
use super::{Done, or_missing};
use crate::db::trace::{Node, Way, walk};
use crate::db::{AnyConn, Database, holds as rows, stock};
use crate::domain::holds::{Hold, spare};
use crate::domain::members::{Cellarhand, Doer};
use crate::domain::refusal::Refusal;
use crate::domain::stock::Shelf;
use crate::units::ids::LotId;

/// A lot is to be held back.
#[derive(Debug, Clone, Serialize, Deserialize)]
pub struct HoldBack {
    /// Which.
    pub lot: LotId,
    /// Why.
    pub reason: String,
    /// With everything that came of it.
    pub all: bool,
}

/// Hold a lot back, or it and everything that came of it: how many lots are held now that were not before.
pub async fn hold(db: &Database, by: &Cellarhand, key: Option<RequestKey>, order: HoldBack) -> Done<u32> {
    once(db, by, key, "hold", order, |conn, doer, order| {
        or_missing(stock::lot(conn, doer.club, order.lot), "", "lot")?;
        let mut lots = vec![order.lot];
        if order.all {
            // However much came of it: what is left out here could be drunk.
            lots.extend(walk(conn, Node::Lot(order.lot), Way::Down, usize::MAX)?.lots());
            lots.sort_unstable();
            lots.dedup();
        }
        let held: Vec<LotId> =
            rows::of_lots(conn, doer.club, &lots)?.into_iter().map(|hold| hold.lot).collect();
        lots.retain(|lot| !held.contains(lot));
        if lots.is_empty() {
            return Err(Refusal::conflict("", "All of it is on hold already").into());
        }
        for lot in &lots {
            let because_of = (*lot != order.lot).then_some(order.lot);
            rows::add(conn, doer, *lot, because_of, &order.reason)?;
        }
        Ok(u32::try_from(lots.len()).unwrap_or(u32::MAX))
    })
    .await
}

/// A lot may be used again.
#[derive(Debug, Clone, Serialize, Deserialize)]
pub struct Release {
    /// Which.
    pub lot: LotId,
    /// Why.
    pub reason: String,
    /// With everything that was held because of it.
    pub all: bool,
}

/// Release a lot, or it and everything that was held because of it: how many lots are released.
pub async fn release(db: &Database, by: &Cellarhand, key: Option<RequestKey>, order: Release) -> Done<u32> {
    once(db, by, key, "release", order, |conn, doer, order| {
        or_missing(stock::lot(conn, doer.club, order.lot), "", "lot")?;
        let mut lots = vec![order.lot];
        if order.all {
            lots.extend(rows::because_of(conn, doer.club, order.lot)?);
        }
        let held = rows::of_lots(conn, doer.club, &lots)?;
        if held.is_empty() {
            return Err(Refusal::conflict("", "It is not on hold").into());
        }
        for hold in &held {
            hold.released_by(doer)?;
        }
        let released: Vec<LotId> = held.iter().map(|hold| hold.lot).collect();
        rows::release(conn, doer, &released, &order.reason)?;
        Ok(u32::try_from(released.len()).unwrap_or(u32::MAX))
    })
    .await
}

/// What may be taken of these shelves, and what of them is held back; refused where all of it is.
pub(super) fn spared(conn: &mut AnyConn, doer: &Doer, shelves: Vec<Shelf>) -> Done<(Vec<Shelf>, Vec<Hold>)> {
    let mut lots: Vec<LotId> = shelves.iter().map(|shelf| shelf.lot).collect();
    lots.dedup();
    let held = rows::of_lots(conn, doer.club, &lots)?;
    Ok((spare(shelves, &held)?, held))
}
