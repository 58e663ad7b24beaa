//! What came to and went from the stock of each item in some days, so that what was there before, with all that
//! moved, is what was there after. Moves between places cancel out.

use std::collections::BTreeMap;

use diesel::prelude::*;
use diesel::sql_types::{BigInt, Date, Nullable, Text};

use super::{Value, value, value_since};
use crate::db::connection::AnyConn;
use crate::db::failure::Failure;
use crate::db::stock;
use crate::domain::books::{EntryKind, Holding};
use crate::domain::reports::Span;
use crate::domain::stock::{Item, ItemKind};
use crate::units::days::Day;
use crate::units::ids::{ClubId, ItemId};
use crate::units::money::Money;
use crate::units::quantity::Milli;

/// The stock of one item over some days.
#[derive(Debug, Clone, PartialEq)]
pub struct Flow {
    /// Which.
    pub id: ItemId,
    /// What it is.
    pub item: Item,
    /// Before the first day.
    pub before: Holding,
    /// What moved, by the kind of the entry; a reversal counts to what it took back.
    pub moved: Vec<(EntryKind, Holding)>,
    /// At the end of the last day.
    pub after: Holding,
}

impl Flow {
    /// What entries of these kinds brought (+) or took (−).
    pub fn by(&self, kinds: &[EntryKind]) -> Holding {
        let of = self.moved.iter().filter(|moved| kinds.contains(&moved.0));
        of.fold(Holding::default(), |sum, moved| plus(sum, moved.1))
    }
}

fn plus(one: Holding, other: Holding) -> Holding {
    Holding { quantity: one.quantity + other.quantity, cost: one.cost + other.cost }
}

fn less(one: Holding, other: Holding) -> Holding {
    Holding { quantity: one.quantity - other.quantity, cost: one.cost - other.cost }
}

#[derive(QueryableByName)]
struct Row {
    #[diesel(sql_type = BigInt)]
    item: ItemId,
    #[diesel(sql_type = Text)]
    kind: EntryKind,
    #[diesel(sql_type = BigInt)]
    quantity: Milli,
    #[diesel(sql_type = BigInt)]
    cost: Money,
}

impl Row {
    fn holding(&self) -> Holding {
        Holding { quantity: self.quantity, cost: self.cost }
    }
}

const MOVED: &str = "SELECT lots.item_id AS item, COALESCE(meant.kind, entries.kind) AS kind, \
     CAST(SUM(postings.quantity) AS BIGINT) AS quantity, CAST(SUM(postings.cost) AS BIGINT) AS cost \
     FROM postings JOIN accounts ON accounts.id = postings.account_id \
     JOIN lots ON lots.id = accounts.lot_id JOIN entries ON entries.id = postings.entry_id \
     LEFT JOIN entries meant ON meant.id = entries.reverses \
     WHERE postings.club_id = $1 AND postings.day >= $2 AND postings.day <= $3 AND accounts.kind = 'stock' \
     GROUP BY lots.item_id, COALESCE(meant.kind, entries.kind)";
const SINCE: &str = "SELECT lots.item_id AS item, 'move' AS kind, \
     CAST(SUM(postings.quantity) AS BIGINT) AS quantity, CAST(SUM(postings.cost) AS BIGINT) AS cost \
     FROM postings JOIN accounts ON accounts.id = postings.account_id JOIN lots ON lots.id = accounts.lot_id \
     WHERE postings.club_id = $1 AND postings.day > $2 AND accounts.kind = 'stock' GROUP BY lots.item_id";
const NOW: &str = "SELECT lots.item_id AS item, 'move' AS kind, \
     CAST(SUM(accounts.quantity) AS BIGINT) AS quantity, CAST(SUM(accounts.cost) AS BIGINT) AS cost \
     FROM accounts JOIN lots ON lots.id = accounts.lot_id \
     WHERE accounts.club_id = $1 AND accounts.kind = 'stock' AND accounts.quantity > 0 GROUP BY lots.item_id";

