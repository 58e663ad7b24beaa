//! Reminders: done, put off, given to another; and the reconciling that makes them.

use chrono::Duration;
use serde::{Deserialize, Serialize};

use super::once::{RequestKey, once};
use super::{Done, Error, or_missing};
use crate::db::reminders as rows;
use crate::db::{AnyConn, Database, batches, bottles, climate, counts, steps, stock};
use crate::domain::batches::Stage;
use crate::domain::climate::{falls_on, measured_by, troubles};
use crate::domain::counts::accuracy::Class;
use crate::domain::members::Taster;
use crate::domain::refusal::Refusal;
use crate::domain::reminders::{self, NewReminder};
use crate::units::days::{self, Day, Instant};
use crate::units::ids::{ClubId, LotId, MemberId, PlaceId, ReminderId};
use crate::units::quantity::Milli;

/// What becomes of a reminder.
#[derive(Debug, Clone, Serialize, Deserialize)]
pub enum Become {
    /// It is done.
    Done,
    /// It is due on another day.
    PutOff(Day),
    /// It is another member's.
    Given(MemberId),
    /// It was not done after all.
    Undone,
}

/// Settle a reminder.
pub async fn settle(
    db: &Database,
    by: &Taster,
    key: Option<RequestKey>,
    id: ReminderId,
    what: Become,
) -> Done<ReminderId> {
    once(db, by, key, "reminder", (id, what), |conn, doer, (id, what)| {
        let open = or_missing(rows::is_open(conn, doer.club, *id), "", "reminder")?;
        match what {
            Become::Undone if open => {
                return Err(Refusal::conflict("", "This reminder is still to do").into());
            }
            Become::Undone => rows::undone(conn, *id)?,
            _ if !open => return Err(Refusal::conflict("", "This reminder has been done already").into()),
            Become::Done => rows::done(conn, *id, doer.member, doer.now)?,
            Become::PutOff(day) if *day <= doer.today() => {
                return Err(Refusal::unfit("day", "Choose a day to come").into());
            }
            Become::PutOff(day) => rows::put_off(conn, *id, *day)?,
            Become::Given(member) => {
                super::stock::known_member(conn, doer, *member, "member")?;
                rows::give(conn, *id, *member)?;
            }
        }
        Ok(*id)
    })
    .await
}

/// How far ahead reminders are made, so that Today can show the fortnight to come.
const AHEAD_DAYS: i64 = 35;
/// How far back a tasting age may have fallen and still be made, for a server that was off.
const BACK_DAYS: i64 = 400;

/// So many working batches are looked at in one part.
const PART: i64 = 500;

/// Make every reminder that follows from the state of a club and is not there yet, and take away the open
/// ones that no longer follow: what was used up, bought, read or tasted needs no reminding. It may run at any
/// time, twice, or on two servers at once: each key is made once.
pub async fn reconcile(
    db: &Database,
    club: ClubId,
    zone: chrono_tz::Tz,
    now: Instant,
) -> Result<usize, Error> {
    db.write(move |conn| {
        foresee(conn, club, days::local_day(now, zone))?;
        let due = follow(conn, club, zone, now)?;
        rows::keep(conn, club, &due, now)?;
        let mut made = 0;
        for reminder in &due {
            made += usize::from(rows::make(conn, club, reminder, now)?);
        }
        Ok(made)
    })
    .await
}

