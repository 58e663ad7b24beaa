//! The shape of the house, held by a test: which room may name which, how long files and lines are, what they are
//! called, and what no tracked file may say. Each rule is also shown a small bad sample, so that it is known to bite.

use std::collections::BTreeSet;
use std::path::Path;
use std::process::Command;

/// The rooms of `src`, from the ground floor up, and their floor; those of one floor do not name each other.
const ROOMS: [(&str, u8); 8] = [
    ("units", 0),
    ("science", 1),
    ("domain", 2),
    ("db", 3),
    ("actions", 4),
    ("jobs", 5),
    ("web", 5),
    ("config", 6),
];

/// A tracked file: its path from the root of the repository, and what it says.
struct File {
    path: String,
    text: String,
}

impl File {
    fn sample(path: &str, text: &str) -> Self {
        Self { path: path.to_owned(), text: text.to_owned() }
    }

    fn is_rust(&self) -> bool {
        Path::new(&self.path).extension().is_some_and(|extension| extension == "rs")
    }

    fn is_source(&self) -> bool {
        self.is_rust() && self.path.starts_with("src/")
    }

    /// The room of a source file and its floor; the entrance (`main.rs`, `lib.rs`) is no room.
    fn room(&self) -> Option<(&str, u8)> {
        let inside = self.path.strip_prefix("src/").filter(|_| self.is_rust())?;
        let name = inside.split('/').next()?.trim_end_matches(".rs");
        ROOMS.into_iter().find(|room| room.0 == name)
    }

    fn says(&self, line: usize, what: &str) -> String {
        format!("{}:{}: {what}", self.path, line + 1)
    }

    /// What a check finds, line by line.
    fn lines_where(&self, found: impl Fn(&str) -> Option<String>) -> Vec<String> {
        let lines = self.text.lines().enumerate();
        lines.filter_map(|(at, line)| Some(self.says(at, &found(line)?))).collect()
    }
}

fn tracked() -> Vec<String> {
    let root = Path::new(env!("CARGO_MANIFEST_DIR"));
    let listed = Command::new("git").arg("-C").arg(root).args(["ls-files", "-z"]).output();
    let listed = listed.expect("git lists the tracked files");
    assert!(listed.status.success(), "this test runs in a checkout: {listed:?}");
    let names = String::from_utf8(listed.stdout).expect("paths are text");
    names.split('\0').filter(|path| root.join(path).is_file()).map(str::to_owned).collect()
}

/// All tracked files that are text.
fn files() -> Vec<File> {
    let root = Path::new(env!("CARGO_MANIFEST_DIR"));
    let read = |path: String| Some(File { text: std::fs::read_to_string(root.join(&path)).ok()?, path });
    tracked().into_iter().filter_map(read).collect()
}

fn hold(rule: impl Fn(&File) -> Vec<String>) {
    let broken: Vec<String> = files().iter().flat_map(rule).collect();
    assert!(broken.is_empty(), "\n{}", broken.join("\n"));
}

/// The rule finds exactly one fault in a file of this path that says this.
#[track_caller]
fn bites(rule: impl Fn(&File) -> Vec<String>, path: &str, text: &str) {
    let found = rule(&File::sample(path, text));
    assert_eq!(found.len(), 1, "{path}: {text:?} gives {found:?}");
}

/// The rule finds nothing in a file of this path that says this.
#[track_caller]
fn passes(rule: impl Fn(&File) -> Vec<String>, path: &str, text: &str) {
    assert_eq!(rule(&File::sample(path, text)), Vec::<String>::new());
}

#[test]
fn a_lower_room_never_names_a_higher_one() {
    bites(direction, "src/domain/books.rs", "use crate::db::books;");
    bites(direction, "src/units/mod.rs", "/// See [`crate::web::forms`].");
    bites(
        direction,
        "src/db/stock.rs",
        "use crate::{\n    units::{days, ids::LotId},\n    actions::stock,\n};",
    );
    bites(direction, "src/db/members/links.rs", "use super::super::super::web::links;");
    bites(direction, "src/jobs/reminders.rs", "crate::web::site()");
    bites(direction, "src/science/acid.rs", "//! Used by `actions/batches.rs`.");
    passes(direction, "src/web/batches.rs", "use crate::{actions::batches, db::{stock, books}};");
    passes(direction, "src/main.rs", "use undercroft::web;");
    hold(direction);
}

