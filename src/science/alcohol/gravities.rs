//! Strength from two gravities: the sugar that went (Balling) and the lightness that alcohol brings
//! (Tabarie), solved together so that no factor of folk use is needed.

use super::super::{root, sugar};
use super::{Guide, OutOfRange, Range, density, ethanol_kg_m3, fraction_at};

/// Gravity of the must before yeast.
pub const ORIGINAL_GRAVITY: Range = Range::new("original gravity", "SG", 1.0, 1.17);
/// Gravity of the drink now; never above the original gravity.
pub const FINAL_GRAVITY: Range = Range::new("final gravity", "SG", 0.980, 1.10)
    .advice("Check both readings, and that each was corrected for temperature.");
/// The gravity of a drink and its strength, for its extract.
const DRINK_GRAVITY: Range = Range::new("gravity of the drink", "SG", 0.980, 1.17);

/// Half-width in % vol of what a strength from gravities can be off by: the yeast's yield varies
/// (common practice, no source).
pub const GRAVITY_METHOD_VOL_PERCENT: f64 = 0.3;

/// Grams of extract that give a gram of ethanol (Balling; a university course's formula sheet; history
/// in Kvasny Prumysl 61 (2015) 120-128).
const EXTRACT_PER_ETHANOL: f64 = 2.0665;
/// Grams of carbon dioxide per gram of ethanol (Balling).
const CO2_PER_ETHANOL: f64 = 0.9565;
/// What the drink has lost, in grams per gram of ethanol: carbon dioxide and yeast (Balling).
const LOST_PER_ETHANOL: f64 = 1.0665;

/// What two gravities say about a drink.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Strength {
    /// Alcohol, % vol at 20 °C, to about ±[`GRAVITY_METHOD_VOL_PERCENT`].
    pub vol_percent: f64,
    /// Alcohol, % mass.
    pub mass_percent: f64,
    /// Extract of the must, % mass.
    pub original_extract_percent: f64,
    /// Extract of the drink as the gravity shows it, % mass; alcohol makes it too low.
    pub apparent_extract_percent: f64,
    /// Extract that is really left in the drink, % mass.
    pub real_extract_percent: f64,
    /// Extract that is really left in the drink, g/L.
    pub real_extract_g_l: f64,
    /// Carbon dioxide given off, grams per kilogram of must.
    pub co2_g_per_kg_must: f64,
    /// Carbon dioxide given off, grams per litre of must.
    pub co2_g_per_l_must: f64,
}

impl Strength {
    /// The share of the extract that seems gone, 0 to 1 and a little over; 0 where there was none.
    pub fn apparent_attenuation(&self) -> f64 {
        share_gone(self.original_extract_percent, self.apparent_extract_percent)
    }

    /// The share of the extract that is really gone.
    pub fn real_attenuation(&self) -> f64 {
        share_gone(self.original_extract_percent, self.real_extract_percent)
    }
}

fn share_gone(before: f64, after: f64) -> f64 {
    if before > 0.0 { (before - after) / before } else { 0.0 }
}

/// Strength and extract from the original and the final gravity (SG 20/20, corrected for temperature).
///
/// Sources: Balling's balance (OE = 100 (2.0665 A + RE)/(100 + 1.0665 A)) with Tabarie's rule
/// (the gravity less that of the alcohol is that of the extract), solved for A; densities of OIML R 22
/// and ICUMSA SPS-4. True to about ±0.3 % vol (common practice). Not a strength for the law.
pub fn strength_from_gravities(og: f64, fg: f64) -> Result<Guide<Strength>, OutOfRange> {
    ORIGINAL_GRAVITY.check(og)?;
    let highest = FINAL_GRAVITY.allowed.1.min(og);
    solve(og, FINAL_GRAVITY.within(FINAL_GRAVITY.allowed.0, highest), fg)
}

/// Grams of carbon dioxide given off per litre of must when the gravity has come down from `og` to
/// `sg_now`, by Balling's balance (0.9565 g a gram of ethanol, 2.0665 g of extract).
pub fn co2_from_gravities_g_l(og: f64, sg_now: f64) -> Result<Guide<f64>, OutOfRange> {
    ORIGINAL_GRAVITY.check(og)?;
    let now = FINAL_GRAVITY.within(FINAL_GRAVITY.allowed.0, og);
    Ok(solve(og, now, sg_now)?.map(|strength| strength.co2_g_per_l_must))
}

