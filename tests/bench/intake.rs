//! Measures what bringing in tables of a hundred thousand rows costs: items, supplies and readings, each beside a bare
//! loop that reads the same rows and inserts the same things with diesel, in one transaction on a connection set up in
//! the same way; and the most memory that the server holds while it takes such a table over HTTP and brings it in.
//!
//! Nothing is asserted. What must hold stands in DEVELOPERS.md.

use std::fmt::Write as _;
use std::process::{Command, Stdio};
use std::time::{Duration, Instant as Clock};

use diesel::connection::SimpleConnection;
use diesel::prelude::*;
use undercroft::actions::batches::{Plan, plan};
use undercroft::actions::intake::{Bringing, Progress, Sending, bring, send};
use undercroft::actions::members::{self, NewToken};
use undercroft::actions::stock;
use undercroft::db::Database;
use undercroft::db::connection::Address;
use undercroft::db::schema::{accounts, entries, items, lots, postings, readings};
use undercroft::domain::intake::Kind;
use undercroft::domain::members::{Cellarhand, NewClub, NewPerson, Onlooker, Scope};
use undercroft::domain::stock::{Item, ItemKind};
use undercroft::units::ids::{
    AccountId, BatchId, ClubId, EntryId, ItemId, LotId, MemberId, PlaceId, ReadingId,
};
use undercroft::units::quantity::BaseUnit;
use ureq::http::Request;

type Tried<T> = Result<T, Box<dyn std::error::Error>>;

const ROWS: usize = 100_000;
/// Lines of one receipt, as many as bringing in puts into one.
const LINES: usize = 500;

fn main() -> Tried<()> {
    let folder = std::env::temp_dir().join(format!("undercroft-intake-{}", std::process::id()));
    std::fs::create_dir_all(&folder)?;
    let runtime = tokio::runtime::Builder::new_current_thread().enable_all().build()?;
    let result = runtime.block_on(measure(&folder));
    std::fs::remove_dir_all(&folder)?;
    result
}

async fn measure(folder: &std::path::Path) -> Tried<()> {
    for kind in [Kind::Items, Kind::Lots, Kind::Readings] {
        let text = table(kind)?;
        let path = folder.join(format!("{}.db", kind.code()));
        let cellar = Cellar::found(&path).await?;
        let sending = Sending {
            kind,
            file_name: "before.csv".to_owned(),
            rows: text.clone(),
            columns: Vec::new(),
            order: None,
        };
        let began = Clock::now();
        let id = send(&cellar.db, &cellar.hand, None, sending).await?;
        let sent = began.elapsed();
        let order = Bringing { intake: id, good: false, progress: Progress::default() };
        let began = Clock::now();
        let done = bring(&cellar.db, &cellar.hand, None, order).await?;
        let took = began.elapsed();
        if done.kept != ROWS {
            return Err(format!("{} rows of {ROWS} were brought in", done.kept).into());
        }
        let bare = folder.join(format!("{}-bare.db", kind.code()));
        let other = Cellar::found(&bare).await?;
        let known = other.known;
        drop(other.db);
        let began = Clock::now();
        alone(kind, &bare, &text, &known)?;
        let alone = began.elapsed();
        println!(
            "{}: {:.1} MB sent in {:.2} s, {ROWS} rows brought in in {:.2} s, {:.0} rows/s; {:.2} of the bare loop",
            kind.code(),
            megabytes(text.len()),
            sent.as_secs_f64(),
            took.as_secs_f64(),
            rate(took),
            alone.as_secs_f64() / took.as_secs_f64()
        );
    }
    let path = folder.join("served.db");
    let token = {
        let cellar = Cellar::found(&path).await?;
        let by = Onlooker::from_doer((*cellar.hand).clone()).ok_or("a steward looks")?;
        let new = NewToken::read("bench", Scope::Write, 2)?;
        members::new_token(&cellar.db, &by, None, new).await?.1.reveal().to_owned()
    };
    tokio::task::spawn_blocking(move || served(&path, &token).map_err(|error| error.to_string())).await??;
    Ok(())
}

