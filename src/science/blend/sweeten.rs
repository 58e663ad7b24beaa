//! Sugar in a liquid, by mass: what it does to volume and gravity, and how much reaches a strength.

use super::super::alcohol::{self, HEXOSE_PER_DISACCHARIDE};
use super::super::range::VOLUME_L;
use super::super::sugar::{self, GRAVITY};
use super::super::{Guide, OutOfRange, Range};

/// Gravity of what is sweetened.
const BASE_GRAVITY: Range = GRAVITY.within(1.0, 1.3);
/// Sugar dissolved at once, kg.
const SUGAR_KG: Range = Range::new("sugar", "kg", 0.0, 1e6)
    .advice("Choose another target: sugar can be added, not taken out, and no more than dissolves.");
/// Above this content sugar no longer dissolves in the cold.
const SUGAR_MOST_G_L: f64 = 850.0;

/// A sweetened liquid.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Sweetened {
    /// Volume, L.
    pub volume_l: f64,
    /// Gravity, SG 20/20.
    pub sg: f64,
    /// Sugar, °Bx (of a finished drink: the added sugar over all of its mass).
    pub brix: f64,
    /// Sugar, g/L.
    pub sugar_g_l: f64,
}

/// How much sugar, in how much liquid, makes what.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct SugarAddition {
    /// Liquid to start with, L.
    pub start_l: f64,
    /// Sucrose to add, kg.
    pub sugar_kg: f64,
    /// What it comes to.
    pub result: Sweetened,
}

/// Mass in kg and mass fraction of sugar of a must.
fn weigh(volume_l: f64, sg: f64) -> Result<(f64, f64), OutOfRange> {
    let kg = VOLUME_L.check(volume_l)? * sugar::WATER_20_KG_M3 * BASE_GRAVITY.check(sg)? / 1000.0;
    Ok((kg, sugar::fraction_at(sg)?.max(0.0)))
}

/// A solution of `kg` with mass fraction `w` of sugar.
fn solution(kg: f64, w: f64) -> Sweetened {
    let kg_m3 = sugar::density(w);
    Sweetened { volume_l: 1000.0 * kg / kg_m3, sg: sugar::gravity(w), brix: 100.0 * w, sugar_g_l: w * kg_m3 }
}

/// Dissolves `sugar_kg` of sucrose in `volume_l` of must or water of gravity `sg`.
/// Source: balance of mass with the densities of ICUMSA SPS-4.
pub fn dissolve(volume_l: f64, sg: f64, sugar_kg: f64) -> Result<Sweetened, OutOfRange> {
    let (kg, w) = weigh(volume_l, sg)?;
    let added = SUGAR_KG.check(sugar_kg)?;
    let total = Range::new("mass", "kg", 1e-9, 3e6).check(kg + added)?;
    let result = solution(total, (kg * w + added) / total);
    if result.sugar_g_l > SUGAR_MOST_G_L {
        let most = sugar::fraction_holding(SUGAR_MOST_G_L)?;
        return Err(SUGAR_KG.within(0.0, (kg * (most - w) / (1.0 - most)).max(0.0)).refuse(sugar_kg));
    }
    Ok(result)
}

/// The must of several parts, each a volume in L and a gravity, by mass.
pub fn mix_gravities(parts: &[(f64, f64)]) -> Result<Sweetened, OutOfRange> {
    let (mut total_kg, mut sugar_kg) = (0.0, 0.0);
    for (volume_l, sg) in parts {
        let (kg, w) = weigh(*volume_l, *sg)?;
        total_kg += kg;
        sugar_kg += kg * w;
    }
    let total_kg = Range::new("mass of all parts", "kg", 1e-9, 3e6).check(total_kg)?;
    Ok(solution(total_kg, sugar_kg / total_kg))
}

/// The mass fraction of sucrose that gives a strength, between that of the liquid and what dissolves.
fn fraction_for(vol_percent: f64, sg: f64, hexose_per_vol_g_l: f64) -> Result<f64, OutOfRange> {
    let strength_of = |g_l: f64| g_l * HEXOSE_PER_DISACCHARIDE / hexose_per_vol_g_l;
    alcohol::HEXOSE_PER_VOL_G_L.check(hexose_per_vol_g_l)?;
    let has_g_l = sugar::fraction_at(BASE_GRAVITY.check(sg)?)?.max(0.0) * sg * sugar::WATER_20_KG_M3;
    let target = Range::new("strength wanted", "% vol", strength_of(has_g_l), strength_of(SUGAR_MOST_G_L))
        .advice("Choose at least what the liquid gives by itself.")
        .check(vol_percent)?;
    sugar::fraction_holding(target * hexose_per_vol_g_l / HEXOSE_PER_DISACCHARIDE)
}

