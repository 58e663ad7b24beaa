//! The journal: the one place where entries, postings and balances are written.

use diesel::prelude::*;

use super::connection::AnyConn;
use super::failure::Failure;
use super::schema::{accounts, counters, entries, lots, postings};
use crate::domain::books::{Account, EntryKind, Holding, NewEntry, Posting};
use crate::domain::members::Doer;
use crate::domain::reversals::{Dependent, Recorded};
use crate::units::days::{Day, Instant};
use crate::units::ids::{AccountId, BatchId, BottlingId, ClubId, EntryId, LotId, MemberId, PlaceId};
use crate::units::money::Money;
use crate::units::quantity::Milli;

/// The next number of a kind that people read: "batch", "lot", "receipt".
pub fn next_number(conn: &mut AnyConn, club: ClubId, name: &str) -> Result<i64, Failure> {
    let of_club = counters::club_id.eq(club).and(counters::name.eq(name));
    let bumped = diesel::update(counters::table.filter(of_club))
        .set(counters::last.eq(counters::last + 1))
        .execute(conn)?;
    if bumped == 0 {
        diesel::insert_into(counters::table)
            .values((counters::club_id.eq(club), counters::name.eq(name), counters::last.eq(1_i64)))
            .execute(conn)?;
        return Ok(1);
    }
    let of_club = counters::club_id.eq(club).and(counters::name.eq(name));
    Ok(counters::table.filter(of_club).select(counters::last).first(conn)?)
}

/// The first half of recording: the entry itself, so that new lots and bottlings can name it.
pub fn begin_entry(
    conn: &mut AnyConn,
    doer: &Doer,
    id: EntryId,
    code: Option<&str>,
    entry: &NewEntry,
) -> Result<(), Failure> {
    if !entry.balances() {
        return Err(Failure::Fault("an entry does not balance".to_owned()));
    }
    diesel::insert_into(entries::table)
        .values((
            entries::id.eq(id),
            entries::club_id.eq(doer.club),
            entries::kind.eq(entry.kind),
            entries::code.eq(code),
            entries::day.eq(entry.day),
            entries::recorded_at.eq(doer.now),
            entries::recorded_by.eq(doer.member),
            entries::batch_id.eq(entry.batch),
            entries::bottling_id.eq(entry.bottling),
            entries::reverses.eq(entry.reverses),
            entries::remark.eq(&entry.remark),
        ))
        .execute(conn)?;
    Ok(())
}

/// The second half: every line, and the balance of every account it touches.
pub fn post(conn: &mut AnyConn, club: ClubId, id: EntryId, entry: &NewEntry) -> Result<(), Failure> {
    for (line, posting) in (1_i64..).zip(&entry.postings) {
        let account = add_to_balance(conn, club, entry.day, posting)?;
        diesel::insert_into(postings::table)
            .values((
                postings::entry_id.eq(id),
                postings::line.eq(line),
                postings::club_id.eq(club),
                postings::account_id.eq(account),
                postings::day.eq(entry.day),
                postings::quantity.eq(posting.quantity),
                postings::cost.eq(posting.cost),
            ))
            .execute(conn)?;
    }
    Ok(())
}

fn add_to_balance(
    conn: &mut AnyConn,
    club: ClubId,
    day: Day,
    posting: &Posting,
) -> Result<AccountId, Failure> {
    let key = posting.account.key();
    let found: Option<(AccountId, Milli, Money, Day)> = accounts::table
        .filter(accounts::club_id.eq(club).and(accounts::key.eq(&key)))
        .select((accounts::id, accounts::quantity, accounts::cost, accounts::opened_on))
        .first(conn)
        .optional()?;
    let Some((id, quantity, cost, opened_on)) = found else {
        return open_account(conn, club, day, &key, posting);
    };
    let sum = |a: i64, b: i64| {
        a.checked_add(b).ok_or_else(|| Failure::Refused("too much for one account".to_owned()))
    };
    diesel::update(accounts::table.filter(accounts::id.eq(id)))
        .set((
            accounts::quantity.eq(sum(quantity.get(), posting.quantity.get())?),
            accounts::cost.eq(sum(cost.micros(), posting.cost.micros())?),
            accounts::opened_on.eq(opened_on.min(day)),
        ))
        .execute(conn)?;
    Ok(id)
}

