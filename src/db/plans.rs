//! What batches are planned to be: steps, supplies, and what of them was drawn.

use std::collections::HashMap;

use diesel::prelude::*;

use super::connection::AnyConn;
use super::failure::Failure;
use super::prepared::{Prepare, padded};
use super::schema::{accounts, batches, entries, items, lots, plan_supplies, postings};
use crate::domain::batches::Stage;
use crate::domain::plans::{PlanStep, PlanSupply, Wanted};
use crate::domain::stock::ItemKind;
use crate::units::ids::{BatchId, ClubId, ItemId};
use crate::units::quantity::{BaseUnit, Milli};

/// Keep the plan of a batch that has none yet.
pub fn add(
    conn: &mut AnyConn,
    club: ClubId,
    batch: BatchId,
    steps: &[PlanStep],
    supplies: &[PlanSupply],
) -> Result<(), Failure> {
    super::steps::add_planned(conn, club, batch, steps)?;
    for (line, supply) in (1_i64..).zip(supplies) {
        diesel::insert_into(plan_supplies::table)
            .values((
                plan_supplies::batch_id.eq(batch),
                plan_supplies::item_id.eq(supply.item),
                plan_supplies::club_id.eq(club),
                plan_supplies::line.eq(line),
                plan_supplies::amount.eq(supply.amount),
            ))
            .execute(conn)?;
    }
    Ok(())
}

/// A supply of a plan with what was drawn of it.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Supply {
    /// The item.
    pub name: String,
    /// What it is counted in.
    pub unit: BaseUnit,
    /// How much is planned and how much was drawn.
    pub wanted: Wanted,
}

/// The supplies of a batch, in their order.
pub fn supplies(conn: &mut AnyConn, club: ClubId, batch: BatchId) -> Result<Vec<Supply>, Failure> {
    let rows: Vec<(ItemId, Milli, String, BaseUnit)> = plan_supplies::table
        .inner_join(items::table.on(items::id.eq(plan_supplies::item_id)))
        .filter(plan_supplies::batch_id.eq(batch).and(plan_supplies::club_id.eq(club)))
        .order(plan_supplies::line)
        .select((plan_supplies::item_id, plan_supplies::amount, items::name, items::unit))
        .load(conn)?;
    let drawn = drawn(conn, club, &[batch])?;
    Ok(rows
        .into_iter()
        .map(|(item, planned, name, unit)| {
            let drawn = drawn.get(&(batch, item)).copied().unwrap_or_default();
            Supply { name, unit, wanted: Wanted { item, planned, drawn } }
        })
        .collect())
}

/// What was drawn of each item into these batches, with what was taken back.
fn drawn(
    conn: &mut AnyConn,
    club: ClubId,
    of: &[BatchId],
) -> Result<HashMap<(BatchId, ItemId), Milli>, Failure> {
    let rows: Vec<(Option<BatchId>, ItemId, Milli)> = postings::table
        .inner_join(entries::table.on(entries::id.eq(postings::entry_id)))
        .inner_join(accounts::table.on(accounts::id.eq(postings::account_id)))
        .inner_join(lots::table.on(lots::id.nullable().eq(accounts::lot_id)))
        .filter(entries::club_id.eq(club).and(entries::batch_id.eq_any(padded(of).into_iter().map(Some))))
        .filter(accounts::kind.eq("stock"))
        .select((entries::batch_id, lots::item_id, postings::quantity))
        .prepared()
        .load(conn)?;
    let mut sums: HashMap<(BatchId, ItemId), Milli> = HashMap::new();
    for (batch, item, quantity) in rows {
        if let Some(batch) = batch {
            let sum = sums.entry((batch, item)).or_default();
            *sum = *sum - quantity;
        }
    }
    Ok(sums)
}

/// What the plans of all batches still want. Once the yeast is in, only packaging is still to come.
pub fn wanted(conn: &mut AnyConn, club: ClubId) -> Result<Vec<(BatchId, Wanted)>, Failure> {
    let open = [Stage::Planned, Stage::Preparing, Stage::Working, Stage::Resting];
    let rows: Vec<(BatchId, ItemId, Milli, Stage, ItemKind)> = plan_supplies::table
        .inner_join(batches::table.on(batches::id.eq(plan_supplies::batch_id)))
        .inner_join(items::table.on(items::id.eq(plan_supplies::item_id)))
        .filter(plan_supplies::club_id.eq(club).and(batches::stage.eq_any(padded(&open))))
        .order((plan_supplies::batch_id, plan_supplies::line))
        .select((
            plan_supplies::batch_id,
            plan_supplies::item_id,
            plan_supplies::amount,
            batches::stage,
            items::kind,
        ))
        .prepared()
        .load(conn)?;
    let mut of: Vec<BatchId> = rows.iter().map(|row| row.0).collect();
    of.dedup();
    let drawn = drawn(conn, club, &of)?;
    Ok(rows
        .into_iter()
        .filter(|(_, _, _, stage, kind)| {
            matches!(stage, Stage::Planned | Stage::Preparing) || *kind == ItemKind::Packaging
        })
        .map(|(batch, item, planned, _, _)| {
            let drawn = drawn.get(&(batch, item)).copied().unwrap_or_default();
            (batch, Wanted { item, planned, drawn })
        })
        .collect())
}
