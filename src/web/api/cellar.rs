//! The cellar by its places, by the API: how full, what is where, where more find room, carrying, and the year ahead.

use serde::Serialize;
use utoipa::ToSchema;

use crate::actions::cellar::carry_bottles;
use crate::db::cellar as rows;
use crate::domain::cellar::{AGES, Spot, Stand, drinks, profile};
use crate::domain::members::{Cellarhand, Onlooker};
use crate::units::days::{self, Day};
use crate::units::ids::PlaceId;
use crate::web::body::Json;
use crate::web::cellar::{self as pages, CellarQuery};
use crate::web::extract::{Key, Path, Query};
use crate::web::problem::Problem;
use crate::web::respond::{Answer, Created};
use crate::web::site::Site;

/// Bottles of one filling at one place.
#[derive(Serialize, ToSchema)]
pub struct StandBody {
    /// The filling.
    pub bottling: String,
    /// Its lot.
    pub lot: String,
    /// Its code.
    pub code: String,
    /// The drink.
    pub drink: String,
    /// Its age.
    pub age_days: i64,
    /// Where.
    pub place: String,
    /// All names of the place.
    pub path: String,
    /// How many.
    pub bottles: i64,
}

fn stand(stand: &Stand, today: Day) -> StandBody {
    StandBody {
        bottling: stand.bottling.to_string(),
        lot: stand.lot.to_string(),
        code: stand.code.clone(),
        drink: stand.drink.clone(),
        age_days: (today - stand.bottled_on).num_days(),
        place: stand.place.to_string(),
        path: stand.path.clone(),
        bottles: stand.bottles,
    }
}

/// A place for bottles.
#[derive(Serialize, ToSchema)]
pub struct SpotBody {
    /// The place.
    pub place: String,
    /// All its names.
    pub path: String,
    /// How many bottles it takes; null where nobody said.
    pub capacity: Option<i64>,
    /// How many stand there.
    pub bottles: i64,
    /// How many more find room.
    pub free: Option<i64>,
    /// Mean of the last month, °C; null where nothing was read.
    pub mean_c: Option<String>,
}

impl From<&Spot> for SpotBody {
    fn from(spot: &Spot) -> Self {
        Self {
            place: spot.place.to_string(),
            path: spot.path.clone(),
            capacity: spot.capacity,
            bottles: spot.bottles(),
            free: spot.free(),
            mean_c: spot.air.map(|air| format!("{:.1}", air.0)),
        }
    }
}

/// Where bottles should go.
#[derive(Serialize, ToSchema)]
pub struct RoomBody {
    /// The place.
    pub place: String,
    /// All its names.
    pub path: String,
    /// How many.
    pub bottles: i64,
    /// Why there.
    pub reasons: Vec<String>,
}

/// The cellar by its places.
#[derive(Serialize, ToSchema)]
pub struct CellarBody {
    /// The places for bottles.
    pub places: Vec<SpotBody>,
    /// What was found, the oldest first; null where nothing was looked for.
    pub found: Option<Vec<StandBody>>,
    /// Where the bottles to be put should go; null where none were asked for.
    pub proposed: Option<Vec<RoomBody>>,
    /// How many of them find no room.
    pub without_room: Option<i64>,
}

/// Tells it.
pub async fn show(
    who: Onlooker,
    site: Site,
    query: Query<CellarQuery>,
) -> Result<Answer<CellarBody>, Problem> {
    let asked = pages::read(&query.draft, &who)?;
    let today = who.today();
    let (_, seen) = site.read(&who, move |conn, doer| pages::see(conn, doer, &asked)).await?;
    let proposal = |one: &crate::domain::cellar::Proposal| RoomBody {
        place: one.place.to_string(),
        path: one.path.clone(),
        bottles: one.bottles,
        reasons: one.reasons.clone(),
    };
    Ok(Answer(CellarBody {
        places: seen.spots.iter().map(SpotBody::from).collect(),
        found: seen.found.map(|found| found.iter().map(|one| stand(one, today)).collect()),
        without_room: seen.proposed.as_ref().map(|proposed| proposed.1),
        proposed: seen.proposed.map(|proposed| proposed.0.iter().map(proposal).collect()),
    }))
}

