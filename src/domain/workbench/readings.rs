//! Readings of instruments put right, and one scale as another.

use super::{Given, Gives, Input, Question, Sheet, Unfit, shown};
use crate::science::sugar;
use crate::units::dimension::{Dimension, Sugar};

const HYDROMETER: &str = "Expansion of water (Tanaka 2001), sucrose and glass (ISO 649); agrees with the correction \
    table \
    of NBS C440 to 0.06 °Bx from 10 to 30 °C.";
const REFRACTOMETER: &str =
    "OIV-MA-AS2-02 Table I, interpolated; above 20 °C from memory. Refractive index: ICUMSA 1974 / SPS-3.";

pub(super) const QUESTIONS: &[Question] = &[
    Question {
        slug: "hydrometer",
        name: "The sample was not at 20 °C",
        lead: "What the hydrometer would have shown at the temperature it was made for.",
        inputs: &[
            Input::sugar("reading", "Reading", "1.050").hint("As it was read: 1.050 or 12.4 °Bx."),
            Input::measure("temperature", "Temperature of the sample", Dimension::Temperature, "°C", "25"),
            Input::measure("made_for", "Temperature printed on the hydrometer", Dimension::Temperature, "°C", "20")
                .setting("20"),
        ],
        gives: &[
            Gives::figure("gravity", "Gravity at 20 °C", "SG", 4).by(
                "the sugar for which glass and liquid, each expanded to the sample’s temperature, give the reading",
                HYDROMETER,
                "Checked 10 to 30 °C and 0 to 30 °Bx; taken 5 to 40 °C.",
            ),
            Gives::figure("brix", "The same in °Brix", "°Bx", 2).by("The gravity as mass of \
                sucrose", HYDROMETER, "As above."),
            Gives::figure("change", "Correction", "°Bx", 2).by("corrected − read", HYDROMETER, "As above."),
        ],
        work: hydrometer,
    },
    Question {
        slug: "refractometer",
        name: "What the refractometer says",
        lead: "For must, juice or sugar water before the yeast is in; never after.",
        inputs: &[
            Input::measure("reading", "Reading", Dimension::Plain, "°Bx", "10").optional().hint(
                "As the instrument shows it. If it shows a refractive index, write that below instead.",
            ),
            Input::number("index", "Refractive index", "nD", "").optional(),
            Input::measure("temperature", "Temperature of instrument and sample", Dimension::Temperature, "°C", "15")
                .optional()
                .hint("Leave it empty if the instrument corrects by itself."),
            Input::flag("working", "Yeast is in it, or has been"),
        ],
        gives: &[
            Gives::figure("brix", "Sugar at 20 °C", "°Bx", 2).by(
                "reading + correction of the table",
                REFRACTOMETER,
                "0 to 85 °Bx, 10 to 30 °C, unfermented only.",
            ),
            Gives::figure("gravity", "As a gravity", "SG", 4).by("ρ(w)/998.2017", "ICUMSA SPS-4.", "0 to 80 °Bx."),
            Gives::figure("sugar", "As sugar", "g/L", 1).by("w ρ(w)", "ICUMSA SPS-4.", "0 to 80 °Bx."),
            Gives::figure("index", "Refractive index at 20 °C", "nD", 5).by(
                "polynomial of the mass fraction, fitted to 17 points",
                "ICUMSA 1974 / SPS-3, 589 nm, from memory.",
                "0 to 85 °Bx.",
            ),
        ],
        work: refractometer,
    },
    Question {
        slug: "scales",
        name: "Gravity, °Brix, grams a litre",
        lead: "One scale as the others; Plato and Balling are °Brix.",
        inputs: &[Input::sugar("sugar", "Sugar", "1.050")],
        gives: &[
            Gives::figure("brix", "Mass of sugar: °Brix, Plato, Balling", "°Bx", 3).by(
                "the w for which ρ(w) = 998.2017 × SG",
                "ICUMSA SPS-4 (densities of the PTB), inverted.",
                "Checked 0 to 25 °Bx; taken −5 to 80 °Bx.",
            ),
            Gives::figure("gravity", "Gravity", "SG 20/20", 5).by("ρ(w)/998.2017", "ICUMSA SPS-4.", "As above."),
            Gives::figure("sugar", "Sugar", "g/L", 2).by("w ρ(w)", "ICUMSA SPS-4.", "As above."),
            Gives::figure("density", "Density at 20 °C", "kg/m³", 3).by(
                "998.2017 + Σ bₖ wᵏ",
                "ICUMSA SPS-4 (1990/1998), OIML G 14; agrees with NBS C440.",
                "As above.",
            ),
            Gives::figure("hexose", "As glucose and fructose, once split", "g/L", 2).by(
                "1.0526 × sugar",
                "Molar masses.",
                "Any.",
            ),
        ],
        work: scales,
    },
];

