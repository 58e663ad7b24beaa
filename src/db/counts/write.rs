//! What is written of a count.

use diesel::dsl::max;
use diesel::prelude::*;

use crate::db::connection::AnyConn;
use crate::db::failure::Failure;
use crate::db::schema::{count_lines, counts, tallies};
use crate::domain::counts::{Ending, Reason};
use crate::domain::members::Doer;
use crate::units::days::Instant;
use crate::units::ids::{ClubId, CountId, CountLineId, EntryId, LotId, MemberId, PlaceId, TallyId};
use crate::units::money::Money;
use crate::units::quantity::{BaseUnit, Milli};

/// A line to be counted.
#[derive(Debug, Clone)]
pub struct NewLine {
    /// Where.
    pub place: PlaceId,
    /// Which lot; nothing where the books do not know it.
    pub lot: Option<LotId>,
    /// What it is, where no lot is known.
    pub what: String,
    /// What it is counted in.
    pub unit: BaseUnit,
    /// It was not on the sheet.
    pub found: bool,
}

/// Keep a new count with its lines, numbered in their order.
pub fn add(
    conn: &mut AnyConn,
    doer: &Doer,
    id: CountId,
    (code, title): (&str, &str),
    lines: &[NewLine],
) -> Result<(), Failure> {
    diesel::insert_into(counts::table)
        .values((
            counts::id.eq(id),
            counts::club_id.eq(doer.club),
            counts::code.eq(code),
            counts::title.eq(title),
            counts::started_by.eq(doer.member),
            counts::started_at.eq(doer.now),
            counts::called_off_because.eq(""),
        ))
        .execute(conn)?;
    for (number, line) in (1_i64..).zip(lines) {
        insert(conn, doer.club, id, number, line)?;
    }
    Ok(())
}

fn insert(
    conn: &mut AnyConn,
    club: ClubId,
    count: CountId,
    number: i64,
    line: &NewLine,
) -> Result<CountLineId, Failure> {
    let id = CountLineId::fresh();
    diesel::insert_into(count_lines::table)
        .values((
            count_lines::id.eq(id),
            count_lines::club_id.eq(club),
            count_lines::count_id.eq(count),
            count_lines::number.eq(number),
            count_lines::place_id.eq(line.place),
            count_lines::lot_id.eq(line.lot),
            count_lines::what.eq(&line.what),
            count_lines::unit.eq(line.unit),
            count_lines::found.eq(line.found),
            count_lines::words.eq(""),
        ))
        .execute(conn)?;
    Ok(id)
}

/// Keep a line that was not on the sheet; gives its number too.
pub fn add_line(
    conn: &mut AnyConn,
    club: ClubId,
    count: CountId,
    line: &NewLine,
) -> Result<(CountLineId, u32), Failure> {
    let last: Option<i64> = count_lines::table
        .filter(count_lines::count_id.eq(count))
        .select(max(count_lines::number))
        .first(conn)?;
    let number = last.unwrap_or(0) + 1;
    let id = insert(conn, club, count, number, line)?;
    Ok((id, u32::try_from(number).unwrap_or(u32::MAX)))
}

/// What somebody counted.
#[derive(Debug, Clone)]
pub struct NewTally {
    /// Of which count.
    pub count: CountId,
    /// Of which line.
    pub line: CountLineId,
    /// How much.
    pub counted: Milli,
    /// What was weighed, and the vessel.
    pub weighed: Option<(Milli, Milli)>,
    /// A package of it is open.
    pub opened: bool,
    /// What was said to it.
    pub remark: String,
    /// When it was counted.
    pub at: Instant,
}

/// Keep what somebody counted.
pub fn add_tally(conn: &mut AnyConn, doer: &Doer, tally: &NewTally) -> Result<TallyId, Failure> {
    let id = TallyId::fresh();
    diesel::insert_into(tallies::table)
        .values((
            tallies::id.eq(id),
            tallies::club_id.eq(doer.club),
            tallies::count_id.eq(tally.count),
            tallies::line_id.eq(tally.line),
            tallies::member_id.eq(doer.member),
            tallies::counted.eq(tally.counted),
            tallies::gross.eq(tally.weighed.map(|weighed| weighed.0)),
            tallies::tare.eq(tally.weighed.map(|weighed| weighed.1)),
            tallies::opened.eq(tally.opened),
            tallies::remark.eq(&tally.remark),
            tallies::counted_at.eq(tally.at),
            tallies::recorded_at.eq(doer.now),
        ))
        .execute(conn)?;
    Ok(id)
}

