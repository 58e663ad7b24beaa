//! Places, one within another.

use diesel::prelude::*;

use crate::db::connection::AnyConn;
use crate::db::failure::Failure;
use crate::db::schema::places;
use crate::units::ids::{ClubId, PlaceId};
use crate::units::text::folded;

/// A place with the names of those around it.
#[derive(Debug, Clone, PartialEq, Eq, Queryable)]
pub struct Place {
    /// Which.
    pub id: PlaceId,
    /// The place around it.
    pub within: Option<PlaceId>,
    /// Its own name.
    pub name: String,
    /// All names, from the outside in.
    pub path: String,
}

/// What stands between the names of a path.
pub const WITHIN: &str = ", ";

/// Keep a new place.
pub fn add_place(
    conn: &mut AnyConn,
    club: ClubId,
    id: PlaceId,
    within: Option<PlaceId>,
    name: &str,
    path: &str,
) -> Result<(), Failure> {
    diesel::insert_into(places::table)
        .values((
            places::id.eq(id),
            places::club_id.eq(club),
            places::within.eq(within),
            places::name.eq(name),
            places::path.eq(path),
            places::folded.eq(folded(path)),
        ))
        .execute(conn)?;
    Ok(())
}

/// One place.
pub fn place(conn: &mut AnyConn, club: ClubId, id: PlaceId) -> Result<Place, Failure> {
    Ok(places::table
        .filter(places::id.eq(id).and(places::club_id.eq(club)))
        .select((places::id, places::within, places::name, places::path))
        .first(conn)?)
}

/// All places, the outer before the inner.
pub fn places(conn: &mut AnyConn, club: ClubId) -> Result<Vec<Place>, Failure> {
    Ok(places::table
        .filter(places::club_id.eq(club))
        .order(places::folded)
        .limit(2000)
        .select((places::id, places::within, places::name, places::path))
        .load(conn)?)
}
