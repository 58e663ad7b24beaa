//! A hydrometer read at another temperature than it was made for, by the physics of glass and liquid.

use super::{GRAVITY, Guide, OutOfRange, Range, WATER_20_KG_M3, density, gravity, water};

/// Temperature of the sample when the hydrometer is read.
pub const SAMPLE_C: Range = Range::new("sample temperature", "°C", 5.0, 40.0)
    .validated(10.0, 30.0)
    .advice("Cool or warm the sample into this range and read again.");
/// The temperature printed on the hydrometer: usually 20, else 15 or 15.56 °C.
pub const CALIBRATION_C: Range = Range::new("calibration temperature of the hydrometer", "°C", 15.0, 27.0);
/// The reading, on the scale of the hydrometer.
const READING: Range = Range::new("hydrometer reading", "SG", 0.980, 1.20).validated(1.0, 1.129);
const READING_BRIX: Range = Range::new("hydrometer reading", "°Bx", -5.0, 45.0).validated(0.0, 30.0);

/// Cubic expansion of the glass per kelvin. Source: OIML R 22 and ISO 649, from memory.
const GLASS_PER_K: f64 = 25e-6;
/// Expansion of dissolved sucrose per kelvin, fitted to the correction table of NBS C440.
const SUCROSE_PER_K: f64 = 7.2e-4;

/// Density in kg/m³ of a solution with mass fraction `w` of sucrose at `t` °C.
fn density_at(w: f64, t: f64) -> f64 {
    let sucrose = 1.0 / density(w) - (1.0 - w) / WATER_20_KG_M3;
    ((1.0 - w) / water(t) + sucrose * (1.0 + SUCROSE_PER_K * (t - 20.0))).recip()
}

/// The mass fraction of sucrose in a sample that looks as dense as `shown_kg_m3` to the instrument.
fn fraction(shown_kg_m3: f64, sample_c: f64, calibration_c: f64) -> Result<f64, OutOfRange> {
    let true_kg_m3 = shown_kg_m3 / (1.0 + GLASS_PER_K * (sample_c - calibration_c));
    GRAVITY.within(900.0, 1400.0).invert(true_kg_m3, (-0.15, 0.85), |w| density_at(w, sample_c))
}

fn conditions(sample_c: f64, calibration_c: f64) -> Result<Guide<()>, OutOfRange> {
    CALIBRATION_C.check(calibration_c)?;
    Ok(SAMPLE_C.guide(sample_c)?.map(|_| ()))
}

/// Gravity (SG 20/20) of a sample at `sample_c` on which a hydrometer made for `calibration_c` shows
/// `sg_read` (relative to water at that same temperature).
///
/// Derived: expansion of glass (ISO 649), water (Tanaka) and sucrose. Agrees with the correction table
/// of NBS C440 to 0.06 °Bx from 10 to 30 °C. Fermented samples hold alcohol, which expands more: below
/// SG 1 the result carries a warning.
pub fn hydrometer_at(sg_read: f64, sample_c: f64, calibration_c: f64) -> Result<Guide<f64>, OutOfRange> {
    let conditions = conditions(sample_c, calibration_c)?;
    let reading = READING.guide(sg_read)?;
    let fraction = fraction(sg_read * water(calibration_c), sample_c, calibration_c)?;
    Ok(reading.and(conditions).map(|_| gravity(fraction)))
}

/// Degrees Brix of a sample at `sample_c` on which a Brix hydrometer made for `calibration_c` shows
/// `brix_read`. The same derivation as [`hydrometer_at`].
pub fn hydrometer_brix_at(
    brix_read: f64,
    sample_c: f64,
    calibration_c: f64,
) -> Result<Guide<f64>, OutOfRange> {
    let conditions = conditions(sample_c, calibration_c)?;
    let reading = READING_BRIX.guide(brix_read)?;
    let shown_kg_m3 = density_at(brix_read / 100.0, calibration_c);
    let fraction = fraction(shown_kg_m3, sample_c, calibration_c)?;
    Ok(reading.and(conditions).map(|_| 100.0 * fraction))
}

