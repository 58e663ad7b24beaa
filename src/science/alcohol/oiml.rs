//! Density of ethanol and water: OIML R 22 (1975), the formula of Directive 76/766/EEC, Annex, section 4
//! (OJ L 262, 27.9.1976, pp. 149-152). A1 to A5 and B1 to B4 were read there; the rest is from memory and
//! confirmed by the tables in the tests of the room above.

use super::polynomial;

const A: [f64; 12] = [
    9.982_012_300e2,
    -1.929_769_495e2,
    3.891_238_958e2,
    -1.668_103_923e3,
    1.352_215_441e4,
    -8.829_278_388e4,
    3.062_874_042e5,
    -6.138_381_234e5,
    7.470_172_998e5,
    -5.478_461_354e5,
    2.234_460_334e5,
    -3.903_285_426e4,
];
const B: [f64; 6] =
    [-2.061_851_3e-1, -5.268_254_2e-3, 3.613_001_3e-5, -3.895_770_2e-7, 7.169_354_0e-9, -9.973_923_1e-11];
const C1: [f64; 11] = [
    1.693_443_461_530_087e-1,
    -1.046_914_743_455_169e1,
    7.196_353_469_546_523e1,
    -7.047_478_054_272_792e2,
    3.924_090_430_035_045e3,
    -1.210_164_659_068_747e4,
    2.248_646_550_400_788e4,
    -2.605_562_982_188_164e4,
    1.852_373_922_069_467e4,
    -7.420_201_433_430_137e3,
    1.285_617_841_998_974e3,
];
const C2: [f64; 10] = [
    -1.193_013_005_057_01e-2,
    2.517_399_633_803_461e-1,
    -2.170_575_700_536_993,
    1.353_034_988_843_029e1,
    -5.029_988_758_547_014e1,
    1.096_355_666_577_57e2,
    -1.422_753_946_421_155e2,
    1.080_435_942_856_23e2,
    -4.414_153_236_817_392e1,
    7.442_971_530_188_783,
];
const C3: [f64; 9] = [
    -6.802_995_733_503_803e-4,
    1.876_837_790_289_664e-2,
    -2.002_561_813_734_156e-1,
    1.022_992_966_719_22,
    -2.895_696_483_903_638,
    4.810_060_584_300_675,
    -4.672_147_440_794_683,
    2.458_043_105_903_461,
    -5.411_227_621_436_812e-1,
];
const C4: [f64; 4] =
    [4.075_376_675_622_027e-6, -8.763_058_573_471_11e-6, 6.515_031_360_099_368e-6, -1.515_784_836_987_21e-6];
const C5: [f64; 2] = [-2.788_074_354_782_409e-8, 1.345_612_883_493_354e-8];

/// Density in kg/m³ of a mass fraction `p` of ethanol in water at `t` °C.
pub fn density(p: f64, t: f64) -> f64 {
    let warmth = t - 20.0;
    // Most is asked for 20 °C, where the other five sums are zero.
    if warmth == 0.0 {
        return polynomial(&A, p);
    }
    let mixed = [
        0.0,
        polynomial(&C1, p),
        polynomial(&C2, p),
        polynomial(&C3, p),
        polynomial(&C4, p),
        polynomial(&C5, p),
    ];
    polynomial(&A, p) + warmth * polynomial(&B, warmth) + p * polynomial(&mixed, warmth)
}

#[cfg(test)]
mod tests {
    use super::super::super::checks::table;
    use super::*;

    #[test]
    fn the_coefficients_are_those_of_the_table() {
        // S and M: OIML R 22, all 54 numbers as a table of their own.
        let csv = include_str!(concat!(
            env!("CARGO_MANIFEST_DIR"),
            "/tests/check-values/oiml_r22_coefficients.csv"
        ));
        let file: Vec<f64> = table(csv).iter().map(|row| row[3]).collect();
        assert_eq!([&A[..], &B, &C1, &C2, &C3, &C4, &C5].concat(), file);
    }
}
