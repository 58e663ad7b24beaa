//! Bringing tables in: sent and looked at first, then all of it or what is good of it in one transaction, and undone as
//! one act.

use std::collections::HashMap;
use std::sync::Arc;
use std::sync::atomic::{AtomicUsize, Ordering};

use serde::{Deserialize, Serialize, Serializer};
use sha2::{Digest, Sha256};

use super::members::audit_by;
use super::once::{RequestKey, once};
use super::reversals::{TakeBack, taken_back};
use super::{Done, Error, or_missing};
use crate::db::connection::look_over_grown;
use crate::db::intake::{self as rows, Intake, What};
use crate::db::{AnyConn, Database, Failure, batches, books};
use crate::domain::batches::{Ending, end};
use crate::domain::intake::tables::moments::Order;
use crate::domain::intake::{Column, Found, Kind, Reader, Said, Table, legible};
use crate::domain::members::{Cellarhand, Doer, Role};
use crate::domain::refusal::{Refusal, Why};
use crate::units::ids::{BatchId, EntryId, ImportId, IntakeId};

mod taking;

use taking::Taking;

/// Rows that are shown as they stand.
const SHOWN: usize = 3;
/// How long what was sent and not brought in is kept.
pub const KEPT: chrono::Duration = chrono::Duration::days(14);

/// A table that is sent.
#[derive(Debug, Clone, Serialize)]
pub struct Sending {
    /// What it holds.
    pub kind: Kind,
    /// What the file is called.
    pub file_name: String,
    /// Its rows, with the names of the columns first.
    #[serde(serialize_with = "digest")]
    pub rows: String,
    /// What columns hold, where somebody says so.
    pub columns: Vec<(String, String)>,
    /// How days are written.
    pub order: Option<Order>,
}

fn digest<S: Serializer>(text: &str, to: S) -> Result<S::Ok, S::Error> {
    to.collect_str(&format_args!("{:x?}", Sha256::digest(text)))
}

/// Send a table to be looked at: nothing is brought in by this.
pub async fn send(
    db: &Database,
    by: &Cellarhand,
    key: Option<RequestKey>,
    sending: Sending,
) -> Done<IntakeId> {
    once(db, by, key, "send a table", sending, |conn, doer, sent| {
        may(doer, sent.kind)?;
        rows::forget(conn, doer.now - KEPT)?;
        let said = said(conn, doer, sent.kind, &sent.columns, sent.order)?;
        legible(&sent.rows)?;
        Table::open(sent.kind, &&*sent.rows, &said)?;
        Ok(rows::add(conn, doer, (sent.kind, &sent.file_name, sent.order), &sent.rows)?)
    })
    .await
}

/// Only a steward makes members.
fn may(doer: &Doer, kind: Kind) -> Done<()> {
    if kind == Kind::Members && doer.role < Role::Steward {
        let words = "Members are brought in by a steward; ask one";
        return Err(Refusal::new(Why::Forbidden, "kind", words).into());
    }
    Ok(())
}

/// What is said of columns is remembered for the next table of this kind.
fn said(
    conn: &mut AnyConn,
    doer: &Doer,
    kind: Kind,
    columns: &[(String, String)],
    order: Option<Order>,
) -> Done<Said> {
    let mut new = HashMap::new();
    for (heading, field) in columns {
        let known = field.is_empty() || kind.fields().iter().any(|known| known.code == field);
        if !known {
            let names: Vec<&str> = kind.fields().iter().map(|known| known.code).collect();
            let words = format!("“{field}” is no column of this; it has {}", names.join(", "));
            return Err(Refusal::unfit("columns", words).into());
        }
        if !field.is_empty() && new.values().any(|other| other == field) {
            let label =
                kind.fields().iter().find(|known| known.code == field).map_or("", |known| known.label);
            return Err(
                Refusal::unfit("columns", format!("“{label}” is said of two columns; choose one")).into()
            );
        }
        new.insert(crate::domain::intake::key(heading), field.clone());
    }
    rows::remember(conn, doer.club, kind, new.clone())?;
    let mut all = rows::columns(conn, doer.club, kind)?;
    all.extend(new);
    Ok(Said { columns: all, order })
}

/// What is said of a table that was sent.
#[derive(Debug, Clone, Serialize)]
pub struct Saying {
    /// Of which.
    pub intake: IntakeId,
    /// What its columns hold; nothing: they are left out.
    pub columns: Vec<(String, String)>,
    /// How its days are written.
    pub order: Option<Order>,
}

