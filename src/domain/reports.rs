//! Which days a report is about, and how what a club made in a year stands to the limit that it entered.

use chrono::Datelike;

use crate::units::days::Day;
use crate::units::quantity::Milli;

/// The days from `first` to `last`, both among them.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Span {
    /// The first day.
    pub first: Day,
    /// The last day.
    pub last: Day,
}

impl Span {
    /// A calendar year; none where there is no such year.
    pub fn year(year: i32) -> Option<Self> {
        Some(Self { first: Day::from_ymd_opt(year, 1, 1)?, last: Day::from_ymd_opt(year, 12, 31)? })
    }

    /// The days of the year of `day` up to that day.
    pub fn until(day: Day) -> Self {
        Self { first: Day::from_ymd_opt(day.year(), 1, 1).unwrap_or(day), last: day }
    }

    /// Whether a day is one of them.
    pub fn holds(self, day: Day) -> bool {
        self.first <= day && day <= self.last
    }

    /// The years of which it has days.
    pub fn years(self) -> std::ops::RangeInclusive<i32> {
        self.first.year()..=self.last.year()
    }

    /// The last day of each of its months, and its own last day.
    pub fn month_ends(self) -> Vec<Day> {
        let mut ends = Vec::new();
        let (mut year, mut month) = (self.first.year(), self.first.month());
        loop {
            (year, month) = if month == 12 { (year + 1, 1) } else { (year, month + 1) };
            let end = Day::from_ymd_opt(year, month, 1).and_then(|day| day.pred_opt());
            match end.filter(|end| *end < self.last) {
                Some(end) => ends.push(end),
                None => break,
            }
        }
        ends.push(self.last);
        ends
    }
}

/// What was made in a year. Which of the two a law counts differs, so that the larger is held against the limit.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq)]
pub struct Made {
    /// Must to which yeast was pitched.
    pub pitched: Milli,
    /// Drink that was bottled.
    pub bottled: Milli,
}

/// How that stands to a limit.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Against {
    /// Well within; so much may still come.
    Within(Milli),
    /// Above four fifths of it; so much may still come.
    Near(Milli),
    /// Above it, by so much.
    Over(Milli),
}

impl Made {
    /// What is held against the limit.
    pub fn counted(self) -> Milli {
        self.pitched.max(self.bottled)
    }

    /// How it stands to a limit.
    pub fn against(self, limit: Milli) -> Against {
        let made = self.counted();
        if made > limit {
            Against::Over(made - limit)
        } else if i128::from(made.get()) * 5 > i128::from(limit.get()) * 4 {
            Against::Near(limit - made)
        } else {
            Against::Within(limit - made)
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_span_ends_its_months_on_their_last_days() {
        let ends = |first: &str, last: &str| {
            let span = Span { first: first.parse().unwrap(), last: last.parse().unwrap() };
            span.month_ends().iter().map(ToString::to_string).collect::<Vec<_>>()
        };
        assert_eq!(ends("2024-01-01", "2024-03-15"), ["2024-01-31", "2024-02-29", "2024-03-15"]);
        assert_eq!(ends("2023-12-01", "2024-01-31"), ["2023-12-31", "2024-01-31"]);
        assert_eq!(ends("2026-06-01", "2026-06-01"), ["2026-06-01"]);
        assert_eq!(Span::year(2026).unwrap().month_ends().len(), 12);
        assert_eq!(Span::year(2026).unwrap().years(), 2026..=2026);
    }

    /// The larger of the two counts: whoever bottles last year's drink, or has much still working, is told in time.
    #[test]
    fn the_larger_of_pitched_and_bottled_is_held_against_the_limit() {
        let litres = |litres: i64| Milli::new(litres * 1_000_000);
        let made = |pitched, bottled| Made { pitched: litres(pitched), bottled: litres(bottled) };
        assert_eq!(made(100, 60).against(litres(200)), Against::Within(litres(100)));
        assert_eq!(made(10, 160).against(litres(200)), Against::Within(litres(40)));
        assert_eq!(made(161, 0).against(litres(200)), Against::Near(litres(39)));
        assert_eq!(made(0, 200).against(litres(200)), Against::Near(Milli::ZERO));
        assert_eq!(made(201, 5).against(litres(200)), Against::Over(litres(1)));
    }
}
