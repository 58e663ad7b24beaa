//! Files for spreadsheets: CSV (RFC 4180) in UTF-8 with a header row.
//!
//! What people typed is never run: a cell that a spreadsheet would take for a formula gets an apostrophe
//! before it. Numbers and days that we wrote stay as they are.

use actix_web::HttpResponse;

use super::problem::Problem;
use super::respond;
use super::site::Site;
use crate::actions::members::note;
use crate::domain::members::Doer;

/// One cell.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Cell {
    /// What somebody typed.
    Typed(String),
    /// A number, a day, a code or a unit that we wrote.
    Ours(String),
}

impl Cell {
    /// What somebody typed.
    pub fn typed(text: impl Into<String>) -> Self {
        Self::Typed(text.into())
    }

    /// What we wrote ourselves; empty for none.
    pub fn ours(text: impl Into<String>) -> Self {
        Self::Ours(text.into())
    }

    fn written(self) -> String {
        match self {
            Self::Typed(text) if text.starts_with(['=', '+', '-', '@', '\t', '\r']) => format!("'{text}"),
            Self::Typed(text) | Self::Ours(text) => text,
        }
    }
}

/// What leaves the house: the audit log says so before anything is sent, so every file begins with it.
pub(super) struct Leaving(());

/// Write into the audit log that somebody takes something away: "exported the stock list".
pub(super) async fn leaving(site: &Site, by: &Doer, what: &str) -> Result<Leaving, Problem> {
    note(&site.db, by, what).await?;
    Ok(Leaving(()))
}

/// A file under a plain name, such as `stock.csv`.
pub(super) fn csv(
    leaving: &Leaving,
    name: &str,
    header: &[&str],
    rows: impl IntoIterator<Item = Vec<Cell>>,
) -> Result<HttpResponse, Problem> {
    Ok(respond::file("text/csv; charset=utf-8", name, part(leaving, Some(header), rows)?))
}

/// A part of a file that is sent part by part; the first has the header.
pub(super) fn part(
    _: &Leaving,
    header: Option<&[&str]>,
    rows: impl IntoIterator<Item = Vec<Cell>>,
) -> Result<Vec<u8>, Problem> {
    written(header, rows).map_err(|error| Problem::fault(&error.to_string()))
}

fn written(
    header: Option<&[&str]>,
    rows: impl IntoIterator<Item = Vec<Cell>>,
) -> Result<Vec<u8>, csv::Error> {
    let mut writer = csv::WriterBuilder::new().terminator(csv::Terminator::CRLF).from_writer(Vec::new());
    if let Some(header) = header {
        writer.write_record(header)?;
    }
    for row in rows {
        writer.write_record(row.into_iter().map(Cell::written))?;
    }
    writer.into_inner().map_err(|error| error.into_error().into())
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_was_typed_is_never_run_and_our_numbers_stay_numbers() {
        let row =
            vec![Cell::typed("=1+1"), Cell::typed("Milk, \"whole\""), Cell::ours("-3.5"), Cell::typed("-")];
        let body = written(Some(&["what", "name", "cost", "mark"]), [row]).unwrap();
        let text = String::from_utf8(body).unwrap();
        assert_eq!(text, "what,name,cost,mark\r\n'=1+1,\"Milk, \"\"whole\"\"\",-3.5,'-\r\n");
    }
}
