//! Acidity, and what one acid's figure is in another's.

use super::{OutOfRange, Range};

/// Titratable acidity, in grams of some acid per litre.
pub const TITRATABLE_G_L: Range = Range::new("titratable acidity", "g/L", 0.0, 100.0);

/// Above this pH food is "low-acid" (21 CFR 114.3, from memory): nothing unfermented belongs on a shelf
/// at room temperature there; keep whey syrup and fresh cheese cold.
pub const LOW_ACID_PH: f64 = 4.6;

/// An acid that titratable acidity is expressed in. Whey is reported as lactic, wine as tartaric (or, in
/// France, as sulphuric).
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Acid {
    /// Tartaric.
    Tartaric,
    /// Malic.
    Malic,
    /// Citric, with three equivalents.
    Citric,
    /// Lactic.
    Lactic,
    /// Sulphuric.
    Sulphuric,
    /// Acetic.
    Acetic,
    /// Succinic.
    Succinic,
}

impl Acid {
    /// Grams per equivalent: molar mass over the protons that a titration counts.
    pub const fn equivalent_g(self) -> f64 {
        match self {
            Self::Tartaric => 150.087 / 2.0,
            Self::Malic => 134.087 / 2.0,
            Self::Citric => 192.124 / 3.0,
            Self::Lactic => 90.078,
            Self::Sulphuric => 98.079 / 2.0,
            Self::Acetic => 60.052,
            Self::Succinic => 118.088 / 2.0,
        }
    }
}

/// A titratable acidity in g/L of one acid, as g/L of another.
pub fn acidity_as(acidity_g_l: f64, given_as: Acid, wanted_as: Acid) -> Result<f64, OutOfRange> {
    Ok(TITRATABLE_G_L.check(acidity_g_l)? * wanted_as.equivalent_g() / given_as.equivalent_g())
}

/// A titratable acidity in milliequivalents per litre.
pub fn acidity_meq_l(acidity_g_l: f64, given_as: Acid) -> Result<f64, OutOfRange> {
    Ok(1000.0 * TITRATABLE_G_L.check(acidity_g_l)? / given_as.equivalent_g())
}

#[cfg(test)]
mod tests {
    use super::super::checks::near;
    use super::*;

    const ALL: [Acid; 7] = [
        Acid::Tartaric,
        Acid::Malic,
        Acid::Citric,
        Acid::Lactic,
        Acid::Sulphuric,
        Acid::Acetic,
        Acid::Succinic,
    ];

    #[test]
    fn equivalents_are_those_of_the_molar_masses() {
        // C: molar masses of the chemicals package.
        for (acid, want) in ALL.into_iter().zip([75.04, 67.04, 64.04, 90.08, 49.04, 60.05, 59.04]) {
            near(acid.equivalent_g(), want, 0.005);
        }
    }

    #[test]
    fn a_gram_of_tartaric_acid_in_other_words() {
        // C; tolerance 0.0002. M: 0.653 and 1.53 are the usual table values.
        near(acidity_meq_l(1.0, Acid::Tartaric).unwrap(), 13.326, 0.000_6);
        for (acid, want) in
            [(Acid::Lactic, 1.2003), (Acid::Citric, 0.8534), (Acid::Malic, 0.8934), (Acid::Sulphuric, 0.6535)]
        {
            near(acidity_as(1.0, Acid::Tartaric, acid).unwrap(), want, 0.000_2);
        }
        near(acidity_as(1.0, Acid::Sulphuric, Acid::Tartaric).unwrap(), 1.53, 0.001);
    }

    #[test]
    fn every_conversion_comes_back() {
        for from in ALL {
            for to in ALL {
                near(acidity_as(acidity_as(6.5, from, to).unwrap(), to, from).unwrap(), 6.5, 1e-12);
            }
        }
        assert!(acidity_as(-1.0, Acid::Malic, Acid::Lactic).is_err());
    }
}
