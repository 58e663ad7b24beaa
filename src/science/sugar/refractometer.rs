//! A refractometer on *unfermented* sugar solutions. Alcohol bends light too: once yeast is pitched,
//! a refractometer reading means nothing without a second instrument, so use a hydrometer.

use super::{Guide, OutOfRange, Range, polynomial};

/// What a refractometer shows.
pub const REFRACTOMETER_BRIX: Range = Range::new("refractometer reading", "°Bx", 0.0, 85.0);
/// Refractive index at 589 nm and 20 °C.
pub const REFRACTIVE_INDEX: Range = Range::new("refractive index", "", 1.332_98, 1.504);
/// Temperature of a refractometer without compensation.
pub const REFRACTOMETER_C: Range = Range::new("refractometer temperature", "°C", 10.0, 30.0)
    .validated(10.0, 20.0)
    .advice("Let the instrument and the sample come to room temperature and read again.");
/// Readings for which the temperature table has columns.
const CORRECTED_BRIX: Range = Range::new("refractometer reading", "°Bx", 0.0, 75.0).validated(10.0, 75.0);

/// Fit (C) to ICUMSA 1974 / SPS-3 as remembered, at 589 nm and 20 °C; error at most 3e-6.
const INDEX: [f64; 6] = [1.332_988_75, 0.142_670_77, 0.055_400_28, 0.010_034_27, 0.015_945_36, -0.010_800_32];

/// Refractive index at 589 nm and 20 °C of sugar water of `brix`. Source: ICUMSA 1974 / SPS-3.
pub fn refractive_index(brix: f64) -> Result<f64, OutOfRange> {
    Ok(polynomial(&INDEX, REFRACTOMETER_BRIX.check(brix)? / 100.0))
}

/// Degrees Brix of sugar water of a refractive index at 589 nm and 20 °C. Source: ICUMSA 1974 / SPS-3.
pub fn brix_from_refractive_index(index: f64) -> Result<f64, OutOfRange> {
    Ok(100.0 * REFRACTIVE_INDEX.invert(index, (-0.001, 0.851), |w| polynomial(&INDEX, w))?)
}

/// The columns of [`CORRECTION`], in °Bx.
const COLUMNS: [f64; 14] =
    [10.0, 15.0, 20.0, 25.0, 30.0, 35.0, 40.0, 45.0, 50.0, 55.0, 60.0, 65.0, 70.0, 75.0];

/// What to add to a reading at a temperature. Rows to 16 °C: OIV-MA-AS2-02 Table I. Rows 25 and 30 °C:
/// the first from memory, the second carried on from it; both under a warning.
const CORRECTION: [(f64, [f64; 14]); 10] = [
    (
        10.0,
        [-0.59, -0.62, -0.65, -0.67, -0.69, -0.71, -0.72, -0.73, -0.74, -0.75, -0.75, -0.75, -0.75, -0.75],
    ),
    (
        11.0,
        [-0.54, -0.57, -0.59, -0.61, -0.63, -0.64, -0.65, -0.66, -0.67, -0.68, -0.68, -0.68, -0.68, -0.67],
    ),
    (
        12.0,
        [-0.49, -0.51, -0.53, -0.55, -0.56, -0.57, -0.58, -0.59, -0.60, -0.60, -0.61, -0.61, -0.60, -0.60],
    ),
    (
        13.0,
        [-0.43, -0.45, -0.47, -0.48, -0.50, -0.51, -0.52, -0.52, -0.53, -0.53, -0.53, -0.53, -0.53, -0.53],
    ),
    (
        14.0,
        [-0.38, -0.39, -0.40, -0.42, -0.43, -0.44, -0.44, -0.45, -0.45, -0.46, -0.46, -0.46, -0.46, -0.45],
    ),
    (
        15.0,
        [-0.32, -0.33, -0.34, -0.35, -0.36, -0.37, -0.37, -0.38, -0.38, -0.38, -0.38, -0.38, -0.38, -0.38],
    ),
    (
        16.0,
        [-0.26, -0.27, -0.28, -0.28, -0.29, -0.30, -0.30, -0.30, -0.31, -0.31, -0.31, -0.31, -0.31, -0.30],
    ),
    (20.0, [0.0; 14]),
    (25.0, [0.36, 0.37, 0.38, 0.38, 0.38, 0.39, 0.39, 0.39, 0.39, 0.39, 0.39, 0.39, 0.39, 0.39]),
    (30.0, [0.76, 0.77, 0.78, 0.79, 0.79, 0.80, 0.80, 0.80, 0.80, 0.80, 0.80, 0.80, 0.80, 0.80]),
];

