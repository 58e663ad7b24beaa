//! Files of loggers that came in as one act, and are undone as one.

use std::collections::BTreeSet;

use diesel::prelude::*;

use super::curves::{pack, week_of};
use crate::db::connection::AnyConn;
use crate::db::failure::Failure;
use crate::db::schema::{members, reading_imports, readings};
use crate::units::days::Instant;
use crate::units::ids::{BatchId, ClubId, ImportId, MemberId};
use crate::units::measure::ReadingKind;

/// A file that came in as one act.
#[derive(Debug, Clone, PartialEq, Eq, Queryable)]
pub struct Import {
    /// Which.
    pub id: ImportId,
    /// Into which batch.
    pub batch: BatchId,
    /// What the file was called.
    pub file_name: String,
    /// How many readings it brought.
    pub kept: i64,
    /// How many were there before.
    pub known: i64,
    /// How many rows were left out.
    pub left_out: i64,
    /// By whom.
    pub by: String,
    /// When.
    pub at: Instant,
    /// When it was undone.
    pub undone_at: Option<Instant>,
}

type ImportColumns = (
    reading_imports::id,
    reading_imports::batch_id,
    reading_imports::file_name,
    reading_imports::kept,
    reading_imports::known,
    reading_imports::left_out,
    members::name,
    reading_imports::recorded_at,
    reading_imports::undone_at,
);
const IMPORT: ImportColumns = (
    reading_imports::id,
    reading_imports::batch_id,
    reading_imports::file_name,
    reading_imports::kept,
    reading_imports::known,
    reading_imports::left_out,
    members::name,
    reading_imports::recorded_at,
    reading_imports::undone_at,
);

/// Keep a file that came in.
pub fn add_import(conn: &mut AnyConn, club: ClubId, by: MemberId, import: &Import) -> Result<(), Failure> {
    diesel::insert_into(reading_imports::table)
        .values((
            reading_imports::id.eq(import.id),
            reading_imports::club_id.eq(club),
            reading_imports::batch_id.eq(import.batch),
            reading_imports::file_name.eq(&import.file_name),
            reading_imports::kept.eq(import.kept),
            reading_imports::known.eq(import.known),
            reading_imports::left_out.eq(import.left_out),
            reading_imports::recorded_by.eq(by),
            reading_imports::recorded_at.eq(import.at),
        ))
        .execute(conn)?;
    Ok(())
}

/// The latest files that came into a batch, the newest first.
pub fn imports(conn: &mut AnyConn, club: ClubId, batch: BatchId, limit: i64) -> Result<Vec<Import>, Failure> {
    Ok(reading_imports::table
        .inner_join(members::table.on(members::id.eq(reading_imports::recorded_by)))
        .filter(reading_imports::batch_id.eq(batch).and(reading_imports::club_id.eq(club)))
        .order(reading_imports::id.desc())
        .limit(limit)
        .select(IMPORT)
        .load(conn)?)
}

/// One of them.
pub fn import(conn: &mut AnyConn, club: ClubId, id: ImportId) -> Result<Import, Failure> {
    Ok(reading_imports::table
        .inner_join(members::table.on(members::id.eq(reading_imports::recorded_by)))
        .filter(reading_imports::id.eq(id).and(reading_imports::club_id.eq(club)))
        .select(IMPORT)
        .first(conn)?)
}

/// Undo it: all its readings that stand are struck out at once; how many.
pub fn undo_import(
    conn: &mut AnyConn,
    id: ImportId,
    by: MemberId,
    at: Instant,
    because: &str,
) -> Result<usize, Failure> {
    diesel::update(reading_imports::table.filter(reading_imports::id.eq(id)))
        .set((reading_imports::undone_at.eq(Some(at)), reading_imports::undone_by.eq(Some(by))))
        .execute(conn)?;
    let of_it = readings::table.filter(readings::import_id.eq(id).and(readings::struck_at.is_null()));
    let held: Vec<(BatchId, ReadingKind, Instant)> =
        of_it.select((readings::batch_id, readings::kind, readings::at)).load(conn)?;
    diesel::update(of_it)
        .set((
            readings::struck_at.eq(Some(at)),
            readings::struck_by.eq(Some(by)),
            readings::struck_because.eq(because),
        ))
        .execute(conn)?;
    if let Some((batch, ..)) = held.first() {
        let weeks: BTreeSet<_> = held.iter().map(|(_, kind, at)| week_of(*kind, *at)).collect();
        pack(conn, *batch, &weeks)?;
    }
    Ok(held.len())
}
