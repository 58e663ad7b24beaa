//! Bringing in what a club kept in tables: sent and looked at, its columns said, brought in while the page shows how
//! far it is, and undone.

use askama::Template;

use super::body::{Form, Upload};
use super::extract::{Paging, Path, Query};
use super::form_page::FormPage;
use super::forms::{Choice, Field, FormView, Group};
use super::frame::Frame;
use super::problem::Problem;
use super::respond::{self, Reply};
use super::site::{Room, Site};
use super::words;
use crate::actions::intake::{self as acts, Looked};
use crate::db::Failure;
use crate::db::intake::{self as rows, Intake};
use crate::domain::intake::{Bad, Found, Kind, Shape};
use crate::domain::members::{Cellarhand, Doer, Role};
use crate::domain::refusal::Refusal;
use crate::units::ids::IntakeId;
use utoipa::ToSchema;

mod read;
mod under_way;

pub use read::{bringing, saying, sending, undoing};

/// Tables that one page lists.
const LISTED: i64 = 50;
/// What was pasted is shown again up to this many letters.
const SHOWN_AGAIN: usize = 100_000;

#[derive(Template)]
#[template(path = "intake/list.html")]
struct ListPage {
    frame: Frame,
    up: (String, String),
    new: String,
    tables: Vec<Line>,
    next: Option<String>,
}

struct Line {
    href: String,
    name: String,
    what: String,
    state: String,
    by: String,
}

fn up(site: &Site) -> (String, String) {
    (site.at("/club"), "Club".to_owned())
}

fn count(count: usize, kind: Kind) -> String {
    let (one, many) = kind.becomes();
    words::count(i64::try_from(count).unwrap_or(i64::MAX), one, many)
}

fn state(doer: &Doer, intake: &Intake) -> String {
    let kept = || count(usize::try_from(intake.kept).unwrap_or(0), intake.kind);
    match (&intake.undone, intake.brought_at) {
        (Some((at, _)), Some(_)) => format!("undone on {}", words::when(*at, doer)),
        (Some((at, _)), None) => format!("forgotten on {}", words::when(*at, doer)),
        (None, Some(at)) => format!("{} brought in on {}", kept(), words::when(at, doer)),
        (None, None) => "not brought in yet".to_owned(),
    }
}

/// The tables that were sent, the newest first.
pub async fn list(hand: Cellarhand, site: Site, paging: Paging<IntakeId>) -> Reply {
    let (facts, mut found) =
        site.read(&hand, move |conn, doer| rows::intakes(conn, doer.club, paging.after, LISTED + 1)).await?;
    let more = i64::try_from(found.len()).unwrap_or(0) > LISTED;
    found.truncate(usize::try_from(LISTED).unwrap_or(0));
    let next = found.last().filter(|_| more).map(|last| site.at(&format!("/club/tables?after={}", last.id)));
    let line = |intake: &Intake| Line {
        href: site.at(&format!("/club/tables/{}", intake.id)),
        name: name(intake),
        what: intake.kind.label().to_owned(),
        state: state(&hand, intake),
        by: intake.by.clone(),
    };
    let tables = found.iter().map(line).collect();
    let frame = site.frame(&hand, Room::Club, "Tables brought in", facts);
    respond::page(&ListPage { frame, up: up(&site), new: site.at("/club/tables/new"), tables, next })
}

fn name(intake: &Intake) -> String {
    if intake.file_name.is_empty() { "Pasted rows".to_owned() } else { intake.file_name.clone() }
}

/// What is known of a table before it is sent.
#[derive(serde::Deserialize, ToSchema)]
pub struct NewQuery {
    /// What it holds.
    pub kind: Option<String>,
}

/// The form that takes a table.
pub async fn new_form(hand: Cellarhand, site: Site, query: Query<NewQuery>) -> Reply {
    let kind = query.value.kind.as_deref().and_then(Kind::from_code);
    let (facts, ()) = site.read(&hand, |_, _| Ok(())).await?;
    let mut view = form(&site, &hand);
    if let (Some(kind), Some(group)) = (kind, view.groups.first_mut()) {
        kind.code().clone_into(&mut group.fields[0].value);
    }
    let frame = site.frame(&hand, Room::Club, "Bring a table in", facts);
    respond::page(&FormPage::new(frame, Some(list_link(&site)), view))
}

fn list_link(site: &Site) -> (String, String) {
    (site.at("/club/tables"), "Tables brought in".to_owned())
}

