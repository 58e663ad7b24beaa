//! Instruments of the club and what they are known to be off by. What was read and what it stands for are kept beside
//! each other, so that a later check changes nothing that was recorded before.

use serde::{Deserialize, Serialize};

use super::refusal::Refusal;
use crate::science::sugar;
use crate::units::days::Day;
use crate::units::measure::{Measured, ReadingKind};

/// What an instrument measures with.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum InstrumentKind {
    /// Gravity, by floating.
    Hydrometer,
    /// Temperature.
    Thermometer,
    /// Acidity as pH.
    PhMeter,
    /// Sugar, by light; before the yeast only.
    Refractometer,
}

impl InstrumentKind {
    /// All kinds.
    pub const ALL: [Self; 4] = [Self::Hydrometer, Self::Thermometer, Self::PhMeter, Self::Refractometer];

    /// As in the database and the API.
    pub const fn code(self) -> &'static str {
        match self {
            Self::Hydrometer => "hydrometer",
            Self::Thermometer => "thermometer",
            Self::PhMeter => "ph-meter",
            Self::Refractometer => "refractometer",
        }
    }

    /// From its code.
    pub fn from_code(code: &str) -> Option<Self> {
        Self::ALL.into_iter().find(|kind| kind.code() == code)
    }

    /// For people.
    pub const fn label(self) -> &'static str {
        match self {
            Self::Hydrometer => "Hydrometer",
            Self::Thermometer => "Thermometer",
            Self::PhMeter => "pH meter",
            Self::Refractometer => "Refractometer",
        }
    }

    /// What it reads.
    pub const fn reads(self) -> ReadingKind {
        match self {
            Self::Hydrometer => ReadingKind::Gravity,
            Self::Thermometer => ReadingKind::Temperature,
            Self::PhMeter => ReadingKind::Ph,
            Self::Refractometer => ReadingKind::Brix,
        }
    }

    /// After so many days a check is old: these two drift (common practice, no source).
    const fn check_after_days(self) -> Option<i64> {
        match self {
            Self::PhMeter => Some(30),
            Self::Refractometer => Some(90),
            Self::Hydrometer | Self::Thermometer => None,
        }
    }
}

/// An instrument of the club.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct Instrument {
    /// What the club calls it.
    pub name: String,
    /// What it measures with.
    pub kind: InstrumentKind,
    /// The temperature that is printed on a hydrometer, °C.
    pub made_for_c: Option<Measured>,
    /// What is added to what it shows.
    pub offset: Measured,
    /// When that was found.
    pub checked_on: Day,
}

/// An offset that can be meant, in the unit of what is read (own choice: more is a broken instrument).
const fn most_off(kind: InstrumentKind) -> (i64, &'static str) {
    match kind {
        InstrumentKind::Hydrometer => (20_000, "0.02"),
        InstrumentKind::Thermometer => (10_000_000, "10 °C"),
        InstrumentKind::PhMeter => (2_000_000, "2"),
        InstrumentKind::Refractometer => (5_000_000, "5 °Brix"),
    }
}

impl Instrument {
    /// Refuses what no instrument is.
    pub fn check(&self) -> Result<(), Refusal> {
        let (most, said) = most_off(self.kind);
        if self.offset.micros().abs() > most {
            let label = self.kind.label().to_lowercase();
            return Err(Refusal::unfit(
                "offset",
                format!(
                    "A {label} that is off by more than {said} is broken; write less, or look at it again"
                ),
            ));
        }
        if let (InstrumentKind::Hydrometer, Some(made_for)) = (self.kind, self.made_for_c) {
            sugar::CALIBRATION_C
                .check(made_for.number())
                .map_err(|range| Refusal::unfit("made_for_c", range))?;
        }
        Ok(())
    }

    /// What is said when its last check is long ago.
    pub fn stale(&self, today: Day) -> Option<String> {
        let (after, ago) = (self.kind.check_after_days()?, (today - self.checked_on).num_days());
        (ago > after).then(|| {
            format!(
                "{} was last checked {ago} days ago, and it drifts: check it before you trust it.",
                self.name
            )
        })
    }

    /// What it showed, with what it is off by put right.
    pub fn right(&self, shown: Measured) -> Measured {
        Measured::from_micros(shown.micros().saturating_add(self.offset.micros()))
    }
}

/// The temperature at which a hydrometer reads true where nobody said otherwise, °C (ISO 649 for drinks).
pub const USUAL_C: f64 = 20.0;

