//! What people measure, as they type it: a number with a unit, or a bare number in the unit that stands beside the
//! field. For formulas, not for the books: what is kept is read by [`super::quantity`] and [`super::measure`].

use super::number;
use super::quantity::{BaseUnit, Milli};
use super::{Misread, text};

/// What can be measured.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Dimension {
    /// A plain number.
    Plain,
    /// A volume; every unit of the stores is known, and m³.
    Volume,
    /// A mass; every unit of the stores is known.
    Mass,
    /// A temperature.
    Temperature,
    /// A time.
    Time,
    /// A content by mass in a volume.
    Content,
    /// Alcohol by volume.
    Strength,
    /// A share, in per cent.
    Share,
    /// A pressure.
    Pressure,
    /// A power.
    Power,
    /// A height.
    Height,
    /// A relative density, also written in points ("1045").
    Gravity,
}

/// A unit: its sign, and how many of the base unit of its dimension it holds, from which zero.
type Known = (&'static [&'static str], f64, f64);

impl Dimension {
    /// The units that are understood; the first is the base.
    const fn units(self) -> &'static [Known] {
        match self {
            Self::Plain => &[(&[""], 1.0, 0.0)],
            Self::Volume => &[
                (&["L"], 1.0, 0.0),
                (&["mL"], 1e-3, 0.0),
                (&["m³", "m3", "cubic metre", "cubic metres"], 1e3, 0.0),
            ],
            Self::Mass => &[(&["kg"], 1.0, 0.0), (&["g"], 1e-3, 0.0), (&["mg"], 1e-6, 0.0)],
            Self::Temperature => &[
                (&["°C", "C", "℃", "deg C", "celsius"], 1.0, 0.0),
                (&["°F", "F", "℉", "deg F", "fahrenheit"], 5.0 / 9.0, -160.0 / 9.0),
                (&["K", "kelvin"], 1.0, -273.15),
            ],
            Self::Time => &[
                (&["h", "hour", "hours", "hrs", "hr"], 1.0, 0.0),
                (&["min", "mins", "minute", "minutes"], 1.0 / 60.0, 0.0),
                (&["s", "sec", "second", "seconds"], 1.0 / 3600.0, 0.0),
                (&["days", "d", "day"], 24.0, 0.0),
                (&["weeks", "week", "wk"], 168.0, 0.0),
                (&["months", "month"], 730.485, 0.0),
                (&["years", "year", "yr"], 8765.82, 0.0),
            ],
            Self::Content => &[
                (&["g/L", "kg/m3", "kg/m³", "mg/mL", "‰"], 1.0, 0.0),
                (&["mg/L", "ppm", "mg/l"], 1e-3, 0.0),
                (&["g/100 mL", "g/dL", "% w/v"], 10.0, 0.0),
                (&["oz/gal"], 28.349_523_125 / 3.785_411_784, 0.0),
                (&["g/gal"], 1.0 / 3.785_411_784, 0.0),
            ],
            Self::Strength => &[(&["% vol", "%", "vol", "vol %", "% abv", "abv", "% v/v"], 1.0, 0.0)],
            Self::Share => &[(&["%", "percent", "per cent"], 1.0, 0.0)],
            Self::Pressure => &[
                (&["bar"], 1.0, 0.0),
                (&["kPa"], 0.01, 0.0),
                (&["mbar", "hPa"], 1e-3, 0.0),
                (&["psi"], 0.068_947_572_93, 0.0),
                (&["atm"], 1.013_25, 0.0),
            ],
            Self::Power => &[(&["W", "watt", "watts"], 1.0, 0.0), (&["kW"], 1e3, 0.0)],
            Self::Height => &[
                (&["m", "metre", "metres", "meters"], 1.0, 0.0),
                (&["ft", "feet", "'"], 0.3048, 0.0),
                (&["km"], 1e3, 0.0),
            ],
            Self::Gravity => &[(&["SG", "sg"], 1.0, 0.0)],
        }
    }

    const fn kept_as(self) -> Option<BaseUnit> {
        match self {
            Self::Volume => Some(BaseUnit::Millilitre),
            Self::Mass => Some(BaseUnit::Gram),
            _ => None,
        }
    }

    fn find(self, sign: &str) -> Option<&'static Known> {
        let (sign, lower) =
            (sign.trim().trim_end_matches('.'), text::folded(sign.trim().trim_end_matches('.')));
        let named = |known: &&Known, name: &dyn Fn(&str) -> bool| known.0.iter().any(|one| name(one));
        let units = self.units();
        // "M" is no metre and "G" no gram, but people write "l", "KG" and "Min".
        units.iter().find(|known| named(known, &|one| one == sign)).or_else(|| {
            let close = |one: &str| text::folded(one) == lower;
            units.iter().find(|known| named(known, &close))
        })
    }
}

/// A unit of a dimension, as it stands beside a field: a bare number is meant in it.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Unit {
    /// What it measures.
    pub of: Dimension,
    /// Its sign, one of those the dimension knows; for a plain number whatever stands beside the field.
    pub sign: &'static str,
}

