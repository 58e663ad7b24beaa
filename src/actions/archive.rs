//! All that a club owns as one archive of CSV files, and a club brought in from one, which only who runs the program
//! does. What writes an archive and what reads it is beside this, a file each.

mod read;
mod write;

use std::fs::{self, OpenOptions};
use std::io::{BufWriter, Write};
use std::path::{Path, PathBuf};

pub use read::Imported;
pub use write::write;

use super::{Done, Error};
use crate::db::members::{self as rows, audit};
use crate::db::{Database, Failure};
use crate::domain::archive::Manifest;
use crate::domain::refusal::{Refusal, Why};
use crate::units::days::Instant;
use crate::units::ids::ClubId;

/// Write the archive of a club, given by name or id, into a file that must not exist. The audit log says so first.
pub async fn export(db: &Database, club: &str, file: &Path, now: Instant) -> Done<Manifest> {
    let name = club.trim().to_owned();
    let club = db
        .write(move |conn| {
            let clubs = rows::clubs(conn)?;
            let mut found = clubs.iter().filter(|(id, known)| *known == name || id.to_string() == name);
            let Some((club, _)) = found.next() else {
                return Err(
                    Refusal::new(Why::Missing, "club", format!("There is no club “{name}” here")).into()
                );
            };
            if found.next().is_some() {
                let words = format!("There are several clubs “{name}” here; give the id of one");
                return Err(Refusal::conflict("club", words).into());
            }
            audit::add(conn, Some(*club), None, now, "everything was exported on the command line", "")?;
            Done::Ok(*club)
        })
        .await?;
    let (db, file) = (db.clone(), file.to_owned());
    apart(move || into_file(&db, club, &file, now)).await
}

fn into_file(db: &Database, club: ClubId, file: &Path, now: Instant) -> Done<Manifest> {
    let failed = |error: std::io::Error| Refusal::unfit("file", format!("{}: {error}", file.display()));
    let mut options = OpenOptions::new();
    options.write(true).create_new(true);
    #[cfg(unix)]
    std::os::unix::fs::OpenOptionsExt::mode(&mut options, 0o600);
    let open = options.open(file).map_err(failed)?;
    let written = write(db, club, now, BufWriter::new(open)).and_then(|(manifest, mut out)| {
        out.flush().and_then(|()| out.get_ref().sync_all()).map_err(failed)?;
        Ok(manifest)
    });
    if written.is_err() {
        // What is there is half an archive that nobody wants; that it cannot be removed is said by what comes next.
        let _ = fs::remove_file(file);
    }
    written
}

/// Bring the club of an archive in: all of it or nothing, in one transaction, and only if the books hold.
pub async fn import(db: &Database, file: PathBuf, now: Instant) -> Done<Imported> {
    let known = file.clone();
    apart(move || read::check(&known)).await?;
    db.write(move |conn| read::bring_in(conn, &file, now)).await
}

/// Long work off the async threads.
async fn apart<T: Send + 'static>(work: impl FnOnce() -> Done<T> + Send + 'static) -> Done<T> {
    let done = tokio::task::spawn_blocking(work).await;
    done.unwrap_or_else(|error| Err(Error::Failed(Failure::Fault(error.to_string()))))
}
