//! Tables that are being brought in by this server, so that their page can say how far they are. What is brought in is
//! in the database alone: a server that stops on the way has brought in nothing, and forgets that it was at it.

use std::collections::HashMap;
use std::sync::{LazyLock, Mutex, PoisonError};
use std::time::Duration;

use crate::actions::intake::{self as acts, Bringing, Progress};
use crate::actions::once::RequestKey;
use crate::actions::{Done, Error};
use crate::db::Database;
use crate::domain::members::Cellarhand;
use crate::units::ids::IntakeId;

/// How long an answer waits for a short table.
const SHORT: Duration = Duration::from_secs(2);
/// Tables of which is remembered what stood in their way.
const REMEMBERED: usize = 100;

/// What is known of one.
#[derive(Clone)]
pub(super) enum State {
    /// It is being brought in.
    Running(Progress),
    /// It was not: why, in words.
    Refused(Vec<String>),
}

static UNDER_WAY: LazyLock<Mutex<HashMap<IntakeId, State>>> = LazyLock::new(Mutex::default);

fn with<T>(change: impl FnOnce(&mut HashMap<IntakeId, State>) -> T) -> T {
    change(&mut UNDER_WAY.lock().unwrap_or_else(PoisonError::into_inner))
}

/// What is known of a table. What stood in its way is told once.
pub(super) fn of(id: IntakeId) -> Option<State> {
    with(|known| match known.get(&id)?.clone() {
        State::Refused(why) => {
            known.remove(&id);
            Some(State::Refused(why))
        }
        running @ State::Running(_) => Some(running),
    })
}

/// Brings a table in, and comes back when that is done or takes longer. One that is being brought in is left to it.
pub(super) async fn bring(
    db: &Database,
    hand: &Cellarhand,
    key: Option<RequestKey>,
    order: Bringing,
) -> Done<()> {
    let (id, progress) = (order.intake, order.progress.clone());
    let begun = with(|known| {
        if matches!(known.get(&id), Some(State::Running(_))) {
            return false;
        }
        if known.len() >= REMEMBERED {
            known.retain(|_, state| matches!(state, State::Running(_)));
        }
        known.insert(id, State::Running(progress));
        true
    });
    if !begun {
        return Ok(());
    }
    let (db, hand) = (db.clone(), hand.clone());
    let work = tokio::spawn(async move {
        let done = acts::bring(&db, &hand, key, order).await.map(|_| ());
        with(|known| match &done {
            Ok(()) => drop(known.remove(&id)),
            Err(error) => drop(known.insert(id, State::Refused(said(error)))),
        });
        done
    });
    // It goes on by itself when this takes longer.
    let Ok(Ok(done)) = tokio::time::timeout(SHORT, work).await else { return Ok(()) };
    with(|known| drop(known.remove(&id)));
    done
}

fn said(error: &Error) -> Vec<String> {
    match error {
        Error::Refused(refusal) => refusal.faults.iter().map(|fault| fault.message.clone()).collect(),
        Error::Failed(failure) => {
            tracing::error!(%failure, "a table was not brought in");
            vec![format!("Nothing was brought in, {failure}; try again")]
        }
    }
}
