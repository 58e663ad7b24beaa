//! Entries as a page or the API shows them, with their lines in words.

use std::collections::HashMap;

use diesel::prelude::*;

use super::{AccountColumns, account_of};
use crate::db::connection::AnyConn;
use crate::db::failure::Failure;
use crate::db::prepared::{Prepare, padded};
use crate::db::schema::{accounts, batches, entries, items, lots, members, places, postings, reasons};
use crate::domain::books::{Account, EntryKind};
use crate::domain::members::Doer;
use crate::units::days::{Day, Instant};
use crate::units::ids::{AccountId, BatchId, BottlingId, ClubId, EntryId, LotId, MemberId};
use crate::units::money::Money;
use crate::units::quantity::{BaseUnit, Milli};

/// An entry as a page or the API shows it.
#[derive(Debug, Clone, PartialEq)]
pub struct Told {
    /// Which.
    pub id: EntryId,
    /// What happened.
    pub kind: EntryKind,
    /// Its number, where it has one ("R-118").
    pub code: Option<String>,
    /// When it happened.
    pub day: Day,
    /// When it was recorded.
    pub recorded_at: Instant,
    /// By whom.
    pub by: String,
    /// What was written.
    pub remark: String,
    /// For which batch.
    pub batch: Option<BatchId>,
    /// For which bottling.
    pub bottling: Option<BottlingId>,
    /// Which entry it takes back, and what happened there.
    pub reverses: Option<(EntryId, EntryKind)>,
    /// What took it back.
    pub reversed: Option<TakenBack>,
    /// Its lines.
    pub lines: Vec<ToldLine>,
    /// The cautions in spite of which it was recorded, each with the reason that was given.
    pub reasons: Vec<(String, String)>,
}

/// What took an entry back.
#[derive(Debug, Clone, PartialEq)]
pub struct TakenBack {
    /// The reversing entry.
    pub entry: EntryId,
    /// By whom.
    pub by: String,
    /// When.
    pub at: Instant,
    /// Why.
    pub reason: String,
}

/// One line of an entry, in words.
#[derive(Debug, Clone, PartialEq)]
pub struct ToldLine {
    /// Which account.
    pub account: Account,
    /// The lot's code and item, for stock.
    pub lot: Option<(String, String)>,
    /// The place, for stock.
    pub place: Option<String>,
    /// The unit of the item, for stock.
    pub unit: Option<BaseUnit>,
    /// The batch's or member's name.
    pub name: Option<String>,
    /// How much.
    pub quantity: Milli,
    /// What it cost.
    pub cost: Money,
}

/// Which entries to tell.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Which {
    /// One.
    One(EntryId),
    /// Those that moved a batch.
    Batch(BatchId),
    /// Those of a bottling: its filling and its withdrawals.
    Bottling(BottlingId),
    /// Those that moved a lot.
    Lot(LotId),
    /// Those that a member paid for or took home, and what they paid in or were paid back.
    Member(MemberId),
    /// All of the club.
    All,
    /// All of the club but payments: those are between a member and the stewards.
    Common,
}

impl Told {
    /// Whether the doer may be told of it: a payment is between a member and the stewards.
    pub fn may_be_told_to(&self, doer: &Doer) -> bool {
        let kind = self.reverses.map_or(self.kind, |reverses| reverses.1);
        kind != EntryKind::Payment
            || self.lines.iter().all(|line| match line.account {
                Account::Settled(member) => doer.may_see_money_of(member),
                _ => true,
            })
    }
}

/// Entries, latest first, at most `limit`, before `before`.
pub fn tell(
    conn: &mut AnyConn,
    club: ClubId,
    which: Which,
    before: Option<EntryId>,
    limit: i64,
) -> Result<Vec<Told>, Failure> {
    type Row = (
        EntryId,
        EntryKind,
        Option<String>,
        Day,
        Instant,
        String,
        String,
        Option<BatchId>,
        Option<BottlingId>,
        (Option<EntryId>, Option<EntryKind>),
    );
    let meant = diesel::alias!(entries as meant);
    let mut query = entries::table
        .inner_join(members::table.on(members::id.eq(entries::recorded_by)))
        .left_join(meant.on(meant.field(entries::id).nullable().eq(entries::reverses)))
        .filter(entries::club_id.eq(club))
        .order(entries::id.desc())
        .limit(limit)
        .select((
            entries::id,
            entries::kind,
            entries::code,
            entries::day,
            entries::recorded_at,
            members::name,
            entries::remark,
            entries::batch_id,
            entries::bottling_id,
            (entries::reverses, meant.field(entries::kind).nullable()),
        ))
        .into_boxed();
    if let Some(before) = before {
        query = query.filter(entries::id.lt(before));
    }
    query = match which {
        Which::One(id) => query.filter(entries::id.eq(id)),
        Which::Bottling(bottling) => query.filter(entries::bottling_id.eq(bottling)),
        Which::Batch(batch) => {
            let own = accounts::table.filter(accounts::batch_id.eq(batch)).select(accounts::id).load(conn)?;
            query.filter(entries::id.eq_any(padded(&entries_touching(conn, own, before, limit)?)))
        }
        Which::Lot(lot) => {
            let own = accounts::table.filter(accounts::lot_id.eq(lot)).select(accounts::id).load(conn)?;
            query.filter(entries::id.eq_any(padded(&entries_touching(conn, own, before, limit)?)))
        }
        Which::Member(member) => {
            let keys = Account::of_member(member).map(Account::key);
            let of_club = accounts::club_id.eq(club).and(accounts::key.eq_any(padded(&keys)));
            let own = accounts::table.filter(of_club).select(accounts::id).prepared().load(conn)?;
            query.filter(entries::id.eq_any(padded(&entries_touching(conn, own, before, limit)?)))
        }
        Which::All => query,
        Which::Common => {
            let meant = meant.field(entries::kind).nullable();
            query
                .filter(entries::kind.ne(EntryKind::Payment))
                .filter(meant.is_null().or(meant.ne(EntryKind::Payment)))
        }
    };
    let rows: Vec<Row> = query.prepared().load(conn)?;
    let ids: Vec<EntryId> = rows.iter().map(|row| row.0).collect();
    let mut reversed = taken_back(conn, &ids)?;
    let mut lines = lines_of(conn, &ids)?;
    let mut reasons = reasons_of(conn, &ids)?;
    Ok(rows
        .into_iter()
        .map(|(id, kind, code, day, recorded_at, by, remark, batch, bottling, reverses)| Told {
            id,
            kind,
            code,
            day,
            recorded_at,
            by,
            remark,
            batch,
            bottling,
            reverses: reverses.0.zip(reverses.1),
            reversed: reversed.remove(&id),
            lines: lines.remove(&id).unwrap_or_default(),
            reasons: reasons.remove(&id).unwrap_or_default(),
        })
        .collect())
}

