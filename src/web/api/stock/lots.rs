//! One lot by the API, and its trace both ways.

use serde::Serialize;
use utoipa::ToSchema;

use super::bodies::{Holding, ItemName, LotName, Standing};
use crate::db::books::{self, Told, Which};
use crate::db::stock::{self as rows, Lot, Place, Shelved};
use crate::db::trace::{self, Found, Taken, Trace};
use crate::db::{AnyConn, Failure};
use crate::domain::books::Account;
use crate::domain::buying::strength;
use crate::domain::members::{Doer, Onlooker};
use crate::domain::stock::Shelf;
use crate::units::days::Day;
use crate::units::ids::LotId;
use crate::units::money::Money;
use crate::units::quantity::Milli;
use crate::web::api::Amount;
use crate::web::api::entries::EntryBody;
use crate::web::extract::Path;
use crate::web::problem::Problem;
use crate::web::respond::Answer;
use crate::web::site::Site;

/// Entries of a lot that come with it; all of them are at `/entries?lot=…`.
const ENTRIES: i64 = 50;

/// A lot: what it is, where it stands, what it cost, where it came from, where it went.
#[derive(Serialize, ToSchema)]
#[schema(as = Lot)]
pub struct LotBody {
    /// Its id.
    pub id: String,
    /// Its number.
    pub code: String,
    /// What it is.
    pub item: ItemName,
    /// Its best-before day.
    pub best_before: Option<String>,
    /// When it was opened.
    pub opened_on: Option<String>,
    /// Its last good day: the earlier of its best-before day and the last one that it keeps open.
    pub good_until: Option<String>,
    /// Per cent of its strength that is left, about; of what loses some.
    pub strength_left_percent: Option<f64>,
    /// How much is left of it, and what that cost.
    pub left: Holding,
    /// Where it stands.
    pub places: Vec<Standing>,
    /// What one g, mL or piece cost when it came, rounded down to a millionth.
    pub cost_per_unit: Option<String>,
    /// Where it came from.
    pub came_from: CameFrom,
    /// What happened to it: the 50 latest entries; all of them are at `/entries?lot=…`.
    pub entries: Vec<EntryBody>,
}

/// Where a lot came from.
#[derive(Serialize, ToSchema)]
pub struct CameFrom {
    /// The entry that brought it.
    pub entry: String,
    /// When.
    pub day: String,
    /// How much came, and what it cost.
    pub came: Holding,
    /// The receipt's number, where it was bought.
    pub receipt: Option<String>,
    /// Who sold it.
    pub supplier: Option<String>,
    /// The supplier's own lot mark.
    pub supplier_mark: Option<String>,
    /// The batch it came off.
    pub batch: Option<String>,
    /// The bottling it is.
    pub bottling: Option<String>,
}

/// Whatever has to be known of a lot.
struct Known {
    lot: Lot,
    shelves: Vec<Shelf>,
    places: Vec<Place>,
    came: Option<Told>,
    entries: Vec<Told>,
}

fn known(conn: &mut AnyConn, doer: &Doer, id: LotId) -> Result<Known, Failure> {
    let club = doer.club;
    let lot = rows::lot(conn, club, id)?;
    Ok(Known {
        shelves: rows::shelves(conn, club, Shelved::Lot(id))?,
        places: rows::places(conn, club)?,
        came: books::tell(conn, club, Which::One(lot.entry), None, 1)?.pop(),
        entries: books::tell(conn, club, Which::Lot(id), None, ENTRIES)?,
        lot,
    })
}

/// One lot.
pub async fn show(who: Onlooker, site: Site, path: Path<LotId>) -> Result<Answer<LotBody>, Problem> {
    let (doer, id) = ((*who).clone(), path.0);
    let known = site.db.read(move |conn| known(conn, &doer, id)).await?;
    Ok(Answer(lot_body(&known, who.today())))
}

fn lot_body(known: &Known, today: Day) -> LotBody {
    let lot = &known.lot;
    let unit = lot.item.unit;
    let left: Milli = known.shelves.iter().map(|shelf| shelf.holding.quantity).sum();
    let worth: Money = known.shelves.iter().map(|shelf| shelf.holding.cost).sum();
    let (quantity, cost) = came(known);
    let some = |text: &str| (!text.is_empty()).then(|| text.to_owned());
    LotBody {
        id: lot.id.to_string(),
        code: lot.code.clone(),
        item: ItemName::of(lot.item_id, &lot.item),
        best_before: lot.best_before.map(|day| day.to_string()),
        opened_on: lot.opened_on.map(|day| day.to_string()),
        good_until: lot.good_until().map(|day| day.to_string()),
        strength_left_percent: lot
            .weakens
            .map(|share| (strength::left(share, lot.received_on, today) * 100.0).round()),
        left: Holding::of(left, worth, unit),
        places: known.shelves.iter().map(|shelf| Standing::of(shelf, unit, &known.places)).collect(),
        cost_per_unit: (quantity > Milli::ZERO).then(|| cost.share(1000, quantity.get()).plain()),
        came_from: CameFrom {
            entry: lot.entry.to_string(),
            day: lot.received_on.to_string(),
            came: Holding::of(quantity, cost, unit),
            receipt: lot.receipt.clone(),
            supplier: some(&lot.supplier),
            supplier_mark: some(&lot.supplier_mark),
            batch: lot.batch.map(|batch| batch.to_string()),
            bottling: lot.bottling.map(|bottling| bottling.to_string()),
        },
        entries: known.entries.iter().map(EntryBody::from).collect(),
    }
}

