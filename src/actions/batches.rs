//! A batch: plan it, draw into it, weigh off, lose, rack, split, blend, read, end.

use serde::{Deserialize, Serialize};

mod loggers;
mod readings;

pub use loggers::{Brought, NewImport, SOURCE, Undoing, bring_in, undo_import};
pub(super) use readings::keep_reading;
pub use readings::{
    Correction, NewReading, Read, Sent, Strike, correct_reading, record_reading, record_readings,
    send_readings, strike_reading,
};

use super::holds::spared;
use super::once::{RequestKey, once};
use super::{Done, Error, or_missing};
use crate::db::batches::{self as rows, NewBatch};
use crate::db::stock::{self, Shelved};
use crate::db::{AnyConn, Database, books, costs, efforts};
use crate::domain::batches::{
    ByProduct, Draw, DrawLine, Ending, Loss, Racking, Sharing, Source, Stage, Supply, Transfer, draw_into,
    end, lose, may_change, progress, rack, transfer, weigh_off_by,
};
use crate::domain::books::{Account, NewEntry};
use crate::domain::members::{Cellarhand, Doer};
use crate::domain::refusal::Refusal;
use crate::domain::stock::ItemKind;
use crate::units::days::Day;
use crate::units::ids::{BatchId, EntryId, LotId};
use crate::units::quantity::Milli;

/// A batch on paper.
#[derive(Debug, Clone, Serialize, Deserialize)]
pub struct Plan {
    /// The drink.
    pub name: String,
    /// How much base there is.
    pub base_volume: Option<Milli>,
    /// When it was planned.
    pub day: Day,
}

/// A batch that was made, with its number.
#[derive(Debug, Clone, Serialize, Deserialize)]
pub struct Planned {
    /// Which.
    pub id: BatchId,
    /// Its number.
    pub code: String,
}

/// Put a batch on paper.
pub async fn plan(db: &Database, by: &Cellarhand, key: Option<RequestKey>, plan: Plan) -> Done<Planned> {
    once(db, by, key, "plan", plan, |conn, doer, plan| {
        new_batch(conn, doer, &plan.name, plan.base_volume, plan.day, None)
    })
    .await
}

pub(super) fn new_batch(
    conn: &mut AnyConn,
    doer: &Doer,
    name: &str,
    base_volume: Option<Milli>,
    day: Day,
    came_from: Option<BatchId>,
) -> Done<Planned> {
    let code = books::next_number(conn, doer.club, "batch")?.to_string();
    let id = BatchId::fresh();
    let batch = NewBatch { id, code: &code, name, base_volume, day, by: doer.member, came_from };
    rows::add(conn, doer.club, &batch)?;
    Ok(Planned { id, code })
}

/// Write an entry and bring the stage of every batch it touches in line.
pub(super) fn record(conn: &mut AnyConn, doer: &Doer, entry: &NewEntry) -> Done<EntryId> {
    let id = super::stock::record(conn, doer, entry)?;
    restage(conn, doer, id, entry)?;
    Ok(id)
}

/// Brings what is kept of every batch that an entry touches in line: its stage, and what of it stands in vessels.
pub(super) fn restage(conn: &mut AnyConn, doer: &Doer, id: EntryId, entry: &NewEntry) -> Done<()> {
    super::vessels::follow(conn, doer, id, entry)?;
    for posting in &entry.postings {
        if let Account::Batch(batch) = posting.account {
            let stage = rows::standing(conn, doer.club, batch)?.stage;
            if may_change(entry.kind, stage) {
                rows::restage(conn, batch)?;
            }
        }
    }
    Ok(())
}