fn hydrometer(given: &Given) -> Result<Sheet, Unfit> {
    let (t, made_for) = (given.number("temperature"), given.number("made_for"));
    let mut sheet = Sheet::new();
    let reading = given.sugar("reading");
    let brix = match reading.0 {
        Sugar::Gravity(sg) => {
            let sg = sheet.take(sugar::hydrometer_at(sg, t, made_for)?);
            sugar::brix_from_sg(sg)?.value
        }
        Sugar::Brix(brix) => sheet.take(sugar::hydrometer_brix_at(brix, t, made_for)?),
        Sugar::Content(_) => {
            return Err(Unfit::field(
                "reading",
                "A hydrometer shows a gravity or °Bx: write 1.050 or 12.4 °Bx",
            ));
        }
    };
    let sg = sugar::sg_from_brix(brix)?.value;
    let change = brix - reading.brix()?.value;
    let words = match reading.0 {
        Sugar::Brix(_) => format!("At 20 °C it would show {} °Bx.", shown(brix, 2)),
        _ => format!("At 20 °C it would show {}.", shown(sg, 4)),
    };
    sheet.says(words);
    sheet.put("gravity", sg);
    sheet.put("brix", brix);
    sheet.put("change", change);
    Ok(sheet)
}

fn refractometer(given: &Given) -> Result<Sheet, Unfit> {
    if given.flag("working") {
        return Err(Unfit::field(
            "working",
            "A refractometer reads alcohol as sugar: once yeast is in, use a hydrometer and “How strong is it now?”",
        ));
    }
    let mut sheet = Sheet::new();
    let read = match (given.optional("reading"), given.optional("index")) {
        (Some(reading), None) => sugar::REFRACTOMETER_BRIX.check(reading)?,
        (None, Some(index)) => sugar::brix_from_refractive_index(index)?,
        (Some(_), Some(_)) => return Err(Unfit::field("index", "Write the reading or the index, not both")),
        (None, None) => return Err(Unfit::field("reading", "Write what it shows, such as 10 °Bx")),
    };
    let brix = match given.optional("temperature") {
        Some(t) => sheet.take(sugar::refractometer_at(read, t)?),
        None => read,
    };
    sheet.says(format!("{} °Bx at 20 °C.", shown(brix, 2)));
    sheet.put("brix", brix);
    let sg = sheet.take(sugar::sg_from_brix(brix)?);
    sheet.put("gravity", sg);
    sheet.put("sugar", sugar::sugar_g_l_from_brix(brix)?.value);
    sheet.put("index", sugar::refractive_index(brix.max(0.0))?);
    Ok(sheet)
}

fn scales(given: &Given) -> Result<Sheet, Unfit> {
    let mut sheet = Sheet::new();
    let content = given.sugar("sugar");
    let brix = sheet.take(content.brix()?);
    let sg = content.sg()?.value;
    let g_l = content.g_l()?.value;
    sheet.says(format!("{} SG, {} °Bx, {} g/L.", shown(sg, 4), shown(brix, 2), shown(g_l, 1)));
    sheet.put("brix", brix);
    sheet.put("gravity", sg);
    sheet.put("sugar", g_l);
    sheet.put("density", sugar::density_kg_m3(brix)?.value);
    sheet.put("hexose", g_l * crate::science::alcohol::HEXOSE_PER_DISACCHARIDE);
    if brix < 0.0 {
        sheet.warn("Below 1.000 this is an apparent extract: alcohol makes a drink lighter than water.");
    }
    Ok(sheet)
}
