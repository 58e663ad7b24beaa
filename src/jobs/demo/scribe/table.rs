//! Tastings: planned, answered, begun, every sheet handed in; the last one opens the key.

use super::{Scribe, Stamp, cell, known, optional};
use crate::actions::tastings::{self as acts, Beginning, Part, Reply};
use crate::actions::{Done, Error};
use crate::db::tastings as rows;
use crate::domain::members::{Doer, Taster};
use crate::domain::refusal::{Refusal, Why};
use crate::domain::tastings::sheet::Answer;
use crate::domain::tastings::{Method, Plan, Seat, Table};
use crate::jobs::demo::files::{Row, SheetRow, TastingRow};
use crate::units::ids::TastingId;
use crate::units::number;
use crate::units::quantity::{BaseUnit, Milli};

impl Scribe<'_> {
    /// Hold a tasting with its sheets, or plan one that is to come.
    pub(super) async fn taste(&self, stamp: &Stamp, row: &TastingRow, sheets: &[Row<SheetRow>]) -> Done<()> {
        let method = Method::from_code(&row.method)
            .ok_or_else(|| Refusal::unfit("method", format!("“{}” is no method", row.method)))?;
        let mut tasters = Vec::new();
        for part in row.tasters.split(';') {
            let (name, says) =
                part.split_once('=').unwrap_or((part, if row.in_days.is_none() { "yes" } else { "" }));
            tasters.push((known(&self.people, name, "tasters")?, says));
        }
        let samples = row.samples.split(';').map(|name| Ok(known(&self.bottlings, name, "samples")?.0));
        let pourer = optional(&row.pourer).map(|name| known(&self.people, name, "pourer")).transpose()?;
        let plan = Plan {
            title: row.title.clone(),
            host: stamp.by.member,
            day: stamp.day
                + chrono::Duration::days(row.in_days.map_or(0, |days| i64::from(days) + stamp.days_ago)),
            place: row.place.clone(),
            blind: true,
            method,
            question: String::new(),
            expected: None,
            samples: samples.collect::<Done<_>>()?,
            pour_volume: cell("pour", Milli::read(&row.pour, BaseUnit::Millilitre))?,
            tasters: tasters.iter().map(|one| one.0.member).collect(),
            pourer: pourer.map(|doer| doer.member),
        };
        let id = acts::plan_tasting(self.db, &stamp.by, None, plan).await?.id;
        for (doer, says) in tasters {
            if !says.is_empty() {
                let reply = Reply { tasting: id, may_taste: says == "yes" };
                acts::answer_allergens(self.db, &taster(stamp, doer)?, None, reply).await?;
            }
        }
        if row.in_days.is_some() {
            return Ok(());
        }
        acts::begin_tasting(self.db, &stamp.by, None, Beginning { tasting: id, of_age: true }).await?;
        self.hand_in(stamp, id, sheets).await
    }

    /// One sheet a taster: rows that follow each other belong together.
    async fn hand_in(&self, stamp: &Stamp, id: TastingId, sheets: &[Row<SheetRow>]) -> Done<()> {
        let club = stamp.by.club;
        let table = self.db.read(move |conn| rows::table(conn, club, id)).await.map_err(Error::from)?;
        for seat in &table.seats {
            let own = sheets.iter().filter(|row| row.taster == seat.name);
            let answers = own.map(|row| self.answer(&table, seat, row)).collect::<Done<Vec<_>>>()?;
            let by = taster(stamp, known(&self.people, &seat.name, "taster")?)?;
            acts::save_sheet(self.db, &by, None, Part { tasting: id, answers, hand_in: true }).await?;
        }
        Ok(())
    }

    /// Marks in the order of the list; in a triangle, whether the odd glass was named.
    fn answer(&self, table: &Table, seat: &Seat, row: &SheetRow) -> Done<Answer> {
        let words = row.words.clone();
        if table.tasting.method.is_choice() {
            let sample = |code: &u16| table.glass(*code).map(|glass| glass.sample);
            let twin =
                |code: &&u16| seat.serving.iter().filter(|one| sample(one) == sample(code)).count() > 1;
            let wanted = |code: &&u16| twin(code) == (row.marks == "wrong");
            let code = seat.serving.iter().find(wanted).copied().unwrap_or_default();
            return Ok(Answer { code, marks: Vec::new(), place: Some(1), words });
        }
        let bottling = known(&self.bottlings, &row.bottling, "bottling")?.0;
        let sample = table.samples.iter().find(|sample| sample.bottling == bottling);
        let sample = sample.ok_or_else(|| Refusal::unfit("bottling", "It is not poured at this tasting"))?;
        let code = table.glasses.iter().find(|glass| glass.sample == sample.id).map(|glass| glass.code);
        let marks = table.attributes.iter().zip(row.marks.split_whitespace());
        let marks =
            marks.map(|(line, mark)| Ok((line.number, cell("marks", number::scaled(mark, 10, "7.5"))?)));
        Ok(Answer { code: code.unwrap_or_default(), marks: marks.collect::<Done<_>>()?, place: None, words })
    }
}

fn taster(stamp: &Stamp, doer: &Doer) -> Done<Taster> {
    Taster::from_doer(Doer { now: stamp.by.now, ..doer.clone() })
        .ok_or_else(|| Refusal::new(Why::Forbidden, "tasters", "An onlooker does not taste").into())
}
