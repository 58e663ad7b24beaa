//! A report as one value, which the page, the file for spreadsheets, the paper and the API all show, so that they
//! cannot differ: a sentence, a picture, tables of typed cells.

use crate::units::days::{self, Day};
use crate::units::money::Money;
use crate::units::number;
use crate::units::quantity::{BaseUnit, Milli};
use crate::web::forms::Caution;
use crate::web::pictures::{Bar, Bars, MOST_BARS};
use crate::web::spreadsheet::Cell;
use crate::web::words;

/// What a report says.
#[derive(Debug, Clone, Default)]
pub struct Report {
    /// The answer in a sentence.
    pub lead: String,
    /// What can go wrong for somebody who relies on it.
    pub caution: Option<Caution>,
    /// The picture; without bars where there is nothing to see.
    pub picture: Bars,
    /// The tables, the one that answers first.
    pub tables: Vec<Table>,
    /// How figures are meant, a sentence each.
    pub notes: Vec<String>,
    /// The drinks that can be chosen.
    pub drinks: Vec<String>,
}

/// A table.
#[derive(Debug, Clone, Default)]
pub struct Table {
    /// In a word or two: "By drink".
    pub name: &'static str,
    /// What stands in it, with units.
    pub caption: String,
    /// Its columns.
    pub columns: Vec<Column>,
    /// Its rows.
    pub rows: Vec<Row>,
    /// What is said where there is no row.
    pub none: &'static str,
    /// It is the one that is taken as a file.
    pub file: bool,
}

/// A column.
#[derive(Debug, Clone)]
pub struct Column {
    /// Its name in a file and in the API.
    pub key: &'static str,
    /// Over it.
    pub head: String,
    /// Where it stands.
    pub side: Side,
}

/// Where a column stands.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Side {
    /// Words, to the left.
    Words,
    /// Figures, to the right.
    Figures,
    /// In files only: what a page says with the figure, such as its unit.
    File,
    /// Words that only pages have: what stands in several columns of a file.
    Page,
}

/// A column of words.
pub fn text(key: &'static str, head: &str) -> Column {
    Column { key, head: head.to_owned(), side: Side::Words }
}

/// A column of figures.
pub fn figures(key: &'static str, head: &str) -> Column {
    Column { key, head: head.to_owned(), side: Side::Figures }
}

/// A column that only files have.
pub fn in_file(key: &'static str) -> Column {
    Column { key, head: String::new(), side: Side::File }
}

/// A column that only pages have.
pub fn on_page(head: &str) -> Column {
    Column { key: "", head: head.to_owned(), side: Side::Page }
}

/// A row.
#[derive(Debug, Clone, Default)]
pub struct Row {
    /// A value for each column.
    pub cells: Vec<Value>,
    /// Where its first cell leads, without the path prefix.
    pub href: Option<String>,
    /// It is the sum of the others; files and programs add up for themselves.
    pub sum: bool,
}

impl Row {
    /// A row of its own.
    pub fn new(cells: impl Into<Vec<Value>>) -> Self {
        Self { cells: cells.into(), href: None, sum: false }
    }

    /// It leads there.
    #[must_use]
    pub fn to(self, href: String) -> Self {
        Self { href: Some(href), ..self }
    }

    /// The sum of the rows above.
    pub fn sum(cells: impl Into<Vec<Value>>) -> Self {
        Self { cells: cells.into(), href: None, sum: true }
    }
}

/// What stands in a cell.
#[derive(Debug, Clone, PartialEq)]
pub enum Value {
    /// Nothing.
    Nothing,
    /// What somebody typed.
    Typed(String),
    /// A word, a number or a code that we wrote.
    Ours(String),
    /// A day.
    Day(Day),
    /// Money, with two places.
    Money(Money),
    /// Money for one bottle, with three.
    Fine(Money),
    /// An amount; a file has the number in the base unit, which stands in a column of its own.
    Amount(Milli, BaseUnit),
    /// A volume, in litres.
    Litres(Milli),
    /// How many.
    Count(i64),
    /// Computed, with one place: per cent, marks.
    Tenths(f64),
}

impl Value {
    /// What somebody typed.
    pub fn typed(text: impl Into<String>) -> Self {
        Self::Typed(text.into())
    }

    /// What we wrote.
    pub fn ours(text: impl Into<String>) -> Self {
        Self::Ours(text.into())
    }

    /// A computed figure, or nothing.
    pub fn tenths(value: Option<f64>) -> Self {
        value.filter(|value| value.is_finite()).map_or(Self::Nothing, Self::Tenths)
    }

