//! Sugar in water: density, gravity, degrees Brix and grams per litre, and the instruments that read them.
//!
//! Brix, Plato and Balling are all mass percent of sucrose and are treated as one scale (their tables
//! differ by less than 0.05). Gravity is SG 20/20. Below SG 1 the figure is an *apparent* extract: a
//! fermented drink is lighter than water although sugar is left in it.

use super::{Guide, OutOfRange, Range, polynomial};

mod hydrometer;
mod refractometer;

pub use hydrometer::{CALIBRATION_C, SAMPLE_C, hydrometer_at, hydrometer_brix_at};
pub use refractometer::{
    REFRACTIVE_INDEX, REFRACTOMETER_BRIX, REFRACTOMETER_C, brix_from_refractive_index, refractive_index,
    refractometer_at,
};

/// Density of water at 20 °C in kg/m³, the zero of the gravity scale.
pub const WATER_20_KG_M3: f64 = 998.2017;

/// ICUMSA SPS-4 (1990/1998, data of the PTB; also OIML G 14): excess density of sucrose solutions at 20 °C.
const SUCROSE: [f64; 7] = [WATER_20_KG_M3, 385.1761, 135.3705, 40.9299, -3.9643, 13.4853, -17.2890];

/// The mass fractions between which the scales are inverted.
const FRACTIONS: (f64, f64) = (-0.3, 0.85);

/// Degrees Brix: mass percent of sucrose. Negative as an apparent extract.
pub const BRIX: Range = Range::new("sugar content", "°Bx", -5.3, 80.0).validated(0.0, 25.0);
/// Gravity, SG 20/20.
pub const GRAVITY: Range = Range::new("gravity", "SG", 0.980, 1.4148).validated(1.0, 1.105_58);
/// Grams of sucrose per litre of solution at 20 °C. Negative as an apparent extract.
pub const SUGAR_G_L: Range = Range::new("sugar content", "g/L", -52.0, 1130.0).validated(0.0, 275.9);
/// Temperature of water for its density.
pub const WATER_C: Range = Range::new("water temperature", "°C", 0.0, 40.0);
/// What counts as sugar on the gravity scale but is none: acids, minerals, pectin.
pub const NON_SUGAR_EXTRACT_G_L: Range = Range::new("extract that is not sugar", "g/L", 0.0, 60.0);

/// Density in kg/m³ at 20 °C of a solution with mass fraction `w` of sucrose.
pub(super) fn density(w: f64) -> f64 {
    polynomial(&SUCROSE, w)
}

/// Gravity of a solution with mass fraction `w` of sucrose.
pub(super) fn gravity(w: f64) -> f64 {
    density(w) / WATER_20_KG_M3
}

/// The mass fraction of sucrose at a gravity.
pub(super) fn fraction_at(sg: f64) -> Result<f64, OutOfRange> {
    GRAVITY.within(0.9, 1.44).invert(sg, FRACTIONS, gravity)
}

/// The mass fraction of sucrose at a content in g/L.
pub(super) fn fraction_holding(sugar_g_l: f64) -> Result<f64, OutOfRange> {
    SUGAR_G_L.within(-260.0, 1229.0).invert(sugar_g_l, FRACTIONS, |w| w * density(w))
}

/// Density in kg/m³ at 20 °C of sugar water of `brix`. Source: ICUMSA SPS-4.
pub fn density_kg_m3(brix: f64) -> Result<Guide<f64>, OutOfRange> {
    Ok(BRIX.guide(brix)?.map(|brix| density(brix / 100.0)))
}

/// Gravity (SG 20/20) of sugar water of `brix`. Source: ICUMSA SPS-4.
pub fn sg_from_brix(brix: f64) -> Result<Guide<f64>, OutOfRange> {
    Ok(BRIX.guide(brix)?.map(|brix| gravity(brix / 100.0)))
}

/// Degrees Brix at a gravity (SG 20/20). Source: ICUMSA SPS-4, inverted.
pub fn brix_from_sg(sg: f64) -> Result<Guide<f64>, OutOfRange> {
    let fraction = fraction_at(GRAVITY.check(sg)?)?;
    Ok(GRAVITY.guide(sg)?.map(|_| 100.0 * fraction))
}

