//! Bottlings, the bottles left of them, and the ages at which they are tasted.

use std::collections::HashMap;

use diesel::prelude::*;

use super::connection::AnyConn;
use super::failure::Failure;
use super::prepared::{Prepare, padded};
use super::schema::{accounts, batches, bottlings, entries, places, postings, reminders, tasting_ages};
use super::stock::InStock;
use crate::domain::bottles::TastingAge;
use crate::domain::reminders::tasting;
use crate::domain::reports::Span;
use crate::units::days::{Day, Instant};
use crate::units::ids::{BatchId, BottlingId, ClubId, EntryId, LotId, PlaceId, TastingAgeId};
use crate::units::measure::Measured;
use crate::units::money::Money;
use crate::units::quantity::Milli;

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
    /// How many more broke while they were filled.
    pub broken: i64,
    /// What each holds.
    pub bottle_volume: Milli,
    /// What was lost, with what the broken ones held.
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
    bottlings::broken,
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
    bottlings::broken,
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
            bottlings::broken.eq(bottling.broken),
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

/// All bottlings with bottles left, oldest first. There are as many as the cellar holds now, however long
/// its history.
pub fn with_bottles_left(conn: &mut AnyConn, club: ClubId) -> Result<Vec<Left>, Failure> {
    let rows: Vec<(Bottling, Milli, Money)> = accounts::table
        .inner_join(bottlings::table.on(bottlings::lot_id.nullable().eq(accounts::lot_id)))
        .inner_join(batches::table.on(batches::id.eq(bottlings::batch_id)))
        .filter(accounts::club_id.eq(club).and(InStock))
        .order((bottlings::bottled_on, bottlings::id))
        .select((COLUMNS, accounts::quantity, accounts::cost))
        .load(conn)?;
    let mut found: Vec<Left> = Vec::new();
    for (bottling, quantity, cost) in rows {
        match found.last_mut().filter(|last| last.bottling.id == bottling.id) {
            Some(last) => {
                last.left += quantity.get() / 1000;
                last.cost = last.cost + cost;
            }
            None => found.push(Left { bottling, left: quantity.get() / 1000, cost }),
        }
    }
    Ok(found)
}

/// Bottlings that were not reversed, newest first, before `before`; `emptied` are those of which none is
/// left.
pub fn bottlings(
    conn: &mut AnyConn,
    club: ClubId,
    emptied: bool,
    before: Option<BottlingId>,
    limit: i64,
) -> Result<Vec<Bottling>, Failure> {
    let back = diesel::alias!(entries as back);
    let mut query = bottlings::table
        .inner_join(batches::table.on(batches::id.eq(bottlings::batch_id)))
        .left_join(back.on(back.field(entries::reverses).eq(bottlings::entry_id.nullable())))
        .filter(bottlings::club_id.eq(club).and(back.field(entries::id).nullable().is_null()))
        .order(bottlings::id.desc())
        .limit(limit)
        .select(COLUMNS)
        .into_boxed();
    if let Some(before) = before {
        query = query.filter(bottlings::id.lt(before));
    }
    if emptied {
        query = query.filter(diesel::dsl::not(diesel::dsl::exists(
            accounts::table
                .filter(accounts::lot_id.eq(bottlings::lot_id.nullable()))
                .filter(accounts::quantity.gt(Milli::ZERO)),
        )));
    }
    Ok(query.prepared().load(conn)?)
}

/// The bottlings of some days that were not reversed, the latest first; of one drink where it is named.
pub fn of_days(
    conn: &mut AnyConn,
    club: ClubId,
    span: Span,
    drink: Option<&str>,
) -> Result<Vec<Bottling>, Failure> {
    let back = diesel::alias!(entries as back);
    let mut query = bottlings::table
        .inner_join(batches::table.on(batches::id.eq(bottlings::batch_id)))
        .left_join(back.on(back.field(entries::reverses).eq(bottlings::entry_id.nullable())))
        .filter(bottlings::club_id.eq(club).and(back.field(entries::id).nullable().is_null()))
        .filter(bottlings::bottled_on.between(span.first, span.last))
        .order((bottlings::bottled_on.desc(), bottlings::id.desc()))
        .select(COLUMNS)
        .into_boxed();
    if let Some(drink) = drink {
        query = query.filter(batches::name.eq(drink.to_owned()));
    }
    Ok(query.prepared().load(conn)?)
}

/// Whether the entry that made a bottling was taken back.
pub fn is_reversed(conn: &mut AnyConn, bottling: &Bottling) -> Result<bool, Failure> {
    let by: i64 = entries::table.filter(entries::reverses.eq(bottling.entry)).count().get_result(conn)?;
    Ok(by > 0)
}

/// How many bottles are left of each of these bottlings that has any.
pub fn left_of(conn: &mut AnyConn, ids: &[BottlingId]) -> Result<HashMap<BottlingId, i64>, Failure> {
    let rows: Vec<(BottlingId, Milli)> = accounts::table
        .inner_join(bottlings::table.on(bottlings::lot_id.nullable().eq(accounts::lot_id)))
        .filter(bottlings::id.eq_any(padded(ids)).and(accounts::quantity.gt(Milli::ZERO)))
        .select((bottlings::id, accounts::quantity))
        .prepared()
        .load(conn)?;
    let mut left = HashMap::new();
    for (bottling, quantity) in rows {
        *left.entry(bottling).or_default() += quantity.get() / 1000;
    }
    Ok(left)
}

