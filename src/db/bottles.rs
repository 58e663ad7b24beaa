//! Bottlings, the bottles left of them, and what a bottle has cost, line by line.

use diesel::prelude::*;

use super::connection::AnyConn;
use super::failure::Failure;
use super::schema::{accounts, batches, bottlings, entries, items, lots, places, postings, tasting_ages};
use crate::domain::books::EntryKind;
use crate::units::days::Day;
use crate::units::ids::{BatchId, BottlingId, ClubId, EntryId, LotId, PlaceId, TastingAgeId};
use crate::units::measure::Measured;
use crate::units::money::Money;
use crate::units::quantity::{BaseUnit, Milli};

/// One filling of a batch.
#[derive(Debug, Clone, PartialEq, Eq, Queryable)]
pub struct Bottling {
    /// Which.
    pub id: BottlingId,
    /// Its code, "36-1".
    pub code: String,
    /// From which batch.
    pub batch: BatchId,
    /// The drink.
    pub name: String,
    /// The lot of its bottles.
    pub lot: LotId,
    /// The entry that made it.
    pub entry: EntryId,
    /// When.
    pub bottled_on: Day,
    /// How many bottles.
    pub bottles: i64,
    /// What each holds.
    pub bottle_volume: Milli,
    /// What was lost.
    pub lost_volume: Milli,
    /// % vol, in millionths, as known when it was bottled.
    pub strength: Option<Measured>,
    /// From what that was computed.
    pub strength_basis: String,
}

type Columns = (
    bottlings::id,
    bottlings::code,
    bottlings::batch_id,
    batches::name,
    bottlings::lot_id,
    bottlings::entry_id,
    bottlings::bottled_on,
    bottlings::bottles,
    bottlings::bottle_volume,
    bottlings::lost_volume,
    bottlings::strength_micro,
    bottlings::strength_basis,
);
const COLUMNS: Columns = (
    bottlings::id,
    bottlings::code,
    bottlings::batch_id,
    batches::name,
    bottlings::lot_id,
    bottlings::entry_id,
    bottlings::bottled_on,
    bottlings::bottles,
    bottlings::bottle_volume,
    bottlings::lost_volume,
    bottlings::strength_micro,
    bottlings::strength_basis,
);

/// Keep a new bottling.
pub fn add(conn: &mut AnyConn, club: ClubId, bottling: &Bottling) -> Result<(), Failure> {
    diesel::insert_into(bottlings::table)
        .values((
            bottlings::id.eq(bottling.id),
            bottlings::club_id.eq(club),
            bottlings::batch_id.eq(bottling.batch),
            bottlings::lot_id.eq(bottling.lot),
            bottlings::entry_id.eq(bottling.entry),
            bottlings::code.eq(&bottling.code),
            bottlings::bottled_on.eq(bottling.bottled_on),
            bottlings::bottles.eq(bottling.bottles),
            bottlings::bottle_volume.eq(bottling.bottle_volume),
            bottlings::lost_volume.eq(bottling.lost_volume),
            bottlings::strength_micro.eq(bottling.strength),
            bottlings::strength_basis.eq(&bottling.strength_basis),
        ))
        .execute(conn)?;
    Ok(())
}

/// How many bottlings a batch has had, reversed ones too: the next one's number.
pub fn count_of_batch(conn: &mut AnyConn, batch: BatchId) -> Result<i64, Failure> {
    Ok(bottlings::table.filter(bottlings::batch_id.eq(batch)).count().get_result(conn)?)
}

/// One bottling.
pub fn bottling(conn: &mut AnyConn, club: ClubId, id: BottlingId) -> Result<Bottling, Failure> {
    Ok(bottlings::table
        .inner_join(batches::table.on(batches::id.eq(bottlings::batch_id)))
        .filter(bottlings::id.eq(id).and(bottlings::club_id.eq(club)))
        .select(COLUMNS)
        .first(conn)?)
}

/// The bottlings of a batch, in order.
pub fn of_batch(conn: &mut AnyConn, club: ClubId, batch: BatchId) -> Result<Vec<Bottling>, Failure> {
    Ok(bottlings::table
        .inner_join(batches::table.on(batches::id.eq(bottlings::batch_id)))
        .filter(bottlings::batch_id.eq(batch).and(bottlings::club_id.eq(club)))
        .order(bottlings::id)
        .select(COLUMNS)
        .load(conn)?)
}

/// A bottling with what is left of it.
#[derive(Debug, Clone, PartialEq)]
pub struct Left {
    /// The bottling.
    pub bottling: Bottling,
    /// Bottles left, over all places.
    pub left: i64,
    /// What they cost.
    pub cost: Money,
}

