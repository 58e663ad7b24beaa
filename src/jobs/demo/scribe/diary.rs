//! The entries on a batch: plan, draw, pitch, weigh off, lose, rack, split, blend, end.

use super::{Scribe, Stamp, after, cell, known};
use crate::actions::steps::Deed;
use crate::actions::{Done, batches};
use crate::domain::batches::{ByProduct, Draw, Ending, Loss, Racking, Transfer};
use crate::domain::refusal::Refusal;
use crate::jobs::demo::files::{Deed as What, DiaryRow, Row};
use crate::units::ids::{BatchId, EntryId};
use crate::units::quantity::{BaseUnit, Milli};

impl Scribe<'_> {
    /// Record an entry on a batch; only draws have more than one row.
    pub(super) async fn write_diary(&mut self, stamp: &Stamp, rows: &[Row<DiaryRow>]) -> Done<()> {
        let row: &DiaryRow = &rows[0];
        let entry = match row.what {
            What::Plan => return self.plan(stamp, row).await,
            What::Draw | What::Pitch => self.draw(stamp, rows).await?,
            What::ByProduct => self.weigh_off(stamp, row).await?,
            What::LossNormal | What::LossAbnormal => self.lose(stamp, row).await?,
            What::Rack => self.rack(stamp, row).await?,
            What::Split | What::Blend => self.transfer(stamp, row).await?,
            What::Close | What::Abandon => self.end(stamp, row).await?,
        };
        if !row.key.is_empty() {
            self.entries.insert(format!("diary {}", row.key), entry);
        }
        Ok(())
    }

    async fn plan(&mut self, stamp: &Stamp, row: &DiaryRow) -> Done<()> {
        let extra = Extra::read(row)?;
        if let Some(recipe) = extra.recipe {
            let base = extra.base.unwrap_or(&row.quantity);
            let made = self.plan_by_recipe(stamp, recipe, base, &row.note).await?;
            self.batches.insert(row.batch.clone(), made);
            return Ok(());
        }
        let base_volume = Some(volume(row)?);
        let plan = batches::Plan { name: row.note.clone(), base_volume, day: stamp.day };
        let planned = batches::plan(self.db, &stamp.by, None, plan).await?;
        self.batches.insert(row.batch.clone(), planned.id);
        Ok(())
    }

    async fn draw(&self, stamp: &Stamp, rows: &[Row<DiaryRow>]) -> Done<EntryId> {
        let (first, last) = (&rows[0], &rows[rows.len() - 1]);
        let lines = rows.iter().map(|row| self.draw_line(&row.item, &row.quantity)).collect::<Done<_>>()?;
        let order = Draw {
            batch: self.batch(first)?,
            day: stamp.day,
            pitch: first.what == What::Pitch,
            lines,
            volume_after: Extra::read(last)?.volume_after,
            remark: first.note.clone(),
        };
        self.as_a_step(stamp, Deed::Draw(order)).await
    }

    async fn weigh_off(&self, stamp: &Stamp, row: &DiaryRow) -> Done<EntryId> {
        let (item, unit) = *known(&self.items, &row.item, "item")?;
        let extra = Extra::read(row)?;
        let order = ByProduct {
            batch: self.batch(row)?,
            day: stamp.day,
            item,
            quantity: cell("quantity", Milli::read(&row.quantity, unit))?,
            place: *known(&self.places, &row.place, "place")?,
            best_before: extra.best_before_in_days.map(|days| after(stamp.day, days)),
            value_per_unit: None,
            volume_after: extra.volume_after,
            remark: row.note.clone(),
        };
        self.as_a_step(stamp, Deed::ByProduct(order)).await
    }

    async fn lose(&self, stamp: &Stamp, row: &DiaryRow) -> Done<EntryId> {
        let order = Loss {
            batch: self.batch(row)?,
            day: stamp.day,
            volume: volume(row)?,
            normal: row.what == What::LossNormal,
            reason: row.note.clone(),
        };
        batches::record_loss(self.db, &stamp.by, None, order).await.map(|made| made.entry)
    }

    async fn rack(&self, stamp: &Stamp, row: &DiaryRow) -> Done<EntryId> {
        let order = Racking {
            batch: self.batch(row)?,
            day: stamp.day,
            volume_after: Extra::read(row)?.volume_after,
            remark: row.note.clone(),
        };
        self.as_a_step(stamp, Deed::Rack(order, None)).await
    }

    /// A split makes the batch that it names, with its note for the drink; a blend goes into one that is
    /// there.
    async fn transfer(&mut self, stamp: &Stamp, row: &DiaryRow) -> Done<EntryId> {
        let into = Extra::read(row)?.into.ok_or_else(|| Refusal::unfit("extra", "Say into which batch"))?;
        let split = row.what == What::Split;
        let order = Transfer {
            batch: self.batch(row)?,
            day: stamp.day,
            volume: volume(row)?,
            into: if split { None } else { Some(*known(&self.batches, into, "extra")?) },
            name: split.then(|| row.note.clone()),
            remark: if split { String::new() } else { row.note.clone() },
        };
        let transferred = batches::record_transfer(self.db, &stamp.by, None, order).await?;
        self.batches.insert(into.to_owned(), transferred.into);
        Ok(transferred.entry)
    }

    async fn end(&self, stamp: &Stamp, row: &DiaryRow) -> Done<EntryId> {
        let order = Ending {
            batch: self.batch(row)?,
            day: stamp.day,
            abandoned: row.what == What::Abandon,
            reason: row.note.clone(),
        };
        batches::record_end(self.db, &stamp.by, None, order).await.map(|made| made.entry)
    }

    fn batch(&self, row: &DiaryRow) -> Done<BatchId> {
        known(&self.batches, &row.batch, "batch").copied()
    }
}

fn volume(row: &DiaryRow) -> Done<Milli> {
    cell("quantity", Milli::read(&row.quantity, BaseUnit::Millilitre))
}

/// The `name=value` pairs of a row.
#[derive(Default)]
struct Extra<'r> {
    volume_after: Option<Milli>,
    best_before_in_days: Option<u32>,
    into: Option<&'r str>,
    /// The recipe of a plan.
    recipe: Option<&'r str>,
    /// How much of its base, where that is no volume.
    base: Option<&'r str>,
}

impl<'r> Extra<'r> {
    fn read(row: &'r DiaryRow) -> Done<Self> {
        let mut extra = Self::default();
        for pair in row.extra.split(';').filter(|pair| !pair.is_empty()) {
            match pair.split_once('=') {
                Some(("volume_after", text)) => {
                    let volume = Milli::read_zero(text, BaseUnit::Millilitre);
                    extra.volume_after = Some(cell("volume_after", volume)?);
                }
                Some(("best_before_in_days", text)) => {
                    let days = text.parse().map_err(|_| Refusal::unfit("extra", "Write whole days"))?;
                    extra.best_before_in_days = Some(days);
                }
                Some(("into", batch)) => extra.into = Some(batch),
                Some(("recipe", key)) => extra.recipe = Some(key),
                Some(("base", amount)) => extra.base = Some(amount),
                _ => return Err(Refusal::unfit("extra", format!("“{pair}” is not known here")).into()),
            }
        }
        Ok(extra)
    }
}
