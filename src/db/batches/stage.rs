//! What moved a batch, and the stage that is kept of it.

use diesel::prelude::*;

use crate::db::connection::AnyConn;
use crate::db::failure::Failure;
use crate::db::schema::{accounts, batches, entries, postings};
use crate::domain::batches::{Came, Moved, Progress, Stage, progress};
use crate::domain::books::EntryKind;
use crate::units::days::Day;
use crate::units::ids::{BatchId, EntryId};
use crate::units::measure::Measured;
use crate::units::money::Money;
use crate::units::quantity::Milli;

/// The entries that moved a batch and stand, in the order in which they were recorded.
pub fn moves(conn: &mut AnyConn, id: BatchId) -> Result<Vec<Moved>, Failure> {
    moves_until(conn, id, None)
}

/// The same as it was when the entry `until` had been recorded: what was reversed only later still counted then.
pub(in crate::db) fn moves_until(
    conn: &mut AnyConn,
    id: BatchId,
    until: Option<EntryId>,
) -> Result<Vec<Moved>, Failure> {
    type Known = (Option<String>, Option<Day>, Option<Measured>, Option<Measured>);
    type Row = ((EntryId, EntryKind, Day, Milli, Money), Known, Option<EntryId>);
    let back = diesel::alias!(entries as back);
    let rows: Vec<Row> = postings::table
        .inner_join(accounts::table.on(accounts::id.eq(postings::account_id)))
        .inner_join(entries::table.on(entries::id.eq(postings::entry_id)))
        .left_join(back.on(back.field(entries::reverses).eq(entries::id.nullable())))
        .filter(accounts::batch_id.eq(id))
        .filter(entries::reverses.is_null())
        .order(entries::id)
        .select((
            (entries::id, entries::kind, entries::day, postings::quantity, postings::cost),
            (
                entries::moved_as,
                entries::moved_pitched_on,
                entries::moved_first_gravity,
                entries::moved_strength,
            ),
            back.field(entries::id).nullable(),
        ))
        .load(conn)?;
    let counts = |entry: EntryId, back: Option<EntryId>| match until {
        Some(until) => entry <= until && back.is_none_or(|back| back > until),
        None => back.is_none(),
    };
    Ok(rows
        .into_iter()
        .filter(|row| counts(row.0.0, row.2))
        .map(|((entry, kind, day, volume, cost), (moved_as, pitched_on, first_gravity, strength), _)| {
            let stage = moved_as.as_deref().and_then(Stage::from_code);
            let came = |stage| Came { progress: Progress { stage, pitched_on }, first_gravity, strength };
            let came = stage.map(came);
            Moved { entry, kind, day, volume, cost, came }
        })
        .collect())
}

/// Bring the kept stage in line with what has been recorded. Where nothing changed, nothing is written.
pub fn restage(conn: &mut AnyConn, id: BatchId) -> Result<(), Failure> {
    let now = progress(&moves(conn, id)?);
    let kept: (Stage, Option<Day>) = batches::table
        .filter(batches::id.eq(id))
        .select((batches::stage, batches::pitched_on))
        .first(conn)?;
    if kept != (now.stage, now.pitched_on) {
        diesel::update(batches::table.filter(batches::id.eq(id)))
            .set((batches::stage.eq(now.stage), batches::pitched_on.eq(now.pitched_on)))
            .execute(conn)?;
    }
    Ok(())
}
