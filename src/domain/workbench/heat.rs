//! Hot liquid and glass, warming, holding milk hot, pasteurisation units.

use super::sheet::{GLASS, MILK};
use super::{Given, Gives, Input, Question, Sheet, Table, Unfit, shown};
use crate::science::glass::{self, Glass};
use crate::science::pasteur::{self, Held, MILK_MINIMA, RICH_MILK_ADD_C};
use crate::science::{dairy, heat};
use crate::units::dimension::Dimension;

const GLASSES: &[(&str, &str)] = &[
    ("ordinary", "Bottle, jar, demijohn, or not known"),
    ("borosilicate", "Laboratory or oven glass that says so"),
    ("damaged", "Scratched, chipped or old"),
];

const LIQUIDS: &[(&str, &str)] = &[("water", "Water or must"), ("milk", "Milk"), ("whey", "Whey")];

pub(super) const LOG: &[Input] = &[
    Input::measure("minutes", "minutes", Dimension::Time, "min", "5"),
    Input::measure("temperature", "°C", Dimension::Temperature, "°C", "63"),
];

const LAW: &str =
    "21 CFR 1240.61(b), an example: local law comes first. A home log is no legal record of pasteurisation.";
const UNITS: &str = "Del Vecchio (1951): 1.393^(T − 60) a minute, between readings by the trapezoid rule.";
const GLASS_RULE: &str = "Own rule on the safe side: makers’ usual pass level is 42 °C of difference (from memory; \
    ASTM C149 and \
                          ISO 7459 are methods and set none).";

pub(super) const QUESTIONS: &[Question] = &[
    Question {
        slug: "hot-in-glass",
        name: "May this go into that glass?",
        lead: "Hot liquid into glass, or cold liquid into hot glass.",
        inputs: &[
            Input::measure("liquid", "Temperature of the liquid", Dimension::Temperature, "°C", "55"),
            Input::measure("glass", "Temperature of the glass", Dimension::Temperature, "°C", "20"),
            Input::choice("kind", "The glass", GLASSES),
        ],
        gives: &[
            Gives::words("verdict", "Verdict").by(
                "ordinary glass: a difference of 40 °C at most, and nothing above 60 °C into glass below 40 °C",
                GLASS_RULE,
                "Liquid −10 to 120 °C, glass −20 to 150 °C.",
            ),
            Gives::figure("difference", "Difference", "°C", 1).by("|liquid − glass|", "Definition.", "As above."),
        ],
        work: hot_in_glass,
    },
    Question {
        slug: "warming",
        name: "How long to warm it?",
        lead: "Heat, time and energy to bring milk, whey or water to a temperature.",
        inputs: &[
            Input::measure("volume", "How much", Dimension::Volume, "L", "20"),
            Input::choice("liquid", "What is it", LIQUIDS),
            Input::measure("from", "From", Dimension::Temperature, "°C", "6"),
            Input::measure("to", "To", Dimension::Temperature, "°C", "32"),
            Input::measure("power", "Power of the stove", Dimension::Power, "W", "1500"),
            Input::measure("efficiency", "Power that reaches the liquid", Dimension::Share, "%", "80").setting("80"),
        ],
        gives: &[
            Gives::figure("minutes", "Time", "min", 1).about().by("heat / (power × share that arrives)", WARMTH, "0 \
                to 120 °C."),
            Gives::figure("heat", "Heat", "kJ", 1).by("m c ΔT", WARMTH, "As above."),
            Gives::figure("energy", "Energy drawn", "kWh", 2).about().by("power × time", WARMTH, "As above."),
        ],
        work: warming,
    },
    Question {
        slug: "milk-heating",
        name: "Was the milk hot enough for long enough?",
        lead: "A log of times and temperatures against the minima for milk.",
        inputs: &[
            Input::log("log", "The log", LOG, "0 20\n10 50\n20 63.4\n30 63.6\n40 63.5\n50 63.4").hint(
                "One reading a line: minutes, a blank, the temperature in °C.",
            ),
            Input::flag("rich", "10 % fat or more, or sweetened"),
            Input::measure("error", "The thermometer may be off by", Dimension::Temperature, "°C", "0")
                .setting("0")
                .hint("It is taken off every reading."),
        ],
        gives: &[
            Gives::words("met", "Minimum met").by(
                "every reading of an unbroken run at or above the temperature for the whole time, no gap above a \
                    third of it",
                LAW,
                "−5 to 110 °C.",
            ),
            Gives::figure("hottest", "Hottest reading", "°C", 1).by("", "", ""),
            Gives::figure("minutes", "Time at 63 °C or more", "min", 1).by("Σ time between readings that are both \
                above", LAW, "As above."),
        ],
        work: milk_heating,
    },
    Question {
        slug: "pasteurisation-units",
        name: "How much has heat done?",
        lead: "Pasteurisation units of an acid or alcoholic drink, from a log or from one temperature and time.",
        inputs: &[
            Input::log("log", "The log", LOG, "0 50\n5 56\n10 60\n15 62\n20 62\n25 58\n30 50")
                .optional()
                .hint("One reading a line: minutes, a blank, the temperature in °C."),
            Input::measure("temperature", "Or: one temperature", Dimension::Temperature, "°C", "").optional(),
            Input::measure("time", "held for", Dimension::Time, "min", "").optional(),
        ],
        gives: &[
            Gives::figure("units", "Pasteurisation units", "PU", 2).by("∫ 1.393^(T − 60) dt", UNITS, "−5 to 110 °C."),
            Gives::figure("same_at_60", "As long at 60 °C", "min", 1).by("units / 1 a minute", UNITS, "As above."),
        ],
        work: pasteurisation_units,
    },
];