/// Bottlings with bottles left, oldest first.
pub fn with_bottles_left(conn: &mut AnyConn, club: ClubId, limit: i64) -> Result<Vec<Left>, Failure> {
    let rows: Vec<(Option<LotId>, Milli, Money)> = accounts::table
        .inner_join(bottlings::table.on(bottlings::lot_id.nullable().eq(accounts::lot_id)))
        .filter(accounts::club_id.eq(club).and(accounts::kind.eq("stock")).and(accounts::quantity.gt(Milli::ZERO)))
        .select((accounts::lot_id, accounts::quantity, accounts::cost))
        .load(conn)?;
    let lots: Vec<LotId> = rows.iter().filter_map(|row| row.0).collect();
    let found: Vec<Bottling> = bottlings::table
        .inner_join(batches::table.on(batches::id.eq(bottlings::batch_id)))
        .filter(bottlings::club_id.eq(club).and(bottlings::lot_id.eq_any(lots)))
        .order((bottlings::bottled_on, bottlings::id))
        .limit(limit)
        .select(COLUMNS)
        .load(conn)?;
    Ok(found
        .into_iter()
        .map(|bottling| {
            let mine = || rows.iter().filter(|row| row.0 == Some(bottling.lot));
            let left = mine().map(|row| row.1.get() / 1000).sum();
            let cost = mine().map(|row| row.2).sum();
            Left { bottling, left, cost }
        })
        .collect())
}

/// Bottlings of which none is left, newest first, before `before`.
pub fn all(
    conn: &mut AnyConn,
    club: ClubId,
    before: Option<BottlingId>,
    limit: i64,
) -> Result<Vec<Bottling>, Failure> {
    let mut query = bottlings::table
        .inner_join(batches::table.on(batches::id.eq(bottlings::batch_id)))
        .filter(bottlings::club_id.eq(club))
        .order(bottlings::id.desc())
        .limit(limit)
        .select(COLUMNS)
        .into_boxed();
    if let Some(before) = before {
        query = query.filter(bottlings::id.lt(before));
    }
    Ok(query.load(conn)?)
}

/// Where the bottles of a lot stand: place, its names, bottles, cost.
pub fn standing(
    conn: &mut AnyConn,
    club: ClubId,
    lot: LotId,
) -> Result<Vec<(PlaceId, String, i64, Money)>, Failure> {
    let rows: Vec<(PlaceId, String, Milli, Money)> = accounts::table
        .inner_join(places::table.on(places::id.nullable().eq(accounts::place_id)))
        .filter(accounts::club_id.eq(club).and(accounts::lot_id.eq(lot)).and(accounts::quantity.gt(Milli::ZERO)))
        .order(places::folded)
        .select((places::id, places::path, accounts::quantity, accounts::cost))
        .load(conn)?;
    Ok(rows.into_iter().map(|(place, path, quantity, cost)| (place, path, quantity.get() / 1000, cost)).collect())
}

/// Keep a tasting age.
pub fn add_age(conn: &mut AnyConn, club: ClubId, bottling: BottlingId, days: i64, on: Day) -> Result<(), Failure> {
    diesel::insert_into(tasting_ages::table)
        .values((
            tasting_ages::id.eq(TastingAgeId::fresh()),
            tasting_ages::club_id.eq(club),
            tasting_ages::bottling_id.eq(bottling),
            tasting_ages::age_days.eq(days),
            tasting_ages::falls_on.eq(on),
        ))
        .execute(conn)?;
    Ok(())
}

/// The tasting ages of a bottling and the days they fall on.
pub fn ages(conn: &mut AnyConn, bottling: BottlingId) -> Result<Vec<(i64, Day)>, Failure> {
    Ok(tasting_ages::table
        .filter(tasting_ages::bottling_id.eq(bottling))
        .order(tasting_ages::age_days)
        .select((tasting_ages::age_days, tasting_ages::falls_on))
        .load(conn)?)
}

