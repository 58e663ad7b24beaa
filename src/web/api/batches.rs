//! Batches by the API: the same commands, rules and answers as the pages.

use serde::Serialize;
use utoipa::ToSchema;

pub mod check;
pub mod comparison;
pub mod measured;
pub mod record;
pub mod yields;

use super::bodies::NewBatch;
use super::{Amount, Page};
use crate::actions::batches as acts;
use crate::db::batches::{self as rows, Batch, Part, Reading};
use crate::db::{Failure, recipes};
use crate::domain::batches::Stage;
use crate::domain::books::Holding;
use crate::domain::members::{Cellarhand, Doer, Onlooker};
use crate::domain::yields::Strength;
use crate::units::ids::{BatchId, RecipeId};
use crate::web::batches::read;
use crate::web::batches::readings::Place;
use crate::web::body::Json;
use crate::web::extract::{Key, Paging, Path, Query};
use crate::web::problem::Problem;
use crate::web::respond::{Answer, Created};
use crate::web::site::Site;

/// A batch in a list.
#[derive(Serialize, ToSchema)]
pub struct BatchBody {
    /// Its id.
    pub id: String,
    /// Its number.
    pub code: String,
    /// Its drink.
    pub name: String,
    /// planned, preparing, working, resting, laid-down, closed or abandoned: it follows from what was recorded.
    pub stage: String,
    /// When it was planned.
    pub planned_on: String,
    /// When its yeast was pitched.
    pub pitched_on: Option<String>,
    /// Days since the pitch, or since it was planned.
    pub age_days: i64,
    /// How much base it was planned for.
    pub base_volume: Option<Amount>,
    /// What it holds.
    pub volume: Amount,
    /// What it has cost and still holds, in the club's currency.
    pub cost: String,
    /// The batch it was split from.
    pub came_from: Option<String>,
}

fn batch_body(batch: &Batch, holding: Holding, doer: &Doer) -> BatchBody {
    let since = batch.pitched_on.unwrap_or(batch.planned_on);
    BatchBody {
        id: batch.id.to_string(),
        code: batch.code.clone(),
        name: batch.name.clone(),
        stage: batch.stage.code().to_owned(),
        planned_on: batch.planned_on.to_string(),
        pitched_on: batch.pitched_on.map(|day| day.to_string()),
        age_days: (doer.today() - since).num_days(),
        base_volume: batch.base_volume.map(Amount::volume),
        volume: Amount::volume(holding.quantity),
        cost: holding.cost.plain(),
        came_from: batch.came_from.map(|from| from.to_string()),
    }
}

/// A batch that was made.
#[derive(Serialize, ToSchema)]
pub struct Made {
    /// Its id.
    pub id: String,
    /// Its number.
    pub code: String,
    /// `planned`.
    pub stage: String,
}

/// Which batches.
#[derive(serde::Deserialize, ToSchema)]
pub struct Sift {
    /// Only batches at this stage.
    pub stage: Option<String>,
    /// Only batches made by this recipe.
    pub recipe: Option<String>,
}

/// Batches, newest first.
pub async fn list(
    who: Onlooker,
    site: Site,
    sift: Query<Sift>,
    paging: Paging<BatchId>,
) -> Result<Answer<Page<BatchBody>>, Problem> {
    let (stage, recipe): (_, Option<RecipeId>) = sift.draft.read(&who, |r| {
        (r.optional_choice("stage", &Stage::ALL, Stage::code), r.optional_id("recipe", "recipe"))
    })?;
    let (club, after, limit) = (who.club, paging.after, paging.rows());
    let read = site.db.read(move |conn| {
        let stages: Vec<Stage> = stage.into_iter().collect();
        let batches = match recipe {
            None => rows::batches(conn, club, &stages, after, limit)?,
            Some(recipe) => {
                let by = recipes::revision_ids(conn, club, recipe)?;
                rows::by_revisions(conn, club, &by, &stages, after, limit)?
            }
        };
        let ids: Vec<BatchId> = batches.iter().map(|batch| batch.id).collect();
        Ok::<_, Failure>((rows::holdings(conn, &ids)?, batches))
    });
    let (holdings, batches) = read.await?;
    let holding = |id| holdings.iter().find(|row| row.0 == id).map(|row| row.1).unwrap_or_default();
    Ok(Answer(paging.page(batches, |batch| batch.id, |batch| batch_body(&batch, holding(batch.id), &who))))
}

/// Puts a batch on paper.
pub async fn add(
    hand: Cellarhand,
    site: Site,
    Key(key): Key,
    sent: Json<NewBatch>,
) -> Result<Created<Made>, Problem> {
    let mut draft = sent.draft;
    let named = draft.part(&["recipe"]);
    let recipe: Option<RecipeId> = named.read(&hand, |r| r.optional_id("recipe", "recipe"))?;
    let plan = read::plan(&draft, &hand)?;
    let made = match recipe {
        None => acts::plan(&site.db, &hand, key, plan).await?,
        Some(recipe) => super::recipes::of_plan(&site, &hand, key, recipe, plan).await?,
    };
    let stage = Stage::Planned.code().to_owned();
    Ok(Created(Made { id: made.id.to_string(), code: made.code, stage }))
}

