//! The private address of a member's calendar, and what stands in it.

use std::collections::HashSet;

use chrono::Duration;
use diesel::prelude::*;

use super::connection::AnyConn;
use super::failure::Failure;
use super::schema::{batches, bottlings, members, reach, tasting_sheets, tastings};
use super::{bottles, reminders};
use crate::db::prepared::{Prepare, padded};
use crate::domain::calendars::{AHEAD_DAYS, Event, MOST, OFF_DAYS};
use crate::domain::members::Doer;
use crate::domain::reminders as due;
use crate::units::days::{Day, Instant};
use crate::units::ids::{BottlingId, MemberId, TastingId};

/// Keep another address of a member's calendar, or none.
pub fn set(conn: &mut AnyConn, member: MemberId, hash: Option<&str>, at: Instant) -> Result<(), Failure> {
    diesel::update(reach::table.filter(reach::member_id.eq(member)))
        .set((reach::calendar_hash.eq(hash), reach::calendar_since.eq(hash.map(|_| at))))
        .execute(conn)?;
    Ok(())
}

/// Since when a member's calendar has an address.
pub fn since(conn: &mut AnyConn, member: MemberId) -> Result<Option<Instant>, Failure> {
    let found: Option<Option<Instant>> = reach::table
        .filter(reach::member_id.eq(member))
        .select(reach::calendar_since)
        .first(conn)
        .optional()?;
    Ok(found.flatten())
}

/// Whose calendar has this address, while they are in the club; and the hour of their letters.
pub fn owner(conn: &mut AnyConn, hash: &str) -> Result<Option<(MemberId, Option<i64>)>, Failure> {
    Ok(reach::table
        .inner_join(members::table.on(members::id.eq(reach::member_id)))
        .filter(reach::calendar_hash.eq(hash).and(members::left_on.is_null()))
        .select((reach::member_id, reach::letter_hour))
        .first(conn)
        .optional()?)
}

/// What stands in a member's calendar.
pub fn events(conn: &mut AnyConn, doer: &Doer) -> Result<Vec<Event>, Failure> {
    let (club, today, since) = (doer.club, doer.today(), doer.now - Duration::days(OFF_DAYS));
    let own = |member: Option<MemberId>| member.is_none_or(|member| member == doer.member);
    let mut found = Vec::new();
    let open = reminders::part(conn, club, None, None, MOST)?;
    let done = reminders::done_since(conn, club, since, MOST)?;
    let mut known = HashSet::new();
    for reminder in open.into_iter().chain(done) {
        known.insert(reminder.key.clone());
        if !own(reminder.member.as_ref().map(|member| member.0)) {
            continue;
        }
        let about = reminder.batch.as_ref().map(|batch| format!(": {}", batch.2)).unwrap_or_default();
        found.push(Event {
            key: reminder.key,
            day: reminder.due_on,
            revision: reminder.revision,
            text: format!("{}{about}", reminder.text),
            path: format!("/reminders/{}", reminder.id),
            off: reminder.done_at.is_some(),
        });
    }
    for gone in reminders::gone_since(conn, club, since, MOST)? {
        if own(gone.member) {
            found.push(Event {
                key: gone.key,
                day: gone.due_on,
                revision: gone.revision + 1,
                text: gone.text,
                path: "/reminders".to_owned(),
                off: true,
            });
        }
    }
    ages(conn, doer, &known, &mut found)?;
    sittings(conn, doer, today - Duration::days(OFF_DAYS), &mut found)?;
    Ok(found)
}

/// Tasting ages to come for which there is no reminder yet.
fn ages(
    conn: &mut AnyConn,
    doer: &Doer,
    known: &HashSet<String>,
    found: &mut Vec<Event>,
) -> Result<(), Failure> {
    let today = doer.today();
    let falling = bottles::ages_falling(conn, doer.club, today, today + Duration::days(AHEAD_DAYS))?;
    let ids: Vec<BottlingId> = falling.iter().map(|row| row.0).collect();
    let mut names: Vec<(BottlingId, String)> = Vec::new();
    for some in ids.chunks(500) {
        let rows: Vec<(BottlingId, String)> = bottlings::table
            .inner_join(batches::table.on(batches::id.eq(bottlings::batch_id)))
            .filter(bottlings::id.eq_any(padded(some)))
            .select((bottlings::id, batches::name))
            .prepared()
            .load(conn)?;
        names.extend(rows);
    }
    names.sort_by_key(|row| row.0);
    for (bottling, age, falls_on) in falling {
        let reminder = due::tasting(bottling, age, falls_on);
        if known.contains(&reminder.key) {
            continue;
        }
        let at = names.binary_search_by_key(&bottling, |row| row.0);
        let name = at.ok().and_then(|at| names.get(at)).map(|row| format!(": {}", row.1)).unwrap_or_default();
        found.push(Event {
            key: reminder.key,
            day: falls_on,
            revision: 0,
            text: format!("{}{name}", reminder.text),
            path: format!("/bottles/{bottling}"),
            off: false,
        });
    }
    Ok(())
}

/// Tastings to which a member is invited.
fn sittings(conn: &mut AnyConn, doer: &Doer, from: Day, found: &mut Vec<Event>) -> Result<(), Failure> {
    type Row = (TastingId, String, String, Day, Option<Instant>);
    let rows: Vec<Row> = tastings::table
        .inner_join(tasting_sheets::table.on(tasting_sheets::tasting_id.eq(tastings::id)))
        .filter(tastings::club_id.eq(doer.club).and(tastings::day.ge(from)))
        .filter(tasting_sheets::member_id.eq(doer.member))
        .order(tastings::day)
        .limit(MOST)
        .select((tastings::id, tastings::title, tastings::place, tastings::day, tastings::called_off_at))
        .load(conn)?;
    for (id, title, place, day, off) in rows {
        let at = if place.is_empty() { String::new() } else { format!(", {place}") };
        found.push(Event {
            key: format!("sitting:{id}"),
            day,
            revision: i64::from(off.is_some()),
            text: format!("Tasting: {title}{at}"),
            path: format!("/tastings/{id}"),
            off: off.is_some(),
        });
    }
    Ok(())
}
