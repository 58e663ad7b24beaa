//! Reading and keeping whose the bottles of a batch are.

use std::collections::HashMap;

use diesel::prelude::*;

use super::connection::AnyConn;
use super::failure::Failure;
use super::schema::{accounts, efforts, entries, lots, members, postings, shares, wishes};
use crate::domain::books::EntryKind::{Bottling, Draw, Pitch, Withdrawal};
use crate::domain::efforts::EffortKind;
use crate::domain::members::Doer;
use crate::domain::shares::{Share, Sharing, Wish};
use crate::units::days::Instant;
use crate::units::ids::{BatchId, BottlingId, ClubId, EntryId, LotId, MemberId};
use crate::units::money::Money;
use crate::units::quantity::Milli;

/// How a batch is shared.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct Settled {
    /// The parts, with the names of who has them, by name.
    pub shares: Vec<(Share, String)>,
    /// Who settled it, and when.
    pub by: Option<(String, Instant)>,
}

impl Settled {
    /// The parts alone.
    pub fn parts(&self) -> Vec<Share> {
        self.shares.iter().map(|share| share.0).collect()
    }
}

/// How a batch is shared; among nobody, where it never was settled.
pub fn settled(conn: &mut AnyConn, club: ClubId, batch: BatchId) -> Result<Settled, Failure> {
    let rows: Vec<(MemberId, String, Money, Money, MemberId, Instant)> = shares::table
        .inner_join(members::table.on(members::id.eq(shares::member_id)))
        .filter(shares::club_id.eq(club).and(shares::batch_id.eq(batch)))
        .order((members::name, members::id))
        .select((
            shares::member_id,
            members::name,
            shares::laid_out,
            shares::worked,
            shares::settled_by,
            shares::settled_at,
        ))
        .load(conn)?;
    let by = match rows.first() {
        None => None,
        Some(row) => {
            let name = members::table.filter(members::id.eq(row.4)).select(members::name).first(conn)?;
            Some((name, row.5))
        }
    };
    let share = |(member, name, laid_out, worked, _, _)| (Share { member, laid_out, worked }, name);
    Ok(Settled { shares: rows.into_iter().map(share).collect(), by })
}

/// Keep how a batch is shared from now on.
pub fn settle(conn: &mut AnyConn, doer: &Doer, sharing: &Sharing) -> Result<(), Failure> {
    let of_batch = shares::club_id.eq(doer.club).and(shares::batch_id.eq(sharing.batch));
    diesel::delete(shares::table.filter(of_batch)).execute(conn)?;
    for share in &sharing.shares {
        diesel::insert_into(shares::table)
            .values((
                shares::batch_id.eq(sharing.batch),
                shares::member_id.eq(share.member),
                shares::club_id.eq(doer.club),
                shares::laid_out.eq(share.laid_out),
                shares::worked.eq(share.worked),
                shares::settled_by.eq(doer.member),
                shares::settled_at.eq(doer.now),
            ))
            .execute(conn)?;
    }
    Ok(())
}

/// What members put into a batch by what is recorded: the cost of what was drawn into it and used at its bottlings of
/// supplies that they paid for, and the work they noted. What the club’s purse paid for is nobody’s part.
pub fn put_in(conn: &mut AnyConn, club: ClubId, batch: BatchId) -> Result<Vec<Share>, Failure> {
    let (back, bought, payer) = diesel::alias!(entries as back, postings as bought, accounts as payer);
    let drawn: Vec<(MemberId, Money)> = entries::table
        .inner_join(postings::table.on(postings::entry_id.eq(entries::id)))
        .inner_join(accounts::table.on(accounts::id.eq(postings::account_id)))
        .inner_join(lots::table.on(lots::id.nullable().eq(accounts::lot_id)))
        .inner_join(bought.on(bought.field(postings::entry_id).eq(lots::entry_id)))
        .inner_join(payer.on(payer.field(accounts::id).eq(bought.field(postings::account_id))))
        .left_join(back.on(back.field(entries::reverses).eq(entries::id.nullable())))
        .filter(entries::club_id.eq(club).and(entries::batch_id.eq(Some(batch))))
        .filter(entries::kind.eq_any([Draw, Pitch, Bottling]))
        .filter(back.field(entries::id).nullable().is_null())
        .filter(postings::quantity.lt(Milli::ZERO))
        .filter(payer.field(accounts::kind).eq("payer"))
        .select((payer.field(accounts::member_id).assume_not_null(), postings::cost))
        .load(conn)?;
    let worked: Vec<(MemberId, Money)> = efforts::table
        .filter(efforts::club_id.eq(club).and(efforts::batch_id.eq(batch)))
        .filter(efforts::kind.eq(EffortKind::Work).and(efforts::struck_at.is_null()))
        .select((efforts::recorded_by, efforts::cost))
        .load(conn)?;
    let mut found: HashMap<MemberId, Share> = HashMap::new();
    let nothing = |member| Share { member, laid_out: Money::ZERO, worked: Money::ZERO };
    for (member, cost) in drawn {
        let share = found.entry(member).or_insert_with(|| nothing(member));
        share.laid_out = share.laid_out - cost;
    }
    for (member, cost) in worked {
        let share = found.entry(member).or_insert_with(|| nothing(member));
        share.worked = share.worked + cost;
    }
    Ok(found.into_values().collect())
}

