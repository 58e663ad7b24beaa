//! A club of the real program in which deeds are done through the actions, and what its books then say.

use std::collections::BTreeMap;

use diesel::prelude::*;
use diesel::sql_types::{BigInt, Text};
use undercroft::actions::{Done, batches, bottles, reversals, stock};
use undercroft::db::connection::AnyConn;
use undercroft::db::trace::trace;
use undercroft::db::{Database, stock as shelves};
use undercroft::domain::batches::{
    ByProduct, Draw, DrawLine, Ending, Loss, Racking, Source as From, Transfer,
};
use undercroft::domain::books::Account;
use undercroft::domain::bottles::{Bottling, Purpose, Withdrawal};
use undercroft::domain::cautions::{Reasons, Rule};
use undercroft::domain::members::Taster;
use undercroft::domain::stock::{Counted, Item, ItemKind, Move, Receipt, ReceiptLine};
use undercroft::units::days;
use undercroft::units::ids::{BatchId, BottlingId, EntryId, ItemId, LotId, MemberId, PlaceId};
use undercroft::units::money::Money;
use undercroft::units::quantity::{BaseUnit, Milli};

use super::deeds::{self, Amount, Bought, Day, Deed, Held, Source, Spot, Take};
use super::traces::Told;
use crate::ground::{self, Club, Ground};

