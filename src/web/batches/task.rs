//! What can be done to a batch, one form each: draw, pitch, weigh off, rack, read, split, blend, bottle, lose, end.

use super::read;
use crate::actions::vessels::{racked, transferred};
use crate::actions::{Done, Error, batches as acts, bottles};
use crate::db::batches::{self, Batch};
use crate::db::buying::{Of, look};
use crate::db::stock::{self, Place, StockFilter, Stocked, Units};
use crate::db::vessels::{self, Filled, Kept};
use crate::db::{AnyConn, Failure};
use crate::db::{cautions, recipes};
use crate::domain::batches::{Stage, Standing};
use crate::domain::cautions::{Doing, Facts};
use crate::domain::members::{Cellarhand, Doer};
use crate::domain::recipes::days_of_months;
use crate::domain::stock::Item;
use crate::units::ids::{BatchId, ClubId, ItemId};
use crate::web::body::Form;
use crate::web::buying::instead::hints;
use crate::web::extract::{Path, Query};
use crate::web::form_page::FormPage;
use crate::web::input::Draft;
use crate::web::problem::Problem;
use crate::web::respond::{self, Reply};
use crate::web::site::{Room, Site};
use crate::web::supplies;

mod forms;
mod of_step;

use forms::form;

/// One of the things that can be done.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
#[allow(missing_docs, reason = "the words are those of the trade")]
pub enum Task {
    Draw,
    Pitch,
    ByProduct,
    Reading,
    Rack,
    Split,
    Blend,
    Bottle,
    Loss,
    Close,
    Abandon,
}

impl Task {
    /// All tasks with a form of this kind; a reading has a page of its own.
    pub const ALL: [Task; 10] = [
        Self::Draw,
        Self::Pitch,
        Self::ByProduct,
        Self::Rack,
        Self::Split,
        Self::Blend,
        Self::Bottle,
        Self::Loss,
        Self::Close,
        Self::Abandon,
    ];

    /// Its place in the address.
    pub const fn code(self) -> &'static str {
        match self {
            Self::Draw => "draw",
            Self::Pitch => "pitch",
            Self::ByProduct => "by-product",
            Self::Reading => "reading",
            Self::Rack => "rack",
            Self::Split => "split",
            Self::Blend => "blend",
            Self::Bottle => "bottle",
            Self::Loss => "loss",
            Self::Close => "close",
            Self::Abandon => "abandon",
        }
    }

    /// From its place in the address.
    pub fn from_code(code: &str) -> Option<Self> {
        Self::ALL.into_iter().find(|task| task.code() == code)
    }

    /// What its cautions follow from.
    const fn doing(self) -> Doing {
        match self {
            Self::Draw => Doing::Draw,
            Self::Pitch => Doing::Pitch,
            Self::ByProduct => Doing::ByProduct,
            Self::Rack => Doing::Rack,
            Self::Split => Doing::Split,
            Self::Blend => Doing::Blend,
            Self::Bottle => Doing::Bottle,
            Self::Reading | Self::Loss | Self::Close | Self::Abandon => Doing::Else,
        }
    }

    /// What the link to it says, the heading of its form, and what its button says.
    pub const fn says(self) -> (&'static str, &'static str, &'static str) {
        match self {
            Self::Draw => ("Draw supplies", "Draw supplies into the batch", "Draw them"),
            Self::Pitch => ("Pitch the yeast", "Pitch the yeast", "Record the pitch"),
            Self::ByProduct => {
                ("Weigh off a by-product", "Weigh off a by-product", "Record what was weighed")
            }
            Self::Reading => ("Record a reading", "Record a reading", "Record the reading"),
            Self::Rack => ("Rack, or measure the volume", "Rack, or measure the volume", "Record it"),
            Self::Split => ("Split", "Split part of it into a new batch", "Split it"),
            Self::Blend => ("Blend into another", "Blend part of it into another batch", "Blend it"),
            Self::Bottle => ("Bottle", "Bottle it", "Record the bottling"),
            Self::Loss => ("Record a loss", "Record a loss", "Record the loss"),
            Self::Close => ("Close the batch", "Close the batch", "Close it"),
            Self::Abandon => ("Give it up", "Give the batch up", "Give it up"),
        }
    }

    /// What makes sense next at a stage, the likeliest first.
    pub fn next(stage: Stage, empty: bool) -> &'static [Task] {
        match stage {
            Stage::Planned => &[Self::Draw, Self::Abandon],
            Stage::Preparing => &[
                Self::Draw,
                Self::ByProduct,
                Self::Pitch,
                Self::Reading,
                Self::Rack,
                Self::Split,
                Self::Blend,
                Self::Loss,
                Self::Abandon,
            ],
            Stage::LaidDown => &[Self::Close],
            Stage::Working | Stage::Resting if empty => &[Self::Close, Self::Reading],
            Stage::Working => &[
                Self::Reading,
                Self::Rack,
                Self::Draw,
                Self::ByProduct,
                Self::Bottle,
                Self::Split,
                Self::Blend,
                Self::Loss,
                Self::Pitch,
                Self::Abandon,
            ],
            Stage::Resting => &[
                Self::Bottle,
                Self::Reading,
                Self::Rack,
                Self::Draw,
                Self::Split,
                Self::Blend,
                Self::Loss,
                Self::Pitch,
                Self::Abandon,
            ],
            Stage::Closed | Stage::Abandoned => &[],
        }
    }
}

