//! Sugar into a liquid, and liquids into each other.

use super::sheet::PRESSURE;
use super::strength::{FACTOR, FACTOR_SOURCE};
use super::{Given, Gives, Input, Question, Sheet, Unfit, shown};
use crate::science::blend::{self, Part};

use crate::units::dimension::Dimension;

const MASS: &str = "Balance of mass with the densities of ICUMSA SPS-4; 1 kg of dissolved sugar adds about 0.62 L \
                    (27 CFR 24.181 has 0.6182).";
const R22: &str = "Balance of mass with the densities of OIML R 22 (1975), so with the contraction of alcohol and \
    water. \
                   The sugar in the drinks is ignored.";

const HOLD: &[(&str, &str)] =
    &[("free", "The volume may grow"), ("fixed", "The vessel is full: so much in the end, and no more")];

const PARTS: &[Input] = &[
    Input::measure("volume", "How much", Dimension::Volume, "L", "10"),
    Input::measure("strength", "Strength", Dimension::Strength, "% vol", "14").optional(),
    Input::measure("sugar", "Sugar", Dimension::Content, "g/L", "4").optional(),
    Input::measure("acid", "Acid", Dimension::Content, "g/L", "7.5").optional(),
    Input::measure("sulphite", "Free sulphite", Dimension::Content, "mg/L", "20").optional(),
];

const MUSTS: &[Input] = &[
    Input::measure("volume", "How much", Dimension::Volume, "L", "10"),
    Input::sugar("sugar", "Sugar", "1.050"),
];

