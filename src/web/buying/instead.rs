//! What could be used in the place of what is short, in words: on the shopping list, and where supplies are drawn.

use crate::db::buying::Looked;
use crate::domain::buying::Known;
use crate::domain::buying::instead::{Instead, Substitute, brings, instead};
use crate::domain::stock::Item;
use crate::units::ids::{BatchId, ItemId};
use crate::units::quantity::Milli;

use super::in_kitchen;

/// Something that could be used instead.
pub struct Suggestion {
    /// What.
    pub other: ItemId,
    /// Its name.
    pub name: String,
    /// How much of it, and what that makes up for.
    pub instead: Instead,
    /// Allergens that it brings and the item does not have.
    pub brings: Vec<String>,
}

/// What could be used for so much of an item.
pub fn suggestions(items: &[(Item, Known)], (item, known): (&Item, &Known), short: Milli) -> Vec<Suggestion> {
    let suggestion = |one: &Substitute| {
        let (other, there) = items.iter().find(|(_, there)| there.id == one.other)?;
        let instead = instead(short, *one, there.spare())?;
        let brings = brings(item, other).into_iter().map(str::to_owned).collect();
        Some(Suggestion { other: one.other, name: other.name.clone(), instead, brings })
    };
    known.upkeep.substitutes.iter().filter_map(suggestion).collect()
}

impl Suggestion {
    /// "or use 2.4 kg of Heather honey, which you have, for 2.0 kg of it. Caution: it has sulphites."
    pub fn words(&self, known: &Known) -> String {
        let shown = |amount: Milli| in_kitchen(amount, known.unit);
        let caution = if self.brings.is_empty() {
            String::new()
        } else {
            format!(
                " Caution: it brings {}, an allergen that the drink would then have.",
                self.brings.join(", ")
            )
        };
        format!(
            "or use {} of {}, which you have, for {} of it.{caution}",
            shown(self.instead.quantity),
            self.name,
            shown(self.instead.replaces)
        )
    }
}

/// What is short for the plan of a batch, and what could be used in its place; a sentence each.
pub fn hints(looked: &Looked, batch: BatchId) -> Vec<String> {
    let hint = |(item, known): &(Item, Known)| {
        let short = known.short_for(batch);
        let found = suggestions(&looked.items, (item, known), short);
        if found.is_empty() {
            return None;
        }
        let words: Vec<String> = found.iter().map(|one| one.words(known)).collect();
        Some(format!(
            "{} of {} are short for the plan: {}",
            in_kitchen(short, known.unit),
            item.name,
            words.join(" Or ")
        ))
    };
    looked.items.iter().filter_map(hint).collect()
}
