//! Vessels: keep them, fill, move, empty, clean them, take them out of use; and where a batch stands follows what is
//! recorded of it.

use serde::{Deserialize, Serialize};

use super::batches::{self as batch_acts, Recorded, Transferred};
use super::once::{RequestKey, once};
use super::{Done, cautions, or_missing};
use crate::db::vessels::{self as rows, Kept, NewFilling};
use crate::db::{AnyConn, Database, Failure, batches, stock};
use crate::domain::batches::{Racking, Transfer};
use crate::domain::books::{Account, NewEntry};
use crate::domain::cautions::{Doing, Reasons};
use crate::domain::members::{Cellarhand, Doer};
use crate::domain::refusal::Refusal;
use crate::domain::vessels::{Filling, Ready, Vessel, empty, fill};
use crate::units::days::Day;
use crate::units::ids::{BatchId, EntryId, FillingId, VesselId};
use crate::units::measure::Measured;
use crate::units::quantity::Milli;

/// Keep a new vessel.
pub async fn add_vessel(
    db: &Database,
    by: &Cellarhand,
    key: Option<RequestKey>,
    vessel: Vessel,
) -> Done<VesselId> {
    once(db, by, key, "add vessel", vessel, |conn, doer, vessel| {
        vessel.check()?;
        or_missing(stock::place(conn, doer.club, vessel.place), "place", "place")?;
        let id = VesselId::fresh();
        named_once(rows::add(conn, doer.club, id, vessel), &vessel.code)?;
        Ok(id)
    })
    .await
}

/// Another place, closure or mark of a vessel.
pub async fn change_vessel(
    db: &Database,
    by: &Cellarhand,
    key: Option<RequestKey>,
    id: VesselId,
    vessel: Vessel,
) -> Done<VesselId> {
    once(db, by, key, "change vessel", (id, vessel), |conn, doer, (id, vessel)| {
        or_missing(rows::vessel(conn, doer.club, *id), "", "vessel")?;
        vessel.check()?;
        or_missing(stock::place(conn, doer.club, vessel.place), "place", "place")?;
        if let Some(filled) = rows::inside(conn, *id)?
            && filled.inside.volume > vessel.capacity
        {
            let there = filled.inside.volume.shown(crate::units::quantity::BaseUnit::Millilitre);
            let words = format!("{there} of batch {} are in it; it holds that or more", filled.inside.code);
            return Err(Refusal::conflict("capacity", words).into());
        }
        named_once(rows::change(conn, doer.club, *id, vessel), &vessel.code)?;
        Ok(*id)
    })
    .await
}

fn named_once<T>(result: Result<T, Failure>, code: &str) -> Done<T> {
    result.map_err(|failure| match failure {
        Failure::Taken => {
            Refusal::conflict("code", format!("There is a vessel {code} already; choose another code")).into()
        }
        other => other.into(),
    })
}

/// Fill a vessel from a batch, or say anew how much of that batch is in it.
pub async fn fill_vessel(
    db: &Database,
    by: &Cellarhand,
    key: Option<RequestKey>,
    order: Filling,
) -> Done<FillingId> {
    once(db, by, key, "fill vessel", order, |conn, doer, order| {
        or_missing(rows::vessel(conn, doer.club, order.vessel), "", "vessel")?;
        filled(conn, doer, order, Doing::Fill, None).map_err(|error| called(error, "", "vessel"))
    })
    .await
}

