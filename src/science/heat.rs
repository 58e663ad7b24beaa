//! Heat: what it takes to warm milk and whey, and to boil water off.
//!
//! Boiling whey foams and scorches: pan at most two thirds full, no children or pets near, nobody carries
//! a hot pot alone. Steam needs an open window.

use super::dairy::Composition;
use super::molar::ZERO_CELSIUS;
use super::range::VOLUME_L;
use super::{Guide, OutOfRange, Range, polynomial, root};

/// Height above the sea.
pub const ALTITUDE_M: Range = Range::new("altitude", "m", -400.0, 5000.0).validated(0.0, 3000.0);
/// Temperature of water, as a liquid, near normal pressure.
pub const LIQUID_C: Range = Range::new("temperature of the liquid", "°C", 0.0, 100.0);
/// Temperature of boiling water.
pub const BOILING_C: Range = Range::new("boiling temperature", "°C", 1.0, 110.0);
/// A mass to be heated.
pub const MASS_KG: Range = Range::new("mass", "kg", 0.0, 1e6);
/// Specific heat: water 4.18, whey 3.97 to 4.0, milk 3.85 to 3.93 kJ/(kg K).
pub const SPECIFIC_HEAT: Range = Range::new("specific heat", "kJ/(kg K)", 1.0, 4.3);
/// Power of the stove or kettle.
pub const POWER_W: Range = Range::new("power", "W", 50.0, 100_000.0);
/// The share of the power that reaches the liquid: 0.5 to 0.85 (common practice, no source).
pub const EFFICIENCY: Range = Range::new("efficiency of heating", "", 0.1, 1.0).validated(0.5, 0.85);

/// Specific heat of whey in kJ/(kg K), between 3.957 at 20 °C and 4.006 at 100 °C (Choi and Okos).
pub const WHEY_KJ_KG_K: f64 = 3.95;
/// Density of a whey boiled down tenfold, kg/L (common practice, no source).
pub const TENFOLD_WHEY_KG_L: f64 = 1.20;

/// Specific heat in kJ/(kg K) at a temperature. Source: Choi and Okos (1986), from memory; about 1 % low
/// for pure water.
pub fn specific_heat_kj_kg_k(food: &Composition, temperature_c: f64) -> Result<f64, OutOfRange> {
    let t = LIQUID_C.check(temperature_c)?;
    let share = Range::new("share of a component", "%", 0.0, 100.0);
    let components = [
        (food.water, [4.1289, -9.0864e-5, 5.4731e-6]),
        (food.protein, [2.0082, 1.2089e-3, -1.3129e-6]),
        (food.fat, [1.9842, 1.4733e-3, -4.8008e-6]),
        (food.lactose, [1.5488, 1.9625e-3, -5.9399e-6]),
        (food.ash, [1.0926, 1.8896e-3, -3.6817e-6]),
    ];
    components
        .iter()
        .try_fold(0.0, |sum, (percent, heat)| Ok(sum + share.check(*percent)? / 100.0 * polynomial(heat, t)))
}

/// Vapour pressure of water in bar. Source: Wagner and Pruss, IAPWS 1992, from memory.
pub(super) fn vapour_bar(t: f64) -> f64 {
    const CRITICAL_K: f64 = 647.096;
    let kelvin = t + ZERO_CELSIUS;
    let cold = 1.0 - kelvin / CRITICAL_K;
    let terms = [
        (-7.859_517_83, 1.0),
        (1.844_082_59, 1.5),
        (-11.786_649_7, 3.0),
        (22.680_741_1, 3.5),
        (-15.961_871_9, 4.0),
        (1.801_225_02, 7.5),
    ];
    let sum: f64 = terms.iter().map(|(factor, power)| factor * cold.powf(*power)).sum();
    220.64 * (CRITICAL_K / kelvin * sum).exp()
}

/// The temperature in °C at which water boils at a height. Sources: the standard atmosphere and the
/// vapour pressure of IAPWS. The weather moves it by half a degree.
pub fn boiling_point_c(altitude_m: f64) -> Result<Guide<f64>, OutOfRange> {
    let altitude = ALTITUDE_M.guide(altitude_m)?;
    let air_bar = 1.013_25 * (1.0 - 2.255_77e-5 * altitude_m).powf(5.255_88);
    let boiling =
        root::find(50.0, 110.0, |t| vapour_bar(t) - air_bar).map_err(|_| ALTITUDE_M.refuse(altitude_m))?;
    Ok(altitude.map(|_| boiling))
}

