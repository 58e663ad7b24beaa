//! Quantities of an item, in whole thousandths of its base unit (g, mL or piece), and the units people type.
//!
//! Factors of the customary units are exact (NIST SP 811 appendix B, Handbook 44 appendix C); a plain "gal",
//! "pt", "qt" or "fl oz" is the US one, the imperial ones are written "imp gal", "imp pt", "imp fl oz".

use std::fmt;

use serde::{Deserialize, Serialize};

use super::number::{self, Fraction};
use super::{Misread, text};

/// What an item is counted in.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Serialize, Deserialize)]
pub enum BaseUnit {
    /// By mass.
    #[serde(rename = "g")]
    Gram,
    /// By volume.
    #[serde(rename = "mL")]
    Millilitre,
    /// By the piece.
    #[serde(rename = "piece")]
    Piece,
}

impl BaseUnit {
    /// All of them, in the order of a form.
    pub const ALL: [BaseUnit; 3] = [Self::Gram, Self::Millilitre, Self::Piece];

    /// The sign used in exports and in the database.
    pub const fn sign(self) -> &'static str {
        match self {
            Self::Gram => "g",
            Self::Millilitre => "mL",
            Self::Piece => "piece",
        }
    }

    /// From its sign.
    pub fn from_sign(sign: &str) -> Option<Self> {
        Self::ALL.into_iter().find(|unit| unit.sign() == sign)
    }

    /// The larger unit in which prices are said: kg, L, piece; and how many base units it holds.
    pub const fn priced(self) -> (&'static str, i64) {
        match self {
            Self::Gram => ("kg", 1000),
            Self::Millilitre => ("L", 1000),
            Self::Piece => ("piece", 1),
        }
    }

    const fn example(self) -> &'static str {
        match self {
            Self::Gram => "2.5 kg or 1 lb 4 oz",
            Self::Millilitre => "24 L or ½ gal",
            Self::Piece => "42",
        }
    }
}

impl fmt::Display for BaseUnit {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(self.sign())
    }
}

/// Thousandths of a base unit; may be negative where it is a change.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq, Hash, PartialOrd, Ord, Serialize, Deserialize)]
#[serde(transparent)]
pub struct Milli(pub(crate) i64);

/// No quantity is larger: 10 000 t, 10 000 m³, ten thousand million pieces.
const MOST: i64 = 10_000_000_000_000;

impl Milli {
    /// Nothing.
    pub const ZERO: Milli = Milli(0);

    /// From thousandths of the base unit.
    pub const fn new(thousandths: i64) -> Self {
        Self(thousandths)
    }

    /// In thousandths of the base unit.
    pub const fn get(self) -> i64 {
        self.0
    }

    /// In base units, for formulas and pictures.
    #[allow(clippy::cast_precision_loss, reason = "quantities are far below 2^52 thousandths")]
    pub fn base(self) -> f64 {
        self.0 as f64 / 1000.0
    }

    /// From a computed number of base units, to the nearest thousandth; `None` if it is not finite or too large.
    #[allow(clippy::cast_possible_truncation, reason = "the range is checked first")]
    pub fn from_base(base: f64) -> Option<Self> {
        let thousandths = (base * 1000.0).round();
        (thousandths.is_finite() && thousandths.abs() <= 1e13).then_some(Self(thousandths as i64))
    }

    /// By how much it is more than another; nothing where it is not.
    #[must_use]
    pub fn above(self, other: Self) -> Self {
        (self - other).max(Self::ZERO)
    }

    /// The other sign.
    #[must_use]
    pub const fn negated(self) -> Self {
        Self(-self.0)
    }

    /// Read an amount above zero of something kept in `unit`. A bare number is taken in pieces only.
    pub fn read(text: &str, unit: BaseUnit) -> Result<Self, Misread> {
        let quantity = Self::read_zero(text, unit)?;
        if quantity.0 == 0 {
            return Err(Misread::new(format!("Write an amount above zero, such as {}", unit.example())));
        }
        Ok(quantity)
    }

