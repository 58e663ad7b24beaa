//! The audit log: who was let in or refused, whose rights changed, what left the house. Rows are only added, but for
//! those of nobody, which are forgotten in time.

use diesel::prelude::*;

use super::super::connection::AnyConn;
use super::super::failure::Failure;
use super::super::schema::{audit, persons};
use crate::units::days::Instant;
use crate::units::ids::{AuditId, ClubId, PersonId};

/// A line of the log.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Line {
    /// Which; later lines have larger ids.
    pub id: AuditId,
    /// When.
    pub at: Instant,
    /// The person it is about, where one is known.
    pub who: Option<String>,
    /// What happened.
    pub what: String,
    /// Where the request came from; empty for the program itself.
    pub address: String,
}

/// Add a line.
pub fn add(
    conn: &mut AnyConn,
    club: Option<ClubId>,
    person: Option<PersonId>,
    at: Instant,
    what: &str,
    address: &str,
) -> Result<(), Failure> {
    diesel::insert_into(audit::table)
        .values((
            audit::id.eq(AuditId::fresh()),
            audit::club_id.eq(club),
            audit::person_id.eq(person),
            audit::at.eq(at),
            audit::what.eq(what),
            audit::address.eq(address),
        ))
        .execute(conn)?;
    Ok(())
}

/// What is said of a sign-in with a name that nobody here has; it belongs to no club.
pub const UNKNOWN_NAME: &str = "sign-in refused: unknown name";

/// Forget refused sign-ins with unknown names from before `until`: anybody can make them, and they say nothing of
/// anyone here. Everything else stays.
pub fn forget_unknown(conn: &mut AnyConn, until: Instant) -> Result<usize, Failure> {
    let of_nobody = audit::club_id.is_null().and(audit::what.eq(UNKNOWN_NAME));
    Ok(diesel::delete(audit::table.filter(of_nobody.and(audit::at.lt(until)))).execute(conn)?)
}

/// The latest lines of a club, before `before` where one is given; at most `most`.
pub fn lines(
    conn: &mut AnyConn,
    club: ClubId,
    before: Option<AuditId>,
    most: i64,
) -> Result<Vec<Line>, Failure> {
    let found: Vec<(AuditId, Instant, Option<String>, String, String)> = audit::table
        .left_join(persons::table.on(persons::id.nullable().eq(audit::person_id)))
        .filter(audit::club_id.eq(club).and(audit::id.lt(before.unwrap_or(AuditId(i64::MAX)))))
        .order(audit::id.desc())
        .limit(most)
        .select((audit::id, audit::at, persons::name.nullable(), audit::what, audit::address))
        .load(conn)?;
    Ok(found.into_iter().map(|(id, at, who, what, address)| Line { id, at, who, what, address }).collect())
}
