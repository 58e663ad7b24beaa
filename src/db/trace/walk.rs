//! The network that the books make of lots and batches, walked level by level: two queries for each, however much hangs
//! on it.
//!
//! What stands in the books leads from a lot into the batch it was drawn into, from a batch to the by-products and
//! bottles that came of it and to the batches it was split or blended into, and from packaging to the bottles it was
//! used on. The order in time is not looked at: a lot that was drawn into a batch counts for all that ever came of it,
//! so that a recall names too much rather than too little. Nothing is visited twice, so a circle ends.

use std::collections::{BTreeSet, HashMap, HashSet};

use diesel::prelude::*;

use crate::db::connection::AnyConn;
use crate::db::failure::Failure;
use crate::db::prepared::{Prepare, padded};
use crate::db::schema::{accounts, entries, lots, postings};
use crate::domain::books::EntryKind::{self, Blend, Bottling, Draw, Pitch, Split};
use crate::units::ids::{BatchId, LotId};
use crate::units::quantity::Milli;

/// So many are asked for at once.
const AT_ONCE: usize = 512;

/// A lot or a batch.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Node {
    /// A lot, wherever it stands.
    Lot(LotId),
    /// A batch.
    Batch(BatchId),
}

/// Which way to walk.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Way {
    /// To what it was made of.
    Up,
    /// To what was made of it.
    Down,
}

/// What was reached.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct Reached {
    /// All of it, the start among it.
    pub nodes: BTreeSet<Node>,
    /// There is more than was asked for.
    pub cut: bool,
}

impl Reached {
    /// The lots among it.
    pub fn lots(&self) -> Vec<LotId> {
        self.nodes
            .iter()
            .filter_map(|node| if let Node::Lot(lot) = node { Some(*lot) } else { None })
            .collect()
    }

    /// The batches among it.
    pub fn batches(&self) -> BTreeSet<BatchId> {
        let batch = |node: &Node| if let Node::Batch(batch) = node { Some(*batch) } else { None };
        self.nodes.iter().filter_map(batch).collect()
    }
}

/// Everything that is reached from here, `most` lots and batches at most, the nearest first.
pub fn walk(conn: &mut AnyConn, from: Node, way: Way, most: usize) -> Result<Reached, Failure> {
    walk_from(conn, &[from], way, most)
}

/// The same from several at once.
pub fn walk_from(conn: &mut AnyConn, from: &[Node], way: Way, most: usize) -> Result<Reached, Failure> {
    let mut known: HashSet<Node> = from.iter().copied().collect();
    let (mut edge, mut cut) = (from.to_vec(), false);
    while !edge.is_empty() {
        let mut next = Vec::new();
        for some in edge.chunks(AT_ONCE) {
            next.extend(beside(conn, some, way)?.into_iter().map(|(_, node)| node));
        }
        next.retain(|node| !known.contains(node));
        next.sort_unstable();
        next.dedup();
        let room = most.saturating_sub(known.len());
        cut |= next.len() > room;
        next.truncate(room);
        known.extend(&next);
        edge = next;
    }
    Ok(Reached { nodes: known.into_iter().collect(), cut })
}

/// What each node that is reached from these leads to directly: one walk for all of them.
pub fn network(
    conn: &mut AnyConn,
    from: impl Iterator<Item = Node>,
    way: Way,
) -> Result<HashMap<Node, Vec<Node>>, Failure> {
    let mut known: HashMap<Node, Vec<Node>> = HashMap::new();
    let mut edge: BTreeSet<Node> = from.collect();
    while !edge.is_empty() {
        let of: Vec<Node> = std::mem::take(&mut edge).into_iter().collect();
        known.extend(of.iter().map(|node| (*node, Vec::new())));
        for some in of.chunks(AT_ONCE) {
            for (own, other) in beside(conn, some, way)? {
                known.entry(own).or_default().push(other);
                edge.insert(other);
            }
        }
        edge.retain(|node| !known.contains_key(node));
    }
    Ok(known)
}

