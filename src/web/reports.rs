//! Reports: what the cellar is worth today and on a past day, how each batch yielded, what each bottling
//! cost a bottle, and what members paid and took, which only they and the stewards see. Each can be taken
//! as a file.

use askama::Template;

mod export;
pub mod member;

pub use export::{costs_file, members_file, yields_file};

use super::extract::{Paging, Query};
use super::frame::Frame;
use super::respond::{self, Reply};
use super::site::{Room, Site};
use super::words;
use crate::db::batches::{self, Batch};
use crate::db::bottles::{self, Bottling};
use crate::db::reports::{self as rows, MemberMoney, Value};
use crate::db::{AnyConn, Failure, costs};
use crate::domain::batches::Stage;
use crate::domain::bottles::cost_per_bottle;
use crate::domain::members::{Doer, Onlooker, Role};
use crate::domain::yields::Recovery;
use crate::units::days::{self, Day};
use crate::units::ids::{BatchId, BottlingId, ClubId, EntryId};
use crate::units::money::Money;

/// Batches and bottlings that the first page shows.
const FEW: i64 = 6;

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
    yields: Vec<YieldRow>,
    bottlings: Vec<CostRow>,
    /// Everyone's for a steward, one's own for anyone else.
    members: Vec<MemberRow>,
    everyone: bool,
}

struct ValueRow {
    kind: &'static str,
    href: Option<String>,
    now: String,
    past: String,
    change: String,
    sum: bool,
}

struct YieldRow {
    href: String,
    drink: String,
    code: String,
    stage: &'static str,
    /// Curd from milk, alcohol from sugar, bottled from must, each in per cent, or nothing.
    percents: [String; 3],
}

struct CostRow {
    href: String,
    drink: String,
    code: String,
    day: String,
    bottles: i64,
    total: String,
    each: String,
}

struct MemberRow {
    href: String,
    name: String,
    paid: String,
    paid_in: String,
    took: String,
    balance: String,
}

struct Found {
    now: Value,
    since: Value,
    yields: Vec<Yields>,
    bottlings: Vec<(Bottling, Money)>,
    members: Vec<MemberMoney>,
}

fn find(conn: &mut AnyConn, doer: &Doer, day: Day) -> Result<Found, Failure> {
    let club = doer.club;
    Ok(Found {
        now: rows::value(conn, club)?,
        since: rows::value_since(conn, club, day)?,
        yields: yields(conn, club, None, FEW)?,
        bottlings: costed(conn, club, None, FEW)?,
        members: rows::seen_by(conn, doer)?,
    })
}

/// The last day of the year before: with what a club compares first.
fn year_end(today: Day) -> Day {
    let year = chrono::Datelike::year(&today) - 1;
    Day::from_ymd_opt(year, 12, 31).unwrap_or(today)
}

