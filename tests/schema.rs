//! What the migrations make: the same on both databases and as `src/db/schema.rs` says, up and down again; books that
//! the database itself does not let be changed; and a newer schema that is left alone.

use std::collections::BTreeSet;

use diesel::migration::MigrationSource;
use diesel::prelude::*;
use diesel::sql_types::Text;
use diesel_migrations::{FileBasedMigrations, MigrationHarness};
use undercroft::db::connection::AnyConn;
use undercroft::db::{Database, Failure};

use crate::ground::cellar::Cellar;
use crate::ground::{Ground, on_both};

on_both!(
    tables_are_as_the_program_says,
    the_books_are_never_changed,
    a_newer_schema_is_left_alone,
    up_and_down_again
);

/// One line that a query gives.
#[derive(QueryableByName)]
struct Line {
    #[diesel(sql_type = Text)]
    line: String,
}

pub fn lines(conn: &mut AnyConn, queries: &[&str]) -> BTreeSet<String> {
    let ask = |sql: &&str| {
        let found: Vec<Line> =
            diesel::sql_query(*sql).load(conn).unwrap_or_else(|error| panic!("{sql}: {error}"));
        found.into_iter().map(|line| line.line)
    };
    queries.iter().flat_map(ask).collect()
}

/// Columns and primary keys in the words of `src/db/schema.rs`.
fn tables(conn: &mut AnyConn) -> BTreeSet<String> {
    match conn {
        AnyConn::Sqlite(_) => lines(
            conn,
            &[
                "SELECT t.name || '.' || c.name || ' -> ' || \
                 CASE c.\"notnull\" WHEN 0 THEN 'Nullable ' ELSE '' END || CASE c.type WHEN 'INTEGER' THEN 'BigInt' \
                 WHEN 'BIGINT' THEN 'BigInt' WHEN 'TEXT' THEN 'Text' WHEN 'TIMESTAMP' THEN 'Timestamp' \
                 WHEN 'DATE' THEN 'Date' WHEN 'BLOB' THEN 'Binary' WHEN 'BOOLEAN' THEN 'Bool' ELSE c.type END AS line \
                 FROM sqlite_schema t JOIN pragma_table_info(t.name) c \
                 WHERE t.type = 'table' AND t.name NOT LIKE '\\_\\_%' ESCAPE '\\' \
                 AND t.name NOT LIKE 'sqlite%'",
                "SELECT t.name || ' (' || group_concat(c.name, ', ' ORDER BY c.pk) || ')' AS line \
                 FROM sqlite_schema t JOIN pragma_table_info(t.name) c \
                 WHERE t.type = 'table' AND c.pk > 0 AND t.name NOT LIKE '\\_\\_%' ESCAPE '\\' \
                 AND t.name NOT LIKE 'sqlite%' GROUP BY t.name",
            ],
        ),
        AnyConn::Postgres(_) => lines(
            conn,
            &[
                "SELECT table_name || '.' || column_name || ' -> ' || \
                 CASE is_nullable WHEN 'YES' THEN 'Nullable ' ELSE '' END || \
                 CASE data_type WHEN 'bigint' THEN 'BigInt' WHEN 'text' THEN 'Text' \
                 WHEN 'timestamp without time zone' THEN 'Timestamp' \
                 WHEN 'date' THEN 'Date' WHEN 'bytea' THEN 'Binary' WHEN 'boolean' THEN 'Bool' ELSE data_type END AS line \
                 FROM information_schema.columns WHERE table_schema = 'public' AND table_name NOT LIKE '\\_\\_%'",
                "SELECT conrelid::regclass || ' (' || string_agg(a.attname, ', ' ORDER BY k.place) || ')' AS line \
                 FROM pg_constraint, unnest(conkey) WITH ORDINALITY AS k (number, place), pg_attribute a \
                 WHERE contype = 'p' AND a.attrelid = conrelid AND a.attnum = k.number \
                 AND connamespace = 'public'::regnamespace AND conrelid::regclass::text NOT LIKE '\\_\\_%' \
                 GROUP BY conrelid",
            ],
        ),
    }
}

