//! Bottlings by the API: what is left of each, what it cost and why, and taking bottles.

use serde::Serialize;
use utoipa::ToSchema;

use super::{Amount, Page};
use crate::actions::bottles::record_withdrawal;
use crate::db::bottles::{self as rows, Bottling};
use crate::db::{AnyConn, Failure, climate, costs, trace};
use crate::domain::bottles::{TastingAge, cost_per_bottle};
use crate::domain::members::{Doer, Onlooker, Taster};
use crate::domain::yields::Unknown;
use crate::units::days::{self, Day};
use crate::units::ids::{BottlingId, EntryId};
use crate::units::money::Money;
use crate::web::body::Json;
use crate::web::bottles::take;
use crate::web::extract::{Key, Paging, Path};
use crate::web::problem::Problem;
use crate::web::respond::{Answer, Created};
use crate::web::site::Site;

/// A filling of a batch into bottles.
#[derive(Serialize, ToSchema)]
pub struct BottlingLine {
    /// Its id.
    pub id: String,
    /// Its code.
    pub code: String,
    /// The batch it came from.
    pub batch: String,
    /// The drink.
    pub drink: String,
    /// The lot of its bottles.
    pub lot: String,
    /// When it was bottled.
    pub bottled_on: String,
    /// Its age.
    pub age_days: i64,
    /// How many bottles were filled.
    pub bottles: i64,
    /// What one holds.
    pub bottle_volume: Amount,
    /// How many are left.
    pub left: i64,
    /// What they were booked at.
    pub cost: String,
    /// What one costs, rounded down; the last one takes the rest.
    pub cost_per_bottle: String,
}

fn line(bottling: &Bottling, left: i64, booked: Money, today: Day) -> BottlingLine {
    BottlingLine {
        id: bottling.id.to_string(),
        code: bottling.code.clone(),
        batch: bottling.batch.to_string(),
        drink: bottling.name.clone(),
        lot: bottling.lot.to_string(),
        bottled_on: days::iso(bottling.bottled_on),
        age_days: (today - bottling.bottled_on).num_days(),
        bottles: bottling.bottles,
        bottle_volume: Amount::volume(bottling.bottle_volume),
        left,
        cost: booked.plain(),
        cost_per_bottle: cost_per_bottle(booked, bottling.bottles).plain(),
    }
}

/// Bottlings, newest first; those that were reversed are left out.
pub async fn list(
    who: Onlooker,
    site: Site,
    paging: Paging<BottlingId>,
) -> Result<Answer<Page<BottlingLine>>, Problem> {
    let (club, after, limit, today) = (who.club, paging.after, paging.rows(), who.today());
    let read = site.db.read(move |conn| {
        let found = rows::bottlings(conn, club, false, after, limit)?;
        let ids: Vec<BottlingId> = found.iter().map(|bottling| bottling.id).collect();
        let entries: Vec<EntryId> = found.iter().map(|bottling| bottling.entry).collect();
        Ok::<_, Failure>((rows::left_of(conn, &ids)?, costs::booked(conn, &entries)?, found))
    });
    let (left, booked, found) = read.await?;
    let show = |bottling: Bottling| {
        let left = left.get(&bottling.id).copied().unwrap_or_default();
        line(&bottling, left, booked.get(&bottling.entry).copied().unwrap_or_default(), today)
    };
    Ok(Answer(paging.page(found, |bottling| bottling.id, show)))
}

/// Bottles at a place.
#[derive(Serialize, ToSchema)]
pub struct BottlesAt {
    /// The place.
    pub place: String,
    /// Its name after those of the places around it.
    pub path: String,
    /// How many.
    pub bottles: i64,
}

/// How strong the drink is, for the club's own use; never a strength in law.
#[derive(Serialize, ToSchema)]
pub struct BottledStrength {
    /// % vol at 20 °C.
    pub vol_percent: String,
    /// `gravities` (to ± 0.3 % vol), `sugars`: what the sugars of the whey give when it has fermented out, or
    /// `parts`: computed from what was blended or added, not measured.
    pub basis: String,
}

/// An age at which it should be tasted.
#[derive(Serialize, ToSchema)]
pub struct TastingAgeBody {
    /// The age.
    pub age_days: i64,
    /// It is counted by the warmth of the shelf, in days at 15 °C.
    pub by_warmth: bool,
    /// The day on which it has that age; by warmth, when it is expected to.
    pub falls_on: String,
    /// The day on which it waits to be tasted; null where that is done or passed.
    pub waits_for: Option<String>,
}

