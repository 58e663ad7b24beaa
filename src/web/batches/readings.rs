//! What was measured of a batch: recorded with one hand, listed part by part, struck out, read again.

use std::fmt;
use std::str::FromStr;

use askama::Template;

use super::read;
use crate::actions::batches as acts;
use crate::actions::{Done, Error};
use crate::db::batches::{self as rows, Batch, Import, Part, Reading};
use crate::db::instruments::{self, Kept};
use crate::db::{AnyConn, Failure};
use crate::domain::instruments::InstrumentKind;
use crate::domain::members::{Cellarhand, Doer, Onlooker, Role};
use crate::units::Misread;
use crate::units::days::{self, Instant};
use crate::units::ids::{BatchId, ReadingId};
use crate::units::measure::{Measured, ReadingKind};
use crate::web::body::Form;
use crate::web::extract::{Paging, Path};
use crate::web::form_page::FormPage;
use crate::web::forms::{Choice, Field, FormView, Group};
use crate::web::frame::Frame;
use crate::web::problem::Problem;
use crate::web::respond::{self, Reply};
use crate::web::site::{Room, Site};
use crate::web::words;

/// A place in the list of readings, as an address carries it.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Place(pub Instant, pub ReadingId);

impl fmt::Display for Place {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{}.{}", self.0.and_utc().timestamp_micros(), self.1)
    }
}

impl FromStr for Place {
    type Err = Misread;
    fn from_str(text: &str) -> Result<Self, Misread> {
        let unknown = || Misread::new("There is no such place in the list");
        let (at, id) = text.split_once('.').ok_or_else(unknown)?;
        let at = at.parse().ok().and_then(chrono::DateTime::from_timestamp_micros).ok_or_else(unknown)?;
        Ok(Self(at.naive_utc(), id.parse()?))
    }
}

/// Readings on one page, and files that are shown over them.
const PART: i64 = 50;
const IMPORTS: i64 = 20;

#[derive(Template)]
#[template(path = "batches/readings.html")]
struct ReadingsPage {
    frame: Frame,
    href: String,
    code: String,
    drink: String,
    lead: String,
    may_record: bool,
    first_part: bool,
    rows: Vec<ReadingRow>,
    imports: Vec<ImportRow>,
    keys: Vec<String>,
    more: Option<String>,
}

/// A reading as a line of the list.
pub(super) struct ReadingRow {
    pub(super) id: String,
    pub(super) when: String,
    pub(super) what: &'static str,
    pub(super) value: String,
    pub(super) read: String,
    pub(super) by: String,
    pub(super) remark: String,
    pub(super) struck: Option<String>,
    pub(super) may_strike: bool,
}

struct ImportRow {
    id: String,
    name: String,
    says: String,
    undone: Option<String>,
}

/// Shows the readings of a batch, the newest first.
pub async fn list(who: Onlooker, site: Site, path: Path<BatchId>, paging: Paging<Place>) -> Reply {
    let (id, before) = (path.0, paging.after);
    let read = site.read(&who, move |conn, doer| {
        let Some(batch) = there(rows::batch(conn, doer.club, id))? else { return Ok(None) };
        let part = Part { before: before.map(|place| (place.0, place.1)), ..Part::newest(PART + 1) };
        let found = rows::part(conn, doer.club, id, &part)?;
        Ok(Some((batch, found, rows::count(conn, id)?, rows::imports(conn, doer.club, id, IMPORTS)?)))
    });
    let (facts, found) = read.await?;
    let (batch, mut readings, count, imports) = found.ok_or_else(|| Problem::missing("batch"))?;
    let most = usize::try_from(PART).unwrap_or_default();
    let href = site.at(&format!("/batches/{id}"));
    let more = (readings.len() > most).then(|| {
        readings.truncate(most);
        readings.last().map(|last| format!("{href}/readings?after={}", Place(last.at, last.id)))
    });
    let all = words::count(count, "reading", "readings");
    let page = ReadingsPage {
        lead: if count == 0 {
            "Nothing has been read yet.".to_owned()
        } else {
            format!("{all}, the latest first.")
        },
        may_record: who.role >= Role::Cellarhand && !batch.stage.ended(),
        first_part: before.is_none(),
        keys: readings.iter().map(|_| site.form("", "", "").request_key).collect(),
        rows: readings.iter().map(|reading| reading_row(reading, &who)).collect(),
        imports: imports.iter().map(|import| import_row(import, &who)).collect(),
        more: more.flatten(),
        frame: site.frame(&who, Room::Batches, &format!("Readings of batch {}", batch.code), facts),
        code: batch.code,
        drink: batch.name,
        href,
    };
    respond::page(&page)
}

