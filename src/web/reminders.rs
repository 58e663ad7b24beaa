//! Today: what is due and for whom, what is working, what comes in the next fortnight; and what becomes of
//! a reminder.

use askama::Template;

mod making;
pub mod settle;
mod working;

use std::collections::HashMap;

use super::extract::{ByDay, Paging, Query};
use super::frame::Frame;
use super::problem::Problem;
use super::respond::{self, Reply};
use super::site::{Room, Site, fresh_key};
use super::words;
use crate::db::reminders::{self as rows, LotLeft, Reminder};
use crate::db::{AnyConn, Failure, batches, bottles, stock};
use crate::domain::members::{Doer, Onlooker, Role};
use crate::domain::reminders::ReminderKind;
use crate::units::days::{self, Day};
use crate::units::ids::{BottlingId, LotId, ReminderId};

use making::MakingRow;
use working::WorkingRow;

/// Reminders that Today shows as due, and as to come.
const DUE: usize = 15;
const SOON: usize = 10;
/// How far ahead Today looks.
const AHEAD_DAYS: i64 = 14;
/// Working batches that Today shows.
const WORKING: i64 = 40;

/// What Today may be asked.
#[derive(serde::Deserialize, utoipa::ToSchema)]
pub struct TodayQuery {
    /// The reminder that something became of.
    pub said: Option<String>,
}