/// A bottling with all that is known of it.
#[derive(Serialize, ToSchema)]
pub struct BottlingBody {
    /// What stands in the list.
    #[serde(flatten)]
    pub line: BottlingLine,
    /// The entry that made it.
    pub entry: String,
    /// That entry was reversed: by the books it did not happen.
    pub reversed: bool,
    /// How many more broke while they were filled.
    pub broken: i64,
    /// What was lost then, with what those held.
    pub lost_volume: Amount,
    /// Where the bottles stand.
    pub places: Vec<BottlesAt>,
    /// How strong it is, where that is known.
    pub strength: Option<BottledStrength>,
    /// Why its strength is not known.
    pub strength_unknown: Option<String>,
    /// What may be in it of what must be said.
    pub allergens: Vec<String>,
    /// Its age in days by the warmth of where its bottles stood, about; null where nothing was read there.
    pub age_by_warmth_days: Option<String>,
    /// When it should be tasted.
    pub tasting_ages: Vec<TastingAgeBody>,
}

fn body(conn: &mut AnyConn, doer: &Doer, id: BottlingId) -> Result<BottlingBody, Failure> {
    let today = doer.today();
    let bottling = rows::bottling(conn, doer.club, id)?;
    let places = rows::standing(conn, doer.club, bottling.lot)?;
    let booked = costs::booked(conn, &[bottling.entry])?.remove(&bottling.entry).unwrap_or_default();
    let tastings = rows::tastings(conn, doer.club, &[id])?.remove(&id).unwrap_or_default();
    let age = |age: TastingAge| TastingAgeBody {
        age_days: age.age_days,
        by_warmth: age.by_warmth,
        falls_on: days::iso(age.falls_on),
        waits_for: age.waits_for(today).map(days::iso),
    };
    Ok(BottlingBody {
        line: line(&bottling, places.iter().map(|place| place.2).sum(), booked, today),
        entry: bottling.entry.to_string(),
        reversed: rows::is_reversed(conn, &bottling)?,
        broken: bottling.broken,
        lost_volume: Amount::volume(bottling.lost_volume),
        places: places
            .into_iter()
            .map(|(place, path, bottles, _)| BottlesAt { place: place.to_string(), path, bottles })
            .collect(),
        strength: bottling.strength.map(|strength| BottledStrength {
            vol_percent: format!("{:.1}", strength.number()),
            basis: bottling.strength_basis.clone(),
        }),
        strength_unknown: match (bottling.strength, Unknown::from_code(&bottling.strength_basis)) {
            (None, Some(why)) => Some(why.words().to_owned()),
            _ => None,
        },
        allergens: trace::allergens(conn, bottling.lot)?,
        age_by_warmth_days: climate::ages(conn, doer.club, &[bottling.lot], today)?
            .remove(&bottling.lot)
            .filter(|age| age.measured > 0.0)
            .map(|age| format!("{:.0}", age.days)),
        tasting_ages: tastings.into_iter().map(age).collect(),
    })
}

/// One bottling.
pub async fn show(
    who: Onlooker,
    site: Site,
    path: Path<BottlingId>,
) -> Result<Answer<BottlingBody>, Problem> {
    let (_, found) = site.read(&who, move |conn, doer| body(conn, doer, path.0)).await?;
    Ok(Answer(found))
}

/// Bottles that leave the cellar.
#[derive(ToSchema)]
pub struct NewWithdrawal {
    /// When; today if left out.
    pub day: Option<String>,
    /// How many.
    pub bottles: u32,
    /// taken (the default), tasting, gift or broken.
    pub reason: Option<String>,
    /// Who is charged for bottles taken home; the member of the token if left out.
    pub member: Option<String>,
    /// From which place; where most stand if left out.
    pub place: Option<String>,
    /// When exactly, if it is sent later; RFC 3339.
    pub at: Option<String>,
    /// What you want to add.
    pub remark: Option<String>,
}

/// What was recorded.
#[derive(Serialize, ToSchema)]
pub struct Withdrawn {
    /// The entry.
    pub entry: String,
    /// Bottles left of the bottling.
    pub left: i64,
}

/// Takes bottles.
pub async fn withdraw(
    taster: Taster,
    site: Site,
    path: Path<BottlingId>,
    key: Key,
    sent: Json<NewWithdrawal>,
) -> Result<Created<Withdrawn>, Problem> {
    let id = path.0;
    let order = take::read(&sent.draft, &taster, id)?;
    let entry = record_withdrawal(&site.db, &taster, key.0, order).await?;
    let left = site.db.read(move |conn| rows::left_of(conn, &[id])).await?;
    Ok(Created(Withdrawn { entry: entry.to_string(), left: left.get(&id).copied().unwrap_or_default() }))
}
