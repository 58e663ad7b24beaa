//! What stands where, now and on a past day, and the sums over it. All of it is read from what is there,
//! not from the history; only a past day is worked back from the postings since.

use std::collections::HashMap;

use diesel::backend::Backend;
use diesel::dsl::sql;
use diesel::expression::{AppearsOnTable, ValidGrouping};
use diesel::prelude::*;
use diesel::query_builder::{AstPass, QueryFragment, QueryId};
use diesel::sql_types::{BigInt, Bool};

use super::items::ItemRow;
use super::places as all_places;
use crate::db::buying::until;
use crate::db::connection::AnyConn;
use crate::db::failure::Failure;
use crate::db::prepared::{Prepare, padded};
use crate::db::schema::{accounts, bottlings, items, lots, openings, places, postings, upkeep};
use crate::domain::stock::{Item, ItemKind};
use crate::units::days::Day;
use crate::units::ids::{AccountId, BottlingId, ClubId, ItemId, LotId, PlaceId};
use crate::units::money::Money;
use crate::units::quantity::{BaseUnit, Milli};
use crate::units::text::folded;

/// One line of the stock list: a lot at a place.
#[derive(Debug, Clone, PartialEq)]
pub struct Stocked {
    /// The lot.
    pub lot: LotId,
    /// Its code.
    pub code: String,
    /// The item.
    pub item: ItemId,
    /// Its name.
    pub name: String,
    /// Its kind.
    pub kind: ItemKind,
    /// What it is counted in.
    pub unit: BaseUnit,
    /// Where it stands.
    pub place: PlaceId,
    /// The names of the place.
    pub path: String,
    /// How much is there.
    pub quantity: Milli,
    /// What it cost.
    pub cost: Money,
    /// Its last good day: its best-before day, or an earlier one since it is open.
    pub best_before: Option<Day>,
    /// When it was opened.
    pub opened_on: Option<Day>,
    /// What its item loses of its strength in a year, in thousandths.
    pub weakens: Option<u32>,
    /// When it came.
    pub received_on: Day,
    /// The bottling it is.
    pub bottling: Option<BottlingId>,
}

/// What to list.
#[derive(Debug, Clone, Default)]
pub struct StockFilter {
    /// Only these kinds; empty is all.
    pub kinds: Vec<ItemKind>,
    /// Only items whose folded name contains this.
    pub name: String,
    /// Only at this place or within it.
    pub place: Option<PlaceId>,
    /// Only these items; empty is all.
    pub items: Vec<ItemId>,
}

type Columns = (
    (LotId, String, ItemId, String, ItemKind, BaseUnit),
    (PlaceId, String, Milli, Money, Option<Day>, Day),
    Option<BottlingId>,
    (Option<Day>, Option<i64>, Option<i64>),
);

impl From<Columns> for Stocked {
    fn from(columns: Columns) -> Self {
        let (
            (lot, code, item, name, kind, unit),
            (place, path, quantity, cost, best_before, received_on),
            bottling,
            (opened_on, keeps_open, weakens),
        ) = columns;
        Self {
            lot,
            code,
            item,
            name,
            kind,
            unit,
            place,
            path,
            quantity,
            cost,
            best_before: until(best_before, opened_on, keeps_open),
            opened_on,
            weakens: weakens.and_then(|share| u32::try_from(share).ok()),
            received_on,
            bottling,
        }
    }
}

/// Written out, so that the database sees that its index over what is in stock fits: used-up lots are most of a long
/// history.
#[derive(Debug, Clone, Copy, QueryId, ValidGrouping)]
pub(in crate::db) struct InStock;

impl Expression for InStock {
    type SqlType = Bool;
}

impl<DB: Backend> QueryFragment<DB> for InStock {
    fn walk_ast<'b>(&'b self, mut pass: AstPass<'_, 'b, DB>) -> QueryResult<()> {
        pass.push_sql("accounts.kind = 'stock' AND accounts.quantity > 0");
        Ok(())
    }
}

impl<Source> SelectableExpression<Source> for InStock {}
impl<Source> AppearsOnTable<Source> for InStock {}

fn pattern(name: &str) -> String {
    format!("%{}%", name.replace(['%', '_', '\\'], ""))
}

/// Lots at places with their items, for selecting from.
macro_rules! lots_at_places {
    () => {
        accounts::table
            .inner_join(lots::table.on(lots::id.nullable().eq(accounts::lot_id)))
            .inner_join(items::table.on(items::id.eq(lots::item_id)))
            .inner_join(places::table.on(places::id.nullable().eq(accounts::place_id)))
            .left_join(bottlings::table.on(bottlings::lot_id.eq(lots::id)))
            .left_join(openings::table.on(openings::lot_id.eq(lots::id)))
            .left_join(upkeep::table.on(upkeep::item_id.eq(lots::item_id)))
    };
}