impl Unit {
    /// A unit by its sign.
    pub const fn new(of: Dimension, sign: &'static str) -> Self {
        Self { of, sign }
    }

    /// Read a text as a number of this unit; `example` is shown where it cannot be read.
    pub fn read(self, typed: &str, example: &str) -> Result<f64, Misread> {
        let typed = typed.trim();
        if typed.chars().count() > 60 || typed.chars().any(char::is_control) {
            return Err(Misread::new(format!("Write a short value here, such as {example}")));
        }
        let (amount, sign) = split(typed);
        if self.of == Dimension::Plain {
            let own = sign.is_empty() || text::folded(sign) == text::folded(self.sign);
            return number_of(if own { amount } else { typed }, example);
        }
        if sign.is_empty() {
            let value = number_of(amount, example)?;
            let points = self.of == Dimension::Gravity && (900.0..=1500.0).contains(&value);
            return Ok(if points { value / 1000.0 } else { value });
        }
        if let Some(known) = self.of.find(sign) {
            return Ok(self.in_this_unit(number_of(amount, example)?.mul_add(known.1, known.2)));
        }
        match self.of.kept_as() {
            // "1 lb 4 oz", "½ gal"
            Some(kept) => {
                let kept = Milli::read_zero(typed, kept).map_err(|_| {
                    Misread::new(format!("“{typed}” cannot be read; write it like {example}"))
                })?;
                Ok(self.in_this_unit(kept.base() / 1000.0))
            }
            None => Err(Misread::new(format!("“{sign}” is not a unit known here; write it like {example}"))),
        }
    }

    /// A value in the base unit of the dimension, in this unit.
    fn in_this_unit(self, base: f64) -> f64 {
        self.of.find(self.sign).map_or(base, |known| (base - known.2) / known.1)
    }
}

/// The number at the front, and what stands behind it.
fn split(typed: &str) -> (&str, &str) {
    let is_number = |c: char| c.is_numeric() || c.is_whitespace() || "+-−.,/⁄".contains(c);
    let at = typed.find(|c: char| !is_number(c)).unwrap_or(typed.len());
    let (amount, sign) = typed.split_at(at);
    (amount.trim(), sign.trim())
}

#[allow(
    clippy::cast_precision_loss,
    reason = "at most eighteen digits; a formula needs no more than a float holds"
)]
fn number_of(amount: &str, example: &str) -> Result<f64, Misread> {
    let fraction = number::read(amount, example)?;
    Ok(fraction.top as f64 / fraction.bottom as f64)
}

/// A sugar content on whichever scale it was read.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Sugar {
    /// Gravity, SG 20/20.
    Gravity(f64),
    /// Mass per cent of sucrose.
    Brix(f64),
    /// Grams of sucrose a litre.
    Content(f64),
}

/// Read a sugar content: "1.050", "1050", "12.4 °Bx", "12.4 °P", "130 g/L". A bare number is a gravity.
pub fn read_sugar(typed: &str) -> Result<Sugar, Misread> {
    const EXAMPLE: &str = "1.050, 12.4 °Bx, or 130 g/L";
    let (amount, sign) = split(typed.trim());
    if typed.chars().count() > 60 {
        return Err(Misread::new(format!("Write a short value here, such as {EXAMPLE}")));
    }
    let value = number_of(amount, EXAMPLE)?;
    match text::folded(sign).trim_start_matches('°').trim() {
        "" if (900.0..=1500.0).contains(&value) => Ok(Sugar::Gravity(value / 1000.0)),
        "" if (0.9..=1.5).contains(&value) => Ok(Sugar::Gravity(value)),
        "" => {
            Err(Misread::new(format!("“{amount}” may be °Bx or g/L: write it with its unit, like {EXAMPLE}")))
        }
        "sg" if value > 900.0 => Ok(Sugar::Gravity(value / 1000.0)),
        "sg" => Ok(Sugar::Gravity(value)),
        "bx" | "brix" | "p" | "plato" | "balling" | "%" => Ok(Sugar::Brix(value)),
        _ => match Dimension::Content.find(sign) {
            Some(known) => Ok(Sugar::Content(value * known.1)),
            None => Err(Misread::new(format!("“{sign}” is not a unit known here; write it like {EXAMPLE}"))),
        },
    }
}

/// An amount by volume or by mass, whichever it was measured in.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Amount {
    /// Litres.
    Litres(f64),
    /// Kilograms.
    Kilograms(f64),
}

/// Read an amount: "60 L", "20 kg", "4 gal", "12 lb 8 oz".
pub fn read_amount(typed: &str) -> Result<Amount, Misread> {
    const EXAMPLE: &str = "60 L, or 20 kg";
    if split(typed.trim()).1.is_empty() {
        number_of(split(typed.trim()).0, EXAMPLE)?;
        return Err(Misread::new(format!("“{}” has no unit; write it like {EXAMPLE}", typed.trim())));
    }
    let by = |of: Dimension, sign: &'static str| Unit::new(of, sign).read(typed, EXAMPLE);
    by(Dimension::Volume, "L")
        .map(Amount::Litres)
        .or_else(|_| by(Dimension::Mass, "kg").map(Amount::Kilograms))
}