fn open_account(
    conn: &mut AnyConn,
    club: ClubId,
    day: Day,
    key: &str,
    posting: &Posting,
) -> Result<AccountId, Failure> {
    let id = AccountId::fresh();
    let (mut lot, mut place, mut batch, mut member) = (None, None, None, None);
    match posting.account {
        Account::Stock { lot: of, place: at } => (lot, place) = (Some(of), Some(at)),
        Account::Batch(of) => batch = Some(of),
        Account::Member(of) => member = Some(of),
        _ => {}
    }
    diesel::insert_into(accounts::table)
        .values((
            accounts::id.eq(id),
            accounts::club_id.eq(club),
            accounts::key.eq(key),
            accounts::kind.eq(posting.account.kind()),
            accounts::lot_id.eq(lot),
            accounts::place_id.eq(place),
            accounts::batch_id.eq(batch),
            accounts::member_id.eq(member),
            accounts::opened_on.eq(day),
            accounts::quantity.eq(posting.quantity),
            accounts::cost.eq(posting.cost),
        ))
        .execute(conn)?;
    Ok(id)
}

/// The columns that say which account a row is.
pub(super) type AccountColumns = (String, Option<LotId>, Option<PlaceId>, Option<BatchId>, Option<MemberId>);

/// Which account these columns are.
pub(super) fn account_of(columns: &AccountColumns) -> Result<Account, Failure> {
    Ok(match (columns.0.as_str(), columns.1, columns.2, columns.3, columns.4) {
        ("stock", Some(lot), Some(place), ..) => Account::Stock { lot, place },
        ("batch", _, _, Some(batch), _) => Account::Batch(batch),
        ("member", _, _, _, Some(member)) => Account::Member(member),
        ("purse", ..) => Account::Purse,
        ("lost", ..) => Account::Lost,
        ("tasted", ..) => Account::Tasted,
        ("given", ..) => Account::Given,
        ("difference", ..) => Account::Difference,
        (kind, ..) => return Err(Failure::Fault(format!("an account of kind “{kind}” names nothing"))),
    })
}

/// What an account holds; nothing where it was never opened.
pub fn holding(conn: &mut AnyConn, club: ClubId, account: Account) -> Result<Holding, Failure> {
    let found: Option<(Milli, Money)> = accounts::table
        .filter(accounts::club_id.eq(club).and(accounts::key.eq(account.key())))
        .select((accounts::quantity, accounts::cost))
        .first(conn)
        .optional()?;
    Ok(found.map_or_else(Holding::default, |(quantity, cost)| Holding { quantity, cost }))
}

/// An entry with its lines, as reversing it needs them.
pub fn recorded(conn: &mut AnyConn, club: ClubId, id: EntryId) -> Result<Recorded, Failure> {
    let (kind, day): (EntryKind, Day) = entries::table
        .filter(entries::id.eq(id).and(entries::club_id.eq(club)))
        .select((entries::kind, entries::day))
        .first(conn)?;
    let reversed_by =
        entries::table.filter(entries::reverses.eq(id)).select(entries::id).first(conn).optional()?;
    let lines: Vec<(AccountColumns, Milli, Money)> = postings::table
        .inner_join(accounts::table.on(accounts::id.eq(postings::account_id)))
        .filter(postings::entry_id.eq(id))
        .order(postings::line)
        .select((
            (accounts::kind, accounts::lot_id, accounts::place_id, accounts::batch_id, accounts::member_id),
            postings::quantity,
            postings::cost,
        ))
        .load(conn)?;
    let postings = lines
        .into_iter()
        .map(|(account, quantity, cost)| Ok(Posting { account: account_of(&account)?, quantity, cost }))
        .collect::<Result<_, Failure>>()?;
    Ok(Recorded { id, kind, day, reversed_by, postings })
}

