//! A cellar with a long history and a short present, made through the same rules and rows as the real one.

use std::path::Path;

use chrono::{Duration, NaiveDate};
use undercroft::db::connection::{Address, write_now};
use undercroft::db::{AnyConn, Database, Failure, batches, books, members, stock};
use undercroft::domain::batches::{Draw, DrawLine, Ending, Source, Supply, draw_into, end};
use undercroft::domain::books::NewEntry;
use undercroft::domain::members::{Doer, Role};
use undercroft::domain::stock::{Item, ItemKind, Receipt, ReceiptLine, receive};
use undercroft::units::days::Instant;
use undercroft::units::ids::{BatchId, EntryId, ItemId, LotId, PlaceId};
use undercroft::units::money::Money;
use undercroft::units::quantity::{BaseUnit, Milli};

use super::Tried;

/// What the measurements need to know of it.
pub struct Cellar {
    /// The file.
    pub path: String,
    /// A session's secret.
    pub cookie: String,
    /// An API token.
    pub token: String,
    /// The member's id.
    pub member: String,
    /// A batch that is under way.
    pub batch: String,
    /// An item with plenty of stock.
    pub item: String,
    /// How many postings there are.
    pub postings: u64,
}

impl Cellar {
    /// The page of the batch.
    pub fn batch_path(&self) -> String {
        format!("/batches/{}", self.batch)
    }

    /// Its name in the output.
    pub fn name(&self) -> String {
        format!("{} postings", self.postings)
    }

    /// Member, batch and item, for the bare loops.
    pub fn who(&self) -> String {
        format!("{},{},{}", self.member, self.batch, self.item)
    }

    /// A copy of the file, for the loop that writes without the server.
    pub fn spare(&self) -> Tried<String> {
        let spare = format!("{}.spare", self.path);
        undercroft::db::backup::backup(&Address::read(&self.path), Path::new(&spare), &mut |_, _| {})?;
        Ok(spare)
    }
}

/// Items in stock, and lots of each: the stock page shows them all on about 20 KB.
const ITEMS: usize = 40;
/// Draws into a batch of the past before it ends, and supplies in each; the batch of today has one supply in each of
/// as many draws.
const DRAWS: usize = 2;
const SUPPLIES: usize = 10;
/// Postings of a batch of the past: two for each supply, and its end.
const OF_A_BATCH: u64 = 42;

struct Maker<'c> {
    conn: &'c mut AnyConn,
    doer: Doer,
    items: Vec<(ItemId, Item)>,
    place: PlaceId,
    postings: u64,
    number: u64,
}

/// Make a cellar with about this many postings.
pub fn make(path: &Path, postings: u64) -> Tried<Cellar> {
    let address = Address::read(&path.to_string_lossy());
    let db = Database::open(&address)?;
    let runtime = tokio::runtime::Builder::new_current_thread().enable_all().build()?;
    let now = chrono::Utc::now().naive_utc();
    let (doer, cookie, token) = runtime.block_on(super::bare::founder(&db, now))?;
    let mut conn = db.connection()?;
    let (batch, item, made) = write_now(&mut conn, |conn| fill(conn, &doer, postings))?;
    Ok(Cellar {
        path: path.to_string_lossy().into_owned(),
        cookie,
        token,
        member: doer.member.to_string(),
        batch: batch.to_string(),
        item: item.to_string(),
        postings: made,
    })
}

fn fill(conn: &mut AnyConn, doer: &Doer, postings: u64) -> Result<(BatchId, ItemId, u64), Failure> {
    let mut maker = Maker {
        conn,
        doer: doer.clone(),
        items: Vec::new(),
        place: PlaceId::fresh(),
        postings: 0,
        number: 0,
    };
    maker.ground()?;
    while maker.postings + 2 * OF_A_BATCH < postings {
        let batch = maker.batch()?;
        for at in 0..DRAWS {
            maker.draw(batch, at * SUPPLIES, SUPPLIES)?;
        }
        maker.close(batch)?;
    }
    let batch = maker.batch()?;
    for at in 0..DRAWS * SUPPLIES {
        maker.draw(batch, at, 1)?;
    }
    Ok((batch, maker.items[0].0, maker.postings))
}