/// Say what the columns of a table hold.
pub async fn say(db: &Database, by: &Cellarhand, key: Option<RequestKey>, saying: Saying) -> Done<IntakeId> {
    once(db, by, key, "columns of a table", saying, |conn, doer, saying| {
        let intake = waiting(conn, doer, saying.intake)?;
        said(conn, doer, intake.kind, &saying.columns, saying.order)?;
        rows::set_order(conn, intake.id, saying.order)?;
        Ok(intake.id)
    })
    .await
}

/// A table that was not brought in yet.
fn waiting(conn: &mut AnyConn, doer: &Doer, id: IntakeId) -> Done<Intake> {
    let intake = or_missing(rows::one(conn, doer.club, id), "", "table")?;
    may(doer, intake.kind)?;
    if intake.brought_at.is_some() || intake.undone.is_some() {
        let what = if intake.brought_at.is_some() { "brought in" } else { "forgotten" };
        return Err(Refusal::conflict("", format!("This table was {what} already; send it anew")).into());
    }
    Ok(intake)
}

/// What looking a table through showed.
#[derive(Debug, Clone)]
pub struct Looked {
    /// Its columns.
    pub columns: Vec<Column>,
    /// How it is read.
    pub read_as: Vec<String>,
    /// What is good and what is not; why nothing can be, where something is missing.
    pub found: Result<Found, Refusal>,
    /// The first rows, as they stand there.
    pub first: Vec<Vec<String>>,
}

/// Look a table through, as bringing it in would: it is only read.
pub fn look(conn: &mut AnyConn, doer: &Doer, intake: &Intake) -> Done<Looked> {
    let said = Said { columns: rows::columns(conn, doer.club, intake.kind)?, order: intake.order };
    let known = rows::known(conn, doer, intake.kind)?;
    rows::read_text(conn, intake.id, |_, text| {
        let table = Table::open(intake.kind, text, &said)?;
        let (columns, first) = (table.columns.clone(), table.first(SHOWN));
        let sheet = match table.looked_at(doer.today()) {
            Ok(sheet) => sheet,
            Err(refusal) => return Ok(Looked { columns, read_as: Vec::new(), found: Err(refusal), first }),
        };
        let found = Reader::new(intake.kind, known).read(&sheet, |_, _| Done::Ok(Ok(())))?;
        Ok(Looked { columns, read_as: sheet.read_as(), found: Ok(found), first })
    })
}

/// How far it is: rows that were read, of how many.
#[derive(Debug, Clone, Default)]
pub struct Progress(Arc<(AtomicUsize, AtomicUsize)>);

impl Progress {
    /// Rows that were read, and how many there are; none before the first is read.
    pub fn so_far(&self) -> (usize, usize) {
        (self.0.0.load(Ordering::Relaxed), self.0.1.load(Ordering::Relaxed))
    }

    fn begin(&self, rows: usize) {
        self.0.0.store(0, Ordering::Relaxed);
        self.0.1.store(rows, Ordering::Relaxed);
    }

    fn one_more(&self) {
        self.0.0.fetch_add(1, Ordering::Relaxed);
    }
}

/// A table that is brought in.
#[derive(Debug, Clone, Serialize)]
pub struct Bringing {
    /// Which.
    pub intake: IntakeId,
    /// The good rows, whatever the others are; else all or nothing.
    pub good: bool,
    /// Counts the rows.
    #[serde(skip)]
    pub progress: Progress,
}

/// What came of it.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
pub struct Brought {
    /// Rows that were brought in.
    pub kept: usize,
    /// Rows that were left out.
    pub left_out: usize,
    /// Readings that were there before.
    pub known: usize,
}

/// Bring a table in: one transaction, so that a fault on the way leaves nothing of it.
pub async fn bring(
    db: &Database,
    by: &Cellarhand,
    key: Option<RequestKey>,
    order: Bringing,
) -> Done<Brought> {
    once(db, by, key, "bring a table in", order, brought).await
}

