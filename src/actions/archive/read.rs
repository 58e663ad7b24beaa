//! Reading an archive of unknown origin. Names in it only choose among the files that are known, and are never used as
//! paths; sizes are counted while it is unpacked, whatever it says of itself; and each row is checked by what its
//! column may hold and by what it names in the same archive, so that it can touch nothing that was there before.

use std::cell::Cell;
use std::collections::HashMap;
use std::fs;
use std::io::{self, BufReader, Read};
use std::path::Path;
use std::rc::Rc;

use csv::{ReaderBuilder, StringRecord};
use serde_json::Value;
use sha2::{Digest, Sha256};
use zip::ZipArchive;

use super::write::hex;
use crate::actions::Done;
use crate::db::archive::{self as rows, FILES, File, PAGE, Row, Scope};
use crate::db::connection::look_over_grown;
use crate::db::members::{self, audit};
use crate::db::{AnyConn, Failure, batches};
use crate::domain::archive::{
    EXPLAINED, Kind, Listed, MANIFEST, MOST_MANIFEST, MOST_PACKED, MOST_ROW, MOST_UNPACKED, Manifest,
    refused, refused_row,
};
use crate::domain::refusal::Refusal;
use crate::units::days::Instant;
use crate::units::ids::ClubId;

/// What came in.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Imported {
    /// The club.
    pub club: ClubId,
    /// Its name.
    pub club_name: String,
    /// Rows of all files.
    pub rows: u64,
    /// Persons who were here before and keep their password.
    pub known_persons: u64,
}

struct Archive {
    zip: ZipArchive<BufReader<fs::File>>,
    manifest: Manifest,
}

/// Whether an archive is whole: the files that there must be, of the size and content that the manifest says.
pub(super) fn check(path: &Path) -> Done<()> {
    let mut archive = Archive::open(path)?;
    let mut left = MOST_UNPACKED;
    for listed in archive.manifest.files.clone() {
        let (bytes, sha256) = archive.measure(&listed.name, left)?;
        left = left.saturating_sub(bytes);
        if bytes != listed.bytes || sha256 != listed.sha256 {
            let words =
                format!("{}: its checksum is not that of {MANIFEST}; it was damaged or changed", listed.name);
            return Err(refused(&words).into());
        }
    }
    Ok(())
}

impl Archive {
    fn open(path: &Path) -> Result<Self, Refusal> {
        let cannot = |error: &dyn std::fmt::Display| refused(&format!("{}: {error}", path.display()));
        let file = fs::File::open(path).map_err(|error| cannot(&error))?;
        if file.metadata().map_err(|error| cannot(&error))?.len() > MOST_PACKED {
            return Err(cannot(&format!("this is larger than {} MiB", MOST_PACKED >> 20)));
        }
        let zip =
            ZipArchive::new(BufReader::new(file)).map_err(|error| cannot(&format!("no archive: {error}")))?;
        let must = FILES.iter().map(|file| file.name).chain([MANIFEST]);
        for name in zip.file_names() {
            let name = name.map_err(|error| cannot(&error))?;
            if name != EXPLAINED && !must.clone().any(|known| known == name) {
                let shown: String = name.chars().filter(|letter| !letter.is_control()).take(60).collect();
                return Err(refused(&format!("“{shown}” is no file of an archive of this program")));
            }
        }
        let manifest = Manifest {
            format: 0,
            program: String::new(),
            club: String::new(),
            club_name: String::new(),
            made_at: String::new(),
            files: Vec::new(),
        };
        let mut archive = Self { zip, manifest };
        let mut bytes = Vec::new();
        let read = archive.file(MANIFEST)?.take(MOST_MANIFEST).read_to_end(&mut bytes);
        read.map_err(|error| damaged(MANIFEST, &error))?;
        archive.manifest = Manifest::read(&bytes)?;
        archive.all_listed()?;
        Ok(archive)
    }