    /// For people.
    pub fn shown(&self, today: Day) -> String {
        match self {
            Self::Nothing => String::new(),
            Self::Typed(text) | Self::Ours(text) => text.clone(),
            Self::Day(day) => days::tiny(*day, today),
            Self::Money(money) => words::figure(*money),
            Self::Fine(money) => words::fine(*money),
            Self::Amount(Milli::ZERO, _) => "0".to_owned(),
            Self::Amount(amount, unit) => amount.shown(*unit).replace('−', "− "),
            Self::Litres(volume) => volume.litres().replace('−', "− "),
            Self::Count(count) => count.to_string(),
            Self::Tenths(value) => format!("{value:.1}").replace('-', "− "),
        }
    }

    /// For programs.
    pub fn plain(&self) -> String {
        match self {
            Self::Nothing => String::new(),
            Self::Typed(text) | Self::Ours(text) => text.clone(),
            Self::Day(day) => days::iso(*day),
            Self::Money(money) | Self::Fine(money) => money.plain(),
            Self::Amount(amount, _) => amount.plain(),
            Self::Litres(volume) => number::plain(volume.get(), 6),
            Self::Count(count) => count.to_string(),
            Self::Tenths(value) => format!("{value:.2}"),
        }
    }

    /// For a spreadsheet.
    pub fn cell(&self) -> Cell {
        match self {
            Self::Typed(text) => Cell::typed(text),
            other => Cell::ours(other.plain()),
        }
    }
}

impl Table {
    /// The columns of a file and of the API, with their places.
    pub fn kept(&self) -> impl Iterator<Item = (usize, &Column)> {
        self.columns.iter().enumerate().filter(|(_, column)| column.side != Side::Page)
    }

    /// The rows that are no sums, as a file has them.
    pub fn lines(&self) -> impl Iterator<Item = Vec<&Value>> {
        self.rows
            .iter()
            .filter(|row| !row.sum)
            .map(|row| self.kept().filter_map(|(at, _)| row.cells.get(at)).collect())
    }

    /// What stands over the columns of a file.
    pub fn header(&self) -> Vec<&'static str> {
        self.kept().map(|(_, column)| column.key).collect()
    }

    /// The columns that a page shows, with their places.
    pub fn seen(&self) -> impl Iterator<Item = (usize, &Column)> {
        self.columns.iter().enumerate().filter(|(_, column)| column.side != Side::File)
    }
}

impl Report {
    /// The table that is taken as a file.
    pub fn file(&self) -> Option<&Table> {
        self.tables.iter().find(|table| table.file).or(self.tables.first())
    }
}

/// A picture of the first so many bars.
pub fn picture(title: String, caption: &str, bars: impl IntoIterator<Item = Bar>) -> Bars {
    let mut bars: Vec<Bar> = bars.into_iter().collect();
    let more = bars.len().saturating_sub(MOST_BARS);
    bars.truncate(MOST_BARS);
    let rest = if more > 0 { format!(" The table has {more} more.") } else { String::new() };
    Bars { title, caption: format!("{caption}{rest}"), bars, mark: None }
}

/// A bar of money.
pub fn money_bar(currency: &str, name: impl Into<String>, money: Money) -> Bar {
    #[allow(clippy::cast_precision_loss, reason = "the length of a bar")]
    let value = money.micros() as f64;
    Bar { name: name.into(), value, said: words::money(currency, money) }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_figure_is_said_to_people_and_to_programs() {
        let today = "2026-06-23".parse().unwrap();
        let both = |value: Value| (value.shown(today), value.plain());
        let said = |shown: &str, plain: &str| (shown.to_owned(), plain.to_owned());
        assert_eq!(both(Value::Money(Money::from_micros(-46_200_000))), said("− 46.20", "-46.2"));
        assert_eq!(both(Value::Litres(Milli::new(24_250_000))), said("24.3", "24.25"));
        assert_eq!(both(Value::Amount(Milli::new(2_500_000), BaseUnit::Gram)), said("2.5 kg", "2500"));
        assert_eq!(both(Value::Day(today)), said("23 Jun", "2026-06-23"));
        assert_eq!(both(Value::Tenths(-29.46)), said("− 29.5", "-29.46"));
        assert_eq!(Value::tenths(Some(f64::NAN)), Value::Nothing);
        assert_eq!(Value::typed("=1+1").cell(), Cell::typed("=1+1"));
    }
}
