//! Carbon dioxide: what yeast makes, what a drink holds, and the pressure in a bottle and in a room.
//!
//! Every choice here errs towards too much pressure. All sugars that any microbe could take count as
//! residual sugar, galactose and added sugar too. Bottles burst without warning: eye protection, a closed
//! box, and never move a swollen bottle while it is warm.

use super::alcohol::CO2_PER_HEXOSE;
use super::heat::vapour_bar;
use super::molar::{self, GAS_CONSTANT, ZERO_CELSIUS};
use super::sugar::water_density_kg_m3;
use super::{Guide, OutOfRange, Range};

/// Temperature of a drink with carbon dioxide in it.
pub const TEMPERATURE_C: Range = Range::new("temperature of the bottle", "°C", 2.0, 35.0);
/// Temperature of water, for the solubility in it.
const WATER_C: Range = Range::new("temperature of the water", "°C", 1.1, 40.0);
/// Strength of the drink.
pub const VOL_PERCENT: Range = Range::new("strength", "% vol", 0.0, 20.0);
/// Sugar that will not ferment, for the solubility.
pub const SUGAR_G_L: Range = Range::new("sugar", "g/L", 0.0, 200.0);
/// Sugar that may still ferment in the bottle, as hexose.
pub const RESIDUAL_G_L: Range = Range::new("sugar that may still ferment", "g/L", 0.0, 300.0);
/// Carbon dioxide dissolved when the bottle is filled.
pub const DISSOLVED_G_L: Range = Range::new("dissolved carbon dioxide", "g/L", 0.0, 15.0);
/// Drink in one bottle.
pub const DRINK_ML: Range = Range::new("drink in the bottle", "mL", 1.0, 100_000.0);
/// Gas above it.
pub const HEADSPACE_ML: Range = Range::new("headspace of the bottle", "mL", 0.0, 100_000.0);
const MASS_G: Range = Range::new("mass", "g", 0.0, 1e9);
const ROOM_M3: Range = Range::new("volume of the room", "m³", 1.0, 1e6);
const ROOM_C: Range = Range::new("temperature of the room", "°C", -10.0, 50.0);

/// Carbon dioxide left in a drink that has fermented at 20 °C and was not degassed (C: near saturation).
pub const DISSOLVED_DEFAULT_G_L: f64 = 1.5;
/// The warmest a shelf is taken to get.
pub const WARM_SHELF_C: f64 = 30.0;
/// Carbon dioxide in a room's air from which eight hours are too long, short stays are limited, and life
/// is in danger, in per cent (OSHA and NIOSH, from memory).
pub const ROOM_LIMITS_PERCENT: [f64; 3] = [0.5, 3.0, 4.0];

const ATMOSPHERE_BAR: f64 = 1.013_25;
/// The gas constant in L bar/(mol K).
const GAS_CONSTANT_L_BAR: f64 = GAS_CONSTANT / 100.0;

/// Grams of carbon dioxide from `hexose_g`, by theory (0.4886 g/g): the most there can be.
pub fn co2_made_g(hexose_g: f64) -> Result<f64, OutOfRange> {
    Ok(MASS_G.check(hexose_g)? * CO2_PER_HEXOSE)
}

/// Grams of hexose that fermented when a vessel has lost `lost_g` as gas (2.047 g/g, by theory).
pub fn hexose_fermented_g(lost_g: f64) -> Result<f64, OutOfRange> {
    Ok(MASS_G.check(lost_g)? / CO2_PER_HEXOSE)
}

/// Litres that carbon dioxide fills at normal pressure. Source: ideal gas.
pub fn gas_l(co2_g: f64, temperature_c: f64) -> Result<f64, OutOfRange> {
    let kelvin = ROOM_C.check(temperature_c)? + ZERO_CELSIUS;
    Ok(MASS_G.check(co2_g)? / molar::CARBON_DIOXIDE * GAS_CONSTANT_L_BAR * kelvin / ATMOSPHERE_BAR)
}

