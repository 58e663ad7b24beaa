//! Reads one field after another, and remembers what is wrong.

use std::collections::BTreeSet;
use std::fmt::Display;
use std::ops::RangeInclusive;
use std::str::FromStr;

use chrono_tz::Tz;
use serde_json::Value;

use super::UNKNOWN;
use super::draft::{Draft, text_of};
use crate::domain::refusal::{Fault, Refusal, Why};
use crate::units::days::{self, Day, Instant};
use crate::units::measure::{Measured, ReadingKind};
use crate::units::money::Money;
use crate::units::quantity::{BaseUnit, Milli};
use crate::units::{Misread, number, text};

/// The most lines of a list.
pub const MOST_ROWS: usize = 100;
/// The longest remark, in characters.
pub const LONGEST_REMARK: usize = 2000;

/// Reads the fields of a draft. After a fault a reading gives something to go on with; it never gets
/// out, because [`Draft::read`] gives the faults instead.
pub struct Reader<'d> {
    draft: &'d Draft,
    now: Instant,
    zone: Tz,
    /// The path of the line that is being read, with a dot at its end; empty at the top.
    under: String,
    read: BTreeSet<String>,
    faults: Vec<Fault>,
}

impl<'d> Reader<'d> {
    pub(in crate::web) fn run<T>(
        draft: &'d Draft,
        now: Instant,
        zone: Tz,
        read: impl FnOnce(&mut Self) -> T,
    ) -> Result<T, Refusal> {
        let mut reader =
            Self { draft, now, zone, under: String::new(), read: BTreeSet::new(), faults: Vec::new() };
        let command = read(&mut reader);
        for path in draft.unread(|path| reader.read.contains(path)) {
            reader.faults.push(Fault { field: path, message: UNKNOWN.to_owned() });
        }
        if reader.faults.is_empty() {
            return Ok(command);
        }
        Err(Refusal { why: Why::Unfit, faults: reader.faults, entries: Vec::new() })
    }

    /// Add a fault of your own: where two fields do not go together, or what is named is not in the
    /// club. The first fault of a field is kept.
    pub fn fault(&mut self, field: &str, message: impl Display) {
        let field = self.path(field);
        if !self.faults.iter().any(|fault| fault.field == field) {
            self.faults.push(Fault { field, message: message.to_string() });
        }
    }

    /// The whole path of a field of the line that is being read.
    fn path(&self, field: &str) -> String {
        if field.is_empty() {
            self.under.trim_end_matches('.').to_owned()
        } else {
            format!("{}{field}", self.under)
        }
    }

    /// The text of a field as it was sent; empty where it was not.
    pub fn text(&mut self, field: &str) -> String {
        let path = self.path(field);
        let value = self.draft.at(&path);
        let found = value.map_or(Some(String::new()), text_of);
        self.read.insert(path);
        found.unwrap_or_else(|| {
            self.fault(field, "Write a single value here, such as a text or a number");
            String::new()
        })
    }

    /// Whether a field was there at all, be it empty.
    pub fn was_sent(&self, field: &str) -> bool {
        self.draft.at(&self.path(field)).is_some()
    }

    /// A group of fields that may be left out: null means the same.
    pub fn group(&mut self, field: &str) {
        let path = self.path(field);
        if self.draft.at(&path).is_some_and(Value::is_null) {
            self.read.insert(path);
        }
    }

    /// Whether a field was left empty.
    pub fn is_empty(&mut self, field: &str) -> bool {
        self.text(field).trim().is_empty()
    }

    /// Read a field with a reading of your own; `otherwise` goes on in place of what cannot be read.
    pub fn with<T>(&mut self, field: &str, otherwise: T, read: impl FnOnce(&str) -> Result<T, Misread>) -> T {
        let text = self.text(field);
        read(&text).unwrap_or_else(|misread| {
            self.fault(field, misread);
            otherwise
        })
    }