/// What the forms choose from.
struct Material {
    batch: Batch,
    standing: Standing,
    known: Facts,
    stock: Vec<Stocked>,
    places: Vec<Place>,
    items: Vec<(ItemId, Item)>,
    others: Vec<Batch>,
    vessels: Vec<Kept>,
    full: Vec<Filled>,
    units: Units,
    /// The step that it does.
    step: Option<of_step::OfStep>,
    /// The ages at which its recipe says it should be tasted, in days.
    ages: Vec<u32>,
    /// They are counted by the warmth of the shelf.
    ages_by_warmth: bool,
    /// What is short for its plan and what could be used in its place.
    short: Vec<String>,
}

fn material(
    conn: &mut AnyConn,
    doer: &Doer,
    id: BatchId,
    task: Task,
    draft: &Draft,
) -> Result<Option<Material>, Failure> {
    let club = doer.club;
    let batch = match batches::batch(conn, club, id) {
        Err(Failure::Gone) => return Ok(None),
        found => found?,
    };
    let (mut items, mut lots) = supplies::named(draft, "lines");
    for path in read::packaging(draft) {
        let packaging = supplies::named(draft, &path);
        items.extend(packaging.0);
        lots.extend(packaging.1);
    }
    items.extend(draft.typed("item").and_then(|id| id.parse::<ItemId>().ok()));
    let open = [Stage::Planned, Stage::Preparing, Stage::Working, Stage::Resting];
    let (ages, ages_by_warmth) = ages(conn, club, id)?;
    let mut known = cautions::facts(conn, doer, id)?;
    if task == Task::Bottle {
        cautions::before_bottling(conn, doer, id, &mut known)?;
    }
    Ok(Some(Material {
        standing: batches::standing(conn, club, id)?,
        known,
        stock: stock::stock(conn, club, &StockFilter::default())?,
        places: stock::places(conn, club)?,
        items: stock::items(conn, club)?,
        others: batches::batches(conn, club, &open, None, i64::MAX)?
            .into_iter()
            .filter(|other| other.id != id)
            .collect(),
        step: of_step::find(conn, doer, id, draft)?,
        ages,
        ages_by_warmth,
        short: match task {
            Task::Draw | Task::Pitch => hints(&look(conn, club, doer.today(), Of::All)?, id),
            _ => Vec::new(),
        },
        vessels: vessels::all(conn, club)?,
        full: vessels::inside_all(conn, club)?,
        units: stock::units(conn, club, &items, &lots)?,
        batch,
    }))
}

fn ages(conn: &mut AnyConn, club: ClubId, id: BatchId) -> Result<(Vec<u32>, bool), Failure> {
    let Some(by) = recipes::followed_by(conn, club, id)? else { return Ok((Vec::new(), false)) };
    let goals = recipes::revision(conn, club, by.recipe, by.number)?.revision.goals;
    Ok((goals.tasting_ages_months.into_iter().map(days_of_months).collect(), goals.ages_by_warmth))
}

/// Which step a task does.
#[derive(serde::Deserialize, utoipa::ToSchema)]
pub struct ForStep {
    /// The number of the step.
    pub step: Option<String>,
}

