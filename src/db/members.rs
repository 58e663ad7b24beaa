//! Clubs, persons, and the members that persons are of clubs. What lets them in is beside this, a file
//! each: sessions, tokens, links (invitations and set-ups); and the audit log.

use diesel::prelude::*;

use super::connection::AnyConn;
use super::failure::Failure;
use super::schema::{clubs, members, persons};
use crate::domain::members::{Doer, NOWHERE, NewClub, Role};
use crate::units::days::{Day, Instant};
use crate::units::ids::{ClubId, MemberId, PersonId};

pub mod audit;
pub mod links;
pub mod sessions;
pub mod tokens;

/// A member as the club's page lists it.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Member {
    /// Which.
    pub id: MemberId,
    /// What the others call them.
    pub name: String,
    /// For stewards only.
    pub email: String,
    /// What they may do.
    pub role: Role,
    /// Since when.
    pub joined_on: Day,
    /// Since when no longer.
    pub left_on: Option<Day>,
}

/// A club that a person is a member of.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Membership {
    /// As whom.
    pub member: MemberId,
    /// Of which club.
    pub club: ClubId,
    /// The club's name.
    pub club_name: String,
    /// What they may do there.
    pub role: Role,
}

/// A person, as signing in needs it.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Person {
    /// Which.
    pub id: PersonId,
    /// What the others call them.
    pub name: String,
    /// Argon2id, in the PHC form.
    pub password_hash: String,
}

/// What a doer is made of, but for the request: club, name, currency, zone; member, person, name, role.
pub(super) type DoerColumns = (ClubId, String, String, String, MemberId, PersonId, String, Role);

/// The doer that these columns are.
pub(super) fn doer(columns: DoerColumns, address: &str, now: Instant) -> Result<Doer, Failure> {
    let (club, club_name, currency, zone, member, person, name, role) = columns;
    let zone =
        zone.parse().map_err(|_| Failure::Fault(format!("the club has the unknown time zone “{zone}”")))?;
    let address = address.to_owned();
    Ok(Doer { club, club_name, currency, zone, member, person, name, role, now, address })
}

/// A present member as a doer.
pub fn doer_of_member(conn: &mut AnyConn, member: MemberId, now: Instant) -> Result<Doer, Failure> {
    let columns = members::table
        .inner_join(clubs::table.on(clubs::id.eq(members::club_id)))
        .filter(members::id.eq(member).and(members::left_on.is_null()))
        .select((
            (clubs::id, clubs::name, clubs::currency, clubs::time_zone),
            (members::id, members::person_id, members::name, members::role),
        ))
        .first::<((ClubId, String, String, String), (MemberId, PersonId, String, Role))>(conn)?;
    let ((club, club_name, currency, zone), (member, person, name, role)) = columns;
    doer((club, club_name, currency, zone, member, person, name, role), "", now)
}

/// Whether there is any club at all.
pub fn any_club(conn: &mut AnyConn) -> Result<bool, Failure> {
    Ok(clubs::table.select(clubs::id).first::<ClubId>(conn).optional()?.is_some())
}

/// All clubs of this server with their names, oldest first.
pub fn clubs(conn: &mut AnyConn) -> Result<Vec<(ClubId, String)>, Failure> {
    Ok(clubs::table.order(clubs::id).select((clubs::id, clubs::name)).load(conn)?)
}

/// A new club, with nobody in it yet.
pub fn add_club(conn: &mut AnyConn, club: &NewClub, now: Instant) -> Result<ClubId, Failure> {
    let id = ClubId::fresh();
    diesel::insert_into(clubs::table)
        .values((
            clubs::id.eq(id),
            clubs::name.eq(&club.name),
            clubs::currency.eq(&club.currency),
            clubs::time_zone.eq(club.zone.name()),
            clubs::created_at.eq(now),
        ))
        .execute(conn)?;
    Ok(id)
}

/// The person with this address.
pub fn person_by_email(conn: &mut AnyConn, email: &str) -> Result<Option<Person>, Failure> {
    let found = persons::table
        .filter(persons::email.eq(email))
        .select((persons::id, persons::name, persons::password_hash))
        .first(conn)
        .optional()?;
    Ok(found.map(|(id, name, password_hash)| Person { id, name, password_hash }))
}

/// A person by id, with their address.
pub fn person(conn: &mut AnyConn, id: PersonId) -> Result<(Person, String), Failure> {
    let (name, password_hash, email) = persons::table
        .find(id)
        .select((persons::name, persons::password_hash, persons::email))
        .first(conn)?;
    Ok((Person { id, name, password_hash }, email))
}

/// A new person; [`Failure::Taken`] where the address is known.
pub fn add_person(
    conn: &mut AnyConn,
    name: &str,
    email: &str,
    password_hash: &str,
    now: Instant,
) -> Result<PersonId, Failure> {
    let id = PersonId::fresh();
    diesel::insert_into(persons::table)
        .values((
            persons::id.eq(id),
            persons::email.eq(email),
            persons::name.eq(name),
            persons::password_hash.eq(password_hash),
            persons::created_at.eq(now),
        ))
        .execute(conn)?;
    Ok(id)
}

/// Another password.
pub fn set_password(conn: &mut AnyConn, person: PersonId, password_hash: &str) -> Result<(), Failure> {
    diesel::update(persons::table.find(person))
        .set(persons::password_hash.eq(password_hash))
        .execute(conn)?;
    Ok(())
}

