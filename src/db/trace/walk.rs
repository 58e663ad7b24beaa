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
use crate::db::schema::{accounts, entries, postings};
use crate::domain::books::EntryKind::{self, Blend, Bottling, ByProduct, Draw, Pitch, Split};
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

/// Entries in which the line of a batch may say that its volume was measured anew, so that its sign tells nothing. The
/// line of a lot always tells.
const SILENT: [EntryKind; 3] = [Draw, Pitch, ByProduct];
const NONE: [EntryKind; 0] = [];

/// The lines that lead on from these lots, or from these batches. Only the column that is asked for is read of them, so
/// that an index has it; of two conditions the number stands before the word, which takes longer to compare.
macro_rules! leads {
    ($conn:ident, $own:expr, $ids:expr, $node:expr, $kinds:expr, $silent:expr, $way:expr) => {{
        let (other, there, back) = diesel::alias!(postings as other, accounts as there, entries as back);
        let unsigned = || entries::kind.eq_any(SILENT);
        let no = |kinds: [EntryKind; 2]| entries::kind.ne_all(kinds);
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
            Way::Down => query
                .filter(postings::quantity.lt(Milli::ZERO).or(entries::kind.eq_any($silent)))
                .filter(other.field(postings::quantity).gt(Milli::ZERO).or(unsigned()))
                .filter(there.field(accounts::batch_id).is_not_null().or(no([Draw, Pitch])))
                .filter(there.field(accounts::lot_id).is_not_null().or(no([ByProduct, Bottling]))),
            Way::Up => query
                .filter(postings::quantity.gt(Milli::ZERO).or(entries::kind.eq_any($silent)))
                .filter(other.field(postings::quantity).lt(Milli::ZERO).or(unsigned()))
                .filter(there.field(accounts::lot_id).is_not_null().or(no([Draw, Pitch])))
                .filter(there.field(accounts::batch_id).is_not_null().or(entries::kind.ne(ByProduct))),
        };
        let rows: Vec<(_, Option<LotId>, Option<BatchId>)> = query.prepared().load($conn)?;
        rows.into_iter().filter_map(|(own, lot, batch)| {
            let there = lot.map(Node::Lot).or(batch.map(Node::Batch))?;
            Some(($node(own), there))
        })
    }};
}

/// What one step leads to from these: from which, and to which.
///
/// Draws lead from a lot to a batch, by-products from a batch to a lot. The others lead from what became less to what
/// became more, and a bottling to bottles alone.
fn beside(conn: &mut AnyConn, of: &[Node], way: Way) -> Result<Vec<(Node, Node)>, Failure> {
    let lots = of.iter().filter_map(|node| if let Node::Lot(lot) = node { Some(Some(*lot)) } else { None });
    let batches =
        of.iter().filter_map(|node| if let Node::Batch(batch) = node { Some(Some(*batch)) } else { None });
    let (lots, batches): (Vec<Option<LotId>>, Vec<Option<BatchId>>) = (lots.collect(), batches.collect());
    let mut found = Vec::new();
    if !lots.is_empty() {
        found.extend(leads!(conn, accounts::lot_id, lots, Node::Lot, kinds(true, way), NONE, way));
    }
    if !batches.is_empty() {
        found.extend(leads!(conn, accounts::batch_id, batches, Node::Batch, kinds(false, way), SILENT, way));
    }
    Ok(found)
}

/// The kinds of entries that lead from a lot or a batch one way.
const fn kinds(lot: bool, way: Way) -> &'static [EntryKind] {
    match (lot, way) {
        (true, Way::Down) => &[Draw, Pitch, Bottling],
        (true, Way::Up) => &[ByProduct, Bottling],
        (false, Way::Down) => &[ByProduct, Bottling, Split, Blend],
        (false, Way::Up) => &[Draw, Pitch, Split, Blend],
    }
}
