//! What was lost in some days, entry by entry: drink that took its cost along, drink that was lost in the usual way and
//! left its cost to the rest, bottles that broke. The costs add up to what the account of losses took in these days.

use std::collections::BTreeMap;

use diesel::dsl::sql;
use diesel::prelude::*;
use diesel::sql_types::{BigInt, Date, Nullable, Text};

use crate::db::connection::AnyConn;
use crate::db::failure::Failure;
use crate::db::schema::{accounts, batches, bottlings, entries, postings};
use crate::domain::books::{Account, EntryKind};
use crate::domain::reports::Span;
use crate::units::days::Day;
use crate::units::ids::{ClubId, EntryId};
use crate::units::money::Money;
use crate::units::quantity::Milli;

/// One loss, or one taken back.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Loss {
    /// The entry.
    pub entry: EntryId,
    /// When.
    pub day: Day,
    /// How it came about.
    pub kind: EntryKind,
    /// It was taken back by this entry.
    pub taken_back: bool,
    /// From which batch: its number and drink.
    pub batch: Option<(String, String)>,
    /// What the member wrote.
    pub remark: String,
    /// Drink in bulk.
    pub volume: Milli,
    /// Bottles.
    pub bottles: Milli,
    /// The cost that went with it.
    pub cost: Money,
}

#[derive(QueryableByName)]
struct Row {
    #[diesel(sql_type = BigInt)]
    entry: EntryId,
    #[diesel(sql_type = Date)]
    day: Day,
    #[diesel(sql_type = Text)]
    kind: EntryKind,
    #[diesel(sql_type = Nullable<BigInt>)]
    reverses: Option<EntryId>,
    #[diesel(sql_type = Text)]
    remark: String,
    #[diesel(sql_type = Nullable<Text>)]
    code: Option<String>,
    #[diesel(sql_type = Nullable<Text>)]
    name: Option<String>,
    #[diesel(sql_type = Text)]
    account: String,
    #[diesel(sql_type = BigInt)]
    quantity: Milli,
    #[diesel(sql_type = BigInt)]
    cost: Money,
}

const LOST: &str = "SELECT entries.id AS entry, entries.day AS day, COALESCE(meant.kind, entries.kind) AS kind, \
     entries.reverses AS reverses, entries.remark AS remark, batches.code AS code, batches.name AS name, \
     accounts.kind AS account, postings.quantity AS quantity, postings.cost AS cost \
     FROM postings JOIN accounts ON accounts.id = postings.account_id \
     JOIN entries ON entries.id = postings.entry_id LEFT JOIN entries meant ON meant.id = entries.reverses \
     LEFT JOIN batches ON batches.id = entries.batch_id \
     WHERE postings.club_id = $1 AND postings.day >= $2 AND postings.day <= $3 AND (accounts.kind = 'lost' \
     OR accounts.kind = 'batch' \
         AND COALESCE(meant.kind, entries.kind) IN ('loss', 'racking', 'closing', 'abandonment') \
     OR accounts.kind = 'stock' AND COALESCE(meant.kind, entries.kind) = 'withdrawal' \
         AND EXISTS (SELECT 1 FROM postings lost JOIN accounts its ON its.id = lost.account_id \
             WHERE lost.entry_id = entries.id AND its.kind = 'lost'))";

/// What was lost in some days, the latest first.
pub fn losses(conn: &mut AnyConn, club: ClubId, span: Span) -> Result<Vec<Loss>, Failure> {
    let rows = diesel::sql_query(LOST).bind::<BigInt, _>(club);
    let rows: Vec<Row> = rows.bind::<Date, _>(span.first).bind::<Date, _>(span.last).load(conn)?;
    let mut found: BTreeMap<EntryId, Loss> = BTreeMap::new();
    for row in rows {
        let loss = found.entry(row.entry).or_insert_with(|| Loss {
            entry: row.entry,
            day: row.day,
            kind: row.kind,
            taken_back: row.reverses.is_some(),
            batch: row.code.zip(row.name),
            remark: row.remark,
            volume: Milli::ZERO,
            bottles: Milli::ZERO,
            cost: Money::ZERO,
        });
        match row.account.as_str() {
            "batch" => loss.volume = loss.volume - row.quantity,
            "stock" => loss.bottles = loss.bottles - row.quantity,
            _ => loss.cost = loss.cost + row.cost,
        }
    }
    let mut found: Vec<Loss> = found.into_values().chain(spilt(conn, club, span)?).collect();
    let nothing = |loss: &Loss| (loss.volume, loss.bottles, loss.cost) == Default::default();
    found.retain(|loss| !nothing(loss));
    found.sort_by_key(|loss| std::cmp::Reverse((loss.day, loss.entry)));
    Ok(found)
}

/// What was spilt at bottlings that stand; it left its cost to the bottles.
fn spilt(conn: &mut AnyConn, club: ClubId, span: Span) -> Result<Vec<Loss>, Failure> {
    let back = diesel::alias!(entries as back);
    let rows: Vec<(EntryId, Day, String, String, Milli)> = bottlings::table
        .inner_join(batches::table.on(batches::id.eq(bottlings::batch_id)))
        .left_join(back.on(back.field(entries::reverses).eq(bottlings::entry_id.nullable())))
        .filter(bottlings::club_id.eq(club).and(back.field(entries::id).nullable().is_null()))
        .filter(bottlings::bottled_on.between(span.first, span.last))
        .select((
            bottlings::entry_id,
            bottlings::bottled_on,
            batches::code,
            batches::name,
            bottlings::lost_volume,
        ))
        .load(conn)?;
    let loss = |(entry, day, code, name, volume)| Loss {
        entry,
        day,
        kind: EntryKind::Bottling,
        taken_back: false,
        batch: Some((code, name)),
        remark: String::new(),
        volume,
        bottles: Milli::ZERO,
        cost: Money::ZERO,
    };
    Ok(rows.into_iter().map(loss).collect())
}

/// What an account that the club has once took (+) or gave (−) in some days.
pub fn account(conn: &mut AnyConn, club: ClubId, of: Account, span: Span) -> Result<Money, Failure> {
    Ok(postings::table
        .inner_join(accounts::table.on(accounts::id.eq(postings::account_id)))
        .filter(accounts::club_id.eq(club).and(accounts::key.eq(of.key())))
        .filter(postings::day.between(span.first, span.last))
        .select(sql::<BigInt>("CAST(COALESCE(SUM(postings.cost), 0) AS BIGINT)"))
        .first(conn)?)
}
