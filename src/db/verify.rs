//! Re-deriving everything kept from the journal, and what reports add up, and naming the first row that is off.

use std::fmt;

mod sums;

use diesel::prelude::*;
use diesel::sql_types::{BigInt, Text};

use super::connection::{AnyConn, read_now};
use super::failure::Failure;
use super::schema::batches;
use crate::domain::batches::{Stage, progress};
use crate::units::days::Day;
use crate::units::ids::BatchId;

/// What was checked and what was found.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct Findings {
    /// Entries looked at.
    pub entries: i64,
    /// Postings looked at.
    pub postings: i64,
    /// Accounts looked at.
    pub accounts: i64,
    /// Batches looked at.
    pub batches: i64,
    /// What is off, in words that name the row; empty when all is well.
    pub off: Vec<String>,
}

/// A row that is off.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Off {
    /// The table.
    pub table: &'static str,
    /// Which row.
    pub id: i64,
    /// What that means.
    pub meaning: String,
    /// What the row says.
    pub what: String,
}

impl fmt::Display for Off {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let Self { table, id, meaning, what } = self;
        write!(f, "{meaning}: row {id} of {table} ({what})")
    }
}

#[derive(QueryableByName)]
struct Found {
    #[diesel(sql_type = BigInt)]
    id: i64,
    #[diesel(sql_type = Text)]
    what: String,
}

#[derive(QueryableByName)]
struct Count {
    #[diesel(sql_type = BigInt)]
    n: i64,
}

/// Each check: what it means, the table whose rows it names, and a query for the first row that breaks it.
const CHECKS: &[(&str, &str, &str)] = &[
    (
        "the costs of an entry do not add up to zero",
        "entries",
        "SELECT entry_id AS id, 'sum ' || CAST(SUM(cost) AS TEXT) AS what FROM postings \
         GROUP BY entry_id HAVING SUM(cost) <> 0 ORDER BY entry_id LIMIT 1",
    ),
    (
        "an entry has no postings",
        "entries",
        "SELECT e.id AS id, e.kind AS what FROM entries e \
         WHERE NOT EXISTS (SELECT 1 FROM postings p WHERE p.entry_id = e.id) ORDER BY e.id LIMIT 1",
    ),
    (
        "a balance differs from the sum of its postings",
        "accounts",
        "SELECT a.id AS id, a.key AS what FROM accounts a LEFT JOIN \
         (SELECT account_id, SUM(quantity) AS q, SUM(cost) AS c FROM postings GROUP BY account_id) p \
         ON p.account_id = a.id \
         WHERE a.quantity <> COALESCE(p.q, 0) OR a.cost <> COALESCE(p.c, 0) ORDER BY a.id LIMIT 1",
    ),
    (
        "stock or a batch holds less than nothing",
        "accounts",
        "SELECT id, key AS what FROM accounts \
         WHERE kind IN ('stock', 'batch') AND (quantity < 0 OR cost < 0) ORDER BY id LIMIT 1",
    ),
    (
        "stock or a batch held less than nothing at the end of a day",
        "accounts",
        "SELECT a.id AS id, a.key || ' on ' || CAST(MIN(d.day) AS TEXT) AS what FROM accounts a JOIN \
         (SELECT account_id, day, SUM(SUM(quantity)) OVER (PARTITION BY account_id ORDER BY day) AS held \
          FROM postings GROUP BY account_id, day) d ON d.account_id = a.id \
         WHERE a.kind IN ('stock', 'batch') AND d.held < 0 GROUP BY a.id, a.key ORDER BY a.id LIMIT 1",
    ),
    (
        "stock has cost without quantity",
        "accounts",
        "SELECT id, key AS what FROM accounts \
         WHERE kind = 'stock' AND quantity = 0 AND cost <> 0 ORDER BY id LIMIT 1",
    ),
    (
        "a posting is dated otherwise than its entry, or belongs to another club",
        "entries",
        "SELECT e.id AS id, e.kind AS what FROM postings p JOIN entries e ON e.id = p.entry_id \
         JOIN accounts a ON a.id = p.account_id \
         WHERE p.day <> e.day OR p.club_id <> e.club_id OR a.club_id <> e.club_id ORDER BY e.id LIMIT 1",
    ),
    (
        "a reversal does not take back exactly what it reverses",
        "entries",
        "SELECT r.id AS id, 'reverses ' || CAST(r.reverses AS TEXT) AS what FROM entries r \
         WHERE r.reverses IS NOT NULL AND ( \
             (SELECT COUNT(*) FROM postings WHERE entry_id = r.id) \
                 <> (SELECT COUNT(*) FROM postings WHERE entry_id = r.reverses) \
             OR EXISTS (SELECT 1 FROM postings p LEFT JOIN postings q \
                 ON q.entry_id = r.id AND q.account_id = p.account_id AND q.line = p.line \
                 WHERE p.entry_id = r.reverses \
                 AND (q.entry_id IS NULL OR q.quantity <> -p.quantity OR q.cost <> -p.cost))) \
         ORDER BY r.id LIMIT 1",
    ),
    (
        "an ended batch still holds something",
        "batches",
        "SELECT b.id AS id, b.code AS what FROM batches b JOIN accounts a ON a.batch_id = b.id \
         WHERE b.stage IN ('closed', 'abandoned') AND (a.quantity <> 0 OR a.cost <> 0) ORDER BY b.id LIMIT 1",
    ),
    (
        "a bill is not all there",
        "bills",
        // Three bytes are four letters of base64.
        "SELECT b.id AS id, b.name AS what FROM bills b LEFT JOIN \
         (SELECT bill_id, SUM(LENGTH(held)) AS letters FROM bill_parts GROUP BY bill_id) p ON p.bill_id = b.id \
         WHERE COALESCE(p.letters, 0) <> CASE WHEN b.struck_at IS NULL THEN (b.size + 2) / 3 * 4 ELSE 0 END \
         ORDER BY b.id LIMIT 1",
    ),
];