/// What was read, corrected: for what the instrument is off by, and for the temperature of the sample. With it what to
/// know about that.
pub fn corrected(
    kind: ReadingKind,
    shown: Measured,
    sample_c: Option<Measured>,
    instrument: Option<&Instrument>,
) -> Result<(Measured, Option<String>), Refusal> {
    let right = instrument.map_or(shown, |instrument| instrument.right(shown));
    let fit = |value: f64| {
        Measured::from_number(value).ok_or_else(|| Refusal::unfit("value", "This value cannot be corrected"))
    };
    match kind {
        ReadingKind::Gravity => {
            let made_for = instrument.and_then(|found| found.made_for_c).map_or(USUAL_C, Measured::number);
            let Some(sample) = sample_c else {
                let unsaid = (made_for - USUAL_C).abs() > 0.01;
                let warning = unsaid.then(|| {
                    "This hydrometer is made for another temperature than 20 °C: without the temperature of the \
                     sample it is not corrected."
                        .to_owned()
                });
                return Ok((right, warning));
            };
            let found = sugar::hydrometer_at(right.number(), sample.number(), made_for)
                .map_err(|range| Refusal::unfit("sample_temperature_c", range))?;
            Ok((fit(found.value)?, found.warning))
        }
        ReadingKind::Brix => match sample_c {
            Some(sample) => {
                let found = sugar::refractometer_at(right.number(), sample.number())
                    .map_err(|range| Refusal::unfit("sample_temperature_c", range))?;
                Ok((fit(found.value)?, found.warning))
            }
            None => Ok((right, None)),
        },
        _ => Ok((right, None)),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn instrument(kind: InstrumentKind, made_for: Option<&str>, offset: i64) -> Instrument {
        let made_for_c = made_for.map(|text| ReadingKind::Temperature.read(text).unwrap());
        let checked_on = "2026-03-01".parse().unwrap();
        Instrument {
            name: "No 2".to_owned(),
            kind,
            made_for_c,
            offset: Measured::from_micros(offset),
            checked_on,
        }
    }

    fn gravity(shown: &str, sample: Option<&str>, with: Option<&Instrument>) -> f64 {
        let sample = sample.map(|text| ReadingKind::Temperature.read(text).unwrap());
        let shown = ReadingKind::Gravity.read(shown).unwrap();
        corrected(ReadingKind::Gravity, shown, sample, with).unwrap().0.number()
    }

    #[test]
    fn an_offset_is_put_right_before_the_temperature() {
        // C: 1.050 read at 25 °C is 1.05130 (the correction table of NBS C440 agrees).
        assert!((gravity("1.050", Some("25"), None) - 1.0513).abs() < 5e-5);
        let off = instrument(InstrumentKind::Hydrometer, None, 2_000);
        assert!((gravity("1.048", Some("25"), Some(&off)) - 1.0513).abs() < 5e-5);
        assert!((gravity("1.048", None, Some(&off)) - 1.05).abs() < 1e-9);
    }

    #[test]
    fn a_hydrometer_for_15_degrees_reads_a_sample_of_15_degrees_true() {
        // Water at 15 °C reads 1.000 on it, and is water: no sugar at any temperature.
        let old = instrument(InstrumentKind::Hydrometer, Some("15"), 0);
        assert!((gravity("1.000", Some("15"), Some(&old)) - 1.0).abs() < 2e-5);
        let imperial = instrument(InstrumentKind::Hydrometer, Some("15.56"), 0);
        assert!((gravity("1.000", Some("15.56"), Some(&imperial)) - 1.0).abs() < 2e-5);
        // The same sample at 20 °C sinks it further: it shows less than a hydrometer for 20 °C would.
        assert!(gravity("1.000", Some("20"), Some(&old)) > 1.0005);
    }

    #[test]
    fn what_is_broken_is_refused_and_what_drifts_is_said() {
        assert!(instrument(InstrumentKind::Hydrometer, None, 30_000).check().is_err());
        assert!(instrument(InstrumentKind::Hydrometer, Some("4"), 0).check().is_err());
        assert!(instrument(InstrumentKind::Hydrometer, Some("15.56"), 0).check().is_ok());
        let meter = instrument(InstrumentKind::PhMeter, None, -80_000);
        assert_eq!(meter.check(), Ok(()));
        assert!(meter.stale("2026-06-01".parse().unwrap()).unwrap().contains("92 days ago"));
        assert_eq!(meter.stale("2026-03-20".parse().unwrap()), None);
        assert_eq!(
            instrument(InstrumentKind::Thermometer, None, 0).stale("2036-03-20".parse().unwrap()),
            None
        );
    }
}
