//! Measures the trace of a lot through a large network: `cargo bench --bench trace` makes 10 000 batches that flow into
//! each other, and 100 000 lots, follows the first lot down to everything that came of it and the last one up, and
//! prints how long that takes beside a recursive query of the same database in the same run. It asserts nothing.

use std::error::Error;
use std::time::{Duration, Instant};

use diesel::connection::SimpleConnection;
use diesel::prelude::*;
use diesel::sql_types::BigInt;
use undercroft::db::connection::Address;
use undercroft::db::trace::{Node, Way, walk};
use undercroft::db::{AnyConn, Database, members, stock};

/// Each batch draws nine lots, flows into two others, and is bottled; the last one flows back into the first.
const NETWORK: &str = "
INSERT INTO clubs (id, name, currency, time_zone, created_at)
    VALUES (1, 'Tidemill Cellar Club', 'EUR', 'Europe/Amsterdam', '2026-01-01 00:00:00');
INSERT INTO persons (id, email, name, password_hash, created_at)
    VALUES (1, 'marit@tidemill.example', 'Marit', '', '2026-01-01 00:00:00');
INSERT INTO members (id, club_id, person_id, name, role, joined_on)
    VALUES (1, 1, 1, 'Marit', 'steward', '2026-01-01');
INSERT INTO items (id, club_id, name, folded, kind, unit, allergens, splits_lactose)
    VALUES (1, 1, 'Pear juice', 'pear juice', 'ingredient', 'mL', '', FALSE);
INSERT INTO places (id, club_id, name, path, folded) VALUES (1, 1, 'Cellar', 'Cellar', 'cellar');
CREATE TEMP TABLE n AS WITH RECURSIVE n (n) AS (SELECT 0 UNION ALL SELECT n + 1 FROM n WHERE n < 9999) SELECT n FROM n;
CREATE TEMP TABLE k AS WITH RECURSIVE k (k) AS (SELECT 0 UNION ALL SELECT k + 1 FROM k WHERE k < 8) SELECT k FROM k;
INSERT INTO batches (id, club_id, code, name, planned_on, created_by, stage)
    SELECT 1000000 + n, 1, n, 'Perry', '2026-01-01', 1, 'resting' FROM n;
INSERT INTO entries (id, club_id, kind, day, recorded_at, recorded_by, remark)
    VALUES (1, 1, 'receipt', '2026-01-01', '2026-01-01 00:00:00', 1, '');
INSERT INTO entries (id, club_id, kind, day, recorded_at, recorded_by, batch_id, remark)
    SELECT 3000000 + n, 1, 'draw', '2026-01-02', '2026-01-02 00:00:00', 1, 1000000 + n, '' FROM n;
INSERT INTO entries (id, club_id, kind, day, recorded_at, recorded_by, batch_id, remark)
    SELECT 4000000 + n, 1, 'blend', '2026-01-03', '2026-01-03 00:00:00', 1, 1000000 + (n + 9999) % 10000 / 2, '' FROM n;
INSERT INTO entries (id, club_id, kind, day, recorded_at, recorded_by, batch_id, remark)
    SELECT 5000000 + n, 1, 'bottling', '2026-01-04', '2026-01-04 00:00:00', 1, 1000000 + n, '' FROM n;
INSERT INTO lots (id, club_id, item_id, code, entry_id, received_on, supplier, supplier_mark)
    SELECT 2000000 + 10 * n + k, 1, 1, 'L-' || (10 * n + k), 1, '2026-01-01', '', '' FROM n, k;
INSERT INTO lots (id, club_id, item_id, code, entry_id, batch_id, received_on, supplier, supplier_mark)
    SELECT 2000009 + 10 * n, 1, 1, 'L-' || (10 * n + 9), 5000000 + n, 1000000 + n, '2026-01-04', '', '' FROM n;
INSERT INTO accounts (id, club_id, key, kind, lot_id, place_id, opened_on, quantity, cost)
    SELECT id + 4000000, 1, 's' || id, 'stock', id, 1, '2026-01-01', 1000, 0 FROM lots;
INSERT INTO accounts (id, club_id, key, kind, batch_id, opened_on, quantity, cost)
    SELECT 8000000 + n, 1, 'b' || n, 'batch', 1000000 + n, '2026-01-01', 1000, 0 FROM n;
