//! Taking an entry back: always a new entry, and only while nothing later rests on it.

use super::books::{EntryKind, NewEntry, Posting};
use super::refusal::Refusal;
use crate::units::days::{self, Day};
use crate::units::ids::{BatchId, BottlingId, EntryId};

/// An entry as it stands in the books.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Recorded {
    /// Which.
    pub id: EntryId,
    /// What happened.
    pub kind: EntryKind,
    /// When.
    pub day: Day,
    /// To which batch.
    pub batch: Option<BatchId>,
    /// To which bottling.
    pub bottling: Option<BottlingId>,
    /// The entry that took it back, if one did.
    pub reversed_by: Option<EntryId>,
    /// Its lines.
    pub postings: Vec<Posting>,
}

/// A later entry that rests on this one.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Dependent {
    /// Which.
    pub id: EntryId,
    /// What happened.
    pub kind: EntryKind,
    /// When.
    pub day: Day,
}

/// So many of those that stand in the way on one account are looked at, the latest ones; they have to go first.
pub const MOST_DEPENDENTS: usize = 500;

/// The entry that takes `recorded` back; it concerns the same batch and bottling.
///
/// `dependents` are the later entries, not reversed themselves, that took quantity or cost out of a stock or batch
/// account into which `recorded` had brought some (what they took came, in part, from here), or that ended a batch
/// which `recorded` moved: an ended batch stays empty.
pub fn reverse(
    recorded: &Recorded,
    dependents: &[Dependent],
    today: Day,
    reason: String,
) -> Result<NewEntry, Refusal> {
    if recorded.kind == EntryKind::Reversal {
        return Err(Refusal::conflict("", "A reversal is not reversed: record the event again instead"));
    }
    if recorded.reversed_by.is_some() {
        return Err(Refusal::conflict("", "This entry has been reversed already; nothing was changed"));
    }
    if !dependents.is_empty() {
        let named: Vec<_> = dependents
            .iter()
            .take(3)
            .map(|later| format!("“{}” of {}", later.kind.label(), days::long(later.day)))
            .collect();
        let more = dependents.len().saturating_sub(3);
        let more = match more {
            0 => String::new(),
            _ if dependents.len() >= MOST_DEPENDENTS => " and many more".to_owned(),
            more => format!(" and {more} more"),
        };
        let stands = if dependents.len() == 1 { "stands" } else { "stand" };
        return Err(Refusal::conflict(
            "",
            format!("{}{more} {stands} in the way: reverse the latest first", named.join(", ")),
        )
        .because_of(dependents.iter().map(|later| later.id).collect()));
    }
    let (batch, bottling) = (recorded.batch, recorded.bottling);
    let entry = NewEntry::reversal(recorded.id, &recorded.postings, recorded.day.max(today), reason);
    Ok(NewEntry { batch, bottling, ..entry })
}
