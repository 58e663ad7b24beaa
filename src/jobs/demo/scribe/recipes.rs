//! Recipes, batches made by them, and what is being made on the day of loading. What the diary says of a batch that
//! has steps does the next of them that fits; those before it are recorded as they were planned.

use chrono::Duration;
use serde::Deserialize;

use super::{Scribe, Stamp, cell, known, optional};
use crate::actions::Done;
use crate::actions::batches::{self, NewReading};
use crate::actions::recipes::{self as acts, Making, NewRevision, Revising};
use crate::actions::steps::{self as made, Adding, Beginning, ByEntry, Deed, Doing, Mark, Which};
use crate::db::steps::steps;
use crate::domain::cautions::Reasons;
use crate::domain::members::{Cellarhand, Doer};
use crate::domain::plans::{PlanStep, PlanSupply, StepKind, read_duration};
use crate::domain::recipes::{Goals, Revision, read_months};
use crate::domain::refusal::{Refusal, Why};
use crate::domain::steps::{Act, State, Step};
use crate::jobs::demo::Error;
use crate::jobs::demo::files::{self, RecipeRow, Row, StepRow};
use crate::units::days::Instant;
use crate::units::ids::{BatchId, EntryId};
use crate::units::measure::{Measured, ReadingKind};
use crate::units::quantity::Milli;

/// `making.csv`: what was done on the day of loading, counted back from its minute.
#[derive(Debug, Clone, Deserialize)]
struct MakingRow {
    minutes_ago: u32,
    by: String,
    batch: String,
    what: String,
    kind: StepKind,
    value: String,
    note: String,
}