/// Shows the form of a task; of a step, it is filled with what the step says.
pub async fn show(
    hand: Cellarhand,
    site: Site,
    path: Path<(BatchId, String)>,
    asked: Query<ForStep>,
) -> Reply {
    let (id, task) = which(path.0)?;
    let draft = asked.draft;
    let (facts, found) = site.read(&hand, move |conn, doer| material(conn, doer, id, task, &draft)).await?;
    let found = found.ok_or_else(|| Problem::missing("batch"))?;
    let filled = found.step.as_ref().map(of_step::filled).unwrap_or_default();
    let draft = Draft::from_form(filled.into_iter())?;
    let mut view = form(&site, &hand, task, &found, &draft);
    for field in view.groups.iter_mut().flat_map(|group| &mut group.fields) {
        if let Some(text) = draft.typed(&field.name) {
            field.value = text;
        }
    }
    let frame = site.frame(&hand, Room::Batches, task.says().1, facts);
    respond::page(&FormPage::new(frame, Some(up(&site, &found.batch)), view))
}

/// Does it.
pub async fn perform(hand: Cellarhand, site: Site, path: Path<(BatchId, String)>, sent: Form) -> Reply {
    let (id, task) = which(path.0)?;
    let draft = sent.draft.clone();
    let (facts, found) = site.read(&hand, move |conn, doer| material(conn, doer, id, task, &draft)).await?;
    let found = found.ok_or_else(|| Problem::missing("batch"))?;
    match act(&site, &hand, task, &found, &sent).await.map_err(beside_its_field) {
        Ok(to) => Ok(site.see_other(&to)),
        Err(error) => {
            let refusal = Problem::or_refusal(error)?;
            let view = sent.back(form(&site, &hand, task, &found, &sent.draft), &refusal);
            let frame = site.frame(&hand, Room::Batches, task.says().1, facts);
            respond::refused(&FormPage::new(frame, Some(up(&site, &found.batch)), view), &refusal)
        }
    }
}

fn which((id, task): (BatchId, String)) -> Result<(BatchId, Task), Problem> {
    Task::from_code(&task).map(|task| (id, task)).ok_or_else(|| Problem::missing("page"))
}

fn up(site: &Site, batch: &Batch) -> (String, String) {
    (site.at(&format!("/batches/{}", batch.id)), format!("Batch {}, {}", batch.code, batch.name))
}

async fn act(site: &Site, hand: &Cellarhand, task: Task, found: &Material, sent: &Form) -> Done<String> {
    let (db, key, id) = (&site.db, sent.key.clone(), found.batch.id);
    let mut draft = sent.draft.clone();
    let mark = of_step::mark(&mut draft, hand)?;
    let draft = &draft;
    if let Some(mark) = mark {
        of_step::record(site, hand, task, found, (draft, key), mark).await?;
        return Ok(format!("/batches/{id}/now"));
    }
    match task {
        Task::Draw | Task::Pitch => {
            let order = read::draw(draft, hand, id, task == Task::Pitch, &found.units)?;
            acts::draw(db, hand, key, order).await?;
        }
        Task::ByProduct => {
            let order = read::by_product(draft, hand, id, &found.units)?;
            acts::by_product(db, hand, key, order).await?;
        }
        Task::Reading => return Ok(format!("/batches/{id}/reading")),
        Task::Rack => {
            racked(db, hand, key, read::racking(draft, hand, id)?).await?;
        }
        Task::Split => {
            let made = transferred(db, hand, key, read::split(draft, hand, id)?).await?;
            return Ok(format!("/batches/{}", made.into));
        }
        Task::Blend => {
            transferred(db, hand, key, read::blend(draft, hand, id)?).await?;
        }
        Task::Bottle => {
            let orders = read::bottlings(draft, hand, id, &found.units)?;
            let made = bottles::record_bottlings(db, hand, key, orders).await?;
            if let [one] = &made[..] {
                return Ok(format!("/bottles/{}", one.bottling));
            }
        }
        Task::Loss => {
            acts::record_loss(db, hand, key, read::loss(draft, hand, id)?).await?;
        }
        Task::Close | Task::Abandon => {
            let order = read::ending(draft, hand, id, task == Task::Abandon)?;
            acts::record_end(db, hand, key, order).await?;
        }
    }
    Ok(format!("/batches/{id}"))
}

/// What is missing of the lines is chosen in the first of them.
fn beside_its_field(error: Error) -> Error {
    match error {
        Error::Refused(mut refusal) => {
            for fault in &mut refusal.faults {
                if fault.field == "lines" {
                    "lines.0.source".clone_into(&mut fault.field);
                }
            }
            Error::Refused(refusal)
        }
        Error::Failed(failure) => Error::Failed(failure),
    }
}
