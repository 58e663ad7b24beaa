//! What will pass its last good day before it is used, if it is used as it was.

use super::{Use, up_to};
use crate::units::days::Day;
use crate::units::ids::LotId;
use crate::units::quantity::Milli;

/// What is left of a lot, and until when it is good.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Dated {
    /// Which.
    pub lot: LotId,
    /// How much.
    pub left: Milli,
    /// Its last good day.
    pub until: Day,
}

/// How much of each lot of an item will not be used by its last good day, in the order of those days. Each day of use
/// takes from what expires first, today among them; so many whole thousandths are used by a day as the mean says,
/// rounded down. What is left over is a guide: in whole g, mL or pieces, rounded up.
pub fn left_over(lots: &[Dated], used: Use, today: Day) -> Vec<(LotId, Milli)> {
    let mut lots: Vec<&Dated> = lots.iter().collect();
    lots.sort_by_key(|lot| (lot.until, lot.lot));
    let mut taken = Milli::ZERO;
    let mut over = Vec::new();
    for lot in lots {
        let days = ((lot.until - today).num_days() + 1).max(0);
        let usable = i128::from(used.quantity.get().max(0)) * i128::from(days) / i128::from(used.days.max(1));
        let usable = Milli::new(i64::try_from(usable).unwrap_or(i64::MAX));
        let used_up = lot.left.min(usable.above(taken));
        taken = taken + used_up;
        if lot.left > used_up {
            over.push((lot.lot, up_to(lot.left - used_up, Milli::new(1_000)).min(lot.left)));
        }
    }
    over
}

#[cfg(test)]
mod tests {
    use super::*;

    /// By hand: 100 g a day. 500 g good for 3 days (today and two more): 300 g are used, 200 g not. 1,000 g good for 10
    /// days: by then 1,000 g are used, of which 300 g came from the first, so that 700 g of it are used and 300 g not.
    #[test]
    fn each_day_takes_from_what_expires_first() {
        let (today, used) =
            ("2026-06-01".parse().unwrap(), Use { quantity: Milli::new(36_500_000), days: 365 });
        let lot = |left: i64, until: &str| Dated {
            lot: LotId::fresh(),
            left: Milli::new(left),
            until: until.parse().unwrap(),
        };
        let lots = [lot(1_000_000, "2026-06-10"), lot(500_000, "2026-06-03")];
        let over = left_over(&lots, used, today);
        assert_eq!(over, [(lots[1].lot, Milli::new(200_000)), (lots[0].lot, Milli::new(300_000))]);
        let little = [lot(300_250, "2026-06-03"), lot(400, "2026-05-31")];
        let over = left_over(&little, used, today);
        assert_eq!(
            over,
            [(little[1].lot, Milli::new(400)), (little[0].lot, Milli::new(1_000))],
            "in whole grams"
        );
        let enough = [lot(300_000, "2026-06-03")];
        assert_eq!(left_over(&enough, used, today), []);
        let past = [lot(5_000, "2026-05-31")];
        assert_eq!(left_over(&past, used, today), [(past[0].lot, Milli::new(5_000))]);
        let never = Use { quantity: Milli::ZERO, days: 30 };
        assert_eq!(left_over(&enough, never, today), [(enough[0].lot, Milli::new(300_000))]);
    }
}