/// The same in a transaction that is open already; `entry` is what it belongs to.
pub(super) fn filled(
    conn: &mut AnyConn,
    doer: &Doer,
    order: &Filling,
    doing: Doing,
    entry: Option<EntryId>,
) -> Done<FillingId> {
    let mut kept = or_missing(rows::vessel(conn, doer.club, order.vessel), "vessel", "vessel")?;
    let standing = or_missing(batches::standing(conn, doer.club, order.batch), "batch", "batch")?;
    kept.vessel.closure = order.closure.unwrap_or(kept.vessel.closure);
    let inside = rows::inside(conn, order.vessel)?;
    let last = rows::last_out(conn, order.vessel)?;
    let elsewhere: Milli = rows::of_batch(conn, order.batch)?
        .iter()
        .filter(|other| other.vessel != order.vessel)
        .map(|other| other.volume)
        .sum();
    let ready = Ready {
        vessel: &kept.vessel,
        out_of_use: kept.out_of_use.as_ref().map(|(_, because)| because.as_str()),
        inside: inside.as_ref().map(|filled| &filled.inside),
        last: last.as_ref().map(|filled| &filled.inside),
    };
    fill(&ready, &standing, elsewhere, order.day, order.volume)?;
    let warned = cautions::of_batch(conn, doer, order.batch, doing, |facts| {
        facts.liquid_c = order.liquid_c.map(Measured::number).or(facts.liquid_c);
        facts.vessel = Some(kept.vessel.holder(order.volume));
    })?;
    cautions::go_on(conn, doer, (order.batch, entry), &warned, &order.reasons)?;
    if order.closure.is_some() {
        rows::close_with(conn, order.vessel, kept.vessel.closure)?;
    }
    if let Some(inside) = inside {
        rows::set_volume(conn, inside.id, order.volume)?;
        return Ok(inside.id);
    }
    let new =
        NewFilling { vessel: order.vessel, batch: order.batch, volume: order.volume, day: order.day, entry };
    rows::add_filling(conn, doer, &new).map_err(|failure| match failure {
        Failure::Taken => {
            Refusal::conflict("vessel", "Another batch came into this vessel just now; take another vessel")
                .into()
        }
        other => other.into(),
    })
}

/// What is in one vessel goes into another.
#[derive(Debug, Clone, Serialize, Deserialize)]
pub struct Decant {
    /// From.
    pub from: VesselId,
    /// Into.
    pub into: VesselId,
    /// When.
    pub day: Day,
    /// How much arrives; all of it if nobody says.
    pub volume: Option<Milli>,
    /// How warm it is, °C.
    pub liquid_c: Option<Measured>,
    /// Why it is done in spite of dangerous cautions.
    pub reasons: Reasons,
}

/// Move what is in a vessel into another; what stays in the first one is what did not go along.
pub async fn decant(
    db: &Database,
    by: &Cellarhand,
    key: Option<RequestKey>,
    order: Decant,
) -> Done<FillingId> {
    once(db, by, key, "decant", order, |conn, doer, order| {
        let kept = or_missing(rows::vessel(conn, doer.club, order.from), "", "vessel")?;
        let inside = rows::inside(conn, order.from)?;
        empty(&kept.vessel.code, inside.as_ref().map(|filled| &filled.inside), order.day)?;
        if order.from == order.into {
            return Err(Refusal::unfit("into", "Choose another vessel than the one it is in").into());
        }
        let into = or_missing(rows::vessel(conn, doer.club, order.into), "into", "vessel")?;
        let Some(from) = inside else {
            return Err(Failure::Fault("a vessel that holds something holds nothing".to_owned()).into());
        };
        let moved = order.volume.unwrap_or(from.inside.volume);
        if moved > from.inside.volume {
            let there = from.inside.volume.shown(crate::units::quantity::BaseUnit::Millilitre);
            return Err(Refusal::conflict("volume", format!("{there} are in it; write that or less")).into());
        }
        if moved < from.inside.volume && moved > Milli::ZERO {
            rows::set_volume(conn, from.id, from.inside.volume - moved)?;
        } else {
            let because = format!("moved into vessel {}", into.vessel.code);
            rows::take_out(conn, from.id, order.day, &because, None)?;
        }
        let there = rows::inside(conn, order.into)?.filter(|filled| filled.inside.batch == from.inside.batch);
        let filling = Filling {
            vessel: order.into,
            batch: from.inside.batch,
            day: order.day,
            volume: moved + there.map_or(Milli::ZERO, |filled| filled.inside.volume),
            liquid_c: order.liquid_c,
            closure: None,
            reasons: order.reasons.clone(),
        };
        filled(conn, doer, &filling, Doing::Fill, None).map_err(|error| called(error, "into", "vessel"))
    })
    .await
}

/// What is done to a vessel alone.
#[derive(Debug, Clone, Serialize, Deserialize)]
pub enum Deed {
    /// Nothing is in it any more; why.
    Empty(String),
    /// It was cleaned.
    Clean,
    /// It is not to be used; why.
    OutOfUse(String),
    /// It may be used again.
    InUse,
}

