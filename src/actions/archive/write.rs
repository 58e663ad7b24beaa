//! Writing an archive: in one snapshot, a page of rows at a time, to wherever it goes.

use std::fmt::Write as _;
use std::io::{self, Write};

use chrono::{Datelike, Timelike};
use csv::{Terminator, WriterBuilder};
use sha2::{Digest, Sha256};
use zip::write::SimpleFileOptions;
use zip::{CompressionMethod, DateTime, ZipWriter};

use crate::actions::Done;
use crate::db::archive::{self as rows, FILES, File, LEFT_OUT, PAGE};
use crate::db::connection::read_now;
use crate::db::{AnyConn, Database, Failure};
use crate::domain::archive::{EXPLAINED, FORMAT, Listed, MANIFEST, Manifest, instant_cell};
use crate::units::days::Instant;
use crate::units::ids::ClubId;

/// Write the archive of a club to `out`, and give back what its manifest says. It blocks, and reads on a connection of
/// its own: one who takes long over it keeps nobody waiting.
pub fn write<W: Write>(db: &Database, club: ClubId, now: Instant, out: W) -> Done<(Manifest, W)> {
    let mut conn = db.connection()?;
    read_now(&mut conn, |conn| Ok(archive(conn, club, now, out)?))
}

fn archive<W: Write>(
    conn: &mut AnyConn,
    club: ClubId,
    now: Instant,
    out: W,
) -> Result<(Manifest, W), Failure> {
    let club_name =
        crate::db::members::clubs(conn)?.into_iter().find(|(id, _)| *id == club).ok_or(Failure::Gone)?.1;
    let options = SimpleFileOptions::default()
        .compression_method(CompressionMethod::Deflated)
        .last_modified_time(clock(now))
        .unix_permissions(0o600);
    let mut zip = ZipWriter::new_stream(out);
    zip.start_file(EXPLAINED, options).map_err(broke)?;
    zip.write_all(explained(&club_name, now).as_bytes()).map_err(broke)?;
    let mut files = Vec::with_capacity(FILES.len());
    for file in FILES {
        zip.start_file(file.name, options).map_err(broke)?;
        files.push(write_file(conn, club, file, &mut zip)?);
    }
    let program = concat!("undercroft ", env!("CARGO_PKG_VERSION")).to_owned();
    let (club, made_at) = (club.to_string(), instant_cell(now));
    let manifest = Manifest { format: FORMAT, program, club, club_name, made_at, files };
    zip.start_file(MANIFEST, options).map_err(broke)?;
    serde_json::to_writer_pretty(&mut zip, &manifest).map_err(broke)?;
    zip.write_all(b"\n").map_err(broke)?;
    let out = zip.finish().map_err(broke)?.into_inner();
    Ok((manifest, out))
}

/// It could not be written: whoever takes it has gone away, or the disk is full.
fn broke(error: impl Into<io::Error>) -> Failure {
    Failure::Unavailable(format!("the archive could not be written: {}", error.into()))
}

/// The time in a form that ZIP knows: two seconds are one, and there is nothing before 1980.
fn clock(now: Instant) -> DateTime {
    let small = |number: u32| u8::try_from(number).unwrap_or_default();
    let year = u16::try_from(now.year()).unwrap_or_default();
    let (month, day) = (small(now.month()), small(now.day()));
    DateTime::from_date_and_time(
        year,
        month,
        day,
        small(now.hour()),
        small(now.minute()),
        small(now.second()),
    )
    .unwrap_or_default()
}

fn write_file(conn: &mut AnyConn, club: ClubId, file: &File, out: impl Write) -> Result<Listed, Failure> {
    let mut csv = WriterBuilder::new().terminator(Terminator::CRLF).from_writer(Counted::new(out));
    csv.write_record(file.columns.iter().map(|column| column.name)).map_err(broke)?;
    let (mut rows, mut after) = (0, None);
    loop {
        let page = rows::rows(conn, club, file, after.as_deref())?;
        for (row, _) in &page {
            for (column, kept) in file.columns.iter().zip(row) {
                let cell = column.kind.write(kept).ok_or_else(|| {
                    Failure::Fault(format!("{}.{} holds {kept}", file.table, column.column))
                })?;
                csv.write_field(cell).map_err(broke)?;
            }
            csv.write_record(None::<&[u8]>).map_err(broke)?;
            rows += 1;
        }
        let full = page.len() == PAGE && !file.keys.is_empty();
        after = page.into_iter().next_back().map(|(_, keys)| keys);
        if !full {
            break;
        }
    }
    let counted = csv.into_inner().map_err(|error| broke(error.into_error()))?;
    Ok(Listed {
        name: file.name.to_owned(),
        rows,
        bytes: counted.bytes,
        sha256: hex(&counted.hash.finalize()),
    })
}

/// Counts and hashes what goes through it.
struct Counted<W> {
    out: W,
    bytes: u64,
    hash: Sha256,
}

impl<W> Counted<W> {
    fn new(out: W) -> Self {
        Self { out, bytes: 0, hash: Sha256::new() }
    }
}

impl<W: Write> Write for Counted<W> {
    fn write(&mut self, bytes: &[u8]) -> io::Result<usize> {
        let taken = self.out.write(bytes)?;
        self.hash.update(&bytes[..taken]);
        self.bytes += taken as u64;
        Ok(taken)
    }

    fn flush(&mut self) -> io::Result<()> {
        self.out.flush()
    }
}

/// In hexadecimal.
pub(super) fn hex(bytes: &[u8]) -> String {
    bytes.iter().fold(String::with_capacity(64), |mut text, byte| {
        // Writing to a String does not fail.
        let _ = write!(text, "{byte:02x}");
        text
    })
}

/// What each file and column is, for people; lines of the table are the same as those of the program.
fn explained(club: &str, now: Instant) -> String {
    let mut text = format!(
        "All that {club} owns, as of {}.\r\n\r\n\
         Each file is CSV (RFC 4180) in UTF-8 with a header. Ids are the same as in addresses and in the API. Amounts \
         and costs are exact decimal numbers with a point; costs are in the currency of the club. Instants are in UTC, \
         days are those of the club. An empty cell is none. A text that a spreadsheet could run begins with an \
         apostrophe that is not part of it; so does a text that begins with an apostrophe.\r\n\r\n\
         {MANIFEST} lists the rows and the SHA-256 of every file. `undercroft club import FILE` brings the club into \
         another database, SQLite or PostgreSQL.\r\n\r\n\
         Passwords are not here: after an import each member’s is set by `undercroft member password`. Nor are:\r\n",
        instant_cell(now)
    );
    for (table, why) in LEFT_OUT {
        let _ = write!(text, "- {}: {why}\r\n", table.replace('_', "-"));
    }
    for file in FILES {
        let _ = write!(text, "\r\n{}\r\n{}\r\n", file.name, file.says);
        for column in file.columns {
            let optional = if column.optional { ", may be empty" } else { "" };
            let says = if column.says.is_empty() { String::new() } else { format!(": {}", column.says) };
            let _ = write!(text, "  {} ({}{optional}){says}\r\n", column.name, column.kind.words());
        }
    }
    text
}
