//! What members paid and took in some days; since when the club has books; the limit that it set itself.

use std::collections::HashMap;

use diesel::prelude::*;
use diesel::sql_types::{BigInt, Date, Text};

use super::{MemberMoney, by_member};
use crate::db::connection::AnyConn;
use crate::db::failure::Failure;
use crate::db::schema::{clubs, postings};
use crate::domain::members::Doer;
use crate::domain::reports::Span;
use crate::units::days::Day;
use crate::units::ids::{ClubId, MemberId};
use crate::units::money::Money;
use crate::units::quantity::Milli;

/// What a member paid and took in some days.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct MemberYear {
    /// Who, and the whole of their accounts.
    pub money: MemberMoney,
    /// What they owed (+) or were owed (−) before the first day.
    pub before: Money,
    /// Supplies they paid for.
    pub paid: Money,
    /// What they took home.
    pub took: Money,
    /// What they paid to the club, less what the club paid them.
    pub paid_in: Money,
    /// What they owed (+) or were owed (−) at the end of the last day.
    pub after: Money,
}

#[derive(QueryableByName)]
struct Row {
    #[diesel(sql_type = BigInt)]
    member: MemberId,
    #[diesel(sql_type = Text)]
    kind: String,
    #[diesel(sql_type = BigInt)]
    inside: Money,
    #[diesel(sql_type = BigInt)]
    since: Money,
}

/// What members paid and took in some days, as far as the doer may see it, by name.
pub fn in_span(conn: &mut AnyConn, doer: &Doer, span: Span) -> Result<Vec<MemberYear>, Failure> {
    let mut all = members_in(conn, doer.club, span)?;
    all.retain(|year| doer.may_see_money_of(year.money.member));
    Ok(all)
}

/// What every member paid and took in some days, by name.
pub fn members_in(conn: &mut AnyConn, club: ClubId, span: Span) -> Result<Vec<MemberYear>, Failure> {
    // SQLite numbers what is bound by the order in which it first stands there.
    let rows: Vec<Row> = diesel::sql_query(
        "SELECT accounts.member_id AS member, accounts.kind AS kind, \
         CAST(SUM(CASE WHEN postings.day <= $1 THEN postings.cost ELSE 0 END) AS BIGINT) AS inside, \
         CAST(SUM(CASE WHEN postings.day > $1 THEN postings.cost ELSE 0 END) AS BIGINT) AS since \
         FROM postings JOIN accounts ON accounts.id = postings.account_id \
         WHERE postings.club_id = $2 AND postings.day >= $3 AND accounts.kind IN ('member', 'payer', 'settled') \
         GROUP BY accounts.member_id, accounts.kind",
    )
    .bind::<Date, _>(span.last)
    .bind::<BigInt, _>(club)
    .bind::<Date, _>(span.first)
    .load(conn)?;
    let sums: HashMap<(MemberId, &str), &Row> =
        rows.iter().map(|row| ((row.member, row.kind.as_str()), row)).collect();
    let told = |money: MemberMoney| {
        let of = |kind: &str| {
            let row = sums.get(&(money.member, kind));
            row.map_or((Money::ZERO, Money::ZERO), |row| (row.inside, row.since))
        };
        let [took, paid, paid_in] = ["member", "payer", "settled"].map(of);
        let after = money.owes - took.1 - paid.1 - paid_in.1;
        let before = after - took.0 - paid.0 - paid_in.0;
        let (paid, paid_in) = (paid.0.negated(), paid_in.0.negated());
        MemberYear { money, before, paid, took: took.0, paid_in, after }
    };
    Ok(by_member(conn, club)?.into_iter().map(told).collect())
}

/// The first day of the books.
pub fn first_day(conn: &mut AnyConn, club: ClubId) -> Result<Option<Day>, Failure> {
    let first = postings::table.filter(postings::club_id.eq(club)).order(postings::day);
    Ok(first.select(postings::day).first(conn).optional()?)
}

/// How much the club says it may make in a calendar year.
pub fn yearly_limit(conn: &mut AnyConn, club: ClubId) -> Result<Option<Milli>, Failure> {
    Ok(clubs::table.filter(clubs::id.eq(club)).select(clubs::yearly_limit).first(conn)?)
}

/// Keep another limit, or none.
pub fn set_yearly_limit(conn: &mut AnyConn, club: ClubId, limit: Option<Milli>) -> Result<(), Failure> {
    let own = clubs::table.filter(clubs::id.eq(club));
    diesel::update(own).set(clubs::yearly_limit.eq(limit)).execute(conn)?;
    Ok(())
}
