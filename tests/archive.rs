//! The archive of a club: nothing that a club owns is forgotten, it comes back on the other database as it was, and what
//! was damaged or made up is refused (`archive/damages.rs`).

use std::collections::BTreeSet;
use std::io::{Cursor, Read, Write};
use std::path::PathBuf;

use undercroft::actions::archive::{Imported, export, import};
use undercroft::actions::members;
use undercroft::db::Database;
use undercroft::db::archive::{FILES, LEFT_OUT, Scope};
use undercroft::domain::members::{NewClub, NewPerson, Password};
use undercroft::jobs::demo;
use zip::write::SimpleFileOptions;
use zip::{ZipArchive, ZipWriter};

use crate::ground::cellar::Cellar;
use crate::ground::{Ground, findings, now, on_both};
use crate::http::Server;
use crate::http::scene::Scene;
use crate::schema::{declared, lines};

mod damages;

on_both!(
    a_club_comes_back_as_it_was,
    it_comes_in_beside_others_and_once,
    the_command_line_takes_a_club_out_and_in,
    a_steward_downloads_it_and_others_do_not
);

const CLUB: &str = "Tidemill Cellar Club";

/// The files of an archive, by name, in their order.
type Files = Vec<(String, Vec<u8>)>;

fn unpacked(bytes: Vec<u8>) -> Files {
    let mut zip = ZipArchive::new(Cursor::new(bytes)).expect("an archive");
    (0..zip.len())
        .map(|at| {
            let mut file = zip.by_index(at).expect("a file");
            let mut bytes = Vec::new();
            file.read_to_end(&mut bytes).expect("it is whole");
            (file.name().expect("a name").into_owned(), bytes)
        })
        .collect()
}

fn packed(files: &Files) -> Vec<u8> {
    let mut zip = ZipWriter::new(Cursor::new(Vec::new()));
    for (name, bytes) in files {
        zip.start_file(name, SimpleFileOptions::default()).expect("a file");
        zip.write_all(bytes).expect("it is written");
    }
    zip.finish().expect("an archive").into_inner()
}

/// The file where a test keeps an archive; it goes with it.
struct Kept(PathBuf);

impl Kept {
    fn new() -> Self {
        Self(std::env::temp_dir().join(format!("{}.zip", undercroft::units::ids::ClubId::fresh())))
    }

    fn holding(bytes: &[u8]) -> Self {
        let kept = Self::new();
        std::fs::write(&kept.0, bytes).expect("it is written");
        kept
    }

    async fn from(db: &Database, club: &str) -> Self {
        let kept = Self::new();
        export(db, club, &kept.0, now()).await.expect("it is exported");
        kept
    }

    fn files(&self) -> Files {
        unpacked(std::fs::read(&self.0).expect("it is there"))
    }

    async fn bring_in(&self, db: &Database) -> Result<Imported, String> {
        import(db, self.0.clone(), now()).await.map_err(|error| error.to_string())
    }
}

impl Drop for Kept {
    fn drop(&mut self) {
        let _ = std::fs::remove_file(&self.0);
    }
}

#[test]
fn every_table_and_column_is_exported_or_left_out_for_a_reason() {
    let mut known = BTreeSet::new();
    for file in FILES {
        let columns = file.columns.iter().map(|column| column.column);
        known.extend(
            columns.chain(file.derived.iter().map(|(column, _)| *column)).map(|column| (file.table, column)),
        );
        if file.scope == Scope::Club {
            known.insert((file.table, "club_id"));
        }
    }
    let declared = declared();
    let columns: BTreeSet<(&str, &str)> = declared
        .iter()
        .filter_map(|line| line.split_once(" -> ")?.0.split_once('.'))
        .filter(|(table, _)| LEFT_OUT.iter().all(|(left, _)| left != table))
        .collect();
    assert!(columns.len() > 150, "{columns:?}");
    assert_eq!(columns.difference(&known).collect::<Vec<_>>(), Vec::<&(&str, &str)>::new(), "forgotten");
    assert_eq!(known.difference(&columns).collect::<Vec<_>>(), Vec::<&(&str, &str)>::new(), "not there");
    for (table, why) in LEFT_OUT {
        assert!(
            declared.iter().any(|line| line.starts_with(&format!("{table}."))) && why.len() > 20,
            "{table}"
        );
    }
    for line in &declared {
        if let Some((column, kind)) = line.split_once(" -> ")
            && let Some((table, column)) = column.split_once('.')
            && let Some(column) = FILES
                .iter()
                .find(|file| file.table == table)
                .and_then(|file| file.columns.iter().find(|known| known.column == column))
        {
            assert_eq!(column.optional, kind.starts_with("Nullable"), "{line}");
        }
    }
}

