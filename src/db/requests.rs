//! Requests that were carried out: the same key gives the same answer, and never a second entry.

use diesel::prelude::*;

use super::connection::AnyConn;
use super::failure::Failure;
use super::prepared::Prepare;
use super::schema::requests;
use crate::domain::members::Doer;
use crate::units::days::Instant;

/// What was answered to this key before: the fingerprint of what was asked, and the answer.
pub fn answered(conn: &mut AnyConn, doer: &Doer, key: &str) -> Result<Option<(String, String)>, Failure> {
    let found = requests::table.find((doer.club, doer.member, key));
    Ok(found.select((requests::fingerprint, requests::answer)).prepared().one(conn)?)
}

/// Keep an answer, in the transaction of what it answers.
pub fn keep(
    conn: &mut AnyConn,
    doer: &Doer,
    key: &str,
    fingerprint: &str,
    answer: &str,
) -> Result<(), Failure> {
    diesel::insert_into(requests::table)
        .values((
            requests::club_id.eq(doer.club),
            requests::member_id.eq(doer.member),
            requests::key.eq(key),
            requests::fingerprint.eq(fingerprint),
            requests::answer.eq(answer),
            requests::at.eq(doer.now),
        ))
        .prepared()
        .run(conn)?;
    Ok(())
}

/// Forget answers from before `before`: nobody sends those requests again.
pub fn forget(conn: &mut AnyConn, before: Instant) -> Result<usize, Failure> {
    Ok(diesel::delete(requests::table.filter(requests::at.lt(before))).execute(conn)?)
}
