//! Letters to members: who wants them when, what each says, and those still to be sent.

use std::collections::HashSet;

use diesel::prelude::*;

use super::connection::AnyConn;
use super::failure::Failure;
use super::schema::{clubs, letter_lines, letters, members, persons, reach};
use crate::db::prepared::{Prepare, padded};
use crate::domain::letters::{Line, Wish};
use crate::domain::members::NOWHERE;
use crate::units::days::{Day, Instant};
use crate::units::ids::{ClubId, LetterId, MemberId};

/// A member who may be written to.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Reader {
    /// Who.
    pub member: MemberId,
    /// When they want letters.
    pub wish: Wish,
    /// Up to which day that was looked at.
    pub looked_on: Option<Day>,
    /// It is known how they are reached.
    pub known: bool,
}

/// Members of a club.
pub fn readers(conn: &mut AnyConn, club: ClubId) -> Result<Vec<Reader>, Failure> {
    type Row = (MemberId, Option<MemberId>, Option<i64>, Option<Day>);
    let rows: Vec<Row> = members::table
        .left_join(reach::table.on(reach::member_id.eq(members::id)))
        .filter(members::club_id.eq(club).and(members::left_on.is_null()))
        .order(members::id)
        .select((
            members::id,
            reach::member_id.nullable(),
            reach::letter_hour.nullable(),
            reach::looked_on.nullable(),
        ))
        .load(conn)?;
    let reader = |(member, known, hour, looked_on): Row| Reader {
        member,
        wish: if known.is_some() { wish_of(hour) } else { Wish::default() },
        looked_on,
        known: known.is_some(),
    };
    Ok(rows.into_iter().map(reader).collect())
}

fn wish_of(hour: Option<i64>) -> Wish {
    Wish { hour: hour.and_then(|hour| u32::try_from(hour).ok()) }
}

/// Keep that it is known how a member is reached; `stop` is the secret with which their letters are stopped.
pub fn begin(conn: &mut AnyConn, club: ClubId, member: MemberId, stop: &str) -> Result<(), Failure> {
    diesel::insert_into(reach::table)
        .values((
            reach::member_id.eq(member),
            reach::club_id.eq(club),
            reach::letter_hour.eq(Wish::default().hour.map(i64::from)),
            reach::stop_secret.eq(stop),
        ))
        .execute(conn)?;
    Ok(())
}

/// Whether it is known how a member is reached.
pub fn is_known(conn: &mut AnyConn, member: MemberId) -> Result<bool, Failure> {
    let found: Option<MemberId> =
        reach::table.filter(reach::member_id.eq(member)).select(reach::member_id).first(conn).optional()?;
    Ok(found.is_some())
}

/// When a member wants letters.
pub fn wish(conn: &mut AnyConn, member: MemberId) -> Result<Wish, Failure> {
    let hour: Option<Option<i64>> =
        reach::table.filter(reach::member_id.eq(member)).select(reach::letter_hour).first(conn).optional()?;
    Ok(hour.map_or_else(Wish::default, wish_of))
}

/// Keep when a member wants letters.
pub fn set_wish(conn: &mut AnyConn, member: MemberId, wish: Wish) -> Result<(), Failure> {
    diesel::update(reach::table.filter(reach::member_id.eq(member)))
        .set(reach::letter_hour.eq(wish.hour.map(i64::from)))
        .execute(conn)?;
    Ok(())
}

/// Whose letters a secret stops: the member, their club's name, and whether they get any.
pub fn by_stop_secret(conn: &mut AnyConn, secret: &str) -> Result<Option<(MemberId, String, bool)>, Failure> {
    let found: Option<(MemberId, String, Option<i64>)> = reach::table
        .inner_join(clubs::table.on(clubs::id.eq(reach::club_id)))
        .filter(reach::stop_secret.eq(secret))
        .select((reach::member_id, clubs::name, reach::letter_hour))
        .first(conn)
        .optional()?;
    Ok(found.map(|(member, club, hour)| (member, club, hour.is_some())))
}

/// A day was looked at for these members.
pub fn looked(conn: &mut AnyConn, of: &[MemberId], day: Day) -> Result<(), Failure> {
    for some in of.chunks(500) {
        diesel::update(reach::table.filter(reach::member_id.eq_any(some.to_vec())))
            .set(reach::looked_on.eq(Some(day)))
            .execute(conn)?;
    }
    Ok(())
}

/// What members of a club were told of these keys: whom, what, due when.
pub fn told(
    conn: &mut AnyConn,
    club: ClubId,
    keys: &[String],
) -> Result<HashSet<(MemberId, String, Day)>, Failure> {
    let mut found = HashSet::new();
    for some in keys.chunks(500) {
        let rows: Vec<(MemberId, String, Day)> = letter_lines::table
            .filter(letter_lines::club_id.eq(club).and(letter_lines::key.eq_any(padded(some))))
            .select((letter_lines::member_id, letter_lines::key, letter_lines::due_on))
            .prepared()
            .load(conn)?;
        found.extend(rows);
    }
    Ok(found)
}

/// Keep a letter that is to be sent.
pub fn add(
    conn: &mut AnyConn,
    club: ClubId,
    member: MemberId,
    day: Day,
    lines: &[Line],
    at: Instant,
) -> Result<LetterId, Failure> {
    let id = LetterId::fresh();
    diesel::insert_into(letters::table)
        .values((
            letters::id.eq(id),
            letters::club_id.eq(club),
            letters::member_id.eq(member),
            letters::day.eq(day),
            letters::made_at.eq(at),
            letters::next_try_at.eq(Some(at)),
        ))
        .execute(conn)?;
    for (number, line) in (1_i64..).zip(lines) {
        diesel::insert_into(letter_lines::table)
            .values((
                letter_lines::letter_id.eq(id),
                letter_lines::line.eq(number),
                letter_lines::club_id.eq(club),
                letter_lines::member_id.eq(member),
                letter_lines::key.eq(&line.key),
                letter_lines::due_on.eq(line.due_on),
                letter_lines::text.eq(&line.text),
                letter_lines::path.eq(&line.path),
            ))
            .execute(conn)?;
    }
    Ok(id)
}

