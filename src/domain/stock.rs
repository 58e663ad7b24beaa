//! Items, places, lots: what may be received, and from which lots a quantity is drawn.

use serde::{Deserialize, Serialize};

use super::books::{Account, EntryKind, Holding, NewEntry, not_before};
use super::refusal::Refusal;
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

/// The allergens that are asked for (Regulation (EU) 1169/2011, annex II, those that meet drinks; from memory).
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
    /// Density in millionths of g/mL; of a solid that dissolves, the density with which it adds to the volume.
    pub density_micro: Option<i64>,
    /// From [`ALLERGENS`].
    pub allergens: Vec<String>,
    /// Net realisable value of one unit (g, mL or piece): what a by-product takes off the cost of the drink.
    pub value_per_unit: Option<Money>,
    /// Below this much it is low.
    pub low_at: Option<Milli>,
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

impl Item {
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

    /// The volume that `quantity` adds to a drink: an ingredient's own volume, or its mass over its density where
    /// one is known. Aids and packaging add none.
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
}

impl Shelf {
    /// Past its last good day.
    pub fn expired(&self, on: Day) -> bool {
        self.best_before.is_some_and(|day| day < on)
    }
}

/// Sort lots first-expired-first, then oldest, then by identity; lots without a date come last.
pub fn first_expired_first(shelves: &mut [Shelf]) {
    shelves.sort_by_key(|shelf| {
        (shelf.best_before.unwrap_or(Day::MAX), shelf.received_on, shelf.lot, shelf.place)
    });
}

