//! Sulphite: how much of it protects, and how much salt to weigh.
//!
//! Its fumes set off asthma: gloves, an open window, never with acid in a closed room, never with bleach.

use super::range::VOLUME_L;
use super::{Guide, OutOfRange, Range, molar};

/// pH of the drink.
pub const PH: Range = Range::new("pH of the drink", "", 2.8, 4.2);
/// Strength of the drink.
pub const VOL_PERCENT: Range = Range::new("strength", "% vol", 0.0, 20.0);
/// Temperature of the drink; the table begins at 20 °C.
pub const TEMPERATURE_C: Range = Range::new("temperature of the drink", "°C", 0.0, 40.0);
/// Sulphur dioxide in a drink.
pub const SULPHITE_MG_L: Range = Range::new("sulphur dioxide", "mg/L", 0.0, 1000.0);
/// Molecular sulphur dioxide wanted: 0.5 mg/L (red) to 0.8 mg/L (white) (common practice).
pub const MOLECULAR_MG_L: Range = Range::new("molecular sulphur dioxide", "mg/L", 0.0, 2.0);

/// From this total on a label must say "contains sulphites" (Regulation (EU) 1169/2011, Annex II; US 27 CFR
/// 4.32(e), from memory). Yeast alone can make more: "not added" is not "free of".
pub const LABEL_FROM_MG_L: f64 = 10.0;
/// Most in US wine (27 CFR 4.22, from memory); for a warning only.
pub const US_LIMIT_MG_L: f64 = 350.0;
/// Most in dry red wine of the EU (Regulation (EU) 2019/934, Annex I B, from memory); for a warning only.
pub const EU_RED_LIMIT_MG_L: f64 = 150.0;
/// Most in dry white wine of the EU (the same).
pub const EU_WHITE_LIMIT_MG_L: f64 = 200.0;

const STRENGTHS: [f64; 5] = [0.0, 5.0, 10.0, 15.0, 20.0];
const TEMPERATURES: [f64; 5] = [20.0, 25.0, 30.0, 35.0, 40.0];
/// Mixed constant pKM, by strength (rows) and temperature: OIV-MA-AS323-04C after Usseglio-Tomasset and
/// Bosia (1984), ionic strength 0.038; from memory, smooth against the thermodynamic pKT that was read.
const PKM: [[f64; 5]; 5] = [
    [1.723, 1.925, 2.143, 2.257, 2.416],
    [1.819, 2.020, 2.220, 2.317, 2.446],
    [1.916, 2.117, 2.312, 2.405, 2.522],
    [2.014, 2.216, 2.417, 2.520, 2.640],
    [2.114, 2.317, 2.538, 2.663, 2.803],
];

/// The place of `x` in a row of rising marks: the mark below and the share of the way to the next.
fn place(marks: &[f64; 5], x: f64) -> (usize, f64) {
    let below = marks.iter().rposition(|mark| *mark <= x).unwrap_or(0).min(marks.len() - 2);
    (below, (x - marks[below]) / (marks[below + 1] - marks[below]))
}

fn pkm(vol_percent: f64, temperature_c: f64) -> f64 {
    let (row, up) = place(&STRENGTHS, vol_percent);
    let (column, along) = place(&TEMPERATURES, temperature_c.max(TEMPERATURES[0]));
    let at = |row: usize| PKM[row][column] + along * (PKM[row][column + 1] - PKM[row][column]);
    at(row) + up * (at(row + 1) - at(row))
}

/// The share of free sulphur dioxide that is molecular, the part that protects.
///
/// Source: OIV-MA-AS323-04C, interpolated; 0 to 20 % vol, 20 to 40 °C. Colder than 20 °C there is no
/// table: the column of 20 °C is used, which is an upper bound, and the result says so.
pub fn molecular_fraction(ph: f64, vol_percent: f64, temperature_c: f64) -> Result<Guide<f64>, OutOfRange> {
    let ph = PH.check(ph)?;
    let pkm = pkm(VOL_PERCENT.check(vol_percent)?, TEMPERATURE_C.check(temperature_c)?);
    Ok(Guide::sure((1.0 + 10.0_f64.powf(ph - pkm)).recip()).warn_if(
        temperature_c < TEMPERATURES[0],
        || "Below 20 °C there is no table: in the cold less is molecular than this, and more is needed.",
    ))
}

