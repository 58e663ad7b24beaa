//! What moved a batch, and the stage that is kept of it.

use diesel::prelude::*;

use crate::db::connection::AnyConn;
use crate::db::failure::Failure;
use crate::db::schema::{accounts, batches, entries, postings};
use crate::domain::batches::{Facts, Stage, stage};
use crate::domain::books::EntryKind;
use crate::units::days::Day;
use crate::units::ids::{BatchId, EntryId};
use crate::units::money::Money;
use crate::units::quantity::Milli;

/// A line that moved a batch: the entry, its kind and day, and what changed; none of what was reversed.
pub(in crate::db) type Moved = (EntryId, EntryKind, Day, Milli, Money);

pub(in crate::db) fn moves(conn: &mut AnyConn, id: BatchId) -> Result<Vec<Moved>, Failure> {
    moves_until(conn, id, None)
}

/// The same as it was when the entry `until` had been recorded: what was reversed only later still counted then.
pub(in crate::db) fn moves_until(
    conn: &mut AnyConn,
    id: BatchId,
    until: Option<EntryId>,
) -> Result<Vec<Moved>, Failure> {
    let back = diesel::alias!(entries as back);
    let rows: Vec<(Moved, Option<EntryId>)> = postings::table
        .inner_join(accounts::table.on(accounts::id.eq(postings::account_id)))
        .inner_join(entries::table.on(entries::id.eq(postings::entry_id)))
        .left_join(back.on(back.field(entries::reverses).eq(entries::id.nullable())))
        .filter(accounts::batch_id.eq(id))
        .filter(entries::reverses.is_null())
        .order(entries::id)
        .select((
            (entries::id, entries::kind, entries::day, postings::quantity, postings::cost),
            back.field(entries::id).nullable(),
        ))
        .load(conn)?;
    let counts = |entry: EntryId, back: Option<EntryId>| match until {
        Some(until) => entry <= until && back.is_none_or(|back| back > until),
        None => back.is_none(),
    };
    Ok(rows.into_iter().filter(|row| counts(row.0.0, row.1)).map(|row| row.0).collect())
}

fn came_from_another(moved: &[Moved]) -> bool {
    moved.iter().any(|line| matches!(line.1, EntryKind::Split | EntryKind::Blend) && line.3 > Milli::ZERO)
}

/// Remember how far the batch was from which this one is split or blended, unless it was filled so before.
pub fn comes_from(conn: &mut AnyConn, into: BatchId, from: BatchId) -> Result<(), Failure> {
    if came_from_another(&moves(conn, into)?) {
        return Ok(());
    }
    let (from_stage, pitched_on): (Stage, Option<Day>) = batches::table
        .filter(batches::id.eq(from))
        .select((batches::stage, batches::pitched_on))
        .first(conn)?;
    diesel::update(batches::table.filter(batches::id.eq(into)))
        .set((batches::came_as.eq(from_stage.code()), batches::came_pitched_on.eq(pitched_on)))
        .execute(conn)?;
    Ok(())
}

/// What has been recorded of a batch and not reversed, and when its yeast was pitched.
pub fn facts(conn: &mut AnyConn, id: BatchId) -> Result<(Facts, Option<Day>), Failure> {
    let (came_as, came_pitched_on): (Option<String>, Option<Day>) = batches::table
        .filter(batches::id.eq(id))
        .select((batches::came_as, batches::came_pitched_on))
        .first(conn)?;
    let moved = moves(conn, id)?;
    let any = |kind| moved.iter().any(|line| line.1 == kind);
    let left: Milli = moved.iter().map(|line| line.3).sum();
    let came = came_from_another(&moved);
    let facts = Facts {
        filled: moved.iter().any(|line| line.3 > Milli::ZERO || line.4 > Money::ZERO) || any(EntryKind::Draw),
        pitched: any(EntryKind::Pitch),
        racked: any(EntryKind::Racking),
        bottled: any(EntryKind::Bottling),
        closed: any(EntryKind::Closing),
        abandoned: any(EntryKind::Abandonment),
        holds_volume: left > Milli::ZERO,
        came_as: came_as.as_deref().and_then(Stage::from_code).filter(|_| came),
    };
    let pitched = moved.iter().find(|line| line.1 == EntryKind::Pitch).map(|line| line.2);
    Ok((facts, pitched.or(came_pitched_on.filter(|_| came))))
}

/// Bring the kept stage in line with what has been recorded. Where nothing changed, nothing is written.
pub fn restage(conn: &mut AnyConn, id: BatchId) -> Result<(), Failure> {
    let (facts, pitched_on) = facts(conn, id)?;
    let kept: (Stage, Option<Day>) = batches::table
        .filter(batches::id.eq(id))
        .select((batches::stage, batches::pitched_on))
        .first(conn)?;
    let now = (stage(&facts), pitched_on);
    if kept != now {
        diesel::update(batches::table.filter(batches::id.eq(id)))
            .set((batches::stage.eq(now.0), batches::pitched_on.eq(now.1)))
            .execute(conn)?;
    }
    Ok(())
}