fn direction(file: &File) -> Vec<String> {
    let Some((own, floor)) = file.room() else { return Vec::new() };
    let higher = |name: &str| ROOMS.iter().any(|room| room.0 == name && room.0 != own && room.1 >= floor);
    named_rooms(&file.text)
        .into_iter()
        .filter(|(_, name)| higher(name))
        .map(|(at, name)| file.says(line_of(&file.text, at), &format!("{own} names the higher room {name}")))
        .collect()
}

fn line_of(text: &str, at: usize) -> usize {
    text[..at].matches('\n').count()
}

/// Every place where a text may name a room: after `crate::`, `undercroft::` or `super::`, singly or in braces, and
/// as the folder of a path such as `db/books.rs`.
fn named_rooms(text: &str) -> Vec<(usize, String)> {
    let mut found = Vec::new();
    for prefix in ["crate::", "undercroft::", "super::"] {
        for (at, _) in text.match_indices(prefix) {
            let rest = &text[at + prefix.len()..];
            let names = if rest.starts_with('{') { first_names(rest) } else { vec![word(rest)] };
            found.extend(names.into_iter().map(|name| (at, name)));
        }
    }
    for (at, _) in text.match_indices(".rs") {
        let start = text[..at]
            .rfind(|c: char| !c.is_alphanumeric() && !"/_".contains(c))
            .map_or(0, |space| space + 1);
        if let Some((room, _)) = text[start..at].trim_start_matches("src/").split_once('/') {
            found.push((start, room.to_owned()));
        }
    }
    found
}

/// The first word of each path in a group: `{a::{b, c}, d}` gives a and d.
fn first_names(group: &str) -> Vec<String> {
    let (mut depth, mut names, mut fresh) = (0, Vec::new(), false);
    for (at, letter) in group.char_indices() {
        match letter {
            '{' => (depth, fresh) = (depth + 1, true),
            '}' => depth -= 1,
            ',' => fresh = true,
            _ if fresh && depth == 1 && letter.is_alphabetic() => {
                names.push(word(&group[at..]));
                fresh = false;
            }
            _ => {}
        }
        if depth == 0 {
            break;
        }
    }
    names
}

fn word(text: &str) -> String {
    text.chars().take_while(|letter| letter.is_alphanumeric() || *letter == '_').collect()
}

#[test]
fn only_the_database_room_knows_diesel() {
    bites(diesel, "src/domain/stock.rs", "use diesel::prelude::*;");
    bites(diesel, "src/main.rs", "    diesel::sql_query(sql);");
    passes(diesel, "src/db/stock.rs", "use diesel::prelude::*;");
    hold(diesel);
}

fn diesel(file: &File) -> Vec<String> {
    if !file.is_source() || file.path.starts_with("src/db/") {
        return Vec::new();
    }
    file.lines_where(|line| line.contains("diesel").then(|| "only src/db knows diesel".to_owned()))
}

#[test]
fn every_file_says_what_lives_in_it() {
    bites(described, "src/units/days.rs", "use chrono::NaiveDate;\n//! Too late.");
    bites(described, "tests/suite.rs", "//!\nmod tidy;");
    passes(described, "src/units/days.rs", "//! Days as people write them.");
    hold(described);
}

fn described(file: &File) -> Vec<String> {
    let first = file.text.lines().next().unwrap_or_default();
    let says = first.strip_prefix("//! ").is_some_and(|words| !words.trim().is_empty());
    if file.is_rust() && !says {
        vec![file.says(0, "begin with //! and what lives here")]
    } else {
        Vec::new()
    }
}

const LONGEST_FILE: usize = 500;
const LONGEST_LINE: usize = 120;
/// Until the last test is wrapped.
const LONGEST_LINE_OF_A_TEST: usize = 140;

#[test]
fn files_are_short_enough_to_be_read() {
    bites(short, "src/db/stock.rs", &"x\n".repeat(LONGEST_FILE + 1));
    passes(short, "src/db/stock.rs", &"x\n".repeat(LONGEST_FILE));
    hold(short);
}

fn short(file: &File) -> Vec<String> {
    let lines = file.text.lines().count();
    if file.is_rust() && lines > LONGEST_FILE {
        return vec![format!("{}: {lines} lines; {LONGEST_FILE} are enough", file.path)];
    }
    Vec::new()
}

#[test]
fn lines_are_narrow_enough_to_be_read() {
    bites(narrow, "src/lib.rs", &"ß".repeat(LONGEST_LINE + 1));
    passes(narrow, "src/lib.rs", &"ß".repeat(LONGEST_LINE));
    hold(narrow);
}

