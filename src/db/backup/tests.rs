//! What is backed up can be put back, and nothing else is put in its place.

use super::*;
use crate::db::connection::{AnyConn, Database};
use crate::db::members;
use crate::domain::members::{NewClub, NewPerson};

/// A folder that goes with the test.
struct Folder(PathBuf);

impl Folder {
    fn new(name: &str) -> Self {
        let path = std::env::temp_dir().join(format!("backup-{name}-{}", std::process::id()));
        fs::create_dir_all(&path).unwrap();
        Self(path)
    }

    fn file(&self, name: &str) -> PathBuf {
        self.0.join(name)
    }

    fn names(&self) -> Vec<String> {
        let entries = fs::read_dir(&self.0).unwrap();
        let mut names: Vec<_> =
            entries.map(|entry| entry.unwrap().file_name().into_string().unwrap()).collect();
        names.sort();
        names
    }
}

impl Drop for Folder {
    fn drop(&mut self) {
        let _ = fs::remove_dir_all(&self.0);
    }
}

fn open(file: &Path) -> Database {
    Database::open(&Address::Sqlite(file.to_owned())).unwrap()
}

/// Close a database and wait until its last connection is gone.
fn close(db: Database, file: &Path) {
    drop(db);
    let free = (0..100).any(|_| {
        thread::sleep(Duration::from_millis(20));
        merge_log(file) == Ok(true)
    });
    assert!(free, "{} is still in use", file.display());
}

fn add_club(db: &Database, name: &str) {
    let steward = NewPerson::read("Marit", "marit@tidemill.example", "wheel pit at low tide");
    let club = NewClub::read(name, "EUR", "Europe/Amsterdam", steward).unwrap();
    let now = "2026-06-23T12:00:00".parse().unwrap();
    members::add_club(&mut db.connection().unwrap(), &club, now).unwrap();
}

fn clubs(file: &Path) -> Vec<String> {
    let mut conn = AnyConn::Sqlite(open_sqlite(file, true).unwrap());
    members::clubs(&mut conn).unwrap().into_iter().map(|(_, name)| name).collect()
}

fn backup_quietly(from: &Path, to: &Path) -> Result<u64, Trouble> {
    backup(&Address::Sqlite(from.to_owned()), to, &mut |_, _| {})
}

fn restore_quietly(to: &Path, from: &Path) -> Result<Restored, Trouble> {
    restore(&Address::Sqlite(to.to_owned()), from, &mut |_, _| {})
}

#[test]
fn a_backup_of_an_open_database_comes_back_and_what_was_there_is_kept_aside() {
    let folder = Folder::new("back");
    let (live, copy) = (folder.file("cellar.db"), folder.file("monday.backup"));
    let db = open(&live);
    add_club(&db, "Tidemill");
    let bytes = backup_quietly(&live, &copy).unwrap();
    assert_eq!(bytes, fs::metadata(&copy).unwrap().len());
    add_club(&db, "Weir Street");

    assert!(restore_quietly(&live, &copy).unwrap_err().to_string().contains("stop the server first"));
    assert_eq!(clubs(&live), ["Tidemill", "Weir Street"], "nothing has changed");
    close(db, &live);

    let restored = restore_quietly(&live, &copy).unwrap();
    let aside = restored.before.unwrap();
    assert_eq!(folder.names(), ["cellar.db", "cellar.db.before-restore", "monday.backup"]);
    assert_eq!(clubs(&live), ["Tidemill"]);
    assert_eq!(clubs(&aside), ["Tidemill", "Weir Street"]);
    assert!(restore_quietly(&live, &copy).unwrap_err().to_string().contains("move it elsewhere first"));
    drop(open(&live));
}

#[test]
fn a_backup_never_overwrites_a_file() {
    let folder = Folder::new("over");
    let (live, copy) = (folder.file("cellar.db"), folder.file("monday.backup"));
    close(open(&live), &live);
    fs::write(&copy, "a letter").unwrap();
    assert!(backup_quietly(&live, &copy).unwrap_err().to_string().contains("is there already"));
    assert_eq!(fs::read(&copy).unwrap(), b"a letter");
    assert!(backup_quietly(&folder.file("none.db"), &folder.file("tuesday.backup")).is_err());
    assert_eq!(folder.names(), ["cellar.db", "monday.backup"]);
}

#[cfg(unix)]
#[test]
fn only_its_owner_can_read_a_backup() {
    use std::os::unix::fs::PermissionsExt;
    let folder = Folder::new("own");
    let (live, copy) = (folder.file("cellar.db"), folder.file("monday.backup"));
    close(open(&live), &live);
    backup_quietly(&live, &copy).unwrap();
    assert_eq!(fs::metadata(&copy).unwrap().permissions().mode() & 0o777, 0o600);
}

#[test]
fn a_foreign_a_damaged_and_a_newer_file_are_refused_and_the_database_stays() {
    let folder = Folder::new("bad");
    let (live, copy) = (folder.file("cellar.db"), folder.file("monday.backup"));
    let db = open(&live);
    for number in 0..200 {
        add_club(&db, &format!("Club {number}"));
    }
    backup_quietly(&live, &copy).unwrap();
    close(db, &live);

    let refused = |file: &Path| {
        let words = restore_quietly(&live, file).unwrap_err().to_string();
        assert_eq!(clubs(&live).len(), 200);
        assert!(
            !live.with_extension("db.restoring").exists()
                && !live.with_extension("db.before-restore").exists()
        );
        words
    };
    let letter = folder.file("letter.txt");
    fs::write(&letter, "Dear cellar").unwrap();
    assert!(refused(&letter).contains("not a database of Undercroft"));

    let foreign = folder.file("foreign.db");
    open_sqlite(&foreign, false).unwrap().batch_execute("CREATE TABLE clubs (id INTEGER)").unwrap();
    assert!(refused(&foreign).contains("not a database of Undercroft"));

    let whole = fs::read(&copy).unwrap();
    let short = folder.file("short.backup");
    fs::write(&short, &whole[..whole.len() / 2]).unwrap();
    assert!(refused(&short).contains("damaged"));

    let scratched = folder.file("scratched.backup");
    let mut bytes = whole.clone();
    let middle = bytes.len() / 2 / 4096 * 4096;
    bytes[middle..middle + 2048].fill(0xa5);
    fs::write(&scratched, bytes).unwrap();
    assert!(refused(&scratched).contains("damaged"));

    let newer = folder.file("newer.backup");
    fs::write(&newer, &whole).unwrap();
    let later = "INSERT INTO __diesel_schema_migrations (version) VALUES ('29990101000000')";
    open_sqlite(&newer, false).unwrap().batch_execute(later).unwrap();
    assert!(refused(&newer).contains("newer Undercroft"));
}

#[test]
fn a_log_that_was_left_behind_does_not_get_into_what_is_restored() {
    let folder = Folder::new("log");
    let (live, copy) = (folder.file("cellar.db"), folder.file("monday.backup"));
    let db = open(&live);
    add_club(&db, "Tidemill");
    backup_quietly(&live, &copy).unwrap();
    add_club(&db, "Weir Street");
    let log = fs::read(with_ending(&live, "-wal")).unwrap();
    close(db, &live);
    fs::remove_file(&live).unwrap();
    fs::write(with_ending(&live, "-wal"), log).unwrap();

    let restored = restore_quietly(&live, &copy).unwrap();
    assert_eq!(restored.before, None);
    assert_eq!(clubs(&live), ["Tidemill"]);
}
