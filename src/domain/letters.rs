//! Letters: what is due, mailed to a member once a day at the hour they chose.
//!
//! Whether one is to be written follows from the hour of the club's day and from the last day that was looked at, so
//! that it does not matter how often, or where, the question is asked.

use chrono::{Duration, NaiveDateTime, Timelike};
use serde::{Deserialize, Serialize};

use crate::units::days::{Day, Instant, local};

/// When a member wants letters who said nothing.
pub const USUAL_HOUR: u32 = 7;

/// When a member wants letters: an hour of the club's day, or never.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
pub struct Wish {
    /// The hour, 0 to 23; none for no letters.
    pub hour: Option<u32>,
}

impl Default for Wish {
    fn default() -> Self {
        Self { hour: Some(USUAL_HOUR) }
    }
}

impl Wish {
    /// The day for which a letter is to be looked at now: today, once its hour has come and unless that day, or a later
    /// one, was looked at before.
    pub fn day(self, now: Instant, zone: chrono_tz::Tz, looked_on: Option<Day>) -> Option<Day> {
        let here: NaiveDateTime = local(now, zone);
        let (today, hour) = (here.date(), self.hour?);
        (here.hour() >= hour && looked_on.is_none_or(|looked| looked < today)).then_some(today)
    }
}

/// How long a letter waits after so many tries: one minute, then twice as long each time, four hours at most.
pub fn pause(tries: i64) -> Duration {
    Duration::minutes((1_i64 << tries.clamp(1, 9).saturating_sub(1)).min(240))
}

/// A letter that could not be sent for so long is given up: what it says is on Today.
pub const GIVEN_UP_AFTER: Duration = Duration::days(3);

/// Things that one letter tells at most; the rest is on Today.
pub const MOST_LINES: usize = 30;

/// One thing in a letter.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Line {
    /// What it is about, unique in the club.
    pub key: String,
    /// When it is due.
    pub due_on: Day,
    /// What to do.
    pub text: String,
    /// Where on the server it is shown.
    pub path: String,
}

/// "3 things are due".
pub fn subject(club: &str, lines: usize) -> String {
    match lines {
        1 => format!("{club}: one thing is due"),
        more => format!("{club}: {more} things are due"),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn at(text: &str) -> Instant {
        text.parse().unwrap()
    }

    fn day(text: &str) -> Day {
        text.parse().unwrap()
    }

    #[test]
    fn a_letter_is_due_from_its_hour_on_once_a_day() {
        let zone = chrono_tz::Europe::Amsterdam;
        let seven = Wish::default();
        // 04:59 UTC is 06:59 in summer.
        assert_eq!(seven.day(at("2026-06-23T04:59:59"), zone, None), None);
        assert_eq!(seven.day(at("2026-06-23T05:00:00"), zone, None), Some(day("2026-06-23")));
        assert_eq!(
            seven.day(at("2026-06-23T21:30:00"), zone, Some(day("2026-06-22"))),
            Some(day("2026-06-23"))
        );
        assert_eq!(seven.day(at("2026-06-23T05:00:00"), zone, Some(day("2026-06-23"))), None);
        // In winter the same hour comes an hour later in UTC.
        assert_eq!(seven.day(at("2026-12-23T05:30:00"), zone, None), None);
        assert_eq!(seven.day(at("2026-12-23T06:00:00"), zone, None), Some(day("2026-12-23")));
        // A clock that is put back does not make yesterday's letter again.
        assert_eq!(seven.day(at("2026-06-22T12:00:00"), zone, Some(day("2026-06-23"))), None);
        assert_eq!(Wish { hour: None }.day(at("2026-06-23T12:00:00"), zone, None), None);
    }

    #[test]
    fn the_hour_that_a_change_of_clocks_leaves_out_or_repeats_makes_one_letter() {
        // 2026-03-29: 02:00 to 03:00 does not exist; 2026-10-25: 02:00 to 03:00 comes twice.
        let zone = chrono_tz::Europe::Amsterdam;
        let two = Wish { hour: Some(2) };
        for (from, today) in [("2026-03-28T22:00:00", "2026-03-29"), ("2026-10-24T21:00:00", "2026-10-25")] {
            let (mut looked, mut letters) = (Some(day(today) - Duration::days(1)), 0);
            for minutes in (0..20 * 60).step_by(10) {
                if let Some(of) = two.day(at(from) + Duration::minutes(minutes), zone, looked) {
                    assert_eq!(of, day(today));
                    (looked, letters) = (Some(of), letters + 1);
                }
            }
            assert_eq!(letters, 1, "{today}");
        }
    }

    #[test]
    fn pauses_grow_up_to_four_hours() {
        let minutes: Vec<i64> = (1..=11).map(|tries| pause(tries).num_minutes()).collect();
        assert_eq!(minutes, [1, 2, 4, 8, 16, 32, 64, 128, 240, 240, 240]);
        assert_eq!((pause(0), pause(i64::MAX)), (pause(1), pause(9)));
    }
}
