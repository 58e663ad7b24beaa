//! What is measured of a batch by the API: one value, what a sensor sends, what a logger wrote.

use serde::Serialize;
use utoipa::ToSchema;

use crate::actions::batches as acts;
use crate::db::Failure;
use crate::db::batches::{self as rows, Import};
use crate::domain::batches::loggers::{self as logs, Bad};
use crate::domain::members::{Cellarhand, Onlooker};
use crate::domain::refusal::{Fault, Refusal, Why};
use crate::units::ids::{BatchId, ImportId, ReadingId};
use crate::web::api::Page;
use crate::web::api::bodies::{NewCorrection, NewImport, NewReading, Reason};
use crate::web::batches::read::Measured;
use crate::web::batches::{loggers, read};
use crate::web::body::Json;
use crate::web::extract::{Key, Path};
use crate::web::problem::Problem;
use crate::web::respond::{Answer, Created};
use crate::web::site::Site;

/// A value as it was kept.
#[derive(Clone, Serialize, ToSchema)]
pub struct ReadBody {
    /// Its id.
    pub id: String,
    /// As corrected for its instrument, and to 20 °C.
    pub value: String,
    /// What to know about the correction.
    pub warning: Option<String>,
}

impl From<&acts::Read> for ReadBody {
    fn from(read: &acts::Read) -> Self {
        Self { id: read.id.to_string(), value: read.value.plain(), warning: read.warning.clone() }
    }
}

/// What was kept. Of one value its id, value and warning; of what a sensor sent, all of it.
#[derive(Serialize, ToSchema)]
pub struct KeptBody {
    /// Of one value: its id.
    pub id: Option<String>,
    /// Of one value: as corrected for its instrument, and to 20 °C.
    pub value: Option<String>,
    /// Of one value: what to know about the correction.
    pub warning: Option<String>,
    /// What was kept, in the order in which it was sent, without what was known.
    pub readings: Vec<ReadBody>,
    /// How many of those sent were known already.
    pub known: usize,
}

/// Records a reading, or what a sensor measured.
pub async fn record(
    hand: Cellarhand,
    site: Site,
    path: Path<BatchId>,
    Key(key): Key,
    sent: Json<NewReading>,
) -> Result<Created<KeptBody>, Problem> {
    let kept = match read::measured(&sent.draft, &hand, path.0)? {
        Measured::One(reading) => {
            let one = ReadBody::from(&acts::record_reading(&site.db, &hand, key, reading).await?);
            let (id, value, warning) = (Some(one.id.clone()), Some(one.value.clone()), one.warning.clone());
            KeptBody { id, value, warning, readings: vec![one], known: 0 }
        }
        Measured::Many(sent) => {
            let (kept, known) = acts::send_readings(&site.db, &hand, key, sent).await?;
            let readings = kept.iter().map(ReadBody::from).collect();
            KeptBody { id: None, value: None, warning: None, readings, known }
        }
    };
    Ok(Created(kept))
}

/// Strikes a reading out and records it anew.
pub async fn correct(
    hand: Cellarhand,
    site: Site,
    path: Path<ReadingId>,
    Key(key): Key,
    sent: Json<NewCorrection>,
) -> Result<Created<ReadBody>, Problem> {
    let (club, id) = (hand.club, path.0);
    let found = site.db.read(move |conn| rows::reading(conn, club, id)).await;
    let kind = found.map_err(|failure| gone(failure, "reading"))?.1.kind;
    let order = read::correction(&sent.draft, &hand, id, kind)?;
    let (_, read) = acts::correct_reading(&site.db, &hand, key, order).await?;
    Ok(Created(ReadBody::from(&read)))
}

fn gone(failure: Failure, what: &str) -> Problem {
    if failure == Failure::Gone { Problem::missing(what) } else { failure.into() }
}

