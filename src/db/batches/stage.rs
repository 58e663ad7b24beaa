//! What moved a batch, and the stage that is kept of it.

use std::collections::HashMap;

use diesel::prelude::*;

use crate::db::connection::AnyConn;
use crate::db::failure::Failure;
use crate::db::prepared::{Prepare, padded};
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
    Ok(standing_then(&moves_of(conn, &[id])?.remove(&id).unwrap_or_default(), until))
}

/// An entry that moved a batch, and the one that took it back.
pub(in crate::db) type Kept = (Moved, Option<EntryId>);

/// Those that stood when the entry `until` had been recorded; those that stand now where there is none.
pub(in crate::db) fn standing_then(kept: &[Kept], until: Option<EntryId>) -> Vec<Moved> {
    let counts = |(moved, back): &&Kept| match until {
        Some(until) => moved.entry <= until && back.is_none_or(|back| back > until),
        None => back.is_none(),
    };
    kept.iter().filter(counts).map(|kept| kept.0).collect()
}

/// Every entry that moved each of these batches, in the order in which they were recorded.
pub(in crate::db) fn moves_of(
    conn: &mut AnyConn,
    ids: &[BatchId],
) -> Result<HashMap<BatchId, Vec<Kept>>, Failure> {
    type Known = (Option<String>, Option<Day>, Option<Measured>, Option<Measured>);
    type Row = (Option<BatchId>, (EntryId, EntryKind, Day, Milli, Money), Known, Option<EntryId>);
    let mut found: HashMap<BatchId, Vec<Kept>> = HashMap::new();
    for some in ids.chunks(500) {
        let rows: Vec<Row> = postings::table
            .inner_join(accounts::table.on(accounts::id.eq(postings::account_id)))
            .inner_join(entries::table.on(entries::id.eq(postings::entry_id)))
            .filter(accounts::batch_id.eq_any(padded(some).into_iter().map(Some)))
            .order(entries::id)
            .select((
                accounts::batch_id,
                (entries::id, entries::kind, entries::day, postings::quantity, postings::cost),
                (
                    entries::moved_as,
                    entries::moved_pitched_on,
                    entries::moved_first_gravity,
                    entries::moved_strength,
                ),
                entries::reverses,
            ))
            .prepared()
            .load(conn)?;
        // What took an entry back is on the same accounts, so it is among these.
        let backs: HashMap<EntryId, EntryId> =
            rows.iter().filter_map(|row| Some((row.3?, row.1.0))).collect();
        for (batch, (entry, kind, day, volume, cost), known, reverses) in rows {
            if reverses.is_some() {
                continue;
            }
            let back = backs.get(&entry).copied();
            let (moved_as, pitched_on, first_gravity, strength) = known;
            let stage = moved_as.as_deref().and_then(Stage::from_code);
            let came = |stage| Came { progress: Progress { stage, pitched_on }, first_gravity, strength };
            let moved = Moved { entry, kind, day, volume, cost, came: stage.map(came) };
            if let Some(batch) = batch {
                found.entry(batch).or_default().push((moved, back));
            }
        }
    }
    Ok(found)
}

/// Bring the kept stage in line with what has been recorded. Where nothing changed, nothing is written.
pub fn restage(conn: &mut AnyConn, id: BatchId) -> Result<(), Failure> {
    let now = progress(&moves(conn, id)?);
    let kept: Option<(Stage, Option<Day>)> = batches::table
        .filter(batches::id.eq(id))
        .select((batches::stage, batches::pitched_on))
        .prepared()
        .one(conn)?;
    if kept.ok_or(Failure::Gone)? != (now.stage, now.pitched_on) {
        diesel::update(batches::table.filter(batches::id.eq(id)))
            .set((batches::stage.eq(now.stage), batches::pitched_on.eq(now.pitched_on)))
            .prepared()
            .run(conn)?;
    }
    Ok(())
}
