//! Reports by the API: what the cellar is worth, and what members paid and took. Costs are those of batches
//! and bottlings, yields those of batches.

use serde::Serialize;
use utoipa::ToSchema;

use crate::db::Failure;
use crate::db::reports as rows;
use crate::domain::members::{Doer, Onlooker};
use crate::units::days;
use crate::web::extract::Query;
use crate::web::problem::Problem;
use crate::web::respond::Answer;
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
