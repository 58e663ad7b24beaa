//! What is sent and answered about the stores, as the description of the API shows it.

use serde::Serialize;
use utoipa::ToSchema;

use crate::db::stock::{Place, Stocked};
use crate::domain::stock::{Item, Shelf};
use crate::units::ids::{ItemId, LotId};
use crate::units::money::Money;
use crate::units::number;
use crate::units::quantity::{BaseUnit, Milli};
use crate::web::api::Amount;

/// A kind of thing to be kept.
#[derive(ToSchema)]
pub struct NewItem {
    /// Its name, unique in the club.
    #[schema(example = "Sheep's milk, whole")]
    pub name: String,
    /// ingredient, aid, packaging, by-product or drink.
    #[schema(example = "ingredient")]
    pub kind: String,
    /// What it is counted in: g, mL or piece. It cannot be changed later; to change an item it may be
    /// left out.
    #[schema(example = "mL")]
    pub unit: Option<String>,
    /// Density at 20 °C; of what dissolves, the density with which it adds to the volume.
    #[schema(example = "1.036")]
    pub density_g_per_ml: Option<String>,
    /// Of milk, sulphites, gluten, egg, fish, crustaceans, nuts, soya, mustard.
    pub allergens: Option<Vec<String>>,
    /// Net realisable value of one g, mL or piece: what a by-product takes off the cost of its drink.
    #[schema(example = "0.00525")]
    pub value_per_unit: Option<String>,
    /// When less than this is left, it is low.
    pub low_at: Option<Amount>,
    /// The over-pressure in bar that a bottle is made for, by its maker; leave it out where none is stated.
    #[schema(example = "2.5")]
    pub made_for_bar: Option<String>,
    /// Sugar that yeast takes, counted as hexose; cane sugar is 1052.6.
    pub sugar_g_per_kg: Option<String>,
    /// Lactose.
    pub lactose_g_per_kg: Option<String>,
    /// Fat.
    pub fat_g_per_kg: Option<String>,
    /// Casein.
    pub casein_g_per_kg: Option<String>,
    /// It is an enzyme that splits lactose.
    pub splits_lactose: Option<bool>,
}

/// A kind of thing kept.
#[derive(Serialize, ToSchema)]
#[schema(as = Item)]
pub struct ItemBody {
    /// Its id.
    pub id: String,
    /// Its name.
    pub name: String,
    /// ingredient, aid, packaging, by-product or drink.
    pub kind: String,
    /// What it is counted in: g, mL or piece.
    pub unit: String,
    /// Density at 20 °C.
    pub density_g_per_ml: Option<String>,
    /// The allergens it brings.
    pub allergens: Vec<String>,
    /// Net realisable value of one g, mL or piece, in the club's currency.
    pub value_per_unit: Option<String>,
    /// When less than this is left, it is low.
    pub low_at: Option<Amount>,
    /// The over-pressure in bar that a bottle is made for.
    pub made_for_bar: Option<String>,
    /// Sugar that yeast takes, counted as hexose.
    pub sugar_g_per_kg: Option<String>,
    /// Lactose.
    pub lactose_g_per_kg: Option<String>,
    /// Fat.
    pub fat_g_per_kg: Option<String>,
    /// Casein.
    pub casein_g_per_kg: Option<String>,
    /// It is an enzyme that splits lactose.
    pub splits_lactose: bool,
}

impl ItemBody {
    /// An item under its id.
    pub fn of(id: ItemId, item: &Item) -> Self {
        let grams = |mg: Option<i64>| mg.map(|mg| number::plain(mg, 3));
        Self {
            id: id.to_string(),
            name: item.name.clone(),
            kind: item.kind.code().to_owned(),
            unit: item.unit.sign().to_owned(),
            density_g_per_ml: item.density_micro.map(|density| number::plain(density, 6)),
            allergens: item.allergens.clone(),
            value_per_unit: item.value_per_unit.map(Money::plain),
            low_at: item.low_at.map(|low| Amount::of(low, item.unit)),
            made_for_bar: item.made_for_mbar.map(|bar| number::plain(bar, 3)),
            sugar_g_per_kg: grams(item.sugar_mg_per_kg),
            lactose_g_per_kg: grams(item.lactose_mg_per_kg),
            fat_g_per_kg: grams(item.fat_mg_per_kg),
            casein_g_per_kg: grams(item.casein_mg_per_kg),
            splits_lactose: item.splits_lactose,
        }
    }
}

/// A place to be made.
#[derive(ToSchema)]
pub struct NewPlace {
    /// Its name.
    pub name: String,
    /// The place around it.
    pub within: Option<String>,
    /// How many bottles it takes.
    pub capacity: Option<u32>,
}

/// A place.
#[derive(Serialize, ToSchema)]
#[schema(as = Place)]
pub struct PlaceBody {
    /// Its id.
    pub id: String,
    /// Its name.
    pub name: String,
    /// Its name after those of the places around it.
    pub path: String,
    /// The place around it.
    pub within: Option<String>,
    /// How many bottles it takes; null where nobody said.
    pub capacity: Option<i64>,
}

impl From<Place> for PlaceBody {
    fn from(place: Place) -> Self {
        let within = place.within.map(|within| within.to_string());
        let capacity = place.capacity;
        Self { id: place.id.to_string(), name: place.name, path: place.path, within, capacity }
    }
}

/// Supplies that arrive.
#[derive(ToSchema)]
pub struct NewReceipt {
    /// When; today if left out. Not in the future.
    pub day: Option<String>,
    /// The member who paid and is owed it, or `club`; the club if left out.
    pub paid_by: Option<String>,
    /// What came: each line becomes a lot.
    pub lines: Vec<NewReceiptLine>,
    /// Tax that the costs are without, in per cent: it is added to each. None if left out.
    #[schema(example = "21")]
    pub tax_percent: Option<String>,
    /// What you want to add; needed where something came past its day.
    pub remark: Option<String>,
}