fn form(site: &Site, doer: &Doer) -> FormView {
    let may = |kind: &Kind| *kind != Kind::Members || doer.role == Role::Steward;
    let kinds = Kind::ALL.into_iter().filter(may);
    let kinds = kinds
        .map(|kind| Choice::new(kind.code(), format!("{}: {}", kind.label(), columns_of(kind))))
        .collect();
    site.form("/club/tables", "Bring a table in", "Look at it")
        .intro(
            "What the club kept in a spreadsheet, or lists of another program. Nothing is kept in the books before you \
             have seen what was understood.",
        )
        .fields([
            Field::radios("kind", "What does it hold?", kinds),
            Field::file("file", "The file").hint(
                "CSV as a spreadsheet saves it: commas, semicolons or tabs, with a row of names over the columns. \
                 Days and numbers as you write them.",
            ),
            Field::area("rows", "Or its rows").hint("Pasted, with the row of names."),
            order_field(),
        ])
        .leave(list_link(site).0)
}

fn order_field() -> Field {
    super::batches::loggers::date_order().hint("Said only where no row of the table tells.")
}

/// A name within a sentence; signs of units and of acidity stay as they are.
fn lowered(name: &str) -> String {
    let mut letters = name.chars();
    match (letters.next(), letters.next()) {
        (Some(first), Some(second)) if second.is_lowercase() => {
            first.to_lowercase().chain(name.chars().skip(1)).collect()
        }
        _ => name.to_owned(),
    }
}

/// The names of what its columns may hold, those that must be there first.
fn columns_of(kind: Kind) -> String {
    let names = |must: bool| {
        let fields = kind.fields().iter().filter(|field| field.must == must);
        fields.map(|field| lowered(field.label)).collect::<Vec<_>>().join(", ")
    };
    let (must, may) = (names(true), names(false));
    if may.is_empty() { must } else { format!("{must}; perhaps {may}") }
}

/// Takes a table, and goes on to what was understood of it.
pub async fn send(hand: Cellarhand, site: Site, sent: Upload) -> Reply {
    let mut sent = sent.0;
    let rows = sent.draft.take("rows").unwrap_or_default();
    let again = if rows.len() <= SHOWN_AGAIN { rows.clone() } else { String::new() };
    let done = async {
        let sending = sending(&sent.draft, &hand, rows)?;
        acts::send(&site.db, &hand, sent.key.clone(), sending).await
    };
    match done.await {
        Ok(id) => Ok(site.see_other(&format!("/club/tables/{id}"))),
        Err(error) => {
            let refusal = Problem::or_refusal(error)?;
            sent.draft = sent.draft.with("rows", again);
            let (facts, ()) = site.read(&hand, |_, _| Ok(())).await?;
            let frame = site.frame(&hand, Room::Club, "Bring a table in", facts);
            let view = sent.back(form(&site, &hand), &refusal);
            respond::refused(&FormPage::new(frame, Some(list_link(&site)), view), &refusal)
        }
    }
}

#[derive(Template)]
#[template(path = "intake/table.html")]
struct TablePage {
    frame: Frame,
    up: (String, String),
    name: String,
    lead: String,
    sub: String,
    problems: Vec<String>,
    /// Rows that were read, of how many.
    progress: Option<(usize, usize)>,
    read_as: Vec<String>,
    headings: Vec<(String, String)>,
    first: Vec<Vec<String>>,
    bad: Vec<Bad>,
    bad_in_all: usize,
    bring: Option<FormView>,
    columns: Option<FormView>,
    undo: Option<FormView>,
}

/// What is known of a table, and what can be done with it.
pub async fn show(hand: Cellarhand, site: Site, path: Path<IntakeId>) -> Reply {
    let mut problems = Vec::new();
    let running = match under_way::of(path.0) {
        Some(under_way::State::Running(progress)) => Some(progress.so_far()),
        Some(under_way::State::Refused(why)) => {
            problems = why;
            None
        }
        None => None,
    };
    page(&hand, &site, path.0, running, problems, None).await
}

/// A form that came back with what stood in the way.
struct Back<'f> {
    form: &'f Form,
    refusal: &'f Refusal,
    which: Which,
}

#[derive(Clone, Copy, PartialEq, Eq)]
enum Which {
    Bring,
    Columns,
    Undo,
}

