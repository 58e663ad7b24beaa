//! What reports add up, against the books: year by year, club by club, with the same functions as the reports.

use std::collections::BTreeMap;

use diesel::prelude::*;

use super::Off;
use crate::db::connection::AnyConn;
use crate::db::failure::Failure;
use crate::db::reports::{account, by_member, first_day, flows, losses, members_in, value_at};
use crate::db::schema::{accounts, clubs, postings};
use crate::db::{batches, bottles, costs};
use crate::domain::books::{Account, Holding};
use crate::domain::reports::Span;
use crate::domain::stock::ItemKind;
use crate::units::days::Day;
use crate::units::ids::{BatchId, ClubId, ItemId, MemberId};
use crate::units::money::Money;
use crate::units::quantity::Milli;

/// What was there at the end of the year before.
#[derive(Default)]
struct Before {
    items: BTreeMap<ItemId, Holding>,
    members: BTreeMap<MemberId, Money>,
}

/// The first sum of each report that is not what the books say.
pub(super) fn first_off(conn: &mut AnyConn) -> Result<Vec<Off>, Failure> {
    let clubs: Vec<ClubId> = clubs::table.order(clubs::id).select(clubs::id).load(conn)?;
    let mut found: Vec<Off> = Vec::new();
    for club in clubs {
        let last = postings::table.filter(postings::club_id.eq(club)).order(postings::day.desc());
        let last: Option<Day> = last.select(postings::day).first(conn).optional()?;
        let (Some(first), Some(last)) = (first_day(conn, club)?, last) else { continue };
        let mut before = Before::default();
        for span in (Span { first, last }).years().filter_map(Span::year) {
            let mut off = stock(conn, club, span, &mut before.items)?;
            off.extend(lost(conn, club, span)?);
            off.extend(members(conn, club, span, &mut before.members)?);
            off.extend(bottled(conn, club, span)?);
            off.extend(in_bulk(conn, club, span)?);
            let new = |off: &Off| !found.iter().any(|known| known.meaning == off.meaning);
            off.retain(new);
            found.extend(off);
        }
        for money in by_member(conn, club)? {
            let owed = before.members.get(&money.member).copied().unwrap_or_default();
            if owed != money.owes {
                found.push(off(
                    "members",
                    money.member.0,
                    "a statement is not what the years add up to",
                    money.name,
                ));
            }
        }
    }
    Ok(found)
}

fn off(table: &'static str, id: i64, meaning: &str, what: impl Into<String>) -> Off {
    Off { table, id, meaning: meaning.to_owned(), what: what.into() }
}

/// What there is of an item when a year begins is what there was when the last one ended; all items together are what
/// the cellar was worth.
fn stock(
    conn: &mut AnyConn,
    club: ClubId,
    span: Span,
    before: &mut BTreeMap<ItemId, Holding>,
) -> Result<Vec<Off>, Failure> {
    let year = span.last;
    let found = flows(conn, club, span)?;
    let mut wrong = Vec::new();
    for flow in &found {
        if before.remove(&flow.id).unwrap_or_default() != flow.before {
            let what = format!("{}, in the year to {year}", flow.item.name);
            wrong.push(off(
                "items",
                flow.id.0,
                "the stock of an item does not follow from the year before",
                what,
            ));
        }
    }
    let gone = before.iter().find(|(_, held)| **held != Holding::default());
    wrong.extend(gone.map(|(id, _)| {
        let what = format!("gone in the year to {year}");
        off("items", id.0, "the stock of an item does not follow from the year before", what)
    }));
    let worth = value_at(conn, club, &[span.last])?.pop().unwrap_or_default();
    for kind in ItemKind::ALL {
        let of = found.iter().filter(|flow| flow.item.kind == kind);
        if of.map(|flow| flow.after.cost).sum::<Money>() != worth.of(kind) {
            let what = format!("{} on {year}", kind.heading());
            wrong.push(off("clubs", club.0, "the worth of stock is not that of its items", what));
        }
    }
    *before = found.into_iter().map(|flow| (flow.id, flow.after)).collect();
    Ok(wrong)
}

fn lost(conn: &mut AnyConn, club: ClubId, span: Span) -> Result<Option<Off>, Failure> {
    let told: Money = losses(conn, club, span)?.iter().map(|loss| loss.cost).sum();
    let booked = account(conn, club, Account::Lost, span)?;
    let what = || format!("{} told, {} booked in the year to {}", told.plain(), booked.plain(), span.last);
    Ok((told != booked).then(|| off("clubs", club.0, "losses are not what their account took", what())))
}

fn members(
    conn: &mut AnyConn,
    club: ClubId,
    span: Span,
    before: &mut BTreeMap<MemberId, Money>,
) -> Result<Option<Off>, Failure> {
    let mut wrong = None;
    for year in members_in(conn, club, span)? {
        let (id, name) = (year.money.member, year.money.name);
        let follows = year.before + year.took - year.paid - year.paid_in == year.after;
        if before.insert(id, year.after).unwrap_or_default() != year.before || !follows {
            let what = format!("{name}, in the year to {}", span.last);
            wrong =
                Some(off("members", id.0, "what a member owes does not follow from the year before", what));
        }
    }
    Ok(wrong)
}

/// What bottles cost, part by part, is what they were booked at.
fn bottled(conn: &mut AnyConn, club: ClubId, span: Span) -> Result<Option<Off>, Failure> {
    let found = bottles::of_days(conn, club, span, None)?;
    let known = costs::of_bottlings(conn, &found)?;
    for some in found.chunks(500) {
        let entries: Vec<_> = some.iter().map(|bottling| bottling.entry).collect();
        let booked = costs::booked(conn, &entries)?;
        for bottling in some {
            let told = known.get(&bottling.entry).map(crate::domain::costs::BottlingCost::total);
            if told != booked.get(&bottling.entry).copied() {
                let what = format!("bottling {}", bottling.code);
                return Ok(Some(off(
                    "bottlings",
                    bottling.id.0,
                    "bottles do not cost what was booked",
                    what,
                )));
            }
        }
    }
    Ok(None)
}

/// What is left of a batch by its yields is what its account holds.
fn in_bulk(conn: &mut AnyConn, club: ClubId, span: Span) -> Result<Option<Off>, Failure> {
    let found = batches::of_days(conn, club, span, None)?;
    let ids: Vec<BatchId> = found.iter().map(|batch| batch.id).collect();
    let stories = batches::stories(conn, club, &ids)?;
    for some in found.chunks(500) {
        let ids: Vec<Option<BatchId>> = some.iter().map(|batch| Some(batch.id)).collect();
        let held: Vec<(Option<BatchId>, Milli)> = accounts::table
            .filter(accounts::batch_id.eq_any(ids))
            .select((accounts::batch_id, accounts::quantity))
            .load(conn)?;
        for batch in some {
            let held = held.iter().find(|row| row.0 == Some(batch.id)).map(|row| row.1).unwrap_or_default();
            if stories.get(&batch.id).map(|story| story.left).unwrap_or_default() != held {
                let what = format!("batch {}", batch.code);
                let meaning = "what is left of a batch by its yields is not in the books";
                return Ok(Some(off("batches", batch.id.0, meaning, what)));
            }
        }
    }
    Ok(None)
}