/// What stands in the database and not in the archive, because it follows from the rest.
const DERIVED: &[&str] = &[
    "SELECT key || ' ' || CAST(id AS TEXT) AS line FROM accounts",
    "SELECT folded || ' ' || CAST(id AS TEXT) AS line FROM items",
    "SELECT folded || ' ' || CAST(id AS TEXT) AS line FROM places",
];

/// Every file is the same byte for byte; the audit log has in addition that the club came in, and that it went out.
fn the_same(before: &Files, after: &Files) {
    assert_eq!(before.len(), FILES.len() + 2);
    for ((name, bytes), (again, after)) in before.iter().zip(after) {
        assert_eq!(name, again);
        if name == "audit.csv" {
            let added = after.strip_prefix(&bytes[..]).expect("every line is there");
            let added = String::from_utf8(added.to_vec()).expect("text");
            assert_eq!(added.lines().count(), 2, "{added}");
            assert!(added.contains("came in from an archive of 2026-12-31T12:00:00Z"), "{added}");
        } else if name != "manifest.json" {
            assert!(bytes == after, "{name} differs: {}", String::from_utf8_lossy(after));
        }
    }
}

async fn a_club_comes_back_as_it_was(ground: &Ground) {
    let source = Ground::sqlite();
    let db = source.open();
    demo::load(&db, "2026-06-23T22:15:00".parse().expect("an instant")).await.expect("the demo club");
    let first = Kept::from(&db, CLUB).await;
    let files = first.files();
    let empty: Vec<&str> = files
        .iter()
        .filter(|(name, bytes)| {
            FILES.iter().any(|file| file.name == name) && String::from_utf8_lossy(bytes).lines().count() < 2
        })
        .map(|(name, _)| name.as_str())
        .collect();
    assert_eq!(empty, ["attributes.csv"], "the demo club has some of everything else");

    let there = ground.open();
    let came = first.bring_in(&there).await.expect("it comes in");
    assert!(came.rows > 3000 && came.known_persons == 0, "{came:?}");
    assert_eq!(findings(&there), findings(&db));
    let derived = |db: &Database| lines(&mut db.connection().expect("a connection"), DERIVED);
    assert_eq!(derived(&there), derived(&db));
    let second = Kept::from(&there, CLUB).await;
    the_same(&files, &second.files());

    let home = Ground::sqlite();
    let back = home.open();
    second.bring_in(&back).await.expect("it comes back");
    assert_eq!(findings(&back), findings(&db));
    the_same(&second.files(), &Kept::from(&back, CLUB).await.files());
}

