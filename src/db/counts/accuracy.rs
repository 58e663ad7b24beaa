//! How right the books were, count by count, place by place and kind by kind; why they were not; what drifts; and when
//! each item is to be counted again. Sums of lines that were settled since a day: a fixed number of queries.

use std::collections::HashMap;

use diesel::prelude::*;
use diesel::sql_types::{BigInt, Date, Text, Timestamp};

use crate::db::connection::AnyConn;
use crate::db::failure::Failure;
use crate::domain::counts::accuracy::{Class, classes, drift, due_on};
use crate::domain::counts::{Reason, Tolerance};
use crate::units::days::{Day, Instant};
use crate::units::ids::{ClubId, CountId, ItemId};
use crate::units::money::Money;
use crate::units::quantity::{BaseUnit, Milli};

/// How right the books were in one group of lines.
#[derive(Debug, Clone, PartialEq, Eq, QueryableByName)]
pub struct Group {
    /// A count, a place or a kind.
    #[diesel(sql_type = Text)]
    pub name: String,
    /// Lines that were counted and settled.
    #[diesel(sql_type = BigInt)]
    pub lines: i64,
    /// Those in which the books were right, or within what the club lets pass.
    #[diesel(sql_type = BigInt)]
    pub agreed: i64,
    /// What all differences were worth, above and below taken together.
    #[diesel(sql_type = BigInt)]
    pub worth: Money,
    /// What they were worth added up.
    #[diesel(sql_type = BigInt)]
    pub net: Money,
}

/// By what lines are put together.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum By {
    /// By the count, the earliest first.
    Count,
    /// By place.
    Place,
    /// By kind of item.
    Kind,
}

/// How right the books were since a day, by one of these.
pub fn groups(
    conn: &mut AnyConn,
    club: ClubId,
    since: Instant,
    tolerance: Tolerance,
    by: By,
) -> Result<Vec<Group>, Failure> {
    let (name, order) = match by {
        By::Count => ("counts.code || ' ' || counts.title", "MIN(counts.id)"),
        By::Place => ("places.path", "MIN(places.folded)"),
        By::Kind => ("items.kind", "MIN(items.kind)"),
    };
    let found = diesel::sql_query(format!(
        "SELECT {name} AS name, COUNT(*) AS lines, CAST(SUM(CASE \
         WHEN count_lines.counted = count_lines.book THEN 1 \
         WHEN count_lines.unit = 'piece' AND ABS(count_lines.counted - count_lines.book) <= $1 THEN 1 \
         WHEN count_lines.unit <> 'piece' AND ABS(count_lines.counted - count_lines.book) * 1000 \
              <= $2 * count_lines.book THEN 1 ELSE 0 END) AS BIGINT) AS agreed, \
         CAST(COALESCE(SUM(ABS(count_lines.worth)), 0) AS BIGINT) AS worth, \
         CAST(COALESCE(SUM(count_lines.worth), 0) AS BIGINT) AS net \
         FROM count_lines JOIN counts ON counts.id = count_lines.count_id \
         JOIN places ON places.id = count_lines.place_id \
         JOIN lots ON lots.id = count_lines.lot_id JOIN items ON items.id = lots.item_id \
         WHERE count_lines.club_id = $3 AND count_lines.settled_at >= $4 \
         AND count_lines.outcome IN ('right', 'posted') GROUP BY {name} ORDER BY {order}"
    ))
    .bind::<BigInt, _>(i64::from(tolerance.pieces) * 1000)
    .bind::<BigInt, _>(i64::from(tolerance.permille))
    .bind::<BigInt, _>(club)
    .bind::<Timestamp, _>(since)
    .load(conn)?;
    Ok(found)
}

/// Differences of one reason.
#[derive(Debug, Clone, PartialEq, Eq, QueryableByName)]
pub struct OfReason {
    /// Why.
    #[diesel(sql_type = Text)]
    pub reason: Reason,
    /// In how many lines.
    #[diesel(sql_type = BigInt)]
    pub lines: i64,
    /// What they were worth added up.
    #[diesel(sql_type = BigInt)]
    pub net: Money,
}

/// What was put right since a day, by reason, the most frequent first.
pub fn reasons(conn: &mut AnyConn, club: ClubId, since: Instant) -> Result<Vec<OfReason>, Failure> {
    let found = diesel::sql_query(
        "SELECT reason, COUNT(*) AS lines, CAST(COALESCE(SUM(worth), 0) AS BIGINT) AS net FROM count_lines \
         WHERE club_id = $1 AND settled_at >= $2 AND outcome = 'posted' AND reason IS NOT NULL \
         GROUP BY reason ORDER BY COUNT(*) DESC, reason",
    )
    .bind::<BigInt, _>(club)
    .bind::<Timestamp, _>(since)
    .load(conn)?;
    Ok(found)
}

/// An item that goes off to the same side count by count.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Drifting {
    /// Which.
    pub item: ItemId,
    /// Its name.
    pub name: String,
    /// What it is counted in.
    pub unit: BaseUnit,
    /// By how much in all.
    pub off: Milli,
    /// In how many counts in a row.
    pub counts: usize,
}

