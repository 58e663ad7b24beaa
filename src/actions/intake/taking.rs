//! What the rows of a table become, kept as they come: supplies in receipts of some hundreds, readings by batch,
//! bottles by batch and day.

use std::collections::{BTreeMap, HashMap, HashSet};

use crate::actions::Done;
use crate::actions::batches::{SOURCE, drawn, new_batch, racked};
use crate::actions::bottles::filled_before;
use crate::actions::stock::taken_in;
use crate::db::batches::{self as batch_rows, Import, Reading};
use crate::db::intake::{Intake, Things, What};
use crate::db::{AnyConn, Failure, members, reminders, stock};
use crate::domain::batches::{Draw, DrawLine, Racking, Source, Stage};
use crate::domain::bottles::Bottling;
use crate::domain::cautions::Reasons;
use crate::domain::intake::{Bottles, Held, Made, NewBatch, Read, Supply};
use crate::domain::members::{Doer, NOWHERE, Role};
use crate::domain::stock::{Item, ItemKind, Receipt, ReceiptLine};
use crate::units::days::Day;
use crate::units::ids::{BatchId, ImportId, ItemId, MemberId, PlaceId, ReadingId};
use crate::units::money::Money;
use crate::units::quantity::{BaseUnit, Milli};
use crate::units::text::folded;

/// Lines of one receipt.
const LINES: usize = 500;
/// Readings that are kept at once.
const READINGS: usize = 2000;

/// Keeps what rows become.
pub(super) struct Taking {
    things: Things,
    remark: String,
    file_name: String,
    lots: BTreeMap<Day, Vec<ReceiptLine>>,
    readings: BTreeMap<BatchId, Vec<Read>>,
    bottles: Vec<Bottles>,
    musts: HashMap<String, ItemId>,
}

/// Drink that comes into a batch as it stands in a table.
struct Came<'a> {
    drink: &'a str,
    allergens: &'a [String],
    volume: Milli,
    cost: Money,
    place: PlaceId,
    day: Day,
    /// Its yeast is in it.
    pitch: bool,
}

impl Taking {
    pub(super) fn new(intake: &Intake) -> Self {
        Self {
            things: Things::of(intake.id),
            remark: format!("Brought in with the table “{}”", intake.file_name),
            file_name: intake.file_name.clone(),
            lots: BTreeMap::new(),
            readings: BTreeMap::new(),
            bottles: Vec::new(),
            musts: HashMap::new(),
        }
    }

    /// Keeps what a row became, now or together with others.
    pub(super) fn take(&mut self, conn: &mut AnyConn, doer: &Doer, made: Made) -> Done<()> {
        match made {
            Made::Item(item) => {
                let id = ItemId::fresh();
                stock::add_item(conn, doer.club, id, &item)?;
                self.things.made(conn, What::Items, id.0)?;
            }
            Made::Places(places) => {
                for place in places {
                    let (name, path) = (&place.name, &place.path);
                    stock::add_place(conn, doer.club, place.id, place.within, name, path, place.capacity)?;
                    self.things.made(conn, What::Places, place.id.0)?;
                }
            }
            Made::Member { name, role, joined_on } => {
                let id = member(conn, doer, &name, role, joined_on)?;
                self.things.made(conn, What::Members, id.0)?;
            }
            Made::Lot(Supply { day, line }) => {
                let lines = self.lots.entry(day).or_default();
                lines.push(line);
                if lines.len() == LINES {
                    let lines = std::mem::take(lines);
                    self.receive(conn, doer, day, lines)?;
                }
            }
            Made::Batch(batch) => self.batch(conn, doer, &batch)?,
            Made::Readings(read) => self.readings.entry(read.batch).or_default().push(read),
            Made::Bottles(bottles) => self.bottles.push(bottles),
        }
        Ok(())
    }

    /// Keeps what waited for others; how many readings were there before.
    pub(super) fn finish(mut self, conn: &mut AnyConn, doer: &Doer) -> Done<usize> {
        for (day, lines) in std::mem::take(&mut self.lots) {
            if !lines.is_empty() {
                self.receive(conn, doer, day, lines)?;
            }
        }
        let mut known = 0;
        for (batch, read) in std::mem::take(&mut self.readings) {
            known += self.readings_of(conn, doer, batch, read)?;
        }
        let bottles = std::mem::take(&mut self.bottles);
        self.lay_down(conn, doer, bottles)?;
        self.things.keep(conn)?;
        Ok(known)
    }

