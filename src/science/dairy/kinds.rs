//! The milks of different animals, and whey as it gets thicker: sugar that crystallises, weight that grows.

use super::super::{OutOfRange, Range};
use super::{CASEIN_SHARE_OF_PROTEIN, Composition, DEFAULT_WHEY_LACTOSE_G_L, WHEY_KG_L, WHOLE_MILK};

/// Whole goat's milk. Fat and protein: FAO food composition tables; the rest from memory.
pub const GOAT_MILK: Composition =
    Composition { water: 86.7, protein: 3.8, fat: 4.5, lactose: 4.3, ash: 0.8 };
/// Whole sheep's milk. Fat and protein: FAO food composition tables; the rest from memory.
pub const SHEEP_MILK: Composition =
    Composition { water: 82.0, protein: 5.8, fat: 6.5, lactose: 4.8, ash: 0.9 };
/// Whole buffalo's milk. Fat and protein: FAO food composition tables; the rest from memory.
pub const BUFFALO_MILK: Composition =
    Composition { water: 82.9, protein: 4.0, fat: 7.5, lactose: 4.8, ash: 0.8 };

/// Whose milk it is.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Milk {
    /// A cow's.
    Cow,
    /// A goat's.
    Goat,
    /// A sheep's.
    Sheep,
    /// A buffalo's.
    Buffalo,
}

impl Milk {
    /// What is in it; a starting point to be edited.
    pub const fn composition(self) -> Composition {
        match self {
            Self::Cow => WHOLE_MILK,
            Self::Goat => GOAT_MILK,
            Self::Sheep => SHEEP_MILK,
            Self::Buffalo => BUFFALO_MILK,
        }
    }

    /// Density at 20 °C in kg/L: cow's of a published data set, the others from memory.
    pub const fn kg_l(self) -> f64 {
        match self {
            Self::Cow => super::MILK_KG_L,
            Self::Goat | Self::Buffalo => 1.031,
            Self::Sheep => 1.036,
        }
    }

    /// Casein in per cent.
    pub fn casein_percent(self) -> f64 {
        CASEIN_SHARE_OF_PROTEIN * self.composition().protein
    }

    /// Lactose of its whey in g/L: [`DEFAULT_WHEY_LACTOSE_G_L`] for cow's milk, the others in proportion to
    /// the lactose in what is left of the milk when fat and casein are taken out (own rule).
    pub fn whey_lactose_g_l(self) -> f64 {
        let serum = |milk: Self| {
            let food = milk.composition();
            food.lactose / (100.0 - food.fat - milk.casein_percent())
        };
        DEFAULT_WHEY_LACTOSE_G_L * serum(self) / serum(Self::Cow)
    }
}

/// Temperature for the solubility of lactose.
pub const SOLUBILITY_C: Range = Range::new("temperature for lactose", "°C", 0.0, 89.0).validated(15.0, 25.0);

/// Lactose in grams that 100 g of water dissolve in the end. Source: a table of dairy textbooks, from
/// memory; only the 19 g at 20 °C were compared with a second memory.
pub fn lactose_solubility_g_100_g(temperature_c: f64) -> Result<f64, OutOfRange> {
    const TABLE: [(f64, f64); 8] = [
        (0.0, 11.9),
        (15.0, 16.9),
        (25.0, 21.6),
        (39.0, 31.5),
        (49.0, 42.4),
        (64.0, 65.8),
        (74.0, 86.2),
        (89.0, 139.2),
    ];
    let t = SOLUBILITY_C.check(temperature_c)?;
    let below = TABLE.iter().rposition(|row| row.0 <= t).unwrap_or(0).min(TABLE.len() - 2);
    let (low, high) = (TABLE[below], TABLE[below + 1]);
    Ok(low.1 + (high.1 - low.1) * (t - low.0) / (high.0 - low.0))
}

/// Lactose in g/L that crystallises in the end from a whey with `lactose_g_l`, cooled to a temperature:
/// what its water, taken as a litre's weight less its dry matter, cannot hold.
pub fn lactose_crystals_g_l(lactose_g_l: f64, fold: f64, temperature_c: f64) -> Result<f64, OutOfRange> {
    let lactose = Range::new("lactose", "g/L", 0.0, 1000.0).check(lactose_g_l)?;
    let dry_g_l = DRY_MATTER_G_L * FOLD.check(fold)?;
    let water_g_l = (1000.0 * concentrated_whey_kg_l(fold)? - dry_g_l).max(0.0);
    Ok((lactose - lactose_solubility_g_100_g(temperature_c)? * water_g_l / 100.0).max(0.0))
}

/// Dry matter of sweet whey: 6.88 % (USDA, from memory).
const DRY_MATTER_G_L: f64 = 70.0;

/// How many times a whey is concentrated.
pub const FOLD: Range = Range::new("times it is boiled down", "", 1.0, 20.0).validated(1.0, 10.0);

/// Density in kg/L of whey concentrated so many times, on a straight line from 1.025 to the 1.20 of a tenfold
/// whey (common practice, no source): what is dissolved grows in proportion.
pub fn concentrated_whey_kg_l(fold: f64) -> Result<f64, OutOfRange> {
    let slope = (super::super::heat::TENFOLD_WHEY_KG_L - WHEY_KG_L) / 9.0;
    Ok(WHEY_KG_L + slope * (FOLD.check(fold)? - 1.0))
}

#[cfg(test)]
mod tests {
    use super::super::super::checks::near;
    use super::*;

    #[test]
    fn the_milks_add_up_to_the_whole() {
        for milk in [Milk::Cow, Milk::Goat, Milk::Sheep, Milk::Buffalo] {
            let food = milk.composition();
            // What is missing is acids and what the tables round.
            let sum = food.water + food.protein + food.fat + food.lactose + food.ash;
            near(sum, 100.0, 0.11);
        }
        near(Milk::Cow.whey_lactose_g_l(), 47.0, 1e-9);
        near(Milk::Sheep.whey_lactose_g_l(), 49.8, 0.1);
    }

    #[test]
    fn lactose_dissolves_as_remembered() {
        // M: about 19 g in 100 g of water at 20 °C.
        near(lactose_solubility_g_100_g(20.0).unwrap(), 19.0, 0.5);
        assert!(lactose_solubility_g_100_g(95.0).is_err());
        // Whey as it is holds its lactose at 20 °C; tenfold and unsplit, most of it crystallises.
        near(lactose_crystals_g_l(47.0, 1.0, 20.0).unwrap(), 0.0, 0.0);
        assert!(lactose_crystals_g_l(470.0, 10.0, 20.0).unwrap() > 300.0);
    }

    #[test]
    fn a_tenfold_whey_has_the_density_of_the_check_values() {
        // CP: 1.20 kg/L tenfold; 1.025 as it is (M).
        near(concentrated_whey_kg_l(10.0).unwrap(), 1.20, 1e-12);
        near(concentrated_whey_kg_l(1.0).unwrap(), 1.025, 1e-12);
        assert!(concentrated_whey_kg_l(0.5).is_err() && concentrated_whey_kg_l(f64::NAN).is_err());
    }
}
