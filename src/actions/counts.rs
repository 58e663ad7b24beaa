//! Counts: beginning one, counting, ending it, and what a person who did not count makes of the differences.

use serde::{Deserialize, Serialize};

use super::once::{RequestKey, once};
use super::{Done, or_missing};
use crate::db::counts::{self as rows, NewLine, NewTally};
use crate::db::stock::{self, StockFilter};
use crate::db::{AnyConn, Database, books};
use crate::domain::counts::weighed::net;
use crate::domain::counts::{Count, Ending, Finding, Line, Reason, Tolerance};
use crate::domain::members::{Cellarhand, Doer, Taster};
use crate::domain::refusal::Refusal;
use crate::domain::stock::ItemKind;
use crate::units::days::Instant;
use crate::units::ids::{CountId, ItemId, LotId, PlaceId, TallyId};
use crate::units::quantity::{BaseUnit, Milli};

pub use settling::{Posted, Posting, post};
pub use ways::{Ways, set_ways};

mod settling;
mod ways;

/// Lines of one count at most.
const MOST_LINES: usize = 10_000;

/// What is to be counted: what stands at these places and those within them, of these kinds and items; all of it where
/// none are named.
#[derive(Debug, Clone, Serialize, Deserialize)]
pub struct Start {
    /// What it is called; from what it covers where it is empty.
    pub title: String,
    /// Where.
    pub places: Vec<PlaceId>,
    /// Of which kinds.
    pub kinds: Vec<ItemKind>,
    /// Of which items.
    pub items: Vec<ItemId>,
}

/// What beginning made.
#[derive(Debug, Clone, Serialize, Deserialize)]
pub struct Started {
    /// The count.
    pub id: CountId,
    /// Its number.
    pub code: String,
    /// How many lines it has.
    pub lines: usize,
}

/// Begin a count.
pub async fn start(db: &Database, by: &Cellarhand, key: Option<RequestKey>, start: Start) -> Done<Started> {
    once(db, by, key, "start count", start, |conn, doer, start| {
        let mut at: Vec<PlaceId> = Vec::new();
        let mut names: Vec<String> = Vec::new();
        for place in &start.places {
            names.push(or_missing(stock::place(conn, doer.club, *place), "places", "place")?.path);
            at.extend(stock::within(conn, doer.club, *place)?);
        }
        for item in &start.items {
            names.push(or_missing(stock::item(conn, doer.club, *item), "items", "item")?.name);
        }
        names.extend(start.kinds.iter().map(|kind| kind.heading().to_owned()));
        let filter =
            StockFilter { kinds: start.kinds.clone(), items: start.items.clone(), ..StockFilter::default() };
        let mut found = stock::stock(conn, doer.club, &filter)?;
        found.retain(|line| at.is_empty() || at.contains(&line.place));
        if found.is_empty() {
            let words =
                "By the books nothing stands there. Choose more, or record what is there as a receipt";
            return Err(Refusal::conflict("places", words).into());
        }
        if found.len() > MOST_LINES {
            let words = format!("That is more than {MOST_LINES} lines; count the places one after another");
            return Err(Refusal::conflict("places", words).into());
        }
        let of: Vec<(LotId, PlaceId)> = found.iter().map(|line| (line.lot, line.place)).collect();
        if let Some(code) = rows::open_elsewhere(conn, doer.club, None, &of)? {
            let words =
                format!("Count {code} is open and covers some of it; settle that one first, or choose less");
            return Err(Refusal::conflict("places", words).into());
        }
        let lines: Vec<NewLine> = found
            .into_iter()
            .map(|line| NewLine {
                place: line.place,
                lot: Some(line.lot),
                what: String::new(),
                unit: line.unit,
                found: false,
            })
            .collect();
        let id = CountId::fresh();
        let code = format!("C-{}", books::next_number(conn, doer.club, "count")?);
        let title = if start.title.is_empty() { titled(&names) } else { start.title.clone() };
        rows::add(conn, doer, id, (&code, &title), &lines)?;
        Ok(Started { id, code, lines: lines.len() })
    })
    .await
}

/// "Wheel pit and 2 more".
fn titled(names: &[String]) -> String {
    match names {
        [] => "Whole cellar".to_owned(),
        [one] => one.clone(),
        [one, other] => format!("{one} and {other}"),
        [one, rest @ ..] => format!("{one} and {} more", rest.len()),
    }
}

/// What somebody counted.
#[derive(Debug, Clone, Serialize, Deserialize)]
pub struct Found {
    /// How much stands there; 0 for nothing. May be left out where it is weighed.
    pub counted: Option<Milli>,
    /// What the scale showed, and what the empty vessel weighs: adds to what was counted.
    pub weighed: Option<(Milli, Milli)>,
    /// A package of it is open.
    pub opened: bool,
    /// A remark.
    pub remark: String,
    /// When, as a device says that was without signal.
    pub at: Option<Instant>,
}

