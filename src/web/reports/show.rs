//! A report as a page.

use askama::Template;
use chrono::Datelike;

use super::asked::{Asked, ReportQuery};
use super::report::{Report, Side, Table};
use super::{Choose, Kind};
use crate::db::reports::first_day;
use crate::domain::members::{Onlooker, Role};
use crate::units::days::{self, Day};
use crate::web::extract::Query;
use crate::web::forms::Caution;
use crate::web::frame::Frame;
use crate::web::pictures;
use crate::web::respond::{self, Reply};
use crate::web::site::{Room, Site};

#[derive(Template)]
#[template(path = "reports/report.html")]
struct ReportPage {
    frame: Frame,
    title: &'static str,
    sub: String,
    lead: String,
    /// Where the choice is sent.
    here: String,
    /// The years that can be chosen: value, words, whether it is the one.
    years: Vec<(String, String, bool)>,
    /// The drinks, in the same way; none where there is no choice.
    drinks: Vec<(String, String, bool)>,
    /// The day as it stands in its field.
    on: Option<String>,
    /// What is wrong, and with which field.
    wrong: Option<(String, String)>,
    picture: String,
    caution: Option<Caution>,
    tables: Vec<Sheet>,
    notes: Vec<String>,
    csv: Option<String>,
    pdf: Option<String>,
    binder: Option<(String, i32)>,
    /// Where the limit of the year is entered, for who may.
    limit: Option<String>,
}

struct Sheet {
    name: &'static str,
    caption: String,
    /// Over the columns, and whether they hold figures.
    heads: Vec<(String, bool)>,
    rows: Vec<Line>,
    none: &'static str,
}

struct Line {
    href: Option<String>,
    /// What stands in each column, and whether it is a figure.
    cells: Vec<(String, bool)>,
    sum: bool,
}

fn sheet(site: &Site, table: &Table, today: Day) -> Sheet {
    let figure = |side: Side| side == Side::Figures;
    let line = |row: &super::report::Row| Line {
        href: row.href.as_ref().map(|href| site.at(href)),
        cells: (table.seen())
            .filter_map(|(at, column)| Some((row.cells.get(at)?.shown(today), figure(column.side))))
            .collect(),
        sum: row.sum,
    };
    Sheet {
        name: table.name,
        caption: table.caption.clone(),
        heads: table.seen().map(|(_, column)| (column.head.clone(), figure(column.side))).collect(),
        rows: table.rows.iter().map(line).collect(),
        none: table.none,
    }
}

/// Shows a report. What cannot be read in the address is said, and this year is shown.
pub async fn page(kind: &'static Kind, who: Onlooker, site: Site, query: Query<ReportQuery>) -> Reply {
    let today = who.today();
    let (asked, wrong) = match Asked::read(&query.draft, &who) {
        Ok(asked) => (asked, None),
        Err(refusal) => {
            let fault = refusal.faults.into_iter().next();
            let wrong = fault.map(|fault| (fault.field, fault.message));
            (Asked::of_year(Some(today.year()), today), wrong)
        }
    };
    let read = site.read(&who, move |conn, doer| {
        let asked = asked.within_books(conn, doer)?;
        let report = (kind.work_out)(conn, doer, &asked)?;
        Ok((report, asked, first_day(conn, doer.club)?))
    });
    let (facts, (report, asked, first)) = read.await?;
    let Report { lead, caution, picture, tables, notes, drinks, .. } = report;
    let here = site.at(&format!("/reports/{}", kind.slug));
    let of_a_year = !matches!(kind.choose, Choose::Day | Choose::Today);
    let file = |ending: &str| Some(asked.address(&format!("{here}.{ending}")));
    let years = first.unwrap_or(today).year()..=today.year();
    let year = |year: i32| (year.to_string(), year.to_string(), asked.year == Some(year));
    let all = ("all".to_owned(), "All years".to_owned(), asked.year.is_none());
    let typed = |field: &str| query.draft.typed(field).unwrap_or_default();
    let on = match &wrong {
        Some((field, _)) if field == "on" => typed("on"),
        _ => days::long(asked.on),
    };
    let page = ReportPage {
        title: kind.title,
        sub: if of_a_year { asked.period() } else { String::new() },
        lead,
        years: if of_a_year { years.rev().map(year).chain([all]).collect() } else { Vec::new() },
        drinks: if kind.choose == Choose::Drink { choices(drinks, &asked) } else { Vec::new() },
        on: (kind.choose == Choose::Day).then_some(on),
        wrong,
        picture: pictures::bars("picture", &picture),
        caution,
        tables: tables.iter().map(|table| sheet(&site, table, today)).collect(),
        notes,
        csv: file("csv"),
        pdf: file("pdf"),
        binder: asked.year.map(|year| (site.at(&format!("/reports/binder.pdf?year={year}")), year)),
        limit: (kind.slug == "production" && who.role >= Role::Steward)
            .then(|| site.at("/reports/production/limit")),
        here,
        frame: site.frame(&who, Room::Reports, kind.title, facts),
    };
    respond::page(&page)
}

/// The drinks of these days, and the one that was asked for even where it is not among them.
fn choices(mut drinks: Vec<String>, asked: &Asked) -> Vec<(String, String, bool)> {
    drinks.extend(asked.drink.iter().filter(|drink| !drinks.contains(drink)).cloned().collect::<Vec<_>>());
    let one = |drink: String| {
        let chosen = asked.drink.as_ref() == Some(&drink);
        (drink.clone(), drink, chosen)
    };
    let all = (String::new(), "All drinks".to_owned(), asked.drink.is_none());
    [all].into_iter().chain(drinks.into_iter().map(one)).collect()
}
