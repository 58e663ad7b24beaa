//! Items, places, lots: what may be received, and from which lots a quantity is drawn.

use serde::{Deserialize, Serialize};

pub mod places;

use super::books::{
    Account, Change, EntryKind, Holding, NewEntry, Past, above_zero, not_before, not_below_zero,
};
use super::refusal::{Fault, Refusal, Why};
use crate::units::days::{self, Day};
use crate::units::ids::{ItemId, LotId, MemberId, PlaceId};
use crate::units::money::Money;
use crate::units::quantity::{BaseUnit, Milli};

/// What an item is for.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum ItemKind {
    /// Becomes part of the drink.
    Ingredient,
    /// Helps and stays behind or is used up: yeast, rennet, finings.
    Aid,
    /// Bottles, closures, labels.
    Packaging,
    /// Comes off the way: curds, lees, pomace.
    ByProduct,
    /// A bottled drink.
    Drink,
}

impl ItemKind {
    /// All kinds.
    pub const ALL: [ItemKind; 5] =
        [Self::Ingredient, Self::Aid, Self::Packaging, Self::ByProduct, Self::Drink];

    /// As in the database and the API.
    pub const fn code(self) -> &'static str {
        match self {
            Self::Ingredient => "ingredient",
            Self::Aid => "aid",
            Self::Packaging => "packaging",
            Self::ByProduct => "by-product",
            Self::Drink => "drink",
        }
    }

    /// From its code.
    pub fn from_code(code: &str) -> Option<Self> {
        Self::ALL.into_iter().find(|kind| kind.code() == code)
    }

    /// As a heading.
    pub const fn heading(self) -> &'static str {
        match self {
            Self::Ingredient => "Ingredients",
            Self::Aid => "Aids",
            Self::Packaging => "Packaging",
            Self::ByProduct => "By-products",
            Self::Drink => "Drinks",
        }
    }
}

/// The allergens that are asked for (Regulation (EU) 1169/2011, annex II, those that meet drinks; from
/// memory).
pub const ALLERGENS: [&str; 9] =
    ["milk", "sulphites", "gluten", "egg", "fish", "crustaceans", "nuts", "soya", "mustard"];

/// A kind of thing kept.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct Item {
    /// Its name, unique in the club.
    pub name: String,
    /// What it is for.
    pub kind: ItemKind,
    /// What it is counted in.
    pub unit: BaseUnit,
    /// Density in millionths of g/mL; of a solid that dissolves, the density with which it adds to the
    /// volume.
    pub density_micro: Option<i64>,
    /// From [`ALLERGENS`].
    pub allergens: Vec<String>,
    /// Net realisable value of one unit (g, mL or piece): what a by-product takes off the cost of the drink.
    pub value_per_unit: Option<Money>,
    /// Below this much it is low.
    pub low_at: Option<Milli>,
    /// The over-pressure that a bottle is made for, by its maker, in thousandths of a bar; none of a bottle that is
    /// not made for pressure.
    pub made_for_mbar: Option<i64>,
    /// Sugar that yeast takes, counted as hexose, mg per kg.
    pub sugar_mg_per_kg: Option<i64>,
    /// Lactose, mg per kg.
    pub lactose_mg_per_kg: Option<i64>,
    /// Fat, mg per kg.
    pub fat_mg_per_kg: Option<i64>,
    /// Casein, mg per kg.
    pub casein_mg_per_kg: Option<i64>,
    /// An enzyme that splits lactose.
    pub splits_lactose: bool,
}

/// More than this cannot be in a kilogram, mg: sugar counts as hexose, and 1 kg of cane sugar gives
/// 1.0526 kg.
const MOST_MG_PER_KG: i64 = 1_100_000;