/// Degrees Brix at 20 °C of an *unfermented* sugar solution on which a refractometer without
/// temperature compensation shows `brix_read` at `sample_c`.
///
/// Source: OIV-MA-AS2-02 Table I, interpolated; warned about above 20 °C (from memory) and below
/// 10 °Bx (the first columns carried on).
pub fn refractometer_at(brix_read: f64, sample_c: f64) -> Result<Guide<f64>, OutOfRange> {
    let reading = CORRECTED_BRIX.guide(brix_read)?.and(REFRACTOMETER_C.guide(sample_c)?);
    let lower = CORRECTION.iter().rposition(|row| row.0 <= sample_c).unwrap_or(0).min(CORRECTION.len() - 2);
    let (cool, warm) = (&CORRECTION[lower], &CORRECTION[lower + 1]);
    let warmth = (sample_c - cool.0) / (warm.0 - cool.0);
    let correction = (1.0 - warmth) * across(&cool.1, brix_read) + warmth * across(&warm.1, brix_read);
    Ok(reading.map(|_| brix_read + correction))
}

/// A row of the table at `brix`, interpolated.
fn across(row: &[f64; 14], brix: f64) -> f64 {
    let left = COLUMNS.iter().rposition(|column| *column <= brix).unwrap_or(0).min(COLUMNS.len() - 2);
    let share = (brix - COLUMNS[left]) / (COLUMNS[left + 1] - COLUMNS[left]);
    row[left] + share * (row[left + 1] - row[left])
}

#[cfg(test)]
mod tests {
    use super::super::super::checks::{near, table};
    use super::*;

    #[test]
    fn the_index_is_that_of_the_icumsa_table() {
        // M: ICUMSA 1974 / SPS-3; the fit (C) keeps within 3e-6, which with rounding is 0.02 °Bx.
        let csv = include_str!(concat!(
            env!("CARGO_MANIFEST_DIR"),
            "/tests/check-values/ri_brix_icumsa1974_from_memory.csv"
        ));
        for row in table(csv) {
            near(refractive_index(row[0]).unwrap(), row[1], 4e-6);
            near(brix_from_refractive_index(row[1]).unwrap(), row[0], 0.02);
        }
        // C: the fit in Python.
        for (brix, want) in [(12.0, 1.350_93), (22.0, 1.367_20), (24.0, 1.370_60), (45.0, 1.409_78)] {
            near(refractive_index(brix).unwrap(), want, 5.1e-6);
        }
    }

    #[test]
    fn brix_comes_back_from_its_index() {
        for step in 0..=850 {
            let brix = f64::from(step) / 10.0;
            near(brix_from_refractive_index(refractive_index(brix).unwrap()).unwrap(), brix, 1e-10);
        }
    }

    #[test]
    fn the_temperature_correction_is_that_of_the_oiv_table() {
        // S: OIV-MA-AS2-02 Table I, rows 10 to 16 °C.
        let csv = include_str!(concat!(
            env!("CARGO_MANIFEST_DIR"),
            "/tests/check-values/oiv_refractometer_temp_correction.csv"
        ));
        for row in table(csv) {
            for (column, brix) in COLUMNS.into_iter().enumerate() {
                near(refractometer_at(brix, row[0]).unwrap().value - brix, row[column + 1], 1e-9);
            }
        }
        // M: about +0.36 at 10 °Bx and +0.38 at 20 °Bx, 25 °C.
        near(refractometer_at(10.0, 25.0).unwrap().value, 10.36, 0.02);
        near(refractometer_at(20.0, 25.0).unwrap().value, 20.38, 0.02);
        // C: halfway between four cells.
        near(refractometer_at(12.5, 10.5).unwrap().value, 12.5 - (0.59 + 0.62 + 0.54 + 0.57) / 4.0, 1e-9);
        near(refractometer_at(50.0, 20.0).unwrap().value, 50.0, 1e-12);
    }

    #[test]
    fn what_is_not_in_the_table_is_said() {
        assert_eq!(refractometer_at(20.0, 15.0).unwrap().warning, None);
        assert!(refractometer_at(20.0, 25.0).unwrap().warning.is_some());
        assert!(refractometer_at(5.0, 15.0).unwrap().warning.is_some());
        assert!(refractometer_at(20.0, 31.0).is_err() && refractometer_at(80.0, 15.0).is_err());
    }
}
