//! The stock list as a file, as it stands or as it stood on a past day.

use super::sift::{Sift, StoresQuery};
use crate::db::stock::{self as rows, Stocked};
use crate::domain::members::Onlooker;
use crate::units::days;
use crate::web::extract::Query;
use crate::web::respond::Reply;
use crate::web::site::Site;
use crate::web::spreadsheet::{self, Cell};

/// The most lines of a file.
const MOST: i64 = 100_000;

/// The lots that the sift shows, with what they cost.
pub async fn file(who: Onlooker, site: Site, query: Query<StoresQuery>) -> Reply {
    let sift = Sift::read(&query.draft, &who)?;
    let (club, asked) = (who.club, sift.clone());
    let lines = site.db.read(move |conn| {
        asked.check(conn, club)?;
        let Some(day) = asked.on else { return rows::stock(conn, club, &asked.filter(), MOST) };
        let mut lines = rows::stock_on(conn, club, day)?;
        let within = asked.place.map(|place| rows::within(conn, club, place)).transpose()?;
        asked.keep(&mut lines, within.as_deref());
        Ok(lines)
    });
    let header =
        ["item", "kind", "lot", "place", "quantity", "unit", "cost", "currency", "best_before", "received"];
    let lines: Vec<Stocked> = lines.await?;
    let leaving = spreadsheet::leaving(&site, &who, "exported the stock list").await?;
    let name = format!("stock-{}.csv", days::iso(sift.on.unwrap_or(who.today())));
    spreadsheet::csv(&leaving, &name, &header, lines.into_iter().map(|line| cells(line, &who.currency)))
}

fn cells(line: Stocked, currency: &str) -> Vec<Cell> {
    vec![
        Cell::typed(line.name),
        Cell::ours(line.kind.code()),
        Cell::ours(line.code),
        Cell::typed(line.path),
        Cell::ours(line.quantity.plain()),
        Cell::ours(line.unit.sign()),
        Cell::ours(line.cost.plain()),
        Cell::ours(currency),
        Cell::ours(line.best_before.map(days::iso).unwrap_or_default()),
        Cell::ours(days::iso(line.received_on)),
    ]
}
