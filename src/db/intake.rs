//! Tables that are brought in: what was sent, what its columns hold, what it made, and taking that away again.

use std::cell::RefCell;
use std::collections::{HashMap, HashSet};
use std::io;

use diesel::prelude::*;

use super::connection::AnyConn;
use super::failure::Failure;
use super::prepared::Prepare;
use super::schema::{
    batches, intake_columns, intake_parts, intake_things, intakes, items, members, persons, places,
};
use crate::domain::batches::Stage;
use crate::domain::intake::tables::moments::Order;
use crate::domain::intake::{Kind, Known, Source, Underway};
use crate::domain::members::{Doer, NOWHERE};
use crate::domain::stock::ItemKind;
use crate::units::days::{Day, Instant};
use crate::units::ids::{BatchId, ClubId, IntakeId, ItemId, MemberId, PersonId, PlaceId};
use crate::units::quantity::BaseUnit;
use crate::units::text::folded;

/// Bytes of one part of a text.
const PART: usize = 1 << 16;
/// Things that one row names.
const THINGS: usize = 500;

/// A table that was sent.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Intake {
    /// Which.
    pub id: IntakeId,
    /// What it holds.
    pub kind: Kind,
    /// What the file was called.
    pub file_name: String,
    /// How its days are written, where somebody said.
    pub order: Option<Order>,
    /// Who sent it.
    pub by: String,
    /// When.
    pub at: Instant,
    /// Rows that were brought in.
    pub kept: i64,
    /// Rows that were left out.
    pub left_out: i64,
    /// Readings of it that were there before and stayed as they were.
    pub known: i64,
    /// When it was brought in.
    pub brought_at: Option<Instant>,
    /// When it was undone, and why.
    pub undone: Option<(Instant, String)>,
}

/// Keep a table that was sent.
pub fn add(
    conn: &mut AnyConn,
    doer: &Doer,
    (kind, file_name, order): (Kind, &str, Option<Order>),
    text: &str,
) -> Result<IntakeId, Failure> {
    let id = IntakeId::fresh();
    diesel::insert_into(intakes::table)
        .values((
            intakes::id.eq(id),
            intakes::club_id.eq(doer.club),
            intakes::kind.eq(kind.code()),
            intakes::file_name.eq(file_name),
            intakes::date_order.eq(order.map_or("", Order::code)),
            intakes::sent_by.eq(doer.member),
            intakes::sent_at.eq(doer.now),
            intakes::kept.eq(0_i64),
            intakes::left_out.eq(0_i64),
            intakes::known.eq(0_i64),
            intakes::undone_because.eq(""),
        ))
        .execute(conn)?;
    let mut rest = text;
    let mut line = 0_i64;
    while !rest.is_empty() {
        let (part, more) = rest.split_at(rest.floor_char_boundary(PART));
        diesel::insert_into(intake_parts::table)
            .values((
                intake_parts::intake_id.eq(id),
                intake_parts::line.eq(line),
                intake_parts::text.eq(part),
            ))
            .execute(conn)?;
        (rest, line) = (more, line + 1);
    }
    Ok(id)
}

type Row = (
    (IntakeId, String, String, String, String, Instant),
    (i64, i64, i64, Option<Instant>, Option<Instant>, String),
);

fn intake(row: Row) -> Result<Intake, Failure> {
    let ((id, kind, file_name, order, by, at), (kept, left_out, known, brought_at, undone_at, because)) = row;
    let kind =
        Kind::from_code(&kind).ok_or_else(|| Failure::Fault(format!("a table of unknown kind “{kind}”")))?;
    let order = Order::ALL.into_iter().find(|known| known.code() == order);
    let undone = undone_at.map(|at| (at, because));
    Ok(Intake { id, kind, file_name, order, by, at, kept, left_out, known, brought_at, undone })
}

/// Tables of a club, the newest first; those before `before` where it is given.
pub fn intakes(
    conn: &mut AnyConn,
    club: ClubId,
    before: Option<IntakeId>,
    limit: i64,
) -> Result<Vec<Intake>, Failure> {
    let rows: Vec<Row> = intakes::table
        .inner_join(members::table.on(members::id.eq(intakes::sent_by)))
        .filter(intakes::club_id.eq(club).and(intakes::id.lt(before.unwrap_or(IntakeId(i64::MAX)))))
        .order(intakes::id.desc())
        .limit(limit)
        .select((
            (
                intakes::id,
                intakes::kind,
                intakes::file_name,
                intakes::date_order,
                members::name,
                intakes::sent_at,
            ),
            (
                intakes::kept,
                intakes::left_out,
                intakes::known,
                intakes::brought_at,
                intakes::undone_at,
                intakes::undone_because,
            ),
        ))
        .load(conn)?;
    rows.into_iter().map(intake).collect()
}