    /// The same, where it may be counted in packs: "6 × 1 kg" is 6 kg.
    pub fn read_packs(text: &str, unit: BaseUnit) -> Result<Self, Misread> {
        let Some((count, each)) = text.split_once(['×', 'x', 'X', '*']) else {
            return Self::read(text, unit);
        };
        let count = count.trim().parse::<i64>().ok().filter(|count| (1..=10_000).contains(count));
        let count = count.ok_or_else(|| {
            let example = unit.example();
            Misread::new(format!("Write how many packs and what is in each, such as 6 × {example}"))
        })?;
        let all = Self::read(each, unit)?.0.checked_mul(count).filter(|all| *all <= MOST);
        all.map(Self)
            .ok_or_else(|| Misread::new("This is more than can be kept here; look at the packs again"))
    }

    /// The same, where zero is meant too: what was counted, what is left.
    pub fn read_zero(text: &str, unit: BaseUnit) -> Result<Self, Misread> {
        let sum = parts(text, unit)?
            .into_iter()
            .try_fold(0_i64, i64::checked_add)
            .filter(|sum| *sum <= MOST)
            .ok_or_else(|| Misread::new("This is more than can be kept here; look at the unit again"))?;
        if sum < 0 {
            return Err(Misread::new(format!(
                "Write an amount that is not below zero, such as {}",
                unit.example()
            )));
        }
        Ok(Self(sum))
    }

    /// For people: "2.5 kg", "340 mL", "42 pieces".
    pub fn shown(self, unit: BaseUnit) -> String {
        let size = self.0.unsigned_abs();
        let sign = if self.0 < 0 { "−" } else { "" };
        let size = i64::try_from(size).unwrap_or(i64::MAX);
        match unit {
            BaseUnit::Piece if size == 1000 => format!("{sign}1 piece"),
            BaseUnit::Piece => format!("{sign}{} pieces", number::plain(size, 3)),
            BaseUnit::Gram if size >= 1_000_000 => format!("{sign}{} kg", large(size)),
            BaseUnit::Gram => format!("{sign}{} g", number::plain(size, 3)),
            BaseUnit::Millilitre if size >= 1_000_000 => format!("{sign}{} L", large(size)),
            BaseUnit::Millilitre => format!("{sign}{} mL", number::plain(size, 3)),
        }
    }

    /// For machines: the decimal number of base units.
    pub fn plain(self) -> String {
        number::plain(self.0, 3)
    }

    /// Litres of a volume with one place, for a sentence.
    pub fn litres(self) -> String {
        number::fixed(self.0, 6, 1)
    }
}

/// Kilograms or litres with what is needed of three places, at least one.
fn large(thousandths: i64) -> String {
    let text = number::plain((thousandths + 500) / 1000, 3);
    if text.contains('.') { text } else { format!("{text}.0") }
}

impl std::ops::Add for Milli {
    type Output = Milli;
    fn add(self, other: Milli) -> Milli {
        Milli(self.0.saturating_add(other.0))
    }
}

impl std::ops::Sub for Milli {
    type Output = Milli;
    fn sub(self, other: Milli) -> Milli {
        Milli(self.0.saturating_sub(other.0))
    }
}

impl std::iter::Sum for Milli {
    fn sum<I: Iterator<Item = Milli>>(items: I) -> Milli {
        items.fold(Milli::ZERO, |sum, item| sum + item)
    }
}

/// Name, what it measures, and how many thousandths of the base unit it holds, as an exact fraction.
type Known = (&'static [&'static str], BaseUnit, i128, i128);