fn there<T>(found: Result<T, Failure>) -> Result<Option<T>, Failure> {
    match found {
        Err(Failure::Gone) => Ok(None),
        found => found.map(Some),
    }
}

fn import_row(import: &Import, doer: &Doer) -> ImportRow {
    let name = if import.file_name.is_empty() {
        "Rows that were pasted".to_owned()
    } else {
        import.file_name.clone()
    };
    let mut says = words::count(import.kept, "reading", "readings");
    for (count, words) in [(import.known, "were there before"), (import.left_out, "rows could not be read")] {
        if count > 0 {
            says = format!("{says}, {count} {words}");
        }
    }
    ImportRow {
        id: import.id.to_string(),
        name,
        says: format!("{says}. Brought in by {} on {}.", import.by, words::when(import.at, doer)),
        undone: import.undone_at.map(|at| words::when(at, doer)),
    }
}

pub(super) fn reading_row(reading: &Reading, doer: &Doer) -> ReadingRow {
    let (what, unit) = reading.kind.label();
    let value = reading.value.shown(reading.kind);
    let mut read = Vec::new();
    if reading.read != reading.value || reading.sample_c.is_some() {
        read.push(format!("read {}", reading.read.shown(reading.kind)));
    }
    read.extend(reading.sample_c.map(|sample| format!("at {} °C", sample.shown(ReadingKind::Temperature))));
    read.extend(reading.instrument.as_ref().map(|one| format!("with {}", one.1)));
    if reading.kind == ReadingKind::Gravity && reading.sample_c.is_some() {
        read.push("corrected to 20 °C".to_owned());
    } else if reading.read != reading.value {
        read.push("corrected".to_owned());
    }
    let source = (!reading.source.is_empty()).then(|| format!("from {}", reading.source));
    ReadingRow {
        id: reading.id.to_string(),
        when: words::when(reading.at, doer),
        what,
        value: if unit == what { value } else { format!("{value} {unit}") },
        read: words::capital(&read.into_iter().chain(source).collect::<Vec<_>>().join(", ")),
        by: reading.by.clone(),
        remark: reading.remark.clone(),
        struck: reading
            .struck
            .as_ref()
            .map(|(at, by, why)| format!("by {by} on {}: {why}", words::when(*at, doer))),
        may_strike: reading.struck.is_none() && doer.role >= Role::Cellarhand,
    }
}

/// What the form of a reading shows.
struct Known {
    batch: Batch,
    last: Vec<(ReadingKind, Instant, Measured)>,
    instruments: Vec<Kept>,
}

fn known(conn: &mut AnyConn, doer: &Doer, id: BatchId) -> Result<Option<Known>, Failure> {
    let Some(batch) = there(rows::batch(conn, doer.club, id))? else { return Ok(None) };
    let mut kept = instruments::instruments(conn, doer.club)?;
    kept.retain(|one| !one.retired);
    Ok(Some(Known { last: rows::last_of_each(conn, id)?, instruments: kept, batch }))
}

/// Shows the form of a reading.
pub async fn form(hand: Cellarhand, site: Site, path: Path<BatchId>) -> Reply {
    let (facts, found) = site.read(&hand, move |conn, doer| known(conn, doer, path.0)).await?;
    let found = found.ok_or_else(|| Problem::missing("batch"))?;
    let view = view(&site, &hand, &found);
    let frame = site.frame(&hand, Room::Batches, "Record a reading", facts);
    respond::page(&FormPage::new(frame, Some(up(&site, &found.batch)), view))
}

