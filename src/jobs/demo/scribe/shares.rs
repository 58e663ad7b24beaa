//! Whose the bottles of some batches are, and what members would like to have.

use chrono::NaiveTime;
use serde::Deserialize;

use super::{Scribe, cell, known, optional};
use crate::actions::Done;
use crate::actions::shares::{settle_shares, wish};
use crate::domain::members::{Cellarhand, Doer, Steward, Taster};
use crate::domain::refusal::{Refusal, Why};
use crate::domain::shares::{Share, Sharing, Wish};
use crate::jobs::demo::Error;
use crate::jobs::demo::files::{self, Line, Row};
use crate::units::ids::BatchId;
use crate::units::money::Money;

/// `shares.csv`: the part of a member in a batch.
#[derive(Debug, Deserialize)]
struct ShareRow {
    batch: String,
    member: String,
    laid_out: String,
    worked: String,
}

/// `wishes.csv`: what a member would like to have of a bottling.
#[derive(Debug, Deserialize)]
struct WishRow {
    bottling: String,
    member: String,
    bottles: u32,
    remark: String,
}

impl Scribe<'_> {
    /// Settles the shares as a steward would, and lets members wish.
    pub(in crate::jobs::demo) async fn share_out(&mut self, founder: &Cellarhand) -> Result<(), Error> {
        let now = self.calendar.instant(20, NaiveTime::MIN);
        let founder = Steward::from_doer(Doer { now, ..Doer::clone(founder) }).ok_or_else(|| {
            Line::first("shares.csv")
                .failed(Refusal::new(Why::Forbidden, "", "A steward settles this").into())
        })?;
        let mut all: Vec<(Line, Sharing)> = Vec::new();
        for row in files::SHARES.rows::<ShareRow>()? {
            let (batch, share) = self.share(&row).map_err(|why| row.at.failed(why))?;
            match all.iter_mut().find(|one| one.1.batch == batch) {
                Some((_, sharing)) => sharing.shares.push(share),
                None => all.push((row.at, Sharing { batch, shares: vec![share] })),
            }
        }
        for (at, sharing) in all {
            settle_shares(self.db, &founder, None, sharing).await.map_err(|why| at.failed(why))?;
        }
        for row in files::WISHES.rows::<WishRow>()? {
            self.wishes(&row).await.map_err(|why| row.at.failed(why))?;
        }
        Ok(())
    }

    fn share(&self, row: &Row<ShareRow>) -> Done<(BatchId, Share)> {
        let sum =
            |name: &'static str, text: &str| cell(name, optional(text).map_or(Ok(Money::ZERO), Money::read));
        let share = Share {
            member: known(&self.people, &row.member, "member")?.member,
            laid_out: sum("laid_out", &row.laid_out)?,
            worked: sum("worked", &row.worked)?,
        };
        Ok((*known(&self.batches, &row.batch, "batch")?, share))
    }

    async fn wishes(&self, row: &Row<WishRow>) -> Done<()> {
        let now = self.calendar.instant(12, NaiveTime::MIN);
        let taster = Taster::from_doer(Doer { now, ..known(&self.people, &row.member, "member")?.clone() })
            .ok_or_else(|| Refusal::new(Why::Forbidden, "member", "A taster may wish"))?;
        let bottling = known(&self.bottlings, &row.bottling, "bottling")?.0;
        let order = Wish { bottling, bottles: row.bottles, remark: row.remark.clone() };
        wish(self.db, &taster, None, order).await.map(|_| ())
    }
}