impl Item {
    /// Refuses what does not go together.
    pub fn check(&self) -> Result<(), Refusal> {
        if self.kind == ItemKind::Drink && self.unit != BaseUnit::Piece {
            return Err(Refusal::unfit("unit", "Drinks are counted in bottles: choose piece"));
        }
        if self.made_for_mbar.is_some() && self.kind != ItemKind::Packaging {
            return Err(Refusal::unfit(
                "made_for_bar",
                "Only packaging is made for a pressure; leave it empty, or choose packaging",
            ));
        }
        let parts = [self.sugar_mg_per_kg, self.lactose_mg_per_kg, self.fat_mg_per_kg, self.casein_mg_per_kg];
        if parts.into_iter().flatten().sum::<i64>() > MOST_MG_PER_KG {
            return Err(Refusal::unfit(
                "sugar_g_per_kg",
                "Sugar, lactose, fat and casein together are more than the whole; look at them again",
            ));
        }
        Ok(())
    }

    /// Refuses what cannot change once an item is kept: what it is counted in, and whether it is a drink.
    pub fn check_change(&self, before: &Item) -> Result<(), Refusal> {
        if before.unit != self.unit {
            let unit = before.unit;
            return Err(Refusal::conflict(
                "unit",
                format!("{} is counted in {unit}; make another item to count it otherwise", before.name),
            ));
        }
        if before.kind != self.kind && [before.kind, self.kind].contains(&ItemKind::Drink) {
            return Err(Refusal::conflict(
                "kind",
                "A drink comes from bottling a batch: nothing else becomes one, and it stays one",
            ));
        }
        Ok(())
    }

    /// Grams of `quantity`, and whether a density was known or 1 g/mL assumed. Pieces have no mass.
    #[allow(clippy::cast_precision_loss, reason = "densities are far below 2^52 millionths")]
    pub fn grams(&self, quantity: Milli) -> Option<(f64, bool)> {
        match self.unit {
            BaseUnit::Gram => Some((quantity.base(), true)),
            BaseUnit::Millilitre => Some(match self.density_micro {
                Some(density) => (quantity.base() * density as f64 / 1e6, true),
                None => (quantity.base(), false),
            }),
            BaseUnit::Piece => None,
        }
    }

    /// Milk, or something that holds lactose.
    pub fn dairy(&self) -> bool {
        self.lactose_mg_per_kg.is_some_and(|lactose| lactose > 0)
            || matches!(self.kind, ItemKind::Ingredient | ItemKind::ByProduct | ItemKind::Drink)
                && self.allergens.iter().any(|allergen| allergen == "milk")
    }

    /// The volume that `quantity` adds to a drink: an ingredient's own volume, or its mass over its
    /// density where one is known. Aids and packaging add none.
    pub fn adds_volume(&self, quantity: Milli) -> Milli {
        if self.kind != ItemKind::Ingredient && self.kind != ItemKind::Drink {
            return Milli::ZERO;
        }
        match (self.unit, self.density_micro) {
            (BaseUnit::Millilitre, _) => quantity,
            (BaseUnit::Gram, Some(density)) if density > 0 => {
                let volume = i128::from(quantity.get()) * 1_000_000 / i128::from(density);
                Milli::new(i64::try_from(volume).unwrap_or(0))
            }
            _ => Milli::ZERO,
        }
    }
}

/// A lot at one place, as drawing sees it.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Shelf {
    /// The lot.
    pub lot: LotId,
    /// Its code, for messages.
    pub code: String,
    /// Where.
    pub place: PlaceId,
    /// Since when the lot is in the books.
    pub received_on: Day,
    /// Its last good day.
    pub best_before: Option<Day>,
    /// What is there.
    pub holding: Holding,
    /// The first day this lot stood at this place.
    pub opened_on: Day,
    /// What came and went after the day for which it was looked at.
    pub later: Vec<Change>,
}

impl Shelf {
    /// Past its last good day.
    pub fn expired(&self, on: Day) -> bool {
        self.best_before.is_some_and(|day| day < on)
    }

    /// Its turn among others: first expired, then oldest, then by identity; lots without a date come last.
    pub fn turn(&self) -> (Day, Day, LotId, PlaceId) {
        (self.best_before.unwrap_or(Day::MAX), self.received_on, self.lot, self.place)
    }

    /// What stood there on a day, and the least since; before it came there was nothing.
    pub fn past(&self, day: Day) -> Past {
        if day < self.opened_on {
            return Past::of(Holding::default(), day, &[]);
        }
        Past::of(self.holding, day, &self.later)
    }
}