/// Tasting ages that fall in a span of days, of bottlings with bottles left of which none has been opened for
/// a tasting on that day or later.
pub fn ages_falling(
    conn: &mut AnyConn,
    club: ClubId,
    from: Day,
    until: Day,
) -> Result<Vec<(BottlingId, i64, Day)>, Failure> {
    let back = diesel::alias!(entries as back);
    let tasted = entries::table
        .inner_join(postings::table.on(postings::entry_id.eq(entries::id)))
        .inner_join(accounts::table.on(accounts::id.eq(postings::account_id)))
        .left_join(back.on(back.field(entries::reverses).eq(entries::id.nullable())))
        .filter(entries::bottling_id.eq(tasting_ages::bottling_id.nullable()))
        .filter(entries::day.ge(tasting_ages::falls_on).and(accounts::kind.eq("tasted")))
        .filter(back.field(entries::id).nullable().is_null());
    Ok(tasting_ages::table
        .inner_join(bottlings::table.on(bottlings::id.eq(tasting_ages::bottling_id)))
        .filter(tasting_ages::club_id.eq(club).and(tasting_ages::falls_on.between(from, until)))
        .filter(diesel::dsl::exists(
            accounts::table
                .filter(accounts::lot_id.eq(bottlings::lot_id.nullable()))
                .filter(accounts::quantity.gt(Milli::ZERO)),
        ))
        .filter(diesel::dsl::not(diesel::dsl::exists(tasted)))
        .order(tasting_ages::falls_on)
        .select((tasting_ages::bottling_id, tasting_ages::age_days, tasting_ages::falls_on))
        .load(conn)?)
}

/// One line of what a batch has cost.
#[derive(Debug, Clone, PartialEq)]
pub struct CostLine {
    /// The entry.
    pub entry: EntryId,
    /// What kind of event.
    pub kind: EntryKind,
    /// When.
    pub day: Day,
    /// Item or batch.
    pub what: String,
    /// The lot it came from or became.
    pub lot: Option<(LotId, String)>,
    /// The receipt that brought the lot, and its number.
    pub receipt: Option<(EntryId, Option<String>)>,
    /// The other batch, for splits and blends.
    pub other_batch: Option<BatchId>,
    /// How much.
    pub quantity: Milli,
    /// In what.
    pub unit: BaseUnit,
    /// What it brought (+) to or took (−) from the batch.
    pub cost: Money,
}

/// All lines that moved the cost of a batch up to an entry, in order: supplies lot by lot, by-products, losses, splits
/// and blends, bottlings. Their costs add up to what the batch held after that entry.
pub fn cost_lines(conn: &mut AnyConn, batch: BatchId, until: Option<EntryId>) -> Result<Vec<CostLine>, Failure> {
    let mut found = Vec::new();
    for (entry, kind, day, quantity, cost) in super::batches::moves(conn, batch)? {
        if until.is_some_and(|until| entry > until) {
            break;
        }
        match kind {
            EntryKind::Draw | EntryKind::Pitch | EntryKind::ByProduct => {
                found.extend(lot_lines(conn, entry, kind, day)?);
            }
            _ => {
                let other = other_batch(conn, entry, batch)?;
                found.push(CostLine {
                    entry,
                    kind,
                    day,
                    what: kind.label().to_owned(),
                    lot: None,
                    receipt: None,
                    other_batch: other,
                    quantity,
                    unit: BaseUnit::Millilitre,
                    cost,
                });
            }
        }
    }
    Ok(found)
}

/// The stock lines of an entry as the batch or bottling sees them: what left a lot came in.
pub fn lot_lines(conn: &mut AnyConn, entry: EntryId, kind: EntryKind, day: Day) -> Result<Vec<CostLine>, Failure> {
    type Row = (String, BaseUnit, LotId, String, EntryId, Milli, Money);
    let rows: Vec<Row> = postings::table
        .inner_join(accounts::table.on(accounts::id.eq(postings::account_id)))
        .inner_join(lots::table.on(lots::id.nullable().eq(accounts::lot_id)))
        .inner_join(items::table.on(items::id.eq(lots::item_id)))
        .filter(postings::entry_id.eq(entry))
        .order(postings::line)
        .select((
            items::name,
            items::unit,
            lots::id,
            lots::code,
            lots::entry_id,
            postings::quantity,
            postings::cost,
        ))
        .load(conn)?;
    rows.into_iter()
        .filter(|row| kind != EntryKind::Bottling || row.5 < Milli::ZERO)
        .map(|(what, unit, lot, code, brought, quantity, cost)| {
            let number: Option<String> =
                entries::table.filter(entries::id.eq(brought)).select(entries::code).first(conn)?;
            Ok(CostLine {
                entry,
                kind,
                day,
                what,
                lot: Some((lot, code)),
                receipt: Some((brought, number)),
                other_batch: None,
                quantity: quantity.negated(),
                unit,
                cost: cost.negated(),
            })
        })
        .collect()
}

fn other_batch(conn: &mut AnyConn, entry: EntryId, batch: BatchId) -> Result<Option<BatchId>, Failure> {
    let others: Vec<Option<BatchId>> = postings::table
        .inner_join(accounts::table.on(accounts::id.eq(postings::account_id)))
        .filter(postings::entry_id.eq(entry).and(accounts::batch_id.is_not_null()))
        .filter(accounts::batch_id.ne(batch))
        .select(accounts::batch_id)
        .load(conn)?;
    Ok(others.into_iter().flatten().next())
}