impl Found {
    /// All of it, in the unit of the item.
    fn total(&self, unit: BaseUnit, density_micro: Option<i64>) -> Result<Milli, Refusal> {
        let net = match self.weighed {
            Some((gross, tare)) => Some(net(gross, tare, unit, density_micro)?),
            None => None,
        };
        match (self.counted, net) {
            (None, None) => {
                Err(Refusal::unfit("counted", "Write what stands there, or 0 if there is nothing"))
            }
            (counted, net) => Ok(counted.unwrap_or_default() + net.unwrap_or_default()),
        }
    }

    /// When it was counted: a clock that is wrong does not take it out of the count.
    fn at(&self, doer: &Doer, count: &Count) -> Instant {
        self.at.unwrap_or(doer.now).clamp(count.started_at.min(doer.now), doer.now)
    }
}

/// What was counted of a line of the sheet.
#[derive(Debug, Clone, Serialize, Deserialize)]
pub struct Tallied {
    /// Which count.
    pub count: CountId,
    /// Which line.
    pub number: u32,
    /// What was found.
    pub found: Found,
}

/// Say what one counted. Saying it again replaces what oneself said before, not what others said.
pub async fn tally(db: &Database, by: &Taster, key: Option<RequestKey>, order: Tallied) -> Done<u32> {
    once(db, by, key, "tally", order, |conn, doer, order| {
        let count = count(conn, doer, order.count)?;
        let line = one_line(conn, doer, &count, order.number)?;
        record_tally(conn, doer, &count, &line, &order.found)
    })
    .await
}

fn record_tally(conn: &mut AnyConn, doer: &Doer, count: &Count, line: &Line, found: &Found) -> Done<u32> {
    let at = found.at(doer, count);
    count.check_counter(doer, at)?;
    if line.settled.is_some() {
        let words = format!(
            "{} has been settled meanwhile. What you counted is not recorded: if it is off again, begin another count",
            line.name()
        );
        return Err(Refusal::conflict("", words).into());
    }
    if count.ended_at.is_some_and(|ended| at > ended) && line.asked_at.is_none() {
        let words = "The counting has ended; only what is asked for again is counted";
        return Err(Refusal::conflict("", words).into());
    }
    let density = line.lot.as_ref().and_then(|lot| lot.density_micro);
    let tally = NewTally {
        count: count.id,
        line: line.id,
        counted: found.total(line.unit, density)?,
        weighed: found.weighed,
        opened: found.opened,
        remark: found.remark.clone(),
        at,
    };
    rows::add_tally(conn, doer, &tally)?;
    seen_open(conn, doer, line, found, at)?;
    Ok(line.number)
}

/// What was seen open is open since then at the latest.
fn seen_open(conn: &mut AnyConn, doer: &Doer, line: &Line, found: &Found, at: Instant) -> Done<()> {
    let lot = line.lot.as_ref().filter(|_| found.opened);
    lot.map_or(Ok(()), |lot| super::buying::seen_open(conn, doer, lot.id, at))
}

/// Something that is not on the sheet.
#[derive(Debug, Clone, Serialize, Deserialize)]
pub struct FoundThing {
    /// In which count.
    pub count: CountId,
    /// Where it stands.
    pub place: PlaceId,
    /// Of which lot, where it has a label.
    pub lot: Option<LotId>,
    /// What it is, where it has none.
    pub what: String,
    /// What it is counted in.
    pub unit: BaseUnit,
    /// What was found.
    pub found: Found,
}

/// Say that something stands there which is not on the sheet.
pub async fn found_thing(
    db: &Database,
    by: &Taster,
    key: Option<RequestKey>,
    order: FoundThing,
) -> Done<u32> {
    once(db, by, key, "found thing", order, |conn, doer, order| {
        let count = count(conn, doer, order.count)?;
        count.check_counter(doer, order.found.at(doer, &count))?;
        or_missing(stock::place(conn, doer.club, order.place), "place", "place")?;
        if let Some(lot) = order.lot {
            or_missing(stock::lot(conn, doer.club, lot), "code", "lot")?;
            if let Some(line) = line_of(conn, doer, &count, lot, order.place)? {
                return record_tally(conn, doer, &count, &line, &order.found);
            }
            free(conn, doer, &count, lot, order.place)?;
        } else if order.what.is_empty() {
            return Err(Refusal::unfit("what", "Write the code of its label, or what it is").into());
        }
        let line = NewLine {
            place: order.place,
            lot: order.lot,
            what: order.what.clone(),
            unit: order.unit,
            found: true,
        };
        let (_, number) = rows::add_line(conn, doer.club, count.id, &line)?;
        let line = one_line(conn, doer, &count, number)?;
        // It is new, so what is asked for a second time does not apply to it.
        let tally = NewTally {
            count: count.id,
            line: line.id,
            counted: order.found.total(line.unit, line.lot.as_ref().and_then(|lot| lot.density_micro))?,
            weighed: order.found.weighed,
            opened: order.found.opened,
            remark: order.found.remark.clone(),
            at: order.found.at(doer, &count),
        };
        rows::add_tally(conn, doer, &tally)?;
        seen_open(conn, doer, &line, &order.found, tally.at)?;
        Ok(number)
    })
    .await
}

