//! What is known of items that may have to be bought: how they are bought, what was used of them, what is free to use,
//! what plans want, what came last. A fixed number of queries, however many items there are; use is read by an index
//! over the days that are looked at.

pub mod waste;

use std::collections::{BTreeMap, HashMap, HashSet};

use diesel::prelude::*;
use diesel::sql_types::{BigInt, Date, Nullable};

use super::connection::AnyConn;
use super::failure::Failure;
use super::prepared::{Prepare, padded};
use super::schema::{accounts, batches, lots, openings, postings, substitutes, upkeep};
use super::{holds, plans, stock};
use crate::domain::buying::instead::Substitute;
use crate::domain::buying::{Bought, Known, LOOKED_BACK_DAYS, Opening, Point, Upkeep, Use, good_until};
use crate::domain::members::Doer;
use crate::domain::stock::{Item, ItemKind};
use crate::units::days::Day;
use crate::units::ids::{BatchId, ClubId, ItemId, LotId};
use crate::units::money::Money;
use crate::units::quantity::Milli;

/// The columns of `upkeep` that an [`Upkeep`] is read from.
macro_rules! kept {
    () => {
        (upkeep::lead_days, upkeep::cover_days, upkeep::keeps_open_days, upkeep::weakens_permille)
    };
}

/// How an item is bought.
pub fn upkeep(conn: &mut AnyConn, club: ClubId, item: ItemId) -> Result<Upkeep, Failure> {
    let found: Option<Kept> = upkeep::table
        .filter(upkeep::item_id.eq(item).and(upkeep::club_id.eq(club)))
        .select(kept!())
        .first(conn)
        .optional()?;
    let substitutes = substitutes(conn, club, Some(item))?.into_iter().map(|row| row.1).collect();
    Ok(Upkeep { substitutes, ..found.map(of_row).unwrap_or_default() })
}

/// What can be used in the place of one item or of any, in the order in which it was written.
fn substitutes(
    conn: &mut AnyConn,
    club: ClubId,
    of: Option<ItemId>,
) -> Result<Vec<(ItemId, Substitute)>, Failure> {
    let mut query = substitutes::table
        .filter(substitutes::club_id.eq(club))
        .order((substitutes::item_id, substitutes::line))
        .select((substitutes::item_id, substitutes::other_id, substitutes::factor_micro))
        .into_boxed();
    if let Some(item) = of {
        query = query.filter(substitutes::item_id.eq(item));
    }
    let rows: Vec<(ItemId, ItemId, i64)> = query.prepared().load(conn)?;
    Ok(rows
        .into_iter()
        .map(|(item, other, factor_micro)| (item, Substitute { other, factor_micro }))
        .collect())
}

type Kept = (Option<i64>, Option<i64>, Option<i64>, Option<i64>);

fn of_row((lead, cover, keeps_open, weakens): Kept) -> Upkeep {
    Upkeep {
        lead_days: days(lead),
        cover_days: days(cover),
        keeps_open_days: days(keeps_open),
        weakens_permille: days(weakens),
        substitutes: Vec::new(),
    }
}

fn days(kept: Option<i64>) -> Option<u32> {
    kept.and_then(|days| u32::try_from(days).ok())
}

/// The last good day of a lot, from the columns of `lots`, `openings` and `upkeep`.
pub(in crate::db) fn until(
    best_before: Option<Day>,
    opened_on: Option<Day>,
    keeps_open: Option<i64>,
) -> Option<Day> {
    good_until(best_before, opened_on, days(keeps_open))
}

/// Keep when a lot was opened, or that it is not.
pub fn set_opening(conn: &mut AnyConn, doer: &Doer, opening: &Opening) -> Result<(), Failure> {
    let kept = openings::table.filter(openings::lot_id.eq(opening.lot).and(openings::club_id.eq(doer.club)));
    diesel::delete(kept).execute(conn)?;
    if let Some(day) = opening.on {
        diesel::insert_into(openings::table)
            .values((
                openings::lot_id.eq(opening.lot),
                openings::club_id.eq(doer.club),
                openings::opened_on.eq(day),
                openings::recorded_by.eq(doer.member),
                openings::recorded_at.eq(doer.now),
            ))
            .execute(conn)?;
    }
    Ok(())
}