/// % vol by Balling's attenuation quotient q = 0.22 + 0.001 OE (from memory): the older way, within
/// about 0.1 % vol of [`strength_from_gravities`], kept as a second opinion.
pub fn balling_vol_percent(og: f64, fg: f64) -> Result<f64, OutOfRange> {
    ORIGINAL_GRAVITY.check(og)?;
    let highest = FINAL_GRAVITY.allowed.1.min(og);
    FINAL_GRAVITY.within(FINAL_GRAVITY.allowed.0, highest).check(fg)?;
    let original = 100.0 * sugar::fraction_at(og)?;
    let apparent = 100.0 * sugar::fraction_at(fg)?;
    let quotient = 0.22 + 0.001 * original;
    let real = (quotient * original + apparent) / (1.0 + quotient);
    let mass_percent = (original - real) / (EXTRACT_PER_ETHANOL - 0.010_665 * original);
    Ok(mass_percent * vol_per_mass_percent(fg))
}

/// Grams of extract per litre of a drink of known gravity and strength.
/// Source: Tabarie's rule, the OIV's method for total dry extract (from memory).
pub fn tabarie_extract_g_l(sg: f64, vol_percent: f64) -> Result<f64, OutOfRange> {
    let alcohol = density(fraction_at(vol_percent)?, 20.0) / density(0.0, 20.0);
    let extract_gravity = DRINK_GRAVITY.check(sg)? - alcohol + 1.0;
    Ok(sugar::fraction_at(extract_gravity)? * extract_gravity * sugar::WATER_20_KG_M3)
}

fn solve(og: f64, final_gravity: Range, fg: f64) -> Result<Guide<Strength>, OutOfRange> {
    final_gravity.check(fg)?;
    let original = 100.0 * sugar::fraction_at(og)?.max(0.0);
    let most = (0.556 * original).min(20.0);
    let share_of = |sg: f64| fraction_at(most * vol_per_mass_percent(sg)).unwrap_or(f64::NAN);
    let share =
        if fg >= og { Ok(0.0) } else { root::find(0.0, share_of(fg), |p| imbalance(original, fg, p)) };
    let mass_percent = share.map(|p| mass_percent(fg, p)).map_err(|_| {
        let lowest = root::find(0.9, og, |sg| imbalance(original, sg, share_of(sg))).unwrap_or(og);
        final_gravity.within(lowest, final_gravity.allowed.1).refuse(fg)
    })?;
    let real = real_extract(original, mass_percent);
    let co2_g_per_kg_must =
        10.0 * CO2_PER_ETHANOL * mass_percent * 100.0 / (100.0 + LOST_PER_ETHANOL * mass_percent);
    let strength = Strength {
        vol_percent: mass_percent * vol_per_mass_percent(fg),
        mass_percent,
        original_extract_percent: original,
        apparent_extract_percent: 100.0 * sugar::fraction_at(fg)?,
        real_extract_percent: real,
        real_extract_g_l: real / 100.0 * fg * sugar::WATER_20_KG_M3,
        co2_g_per_kg_must,
        co2_g_per_l_must: co2_g_per_kg_must * og * sugar::WATER_20_KG_M3 / 1000.0,
    };
    let checked = sugar::GRAVITY.guide(og)?.map(|_| strength);
    Ok(checked.warn_if(real < 0.0, || {
        "The final gravity is lower than this must could give if all its sugar fermented: \
         check both readings."
    }))
}

/// Extract really left, % mass, when a must of `original` % has made `alcohol` % mass (Balling).
fn real_extract(original: f64, alcohol: f64) -> f64 {
    original * (100.0 + LOST_PER_ETHANOL * alcohol) / 100.0 - EXTRACT_PER_ETHANOL * alcohol
}

/// % vol of a drink of gravity `sg` for each per cent of alcohol by mass.
fn vol_per_mass_percent(sg: f64) -> f64 {
    sg * sugar::WATER_20_KG_M3 / ethanol_kg_m3()
}