/// Take `wanted` from `shelves` in their order and post it out of stock. Returns the cost taken.
///
/// Expired lots are refused until a reason is given. What an earlier line of the entry took is no longer there. On a
/// past day no more is taken than was there then and has not been used since: what came later stays.
pub fn draw(
    entry: &mut NewEntry,
    shelves: &mut [Shelf],
    wanted: Milli,
    unit: BaseUnit,
    expired_because: Option<&str>,
) -> Result<Money, Refusal> {
    above_zero("quantity", wanted)?;
    for shelf in shelves.iter_mut() {
        let account = Account::Stock { lot: shelf.lot, place: shelf.place };
        for posting in entry.postings.iter().filter(|posting| posting.account == account) {
            shelf.holding.quantity = shelf.holding.quantity + posting.quantity;
            shelf.holding.cost = shelf.holding.cost + posting.cost;
        }
    }
    let there: Milli = shelves.iter().map(|shelf| shelf.holding.quantity).sum();
    if wanted > there {
        return Err(Refusal::conflict(
            "quantity",
            format!("Only {} is there; write that or less", there.shown(unit)),
        ));
    }
    let mut rest = wanted;
    let mut cost = Money::ZERO;
    let mut short = None;
    for shelf in shelves {
        let held = shelf.past(entry.day);
        if short.is_none() && held.least < rest.min(shelf.holding.quantity) {
            short = Some(match not_before(entry.day, shelf.opened_on, &format!("Lot {}", shelf.code)) {
                Ok(()) => held.refusal("quantity", &format!("lot {}", shelf.code), unit),
                Err(refusal) => refusal,
            });
        }
        let part = rest.min(held.least);
        if part == Milli::ZERO {
            continue;
        }
        if shelf.expired(entry.day) && expired_because.is_none_or(str::is_empty) {
            return Err(Refusal::conflict(
                "expired_because",
                format!(
                    "Lot {} was good until {}. Look at it and smell it; to use it all the same, say why",
                    shelf.code,
                    shelf.best_before.map(days::long).unwrap_or_default()
                ),
            ));
        }
        let part_cost = shelf.holding.take(part).unwrap_or_default();
        entry.post(
            Account::Stock { lot: shelf.lot, place: shelf.place },
            part.negated(),
            part_cost.negated(),
        );
        cost = cost + part_cost;
        rest = rest - part;
        if rest == Milli::ZERO {
            return Ok(cost);
        }
    }
    match short {
        Some(refusal) => Err(refusal),
        None => Ok(cost),
    }
}

/// Supplies that arrive.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct Receipt {
    /// When.
    pub day: Day,
    /// The member to be paid back, or the club.
    pub paid_by: Option<MemberId>,
    /// What.
    pub lines: Vec<ReceiptLine>,
    /// A remark.
    pub remark: String,
}

/// One lot that arrives.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct ReceiptLine {
    /// Which item.
    pub item: ItemId,
    /// How much.
    pub quantity: Milli,
    /// What it cost in all.
    pub cost: Money,
    /// Where it is put.
    pub place: PlaceId,
    /// Its last good day.
    pub best_before: Option<Day>,
    /// Who sold it.
    pub supplier: String,
    /// The supplier's own lot mark.
    pub supplier_mark: String,
}

impl Receipt {
    /// Lines that came past their last good day although no remark says why they were taken.
    pub fn unexplained(&self) -> Vec<Fault> {
        let late =
            |line: &ReceiptLine| line.best_before.filter(|day| *day < self.day && self.remark.is_empty());
        let fault = |(at, line)| {
            late(line).map(|day| Fault {
                field: format!("lines.{at}.best_before"),
                message: format!(
                    "Look at the day again: {} had passed when it came. If it did come past its day, say \
                     why in the remark",
                    days::long(day)
                ),
            })
        };
        self.lines.iter().enumerate().filter_map(fault).collect()
    }

    /// Refuses lines that are past their day without a word.
    pub fn check(&self) -> Result<(), Refusal> {
        let faults = self.unexplained();
        if faults.is_empty() { Ok(()) } else { Err(Refusal { why: Why::Unfit, faults, entries: Vec::new() }) }
    }
}