/// Carbon dioxide in per cent of a closed room's air, if all of it stays there.
/// Limits: 0.5 % for eight hours, 3 % for a short time, 4 % danger of life (OSHA and NIOSH, from memory).
pub fn room_percent(co2_g: f64, room_m3: f64, temperature_c: f64) -> Result<Guide<f64>, OutOfRange> {
    let percent = 0.1 * gas_l(co2_g, temperature_c)? / ROOM_M3.check(room_m3)?;
    let percent = percent.min(100.0);
    Ok(Guide::sure(percent).warn_if(percent > ROOM_LIMITS_PERCENT[0], || {
        "So much gas in a closed room is dangerous, and it gathers at the floor: air the room, fit an alarm, \
         never enter a pit alone."
    }))
}

/// Carbon dioxide that water dissolves, in g/L for each bar.
/// Source: IAPWS guideline on Henry's constant (from memory; agrees with the `iapws` package).
pub fn water_solubility_g_l_bar(temperature_c: f64) -> Result<f64, OutOfRange> {
    let t = WATER_C.check(temperature_c)?;
    let reduced = (t + ZERO_CELSIUS) / 647.096;
    let tau = 1.0 - reduced;
    let ln_ratio =
        (-8.554_45 + 4.011_95 * tau.powf(0.355)) / reduced + 9.523_45 * reduced.powf(-0.41) * tau.exp();
    let fraction = (vapour_bar(t) * ln_ratio.exp()).recip();
    let water_mol_l = water_density_kg_m3(t)? / molar::WATER;
    Ok(fraction / (1.0 - fraction) * water_mol_l * molar::CARBON_DIOXIDE)
}

/// Carbon dioxide that a drink dissolves, in g/L for each bar.
///
/// Source at 20 °C: Regulation (EEC) 2676/90 and the OIV's method for overpressure; other temperatures in
/// proportion to water (derived).
pub fn solubility_g_l_bar(temperature_c: f64, vol_percent: f64, sugar_g_l: f64) -> Result<f64, OutOfRange> {
    let t = TEMPERATURE_C.check(temperature_c)?;
    let alcohol = 0.86 - 0.01 * VOL_PERCENT.check(vol_percent)?;
    let sugar = 1.0 - 0.001_44 * SUGAR_G_L.check(sugar_g_l)?;
    let to_20 = water_solubility_g_l_bar(t)? / water_solubility_g_l_bar(20.0)?;
    Ok(1.951 * alcohol * sugar * to_20)
}

/// A filled and closed bottle.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Bottle {
    /// Drink, mL.
    pub drink_ml: f64,
    /// Gas above it, mL.
    pub headspace_ml: f64,
    /// Strength, % vol.
    pub vol_percent: f64,
    /// All sugar that could still ferment, g/L as hexose.
    pub residual_g_l: f64,
    /// Carbon dioxide dissolved at filling, g/L; [`DISSOLVED_DEFAULT_G_L`] unless it was degassed.
    pub dissolved_g_l: f64,
}

impl Bottle {
    /// Carbon dioxide in g/L of drink that a bar holds, in the drink and above it.
    fn held_g_l_bar(&self, temperature_c: f64) -> Result<f64, OutOfRange> {
        let dissolved = solubility_g_l_bar(temperature_c, self.vol_percent, 0.0)?;
        let gas = molar::CARBON_DIOXIDE / (GAS_CONSTANT_L_BAR * (temperature_c + ZERO_CELSIUS));
        let above = HEADSPACE_ML.check(self.headspace_ml)? / DRINK_ML.check(self.drink_ml)?;
        Ok(dissolved + gas * above)
    }

    /// Over-pressure in bar when all of the residual sugar has fermented.
    ///
    /// It is the partial pressure of carbon dioxide, which is the over-pressure over the air that was
    /// closed in. Source: balance of carbon dioxide between drink and headspace.
    pub fn pressure_bar(&self, temperature_c: f64) -> Result<f64, OutOfRange> {
        let made = CO2_PER_HEXOSE * RESIDUAL_G_L.check(self.residual_g_l)?;
        let total = made + DISSOLVED_G_L.check(self.dissolved_g_l)?;
        Ok(total / self.held_g_l_bar(temperature_c)?)
    }

