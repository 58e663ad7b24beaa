//! Milk and whey: what is in them, what lactase and yeast make of the lactose, curd, rennet and enzyme.
//!
//! The gravity of whey says nothing about its strength: proteins and salts weigh too, and wine yeast
//! cannot take lactose. Strength comes from lactose by [`natural_strength`] alone.

use super::alcohol::{self, HEXOSE_PER_DISACCHARIDE, HEXOSE_PER_VOL_G_L};
use super::range::VOLUME_L;
use super::{Guide, OutOfRange, Range};

mod curd;
mod enzymes;
mod kinds;

pub use curd::{
    CASEIN_PERCENT, CASEIN_SHARE_OF_PROTEIN, Curd, FAT_PERCENT, MOISTURE_FRACTION, curd_and_whey,
    curd_kg_per_100_kg,
};
pub use enzymes::{
    DEFAULT_LACTASE, DEFAULT_RENNET_IMCU_L, Lactase, LactaseKind, RENNET_C, clotting_minutes,
    lactase_fraction, lactase_hours, lactase_rate_to_31_c, rennet_ml,
};

pub use kinds::{
    BUFFALO_MILK, FOLD, GOAT_MILK, Milk, SHEEP_MILK, SOLUBILITY_C, concentrated_whey_kg_l,
    lactose_crystals_g_l, lactose_solubility_g_100_g,
};

/// Composition in grams per 100 g.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Composition {
    /// Water.
    pub water: f64,
    /// Protein.
    pub protein: f64,
    /// Fat.
    pub fat: f64,
    /// Carbohydrate: in milk and whey, lactose.
    pub lactose: f64,
    /// Minerals.
    pub ash: f64,
}

/// Whole cow's milk (USDA, 3.25 % fat, from memory). A starting point to be edited.
pub const WHOLE_MILK: Composition =
    Composition { water: 88.1, protein: 3.15, fat: 3.25, lactose: 4.8, ash: 0.7 };
/// Sweet whey, from rennet (USDA, from memory).
pub const SWEET_WHEY: Composition =
    Composition { water: 93.12, protein: 0.85, fat: 0.36, lactose: 5.14, ash: 0.53 };
/// Acid whey, from souring (USDA, from memory).
pub const ACID_WHEY: Composition =
    Composition { water: 93.42, protein: 0.76, fat: 0.09, lactose: 5.12, ash: 0.61 };
/// Density of whole milk at 20 °C in kg/L (1.027 to 1.033, from memory; 86 milks of a published data
/// set, `robustbase::milk`, have 1.0303 on average).
pub const MILK_KG_L: f64 = 1.030;
/// Density of whey at 20 °C in kg/L (from memory).
pub const WHEY_KG_L: f64 = 1.025;

/// Lactose in milk or whey.
pub const LACTOSE_G_L: Range = Range::new("lactose", "g/L", 0.0, 200.0);
/// The share of lactose that the enzyme has split.
pub const HYDROLYSED_FRACTION: Range = Range::new("share of lactose that is split", "", 0.0, 1.0);
/// The share of galactose that the yeast takes.
pub const GALACTOSE_FRACTION: Range = Range::new("share of galactose that ferments", "", 0.0, 1.0);
/// A mass of sugar, milk or whey.
const MASS: Range = Range::new("mass", "kg", 0.0, 1e6);
const MASS_G: Range = Range::new("mass of lactose", "g", 0.0, 1e9);
const SOLIDS_PERCENT: Range = Range::new("dry matter", "%", 0.001, 100.0);

/// Default lactose of whey: serum of cow's milk holds 47 to 50 g/L (C).
pub const DEFAULT_WHEY_LACTOSE_G_L: f64 = 47.0;
/// Default share of lactose that lactase splits before yeast is pitched.
pub const DEFAULT_HYDROLYSED_FRACTION: f64 = 0.95;
/// Default share of galactose that ferments, for planning and for strength: none, the cautious side,
/// since strains differ (Rivera Flores et al., Fermentation 7 (2021) 266, saw all of it taken).
pub const GALACTOSE_FRACTION_FOR_STRENGTH: f64 = 0.0;
/// The same for the pressure in a bottle: all of it, the safe side there.
pub const GALACTOSE_FRACTION_FOR_PRESSURE: f64 = 1.0;

/// Lactose after an enzyme, in the unit that went in.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Hydrolysed {
    /// Lactose left.
    pub lactose: f64,
    /// Glucose made.
    pub glucose: f64,
    /// Galactose made.
    pub galactose: f64,
}

