//! Vessels and what was done to them, and bottles that were held back.

use super::{Scribe, Stamp, cell, known, optional, reasons};
use crate::actions::Done;
use crate::actions::holds::{HoldBack, Release, hold, release};
use crate::actions::vessels::{Decant, Deed, add_vessel, decant, fill_vessel, tend};
use crate::domain::members::Cellarhand;
use crate::domain::refusal::Refusal;
use crate::domain::vessels::{Closure, Filling, Material, Vessel};
use crate::jobs::demo::Error;
use crate::jobs::demo::files::{FillingRow, HoldRow, Row, VESSELS, VesselRow};
use crate::units::measure::ReadingKind;
use crate::units::quantity::{BaseUnit, Milli};

impl Scribe<'_> {
    /// Makes the vessels.
    pub(in crate::jobs::demo) async fn set_up_vessels(&mut self, by: &Cellarhand) -> Result<(), Error> {
        for row in VESSELS.rows::<VesselRow>()? {
            let vessel = self.vessel(&row).map_err(|why| row.at.failed(why))?;
            let id = add_vessel(self.db, by, None, vessel).await.map_err(|why| row.at.failed(why))?;
            self.vessels.insert(row.code.clone(), id);
        }
        Ok(())
    }

    fn vessel(&self, row: &VesselRow) -> Done<Vessel> {
        let volume = |field: &str, text: &str| cell(field, Milli::read(text, BaseUnit::Millilitre));
        Ok(Vessel {
            code: row.code.clone(),
            material: Material::from_code(&row.material)
                .ok_or_else(|| Refusal::unfit("material", format!("“{}” is no material", row.material)))?,
            capacity: volume("capacity", &row.capacity)?,
            safe_filling: volume("safe_filling", &row.safe_filling)?,
            place: *known(&self.places, &row.place, "place")?,
            closure: Closure::from_code(&row.closure)
                .ok_or_else(|| Refusal::unfit("closure", format!("“{}” closes nothing", row.closure)))?,
            worn: row.worn == "yes",
            marks: row.marks.clone(),
        })
    }

    pub(super) async fn hold(&self, stamp: &Stamp, row: &Row<HoldRow>) -> Done<()> {
        let lot = known(&self.bottlings, &row.bottling, "bottling")?.1;
        let (reason, all) = (row.reason.clone(), row.all == "yes");
        if row.what == "hold" {
            hold(self.db, &stamp.by, None, HoldBack { lot, reason, all }).await?;
        } else {
            release(self.db, &stamp.by, None, Release { lot, reason, all }).await?;
        }
        Ok(())
    }

    pub(super) async fn tend_vessel(&self, stamp: &Stamp, row: &Row<FillingRow>) -> Done<()> {
        let vessel = *known(&self.vessels, &row.vessel, "vessel")?;
        let warm = optional(&row.temperature).map(|text| ReadingKind::Temperature.read(text)).transpose();
        let liquid_c = cell("temperature", warm)?;
        let day = stamp.day;
        let deed = match row.what.as_str() {
            "fill" => {
                let order = Filling {
                    vessel,
                    batch: *known(&self.batches, &row.batch, "batch")?,
                    day,
                    volume: cell("volume", Milli::read(&row.volume, BaseUnit::Millilitre))?,
                    liquid_c,
                    closure: None,
                    reasons: reasons(&row.because)?,
                };
                fill_vessel(self.db, &stamp.by, None, order).await?;
                return Ok(());
            }
            "move" => {
                let into = *known(&self.vessels, &row.into, "into")?;
                let reasons = reasons(&row.because)?;
                let order = Decant { from: vessel, into, day, volume: None, liquid_c, reasons };
                decant(self.db, &stamp.by, None, order).await?;
                return Ok(());
            }
            "clean" => Deed::Clean,
            "empty" => Deed::Empty(row.because.clone()),
            "out-of-use" => Deed::OutOfUse(row.because.clone()),
            other => return Err(Refusal::unfit("what", format!("“{other}” is done to no vessel")).into()),
        };
        tend(self.db, &stamp.by, None, vessel, day, deed).await.map(|_| ())
    }
}
