//! Bringing in what a logger wrote: the file is looked at first, with every row that cannot be read and why; what is
//! good is kept then, or nothing.

use askama::Template;

use crate::actions::batches as acts;
use crate::db::Failure;
use crate::db::batches::{self as rows, Batch};
use crate::db::reminders::Facts;
use crate::domain::batches::loggers::{self, Bad, Log, Logged, Order, Said, Scale};
use crate::domain::members::{Cellarhand, Doer};
use crate::domain::refusal::Refusal;
use crate::units::days::{self, Instant};
use crate::units::ids::{BatchId, ImportId};
use crate::units::measure::ReadingKind;
use crate::web::body::{Form, Upload};
use crate::web::extract::Path;
use crate::web::form_page::FormPage;
use crate::web::forms::{Choice, Field, FormView};
use crate::web::frame::Frame;
use crate::web::input::{Draft, Reader};
use crate::web::pictures::{Curve, curve};
use crate::web::problem::Problem;
use crate::web::respond::{self, Reply};
use crate::web::site::{Room, Site};
use crate::web::words;

/// A file with what was said about it.
pub struct Asked {
    /// Its rows.
    pub rows: String,
    /// What it is called.
    pub file_name: String,
    /// What a person said of it.
    pub said: Said,
    /// Keep the good rows even if there are bad ones.
    pub good: bool,
    /// It has been looked at.
    pub keep: bool,
}

/// Reads a file, from a page or a program.
pub fn read(draft: &Draft, doer: &Doer) -> Result<Asked, Refusal> {
    draft.read(doer, |r: &mut Reader| {
        let keep = r.optional("keep", |text| match text.trim() {
            "good" => Ok(true),
            "all" => Ok(false),
            _ => Err(crate::units::Misread::new("Choose one of these: good, all")),
        });
        Asked {
            rows: r.text("rows"),
            file_name: r.optional_line("file_name", 200, "the name of the file"),
            said: Said {
                order: r.optional_choice("date_order", &Order::ALL, Order::code),
                gravity: r.optional_choice("gravity_in", &Scale::OF_GRAVITY, Scale::of_gravity),
                temperature: r.optional_choice(
                    "temperature_in",
                    &Scale::OF_TEMPERATURE,
                    Scale::of_temperature,
                ),
            },
            good: keep == Some(true),
            keep: keep.is_some(),
        }
    })
}

/// What is kept of a file.
pub fn order(batch: BatchId, asked: &Asked, log: &Log) -> acts::NewImport {
    acts::NewImport {
        batch,
        file_name: asked.file_name.clone(),
        left_out: log.bad_in_all,
        rows: log.rows.iter().map(|row| (row.at, row.kind, row.value)).collect(),
    }
}

#[derive(Template)]
#[template(path = "batches/logger.html")]
struct LookPage {
    frame: Frame,
    up: (String, String),
    lead: String,
    notes: Vec<String>,
    read_as: Vec<String>,
    picture: String,
    bad: Vec<Bad>,
    bad_in_all: usize,
    form: FormView,
}

/// Shows the form that takes a file.
pub async fn form(hand: Cellarhand, site: Site, path: Path<BatchId>) -> Reply {
    let (facts, batch) = found(&site, &hand, path.0).await?;
    respond::page(&form_page(&site, &hand, facts, &batch, |view| view))
}

async fn found(site: &Site, hand: &Cellarhand, id: BatchId) -> Result<(Facts, Batch), Problem> {
    let read = site.read(hand, move |conn, doer| match rows::batch(conn, doer.club, id) {
        Err(Failure::Gone) => Ok(None),
        found => found.map(Some),
    });
    let (facts, batch) = read.await?;
    Ok((facts, batch.ok_or_else(|| Problem::missing("batch"))?))
}

fn up(site: &Site, batch: &Batch) -> (String, String) {
    (site.at(&format!("/batches/{}/readings", batch.id)), format!("Readings of batch {}", batch.code))
}

