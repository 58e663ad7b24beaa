//! Recording work and energy beside the books, and how the club counts.

use serde::{Deserialize, Serialize};

use super::once::{RequestKey, once};
use super::{Done, or_missing};
use crate::db::{Database, batches, efforts as rows};
use crate::domain::costs::by_products::By;
use crate::domain::efforts::NewEffort;
use crate::domain::members::{Cellarhand, Steward};
use crate::domain::refusal::Refusal;
use crate::units::ids::{BatchId, EffortId};
use crate::units::money::Money;

/// Lines that a batch may have.
const MOST: usize = 500;

/// Record work or energy that went into a batch, also into one that has ended.
pub async fn record_effort(
    db: &Database,
    by: &Cellarhand,
    key: Option<RequestKey>,
    new: NewEffort,
) -> Done<EffortId> {
    once(db, by, key, "effort", new, |conn, doer, new| {
        or_missing(batches::batch(conn, doer.club, new.batch), "", "batch")?;
        if rows::efforts(conn, doer.club, &[new.batch])?.len() >= MOST {
            return Err(Refusal::conflict("", format!("{MOST} lines of one batch are enough")).into());
        }
        let cost = new.cost(rows::rates(conn, doer.club)?.of(new.kind))?;
        let id = EffortId::fresh();
        rows::add(conn, doer.club, doer.member, doer.now, (id, new, cost))?;
        Ok(id)
    })
    .await
}

/// A line that was wrong.
#[derive(Debug, Clone, Serialize, Deserialize)]
pub struct StrikeEffort {
    /// Which.
    pub effort: EffortId,
    /// Why.
    pub reason: String,
}

/// Strike it out: it stays in the record and no longer counts.
pub async fn strike_effort(
    db: &Database,
    by: &Cellarhand,
    key: Option<RequestKey>,
    order: StrikeEffort,
) -> Done<BatchId> {
    once(db, by, key, "strike of an effort", order, |conn, doer, order| {
        let struck = rows::strike(conn, doer.club, order.effort, doer.member, doer.now, &order.reason);
        match or_missing(struck, "", "line of work or energy")? {
            (batch, true) => Ok(batch),
            (_, false) => Err(Refusal::conflict("", "This line has been struck out already").into()),
        }
    })
    .await
}

/// How the club counts from now on; what is in the books stays as it was.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
pub struct Counting {
    /// How by-products take their share.
    pub by: By,
    /// What a litre of drink counts for beside them.
    pub litre_worth: Option<Money>,
    /// An hour of work.
    pub hour_rate: Option<Money>,
    /// A kilowatt-hour.
    pub kwh_price: Option<Money>,
}

/// Count otherwise from now on.
pub async fn set_counting(db: &Database, by: &Steward, key: Option<RequestKey>, now: Counting) -> Done<()> {
    once(db, by, key, "counting", now, |conn, doer, now| {
        if now.by == By::SalesValue && now.litre_worth.is_none_or(|worth| worth <= Money::ZERO) {
            return Err(Refusal::unfit(
                "litre_worth",
                "Write what a litre of the drink would sell for: the by-product is weighed against it",
            )
            .into());
        }
        let Counting { by, litre_worth, hour_rate, kwh_price } = *now;
        rows::set_rates(conn, doer.club, &rows::Rates { by, litre_worth, hour_rate, kwh_price })?;
        super::members::audit_by(conn, doer, &format!("had by-products counted {}", by.label()))?;
        Ok(())
    })
    .await
}
