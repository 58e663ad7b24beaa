//! What is sent about the stores, read for pages and API alike: from what was typed to commands.

use crate::actions::stock::NewPlace;
use crate::db::stock::Units;
use crate::domain::bottles::MOST_BOTTLES;
use crate::domain::members::Doer;
use crate::domain::refusal::Refusal;
use crate::domain::stock::{ALLERGENS, Counted, Item, ItemKind, Move, Receipt, ReceiptLine};
use crate::units::ids::{ItemId, LotId, MemberId};
use crate::units::money::Money;
use crate::units::quantity::{BaseUnit, Milli};
use crate::units::{Misread, number};
use crate::web::input::{Draft, Reader};

/// The longest name of an item, a place, a supplier.
const NAME: usize = 80;
/// Millionths of g/mL. What is outside is a slip of the decimal point.
const DENSITIES: std::ops::RangeInclusive<i64> = 300_000..=5_000_000;
/// What makers state of bottles, in thousandths of a bar.
const MADE_FOR: std::ops::RangeInclusive<i64> = 1000..=12_000;
/// Thousandths of g per kg.
const SHARES: std::ops::RangeInclusive<i64> = 0..=1_100_000;

/// How the parts of an item are asked for that differ between a page and the API.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Asked {
    /// `value` for one kg, L or piece; a tick for each allergen.
    OnPage,
    /// `value_per_unit` for one g, mL or piece; `allergens` as a list.
    ByApi,
}

/// A place.
pub fn place(draft: &Draft, doer: &Doer) -> Result<NewPlace, Refusal> {
    draft.read(doer, |r| NewPlace {
        name: r.line("name", NAME, "a name"),
        within: r.optional_id("within", "place"),
        capacity: r.optional_whole("capacity", 1..=MOST_BOTTLES).map(i64::from),
    })
}

/// An item; one that is kept already may leave out what it is counted in.
pub fn item(draft: &Draft, doer: &Doer, kept: Option<&Item>, asked: Asked) -> Result<Item, Refusal> {
    draft.read(doer, |r| {
        let name = r.line("name", NAME, "a name");
        let kind = r.choice("kind", &ItemKind::ALL, ItemKind::code);
        let unit = match kept {
            Some(kept) if r.is_empty("unit") => kept.unit,
            _ => r.choice("unit", &BaseUnit::ALL, BaseUnit::sign),
        };
        let allergens = match asked {
            Asked::OnPage => {
                ALLERGENS.into_iter().filter(|one| r.flag(&format!("allergens.{one}"))).collect()
            }
            Asked::ByApi => r.choices("allergens", &ALLERGENS, |one| one),
        };
        let item = Item {
            name,
            kind,
            unit,
            density_micro: r.optional_scaled("density_g_per_ml", 1_000_000, &DENSITIES, "1.036"),
            allergens: allergens.into_iter().map(str::to_owned).collect(),
            value_per_unit: match asked {
                Asked::OnPage => r.optional("value", |text| per_unit(text, unit)),
                Asked::ByApi => r.optional_money("value_per_unit"),
            },
            low_at: r.optional("low_at", |text| Milli::read_zero(text, unit)),
            made_for_mbar: r.optional_scaled("made_for_bar", 1000, &MADE_FOR, "2.5"),
            sugar_mg_per_kg: r.optional_scaled("sugar_g_per_kg", 1000, &SHARES, "97"),
            lactose_mg_per_kg: r.optional_scaled("lactose_g_per_kg", 1000, &SHARES, "48"),
            fat_mg_per_kg: r.optional_scaled("fat_g_per_kg", 1000, &SHARES, "65"),
            casein_mg_per_kg: r.optional_scaled("casein_g_per_kg", 1000, &SHARES, "45"),
            splits_lactose: r.flag("splits_lactose"),
        };
        faults_of(r, item.check());
        item
    })
}

/// What one g, mL or piece is worth, from what a kg, L or piece is.
pub fn per_unit(text: &str, unit: BaseUnit) -> Result<Money, Misread> {
    let (name, holds) = unit.priced();
    let value = Money::read(text)?;
    if value.micros() % holds != 0 {
        return Err(Misread::new(format!(
            "Write what one {name} is worth with at most three places, such as 5.25"
        )));
    }
    Ok(Money::from_micros(value.micros() / holds))
}

