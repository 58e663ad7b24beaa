//! What a logger wrote, as readings: a table of text whose separator, decimal sign, columns and order of dates are
//! found out where the file says them, and asked where it does not. Every row that cannot be read is named with its
//! line and the reason; nothing is guessed about a value.

use std::collections::BTreeMap;

use chrono_tz::Tz;

use crate::domain::climate::read_humidity;
use crate::domain::intake::tables::moments::{self, Moment};
use crate::domain::intake::tables::separator;
use crate::domain::refusal::Refusal;
use crate::science::sugar;
use crate::units::days::{Instant, to_utc};
use crate::units::measure::{Measured, ReadingKind};
use crate::units::number;

mod columns;

pub use crate::domain::intake::tables::moments::Order;
pub use columns::{Column, Scale};

use columns::{Found, found};

/// The most rows of a file.
pub const MOST_ROWS: usize = 50_000;
/// Bad rows that are kept to be named; all are counted.
const NAMED: usize = 200;

/// What a person said about a file; what they left open is found out.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct Said {
    /// In which order days are written.
    pub order: Option<Order>,
    /// What gravity is written in.
    pub gravity: Option<Scale>,
    /// What temperature is written in.
    pub temperature: Option<Scale>,
}

/// A row as it will be kept.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub struct Logged {
    /// When.
    pub at: Instant,
    /// What.
    pub kind: ReadingKind,
    /// The value in the unit of its kind.
    pub value: Measured,
}

/// A row that cannot be read.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Bad {
    /// Its line in the file; the first is 1.
    pub line: u64,
    /// What stands there, cut short.
    pub text: String,
    /// Why, and what to do.
    pub why: String,
}

/// A file that was understood.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct Log {
    /// How it was read: separator, decimal sign, columns, order of dates.
    pub read_as: Vec<String>,
    /// What is to be kept, in the order of time, each once.
    pub rows: Vec<Logged>,
    /// Relative humidity by time, per cent: of places, not of batches.
    pub humidity: BTreeMap<Instant, Measured>,
    /// Rows that cannot be read, the first of them.
    pub bad: Vec<Bad>,
    /// How many there are in all.
    pub bad_in_all: usize,
    /// Values that stood there twice with the same time.
    pub doubled: usize,
    /// Rows that came before an earlier one.
    pub unsorted: usize,
    /// Where it wrote nothing for much longer than it usually does.
    pub gaps: Vec<(Instant, Instant)>,
}

fn rows(text: &str, separator: u8) -> Vec<(u64, csv::StringRecord)> {
    let mut reader = csv::ReaderBuilder::new()
        .delimiter(separator)
        .has_headers(false)
        .flexible(true)
        .trim(csv::Trim::All)
        .from_reader(text.as_bytes());
    let line = |row: &csv::StringRecord| row.position().map_or(0, csv::Position::line);
    let rows = reader.records().filter_map(Result::ok);
    let rows = rows.filter(|row| row.iter().any(|cell| !cell.is_empty()));
    rows.map(|row| (line(&row), row)).take(MOST_ROWS + 2).collect()
}

/// Reads a file. What it does not say and a person did not either is a refusal that asks for it.
pub fn read(text: &str, said: &Said, zone: Tz, now: Instant) -> Result<Log, Refusal> {
    let text = text.trim_start_matches('\u{feff}');
    if text.trim().is_empty() {
        return Err(Refusal::unfit("rows", "Choose the file that the logger wrote, or paste its rows"));
    }
    let separator = separator(text)?;
    let rows = rows(text, separator);
    if rows.len() > MOST_ROWS + 1 {
        return Err(Refusal::unfit(
            "rows",
            format!("At most {MOST_ROWS} rows are taken at once: split the file"),
        ));
    }
    let Found { columns, data, heads } = found(&rows, said)?;
    let day = columns.iter().find(|one| matches!(one.1, Column::When | Column::Day)).map(|one| one.0);
    let days = rows[data..].iter().filter_map(|(_, row)| row.get(day?));
    let order = moments::order(days, said.order)?;
    let mut log = Log { read_as: read_as(separator, &columns, &heads, order), ..Log::default() };
    let mut last = None;
    for (line, row) in &rows[data..] {
        match one(row, &columns, order, zone, now) {
            Ok(values) => {
                let at = values.first().map(|logged| logged.at);
                log.unsorted += usize::from(at < last && at.is_some());
                last = at.max(last);
                if let Some((at, damp)) = at.zip(humidity(row, &columns)) {
                    log.humidity.entry(at).or_insert(damp);
                }
                log.rows.extend(values);
            }
            Err(why) => log.refuse(*line, row, why),
        }
    }
    settle(&mut log);
    log.gaps = gaps(&log.rows);
    Ok(log)
}

impl Log {
    fn refuse(&mut self, line: u64, row: &csv::StringRecord, why: String) {
        self.bad_in_all += 1;
        if self.bad.len() < NAMED {
            let text: String = row.iter().collect::<Vec<_>>().join(" | ").chars().take(80).collect();
            self.bad.push(Bad { line, text, why });
        }
    }
}

