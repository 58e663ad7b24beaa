//! Putting liquids together: strengths with their contraction, sugar with its volume, and what mixes
//! in proportion.

use super::range::VOLUME_L;
use super::{OutOfRange, Range, alcohol};

mod sweeten;

pub use sweeten::{
    SugarAddition, Sweetened, dissolve, mix_gravities, sugar_for_final_volume, sugar_for_strength,
    sweeten_finished,
};

/// Volume of one of the parts.
const PART_L: Range = Range::new("volume of a part", "L", 0.0, 1e6);
const CONTENT: Range = Range::new("content of a part", "", 0.0, 1e6);

/// A drink to be blended.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Part {
    /// Volume, L.
    pub volume_l: f64,
    /// Strength, % vol.
    pub vol_percent: f64,
}

/// What a blend comes to.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Blend {
    /// Volume, L, less than the sum of the parts.
    pub volume_l: f64,
    /// Strength, % vol.
    pub vol_percent: f64,
    /// What was lost to contraction, L.
    pub contraction_l: f64,
}

/// Mass in kg of a drink taken as alcohol and water, and the mass fraction of its alcohol.
fn weigh(part: Part) -> Result<(f64, f64), OutOfRange> {
    let p = alcohol::fraction_at(part.vol_percent)?;
    Ok((PART_L.check(part.volume_l)? * alcohol::density(p, 20.0) / 1000.0, p))
}

fn blend_of(mass_kg: f64, p: f64, parts_l: f64) -> Blend {
    let kg_m3 = alcohol::density(p, 20.0);
    let volume_l = 1000.0 * mass_kg / kg_m3;
    let vol_percent = 100.0 * p * kg_m3 / alcohol::ethanol_kg_m3();
    Blend { volume_l, vol_percent, contraction_l: parts_l - volume_l }
}

/// The strength and volume of a blend, by mass, with the contraction of alcohol and water.
/// Source: balance of mass with the densities of OIML R 22. The sugar in the drinks is ignored.
pub fn blend(parts: &[Part]) -> Result<Blend, OutOfRange> {
    let (mut mass_kg, mut alcohol_kg, mut parts_l) = (0.0, 0.0, 0.0);
    for part in parts {
        let (kg, p) = weigh(*part)?;
        mass_kg += kg;
        alcohol_kg += kg * p;
        parts_l += part.volume_l;
    }
    VOLUME_L.within(1e-9, VOLUME_L.allowed.1).check(parts_l)?;
    Ok(blend_of(mass_kg, alcohol_kg / mass_kg, parts_l))
}

/// How much to add to reach a strength.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Addition {
    /// Volume to add, L.
    pub add_l: f64,
    /// What it comes to.
    pub blend: Blend,
}

/// How much of a drink of strength `with_vol_percent` (0 for water) brings `drink` to `target_vol_percent`.
/// By mass and exact, where the square of Pearson ignores contraction. The sugar in the drinks is ignored.
pub fn to_strength(
    drink: Part,
    with_vol_percent: f64,
    target_vol_percent: f64,
) -> Result<Addition, OutOfRange> {
    let target_range = between(drink.vol_percent, with_vol_percent);
    let (drink_kg, has) = weigh(drink)?;
    let with = alcohol::fraction_at(with_vol_percent)?;
    let target = alcohol::fraction_at(target_range.check(target_vol_percent)?)?;
    let missing = target - has;
    let add_kg = if missing == 0.0 { 0.0 } else { drink_kg * missing / (with - target) };
    // What is added never reaches its own strength in the blend: the volume would be infinite.
    let add_l = VOLUME_L
        .check(1000.0 * add_kg / alcohol::density(with, 20.0))
        .map_err(|_| target_range.refuse(target_vol_percent))?;
    Ok(Addition { add_l, blend: blend_of(drink_kg + add_kg, target, drink.volume_l + add_l) })
}

/// The parts of two drinks that make a third by proportion (the square of Pearson): `want - other` parts of
/// the one and `one - want` of the other. Good for acid, sulphite and sugar in g/L; for strength good below
/// 20 % vol only, since it ignores contraction: use [`to_strength`].
pub fn pearson(one: f64, other: f64, want: f64) -> Result<(f64, f64), OutOfRange> {
    CONTENT.check(one)?;
    CONTENT.check(other)?;
    between(one, other).check(want)?;
    Ok(if one - other == 0.0 { (1.0, 1.0) } else { ((want - other).abs(), (one - want).abs()) })
}

fn between(one: f64, other: f64) -> Range {
    Range::new("target", "", one.min(other), one.max(other))
        .advice("A blend lies between its parts: choose a target well between them.")
}