    fn receive(&mut self, conn: &mut AnyConn, doer: &Doer, day: Day, lines: Vec<ReceiptLine>) -> Done<()> {
        let receipt = Receipt { day, paid_by: None, lines, remark: self.remark.clone() };
        let made = taken_in(conn, doer, &receipt)?;
        Ok(self.things.made(conn, What::Entries, made.entry.0)?)
    }

    fn batch(&mut self, conn: &mut AnyConn, doer: &Doer, new: &NewBatch) -> Done<()> {
        let batch = new_batch(conn, doer, &new.name, new.base_volume, new.day, None)?.id;
        self.things.made(conn, What::Batches, batch.0)?;
        let Some(held) = &new.held else { return Ok(()) };
        let Held { volume, cost, place, pitched_on, .. } = *held;
        let (day, pitch) = (pitched_on.unwrap_or(new.day), held.stage > Stage::Preparing);
        let came = Came { drink: &new.name, allergens: &held.allergens, volume, cost, place, day, pitch };
        self.come(conn, doer, batch, &came)?;
        if held.stage == Stage::Resting {
            let order = Racking { batch, day, volume_after: None, remark: self.remark.clone() };
            let entry = racked(conn, doer, &order)?;
            self.things.made(conn, What::Entries, entry.0)?;
        }
        Ok(())
    }

    /// What a batch held before these books comes in as a supply of its own and is drawn into it: so its cost and what
    /// is in it are found where those of every batch are.
    fn come(&mut self, conn: &mut AnyConn, doer: &Doer, batch: BatchId, came: &Came) -> Done<()> {
        let line = ReceiptLine {
            item: self.must(conn, doer, came.drink, came.allergens)?,
            quantity: came.volume,
            cost: came.cost,
            place: came.place,
            best_before: None,
            supplier: String::new(),
            supplier_mark: String::new(),
        };
        let receipt =
            Receipt { day: came.day, paid_by: None, lines: vec![line], remark: self.remark.clone() };
        let received = taken_in(conn, doer, &receipt)?;
        self.things.made(conn, What::Entries, received.entry.0)?;
        let of = |lot| DrawLine { source: Source::Lot(lot), quantity: came.volume, expired_because: None };
        let order = Draw {
            batch,
            day: came.day,
            pitch: came.pitch,
            lines: received.lots.iter().map(|lot| of(lot.0)).collect(),
            volume_after: None,
            remark: self.remark.clone(),
        };
        let entry = drawn(conn, doer, &order)?;
        Ok(self.things.made(conn, What::Entries, entry.0)?)
    }

    /// The item that such drink is; made the first time.
    fn must(&mut self, conn: &mut AnyConn, doer: &Doer, drink: &str, allergens: &[String]) -> Done<ItemId> {
        let with =
            if allergens.is_empty() { String::new() } else { format!(" (with {})", allergens.join(", ")) };
        let name = format!("{drink} of before{with}");
        if let Some(id) = self.musts.get(&folded(&name)) {
            return Ok(*id);
        }
        let id = if let Some((id, _)) = stock::item_named(conn, doer.club, &name)? {
            id
        } else {
            let id = ItemId::fresh();
            let item = Item {
                name: name.clone(),
                kind: ItemKind::Ingredient,
                unit: BaseUnit::Millilitre,
                density_micro: None,
                allergens: allergens.to_vec(),
                value_per_unit: None,
                low_at: None,
                made_for_mbar: None,
                sugar_mg_per_kg: None,
                lactose_mg_per_kg: None,
                fat_mg_per_kg: None,
                casein_mg_per_kg: None,
                splits_lactose: false,
            };
            stock::add_item(conn, doer.club, id, &item)?;
            id
        };
        self.musts.insert(folded(&name), id);
        Ok(id)
    }

