//! Batches one by one and in lists; what moved and what was measured of them have files of their own.

use diesel::prelude::*;

use super::books::changes_after;
use super::connection::AnyConn;
use super::failure::Failure;
use super::schema::{accounts, batches, entries};
use crate::db::prepared::{Prepare, padded};
use crate::domain::batches::{Stage, Standing};
use crate::domain::books::Holding;
use crate::domain::reports::Span;
use crate::units::days::Day;
use crate::units::ids::{AccountId, BatchId, ClubId, EntryId, MemberId, RevisionId};
use crate::units::money::Money;
use crate::units::quantity::Milli;

mod curves;
mod imports;
mod readings;
mod stage;
mod story;

pub(super) use curves::first_off as first_curve_off;
pub use curves::{Curves, Series, pack_all, series};
pub use imports::{Import, add_import, import, imports, undo_import};
pub use readings::{
    Part, Reading, add_readings, cellar_temperature, count, given_by, gravity_ends, last_of, last_of_each,
    last_read, part, reading, readings, strike,
};
pub use stage::{moves, restage};
pub(super) use stage::{moves_of, moves_until, standing_then};
pub use story::{stories, story, story_by};

/// A batch.
#[derive(Debug, Clone, PartialEq, Eq, Queryable)]
pub struct Batch {
    /// Which.
    pub id: BatchId,
    /// Its number.
    pub code: String,
    /// Its drink.
    pub name: String,
    /// How much base it was planned for.
    pub base_volume: Option<Milli>,
    /// When it was planned.
    pub planned_on: Day,
    /// The batch it was split from.
    pub came_from: Option<BatchId>,
    /// How far it is.
    pub stage: Stage,
    /// When its yeast was pitched.
    pub pitched_on: Option<Day>,
}

impl Batch {
    /// The day to which reports count it: when its yeast was pitched, or when it was planned.
    pub fn begun_on(&self) -> Day {
        self.pitched_on.unwrap_or(self.planned_on)
    }
}

type Columns = (
    batches::id,
    batches::code,
    batches::name,
    batches::base_volume,
    batches::planned_on,
    batches::came_from,
    batches::stage,
    batches::pitched_on,
);
const COLUMNS: Columns = (
    batches::id,
    batches::code,
    batches::name,
    batches::base_volume,
    batches::planned_on,
    batches::came_from,
    batches::stage,
    batches::pitched_on,
);

/// A batch to be kept.
pub struct NewBatch<'a> {
    /// Which.
    pub id: BatchId,
    /// Its number.
    pub code: &'a str,
    /// Its drink.
    pub name: &'a str,
    /// How much base it is planned for.
    pub base_volume: Option<Milli>,
    /// When it was planned.
    pub day: Day,
    /// By whom.
    pub by: MemberId,
    /// The batch it is split from.
    pub came_from: Option<BatchId>,
}

/// Keep a new batch, as planned.
pub fn add(conn: &mut AnyConn, club: ClubId, batch: &NewBatch<'_>) -> Result<(), Failure> {
    diesel::insert_into(batches::table)
        .values((
            batches::id.eq(batch.id),
            batches::club_id.eq(club),
            batches::code.eq(batch.code),
            batches::name.eq(batch.name),
            batches::base_volume.eq(batch.base_volume),
            batches::planned_on.eq(batch.day),
            batches::created_by.eq(batch.by),
            batches::came_from.eq(batch.came_from),
            batches::stage.eq(Stage::Planned),
        ))
        .execute(conn)?;
    Ok(())
}

/// One batch.
pub fn batch(conn: &mut AnyConn, club: ClubId, id: BatchId) -> Result<Batch, Failure> {
    Ok(batches::table
        .filter(batches::id.eq(id).and(batches::club_id.eq(club)))
        .select(COLUMNS)
        .first(conn)?)
}

/// The batch with this number.
pub fn coded(conn: &mut AnyConn, club: ClubId, code: &str) -> Result<Option<BatchId>, Failure> {
    let named = batches::table.filter(batches::club_id.eq(club).and(batches::code.eq(code)));
    Ok(named.select(batches::id).first(conn).optional()?)
}

/// Batches of some stages (none means all), newest first, before `before`.
pub fn batches(
    conn: &mut AnyConn,
    club: ClubId,
    stages: &[Stage],
    before: Option<BatchId>,
    limit: i64,
) -> Result<Vec<Batch>, Failure> {
    let stages = if stages.is_empty() { &Stage::ALL } else { stages };
    // Each stage is asked for its own newest: of all together, the database would sort every batch there ever was.
    let mut found: Vec<Batch> = Vec::new();
    for stage in stages {
        let mut query = batches::table
            .filter(batches::club_id.eq(club).and(batches::stage.eq(*stage)))
            .order(batches::id.desc())
            .limit(limit)
            .select(COLUMNS)
            .into_boxed();
        if let Some(before) = before {
            query = query.filter(batches::id.lt(before));
        }
        found.extend(query.load::<Batch>(conn)?);
    }
    found.sort_unstable_by_key(|batch| std::cmp::Reverse(batch.id));
    found.truncate(usize::try_from(limit).unwrap_or(usize::MAX));
    Ok(found)
}