/// One thing that came.
#[derive(ToSchema)]
pub struct NewReceiptLine {
    /// Which item.
    pub item: String,
    /// How much.
    pub quantity: Amount,
    /// What the whole line cost, in the club's currency.
    #[schema(example = "39.60")]
    pub cost: String,
    /// Where it is put.
    pub place: String,
    /// Its last good day.
    pub best_before: Option<String>,
    /// Who sold it.
    pub supplier: Option<String>,
    /// The supplier's own lot mark.
    pub supplier_mark: Option<String>,
}

/// A receipt that was recorded.
#[derive(Serialize, ToSchema)]
pub struct Received {
    /// The entry in the books.
    pub entry: String,
    /// The receipt's number.
    #[schema(example = "R-118")]
    pub code: String,
    /// The lots, one a line, in the order of the lines.
    pub lots: Vec<LotName>,
}

/// A lot by id and number.
#[derive(Serialize, ToSchema)]
pub struct LotName {
    /// Its id.
    pub id: String,
    /// Its number.
    #[schema(example = "L-41")]
    pub code: String,
}

impl LotName {
    /// A lot under its number.
    pub fn of(id: LotId, code: impl Into<String>) -> Self {
        Self { id: id.to_string(), code: code.into() }
    }
}

/// A lot carried elsewhere.
#[derive(ToSchema)]
pub struct NewMove {
    /// When; today if left out.
    pub day: Option<String>,
    /// How much of it.
    pub quantity: Amount,
    /// The place it stood at.
    pub from: String,
    /// The place it stands at now.
    pub to: String,
}

/// What a count of a lot at a place found.
#[derive(ToSchema)]
pub struct NewCount {
    /// When; today if left out.
    pub day: Option<String>,
    /// Where.
    pub place: String,
    /// What is really there; zero is meant too.
    pub counted: Amount,
    /// Why it differs from the books.
    pub reason: String,
}

/// An entry that was recorded.
#[derive(Serialize, ToSchema)]
pub struct RecordedEntry {
    /// The entry in the books.
    pub entry: String,
}

/// An item by id, name and unit.
#[derive(Serialize, ToSchema)]
pub struct ItemName {
    /// Its id.
    pub id: String,
    /// Its name.
    pub name: String,
    /// ingredient, aid, packaging, by-product or drink.
    pub kind: String,
    /// g, mL or piece.
    pub unit: String,
}

impl ItemName {
    /// An item under its name.
    pub fn of(id: ItemId, item: &Item) -> Self {
        let (kind, unit) = (item.kind.code().to_owned(), item.unit.sign().to_owned());
        Self { id: id.to_string(), name: item.name.clone(), kind, unit }
    }
}

/// A place by id and the names around it.
#[derive(Serialize, ToSchema)]
pub struct PlaceName {
    /// Its id.
    pub id: String,
    /// Its name after those of the places around it.
    pub path: String,
}

/// So much of a lot at a place.
#[derive(Serialize, ToSchema)]
pub struct Standing {
    /// The place.
    pub place: PlaceName,
    /// How much of it.
    pub quantity: Amount,
    /// What that cost.
    pub cost: String,
}

impl Standing {
    /// A shelf with the name of its place.
    pub fn of(shelf: &Shelf, unit: BaseUnit, places: &[Place]) -> Self {
        let path = places.iter().find(|place| place.id == shelf.place).map(|place| place.path.clone());
        Self {
            place: PlaceName { id: shelf.place.to_string(), path: path.unwrap_or_default() },
            quantity: Amount::of(shelf.holding.quantity, unit),
            cost: shelf.holding.cost.plain(),
        }
    }
}

/// A lot at a place, in the stock list.
#[derive(Serialize, ToSchema)]
pub struct StockLine {
    /// The lot.
    pub lot: LotName,
    /// What it is.
    pub item: ItemName,
    /// Where it stands.
    pub place: PlaceName,
    /// How much of it.
    pub quantity: Amount,
    /// What that cost.
    pub cost: String,
    /// Its last good day: its best-before day, or an earlier one since it is open.
    pub best_before: Option<String>,
    /// When it was opened.
    pub opened_on: Option<String>,
    /// When it came.
    pub received_on: String,
    /// The bottling it is.
    pub bottling: Option<String>,
}

impl From<Stocked> for StockLine {
    fn from(line: Stocked) -> Self {
        let (kind, unit) = (line.kind.code().to_owned(), line.unit.sign().to_owned());
        Self {
            lot: LotName::of(line.lot, line.code),
            item: ItemName { id: line.item.to_string(), name: line.name, kind, unit },
            place: PlaceName { id: line.place.to_string(), path: line.path },
            quantity: Amount::of(line.quantity, line.unit),
            cost: line.cost.plain(),
            best_before: line.best_before.map(|day| day.to_string()),
            opened_on: line.opened_on.map(|day| day.to_string()),
            received_on: line.received_on.to_string(),
            bottling: line.bottling.map(|bottling| bottling.to_string()),
        }
    }
}

/// How much, and what it cost.
#[derive(Serialize, ToSchema)]
pub struct Holding {
    /// How much.
    pub quantity: Amount,
    /// What it cost, in the club's currency.
    pub cost: String,
}

impl Holding {
    /// Both together.
    pub fn of(quantity: Milli, cost: Money, unit: BaseUnit) -> Self {
        Self { quantity: Amount::of(quantity, unit), cost: cost.plain() }
    }
}
