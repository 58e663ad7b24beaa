//! Tastings: planning one, asking about allergies, pouring at cost, sheets, the key, calling it off.

use serde::{Deserialize, Serialize};

use super::bottles::withdrawn;
use super::once::{RequestKey, once};
use super::reversals::{TakeBack, taken_back};
use super::stock::known_member;
use super::{Done, Error, or_missing};
use crate::db::tastings as rows;
use crate::db::{AnyConn, Database, Failure, books, bottles, holds, members, reminders};
use crate::domain::bottles::{Purpose, Withdrawal, read_ages};
use crate::domain::members::{Cellarhand, Doer, Taster};
use crate::domain::refusal::Refusal;
use crate::domain::reminders::TASTED_EARLY_DAYS;
use crate::domain::tastings::serving::{Served, serve, serve_one_more};
use crate::domain::tastings::sheet::{
    Attribute, check_attributes, check_complete, check_part, may_write, with_part,
};
use crate::domain::tastings::{Person, State, Table};
use crate::units::ids::{BottlingId, TastingId};

pub use crate::domain::tastings::Plan;
pub use crate::domain::tastings::sheet::Part;

/// What planning made.
#[derive(Debug, Clone, Serialize, Deserialize)]
pub struct Planned {
    /// The tasting.
    pub id: TastingId,
    /// Its number.
    pub code: String,
}

/// Plan a tasting and invite to it.
pub async fn plan_tasting(
    db: &Database,
    by: &Cellarhand,
    key: Option<RequestKey>,
    plan: Plan,
) -> Done<Planned> {
    once(db, by, key, "plan tasting", plan, |conn, doer, plan| {
        check(conn, doer, plan)?;
        let id = TastingId::fresh();
        let code = format!("T-{}", books::next_number(conn, doer.club, "tasting")?);
        rows::add(conn, doer.club, id, &code, plan, doer.now)?;
        rows::table(conn, doer.club, id)?.check_alcohol()?;
        Ok(Planned { id, code })
    })
    .await
}

/// Change a tasting that has not begun. Those who stay invited keep what they said.
pub async fn change_tasting(
    db: &Database,
    by: &Cellarhand,
    key: Option<RequestKey>,
    id: TastingId,
    plan: Plan,
) -> Done<TastingId> {
    once(db, by, key, "change tasting", (id, plan), |conn, doer, (id, plan)| {
        let tasting = or_missing(rows::tasting(conn, doer.club, *id), "", "tasting")?;
        tasting.planned_by(doer)?;
        tasting.expect(&[State::ToCome])?;
        check(conn, doer, plan)?;
        rows::change(conn, doer.club, *id, plan)?;
        rows::table(conn, doer.club, *id)?.check_alcohol()?;
        Ok(*id)
    })
    .await
}

/// Refuses what is not in this club, and a plan that cannot be carried out.
fn check(conn: &mut AnyConn, doer: &Doer, plan: &Plan) -> Done<()> {
    known_member(conn, doer, plan.host, "host")?;
    for (at, bottling) in plan.samples.iter().enumerate() {
        let found = or_missing(
            bottles::bottling(conn, doer.club, *bottling),
            &format!("samples.{at}.bottling"),
            "bottling",
        )?;
        if bottles::is_reversed(conn, &found)? {
            let words = format!("Bottling {} was reversed; choose another", found.code);
            return Err(Refusal::conflict(format!("samples.{at}.bottling"), words).into());
        }
        if let Some(hold) = holds::of_lots(conn, doer.club, &[found.lot])?.first() {
            let words = format!("{}. Choose another", hold.words());
            return Err(Refusal::conflict(format!("samples.{at}.bottling"), words).into());
        }
    }
    let all = members::members(conn, doer.club)?;
    let others = plan.tasters.iter().map(|taster| (*taster, "tasters"));
    for (member, field) in others.chain(plan.pourer.map(|pourer| (pourer, "pourer"))) {
        if !all.iter().any(|known| known.id == member) {
            return Err(Refusal::missing(field, "member").into());
        }
    }
    let present = all.into_iter().filter(|member| member.left_on.is_none());
    let people: Vec<Person> =
        present.map(|member| Person { member: member.id, name: member.name, role: member.role }).collect();
    Ok(plan.check(&people)?)
}

fn table(conn: &mut AnyConn, doer: &Doer, id: TastingId) -> Done<Table> {
    or_missing(rows::table(conn, doer.club, id), "", "tasting")
}

/// What somebody who is invited says to the allergens.
#[derive(Debug, Clone, Serialize, Deserialize)]
pub struct Reply {
    /// To which tasting.
    pub tasting: TastingId,
    /// They may taste all of it; otherwise they leave it out.
    pub may_taste: bool,
}