pub(super) const QUESTIONS: &[Question] = &[
    Question {
        slug: "sweeten",
        name: "How much sugar to reach a strength?",
        lead: "Before the yeast is in: sugar weighed, and the volume it grows to.",
        inputs: &[
            Input::measure(
                "volume",
                "How much there is, or is wanted in the end",
                Dimension::Volume,
                "L",
                "20",
            ),
            Input::sugar("sugar", "Sugar it has by itself", "1.050")
                .hint("Water is 1.000. Not for milk or whey."),
            Input::measure("strength", "Strength wanted", Dimension::Strength, "% vol", "12"),
            Input::choice("hold", "Volume", HOLD),
            FACTOR,
        ],
        gives: &[
            Gives::amount("sugar_kg", "Cane or beet sugar to add", "kg").by(
                "the mass for which sugar / final volume gives the strength; solved by mass",
                MASS,
                "Up to 850 g/L of sugar; gravity 1.000 to 1.300.",
            ),
            Gives::amount("start", "Liquid to start with", "L").by(
                "what is left of the final volume",
                MASS,
                "As above.",
            ),
            Gives::amount("volume", "Volume afterwards", "L").by(
                "(mass of liquid + sugar)/ρ(w)",
                MASS,
                "As above.",
            ),
            Gives::figure("gravity", "Gravity afterwards", "SG", 4).by("ρ(w)/998.2017", MASS, "As above."),
            Gives::figure("brix", "The same in °Brix", "°Bx", 2).by("100 w", MASS, "As above."),
            Gives::figure("sugar", "Sugar afterwards", "g/L", 1).by("w ρ(w)", FACTOR_SOURCE, "As above."),
        ],
        work: sweeten,
    },
    Question {
        slug: "dissolve",
        name: "What does this much sugar do?",
        lead: "Volume and gravity after sugar is dissolved in water, juice or must.",
        inputs: &[
            Input::measure("volume", "How much liquid", Dimension::Volume, "L", "10"),
            Input::sugar("sugar", "Sugar it has", "1.000"),
            Input::measure("add", "Sugar to dissolve", Dimension::Mass, "kg", "1"),
        ],
        gives: &[
            Gives::figure("gravity", "Gravity afterwards", "SG", 5).by(
                "ρ(w)/998.2017",
                MASS,
                "Up to 850 g/L.",
            ),
            Gives::figure("volume", "Volume afterwards", "L", 4).by(
                "(liquid + sugar)/ρ(w)",
                MASS,
                "As above.",
            ),
            Gives::figure("brix", "Sugar afterwards", "°Bx", 3).by(
                "mass of sugar / mass of all",
                MASS,
                "As above.",
            ),
            Gives::figure("sugar", "Sugar afterwards", "g/L", 1).by("w ρ(w)", MASS, "As above."),
        ],
        work: dissolve,
    },
    Question {
        slug: "sweeten-finished",
        name: "How much sugar to sweeten a finished drink?",
        lead: "Added sugar in grams a litre, and what it makes of the volume.",
        inputs: &[
            Input::measure("volume", "How much drink", Dimension::Volume, "L", "20"),
            Input::measure("gravity", "Its gravity", Dimension::Gravity, "SG", "0.9950"),
            Input::measure("wanted", "Sugar to add, in the drink", Dimension::Content, "g/L", "15"),
        ],
        gives: &[
            Gives::amount("sugar_kg", "Cane or beet sugar to add", "kg").by(
                "the drink counts as water for the volume that sugar takes",
                MASS,
                "Up to 300 g/L.",
            ),
            Gives::amount("volume", "Volume afterwards", "L").by(
                "drink + about 0.62 L for each kg",
                MASS,
                "As above.",
            ),
            Gives::figure("gravity", "Gravity afterwards", "SG", 4).by("mass / volume", MASS, "As above."),
        ],
        work: sweeten_finished,
    },
    Question {
        slug: "another-strength",
        name: "Weaken it, or make it stronger",
        lead: "How much water, or how much of a stronger drink, brings a drink to a strength.",
        inputs: &[
            Input::measure("volume", "How much drink", Dimension::Volume, "L", "100"),
            Input::measure("strength", "Its strength", Dimension::Strength, "% vol", "10"),
            Input::measure("with", "Strength of what is added", Dimension::Strength, "% vol", "96").hint(
                "0 for water. This is about drinks that may be bought; it does not help with distilling.",
            ),
            Input::measure("wanted", "Strength wanted", Dimension::Strength, "% vol", "18"),
        ],
        gives: &[
            Gives::amount("add", "To add", "L").by(
                "the mass for which the blend has the strength wanted",
                R22,
                "0 to 100 % vol; a blend lies between its parts.",
            ),
            Gives::amount("volume", "Volume afterwards", "L").by("mass / ρ(p)", R22, "As above."),
            Gives::amount("contraction", "Lost to contraction", "L").by(
                "sum of the parts − volume",
                R22,
                "As above.",
            ),
            Gives::amount("square", "The square of Pearson would say", "L").by(
                "volume × (wanted − has)/(added − wanted)",
                "Common rule; it ignores contraction.",
                "Good below 20 % vol.",
            ),
            Gives::figure("square_strength", "and give in truth", "% vol", 2).by(
                "the blend of that, by mass",
                R22,
                "As above.",
            ),
        ],
        work: another_strength,
    },
    Question {
        slug: "blend",
        name: "Blend several drinks",
        lead: "Volume, strength, sugar, acid and sulphite of any number of parts together.",
        inputs: &[Input::parts("parts", "The parts", "part", PARTS, "10 14 4 7.5 20\n5 8 0 4.5 10")],
        gives: &[
            Gives::amount("volume", "Volume of the blend", "L").by("mass / ρ(p)", R22, "0 to 100 % vol."),
            Gives::figure("strength", "Strength", "% vol", 4).by(
                "mass of alcohol / mass of all",
                R22,
                "As above.",
            ),
            Gives::amount("contraction", "Lost to contraction", "L").by(
                "sum of the parts − volume",
                R22,
                "As above.",
            ),
            Gives::figure("sugar", "Sugar", "g/L", 2).by("Σ volume × content / Σ volume", PROPORTION, "Any."),
            Gives::figure("acid", "Acid", "g/L", 2).by("Σ volume × content / Σ volume", PROPORTION, "Any."),
            Gives::figure("sulphite", "Free sulphite", "mg/L", 1).by(
                "Σ volume × content / Σ volume",
                PROPORTION,
                "Any.",
            ),
        ],
        work: blend_parts,
    },
    Question {
        slug: "mix-musts",
        name: "Mix juices or musts",
        lead: "Gravity and volume of several musts together, before the yeast.",
        inputs: &[Input::parts("parts", "The musts", "must", MUSTS, "10 1.050\n5 1.080")],
        gives: &[
            Gives::figure("gravity", "Gravity together", "SG", 4).by(
                "by mass: Σ sugar / Σ mass",
                MASS,
                "1.000 to 1.300.",
            ),
            Gives::amount("volume", "Volume together", "L").by("mass / ρ(w)", MASS, "As above."),
            Gives::figure("brix", "Sugar", "°Bx", 2).by("Σ sugar / Σ mass", MASS, "As above."),
            Gives::figure("sugar", "Sugar", "g/L", 1).by("w ρ(w)", MASS, "As above."),
        ],
        work: mix_musts,
    },
    Question {
        slug: "square",
        name: "How many parts of each?",
        lead: "Two drinks and what the blend should have: acid, sugar, sulphite, or a weak strength.",
        inputs: &[
            Input::number("one", "The one has", "", "7.5"),
            Input::number("other", "The other has", "", "4.5"),
            Input::number("wanted", "The blend should have", "", "6.5")
                .hint("All three in the same unit. For strength use “Weaken it”: it knows contraction."),
        ],
        gives: &[
            Gives::figure("parts_of_one", "Parts of the one", "", 3).by(
                "wanted − other",
                PEARSON,
                "Between the two.",
            ),
            Gives::figure("parts_of_other", "Parts of the other", "", 3).by(
                "one − wanted",
                PEARSON,
                "Between the two.",
            ),
            Gives::figure("share_of_one", "The one, as a share", "%", 2).by(
                "parts of the one / all parts",
                PEARSON,
                "Between the two.",
            ),
        ],
        work: square,
    },
];

