//! Rennet and lactase: doses and times. Both are guides; the label of the enzyme comes first.

use super::super::molar::{GAS_CONSTANT, ZERO_CELSIUS};
use super::super::range::VOLUME_L;
use super::super::{Guide, OutOfRange, Range};

/// Temperature at which rennet works; it is lost above about 40 °C (common practice, no source).
pub const RENNET_C: Range = Range::new("temperature for rennet", "°C", 20.0, 40.0)
    .validated(28.0, 36.0)
    .advice("Rennet is lost in hot milk and idle in cold: bring the milk to 28 to 36 °C.");
const TARGET_IMCU_L: Range = Range::new("rennet wanted", "IMCU/L", 5.0, 200.0).validated(30.0, 60.0);
const STRENGTH_IMCU_ML: Range = Range::new("strength of the rennet", "IMCU/mL", 10.0, 5000.0);
const MINUTES: Range = Range::new("clotting time", "min", 0.1, 10_000.0);

/// Rennet for cow's milk: 30 to 50 IMCU/L (common practice; a maker's data come to 52).
pub const DEFAULT_RENNET_IMCU_L: f64 = 45.0;

/// Rennet in mL for `milk_l` at `target_imcu_l`, of a strength in IMCU/mL (the unit of ISO 11815 | IDF 157).
pub fn rennet_ml(
    milk_l: f64,
    target_imcu_l: f64,
    strength_imcu_ml: f64,
    temperature_c: f64,
) -> Result<Guide<f64>, OutOfRange> {
    let milk = VOLUME_L.check(milk_l)?;
    let strength = STRENGTH_IMCU_ML.check(strength_imcu_ml)?;
    let target = TARGET_IMCU_L.guide(target_imcu_l)?.and(RENNET_C.guide(temperature_c)?);
    Ok(target.map(|(target, _)| target * milk / strength))
}

/// Minutes to clot at another dose: time is inversely proportional to dose (Holter, from memory).
pub fn clotting_minutes(known_minutes: f64, known_imcu_l: f64, imcu_l: f64) -> Result<f64, OutOfRange> {
    let known = MINUTES.check(known_minutes)?;
    Ok(known * TARGET_IMCU_L.check(known_imcu_l)? / TARGET_IMCU_L.check(imcu_l)?)
}

/// Where a lactase is from. Their units (ALU and NLU) measure different things and are never converted.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum LactaseKind {
    /// From yeast: pH 6 to 7.5, below 40 °C.
    Neutral,
    /// From mould: pH 3.5 to 5.5, up to about 55 °C; for whey that has soured below pH 6.
    Acid,
}

impl LactaseKind {
    /// Temperatures at which it works (neutral: some is lost within an hour at 40 °C).
    pub const fn temperature_c(self) -> Range {
        let range = Range::new("temperature for the lactase", "°C", 2.0, 40.0);
        match self {
            Self::Neutral => range.validated(5.0, 35.0).advice("Add it only to liquid below 40 °C."),
            Self::Acid => {
                range.within(2.0, 55.0).validated(5.0, 35.0).advice("Add it only to liquid below 55 °C.")
            }
        }
    }

    /// The pH at which it works (from memory).
    pub const fn ph(self) -> Range {
        match self {
            Self::Neutral => Range::new("pH for a neutral lactase", "", 6.0, 7.5)
                .advice("For soured whey take an acid lactase."),
            Self::Acid => Range::new("pH for an acid lactase", "", 3.5, 5.5)
                .advice("For sweet milk or whey take a neutral lactase."),
        }
    }
}

/// What the label of a lactase, or a trial, promises: this share is split in so many hours.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Lactase {
    /// Neutral or acid.
    pub kind: LactaseKind,
    /// Dose, in the unit of the label per litre.
    pub dose: f64,
    /// Hours.
    pub hours: f64,
    /// Temperature, °C.
    pub temperature_c: f64,
    /// The share of lactose that is split.
    pub fraction: f64,
}

/// 3 mL/L of a neutral lactase split 80 % in 12 hours at 5 °C (SCIRP paper 114047 (2021): over 80 %
/// with 0.3 % of enzyme at 4 to 6 °C). To be replaced by the label's.
pub const DEFAULT_LACTASE: Lactase =
    Lactase { kind: LactaseKind::Neutral, dose: 3.0, hours: 12.0, temperature_c: 5.0, fraction: 0.8 };