#[derive(Template)]
#[template(path = "reminders/today.html")]
struct TodayPage {
    frame: Frame,
    day: String,
    lead: String,
    said: Option<(String, String)>,
    due: Vec<Row>,
    /// Where all of them are, and how many.
    more_due: Option<(String, i64)>,
    ways: Vec<(String, &'static str)>,
    making: Vec<MakingRow>,
    working: Vec<WorkingRow>,
    more_working: Option<String>,
    soon: Vec<Row>,
    more_soon: Option<String>,
    /// A new club: what to do first.
    starts: Vec<Start>,
}

/// A reminder as a row.
struct Row {
    href: String,
    when: String,
    day: String,
    due: bool,
    late: bool,
    text: String,
    drink: Option<String>,
    about: String,
    act: Option<(String, &'static str)>,
    /// Where it is marked done, and the key of that form.
    done: Option<(String, String)>,
}

/// What the rows of reminders say beside the reminders themselves.
#[derive(Default)]
struct Around {
    bottles: HashMap<BottlingId, i64>,
    lots: HashMap<LotId, LotLeft>,
}

fn around(conn: &mut AnyConn, reminders: &[Reminder]) -> Result<Around, Failure> {
    let bottlings: Vec<_> =
        reminders.iter().filter_map(|reminder| Some(reminder.bottling.as_ref()?.0)).collect();
    let lots: Vec<_> = reminders.iter().filter_map(|reminder| Some(reminder.lot.as_ref()?.0)).collect();
    Ok(Around { bottles: bottles::left_of(conn, &bottlings)?, lots: rows::lots_left(conn, &lots)? })
}

/// Everything that Today shows.
struct Found {
    due: Vec<Reminder>,
    soon: Vec<Reminder>,
    around: Around,
    making: Vec<making::Found>,
    working: Vec<working::Found>,
    said: Option<Reminder>,
    /// What there is on the way to the first batch, of a club that has none: places, items.
    begun: Option<(bool, bool)>,
}

fn find(conn: &mut AnyConn, doer: &Doer, said: Option<ReminderId>) -> Result<Found, Failure> {
    let (club, today) = (doer.club, doer.today());
    let until = today + chrono::Duration::days(AHEAD_DAYS);
    let more = |shown: usize| i64::try_from(shown).unwrap_or(i64::MAX) + 1;
    let due = rows::open(conn, club, today, more(DUE))?;
    // Whatever is open comes after all that was due before tomorrow.
    let soon = rows::part(conn, club, Some(until), Some((today, ReminderId(i64::MAX))), more(SOON))?;
    let said = match said.map(|id| rows::reminder(conn, club, id)) {
        None | Some(Err(Failure::Gone)) => None,
        Some(found) => Some(found?),
    };
    let all: Vec<Reminder> = due.iter().chain(&soon).cloned().collect();
    let new_club = due.is_empty() && batches::batches(conn, club, &[], None, 1)?.is_empty();
    let begun = if new_club {
        Some((!stock::places(conn, club)?.is_empty(), !stock::items_after(conn, club, None, 1)?.is_empty()))
    } else {
        None
    };
    Ok(Found {
        around: around(conn, &all)?,
        making: making::find(conn, club)?,
        working: working::find(conn, club, WORKING + 1)?,
        due,
        soon,
        said,
        begun,
    })
}

/// Shows Today.
pub async fn today(who: Onlooker, site: Site, query: Query<TodayQuery>) -> Reply {
    let said = query.draft.typed("said").and_then(|id| id.parse().ok());
    let (facts, mut found) = site.read(&who, move |conn, doer| find(conn, doer, said)).await?;
    let more_due = (found.due.len() > DUE).then(|| (site.at("/reminders"), facts.due));
    let more_soon = (found.soon.len() > SOON).then(|| site.at("/reminders"));
    let more_working = (found.working.len() > 40).then(|| site.at("/batches?stage=working"));
    found.due.truncate(DUE);
    found.soon.truncate(SOON);
    found.working.truncate(40);
    let working: Vec<WorkingRow> =
        found.working.iter().map(|batch| working::row(&site, &who, batch)).collect();
    let stopped = working.iter().filter(|row| row.stopped.is_some()).count();
    let row = |reminder: &Reminder| row(&site, &who, reminder, &found.around);
    let page = TodayPage {
        day: who.today().format("%A %-d %B").to_string(),
        lead: lead(facts.due, facts.working, stopped),
        said: found.said.as_ref().map(|reminder| said_of(&site, &who, reminder)),
        due: found.due.iter().map(row).collect(),
        more_due,
        ways: ways(&site, who.role),
        making: found.making.iter().map(|batch| making::row(&site, &who, batch)).collect(),
        working,
        more_working,
        soon: found.soon.iter().map(row).collect(),
        more_soon,
        starts: match found.begun {
            Some(begun) if facts.lots == 0 => starts(&site, who.role, begun),
            _ => Vec::new(),
        },
        frame: site.frame(&who, Room::Today, "Today", facts),
    };
    respond::page(&page)
}

/// "Three things are due. Four batches are working, and one of them seems to have stopped too early."
fn lead(due: i64, working: i64, stopped: usize) -> String {
    let due = match due {
        0 => "Nothing is due.".to_owned(),
        1 => "One thing is due.".to_owned(),
        more => format!("{} things are due.", capital_number(more)),
    };
    let working = match working {
        0 => return due,
        1 => "One batch is working".to_owned(),
        more => format!("{} batches are working", capital_number(more)),
    };
    let stopped = match stopped {
        0 => String::new(),
        1 if working.starts_with("One") => ", and it seems to have stopped too early".to_owned(),
        1 => ", and one of them seems to have stopped too early".to_owned(),
        more => format!(
            ", and {} of them seem to have stopped too early",
            number(i64::try_from(more).unwrap_or(0))
        ),
    };
    format!("{due} {working}{stopped}.")
}

/// Small numbers as words, as a sentence has them.
fn number(count: i64) -> String {
    const WORDS: [&str; 13] = [
        "no", "one", "two", "three", "four", "five", "six", "seven", "eight", "nine", "ten", "eleven",
        "twelve",
    ];
    usize::try_from(count)
        .ok()
        .and_then(|at| WORDS.get(at))
        .map_or_else(|| count.to_string(), |word| (*word).to_owned())
}

fn capital_number(count: i64) -> String {
    words::capital(&number(count))
}

fn ways(site: &Site, role: Role) -> Vec<(String, &'static str)> {
    let hand = [
        ("/batches", "Log a step or a reading"),
        ("/stores/receipts/new", "Receive supplies"),
        ("/batches/new", "Start a batch"),
        ("/bottles", "Take bottles"),
        ("/tastings", "Taste"),
        ("/stores", "Move stock or count it"),
    ];
    let taster = [("/bottles", "Take bottles"), ("/tastings", "Taste")];
    let ways: &[_] = match role {
        Role::Onlooker => &[],
        Role::Taster => &taster,
        Role::Cellarhand | Role::Steward => &hand,
    };
    ways.iter().map(|(path, name)| (site.at(path), *name)).collect()
}

/// A first step of a new club.
struct Start {
    href: String,
    name: &'static str,
    why: &'static str,
    done: bool,
}

fn starts(site: &Site, role: Role, (places, items): (bool, bool)) -> Vec<Start> {
    let steps = [
        ("/stores/places/new", "Name the places", "A room, a fridge, a shelf: where things stand.", places),
        (
            "/stores/items/new",
            "Name what is kept",
            "Milk, honey, sugar, yeast, bottles; with allergens where there are any.",
            items,
        ),
        ("/stores/receipts/new", "Receive supplies", "How much came, what it cost, who paid.", false),
        (
            "/batches/new",
            "Start a batch",
            "Draw supplies into it, log what happens, and Today will say what is due.",
            false,
        ),
        ("/club", "Invite the others", "Each with a role: who records, who tastes, who only looks.", false),
    ];
    if role < Role::Cellarhand {
        return Vec::new();
    }
    steps.into_iter().map(|(path, name, why, done)| Start { href: site.at(path), name, why, done }).collect()
}

/// What became of a reminder, and where it is.
fn said_of(site: &Site, doer: &Doer, reminder: &Reminder) -> (String, String) {
    let text = &reminder.text;
    let what = if reminder.done_at.is_some() {
        format!("“{text}” is done.")
    } else {
        let day = days::short(reminder.due_on, doer.today());
        format!("“{text}” is for {}, due {day}.", whose(reminder, doer))
    };
    (what, site.at(&format!("/reminders/{}", reminder.id)))
}

/// Whose it is: "you", a name, or "everyone".
fn whose(reminder: &Reminder, doer: &Doer) -> String {
    match &reminder.member {
        Some((member, _)) if *member == doer.member => "you".to_owned(),
        Some((_, name)) => name.clone(),
        None => "everyone".to_owned(),
    }
}

fn row(site: &Site, doer: &Doer, reminder: &Reminder, around: &Around) -> Row {
    let today = doer.today();
    let late = reminder.due_on < today;
    let day = days::short(reminder.due_on, today);
    let due = reminder.due_on <= today;
    let may_settle = doer.role >= Role::Taster;
    Row {
        href: site.at(&format!("/reminders/{}", reminder.id)),
        when: if due { words::until(reminder.due_on, today) } else { day.clone() },
        day: if due { day } else { String::new() },
        due,
        late,
        text: reminder.text.clone(),
        drink: reminder.batch.as_ref().map(|(_, _, name)| name.clone()),
        about: about(reminder, around, doer),
        act: act(site, doer, reminder),
        done: (may_settle && due)
            .then(|| (site.at(&format!("/reminders/{}/done", reminder.id)), fresh_key())),
    }
}

fn about(reminder: &Reminder, around: &Around, doer: &Doer) -> String {
    let mut parts = Vec::new();
    if let Some((bottling, code)) = &reminder.bottling {
        parts.push(format!("bottling {code}"));
        let left = around.bottles.get(bottling).copied().unwrap_or_default();
        parts.push(format!("{} left", words::count(left, "bottle", "bottles")));
    } else if let Some((_, code, _)) = &reminder.batch {
        parts.push(format!("batch {code}"));
    }
    if let Some((lot, code)) = &reminder.lot {
        parts.push(format!("Lot {code}"));
        if let Some(left) = around.lots.get(lot) {
            parts.push(left.places.join(" and "));
            parts.extend(left.best_before.map(|day| use_by(day, doer.today())));
        }
    }
    let about = parts.join(", ");
    let whose = whose(reminder, doer);
    if about.is_empty() { words::capital(&whose) } else { format!("{about}\u{a0}· {whose}") }
}

fn use_by(day: Day, today: Day) -> String {
    match (day - today).num_days() {
        days if days < 0 => format!("good until {}", days::short(day, today)),
        0 => "use by today".to_owned(),
        1 => "use by tomorrow".to_owned(),
        _ => format!("use by {}", days::short(day, today)),
    }
}

/// The button that leads to what is to be done.
fn act(site: &Site, doer: &Doer, reminder: &Reminder) -> Option<(String, &'static str)> {
    let hand = doer.role >= Role::Cellarhand;
    let (path, name) = match reminder.kind {
        ReminderKind::Reading if hand => {
            (format!("/batches/{}/reading", reminder.batch.as_ref()?.0), "Record a reading")
        }
        ReminderKind::Tasting => {
            (format!("/bottles/{}", reminder.bottling.as_ref()?.0), "Look at the bottles")
        }
        ReminderKind::UseBy => (format!("/stores/lots/{}", reminder.lot.as_ref()?.0), "Look at the lot"),
        ReminderKind::Low if hand => {
            (format!("/stores/receipts/new?item={}", reminder.item.as_ref()?.0), "Receive supplies")
        }
        ReminderKind::Count => ("/counts/accuracy".to_owned(), "Look what is to be counted"),
        ReminderKind::Step => (format!("/batches/{}/now", reminder.batch.as_ref()?.0), "Look at the step"),
        ReminderKind::Reading => (format!("/batches/{}", reminder.batch.as_ref()?.0), "Look at the batch"),
        ReminderKind::TooWarm | ReminderKind::Frost | ReminderKind::Swing => {
            (format!("/stores/places/{}/climate", reminder.place.as_ref()?.0), "Look at the place")
        }
        ReminderKind::Low => (format!("/stores/items/{}", reminder.item.as_ref()?.0), "Look at the item"),
    };
    Some((site.at(&path), name))
}

#[derive(Template)]
#[template(path = "reminders/list.html")]
struct ListPage {
    frame: Frame,
    rows: Vec<Row>,
    more: Option<String>,
}

/// Shows all open reminders, the longest due first.
pub async fn list(who: Onlooker, site: Site, paging: Paging<ByDay<ReminderId>>) -> Reply {
    let (after, limit) = (paging.after.map(|ByDay(day, id)| (day, id)), paging.rows());
    let read = site.read(&who, move |conn, doer| {
        let found = rows::part(conn, doer.club, None, after, limit)?;
        Ok((around(conn, &found)?, found))
    });
    let (facts, (around, found)) = read.await?;
    let place = |reminder: &Reminder| ByDay(reminder.due_on, reminder.id);
    let part = paging.page(found, place, |reminder| row(&site, &who, &reminder, &around));
    let page = ListPage {
        rows: part.items,
        more: part.next.map(|next| site.at(&format!("/reminders?after={next}"))),
        frame: site.frame(&who, Room::Today, "All reminders", facts),
    };
    respond::page(&page)
}

/// One open or done reminder of the club.
fn one(conn: &mut AnyConn, doer: &Doer, id: ReminderId) -> Result<Option<(Reminder, Around)>, Failure> {
    match rows::reminder(conn, doer.club, id) {
        Err(Failure::Gone) => Ok(None),
        found => {
            let found = found?;
            Ok(Some((found.clone(), around(conn, std::slice::from_ref(&found))?)))
        }
    }
}

fn missing() -> Problem {
    Problem::missing("reminder")
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_day_begins_with_one_sentence() {
        assert_eq!(lead(0, 0, 0), "Nothing is due.");
        assert_eq!(
            lead(1, 1, 1),
            "One thing is due. One batch is working, and it seems to have stopped too early."
        );
        assert_eq!(
            lead(3, 4, 1),
            "Three things are due. Four batches are working, and one of them seems to have stopped too early."
        );
        assert_eq!(lead(14, 2, 0), "14 things are due. Two batches are working.");
    }
}