/// What becomes of `lactose_g` when a share of it is split: C₁₂H₂₂O₁₁ + H₂O → glucose + galactose,
/// each 52.63 g from 100 g. Source: stoichiometry.
pub fn hydrolysed(lactose_g: f64, hydrolysed_fraction: f64) -> Result<Hydrolysed, OutOfRange> {
    let split = MASS_G.check(lactose_g)? * HYDROLYSED_FRACTION.check(hydrolysed_fraction)?;
    let each = split * HEXOSE_PER_DISACCHARIDE / 2.0;
    Ok(Hydrolysed { lactose: lactose_g - split, glucose: each, galactose: each })
}

/// Fermentable hexose and the strength that whey reaches without added sugar.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct NaturalStrength {
    /// What the yeast can take, g/L, as hexose.
    pub fermentable_g_l: f64,
    /// The strength it gives, % vol.
    pub vol_percent: f64,
}

/// Strength that milk or whey reaches by itself. Wine yeast takes glucose, not lactose, and galactose
/// by a setting: [`GALACTOSE_FRACTION_FOR_STRENGTH`] or [`GALACTOSE_FRACTION_FOR_PRESSURE`].
///
/// With the defaults about 1.4 % vol, which is also what makers say (common practice, no source).
pub fn natural_strength(
    lactose_g_l: f64,
    hydrolysed_fraction: f64,
    galactose_fraction: f64,
    hexose_per_vol_g_l: f64,
) -> Result<Guide<NaturalStrength>, OutOfRange> {
    LACTOSE_G_L.check(lactose_g_l)?;
    let sugars = hydrolysed(lactose_g_l, hydrolysed_fraction)?;
    let fermentable_g_l = sugars.glucose + sugars.galactose * GALACTOSE_FRACTION.check(galactose_fraction)?;
    let strength = alcohol::potential_vol_percent(fermentable_g_l, hexose_per_vol_g_l)?;
    Ok(strength.map(|vol_percent| NaturalStrength { fermentable_g_l, vol_percent }))
}

/// Lactose in g/L that whey must hold to reach a strength by itself; the inverse of [`natural_strength`].
pub fn lactose_for_strength_g_l(
    vol_percent: f64,
    hydrolysed_fraction: f64,
    galactose_fraction: f64,
    hexose_per_vol_g_l: f64,
) -> Result<f64, OutOfRange> {
    let split = HYDROLYSED_FRACTION.within(0.01, 1.0).check(hydrolysed_fraction)?;
    let taken = HEXOSE_PER_DISACCHARIDE / 2.0 * (1.0 + GALACTOSE_FRACTION.check(galactose_fraction)?);
    let per_vol = HEXOSE_PER_VOL_G_L.check(hexose_per_vol_g_l)?;
    let strength = alcohol::VOL_PERCENT.check(vol_percent)?;
    Ok(strength * per_vol / (split * taken))
}

/// Water in kg to boil off until `mass_kg` with `from_percent` dry matter holds `to_percent`.
/// Source: balance of dry matter.
pub fn evaporated_kg(mass_kg: f64, from_percent: f64, to_percent: f64) -> Result<f64, OutOfRange> {
    let from = SOLIDS_PERCENT.check(from_percent)?;
    let to = SOLIDS_PERCENT.within(from, 100.0).check(to_percent)?;
    Ok(MASS.check(mass_kg)? * (1.0 - from / to))
}

/// A content per litre after boiling `from_l` down to `to_l`. With the sugar everything else grows too:
/// salts and galactose make a strong whey syrup salty and hard for yeast, so the result warns beyond
/// fivefold. Concentrate after the lactose is split, or it crystallises (19 g in 100 g of water at 20 °C,
/// from memory).
pub fn concentrated_g_l(content_g_l: f64, from_l: f64, to_l: f64) -> Result<Guide<f64>, OutOfRange> {
    let content = LACTOSE_G_L.check(content_g_l)?;
    let from = VOLUME_L.within(0.001, VOLUME_L.allowed.1).check(from_l)?;
    let to = VOLUME_L.within(from / 20.0, from).check(to_l)?;
    Ok(Guide::sure(content * from / to).warn_if(from > 5.0 * to, || {
        "So strong a whey is salty and holds much sugar that yeast leaves: fermentation may stick. \
         Many makers boil down less and add sugar."
    }))
}

#[cfg(test)]
mod tests {
    use super::super::checks::near;
    use super::*;

    #[test]
    fn lactose_splits_into_equal_halves() {
        // C: stoichiometry, 100 g of lactose; tolerance 0.01.
        let all = hydrolysed(100.0, 1.0).unwrap();
        near(all.glucose, 52.63, 0.01);
        near(all.galactose, 52.63, 0.01);
        near(all.lactose, 0.0, 0.0);
        near(all.glucose + all.galactose - 100.0, 5.263, 0.001);
        near(hydrolysed(100.0, 0.95).unwrap().lactose, 5.0, 1e-12);
    }

