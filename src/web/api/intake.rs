//! Tables that are brought in, by the API: sent, looked at, brought in while the program waits, undone.

use serde::Serialize;
use utoipa::ToSchema;

use crate::actions::intake::{self as acts, Looked};
use crate::db::intake::{self as rows, Intake};
use crate::domain::intake::Found;
use crate::domain::members::{Cellarhand, Doer};
use crate::units::days::Instant;
use crate::units::ids::IntakeId;
use crate::web::api::Page;
use crate::web::body::{Json, Rows};
use crate::web::extract::{Key, Paging, Path};
use crate::web::intake::{bringing, saying, sending, undoing};
use crate::web::problem::Problem;
use crate::web::respond::{Answer, Created};
use crate::web::site::Site;

/// A table that is sent. It may be sent as `text/csv` as well, with the other fields behind the question mark.
#[derive(ToSchema)]
pub struct NewTable {
    /// What it holds: items, places, members, lots, batches, readings or bottles.
    pub kind: String,
    /// Its rows as CSV, with the names of the columns first.
    pub rows: String,
    /// What the file is called.
    pub file_name: Option<String>,
    /// What columns hold, where their names do not say.
    pub columns: Option<Vec<ColumnSaid>>,
    /// How days are written: year-month-day, day-month-year or month-day-year.
    pub date_order: Option<String>,
}

/// What is said of a column.
#[derive(Serialize, ToSchema)]
pub struct ColumnSaid {
    /// Its name in the table.
    pub heading: String,
    /// What it holds; empty: it is left out.
    pub field: String,
}

/// A table that was sent.
#[derive(Serialize, ToSchema)]
pub struct TableBody {
    /// Which.
    pub id: String,
    /// What it holds.
    pub kind: String,
    /// What the file is called.
    pub file_name: String,
    /// Who sent it.
    pub sent_by: String,
    /// When.
    pub sent_at: String,
    /// Rows that were brought in.
    pub kept: i64,
    /// Rows that were left out.
    pub left_out: i64,
    /// Readings of it that were there before and stayed as they were.
    pub known: i64,
    /// When it was brought in.
    pub brought_at: Option<String>,
    /// When it was undone.
    pub undone_at: Option<String>,
    /// What was understood of it; null once it was brought in.
    pub looked_at: Option<LookedBody>,
}

/// What was understood of a table.
#[derive(Serialize, ToSchema)]
pub struct LookedBody {
    /// What each column holds.
    pub columns: Vec<ColumnSaid>,
    /// How it was read, in words.
    pub read_as: Vec<String>,
    /// Rows that can be brought in.
    pub good: usize,
    /// Rows that cannot.
    pub bad_in_all: usize,
    /// The first of those.
    pub bad: Vec<BadBody>,
    /// What is to be said before anything can be brought in.
    pub missing: Vec<String>,
}

/// A row that cannot be brought in.
#[derive(Serialize, ToSchema)]
pub struct BadBody {
    /// Its line in the file; the first is 1.
    pub line: u64,
    /// What stands there, cut short.
    pub text: String,
    /// Why, and what to do.
    pub why: String,
}

fn stamp(at: Instant) -> String {
    at.and_utc().to_rfc3339_opts(chrono::SecondsFormat::AutoSi, true)
}

fn table(intake: Intake, looked: Option<Looked>) -> TableBody {
    TableBody {
        id: intake.id.to_string(),
        kind: intake.kind.code().to_owned(),
        file_name: intake.file_name,
        sent_by: intake.by,
        sent_at: stamp(intake.at),
        kept: intake.kept,
        left_out: intake.left_out,
        known: intake.known,
        brought_at: intake.brought_at.map(stamp),
        undone_at: intake.undone.map(|undone| stamp(undone.0)),
        looked_at: looked.map(understood),
    }
}

fn understood(looked: Looked) -> LookedBody {
    let columns = looked.columns.into_iter().map(|column| ColumnSaid {
        field: column.field.map(|field| field.code.to_owned()).unwrap_or_default(),
        heading: column.heading,
    });
    let (found, missing) = match looked.found {
        Ok(found) => (found, Vec::new()),
        Err(refusal) => (Found::default(), refusal.faults.into_iter().map(|fault| fault.message).collect()),
    };
    let bad = found.bad.into_iter().map(|bad| BadBody { line: bad.line, text: bad.text, why: bad.why });
    LookedBody {
        columns: columns.collect(),
        read_as: looked.read_as,
        good: found.good,
        bad_in_all: found.bad_in_all,
        bad: bad.collect(),
        missing,
    }
}