fn form_page(
    site: &Site,
    hand: &Cellarhand,
    facts: Facts,
    batch: &Batch,
    fill: impl FnOnce(FormView) -> FormView,
) -> FormPage {
    let mut fields = vec![
        Field::file("file", "The file that the logger wrote").hint(
            "CSV or text: a time and a value in each row, gravity, temperature or pH named over its column.",
        ),
        Field::area("rows", "Or its rows").hint("Pasted from the file, with the row of names."),
    ];
    fields.extend(choices());
    let view = site
        .form(&format!("/batches/{}/logger", batch.id), "Bring in a logger’s file", "Look at it")
        .intro("Nothing is kept before you have seen what was understood.")
        .fields(fields)
        .leave(up(site, batch).0);
    let frame = site.frame(hand, Room::Batches, "Bring in a logger’s file", facts);
    FormPage::new(frame, Some(up(site, batch)), fill(view))
}

/// What a person may say of a file; empty where it says it itself.
fn choices() -> [Field; 3] {
    let gravity =
        as_it_says(&[("sg", "SG: 1.046"), ("points", "Points: 1046"), ("brix", "°Brix or °Plato: 11.4")]);
    [date_order(), Field::select("gravity_in", "What gravity is written in", gravity), temperature_in()]
}

fn as_it_says(own: &[(&str, &str)]) -> Vec<Choice> {
    let first = Choice::new("", "As the file says");
    std::iter::once(first).chain(own.iter().map(|(value, text)| Choice::new(*value, *text))).collect()
}

/// How the days of a file are written.
pub fn date_order() -> Field {
    let orders = as_it_says(&[
        ("year-month-day", "Year first: 2026-06-23"),
        ("day-month-year", "Day first: 23/06/2026"),
        ("month-day-year", "Month first: 06/23/2026"),
    ]);
    Field::select("date_order", "How days are written", orders)
}

/// What the temperatures of a file are written in.
pub fn temperature_in() -> Field {
    Field::select("temperature_in", "What temperature is written in", as_it_says(&[("c", "°C"), ("f", "°F")]))
}

/// Looks at a file, or keeps its good rows once it has been looked at.
pub async fn bring(hand: Cellarhand, site: Site, path: Path<BatchId>, sent: Upload) -> Reply {
    let (sent, id) = (sent.0, path.0);
    let (facts, batch) = found(&site, &hand, id).await?;
    let done = async {
        let asked = read(&sent.draft, &hand)?;
        let log = loggers::read(&asked.rows, &asked.said, hand.zone, hand.now)?;
        if !asked.keep {
            return Ok::<_, crate::actions::Error>(Some((asked, log)));
        }
        let brought = acts::bring_in(&site.db, &hand, sent.key.clone(), order(id, &asked, &log)).await?;
        if brought.import.is_none() {
            let all = words::count(i64::try_from(brought.known).unwrap_or(i64::MAX), "reading", "readings");
            return Err(Refusal::conflict(
                "rows",
                format!("All that this file holds is there already: {all}"),
            )
            .into());
        }
        Ok(None)
    };
    match done.await {
        Ok(None) => Ok(site.see_other(&format!("/batches/{id}/readings"))),
        Ok(Some((asked, log))) => respond::page(&look(&site, &hand, facts, &batch, &asked, &log)),
        Err(error) => {
            let refusal = Problem::or_refusal(error)?;
            let page = form_page(&site, &hand, facts, &batch, |view| sent.back(view, &refusal));
            respond::refused(&page, &refusal)
        }
    }
}