/// Molecular sulphur dioxide in mg/L, from the free. See [`molecular_fraction`].
pub fn molecular_mg_l(
    free_mg_l: f64,
    ph: f64,
    vol_percent: f64,
    temperature_c: f64,
) -> Result<Guide<f64>, OutOfRange> {
    let free = SULPHITE_MG_L.check(free_mg_l)?;
    Ok(molecular_fraction(ph, vol_percent, temperature_c)?.map(|share| free * share))
}

/// Free sulphur dioxide in mg/L for so much molecular. See [`molecular_fraction`].
pub fn free_for_molecular_mg_l(
    molecular_mg_l: f64,
    ph: f64,
    vol_percent: f64,
    temperature_c: f64,
) -> Result<Guide<f64>, OutOfRange> {
    let wanted = MOLECULAR_MG_L.check(molecular_mg_l)?;
    let free = molecular_fraction(ph, vol_percent, temperature_c)?.map(|share| wanted / share);
    let much = free.value > EU_RED_LIMIT_MG_L / 2.0;
    Ok(free
        .warn_if(much, || "So much is tasted and smelled, and may pass a legal limit: lower the pH instead."))
}

/// A salt that gives sulphur dioxide.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Metabisulphite {
    /// Potassium metabisulphite, 57.6 % by theory; 50 to 57 % by age (common practice).
    Potassium,
    /// Sodium metabisulphite, 67.4 % by theory.
    Sodium,
}

impl Metabisulphite {
    /// The share of its mass that is sulphur dioxide, when fresh.
    pub const fn sulphur_dioxide(self) -> f64 {
        let molar_mass = match self {
            Self::Potassium => molar::POTASSIUM_METABISULPHITE,
            Self::Sodium => molar::SODIUM_METABISULPHITE,
        };
        2.0 * molar::SULPHUR_DIOXIDE / molar_mass
    }
}

/// Grams of salt that add so much sulphur dioxide to a volume. `active` is the share of its strength that
/// the salt still has, 1 when fresh.
pub fn metabisulphite_g(
    volume_l: f64,
    add_mg_l: f64,
    salt: Metabisulphite,
    active: f64,
) -> Result<Guide<f64>, OutOfRange> {
    let volume = VOLUME_L.check(volume_l)?;
    let add = SULPHITE_MG_L.check(add_mg_l)?;
    let active = Range::new("strength left in the salt", "", 0.5, 1.0)
        .advice("Use fresh salt: an old one is too uncertain.")
        .check(active)?;
    let grams = volume * add / 1000.0 / (salt.sulphur_dioxide() * active);
    Ok(Guide::sure(grams).warn_if(add > EU_RED_LIMIT_MG_L, || {
        "This alone passes the EU's limit for total sulphur dioxide in dry red wine \
             (150 mg/L; white 200, US 350)."
    }))
}

#[cfg(test)]
mod tests {
    use super::super::checks::near;
    use super::*;

    #[test]
    fn the_constant_lies_a_little_below_the_published_one() {
        // S: pKT of OIV-MA-AS323-04C (its last row M); C: pKT - pKM grows smoothly from 0.075 to 0.09.
        let csv = include_str!(concat!(env!("CARGO_MANIFEST_DIR"), "/tests/check-values/so2_pk_oiv.csv"));
        let rows = super::super::checks::table(csv);
        let (thermodynamic, mixed) = rows.split_at(5);
        for (row, strength) in STRENGTHS.into_iter().enumerate() {
            for (column, temperature) in TEMPERATURES.into_iter().enumerate() {
                let got = pkm(strength, temperature);
                near(got, mixed[row][column + 2], 1e-12);
                let less = thermodynamic[row][column + 2] - got;
                assert!((0.074..=0.093).contains(&less), "{strength} {temperature} {less}");
            }
        }
    }