/// A reading.
#[derive(Serialize, ToSchema)]
pub struct ReadingBody {
    /// Its id.
    pub id: String,
    /// When it was measured, RFC 3339.
    pub at: String,
    /// gravity, brix, temperature, ph, acidity, free-sulphite or volume.
    pub kind: String,
    /// As corrected.
    pub value: String,
    /// As read off the instrument.
    pub read: String,
    /// The temperature of the sample, °C.
    pub sample_temperature_c: Option<String>,
    /// The instrument it was read off.
    pub instrument: Option<String>,
    /// The program or file it came from; empty where a person wrote it.
    pub source: String,
    /// What was written.
    pub remark: String,
    /// It was struck out and does not count.
    pub struck: bool,
}

impl From<&Reading> for ReadingBody {
    fn from(reading: &Reading) -> Self {
        Self {
            id: reading.id.to_string(),
            at: reading.at.and_utc().to_rfc3339(),
            kind: reading.kind.code().to_owned(),
            value: reading.value.plain(),
            read: reading.read.plain(),
            sample_temperature_c: reading.sample_c.map(crate::units::measure::Measured::plain),
            instrument: reading.instrument.as_ref().map(|one| one.0.to_string()),
            source: reading.source.clone(),
            remark: reading.remark.clone(),
            struck: reading.struck.is_some(),
        }
    }
}

/// How strong a drink is.
#[derive(Serialize, ToSchema)]
pub struct StrengthBody {
    /// % vol at 20 °C.
    pub percent_vol: String,
    /// `gravities`: what is in it now, to about ± 0.3 % vol. `sugars`: what it reaches when it has fermented out.
    /// `parts`: computed from what was blended or added, not measured.
    pub basis: String,
    /// What to know with it.
    pub warning: Option<String>,
}

fn strength_body(strength: Strength) -> StrengthBody {
    StrengthBody {
        percent_vol: format!("{:.2}", strength.vol_percent),
        basis: strength.basis.code().to_owned(),
        warning: strength.warning,
    }
}

/// A batch with what was recorded.
#[derive(Serialize, ToSchema)]
pub struct WholeBatch {
    /// The batch.
    #[serde(flatten)]
    pub batch: BatchBody,
    /// How strong it is, where the records say.
    pub strength: Option<StrengthBody>,
    /// Why its strength is not known.
    pub strength_unknown: Option<String>,
    /// While it works: the strength that the sugar drawn into it gives when all of it ferments.
    pub strength_expected: Option<StrengthBody>,
    /// The latest 200 readings, oldest first.
    pub readings: Vec<ReadingBody>,
    /// There are more readings than these: `/batches/{id}/readings` gives all.
    pub more_readings: bool,
    /// The ids of the latest 100 entries, newest first; see `/entries/{id}`.
    pub entries: Vec<String>,
    /// There are more entries than these: `/entries?batch={id}` gives all, part by part.
    pub more_entries: bool,
    /// The ids of its bottlings.
    pub bottlings: Vec<String>,
    /// The codes of the vessels in which it stands.
    pub vessels: Vec<String>,
}

/// The most readings and entries in the answer about one batch.
const READINGS: usize = 200;
const ENTRIES: usize = 100;

/// All readings of a batch, part by part, the oldest first.
pub async fn readings(
    who: Onlooker,
    site: Site,
    path: Path<BatchId>,
    paging: Paging<Place>,
) -> Result<Answer<Page<ReadingBody>>, Problem> {
    let (id, club) = (path.0, who.club);
    let part = Part::oldest(paging.after.map(|place| (place.0, place.1)), paging.rows());
    let read = site.db.read(move |conn| {
        rows::named(conn, club, id)?;
        rows::part(conn, club, id, &part)
    });
    let found = read.await.map_err(|failure| missing(failure, "batch"))?;
    Ok(Answer(paging.page(found, |row| Place(row.at, row.id), |row| ReadingBody::from(&row))))
}

/// One batch.
pub async fn show(who: Onlooker, site: Site, path: Path<BatchId>) -> Result<Answer<WholeBatch>, Problem> {
    let (id, doer) = (path.0, who.clone());
    let read = site.db.read(move |conn| {
        let batch = rows::batch(conn, doer.club, id)?;
        let holding = rows::standing(conn, doer.club, id)?.holding;
        let mut entries =
            crate::db::books::tell(conn, doer.club, crate::db::books::Which::Batch(id), None, 1 + 100)?;
        let more_entries = entries.len() > ENTRIES;
        entries.truncate(ENTRIES);
        let mut readings = rows::readings(conn, doer.club, id, 1 + 200)?;
        let more_readings = readings.len() > READINGS;
        readings.drain(..readings.len().saturating_sub(READINGS));
        let bottlings = crate::db::bottles::of_batch(conn, doer.club, id)?;
        let vessels = crate::db::vessels::of_batch(conn, id)?;
        let story = rows::story(conn, doer.club, id)?;
        let strength = story.strength();
        let expected = story.expected().filter(|_| batch.stage == Stage::Working);
        Ok::<_, Failure>(WholeBatch {
            batch: batch_body(&batch, holding, &doer),
            strength_unknown: strength.as_ref().err().map(|why| why.words().to_owned()),
            strength: strength.ok().map(strength_body),
            strength_expected: expected.map(|expected| strength_body(expected.0)),
            readings: readings.iter().map(ReadingBody::from).collect(),
            more_readings,
            more_entries,
            entries: entries.iter().map(|entry| entry.id.to_string()).collect(),
            bottlings: bottlings.iter().map(|bottling| bottling.id.to_string()).collect(),
            vessels: vessels.into_iter().map(|vessel| vessel.code).collect(),
        })
    });
    read.await.map(Answer).map_err(|failure| missing(failure, "batch"))
}

fn missing(failure: Failure, what: &str) -> Problem {
    if failure == Failure::Gone { Problem::missing(what) } else { failure.into() }
}