/// Whether yeast gets there is another matter: the warning of [`alcohol::potential_vol_percent`].
fn with_yeast(
    vol_percent: f64,
    per_vol: f64,
    value: SugarAddition,
) -> Result<Guide<SugarAddition>, OutOfRange> {
    Ok(alcohol::potential_vol_percent(vol_percent * per_vol, per_vol)?.map(|_| value))
}

/// Sucrose that brings `volume_l` of gravity `sg` to a potential strength in the volume that results.
/// All of the liquid's extract counts as sugar: not for whey. Exact, by mass.
pub fn sugar_for_strength(
    volume_l: f64,
    sg: f64,
    vol_percent: f64,
    hexose_per_vol_g_l: f64,
) -> Result<Guide<SugarAddition>, OutOfRange> {
    let (kg, has) = weigh(volume_l, sg)?;
    let w = fraction_for(vol_percent, sg, hexose_per_vol_g_l)?;
    let sugar_kg = (kg * (w - has) / (1.0 - w)).max(0.0);
    let value = SugarAddition { start_l: volume_l, sugar_kg, result: solution(kg + sugar_kg, w) };
    with_yeast(vol_percent, hexose_per_vol_g_l, value)
}

/// How much liquid of gravity `sg`, and how much sucrose, make `final_l` of a potential strength.
pub fn sugar_for_final_volume(
    final_l: f64,
    sg: f64,
    vol_percent: f64,
    hexose_per_vol_g_l: f64,
) -> Result<Guide<SugarAddition>, OutOfRange> {
    let w = fraction_for(vol_percent, sg, hexose_per_vol_g_l)?;
    let (kg_per_l, has) = weigh(1.0, sg)?;
    let total_kg = VOLUME_L.check(final_l)? * sugar::density(w) / 1000.0;
    let start_kg = total_kg * (1.0 - w) / (1.0 - has);
    let value = SugarAddition {
        start_l: start_kg / kg_per_l,
        sugar_kg: (total_kg - start_kg).max(0.0),
        result: solution(total_kg, w),
    };
    with_yeast(vol_percent, hexose_per_vol_g_l, value)
}

/// Sucrose that brings a finished drink to `sugar_g_l` of *added* sugar. The drink counts as water for
/// the volume that sugar takes. Always with a warning: the sugar would ferment again in the bottle.
pub fn sweeten_finished(volume_l: f64, sg: f64, sugar_g_l: f64) -> Result<Guide<SugarAddition>, OutOfRange> {
    let drink_kg =
        VOLUME_L.check(volume_l)? * GRAVITY.within(0.98, 1.2).check(sg)? * sugar::WATER_20_KG_M3 / 1000.0;
    let wanted = Range::new("sugar wanted", "g/L", 0.0, 300.0).check(sugar_g_l)?;
    let w = sugar::fraction_holding(wanted)?;
    let water_kg = volume_l * sugar::WATER_20_KG_M3 / 1000.0;
    let sugar_kg = (water_kg * w / (1.0 - w)).max(0.0);
    let volume_after_l = solution(water_kg + sugar_kg, w).volume_l;
    let result = Sweetened {
        volume_l: volume_after_l,
        sg: sg_of(drink_kg + sugar_kg, volume_after_l, sg),
        brix: if drink_kg > 0.0 { 100.0 * sugar_kg / (drink_kg + sugar_kg) } else { 100.0 * w },
        sugar_g_l: wanted,
    };
    let value = Guide::sure(SugarAddition { start_l: volume_l, sugar_kg, result });
    Ok(value.warn_if(sugar_kg > 0.0, || {
        "Added sugar ferments again and can burst bottles: stabilise, keep cold or pasteurise, and work out \
         the pressure before bottling."
    }))
}

fn sg_of(kg: f64, volume_l: f64, empty: f64) -> f64 {
    if volume_l > 0.0 { 1000.0 * kg / volume_l / sugar::WATER_20_KG_M3 } else { empty }
}

#[cfg(test)]
mod tests {
    use super::super::super::checks::near;
    use super::*;

    #[test]
    fn sugar_takes_room() {
        // C; tolerance 0.0005 L, and half the last digit printed.
        for (volume_l, sg, sugar_kg, after_l, brix, after_sg) in [
            (10.0, 1.0, 1.0, 10.6165, 9.106, 1.03629),
            (10.0, 1.0, 2.0, 11.2354, 16.692, 1.06838),
            (20.0, 1.05, 2.0, 21.2397, 20.028, 1.08305),
        ] {
            let got = dissolve(volume_l, sg, sugar_kg).unwrap();
            near(got.volume_l, after_l, 0.000_5);
            near(got.brix, brix, 0.001);
            near(got.sg, after_sg, 0.000_01);
        }
        // S: 27 CFR 24.181, 13.5 lb of pure dry sugar raise the volume by one US gallon: 0.61818 L/kg;
        // C: agrees at 20 °Bx to 0.01 %.
        near(3.785_411_784 / (13.5 * 0.453_592_37), 0.618_18, 0.000_005);
        let added = dissolve(1.0, 1.0, 0.998_201_7 * 0.25).unwrap();
        near((added.volume_l - 1.0) / (0.998_201_7 * 0.25), 0.618_18, 0.618_18 * 0.000_2);
        // C: apparent specific volumes of 1.1, L/kg.
        for (brix, want) in [(10.0, 0.6166), (20.0, 0.6182), (30.0, 0.6201), (50.0, 0.6247), (60.0, 0.6275)] {
            let sugar_kg = 0.998_201_7 * brix / (100.0 - brix);
            near((dissolve(1.0, 1.0, sugar_kg).unwrap().volume_l - 1.0) / sugar_kg, want, 0.000_06);
        }
    }

