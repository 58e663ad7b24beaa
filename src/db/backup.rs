//! A whole SQLite database as one file: written while the server goes on, and put back while it stands
//! still.
//!
//! What is written or put back gets its name only when it is complete and on the disk. A PostgreSQL
//! database is backed up by the tools that come with it.

use std::fmt;
use std::fs::{self, File, OpenOptions};
use std::io::{self, Read};
use std::path::{Path, PathBuf};
use std::sync::mpsc::{RecvTimeoutError, channel};
use std::thread;
use std::time::Duration;

use diesel::connection::SimpleConnection;
use diesel::prelude::*;
use diesel::sql_types::{BigInt, Text};

use super::connection::{Address, open_sqlite};
use super::failure::Failure;
use super::migrations;

/// Why there is no backup, or nothing was put back; the words say what to do.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Trouble(String);

impl fmt::Display for Trouble {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(&self.0)
    }
}

impl std::error::Error for Trouble {}

impl From<Failure> for Trouble {
    fn from(failure: Failure) -> Self {
        Self(failure.to_string())
    }
}

impl From<diesel::result::Error> for Trouble {
    fn from(error: diesel::result::Error) -> Self {
        Failure::from(error).into()
    }
}

fn at(path: &Path) -> impl Fn(io::Error) -> Trouble {
    move |error| Trouble(format!("{}: {error}", path.display()))
}

/// How far it is: bytes written, and how many they will be.
pub type Progress<'a> = dyn FnMut(u64, u64) + 'a;

/// Write the database as it is now into `file`, which must not exist. Gives its size in bytes.
pub fn backup(address: &Address, file: &Path, progress: &mut Progress) -> Result<u64, Trouble> {
    let Address::Sqlite(database) = address else {
        return Err(Trouble(
            "A PostgreSQL database is backed up with its own tool: pg_dump --format=custom".into(),
        ));
    };
    must_exist(database)?;
    must_not_exist(file, "a backup never overwrites a file")?;
    let part = with_ending(file, ".part");
    discard(&part)?;
    private(&part)?;
    let made = copy_into(database, &part, progress)
        .and_then(|()| must_not_exist(file, "a backup never overwrites a file"))
        .and_then(|()| fs::rename(&part, file).map_err(at(file)))
        .and_then(|()| sync(file));
    if made.is_err() {
        discard(&part)?;
    }
    made?;
    Ok(size(file))
}

fn copy_into(database: &Path, part: &Path, progress: &mut Progress) -> Result<(), Trouble> {
    let mut conn = open_sqlite(database, false)?;
    let total =
        diesel::sql_query("SELECT page_count * page_size AS n FROM pragma_page_count, pragma_page_size")
            .get_result::<Count>(&mut conn)?
            .n;
    let quoted = part.to_string_lossy().replace('\'', "''");
    let copying = move || Ok(conn.batch_execute(&format!("VACUUM INTO '{quoted}'"))?);
    watched(part, u64::try_from(total).unwrap_or(0), progress, copying)?;
    check(part, part)
}

/// What was done.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Restored {
    /// Where the database that was there before is now.
    pub before: Option<PathBuf>,
    /// The size of the database in bytes.
    pub bytes: u64,
}

/// Put a backup in place of the database. The file is looked at first; a database that is there is moved
/// aside.
pub fn restore(address: &Address, file: &Path, progress: &mut Progress) -> Result<Restored, Trouble> {
    let Address::Sqlite(database) = address else {
        return Err(Trouble("A PostgreSQL database is restored with its own tool: pg_restore".into()));
    };
    let before = with_ending(database, ".before-restore");
    must_not_exist(&before, "move it elsewhere first: it is the database from before an earlier restore")?;
    has_the_mark(file)?;
    let part = with_ending(database, ".restoring");
    discard(&part)?;
    let moved = copy_and_check(file, &part, progress).and_then(|()| {
        let moved = move_aside(database, &before)?;
        fs::rename(&part, database).map_err(at(database))?;
        Ok(moved)
    });
    if moved.is_err() {
        discard(&part)?;
    }
    let before = moved?.then_some(before);
    sync(database)?;
    Ok(Restored { before, bytes: size(database) })
}

fn copy_and_check(file: &Path, part: &Path, progress: &mut Progress) -> Result<(), Trouble> {
    let (mut from, mut to) = (File::open(file).map_err(at(file))?, private(part)?);
    let named = part.to_owned();
    let copying = move || io::copy(&mut from, &mut to).map(drop).map_err(at(&named));
    watched(part, size(file), progress, copying)?;
    check(part, file)
}

/// Whether a file that nobody else uses is a sound database of this program, no newer than it; `of` is the
/// file that the words name.
fn check(file: &Path, of: &Path) -> Result<(), Trouble> {
    let damaged = |why: &str| Trouble(format!("{} is damaged ({why}): use another backup", of.display()));
    let mut conn = open_sqlite(file, false).map_err(|failure| damaged(&failure.to_string()))?;
    for table in ["clubs", "members", "entries", "postings", "accounts", "__diesel_schema_migrations"] {
        let there =
            diesel::sql_query("SELECT COUNT(*) AS n FROM sqlite_schema WHERE type = 'table' AND name = $1")
                .bind::<Text, _>(table)
                .get_result::<Count>(&mut conn)
                .map_err(|error| damaged(&error.to_string()))?;
        if there.n == 0 {
            return Err(foreign(of));
        }
    }
    if !migrations::ran_on(&mut conn)? {
        return Err(foreign(of));
    }
    let first: Word = diesel::sql_query("SELECT integrity_check AS word FROM pragma_integrity_check LIMIT 1")
        .get_result(&mut conn)
        .map_err(|error| damaged(&error.to_string()))?;
    if first.word != "ok" {
        return Err(damaged(first.word.lines().last().unwrap_or("its pages do not fit together")));
    }
    let astray = diesel::sql_query("SELECT COUNT(*) AS n FROM pragma_foreign_key_check")
        .get_result::<Count>(&mut conn)?;
    if astray.n > 0 {
        return Err(damaged("rows refer to rows that are not there"));
    }
    // The copy is one file again, without a log beside it.
    Ok(conn.batch_execute("PRAGMA journal_mode = DELETE")?)
}

