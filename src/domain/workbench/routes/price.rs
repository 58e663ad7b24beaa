//! What a way takes from the stores, and what that costs by the club's own lots.

use super::{Base, Comparison, Route};
use crate::domain::plans::{PlanSupply, price};
use crate::domain::stock::{Item, ItemKind, Shelf};
use crate::science::dairy::Milk;
use crate::units::days::Day;
use crate::units::dimension::Amount;
use crate::units::ids::ItemId;
use crate::units::money::Money;
use crate::units::quantity::{BaseUnit, Milli};
use crate::units::text::folded;

/// What something from the stores is for.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Role {
    /// What the drink is made from.
    Base,
    /// Cane sugar, or the like.
    Sugar,
    /// Rennet.
    Rennet,
    /// Lactase.
    Lactase,
    /// Yeast.
    Yeast,
    /// Bottles.
    Bottle,
    /// Corks or caps.
    Closure,
}

impl Role {
    /// All of them.
    pub const ALL: [Self; 7] =
        [Self::Base, Self::Sugar, Self::Rennet, Self::Lactase, Self::Yeast, Self::Bottle, Self::Closure];

    /// The name of its field.
    pub const fn code(self) -> &'static str {
        match self {
            Self::Base => "base_item",
            Self::Sugar => "sugar_item",
            Self::Rennet => "rennet_item",
            Self::Lactase => "lactase_item",
            Self::Yeast => "yeast_item",
            Self::Bottle => "bottle_item",
            Self::Closure => "closure_item",
        }
    }

    /// In words.
    pub const fn name(self) -> &'static str {
        match self {
            Self::Base => "what it is made from",
            Self::Sugar => "sugar",
            Self::Rennet => "rennet",
            Self::Lactase => "lactase",
            Self::Yeast => "yeast",
            Self::Bottle => "bottles",
            Self::Closure => "closures",
        }
    }

    /// Whether an item could be meant, by what is known of it and by its name: the guess that stands there until a
    /// person chooses.
    pub fn may_be(self, item: &Item, base: Base, bottle_l: f64) -> bool {
        let name = folded(&item.name);
        let says = |words: &[&str]| words.iter().any(|word| name.contains(word));
        let kind = item.kind;
        match self {
            Self::Base if base.is_milk() => {
                kind == ItemKind::Ingredient && item.dairy() && says(&[base_word(base)]) && says(&["milk"])
            }
            // Fruit has many names: what is weighed and holds some sugar, but is neither honey nor sugar.
            Self::Base if base == Base::Fruit => {
                kind == ItemKind::Ingredient
                    && item.unit == BaseUnit::Gram
                    && item.sugar_mg_per_kg.is_some_and(|sugar| (10_000..250_000).contains(&sugar))
            }
            Self::Base => kind == ItemKind::Ingredient && !item.dairy() && says(&[base_word(base)]),
            Self::Sugar => kind == ItemKind::Ingredient && says(&["sugar"]),
            Self::Rennet => kind == ItemKind::Aid && says(&["rennet"]),
            Self::Lactase => item.splits_lactose,
            Self::Yeast => kind == ItemKind::Aid && says(&["yeast"]) && !says(&["nutrient"]),
            Self::Bottle => kind == ItemKind::Packaging && says(&["bottle"]) && holds(&name, bottle_l),
            Self::Closure => kind == ItemKind::Packaging && says(&["cork", "cap", "closure", "stopper"]),
        }
    }
}

fn base_word(base: Base) -> &'static str {
    match base {
        Base::Milk(Milk::Sheep) => "sheep",
        Base::Milk(Milk::Cow) => "cow",
        Base::Milk(Milk::Goat) => "goat",
        Base::Milk(Milk::Buffalo) => "buffalo",
        Base::Honey => "honey",
        Base::Juice => "juice",
        Base::Fruit => "fruit",
        Base::Water => "water",
    }
}

/// Whether a bottle's name says this size: "75 cl", "750 ml", "0.75 l".
fn holds(name: &str, litres: f64) -> bool {
    let (cl, ml) = (litres * 100.0, litres * 1000.0);
    [format!("{cl} cl"), format!("{ml} ml"), format!("{litres} l")]
        .iter()
        .any(|size| name.contains(size.as_str()))
}

/// An item with what is there of it, first-expired-first.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Stocked {
    /// Which.
    pub id: ItemId,
    /// What it is.
    pub item: Item,
    /// Its lots.
    pub shelves: Vec<Shelf>,
}

impl Stocked {
    /// So many litres or kilograms of it, in what it is counted in; pieces are whole.
    fn counted(&self, amount: Amount) -> Milli {
        #[allow(clippy::cast_precision_loss, reason = "densities are far below 2^52 millionths")]
        let density = self.item.density_micro.map_or(1.0, |micro| micro as f64 / 1e6);
        let base = match (self.item.unit, amount) {
            (BaseUnit::Millilitre, Amount::Litres(litres)) => 1000.0 * litres,
            (BaseUnit::Millilitre, Amount::Kilograms(kg)) => 1000.0 * kg / density,
            (BaseUnit::Gram, Amount::Kilograms(kg)) => 1000.0 * kg,
            (BaseUnit::Gram, Amount::Litres(litres)) => 1000.0 * litres * density,
            (BaseUnit::Piece, Amount::Litres(number) | Amount::Kilograms(number)) => number.ceil(),
        };
        Milli::from_base(base.max(0.0)).unwrap_or_default()
    }