/// How many bottles of a lot each member took, net of what was taken back.
pub fn taken(conn: &mut AnyConn, club: ClubId, lot: LotId) -> Result<HashMap<MemberId, i64>, Failure> {
    let (back, other, who) = diesel::alias!(entries as back, postings as other, accounts as who);
    let rows: Vec<(EntryId, i64, MemberId, Milli)> = accounts::table
        .inner_join(postings::table.on(postings::account_id.eq(accounts::id)))
        .inner_join(entries::table.on(entries::id.eq(postings::entry_id)))
        .inner_join(other.on(other.field(postings::entry_id).eq(entries::id)))
        .inner_join(who.on(who.field(accounts::id).eq(other.field(postings::account_id))))
        .left_join(back.on(back.field(entries::reverses).eq(entries::id.nullable())))
        .filter(accounts::lot_id.eq(Some(lot)).and(accounts::club_id.eq(club)))
        .filter(entries::kind.eq(Withdrawal).and(back.field(entries::id).nullable().is_null()))
        .filter(who.field(accounts::kind).eq("member"))
        .select((
            entries::id,
            postings::line,
            who.field(accounts::member_id).assume_not_null(),
            postings::quantity,
        ))
        .load(conn)?;
    let mut found = HashMap::new();
    for (_, _, member, quantity) in rows {
        *found.entry(member).or_default() -= quantity.get() / 1000;
    }
    Ok(found)
}

/// A wish, and whose it is.
pub type Wished = (MemberId, String, i64, String);

/// What members would like to have of a bottling, the first to say so first.
pub fn wishes(conn: &mut AnyConn, club: ClubId, bottling: BottlingId) -> Result<Vec<Wished>, Failure> {
    Ok(wishes::table
        .inner_join(members::table.on(members::id.eq(wishes::member_id)))
        .filter(wishes::club_id.eq(club).and(wishes::bottling_id.eq(bottling)))
        .order((wishes::wished_at, members::name))
        .select((members::id, members::name, wishes::bottles, wishes::remark))
        .load(conn)?)
}

/// Keep a wish in place of the one before.
pub fn wish(conn: &mut AnyConn, doer: &Doer, wish: &Wish) -> Result<(), Failure> {
    let own = wishes::bottling_id.eq(wish.bottling).and(wishes::member_id.eq(doer.member));
    diesel::delete(wishes::table.filter(own)).execute(conn)?;
    if wish.bottles > 0 {
        diesel::insert_into(wishes::table)
            .values((
                wishes::bottling_id.eq(wish.bottling),
                wishes::member_id.eq(doer.member),
                wishes::club_id.eq(doer.club),
                wishes::bottles.eq(i64::from(wish.bottles)),
                wishes::remark.eq(&wish.remark),
                wishes::wished_at.eq(doer.now),
            ))
            .execute(conn)?;
    }
    Ok(())
}

/// What is in the club’s purse.
pub fn purse(conn: &mut AnyConn, club: ClubId) -> Result<Money, Failure> {
    let key = crate::domain::books::Account::Purse.key();
    let of_club = accounts::club_id.eq(club).and(accounts::key.eq(key));
    let found: Option<Money> =
        accounts::table.filter(of_club).select(accounts::cost).first(conn).optional()?;
    Ok(found.unwrap_or_default())
}