fn narrow(file: &File) -> Vec<String> {
    if !file.is_rust() {
        return Vec::new();
    }
    let longest = if file.is_source() { LONGEST_LINE } else { LONGEST_LINE_OF_A_TEST };
    file.lines_where(|line| {
        let width = line.chars().count();
        (width > longest).then(|| format!("{width} columns; {longest} are enough"))
    })
}

#[test]
fn nothing_is_left_half_done_and_nothing_is_unsafe() {
    for unfinished in
        ["    todo!()", "unimplemented!(\"later\")", "dbg!(batch);", "unsafe { x }", "unsafe fn x() {}"]
    {
        bites(finished, "src/web/batches.rs", unfinished);
    }
    passes(finished, "src/web/batches.rs", "/// What is unsafe to drink is said so.");
    hold(finished);
}

fn finished(file: &File) -> Vec<String> {
    if !file.is_source() {
        return Vec::new();
    }
    file.lines_where(|line| {
        let left =
            ["todo!", "unimplemented!", "dbg!", "unsafe {", "unsafe fn", "unsafe impl", "unsafe trait"];
        left.into_iter().find(|word| line.contains(word)).map(|word| format!("{word} does not stay"))
    })
}

/// What the rooms under the pages have of their own; everything else there is a feature, which other rooms know by the
/// same name.
const OWN: [(&str, &[&str]); 3] = [
    ("domain", &["refusal", "yields"]),
    (
        "db",
        &[
            "backup",
            "connection",
            "failure",
            "migrations",
            "requests",
            "schema",
            "trace",
            "types",
            "verify",
            "prepared",
            "writer",
        ],
    ),
    ("actions", &["once"]),
];

#[test]
fn a_feature_has_the_same_name_in_every_room() {
    let features = ["src/actions/stock.rs", "src/domain/stock.rs", "src/actions/once.rs"];
    let with = |more: &str| {
        let paths: Vec<String> = features.into_iter().chain([more]).map(str::to_owned).collect();
        misnamed(&paths)
    };
    assert_eq!(with("src/db/stock.rs"), Vec::<String>::new());
    assert_eq!(with("src/web/frame.rs"), Vec::<String>::new());
    assert_eq!(with("src/db/cupboard.rs"), ["src/db/cupboard.rs: no other room knows this name"]);
    assert_eq!(with("src/actions/counts.rs"), ["src/actions/counts.rs: no other room knows this name"]);
    assert_eq!(with("src/web/stocks/list.rs"), ["src/web/stocks/list.rs: stocks is called stock elsewhere"]);
    assert_eq!(with("src/web/api/stocks.rs").len(), 1);
    assert_eq!(with("templates/stocktaking/page.html").len(), 1);
    assert_eq!(with("templates/stock/stocktaking.html"), Vec::<String>::new());
    assert_eq!(misnamed(&tracked()), Vec::<String>::new());
}

fn misnamed(paths: &[String]) -> Vec<String> {
    const ROOMS: [&str; 6] =
        ["src/domain/", "src/db/", "src/actions/", "src/jobs/", "src/web/api/", "src/web/"];
    let name = |path: &str| path.split(['/', '.']).next().unwrap_or_default().to_owned();
    let names = |room: &str| -> BTreeSet<String> {
        paths
            .iter()
            .filter_map(|path| path.strip_prefix(room))
            .map(name)
            .filter(|name| name != "mod")
            .collect()
    };
    let known: Vec<BTreeSet<String>> = ROOMS.into_iter().map(names).collect();
    let mut found = Vec::new();
    for (room, own) in OWN {
        let alone = |name: &String| known.iter().filter(|names| names.contains(name)).count() == 1;
        let strange = names(&format!("src/{room}/")).into_iter();
        let strange = strange.filter(|name| alone(name) && !own.contains(&name.as_str()));
        found.extend(strange.map(|name| format!("src/{room}/{name}.rs: no other room knows this name")));
    }
    // Pages have names of their own too; what begins like a feature is one.
    let alike = |name: &str, feature: &str| {
        name != feature && name.get(..5).is_some_and(|beginning| feature.starts_with(beginning))
    };
    let features = names("src/actions/");
    for path in paths {
        let mut rooms = ["src/web/api/", "src/web/", "templates/"].into_iter();
        let Some(inside) = rooms.find_map(|room| path.strip_prefix(room)) else { continue };
        let feature = features.iter().find(|feature| alike(&name(inside), feature));
        found
            .extend(feature.map(|feature| format!("{path}: {} is called {feature} elsewhere", name(inside))));
    }
    found
}