/// Say whether one may taste a tasting's drinks. Who says yes after it has begun gets glasses too.
pub async fn answer_allergens(
    db: &Database,
    by: &Taster,
    key: Option<RequestKey>,
    reply: Reply,
) -> Done<TastingId> {
    once(db, by, key, "answer allergens", reply, |conn, doer, reply| {
        let table = table(conn, doer, reply.tasting)?;
        let seat = table.own_seat(doer.member)?;
        table.tasting.expect(&[State::ToCome, State::AtTheTable])?;
        if seat.handed_in_at.is_some() {
            return Err(Refusal::conflict("", "Your sheet is in; nothing needs to be said any more").into());
        }
        let late = table.tasting.state() == State::AtTheTable && seat.serving.is_empty();
        // What was poured for one who leaves stays theirs: they may come back to it.
        let serving = if late && reply.may_taste { serve_one_more(&table) } else { seat.serving.clone() };
        rows::set_answer(conn, seat.sheet, reply.may_taste, &table.allergens(), &serving)?;
        open_if_all_in(conn, doer, reply.tasting)?;
        Ok(reply.tasting)
    })
    .await
}

/// Bottles are to be opened.
#[derive(Debug, Clone, Serialize, Deserialize)]
pub struct Beginning {
    /// Of which tasting.
    pub tasting: TastingId,
    /// The host says that everybody who tastes is of age.
    pub of_age: bool,
}

/// Begin: bottles leave the cellar at cost, glasses get their codes, every taster an order of their own.
pub async fn begin_tasting(
    db: &Database,
    by: &Cellarhand,
    key: Option<RequestKey>,
    order: Beginning,
) -> Done<TastingId> {
    once(db, by, key, "begin tasting", order, begun).await
}

fn begun(conn: &mut AnyConn, doer: &Doer, order: &Beginning) -> Done<TastingId> {
    let table = table(conn, doer, order.tasting)?;
    table.tasting.run_by(doer)?;
    table.check_beginning(doer.today(), order.of_age)?;
    let served = serve(&table, random);
    rows::begin(conn, doer.club, order.tasting, &served, &table.attributes, doer.now)?;
    pour(conn, doer, &table, &served)?;
    Ok(order.tasting)
}

/// A random number; codes and orders do not guard anything that one could gain from guessing.
fn random() -> u32 {
    getrandom::u32().unwrap_or_default()
}

/// Takes the bottles out of the books, and settles the reminders that this answers.
fn pour(conn: &mut AnyConn, doer: &Doer, table: &Table, served: &Served) -> Done<()> {
    let day = table.tasting.day;
    for sample in &table.samples {
        let bottles =
            served.bottles.iter().find(|bottles| bottles.0 == sample.id).map_or(1, |bottles| bottles.1);
        let order = Withdrawal {
            bottling: sample.bottling,
            day,
            bottles,
            purpose: Purpose::Tasting,
            member: None,
            place: None,
            happened_at: None,
            remark: format!("Tasting {}, {}", table.tasting.code, table.tasting.title),
        };
        let entry = withdrawn(conn, doer, &order).map_err(|error| match error {
            Error::Refused(mut refusal) => {
                for fault in &mut refusal.faults {
                    fault.message = format!("{}: {}", sample.name(), fault.message);
                    fault.field = String::new();
                }
                Error::Refused(refusal)
            }
            failed @ Error::Failed(_) => failed,
        })?;
        rows::set_entry(conn, sample.id, entry)?;
        let until = day + chrono::Duration::days(TASTED_EARLY_DAYS);
        reminders::settle_tasting(conn, sample.bottling, until, doer.member, doer.now)?;
    }
    Ok(())
}

/// Save a part of one's own sheet, and hand it in if that is said. The last sheet opens the key.
pub async fn save_sheet(db: &Database, by: &Taster, key: Option<RequestKey>, part: Part) -> Done<TastingId> {
    once(db, by, key, "save sheet", part, |conn, doer, part| {
        let table = table(conn, doer, part.tasting)?;
        let seat = table.own_seat(doer.member)?;
        if part.hand_in && part.answers.is_empty() {
            may_write(&table, seat)?;
        } else {
            check_part(&table, seat, part)?;
        }
        let before = rows::answers(conn, seat.sheet)?;
        let after = if part.answers.is_empty() {
            before.clone()
        } else {
            with_part(table.tasting.method, &before, part)
        };
        if part.hand_in || seat.handed_in_at.is_some() {
            check_complete(&table, seat, &after)?;
        }
        rows::save(conn, doer.club, seat.sheet, &table.glasses, (&before, &after), doer.now)?;
        if part.hand_in && seat.handed_in_at.is_none() {
            rows::hand_in(conn, seat.sheet, doer.now)?;
            open_if_all_in(conn, doer, part.tasting)?;
        }
        Ok(part.tasting)
    })
    .await
}

