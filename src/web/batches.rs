//! Batches; here the page of one, which answers how far it is and what comes next.

use askama::Template;

pub mod comparison;
mod course;
pub mod export;
mod figures;
pub mod list;
pub mod loggers;
pub mod mass;
pub mod read;
pub mod readings;
pub mod record;
pub mod strike;
pub mod task;

pub use course::Course;

use super::entries::trail_of;
use super::extract::{Paging, Path};
use super::frame::Frame;
use super::plans::Part;
use super::problem::Problem;
use super::recipes::{CameOff, came_off};
use super::respond::{self, Reply};
use super::site::{Room, Site};
use super::trail::Trail;
use super::words;
use crate::db::batches::{self as rows, Batch, Part as Slice, Reading, Series};
use crate::db::books::{self, Which};
use crate::db::bottles::{self, Bottling};
use crate::db::holds;
use crate::db::reminders::Facts;
use crate::db::vessels;
use crate::db::{AnyConn, Failure};
use crate::db::{cautions, plans, recipes, steps};
use crate::domain::batches::{Moved, Stage, Standing};
use crate::domain::cautions::Readiness;
use crate::domain::holds::Hold;
use crate::domain::members::{Doer, Onlooker, Role};
use crate::domain::steps::Step;
use crate::domain::vessels::Closure;
use crate::domain::yields::Story;
use crate::units::days::{self, Instant};
use crate::units::ids::{BatchId, EntryId};
use crate::units::measure::{Measured, ReadingKind};
use crate::units::quantity::BaseUnit;

use course::FOLLOWED;
use figures::{Fact, figures, gravity_curve, gravity_table};
use readings::{ReadingRow, reading_row};
use task::Task;

/// Entries on one page of a batch.
const TRAIL: i64 = 20;
/// Reasons for going on that are listed.
const REASONS: i64 = 20;
/// Readings that are listed on the page; a page of their own has all.
const READINGS: i64 = 8;
/// Tasks that have a button beside the likeliest; the rest are folded.
const ALSO: usize = 2;