    fn all_listed(&mut self) -> Result<(), Refusal> {
        let listed: Vec<&str> = self.manifest.files.iter().map(|file| file.name.as_str()).collect();
        let wanted: Vec<&str> = FILES.iter().map(|file| file.name).collect();
        if let Some(missing) = wanted.iter().find(|name| !listed.contains(name)) {
            return Err(refused(&format!("{missing} is missing in {MANIFEST}")));
        }
        if listed != wanted {
            return Err(refused(&format!("{MANIFEST} does not list the files in their order, once each")));
        }
        for name in wanted {
            self.file(name)?;
        }
        Ok(())
    }

    fn file(&mut self, name: &str) -> Result<impl Read, Refusal> {
        self.zip.by_name(name).map_err(|error| match error {
            zip::result::ZipError::FileNotFound => refused(&format!("{name} is missing in the archive")),
            other => damaged(name, &other),
        })
    }

    /// The size and the SHA-256 of a file, which is unpacked up to `most` bytes.
    fn measure(&mut self, name: &str, most: u64) -> Result<(u64, String), Refusal> {
        let mut file = self.file(name)?.take(most.saturating_add(1));
        let (mut bytes, mut hash, mut part) = (0, Sha256::new(), vec![0; 1 << 16]);
        loop {
            let read = file.read(&mut part).map_err(|error| damaged(name, &error))?;
            if read == 0 {
                return Ok((bytes, hex(&hash.finalize())));
            }
            bytes += read as u64;
            if bytes > most {
                return Err(refused(&format!(
                    "{name}: the archive is larger than {} GiB unpacked",
                    MOST_UNPACKED >> 30
                )));
            }
            hash.update(&part[..read]);
        }
    }
}

fn damaged(name: &str, error: &dyn std::fmt::Display) -> Refusal {
    refused(&format!("{name} is damaged: {error}"))
}

/// Bring the club of the archive in, on the connection of an open transaction.
pub(super) fn bring_in(conn: &mut AnyConn, path: &Path, now: Instant) -> Done<Imported> {
    let mut archive = Archive::open(path)?;
    let mut coming = Coming::default();
    for (file, listed) in FILES.iter().zip(archive.manifest.files.clone()) {
        coming.bring(conn, file, &listed, archive.file(file.name)?)?;
    }
    coming.nothing_is_missing()?;
    let Some(club) = coming.club else { return Err(refused("clubs.csv has no club").into()) };
    batches::pack_all(conn, club)?;
    look_over_grown(conn)?;
    if let Some(off) = rows::off(conn, club)?.first() {
        return Err(coming.refuse_off(off).into());
    }
    let what = format!("came in from an archive of {}", archive.manifest.made_at);
    audit::add(conn, Some(club), None, now, &what, "")?;
    Ok(Imported {
        club,
        club_name: coming.club_name,
        rows: archive.manifest.rows(),
        known_persons: coming.known_persons,
    })
}

/// Where an id of the archive stands in it, and which it is in the database.
#[derive(Clone, Copy)]
struct Place {
    line: u64,
    kept: i64,
}