fn open_if_all_in(conn: &mut AnyConn, doer: &Doer, id: TastingId) -> Done<()> {
    let table = table(conn, doer, id)?;
    if table.tasting.state() == State::AtTheTable && table.all_in() {
        rows::open(conn, id, doer.now)?;
    }
    Ok(())
}

/// Open the key before all sheets are in. What is not handed in does not count.
pub async fn open_key(
    db: &Database,
    by: &Cellarhand,
    key: Option<RequestKey>,
    id: TastingId,
) -> Done<TastingId> {
    once(db, by, key, "open key", id, |conn, doer, id| {
        let table = table(conn, doer, *id)?;
        table.tasting.run_by(doer)?;
        table.tasting.expect(&[State::AtTheTable])?;
        if table.seats.iter().all(|seat| seat.handed_in_at.is_none()) {
            let words =
                "No sheet has been handed in yet: there is nothing to open it for. Wait, or call it off";
            return Err(Refusal::conflict("", words).into());
        }
        rows::open(conn, *id, doer.now)?;
        Ok(*id)
    })
    .await
}

/// Why a tasting does not take place.
#[derive(Debug, Clone, Serialize, Deserialize)]
pub struct CallingOff {
    /// Which.
    pub tasting: TastingId,
    /// Why.
    pub reason: String,
}

/// Call a tasting off. Bottles that were drawn go back in the books, and reminders are open again.
pub async fn call_off(
    db: &Database,
    by: &Cellarhand,
    key: Option<RequestKey>,
    order: CallingOff,
) -> Done<TastingId> {
    once(db, by, key, "call off", order, |conn, doer, order| {
        let table = table(conn, doer, order.tasting)?;
        table.tasting.run_by(doer)?;
        table.tasting.expect(&[State::ToCome, State::AtTheTable])?;
        let reason = format!("Tasting {} was called off: {}", table.tasting.code, order.reason);
        for (sample, entry) in table.samples.iter().filter_map(|sample| Some((sample, sample.entry?))) {
            if books::recorded(conn, doer.club, entry)?.reversed_by.is_none() {
                taken_back(conn, doer, &TakeBack { entry, reason: reason.clone() })?;
            }
            if let Some(at) = table.tasting.begun_at {
                reminders::unsettle_tasting(conn, sample.bottling, at)?;
            }
        }
        rows::call_off(conn, order.tasting, &order.reason, doer.now)?;
        Ok(order.tasting)
    })
    .await
}

/// Another list of what the club marks on lines.
pub async fn set_attributes(
    db: &Database,
    by: &Cellarhand,
    key: Option<RequestKey>,
    list: Vec<Attribute>,
) -> Done<usize> {
    once(db, by, key, "set attributes", list, |conn, doer, list| {
        check_attributes(list)?;
        rows::set_attributes(conn, doer.club, list)?;
        Ok(list.len())
    })
    .await
}

/// An age at which a bottling should be tasted.
#[derive(Debug, Clone, Serialize, Deserialize)]
pub struct NewAge {
    /// Which bottling.
    pub bottling: BottlingId,
    /// At how many days.
    pub age_days: u32,
}

/// Set one more age at which a bottling should be tasted.
pub async fn set_tasting_age(
    db: &Database,
    by: &Cellarhand,
    key: Option<RequestKey>,
    order: NewAge,
) -> Done<BottlingId> {
    once(db, by, key, "set tasting age", order, |conn, doer, order| {
        let bottling = or_missing(bottles::bottling(conn, doer.club, order.bottling), "", "bottling")?;
        read_ages(&order.age_days.to_string()).map_err(|misread| Refusal::unfit("age_days", misread))?;
        let age = i64::from(order.age_days);
        let falls_on = bottling.bottled_on + chrono::Duration::days(age);
        if falls_on <= doer.today() {
            let words = "The bottling is that old already; choose an age to come";
            return Err(Refusal::unfit("age_days", words).into());
        }
        match bottles::add_age(conn, doer.club, bottling.id, (age, false), falls_on) {
            Err(Failure::Taken) => Err(Refusal::conflict("age_days", "This age is set already").into()),
            done => Ok(done.map(|()| bottling.id)?),
        }
    })
    .await
}
