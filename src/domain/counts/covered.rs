//! What is covered for whoever counts, also outside of the count: how much stands by the books where they count, until
//! all of it is settled. So that a second look at a shelf is a look at the shelf.

use std::collections::BTreeSet;

use super::{Count, State};
use crate::domain::members::Doer;
use crate::units::ids::{ItemId, LotId, PlaceId};

impl Count {
    /// Whether the books of its lines are covered for this member: they have counted in it, it is not over, and they do
    /// not settle its differences.
    pub fn covers_for(&self, doer: &Doer) -> bool {
        let open = matches!(self.state(), State::Counting | State::Review);
        open && self.counted_by(doer.member) && !self.shows_books_to(doer)
    }
}

/// What is covered for a member.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct Covered {
    /// The numbers of the counts.
    pub counts: Vec<String>,
    /// The lots at places.
    pub lines: BTreeSet<(LotId, PlaceId)>,
    /// The items of these lots.
    pub items: BTreeSet<ItemId>,
}

impl Covered {
    /// How much of this lot stands at this place.
    pub fn hides(&self, lot: LotId, place: PlaceId) -> bool {
        self.lines.contains(&(lot, place))
    }

    /// How much there is of this lot at all.
    pub fn hides_lot(&self, lot: LotId) -> bool {
        self.lines.iter().any(|line| line.0 == lot)
    }

    /// How much there is of this item at all.
    pub fn hides_item(&self, item: ItemId) -> bool {
        self.items.contains(&item)
    }

    /// Why what adds up these lots is covered; none where it is not.
    pub fn words_of(&self, lots: impl IntoIterator<Item = LotId>) -> Option<String> {
        self.words().filter(|_| lots.into_iter().any(|lot| self.hides_lot(lot)))
    }

    /// Why, in a sentence; none where nothing is covered.
    pub fn words(&self) -> Option<String> {
        let (last, before) = self.counts.split_last()?;
        Some(if before.is_empty() {
            format!(
                "You count in {last}. What the books hold of what is counted there is covered for you until that \
                 count is settled."
            )
        } else {
            format!(
                "You count in {} and {last}. What the books hold of what is counted there is covered for you until \
                 these counts are settled.",
                before.join(", ")
            )
        })
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_is_covered_is_said_and_nothing_else_is() {
        let (lot, place, item) = (LotId::fresh(), PlaceId::fresh(), ItemId::fresh());
        let mut covered = Covered::default();
        assert_eq!(covered.words(), None);
        assert!(!covered.hides_lot(lot) && !covered.hides_item(item));
        covered.counts = vec!["C-3".to_owned(), "C-5".to_owned()];
        covered.lines.insert((lot, place));
        covered.items.insert(item);
        assert!(covered.words().unwrap().starts_with("You count in C-3 and C-5. "));
        assert!(covered.hides(lot, place) && covered.hides_lot(lot) && covered.hides_item(item));
        assert!(!covered.hides(lot, PlaceId::fresh()) && !covered.hides_lot(LotId::fresh()));
        assert_eq!(covered.words_of([LotId::fresh(), lot]), covered.words());
        assert_eq!(covered.words_of([LotId::fresh()]), None);
    }
}
