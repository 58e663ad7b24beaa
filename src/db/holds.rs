//! Lots that are held back.

use diesel::prelude::*;

use super::connection::AnyConn;
use super::failure::Failure;
use super::prepared::{Prepare, padded};
use super::schema::{clubs, holds, lots, members};
use super::trace::{Node, Way, walk};
use crate::domain::holds::Hold;
use crate::domain::members::Doer;
use crate::units::days::{Instant, local_day};
use crate::units::ids::{BatchId, ClubId, HoldId, LotId, MemberId};

type Row = (LotId, String, String, MemberId, String, Instant);

macro_rules! open_holds {
    ($club:expr) => {
        holds::table
            .inner_join(lots::table.on(lots::id.eq(holds::lot_id)))
            .inner_join(members::table.on(members::id.eq(holds::held_by)))
            .filter(holds::club_id.eq($club).and(holds::released_at.is_null()))
            .order(holds::id)
            .select((holds::lot_id, lots::code, holds::reason, holds::held_by, members::name, holds::held_at))
    };
}

fn told(conn: &mut AnyConn, club: ClubId, rows: Vec<Row>) -> Result<Vec<Hold>, Failure> {
    if rows.is_empty() {
        return Ok(Vec::new());
    }
    let zone: String = clubs::table.filter(clubs::id.eq(club)).select(clubs::time_zone).first(conn)?;
    let zone = zone.parse().map_err(|_| Failure::Fault(format!("there is no time zone “{zone}”")))?;
    let hold = |(lot, code, reason, held_by, by, at)| Hold {
        lot,
        code,
        reason,
        held_by,
        by,
        since: local_day(at, zone),
    };
    Ok(rows.into_iter().map(hold).collect())
}

/// Those of these lots that are held back.
pub fn of_lots(conn: &mut AnyConn, club: ClubId, of: &[LotId]) -> Result<Vec<Hold>, Failure> {
    let mut found = Vec::new();
    for some in of.chunks(500) {
        let rows: Vec<Row> =
            open_holds!(club).filter(holds::lot_id.eq_any(padded(some))).prepared().all(conn)?;
        found.extend(told(conn, club, rows)?);
    }
    Ok(found)
}

/// The most holds that are read at once.
pub const MOST: i64 = 5000;

/// All that is held back, the oldest hold first.
pub fn all(conn: &mut AnyConn, club: ClubId) -> Result<Vec<Hold>, Failure> {
    let rows: Vec<Row> = open_holds!(club).limit(MOST).load(conn)?;
    told(conn, club, rows)
}

/// What went into a batch, by whatever way, and is held back. Where nothing is held, nothing is followed.
pub fn above(conn: &mut AnyConn, club: ClubId, batch: BatchId) -> Result<Vec<Hold>, Failure> {
    let held = all(conn, club)?;
    if held.is_empty() {
        return Ok(held);
    }
    let reached = walk(conn, Node::Batch(batch), Way::Up, usize::MAX)?;
    Ok(held.into_iter().filter(|hold| reached.nodes.contains(&Node::Lot(hold.lot))).collect())
}

/// Hold a lot back that nobody holds.
pub fn add(
    conn: &mut AnyConn,
    doer: &Doer,
    lot: LotId,
    because_of: Option<LotId>,
    reason: &str,
) -> Result<(), Failure> {
    diesel::insert_into(holds::table)
        .values((
            holds::id.eq(HoldId::fresh()),
            holds::club_id.eq(doer.club),
            holds::lot_id.eq(lot),
            holds::because_of.eq(because_of),
            holds::reason.eq(reason),
            holds::held_by.eq(doer.member),
            holds::held_at.eq(doer.now),
            holds::released_because.eq(""),
        ))
        .execute(conn)?;
    Ok(())
}

/// The lots that are held because of this one.
pub fn because_of(conn: &mut AnyConn, club: ClubId, lot: LotId) -> Result<Vec<LotId>, Failure> {
    Ok(holds::table
        .filter(holds::club_id.eq(club).and(holds::because_of.eq(Some(lot))))
        .filter(holds::released_at.is_null())
        .select(holds::lot_id)
        .load(conn)?)
}

/// Release lots; what was said stays.
pub fn release(conn: &mut AnyConn, doer: &Doer, of: &[LotId], because: &str) -> Result<(), Failure> {
    for some in of.chunks(500) {
        let open = holds::table
            .filter(holds::club_id.eq(doer.club).and(holds::lot_id.eq_any(padded(some))))
            .filter(holds::released_at.is_null());
        diesel::update(open)
            .set((
                holds::released_at.eq(Some(doer.now)),
                holds::released_by.eq(Some(doer.member)),
                holds::released_because.eq(because),
            ))
            .execute(conn)?;
    }
    Ok(())
}

/// A hold that was.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Held {
    /// Why it was held.
    pub reason: String,
    /// By whom.
    pub by: String,
    /// Since when.
    pub at: Instant,
    /// When it was released, by whom and why; none while it is held.
    pub released: Option<(Instant, String, String)>,
}

/// The holds of a lot, the latest first.
pub fn history(conn: &mut AnyConn, lot: LotId) -> Result<Vec<Held>, Failure> {
    type Past = (String, String, Instant, Option<Instant>, Option<String>, String);
    let releasers = diesel::alias!(members as releasers);
    let rows: Vec<Past> = holds::table
        .inner_join(members::table.on(members::id.eq(holds::held_by)))
        .left_join(releasers.on(releasers.field(members::id).nullable().eq(holds::released_by)))
        .filter(holds::lot_id.eq(lot))
        .order(holds::id.desc())
        .limit(20)
        .select((
            holds::reason,
            members::name,
            holds::held_at,
            holds::released_at,
            releasers.field(members::name).nullable(),
            holds::released_because,
        ))
        .load(conn)?;
    Ok(rows
        .into_iter()
        .map(|(reason, by, at, released_at, released_by, because)| Held {
            reason,
            by,
            at,
            released: released_at.map(|at| (at, released_by.unwrap_or_default(), because)),
        })
        .collect())
}
