//! Nitrogen for the yeast. Honey holds little; whey and fruit vary.

use super::range::VOLUME_L;
use super::{Guide, OutOfRange, Range, molar};

/// Sugar of the must.
pub const MUST_BRIX: Range = Range::new("sugar of the must", "°Bx", 0.0, 35.0).validated(0.0, 27.0);
/// Nitrogen to add.
pub const ADD_MG_L: Range = Range::new("nitrogen to add", "mg/L", 0.0, 400.0).validated(0.0, 250.0);

/// Nitrogen in diammonium phosphate, as a share of its mass.
pub const NITROGEN_IN_DAP: f64 = 2.0 * molar::NITROGEN / molar::DIAMMONIUM_PHOSPHATE;

/// Sugar in °Bx and the nitrogen in mg/L that yeast wants with it (Bisson and Butzke 2000, from memory).
const LADDER: [(f64, f64); 4] = [(21.0, 200.0), (23.0, 250.0), (25.0, 300.0), (27.0, 350.0)];

/// Nitrogen in mg/L that yeast can take and that a must should hold; 200 below 21 °Bx.
///
/// Source: a ladder of the literature from memory. Reported minima lie between 120 and 267 mg/L, so this
/// is a guide.
pub fn nitrogen_wanted_mg_l(brix: f64) -> Result<Guide<f64>, OutOfRange> {
    let checked = MUST_BRIX.guide(brix)?;
    Ok(checked.map(|brix| {
        let [(_, least), .., (_, most)] = LADDER;
        LADDER
            .windows(2)
            .find(|step| brix <= step[1].0)
            .map_or(most, |step| {
                step[0].1 + (step[1].1 - step[0].1) * (brix - step[0].0) / (step[1].0 - step[0].0)
            })
            .max(least)
    }))
}

/// Grams of diammonium phosphate that add so much nitrogen. Source: molar masses.
pub fn diammonium_phosphate_g(volume_l: f64, add_mg_l: f64) -> Result<Guide<f64>, OutOfRange> {
    let volume = VOLUME_L.check(volume_l)?;
    Ok(ADD_MG_L.guide(add_mg_l)?.map(|add| volume * add / 1000.0 / NITROGEN_IN_DAP))
}

#[cfg(test)]
mod tests {
    use super::super::checks::near;
    use super::*;

    #[test]
    fn sweeter_musts_want_more() {
        // M: Bisson and Butzke 2000.
        for (brix, want) in
            [(10.0, 200.0), (21.0, 200.0), (22.0, 225.0), (23.0, 250.0), (25.0, 300.0), (27.0, 350.0)]
        {
            let got = nitrogen_wanted_mg_l(brix).unwrap();
            near(got.value, want, 1e-9);
            assert_eq!(got.warning, None);
        }
        let strong = nitrogen_wanted_mg_l(30.0).unwrap();
        near(strong.value, 350.0, 0.0);
        assert!(strong.warning.is_some());
        assert!(nitrogen_wanted_mg_l(40.0).is_err());
    }

    #[test]
    fn salt_for_a_hundred_milligrams() {
        // C: 21.21 % nitrogen; 100 mg/L in 20 L take 9.43 g; tolerance 0.01.
        near(100.0 * NITROGEN_IN_DAP, 21.21, 0.005);
        near(diammonium_phosphate_g(20.0, 100.0).unwrap().value, 9.43, 0.01);
        assert!(diammonium_phosphate_g(20.0, 300.0).unwrap().warning.is_some());
        assert!(diammonium_phosphate_g(20.0, -1.0).is_err());
    }
}