#[allow(clippy::cast_precision_loss, reason = "figures for people")]
fn megabytes(bytes: usize) -> f64 {
    bytes as f64 / 1e6
}

#[allow(clippy::cast_precision_loss, reason = "figures for people")]
fn rate(took: Duration) -> f64 {
    ROWS as f64 / took.as_secs_f64()
}

/// A table of so many rows.
fn table(kind: Kind) -> Tried<String> {
    let mut text = String::new();
    match kind {
        Kind::Items => {
            text.push_str("Name;Kind;Counted in;Allergens;Low at\n");
            for row in 0..ROWS {
                writeln!(text, "Pear of orchard {row};ingredient;g;;12,5 kg")?;
            }
        }
        Kind::Lots => {
            text.push_str("Item;How much;Cost;Place;Came on;Best before;Who sold it\n");
            for row in 0..ROWS {
                let (day, kilos) = (row % 28 + 1, row % 90 + 10);
                writeln!(
                    text,
                    "Cane sugar;{kilos},5 kg;{kilos},20;Dry shelf;{day:02}.03.2026;01.03.2029;Mill shop"
                )?;
            }
        }
        _ => {
            text.push_str("Batch;When;Gravity;Remark\n");
            for row in 0..ROWS {
                let (day, hour, minute) = (row / 1440 % 28 + 1, row / 60 % 24, row % 60);
                let month = row / (1440 * 28) + 1;
                writeln!(text, "Perry;{day:02}.{month:02}.2026 {hour:02}:{minute:02};1,0{:03};", row % 900)?;
            }
        }
    }
    Ok(text)
}

struct Cellar {
    db: Database,
    hand: Cellarhand,
    known: Known,
}

/// What the rows name.
struct Known {
    club: ClubId,
    member: MemberId,
    item: ItemId,
    place: PlaceId,
    batch: BatchId,
}

impl Cellar {
    /// A club with sugar, a shelf and a batch.
    async fn found(path: &std::path::Path) -> Tried<Self> {
        let db = Database::open(&Address::read(&path.to_string_lossy()))?;
        let now = chrono::Utc::now().naive_utc();
        let steward = NewPerson::read("Maren Holt", "bench@tidemill.example", "low tide at the sluice");
        let club = NewClub::read("Tidemill Cellar Club", "EUR", "Europe/Amsterdam", steward)?;
        let (_, member) = members::found_club(&db, club, now).await?;
        let doer = members::doer_of_member(&db, member, now).await?;
        let hand = Cellarhand::from_doer(doer).ok_or("a steward records")?;
        let sugar = Item {
            name: "Cane sugar".to_owned(),
            kind: ItemKind::Ingredient,
            unit: BaseUnit::Gram,
            density_micro: None,
            allergens: Vec::new(),
            value_per_unit: None,
            low_at: None,
            made_for_mbar: None,
            sugar_mg_per_kg: None,
            lactose_mg_per_kg: None,
            fat_mg_per_kg: None,
            casein_mg_per_kg: None,
            splits_lactose: false,
        };
        let item = stock::add_item(&db, &hand, None, sugar).await?;
        let shelf = stock::NewPlace { name: "Dry shelf".to_owned(), within: None, capacity: None };
        let place = stock::add_place(&db, &hand, None, shelf).await?;
        let perry = Plan { name: "Perry".to_owned(), base_volume: None, day: hand.today() };
        let batch = plan(&db, &hand, None, perry).await?.id;
        let known = Known { club: hand.club, member: hand.member, item, place, batch };
        Ok(Self { db, hand, known })
    }
}

