//! How a club counts: how far a line may be off, and in which order one walks.

use diesel::prelude::*;

use crate::db::connection::AnyConn;
use crate::db::failure::Failure;
use crate::db::schema::{clubs, walking_order as walked};
use crate::domain::counts::Tolerance;
use crate::units::ids::{ClubId, PlaceId};

/// How far a line may be off.
pub fn tolerance(conn: &mut AnyConn, club: ClubId) -> Result<Tolerance, Failure> {
    let (permille, pieces): (i64, i64) = clubs::table
        .filter(clubs::id.eq(club))
        .select((clubs::tolerance_permille, clubs::tolerance_pieces))
        .first(conn)?;
    let whole = |number: i64| u32::try_from(number).unwrap_or(u32::MAX);
    Ok(Tolerance { permille: whole(permille), pieces: whole(pieces) })
}

/// Say how far a line may be off.
pub fn set_tolerance(conn: &mut AnyConn, club: ClubId, tolerance: Tolerance) -> Result<(), Failure> {
    diesel::update(clubs::table.filter(clubs::id.eq(club)))
        .set((
            clubs::tolerance_permille.eq(i64::from(tolerance.permille)),
            clubs::tolerance_pieces.eq(i64::from(tolerance.pieces)),
        ))
        .execute(conn)?;
    Ok(())
}

/// The places in the order in which one walks past them, as far as it is said.
pub fn walking_order(conn: &mut AnyConn, club: ClubId) -> Result<Vec<(PlaceId, u32)>, Failure> {
    let rows: Vec<(PlaceId, i64)> = walked::table
        .filter(walked::club_id.eq(club))
        .order((walked::number, walked::place_id))
        .select((walked::place_id, walked::number))
        .load(conn)?;
    Ok(rows.into_iter().map(|(place, number)| (place, u32::try_from(number).unwrap_or(u32::MAX))).collect())
}

/// Say in which order one walks.
pub fn set_walking_order(conn: &mut AnyConn, club: ClubId, order: &[(PlaceId, u32)]) -> Result<(), Failure> {
    diesel::delete(walked::table.filter(walked::club_id.eq(club))).execute(conn)?;
    for (place, number) in order {
        diesel::insert_into(walked::table)
            .values((
                walked::place_id.eq(*place),
                walked::club_id.eq(club),
                walked::number.eq(i64::from(*number)),
            ))
            .execute(conn)?;
    }
    Ok(())
}