/// The latest entries with a line on one of these accounts. Each account is asked for its own latest, so that no more
/// is read than may be told.
fn entries_touching(
    conn: &mut AnyConn,
    of_accounts: Vec<AccountId>,
    before: Option<EntryId>,
    limit: i64,
) -> Result<Vec<EntryId>, Failure> {
    let mut found: Vec<EntryId> = Vec::new();
    for account in of_accounts {
        let mut query = postings::table
            .filter(postings::account_id.eq(account))
            .order(postings::entry_id.desc())
            .limit(limit)
            .select(postings::entry_id)
            .into_boxed();
        if let Some(before) = before {
            query = query.filter(postings::entry_id.lt(before));
        }
        found.extend(query.prepared().load::<EntryId>(conn)?);
    }
    found.sort_unstable();
    found.dedup();
    let most = usize::try_from(limit).unwrap_or(usize::MAX);
    Ok(found.split_off(found.len().saturating_sub(most)))
}

fn reasons_of(
    conn: &mut AnyConn,
    ids: &[EntryId],
) -> Result<HashMap<EntryId, Vec<(String, String)>>, Failure> {
    let rows: Vec<(Option<EntryId>, String, String)> = reasons::table
        .filter(reasons::entry_id.eq_any(padded(ids).into_iter().map(Some)))
        .order(reasons::id)
        .select((reasons::entry_id, reasons::danger, reasons::words))
        .prepared()
        .load(conn)?;
    let mut found: HashMap<EntryId, Vec<(String, String)>> = HashMap::new();
    for (entry, danger, words) in rows {
        if let Some(entry) = entry {
            found.entry(entry).or_default().push((danger, words));
        }
    }
    Ok(found)
}

fn taken_back(conn: &mut AnyConn, ids: &[EntryId]) -> Result<HashMap<EntryId, TakenBack>, Failure> {
    let rows: Vec<(Option<EntryId>, EntryId, String, Instant, String)> = entries::table
        .inner_join(members::table.on(members::id.eq(entries::recorded_by)))
        .filter(entries::reverses.eq_any(padded(ids).into_iter().map(Some)))
        .select((entries::reverses, entries::id, members::name, entries::recorded_at, entries::remark))
        .prepared()
        .load(conn)?;
    Ok(rows
        .into_iter()
        .filter_map(|(of, entry, by, at, reason)| Some((of?, TakenBack { entry, by, at, reason })))
        .collect())
}

fn lines_of(conn: &mut AnyConn, ids: &[EntryId]) -> Result<HashMap<EntryId, Vec<ToldLine>>, Failure> {
    type Row = (
        EntryId,
        AccountColumns,
        Option<String>,
        Option<String>,
        Option<BaseUnit>,
        Option<String>,
        Option<String>,
        Option<String>,
        (Milli, Money),
    );
    let rows: Vec<Row> = postings::table
        .inner_join(accounts::table.on(accounts::id.eq(postings::account_id)))
        .left_join(lots::table.on(lots::id.nullable().eq(accounts::lot_id)))
        .left_join(items::table.on(items::id.eq(lots::item_id)))
        .left_join(places::table.on(places::id.nullable().eq(accounts::place_id)))
        .left_join(batches::table.on(batches::id.nullable().eq(accounts::batch_id)))
        .left_join(members::table.on(members::id.nullable().eq(accounts::member_id)))
        .filter(postings::entry_id.eq_any(padded(ids)))
        .order((postings::entry_id, postings::line))
        .select((
            postings::entry_id,
            (accounts::kind, accounts::lot_id, accounts::place_id, accounts::batch_id, accounts::member_id),
            lots::code.nullable(),
            items::name.nullable(),
            items::unit.nullable(),
            places::path.nullable(),
            batches::code.nullable(),
            members::name.nullable(),
            (postings::quantity, postings::cost),
        ))
        .prepared()
        .load(conn)?;
    let mut lines: HashMap<EntryId, Vec<ToldLine>> = HashMap::new();
    for (entry, account, lot, item, unit, place, batch, member, (quantity, cost)) in rows {
        lines.entry(entry).or_default().push(ToldLine {
            account: account_of(&account)?,
            lot: lot.zip(item),
            place,
            unit,
            name: batch.or(member),
            quantity,
            cost,
        });
    }
    Ok(lines)
}
