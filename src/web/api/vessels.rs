//! Vessels by the API: the same commands, rules and answers as the pages.

use std::collections::BTreeMap;

use serde::Serialize;
use utoipa::ToSchema;

use super::bodies::Reason;
use super::{Amount, Page};
use crate::actions::once::RequestKey;
use crate::actions::vessels as acts;
use crate::db::vessels::{self as rows, Filled, Kept};
use crate::db::{AnyConn, Failure};
use crate::domain::members::{Cellarhand, Doer, Onlooker};
use crate::units::days::Day;
use crate::units::ids::{FillingId, VesselId};
use crate::web::body::Json;
use crate::web::extract::{Key, Paging, Path};
use crate::web::problem::Problem;
use crate::web::respond::{Answer, Created};
use crate::web::site::Site;
use crate::web::vessels::read;

/// A vessel as it is to be kept.
#[derive(ToSchema)]
pub struct NewVessel {
    /// Short, unique in the club: up to 8 letters and digits.
    pub code: String,
    /// glass, oven-glass, steel, plastic, wood, stoneware, enamel or other.
    pub material: String,
    /// What it holds to the brim.
    pub capacity: Amount,
    /// The most that is in it while it works; nine tenths if left out.
    pub safe_filling: Option<Amount>,
    /// Where it stands.
    pub place: String,
    /// airlock, lid or loose.
    pub closure: String,
    /// It is old, scratched or chipped.
    pub worn: Option<bool>,
    /// What to know of it.
    pub marks: Option<String>,
}

/// Drink that goes into a vessel.
#[derive(ToSchema)]
pub struct NewFilling {
    /// Of which batch.
    pub batch: String,
    /// When; today if left out.
    pub day: Option<String>,
    /// How much is in it then.
    pub volume: Amount,
    /// How warm the liquid is, °C.
    pub temperature_c: Option<String>,
    /// Another closure than it had.
    pub closure: Option<String>,
    /// Why it is done in spite of a dangerous caution, by the rule that a refusal names: `hot-glass`.
    pub reasons: Option<BTreeMap<String, String>>,
}

/// What is in a vessel goes into another.
#[derive(ToSchema)]
#[schema(as = Decanting)]
pub struct NewDecanting {
    /// Into which.
    pub into: String,
    /// When; today if left out.
    pub day: Option<String>,
    /// How much; all of it if left out.
    pub volume: Option<Amount>,
    /// How warm the liquid is, °C.
    pub temperature_c: Option<String>,
    /// Why it is done in spite of a dangerous caution.
    pub reasons: Option<BTreeMap<String, String>>,
}

/// Something done to a vessel, with the reason.
#[derive(ToSchema)]
#[schema(as = VesselReason)]
pub struct Because {
    /// When; today if left out.
    pub day: Option<String>,
    /// Why, or where it went.
    pub reason: String,
}

/// Something done to a vessel.
#[derive(ToSchema)]
#[schema(as = VesselDay)]
pub struct On {
    /// When; today if left out.
    pub day: Option<String>,
}

/// What is in a vessel, or was.
#[derive(Serialize, ToSchema)]
#[schema(as = Filling)]
pub struct FillingBody {
    /// Its id.
    pub id: String,
    /// The vessel.
    pub vessel: String,
    /// The batch.
    pub batch: String,
    /// The batch's number.
    pub batch_code: String,
    /// The drink.
    pub drink: String,
    /// How much.
    pub volume: Amount,
    /// Since when.
    pub since: String,
    /// Until when; null while it is in it.
    pub until: Option<String>,
    /// Why it left.
    pub left_because: String,
    /// It was struck out and does not count.
    pub struck: bool,
}

impl From<&Filled> for FillingBody {
    fn from(filled: &Filled) -> Self {
        Self {
            id: filled.id.to_string(),
            vessel: filled.vessel.to_string(),
            batch: filled.inside.batch.to_string(),
            batch_code: filled.inside.code.clone(),
            drink: filled.drink.clone(),
            volume: Amount::volume(filled.inside.volume),
            since: filled.inside.since.to_string(),
            until: filled.inside.until.map(|day| day.to_string()),
            left_because: filled.because.clone(),
            struck: filled.struck.is_some(),
        }
    }
}