#[cfg(test)]
mod tests {
    use super::*;

    fn read(of: Dimension, sign: &'static str, typed: &str) -> f64 {
        Unit::new(of, sign).read(typed, "1").unwrap_or_else(|why| panic!("{typed}: {why}"))
    }

    #[track_caller]
    fn near(found: f64, wanted: f64) {
        assert!((found - wanted).abs() < 1e-9 * wanted.abs().max(1.0), "{found} is not {wanted}");
    }

    /// Factors: NIST SP 811, appendix B. Customary units of volume and mass are kept to a microlitre and a milligram.
    #[test]
    fn a_value_is_read_in_the_unit_beside_the_field_or_in_its_own() {
        near(read(Dimension::Volume, "L", "60"), 60.0);
        near(read(Dimension::Volume, "L", "60 L"), 60.0);
        near(read(Dimension::Volume, "L", "60 l"), 60.0);
        near(read(Dimension::Volume, "mL", "75 cl"), 750.0);
        near(read(Dimension::Volume, "L", "1 gal"), 3.785_412);
        near(read(Dimension::Volume, "L", "0,5 m³"), 500.0);
        near(read(Dimension::Mass, "kg", "1 lb 4 oz"), 0.566_990);
        near(read(Dimension::Temperature, "°C", "68 °F"), 20.0);
        near(read(Dimension::Temperature, "°C", "-4 F"), -20.0);
        near(read(Dimension::Temperature, "°C", "18,5°C"), 18.5);
        near(read(Dimension::Temperature, "°C", "293.15 K"), 20.0);
        near(read(Dimension::Time, "min", "2 h"), 120.0);
        near(read(Dimension::Time, "days", "3 weeks"), 21.0);
        near(read(Dimension::Content, "mg/L", "0.8"), 0.8);
        near(read(Dimension::Content, "mg/L", "0.05 g/L"), 50.0);
        near(read(Dimension::Strength, "% vol", "11 %"), 11.0);
        near(read(Dimension::Pressure, "bar", "29 psi"), 1.999_479_614_97);
        near(read(Dimension::Power, "W", "1.5 kW"), 1500.0);
        near(read(Dimension::Height, "m", "1000 ft"), 304.8);
        near(read(Dimension::Gravity, "SG", "1045"), 1.045);
        near(read(Dimension::Gravity, "SG", "1,0450 SG"), 1.045);
        near(read(Dimension::Plain, "pH", "3.4 pH"), 3.4);
        near(read(Dimension::Plain, "IMCU/mL", "145"), 145.0);
    }

    #[test]
    fn a_unit_of_another_kind_is_refused_with_an_example() {
        for (of, sign, typed) in [
            (Dimension::Volume, "L", "60 kg"),
            (Dimension::Volume, "L", "lots"),
            (Dimension::Temperature, "°C", "20 bar"),
            (Dimension::Time, "h", ""),
            (Dimension::Plain, "pH", "3.4 L"),
            (Dimension::Gravity, "SG", "1.045\u{0}"),
            (Dimension::Share, "%", "1e9"),
        ] {
            let said = Unit::new(of, sign).read(typed, "some example").unwrap_err().to_string();
            assert!(said.contains("some example"), "{typed}: {said}");
        }
    }

    #[test]
    fn an_amount_is_by_volume_or_by_mass() {
        assert_eq!(read_amount("60 L"), Ok(Amount::Litres(60.0)));
        assert_eq!(read_amount("20 kg"), Ok(Amount::Kilograms(20.0)));
        assert!(read_amount("60").unwrap_err().to_string().contains("has no unit"));
        assert!(read_amount("a lot").is_err() && read_amount("").is_err());
    }

    #[test]
    fn a_sugar_is_read_on_the_scale_it_is_written_in() {
        for (typed, sugar) in [
            ("1.050", Sugar::Gravity(1.05)),
            ("1050", Sugar::Gravity(1.05)),
            ("1,050 SG", Sugar::Gravity(1.05)),
            ("12.4 °Bx", Sugar::Brix(12.4)),
            ("12,4 Brix", Sugar::Brix(12.4)),
            ("12.4 °P", Sugar::Brix(12.4)),
            ("-1.3 Bx", Sugar::Brix(-1.3)),
            ("130 g/L", Sugar::Content(130.0)),
        ] {
            assert_eq!(read_sugar(typed), Ok(sugar), "{typed}");
        }
        assert!(read_sugar("12.4").unwrap_err().to_string().contains("may be °Bx or g/L"));
        assert!(read_sugar("12 kg").unwrap_err().to_string().contains("not a unit"));
    }
}