impl Scribe<'_> {
    /// Write a recipe, or its next revision.
    pub(super) async fn write_recipe(&mut self, stamp: &Stamp, row: &RecipeRow) -> Done<()> {
        let new = NewRevision { revision: self.revision(row)?, note: row.note.clone() };
        let recipe = match self.recipes.get(&row.recipe) {
            None => acts::write(self.db, &stamp.by, None, new).await?.recipe,
            Some(recipe) => {
                let order = Revising { recipe: *recipe, from: None, new };
                acts::revise(self.db, &stamp.by, None, order).await?.recipe
            }
        };
        self.recipes.insert(row.recipe.clone(), recipe);
        Ok(())
    }

    fn revision(&self, row: &RecipeRow) -> Done<Revision> {
        let line = |(item, amount): &(String, String)| {
            let (id, unit) = *known(&self.items, item, "item")?;
            Ok(PlanSupply { item: id, amount: cell("amount", Milli::read(amount, unit))? })
        };
        let lines = |lines: &[(String, String)]| lines.iter().map(line).collect::<Done<Vec<_>>>();
        let figure = |field: &str, text: &str| {
            let read = |text| crate::units::number::scaled(text, 1_000_000, "11").map(Measured::from_micros);
            cell(field, optional(text).map(read).transpose())
        };
        Ok(Revision {
            drink: row.drink.clone(),
            base: line(&(row.base.clone(), row.base_amount.clone()))?,
            supplies: lines(&row.supplies)?,
            by_products: lines(&row.by_products)?,
            steps: row.steps.iter().map(|step| self.step(step)).collect::<Done<_>>()?,
            goals: Goals {
                strength: figure("strength", &row.strength)?,
                sugar_g_l: figure("sugar_g_l", &row.sugar_g_l)?,
                tasting_ages_months: cell("months", read_months(&row.months))?,
                ages_by_warmth: false,
            },
        })
    }

    fn step(&self, row: &StepRow) -> Done<PlanStep> {
        let item = optional(&row.item).map(|name| known(&self.items, name, "item").copied()).transpose()?;
        let amount = match (item, optional(&row.amount)) {
            (Some((_, unit)), Some(text)) => Some((cell("amount", Milli::read(text, unit))?, unit)),
            _ => None,
        };
        let target = optional(&row.target_c).map(|text| ReadingKind::Temperature.read(text)).transpose();
        let minutes = optional(&row.minutes).map(read_duration).transpose();
        Ok(PlanStep {
            kind: row.kind,
            what: row.what.clone(),
            amount,
            item: item.map(|item| item.0),
            target_c: cell("target_c", target)?,
            minutes: cell("minutes", minutes)?,
            caution: row.caution.clone(),
        })
    }

    /// Put a batch on paper by the recipe as it is on that day, for so much of its base.
    pub(super) async fn plan_by_recipe(
        &self,
        stamp: &Stamp,
        recipe: &str,
        base: &str,
        name: &str,
    ) -> Done<BatchId> {
        let recipe = *known(&self.recipes, recipe, "recipe")?;
        let club = stamp.by.club;
        let read = self.db.read(move |conn| {
            let latest = crate::db::recipes::latest(conn, club, recipe)?;
            let kept = crate::db::recipes::revision(conn, club, recipe, latest)?;
            crate::db::stock::item(conn, club, kept.revision.base.item)
        });
        let amount = cell("base", Milli::read(base, read.await?.unit))?;
        let order = Making { recipe, number: None, amount, name: Some(name.to_owned()), day: stamp.day };
        acts::make(self.db, &stamp.by, None, order).await.map(|made| made.id)
    }

    async fn steps_of(&self, by: &Doer, batch: BatchId) -> Done<Vec<Step>> {
        let club = by.club;
        Ok(self.db.read(move |conn| steps(conn, club, batch)).await?)
    }

    /// Record an entry, as the next step of its kind where the batch has one.
    pub(super) async fn as_a_step(&self, stamp: &Stamp, deed: Deed) -> Done<EntryId> {
        let (batch, act) = match &deed {
            Deed::Draw(draw) => (draw.batch, if draw.pitch { Act::Pitch } else { Act::Draw }),
            Deed::ByProduct(off) => (off.batch, Act::ByProduct),
            Deed::Rack(racking, _) => (racking.batch, Act::Rack),
            Deed::Transfer(transfer, _) => (transfer.batch, Act::Split),
        };
        let all = self.steps_of(&stamp.by, batch).await?;
        let ahead: Vec<&Step> = all.iter().filter(|step| step.state().is_ahead()).collect();
        let at = ahead.iter().position(|step| step.act() == act && step.state() == State::Open);
        let Some(at) = at else {
            return self.plainly(stamp, deed).await;
        };
        for (before, step) in ahead[..at].iter().enumerate().filter(|(_, step)| step.act() != Act::Read) {
            let minutes = 20 * i64::try_from(at - before).unwrap_or(1);
            self.as_planned(stamp, batch, step, stamp.by.now - Duration::minutes(minutes)).await?;
        }
        let mark = Mark { line: ahead[at].line, out_of_order: true, reasons: Reasons::default() };
        let order = ByEntry { batch, deed, mark };
        made::by_entry(self.db, &stamp.by, None, order).await.map(|booked| booked.recorded.entry)
    }

    async fn as_planned(&self, stamp: &Stamp, batch: BatchId, step: &Step, at: Instant) -> Done<()> {
        let short = step.plan.minutes.filter(|minutes| *minutes <= 60);
        let order = Doing {
            step: Which { batch, line: step.line },
            begun_at: short.map(|minutes| at - Duration::minutes(minutes)),
            at: Some(at),
            temperature_c: step.plan.target_c,
            amount: None,
            readings: Vec::new(),
            entry: None,
            remark: String::new(),
            out_of_order: true,
            reasons: Reasons::default(),
        };
        made::done(self.db, &stamp.by, None, order).await.map(|_| ())
    }

    async fn plainly(&self, stamp: &Stamp, deed: Deed) -> Done<EntryId> {
        match deed {
            Deed::Draw(order) => batches::draw(self.db, &stamp.by, None, order).await.map(|made| made.entry),
            Deed::ByProduct(order) => {
                batches::by_product(self.db, &stamp.by, None, order).await.map(|off| off.entry)
            }
            Deed::Rack(order, _) => {
                batches::record_racking(self.db, &stamp.by, None, order).await.map(|made| made.entry)
            }
            Deed::Transfer(order, _) => {
                batches::record_transfer(self.db, &stamp.by, None, order).await.map(|made| made.entry)
            }
        }
    }

    /// What was done within the last hour: a batch is being made while somebody looks.
    pub(in crate::jobs::demo) async fn make_today(&self, now: Instant) -> Result<(), Error> {
        for row in files::MAKING.rows::<MakingRow>()? {
            self.make_now(&row, now).await.map_err(|why| row.at.failed(why))?;
        }
        Ok(())
    }

    async fn make_now(&self, row: &Row<MakingRow>, now: Instant) -> Done<()> {
        let at = now - Duration::minutes(i64::from(row.minutes_ago));
        let doer = Doer { now: at, ..known(&self.people, &row.by, "by")?.clone() };
        let by = Cellarhand::from_doer(doer)
            .ok_or_else(|| Refusal::new(Why::Forbidden, "by", "A steward or a cellarhand records this"))?;
        let batch = *known(&self.batches, &row.batch, "batch")?;
        let all = self.steps_of(&by, batch).await?;
        let step = all.iter().find(|step| step.plan.kind == row.kind && step.state().is_ahead());
        let line = match step {
            _ if row.what == "sample" => self.add_sample(&by, batch, &all).await?,
            Some(step) => step.line,
            None => return Err(Refusal::unfit("kind", "No such step is still to be done").into()),
        };
        let step = Which { batch, line };
        if row.what == "begin" {
            let order = Beginning { step, at: None, out_of_order: false, reasons: Reasons::default() };
            return made::begin(self.db, &by, None, order).await.map(|_| ());
        }
        let kind = if row.what == "sample" { ReadingKind::Ph } else { ReadingKind::Temperature };
        let value = cell("value", optional(&row.value).map(|text| kind.read(text)).transpose())?;
        let reading = |value| NewReading {
            batch,
            at,
            kind,
            value,
            sample_c: None,
            instrument: None,
            as_read: true,
            remark: String::new(),
        };
        let order = Doing {
            step,
            begun_at: None,
            at: None,
            temperature_c: value.filter(|_| row.what == "done"),
            amount: None,
            readings: value.filter(|_| row.what == "sample").map(reading).into_iter().collect(),
            entry: None,
            remark: row.note.clone(),
            out_of_order: false,
            reasons: Reasons::default(),
        };
        made::done(self.db, &by, None, order).await.map(|_| ())
    }

    /// A reading that was not planned, after what was done last.
    async fn add_sample(&self, by: &Cellarhand, batch: BatchId, all: &[Step]) -> Done<i64> {
        let after = all.iter().rfind(|step| !step.state().is_ahead()).map(|step| step.line);
        let step = PlanStep {
            kind: StepKind::Sample,
            what: "Read the pH".to_owned(),
            amount: None,
            item: None,
            target_c: None,
            minutes: None,
            caution: String::new(),
        };
        made::add(self.db, by, None, Adding { batch, after, step }).await
    }
}
