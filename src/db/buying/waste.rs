//! What was thrown away past its last good day, which is what counts took out of the books after that day, read by the
//! days that are looked at; and what will pass that day before it is used.

use std::collections::{BTreeMap, HashMap};

use chrono::Datelike;
use diesel::prelude::*;

use super::{Of, look, until};
use crate::db::connection::AnyConn;
use crate::db::failure::Failure;
use crate::db::schema::{accounts, entries, items, lots, openings, postings, upkeep};
use crate::db::stock::{StockFilter, Stocked, stock};
use crate::domain::books::{EntryKind, Holding};
use crate::domain::buying::Use;
use crate::domain::buying::waste::{Dated, left_over};
use crate::domain::reports::Span;
use crate::domain::stock::ItemKind;
use crate::units::days::Day;
use crate::units::ids::{ClubId, ItemId, LotId};
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

/// What is bought: by-products leave by counts when they are eaten, so that nobody knows a rate of their use.
const KINDS: [ItemKind; 3] = [ItemKind::Ingredient, ItemKind::Aid, ItemKind::Packaging];

/// A lot of which something will not be used in time.
pub struct Late {
    /// The lot, with all that is left of it at every place.
    pub line: Stocked,
    /// What of that will not be used.
    pub over: Milli,
    /// What that had cost.
    pub cost: Money,
    /// What was used of its item.
    pub used: Use,
}

/// Lots that will not be used up by their day, the soonest first.
pub fn late(conn: &mut AnyConn, club: ClubId, today: Day) -> Result<Vec<Late>, Failure> {
    let known = look(conn, club, today, Of::All)?.items;
    let used: HashMap<ItemId, Use> = known.into_iter().map(|(_, known)| (known.id, known.used)).collect();
    let filter = StockFilter { kinds: KINDS.to_vec(), ..StockFilter::default() };
    let mut lots: HashMap<LotId, Stocked> = HashMap::new();
    for line in stock(conn, club, &filter)? {
        let (quantity, cost) = (line.quantity, line.cost);
        let nothing = || Stocked { quantity: Milli::ZERO, cost: Money::ZERO, ..line };
        let lot = lots.entry(line.lot).or_insert_with(nothing);
        (lot.quantity, lot.cost) = (lot.quantity + quantity, lot.cost + cost);
    }
    let mut of_item: HashMap<ItemId, Vec<Dated>> = HashMap::new();
    for line in lots.values() {
        let Some(until) = line.best_before else { continue };
        let dated = Dated { lot: line.lot, left: line.quantity, until };
        of_item.entry(line.item).or_default().push(dated);
    }
    let mut found = Vec::new();
    for (item, dated) in of_item {
        let Some(used) = used.get(&item) else { continue };
        for (lot, over) in left_over(&dated, *used, today) {
            let Some(line) = lots.remove(&lot) else { continue };
            let cost = line.cost.share(over.get(), line.quantity.get());
            found.push(Late { line, over, cost, used: *used });
        }
    }
    found.sort_by_key(|late| (late.line.best_before, late.line.lot));
    Ok(found)
}
