//! Stock-takings: counted by some as the books have it, but for what was found, and posted by another.

use chrono::Duration;
use serde::Deserialize;

use super::{Scribe, Stamp, cell, known, optional};
use crate::actions::counts::{self as actions, Found, Posting, Start, Tallied, Ways};
use crate::actions::{Done, Error as ActionError};
use crate::db::counts as rows;
use crate::domain::counts::{Line, Progress, Reason, Tolerance};
use crate::domain::members::{Cellarhand, Doer, Taster};
use crate::domain::refusal::{Refusal, Why};
use crate::jobs::demo::Error;
use crate::jobs::demo::files::{FINDS, PLACES, PlaceRow, Row, STOCKTAKINGS, StocktakingRow};
use crate::units::days::Instant;
use crate::units::ids::{CountId, ItemId, LotId, PlaceId};
use crate::units::quantity::Milli;

/// Minutes before loading at which the count of that day began.
const TODAY_MINUTES: i64 = 45;

/// `finds.csv`: what was found otherwise than the books have it.
#[derive(Debug, Clone, Deserialize)]
struct FindRow {
    stocktaking: String,
    item_or_bottling: String,
    place: String,
    off: String,
    reason: String,
    words: String,
}

impl Scribe<'_> {
    /// One walks past the places in the order of their file.
    pub(in crate::jobs::demo) async fn walk(&self, by: &Cellarhand) -> Result<(), Error> {
        let rows = PLACES.rows::<PlaceRow>()?;
        let place = |row: &Row<PlaceRow>| self.places.get(&row.name).copied();
        let order = rows.iter().filter_map(place).zip(1..).collect();
        let ways = Ways { tolerance: Tolerance { permille: 20, pieces: 0 }, order };
        actions::set_ways(self.db, by, None, ways).await.map(|_| ()).map_err(Error::Failed)
    }

    /// Begins what is counted on the day of loading.
    pub(in crate::jobs::demo) async fn count_today(&self, now: Instant) -> Result<(), Error> {
        for row in STOCKTAKINGS.rows::<StocktakingRow>()? {
            if row.days_ago > 0 {
                continue;
            }
            let failed = |why: ActionError| row.at.failed(why);
            let doer = known(&self.people, &row.by, "by").map_err(failed)?.clone();
            let at = now - Duration::minutes(TODAY_MINUTES);
            let by = Cellarhand::from_doer(Doer { now: at, ..doer })
                .ok_or_else(|| failed(Refusal::new(Why::Forbidden, "by", "A cellarhand begins it").into()))?;
            let stamp = Stamp { day: by.today(), by, days_ago: 0 };
            self.take_stock(&stamp, &row).await.map_err(failed)?;
        }
        Ok(())
    }

    pub(super) async fn take_stock(&self, stamp: &Stamp, row: &Row<StocktakingRow>) -> Done<()> {
        let places = row.places.split(';').map(|name| known(&self.places, name, "places").copied());
        let start = Start {
            title: row.title.clone(),
            places: places.collect::<Done<_>>()?,
            kinds: Vec::new(),
            items: Vec::new(),
        };
        let id = actions::start(self.db, &stamp.by, None, start).await?.id;
        let finds: Vec<Row<FindRow>> = FINDS.rows().map_err(|why| Refusal::unfit("finds", why))?;
        let finds: Vec<_> = finds.into_iter().filter(|find| find.stocktaking == row.key).collect();
        let counters: Vec<&str> = row.counters.split(';').collect();
        let lines = self.lines(stamp, id).await?;
        let counted = lines.len().saturating_sub(row.left);
        for (at, line) in lines.iter().take(counted).enumerate() {
            self.count_line(stamp, id, line, (at, counters[at % counters.len()]), &finds).await?;
        }
        let Some(posted_by) = optional(&row.posted_by) else { return Ok(()) };
        actions::end(self.db, &self.later::<Cellarhand>(stamp, &row.by, 120)?, None, id).await?;
        // What is far off is counted a second time, and found to be so.
        for line in self.lines(stamp, id).await?.iter().filter(|line| line.progress() == Progress::Again) {
            self.count_line(stamp, id, line, (130, counters[0]), &finds).await?;
        }
        let counted = self.lines(stamp, id).await?;
        let reasons = counted.iter().filter_map(|line| {
            let find = finds.iter().find(|find| self.is_found(find, line).unwrap_or(false))?;
            Some((line.number, Reason::from_code(&find.reason)?, find.words.clone()))
        });
        let order = Posting {
            count: id,
            again: Vec::new(),
            reasons: reasons.collect(),
            reason: None,
            words: String::new(),
        };
        actions::post(self.db, &self.later::<Cellarhand>(stamp, posted_by, 180)?, None, order).await?;
        Ok(())
    }

    async fn lines(&self, stamp: &Stamp, id: CountId) -> Done<Vec<Line>> {
        let (club, zone) = (stamp.by.club, stamp.by.zone);
        let read = self.db.read(move |conn| {
            let mut lines = rows::lines(conn, club, id, None)?;
            rows::with_books(conn, club, &mut lines, zone)?;
            Ok(lines)
        });
        read.await
    }

    /// A member some minutes after the stamp.
    fn later<T: FromDoer>(&self, stamp: &Stamp, name: &str, minutes: i64) -> Done<T> {
        let now = stamp.by.now + Duration::minutes(minutes);
        let doer = Doer { now, ..known(&self.people, name, "by")?.clone() };
        T::from(doer).ok_or_else(|| Refusal::new(Why::Forbidden, "by", "Their role does not cover it").into())
    }

    async fn count_line(
        &self,
        stamp: &Stamp,
        count: CountId,
        line: &Line,
        (minute, by): (usize, &str),
        finds: &[Row<FindRow>],
    ) -> Done<()> {
        let mut counted = line.books.as_ref().map(|books| books.now.quantity).unwrap_or_default();
        for find in finds {
            if self.is_found(find, line)? {
                let off = cell("off", Milli::read_zero(find.off.trim_start_matches('-'), line.unit))?;
                counted = if find.off.starts_with('-') { counted - off } else { counted + off };
            }
        }
        let found =
            Found { counted: Some(counted), weighed: None, opened: false, remark: String::new(), at: None };
        let by: Taster = self.later(stamp, by, i64::try_from(minute).unwrap_or_default() + 1)?;
        actions::tally(self.db, &by, None, Tallied { count, number: line.number, found }).await?;
        Ok(())
    }

    fn is_found(&self, find: &FindRow, line: &Line) -> Done<bool> {
        let place: PlaceId = *known(&self.places, &find.place, "place")?;
        let Some(lot) = line.lot.as_ref().filter(|_| line.place.0 == place) else { return Ok(false) };
        let bottling: Option<LotId> = self.bottlings.get(&find.item_or_bottling).map(|found| found.1);
        let item: Option<ItemId> = self.items.get(&find.item_or_bottling).map(|found| found.0);
        Ok(bottling == Some(lot.id) || item == Some(lot.item.0))
    }
}

/// A rank that a member may have.
trait FromDoer: Sized {
    fn from(doer: Doer) -> Option<Self>;
}

impl FromDoer for Cellarhand {
    fn from(doer: Doer) -> Option<Self> {
        Self::from_doer(doer)
    }
}

impl FromDoer for Taster {
    fn from(doer: Doer) -> Option<Self> {
        Self::from_doer(doer)
    }
}