#[cfg(test)]
mod tests {
    use super::super::super::checks::near;
    use super::super::sg_from_brix;
    use super::*;

    #[test]
    fn the_correction_is_that_of_the_nbs_table() {
        // M: NBS C440 / AOAC 932.14, correction to the reading at 0, 10, 20, 30 °Bx; tolerance 0.06.
        // C: the same by this method in Python; tolerance 0.01.
        let published = [
            (10.0, [-0.32, -0.43, -0.52, -0.60], [-0.32, -0.40, -0.49, -0.57]),
            (15.0, [-0.20, -0.24, -0.28, -0.32], [-0.20, -0.24, -0.28, -0.32]),
            (25.0, [0.28, 0.30, 0.32, 0.34], [0.27, 0.30, 0.33, 0.37]),
            (30.0, [0.61, 0.66, 0.71, 0.73], [0.60, 0.66, 0.72, 0.78]),
        ];
        for (sample_c, table, computed) in published {
            for (column, read) in [0.0, 10.0, 20.0, 30.0].into_iter().enumerate() {
                let correction = hydrometer_brix_at(read, sample_c, 20.0).unwrap().value - read;
                near(correction, table[column], 0.06);
                near(correction, computed[column], 0.01);
            }
        }
    }

    #[test]
    fn gravities_are_corrected_to_20_degrees() {
        // C: this method in Python; tolerance 0.00005.
        for (read, sample_c, want) in [
            (1.050, 10.0, 1.048_23),
            (1.050, 15.0, 1.048_97),
            (1.050, 25.0, 1.051_30),
            (1.050, 30.0, 1.052_85),
            (1.050, 40.0, 1.056_61),
            (1.100, 25.0, 1.101_58),
            (1.010, 25.0, 1.011_09),
            (1.080, 30.0, 1.083_17),
        ] {
            near(hydrometer_at(read, sample_c, 20.0).unwrap().value, want, 0.000_05);
        }
        // C: about 0.00026 a kelvin near 25 °C.
        let slope =
            hydrometer_at(1.05, 25.5, 20.0).unwrap().value - hydrometer_at(1.05, 24.5, 20.0).unwrap().value;
        near(slope, 0.000_26, 0.000_03);
    }

    #[test]
    fn at_its_own_temperature_water_reads_one() {
        for calibration_c in [15.0, 15.56, 20.0] {
            near(hydrometer_at(1.0, calibration_c, calibration_c).unwrap().value, 1.0, 1e-12);
            let brix = hydrometer_brix_at(20.0, calibration_c, calibration_c).unwrap().value;
            near(brix, 20.0, 1e-10);
        }
        near(hydrometer_at(1.05, 20.0, 20.0).unwrap().value, 1.05, 1e-12);
    }

    #[test]
    fn one_liquid_reads_alike_on_every_instrument() {
        // C: sugar water of 15 °Bx, its density at each instrument's temperature over that of water there.
        let sg = sg_from_brix(15.0).unwrap().value;
        for calibration_c in [15.0, 15.56, 20.0] {
            let read = density_at(0.15, calibration_c) / water(calibration_c);
            near(hydrometer_at(read, calibration_c, calibration_c).unwrap().value, sg, 1e-12);
        }
    }

    #[test]
    fn hot_samples_are_refused_and_cold_ones_warned_about() {
        let hot = hydrometer_at(1.05, 45.0, 20.0).unwrap_err().to_string();
        assert!(hot.contains("too high") && hot.contains("Cool"), "{hot}");
        assert!(hydrometer_at(1.05, 7.0, 20.0).unwrap().warning.is_some());
        assert!(hydrometer_at(0.996, 20.0, 20.0).unwrap().warning.is_some());
        assert_eq!(hydrometer_at(1.05, 22.0, 20.0).unwrap().warning, None);
        assert!(hydrometer_at(1.05, 22.0, 4.0).is_err());
    }
}