const DOSE: Range = Range::new("dose of lactase", "per litre", 1e-6, 1e9);
const HOURS: Range = Range::new("time for the lactase", "h", 0.0, 1000.0);
const FRACTION: Range = Range::new("share of lactose to split", "", 0.0, 0.999);

/// Activation energy: as much lactose split in 22 h at 5 °C as in 2 h at 31 °C ("Properties of
/// beta-galactosidase of Saccharomyces lactis in milk and milk products", abstract).
fn activation_j_mol() -> f64 {
    GAS_CONSTANT * 11.0_f64.ln() / (1.0 / kelvin(5.0) - 1.0 / kelvin(31.0))
}

fn kelvin(celsius: f64) -> f64 {
    celsius + ZERO_CELSIUS
}

/// How fast lactase works at a temperature, with 31 °C as 1 (Arrhenius through 5 and 31 °C).
pub fn lactase_rate_to_31_c(temperature_c: f64) -> Result<f64, OutOfRange> {
    LactaseKind::Acid.temperature_c().check(temperature_c)?;
    Ok(rate(temperature_c) / rate(31.0))
}

fn rate(temperature_c: f64) -> f64 {
    (-activation_j_mol() / (GAS_CONSTANT * kelvin(temperature_c))).exp()
}

/// First-order constant in 1/h at a dose and temperature, from what the label promises.
fn per_hour(label: &Lactase, dose: f64, temperature_c: f64, ph: f64) -> Result<Guide<f64>, OutOfRange> {
    label.kind.temperature_c().check(label.temperature_c)?;
    label.kind.ph().check(ph)?;
    let fraction = FRACTION.within(0.01, 0.999).check(label.fraction)?;
    let hours = HOURS.within(0.01, 1000.0).check(label.hours)?;
    let known = -(1.0 - fraction).ln() / hours;
    let stronger = DOSE.check(dose)? / DOSE.check(label.dose)?;
    let at = label.kind.temperature_c().guide(temperature_c)?;
    Ok(at.map(|t| known * stronger * rate(t) / rate(label.temperature_c)))
}

/// Hours until `fraction` of the lactose is split, at another dose and temperature than the label's.
///
/// First order, X = 1 - exp(-k t); the product inhibits (Jurado 2002), so the time is a lower bound above
/// 80 %. Warm whey is a growth medium: the result warns after two hours above 8 °C (the 2 h/4 h rule,
/// common practice).
pub fn lactase_hours(
    label: &Lactase,
    dose: f64,
    temperature_c: f64,
    ph: f64,
    fraction: f64,
) -> Result<Guide<f64>, OutOfRange> {
    FRACTION.check(fraction)?;
    let per_hour = per_hour(label, dose, temperature_c, ph)?;
    let hours = per_hour.map(|k| -(1.0 - fraction).ln() / k);
    let slow = HOURS.check(hours.value).is_err();
    let hours = hours.warn_if(slow, || "So little enzyme, so cold, never gets there: give more.");
    Ok(cautious(hours, fraction, temperature_c, |hours| *hours))
}

/// The share of lactose that is split after `hours`, at most; the same model as [`lactase_hours`].
pub fn lactase_fraction(
    label: &Lactase,
    dose: f64,
    temperature_c: f64,
    ph: f64,
    hours: f64,
) -> Result<Guide<f64>, OutOfRange> {
    HOURS.check(hours)?;
    let fraction = per_hour(label, dose, temperature_c, ph)?.map(|k| 1.0 - (-k * hours).exp());
    let share = fraction.value;
    Ok(cautious(fraction, share, temperature_c, |_| hours))
}

fn cautious(guide: Guide<f64>, fraction: f64, temperature_c: f64, hours: impl Fn(&f64) -> f64) -> Guide<f64> {
    let long = hours(&guide.value) > 2.0;
    guide
        .warn_if(
            fraction > 0.8,
            || "Galactose slows the enzyme: above 80 % expect at least this time, or this share at most.",
        )
        .warn_if(long && temperature_c > 8.0, || {
            "Warm whey spoils: keep it below 8 °C, or pasteurise it first \
             and keep to two hours, four at most."
        })
}

#[cfg(test)]
mod tests {
    use super::super::super::checks::near;
    use super::*;

