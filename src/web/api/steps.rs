//! The steps of a batch by the API: what became of each, and recording it. An entry that does a step is recorded where
//! entries are, with the number of the step in it.

use serde::Serialize;
use utoipa::ToSchema;

use super::Amount;
use super::plans::StepBody;
use crate::actions::steps::{self as acts, Which};
use crate::db::{steps as rows, stock};
use crate::domain::members::{Cellarhand, Onlooker};
use crate::domain::steps::{Record, Step};
use crate::units::days::Instant;
use crate::units::ids::{BatchId, StepRecordId};
use crate::units::measure::Measured;
use crate::web::body::Json;
use crate::web::extract::{Key, Path};
use crate::web::problem::Problem;
use crate::web::recipes::read::named;
use crate::web::respond::{Answer, Created};
use crate::web::site::Site;
use crate::web::steps::{Found, find, read};

/// A step to be added.
#[derive(ToSchema)]
pub struct NewStep {
    /// heat-to, hold, curdle, strain, split-lactose, boil-down, sweeten, dissolve, cool, fill, pitch, rack, fine,
    /// stabilise, back-sweeten, blend, split, sample or note.
    pub kind: String,
    /// In words.
    pub what: Option<String>,
    /// What is added, or comes off.
    pub item: Option<String>,
    /// How much.
    pub amount: Option<Amount>,
    /// Temperature to reach or keep, °C.
    pub target_c: Option<String>,
    /// How long, in minutes, or such as `2 h 30 min`.
    pub minutes: Option<String>,
    /// What can hurt somebody.
    pub caution: Option<String>,
    /// The number of the step after which it comes; left out: before all others.
    pub after: Option<u32>,
}

/// A step that begins.
#[derive(ToSchema)]
pub struct StepBegun {
    /// When; now if left out.
    pub at: Option<String>,
    /// It is begun although steps before it are not done.
    pub out_of_order: Option<bool>,
    /// Why one goes on in spite of a danger, by the code of its rule.
    pub reasons: Option<std::collections::BTreeMap<String, String>>,
}

/// A step that was done.
#[derive(ToSchema)]
pub struct StepDone {
    /// When it began, if that was not recorded.
    pub begun_at: Option<String>,
    /// When it was done; now if left out.
    pub at: Option<String>,
    /// How warm it was, °C; of a sample: the temperature of the batch.
    pub temperature: Option<String>,
    /// How much it was.
    pub amount: Option<Amount>,
    /// Of a sample: as the hydrometer shows it. One value at least is needed.
    pub gravity: Option<String>,
    /// The temperature of the sample; the gravity is then corrected to 20 °C.
    pub sample_temperature_c: Option<String>,
    /// Of a sample.
    pub ph: Option<String>,
    /// Of a sample, g/L as tartaric acid.
    pub acidity: Option<String>,
    /// Of a sample, mg/L.
    #[schema(rename = "free-sulphite")]
    pub free_sulphite: Option<String>,
    /// Of a sample, before the yeast is in.
    pub brix: Option<String>,
    /// Of a sample, L.
    pub volume: Option<String>,
    /// The entry that did it, if that is in the books already.
    pub entry: Option<String>,
    /// What you want to add.
    pub remark: Option<String>,
    /// It was done although steps before it are not.
    pub out_of_order: Option<bool>,
    /// Why one went on in spite of a danger, by the code of its rule.
    pub reasons: Option<std::collections::BTreeMap<String, String>>,
}

/// Why a step is left out, or a record struck out.
#[derive(ToSchema)]
pub struct Because {
    /// In your words.
    pub reason: String,
}

/// A remark on a step.
#[derive(ToSchema)]
pub struct StepRemark {
    /// In your words.
    pub remark: String,
}

/// A value that was read off.
#[derive(Serialize, ToSchema)]
pub struct TakenBody {
    /// The reading.
    pub reading: String,
    /// gravity, brix, temperature, ph, acidity, free-sulphite or volume.
    pub kind: String,
    /// As corrected.
    pub value: String,
    /// It was struck out.
    pub struck: bool,
}

