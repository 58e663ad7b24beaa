//! Money between a member and the club, recorded by a steward.

use super::Done;
use super::once::{RequestKey, once};
use super::stock::{known_member, record};
use crate::db::Database;
use crate::domain::members::Steward;
use crate::domain::payments::{Payment, settle};
use crate::units::ids::EntryId;

/// Record that a member paid the club, or was paid back.
pub async fn record_payment(
    db: &Database,
    by: &Steward,
    key: Option<RequestKey>,
    payment: Payment,
) -> Done<EntryId> {
    once(db, by, key, "payment", payment, |conn, doer, payment| {
        known_member(conn, doer, payment.member, "")?;
        record(conn, doer, &settle(payment)?)
    })
    .await
}
