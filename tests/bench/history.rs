//! A club’s years, written through the rules and rows of the program in large transactions: batches from receipt to
//! last bottle, all ended and used up, so that a longer history leaves no more in the cellar than a short one.

use chrono::Duration;
use undercroft::db::batches::{NewBatch, Reading};
use undercroft::db::{AnyConn, Failure, batches, books, bottles, reminders, stock, tastings};
use undercroft::domain::batches::{
    ByProduct, Draw, DrawLine, Ending, Loss, Racking, Source, Supply, draw_into, end, lose, rack, weigh_off,
};
use undercroft::domain::books::NewEntry;
use undercroft::domain::bottles::{Bottling, Purpose, Withdrawal, bottle, withdraw};
use undercroft::domain::cautions::Reasons;
use undercroft::domain::members::Doer;
use undercroft::domain::refusal::Refusal;
use undercroft::domain::reminders as due;
use undercroft::domain::stock::{Counted, Item, Receipt, ReceiptLine, difference, receive};
use undercroft::domain::tastings::{Method, Plan};
use undercroft::units::days::{Day, Instant};
use undercroft::units::ids::{
    BatchId, BottlingId, EntryId, ItemId, LotId, MemberId, PlaceId, ReadingId, TastingId,
};
use undercroft::units::measure::ReadingKind;
use undercroft::units::money::Money;
use undercroft::units::quantity::Milli;

/// What goes into every batch, from lots of its own: item, how much, what it cost.
const SUPPLIES: [(usize, i64, i64); 4] =
    [(0, 30_000_000, 36_000_000), (1, 4_000_000, 5_200_000), (2, 2_000, 1_500_000), (3, 20_000, 900_000)];
/// The yeast, then bottles and corks.
const YEAST: (usize, i64, i64) = (4, 12_000, 2_000_000);
const PACKAGING: [(usize, i64, i64); 2] = [(5, 30_000, 21_000_000), (6, 30_000, 3_600_000)];
const BOTTLES: u32 = 30;

/// Writes into one cellar.
pub struct Maker<'c> {
    pub conn: &'c mut AnyConn,
    pub doer: Doer,
    /// Whoever pays and takes bottles, in turn.
    pub members: Vec<MemberId>,
    /// What is kept, with its rules; the first seven go into every batch.
    pub items: Vec<(ItemId, Item)>,
    pub curds: (ItemId, Item),
    pub drink: ItemId,
    pub places: Vec<PlaceId>,
    /// How many postings were written.
    pub postings: u64,
    /// How many batches were made.
    pub made: usize,
}

/// How far a batch is taken.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub enum Until {
    /// Its yeast is pitched and its gravity falls.
    Working,
    /// It is bottled, and half of the bottles are left.
    LaidDown,
    /// All is drunk, and it is closed.
    Closed,
}

#[allow(clippy::needless_pass_by_value, reason = "made for map_err")]
pub fn refused(refusal: Refusal) -> Failure {
    Failure::Fault(refusal.to_string())
}

fn evening(day: Day) -> Result<Instant, Failure> {
    day.and_hms_opt(18, 0, 0).ok_or_else(|| Failure::Fault("a day has an evening".to_owned()))
}