/// A row that names one of a file that comes later.
struct Waiting {
    file: &'static str,
    line: u64,
    column: &'static str,
    names: (&'static str, i64),
}

/// What has come in so far.
#[derive(Default)]
struct Coming {
    club: Option<ClubId>,
    club_name: String,
    known_persons: u64,
    ids: HashMap<&'static str, HashMap<i64, Place>>,
    waiting: Vec<Waiting>,
}

impl Coming {
    fn bring(
        &mut self,
        conn: &mut AnyConn,
        file: &'static File,
        listed: &Listed,
        from: impl Read,
    ) -> Done<()> {
        let left = Rc::new(Cell::new(MOST_ROW));
        let from = Bounded { from, left: Rc::clone(&left) };
        let mut csv = ReaderBuilder::new().has_headers(false).flexible(true).from_reader(from);
        let mut record = StringRecord::new();
        let wanted: Vec<&str> = file.columns.iter().map(|column| column.name).collect();
        let (mut count, mut below, mut page) = (0, 1, Vec::with_capacity(PAGE));
        self.ids.entry(file.name).or_default();
        loop {
            left.set(MOST_ROW);
            let line = below;
            let more = csv.read_record(&mut record);
            if !more.map_err(|error| refused_row(file.name, line, None, &error.to_string()))? {
                break;
            }
            below += 1 + record.iter().map(|cell| cell.matches('\n').count() as u64).sum::<u64>();
            if count == 0 && wanted.iter().ne(record.iter().collect::<Vec<_>>().iter()) {
                return Err(refused_row(
                    file.name,
                    line,
                    None,
                    &format!("the header must be {}", wanted.join(",")),
                )
                .into());
            }
            count += 1;
            if count == 1 {
                continue;
            }
            if let Some(row) = self.row(conn, file, line, &record)? {
                page.push((line, row));
            }
            if page.len() == PAGE {
                self.put(conn, file, &page)?;
                page.clear();
            }
        }
        self.put(conn, file, &page)?;
        if count != listed.rows + 1 {
            let words =
                format!("{} has {} rows, but {MANIFEST} says {}", file.name, count.max(1) - 1, listed.rows);
            return Err(refused(&words).into());
        }
        Ok(())
    }

    /// A row as it is to be written; none for a person who is here already.
    fn row(
        &mut self,
        conn: &mut AnyConn,
        file: &'static File,
        line: u64,
        cells: &StringRecord,
    ) -> Done<Option<Row>> {
        if cells.len() != file.columns.len() {
            let words = format!("{} cells where there must be {}", cells.len(), file.columns.len());
            return Err(refused_row(file.name, line, None, &words).into());
        }
        let mut row = Row::with_capacity(file.columns.len() + file.derived.len());
        for (column, cell) in file.columns.iter().zip(cells) {
            let wrong = |why: &str| refused_row(file.name, line, Some(column.name), why);
            let text = matches!(column.kind, Kind::Text) || column.column == "serving";
            let value = match (cell.is_empty(), column.optional) {
                (true, true) => Value::Null,
                (true, false) if text => Value::from(""),
                (true, false) => return Err(wrong("this may not be empty").into()),
                (false, _) => column.kind.read(cell).map_err(|why| wrong(&why))?,
            };
            row.push(match (column.kind, value.as_i64()) {
                (Kind::Of(other), Some(id)) => {
                    self.named(file, line, column.name, other, id).map_err(|why| wrong(&why))?
                }
                _ => value,
            });
        }
        for (_, derive) in file.derived {
            let value = derive.value(file, &row).map_err(|why| refused_row(file.name, line, None, &why))?;
            row.push(value.into());
        }
        let known = match file.scope {
            Scope::Itself => {
                self.found(conn, file, line, &row)?;
                None
            }
            Scope::Persons => {
                let email = file.value(&row, "email").and_then(Value::as_str).unwrap_or_default();
                let plausible = crate::domain::members::email(email).is_ok_and(|read| read == email);
                if !plausible {
                    return Err(
                        refused_row(file.name, line, Some("email"), "this is no e-mail address").into()
                    );
                }
                members::person_by_email(conn, email)?.map(|person| person.id.0)
            }
            Scope::Club => None,
        };
        if let Some(id) = file.id_at().and_then(|at| row[at].as_i64()) {
            let place = Place { line, kept: known.unwrap_or(id) };
            if self.ids.entry(file.name).or_default().insert(id, place).is_some() {
                return Err(refused_row(file.name, line, Some("id"), "this id is in the file twice").into());
            }
        }
        self.known_persons += u64::from(known.is_some());
        Ok(known.is_none().then_some(row))
    }