/// The entry of a receipt; `lots` are the new lots, one a line.
pub fn receive(receipt: &Receipt, lots: &[LotId]) -> Result<NewEntry, Refusal> {
    if receipt.lines.is_empty() {
        return Err(Refusal::unfit("lines", "Write at least one line"));
    }
    let mut entry = NewEntry::new(EntryKind::Receipt, receipt.day, receipt.remark.clone());
    let paid: Money = receipt.lines.iter().map(|line| line.cost).sum();
    for (at, (line, lot)) in receipt.lines.iter().zip(lots).enumerate() {
        above_zero(&format!("lines.{at}.quantity"), line.quantity)?;
        if line.cost < Money::ZERO {
            return Err(Refusal::unfit(format!("lines.{at}.cost"), "Write a cost that is not below zero"));
        }
        entry.post(Account::Stock { lot: *lot, place: line.place }, line.quantity, line.cost);
    }
    let payer = receipt.paid_by.map_or(Account::Purse, Account::Payer);
    entry.post(payer, Milli::ZERO, paid.negated());
    Ok(entry)
}

/// Stock carried from one place to another.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct Move {
    /// When.
    pub day: Day,
    /// Which lot.
    pub lot: LotId,
    /// How much.
    pub quantity: Milli,
    /// From where.
    pub from: PlaceId,
    /// To where.
    pub to: PlaceId,
}

/// The entry of a move.
pub fn carry(order: &Move, shelf: &mut Shelf, unit: BaseUnit) -> Result<NewEntry, Refusal> {
    if order.from == order.to {
        return Err(Refusal::unfit("to", "Choose another place than the one where it stands"));
    }
    if shelf.holding.quantity == Milli::ZERO {
        return Err(Refusal::conflict(
            "from",
            "Nothing of this lot stands there; choose the place where it stands",
        ));
    }
    let mut entry = NewEntry::new(EntryKind::Move, order.day, "");
    let cost = draw(&mut entry, std::slice::from_mut(shelf), order.quantity, unit, Some("moved"))?;
    entry.post(Account::Stock { lot: order.lot, place: order.to }, order.quantity, cost);
    Ok(entry)
}

/// What a count of one lot at one place found.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct Counted {
    /// When.
    pub day: Day,
    /// Which lot.
    pub lot: LotId,
    /// Where.
    pub place: PlaceId,
    /// How much is really there.
    pub counted: Milli,
    /// Why it differs.
    pub reason: String,
}

/// The entry that puts the books right: what was counted against what the books say of the end of that day. More than
/// expected comes in at the lot's own cost a unit.
pub fn difference(count: &Counted, shelf: &mut Shelf, unit: BaseUnit) -> Result<NewEntry, Refusal> {
    not_below_zero("counted", Some(count.counted))?;
    let account = Account::Stock { lot: count.lot, place: count.place };
    let mut entry = NewEntry::new(EntryKind::Difference, count.day, count.reason.clone());
    let past = shelf.past(count.day);
    let change = count.counted - past.then.quantity;
    if change.negated() > past.least {
        return Err(Refusal::conflict(
            "counted",
            format!(
                "The books say {} on {}, and of that only {} was left on {}: so much less cannot be taken off. Reverse \
                 what went since then and was not there, or count again",
                past.then.quantity.shown(unit),
                days::long(count.day),
                past.least.shown(unit),
                days::long(past.least_on)
            ),
        ));
    }
    if change == Milli::ZERO {
        return Err(Refusal::unfit(
            "counted",
            format!("The books say {} too: there is nothing to put right", count.counted.shown(unit)),
        ));
    }
    let cost = if change < Milli::ZERO {
        draw(&mut entry, std::slice::from_mut(shelf), change.negated(), unit, Some("counted"))?
    } else {
        not_before(count.day, shelf.opened_on, &format!("Lot {}", shelf.code))?;
        let cost = shelf.holding.cost.share(change.get(), shelf.holding.quantity.get());
        let cost = if shelf.holding.quantity == Milli::ZERO { Money::ZERO } else { cost };
        entry.post(account, change, cost);
        cost.negated()
    };
    entry.post(Account::Difference, Milli::ZERO, cost);
    Ok(entry)
}

#[cfg(test)]
mod tests;