fn follow(
    conn: &mut AnyConn,
    club: ClubId,
    zone: chrono_tz::Tz,
    now: Instant,
) -> Result<Vec<NewReminder>, Error> {
    let today = days::local_day(now, zone);
    let mut due = Vec::new();
    let until = today + Duration::days(AHEAD_DAYS);
    for (bottling, age, falls_on) in
        bottles::ages_falling(conn, club, today - Duration::days(BACK_DAYS), until)?
    {
        due.push(reminders::tasting(bottling, age, falls_on));
    }
    let mut before = None;
    loop {
        let part = batches::batches(conn, club, &[Stage::Working], before, PART)?;
        for batch in &part {
            let read = batches::last_read(conn, batch.id)?.map(|at| days::local_day(at, zone));
            if let Some(last) = read.max(batch.pitched_on) {
                due.push(reminders::reading(batch.id, last));
            }
        }
        before = part.last().map(|batch| batch.id);
        if before.is_none() {
            break;
        }
    }
    for step in steps::running(conn, club, PART)? {
        if let Some(end) = step.ends_at().filter(|end| *end <= now) {
            let name = if step.what.is_empty() { step.kind.name() } else { &step.what };
            let day = days::local_day(end, zone);
            due.push(reminders::step_over(step.record, step.batch, day, name));
        }
    }
    for line in stock::expiring(conn, club, until)? {
        if let Some(day) = line.best_before {
            due.push(reminders::use_by(line.lot, day, &line.quantity.shown(line.unit), &line.name));
        }
    }
    for (id, item, left) in stock::low(conn, club)? {
        let filled_up = stock::filled_up_on(conn, id)?;
        let left = (left > Milli::ZERO).then(|| left.shown(item.unit));
        due.push(reminders::low(id, &item.name, left.as_deref(), today, filled_up));
    }
    due.extend(of_climate(conn, club, today)?);
    let turns = counts::accuracy::turns(conn, club, zone, today)?;
    for class in Class::ALL {
        // In the order of their days, so that the first has waited longest.
        let late: Vec<_> = turns.iter().filter(|turn| turn.class == class && turn.due_on < today).collect();
        if let Some(first) = late.first() {
            let names: Vec<&str> = late.iter().map(|turn| turn.name.as_str()).collect();
            due.push(reminders::count(class, first.due_on, &names));
        }
    }
    Ok(due)
}

/// How far back a trouble with the climate is followed to its first day.
const CLIMATE_DAYS: i64 = 60;

/// Troubles with the climate of places that are measured, where bottles stand in them or within.
fn of_climate(conn: &mut AnyConn, club: ClubId, today: Day) -> Result<Vec<NewReminder>, Error> {
    let days = climate::since(conn, club, today - Duration::days(CLIMATE_DAYS))?;
    if days.is_empty() {
        return Ok(Vec::new());
    }
    let places = stock::places(conn, club)?;
    let measured: Vec<PlaceId> = days.keys().copied().collect();
    let by = measured_by(&places, &measured);
    let standing = stock::standing(conn, club)?;
    let holds =
        |place: PlaceId| standing.iter().any(|(at, stands)| stands.bottles > 0 && by.get(at) == Some(&place));
    let mut due = Vec::new();
    for (place, days) in days.iter().filter(|(place, _)| holds(**place)) {
        let name = places.iter().find(|one| one.id == *place).map_or("", |one| one.name.as_str());
        due.extend(troubles(days, today).iter().map(|lasting| reminders::climate(*place, name, lasting)));
    }
    Ok(due)
}

/// Bring when ages by warmth fall in line with the climate.
pub(super) fn foresee(conn: &mut AnyConn, club: ClubId, today: Day) -> Result<(), Error> {
    let ages = bottles::ages_by_warmth(conn, club, today)?;
    let mut lots: Vec<LotId> = ages.iter().map(|age| age.2).collect();
    lots.sort_unstable();
    lots.dedup();
    if lots.is_empty() {
        return Ok(());
    }
    let known = climate::ages(conn, club, &lots, today)?;
    for (id, bottling, lot, age_days, was) in ages {
        let Some(weighted) = known.get(&lot) else { continue };
        let is = falls_on(weighted, age_days, today);
        if is != was {
            let key = reminders::tasting(bottling, age_days, is).key;
            bottles::falls_otherwise(conn, club, id, &key, (was, is))?;
        }
    }
    Ok(())
}