/// A vessel.
#[derive(Serialize, ToSchema)]
#[schema(as = Vessel)]
pub struct VesselBody {
    /// Its id.
    pub id: String,
    /// Its code.
    pub code: String,
    /// What it is made of.
    pub material: String,
    /// What it holds to the brim.
    pub capacity: Amount,
    /// The most that is in it while it works.
    pub safe_filling: Amount,
    /// Where it stands.
    pub place: String,
    /// The names of the place.
    pub place_path: String,
    /// airlock, lid or loose.
    pub closure: String,
    /// It is old, scratched or chipped.
    pub worn: bool,
    /// What to know of it.
    pub marks: String,
    /// When it was last cleaned.
    pub cleaned_on: Option<String>,
    /// Why it is out of use.
    pub out_of_use: Option<String>,
    /// What is in it now.
    pub holds: Option<FillingBody>,
}

fn body(kept: &Kept, inside: Option<&Filled>) -> VesselBody {
    let vessel = &kept.vessel;
    VesselBody {
        id: kept.id.to_string(),
        code: vessel.code.clone(),
        material: vessel.material.code().to_owned(),
        capacity: Amount::volume(vessel.capacity),
        safe_filling: Amount::volume(vessel.safe_filling),
        place: vessel.place.to_string(),
        place_path: kept.place.clone(),
        closure: vessel.closure.code().to_owned(),
        worn: vessel.worn,
        marks: vessel.marks.clone(),
        cleaned_on: kept.cleaned_on.map(|day| day.to_string()),
        out_of_use: kept.out_of_use.as_ref().map(|(_, because)| because.clone()),
        holds: inside.map(FillingBody::from),
    }
}

/// Vessels, in the order in which they were first kept.
pub async fn list(
    who: Onlooker,
    site: Site,
    paging: Paging<VesselId>,
) -> Result<Answer<Page<VesselBody>>, Problem> {
    let (club, after, limit) = (who.club, paging.after, paging.rows());
    let read = site.db.read(move |conn| {
        Ok::<_, Failure>((rows::page(conn, club, after, limit)?, rows::inside_all(conn, club)?))
    });
    let (found, inside) = read.await?;
    let of = |id| inside.iter().find(|filled| filled.vessel == id);
    Ok(Answer(paging.page(found, |kept| kept.id, |kept| body(&kept, of(kept.id)))))
}

async fn one(site: &Site, who: &Doer, id: VesselId) -> Result<VesselBody, Problem> {
    let club = who.club;
    let read = site.db.read(move |conn: &mut AnyConn| {
        Ok::<_, Failure>((rows::vessel(conn, club, id)?, rows::inside(conn, id)?))
    });
    let (kept, inside) = read.await?;
    Ok(body(&kept, inside.as_ref()))
}

/// A new vessel.
pub async fn add(
    hand: Cellarhand,
    site: Site,
    Key(key): Key,
    sent: Json<NewVessel>,
) -> Result<Created<VesselBody>, Problem> {
    let id = acts::add_vessel(&site.db, &hand, key, read::vessel(&sent.draft, &hand)?).await?;
    Ok(Created(one(&site, &hand, id).await?))
}

/// One vessel.
pub async fn show(who: Onlooker, site: Site, path: Path<VesselId>) -> Result<Answer<VesselBody>, Problem> {
    Ok(Answer(one(&site, &who, path.0).await?))
}

/// A vessel as it should be from now on.
pub async fn change(
    hand: Cellarhand,
    site: Site,
    path: Path<VesselId>,
    Key(key): Key,
    sent: Json<NewVessel>,
) -> Result<Answer<VesselBody>, Problem> {
    acts::change_vessel(&site.db, &hand, key, path.0, read::vessel(&sent.draft, &hand)?).await?;
    Ok(Answer(one(&site, &hand, path.0).await?))
}

