//! Faults that the program cannot make, planted behind its back: the check finds each and names the row.

use diesel::prelude::*;
use diesel::sql_types::Text;
use undercroft::db::verify::Findings;

use crate::ground::cellar::Cellar;
use crate::ground::{Ground, findings, on_both};

on_both!(
    sound_books_pass,
    an_entry_that_makes_money,
    an_entry_without_lines,
    a_balance_that_drifted,
    less_than_nothing,
    less_than_nothing_on_a_past_day,
    a_cost_of_nothing,
    a_line_of_another_day,
    a_line_of_another_club,
    a_reversal_of_something_else,
    a_reversal_with_a_line_too_many,
    an_ended_batch_that_holds_something,
    a_stage_that_does_not_follow,
    a_bottling_that_costs_something_else,
    a_loss_that_is_none,
    a_curve_of_other_values,
    a_day_that_nobody_measured,
);

/// Lets the books be changed on this connection.
fn unlocked(ground: &Ground, sql: &str) {
    let keys = if ground.is_sqlite() {
        "DROP TRIGGER entries_stay; DROP TRIGGER postings_stay; DROP TRIGGER postings_remain; \
         PRAGMA ignore_check_constraints = 1;"
    } else {
        "DROP TRIGGER entries_stay ON entries; DROP TRIGGER postings_stay ON postings; \
         ALTER TABLE accounts DROP CONSTRAINT never_below_zero; \
         ALTER TABLE accounts DROP CONSTRAINT no_cost_without_quantity;"
    };
    ground.tamper(&format!("{keys} {sql}"));
}

/// Two clubs with cellars, one with a reversal, and what the check finds once `sql` has been run on them.
async fn findings_after(ground: &Ground, sql: &str) -> Findings {
    let db = ground.open();
    let cellar = Cellar::new(&db, "Tidemill Cellar Club").await;
    Cellar::new(&db, "Weir Street Makers").await;
    let entry = cellar.bottled.entry;
    let order = undercroft::actions::reversals::TakeBack { entry, reason: "a mistake".to_owned() };
    undercroft::actions::reversals::record_reversal(&db, &cellar.club.hand, None, order)
        .await
        .expect("a reversal");
    unlocked(ground, sql);
    findings(&db)
}

/// Plants a fault; the check says what it means and names the row whose id `row` gives.
async fn finds(ground: &Ground, fault: &str, meaning: &str, table: &str, row: &str) {
    #[derive(QueryableByName)]
    struct Id {
        #[diesel(sql_type = Text)]
        id: String,
    }
    let off = findings_after(ground, fault).await.off;
    let id: Id = diesel::sql_query(format!("SELECT CAST(({row}) AS TEXT) AS id"))
        .get_result(&mut ground.connection())
        .expect("the row is there");
    let named = format!("{meaning}: row {} of {table} ", id.id);
    assert!(off.iter().any(|said| said.starts_with(&named)), "{named}…\nis not among\n{}", off.join("\n"));
}

const DRAW: &str = "SELECT MIN(id) FROM entries WHERE kind = 'draw'";
const MILK: &str = "SELECT MIN(id) FROM accounts WHERE kind = 'stock'";
const REVERSAL: &str = "SELECT MAX(id) FROM entries WHERE kind = 'reversal'";
const BATCH: &str = "SELECT MAX(id) FROM batches";

async fn sound_books_pass(ground: &Ground) {
    let found = findings_after(ground, "").await;
    assert_eq!(found.off, Vec::<String>::new());
    // In each club: a receipt, a draw, curds, the yeast, a bottling; in one of them a reversal.
    assert_eq!((found.entries, found.batches), (11, 2));
    assert_eq!((found.postings, found.accounts), (24, 12));
}

async fn an_entry_that_makes_money(ground: &Ground) {
    let fault = format!("UPDATE postings SET cost = cost + 1 WHERE line = 1 AND entry_id = ({DRAW})");
    finds(ground, &fault, "the costs of an entry do not add up to zero", "entries", DRAW).await;
}

async fn an_entry_without_lines(ground: &Ground) {
    let fault = "INSERT INTO entries (id, club_id, kind, day, recorded_at, recorded_by, remark) \
                 SELECT 7, club_id, 'loss', day, recorded_at, recorded_by, '' FROM entries LIMIT 1";
    finds(ground, fault, "an entry has no postings", "entries", "7").await;
}

async fn a_balance_that_drifted(ground: &Ground) {
    let fault = "UPDATE accounts SET quantity = quantity + 1 WHERE kind = 'stock'";
    finds(ground, fault, "a balance differs from the sum of its postings", "accounts", MILK).await;
}

async fn less_than_nothing(ground: &Ground) {
    let fault = format!("UPDATE accounts SET quantity = -1 WHERE id = ({MILK})");
    finds(ground, &fault, "stock or a batch holds less than nothing", "accounts", MILK).await;
}

