//! Bringing in what a logger wrote, and undoing that as one act.

use std::collections::HashSet;

use serde::{Deserialize, Serialize};

use super::readings::span;
use crate::actions::once::{RequestKey, once};
use crate::actions::{Done, or_missing};
use crate::db::batches::{self as rows, Import, Reading};
use crate::db::{Database, reminders};
use crate::domain::members::Cellarhand;
use crate::domain::refusal::Refusal;
use crate::units::days::Instant;
use crate::units::ids::{BatchId, ImportId, ReadingId};
use crate::units::measure::{Measured, ReadingKind};

/// What readings of a logger’s file have as their source: whichever file they come in with, they count once.
pub const SOURCE: &str = "logger file";

/// The good rows of a file.
#[derive(Debug, Clone, Serialize, Deserialize)]
pub struct NewImport {
    /// Into which batch.
    pub batch: BatchId,
    /// What the file is called.
    pub file_name: String,
    /// Rows that could not be read.
    pub left_out: usize,
    /// When, what, how much.
    pub rows: Vec<(Instant, ReadingKind, Measured)>,
}

/// What came of it.
#[derive(Debug, Clone, Serialize, Deserialize)]
pub struct Brought {
    /// The act; none where all was known.
    pub import: Option<ImportId>,
    /// Readings that were kept.
    pub kept: usize,
    /// Readings that were there before.
    pub known: usize,
    /// Rows that were left out.
    pub left_out: usize,
}

/// Bring in the good rows of a logger’s file; what came in before is not kept again.
pub async fn bring_in(
    db: &Database,
    by: &Cellarhand,
    key: Option<RequestKey>,
    order: NewImport,
) -> Done<Brought> {
    once(db, by, key, "logger file", order, |conn, doer, order| {
        let batch = or_missing(rows::batch(conn, doer.club, order.batch), "", "batch")?;
        if batch.stage.ended() {
            let stage = batch.stage.label();
            return Err(Refusal::conflict("", format!("Batch {} is {stage}", batch.code)).into());
        }
        let ends = span(order.rows.iter().map(|row| row.0));
        let known: HashSet<_> = rows::given_by(conn, order.batch, SOURCE, ends)?.into_iter().collect();
        let new = || order.rows.iter().filter(|row| !known.contains(&(row.1, row.0)));
        let kept = new().count();
        let brought = Brought {
            import: (kept > 0).then(ImportId::fresh),
            kept,
            known: order.rows.len() - kept,
            left_out: order.left_out,
        };
        let Some(id) = brought.import else { return Ok(brought) };
        let count = |count: usize| i64::try_from(count).unwrap_or(i64::MAX);
        let import = Import {
            id,
            batch: order.batch,
            file_name: order.file_name.clone(),
            kept: count(kept),
            known: count(brought.known),
            left_out: count(order.left_out),
            by: String::new(),
            at: doer.now,
            undone_at: None,
        };
        rows::add_import(conn, doer.club, doer.member, &import)?;
        let row = |(at, kind, value): &(Instant, ReadingKind, Measured)| Reading {
            id: ReadingId::fresh(),
            at: *at,
            kind: *kind,
            read: *value,
            sample_c: None,
            value: *value,
            instrument: None,
            import: Some(id),
            source: SOURCE.to_owned(),
            remark: String::new(),
            by: String::new(),
            struck: None,
        };
        let new: Vec<Reading> = new().map(row).collect();
        rows::add_readings(conn, doer.club, order.batch, doer.member, doer.now, &new)?;
        reminders::settle_readings(conn, order.batch, doer.member, doer.now)?;
        Ok(brought)
    })
    .await
}

/// A file that should not have come in.
#[derive(Debug, Clone, Serialize, Deserialize)]
pub struct Undoing {
    /// Which.
    pub import: ImportId,
    /// Why.
    pub reason: String,
}

/// Undo it: all its readings that stand are struck out.
pub async fn undo_import(
    db: &Database,
    by: &Cellarhand,
    key: Option<RequestKey>,
    order: Undoing,
) -> Done<BatchId> {
    once(db, by, key, "undoing of a file", order, |conn, doer, order| {
        let import = or_missing(rows::import(conn, doer.club, order.import), "", "file")?;
        if import.undone_at.is_some() {
            return Err(Refusal::conflict("", "This file has been undone already").into());
        }
        let because = format!("The file was undone: {}", order.reason);
        rows::undo_import(conn, order.import, doer.member, doer.now, &because)?;
        Ok(import.batch)
    })
    .await
}
