//! What the comparison asks for.

use super::super::strength::FACTOR;
use super::super::{Given, Input, Need};
use crate::units::dimension::Dimension;

const BASES: &[(&str, &str)] = &[
    ("sheep", "Sheep’s milk"),
    ("cow", "Cow’s milk"),
    ("goat", "Goat’s milk"),
    ("buffalo", "Buffalo’s milk"),
    ("honey", "Honey"),
    ("juice", "Juice"),
    ("fruit", "Fruit"),
    ("sugar", "Plain sugar and water"),
];

/// The inputs, what is seldom changed last.
pub const INPUTS: &[Input] = &[
    Input::choice("base", "What there is", BASES),
    Input::amount("amount", "How much of it", "60 L")
        .optional()
        .hint("Milk, juice or water as 60 L; honey or fruit as 20 kg. For plain sugar: the water."),
    Input::measure("goal", "Strength wanted", Dimension::Strength, "% vol", "11"),
    Input::sugar("sugar", "Sugar of the juice", "")
        .optional()
        .hint("Only for juice: 1.050, 12.4 °Bx, or 130 g/L."),
    Input::measure("water", "Water it goes into", Dimension::Volume, "L", "")
        .optional()
        .hint("Only for honey and fruit; for honey, left empty: what the goal needs."),
    Input::measure("share_boiled", "In the mix, boiling brings", Dimension::Share, "%", "30")
        .usually("30")
        .hint("Of the strength that is missing; sugar brings the rest."),
    Input::measure("bottle", "A bottle holds", Dimension::Volume, "mL", "750").usually("750"),
    Input::measure("power", "Power of the stove", Dimension::Power, "W", "3000").setting("3000"),
    Input::measure("altitude", "Height above the sea", Dimension::Height, "m", "0").setting("0"),
    Input::measure("efficiency", "Power that reaches the liquid", Dimension::Share, "%", "80").setting("80"),
    Input::measure("from", "Temperature before boiling", Dimension::Temperature, "°C", "20").setting("20"),
    Input::measure("loss", "Lost to lees and racking", Dimension::Share, "%", "5").setting("5"),
    Input::measure("moisture", "Water in the curd", Dimension::Share, "%", "60").setting("60"),
    Input::measure("split", "Lactose that is split", Dimension::Share, "%", "95").setting("95"),
    Input::measure("galactose", "Galactose that ferments", Dimension::Share, "%", "0").setting("0"),
    Input::measure("lactase_dose", "Lactase for each litre", Dimension::Plain, "mL/L", "3").setting("3"),
    Input::number("rennet_strength", "Strength of the rennet", "IMCU/mL", "145").setting("145"),
    Input::measure("juice_yield", "Juice from fruit", Dimension::Share, "%", "65").setting("65"),
    FACTOR,
    Input::measure("lactose", "Lactose of the whey", Dimension::Content, "g/L", "").optional().folded(),
    Input::number("sugar_per_kg", "Sugar of honey or fruit, as it ferments", "g/kg", "")
        .optional()
        .folded()
        .hint("Left empty: honey 785, fruit 100."),
];

/// What is meant where nothing is said.
pub fn usual() -> Given {
    let mut given = Given::default();
    for input in INPUTS {
        if let Need::Usually(usual) = input.need
            && let Ok(value) = input.read(usual)
        {
            given.put(input.name, value);
        }
    }
    given
}