    /// The most residual sugar in g/L that keeps within a pressure; none if the dissolved gas alone passes
    /// it. The inverse of [`Bottle::pressure_bar`]; the bottle's own residual sugar does not count.
    pub fn most_residual_g_l(&self, pressure_bar: f64, temperature_c: f64) -> Result<f64, OutOfRange> {
        let pressure = Vessel::RATED_BAR.within(0.0, Vessel::RATED_BAR.allowed.1).check(pressure_bar)?;
        let total = pressure * self.held_g_l_bar(temperature_c)?;
        Ok(((total - DISSOLVED_G_L.check(self.dissolved_g_l)?) / CO2_PER_HEXOSE).max(0.0))
    }

    /// Whether the vessel holds what this bottle may come to at the warmest it gets.
    pub fn in_vessel(&self, vessel: Vessel, warmest_c: f64) -> Result<Verdict, OutOfRange> {
        let limit_bar = vessel.limit_bar()?;
        let pressure_bar = self.pressure_bar(warmest_c)?;
        Ok(Verdict { pressure_bar, limit_bar, holds: pressure_bar <= limit_bar })
    }
}

/// What a drink is bottled in, by the over-pressure it takes.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Vessel {
    /// Bottles for still wine, jars, anything with a screw lid or a cork: 1 bar (common practice; the EU
    /// calls wine still below 1 bar at 20 °C).
    Still,
    /// Bottles made for crown caps or swing tops: 2.5 bar (common practice, no source).
    Pressure,
    /// Bottles for sparkling wine, by what their maker says.
    Rated {
        /// Over-pressure they are made for, in bar.
        bar: f64,
    },
}

impl Vessel {
    /// What makers rate bottles for.
    pub const RATED_BAR: Range = Range::new("pressure the bottle is made for", "bar", 1.0, 12.0)
        .advice("Take the figure from the maker of the bottle.");

    /// The over-pressure in bar that it may come to.
    pub fn limit_bar(self) -> Result<f64, OutOfRange> {
        match self {
            Self::Still => Ok(1.0),
            Self::Pressure => Ok(2.5),
            Self::Rated { bar } => Self::RATED_BAR.check(bar),
        }
    }
}

/// Whether a bottle is safe to fill.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Verdict {
    /// What it may come to.
    pub pressure_bar: f64,
    /// What it may bear.
    pub limit_bar: f64,
    /// Whether the one is within the other.
    pub holds: bool,
}

#[cfg(test)]
mod tests {
    use super::super::checks::{near, table};
    use super::*;

    const BOTTLE: Bottle = Bottle {
        drink_ml: 750.0,
        headspace_ml: 15.0,
        vol_percent: 12.0,
        residual_g_l: 0.0,
        dissolved_g_l: DISSOLVED_DEFAULT_G_L,
    };

    fn with(residual_g_l: f64, dissolved_g_l: f64) -> Bottle {
        Bottle { residual_g_l, dissolved_g_l, ..BOTTLE }
    }

    #[test]
    fn twenty_litres_fill_a_tenth_of_a_small_room() {
        // C: 20 L to 12 % vol are 201.96 g/L of hexose: 1974 g of gas, 1079 L at 20 °C, 11 % of 10 m³.
        let co2_g = co2_made_g(20.0 * 201.96).unwrap();
        near(co2_g, 1974.0, 1.0);
        near(gas_l(co2_g, 20.0).unwrap(), 1079.0, 1.0);
        let room = room_percent(co2_g, 10.0, 20.0).unwrap();
        near(room.value, 11.0, 0.5);
        assert!(room.warning.unwrap().contains("air the room"));
        assert_eq!(room_percent(co2_g, 1000.0, 20.0).unwrap().warning, None);
        near(hexose_fermented_g(1.0).unwrap(), 2.047, 0.000_5);
    }

    #[test]
    fn water_dissolves_less_when_warm() {
        // C: the iapws package; tolerance 0.5 %. M: Sander's constant gives 1.717 and 1.496, within 2 %.
        let csv = include_str!(concat!(env!("CARGO_MANIFEST_DIR"), "/tests/check-values/co2_solubility.csv"));
        for row in table(csv) {
            near(water_solubility_g_l_bar(row[0]).unwrap(), row[2], 0.001 * row[2]);
            near(solubility_g_l_bar(row[0], 12.0, 0.0).unwrap(), row[3], 0.001 * row[3]);
        }
        near(water_solubility_g_l_bar(20.0).unwrap(), 1.717, 0.02 * 1.717);
        near(water_solubility_g_l_bar(25.0).unwrap(), 1.496, 0.02 * 1.496);
    }

