//! Money between a member and the club, by the API.

use serde::Serialize;
use utoipa::ToSchema;

use crate::actions::payments::record_payment;
use crate::domain::members::Steward;
use crate::units::ids::MemberId;
use crate::web::body::Json;
use crate::web::extract::{Key, Path};
use crate::web::payments::read_payment;
use crate::web::problem::Problem;
use crate::web::respond::Created;
use crate::web::site::Site;

/// A payment.
#[derive(ToSchema)]
pub struct NewPayment {
    /// When; today if left out. Not in the future.
    pub day: Option<String>,
    /// `to-club`: the member pays what they owe. `to-member`: the club pays back what they laid out.
    pub way: String,
    /// How much, in the club’s currency.
    pub amount: String,
    /// What you want to add.
    pub remark: Option<String>,
}

/// What was recorded.
#[derive(Serialize, ToSchema)]
pub struct Paid {
    /// The entry in the books.
    pub entry: String,
}

/// A member paid the club, or was paid back.
pub async fn pay(
    steward: Steward,
    site: Site,
    path: Path<MemberId>,
    Key(key): Key,
    sent: Json<NewPayment>,
) -> Result<Created<Paid>, Problem> {
    let payment = read_payment(&sent.draft, &steward, path.0)?;
    let entry = record_payment(&site.db, &steward, key, payment).await?;
    Ok(Created(Paid { entry: entry.to_string() }))
}
