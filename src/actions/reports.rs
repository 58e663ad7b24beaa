//! The limit that a steward enters for what the club makes in a calendar year.

use super::Done;
use super::once::{RequestKey, once};
use crate::db::{Database, reports as rows};
use crate::domain::members::Steward;
use crate::units::quantity::Milli;

/// Keep another limit, or none.
pub async fn set_yearly_limit(
    db: &Database,
    by: &Steward,
    key: Option<RequestKey>,
    limit: Option<Milli>,
) -> Done<()> {
    once(db, by, key, "yearly limit", limit, |conn, doer, limit| {
        Ok(rows::set_yearly_limit(conn, doer.club, *limit)?)
    })
    .await
}
