//! Keeping instruments: what they are called, what they are off by, when that was checked.

use serde::{Deserialize, Serialize};

use super::once::{RequestKey, once};
use super::{Done, Error, or_missing};
use crate::db::{Database, Failure, instruments as rows};
use crate::domain::instruments::Instrument;
use crate::domain::members::Cellarhand;
use crate::domain::refusal::Refusal;
use crate::units::ids::InstrumentId;

/// Instruments that a club may have.
const MOST: usize = 100;

fn taken(failure: Failure) -> Error {
    if failure == Failure::Taken {
        return Refusal::conflict("name", "An instrument of this name is there already: call it otherwise")
            .into();
    }
    failure.into()
}

/// Keep a new instrument.
pub async fn add_instrument(
    db: &Database,
    by: &Cellarhand,
    key: Option<RequestKey>,
    new: Instrument,
) -> Done<InstrumentId> {
    once(db, by, key, "instrument", new, |conn, doer, new| {
        new.check()?;
        if rows::instruments(conn, doer.club)?.len() >= MOST {
            return Err(Refusal::conflict("", format!("{MOST} instruments are enough")).into());
        }
        let id = InstrumentId::fresh();
        rows::add(conn, doer.club, id, new).map_err(taken)?;
        Ok(id)
    })
    .await
}

/// What is known of an instrument from now on; what was read off it before stays as it was.
#[derive(Debug, Clone, Serialize, Deserialize)]
pub struct Change {
    /// Which.
    pub id: InstrumentId,
    /// All of it; its kind stays.
    pub now: Instrument,
    /// It is not used any more.
    pub retired: bool,
}

/// Change an instrument, or put it away.
pub async fn change_instrument(
    db: &Database,
    by: &Cellarhand,
    key: Option<RequestKey>,
    change: Change,
) -> Done<()> {
    once(db, by, key, "change of an instrument", change, |conn, doer, change| {
        let before = or_missing(rows::instrument(conn, doer.club, change.id), "", "instrument")?;
        let now = Instrument { kind: before.instrument.kind, ..change.now.clone() };
        now.check()?;
        let retired_at = change.retired.then_some(doer.now);
        rows::change(conn, doer.club, change.id, &now, retired_at).map_err(taken)
    })
    .await
}
