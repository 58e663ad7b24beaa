//! Records one event after another, each as the member who recorded it and at that time, through the action
//! that the member would have used. Remembers what the names in later rows stand for.

use std::collections::HashMap;

use super::files::{
    BottlingRow, CountRow, Line, MoveRow, ReadingRow, ReceiptRow, ReversalRow, Row, WithdrawalRow,
};
use super::story::{Event, What};
use super::{Calendar, Error, at_once};
use crate::actions::batches::{NewReading, record_reading};
use crate::actions::bills::record_receipt_with_bills;
use crate::actions::reversals::{TakeBack, record_reversal};
use crate::actions::{Done, bottles, stock};
use crate::db::Database;
use crate::db::stock::{Shelved, shelves};
use crate::domain::batches::{DrawLine, Source};
use crate::domain::bills::BillFile;
use crate::domain::bottles::{Bottling, Purpose, Withdrawal, read_ages};
use crate::domain::cautions::{Reasons, Rule};
use crate::domain::members::{Cellarhand, Doer, Taster};
use crate::domain::refusal::{Refusal, Why};
use crate::domain::stock::{Counted, Move, Receipt, ReceiptLine, Shelf};
use crate::units::Misread;
use crate::units::days::Day;
use crate::units::ids::{BatchId, BottlingId, EntryId, ItemId, LotId, PlaceId, RecipeId, VesselId};
use crate::units::measure::ReadingKind;
use crate::units::money::Money;
use crate::units::quantity::{BaseUnit, Milli};

/// The receipt that keeps its bill, and the bill.
const BILL: (&str, &str, &[u8]) = ("R088", "sluisweg-grocer.pdf", include_bytes!("../../../seeds/bill.pdf"));

mod counts;
mod diary;
mod intake;
mod measured;
mod plans;
mod recipes;
mod shares;
mod table;
mod upkeep;
mod vessels;

/// Who writes it all down, and what the names stand for.
pub(super) struct Scribe<'a> {
    db: &'a Database,
    calendar: Calendar,
    people: HashMap<String, Doer>,
    places: HashMap<String, PlaceId>,
    items: HashMap<String, (ItemId, BaseUnit)>,
    batches: HashMap<String, BatchId>,
    recipes: HashMap<String, RecipeId>,
    vessels: HashMap<String, VesselId>,
    bottlings: HashMap<String, (BottlingId, LotId)>,
    /// Entries that may be taken back, as `reversals.csv` names them: "receipt R055".
    entries: HashMap<String, EntryId>,
}

/// When an event happened and who recorded it.
struct Stamp {
    by: Cellarhand,
    day: Day,
    days_ago: i64,
}

impl<'a> Scribe<'a> {
    /// One who knows the people, the places and the items.
    pub(super) fn new(
        db: &'a Database,
        calendar: Calendar,
        people: HashMap<String, Doer>,
        places: HashMap<String, PlaceId>,
        items: HashMap<String, (ItemId, BaseUnit)>,
    ) -> Self {
        let (batches, recipes, vessels) = (HashMap::new(), HashMap::new(), HashMap::new());
        let (bottlings, entries) = (HashMap::new(), HashMap::new());
        Self { db, calendar, people, places, items, batches, recipes, vessels, bottlings, entries }
    }

    /// Record events: a run of readings, or one of another kind.
    pub(super) async fn record(&mut self, events: &[Event]) -> Result<(), Error> {
        let mut readings = Vec::new();
        for event in events {
            let failed = |why| event.at.failed(why);
            let stamp = self.stamp(event).map_err(failed)?;
            let done = match &event.what {
                What::Reading(row) => self.reading(&stamp, row).map(|reading| {
                    readings.push(read(self.db.clone(), event.at, stamp.by, reading));
                }),
                What::Receipt(lines) => self.receive(&stamp, lines).await,
                What::Diary(lines) => self.write_diary(&stamp, lines).await,
                What::Plan(row) => self.plan_way(&stamp, row).await,
                What::Recipe(row) => self.write_recipe(&stamp, row).await,
                What::Filling(row) => self.tend_vessel(&stamp, row).await,
                What::Hold(row) => self.hold(&stamp, row).await,
                What::Bottling(row) => self.bottle(&stamp, row).await,
                What::Withdrawal(row) => self.withdraw(&stamp, row).await,
                What::Move(row) => self.carry(&stamp, row).await,
                What::Count(row) => self.count(&stamp, row).await,
                What::Stocktaking(row) => self.take_stock(&stamp, row).await,
                What::Reversal(row) => self.take_back(&stamp, row).await,
                What::Tasting(row, sheets) => self.taste(&stamp, row, sheets).await,
            };
            done.map_err(failed)?;
        }
        at_once(readings).await.map(|_| ())
    }

