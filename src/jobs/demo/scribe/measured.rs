//! What is kept beside the books of the demo club: instruments and readings with them, work and energy, a logger's
//! file.

use super::{Scribe, cell, known, optional};
use crate::actions::batches::{self as acts, NewImport, NewReading};
use crate::actions::climate::{Measurements, measure};
use crate::actions::efforts::{Counting, record_effort, set_counting};
use crate::actions::instruments::add_instrument;
use crate::actions::{Done, Error as Refused};
use crate::domain::batches::loggers;
use crate::domain::climate::{Sample, read_humidity, read_temperature};
use crate::domain::costs::by_products::By;
use crate::domain::efforts::{EffortKind, NewEffort};
use crate::domain::instruments::{Instrument, InstrumentKind};
use crate::domain::members::{Cellarhand, Doer, Steward};
use crate::domain::refusal::{Refusal, Why};
use crate::jobs::demo::Error;
use crate::jobs::demo::files::{self, ClimateRow, EffortRow, InstrumentRow, LoggerRow, Row};
use crate::units::measure::{Measured, ReadingKind};
use crate::units::money::Money;
use crate::units::number;
use crate::units::quantity::Milli;
use chrono::NaiveTime;
use std::collections::HashMap;

use crate::units::ids::InstrumentId;

/// When the logger's file is brought in: the evening before the club is opened.
const EVENING: (u32, u32) = (20, 15);