/// Later entries, not reversed and no reversals, that rest on this one, latest first: those that took something out of
/// a stock or batch account into which it had brought some, and those that ended a batch it moved.
pub fn dependents(conn: &mut AnyConn, club: ClubId, recorded: &Recorded) -> Result<Vec<Dependent>, Failure> {
    let back = diesel::alias!(entries as back);
    let mut found: Vec<Dependent> = Vec::new();
    for posting in recorded.postings.iter().filter(|posting| posting.account.never_below_zero()) {
        let mut later = postings::table
            .inner_join(accounts::table.on(accounts::id.eq(postings::account_id)))
            .inner_join(entries::table.on(entries::id.eq(postings::entry_id)))
            .left_join(back.on(back.field(entries::reverses).eq(entries::id.nullable())))
            .filter(accounts::club_id.eq(club).and(accounts::key.eq(posting.account.key())))
            .filter(postings::entry_id.gt(recorded.id))
            .filter(entries::reverses.is_null().and(back.field(entries::id).nullable().is_null()))
            .order(postings::entry_id.desc())
            .limit(500)
            .select((entries::id, entries::kind, entries::day))
            .into_boxed();
        let ended = entries::kind.eq_any([EntryKind::Closing, EntryKind::Abandonment]);
        let took = postings::quantity.lt(Milli::ZERO).or(postings::cost.lt(Money::ZERO));
        later = if posting.quantity > Milli::ZERO || posting.cost > Money::ZERO {
            later.filter(took.or(ended))
        } else {
            later.filter(ended)
        };
        for (id, kind, day) in later.load(conn)? {
            if !found.iter().any(|known| known.id == id) {
                found.push(Dependent { id, kind, day });
            }
        }
    }
    found.sort_by_key(|dependent| std::cmp::Reverse(dependent.id));
    Ok(found)
}

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
    /// Which entry it takes back.
    pub reverses: Option<EntryId>,
    /// What took it back.
    pub reversed: Option<TakenBack>,
    /// Its lines.
    pub lines: Vec<ToldLine>,
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
    pub unit: Option<crate::units::quantity::BaseUnit>,
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
    /// Those that a member paid for or took home.
    Member(MemberId),
    /// All of the club.
    All,
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
        Option<EntryId>,
    );
    use super::schema::members;
    let mut query = entries::table
        .inner_join(members::table.on(members::id.eq(entries::recorded_by)))
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
            entries::reverses,
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
            query.filter(entries::id.eq_any(entries_touching(conn, own, before, limit)?))
        }
        Which::Lot(lot) => {
            let own = accounts::table.filter(accounts::lot_id.eq(lot)).select(accounts::id).load(conn)?;
            query.filter(entries::id.eq_any(entries_touching(conn, own, before, limit)?))
        }
        Which::Member(member) => {
            let key = Account::Member(member).key();
            let of_club = accounts::club_id.eq(club).and(accounts::key.eq(key));
            let own = accounts::table.filter(of_club).select(accounts::id).load(conn)?;
            query.filter(entries::id.eq_any(entries_touching(conn, own, before, limit)?))
        }
        Which::All => query,
    };
    let rows: Vec<Row> = query.load(conn)?;
    let ids: Vec<EntryId> = rows.iter().map(|row| row.0).collect();
    let mut reversed = taken_back(conn, &ids)?;
    let mut lines = lines_of(conn, &ids)?;
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
            reverses,
            reversed: reversed.remove(&id),
            lines: lines.remove(&id).unwrap_or_default(),
        })
        .collect())
}

/// The latest entries with a line on one of these accounts.
fn entries_touching(
    conn: &mut AnyConn,
    of_accounts: Vec<AccountId>,
    before: Option<EntryId>,
    limit: i64,
) -> Result<Vec<EntryId>, Failure> {
    let mut query = postings::table
        .filter(postings::account_id.eq_any(of_accounts))
        .order(postings::entry_id.desc())
        .limit(limit * 2)
        .select(postings::entry_id)
        .into_boxed();
    if let Some(before) = before {
        query = query.filter(postings::entry_id.lt(before));
    }
    let mut found: Vec<EntryId> = query.load(conn)?;
    found.dedup();
    Ok(found)
}

fn taken_back(
    conn: &mut AnyConn,
    ids: &[EntryId],
) -> Result<std::collections::HashMap<EntryId, TakenBack>, Failure> {
    use super::schema::members;
    let rows: Vec<(Option<EntryId>, EntryId, String, Instant, String)> = entries::table
        .inner_join(members::table.on(members::id.eq(entries::recorded_by)))
        .filter(entries::reverses.eq_any(ids.iter().copied().map(Some)))
        .select((entries::reverses, entries::id, members::name, entries::recorded_at, entries::remark))
        .load(conn)?;
    Ok(rows
        .into_iter()
        .filter_map(|(of, entry, by, at, reason)| Some((of?, TakenBack { entry, by, at, reason })))
        .collect())
}

fn lines_of(
    conn: &mut AnyConn,
    ids: &[EntryId],
) -> Result<std::collections::HashMap<EntryId, Vec<ToldLine>>, Failure> {
    use super::schema::{batches, items, members, places};
    type Row = (
        EntryId,
        AccountColumns,
        Option<String>,
        Option<String>,
        Option<crate::units::quantity::BaseUnit>,
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
        .filter(postings::entry_id.eq_any(ids.iter().copied()))
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
        .load(conn)?;
    let mut lines: std::collections::HashMap<EntryId, Vec<ToldLine>> = std::collections::HashMap::new();
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
