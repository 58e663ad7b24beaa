//! How strong a drink will get, and how strong it is.

use super::{Given, Gives, Input, Question, Sheet, Unfit, shown};
use crate::science::alcohol::{self, GRAVITY_METHOD_VOL_PERCENT};
use crate::science::sugar;
use crate::units::dimension::Dimension;

/// Grams of hexose that give 1 % vol in a litre: asked for wherever a strength is expected.
pub(super) const FACTOR: Input = Input::number(
    "sugar_per_vol",
    "Sugar for one per cent of alcohol",
    "g/L",
    "16.83",
)
.setting("16.83")
.hint(
    "As glucose and fructose: 15.43 by theory, 16.5 in textbooks, 16.83 EU and OIV, 17 in France, 18 to be \
            cautious.",
);

pub(super) const FACTOR_SOURCE: &str = "Stoichiometry of C₆H₁₂O₆ → 2 C₂H₅OH + 2 CO₂ (15.43 g/L by theory); 16.83 \
    g/L is \
    the convention of the EU and the OIV, from memory. 1 g of cane sugar or lactose counts as 1.0526 g.";

const FACTOR_RANGE: &str = "0 to 1200 g/L; few yeasts go beyond 16 to 18 % vol.";

pub(super) const GRAVITY_SOURCE: &str = "Balling’s balance and Tabarié’s rule solved together; densities of OIML R \
    22 and ICUMSA SPS-4. Not a strength for a \
     label: that takes a laboratory.";

const WHAT: &[(&str, &str)] = &[
    ("juice", "Juice or fruit must: about 25 g/L of what is measured is no sugar"),
    ("honey", "Honey water: about 3 g/L is no sugar"),
    ("sugar", "Sugar water: all of it is sugar"),
    ("analysis", "Glucose and fructose by analysis, in g/L"),
    ("milk", "Milk or whey"),
];

