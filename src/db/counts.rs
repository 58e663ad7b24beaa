//! Counts: what is counted, by whom, and what the books say of it.
//!
//! What the books say is read apart from the lines ([`with_books`]), so that a page for whoever counts cannot show it.

use std::collections::HashMap;

use diesel::dsl::{count_star, sql};
use diesel::prelude::*;
use diesel::sql_types::BigInt;

use super::connection::AnyConn;
use super::failure::Failure;
use super::schema::{
    bottlings, count_lines, counts, entries, items, lots, members, places, tallies, walking_order,
};
use crate::db::prepared::{Prepare, padded};
use crate::domain::counts::{Count, Ending, Line, LotOf, Reason, Settled, Tally};
use crate::domain::members::Role;
use crate::units::days::Instant;
use crate::units::ids::{
    BottlingId, ClubId, CountId, CountLineId, EntryId, ItemId, LotId, MemberId, PlaceId, TallyId,
};
use crate::units::money::Money;
use crate::units::quantity::{BaseUnit, Milli};

pub mod accuracy;
mod books;
mod ways;
mod write;

pub use books::{everywhere, with_books};
pub use covered::covered;
pub use ways::{set_tolerance, set_walking_order, tolerance, walking_order};
pub use write::{
    NewLine, NewTally, add, add_line, add_tally, ask_again, call_off, choose, close, end, explain, name_lot,
    settle,
};

type Head = (CountId, String, String, (MemberId, String), Instant, Option<Instant>, Option<Instant>, String);

macro_rules! told_counts {
    () => {
        counts::table.inner_join(members::table.on(members::id.eq(counts::started_by))).select((
            counts::id,
            counts::code,
            counts::title,
            (members::id, members::name),
            counts::started_at,
            counts::ended_at,
            counts::over_at,
            counts::called_off_because,
        ))
    };
}

mod covered;

fn count_of(head: Head, counters: Vec<(MemberId, String)>, hands: &[MemberId]) -> Count {
    let (id, code, title, started_by, started_at, ended_at, over_at, called_off_because) = head;
    let nobody_else = hands.iter().all(|hand| counters.iter().any(|counter| counter.0 == *hand));
    Count {
        id,
        code,
        title,
        started_by,
        started_at,
        ended_at,
        over_at,
        called_off_because,
        counters,
        nobody_else,
    }
}

/// Who in the club may settle differences.
fn hands(conn: &mut AnyConn, club: ClubId) -> Result<Vec<MemberId>, Failure> {
    Ok(members::table
        .filter(members::club_id.eq(club).and(members::left_on.is_null()))
        .filter(members::role.eq_any([Role::Cellarhand, Role::Steward]))
        .select(members::id)
        .load(conn)?)
}

fn counters_of(
    conn: &mut AnyConn,
    of: &[CountId],
) -> Result<HashMap<CountId, Vec<(MemberId, String)>>, Failure> {
    let rows: Vec<(CountId, MemberId, String)> = tallies::table
        .inner_join(members::table.on(members::id.eq(tallies::member_id)))
        .filter(tallies::count_id.eq_any(padded(of)))
        .select((tallies::count_id, members::id, members::name))
        .distinct()
        .order((tallies::count_id, members::id))
        .prepared()
        .load(conn)?;
    let mut found: HashMap<CountId, Vec<(MemberId, String)>> = HashMap::new();
    for (count, member, name) in rows {
        found.entry(count).or_default().push((member, name));
    }
    Ok(found)
}

/// One count.
pub fn count(conn: &mut AnyConn, club: ClubId, id: CountId) -> Result<Count, Failure> {
    let head: Head = told_counts!().filter(counts::id.eq(id).and(counts::club_id.eq(club))).first(conn)?;
    let hands = hands(conn, club)?;
    let counters = counters_of(conn, &[id])?.remove(&id).unwrap_or_default();
    Ok(count_of(head, counters, &hands))
}

