//! Batches by the API: the same commands, rules and answers as the pages.

use serde::Serialize;
use utoipa::ToSchema;

use super::bodies::{
    Blend, ByProduct, Draw, Ending, LossBody, NewBatch, NewBottling, NewReading, Racking, Reason, Split,
};
use super::{Amount, Page};
use crate::actions::{batches as acts, bottles, reversals};
use crate::db::batches::{self as rows, Batch, Reading};
use crate::db::stock::{self, Units};
use crate::db::{AnyConn, Failure};
use crate::domain::batches::Stage;
use crate::domain::books::Holding;
use crate::domain::members::{Cellarhand, Doer, Onlooker};
use crate::domain::yields::{Basis, Part, Recovery, Story};
use crate::units::ids::{BatchId, EntryId, ReadingId};
use crate::web::batches::{mass, read};
use crate::web::body::Json;
use crate::web::entries::read_reversal;
use crate::web::extract::{Key, Paging, Path, Query};
use crate::web::input::Draft;
use crate::web::problem::Problem;
use crate::web::respond::{Answer, Created};
use crate::web::site::Site;
use crate::web::supplies;

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
}

/// Batches, newest first.
pub async fn list(
    who: Onlooker,
    site: Site,
    sift: Query<Sift>,
    paging: Paging<BatchId>,
) -> Result<Answer<Page<BatchBody>>, Problem> {
    let stage = sift.draft.read(&who, |r| r.optional_choice("stage", &Stage::ALL, Stage::code))?;
    let (club, after, limit) = (who.club, paging.after, paging.rows());
    let read = site.db.read(move |conn| {
        let stages: Vec<Stage> = stage.into_iter().collect();
        let batches = rows::batches(conn, club, &stages, after, limit)?;
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
    let made = acts::plan(&site.db, &hand, key, read::plan(&sent.draft, &hand)?).await?;
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
    pub basis: String,
    /// What to know with it.
    pub warning: Option<String>,
}

fn strength_body(story: &Story) -> Option<StrengthBody> {
    let strength = story.strength()?;
    let basis = match strength.basis {
        Basis::Gravities { .. } => "gravities",
        Basis::Whey { .. } => "sugars",
    };
    Some(StrengthBody {
        percent_vol: format!("{:.2}", strength.vol_percent),
        basis: basis.to_owned(),
        warning: strength.warning,
    })
}

/// A batch with what was recorded.
#[derive(Serialize, ToSchema)]
pub struct WholeBatch {
    /// The batch.
    #[serde(flatten)]
    pub batch: BatchBody,
    /// How strong it is, where the records say.
    pub strength: Option<StrengthBody>,
    /// The latest 200 readings, oldest first.
    pub readings: Vec<ReadingBody>,
    /// The ids of the latest 100 entries, newest first; see `/entries/{id}`.
    pub entries: Vec<String>,
    /// The ids of its bottlings.
    pub bottlings: Vec<String>,
}

/// One batch.
pub async fn show(who: Onlooker, site: Site, path: Path<BatchId>) -> Result<Answer<WholeBatch>, Problem> {
    let (id, doer) = (path.0, who.clone());
    let read = site.db.read(move |conn| {
        let batch = rows::batch(conn, doer.club, id)?;
        let holding = rows::standing(conn, doer.club, id)?.holding;
        let entries = crate::db::books::tell(conn, doer.club, crate::db::books::Which::Batch(id), None, 100)?;
        let bottlings = crate::db::bottles::of_batch(conn, doer.club, id)?;
        Ok::<_, Failure>(WholeBatch {
            batch: batch_body(&batch, holding, &doer),
            strength: strength_body(&rows::story(conn, doer.club, id)?),
            readings: rows::readings(conn, doer.club, id, 200)?.iter().map(ReadingBody::from).collect(),
            entries: entries.iter().map(|entry| entry.id.to_string()).collect(),
            bottlings: bottlings.iter().map(|bottling| bottling.id.to_string()).collect(),
        })
    });
    read.await.map(Answer).map_err(|failure| missing(failure, "batch"))
}

fn missing(failure: Failure, what: &str) -> Problem {
    if failure == Failure::Gone { Problem::missing(what) } else { failure.into() }
}

/// What was recorded.
#[derive(Serialize, ToSchema)]
pub struct Recorded {
    /// The entry in the books.
    pub entry: String,
    /// The stage of the batch now.
    pub stage: String,
    /// The volume of the batch now.
    pub volume: Amount,
}

async fn recorded(
    site: &Site,
    doer: &Doer,
    batch: BatchId,
    entry: EntryId,
) -> Result<Created<Recorded>, Problem> {
    let club = doer.club;
    let standing = site.db.read(move |conn| rows::standing(conn, club, batch)).await?;
    Ok(Created(Recorded {
        entry: entry.to_string(),
        stage: standing.stage.code().to_owned(),
        volume: Amount::volume(standing.holding.quantity),
    }))
}

/// What the supplies that a request names are counted in.
async fn units(site: &Site, doer: &Doer, draft: &Draft, path: &str) -> Result<Units, Problem> {
    let (mut items, lots) = supplies::named(draft, path);
    items.extend(draft.typed("item").and_then(|id| id.parse::<crate::units::ids::ItemId>().ok()));
    let club = doer.club;
    Ok(site.db.read(move |conn: &mut AnyConn| stock::units(conn, club, &items, &lots)).await?)
}

/// Draws supplies into a batch.
pub async fn draw(
    hand: Cellarhand,
    site: Site,
    path: Path<BatchId>,
    Key(key): Key,
    sent: Json<Draw>,
) -> Result<Created<Recorded>, Problem> {
    let units = units(&site, &hand, &sent.draft, "lines").await?;
    let order = read::draw(&sent.draft, &hand, path.0, false, &units)?;
    let entry = acts::draw(&site.db, &hand, key, order).await?;
    recorded(&site, &hand, path.0, entry).await
}

/// Pitches the yeast.
pub async fn pitch(
    hand: Cellarhand,
    site: Site,
    path: Path<BatchId>,
    Key(key): Key,
    sent: Json<Draw>,
) -> Result<Created<Recorded>, Problem> {
    let units = units(&site, &hand, &sent.draft, "lines").await?;
    let order = read::draw(&sent.draft, &hand, path.0, true, &units)?;
    let entry = acts::draw(&site.db, &hand, key, order).await?;
    recorded(&site, &hand, path.0, entry).await
}

/// A by-product that was weighed off.
#[derive(Serialize, ToSchema)]
pub struct WeighedOff {
    /// The entry in the books.
    pub entry: String,
    /// The lot it became.
    pub lot: String,
    /// The lot's code.
    pub code: String,
}

/// Weighs a by-product off.
pub async fn by_product(
    hand: Cellarhand,
    site: Site,
    path: Path<BatchId>,
    Key(key): Key,
    sent: Json<ByProduct>,
) -> Result<Created<WeighedOff>, Problem> {
    let units = units(&site, &hand, &sent.draft, "lines").await?;
    let order = read::by_product(&sent.draft, &hand, path.0, &units)?;
    let made = acts::by_product(&site.db, &hand, key, order).await?;
    Ok(Created(WeighedOff { entry: made.entry.to_string(), lot: made.lot.to_string(), code: made.code }))
}

/// Records drink that was lost.
pub async fn lose(
    hand: Cellarhand,
    site: Site,
    path: Path<BatchId>,
    Key(key): Key,
    sent: Json<LossBody>,
) -> Result<Created<Recorded>, Problem> {
    let entry = acts::record_loss(&site.db, &hand, key, read::loss(&sent.draft, &hand, path.0)?).await?;
    recorded(&site, &hand, path.0, entry).await
}

/// Racks a batch, or records the volume measured.
pub async fn rack(
    hand: Cellarhand,
    site: Site,
    path: Path<BatchId>,
    Key(key): Key,
    sent: Json<Racking>,
) -> Result<Created<Recorded>, Problem> {
    let entry =
        acts::record_racking(&site.db, &hand, key, read::racking(&sent.draft, &hand, path.0)?).await?;
    recorded(&site, &hand, path.0, entry).await
}

/// Where drink went.
#[derive(Serialize, ToSchema)]
pub struct Moved {
    /// The entry in the books.
    pub entry: String,
    /// The batch it went into.
    pub into: String,
    /// That batch's number.
    pub code: String,
}

impl From<acts::Transferred> for Moved {
    fn from(made: acts::Transferred) -> Self {
        Self { entry: made.entry.to_string(), into: made.into.to_string(), code: made.code }
    }
}

/// Splits part of a batch into a new one.
pub async fn split(
    hand: Cellarhand,
    site: Site,
    path: Path<BatchId>,
    Key(key): Key,
    sent: Json<Split>,
) -> Result<Created<Moved>, Problem> {
    let made = acts::record_transfer(&site.db, &hand, key, read::split(&sent.draft, &hand, path.0)?).await?;
    Ok(Created(made.into()))
}

/// Blends part of a batch into another.
pub async fn blend(
    hand: Cellarhand,
    site: Site,
    path: Path<BatchId>,
    Key(key): Key,
    sent: Json<Blend>,
) -> Result<Created<Moved>, Problem> {
    let made = acts::record_transfer(&site.db, &hand, key, read::blend(&sent.draft, &hand, path.0)?).await?;
    Ok(Created(made.into()))
}

/// A value as it was kept.
#[derive(Serialize, ToSchema)]
pub struct ReadBody {
    /// Its id.
    pub id: String,
    /// As corrected to 20 °C.
    pub value: String,
    /// What to know about the correction.
    pub warning: Option<String>,
}

/// Records a reading.
pub async fn record_reading(
    hand: Cellarhand,
    site: Site,
    path: Path<BatchId>,
    Key(key): Key,
    sent: Json<NewReading>,
) -> Result<Created<ReadBody>, Problem> {
    let kept = acts::record_reading(&site.db, &hand, key, read::reading(&sent.draft, &hand, path.0)?).await?;
    Ok(Created(ReadBody { id: kept.id.to_string(), value: kept.value.plain(), warning: kept.warning }))
}

/// The batch of a reading that was struck out.
#[derive(Serialize, ToSchema)]
pub struct Struck {
    /// The batch.
    pub batch: String,
}

/// Strikes a reading out.
pub async fn strike(
    hand: Cellarhand,
    site: Site,
    path: Path<ReadingId>,
    Key(key): Key,
    sent: Json<Reason>,
) -> Result<Created<Struck>, Problem> {
    let batch = acts::strike_reading(&site.db, &hand, key, read::strike(&sent.draft, &hand, path.0)?).await?;
    Ok(Created(Struck { batch: batch.to_string() }))
}

/// A filling that was laid down.
#[derive(Serialize, ToSchema)]
pub struct BottledBody {
    /// The entry in the books.
    pub entry: String,
    /// The bottling.
    pub bottling: String,
    /// Its code.
    pub code: String,
    /// The lot of its bottles.
    pub lot: String,
    /// What one bottle costs; the last one takes the rest.
    pub cost_per_bottle: String,
}

/// Fills bottles from a batch and lays them down.
pub async fn bottle(
    hand: Cellarhand,
    site: Site,
    path: Path<BatchId>,
    Key(key): Key,
    sent: Json<NewBottling>,
) -> Result<Created<BottledBody>, Problem> {
    let units = units(&site, &hand, &sent.draft, "packaging").await?;
    let order = read::bottling(&sent.draft, &hand, path.0, &units)?;
    let made = bottles::record_bottling(&site.db, &hand, key, order).await?;
    Ok(Created(BottledBody {
        entry: made.entry.to_string(),
        bottling: made.bottling.to_string(),
        code: made.code,
        lot: made.lot.to_string(),
        cost_per_bottle: made.cost_per_bottle.plain(),
    }))
}

/// Closes a batch in which nothing is left.
pub async fn close(
    hand: Cellarhand,
    site: Site,
    path: Path<BatchId>,
    Key(key): Key,
    sent: Json<Ending>,
) -> Result<Created<Recorded>, Problem> {
    let order = read::ending(&sent.draft, &hand, path.0, false)?;
    let entry = acts::record_end(&site.db, &hand, key, order).await?;
    recorded(&site, &hand, path.0, entry).await
}

/// Gives a batch up: the rest is lost.
pub async fn abandon(
    hand: Cellarhand,
    site: Site,
    path: Path<BatchId>,
    Key(key): Key,
    sent: Json<Ending>,
) -> Result<Created<Recorded>, Problem> {
    let order = read::ending(&sent.draft, &hand, path.0, true)?;
    let entry = acts::record_end(&site.db, &hand, key, order).await?;
    recorded(&site, &hand, path.0, entry).await
}

/// One part of the mass balance.
#[derive(Serialize, ToSchema)]
pub struct PartBody {
    /// What it is.
    pub name: String,
    /// Its mass in grams.
    pub grams: String,
    /// It rests on a volume, a formula, or an assumed density.
    pub about: bool,
}

impl From<&Part> for PartBody {
    fn from(part: &Part) -> Self {
        Self { name: part.name.clone(), grams: format!("{:.1}", part.grams), about: part.about }
    }
}

/// One recovery.
#[derive(Serialize, ToSchema)]
pub struct RecoveryBody {
    /// What from what.
    pub name: String,
    /// In per cent.
    pub percent: String,
    /// The least that was expected, in per cent.
    pub expected_low: Option<String>,
    /// The most that was expected, in per cent.
    pub expected_high: Option<String>,
    /// How it is meant.
    pub basis: String,
}

impl From<&Recovery> for RecoveryBody {
    fn from(recovery: &Recovery) -> Self {
        Self {
            name: recovery.name.clone(),
            percent: format!("{:.2}", recovery.percent),
            expected_low: recovery.expected.map(|range| format!("{:.2}", range.0)),
            expected_high: recovery.expected.map(|range| format!("{:.2}", range.1)),
            basis: recovery.basis.clone(),
        }
    }
}

/// Where the mass of a batch went.
#[derive(Serialize, ToSchema)]
pub struct YieldBody {
    /// What came in.
    pub r#in: Vec<PartBody>,
    /// What went out or is still there.
    pub out: Vec<PartBody>,
    /// In less out, in grams.
    pub unaccounted_grams: String,
    /// What was got out of what was put in.
    pub recoveries: Vec<RecoveryBody>,
}

/// The mass balance and recoveries of a batch.
pub async fn yields(who: Onlooker, site: Site, path: Path<BatchId>) -> Result<Answer<YieldBody>, Problem> {
    let doer = who.clone();
    let found = site.db.read(move |conn| mass::find(conn, &doer, path.0)).await?;
    let (_, balance, recoveries) = found.ok_or_else(|| Problem::missing("batch"))?;
    Ok(Answer(YieldBody {
        r#in: balance.ins.iter().map(PartBody::from).collect(),
        out: balance.outs.iter().map(PartBody::from).collect(),
        unaccounted_grams: format!("{:.1}", balance.unaccounted_g),
        recoveries: recoveries.iter().map(RecoveryBody::from).collect(),
    }))
}

/// A reversal.
#[derive(Serialize, ToSchema)]
pub struct Reversed {
    /// The entry that takes the other back.
    pub entry: String,
}

/// Reverses an entry; 409 names the entries that rest on it.
pub async fn reverse(
    hand: Cellarhand,
    site: Site,
    path: Path<EntryId>,
    Key(key): Key,
    sent: Json<Reason>,
) -> Result<Created<Reversed>, Problem> {
    let order = read_reversal(&sent.draft, &hand, path.0)?;
    let entry = reversals::record_reversal(&site.db, &hand, key, order).await?;
    Ok(Created(Reversed { entry: entry.to_string() }))
}
