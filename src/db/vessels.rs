//! Vessels, what is in them and what was.

use diesel::prelude::*;

use super::connection::AnyConn;
use super::failure::Failure;
use super::prepared::{Prepare, padded};
use super::schema::{batches, fillings, members, places, vessels};
use crate::domain::members::Doer;
use crate::domain::vessels::{Closure, Inside, Material, Vessel};
use crate::units::days::{Day, Instant};
use crate::units::ids::{BatchId, ClubId, EntryId, FillingId, PlaceId, VesselId};
use crate::units::quantity::Milli;

/// A vessel that is kept.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Kept {
    /// Which.
    pub id: VesselId,
    /// What it is.
    pub vessel: Vessel,
    /// The names of its place.
    pub place: String,
    /// When it was last cleaned.
    pub cleaned_on: Option<Day>,
    /// Since when it is out of use, and why.
    pub out_of_use: Option<(Day, String)>,
}

type Row = (
    (VesselId, String, Material, Milli, Milli, PlaceId),
    (Closure, bool, String, Option<Day>, Option<Day>, String),
    String,
);

fn kept((one, two, place): Row) -> Kept {
    let (id, code, material, capacity, safe_filling, place_id) = one;
    let (closure, worn, marks, cleaned_on, since, because) = two;
    Kept {
        id,
        vessel: Vessel { code, material, capacity, safe_filling, place: place_id, closure, worn, marks },
        place,
        cleaned_on,
        out_of_use: since.map(|since| (since, because)),
    }
}

macro_rules! columns {
    () => {
        (
            (
                vessels::id,
                vessels::code,
                vessels::material,
                vessels::capacity,
                vessels::safe_filling,
                vessels::place_id,
            ),
            (
                vessels::closure,
                vessels::worn,
                vessels::marks,
                vessels::cleaned_on,
                vessels::out_of_use_since,
                vessels::out_of_use_because,
            ),
            places::path,
        )
    };
}

/// Keep a new vessel.
pub fn add(conn: &mut AnyConn, club: ClubId, id: VesselId, vessel: &Vessel) -> Result<(), Failure> {
    diesel::insert_into(vessels::table)
        .values((
            vessels::id.eq(id),
            vessels::club_id.eq(club),
            vessels::code.eq(&vessel.code),
            vessels::material.eq(vessel.material),
            vessels::capacity.eq(vessel.capacity),
            vessels::safe_filling.eq(vessel.safe_filling),
            vessels::place_id.eq(vessel.place),
            vessels::closure.eq(vessel.closure),
            vessels::worn.eq(vessel.worn),
            vessels::marks.eq(&vessel.marks),
            vessels::out_of_use_because.eq(""),
        ))
        .execute(conn)?;
    Ok(())
}

/// What a vessel is from now on.
pub fn change(conn: &mut AnyConn, club: ClubId, id: VesselId, vessel: &Vessel) -> Result<(), Failure> {
    diesel::update(vessels::table.filter(vessels::id.eq(id).and(vessels::club_id.eq(club))))
        .set((
            vessels::code.eq(&vessel.code),
            vessels::material.eq(vessel.material),
            vessels::capacity.eq(vessel.capacity),
            vessels::safe_filling.eq(vessel.safe_filling),
            vessels::place_id.eq(vessel.place),
            vessels::closure.eq(vessel.closure),
            vessels::worn.eq(vessel.worn),
            vessels::marks.eq(&vessel.marks),
        ))
        .execute(conn)?;
    Ok(())
}

/// One vessel.
pub fn vessel(conn: &mut AnyConn, club: ClubId, id: VesselId) -> Result<Kept, Failure> {
    Ok(vessels::table
        .inner_join(places::table.on(places::id.eq(vessels::place_id)))
        .filter(vessels::id.eq(id).and(vessels::club_id.eq(club)))
        .select(columns!())
        .first::<Row>(conn)
        .map(kept)?)
}