/// Bottles that are carried.
#[derive(ToSchema)]
pub struct NewCarrying {
    /// When; today if left out.
    pub day: Option<String>,
    /// Where to.
    pub to: String,
    /// Of which lots: all bottles of them at the place.
    pub lots: Vec<String>,
}

/// What was recorded.
#[derive(Serialize, ToSchema)]
pub struct CarriedBody {
    /// An entry for each lot, in the order in which they were sent.
    pub entries: Vec<String>,
}

/// Carries them.
pub async fn carry(
    hand: Cellarhand,
    site: Site,
    path: Path<PlaceId>,
    Key(key): Key,
    sent: Json<NewCarrying>,
) -> Result<Created<CarriedBody>, Problem> {
    let order = pages::read_carrying(&sent.draft, &hand, path.0)?;
    let entries = carry_bottles(&site.db, &hand, key, order).await?;
    Ok(Created(CarriedBody { entries: entries.iter().map(ToString::to_string).collect() }))
}

/// A drink in stock.
#[derive(Serialize, ToSchema)]
pub struct DrinkBody {
    /// Its name.
    pub drink: String,
    /// How many bottles.
    pub bottles: i64,
    /// What they cost.
    pub value: String,
    /// The youngest of them.
    pub youngest_days: i64,
    /// The oldest.
    pub oldest_days: i64,
    /// At how many places they stand.
    pub places: usize,
}

/// Bottles of an age.
#[derive(Serialize, ToSchema)]
pub struct AgeBody {
    /// The age in words.
    pub age: String,
    /// How many.
    pub bottles: i64,
}

/// Something that falls due of a filling.
#[derive(Serialize, ToSchema)]
pub struct ComingBody {
    /// The filling.
    pub bottling: String,
    /// Its code.
    pub code: String,
    /// The drink.
    pub drink: String,
    /// How many bottles are left.
    pub bottles: i64,
    /// The day.
    pub day: String,
    /// Its age then.
    pub age_days: i64,
    /// It is the first age at which it should be tasted: until then it is not ready.
    pub ready: bool,
    /// It is the last that is planned: drink it from then on.
    pub last: bool,
}

/// The stock of bottles, and the year ahead.
#[derive(Serialize, ToSchema)]
pub struct AheadBody {
    /// By drink.
    pub drinks: Vec<DrinkBody>,
    /// By age.
    pub ages: Vec<AgeBody>,
    /// The tasting ages that fall in the next twelve months.
    pub coming: Vec<ComingBody>,
}

/// Tells them.
pub async fn ahead(who: Onlooker, site: Site) -> Result<Answer<AheadBody>, Problem> {
    let today = who.today();
    let read = site.read(&who, |conn, doer| {
        let stands = rows::stands(conn, doer.club)?;
        Ok((rows::coming(conn, doer.club, &stands, doer.today())?, stands))
    });
    let (_, (coming, stands)) = read.await?;
    let drink = |one: &crate::domain::cellar::DrinkStock| DrinkBody {
        drink: one.drink.clone(),
        bottles: one.bottles,
        value: one.cost.plain(),
        youngest_days: (today - one.youngest).num_days(),
        oldest_days: (today - one.oldest).num_days(),
        places: one.places.len(),
    };
    let coming = coming.iter().flat_map(|one| {
        one.ages.iter().map(|age| ComingBody {
            bottling: one.bottling.to_string(),
            code: one.code.clone(),
            drink: one.drink.clone(),
            bottles: one.bottles,
            day: days::iso(age.falls_on),
            age_days: age.age_days,
            ready: age.first,
            last: age.last,
        })
    });
    Ok(Answer(AheadBody {
        drinks: drinks(&stands).iter().map(drink).collect(),
        ages: AGES
            .iter()
            .zip(profile(&stands, today))
            .map(|((age, _), bottles)| AgeBody { age: (*age).to_owned(), bottles })
            .collect(),
        coming: coming.collect(),
    }))
}
