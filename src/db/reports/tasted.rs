//! The tastings of some days: what was poured, who judged, and, once the key is open, the marks for the whole.

use std::collections::HashMap;

use diesel::prelude::*;
use diesel::sql_types::{BigInt, Bool, Date, Nullable, Text};

use crate::db::connection::AnyConn;
use crate::db::failure::Failure;
use crate::domain::reports::Span;
use crate::domain::tastings::Method;
use crate::domain::tastings::sheet::WHOLE;
use crate::units::days::Day;
use crate::units::ids::{ClubId, TastingId};

/// One tasting.
#[derive(Debug, Clone, PartialEq)]
pub struct Tasted {
    /// Which.
    pub id: TastingId,
    /// Its number.
    pub code: String,
    /// What the club calls it.
    pub title: String,
    /// When.
    pub day: Day,
    /// How it was judged.
    pub method: Method,
    /// The key is open.
    pub open: bool,
    /// How many sheets were handed in.
    pub sheets: i64,
    /// What was poured, in the order of the plan; empty before the key is open.
    pub poured: Vec<Poured>,
}

/// A bottling at a tasting.
#[derive(Debug, Clone, PartialEq)]
pub struct Poured {
    /// Its code.
    pub code: String,
    /// The drink.
    pub drink: String,
    /// Its age then.
    pub age_days: i64,
    /// The mean mark for the whole, 0 to 10; none where nobody marked it.
    pub mean: Option<f64>,
    /// How many marked it.
    pub marks: i64,
}

#[derive(QueryableByName)]
struct TastingRow {
    #[diesel(sql_type = BigInt)]
    id: TastingId,
    #[diesel(sql_type = Text)]
    code: String,
    #[diesel(sql_type = Text)]
    title: String,
    #[diesel(sql_type = Date)]
    day: Day,
    #[diesel(sql_type = Text)]
    method: Method,
    #[diesel(sql_type = Bool)]
    open: bool,
    #[diesel(sql_type = BigInt)]
    sheets: i64,
}

#[derive(QueryableByName)]
struct PouredRow {
    #[diesel(sql_type = BigInt)]
    tasting: TastingId,
    #[diesel(sql_type = Text)]
    code: String,
    #[diesel(sql_type = Text)]
    drink: String,
    #[diesel(sql_type = Date)]
    bottled_on: Day,
    #[diesel(sql_type = Nullable<BigInt>)]
    sum: Option<i64>,
    #[diesel(sql_type = Nullable<BigInt>)]
    marks: Option<i64>,
}

/// The tastings of some days that were begun and not called off, the latest first.
pub fn tasted(conn: &mut AnyConn, club: ClubId, span: Span) -> Result<Vec<Tasted>, Failure> {
    let rows: Vec<TastingRow> = diesel::sql_query(
        "SELECT id, code, title, day, method, opened_at IS NOT NULL AS open, \
         (SELECT COUNT(*) FROM tasting_sheets WHERE tasting_sheets.tasting_id = tastings.id \
             AND tasting_sheets.handed_in_at IS NOT NULL) AS sheets FROM tastings \
         WHERE club_id = $1 AND day >= $2 AND day <= $3 AND begun_at IS NOT NULL AND called_off_at IS NULL \
         ORDER BY day DESC, id DESC",
    )
    .bind::<BigInt, _>(club)
    .bind::<Date, _>(span.first)
    .bind::<Date, _>(span.last)
    .load(conn)?;
    let mut poured = poured(conn, club, span)?;
    let told = |row: TastingRow| {
        let day = row.day;
        let shown = |row: PouredRow| Poured {
            code: row.code,
            drink: row.drink,
            age_days: (day - row.bottled_on).num_days(),
            mean: mean(row.sum.unwrap_or_default(), row.marks.unwrap_or_default()),
            marks: row.marks.unwrap_or_default(),
        };
        Tasted {
            poured: poured.remove(&row.id).unwrap_or_default().into_iter().map(shown).collect(),
            id: row.id,
            code: row.code,
            title: row.title,
            day,
            method: row.method,
            open: row.open,
            sheets: row.sheets,
        }
    };
    Ok(rows.into_iter().map(told).collect())
}

/// Marks are kept in tenths.
#[allow(clippy::cast_precision_loss, reason = "some hundreds of marks of at most 100 tenths")]
fn mean(sum: i64, marks: i64) -> Option<f64> {
    (marks > 0).then(|| sum as f64 / 10.0 / marks as f64)
}

fn poured(
    conn: &mut AnyConn,
    club: ClubId,
    span: Span,
) -> Result<HashMap<TastingId, Vec<PouredRow>>, Failure> {
    let rows: Vec<PouredRow> = diesel::sql_query(
        "SELECT tastings.id AS tasting, bottlings.code AS code, batches.name AS drink, \
         bottlings.bottled_on AS bottled_on, marked.sum AS sum, marked.marks AS marks FROM tastings \
         JOIN tasting_samples ON tasting_samples.tasting_id = tastings.id \
         JOIN bottlings ON bottlings.id = tasting_samples.bottling_id \
         JOIN batches ON batches.id = bottlings.batch_id \
         LEFT JOIN (SELECT tasting_glasses.sample_id AS sample_id, CAST(SUM(tasting_marks.mark) AS BIGINT) AS sum, \
             COUNT(*) AS marks FROM tastings heard \
             JOIN tasting_sheets ON tasting_sheets.tasting_id = heard.id \
             JOIN tasting_marks ON tasting_marks.sheet_id = tasting_sheets.id \
             JOIN tasting_glasses ON tasting_glasses.id = tasting_marks.glass_id \
             WHERE heard.club_id = $1 AND heard.day >= $2 AND heard.day <= $3 \
             AND tasting_sheets.handed_in_at IS NOT NULL AND tasting_marks.attribute = $4 \
             GROUP BY tasting_glasses.sample_id) marked ON marked.sample_id = tasting_samples.id \
         WHERE tastings.club_id = $1 AND tastings.day >= $2 AND tastings.day <= $3 \
         AND tastings.opened_at IS NOT NULL AND tastings.called_off_at IS NULL \
         ORDER BY tastings.id, tasting_samples.number",
    )
    .bind::<BigInt, _>(club)
    .bind::<Date, _>(span.first)
    .bind::<Date, _>(span.last)
    .bind::<BigInt, _>(i64::from(WHOLE))
    .load(conn)?;
    let mut found: HashMap<TastingId, Vec<PouredRow>> = HashMap::new();
    for row in rows {
        found.entry(row.tasting).or_default().push(row);
    }
    Ok(found)
}