async fn page(
    hand: &Cellarhand,
    site: &Site,
    id: IntakeId,
    running: Option<(usize, usize)>,
    problems: Vec<String>,
    back: Option<Back<'_>>,
) -> Reply {
    let (facts, (intake, looked)) = site
        .read(hand, move |conn, doer| {
            let intake = match rows::one(conn, doer.club, id) {
                Err(Failure::Gone) => return Ok((None, None)),
                found => found?,
            };
            let waits = intake.brought_at.is_none() && intake.undone.is_none() && running.is_none();
            let looked = waits.then(|| acts::look(conn, doer, &intake)).transpose();
            Ok((Some(intake), Some(looked)))
        })
        .await?;
    let (Some(intake), Some(looked)) = (intake, looked) else { return Err(Problem::missing("table")) };
    let looked = match looked {
        Ok(looked) => looked,
        Err(error) => {
            let refusal = Problem::or_refusal(error)?;
            return Err(refusal.into());
        }
    };
    let frame = site.frame(hand, Room::Club, &name(&intake), facts);
    let mut page = TablePage {
        frame,
        up: list_link(site),
        name: name(&intake),
        lead: format!("{}: {}.", intake.kind.label(), state(hand, &intake)),
        sub: format!("Sent by {} on {}.", intake.by, words::when(intake.at, hand)),
        problems,
        progress: running,
        read_as: Vec::new(),
        headings: Vec::new(),
        first: Vec::new(),
        bad: Vec::new(),
        bad_in_all: 0,
        bring: None,
        columns: None,
        undo: None,
    };
    if let Some((_, of)) = running {
        page.lead =
            if of == 0 { "It is being read.".to_owned() } else { "It is being brought in.".to_owned() };
        "Nothing of it is in the books before all of it is. You may leave this page."
            .clone_into(&mut page.sub);
    } else if let Some(looked) = looked {
        waiting(&mut page, site, &intake, looked);
    } else if let Some((_, because)) = &intake.undone {
        page.sub = format!("{because}. {}", page.sub);
    } else {
        if intake.left_out > 0 {
            let left_out = words::count(intake.left_out, "row was", "rows were");
            page.sub = format!("{left_out} left out. {}", page.sub);
        }
        if intake.known > 0 {
            let known = words::count(intake.known, "value was", "values were");
            page.sub = format!("{known} there before: nothing was recorded twice. {}", page.sub);
        }
        page.undo = Some(undo_form(site, id));
    }
    if let Some(Back { form, refusal, which }) = back {
        let view = match which {
            Which::Bring => &mut page.bring,
            Which::Columns => &mut page.columns,
            Which::Undo => &mut page.undo,
        };
        page.problems = refusal.faults.iter().map(|fault| fault.message.clone()).collect();
        *view = view.take().map(|view| form.back(view, refusal));
        return respond::refused(&page, refusal);
    }
    let mut answer = respond::page(&page)?;
    if running.is_some() {
        answer.headers_mut().insert(
            actix_web::http::header::HeaderName::from_static("refresh"),
            actix_web::http::header::HeaderValue::from_static("1"),
        );
    }
    Ok(answer)
}

/// What was understood of a table that waits, with what is to be said and the button that brings it in.
fn waiting(page: &mut TablePage, site: &Site, intake: &Intake, looked: Looked) {
    let id = intake.id;
    page.read_as = looked.read_as;
    let label = |column: &crate::domain::intake::Column| column.field.map_or("left out", |field| field.label);
    page.headings =
        looked.columns.iter().map(|column| (column.heading.clone(), label(column).to_owned())).collect();
    page.first = looked.first;
    for row in &mut page.first {
        row.resize(page.headings.len(), String::new());
    }
    page.columns = Some(columns_form(site, intake, &looked.columns));
    match looked.found {
        Err(refusal) => {
            "Something is to be said first.".clone_into(&mut page.lead);
            page.problems.extend(refusal.faults.into_iter().map(|fault| fault.message));
        }
        Ok(Found { good, bad, bad_in_all }) => {
            let all = count(good, intake.kind);
            let rows = |count| words::count(i64::try_from(count).unwrap_or(i64::MAX), "row", "rows");
            page.lead = match (good, bad_in_all) {
                (0, _) => "No row of it can be brought in.".to_owned(),
                (_, 0) => format!("All of it can be brought in: {}.", good_words(intake.kind, good)),
                _ => format!("{} can be brought in, {} cannot.", rows(good), rows(bad_in_all)),
            };
            let (keep, submit) = if bad_in_all == 0 {
                ("all", format!("Bring in the {all}"))
            } else {
                ("good", format!("Bring in the {} that are good", rows(good)))
            };
            if good > 0 {
                let path = format!("/club/tables/{id}/bringing");
                page.bring = Some(site.form(&path, "", &submit).fields([Field::hidden("keep", keep)]));
            }
            page.bad = bad;
            page.bad_in_all = bad_in_all;
        }
    }
    let undo = site.form(&format!("/club/tables/{id}/undoing"), "", "Forget this table");
    page.undo = Some(undo.fields([Field::hidden("reason", "not brought in")]));
}

