//! Bringing in what a club kept in tables before: items, places, members, supplies in stock, batches, readings and
//! bottles.
//!
//! A table is read row by row into what it asks for. A row that cannot be meant is named with its line and the reason;
//! nothing is guessed about a number or a day. What is read is kept by the actions, in the books like anything else.

use std::collections::{HashMap, HashSet};
use std::io::{self, Read as _};

use serde::{Deserialize, Serialize};

use super::refusal::Refusal;
use crate::units::days::Day;
use crate::units::text::{as_typed, folded};

use tables::moments::{self, Order};
use tables::{named, separator};

pub use columns::{Field, Shape};
pub use made::{Bottles, Held, Known, Made, NewBatch, Read, Supply, Underway};
pub use reader::Reader;

mod cells;
mod columns;
mod made;
mod reader;
pub mod tables;

/// The most rows of a table.
pub const MOST_ROWS: usize = 200_000;
/// The longest cell, in characters.
pub const LONGEST_CELL: usize = 2000;
/// Bad rows that are named; all are counted.
pub const NAMED: usize = 200;
/// Different days of a table from which it is found out how they are written.
const DAYS: usize = 20_000;
/// Bytes at its start from which it is found out what separates its cells.
const HEAD: u64 = 1 << 16;
/// Columns that are looked at.
const MOST_COLUMNS: usize = 60;

/// What a table holds.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Kind {
    /// Kinds of things.
    Items,
    /// Rooms, shelves, bays.
    Places,
    /// People.
    Members,
    /// Supplies that are in stock.
    Lots,
    /// Batches, planned or under way.
    Batches,
    /// What was measured.
    Readings,
    /// Bottles that lie in the cellar.
    Bottles,
}

impl Kind {
    /// All of them, in the order in which a club would bring them in.
    pub const ALL: [Self; 7] =
        [Self::Items, Self::Places, Self::Members, Self::Lots, Self::Batches, Self::Readings, Self::Bottles];

    /// As in the database and the API.
    pub const fn code(self) -> &'static str {
        match self {
            Self::Items => "items",
            Self::Places => "places",
            Self::Members => "members",
            Self::Lots => "lots",
            Self::Batches => "batches",
            Self::Readings => "readings",
            Self::Bottles => "bottles",
        }
    }

    /// From its code.
    pub fn from_code(code: &str) -> Option<Self> {
        Self::ALL.into_iter().find(|kind| kind.code() == code)
    }

    /// For people: what a table of this kind holds.
    pub const fn label(self) -> &'static str {
        match self {
            Self::Items => "Items",
            Self::Places => "Places",
            Self::Members => "Members",
            Self::Lots => "Supplies in stock",
            Self::Batches => "Batches",
            Self::Readings => "Readings",
            Self::Bottles => "Bottles in the cellar",
        }
    }

    /// What each row becomes: one and several.
    pub const fn becomes(self) -> (&'static str, &'static str) {
        match self {
            Self::Items => ("item", "items"),
            Self::Places => ("place", "places"),
            Self::Members => ("member", "members"),
            Self::Lots => ("lot", "lots"),
            Self::Batches => ("batch", "batches"),
            Self::Readings => ("reading", "readings"),
            Self::Bottles => ("bottling", "bottlings"),
        }
    }

    /// What its columns may be.
    pub const fn fields(self) -> &'static [Field] {
        columns::of(self)
    }
}

/// A column of a table: its name, and what it holds; none where it is left out.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Column {
    /// The name over it.
    pub heading: String,
    /// What it holds.
    pub field: Option<&'static Field>,
}

/// Where the text of a table is. It is read through more than once, part by part, so that a long one is never held.
pub trait Source {
    /// Reads it from the start.
    fn open(&self) -> Box<dyn io::Read + '_>;
}

impl Source for &str {
    fn open(&self) -> Box<dyn io::Read + '_> {
        Box::new(self.as_bytes())
    }
}

/// Refuses text that cannot be a table.
pub fn legible(text: &str) -> Result<(), Refusal> {
    if text.contains('\0') {
        let words = "Leave out the character with the code 0: this may be no text";
        return Err(Refusal::unfit("rows", words));
    }
    Ok(())
}

/// A table that was sent, and how it is read.
pub struct Table<'t> {
    kind: Kind,
    source: &'t dyn Source,
    separator: u8,
    /// Its columns in their order.
    pub columns: Vec<Column>,
    said: Option<Order>,
}

