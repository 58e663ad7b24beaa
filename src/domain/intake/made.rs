//! What a club has already, and what the rows of a table ask for.

use std::collections::{HashMap, HashSet};

use chrono_tz::Tz;

use crate::domain::batches::Stage;
use crate::domain::members::Role;
use crate::domain::stock::places::Place;
use crate::domain::stock::{Item, ItemKind, ReceiptLine};
use crate::units::days::{Day, Instant};
use crate::units::ids::{BatchId, ItemId, PlaceId};
use crate::units::measure::{Measured, ReadingKind};
use crate::units::money::Money;
use crate::units::quantity::{BaseUnit, Milli};

/// What the club has already, by the names that rows use for it. Names are in the form in which they are compared.
#[derive(Debug, Clone)]
pub struct Known {
    /// When this is.
    pub now: Instant,
    /// The clock of the club.
    pub zone: Tz,
    /// Items by name.
    pub items: HashMap<String, (ItemId, ItemKind, BaseUnit)>,
    /// Places by all their names.
    pub places: HashMap<String, Place>,
    /// Members by name.
    pub members: HashSet<String>,
    /// Batches by number and by drink, and whether something may still be recorded of them; none where several have
    /// the name.
    pub batches: HashMap<String, Option<Underway>>,
}

/// A batch that readings may be of.
#[derive(Debug, Clone, Copy)]
pub struct Underway {
    /// Which.
    pub id: BatchId,
    /// Something may still be recorded of it.
    pub open: bool,
    /// When its yeast was pitched.
    pub pitched_on: Option<Day>,
}

/// What a row asks for.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Made {
    /// A kind of thing.
    Item(Box<Item>),
    /// A place, with those around it that are not there yet, the outermost first.
    Places(Vec<Place>),
    /// A person.
    Member {
        /// Their name.
        name: String,
        /// What they may do.
        role: Role,
        /// Since when.
        joined_on: Day,
    },
    /// Something in stock.
    Lot(Supply),
    /// A batch.
    Batch(NewBatch),
    /// Values that were read at once.
    Readings(Read),
    /// Bottles that lie in the cellar.
    Bottles(Bottles),
}

/// Supplies that are in stock.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Supply {
    /// When they came.
    pub day: Day,
    /// What, how much, at what cost, where.
    pub line: ReceiptLine,
}

/// A batch, planned or under way.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct NewBatch {
    /// The drink.
    pub name: String,
    /// When it was begun.
    pub day: Day,
    /// How much base there was to be.
    pub base_volume: Option<Milli>,
    /// What is in it, where something is.
    pub held: Option<Held>,
}

/// Drink that is there already.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Held {
    /// How much.
    pub volume: Milli,
    /// What it has cost.
    pub cost: Money,
    /// How far it is: preparing, working or resting.
    pub stage: Stage,
    /// When the yeast was pitched.
    pub pitched_on: Option<Day>,
    /// Where it stands.
    pub place: PlaceId,
    /// What is in it of what must be named.
    pub allergens: Vec<String>,
}

/// Values of a batch that were read at once.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Read {
    /// Of which batch.
    pub batch: BatchId,
    /// When.
    pub at: Instant,
    /// What, as read and as corrected.
    pub values: Vec<(ReadingKind, Measured, Measured)>,
    /// The temperature of the sample.
    pub sample_c: Option<Measured>,
    /// A remark.
    pub remark: String,
}

/// Bottles of one filling.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Bottles {
    /// Its batch, as the table calls it; rows that call it the same are of one.
    pub batch: String,
    /// The drink.
    pub name: String,
    /// When it was filled.
    pub day: Day,
    /// How many bottles there are.
    pub bottles: u32,
    /// What each holds.
    pub bottle_volume: Milli,
    /// What each has cost.
    pub cost: Money,
    /// Where they lie.
    pub place: PlaceId,
    /// What is in it of what must be named.
    pub allergens: Vec<String>,
    /// % vol, where it is known.
    pub strength: Option<Measured>,
    /// When it is to be tasted.
    pub tasting_ages_days: Vec<u32>,
}
