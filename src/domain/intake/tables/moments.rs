//! Days and times as tables from elsewhere write them. Whether 3/4 is the third of April or the fourth of March is
//! found out from the other rows, or asked.

use chrono::{DateTime, NaiveDate, NaiveDateTime, NaiveTime, Utc};

use serde::{Deserialize, Serialize};

use crate::domain::refusal::Refusal;
use crate::units::days::Instant;

/// In which order a day is written.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
pub enum Order {
    /// 2026-06-23.
    YearFirst,
    /// 23.06.2026.
    DayFirst,
    /// 06/23/2026.
    MonthFirst,
}

impl Order {
    /// All orders.
    pub const ALL: [Self; 3] = [Self::YearFirst, Self::DayFirst, Self::MonthFirst];

    /// In a form and in the API.
    pub const fn code(self) -> &'static str {
        match self {
            Self::YearFirst => "year-month-day",
            Self::DayFirst => "day-month-year",
            Self::MonthFirst => "month-day-year",
        }
    }

    /// How days are written, in words.
    pub const fn says(self) -> &'static str {
        match self {
            Self::YearFirst => "Days with the year first.",
            Self::DayFirst => "Days with the day before the month.",
            Self::MonthFirst => "Days with the month before the day.",
        }
    }
}

/// A time as it stood there.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Moment {
    /// With its offset, or as seconds since 1970.
    Exact(Instant),
    /// As the clock of the club shows it.
    Local(NaiveDateTime),
}

/// The three numbers of a day and what stands between them.
fn parts(day: &str) -> Option<([u32; 3], char)> {
    let sign = day.chars().find(|c| !c.is_ascii_digit())?;
    if !"-./".contains(sign) {
        return None;
    }
    let mut numbers = day.split(sign).map(|part| part.parse::<u32>().ok());
    let found = [numbers.next()??, numbers.next()??, numbers.next()??];
    numbers.next().is_none().then_some((found, sign))
}

/// The day and the time of a cell that holds both, or only the day.
fn split(cell: &str) -> (&str, &str) {
    let cell = cell.trim();
    cell.split_once([' ', 'T', '\u{a0}'])
        .map_or((cell, ""), |(day, time)| (day.trim_end_matches(','), time.trim()))
}

fn since_1970(cell: &str) -> Option<Instant> {
    let whole = cell.split('.').next()?;
    let number: i64 = whole.parse().ok()?;
    match whole.len() {
        10 => DateTime::from_timestamp(number, 0).map(|found| found.naive_utc()),
        13 => DateTime::from_timestamp_millis(number).map(|found| found.naive_utc()),
        _ => None,
    }
}

/// Whether a cell begins with a day, or counts seconds since 1970.
pub fn looks_like_a_day(cell: &str) -> bool {
    parts(split(cell).0).is_some()
        || since_1970(cell).is_some_and(|at| at.and_utc().timestamp() > 900_000_000)
}

/// The order in which these days are written; asked where they do not tell.
pub fn order<'c>(cells: impl Iterator<Item = &'c str>, said: Option<Order>) -> Result<Order, Refusal> {
    let days = cells.filter_map(|cell| parts(split(cell).0));
    let (mut first, mut second, mut signs, mut differ) = (0, 0, String::new(), false);
    for (numbers, sign) in days {
        if numbers[0] > 31 {
            return Ok(Order::YearFirst);
        }
        (first, second) = (first.max(numbers[0]), second.max(numbers[1]));
        differ |= numbers[0] != numbers[1];
        signs.push(sign);
    }
    match said {
        Some(order) => Ok(order),
        None if signs.is_empty() => Ok(Order::YearFirst),
        // Points between the numbers are written by those who put the day first.
        None if first > 12 || signs.starts_with('.') => Ok(Order::DayFirst),
        None if second > 12 => Ok(Order::MonthFirst),
        None if !differ => Ok(Order::DayFirst),
        None => Err(Refusal::unfit(
            "date_order",
            "Does the day or the month come first? No row of this file tells: say it here",
        )),
    }
}

/// The time of a row: from one cell, or from a day and a time of its own.
pub fn read(day: &str, time: Option<&str>, order: Order) -> Result<Moment, String> {
    if let Some(at) = since_1970(day) {
        return Ok(Moment::Exact(at));
    }
    if let Ok(exact) = DateTime::parse_from_rfc3339(&day.replacen(' ', "T", 1)) {
        return Ok(Moment::Exact(exact.with_timezone(&Utc).naive_utc()));
    }
    let (date, own) = split(day);
    let unreadable = || format!("“{day}” is no day as the other rows write it");
    let date = date_in(date, order).ok_or_else(unreadable)?;
    let text = time.filter(|time| !time.is_empty()).unwrap_or(own);
    let time = clock(text).ok_or_else(|| format!("“{text}” is no time: write it like 15:40"))?;
    Ok(Moment::Local(date.and_time(time)))
}

/// A day in three numbers.
pub fn date_in(text: &str, order: Order) -> Option<NaiveDate> {
    let (numbers, _) = parts(text)?;
    let [year, month, day] = match order {
        _ if numbers[0] > 31 => numbers,
        Order::YearFirst | Order::DayFirst => [numbers[2], numbers[1], numbers[0]],
        Order::MonthFirst => [numbers[2], numbers[0], numbers[1]],
    };
    let year = if year < 100 { year + 2000 } else { year };
    NaiveDate::from_ymd_opt(i32::try_from(year).ok()?, month, day)
}

/// A time with or without seconds, of twelve or twenty-four hours.
fn clock(text: &str) -> Option<NaiveTime> {
    let text = text.trim().to_uppercase().replace(['\u{202f}', '\u{a0}'], " ");
    ["%H:%M", "%H:%M:%S", "%H:%M:%S%.f", "%I:%M %p", "%I:%M:%S %p", "%I:%M%p", "%I:%M:%S%p", "%H.%M"]
        .into_iter()
        .find_map(|form| NaiveTime::parse_from_str(&text, form).ok())
}
