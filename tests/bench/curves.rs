//! Measures what readings cost: the page of a batch with twenty of them, with two thousand and with twenty thousand,
//! its queries and its rendering without HTTP, in turns; and how long a logger's file of twenty thousand rows takes to
//! come in.
//!
//! Nothing is asserted. What must hold stands in DEVELOPERS.md.

use std::net::SocketAddr;
use std::sync::OnceLock;
use std::time::{Duration, Instant as Clock};

use actix_web::web::Data;
use askama::Template;
use undercroft::actions::batches::{self as acts, NewImport, Plan};
use undercroft::actions::members;
use undercroft::db::connection::{Address, read_now};
use undercroft::db::{Database, Failure, reminders};
use undercroft::domain::batches::loggers::{self, Said};
use undercroft::domain::members::{Cellarhand, Doer, NewClub, NewPerson};
use undercroft::units::ids::BatchId;
use undercroft::web::server::Settings;
use undercroft::web::site::{Site, State};
use undercroft::web::{batches, health, limits};

type Tried<T> = Result<T, Box<dyn std::error::Error>>;

/// How often each page is measured, and for how long; the middle one counts.
const TURNS: usize = 7;
const TURN: Duration = Duration::from_millis(400);

fn main() -> Tried<()> {
    let folder = std::env::temp_dir().join(format!("undercroft-curves-{}", std::process::id()));
    std::fs::create_dir_all(&folder)?;
    let result = measure(&folder.join("cellar.db"));
    std::fs::remove_dir_all(&folder)?;
    result
}

/// A fortnight's fall of a gravity with its temperature, read so many times, as a logger writes it.
fn file(rows: i32) -> String {
    let end = chrono::Utc::now().naive_utc() - chrono::Duration::hours(1);
    let mut text = "time,SG,temperature\n".to_owned();
    for row in 0..rows {
        let day = 14.0 * f64::from(row) / f64::from(rows);
        let at = end - chrono::Duration::seconds(i64::from(rows - row) * 14 * 86_400 / i64::from(rows));
        let gravity = 0.998 + 0.082 / (1.0 + (0.8 * (day - 4.0)).exp());
        let warmth = 19.0 + f64::from(row % 30) / 10.0;
        text.extend([at.format("%Y-%m-%dT%H:%M:%SZ").to_string(), format!(",{gravity:.4},{warmth:.1}\n")]);
    }
    text
}

fn measure(path: &std::path::Path) -> Tried<()> {
    let db = Database::open(&Address::read(&path.to_string_lossy()))?;
    let runtime = tokio::runtime::Builder::new_current_thread().enable_all().build()?;
    let now = chrono::Utc::now().naive_utc();
    let steward = NewPerson::read("Maren Holt", "bench@tidemill.example", "low tide at the sluice");
    let club = NewClub::read("Tidemill Cellar Club", "EUR", "Europe/Amsterdam", steward)?;
    let (_, member) = runtime.block_on(members::found_club(&db, club, now))?;
    let doer = runtime.block_on(members::doer_of_member(&db, member, now))?;
    let hand = Cellarhand::from_doer(doer.clone()).ok_or("a steward records")?;
    let counts = [20, 2_000, 20_000];
    let mut made: Vec<BatchId> = Vec::new();
    for count in counts {
        let plan = Plan { name: "Perry".to_owned(), base_volume: None, day: doer.today() };
        let batch = runtime.block_on(acts::plan(&db, &hand, None, plan))?.id;
        let began = Clock::now();
        let log = loggers::read(&file(count / 2), &Said::default(), doer.zone, now)?;
        let rows = log.rows.iter().map(|row| (row.at, row.kind, row.value)).collect();
        let order = NewImport { batch, file_name: "vat.csv".to_owned(), left_out: 0, rows };
        let brought = runtime.block_on(acts::bring_in(&db, &hand, None, order))?;
        println!("{} readings of a file came in in {:.2} s", brought.kept, began.elapsed().as_secs_f64());
        made.push(batch);
    }
    let settings = Settings::on(SocketAddr::from(([127, 0, 0, 1], 1)));
    let (metrics, limits) = (health::Metrics::default(), limits::Limits::default());
    let state = State { db: db.clone(), settings, metrics, limits, description: OnceLock::new() };
    let site = Site::new(Data::new(state), "token".to_owned());
    let mut conn = db.connection()?;
    let mut times = vec![Vec::new(); made.len()];
    for _ in 0..TURNS {
        for (at, batch) in made.iter().enumerate() {
            let (began, mut pages) = (Clock::now(), 0_u32);
            while began.elapsed() < TURN {
                page(&mut conn, &site, &doer, *batch)?;
                pages += 1;
            }
            times[at].push(began.elapsed().as_secs_f64() * 1e3 / f64::from(pages));
        }
    }
    let middle: Vec<f64> = times
        .iter_mut()
        .map(|of| {
            of.sort_by(f64::total_cmp);
            of[of.len() / 2]
        })
        .collect();
    for (count, time) in counts.iter().zip(&middle) {
        println!(
            "the page of a batch with {count} readings: {time:.3} ms, {:.2} times that with 20",
            time / middle[0]
        );
    }
    Ok(())
}

fn page(conn: &mut undercroft::db::AnyConn, site: &Site, doer: &Doer, batch: BatchId) -> Tried<usize> {
    let (facts, found) = read_now(conn, |conn| {
        let facts = reminders::facts(conn, doer.club, doer.today())?;
        Ok::<_, Failure>((facts, batches::find(conn, doer, batch, None)?))
    })?;
    Ok(batches::page(site, doer, facts, found.ok_or("there is such a batch")?).render()?.len())
}