/// Vessels in the order in which they were first kept, after `after`, at most `limit`.
pub fn page(
    conn: &mut AnyConn,
    club: ClubId,
    after: Option<VesselId>,
    limit: i64,
) -> Result<Vec<Kept>, Failure> {
    let mut query = vessels::table
        .inner_join(places::table.on(places::id.eq(vessels::place_id)))
        .filter(vessels::club_id.eq(club))
        .order(vessels::id)
        .limit(limit)
        .select(columns!())
        .into_boxed();
    if let Some(after) = after {
        query = query.filter(vessels::id.gt(after));
    }
    Ok(query.load::<Row>(conn)?.into_iter().map(kept).collect())
}

/// The most vessels of a club that a page lists or a form offers.
pub const MOST: i64 = 500;

/// All vessels by their codes, up to [`MOST`].
pub fn all(conn: &mut AnyConn, club: ClubId) -> Result<Vec<Kept>, Failure> {
    let rows: Vec<Row> = vessels::table
        .inner_join(places::table.on(places::id.eq(vessels::place_id)))
        .filter(vessels::club_id.eq(club))
        .order(vessels::code)
        .limit(MOST)
        .select(columns!())
        .load(conn)?;
    Ok(rows.into_iter().map(kept).collect())
}

/// Another closure.
pub fn close_with(conn: &mut AnyConn, id: VesselId, closure: Closure) -> Result<(), Failure> {
    diesel::update(vessels::table.filter(vessels::id.eq(id)))
        .set(vessels::closure.eq(closure))
        .execute(conn)?;
    Ok(())
}

/// It was cleaned.
pub fn cleaned(conn: &mut AnyConn, id: VesselId, day: Day) -> Result<(), Failure> {
    diesel::update(vessels::table.filter(vessels::id.eq(id)))
        .set(vessels::cleaned_on.eq(Some(day)))
        .execute(conn)?;
    Ok(())
}

/// Out of use since a day and why; or in use again.
pub fn set_out_of_use(
    conn: &mut AnyConn,
    id: VesselId,
    since: Option<Day>,
    because: &str,
) -> Result<(), Failure> {
    diesel::update(vessels::table.filter(vessels::id.eq(id)))
        .set((vessels::out_of_use_since.eq(since), vessels::out_of_use_because.eq(because)))
        .execute(conn)?;
    Ok(())
}

/// A filling, with its vessel and its batch.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Filled {
    /// Which.
    pub id: FillingId,
    /// In which vessel.
    pub vessel: VesselId,
    /// What was in it.
    pub inside: Inside,
    /// The drink.
    pub drink: String,
    /// Who recorded it.
    pub by: String,
    /// Why it left.
    pub because: String,
    /// If it was struck out: when and why.
    pub struck: Option<(Instant, String)>,
}

type FilledRow = (
    (FillingId, VesselId, BatchId, Milli, Day, Option<Day>, String),
    (Option<Instant>, String),
    (String, String, String),
);

fn filled((one, struck, (code, drink, by)): FilledRow) -> Filled {
    let (id, vessel, batch, volume, since, until, because) = one;
    Filled {
        id,
        vessel,
        inside: Inside { batch, code, volume, since, until },
        drink,
        by,
        because,
        struck: struck.0.map(|at| (at, struck.1)),
    }
}

macro_rules! filled_rows {
    () => {
        fillings::table
            .inner_join(batches::table.on(batches::id.eq(fillings::batch_id)))
            .inner_join(members::table.on(members::id.eq(fillings::recorded_by)))
            .select((
                (
                    fillings::id,
                    fillings::vessel_id,
                    fillings::batch_id,
                    fillings::volume,
                    fillings::filled_on,
                    fillings::emptied_on,
                    fillings::emptied_because,
                ),
                (fillings::struck_at, fillings::struck_because),
                (batches::code, batches::name, members::name),
            ))
    };
}

/// What is in the vessels of a club now: one row a vessel at most.
pub fn inside_all(conn: &mut AnyConn, club: ClubId) -> Result<Vec<Filled>, Failure> {
    let rows: Vec<FilledRow> = filled_rows!()
        .filter(fillings::club_id.eq(club).and(fillings::emptied_on.is_null()))
        .filter(fillings::struck_at.is_null())
        .order(fillings::id)
        .load(conn)?;
    Ok(rows.into_iter().map(filled).collect())
}