    /// All that is there and good on a day, in litres or kilograms.
    pub fn all_there(&self, on: Day) -> Option<Amount> {
        let there = crate::domain::plans::good(&self.shelves, on).base() / 1000.0;
        match self.item.unit {
            BaseUnit::Millilitre => Some(Amount::Litres(there)),
            BaseUnit::Gram => Some(Amount::Kilograms(there)),
            BaseUnit::Piece => None,
        }
    }
}

/// What the stores hold for each role; a role without an item has none.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct Stores(pub Vec<(Role, Stocked)>);

impl Stores {
    /// The item of a role.
    pub fn of(&self, role: Role) -> Option<&Stocked> {
        self.0.iter().find(|one| one.0 == role).map(|one| &one.1)
    }
}

/// One line of what a way takes.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct BillLine {
    /// What it is for.
    pub role: Role,
    /// The item, where there is one.
    pub item: Option<(ItemId, String, BaseUnit)>,
    /// How much, in what the item is counted in; nothing where no item is known.
    pub needed: Milli,
    /// How much of that is not there.
    pub missing: Milli,
    /// What it costs; none where nothing is there to say.
    pub cost: Option<Money>,
    /// What is to be known: "no sugar in the stores".
    pub note: String,
}

/// What a way takes and costs.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Bill {
    /// Line by line.
    pub lines: Vec<BillLine>,
    /// All that is known.
    pub total: Money,
    /// The same for one bottle, rounded down; none where no bottle is filled.
    pub bottle: Option<Money>,
    /// Something has no price.
    pub incomplete: bool,
}

impl Bill {
    /// The supplies that a plan keeps.
    pub fn supplies(&self) -> Vec<PlanSupply> {
        let line = |line: &BillLine| Some(PlanSupply { item: line.item.as_ref()?.0, amount: line.needed });
        self.lines.iter().filter_map(line).filter(|supply| supply.amount > Milli::ZERO).collect()
    }
}

/// Yeast for a litre of must, kg: a quarter of a gram (common practice, no source).
const YEAST_KG_L: f64 = 0.000_25;

/// What a way takes from the stores.
fn needs(all: &Comparison, route: &Route) -> Vec<(Role, Amount)> {
    let ask = &all.ask;
    let milk = ask.base.is_milk();
    let pieces = Amount::Kilograms(f64::from(route.bottles));
    let dose = |ml: f64| Amount::Litres(ml / 1000.0);
    [
        (true, Role::Base, ask.amount),
        (route.sugar_kg > 0.0, Role::Sugar, Amount::Kilograms(route.sugar_kg)),
        (milk, Role::Rennet, dose(ask.rennet_ml())),
        (milk, Role::Lactase, dose(ask.lactase_ml_l * all.base.litres)),
        (true, Role::Yeast, Amount::Kilograms(YEAST_KG_L * route.must_l)),
        (route.bottles > 0, Role::Bottle, pieces),
        (route.bottles > 0, Role::Closure, pieces),
    ]
    .into_iter()
    .filter(|need| need.0)
    .map(|(_, role, amount)| (role, amount))
    .collect()
}

/// What a way takes from the stores, and what it costs.
pub fn bill(all: &Comparison, route: &Route, stores: &Stores, today: Day) -> Bill {
    let line = |(role, amount): (Role, Amount)| {
        let Some(stocked) = stores.of(role) else {
            let note = format!("no {} in the stores", role.name());
            return BillLine {
                role,
                item: None,
                needed: Milli::ZERO,
                missing: Milli::ZERO,
                cost: None,
                note,
            };
        };
        let needed = stocked.counted(amount);
        let (cost, missing) = price(&stocked.shelves, needed, today);
        let item = Some((stocked.id, stocked.item.name.clone(), stocked.item.unit));
        let there = needed - missing;
        let (cost, note) = if missing == Milli::ZERO {
            (Some(cost), String::new())
        } else if there == Milli::ZERO {
            (None, format!("no {} in the stores", stocked.item.name))
        } else {
            let rest = cost.share(missing.get(), there.get());
            let short = missing.shown(stocked.item.unit);
            (Some(cost + rest), format!("{short} are missing, counted at the price of what is there"))
        };
        BillLine { role, item, needed, missing, cost, note }
    };
    let lines: Vec<BillLine> = needs(all, route).into_iter().map(line).collect();
    let total: Money = lines.iter().filter_map(|line| line.cost).sum();
    let bottle = (route.bottles > 0).then(|| total.share(1, i64::from(route.bottles)));
    Bill { incomplete: lines.iter().any(|line| line.cost.is_none()), lines, total, bottle }
}
