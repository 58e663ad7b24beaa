//! The books: what was written into them, the latest first, and as a file line by line, however long they are. Payments
//! are told to stewards only: they are between them and a member.

use askama::Template;
use chrono::Datelike;

use super::asked::{Asked, ReportQuery};
use crate::db::books::{self, LedgerLine, Told, Which};
use crate::db::reports::first_day;
use crate::domain::members::{Onlooker, Role};
use crate::units::days;
use crate::units::ids::EntryId;
use crate::units::quantity::BaseUnit;
use crate::web::entries::trail_of;
use crate::web::extract::{Paging, Query};
use crate::web::frame::Frame;
use crate::web::problem::Problem;
use crate::web::respond::{self, Reply};
use crate::web::site::{Room, Site};
use crate::web::spreadsheet::{self, Cell};
use crate::web::trail::Trail;

#[derive(Template)]
#[template(path = "reports/books.html")]
struct BooksPage {
    frame: Frame,
    trail: Trail,
    all: bool,
    /// Address and name of the file of each year, and of all.
    files: Vec<(String, String)>,
}

/// Shows what was written, the latest first.
pub async fn show(who: Onlooker, site: Site, paging: Paging<EntryId>) -> Reply {
    let all = who.role >= Role::Steward;
    let which = if all { Which::All } else { Which::Common };
    let (before, limit, today) = (paging.after, paging.rows(), who.today());
    let read = site.read(&who, move |conn, doer| {
        let told = books::tell(conn, doer.club, which, before, limit)?;
        Ok((told, first_day(conn, doer.club)?.unwrap_or(today)))
    });
    let (facts, (told, first)) = read.await?;
    let part = paging.page(told, |told: &Told| told.id, |told| told);
    let more = part.next.map(|next| site.at(&format!("/reports/books?after={next}")));
    let file = |year: String| (site.at(&format!("/reports/books.csv?year={year}")), year);
    let years = (first.year()..=today.year()).rev().map(|year| year.to_string());
    let page = BooksPage {
        trail: trail_of(&site, &who, &part.items, more),
        files: years.chain(["all".to_owned()]).map(file).collect(),
        all,
        frame: site.frame(&who, Room::Reports, "The books", facts),
    };
    respond::page(&page)
}

const HEADER: &[&str] = &[
    "entry",
    "kind",
    "number",
    "day",
    "recorded_at",
    "recorded_by",
    "reverses",
    "line",
    "account",
    "lot",
    "item",
    "place",
    "batch",
    "member",
    "quantity",
    "unit",
    "cost",
    "currency",
    "remark",
];

/// Every posting of a year or of all, in the order in which they were written.
pub async fn file(who: Onlooker, site: Site, query: Query<ReportQuery>) -> Reply {
    let asked = Asked::read(&query.draft, &who)?;
    let leaving =
        spreadsheet::leaving(&site, &who, &format!("exported the books, {}", asked.in_name())).await?;
    let (db, club, currency, span) = (site.db.clone(), who.club, who.currency.clone(), asked.span);
    let payments = who.role >= Role::Steward;
    let part = move |after| {
        let (db, currency) = (db.clone(), currency.clone());
        async move {
            let (lines, next) = db.read(move |conn| books::ledger(conn, club, span, payments, after)).await?;
            Ok::<_, Problem>((lines.into_iter().map(|line| cells(line, &currency)).collect(), next))
        }
    };
    spreadsheet::sent(leaving, format!("books-{}.csv", asked.in_name()), HEADER, part).await
}

fn cells(line: LedgerLine, currency: &str) -> Vec<Cell> {
    let (lot, item, unit) = line.lot;
    // Money alone has no quantity; drink in bulk is in millilitres.
    let unit = unit.map(BaseUnit::sign).or(line.batch.as_ref().map(|_| "mL"));
    vec![
        Cell::ours(line.entry.to_string()),
        Cell::ours(line.kind.code()),
        Cell::ours(line.code.unwrap_or_default()),
        Cell::ours(days::iso(line.day)),
        Cell::ours(line.recorded_at.and_utc().to_rfc3339_opts(chrono::SecondsFormat::Secs, true)),
        Cell::typed(line.by),
        Cell::ours(line.reverses.map(|id| id.to_string()).unwrap_or_default()),
        Cell::ours(line.line.to_string()),
        Cell::ours(line.account),
        Cell::ours(lot.unwrap_or_default()),
        Cell::typed(item.unwrap_or_default()),
        Cell::typed(line.place.unwrap_or_default()),
        Cell::ours(line.batch.unwrap_or_default()),
        Cell::typed(line.member.unwrap_or_default()),
        Cell::ours(unit.map(|_| line.quantity.plain()).unwrap_or_default()),
        Cell::ours(unit.unwrap_or_default()),
        Cell::ours(line.cost.plain()),
        Cell::ours(currency),
        Cell::typed(line.remark),
    ]
}
