//! Days and instants as people write and read them. A day is a date in the club's time zone.

use chrono::{Datelike, NaiveDate, NaiveDateTime, NaiveTime, TimeZone, Utc};
use chrono_tz::Tz;

use super::Misread;

/// A day of the calendar.
pub type Day = NaiveDate;
/// An instant, in UTC.
pub type Instant = NaiveDateTime;

const MONTHS: [&str; 12] = [
    "January",
    "February",
    "March",
    "April",
    "May",
    "June",
    "July",
    "August",
    "September",
    "October",
    "November",
    "December",
];

/// Read a day: "2026-06-30", "30 June 2026", "30 Jun 2026", "today", "yesterday".
pub fn read(text: &str, today: Day) -> Result<Day, Misread> {
    let text = text.trim().to_lowercase();
    let found = match text.as_str() {
        "today" => Some(today),
        "yesterday" => today.pred_opt(),
        "tomorrow" => today.succ_opt(),
        other => NaiveDate::parse_from_str(other, "%Y-%m-%d").ok().or_else(|| spelled(other)),
    };
    match found {
        Some(day) if (1900..=2200).contains(&day.year()) => Ok(day),
        Some(_) => Err(Misread::new("Write a day between the years 1900 and 2200")),
        None => Err(Misread::new(format!("Write the day like {} or {}", iso(today), long(today)))),
    }
}

fn spelled(text: &str) -> Option<Day> {
    let mut words = text.split_whitespace();
    let day = words.next()?.parse().ok()?;
    let name = words.next()?;
    let month = MONTHS.iter().position(|month| name.len() >= 3 && month.to_lowercase().starts_with(name))?;
    let year = words.next()?.parse().ok()?;
    if words.next().is_some() {
        return None;
    }
    NaiveDate::from_ymd_opt(year, u32::try_from(month).ok()? + 1, day)
}

/// A day on which something happened: read, and not in the future.
pub fn read_past(text: &str, today: Day) -> Result<Day, Misread> {
    let day = read(text, today)?;
    if day > today {
        return Err(Misread::new(format!(
            "{} is still to come; write a day up to today, {}",
            long(day),
            long(today)
        )));
    }
    Ok(day)
}

/// An instant at which something happened, in the club's zone: RFC 3339, "2026-06-23 18:40", "18:40" of today, or a
/// day with noon.
pub fn read_instant(text: &str, zone: Tz, now: Instant) -> Result<Instant, Misread> {
    let text = text.trim();
    let today = local_day(now, zone);
    let found = if let Ok(exact) = chrono::DateTime::parse_from_rfc3339(text) {
        exact.with_timezone(&Utc).naive_utc()
    } else if let Ok(time) = NaiveTime::parse_from_str(text, "%H:%M") {
        to_utc(today.and_time(time), zone)
    } else {
        let (day, time) =
            text.rsplit_once([' ', 'T']).map_or((text, None), |(day, time)| match NaiveTime::parse_from_str(
                time, "%H:%M",
            ) {
                Ok(time) => (day, Some(time)),
                Err(_) => (text, None),
            });
        let day = read(day, today)?;
        let local = match time {
            Some(time) => day.and_time(time),
            None if day == today => return Ok(now),
            None => day.and_time(NaiveTime::from_hms_opt(12, 0, 0).unwrap_or_default()),
        };
        to_utc(local, zone)
    };
    if found > now + chrono::Duration::minutes(5) {
        return Err(Misread::new("This time is still to come; write when it was measured"));
    }
    if found.year() < 1900 {
        return Err(Misread::new("Write a time after the year 1900"));
    }
    Ok(found.min(now))
}

/// A local time as UTC; a time that the spring change skips is taken an hour later.
pub fn to_utc(local: NaiveDateTime, zone: Tz) -> Instant {
    zone.from_local_datetime(&local)
        .earliest()
        .or_else(|| zone.from_local_datetime(&(local + chrono::Duration::hours(1))).earliest())
        .map_or(local, |found| found.naive_utc())
}

/// The instant in the club's own clock.
pub fn local(instant: Instant, zone: Tz) -> NaiveDateTime {
    zone.from_utc_datetime(&instant).naive_local()
}

