//! Bringing the schema up to date at the start, and refusing one that is newer than this program.

use std::path::Path;

use diesel::connection::SimpleConnection;
use diesel::migration::MigrationSource;
use diesel_migrations::{EmbeddedMigrations, MigrationHarness, embed_migrations};

use super::connection::{Address, AnyConn};
use super::failure::Failure;

const SQLITE: EmbeddedMigrations = embed_migrations!("migrations/sqlite");
const POSTGRES: EmbeddedMigrations = embed_migrations!("migrations/postgres");

/// Run what is missing. A SQLite file that holds data already is copied beside itself first.
pub fn run(conn: &mut AnyConn, address: &Address) -> Result<(), Failure> {
    match conn {
        AnyConn::Sqlite(inner) => {
            let missing = check(inner, &SQLITE)?;
            let (there, first) = (inner.applied_migrations().map_err(fault)?.len(), missing.first());
            if let (Some(first), true, Address::Sqlite(path)) = (first, there > 0, address) {
                copy_beside(inner, path, first)?;
            }
            inner.run_pending_migrations(SQLITE).map_err(fault)?;
        }
        AnyConn::Postgres(inner) => {
            check(inner, &POSTGRES)?;
            inner.run_pending_migrations(POSTGRES).map_err(fault)?;
        }
    }
    Ok(())
}

/// Whether migrations of this program were run on a SQLite database; refuses one that is newer.
pub(super) fn ran_on(conn: &mut diesel::SqliteConnection) -> Result<bool, Failure> {
    check(conn, &SQLITE)?;
    Ok(!conn.applied_migrations().map_err(fault)?.is_empty())
}

/// The versions still to run; a version that this program does not know means that a newer one was here.
fn check<DB, C>(conn: &mut C, known: &EmbeddedMigrations) -> Result<Vec<String>, Failure>
where
    DB: diesel::backend::Backend,
    C: MigrationHarness<DB>,
    EmbeddedMigrations: MigrationSource<DB>,
{
    let known: Vec<String> = MigrationSource::<DB>::migrations(known)
        .map_err(fault)?
        .iter()
        .map(|migration| migration.name().version().to_string())
        .collect();
    let applied: Vec<String> =
        conn.applied_migrations().map_err(fault)?.iter().map(ToString::to_string).collect();
    if let Some(newer) = applied.iter().find(|version| !known.contains(version)) {
        return Err(Failure::Unavailable(format!(
            "this database was written by a newer Undercroft (its schema has version {newer}); use that one"
        )));
    }
    Ok(known.into_iter().filter(|version| !applied.contains(version)).collect())
}

fn copy_beside(conn: &mut diesel::SqliteConnection, path: &Path, version: &str) -> Result<(), Failure> {
    let copy = path.with_extension(format!("before-{version}.db"));
    let quoted = copy.to_string_lossy().replace('\'', "''");
    Ok(conn.batch_execute(&format!("VACUUM INTO '{quoted}'"))?)
}

#[allow(clippy::needless_pass_by_value, reason = "made for map_err")]
fn fault(error: Box<dyn std::error::Error + Send + Sync>) -> Failure {
    Failure::Unavailable(format!("the schema could not be brought up to date: {error}"))
}