/// Load what each line is drawn from on a day. Two lines of the same lot share what is there.
pub(super) fn supplies(
    conn: &mut AnyConn,
    doer: &Doer,
    lines: &[DrawLine],
    day: Day,
    at: &str,
) -> Done<Vec<Supply>> {
    lines
        .iter()
        .enumerate()
        .map(|(index, line)| {
            let path = |name: &str| format!("{at}.{index}.{name}");
            let (item, of) = match line.source {
                Source::Lot(lot) => {
                    let found = or_missing(stock::lot(conn, doer.club, lot), &path("lot"), "lot")?;
                    (found.item, Shelved::Lot(lot))
                }
                Source::Item(id) => {
                    let found = or_missing(stock::item(conn, doer.club, id), &path("item"), "item")?;
                    (found, Shelved::Item(id))
                }
            };
            let twice = lines[..index].iter().any(|earlier| earlier.source == line.source);
            if twice {
                return Err(Refusal::unfit(
                    path("quantity"),
                    format!("{} stands here twice; write the sum in one line", item.name),
                )
                .into());
            }
            let there = stock::shelves_on(conn, doer.club, of, day)?;
            let (shelves, held) =
                spared(conn, doer, there).map_err(|error| under(error, &format!("{at}.{index}")))?;
            let free: Milli = shelves.iter().map(|shelf| shelf.holding.quantity).sum();
            if let Some(hold) = held.first().filter(|_| line.quantity > free) {
                let much = free.shown(item.unit);
                let words = format!("Only {much} may be used, write that or less. {}", hold.words());
                return Err(Refusal::conflict(path("quantity"), words).into());
            }
            Ok(Supply { item, shelves })
        })
        .collect()
}

fn under(error: Error, path: &str) -> Error {
    match error {
        Error::Refused(refusal) => Error::Refused(refusal.under(path)),
        failed @ Error::Failed(_) => failed,
    }
}

/// What was recorded of a batch, and how it stood then.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
pub struct Recorded {
    /// The entry.
    pub entry: EntryId,
    /// How far the batch is.
    pub stage: Stage,
    /// How much of it there is.
    pub volume: Milli,
}

/// The same of an entry, on the connection of the transaction that wrote it: who sent it again is told the same.
pub(super) fn recorded(conn: &mut AnyConn, doer: &Doer, batch: BatchId, entry: EntryId) -> Done<Recorded> {
    let standing = rows::standing(conn, doer.club, batch)?;
    Ok(Recorded { entry, stage: standing.stage, volume: standing.holding.quantity })
}

/// Draw supplies into a batch, or pitch its yeast.
pub async fn draw(db: &Database, by: &Cellarhand, key: Option<RequestKey>, order: Draw) -> Done<Recorded> {
    once(db, by, key, "draw", order, |conn, doer, order| {
        let entry = drawn(conn, doer, order)?;
        recorded(conn, doer, order.batch, entry)
    })
    .await
}

/// The same in a transaction that is open already.
pub fn drawn(conn: &mut AnyConn, doer: &Doer, order: &Draw) -> Done<EntryId> {
    let standing = or_missing(rows::standing_on(conn, doer.club, order.batch, order.day), "", "batch")?;
    let mut supplies = supplies(conn, doer, &order.lines, order.day, "lines")?;
    let entry = draw_into(&standing, order, &mut supplies)?;
    record(conn, doer, &entry)
}

/// What weighing off a by-product made.
#[derive(Debug, Clone, Serialize, Deserialize)]
pub struct WeighedOff {
    /// The entry.
    pub entry: EntryId,
    /// The lot.
    pub lot: LotId,
    /// Its code.
    pub code: String,
}

/// Weigh a by-product off: it becomes stock of its own.
pub async fn by_product(
    db: &Database,
    by: &Cellarhand,
    key: Option<RequestKey>,
    order: ByProduct,
) -> Done<WeighedOff> {
    once(db, by, key, "by-product", order, weighed_off).await
}

/// The same in a transaction that is open already.
pub(super) fn weighed_off(conn: &mut AnyConn, doer: &Doer, order: &ByProduct) -> Done<WeighedOff> {
    let standing = or_missing(rows::standing_on(conn, doer.club, order.batch, order.day), "", "batch")?;
    let item = or_missing(stock::item(conn, doer.club, order.item), "item", "item")?;
    if item.kind != ItemKind::ByProduct {
        return Err(Refusal::unfit("item", format!("{} is not a by-product", item.name)).into());
    }
    or_missing(stock::place(conn, doer.club, order.place), "place", "place")?;
    let lot = LotId::fresh();
    let rates = efforts::rates(conn, doer.club)?;
    let sharing = Sharing { by: rates.by, litre_worth: rates.litre_worth };
    let (entry, grounds) = weigh_off_by(&standing, order, &item, lot, sharing)?;
    let code = format!("L-{}", books::next_number(conn, doer.club, "lot")?);
    let id = EntryId::fresh();
    books::begin_entry(conn, doer, id, None, &entry)?;
    let new = stock::NewLot {
        code: &code,
        item: order.item,
        entry: id,
        batch: Some(order.batch),
        day: order.day,
        best_before: order.best_before,
        supplier: "",
        supplier_mark: "",
    };
    stock::add_lot(conn, doer.club, lot, &new)?;
    books::post(conn, doer.club, id, &entry)?;
    costs::add_grounds(conn, doer.club, id, &grounds)?;
    restage(conn, doer, id, &entry)?;
    Ok(WeighedOff { entry: id, lot, code })
}

