//! Reminders, and the live facts at the foot of every page.

use std::collections::HashMap;

use diesel::prelude::*;

pub use gone::{Gone, forget_gone, gone_since, keep};

mod gone;

use super::buying::until;
use super::connection::AnyConn;
use super::failure::Failure;
use super::prepared::{Prepare, padded};
use super::schema::{
    accounts, batches, bottlings, items, lots, members, openings, places, reminders, upkeep,
};
use super::stock::InStock;
use crate::domain::batches::Stage;
use crate::domain::reminders::{NewReminder, ReminderKind, Subject, low_text, use_by_text};
use crate::units::days::{Day, Instant};
use crate::units::ids::{BatchId, BottlingId, ClubId, ItemId, LotId, MemberId, PlaceId, ReminderId};
use crate::units::quantity::{BaseUnit, Milli};

/// Make a reminder unless it was made before. Says whether it is new.
pub fn make(conn: &mut AnyConn, club: ClubId, new: &NewReminder, at: Instant) -> Result<bool, Failure> {
    let there: i64 = reminders::table
        .filter(reminders::club_id.eq(club).and(reminders::key.eq(&new.key)))
        .count()
        .get_result(conn)?;
    if there > 0 {
        return Ok(false);
    }
    let (mut bottling, mut batch, mut lot, mut item, mut place) = (None, None, None, None, None);
    match new.subject {
        Subject::Bottling(id) => bottling = Some(id),
        Subject::Batch(id) => batch = Some(id),
        Subject::Lot(id) => lot = Some(id),
        Subject::Item(id) => item = Some(id),
        Subject::Place(id) => place = Some(id),
        Subject::Cellar => {}
    }
    diesel::insert_into(reminders::table)
        .values((
            reminders::id.eq(ReminderId::fresh()),
            reminders::club_id.eq(club),
            reminders::key.eq(&new.key),
            reminders::kind.eq(new.kind),
            reminders::due_on.eq(new.due_on),
            reminders::text.eq(&new.text),
            reminders::bottling_id.eq(bottling),
            reminders::batch_id.eq(batch),
            reminders::lot_id.eq(lot),
            reminders::item_id.eq(item),
            reminders::place_id.eq(place),
            reminders::made_at.eq(at),
        ))
        .execute(conn)?;
    Ok(true)
}

/// A reminder as Today shows it.
#[derive(Debug, Clone, PartialEq)]
pub struct Reminder {
    /// Which.
    pub id: ReminderId,
    /// What it is about, unique in the club.
    pub key: String,
    /// How often it was changed.
    pub revision: i64,
    /// Kind.
    pub kind: ReminderKind,
    /// The day it is due.
    pub due_on: Day,
    /// What to do.
    pub text: String,
    /// Whose it is; nobody's is everybody's.
    pub member: Option<(MemberId, String)>,
    /// The bottling it is about, with code and drink.
    pub bottling: Option<(BottlingId, String)>,
    /// The batch it is about, with code and drink.
    pub batch: Option<(BatchId, String, String)>,
    /// The lot it is about, with its code.
    pub lot: Option<(LotId, String)>,
    /// The item it is about, with its name.
    pub item: Option<(ItemId, String)>,
    /// The place it is about, with its name.
    pub place: Option<(PlaceId, String)>,
    /// When it was done.
    pub done_at: Option<Instant>,
}

/// Which reminders to load.
enum Of {
    /// Open ones, where a day is given due up to that, those after a place in their order.
    Open(Option<Day>, Option<(Day, ReminderId)>),
    /// One, open or done.
    One(ReminderId),
    /// Those that were done since.
    DoneSince(Instant),
}

/// Open reminders due up to a day, the longest due first.
pub fn open(conn: &mut AnyConn, club: ClubId, until: Day, limit: i64) -> Result<Vec<Reminder>, Failure> {
    load(conn, club, &Of::Open(Some(until), None), limit)
}

/// A part of the open reminders, the longest due first: those after the day and identity of the last of the
/// part before, and where `until` is given, due up to that day.
pub fn part(
    conn: &mut AnyConn,
    club: ClubId,
    until: Option<Day>,
    after: Option<(Day, ReminderId)>,
    limit: i64,
) -> Result<Vec<Reminder>, Failure> {
    load(conn, club, &Of::Open(until, after), limit)
}

/// Reminders that were done since an instant.
pub fn done_since(
    conn: &mut AnyConn,
    club: ClubId,
    at: Instant,
    limit: i64,
) -> Result<Vec<Reminder>, Failure> {
    load(conn, club, &Of::DoneSince(at), limit)
}

/// One reminder, open or done.
pub fn reminder(conn: &mut AnyConn, club: ClubId, id: ReminderId) -> Result<Reminder, Failure> {
    load(conn, club, &Of::One(id), 1)?.pop().ok_or(Failure::Gone)
}

