//! The climate of places by the API: day by day, recorded or sent by a sensor, out of a file, struck out.

use serde::Serialize;
use utoipa::ToSchema;

use crate::actions::climate::{Brought, measure, strike_measurements};
use crate::db::climate as rows;
use crate::db::stock;
use crate::domain::climate::{DayThere, measured_by};
use crate::domain::members::{Cellarhand, Onlooker};
use crate::domain::refusal::Refusal;
use crate::units::days;
use crate::units::ids::PlaceId;
use crate::web::body::Json;
use crate::web::climate::read;
use crate::web::extract::{Key, Path, Query};
use crate::web::problem::Problem;
use crate::web::respond::{Answer, Created};
use crate::web::site::Site;

/// Which days.
#[derive(serde::Deserialize, ToSchema)]
pub struct Between {
    /// The first day; a year before the last if left out.
    pub from: Option<String>,
    /// The last day; today if left out.
    pub until: Option<String>,
}

/// A day of a place.
#[derive(Serialize, ToSchema)]
pub struct ClimateDay {
    /// The day.
    pub day: String,
    /// Mean temperature, °C.
    pub mean_c: String,
    /// Lowest, °C.
    pub lowest_c: String,
    /// Highest, °C.
    pub highest_c: String,
    /// Mean relative humidity, per cent.
    pub humidity_percent: Option<String>,
    /// Days at 15 °C that it counts for in the age of bottles.
    pub worth_days: String,
    /// How many readings it has.
    pub readings: i64,
}

impl From<&DayThere> for ClimateDay {
    fn from(day: &DayThere) -> Self {
        let two = |value: f64| format!("{value:.2}");
        Self {
            day: days::iso(day.day),
            mean_c: two(day.mean_c),
            lowest_c: two(day.lowest_c),
            highest_c: two(day.highest_c),
            humidity_percent: day.humidity.map(two),
            worth_days: format!("{:.3}", day.worth),
            readings: day.readings,
        }
    }
}

/// The climate of a place.
#[derive(Serialize, ToSchema)]
pub struct ClimateBody {
    /// The place.
    pub place: String,
    /// The place whose readings count there: itself, or the nearest around it that is measured.
    pub measured_by: Option<String>,
    /// The days that were read, in their order.
    pub days: Vec<ClimateDay>,
}

/// The longest span that is told at once.
const MOST_DAYS: i64 = 3 * 366;

/// Tells it.
pub async fn show(
    who: Onlooker,
    site: Site,
    path: Path<PlaceId>,
    query: Query<Between>,
) -> Result<Answer<ClimateBody>, Problem> {
    let id = path.0;
    let asked: Result<_, Refusal> = query.draft.read(&who, |r| {
        let until = r.optional_day("until").unwrap_or_else(|| r.today());
        let from = r.optional_day("from").unwrap_or(until - chrono::Duration::days(366));
        if from > until {
            r.fault("from", "The first day comes after the last; write an earlier one");
        } else if (until - from).num_days() > MOST_DAYS {
            r.fault("from", "Ask for three years at most");
        }
        (from, until)
    });
    let (from, until) = asked?;
    let read = site.read(&who, move |conn, doer| {
        stock::place(conn, doer.club, id)?;
        let places = stock::places(conn, doer.club)?;
        let by = measured_by(&places, &rows::measured(conn, doer.club)?).remove(&id);
        let days = match by {
            Some(by) => rows::days(conn, doer.club, by, from, until)?,
            None => Vec::new(),
        };
        Ok((by, days))
    });
    let (_, (by, days)) = read.await?;
    Ok(Answer(ClimateBody {
        place: id.to_string(),
        measured_by: by.map(|by| by.to_string()),
        days: days.iter().map(ClimateDay::from).collect(),
    }))
}

/// One reading of a place.
#[derive(ToSchema)]
pub struct OneClimateReading {
    /// When, RFC 3339 or as the club’s clock shows it.
    pub at: String,
    /// °C.
    pub temperature: String,
    /// Relative humidity, per cent.
    pub humidity: Option<String>,
}

