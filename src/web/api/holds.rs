//! Holds and recalls by the API.

use serde::Serialize;
use utoipa::ToSchema;

use super::{Amount, Page};
use crate::actions::holds as acts;
use crate::db::Failure;
use crate::db::holds as rows;
use crate::db::trace::recall::Recall;
use crate::domain::holds::Hold;
use crate::domain::members::{Cellarhand, Doer, Onlooker};
use crate::units::ids::{EntryId, LotId};
use crate::units::quantity::BaseUnit;
use crate::web::body::Json;
use crate::web::extract::{Key, Path};
use crate::web::holds::{read_hold, read_release};
use crate::web::problem::Problem;
use crate::web::recall::{From, seen};
use crate::web::respond::{Answer, Created};
use crate::web::site::Site;

/// Why a lot is held back, or released.
#[derive(ToSchema)]
pub struct HoldReason {
    /// In your words.
    pub reason: String,
    /// With everything that came of it; or that was held because of it.
    pub all: Option<bool>,
}

/// How many lots that concerned.
#[derive(Serialize, ToSchema)]
pub struct HeldBody {
    /// Lots that are on hold now, or were released.
    pub lots: u32,
}

/// A lot on hold.
#[derive(Serialize, ToSchema)]
#[schema(as = Hold)]
pub struct HoldBody {
    /// The lot.
    pub lot: String,
    /// Its code.
    pub code: String,
    /// Why.
    pub reason: String,
    /// Who holds it.
    pub by: String,
    /// Since when.
    pub since: String,
}

impl std::convert::From<&Hold> for HoldBody {
    fn from(hold: &Hold) -> Self {
        Self {
            lot: hold.lot.to_string(),
            code: hold.code.clone(),
            reason: hold.reason.clone(),
            by: hold.by.clone(),
            since: hold.since.to_string(),
        }
    }
}

/// All that is on hold, the oldest first.
pub async fn list(who: Onlooker, site: Site) -> Result<Answer<Page<HoldBody>>, Problem> {
    let club = who.club;
    let found = site.db.read(move |conn| rows::all(conn, club)).await?;
    Ok(Answer(Page { items: found.iter().map(HoldBody::from).collect(), next: None }))
}

/// Holds a lot back.
pub async fn hold(
    hand: Cellarhand,
    site: Site,
    path: Path<LotId>,
    Key(key): Key,
    sent: Json<HoldReason>,
) -> Result<Created<HeldBody>, Problem> {
    let order = read_hold(&sent.draft, &hand, path.0)?;
    Ok(Created(HeldBody { lots: acts::hold(&site.db, &hand, key, order).await? }))
}

/// Releases a lot.
pub async fn release(
    hand: Cellarhand,
    site: Site,
    path: Path<LotId>,
    Key(key): Key,
    sent: Json<HoldReason>,
) -> Result<Created<HeldBody>, Problem> {
    let order = read_release(&sent.draft, &hand, path.0)?;
    Ok(Created(HeldBody { lots: acts::release(&site.db, &hand, key, order).await? }))
}

/// A member who is to be told.
#[derive(Serialize, ToSchema)]
pub struct TellBody {
    /// Who.
    pub member: String,
    /// Their name.
    pub name: String,
    /// When they left the club, if they did.
    pub left_on: Option<String>,
    /// How many bottles they took.
    pub bottles: i64,
    /// When they took the first of them.
    pub first_taken: Option<String>,
    /// When they took the last of them.
    pub last_taken: Option<String>,
    /// Tastings at which they were when it was poured.
    pub tastings: Vec<String>,
}

/// What stands where.
#[derive(Serialize, ToSchema)]
pub struct StandsBody {
    /// The lot.
    pub lot: String,
    /// Its code.
    pub code: String,
    /// What it is.
    pub item: String,
    /// Where.
    pub place_path: String,
    /// How much.
    pub quantity: Amount,
}

