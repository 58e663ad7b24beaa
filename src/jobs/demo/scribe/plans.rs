//! Ways to a strength that became planned batches.

use super::{Scribe, Stamp, optional};
use crate::actions::batches::Plan;
use crate::actions::plans::{self, WholePlan};
use crate::actions::{Done, Error};
use crate::db::workbench::load;
use crate::domain::refusal::Refusal;
use crate::domain::workbench::routes::{Ask, INPUTS, bill, compare, steps, usual};
use crate::domain::workbench::{Given, Unfit};
use crate::jobs::demo::files::PlanRow;
use crate::units::quantity::Milli;

impl Scribe<'_> {
    /// Compares the ways as a member would, and makes the one that was chosen a planned batch.
    pub(super) async fn plan_way(&self, stamp: &Stamp, row: &PlanRow) -> Done<()> {
        let mut given = usual();
        for (name, typed) in [
            ("base", &row.base),
            ("amount", &row.amount),
            ("goal", &row.goal),
            ("share_boiled", &row.share_boiled),
        ] {
            let Some(typed) = optional(typed) else { continue };
            let input = INPUTS.iter().find(|input| input.name == name);
            let input = input.ok_or_else(|| Refusal::unfit(name, "The comparison does not ask for this"))?;
            given.set(input.name, input.read(typed).map_err(|why| Refusal::unfit(name, why))?);
        }
        let unfit = |unfit: Unfit| Error::from(unfit.beside(&given as &Given, INPUTS));
        let ask = Ask::of(&given).map_err(unfit)?;
        let all = compare(&ask).map_err(unfit)?;
        let route = all.routes.iter().find(|route| route.code == row.route && route.cannot.is_none());
        let route = route.ok_or_else(|| Refusal::unfit("route", "This way cannot be gone"))?;
        let (club, today, of) = (stamp.by.club, stamp.day, (ask.base, ask.bottle_l));
        let found = self.db.read(move |conn| load(conn, club, today, of, &[])).await?;
        let plan = WholePlan {
            batch: Plan {
                name: row.name.clone(),
                base_volume: Milli::from_base(1000.0 * all.base.litres),
                day: stamp.day,
            },
            steps: steps(&all, route),
            supplies: bill(&all, route, &found.stores, stamp.day).supplies(),
        };
        plans::plan(self.db, &stamp.by, None, plan).await.map(|_| ())
    }
}
