//! Work and energy beside the books, and how the club counts, by the API.

use serde::Serialize;
use utoipa::ToSchema;

use super::bodies::{NewCounting, NewEffort, Reason};
use crate::actions::efforts as acts;
use crate::db::efforts as rows;
use crate::domain::members::{Cellarhand, Onlooker, Steward};
use crate::units::ids::{BatchId, EffortId};
use crate::units::money::Money;
use crate::web::body::Json;
use crate::web::efforts::{read, read_counting, read_strike};
use crate::web::extract::{Key, Path};
use crate::web::problem::Problem;
use crate::web::respond::{Answer, Created};
use crate::web::site::Site;

/// Work or energy that was noted.
#[derive(Serialize, ToSchema)]
pub struct Noted {
    /// Its id.
    pub id: String,
}

/// Notes work or energy that went into a batch.
pub async fn record(
    hand: Cellarhand,
    site: Site,
    path: Path<BatchId>,
    Key(key): Key,
    sent: Json<NewEffort>,
) -> Result<Created<Noted>, Problem> {
    let id = acts::record_effort(&site.db, &hand, key, read(&sent.draft, &hand, path.0)?).await?;
    Ok(Created(Noted { id: id.to_string() }))
}

/// The batch of a line that was struck out.
#[derive(Serialize, ToSchema)]
pub struct EffortStruck {
    /// The batch.
    pub batch: String,
}

/// Strikes work or energy out.
pub async fn strike(
    hand: Cellarhand,
    site: Site,
    path: Path<EffortId>,
    Key(key): Key,
    sent: Json<Reason>,
) -> Result<Created<EffortStruck>, Problem> {
    let batch = acts::strike_effort(&site.db, &hand, key, read_strike(&sent.draft, &hand, path.0)?).await?;
    Ok(Created(EffortStruck { batch: batch.to_string() }))
}

/// How the club counts.
#[derive(Serialize, ToSchema)]
pub struct CountingBody {
    /// net-value, mass or sales-value.
    pub by_products_by: String,
    /// What a litre of drink would sell for.
    pub litre_worth: Option<String>,
    /// An hour of work.
    pub hour_rate: Option<String>,
    /// A kilowatt-hour.
    pub kwh_price: Option<String>,
}

impl From<rows::Rates> for CountingBody {
    fn from(rates: rows::Rates) -> Self {
        Self {
            by_products_by: rates.by.code().to_owned(),
            litre_worth: rates.litre_worth.map(Money::plain),
            hour_rate: rates.hour_rate.map(Money::plain),
            kwh_price: rates.kwh_price.map(Money::plain),
        }
    }
}

/// How the club counts.
pub async fn counting(who: Onlooker, site: Site) -> Result<Answer<CountingBody>, Problem> {
    let club = who.club;
    Ok(Answer(site.db.read(move |conn| rows::rates(conn, club)).await?.into()))
}

/// Counts otherwise from now on.
pub async fn set_counting(
    steward: Steward,
    site: Site,
    Key(key): Key,
    sent: Json<NewCounting>,
) -> Result<Answer<CountingBody>, Problem> {
    acts::set_counting(&site.db, &steward, key, read_counting(&sent.draft, &steward)?).await?;
    let club = steward.club;
    Ok(Answer(site.db.read(move |conn| rows::rates(conn, club)).await?.into()))
}
