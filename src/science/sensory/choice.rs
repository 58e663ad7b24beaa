//! Tests by choice: who can tell two drinks apart, or which of them is preferred. Exact binomial probabilities.

use statrs::distribution::{Beta, Binomial, ContinuousCDF, DiscreteCDF};

use super::Interval;

/// How the glasses are set, and what is asked.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Test {
    /// Three glasses, two alike: which is the odd one? ISO 4120.
    Triangle,
    /// A known glass and two more: which is like it? ISO 10399.
    DuoTrio,
    /// Two glasses: which has more of what was known to differ? ISO 5495, one-sided.
    PairedDirected,
    /// Two glasses: which has more, or which is liked better? ISO 5495, two-sided.
    PairedOpen,
}

/// What came of it.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Outcome {
    /// Right answers, or for [`Test::PairedOpen`] the answers for the glass named more often.
    pub chosen: u32,
    /// Answers in all.
    pub of: u32,
    /// How likely so many or more are if everybody guesses.
    pub p: f64,
    /// The least number that chance gives at most 5 times in 100; none if even all would not do.
    pub needed: Option<u32>,
    /// The share of judges who really tell the drinks apart, from nought, with its interval (Clopper and Pearson).
    pub discriminators: (f64, Interval),
}

impl Test {
    /// How often a guess is right.
    pub const fn chance(self) -> f64 {
        match self {
            Self::Triangle => 1.0 / 3.0,
            Self::DuoTrio | Self::PairedDirected | Self::PairedOpen => 0.5,
        }
    }

    /// The probability of `chosen` or more of `of` by guessing; both tails for an open pair.
    pub fn p(self, chosen: u32, of: u32) -> f64 {
        if chosen == 0 || of == 0 {
            return 1.0;
        }
        let Ok(guesses) = Binomial::new(self.chance(), u64::from(of)) else { return 1.0 };
        let tail = guesses.sf(u64::from(chosen.min(of)) - 1);
        if self == Self::PairedOpen { (2.0 * tail).min(1.0) } else { tail }
    }

    /// The least number of `of` answers that guessing gives with a probability of at most `alpha`.
    pub fn needed(self, of: u32, alpha: f64) -> Option<u32> {
        // The tail falls as the number grows: look for the edge by halving.
        let (mut low, mut high) = (0, of + 1);
        while low < high {
            let middle = low + (high - low) / 2;
            if self.p(middle, of) <= alpha { high = middle } else { low = middle + 1 }
        }
        (low <= of).then_some(low)
    }

    /// What these answers show. More right answers than answers count as all of them.
    pub fn outcome(self, chosen: u32, of: u32) -> Outcome {
        let chosen = chosen.min(of);
        let chosen = if self == Self::PairedOpen { chosen.max(of - chosen) } else { chosen };
        let above_chance = |share: f64| ((share - self.chance()) / (1.0 - self.chance())).clamp(0.0, 1.0);
        let seen = if of == 0 { 0.0 } else { f64::from(chosen) / f64::from(of) };
        let share = exact_interval(chosen, of);
        let interval = Interval { low: above_chance(share.low), high: above_chance(share.high) };
        Outcome {
            chosen,
            of,
            p: self.p(chosen, of),
            needed: self.needed(of, 0.05),
            discriminators: (above_chance(seen), interval),
        }
    }
}

/// The 95 % interval of a share by Clopper and Pearson (1934): never too narrow.
fn exact_interval(chosen: u32, of: u32) -> Interval {
    let (x, n) = (f64::from(chosen), f64::from(of));
    let quantile =
        |a: f64, b: f64, p: f64, edge: f64| Beta::new(a, b).map_or(edge, |beta| beta.inverse_cdf(p));
    Interval {
        low: if chosen == 0 { 0.0 } else { quantile(x, n - x + 1.0, 0.025, 0.0) },
        high: if chosen == of { 1.0 } else { quantile(x + 1.0, n - x, 0.975, 1.0) },
    }
}

#[cfg(test)]
mod tests {
    use super::super::super::checks::near;
    use super::*;

    #[test]
    fn the_least_number_of_right_answers_is_that_of_the_standards() {
        // C: scipy.stats.binomtest for n = 5 to 60; its triangle columns equal ISO 4120:2004 Table A.1 from memory at
        // 30 sizes.
        let table = include_str!("../../../tests/check-values/sensory_min_correct.csv");
        let rows: Vec<Vec<Option<u32>>> = table
            .lines()
            .skip(1)
            .map(|line| line.split(',').map(|cell| cell.parse().ok()).collect())
            .collect();
        assert!(rows.len() > 15);
        for row in rows {
            let of = row[0].expect("a number of judges");
            for (test, first) in [(Test::Triangle, 1), (Test::DuoTrio, 6), (Test::PairedOpen, 11)] {
                for (at, alpha) in [0.20, 0.10, 0.05, 0.01, 0.001].into_iter().enumerate() {
                    assert_eq!(test.needed(of, alpha), row[first + at], "{test:?} of {of} at {alpha}");
                }
            }
        }
    }

    #[test]
    fn probabilities_are_exact() {
        // C: scipy.stats.binomtest, to the digits printed.
        for (test, chosen, of, want) in [
            (Test::Triangle, 8, 12, 0.018_758_4),
            (Test::Triangle, 15, 30, 0.043_482_3),
            (Test::Triangle, 14, 30, 0.089_770_9),
            (Test::Triangle, 6, 6, 0.001_371_74),
            (Test::PairedDirected, 21, 30, 0.021_387_0),
            (Test::PairedOpen, 21, 30, 0.042_773_9),
        ] {
            near(test.p(chosen, of), want, 1e-6);
        }
    }

    #[test]
    fn the_share_who_tell_apart_is_what_is_above_chance() {
        let half = Test::Triangle.outcome(15, 30);
        // Abbott's formula: (15/30 - 1/3) / (2/3).
        near(half.discriminators.0, 0.25, 1e-12);
        assert!(half.discriminators.1.low < 0.25 && half.discriminators.1.high > 0.25);
        // C: binomial proportion 15 of 30, Clopper-Pearson by scipy.stats.beta.ppf: 0.312974 to 0.687026.
        let share = exact_interval(15, 30);
        near(share.low, 0.312_974, 1e-5);
        near(share.high, 0.687_026, 1e-5);
        assert!(Test::Triangle.outcome(5, 30).discriminators.0.abs() < 1e-12, "never below nothing");
    }

    #[test]
    fn an_open_pair_is_the_same_whichever_glass_is_counted() {
        assert_eq!(Test::PairedOpen.outcome(9, 30), Test::PairedOpen.outcome(21, 30));
    }

    #[test]
    fn too_few_answers_can_never_be_enough() {
        assert_eq!(Test::PairedDirected.needed(4, 0.05), None);
        assert_eq!(Test::Triangle.needed(0, 0.05), None);
        near(Test::Triangle.outcome(0, 0).p, 1.0, 0.0);
    }
}