/// Grams of sucrose per litre at 20 °C in sugar water of `brix`. Source: ICUMSA SPS-4.
pub fn sugar_g_l_from_brix(brix: f64) -> Result<Guide<f64>, OutOfRange> {
    Ok(BRIX.guide(brix)?.map(|brix| brix / 100.0 * density(brix / 100.0)))
}

/// Degrees Brix of sugar water with so many grams of sucrose per litre. Source: ICUMSA SPS-4, inverted.
pub fn brix_from_sugar_g_l(sugar_g_l: f64) -> Result<Guide<f64>, OutOfRange> {
    let fraction = fraction_holding(SUGAR_G_L.check(sugar_g_l)?)?;
    Ok(SUGAR_G_L.guide(sugar_g_l)?.map(|_| 100.0 * fraction))
}

/// Grams of sucrose per litre at a gravity (SG 20/20). Source: ICUMSA SPS-4, inverted.
pub fn sugar_g_l_from_sg(sg: f64) -> Result<Guide<f64>, OutOfRange> {
    Ok(brix_from_sg(sg)?.map(|brix| brix / 100.0 * sg * WATER_20_KG_M3))
}

/// Gravity (SG 20/20) of sugar water with so many grams of sucrose per litre. Source: ICUMSA SPS-4.
pub fn sg_from_sugar_g_l(sugar_g_l: f64) -> Result<Guide<f64>, OutOfRange> {
    Ok(brix_from_sugar_g_l(sugar_g_l)?.map(|brix| gravity(brix / 100.0)))
}

/// Grams of sugar per litre of a must: what the gravity shows less the extract that is not sugar
/// (about 25 g/L in grape and fruit must, an old rule from memory; 0 to 5 g/L in mead).
///
/// Not for whey: its proteins and salts, and lactose that yeast leaves, make gravity worthless there.
/// Use [`natural_strength`](super::dairy::natural_strength).
pub fn must_sugar_g_l(sg: f64, non_sugar_extract_g_l: f64) -> Result<Guide<f64>, OutOfRange> {
    let shown = sugar_g_l_from_sg(GRAVITY.within(1.0, GRAVITY.allowed.1).check(sg)?)?;
    let most = NON_SUGAR_EXTRACT_G_L.allowed.1.min(shown.value.max(0.0));
    let other = NON_SUGAR_EXTRACT_G_L.within(0.0, most).check(non_sugar_extract_g_l)?;
    Ok(shown.map(|shown| shown - other))
}

/// Density of air-free water in kg/m³ at normal pressure.
/// Source: Tanaka et al., Metrologia 38 (2001) 301, from memory; checked against IAPWS-95.
pub fn water_density_kg_m3(temperature_c: f64) -> Result<f64, OutOfRange> {
    Ok(tanaka(WATER_C.check(temperature_c)?))
}

fn tanaka(t: f64) -> f64 {
    999.974_950 * (1.0 - (t - 3.983_035).powi(2) * (t + 301.797) / (522_528.9 * (t + 69.348_81)))
}

/// Water on the density scale of the sucrose table: equal to [`WATER_20_KG_M3`] at 20 °C.
fn water(t: f64) -> f64 {
    tanaka(t) * (WATER_20_KG_M3 / tanaka(20.0))
}

#[cfg(test)]
mod tests {
    use super::super::checks::{near, table};
    use super::*;

    macro_rules! csv {
        ($name:literal) => {
            table(include_str!(concat!(env!("CARGO_MANIFEST_DIR"), "/tests/check-values/", $name)))
        };
    }

    #[test]
    fn the_scales_agree_with_the_whole_table() {
        // C: ICUMSA SPS-4 (coefficients M) computed in Python.
        for row in csv!("sucrose_density20.csv").iter().take_while(|row| row[0] <= 80.0) {
            near(density_kg_m3(row[0]).unwrap().value, row[1], 0.005);
            near(sg_from_brix(row[0]).unwrap().value, row[2], 0.000_01);
            near(sugar_g_l_from_brix(row[0]).unwrap().value, row[3], 0.01);
            if row[0] > 0.0 {
                let w = row[0] / 100.0;
                near((1.0 / density(w) - (1.0 - w) / WATER_20_KG_M3) / w * 1000.0, row[4], 0.000_01);
            }
        }
        // C: the tightest of them, water itself.
        near(density_kg_m3(0.0).unwrap().value, 998.202, 0.001);
    }

