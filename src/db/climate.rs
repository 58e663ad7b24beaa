//! Readings of places, what the days there come to, and where bottles were carried.

use std::collections::{BTreeMap, HashMap, HashSet};

use diesel::prelude::*;

use super::connection::AnyConn;
use super::failure::Failure;
use super::schema::{accounts, climate_days, climate_readings, members, places, postings};
use super::stock;
use crate::db::prepared::{Prepare, padded};
use crate::domain::climate::{
    Carried, Climate, DayThere, Sample, Weighted, day_of, measured_by, stays, weighted,
};
use crate::domain::members::Doer;
use crate::units::days::{Day, Instant};
use crate::units::ids::{ClimateId, ClubId, LotId, PlaceId};
use crate::units::measure::Measured;
use crate::units::quantity::Milli;

/// A reading that was kept.
#[derive(Debug, Clone, PartialEq, Eq, Queryable)]
pub struct Kept {
    /// Which.
    pub id: ClimateId,
    /// When.
    pub at: Instant,
    /// °C.
    pub temperature: Measured,
    /// Relative humidity, per cent.
    pub humidity: Option<Measured>,
    /// Which program or file it came from; empty where a person read it.
    pub source: String,
    /// Who recorded it.
    pub by: String,
    /// Why it was struck out; empty where it stands.
    pub struck_because: String,
}

/// When something was read at a place, between two instants.
pub fn known(
    conn: &mut AnyConn,
    place: PlaceId,
    (from, until): (Instant, Instant),
) -> Result<HashSet<Instant>, Failure> {
    let found: Vec<Instant> = climate_readings::table
        .filter(climate_readings::place_id.eq(place).and(climate_readings::struck_at.is_null()))
        .filter(climate_readings::at.between(from, until))
        .select(climate_readings::at)
        .load(conn)?;
    Ok(found.into_iter().collect())
}

/// Keep what was read at a place on a day.
pub fn add(
    conn: &mut AnyConn,
    doer: &Doer,
    (place, day): (PlaceId, Day),
    sample: &Sample,
    source: &str,
) -> Result<(), Failure> {
    diesel::insert_into(climate_readings::table)
        .values((
            climate_readings::id.eq(ClimateId::fresh()),
            climate_readings::club_id.eq(doer.club),
            climate_readings::place_id.eq(place),
            climate_readings::at.eq(sample.at),
            climate_readings::day.eq(day),
            climate_readings::temperature_micro_c.eq(sample.temperature),
            climate_readings::humidity_micro.eq(sample.humidity),
            climate_readings::source.eq(source),
            climate_readings::recorded_by.eq(doer.member),
            climate_readings::recorded_at.eq(doer.now),
            climate_readings::struck_because.eq(""),
        ))
        .execute(conn)?;
    Ok(())
}

/// Strike out what was read at a place from one instant to another; gives the days that were touched.
pub fn strike(
    conn: &mut AnyConn,
    doer: &Doer,
    place: PlaceId,
    (from, until): (Instant, Instant),
    because: &str,
) -> Result<Vec<Day>, Failure> {
    let meant = climate_readings::table
        .filter(climate_readings::club_id.eq(doer.club).and(climate_readings::place_id.eq(place)))
        .filter(climate_readings::struck_at.is_null().and(climate_readings::at.between(from, until)));
    let mut days: Vec<Day> = meant.select(climate_readings::day).load(conn)?;
    days.sort_unstable();
    days.dedup();
    diesel::update(meant)
        .set((
            climate_readings::struck_at.eq(Some(doer.now)),
            climate_readings::struck_by.eq(Some(doer.member)),
            climate_readings::struck_because.eq(because),
        ))
        .execute(conn)?;
    Ok(days)
}

/// Bring what the days of a place come to in line with its readings, from one day to another.
pub fn follow(
    conn: &mut AnyConn,
    club: ClubId,
    place: PlaceId,
    (from, until): (Day, Day),
) -> Result<(), Failure> {
    let days = from_readings(conn, place, Some((from, until)))?;
    diesel::delete(
        climate_days::table
            .filter(climate_days::place_id.eq(place).and(climate_days::day.between(from, until))),
    )
    .execute(conn)?;
    for (place, day, readings, mean, lowest, highest, worth, humidity) in days {
        diesel::insert_into(climate_days::table)
            .values((
                climate_days::id.eq(ClimateId::fresh()),
                climate_days::place_id.eq(place),
                climate_days::day.eq(day),
                climate_days::club_id.eq(club),
                climate_days::readings.eq(readings),
                climate_days::mean_micro_c.eq(mean),
                climate_days::lowest_micro_c.eq(lowest),
                climate_days::highest_micro_c.eq(highest),
                climate_days::worth_micro.eq(worth),
                climate_days::humidity_micro.eq(humidity),
            ))
            .execute(conn)?;
    }
    Ok(())
}