const PROPORTION: &str = "In proportion to the volumes.";
const PEARSON: &str = "The square of Pearson.";

fn sweeten(given: &Given) -> Result<Sheet, Unfit> {
    let mut sheet = Sheet::new();
    let sg = sheet.take(given.sugar("sugar").sg()?);
    let (volume, strength, factor) =
        (given.number("volume"), given.number("strength"), given.number("sugar_per_vol"));
    let fixed = given.choice("hold") == "fixed";
    let found = if fixed {
        sheet.take(blend::sugar_for_final_volume(volume, sg, strength, factor)?)
    } else {
        sheet.take(blend::sugar_for_strength(volume, sg, strength, factor)?)
    };
    let kg = shown(found.sugar_kg, 2);
    sheet.says(if fixed {
        format!(
            "{kg} kg of sugar in {} L, filled up to {} L.",
            shown(found.start_l, 1),
            shown(found.result.volume_l, 1)
        )
    } else {
        format!("{kg} kg of sugar; it becomes {} L.", shown(found.result.volume_l, 1))
    });
    sheet.put("sugar_kg", found.sugar_kg);
    sheet.put("start", found.start_l);
    sheet.put("volume", found.result.volume_l);
    sheet.put("gravity", found.result.sg);
    sheet.put("brix", found.result.brix);
    sheet.put("sugar", found.result.sugar_g_l);
    Ok(sheet)
}

fn dissolve(given: &Given) -> Result<Sheet, Unfit> {
    let mut sheet = Sheet::new();
    let sg = sheet.take(given.sugar("sugar").sg()?);
    let found = blend::dissolve(given.number("volume"), sg, given.number("add"))?;
    sheet.says(format!("{} L at {}.", shown(found.volume_l, 2), shown(found.sg, 4)));
    sheet.put("gravity", found.sg);
    sheet.put("volume", found.volume_l);
    sheet.put("brix", found.brix);
    sheet.put("sugar", found.sugar_g_l);
    Ok(sheet)
}

fn sweeten_finished(given: &Given) -> Result<Sheet, Unfit> {
    let mut sheet = Sheet::new();
    let found =
        blend::sweeten_finished(given.number("volume"), given.number("gravity"), given.number("wanted"))?;
    let found = sheet.take(found);
    sheet.says(format!(
        "{} kg of sugar; it becomes {} L.",
        shown(found.sugar_kg, 3),
        shown(found.result.volume_l, 2)
    ));
    sheet.put("sugar_kg", found.sugar_kg);
    sheet.put("volume", found.result.volume_l);
    sheet.put("gravity", found.result.sg);
    if found.sugar_kg > 0.0 {
        sheet.caution(PRESSURE);
    }
    Ok(sheet)
}

