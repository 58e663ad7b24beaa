//! What the books and the readings say of a batch: all that its yields and its strength follow from.

use std::collections::HashMap;

use diesel::prelude::*;

use super::batch;
use super::curves::{Curves, series};
use super::readings::ends_of_days;
use super::stage::{Kept, moves_of, standing_then};
use crate::db::connection::AnyConn;
use crate::db::failure::Failure;
use crate::db::prepared::{Prepare, padded};
use crate::db::schema::{accounts, bottlings, clubs, entries, lots, postings};
use crate::db::{stock, trace};
use crate::domain::batches::{Moved, Stage, progress};
use crate::domain::books::EntryKind;
use crate::domain::stock::{Item, ItemKind};
use crate::domain::yields::{Story, Turn, Used, What, added};
use crate::units::ids::{BatchId, ClubId, EntryId, ItemId};
use crate::units::measure::ReadingKind;
use crate::units::quantity::Milli;

/// All that the yields of a batch follow from.
pub fn story(conn: &mut AnyConn, club: ClubId, id: BatchId) -> Result<Story, Failure> {
    let read = series(conn, &[id], &[ReadingKind::Gravity])?;
    story_by(conn, club, id, &read)
}

/// The same where its gravities have been read.
pub fn story_by(conn: &mut AnyConn, club: ClubId, id: BatchId, read: &Curves) -> Result<Story, Failure> {
    batch(conn, club, id)?;
    Ok(stories_by(conn, club, &[id], read)?.remove(&id).unwrap_or_default())
}

/// The same for many batches of a club: the number of queries does not grow with theirs.
pub fn stories(
    conn: &mut AnyConn,
    club: ClubId,
    ids: &[BatchId],
) -> Result<HashMap<BatchId, Story>, Failure> {
    let read = series(conn, ids, &[ReadingKind::Gravity])?;
    stories_by(conn, club, ids, &read)
}

fn stories_by(
    conn: &mut AnyConn,
    club: ClubId,
    ids: &[BatchId],
    read: &Curves,
) -> Result<HashMap<BatchId, Story>, Failure> {
    let kept = moves_of(conn, ids)?;
    let mut bottled = live_bottlings(conn, ids)?;
    let (mut drawn, mut weighed) = lines(conn, &kept)?;
    let mut items: Vec<ItemId> =
        drawn.values().chain(weighed.values()).flatten().map(|line| line.1).collect();
    items.sort_unstable();
    items.dedup();
    let items = stock::items_of(conn, club, &items)?;
    let zone: String = clubs::table.filter(clubs::id.eq(club)).select(clubs::time_zone).first(conn)?;
    let zone = zone.parse().map_err(|_| Failure::Fault(format!("there is no time zone “{zone}”")))?;
    let mut found = HashMap::with_capacity(ids.len());
    for id in ids {
        let moved = kept.get(id).map(|kept| standing_then(kept, None)).unwrap_or_default();
        let mut story = Story::default();
        volumes(&mut story, &moved);
        for (bottles, volume, lost) in bottled.remove(id).unwrap_or_default() {
            story.bottled = story.bottled + Milli::new(bottles * volume.get());
            story.lost = story.lost + lost;
        }
        let drawn = drawn.remove(id).unwrap_or_default();
        story.supplies = sums(&drawn, &items);
        story.by_products = sums(&weighed.remove(id).unwrap_or_default(), &items);
        story.turns = turns(&moved, &drawn, &items);
        story.under_way = progress(&moved).stage <= Stage::Working;
        story.gravities =
            read.get(&(*id, ReadingKind::Gravity)).map(|read| ends_of_days(read, zone)).unwrap_or_default();
        found.insert(*id, story);
    }
    milk_before(conn, club, &mut found)?;
    Ok(found)
}