fn load(conn: &mut AnyConn, club: ClubId, of: &Of, limit: i64) -> Result<Vec<Reminder>, Failure> {
    type Row = (
        (ReminderId, String, i64, ReminderKind, Day, String, Option<Instant>),
        (Option<MemberId>, Option<String>),
        (Option<BottlingId>, Option<String>),
        (Option<BatchId>, Option<String>, Option<String>),
        (Option<LotId>, Option<String>),
        (Option<ItemId>, Option<String>),
        (Option<PlaceId>, Option<String>),
    );
    let mut query = reminders::table
        .left_join(members::table.on(members::id.nullable().eq(reminders::member_id)))
        .left_join(bottlings::table.on(bottlings::id.nullable().eq(reminders::bottling_id)))
        .left_join(
            batches::table.on(batches::id
                .nullable()
                .eq(reminders::batch_id)
                .or(batches::id.nullable().eq(bottlings::batch_id.nullable()))),
        )
        .left_join(lots::table.on(lots::id.nullable().eq(reminders::lot_id)))
        .left_join(items::table.on(items::id.nullable().eq(reminders::item_id)))
        .left_join(places::table.on(places::id.nullable().eq(reminders::place_id)))
        .filter(reminders::club_id.eq(club))
        .order((reminders::due_on, reminders::id))
        .limit(limit)
        .select((
            (
                reminders::id,
                reminders::key,
                reminders::revision,
                reminders::kind,
                reminders::due_on,
                reminders::text,
                reminders::done_at,
            ),
            (reminders::member_id, members::name.nullable()),
            (reminders::bottling_id, bottlings::code.nullable()),
            (batches::id.nullable(), batches::code.nullable(), batches::name.nullable()),
            (reminders::lot_id, lots::code.nullable()),
            (reminders::item_id, items::name.nullable()),
            (reminders::place_id, places::name.nullable()),
        ))
        .into_boxed();
    match of {
        Of::One(id) => query = query.filter(reminders::id.eq(*id)),
        Of::DoneSince(at) => query = query.filter(reminders::done_at.ge(Some(*at))),
        Of::Open(until, after) => {
            query = query.filter(reminders::done_at.is_null());
            if let Some(until) = *until {
                query = query.filter(reminders::due_on.le(until));
            }
            if let Some((day, id)) = *after {
                let later = reminders::due_on.gt(day).or(reminders::due_on.eq(day).and(reminders::id.gt(id)));
                query = query.filter(later);
            }
        }
    }
    let rows: Vec<Row> = query.prepared().load(conn)?;
    let mut found: Vec<Reminder> = rows
        .into_iter()
        .map(
            |(
                (id, key, revision, kind, due_on, text, done_at),
                member,
                bottling,
                batch,
                lot,
                item,
                place,
            )| {
                Reminder {
                    id,
                    key,
                    revision,
                    kind,
                    due_on,
                    text,
                    done_at,
                    member: member.0.zip(member.1),
                    bottling: bottling.0.zip(bottling.1),
                    batch: batch.0.zip(batch.1).zip(batch.2).map(|((id, code), name)| (id, code, name)),
                    lot: lot.0.zip(lot.1),
                    item: item.0.zip(item.1),
                    place: place.0.zip(place.1),
                }
            },
        )
        .collect();
    say_what_is_left(conn, &mut found)?;
    Ok(found)
}

/// What is to be used or bought is said with what is left of it now, not with what was left when the reminder was
/// made.
fn say_what_is_left(conn: &mut AnyConn, found: &mut [Reminder]) -> Result<(), Failure> {
    let open = |reminder: &&mut Reminder| reminder.done_at.is_none();
    let (mut of_lots, mut of_items) = (Vec::new(), Vec::new());
    for reminder in found.iter_mut().filter(open) {
        match (reminder.kind, &reminder.lot, &reminder.item) {
            (ReminderKind::UseBy, Some((lot, _)), _) => of_lots.push((*lot, reminder)),
            (ReminderKind::Low, _, Some((item, name))) => of_items.push((*item, name.clone(), reminder)),
            _ => {}
        }
    }
    if !of_lots.is_empty() {
        let ids: Vec<LotId> = of_lots.iter().map(|one| one.0).collect();
        let left = lots_left(conn, &ids)?;
        for (lot, reminder) in of_lots {
            if let Some(lot) = left.get(&lot) {
                reminder.text = use_by_text(&lot.item, &lot.left.shown(lot.unit));
            }
        }
    }
    if !of_items.is_empty() {
        let ids: Vec<ItemId> = of_items.iter().map(|one| one.0).collect();
        let left = items_left(conn, &ids)?;
        for (item, name, reminder) in of_items {
            let left = left.get(&item).map(|(left, unit)| left.shown(*unit));
            reminder.text = low_text(&name, left.as_deref());
        }
    }
    Ok(())
}

