//! Alcohol: density and strength of spirit and water, and what sugar and gravity say about a drink.
//!
//! Strength is % vol at 20 °C everywhere. The figures are for a club's own use: a strength in law needs
//! a laboratory's method, and a gravity tells it to about ±[`GRAVITY_METHOD_VOL_PERCENT`].

use super::{Guide, OutOfRange, Range, molar, polynomial};

mod gravities;
mod oiml;

pub use gravities::{
    FINAL_GRAVITY, GRAVITY_METHOD_VOL_PERCENT, ORIGINAL_GRAVITY, Strength, balling_vol_percent,
    co2_from_gravities_g_l, strength_from_gravities, tabarie_extract_g_l,
};
pub(super) use oiml::density;

/// Ethanol, mass percent.
pub const MASS_PERCENT: Range = Range::new("strength by mass", "%", 0.0, 100.0);
/// Ethanol, volume percent.
pub const VOL_PERCENT: Range = Range::new("strength", "% vol", 0.0, 100.0);
/// Temperature for which OIML R 22 holds.
pub const MIXTURE_C: Range = Range::new("temperature of the drink", "°C", -20.0, 40.0);
/// Sugar that ferments, counted as hexose.
pub const HEXOSE_G_L: Range = Range::new("fermentable sugar", "g/L", 0.0, 1200.0);
const SUGAR_G: Range = Range::new("mass of sugar", "g", 0.0, 1e9);
/// Grams of hexose per litre that give 1 % vol.
pub const HEXOSE_PER_VOL_G_L: Range = Range::new("sugar for one per cent of alcohol", "g/L", 15.43, 18.0);

/// Convention of the EU and the OIV, 91.7 % of theory (from memory); the default of the factor.
/// Others in use: 15.43 (theory), 16.5, 17 (France), 17.5 and 18 (cautious, common practice).
pub const DEFAULT_HEXOSE_PER_VOL_G_L: f64 = 16.83;
/// Grams of hexose that a gram of sucrose or lactose gives when it is split.
pub const HEXOSE_PER_DISACCHARIDE: f64 = 2.0 * molar::HEXOSE / molar::DISACCHARIDE;
/// Grams of ethanol from a gram of hexose, by theory: C₆H₁₂O₆ → 2 C₂H₅OH + 2 CO₂.
pub const ETHANOL_PER_HEXOSE: f64 = 2.0 * molar::ETHANOL / molar::HEXOSE;
/// Grams of carbon dioxide from a gram of hexose, by theory: the figure to use for safety.
pub const CO2_PER_HEXOSE: f64 = 2.0 * molar::CARBON_DIOXIDE / molar::HEXOSE;

/// Density of pure ethanol at 20 °C, 789.239 kg/m³.
pub(super) fn ethanol_kg_m3() -> f64 {
    density(1.0, 20.0)
}

/// The mass fraction of ethanol at a strength in % vol.
pub(super) fn fraction_at(vol_percent: f64) -> Result<f64, OutOfRange> {
    VOL_PERCENT.invert(vol_percent, (0.0, 1.0), |p| 100.0 * p * density(p, 20.0) / ethanol_kg_m3())
}

/// Density in kg/m³ of ethanol and water. Source: OIML R 22 (1975).
pub fn mixture_density_kg_m3(mass_percent: f64, temperature_c: f64) -> Result<f64, OutOfRange> {
    Ok(density(MASS_PERCENT.check(mass_percent)? / 100.0, MIXTURE_C.check(temperature_c)?))
}

/// % vol at 20 °C of ethanol and water of `mass_percent`. Source: OIML R 22.
pub fn vol_from_mass_percent(mass_percent: f64) -> Result<f64, OutOfRange> {
    vol_from_mass_percent_at(mass_percent, 20.0)
}

/// % vol at another temperature than 20 °C, such as the 15.56 °C of old tables. Source: OIML R 22.
pub fn vol_from_mass_percent_at(mass_percent: f64, temperature_c: f64) -> Result<f64, OutOfRange> {
    let mixture_kg_m3 = mixture_density_kg_m3(mass_percent, temperature_c)?;
    Ok(mass_percent * mixture_kg_m3 / density(1.0, temperature_c))
}

/// Mass percent of ethanol and water of `vol_percent` at 20 °C. Source: OIML R 22, inverted.
pub fn mass_from_vol_percent(vol_percent: f64) -> Result<f64, OutOfRange> {
    Ok(100.0 * fraction_at(vol_percent)?)
}

/// Grams of ethanol per litre at 20 °C. Source: OIML R 22, density of ethanol.
pub fn ethanol_g_l(vol_percent: f64) -> Result<f64, OutOfRange> {
    Ok(VOL_PERCENT.check(vol_percent)? * ethanol_kg_m3() / 100.0)
}