/// How a table is read: what its columns hold, and how its days and numbers are written.
#[derive(Debug, Clone, Default)]
pub struct Said {
    /// What each heading stands for; empty: it is left out.
    pub columns: HashMap<String, String>,
    /// In which order days are written.
    pub order: Option<Order>,
}

impl<'t> Table<'t> {
    /// Opens a table. What a column holds is what was said of it now, else as its name says.
    pub fn open(kind: Kind, source: &'t dyn Source, said: &Said) -> Result<Self, Refusal> {
        let mut head = Vec::new();
        // What cannot be read here cannot be read below either, and is said there.
        let _ = source.open().take(HEAD).read_to_end(&mut head);
        let head = String::from_utf8_lossy(&head);
        let head = head.trim_start_matches('\u{feff}');
        if head.trim().is_empty() {
            return Err(Refusal::unfit(
                "rows",
                "Choose a file, or paste the rows of a table with their names",
            ));
        }
        let mut table = Self {
            kind,
            source,
            separator: if kind == Kind::Places { separator(head).unwrap_or(b'\t') } else { separator(head)? },
            columns: Vec::new(),
            said: said.order,
        };
        let first = table.rows().next();
        let Some((_, Ok(heads))) = first else {
            return Err(Refusal::unfit(
                "rows",
                "The first row has the names of the columns; this cannot be read",
            ));
        };
        if heads.len() > MOST_COLUMNS {
            let words = format!("At most {MOST_COLUMNS} columns are looked at; this has {}", heads.len());
            return Err(Refusal::unfit("rows", words));
        }
        let mut taken: Vec<&str> = Vec::new();
        for heading in &heads {
            let heading: String = heading.chars().filter(|sign| !sign.is_control()).take(80).collect();
            let field = match said.columns.get(&key(&heading)) {
                Some(code) => kind.fields().iter().find(|field| field.code == code),
                None => kind.fields().iter().find(|field| field.is_called(&heading)),
            };
            let field = field.filter(|field| !taken.contains(&field.code));
            taken.extend(field.map(|field| field.code));
            table.columns.push(Column { heading, field });
        }
        Ok(table)
    }

    /// The rows that are not empty, with their lines; the first holds the names.
    fn rows(&self) -> impl Iterator<Item = (u64, Result<csv::StringRecord, String>)> + use<'t> {
        let reader = csv::ReaderBuilder::new()
            .delimiter(self.separator)
            .has_headers(false)
            .flexible(true)
            .trim(csv::Trim::All)
            .from_reader(self.source.open());
        reader.into_records().filter_map(|row| match row {
            Ok(row) if row.iter().all(str::is_empty) => None,
            Ok(row) => Some((row.position().map_or(0, csv::Position::line), Ok(row))),
            Err(error) => {
                let line = error.position().map_or(0, csv::Position::line);
                Some((line, Err(format!("This row cannot be read: {error}"))))
            }
        })
    }

    /// The first rows under the names, as they stand there.
    pub fn first(&self, most: usize) -> Vec<Vec<String>> {
        let rows = self.rows().skip(1).filter_map(|(_, row)| row.ok()).take(most);
        let cell = |cell: &str| cell.chars().filter(|sign| !sign.is_control()).take(60).collect();
        rows.map(|row| row.iter().map(cell).collect()).collect()
    }

    /// What must be there and is not said of any column.
    pub fn missing(&self) -> Vec<&'static Field> {
        let there =
            |code: &str| self.columns.iter().any(|column| column.field.is_some_and(|of| of.code == code));
        self.kind.fields().iter().filter(|field| field.must && !there(field.code)).collect()
    }

    /// How its numbers and days are written, from all its rows.
    pub fn looked_at(&self, today: Day) -> Result<Sheet<'_, 't>, Refusal> {
        let missing: Vec<String> = self.missing().iter().map(|field| format!("“{}”", field.label)).collect();
        if !missing.is_empty() {
            let words = format!("Say which column holds {}", missing.join(" and "));
            return Err(Refusal::unfit("columns", words));
        }
        let of = |shape: Shape| {
            let columns = self.columns.iter().enumerate();
            columns
                .filter(move |column| column.1.field.is_some_and(|field| field.shape == shape))
                .map(|column| column.0)
        };
        let numbers: Vec<usize> = of(Shape::Number).collect();
        let days: Vec<usize> = of(Shape::Day).collect();
        let (mut count, mut commas, mut found) = (0, false, HashSet::new());
        for (_, row) in self.rows().skip(1) {
            count += 1;
            if count > MOST_ROWS {
                let words = format!("At most {MOST_ROWS} rows are taken at once: split the table");
                return Err(Refusal::unfit("rows", words));
            }
            let Ok(row) = row else { continue };
            commas = commas || numbers.iter().filter_map(|at| row.get(*at)).any(has_decimal_comma);
            for cell in days.iter().filter_map(|at| row.get(*at)).filter(|cell| !cell.is_empty()) {
                // Days come again and again; of times, some thousands tell.
                if found.len() < DAYS && !found.contains(cell) {
                    found.insert(cell.to_owned());
                }
            }
        }
        if count == 0 {
            return Err(Refusal::unfit("rows", "There are no rows under the names of the columns"));
        }
        let order = moments::order(found.iter().map(String::as_str), self.said)?;
        Ok(Sheet { table: self, rows: count, commas, order, today })
    }
}

