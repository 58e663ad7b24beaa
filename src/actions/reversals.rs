//! Taking back what was recorded by mistake.

use serde::{Deserialize, Serialize};

use super::batches::restage;
use super::once::{RequestKey, once};
use super::{Done, or_missing};
use crate::db::{AnyConn, Database, Failure, books};
use crate::domain::members::{Cellarhand, Doer};
use crate::domain::refusal::{Refusal, Why};
use crate::domain::reversals::reverse;
use crate::units::ids::EntryId;

/// Which entry is taken back and why.
#[derive(Debug, Clone, Serialize, Deserialize)]
pub struct TakeBack {
    /// Which.
    pub entry: EntryId,
    /// Why.
    pub reason: String,
}

/// Reverse an entry, while nothing later rests on it.
pub async fn record_reversal(
    db: &Database,
    by: &Cellarhand,
    key: Option<RequestKey>,
    order: TakeBack,
) -> Done<EntryId> {
    once(db, by, key, "reversal", order, taken_back).await
}

pub(super) fn taken_back(conn: &mut AnyConn, doer: &Doer, order: &TakeBack) -> Done<EntryId> {
    let recorded = or_missing(books::recorded(conn, doer.club, order.entry), "", "entry")?;
    if doer.role < recorded.kind.taken_back_by() {
        return Err(Refusal::new(Why::Forbidden, "", "Only a steward takes a payment back; ask one").into());
    }
    let dependents = books::dependents(conn, doer.club, &recorded)?;
    let entry = reverse(&recorded, &dependents, doer.today(), order.reason.clone())?;
    let id = EntryId::fresh();
    books::begin_entry(conn, doer, id, None, &entry)?;
    match books::post(conn, doer.club, id, &entry) {
        Ok(()) => {}
        Err(Failure::Refused(_)) => {
            return Err(Refusal::conflict(
                "",
                "What this entry brought has been used since; reverse what used it first",
            )
            .into());
        }
        Err(other) => return Err(other.into()),
    }
    restage(conn, doer, id, &entry)?;
    super::vessels::unfollow(conn, doer, recorded.id)?;
    Ok(id)
}