    fn readings_of(
        &mut self,
        conn: &mut AnyConn,
        doer: &Doer,
        batch: BatchId,
        mut read: Vec<Read>,
    ) -> Done<usize> {
        read.sort_by_key(|read| read.at);
        let (Some(first), Some(last)) = (read.first(), read.last()) else { return Ok(0) };
        let ends = (first.at, last.at);
        let mut seen: HashSet<_> = batch_rows::given_by(conn, batch, SOURCE, ends)?.into_iter().collect();
        let import = ImportId::fresh();
        let all: usize = read.iter().map(|read| read.values.len()).sum();
        for read in &mut read {
            let at = read.at;
            read.values.retain(|value| seen.insert((value.0, at)));
        }
        let kept: usize = read.iter().map(|read| read.values.len()).sum();
        if kept == 0 {
            return Ok(all);
        }
        let count = |count: usize| i64::try_from(count).unwrap_or(i64::MAX);
        let act = Import {
            id: import,
            batch,
            file_name: self.file_name.clone(),
            kept: count(kept),
            known: count(all - kept),
            left_out: 0,
            by: String::new(),
            at: doer.now,
            undone_at: None,
        };
        batch_rows::add_import(conn, doer.club, doer.member, &act)?;
        self.things.made(conn, What::Imports, import.0)?;
        let mut some = Vec::with_capacity(READINGS);
        for read in read {
            for (kind, shown, value) in read.values {
                some.push(Reading {
                    id: ReadingId::fresh(),
                    at: read.at,
                    kind,
                    read: shown,
                    sample_c: read.sample_c,
                    value,
                    instrument: None,
                    import: Some(import),
                    source: SOURCE.to_owned(),
                    remark: read.remark.clone(),
                    by: String::new(),
                    struck: None,
                });
            }
            if some.len() >= READINGS {
                keep(conn, doer, batch, &mut some)?;
            }
        }
        keep(conn, doer, batch, &mut some)?;
        reminders::settle_readings(conn, batch, doer.member, doer.now)?;
        Ok(all - kept)
    }

    /// Each batch with its fillings, in the order of their days.
    fn lay_down(&mut self, conn: &mut AnyConn, doer: &Doer, bottles: Vec<Bottles>) -> Done<()> {
        let mut by_batch: Vec<Vec<Bottles>> = Vec::new();
        let mut at: HashMap<String, usize> = HashMap::new();
        for filling in bottles {
            let next = by_batch.len();
            match *at.entry(folded(&filling.batch)).or_insert(next) {
                known if known < next => by_batch[known].push(filling),
                _ => by_batch.push(vec![filling]),
            }
        }
        for mut fillings in by_batch {
            fillings.sort_by_key(|filling| filling.day);
            let Some(first) = fillings.first() else { continue };
            let batch = new_batch(conn, doer, &first.name, None, first.day, None)?.id;
            self.things.made(conn, What::Batches, batch.0)?;
            for (at, filling) in fillings.iter().enumerate() {
                self.filled(conn, doer, batch, filling, at == 0)?;
            }
        }
        Ok(())
    }

    fn filled(
        &mut self,
        conn: &mut AnyConn,
        doer: &Doer,
        batch: BatchId,
        filling: &Bottles,
        pitch: bool,
    ) -> Done<()> {
        let too_much = || Failure::Refused("more than can be kept".to_owned());
        let count = i64::from(filling.bottles);
        let volume = filling.bottle_volume.get().checked_mul(count).map(Milli::new).ok_or_else(too_much)?;
        let cost = filling.cost.micros().checked_mul(count).map(Money::from_micros).ok_or_else(too_much)?;
        let came = Came {
            drink: &filling.name,
            allergens: &filling.allergens,
            volume,
            cost,
            place: filling.place,
            day: filling.day,
            pitch,
        };
        self.come(conn, doer, batch, &came)?;
        let order = Bottling {
            batch,
            day: filling.day,
            bottles: filling.bottles,
            broken: 0,
            bottle_volume: filling.bottle_volume,
            lost_volume: Milli::ZERO,
            packaging: Vec::new(),
            place: filling.place,
            tasting_ages_days: filling.tasting_ages_days.clone(),
            ages_by_warmth: false,
            reasons: Reasons::default(),
            remark: self.remark.clone(),
        };
        let bottled = filled_before(conn, doer, &order, filling.strength)?;
        Ok(self.things.made(conn, What::Entries, bottled.entry.0)?)
    }
}

fn keep(conn: &mut AnyConn, doer: &Doer, batch: BatchId, some: &mut Vec<Reading>) -> Result<(), Failure> {
    batch_rows::add_readings(conn, doer.club, batch, doer.member, doer.now, some)?;
    some.clear();
    Ok(())
}

/// A member who has no way to sign in until a steward gives them a link: nobody gives an address for another.
fn member(
    conn: &mut AnyConn,
    doer: &Doer,
    name: &str,
    role: Role,
    joined_on: Day,
) -> Result<MemberId, Failure> {
    let nowhere = format!("{}{NOWHERE}", MemberId::fresh());
    let person = members::add_person(conn, name, &nowhere, "", doer.now)?;
    members::add_member(conn, doer.club, person, name, role, joined_on)
}