/// Heat of evaporation of water in kJ/kg. Fit (C) to IAPWS-95 by `CoolProp`, error at most 0.03.
pub fn latent_heat_kj_kg(boiling_c: f64) -> Result<f64, OutOfRange> {
    const FIT: [f64; 4] = [2500.91, -2.375_422_1, 5.449_014_1e-4, -1.242_130_7e-5];
    Ok(polynomial(&FIT, BOILING_C.check(boiling_c)?))
}

/// Heat in kJ to bring a kilogram of water from one temperature to another.
/// Fit (C) to IAPWS-95 at normal pressure by `CoolProp`, error at most 0.03.
pub fn water_heat_kj_kg(from_c: f64, to_c: f64) -> Result<f64, OutOfRange> {
    const ENTHALPY: [f64; 5] = [0.092_046_661, 4.209_478_8, -8.740_576e-4, 9.728_384_5e-6, -2.877_243_5e-8];
    Ok(polynomial(&ENTHALPY, LIQUID_C.check(to_c)?) - polynomial(&ENTHALPY, LIQUID_C.check(from_c)?))
}

/// Heat in kJ to warm a mass: m · c · ΔT.
pub fn warming_kj(
    mass_kg: f64,
    specific_heat_kj_kg_k: f64,
    from_c: f64,
    to_c: f64,
) -> Result<f64, OutOfRange> {
    let to = Range::new("temperature to heat to", "°C", 0.0, 120.0).check(to_c)?;
    let from = Range::new("temperature to heat from", "°C", 0.0, to).check(from_c)?;
    Ok(MASS_KG.check(mass_kg)? * SPECIFIC_HEAT.check(specific_heat_kj_kg_k)? * (to - from))
}

/// Hours that a heat takes at a power of which a share reaches the liquid.
pub fn heating_hours(heat_kj: f64, power_w: f64, efficiency: f64) -> Result<Guide<f64>, OutOfRange> {
    let heat = Range::new("heat", "kJ", 0.0, 1e10).check(heat_kj)?;
    let power = POWER_W.check(power_w)?;
    Ok(EFFICIENCY.guide(efficiency)?.map(|share| heat / (power * share * 3.6)))
}

/// A liquid to be boiled down.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct BoilDown {
    /// Volume at the start, L.
    pub from_l: f64,
    /// Its density, kg/L.
    pub from_kg_l: f64,
    /// Volume wanted, L.
    pub to_l: f64,
    /// Its density, kg/L.
    pub to_kg_l: f64,
    /// Temperature at the start, °C.
    pub from_c: f64,
    /// Boiling temperature, °C.
    pub boiling_c: f64,
    /// Specific heat, kJ/(kg K).
    pub specific_heat_kj_kg_k: f64,
    /// Power of the stove, W.
    pub power_w: f64,
    /// The share of it that reaches the liquid.
    pub efficiency: f64,
}

/// What boiling down takes.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Boil {
    /// Water to boil off.
    pub evaporated_kg: f64,
    /// Heat to come to the boil.
    pub warming_kj: f64,
    /// All the heat the liquid takes.
    pub heat_kj: f64,
    /// Energy drawn from the mains, losses included.
    pub drawn_kwh: f64,
    /// Time until it boils.
    pub warming_hours: f64,
    /// Time for all of it.
    pub hours: f64,
}

/// Heat and time to boil a liquid down: warming, then evaporation at its boiling temperature.
pub fn boil_down(job: &BoilDown) -> Result<Guide<Boil>, OutOfRange> {
    let density = Range::new("density", "kg/L", 0.9, 1.5);
    let from_kg = VOLUME_L.check(job.from_l)? * density.check(job.from_kg_l)?;
    let left = Range::new("volume to boil down to", "L", 0.0, job.from_l);
    let left_kg = left.check(job.to_l)? * density.check(job.to_kg_l)?;
    if left_kg > from_kg {
        return Err(left.within(0.0, from_kg / job.to_kg_l).refuse(job.to_l));
    }
    let evaporated_kg = from_kg - left_kg;
    let warming_kj = warming_kj(from_kg, job.specific_heat_kj_kg_k, job.from_c, job.boiling_c)?;
    let heat_kj = warming_kj + evaporated_kg * latent_heat_kj_kg(job.boiling_c)?;
    let warming_hours = heating_hours(warming_kj, job.power_w, job.efficiency)?.value;
    let hours = heating_hours(heat_kj, job.power_w, job.efficiency)?;
    Ok(hours.map(|hours| Boil {
        evaporated_kg,
        warming_kj,
        heat_kj,
        drawn_kwh: job.power_w * hours / 1000.0,
        warming_hours,
        hours,
    }))
}