/// Grams of hexose that `disaccharide_g` of sucrose or lactose gives when split (1.0526 g each).
pub fn hexose_g(disaccharide_g: f64) -> Result<f64, OutOfRange> {
    Ok(SUGAR_G.check(disaccharide_g)? * HEXOSE_PER_DISACCHARIDE)
}

/// Grams of sucrose or lactose that give `hexose_g` when split.
pub fn disaccharide_g(hexose_g: f64) -> Result<f64, OutOfRange> {
    Ok(SUGAR_G.check(hexose_g)? / HEXOSE_PER_DISACCHARIDE)
}

/// % vol that fermentable sugar can give. Sucrose and lactose must be counted as hexose first, by
/// [`hexose_g`]. Source: stoichiometry and the convention of `hexose_per_vol_g_l`.
pub fn potential_vol_percent(hexose_g_l: f64, hexose_per_vol_g_l: f64) -> Result<Guide<f64>, OutOfRange> {
    let vol_percent = HEXOSE_G_L.check(hexose_g_l)? / HEXOSE_PER_VOL_G_L.check(hexose_per_vol_g_l)?;
    Ok(Guide::sure(vol_percent).warn_if(
        vol_percent > MOST_FERMENTED_VOL_PERCENT,
        || "Most yeasts stop near 16 to 18 % vol: expect sugar to be left over.",
    ))
}

/// Grams of hexose per litre that can give `vol_percent`.
pub fn hexose_for_g_l(vol_percent: f64, hexose_per_vol_g_l: f64) -> Result<Guide<f64>, OutOfRange> {
    let most = HEXOSE_G_L.allowed.1 / HEXOSE_PER_VOL_G_L.check(hexose_per_vol_g_l)?;
    let hexose_g_l = VOL_PERCENT.within(0.0, most).check(vol_percent)? * hexose_per_vol_g_l;
    Ok(potential_vol_percent(hexose_g_l.min(HEXOSE_G_L.allowed.1), hexose_per_vol_g_l)?.map(|_| hexose_g_l))
}

/// Beyond this few yeasts go on (common practice, no source).
const MOST_FERMENTED_VOL_PERCENT: f64 = 18.0;

#[cfg(test)]
mod tests {
    use super::super::checks::{near, table};
    use super::*;

    macro_rules! csv {
        ($name:literal) => {
            include_str!(concat!(env!("CARGO_MANIFEST_DIR"), "/tests/check-values/", $name))
        };
    }

    #[test]
    fn density_follows_the_grid() {
        // C: the formula in Python, printed to 0.001.
        for row in table(csv!("oiml_r22_density_grid.csv")) {
            for (column, want) in row.iter().enumerate().skip(1) {
                let t = 5.0 * f64::from(u8::try_from(column - 1).unwrap());
                near(mixture_density_kg_m3(100.0 * row[0], t).unwrap(), *want, 0.000_51);
            }
        }
        // C, and M for the limits 999.97 and 771.93 of the recommendation.
        for (mass, t, want) in [
            (0.0, 4.0, 999.969),
            (100.0, 40.0, 771.932),
            (100.0, -20.0, 823.120),
            (10.0, 10.0, 983.930),
            (10.0, 30.0, 978.731),
            (40.0, 10.0, 942.377),
            (40.0, 30.0, 927.638),
            (50.0, 10.0, 921.589),
            (50.0, 30.0, 905.712),
        ] {
            near(mixture_density_kg_m3(mass, t).unwrap(), want, 0.001);
        }
        // M: Perry / International Critical Tables, 50 % mass, older and slightly higher; tolerance 0.12.
        for (t, want) in [(10.0, 921.62), (20.0, 913.84), (30.0, 905.80)] {
            near(mixture_density_kg_m3(50.0, t).unwrap(), want, 0.12);
        }
    }

    #[test]
    fn strength_by_volume_and_by_mass_agree_with_the_tables() {
        // C: scipy brentq.
        for row in table(csv!("oiml_r22_abv20.csv")) {
            let mass = mass_from_vol_percent(row[0]).unwrap();
            near(mass, row[1], 0.000_06);
            near(mixture_density_kg_m3(mass, 20.0).unwrap(), row[2], 0.001);
        }
        // M: European Pharmacopoeia 5.5 / OIML tables; tolerance 0.01.
        for (vol, mass, kg_m3) in [
            (10.0, 8.01, f64::NAN),
            (20.0, 16.21, f64::NAN),
            (40.0, 33.30, 948.05),
            (50.0, 42.43, 930.14),
            (70.0, 62.39, 885.56),
            (95.0, 92.41, 811.38),
            (96.0, 93.84, 807.42),
            (100.0, 100.0, 789.24),
            (0.0, 0.0, 998.20),
        ] {
            let got = mass_from_vol_percent(vol).unwrap();
            near(got, mass, 0.01);
            if kg_m3.is_finite() {
                near(mixture_density_kg_m3(got, 20.0).unwrap(), kg_m3, 0.01);
            }
        }
    }