/// A count as a list shows it.
#[derive(Debug, Clone, PartialEq)]
pub struct Listed {
    /// The count.
    pub count: Count,
    /// How many lines it has.
    pub lines: i64,
    /// How many of them were counted at all.
    pub counted: i64,
    /// How many were put right.
    pub posted: i64,
}

/// Counts, the latest first, after one; `open` for those that are not over.
pub fn counts(
    conn: &mut AnyConn,
    club: ClubId,
    open: bool,
    after: Option<CountId>,
    limit: i64,
) -> Result<Vec<Listed>, Failure> {
    let mut query =
        told_counts!().filter(counts::club_id.eq(club)).order(counts::id.desc()).limit(limit).into_boxed();
    if open {
        query = query.filter(counts::over_at.is_null());
    }
    if let Some(after) = after {
        query = query.filter(counts::id.lt(after));
    }
    let heads: Vec<Head> = query.load(conn)?;
    let ids: Vec<CountId> = heads.iter().map(|head| head.0).collect();
    let hands = hands(conn, club)?;
    let mut counters = counters_of(conn, &ids)?;
    let endings: Vec<(CountId, Option<Ending>, i64)> = count_lines::table
        .filter(count_lines::count_id.eq_any(padded(&ids)))
        .group_by((count_lines::count_id, count_lines::outcome))
        .select((count_lines::count_id, count_lines::outcome, count_star()))
        .prepared()
        .load(conn)?;
    let counted: Vec<(CountId, i64)> = tallies::table
        .filter(tallies::count_id.eq_any(padded(&ids)))
        .group_by(tallies::count_id)
        .select((tallies::count_id, sql::<BigInt>("COUNT(DISTINCT tallies.line_id)")))
        .prepared()
        .load(conn)?;
    let mut sums: HashMap<CountId, (i64, i64, i64)> = HashMap::new();
    for (count, ending, lines) in endings {
        let sum = sums.entry(count).or_default();
        sum.0 += lines;
        sum.2 += if ending == Some(Ending::Posted) { lines } else { 0 };
    }
    for (count, lines) in counted {
        sums.entry(count).or_default().1 = lines;
    }
    Ok(heads
        .into_iter()
        .map(|head| {
            let (lines, counted, posted) = sums.get(&head.0).copied().unwrap_or_default();
            let counters = counters.remove(&head.0).unwrap_or_default();
            Listed { count: count_of(head, counters, &hands), lines, counted, posted }
        })
        .collect())
}

type LotColumns = (
    Option<String>,
    Option<ItemId>,
    Option<String>,
    Option<String>,
    Option<i64>,
    Option<BottlingId>,
    Option<String>,
);
type SettledColumns = (
    Option<Ending>,
    Option<Instant>,
    Option<Milli>,
    Option<Milli>,
    Option<Money>,
    Option<EntryId>,
    Option<EntryId>,
);
type LineRow = (
    (CountLineId, i64, PlaceId, String, String, Option<i64>),
    (Option<LotId>, LotColumns),
    (String, BaseUnit, bool, Option<Instant>, Option<TallyId>, Option<Reason>, String),
    SettledColumns,
);