/// The page of a batch.
#[derive(Template)]
#[template(path = "batches/batch.html")]
struct BatchPage {
    frame: Frame,
    batch: Batch,
    href: String,
    about: String,
    lead: String,
    stem: String,
    /// "Has not moved for 5 days."
    stopped: Option<String>,
    first: Option<(String, &'static str)>,
    also: Vec<(String, &'static str)>,
    rest: Vec<(String, &'static str)>,
    caution: Option<&'static str>,
    /// "It is 27.5 °C in it, warmer than about 25 °C."
    too_warm: Option<String>,
    curve: String,
    /// What the forecast rests on.
    basis: Option<String>,
    /// The curve as a table: day, gravity, temperature.
    table: Vec<[String; 3]>,
    readings: Vec<ReadingRow>,
    keeps_readings: bool,
    facts: Vec<Fact>,
    bottlings: Vec<(String, String)>,
    origin: Option<(String, String)>,
    plan: Option<Part>,
    /// Its steps are what is done now.
    making: bool,
    may_record: bool,
    /// Where a recipe is written from it: the next revision of its own, or a new one.
    as_recipe: String,
    /// Why somebody went on in spite of a caution: the caution, the words, when and who.
    reasons: Vec<(String, String, String)>,
    /// Where the revision by which it is made stands, and its number.
    recipe: Option<(String, i64)>,
    /// What went into it and is on hold.
    held: Vec<(String, String)>,
    /// Vessels it stands in: address, words, and what is wrong with it.
    vessels: Vec<(String, String, Option<String>)>,
    trail: Trail,
    request_keys: Vec<String>,
}

/// What the page of a batch is made of.
pub struct Found {
    batch: Batch,
    standing: Standing,
    readings: Vec<Reading>,
    last: Vec<(ReadingKind, Instant, Measured)>,
    gravities: Series,
    temperatures: Series,
    moved: Vec<Moved>,
    story: Story,
    bottlings: Vec<Bottling>,
    steps: Vec<Step>,
    supplies: Vec<plans::Supply>,
    recipe: Option<recipes::Followed>,
    came_off: Vec<CameOff>,
    origin: Option<(BatchId, String)>,
    entries: Vec<books::Told>,
    reasons: Vec<cautions::Given>,
    vessels: Vec<vessels::In>,
    held: Vec<Hold>,
}

/// Reads it; `None` where there is no such batch.
pub fn find(
    conn: &mut AnyConn,
    doer: &Doer,
    id: BatchId,
    before: Option<EntryId>,
) -> Result<Option<Found>, Failure> {
    let club = doer.club;
    let batch = match rows::batch(conn, club, id) {
        Err(Failure::Gone) => return Ok(None),
        found => found?,
    };
    let origin = match batch.came_from {
        Some(from) => Some((from, rows::named(conn, club, from)?.0)),
        None => None,
    };
    let recipe = recipes::followed_by(conn, club, id)?;
    let mut followed = rows::series(conn, &[id], &FOLLOWED)?;
    let story = rows::story_by(conn, club, id, &followed)?;
    let mut series = |kind| followed.remove(&(id, kind)).unwrap_or_default();
    let (gravities, temperatures) = (series(ReadingKind::Gravity), series(ReadingKind::Temperature));
    Ok(Some(Found {
        standing: rows::standing(conn, club, id)?,
        readings: rows::part(conn, club, id, &Slice::newest(READINGS))?,
        last: rows::last_of_each(conn, id)?,
        gravities,
        temperatures,
        moved: rows::moves(conn, id)?,
        story,
        bottlings: bottles::of_batch(conn, club, id)?,
        steps: steps::steps(conn, club, id)?,
        supplies: plans::supplies(conn, club, id)?,
        came_off: came_off(conn, doer, id, recipe.as_ref())?,
        recipe,
        entries: books::tell(conn, club, Which::Batch(id), before, TRAIL + 1)?,
        vessels: vessels::of_batch(conn, id)?,
        held: holds::above(conn, club, id)?,
        reasons: cautions::given(conn, club, cautions::Which::Batch(id), REASONS)?,
        origin,
        batch,
    }))
}

/// Shows a batch.
pub async fn show(who: Onlooker, site: Site, path: Path<BatchId>, paging: Paging<EntryId>) -> Reply {
    let (id, before) = (path.0, paging.after);
    let (facts, found) = site.read(&who, move |conn, doer| find(conn, doer, id, before)).await?;
    respond::page(&page(&site, &who, facts, found.ok_or_else(|| Problem::missing("batch"))?))
}

/// The page of a batch, from what was read of it.
pub fn page(site: &Site, who: &Doer, facts: Facts, found: Found) -> impl Template + use<> {
    let Found { batch, standing, readings, last, gravities, temperatures, .. } = found;
    let Found {
        moved,
        story,
        bottlings,
        steps,
        supplies,
        recipe,
        came_off,
        origin,
        reasons,
        vessels,
        held,
        mut entries,
        ..
    } = found;
    let id = batch.id;
    let href = site.at(&format!("/batches/{id}"));
    let more = (entries.len() > 20).then(|| {
        entries.truncate(20);
        format!("{href}?after={}#en", entries[19].id)
    });
    let under_way = matches!(batch.stage, Stage::Working | Stage::Resting);
    let course = Course::of(&gravities, &temperatures).filter(|_| under_way);
    let working = course.as_ref().filter(|_| batch.stage == Stage::Working);
    let may_record = who.role >= Role::Cellarhand;
    let empty = standing.holding.quantity.get() == 0;
    let mut next = if may_record { Task::next(batch.stage, empty).to_vec() } else { Vec::new() };
    let finished = |course: &Course| course.readiness().0 == Readiness::SeemsFinished;
    if next.starts_with(&[Task::Bottle, Task::Reading]) && !course.as_ref().is_some_and(finished) {
        next.swap(0, 1);
    }
    // What ends a batch is never the nearest thing to a finger.
    let beside = next.iter().skip(1).take(ALSO).filter(|task| **task != Task::Abandon).count();
    let link = |task: &Task| (format!("{href}/{}", task.code()), task.says().0);
    BatchPage {
        about: about(&batch, &standing, who),
        lead: lead(&batch, course.as_ref(), who),
        stem: working.map(|course| course.stem(who)).unwrap_or_default(),
        stopped: working.and_then(Course::stopped),
        first: next.first().map(link),
        also: next.iter().skip(1).take(beside).map(link).collect(),
        rest: next.iter().skip(1 + beside).map(link).collect(),
        caution: caution(batch.stage),
        too_warm: working.and_then(|course| course.too_warm(who)),
        curve: gravity_curve(&batch, (&gravities, &temperatures), &moved, course.as_ref(), who),
        basis: working.and_then(Course::basis),
        table: gravity_table(&gravities, &temperatures, who),
        readings: readings.iter().map(|reading| reading_row(reading, who)).collect(),
        keeps_readings: may_record && !batch.stage.ended(),
        request_keys: readings.iter().map(|_| site.form("", "", "").request_key).collect(),
        facts: figures(batch.stage, &standing, &story, &last, course.as_ref(), who),
        bottlings: bottlings
            .iter()
            .map(|bottling| {
                let bottles = words::count(bottling.bottles, "bottle", "bottles");
                let volume = bottling.bottle_volume.shown(BaseUnit::Millilitre);
                let day = days::short(bottling.bottled_on, who.today());
                (
                    site.at(&format!("/bottles/{}", bottling.id)),
                    format!("{}: {bottles} of {volume}, {day}", bottling.code),
                )
            })
            .collect(),
        origin: origin.map(|(from, code)| (site.at(&format!("/batches/{from}")), code)),
        held: held
            .iter()
            .map(|hold| (site.at(&format!("/stores/lots/{}", hold.lot)), hold.words()))
            .collect(),
        vessels: vessels.iter().map(|vessel| vessel_row(site, &batch, vessel, who)).collect(),
        reasons: reasons.iter().map(|given| reason_row(given, who)).collect(),
        may_record,
        making: batch.stage <= Stage::Preparing && steps.iter().any(|step| step.state().is_ahead()),
        as_recipe: match &recipe {
            Some(of) => site.at(&format!("/recipes/{}/revise?batch={id}", of.recipe)),
            None => site.at(&format!("/recipes/new?batch={id}")),
        },
        plan: Part::of(site, who, id, &steps, &supplies, &came_off),
        recipe: recipe.map(|recipe| {
            let at = site.at(&format!("/recipes/{}/revisions/{}", recipe.recipe, recipe.number));
            (at, recipe.number)
        }),
        trail: trail_of(site, who, &entries, more),
        frame: site.frame(who, Room::Batches, &format!("Batch {}, {}", batch.code, batch.name), facts),
        batch,
        href,
    }
}

fn about(batch: &Batch, standing: &Standing, doer: &Doer) -> String {
    let mut parts = vec![format!("Batch {}", batch.code)];
    let day =
        batch.pitched_on.filter(|_| batch.stage == Stage::Working).map(|day| (doer.today() - day).num_days());
    parts.push(match day {
        Some(day) => format!("{}, day {day}", batch.stage.label()),
        None => batch.stage.label().to_owned(),
    });
    if standing.holding.quantity.get() > 0 {
        parts.push(standing.holding.quantity.shown(BaseUnit::Millilitre));
    }
    parts.join(" · ")
}

fn lead(batch: &Batch, course: Option<&Course>, doer: &Doer) -> String {
    match batch.stage {
        Stage::Planned => "On paper: nothing has been drawn yet.".to_owned(),
        Stage::Preparing => "Supplies are in it. When it is cool, pitch the yeast.".to_owned(),
        Stage::Working => match course {
            Some(course) => course.lead(doer),
            None => "It is working. Record its gravity to see how far it is.".to_owned(),
        },
        Stage::Resting => "Off the lees or done, in bulk. Bottle it when it is clear and safe.".to_owned(),
        Stage::LaidDown => "All of it is in bottles.".to_owned(),
        Stage::Closed => "Its books are settled.".to_owned(),
        Stage::Abandoned => "It was given up.".to_owned(),
    }
}

const fn caution(stage: Stage) -> Option<&'static str> {
    match stage {
        Stage::Working => Some(
            "It is making gas: an airlock, never a stopper, and air in the room. Carbon dioxide gathers low down; \
             do not go alone into a pit or a closed room where much is working.",
        ),
        Stage::Preparing => Some(
            "Yeast and enzymes go into warm liquid, not hot. Boiling liquid never goes into glass that is not made \
             for it.",
        ),
        _ => None,
    }
}

fn vessel_row(
    site: &Site,
    batch: &Batch,
    vessel: &vessels::In,
    doer: &Doer,
) -> (String, String, Option<String>) {
    let volume = vessel.volume.shown(BaseUnit::Millilitre);
    let since = days::short(vessel.since, doer.today());
    let closed = batch.stage == Stage::Working && vessel.closure == Closure::Lid;
    (
        site.at(&format!("/vessels/{}", vessel.vessel)),
        format!("Vessel {}: {volume} since {since}, {}", vessel.code, vessel.place),
        closed.then(|| format!("Vessel {} is closed while it works: put an airlock on it.", vessel.code)),
    )
}

fn reason_row(given: &cautions::Given, doer: &Doer) -> (String, String, String) {
    let who = format!("{} · {}", words::when(given.at, doer), given.by);
    (given.danger.clone(), given.words.clone(), who)
}
