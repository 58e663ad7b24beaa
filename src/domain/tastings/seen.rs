//! What one member sees of a table: the one place from which pages and programs take it.

use super::{Sample, Seat, Sight, Table};
use crate::domain::members::Doer;

/// What one member sees. What they may not see is empty.
#[derive(Debug, Clone, PartialEq)]
pub struct Seen<'t> {
    /// By which rule.
    pub sight: Sight,
    /// They run it: the answers of those who are invited are theirs to see.
    pub runs: bool,
    /// What is poured, and in which bag each is wrapped; by letter.
    pub bags: Vec<&'t Sample>,
    /// From which bag each glass is poured: the letter, its codes in order.
    pub pouring: Vec<(char, Vec<u16>)>,
    /// Which glass holds what, by code.
    pub key: Vec<(u16, &'t Sample)>,
    /// Their own seat.
    pub own: Option<&'t Seat>,
}

impl Table {
    /// What this member sees now.
    pub fn seen_by(&self, doer: &Doer) -> Seen<'_> {
        let sight = self.tasting.sight(doer.member);
        let mut codes: Vec<(u16, &Sample)> =
            self.glasses.iter().filter_map(|glass| Some((glass.code, self.sample_in(glass)?))).collect();
        codes.sort_by_key(|one| one.0);
        let mut bags: Vec<&Sample> = self.samples.iter().collect();
        bags.sort_by_key(|sample| sample.bag);
        let of = |sample: &&Sample| {
            let held = codes.iter().filter(|one| one.1.id == sample.id);
            Some((sample.bag?, held.map(|one| one.0).collect()))
        };
        Seen {
            sight,
            runs: self.tasting.run_by(doer).is_ok(),
            pouring: if sight.pouring { bags.iter().filter_map(of).collect() } else { Vec::new() },
            bags: if sight.bags { bags } else { Vec::new() },
            key: if sight.key { codes } else { Vec::new() },
            own: self.seat(doer.member),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::super::Method;
    use super::super::tests::{begun, doer};
    use crate::domain::members::Role;
    use crate::units::ids::MemberId;

    #[test]
    fn nobody_is_told_a_code_and_its_bottle_before_the_key_is_open() {
        let mut table = begun(Method::Triangle, 2, 3);
        let (host, pourer) = (table.tasting.host.0, table.tasting.pourer.clone().unwrap().0);
        let taster = table.seats[0].member;
        for (who, role, bags, pouring) in [
            (host, Role::Steward, 2, 0),
            (pourer, Role::Steward, 0, 2),
            (taster, Role::Taster, 0, 0),
            (MemberId::fresh(), Role::Steward, 0, 0),
        ] {
            let seen = table.seen_by(&doer(who, role));
            assert_eq!((seen.bags.len(), seen.pouring.len(), seen.key.len()), (bags, pouring, 0));
        }
        let from_bags = table.seen_by(&doer(pourer, Role::Taster)).pouring;
        assert_eq!(from_bags, [('A', vec![203, 204]), ('B', vec![201, 202])]);
        table.tasting.opened_at = table.tasting.begun_at;
        let key = table.seen_by(&doer(taster, Role::Taster)).key;
        assert_eq!(
            key.iter().map(|one| (one.0, one.1.number)).collect::<Vec<_>>(),
            [(201, 1), (202, 1), (203, 2), (204, 2)]
        );
    }

    #[test]
    fn answers_are_for_the_host_and_stewards() {
        let table = begun(Method::Scored, 2, 3);
        let runs = |who, role| table.seen_by(&doer(who, role)).runs;
        assert!(runs(table.tasting.host.0, Role::Cellarhand) && runs(MemberId::fresh(), Role::Steward));
        assert!(!runs(table.seats[0].member, Role::Cellarhand));
    }
}