INSERT INTO postings (entry_id, line, club_id, account_id, day, quantity, cost)
    SELECT 3000000 + n, k + 1, 1, 6000000 + 10 * n + k, '2026-01-02', -1000, 0 FROM n, k
    UNION ALL SELECT 3000000 + n, 10, 1, 8000000 + n, '2026-01-02', 9000, 0 FROM n
    UNION ALL SELECT 4000000 + n, 1, 1, 8000000 + (n + 9999) % 10000 / 2, '2026-01-03', -1000, 0 FROM n
    UNION ALL SELECT 4000000 + n, 2, 1, 8000000 + n, '2026-01-03', 1000, 0 FROM n
    UNION ALL SELECT 5000000 + n, 1, 1, 8000000 + n, '2026-01-04', -1000, 0 FROM n
    UNION ALL SELECT 5000000 + n, 2, 1, 6000009 + 10 * n, '2026-01-04', 1000, 0 FROM n;
";

/// The accounts that are reached from the first lot, or from which the last is reached.
fn recursive(down: bool) -> String {
    let (from, to, start) = if down { ("<", ">", 6_000_000) } else { (">", "<", 6_099_999) };
    format!(
        "WITH RECURSIVE reached (account) AS (SELECT CAST({start} AS BIGINT) UNION
             SELECT other.account_id FROM reached
             JOIN postings own ON own.account_id = reached.account AND own.quantity {from} 0
             JOIN entries ON entries.id = own.entry_id
                 AND entries.kind IN ('draw', 'pitch', 'by-product', 'bottling', 'split', 'blend')
             JOIN postings other ON other.entry_id = own.entry_id AND other.quantity {to} 0
             WHERE NOT EXISTS (SELECT 1 FROM entries back WHERE back.reverses = entries.id))
         SELECT COUNT(*) AS n FROM reached"
    )
}

#[derive(QueryableByName)]
struct Count {
    #[diesel(sql_type = BigInt)]
    n: i64,
}

/// The median of some runs, and what was counted.
fn median(mut work: impl FnMut() -> Result<i64, Box<dyn Error>>) -> Result<(Duration, i64), Box<dyn Error>> {
    let mut runs = Vec::new();
    let mut counted = 0;
    for _ in 0..11 {
        let start = Instant::now();
        counted = work()?;
        runs.push(start.elapsed());
    }
    runs.sort();
    Ok((runs[5], counted))
}

fn main() -> Result<(), Box<dyn Error>> {
    let path = std::env::temp_dir().join(format!("undercroft-trace-{}.db", std::process::id()));
    let measured = measure(&path.to_string_lossy());
    for end in ["", "-wal", "-shm"] {
        let _ = std::fs::remove_file(format!("{}{end}", path.display()));
    }
    measured
}

fn measure(path: &str) -> Result<(), Box<dyn Error>> {
    let db = Database::open(&Address::read(path))?;
    let mut conn: AnyConn = db.connection()?;
    conn.batch_execute(&format!("BEGIN; {NETWORK} COMMIT;"))?;
    let (club, _) = members::clubs(&mut conn)?.into_iter().next().ok_or("there is a club")?;
    for (name, code, way) in
        [("down from the first lot", "L-0", Way::Down), ("up from the last", "L-99999", Way::Up)]
    {
        let lot = stock::lot_coded(&mut conn, club, code)?;
        let ours = median(|| {
            let reached = walk(&mut conn, Node::Lot(lot), way, usize::MAX)?;
            Ok(i64::try_from(reached.nodes.len())?)
        })?;
        let query = recursive(way == Way::Down);
        let plain = median(|| Ok(diesel::sql_query(&query).get_result::<Count>(&mut conn)?.n))?;
        println!(
            "{name:<24} {:>8.1} ms for {} lots and batches; a recursive query {:>8.1} ms for {}; ratio {:.2}",
            ours.0.as_secs_f64() * 1e3,
            ours.1,
            plain.0.as_secs_f64() * 1e3,
            plain.1,
            ours.0.as_secs_f64() / plain.0.as_secs_f64()
        );
    }
    Ok(())
}