    #[test]
    fn sugar_for_a_strength_in_the_final_volume() {
        // C; tolerance 0.001 kg and 0.0005 L.
        for (volume_l, sg, vol, sugar_kg, after_l) in [
            (10.0, 1.0, 12.0, 2.1767, 11.345),
            (20.0, 1.05, 12.0, 1.4055, 20.871),
            (20.0, 1.045, 11.0, 1.3238, 20.820),
            (5.0, 1.01, 14.0, 1.1488, 5.711),
        ] {
            let got = sugar_for_strength(volume_l, sg, vol, 16.83).unwrap().value;
            near(got.sugar_kg, sugar_kg, 0.001);
            near(got.result.volume_l, after_l, 0.000_55);
            // Dissolving that much gives that sugar: the inverse.
            let back = dissolve(volume_l, sg, got.sugar_kg).unwrap();
            near(back.sugar_g_l * HEXOSE_PER_DISACCHARIDE / 16.83, vol, 1e-9);
            near(back.volume_l, got.result.volume_l, 1e-9);
        }
        let water = sugar_for_strength(10.0, 1.0, 12.0, 16.83).unwrap().value.result;
        near(water.sugar_g_l, 191.86, 0.01);
        near(water.sg, 1.0737, 0.000_05);
        // C: the usual approximation, V0 (c_T - c_0)/(1000 - 0.62 c_T), is off by a gram.
        near(10.0 * 191.86 / (1000.0 - 0.62 * 191.86), 2.1777, 0.000_1);
    }

    #[test]
    fn a_full_vessel_of_a_strength() {
        // C: 20 L from SG 1.045 and 23 L from water, both to 12 %.
        for (final_l, sg, start_l, sugar_kg) in [(20.0, 1.045, 18.999, 1.6165), (23.0, 1.0, 20.273, 4.4128)] {
            let got = sugar_for_final_volume(final_l, sg, 12.0, 16.83).unwrap().value;
            near(got.start_l, start_l, 0.000_6);
            near(got.sugar_kg, sugar_kg, 0.000_1);
            near(dissolve(got.start_l, sg, got.sugar_kg).unwrap().volume_l, final_l, 1e-9);
        }
    }

    #[test]
    fn musts_mix_by_mass() {
        let one = mix_gravities(&[(10.0, 1.05), (0.0, 1.2)]).unwrap();
        near(one.volume_l, 10.0, 1e-12);
        near(one.sg, 1.05, 1e-12);
        // Mass and sugar are kept: 10 L of water and 10 L of SG 1.100 (C: 26.117 % of 10 L x 261.17 g/L).
        let two = mix_gravities(&[(10.0, 1.0), (10.0, 1.1)]).unwrap();
        near(two.volume_l * two.sg, 21.0, 1e-9);
        near(two.sugar_g_l * two.volume_l, 2611.7, 0.1);
        assert!(mix_gravities(&[]).is_err());
    }

    #[test]
    fn sweetening_a_finished_drink_warns() {
        let sweet = sweeten_finished(10.0, 0.995, 20.0).unwrap();
        near(1000.0 * sweet.value.sugar_kg / sweet.value.result.volume_l, 20.0, 1e-9);
        near(sweet.value.result.sg, 1.0026, 0.000_3);
        assert!(sweet.warning.unwrap().contains("burst"));
        let none = sweeten_finished(10.0, 0.995, 0.0).unwrap();
        assert_eq!(none.warning, None);
        near(none.value.result.volume_l, 10.0, 1e-9);
        near(none.value.result.sg, 0.995, 1e-9);
    }

    #[test]
    fn sugar_cannot_be_taken_out_and_stops_dissolving() {
        let less = sugar_for_strength(20.0, 1.09, 5.0, 16.83).unwrap_err();
        assert!(less.to_string().contains("by itself") && less.low > 14.0, "{less}");
        assert!(sugar_for_strength(20.0, 1.0, 60.0, 16.83).is_err());
        assert!(dissolve(1.0, 1.0, 5.0).unwrap_err().high < 2.0);
        assert!(dissolve(10.0, 1.0, -1.0).is_err() && sweeten_finished(10.0, 0.995, -1.0).is_err());
        assert!(sugar_for_strength(20.0, 1.0, 20.0, 16.83).unwrap().warning.is_some());
    }
}