    /// What a row names must be in the same archive: above it, or further down where its file comes later.
    fn named(
        &mut self,
        file: &'static File,
        line: u64,
        column: &'static str,
        other: &'static str,
        id: i64,
    ) -> Result<Value, String> {
        let Some(known) = self.ids.get(other) else {
            self.waiting.push(Waiting { file: file.name, line, column, names: (other, id) });
            return Ok(id.into());
        };
        let place =
            known.get(&id).ok_or_else(|| format!("there is no such row in {other} before this one"))?;
        Ok(place.kept.into())
    }

    fn found(&mut self, conn: &mut AnyConn, file: &File, line: u64, row: &[Value]) -> Done<()> {
        let id = ClubId(file.value(row, "id").and_then(Value::as_i64).unwrap_or_default());
        if self.club.replace(id).is_some() {
            return Err(refused_row(file.name, line, None, "there is more than one club").into());
        }
        let name = file.value(row, "name").and_then(Value::as_str).unwrap_or_default();
        name.clone_into(&mut self.club_name);
        if members::clubs(conn)?.iter().any(|(known, _)| *known == id) {
            let words = format!("{name} is in this database already, with this id");
            return Err(refused_row(file.name, line, Some("id"), &words).into());
        }
        Ok(())
    }

    /// Write a page of rows. Where the database refuses it, the first row that it refuses by itself is named.
    fn put(&self, conn: &mut AnyConn, file: &File, page: &[(u64, Row)]) -> Done<()> {
        if page.is_empty() {
            return Ok(());
        }
        let Some(club) = self.club else { return Err(refused("clubs.csv has no club").into()) };
        let all: Vec<Row> = page.iter().map(|(_, row)| row.clone()).collect();
        let refused_all = match rows::insert(conn, club, file, &all) {
            Err(failure @ (Failure::Taken | Failure::Refused(_))) => failure,
            done => return Ok(done?),
        };
        for (line, row) in page {
            let why = match rows::insert(conn, club, file, std::slice::from_ref(row)) {
                Ok(()) => continue,
                Err(Failure::Taken) => {
                    "its id, code or name is there already, in the database or further up".to_owned()
                }
                Err(failure @ Failure::Refused(_)) => failure.to_string(),
                Err(failure) => return Err(failure.into()),
            };
            return Err(refused_row(file.name, *line, None, &why).into());
        }
        Err(refused_all.into())
    }

    fn nothing_is_missing(&self) -> Result<(), Refusal> {
        let known = |(file, id): (&str, i64)| self.ids.get(file).is_some_and(|ids| ids.contains_key(&id));
        match self.waiting.iter().find(|waiting| !known(waiting.names)) {
            None => Ok(()),
            Some(Waiting { file, line, column, names }) => {
                Err(refused_row(file, *line, Some(column), &format!("there is no such row in {}", names.0)))
            }
        }
    }

    fn refuse_off(&self, off: &rows::Off) -> Refusal {
        let file = FILES.iter().find(|file| file.table == off.table);
        let row = file.and_then(|file| Some((file.name, self.ids.get(file.name)?.get(&off.id)?.line)));
        match row {
            Some((file, line)) => refused_row(file, line, None, &format!("{} ({})", off.meaning, off.what)),
            None => refused(&format!(
                "the books of this database do not hold as they are ({off}): see to that first"
            )),
        }
    }
}

/// Gives no more than a row may have, until it is told that the next one begins.
struct Bounded<R> {
    from: R,
    left: Rc<Cell<u64>>,
}

impl<R: Read> Read for Bounded<R> {
    fn read(&mut self, into: &mut [u8]) -> io::Result<usize> {
        if self.left.get() == 0 {
            return Err(io::Error::other(format!("a row of more than {MOST_ROW} bytes")));
        }
        let read = self.from.read(into)?;
        self.left.set(self.left.get().saturating_sub(read as u64));
        Ok(read)
    }
}