/// Whether milk went into what came from other batches, or was poured from bottles.
fn milk_before(
    conn: &mut AnyConn,
    club: ClubId,
    stories: &mut HashMap<BatchId, Story>,
) -> Result<(), Failure> {
    let drinks = |story: &Story| story.supplies.iter().any(|used| used.item.kind == ItemKind::Drink);
    let mixed = stories.iter().filter(|(_, story)| story.moved_in > Milli::ZERO || drinks(story));
    let mixed: Vec<BatchId> = mixed.map(|(id, _)| *id).collect();
    if mixed.is_empty() {
        return Ok(());
    }
    let above = trace::items_into(conn, &mixed)?;
    let all: Vec<ItemId> = above.values().flatten().copied().collect();
    let items = stock::items_of(conn, club, &all)?;
    for (id, into) in above {
        let milk = into.iter().any(|item| items.get(item).is_some_and(Item::dairy));
        if let Some(story) = stories.get_mut(&id) {
            story.milk_before = milk;
        }
    }
    Ok(())
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
            // Before the yeast there are no lees: what is measured less has boiled off or evaporated.
            EntryKind::Racking | EntryKind::Draw if !pitched && quantity < Milli::ZERO => {
                story.boiled = story.boiled - quantity;
            }
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

fn by_batch<T>(rows: impl IntoIterator<Item = (BatchId, T)>, to: &mut HashMap<BatchId, Vec<T>>) {
    for (batch, row) in rows {
        to.entry(batch).or_default().push(row);
    }
}

/// Bottles, what each holds, what was spilt.
type Filled = (i64, Milli, Milli);

fn live_bottlings(conn: &mut AnyConn, ids: &[BatchId]) -> Result<HashMap<BatchId, Vec<Filled>>, Failure> {
    let mut found = HashMap::new();
    for some in ids.chunks(500) {
        let back = diesel::alias!(entries as back);
        let rows: Vec<(BatchId, Filled)> = bottlings::table
            .left_join(back.on(back.field(entries::reverses).eq(bottlings::entry_id.nullable())))
            .filter(
                bottlings::batch_id.eq_any(padded(some)).and(back.field(entries::id).nullable().is_null()),
            )
            .select((
                bottlings::batch_id,
                (bottlings::bottles, bottlings::bottle_volume, bottlings::lost_volume),
            ))
            .prepared()
            .load(conn)?;
        by_batch(rows, &mut found);
    }
    Ok(found)
}

/// A line of a lot in the record of a batch: the entry, the item, and what came to the lot (+) or went from it (−).
type Line = (EntryId, ItemId, Milli);

/// The lines of each batch, in the order in which they were recorded.
type Lines = HashMap<BatchId, Vec<Line>>;

/// What was drawn into batches, and what left them as a by-product: the lots of those of their entries that stand.
fn lines(conn: &mut AnyConn, kept: &HashMap<BatchId, Vec<Kept>>) -> Result<(Lines, Lines), Failure> {
    let mut of: HashMap<EntryId, (BatchId, bool)> = HashMap::new();
    for (batch, kept) in kept {
        for (moved, _) in kept.iter().filter(|(_, back)| back.is_none()) {
            match moved.kind {
                EntryKind::Draw | EntryKind::Pitch => of.insert(moved.entry, (*batch, false)),
                EntryKind::ByProduct => of.insert(moved.entry, (*batch, true)),
                _ => None,
            };
        }
    }
    let mut ids: Vec<EntryId> = of.keys().copied().collect();
    ids.sort_unstable();
    let (mut drawn, mut weighed) = (Lines::new(), Lines::new());
    for some in ids.chunks(500) {
        let rows: Vec<Line> = postings::table
            .inner_join(accounts::table.on(accounts::id.eq(postings::account_id)))
            .inner_join(lots::table.on(lots::id.nullable().eq(accounts::lot_id)))
            .filter(postings::entry_id.eq_any(padded(some)))
            .order((postings::entry_id, postings::line))
            .select((postings::entry_id, lots::item_id, postings::quantity))
            .prepared()
            .load(conn)?;
        for line in rows {
            let Some((batch, by_product)) = of.get(&line.0) else { continue };
            let to = if *by_product { &mut weighed } else { &mut drawn };
            to.entry(*batch).or_default().push(line);
        }
    }
    Ok((drawn, weighed))
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