const UNITS: &[Known] = &[
    (&["mg"], BaseUnit::Gram, 1, 1),
    (&["g", "gram", "grams", "gramme", "grammes"], BaseUnit::Gram, 1_000, 1),
    (&["kg", "kilo", "kilos", "kilogram", "kilograms"], BaseUnit::Gram, 1_000_000, 1),
    (&["t"], BaseUnit::Gram, 1_000_000_000, 1),
    (&["lb", "lbs", "pound", "pounds"], BaseUnit::Gram, 45_359_237, 100),
    (&["oz", "ounce", "ounces"], BaseUnit::Gram, 28_349_523_125, 1_000_000),
    (&["ul", "µl", "μl"], BaseUnit::Millilitre, 1, 1),
    (&["ml", "millilitre", "millilitres", "milliliter", "milliliters"], BaseUnit::Millilitre, 1_000, 1),
    (&["cl"], BaseUnit::Millilitre, 10_000, 1),
    (&["dl"], BaseUnit::Millilitre, 100_000, 1),
    (&["l", "litre", "litres", "liter", "liters"], BaseUnit::Millilitre, 1_000_000, 1),
    (&["hl"], BaseUnit::Millilitre, 100_000_000, 1),
    (&["gal", "us gal", "gallon", "gallons"], BaseUnit::Millilitre, 3_785_411_784, 1_000),
    (&["qt", "us qt", "quart", "quarts"], BaseUnit::Millilitre, 946_352_946, 1_000),
    (&["pt", "us pt", "pint", "pints"], BaseUnit::Millilitre, 473_176_473, 1_000),
    (&["cup", "cups", "us cup"], BaseUnit::Millilitre, 2_365_882_365, 10_000),
    (&["fl oz", "us fl oz", "floz"], BaseUnit::Millilitre, 295_735_295_625, 10_000_000),
    (&["tbsp"], BaseUnit::Millilitre, 1_478_676_478_125, 100_000_000),
    (&["tsp"], BaseUnit::Millilitre, 492_892_159_375, 100_000_000),
    (&["imp gal"], BaseUnit::Millilitre, 4_546_090, 1),
    (&["imp pt"], BaseUnit::Millilitre, 56_826_125, 100),
    (&["imp fl oz"], BaseUnit::Millilitre, 284_130_625, 10_000),
    (&["piece", "pieces", "pc", "pcs", "bottle", "bottles"], BaseUnit::Piece, 1_000, 1),
];

/// Split "1 lb 4 oz" into number and unit pairs and convert each to thousandths.
fn parts(text: &str, unit: BaseUnit) -> Result<Vec<i64>, Misread> {
    let shown: String = text.trim().chars().filter(|c| !c.is_control()).take(24).collect();
    let help = || format!("with a unit: {}", unit.example());
    if shown.is_empty() {
        return Err(Misread::new(match unit {
            BaseUnit::Piece => "Write how many, such as 42".to_owned(),
            _ => format!("Write how much, {}", help()),
        }));
    }
    if text.chars().count() > 60 || text.chars().any(char::is_control) {
        return Err(Misread::new(format!("“{shown}” cannot be read; write how much, {}", help())));
    }
    let mut found = Vec::new();
    let mut rest = text.trim();
    while !rest.is_empty() {
        let at = rest.find(|c: char| c.is_alphabetic() && c != '⁄').unwrap_or(rest.len());
        let (amount, after) = rest.split_at(at);
        let end =
            after.find(|c: char| c.is_numeric() || "½⅓⅔¼¾⅕⅛⅜⅝⅞+-−.,".contains(c)).unwrap_or(after.len());
        let (name, next) = after.split_at(end);
        let number = number::read(amount, unit.example())?;
        found.push(to_thousandths(number, name.trim(), unit, &shown)?);
        rest = next.trim_start();
    }
    if unit == BaseUnit::Piece && found.iter().any(|thousandths| thousandths % 1000 != 0) {
        return Err(Misread::new("Write a whole number of pieces, such as 42"));
    }
    Ok(found)
}