/// Refuses a lot at a place that another open count covers.
fn free(conn: &mut AnyConn, doer: &Doer, count: &Count, lot: LotId, place: PlaceId) -> Done<()> {
    match rows::open_elsewhere(conn, doer.club, Some(count.id), &[(lot, place)])? {
        Some(code) => {
            let words = format!("This lot at this place is counted in {code}; say it there");
            Err(Refusal::conflict("code", words).into())
        }
        None => Ok(()),
    }
}

fn line_of(conn: &mut AnyConn, doer: &Doer, count: &Count, lot: LotId, place: PlaceId) -> Done<Option<Line>> {
    let lines = rows::lines(conn, doer.club, count.id, None)?;
    let same = |line: &Line| line.place.0 == place && line.lot.as_ref().is_some_and(|of| of.id == lot);
    Ok(lines.into_iter().find(same))
}

/// What ending it brought.
#[derive(Debug, Clone, Serialize, Deserialize)]
pub struct Ended {
    /// How many lines are to be counted a second time.
    pub again: usize,
}

/// End the counting. What is further off than the club lets pass is asked for a second time.
pub async fn end(db: &Database, by: &Cellarhand, key: Option<RequestKey>, id: CountId) -> Done<Ended> {
    once(db, by, key, "end count", id, |conn, doer, id| {
        let count = open(conn, doer, *id)?;
        if count.ended_at.is_some() {
            return Err(Refusal::conflict("", "The counting has ended already").into());
        }
        if count.counters.is_empty() {
            return Err(Refusal::conflict("", "Nothing has been counted yet; count, or call it off").into());
        }
        rows::end(conn, count.id, doer.member, doer.now)?;
        let (lines, tolerance) = with_books(conn, doer, &count)?;
        let off: Vec<_> = lines
            .iter()
            .filter(|line| line.needs_second(line.finding(doer.zone), tolerance))
            .map(|line| line.id)
            .collect();
        rows::ask_again(conn, &off, doer.member, doer.now)?;
        Ok(Ended { again: off.len() })
    })
    .await
}

/// Lines to be counted again.
#[derive(Debug, Clone, Serialize, Deserialize)]
pub struct Recount {
    /// Of which count.
    pub count: CountId,
    /// Which lines.
    pub lines: Vec<u32>,
}

/// Ask for lines to be counted again; what was counted of them before no longer stands.
pub async fn ask_again(
    db: &Database,
    by: &Cellarhand,
    key: Option<RequestKey>,
    order: Recount,
) -> Done<usize> {
    once(db, by, key, "ask again", order, |conn, doer, order| {
        let count = open(conn, doer, order.count)?;
        count.check_settler(doer)?;
        if order.lines.is_empty() {
            return Err(Refusal::unfit("again", "Choose what is to be counted again").into());
        }
        let lines = rows::lines(conn, doer.club, count.id, None)?;
        let mut chosen = Vec::new();
        for number in &order.lines {
            let line = lines.iter().find(|line| line.number == *number && line.settled.is_none());
            let line = line.ok_or_else(|| {
                let words =
                    format!("Line {number} is not open in {}; look at the differences anew", count.code);
                Refusal::conflict("again", words)
            })?;
            chosen.push(line.id);
        }
        rows::ask_again(conn, &chosen, doer.member, doer.now)?;
        Ok(chosen.len())
    })
    .await
}

/// What somebody says of one line.
#[derive(Debug, Clone, Serialize, Deserialize)]
pub enum Say {
    /// Only why.
    Why,
    /// Which of several counts stands.
    Stands(TallyId),
    /// Of which lot it is.
    Is(LotId),
    /// It stays as the books have it.
    LeaveOut,
}

/// What is said of a line, and why it differs.
#[derive(Debug, Clone, Serialize, Deserialize)]
pub struct Saying {
    /// Of which count.
    pub count: CountId,
    /// Which line.
    pub number: u32,
    /// What.
    pub say: Say,
    /// Why it differs.
    pub reason: Option<Reason>,
    /// The same in words.
    pub words: String,
}