/// Empty a vessel, clean it, take it out of use or back.
pub async fn tend(
    db: &Database,
    by: &Cellarhand,
    key: Option<RequestKey>,
    id: VesselId,
    day: Day,
    deed: Deed,
) -> Done<VesselId> {
    once(db, by, key, "tend vessel", (id, day, deed), |conn, doer, (id, day, deed)| {
        let kept = or_missing(rows::vessel(conn, doer.club, *id), "", "vessel")?;
        let inside = rows::inside(conn, *id)?;
        tended(conn, &kept, inside.as_ref(), *day, deed)?;
        Ok(*id)
    })
    .await
}

fn tended(conn: &mut AnyConn, kept: &Kept, inside: Option<&rows::Filled>, day: Day, deed: &Deed) -> Done<()> {
    let code = &kept.vessel.code;
    match (deed, inside) {
        (Deed::Empty(because), filled) => {
            empty(code, filled.map(|filled| &filled.inside), day)?;
            if let Some(filled) = filled {
                rows::take_out(conn, filled.id, day, because, None)?;
            }
        }
        (Deed::Clean | Deed::OutOfUse(_), Some(filled)) => {
            let words = format!("Batch {} is in vessel {code}: empty it first", filled.inside.code);
            return Err(Refusal::conflict("", words).into());
        }
        (Deed::Clean, None) => rows::cleaned(conn, kept.id, day)?,
        (Deed::OutOfUse(_), None) if kept.out_of_use.is_some() => {
            return Err(Refusal::conflict("", format!("Vessel {code} is out of use already")).into());
        }
        (Deed::OutOfUse(because), None) => rows::set_out_of_use(conn, kept.id, Some(day), because)?,
        (Deed::InUse, _) if kept.out_of_use.is_none() => {
            return Err(Refusal::conflict("", format!("Vessel {code} is in use already")).into());
        }
        (Deed::InUse, _) => rows::set_out_of_use(conn, kept.id, None, "")?,
    }
    Ok(())
}

/// A filling that was recorded wrongly.
#[derive(Debug, Clone, Serialize, Deserialize)]
pub struct StrikeFilling {
    /// Which.
    pub filling: FillingId,
    /// Why.
    pub reason: String,
}

/// Strike a filling out: it stays in the record and the vessel is as if it had not been.
pub async fn strike_filling(
    db: &Database,
    by: &Cellarhand,
    key: Option<RequestKey>,
    order: StrikeFilling,
) -> Done<VesselId> {
    once(db, by, key, "strike filling", order, |conn, doer, order| {
        let (vessel, _, struck) = or_missing(rows::filling(conn, doer.club, order.filling), "", "filling")?;
        if struck {
            return Err(Refusal::conflict("", "This filling has been struck out already").into());
        }
        rows::strike(conn, doer, order.filling, &order.reason)?;
        Ok(vessel)
    })
    .await
}

/// Into which vessel a racking, split or blend goes.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct Into {
    /// Which.
    pub vessel: VesselId,
    /// How warm the liquid is, °C.
    pub liquid_c: Option<Measured>,
    /// Why it is done in spite of dangerous cautions.
    pub reasons: Reasons,
}

/// Rack a batch, perhaps into another vessel: those in which it stood are empty then.
pub async fn racked(
    db: &Database,
    by: &Cellarhand,
    key: Option<RequestKey>,
    (racking, into): (Racking, Option<Into>),
) -> Done<Recorded> {
    if into.is_none() {
        return batch_acts::record_racking(db, by, key, racking).await;
    }
    once(db, by, key, "racking into", (racking, into), |conn, doer, (racking, into)| {
        let entry = rack_in(conn, doer, racking, into.as_ref())?;
        batch_acts::recorded(conn, doer, racking.batch, entry)
    })
    .await
}

/// The same in a transaction that is open already.
pub(super) fn rack_in(
    conn: &mut AnyConn,
    doer: &Doer,
    racking: &Racking,
    into: Option<&Into>,
) -> Done<EntryId> {
    let Some(into) = into else { return batch_acts::racked(conn, doer, racking) };
    let kept = or_missing(rows::vessel(conn, doer.club, into.vessel), "vessel", "vessel")?;
    let entry = batch_acts::racked(conn, doer, racking)?;
    for other in rows::of_batch(conn, racking.batch)? {
        if other.vessel != into.vessel {
            let because = format!("racked into vessel {}", kept.vessel.code);
            rows::take_out(conn, other.filling, racking.day, &because, Some(entry))?;
        }
    }
    let volume = batches::standing(conn, doer.club, racking.batch)?.holding.quantity;
    put_into(conn, doer, into, (racking.batch, racking.day, volume), (Doing::Rack, entry))?;
    Ok(entry)
}

