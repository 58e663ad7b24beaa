//! The network that the books make of lots and batches, walked level by level: two queries for each, however much hangs
//! on it.
//!
//! What stands in the books leads from a lot into the batch it was drawn into, from a batch to the by-products and
//! bottles that came of it and to the batches it was split or blended into, and from packaging to the bottles it was
//! used on. The order in time is not looked at: a lot that was drawn into a batch counts for all that ever came of it,
//! so that a recall names too much rather than too little. Nothing is visited twice, so a circle ends.

use std::collections::{BTreeSet, HashMap};

use diesel::prelude::*;

use crate::db::connection::AnyConn;
use crate::db::failure::Failure;
use crate::db::schema::{accounts, entries, postings};
use crate::domain::books::EntryKind;
use crate::units::ids::{BatchId, LotId};
use crate::units::quantity::Milli;

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
    let mut reached = Reached { nodes: from.iter().copied().collect(), cut: false };
    let mut edge = from.to_vec();
    while !edge.is_empty() {
        let mut next = BTreeSet::new();
        for some in edge.chunks(500) {
            next.extend(beside(conn, some, way)?.into_iter().map(|(_, node)| node));
        }
        next.retain(|node| !reached.nodes.contains(node));
        let room = most.saturating_sub(reached.nodes.len());
        reached.cut |= next.len() > room;
        edge = next.into_iter().take(room).collect();
        reached.nodes.extend(&edge);
    }
    Ok(reached)
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
        for some in of.chunks(500) {
            for (own, other) in beside(conn, some, way)? {
                known.entry(own).or_default().push(other);
                edge.insert(other);
            }
        }
        edge.retain(|node| !known.contains_key(node));
    }
    Ok(known)
}

/// What one step leads to from these: from which, and to which.
fn beside(conn: &mut AnyConn, of: &[Node], way: Way) -> Result<Vec<(Node, Node)>, Failure> {
    type Line = (Option<LotId>, Option<BatchId>, Milli);
    let (mut lots, mut batches): (Vec<Option<LotId>>, Vec<Option<BatchId>>) = (Vec::new(), Vec::new());
    for node in of {
        match *node {
            Node::Lot(lot) => lots.push(Some(lot)),
            Node::Batch(batch) => batches.push(Some(batch)),
        }
    }
    let mut found = Vec::new();
    for (of_lots, kinds) in [(true, kinds(true, way)), (false, kinds(false, way))] {
        if (if of_lots { lots.len() } else { batches.len() }) == 0 {
            continue;
        }
        let (other, there, back) = diesel::alias!(postings as other, accounts as there, entries as back);
        let mut query = postings::table
            .inner_join(accounts::table.on(accounts::id.eq(postings::account_id)))
            .inner_join(entries::table.on(entries::id.eq(postings::entry_id)))
            .inner_join(other.on(other.field(postings::entry_id).eq(postings::entry_id)))
            .inner_join(there.on(there.field(accounts::id).eq(other.field(postings::account_id))))
            .left_join(back.on(back.field(entries::reverses).eq(entries::id.nullable())))
            .filter(entries::kind.eq_any(kinds.to_vec()).and(back.field(entries::id).nullable().is_null()))
            .filter(other.field(postings::account_id).ne(postings::account_id))
            .select((
                entries::kind,
                (accounts::lot_id, accounts::batch_id, postings::quantity),
                (
                    there.field(accounts::lot_id),
                    there.field(accounts::batch_id),
                    other.field(postings::quantity),
                ),
            ))
            .into_boxed();
        query = if of_lots {
            query.filter(accounts::lot_id.eq_any(lots.clone()))
        } else {
            query.filter(accounts::batch_id.eq_any(batches.clone()))
        };
        for (kind, own, other) in query.load::<(EntryKind, Line, Line)>(conn)? {
            let leads = match way {
                Way::Down => leads(kind, own, other),
                Way::Up => leads(kind, other, own),
            };
            let node = |line: Line| line.0.map(Node::Lot).or(line.1.map(Node::Batch));
            found.extend(node(own).zip(node(other)).filter(|_| leads));
        }
    }
    Ok(found)
}

/// The kinds of entries that lead from a lot or a batch one way.
const fn kinds(lot: bool, way: Way) -> &'static [EntryKind] {
    use EntryKind::{Blend, Bottling, ByProduct, Draw, Pitch, Split};
    match (lot, way) {
        (true, Way::Down) => &[Draw, Pitch, Bottling],
        (true, Way::Up) => &[ByProduct, Bottling],
        (false, Way::Down) => &[ByProduct, Bottling, Split, Blend],
        (false, Way::Up) => &[Draw, Pitch, Split, Blend],
    }
}

/// Whether an entry of this kind leads from one of its lines to another. The line of a batch may say that its volume
/// was measured anew, so its sign tells nothing where the kind tells the direction.
fn leads(
    kind: EntryKind,
    from: (Option<LotId>, Option<BatchId>, Milli),
    to: (Option<LotId>, Option<BatchId>, Milli),
) -> bool {
    match kind {
        EntryKind::Draw | EntryKind::Pitch => from.0.is_some() && to.1.is_some(),
        EntryKind::ByProduct => from.1.is_some() && to.0.is_some(),
        EntryKind::Bottling => from.2 < Milli::ZERO && to.0.is_some() && to.2 > Milli::ZERO,
        EntryKind::Split | EntryKind::Blend => from.2 < Milli::ZERO && to.2 > Milli::ZERO,
        _ => false,
    }
}
