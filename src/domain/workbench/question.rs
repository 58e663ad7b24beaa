//! What a question is: its name, what it asks for, what it gives, and what works it out.

use super::given::{Given, Value};
use super::sheet::{Sheet, Unfit};
use crate::domain::refusal::Refusal;
use crate::units::dimension::{Dimension, Unit, read_amount, read_sugar};
use crate::units::{Misread, text};

/// One question that a maker asks.
#[derive(Debug)]
pub struct Question {
    /// The last part of its address.
    pub slug: &'static str,
    /// The question, in the maker's words.
    pub name: &'static str,
    /// One sentence: what it is good for.
    pub lead: &'static str,
    /// What it asks for, in the order of the form.
    pub inputs: &'static [Input],
    /// What it gives; the answer first.
    pub gives: &'static [Gives],
    /// Works it out.
    pub work: fn(&Given) -> Result<Sheet, Unfit>,
}

impl Question {
    /// The answer to what was given, or what has to be put right, beside its field.
    pub fn ask(&self, given: &Given) -> Result<Sheet, Refusal> {
        (self.work)(given).map_err(|unfit| unfit.beside(given, self.inputs))
    }

    /// What it gives under this code.
    pub fn gives(&self, code: &str) -> Option<&'static Gives> {
        self.gives.iter().find(|one| one.code == code)
    }
}

/// Whether something has to be answered.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Need {
    /// It has to.
    Must,
    /// It may be left out.
    May,
    /// What is meant where nothing is said.
    Usually(&'static str),
}

