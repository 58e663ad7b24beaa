//! Going on in spite of a dangerous caution: refused without a reason, and the reason is kept.

use super::Done;
use crate::db::{AnyConn, cautions as rows};
use crate::domain::cautions::{Caution, Doing, Facts, Reasons, cautions, reasoned};
use crate::domain::members::Doer;
use crate::units::ids::{BatchId, EntryId};

/// Refuses where a dangerous caution has no reason, before anything is written; else keeps the reasons given, with
/// the entry that they belong to. Cautions that are not dangerous are only shown.
pub(super) fn go_on(
    conn: &mut AnyConn,
    doer: &Doer,
    (batch, entry): (BatchId, Option<EntryId>),
    cautions: &[Caution],
    reasons: &Reasons,
) -> Done<()> {
    for (caution, words) in reasoned(cautions, reasons)? {
        rows::keep(conn, doer.club, (batch, entry), (caution, words), (doer.member, doer.now))?;
    }
    Ok(())
}

/// The cautions of doing something to a batch as it stands; `more` adds what the command says of it.
pub(super) fn of_batch(
    conn: &mut AnyConn,
    doer: &Doer,
    batch: BatchId,
    doing: Doing,
    more: impl FnOnce(&mut Facts),
) -> Done<Vec<Caution>> {
    let mut facts = rows::facts(conn, doer, batch)?;
    more(&mut facts);
    Ok(cautions(&facts, doing))
}