    #[test]
    fn rennet_for_four_litres() {
        // C: 4 L at 45 IMCU/L; to the digits printed.
        for (strength, want) in [(145.0, 1.241), (200.0, 0.900), (290.0, 0.621), (600.0, 0.300)] {
            near(rennet_ml(4.0, 45.0, strength, 32.0).unwrap().value, want, 0.000_5);
        }
        // S: a maker's 30 mL of 175 IMCU/mL for 100 kg comes to 52 IMCU/kg.
        near(rennet_ml(100.0, 52.5, 175.0, 32.0).unwrap().value, 30.0, 0.01);
        near(clotting_minutes(30.0, 45.0, 90.0).unwrap(), 15.0, 1e-12);
    }

    #[test]
    fn rennet_needs_warm_milk() {
        assert_eq!(rennet_ml(4.0, 45.0, 200.0, 32.0).unwrap().warning, None);
        assert!(rennet_ml(4.0, 45.0, 200.0, 25.0).unwrap().warning.is_some());
        let hot = rennet_ml(4.0, 45.0, 200.0, 45.0).unwrap_err().to_string();
        assert!(hot.contains("bring the milk to 28 to 36 °C"), "{hot}");
        assert!(rennet_ml(4.0, 45.0, 0.0, 32.0).is_err());
    }

    #[test]
    fn lactase_slows_in_the_cold() {
        // C from the published 22 h at 5 °C and 2 h at 31 °C (S): rate to 31 °C and hours; tolerance 0.5 %,
        // and half a unit of the last digit printed.
        let known = Lactase { dose: 1.0, hours: 2.0, temperature_c: 31.0, ..DEFAULT_LACTASE };
        for (t, ratio, hours) in [
            (5.0, 0.0909, 22.0),
            (10.0, 0.149, 13.4),
            (20.0, 0.382, 5.24),
            (25.0, 0.597, 3.35),
            (35.0, 1.395, 1.43),
        ] {
            near(lactase_rate_to_31_c(t).unwrap(), ratio, 0.005 * ratio);
            near(lactase_hours(&known, 1.0, t, 6.6, 0.8).unwrap().value, hours, 0.005 * hours);
        }
        near(activation_j_mol(), 64_900.0, 50.0);
        // Over the 26 K between the two the factor for 10 K is 2.515 (C).
        near(lactase_rate_to_31_c(5.0).unwrap().powf(-10.0 / 26.0), 2.515, 0.000_5);
    }

    #[test]
    fn time_and_share_are_each_others_inverse() {
        for step in 1..=99 {
            let fraction = f64::from(step) / 100.0;
            let hours = lactase_hours(&DEFAULT_LACTASE, 2.0, 7.0, 6.6, fraction).unwrap().value;
            let back = lactase_fraction(&DEFAULT_LACTASE, 2.0, 7.0, 6.6, hours).unwrap().value;
            near(back, fraction, 1e-12);
        }
        // The label's own conditions give the label's own result; double dose, half the time.
        near(lactase_hours(&DEFAULT_LACTASE, 3.0, 5.0, 6.6, 0.8).unwrap().value, 12.0, 1e-9);
        near(lactase_hours(&DEFAULT_LACTASE, 6.0, 5.0, 6.6, 0.8).unwrap().value, 6.0, 1e-9);
    }

    #[test]
    fn lactase_is_refused_where_it_dies_and_warned_about_where_whey_spoils() {
        let hours = |t, ph, fraction| lactase_hours(&DEFAULT_LACTASE, 3.0, t, ph, fraction);
        assert!(hours(41.0, 6.6, 0.8).unwrap_err().to_string().contains("below 40 °C"));
        assert!(hours(5.0, 4.6, 0.8).unwrap_err().to_string().contains("acid lactase"));
        assert_eq!(hours(5.0, 6.6, 0.8).unwrap().warning, None);
        assert!(hours(5.0, 6.6, 0.95).unwrap().warning.unwrap().contains("at least"));
        assert!(hours(20.0, 6.6, 0.8).unwrap().warning.unwrap().contains("spoils"));
        let acid = Lactase { kind: LactaseKind::Acid, ..DEFAULT_LACTASE };
        assert!(lactase_hours(&acid, 3.0, 5.0, 4.6, 0.8).is_ok());
    }
}
