//! The climate of a place: what it is like there, what was read, by hand or out of a logger’s file, and striking out.

use askama::Template;

use super::body::{Form, Upload};
use super::extract::Path;
use super::form_page::FormPage;
use super::forms::{Caution, Field, FormView};
use super::frame::Frame;
use super::pictures::{Curve, Lane, curve};
use super::problem::Problem;
use super::respond::{self, Reply};
use super::site::{Room, Site};
use super::words;
use crate::actions::Error;
use crate::actions::climate::{measure, strike_measurements};
use crate::db::climate::{self as rows, Kept};
use crate::db::stock::{self, Place};
use crate::db::{AnyConn, Failure};
use crate::domain::climate::{DayThere, Lasting, Trouble, measured_by, troubles};
use crate::domain::members::{Cellarhand, Doer, Onlooker, Role};
use crate::domain::refusal::Refusal;
use crate::units::days::{self, Day};
use crate::units::ids::PlaceId;

pub mod read;

/// How far back the picture goes, in days.
const YEAR: i64 = 366;
/// Readings that are listed, to be struck out.
const LISTED: i64 = 12;
/// Days in the table.
const TABLE: usize = 62;

#[derive(Template)]
#[template(path = "climate/place.html")]
struct PlacePage {
    frame: Frame,
    href: String,
    name: String,
    lead: String,
    measured_by: Option<(String, String)>,
    troubles: Vec<String>,
    picture: String,
    facts: Vec<(&'static str, String, &'static str)>,
    days: Vec<DayRow>,
    rows: Vec<ReadRow>,
    form: Option<FormView>,
    strike: Option<FormView>,
}

struct DayRow {
    day: String,
    lowest: String,
    mean: String,
    highest: String,
    humidity: String,
    worth: String,
    readings: i64,
}

struct ReadRow {
    when: String,
    value: String,
    by: String,
    struck: String,
}

/// What is known of the climate of a place.
struct Seen {
    place: Place,
    /// The place whose readings count there.
    of: Option<Place>,
    days: Vec<DayThere>,
    latest: Vec<Kept>,
}

fn seen(conn: &mut AnyConn, doer: &Doer, id: PlaceId) -> Result<Option<Seen>, Failure> {
    let places = stock::places(conn, doer.club)?;
    let Some(place) = places.iter().find(|place| place.id == id).cloned() else { return Ok(None) };
    let by = measured_by(&places, &rows::measured(conn, doer.club)?);
    let of = by.get(&id).and_then(|by| places.iter().find(|place| place.id == *by)).cloned();
    let today = doer.today();
    let days = match &of {
        Some(of) => rows::days(conn, doer.club, of.id, today - chrono::Duration::days(YEAR), today)?,
        None => Vec::new(),
    };
    Ok(Some(Seen { place, of, days, latest: rows::latest(conn, doer.club, id, LISTED)? }))
}

/// Shows it.
pub async fn show(who: Onlooker, site: Site, path: Path<PlaceId>) -> Reply {
    respond::page(&page(&site, &who, path.0, |view| view, |view| view).await?)
}

async fn page(
    site: &Site,
    who: &Doer,
    id: PlaceId,
    hand: impl FnOnce(FormView) -> FormView,
    strike: impl FnOnce(FormView) -> FormView,
) -> Result<PlacePage, Problem> {
    let (facts, found) = site.read(who, move |conn, doer| seen(conn, doer, id)).await?;
    let found = found.ok_or_else(|| Problem::missing("place"))?;
    let href = site.at(&format!("/stores/places/{id}/climate"));
    let may_record = who.role >= Role::Cellarhand;
    let today = who.today();
    Ok(PlacePage {
        lead: lead(&found, today),
        measured_by: found
            .of
            .as_ref()
            .filter(|of| of.id != id)
            .map(|of| (site.at(&format!("/stores/places/{}/climate", of.id)), of.name.clone())),
        troubles: troubles(&found.days, today)
            .iter()
            .map(|one| trouble(one, &found.place.name, today))
            .collect(),
        picture: picture(&found),
        facts: figures(&found.days),
        days: found.days.iter().rev().take(TABLE).map(|day| day_row(day, today)).collect(),
        rows: found.latest.iter().map(|kept| read_row(kept, who)).collect(),
        form: may_record.then(|| hand(by_hand(site, who, id))),
        strike: Some(strike(striking(site, who, id)))
            .filter(|view| may_record && (!found.latest.is_empty() || !view.problems.is_empty())),
        frame: site.frame(who, Room::Stores, &format!("Climate of {}", found.place.name), facts),
        name: found.place.name,
        href,
    })
}