/// Alcohol, % mass, in a drink of gravity `sg` as strong as alcohol and water with a mass fraction `p` of alcohol.
fn mass_percent(sg: f64, p: f64) -> f64 {
    100.0 * p * density(p, 20.0) / (sg * sugar::WATER_20_KG_M3)
}

/// How much heavier the extract that Balling leaves in a drink of gravity `sg` is than Tabarie's rule wants it, if the
/// drink is as strong as alcohol and water with a mass fraction `p` of alcohol. Nothing in it has to be inverted.
fn imbalance(original: f64, sg: f64, p: f64) -> f64 {
    let wanted = sg + 1.0 - density(p, 20.0) / density(0.0, 20.0);
    let extract = real_extract(original, mass_percent(sg, p)) / 100.0 * sg / wanted;
    sugar::gravity(extract) - wanted
}

#[cfg(test)]
mod tests {
    use super::super::super::checks::{near, table};
    use super::super::{HEXOSE_PER_DISACCHARIDE, vol_from_mass_percent};
    use super::*;

    fn strength(og: f64, fg: f64) -> Strength {
        strength_from_gravities(og, fg).unwrap().value
    }

    #[test]
    fn strengths_are_those_of_the_table() {
        // C: scipy brentq; tolerance 0.005. Columns: OG, FG, OE, RE, A % mass, % vol, % vol by quotient,
        // and the popular rule 131.25 (OG - FG), which it must not be mistaken for.
        for [og, fg, oe, re, mass, vol, quotient, rule] in [
            [1.030, 1.000, 7.569, 1.463, 3.075, 3.889, 3.927, 3.938],
            [1.040, 1.010, 10.004, 4.023, 3.052, 3.898, 3.940, 3.938],
            [1.050, 1.010, 12.397, 4.487, 4.090, 5.224, 5.267, 5.250],
            [1.060, 1.000, 14.751, 2.834, 6.242, 7.894, 7.914, 7.875],
            [1.080, 1.000, 19.341, 3.703, 8.407, 10.632, 10.611, 10.500],
            [1.090, 0.995, 21.581, 3.046, 10.094, 12.702, 12.630, 12.469],
            [1.100, 1.000, 23.786, 4.544, 10.614, 13.425, 13.342, 13.125],
            [1.120, 1.010, 28.092, 7.497, 11.656, 14.889, 14.785, 14.438],
        ] {
            let got = strength(og, fg);
            near(got.original_extract_percent, oe, 0.005);
            near(got.real_extract_percent, re, 0.005);
            near(got.mass_percent, mass, 0.005);
            near(got.vol_percent, vol, 0.005);
            near(balling_vol_percent(og, fg).unwrap(), quotient, 0.005);
            near(131.25 * (og - fg), rule, 0.001);
            assert!((-0.46..=0.06).contains(&(rule - got.vol_percent)));
        }
        // C: a second table, with apparent extract.
        let csv =
            include_str!(concat!(env!("CARGO_MANIFEST_DIR"), "/tests/check-values/abv_from_gravity.csv"));
        for row in table(csv) {
            let got = strength(row[0], row[1]);
            near(got.original_extract_percent, row[2], 0.002);
            near(got.apparent_extract_percent, row[3], 0.002);
            near(got.real_extract_percent, row[7], 0.005);
            near(got.mass_percent, row[8], 0.005);
            near(got.vol_percent, row[9], 0.005);
            near(balling_vol_percent(row[0], row[1]).unwrap(), row[6], 0.005);
        }
    }

    #[test]
    fn pure_sugar_agrees_with_the_convention() {
        // C: 21.58 °Bx fermented out is 14.69 % vol by the EU's factor, 14.58 by Balling with no extract
        // left; they agree within 0.15.
        let by_factor = 234.8 * HEXOSE_PER_DISACCHARIDE / 16.83;
        near(by_factor, 14.69, 0.005);
        let mass_percent = 21.58 / (EXTRACT_PER_ETHANOL - 0.010_665 * 21.58);
        near(mass_percent, 11.75, 0.005);
        near(vol_from_mass_percent(mass_percent).unwrap(), 14.58, 0.01);
        near(vol_from_mass_percent(mass_percent).unwrap(), by_factor, 0.15);
    }

