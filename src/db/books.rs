//! The journal: the one place where entries, postings and balances are written.

use std::collections::HashMap;

use diesel::prelude::*;

pub use ledger::{LedgerLine, ledger};
pub use tell::{TakenBack, Told, ToldLine, Which, tell};

mod ledger;
mod tell;

use super::connection::AnyConn;
use super::failure::Failure;
use super::prepared::{Prepare, padded};
use super::schema::{accounts, counters, entries, postings};
use crate::domain::books::{Account, Change, EntryKind, Holding, NewEntry, Posting};
use crate::domain::members::Doer;
use crate::domain::reversals::{Dependent, MOST_DEPENDENTS, Recorded};
use crate::units::days::Day;
use crate::units::ids::{AccountId, BatchId, BottlingId, ClubId, EntryId, LotId, MemberId, PlaceId};
use crate::units::money::Money;
use crate::units::quantity::Milli;

/// The next number of a kind that people read: "batch", "lot", "receipt".
pub fn next_number(conn: &mut AnyConn, club: ClubId, name: &str) -> Result<i64, Failure> {
    next_numbers(conn, club, name, 1)
}

/// The first of the next `count` numbers of a kind: all of them are taken.
pub fn next_numbers(conn: &mut AnyConn, club: ClubId, name: &str, count: i64) -> Result<i64, Failure> {
    let of_club = counters::club_id.eq(club).and(counters::name.eq(name));
    let last: Option<i64> = counters::table.filter(of_club).select(counters::last).prepared().one(conn)?;
    let Some(last) = last else {
        let first = (counters::club_id.eq(club), counters::name.eq(name), counters::last.eq(count));
        diesel::insert_into(counters::table).values(first).execute(conn)?;
        return Ok(1);
    };
    diesel::update(counters::table.filter(of_club))
        .set(counters::last.eq(last + count))
        .prepared()
        .run(conn)?;
    Ok(last + 1)
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
            entries::happened_at.eq(entry.happened_at),
            entries::moved_as.eq(entry.moved.map(|moved| moved.progress.stage.code())),
            entries::moved_pitched_on.eq(entry.moved.and_then(|moved| moved.progress.pitched_on)),
            entries::moved_first_gravity.eq(entry.moved.and_then(|moved| moved.first_gravity)),
            entries::moved_strength.eq(entry.moved.and_then(|moved| moved.strength)),
        ))
        .prepared()
        .run(conn)?;
    Ok(())
}

/// Whether an entry was taken back.
pub fn is_reversed(conn: &mut AnyConn, id: EntryId) -> Result<bool, Failure> {
    let by: Option<EntryId> =
        entries::table.filter(entries::reverses.eq(id)).select(entries::id).first(conn).optional()?;
    Ok(by.is_some())
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
            .prepared()
            .run(conn)?;
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
        .prepared()
        .one(conn)?;
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
        .prepared()
        .run(conn)?;
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
        Account::Member(of) | Account::Payer(of) | Account::Settled(of) => member = Some(of),
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
        .prepared()
        .run(conn)?;
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
        ("payer", _, _, _, Some(member)) => Account::Payer(member),
        ("settled", _, _, _, Some(member)) => Account::Settled(member),
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
        .prepared()
        .one(conn)?;
    Ok(found.map_or_else(Holding::default, |(quantity, cost)| Holding { quantity, cost }))
}

/// What came to each of these accounts and went from it after a day.
pub(super) fn changes_after(
    conn: &mut AnyConn,
    club: ClubId,
    of: &[AccountId],
    day: Day,
) -> Result<HashMap<AccountId, Vec<Change>>, Failure> {
    let mut found: HashMap<AccountId, Vec<Change>> = HashMap::new();
    // Most is recorded for today, and then there is nothing later: no account has to be read through to see it.
    let any: Option<Day> = postings::table
        .filter(postings::club_id.eq(club).and(postings::day.gt(day)))
        .select(postings::day)
        .limit(1)
        .prepared()
        .one(conn)?;
    if any.is_none() {
        return Ok(found);
    }
    for some in of.chunks(500) {
        let rows: Vec<(AccountId, Day, Milli, Money)> = postings::table
            .filter(postings::account_id.eq_any(padded(some)).and(postings::day.gt(day)))
            .select((postings::account_id, postings::day, postings::quantity, postings::cost))
            .prepared()
            .all(conn)?;
        for (account, day, quantity, cost) in rows {
            found.entry(account).or_default().push(Change { day, by: Holding { quantity, cost } });
        }
    }
    Ok(found)
}

/// An entry with its lines, as reversing it needs them.
pub fn recorded(conn: &mut AnyConn, club: ClubId, id: EntryId) -> Result<Recorded, Failure> {
    type Head = (EntryKind, Day, Option<BatchId>, Option<BottlingId>);
    let (kind, day, batch, bottling): Head = entries::table
        .filter(entries::id.eq(id).and(entries::club_id.eq(club)))
        .select((entries::kind, entries::day, entries::batch_id, entries::bottling_id))
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
    Ok(Recorded { id, kind, day, batch, bottling, reversed_by, postings })
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
            .limit(i64::try_from(MOST_DEPENDENTS).unwrap_or(i64::MAX))
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