/// Something that was recorded of a step.
#[derive(Serialize, ToSchema)]
#[schema(as = StepRecord)]
pub struct RecordBody {
    /// Its id.
    pub id: String,
    /// done, left-out or remark.
    pub kind: String,
    /// When it began.
    pub begun_at: Option<String>,
    /// Who began it.
    pub begun_by: Option<String>,
    /// When it was done; null while it runs.
    pub done_at: Option<String>,
    /// Who did it.
    pub done_by: Option<String>,
    /// How long that was.
    pub minutes: Option<i64>,
    /// How warm it was.
    pub temperature_c: Option<String>,
    /// How much it was.
    pub amount: Option<Amount>,
    /// The entry by which it was done.
    pub entry: Option<String>,
    /// What was read off.
    pub readings: Vec<TakenBody>,
    /// What was written.
    pub remark: String,
    /// Why it was left out.
    pub because: String,
    /// Whether it counts: it was not struck out, and its entry was not reversed.
    pub stands: bool,
}

impl From<&Record> for RecordBody {
    fn from(record: &Record) -> Self {
        let at = |at: &Option<(Instant, String)>| at.as_ref().map(|at| at.0.and_utc().to_rfc3339());
        let by = |at: &Option<(Instant, String)>| at.as_ref().map(|at| at.1.clone());
        Self {
            id: record.id.to_string(),
            kind: record.kind.code().to_owned(),
            begun_at: at(&record.begun),
            begun_by: by(&record.begun),
            done_at: at(&record.done),
            done_by: by(&record.done),
            minutes: record.minutes(),
            temperature_c: record.temperature_c.map(Measured::plain),
            amount: record.amount.map(|(amount, unit)| Amount::of(amount, unit)),
            entry: record.entry.map(|entry| entry.0.to_string()),
            readings: record
                .readings
                .iter()
                .map(|taken| TakenBody {
                    reading: taken.reading.to_string(),
                    kind: taken.kind.code().to_owned(),
                    value: taken.value.plain(),
                    struck: taken.struck,
                })
                .collect(),
            remark: record.remark.clone(),
            because: record.because.clone(),
            stands: record.stands(),
        }
    }
}

/// A step with what became of it.
#[derive(Serialize, ToSchema)]
pub struct BatchStep {
    /// The number by which it is recorded; it stays when others are added.
    pub step: i64,
    /// open, running, done or left-out.
    pub state: String,
    /// When what runs is over.
    pub ends_at: Option<String>,
    /// Who added it to the plan.
    pub added_by: Option<String>,
    /// What is to be done.
    pub plan: StepBody,
    /// What was recorded, oldest first.
    pub records: Vec<RecordBody>,
}

/// The steps of a batch.
#[derive(Serialize, ToSchema)]
pub struct BatchSteps {
    /// In their turn.
    pub items: Vec<BatchStep>,
}

fn body((at, step): (usize, &Step)) -> BatchStep {
    BatchStep {
        step: step.line,
        state: step.state().code().to_owned(),
        ends_at: step.ends_at().map(|ends| ends.and_utc().to_rfc3339()),
        added_by: step.added_by.clone(),
        plan: super::plans::step_body(at, &step.plan),
        records: step.records.iter().map(RecordBody::from).collect(),
    }
}

/// The steps of a batch.
pub async fn list(who: Onlooker, site: Site, path: Path<BatchId>) -> Result<Answer<BatchSteps>, Problem> {
    let found = found(&site, &who, path.0).await?;
    Ok(Answer(BatchSteps { items: found.steps.iter().enumerate().map(body).collect() }))
}

async fn found(site: &Site, who: &crate::domain::members::Doer, id: BatchId) -> Result<Found, Problem> {
    let doer = who.clone();
    let read = site.db.read(move |conn| find(conn, &doer, id)).await?;
    read.ok_or_else(|| Problem::missing("batch"))
}

/// A step that was added.
#[derive(Serialize, ToSchema)]
pub struct StepAdded {
    /// Its number.
    pub step: i64,
}

/// Adds a step.
pub async fn add(
    hand: Cellarhand,
    site: Site,
    path: Path<BatchId>,
    Key(key): Key,
    sent: Json<NewStep>,
) -> Result<Created<StepAdded>, Problem> {
    found(&site, &hand, path.0).await?;
    let (club, items) = (hand.club, named(&sent.draft));
    let units = site.db.read(move |conn| stock::units(conn, club, &items, &[])).await?;
    let order = read::adding(&sent.draft, &hand, path.0, &units)?;
    Ok(Created(StepAdded { step: acts::add(&site.db, &hand, key, order).await? }))
}

/// What was recorded.
#[derive(Serialize, ToSchema)]
pub struct StepRecorded {
    /// The record.
    pub record: String,
}

fn recorded(id: StepRecordId) -> Created<StepRecorded> {
    Created(StepRecorded { record: id.to_string() })
}

