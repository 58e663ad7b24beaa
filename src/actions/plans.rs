//! Putting a batch on paper with all that is planned for it.

use serde::{Deserialize, Serialize};

use super::batches::{Plan, Planned, new_batch};
use super::once::{RequestKey, once};
use super::{Done, or_missing};
use crate::db::{Database, plans as rows, stock};
use crate::domain::members::Cellarhand;
use crate::domain::plans::{PlanStep, PlanSupply, check};

/// A batch with its plan.
#[derive(Debug, Clone, Serialize, Deserialize)]
pub struct WholePlan {
    /// The batch.
    pub batch: Plan,
    /// Its steps.
    pub steps: Vec<PlanStep>,
    /// Its supplies.
    pub supplies: Vec<PlanSupply>,
}

/// Put a batch on paper with its plan.
pub async fn plan(db: &Database, by: &Cellarhand, key: Option<RequestKey>, plan: WholePlan) -> Done<Planned> {
    once(db, by, key, "whole plan", plan, |conn, doer, plan| {
        let supplies = check(&plan.steps, &plan.supplies)?;
        for supply in &supplies {
            or_missing(stock::item(conn, doer.club, supply.item), "supplies", "item")?;
        }
        let batch = &plan.batch;
        let made = new_batch(conn, doer, &batch.name, batch.base_volume, batch.day, None)?;
        rows::add(conn, doer.club, made.id, &plan.steps, &supplies)?;
        Ok(made)
    })
    .await
}