/// Split or blend, perhaps into a vessel.
pub async fn transferred(
    db: &Database,
    by: &Cellarhand,
    key: Option<RequestKey>,
    (transfer, into): (Transfer, Option<Into>),
) -> Done<Transferred> {
    if into.is_none() {
        return batch_acts::record_transfer(db, by, key, transfer).await;
    }
    once(db, by, key, "transfer into", (transfer, into), |conn, doer, (transfer, into)| {
        transfer_in(conn, doer, transfer, into.as_ref())
    })
    .await
}

/// The same in a transaction that is open already.
pub(super) fn transfer_in(
    conn: &mut AnyConn,
    doer: &Doer,
    transfer: &Transfer,
    into: Option<&Into>,
) -> Done<Transferred> {
    let made = batch_acts::transferred(conn, doer, transfer)?;
    let Some(into) = into else { return Ok(made) };
    let there = rows::inside(conn, into.vessel)?.filter(|filled| filled.inside.batch == made.into);
    // What stood alone in this vessel has followed the books already.
    let most = batches::standing(conn, doer.club, made.into)?.holding.quantity;
    let volume = match there {
        Some(filled) if filled.inside.volume == most => most,
        Some(filled) => filled.inside.volume + transfer.volume,
        None => transfer.volume,
    };
    let doing = if transfer.into.is_some() { Doing::Blend } else { Doing::Split };
    put_into(conn, doer, into, (made.into, transfer.day, volume), (doing, made.entry))?;
    Ok(made)
}

fn put_into(
    conn: &mut AnyConn,
    doer: &Doer,
    into: &Into,
    (batch, day, volume): (BatchId, Day, Milli),
    (doing, entry): (Doing, EntryId),
) -> Done<FillingId> {
    let Into { vessel, liquid_c, reasons } = into.clone();
    let filling = Filling { vessel, batch, day, volume, liquid_c, closure: None, reasons };
    // The volume is that of the racking or transfer; what is wrong with it is said there.
    filled(conn, doer, &filling, doing, Some(entry)).map_err(|error| called(error, "vessel", "volume"))
}

/// The same error where the field has another name.
fn called(error: super::Error, field: &str, instead_of: &str) -> super::Error {
    match error {
        super::Error::Refused(refusal) => super::Error::Refused(refusal.beside(field, instead_of)),
        failed @ super::Error::Failed(_) => failed,
    }
}

/// What an entry means for the vessels of the batches that it moved: of a batch that holds nothing any more they are
/// empty, and the only vessel of a batch holds what the batch holds.
pub(super) fn follow(conn: &mut AnyConn, doer: &Doer, id: EntryId, entry: &NewEntry) -> Done<()> {
    for posting in &entry.postings {
        let Account::Batch(batch) = posting.account else { continue };
        let stands = rows::of_batch(conn, batch)?;
        if stands.is_empty() {
            continue;
        }
        let holds = batches::standing(conn, doer.club, batch)?.holding.quantity;
        if holds == Milli::ZERO {
            let because = entry.kind.label();
            for vessel in &stands {
                rows::take_out(conn, vessel.filling, entry.day, because, Some(id))?;
            }
        } else if let [only] = stands.as_slice() {
            let was_all = only.volume == holds - posting.quantity;
            if only.volume > holds || was_all {
                let most = rows::vessel(conn, doer.club, only.vessel)?.vessel.capacity;
                rows::set_volume(conn, only.filling, holds.min(most))?;
            }
        }
    }
    Ok(())
}

/// Takes back what an entry did to vessels.
pub(super) fn unfollow(conn: &mut AnyConn, doer: &Doer, reversed: EntryId) -> Done<()> {
    for filling in rows::came_with(conn, reversed)? {
        rows::strike(conn, doer, filling, "what brought it was reversed")?;
    }
    Ok(rows::put_back(conn, reversed)?)
}