fn brought(conn: &mut AnyConn, doer: &Doer, order: &Bringing) -> Done<Brought> {
    let intake = waiting(conn, doer, order.intake)?;
    let said = Said { columns: rows::columns(conn, doer.club, intake.kind)?, order: intake.order };
    let known = rows::known(conn, doer, intake.kind)?;
    let mut taking = Taking::new(&intake);
    let (rows, found) = rows::read_text(conn, intake.id, |conn, text| {
        let table = Table::open(intake.kind, text, &said)?;
        let sheet = table.looked_at(doer.today())?;
        order.progress.begin(sheet.rows);
        let found = Reader::new(intake.kind, known).read(&sheet, |_, made| {
            order.progress.one_more();
            taking.take(&mut conn.borrow_mut(), doer, made).map(Ok)
        })?;
        Done::Ok((sheet.rows, found))
    })?;
    if !order.good && found.bad_in_all > 0 {
        let words = format!(
            "{} of {} rows cannot be brought in: mend them and send the table anew, or bring in the good ones",
            found.bad_in_all, rows
        );
        return Err(Refusal::conflict("", words).into());
    }
    if found.good == 0 {
        return Err(Refusal::conflict(
            "",
            "No row of this table can be brought in; see what is said of each",
        )
        .into());
    }
    let known = taking.finish(conn, doer)?;
    look_over_grown(conn)?;
    rows::brought(conn, intake.id, doer.now, (found.good, found.bad_in_all, known))?;
    let (one, many) = intake.kind.becomes();
    let what = if found.good == 1 { one } else { many };
    audit_by(conn, doer, &format!("brought in {} {what} from the table “{}”", found.good, intake.file_name))?;
    Ok(Brought { kept: found.good, left_out: found.bad_in_all, known })
}

/// A table that should not have been brought in.
#[derive(Debug, Clone, Serialize, Deserialize)]
pub struct Undoing {
    /// Which.
    pub intake: IntakeId,
    /// Why.
    pub reason: String,
}

/// Undo it as one act: what it recorded is reversed, what it made is taken away. Where something rests on it, nothing
/// is undone, and what stands in the way is named. A table that was not brought in is forgotten.
pub async fn undo(db: &Database, by: &Cellarhand, key: Option<RequestKey>, order: Undoing) -> Done<IntakeId> {
    once(db, by, key, "undo a table", order, |conn, doer, order| {
        let intake = or_missing(rows::one(conn, doer.club, order.intake), "", "table")?;
        may(doer, intake.kind)?;
        if intake.undone.is_some() {
            return Err(Refusal::conflict("", "This table was undone already").into());
        }
        for (what, id) in rows::things(conn, intake.id)? {
            undone(conn, doer, (what, id), &order.reason)?;
        }
        rows::undone(conn, doer, intake.id, &order.reason)?;
        let what = if intake.brought_at.is_some() { "undid" } else { "forgot" };
        audit_by(conn, doer, &format!("{what} the table “{}”", intake.file_name))?;
        Ok(intake.id)
    })
    .await
}

fn undone(conn: &mut AnyConn, doer: &Doer, (what, id): (What, i64), reason: &str) -> Done<()> {
    match what {
        What::Entries => {
            let entry = EntryId(id);
            if !books::is_reversed(conn, entry)? {
                taken_back(conn, doer, &TakeBack { entry, reason: reason.to_owned() })?;
            }
            Ok(())
        }
        What::Imports => {
            let import = batches::import(conn, doer.club, ImportId(id))?;
            if import.undone_at.is_none() {
                let because = format!("The table was undone: {reason}");
                batches::undo_import(conn, import.id, doer.member, doer.now, &because)?;
            }
            Ok(())
        }
        What::Batches if batches::has_entries(conn, BatchId(id))? => {
            given_up(conn, doer, BatchId(id), reason)
        }
        _ => {
            let name = rows::name_of(conn, what, id)?.unwrap_or_default();
            rows::remove(conn, what, id).map_err(|failure| match failure {
                Failure::Refused(_) => {
                    let words = format!(
                        "“{name}” is named by what was recorded since, and stays: nothing of this table is undone"
                    );
                    Error::from(Refusal::conflict("", words))
                }
                other => other.into(),
            })
        }
    }
}

/// A batch whose entries were reversed stays, as given up: what was in the books stays there.
fn given_up(conn: &mut AnyConn, doer: &Doer, batch: BatchId, reason: &str) -> Done<()> {
    let standing = batches::standing_on(conn, doer.club, batch, doer.today())?;
    if standing.stage.ended() {
        return Ok(());
    }
    let order = Ending { batch, day: doer.today(), abandoned: true, reason: reason.to_owned() };
    super::batches::record(conn, doer, &end(&standing, &order)?)?;
    Ok(())
}
