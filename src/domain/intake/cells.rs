//! The cells of a row: words, numbers of two countries, amounts, days, and what is said where they cannot be meant.

use super::{LONGEST_CELL, Row};
use crate::domain::intake::tables::moments;
use crate::domain::stock::ALLERGENS;
use crate::units::days::{self, Day};
use crate::units::money::Money;
use crate::units::quantity::{BaseUnit, Milli};
use crate::units::text::{self, folded};
use crate::units::{Misread, number};

/// The longest name of anything.
pub(super) const NAME: usize = 80;

pub(super) type Told<T> = Result<T, String>;

impl Row<'_> {
    pub(super) fn text(&self, code: &str) -> &str {
        self.cell(code).0
    }

    /// What is wrong with a cell, under the name of what it should hold.
    pub(super) fn fault(&self, code: &str, why: impl std::fmt::Display) -> String {
        let fields = self.columns.iter().filter_map(|column| column.field);
        let label = fields.into_iter().find(|field| field.code == code).map(|field| field.label);
        label.map_or_else(|| why.to_string(), |label| format!("{label}: {why}"))
    }

    pub(super) fn empty(&self, code: &str) -> String {
        self.fault(code, "This cell is empty; write it, or leave the row out")
    }

    /// Nobody is to drink milk because a cell was empty.
    pub(super) fn unsaid(&self) -> String {
        let known = ALLERGENS.join(", ");
        let words = format!("Write what is in it of these, or “none”: {known}");
        if self.columns.iter().any(|column| column.field.is_some_and(|field| field.code == "allergens")) {
            self.fault("allergens", words)
        } else {
            format!("Allergens: there is no column for them. {words}")
        }
    }

    pub(super) fn name(&self, code: &str, what: &str) -> Told<String> {
        text::line(self.text(code), NAME, what).map_err(|why| self.fault(code, why))
    }

    /// Words that may be missing.
    pub(super) fn line(&self, code: &str, what: &str) -> Told<String> {
        match self.text(code) {
            "" => Ok(String::new()),
            words => {
                let most = if code == "remark" { LONGEST_CELL } else { NAME };
                text::line(words, most, what).map_err(|why| self.fault(code, why))
            }
        }
    }

    pub(super) fn choice<T>(
        &self,
        code: &str,
        of: impl IntoIterator<Item = (&'static str, T)>,
    ) -> Told<Option<T>> {
        let typed = folded(self.text(code));
        if typed.is_empty() {
            return Ok(None);
        }
        let mut names = Vec::new();
        for (name, value) in of {
            if folded(name) == typed {
                return Ok(Some(value));
            }
            names.push(name);
        }
        Err(self.fault(code, format!("“{}” is none of these: {}", self.text(code), names.join(", "))))
    }

    /// A number as it would be typed here: with one sign for decimals and none between thousands.
    pub(super) fn number(&self, code: &str) -> Told<Option<String>> {
        self.number_of(code, false)
    }

    /// The same; of what lies near one, as gravities do, no sign stands between thousands.
    pub(super) fn number_of(&self, code: &str, near_one: bool) -> Told<Option<String>> {
        match self.text(code) {
            "" => Ok(None),
            typed if near_one => Ok(Some(typed.to_owned())),
            typed => plain(typed, self.commas).map(Some).map_err(|why| self.fault(code, why)),
        }
    }

    pub(super) fn typed<T>(
        &self,
        code: &str,
        read: impl FnOnce(&str) -> Result<T, Misread>,
    ) -> Told<Option<T>> {
        let text = self.number(code)?;
        text.map(|text| read(&text)).transpose().map_err(|why| self.fault(code, why))
    }

    pub(super) fn money(&self, code: &str) -> Told<Option<Money>> {
        self.typed(code, Money::read)
    }

    pub(super) fn scaled(&self, code: &str, scale: i64, range: (i64, i64)) -> Told<Option<i64>> {
        self.steps(code, self.number(code)?, scale, range)
    }

    /// The same of what lies near one.
    pub(super) fn near_one(&self, code: &str, scale: i64, range: (i64, i64)) -> Told<Option<i64>> {
        self.steps(code, self.number_of(code, true)?, scale, range)
    }

    fn steps(
        &self,
        code: &str,
        text: Option<String>,
        scale: i64,
        (least, most): (i64, i64),
    ) -> Told<Option<i64>> {
        let Some(text) = text else { return Ok(None) };
        let (from, to) = (number::plain(least, scale.ilog10()), number::plain(most, scale.ilog10()));
        let steps = number::scaled(text.trim_end_matches(['%', ' ']), scale, &from);
        match steps.map_err(|why| self.fault(code, why))? {
            steps if (least..=most).contains(&steps) => Ok(Some(steps)),
            _ => Err(self.fault(code, format!("Write a number from {from} to {to}"))),
        }
    }

    pub(super) fn whole(&self, code: &str, least: i64, most: i64) -> Told<Option<i64>> {
        let text = self.number(code)?;
        let Some(text) = text else { return Ok(None) };
        let found = text.parse::<i64>().ok().filter(|count| (least..=most).contains(count));
        found
            .map(Some)
            .ok_or_else(|| self.fault(code, format!("Write a whole number from {least} to {most}")))
    }

    /// An amount, with its unit in the cell, in a column of its own, or in brackets over the column.
    pub(super) fn amount(&self, code: &str, unit: BaseUnit) -> Told<Option<Milli>> {
        let (_, over) = self.cell(code);
        let beside = Some(self.text("unit")).filter(|beside| !beside.is_empty() && code == "quantity");
        self.typed(code, |text| {
            let bare = !text.chars().any(|sign| sign.is_alphabetic() || sign == '×');
            match beside.or(over).filter(|_| bare) {
                Some(written) if unit == BaseUnit::Piece && !folded(written).starts_with("piece") => {
                    Err(Misread::new(format!("This is counted in pieces, not in {written}")))
                }
                Some(written) => Milli::read(&format!("{text} {written}"), unit),
                None => Milli::read_packs(text, unit),
            }
        })
    }

    pub(super) fn date(&self, cell: &str) -> Option<Day> {
        let cell = cell.strip_suffix(" 00:00:00").or_else(|| cell.strip_suffix(" 0:00")).unwrap_or(cell);
        moments::date_in(cell, self.order)
    }

    pub(super) fn day(&self, code: &str) -> Told<Option<Day>> {
        let cell = self.text(code);
        if cell.is_empty() {
            return Ok(None);
        }
        let found = match self.date(cell) {
            Some(day) => days::read(&days::iso(day), self.today),
            None => days::read(cell, self.today),
        };
        found.map(Some).map_err(|why| self.fault(code, format!("“{cell}”: {why}")))
    }

    pub(super) fn past(&self, code: &str, today: Day) -> Told<Option<Day>> {
        let day = self.day(code)?;
        if let Some(day) = day.filter(|day| *day > today) {
            return Err(self.fault(code, format!("{} is still to come", days::long(day))));
        }
        Ok(day)
    }

    /// What must be named; nothing where nobody said.
    pub(super) fn allergens(&self) -> Told<Option<Vec<String>>> {
        let typed = self.text("allergens");
        if typed.is_empty() {
            return Ok(None);
        }
        let mut found = Vec::new();
        for word in typed.split([',', ';', '/', '|', ' ']).map(folded).filter(|word| !word.is_empty()) {
            if ["none", "no", "-"].contains(&&*word) {
                continue;
            }
            let Some(known) = ALLERGENS.into_iter().find(|known| *known == word) else {
                let known = ALLERGENS.join(", ");
                return Err(self.fault("allergens", format!("“{word}” is none of these: {known}")));
            };
            found.push(known.to_owned());
        }
        found.sort_by_key(|one| ALLERGENS.iter().position(|known| known == one));
        found.dedup();
        Ok(Some(found))
    }
}

