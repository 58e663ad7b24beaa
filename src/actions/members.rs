//! Letting people in, and what they may do there: founding a club, roles, leaving. Signing in, links that
//! let somebody join, and tokens for the API are beside this, a file each, and named from here.

use serde::Serialize;

use super::once::{RequestKey, once};
use super::{Done, or_missing};
use crate::db::members::{
    self as rows, audit, links as link_rows, sessions as session_rows, tokens as token_rows,
};
use crate::db::{AnyConn, Database, Failure};
use crate::domain::members::{Doer, NewClub, NewPerson, Onlooker, Role, Steward, may_step_down};
use crate::domain::refusal::{Refusal, Why};
use crate::units::days::{Day, Instant, local_day};
use crate::units::ids::{ClubId, MemberId, PersonId};

mod links;
mod passwords;
pub(super) mod secrets;
mod sessions;
#[cfg(test)]
mod tests;
mod tokens;

pub use links::{
    Invitation, accept_invitation, begin_set_up, invitation_over, invite, invite_member, offered, set_up,
    set_up_is_open, set_up_over, withdraw_invitation,
};
pub use passwords::{PasswordHash, hash};
pub use secrets::Secret;
pub use sessions::{
    SESSION_LASTS, change_club, change_password, doer_of_session, end_session, forget_sessions,
    forget_unknown, sessions_of, set_password, sign_in, sign_out,
};
pub use tokens::{NewToken, doer_of_token, new_token, revoke_token};

pub use crate::domain::members::Scope;

/// Where a request comes from that nobody is signed in for.
#[derive(Debug, Clone)]
pub struct Visitor {
    /// What the browser says it is.
    pub device: String,
    /// The network address.
    pub address: String,
    /// When.
    pub now: Instant,
}

/// A session's secret, and the member whom it lets in.
pub type Entrance = (Secret, MemberId);

/// A club and its first steward, who gives the password they have where they are known.
pub async fn found_club(db: &Database, club: NewClub, now: Instant) -> Done<(ClubId, MemberId)> {
    let newcomer = Newcomer::meet(db, club.steward.clone()).await.map_err(of_steward)?;
    db.write(move |conn| found(conn, &club, &newcomer, "", now).map(|(club, member, _)| (club, member))).await
}

fn of_steward(error: super::Error) -> super::Error {
    match error {
        super::Error::Refused(refusal) => crate::domain::members::of_steward(refusal).into(),
        failed @ super::Error::Failed(_) => failed,
    }
}

fn found(
    conn: &mut AnyConn,
    club: &NewClub,
    newcomer: &Newcomer,
    address: &str,
    now: Instant,
) -> Done<(ClubId, MemberId, PersonId)> {
    let id = rows::add_club(conn, club, now)?;
    let person = newcomer.person(conn, now).map_err(of_steward)?;
    let today = local_day(now, club.zone);
    let member = rows::add_member(conn, id, person, &club.steward.name, Role::Steward, today)?;
    audit::add(conn, Some(id), Some(person), now, "founded the club", address)?;
    Ok((id, member, person))
}

/// Somebody who comes in: known already, or new with a password that may be chosen.
struct Newcomer {
    name: String,
    email: String,
    known: Option<PersonId>,
    hash: PasswordHash,
}

impl Newcomer {
    /// Finds out who it is; a person who is known has to give the password they have.
    async fn meet(db: &Database, person: NewPerson) -> Done<Self> {
        let email = person.email.clone();
        let known = db.read(move |conn| rows::person_by_email(conn, &email)).await?;
        let (known, hash) = if let Some(known) = known {
            let hash = PasswordHash::kept(known.password_hash);
            if !passwords::fits(&person.password, Some(&hash)).await? {
                return Err(sessions::unfit("email").into());
            }
            (Some(known.id), hash)
        } else {
            person.check_password()?;
            (None, hash(&person.password).await?)
        };
        Ok(Self { name: person.name, email: person.email, known, hash })
    }

    /// Their row, written now if they are new.
    fn person(&self, conn: &mut AnyConn, now: Instant) -> Done<PersonId> {
        if let Some(known) = self.known {
            return Ok(known);
        }
        rows::add_person(conn, &self.name, &self.email, self.hash.as_str(), now).map_err(|failure| {
            match failure {
                Failure::Taken => {
                    Refusal::conflict("email", "This was sent twice at once; send it again").into()
                }
                other => other.into(),
            }
        })
    }
}

/// A member as the program itself adds one; several may share a password made before.
#[derive(Debug, Clone)]
pub struct NewMember {
    /// Who; a person who is known keeps the password they have.
    pub person: NewPerson,
    /// The password as it is kept.
    pub hash: PasswordHash,
    /// What they may do.
    pub role: Role,
    /// Since when.
    pub joined_on: Day,
}

/// Add a member to a club without an invitation: only for who runs the program.
pub async fn add_member(db: &Database, club: ClubId, new: NewMember, now: Instant) -> Done<MemberId> {
    db.write(move |conn| {
        let (name, email) = (&new.person.name, &new.person.email);
        let person = match rows::person_by_email(conn, email)? {
            Some(known) => known.id,
            None => rows::add_person(conn, name, email, new.hash.as_str(), now)?,
        };
        join(conn, club, person, name, new.role, new.joined_on)
    })
    .await
}

