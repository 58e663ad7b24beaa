//! Signed-in browsers. Of a session's secret only the SHA-256 is kept.

use diesel::prelude::*;

use super::super::connection::AnyConn;
use super::super::failure::Failure;
use super::super::schema::{clubs, members, sessions};
use super::{DoerColumns, doer};
use crate::domain::members::{Doer, Role};
use crate::units::days::Instant;
use crate::units::ids::{ClubId, MemberId, PersonId, SessionId};

/// A session as its person sees it.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Session {
    /// Which.
    pub id: SessionId,
    /// Whether it is the one that asks.
    pub here: bool,
    /// Since when.
    pub created_at: Instant,
    /// When it was last used, to ten minutes.
    pub seen_at: Instant,
    /// What the browser says it is.
    pub device: String,
}

/// A session that holds, as `find` gives it.
pub struct Found {
    /// Which.
    pub id: SessionId,
    /// When it was last used, to ten minutes.
    pub seen_at: Instant,
    /// Who asks.
    pub doer: Doer,
}

/// The session with this hash, if it was seen after `seen_after`, has not ended, and its member is still
/// there.
pub fn find(
    conn: &mut AnyConn,
    hash: &str,
    seen_after: Instant,
    address: &str,
    now: Instant,
) -> Result<Option<Found>, Failure> {
    type Columns =
        ((SessionId, Instant), (ClubId, String, String, String), (MemberId, PersonId, String, Role));
    let found: Option<Columns> = sessions::table
        .inner_join(members::table.on(members::id.eq(sessions::member_id)))
        .inner_join(clubs::table.on(clubs::id.eq(members::club_id)))
        .filter(sessions::secret_hash.eq(hash).and(members::left_on.is_null()))
        .filter(sessions::seen_at.gt(seen_after).and(sessions::ends_at.gt(now)))
        .select((
            (sessions::id, sessions::seen_at),
            (clubs::id, clubs::name, clubs::currency, clubs::time_zone),
            (members::id, members::person_id, members::name, members::role),
        ))
        .first(conn)
        .optional()?;
    let Some(((id, seen_at), (club, club_name, currency, zone), (member, person, name, role))) = found else {
        return Ok(None);
    };
    let columns: DoerColumns = (club, club_name, currency, zone, member, person, name, role);
    Ok(Some(Found { id, seen_at, doer: doer(columns, address, now)? }))
}

/// A new session.
pub fn add(
    conn: &mut AnyConn,
    hash: &str,
    (person, member): (PersonId, MemberId),
    (now, ends_at): (Instant, Instant),
    device: &str,
) -> Result<(), Failure> {
    diesel::insert_into(sessions::table)
        .values((
            sessions::id.eq(SessionId::fresh()),
            sessions::secret_hash.eq(hash),
            sessions::person_id.eq(person),
            sessions::member_id.eq(member),
            sessions::created_at.eq(now),
            sessions::seen_at.eq(now),
            sessions::ends_at.eq(ends_at),
            sessions::device.eq(device),
        ))
        .execute(conn)?;
    Ok(())
}

/// It was used just now.
pub fn seen(conn: &mut AnyConn, id: SessionId, now: Instant) -> Result<(), Failure> {
    diesel::update(sessions::table.find(id)).set(sessions::seen_at.eq(now)).execute(conn)?;
    Ok(())
}

/// The session with this hash goes on as another member of the same person.
pub fn switch(conn: &mut AnyConn, hash: &str, member: MemberId) -> Result<(), Failure> {
    diesel::update(sessions::table.filter(sessions::secret_hash.eq(hash)))
        .set(sessions::member_id.eq(member))
        .execute(conn)?;
    Ok(())
}

/// The sessions of a person, the one used last first; `hash` is that of the one that asks.
pub fn of_person(conn: &mut AnyConn, person: PersonId, hash: &str) -> Result<Vec<Session>, Failure> {
    let found: Vec<(SessionId, String, Instant, Instant, String)> = sessions::table
        .filter(sessions::person_id.eq(person))
        .order((sessions::seen_at.desc(), sessions::id.desc()))
        .select((
            sessions::id,
            sessions::secret_hash,
            sessions::created_at,
            sessions::seen_at,
            sessions::device,
        ))
        .load(conn)?;
    Ok(found
        .into_iter()
        .map(|(id, of, created_at, seen_at, device)| Session {
            id,
            here: of == hash,
            created_at,
            seen_at,
            device,
        })
        .collect())
}

/// End the session with this hash.
pub fn end(conn: &mut AnyConn, hash: &str) -> Result<(), Failure> {
    diesel::delete(sessions::table.filter(sessions::secret_hash.eq(hash))).execute(conn)?;
    Ok(())
}

/// End one session of a person; whether there was one.
pub fn end_one(conn: &mut AnyConn, person: PersonId, id: SessionId) -> Result<bool, Failure> {
    let of_person = sessions::id.eq(id).and(sessions::person_id.eq(person));
    Ok(diesel::delete(sessions::table.filter(of_person)).execute(conn)? > 0)
}

/// End all sessions of a person.
pub fn end_all(conn: &mut AnyConn, person: PersonId) -> Result<(), Failure> {
    diesel::delete(sessions::table.filter(sessions::person_id.eq(person))).execute(conn)?;
    Ok(())
}

/// End all sessions in which somebody acts as this member.
pub fn end_of_member(conn: &mut AnyConn, member: MemberId) -> Result<(), Failure> {
    diesel::delete(sessions::table.filter(sessions::member_id.eq(member))).execute(conn)?;
    Ok(())
}

/// Forget sessions that no longer let anybody in.
pub fn forget(conn: &mut AnyConn, seen_before: Instant, now: Instant) -> Result<usize, Failure> {
    let over = sessions::ends_at.le(now).or(sessions::seen_at.le(seen_before));
    Ok(diesel::delete(sessions::table.filter(over)).execute(conn)?)
}