/// One reading, or those that a sensor sends in one call.
#[derive(ToSchema)]
pub struct NewClimate {
    /// When; now if left out.
    pub at: Option<String>,
    /// °C.
    #[schema(example = "14.5")]
    pub temperature: Option<String>,
    /// Relative humidity, per cent.
    pub humidity: Option<String>,
    /// What sends the readings.
    pub source: Option<String>,
    /// Readings with their times, at most 500; then the fields above are left out.
    pub readings: Option<Vec<OneClimateReading>>,
}

/// What was kept.
#[derive(Serialize, ToSchema)]
pub struct ClimateKept {
    /// Readings that were kept.
    pub kept: usize,
    /// Readings of which the time was known.
    pub known: usize,
}

impl From<Brought> for ClimateKept {
    fn from(brought: Brought) -> Self {
        Self { kept: brought.kept, known: brought.known }
    }
}

/// Records a reading, or what a sensor measured.
pub async fn record(
    hand: Cellarhand,
    site: Site,
    path: Path<PlaceId>,
    Key(key): Key,
    sent: Json<NewClimate>,
) -> Result<Created<ClimateKept>, Problem> {
    let order = read::sent(&sent.draft, &hand, path.0)?;
    Ok(Created(measure(&site.db, &hand, key, order).await?.into()))
}

/// A logger’s file.
#[derive(ToSchema)]
pub struct NewClimateFile {
    /// Its text: a time and a temperature in each row, humidity if it has one.
    pub rows: String,
    /// What it is called.
    pub file_name: Option<String>,
    /// year-month-day, day-month-year or month-day-year, where the file does not say it.
    pub date_order: Option<String>,
    /// c or f, where the file does not say it.
    pub temperature_in: Option<String>,
    /// Keep it; without, it is only looked at.
    pub keep: Option<bool>,
}

/// What a file holds, and what of it was kept.
#[derive(Serialize, ToSchema)]
pub struct ClimateFileBody {
    /// How it was read.
    pub read_as: Vec<String>,
    /// Readings that it holds.
    pub readings: usize,
    /// Rows that cannot be read.
    pub left_out: usize,
    /// Why, for the first of them.
    pub bad: Vec<String>,
    /// Readings that were kept; null where it was only looked at.
    pub kept: Option<usize>,
}

/// Brings in a file, or looks at it.
pub async fn bring_in(
    hand: Cellarhand,
    site: Site,
    path: Path<PlaceId>,
    Key(key): Key,
    sent: Json<NewClimateFile>,
) -> Result<Created<ClimateFileBody>, Problem> {
    let file = read::file(&sent.draft, &hand)?;
    let kept =
        if file.keep { Some(measure(&site.db, &hand, key, file.order(path.0)).await?.kept) } else { None };
    Ok(Created(ClimateFileBody {
        readings: file.samples.len(),
        left_out: file.bad_in_all,
        bad: file.bad.iter().map(|bad| format!("line {}: {}", bad.line, bad.why)).collect(),
        read_as: file.read_as,
        kept,
    }))
}

/// What was read wrongly.
#[derive(ToSchema)]
pub struct ClimateStrike {
    /// From this time.
    pub from: String,
    /// Up to this one; the same if left out.
    pub until: Option<String>,
    /// What was wrong.
    pub reason: String,
}

/// What was struck out.
#[derive(Serialize, ToSchema)]
pub struct ClimateStruck {
    /// Of how many days.
    pub days: usize,
}

/// Strikes it out.
pub async fn strike(
    hand: Cellarhand,
    site: Site,
    path: Path<PlaceId>,
    Key(key): Key,
    sent: Json<ClimateStrike>,
) -> Result<Created<ClimateStruck>, Problem> {
    let order = read::strike(&sent.draft, &hand, path.0)?;
    Ok(Created(ClimateStruck { days: strike_measurements(&site.db, &hand, key, order).await? }))
}
