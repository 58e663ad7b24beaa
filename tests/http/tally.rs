//! What is in a database, as numbers that change with anything a member can record.

use diesel::prelude::*;
use diesel::sql_types::{BigInt, Text};
use undercroft::db::AnyConn;

/// Each number by its name; of the audit log, of sessions, and of when a token was used there is none.
pub type Tally = Vec<(String, i64)>;

#[derive(QueryableByName)]
struct Row {
    #[diesel(sql_type = Text)]
    what: String,
    #[diesel(sql_type = BigInt)]
    n: i64,
}

/// A name, a sum, and over what.
const SUMS: &[(&str, &str)] = &[
    ("entries", "COUNT(*) AS n FROM entries"),
    ("postings", "COUNT(*) AS n FROM postings"),
    ("accounts", "COUNT(*) AS n FROM accounts"),
    ("quantities", "SUM(quantity) AS n FROM accounts"),
    ("costs of stock", "SUM(cost) AS n FROM accounts WHERE kind = 'stock'"),
    ("costs of batches", "SUM(cost) AS n FROM accounts WHERE kind = 'batch'"),
    ("lots", "COUNT(*) AS n FROM lots"),
    ("bills", "COUNT(*) AS n FROM bills"),
    ("what bills hold", "SUM(LENGTH(held)) AS n FROM bill_parts"),
    ("items", "COUNT(*) AS n FROM items"),
    ("names of items", "SUM(LENGTH(name)) AS n FROM items"),
    ("places", "COUNT(*) AS n FROM places"),
    ("names of places", "SUM(LENGTH(path)) AS n FROM places"),
    ("batches", "COUNT(*) AS n FROM batches"),
    ("stages", "SUM(LENGTH(stage)) AS n FROM batches"),
    ("recipes", "COUNT(*) AS n FROM recipes"),
    ("recipes put aside", "COUNT(aside_at) AS n FROM recipes"),
    ("revisions", "COUNT(*) AS n FROM recipe_revisions"),
    ("lines of recipes", "SUM(amount) AS n FROM recipe_supplies"),
    ("what comes off by recipes", "SUM(amount) AS n FROM recipe_by_products"),
    ("steps of recipes", "COUNT(*) AS n FROM recipe_steps"),
    ("batches by a recipe", "COUNT(recipe_revision_id) AS n FROM batches"),
    ("steps", "SUM(turn) AS n FROM steps"),
    ("records of steps", "COUNT(*) AS n FROM step_records"),
    ("steps done", "COUNT(done_at) AS n FROM step_records"),
    ("struck records", "COUNT(struck_at) AS n FROM step_records"),
    ("readings of steps", "COUNT(*) AS n FROM step_readings"),
    ("readings", "COUNT(*) AS n FROM readings"),
    ("struck readings", "COUNT(struck_at) AS n FROM readings"),
    ("instruments", "COUNT(*) AS n FROM instruments"),
    ("names of instruments", "SUM(LENGTH(name)) AS n FROM instruments"),
    ("files of loggers", "COUNT(*) AS n FROM reading_imports"),
    ("files undone", "COUNT(undone_at) AS n FROM reading_imports"),
    ("efforts", "COUNT(*) AS n FROM efforts"),
    ("efforts struck", "COUNT(struck_at) AS n FROM efforts"),
    ("ways of by-products", "SUM(LENGTH(by_products_by)) AS n FROM clubs"),
    ("bottlings", "COUNT(*) AS n FROM bottlings"),
    ("tasting ages", "COUNT(*) AS n FROM tasting_ages"),
    ("tastings", "COUNT(*) AS n FROM tastings"),
    ("titles of tastings", "SUM(LENGTH(title)) AS n FROM tastings"),
    ("tastings begun", "COUNT(begun_at) AS n FROM tastings"),
    ("keys opened", "COUNT(opened_at) AS n FROM tastings"),
    ("tastings called off", "COUNT(called_off_at) AS n FROM tastings"),
    ("answers to allergens", "COUNT(may_taste) AS n FROM tasting_sheets"),
    ("sheets in", "COUNT(handed_in_at) AS n FROM tasting_sheets"),
    ("marks", "SUM(mark) AS n FROM tasting_marks"),
    ("words of sheets", "SUM(LENGTH(words)) AS n FROM tasting_answers"),
    ("lines that are marked", "SUM(LENGTH(name)) AS n FROM attributes"),
    ("reminders", "COUNT(*) AS n FROM reminders"),
    ("reminders done", "COUNT(done_at) AS n FROM reminders"),
    ("reminders of somebody", "COUNT(member_id) AS n FROM reminders"),
    ("vessels", "COUNT(*) AS n FROM vessels"),
    ("marks of vessels", "SUM(LENGTH(marks)) AS n FROM vessels"),
    ("vessels cleaned", "COUNT(cleaned_on) AS n FROM vessels"),
    ("vessels out of use", "COUNT(out_of_use_since) AS n FROM vessels"),
    ("fillings", "SUM(volume) AS n FROM fillings"),
    ("fillings that ended", "COUNT(emptied_on) AS n FROM fillings"),
    ("fillings struck out", "COUNT(struck_at) AS n FROM fillings"),
    ("holds", "COUNT(*) AS n FROM holds"),
    ("holds released", "COUNT(released_at) AS n FROM holds"),
    ("reasons", "COUNT(*) AS n FROM reasons"),
    ("counts", "COUNT(*) AS n FROM counts"),
    ("counts ended", "COUNT(ended_at) AS n FROM counts"),
    ("counts over", "COUNT(over_at) AS n FROM counts"),
    ("lines of counts", "COUNT(*) AS n FROM count_lines"),
    ("lines asked again", "COUNT(asked_at) AS n FROM count_lines"),
    ("lines explained", "COUNT(reason) AS n FROM count_lines"),
    ("lines settled", "COUNT(settled_at) AS n FROM count_lines"),
    ("what was counted", "SUM(counted) AS n FROM tallies"),
    ("tallies", "COUNT(*) AS n FROM tallies"),
    ("order of places", "SUM(number) AS n FROM walking_order"),
    ("tolerances", "SUM(tolerance_permille + tolerance_pieces) AS n FROM clubs"),
    ("answers kept", "COUNT(*) AS n FROM requests"),
    ("numbers given", "SUM(last) AS n FROM counters"),
    ("members", "COUNT(*) AS n FROM members"),
    ("members who left", "COUNT(left_on) AS n FROM members"),
    ("roles", "SUM(LENGTH(role)) AS n FROM members"),
    ("persons", "COUNT(*) AS n FROM persons"),
    ("invitations", "COUNT(*) AS n FROM invitations"),
    ("invitations withdrawn", "COUNT(withdrawn_at) AS n FROM invitations"),
    ("tokens", "COUNT(*) AS n FROM tokens"),
    ("tokens revoked", "COUNT(revoked_at) AS n FROM tokens"),
];

/// Counts.
pub fn tally(conn: &mut AnyConn) -> Tally {
    let each = |(what, sum): &(&str, &str)| {
        let (sum, of) = sum.split_once(" AS n ").expect("a sum and over what");
        format!("SELECT '{what}' AS what, CAST(COALESCE({sum}, 0) AS BIGINT) AS n {of}")
    };
    let all: Vec<String> = SUMS.iter().map(each).collect();
    let rows: Vec<Row> =
        diesel::sql_query(all.join(" UNION ALL ")).load(conn).expect("the database is counted");
    rows.into_iter().map(|row| (row.what, row.n)).collect()
}
