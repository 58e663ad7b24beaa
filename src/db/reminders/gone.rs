//! Reminders that no longer follow from the state of the cellar: taken away, and told to calendars for a while.

use std::collections::HashSet;

use diesel::prelude::*;

use crate::db::connection::AnyConn;
use crate::db::failure::Failure;
use crate::db::schema::{reminders, reminders_gone};
use crate::domain::reminders::NewReminder;
use crate::units::days::{Day, Instant};
use crate::units::ids::{ClubId, MemberId, ReminderId};

/// Take away the open reminders of a club that are not among those that follow from its state now.
pub fn keep(conn: &mut AnyConn, club: ClubId, due: &[NewReminder], at: Instant) -> Result<(), Failure> {
    type Open = (ReminderId, String, Option<MemberId>, Day, String, i64);
    let keys: HashSet<&str> = due.iter().map(|reminder| reminder.key.as_str()).collect();
    let open: Vec<Open> = reminders::table
        .filter(reminders::club_id.eq(club).and(reminders::done_at.is_null()))
        .select((
            reminders::id,
            reminders::key,
            reminders::member_id,
            reminders::due_on,
            reminders::text,
            reminders::revision,
        ))
        .load(conn)?;
    let over: Vec<Open> = open.into_iter().filter(|row| !keys.contains(row.1.as_str())).collect();
    for (id, key, member, due_on, text, revision) in &over {
        diesel::insert_into(reminders_gone::table)
            .values((
                reminders_gone::id.eq(id),
                reminders_gone::club_id.eq(club),
                reminders_gone::member_id.eq(member),
                reminders_gone::key.eq(key),
                reminders_gone::due_on.eq(due_on),
                reminders_gone::text.eq(text),
                reminders_gone::revision.eq(revision),
                reminders_gone::at.eq(at),
            ))
            .execute(conn)?;
    }
    for some in over.chunks(500) {
        let ids: Vec<ReminderId> = some.iter().map(|row| row.0).collect();
        diesel::delete(reminders::table.filter(reminders::id.eq_any(ids))).execute(conn)?;
    }
    Ok(())
}

/// A reminder that no longer followed.
#[derive(Debug, Clone, PartialEq, Eq, Queryable)]
pub struct Gone {
    /// What it was about.
    pub key: String,
    /// The day it was due.
    pub due_on: Day,
    /// What was to be done.
    pub text: String,
    /// How often it had been changed.
    pub revision: i64,
    /// Whose it was; nobody's was everybody's.
    pub member: Option<MemberId>,
}

/// Reminders that no longer followed since an instant, latest first.
pub fn gone_since(conn: &mut AnyConn, club: ClubId, at: Instant, limit: i64) -> Result<Vec<Gone>, Failure> {
    Ok(reminders_gone::table
        .filter(reminders_gone::club_id.eq(club).and(reminders_gone::at.ge(at)))
        .order(reminders_gone::at.desc())
        .limit(limit)
        .select((
            reminders_gone::key,
            reminders_gone::due_on,
            reminders_gone::text,
            reminders_gone::revision,
            reminders_gone::member_id,
        ))
        .load(conn)?)
}

/// Forget what no longer followed before an instant.
pub fn forget_gone(conn: &mut AnyConn, before: Instant) -> Result<(), Failure> {
    diesel::delete(reminders_gone::table.filter(reminders_gone::at.lt(before))).execute(conn)?;
    Ok(())
}
