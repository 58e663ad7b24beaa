//! Carbon dioxide: how much of it, where it goes, and the pressure it makes.

use super::sheet::{GAS, PRESSURE};
use super::{Given, Gives, Input, Question, Sheet, Table, Unfit, shown};
use crate::science::pressure::{self, Bottle, DISSOLVED_DEFAULT_G_L, Vessel, WARM_SHELF_C};
use crate::science::{ageing, alcohol};
use crate::units::dimension::Dimension;

const MADE: &str = "Stoichiometry of C₆H₁₂O₆ → 2 C₂H₅OH + 2 CO₂: the most there can be, for safety.";
const ROOM: &str = "Ideal gas. Limits: 0.5 % for eight hours, 3 % for a short time, 4 % danger of life (OSHA and \
    NIOSH, from \
                    memory).";
const HOLDS: &str = "Regulation (EEC) 2676/90 and the OIV’s method for overpressure at 20 °C; other temperatures in \
    proportion \
                     to water (IAPWS).";
const BOTTLE: &str = "Balance of carbon dioxide between drink and headspace; solubility as in the OIV’s method. It \
    agrees to \
                      10 % with measured pressures of sparkling wine (Liger-Belair 2017).";

const VESSELS: &[(&str, &str)] = &[
    ("still", "Still wine, a jar, anything with a cork or screw lid: 1 bar"),
    ("pressure", "Made for crown caps or swing tops: 2.5 bar"),
    ("rated", "Made for sparkling wine: what its maker says"),
];

const KINDS: &[(&str, &str)] =
    &[("sugar", "Cane sugar, honey, juice: as sucrose"), ("hexose", "Glucose and fructose")];