    fn stamp(&self, event: &Event) -> Done<Stamp> {
        if event.days_ago == 0 {
            return Err(Refusal::unfit("days_ago", "Nothing happens on the day of loading").into());
        }
        let now = self.calendar.instant(event.days_ago, event.time);
        let doer = Doer { now, ..known(&self.people, &event.by, "by")?.clone() };
        let by = Cellarhand::from_doer(doer)
            .ok_or_else(|| Refusal::new(Why::Forbidden, "by", "A steward or a cellarhand records this"))?;
        Ok(Stamp { by, day: self.calendar.day(event.days_ago), days_ago: i64::from(event.days_ago) })
    }

    async fn receive(&mut self, stamp: &Stamp, rows: &[Row<ReceiptRow>]) -> Done<()> {
        let first = &rows[0];
        let paid_by = match first.paid_by.as_str() {
            "club" => None,
            name => Some(known(&self.people, name, "paid_by")?.member),
        };
        let lines = rows.iter().map(|row| self.receipt_line(stamp, row)).collect::<Done<Vec<_>>>()?;
        let receipt = Receipt { day: stamp.day, paid_by, lines, remark: String::new() };
        let bill = if first.receipt == BILL.0 {
            vec![cell("bill", BillFile::read(BILL.1, BILL.2.to_vec()))?]
        } else {
            Vec::new()
        };
        let received = record_receipt_with_bills(self.db, &stamp.by, None, receipt, bill).await?;
        self.entries.insert(format!("receipt {}", first.receipt), received.entry);
        Ok(())
    }

    fn receipt_line(&self, stamp: &Stamp, row: &ReceiptRow) -> Done<ReceiptLine> {
        let (item, unit) = *known(&self.items, &row.item, "item")?;
        Ok(ReceiptLine {
            item,
            quantity: cell("quantity", Milli::read(&row.quantity, unit))?,
            cost: cell("cost", Money::read(&row.cost))?,
            place: *known(&self.places, &row.place, "place")?,
            best_before: row.best_before_in_days.map(|days| after(stamp.day, days)),
            supplier: row.supplier.clone(),
            supplier_mark: String::new(),
        })
    }

    fn reading(&self, stamp: &Stamp, row: &ReadingRow) -> Done<NewReading> {
        let kind = ReadingKind::from_code(&row.kind)
            .ok_or_else(|| Refusal::unfit("kind", format!("“{}” is no kind of reading", row.kind)))?;
        let sample = optional(&row.sample_temperature_c).map(|text| ReadingKind::Temperature.read(text));
        Ok(NewReading {
            batch: *known(&self.batches, &row.batch, "batch")?,
            at: stamp.by.now,
            kind,
            value: cell("value", kind.read(&row.value))?,
            sample_c: cell("sample_temperature_c", sample.transpose())?,
            instrument: None,
            as_read: true,
            remark: row.note.clone(),
        })
    }