/// Record drink that is lost.
pub async fn record_loss(
    db: &Database,
    by: &Cellarhand,
    key: Option<RequestKey>,
    order: Loss,
) -> Done<Recorded> {
    once(db, by, key, "loss", order, |conn, doer, order| {
        let standing = or_missing(rows::standing_on(conn, doer.club, order.batch, order.day), "", "batch")?;
        let entry = record(conn, doer, &lose(&standing, order)?)?;
        recorded(conn, doer, order.batch, entry)
    })
    .await
}

/// Rack a batch, or record the volume measured.
pub async fn record_racking(
    db: &Database,
    by: &Cellarhand,
    key: Option<RequestKey>,
    order: Racking,
) -> Done<Recorded> {
    once(db, by, key, "racking", order, |conn, doer, order| {
        let entry = racked(conn, doer, order)?;
        recorded(conn, doer, order.batch, entry)
    })
    .await
}

/// The same in a transaction that is open already.
pub(super) fn racked(conn: &mut AnyConn, doer: &Doer, order: &Racking) -> Done<EntryId> {
    let standing = or_missing(rows::standing_on(conn, doer.club, order.batch, order.day), "", "batch")?;
    record(conn, doer, &rack(&standing, order)?)
}

/// What a split or blend made.
#[derive(Debug, Clone, Serialize, Deserialize)]
pub struct Transferred {
    /// The entry.
    pub entry: EntryId,
    /// The batch it went into.
    pub into: BatchId,
    /// Its number.
    pub code: String,
}

/// Split a batch into a new one, or blend part of it into another.
pub async fn record_transfer(
    db: &Database,
    by: &Cellarhand,
    key: Option<RequestKey>,
    order: Transfer,
) -> Done<Transferred> {
    once(db, by, key, "transfer", order, transferred).await
}

/// The same in a transaction that is open already.
pub(super) fn transferred(conn: &mut AnyConn, doer: &Doer, order: &Transfer) -> Done<Transferred> {
    let from = or_missing(rows::standing_on(conn, doer.club, order.batch, order.day), "", "batch")?;
    let into = if let Some(into) = order.into {
        or_missing(rows::standing_on(conn, doer.club, into, order.day), "into", "batch")?
    } else {
        let (_, drink) = rows::named(conn, doer.club, order.batch)?;
        let name = order.name.clone().unwrap_or(drink);
        let made = new_batch(conn, doer, &name, None, order.day, Some(order.batch))?;
        rows::standing(conn, doer.club, made.id)?
    };
    let mut moved = rows::moves(conn, order.batch)?;
    moved.retain(|line| line.day <= order.day);
    let story = rows::story(conn, doer.club, order.batch)?;
    let entry = transfer(&from, &into, order, story.passed_on(progress(&moved)))?;
    let id = record(conn, doer, &entry)?;
    Ok(Transferred { entry: id, into: into.id, code: into.code })
}

/// Close a batch that holds nothing any more, or give it up.
pub async fn record_end(
    db: &Database,
    by: &Cellarhand,
    key: Option<RequestKey>,
    order: Ending,
) -> Done<Recorded> {
    once(db, by, key, "end", order, |conn, doer, order| {
        let standing = or_missing(rows::standing_on(conn, doer.club, order.batch, order.day), "", "batch")?;
        let entry = record(conn, doer, &end(&standing, order)?)?;
        recorded(conn, doer, order.batch, entry)
    })
    .await
}
