//! The archive of a club: how a value becomes a cell and comes back, what the manifest says, and how much is taken from
//! a file of unknown origin. Which files and columns there are is said in `db/archive`.

use chrono::{Datelike, NaiveDate, NaiveDateTime};
use serde::{Deserialize, Serialize};
use serde_json::Value;

use super::refusal::Refusal;
use crate::units::days::Instant;
use crate::units::{ids, number, text};

/// The version of the form; an archive of another is refused.
pub const FORMAT: u32 = 2;
/// The file that says what is in the others.
pub const MANIFEST: &str = "manifest.json";
/// The file that explains the columns to people.
pub const EXPLAINED: &str = "README.txt";

/// Bytes of the archive itself.
pub const MOST_PACKED: u64 = 1 << 30;
/// Bytes of all its files together, unpacked.
pub const MOST_UNPACKED: u64 = 4 << 30;
/// Bytes of the manifest.
pub const MOST_MANIFEST: u64 = 1 << 20;
/// Bytes of one row.
pub const MOST_ROW: u64 = 1 << 18;
/// Letters of one cell; nothing that a member can write is longer.
const MOST_TEXT: usize = 20_000;
/// No quantity, cost or count is beyond this, so that no sum of a club runs over.
const MOST_NUMBER: i64 = 100_000_000_000_000_000;

/// What a column holds.
#[derive(Debug, Clone, Copy)]
pub enum Kind {
    /// Which one it is, in the short form.
    Id,
    /// Which one it names, of the file of this name.
    Of(&'static str),
    /// What somebody wrote.
    Text,
    /// One of the words that this function knows.
    Word(fn(&str) -> bool),
    /// An exact decimal number that is kept in steps of a power of ten: 3 places are thousandths.
    Number(u32),
    /// A day, `2026-06-30`.
    Day,
    /// An instant in UTC, `2026-06-30T18:40:00Z`.
    Instant,
    /// `true` or `false`.
    Flag,
}

/// How instants stand in a column of either database.
const KEPT: &str = "%Y-%m-%d %H:%M:%S%.f";

impl Kind {
    /// A value of the database as a cell.
    pub fn write(self, kept: &Value) -> Option<String> {
        Some(match (self, kept) {
            (_, Value::Null) => String::new(),
            (Self::Id | Self::Of(_), Value::Number(id)) => ids::write_short(id.as_i64()?),
            (Self::Number(places), Value::Number(value)) => number::plain(value.as_i64()?, places),
            (Self::Text, Value::String(typed)) => text::as_cell(typed),
            (Self::Word(_) | Self::Day, Value::String(word)) => word.clone(),
            (Self::Instant, Value::String(instant)) => {
                let at = NaiveDateTime::parse_from_str(&instant.replace('T', " "), KEPT).ok()?;
                instant_cell(at)
            }
            (Self::Flag, Value::Bool(flag)) => flag.to_string(),
            (Self::Flag, Value::Number(flag)) => (flag.as_i64()? != 0).to_string(),
            _ => return None,
        })
    }

    /// A cell as a value for the database, or what is wrong with it.
    pub fn read(self, cell: &str) -> Result<Value, String> {
        let shown: String = cell.chars().filter(|letter| !letter.is_control()).take(40).collect();
        let not = |what: &str| format!("“{shown}” is not {what}");
        match self {
            Self::Id | Self::Of(_) => {
                ids::read_short(cell).map(Value::from).ok_or_else(|| not("an id of 13 letters and digits"))
            }
            Self::Text => read_text(text::as_typed(cell)).map(Value::from),
            Self::Word(known) if known(cell) => Ok(cell.into()),
            Self::Word(_) => Err(not("a word that can stand here")),
            Self::Number(places) => {
                let plain = cell.bytes().all(|byte| byte.is_ascii_digit() || b"-.".contains(&byte));
                let value =
                    number::scaled(cell, 10_i64.pow(places), "12.5").map_err(|wrong| wrong.to_string())?;
                if !plain || number::plain(value, places) != cell {
                    return Err(not(&format!("a number with at most {places} places, such as 12.5 or 12")));
                }
                if value.abs() > MOST_NUMBER {
                    return Err(not("a number that can be kept: it is too large"));
                }
                Ok(value.into())
            }
            Self::Day => {
                let day = NaiveDate::parse_from_str(cell, "%Y-%m-%d").ok().filter(|day| in_time(day.year()));
                day.map(|day| day.to_string().into()).ok_or_else(|| not("a day such as 2026-06-30"))
            }
            Self::Instant => {
                let at = NaiveDateTime::parse_from_str(cell, "%Y-%m-%dT%H:%M:%S%.fZ").ok();
                let at = at.filter(|at| in_time(at.year()) && instant_cell(*at) == cell);
                at.map(|at| at.format(KEPT).to_string().into())
                    .ok_or_else(|| not("an instant in UTC such as 2026-06-30T18:40:00Z"))
            }
            Self::Flag => match cell {
                "true" => Ok(true.into()),
                "false" => Ok(false.into()),
                _ => Err(not("true or false")),
            },
        }
    }