/// What the days of a place come to by its readings that stand, from one day to another or all, as it is kept.
fn from_readings(
    conn: &mut AnyConn,
    place: PlaceId,
    days: Option<(Day, Day)>,
) -> Result<Vec<DayRow>, Failure> {
    let mut query = climate_readings::table
        .filter(climate_readings::place_id.eq(place).and(climate_readings::struck_at.is_null()))
        .order((climate_readings::day, climate_readings::at))
        .select((
            climate_readings::day,
            climate_readings::at,
            climate_readings::temperature_micro_c,
            climate_readings::humidity_micro,
        ))
        .into_boxed();
    if let Some((from, until)) = days {
        query = query.filter(climate_readings::day.between(from, until));
    }
    let rows: Vec<(Day, Instant, Measured, Option<Measured>)> = query.load(conn)?;
    let mut by_day: BTreeMap<Day, Vec<Sample>> = BTreeMap::new();
    for (day, at, temperature, humidity) in rows {
        by_day.entry(day).or_default().push(Sample { at, temperature, humidity });
    }
    let micro = |value: f64| Measured::from_number(value).unwrap_or(Measured::from_micros(0));
    let row = |there: DayThere| {
        let (lowest, highest) = (micro(there.lowest_c), micro(there.highest_c));
        let humidity = there.humidity.map(micro);
        let (mean, worth) = (micro(there.mean_c), micro(there.worth));
        (place, there.day, there.readings, mean, lowest, highest, worth, humidity)
    };
    Ok(by_day.iter().filter_map(|(day, samples)| day_of(*day, samples)).map(row).collect())
}

/// The first place with a day that is not what its readings come to: which, and its names.
pub(in crate::db) fn first_off(conn: &mut AnyConn) -> Result<Option<(PlaceId, String)>, Failure> {
    let all: Vec<(PlaceId, String)> =
        places::table.order(places::id).select((places::id, places::path)).load(conn)?;
    for (place, path) in all {
        let kept: Vec<DayRow> = climate_days::table
            .filter(climate_days::place_id.eq(place))
            .order(climate_days::day)
            .select(DAY)
            .load(conn)?;
        if kept != from_readings(conn, place, None)? {
            return Ok(Some((place, path)));
        }
    }
    Ok(None)
}

type DayRow = (PlaceId, Day, i64, Measured, Measured, Measured, Measured, Option<Measured>);
type DayColumns = (
    climate_days::place_id,
    climate_days::day,
    climate_days::readings,
    climate_days::mean_micro_c,
    climate_days::lowest_micro_c,
    climate_days::highest_micro_c,
    climate_days::worth_micro,
    climate_days::humidity_micro,
);
const DAY: DayColumns = (
    climate_days::place_id,
    climate_days::day,
    climate_days::readings,
    climate_days::mean_micro_c,
    climate_days::lowest_micro_c,
    climate_days::highest_micro_c,
    climate_days::worth_micro,
    climate_days::humidity_micro,
);

fn there((_, day, readings, mean, lowest, highest, worth, humidity): DayRow) -> DayThere {
    DayThere {
        day,
        readings,
        mean_c: mean.number(),
        lowest_c: lowest.number(),
        highest_c: highest.number(),
        worth: worth.number(),
        humidity: humidity.map(Measured::number),
    }
}

/// The days of a place that were measured, from one to another, in their order.
pub fn days(
    conn: &mut AnyConn,
    club: ClubId,
    place: PlaceId,
    from: Day,
    until: Day,
) -> Result<Vec<DayThere>, Failure> {
    let rows: Vec<DayRow> = climate_days::table
        .filter(climate_days::club_id.eq(club).and(climate_days::place_id.eq(place)))
        .filter(climate_days::day.between(from, until))
        .order(climate_days::day)
        .select(DAY)
        .load(conn)?;
    Ok(rows.into_iter().map(there).collect())
}

/// The days of all places of a club since one day, each place in the order of its days.
pub fn since(
    conn: &mut AnyConn,
    club: ClubId,
    from: Day,
) -> Result<BTreeMap<PlaceId, Vec<DayThere>>, Failure> {
    let rows: Vec<DayRow> = climate_days::table
        .filter(climate_days::club_id.eq(club).and(climate_days::day.ge(from)))
        .order(climate_days::day)
        .select(DAY)
        .load(conn)?;
    let mut found: BTreeMap<PlaceId, Vec<DayThere>> = BTreeMap::new();
    for row in rows {
        found.entry(row.0).or_default().push(there(row));
    }
    Ok(found)
}