/// A file that came in as one act.
#[derive(Serialize, ToSchema)]
pub struct ImportBody {
    /// Its id.
    pub id: String,
    /// What it was called.
    pub file_name: String,
    /// How many readings it brought.
    pub kept: i64,
    /// How many were there before.
    pub known: i64,
    /// How many rows could not be read.
    pub left_out: i64,
    /// When, RFC 3339.
    pub at: String,
    /// It was undone: its readings are struck out.
    pub undone: bool,
}

impl From<Import> for ImportBody {
    fn from(import: Import) -> Self {
        Self {
            id: import.id.to_string(),
            file_name: import.file_name,
            kept: import.kept,
            known: import.known,
            left_out: import.left_out,
            at: import.at.and_utc().to_rfc3339(),
            undone: import.undone_at.is_some(),
        }
    }
}

/// The latest files that came into a batch.
pub async fn imports(
    who: Onlooker,
    site: Site,
    path: Path<BatchId>,
) -> Result<Answer<Page<ImportBody>>, Problem> {
    let (club, id) = (who.club, path.0);
    let read = site.db.read(move |conn| {
        rows::named(conn, club, id)?;
        rows::imports(conn, club, id, 100)
    });
    let found = read.await.map_err(|failure| gone(failure, "batch"))?;
    Ok(Answer(Page { items: found.into_iter().map(ImportBody::from).collect(), next: None }))
}

/// A row that could not be read.
#[derive(Serialize, ToSchema)]
pub struct BadRow {
    /// Its line; the first is 1.
    pub line: u64,
    /// What stands there.
    pub text: String,
    /// Why, and what to do.
    pub why: String,
}

impl From<Bad> for BadRow {
    fn from(bad: Bad) -> Self {
        Self { line: bad.line, text: bad.text, why: bad.why }
    }
}

/// What came of a file.
#[derive(Serialize, ToSchema)]
pub struct BroughtBody {
    /// The act; none where all was known.
    pub import: Option<String>,
    /// How many readings it brought.
    pub kept: usize,
    /// How many were there before.
    pub known: usize,
    /// How many rows could not be read.
    pub left_out: usize,
    /// The first of those rows.
    pub bad: Vec<BadRow>,
    /// How the file was read.
    pub read_as: Vec<String>,
}

/// Brings in what a logger wrote.
pub async fn bring_in(
    hand: Cellarhand,
    site: Site,
    path: Path<BatchId>,
    Key(key): Key,
    sent: Json<NewImport>,
) -> Result<Created<BroughtBody>, Problem> {
    let asked = loggers::read(&sent.draft, &hand)?;
    let log = logs::read(&asked.rows, &asked.said, hand.zone, hand.now)?;
    if log.bad_in_all > 0 && !asked.good {
        let fault = |bad: &Bad| Fault {
            field: "rows".to_owned(),
            message: format!("Line {}: {}", bad.line, bad.why),
        };
        let faults = log.bad.iter().take(20).map(fault).collect();
        return Err(Refusal { why: Why::Unfit, faults, entries: Vec::new() }.into());
    }
    let brought = acts::bring_in(&site.db, &hand, key, loggers::order(path.0, &asked, &log)).await?;
    Ok(Created(BroughtBody {
        import: brought.import.map(|id| id.to_string()),
        kept: brought.kept,
        known: brought.known,
        left_out: brought.left_out,
        bad: log.bad.into_iter().map(BadRow::from).collect(),
        read_as: log.read_as,
    }))
}

/// The batch of a file that was undone.
#[derive(Serialize, ToSchema)]
pub struct Undone {
    /// The batch.
    pub batch: String,
}

/// Undoes a file.
pub async fn undo(
    hand: Cellarhand,
    site: Site,
    path: Path<ImportId>,
    Key(key): Key,
    sent: Json<Reason>,
) -> Result<Created<Undone>, Problem> {
    let order = loggers::read_undoing(&sent.draft, &hand, path.0)?;
    let batch = acts::undo_import(&site.db, &hand, key, order).await?;
    Ok(Created(Undone { batch: batch.to_string() }))
}
