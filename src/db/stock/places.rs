//! Places, one within another.

use diesel::prelude::*;

use crate::db::connection::AnyConn;
use crate::db::failure::Failure;
use crate::db::schema::places;
use crate::domain::stock::places::{Place, WITHIN};
use crate::units::ids::{ClubId, PlaceId};
use crate::units::text::folded;

/// A row of `places`, as a [`Place`] is made of it.
type Row = (PlaceId, Option<PlaceId>, String, String, Option<i64>);

fn place_of((id, within, name, path, capacity): Row) -> Place {
    Place { id, within, name, path, capacity }
}

/// Keep a new place.
pub fn add_place(
    conn: &mut AnyConn,
    club: ClubId,
    id: PlaceId,
    within: Option<PlaceId>,
    name: &str,
    path: &str,
    capacity: Option<i64>,
) -> Result<(), Failure> {
    diesel::insert_into(places::table)
        .values((
            places::id.eq(id),
            places::club_id.eq(club),
            places::within.eq(within),
            places::name.eq(name),
            places::path.eq(path),
            places::folded.eq(folded(path)),
            places::capacity.eq(capacity),
        ))
        .execute(conn)?;
    Ok(())
}

/// Say how many bottles a place takes.
pub fn set_capacity(
    conn: &mut AnyConn,
    club: ClubId,
    id: PlaceId,
    capacity: Option<i64>,
) -> Result<(), Failure> {
    diesel::update(places::table.filter(places::id.eq(id).and(places::club_id.eq(club))))
        .set(places::capacity.eq(capacity))
        .execute(conn)?;
    Ok(())
}

/// One place.
pub fn place(conn: &mut AnyConn, club: ClubId, id: PlaceId) -> Result<Place, Failure> {
    let row: Row = places::table
        .filter(places::id.eq(id).and(places::club_id.eq(club)))
        .select((places::id, places::within, places::name, places::path, places::capacity))
        .first(conn)?;
    Ok(place_of(row))
}

/// All places, the outer before the inner.
pub fn places(conn: &mut AnyConn, club: ClubId) -> Result<Vec<Place>, Failure> {
    let rows: Vec<Row> = places::table
        .filter(places::club_id.eq(club))
        .order(places::folded)
        .select((places::id, places::within, places::name, places::path, places::capacity))
        .load(conn)?;
    Ok(rows.into_iter().map(place_of).collect())
}

/// Call a place otherwise, or put it elsewhere; `paths` are its own and those of all places within it.
pub fn change_place(
    conn: &mut AnyConn,
    club: ClubId,
    id: PlaceId,
    within: Option<PlaceId>,
    name: &str,
    paths: &[(PlaceId, String)],
) -> Result<(), Failure> {
    let one = |id: PlaceId| places::table.filter(places::id.eq(id).and(places::club_id.eq(club)));
    diesel::update(one(id)).set((places::within.eq(within), places::name.eq(name))).execute(conn)?;
    // Out of each other's way first: the new name of one may be the old name of another.
    for (id, _) in paths {
        diesel::update(one(*id)).set(places::folded.eq(format!("{WITHIN}{id}"))).execute(conn)?;
    }
    for (id, path) in paths {
        diesel::update(one(*id))
            .set((places::path.eq(path), places::folded.eq(folded(path))))
            .execute(conn)?;
    }
    Ok(())
}
