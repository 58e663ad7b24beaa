//! Archives that were damaged or made up: each is refused with the place that is wrong, and leaves nothing behind.

use std::collections::BTreeSet;
use std::fmt::Write as _;
use std::io::{Cursor, Write};

use sha2::{Digest, Sha256};
use undercroft::db::archive::FILES;
use zip::write::SimpleFileOptions;
use zip::{ZipArchive, ZipWriter};

use super::{CLUB, Files, Kept, packed};
use crate::ground::cellar::Cellar;
use crate::ground::{Ground, block_on, on_both};
use crate::schema::lines;

on_both!(what_is_damaged_or_made_up_is_refused);

/// What is done to the files of an archive, whether the manifest is made to fit, and what is said.
type Damage = (&'static str, fn(&mut Files), bool, &'static str);

fn file<'a>(files: &'a mut Files, name: &str) -> &'a mut Vec<u8> {
    &mut files.iter_mut().find(|(known, _)| known == name).expect("it is there").1
}

fn edit(files: &mut Files, name: &str, change: impl Fn(&str) -> String) {
    let bytes = file(files, name);
    let text = change(std::str::from_utf8(bytes).expect("text"));
    *bytes = text.into_bytes();
}

/// Another cell in the first row of a file.
fn cell(files: &mut Files, name: &str, column: &str, value: &str) {
    edit(files, name, |text| {
        let mut rows: Vec<Vec<String>> = csv::ReaderBuilder::new()
            .has_headers(false)
            .from_reader(text.as_bytes())
            .records()
            .map(|row| row.expect("a row").iter().map(str::to_owned).collect())
            .collect();
        let at = rows[0].iter().position(|known| known == column).expect("the column");
        value.clone_into(&mut rows[1][at]);
        let mut out = csv::WriterBuilder::new().terminator(csv::Terminator::CRLF).from_writer(Vec::new());
        for row in rows {
            out.write_record(row).expect("a row");
        }
        String::from_utf8(out.into_inner().expect("all rows")).expect("text")
    });
}

/// The manifest of these files as they are.
fn fitted(files: &mut Files) {
    let mut manifest: serde_json::Value = serde_json::from_slice(file(files, "manifest.json")).expect("JSON");
    for listed in manifest["files"].as_array_mut().expect("a list") {
        let name = listed["name"].as_str().expect("a name").to_owned();
        let Some((_, bytes)) = files.iter().find(|(known, _)| *known == name) else { continue };
        let rows =
            csv::ReaderBuilder::new().flexible(true).from_reader(&bytes[..]).into_byte_records().count();
        let hash = Sha256::digest(bytes).iter().fold(String::new(), |mut text, byte| {
            write!(text, "{byte:02x}").expect("text grows");
            text
        });
        (listed["rows"], listed["bytes"], listed["sha256"]) = (rows.into(), bytes.len().into(), hash.into());
    }
    *file(files, "manifest.json") = manifest.to_string().into_bytes();
}

const DAMAGES: &[Damage] = &[
    ("a changed cost", |f| cell(f, "postings.csv", "cost", "1"), false, "postings.csv: its checksum"),
    ("a missing file", |f| f.retain(|(name, _)| name != "lots.csv"), false, "lots.csv is missing"),
    ("no manifest", |f| f.retain(|(name, _)| name != "manifest.json"), false, "manifest.json is missing"),
    (
        "a file more",
        |f| f.push(("../../etc/passwd".into(), vec![])),
        false,
        "“../../etc/passwd” is no file of",
    ),
    (
        "another version",
        |f| edit(f, "manifest.json", |text| text.replace("\"format\": 2", "\"format\": 7")),
        false,
        "version 7; this program reads version 2",
    ),
    (
        "a row less than said",
        |f| edit(f, "manifest.json", |text| text.replacen("\"rows\": 1", "\"rows\": 9", 1)),
        false,
        "has 1 rows, but",
    ),
    (
        "another header",
        |f| edit(f, "items.csv", |text| text.replacen("name", "label", 1)),
        true,
        "items.csv, line 1: the header must be id,name",
    ),
    (
        "a cell less",
        |f| edit(f, "lots.csv", |text| text.replacen(",L-1,", ",", 1)),
        true,
        "lots.csv, line 2: 8 cells where there must be 9",
    ),
    ("a cost that makes money", |f| cell(f, "postings.csv", "cost", "77"), true, "add up to zero"),
    (
        "a balance that drifted",
        |f| cell(f, "accounts.csv", "cost", "123"),
        true,
        "accounts.csv, line 2: a balance differs",
    ),
    (
        "a stage that does not follow",
        |f| cell(f, "batches.csv", "stage", "closed"),
        true,
        "batches.csv, line 2: ",
    ),
    (
        "a word that is not known",
        |f| cell(f, "entries.csv", "kind", "gift"),
        true,
        "entries.csv, line 2, column kind: “gift”",
    ),
    (
        "a day that is none",
        |f| cell(f, "entries.csv", "day", "2026-02-30"),
        true,
        "entries.csv, line 2, column day: “2026-02-30”",
    ),
    (
        "a number that is none",
        |f| cell(f, "postings.csv", "quantity", "1e9"),
        true,
        "postings.csv, line 2, column quantity: ",
    ),
    ("an id that is none", |f| cell(f, "items.csv", "id", "12"), true, "items.csv, line 2, column id: “12”"),
    (
        "an empty name",
        |f| cell(f, "members.csv", "role", ""),
        true,
        "members.csv, line 2, column role: this may not be empty",
    ),
    (
        "a row of nobody",
        |f| cell(f, "lots.csv", "item_id", "0000000000001"),
        true,
        "lots.csv, line 2, column item_id: there is no such row in items.csv",
    ),
    (
        "a bottling that does not come",
        |f| cell(f, "entries.csv", "bottling_id", "0000000000001"),
        true,
        "entries.csv, line 2, column bottling_id: there is no such row in bottlings.csv",
    ),
    ("an account of nothing", |f| cell(f, "accounts.csv", "kind", "member"), true, "accounts.csv, line 2: "),
    (
        "an address that is none",
        |f| cell(f, "persons.csv", "email", "Marit"),
        true,
        "persons.csv, line 2, column email: ",
    ),
    (
        "a zone that is none",
        |f| cell(f, "clubs.csv", "time_zone", "Tide/Mill"),
        true,
        "clubs.csv, line 2, column time_zone: ",
    ),
    ("a path elsewhere", |f| cell(f, "places.csv", "path", "Attic"), true, "places.csv, line "),
    (
        "two items of a name",
        |f| {
            edit(f, "items.csv", |text| {
                let name =
                    text.lines().nth(1).and_then(|row| row.split(',').nth(1)).expect("a name").to_owned();
                let second =
                    text.lines().nth(2).and_then(|row| row.split(',').nth(1)).expect("a name").to_owned();
                text.replacen(&format!(",{second},"), &format!(",{name},"), 1)
            });
        },
        true,
        "items.csv, line 3: its id, code or name is there already",
    ),
    (
        "a row twice",
        |f| edit(f, "readings.csv", |text| format!("{text}{}\r\n", text.lines().nth(1).expect("a row"))),
        true,
        "this id is in the file twice",
    ),
    (
        "a row without end",
        |f| file(f, "items.csv").extend(std::iter::repeat_n(b'x', 1 << 20)),
        true,
        "a row of more than",
    ),
    ("bytes that are no text", |f| file(f, "items.csv").extend(b"\xff\xfe,1\r\n"), true, "items.csv, line "),
    (
        "two clubs",
        |f| edit(f, "clubs.csv", |text| format!("{text}{}\r\n", text.lines().nth(1).expect("a row"))),
        true,
        "more than one club",
    ),
    (
        "no club",
        |f| edit(f, "clubs.csv", |text| format!("{}\r\n", text.lines().next().expect("a header"))),
        true,
        "has no club",
    ),
];