    /// In a few words, for the page that explains the columns.
    pub fn words(self) -> String {
        match self {
            Self::Id => "id".to_owned(),
            Self::Of(file) => format!("id in {file}"),
            Self::Text => "text".to_owned(),
            Self::Word(_) => "word".to_owned(),
            Self::Number(0) => "whole number".to_owned(),
            Self::Number(places) => format!("number, up to {places} places"),
            Self::Day => "day".to_owned(),
            Self::Instant => "instant, UTC".to_owned(),
            Self::Flag => "true or false".to_owned(),
        }
    }
}

fn in_time(year: i32) -> bool {
    (1900..=2200).contains(&year)
}

fn read_text(typed: &str) -> Result<&str, String> {
    if typed.chars().any(|letter| letter.is_control() && letter != '\n') {
        return Err("this holds control characters".to_owned());
    }
    if typed.chars().count() > MOST_TEXT {
        return Err(format!("this is longer than {MOST_TEXT} characters"));
    }
    Ok(typed)
}

/// An instant as a cell.
pub fn instant_cell(at: Instant) -> String {
    at.format("%Y-%m-%dT%H:%M:%S%.fZ").to_string()
}

/// What an archive says of itself.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct Manifest {
    /// The version of the form.
    pub format: u32,
    /// What wrote it.
    pub program: String,
    /// The club, by its short id.
    pub club: String,
    /// Its name.
    pub club_name: String,
    /// When it was written.
    pub made_at: String,
    /// The files.
    pub files: Vec<Listed>,
}

/// A file as the manifest lists it.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct Listed {
    /// Its name.
    pub name: String,
    /// Rows below the header.
    pub rows: u64,
    /// Its size, unpacked.
    pub bytes: u64,
    /// The SHA-256 of its bytes, in hexadecimal.
    pub sha256: String,
}

impl Manifest {
    /// Read it; says so where it is of another version.
    pub fn read(bytes: &[u8]) -> Result<Self, Refusal> {
        #[derive(Deserialize)]
        struct Version {
            format: u32,
        }
        let wrong = |error: serde_json::Error| refused(&format!("{MANIFEST} cannot be read: {error}"));
        let Version { format } = serde_json::from_slice(bytes).map_err(wrong)?;
        if format != FORMAT {
            return Err(refused(&format!(
                "{MANIFEST}: this archive is of version {format}; this program reads version {FORMAT}"
            )));
        }
        serde_json::from_slice(bytes).map_err(wrong)
    }

    /// All rows.
    pub fn rows(&self) -> u64 {
        self.files.iter().map(|file| file.rows).sum()
    }
}

/// The archive is not taken.
pub fn refused(why: &str) -> Refusal {
    Refusal::unfit("file", format!("{why}. Nothing was brought in"))
}

/// A row of it is not taken.
pub fn refused_row(file: &str, line: u64, column: Option<&str>, why: &str) -> Refusal {
    let column = column.map(|column| format!(", column {column}")).unwrap_or_default();
    refused(&format!("{file}, line {line}{column}: {why}"))
}

#[cfg(test)]
mod tests {
    use super::*;
    use serde_json::json;

    #[test]
    fn a_cell_comes_back_as_the_value_it_was() {
        for (kind, kept, cell) in [
            (Kind::Id, json!(1_234_567_890_123_i64), "000013xrzp16b"),
            (Kind::Number(6), json!(-1_500_000), "-1.5"),
            (Kind::Number(3), json!(7), "0.007"),
            (Kind::Text, json!("=1+1, \"milk\"\n'"), "'=1+1, \"milk\"\n'"),
            (Kind::Day, json!("2026-06-30"), "2026-06-30"),
            (Kind::Instant, json!("2026-06-30 18:40:00.000120"), "2026-06-30T18:40:00.000120Z"),
            (Kind::Flag, json!(true), "true"),
        ] {
            assert_eq!(kind.write(&kept).as_deref(), Some(cell));
            assert_eq!(kind.read(cell), Ok(kept));
        }
        assert_eq!(Kind::Flag.write(&json!(0)).as_deref(), Some("false"));
        assert_eq!(
            Kind::Instant.write(&json!("2026-06-30T18:40:00")).as_deref(),
            Some("2026-06-30T18:40:00Z")
        );
    }

    #[test]
    fn what_cannot_be_meant_is_refused() {
        for (kind, cell) in [
            (Kind::Id, "12"),
            (Kind::Number(3), "1,5"),
            (Kind::Number(3), "1.0001"),
            (Kind::Number(3), "1.50"),
            (Kind::Number(0), "½"),
            (Kind::Number(0), "+3"),
            (Kind::Number(0), "100000000000000001"),
            (Kind::Day, "30 June 2026"),
            (Kind::Day, "0001-01-01"),
            (Kind::Instant, "2026-06-30 18:40:00"),
            (Kind::Flag, "yes"),
            (Kind::Text, "a\0b"),
            (Kind::Word(|word| word == "tasted"), "drunk"),
        ] {
            assert!(kind.read(cell).is_err(), "{kind:?} {cell}");
        }
    }

    #[test]
    fn another_version_is_named() {
        let words = Manifest::read(br#"{"format": 1, "other": []}"#).unwrap_err().to_string();
        assert!(words.contains("version 1") && words.contains("reads version 2"), "{words}");
        assert!(Manifest::read(b"{").unwrap_err().to_string().contains(MANIFEST));
    }
}