/// What is left of each of these items that has anything left.
fn items_left(conn: &mut AnyConn, ids: &[ItemId]) -> Result<HashMap<ItemId, (Milli, BaseUnit)>, Failure> {
    let rows: Vec<(ItemId, BaseUnit, Milli)> = accounts::table
        .inner_join(lots::table.on(lots::id.nullable().eq(accounts::lot_id)))
        .inner_join(items::table.on(items::id.eq(lots::item_id)))
        .filter(items::id.eq_any(padded(ids)).and(accounts::quantity.gt(Milli::ZERO)))
        .select((items::id, items::unit, accounts::quantity))
        .prepared()
        .load(conn)?;
    let mut found = HashMap::new();
    for (item, unit, quantity) in rows {
        let (left, _) = found.entry(item).or_insert((Milli::ZERO, unit));
        *left = *left + quantity;
    }
    Ok(found)
}

/// What is left of a lot that a reminder is about.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct LotLeft {
    /// The name of its item.
    pub item: String,
    /// Its last good day.
    pub best_before: Option<Day>,
    /// How much is left.
    pub left: Milli,
    /// In what.
    pub unit: BaseUnit,
    /// Where it stands.
    pub places: Vec<String>,
}

/// What is left of each of these lots that has anything left.
pub fn lots_left(conn: &mut AnyConn, ids: &[LotId]) -> Result<HashMap<LotId, LotLeft>, Failure> {
    type Good = (Option<Day>, Option<Day>, Option<i64>);
    let rows: Vec<(LotId, Good, String, BaseUnit, String, Milli)> = accounts::table
        .inner_join(lots::table.on(lots::id.nullable().eq(accounts::lot_id)))
        .inner_join(items::table.on(items::id.eq(lots::item_id)))
        .inner_join(places::table.on(places::id.nullable().eq(accounts::place_id)))
        .left_join(openings::table.on(openings::lot_id.eq(lots::id)))
        .left_join(upkeep::table.on(upkeep::item_id.eq(lots::item_id)))
        .filter(lots::id.eq_any(padded(ids)).and(accounts::quantity.gt(Milli::ZERO)))
        .order((lots::id, places::folded))
        .select((
            lots::id,
            (lots::best_before, openings::opened_on.nullable(), upkeep::keeps_open_days.nullable()),
            items::name,
            items::unit,
            places::path,
            accounts::quantity,
        ))
        .prepared()
        .load(conn)?;
    let mut found: HashMap<LotId, LotLeft> = HashMap::new();
    for (lot, good, item, unit, path, quantity) in rows {
        let best_before = until(good.0, good.1, good.2);
        let nothing = || LotLeft { item, best_before, left: Milli::ZERO, unit, places: Vec::new() };
        let lot = found.entry(lot).or_insert_with(nothing);
        lot.left = lot.left + quantity;
        lot.places.push(path);
    }
    Ok(found)
}

/// Whether a reminder is of this club and open.
pub fn is_open(conn: &mut AnyConn, club: ClubId, id: ReminderId) -> Result<bool, Failure> {
    let done: Option<Instant> = reminders::table
        .filter(reminders::id.eq(id).and(reminders::club_id.eq(club)))
        .select(reminders::done_at)
        .first(conn)?;
    Ok(done.is_none())
}

/// Mark it done.
pub fn done(conn: &mut AnyConn, id: ReminderId, by: MemberId, at: Instant) -> Result<(), Failure> {
    diesel::update(reminders::table.filter(reminders::id.eq(id)))
        .set((
            reminders::done_at.eq(Some(at)),
            reminders::done_by.eq(Some(by)),
            reminders::revision.eq(reminders::revision + 1),
        ))
        .execute(conn)?;
    Ok(())
}

/// It is still to do.
pub fn undone(conn: &mut AnyConn, id: ReminderId) -> Result<(), Failure> {
    diesel::update(reminders::table.filter(reminders::id.eq(id)))
        .set((
            reminders::done_at.eq(None::<Instant>),
            reminders::done_by.eq(None::<MemberId>),
            reminders::revision.eq(reminders::revision + 1),
        ))
        .execute(conn)?;
    Ok(())
}

/// Put it off to another day.
pub fn put_off(conn: &mut AnyConn, id: ReminderId, to: Day) -> Result<(), Failure> {
    diesel::update(reminders::table.filter(reminders::id.eq(id)))
        .set((reminders::due_on.eq(to), reminders::revision.eq(reminders::revision + 1)))
        .execute(conn)?;
    Ok(())
}