/// What is in a vessel now.
pub fn inside(conn: &mut AnyConn, vessel: VesselId) -> Result<Option<Filled>, Failure> {
    let row: Option<FilledRow> = filled_rows!()
        .filter(fillings::vessel_id.eq(vessel).and(fillings::emptied_on.is_null()))
        .filter(fillings::struck_at.is_null())
        .first(conn)
        .optional()?;
    Ok(row.map(filled))
}

/// What left a vessel last.
pub fn last_out(conn: &mut AnyConn, vessel: VesselId) -> Result<Option<Filled>, Failure> {
    let row: Option<FilledRow> = filled_rows!()
        .filter(fillings::vessel_id.eq(vessel).and(fillings::emptied_on.is_not_null()))
        .filter(fillings::struck_at.is_null())
        .order((fillings::emptied_on.desc(), fillings::id.desc()))
        .first(conn)
        .optional()?;
    Ok(row.map(filled))
}

/// What was in a vessel, the latest first, before `before`, at most `limit`; struck rows too.
pub fn history(
    conn: &mut AnyConn,
    vessel: VesselId,
    before: Option<FillingId>,
    limit: i64,
) -> Result<Vec<Filled>, Failure> {
    let mut query = filled_rows!()
        .filter(fillings::vessel_id.eq(vessel))
        .order(fillings::id.desc())
        .limit(limit)
        .into_boxed();
    if let Some(before) = before {
        query = query.filter(fillings::id.lt(before));
    }
    Ok(query.load::<FilledRow>(conn)?.into_iter().map(filled).collect())
}

/// Where batches stand: each with the code and the place of a vessel, by batch and code.
pub fn standing_in(conn: &mut AnyConn, of: &[BatchId]) -> Result<Vec<(BatchId, In)>, Failure> {
    type Row = (BatchId, FillingId, VesselId, String, Closure, Milli, Day, String);
    let rows: Vec<Row> = fillings::table
        .inner_join(vessels::table.on(vessels::id.eq(fillings::vessel_id)))
        .inner_join(places::table.on(places::id.eq(vessels::place_id)))
        .filter(fillings::batch_id.eq_any(padded(of)).and(fillings::emptied_on.is_null()))
        .filter(fillings::struck_at.is_null())
        .order((fillings::batch_id, vessels::code))
        .select((
            fillings::batch_id,
            fillings::id,
            vessels::id,
            vessels::code,
            vessels::closure,
            fillings::volume,
            fillings::filled_on,
            places::path,
        ))
        .prepared()
        .all(conn)?;
    Ok(rows
        .into_iter()
        .map(|(batch, filling, vessel, code, closure, volume, since, place)| {
            (batch, In { filling, vessel, code, closure, volume, since, place })
        })
        .collect())
}

/// A vessel in which a batch stands.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct In {
    /// The filling.
    pub filling: FillingId,
    /// The vessel.
    pub vessel: VesselId,
    /// Its code.
    pub code: String,
    /// What closes it.
    pub closure: Closure,
    /// How much is in it.
    pub volume: Milli,
    /// Since when.
    pub since: Day,
    /// The names of its place.
    pub place: String,
}

/// The vessels of one batch.
pub fn of_batch(conn: &mut AnyConn, batch: BatchId) -> Result<Vec<In>, Failure> {
    Ok(standing_in(conn, &[batch])?.into_iter().map(|(_, vessel)| vessel).collect())
}

/// Drink that came into a vessel.
pub struct NewFilling {
    /// Into which.
    pub vessel: VesselId,
    /// Of which batch.
    pub batch: BatchId,
    /// How much.
    pub volume: Milli,
    /// When.
    pub day: Day,
    /// With which entry.
    pub entry: Option<EntryId>,
}

