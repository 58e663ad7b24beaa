//! What the books say of a past instant: what an account holds now, less what came and went since.
//!
//! An entry has a day, and an instant at which it was recorded. A phone without signal also says when it happened. So
//! an entry is taken to have been there at an instant
//! - if its day was before: whoever writes down today what was taken yesterday says so;
//! - on the same day, if it happened, or else was recorded, no later.
//!
//! A reversal puts right what the books had said all along; it counts from the time of what it takes back. What another
//! count has put right since then is right: there is nothing more to post.

use chrono_tz::Tz;

use super::Books;
use crate::domain::books::EntryKind;
use crate::units::days::{Day, Instant, local_day};
use crate::units::quantity::Milli;

/// When an entry took place.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct When {
    /// Its day.
    pub day: Day,
    /// When it happened, or else was recorded.
    pub at: Instant,
}

impl When {
    fn not_after(self, at: Instant, day: Day) -> bool {
        self.day < day || self.day == day && self.at <= at
    }
}

/// What came to an account (+) or went from it (−).
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Movement {
    /// How much.
    pub quantity: Milli,
    /// What kind of entry; of a reversal, that of what it takes back.
    pub kind: EntryKind,
    /// When; of a reversal, when that was which it takes back.
    pub when: When,
    /// It was taken back, or takes back.
    pub reversed: bool,
}

/// What the books said of an instant.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct BookThen {
    /// How much was there.
    pub quantity: Milli,
    /// A count has put it right since.
    pub put_right: bool,
}

/// What the books say of an instant. `books.moves` holds at least all that is of that day or later.
pub fn book_at(books: &Books, at: Instant, zone: Tz) -> BookThen {
    let day = local_day(at, zone);
    let mut then = BookThen { quantity: books.now.quantity, put_right: false };
    for movement in books.moves.iter().filter(|movement| !movement.when.not_after(at, day)) {
        then.quantity = then.quantity - movement.quantity;
        then.put_right |= movement.kind == EntryKind::Difference && !movement.reversed;
    }
    then
}