macro_rules! stocked_columns {
    () => {
        (
            (lots::id, lots::code, items::id, items::name, items::kind, items::unit),
            (
                places::id,
                places::path,
                accounts::quantity,
                accounts::cost,
                lots::best_before,
                lots::received_on,
            ),
            bottlings::id.nullable(),
            (
                openings::opened_on.nullable(),
                upkeep::keeps_open_days.nullable(),
                upkeep::weakens_permille.nullable(),
            ),
        )
    };
}

/// Narrows a boxed query over [`lots_at_places`] to what a filter asks for.
macro_rules! sifted {
    ($query:ident, $conn:ident, $club:ident, $filter:ident) => {
        if !$filter.kinds.is_empty() {
            $query = $query.filter(items::kind.eq_any($filter.kinds.clone()));
        }
        if !$filter.name.is_empty() {
            $query = $query.filter(items::folded.like(pattern(&$filter.name)));
        }
        if let Some(place) = $filter.place {
            let of = within($conn, $club, place)?;
            $query = $query.filter(accounts::place_id.eq_any(padded(&of).into_iter().map(Some)));
        }
        if !$filter.items.is_empty() {
            $query = $query.filter(items::id.eq_any(padded(&$filter.items)));
        }
    };
}

/// Stock as it stands, by item name, then lot.
pub fn stock(conn: &mut AnyConn, club: ClubId, filter: &StockFilter) -> Result<Vec<Stocked>, Failure> {
    let mut query = lots_at_places!()
        .filter(accounts::club_id.eq(club).and(InStock))
        .order((items::folded, lots::id, places::id))
        .select(stocked_columns!())
        .into_boxed();
    sifted!(query, conn, club, filter);
    let rows: Vec<Columns> = query.prepared().load(conn)?;
    Ok(rows.into_iter().map(Stocked::from).collect())
}

/// The items of which something is in stock, by name, after the item `after`; at most `limit`.
pub fn stocked_items(
    conn: &mut AnyConn,
    club: ClubId,
    filter: &StockFilter,
    after: Option<ItemId>,
    limit: i64,
) -> Result<Vec<ItemId>, Failure> {
    let mut query = lots_at_places!()
        .filter(accounts::club_id.eq(club).and(InStock))
        .order((items::folded, items::id))
        .limit(limit)
        .select((items::folded, items::id))
        .distinct()
        .into_boxed();
    sifted!(query, conn, club, filter);
    if let Some(after) = after {
        let name: String = items::table
            .filter(items::club_id.eq(club).and(items::id.eq(after)))
            .select(items::folded)
            .first(conn)?;
        query = query.filter(items::folded.gt(name));
    }
    let rows: Vec<(String, ItemId)> = query.prepared().load(conn)?;
    Ok(rows.into_iter().map(|row| row.1).collect())
}

/// A place and all places within it.
pub fn within(conn: &mut AnyConn, club: ClubId, place: PlaceId) -> Result<Vec<PlaceId>, Failure> {
    let all = all_places(conn, club)?;
    let mut found = vec![place];
    let mut at = 0;
    while at < found.len() {
        let outer = found[at];
        found.extend(all.iter().filter(|inner| inner.within == Some(outer)).map(|inner| inner.id));
        at += 1;
    }
    Ok(found)
}

/// Stock as it stood at the end of a past day, by item name, then lot: what stands now, less what was
/// posted since.
pub fn stock_on(conn: &mut AnyConn, club: ClubId, day: Day) -> Result<Vec<Stocked>, Failure> {
    let since = moved_since(conn, club, day)?;
    let touched: Vec<AccountId> = since.keys().copied().collect();
    let of_club =
        || lots_at_places!().filter(accounts::club_id.eq(club)).select((accounts::id, stocked_columns!()));
    let mut rows: Vec<(AccountId, Columns)> = of_club().filter(InStock).load(conn)?;
    for some in touched.chunks(500) {
        let emptied = of_club().filter(accounts::kind.eq("stock").and(accounts::quantity.eq(Milli::ZERO)));
        rows.extend(
            emptied
                .filter(accounts::id.eq_any(padded(some)))
                .prepared()
                .load::<(AccountId, Columns)>(conn)?,
        );
    }
    let mut found: Vec<Stocked> = rows
        .into_iter()
        .map(|(account, columns)| {
            let (moved, spent) = since.get(&account).copied().unwrap_or_default();
            let now = Stocked::from(columns);
            Stocked { quantity: now.quantity - moved, cost: now.cost - spent, ..now }
        })
        .filter(|then| then.quantity > Milli::ZERO)
        .collect();
    found.sort_by_cached_key(|line| (folded(&line.name), line.lot, line.place));
    Ok(found)
}

