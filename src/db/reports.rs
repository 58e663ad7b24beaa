//! Sums over the books that reports show: what the cellar is worth, and what each member paid and took.
//! They are added up in the database, so that no more than the sums is held in memory.

use std::collections::HashMap;

mod flows;
mod losses;
mod tasted;
mod year;

pub use flows::{Flow, flows, value_at};
pub use losses::{Loss, account, losses};
pub use tasted::{Poured, Tasted, tasted};
pub use year::{MemberYear, first_day, in_span, members_in, set_yearly_limit, yearly_limit};

use diesel::dsl::sql;
use diesel::prelude::*;
use diesel::sql_types::{BigInt, Date, Nullable, Text};

use super::connection::AnyConn;
use super::failure::Failure;
use super::schema::{accounts, batches, members};
use crate::db::prepared::{Prepare, padded};
use crate::domain::batches::Stage;
use crate::domain::books::Account;
use crate::domain::members::Doer;
use crate::domain::stock::ItemKind;
use crate::units::days::Day;
use crate::units::ids::{ClubId, MemberId};
use crate::units::money::Money;

/// What the cellar is worth: stock by kind of item, and what is still in batches.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct Value {
    /// Stock, for every kind.
    pub stock: Vec<(ItemKind, Money)>,
    /// Drink in bulk.
    pub batches: Money,
}

impl Value {
    /// All of it.
    pub fn total(&self) -> Money {
        self.stock.iter().map(|(_, cost)| *cost).sum::<Money>() + self.batches
    }

    /// What it was before `since` was added.
    #[must_use]
    pub fn less(mut self, since: &Value) -> Self {
        for (kind, cost) in &mut self.stock {
            *cost = *cost - since.of(*kind);
        }
        self.batches = self.batches - since.batches;
        self
    }

    /// What one kind is worth.
    pub fn of(&self, kind: ItemKind) -> Money {
        self.stock.iter().find(|row| row.0 == kind).map(|row| row.1).unwrap_or_default()
    }
}

#[derive(QueryableByName)]
struct SumRow {
    /// The kind of item; none for batches.
    #[diesel(sql_type = Nullable<Text>)]
    kind: Option<String>,
    #[diesel(sql_type = BigInt)]
    cost: Money,
}

/// What the cellar is worth now. A batch that has ended holds nothing.
pub fn value(conn: &mut AnyConn, club: ClubId) -> Result<Value, Failure> {
    let open: Vec<Stage> = Stage::ALL.into_iter().filter(|stage| !stage.ended()).collect();
    let batches: Money = accounts::table
        .inner_join(batches::table.on(batches::id.nullable().eq(accounts::batch_id)))
        .filter(batches::club_id.eq(club).and(batches::stage.eq_any(padded(&open))))
        .select(sql::<BigInt>("CAST(COALESCE(SUM(accounts.cost), 0) AS BIGINT)"))
        .prepared()
        .get_result(conn)?;
    Ok(Value { stock: super::stock::value_by_kind(conn, club)?, batches })
}

/// What has come (+) and gone (−) since the end of a day; taken off what there is now, it gives the worth
/// on that day.
pub fn value_since(conn: &mut AnyConn, club: ClubId, day: Day) -> Result<Value, Failure> {
    let rows: Vec<SumRow> = diesel::sql_query(
        "SELECT items.kind AS kind, CAST(COALESCE(SUM(postings.cost), 0) AS BIGINT) AS cost FROM postings \
         JOIN accounts ON accounts.id = postings.account_id \
         LEFT JOIN lots ON lots.id = accounts.lot_id LEFT JOIN items ON items.id = lots.item_id \
         WHERE postings.club_id = $1 AND postings.day > $2 AND accounts.kind IN ('stock', 'batch') GROUP BY items.kind",
    )
    .bind::<BigInt, _>(club)
    .bind::<Date, _>(day)
    .load(conn)?;
    let of = |kind: Option<&str>| -> Money {
        rows.iter().filter(|row| row.kind.as_deref() == kind).map(|row| row.cost).sum()
    };
    let known = |kind: &str| ItemKind::from_code(kind).is_some();
    if let Some(odd) = rows.iter().filter_map(|row| row.kind.as_deref()).find(|kind| !known(kind)) {
        return Err(Failure::Fault(format!("the database holds the unknown word “{odd}”")));
    }
    let stock = ItemKind::ALL.into_iter().map(|kind| (kind, of(Some(kind.code())))).collect();
    Ok(Value { stock, batches: of(None) })
}

/// What a member paid and took.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct MemberMoney {
    /// Who.
    pub member: MemberId,
    /// Their name.
    pub name: String,
    /// They have left the club.
    pub left: bool,
    /// Supplies they paid for, reversed receipts taken off.
    pub paid: Money,
    /// Bottles they took home, at cost, reversed ones taken off.
    pub took: Money,
    /// What they paid to the club, less what the club paid them, reversed payments taken off.
    pub paid_in: Money,
    /// What they owe the club (+) or the club owes them (−).
    pub owes: Money,
}

/// What members paid and took, as far as the doer may see it, by name.
pub fn seen_by(conn: &mut AnyConn, doer: &Doer) -> Result<Vec<MemberMoney>, Failure> {
    let mut all = by_member(conn, doer.club)?;
    all.retain(|money| doer.may_see_money_of(money.member));
    Ok(all)
}

/// What every member paid and took, by name: those who are in the club, and those whose accounts were ever used. What
/// they took, laid out and paid in has an account each, whose balances are kept.
pub fn by_member(conn: &mut AnyConn, club: ClubId) -> Result<Vec<MemberMoney>, Failure> {
    let all: Vec<(MemberId, String, Option<Day>)> = members::table
        .filter(members::club_id.eq(club))
        .order((members::name, members::id))
        .select((members::id, members::name, members::left_on))
        .load(conn)?;
    let keys: Vec<_> = all.iter().flat_map(|row| Account::of_member(row.0).map(Account::key)).collect();
    let balances: HashMap<String, Money> = accounts::table
        .filter(accounts::club_id.eq(club).and(accounts::key.eq_any(padded(&keys))))
        .select((accounts::key, accounts::cost))
        .prepared()
        .load(conn)?
        .into_iter()
        .collect();
    let told = |(member, name, left_on): (MemberId, String, Option<Day>)| {
        let balance = |account: Account| balances.get(&account.key()).copied();
        let [took, paid, paid_in] = Account::of_member(member).map(balance);
        let known = left_on.is_none() || took.or(paid).or(paid_in).is_some();
        let [took, paid, paid_in] = [took, paid, paid_in].map(Option::unwrap_or_default);
        let owes = took + paid + paid_in;
        let (paid, paid_in) = (paid.negated(), paid_in.negated());
        known.then(|| MemberMoney { member, name, left: left_on.is_some(), paid, took, paid_in, owes })
    };
    Ok(all.into_iter().filter_map(told).collect())
}