/// The counting is over: differences are looked at.
pub fn end(conn: &mut AnyConn, id: CountId, by: MemberId, at: Instant) -> Result<(), Failure> {
    diesel::update(counts::table.filter(counts::id.eq(id)))
        .set((counts::ended_at.eq(Some(at)), counts::ended_by.eq(Some(by))))
        .execute(conn)?;
    Ok(())
}

/// Nothing of it is open any more.
pub fn close(conn: &mut AnyConn, id: CountId, at: Instant) -> Result<(), Failure> {
    diesel::update(counts::table.filter(counts::id.eq(id)))
        .set(counts::over_at.eq(Some(at)))
        .execute(conn)?;
    Ok(())
}

/// It came to nothing.
pub fn call_off(conn: &mut AnyConn, id: CountId, because: &str, at: Instant) -> Result<(), Failure> {
    diesel::update(counts::table.filter(counts::id.eq(id)))
        .set((counts::over_at.eq(Some(at)), counts::called_off_because.eq(because)))
        .execute(conn)?;
    Ok(())
}

/// Ask for lines to be counted again.
pub fn ask_again(
    conn: &mut AnyConn,
    lines: &[CountLineId],
    by: MemberId,
    at: Instant,
) -> Result<(), Failure> {
    for some in lines.chunks(500) {
        diesel::update(count_lines::table.filter(count_lines::id.eq_any(some.to_vec())))
            .set((
                count_lines::asked_at.eq(Some(at)),
                count_lines::asked_by.eq(Some(by)),
                count_lines::chosen_id.eq(None::<TallyId>),
            ))
            .execute(conn)?;
    }
    Ok(())
}

/// Say why a line differs.
pub fn explain(conn: &mut AnyConn, line: CountLineId, reason: Reason, words: &str) -> Result<(), Failure> {
    diesel::update(count_lines::table.filter(count_lines::id.eq(line)))
        .set((count_lines::reason.eq(Some(reason)), count_lines::words.eq(words)))
        .execute(conn)?;
    Ok(())
}

/// Say which of several counts stands.
pub fn choose(conn: &mut AnyConn, line: CountLineId, tally: TallyId) -> Result<(), Failure> {
    diesel::update(count_lines::table.filter(count_lines::id.eq(line)))
        .set(count_lines::chosen_id.eq(Some(tally)))
        .execute(conn)?;
    Ok(())
}

/// Say of which lot something is that was found.
pub fn name_lot(conn: &mut AnyConn, line: CountLineId, lot: LotId) -> Result<(), Failure> {
    diesel::update(count_lines::table.filter(count_lines::id.eq(line)))
        .set(count_lines::lot_id.eq(Some(lot)))
        .execute(conn)?;
    Ok(())
}

/// How a line ended.
pub fn settle(
    conn: &mut AnyConn,
    doer: &Doer,
    line: CountLineId,
    ending: Ending,
    against: Option<(Milli, Milli)>,
    posted: Option<(EntryId, Money)>,
) -> Result<(), Failure> {
    diesel::update(count_lines::table.filter(count_lines::id.eq(line)))
        .set((
            count_lines::outcome.eq(Some(ending)),
            count_lines::settled_at.eq(Some(doer.now)),
            count_lines::settled_by.eq(Some(doer.member)),
            count_lines::counted.eq(against.map(|against| against.0)),
            count_lines::book.eq(against.map(|against| against.1)),
            count_lines::entry_id.eq(posted.map(|posted| posted.0)),
            count_lines::worth.eq(posted.map(|posted| posted.1)),
        ))
        .execute(conn)?;
    Ok(())
}