    async fn bottle(&mut self, stamp: &Stamp, row: &BottlingRow) -> Done<()> {
        let packaging = row.packaging.split(';').map(|part| {
            let (item, quantity) = part
                .rsplit_once(':')
                .ok_or_else(|| Refusal::unfit("packaging", "Write it as item:quantity;item:quantity"))?;
            self.draw_line(item, quantity)
        });
        let order = Bottling {
            batch: *known(&self.batches, &row.batch, "batch")?,
            day: stamp.day,
            bottles: row.bottles,
            bottle_volume: cell("bottle_volume", Milli::read(&row.bottle_volume, BaseUnit::Millilitre))?,
            broken: 0,
            lost_volume: cell("lost_volume", Milli::read_zero(&row.lost_volume, BaseUnit::Millilitre))?,
            packaging: packaging.collect::<Done<_>>()?,
            place: *known(&self.places, &row.place, "place")?,
            tasting_ages_days: cell("tasting_ages_days", read_ages(&row.tasting_ages_days))?,
            ages_by_warmth: false,
            reasons: reasons(&row.because)?,
            remark: String::new(),
        };
        let bottled = bottles::record_bottling(self.db, &stamp.by, None, order).await?;
        self.bottlings.insert(row.bottling.clone(), (bottled.bottling, bottled.lot));
        Ok(())
    }

    fn draw_line(&self, item: &str, quantity: &str) -> Done<DrawLine> {
        let (id, unit) = *known(&self.items, item, "item")?;
        let quantity = cell("quantity", Milli::read(quantity, unit))?;
        Ok(DrawLine { source: Source::Item(id), quantity, expired_because: None })
    }

    async fn withdraw(&mut self, stamp: &Stamp, row: &WithdrawalRow) -> Done<()> {
        let purpose = Purpose::from_code(&row.reason)
            .ok_or_else(|| Refusal::unfit("reason", format!("“{}” is no reason", row.reason)))?;
        let member = optional(&row.member).map(|name| known(&self.people, name, "member")).transpose()?;
        let remark = match member {
            Some(member) if purpose == Purpose::Gift => format!("for {}", member.name),
            _ => String::new(),
        };
        let order = Withdrawal {
            bottling: known(&self.bottlings, &row.bottling, "bottling")?.0,
            day: stamp.day,
            bottles: row.bottles,
            purpose,
            member: member.filter(|_| purpose == Purpose::Taken).map(|doer| doer.member),
            place: Some(*known(&self.places, &row.place, "place")?),
            happened_at: None,
            remark,
        };
        let taster = Taster::from_doer(Doer::clone(&stamp.by))
            .ok_or_else(|| Refusal::new(Why::Forbidden, "by", "A taster records this"))?;
        let entry = bottles::record_withdrawal(self.db, &taster, None, order).await?;
        self.entries.insert(format!("withdrawal {}", row.key), entry);
        Ok(())
    }

    async fn carry(&mut self, stamp: &Stamp, row: &MoveRow) -> Done<()> {
        let (of, unit) = self.shelved(&row.item_or_bottling)?;
        let (from, to) = (*known(&self.places, &row.from, "from")?, *known(&self.places, &row.to, "to")?);
        let quantity = cell("quantity", Milli::read(&row.quantity, unit))?;
        let there = self.there(stamp, of, from).await?;
        for (lot, quantity) in taken(&there, quantity, unit)? {
            let order = Move { day: stamp.day, lot, quantity, from, to };
            stock::move_stock(self.db, &stamp.by, None, order).await?;
        }
        Ok(())
    }

    /// What was counted is all of it at that place: less than the books say is missing from the lot that
    /// expires first, more is put to the one that expires last. Where the books are right there is nothing
    /// to record.
    async fn count(&mut self, stamp: &Stamp, row: &CountRow) -> Done<()> {
        let (of, unit) = self.shelved(&row.item_or_bottling)?;
        let place = *known(&self.places, &row.place, "place")?;
        let counted = cell("counted", Milli::read_zero(&row.counted, unit))?;
        let there = self.there(stamp, of, place).await?;
        let by = format!("counted by {}", row.by);
        let reason = if row.note.is_empty() { by } else { format!("{}; {by}", row.note) };
        for (lot, counted) in differences(&there, counted)? {
            let reason = reason.clone();
            let found = Counted { day: stamp.day, lot, place, counted, reason };
            stock::record_count(self.db, &stamp.by, None, found).await?;
        }
        Ok(())
    }

