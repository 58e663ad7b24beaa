//! Money in whole millionths of the club's currency, so that shares of a sum add up to the sum.

use serde::{Deserialize, Serialize};

use super::{Misread, number};

/// An amount of money, in millionths.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq, Hash, PartialOrd, Ord, Serialize, Deserialize)]
#[serde(transparent)]
pub struct Money(pub(crate) i64);

const MOST: i64 = 1_000_000_000_000_000;

impl Money {
    /// Nothing.
    pub const ZERO: Money = Money(0);

    /// From millionths.
    pub const fn from_micros(micros: i64) -> Self {
        Self(micros)
    }

    /// In millionths.
    pub const fn micros(self) -> i64 {
        self.0
    }

    /// Read an amount of zero or more, such as "39.60", "39,60" or "€ 39.60"; up to six places.
    pub fn read(text: &str) -> Result<Self, Misread> {
        let bare = text.trim().trim_matches(|c: char| "€$£¥".contains(c) || c.is_whitespace());
        let micros = number::scaled(bare, 1_000_000, "39.60")?;
        if micros < 0 {
            return Err(Misread::new("Write an amount of money that is not below zero"));
        }
        if micros > MOST {
            return Err(Misread::new("Write an amount of money below 1 000 000 000"));
        }
        Ok(Self(micros))
    }

    /// The sum, or `None` beyond what can be kept.
    pub fn plus(self, other: Money) -> Option<Money> {
        self.0.checked_add(other.0).map(Money)
    }

    /// With so many thousandths of a per cent more, to the nearest millionth; `None` beyond what can be kept.
    pub fn with_tax(self, rate: i64) -> Option<Money> {
        let whole = i128::from(self.0) * i128::from(100_000 + rate);
        i64::try_from((whole + 50_000) / 100_000).ok().filter(|sum| *sum <= MOST).map(Money)
    }

    /// The other sign.
    #[must_use]
    pub fn negated(self) -> Money {
        Money(-self.0)
    }

    /// `part` in `whole` of this amount, rounded down (towards zero); all of it when the part is the whole.
    #[must_use]
    pub fn share(self, part: i64, whole: i64) -> Money {
        if whole == 0 || part == whole {
            return self;
        }
        let share = i128::from(self.0) * i128::from(part) / i128::from(whole);
        Money(i64::try_from(share).unwrap_or(self.0))
    }

    /// To the hundredth, as it is paid: a half away from zero.
    #[must_use]
    pub fn paid(self) -> Money {
        const HUNDREDTH: i64 = 10_000;
        let half = if self.0 < 0 { -HUNDREDTH / 2 } else { HUNDREDTH / 2 };
        Money(self.0.saturating_add(half) / HUNDREDTH * HUNDREDTH)
    }

    /// As a plain decimal for machines: "39.6".
    pub fn plain(self) -> String {
        number::plain(self.0, 6)
    }

    /// With two places for people: "39.60".
    pub fn shown(self) -> String {
        number::fixed(self.0, 6, 2)
    }

    /// With three places, for what one bottle bears: "0.943".
    pub fn shown_fine(self) -> String {
        number::fixed(self.0, 6, 3)
    }
}

impl std::ops::Add for Money {
    type Output = Money;
    /// Saturates: the bounds of [`Money::read`] and of the books keep sums far from the end.
    fn add(self, other: Money) -> Money {
        Money(self.0.saturating_add(other.0))
    }
}

impl std::ops::Sub for Money {
    type Output = Money;
    fn sub(self, other: Money) -> Money {
        Money(self.0.saturating_sub(other.0))
    }
}

impl std::iter::Sum for Money {
    fn sum<I: Iterator<Item = Money>>(items: I) -> Money {
        items.fold(Money::ZERO, |sum, item| sum + item)
    }
}

/// Split `amount` by `weights` so that the shares add up to it exactly: shares rounded down, the rest handed
/// out by largest remainder, ties to the first (Hamilton's method). `None` when all weights are zero.
pub fn shares(amount: i64, weights: &[u32]) -> Option<Vec<i64>> {
    let whole: i128 = weights.iter().map(|w| i128::from(*w)).sum();
    if whole == 0 {
        return None;
    }
    let size = i128::from(amount).abs();
    let mut parts: Vec<i128> = weights.iter().map(|w| size * i128::from(*w) / whole).collect();
    let mut order: Vec<usize> = (0..weights.len()).collect();
    order.sort_by_key(|i| (std::cmp::Reverse(size * i128::from(weights[*i]) % whole), *i));
    let rest = size - parts.iter().sum::<i128>();
    for i in order.into_iter().take(usize::try_from(rest).unwrap_or(0)) {
        parts[i] += 1;
    }
    let sign = if amount < 0 { -1 } else { 1 };
    parts.into_iter().map(|part| i64::try_from(part * sign).ok()).collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn money_is_read_with_comma_or_point() {
        assert_eq!(Money::read("39,60").unwrap().micros(), 39_600_000);
        assert_eq!(Money::read("€ 1.524761").unwrap().micros(), 1_524_761);
        assert!(Money::read("39,6O").unwrap_err().to_string().contains("39.60"));
        assert!(Money::read("-1").is_err());
        assert!(Money::read("99999999999").is_err());
    }

    #[test]
    fn tax_is_added_to_the_nearest_millionth() {
        let with = |micros, rate| Money(micros).with_tax(rate).map(Money::micros);
        assert_eq!(with(10_000_000, 21_000), Some(12_100_000));
        assert_eq!(with(10_000_000, 0), Some(10_000_000));
        assert_eq!(with(1, 49_999), Some(1));
        assert_eq!(with(1, 50_000), Some(2), "half a millionth goes up");
        assert_eq!(with(MOST, 21_000), None);
    }

    #[test]
    fn what_is_paid_has_whole_hundredths() {
        for (exact, paid) in
            [(28_363_435, 28_360_000), (3_435, 0), (-5_000, -10_000), (4_999, 0), (-4_999, 0)]
        {
            assert_eq!(Money(exact).paid(), Money(paid), "{exact}");
        }
    }

    /// Largest remainder: computed by hand, and the seats example of common textbooks (from memory).
    #[test]
    fn shares_add_up() {
        assert_eq!(shares(100, &[1, 1, 1]), Some(vec![34, 33, 33]));
        assert_eq!(shares(10_000, &[1; 7]), Some(vec![1429, 1429, 1429, 1429, 1428, 1428, 1428]));
        assert_eq!(shares(1001, &[50, 30, 20]), Some(vec![501, 300, 200]));
        assert_eq!(shares(2, &[1, 1, 1]), Some(vec![1, 1, 0]));
        let seats = [47_000, 16_000, 15_900, 12_000, 6_000, 3_100];
        assert_eq!(shares(10, &seats), Some(vec![5, 2, 1, 1, 1, 0]));
        assert_eq!(shares(-100, &[1, 1, 1]), Some(vec![-34, -33, -33]));
        assert_eq!(shares(5, &[0, 0]), None);
    }

    #[test]
    fn the_last_share_takes_the_rest() {
        let ten = Money::from_micros(10);
        assert_eq!(ten.share(1, 3).micros(), 3);
        assert_eq!(ten.share(3, 3).micros(), 10);
    }
}