/// Move a database that nobody uses out of the way, if there is one, and a log that is left beside it:
/// SQLite would take that for the log of the next database of this name.
fn move_aside(database: &Path, before: &Path) -> Result<bool, Trouble> {
    let there = database.exists();
    if there {
        match merge_log(database) {
            Ok(true) => {}
            Ok(false) => {
                return Err(Trouble(format!("{} is in use: stop the server first", database.display())));
            }
            // It is broken, which may be why it is replaced: it is kept as it is.
            Err(failure) => tracing::warn!(%failure, "the database that is moved aside cannot be opened"),
        }
    }
    for ending in ["-wal", "-shm", ""] {
        let (from, to) = (with_ending(database, ending), with_ending(before, ending));
        if from.exists() {
            fs::rename(&from, &to).map_err(at(&from))?;
        }
    }
    Ok(there)
}

/// Bring what is in the log into the file itself; not possible while another program has the database open.
fn merge_log(database: &Path) -> Result<bool, Failure> {
    let mut conn = open_sqlite(database, false)?;
    conn.batch_execute("PRAGMA busy_timeout = 500")?;
    let mode = diesel::sql_query("PRAGMA journal_mode = DELETE").get_result::<Mode>(&mut conn);
    match mode.map_err(Failure::from) {
        Ok(mode) => Ok(mode.journal_mode == "delete"),
        Err(Failure::Busy) => Ok(false),
        Err(other) => Err(other),
    }
}

/// Do `work` on a thread of its own, and say now and then how far the file it writes has grown.
fn watched(
    file: &Path,
    total: u64,
    progress: &mut Progress,
    work: impl FnOnce() -> Result<(), Trouble> + Send + 'static,
) -> Result<(), Trouble> {
    let (done, outcome) = channel();
    let worker = thread::spawn(move || {
        // Whoever waits is below, on this same call.
        let _ = done.send(work());
    });
    let result = loop {
        match outcome.recv_timeout(Duration::from_millis(500)) {
            Ok(result) => break result,
            Err(RecvTimeoutError::Timeout) => progress(size(file).min(total), total),
            Err(RecvTimeoutError::Disconnected) => break Err(Trouble("the copying broke off".into())),
        }
    };
    let _ = worker.join();
    result
}

#[derive(QueryableByName)]
struct Count {
    #[diesel(sql_type = BigInt)]
    n: i64,
}

#[derive(QueryableByName)]
struct Word {
    #[diesel(sql_type = Text)]
    word: String,
}

#[derive(QueryableByName)]
struct Mode {
    #[diesel(sql_type = Text)]
    journal_mode: String,
}

/// Every SQLite file begins with these bytes (SQLite file format, 1.3 "The Database Header").
const MARK: &[u8; 16] = b"SQLite format 3\0";

fn has_the_mark(file: &Path) -> Result<(), Trouble> {
    let mut begins = [0_u8; 16];
    match File::open(file).and_then(|mut open| open.read_exact(&mut begins)) {
        Ok(()) if begins == *MARK => Ok(()),
        Err(error) if error.kind() != io::ErrorKind::UnexpectedEof => Err(at(file)(error)),
        _ => Err(foreign(file)),
    }
}

fn foreign(file: &Path) -> Trouble {
    Trouble(format!("{} is not a database of Undercroft", file.display()))
}

fn must_exist(database: &Path) -> Result<(), Trouble> {
    if database.exists() {
        return Ok(());
    }
    Err(Trouble(format!("{}: there is no database here", database.display())))
}

fn must_not_exist(file: &Path, why: &str) -> Result<(), Trouble> {
    if file.symlink_metadata().is_ok() {
        return Err(Trouble(format!("{} is there already; {why}", file.display())));
    }
    Ok(())
}

/// Remove what an attempt that broke off has left.
fn discard(part: &Path) -> Result<(), Trouble> {
    for ending in ["", "-wal", "-shm", "-journal"] {
        let file = with_ending(part, ending);
        match fs::remove_file(&file) {
            Err(error) if error.kind() != io::ErrorKind::NotFound => return Err(at(&file)(error)),
            _ => {}
        }
    }
    Ok(())
}

/// An empty file that only its owner can read.
fn private(file: &Path) -> Result<File, Trouble> {
    let mut options = OpenOptions::new();
    options.write(true).create_new(true);
    #[cfg(unix)]
    std::os::unix::fs::OpenOptionsExt::mode(&mut options, 0o600);
    options.open(file).map_err(at(file))
}

/// To the disk, with its name.
fn sync(file: &Path) -> Result<(), Trouble> {
    OpenOptions::new()
        .read(true)
        .write(true)
        .open(file)
        .and_then(|open| open.sync_all())
        .map_err(at(file))?;
    #[cfg(unix)]
    {
        let folder = file.parent().filter(|folder| !folder.as_os_str().is_empty()).unwrap_or(Path::new("."));
        File::open(folder).and_then(|open| open.sync_all()).map_err(at(folder))?;
    }
    Ok(())
}

fn size(file: &Path) -> u64 {
    file.metadata().map_or(0, |about| about.len())
}

fn with_ending(file: &Path, ending: &str) -> PathBuf {
    let mut name = file.as_os_str().to_owned();
    name.push(ending);
    name.into()
}

#[cfg(test)]
mod tests;