pub(super) const QUESTIONS: &[Question] = &[
    Question {
        slug: "how-strong",
        name: "How strong will it get?",
        lead: "From the sugar of juice, honey water or must before the yeast is in.",
        inputs: &[
            Input::sugar("sugar", "Sugar before the yeast", "1.080"),
            Input::choice("what", "What is it?", WHAT),
            FACTOR,
            Input::measure("not_sugar", "What is measured as sugar and is none", Dimension::Content, "g/L", "25")
                .optional()
                .hint("Acids, minerals, pectin. Left empty, it follows from what it is."),
        ],
        gives: &[
            Gives::figure("strength", "Strength when it has fermented out", "% vol", 1).about().by(
                "strength = sugar as hexose / sugar for one per cent",
                FACTOR_SOURCE,
                FACTOR_RANGE,
            ),
            Gives::figure("hexose", "Sugar that ferments, as glucose and fructose", "g/L", 1).by(
                "(sugar on the scale of sucrose − what is none) × 1.0526",
                "ICUMSA SPS-4 for the scale; molar masses for the factor. 25 g/L for must is an old rule, from \
                    memory.",
                "Checked to 25 °Bx, taken to 80 °Bx.",
            ),
            Gives::figure("co2", "Carbon dioxide it gives off, at most", "g/L", 0).by(
                "0.4886 g for each gram of hexose",
                "Stoichiometry, the most there can be.",
                "Any amount.",
            ),
        ],
        work: how_strong,
    },
    Question {
        slug: "strength-reached",
        name: "How strong is it now?",
        lead: "From the gravity before the yeast and the gravity today.",
        inputs: &[
            Input::measure("before", "Gravity before the yeast", Dimension::Gravity, "SG", "1.0900"),
            Input::measure("now", "Gravity now", Dimension::Gravity, "SG", "0.9950")
                .hint("Both corrected to 20 °C. Not for milk or whey: proteins and salts weigh too."),
        ],
        gives: &[
            Gives::figure("strength", "Strength", "% vol", 2).about().by(
                "OE = 100 (2.0665 A + RE)/(100 + 1.0665 A) and SG = SG of the extract + SG of the alcohol − 1, \
                    solved for A",
                GRAVITY_SOURCE,
                "Gravity before 1.000 to 1.170, now 0.980 to 1.100.",
            ),
            Gives::figure("strength_by_mass", "Alcohol by mass", "%", 3).by(
                "A of the two equations above",
                GRAVITY_SOURCE,
                "As above.",
            ),
            Gives::figure("extract_before", "Extract before", "% mass", 3).by(
                "The gravity before, as °Brix",
                "ICUMSA SPS-4.",
                "1.000 to 1.170.",
            ),
            Gives::figure("extract_left", "Extract really left", "% mass", 3).by(
                "RE = OE (100 + 1.0665 A)/100 − 2.0665 A",
                GRAVITY_SOURCE,
                "As above.",
            ),
            Gives::figure("extract_left_per_litre", "Extract really left", "g/L", 1).by(
                "RE × SG × 9.982",
                GRAVITY_SOURCE,
                "As above.",
            ),
            Gives::figure("attenuation", "Share of the extract that seems gone", "%", 1).by(
                "(OE − AE)/OE, with AE the gravity now as °Brix",
                "Definition.",
                "As above.",
            ),
            Gives::figure("real_attenuation", "Share that is really gone", "%", 1).by(
                "(OE − RE)/OE",
                "Definition.",
                "As above.",
            ),
            Gives::figure("co2", "Carbon dioxide given off", "g for each litre of must", 1).by(
                "0.9565 g for each gram of alcohol",
                "Balling’s balance.",
                "As above.",
            ),
            Gives::figure("rule_of_thumb", "The rule of thumb 131.25 × (OG − FG) says", "% vol", 2).by(
                "131.25 × (gravity before − gravity now)",
                "Common practice, no source: up to 0.5 % vol off in strong drinks. Shown to compare, not to use.",
                "As above.",
            ),
        ],
        work: strength_reached,
    },
    Question {
        slug: "extract",
        name: "What is left in a drink of known strength?",
        lead: "The extract of a finished drink, from its gravity and its strength.",
        inputs: &[
            Input::measure("gravity", "Gravity", Dimension::Gravity, "SG", "0.9930"),
            Input::measure("strength", "Strength", Dimension::Strength, "% vol", "12"),
        ],
        gives: &[
            Gives::figure("extract", "Extract", "g/L", 1).by(
                "SG of the extract = SG of the drink − SG of its alcohol + 1, read on the scale of sucrose",
                "Tabarié’s rule, as in the OIV’s method for dry extract (from memory); OIML R 22, ICUMSA SPS-4.",
                "Gravity 0.980 to 1.170.",
            ),
            Gives::figure("alcohol_gravity", "Gravity of its alcohol and water alone", "SG", 5).by(
                "ρ(strength, 20 °C)/998.201",
                "OIML R 22 (1975).",
                "0 to 100 % vol.",
            ),
        ],
        work: extract,
    },
    Question {
        slug: "mass-and-volume",
        name: "Alcohol by mass and by volume",
        lead: "One as the other, with the density of alcohol and water at a temperature.",
        inputs: &[
            Input::measure("strength", "Strength by volume at 20 °C", Dimension::Strength, "% vol", "12")
                .optional()
                .hint("Write this or the mass, not both."),
            Input::measure("mass", "Alcohol by mass", Dimension::Share, "%", "").optional(),
            Input::measure("temperature", "Temperature for the density", Dimension::Temperature, "°C", "20")
                .setting("20"),
        ],
        gives: &[
            Gives::figure("strength", "Strength", "% vol", 3).by(
                "100 p ρ(p, 20 °C)/789.239",
                "OIML R 22 (1975), Directive 76/766/EEC.",
                "0 to 100 %.",
            ),
            Gives::figure("mass", "Alcohol by mass", "%", 4).by(
                "The p for which 100 p ρ(p, 20 °C)/789.239 is the strength",
                "OIML R 22, inverted.",
                "0 to 100 %.",
            ),
            Gives::figure("grams", "Alcohol", "g/L", 2).by(
                "7.89239 × strength",
                "OIML R 22, density of ethanol at 20 °C.",
                "0 to 100 % vol.",
            ),
            Gives::figure("density", "Density of alcohol and water", "kg/m³", 3).by(
                "ρ(p, t), 54 coefficients",
                "OIML R 22 (1975).",
                "−20 to 40 °C.",
            ),
        ],
        work: mass_and_volume,
    },
];

