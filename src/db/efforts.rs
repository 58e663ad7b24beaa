//! Work and energy beside the books, and what the club counts for them.

use diesel::prelude::*;

use super::connection::AnyConn;
use super::failure::Failure;
use super::schema::{clubs, efforts, members};
use crate::db::prepared::{Prepare, padded};
use crate::domain::costs::by_products::By;
use crate::domain::efforts::{EffortKind, NewEffort};
use crate::units::days::{Day, Instant};
use crate::units::ids::{BatchId, ClubId, EffortId, MemberId};
use crate::units::money::Money;
use crate::units::quantity::Milli;

/// Work or energy that was recorded.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Effort {
    /// Which.
    pub id: EffortId,
    /// Into which batch.
    pub batch: BatchId,
    /// When.
    pub day: Day,
    /// What.
    pub kind: EffortKind,
    /// Hours, or kWh.
    pub amount: Option<Milli>,
    /// What it cost.
    pub cost: Money,
    /// For what.
    pub remark: String,
    /// Recorded by whom.
    pub by: String,
    /// When it was struck out, by whom, why.
    pub struck: Option<(Instant, String)>,
}

/// How a club counts: what by-products take, and what work and energy cost.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Queryable)]
pub struct Rates {
    /// How by-products take their share from now on.
    pub by: By,
    /// What a litre of drink counts for beside them.
    pub litre_worth: Option<Money>,
    /// An hour of work.
    pub hour_rate: Option<Money>,
    /// A kilowatt-hour.
    pub kwh_price: Option<Money>,
}

impl Rates {
    /// The rate of a kind.
    pub const fn of(&self, kind: EffortKind) -> Option<Money> {
        match kind {
            EffortKind::Work => self.hour_rate,
            EffortKind::Energy => self.kwh_price,
        }
    }
}

/// How a club counts.
pub fn rates(conn: &mut AnyConn, club: ClubId) -> Result<Rates, Failure> {
    Ok(clubs::table
        .filter(clubs::id.eq(club))
        .select((clubs::by_products_by, clubs::litre_worth, clubs::hour_rate, clubs::kwh_price))
        .first(conn)?)
}

/// Count otherwise from now on.
pub fn set_rates(conn: &mut AnyConn, club: ClubId, rates: &Rates) -> Result<(), Failure> {
    diesel::update(clubs::table.filter(clubs::id.eq(club)))
        .set((
            clubs::by_products_by.eq(rates.by),
            clubs::litre_worth.eq(rates.litre_worth),
            clubs::hour_rate.eq(rates.hour_rate),
            clubs::kwh_price.eq(rates.kwh_price),
        ))
        .execute(conn)?;
    Ok(())
}

/// Keep work or energy.
pub fn add(
    conn: &mut AnyConn,
    club: ClubId,
    by: MemberId,
    at: Instant,
    (id, new, cost): (EffortId, &NewEffort, Money),
) -> Result<(), Failure> {
    diesel::insert_into(efforts::table)
        .values((
            efforts::id.eq(id),
            efforts::club_id.eq(club),
            efforts::batch_id.eq(new.batch),
            efforts::day.eq(new.day),
            efforts::kind.eq(new.kind),
            efforts::amount.eq(new.amount),
            efforts::cost.eq(cost),
            efforts::remark.eq(&new.remark),
            efforts::recorded_by.eq(by),
            efforts::recorded_at.eq(at),
            efforts::struck_because.eq(""),
        ))
        .execute(conn)?;
    Ok(())
}

/// Work and energy of these batches, struck ones too, in the order in which they were recorded.
pub fn efforts(conn: &mut AnyConn, club: ClubId, of: &[BatchId]) -> Result<Vec<Effort>, Failure> {
    type Row = (
        (EffortId, BatchId, Day, EffortKind, Option<Milli>, Money, String, String),
        (Option<Instant>, String),
    );
    let rows: Vec<Row> = efforts::table
        .inner_join(members::table.on(members::id.eq(efforts::recorded_by)))
        .filter(efforts::club_id.eq(club).and(efforts::batch_id.eq_any(padded(of))))
        .order(efforts::id)
        .select((
            (
                efforts::id,
                efforts::batch_id,
                efforts::day,
                efforts::kind,
                efforts::amount,
                efforts::cost,
                efforts::remark,
                members::name,
            ),
            (efforts::struck_at, efforts::struck_because),
        ))
        .prepared()
        .load(conn)?;
    let effort = |((id, batch, day, kind, amount, cost, remark, by), (struck_at, because)): Row| Effort {
        id,
        batch,
        day,
        kind,
        amount,
        cost,
        remark,
        by,
        struck: struck_at.map(|at| (at, because)),
    };
    Ok(rows.into_iter().map(effort).collect())
}

/// Strike one out; its batch, and `false` where it was struck before.
pub fn strike(
    conn: &mut AnyConn,
    club: ClubId,
    id: EffortId,
    by: MemberId,
    at: Instant,
    because: &str,
) -> Result<(BatchId, bool), Failure> {
    let of_club = efforts::id.eq(id).and(efforts::club_id.eq(club));
    let batch = efforts::table.filter(of_club).select(efforts::batch_id).first(conn)?;
    let struck = diesel::update(efforts::table.filter(of_club).filter(efforts::struck_at.is_null()))
        .set((
            efforts::struck_at.eq(Some(at)),
            efforts::struck_by.eq(Some(by)),
            efforts::struck_because.eq(because),
        ))
        .execute(conn)?;
    Ok((batch, struck > 0))
}
