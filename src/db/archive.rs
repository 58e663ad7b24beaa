//! Reading and writing whole rows of a club, for its archive. A page of rows travels as JSON, which both databases make
//! and read themselves, so that one table of files and columns (`table.rs`) serves both ways and both databases.

mod files;
mod table;

use std::fmt::Write as _;

use diesel::Connection;
use diesel::prelude::*;
use diesel::sql_types::Text;
use serde_json::Value;

pub use files::{Column, Derive, File, Scope};
pub use table::{FILES, LEFT_OUT};

use super::connection::AnyConn;
use super::failure::Failure;
use super::verify;
pub use super::verify::Off;
use crate::domain::archive::Kind;
use crate::domain::stock::places::WITHIN;
use crate::units::ids::ClubId;

/// A row of a file: the values of its columns, in their order.
pub type Row = Vec<Value>;

/// Rows that are read or written at once.
pub const PAGE: usize = 500;

#[derive(QueryableByName)]
struct Line {
    #[diesel(sql_type = Text)]
    line: String,
}

/// The next rows of a club, after that with these keys; no more than [`PAGE`] where the file has keys. With each row
/// come its own keys.
pub fn rows(
    conn: &mut AnyConn,
    club: ClubId,
    file: &File,
    after: Option<&[i64]>,
) -> Result<Vec<(Row, Vec<i64>)>, Failure> {
    let sqlite = matches!(conn, AnyConn::Sqlite(_));
    let lines: Vec<Line> = diesel::sql_query(query(sqlite, club, file, after)).load(conn)?;
    let mut found = lines.iter().map(|line| row_of(file, &line.line)).collect::<Result<Vec<_>, _>>()?;
    if file.keys.is_empty() {
        found.sort_by_cached_key(|(row, _)| format!("{row:?}"));
    }
    Ok(found)
}

fn query(sqlite: bool, club: ClubId, file: &File, after: Option<&[i64]>) -> String {
    let make = if sqlite { "json_array" } else { "json_build_array" };
    let columns: Vec<&str> =
        file.columns.iter().map(|column| column.column).chain(file.keys.iter().copied()).collect();
    let mut sql = format!(
        "SELECT CAST({make}({}) AS TEXT) AS line FROM {} WHERE {}",
        columns.join(", "),
        file.table,
        of(sqlite, file, club)
    );
    let keys = file.keys.join(", ");
    if let Some(after) = after {
        let after: Vec<String> = after.iter().map(i64::to_string).collect();
        // Writing to a String does not fail.
        let _ = write!(sql, " AND ({keys}) > ({})", after.join(", "));
    }
    if !keys.is_empty() {
        let _ = write!(sql, " ORDER BY {keys} LIMIT {PAGE}");
    }
    sql
}

/// Which rows are the club's. The plus keeps SQLite from an index of the club's rows in another order, all of which
/// would be sorted for every page: rows are read on by their own keys, once through the table. PostgreSQL knows how
/// common the club's rows are, and would no longer know with the plus.
fn of(sqlite: bool, file: &File, ClubId(club): ClubId) -> String {
    let plus = if sqlite { "+" } else { "" };
    match file.scope {
        Scope::Club => format!("{plus}club_id = {club}"),
        Scope::Itself => format!("id = {club}"),
        Scope::Persons => format!(
            "id IN (SELECT person_id FROM members WHERE club_id = {club} \
             UNION SELECT person_id FROM audit WHERE club_id = {club})"
        ),
    }
}

fn row_of(file: &File, line: &str) -> Result<(Row, Vec<i64>), Failure> {
    let fault = |why: &str| Failure::Fault(format!("a row of {}: {why}", file.table));
    let mut row: Row = serde_json::from_str(line).map_err(|error| fault(&error.to_string()))?;
    if row.len() != file.columns.len() + file.keys.len() {
        return Err(fault("it has other columns"));
    }
    let keys = row.split_off(file.columns.len()).iter().map(Value::as_i64).collect::<Option<_>>();
    Ok((row, keys.ok_or_else(|| fault("a key is no number"))?))
}