fn lead(found: &Seen, today: Day) -> String {
    let Some(last) = found.days.last() else {
        return "Nothing was read here in a year.".to_owned();
    };
    let damp = last.humidity.map(|percent| format!(" and {percent:.0} % humidity")).unwrap_or_default();
    format!("{:.1} °C{damp} on {}, the last day that was read.", last.mean_c, days::short(last.day, today))
}

/// What lasts, in words.
pub(super) fn trouble(one: &Lasting, place: &str, today: Day) -> String {
    let since = days::short(one.since, today);
    let figure = one.worst_c;
    match one.trouble {
        Trouble::Warm => format!("Too warm for bottles at {place}: {figure:.1} °C, since {since}"),
        Trouble::Frost => format!("Frost at {place}: {figure:.1} °C, since {since}"),
        Trouble::Swing => format!("{figure:.1} °C between night and day at {place}, since {since}"),
    }
}

fn picture(found: &Seen) -> String {
    let (Some(first), Some(last)) = (found.days.first(), found.days.last()) else { return String::new() };
    #[allow(clippy::cast_precision_loss, reason = "days of a year")]
    let at = |day: &DayThere| (day.day - first.day).num_days() as f64;
    let points: Vec<(f64, f64)> = found.days.iter().map(|day| (at(day), day.mean_c)).collect();
    let damp: Vec<(f64, f64)> = found.days.iter().filter_map(|day| Some((at(day), day.humidity?))).collect();
    let last_damp = damp.last().map(|last| format!("{:.0} %", last.1)).unwrap_or_default();
    let (begin, name) = (first.day, found.of.as_ref().map_or("this place", |of| of.name.as_str()));
    let (coldest, warmest) = ends(&found.days);
    curve(&Curve {
        id: "climate",
        title: &format!("Temperature of {name}, day by day"),
        caption: &format!(
            "{name} was between {coldest:.1} and {warmest:.1} °C; the line is the mean of each day."
        ),
        points: &points,
        unit: "°C",
        decimals: 1,
        last: &format!("{:.1} °C", last.mean_c),
        day_text: &|day| (begin + chrono::Duration::days(i64::from(day))).format("%-d %b").to_string(),
        marks: &[],
        ahead: None,
        lane: (!damp.is_empty()).then(|| Lane { points: &damp, unit: "% humidity", last: &last_damp }),
    })
}

fn ends(of: &[DayThere]) -> (f64, f64) {
    let lowest = of.iter().map(|day| day.lowest_c).fold(f64::INFINITY, f64::min);
    (lowest, of.iter().map(|day| day.highest_c).fold(f64::NEG_INFINITY, f64::max))
}

#[allow(clippy::cast_precision_loss, reason = "days of a year")]
fn figures(of: &[DayThere]) -> Vec<(&'static str, String, &'static str)> {
    if of.is_empty() {
        return Vec::new();
    }
    let mean = |value: fn(&DayThere) -> f64| of.iter().map(value).sum::<f64>() / of.len() as f64;
    let (lowest, highest) = ends(of);
    vec![
        ("Mean of the days that were read", format!("{:.1}", mean(|day| day.mean_c)), "°C"),
        ("Lowest", format!("{lowest:.1}"), "°C"),
        ("Highest", format!("{highest:.1}"), "°C"),
        ("A day here counts for", format!("about {:.2}", mean(|day| day.worth)), "days at 15 °C"),
        ("Days that were read", of.len().to_string(), "in a year"),
    ]
}