/// Where the bottles of a lot stand: place, its names, bottles, cost.
pub fn standing(
    conn: &mut AnyConn,
    club: ClubId,
    lot: LotId,
) -> Result<Vec<(PlaceId, String, i64, Money)>, Failure> {
    let rows: Vec<(PlaceId, String, Milli, Money)> = accounts::table
        .inner_join(places::table.on(places::id.nullable().eq(accounts::place_id)))
        .filter(
            accounts::club_id.eq(club).and(accounts::lot_id.eq(lot)).and(accounts::quantity.gt(Milli::ZERO)),
        )
        .order(places::folded)
        .select((places::id, places::path, accounts::quantity, accounts::cost))
        .load(conn)?;
    Ok(rows
        .into_iter()
        .map(|(place, path, quantity, cost)| (place, path, quantity.get() / 1000, cost))
        .collect())
}

/// Keep a tasting age.
pub fn add_age(
    conn: &mut AnyConn,
    club: ClubId,
    bottling: BottlingId,
    (days, by_warmth): (i64, bool),
    on: Day,
) -> Result<(), Failure> {
    diesel::insert_into(tasting_ages::table)
        .values((
            tasting_ages::id.eq(TastingAgeId::fresh()),
            tasting_ages::club_id.eq(club),
            tasting_ages::bottling_id.eq(bottling),
            tasting_ages::age_days.eq(days),
            tasting_ages::falls_on.eq(on),
            tasting_ages::by_warmth.eq(by_warmth),
        ))
        .execute(conn)?;
    Ok(())
}

/// The tasting ages of these bottlings, the youngest first, each with what became of its reminder.
pub fn tastings(
    conn: &mut AnyConn,
    club: ClubId,
    ids: &[BottlingId],
) -> Result<HashMap<BottlingId, Vec<TastingAge>>, Failure> {
    let rows: Vec<(BottlingId, i64, bool, Day)> = tasting_ages::table
        .filter(tasting_ages::bottling_id.eq_any(padded(ids)))
        .order((tasting_ages::bottling_id, tasting_ages::age_days))
        .select((
            tasting_ages::bottling_id,
            tasting_ages::age_days,
            tasting_ages::by_warmth,
            tasting_ages::falls_on,
        ))
        .prepared()
        .load(conn)?;
    let key =
        |(bottling, age_days, _, falls_on): &(_, i64, _, _)| tasting(*bottling, *age_days, *falls_on).key;
    let keys: Vec<_> = rows.iter().map(key).collect();
    let asked: Vec<(String, Day, Option<Instant>)> = reminders::table
        .filter(reminders::club_id.eq(club).and(reminders::key.eq_any(padded(&keys))))
        .select((reminders::key, reminders::due_on, reminders::done_at))
        .prepared()
        .load(conn)?;
    let asked: HashMap<String, (Day, bool)> =
        asked.into_iter().map(|(key, due_on, done_at)| (key, (due_on, done_at.is_some()))).collect();
    let mut found: HashMap<BottlingId, Vec<TastingAge>> = HashMap::new();
    for (bottling, age_days, by_warmth, falls_on) in rows {
        let reminder = asked.get(&tasting(bottling, age_days, falls_on).key).copied();
        found.entry(bottling).or_default().push(TastingAge { age_days, by_warmth, falls_on, reminder });
    }
    Ok(found)
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
        .filter(
            entries::bottling_id.eq(tasting_ages::bottling_id.nullable()).and(entries::reverses.is_null()),
        )
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

/// An age by warmth that is to come: its own id, of which bottling and lot, how many days at 15 °C, and when it is
/// expected.
pub type Expected = (TastingAgeId, BottlingId, LotId, i64, Day);

/// Ages by warmth that are to come, of bottlings of which something is left.
pub fn ages_by_warmth(conn: &mut AnyConn, club: ClubId, today: Day) -> Result<Vec<Expected>, Failure> {
    Ok(tasting_ages::table
        .inner_join(bottlings::table.on(bottlings::id.eq(tasting_ages::bottling_id)))
        .filter(tasting_ages::club_id.eq(club).and(tasting_ages::by_warmth.eq(true)))
        .filter(tasting_ages::falls_on.ge(today))
        .filter(diesel::dsl::exists(
            accounts::table
                .filter(accounts::lot_id.eq(bottlings::lot_id.nullable()))
                .filter(accounts::quantity.gt(Milli::ZERO)),
        ))
        .select((
            tasting_ages::id,
            tasting_ages::bottling_id,
            bottlings::lot_id,
            tasting_ages::age_days,
            tasting_ages::falls_on,
        ))
        .load(conn)?)
}

/// An age falls on another day than was expected; so does its reminder, unless it was put off.
pub fn falls_otherwise(
    conn: &mut AnyConn,
    club: ClubId,
    id: TastingAgeId,
    key: &str,
    (was, is): (Day, Day),
) -> Result<(), Failure> {
    diesel::update(tasting_ages::table.filter(tasting_ages::id.eq(id)))
        .set(tasting_ages::falls_on.eq(is))
        .execute(conn)?;
    diesel::update(
        reminders::table
            .filter(reminders::club_id.eq(club).and(reminders::key.eq(key)))
            .filter(reminders::done_at.is_null().and(reminders::due_on.eq(was))),
    )
    .set((reminders::due_on.eq(is), reminders::revision.eq(reminders::revision + 1)))
    .execute(conn)?;
    Ok(())
}