pub(super) const QUESTIONS: &[Question] = &[
    Question {
        slug: "pressure",
        name: "Is it safe in this bottle?",
        lead: "What the sugar left in it can come to on a warm shelf, against what the bottle is made for.",
        inputs: &[
            Input::measure("left", "Sugar that may still ferment", Dimension::Content, "g/L", "2")
                .hint("All of it, as glucose and fructose: also galactose, and what is added to sweeten."),
            Input::measure("strength", "Strength", Dimension::Strength, "% vol", "12"),
            Input::choice("bottle", "The bottle", VESSELS),
            Input::measure("rated", "Its maker says", Dimension::Pressure, "bar", "").optional(),
            Input::measure("drink", "Drink in one bottle", Dimension::Volume, "mL", "750").usually("750"),
            Input::measure("headspace", "Gas above it", Dimension::Volume, "mL", "15").setting("15"),
            Input::measure("warmest", "The warmest it gets", Dimension::Temperature, "°C", "30")
                .setting("30"),
            Input::measure("dissolved", "Gas in it when it is filled", Dimension::Content, "g/L", "1.5")
                .setting("1.5")
                .hint("1.5 g/L after working at 20 °C; 0 if it was degassed."),
        ],
        gives: &[
            Gives::words("verdict", "In this bottle").by(
                "pressure at the warmest ≤ what the bottle is made for",
                BOTTLE,
                "2 to 35 °C.",
            ),
            Gives::figure("at_warmest", "Pressure over the air, at the warmest", "bar", 2).by(
                "(0.48857 × sugar + gas in it) / (solubility + 44.01/(0.083145 T) × headspace/drink)",
                BOTTLE,
                "Sugar to 300 g/L, 0 to 20 % vol, 2 to 35 °C.",
            ),
            Gives::figure("at_20", "at 20 °C", "bar", 2).by("the same at 20 °C", BOTTLE, "As above."),
            Gives::figure("at_10", "at 10 °C", "bar", 2).by("the same at 10 °C", BOTTLE, "As above."),
            Gives::figure("limit", "The bottle is made for", "bar", 1).by(
                "",
                "Common practice, no source, for 1 and 2.5 bar; otherwise its maker.",
                "1 to 12 bar.",
            ),
            Gives::figure("most_left", "The most sugar that keeps within that", "g/L", 2).by(
                "(limit × what a bar holds − gas in it)/0.48857",
                BOTTLE,
                "As above.",
            ),
        ],
        work: bottle_pressure,
    },
    Question {
        slug: "gas",
        name: "How much gas does it make?",
        lead: "Carbon dioxide of a working batch, and what that does to the air of a closed room.",
        inputs: &[
            Input::measure("volume", "How much must", Dimension::Volume, "L", "20"),
            Input::measure("sugar", "Sugar that ferments", Dimension::Content, "g/L", "201.96"),
            Input::choice("as", "Counted as", KINDS).example("hexose"),
            Input::measure("room", "The room", Dimension::Volume, "m³", "10")
                .optional()
                .hint("Length × width × height."),
            Input::measure("temperature", "Temperature of the room", Dimension::Temperature, "°C", "20")
                .setting("20"),
            Input::measure("lost", "Or: mass the vessel has lost", Dimension::Mass, "g", "").optional(),
        ],
        gives: &[
            Gives::amount("co2", "Carbon dioxide", "g").by("0.48857 × sugar as hexose", MADE, "Any amount."),
            Gives::amount("gas", "As gas", "L").by("n R T/p at 1.01325 bar", ROOM, "−10 to 50 °C."),
            Gives::figure("room_percent", "In the air of the closed room", "%", 1).by(
                "gas / room",
                ROOM,
                "If none of it leaves.",
            ),
            Gives::amount("fermented", "Sugar that has fermented, as hexose", "g").by(
                "2.047 × mass lost",
                MADE,
                "By theory.",
            ),
        ],
        work: gas,
    },
    Question {
        slug: "dissolved-gas",
        name: "How much gas does the drink hold?",
        lead: "Carbon dioxide that dissolves in a drink at a temperature and pressure.",
        inputs: &[
            Input::measure("temperature", "Temperature", Dimension::Temperature, "°C", "20"),
            Input::measure("strength", "Strength", Dimension::Strength, "% vol", "12"),
            Input::measure("sugar", "Sugar", Dimension::Content, "g/L", "0").usually("0"),
            Input::measure("pressure", "Pressure of the carbon dioxide", Dimension::Pressure, "bar", "1")
                .usually("1")
                .hint("An open vessel that has just worked: 1 bar."),
        ],
        gives: &[
            Gives::figure("dissolved", "Dissolved", "g/L", 3).by(
                "1.951 × (0.86 − 0.01 A)(1 − 0.00144 S) × pressure × water(T)/water(20 °C)",
                HOLDS,
                "2 to 35 °C, 0 to 20 % vol, 0 to 200 g/L.",
            ),
            Gives::figure("in_water", "Water would hold", "g/L", 3).by(
                "Henry’s constant",
                "IAPWS guideline.",
                "1 to 40 °C.",
            ),
        ],
        work: dissolved_gas,
    },
    Question {
        slug: "headspace",
        name: "Is there too much air above it?",
        lead: "The empty part of a vessel in which a drink rests.",
        inputs: &[
            Input::measure("vessel", "The vessel holds", Dimension::Volume, "L", "25"),
            Input::measure("drink", "In it are", Dimension::Volume, "L", "23"),
        ],
        gives: &[
            Gives::figure("empty", "Empty", "%", 1).by(
                "1 − drink / vessel",
                "Definition; 5 % is common practice.",
                "Any.",
            ),
            Gives::amount("top_up", "To top up", "L").by("vessel − drink", "Definition.", "Any."),
        ],
        work: headspace,
    },
];

