//! What is being made, as Today shows it: batches with a step that runs, and those that are being put together.

use crate::db::batches::{self as rows, Batch};
use crate::db::steps::{self, Running};
use crate::db::{AnyConn, Failure};
use crate::domain::batches::Stage;
use crate::domain::members::Doer;
use crate::units::ids::{BatchId, ClubId};
use crate::web::site::Site;
use crate::web::steps::Timer;

/// Batches that are shown.
const MOST: i64 = 12;

/// A batch that is being made, and the step that runs in it.
pub(super) struct Found {
    id: BatchId,
    code: String,
    drink: String,
    running: Option<Running>,
}

pub(super) fn find(conn: &mut AnyConn, club: ClubId) -> Result<Vec<Found>, Failure> {
    let running = steps::running(conn, club, MOST)?;
    let preparing = rows::batches(conn, club, &[Stage::Preparing], None, MOST)?;
    let ids: Vec<BatchId> = preparing.iter().map(|batch| batch.id).collect();
    let with_steps = steps::being_made(conn, &ids)?;
    let waits =
        |batch: &&Batch| with_steps.contains(&batch.id) && !running.iter().any(|step| step.batch == batch.id);
    let waiting = preparing.iter().filter(waits).map(|batch| Found {
        id: batch.id,
        code: batch.code.clone(),
        drink: batch.name.clone(),
        running: None,
    });
    let waiting: Vec<Found> = waiting.collect();
    let of = |step: Running| Found {
        id: step.batch,
        code: step.code.clone(),
        drink: step.drink.clone(),
        running: Some(step),
    };
    Ok(running.into_iter().map(of).chain(waiting).collect())
}

/// A batch that is being made, as a row.
pub(super) struct MakingRow {
    pub(super) href: String,
    pub(super) code: String,
    pub(super) drink: String,
    /// The step that runs.
    pub(super) step: String,
    pub(super) timer: Option<Timer>,
}

pub(super) fn row(site: &Site, doer: &Doer, found: &Found) -> MakingRow {
    let step = found.running.as_ref().map(|step| match step.what.as_str() {
        "" => step.kind.name().to_owned(),
        what => what.to_owned(),
    });
    MakingRow {
        href: site.at(&format!("/batches/{}/now", found.id)),
        code: found.code.clone(),
        drink: found.drink.clone(),
        step: step.unwrap_or_default(),
        timer: found.running.as_ref().and_then(Running::ends_at).map(|ends| Timer::of(ends, doer)),
    }
}