/// A number such as 1,5, whose comma cannot stand between thousands.
fn has_decimal_comma(cell: &str) -> bool {
    cell.split_once(',').is_some_and(|(whole, part)| {
        let digits = part.bytes().take_while(u8::is_ascii_digit).count();
        let ends = |text: &str| text.bytes().last().is_some_and(|last| last.is_ascii_digit());
        ends(whole) && digits > 0 && (digits != 3 || whole.ends_with('0') && whole.len() == 1)
    })
}

/// A table of which it is known how it is written.
pub struct Sheet<'s, 't> {
    table: &'s Table<'t>,
    /// How many rows it has under its names.
    pub rows: usize,
    commas: bool,
    order: Order,
    today: Day,
}

impl Sheet<'_, '_> {
    /// How it is read, in words.
    pub fn read_as(&self) -> Vec<String> {
        let mut said = vec![format!("Cells separated by {}.", named(self.table.separator))];
        if self.commas {
            said.push("Numbers with a decimal comma.".to_owned());
        }
        let days = |column: &Column| column.field.is_some_and(|field| field.shape == Shape::Day);
        if self.table.columns.iter().any(days) {
            said.push(self.order.says().to_owned());
        }
        said
    }

    /// Every row under the names: its line, what stands there, and its cells.
    fn each(&self) -> impl Iterator<Item = (u64, Result<Row<'_>, String>)> {
        let (columns, commas, order, today) = (&self.table.columns, self.commas, self.order, self.today);
        let rows = self.table.rows().skip(1);
        rows.map(move |(line, row)| {
            let row = row.map(|record| Row { record, columns, commas, order, today });
            (line, row)
        })
    }
}

/// One row.
struct Row<'s> {
    record: csv::StringRecord,
    columns: &'s [Column],
    commas: bool,
    order: Order,
    today: Day,
}

impl Row<'_> {
    /// What stands there, cut short, to be shown beside what is wrong with it.
    fn shown(&self) -> String {
        let cells: Vec<&str> = self.record.iter().collect();
        cells.join(" | ").chars().filter(|sign| !sign.is_control()).take(100).collect()
    }

    /// The cell of a field as it was typed, and what unit stands over it in brackets.
    fn cell(&self, code: &str) -> (&str, Option<&str>) {
        let at = self.columns.iter().position(|column| column.field.is_some_and(|field| field.code == code));
        let Some(at) = at else { return ("", None) };
        (as_typed(self.record.get(at).unwrap_or_default()), in_brackets(&self.columns[at].heading))
    }
}

fn in_brackets(heading: &str) -> Option<&str> {
    let (_, rest) = heading.split_once(['(', '['])?;
    rest.split_once([')', ']']).map(|found| found.0.trim()).filter(|unit| !unit.is_empty())
}

/// Under what a heading is remembered.
pub fn key(heading: &str) -> String {
    folded(heading.trim())
}

/// A row that is not brought in.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct Bad {
    /// Its line in the file; the first is 1.
    pub line: u64,
    /// What stands there, cut short.
    pub text: String,
    /// Why, and what to do.
    pub why: String,
}

/// What looking a table through found.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct Found {
    /// Rows that can be brought in.
    pub good: usize,
    /// The first of those that cannot.
    pub bad: Vec<Bad>,
    /// How many those are.
    pub bad_in_all: usize,
}

impl Found {
    fn refuse(&mut self, line: u64, text: String, why: String) {
        self.bad_in_all += 1;
        if self.bad.len() < NAMED {
            self.bad.push(Bad { line, text, why });
        }
    }
}

#[cfg(test)]
mod tests;