/// Readings and bottlings are counted by the row.
fn good_words(kind: Kind, good: usize) -> String {
    match kind {
        Kind::Readings => {
            words::count(i64::try_from(good).unwrap_or(i64::MAX), "row of readings", "rows of readings")
        }
        _ => count(good, kind),
    }
}

fn columns_form(site: &Site, intake: &Intake, columns: &[crate::domain::intake::Column]) -> FormView {
    let mut choices = vec![Choice::new("", "Leave it out")];
    choices.extend(intake.kind.fields().iter().map(|field| {
        let must = if field.must { " (needed)" } else { "" };
        Choice::new(field.code, format!("{}{must}", field.label))
    }));
    // What is hidden stands last: fields that are seen keep their distance from one another.
    let (mut fields, mut hidden) = (Vec::new(), Vec::new());
    for (at, column) in columns.iter().enumerate() {
        let heading =
            if column.heading.is_empty() { format!("Column {}", at + 1) } else { column.heading.clone() };
        hidden.push(Field::hidden(format!("columns.{at}.heading"), column.heading.clone()));
        fields.push(
            Field::select(format!("columns.{at}.field"), format!("“{heading}” holds"), choices.clone())
                .value(column.field.map_or("", |field| field.code)),
        );
    }
    if intake.kind.fields().iter().any(|field| field.shape == Shape::Day) {
        fields.push(order_field().value(intake.order.map_or("", |order| order.code())));
    }
    fields.extend(hidden);
    site.form(&format!("/club/tables/{}/columns", intake.id), "", "Look again").group(Group::new("", fields))
}

fn undo_form(site: &Site, id: IntakeId) -> FormView {
    let why = Field::text("reason", "Why is it undone?").hint(
        "What it recorded is reversed, what it made is taken away. Nothing is undone where something rests on it.",
    );
    site.form(&format!("/club/tables/{id}/undoing"), "", "Undo all of it").fields([why])
}

/// Says what the columns hold.
pub async fn say(hand: Cellarhand, site: Site, path: Path<IntakeId>, sent: Form) -> Reply {
    let done = async {
        let saying = saying(&sent.draft, &hand, path.0)?;
        acts::say(&site.db, &hand, sent.key.clone(), saying).await
    };
    match done.await {
        Ok(id) => Ok(site.see_other(&format!("/club/tables/{id}"))),
        Err(error) => {
            let refusal = Problem::or_refusal(error)?;
            let back = Back { form: &sent, refusal: &refusal, which: Which::Columns };
            page(&hand, &site, path.0, None, Vec::new(), Some(back)).await
        }
    }
}

/// Brings a table in. A short one is done at once; of a long one the page shows how far it is.
pub async fn bring(hand: Cellarhand, site: Site, path: Path<IntakeId>, sent: Form) -> Reply {
    let id = path.0;
    let done = async {
        let order = bringing(&sent.draft, &hand, id)?;
        under_way::bring(&site.db, &hand, sent.key.clone(), order).await
    };
    match done.await {
        Ok(()) => Ok(site.see_other(&format!("/club/tables/{id}"))),
        Err(error) => {
            let refusal = Problem::or_refusal(error)?;
            let back = Back { form: &sent, refusal: &refusal, which: Which::Bring };
            page(&hand, &site, id, None, Vec::new(), Some(back)).await
        }
    }
}

/// Undoes a table, or forgets one that was not brought in.
pub async fn undo(hand: Cellarhand, site: Site, path: Path<IntakeId>, sent: Form) -> Reply {
    let id = path.0;
    let done = async {
        let order = undoing(&sent.draft, &hand, id)?;
        acts::undo(&site.db, &hand, sent.key.clone(), order).await
    };
    match done.await {
        Ok(_) => Ok(site.see_other("/club/tables")),
        Err(error) => {
            let refusal = Problem::or_refusal(error)?;
            let back = Back { form: &sent, refusal: &refusal, which: Which::Undo };
            page(&hand, &site, id, None, Vec::new(), Some(back)).await
        }
    }
}