/// Check the whole database, in one snapshot: what is written meanwhile does not look off.
pub fn verify(conn: &mut AnyConn) -> Result<Findings, Failure> {
    read_now(conn, check)
}

fn check(conn: &mut AnyConn) -> Result<Findings, Failure> {
    let mut off = first_off(conn)?;
    off.extend(sums::first_off(conn)?);
    Ok(Findings {
        entries: count(conn, "entries")?,
        postings: count(conn, "postings")?,
        accounts: count(conn, "accounts")?,
        batches: count(conn, "batches")?,
        off: off.iter().map(Off::to_string).collect(),
    })
}

/// The first row that breaks each of the checks.
pub(super) fn first_off(conn: &mut AnyConn) -> Result<Vec<Off>, Failure> {
    let mut off = Vec::new();
    for (meaning, table, query) in CHECKS {
        off.extend(first(conn, meaning, table, query)?);
    }
    off.extend(first_wrong_stage(conn)?);
    off.extend(super::batches::first_curve_off(conn)?.map(|(batch, code)| Off {
        table: "batches",
        id: batch.0,
        meaning: "the curves of a batch are not those of its readings".to_owned(),
        what: code,
    }));
    off.extend(super::climate::first_off(conn)?.map(|(place, path)| Off {
        table: "places",
        id: place.0,
        meaning: "the days of a place are not what its readings come to".to_owned(),
        what: path,
    }));
    Ok(off)
}

/// The first row that a query finds.
pub(super) fn first(
    conn: &mut AnyConn,
    meaning: &str,
    table: &'static str,
    query: &str,
) -> Result<Option<Off>, Failure> {
    let found: Option<Found> = diesel::sql_query(query).get_result(conn).optional()?;
    Ok(found.map(|Found { id, what }| Off { table, id, meaning: meaning.to_owned(), what }))
}

fn count(conn: &mut AnyConn, table: &str) -> Result<i64, Failure> {
    Ok(diesel::sql_query(format!("SELECT COUNT(*) AS n FROM {table}")).get_result::<Count>(conn)?.n)
}

fn first_wrong_stage(conn: &mut AnyConn) -> Result<Option<Off>, Failure> {
    let kept: Vec<(BatchId, String, Stage, Option<Day>)> = batches::table
        .order(batches::id)
        .select((batches::id, batches::code, batches::stage, batches::pitched_on))
        .load(conn)?;
    for (id, code, kept, pitched_on) in kept {
        let follows = progress(&super::batches::moves(conn, id)?);
        if (kept, pitched_on) != (follows.stage, follows.pitched_on) {
            let (kept, follows) = (kept.label(), follows.stage.label());
            return Ok(Some(Off {
                table: "batches",
                id: id.0,
                meaning: "the stage of a batch does not follow from its entries".to_owned(),
                what: format!("batch {code} is kept as {kept}, but {follows} follows"),
            }));
        }
    }
    Ok(None)
}
