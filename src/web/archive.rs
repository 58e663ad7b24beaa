//! All that the club owns as one file: a page that says what is in it, and the file, sent as it is written.

use std::io::{self, BufWriter, Write};
use std::time::Duration;

use actix_web::HttpResponse;
use askama::Template;
use tokio::runtime::Handle;
use tokio::sync::{Semaphore, mpsc};

use super::frame::Frame;
use super::problem::Problem;
use super::respond::{self, Reply};
use super::site::{Room, Site};
use super::spreadsheet::{self, Parts};
use super::words::capital;
use crate::actions::archive::write;
use crate::db::Failure;
use crate::db::archive::{FILES, LEFT_OUT};
use crate::domain::members::Steward;
use crate::units::days;
use crate::units::text::folded;

/// Bytes that are sent at once.
const PART: usize = 1 << 16;
/// How long one who takes a file may leave a part of it waiting.
const PATIENCE: Duration = Duration::from_mins(1);
/// How many are written at once: each holds a connection and a snapshot of the database while it is sent.
static TURNS: Semaphore = Semaphore::const_new(2);

#[derive(Template)]
#[template(path = "members/archive.html")]
struct ArchivePage {
    frame: Frame,
    files: Vec<(String, String)>,
    left_out: Vec<(String, String)>,
}

/// What is in the archive, and what is not.
pub async fn show(who: Steward, site: Site) -> Reply {
    let (facts, ()) = site.read(&who, |_, _| Ok(())).await?;
    let named = |table: &str, says: &str| (capital(&table.replace('_', " ")), capital(says));
    respond::page(&ArchivePage {
        frame: site.frame(&who, Room::Club, "All that the club owns", facts),
        files: FILES.iter().map(|file| named(file.table, file.says)).collect(),
        left_out: LEFT_OUT.iter().map(|(table, why)| named(table, why)).collect(),
    })
}

/// The archive. What goes wrong before anything is sent is said; later the connection ends before the file does.
pub async fn file(who: Steward, site: Site) -> Reply {
    let turn = TURNS.try_acquire().map_err(|_| Problem::from(Failure::Busy))?;
    spreadsheet::leaving(&site, &who, "exported everything that the club owns").await?;
    let (to, parts) = mpsc::channel(1);
    let (db, club, now) = (site.db.clone(), who.club, who.now);
    tokio::task::spawn_blocking(move || {
        let out = Sending { to: to.clone(), runtime: Handle::current() };
        let written = write(&db, club, now, BufWriter::with_capacity(PART, out)).map_err(Problem::from);
        let sent =
            written.and_then(|(_, mut out)| out.flush().map_err(|error| Problem::fault(&error.to_string())));
        drop(turn);
        if let Err(problem) = sent {
            // It waits for what was sent before; whoever has gone away is not told.
            let _ = to.blocking_send(Err(problem));
        }
    });
    let name: String = folded(&who.club_name)
        .split(|letter: char| !letter.is_ascii_alphanumeric())
        .filter(|word| !word.is_empty())
        .collect::<Vec<_>>()
        .join("-");
    let name = format!("{name}-{}.zip", days::iso(who.today()));
    Ok(HttpResponse::Ok()
        .content_type("application/zip")
        .insert_header(("Content-Disposition", format!("attachment; filename=\"{name}\"")))
        .body(Parts::begun(parts).await?))
}

/// Sends what is written to it, a part at a time, and waits until the part before has been taken.
struct Sending {
    to: mpsc::Sender<Result<Vec<u8>, Problem>>,
    runtime: Handle,
}

impl Write for Sending {
    fn write(&mut self, bytes: &[u8]) -> io::Result<usize> {
        let sent = tokio::time::timeout(PATIENCE, self.to.send(Ok(bytes.to_vec())));
        match self.runtime.block_on(sent) {
            Ok(Ok(())) => Ok(bytes.len()),
            Ok(Err(_)) => Err(io::Error::new(io::ErrorKind::BrokenPipe, "nobody takes it any more")),
            Err(_) => Err(io::Error::new(io::ErrorKind::TimedOut, "it was not taken for a minute")),
        }
    }

    fn flush(&mut self) -> io::Result<()> {
        Ok(())
    }
}
