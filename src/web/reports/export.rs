//! Reports as files. A long one is read and sent part by part, so that no more than two parts are in memory.

use super::{COLUMNS, costed, percent, yields};
use crate::db::reports as rows;
use crate::domain::bottles::cost_per_bottle;
use crate::domain::members::{Doer, Onlooker, Steward};
use crate::units::days;
use crate::web::problem::Problem;
use crate::web::respond::Reply;
use crate::web::site::Site;
use crate::web::spreadsheet::{self, Cell};

/// Rows of one part. Yields read all of a batch for a row, so theirs are smaller.
const ROWS: i64 = 500;
const YIELDS: i64 = 50;

fn name(what: &str, doer: &Doer) -> String {
    format!("{what}-{}.csv", days::iso(doer.today()))
}

/// How every batch yielded, in per cent.
pub async fn yields_file(who: Onlooker, site: Site) -> Reply {
    let leaving = spreadsheet::leaving(&site, &who, "exported the yields").await?;
    let (db, club) = (site.db.clone(), who.club);
    let part = move |after| {
        let db = db.clone();
        async move {
            let found = db.read(move |conn| yields(conn, club, after, YIELDS)).await?;
            let next = (found.len() == 50).then(|| found.last().map(|yields| yields.batch.id)).flatten();
            let row = |yields: &super::Yields| {
                let percent =
                    |name| Cell::ours(percent(yields, name).map(|it| format!("{it:.2}")).unwrap_or_default());
                let batch = &yields.batch;
                let [curd, alcohol, bottled] = COLUMNS.map(percent);
                let (code, stage) = (Cell::ours(&batch.code), Cell::ours(batch.stage.code()));
                vec![
                    code,
                    Cell::typed(&batch.name),
                    stage,
                    Cell::ours(days::iso(batch.planned_on)),
                    curd,
                    alcohol,
                    bottled,
                ]
            };
            Ok::<_, Problem>((found.iter().map(row).collect(), next))
        }
    };
    let header = &[
        "batch",
        "drink",
        "stage",
        "planned_on",
        "curd_from_milk_percent",
        "alcohol_from_sugar_percent",
        "bottled_from_must_percent",
    ];
    spreadsheet::sent(leaving, name("yields", &who), header, part).await
}

/// What every bottling cost.
pub async fn costs_file(who: Onlooker, site: Site) -> Reply {
    let leaving = spreadsheet::leaving(&site, &who, "exported the costs").await?;
    let (db, club, currency) = (site.db.clone(), who.club, who.currency.clone());
    let part = move |after| {
        let (db, currency) = (db.clone(), currency.clone());
        async move {
            let found = db.read(move |conn| costed(conn, club, after, ROWS)).await?;
            let next = (found.len() == 500).then(|| found.last().map(|row| row.0.id)).flatten();
            let rows = found.iter().map(|(bottling, booked)| {
                vec![
                    Cell::ours(&bottling.code),
                    Cell::typed(&bottling.name),
                    Cell::ours(days::iso(bottling.bottled_on)),
                    Cell::ours(bottling.bottles.to_string()),
                    Cell::ours(bottling.bottle_volume.plain()),
                    Cell::ours(booked.plain()),
                    Cell::ours(cost_per_bottle(*booked, bottling.bottles).plain()),
                    Cell::ours(&currency),
                ]
            });
            Ok::<_, Problem>((rows.collect(), next))
        }
    };
    let header = &[
        "bottling",
        "drink",
        "bottled_on",
        "bottles",
        "bottle_volume_ml",
        "cost",
        "cost_per_bottle",
        "currency",
    ];
    spreadsheet::sent(leaving, name("costs", &who), header, part).await
}

/// What every member paid and took.
pub async fn members_file(who: Steward, site: Site) -> Reply {
    let leaving = spreadsheet::leaving(&site, &who, "exported what members paid and took").await?;
    let club = who.club;
    let found = site.db.read(move |conn| rows::by_member(conn, club)).await?;
    let rows = found.into_iter().map(|money| {
        vec![
            Cell::typed(money.name),
            Cell::ours(money.paid.plain()),
            Cell::ours(money.paid_in.plain()),
            Cell::ours(money.took.plain()),
            Cell::ours(money.owes.negated().plain()),
            Cell::ours(&who.currency),
        ]
    });
    spreadsheet::csv(
        &leaving,
        &name("members", &who),
        &["member", "paid_for_supplies", "paid_in", "took", "balance", "currency"],
        rows,
    )
}
