//! How a quantity is found: counted in crates and single pieces, or weighed with its vessel.

use crate::domain::refusal::Refusal;
use crate::units::Misread;
use crate::units::quantity::{BaseUnit, Milli};

/// What is typed of a sum at most, in characters, and of how many parts.
const LONGEST: usize = 120;
const MOST_PARTS: usize = 20;
/// The signs with which people multiply.
const TIMES: [char; 4] = ['×', 'x', 'X', '*'];

/// Reads what stands there as people count it: `41`, `3 × 12 + 5`, `2 x 25 kg + 3.4 kg`. Nothing there is 0.
pub fn read_sum(text: &str, unit: BaseUnit) -> Result<Milli, Misread> {
    let text = text.trim();
    if text.chars().count() > LONGEST || text.matches('+').count() >= MOST_PARTS {
        return Err(Misread::new("Write a shorter sum, such as 3 × 12 + 5"));
    }
    // "0" without a unit says all that is to be said.
    if text.chars().all(|c| c == '0') && !text.is_empty() {
        return Ok(Milli::ZERO);
    }
    let mut sum = Milli::ZERO;
    for part in text.split('+') {
        sum = sum + read_part(part, unit)?;
    }
    // Every part fits by itself; together they may not.
    if sum.get() > 10_000_000_000_000 {
        return Err(Misread::new("This is more than can be kept here; look at the unit again"));
    }
    Ok(sum)
}

fn read_part(part: &str, unit: BaseUnit) -> Result<Milli, Misread> {
    let Some((times, each)) = part.split_once(TIMES) else { return Milli::read_zero(part, unit) };
    let times: i64 = times
        .trim()
        .parse()
        .ok()
        .filter(|times| (0..=100_000).contains(times))
        .ok_or_else(|| Misread::new("Write how many times as a whole number, such as 3 × 12 + 5"))?;
    let each = Milli::read_zero(each, unit)?;
    each.get()
        .checked_mul(times)
        .map(Milli::new)
        .ok_or_else(|| Misread::new("This is more than can be kept here; look at the unit again"))
}

/// What is left when the vessel is taken off what was weighed, in the item's own unit.
pub fn net(gross: Milli, tare: Milli, unit: BaseUnit, density_micro: Option<i64>) -> Result<Milli, Refusal> {
    if tare > gross {
        return Err(Refusal::unfit(
            "tare",
            "The empty vessel cannot weigh more than the full one; look at both again",
        ));
    }
    let grams = gross - tare;
    match (unit, density_micro) {
        (BaseUnit::Gram, _) => Ok(grams),
        (BaseUnit::Millilitre, Some(density)) if density > 0 => {
            let volume = i128::from(grams.get()) * 1_000_000 / i128::from(density);
            i64::try_from(volume).map(Milli::new).map_err(|_| {
                Refusal::unfit("gross", "This is more than can be kept here; look at the unit again")
            })
        }
        (BaseUnit::Millilitre, _) => Err(Refusal::unfit(
            "gross",
            "This is kept by volume and its density is not known: write how much it is, such as 24 L",
        )),
        (BaseUnit::Piece, _) => {
            Err(Refusal::unfit("gross", "This is kept by the piece: write how many, such as 42"))
        }
    }
}

/// Reads how much of something unknown was found: `3`, `2.5 kg`, `4 L`.
pub fn read_any(text: &str) -> Result<(Milli, BaseUnit), Misread> {
    let tried =
        [BaseUnit::Piece, BaseUnit::Gram, BaseUnit::Millilitre].map(|unit| (read_sum(text, unit), unit));
    tried
        .into_iter()
        .find_map(|(read, unit)| read.ok().map(|quantity| (quantity, unit)))
        .ok_or_else(|| Misread::new("Write how much it is: 3, 2.5 kg or 4 L"))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn sums_are_read_as_people_count() {
        for (text, unit, thousandths) in [
            ("41", BaseUnit::Piece, 41_000),
            ("3 × 12 + 5", BaseUnit::Piece, 41_000),
            ("3x12+5", BaseUnit::Piece, 41_000),
            ("2 x 25 kg + 3.4 kg", BaseUnit::Gram, 53_400_000),
            ("2*5 L + 1 L 250 mL", BaseUnit::Millilitre, 11_250_000),
            ("0", BaseUnit::Gram, 0),
            ("0 kg", BaseUnit::Gram, 0),
        ] {
            assert_eq!(read_sum(text, unit), Ok(Milli::new(thousandths)), "{text}");
        }
        for (text, unit, says) in [
            ("", BaseUnit::Piece, "Write how many"),
            ("3 ×", BaseUnit::Piece, "Write how many"),
            ("½ × 12", BaseUnit::Piece, "whole number"),
            ("3 × 12 +", BaseUnit::Piece, "Write how many"),
            ("100000 × 9000000 t", BaseUnit::Gram, "more than can be kept"),
            ("-3", BaseUnit::Piece, "not below zero"),
            ("12", BaseUnit::Gram, "no unit"),
            (&"1+".repeat(40), BaseUnit::Piece, "shorter"),
        ] {
            let said = read_sum(text, unit).unwrap_err().to_string();
            assert!(said.contains(says), "{text}: {said}");
        }
    }

    /// 12.4 kg on the scale, the bucket 0.9 kg; honey of 1.42 g/mL: 11 500 / 1.42 = 8098.59 mL (by hand).
    #[test]
    fn what_is_weighed_loses_its_vessel() {
        let (gross, tare) = (Milli::new(12_400_000), Milli::new(900_000));
        assert_eq!(net(gross, tare, BaseUnit::Gram, None), Ok(Milli::new(11_500_000)));
        assert_eq!(net(gross, tare, BaseUnit::Millilitre, Some(1_420_000)), Ok(Milli::new(8_098_591)));
        assert!(net(gross, tare, BaseUnit::Millilitre, None).unwrap_err().to_string().contains("density"));
        assert!(net(gross, tare, BaseUnit::Piece, None).unwrap_err().to_string().contains("by the piece"));
        assert!(net(tare, gross, BaseUnit::Gram, None).unwrap_err().to_string().contains("empty vessel"));
    }

    #[test]
    fn what_is_not_known_is_read_by_its_unit() {
        assert_eq!(read_any("3"), Ok((Milli::new(3000), BaseUnit::Piece)));
        assert_eq!(read_any("2.5 kg"), Ok((Milli::new(2_500_000), BaseUnit::Gram)));
        assert_eq!(read_any("4 L"), Ok((Milli::new(4_000_000), BaseUnit::Millilitre)));
        assert!(read_any("some").is_err());
    }
}