/// What days at these places count for since one day.
pub fn worths(conn: &mut AnyConn, of: &[PlaceId], from: Day) -> Result<Climate, Failure> {
    let mut found = Climate::new();
    for some in of.chunks(500) {
        let rows: Vec<(PlaceId, Day, Measured)> = climate_days::table
            .filter(climate_days::place_id.eq_any(padded(some)).and(climate_days::day.ge(from)))
            .select((climate_days::place_id, climate_days::day, climate_days::worth_micro))
            .prepared()
            .load(conn)?;
        for (place, day, worth) in rows {
            found.entry(place).or_default().insert(day, worth.number());
        }
    }
    Ok(found)
}

/// The places that have a reading.
pub fn measured(conn: &mut AnyConn, club: ClubId) -> Result<Vec<PlaceId>, Failure> {
    let read = climate_days::table.filter(climate_days::place_id.eq(places::id));
    Ok(places::table
        .filter(places::club_id.eq(club).and(diesel::dsl::exists(read)))
        .select(places::id)
        .load(conn)?)
}

/// The warmest that was read at any place of the club since a day, °C.
pub fn warmest(conn: &mut AnyConn, club: ClubId, since: Day) -> Result<Option<f64>, Failure> {
    let found: Option<Measured> = climate_days::table
        .filter(climate_days::club_id.eq(club).and(climate_days::day.ge(since)))
        .order(climate_days::highest_micro_c.desc())
        .select(climate_days::highest_micro_c)
        .first(conn)
        .optional()?;
    Ok(found.map(Measured::number))
}

/// The latest readings of a place, those that were struck out too.
pub fn latest(conn: &mut AnyConn, club: ClubId, place: PlaceId, limit: i64) -> Result<Vec<Kept>, Failure> {
    Ok(climate_readings::table
        .inner_join(members::table.on(members::id.eq(climate_readings::recorded_by)))
        .filter(climate_readings::club_id.eq(club).and(climate_readings::place_id.eq(place)))
        .order((climate_readings::day.desc(), climate_readings::at.desc()))
        .limit(limit)
        .select((
            climate_readings::id,
            climate_readings::at,
            climate_readings::temperature_micro_c,
            climate_readings::humidity_micro,
            climate_readings::source,
            members::name,
            climate_readings::struck_because,
        ))
        .load(conn)?)
}

/// Where the bottles of these lots were carried, and when, in the order of days.
pub fn carried(conn: &mut AnyConn, of: &[LotId]) -> Result<HashMap<LotId, Vec<Carried>>, Failure> {
    let mut found: HashMap<LotId, Vec<Carried>> = HashMap::new();
    for some in of.chunks(500) {
        let rows: Vec<(Option<LotId>, Option<PlaceId>, Day, Milli)> = accounts::table
            .inner_join(postings::table.on(postings::account_id.eq(accounts::id)))
            .filter(accounts::lot_id.eq_any(padded(&some.iter().copied().map(Some).collect::<Vec<_>>())))
            .order((postings::day, postings::entry_id, postings::line))
            .select((accounts::lot_id, accounts::place_id, postings::day, postings::quantity))
            .prepared()
            .load(conn)?;
        for (lot, place, day, bottles) in rows {
            if let (Some(lot), Some(place)) = (lot, place) {
                found.entry(lot).or_default().push(Carried { day, place, bottles: bottles.get() });
            }
        }
    }
    Ok(found)
}

/// How old the bottles of these lots are by the warmth of where they stood, on `today`; those of which some are
/// left, or were until then.
pub fn ages(
    conn: &mut AnyConn,
    club: ClubId,
    of: &[LotId],
    today: Day,
) -> Result<HashMap<LotId, Weighted>, Failure> {
    let carried = carried(conn, of)?;
    let Some(first) = carried.values().flatten().map(|one| one.day).min() else { return Ok(HashMap::new()) };
    let by = measured_by(&stock::places(conn, club)?, &measured(conn, club)?);
    let mut sources: Vec<PlaceId> =
        carried.values().flatten().filter_map(|one| by.get(&one.place)).copied().collect();
    sources.sort_unstable();
    sources.dedup();
    let climate = worths(conn, &sources, first)?;
    let age = |(lot, carried): (LotId, Vec<Carried>)| (lot, weighted(&stays(&carried, today), &climate, &by));
    Ok(carried.into_iter().map(age).collect())
}
