//! Files for spreadsheets: CSV (RFC 4180) in UTF-8 with a header row.
//!
//! What people typed is never run: a cell that a spreadsheet would take for a formula gets an apostrophe
//! before it. Numbers and days that we wrote stay as they are.

use std::future::Future;
use std::pin::Pin;
use std::task::{Context, Poll};

use actix_web::HttpResponse;
use actix_web::body::{BodySize, MessageBody};
use actix_web::web::Bytes;
use tokio::sync::mpsc;

use super::problem::Problem;
use super::respond::{self, Reply};
use super::site::Site;
use crate::actions::members::note;
use crate::domain::members::Doer;
use crate::units::text::RUN;

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
            Self::Typed(text) if text.starts_with(RUN) => format!("'{text}"),
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
    Ok(respond::file("text/csv; charset=utf-8", name, part_of(leaving, Some(header), rows)?))
}

/// A part of a file and, where there is more, after what the next one begins.
pub(super) type Part<K> = Result<(Vec<Vec<Cell>>, Option<K>), Problem>;

/// Send a file part by part. The first is read before anything is sent, so that what goes wrong at once is
/// said.
pub(super) async fn sent<K, F>(
    leaving: Leaving,
    name: String,
    header: impl AsRef<[&'static str]>,
    mut part: impl FnMut(Option<K>) -> F + 'static,
) -> Reply
where
    K: 'static,
    F: Future<Output = Part<K>> + 'static,
{
    let (rows, mut next) = part(None).await?;
    let first = part_of(&leaving, Some(header.as_ref()), rows)?;
    let (sender, parts) = mpsc::channel(1);
    actix_web::rt::spawn(async move {
        let mut sending = Ok(first);
        loop {
            let broke = sending.is_err();
            // A chunk of nothing would say that the file ends here.
            let empty = sending.as_ref().is_ok_and(Vec::is_empty);
            if !empty && sender.send(sending).await.is_err() || broke {
                return;
            }
            let Some(after) = next.take() else { return };
            sending = part(Some(after)).await.and_then(|(rows, more)| {
                next = more;
                part_of(&leaving, None, rows)
            });
        }
    });
    Ok(HttpResponse::Ok()
        .content_type("text/csv; charset=utf-8")
        .insert_header(("Content-Disposition", format!("attachment; filename=\"{name}\"")))
        .body(Parts::new(parts)))
}

/// The body of a file that is sent part by part. Where a part cannot be read, the connection ends before
/// the file does, so that half a file is never taken for a whole one.
pub(super) struct Parts {
    first: Option<Vec<u8>>,
    rest: mpsc::Receiver<Result<Vec<u8>, Problem>>,
}

impl Parts {
    fn new(rest: mpsc::Receiver<Result<Vec<u8>, Problem>>) -> Self {
        Self { first: None, rest }
    }

    /// Waits for the first part, so that what goes wrong at once is said instead.
    pub(super) async fn begun(mut rest: mpsc::Receiver<Result<Vec<u8>, Problem>>) -> Result<Self, Problem> {
        let first = rest.recv().await.transpose()?;
        Ok(Self { first, rest })
    }
}

impl MessageBody for Parts {
    type Error = Problem;

    fn size(&self) -> BodySize {
        BodySize::Stream
    }

    fn poll_next(self: Pin<&mut Self>, context: &mut Context<'_>) -> Poll<Option<Result<Bytes, Problem>>> {
        let parts = self.get_mut();
        if let Some(first) = parts.first.take() {
            return Poll::Ready(Some(Ok(first.into())));
        }
        let part = parts.rest.poll_recv(context);
        part.map(|part| part.map(|bytes| bytes.map(Bytes::from)))
    }
}

/// A part of a file that is sent part by part; the first has the header.
fn part_of(
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
        for first in RUN {
            assert_eq!(Cell::typed(format!("{first}A1")).written(), format!("'{first}A1"));
        }
    }
}