/// Keep how an item of the club is bought.
pub fn set_upkeep(conn: &mut AnyConn, club: ClubId, item: ItemId, now: &Upkeep) -> Result<(), Failure> {
    let values = (
        upkeep::lead_days.eq(now.lead_days.map(i64::from)),
        upkeep::cover_days.eq(now.cover_days.map(i64::from)),
        upkeep::keeps_open_days.eq(now.keeps_open_days.map(i64::from)),
        upkeep::weakens_permille.eq(now.weakens_permille.map(i64::from)),
    );
    let kept = upkeep::table.filter(upkeep::item_id.eq(item).and(upkeep::club_id.eq(club)));
    if diesel::update(kept).set(values).execute(conn)? == 0 {
        diesel::insert_into(upkeep::table)
            .values((upkeep::item_id.eq(item), upkeep::club_id.eq(club), values))
            .execute(conn)?;
    }
    let before = substitutes::table.filter(substitutes::item_id.eq(item).and(substitutes::club_id.eq(club)));
    diesel::delete(before).execute(conn)?;
    for (line, one) in (1_i64..).zip(&now.substitutes) {
        diesel::insert_into(substitutes::table)
            .values((
                substitutes::item_id.eq(item),
                substitutes::other_id.eq(one.other),
                substitutes::club_id.eq(club),
                substitutes::line.eq(line),
                substitutes::factor_micro.eq(one.factor_micro),
            ))
            .execute(conn)?;
    }
    Ok(())
}

/// Which items are looked at.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Of {
    /// All that are bought, and whatever else plans want.
    All,
    /// One.
    Item(ItemId),
}

/// What is known of items, and the numbers and drinks of the batches that want them.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct Looked {
    /// The items by name, each with what it is.
    pub items: Vec<(Item, Known)>,
    /// Number and drink of each batch.
    pub batches: HashMap<BatchId, (String, String)>,
}

/// Looks at what may have to be bought.
pub fn look(conn: &mut AnyConn, club: ClubId, today: Day, of: Of) -> Result<Looked, Failure> {
    let mut wants: HashMap<ItemId, Vec<(BatchId, Milli)>> = HashMap::new();
    for (batch, want) in plans::wanted(conn, club)? {
        if want.left() > Milli::ZERO {
            wants.entry(want.item).or_default().push((batch, want.left()));
        }
    }
    let upkeeps = upkeeps(conn, club, of)?;
    let stands_in: HashSet<ItemId> =
        upkeeps.values().flat_map(|upkeep| &upkeep.substitutes).map(|one| one.other).collect();
    let looked_at = |id: &ItemId, item: &Item| match of {
        Of::All => bought_at_all(item.kind) || wants.contains_key(id) || stands_in.contains(id),
        Of::Item(only) => only == *id,
    };
    let mut found = match of {
        Of::All => stock::items(conn, club)?,
        Of::Item(only) => vec![(only, stock::item(conn, club, only)?)],
    };
    found.retain(|(id, item)| looked_at(id, item));
    let used = used(conn, club, today, of)?;
    let came = came(conn, club, of)?;
    let free = free(conn, club, today, &found)?;
    let mut of_batches: Vec<BatchId> = wants.values().flatten().map(|want| want.0).collect();
    of_batches.sort_unstable();
    of_batches.dedup();
    let known = |(id, item): (ItemId, Item)| {
        let upkeep = upkeeps.get(&id).cloned().unwrap_or_default();
        let (first, bought) = came.get(&id).cloned().unwrap_or_default();
        let used = Use::until(today, first, used.get(&id).copied().unwrap_or_default());
        let keeps = bought.first().and_then(|bought| bought.keeps);
        let (free, stopped) = free.get(&id).copied().unwrap_or_default();
        let point = Point::of(item.low_at, used, &upkeep, keeps, item.unit);
        let wants = wants.remove(&id).unwrap_or_default();
        let known = Known { id, unit: item.unit, upkeep, used, point, free, stopped, wants, bought };
        (item, known)
    };
    Ok(Looked { items: found.into_iter().map(known).collect(), batches: named(conn, &of_batches)? })
}