/// Records it.
pub async fn record(hand: Cellarhand, site: Site, path: Path<BatchId>, sent: Form) -> Reply {
    let id = path.0;
    let (facts, found) = site.read(&hand, move |conn, doer| known(conn, doer, id)).await?;
    let found = found.ok_or_else(|| Problem::missing("batch"))?;
    let done: Done<()> = async {
        let readings = read::readings(&sent.draft, &hand, id)?;
        let kinds: Vec<ReadingKind> = readings.iter().map(|reading| reading.kind).collect();
        let kept = acts::record_readings(&site.db, &hand, sent.key.clone(), readings).await;
        kept.map(|_| ()).map_err(|error| beside_its_field(error, &kinds))
    }
    .await;
    match done {
        Ok(()) => Ok(site.see_other(&format!("/batches/{id}"))),
        Err(error) => {
            let refusal = Problem::or_refusal(error)?;
            let view = sent.back(view(&site, &hand, &found), &refusal);
            let frame = site.frame(&hand, Room::Batches, "Record a reading", facts);
            respond::refused(&FormPage::new(frame, Some(up(&site, &found.batch)), view), &refusal)
        }
    }
}

fn up(site: &Site, batch: &Batch) -> (String, String) {
    (site.at(&format!("/batches/{}", batch.id)), format!("Batch {}, {}", batch.code, batch.name))
}

/// On the page each kind has a field of its own, and each kind of instrument.
fn beside_its_field(error: Error, kinds: &[ReadingKind]) -> Error {
    let Error::Refused(mut refusal) = error else { return error };
    for fault in &mut refusal.faults {
        let own = fault.field.strip_prefix("readings.").and_then(|rest| rest.split_once('.'));
        let Some((kind, name)) =
            own.and_then(|(at, name)| Some((kinds.get(at.parse::<usize>().ok()?)?, name)))
        else {
            continue;
        };
        let of_kind = InstrumentKind::ALL.into_iter().find(|one| one.reads() == *kind);
        fault.field = match (name, of_kind) {
            ("instrument", Some(instrument)) => instrument.code().to_owned(),
            ("sample_temperature_c", _) => "sample_temperature_c".to_owned(),
            _ => kind.code().to_owned(),
        };
    }
    refusal.into()
}

/// The form: what is read most stands open, the rest is a tap away.
fn view(site: &Site, doer: &Doer, found: &Known) -> FormView {
    let last = |kind: ReadingKind| {
        let last = found.last.iter().find(|one| one.0 == kind);
        last.map(|(_, at, value)| {
            let ago = (doer.today() - days::local_day(*at, doer.zone)).num_days();
            let ago = if ago == 0 { "today".to_owned() } else { format!("{} ago", days::age(ago)) };
            format!("Last {}, {ago}.", value.shown(kind))
        })
    };
    let field = |kind: ReadingKind, hint: &str| {
        let (name, unit) = kind.label();
        let hint: Vec<String> =
            last(kind).into_iter().chain((!hint.is_empty()).then(|| hint.to_owned())).collect();
        let unit = if unit == name { "" } else { unit };
        Field::decimal(kind.code(), name).hint(hint.join(" ")).after(unit)
    };
    let mut other = vec![
        field(ReadingKind::Acidity, ""),
        field(ReadingKind::FreeSulphite, ""),
        field(ReadingKind::Volume, "As measured; it is noted and changes nothing in the books."),
    ];
    if found.batch.pitched_on.is_none() {
        other.push(field(
            ReadingKind::Brix,
            "Only before the yeast is pitched: later, alcohol reads as sugar.",
        ));
    }
    let mut rest = vec![
        Field::text("at", "When")
            .hint("Empty for now. Otherwise such as 2026-06-23 15:40, or yesterday 18:00."),
    ];
    rest.extend(InstrumentKind::ALL.into_iter().filter_map(|kind| instrument_field(found, kind)));
    rest.push(Field::area("remark", "Remark"));
    site.form(&format!("/batches/{}/reading", found.batch.id), "Record a reading", "Record it")
        .intro(format!(
            "Batch {}, {}. Write what you read; leave the rest empty.",
            found.batch.code, found.batch.name
        ))
        .group(Group::new(
            "What was read",
            [
                field(ReadingKind::Gravity, "As the hydrometer shows it: 1.0450 or 1045."),
                Field::decimal("sample_temperature_c", "Temperature of the sample")
                    .hint("The gravity is then corrected to 20 °C. Between 5 and 40 °C.")
                    .after("°C"),
                field(ReadingKind::Temperature, ""),
                field(ReadingKind::Ph, ""),
            ],
        ))
        .group(Group::new("More values", other))
        .group(Group::new("When, and with what", rest))
        .leave(up(site, &found.batch).0)
}