/// Shows the reports.
pub async fn show(who: Onlooker, site: Site, query: Query<ReportsQuery>) -> Reply {
    let today = who.today();
    let typed = query.draft.typed("on").unwrap_or_default();
    let chosen = match typed.trim() {
        "" => Ok(year_end(today)),
        text => days::read_past(text, today),
    };
    let wrong = chosen.as_ref().err().map(ToString::to_string);
    let day = chosen.unwrap_or_else(|_| year_end(today));
    let (facts, found) = site.read(&who, move |conn, doer| find(conn, doer, day)).await?;
    let said = |amount: Money| words::money(&who.currency, amount);
    let now = found.now.total();
    let past = now - found.since.total();
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
        yields: found.yields.iter().map(|yields| yield_row(&site, yields)).collect(),
        bottlings: found.bottlings.iter().map(|row| cost_row(&site, &who, row)).collect(),
        members: found.members.iter().map(|money| member_row(&site, money)).collect(),
        everyone: who.role >= Role::Steward,
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

/// A batch and what was got out of it.
struct Yields {
    batch: Batch,
    recoveries: Vec<Recovery>,
}

/// The recoveries of batches into which something was drawn, newest first.
fn yields(
    conn: &mut AnyConn,
    club: ClubId,
    after: Option<BatchId>,
    limit: i64,
) -> Result<Vec<Yields>, Failure> {
    let stages: Vec<Stage> = Stage::ALL.into_iter().filter(|stage| *stage != Stage::Planned).collect();
    batches::batches(conn, club, &stages, after, limit)?
        .into_iter()
        .map(|batch| {
            let recoveries = batches::story(conn, club, batch.id)?.recoveries();
            Ok(Yields { batch, recoveries })
        })
        .collect()
}

/// The recoveries that stand in the columns.
const COLUMNS: [&str; 3] = ["Curd from milk", "Alcohol from sugar", "Bottled from must pitched"];

fn percent(yields: &Yields, name: &str) -> Option<f64> {
    yields.recoveries.iter().find(|recovery| recovery.name == name).map(|recovery| recovery.percent)
}

fn yield_row(site: &Site, yields: &Yields) -> YieldRow {
    YieldRow {
        href: site.at(&format!("/batches/{}/yield", yields.batch.id)),
        drink: yields.batch.name.clone(),
        code: yields.batch.code.clone(),
        stage: yields.batch.stage.label(),
        percents: COLUMNS
            .map(|name| percent(yields, name).map(|percent| format!("{percent:.1}")).unwrap_or_default()),
    }
}

/// Bottlings with what they were booked at, newest first.
fn costed(
    conn: &mut AnyConn,
    club: ClubId,
    after: Option<BottlingId>,
    limit: i64,
) -> Result<Vec<(Bottling, Money)>, Failure> {
    let found = bottles::bottlings(conn, club, false, after, limit)?;
    let entries: Vec<EntryId> = found.iter().map(|bottling| bottling.entry).collect();
    let booked = costs::booked(conn, &entries)?;
    let cost = |bottling: &Bottling| booked.get(&bottling.entry).copied().unwrap_or_default();
    Ok(found
        .into_iter()
        .map(|bottling| (cost(&bottling), bottling))
        .map(|(cost, bottling)| (bottling, cost))
        .collect())
}

fn cost_row(site: &Site, doer: &Doer, (bottling, booked): &(Bottling, Money)) -> CostRow {
    CostRow {
        href: site.at(&format!("/bottles/{}/cost", bottling.id)),
        drink: bottling.name.clone(),
        code: bottling.code.clone(),
        day: days::tiny(bottling.bottled_on, doer.today()),
        bottles: bottling.bottles,
        total: words::figure(*booked),
        each: words::figure(cost_per_bottle(*booked, bottling.bottles)),
    }
}

fn member_row(site: &Site, money: &MemberMoney) -> MemberRow {
    let left = if money.left { ", has left" } else { "" };
    MemberRow {
        href: site.at(&format!("/reports/members/{}", money.member)),
        name: format!("{}{left}", money.name),
        paid: words::figure(money.paid),
        paid_in: words::figure(money.paid_in),
        took: words::figure(money.took),
        balance: words::figure(money.owes.negated()),
    }
}

#[derive(Template)]
#[template(path = "reports/yields.html")]
struct YieldsPage {
    frame: Frame,
    rows: Vec<YieldRow>,
    more: Option<String>,
}

/// Shows how every batch yielded.
pub async fn yields_page(who: Onlooker, site: Site, paging: Paging<BatchId>) -> Reply {
    let (after, limit) = (paging.after, paging.rows());
    let (facts, found) = site.read(&who, move |conn, doer| yields(conn, doer.club, after, limit)).await?;
    let part = paging.page(found, |yields| yields.batch.id, |yields| yield_row(&site, &yields));
    let page = YieldsPage {
        rows: part.items,
        more: part.next.map(|next| site.at(&format!("/reports/yields?after={next}"))),
        frame: site.frame(&who, Room::Reports, "Yields", facts),
    };
    respond::page(&page)
}

#[derive(Template)]
#[template(path = "reports/costs.html")]
struct CostsPage {
    frame: Frame,
    currency: String,
    rows: Vec<CostRow>,
    more: Option<String>,
}

/// Shows what every bottling cost a bottle.
pub async fn costs_page(who: Onlooker, site: Site, paging: Paging<BottlingId>) -> Reply {
    let (after, limit) = (paging.after, paging.rows());
    let (facts, found) = site.read(&who, move |conn, doer| costed(conn, doer.club, after, limit)).await?;
    let part = paging.page(found, |row| row.0.id, |row| cost_row(&site, &who, &row));
    let page = CostsPage {
        rows: part.items,
        more: part.next.map(|next| site.at(&format!("/reports/costs?after={next}"))),
        currency: words::sign(&who.currency).trim().to_owned(),
        frame: site.frame(&who, Room::Reports, "Cost a bottle", facts),
    };
    respond::page(&page)
}