/// How something is answered.
#[derive(Debug, Clone, Copy)]
pub enum Kind {
    /// By a number with its unit.
    Measure(Unit),
    /// By a sugar content on any scale.
    Sugar,
    /// By an amount, by volume or by mass.
    Amount,
    /// By one of a few: code, and words. The first is meant where nothing is said.
    Choice(&'static [(&'static str, &'static str)]),
    /// By yes or no.
    Flag,
    /// By one line of text.
    Words,
    /// By the same few questions several times; the word says what one of them is.
    Parts(&'static str, &'static [Input]),
    /// By a log: on a page one line a reading, the columns with a blank between; from a program a list.
    Log(&'static [Input]),
}

/// One thing that a question asks for.
#[derive(Debug, Clone, Copy)]
pub struct Input {
    /// Its name in the address and in the API.
    pub name: &'static str,
    /// What is asked.
    pub label: &'static str,
    /// How to answer, where that is not plain.
    pub hint: &'static str,
    /// How it is answered.
    pub kind: Kind,
    /// Whether it has to be.
    pub need: Need,
    /// An answer, for the example that every question has.
    pub example: &'static str,
    /// It stands among the settings: seldom changed, folded away.
    pub setting: bool,
}

impl Input {
    const fn of(name: &'static str, label: &'static str, kind: Kind, example: &'static str) -> Self {
        Self { name, label, hint: "", kind, need: Need::Must, example, setting: false }
    }

    /// A number in a unit of a dimension.
    pub const fn measure(
        name: &'static str,
        label: &'static str,
        of: Dimension,
        sign: &'static str,
        example: &'static str,
    ) -> Self {
        Self::of(name, label, Kind::Measure(Unit::new(of, sign)), example)
    }

    /// A plain number, with what stands beside it.
    pub const fn number(
        name: &'static str,
        label: &'static str,
        beside: &'static str,
        example: &'static str,
    ) -> Self {
        Self::measure(name, label, Dimension::Plain, beside, example)
    }

    /// A sugar content.
    pub const fn sugar(name: &'static str, label: &'static str, example: &'static str) -> Self {
        Self::of(name, label, Kind::Sugar, example).hint("As read: 1.050, 12.4 °Bx, or 130 g/L.")
    }

    /// An amount, by volume or by mass.
    pub const fn amount(name: &'static str, label: &'static str, example: &'static str) -> Self {
        Self::of(name, label, Kind::Amount, example)
    }

    /// One of a few.
    pub const fn choice(
        name: &'static str,
        label: &'static str,
        of: &'static [(&'static str, &'static str)],
    ) -> Self {
        Self { need: Need::Usually(of[0].0), ..Self::of(name, label, Kind::Choice(of), of[0].0) }
    }

    /// Yes or no.
    pub const fn flag(name: &'static str, label: &'static str) -> Self {
        Self { need: Need::May, ..Self::of(name, label, Kind::Flag, "") }
    }

    /// One line of text, which may be left out.
    pub const fn words(name: &'static str, label: &'static str, example: &'static str) -> Self {
        Self { need: Need::May, ..Self::of(name, label, Kind::Words, example) }
    }

    /// Several of the same.
    pub const fn parts(
        name: &'static str,
        label: &'static str,
        each: &'static str,
        of: &'static [Input],
        example: &'static str,
    ) -> Self {
        Self::of(name, label, Kind::Parts(each, of), example)
    }

    /// A log.
    pub const fn log(
        name: &'static str,
        label: &'static str,
        of: &'static [Input],
        example: &'static str,
    ) -> Self {
        Self::of(name, label, Kind::Log(of), example)
    }

    /// How to answer it.
    #[must_use]
    pub const fn hint(self, hint: &'static str) -> Self {
        Self { hint, ..self }
    }

    /// It may be left out.
    #[must_use]
    pub const fn optional(self) -> Self {
        Self { need: Need::May, ..self }
    }

    /// What is meant where nothing is said.
    #[must_use]
    pub const fn usually(self, value: &'static str) -> Self {
        Self { need: Need::Usually(value), example: value, ..self }
    }

    /// It stands among the settings, with what is usual.
    #[must_use]
    pub const fn setting(self, usual: &'static str) -> Self {
        Self { setting: true, ..self.usually(usual) }
    }

    /// It stands among the settings.
    #[must_use]
    pub const fn folded(self) -> Self {
        Self { setting: true, ..self }
    }

    /// Another answer in the example.
    #[must_use]
    pub const fn example(self, example: &'static str) -> Self {
        Self { example, ..self }
    }

    /// The unit beside the field, with a blank where there is none.
    pub fn sign(&self) -> &'static str {
        match self.kind {
            Kind::Measure(unit) => unit.sign,
            _ => "",
        }
    }

    /// An answer as it may be written, with its unit.
    pub fn written(&self) -> String {
        format!("{} {}", self.example, self.sign()).trim_end().to_owned()
    }

    /// Read an answer that was not left out. Parts are read by whoever holds their lines.
    pub fn read(&self, typed: &str) -> Result<Value, Misread> {
        match self.kind {
            Kind::Measure(unit) => unit.read(typed, &self.written()).map(Value::Number),
            Kind::Sugar => read_sugar(typed).map(Value::Sugar),
            Kind::Amount => read_amount(typed).map(Value::Amount),
            Kind::Choice(of) => {
                let word = typed.trim();
                let found = of.iter().find(|one| one.0 == word).map(|one| Value::Choice(one.0));
                found.ok_or_else(|| {
                    let codes: Vec<&str> = of.iter().map(|one| one.0).collect();
                    Misread::new(format!("Choose one of these: {}", codes.join(", ")))
                })
            }
            Kind::Flag => match typed.trim() {
                "yes" | "true" => Ok(Value::Flag(true)),
                "no" | "false" => Ok(Value::Flag(false)),
                _ => Err(Misread::new("Write true or false")),
            },
            Kind::Words => text::line(typed, 120, "a few words").map(Value::Words),
            Kind::Parts(..) => Err(Misread::new("Write a list of lines here")),
            Kind::Log(columns) => read_log(typed, columns).map(Value::Lines),
        }
    }
}

/// The most lines of a log.
const MOST_LINES: usize = 1000;

/// Reads a pasted log: one reading a line, its columns with blanks, tabs, semicolons or bars between.
fn read_log(typed: &str, columns: &[Input]) -> Result<Vec<Given>, Misread> {
    let lines: Vec<(usize, &str)> =
        typed.lines().enumerate().filter(|(_, line)| !line.trim().is_empty()).collect();
    if lines.len() > MOST_LINES {
        return Err(Misread::new(format!("Write at most {MOST_LINES} lines; this has {}", lines.len())));
    }
    let least = columns.iter().filter(|column| column.need == Need::Must).count();
    let line = |(at, line): (usize, &str)| {
        let said = |why: &dyn std::fmt::Display| Misread::new(format!("Line {}: {why}", at + 1));
        let cells: Vec<&str> = line
            .split(|c: char| c.is_whitespace() || ";|".contains(c))
            .map(|cell| cell.trim_matches(','))
            .filter(|cell| !cell.is_empty())
            .collect();
        if cells.len() < least || cells.len() > columns.len() {
            let names: Vec<&str> = columns.iter().map(|column| column.label).collect();
            return Err(said(&format!("write {}, such as {}", names.join(", "), example_line(columns))));
        }
        let mut given = Given::default();
        for (column, cell) in columns.iter().zip(cells) {
            given.put(column.name, column.read(cell).map_err(|why| said(&why))?);
        }
        Ok(given)
    };
    lines.into_iter().map(line).collect()
}

fn example_line(columns: &[Input]) -> String {
    columns.iter().map(|column| column.example).collect::<Vec<_>>().join(" ")
}

/// One figure that a question gives, and how it is worked out.
#[derive(Debug, Clone, Copy)]
pub struct Gives {
    /// Its name in the API.
    pub code: &'static str,
    /// Its name on the page.
    pub name: &'static str,
    /// Its unit, empty for a plain number or for words.
    pub unit: &'static str,
    /// How many decimals are shown.
    pub places: u8,
    /// With larger amounts, fewer decimals are shown.
    pub amount: bool,
    /// It is a guide.
    pub about: bool,
    /// The formula in plain notation.
    pub formula: &'static str,
    /// On whose authority.
    pub source: &'static str,
    /// For which values it holds.
    pub range: &'static str,
}

impl Gives {
    /// A figure with a fixed number of decimals.
    pub const fn figure(code: &'static str, name: &'static str, unit: &'static str, places: u8) -> Self {
        Self { code, name, unit, places, amount: false, about: false, formula: "", source: "", range: "" }
    }

    /// An amount, shown with three or four digits.
    pub const fn amount(code: &'static str, name: &'static str, unit: &'static str) -> Self {
        Self { amount: true, ..Self::figure(code, name, unit, 3) }
    }

    /// An answer in words.
    pub const fn words(code: &'static str, name: &'static str) -> Self {
        Self::figure(code, name, "", 0)
    }

    /// It is a guide.
    #[must_use]
    pub const fn about(self) -> Self {
        Self { about: true, ..self }
    }

    /// How it is worked out: formula, source, range.
    #[must_use]
    pub const fn by(self, formula: &'static str, source: &'static str, range: &'static str) -> Self {
        Self { formula, source, range, ..self }
    }
}