impl Maker<'_> {
    fn member(&self) -> MemberId {
        self.members[self.made % self.members.len()]
    }

    fn place(&self) -> PlaceId {
        self.places[self.made % self.places.len()]
    }

    /// A line of a receipt.
    pub fn line(&self, (item, quantity, cost): (usize, i64, i64), best_before: Option<Day>) -> ReceiptLine {
        ReceiptLine {
            item: self.items[item].0,
            quantity: Milli::new(quantity),
            cost: Money::from_micros(cost),
            place: self.place(),
            best_before,
            supplier: "Quay Stores".to_owned(),
            supplier_mark: String::new(),
        }
    }

    /// Supplies come.
    pub fn receipt(&mut self, day: Day, lines: Vec<ReceiptLine>) -> Result<Vec<LotId>, Failure> {
        let receipt = Receipt { day, paid_by: Some(self.member()), lines, remark: String::new() };
        let lots: Vec<LotId> = receipt.lines.iter().map(|_| LotId::fresh()).collect();
        let entry = receive(&receipt, &lots).map_err(refused)?;
        let code = format!("R-{}", self.number("receipt")?);
        let id = self.begin(&entry, Some(&code))?;
        for (line, lot) in receipt.lines.iter().zip(&lots) {
            let code = format!("L-{}", self.number("lot")?);
            stock::add_received(self.conn, self.doer.club, *lot, &code, id, day, line)?;
        }
        self.post(id, &entry)?;
        Ok(lots)
    }

    /// A batch from its receipt on, its gravity read every third day for a fortnight, its bottles taken one by one.
    pub fn batch(&mut self, day: Day, until: Until) -> Result<BatchId, Failure> {
        self.made += 1;
        let batch = self.planned(day)?;
        let lines =
            SUPPLIES.into_iter().chain([YEAST]).chain(PACKAGING).map(|supply| self.line(supply, None));
        let lines = lines.collect();
        let lots = self.receipt(day, lines)?;
        for (lot, supply) in lots.iter().zip(SUPPLIES) {
            self.draw(batch, day, &[(*lot, supply)], false)?;
        }
        let curds = self.weigh_off(batch, day)?;
        self.draw(batch, day + Duration::days(1), &[(lots[4], YEAST)], true)?;
        for at in 0..6 {
            self.read(batch, day + Duration::days(1 + 3 * at), 1_090_000 - 14_000 * at)?;
        }
        if until == Until::Working {
            batches::restage(self.conn, batch)?;
            return Ok(batch);
        }
        self.count_off(curds, day + Duration::days(9))?;
        let day = day + Duration::days(20);
        self.rack_and_lose(batch, day)?;
        let packaging: Vec<_> = lots[5..].iter().copied().zip(PACKAGING).collect();
        let (bottling, lot) = self.bottle(batch, day, &packaging)?;
        let glasses: &[u32] = if until == Until::Closed { &[6, 6, 6, 6, 6] } else { &[5, 5, 5] };
        for (at, bottles) in (1..).zip(glasses) {
            let day = day + Duration::days(14 * at);
            self.take(
                (batch, bottling, lot),
                day,
                *bottles,
                if at == 1 { Purpose::Tasting } else { Purpose::Taken },
            )?;
        }
        if self.made.is_multiple_of(10) {
            self.tasting(bottling, day + Duration::days(14))?;
        }
        if until == Until::Closed {
            let standing = batches::standing(self.conn, self.doer.club, batch)?;
            let ending =
                Ending { batch, day: day + Duration::days(80), abandoned: false, reason: String::new() };
            let entry = end(&standing, &ending).map_err(refused)?;
            self.record(&entry)?;
        }
        batches::restage(self.conn, batch)?;
        Ok(batch)
    }

    /// A batch on paper.
    pub fn planned(&mut self, day: Day) -> Result<BatchId, Failure> {
        let (id, code) = (BatchId::fresh(), self.number("batch")?.to_string());
        let by = self.doer.member;
        let new =
            NewBatch { id, code: &code, name: "Tide White", base_volume: None, day, by, came_from: None };
        batches::add(self.conn, self.doer.club, &new)?;
        Ok(id)
    }

    /// Supplies of these lots go into a batch.
    pub fn draw(
        &mut self,
        batch: BatchId,
        day: Day,
        of: &[(LotId, (usize, i64, i64))],
        pitch: bool,
    ) -> Result<(), Failure> {
        let standing = batches::standing(self.conn, self.doer.club, batch)?;
        let (lines, mut supplies) = self.supplies(of)?;
        let remark = String::new();
        let order = Draw { batch, day, pitch, lines, volume_after: None, remark };
        let entry = draw_into(&standing, &order, &mut supplies).map_err(refused)?;
        self.record(&entry)
    }

    fn supplies(
        &mut self,
        of: &[(LotId, (usize, i64, i64))],
    ) -> Result<(Vec<DrawLine>, Vec<Supply>), Failure> {
        let (mut lines, mut supplies) = (Vec::new(), Vec::new());
        for (lot, (item, quantity, _)) in of {
            let quantity = Milli::new(*quantity);
            lines.push(DrawLine { source: Source::Lot(*lot), quantity, expired_because: None });
            let shelves = stock::shelves(self.conn, self.doer.club, stock::Shelved::Lot(*lot))?;
            supplies.push(Supply { item: self.items[*item].1.clone(), shelves });
        }
        Ok((lines, supplies))
    }

    fn weigh_off(&mut self, batch: BatchId, day: Day) -> Result<LotId, Failure> {
        let standing = batches::standing(self.conn, self.doer.club, batch)?;
        let (lot, best_before) = (LotId::fresh(), Some(day + Duration::days(10)));
        let order = ByProduct {
            batch,
            day,
            item: self.curds.0,
            quantity: Milli::new(5_000_000),
            place: self.place(),
            best_before,
            value_per_unit: None,
            volume_after: None,
            remark: String::new(),
        };
        let entry = weigh_off(&standing, &order, &self.curds.1, lot).map_err(refused)?;
        let code = format!("L-{}", self.number("lot")?);
        let id = self.begin(&entry, None)?;
        let item = self.curds.0;
        let batch = Some(batch);
        let new = stock::NewLot {
            code: &code,
            item,
            entry: id,
            batch,
            day,
            best_before,
            supplier: "",
            supplier_mark: "",
        };
        stock::add_lot(self.conn, self.doer.club, lot, &new)?;
        self.post(id, &entry)?;
        Ok(lot)
    }

    /// Curds that were eaten: a count finds none.
    fn count_off(&mut self, lot: LotId, day: Day) -> Result<(), Failure> {
        let mut shelves = stock::shelves(self.conn, self.doer.club, stock::Shelved::Lot(lot))?;
        let there = shelves.first_mut().ok_or_else(|| Failure::Fault("no curds".to_owned()))?;
        let place = there.place;
        let count = Counted { day, lot, place, counted: Milli::ZERO, reason: "eaten".to_owned() };
        let entry = difference(&count, there, self.curds.1.unit).map_err(refused)?;
        self.record(&entry)
    }

    fn rack_and_lose(&mut self, batch: BatchId, day: Day) -> Result<(), Failure> {
        let standing = batches::standing(self.conn, self.doer.club, batch)?;
        let racking = Racking { batch, day, volume_after: None, remark: String::new() };
        let entry = rack(&standing, &racking).map_err(refused)?;
        self.record(&entry)?;
        let (volume, reason) = (Milli::new(1_000_000), "lees".to_owned());
        let loss = Loss { batch, day, volume, normal: true, reason };
        let entry = lose(&standing, &loss).map_err(refused)?;
        self.record(&entry)
    }

    /// All that is left goes into bottles or is spilt.
    fn bottle(
        &mut self,
        batch: BatchId,
        day: Day,
        packaging: &[(LotId, (usize, i64, i64))],
    ) -> Result<(BottlingId, LotId), Failure> {
        let club = self.doer.club;
        let standing = batches::standing(self.conn, club, batch)?;
        let (lines, mut supplies) = self.supplies(packaging)?;
        let bottle_volume = Milli::new(750_000);
        let filled = Milli::new(bottle_volume.get() * i64::from(BOTTLES));
        let lost_volume = standing.holding.quantity - filled;
        let order = Bottling {
            batch,
            day,
            bottles: BOTTLES,
            broken: 0,
            bottle_volume,
            lost_volume,
            packaging: lines,
            place: self.place(),
            tasting_ages_days: vec![90, 180],
            ages_by_warmth: false,
            reasons: Reasons::default(),
            remark: String::new(),
        };
        let (lot, id) = (LotId::fresh(), BottlingId::fresh());
        let mut entry = bottle(&standing, &order, &mut supplies, lot).map_err(refused)?;
        entry.bottling = Some(id);
        let code = format!("{}-1", standing.code);
        let made = self.begin(&entry, None)?;
        let new = stock::NewLot {
            code: &code,
            item: self.drink,
            entry: made,
            batch: Some(batch),
            day,
            best_before: None,
            supplier: "",
            supplier_mark: "",
        };
        stock::add_lot(self.conn, club, lot, &new)?;
        let row = bottles::Bottling {
            id,
            code,
            batch,
            name: String::new(),
            lot,
            entry: made,
            bottled_on: day,
            bottles: i64::from(BOTTLES),
            broken: 0,
            bottle_volume,
            lost_volume,
            strength: None,
            strength_basis: String::new(),
        };
        bottles::add(self.conn, club, &row)?;
        for age in [90, 180] {
            bottles::add_age(self.conn, club, id, (age, false), day + Duration::days(age))?;
        }
        self.post(made, &entry)?;
        Ok((id, lot))
    }

    fn take(
        &mut self,
        (batch, bottling, lot): (BatchId, BottlingId, LotId),
        day: Day,
        bottles: u32,
        purpose: Purpose,
    ) -> Result<(), Failure> {
        let mut shelves = stock::shelves(self.conn, self.doer.club, stock::Shelved::Lot(lot))?;
        let member = Some(self.member());
        let order = Withdrawal {
            bottling,
            day,
            bottles,
            purpose,
            member,
            place: None,
            happened_at: None,
            remark: String::new(),
        };
        let entry = withdraw(&order, batch, &mut shelves).map_err(refused)?;
        self.record(&entry)
    }

    /// Members sat down to a bottling, and its key was opened.
    fn tasting(&mut self, bottling: BottlingId, day: Day) -> Result<(), Failure> {
        let at = evening(day)?;
        let plan = Plan {
            title: "Around the long table".to_owned(),
            host: self.member(),
            day,
            place: "Wheel pit".to_owned(),
            blind: false,
            method: Method::Scored,
            question: String::new(),
            expected: None,
            samples: vec![bottling],
            pour_volume: Milli::new(60_000),
            tasters: self.members.iter().copied().take(6).collect(),
            pourer: None,
        };
        let (id, code) = (TastingId::fresh(), format!("T-{}", self.number("tasting")?));
        tastings::add(self.conn, self.doer.club, id, &code, &plan, at)?;
        tastings::open(self.conn, id, at)
    }

    /// A gravity, and the reminder that asked for it.
    pub fn read(&mut self, batch: BatchId, day: Day, gravity: i64) -> Result<(), Failure> {
        let at = evening(day)?;
        let value = undercroft::units::measure::Measured::from_micros(gravity);
        let row = Reading {
            id: ReadingId::fresh(),
            at,
            kind: ReadingKind::Gravity,
            read: value,
            sample_c: None,
            value,
            instrument: None,
            import: None,
            source: String::new(),
            remark: String::new(),
            by: String::new(),
            struck: None,
        };
        let (club, by) = (self.doer.club, self.doer.member);
        reminders::make(self.conn, club, &due::reading(batch, day - Duration::days(3)), at)?;
        batches::add_readings(self.conn, club, batch, by, at, &[row])?;
        reminders::settle_readings(self.conn, batch, by, at)
    }

    fn record(&mut self, entry: &NewEntry) -> Result<(), Failure> {
        let id = self.begin(entry, None)?;
        self.post(id, entry)
    }

    fn begin(&mut self, entry: &NewEntry, code: Option<&str>) -> Result<EntryId, Failure> {
        let id = EntryId::fresh();
        books::begin_entry(self.conn, &self.doer, id, code, entry)?;
        Ok(id)
    }

    fn post(&mut self, id: EntryId, entry: &NewEntry) -> Result<(), Failure> {
        self.postings += entry.postings.len() as u64;
        books::post(self.conn, self.doer.club, id, entry)
    }

    fn number(&mut self, of: &str) -> Result<i64, Failure> {
        books::next_number(self.conn, self.doer.club, of)
    }
}
