//! How items are bought.

use serde::Deserialize;

use super::{Scribe, known};
use crate::actions::Done;
use crate::actions::buying::{Keeping, keep_up};
use crate::domain::buying::Upkeep;
use crate::domain::members::Cellarhand;
use crate::jobs::demo::Error;
use crate::jobs::demo::files::{self, Row};

/// `upkeep.csv`: how an item is bought.
#[derive(Debug, Deserialize)]
struct UpkeepRow {
    item: String,
    lead_days: Option<u32>,
    cover_days: Option<u32>,
}

impl Scribe<'_> {
    /// Says how items are bought.
    pub(in crate::jobs::demo) async fn keep_up(&self, by: &Cellarhand) -> Result<(), Error> {
        for row in files::UPKEEP.rows::<UpkeepRow>()? {
            self.said_of(by, &row).await.map_err(|why| row.at.failed(why))?;
        }
        Ok(())
    }

    async fn said_of(&self, by: &Cellarhand, row: &Row<UpkeepRow>) -> Done<()> {
        let item = known(&self.items, &row.item, "item")?.0;
        let upkeep = Upkeep { lead_days: row.lead_days, cover_days: row.cover_days };
        keep_up(self.db, by, None, Keeping { item, upkeep }).await.map(|_| ())
    }
}