fn day_row(day: &DayThere, today: Day) -> DayRow {
    DayRow {
        day: days::short(day.day, today),
        lowest: format!("{:.1}", day.lowest_c),
        mean: format!("{:.1}", day.mean_c),
        highest: format!("{:.1}", day.highest_c),
        humidity: day.humidity.map_or_else(|| "–".to_owned(), |percent| format!("{percent:.0}")),
        worth: format!("{:.2}", day.worth),
        readings: day.readings,
    }
}

fn read_row(kept: &Kept, doer: &Doer) -> ReadRow {
    let damp = kept.humidity.map(|percent| format!(", {:.0} %", percent.number())).unwrap_or_default();
    let by =
        if kept.source.is_empty() { kept.by.clone() } else { format!("{}, by {}", kept.source, kept.by) };
    ReadRow {
        when: words::when(kept.at, doer),
        value: format!("{:.1} °C{damp}", kept.temperature.number()),
        by,
        struck: kept.struck_because.clone(),
    }
}

fn by_hand(site: &Site, doer: &Doer, id: PlaceId) -> FormView {
    site.form(&format!("/stores/places/{id}/climate"), "", "Record it").fields([
        Field::decimal("temperature", "Temperature of the air").after("°C"),
        Field::decimal("humidity", "Humidity, if it was read").after("%"),
        Field::text("at", "When")
            .hint(format!("Now, if left empty; or such as {}.", words::when(doer.now, doer))),
    ])
}

fn striking(site: &Site, doer: &Doer, id: PlaceId) -> FormView {
    let such = words::when(doer.now, doer);
    site.form(&format!("/stores/places/{id}/climate/strike"), "", "Strike them out").fields([
        Field::text("from", "From").hint(format!("Such as {such}.")),
        Field::text("until", "Up to").hint("The same time for a single reading."),
        Field::text("reason", "What was wrong with them"),
    ])
}

/// Records what was read by hand.
pub async fn record(hand: Cellarhand, site: Site, path: Path<PlaceId>, sent: Form) -> Reply {
    let id = path.0;
    let done = async {
        let order = read::by_hand(&sent.draft, &hand, id)?;
        measure(&site.db, &hand, sent.key.clone(), order).await
    };
    match done.await {
        Ok(_) => Ok(site.see_other(&format!("/stores/places/{id}/climate"))),
        Err(error) => {
            let refusal = Problem::or_refusal(error)?;
            let page = page(&site, &hand, id, |view| sent.back(view, &refusal), |view| view).await?;
            respond::refused(&page, &refusal)
        }
    }
}

/// Strikes out what was read from one time to another.
pub async fn strike(hand: Cellarhand, site: Site, path: Path<PlaceId>, sent: Form) -> Reply {
    let id = path.0;
    let done = async {
        let order = read::strike(&sent.draft, &hand, id)?;
        strike_measurements(&site.db, &hand, sent.key.clone(), order).await
    };
    match done.await {
        Ok(_) => Ok(site.see_other(&format!("/stores/places/{id}/climate"))),
        Err(error) => {
            let refusal = Problem::or_refusal(error)?;
            let page = page(&site, &hand, id, |view| view, |view| sent.back(view, &refusal)).await?;
            respond::refused(&page, &refusal)
        }
    }
}

async fn named(
    site: &Site,
    doer: &Doer,
    id: PlaceId,
) -> Result<(crate::db::reminders::Facts, Place), Problem> {
    let read = site.read(doer, move |conn, doer| match stock::place(conn, doer.club, id) {
        Err(Failure::Gone) => Ok(None),
        found => found.map(Some),
    });
    let (facts, place) = read.await?;
    Ok((facts, place.ok_or_else(|| Problem::missing("place"))?))
}

