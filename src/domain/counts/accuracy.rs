//! How far the books can be trusted, and how often each item is to be counted.
//!
//! Items are put into classes by what is used of them in a year: the few that make up most of it are counted most
//! often. An item belongs to the class in which the share of those before it still lies, so that the one that crosses
//! 80 % is still an A. The bounds of 80 and 95 % and the days between two counts are common practice, no source.

use crate::units::days::Day;
use crate::units::money::Money;
use crate::units::quantity::Milli;

/// How much an item matters.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Class {
    /// The few that make up four fifths of what is used.
    A,
    /// The next, up to nineteen twentieths.
    B,
    /// All others.
    C,
}

impl Class {
    /// All, the most important first.
    pub const ALL: [Class; 3] = [Self::A, Self::B, Self::C];

    /// Its letter.
    pub const fn letter(self) -> &'static str {
        match self {
            Self::A => "A",
            Self::B => "B",
            Self::C => "C",
        }
    }

    /// Days from one count of an item to the next.
    pub const fn every_days(self) -> i64 {
        match self {
            Self::A => 91,
            Self::B => 182,
            Self::C => 365,
        }
    }
}

/// The class of each of these, by what is used of it in a year; in the order in which they are given.
pub fn classes(used: &[Money]) -> Vec<Class> {
    let total: i128 = used.iter().map(|worth| i128::from(worth.micros().max(0))).sum();
    let mut order: Vec<usize> = (0..used.len()).collect();
    order.sort_by_key(|at| std::cmp::Reverse(used[*at]));
    let mut found = vec![Class::C; used.len()];
    let mut before = 0_i128;
    for at in order {
        let worth = i128::from(used[at].micros().max(0));
        if worth > 0 && before * 100 < total * 80 {
            found[at] = Class::A;
        } else if worth > 0 && before * 100 < total * 95 {
            found[at] = Class::B;
        }
        before += worth;
    }
    found
}

/// The day by which an item of a class is to be counted that was counted last, or else came into the books, on `since`.
pub fn due_on(class: Class, since: Day) -> Day {
    since + chrono::Duration::days(class.every_days())
}

/// So many differences of the same sign in a row, and an item drifts.
pub const DRIFT_COUNTS: usize = 3;

/// What an item went off by in all, where its last counts were all off to the same side; latest first.
pub fn drift(differences: &[Milli]) -> Option<Milli> {
    let last = differences.get(..DRIFT_COUNTS)?;
    let same = |sign: fn(&Milli) -> bool| last.iter().all(sign);
    (same(|difference| *difference > Milli::ZERO) || same(|difference| *difference < Milli::ZERO))
        .then(|| differences.iter().copied().take_while(|one| (one.get() > 0) == (last[0].get() > 0)).sum())
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Used in a year, 3700 in all; A while the share before the item is below 80 %, B below 95 % (worked out by hand:
    /// 0, 35, 59, 78 | 90, 94 | 96, 98, 99, 100 %).
    #[test]
    fn items_are_classed_by_the_share_before_them() {
        let used = [1300, 900, 700, 420, 150, 90, 60, 40, 30, 10];
        let found = classes(&used.map(|worth| Money::from_micros(worth * 1_000_000)));
        let letters: String = found.iter().map(|class| class.letter()).collect();
        assert_eq!(letters, "AAAABBCCCC", "honey bottles fruit sugar · corks lactase · the rest");
        let mut turned: Vec<Money> = used.map(|worth| Money::from_micros(worth * 1_000_000)).into();
        turned.reverse();
        let letters: String = classes(&turned).iter().map(|class| class.letter()).collect();
        assert_eq!(letters, "CCCCBBAAAA", "whatever the order in which they are given");
        assert_eq!(classes(&[Money::ZERO, Money::ZERO]), [Class::C, Class::C], "what is not used");
    }

    #[test]
    fn an_item_drifts_when_it_is_off_to_the_same_side_again_and_again() {
        let of = |kilos: &[i64]| {
            let found: Vec<Milli> = kilos.iter().map(|kilo| Milli::new(kilo * 1_000_000)).collect();
            drift(&found).map(|milli| milli.get() / 1_000_000)
        };
        assert_eq!(of(&[-1, -2, -1, -3, 4]), Some(-7));
        assert_eq!(of(&[2, 1, 1]), Some(4));
        assert_eq!(of(&[-1, 2, -1]), None);
        assert_eq!(of(&[-1, -1]), None, "two are chance");
        assert_eq!(of(&[-1, 0, -1]), None);
    }

    #[test]
    fn the_more_it_matters_the_sooner_it_is_counted() {
        let day: Day = "2026-01-01".parse().unwrap();
        assert_eq!(due_on(Class::A, day).to_string(), "2026-04-02");
        assert_eq!(due_on(Class::C, day).to_string(), "2027-01-01");
    }
}
