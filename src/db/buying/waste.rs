//! What was thrown away past its last good day: what counts took out of the books after that day. Read by the days that
//! are looked at.

use std::collections::BTreeMap;

use chrono::Datelike;
use diesel::prelude::*;

use super::until;
use crate::db::connection::AnyConn;
use crate::db::failure::Failure;
use crate::db::schema::{accounts, entries, items, lots, openings, postings, upkeep};
use crate::domain::books::{EntryKind, Holding};
use crate::domain::reports::Span;
use crate::domain::stock::ItemKind;
use crate::units::days::Day;
use crate::units::ids::{ClubId, ItemId};
use crate::units::money::Money;
use crate::units::quantity::{BaseUnit, Milli};

/// What was thrown away of an item in a year.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Thrown {
    /// The year.
    pub year: i32,
    /// The item.
    pub item: ItemId,
    /// Its name.
    pub name: String,
    /// Its kind.
    pub kind: ItemKind,
    /// What it is counted in.
    pub unit: BaseUnit,
    /// How much, and what it had cost.
    pub gone: Holding,
}

/// What was thrown away past its day, by year, the latest first, then by name.
pub fn thrown(conn: &mut AnyConn, club: ClubId, span: Span) -> Result<Vec<Thrown>, Failure> {
    type Of = (ItemId, String, ItemKind, BaseUnit);
    type Good = (Option<Day>, Option<Day>, Option<i64>);
    let back = diesel::alias!(entries as back);
    let rows: Vec<(Day, Milli, Money, Of, Good)> = postings::table
        .inner_join(entries::table.on(entries::id.eq(postings::entry_id)))
        .inner_join(accounts::table.on(accounts::id.eq(postings::account_id)))
        .inner_join(lots::table.on(lots::id.nullable().eq(accounts::lot_id)))
        .inner_join(items::table.on(items::id.eq(lots::item_id)))
        .left_join(openings::table.on(openings::lot_id.eq(lots::id)))
        .left_join(upkeep::table.on(upkeep::item_id.eq(lots::item_id)))
        .left_join(back.on(back.field(entries::reverses).eq(entries::id.nullable())))
        .filter(postings::club_id.eq(club).and(postings::day.between(span.first, span.last)))
        .filter(postings::quantity.lt(Milli::ZERO).and(entries::kind.eq(EntryKind::Difference)))
        .filter(back.field(entries::id).nullable().is_null())
        .filter(lots::best_before.is_not_null().or(openings::lot_id.nullable().is_not_null()))
        .select((
            postings::day,
            postings::quantity,
            postings::cost,
            (items::id, items::name, items::kind, items::unit),
            (lots::best_before, openings::opened_on.nullable(), upkeep::keeps_open_days.nullable()),
        ))
        .load(conn)?;
    let mut found: BTreeMap<(i32, String, ItemId), Thrown> = BTreeMap::new();
    for (day, quantity, cost, (item, name, kind, unit), good) in rows {
        if until(good.0, good.1, good.2).is_none_or(|last| day <= last) {
            continue;
        }
        let (year, folded) = (day.year(), crate::units::text::folded(&name));
        let nothing = || Thrown { year, item, name, kind, unit, gone: Holding::default() };
        let gone = &mut found.entry((-year, folded, item)).or_insert_with(nothing).gone;
        gone.quantity = gone.quantity - quantity;
        gone.cost = gone.cost - cost;
    }
    Ok(found.into_values().collect())
}