/// Keep a filling; refused by an index where something is in the vessel.
pub fn add_filling(conn: &mut AnyConn, doer: &Doer, new: &NewFilling) -> Result<FillingId, Failure> {
    let id = FillingId::fresh();
    diesel::insert_into(fillings::table)
        .values((
            fillings::id.eq(id),
            fillings::club_id.eq(doer.club),
            fillings::vessel_id.eq(new.vessel),
            fillings::batch_id.eq(new.batch),
            fillings::volume.eq(new.volume),
            fillings::filled_on.eq(new.day),
            fillings::entry_id.eq(new.entry),
            fillings::recorded_by.eq(doer.member),
            fillings::recorded_at.eq(doer.now),
            fillings::emptied_because.eq(""),
            fillings::struck_because.eq(""),
        ))
        .execute(conn)?;
    Ok(id)
}

/// Another volume in it.
pub fn set_volume(conn: &mut AnyConn, filling: FillingId, volume: Milli) -> Result<(), Failure> {
    diesel::update(fillings::table.filter(fillings::id.eq(filling)))
        .set(fillings::volume.eq(volume))
        .execute(conn)?;
    Ok(())
}

/// It left the vessel; on the day on which it came, if that is later.
pub fn take_out(
    conn: &mut AnyConn,
    filling: FillingId,
    day: Day,
    because: &str,
    entry: Option<EntryId>,
) -> Result<(), Failure> {
    let since: Day =
        fillings::table.filter(fillings::id.eq(filling)).select(fillings::filled_on).first(conn)?;
    diesel::update(fillings::table.filter(fillings::id.eq(filling)))
        .set((
            fillings::emptied_on.eq(Some(day.max(since))),
            fillings::emptied_because.eq(because),
            fillings::emptied_entry.eq(entry),
        ))
        .execute(conn)?;
    Ok(())
}

/// A filling of a club: its vessel, its batch, whether it was struck out.
pub fn filling(
    conn: &mut AnyConn,
    club: ClubId,
    id: FillingId,
) -> Result<(VesselId, BatchId, bool), Failure> {
    let (vessel, batch, struck): (VesselId, BatchId, Option<Instant>) = fillings::table
        .filter(fillings::id.eq(id).and(fillings::club_id.eq(club)))
        .select((fillings::vessel_id, fillings::batch_id, fillings::struck_at))
        .first(conn)?;
    Ok((vessel, batch, struck.is_some()))
}

/// It was recorded wrongly; it stays, with who, when and why.
pub fn strike(conn: &mut AnyConn, doer: &Doer, id: FillingId, because: &str) -> Result<(), Failure> {
    diesel::update(fillings::table.filter(fillings::id.eq(id)))
        .set((
            fillings::struck_at.eq(Some(doer.now)),
            fillings::struck_by.eq(Some(doer.member)),
            fillings::struck_because.eq(because),
        ))
        .execute(conn)?;
    Ok(())
}

/// Fillings that came with an entry and stand.
pub fn came_with(conn: &mut AnyConn, entry: EntryId) -> Result<Vec<FillingId>, Failure> {
    Ok(fillings::table
        .filter(fillings::entry_id.eq(Some(entry)).and(fillings::struck_at.is_null()))
        .select(fillings::id)
        .load(conn)?)
}

/// What left its vessel with an entry stands in it again, unless something else came into that vessel since.
pub fn put_back(conn: &mut AnyConn, entry: EntryId) -> Result<(), Failure> {
    let left: Vec<(FillingId, VesselId)> = fillings::table
        .filter(fillings::emptied_entry.eq(Some(entry)).and(fillings::struck_at.is_null()))
        .select((fillings::id, fillings::vessel_id))
        .load(conn)?;
    for (filling, vessel) in left {
        let since: Option<FillingId> = fillings::table
            .filter(fillings::vessel_id.eq(vessel).and(fillings::id.gt(filling)))
            .filter(fillings::struck_at.is_null())
            .select(fillings::id)
            .first(conn)
            .optional()?;
        if since.is_none() {
            diesel::update(fillings::table.filter(fillings::id.eq(filling)))
                .set((
                    fillings::emptied_on.eq(None::<Day>),
                    fillings::emptied_because.eq(""),
                    fillings::emptied_entry.eq(None::<EntryId>),
                ))
                .execute(conn)?;
        }
    }
    Ok(())
}
