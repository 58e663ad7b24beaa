//! How items are bought and kept, and which lots are open.

use chrono::NaiveTime;
use serde::Deserialize;

use super::{Scribe, cell, known, optional};
use crate::actions::Done;
use crate::actions::buying::{Keeping, keep_up, open_lot};
use crate::db::stock::{Shelved, shelves};
use crate::domain::buying::instead::Substitute;
use crate::domain::buying::{Opening, Upkeep};
use crate::domain::members::{Cellarhand, Doer};
use crate::domain::refusal::{Refusal, Why};
use crate::jobs::demo::Error;
use crate::jobs::demo::files::{self, Row};
use crate::units::number;

/// `upkeep.csv`: how an item is bought.
#[derive(Debug, Deserialize)]
struct UpkeepRow {
    item: String,
    lead_days: Option<u32>,
    cover_days: Option<u32>,
    keeps_open_days: Option<u32>,
    weakens_percent: Option<u32>,
    /// `other=factor;…`: what can be used in its place.
    instead: String,
    /// Since when the lot is open that is used first.
    opened_days_ago: Option<u32>,
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
        let upkeep = Upkeep {
            lead_days: row.lead_days,
            cover_days: row.cover_days,
            keeps_open_days: row.keeps_open_days,
            weakens_permille: row.weakens_percent.map(|share| share * 10),
            substitutes: self.substitutes(&row.instead)?,
        };
        keep_up(self.db, by, None, Keeping { item, upkeep }).await?;
        let Some(days_ago) = row.opened_days_ago else { return Ok(()) };
        let now = self.calendar.instant(days_ago, NaiveTime::MIN);
        let by = Cellarhand::from_doer(Doer { now, ..Doer::clone(by) })
            .ok_or_else(|| Refusal::new(Why::Forbidden, "", "A cellarhand opens this"))?;
        let club = by.club;
        let there = self.db.read(move |conn| shelves(conn, club, Shelved::Item(item))).await?;
        let first =
            there.first().ok_or_else(|| Refusal::unfit("opened_days_ago", "Nothing of it is left"))?;
        let opening = Opening { lot: first.lot, on: Some(self.calendar.day(days_ago)) };
        open_lot(self.db, &by, None, opening).await.map(|_| ())
    }

    fn substitutes(&self, text: &str) -> Done<Vec<Substitute>> {
        let one = |part: &str| {
            let (name, factor) = part.split_once('=').unwrap_or((part, "1"));
            let factor_micro = cell("instead", number::scaled(factor, 1_000_000, "1.2"))?;
            Ok(Substitute { other: known(&self.items, name, "instead")?.0, factor_micro })
        };
        optional(text).map_or(Ok(Vec::new()), |text| text.split(';').map(one).collect())
    }
}