impl Maker<'_> {
    fn day(&self) -> NaiveDate {
        // Three years, from first to last.
        self.doer.today() - Duration::days(1095)
    }

    fn ground(&mut self) -> Result<(), Failure> {
        stock::add_place(self.conn, self.doer.club, self.place, None, "Wheel pit", "Wheel pit")?;
        let mut lines = Vec::new();
        for at in 0..ITEMS {
            let item = Item {
                name: format!("Supply {at:02}"),
                kind: ItemKind::Ingredient,
                unit: BaseUnit::Gram,
                density_micro: Some(1_617_000),
                allergens: Vec::new(),
                value_per_unit: None,
                low_at: None,
                sugar_mg_per_kg: None,
                lactose_mg_per_kg: None,
                fat_mg_per_kg: None,
                casein_mg_per_kg: None,
                splits_lactose: false,
            };
            let id = ItemId::fresh();
            stock::add_item(self.conn, self.doer.club, id, &item)?;
            lines.push(ReceiptLine {
                item: id,
                quantity: Milli::new(9_000_000_000_000),
                cost: Money::from_micros(900_000_000_000),
                place: self.place,
                best_before: None,
                supplier: "Quay Stores".to_owned(),
                supplier_mark: String::new(),
            });
            self.items.push((id, item));
        }
        let receipt = Receipt { day: self.day(), paid_by: None, lines, remark: String::new() };
        let lots: Vec<LotId> = receipt.lines.iter().map(|_| LotId::fresh()).collect();
        let entry = receive(&receipt, &lots).map_err(refused)?;
        let id = EntryId::fresh();
        books::begin_entry(self.conn, &self.doer, id, Some("R-1"), &entry)?;
        for (at, (line, lot)) in receipt.lines.iter().zip(lots).enumerate() {
            stock::add_received(
                self.conn,
                self.doer.club,
                lot,
                &format!("L-{}", at + 1),
                id,
                receipt.day,
                line,
            )?;
        }
        books::post(self.conn, self.doer.club, id, &entry)?;
        self.postings += entry.postings.len() as u64;
        Ok(())
    }

    fn batch(&mut self) -> Result<BatchId, Failure> {
        self.number += 1;
        let (id, code) = (BatchId::fresh(), self.number.to_string());
        let new = batches::NewBatch {
            id,
            code: &code,
            name: "Tide White",
            base_volume: None,
            day: self.day(),
            by: self.doer.member,
            came_from: None,
        };
        batches::add(self.conn, self.doer.club, &new)?;
        Ok(id)
    }

    fn record(&mut self, entry: &NewEntry) -> Result<(), Failure> {
        let id = EntryId::fresh();
        books::begin_entry(self.conn, &self.doer, id, None, entry)?;
        books::post(self.conn, self.doer.club, id, entry)?;
        self.postings += entry.postings.len() as u64;
        Ok(())
    }

    fn draw(&mut self, batch: BatchId, from: usize, count: usize) -> Result<(), Failure> {
        let standing = batches::standing(self.conn, self.doer.club, batch)?;
        let (mut lines, mut supplies) = (Vec::new(), Vec::new());
        for (item, of) in &self.items[from..from + count] {
            let source = Source::Item(*item);
            lines.push(DrawLine { source, quantity: Milli::new(1000), expired_because: None });
            let shelves = stock::shelves(self.conn, self.doer.club, stock::Shelved::Item(*item))?;
            supplies.push(Supply { item: of.clone(), shelves });
        }
        let day = self.day();
        let order = Draw { batch, day, pitch: false, lines, volume_after: None, remark: String::new() };
        let entry = draw_into(&standing, &order, &mut supplies).map_err(refused)?;
        self.record(&entry)?;
        batches::restage(self.conn, batch)
    }

    fn close(&mut self, batch: BatchId) -> Result<(), Failure> {
        let standing = batches::standing(self.conn, self.doer.club, batch)?;
        let order = Ending { batch, day: self.day(), abandoned: true, reason: "of the past".to_owned() };
        let entry = end(&standing, &order).map_err(refused)?;
        self.record(&entry)?;
        batches::restage(self.conn, batch)
    }
}

#[allow(clippy::needless_pass_by_value, reason = "made for map_err")]
fn refused(refusal: undercroft::domain::refusal::Refusal) -> Failure {
    Failure::Fault(refusal.to_string())
}

/// The member in whose name it is made.
pub async fn doer(db: &Database, member: &str, now: Instant) -> Tried<Doer> {
    let member = member.parse()?;
    let doer: Doer = db.read(move |conn| members::doer_of_member(conn, member, now)).await?;
    assert!(doer.role == Role::Steward, "the founder is a steward");
    Ok(doer)
}