/// The tables of the club, the newest first.
pub async fn list(
    hand: Cellarhand,
    site: Site,
    paging: Paging<IntakeId>,
) -> Result<Answer<Page<TableBody>>, Problem> {
    let (club, most) = (hand.club, paging.rows());
    let found = site.db.read(move |conn| rows::intakes(conn, club, paging.after, most)).await?;
    Ok(Answer(paging.page(found, |intake| intake.id, |intake| table(intake, None))))
}

async fn looked_at(site: &Site, hand: &Doer, id: IntakeId) -> Result<TableBody, Problem> {
    let doer = hand.clone();
    let found = site.db.read(move |conn| {
        let intake = crate::actions::or_missing(rows::one(conn, doer.club, id), "", "table")?;
        let looked = match intake.brought_at {
            None if intake.undone.is_none() => Some(acts::look(conn, &doer, &intake)?),
            _ => None,
        };
        Ok::<_, crate::actions::Error>((intake, looked))
    });
    let (intake, looked) = found.await?;
    Ok(table(intake, looked))
}

/// Takes a table and answers what was understood of it.
pub async fn send(
    hand: Cellarhand,
    site: Site,
    Key(key): Key,
    mut sent: Rows<NewTable>,
) -> Result<Created<TableBody>, Problem> {
    let rows = sent.draft.take("rows").unwrap_or_default();
    let id = acts::send(&site.db, &hand, key, sending(&sent.draft, &hand, rows)?).await?;
    Ok(Created(looked_at(&site, &hand, id).await?))
}

/// What was understood of a table, and what came of it.
pub async fn show(hand: Cellarhand, site: Site, path: Path<IntakeId>) -> Result<Answer<TableBody>, Problem> {
    Ok(Answer(looked_at(&site, &hand, path.0).await?))
}

/// What is said of a table.
#[derive(ToSchema)]
pub struct SaidBody {
    /// What its columns hold.
    pub columns: Option<Vec<ColumnSaid>>,
    /// How days are written: year-month-day, day-month-year or month-day-year.
    pub date_order: Option<String>,
}

/// Says what the columns hold, and answers what is understood then.
pub async fn say(
    hand: Cellarhand,
    site: Site,
    path: Path<IntakeId>,
    Key(key): Key,
    sent: Json<SaidBody>,
) -> Result<Created<TableBody>, Problem> {
    let id = acts::say(&site.db, &hand, key, saying(&sent.draft, &hand, path.0)?).await?;
    Ok(Created(looked_at(&site, &hand, id).await?))
}

/// What is brought in of a table.
#[derive(ToSchema)]
pub struct Keep {
    /// `all`: all of it or nothing; `good`: the rows that can be.
    pub keep: String,
}

/// What was brought in.
#[derive(Serialize, ToSchema)]
pub struct TableBrought {
    /// Rows that were brought in.
    pub kept: usize,
    /// Rows that were left out.
    pub left_out: usize,
    /// Readings that were there before.
    pub known: usize,
}

/// Brings a table in: one transaction, answered when it is durable.
pub async fn bring(
    hand: Cellarhand,
    site: Site,
    path: Path<IntakeId>,
    Key(key): Key,
    sent: Json<Keep>,
) -> Result<Created<TableBrought>, Problem> {
    let made = acts::bring(&site.db, &hand, key, bringing(&sent.draft, &hand, path.0)?).await?;
    Ok(Created(TableBrought { kept: made.kept, left_out: made.left_out, known: made.known }))
}

/// Why a table is undone.
#[derive(ToSchema)]
pub struct UndoTable {
    /// Why.
    pub reason: String,
}

/// The table that was undone.
#[derive(Serialize, ToSchema)]
pub struct UndoneTable {
    /// Which.
    pub id: String,
}

/// Undoes a table, or forgets one that was not brought in.
pub async fn undo(
    hand: Cellarhand,
    site: Site,
    path: Path<IntakeId>,
    Key(key): Key,
    sent: Json<UndoTable>,
) -> Result<Created<UndoneTable>, Problem> {
    let id = acts::undo(&site.db, &hand, key, undoing(&sent.draft, &hand, path.0)?).await?;
    Ok(Created(UndoneTable { id: id.to_string() }))
}
