//! Which column holds what: by its head, or by what stands in it where there is no head.

use super::Said;
use crate::domain::intake::tables::moments::looks_like_a_day;
use crate::domain::refusal::Refusal;
use crate::units::measure::ReadingKind;
use crate::units::number;

/// What a column holds.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Column {
    /// Day and time.
    When,
    /// The day alone.
    Day,
    /// The time alone.
    Time,
    /// Values of a kind, in a scale.
    Value(ReadingKind, Scale),
    /// Relative humidity, per cent: of places, not of batches.
    Humidity,
}

/// In what a column is written.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Scale {
    /// As readings are kept: SG, °C, pH.
    Itself,
    /// A gravity in points: 1046.
    Points,
    /// A gravity as °Brix or °Plato.
    Brix,
    /// A temperature in °F.
    Fahrenheit,
}

impl Scale {
    /// What gravity may be written in.
    pub const OF_GRAVITY: [Self; 3] = [Self::Itself, Self::Points, Self::Brix];
    /// What temperature may be written in.
    pub const OF_TEMPERATURE: [Self; 2] = [Self::Itself, Self::Fahrenheit];

    /// In a form: for gravity.
    pub const fn of_gravity(self) -> &'static str {
        match self {
            Self::Points => "points",
            Self::Brix => "brix",
            _ => "sg",
        }
    }

    /// In a form: for temperature.
    pub const fn of_temperature(self) -> &'static str {
        match self {
            Self::Fahrenheit => "f",
            _ => "c",
        }
    }
}

impl Column {
    /// For people.
    pub(super) fn says(self) -> String {
        match self {
            Self::When => "day and time".to_owned(),
            Self::Day => "the day".to_owned(),
            Self::Time => "the time".to_owned(),
            Self::Humidity => "humidity in %".to_owned(),
            Self::Value(kind, Scale::Points) => format!("{}, in points such as 1046", lower(kind)),
            Self::Value(kind, Scale::Brix) => format!("{}, in °Brix or °Plato", lower(kind)),
            Self::Value(kind, Scale::Fahrenheit) => format!("{}, in °F", lower(kind)),
            Self::Value(kind, Scale::Itself) => lower(kind),
        }
    }
}

fn lower(kind: ReadingKind) -> String {
    let (name, unit) = kind.label();
    if name == unit { name.to_owned() } else { format!("{} in {unit}", name.to_lowercase()) }
}

/// The columns that are used, where the rows with values begin, and the heads.
pub(super) struct Found {
    pub(super) columns: Vec<(usize, Column)>,
    pub(super) data: usize,
    pub(super) heads: Vec<String>,
}

/// Rows that may stand over the values: names of the logger, heads.
const MOST_HEADS: usize = 20;

pub(super) fn found(rows: &[(u64, csv::StringRecord)], said: &Said) -> Result<Found, Refusal> {
    // The values begin with the first row that holds a day and a number.
    let holds = |row: &csv::StringRecord| row.iter().any(looks_like_a_day) && row.iter().any(is_number);
    let data = rows.iter().take(MOST_HEADS).position(|(_, row)| holds(row)).ok_or_else(|| {
        Refusal::unfit(
            "rows",
            "None of the first rows holds a day and a value. Write times like 2026-06-23 15:40, 23.06.2026 15:40 or \
             06/23/2026 3:40 PM",
        )
    })?;
    let heads: Vec<String> = match data.checked_sub(1) {
        Some(above) => rows[above].1.iter().map(str::to_owned).collect(),
        None => Vec::new(),
    };
    let sample = &rows[data..rows.len().min(data + 200)];
    let wide = sample.iter().map(|row| row.1.len()).max().unwrap_or(0);
    let mut columns = Vec::new();
    for at in 0..wide {
        let head = heads.get(at).map(|head| head.to_lowercase()).unwrap_or_default();
        let cells: Vec<&str> =
            sample.iter().filter_map(|row| row.1.get(at)).filter(|cell| !cell.is_empty()).collect();
        if let Some(column) = column(&head, &cells, said)?
            && !columns.iter().any(|(_, known)| alike(*known, column))
        {
            columns.push((at, column));
        }
    }
    complete(&columns)?;
    Ok(Found { columns, data, heads })
}

/// Two columns of which only the first is used.
fn alike(one: Column, other: Column) -> bool {
    match (one, other) {
        (Column::Value(one, _), Column::Value(other, _)) => one == other,
        (Column::When, Column::Day | Column::Time) | (Column::Day, Column::When) => true,
        _ => one == other,
    }
}

