//! Whose the bottles of a batch are, by the API.

use serde::Serialize;
use utoipa::ToSchema;

use crate::actions::shares as acts;
use crate::domain::members::{Onlooker, Steward, Taster};
use crate::units::ids::{BatchId, BottlingId};
use crate::web::body::Json;
use crate::web::extract::{Key, Path};
use crate::web::problem::Problem;
use crate::web::reports::settling;
use crate::web::respond::{Answer, Created};
use crate::web::shares::{of_batch, percent, read, read_wish};
use crate::web::site::Site;

/// How a batch is shared.
#[derive(Serialize, ToSchema)]
pub struct SharesBody {
    /// The parts; none where the bottles belong to all.
    pub shares: Vec<ShareBody>,
    /// The bottlings, and what is due to whom.
    pub bottlings: Vec<SharedBottling>,
}

/// The part of a member.
#[derive(Serialize, ToSchema)]
pub struct ShareBody {
    /// Who.
    pub member: String,
    /// Their name.
    pub name: String,
    /// Their part, in per cent.
    pub percent: String,
    /// What they laid out; null for who may not see it.
    pub laid_out: Option<String>,
    /// What their work counts for; null for who may not see it.
    pub worked: Option<String>,
}

/// How the bottles of a bottling are shared.
#[derive(Serialize, ToSchema)]
pub struct SharedBottling {
    /// Which.
    pub bottling: String,
    /// Its code.
    pub code: String,
    /// Who has how many.
    pub members: Vec<DueBody>,
    /// What members would like to have; it binds nobody.
    pub wishes: Vec<WishBody>,
}

/// What is due to a member.
#[derive(Serialize, ToSchema)]
pub struct DueBody {
    /// Who.
    pub member: String,
    /// Bottles due in all, by largest remainder.
    pub due: i64,
    /// Bottles they took.
    pub taken: i64,
}

/// What a member would like to have.
#[derive(Serialize, ToSchema)]
pub struct WishBody {
    /// Who.
    pub member: String,
    /// How many bottles.
    pub bottles: i64,
    /// What else they say.
    pub remark: String,
}

/// How a batch is shared.
pub async fn show(who: Onlooker, site: Site, path: Path<BatchId>) -> Result<Answer<SharesBody>, Problem> {
    let (_, found) = site.read(&who, move |conn, doer| of_batch(conn, doer, path.0)).await?;
    let all = found.settled.parts();
    let share = |(share, name): &(crate::domain::shares::Share, String)| {
        let sees = who.may_see_money_of(share.member);
        ShareBody {
            member: share.member.to_string(),
            name: name.clone(),
            percent: percent(share, &all),
            laid_out: sees.then(|| share.laid_out.plain()),
            worked: sees.then(|| share.worked.plain()),
        }
    };
    let shares = found.settled.shares.iter().map(share).collect();
    let bottlings = found
        .bottlings
        .into_iter()
        .map(|(shared, wishes)| SharedBottling {
            bottling: shared.bottling.id.to_string(),
            code: shared.bottling.code,
            members: shared
                .lines
                .into_iter()
                .map(|(member, _, due, taken)| DueBody { member: member.to_string(), due, taken })
                .collect(),
            wishes: wishes
                .into_iter()
                .map(|(member, _, bottles, remark)| WishBody { member: member.to_string(), bottles, remark })
                .collect(),
        })
        .collect();
    Ok(Answer(SharesBody { shares, bottlings }))
}

/// How a batch is shared from now on.
#[derive(ToSchema)]
pub struct NewShares {
    /// Who has a part; left out or empty, the bottles belong to all.
    pub shares: Option<Vec<NewShare>>,
}

/// A part.
#[derive(ToSchema)]
pub struct NewShare {
    /// Who.
    pub member: String,
    /// What they laid out.
    pub laid_out: Option<String>,
    /// What their work counts for.
    pub worked: Option<String>,
}

/// What was settled.
#[derive(Serialize, ToSchema)]
pub struct SharesSettled {
    /// The batch.
    pub batch: String,
}

/// Settles how a batch is shared.
pub async fn settle(
    steward: Steward,
    site: Site,
    path: Path<BatchId>,
    Key(key): Key,
    sent: Json<NewShares>,
) -> Result<Created<SharesSettled>, Problem> {
    let sharing = read(&sent.draft, &steward, path.0)?;
    let batch = acts::settle_shares(&site.db, &steward, key, sharing).await?;
    Ok(Created(SharesSettled { batch: batch.to_string() }))
}

/// What one would like to have.
#[derive(ToSchema)]
pub struct NewWish {
    /// How many bottles; 0 takes the wish back.
    pub bottles: u32,
    /// What else.
    pub remark: Option<String>,
}

/// What was wished.
#[derive(Serialize, ToSchema)]
pub struct Wished {
    /// The bottling.
    pub bottling: String,
}

/// Keeps a wish.
pub async fn wish(
    taster: Taster,
    site: Site,
    path: Path<BottlingId>,
    Key(key): Key,
    sent: Json<NewWish>,
) -> Result<Created<Wished>, Problem> {
    let wish = read_wish(&sent.draft, &taster, path.0)?;
    let bottling = acts::wish(&site.db, &taster, key, wish).await?;
    Ok(Created(Wished { bottling: bottling.to_string() }))
}

/// Money that went from one member to another, or between a member and the purse.
#[derive(ToSchema)]
pub struct NewTransfer {
    /// When; today if left out. Not in the future.
    pub day: Option<String>,
    /// Who paid; left out for the purse.
    pub from: Option<String>,
    /// Who was paid; left out for the purse.
    pub to: Option<String>,
    /// How much, in the club’s currency.
    pub amount: String,
    /// What you want to add.
    pub remark: Option<String>,
}

/// What was recorded.
#[derive(Serialize, ToSchema)]
pub struct Transferred {
    /// The entries in the books: what was paid in, and what was paid back.
    pub entries: Vec<String>,
}

/// Records that one paid another.
pub async fn transfer(
    steward: Steward,
    site: Site,
    Key(key): Key,
    sent: Json<NewTransfer>,
) -> Result<Created<Transferred>, Problem> {
    let made = settling::read(&sent.draft, &steward)?;
    let entries = acts::record_transfer(&site.db, &steward, key, made).await?;
    Ok(Created(Transferred { entries: entries.iter().map(ToString::to_string).collect() }))
}