    #[test]
    fn wine_dissolves_by_the_formula_of_the_method() {
        // C from Regulation 2676/90 (S), 20 °C; to the digits printed.
        for (vol, sugar, want) in [
            (0.0, 0.0, 1.6779),
            (10.0, 0.0, 1.4828),
            (12.0, 0.0, 1.4437),
            (12.0, 20.0, 1.4022),
            (12.0, 100.0, 1.2358),
        ] {
            near(solubility_g_l_bar(20.0, vol, sugar).unwrap(), want, 0.000_06);
        }
    }

    #[test]
    fn a_bottle_comes_to_so_much() {
        // C: 750 mL and 15 mL of headspace, 12 % vol; tolerance 0.01 bar.
        for (residual, dissolved, t, want) in [
            (0.0, 1.5, 20.0, 1.014),
            (1.0, 1.5, 20.0, 1.344),
            (2.0, 1.5, 20.0, 1.674),
            (4.0, 1.5, 20.0, 2.334),
            (5.0, 1.5, 20.0, 2.664),
            (10.0, 1.5, 20.0, 4.315),
            (10.0, 1.5, 30.0, 5.567),
            (20.0, 1.5, 20.0, 7.617),
            (24.0, 1.5, 20.0, 8.938),
            (4.0, 0.0, 20.0, 1.321),
            (24.0, 0.0, 10.0, 5.90),
            (24.0, 0.0, 20.0, 7.92),
        ] {
            near(with(residual, dissolved).pressure_bar(t).unwrap(), want, 0.01);
        }
        // M: textbooks say that 24 g/L make about 6 bar at 10 °C.
        near(with(24.0, 0.0).pressure_bar(10.0).unwrap(), 6.0, 0.3);
    }

    #[test]
    fn champagne_bottles_agree() {
        // S: Liger-Belair 2017, Scientific Reports, Table 1: 4.7 bar at 6 °C, 5.8 at 12, 7.5 at 20; the
        // content of 11.5 g/L is from another abstract of the author; tolerance 10 %.
        let champagne = Bottle { vol_percent: 12.5, dissolved_g_l: 11.5, ..BOTTLE };
        for (t, published, computed) in [(6.0, 4.7, 5.11), (12.0, 5.8, 6.20), (20.0, 7.5, 7.82)] {
            let got = champagne.pressure_bar(t).unwrap();
            near(got, published, 0.1 * published);
            near(got, computed, 0.011);
        }
    }

    #[test]
    fn residual_sugar_and_pressure_are_each_others_inverse() {
        for step in 0..=200 {
            let residual = f64::from(step) / 10.0;
            let bar = with(residual, 0.8).pressure_bar(25.0).unwrap();
            if bar <= Vessel::RATED_BAR.allowed.1 {
                near(BOTTLE_AT_08.most_residual_g_l(bar, 25.0).unwrap(), residual, 1e-9);
            }
        }
        near(BOTTLE.most_residual_g_l(0.5, 30.0).unwrap(), 0.0, 0.0);
    }

    const BOTTLE_AT_08: Bottle = Bottle { dissolved_g_l: 0.8, ..BOTTLE };

    #[test]
    fn a_wine_bottle_is_refused_what_a_sparkling_one_bears() {
        let sweet = with(5.0, 1.5);
        assert!(!sweet.in_vessel(Vessel::Still, WARM_SHELF_C).unwrap().holds);
        assert!(!sweet.in_vessel(Vessel::Pressure, WARM_SHELF_C).unwrap().holds);
        assert!(sweet.in_vessel(Vessel::Rated { bar: 6.0 }, WARM_SHELF_C).unwrap().holds);
        assert!(with(0.0, 0.8).in_vessel(Vessel::Still, WARM_SHELF_C).unwrap().holds);
        let unknown = sweet.in_vessel(Vessel::Rated { bar: 50.0 }, WARM_SHELF_C).unwrap_err();
        assert!(unknown.to_string().contains("maker"), "{unknown}");
        assert!(sweet.pressure_bar(40.0).is_err() && with(-1.0, 0.0).pressure_bar(20.0).is_err());
        assert!(Bottle { drink_ml: 0.0, ..BOTTLE }.pressure_bar(20.0).is_err());
    }
}