/// Items of which something was there or moved, by kind, then name. What there was on the last day is what there is now
/// less what was posted since, as everywhere.
pub fn flows(conn: &mut AnyConn, club: ClubId, span: Span) -> Result<Vec<Flow>, Failure> {
    let moved = diesel::sql_query(MOVED).bind::<BigInt, _>(club);
    let moved: Vec<Row> = moved.bind::<Date, _>(span.first).bind::<Date, _>(span.last).load(conn)?;
    let since = diesel::sql_query(SINCE).bind::<BigInt, _>(club);
    let since: Vec<Row> = since.bind::<Date, _>(span.last).load(conn)?;
    let now: Vec<Row> = diesel::sql_query(NOW).bind::<BigInt, _>(club).load(conn)?;
    let mut after: BTreeMap<ItemId, Holding> = now.iter().map(|row| (row.item, row.holding())).collect();
    for row in &since {
        let held = after.entry(row.item).or_default();
        *held = less(*held, row.holding());
    }
    let mut by_item: BTreeMap<ItemId, Vec<(EntryKind, Holding)>> = BTreeMap::new();
    for row in &moved {
        by_item.entry(row.item).or_default().push((row.kind, row.holding()));
    }
    let mut ids: Vec<ItemId> = after.keys().chain(by_item.keys()).copied().collect();
    ids.sort_unstable();
    ids.dedup();
    let mut items = stock::items_of(conn, club, &ids)?;
    let flow = |id: ItemId| {
        let moved = by_item.remove(&id).unwrap_or_default();
        let after = after.get(&id).copied().unwrap_or_default();
        let before = moved.iter().fold(after, |held, moved| less(held, moved.1));
        if moved.is_empty() && after == Holding::default() {
            return None;
        }
        Some(Flow { id, item: items.remove(&id)?, before, moved, after })
    };
    let mut found: Vec<Flow> = ids.into_iter().filter_map(flow).collect();
    let place = |kind: ItemKind| ItemKind::ALL.iter().position(|known| *known == kind);
    found.sort_by_cached_key(|flow| (place(flow.item.kind), crate::units::text::folded(&flow.item.name)));
    Ok(found)
}

#[derive(QueryableByName)]
struct DayRow {
    #[diesel(sql_type = Date)]
    day: Day,
    /// The kind of item; none for batches.
    #[diesel(sql_type = Nullable<Text>)]
    kind: Option<ItemKind>,
    #[diesel(sql_type = BigInt)]
    cost: Money,
}

/// What the cellar was worth at the end of each of these days, which are in their order.
pub fn value_at(conn: &mut AnyConn, club: ClubId, days: &[Day]) -> Result<Vec<Value>, Failure> {
    let (Some(first), Some(last)) = (days.first(), days.last()) else { return Ok(Vec::new()) };
    let rows: Vec<DayRow> = diesel::sql_query(
        "SELECT postings.day AS day, items.kind AS kind, CAST(SUM(postings.cost) AS BIGINT) AS cost FROM postings \
         JOIN accounts ON accounts.id = postings.account_id \
         LEFT JOIN lots ON lots.id = accounts.lot_id LEFT JOIN items ON items.id = lots.item_id \
         WHERE postings.club_id = $1 AND postings.day > $2 AND postings.day <= $3 \
         AND accounts.kind IN ('stock', 'batch') GROUP BY postings.day, items.kind",
    )
    .bind::<BigInt, _>(club)
    .bind::<Date, _>(*first)
    .bind::<Date, _>(*last)
    .load(conn)?;
    let end = value(conn, club)?.less(&value_since(conn, club, *last)?);
    let at = |day: &Day| {
        let of = |kind: Option<ItemKind>| -> Money {
            rows.iter().filter(|row| row.day > *day && row.kind == kind).map(|row| row.cost).sum()
        };
        let stock = ItemKind::ALL.into_iter().map(|kind| (kind, of(Some(kind)))).collect();
        end.clone().less(&Value { stock, batches: of(None) })
    };
    Ok(days.iter().map(at).collect())
}