fn bottle_pressure(given: &Given) -> Result<Sheet, Unfit> {
    let bottle = Bottle {
        drink_ml: given.number("drink"),
        headspace_ml: given.number("headspace"),
        vol_percent: given.number("strength"),
        residual_g_l: given.number("left"),
        dissolved_g_l: given.number("dissolved"),
    };
    let vessel = match given.choice("bottle") {
        "pressure" => Vessel::Pressure,
        "rated" => Vessel::Rated {
            bar: given.optional("rated").ok_or_else(|| {
                Unfit::field(
                    "rated",
                    "Write the pressure its maker says, such as 6 bar; without that it counts as still",
                )
            })?,
        },
        _ => Vessel::Still,
    };
    let warmest = given.number("warmest");
    let verdict = bottle.in_vessel(vessel, warmest)?;
    let mut sheet = Sheet::new();
    let bar = shown(verdict.pressure_bar, 1);
    let (words, says) = if verdict.holds {
        ("holds", format!("It can come to {bar} bar at {} °C: the bottle holds that.", shown(warmest, 0)))
    } else {
        (
            "do not bottle",
            format!(
                "Do not bottle it so: it can come to {bar} bar at {} °C, and the bottle is made for {}.",
                shown(warmest, 0),
                shown(verdict.limit_bar, 1)
            ),
        )
    };
    sheet.says(says);
    sheet.tell("verdict", words);
    sheet.put_within("at_warmest", verdict.pressure_bar, 0.1 * verdict.pressure_bar);
    sheet.put("at_20", bottle.pressure_bar(20.0)?);
    sheet.put("at_10", bottle.pressure_bar(10.0)?);
    sheet.put("limit", verdict.limit_bar);
    sheet.put("most_left", bottle.most_residual_g_l(verdict.limit_bar, warmest)?);
    if warmest < WARM_SHELF_C {
        sheet.warn(
            "A shelf or a parcel in summer gets to 30 °C: work it out for that, unless it never leaves the \
            cold.",
        );
    }
    if bottle.dissolved_g_l < DISSOLVED_DEFAULT_G_L {
        sheet.warn("Less than 1.5 g/L of gas was counted: that holds only for a drink that was degassed.");
    }
    if !verdict.holds {
        sheet.warn(
            "Wait until it is drier, take bottles that are made for it, or keep it cold and drink it soon.",
        );
    }
    let rows = [0.0, 1.0, 2.0, 4.0, 5.0, 10.0, 20.0, 24.0].map(|left| {
        let other = Bottle { residual_g_l: left, ..bottle };
        Ok(vec![shown(left, 0), shown(other.pressure_bar(20.0)?, 2), shown(other.pressure_bar(warmest)?, 2)])
    });
    sheet.tables.push(Table {
        caption: "Pressure by the sugar left, in bar",
        heads: vec!["Sugar, g/L", "at 20 °C", "at the warmest"],
        rows: rows.into_iter().collect::<Result<_, Unfit>>()?,
    });
    sheet.caution(PRESSURE);
    Ok(sheet)
}

fn gas(given: &Given) -> Result<Sheet, Unfit> {
    let mut sheet = Sheet::new();
    let t = given.number("temperature");
    let co2 = if let Some(lost) = given.optional("lost") {
        lost
    } else {
        let volume = crate::science::range::VOLUME_L.check(given.number("volume"))?;
        let content = alcohol::HEXOSE_G_L.check(given.number("sugar"))?;
        let factor = if given.choice("as") == "hexose" { 1.0 } else { alcohol::HEXOSE_PER_DISACCHARIDE };
        pressure::co2_made_g(volume * content * factor)?
    };
    let litres = pressure::gas_l(co2, t)?;
    sheet.put("co2", co2);
    sheet.put("gas", litres);
    let mut says = format!("{} g of carbon dioxide, {} L of gas", shown(co2, 0), shown(litres, 0));
    if let Some(room) = given.optional("room") {
        let percent = sheet.take(pressure::room_percent(co2, room, t)?);
        sheet.put("room_percent", percent);
        says = format!("{says}: {} % of the air, if the room is closed", shown(percent, 1));
    }
    if given.has("lost") {
        sheet.put("fermented", pressure::hexose_fermented_g(co2)?);
    }
    sheet.says(format!("{says}."));
    sheet.caution(GAS);
    Ok(sheet)
}

fn dissolved_gas(given: &Given) -> Result<Sheet, Unfit> {
    let (t, strength, sugar) = (given.number("temperature"), given.number("strength"), given.number("sugar"));
    let bar = crate::science::Range::new("pressure", "bar", 0.0, 12.0).check(given.number("pressure"))?;
    let held = pressure::solubility_g_l_bar(t, strength, sugar)? * bar;
    let mut sheet = Sheet::new();
    sheet.says(format!("{} g/L.", shown(held, 2)));
    sheet.put("dissolved", held);
    sheet.put("in_water", pressure::water_solubility_g_l_bar(t)? * bar);
    Ok(sheet)
}

fn headspace(given: &Given) -> Result<Sheet, Unfit> {
    let (vessel, drink) = (given.number("vessel"), given.number("drink"));
    let mut sheet = Sheet::new();
    let empty = sheet.take(ageing::headspace_fraction(vessel, drink)?);
    sheet.says(format!("{} % of the vessel is empty.", shown(100.0 * empty, 1)));
    sheet.put("empty", 100.0 * empty);
    sheet.put("top_up", vessel - drink);
    Ok(sheet)
}