/// One of them.
pub fn one(conn: &mut AnyConn, club: ClubId, id: IntakeId) -> Result<Intake, Failure> {
    let next = IntakeId(id.0.saturating_add(1));
    intakes(conn, club, Some(next), 1)?.pop().filter(|found| found.id == id).ok_or(Failure::Gone)
}

/// The text of a table that was sent; nothing once it was brought in.
pub struct Text<'l, 'c> {
    conn: &'l RefCell<&'c mut AnyConn>,
    id: IntakeId,
    broken: RefCell<Option<Failure>>,
}

/// Reads a table that was sent. The connection is lent to its text for each part alone. Where a part could not be read,
/// nothing holds that was made of the others.
pub fn read_text<T, E: From<Failure>>(
    conn: &mut AnyConn,
    id: IntakeId,
    read: impl FnOnce(&RefCell<&mut AnyConn>, &Text<'_, '_>) -> Result<T, E>,
) -> Result<T, E> {
    let conn = RefCell::new(conn);
    let text = Text { conn: &conn, id, broken: RefCell::new(None) };
    let done = read(&conn, &text);
    match text.broken.take() {
        Some(failure) => Err(failure.into()),
        None => done,
    }
}

impl Text<'_, '_> {
    fn part(&self, line: i64) -> io::Result<Option<String>> {
        let part = intake_parts::table.find((self.id, line)).select(intake_parts::text);
        part.prepared().one(&mut self.conn.borrow_mut()).map_err(|error| {
            self.broken.replace(Some(error.into()));
            io::Error::other("the table cannot be read")
        })
    }
}

impl Source for Text<'_, '_> {
    fn open(&self) -> Box<dyn io::Read + '_> {
        Box::new(Parts { of: self, next: 0, part: String::new(), at: 0 })
    }
}

/// One part after another.
struct Parts<'t, 'l, 'c> {
    of: &'t Text<'l, 'c>,
    next: i64,
    part: String,
    at: usize,
}

impl io::Read for Parts<'_, '_, '_> {
    fn read(&mut self, into: &mut [u8]) -> io::Result<usize> {
        if self.at == self.part.len() {
            let Some(part) = self.of.part(self.next)? else { return Ok(0) };
            (self.part, self.at) = (part, 0);
            self.next += 1;
        }
        let read = (&self.part.as_bytes()[self.at..]).read(into)?;
        self.at += read;
        Ok(read)
    }
}

/// What the club said last of columns with these names, in tables of this kind.
pub fn columns(conn: &mut AnyConn, club: ClubId, kind: Kind) -> Result<HashMap<String, String>, Failure> {
    let rows: Vec<(String, String)> = intake_columns::table
        .filter(intake_columns::club_id.eq(club).and(intake_columns::kind.eq(kind.code())))
        .select((intake_columns::heading, intake_columns::field))
        .load(conn)?;
    Ok(rows.into_iter().collect())
}

/// Remember what columns with these names hold.
pub fn remember(
    conn: &mut AnyConn,
    club: ClubId,
    kind: Kind,
    said: impl IntoIterator<Item = (String, String)>,
) -> Result<(), Failure> {
    for (heading, field) in said {
        let of = intake_columns::club_id.eq(club).and(intake_columns::kind.eq(kind.code()));
        diesel::delete(intake_columns::table.filter(of.and(intake_columns::heading.eq(heading.clone()))))
            .execute(conn)?;
        diesel::insert_into(intake_columns::table)
            .values((
                intake_columns::club_id.eq(club),
                intake_columns::kind.eq(kind.code()),
                intake_columns::heading.eq(heading),
                intake_columns::field.eq(field),
            ))
            .execute(conn)?;
    }
    Ok(())
}

/// How the days of a table are written, as somebody said.
pub fn set_order(conn: &mut AnyConn, id: IntakeId, order: Option<Order>) -> Result<(), Failure> {
    diesel::update(intakes::table.find(id))
        .set(intakes::date_order.eq(order.map_or("", Order::code)))
        .execute(conn)?;
    Ok(())
}

