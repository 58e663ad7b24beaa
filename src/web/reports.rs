//! Reports: what it all adds up to. Each is one value (`report.rs`) that is shown as a page, taken as a file for
//! spreadsheets or on paper, and given by the API; all of a year together are its binder. What a report says is decided
//! in the file of its name.

use askama::Template;
use chrono::Datelike;

mod asked;
pub mod books;
mod costs;
pub mod limit;
mod losses;
pub mod member;
mod members;
mod production;
mod report;
pub mod settling;
mod show;
mod stock;
mod take;
mod tastings;
mod waste;
mod yields;

pub use asked::{Asked, ReportQuery};
pub use report::{Report, Side, Table, Value};
pub use show::page;
pub use take::{binder, csv, pdf};

use super::extract::Query;
use super::frame::Frame;
use super::respond::{self, Reply};
use super::site::{Room, Site};
use super::words;
use crate::db::reports::{self as rows, Value as Worth};
use crate::db::{AnyConn, Failure};
use crate::domain::members::{Doer, Onlooker};
use crate::units::days::{self, Day};
use crate::units::money::Money;

/// One of the reports.
pub struct Kind {
    /// In addresses and names of files.
    pub slug: &'static str,
    /// Its name.
    pub title: &'static str,
    /// What it answers, in a sentence.
    pub answers: &'static str,
    /// What can be chosen besides the year.
    pub choose: Choose,
    /// Its file has something that happened in each row, so that all years are sent year by year.
    pub events: bool,
    /// Works it out.
    pub work_out: fn(&mut AnyConn, &Doer, &Asked) -> Result<Report, Failure>,
}

/// What can be chosen besides the year.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Choose {
    /// Nothing.
    Nothing,
    /// A drink.
    Drink,
    /// A day, instead of the year.
    Day,
    /// Nothing, not even the year: it is of today.
    Today,
}

/// Only oneself and the stewards see what a member paid and took.
pub const MEMBERS: &str = "members";

/// All of them, in the order of the binder.
pub const KINDS: [Kind; 11] = [
    Kind {
        slug: "yields",
        title: "Yields",
        answers: "What was got out of what was put in, by batch, drink and year.",
        choose: Choose::Drink,
        events: true,
        work_out: yields::report,
    },
    Kind {
        slug: "costs",
        title: "Cost a bottle",
        answers: "What a bottle cost, of what that is made, and how it moved.",
        choose: Choose::Drink,
        events: true,
        work_out: costs::report,
    },
    Kind {
        slug: "stock",
        title: "Stock and its worth",
        answers: "What was in the cellar on a day, and what it was worth.",
        choose: Choose::Day,
        events: false,
        work_out: stock::on_day,
    },
    Kind {
        slug: "by-products",
        title: "By-products",
        answers: "What came off the way, what it was worth and what became of it.",
        choose: Choose::Nothing,
        events: false,
        work_out: stock::by_products,
    },
    Kind {
        slug: "losses",
        title: "Losses",
        answers: "What was lost, why, and the cost that went with it.",
        choose: Choose::Nothing,
        events: true,
        work_out: losses::report,
    },
    Kind {
        slug: MEMBERS,
        title: "Members",
        answers: "What was paid, paid in and taken home; everyone for a steward, oneself for others.",
        choose: Choose::Nothing,
        events: false,
        work_out: members::report,
    },
    Kind {
        slug: "settling-up",
        title: "Settling up",
        answers: "Who pays whom so that all are even, with the fewest payments.",
        choose: Choose::Today,
        events: false,
        work_out: settling::report,
    },
    Kind {
        slug: "tastings",
        title: "Tastings",
        answers: "What was poured, how old it was, and how it was marked.",
        choose: Choose::Drink,
        events: true,
        work_out: tastings::report,
    },
    Kind {
        slug: "supplies",
        title: "Supplies used and needed",
        answers: "What came, was used and is left, and what plans still want.",
        choose: Choose::Nothing,
        events: false,
        work_out: stock::supplies,
    },
    Kind {
        slug: "past-its-day",
        title: "Past its day",
        answers: "What was thrown away past its day, and what will pass it before it is used.",
        choose: Choose::Nothing,
        events: false,
        work_out: waste::report,
    },
    Kind {
        slug: "production",
        title: "Production of the year",
        answers: "What was made in a calendar year against the limit that the club entered.",
        choose: Choose::Nothing,
        events: false,
        work_out: production::report,
    },
];

