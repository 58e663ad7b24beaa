//! What stands in a member's own calendar: reminders and tastings, as events that keep their identity while they are
//! put off, done or called off.

use crate::units::days::Day;

/// One event, of a whole day.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Event {
    /// What it is about, unique in the club and the same for as long as it is known.
    pub key: String,
    /// The day.
    pub day: Day,
    /// How often it was changed.
    pub revision: i64,
    /// What to do.
    pub text: String,
    /// Where on the server it is shown.
    pub path: String,
    /// It is off: done, or no longer to be done.
    pub off: bool,
}

/// How long what is off is told, so that calendars that ask seldom hear of it.
pub const OFF_DAYS: i64 = 60;
/// How far ahead tasting ages are told.
pub const AHEAD_DAYS: i64 = 400;
/// Events of each kind at most.
pub const MOST: i64 = 500;

/// Each key once, the later revision of it, in the order of the days. What is off and still to be done is to be done.
pub fn settled(mut events: Vec<Event>) -> Vec<Event> {
    events.sort_by(|a, b| {
        a.key.cmp(&b.key).then(a.off.cmp(&b.off)).then(b.revision.cmp(&a.revision)).then(a.day.cmp(&b.day))
    });
    let mut kept: Vec<Event> = Vec::with_capacity(events.len());
    for event in events {
        match kept.last_mut() {
            // What came back after it was off is a later state of the same event.
            Some(last) if last.key == event.key => last.revision = last.revision.max(event.revision + 1),
            _ => kept.push(event),
        }
    }
    kept.sort_by(|a, b| a.day.cmp(&b.day).then_with(|| a.key.cmp(&b.key)));
    kept
}

#[cfg(test)]
mod tests {
    use super::*;

    fn event(key: &str, day: &str, revision: i64, off: bool) -> Event {
        let day = day.parse().unwrap();
        Event { key: key.to_owned(), day, revision, text: String::new(), path: String::new(), off }
    }

    #[test]
    fn an_event_that_came_back_is_later_than_the_one_that_was_off() {
        let told = settled(vec![
            event("low:sugar", "2026-06-01", 3, true),
            event("tasting:a:180", "2026-05-01", 0, false),
            event("low:sugar", "2026-06-20", 0, false),
        ]);
        let seen: Vec<_> = told.iter().map(|one| (one.key.as_str(), one.revision, one.off)).collect();
        assert_eq!(seen, [("tasting:a:180", 0, false), ("low:sugar", 4, false)]);
    }
}
