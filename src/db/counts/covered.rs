//! What is covered for whoever counts: the lines of counts that are not over.

use diesel::prelude::*;

use super::{Head, count_of, counters_of, hands};
use crate::db::connection::AnyConn;
use crate::db::failure::Failure;
use crate::db::prepared::{Prepare, padded};
use crate::db::schema::{count_lines, counts, lots, members};
use crate::domain::counts::covered::Covered;
use crate::domain::members::Doer;
use crate::units::ids::{CountId, ItemId, LotId, PlaceId};

/// What is covered for this member; where no count is open, one short question is asked.
pub fn covered(conn: &mut AnyConn, doer: &Doer) -> Result<Covered, Failure> {
    let of_club = counts::club_id.eq(doer.club).and(counts::over_at.is_null());
    let heads: Vec<Head> = told_counts!().filter(of_club).order(counts::id).load(conn)?;
    if heads.is_empty() {
        return Ok(Covered::default());
    }
    let ids: Vec<CountId> = heads.iter().map(|head| head.0).collect();
    let (hands, mut counters) = (hands(conn, doer.club)?, counters_of(conn, &ids)?);
    let known = heads.into_iter().map(|head| {
        let counters = counters.remove(&head.0).unwrap_or_default();
        count_of(head, counters, &hands)
    });
    let covering: Vec<_> = known.filter(|count| count.covers_for(doer)).collect();
    if covering.is_empty() {
        return Ok(Covered::default());
    }
    let ids: Vec<CountId> = covering.iter().map(|count| count.id).collect();
    let rows: Vec<(LotId, PlaceId, ItemId)> = count_lines::table
        .inner_join(lots::table.on(lots::id.nullable().eq(count_lines::lot_id)))
        .filter(count_lines::count_id.eq_any(padded(&ids)).and(count_lines::settled_at.is_null()))
        .select((lots::id, count_lines::place_id, lots::item_id))
        .prepared()
        .load(conn)?;
    Ok(Covered {
        counts: covering.into_iter().map(|count| count.code).collect(),
        lines: rows.iter().map(|row| (row.0, row.1)).collect(),
        items: rows.iter().map(|row| row.2).collect(),
    })
}