async fn less_than_nothing_on_a_past_day(ground: &Ground) {
    let fault = format!(
        "UPDATE entries SET day = '2026-01-07' WHERE id = ({DRAW}); \
         UPDATE postings SET day = '2026-01-07' WHERE entry_id = ({DRAW})"
    );
    let meaning = "stock or a batch held less than nothing at the end of a day";
    finds(ground, &fault, meaning, "accounts", MILK).await;
}

async fn a_cost_of_nothing(ground: &Ground) {
    let fault = format!("UPDATE accounts SET quantity = 0 WHERE id = ({MILK})");
    finds(ground, &fault, "stock has cost without quantity", "accounts", MILK).await;
}

async fn a_line_of_another_day(ground: &Ground) {
    let fault = format!("UPDATE postings SET day = '2026-03-09' WHERE line = 2 AND entry_id = ({DRAW})");
    let meaning = "a posting is dated otherwise than its entry, or belongs to another club";
    finds(ground, &fault, meaning, "entries", DRAW).await;
}

async fn a_line_of_another_club(ground: &Ground) {
    let other = format!("SELECT id FROM accounts WHERE kind = 'batch' AND batch_id = ({BATCH})");
    let fault = format!("UPDATE postings SET account_id = ({other}) WHERE line = 2 AND entry_id = ({DRAW})");
    let meaning = "a posting is dated otherwise than its entry, or belongs to another club";
    finds(ground, &fault, meaning, "entries", DRAW).await;
}

const NOT_EXACTLY: &str = "a reversal does not take back exactly what it reverses";

async fn a_reversal_of_something_else(ground: &Ground) {
    let fault =
        format!("UPDATE postings SET quantity = quantity + 1 WHERE line = 1 AND entry_id = ({REVERSAL})");
    finds(ground, &fault, NOT_EXACTLY, "entries", REVERSAL).await;
}

async fn a_reversal_with_a_line_too_many(ground: &Ground) {
    let fault = format!(
        "INSERT INTO postings (entry_id, line, club_id, account_id, day, quantity, cost) \
         SELECT entry_id, 3, club_id, account_id, day, 0, 0 FROM postings WHERE line = 1 AND entry_id = ({REVERSAL})"
    );
    finds(ground, &fault, NOT_EXACTLY, "entries", REVERSAL).await;
}

async fn an_ended_batch_that_holds_something(ground: &Ground) {
    let fault = format!("UPDATE batches SET stage = 'closed' WHERE id = ({BATCH})");
    finds(ground, &fault, "an ended batch still holds something", "batches", BATCH).await;
}

async fn a_stage_that_does_not_follow(ground: &Ground) {
    let fault = format!("UPDATE batches SET stage = 'working' WHERE id = ({BATCH})");
    finds(ground, &fault, "the stage of a batch does not follow from its entries", "batches", BATCH).await;
    ground.tamper(&format!(
        "UPDATE batches SET stage = 'resting', pitched_on = '2026-01-01' WHERE id = ({BATCH})"
    ));
    let off = findings(&ground.open()).off;
    assert_eq!(off.len(), 1, "the day of the pitch is checked too: {off:?}");
}

async fn a_bottling_that_costs_something_else(ground: &Ground) {
    let standing = "SELECT MIN(b.id) FROM bottlings b WHERE NOT EXISTS \
                    (SELECT 1 FROM entries e WHERE e.reverses = b.entry_id)";
    let batch = "SELECT MIN(id) FROM batches WHERE id <> (SELECT batch_id FROM bottlings b \
                 WHERE b.id = (SELECT MIN(b.id) FROM bottlings b WHERE NOT EXISTS \
                 (SELECT 1 FROM entries e WHERE e.reverses = b.entry_id)))";
    let fault = format!("UPDATE bottlings SET batch_id = ({batch}) WHERE id = ({standing})");
    finds(ground, &fault, "bottles do not cost what was booked", "bottlings", standing).await;
}

async fn a_loss_that_is_none(ground: &Ground) {
    let fault =
        format!("UPDATE accounts SET kind = 'lost', lot_id = NULL, place_id = NULL WHERE id = ({MILK})");
    finds(ground, &fault, "losses are not what their account took", "clubs", "SELECT MIN(id) FROM clubs")
        .await;
}

async fn a_curve_of_other_values(ground: &Ground) {
    let fault = "DELETE FROM reading_weeks WHERE kind = 'temperature'";
    let first = "SELECT MIN(id) FROM batches";
    finds(ground, fault, "the curves of a batch are not those of its readings", "batches", first).await;
}

async fn a_day_that_nobody_measured(ground: &Ground) {
    let place = "SELECT MIN(id) FROM places";
    let fault = format!(
        "INSERT INTO climate_days (id, place_id, day, club_id, readings, mean_micro_c, lowest_micro_c, highest_micro_c, \
         worth_micro) SELECT 7, id, '2026-03-01', club_id, 1, 12000000, 12000000, 12000000, 1000000 FROM places \
         WHERE id = ({place})"
    );
    finds(ground, &fault, "the days of a place are not what its readings come to", "places", place).await;
}
