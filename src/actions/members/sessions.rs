//! Signing in and out, the browsers in which a person is signed in, and their password.

use chrono::Duration;

use super::secrets::{Secret, hash as hash_of};
use super::{Entrance, PasswordHash, Visitor, audit, passwords, rows, session_rows};
use crate::actions::{Done, or_missing};
use crate::db::members::Person;
use crate::db::members::sessions::Session;
use crate::db::{AnyConn, Database, Failure};
use crate::domain::members::{Doer, Onlooker, Password, email};
use crate::domain::refusal::{Refusal, Why};
use crate::units::days::Instant;
use crate::units::ids::{ClubId, MemberId, PersonId, SessionId};

/// A session ends when it was not used for so long …
const IDLE: Duration = Duration::days(14);
/// … and at the latest after so long.
pub const SESSION_LASTS: Duration = Duration::days(90);
/// How exactly it is known when a session or a token was last used.
pub(super) const SEEN_EVERY: Duration = Duration::minutes(10);

/// The same words for a wrong password and for a name that nobody has.
pub(super) fn unfit(field: &str) -> Refusal {
    Refusal::unfit(field, "The e-mail address and the password do not fit together")
}

/// Who a session's secret stands for; nobody when it has ended or the member has left.
pub async fn doer_of_session(
    db: &Database,
    secret: &str,
    address: &str,
    now: Instant,
) -> Result<Option<Doer>, Failure> {
    let (hash, address) = (hash_of(secret), address.to_owned());
    let found = db.read(move |conn| session_rows::find(conn, &hash, now - IDLE, &address, now)).await?;
    let Some(found) = found else { return Ok(None) };
    if now - found.seen_at > SEEN_EVERY {
        let marked = db.write(move |conn| session_rows::seen(conn, found.id, now)).await;
        report(marked, "when a session was used");
    }
    Ok(Some(found.doer))
}

/// That it cannot be written down when somebody came is no reason to keep them out.
pub(super) fn report(written: Result<(), Failure>, what: &str) {
    if let Err(failure) = written {
        tracing::warn!(%failure, "it could not be written down {what}");
    }
}

/// Let a person in who shows their password, into the club they joined last.
pub async fn sign_in(db: &Database, typed: &str, password: &Password, visitor: &Visitor) -> Done<Entrance> {
    let person = match email(typed) {
        Ok(email) => db.read(move |conn| rows::person_by_email(conn, &email)).await?,
        Err(_) => None,
    };
    let hash = person.as_ref().map(|person| PasswordHash::kept(person.password_hash.clone()));
    let fits = passwords::fits(password, hash.as_ref()).await?;
    let secret = Secret::fresh("")?;
    let (kept, visitor) = (secret.hash(), visitor.clone());
    let member = db
        .write(move |conn| match &person {
            Some(person) if fits => let_in(conn, person, &kept, &visitor),
            known => turn_away(conn, known.as_ref(), &visitor),
        })
        .await?;
    member.map(|member| (secret, member)).map_err(Into::into)
}

/// The inner result is what was written down; only a failure undoes it.
type Decided = Done<Result<MemberId, Refusal>>;

fn let_in(conn: &mut AnyConn, person: &Person, hash: &str, visitor: &Visitor) -> Decided {
    let (now_kept, _) = rows::person(conn, person.id)?;
    if now_kept.password_hash != person.password_hash {
        return turn_away(conn, Some(person), visitor);
    }
    let Some(latest) = rows::memberships(conn, person.id)?.into_iter().next() else {
        let left = "You are in no club here any more; ask a steward for an invitation";
        return Ok(Err(Refusal::conflict("email", left)));
    };
    open_session(conn, (latest.club, person.id, latest.member), hash, visitor)?;
    Ok(Ok(latest.member))
}

fn turn_away(conn: &mut AnyConn, known: Option<&Person>, visitor: &Visitor) -> Decided {
    let clubs = match known {
        Some(person) => rows::memberships(conn, person.id)?,
        None => Vec::new(),
    };
    for place in &clubs {
        let person = known.map(|person| person.id);
        audit::add(conn, Some(place.club), person, visitor.now, "sign-in refused", &visitor.address)?;
    }
    if clubs.is_empty() {
        audit::add(conn, None, None, visitor.now, audit::UNKNOWN_NAME, &visitor.address)?;
    }
    Ok(Err(unfit("email")))
}

/// A session from now on, and a line that says so.
pub(super) fn open_session(
    conn: &mut AnyConn,
    (club, person, member): (ClubId, PersonId, MemberId),
    hash: &str,
    visitor: &Visitor,
) -> Result<(), Failure> {
    let device: String = visitor.device.chars().filter(|letter| !letter.is_control()).take(160).collect();
    let now = visitor.now;
    session_rows::add(conn, hash, (person, member), (now, now + SESSION_LASTS), &device)?;
    audit::add(conn, Some(club), Some(person), now, "signed in", &visitor.address)
}