/// A letter on its way.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Letter {
    /// Which.
    pub id: LetterId,
    /// The club that writes.
    pub club: String,
    /// To whom: name and address.
    pub to: (String, String),
    /// For which day it was written.
    pub day: Day,
    /// When it was written.
    pub made_at: Instant,
    /// How often it was tried, this time included.
    pub tries: i64,
    /// The secret with which such letters are stopped.
    pub stop_secret: String,
    /// What it says.
    pub lines: Vec<Line>,
}

/// The longest waiting of the letters that are to be tried now; whoever has left the club gets none.
pub fn to_try(conn: &mut AnyConn, now: Instant, limit: i64) -> Result<Vec<Letter>, Failure> {
    type Row = (LetterId, String, (String, String), Day, Instant, i64, String);
    let rows: Vec<Row> = letters::table
        .inner_join(clubs::table.on(clubs::id.eq(letters::club_id)))
        .inner_join(members::table.on(members::id.eq(letters::member_id)))
        .inner_join(persons::table.on(persons::id.eq(members::person_id)))
        .inner_join(reach::table.on(reach::member_id.eq(letters::member_id)))
        .filter(letters::next_try_at.le(Some(now)).and(members::left_on.is_null()))
        .filter(persons::email.not_like(format!("%{NOWHERE}")))
        .order((letters::next_try_at, letters::id))
        .limit(limit)
        .select((
            letters::id,
            clubs::name,
            (members::name, persons::email),
            letters::day,
            letters::made_at,
            letters::tries,
            reach::stop_secret,
        ))
        .load(conn)?;
    let ids: Vec<LetterId> = rows.iter().map(|row| row.0).collect();
    let lines: Vec<(LetterId, String, Day, String, String)> = letter_lines::table
        .filter(letter_lines::letter_id.eq_any(padded(&ids)))
        .order((letter_lines::letter_id, letter_lines::line))
        .select((
            letter_lines::letter_id,
            letter_lines::key,
            letter_lines::due_on,
            letter_lines::text,
            letter_lines::path,
        ))
        .prepared()
        .load(conn)?;
    let of = |id: LetterId| {
        let own = lines.iter().filter(|line| line.0 == id).cloned();
        own.map(|(_, key, due_on, text, path)| Line { key, due_on, text, path }).collect()
    };
    let letter = |(id, club, to, day, made_at, tries, stop_secret): Row| Letter {
        lines: of(id),
        id,
        club,
        to,
        day,
        made_at,
        tries,
        stop_secret,
    };
    Ok(rows.into_iter().map(letter).collect())
}

/// A try begins; unless it is known how it ended, there is another at `next`.
pub fn trying(conn: &mut AnyConn, id: LetterId, next: Instant) -> Result<(), Failure> {
    diesel::update(letters::table.filter(letters::id.eq(id)))
        .set((letters::tries.eq(letters::tries + 1), letters::next_try_at.eq(Some(next))))
        .execute(conn)?;
    Ok(())
}

/// It was sent.
pub fn sent(conn: &mut AnyConn, id: LetterId, at: Instant) -> Result<(), Failure> {
    diesel::update(letters::table.filter(letters::id.eq(id)))
        .set((
            letters::sent_at.eq(Some(at)),
            letters::next_try_at.eq(None::<Instant>),
            letters::trouble.eq(""),
        ))
        .execute(conn)?;
    Ok(())
}

/// It was not sent, and why; given up where it is not tried again.
pub fn failed(conn: &mut AnyConn, id: LetterId, why: &str, give_up: bool) -> Result<(), Failure> {
    let own = letters::table.filter(letters::id.eq(id));
    diesel::update(own).set(letters::trouble.eq(why)).execute(conn)?;
    if give_up {
        diesel::update(own).set(letters::next_try_at.eq(None::<Instant>)).execute(conn)?;
    }
    Ok(())
}

/// The last letter to a member.
#[derive(Debug, Clone, PartialEq, Eq, Queryable)]
pub struct Last {
    /// For which day.
    pub day: Day,
    /// When it was sent.
    pub sent_at: Option<Instant>,
    /// When it is tried again.
    pub next_try_at: Option<Instant>,
    /// What kept it.
    pub trouble: String,
}

/// The last letter to a member, where there was one.
pub fn last(conn: &mut AnyConn, member: MemberId) -> Result<Option<Last>, Failure> {
    Ok(letters::table
        .filter(letters::member_id.eq(member))
        .order(letters::day.desc())
        .select((letters::day, letters::sent_at, letters::next_try_at, letters::trouble))
        .first(conn)
        .optional()?)
}

/// Forget letters that were made before an instant, the oldest five hundred at a time.
pub fn forget(conn: &mut AnyConn, before: Instant) -> Result<(), Failure> {
    loop {
        let oldest: Vec<(LetterId, Instant)> = letters::table
            .order(letters::id)
            .limit(500)
            .select((letters::id, letters::made_at))
            .load(conn)?;
        let old = oldest.iter().filter(|letter| letter.1 < before);
        let old: Vec<LetterId> = old.map(|letter| letter.0).collect();
        if old.is_empty() {
            return Ok(());
        }
        diesel::delete(letter_lines::table.filter(letter_lines::letter_id.eq_any(old.clone())))
            .execute(conn)?;
        diesel::delete(letters::table.filter(letters::id.eq_any(old))).execute(conn)?;
    }
}