    #[test]
    fn gravity_gives_back_brix() {
        // C: scipy brentq.
        for row in csv!("sucrose_sg_to_brix.csv") {
            near(brix_from_sg(row[0]).unwrap().value, row[1], 0.002);
            near(sugar_g_l_from_sg(row[0]).unwrap().value, row[2], 0.01);
        }
        near(brix_from_sg(0.995).unwrap().value, -1.302, 0.002);
    }

    #[test]
    fn it_agrees_with_published_tables() {
        // S: beet-sugar handbook, appendix Table A.1, 1000 x SG at 20 °C; tolerance 0.1.
        for row in csv!("handbook_sucrose_check.csv") {
            near(1000.0 * sg_from_brix(row[0]).unwrap().value, row[1], 0.1);
        }
        // S: NBS Circular C440 (1942), pounds in air in a US gallon at 20 °C; tolerance 0.001.
        // Air 1.2 kg/m³, brass weights 8400 kg/m³; gallon and pound exact (NIST SP 811).
        for row in csv!("c440_lb_per_gal_check.csv") {
            let kg_m3 = (density_kg_m3(row[0]).unwrap().value - 1.2) / (1.0 - 1.2 / 8400.0);
            near(kg_m3 * 3.785_411_784 / 453.592_37, row[1], 0.001);
        }
        // M: NBS C440, density in g/mL in vacuo.
        near(density_kg_m3(10.0).unwrap().value, 1038.14, 0.05);
        near(density_kg_m3(20.0).unwrap().value, 1080.96, 0.05);
    }

    #[test]
    fn water_is_as_dense_as_iapws_95_says() {
        // C: CoolProp, IAPWS-95 at 101.325 kPa; tolerance 0.002.
        for (t, want) in [
            (4.0, 999.9749),
            (10.0, 999.7025),
            (15.0, 999.1026),
            (20.0, 998.2072),
            (25.0, 997.0476),
            (30.0, 995.6495),
            (40.0, 992.2164),
        ] {
            near(water_density_kg_m3(t).unwrap(), want, 0.002);
        }
        assert!(water_density_kg_m3(40.1).is_err());
    }

    #[test]
    fn what_goes_up_the_scales_comes_down_again() {
        for step in 0..=1000 {
            let brix = -5.0 + 0.085 * f64::from(step);
            let sg = sg_from_brix(brix).unwrap().value;
            near(brix_from_sg(sg).unwrap().value, brix, 1e-10);
            let sugar_g_l = sugar_g_l_from_brix(brix).unwrap().value;
            near(brix_from_sugar_g_l(sugar_g_l).unwrap().value, brix, 1e-10);
            near(sg_from_sugar_g_l(sugar_g_l_from_sg(sg).unwrap().value).unwrap().value, sg, 1e-12);
        }
    }

    #[test]
    fn beyond_the_tables_it_warns_and_beyond_sense_it_refuses() {
        assert_eq!(brix_from_sg(1.05).unwrap().warning, None);
        assert!(brix_from_sg(1.2).unwrap().warning.is_some());
        assert!(brix_from_sg(0.995).unwrap().warning.is_some());
        assert!(brix_from_sg(0.97).is_err() && brix_from_sg(1.42).is_err());
        assert!(sg_from_brix(81.0).is_err() && brix_from_sugar_g_l(1200.0).is_err());
    }

    #[test]
    fn must_is_not_pure_sugar() {
        // C: 208.51 g/L at SG 1.080, less the rule's 25 (M).
        near(must_sugar_g_l(1.08, 25.0).unwrap().value, 183.51, 0.01);
        let refused = must_sugar_g_l(1.005, 25.0).unwrap_err();
        near(refused.high, 12.94, 0.01);
    }
}