/// The numbers of a cell with a point for decimals and nothing between thousands. What could mean either is refused.
fn plain(cell: &str, commas: bool) -> Told<String> {
    let mut out = String::with_capacity(cell.len());
    let mut rest = cell;
    while let Some(start) = rest.find(|sign: char| sign.is_ascii_digit()) {
        out.push_str(&rest[..start]);
        let run = &rest[start..];
        let end =
            run.find(|sign: char| !sign.is_ascii_digit() && sign != '.' && sign != ',').unwrap_or(run.len());
        let run = run[..end].trim_end_matches(['.', ',']);
        out.push_str(&one(run, commas)?);
        rest = &rest[start + run.len()..];
    }
    out.push_str(rest);
    Ok(out)
}

/// One number.
fn one(run: &str, commas: bool) -> Told<String> {
    let points = run.matches('.').count();
    let marks = run.matches(',').count();
    let grouped = |sign: char| {
        let mut parts = run.split(sign);
        parts.next().is_some_and(|first| (1..=3).contains(&first.len())) && parts.all(|part| part.len() == 3)
    };
    match (points, marks) {
        (0, 0) => Ok(run.to_owned()),
        (1.., 1..) => {
            let decimal = if run.rfind('.') > run.rfind(',') { '.' } else { ',' };
            let (whole, part) = run.rsplit_once(decimal).unwrap_or((run, ""));
            let between = if decimal == '.' { ',' } else { '.' };
            let mut parts = whole.split(between);
            let right = parts.next().is_some_and(|first| (1..=3).contains(&first.len()))
                && parts.all(|part| part.len() == 3 && part.bytes().all(|digit| digit.is_ascii_digit()));
            let words = || format!("“{run}” is not a number that can be read here; write it like 1234.50");
            if right { Ok(format!("{}.{part}", whole.replace(between, ""))) } else { Err(words()) }
        }
        (2.., 0) if grouped('.') => Ok(run.replace('.', "")),
        (0, 2..) if grouped(',') => Ok(run.replace(',', "")),
        (1, 0) if commas && grouped('.') && !run.starts_with('0') => Err(doubtful(run, "point")),
        (0, 1) if !commas && grouped(',') && !run.starts_with('0') => Err(doubtful(run, "comma")),
        _ => Ok(run.replace(',', ".")),
    }
}

fn doubtful(run: &str, sign: &str) -> String {
    let bare = run.replace(['.', ','], "");
    format!(
        "“{run}” could be {bare} or a number with three decimals: write it without the {sign}, or with another zero"
    )
}