/// The instant at which a day begins in the club's zone.
pub fn begin(day: Day, zone: Tz) -> Instant {
    to_utc(day.and_time(NaiveTime::MIN), zone)
}

/// The day in the club's zone.
pub fn local_day(instant: Instant, zone: Tz) -> Day {
    local(instant, zone).date()
}

/// "2026-06-30".
pub fn iso(day: Day) -> String {
    day.format("%Y-%m-%d").to_string()
}

/// "30 June 2026".
pub fn long(day: Day) -> String {
    day.format("%-d %B %Y").to_string()
}

/// "Tue 23 June", with the year where it is not this one.
pub fn short(day: Day, today: Day) -> String {
    if day.year() == today.year() {
        day.format("%a %-d %B").to_string()
    } else {
        day.format("%a %-d %b %Y").to_string()
    }
}

/// "11 Mar", with the year where it is not this one: for tables.
pub fn tiny(day: Day, today: Day) -> String {
    if day.year() == today.year() {
        day.format("%-d %b").to_string()
    } else {
        day.format("%-d %b %Y").to_string()
    }
}

/// An age in words: "12 days", "9 weeks", "3 months", "2 years"; only months that have passed, within four days,
/// so that 90 days are three of them.
pub fn age(days: i64) -> String {
    match days {
        i64::MIN..=0 => "0 days".to_owned(),
        1 => "1 day".to_owned(),
        2..=34 => format!("{days} days"),
        35..=89 => format!("{} weeks", days / 7),
        90..=729 => format!("{} months", (days * 12 + 48) / 365),
        _ if days % 365 < 31 => format!("{} years", days / 365),
        _ => format!("{}.{} years", days / 365, (days % 365) * 10 / 365),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn day(text: &str) -> Day {
        text.parse().unwrap()
    }

    #[test]
    fn days_are_read_in_figures_and_words() {
        let today = day("2026-06-23");
        for (text, found) in [
            ("2026-06-30", "2026-06-30"),
            ("30 June 2026", "2026-06-30"),
            ("1 jan 2025", "2025-01-01"),
            ("Today", "2026-06-23"),
            ("yesterday", "2026-06-22"),
        ] {
            assert_eq!(read(text, today), Ok(day(found)), "{text}");
        }
        for text in ["", "30/06/2026", "2026-02-30", "31 June 2026", "9999-01-01", "soon"] {
            assert!(read(text, today).is_err(), "{text}");
        }
        assert!(read_past("2026-06-24", today).unwrap_err().to_string().contains("still to come"));
    }

    #[test]
    fn an_instant_is_read_in_the_clubs_clock() {
        let zone: Tz = "Europe/Amsterdam".parse().unwrap();
        let now = day("2026-06-23").and_hms_opt(16, 0, 0).unwrap();
        let read = |text| read_instant(text, zone, now).map(|found| found.to_string());
        assert_eq!(read("2026-06-23 15:40").unwrap(), "2026-06-23 13:40:00");
        assert_eq!(read("2026-06-23T15:40:00+02:00").unwrap(), "2026-06-23 13:40:00");
        assert_eq!(read("2026-01-05").unwrap(), "2026-01-05 11:00:00");
        assert!(read("2026-06-23 20:00").unwrap_err().contains_words("still to come"));
        // The night the clocks go forward: 02:30 does not exist and becomes 03:30 summer time.
        assert_eq!(read("2026-03-29 02:30").unwrap(), "2026-03-29 01:30:00");
    }

    #[test]
    fn an_age_is_said_as_people_say_it() {
        for (days, words) in [(0, "0 days"), (1, "1 day"), (34, "34 days"), (63, "9 weeks"), (730, "2 years")]
        {
            assert_eq!(age(days), words);
        }
        for (days, months) in [(90, 3), (180, 6), (270, 9), (350, 11), (365, 12), (547, 18), (715, 23)] {
            assert_eq!(age(days), format!("{months} months"));
        }
    }

    trait Words {
        fn contains_words(&self, words: &str) -> bool;
    }
    impl Words for Misread {
        fn contains_words(&self, words: &str) -> bool {
            self.to_string().contains(words)
        }
    }
}
