//! Posting what a count found: all that is clear goes into the books as one entry; what is not stays open.

use serde::{Deserialize, Serialize};

use super::{open, with_books};
use crate::actions::once::{RequestKey, once};
use crate::actions::{Done, stock::record};
use crate::db::counts as rows;
use crate::db::{AnyConn, Database};
use crate::domain::counts::posting::{Change, post as entry_of};
use crate::domain::counts::{Count, Ending, Finding, Line, Progress, Reason, Tolerance};
use crate::domain::members::{Cellarhand, Doer};
use crate::domain::refusal::{Fault, Refusal, Why};
use crate::units::ids::{CountId, EntryId, LotId};
use crate::units::quantity::Milli;

/// What is to be posted, and why lines differ.
#[derive(Debug, Clone, Serialize, Deserialize)]
pub struct Posting {
    /// Of which count.
    pub count: CountId,
    /// Lines that are counted again instead.
    pub again: Vec<u32>,
    /// The reasons of single lines: number, reason, words.
    pub reasons: Vec<(u32, Reason, String)>,
    /// The reason of all others that have none yet.
    pub reason: Option<Reason>,
    /// The same in words.
    pub words: String,
}

/// What posting did.
#[derive(Debug, Clone, Serialize, Deserialize)]
pub struct Posted {
    /// The entry, where anything differed.
    pub entry: Option<EntryId>,
    /// How many lines the books were put right in.
    pub posted: usize,
    /// How many they were right in.
    pub right: usize,
    /// How many stay open: counted again, not agreed on, of no known lot.
    pub open: usize,
}

/// Post the differences of a count: those that are clear. Others stay open.
pub async fn post(db: &Database, by: &Cellarhand, key: Option<RequestKey>, order: Posting) -> Done<Posted> {
    once(db, by, key, "post count", order, posted).await
}

/// A line whose difference is clear.
struct Clear<'l> {
    line: &'l Line,
    counted: Milli,
    book: Milli,
    difference: Milli,
}

fn posted(conn: &mut AnyConn, doer: &Doer, order: &Posting) -> Done<Posted> {
    let count = open(conn, doer, order.count)?;
    count.check_settler(doer)?;
    let (lines, tolerance) = with_books(conn, doer, &count)?;
    for (number, ..) in &order.reasons {
        if !lines.iter().any(|line| line.number == *number) {
            return Err(Refusal::missing(format!("lines.{number}"), "line").into());
        }
    }
    let again = |line: &&Line| line.settled.is_none() && order.again.contains(&line.number);
    let asked: Vec<_> = lines.iter().filter(again).map(|line| line.id).collect();
    let left = lines.iter().filter(|line| !order.again.contains(&line.number));
    let clear: Vec<Clear> = left.filter_map(|line| clear(line, doer, tolerance)).collect();
    if clear.is_empty() {
        let words = "Nothing can be posted yet: what is left waits to be counted again, is not agreed on, or is of no \
                     known lot";
        return Err(Refusal::conflict("", words).into());
    }
    let differing: Vec<&Clear> = clear.iter().filter(|one| one.difference != Milli::ZERO).collect();
    explained(conn, &differing, order)?;
    let (entry, worth) = if differing.is_empty() {
        (None, Vec::new())
    } else {
        let changes: Vec<Change> = differing.iter().map(|one| change(one)).collect();
        let newly: Vec<LotId> = changes
            .iter()
            .filter(|change| change.now.quantity == Milli::ZERO)
            .map(|change| change.lot)
            .collect();
        let everywhere = rows::everywhere(conn, doer.club, &newly)?;
        let remark = format!("Count {}, {}", count.code, count.title);
        let (entry, worth) = entry_of(doer.today(), remark, &changes, &everywhere)?;
        (Some(record(conn, doer, &entry)?), worth)
    };
    let mut worth = worth.into_iter();
    for one in &clear {
        let against = Some((one.counted, one.book));
        let (ending, posted) = if one.difference == Milli::ZERO {
            (Ending::Right, None)
        } else {
            (Ending::Posted, entry.zip(worth.next()))
        };
        rows::settle(conn, doer, one.line.id, ending, against, posted)?;
    }
    let second: Vec<_> = lines
        .iter()
        .filter(|line| line.settled.is_none() && line.needs_second(line.finding(doer.zone), tolerance))
        .map(|line| line.id)
        .collect();
    rows::ask_again(conn, &[asked, second].concat(), doer.member, doer.now)?;
    let left = close_if_done(conn, doer, &count)?;
    let (posted, right) = (differing.len(), clear.len() - differing.len());
    Ok(Posted { entry, posted, right, open: left })
}

fn clear<'l>(line: &'l Line, doer: &Doer, tolerance: Tolerance) -> Option<Clear<'l>> {
    if line.settled.is_some() {
        return None;
    }
    let finding = line.finding(doer.zone);
    match finding {
        Finding::Known { counted, book, .. } if !line.needs_second(finding, tolerance) => {
            Some(Clear { line, counted, book, difference: finding.difference() })
        }
        _ => None,
    }
}

fn change(clear: &Clear) -> Change {
    let line = clear.line;
    let (lot, code) = line.lot.as_ref().map_or((LotId(0), ""), |lot| (lot.id, lot.code.as_str()));
    Change {
        number: line.number,
        lot,
        called: format!("{}, lot {code}", line.name()),
        place: line.place.0,
        now: line.books.as_ref().map(|books| books.now).unwrap_or_default(),
        difference: clear.difference,
        unit: line.unit,
    }
}

/// Keeps the reason of every line; those without one are named.
fn explained(conn: &mut AnyConn, differing: &[&Clear], order: &Posting) -> Done<()> {
    let mut faults = Vec::new();
    for one in differing {
        let own = order.reasons.iter().find(|reason| reason.0 == one.line.number);
        let given = own.map(|(_, reason, words)| (*reason, words.as_str()));
        let given = match (given, one.line.reason) {
            (Some(given), _) => Some(given),
            (None, Some(_)) => continue,
            (None, None) => order.reason.map(|reason| (reason, order.words.as_str())),
        };
        match given {
            Some((reason, words)) => rows::explain(conn, one.line.id, reason, words)?,
            None => faults.push(Fault {
                field: format!("lines.{}.reason", one.line.number),
                message: format!("Say why {} differs, or choose a reason for all others", one.line.name()),
            }),
        }
    }
    if faults.is_empty() {
        return Ok(());
    }
    faults.truncate(20);
    Err(Refusal { why: Why::Unfit, faults, entries: Vec::new() }.into())
}

/// Closes a count in which nothing is left to be settled: what nobody counted stays as it is. Says how much is open.
pub(super) fn close_if_done(conn: &mut AnyConn, doer: &Doer, count: &Count) -> Done<usize> {
    let lines = rows::lines(conn, doer.club, count.id, None)?;
    let waits = |line: &&Line| matches!(line.progress(), Progress::Counted | Progress::Again);
    let left = lines.iter().filter(waits).count();
    if left == 0 {
        rows::close(conn, count.id, doer.now)?;
    }
    Ok(left)
}