/// What was understood of a file, with the button that keeps it.
fn look(site: &Site, doer: &Doer, facts: Facts, batch: &Batch, asked: &Asked, log: &Log) -> LookPage {
    let count =
        |count: usize, one: &str, many: &str| words::count(i64::try_from(count).unwrap_or(0), one, many);
    let when = |at: Instant| words::when(at, doer);
    let good = count(log.rows.len(), "reading", "readings");
    let lead = match (log.rows.first(), log.rows.last()) {
        (Some(first), Some(last)) => format!("{good} from {} to {}.", when(first.at), when(last.at)),
        _ => "No row of it can be read.".to_owned(),
    };
    let mut notes = Vec::new();
    if log.doubled > 0 {
        notes.push(format!(
            "{} stood there twice with the same time; the first counts.",
            count(log.doubled, "value", "values")
        ));
    }
    if log.unsorted > 0 {
        notes.push(format!(
            "{} came before an earlier one; they are put in order.",
            count(log.unsorted, "row", "rows")
        ));
    }
    for (from, until) in &log.gaps {
        notes.push(format!("Nothing was written from {} to {}.", when(*from), when(*until)));
    }
    notes.push("Readings that came in before with another file are not kept again.".to_owned());
    let submit = if log.bad_in_all > 0 {
        format!("Keep the {good} that are good")
    } else {
        format!("Keep the {good}")
    };
    let text = |value: &str| value.to_owned();
    let hidden = [
        ("rows", asked.rows.clone()),
        ("file_name", asked.file_name.clone()),
        ("date_order", asked.said.order.map(|one| text(one.code())).unwrap_or_default()),
        ("gravity_in", asked.said.gravity.map(|one| text(one.of_gravity())).unwrap_or_default()),
        ("temperature_in", asked.said.temperature.map(|one| text(one.of_temperature())).unwrap_or_default()),
        ("keep", text("good")),
    ];
    let fields: Vec<Field> = hidden.into_iter().map(|(name, value)| Field::hidden(name, value)).collect();
    let form = site
        .form(&format!("/batches/{}/logger", batch.id), "", &submit)
        .fields(fields)
        .leave(site.at(&format!("/batches/{}/logger", batch.id)));
    LookPage {
        frame: site.frame(doer, Room::Batches, "What the file holds", facts),
        up: (site.at(&format!("/batches/{}/logger", batch.id)), "Another file".to_owned()),
        lead,
        notes,
        read_as: log.read_as.clone(),
        picture: picture(log, doer),
        bad: log.bad.clone(),
        bad_in_all: log.bad_in_all,
        form,
    }
}

/// The gravities of the file, or its temperatures where it has none.
fn picture(log: &Log, doer: &Doer) -> String {
    let of = |kind: ReadingKind| log.rows.iter().filter(|row| row.kind == kind).collect::<Vec<&Logged>>();
    let gravity = of(ReadingKind::Gravity);
    let (kind, shown) = if gravity.is_empty() {
        (ReadingKind::Temperature, of(ReadingKind::Temperature))
    } else {
        (ReadingKind::Gravity, gravity)
    };
    let (Some(first), Some(last)) = (shown.first(), shown.last()) else { return String::new() };
    #[allow(clippy::cast_precision_loss, reason = "seconds of a fermentation")]
    let point = |row: &&Logged| ((row.at - first.at).num_seconds() as f64 / 86_400.0, row.value.number());
    let points: Vec<(f64, f64)> = shown.iter().map(point).collect();
    let start = days::local_day(first.at, doer.zone);
    let (name, unit) = kind.label();
    let (begin, end) = (first.value.shown(kind), last.value.shown(kind));
    curve(&Curve {
        id: "file",
        title: &format!("{name} in the file"),
        caption: &format!("{name} from {begin} to {end}, as the file holds it."),
        points: &points,
        unit,
        decimals: if kind == ReadingKind::Gravity { 3 } else { 1 },
        last: &end,
        day_text: &|day| (start + chrono::Duration::days(i64::from(day))).format("%-d %b").to_string(),
        marks: &[],
        ahead: None,
        lane: None,
    })
}

/// Reads why a file is undone, from a page or a program.
pub fn read_undoing(draft: &Draft, doer: &Doer, import: ImportId) -> Result<acts::Undoing, Refusal> {
    draft.read(doer, |r| acts::Undoing { import, reason: r.line("reason", 300, "why it is undone") })
}

/// Undoes a file.
pub async fn undo(hand: Cellarhand, site: Site, path: Path<(BatchId, ImportId)>, sent: Form) -> Reply {
    let (batch, import) = path.0;
    let done = async {
        let order = read_undoing(&sent.draft, &hand, import)?;
        acts::undo_import(&site.db, &hand, sent.key.clone(), order).await
    };
    match done.await {
        Ok(batch) => Ok(site.see_other(&format!("/batches/{batch}/readings"))),
        Err(error) => {
            let refusal = Problem::or_refusal(error)?;
            let (facts, ()) = site.read(&hand, |_, _| Ok(())).await?;
            let back = site.at(&format!("/batches/{batch}/readings"));
            let view = site
                .form(
                    &format!("/batches/{batch}/logger/{import}/undoing"),
                    "Undo a file",
                    "Strike all its readings out",
                )
                .fields([Field::text("reason", "Why is it undone?")])
                .leave(back.clone());
            let frame = site.frame(&hand, Room::Batches, "Undo a file", facts);
            let up = Some((back, "The readings".to_owned()));
            respond::refused(&FormPage::new(frame, up, sent.back(view, &refusal)), &refusal)
        }
    }
}