/// A byte in the middle of every file that is brought in, as it stands in the archive.
fn middles(bytes: &[u8]) -> Vec<(String, usize)> {
    let mut zip = ZipArchive::new(Cursor::new(bytes)).expect("an archive");
    (0..zip.len())
        .map(|at| {
            let file = zip.by_index(at).expect("a file");
            let middle = file.data_start().expect("it is there") + file.compressed_size() / 2;
            (file.name().expect("a name").into_owned(), usize::try_from(middle).expect("it is small"))
        })
        .filter(|(name, _)| name != "README.txt")
        .collect()
}

async fn what_is_damaged_or_made_up_is_refused(ground: &Ground) {
    let source = Ground::sqlite();
    let db = source.open();
    Cellar::new(&db, CLUB).await;
    let whole = Kept::from(&db, CLUB).await;
    let there = ground.open();
    let nothing = |what: &str| {
        let mut conn = there.connection().expect("a connection");
        for table in FILES.iter().map(|file| file.table) {
            let rows = format!("SELECT CAST(COUNT(*) AS TEXT) AS line FROM {table}");
            assert_eq!(lines(&mut conn, &[&rows]), BTreeSet::from(["0".to_owned()]), "{what}: {table}");
        }
    };
    for (what, damage, fit, says) in DAMAGES {
        let mut files = whole.files();
        damage(&mut files);
        if *fit {
            fitted(&mut files);
        }
        let refused = Kept::holding(&packed(&files)).bring_in(&there).await.expect_err(what);
        assert!(refused.contains(says) && refused.contains("Nothing was brought in"), "{what}: {refused}");
        nothing(what);
    }
    let bytes = std::fs::read(&whole.0).expect("it is there");
    for cut in [0, 10, bytes.len() / 2, bytes.len() - 1] {
        let refused = Kept::holding(&bytes[..cut]).bring_in(&there).await.expect_err("it was cut");
        assert!(refused.contains("Nothing was brought in"), "{cut}: {refused}");
    }
    for (name, at) in middles(&bytes) {
        let mut bent = bytes.clone();
        bent[at] ^= 0x55;
        let refused = Kept::holding(&bent).bring_in(&there).await.expect_err("a bent byte");
        assert!(refused.contains(&name) || name == "manifest.json", "a byte of {name} is bent: {refused}");
        nothing(&name);
    }
    whole.bring_in(&there).await.expect("the whole one comes in after all");
}

#[test]
fn an_archive_that_unpacks_without_end_is_refused() {
    let ground = Ground::sqlite();
    let mut zip = ZipWriter::new(Cursor::new(Vec::new()));
    let zeros = vec![b'0'; 1 << 20];
    zip.start_file("manifest.json", SimpleFileOptions::default()).expect("a file");
    for _ in 0..200 {
        zip.write_all(&zeros).expect("it is written");
    }
    let bytes = zip.finish().expect("an archive").into_inner();
    assert!(bytes.len() < 1 << 20, "200 MiB are packed into {} bytes", bytes.len());
    let refused = block_on(Kept::holding(&bytes).bring_in(&ground.open())).expect_err("it is a bomb");
    assert!(refused.contains("manifest.json cannot be read"), "{refused}");
}