/// Take `wanted` from `shelves` in their order and post it out of stock. Returns the cost taken.
///
/// Expired lots are refused until a reason is given; a lot is never drawn before it came. What an earlier line of the
/// entry took is no longer there.
pub fn draw(
    entry: &mut NewEntry,
    shelves: &mut [Shelf],
    wanted: Milli,
    unit: BaseUnit,
    expired_because: Option<&str>,
) -> Result<Money, Refusal> {
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
    for shelf in shelves {
        let part = rest.min(shelf.holding.quantity);
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
        not_before(entry.day, shelf.opened_on, &format!("Lot {}", shelf.code))?;
        let part_cost = shelf.holding.take(part).unwrap_or_default();
        entry.post(
            Account::Stock { lot: shelf.lot, place: shelf.place },
            part.negated(),
            part_cost.negated(),
        );
        cost = cost + part_cost;
        rest = rest - part;
        if rest == Milli::ZERO {
            break;
        }
    }
    Ok(cost)
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

/// The entry of a receipt; `lots` are the new lots, one a line.
pub fn receive(receipt: &Receipt, lots: &[LotId]) -> NewEntry {
    let mut entry = NewEntry::new(EntryKind::Receipt, receipt.day, receipt.remark.clone());
    let paid: Money = receipt.lines.iter().map(|line| line.cost).sum();
    for (line, lot) in receipt.lines.iter().zip(lots) {
        entry.post(Account::Stock { lot: *lot, place: line.place }, line.quantity, line.cost);
    }
    let payer = receipt.paid_by.map_or(Account::Purse, Account::Member);
    entry.post(payer, Milli::ZERO, paid.negated());
    entry
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

/// The entry that puts the books right. More than expected comes in at the lot's own cost a unit.
pub fn difference(count: &Counted, shelf: &mut Shelf, unit: BaseUnit) -> Result<NewEntry, Refusal> {
    let account = Account::Stock { lot: count.lot, place: count.place };
    let mut entry = NewEntry::new(EntryKind::Difference, count.day, count.reason.clone());
    let change = count.counted - shelf.holding.quantity;
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
mod tests {
    use super::*;

    fn day(text: &str) -> Day {
        text.parse().unwrap()
    }

    fn shelf(code: &str, best_before: Option<&str>, kilos: i64) -> Shelf {
        Shelf {
            lot: LotId::fresh(),
            code: code.to_owned(),
            place: PlaceId::fresh(),
            received_on: day("2026-03-01"),
            best_before: best_before.map(day),
            holding: Holding {
                quantity: Milli::new(kilos * 1_000_000),
                cost: Money::from_micros(kilos * 2_000_000),
            },
            opened_on: day("2026-03-01"),
        }
    }

    #[test]
    fn what_expires_first_is_drawn_first() {
        let mut shelves =
            vec![shelf("C", None, 5), shelf("B", Some("2026-09-01"), 5), shelf("A", Some("2026-07-01"), 5)];
        first_expired_first(&mut shelves);
        let mut entry = NewEntry::new(EntryKind::Draw, day("2026-06-01"), "");
        let cost = draw(&mut entry, &mut shelves, Milli::new(7_000_000), BaseUnit::Gram, None).unwrap();
        assert_eq!(cost, Money::from_micros(14_000_000));
        let left: Vec<_> = shelves.iter().map(|s| (s.code.as_str(), s.holding.quantity.get() / 1_000_000)).collect();
        assert_eq!(left, [("A", 0), ("B", 3), ("C", 5)]);
    }

    #[test]
    fn an_expired_lot_needs_a_reason_and_a_later_lot_does_not_hide_it() {
        let mut shelves = vec![shelf("A", Some("2026-05-01"), 5), shelf("B", None, 5)];
        let mut entry = NewEntry::new(EntryKind::Draw, day("2026-06-01"), "");
        let refused = draw(&mut entry, &mut shelves, Milli::new(1), BaseUnit::Gram, Some("")).unwrap_err();
        assert_eq!(refused.faults[0].field, "expired_because");
        assert!(refused.to_string().contains("Lot A was good until 1 May 2026"));
        assert!(draw(&mut entry, &mut shelves, Milli::new(1), BaseUnit::Gram, Some("still sealed")).is_ok());
    }

    #[test]
    fn two_lines_of_an_entry_share_what_is_there() {
        let lot = shelf("A", None, 3);
        let mut entry = NewEntry::new(EntryKind::Draw, day("2026-06-01"), "");
        let mut take = |grams: i64| {
            let shelves = &mut [lot.clone()];
            draw(&mut entry, shelves, Milli::new(grams * 1000), BaseUnit::Gram, None).map(Money::micros)
        };
        assert_eq!(take(1000), Ok(2_000_000));
        assert!(take(2001).unwrap_err().to_string().contains("Only 2.0 kg is there"));
        assert_eq!(take(2000), Ok(4_000_000));
    }

    #[test]
    fn no_more_is_drawn_than_there_is_and_not_before_it_came() {
        let mut shelves = vec![shelf("A", None, 5)];
        let mut entry = NewEntry::new(EntryKind::Draw, day("2026-02-01"), "");
        let more = Milli::new(5_000_001);
        let refused = draw(&mut entry, &mut shelves, more, BaseUnit::Gram, None).unwrap_err();
        assert!(refused.to_string().contains("Only 5.0 kg is there"));
        let refused = draw(&mut entry, &mut shelves, Milli::new(1), BaseUnit::Gram, None).unwrap_err();
        assert!(refused.to_string().contains("since 1 March 2026"));
    }

    #[test]
    fn a_count_moves_the_difference_at_the_lots_own_cost() {
        let mut found = shelf("A", None, 5);
        let count = |kilos: i64| Counted {
            day: day("2026-06-01"),
            lot: found.lot,
            place: found.place,
            counted: Milli::new(kilos * 1_000_000),
            reason: "weighed".to_owned(),
        };
        let (more, less) = (count(6), count(3));
        let entry = difference(&more, &mut found.clone(), BaseUnit::Gram).unwrap();
        assert!(entry.balances());
        assert_eq!(entry.postings[0].cost, Money::from_micros(2_000_000));
        let entry = difference(&less, &mut found, BaseUnit::Gram).unwrap();
        assert!(entry.balances());
        assert_eq!(entry.postings[0].cost, Money::from_micros(-4_000_000));
    }
}
