//! Hot liquid in glass, and cold liquid in hot glass: when it is refused.

use super::{OutOfRange, Range};
use std::fmt;

/// Temperature of the liquid.
pub const LIQUID_C: Range = Range::new("temperature of the liquid", "°C", -10.0, 120.0);
/// Temperature of the glass.
pub const GLASS_C: Range = Range::new("temperature of the glass", "°C", -20.0, 150.0);

/// Largest difference for ordinary or unknown glass. The usual pass level of makers is 42 °C (from
/// memory; ASTM C149 and ISO 7459 are methods and set none).
pub const ORDINARY_DIFFERENCE_C: f64 = 40.0;
/// Hottest liquid for ordinary glass that has not been warmed.
pub const COLD_GLASS_LIQUID_C: f64 = 60.0;
/// Glass from here on counts as warmed (own rule; common practice has no figure).
pub const WARMED_GLASS_C: f64 = 40.0;
/// Difference from which borosilicate glass is warned about: makers validate it to 120 °C and more.
pub const BOROSILICATE_DIFFERENCE_C: f64 = 100.0;

/// What a vessel is made of, and how it is.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Glass {
    /// Bottles, jars, demijohns, and whatever is not known to be better.
    Ordinary,
    /// Laboratory or oven glass that says so.
    Borosilicate,
    /// Scratched, chipped, old or antique.
    Damaged,
}

/// Whether a liquid may go into a glass.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Filling {
    /// It may.
    Fine,
    /// It may, with care.
    Careful,
    /// The glass is not made for such a difference: let the liquid cool, or warm the glass.
    TooDifferent,
    /// The liquid is too hot for glass that has not been warmed.
    WarmTheGlass,
    /// Damaged glass takes no hot liquid at all.
    DamagedGlass,
}

impl Filling {
    /// Whether the filling is refused.
    pub const fn is_refused(self) -> bool {
        !matches!(self, Self::Fine | Self::Careful)
    }
}

impl fmt::Display for Filling {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(match self {
            Self::Fine => "The glass takes this.",
            Self::Careful => "Fill slowly, with the glass on wood or cloth and your hands covered.",
            Self::TooDifferent => {
                "Do not fill: the glass can burst. Bring liquid and glass within 40 °C of each other."
            }
            Self::WarmTheGlass => {
                "Do not fill: the liquid is above 60 °C and the glass is cold. \
                 Let it cool, or warm the glass to 40 °C first."
            }
            Self::DamagedGlass => {
                "Do not fill: scratched or old glass bursts. \
                 Take another vessel, or cool the liquid."
            }
        })
    }
}

/// Whether a liquid may go into a glass, each at its temperature. A guide on the safe side: glass can
/// break below any limit. Cold liquid in hot glass counts too.
pub fn filling(liquid_c: f64, glass_c: f64, glass: Glass) -> Result<Filling, OutOfRange> {
    let liquid = LIQUID_C.check(liquid_c)?;
    let glass_c = GLASS_C.check(glass_c)?;
    let difference = (liquid - glass_c).abs();
    Ok(match glass {
        Glass::Damaged if liquid > 40.0 || difference > 20.0 => Filling::DamagedGlass,
        Glass::Ordinary | Glass::Damaged if difference > ORDINARY_DIFFERENCE_C => Filling::TooDifferent,
        Glass::Ordinary if liquid > COLD_GLASS_LIQUID_C && glass_c < WARMED_GLASS_C => Filling::WarmTheGlass,
        Glass::Ordinary if difference > ORDINARY_DIFFERENCE_C / 2.0 => Filling::Careful,
        Glass::Borosilicate if difference > BOROSILICATE_DIFFERENCE_C => Filling::Careful,
        _ => Filling::Fine,
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn hot_liquid_is_refused_where_glass_would_burst() {
        // M and CP: 40 °C for ordinary glass, never above 60 °C unwarmed; borosilicate from 100 °C on.
        for (liquid, glass_c, glass, want) in [
            (60.0, 20.0, Glass::Ordinary, Filling::Careful),
            (61.0, 20.0, Glass::Ordinary, Filling::TooDifferent),
            (65.0, 30.0, Glass::Ordinary, Filling::WarmTheGlass),
            (75.0, 40.0, Glass::Ordinary, Filling::Careful),
            (95.0, 20.0, Glass::Ordinary, Filling::TooDifferent),
            (5.0, 60.0, Glass::Ordinary, Filling::TooDifferent),
            (25.0, 20.0, Glass::Ordinary, Filling::Fine),
            (95.0, 20.0, Glass::Borosilicate, Filling::Fine),
            (110.0, 5.0, Glass::Borosilicate, Filling::Careful),
            (45.0, 40.0, Glass::Damaged, Filling::DamagedGlass),
            (20.0, 18.0, Glass::Damaged, Filling::Fine),
        ] {
            let got = filling(liquid, glass_c, glass).unwrap();
            assert_eq!(got, want, "{liquid} in {glass_c}");
            assert_eq!(got.is_refused(), got.to_string().starts_with("Do not fill"));
        }
    }

    #[test]
    fn every_refusal_is_safe_for_boiling_liquid_in_ordinary_glass() {
        for glass_c in -20..60 {
            assert!(filling(100.0, f64::from(glass_c), Glass::Ordinary).unwrap().is_refused());
        }
        assert!(filling(f64::NAN, 20.0, Glass::Ordinary).is_err());
        assert!(filling(130.0, 20.0, Glass::Ordinary).is_err());
    }
}