/// What one kg, L or piece is worth, as it was typed.
pub fn per_priced(value: Money, unit: BaseUnit) -> String {
    number::plain(value.micros().saturating_mul(unit.priced().1), 6)
}

fn faults_of(r: &mut Reader, checked: Result<(), Refusal>) {
    for fault in checked.err().into_iter().flat_map(|refusal| refusal.faults) {
        r.fault(&fault.field, fault.message);
    }
}

/// The items that the lines of a receipt name, as far as they can be read, so that their units can be
/// looked up.
pub fn items_named(draft: &Draft) -> Vec<ItemId> {
    let named = |at| draft.typed(&format!("lines.{at}.item"))?.trim().parse().ok();
    (0..draft.count("lines").min(200)).filter_map(named).collect()
}

/// Supplies that arrive; `units` of the items that are named.
pub fn receipt(draft: &Draft, doer: &Doer, units: &Units) -> Result<Receipt, Refusal> {
    draft.read(doer, |r| {
        let tax = r.optional_scaled("tax_percent", 1000, &(0..=100_000), "21");
        let mut receipt = Receipt {
            day: r.day("day"),
            paid_by: r.with("paid_by", None, payer),
            lines: r.rows("lines", |r| receipt_line(r, units)),
            remark: r.remark("remark"),
        };
        for (at, line) in receipt.lines.iter_mut().enumerate() {
            match line.cost.with_tax(tax.unwrap_or_default()) {
                Some(cost) => line.cost = cost,
                None => {
                    r.fault(&format!("lines.{at}.cost"), "With the tax this is more than can be kept here");
                }
            }
        }
        if receipt.lines.is_empty() {
            r.fault("lines", "Write at least one line: what came, how much, and where it was put");
        }
        faults_of(r, receipt.check());
        receipt
    })
}

fn payer(text: &str) -> Result<Option<MemberId>, Misread> {
    match text.trim() {
        "" | "club" => Ok(None),
        id => id.parse().map(Some).map_err(|_| Misread::new("There is no such member in this club")),
    }
}

fn receipt_line(r: &mut Reader, units: &Units) -> ReceiptLine {
    let item: ItemId = r.id("item", "item");
    let quantity = if let Some(unit) = units.of_item(item) {
        r.packs("quantity", unit)
    } else {
        // Without the item its unit is not known; the first fault of a field is kept.
        r.fault("item", "There is no such item in this club");
        if r.is_empty("quantity") {
            r.fault("quantity", "Write how much came, with its unit: 24 L, 2.5 kg; pieces without");
        }
        Milli::ZERO
    };
    ReceiptLine {
        item,
        quantity,
        cost: r.with("cost", Money::ZERO, paid),
        place: r.id("place", "place"),
        best_before: r.optional_day("best_before"),
        supplier: r.optional_line("supplier", NAME, "who sold it"),
        supplier_mark: r.optional_line("supplier_mark", NAME, "the supplier’s lot mark"),
    }
}

fn paid(text: &str) -> Result<Money, Misread> {
    if text.trim().is_empty() {
        return Err(Misread::new("Write what was paid for it in all, such as 39.60, or 0 if nothing was"));
    }
    Money::read(text)
}

/// A lot carried to another place.
pub fn movement(draft: &Draft, doer: &Doer, lot: LotId, unit: BaseUnit) -> Result<Move, Refusal> {
    draft.read(doer, |r| Move {
        day: r.day("day"),
        lot,
        quantity: r.quantity("quantity", unit),
        from: r.id("from", "place"),
        to: r.id("to", "place"),
    })
}

/// What a count of a lot at a place found.
pub fn count(draft: &Draft, doer: &Doer, lot: LotId, unit: BaseUnit) -> Result<Counted, Refusal> {
    draft.read(doer, |r| Counted {
        day: r.day("day"),
        lot,
        place: r.id("place", "place"),
        counted: r.counted("counted", unit),
        reason: r.line("reason", 200, "why it differs, as far as it is known"),
    })
}

#[cfg(test)]
mod tests;