/// Unique keys, references, indexes and checks.
fn constraints(conn: &mut AnyConn) -> BTreeSet<String> {
    match conn {
        AnyConn::Sqlite(_) => {
            let mut found = lines(
                conn,
                &[
                    "SELECT t.name || ' unique (' || group_concat(c.name, ', ' ORDER BY c.seqno) || ')' AS line \
                     FROM sqlite_schema t JOIN pragma_index_list(t.name) i JOIN pragma_index_info(i.name) c \
                     WHERE t.type = 'table' AND i.origin = 'u' GROUP BY t.name, i.name",
                    "SELECT t.name || '.' || r.\"from\" || ' references ' || r.\"table\" AS line \
                     FROM sqlite_schema t JOIN pragma_foreign_key_list(t.name) r WHERE t.type = 'table'",
                    "SELECT CASE WHEN i.\"unique\" THEN 'unique ' ELSE '' END || \
                     'index ' || i.name || ' on ' || t.name || ' (' || \
                     group_concat(c.name, ', ' ORDER BY c.seqno) || ')' || \
                     CASE WHEN i.partial THEN ' where' ELSE '' END AS line \
                     FROM sqlite_schema t JOIN pragma_index_list(t.name) i JOIN pragma_index_info(i.name) c \
                     WHERE t.type = 'table' AND i.origin = 'c' GROUP BY t.name, i.name, i.partial",
                ],
            );
            let made = lines(conn, &["SELECT sql AS line FROM sqlite_schema WHERE type = 'table'"]);
            found.extend(made.iter().flat_map(|sql| checks_of(sql)));
            found
        }
        AnyConn::Postgres(_) => lines(
            conn,
            &[
                "SELECT conrelid::regclass || ' unique (' || \
                 string_agg(a.attname, ', ' ORDER BY k.place) || ')' AS line \
                 FROM pg_constraint, unnest(conkey) WITH ORDINALITY AS k (number, place), pg_attribute a \
                 WHERE contype = 'u' AND a.attrelid = conrelid AND a.attnum = k.number \
                 AND connamespace = 'public'::regnamespace GROUP BY pg_constraint.oid, conrelid",
                "SELECT conrelid::regclass || '.' || a.attname || ' references ' || confrelid::regclass AS line \
                 FROM pg_constraint, pg_attribute a WHERE contype = 'f' AND a.attrelid = conrelid \
                 AND a.attnum = conkey[1] AND connamespace = 'public'::regnamespace",
                "SELECT CASE WHEN indisunique THEN 'unique ' ELSE '' END || \
                 'index ' || indexrelid::regclass || ' on ' || indrelid::regclass || ' (' || \
                 string_agg(a.attname, ', ' ORDER BY k.place) || ')' || \
                 CASE WHEN indpred IS NULL THEN '' ELSE ' where' END AS line \
                 FROM pg_index, unnest(indkey::int2[]) WITH ORDINALITY AS k (number, place), pg_attribute a \
                 WHERE a.attrelid = indrelid AND a.attnum = k.number \
                 AND NOT EXISTS (SELECT 1 FROM pg_constraint WHERE conindid = indexrelid) \
                 AND indrelid IN (SELECT oid FROM pg_class WHERE relnamespace = 'public'::regnamespace) \
                 GROUP BY indexrelid, indrelid, indpred, indisunique",
                "SELECT conrelid::regclass || ' checks ' || CASE WHEN conname LIKE '%\\_check' \
                 THEN '{' || attname || '}' ELSE conname END AS line FROM pg_constraint \
                 JOIN pg_attribute ON attrelid = conrelid AND attnum = conkey[1] \
                 WHERE contype = 'c' AND connamespace = 'public'::regnamespace",
            ],
        ),
    }
}

/// The checks in the text of a table: those with a name by it, the others by their column.
fn checks_of(sql: &str) -> Vec<String> {
    let (head, body) = sql.split_once('(').expect("a table has columns");
    let table = head.trim().trim_start_matches("CREATE TABLE ").trim_matches('"');
    let mut column = "";
    let mut found = Vec::new();
    for line in body.lines().map(str::trim).filter(|line| !line.is_empty() && !line.starts_with("--")) {
        if let Some(named) = line.strip_prefix("CONSTRAINT ") {
            let name = named.split(' ').next().unwrap_or_default();
            found.push(format!("{table} checks {name}"));
            continue;
        }
        if line.starts_with(|first: char| first.is_ascii_lowercase()) {
            column = line.split(' ').next().unwrap_or_default();
        }
        if line.contains(" CHECK (") {
            found.push(format!("{table} checks {{{column}}}"));
        }
    }
    found
}

/// Columns and primary keys as `src/db/schema.rs` has them.
pub fn declared() -> BTreeSet<String> {
    let mut found = BTreeSet::new();
    let mut table = String::new();
    let schema = concat!(
        include_str!("../src/db/schema.rs"),
        include_str!("../src/db/schema/billing.rs"),
        include_str!("../src/db/schema/buying.rs"),
        include_str!("../src/db/schema/climate.rs"),
        include_str!("../src/db/schema/keeping.rs"),
        include_str!("../src/db/schema/making.rs"),
        include_str!("../src/db/schema/measured.rs"),
        include_str!("../src/db/schema/counting.rs"),
        include_str!("../src/db/schema/reaching.rs"),
        include_str!("../src/db/schema/sharing.rs"),
        include_str!("../src/db/schema/intake.rs"),
    );
    for line in schema.lines().map(str::trim) {
        if let Some(head) = line.strip_suffix(" {").filter(|head| head.contains(" (")) {
            head.split(' ').next().unwrap_or_default().clone_into(&mut table);
            found.insert(head.to_owned());
        } else if let Some((column, kind)) = line.trim_end_matches(',').split_once(" -> ") {
            let kind = kind.replace("Nullable<", "Nullable ").replace('>', "");
            found.insert(format!("{table}.{column} -> {kind}"));
        }
    }
    found
}

