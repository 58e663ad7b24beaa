//! What can be used in the place of an item that is short. It is said, never done: nothing is swapped by itself.

use serde::{Deserialize, Serialize};

use crate::domain::refusal::{Fault, Refusal, Why};
use crate::domain::stock::Item;
use crate::units::ids::ItemId;
use crate::units::quantity::{BaseUnit, Milli};

/// The most items that can be used in the place of one.
pub const MOST_SUBSTITUTES: usize = 10;
/// How much of it for one unit, in millionths: from a thousandth to a thousand.
pub const FACTORS: std::ops::RangeInclusive<i64> = 1_000..=1_000_000_000;

/// An item that can be used in the place of another of the same unit.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
pub struct Substitute {
    /// What is used instead.
    pub other: ItemId,
    /// How much of it for one unit, in millionths.
    pub factor_micro: i64,
}

/// Refuses what cannot take the place of an item counted in `unit`.
pub fn check(
    item: ItemId,
    unit: BaseUnit,
    substitutes: &[Substitute],
    unit_of: impl Fn(ItemId) -> Option<BaseUnit>,
) -> Result<(), Refusal> {
    if substitutes.len() > MOST_SUBSTITUTES {
        let words = format!("Write at most {MOST_SUBSTITUTES} items that can be used in its place");
        return Err(Refusal::unfit("substitutes", words));
    }
    for (at, one) in substitutes.iter().enumerate() {
        let field = format!("substitutes.{at}.item");
        let fault = |message: String| {
            Err(Refusal {
                why: Why::Unfit,
                faults: vec![Fault { field: field.clone(), message }],
                entries: Vec::new(),
            })
        };
        if one.other == item {
            return fault("Choose another item than this one".to_owned());
        }
        if substitutes[..at].iter().any(|before| before.other == one.other) {
            return fault("It is there already: write each item once".to_owned());
        }
        match unit_of(one.other) {
            None => return Err(Refusal::missing(field, "item")),
            Some(other) if other != unit => {
                return fault(format!(
                    "It is counted in {other} and this item in {unit}: choose one of the same unit"
                ));
            }
            Some(_) => {}
        }
    }
    Ok(())
}

/// How much of something else to use, and how much of what is short that makes up for.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Instead {
    /// How much of the other, rounded up; no more than there is to spare.
    pub quantity: Milli,
    /// So much of what is short it stands for, rounded down.
    pub replaces: Milli,
}

/// What `spare` of a substitute can do for what is short; none where nothing is short or nothing to spare.
pub fn instead(short: Milli, of: Substitute, spare: Milli) -> Option<Instead> {
    if short <= Milli::ZERO || spare <= Milli::ZERO {
        return None;
    }
    let factor = i128::from(of.factor_micro.max(1));
    let milli = |value: i128| Milli::new(i64::try_from(value).unwrap_or(i64::MAX));
    let all = milli((i128::from(short.get()) * factor + 999_999) / 1_000_000);
    if all <= spare {
        return Some(Instead { quantity: all, replaces: short });
    }
    Some(Instead { quantity: spare, replaces: milli(i128::from(spare.get()) * 1_000_000 / factor) })
}

/// Allergens that the other brings and the item does not have.
pub fn brings<'o>(item: &Item, other: &'o Item) -> Vec<&'o str> {
    other.allergens.iter().filter(|one| !item.allergens.contains(one)).map(String::as_str).collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    /// By hand: 2 kg of sugar are 2.4 kg of honey at 1.2. With 1.8 kg to spare, 1.5 kg of sugar are made up for.
    #[test]
    fn what_is_short_is_made_up_for_as_far_as_there_is_something_to_spare() {
        let honey = Substitute { other: ItemId::fresh(), factor_micro: 1_200_000 };
        let of = |short, spare| {
            instead(Milli::new(short), honey, Milli::new(spare))
                .map(|one| (one.quantity.get(), one.replaces.get()))
        };
        assert_eq!(of(2_000_000, 9_000_000), Some((2_400_000, 2_000_000)));
        assert_eq!(of(2_000_000, 1_800_000), Some((1_800_000, 1_500_000)));
        assert_eq!(of(1, 10), Some((2, 1)), "rounded up");
        assert_eq!((of(0, 5), of(5, 0)), (None, None));
    }

    #[test]
    fn what_cannot_take_its_place_is_refused() {
        let (sugar, honey, cork) = (ItemId::fresh(), ItemId::fresh(), ItemId::fresh());
        let unit = |id| match id {
            id if id == cork => Some(BaseUnit::Piece),
            id if id == honey || id == sugar => Some(BaseUnit::Gram),
            _ => None,
        };
        let check = |others: &[ItemId]| {
            let list: Vec<_> =
                others.iter().map(|other| Substitute { other: *other, factor_micro: 1_000_000 }).collect();
            super::check(sugar, BaseUnit::Gram, &list, unit)
                .map_err(|refusal| (refusal.faults[0].field.clone(), refusal.faults[0].message.clone()))
        };
        assert_eq!(check(&[honey]), Ok(()));
        assert_eq!(check(&[sugar]).unwrap_err().0, "substitutes.0.item");
        assert!(check(&[honey, honey]).unwrap_err().1.contains("each item once"));
        assert!(check(&[honey, cork]).unwrap_err().1.contains("counted in piece"));
        assert!(check(&[ItemId::fresh()]).unwrap_err().1.contains("no such item"));
    }
}