/// The lines that lead on from these lots, or from these batches, by entries of these kinds: from what became less to
/// what became more. In a draw the line of the batch may say that its volume was measured anew, so that its sign tells
/// nothing; the line of the lot always tells. Only columns that an index has are read of the lines, and of two
/// conditions the number stands before the word, which takes longer to compare.
macro_rules! leads {
    ($conn:ident, $own:expr, $ids:expr, $kinds:expr, $way:expr) => {{
        let (other, there, back) = diesel::alias!(postings as other, accounts as there, entries as back);
        let drawn = || entries::kind.eq_any([Draw, Pitch]);
        let query = postings::table
            .inner_join(accounts::table.on(accounts::id.eq(postings::account_id)))
            .inner_join(entries::table.on(entries::id.eq(postings::entry_id)))
            .inner_join(other.on(other.field(postings::entry_id).eq(postings::entry_id)))
            .inner_join(there.on(there.field(accounts::id).eq(other.field(postings::account_id))))
            .left_join(back.on(back.field(entries::reverses).eq(entries::id.nullable())))
            .filter($own.eq_any(padded(&$ids)))
            .filter(entries::kind.eq_any($kinds.iter().copied()))
            .filter(back.field(entries::id).nullable().is_null())
            .select(($own.assume_not_null(), there.field(accounts::lot_id), there.field(accounts::batch_id)))
            .into_boxed();
        let query = match $way {
            Way::Down => query.filter(postings::quantity.lt(Milli::ZERO)).filter(
                (other.field(postings::quantity).gt(Milli::ZERO))
                    .or(drawn().and(there.field(accounts::batch_id).is_not_null())),
            ),
            Way::Up => query
                .filter(postings::quantity.gt(Milli::ZERO).or(drawn()))
                .filter(other.field(postings::quantity).lt(Milli::ZERO)),
        };
        query.prepared().load($conn)?
    }};
}

/// What one step leads to from these: from which, and to which. By-products and bottles know the batch that they are
/// of. Besides, lots are drawn into batches, packaging goes into bottles, and batches into each other.
fn beside(conn: &mut AnyConn, of: &[Node], way: Way) -> Result<Vec<(Node, Node)>, Failure> {
    let lots = of.iter().filter_map(|node| if let Node::Lot(lot) = node { Some(*lot) } else { None });
    let batches =
        of.iter().filter_map(|node| if let Node::Batch(batch) = node { Some(Some(*batch)) } else { None });
    let (lots, batches): (Vec<LotId>, Vec<Option<BatchId>>) = (lots.collect(), batches.collect());
    let mut found: Vec<(Node, Node)> = Vec::new();
    let there = |lot: Option<LotId>, batch: Option<BatchId>| lot.map(Node::Lot).or(batch.map(Node::Batch));
    if !lots.is_empty() {
        let some: Vec<Option<LotId>> = lots.iter().copied().map(Some).collect();
        let kinds: &[EntryKind] = if way == Way::Down { &[Draw, Pitch, Bottling] } else { &[Bottling] };
        let rows: Vec<(LotId, _, _)> = leads!(conn, accounts::lot_id, some, kinds, way);
        found.extend(rows.into_iter().filter_map(|(own, l, b)| Some((Node::Lot(own), there(l, b)?))));
    }
    if !batches.is_empty() {
        let kinds: &[EntryKind] =
            if way == Way::Down { &[Split, Blend] } else { &[Draw, Pitch, Split, Blend] };
        let rows: Vec<(BatchId, _, _)> = leads!(conn, accounts::batch_id, batches, kinds, way);
        found.extend(rows.into_iter().filter_map(|(own, l, b)| Some((Node::Batch(own), there(l, b)?))));
    }
    let made = made(conn, &lots, &batches, way)?
        .into_iter()
        .map(|(batch, lot)| (Node::Batch(batch), Node::Lot(lot)));
    found.extend(made.map(|(batch, lot)| if way == Way::Down { (batch, lot) } else { (lot, batch) }));
    found.retain(|(own, other)| own != other);
    Ok(found)
}

/// The lots that were made of these batches, or the batches that these lots were made of.
fn made(
    conn: &mut AnyConn,
    lots: &[LotId],
    batches: &[Option<BatchId>],
    way: Way,
) -> Result<Vec<(BatchId, LotId)>, Failure> {
    let back = diesel::alias!(entries as back);
    let query = lots::table
        .left_join(back.on(back.field(entries::reverses).eq(lots::entry_id.nullable())))
        .filter(back.field(entries::id).nullable().is_null())
        .filter(lots::batch_id.is_not_null())
        .select((lots::batch_id.assume_not_null(), lots::id))
        .into_boxed();
    let query = match way {
        Way::Down if batches.is_empty() => return Ok(Vec::new()),
        Way::Up if lots.is_empty() => return Ok(Vec::new()),
        Way::Down => query.filter(lots::batch_id.eq_any(padded(batches))),
        Way::Up => query.filter(lots::id.eq_any(padded(lots))),
    };
    Ok(query.prepared().load(conn)?)
}
