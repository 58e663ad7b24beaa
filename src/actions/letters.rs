//! Letters: written once a day for each member who wants them, tried until they are sent, stopped with one click.

use super::members::secrets::Secret;
use super::once::{RequestKey, once};
use super::{Done, Error};
use crate::db::letters::{self as rows, Letter, Reader};
use crate::db::reminders::{self, Reminder};
use crate::db::{AnyConn, Database};
use crate::domain::letters::{GIVEN_UP_AFTER, Line, MOST_LINES, Wish, pause};
use crate::domain::members::{Doer, Onlooker};
use crate::units::days::{Day, Instant};
use crate::units::ids::{ClubId, LetterId, MemberId};

/// Open reminders that are looked at.
const MOST: i64 = 1000;

/// Write the letters that are due in a club: to each member whose hour has come, of what is due and was not told them
/// before. It may run at any time, twice, or on two servers at once.
pub async fn write(db: &Database, club: ClubId, zone: chrono_tz::Tz, now: Instant) -> Done<usize> {
    let due = move |reader: &Reader| reader.wish.day(now, zone, reader.looked_on);
    let any =
        db.read(move |conn| Ok::<_, Error>(rows::readers(conn, club)?.iter().any(|one| due(one).is_some())));
    if !any.await? {
        return Ok(0);
    }
    db.write(move |conn| {
        let readers: Vec<(Day, Reader)> =
            rows::readers(conn, club)?.into_iter().filter_map(|one| Some((due(&one)?, one))).collect();
        // The hour of every member is in the same zone, so that they all have the same day.
        let Some(today) = readers.first().map(|reader| reader.0) else { return Ok(0) };
        let open = reminders::open(conn, club, today, MOST)?;
        let keys: Vec<String> = open.iter().map(|reminder| reminder.key.clone()).collect();
        let told = rows::told(conn, club, &keys)?;
        let mut written = 0;
        for (_, reader) in &readers {
            if !reader.known {
                begin(conn, club, reader.member)?;
            }
            let own = |reminder: &&Reminder| {
                let whose = reminder.member.as_ref().is_none_or(|member| member.0 == reader.member);
                whose && !told.contains(&(reader.member, reminder.key.clone(), reminder.due_on))
            };
            let lines: Vec<Line> = open.iter().filter(own).take(MOST_LINES).map(line).collect();
            if !lines.is_empty() {
                rows::add(conn, club, reader.member, today, &lines, now)?;
                written += 1;
            }
        }
        let members: Vec<MemberId> = readers.iter().map(|reader| reader.1.member).collect();
        rows::looked(conn, &members, today)?;
        Ok(written)
    })
    .await
}

/// "Taste at 6 months: Perry, bottling 14".
fn line(reminder: &Reminder) -> Line {
    let mut about = Vec::new();
    about.extend(reminder.batch.as_ref().map(|(_, _, drink)| drink.clone()));
    match (&reminder.bottling, &reminder.batch, &reminder.lot) {
        (Some((_, code)), ..) => about.push(format!("bottling {code}")),
        (None, Some((_, code, _)), _) => about.push(format!("batch {code}")),
        (None, None, Some((_, code))) => about.push(format!("lot {code}")),
        (None, None, None) => {}
    }
    let about = if about.is_empty() { String::new() } else { format!(" ({})", about.join(", ")) };
    Line {
        key: reminder.key.clone(),
        due_on: reminder.due_on,
        text: format!("{}{about}", reminder.text),
        path: format!("/reminders/{}", reminder.id),
    }
}

/// Keep how a member is reached, from the first time that it matters.
pub(super) fn begin(conn: &mut AnyConn, club: ClubId, member: MemberId) -> Done<()> {
    Ok(rows::begin(conn, club, member, Secret::fresh("")?.reveal())?)
}

/// Take some letters that are to be tried now. Until it is known how a try ended, nobody else takes them for a while; a
/// server that stops in between tries them again.
pub async fn take(db: &Database, now: Instant, limit: i64) -> Done<Vec<Letter>> {
    db.write(move |conn| {
        let mut letters = rows::to_try(conn, now, limit)?;
        for letter in &mut letters {
            letter.tries += 1;
            rows::trying(conn, letter.id, now + pause(letter.tries))?;
        }
        Ok(letters)
    })
    .await
}

/// How a try ended.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Outcome {
    /// It was sent.
    Sent,
    /// It was not, and may be later.
    Later(String),
    /// It cannot be.
    Never(String),
}

/// Keep how a try ended.
pub async fn tried(
    db: &Database,
    letter: LetterId,
    made_at: Instant,
    outcome: Outcome,
    now: Instant,
) -> Done<()> {
    db.write(move |conn| {
        match &outcome {
            Outcome::Sent => rows::sent(conn, letter, now)?,
            Outcome::Later(why) => rows::failed(conn, letter, why, now - made_at > GIVEN_UP_AFTER)?,
            Outcome::Never(why) => rows::failed(conn, letter, why, true)?,
        }
        Ok(())
    })
    .await
}

/// Choose when one wants letters, or that one wants none.
pub async fn choose(db: &Database, by: &Onlooker, key: Option<RequestKey>, wish: Wish) -> Done<()> {
    once(db, by, key, "letters", wish, |conn, doer: &Doer, wish| {
        if !rows::is_known(conn, doer.member)? {
            begin(conn, doer.club, doer.member)?;
        }
        Ok(rows::set_wish(conn, doer.member, *wish)?)
    })
    .await
}

/// Stop the letters of whoever was sent this secret; the name of the club, where there is such a secret.
pub async fn stop(db: &Database, secret: &str) -> Done<Option<String>> {
    let secret = secret.to_owned();
    db.write(move |conn| {
        let Some((member, club, _)) = rows::by_stop_secret(conn, &secret)? else { return Ok(None) };
        rows::set_wish(conn, member, Wish { hour: None })?;
        Ok(Some(club))
    })
    .await
}