/// The bare loop: each row read, and what it makes inserted.
fn alone(kind: Kind, path: &std::path::Path, text: &str, known: &Known) -> Tried<()> {
    let mut conn = SqliteConnection::establish(&path.to_string_lossy())?;
    conn.batch_execute(
        "PRAGMA busy_timeout = 5000; PRAGMA journal_mode = WAL; PRAGMA synchronous = FULL; \
         PRAGMA foreign_keys = ON; PRAGMA cache_size = -8000; PRAGMA temp_store = MEMORY;",
    )?;
    conn.transaction(|conn| {
        let mut reader = csv::ReaderBuilder::new().delimiter(b';').from_reader(text.as_bytes());
        let mut receipt = None;
        for (at, row) in reader.records().enumerate() {
            let row = row?;
            match kind {
                Kind::Items => bare_item(conn, known, &row)?,
                Kind::Lots => {
                    if at % LINES == 0 {
                        receipt = Some(bare_entry(conn, known)?);
                    }
                    let entry = receipt.ok_or("no entry")?;
                    bare_lot(conn, (entry, at), known, &row)?;
                }
                _ => bare_reading(conn, known, &row)?,
            }
        }
        Tried::Ok(())
    })
}

/// Thousandths of a number with a decimal comma.
fn thousandths(cell: &str) -> Tried<i64> {
    let number: f64 = cell.split(' ').next().unwrap_or_default().replace(',', ".").parse()?;
    #[allow(clippy::cast_possible_truncation, reason = "small figures")]
    Ok((number * 1000.0).round() as i64)
}

fn bare_item(conn: &mut SqliteConnection, known: &Known, row: &csv::StringRecord) -> Tried<()> {
    diesel::insert_into(items::table)
        .values((
            items::id.eq(ItemId::fresh()),
            items::club_id.eq(known.club),
            items::name.eq(&row[0]),
            items::folded.eq(row[0].to_lowercase()),
            items::kind.eq(&row[1]),
            items::unit.eq(&row[2]),
            items::allergens.eq(&row[3]),
            items::low_at.eq(Some(thousandths(&row[4])? * 1000)),
            items::splits_lactose.eq(false),
        ))
        .execute(conn)?;
    Ok(())
}

fn bare_entry(conn: &mut SqliteConnection, known: &Known) -> Tried<EntryId> {
    let id = EntryId::fresh();
    let now = chrono::Utc::now().naive_utc();
    diesel::insert_into(entries::table)
        .values((
            entries::id.eq(id),
            entries::club_id.eq(known.club),
            entries::kind.eq("receipt"),
            entries::code.eq(Some(format!("R-{id}"))),
            entries::day.eq(now.date()),
            entries::recorded_at.eq(now),
            entries::recorded_by.eq(known.member),
            entries::remark.eq(""),
        ))
        .execute(conn)?;
    Ok(id)
}

fn bare_lot(
    conn: &mut SqliteConnection,
    (entry, at): (EntryId, usize),
    known: &Known,
    row: &csv::StringRecord,
) -> Tried<()> {
    let (lot, account) = (LotId::fresh(), AccountId::fresh());
    let (quantity, cost) = (thousandths(&row[1])? * 1000, thousandths(&row[2])? * 1000);
    let day = chrono::NaiveDate::parse_from_str(&row[4], "%d.%m.%Y")?;
    let before = chrono::NaiveDate::parse_from_str(&row[5], "%d.%m.%Y")?;
    diesel::insert_into(lots::table)
        .values((
            lots::id.eq(lot),
            lots::club_id.eq(known.club),
            lots::code.eq(format!("L-{}", at + 1)),
            lots::item_id.eq(known.item),
            lots::entry_id.eq(entry),
            lots::received_on.eq(day),
            lots::best_before.eq(Some(before)),
            lots::supplier.eq(&row[6]),
            lots::supplier_mark.eq(""),
        ))
        .execute(conn)?;
    diesel::insert_into(accounts::table)
        .values((
            accounts::id.eq(account),
            accounts::club_id.eq(known.club),
            accounts::key.eq(format!("stock:{lot}")),
            accounts::kind.eq("stock"),
            accounts::lot_id.eq(Some(lot)),
            accounts::place_id.eq(Some(known.place)),
            accounts::quantity.eq(quantity),
            accounts::cost.eq(cost),
            accounts::opened_on.eq(day),
        ))
        .execute(conn)?;
    let line = i64::try_from(at % LINES)? + 1;
    diesel::insert_into(postings::table)
        .values((
            postings::entry_id.eq(entry),
            postings::line.eq(line),
            postings::club_id.eq(known.club),
            postings::account_id.eq(account),
            postings::day.eq(day),
            postings::quantity.eq(quantity),
            postings::cost.eq(cost),
        ))
        .execute(conn)?;
    Ok(())
}

