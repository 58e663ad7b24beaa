//! How the club counts, by the API.

use serde::Serialize;
use utoipa::ToSchema;

use crate::actions::counts as acts;
use crate::db::counts as rows;
use crate::db::{Failure, stock};
use crate::domain::members::{Cellarhand, Doer, Onlooker};
use crate::units::number;
use crate::web::body::Json;
use crate::web::counts::read;
use crate::web::extract::Key;
use crate::web::problem::Problem;
use crate::web::respond::Answer;
use crate::web::site::Site;

/// How the club counts.
#[derive(ToSchema)]
pub struct CountWays {
    /// How far what is weighed or measured may be off, % of what the books say.
    pub tolerance_percent: String,
    /// How far what is counted may be off, pieces.
    pub tolerance_pieces: Option<u32>,
    /// Places in the order in which one walks.
    pub order: Option<Vec<String>>,
}

/// How the club counts.
#[derive(Serialize, ToSchema)]
#[schema(as = CountWaysAnswer)]
pub struct WaysBody {
    /// How far what is weighed or measured may be off, % of what the books say.
    pub tolerance_percent: String,
    /// How far what is counted may be off, pieces.
    pub tolerance_pieces: u32,
    /// Places in the order in which one walks.
    pub order: Vec<String>,
}

/// How the club counts.
pub async fn show(who: Onlooker, site: Site) -> Result<Answer<WaysBody>, Problem> {
    Ok(Answer(ways_body(&site, &who).await?))
}

async fn ways_body(site: &Site, doer: &Doer) -> Result<WaysBody, Problem> {
    let club = doer.club;
    let read = site
        .db
        .read(move |conn| Ok::<_, Failure>((rows::tolerance(conn, club)?, rows::walking_order(conn, club)?)));
    let (tolerance, order) = read.await?;
    Ok(WaysBody {
        tolerance_percent: number::plain(i64::from(tolerance.permille), 1),
        tolerance_pieces: tolerance.pieces,
        order: order.iter().map(|place| place.0.to_string()).collect(),
    })
}

/// Counts otherwise from now on.
pub async fn change(
    hand: Cellarhand,
    site: Site,
    Key(key): Key,
    sent: Json<CountWays>,
) -> Result<Answer<WaysBody>, Problem> {
    let club = hand.club;
    let places = site.db.read(move |conn| stock::places(conn, club)).await?;
    let places: Vec<_> = places.iter().map(|place| place.id).collect();
    let ways = read::ways(&sent.draft, &hand, &places)?;
    acts::set_ways(&site.db, &hand, key, ways).await?;
    Ok(Answer(ways_body(&site, &hand).await?))
}