/// All that people see when they open the repository.
const TOP: [&str; 8] =
    ["Cargo.lock", "Cargo.toml", "DEVELOPERS.md", "README.md", "migrations", "seeds", "src", "templates"];

#[test]
fn the_top_of_the_house_holds_what_it_should() {
    let with = |more: &str| -> Vec<String> {
        let inside =
            TOP.iter().map(|name| format!("{name}/x")).chain(["tests/x".to_owned(), more.to_owned()]);
        inside.collect()
    };
    assert_eq!(top(&with(".gitignore")), (vec![], vec![]));
    assert_eq!(top(&with("benches/x.rs")).0, ["benches"]);
    assert_eq!(top(&["tests/suite.rs".to_owned()]).1.len(), TOP.len());
    assert_eq!(top(&tracked()), (vec![], vec![]), "(too much, missing)");
}

/// What is too much at the top, and what is missing. Dot-files and licences are fine.
fn top(paths: &[String]) -> (Vec<&str>, Vec<&'static str>) {
    let there: BTreeSet<&str> = paths.iter().filter_map(|path| path.split('/').next()).collect();
    let known = |name: &str| {
        TOP.contains(&name) || name == "tests" || name.starts_with('.') || name.starts_with("LICENSE")
    };
    let extra = there.iter().copied().filter(|name| !known(name)).collect();
    (extra, TOP.into_iter().filter(|name| !there.contains(name)).collect())
}

#[test]
fn both_databases_have_the_same_migrations() {
    let both =
        |name: &str, file: &str| ["sqlite", "postgres"].map(|db| format!("migrations/{db}/{name}/{file}"));
    let whole: Vec<String> = both("1_a", "up.sql").into_iter().chain(both("1_a", "down.sql")).collect();
    assert_eq!(lonely_migrations(&whole), Vec::<String>::new());
    assert_eq!(lonely_migrations(&whole[..3]), ["postgres/1_a/down.sql"]);
    assert_eq!(lonely_migrations(&both("1_a", "up.sql")).len(), 2, "there is no way back");
    let tracked = tracked();
    assert!(tracked.iter().any(|path| path.starts_with("migrations/sqlite/")), "there are migrations");
    assert_eq!(lonely_migrations(&tracked), Vec::<String>::new());
}

fn lonely_migrations(paths: &[String]) -> Vec<String> {
    let of = |db: &str, file: &str| -> BTreeSet<String> {
        let inside = paths.iter().filter_map(|path| path.strip_prefix("migrations/")?.strip_prefix(db));
        inside.filter_map(|path| path.strip_suffix(file)).map(str::to_owned).collect()
    };
    let up = of("sqlite", "/up.sql");
    let others = [("postgres", "/up.sql"), ("sqlite", "/down.sql"), ("postgres", "/down.sql")];
    let mut found = Vec::new();
    for (db, file) in others {
        let there = of(db, file);
        found.extend(up.symmetric_difference(&there).map(|name| format!("{db}{name}{file}")));
    }
    found
}

#[test]
fn no_tracked_file_names_this_machine_or_a_registry() {
    bites(placeless, "README.md", concat!("see /ho", "me/maren/cellar"));
    bites(placeless, "tests/x.py", concat!("pip install -i https://py", "pi.org/simple"));
    bites(placeless, "Cargo.lock", concat!("source = \"sparse+https://crates.exa", "mple/\""));
    let usual = concat!("source = \"registry+https://github.com/rust-lang/crates", ".io-index\"");
    passes(placeless, "Cargo.lock", usual);
    passes(placeless, "README.md", "undercroft --database /srv/cellar.db");
    hold(placeless);
}

fn placeless(file: &File) -> Vec<String> {
    const WORDS: [&str; 12] = [
        concat!("/ho", "me/"),
        concat!("/ro", "ot/"),
        concat!("/wo", "rk/"),
        concat!("/Us", "ers/"),
        concat!("/tm", "p/"),
        concat!("C:", "\\"),
        concat!("crates", ".io"),
        concat!("py", "pi."),
        concat!("pythonho", "sted"),
        concat!("npmj", "s."),
        concat!("artifac", "tory"),
        concat!("proxy.go", "lang"),
    ];
    if file.path == "Cargo.lock" {
        let usual = concat!("\"registry+https://github.com/rust-lang/crates", ".io-index\"");
        return file.lines_where(|line| {
            let source = line.strip_prefix("source = ")?;
            (source != usual).then(|| format!("{source} is not where everyone finds packages"))
        });
    }
    file.lines_where(|line| {
        WORDS.into_iter().find(|word| line.contains(word)).map(|word| format!("it says {word}"))
    })
}