/// The content of a blend of `(volume, content)` by volume: acidity, sulphite, sugar in g/L or mg/L.
pub fn mix(parts: &[(f64, f64)]) -> Result<f64, OutOfRange> {
    let (mut volume, mut sum) = (0.0, 0.0);
    for (part_l, holds) in parts {
        volume += PART_L.check(*part_l)?;
        sum += part_l * CONTENT.check(*holds)?;
    }
    Ok(sum / VOLUME_L.within(1e-9, VOLUME_L.allowed.1).check(volume)?)
}

#[cfg(test)]
mod tests {
    use super::super::checks::near;
    use super::*;

    fn part(volume_l: f64, vol_percent: f64) -> Part {
        Part { volume_l, vol_percent }
    }

    #[test]
    fn alcohol_and_water_contract() {
        // C from OIML R 22; tolerance 0.0005. M: textbooks give about 3.6 % as the most.
        for (alcohol_l, volume_l, vol_percent) in [(0.5, 0.96463, 51.83), (0.12, 0.99074, 12.11)] {
            let got = blend(&[part(alcohol_l, 100.0), part(1.0 - alcohol_l, 0.0)]).unwrap();
            near(got.volume_l, volume_l, 0.000_5);
            near(got.vol_percent, vol_percent, 0.005);
            near(got.contraction_l, 1.0 - volume_l, 0.000_5);
        }
        let most = blend(&[part(0.52, 100.0), part(0.48, 0.0)]).unwrap();
        near(100.0 * most.contraction_l, 3.55, 0.005);
        near(100.0 * most.contraction_l, 3.6, 0.1);
    }

    #[test]
    fn water_brings_a_strength_down() {
        // C; tolerance 0.0005.
        for (from, to, water_l) in [(96.0, 40.0, 1.4705), (40.0, 20.0, 1.0009), (60.0, 40.0, 0.5139)] {
            near(to_strength(part(1.0, from), 0.0, to).unwrap().add_l, water_l, 0.000_5);
        }
        near(to_strength(part(1.0, 96.0), 0.0, 40.0).unwrap().blend.volume_l, 2.400, 0.000_5);
    }

    #[test]
    fn wines_blend_nearly_in_proportion() {
        // C; tolerance 0.0005.
        let exact = blend(&[part(10.0, 14.0), part(5.0, 8.0)]).unwrap();
        near(exact.vol_percent, 11.9989, 0.000_5);
        near(mix(&[(10.0, 14.0), (5.0, 8.0)]).unwrap(), 12.0, 1e-12);
    }

    #[test]
    fn the_square_overshoots_where_alcohol_contracts() {
        // C: 100 L of 10 % to 18 % with 96 %: the square says 8 : 78 and 10.256 L, which gives 18.14 %;
        // exact are 10.069 L.
        let (with, drink) = pearson(96.0, 10.0, 18.0).unwrap();
        near(with, 8.0, 1e-12);
        near(drink, 78.0, 1e-12);
        let by_square_l = 100.0 * with / drink;
        near(by_square_l, 10.256, 0.000_5);
        let really = blend(&[part(100.0, 10.0), part(by_square_l, 96.0)]).unwrap();
        near(really.vol_percent, 18.14, 0.005);
        let exact = to_strength(part(100.0, 10.0), 96.0, 18.0).unwrap();
        near(exact.add_l, 10.069, 0.000_5);
        near(blend(&[part(100.0, 10.0), part(exact.add_l, 96.0)]).unwrap().vol_percent, 18.0, 1e-9);
        near(exact.blend.vol_percent, 18.0, 1e-9);
    }

    #[test]
    fn acid_and_sulphite_mix_by_volume() {
        // C: 10 L of 7.5 g/L and 5 L of 4.5 g/L.
        near(mix(&[(10.0, 7.5), (5.0, 4.5)]).unwrap(), 6.5, 1e-12);
    }

    #[test]
    fn a_blend_lies_between_its_parts() {
        let drink = part(10.0, 12.0);
        assert!(to_strength(drink, 8.0, 13.0).is_err() && to_strength(drink, 8.0, 7.0).is_err());
        assert!(to_strength(drink, 8.0, 8.0).unwrap_err().to_string().contains("between its parts"));
        near(to_strength(drink, 8.0, 12.0).unwrap().add_l, 0.0, 0.0);
        near(to_strength(drink, 12.0, 12.0).unwrap().add_l, 0.0, 0.0);
        assert!(pearson(10.0, 96.0, 9.0).is_err() && pearson(f64::NAN, 96.0, 20.0).is_err());
        assert!(blend(&[]).is_err() && mix(&[(0.0, 5.0)]).is_err() && mix(&[(-1.0, 5.0)]).is_err());
    }
}
