//! Tokens for the API. Only the SHA-256 of each is kept.

use diesel::prelude::*;

use super::super::connection::AnyConn;
use super::super::failure::Failure;
use super::super::prepared::Prepare;
use super::super::schema::{clubs, members, tokens};
use super::{DoerColumns, doer};
use crate::domain::members::{Doer, Role, Scope};
use crate::units::days::Instant;
use crate::units::ids::{ClubId, MemberId, PersonId, TokenId};

/// A token as its member sees it.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Token {
    /// Which.
    pub id: TokenId,
    /// What it is for.
    pub label: String,
    /// What it may do.
    pub scope: Scope,
    /// Since when.
    pub created_at: Instant,
    /// Until when.
    pub ends_at: Option<Instant>,
    /// When it was last used, to ten minutes.
    pub used_at: Option<Instant>,
}

/// A token that holds, as `find` gives it.
pub struct Found {
    /// Which.
    pub id: TokenId,
    /// What it is for.
    pub label: String,
    /// What it may do.
    pub scope: Scope,
    /// When it was last used, to ten minutes.
    pub used_at: Option<Instant>,
    /// Who asks.
    pub doer: Doer,
}

/// The token with this hash, if it holds and its member is still there.
pub fn find(conn: &mut AnyConn, hash: &str, address: &str, now: Instant) -> Result<Option<Found>, Failure> {
    type Columns = (
        (TokenId, String, Scope, Option<Instant>),
        (ClubId, String, String, String),
        (MemberId, PersonId, String, Role),
    );
    let found: Option<Columns> = tokens::table
        .inner_join(members::table.on(members::id.eq(tokens::member_id)))
        .inner_join(clubs::table.on(clubs::id.eq(members::club_id)))
        .filter(tokens::secret_hash.eq(hash).and(members::left_on.is_null()))
        .filter(tokens::revoked_at.is_null())
        .filter(tokens::ends_at.is_null().or(tokens::ends_at.gt(Some(now))))
        .select((
            (tokens::id, tokens::label, tokens::scope, tokens::used_at),
            (clubs::id, clubs::name, clubs::currency, clubs::time_zone),
            (members::id, members::person_id, members::name, members::role),
        ))
        .prepared()
        .one(conn)?;
    let Some(((id, label, scope, used_at), (club, club_name, currency, zone), (member, person, name, role))) =
        found
    else {
        return Ok(None);
    };
    let columns: DoerColumns = (club, club_name, currency, zone, member, person, name, role);
    Ok(Some(Found { id, label, scope, used_at, doer: doer(columns, address, now)? }))
}

/// A new token; `hash` is of a secret.
pub fn add(
    conn: &mut AnyConn,
    doer: &Doer,
    hash: &str,
    label: &str,
    scope: Scope,
    ends_at: Instant,
) -> Result<TokenId, Failure> {
    let id = TokenId::fresh();
    diesel::insert_into(tokens::table)
        .values((
            tokens::id.eq(id),
            tokens::club_id.eq(doer.club),
            tokens::member_id.eq(doer.member),
            tokens::secret_hash.eq(hash),
            tokens::label.eq(label),
            tokens::scope.eq(scope),
            tokens::created_at.eq(doer.now),
            tokens::ends_at.eq(Some(ends_at)),
            tokens::revoked_at.eq(None::<Instant>),
            tokens::used_at.eq(None::<Instant>),
        ))
        .execute(conn)?;
    Ok(id)
}

/// Another secret for a token of this member that was made after `made_after` and never used; whether
/// there was one.
pub fn set_hash(
    conn: &mut AnyConn,
    member: MemberId,
    id: TokenId,
    hash: &str,
    made_after: Instant,
) -> Result<bool, Failure> {
    let fresh =
        tokens::used_at.is_null().and(tokens::revoked_at.is_null()).and(tokens::created_at.gt(made_after));
    let of_member = tokens::id.eq(id).and(tokens::member_id.eq(member));
    Ok(diesel::update(tokens::table.filter(of_member.and(fresh)))
        .set(tokens::secret_hash.eq(hash))
        .execute(conn)?
        > 0)
}

/// It was used just now.
pub fn used(conn: &mut AnyConn, id: TokenId, now: Instant) -> Result<(), Failure> {
    diesel::update(tokens::table.find(id)).set(tokens::used_at.eq(Some(now))).execute(conn)?;
    Ok(())
}

/// The tokens of a member that hold, latest first.
pub fn of_member(conn: &mut AnyConn, member: MemberId, now: Instant) -> Result<Vec<Token>, Failure> {
    type Columns = (TokenId, String, Scope, Instant, Option<Instant>, Option<Instant>);
    let found: Vec<Columns> = tokens::table
        .filter(tokens::member_id.eq(member).and(tokens::revoked_at.is_null()))
        .filter(tokens::ends_at.is_null().or(tokens::ends_at.gt(Some(now))))
        .order(tokens::id.desc())
        .select((
            tokens::id,
            tokens::label,
            tokens::scope,
            tokens::created_at,
            tokens::ends_at,
            tokens::used_at,
        ))
        .load(conn)?;
    let token = |(id, label, scope, created_at, ends_at, used_at)| Token {
        id,
        label,
        scope,
        created_at,
        ends_at,
        used_at,
    };
    Ok(found.into_iter().map(token).collect())
}

/// Revoke one token of a member; its label if it held until now.
pub fn revoke(
    conn: &mut AnyConn,
    member: MemberId,
    id: TokenId,
    now: Instant,
) -> Result<Option<String>, Failure> {
    let held = tokens::id.eq(id).and(tokens::member_id.eq(member)).and(tokens::revoked_at.is_null());
    let label = tokens::table.filter(held).select(tokens::label).first(conn).optional()?;
    if label.is_some() {
        diesel::update(tokens::table.find(id)).set(tokens::revoked_at.eq(Some(now))).execute(conn)?;
    }
    Ok(label)
}

/// Revoke all tokens of a member.
pub fn revoke_all(conn: &mut AnyConn, member: MemberId, now: Instant) -> Result<(), Failure> {
    let held = tokens::member_id.eq(member).and(tokens::revoked_at.is_null());
    diesel::update(tokens::table.filter(held)).set(tokens::revoked_at.eq(Some(now))).execute(conn)?;
    Ok(())
}
