//! Holding a lot back: nobody draws, bottles, takes or pours it until it is released, and everybody reads why.

use super::members::{Doer, Role};
use super::refusal::{Refusal, Why};
use super::stock::Shelf;
use crate::units::days::{self, Day};
use crate::units::ids::{LotId, MemberId};

/// Why a lot is held back.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Hold {
    /// Which lot.
    pub lot: LotId,
    /// Its code.
    pub code: String,
    /// Why.
    pub reason: String,
    /// Who holds it.
    pub held_by: MemberId,
    /// Their name.
    pub by: String,
    /// Since when.
    pub since: Day,
}

impl Hold {
    /// "Lot L-12 is on hold since 3 March 2026 by Marit Oldewelt: smells of solvent".
    pub fn words(&self) -> String {
        format!(
            "Lot {} is on hold since {} by {}: {}",
            self.code,
            days::long(self.since),
            self.by,
            self.reason
        )
    }

    /// A steward releases it, or who holds it.
    pub fn released_by(&self, doer: &Doer) -> Result<(), Refusal> {
        if doer.role >= Role::Steward || doer.member == self.held_by {
            return Ok(());
        }
        let words = format!("{} holds lot {}: only they or a steward release it", self.by, self.code);
        Err(Refusal::new(Why::Forbidden, "", words))
    }
}

/// What may be taken: the shelves that are not held back, in their order. Refused where nothing else is there.
pub fn spare(shelves: Vec<Shelf>, held: &[Hold]) -> Result<Vec<Shelf>, Refusal> {
    let stopped = |shelf: &Shelf| held.iter().find(|hold| hold.lot == shelf.lot);
    if let Some(first) = shelves.iter().find_map(stopped)
        && shelves.iter().all(|shelf| stopped(shelf).is_some())
    {
        return Err(Refusal::conflict("", format!("{}. Take another, or ask who holds it", first.words())));
    }
    Ok(shelves.into_iter().filter(|shelf| stopped(shelf).is_none()).collect())
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::domain::books::Holding;
    use crate::units::ids::PlaceId;

    fn shelf(lot: LotId) -> Shelf {
        let day: Day = "2026-03-02".parse().unwrap();
        Shelf {
            lot,
            code: "L-1".to_owned(),
            place: PlaceId::fresh(),
            received_on: day,
            best_before: None,
            holding: Holding::default(),
            opened_on: day,
            later: Vec::new(),
        }
    }

    #[test]
    fn what_is_held_is_passed_over_and_named_where_nothing_else_is_there() {
        let (one, two) = (LotId::fresh(), LotId::fresh());
        let hold = Hold {
            lot: one,
            code: "L-1".to_owned(),
            reason: "smells of solvent".to_owned(),
            held_by: MemberId::fresh(),
            by: "Ida".to_owned(),
            since: "2026-03-03".parse().unwrap(),
        };
        let spared = spare(vec![shelf(one), shelf(two)], std::slice::from_ref(&hold)).unwrap();
        assert_eq!(spared.iter().map(|shelf| shelf.lot).collect::<Vec<_>>(), [two]);
        let said = spare(vec![shelf(one)], std::slice::from_ref(&hold)).unwrap_err().to_string();
        assert!(said.contains("L-1 is on hold since 3 March 2026 by Ida: smells of solvent"), "{said}");
        assert_eq!(spare(Vec::new(), &[hold]).unwrap(), []);
    }
}