/// It was brought in: its text is not needed any more.
pub fn brought(
    conn: &mut AnyConn,
    id: IntakeId,
    at: Instant,
    (kept, left_out, known): (usize, usize, usize),
) -> Result<(), Failure> {
    let count = |count: usize| i64::try_from(count).unwrap_or(i64::MAX);
    diesel::update(intakes::table.find(id))
        .set((
            intakes::kept.eq(count(kept)),
            intakes::left_out.eq(count(left_out)),
            intakes::known.eq(count(known)),
            intakes::brought_at.eq(Some(at)),
        ))
        .execute(conn)?;
    diesel::delete(intake_parts::table.filter(intake_parts::intake_id.eq(id))).execute(conn)?;
    Ok(())
}

/// Forget what was sent before this instant and not brought in.
pub fn forget(conn: &mut AnyConn, before: Instant) -> Result<usize, Failure> {
    let stale = intakes::table.filter(intakes::brought_at.is_null().and(intakes::sent_at.lt(before)));
    let ids: Vec<IntakeId> = stale.select(intakes::id).limit(100).load(conn)?;
    for id in &ids {
        diesel::delete(intake_parts::table.filter(intake_parts::intake_id.eq(id))).execute(conn)?;
        diesel::delete(intakes::table.find(id)).execute(conn)?;
    }
    Ok(ids.len())
}

/// What a table made.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum What {
    /// Items.
    Items,
    /// Places.
    Places,
    /// Members, each with a person of their own.
    Members,
    /// Batches.
    Batches,
    /// Entries in the books.
    Entries,
    /// Files of readings.
    Imports,
}

impl What {
    const ALL: [Self; 6] =
        [Self::Items, Self::Places, Self::Members, Self::Batches, Self::Entries, Self::Imports];

    const fn code(self) -> &'static str {
        match self {
            Self::Items => "items",
            Self::Places => "places",
            Self::Members => "members",
            Self::Batches => "batches",
            Self::Entries => "entries",
            Self::Imports => "imports",
        }
    }
}

/// Keeps what a table made, in the order in which it was made.
pub struct Things {
    of: IntakeId,
    line: i64,
    what: What,
    held: Vec<i64>,
}

impl Things {
    /// What this table makes.
    pub fn of(intake: IntakeId) -> Self {
        Self { of: intake, line: 0, what: What::Items, held: Vec::new() }
    }

    /// One thing more.
    pub fn made(&mut self, conn: &mut AnyConn, what: What, id: i64) -> Result<(), Failure> {
        if self.what != what || self.held.len() == THINGS {
            self.keep(conn)?;
            self.what = what;
        }
        self.held.push(id);
        Ok(())
    }

    /// Keep what is held.
    pub fn keep(&mut self, conn: &mut AnyConn) -> Result<(), Failure> {
        if self.held.is_empty() {
            return Ok(());
        }
        let things: Vec<String> = self.held.drain(..).map(|id| id.to_string()).collect();
        diesel::insert_into(intake_things::table)
            .values((
                intake_things::intake_id.eq(self.of),
                intake_things::line.eq(self.line),
                intake_things::what.eq(self.what.code()),
                intake_things::things.eq(things.join(" ")),
            ))
            .execute(conn)?;
        self.line += 1;
        Ok(())
    }
}

/// All that a table made, what was made last first.
pub fn things(conn: &mut AnyConn, id: IntakeId) -> Result<Vec<(What, i64)>, Failure> {
    let rows: Vec<(String, String)> = intake_things::table
        .filter(intake_things::intake_id.eq(id))
        .order(intake_things::line.desc())
        .select((intake_things::what, intake_things::things))
        .load(conn)?;
    let mut found = Vec::new();
    for (what, things) in rows {
        let what = What::ALL.into_iter().find(|known| known.code() == what);
        let what = what.ok_or_else(|| Failure::Fault("a table made something unknown".to_owned()))?;
        let ids = things.split(' ').filter_map(|id| id.parse::<i64>().ok());
        let start = found.len();
        found.extend(ids.map(|id| (what, id)));
        found[start..].reverse();
    }
    Ok(found)
}

