//! A count on paper, and as a file: sheets to be filled in by hand, and what it found.

use askama::Template;

use super::{find, missing};
use crate::db::counts as rows;
use crate::domain::counts::{Finding, Line};
use crate::domain::members::{Doer, Onlooker};
use crate::units::ids::CountId;
use crate::units::quantity::BaseUnit;
use crate::web::api::entries::instant;
use crate::web::extract::Path;
use crate::web::frame::Frame;
use crate::web::respond::{self, Reply};
use crate::web::site::{Room, Site};
use crate::web::spreadsheet::{self, Cell};

#[derive(Template)]
#[template(path = "counts/sheet.html")]
struct SheetPage {
    frame: Frame,
    href: String,
    code: String,
    title: String,
    places: Vec<(String, Vec<SheetRow>)>,
}

struct SheetRow {
    name: String,
    code: String,
    unit: &'static str,
}

/// Sheets on paper, a part for each place in the order in which one walks.
pub async fn sheet(who: Onlooker, site: Site, path: Path<CountId>) -> Reply {
    let id = path.0;
    let read = site.read(&who, move |conn, doer| {
        Ok((rows::count(conn, doer.club, id)?, rows::lines(conn, doer.club, id, None)?))
    });
    let (facts, (count, lines)) = read.await.map_err(missing)?;
    let row = |line: &Line| SheetRow {
        name: line.name().to_owned(),
        code: line.code().to_owned(),
        unit: match line.unit {
            BaseUnit::Piece => "",
            BaseUnit::Gram => "kg",
            BaseUnit::Millilitre => "L",
        },
    };
    let page = SheetPage {
        href: site.at(&format!("/counts/{id}")),
        code: count.code.clone(),
        title: count.title.clone(),
        places: lines
            .chunk_by(|one, next| one.place.0 == next.place.0)
            .map(|lines| (lines[0].place.1.clone(), lines.iter().map(row).collect()))
            .collect(),
        frame: site.frame(&who, Room::Counts, &format!("Sheets of {}", count.code), facts),
    };
    respond::page(&page)
}

const HEADER: &[&str] = &[
    "line",
    "place",
    "item",
    "code",
    "unit",
    "state",
    "counted",
    "counted_by",
    "counted_at",
    "book",
    "difference",
    "worth",
    "currency",
    "reason",
    "words",
    "entry",
    "taken_back",
];

/// What was counted, and against what, as far as this member may see it.
pub async fn file(who: Onlooker, site: Site, path: Path<CountId>) -> Reply {
    let id = path.0;
    let (_, seen) = site.read(&who, move |conn, doer| find(conn, doer, id)).await.map_err(missing)?;
    let name = format!("count-{}.csv", seen.count.code.to_lowercase());
    let leaving = spreadsheet::leaving(&site, &who, &format!("exported count {}", seen.count.code)).await?;
    let rows = seen.lines.iter().map(|line| cells(line, &who, seen.shows)).collect::<Vec<_>>();
    spreadsheet::csv(&leaving, &name, HEADER, rows)
}

fn cells(line: &Line, doer: &Doer, shows: bool) -> Vec<Cell> {
    let (against, worth) = match (&line.settled, line.finding(doer.zone)) {
        (Some(settled), _) => (settled.against, settled.worth),
        (None, Finding::Known { counted, book, .. }) if shows => (Some((counted, book)), None),
        _ => (None, None),
    };
    let against = against.filter(|_| shows);
    let standing = line.standing();
    let last = standing.iter().max_by_key(|tally| tally.counted_at);
    // Somebody else's figure would tell who counts after them what to find.
    let own = standing.iter().find(|tally| tally.member.0 == doer.member);
    let told = if shows {
        against.map(|one| one.0).or(last.map(|tally| tally.counted))
    } else {
        own.map(|one| one.counted)
    };
    let names: Vec<&str> = standing.iter().map(|tally| tally.member.1.as_str()).collect();
    let at = last.map(|tally| instant(tally.counted_at));
    let entry = line.settled.as_ref().and_then(|settled| settled.entry).filter(|_| shows);
    let hidden = |text: String| if shows { text } else { String::new() };
    vec![
        Cell::ours(line.number.to_string()),
        Cell::typed(line.place.1.clone()),
        Cell::typed(line.name()),
        Cell::ours(line.code()),
        Cell::ours(line.unit.sign()),
        Cell::ours(line.settled.as_ref().map_or(line.progress().code(), |settled| settled.ending.code())),
        Cell::ours(told.map(crate::units::quantity::Milli::plain).unwrap_or_default()),
        Cell::typed(names.join(", ")),
        Cell::ours(at.unwrap_or_default()),
        Cell::ours(against.map(|one| one.1.plain()).unwrap_or_default()),
        Cell::ours(against.map(|one| (one.0 - one.1).plain()).unwrap_or_default()),
        Cell::ours(worth.filter(|_| shows).map(crate::units::money::Money::plain).unwrap_or_default()),
        Cell::ours(doer.currency.clone()),
        Cell::ours(hidden(line.reason.map(|reason| reason.code().to_owned()).unwrap_or_default())),
        Cell::typed(hidden(line.words.clone())),
        Cell::ours(entry.map(|entry| entry.0.to_string()).unwrap_or_default()),
        Cell::ours(entry.map(|entry| if entry.1 { "yes" } else { "no" }).unwrap_or_default()),
    ]
}