    /// The same, where the field may be empty.
    pub fn optional<T>(&mut self, field: &str, read: impl FnOnce(&str) -> Result<T, Misread>) -> Option<T> {
        self.with(field, None, |text| if text.trim().is_empty() { Ok(None) } else { read(text).map(Some) })
    }

    /// The day something happened: up to today, and today where it is empty.
    pub fn day(&mut self, field: &str) -> Day {
        let today = self.today();
        self.optional(field, |text| days::read_past(text, today)).unwrap_or(today)
    }

    /// A day, past or to come.
    pub fn any_day(&mut self, field: &str) -> Day {
        let today = self.today();
        self.with(field, today, |text| days::read(text, today))
    }

    /// A day, past or to come, or none.
    pub fn optional_day(&mut self, field: &str) -> Option<Day> {
        let today = self.today();
        self.optional(field, |text| days::read(text, today))
    }

    /// When something was measured: up to now, and now where it is empty.
    pub fn instant(&mut self, field: &str) -> Instant {
        let (now, zone) = (self.now, self.zone);
        self.optional(field, |text| days::read_instant(text, zone, now)).unwrap_or(now)
    }

    /// When something happened: up to now, or not said.
    pub fn optional_instant(&mut self, field: &str) -> Option<Instant> {
        let (now, zone) = (self.now, self.zone);
        self.optional(field, |text| days::read_instant(text, zone, now))
    }

    /// When a device without signal says that something was, RFC 3339. A clock that runs ahead is brought back to now.
    pub fn sent_later(&mut self, field: &str) -> Option<Instant> {
        let now = self.now;
        self.optional(field, |text| {
            let at = chrono::DateTime::parse_from_rfc3339(text.trim())
                .map_err(|_| Misread::new("Write it as 2026-06-23T18:40:00Z"))?;
            Ok(chrono::SubsecRound::trunc_subsecs(at.naive_utc(), 6).min(now))
        })
    }

    /// A quantity above zero.
    pub fn quantity(&mut self, field: &str, unit: BaseUnit) -> Milli {
        self.with(field, Milli::ZERO, |text| Milli::read(text, unit))
    }

    /// A quantity above zero that may be counted in packs.
    pub fn packs(&mut self, field: &str, unit: BaseUnit) -> Milli {
        self.with(field, Milli::ZERO, |text| Milli::read_packs(text, unit))
    }

    /// A quantity above zero, or none.
    pub fn optional_quantity(&mut self, field: &str, unit: BaseUnit) -> Option<Milli> {
        self.optional(field, |text| Milli::read(text, unit))
    }

    /// A quantity of zero or more, as it was counted; it has to be said.
    pub fn counted(&mut self, field: &str, unit: BaseUnit) -> Milli {
        self.with(field, Milli::ZERO, |text| Milli::read_zero(text, unit))
    }

    /// A quantity of zero or more; zero where it is empty.
    pub fn quantity_or_zero(&mut self, field: &str, unit: BaseUnit) -> Milli {
        self.optional(field, |text| Milli::read_zero(text, unit)).unwrap_or_default()
    }

    /// A volume above zero.
    pub fn volume(&mut self, field: &str) -> Milli {
        self.quantity(field, BaseUnit::Millilitre)
    }

    /// A volume above zero, or none.
    pub fn optional_volume(&mut self, field: &str) -> Option<Milli> {
        self.optional_quantity(field, BaseUnit::Millilitre)
    }

    /// An amount of money, zero or more.
    pub fn money(&mut self, field: &str) -> Money {
        self.with(field, Money::ZERO, Money::read)
    }

    /// An amount of money, zero or more, or none.
    pub fn optional_money(&mut self, field: &str) -> Option<Money> {
        self.optional(field, Money::read)
    }

    /// A measured value.
    pub fn measured(&mut self, field: &str, kind: ReadingKind) -> Measured {
        self.with(field, Measured::from_micros(0), |text| kind.read(text))
    }