/// Name, kind, unit, density in millionths of g/mL, worth of a unit in millionths.
type Kept = (&'static str, ItemKind, BaseUnit, Option<i64>, Option<i64>);

/// What the club of the tests keeps; by-products have the last two numbers.
const ITEMS: [Kept; 8] = [
    ("Whole milk", ItemKind::Ingredient, BaseUnit::Millilitre, None, None),
    ("Cane sugar", ItemKind::Ingredient, BaseUnit::Gram, Some(1_587_000), None),
    ("Pears", ItemKind::Ingredient, BaseUnit::Gram, None, None),
    ("Dry yeast", ItemKind::Aid, BaseUnit::Gram, None, None),
    ("Bottle 75 cl", ItemKind::Packaging, BaseUnit::Piece, None, None),
    ("Cork 38 mm", ItemKind::Packaging, BaseUnit::Piece, None, None),
    ("Curds", ItemKind::ByProduct, BaseUnit::Gram, Some(1_060_000), Some(15_500)),
    ("Lees", ItemKind::ByProduct, BaseUnit::Millilitre, None, None),
];
/// The first of the items that come off a batch.
pub const BY_PRODUCTS: std::ops::Range<usize> = 6..8;
/// The items that come in bottling: bottle and cork.
pub const PACKAGING: std::ops::Range<usize> = 4..6;
/// Places to stand things at.
pub const PLACES: usize = 3;
/// Members who pay and take.
pub const MEMBERS: usize = 3;

/// The same items as the model counts them.
pub fn items() -> Vec<deeds::Item> {
    ITEMS
        .iter()
        .map(|(_, kind, unit, density, worth)| deeds::Item {
            unit: unit.sign(),
            density: density.map(i128::from),
            adds: *kind == ItemKind::Ingredient,
            worth: worth.map_or(0, Amount::from),
        })
        .collect()
}

/// The club, its database, and what the numbers of the model stand for.
pub struct World {
    db: Database,
    conn: AnyConn,
    club: Club,
    members: Vec<MemberId>,
    items: Vec<ItemId>,
    places: Vec<PlaceId>,
    lots: Vec<LotId>,
    batches: Vec<BatchId>,
    bottlings: Vec<BottlingId>,
    entries: Vec<EntryId>,
}

impl World {
    /// A new club with items and places, and nothing in its books.
    pub async fn new(ground: &Ground) -> Self {
        let db = ground.open();
        let club = ground::club(&db, "Tidemill Cellar Club").await;
        let mut items = Vec::new();
        for kept in &ITEMS {
            items.push(stock::add_item(&db, &club.hand, None, item(kept)).await.expect("a new item"));
        }
        let mut places: Vec<PlaceId> = Vec::new();
        for (name, within) in [("Cellar", None), ("Rack", Some(0)), ("Fridge", None)] {
            let within = within.map(|at: usize| places[at]);
            let place = stock::NewPlace { name: name.to_owned(), within, capacity: None };
            places.push(stock::add_place(&db, &club.hand, None, place).await.expect("a new place"));
        }
        let members = vec![club.steward.member, club.hand.member, club.taster.member];
        let conn = db.connection().expect("a connection of its own");
        Self {
            db,
            conn,
            club,
            members,
            items,
            places,
            lots: Vec::new(),
            batches: Vec::new(),
            bottlings: Vec::new(),
            entries: Vec::new(),
        }
    }

    /// Does a deed through the action that a page would call.
    pub async fn perform(&mut self, deed: &Deed) -> Done<()> {
        let (db, hand) = (&self.db, &self.club.hand);
        let entry = match deed {
            Deed::Plan => {
                let plan = batches::Plan { name: "Whey wine".to_owned(), base_volume: None, day: date(0) };
                self.batches.push(batches::plan(db, hand, None, plan).await?.id);
                return Ok(());
            }
            Deed::Receive { day, payer, lines } => {
                let done = stock::record_receipt(db, hand, None, self.receipt(*day, *payer, lines)).await?;
                self.lots.extend(done.lots.iter().map(|lot| lot.0));
                done.entry
            }
            Deed::Draw { batch, day, pitch, lines, volume_after } => {
                let order = Draw {
                    batch: self.batches[*batch],
                    day: date(*day),
                    pitch: *pitch,
                    lines: self.draw_lines(lines),
                    volume_after: volume_after.map(milli),
                    remark: String::new(),
                };
                batches::draw(db, hand, None, order).await?.entry
            }
            Deed::WeighOff { .. } => {
                let done = batches::by_product(db, hand, None, self.by_product(deed)).await?;
                self.lots.push(done.lot);
                done.entry
            }
            Deed::Lose { batch, day, volume, normal } => {
                let (batch, day, reason) = (self.batches[*batch], date(*day), "spilt".to_owned());
                let order = Loss { batch, day, volume: milli(*volume), normal: *normal, reason };
                batches::record_loss(db, hand, None, order).await?.entry
            }
            Deed::Rack { batch, day, volume_after } => {
                let (batch, day, remark) = (self.batches[*batch], date(*day), String::new());
                let order = Racking { batch, day, volume_after: volume_after.map(milli), remark };
                batches::record_racking(db, hand, None, order).await?.entry
            }
            Deed::Transfer { batch, day, volume, into } => {
                let order = Transfer {
                    batch: self.batches[*batch],
                    day: date(*day),
                    volume: milli(*volume),
                    into: into.map(|into| self.batches[into]),
                    name: None,
                    remark: String::new(),
                };
                let done = batches::record_transfer(db, hand, None, order).await?;
                if into.is_none() {
                    self.batches.push(done.into);
                }
                done.entry
            }
            Deed::Bottle { .. } => {
                let done = bottles::record_bottling(db, hand, None, self.bottling(deed)).await?;
                self.lots.push(done.lot);
                self.bottlings.push(done.bottling);
                done.entry
            }
            Deed::Withdraw { .. } => {
                let by = Taster::from_doer((**hand).clone()).expect("a cellarhand may what a taster may");
                bottles::record_withdrawal(db, &by, None, self.withdrawal(deed)).await?
            }
            Deed::Move { lot, day, quantity, from, to } => {
                let (from, to) = (self.places[*from], self.places[*to]);
                let order =
                    Move { day: date(*day), lot: self.lots[*lot], quantity: milli(*quantity), from, to };
                stock::move_stock(db, hand, None, order).await?
            }
            Deed::Count { lot, place, day, found } => {
                let (lot, place, reason) = (self.lots[*lot], self.places[*place], "counted".to_owned());
                let count = Counted { day: date(*day), lot, place, counted: milli(*found), reason };
                stock::record_count(db, hand, None, count).await?
            }
            Deed::End { batch, day, abandoned } => {
                let (batch, day, reason) = (self.batches[*batch], date(*day), "it is over".to_owned());
                let order = Ending { batch, day, abandoned: *abandoned, reason };
                batches::record_end(db, hand, None, order).await?.entry
            }
            Deed::Reverse { event } => {
                let order =
                    reversals::TakeBack { entry: self.entries[*event], reason: "a mistake".to_owned() };
                reversals::record_reversal(db, hand, None, order).await?
            }
        };
        self.entries.push(entry);
        Ok(())
    }

    fn receipt(&self, day: Day, payer: Option<usize>, lines: &[Bought]) -> Receipt {
        let line = |line: &Bought| ReceiptLine {
            item: self.items[line.item],
            quantity: milli(line.quantity),
            cost: Money::from_micros(small(line.cost)),
            place: self.places[line.place],
            best_before: line.best_before.map(date),
            supplier: "Weir Farm".to_owned(),
            supplier_mark: String::new(),
        };
        let paid_by = payer.map(|member| self.members[member]);
        Receipt { day: date(day), paid_by, lines: lines.iter().map(line).collect(), remark: String::new() }
    }

    fn draw_lines(&self, lines: &[Take]) -> Vec<DrawLine> {
        let line = |line: &Take| DrawLine {
            source: match line.from {
                Source::Lot(lot) => From::Lot(self.lots[lot]),
                Source::Item(item) => From::Item(self.items[item]),
            },
            quantity: milli(line.quantity),
            expired_because: line.although_expired.then(|| "smelt and tasted".to_owned()),
        };
        lines.iter().map(line).collect()
    }

    fn by_product(&self, deed: &Deed) -> ByProduct {
        let Deed::WeighOff { batch, day, item, quantity, place, after } = deed else {
            unreachable!("only by-products come here")
        };
        ByProduct {
            batch: self.batches[*batch],
            day: date(*day),
            item: self.items[*item],
            quantity: milli(*quantity),
            place: self.places[*place],
            best_before: None,
            value_per_unit: None,
            volume_after: after.map(milli),
            remark: String::new(),
        }
    }

    fn bottling(&self, deed: &Deed) -> Bottling {
        let Deed::Bottle { batch, day, bottles, size, lost, packaging, place } = deed else {
            unreachable!("only bottlings come here")
        };
        Bottling {
            batch: self.batches[*batch],
            day: date(*day),
            bottles: *bottles,
            bottle_volume: milli(*size),
            broken: 0,
            lost_volume: milli(*lost),
            packaging: self.draw_lines(packaging),
            place: self.places[*place],
            tasting_ages_days: vec![90, 365],
            ages_by_warmth: false,
            reasons: Reasons::default().with(Rule::Unfinished, "it stood for a year"),
            remark: String::new(),
        }
    }

    fn withdrawal(&self, deed: &Deed) -> Withdrawal {
        let Deed::Withdraw { bottling, day, bottles, to, place } = deed else {
            unreachable!("only withdrawals come here")
        };
        let (purpose, member) = match to {
            Spot::Member(member) => (Purpose::Taken, Some(self.members[*member])),
            Spot::Tasted => (Purpose::Tasting, None),
            Spot::Given => (Purpose::Gift, None),
            _ => (Purpose::Broken, None),
        };
        Withdrawal {
            bottling: self.bottlings[*bottling],
            day: date(*day),
            bottles: *bottles,
            purpose,
            member,
            place: place.map(|place| self.places[place]),
            happened_at: None,
            remark: String::new(),
        }
    }

    /// The name under which the program keeps a spot.
    pub fn key(&self, spot: Spot) -> String {
        match spot {
            Spot::Shelf { lot, place } => Account::Stock { lot: self.lots[lot], place: self.places[place] },
            Spot::Batch(batch) => Account::Batch(self.batches[batch]),
            Spot::Member(member) => Account::Member(self.members[member]),
            Spot::Payer(member) => Account::Payer(self.members[member]),
            Spot::Purse => Account::Purse,
            Spot::Lost => Account::Lost,
            Spot::Tasted => Account::Tasted,
            Spot::Given => Account::Given,
            Spot::Difference => Account::Difference,
        }
        .key()
    }

    /// Every account with what it holds.
    pub fn balances(&mut self) -> BTreeMap<String, Held> {
        #[derive(QueryableByName)]
        struct Row {
            #[diesel(sql_type = Text)]
            key: String,
            #[diesel(sql_type = BigInt)]
            quantity: i64,
            #[diesel(sql_type = BigInt)]
            cost: i64,
        }
        diesel::sql_query("SELECT key, quantity, cost FROM accounts")
            .load::<Row>(&mut self.conn)
            .expect("the accounts can be read")
            .into_iter()
            .map(|row| (row.key, Held { quantity: row.quantity.into(), cost: row.cost.into() }))
            .collect()
    }

    /// Stage of each batch and the day its yeast was pitched, in the words of the database.
    pub fn stages(&mut self) -> Vec<String> {
        let columns = "stage || ' ' || COALESCE(CAST(pitched_on AS TEXT), 'never')";
        lines(&mut self.conn, &format!("SELECT {columns} AS line FROM batches ORDER BY id"))
    }

    /// Everything that an action may change.
    pub fn told(&mut self) -> Vec<String> {
        told(&mut self.conn)
    }

    /// What the program finds when it re-derives everything.
    pub fn findings(&mut self) -> Vec<String> {
        undercroft::db::verify::verify(&mut self.conn).expect("the check runs").off
    }

    /// The trace of a lot, in the numbers of the model.
    pub fn trace(&mut self, lot: usize) -> Told {
        let found = trace(&mut self.conn, self.club.hand.club, self.lots[lot]).expect("a trace");
        let lot = |id| self.lots.iter().position(|lot| *lot == id).expect("a lot of this club");
        let batch = |id| self.batches.iter().position(|batch| *batch == id).expect("a batch of this club");
        let entry = |id| self.entries.iter().position(|entry| *entry == id).expect("an entry of this club");
        assert!(!found.cut, "these networks are small");
        Told {
            up: found.up.iter().map(|found| lot(found.lot)).collect(),
            down: found.down.iter().map(|found| lot(found.lot)).collect(),
            batches: found.batches.iter().map(|found| batch(found.0)).collect(),
            taken: found
                .taken
                .iter()
                .map(|taken| (entry(taken.entry), lot(taken.lot), i128::from(taken.bottles)))
                .collect(),
        }
    }

    /// What stood on the shelves at the end of a past day: lot and place by number, and what was there.
    pub fn shelves_on(&mut self, day: Day) -> BTreeMap<(usize, usize), Held> {
        let found =
            shelves::stock_on(&mut self.conn, self.club.hand.club, date(day)).expect("stock of a past day");
        let lot = |id| self.lots.iter().position(|lot| *lot == id).expect("a lot of this club");
        let place = |id| self.places.iter().position(|place| *place == id).expect("a place of this club");
        found
            .into_iter()
            .map(|line| {
                let held = Held { quantity: line.quantity.get().into(), cost: line.cost.micros().into() };
                ((lot(line.lot), place(line.place)), held)
            })
            .collect()
    }
}

/// Everything that an action may change, in words that are the same on both databases.
pub fn told(conn: &mut AnyConn) -> Vec<String> {
    let mut told = lines(
        conn,
        "SELECT a.kind || ' ' || COALESCE(l.code, '') || ' ' || COALESCE(p.path, '') || ' ' \
         || COALESCE(b.code, '') || ' ' || COALESCE(m.name, '') || ' since ' || CAST(a.opened_on AS TEXT) \
         || ': ' || CAST(a.quantity AS TEXT) || ' at ' || CAST(a.cost AS TEXT) AS line FROM accounts a \
         LEFT JOIN lots l ON l.id = a.lot_id LEFT JOIN places p ON p.id = a.place_id \
         LEFT JOIN batches b ON b.id = a.batch_id LEFT JOIN members m ON m.id = a.member_id",
    );
    told.extend(lines(
        conn,
        "SELECT 'batch ' || code || ' ' || stage || ' ' || COALESCE(CAST(pitched_on AS TEXT), '') AS line FROM batches",
    ));
    told.extend(lines(conn, "SELECT name || ' ' || CAST(last AS TEXT) AS line FROM counters"));
    told.extend(lines(conn, "SELECT text || ' on ' || CAST(due_on AS TEXT) AS line FROM reminders"));
    told.extend(lines(conn, "SELECT 'reading ' || struck_because AS line FROM readings"));
    told.extend(lines(conn, "SELECT 'place ' || path || ' ' || folded AS line FROM places"));
    told.extend(lines(conn, "SELECT name || ' is ' || role AS line FROM members"));
    told.extend(lines(
        conn,
        "SELECT code || ' ' || title || CASE WHEN begun_at IS NULL THEN '' ELSE ' begun' END \
         || CASE WHEN opened_at IS NULL THEN '' ELSE ' open' END || ' ' || called_off_because AS line FROM tastings",
    ));
    told.extend(lines(
        conn,
        "SELECT asked || CASE WHEN may_taste IS NULL THEN '?' WHEN may_taste THEN ' yes' ELSE ' no' END \
         || CASE WHEN handed_in_at IS NULL THEN '' ELSE ' in' END AS line FROM tasting_sheets",
    ));
    told.extend(lines(conn, "SELECT 'said ' || words AS line FROM tasting_answers"));
    told.extend(lines(conn, "SELECT 'mark ' || CAST(mark AS TEXT) AS line FROM tasting_marks"));
    told.extend(lines(conn, "SELECT name || ' is marked' AS line FROM attributes"));
    for table in TABLES {
        told.extend(lines(
            conn,
            &format!("SELECT '{table} ' || CAST(COUNT(*) AS TEXT) AS line FROM {table}"),
        ));
    }
    told.sort();
    told
}

const TABLES: [&str; 19] = [
    "efforts",
    "instruments",
    "reading_imports",
    "audit",
    "bottlings",
    "entries",
    "invitations",
    "items",
    "lots",
    "members",
    "persons",
    "places",
    "postings",
    "readings",
    "requests",
    "tasting_ages",
    "tasting_glasses",
    "tasting_samples",
    "tokens",
];

fn lines(conn: &mut AnyConn, sql: &str) -> Vec<String> {
    #[derive(QueryableByName)]
    struct Row {
        #[diesel(sql_type = Text)]
        line: String,
    }
    let rows: Vec<Row> = diesel::sql_query(sql).load(conn).unwrap_or_else(|error| panic!("{sql}: {error}"));
    rows.into_iter().map(|row| row.line).collect()
}

fn item((name, kind, unit, density, worth): &Kept) -> Item {
    Item {
        name: (*name).to_owned(),
        kind: *kind,
        unit: *unit,
        density_micro: *density,
        allergens: Vec::new(),
        value_per_unit: worth.map(Money::from_micros),
        low_at: None,
        made_for_mbar: None,
        sugar_mg_per_kg: None,
        lactose_mg_per_kg: None,
        fat_mg_per_kg: None,
        casein_mg_per_kg: None,
        splits_lactose: false,
    }
}

/// The day of the calendar that a number stands for.
pub fn date(day: Day) -> days::Day {
    ground::day("2026-01-01") + chrono::Duration::days(day)
}

fn small(amount: Amount) -> i64 {
    i64::try_from(amount).expect("amounts of the tests are small")
}

fn milli(amount: Amount) -> Milli {
    Milli::new(small(amount))
}