fn complete(columns: &[(usize, Column)]) -> Result<(), Refusal> {
    if !columns.iter().any(|(_, column)| matches!(column, Column::When | Column::Day)) {
        return Err(Refusal::unfit(
            "rows",
            "No column holds the day: name it “date” or “time” in the row over the values",
        ));
    }
    if !columns.iter().any(|(_, column)| matches!(column, Column::Value(..))) {
        return Err(Refusal::unfit(
            "rows",
            "No column is known as gravity, temperature or pH: name it so in the row over the values, such as “SG”, \
             “Temperature °C”",
        ));
    }
    Ok(())
}

fn is_number(cell: &str) -> bool {
    number::scaled(cell, 1_000_000, "1").is_ok()
}

fn is_time(cell: &str) -> bool {
    cell.contains(':') && !looks_like_a_day(cell)
}

/// What a column holds; none where it is not used. A head counts before what stands under it.
fn column(head: &str, cells: &[&str], said: &Said) -> Result<Option<Column>, Refusal> {
    let most =
        |holds: &dyn Fn(&str) -> bool| cells.iter().filter(|cell| holds(cell)).count() * 2 > cells.len();
    if most(&looks_like_a_day) {
        let with_time =
            most(&|cell: &str| cell.contains(':') || cell.bytes().all(|byte| byte.is_ascii_digit()));
        return Ok(Some(if with_time { Column::When } else { Column::Day }));
    }
    if most(&is_time) {
        return Ok(Some(Column::Time));
    }
    let numbers: Vec<f64> = cells.iter().filter_map(|cell| cell.replace(',', ".").parse().ok()).collect();
    let middle = middle(&numbers);
    let has = |words: &[&str]| words.iter().any(|word| head.contains(word));
    let is = |words: &[&str]| head.split(|c: char| !c.is_alphanumeric()).any(|part| words.contains(&part));
    if has(&["humid", "feucht"]) || is(&["rh"]) {
        return Ok(Some(Column::Humidity));
    }
    if has(&["batter", "signal", "rssi", "angle", "tilt", "volt", "pressure"]) {
        return Ok(None);
    }
    if has(&["temp", "°c", "°f", "celsius", "fahrenheit"]) {
        return Ok(Some(Column::Value(ReadingKind::Temperature, temperature(head, said))));
    }
    if is(&["ph"]) {
        return Ok(Some(Column::Value(ReadingKind::Ph, Scale::Itself)));
    }
    let brix = has(&["brix", "plato", "°p", "°bx"]);
    if brix || has(&["gravity", "densit", "dichte"]) || is(&["sg", "d20"]) {
        return Ok(Some(Column::Value(ReadingKind::Gravity, gravity(brix, middle, said)?)));
    }
    if !head.is_empty() {
        return Ok(None);
    }
    // Without a head only what cannot be anything else is taken.
    Ok(match middle {
        Some(value) if (0.97..1.2).contains(&value) => {
            Some(Column::Value(ReadingKind::Gravity, said.gravity.unwrap_or(Scale::Itself)))
        }
        Some(value) if (970.0..1200.0).contains(&value) => {
            Some(Column::Value(ReadingKind::Gravity, Scale::Points))
        }
        Some(value) if (0.0..100.0).contains(&value) => {
            let scale = said.temperature.ok_or_else(|| {
                Refusal::unfit(
                    "temperature_in",
                    "Nothing says what the other values are: if they are temperatures, say in what",
                )
            })?;
            Some(Column::Value(ReadingKind::Temperature, scale))
        }
        _ => None,
    })
}

fn temperature(head: &str, said: &Said) -> Scale {
    let fahrenheit =
        head.contains("°f") || head.contains("fahrenheit") || head.ends_with("(f)") || head.ends_with("_f");
    said.temperature.unwrap_or(if fahrenheit { Scale::Fahrenheit } else { Scale::Itself })
}

/// In what a gravity is written: as it is said, as its head says, or as its numbers can only be meant.
fn gravity(brix: bool, middle: Option<f64>, said: &Said) -> Result<Scale, Refusal> {
    match (said.gravity, brix, middle) {
        (Some(scale), ..) => Ok(scale),
        (None, true, _) => Ok(Scale::Brix),
        (None, false, Some(value)) if (0.9..1.5).contains(&value) => Ok(Scale::Itself),
        (None, false, Some(value)) if (900.0..1500.0).contains(&value) => Ok(Scale::Points),
        _ => Err(Refusal::unfit(
            "gravity_in",
            "In what is the gravity written? Its numbers look neither like 1.046 nor like 1046",
        )),
    }
}

fn middle(of: &[f64]) -> Option<f64> {
    let mut sorted = of.to_vec();
    sorted.sort_by(f64::total_cmp);
    sorted.get(sorted.len() / 2).copied()
}