    /// A measured value, or none.
    pub fn optional_measured(&mut self, field: &str, kind: ReadingKind) -> Option<Measured> {
        self.optional(field, |text| kind.read(text))
    }

    /// A whole number in a range.
    pub fn whole(&mut self, field: &str, range: RangeInclusive<u32>) -> u32 {
        let least = *range.start();
        self.with(field, least, |text| whole(text, &range))
    }

    /// A whole number in a range, or none.
    pub fn optional_whole(&mut self, field: &str, range: RangeInclusive<u32>) -> Option<u32> {
        self.optional(field, |text| whole(text, &range))
    }

    /// A decimal number in whole steps of 1/`scale`, within a range of such steps, or none.
    pub fn optional_scaled(
        &mut self,
        field: &str,
        scale: i64,
        range: &RangeInclusive<i64>,
        example: &str,
    ) -> Option<i64> {
        self.optional(field, |text| {
            let steps = number::scaled(text, scale, example)?;
            if range.contains(&steps) {
                return Ok(steps);
            }
            let places = scale.ilog10();
            let (from, to) = (number::plain(*range.start(), places), number::plain(*range.end(), places));
            Err(Misread::new(format!("Write a number from {from} to {to}, such as {example}")))
        })
    }

    /// Which one of a kind: `what` names the kind, "lot".
    ///
    /// # Panics
    /// Where `T` is not an id.
    pub fn id<T: FromStr<Err = Misread>>(&mut self, field: &str, what: &str) -> T {
        self.optional_id(field, what).unwrap_or_else(|| {
            self.fault(field, format!("Say which {what}"));
            "0000000000000".parse().expect("thirteen digits are an id of every kind")
        })
    }

    /// Which one of a kind, or none.
    pub fn optional_id<T: FromStr<Err = Misread>>(&mut self, field: &str, what: &str) -> Option<T> {
        let missing = |_| Misread::new(format!("There is no such {what} in this club"));
        self.optional(field, |text| text.trim().parse().map_err(missing))
    }

    /// Which ones of a kind, each once. A page sends a tick for each under its own id (`tasters.ID`), a program a list.
    pub fn ids<T: FromStr<Err = Misread> + PartialEq>(&mut self, field: &str, what: &str) -> Vec<T> {
        let path = self.path(field);
        let ticks = self.draft.at(&path).and_then(Value::as_object);
        let ticks = ticks.filter(|ticks| ticks.values().all(Value::is_string));
        let ticked = ticks
            .map(|ticks| ticks.iter().filter(|tick| tick.1 == "yes").map(|tick| tick.0.clone()).collect());
        let texts: Vec<String> = ticked.unwrap_or_else(|| {
            let text = self.text(field);
            text.split(',').map(|word| word.trim().to_owned()).filter(|word| !word.is_empty()).collect()
        });
        self.read.insert(path);
        let mut found = Vec::new();
        for text in texts {
            match text.parse() {
                Ok(id) if !found.contains(&id) => found.push(id),
                Ok(_) => {}
                Err(_) => self.fault(field, format!("There is no such {what} in this club")),
            }
        }
        found
    }

    /// One of a few, by its code.
    pub fn choice<T: Copy>(&mut self, field: &str, all: &[T], code: fn(T) -> &'static str) -> T {
        let first = all[0];
        self.with(field, first, |text| one_of(text, all, code))
    }

    /// One of a few, by its code, or none.
    pub fn optional_choice<T: Copy>(
        &mut self,
        field: &str,
        all: &[T],
        code: fn(T) -> &'static str,
    ) -> Option<T> {
        self.optional(field, |text| one_of(text, all, code))
    }