    #[test]
    fn it_agrees_with_the_american_table() {
        // S: USP 29 alcoholometric table (NBS Bulletin 9, pp. 424-425), % vol at 15.56 °C and SG in air;
        // tolerance 0.015 % and 0.00012. Air 1.18 kg/m³ at 25 °C and 1.22 at 15.56 °C.
        let in_air = |mass: f64, t: f64, air: f64| {
            (mixture_density_kg_m3(mass, t).unwrap() - air) / (mixture_density_kg_m3(0.0, t).unwrap() - air)
        };
        for (vol, mass, sg_25, sg_15) in [(10.0, 8.05, 0.9862, 0.9866), (24.47, 20.0, 0.9692, 0.9714)] {
            near(vol_from_mass_percent_at(mass, 15.56).unwrap(), vol, 0.015);
            near(in_air(mass, 25.0, 1.18), sg_25, 0.000_12);
            near(in_air(mass, 15.56, 1.22), sg_15, 0.000_12);
        }
        // C: below 20 % vol the two temperatures differ by less than 0.1 % vol.
        for mass in 0..16 {
            let mass = f64::from(mass);
            let at_20 = vol_from_mass_percent(mass).unwrap();
            near(vol_from_mass_percent_at(mass, 15.56).unwrap(), at_20, 0.1);
        }
    }

    #[test]
    fn grams_of_ethanol_in_a_litre() {
        // C: 7.89239 x % vol. S: a wine glossary (wein.plus) says 94.7 g/L for 12 % vol.
        near(ethanol_g_l(12.0).unwrap(), 94.71, 0.005);
        near(ethanol_g_l(12.0).unwrap(), 94.7, 0.05);
    }

    #[test]
    fn sugar_gives_alcohol_by_stoichiometry() {
        // C: molar masses of the chemicals package. S: 0.538 per gram of lactose, PMC3026421 Table 2.
        near(ETHANOL_PER_HEXOSE, 0.511_42, 0.000_005);
        near(CO2_PER_HEXOSE, 0.488_57, 0.000_005);
        near(HEXOSE_PER_DISACCHARIDE, 1.052_63, 0.000_005);
        near(ETHANOL_PER_HEXOSE * HEXOSE_PER_DISACCHARIDE, 0.538_34, 0.000_006);
        near(1000.0 * ETHANOL_PER_HEXOSE / ethanol_kg_m3(), 0.648_00, 0.000_01);
        near(ethanol_kg_m3() / 100.0 / ETHANOL_PER_HEXOSE, 15.432, 0.001);
    }

    #[test]
    fn the_factor_sets_the_share_of_theory() {
        // C: the conventions in use, as a share of theory in per cent.
        for (factor, share) in
            [(15.43, 100.0), (16.5, 93.5), (16.83, 91.7), (17.0, 90.8), (17.5, 88.2), (18.0, 85.7)]
        {
            let theory = potential_vol_percent(200.0, 15.432).unwrap().value;
            near(100.0 * potential_vol_percent(200.0, factor).unwrap().value / theory, share, 0.06);
        }
        // S: 1 % vol corresponds to 16 to 17 g of sugar (wein.plus).
        near(DEFAULT_HEXOSE_PER_VOL_G_L, 16.5, 0.5);
    }

    #[test]
    fn twelve_per_cent_needs_so_much_sugar() {
        // C: 201.96 g/L as hexose, 191.86 g/L as sucrose; tolerance 0.01.
        let hexose_g_l = hexose_for_g_l(12.0, DEFAULT_HEXOSE_PER_VOL_G_L).unwrap().value;
        near(hexose_g_l, 201.96, 0.01);
        let sucrose_g_l = disaccharide_g(hexose_g_l).unwrap();
        near(sucrose_g_l, 191.86, 0.01);
        near(hexose_g(sucrose_g_l).unwrap(), hexose_g_l, 1e-12);
        assert_eq!(potential_vol_percent(hexose_g_l, 16.83).unwrap().warning, None);
        assert!(potential_vol_percent(330.0, 16.83).unwrap().warning.is_some());
    }

    #[test]
    fn a_strength_comes_back_from_its_mass() {
        for step in 0..=1000 {
            let vol = f64::from(step) / 10.0;
            near(vol_from_mass_percent(mass_from_vol_percent(vol).unwrap()).unwrap(), vol, 1e-10);
        }
    }

    #[test]
    fn nothing_is_stronger_than_alcohol() {
        assert!(vol_from_mass_percent(100.1).is_err() && vol_from_mass_percent(-0.1).is_err());
        assert!(mass_from_vol_percent(101.0).is_err() && mixture_density_kg_m3(10.0, 41.0).is_err());
        assert!(potential_vol_percent(200.0, 14.0).is_err() && potential_vol_percent(-1.0, 17.0).is_err());
        assert!(hexose_for_g_l(f64::NAN, 16.83).is_err() && hexose_for_g_l(99.0, 16.83).is_err());
    }
}
