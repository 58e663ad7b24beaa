//! The bill of a receipt: sent with it, added later, struck out.

use serde::{Deserialize, Serialize};

use super::once::{RequestKey, once};
use super::stock::{self, Received};
use super::{Done, or_missing};
use crate::db::books::{self, Which};
use crate::db::{AnyConn, Database, Failure, bills as rows};
use crate::domain::bills::{BillFile, room_for};
use crate::domain::books::EntryKind;
use crate::domain::members::{Cellarhand, Doer};
use crate::domain::refusal::Refusal;
use crate::domain::stock::Receipt;
use crate::units::ids::{BillId, EntryId};

/// Files that are to be kept with a receipt.
#[derive(Debug, Clone, Serialize)]
pub struct NewBills {
    /// The receipt.
    pub entry: EntryId,
    /// The files.
    pub files: Vec<BillFile>,
}

/// Keep files with a receipt that is recorded. A file that stands there already is not kept again.
pub async fn add_bills(
    db: &Database,
    by: &Cellarhand,
    key: Option<RequestKey>,
    order: NewBills,
) -> Done<Vec<BillId>> {
    once(db, by, key, "bills", order, |conn, doer, order| {
        on_receipt(conn, doer, order.entry)?;
        if order.files.is_empty() {
            return Err(Refusal::unfit("bills", "Choose a photo or a PDF of the bill").into());
        }
        kept(conn, doer, order.entry, &order.files)
    })
    .await
}

/// Record supplies that arrive, with their bill.
pub async fn record_receipt_with_bills(
    db: &Database,
    by: &Cellarhand,
    key: Option<RequestKey>,
    receipt: Receipt,
    files: Vec<BillFile>,
) -> Done<Received> {
    if files.is_empty() {
        return stock::record_receipt(db, by, key, receipt).await;
    }
    once(db, by, key, "receipt with bills", (receipt, files), |conn, doer, (receipt, files)| {
        let received = stock::received(conn, doer, receipt)?;
        kept(conn, doer, received.entry, files)?;
        Ok(received)
    })
    .await
}

/// A bill is to be struck out.
#[derive(Debug, Clone, Serialize, Deserialize)]
pub struct StrikeBill {
    /// The receipt.
    pub entry: EntryId,
    /// Which of its bills.
    pub bill: BillId,
    /// Why.
    pub reason: String,
}

/// Strike a bill out: what it holds is gone then, and the list says who took it away and why.
pub async fn strike_bill(
    db: &Database,
    by: &Cellarhand,
    key: Option<RequestKey>,
    order: StrikeBill,
) -> Done<BillId> {
    once(db, by, key, "strike bill", order, |conn, doer, order| {
        let found = rows::of_entry(conn, doer.club, order.entry)?;
        let bill = found.into_iter().find(|bill| bill.id == order.bill).ok_or(Failure::Gone);
        let bill = or_missing(bill, "", "bill")?;
        if bill.struck.is_some() {
            return Err(Refusal::conflict("", "It was struck out already").into());
        }
        rows::strike(conn, doer, bill.id, &order.reason)?;
        Ok(bill.id)
    })
    .await
}

/// Refuses whatever is not a receipt of this club that stands.
fn on_receipt(conn: &mut AnyConn, doer: &Doer, entry: EntryId) -> Done<()> {
    let told = books::tell(conn, doer.club, Which::One(entry), None, 1)?.pop().ok_or(Failure::Gone);
    let told = or_missing(told, "", "entry")?;
    if told.kind != EntryKind::Receipt {
        return Err(Refusal::conflict("", "Bills are kept with receipts only").into());
    }
    if told.reversed.is_some() {
        let words = "This receipt was reversed; add the bill to the one that stands in its place";
        return Err(Refusal::conflict("", words).into());
    }
    Ok(())
}

fn kept(conn: &mut AnyConn, doer: &Doer, entry: EntryId, files: &[BillFile]) -> Done<Vec<BillId>> {
    let before = rows::standing(conn, entry)?;
    let mut found = before.clone();
    let known = |found: &[(String, BillId)], file: &BillFile| {
        found.iter().find(|(fingerprint, _)| *fingerprint == file.fingerprint).map(|known| known.1)
    };
    let mut ids = Vec::new();
    for file in files {
        if let Some(id) = known(&found, file) {
            ids.push(id);
            continue;
        }
        room_for(before.len(), found.len() - before.len() + 1)?;
        let id = rows::add(conn, doer, entry, file)?;
        found.push((file.fingerprint.clone(), id));
        ids.push(id);
    }
    Ok(ids)
}