    /// Some of a few, by their codes, each once, in the order of `all`. A page sends a tick for each
    /// under its own name (`allergens.milk`), a program a list (`["milk"]`).
    pub fn choices<T: Copy>(&mut self, field: &str, all: &[T], code: fn(T) -> &'static str) -> Vec<T> {
        if self.draft.at(&self.path(field)).is_some_and(Value::is_object) {
            return all.iter().copied().filter(|one| self.flag(&format!("{field}.{}", code(*one)))).collect();
        }
        let text = self.text(field);
        let mut chosen = Vec::new();
        for word in text.split(',').map(str::trim).filter(|word| !word.is_empty()) {
            match one_of(word, all, code) {
                Ok(one) => chosen.push(code(one)),
                Err(misread) => self.fault(field, misread),
            }
        }
        all.iter().copied().filter(|one| chosen.contains(&code(*one))).collect()
    }

    /// One line of text: `what` says what is asked for, "a name".
    pub fn line(&mut self, field: &str, most: usize, what: &str) -> String {
        self.with(field, String::new(), |typed| text::line(typed, most, what))
    }

    /// One line of text; it may be empty.
    pub fn optional_line(&mut self, field: &str, most: usize, what: &str) -> String {
        self.optional(field, |typed| text::line(typed, most, what)).unwrap_or_default()
    }

    /// A remark, perhaps of several lines, perhaps empty.
    pub fn remark(&mut self, field: &str) -> String {
        self.with(field, String::new(), |typed| text::remark(typed, LONGEST_REMARK, "a remark"))
    }

    /// Yes or no; no where it is empty.
    pub fn flag(&mut self, field: &str) -> bool {
        self.with(field, false, |text| match text.trim() {
            "yes" | "true" => Ok(true),
            "" | "no" | "false" => Ok(false),
            _ => Err(Misread::new("Write true or false")),
        })
    }

    /// The lines of a list; within `each`, fields are named from within the line. A line of a page in
    /// which nothing was typed is not there; so a choice in it needs an empty first answer.
    pub fn rows<T>(&mut self, field: &str, each: impl FnMut(&mut Self) -> T) -> Vec<T> {
        self.rows_up_to(field, MOST_ROWS, each)
    }

    /// The same, where more or fewer lines may be sent at once.
    pub fn rows_up_to<T>(
        &mut self,
        field: &str,
        most: usize,
        mut each: impl FnMut(&mut Self) -> T,
    ) -> Vec<T> {
        let list = self.path(field);
        let count = match self.draft.at(&list) {
            Some(Value::Array(rows)) => rows.len(),
            None | Some(Value::Null) => 0,
            Some(_) => {
                self.read.insert(list);
                self.fault(field, "Write a list of lines here");
                return Vec::new();
            }
        };
        if count == 0 || count > most {
            self.read.insert(list.clone());
        }
        if count > most {
            // What else may be wrong in so many lines is said when they are fewer.
            self.fault(field, format!("Write at most {most} lines at once; this has {count}"));
            return Vec::new();
        }
        let outer = std::mem::take(&mut self.under);
        let read_row = |at| {
            self.under = format!("{list}.{at}.");
            each(self)
        };
        let rows = (0..count).map(read_row).collect();
        self.under = outer;
        rows
    }

    /// The day it is for whoever sent it.
    pub fn today(&self) -> Day {
        days::local_day(self.now, self.zone)
    }
}

fn whole(text: &str, range: &RangeInclusive<u32>) -> Result<u32, Misread> {
    let digits: String = text.chars().filter(|c| !c.is_whitespace()).collect();
    digits.parse().ok().filter(|number| range.contains(number)).ok_or_else(|| {
        Misread::new(format!("Write a whole number from {} to {}", range.start(), range.end()))
    })
}

fn one_of<T: Copy>(text: &str, all: &[T], code: fn(T) -> &'static str) -> Result<T, Misread> {
    let word = text.trim();
    all.iter().copied().find(|one| code(*one) == word).ok_or_else(|| {
        let codes: Vec<_> = all.iter().map(|one| code(*one)).collect();
        Misread::new(format!("Choose one of these: {}", codes.join(", ")))
    })
}