/// Curds and drinks are made, not bought.
const fn bought_at_all(kind: ItemKind) -> bool {
    matches!(kind, ItemKind::Ingredient | ItemKind::Aid | ItemKind::Packaging)
}

fn named(conn: &mut AnyConn, of: &[BatchId]) -> Result<HashMap<BatchId, (String, String)>, Failure> {
    let mut found = HashMap::new();
    for some in of.chunks(500) {
        let rows: Vec<(BatchId, String, String)> = batches::table
            .filter(batches::id.eq_any(padded(some)))
            .select((batches::id, batches::code, batches::name))
            .prepared()
            .load(conn)?;
        found.extend(rows.into_iter().map(|(id, code, drink)| (id, (code, drink))));
    }
    Ok(found)
}

#[derive(QueryableByName)]
struct Used {
    #[diesel(sql_type = BigInt)]
    item: ItemId,
    #[diesel(sql_type = BigInt)]
    quantity: Milli,
}

/// What was drawn, pitched and put on bottles in the days that are looked at; what was taken back does not count.
fn used(conn: &mut AnyConn, club: ClubId, today: Day, of: Of) -> Result<HashMap<ItemId, Milli>, Failure> {
    let (only, item) = match of {
        Of::All => ("", ItemId(0)),
        Of::Item(item) => ("AND lots.item_id = $3 ", item),
    };
    let query = format!(
        "SELECT lots.item_id AS item, CAST(-SUM(postings.quantity) AS BIGINT) AS quantity \
         FROM postings JOIN accounts ON accounts.id = postings.account_id \
         JOIN lots ON lots.id = accounts.lot_id JOIN items ON items.id = lots.item_id \
         JOIN entries ON entries.id = postings.entry_id LEFT JOIN entries back ON back.reverses = entries.id \
         WHERE postings.club_id = $1 AND postings.day >= $2 {only}AND accounts.kind = 'stock' \
         AND postings.quantity < 0 AND entries.kind IN ('draw', 'pitch', 'bottling') AND back.id IS NULL \
         AND items.kind <> 'drink' GROUP BY lots.item_id"
    );
    let since = today - chrono::Duration::days(LOOKED_BACK_DAYS - 1);
    let query = diesel::sql_query(query).bind::<BigInt, _>(club).bind::<Date, _>(since);
    let rows: Vec<Used> = match of {
        Of::All => query.load(conn)?,
        Of::Item(_) => query.bind::<BigInt, _>(item).load(conn)?,
    };
    Ok(rows.into_iter().map(|row| (row.item, row.quantity)).collect())
}

fn upkeeps(conn: &mut AnyConn, club: ClubId, of: Of) -> Result<HashMap<ItemId, Upkeep>, Failure> {
    if let Of::Item(item) = of {
        return Ok(HashMap::from([(item, upkeep(conn, club, item)?)]));
    }
    let rows: Vec<(ItemId, Kept)> =
        upkeep::table.filter(upkeep::club_id.eq(club)).select((upkeep::item_id, kept!())).load(conn)?;
    let mut found: HashMap<ItemId, Upkeep> =
        rows.into_iter().map(|(item, row)| (item, of_row(row))).collect();
    for (item, substitute) in substitutes(conn, club, None)? {
        found.entry(item).or_default().substitutes.push(substitute);
    }
    Ok(found)
}

#[derive(QueryableByName)]
struct Came {
    #[diesel(sql_type = BigInt)]
    item: ItemId,
    #[diesel(sql_type = Nullable<Date>)]
    first_on: Option<Day>,
    #[diesel(sql_type = Nullable<BigInt>)]
    latest: Option<LotId>,
    #[diesel(sql_type = Nullable<BigInt>)]
    earlier: Option<LotId>,
}

type CameOf = HashMap<ItemId, (Option<Day>, Vec<Bought>)>;