fn bare_reading(conn: &mut SqliteConnection, known: &Known, row: &csv::StringRecord) -> Tried<()> {
    let at = chrono::NaiveDateTime::parse_from_str(&row[1], "%d.%m.%Y %H:%M")?;
    let value = thousandths(&row[2])? * 1000;
    diesel::insert_into(readings::table)
        .values((
            readings::id.eq(ReadingId::fresh()),
            readings::club_id.eq(known.club),
            readings::batch_id.eq(known.batch),
            readings::at.eq(at),
            readings::kind.eq("gravity"),
            readings::read_micro.eq(value),
            readings::value_micro.eq(value),
            readings::remark.eq(&row[3]),
            readings::recorded_by.eq(known.member),
            readings::recorded_at.eq(chrono::Utc::now().naive_utc()),
            readings::struck_because.eq(""),
            readings::source.eq("logger file"),
        ))
        .execute(conn)?;
    Ok(())
}

/// A table over HTTP, on a server of its own.
fn served(path: &std::path::Path, token: &str) -> Tried<()> {
    let port = std::net::TcpListener::bind("127.0.0.1:0")?.local_addr()?.port();
    let address = format!("127.0.0.1:{port}");
    let mut child = Command::new(env!("CARGO_BIN_EXE_undercroft"))
        .args(["serve", "--listen", &address, "--database", &path.to_string_lossy()])
        .env("RUST_LOG", "error")
        .stdout(Stdio::null())
        .stderr(Stdio::null())
        .spawn()?;
    let done = ask(&address, token, child.id());
    // It was started here; that it has gone already is no trouble.
    let _ = child.kill();
    let _ = child.wait();
    done
}

fn ask(address: &str, token: &str, process: u32) -> Tried<()> {
    let agent = ureq::Agent::new_with_defaults();
    let started = Clock::now();
    while std::net::TcpStream::connect(address).is_err() {
        if started.elapsed() > Duration::from_secs(20) {
            return Err("the server does not answer".into());
        }
        std::thread::sleep(Duration::from_millis(20));
    }
    let before = memory(process)?;
    let post = |path: &str, kind: &str, body: String| -> Tried<serde_json::Value> {
        let request = Request::builder().method("POST").uri(format!("http://{address}/api/v1{path}"));
        let request = request.header("Authorization", format!("Bearer {token}")).header("Content-Type", kind);
        let mut answer = agent.run(request.body(body)?)?;
        Ok(serde_json::from_str(&answer.body_mut().read_to_string()?)?)
    };
    let text = table(Kind::Lots)?;
    let size = megabytes(text.len());
    let began = Clock::now();
    let told = post("/tables?kind=lots&file_name=before.csv", "text/csv", text)?;
    let looked = began.elapsed();
    let id = told["id"].as_str().ok_or("no table")?;
    let began = Clock::now();
    let done = post(&format!("/tables/{id}/bringing"), "application/json", "{\"keep\":\"all\"}".to_owned())?;
    println!(
        "over HTTP: {size:.1} MB of lots looked at in {:.2} s, {} brought in in {:.2} s; the server held {before:.0} MB \
         before and {:.0} MB at most",
        looked.as_secs_f64(),
        done["kept"],
        began.elapsed().as_secs_f64(),
        memory(process)?
    );
    Ok(())
}

/// The most memory that a process has held, in MB, from the kernel's own count.
fn memory(process: u32) -> Tried<f64> {
    let status = std::fs::read_to_string(format!("/proc/{process}/status"))?;
    let line = status.lines().find(|line| line.starts_with("VmHWM:")).ok_or("no memory is counted")?;
    Ok(line.split_whitespace().nth(1).ok_or("no memory is counted")?.parse::<f64>()? / 1024.0)
}