fn file_view(site: &Site, place: &Place) -> FormView {
    site.form(&format!("/stores/places/{}/climate/file", place.id), "Bring in a logger’s file", "Look at it")
        .intro(format!(
            "What it measured at {}. Nothing is kept before you have seen what was understood.",
            place.name
        ))
        .fields([
            Field::file("file", "The file that the logger wrote")
                .hint("CSV or text: a time and a temperature in each row, humidity if it has one."),
            Field::area("rows", "Or its rows").hint("Pasted from the file, with the row of names."),
            super::batches::loggers::date_order(),
            super::batches::loggers::temperature_in(),
        ])
        .leave(site.at(&format!("/stores/places/{}/climate", place.id)))
}

fn file_page(
    site: &Site,
    doer: &Doer,
    facts: crate::db::reminders::Facts,
    place: &Place,
    view: FormView,
) -> FormPage {
    let up = (site.at(&format!("/stores/places/{}/climate", place.id)), format!("Climate of {}", place.name));
    FormPage::new(site.frame(doer, Room::Stores, "Bring in a logger’s file", facts), Some(up), view)
}

/// Shows the form that takes a file.
pub async fn file_form(hand: Cellarhand, site: Site, path: Path<PlaceId>) -> Reply {
    let (facts, place) = named(&site, &hand, path.0).await?;
    respond::page(&file_page(&site, &hand, facts, &place, file_view(&site, &place)))
}

/// Looks at a file, or keeps its good rows once it has been looked at.
pub async fn file(hand: Cellarhand, site: Site, path: Path<PlaceId>, sent: Upload) -> Reply {
    let (sent, id) = (sent.0, path.0);
    let (facts, place) = named(&site, &hand, id).await?;
    let done = async {
        let asked = read::file(&sent.draft, &hand)?;
        if asked.keep {
            let brought = measure(&site.db, &hand, sent.key.clone(), asked.order(id)).await?;
            if brought.kept == 0 {
                let words = "All that this file holds was read there already; choose another file";
                return Err(Error::from(Refusal::conflict("rows", words)));
            }
            return Ok(None);
        }
        Ok(Some(asked))
    };
    match done.await {
        Ok(None) => Ok(site.see_other(&format!("/stores/places/{id}/climate"))),
        Ok(Some(asked)) => {
            respond::page(&file_page(&site, &hand, facts, &place, look(&site, &hand, &place, &asked)))
        }
        Err(error) => {
            let refusal = Problem::or_refusal(error)?;
            let view = sent.back(file_view(&site, &place), &refusal);
            respond::refused(&file_page(&site, &hand, facts, &place, view), &refusal)
        }
    }
}

/// What was understood of a file, with the button that keeps it.
fn look(site: &Site, doer: &Doer, place: &Place, asked: &read::File) -> FormView {
    let count = |count: usize| words::count(i64::try_from(count).unwrap_or(i64::MAX), "reading", "readings");
    let ends = asked.samples.first().zip(asked.samples.last());
    let lead = ends.map_or_else(
        || "No row of it holds a temperature.".to_owned(),
        |(first, last)| {
            let (from, until) = (words::when(first.at, doer), words::when(last.at, doer));
            format!("{} at {} from {from} to {until}.", count(asked.samples.len()), place.name)
        },
    );
    let mut read = asked.read_as.clone();
    read.push("Times that were read there before are not kept again.".to_owned());
    let mut view = site
        .form(&format!("/stores/places/{}/climate/file", place.id), "What the file holds", "Keep them")
        .intro(lead)
        .fields(asked.hidden())
        .caution(Caution::new("How it was read", read))
        .leave(site.at(&format!("/stores/places/{}/climate/file", place.id)));
    if !asked.bad.is_empty() {
        let row = |bad: &crate::domain::batches::loggers::Bad| {
            format!("Line {}: {} ({})", bad.line, bad.why, bad.text)
        };
        let heading = format!(
            "{} cannot be read, and are left out",
            words::count(i64::try_from(asked.bad_in_all).unwrap_or(i64::MAX), "row", "rows",)
        );
        view = view.caution(Caution::new(heading, asked.bad.iter().take(50).map(row)));
    }
    view
}