async fn tables_are_as_the_program_says(ground: &Ground) {
    let db = ground.open();
    let found = tables(&mut db.connection().expect("a connection"));
    let declared = declared();
    assert!(found.len() > 150, "there are tables: {found:?}");
    assert_eq!(
        found.difference(&declared).collect::<Vec<_>>(),
        Vec::<&String>::new(),
        "only in the database"
    );
    assert_eq!(declared.difference(&found).collect::<Vec<_>>(), Vec::<&String>::new(), "only in schema.rs");
}

#[test]
#[ignore = "needs PostgreSQL: UNDERCROFT_TEST_POSTGRES"]
fn postgres_constrains_as_sqlite_does() {
    let of = |ground: Ground| constraints(&mut ground.open().connection().expect("a connection"));
    let (sqlite, postgres) = (of(Ground::sqlite()), of(Ground::postgres()));
    assert!(sqlite.contains("accounts checks never_below_zero"), "{sqlite:?}");
    assert!(
        sqlite.contains("unique index entries_reversed_once on entries (reverses) where")
            && sqlite.contains("items checks {unit}"),
        "{sqlite:?}"
    );
    let (here, there) = (sqlite.difference(&postgres), postgres.difference(&sqlite));
    assert_eq!(here.collect::<Vec<_>>(), Vec::<&String>::new(), "only SQLite");
    assert_eq!(there.collect::<Vec<_>>(), Vec::<&String>::new(), "only PostgreSQL");
}

async fn the_books_are_never_changed(ground: &Ground) {
    let db = ground.open();
    Cellar::new(&db, "Tidemill Cellar Club").await;
    let mut conn = db.connection().expect("a connection");
    let before = books(&mut conn);
    for sql in [
        "UPDATE entries SET remark = 'nothing happened'",
        "UPDATE postings SET cost = cost + 1",
        "DELETE FROM entries",
        "DELETE FROM postings",
    ] {
        let refused = diesel::sql_query(sql).execute(&mut conn).map_err(Failure::from);
        assert!(
            matches!(&refused, Err(Failure::Refused(why)) if why.contains("are never ")),
            "{sql}: {refused:?}"
        );
    }
    assert_eq!(books(&mut conn), before);
}

fn books(conn: &mut AnyConn) -> BTreeSet<String> {
    let books = lines(
        conn,
        &[
            "SELECT CAST(id AS TEXT) || ' ' || kind || ' ' || remark AS line FROM entries",
            "SELECT CAST(entry_id AS TEXT) || ' ' || CAST(line AS TEXT) || ' ' || CAST(cost AS TEXT) AS line \
             FROM postings",
        ],
    );
    assert!(books.len() > 10, "there are books: {books:?}");
    books
}

async fn a_newer_schema_is_left_alone(ground: &Ground) {
    drop(ground.open());
    ground.tamper("INSERT INTO __diesel_schema_migrations (version) VALUES ('20990101000000')");
    let Err(refused) = Database::open(&ground.address) else { panic!("it was opened") };
    let words = refused.to_string();
    assert!(words.contains("newer Undercroft") && words.contains("20990101000000"), "{words}");
}

async fn up_and_down_again(ground: &Ground) {
    let whole = |db: &Database| {
        let mut conn = db.connection().expect("a connection");
        (tables(&mut conn), constraints(&mut conn))
    };
    let first = whole(&ground.open());
    match ground.connection() {
        AnyConn::Sqlite(mut conn) => revert(&mut conn, "migrations/sqlite"),
        AnyConn::Postgres(mut conn) => revert(&mut conn, "migrations/postgres"),
    }
    let mut conn = ground.connection();
    assert_eq!(tables(&mut conn), BTreeSet::new(), "all tables are gone");
    if !ground.is_sqlite() {
        let functions =
            "SELECT proname::text AS line FROM pg_proc WHERE pronamespace = 'public'::regnamespace";
        assert_eq!(lines(&mut conn, &[functions]), BTreeSet::new(), "all functions are gone");
    }
    assert_eq!(whole(&ground.open()), first);
}

fn revert<DB, C>(conn: &mut C, folder: &str)
where
    DB: diesel::backend::Backend,
    C: MigrationHarness<DB>,
    FileBasedMigrations: MigrationSource<DB>,
{
    let folder = format!("{}/{folder}", env!("CARGO_MANIFEST_DIR"));
    let migrations = FileBasedMigrations::from_path(folder).expect("the migrations are there");
    let gone = conn.revert_all_migrations(migrations).expect("every migration can be taken back");
    assert!(!gone.is_empty());
}