#[cfg(test)]
mod tests {
    use super::super::checks::near;
    use super::super::dairy::{SWEET_WHEY, WHOLE_MILK};
    use super::*;

    const JOB: BoilDown = BoilDown {
        from_l: 4.0,
        from_kg_l: 1.025,
        to_l: 0.4,
        to_kg_l: TENFOLD_WHEY_KG_L,
        from_c: 20.0,
        boiling_c: 100.0,
        specific_heat_kj_kg_k: WHEY_KJ_KG_K,
        power_w: 1500.0,
        efficiency: 0.8,
    };

    #[test]
    fn specific_heats_of_milk_and_whey() {
        // C from Choi and Okos (M).
        near(specific_heat_kj_kg_k(&SWEET_WHEY, 20.0).unwrap(), 3.957, 0.002);
        near(specific_heat_kj_kg_k(&SWEET_WHEY, 100.0).unwrap(), 4.006, 0.002);
        near(specific_heat_kj_kg_k(&WHOLE_MILK, 20.0).unwrap(), 3.85, 0.01);
    }

    #[test]
    fn water_by_the_steam_tables() {
        // C: CoolProp, with IAPWS-97 within 0.1; tolerance 0.1.
        for (t, want) in [(60.0, 2357.7), (80.0, 2308.0), (99.97, 2256.5)] {
            near(latent_heat_kj_kg(t).unwrap(), want, 0.1);
        }
        near(water_heat_kj_kg(20.0, 99.97).unwrap(), 335.0, 0.1);
        near(water_heat_kj_kg(10.0, 32.0).unwrap(), 92.06, 0.1);
    }

    #[test]
    fn water_boils_cooler_up_the_hill() {
        // C: standard atmosphere and CoolProp; tolerance 0.02.
        for (altitude, want) in
            [(0.0, 99.97), (500.0, 98.31), (1000.0, 96.65), (1500.0, 94.98), (2000.0, 93.32), (3000.0, 89.97)]
        {
            near(boiling_point_c(altitude).unwrap().value, want, 0.02);
        }
        assert!(boiling_point_c(4000.0).unwrap().warning.is_some());
        assert!(boiling_point_c(9000.0).is_err());
    }

    #[test]
    fn boiling_whey_down_takes_an_evening() {
        // C: 4 L of whey to 0.4 L at 1500 W; tolerance 0.5 %.
        let boil = boil_down(&JOB).unwrap().value;
        near(boil.warming_kj, 1295.6, 0.005 * 1295.6);
        near(60.0 * boil.warming_hours, 18.0, 0.09);
        near(boil.evaporated_kg, 3.62, 0.005 * 3.62);
        near(boil.heat_kj, 9464.0, 0.005 * 9464.0);
        near(boil.heat_kj / 3600.0, 2.63, 0.005 * 2.63);
        near(boil.hours, 2.19, 0.005 * 2.19);
        near(boil.drawn_kwh, 2.63 / 0.8, 0.005 * 3.29);
        near(boil.evaporated_kg / (boil.hours - boil.warming_hours), 1.914, 0.005 * 1.914);
        // C: 3.6 L to 0.36 L.
        let less = boil_down(&BoilDown { from_l: 3.6, to_l: 0.36, ..JOB }).unwrap().value;
        near(less.evaporated_kg, 3.258, 0.005 * 3.258);
        near(less.heat_kj, 8518.0, 0.005 * 8518.0);
        near(less.hours, 1.97, 0.005 * 1.97);
    }

    #[test]
    fn nobody_boils_up() {
        assert!(boil_down(&BoilDown { to_l: 4.1, ..JOB }).is_err());
        assert!(boil_down(&BoilDown { to_l: 3.9, ..JOB }).is_err());
        assert!(boil_down(&BoilDown { from_c: 101.0, ..JOB }).is_err());
        assert!(boil_down(&BoilDown { power_w: 0.0, ..JOB }).is_err());
        assert!(boil_down(&BoilDown { efficiency: 0.95, ..JOB }).unwrap().warning.is_some());
    }
}