    #[test]
    fn extract_by_tabarie() {
        // C: OIV's method for dry extract (M); tolerance 0.05 g/L.
        for (sg, vol, want) in
            [(0.9930, 12.0, 22.98), (0.9950, 10.0, 22.04), (1.0000, 12.0, 41.13), (1.0100, 12.5, 68.59)]
        {
            near(tabarie_extract_g_l(sg, vol).unwrap(), want, 0.05);
        }
        near(density(fraction_at(12.0).unwrap(), 20.0) / density(0.0, 20.0), 0.984_13, 0.000_005);
        // Strength and extract from gravities hold by Tabarie again.
        let got = strength(1.08, 1.0);
        near(tabarie_extract_g_l(1.0, got.vol_percent).unwrap(), got.real_extract_g_l, 0.01);
    }

    #[test]
    fn mass_is_kept_when_gas_leaves() {
        // Balling: 0.9565/2.0665 = 0.4629 g of carbon dioxide a gram of extract fermented (C).
        for (og, fg) in [(1.05, 1.01), (1.09, 0.995), (1.12, 1.0)] {
            let got = strength(og, fg);
            let drink_kg = 100.0 / (100.0 + LOST_PER_ETHANOL * got.mass_percent);
            let fermented_g = 10.0 * (got.original_extract_percent - drink_kg * got.real_extract_percent);
            near(got.co2_g_per_kg_must / fermented_g, 0.4629, 0.000_1);
            near(got.co2_g_per_l_must / got.co2_g_per_kg_must, og * 0.998_201_7, 1e-12);
            near(co2_from_gravities_g_l(og, fg).unwrap().value, got.co2_g_per_l_must, 1e-12);
        }
        near(co2_from_gravities_g_l(1.12, 1.12).unwrap().value, 0.0, 0.0);
        assert!(co2_from_gravities_g_l(1.13, 1.12).unwrap().value > 0.0);
    }

    #[test]
    fn attenuation_is_the_share_of_extract_gone() {
        // C: from the table's row 1.050 to 1.010 (12.397, 4.487; apparent 2.568).
        near(strength(1.05, 1.01).apparent_attenuation(), (12.397 - 2.568) / 12.397, 0.000_5);
        near(strength(1.05, 1.01).real_attenuation(), (12.397 - 4.487) / 12.397, 0.000_5);
        near(strength(1.0, 1.0).real_attenuation(), 0.0, 0.0);
    }

    #[test]
    fn strength_grows_as_the_gravity_falls() {
        for og in [1.01, 1.05, 1.1, 1.15, 1.17] {
            let lowest = strength_from_gravities(og, 0.98).map_or_else(|refused| refused.low, |_| 0.98);
            let mut last = -1.0;
            for step in 0..=40 {
                let fg = og.min(1.1) + (lowest + 1e-9 - og.min(1.1)) * f64::from(step) / 40.0;
                let now = strength(og, fg).vol_percent;
                assert!(now > last, "{og} {fg} {now}");
                last = now;
            }
        }
    }

    #[test]
    fn impossible_gravities_are_refused_with_a_reason() {
        let grown = strength_from_gravities(1.05, 1.06).unwrap_err();
        assert!(grown.to_string().contains("too high. Check both readings"), "{grown}");
        let sunk = strength_from_gravities(1.02, 0.985).unwrap_err();
        assert!(sunk.low > 0.985 && sunk.to_string().contains("too low"), "{sunk}");
        assert!(strength_from_gravities(1.18, 1.0).is_err() && strength_from_gravities(1.1, 0.97).is_err());
        assert!(
            strength_from_gravities(1.15, 1.12).is_err() && strength_from_gravities(f64::NAN, 1.0).is_err()
        );
        assert!(strength_from_gravities(1.04, 0.989).unwrap().warning.is_some());
        assert_eq!(strength_from_gravities(1.09, 0.995).unwrap().warning, None);
        assert_eq!(strength(1.05, 1.05).vol_percent.to_bits(), 0);
    }
}
