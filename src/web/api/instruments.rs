//! The instruments of the club by the API.

use serde::Serialize;
use utoipa::ToSchema;

use super::Page;
use super::bodies::NewInstrument;
use crate::actions::instruments::{Change, add_instrument, change_instrument};
use crate::db::Failure;
use crate::db::instruments::{self as rows, Kept};
use crate::domain::members::{Cellarhand, Onlooker};
use crate::units::ids::InstrumentId;
use crate::units::measure::Measured;
use crate::web::body::Json;
use crate::web::extract::{Key, Path};
use crate::web::instruments::read;
use crate::web::problem::Problem;
use crate::web::respond::{Answer, Created};
use crate::web::site::Site;

/// An instrument.
#[derive(Serialize, ToSchema)]
pub struct InstrumentBody {
    /// Its id.
    pub id: String,
    /// What the club calls it.
    pub name: String,
    /// hydrometer, thermometer, ph-meter or refractometer.
    pub kind: String,
    /// The temperature printed on a hydrometer.
    pub made_for_c: Option<String>,
    /// What is added to what it shows.
    pub offset: String,
    /// When that was found.
    pub checked_on: String,
    /// It is not used any more.
    pub retired: bool,
}

impl From<Kept> for InstrumentBody {
    fn from(kept: Kept) -> Self {
        let one = kept.instrument;
        Self {
            id: kept.id.to_string(),
            kind: one.kind.code().to_owned(),
            made_for_c: one.made_for_c.map(Measured::plain),
            offset: one.offset.plain(),
            checked_on: one.checked_on.to_string(),
            name: one.name,
            retired: kept.retired,
        }
    }
}

/// All instruments.
pub async fn list(who: Onlooker, site: Site) -> Result<Answer<Page<InstrumentBody>>, Problem> {
    let club = who.club;
    let found = site.db.read(move |conn| rows::instruments(conn, club)).await?;
    Ok(Answer(Page { items: found.into_iter().map(InstrumentBody::from).collect(), next: None }))
}

async fn kept(site: &Site, hand: &Cellarhand, id: InstrumentId) -> Result<Kept, Problem> {
    let club = hand.club;
    let found = site.db.read(move |conn| rows::instrument(conn, club, id)).await;
    found.map_err(|failure| match failure {
        Failure::Gone => Problem::missing("instrument"),
        other => other.into(),
    })
}

/// Keeps an instrument.
pub async fn add(
    hand: Cellarhand,
    site: Site,
    Key(key): Key,
    sent: Json<NewInstrument>,
) -> Result<Created<InstrumentBody>, Problem> {
    let (instrument, _) = read(&sent.draft, &hand, None)?;
    let id = add_instrument(&site.db, &hand, key, instrument).await?;
    Ok(Created(kept(&site, &hand, id).await?.into()))
}

/// Changes an instrument, or puts it away.
pub async fn change(
    hand: Cellarhand,
    site: Site,
    path: Path<InstrumentId>,
    Key(key): Key,
    sent: Json<NewInstrument>,
) -> Result<Answer<InstrumentBody>, Problem> {
    let before = kept(&site, &hand, path.0).await?;
    let (now, retired) = read(&sent.draft, &hand, Some(before.instrument.kind))?;
    change_instrument(&site.db, &hand, key, Change { id: path.0, now, retired }).await?;
    Ok(Answer(kept(&site, &hand, path.0).await?.into()))
}