/// The batches that were made by one of these revisions, of some stages (none means all), newest first, before
/// `before`.
pub fn by_revisions(
    conn: &mut AnyConn,
    club: ClubId,
    revisions: &[RevisionId],
    stages: &[Stage],
    before: Option<BatchId>,
    limit: i64,
) -> Result<Vec<Batch>, Failure> {
    let stages = if stages.is_empty() { &Stage::ALL } else { stages };
    let mut query = batches::table
        .filter(batches::club_id.eq(club).and(batches::stage.eq_any(padded(stages))))
        .filter(
            batches::recipe_revision_id
                .eq_any(padded(&revisions.iter().copied().map(Some).collect::<Vec<_>>())),
        )
        .order(batches::id.desc())
        .limit(limit)
        .select(COLUMNS)
        .into_boxed();
    if let Some(before) = before {
        query = query.filter(batches::id.lt(before));
    }
    Ok(query.prepared().load(conn)?)
}

/// The batches of some days, the latest first: those whose yeast was pitched then, or that were planned then and have
/// none yet; of one drink where it is named.
pub fn of_days(
    conn: &mut AnyConn,
    club: ClubId,
    span: Span,
    drink: Option<&str>,
) -> Result<Vec<Batch>, Failure> {
    let pitched = batches::table
        .filter(batches::club_id.eq(club).and(batches::pitched_on.between(span.first, span.last)))
        .select(COLUMNS);
    let mut found: Vec<Batch> = pitched.load(conn)?;
    let planned = batches::table
        .filter(batches::club_id.eq(club).and(batches::planned_on.between(span.first, span.last)))
        .filter(batches::pitched_on.is_null())
        .select(COLUMNS);
    found.extend(planned.load::<Batch>(conn)?);
    found.retain(|batch| drink.is_none_or(|drink| batch.name == drink));
    found.sort_unstable_by_key(|batch| std::cmp::Reverse((batch.begun_on(), batch.id)));
    Ok(found)
}

/// The latest batches of a drink, or of the revisions of a recipe where they are given.
pub fn alike(
    conn: &mut AnyConn,
    club: ClubId,
    drink: &str,
    revisions: &[RevisionId],
    limit: i64,
) -> Result<Vec<BatchId>, Failure> {
    let mut query = batches::table
        .filter(batches::club_id.eq(club))
        .order(batches::id.desc())
        .limit(limit)
        .select(batches::id)
        .into_boxed();
    query = if revisions.is_empty() {
        query.filter(batches::name.eq(drink.to_owned()))
    } else {
        query.filter(
            batches::recipe_revision_id
                .eq_any(padded(&revisions.iter().copied().map(Some).collect::<Vec<_>>())),
        )
    };
    Ok(query.prepared().load(conn)?)
}

/// Code and name of a batch, to say where something came from.
pub fn named(conn: &mut AnyConn, club: ClubId, id: BatchId) -> Result<(String, String), Failure> {
    Ok(batches::table
        .filter(batches::id.eq(id).and(batches::club_id.eq(club)))
        .select((batches::code, batches::name))
        .first(conn)?)
}

/// Whether anything was ever recorded of a batch in the books.
pub fn has_entries(conn: &mut AnyConn, id: BatchId) -> Result<bool, Failure> {
    let first: Option<EntryId> =
        entries::table.filter(entries::batch_id.eq(id)).select(entries::id).first(conn).optional()?;
    Ok(first.is_some())
}

/// What each of these batches holds now.
pub fn holdings(conn: &mut AnyConn, ids: &[BatchId]) -> Result<Vec<(BatchId, Holding)>, Failure> {
    let rows: Vec<(Option<BatchId>, Milli, Money)> = accounts::table
        .filter(accounts::batch_id.eq_any(padded(&ids.iter().copied().map(Some).collect::<Vec<_>>())))
        .select((accounts::batch_id, accounts::quantity, accounts::cost))
        .prepared()
        .load(conn)?;
    Ok(rows
        .into_iter()
        .filter_map(|(batch, quantity, cost)| Some((batch?, Holding { quantity, cost })))
        .collect())
}

/// A batch as the rules see it for something that is recorded for a day.
pub fn standing_on(conn: &mut AnyConn, club: ClubId, id: BatchId, day: Day) -> Result<Standing, Failure> {
    let (account, now) = standing_in(conn, club, id)?;
    let later = match account {
        Some(account) => changes_after(conn, club, &[account], day)?.remove(&account).unwrap_or_default(),
        None => Vec::new(),
    };
    Ok(Standing { later, ..now })
}

/// A batch as it is now.
pub fn standing(conn: &mut AnyConn, club: ClubId, id: BatchId) -> Result<Standing, Failure> {
    Ok(standing_in(conn, club, id)?.1)
}

/// The same with the account in which it stands, once something came into it.
fn standing_in(
    conn: &mut AnyConn,
    club: ClubId,
    id: BatchId,
) -> Result<(Option<AccountId>, Standing), Failure> {
    type Row = (String, Stage, Option<(AccountId, Milli, Money, Day)>);
    let found: Option<Row> = batches::table
        .left_join(accounts::table.on(accounts::batch_id.eq(batches::id.nullable())))
        .filter(batches::id.eq(id).and(batches::club_id.eq(club)))
        .select((
            batches::code,
            batches::stage,
            (accounts::id, accounts::quantity, accounts::cost, accounts::opened_on).nullable(),
        ))
        .prepared()
        .one(conn)?;
    let (code, stage, account) = found.ok_or(Failure::Gone)?;
    let holding = account.map(|(_, quantity, cost, _)| Holding { quantity, cost }).unwrap_or_default();
    let opened_on = account.map(|account| account.3);
    let standing = Standing { id, code, stage, holding, opened_on, later: Vec::new() };
    Ok((account.map(|account| account.0), standing))
}