async fn it_comes_in_beside_others_and_once(ground: &Ground) {
    let source = Ground::sqlite();
    let db = source.open();
    Cellar::new(&db, CLUB).await;
    let kept = Kept::from(&db, CLUB).await;

    let there = ground.open();
    let other = Cellar::new(&there, "Quay Cellar").await;
    let address = "marit@tidemill-cellar-club.example";
    let person = NewPerson::read("Marit", address, "another word at high tide").expect("a person");
    let new = NewClub::read("Weir Street Makers", "EUR", "Europe/Amsterdam", Ok(person)).expect("a club");
    members::found_club(&there, new, now()).await.expect("a club is founded");
    let quay = other.club.steward.club.to_string();
    let before = Kept::from(&there, &quay).await.files();
    let came = kept.bring_in(&there).await.expect("it comes in");
    assert_eq!(came.known_persons, 1);
    assert_eq!(findings(&there).off, Vec::<String>::new());

    let visitor = members::Visitor { device: String::new(), address: String::new(), now: now() };
    let sign_in = |address: &'static str, password: &'static str| {
        let (there, visitor) = (there.clone(), visitor.clone());
        async move { members::sign_in(&there, address, &Password::new(password), &visitor).await }
    };
    sign_in(address, "another word at high tide").await.expect("who was known keeps the password");
    let joost = "joost@tidemill-cellar-club.example";
    assert!(sign_in(joost, "").await.is_err(), "who has no password is not let in");
    members::set_password(&there, joost, &Password::new("sluice gate in spring"), now())
        .await
        .expect("a password");
    sign_in(joost, "sluice gate in spring").await.expect("with the new password");

    let again = kept.bring_in(&there).await.expect_err("it is there");
    assert!(
        again.contains("clubs.csv, line 2, column id: Tidemill Cellar Club is in this database already"),
        "{again}"
    );
    let after = Kept::from(&there, &quay).await.files();
    for ((name, bytes), (_, now)) in before.iter().zip(&after) {
        assert!(
            bytes == now || ["audit.csv", "manifest.json"].contains(&name.as_str()),
            "{name} of the other club"
        );
    }
}

async fn the_command_line_takes_a_club_out_and_in(ground: &Ground) {
    use crate::faults::run;
    let source = Ground::sqlite();
    Cellar::new(&source.open(), CLUB).await;
    let kept = Kept::new();
    let path = kept.0.to_str().expect("a path of text");
    let (well, said) = run(&source, &["club", "export", "--club", CLUB, path], "");
    let files = format!("rows of Tidemill Cellar Club in {} files", FILES.len());
    assert!(well && said.contains(&files), "{said}");
    let (well, said) = run(&source, &["club", "export", "--club", CLUB, path], "");
    assert!(!well && said.contains("exists"), "{said}");
    let (well, said) = run(&source, &["club", "export", "--club", "Nobody", "elsewhere.zip"], "");
    assert!(!well && said.contains("There is no club “Nobody” here"), "{said}");
    let (well, said) = run(ground, &["club", "import", path], "");
    assert!(well && said.contains("its books hold") && said.contains("member password"), "{said}");
    let (well, said) = run(ground, &["club", "import", path], "");
    assert!(!well && said.contains("is in this database already"), "{said}");
    let (well, said) = run(ground, &["verify"], "");
    assert!(well, "{said}");
}

async fn a_steward_downloads_it_and_others_do_not(ground: &Ground) {
    let db = ground.open();
    let scene = Scene::new(&db, CLUB).await;
    let hand = crate::http::token(&db, &scene.cellar.club).await;
    let server = Server::start(&db);
    let (status, _) = server.take(&hand, "/api/v1/archive");
    assert_eq!(status, 403, "a cellarhand does not take it");
    let (status, bytes) = server.take(&scene.token, "/api/v1/archive");
    assert_eq!(status, 200);
    let files = unpacked(bytes.clone());
    let log =
        String::from_utf8_lossy(&files.iter().find(|(name, _)| name == "audit.csv").expect("the log").1);
    assert!(log.contains("exported everything that the club owns"), "{log}");
    let all = files.iter().fold(String::new(), |all, (_, bytes)| all + &*String::from_utf8_lossy(bytes));
    for secret in ["$argon2", "secret_hash", "fingerprint", scene.session.as_str(), scene.token.as_str()] {
        assert!(!all.contains(secret), "{secret} is in the archive");
    }
    let page = server.open_page(&scene.session, "/club/archive");
    assert!(
        page.status == 200 && page.body.contains("/club/archive.zip") && page.body.contains("postings.csv")
    );
    let there = Ground::sqlite();
    Kept::holding(&bytes).bring_in(&there.open()).await.expect("what was downloaded comes in");
    server.end().await;
}