/// Give it to a member.
pub fn give(conn: &mut AnyConn, id: ReminderId, to: MemberId) -> Result<(), Failure> {
    diesel::update(reminders::table.filter(reminders::id.eq(id)))
        .set((reminders::member_id.eq(Some(to)), reminders::revision.eq(reminders::revision + 1)))
        .execute(conn)?;
    Ok(())
}

/// The reminders to read a batch that was read just now: they are done with it.
pub fn settle_readings(conn: &mut AnyConn, batch: BatchId, by: MemberId, at: Instant) -> Result<(), Failure> {
    diesel::update(
        reminders::table
            .filter(reminders::batch_id.eq(batch).and(reminders::kind.eq(ReminderKind::Reading)))
            .filter(reminders::done_at.is_null()),
    )
    .set((
        reminders::done_at.eq(Some(at)),
        reminders::done_by.eq(Some(by)),
        reminders::revision.eq(reminders::revision + 1),
    ))
    .execute(conn)?;
    Ok(())
}

/// The reminders to taste a bottling that a tasting answers, due up to a day: they are done with it.
pub fn settle_tasting(
    conn: &mut AnyConn,
    bottling: BottlingId,
    until: Day,
    by: MemberId,
    at: Instant,
) -> Result<(), Failure> {
    diesel::update(
        reminders::table
            .filter(reminders::bottling_id.eq(bottling).and(reminders::kind.eq(ReminderKind::Tasting)))
            .filter(reminders::done_at.is_null().and(reminders::due_on.le(until))),
    )
    .set((
        reminders::done_at.eq(Some(at)),
        reminders::done_by.eq(Some(by)),
        reminders::revision.eq(reminders::revision + 1),
    ))
    .execute(conn)?;
    Ok(())
}

/// Those that were done with a tasting which began at this instant are still to do: it was called off.
pub fn unsettle_tasting(conn: &mut AnyConn, bottling: BottlingId, at: Instant) -> Result<(), Failure> {
    diesel::update(
        reminders::table
            .filter(reminders::bottling_id.eq(bottling).and(reminders::kind.eq(ReminderKind::Tasting)))
            .filter(reminders::done_at.eq(at)),
    )
    .set((
        reminders::done_at.eq(None::<Instant>),
        reminders::done_by.eq(None::<MemberId>),
        reminders::revision.eq(reminders::revision + 1),
    ))
    .execute(conn)?;
    Ok(())
}

/// All clubs with their zones, for the periodic job.
pub fn clubs(conn: &mut AnyConn) -> Result<Vec<(ClubId, String)>, Failure> {
    use super::schema::clubs;
    Ok(clubs::table.order(clubs::id).select((clubs::id, clubs::time_zone)).load(conn)?)
}

/// The live facts shown with the sections.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq)]
pub struct Facts {
    /// Reminders due.
    pub due: i64,
    /// Lots with something left.
    pub lots: i64,
    /// Batches at work.
    pub working: i64,
    /// Bottles laid down.
    pub bottles: i64,
    /// Members.
    pub members: i64,
    /// The day of the next tasting, or of one at the table.
    pub tasting: Option<Day>,
    /// Counts that are open.
    pub counts: i64,
}

/// Count them; each over what is there now, not over the history.
pub fn facts(conn: &mut AnyConn, club: ClubId, today: Day) -> Result<Facts, Failure> {
    use diesel::dsl::{count_star, sql};
    use diesel::sql_types::BigInt;
    let due = reminders::table
        .filter(
            reminders::club_id.eq(club).and(reminders::done_at.is_null()).and(reminders::due_on.le(today)),
        )
        .select(count_star())
        .first(conn)?;
    let lots = accounts::table
        .filter(accounts::club_id.eq(club).and(InStock))
        .select(sql::<BigInt>("COUNT(DISTINCT accounts.lot_id)"))
        .prepared()
        .get_result(conn)?;
    let working = batches::table
        .filter(batches::club_id.eq(club).and(batches::stage.eq(Stage::Working)))
        .select(count_star())
        .first(conn)?;
    let bottles: i64 = accounts::table
        .inner_join(bottlings::table.on(bottlings::lot_id.nullable().eq(accounts::lot_id)))
        .filter(accounts::club_id.eq(club).and(InStock))
        .select(sql::<BigInt>("CAST(COALESCE(SUM(accounts.quantity), 0) AS BIGINT)"))
        .prepared()
        .get_result(conn)?;
    let members = members::table
        .filter(members::club_id.eq(club).and(members::left_on.is_null()))
        .select(count_star())
        .first(conn)?;
    let tasting = super::tastings::next_on(conn, club)?;
    let counts = super::counts::how_many_open(conn, club)?;
    Ok(Facts { due, lots, working, bottles: bottles / 1000, members, tasting, counts })
}