impl Scribe<'_> {
    /// Records all of it, as the first member, whose club it is, and as those who are named.
    pub(in crate::jobs::demo) async fn beside(&self, founder: &Cellarhand) -> Result<(), Error> {
        let rows: Vec<Row<InstrumentRow>> = files::INSTRUMENTS.rows()?;
        let mut kept = HashMap::new();
        for row in &rows {
            let by = self.at(founder, row.checked_days_ago, NaiveTime::MIN);
            let id = match (by, self.instrument(row)) {
                (Ok(by), Ok(instrument)) => add_instrument(self.db, &by, None, instrument).await,
                (Err(why), _) | (_, Err(why)) => Err(why),
            };
            kept.insert(row.name.clone(), id.map_err(|why| row.at.failed(why))?);
        }
        let first = files::EFFORTS.rows::<EffortRow>()?;
        self.rates(founder).await.map_err(|why| files::Line::first("efforts.csv").failed(why))?;
        for row in &first {
            self.effort(row, &kept).await.map_err(|why| row.at.failed(why))?;
        }
        self.climate(founder).await?;
        self.logger(founder).await
    }

    /// What was read at each place, as one logger or one notebook for each.
    async fn climate(&self, founder: &Cellarhand) -> Result<(), Error> {
        let rows: Vec<Row<ClimateRow>> = files::CLIMATE.rows()?;
        for part in rows.chunk_by(|one, next| one.place == next.place) {
            let done = async {
                let sample = |row: &Row<ClimateRow>| {
                    let humidity = optional(&row.humidity).map(read_humidity).transpose();
                    Ok(Sample {
                        at: self.calendar.instant(row.days_ago, row.time),
                        temperature: cell("temperature", read_temperature(&row.temperature))?,
                        humidity: cell("humidity", humidity)?,
                    })
                };
                let order = Measurements {
                    place: *known(&self.places, &part[0].place, "place")?,
                    source: "notebook by the door".to_owned(),
                    samples: part.iter().map(sample).collect::<Done<_>>()?,
                };
                measure(self.db, founder, None, order).await.map(|_| ())
            };
            done.await.map_err(|why: Refused| part[0].at.failed(why))?;
        }
        Ok(())
    }

    fn at(&self, doer: &Doer, days_ago: u32, time: NaiveTime) -> Done<Cellarhand> {
        let doer = Doer { now: self.calendar.instant(days_ago, time), ..doer.clone() };
        Cellarhand::from_doer(doer).ok_or_else(|| {
            Refusal::new(Why::Forbidden, "by", "A steward or a cellarhand records this").into()
        })
    }

    fn instrument(&self, row: &InstrumentRow) -> Done<Instrument> {
        let kind = InstrumentKind::from_code(&row.kind)
            .ok_or_else(|| Refusal::unfit("kind", format!("“{}” is no instrument", row.kind)))?;
        let made_for = optional(&row.made_for_c).map(|text| ReadingKind::Temperature.read(text));
        let (sign, size) = row.offset.strip_prefix('-').map_or((1, row.offset.as_str()), |size| (-1, size));
        let size = optional(size).map(|text| number::scaled(text, 1_000_000, "0.002"));
        Ok(Instrument {
            name: row.name.clone(),
            kind,
            made_for_c: cell("made_for_c", made_for.transpose())?,
            offset: Measured::from_micros(sign * cell("offset", size.transpose())?.unwrap_or_default()),
            checked_on: self.calendar.day(row.checked_days_ago),
        })
    }

    async fn rates(&self, founder: &Cellarhand) -> Done<()> {
        let Some(steward) = Steward::from_doer(Doer::clone(founder)) else { return Ok(()) };
        let money = |text: &str| cell("rate", Money::read(text)).map(Some);
        let now = Counting {
            by: By::NetValue,
            litre_worth: money("6.50")?,
            hour_rate: money("12")?,
            kwh_price: money("0.31")?,
        };
        set_counting(self.db, &steward, None, now).await
    }

    async fn effort(&self, row: &EffortRow, kept: &HashMap<String, InstrumentId>) -> Done<()> {
        let by = self.at(known(&self.people, &row.by, "by")?, row.days_ago, row.time)?;
        let batch = *known(&self.batches, &row.batch, "batch")?;
        if let Some(kind) = ReadingKind::from_code(&row.kind) {
            let reading = NewReading {
                batch,
                at: by.now,
                kind,
                value: cell("amount", kind.read(&row.amount))?,
                sample_c: None,
                instrument: Some(*known(kept, &row.instrument, "instrument")?),
                as_read: true,
                remark: row.note.clone(),
            };
            return acts::record_reading(self.db, &by, None, reading).await.map(|_| ());
        }
        let kind = EffortKind::from_code(&row.kind)
            .ok_or_else(|| Refusal::unfit("kind", format!("“{}” is neither work nor energy", row.kind)))?;
        let amount = optional(&row.amount).map(|text| number::scaled(text, 1000, "2.5")).transpose();
        let new = NewEffort {
            batch,
            day: self.calendar.day(row.days_ago),
            kind,
            amount: cell("amount", amount)?.map(Milli::new),
            sum: cell("sum", optional(&row.sum).map(Money::read).transpose())?,
            remark: row.note.clone(),
        };
        record_effort(self.db, &by, None, new).await.map(|_| ())
    }

    /// The rows as a logger would have written them, read as a member's file is.
    async fn logger(&self, founder: &Cellarhand) -> Result<(), Error> {
        let rows: Vec<Row<LoggerRow>> = files::LOGGER.rows()?;
        let Some(first) = rows.first() else { return Ok(()) };
        let mut text = "Zeit;Temperatur °C\n".to_owned();
        for row in &rows {
            let day = self.calendar.day(row.days_ago).format("%d.%m.%Y");
            let line =
                [day.to_string(), row.time.format(" %H:%M;").to_string(), row.temperature.replace('.', ",")];
            text.extend(line);
            text.push('\n');
        }
        let time = NaiveTime::from_hms_opt(EVENING.0, EVENING.1, 0).unwrap_or_default();
        let done = async {
            let by = self.at(founder, 1, time)?;
            let log = loggers::read(&text, &loggers::Said::default(), by.zone, by.now)?;
            let file = NewImport {
                batch: *known(&self.batches, &first.batch, "batch")?,
                file_name: "vat-logger.csv".to_owned(),
                left_out: log.bad_in_all,
                rows: log.rows.iter().map(|row| (row.at, row.kind, row.value)).collect(),
            };
            acts::bring_in(self.db, &by, None, file).await.map(|_| ())
        };
        done.await.map_err(|why: Refused| first.at.failed(why))
    }
}