/// How much of it came in at first, and what that cost.
fn came(known: &Known) -> (Milli, Money) {
    let lines = known.came.iter().flat_map(|told| &told.lines);
    let own = lines.filter(|line| matches!(line.account, Account::Stock { lot, .. } if lot == known.lot.id));
    own.fold((Milli::ZERO, Money::ZERO), |sum, line| (sum.0 + line.quantity, sum.1 + line.cost))
}

/// Both ways from a lot: up to the receipts, down to the bottles and who took them. Reversed entries do
/// not count.
#[derive(Serialize, ToSchema)]
#[schema(as = Trace)]
pub struct TraceBody {
    /// The lot that is followed.
    pub lot: LotName,
    /// Lots that went into it.
    pub up: Vec<FoundLot>,
    /// Batches on the way, up and down.
    pub batches: Vec<FoundBatch>,
    /// Lots that came of it.
    pub down: Vec<FoundLot>,
    /// Bottles that were taken, of it or of what came of it.
    pub taken: Vec<TakenBottles>,
    /// It tells 5000 lots and batches each way and 5000 takings; here there are more. Trace those named for the rest.
    pub cut: bool,
}

/// A lot found on the way.
#[derive(Serialize, ToSchema)]
pub struct FoundLot {
    /// The lot.
    pub lot: LotName,
    /// What it is.
    pub item: String,
    /// How much is left of it.
    pub left: Amount,
    /// When it came.
    pub day: String,
    /// The receipt's number, where it was bought.
    pub receipt: Option<String>,
    /// Who sold it.
    pub supplier: Option<String>,
    /// The supplier's own lot mark.
    pub supplier_mark: Option<String>,
    /// The batch it came off.
    pub batch: Option<String>,
    /// The bottling it is.
    pub bottling: Option<String>,
}

/// A batch found on the way.
#[derive(Serialize, ToSchema)]
pub struct FoundBatch {
    /// Its id.
    pub id: String,
    /// Its number.
    pub code: String,
    /// Its drink.
    pub name: String,
}

/// Bottles that were taken.
#[derive(Serialize, ToSchema)]
pub struct TakenBottles {
    /// The entry.
    pub entry: String,
    /// When.
    pub day: String,
    /// Of which lot.
    pub lot: LotName,
    /// How many.
    pub bottles: i64,
    /// The member's name, or `tasted`, `given`, `lost`.
    pub who: String,
}

/// The trace of a lot.
pub async fn trace(who: Onlooker, site: Site, path: Path<LotId>) -> Result<Answer<TraceBody>, Problem> {
    let (club, id) = (who.club, path.0);
    let read = site
        .db
        .read(move |conn| Ok::<_, Failure>((rows::lot(conn, club, id)?.code, trace::trace(conn, club, id)?)));
    let (code, trace) = read.await?;
    Ok(Answer(trace_body(LotName::of(id, code), trace)))
}

fn trace_body(lot: LotName, trace: Trace) -> TraceBody {
    let batch = |(id, code, name): (crate::units::ids::BatchId, String, String)| FoundBatch {
        id: id.to_string(),
        code,
        name,
    };
    TraceBody {
        lot,
        up: trace.up.into_iter().map(FoundLot::from).collect(),
        batches: trace.batches.into_iter().map(batch).collect(),
        down: trace.down.into_iter().map(FoundLot::from).collect(),
        taken: trace.taken.into_iter().map(TakenBottles::from).collect(),
        cut: trace.cut,
    }
}

impl From<Found> for FoundLot {
    fn from(found: Found) -> Self {
        let (supplier, mark) = found.supplier;
        Self {
            lot: LotName::of(found.lot, found.code),
            item: found.item,
            left: Amount::of(found.left, found.unit),
            day: found.day.to_string(),
            receipt: found.receipt,
            supplier: (!supplier.is_empty()).then_some(supplier),
            supplier_mark: (!mark.is_empty()).then_some(mark),
            batch: found.batch.map(|batch| batch.to_string()),
            bottling: found.bottling.map(|bottling| bottling.to_string()),
        }
    }
}

impl From<Taken> for TakenBottles {
    fn from(taken: Taken) -> Self {
        Self {
            entry: taken.entry.to_string(),
            day: taken.day.to_string(),
            lot: LotName::of(taken.lot, taken.code),
            bottles: taken.bottles,
            who: taken.who,
        }
    }
}
