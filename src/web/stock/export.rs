//! The stock list as a file, as it stands or as it stood on a past day.

use std::sync::Arc;

use super::sift::{Sift, StoresQuery};
use crate::db::stock::{self as rows, StockFilter, Stocked};
use crate::db::{AnyConn, Failure};
use crate::db::{counts, holds};
use crate::domain::counts::covered::Covered;
use crate::domain::holds::Hold;
use crate::domain::members::{Doer, Onlooker};
use crate::units::days;
use crate::units::ids::{ClubId, ItemId};
use crate::web::extract::Query;
use crate::web::problem::Problem;
use crate::web::respond::Reply;
use crate::web::site::Site;
use crate::web::spreadsheet::{self, Cell};

/// Items of one part of the file.
const ITEMS: i64 = 200;

const HEADER: &[&str] = &[
    "item",
    "kind",
    "lot",
    "place",
    "quantity",
    "unit",
    "cost",
    "currency",
    "best_before",
    "received",
    "opened",
    "on_hold",
];

/// The lots that the sift shows, with what they cost.
pub async fn file(who: Onlooker, site: Site, query: Query<StoresQuery>) -> Reply {
    let sift = Sift::read(&query.draft, &who)?;
    let (db, club, currency) = (site.db.clone(), who.club, who.currency.clone());
    let name = format!("stock-{}.csv", days::iso(sift.on.unwrap_or(who.today())));
    let asked = sift.clone();
    db.read(move |conn| asked.check(conn, club)).await?;
    let held: Arc<[Hold]> = db.read(move |conn| holds::all(conn, club)).await?.into();
    let doer = Doer::clone(&who);
    let covered = Arc::new(db.read(move |conn| counts::covered(conn, &doer)).await?);
    let leaving = spreadsheet::leaving(&site, &who, "exported the stock list").await?;
    if let Some(day) = sift.on {
        let lines = db.read(move |conn| {
            let mut lines = rows::stock_on(conn, club, day)?;
            let within = sift.place.map(|place| rows::within(conn, club, place)).transpose()?;
            sift.keep(&mut lines, within.as_deref());
            Ok::<_, Failure>(lines)
        });
        let lines: Vec<Stocked> = lines.await?;
        let rows = lines.into_iter().map(|line| cells(line, &currency, &held, &covered));
        return spreadsheet::csv(&leaving, &name, HEADER, rows);
    }
    let part = move |after| {
        let (db, currency, filter, held) = (db.clone(), currency.clone(), sift.filter(), Arc::clone(&held));
        let covered = Arc::clone(&covered);
        async move {
            let (lines, next) = db.read(move |conn| now(conn, club, filter, after)).await?;
            let rows = lines.into_iter().map(|line| cells(line, &currency, &held, &covered)).collect();
            Ok::<_, Problem>((rows, next))
        }
    };
    spreadsheet::sent(leaving, name, HEADER, part).await
}

/// The lots of some items, and where there are more, after which item they come.
fn now(
    conn: &mut AnyConn,
    club: ClubId,
    filter: StockFilter,
    after: Option<ItemId>,
) -> Result<(Vec<Stocked>, Option<ItemId>), Failure> {
    let items = rows::stocked_items(conn, club, &filter, after, ITEMS)?;
    let Some(last) = items.last().copied() else { return Ok((Vec::new(), None)) };
    Ok((rows::stock(conn, club, &StockFilter { items, ..filter })?, Some(last)))
}

/// Quantity and cost of what is covered are left empty.
fn cells(line: Stocked, currency: &str, held: &[Hold], covered: &Covered) -> Vec<Cell> {
    let seen = |figure: String| if covered.hides(line.lot, line.place) { String::new() } else { figure };
    let reason = held.iter().find(|hold| hold.lot == line.lot);
    let reason = reason.map(|hold| hold.reason.clone()).unwrap_or_default();
    let (quantity, cost) = (seen(line.quantity.plain()), seen(line.cost.plain()));
    vec![
        Cell::typed(line.name),
        Cell::ours(line.kind.code()),
        Cell::ours(line.code),
        Cell::typed(line.path),
        Cell::ours(quantity),
        Cell::ours(line.unit.sign()),
        Cell::ours(cost),
        Cell::ours(currency),
        Cell::ours(line.best_before.map(days::iso).unwrap_or_default()),
        Cell::ours(days::iso(line.received_on)),
        Cell::ours(line.opened_on.map(days::iso).unwrap_or_default()),
        Cell::typed(reason),
    ]
}
