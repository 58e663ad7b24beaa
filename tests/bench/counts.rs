//! Measures what a count of five thousand lines costs: ending it, looking at its differences, and posting all of them
//! as one entry.
//!
//! Nothing is asserted. What must hold stands in DEVELOPERS.md.

use std::time::Instant as Clock;

use undercroft::actions::counts::{Found, Posting, Start, Tallied, Ways, end, post, set_ways, start, tally};
use undercroft::actions::{members, stock};
use undercroft::db::connection::Address;
use undercroft::db::{Database, counts};
use undercroft::domain::counts::{Reason, Tolerance};
use undercroft::domain::members::{Cellarhand, NewClub, NewPerson, Taster};
use undercroft::domain::stock::{Item, ItemKind, Receipt, ReceiptLine};
use undercroft::units::money::Money;
use undercroft::units::quantity::{BaseUnit, Milli};

type Tried<T> = Result<T, Box<dyn std::error::Error>>;

/// Lines of the count, and of one receipt.
const LINES: usize = 5_000;
const RECEIPT: usize = 100;

fn main() -> Tried<()> {
    let folder = std::env::temp_dir().join(format!("undercroft-counts-{}", std::process::id()));
    std::fs::create_dir_all(&folder)?;
    let runtime = tokio::runtime::Builder::new_current_thread().enable_all().build()?;
    let result = runtime.block_on(measure(&folder.join("cellar.db")));
    std::fs::remove_dir_all(&folder)?;
    result
}

async fn measure(path: &std::path::Path) -> Tried<()> {
    let db = Database::open(&Address::read(&path.to_string_lossy()))?;
    let now = chrono::Utc::now().naive_utc();
    let steward = NewPerson::read("Maren Holt", "bench@tidemill.example", "low tide at the sluice");
    let club = NewClub::read("Tidemill Cellar Club", "EUR", "Europe/Amsterdam", steward)?;
    let (_, member) = members::found_club(&db, club, now).await?;
    let doer = members::doer_of_member(&db, member, now).await?;
    let hand = Cellarhand::from_doer(doer.clone()).ok_or("a steward records")?;
    let taster = Taster::from_doer(doer.clone()).ok_or("a steward tastes")?;
    fill(&db, &hand).await?;
    let ways = Ways { tolerance: Tolerance { permille: 20, pieces: 1_000 }, order: Vec::new() };
    set_ways(&db, &hand, None, ways).await?;
    let all = Start { title: String::new(), places: Vec::new(), kinds: Vec::new(), items: Vec::new() };
    let began = Clock::now();
    let id = start(&db, &hand, None, all).await?.id;
    println!("a count of {LINES} lines begun in {:.2} s", began.elapsed().as_secs_f64());
    let began = Clock::now();
    for number in 1..=u32::try_from(LINES)? {
        let found = Found {
            counted: Some(Milli::new(39_000)),
            weighed: None,
            opened: false,
            remark: String::new(),
            at: None,
        };
        tally(&db, &taster, None, Tallied { count: id, number, found }).await?;
    }
    let each = began.elapsed().as_secs_f64() * 1000.0 / f64::from(u32::try_from(LINES)?);
    println!("each of them counted in {each:.2} ms, one after another");
    let began = Clock::now();
    end(&db, &hand, None, id).await?;
    println!(
        "the counting ended, all lines compared with the books, in {:.2} s",
        began.elapsed().as_secs_f64()
    );
    let (club, zone) = (doer.club, doer.zone);
    let began = Clock::now();
    db.read(move |conn| {
        let mut lines = counts::lines(conn, club, id, None)?;
        counts::with_books(conn, club, &mut lines, zone)
    })
    .await?;
    println!("its differences read in {:.2} s", began.elapsed().as_secs_f64());
    let order = Posting {
        count: id,
        again: Vec::new(),
        reasons: Vec::new(),
        reason: Some(Reason::Broken),
        words: String::new(),
    };
    let began = Clock::now();
    let posted = post(&db, &hand, None, order).await?;
    println!("{} lines posted as one entry in {:.2} s", posted.posted, began.elapsed().as_secs_f64());
    Ok(())
}

/// Forty pieces of each of so many lots.
async fn fill(db: &Database, hand: &Cellarhand) -> Tried<()> {
    let item = Item {
        name: "Cork 38 mm".to_owned(),
        kind: ItemKind::Packaging,
        unit: BaseUnit::Piece,
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
    let item = stock::add_item(db, hand, None, item).await?;
    let shelf = stock::NewPlace { name: "Dry shelf".to_owned(), within: None, capacity: None };
    let place = stock::add_place(db, hand, None, shelf).await?;
    for _ in 0..LINES / RECEIPT {
        let line = ReceiptLine {
            item,
            quantity: Milli::new(40_000),
            cost: Money::from_micros(8_000_003),
            place,
            best_before: None,
            supplier: String::new(),
            supplier_mark: String::new(),
        };
        let receipt =
            Receipt { day: hand.today(), paid_by: None, lines: vec![line; RECEIPT], remark: String::new() };
        stock::record_receipt(db, hand, None, receipt).await?;
    }
    Ok(())
}
