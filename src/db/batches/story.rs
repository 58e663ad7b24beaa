//! What the books and the readings say of a batch: all that its yields and its strength follow from.

use diesel::prelude::*;

use super::stage::moves;
use super::{batch, gravity_ends, readings};
use crate::db::connection::AnyConn;
use crate::db::failure::Failure;
use crate::db::schema::{accounts, bottlings, entries, items, lots, postings};
use crate::db::{stock, trace};
use crate::domain::batches::Moved;
use crate::domain::books::EntryKind;
use crate::domain::stock::{Item, ItemKind};
use crate::domain::yields::{Story, Used};
use crate::units::ids::{BatchId, ClubId, ItemId};
use crate::units::measure::ReadingKind;
use crate::units::quantity::Milli;

/// All that the yields of a batch follow from. A batch that was split off starts from its origin's first gravity.
pub fn story(conn: &mut AnyConn, club: ClubId, id: BatchId) -> Result<Story, Failure> {
    let batch = batch(conn, club, id)?;
    let mut story = Story::default();
    let mut pitched = false;
    for Moved { kind, volume: quantity, .. } in moves(conn, id)? {
        story.left = story.left + quantity;
        match kind {
            EntryKind::Split | EntryKind::Blend if quantity > Milli::ZERO => {
                story.moved_in = story.moved_in + quantity;
            }
            EntryKind::Split | EntryKind::Blend => story.moved_out = story.moved_out - quantity,
            EntryKind::Loss | EntryKind::Racking | EntryKind::Abandonment | EntryKind::Closing => {
                story.lost = story.lost - quantity;
            }
            _ => {}
        }
        if pitched {
            let came = !matches!(kind, EntryKind::Racking) && quantity > Milli::ZERO;
            story.must = if came { story.must + quantity } else { story.must };
        } else if kind == EntryKind::Pitch {
            (pitched, story.must) = (true, story.left);
        }
    }
    if story.must == Milli::ZERO {
        story.must = story.moved_in;
    }
    let filled: Vec<(i64, Milli, Milli)> = live_bottlings(conn, id)?;
    for (bottles, volume, lost) in filled {
        story.bottled = story.bottled + Milli::new(bottles * volume.get());
        story.lost = story.lost + lost;
    }
    story.supplies = drawn(conn, club, id, false)?;
    story.by_products = drawn(conn, club, id, true)?;
    let drinks = story.supplies.iter().any(|used| used.item.kind == ItemKind::Drink);
    if story.moved_in > Milli::ZERO || drinks {
        let above = trace::items_into(conn, id)?;
        story.milk_before = stock::items_of(conn, club, &above)?.values().any(Item::dairy);
    }
    let mut gravities: Vec<f64> = Vec::new();
    if let Some(origin) = batch.came_from {
        gravities.extend(gravity_ends(conn, &[origin])?.first().map(|ends| ends.1.number()));
    }
    gravities.extend(
        readings(conn, club, id, 1000)?
            .iter()
            .filter(|reading| reading.kind == ReadingKind::Gravity && reading.struck.is_none())
            .map(|reading| reading.value.number()),
    );
    story.gravities = gravities;
    Ok(story)
}

fn live_bottlings(conn: &mut AnyConn, id: BatchId) -> Result<Vec<(i64, Milli, Milli)>, Failure> {
    let back = diesel::alias!(entries as back);
    Ok(bottlings::table
        .left_join(back.on(back.field(entries::reverses).eq(bottlings::entry_id.nullable())))
        .filter(bottlings::batch_id.eq(id).and(back.field(entries::id).nullable().is_null()))
        .select((bottlings::bottles, bottlings::bottle_volume, bottlings::lost_volume))
        .load(conn)?)
}

/// Supplies drawn into a batch, or by-products that left it, summed by item, in the order they first came.
fn drawn(conn: &mut AnyConn, club: ClubId, id: BatchId, by_products: bool) -> Result<Vec<Used>, Failure> {
    let back = diesel::alias!(entries as back);
    let kinds =
        if by_products { vec![EntryKind::ByProduct] } else { vec![EntryKind::Draw, EntryKind::Pitch] };
    let rows: Vec<(ItemId, Milli)> = entries::table
        .inner_join(postings::table.on(postings::entry_id.eq(entries::id)))
        .inner_join(accounts::table.on(accounts::id.eq(postings::account_id)))
        .inner_join(lots::table.on(lots::id.nullable().eq(accounts::lot_id)))
        .inner_join(items::table.on(items::id.eq(lots::item_id)))
        .left_join(back.on(back.field(entries::reverses).eq(entries::id.nullable())))
        .filter(entries::batch_id.eq(id).and(entries::kind.eq_any(kinds)))
        .filter(back.field(entries::id).nullable().is_null())
        .order((entries::id, postings::line))
        .select((items::id, postings::quantity))
        .load(conn)?;
    let mut sums: Vec<(ItemId, Milli)> = Vec::new();
    for (item, quantity) in rows {
        let quantity = if by_products { quantity } else { quantity.negated() };
        match sums.iter_mut().find(|sum| sum.0 == item) {
            Some(sum) => sum.1 = sum.1 + quantity,
            None => sums.push((item, quantity)),
        }
    }
    let ids: Vec<ItemId> = sums.iter().map(|sum| sum.0).collect();
    let mut items = stock::items_of(conn, club, &ids)?;
    sums.into_iter()
        .map(|(id, quantity)| {
            let item = items.remove(&id).ok_or(Failure::Gone)?;
            Ok(Used { item, quantity })
        })
        .collect()
}