/// The clubs a person is in now, the one joined last first.
pub fn memberships(conn: &mut AnyConn, person: PersonId) -> Result<Vec<Membership>, Failure> {
    let found: Vec<(MemberId, ClubId, String, Role)> = members::table
        .inner_join(clubs::table.on(clubs::id.eq(members::club_id)))
        .filter(members::person_id.eq(person).and(members::left_on.is_null()))
        .order(members::id.desc())
        .select((members::id, members::club_id, clubs::name, members::role))
        .load(conn)?;
    Ok(found
        .into_iter()
        .map(|(member, club, club_name, role)| Membership { member, club, club_name, role })
        .collect())
}

/// The place of a person in a club, and the day they left it if they did.
pub fn place_in(
    conn: &mut AnyConn,
    club: ClubId,
    person: PersonId,
) -> Result<Option<(MemberId, Option<Day>)>, Failure> {
    Ok(members::table
        .filter(members::club_id.eq(club).and(members::person_id.eq(person)))
        .select((members::id, members::left_on))
        .first(conn)
        .optional()?)
}

/// A person's place in a club from a day on.
pub fn add_member(
    conn: &mut AnyConn,
    club: ClubId,
    person: PersonId,
    name: &str,
    role: Role,
    joined_on: Day,
) -> Result<MemberId, Failure> {
    let id = MemberId::fresh();
    diesel::insert_into(members::table)
        .values((
            members::id.eq(id),
            members::club_id.eq(club),
            members::person_id.eq(person),
            members::name.eq(name),
            members::role.eq(role),
            members::joined_on.eq(joined_on),
            members::left_on.eq(None::<Day>),
        ))
        .execute(conn)?;
    Ok(id)
}

/// Somebody who had left is a member again.
pub fn take_back(conn: &mut AnyConn, member: MemberId, name: &str, role: Role) -> Result<(), Failure> {
    diesel::update(members::table.find(member))
        .set((members::left_on.eq(None::<Day>), members::name.eq(name), members::role.eq(role)))
        .execute(conn)?;
    Ok(())
}

/// The members of a club: those who are in it first, each part by name.
pub fn members(conn: &mut AnyConn, club: ClubId) -> Result<Vec<Member>, Failure> {
    let found: Vec<(MemberId, String, String, Role, Day, Option<Day>)> = members::table
        .inner_join(persons::table.on(persons::id.eq(members::person_id)))
        .filter(members::club_id.eq(club))
        .order((members::left_on.is_null().desc(), members::name, members::id))
        .select((
            members::id,
            members::name,
            persons::email,
            members::role,
            members::joined_on,
            members::left_on,
        ))
        .load(conn)?;
    Ok(found.into_iter().map(member_of).collect())
}

/// One member of a club, who may have left it.
pub fn member(conn: &mut AnyConn, club: ClubId, id: MemberId) -> Result<Member, Failure> {
    let columns = members::table
        .inner_join(persons::table.on(persons::id.eq(members::person_id)))
        .filter(members::id.eq(id).and(members::club_id.eq(club)))
        .select((
            members::id,
            members::name,
            persons::email,
            members::role,
            members::joined_on,
            members::left_on,
        ))
        .first(conn)?;
    Ok(member_of(columns))
}

fn member_of(columns: (MemberId, String, String, Role, Day, Option<Day>)) -> Member {
    let (id, name, email, role, joined_on, left_on) = columns;
    // Who was brought in with a table has no address yet.
    let email = if email.ends_with(NOWHERE) { String::new() } else { email };
    Member { id, name, email, role, joined_on, left_on }
}

/// Whether a member has a way to sign in.
pub fn signs_in(conn: &mut AnyConn, member: MemberId) -> Result<bool, Failure> {
    let email: String = members::table
        .inner_join(persons::table.on(persons::id.eq(members::person_id)))
        .filter(members::id.eq(member))
        .select(persons::email)
        .first(conn)?;
    Ok(!email.ends_with(NOWHERE))
}

/// A member who had no way to sign in is this person from now on.
pub fn is_person(conn: &mut AnyConn, member: MemberId, person: PersonId) -> Result<(), Failure> {
    let before: PersonId = members::table.find(member).select(members::person_id).first(conn)?;
    diesel::update(members::table.find(member)).set(members::person_id.eq(person)).execute(conn)?;
    let nobody = persons::id.eq(before).and(persons::email.like(format!("%{NOWHERE}")));
    diesel::delete(persons::table.filter(nobody)).execute(conn)?;
    Ok(())
}

/// How many run the club beside this member, and can.
pub fn other_stewards(conn: &mut AnyConn, club: ClubId, member: MemberId) -> Result<i64, Failure> {
    Ok(members::table
        .inner_join(persons::table.on(persons::id.eq(members::person_id)))
        .filter(members::club_id.eq(club).and(members::left_on.is_null()))
        .filter(members::role.eq(Role::Steward).and(members::id.ne(member)))
        .filter(persons::email.not_like(format!("%{NOWHERE}")))
        .count()
        .get_result(conn)?)
}

/// Another role.
pub fn set_role(conn: &mut AnyConn, member: MemberId, role: Role) -> Result<(), Failure> {
    diesel::update(members::table.find(member)).set(members::role.eq(role)).execute(conn)?;
    Ok(())
}

/// A member no longer.
pub fn set_left(conn: &mut AnyConn, member: MemberId, day: Day) -> Result<(), Failure> {
    diesel::update(members::table.find(member)).set(members::left_on.eq(Some(day))).execute(conn)?;
    Ok(())
}
