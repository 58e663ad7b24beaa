//! Links that let somebody join: an invitation to a club, and the one-time address where the first club
//! is set up.

use chrono::Duration;
use serde::{Deserialize, Serialize};

use super::secrets::{Secret, hash as hash_of};
use super::sessions::open_session;
use super::tokens::ANSWERED_AGAIN;
use super::{
    Entrance, Newcomer, Visitor, audit, audit_by, found, join, link_rows, of_steward, present, rows,
};
use crate::actions::Done;
use crate::actions::once::{RequestKey, once};
use crate::db::members::links::Offer;
use crate::db::{AnyConn, Database, Failure};
use crate::domain::members::{Doer, NewClub, NewPerson, Role, Steward};
use crate::domain::refusal::{Refusal, Why};
use crate::units::days::{Instant, local_day};
use crate::units::ids::{ClubId, InvitationId, MemberId, PersonId};
use crate::units::text;

/// How long an invitation can be accepted.
const INVITATION_HOLDS: Duration = Duration::days(7);
/// How long the address for setting up can be used.
const SET_UP_HOLDS: Duration = Duration::hours(24);
/// Invitations that may be open in a club at once.
const MOST: usize = 100;

/// Whom to invite.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct Invitation {
    name: String,
    role: Role,
}

impl Invitation {
    /// Whom it is for, and what they will be.
    pub fn read(name: &str, role: Role) -> Result<Self, Refusal> {
        let name = text::line(name, 80, "whom you invite").map_err(|wrong| Refusal::unfit("name", wrong))?;
        Ok(Self { name, role })
    }
}

/// Invite somebody: the secret of a link that holds for a week, shown this once. The same request again
/// within minutes, as after a lost answer, gives the invitation another secret, for the first was not
/// kept.
pub async fn invite(
    db: &Database,
    by: &Steward,
    key: Option<RequestKey>,
    invitation: Invitation,
) -> Done<(InvitationId, Secret)> {
    let id = once(db, by, key, "invite", invitation, |conn, by, new| {
        if link_rows::open(conn, by.club, by.now)?.len() >= MOST {
            return Err(
                Refusal::conflict("", format!("{MOST} invitations are open: withdraw some first")).into()
            );
        }
        let nobody_knows = Secret::fresh("")?.hash();
        let id = link_rows::invite(
            conn,
            by,
            &nobody_knows,
            (&new.name, new.role, None),
            by.now + INVITATION_HOLDS,
        )?;
        audit_by(conn, by, &format!("invited {} as {}", new.name, new.role.name()))?;
        Ok(id)
    })
    .await?;
    with_secret(db, by, id).await
}

/// A link for a member who was brought in without a way to sign in: they choose an address and a password by it, and
/// are that member.
pub async fn invite_member(
    db: &Database,
    by: &Steward,
    key: Option<RequestKey>,
    member: MemberId,
) -> Done<(InvitationId, Secret)> {
    let id = once(db, by, key, "invite member", member, |conn, by, member| {
        let found = present(conn, by.club, *member)?;
        if rows::signs_in(conn, found.id)? {
            let words = format!("{} signs in already; a link is for who has no way to", found.name);
            return Err(Refusal::conflict("", words).into());
        }
        let nobody_knows = Secret::fresh("")?.hash();
        let of = (&*found.name, found.role, Some(found.id));
        let id = link_rows::invite(conn, by, &nobody_knows, of, by.now + INVITATION_HOLDS)?;
        audit_by(conn, by, &format!("made a link for {}", found.name))?;
        Ok(id)
    })
    .await?;
    with_secret(db, by, id).await
}

/// Gives an invitation its secret, which is told once.
async fn with_secret(db: &Database, by: &Steward, id: InvitationId) -> Done<(InvitationId, Secret)> {
    let secret = Secret::fresh("")?;
    let (club, hash, made_after) = (by.club, secret.hash(), by.now - ANSWERED_AGAIN);
    let given = db.write(move |conn| link_rows::set_hash(conn, club, id, &hash, made_after)).await?;
    if given {
        Ok((id, secret))
    } else {
        let shown =
            "This invitation was made before, and its link is shown only once: withdraw it and invite anew";
        Err(Refusal::conflict("", shown).into())
    }
}

/// Withdraw an invitation that nobody has accepted.
pub async fn withdraw_invitation(db: &Database, by: &Steward, id: InvitationId) -> Done<()> {
    let by = Doer::clone(by);
    db.write(move |conn| {
        let name = link_rows::withdraw(conn, by.club, id, by.now)?
            .ok_or_else(|| Refusal::new(Why::Missing, "", "This invitation is no longer open"))?;
        Ok(audit_by(conn, &by, &format!("withdrew the invitation of {name}"))?)
    })
    .await
}