/// When each item came first, and the last two lots of it that were bought and stand, the latest first. Each is looked
/// up by an index, so that a long history does not slow it down.
fn came(conn: &mut AnyConn, club: ClubId, of: Of) -> Result<CameOf, Failure> {
    let bought = "FROM lots WHERE lots.item_id = items.id AND lots.batch_id IS NULL \
         AND NOT EXISTS (SELECT 1 FROM entries back WHERE back.reverses = lots.entry_id) ORDER BY lots.received_on";
    let (only, item) = match of {
        Of::All => ("", ItemId(0)),
        Of::Item(item) => ("AND items.id = $2", item),
    };
    let query = diesel::sql_query(format!(
        "SELECT items.id AS item, (SELECT lots.received_on {bought}, lots.id LIMIT 1) AS first_on, \
         (SELECT lots.id {bought} DESC, lots.id DESC LIMIT 1) AS latest, \
         (SELECT lots.id {bought} DESC, lots.id DESC LIMIT 1 OFFSET 1) AS earlier \
         FROM items WHERE items.club_id = $1 AND items.kind <> 'drink' {only}"
    ))
    .bind::<BigInt, _>(club);
    let rows: Vec<Came> = match of {
        Of::All => query.load(conn)?,
        Of::Item(_) => query.bind::<BigInt, _>(item).load(conn)?,
    };
    let ids: Vec<LotId> = rows.iter().flat_map(|row| [row.latest, row.earlier]).flatten().collect();
    let mut told = told(conn, &ids)?;
    Ok(rows
        .into_iter()
        .map(|row| {
            let lots = [row.latest, row.earlier].into_iter().flatten();
            (row.item, (row.first_on, lots.filter_map(|lot| told.remove(&lot)).collect()))
        })
        .collect())
}

/// What came with these lots.
fn told(conn: &mut AnyConn, of: &[LotId]) -> Result<BTreeMap<LotId, Bought>, Failure> {
    type Row = (LotId, Day, Option<Day>, String, Milli, Money);
    let mut found: BTreeMap<LotId, Bought> = BTreeMap::new();
    for some in of.chunks(500) {
        let rows: Vec<Row> = lots::table
            .inner_join(accounts::table.on(accounts::lot_id.eq(lots::id.nullable())))
            .inner_join(
                postings::table
                    .on(postings::account_id.eq(accounts::id).and(postings::entry_id.eq(lots::entry_id))),
            )
            .filter(lots::id.eq_any(padded(some)))
            .select((
                lots::id,
                lots::received_on,
                lots::best_before,
                lots::supplier,
                postings::quantity,
                postings::cost,
            ))
            .prepared()
            .load(conn)?;
        for (lot, day, best_before, supplier, quantity, cost) in rows {
            let keeps = best_before.map(|until| (until - day).num_days());
            let nothing = || Bought { day, quantity: Milli::ZERO, cost: Money::ZERO, supplier, keeps };
            let bought = found.entry(lot).or_insert_with(nothing);
            bought.quantity = bought.quantity + quantity;
            bought.cost = bought.cost + cost;
        }
    }
    Ok(found)
}

/// How much of each item may be used on a day, and how much stands there besides: past its day, or on hold.
fn free(
    conn: &mut AnyConn,
    club: ClubId,
    today: Day,
    of: &[(ItemId, Item)],
) -> Result<HashMap<ItemId, (Milli, Milli)>, Failure> {
    let held = holds::all(conn, club)?;
    let mut found: HashMap<ItemId, (Milli, Milli)> = HashMap::new();
    for some in of.chunks(500) {
        let filter =
            stock::StockFilter { items: some.iter().map(|one| one.0).collect(), ..Default::default() };
        for line in stock::stock(conn, club, &filter)? {
            let sums = found.entry(line.item).or_default();
            let stopped = line.best_before.is_some_and(|day| day < today)
                || held.iter().any(|hold| hold.lot == line.lot);
            let sum = if stopped { &mut sums.1 } else { &mut sums.0 };
            *sum = *sum + line.quantity;
        }
    }
    Ok(found)
}