/// It was undone, or forgotten before it was brought in.
pub fn undone(conn: &mut AnyConn, doer: &Doer, id: IntakeId, because: &str) -> Result<(), Failure> {
    diesel::update(intakes::table.find(id))
        .set((
            intakes::undone_at.eq(Some(doer.now)),
            intakes::undone_by.eq(Some(doer.member)),
            intakes::undone_because.eq(because),
        ))
        .execute(conn)?;
    diesel::delete(intake_parts::table.filter(intake_parts::intake_id.eq(id))).execute(conn)?;
    diesel::delete(intake_things::table.filter(intake_things::intake_id.eq(id))).execute(conn)?;
    Ok(())
}

/// What an item, a place, a member or a batch is called.
pub fn name_of(conn: &mut AnyConn, what: What, id: i64) -> Result<Option<String>, Failure> {
    Ok(match what {
        What::Items => items::table.find(ItemId(id)).select(items::name).first(conn).optional()?,
        What::Places => places::table.find(PlaceId(id)).select(places::path).first(conn).optional()?,
        What::Members => members::table.find(MemberId(id)).select(members::name).first(conn).optional()?,
        What::Batches => batches::table.find(BatchId(id)).select(batches::name).first(conn).optional()?,
        What::Entries | What::Imports => None,
    })
}

/// Take away an item, a place, a member or a batch of which nothing was recorded; [`Failure::Refused`] where something
/// was.
pub fn remove(conn: &mut AnyConn, what: What, id: i64) -> Result<(), Failure> {
    match what {
        What::Items => diesel::delete(items::table.find(ItemId(id))).execute(conn)?,
        What::Places => diesel::delete(places::table.find(PlaceId(id))).execute(conn)?,
        What::Batches => diesel::delete(batches::table.find(BatchId(id))).execute(conn)?,
        What::Members => {
            let person: Option<(PersonId, String)> = members::table
                .inner_join(persons::table.on(persons::id.eq(members::person_id)))
                .filter(members::id.eq(MemberId(id)))
                .select((persons::id, persons::email))
                .first(conn)
                .optional()?;
            let Some((person, email)) = person else { return Ok(()) };
            if !email.ends_with(NOWHERE) {
                return Err(Failure::Refused("they have come by their link".to_owned()));
            }
            diesel::delete(members::table.find(MemberId(id))).execute(conn)?;
            diesel::delete(persons::table.find(person)).execute(conn)?
        }
        What::Entries | What::Imports => 0,
    };
    Ok(())
}

/// What a club has by the names that rows of this kind use.
pub fn known(conn: &mut AnyConn, doer: &Doer, kind: Kind) -> Result<Known, Failure> {
    let club = doer.club;
    let mut known = Known {
        now: doer.now,
        zone: doer.zone,
        items: HashMap::new(),
        places: HashMap::new(),
        members: HashSet::new(),
        batches: HashMap::new(),
    };
    if matches!(kind, Kind::Items | Kind::Lots) {
        let rows: Vec<(ItemId, String, ItemKind, BaseUnit)> = items::table
            .filter(items::club_id.eq(club))
            .select((items::id, items::folded, items::kind, items::unit))
            .load(conn)?;
        known.items = rows.into_iter().map(|(id, name, kind, unit)| (name, (id, kind, unit))).collect();
    }
    if matches!(kind, Kind::Places | Kind::Lots | Kind::Batches | Kind::Bottles) {
        let rows = super::stock::places(conn, club)?;
        known.places = rows.into_iter().map(|place| (folded(&place.path), place)).collect();
    }
    if kind == Kind::Members {
        let names: Vec<String> = members::table
            .filter(members::club_id.eq(club).and(members::left_on.is_null()))
            .select(members::name)
            .load(conn)?;
        known.members = names.into_iter().map(|name| folded(&name)).collect();
    }
    if matches!(kind, Kind::Readings | Kind::Bottles) {
        let rows: Vec<(BatchId, String, String, Stage, Option<Day>)> = batches::table
            .filter(batches::club_id.eq(club))
            .select((batches::id, batches::code, batches::name, batches::stage, batches::pitched_on))
            .load(conn)?;
        let underway = |id, stage: Stage, pitched_on| Underway { id, open: !stage.ended(), pitched_on };
        for (id, _, name, stage, pitched_on) in &rows {
            let entry = known.batches.entry(folded(name));
            entry.and_modify(|held| *held = None).or_insert(Some(underway(*id, *stage, *pitched_on)));
        }
        // A number comes before a drink of that name.
        for (id, code, _, stage, pitched_on) in rows {
            known.batches.insert(folded(&code), Some(underway(id, stage, pitched_on)));
        }
    }
    Ok(known)
}