/// The values of one row, with its time.
fn one(
    row: &csv::StringRecord,
    columns: &[(usize, Column)],
    order: Order,
    zone: Tz,
    now: Instant,
) -> Result<Vec<Logged>, String> {
    let cell = |at: usize| row.get(at).unwrap_or_default();
    let at = |wanted: fn(&Column) -> bool| columns.iter().find(|one| wanted(&one.1)).map(|one| cell(one.0));
    let day = at(|column| matches!(column, Column::When | Column::Day)).unwrap_or_default();
    let time = at(|column| *column == Column::Time);
    let at = match moments::read(day, time, order)? {
        Moment::Exact(at) => at,
        Moment::Local(local) => to_utc(local, zone),
    };
    if at > now + chrono::Duration::minutes(5) {
        return Err("this time is still to come: look at the clock of the logger, or the order of the date"
            .to_owned());
    }
    if at.and_utc().timestamp() < 0 {
        return Err("this time is before 1970: the clock of the logger was not set".to_owned());
    }
    let mut found = Vec::new();
    for (place, column) in columns {
        if let Column::Value(kind, scale) = column
            && !is_nothing(cell(*place))
        {
            found.push(Logged { at, kind: *kind, value: value(cell(*place), *kind, *scale)? });
        }
    }
    if found.is_empty() { Err("there is no value in this row".to_owned()) } else { Ok(found) }
}

/// The humidity of a row, where it has one that can be meant.
fn humidity(row: &csv::StringRecord, columns: &[(usize, Column)]) -> Option<Measured> {
    let (at, _) = columns.iter().find(|column| column.1 == Column::Humidity)?;
    read_humidity(row.get(*at)?).ok()
}

/// What loggers write where they measured nothing.
fn is_nothing(cell: &str) -> bool {
    matches!(cell.to_lowercase().as_str(), "" | "-" | "--" | "nan" | "n/a" | "na" | "null" | "none")
}

#[allow(clippy::cast_precision_loss, reason = "values are far below 2^52 millionths")]
fn value(cell: &str, kind: ReadingKind, scale: Scale) -> Result<Measured, String> {
    let plain = cell.trim_end_matches(|c: char| "°CFPSGBx% ".contains(c)).trim();
    let micros = number::scaled(plain, 1_000_000, "1.0450").map_err(|why| format!("“{cell}”: {why}"))?;
    let shown = micros as f64 / 1e6;
    let number = match scale {
        Scale::Itself => shown,
        Scale::Points => shown / 1000.0,
        Scale::Brix => sugar::sg_from_brix(shown).map_err(|range| format!("“{cell}”: {range}"))?.value,
        Scale::Fahrenheit => (shown - 32.0) / 1.8,
    };
    // Four decimals of gravity, two of the rest: no logger knows more.
    let places = if kind == ReadingKind::Gravity { 1e4 } else { 1e2 };
    let number = if scale == Scale::Itself { number } else { (number * places).round() / places };
    let value = Measured::from_number(number).ok_or_else(|| format!("“{cell}” is no value"))?;
    kind.read(&value.plain()).map_err(|why| format!("“{cell}”: {why}"))
}

/// In the order of time, each time and kind once. The first of two that differ stays.
fn settle(log: &mut Log) {
    log.rows.sort_by_key(|row| (row.at, row.kind));
    let before = log.rows.len();
    log.rows.dedup_by_key(|row| (row.at, row.kind));
    log.doubled = before - log.rows.len();
}

/// Steps of more than an hour that are six times as long as usual, the first twenty.
fn gaps(rows: &[Logged]) -> Vec<(Instant, Instant)> {
    let mut times: Vec<Instant> = rows.iter().map(|row| row.at).collect();
    times.dedup();
    let steps: Vec<i64> = times.windows(2).map(|pair| (pair[1] - pair[0]).num_seconds()).collect();
    let mut sorted = steps.clone();
    sorted.sort_unstable();
    let Some(usual) = sorted.get(sorted.len() / 2) else { return Vec::new() };
    let long = |step: i64| step > 3600 && step > 6 * usual;
    times
        .windows(2)
        .zip(&steps)
        .filter(|(_, step)| long(**step))
        .map(|(pair, _)| (pair[0], pair[1]))
        .take(20)
        .collect()
}

fn read_as(separator: u8, columns: &[(usize, Column)], heads: &[String], order: Order) -> Vec<String> {
    let sign = match separator {
        b'\t' => "tabs",
        b';' => "semicolons",
        _ => "commas",
    };
    let mut said = vec![format!("Cells separated by {sign}."), order.says().to_owned()];
    for (at, column) in columns {
        let head = heads.get(*at).filter(|head| !head.is_empty());
        let name = head.map_or_else(|| format!("Column {}", at + 1), |head| format!("“{head}”"));
        said.push(format!("{name}: {}.", column.says()));
    }
    said
}

#[cfg(test)]
mod tests;