fn how_strong(given: &Given) -> Result<Sheet, Unfit> {
    let what = given.choice("what");
    if what == "milk" {
        return Err(Unfit::field(
            "what",
            "Gravity says nothing about milk and whey: proteins and salts weigh too, and wine yeast cannot take \
                lactose. \
             Ask “What does the whey give by itself?” instead",
        ));
    }
    let mut sheet = Sheet::new();
    let shown_g_l = sheet.take(given.sugar("sugar").g_l()?);
    let usual: f64 = match what {
        "juice" => 25.0,
        "honey" => 3.0,
        _ => 0.0,
    };
    let none = given.optional("not_sugar").unwrap_or(usual.min(shown_g_l.max(0.0)));
    let most = sugar::NON_SUGAR_EXTRACT_G_L.allowed.1.min(shown_g_l.max(0.0));
    sugar::NON_SUGAR_EXTRACT_G_L.within(0.0, most).check(none)?;
    let left = (shown_g_l - none).max(0.0);
    let hexose = if what == "analysis" { left } else { left * alcohol::HEXOSE_PER_DISACCHARIDE };
    let strength = sheet.take(alcohol::potential_vol_percent(hexose, given.number("sugar_per_vol"))?);
    sheet.says(format!("About {} % vol if the yeast takes all of it.", shown(strength, 1)));
    sheet.put_within("strength", strength, 0.05 * strength);
    sheet.via(format!("{} g/L measured, {} g/L of it no sugar", shown(shown_g_l, 1), shown(none, 1)));
    sheet.put("hexose", hexose);
    sheet.put("co2", hexose * alcohol::CO2_PER_HEXOSE);
    Ok(sheet)
}

fn strength_reached(given: &Given) -> Result<Sheet, Unfit> {
    let (before, now) = (given.number("before"), given.number("now"));
    let mut sheet = Sheet::new();
    let found = sheet.take(alcohol::strength_from_gravities(before, now)?);
    sheet.says(format!("About {} % vol, give or take 0.3.", shown(found.vol_percent, 1)));
    sheet.put_within("strength", found.vol_percent, GRAVITY_METHOD_VOL_PERCENT);
    sheet.via(format!(
        "OE {} %, A {} %",
        shown(found.original_extract_percent, 3),
        shown(found.mass_percent, 3)
    ));
    sheet.put("strength_by_mass", found.mass_percent);
    sheet.put("extract_before", found.original_extract_percent);
    sheet.put("extract_left", found.real_extract_percent);
    sheet.put("extract_left_per_litre", found.real_extract_g_l);
    sheet.put("attenuation", 100.0 * found.apparent_attenuation());
    sheet.put("real_attenuation", 100.0 * found.real_attenuation());
    sheet.put("co2", found.co2_g_per_l_must);
    sheet.put("rule_of_thumb", 131.25 * (before - now));
    Ok(sheet)
}

fn extract(given: &Given) -> Result<Sheet, Unfit> {
    let strength = given.number("strength");
    let extract = alcohol::tabarie_extract_g_l(given.number("gravity"), strength)?;
    let mass = alcohol::mass_from_vol_percent(strength)?;
    let gravity = alcohol::mixture_density_kg_m3(mass, 20.0)? / alcohol::mixture_density_kg_m3(0.0, 20.0)?;
    let mut sheet = Sheet::new();
    sheet.says(format!("About {} g/L: sugar, acids, glycerol and salts together.", shown(extract, 0)));
    sheet.put("extract", extract);
    sheet.put("alcohol_gravity", gravity);
    Ok(sheet)
}

fn mass_and_volume(given: &Given) -> Result<Sheet, Unfit> {
    let (strength, mass) = match (given.optional("strength"), given.optional("mass")) {
        (Some(strength), None) => (strength, alcohol::mass_from_vol_percent(strength)?),
        (None, Some(mass)) => (alcohol::vol_from_mass_percent(mass)?, mass),
        (Some(_), Some(_)) => return Err(Unfit::field("mass", "Write the strength or the mass, not both")),
        (None, None) => {
            return Err(Unfit::field("strength", "Write the strength, such as 12 % vol, or the mass"));
        }
    };
    let mut sheet = Sheet::new();
    sheet.says(format!("{} % vol is {} % by mass.", shown(strength, 2), shown(mass, 2)));
    sheet.put("strength", strength);
    sheet.put("mass", mass);
    sheet.put("grams", alcohol::ethanol_g_l(strength)?);
    sheet.put("density", alcohol::mixture_density_kg_m3(mass, given.number("temperature"))?);
    Ok(sheet)
}
