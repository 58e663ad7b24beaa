//! How long something takes, in whole minutes, as people write and read it.

use crate::units::{Misread, number};

/// Two years: no step takes longer.
const MOST_MINUTES: i64 = 2 * 366 * DAY;
const DAY: i64 = 24 * 60;

/// "45 min", "2 h 30 min", "14 days"; exact.
pub fn duration(minutes: i64) -> String {
    let (days, hours, rest) = (minutes / DAY, minutes % DAY / 60, minutes % 60);
    let days = match days {
        0 => None,
        1 => Some("1 day".to_owned()),
        more => Some(format!("{more} days")),
    };
    let hours = (hours > 0).then(|| format!("{hours} h"));
    let rest = (rest > 0 || (days.is_none() && hours.is_none())).then(|| format!("{rest} min"));
    [days, hours, rest].into_iter().flatten().collect::<Vec<_>>().join(" ")
}

/// Reads "45", "45 min", "1.5 h", "2 h 30 min", "14 days"; a bare number is minutes.
pub fn read_duration(text: &str) -> Result<i64, Misread> {
    let unclear = || Misread::new("Write how long it takes like 45 min, 2 h 30 min or 14 days");
    let words = text.trim().to_lowercase();
    let mut rest = words.as_str();
    let mut sum = 0_i64;
    while !rest.is_empty() {
        let end = rest.find(char::is_alphabetic).unwrap_or(rest.len());
        let (figure, after) = rest.split_at(end);
        let end = after.find(|c: char| !c.is_alphabetic()).unwrap_or(after.len());
        let (unit, after) = after.split_at(end);
        let minutes = match unit {
            "" | "m" | "min" | "mins" | "minute" | "minutes" => 1,
            "h" | "hour" | "hours" => 60,
            "d" | "day" | "days" => DAY,
            "week" | "weeks" => 7 * DAY,
            _ => return Err(unclear()),
        };
        let hundredths = number::scaled(figure.trim(), 100, "45")?;
        if hundredths < 0 {
            return Err(unclear());
        }
        sum = hundredths
            .checked_mul(minutes)
            .map(|part| (part + 50) / 100)
            .and_then(|part| sum.checked_add(part))
            .filter(|sum| *sum <= MOST_MINUTES)
            .ok_or_else(|| Misread::new("Write at most two years"))?;
        rest = after.trim_start();
    }
    if words.is_empty() { Err(unclear()) } else { Ok(sum) }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_is_said_is_read_again() {
        for (typed, minutes, said) in [
            ("45", 45, "45 min"),
            ("45 min", 45, "45 min"),
            ("1.5 h", 90, "1 h 30 min"),
            ("1,5h", 90, "1 h 30 min"),
            ("2 h 30 min", 150, "2 h 30 min"),
            ("14 days", 20_160, "14 days"),
            ("1 day 6 h", 1800, "1 day 6 h"),
            ("0", 0, "0 min"),
        ] {
            assert_eq!(read_duration(typed), Ok(minutes), "{typed}");
            assert_eq!(duration(minutes), said);
            assert_eq!(read_duration(said), Ok(minutes), "{said}");
        }
        for bad in ["", "soon", "-5", "3 moons", "9 9 9 years", "999999999", "99999999999999999999"] {
            assert!(read_duration(bad).is_err(), "{bad}");
        }
    }
}
