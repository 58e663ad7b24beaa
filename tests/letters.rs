//! What reaches members: letters through a year in which everything goes wrong, a real mail server that refuses, and
//! calendars as other programs read them.

mod calendar;
mod server;
mod year;

use undercroft::db::{AnyConn, Failure, reminders};
use undercroft::domain::reminders::{NewReminder, ReminderKind, Subject};
use undercroft::units::days::{Day, Instant};
use undercroft::units::ids::{ClubId, ItemId};

/// An instant such as 2026-06-23T07:00:00.
pub fn at(text: &str) -> Instant {
    text.parse().expect("an instant")
}

/// A reminder to buy something, due on a day.
pub fn remind(conn: &mut AnyConn, club: ClubId, item: ItemId, key: &str, due_on: Day) -> Result<(), Failure> {
    let new = NewReminder {
        kind: ReminderKind::Reading,
        key: key.to_owned(),
        due_on,
        subject: Subject::Item(item),
        text: format!("Do {key}"),
    };
    reminders::make(conn, club, &new, at("2025-12-31T12:00:00")).map(drop)
}
