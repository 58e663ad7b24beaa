//! The private address of a member's calendar: made, made anew, ended.

use super::letters::begin;
use super::members::secrets::{Secret, hash};
use super::{Done, Error};
use crate::db::{Database, calendars as rows, letters, members};
use crate::domain::calendars::{Event, settled};
use crate::domain::members::{Doer, Onlooker};
use crate::units::days::Instant;

/// Another address for one's calendar; the one before ends.
pub async fn make(db: &Database, by: &Onlooker) -> Done<Secret> {
    let (secret, doer) = (Secret::fresh("")?, Doer::clone(by));
    let kept = secret.hash();
    db.write(move |conn| {
        if !letters::is_known(conn, doer.member)? {
            begin(conn, doer.club, doer.member)?;
        }
        Ok::<_, Error>(rows::set(conn, doer.member, Some(&kept), doer.now)?)
    })
    .await?;
    Ok(secret)
}

/// End the address of one's calendar.
pub async fn end(db: &Database, by: &Onlooker) -> Done<()> {
    let doer = Doer::clone(by);
    db.write(move |conn| Ok::<_, Error>(rows::set(conn, doer.member, None, doer.now)?)).await
}

/// What stands in the calendar with this address, and at which hour its member is reminded; none where there is no such
/// address.
pub async fn read(
    db: &Database,
    secret: &str,
    now: Instant,
) -> Done<Option<(Doer, Option<i64>, Vec<Event>)>> {
    let kept = hash(secret);
    db.read(move |conn| {
        let Some((member, hour)) = rows::owner(conn, &kept)? else { return Ok(None) };
        let doer = members::doer_of_member(conn, member, now)?;
        let events = settled(rows::events(conn, &doer)?);
        Ok::<_, Error>(Some((doer, hour, events)))
    })
    .await
}
