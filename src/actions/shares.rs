//! Settling whose the bottles of a batch are, wishing for some, and recording that members are even.

use super::members::audit_by;
use super::once::{RequestKey, once};
use super::stock::{known_member, record};
use super::{Done, or_missing};
use crate::db::{Database, batches, bottles, shares as rows};
use crate::domain::members::{Steward, Taster};
use crate::domain::payments::settle;
use crate::domain::refusal::Refusal;
use crate::domain::shares::{MOST_SHARES, Made, Sharing, Wish};
use crate::units::ids::{BatchId, BottlingId, EntryId};

/// Settle how the bottles of a batch are shared from now on.
pub async fn settle_shares(
    db: &Database,
    by: &Steward,
    key: Option<RequestKey>,
    sharing: Sharing,
) -> Done<BatchId> {
    once(db, by, key, "shares", sharing, |conn, doer, sharing| {
        let (code, drink) = or_missing(batches::named(conn, doer.club, sharing.batch), "", "batch")?;
        if sharing.shares.len() > MOST_SHARES {
            return Err(
                Refusal::unfit("shares", format!("At most {MOST_SHARES} members share a batch")).into()
            );
        }
        for (at, share) in sharing.shares.iter().enumerate() {
            known_member(conn, doer, share.member, &format!("shares.{at}.member"))?;
        }
        sharing.check()?;
        rows::settle(conn, doer, sharing)?;
        audit_by(conn, doer, &format!("settled how batch {code}, {drink}, is shared"))?;
        Ok(sharing.batch)
    })
    .await
}

/// Say how many bottles of a bottling one would like to have.
pub async fn wish(db: &Database, by: &Taster, key: Option<RequestKey>, wish: Wish) -> Done<BottlingId> {
    once(db, by, key, "wish", wish, |conn, doer, wish| {
        or_missing(bottles::bottling(conn, doer.club, wish.bottling), "", "bottling")?;
        rows::wish(conn, doer, wish)?;
        Ok(wish.bottling)
    })
    .await
}

/// Record that one paid another, so that both are even with the club.
pub async fn record_transfer(
    db: &Database,
    by: &Steward,
    key: Option<RequestKey>,
    made: Made,
) -> Done<Vec<EntryId>> {
    once(db, by, key, "transfer", made, |conn, doer, made| {
        for (who, field) in [(made.paid.from, "from"), (made.paid.to, "to")] {
            if let Some(member) = who {
                known_member(conn, doer, member, field)?;
            }
        }
        made.payments()?.iter().map(|payment| record(conn, doer, &settle(payment)?)).collect()
    })
    .await
}