    async fn take_back(&mut self, stamp: &Stamp, row: &ReversalRow) -> Done<()> {
        let order =
            TakeBack { entry: *known(&self.entries, &row.which, "which")?, reason: row.reason.clone() };
        record_reversal(self.db, &stamp.by, None, order).await.map(|_| ())
    }

    /// An item or a bottling, and the unit it is counted in.
    fn shelved(&self, name: &str) -> Done<(Shelved, BaseUnit)> {
        if let Some((_, lot)) = self.bottlings.get(name) {
            return Ok((Shelved::Lot(*lot), BaseUnit::Piece));
        }
        let (item, unit) = *known(&self.items, name, "item_or_bottling")?;
        Ok((Shelved::Item(item), unit))
    }

    /// What is left of it at a place, first-expired-first.
    async fn there(&self, stamp: &Stamp, of: Shelved, place: PlaceId) -> Done<Vec<Shelf>> {
        let club = stamp.by.club;
        let mut found = self.db.read(move |conn| shelves(conn, club, of)).await?;
        found.retain(|shelf| shelf.place == place);
        Ok(found)
    }
}

async fn read(db: Database, at: Line, by: Cellarhand, reading: NewReading) -> Result<(), Error> {
    record_reading(&db, &by, None, reading).await.map(|_| ()).map_err(|why| at.failed(why))
}

/// How much of a quantity comes from which lot.
fn taken(there: &[Shelf], quantity: Milli, unit: BaseUnit) -> Done<Vec<(LotId, Milli)>> {
    let mut rest = quantity;
    let mut parts = Vec::new();
    for shelf in there {
        let part = rest.min(shelf.holding.quantity);
        if part > Milli::ZERO {
            parts.push((shelf.lot, part));
        }
        rest = rest - part;
    }
    if rest > Milli::ZERO {
        let there = (quantity - rest).shown(unit);
        return Err(Refusal::conflict("quantity", format!("Only {there} is there")).into());
    }
    Ok(parts)
}

/// Which lots hold another quantity than the books say, and what they hold, when `counted` of all was found.
fn differences(there: &[Shelf], counted: Milli) -> Done<Vec<(LotId, Milli)>> {
    let by_the_books: Milli = there.iter().map(|shelf| shelf.holding.quantity).sum();
    if counted > by_the_books {
        let last = there.last().ok_or_else(|| Refusal::conflict("counted", "No lot of it was ever there"))?;
        return Ok(vec![(last.lot, last.holding.quantity + (counted - by_the_books))]);
    }
    let missing = taken(there, by_the_books - counted, BaseUnit::Piece)?;
    Ok(there
        .iter()
        .zip(missing)
        .map(|(shelf, (lot, missing))| (lot, shelf.holding.quantity - missing))
        .collect())
}

/// What a name stands for.
pub(super) fn known<'m, T>(names: &'m HashMap<String, T>, name: &str, field: &str) -> Done<&'m T> {
    names
        .get(name)
        .ok_or_else(|| Refusal::unfit(field, format!("“{name}” is in no row before this one")).into())
}

/// A cell that was read, or why it was not.
fn cell<T>(field: &str, read: Result<T, Misread>) -> Done<T> {
    read.map_err(|why| Refusal::unfit(field, why).into())
}

/// A cell with something in it.
pub(super) fn optional(cell: &str) -> Option<&str> {
    (!cell.is_empty()).then_some(cell)
}

/// `rule=words`, or nothing.
fn reasons(cell: &str) -> Done<Reasons> {
    let Some(cell) = optional(cell) else { return Ok(Reasons::default()) };
    let read = cell.split_once('=').and_then(|(rule, words)| Some((Rule::from_code(rule)?, words)));
    let (rule, words) = read.ok_or_else(|| Refusal::unfit("because", "Write it as rule=words"))?;
    Ok(Reasons::default().with(rule, words))
}

fn after(day: Day, days: u32) -> Day {
    day + chrono::Duration::days(i64::from(days))
}