const WARMTH: &str =
    "Specific heat: water by IAPWS (fit), milk and whey by Choi and Okos (1986), from memory.";

fn hot_in_glass(given: &Given) -> Result<Sheet, Unfit> {
    let kind = match given.choice("kind") {
        "borosilicate" => Glass::Borosilicate,
        "damaged" => Glass::Damaged,
        _ => Glass::Ordinary,
    };
    let (liquid, of_glass) = (given.number("liquid"), given.number("glass"));
    let verdict = glass::filling(liquid, of_glass, kind)?;
    let mut sheet = Sheet::new();
    sheet.says(verdict.to_string());
    sheet.tell("verdict", if verdict.is_refused() { "do not fill" } else { "may be filled" });
    sheet.put("difference", (liquid - of_glass).abs());
    sheet.caution(GLASS);
    Ok(sheet)
}

fn warming(given: &Given) -> Result<Sheet, Unfit> {
    let (from, to) = (given.number("from"), given.number("to"));
    let volume = crate::science::range::VOLUME_L.check(given.number("volume"))?;
    let heat_kj = match given.choice("liquid") {
        "milk" => {
            let cp =
                heat::specific_heat_kj_kg_k(&dairy::WHOLE_MILK, f64::midpoint(from, to).clamp(0.0, 100.0))?;
            heat::warming_kj(volume * dairy::MILK_KG_L, cp, from, to)?
        }
        "whey" => heat::warming_kj(volume * dairy::WHEY_KG_L, heat::WHEY_KJ_KG_K, from, to)?,
        _ => {
            let range = heat::LIQUID_C;
            let each = heat::water_heat_kj_kg(from, range.within(from.clamp(0.0, 100.0), 100.0).check(to)?)?;
            volume * 0.9982 * each
        }
    };
    let mut sheet = Sheet::new();
    let power = given.number("power");
    let hours = sheet.take(heat::heating_hours(heat_kj, power, given.number("efficiency") / 100.0)?);
    sheet.says(format!("About {} minutes.", shown(60.0 * hours, 0)));
    sheet.put_within("minutes", 60.0 * hours, 9.0 * hours);
    sheet.put("heat", heat_kj);
    sheet.put("energy", power * hours / 1000.0);
    if to > 60.0 {
        sheet.caution(GLASS);
    }
    Ok(sheet)
}

fn log_of(given: &Given, less: f64) -> Vec<Held> {
    let held = |line: &Given| Held {
        minutes: line.number("minutes"),
        temperature_c: line.number("temperature") - less,
    };
    given.lines("log").iter().map(held).collect()
}

fn milk_heating(given: &Given) -> Result<Sheet, Unfit> {
    let less = crate::science::Range::new("error of the thermometer", "°C", 0.0, 10.0)
        .check(given.number("error"))?;
    let (log, rich) = (log_of(given, less), given.flag("rich"));
    let add = if rich { RICH_MILK_ADD_C } else { 0.0 };
    let met = pasteur::milk_minimum_met(&log, rich)?;
    let time = |seconds: f64| {
        if seconds >= 60.0 { format!("{} min", shown(seconds / 60.0, 0)) } else { format!("{seconds} s") }
    };
    let mut sheet = Sheet::new();
    if let Some(minimum) = met {
        let words = format!("{} °C for {}", shown(minimum.temperature_c, 0), time(minimum.seconds));
        sheet.says(format!("By this log it was: {words}. A home log is no legal record."));
        sheet.tell("met", words);
    } else {
        sheet.says("Not by this log. Heat it again, and read often enough to see a dip.");
        sheet.tell("met", "none");
    }
    if let Some(hottest) = log.iter().map(|reading| reading.temperature_c).max_by(f64::total_cmp) {
        sheet.put("hottest", hottest);
    }
    let above = log.windows(2).filter(|pair| pair.iter().all(|reading| reading.temperature_c >= 63.0 + add));
    sheet.put("minutes", above.map(|pair| pair[1].minutes - pair[0].minutes).sum());
    let row = |minimum: &pasteur::Minimum| vec![shown(minimum.temperature_c + add, 0), time(minimum.seconds)];
    sheet.tables.push(Table {
        caption: "Any of these is enough",
        heads: vec!["At least, °C", "for"],
        rows: MILK_MINIMA.iter().map(row).collect(),
    });
    sheet.caution(MILK);
    Ok(sheet)
}

fn pasteurisation_units(given: &Given) -> Result<Sheet, Unfit> {
    let mut sheet = Sheet::new();
    let units = match (given.lines("log"), given.optional("temperature"), given.optional("time")) {
        ([], Some(t), Some(minutes)) => sheet.take(pasteur::pasteurisation_units(t, minutes)?),
        ([], Some(_), None) => {
            return Err(Unfit::field("time", "Write how long it was held, such as 15 min"));
        }
        ([], None, Some(_)) => {
            return Err(Unfit::field("temperature", "Write how hot it was, such as 62 °C"));
        }
        ([], None, None) => {
            return Err(Unfit::field("log", "Write the log, or one temperature and time below"));
        }
        (_, None, None) => sheet.take(pasteur::pasteurisation_units_of(&log_of(given, 0.0))?),
        _ => return Err(Unfit::field("log", "Write the log, or one temperature and time, not both")),
    };
    sheet.says(format!("{} pasteurisation units.", shown(units, 1)));
    sheet.put("units", units);
    sheet.put("same_at_60", units);
    Ok(sheet)
}
