//! Molar masses in g/mol, from the standard atomic weights; agree with the `chemicals` package (C).

/// Glucose, galactose or fructose.
pub const HEXOSE: f64 = 180.156;
/// Sucrose or lactose.
pub const DISACCHARIDE: f64 = 342.297;
/// Water.
pub const WATER: f64 = 18.0153;
/// Ethanol.
pub const ETHANOL: f64 = 46.068;
/// Carbon dioxide.
pub const CARBON_DIOXIDE: f64 = 44.0095;
/// Sulphur dioxide.
pub const SULPHUR_DIOXIDE: f64 = 64.064;
/// Potassium metabisulphite.
pub const POTASSIUM_METABISULPHITE: f64 = 222.324;
/// Sodium metabisulphite.
pub const SODIUM_METABISULPHITE: f64 = 190.107;
/// Nitrogen, the atom.
pub const NITROGEN: f64 = 14.0067;
/// Diammonium phosphate.
pub const DIAMMONIUM_PHOSPHATE: f64 = 132.056;

/// The gas constant in J/(mol K), exact since 2019 (SI).
pub const GAS_CONSTANT: f64 = 8.314_462_618;
/// 0 °C in kelvin.
pub const ZERO_CELSIUS: f64 = 273.15;