/// On which past day.
#[derive(serde::Deserialize, utoipa::ToSchema)]
pub struct ReportsQuery {
    /// The day with which today is compared.
    pub on: Option<String>,
}

#[derive(Template)]
#[template(path = "reports/reports.html")]
struct ReportsPage {
    frame: Frame,
    total: String,
    lead: String,
    /// The day that was chosen, as typed, and what is wrong with it.
    on: String,
    wrong: Option<String>,
    past: String,
    values: Vec<ValueRow>,
    currency: String,
    stock_file: String,
    /// Address, name, what it answers.
    kinds: Vec<(String, &'static str, &'static str)>,
    /// The years whose binder can be taken: address and year.
    binders: Vec<(String, i32)>,
    /// The member's own statement.
    own: String,
}

struct ValueRow {
    kind: &'static str,
    href: Option<String>,
    now: String,
    past: String,
    change: String,
    sum: bool,
}

struct Found {
    now: Worth,
    since: Worth,
}

/// The last day of the year before: with what a club compares first.
fn year_end(today: Day) -> Day {
    Day::from_ymd_opt(today.year() - 1, 12, 31).unwrap_or(today)
}

/// Shows what the cellar is worth, and which reports there are.
pub async fn show(who: Onlooker, site: Site, query: Query<ReportsQuery>) -> Reply {
    let today = who.today();
    let typed = query.draft.typed("on").unwrap_or_default();
    let chosen = match typed.trim() {
        "" => Ok(year_end(today)),
        text => days::read_past(text, today),
    };
    let wrong = chosen.as_ref().err().map(ToString::to_string);
    let day = chosen.unwrap_or_else(|_| year_end(today));
    let read = site.read(&who, move |conn, doer| {
        let found =
            Found { now: rows::value(conn, doer.club)?, since: rows::value_since(conn, doer.club, day)? };
        Ok((found, rows::first_day(conn, doer.club)?))
    });
    let (facts, (found, first)) = read.await?;
    let said = |amount: Money| words::money(&who.currency, amount);
    let now = found.now.total();
    let past = now - found.since.total();
    let years = first.unwrap_or(today).year()..=today.year();
    let binder = |year: i32| (site.at(&format!("/reports/binder.pdf?year={year}")), year);
    let page = ReportsPage {
        total: said(now),
        lead: format!(
            "The cellar is worth that at cost: {} in stock and {} in batches. At the end of {} it was {}.",
            said(now - found.now.batches),
            said(found.now.batches),
            days::long(day),
            said(past)
        ),
        on: if wrong.is_some() { typed } else { days::long(day) },
        wrong,
        past: days::tiny(day, today),
        values: values(&site, &found, day),
        currency: words::sign(&who.currency).trim().to_owned(),
        stock_file: site.at(&format!("/stores/stock.csv?on={}", days::iso(day))),
        kinds: (KINDS.iter())
            .map(|kind| (site.at(&format!("/reports/{}", kind.slug)), kind.title, kind.answers))
            .collect(),
        binders: years.rev().map(binder).collect(),
        own: site.at(&format!("/reports/members/{}", who.member)),
        frame: site.frame(&who, Room::Reports, "Reports", facts),
    };
    respond::page(&page)
}

fn values(site: &Site, found: &Found, day: Day) -> Vec<ValueRow> {
    let since = &found.since;
    let row = |kind, href: Option<String>, now: Money, since: Money, sum| ValueRow {
        kind,
        href,
        now: words::figure(now),
        past: words::figure(now - since),
        change: words::figure(since),
        sum,
    };
    let mut rows: Vec<ValueRow> = found
        .now
        .stock
        .iter()
        .map(|(kind, now)| {
            let href = site.at(&format!("/stores?kind={}&on={}", kind.code(), days::iso(day)));
            row(kind.heading(), Some(href), *now, since.of(*kind), false)
        })
        .collect();
    rows.push(row("Batches, in bulk", Some(site.at("/batches")), found.now.batches, since.batches, false));
    rows.push(row("All of it", None, found.now.total(), since.total(), true));
    rows
}
