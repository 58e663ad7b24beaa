//! Links that are used once: invitations to a club, and the address where the first club is set up. Only
//! the SHA-256 of the secret in each is kept.

use diesel::prelude::*;

use super::super::connection::AnyConn;
use super::super::failure::Failure;
use super::super::schema::{clubs, invitations, members, set_ups};
use crate::domain::members::{Doer, Role};
use crate::units::days::Instant;
use crate::units::ids::{ClubId, InvitationId, MemberId, SetUpId};

/// An invitation that can still be accepted, as the club's page lists it.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Open {
    /// Which.
    pub id: InvitationId,
    /// Whom it is for.
    pub name: String,
    /// What they will be.
    pub role: Role,
    /// Who invited them.
    pub invited_by: String,
    /// Until when.
    pub ends_at: Instant,
}

/// What an invitation offers to whom holds its link.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Offer {
    /// Which.
    pub id: InvitationId,
    /// To which club.
    pub club: ClubId,
    /// Its name.
    pub club_name: String,
    /// Decides which day it is there.
    pub zone: String,
    /// Whom it is for.
    pub name: String,
    /// What they will be.
    pub role: Role,
    /// The member whom it lets in, where they are one already.
    pub member: Option<MemberId>,
}

/// A new invitation; `hash` is of a secret.
pub fn invite(
    conn: &mut AnyConn,
    doer: &Doer,
    hash: &str,
    (name, role, member): (&str, Role, Option<MemberId>),
    ends_at: Instant,
) -> Result<InvitationId, Failure> {
    let id = InvitationId::fresh();
    diesel::insert_into(invitations::table)
        .values((
            invitations::id.eq(id),
            invitations::club_id.eq(doer.club),
            invitations::secret_hash.eq(hash),
            invitations::name.eq(name),
            invitations::role.eq(role),
            invitations::invited_by.eq(doer.member),
            invitations::created_at.eq(doer.now),
            invitations::ends_at.eq(ends_at),
            invitations::used_at.eq(None::<Instant>),
            invitations::withdrawn_at.eq(None::<Instant>),
            invitations::member_id.eq(member),
        ))
        .execute(conn)?;
    Ok(id)
}

/// Another secret for an open invitation of this club that was made after `made_after`; whether there was
/// one.
pub fn set_hash(
    conn: &mut AnyConn,
    club: ClubId,
    id: InvitationId,
    hash: &str,
    made_after: Instant,
) -> Result<bool, Failure> {
    let open = invitations::used_at.is_null().and(invitations::withdrawn_at.is_null());
    let of_club = invitations::id.eq(id).and(invitations::club_id.eq(club));
    let fresh = of_club.and(open).and(invitations::created_at.gt(made_after));
    Ok(diesel::update(invitations::table.filter(fresh))
        .set(invitations::secret_hash.eq(hash))
        .execute(conn)?
        > 0)
}

/// What the link with this hash offers, if it can still be accepted.
pub fn offer(conn: &mut AnyConn, hash: &str, now: Instant) -> Result<Option<Offer>, Failure> {
    type Row = (InvitationId, ClubId, String, String, String, Role, Option<MemberId>);
    let found: Option<Row> = invitations::table
        .inner_join(clubs::table.on(clubs::id.eq(invitations::club_id)))
        .filter(invitations::secret_hash.eq(hash).and(invitations::ends_at.gt(now)))
        .filter(invitations::used_at.is_null().and(invitations::withdrawn_at.is_null()))
        .select((
            invitations::id,
            clubs::id,
            clubs::name,
            clubs::time_zone,
            invitations::name,
            invitations::role,
            invitations::member_id,
        ))
        .first(conn)
        .optional()?;
    Ok(found.map(|(id, club, club_name, zone, name, role, member)| Offer {
        id,
        club,
        club_name,
        zone,
        name,
        role,
        member,
    }))
}

/// It was accepted.
pub fn accepted(conn: &mut AnyConn, id: InvitationId, now: Instant) -> Result<(), Failure> {
    diesel::update(invitations::table.find(id)).set(invitations::used_at.eq(Some(now))).execute(conn)?;
    Ok(())
}

/// The open invitations of a club, latest first.
pub fn open(conn: &mut AnyConn, club: ClubId, now: Instant) -> Result<Vec<Open>, Failure> {
    let found: Vec<(InvitationId, String, Role, String, Instant)> = invitations::table
        .inner_join(members::table.on(members::id.eq(invitations::invited_by)))
        .filter(invitations::club_id.eq(club).and(invitations::ends_at.gt(now)))
        .filter(invitations::used_at.is_null().and(invitations::withdrawn_at.is_null()))
        .order((invitations::created_at.desc(), invitations::id.desc()))
        .select((invitations::id, invitations::name, invitations::role, members::name, invitations::ends_at))
        .load(conn)?;
    Ok(found
        .into_iter()
        .map(|(id, name, role, invited_by, ends_at)| Open { id, name, role, invited_by, ends_at })
        .collect())
}

/// Withdraw an open invitation of a club; whom it was for, if it was open.
pub fn withdraw(
    conn: &mut AnyConn,
    club: ClubId,
    id: InvitationId,
    now: Instant,
) -> Result<Option<String>, Failure> {
    let open = invitations::used_at.is_null().and(invitations::withdrawn_at.is_null());
    let of_club = invitations::id.eq(id).and(invitations::club_id.eq(club));
    let name =
        invitations::table.filter(of_club.and(open)).select(invitations::name).first(conn).optional()?;
    if name.is_some() {
        diesel::update(invitations::table.find(id))
            .set(invitations::withdrawn_at.eq(Some(now)))
            .execute(conn)?;
    }
    Ok(name)
}

/// Withdraw all that a member has invited to: they may not, any more.
pub fn withdraw_all_by(conn: &mut AnyConn, club: ClubId, by: MemberId, now: Instant) -> Result<(), Failure> {
    let open = invitations::used_at.is_null().and(invitations::withdrawn_at.is_null());
    let theirs = invitations::club_id.eq(club).and(invitations::invited_by.eq(by));
    diesel::update(invitations::table.filter(theirs.and(open)))
        .set(invitations::withdrawn_at.eq(Some(now)))
        .execute(conn)?;
    Ok(())
}

/// The one address where the first club is set up; those made before no longer lead there.
pub fn open_set_up(conn: &mut AnyConn, hash: &str, now: Instant, ends_at: Instant) -> Result<(), Failure> {
    diesel::delete(set_ups::table).execute(conn)?;
    diesel::insert_into(set_ups::table)
        .values((
            set_ups::id.eq(SetUpId::fresh()),
            set_ups::secret_hash.eq(hash),
            set_ups::created_at.eq(now),
            set_ups::ends_at.eq(ends_at),
            set_ups::used_at.eq(None::<Instant>),
        ))
        .execute(conn)?;
    Ok(())
}

/// The set-up with this hash, if it can still be used.
pub fn set_up(conn: &mut AnyConn, hash: &str, now: Instant) -> Result<Option<SetUpId>, Failure> {
    Ok(set_ups::table
        .filter(set_ups::secret_hash.eq(hash).and(set_ups::ends_at.gt(now)).and(set_ups::used_at.is_null()))
        .select(set_ups::id)
        .first(conn)
        .optional()?)
}

/// It was used.
pub fn set_up_done(conn: &mut AnyConn, id: SetUpId, now: Instant) -> Result<(), Failure> {
    diesel::update(set_ups::table.find(id)).set(set_ups::used_at.eq(Some(now))).execute(conn)?;
    Ok(())
}
