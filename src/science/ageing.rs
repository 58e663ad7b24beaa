//! Age weighted by temperature: a guide to time and warmth, not to flavour.

use super::{Guide, OutOfRange, Range};

/// Temperature of a shelf.
pub const SHELF_C: Range = Range::new("temperature of the shelf", "°C", -20.0, 50.0);
/// How many times faster ageing is for each 10 °C. Rules of thumb lie between 2 and 4; one trial on bottles
/// of Sangiovese (Mattivi, 2014, by press reports) saw about 7.
pub const Q10: Range = Range::new("factor for 10 °C", "", 2.0, 4.0);
/// The temperature at which weighted and plain age agree.
pub const REFERENCE_C: Range = Range::new("reference temperature", "°C", 0.0, 35.0);
const DAYS: Range = Range::new("time on the shelf", "days", 0.0, 100_000.0);

/// Default of [`Q10`] (common practice, no source).
pub const DEFAULT_Q10: f64 = 2.5;
/// Default of [`REFERENCE_C`]: a good cellar.
pub const DEFAULT_REFERENCE_C: f64 = 15.0;
/// What must stand beside every weighted age.
pub const NOTE: &str = "A guide to time and warmth only, not to flavour.";

/// Above this heat spoils a drink.
const HEAT_C: f64 = 35.0;
/// Below this wine may freeze and push its closure out.
const FROST_C: f64 = -4.0;
/// Headspace of a vessel beyond which air spoils the drink, as a share (common practice, no source).
const LARGE_HEADSPACE: f64 = 0.05;

/// Days at one temperature.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Stay {
    /// How long.
    pub days: f64,
    /// How warm, °C.
    pub temperature_c: f64,
}

/// How many days at the reference a day at this temperature counts for: `q10^((T - T_ref)/10)`.
/// Source: the rule of thumb of Q10 (common practice), an Arrhenius law of 50 to 110 kJ/mol.
pub fn ageing_factor(temperature_c: f64, q10: f64, reference_c: f64) -> Result<Guide<f64>, OutOfRange> {
    let t = SHELF_C.check(temperature_c)?;
    let factor = Q10.check(q10)?.powf((t - REFERENCE_C.check(reference_c)?) / 10.0);
    Ok(Guide::sure(factor)
        .warn_if(t > HEAT_C, || "Above 35 °C the drink is damaged, not aged.")
        .warn_if(t < 0.0, || "Below 0 °C the rule does not hold.")
        .warn_if(t < FROST_C, || "Below -4 °C it may freeze and push the closure out."))
}

/// The age in days at the reference temperature that several stays amount to.
pub fn weighted_age_days(stays: &[Stay], q10: f64, reference_c: f64) -> Result<Guide<f64>, OutOfRange> {
    stays.iter().try_fold(Guide::sure(0.0), |age, stay| {
        let days = DAYS.check(stay.days)?;
        let factor = ageing_factor(stay.temperature_c, q10, reference_c)?;
        Ok(age.and(factor).map(|(sum, factor)| sum + days * factor))
    })
}

/// The share of a vessel that is empty, with a warning where a drink at rest has too much air above it.
pub fn headspace_fraction(vessel_l: f64, drink_l: f64) -> Result<Guide<f64>, OutOfRange> {
    let vessel = Range::new("volume of the vessel", "L", 0.01, 1e6).check(vessel_l)?;
    let drink = Range::new("drink in the vessel", "L", 0.0, vessel).check(drink_l)?;
    let empty = 1.0 - drink / vessel;
    Ok(Guide::sure(empty).warn_if(
        empty > LARGE_HEADSPACE,
        || "So much air spoils a drink at rest: top up, or take a smaller vessel.",
    ))
}

#[cfg(test)]
mod tests {
    use super::super::checks::near;
    use super::super::molar::{GAS_CONSTANT, ZERO_CELSIUS};
    use super::*;

    #[test]
    fn warmth_counts_for_more_days() {
        // C: Q10 2.5 to 15 °C, to the digits printed.
        for (t, want) in [
            (5.0, 0.400),
            (10.0, 0.632),
            (12.0, 0.760),
            (15.0, 1.0),
            (18.0, 1.316),
            (20.0, 1.581),
            (25.0, 2.5),
            (30.0, 3.953),
        ] {
            near(ageing_factor(t, 2.5, 15.0).unwrap().value, want, 0.000_51);
        }
        // C: a year with a warm summer.
        let year = [(90.0, 12.0), (180.0, 18.0), (95.0, 24.0)]
            .map(|(days, temperature_c)| Stay { days, temperature_c });
        near(weighted_age_days(&year, DEFAULT_Q10, DEFAULT_REFERENCE_C).unwrap().value, 522.02, 0.005);
        near(weighted_age_days(&year, 2.0, 15.0).unwrap().value, 471.98, 0.005);
        near(weighted_age_days(&[], 2.0, 15.0).unwrap().value, 0.0, 0.0);
    }

    #[test]
    fn the_factor_is_an_arrhenius_law() {
        // C: Ea = R ln(Q10) T1 T2/10 between 15 and 25 °C, in kJ/mol. Mattivi's factor of 4 over 7 °C is a
        // Q10 of about 7 and 140 kJ/mol, beyond what the setting takes.
        let kj_mol = |q10: f64| {
            GAS_CONSTANT * q10.ln() * (15.0 + ZERO_CELSIUS) * (25.0 + ZERO_CELSIUS) / 10.0 / 1000.0
        };
        for (q10, want) in [(2.0, 49.5), (2.5, 65.5), (3.0, 78.5)] {
            near(kj_mol(q10), want, 0.05);
        }
        let mattivi = 4.0_f64.powf(10.0 / 7.0);
        near(mattivi, 7.0, 0.3);
        near(kj_mol(mattivi), 140.0, 2.0);
        assert!(ageing_factor(20.0, mattivi, 15.0).is_err());
    }

    #[test]
    fn heat_and_frost_are_named() {
        let warning = |t| ageing_factor(t, 2.5, 15.0).unwrap().warning.unwrap_or_default();
        assert!(warning(36.0).contains("damaged"));
        assert!(warning(-5.0).contains("freeze") && !warning(-3.0).contains("freeze"));
        assert!(warning(35.0).is_empty() && warning(0.0).is_empty());
        assert!(ageing_factor(60.0, 2.5, 15.0).is_err());
        let hot = [Stay { days: 1.0, temperature_c: 40.0 }, Stay { days: 300.0, temperature_c: 15.0 }];
        assert!(weighted_age_days(&hot, 2.5, 15.0).unwrap().warning.is_some());
        assert!(weighted_age_days(&[Stay { days: -1.0, temperature_c: 15.0 }], 2.5, 15.0).is_err());
    }

    #[test]
    fn a_vessel_that_is_not_full_is_named() {
        let headspace = headspace_fraction(20.0, 18.5).unwrap();
        near(headspace.value, 0.075, 1e-12);
        assert!(headspace.warning.is_some());
        assert_eq!(headspace_fraction(20.0, 19.5).unwrap().warning, None);
        assert!(headspace_fraction(20.0, 21.0).is_err());
    }
}