/// The lines of a count in the order in which one walks past them, or one of them, without what the books say.
pub fn lines(conn: &mut AnyConn, club: ClubId, id: CountId, only: Option<u32>) -> Result<Vec<Line>, Failure> {
    let back = diesel::alias!(entries as back);
    let mut query = count_lines::table
        .inner_join(places::table.on(places::id.eq(count_lines::place_id)))
        .left_join(walking_order::table.on(walking_order::place_id.eq(count_lines::place_id)))
        .left_join(lots::table.on(lots::id.nullable().eq(count_lines::lot_id)))
        .left_join(items::table.on(items::id.eq(lots::item_id)))
        .left_join(bottlings::table.on(bottlings::lot_id.nullable().eq(count_lines::lot_id)))
        .left_join(back.on(back.field(entries::reverses).eq(count_lines::entry_id)))
        .filter(count_lines::count_id.eq(id).and(count_lines::club_id.eq(club)))
        .select((
            (
                count_lines::id,
                count_lines::number,
                places::id,
                places::path,
                places::folded,
                walking_order::number.nullable(),
            ),
            (
                count_lines::lot_id,
                (
                    lots::code.nullable(),
                    items::id.nullable(),
                    items::name.nullable(),
                    items::folded.nullable(),
                    items::density_micro.nullable(),
                    bottlings::id.nullable(),
                    bottlings::code.nullable(),
                ),
            ),
            (
                count_lines::what,
                count_lines::unit,
                count_lines::found,
                count_lines::asked_at,
                count_lines::chosen_id,
                count_lines::reason,
                count_lines::words,
            ),
            (
                count_lines::outcome,
                count_lines::settled_at,
                count_lines::counted,
                count_lines::book,
                count_lines::worth,
                count_lines::entry_id,
                back.field(entries::id).nullable(),
            ),
        ))
        .into_boxed();
    if let Some(number) = only {
        query = query.filter(count_lines::number.eq(i64::from(number)));
    }
    let mut rows: Vec<LineRow> = query.load(conn)?;
    rows.sort_by(|one, other| walk_key(one).cmp(&walk_key(other)));
    let of_line = only.and(rows.first().map(|row| row.0.0));
    let mut counted = tallies_of(conn, id, of_line)?;
    Ok(rows
        .into_iter()
        .map(|row| {
            let tallies = counted.remove(&row.0.0).unwrap_or_default();
            line_of(row, tallies)
        })
        .collect())
}

/// Where a line comes as one walks: by the order of places, then by name.
fn walk_key(row: &LineRow) -> (i64, &str, bool, &str, i64) {
    let ((_, number, _, _, place, walked), (_, lot), (what, ..), _) = row;
    let name = lot.3.as_deref().unwrap_or(what);
    (walked.unwrap_or(i64::MAX), place, lot.0.is_none(), name, *number)
}

fn line_of(row: LineRow, tallies: Vec<Tally>) -> Line {
    let (
        (id, number, place, path, ..),
        (lot, of),
        (what, unit, found, asked_at, chosen, reason, words),
        settled,
    ) = row;
    let (code, item, name, _, density_micro, bottling, bottling_code) = of;
    let lot = lot.zip(code).zip(item.zip(name)).map(|((id, code), item)| LotOf {
        id,
        code,
        item,
        density_micro,
        bottling: bottling.zip(bottling_code),
    });
    let (ending, at, counted, book, worth, entry, back) = settled;
    Line {
        id,
        number: u32::try_from(number).unwrap_or(u32::MAX),
        place: (place, path),
        lot,
        what,
        unit,
        found,
        asked_at,
        chosen,
        reason,
        words,
        settled: ending.zip(at).map(|(ending, at)| Settled {
            ending,
            at,
            against: counted.zip(book),
            worth,
            entry: entry.map(|entry| (entry, back.is_some())),
        }),
        tallies,
        books: None,
    }
}

fn tallies_of(
    conn: &mut AnyConn,
    count: CountId,
    only: Option<CountLineId>,
) -> Result<HashMap<CountLineId, Vec<Tally>>, Failure> {
    type Row = (
        TallyId,
        CountLineId,
        (MemberId, String),
        Milli,
        Option<Milli>,
        Option<Milli>,
        bool,
        String,
        Instant,
    );
    let mut query = tallies::table
        .inner_join(members::table.on(members::id.eq(tallies::member_id)))
        .filter(tallies::count_id.eq(count))
        .order(tallies::id)
        .select((
            tallies::id,
            tallies::line_id,
            (members::id, members::name),
            tallies::counted,
            tallies::gross,
            tallies::tare,
            tallies::opened,
            tallies::remark,
            tallies::counted_at,
        ))
        .into_boxed();
    if let Some(line) = only {
        query = query.filter(tallies::line_id.eq(line));
    }
    let rows: Vec<Row> = query.load(conn)?;
    let mut found: HashMap<CountLineId, Vec<Tally>> = HashMap::new();
    for (id, line, member, counted, gross, tare, opened, remark, counted_at) in rows {
        let weighed = gross.zip(tare);
        found.entry(line).or_default().push(Tally {
            id,
            member,
            counted,
            weighed,
            opened,
            remark,
            counted_at,
        });
    }
    Ok(found)
}