/// Items that drift, by name.
pub fn drifting(conn: &mut AnyConn, club: ClubId, since: Instant) -> Result<Vec<Drifting>, Failure> {
    #[derive(QueryableByName)]
    struct Row {
        #[diesel(sql_type = BigInt)]
        item: ItemId,
        #[diesel(sql_type = Text)]
        name: String,
        #[diesel(sql_type = Text)]
        unit: BaseUnit,
        #[diesel(sql_type = BigInt)]
        #[allow(dead_code, reason = "the order of the rows")]
        taking: CountId,
        #[diesel(sql_type = BigInt)]
        off: Milli,
    }
    let rows: Vec<Row> = diesel::sql_query(
        "SELECT items.id AS item, items.name AS name, items.unit AS unit, count_lines.count_id AS taking, \
         CAST(SUM(count_lines.counted - count_lines.book) AS BIGINT) AS off FROM count_lines \
         JOIN lots ON lots.id = count_lines.lot_id JOIN items ON items.id = lots.item_id \
         WHERE count_lines.club_id = $1 AND count_lines.settled_at >= $2 \
         AND count_lines.outcome IN ('right', 'posted') \
         GROUP BY items.folded, items.id, items.name, items.unit, count_lines.count_id \
         ORDER BY items.folded, items.id, count_lines.count_id DESC",
    )
    .bind::<BigInt, _>(club)
    .bind::<Timestamp, _>(since)
    .load(conn)?;
    let of_item = |rows: &[Row]| {
        let differences: Vec<Milli> = rows.iter().map(|row| row.off).collect();
        let off = drift(&differences)?;
        let same = |row: &&Row| row.off != Milli::ZERO && (row.off > Milli::ZERO) == (off > Milli::ZERO);
        Some(Drifting {
            item: rows[0].item,
            name: rows[0].name.clone(),
            unit: rows[0].unit,
            off,
            counts: rows.iter().take_while(same).count(),
        })
    };
    Ok(rows.chunk_by(|one, next| one.item == next.item).filter_map(of_item).collect())
}

/// When an item in stock is to be counted.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Turn {
    /// Which.
    pub item: ItemId,
    /// Its name.
    pub name: String,
    /// How much it matters.
    pub class: Class,
    /// What was used of it in a year.
    pub used: Money,
    /// When it was counted last, if ever.
    pub counted_on: Option<Day>,
    /// By when it is to be counted.
    pub due_on: Day,
}

/// When each item of which something is there is to be counted: A before B before C, then by day.
pub fn turns(
    conn: &mut AnyConn,
    club: ClubId,
    zone: chrono_tz::Tz,
    today: Day,
) -> Result<Vec<Turn>, Failure> {
    #[derive(QueryableByName)]
    struct There {
        #[diesel(sql_type = BigInt)]
        item: ItemId,
        #[diesel(sql_type = Text)]
        name: String,
        #[diesel(sql_type = Date)]
        since: Day,
    }
    #[derive(QueryableByName)]
    struct Used {
        #[diesel(sql_type = BigInt)]
        item: ItemId,
        #[diesel(sql_type = BigInt)]
        cost: Money,
    }
    #[derive(QueryableByName)]
    struct Last {
        #[diesel(sql_type = BigInt)]
        item: ItemId,
        #[diesel(sql_type = Timestamp)]
        at: Instant,
    }
    let there: Vec<There> = diesel::sql_query(
        "SELECT items.id AS item, items.name AS name, MIN(accounts.opened_on) AS since FROM accounts \
         JOIN lots ON lots.id = accounts.lot_id JOIN items ON items.id = lots.item_id \
         WHERE accounts.club_id = $1 AND accounts.kind = 'stock' AND accounts.quantity > 0 \
         GROUP BY items.folded, items.id, items.name ORDER BY items.folded, items.id",
    )
    .bind::<BigInt, _>(club)
    .load(conn)?;
    // What went into a batch, into bottles or out of the door; moves and what counts put right are no use of it.
    let used: Vec<Used> = diesel::sql_query(
        "SELECT lots.item_id AS item, CAST(COALESCE(SUM(-postings.cost), 0) AS BIGINT) AS cost FROM postings \
         JOIN accounts ON accounts.id = postings.account_id JOIN entries ON entries.id = postings.entry_id \
         JOIN lots ON lots.id = accounts.lot_id \
         WHERE postings.club_id = $1 AND postings.day > $2 AND accounts.kind = 'stock' AND postings.quantity < 0 \
         AND entries.kind IN ('draw', 'pitch', 'bottling', 'withdrawal') GROUP BY lots.item_id",
    )
    .bind::<BigInt, _>(club)
    .bind::<Date, _>(today - chrono::Duration::days(365))
    .load(conn)?;
    let last: Vec<Last> = diesel::sql_query(
        "SELECT lots.item_id AS item, MAX(count_lines.settled_at) AS at FROM count_lines \
         JOIN lots ON lots.id = count_lines.lot_id WHERE count_lines.club_id = $1 \
         AND count_lines.outcome IN ('right', 'posted') GROUP BY lots.item_id",
    )
    .bind::<BigInt, _>(club)
    .load(conn)?;
    let used: HashMap<ItemId, Money> = used.into_iter().map(|row| (row.item, row.cost)).collect();
    let last: HashMap<ItemId, Instant> = last.into_iter().map(|row| (row.item, row.at)).collect();
    let worth: Vec<Money> =
        there.iter().map(|row| used.get(&row.item).copied().unwrap_or_default()).collect();
    let mut found: Vec<Turn> = there
        .into_iter()
        .zip(classes(&worth))
        .zip(worth)
        .map(|((row, class), used)| {
            let counted_on = last.get(&row.item).map(|at| crate::units::days::local_day(*at, zone));
            let due_on = due_on(class, counted_on.unwrap_or(row.since));
            Turn { item: row.item, name: row.name, class, used, counted_on, due_on }
        })
        .collect();
    found.sort_by_key(|turn| (turn.class, turn.due_on));
    Ok(found)
}
