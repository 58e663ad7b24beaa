//! What is left of the strength of yeast and enzymes as they age.
//!
//! An item says how much of its strength it loses in a year; each year takes that share of what was left. That is
//! common practice, without a source, and differs with the warmth of the shelf: a guide, which never changes an amount
//! by itself.

use crate::units::days::Day;

/// Below this it is not made up for by using more.
const TOO_WEAK: f64 = 0.25;

/// What share of the strength is left on a day of what came on another and loses so many thousandths a year.
#[allow(clippy::cast_precision_loss, reason = "days are far below 2^52")]
pub fn left(weakens_permille: u32, received_on: Day, on: Day) -> f64 {
    let years = (on - received_on).num_days().max(0) as f64 / 365.25;
    (1.0 - f64::from(weakens_permille.min(999)) / 1000.0).powf(years)
}

/// In words: "about 82 % of its strength, a guide: use 1.2 times as much"; none while it is as good as new.
pub fn words(left: f64) -> Option<String> {
    let percent = (left * 100.0).round();
    if percent >= 99.0 {
        return None;
    }
    if left < TOO_WEAK {
        return Some(format!("about {percent:.0} % of its strength, a guide: better take a fresh one"));
    }
    Some(format!("about {percent:.0} % of its strength, a guide: use {:.1} times as much", 1.0 / left))
}

#[cfg(test)]
mod tests {
    use super::*;

    /// By hand: 20 % a year leave 80 % after 365.25 days and 64 % after twice as long; half a year leaves the root of
    /// 0.8, which is 0.894.
    #[test]
    fn each_year_takes_its_share_of_what_was_left() {
        let after = |days: i64| {
            let came: Day = "2024-01-01".parse().unwrap();
            left(200, came, came + chrono::Duration::days(days))
        };
        assert!((after(0) - 1.0).abs() < 1e-12);
        assert!((after(1461) - 0.8_f64.powi(4)).abs() < 1e-9, "four years are 1461 days");
        assert!((after(183) - 0.894).abs() < 0.001);
        assert!((after(-5) - 1.0).abs() < 1e-12, "before it came it was fresh");
    }

    #[test]
    fn the_words_say_how_much_more_to_use() {
        assert_eq!(words(0.995), None);
        let said = |left| words(left).unwrap();
        assert_eq!(said(0.82), "about 82 % of its strength, a guide: use 1.2 times as much");
        assert_eq!(said(0.5), "about 50 % of its strength, a guide: use 2.0 times as much");
        assert_eq!(said(0.2), "about 20 % of its strength, a guide: better take a fresh one");
    }
}