/// Write rows, each with its derived columns behind the others; all of them or none.
pub fn insert(conn: &mut AnyConn, club: ClubId, file: &File, rows: &[Row]) -> Result<(), Failure> {
    let kinds = file.columns.iter().map(|column| (column.column, column.kind));
    let columns: Vec<(&str, Kind)> =
        kinds.chain(file.derived.iter().map(|(name, _)| (*name, Kind::Text))).collect();
    let (mut names, mut values) = (Vec::new(), Vec::new());
    if file.scope == Scope::Club {
        names.push("club_id".to_owned());
        values.push(club.0.to_string());
    }
    let sqlite = matches!(conn, AnyConn::Sqlite(_));
    for (at, (name, kind)) in columns.iter().enumerate() {
        names.push((*name).to_owned());
        values.push(if sqlite {
            format!("json_extract(value, '$[{at}]')")
        } else {
            format!("CAST(value ->> {at} AS {})", postgres(*kind))
        });
    }
    let from = if sqlite { "json_each($1)" } else { "json_array_elements(CAST($1 AS JSON)) AS value" };
    let (names, values) = (names.join(", "), values.join(", "));
    let sql = format!("INSERT INTO {} ({names}) SELECT {values} FROM {from}", file.table);
    let json = serde_json::to_string(rows).map_err(|error| Failure::Fault(error.to_string()))?;
    conn.transaction(|conn| {
        diesel::sql_query(sql).bind::<Text, _>(json).execute(conn)?;
        Ok(())
    })
}

const fn postgres(kind: Kind) -> &'static str {
    match kind {
        Kind::Id | Kind::Of(_) | Kind::Number(_) => "BIGINT",
        Kind::Text | Kind::Word(_) => "TEXT",
        Kind::Day => "DATE",
        Kind::Instant => "TIMESTAMP",
        Kind::Flag => "BOOLEAN",
    }
}

/// What the database cannot refuse by itself: everything that `verify` looks at, and what must agree beside the books.
pub fn off(conn: &mut AnyConn, ClubId(club): ClubId) -> Result<Vec<Off>, Failure> {
    let mut found = verify::first_off(conn)?;
    let path = format!(
        "SELECT p.id AS id, p.path AS what FROM places p LEFT JOIN places o ON o.id = p.within \
         WHERE p.club_id = {club} \
         AND p.path <> CASE WHEN p.within IS NULL THEN p.name ELSE o.path || '{WITHIN}' || p.name END \
         ORDER BY p.id LIMIT 1"
    );
    found.extend(verify::first(conn, "the path is not made of the names around it", "places", &path)?);
    let glass = format!(
        "SELECT g.id AS id, CAST(g.code AS TEXT) AS what FROM tasting_glasses g \
         JOIN tasting_samples s ON s.id = g.sample_id \
         WHERE g.club_id = {club} AND s.tasting_id <> g.tasting_id ORDER BY g.id LIMIT 1"
    );
    found.extend(verify::first(
        conn,
        "the glass is of another tasting than its sample",
        "tasting_glasses",
        &glass,
    )?);
    Ok(found)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::db::Database;
    use crate::db::connection::Address;

    #[derive(QueryableByName)]
    struct Step {
        #[diesel(sql_type = Text)]
        detail: String,
    }

    #[test]
    fn no_page_sorts_the_rows_that_come_after_it() {
        let folder = std::env::temp_dir().join(format!("undercroft-archive-{}", ClubId::fresh()));
        std::fs::create_dir_all(&folder).unwrap();
        let db = Database::open(&Address::Sqlite(folder.join("cellar.db"))).unwrap();
        let conn = &mut db.connection().unwrap();
        let few = ["places", "counters", "attributes"];
        for file in FILES.iter().filter(|file| file.scope == Scope::Club && !few.contains(&file.table)) {
            let after = vec![1; file.keys.len()];
            let sql = format!("EXPLAIN QUERY PLAN {}", query(true, ClubId(7), file, Some(&after)));
            let steps: Vec<Step> = diesel::sql_query(sql).load(conn).unwrap();
            let plan: String = steps.into_iter().map(|step| step.detail + "; ").collect();
            assert!(!plan.contains("FOR ORDER BY"), "{}: {plan}", file.table);
        }
        std::fs::remove_dir_all(&folder).unwrap();
    }
}