fn another_strength(given: &Given) -> Result<Sheet, Unfit> {
    let drink = Part { volume_l: given.number("volume"), vol_percent: given.number("strength") };
    let (with, wanted) = (given.number("with"), given.number("wanted"));
    let found = blend::to_strength(drink, with, wanted)?;
    let mut sheet = Sheet::new();
    let of = if with == 0.0 { "water".to_owned() } else { format!("a drink of {} % vol", shown(with, 1)) };
    sheet.says(format!(
        "Add {} L of {of}; it becomes {} L.",
        shown(found.add_l, 2),
        shown(found.blend.volume_l, 2)
    ));
    sheet.put("add", found.add_l);
    sheet.put("volume", found.blend.volume_l);
    sheet.put("contraction", found.blend.contraction_l);
    let square = drink.volume_l * (wanted - drink.vol_percent) / (with - wanted);
    if square.is_finite() && square >= 0.0 {
        sheet.put("square", square);
        let truly = blend::blend(&[drink, Part { volume_l: square, vol_percent: with }]);
        if let Ok(truly) = truly {
            sheet.put("square_strength", truly.vol_percent);
        }
    }
    Ok(sheet)
}

fn blend_parts(given: &Given) -> Result<Sheet, Unfit> {
    let lines = given.lines("parts");
    if lines.len() < 2 {
        return Err(Unfit::field("parts.0.volume", "Write at least two parts, each with its volume"));
    }
    let mut sheet = Sheet::new();
    let parts: Vec<Part> = lines
        .iter()
        .map(|line| Part {
            volume_l: line.number("volume"),
            vol_percent: line.optional("strength").unwrap_or(0.0),
        })
        .collect();
    let found = blend::blend(&parts)?;
    sheet.says(format!("{} L of {} % vol.", shown(found.volume_l, 2), shown(found.vol_percent, 2)));
    sheet.put("volume", found.volume_l);
    sheet.put("strength", found.vol_percent);
    sheet.put("contraction", found.contraction_l);
    for (name, what) in [("sugar", "sugar"), ("acid", "acid"), ("sulphite", "sulphite")] {
        let known: Vec<(f64, f64)> =
            lines.iter().filter_map(|line| Some((line.number("volume"), line.optional(name)?))).collect();
        if known.is_empty() {
            continue;
        }
        if known.len() < lines.len() {
            sheet.warn(format!("The {what} of the blend is left out: it is missing for a part."));
            continue;
        }
        sheet.put(name, blend::mix(&known)?);
    }
    if lines.iter().any(|line| line.optional("sugar").is_some_and(|sugar| sugar > 0.0)) {
        sheet.warn("A sweet part can start the yeast of a dry one: wait and read again before you bottle.");
        sheet.caution(PRESSURE);
    }
    Ok(sheet)
}

fn mix_musts(given: &Given) -> Result<Sheet, Unfit> {
    let lines = given.lines("parts");
    if lines.len() < 2 {
        return Err(Unfit::field(
            "parts.0.volume",
            "Write at least two musts, each with its volume and sugar",
        ));
    }
    let mut sheet = Sheet::new();
    let mut parts = Vec::with_capacity(lines.len());
    for line in lines {
        parts.push((line.number("volume"), sheet.take(line.sugar("sugar").sg()?)));
    }
    let found = blend::mix_gravities(&parts)?;
    sheet.says(format!("{} L at {}.", shown(found.volume_l, 2), shown(found.sg, 4)));
    sheet.put("gravity", found.sg);
    sheet.put("volume", found.volume_l);
    sheet.put("brix", found.brix);
    sheet.put("sugar", found.sugar_g_l);
    Ok(sheet)
}

fn square(given: &Given) -> Result<Sheet, Unfit> {
    let (one, other) = blend::pearson(given.number("one"), given.number("other"), given.number("wanted"))?;
    let mut sheet = Sheet::new();
    sheet.says(format!("{} parts of the one to {} parts of the other.", shown(one, 2), shown(other, 2)));
    sheet.put("parts_of_one", one);
    sheet.put("parts_of_other", other);
    sheet.put("share_of_one", 100.0 * one / (one + other));
    Ok(sheet)
}
