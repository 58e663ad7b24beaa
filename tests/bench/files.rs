//! What is long: the yields of all years, and the books as a file.

use std::path::Path;
use std::process::{Command, Stdio};
use std::time::Instant;

use diesel::prelude::*;
use diesel::sql_types::{BigInt, Text};
use undercroft::db::Database;
use undercroft::db::Failure;
use undercroft::db::connection::{Address, read_now};

use super::bare::repeated;
use super::cellar::{self, Cellar};
use super::{SERVER_CORE, Server, TURNS, Tried, figures, load_core, middle, pinned, server_core};

/// A large club: 2 000 batches in ten years.
const POSTINGS: u64 = 80_000;
const YEARS: i64 = 10;

/// What the report adds up, year by year and drink by drink, as one statement.
const SUMS: &str = "SELECT SUBSTR(batches.pitched_on, 1, 4) AS year, batches.name AS name, COUNT(DISTINCT batches.id) AS batches, \
     -SUM(CASE WHEN entries.kind = 'bottling' THEN postings.quantity ELSE 0 END) AS bottled, \
     -SUM(CASE WHEN entries.kind IN ('loss', 'racking', 'closing') THEN postings.quantity ELSE 0 END) AS lost, \
     SUM(postings.quantity) AS in_bulk FROM batches JOIN accounts ON accounts.batch_id = batches.id \
     JOIN postings ON postings.account_id = accounts.id JOIN entries ON entries.id = postings.entry_id \
     WHERE batches.club_id = (SELECT id FROM clubs) AND batches.stage <> 'planned' GROUP BY 1, 2 ORDER BY 1, 2";

#[derive(QueryableByName)]
struct Sum {
    #[diesel(sql_type = Text)]
    name: String,
    #[diesel(sql_type = BigInt)]
    bottled: i64,
}

/// The page with the yields of ten years, and the statement alone.
pub fn yields(folder: &Path, seconds: &str) -> Tried<()> {
    let large = cellar::make(&folder.join("ten-years.db"), POSTINGS, YEARS)?;
    let server = Server::start(&large)?;
    let (mut pages, mut times) = (Vec::new(), Vec::new());
    for _ in 0..TURNS {
        let load = ["load-page", &server.address, &large.cookie, "/reports/yields?year=all", seconds];
        let [page, _] = figures(&load_core(&load)?)?;
        let [bare] = figures(&server_core(&["bare-yields", &large.path, seconds])?)?;
        pages.push(1000.0 / page);
        times.push(bare / page);
    }
    println!(
        "yields of {YEARS} years, {} postings: {:.0} ms a page, {:.1} times one SQL statement for the sums alone",
        large.postings,
        middle(&mut pages).unwrap_or_default(),
        middle(&mut times).unwrap_or_default()
    );
    Ok(())
}

/// `FILE SECONDS`: prints how often a second the statement runs.
pub fn bare_yields(arguments: &[String]) -> Tried<()> {
    let [path, seconds] = arguments else { return Err("two arguments".into()) };
    let mut conn = Database::open(&Address::read(path))?.connection()?;
    let rate = repeated(seconds, || {
        let sums: Vec<Sum> =
            read_now(&mut conn, |conn| Ok::<_, Failure>(diesel::sql_query(SUMS).load(conn)?))?;
        Ok(sums.iter().map(|sum| sum.name.len() + usize::from(sum.bottled > 0)).sum())
    })?;
    println!("{rate}");
    Ok(())
}

/// What a line of the file is made of.
const LINES: &str = "SELECT e.id, e.kind, e.code, e.day, e.recorded_at, b.name, e.reverses, p.line, a.kind, lots.code, items.name, \
     places.path, batches.code, members.name, p.quantity, items.unit, p.cost, 'EUR', e.remark FROM entries e \
     JOIN postings p ON p.entry_id = e.id JOIN accounts a ON a.id = p.account_id JOIN members b ON b.id = e.recorded_by \
     LEFT JOIN entries m ON m.id = e.reverses LEFT JOIN lots ON lots.id = a.lot_id \
     LEFT JOIN items ON items.id = lots.item_id LEFT JOIN places ON places.id = a.place_id \
     LEFT JOIN batches ON batches.id = a.batch_id LEFT JOIN members ON members.id = a.member_id \
     WHERE e.club_id = (SELECT id FROM clubs) AND e.day BETWEEN '1900-01-01' AND '2999-12-31' ORDER BY e.id, p.line;";

/// All postings as CSV over HTTP, and by the command line of SQLite.
pub fn books(cellar: &Cellar, server: &Server) -> Tried<()> {
    let (mut times, mut rates, mut lines, mut size) = (Vec::new(), Vec::new(), 0.0, 0.0);
    let before = server.memory_from_now_mb()?;
    for _ in 0..TURNS {
        let load = ["load-file", &server.address, &cellar.cookie, "/reports/books.csv?year=all"];
        let [seconds, count, bytes] = figures(&load_core(&load)?)?;
        (lines, size) = (count, bytes);
        rates.push(count / seconds);
        let began = Instant::now();
        let mut sqlite = pinned(SERVER_CORE, None);
        sqlite.args(["sqlite3", "-readonly", "-csv", "-header", &cellar.path, LINES]).stdout(Stdio::null());
        if installed() && sqlite.status()?.success() {
            times.push(began.elapsed().as_secs_f64() / seconds);
        }
    }
    let compared = match middle(&mut times) {
        Some(times) => format!("{times:.2} times the rate of sqlite3 -csv"),
        None => "sqlite3 is not installed here to compare with".to_owned(),
    };
    println!(
        "the books as CSV: {lines:.0} lines, {:.0} MB, {:.0} lines/s, {compared}; {:.1} MB more memory",
        size / 1e6,
        middle(&mut rates).unwrap_or_default(),
        server.peak_mb()? - before
    );
    Ok(())
}

fn installed() -> bool {
    let asked = Command::new("sqlite3").arg("-version").stdout(Stdio::null()).stderr(Stdio::null()).status();
    asked.is_ok_and(|status| status.success())
}