/// What was posted to each account after a day.
fn moved_since(
    conn: &mut AnyConn,
    club: ClubId,
    day: Day,
) -> Result<HashMap<AccountId, (Milli, Money)>, Failure> {
    let rows: Vec<(AccountId, Milli, Money)> = postings::table
        .filter(postings::club_id.eq(club).and(postings::day.gt(day)))
        .group_by(postings::account_id)
        .select((
            postings::account_id,
            sql::<BigInt>("CAST(COALESCE(SUM(postings.quantity), 0) AS BIGINT)"),
            sql::<BigInt>("CAST(COALESCE(SUM(postings.cost), 0) AS BIGINT)"),
        ))
        .load(conn)?;
    Ok(rows.into_iter().map(|(account, quantity, cost)| (account, (quantity, cost))).collect())
}

/// How many lots have something left, wherever they stand.
pub fn lots_in_stock(conn: &mut AnyConn, club: ClubId) -> Result<usize, Failure> {
    let lots: i64 = accounts::table
        .filter(accounts::club_id.eq(club).and(InStock))
        .select(sql::<BigInt>("COUNT(DISTINCT accounts.lot_id)"))
        .prepared()
        .get_result(conn)?;
    Ok(usize::try_from(lots).unwrap_or_default())
}

/// Value of all stock now, by kind of item.
pub fn value_by_kind(conn: &mut AnyConn, club: ClubId) -> Result<Vec<(ItemKind, Money)>, Failure> {
    let rows: Vec<(ItemKind, Money)> = accounts::table
        .inner_join(lots::table.on(lots::id.nullable().eq(accounts::lot_id)))
        .inner_join(items::table.on(items::id.eq(lots::item_id)))
        .filter(accounts::club_id.eq(club).and(InStock))
        .select((items::kind, accounts::cost))
        .prepared()
        .load(conn)?;
    Ok(ItemKind::ALL
        .into_iter()
        .map(|kind| (kind, rows.iter().filter(|row| row.0 == kind).map(|row| row.1).sum()))
        .collect())
}

/// What stands at one place itself, not at those within it.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq)]
pub struct Stands {
    /// Lots of supplies and by-products.
    pub lots: i64,
    /// Bottles of drinks.
    pub bottles: i64,
}

/// What stands at each place where something does.
pub fn standing(conn: &mut AnyConn, club: ClubId) -> Result<HashMap<PlaceId, Stands>, Failure> {
    let rows: Vec<(PlaceId, ItemKind, Milli)> = accounts::table
        .inner_join(lots::table.on(lots::id.nullable().eq(accounts::lot_id)))
        .inner_join(items::table.on(items::id.eq(lots::item_id)))
        .filter(accounts::club_id.eq(club).and(InStock))
        .select((accounts::place_id.assume_not_null(), items::kind, accounts::quantity))
        .prepared()
        .load(conn)?;
    let mut found: HashMap<PlaceId, Stands> = HashMap::new();
    for (place, kind, quantity) in rows {
        let standing = found.entry(place).or_default();
        if kind == ItemKind::Drink {
            standing.bottles += quantity.get() / 1000;
        } else {
            standing.lots += 1;
        }
    }
    Ok(found)
}

/// Lots with something left whose last good day is `day` or before, soonest first; as many as stand there now.
pub fn expiring(conn: &mut AnyConn, club: ClubId, day: Day) -> Result<Vec<Stocked>, Failure> {
    let rows: Vec<Columns> = lots_at_places!()
        .filter(accounts::club_id.eq(club).and(InStock))
        .filter(lots::best_before.le(day).or(openings::lot_id.nullable().is_not_null()))
        .select(stocked_columns!())
        .prepared()
        .load(conn)?;
    let mut found: Vec<Stocked> = rows.into_iter().map(Stocked::from).collect();
    found.retain(|line| line.best_before.is_some_and(|until| until <= day));
    found.sort_by_key(|line| (line.best_before, line.lot, line.place));
    Ok(found)
}

/// Items of which less is left than they should be, by name, with what is left.
pub fn low(conn: &mut AnyConn, club: ClubId) -> Result<Vec<(ItemId, Item, Milli)>, Failure> {
    let watched: Vec<(ItemId, ItemRow)> = items::table
        .filter(items::club_id.eq(club).and(items::low_at.is_not_null()))
        .order(items::folded)
        .select((items::id, ItemRow::as_select()))
        .load(conn)?;
    let ids: Vec<ItemId> = watched.iter().map(|row| row.0).collect();
    let left: Vec<(ItemId, Milli)> = accounts::table
        .inner_join(lots::table.on(lots::id.nullable().eq(accounts::lot_id)))
        .filter(accounts::club_id.eq(club).and(InStock))
        .filter(lots::item_id.eq_any(padded(&ids)))
        .select((lots::item_id, accounts::quantity))
        .prepared()
        .load(conn)?;
    Ok(watched
        .into_iter()
        .map(|(id, row)| (id, Item::from(row)))
        .filter_map(|(id, item)| {
            let there: Milli = left.iter().filter(|line| line.0 == id).map(|line| line.1).sum();
            item.low_at.is_some_and(|low| there < low).then_some((id, item, there))
        })
        .collect())
}
