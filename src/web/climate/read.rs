//! From what was typed or sent about a place’s climate to the commands, the same for pages and API.

use crate::actions::climate::{Measurements, Strike};
use crate::domain::batches::loggers::{self, Bad, Order, Said, Scale};
use crate::domain::climate::{Sample, read_humidity, read_temperature};
use crate::domain::members::Doer;
use crate::domain::refusal::Refusal;
use crate::units::ids::PlaceId;
use crate::units::measure::{Measured, ReadingKind};
use crate::web::forms::Field;
use crate::web::input::{Draft, Reader};

/// Readings that a source sends in one call at most.
const MOST_SENT: usize = 500;

fn sample(r: &mut Reader) -> Sample {
    Sample {
        at: r.instant("at"),
        temperature: r.with("temperature", Measured::from_micros(0), read_temperature),
        humidity: r.optional("humidity", read_humidity),
    }
}

/// What a person read off.
pub fn by_hand(draft: &Draft, doer: &Doer, place: PlaceId) -> Result<Measurements, Refusal> {
    draft.read(doer, |r| Measurements { place, source: String::new(), samples: vec![sample(r)] })
}

/// What a program sends: one reading, or those of a sensor with their times.
pub fn sent(draft: &Draft, doer: &Doer, place: PlaceId) -> Result<Measurements, Refusal> {
    draft.read(doer, |r| {
        if !r.was_sent("readings") {
            return Measurements { place, source: String::new(), samples: vec![sample(r)] };
        }
        let source = r.optional_line("source", 80, "what sends the readings");
        let samples = r.rows_up_to("readings", MOST_SENT, |r| {
            if !r.was_sent("at") {
                r.fault("at", "Send when it was measured: a time counts once at a place");
            }
            sample(r)
        });
        if samples.is_empty() {
            r.fault("readings", "Send at least one reading");
        }
        let source = if source.is_empty() { "sensor".to_owned() } else { source };
        Measurements { place, source, samples }
    })
}

/// What was wrong.
pub fn strike(draft: &Draft, doer: &Doer, place: PlaceId) -> Result<Strike, Refusal> {
    draft.read(doer, |r| {
        let from = r.optional_instant("from");
        let until = r.optional_instant("until");
        if from.is_none() {
            r.fault("from", "Write from when on they are wrong");
        }
        Strike {
            place,
            from: from.unwrap_or_default(),
            until: until.or(from).unwrap_or_default(),
            reason: r.line("reason", 300, "what was wrong with them"),
        }
    })
}

/// A logger’s file that was looked into.
pub struct File {
    rows: String,
    name: String,
    said: Said,
    /// It has been looked at: keep it.
    pub keep: bool,
    /// How it was read.
    pub read_as: Vec<String>,
    /// What is to be kept.
    pub samples: Vec<Sample>,
    /// The first rows that cannot be read.
    pub bad: Vec<Bad>,
    /// How many there are.
    pub bad_in_all: usize,
}

/// Reads a file, from a page or a program.
pub fn file(draft: &Draft, doer: &Doer) -> Result<File, Refusal> {
    let (rows, name, said, keep) = draft.read(doer, |r: &mut Reader| {
        let said = Said {
            order: r.optional_choice("date_order", &Order::ALL, Order::code),
            gravity: None,
            temperature: r.optional_choice("temperature_in", &Scale::OF_TEMPERATURE, Scale::of_temperature),
        };
        let name = r.optional_line("file_name", 200, "the name of the file");
        (r.text("rows"), name, said, r.flag("keep"))
    })?;
    let log = loggers::read(&rows, &said, doer.zone, doer.now)?;
    let temperatures = log.rows.iter().filter(|row| row.kind == ReadingKind::Temperature);
    // What the weighting does not take is no air of a cellar.
    let meant = temperatures.filter(|row| read_temperature(&row.value.plain()).is_ok());
    let samples: Vec<Sample> = meant
        .map(|row| Sample {
            at: row.at,
            temperature: row.value,
            humidity: log.humidity.get(&row.at).copied(),
        })
        .collect();
    if samples.is_empty() {
        return Err(Refusal::unfit(
            "rows",
            "No row holds a temperature of a cellar: name its column “Temperature °C” in the row over the values",
        ));
    }
    let (read_as, bad, bad_in_all) = (log.read_as, log.bad, log.bad_in_all);
    Ok(File { rows, name, said, keep, read_as, samples, bad, bad_in_all })
}

impl File {
    /// The command that keeps it.
    pub fn order(&self, place: PlaceId) -> Measurements {
        let name = if self.name.is_empty() { "logger file" } else { &self.name };
        Measurements { place, source: name.to_owned(), samples: self.samples.clone() }
    }

    /// The file and what was said of it, carried along until it is kept.
    pub(super) fn hidden(&self) -> Vec<Field> {
        let order = self.said.order.map(|one| one.code().to_owned()).unwrap_or_default();
        let scale = self.said.temperature.map(|one| one.of_temperature().to_owned()).unwrap_or_default();
        [
            ("rows", self.rows.clone()),
            ("file_name", self.name.clone()),
            ("date_order", order),
            ("temperature_in", scale),
            ("keep", "yes".to_owned()),
        ]
        .into_iter()
        .map(|(name, value)| Field::hidden(name, value))
        .collect()
    }
}