/// Begins a step.
pub async fn begin(
    hand: Cellarhand,
    site: Site,
    path: Path<(BatchId, i64)>,
    Key(key): Key,
    sent: Json<StepBegun>,
) -> Result<Created<StepRecorded>, Problem> {
    let which = Which { batch: path.0.0, line: path.0.1 };
    step(&site, &hand, which).await?;
    let order = read::beginning(&sent.draft, &hand, which)?;
    Ok(recorded(acts::begin(&site.db, &hand, key, order).await?))
}

/// The step and its batch, before what was sent is read.
async fn step(
    site: &Site,
    who: &crate::domain::members::Doer,
    which: Which,
) -> Result<(Step, stock::Units), Problem> {
    let found = found(site, who, which.batch).await?;
    let step = found.step(which.line).cloned().ok_or_else(|| Problem::missing("step"))?;
    Ok((step, found.units))
}

/// Records a step as done.
pub async fn done(
    hand: Cellarhand,
    site: Site,
    path: Path<(BatchId, i64)>,
    Key(key): Key,
    sent: Json<StepDone>,
) -> Result<Created<StepRecorded>, Problem> {
    let which = Which { batch: path.0.0, line: path.0.1 };
    let (step, units) = step(&site, &hand, which).await?;
    let order = read::doing(&sent.draft, &hand, which.batch, &step, &units)?;
    Ok(recorded(acts::done(&site.db, &hand, key, order).await?))
}

/// Leaves a step out.
pub async fn leave_out(
    hand: Cellarhand,
    site: Site,
    path: Path<(BatchId, i64)>,
    Key(key): Key,
    sent: Json<Because>,
) -> Result<Created<StepRecorded>, Problem> {
    let which = Which { batch: path.0.0, line: path.0.1 };
    step(&site, &hand, which).await?;
    let order = read::leaving_out(&sent.draft, &hand, which)?;
    Ok(recorded(acts::leave_out(&site.db, &hand, key, order).await?))
}

/// Remarks on a step.
pub async fn remark(
    hand: Cellarhand,
    site: Site,
    path: Path<(BatchId, i64)>,
    Key(key): Key,
    sent: Json<StepRemark>,
) -> Result<Created<StepRecorded>, Problem> {
    let which = Which { batch: path.0.0, line: path.0.1 };
    step(&site, &hand, which).await?;
    let order = read::remark(&sent.draft, &hand, which)?;
    Ok(recorded(acts::remark(&site.db, &hand, key, order).await?))
}

/// Strikes a record out.
pub async fn strike(
    hand: Cellarhand,
    site: Site,
    path: Path<(BatchId, i64, StepRecordId)>,
    Key(key): Key,
    sent: Json<Because>,
) -> Result<Created<StepRecorded>, Problem> {
    let (batch, line, record) = path.0;
    let which = Which { batch, line };
    let (step, _) = step(&site, &hand, which).await?;
    if !step.records.iter().any(|known| known.id == record) {
        return Err(Problem::missing("record"));
    }
    let order = read::strike(&sent.draft, &hand, which, record)?;
    Ok(recorded(acts::strike(&site.db, &hand, key, order).await?))
}

/// A step that runs.
#[derive(Serialize, ToSchema)]
pub struct RunningStep {
    /// The batch.
    pub batch: String,
    /// The number of the batch.
    pub code: String,
    /// Its drink.
    pub drink: String,
    /// The number of the step.
    pub step: i64,
    /// What is done.
    pub kind: String,
    /// In words.
    pub what: String,
    /// When it began.
    pub begun_at: Option<String>,
    /// When it is over; null where that is not known.
    pub ends_at: Option<String>,
}

/// What runs in the club.
#[derive(Serialize, ToSchema)]
pub struct RunningSteps {
    /// The first begun first; at most 200.
    pub items: Vec<RunningStep>,
}

/// What runs in the club.
pub async fn running(who: Onlooker, site: Site) -> Result<Answer<RunningSteps>, Problem> {
    let club = who.club;
    let found = site.db.read(move |conn| rows::running(conn, club, 200)).await?;
    let items = found.into_iter().map(|one| RunningStep {
        batch: one.batch.to_string(),
        ends_at: one.ends_at().map(|at| at.and_utc().to_rfc3339()),
        begun_at: one.begun_at.map(|at| at.and_utc().to_rfc3339()),
        code: one.code,
        drink: one.drink,
        step: one.line,
        kind: one.kind.code().to_owned(),
        what: one.what,
    });
    Ok(Answer(RunningSteps { items: items.collect() }))
}
