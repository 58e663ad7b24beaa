//! What the books and the readings say of a batch: all that its yields and its strength follow from.

use std::collections::HashMap;

use diesel::prelude::*;

use super::stage::moves;
use super::{batch, latest_gravities};
use crate::db::connection::AnyConn;
use crate::db::failure::Failure;
use crate::db::schema::{accounts, bottlings, clubs, entries, lots, postings};
use crate::db::{stock, trace};
use crate::domain::batches::{Moved, Stage, progress};
use crate::domain::books::EntryKind;
use crate::domain::stock::{Item, ItemKind};
use crate::domain::yields::{Story, Turn, Used, What, added};
use crate::units::days::local_day;
use crate::units::ids::{BatchId, ClubId, EntryId, ItemId};
use crate::units::quantity::Milli;

/// All that the yields of a batch follow from.
pub fn story(conn: &mut AnyConn, club: ClubId, id: BatchId) -> Result<Story, Failure> {
    batch(conn, club, id)?;
    let moved = moves(conn, id)?;
    let mut story = Story::default();
    volumes(&mut story, &moved);
    for (bottles, volume, lost) in live_bottlings(conn, id)? {
        story.bottled = story.bottled + Milli::new(bottles * volume.get());
        story.lost = story.lost + lost;
    }
    let drawn = lines(conn, id, &[EntryKind::Draw, EntryKind::Pitch])?;
    let weighed = lines(conn, id, &[EntryKind::ByProduct])?;
    let ids: Vec<ItemId> = drawn.iter().chain(&weighed).map(|line| line.1).collect();
    let items = stock::items_of(conn, club, &ids)?;
    story.supplies = sums(&drawn, &items);
    story.by_products = sums(&weighed, &items);
    story.turns = turns(&moved, &drawn, &items);
    story.under_way = progress(&moved).stage <= Stage::Working;
    let drinks = story.supplies.iter().any(|used| used.item.kind == ItemKind::Drink);
    if story.moved_in > Milli::ZERO || drinks {
        let above = trace::items_into(conn, id)?;
        story.milk_before = stock::items_of(conn, club, &above)?.values().any(Item::dairy);
    }
    let zone: String = clubs::table.filter(clubs::id.eq(club)).select(clubs::time_zone).first(conn)?;
    let zone = zone.parse().map_err(|_| Failure::Fault(format!("there is no time zone “{zone}”")))?;
    story.gravities = latest_gravities(conn, id, i64::MAX)?
        .into_iter()
        .map(|(at, gravity)| (local_day(at, zone), gravity.number()))
        .collect();
    Ok(story)
}

/// Where the volume went.
fn volumes(story: &mut Story, moved: &[Moved]) {
    let mut pitched = false;
    for Moved { kind, volume, .. } in moved {
        let (kind, quantity) = (*kind, *volume);
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
}

/// What happened on the way to the strength, in the order of the days.
fn turns(moved: &[Moved], drawn: &[Line], items: &HashMap<ItemId, Item>) -> Vec<Turn> {
    let mut moved: Vec<&Moved> = moved.iter().collect();
    moved.sort_by_key(|line| (line.day, line.entry));
    let mut before = Milli::ZERO;
    let mut found = Vec::new();
    for line in moved {
        let mut push = |what| found.push(Turn { day: line.day, before, what });
        let used = drawn.iter().filter(|used| used.0 == line.entry);
        let used: Vec<(&Item, Milli)> =
            used.filter_map(|used| Some((items.get(&used.1)?, used.2.negated()))).collect();
        if used.iter().any(|(item, _)| item.kind == ItemKind::Drink) {
            push(What::Poured);
        } else if let Some(volume) = added(&used, before) {
            push(What::Added(volume));
        }
        match (line.kind, line.came) {
            (EntryKind::Pitch, _) => push(What::Pitched),
            (EntryKind::Racking | EntryKind::Bottling, _) => push(What::Settled),
            (_, Some(came)) if line.from_another() => push(What::Came(line.volume, came)),
            _ => {}
        }
        before = before + line.volume;
    }
    found
}

fn live_bottlings(conn: &mut AnyConn, id: BatchId) -> Result<Vec<(i64, Milli, Milli)>, Failure> {
    let back = diesel::alias!(entries as back);
    Ok(bottlings::table
        .left_join(back.on(back.field(entries::reverses).eq(bottlings::entry_id.nullable())))
        .filter(bottlings::batch_id.eq(id).and(back.field(entries::id).nullable().is_null()))
        .select((bottlings::bottles, bottlings::bottle_volume, bottlings::lost_volume))
        .load(conn)?)
}

/// A line of a lot in the record of a batch: the entry, the item, and what came to the lot (+) or went from it (−).
type Line = (EntryId, ItemId, Milli);

/// What was drawn into a batch, or left it as a by-product, line by line in the order in which it was recorded.
fn lines(conn: &mut AnyConn, id: BatchId, kinds: &[EntryKind]) -> Result<Vec<Line>, Failure> {
    let back = diesel::alias!(entries as back);
    Ok(entries::table
        .inner_join(postings::table.on(postings::entry_id.eq(entries::id)))
        .inner_join(accounts::table.on(accounts::id.eq(postings::account_id)))
        .inner_join(lots::table.on(lots::id.nullable().eq(accounts::lot_id)))
        .left_join(back.on(back.field(entries::reverses).eq(entries::id.nullable())))
        .filter(entries::batch_id.eq(id).and(entries::kind.eq_any(kinds.to_vec())))
        .filter(back.field(entries::id).nullable().is_null())
        .order((entries::id, postings::line))
        .select((entries::id, lots::item_id, postings::quantity))
        .load(conn)?)
}

/// Summed by item, in the order they first came.
fn sums(lines: &[Line], items: &HashMap<ItemId, Item>) -> Vec<Used> {
    let mut sums: Vec<(ItemId, Milli)> = Vec::new();
    for (_, item, quantity) in lines {
        let quantity = if *quantity < Milli::ZERO { quantity.negated() } else { *quantity };
        match sums.iter_mut().find(|sum| sum.0 == *item) {
            Some(sum) => sum.1 = sum.1 + quantity,
            None => sums.push((*item, quantity)),
        }
    }
    let used = |(id, quantity)| Some(Used { item: items.get(&id)?.clone(), quantity });
    sums.into_iter().filter_map(used).collect()
}