/// A batch into which some of it went.
#[derive(Serialize, ToSchema)]
pub struct InBatchBody {
    /// The batch.
    pub batch: String,
    /// Its number.
    pub code: String,
    /// Its drink.
    pub drink: String,
    /// How far it is.
    pub stage: String,
    /// What it holds.
    pub volume: Amount,
    /// The vessels in which it stands.
    pub vessels: Vec<String>,
}

/// Bottles that left the cellar.
#[derive(Serialize, ToSchema)]
pub struct GoneBody {
    /// The entry.
    pub entry: String,
    /// When.
    pub day: String,
    /// The bottling's code.
    pub bottling: String,
    /// How many.
    pub bottles: i64,
    /// The member who took them.
    pub member: Option<String>,
    /// Their name; or tasted, given, lost.
    pub who: String,
    /// What was written.
    pub remark: String,
}

/// A recall.
#[derive(Serialize, ToSchema)]
#[schema(as = Recall)]
pub struct RecallBody {
    /// Whom to tell.
    pub tell: Vec<TellBody>,
    /// What still stands where.
    pub stands: Vec<StandsBody>,
    /// The batches into which it went.
    pub batches: Vec<InBatchBody>,
    /// Bottles that left the cellar, the latest first.
    pub gone: Vec<GoneBody>,
    /// There is more than is told here.
    pub cut: bool,
}

fn body(recall: &Recall) -> RecallBody {
    let stands = recall.stands.iter().filter_map(|(lot, place, left)| {
        let found = recall.lots.iter().find(|found| found.lot == *lot)?;
        Some(StandsBody {
            lot: lot.to_string(),
            code: found.code.clone(),
            item: found.item.clone(),
            place_path: place.clone(),
            quantity: Amount::of(*left, found.unit),
        })
    });
    RecallBody {
        tell: recall
            .tell
            .iter()
            .map(|told| TellBody {
                member: told.member.to_string(),
                name: told.name.clone(),
                left_on: told.left_on.map(|day| day.to_string()),
                bottles: told.bottles,
                first_taken: told.days.map(|days| days.0.to_string()),
                last_taken: told.days.map(|days| days.1.to_string()),
                tastings: told.tastings.clone(),
            })
            .collect(),
        stands: stands.collect(),
        batches: recall
            .batches
            .iter()
            .map(|batch| InBatchBody {
                batch: batch.batch.to_string(),
                code: batch.code.clone(),
                drink: batch.drink.clone(),
                stage: batch.stage.code().to_owned(),
                volume: Amount::of(batch.left, BaseUnit::Millilitre),
                vessels: batch.vessels.iter().map(|(code, _)| code.clone()).collect(),
            })
            .collect(),
        gone: recall
            .gone
            .iter()
            .map(|gone| GoneBody {
                entry: gone.entry.to_string(),
                day: gone.day.to_string(),
                bottling: gone.code.clone(),
                bottles: gone.bottles,
                member: gone.member.map(|member| member.to_string()),
                who: gone.who.clone(),
                remark: gone.remark.clone(),
            })
            .collect(),
        cut: recall.cut,
    }
}

async fn recalled(who: &Onlooker, site: &Site, from: From) -> Result<Answer<RecallBody>, Problem> {
    let doer = Doer::clone(who);
    let seen = site.db.read(move |conn| seen(conn, &doer, from)).await;
    let seen = seen.map_err(|failure: Failure| match failure {
        Failure::Gone => Problem::missing("lot or receipt"),
        other => other.into(),
    })?;
    Ok(Answer(body(&seen.recall)))
}

/// The recall of a lot.
pub async fn of_lot(who: Onlooker, site: Site, path: Path<LotId>) -> Result<Answer<RecallBody>, Problem> {
    recalled(&who, &site, From::Lot(path.0)).await
}

/// The recall of all lots of a receipt.
pub async fn of_receipt(
    who: Onlooker,
    site: Site,
    path: Path<EntryId>,
) -> Result<Answer<RecallBody>, Problem> {
    recalled(&who, &site, From::Receipt(path.0)).await
}
