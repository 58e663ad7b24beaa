//! Reports as files: CSV, which is sent year by year where all years are asked for, so that no more than two years are
//! in memory; PDF; and the binder, all reports of a year in one.

use chrono::Datelike;

use super::asked::{Asked, ReportQuery};
use super::report::{Report, Table, Value};
use super::{Choose, KINDS, Kind};
use crate::db::Failure;
use crate::domain::members::{Doer, Onlooker};
use crate::units::days;
use crate::web::extract::Query;
use crate::web::paper::{self, Grid, GridRow, Paper};
use crate::web::problem::Problem;
use crate::web::respond::Reply;
use crate::web::site::Site;
use crate::web::spreadsheet::{self, leaving};

/// What the audit log is told.
fn told(kind: &Kind, asked: &Asked) -> String {
    format!("exported the {}, {}", kind.slug, asked.in_name())
}

/// The table of a report that is its file, for a spreadsheet.
pub async fn csv(kind: &'static Kind, who: Doer, site: Site, query: Query<ReportQuery>) -> Reply {
    let asked = Asked::read(&query.draft, &who)?;
    let doer = who.clone();
    let asked = site.db.read(move |conn| asked.within_books(conn, &doer)).await?;
    let leaving = leaving(&site, &who, &told(kind, &asked)).await?;
    let name = format!("{}-{}.csv", kind.slug, asked.in_name());
    let split = kind.events && asked.year.is_none();
    let first = if split { asked.span.first.year() } else { 0 };
    let (db, today, last) = (site.db.clone(), who.today(), asked.span.last.year());
    let table = move |year: i32| {
        let (db, doer) = (db.clone(), who.clone());
        let asked = if split {
            Asked { drink: asked.drink.clone(), ..Asked::of_year(Some(year), today) }
        } else {
            asked.clone()
        };
        async move {
            let report = db.read(move |conn| (kind.work_out)(conn, &doer, &asked)).await?;
            Ok::<Table, Problem>(report.file().cloned().unwrap_or_default())
        }
    };
    // The first year says what stands over the columns.
    let begin = table(first).await?;
    let header = begin.header();
    let mut begin = Some(begin);
    let part = move |after: Option<i32>| {
        let year = after.unwrap_or(first);
        let (known, later) = (begin.take(), table(year));
        async move {
            let table = match known {
                Some(table) => table,
                None => later.await?,
            };
            let lines = table.lines().map(|line| line.into_iter().map(Value::cell).collect()).collect();
            Ok((lines, (split && year < last).then_some(year + 1)))
        }
    };
    spreadsheet::sent(leaving, name, header, part).await
}

/// A report on paper.
pub async fn pdf(kind: &'static Kind, who: Doer, site: Site, query: Query<ReportQuery>) -> Reply {
    let asked = Asked::read(&query.draft, &who)?;
    let doer = who.clone();
    let read = site.db.read(move |conn| {
        let asked = asked.within_books(conn, &doer)?;
        Ok::<_, Failure>(((kind.work_out)(conn, &doer, &asked)?, asked))
    });
    let (report, asked) = read.await?;
    let leaving = leaving(&site, &who, &told(kind, &asked)).await?;
    let mut paper = Paper::new(kind.title, foot(&who))?;
    write(&mut paper, kind, &report, &asked, &who);
    paper::file(&leaving, &format!("{}-{}.pdf", kind.slug, asked.in_name()), paper)
}

/// All reports of a year in one document. What members paid and took stands in it as far as the doer may see it.
pub async fn binder(who: Onlooker, site: Site, query: Query<ReportQuery>) -> Reply {
    let today = who.today();
    let asked = Asked::read(&query.draft, &who)?;
    let year = asked.year.unwrap_or(today.year());
    let asked = Asked::of_year(Some(year), today);
    let (doer, of) = (Doer::clone(&who), asked.clone());
    let read = site.db.read(move |conn| {
        KINDS.iter().map(|kind| (kind.work_out)(conn, &doer, &of)).collect::<Result<Vec<Report>, Failure>>()
    });
    let reports = read.await?;
    let leaving = leaving(&site, &who, &format!("exported the binder of {year}")).await?;
    let mut paper = Paper::new(&format!("{}, {year}", who.club_name), foot(&who))?;
    paper.part(&format!("{}, {year}", who.club_name));
    paper.say(&format!("The reports of {year}, up to {}.", days::long(asked.span.last)));
    for (kind, report) in KINDS.iter().zip(&reports) {
        paper.heading(kind.title);
        paper.say(&report.lead);
    }
    for (kind, report) in KINDS.iter().zip(&reports) {
        write(&mut paper, kind, report, &asked, &who);
    }
    paper::file(&leaving, &format!("binder-{year}.pdf"), paper)
}

/// At the foot of every page.
fn foot(doer: &Doer) -> String {
    format!("{}, {}, made by {}", doer.club_name, days::long(doer.today()), doer.name)
}

fn write(paper: &mut Paper, kind: &Kind, report: &Report, asked: &Asked, doer: &Doer) {
    let period = if kind.choose == Choose::Day { days::long(asked.on) } else { asked.period() };
    let drink = asked.drink.as_ref().filter(|_| kind.choose == Choose::Drink);
    let drink = drink.map(|drink| format!(", {drink}")).unwrap_or_default();
    paper.part(&format!("{}, {period}{drink}", kind.title));
    paper.say(&report.lead);
    if let Some(caution) = &report.caution {
        paper.caution(&caution.title, &caution.points);
    }
    paper.bars(&report.picture);
    for table in &report.tables {
        paper.heading(table.name);
        if table.rows.is_empty() {
            paper.say(table.none);
            continue;
        }
        paper.whisper(&table.caption);
        paper.grid(&grid(table, doer));
    }
    for note in &report.notes {
        paper.whisper(note);
    }
}

fn grid(table: &Table, doer: &Doer) -> Grid {
    let figure = |side: super::Side| side == super::Side::Figures;
    let row = |row: &super::report::Row| GridRow {
        cells: (table.seen()).filter_map(|(at, _)| Some(row.cells.get(at)?.shown(doer.today()))).collect(),
        sum: row.sum,
    };
    Grid {
        heads: table.seen().map(|(_, column)| (column.head.clone(), figure(column.side))).collect(),
        rows: table.rows.iter().map(row).collect(),
    }
}