    #[test]
    fn the_molecular_share_falls_with_ph() {
        // C; tolerance 0.005 % of free.
        for (ph, vol, t, percent) in [
            (3.0, 10.0, 20.0, 7.614),
            (3.2, 10.0, 20.0, 4.943),
            (3.5, 10.0, 20.0, 2.540),
            (3.8, 10.0, 20.0, 1.289),
            (3.2, 12.0, 20.0, 5.385),
            (3.5, 12.0, 20.0, 2.773),
            (3.5, 10.0, 25.0, 3.975),
        ] {
            near(100.0 * molecular_fraction(ph, vol, t).unwrap().value, percent, 0.005);
        }
        near(pkm(12.0, 20.0), 1.9552, 0.000_05);
    }

    #[test]
    fn a_single_constant_is_not_good_enough() {
        // C: the common pKa of 1.81 gives 6.07, 2.00 and 1.01 %; S: a teaching page's 5.6 % at pH 3.0 and
        // 0.585 % at pH 4.0 are pKa 1.77. Warm and strong drinks hold more.
        let share = |ph: f64, pk: f64| 100.0 / (1.0 + 10.0_f64.powf(ph - pk));
        for (ph, pk, percent) in
            [(3.0, 1.81, 6.07), (3.5, 1.81, 2.00), (3.8, 1.81, 1.01), (3.0, 1.77, 5.6), (4.0, 1.77, 0.585)]
        {
            near(share(ph, pk), percent, 0.05);
            assert!(100.0 * molecular_fraction(ph, 12.0, 20.0).unwrap().value > share(ph, pk));
        }
    }

    #[test]
    fn free_sulphite_to_aim_for() {
        // C: 0.8 mg/L molecular at 12 % vol, 20 °C.
        for (ph, want) in [(3.2, 14.9), (3.5, 28.8)] {
            let free = free_for_molecular_mg_l(0.8, ph, 12.0, 20.0).unwrap();
            near(free.value, want, 0.06);
            near(molecular_mg_l(free.value, ph, 12.0, 20.0).unwrap().value, 0.8, 1e-12);
            assert_eq!(free.warning, None);
        }
        assert!(free_for_molecular_mg_l(0.8, 4.2, 10.0, 20.0).unwrap().warning.is_some());
    }

    #[test]
    fn a_cold_cellar_is_told_that_the_figure_is_an_upper_bound() {
        let cold = molecular_fraction(3.5, 12.0, 12.0).unwrap();
        near(cold.value, molecular_fraction(3.5, 12.0, 20.0).unwrap().value, 0.0);
        assert!(cold.warning.unwrap().contains("more is needed"));
        assert!(molecular_fraction(4.3, 12.0, 20.0).is_err() && molecular_fraction(3.5, 21.0, 20.0).is_err());
    }

    #[test]
    fn salt_to_weigh() {
        // C: 50 mg/L in 20 L take 1.735 g; tolerance 0.001. Shares of theory 57.63 and 67.4 %.
        near(metabisulphite_g(20.0, 50.0, Metabisulphite::Potassium, 1.0).unwrap().value, 1.735, 0.001);
        near(100.0 * Metabisulphite::Potassium.sulphur_dioxide(), 57.63, 0.005);
        near(100.0 * Metabisulphite::Sodium.sulphur_dioxide(), 67.4, 0.05);
        assert!(metabisulphite_g(20.0, 160.0, Metabisulphite::Sodium, 1.0).unwrap().warning.is_some());
        assert!(metabisulphite_g(20.0, 50.0, Metabisulphite::Sodium, 0.3).is_err());
    }
}