/// An open count, other than this one, in which one of these lots at these places is a line: its code.
pub fn open_elsewhere(
    conn: &mut AnyConn,
    club: ClubId,
    but: Option<CountId>,
    of: &[(LotId, PlaceId)],
) -> Result<Option<String>, Failure> {
    let open: Vec<(CountId, String)> = counts::table
        .filter(counts::club_id.eq(club).and(counts::over_at.is_null()))
        .select((counts::id, counts::code))
        .load(conn)?;
    let others: Vec<CountId> = open.iter().map(|one| one.0).filter(|id| Some(*id) != but).collect();
    if others.is_empty() {
        return Ok(None);
    }
    let rows: Vec<(CountId, Option<LotId>, PlaceId)> = count_lines::table
        .filter(count_lines::count_id.eq_any(padded(&others)).and(count_lines::settled_at.is_null()))
        .select((count_lines::count_id, count_lines::lot_id, count_lines::place_id))
        .prepared()
        .load(conn)?;
    let wanted: std::collections::HashSet<(LotId, PlaceId)> = of.iter().copied().collect();
    let clash =
        rows.into_iter().find(|(_, lot, place)| lot.is_some_and(|lot| wanted.contains(&(lot, *place))));
    Ok(clash.and_then(|(id, ..)| open.into_iter().find(|one| one.0 == id)).map(|one| one.1))
}

/// The lot that a label or a person names: by its code, by that of its bottling, or by the address in the label's code.
pub fn lot_by(conn: &mut AnyConn, club: ClubId, said: &str) -> Result<Option<LotId>, Failure> {
    let said = said.trim().trim_end_matches('/');
    let word = said.rsplit('/').next().unwrap_or(said);
    if let Ok(id) = word.parse::<LotId>() {
        let lot = lots::table.filter(lots::club_id.eq(club).and(lots::id.eq(id))).select(lots::id);
        if let Some(lot) = lot.first(conn).optional()? {
            return Ok(Some(lot));
        }
    }
    if let Ok(id) = word.parse::<BottlingId>() {
        let of = bottlings::club_id.eq(club).and(bottlings::id.eq(id));
        return Ok(bottlings::table.filter(of).select(bottlings::lot_id).first(conn).optional()?);
    }
    let upper = word.to_uppercase();
    let codes = [word.to_owned(), upper.clone(), format!("L-{upper}")];
    let of = lots::club_id.eq(club).and(lots::code.eq_any(padded(&codes)));
    if let Some(lot) = lots::table
        .filter(of)
        .order(lots::id)
        .select(lots::id)
        .limit(1)
        .prepared()
        .get_result(conn)
        .optional()?
    {
        return Ok(Some(lot));
    }
    let of = bottlings::club_id.eq(club).and(bottlings::code.eq_any([word.to_owned(), upper]));
    Ok(bottlings::table.filter(of).order(bottlings::id).select(bottlings::lot_id).first(conn).optional()?)
}

/// How many counts are open.
pub fn how_many_open(conn: &mut AnyConn, club: ClubId) -> Result<i64, Failure> {
    let open = counts::club_id.eq(club).and(counts::over_at.is_null());
    Ok(counts::table.filter(open).select(count_star()).first(conn)?)
}

/// The numbers of the lines of a count.
pub fn numbers(conn: &mut AnyConn, club: ClubId, id: CountId) -> Result<Vec<u32>, Failure> {
    let rows: Vec<i64> = count_lines::table
        .filter(count_lines::count_id.eq(id).and(count_lines::club_id.eq(club)))
        .order(count_lines::number)
        .select(count_lines::number)
        .load(conn)?;
    Ok(rows.into_iter().filter_map(|number| u32::try_from(number).ok()).collect())
}
