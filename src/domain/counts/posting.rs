//! The entry that puts the books right after a count.
//!
//! It is dated on the day it is made and carries each difference over to what is there now: the value of the cellar on
//! past days stays what it was said to be, and what was taken since the count stays taken. What is short takes its
//! share of the lot's cost along, the last of it the rest. What is over of a lot that is short at another place was
//! carried there, with that cost; what is over beyond that comes in at the lot's own cost a unit, there or anywhere.

use std::collections::BTreeMap;

use crate::domain::books::{Account, EntryKind, Holding, NewEntry, Posting};
use crate::domain::refusal::{Fault, Refusal, Why};
use crate::units::days::Day;
use crate::units::ids::{LotId, PlaceId};
use crate::units::money::Money;
use crate::units::quantity::{BaseUnit, Milli};

/// A difference to be posted.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Change {
    /// The number of its line.
    pub number: u32,
    /// The lot.
    pub lot: LotId,
    /// Its code and item, for messages.
    pub called: String,
    /// Where.
    pub place: PlaceId,
    /// What is there now by the books.
    pub now: Holding,
    /// What was counted less what the books said then.
    pub difference: Milli,
    /// What it is counted in.
    pub unit: BaseUnit,
}

/// The entry, and what each difference was worth, in the order of `changes`. `everywhere` is what the books hold of a
/// lot at all places together.
pub fn post(
    day: Day,
    remark: String,
    changes: &[Change],
    everywhere: &BTreeMap<LotId, Holding>,
) -> Result<(NewEntry, Vec<Money>), Refusal> {
    let faults: Vec<Fault> = changes.iter().filter_map(fault).collect();
    if !faults.is_empty() {
        return Err(Refusal { why: Why::Conflict, faults, entries: Vec::new() });
    }
    let mut by_lot: Vec<usize> =
        (0..changes.len()).filter(|at| changes[*at].difference != Milli::ZERO).collect();
    by_lot.sort_by_key(|at| (changes[*at].lot, changes[*at].difference, changes[*at].place));
    let mut worth = vec![Money::ZERO; changes.len()];
    for of_lot in by_lot.chunk_by(|one, next| changes[*one].lot == changes[*next].lot) {
        // What is short comes first in this order, so that the pool is full before anything is taken from it.
        let mut pool = Holding::default();
        for at in of_lot {
            let change = &changes[*at];
            if change.difference < Milli::ZERO {
                let gone = change.difference.negated();
                let cost = change.now.clone().take(gone).unwrap_or_default();
                pool = Holding { quantity: pool.quantity + gone, cost: pool.cost + cost };
                worth[*at] = cost.negated();
            } else {
                let carried = change.difference.min(pool.quantity);
                let cost =
                    if carried > Milli::ZERO { pool.take(carried).unwrap_or_default() } else { Money::ZERO };
                worth[*at] = cost + new_worth(change, change.difference - carried, everywhere);
            }
        }
    }
    let mut entry = NewEntry::new(EntryKind::Difference, day, remark);
    // A line is one account, so nothing has to be looked for to add lines up.
    entry.postings = by_lot
        .iter()
        .map(|at| Posting {
            account: Account::Stock { lot: changes[*at].lot, place: changes[*at].place },
            quantity: changes[*at].difference,
            cost: worth[*at],
        })
        .collect();
    let total: Money = worth.iter().copied().sum();
    entry.postings.push(Posting {
        account: Account::Difference,
        quantity: Milli::ZERO,
        cost: total.negated(),
    });
    Ok((entry, worth))
}

/// What comes in that was not carried: at the cost a unit of what is there, or of the lot anywhere.
fn new_worth(change: &Change, quantity: Milli, everywhere: &BTreeMap<LotId, Holding>) -> Money {
    let like = if change.now.quantity > Milli::ZERO {
        change.now
    } else {
        everywhere.get(&change.lot).copied().unwrap_or_default()
    };
    if quantity == Milli::ZERO || like.quantity <= Milli::ZERO {
        return Money::ZERO;
    }
    like.cost.share(quantity.get(), like.quantity.get())
}

fn fault(change: &Change) -> Option<Fault> {
    (change.difference.negated() > change.now.quantity).then(|| Fault {
        field: format!("lines.{}", change.number),
        message: format!(
            "{}: {} missing by the count, and the books have only {} of it left there. Look at what was taken since it \
             was counted, ask for it to be counted again, or leave it out",
            change.called,
            change.difference.negated().shown(change.unit),
            change.now.quantity.shown(change.unit)
        ),
    })
}
