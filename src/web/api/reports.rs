//! Reports by the API: what the cellar is worth, what members paid and took, and every report as its page shows it,
//! with figures for programs.

use serde::Serialize;
use utoipa::ToSchema;

use super::Amount;
use crate::actions::reports::set_yearly_limit;
use crate::db::Failure;
use crate::db::reports as rows;
use crate::domain::members::{Doer, Onlooker, Steward};
use crate::units::days;
use crate::web::body::Json;
use crate::web::extract::{Key, Query};
use crate::web::problem::Problem;
use crate::web::reports::{Asked, Kind, ReportQuery, Table, Value, limit::read_limit};
use crate::web::respond::{Answer, Empty};
use crate::web::site::Site;

/// On which day.
#[derive(serde::Deserialize, utoipa::ToSchema)]
pub struct OnQuery {
    /// The end of this day; now if left out.
    pub on: Option<String>,
}

/// What one kind of stock is worth.
#[derive(Serialize, ToSchema)]
pub struct KindValue {
    /// ingredient, aid, packaging, by-product or drink.
    pub kind: String,
    /// At cost.
    pub cost: String,
}

/// What the cellar is worth, at cost.
#[derive(Serialize, ToSchema)]
pub struct ValueBody {
    /// The day.
    pub day: String,
    /// Stock, by kind of item.
    pub stock: Vec<KindValue>,
    /// Drink that is still in batches.
    pub batches: String,
    /// All of it.
    pub total: String,
}

/// What the cellar is worth.
pub async fn value(who: Onlooker, site: Site, query: Query<OnQuery>) -> Result<Answer<ValueBody>, Problem> {
    let today = who.today();
    let day = query.draft.read(&who, |r| r.optional("on", |text| days::read_past(text, today)))?;
    let club = who.club;
    let read = site.db.read(move |conn| {
        let since = match day {
            Some(day) => rows::value_since(conn, club, day)?,
            None => rows::Value::default(),
        };
        Ok::<_, Failure>(rows::value(conn, club)?.less(&since))
    });
    let value = read.await?;
    let kind = |(kind, cost): &(crate::domain::stock::ItemKind, crate::units::money::Money)| KindValue {
        kind: kind.code().to_owned(),
        cost: cost.plain(),
    };
    Ok(Answer(ValueBody {
        day: days::iso(day.unwrap_or(today)),
        stock: value.stock.iter().map(kind).collect(),
        batches: value.batches.plain(),
        total: value.total().plain(),
    }))
}

/// What a member paid and took.
#[derive(Serialize, ToSchema)]
pub struct MemberMoneyBody {
    /// Who.
    pub member: String,
    /// Their name.
    pub name: String,
    /// What they paid for supplies.
    pub paid: String,
    /// What they paid to the club, less what the club paid them.
    pub paid_in: String,
    /// What they took home, at cost.
    pub took: String,
    /// Paid and paid in, less took: below zero is owed to the club.
    pub balance: String,
}

/// What members paid and took.
#[derive(Serialize, ToSchema)]
pub struct MembersMoney {
    /// By name.
    pub items: Vec<MemberMoneyBody>,
    /// Always null: there is no second part.
    pub next: Option<String>,
}

/// What members paid and took: everyone for a steward, oneself for anyone else.
pub async fn members(who: Onlooker, site: Site) -> Result<Answer<MembersMoney>, Problem> {
    let doer = Doer::clone(&who);
    let found = site.db.read(move |conn| rows::seen_by(conn, &doer)).await?;
    let items = found.into_iter().map(|money| MemberMoneyBody {
        member: money.member.to_string(),
        name: money.name,
        paid: money.paid.plain(),
        paid_in: money.paid_in.plain(),
        took: money.took.plain(),
        balance: money.owes.negated().plain(),
    });
    Ok(Answer(MembersMoney { items: items.collect(), next: None }))
}

/// A column of a table.
#[derive(Serialize, ToSchema)]
pub struct ReportColumn {
    /// Its name, as in the file.
    pub key: String,
    /// What stands over it on the page; empty where the page says it with the figure.
    pub head: String,
}

/// A table of a report.
#[derive(Serialize, ToSchema)]
pub struct ReportTable {
    /// In a word or two.
    pub name: String,
    /// What stands in it.
    pub caption: String,
    /// Its columns.
    pub columns: Vec<ReportColumn>,
    /// Its rows without their sums: a text for each column, numbers as decimals, amounts in the unit of their row.
    pub rows: Vec<Vec<String>>,
}

/// A report.
#[derive(Serialize, ToSchema)]
pub struct ReportBody {
    /// Its name.
    pub title: String,
    /// The first of its days.
    pub first: String,
    /// The last of its days.
    pub last: String,
    /// The answer in a sentence.
    pub lead: String,
    /// Its tables.
    pub tables: Vec<ReportTable>,
    /// How its figures are meant.
    pub notes: Vec<String>,
}

/// A report of a year, a drink or a day.
pub async fn report(
    kind: &'static Kind,
    who: Onlooker,
    site: Site,
    query: Query<ReportQuery>,
) -> Result<Answer<ReportBody>, Problem> {
    let asked = Asked::read(&query.draft, &who)?;
    let doer = Doer::clone(&who);
    let read = site.db.read(move |conn| {
        let asked = asked.within_books(conn, &doer)?;
        Ok::<_, Failure>(((kind.work_out)(conn, &doer, &asked)?, asked))
    });
    let (found, asked) = read.await?;
    let table = |table: &Table| ReportTable {
        name: table.name.to_owned(),
        caption: table.caption.clone(),
        columns: (table.kept())
            .map(|(_, column)| ReportColumn { key: column.key.to_owned(), head: column.head.clone() })
            .collect(),
        rows: table.lines().map(|line| line.into_iter().map(Value::plain).collect()).collect(),
    };
    let caution = found.caution.iter().flat_map(|caution| caution.points.clone());
    Ok(Answer(ReportBody {
        title: kind.title.to_owned(),
        first: days::iso(asked.span.first),
        last: days::iso(asked.span.last),
        lead: found.lead,
        tables: found.tables.iter().map(table).collect(),
        notes: caution.chain(found.notes).collect(),
    }))
}

/// How much may be made in a year.
#[derive(ToSchema)]
pub struct NewLimit {
    /// A volume, or nothing for none.
    pub limit: Option<Amount>,
}

/// Enter how much may be made in a year.
pub async fn set_limit(who: Steward, site: Site, key: Key, sent: Json<NewLimit>) -> Result<Empty, Problem> {
    let limit = read_limit(&sent.draft, &who)?;
    set_yearly_limit(&site.db, &who, key.0, limit).await?;
    Ok(Empty)
}