    #[test]
    fn whey_reaches_about_one_and_a_half_per_cent() {
        // C: lactose g/L, share split, share of galactose, fermentable g/L, % vol by 16.83, 17 and theory;
        // tolerance 0.002 (0.005 for g/L, printed to 0.01).
        for [lactose, split, galactose, fermentable, eu, french, theory] in [
            [47.0, 0.95, 0.0, 23.50, 1.396, 1.382, 1.523],
            [45.0, 1.0, 0.0, 23.68, 1.407, 1.393, 1.535],
            [44.8, 1.0, 0.0, 23.58, 1.401, 1.387, 1.528],
            [48.0, 0.95, 0.0, 24.00, 1.426, 1.412, 1.555],
            [50.0, 0.95, 0.0, 25.00, 1.485, 1.471, 1.620],
            [47.0, 0.95, 0.3, 30.55, 1.815, 1.797, 1.980],
            [47.0, 1.0, 1.0, 49.47, 2.940, 2.910, 3.206],
        ] {
            for (factor, want) in [(16.83, eu), (17.0, french), (15.432, theory)] {
                let got = natural_strength(lactose, split, galactose, factor).unwrap().value;
                near(got.fermentable_g_l, fermentable, 0.0051);
                near(got.vol_percent, want, 0.002);
                let needed = lactose_for_strength_g_l(got.vol_percent, split, galactose, factor).unwrap();
                near(needed, lactose, 1e-9);
            }
        }
        // CP: whey with its lactose split and nothing added ferments to about 1.4 % vol.
        let default = natural_strength(
            DEFAULT_WHEY_LACTOSE_G_L,
            DEFAULT_HYDROLYSED_FRACTION,
            GALACTOSE_FRACTION_FOR_STRENGTH,
            alcohol::DEFAULT_HEXOSE_PER_VOL_G_L,
        );
        near(default.unwrap().value.vol_percent, 1.4, 0.05);
    }

    #[test]
    fn yeast_cannot_take_lactose() {
        // S: several; unsplit whey gives no alcohol with wine yeast.
        near(natural_strength(47.0, 0.0, 1.0, 16.83).unwrap().value.vol_percent, 0.0, 0.0);
    }

    #[test]
    fn a_glass_of_milk_holds_twelve_grams() {
        // CP: a 240 mL glass of whole milk holds about 12 g of sugar.
        near(0.240 * MILK_KG_L * 10.0 * WHOLE_MILK.lactose, 12.0, 0.2);
    }

    #[test]
    fn boiling_down_keeps_the_dry_matter() {
        // C: balance of dry matter.
        near(evaporated_kg(10.0, 5.0, 20.0).unwrap(), 7.5, 1e-12);
        near(evaporated_kg(4.0, 4.85, 48.5).unwrap(), 3.6, 1e-12);
        // CP: the whey of 4 L of milk (90 %, S) reduced tenfold is a cup and a half (US, 236.5882365 mL).
        near(0.9 * 4.0 / 10.0 / 0.236_588_236_5, 1.52, 0.005);
        // C: tenfold, the glucose of the default whey makes 235 g/L, which is 14 % vol.
        let whey = natural_strength(47.0, 0.95, 0.0, 16.83).unwrap().value;
        let syrup = concentrated_g_l(whey.fermentable_g_l, 4.0, 0.4).unwrap();
        near(syrup.value, 235.0, 0.5);
        near(alcohol::potential_vol_percent(syrup.value, 16.83).unwrap().value, 14.0, 0.05);
        assert!(syrup.warning.unwrap().contains("salty"));
        // C: its ash grows from 0.53 to 5.3 %, its galactose to about 23 %.
        near(concentrated_g_l(SWEET_WHEY.ash, 4.0, 0.4).unwrap().value, 5.3, 1e-9);
    }

    #[test]
    fn nonsense_is_refused() {
        assert!(evaporated_kg(10.0, 20.0, 5.0).is_err() && evaporated_kg(10.0, 0.0, 5.0).is_err());
        assert!(concentrated_g_l(47.0, 4.0, 5.0).is_err() && concentrated_g_l(47.0, 4.0, 0.01).is_err());
        assert!(natural_strength(47.0, 1.1, 0.0, 16.83).is_err() && hydrolysed(-1.0, 0.5).is_err());
        assert!(lactose_for_strength_g_l(1.4, 0.0, 0.0, 16.83).is_err());
    }
}