/// What a link offers, if it can still be accepted.
pub async fn offered(db: &Database, secret: &str, now: Instant) -> Result<Option<Offer>, Failure> {
    let hash = hash_of(secret);
    db.read(move |conn| link_rows::offer(conn, &hash, now)).await
}

/// Become a member by a link, and be signed in. A person who is known gives the password they have.
pub async fn accept_invitation(
    db: &Database,
    secret: &str,
    person: NewPerson,
    visitor: &Visitor,
) -> Done<Entrance> {
    let hash = hash_of(secret);
    offered(db, secret, visitor.now).await?.ok_or_else(invitation_over)?;
    let newcomer = Newcomer::meet(db, person).await?;
    let session = Secret::fresh("")?;
    let (kept, visitor) = (session.hash(), visitor.clone());
    let member = db
        .write(move |conn| {
            let now = visitor.now;
            let offer = link_rows::offer(conn, &hash, now)?.ok_or_else(invitation_over)?;
            let zone = offer.zone.parse().map_err(|_| Failure::Fault("an unknown time zone".to_owned()))?;
            let person = newcomer.person(conn, now)?;
            let today = local_day(now, zone);
            let member = match offer.member {
                Some(member) => becomes(conn, offer.club, member, person)?,
                None => join(conn, offer.club, person, &newcomer.name, offer.role, today)?,
            };
            link_rows::accepted(conn, offer.id, now)?;
            let what = format!("joined as {}", offer.role.name());
            audit::add(conn, Some(offer.club), Some(person), now, &what, &visitor.address)?;
            open_session(conn, (offer.club, person, member), &kept, &visitor)?;
            Done::Ok(member)
        })
        .await?;
    Ok((session, member))
}

/// A person comes to be the member whom a table brought in.
fn becomes(conn: &mut AnyConn, club: ClubId, member: MemberId, person: PersonId) -> Done<MemberId> {
    match rows::signs_in(conn, member) {
        Ok(false) => {}
        Ok(true) | Err(Failure::Gone) => return Err(invitation_over().into()),
        Err(failure) => return Err(failure.into()),
    }
    if rows::place_in(conn, club, person)?.is_some() {
        return Err(Refusal::conflict("email", "This person is or was a member of the club already").into());
    }
    rows::is_person(conn, member, person)?;
    Ok(member)
}

/// Why a link to a club leads nowhere.
pub fn invitation_over() -> Refusal {
    let message =
        "This invitation has been used, withdrawn, or is over a week old; ask a steward for another";
    Refusal::new(Why::Missing, "", message)
}

/// Where there is no club yet: the secret of the address where the first is set up. Those made before end.
pub async fn begin_set_up(db: &Database, now: Instant) -> Result<Option<Secret>, Failure> {
    let secret = Secret::fresh("")?;
    let hash = secret.hash();
    let made = db.write(move |conn| {
        if rows::any_club(conn)? {
            return Ok(false);
        }
        link_rows::open_set_up(conn, &hash, now, now + SET_UP_HOLDS)?;
        Ok::<_, Failure>(true)
    });
    Ok(made.await?.then_some(secret))
}

/// Whether this address can still be used.
pub async fn set_up_is_open(db: &Database, secret: &str, now: Instant) -> Result<bool, Failure> {
    let hash = hash_of(secret);
    db.read(move |conn| Ok(link_rows::set_up(conn, &hash, now)?.is_some())).await
}

/// Found the first club at the one-time address, and be signed in as its steward.
pub async fn set_up(db: &Database, secret: &str, club: NewClub, visitor: &Visitor) -> Done<Entrance> {
    let hash = hash_of(secret);
    if !set_up_is_open(db, secret, visitor.now).await? {
        return Err(set_up_over().into());
    }
    let newcomer = Newcomer::meet(db, club.steward.clone()).await.map_err(of_steward)?;
    let session = Secret::fresh("")?;
    let (kept, visitor) = (session.hash(), visitor.clone());
    let member = db
        .write(move |conn| {
            let open = link_rows::set_up(conn, &hash, visitor.now)?.ok_or_else(set_up_over)?;
            link_rows::set_up_done(conn, open, visitor.now)?;
            let (club, member, person) = found(conn, &club, &newcomer, &visitor.address, visitor.now)?;
            open_session(conn, (club, person, member), &kept, &visitor)?;
            Done::Ok(member)
        })
        .await?;
    Ok((session, member))
}

/// Why an address for setting up leads nowhere.
pub fn set_up_over() -> Refusal {
    let message = "This address has been used or is over a day old; the server prints another when it starts";
    Refusal::new(Why::Missing, "", message)
}
