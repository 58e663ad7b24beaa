//! The books line by line, in the order in which they were written: every posting with the entry it belongs to.

use diesel::prelude::*;

use crate::db::connection::AnyConn;
use crate::db::failure::Failure;
use crate::db::schema::{accounts, batches, entries, items, lots, members, places, postings};
use crate::domain::books::EntryKind;
use crate::domain::reports::Span;
use crate::units::days::{Day, Instant};
use crate::units::ids::{ClubId, EntryId};
use crate::units::money::Money;
use crate::units::quantity::{BaseUnit, Milli};

/// One posting, with what its entry says.
#[derive(Debug, Clone, PartialEq, Queryable)]
pub struct LedgerLine {
    /// The entry.
    pub entry: EntryId,
    /// What happened.
    pub kind: EntryKind,
    /// Its number, where it has one.
    pub code: Option<String>,
    /// When it happened.
    pub day: Day,
    /// When it was recorded.
    pub recorded_at: Instant,
    /// By whom.
    pub by: String,
    /// What was written.
    pub remark: String,
    /// Which entry it takes back.
    pub reverses: Option<EntryId>,
    /// Its place in the entry.
    pub line: i64,
    /// The kind of account.
    pub account: String,
    /// The lot, its item, and the item's unit, for stock.
    pub lot: (Option<String>, Option<String>, Option<BaseUnit>),
    /// The place, for stock.
    pub place: Option<String>,
    /// The batch.
    pub batch: Option<String>,
    /// The member.
    pub member: Option<String>,
    /// How much.
    pub quantity: Milli,
    /// What it cost.
    pub cost: Money,
}

/// Entries whose lines are read at once.
const ENTRIES: i64 = 1000;

/// The lines of some entries of these days after an entry, and where there may be more, the last entry that was looked
/// at. Payments are left out unless asked for: they are between a member and the stewards.
pub fn ledger(
    conn: &mut AnyConn,
    club: ClubId,
    span: Span,
    payments: bool,
    after: Option<EntryId>,
) -> Result<(Vec<LedgerLine>, Option<EntryId>), Failure> {
    let after = after.unwrap_or(EntryId(0));
    let ids: Vec<EntryId> = entries::table
        .filter(entries::club_id.eq(club).and(entries::id.gt(after)))
        .order(entries::id)
        .limit(ENTRIES)
        .select(entries::id)
        .load(conn)?;
    let Some(last) = ids.last().copied() else { return Ok((Vec::new(), None)) };
    let (by, meant) = diesel::alias!(members as by, entries as meant);
    let mut query = entries::table
        .inner_join(postings::table.on(postings::entry_id.eq(entries::id)))
        .inner_join(accounts::table.on(accounts::id.eq(postings::account_id)))
        .inner_join(by.on(by.field(members::id).eq(entries::recorded_by)))
        .left_join(meant.on(meant.field(entries::id).nullable().eq(entries::reverses)))
        .left_join(lots::table.on(lots::id.nullable().eq(accounts::lot_id)))
        .left_join(items::table.on(items::id.eq(lots::item_id)))
        .left_join(places::table.on(places::id.nullable().eq(accounts::place_id)))
        .left_join(batches::table.on(batches::id.nullable().eq(accounts::batch_id)))
        .left_join(members::table.on(members::id.nullable().eq(accounts::member_id)))
        .filter(entries::club_id.eq(club).and(entries::id.gt(after)).and(entries::id.le(last)))
        .filter(entries::day.between(span.first, span.last))
        .order((entries::id, postings::line))
        .select((
            entries::id,
            entries::kind,
            entries::code,
            entries::day,
            entries::recorded_at,
            by.field(members::name),
            entries::remark,
            entries::reverses,
            postings::line,
            accounts::kind,
            (lots::code.nullable(), items::name.nullable(), items::unit.nullable()),
            places::path.nullable(),
            batches::code.nullable(),
            members::name.nullable(),
            postings::quantity,
            postings::cost,
        ))
        .into_boxed();
    if !payments {
        let meant = meant.field(entries::kind).nullable();
        query = query
            .filter(entries::kind.ne(EntryKind::Payment))
            .filter(meant.is_null().or(meant.ne(EntryKind::Payment)));
    }
    let whole = i64::try_from(ids.len()).is_ok_and(|count| count < ENTRIES);
    Ok((query.load(conn)?, (!whole).then_some(last)))
}