/// What was in a vessel, the latest first.
pub async fn fillings(
    who: Onlooker,
    site: Site,
    path: Path<VesselId>,
    paging: Paging<FillingId>,
) -> Result<Answer<Page<FillingBody>>, Problem> {
    let (id, club, after, limit) = (path.0, who.club, paging.after, paging.rows());
    let read = site.db.read(move |conn| {
        rows::vessel(conn, club, id)?;
        rows::history(conn, id, after, limit)
    });
    let found = read.await?;
    Ok(Answer(paging.page(found, |filled| filled.id, |filled| FillingBody::from(&filled))))
}

/// Fills a vessel, or says anew how much is in it.
pub async fn fill(
    hand: Cellarhand,
    site: Site,
    path: Path<VesselId>,
    Key(key): Key,
    sent: Json<NewFilling>,
) -> Result<Created<VesselBody>, Problem> {
    acts::fill_vessel(&site.db, &hand, key, read::filling(&sent.draft, &hand, path.0)?).await?;
    Ok(Created(one(&site, &hand, path.0).await?))
}

/// Moves what is in a vessel into another; the answer is that other one.
pub async fn decant(
    hand: Cellarhand,
    site: Site,
    path: Path<VesselId>,
    Key(key): Key,
    sent: Json<NewDecanting>,
) -> Result<Created<VesselBody>, Problem> {
    let order = read::decant(&sent.draft, &hand, path.0)?;
    let into = order.into;
    acts::decant(&site.db, &hand, key, order).await?;
    Ok(Created(one(&site, &hand, into).await?))
}

/// Does something to a vessel that moves no drink into it.
async fn tended(
    site: &Site,
    hand: &Cellarhand,
    key: Option<RequestKey>,
    vessel: VesselId,
    (day, deed): (Day, acts::Deed),
) -> Result<Created<VesselBody>, Problem> {
    acts::tend(&site.db, hand, key, vessel, day, deed).await?;
    Ok(Created(one(site, hand, vessel).await?))
}

/// Says that nothing is in it any more.
pub async fn empty(
    hand: Cellarhand,
    site: Site,
    path: Path<VesselId>,
    Key(key): Key,
    sent: Json<Because>,
) -> Result<Created<VesselBody>, Problem> {
    let order = read::emptied(&sent.draft, &hand)?;
    tended(&site, &hand, key, path.0, order).await
}

/// Says that it was cleaned.
pub async fn clean(
    hand: Cellarhand,
    site: Site,
    path: Path<VesselId>,
    Key(key): Key,
    sent: Json<On>,
) -> Result<Created<VesselBody>, Problem> {
    let order = read::cleaned(&sent.draft, &hand)?;
    tended(&site, &hand, key, path.0, order).await
}

/// Takes it out of use.
pub async fn out_of_use(
    hand: Cellarhand,
    site: Site,
    path: Path<VesselId>,
    Key(key): Key,
    sent: Json<Because>,
) -> Result<Created<VesselBody>, Problem> {
    let order = read::out_of_use(&sent.draft, &hand)?;
    tended(&site, &hand, key, path.0, order).await
}

/// Puts it back in use.
pub async fn in_use(
    hand: Cellarhand,
    site: Site,
    path: Path<VesselId>,
    Key(key): Key,
    sent: Json<On>,
) -> Result<Created<VesselBody>, Problem> {
    let order = read::in_use(&sent.draft, &hand)?;
    tended(&site, &hand, key, path.0, order).await
}

/// Strikes a filling out.
pub async fn strike(
    hand: Cellarhand,
    site: Site,
    path: Path<FillingId>,
    Key(key): Key,
    sent: Json<Reason>,
) -> Result<Created<VesselBody>, Problem> {
    let order = read::strike(&sent.draft, &hand, path.0)?;
    let vessel = acts::strike_filling(&site.db, &hand, key, order).await?;
    Ok(Created(one(&site, &hand, vessel).await?))
}