/// Forget the sessions that let nobody in any more, of all persons.
pub async fn forget_sessions(db: &Database, now: Instant) -> Result<usize, Failure> {
    db.write(move |conn| session_rows::forget(conn, now - IDLE, now)).await
}

/// Refused sign-ins with names that nobody here has are kept this long.
const UNKNOWN_KEPT: Duration = Duration::days(90);

/// Forget refused sign-ins with unknown names once they are old.
pub async fn forget_unknown(db: &Database, now: Instant) -> Result<usize, Failure> {
    db.write(move |conn| audit::forget_unknown(conn, now - UNKNOWN_KEPT)).await
}

/// End the session of this secret.
pub async fn sign_out(db: &Database, secret: &str) -> Result<(), Failure> {
    let hash = hash_of(secret);
    db.write(move |conn| session_rows::end(conn, &hash)).await
}

/// The sessions of who asks, the one used last first; `secret` says which of them is this one.
pub async fn sessions_of(db: &Database, of: &Onlooker, secret: &str) -> Result<Vec<Session>, Failure> {
    let (person, hash) = (of.person, hash_of(secret));
    let shown_after = of.now - IDLE;
    db.read(move |conn| {
        let mut found = session_rows::of_person(conn, person, &hash)?;
        found.retain(|session| session.seen_at > shown_after);
        Ok(found)
    })
    .await
}

/// End one of one's own sessions.
pub async fn end_session(db: &Database, by: &Onlooker, id: SessionId) -> Done<()> {
    let person = by.person;
    db.write(move |conn| {
        if session_rows::end_one(conn, person, id)? {
            Ok(())
        } else {
            Err(Refusal::new(Why::Missing, "", "It has ended already: nobody is signed in there any more")
                .into())
        }
    })
    .await
}

/// Go on in another club of the same person.
pub async fn change_club(db: &Database, by: &Onlooker, secret: &str, club: ClubId) -> Done<MemberId> {
    let (person, hash) = (by.person, hash_of(secret));
    db.write(move |conn| {
        let place = rows::memberships(conn, person)?
            .into_iter()
            .find(|place| place.club == club)
            .ok_or_else(|| Refusal::new(Why::Missing, "club", "You are not a member of this club"))?;
        session_rows::switch(conn, &hash, place.member)?;
        Ok(place.member)
    })
    .await
}

/// Choose another password. All sessions end; who did it goes on in a new one.
pub async fn change_password(
    db: &Database,
    by: &Onlooker,
    current: &Password,
    new: &Password,
    device: &str,
) -> Done<Secret> {
    let id = by.person;
    let (person, email) = db.read(move |conn| rows::person(conn, id)).await?;
    new.check(&person.name, &email).map_err(|wrong| Refusal::unfit("new_password", wrong))?;
    let kept = PasswordHash::kept(person.password_hash.clone());
    if !passwords::fits(current, Some(&kept)).await? {
        super::note(db, by, "gave a wrong password in order to change it").await?;
        return Err(Refusal::unfit("current_password", "This is not your password").into());
    }
    let hash = passwords::hash(new).await?;
    let secret = Secret::fresh("")?;
    let visitor = Visitor { device: device.to_owned(), address: by.address.clone(), now: by.now };
    let (by, kept_secret) = (Doer::clone(by), secret.hash());
    db.write(move |conn| {
        if rows::person(conn, id)?.0.password_hash != person.password_hash {
            return Err(Refusal::conflict("", "The password was changed elsewhere just now").into());
        }
        change(conn, id, &hash, &visitor)?;
        Ok(open_session(conn, (by.club, by.person, by.member), &kept_secret, &visitor)?)
    })
    .await
    .map(|()| secret)
}

/// Another password for a person who forgot theirs: only for who runs the program. All their sessions end.
pub async fn set_password(db: &Database, typed: &str, new: &Password, now: Instant) -> Done<()> {
    let email = email(typed).map_err(|wrong| Refusal::unfit("email", wrong))?;
    let asked = email.clone();
    let person = db.read(move |conn| rows::person_by_email(conn, &asked)).await?;
    let person = or_missing(person.ok_or(Failure::Gone), "email", "person")?;
    new.check(&person.name, &email).map_err(|wrong| Refusal::unfit("password", wrong))?;
    let hash = passwords::hash(new).await?;
    let visitor = Visitor { device: String::new(), address: String::new(), now };
    db.write(move |conn| change(conn, person.id, &hash, &visitor)).await
}

fn change(conn: &mut AnyConn, person: PersonId, hash: &PasswordHash, visitor: &Visitor) -> Done<()> {
    rows::set_password(conn, person, hash.as_str())?;
    session_rows::end_all(conn, person)?;
    for place in rows::memberships(conn, person)? {
        audit::add(
            conn,
            Some(place.club),
            Some(person),
            visitor.now,
            "changed the password",
            &visitor.address,
        )?;
    }
    Ok(())
}
