//! How much curd a milk gives, and the whey that is left.

use super::super::range::VOLUME_L;
use super::super::{Guide, OutOfRange, Range};
use super::WHEY_KG_L;

/// Fat of the milk.
pub const FAT_PERCENT: Range = Range::new("fat of the milk", "%", 2.0, 9.0);
/// Casein of the milk: [`CASEIN_SHARE_OF_PROTEIN`] of its protein.
pub const CASEIN_PERCENT: Range = Range::new("casein of the milk", "%", 1.5, 6.0);
/// Moisture of the curd, as a fraction.
pub const MOISTURE_FRACTION: Range = Range::new("moisture of the curd", "", 0.30, 0.85);
const DENSITY_KG_L: Range = Range::new("density of the milk", "kg/L", 1.0, 1.06);

/// Casein as a share of true protein (textbooks of dairy chemistry, 78 to 80 %, from memory).
pub const CASEIN_SHARE_OF_PROTEIN: f64 = 0.78;
/// Above this moisture a curd is wetter than the formula was made for (common practice, no source).
const HARD_CHEESE_MOISTURE: f64 = 0.45;

/// Curd in kg from 100 kg of milk: Y = (0.93 F + C - 0.1) · 1.09/(1 - M).
///
/// Source: Van Slyke and Price, as in the Cheese Technology e-book of the University of Guelph. Made for
/// a hard cheese; a moist curd keeps more of the whey's solids and weighs more.
pub fn curd_kg_per_100_kg(
    fat_percent: f64,
    casein_percent: f64,
    moisture_fraction: f64,
) -> Result<Guide<f64>, OutOfRange> {
    let kept = 0.93 * FAT_PERCENT.check(fat_percent)? + CASEIN_PERCENT.check(casein_percent)? - 0.1;
    let curd_kg = kept * 1.09 / (1.0 - MOISTURE_FRACTION.check(moisture_fraction)?);
    Ok(Guide::sure(curd_kg).warn_if(
        moisture_fraction > HARD_CHEESE_MOISTURE,
        || "The rule is for hard cheese: a moist curd usually weighs more, and leaves less whey.",
    ))
}

/// What a milk comes apart into.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Curd {
    /// The milk.
    pub milk_kg: f64,
    /// The curd.
    pub curd_kg: f64,
    /// The whey: all that is not curd. Losses are recorded, not computed.
    pub whey_kg: f64,
    /// The same at [`WHEY_KG_L`].
    pub whey_l: f64,
}

/// Curd and whey from `milk_l` of milk, by [`curd_kg_per_100_kg`] and the balance of mass.
pub fn curd_and_whey(
    milk_l: f64,
    milk_kg_l: f64,
    fat_percent: f64,
    casein_percent: f64,
    moisture_fraction: f64,
) -> Result<Guide<Curd>, OutOfRange> {
    let milk_kg = VOLUME_L.check(milk_l)? * DENSITY_KG_L.check(milk_kg_l)?;
    let yielded = curd_kg_per_100_kg(fat_percent, casein_percent, moisture_fraction)?;
    let percent = Range::new("curd from 100 kg of milk", "kg", 0.0, 100.0)
        .advice("So much fat, casein and moisture do not go together: check them.")
        .check(yielded.value)?;
    let curd_kg = milk_kg * percent / 100.0;
    let whey_kg = milk_kg - curd_kg;
    Ok(yielded.map(|_| Curd { milk_kg, curd_kg, whey_kg, whey_l: whey_kg / WHEY_KG_L }))
}

#[cfg(test)]
mod tests {
    use super::super::super::checks::near;
    use super::super::{MILK_KG_L, WHOLE_MILK};
    use super::*;

    #[test]
    fn curd_by_van_slyke_and_price() {
        // C from the formula (S: University of Guelph, example inputs in the first row); tolerance 0.001.
        for (fat, casein, moisture, want) in [
            (3.6, 2.5, 0.37, 9.945),
            (3.25, 2.45, 0.37, 9.295),
            (4.0, 2.6, 0.38, 10.935),
            (3.6, 2.5, 0.60, 15.663),
            (3.6, 2.5, 0.75, 25.061),
        ] {
            near(curd_kg_per_100_kg(fat, casein, moisture).unwrap().value, want, 0.001);
        }
        // S: published rule of thumb, 10 L of milk make 1 kg of hard cheese.
        near(curd_kg_per_100_kg(3.6, 2.5, 0.37).unwrap().value * 0.1 * MILK_KG_L, 1.0, 0.05);
        near(WHOLE_MILK.protein * CASEIN_SHARE_OF_PROTEIN, 2.45, 0.01);
    }

    #[test]
    fn four_litres_of_milk_come_apart_into_curd_and_whey() {
        // C: 4.12 kg of milk with 3.6 % fat and 2.5 % casein.
        for (moisture, curd_kg, whey_l) in [(0.60, 0.645, 3.39), (0.37, 0.410, 3.62)] {
            let got = curd_and_whey(4.0, MILK_KG_L, 3.6, 2.5, moisture).unwrap().value;
            near(got.milk_kg, 4.12, 1e-12);
            near(got.curd_kg, curd_kg, 0.000_6);
            near(got.whey_l, whey_l, 0.005);
            near(got.curd_kg + got.whey_kg, got.milk_kg, 1e-12);
        }
        // S: whey is about 90 % of the milk.
        let hard = curd_and_whey(4.0, MILK_KG_L, 3.6, 2.5, 0.37).unwrap();
        near(hard.value.whey_l / 4.0, 0.9, 0.02);
        assert_eq!(hard.warning, None);
        assert!(curd_and_whey(4.0, MILK_KG_L, 3.6, 2.5, 0.6).unwrap().warning.is_some());
    }

    #[test]
    fn milk_outside_the_rule_is_refused() {
        assert!(curd_kg_per_100_kg(1.5, 2.5, 0.4).is_err() && curd_kg_per_100_kg(3.5, 2.5, 0.9).is_err());
        assert!(curd_and_whey(4.0, 1.03, 9.0, 6.0, 0.85).unwrap_err().advice.contains("do not go together"));
        assert!(curd_and_whey(-4.0, 1.03, 3.5, 2.5, 0.4).is_err());
    }
}