fn to_thousandths(amount: Fraction, name: &str, unit: BaseUnit, shown: &str) -> Result<i64, Misread> {
    let name = text::folded(name.trim_end_matches('.'));
    let known = if name.is_empty() && unit == BaseUnit::Piece {
        UNITS.iter().find(|known| known.1 == BaseUnit::Piece)
    } else {
        UNITS.iter().find(|known| known.0.contains(&name.as_str()))
    };
    let Some((_, dimension, top, bottom)) = known else {
        return Err(Misread::new(if name.is_empty() {
            format!("“{shown}” has no unit; write it with one: {}", unit.example())
        } else {
            format!("“{name}” is not a unit known here; write it like {}", unit.example())
        }));
    };
    if *dimension != unit {
        let kept = match unit {
            BaseUnit::Gram => "by mass",
            BaseUnit::Millilitre => "by volume",
            BaseUnit::Piece => "by the piece",
        };
        return Err(Misread::new(format!("This is kept {kept}; write it like {}", unit.example())));
    }
    amount
        .times(Fraction { top: *top, bottom: *bottom })
        .and_then(|whole| i64::try_from(whole).ok())
        .ok_or_else(|| Misread::new("This is more than can be kept here; look at the unit again"))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn amounts_are_read_with_the_units_people_type() {
        for (text, unit, thousandths) in [
            ("2.5 kg", BaseUnit::Gram, 2_500_000),
            ("2,5kg", BaseUnit::Gram, 2_500_000),
            ("1 lb 4 oz", BaseUnit::Gram, 566_990), // 453.59237 + 4 × 28.349523125 g
            ("½ gal", BaseUnit::Millilitre, 1_892_706),
            ("1 imp gal", BaseUnit::Millilitre, 4_546_090),
            ("1 imp pt", BaseUnit::Millilitre, 568_261),
            ("75 cl", BaseUnit::Millilitre, 750_000),
            ("24 L", BaseUnit::Millilitre, 24_000_000),
            ("1 ½ l", BaseUnit::Millilitre, 1_500_000),
            ("42", BaseUnit::Piece, 42_000),
            ("42 bottles", BaseUnit::Piece, 42_000),
        ] {
            assert_eq!(Milli::read(text, unit), Ok(Milli(thousandths)), "{text}");
        }
    }

    #[test]
    fn packs_are_multiplied_and_what_is_no_number_of_packs_is_refused() {
        let packs = |text| Milli::read_packs(text, BaseUnit::Gram);
        for text in ["6 × 1 kg", "6x1kg", "6 X 1000 g", "6 * 1 kg", "6 kg"] {
            assert_eq!(packs(text), Ok(Milli(6_000_000)), "{text}");
        }
        assert_eq!(Milli::read_packs("12 × 25", BaseUnit::Piece), Ok(Milli(300_000)));
        for (text, says) in [
            ("six × 1 kg", "such as 6 ×"),
            ("0 × 1 kg", "such as 6 ×"),
            ("-2 × 1 kg", "such as 6 ×"),
            ("1.5 × 1 kg", "such as 6 ×"),
            ("6 × 0 kg", "above zero"),
            ("6 × kg", "such as"),
            ("10000 × 9000000 kg", "more than can be kept"),
            ("6 × 2 × 1 kg", ""),
        ] {
            let error = packs(text).expect_err(text).to_string();
            assert!(error.contains(says), "{text}: {error}");
        }
    }

    #[test]
    fn what_cannot_be_meant_is_refused_in_words_that_help() {
        for (text, unit, says) in [
            ("24 cans", BaseUnit::Millilitre, "“cans” is not a unit"),
            ("24", BaseUnit::Millilitre, "has no unit"),
            ("2 kg", BaseUnit::Millilitre, "kept by volume"),
            ("0 kg", BaseUnit::Gram, "above zero"),
            ("-2 kg", BaseUnit::Gram, "not below zero"),
            ("1.5", BaseUnit::Piece, "whole number"),
            ("", BaseUnit::Piece, "Write how many"),
            ("999999999999 t", BaseUnit::Gram, "more than can be kept"),
            ("kg", BaseUnit::Gram, "Write a number"),
            ("2 kg\0", BaseUnit::Gram, "cannot be read"),
        ] {
            let said = Milli::read(text, unit).unwrap_err().to_string();
            assert!(said.contains(says), "{text}: {said}");
        }
    }

    #[test]
    fn amounts_are_shown_in_the_unit_that_fits() {
        assert_eq!(Milli(2_500_000).shown(BaseUnit::Gram), "2.5 kg");
        assert_eq!(Milli(24_000_000).shown(BaseUnit::Millilitre), "24.0 L");
        assert_eq!(Milli(12_000).shown(BaseUnit::Millilitre), "12 mL");
        assert_eq!(Milli(1000).shown(BaseUnit::Piece), "1 piece");
        assert_eq!(Milli(-42_000).shown(BaseUnit::Piece), "−42 pieces");
    }
}