/// A person becomes a member; one who had left becomes one again.
fn join(
    conn: &mut AnyConn,
    club: ClubId,
    person: PersonId,
    name: &str,
    role: Role,
    today: Day,
) -> Done<MemberId> {
    match rows::place_in(conn, club, person)? {
        None => Ok(rows::add_member(conn, club, person, name, role, today)?),
        Some((member, Some(_left))) => {
            rows::take_back(conn, member, name, role)?;
            Ok(member)
        }
        Some((_, None)) => {
            Err(Refusal::conflict("email", "This person is a member of the club already").into())
        }
    }
}

/// The member of a club, given by name or id, with this e-mail address: how the command line says who acts.
pub async fn doer_by_email(db: &Database, club: &str, email: &str, now: Instant) -> Done<Doer> {
    let (club, email) = (club.trim().to_owned(), email.trim().to_lowercase());
    db.read(move |conn| {
        let clubs = rows::clubs(conn)?;
        let club = clubs
            .iter()
            .find(|(id, name)| *name == club || id.to_string() == club)
            .ok_or_else(|| Refusal::new(Why::Missing, "club", format!("There is no club “{club}” here")))?;
        let member = rows::members(conn, club.0)?
            .into_iter()
            .find(|member| member.email == email && member.left_on.is_none())
            .ok_or_else(|| Refusal::missing("email", "member"))?;
        Ok(rows::doer_of_member(conn, member.id, now)?)
    })
    .await
}

/// A present member as a doer: how the program acts for one.
pub async fn doer_of_member(db: &Database, member: MemberId, now: Instant) -> Result<Doer, Failure> {
    db.read(move |conn| rows::doer_of_member(conn, member, now)).await
}

/// Which member gets which role.
#[derive(Debug, Clone, Serialize)]
pub struct ChangeRole {
    /// Who.
    pub member: MemberId,
    /// What they may do from now on.
    pub role: Role,
}

/// Give a member another role. The last steward stays one.
pub async fn change_role(
    db: &Database,
    by: &Steward,
    key: Option<RequestKey>,
    change: ChangeRole,
) -> Done<()> {
    once(db, by, key, "change role", change, |conn, by, change| {
        let member = present(conn, by.club, change.member)?;
        if member.role == change.role {
            return Ok(());
        }
        if member.role == Role::Steward {
            may_step_down(rows::other_stewards(conn, by.club, member.id)?)?;
            link_rows::withdraw_all_by(conn, by.club, member.id, by.now)?;
        }
        rows::set_role(conn, member.id, change.role)?;
        let what = format!("made {} {} (was {})", member.name, change.role.name(), member.role.name());
        Ok(audit_by(conn, by, &what)?)
    })
    .await
}

/// End somebody's membership: they are let in no more, what they recorded stays.
pub async fn remove_member(
    db: &Database,
    by: &Steward,
    key: Option<RequestKey>,
    member: MemberId,
) -> Done<()> {
    once(db, by, key, "remove member", member, |conn, by, member| {
        let member = present(conn, by.club, *member)?;
        part(conn, by, &member)?;
        Ok(audit_by(conn, by, &format!("ended the membership of {}", member.name))?)
    })
    .await
}

/// Leave the club oneself.
pub async fn leave(db: &Database, by: &Onlooker, key: Option<RequestKey>) -> Done<()> {
    once(db, by, key, "leave", by.member, |conn, by, member| {
        let member = present(conn, by.club, *member)?;
        part(conn, by, &member)?;
        Ok(audit_by(conn, by, "left the club")?)
    })
    .await
}

fn present(conn: &mut AnyConn, club: ClubId, id: MemberId) -> Done<rows::Member> {
    let member = or_missing(rows::member(conn, club, id), "", "member")?;
    if member.left_on.is_some() {
        return Err(Refusal::conflict("member", format!("{} has left the club already", member.name)).into());
    }
    Ok(member)
}

fn part(conn: &mut AnyConn, by: &Doer, member: &rows::Member) -> Done<()> {
    if member.role == Role::Steward {
        may_step_down(rows::other_stewards(conn, by.club, member.id)?)?;
    }
    rows::set_left(conn, member.id, by.today())?;
    session_rows::end_of_member(conn, member.id)?;
    token_rows::revoke_all(conn, member.id, by.now)?;
    link_rows::withdraw_all_by(conn, by.club, member.id, by.now)?;
    Ok(())
}

/// Add a line to the club's audit log, for what leaves no other trace: an export, a backup.
pub async fn note(db: &Database, by: &Doer, what: impl Into<String>) -> Result<(), Failure> {
    let (by, what) = (by.clone(), what.into());
    db.write(move |conn| audit_by(conn, &by, &what)).await
}

pub(super) fn audit_by(conn: &mut AnyConn, by: &Doer, what: &str) -> Result<(), Failure> {
    audit::add(conn, Some(by.club), Some(by.person), by.now, what, &by.address)
}