/// Settle what a line needs before it can be posted.
pub async fn say(db: &Database, by: &Cellarhand, key: Option<RequestKey>, order: Saying) -> Done<u32> {
    once(db, by, key, "say of line", order, |conn, doer, order| {
        let count = open(conn, doer, order.count)?;
        count.check_settler(doer)?;
        let line = one_line(conn, doer, &count, order.number)?;
        if line.settled.is_some() {
            return Err(Refusal::conflict("", "This line is settled already").into());
        }
        match order.say {
            Say::Why => {}
            Say::Stands(tally) => {
                if !line.standing().iter().any(|one| one.id == tally) {
                    return Err(Refusal::missing("stands", "count of this line").into());
                }
                rows::choose(conn, line.id, tally)?;
            }
            Say::Is(lot) => name(conn, doer, &count, &line, lot)?,
            Say::LeaveOut => {
                if order.words.is_empty() {
                    return Err(Refusal::unfit("words", "Say why it is left as it is").into());
                }
            }
        }
        if let Some(reason) = order.reason {
            rows::explain(conn, line.id, reason, &order.words)?;
        }
        if matches!(order.say, Say::LeaveOut) {
            rows::explain(conn, line.id, order.reason.unwrap_or(Reason::NotKnown), &order.words)?;
            let mut lines = [line];
            rows::with_books(conn, doer.club, &mut lines, doer.zone)?;
            let against = match lines[0].finding(doer.zone) {
                Finding::Known { counted, book, .. } => Some((counted, book)),
                _ => None,
            };
            rows::settle(conn, doer, lines[0].id, Ending::LeftOut, against, None)?;
            settling::close_if_done(conn, doer, &count)?;
        }
        Ok(order.number)
    })
    .await
}

fn name(conn: &mut AnyConn, doer: &Doer, count: &Count, line: &Line, lot: LotId) -> Done<()> {
    if line.lot.is_some() {
        return Err(Refusal::conflict("lot", "It is known already of which lot this is").into());
    }
    let found = or_missing(stock::lot(conn, doer.club, lot), "lot", "lot")?;
    if found.item.unit != line.unit {
        let words = format!(
            "{} is counted in {}, and this was written in {}; ask for it to be counted again with the code of its lot",
            found.item.name, found.item.unit, line.unit
        );
        return Err(Refusal::conflict("lot", words).into());
    }
    if line_of(conn, doer, count, lot, line.place.0)?.is_some() {
        let words = format!(
            "Lot {} at this place has a line of its own in this count; ask for that to be counted again, and leave \
             this one out",
            found.code
        );
        return Err(Refusal::conflict("lot", words).into());
    }
    free(conn, doer, count, lot, line.place.0)?;
    Ok(rows::name_lot(conn, line.id, lot)?)
}

/// Why a count comes to nothing.
#[derive(Debug, Clone, Serialize, Deserialize)]
pub struct CallingOff {
    /// Which.
    pub count: CountId,
    /// Why.
    pub reason: String,
}

/// Call a count off; nothing of it is posted.
pub async fn call_off(
    db: &Database,
    by: &Cellarhand,
    key: Option<RequestKey>,
    order: CallingOff,
) -> Done<CountId> {
    once(db, by, key, "call off count", order, |conn, doer, order| {
        let count = open(conn, doer, order.count)?;
        let lines = rows::lines(conn, doer.club, count.id, None)?;
        let posted = |line: &Line| line.settled.as_ref().is_some_and(|settled| settled.entry.is_some());
        if lines.iter().any(posted) {
            let words = "Part of it is posted; leave the rest out line by line, with a reason";
            return Err(Refusal::conflict("", words).into());
        }
        rows::call_off(conn, count.id, &order.reason, doer.now)?;
        Ok(count.id)
    })
    .await
}

fn count(conn: &mut AnyConn, doer: &Doer, id: CountId) -> Done<Count> {
    or_missing(rows::count(conn, doer.club, id), "", "count")
}

/// A count that is not over; one that is says so.
fn open(conn: &mut AnyConn, doer: &Doer, id: CountId) -> Done<Count> {
    let count = count(conn, doer, id)?;
    if count.over_at.is_some() { Err(count.refuse_closed().into()) } else { Ok(count) }
}

fn one_line(conn: &mut AnyConn, doer: &Doer, count: &Count, number: u32) -> Done<Line> {
    let found = rows::lines(conn, doer.club, count.id, Some(number))?.pop();
    found.ok_or_else(|| Refusal::missing("", "line").into())
}

fn with_books(conn: &mut AnyConn, doer: &Doer, count: &Count) -> Done<(Vec<Line>, Tolerance)> {
    let mut lines = rows::lines(conn, doer.club, count.id, None)?;
    rows::with_books(conn, doer.club, &mut lines, doer.zone)?;
    Ok((lines, rows::tolerance(conn, doer.club)?))
}
