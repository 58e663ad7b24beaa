//! How the club counts: how far a line may be off, and in which order one walks.

use serde::{Deserialize, Serialize};

use crate::actions::once::{RequestKey, once};
use crate::actions::{Done, or_missing};
use crate::db::counts as rows;
use crate::db::{Database, stock};
use crate::domain::counts::Tolerance;
use crate::domain::members::Cellarhand;
use crate::units::ids::PlaceId;

/// How the club counts.
#[derive(Debug, Clone, Serialize, Deserialize)]
pub struct Ways {
    /// How far a line may be off before it is counted a second time.
    pub tolerance: Tolerance,
    /// In which order one walks past the places; those that are not named come last.
    pub order: Vec<(PlaceId, u32)>,
}

/// Say how the club counts.
pub async fn set_ways(db: &Database, by: &Cellarhand, key: Option<RequestKey>, ways: Ways) -> Done<usize> {
    once(db, by, key, "ways of counting", ways, |conn, doer, ways| {
        for (place, _) in &ways.order {
            or_missing(stock::place(conn, doer.club, *place), "order", "place")?;
        }
        rows::set_tolerance(conn, doer.club, ways.tolerance)?;
        rows::set_walking_order(conn, doer.club, &ways.order)?;
        Ok(ways.order.len())
    })
    .await
}