/// Which instrument, where the club has one of its kind; the only one is chosen already.
fn instrument_field(found: &Known, kind: InstrumentKind) -> Option<Field> {
    let own: Vec<&Kept> = found.instruments.iter().filter(|one| one.instrument.kind == kind).collect();
    let only = if own.len() == 1 { own[0].id.to_string() } else { String::new() };
    let choices = own.iter().map(|one| Choice::new(one.id.to_string(), one.instrument.name.clone()));
    let none = Choice::new("", "None of the club’s: not corrected for it");
    (!own.is_empty()).then(|| {
        Field::select(kind.code(), kind.label(), std::iter::once(none).chain(choices).collect()).value(only)
    })
}

/// Shows the form that reads a reading again.
pub async fn correction_form(hand: Cellarhand, site: Site, path: Path<(BatchId, ReadingId)>) -> Reply {
    respond::page(&correction_page(&site, &hand, path.0, |view| view).await?)
}

/// Strikes a reading out and records it anew.
pub async fn correct(hand: Cellarhand, site: Site, path: Path<(BatchId, ReadingId)>, sent: Form) -> Reply {
    let (batch, reading) = path.0;
    let of_club = hand.club;
    let kind =
        site.db.read(move |conn| Ok::<_, Failure>(rows::reading(conn, of_club, reading)?.1.kind)).await;
    let kind =
        kind.map_err(
            |failure| if failure == Failure::Gone { Problem::missing("reading") } else { failure.into() },
        )?;
    let done = async {
        let order = read::correction(&sent.draft, &hand, reading, kind)?;
        acts::correct_reading(&site.db, &hand, sent.key.clone(), order).await
    };
    match done.await {
        Ok((batch, _)) => Ok(site.see_other(&format!("/batches/{batch}/readings"))),
        Err(error) => {
            let refusal = Problem::or_refusal(error)?;
            let page =
                correction_page(&site, &hand, (batch, reading), |view| sent.back(view, &refusal)).await?;
            respond::refused(&page, &refusal)
        }
    }
}

async fn correction_page(
    site: &Site,
    hand: &Cellarhand,
    (batch, reading): (BatchId, ReadingId),
    fill: impl FnOnce(FormView) -> FormView,
) -> Result<FormPage, Problem> {
    let read = site.read(hand, move |conn, doer| there(rows::reading(conn, doer.club, reading)));
    let (facts, found) = read.await?;
    let found = found.filter(|found| found.0 == batch).ok_or_else(|| Problem::missing("reading"))?.1;
    let (name, unit) = found.kind.label();
    let at = days::local(found.at, hand.zone).format("%Y-%m-%d %H:%M").to_string();
    let mut fields =
        vec![Field::decimal("value", name).value(found.read.shown(found.kind)).after(if unit == name {
            ""
        } else {
            unit
        })];
    if matches!(found.kind, ReadingKind::Gravity | ReadingKind::Brix) {
        let sample = found.sample_c.map(|sample| sample.shown(ReadingKind::Temperature)).unwrap_or_default();
        fields.push(
            Field::decimal("sample_temperature_c", "Temperature of the sample").value(sample).after("°C"),
        );
    }
    fields.push(Field::text("at", "When").hint("Empty for the time it has.").value(at));
    fields.push(Field::text("reason", "What was wrong with it?"));
    let path = format!("/batches/{batch}/readings/{reading}/correction");
    let view = site
        .form(&path, "Read it again", "Record it anew")
        .intro("The old reading stays in the record, struck out with your reason; the new one counts.")
        .fields(fields)
        .leave(site.at(&format!("/batches/{batch}/readings")));
    let frame = site.frame(hand, Room::Batches, "Read it again", facts);
    let up = (site.at(&format!("/batches/{batch}/readings")), "The readings".to_owned());
    Ok(FormPage::new(frame, Some(up), fill(view)))
}
