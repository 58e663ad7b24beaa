//! Acid, sulphite, nitrogen, and what the label must say.

use super::sheet::SULPHITE;
use super::{Given, Gives, Input, Question, Sheet, Table, Unfit, shown};
use crate::science::acid::{self, Acid};
use crate::science::nitrogen;
use crate::science::sulphite::{self, Metabisulphite};
use crate::units::dimension::Dimension;

const ACIDS: &[(&str, &str)] = &[
    ("tartaric", "Tartaric"),
    ("malic", "Malic"),
    ("citric", "Citric"),
    ("lactic", "Lactic"),
    ("sulphuric", "Sulphuric"),
    ("acetic", "Acetic"),
    ("succinic", "Succinic"),
];

const SALTS: &[(&str, &str)] =
    &[("potassium", "Potassium metabisulphite"), ("sodium", "Sodium metabisulphite")];

fn acid_of(code: &str) -> Acid {
    match code {
        "malic" => Acid::Malic,
        "citric" => Acid::Citric,
        "lactic" => Acid::Lactic,
        "sulphuric" => Acid::Sulphuric,
        "acetic" => Acid::Acetic,
        "succinic" => Acid::Succinic,
        _ => Acid::Tartaric,
    }
}

const EQUIVALENTS: &str = "Equivalent weights from molar masses; wine is reported as tartaric (in France as \
    sulphuric), whey \
                           as lactic.";
const TABLE: &str = "OIV-MA-AS323-04C after Usseglio-Tomasset and Bosia (1984), ionic strength 0.038, interpolated; \
    partly \
                     from memory.";
const SALT: &str = "Molar masses: potassium metabisulphite is 57.6 % sulphur dioxide, the sodium salt 67.4 %; old \
    salt less \
                    (common practice).";
const LADDER: &str =
    "Ladder of Bisson and Butzke (2000), from memory; reported minima lie between 120 and 267 mg/L.";
const LAW: &str =
    "Regulation (EU) 1169/2011, Annex II, items 7 and 12; 27 CFR 4.32(e) from memory. Local law comes first.";

pub(super) const QUESTIONS: &[Question] = &[
    Question {
        slug: "acid",
        name: "One acid’s figure as another’s",
        lead: "Titratable acidity is said in grams of some acid: this changes which.",
        inputs: &[
            Input::measure("acidity", "Acidity", Dimension::Content, "g/L", "1"),
            Input::choice("given_as", "given as", ACIDS),
            Input::choice("wanted_as", "wanted as", ACIDS).example("lactic"),
        ],
        gives: &[
            Gives::figure("acidity", "Acidity", "g/L", 4).by(
                "given × equivalent weight wanted / equivalent weight given",
                EQUIVALENTS,
                "0 to 100 g/L.",
            ),
            Gives::figure("equivalents", "In equivalents", "meq/L", 3).by(
                "1000 × given / equivalent weight",
                EQUIVALENTS,
                "As above.",
            ),
        ],
        work: acid,
    },
    Question {
        slug: "sulphite",
        name: "How much sulphite?",
        lead: "What part of it protects at this pH, how much is missing, and the salt to weigh.",
        inputs: &[
            Input::number("ph", "pH of the drink", "", "3.2"),
            Input::measure("strength", "Strength", Dimension::Strength, "% vol", "12"),
            Input::measure("temperature", "Temperature", Dimension::Temperature, "°C", "20").usually("20"),
            Input::measure("free", "Free sulphite it has", Dimension::Content, "mg/L", "0").usually("0"),
            Input::measure("wanted", "Molecular sulphite wanted", Dimension::Content, "mg/L", "0.8")
                .usually("0.8")
                .hint("About 0.5 for red, 0.8 for white and sweet drinks (common practice)."),
            Input::measure("volume", "How much drink", Dimension::Volume, "L", "20").optional(),
            Input::measure("total", "Total sulphite it has", Dimension::Content, "mg/L", "").optional(),
            Input::choice("salt", "The salt", SALTS),
            Input::measure("active", "Strength left in the salt", Dimension::Share, "%", "100")
                .setting("100")
                .hint("About 90 % after a year in an opened bag (common practice)."),
        ],
        gives: &[
            Gives::figure("add", "Sulphite to add", "mg/L", 1).by(
                "free wanted − free there",
                TABLE,
                "As below.",
            ),
            Gives::figure("salt", "Salt to weigh", "g", 3).by(
                "volume × sulphite / (1000 × share of sulphur dioxide × strength left)",
                SALT,
                "Up to 1000 mg/L.",
            ),
            Gives::figure("free_wanted", "Free sulphite for that", "mg/L", 1).by(
                "molecular wanted / share",
                TABLE,
                "pH 2.8 to 4.2, 0 to 20 % vol, 20 to 40 °C; colder than 20 °C an upper bound of the share.",
            ),
            Gives::figure("share", "Share of the free that is molecular", "%", 3).by(
                "1/(1 + 10^(pH − pKM))",
                TABLE,
                "As above.",
            ),
            Gives::figure("molecular", "Molecular sulphite now", "mg/L", 3).by(
                "free × share",
                TABLE,
                "As above.",
            ),
        ],
        work: sulphite,
    },
    Question {
        slug: "metabisulphite",
        name: "How much metabisulphite is that?",
        lead: "Grams of salt for so many milligrams of sulphur dioxide a litre.",
        inputs: &[
            Input::measure("volume", "How much drink", Dimension::Volume, "L", "20"),
            Input::measure("add", "Sulphur dioxide to add", Dimension::Content, "mg/L", "50"),
            Input::choice("salt", "The salt", SALTS),
            Input::measure("active", "Strength left in the salt", Dimension::Share, "%", "100")
                .setting("100"),
        ],
        gives: &[Gives::figure("salt", "Salt to weigh", "g", 3).by(
            "volume × sulphite / (1000 × share of sulphur dioxide × strength left)",
            SALT,
            "Up to 1000 mg/L.",
        )],
        work: metabisulphite,
    },
    Question {
        slug: "nitrogen",
        name: "Has the yeast enough nitrogen?",
        lead: "What a must should hold for its sugar, and the diammonium phosphate that is missing.",
        inputs: &[
            Input::measure("volume", "How much must", Dimension::Volume, "L", "20"),
            Input::sugar("sugar", "Its sugar", "1.090"),
            Input::measure("has", "Nitrogen it has for the yeast", Dimension::Content, "mg/L", "")
                .optional()
                .hint("Honey water holds about 20, whey little of use; left empty, none is counted."),
            Input::measure("add", "Or: nitrogen to add", Dimension::Content, "mg/L", "").optional(),
        ],
        gives: &[
            Gives::figure("dap", "Diammonium phosphate", "g", 2).by(
                "volume × nitrogen / (1000 × 0.2121)",
                "Molar masses.",
                "Up to 400 mg/L; usual up to 250.",
            ),
            Gives::figure("add", "Nitrogen to add", "mg/L", 0).about().by(
                "wanted − has",
                LADDER,
                "0 to 35 °Bx.",
            ),
            Gives::figure("wanted", "Nitrogen it should hold", "mg/L", 0).about().by(
                "200 mg/L to 21 °Bx, then 25 mg/L more for each °Bx to 350",
                LADDER,
                "0 to 27 °Bx, taken to 35.",
            ),
        ],
        work: need_of_nitrogen,
    },
    Question {
        slug: "label-words",
        name: "What must the label say?",
        lead: "Milk and sulphites, by what went in.",
        inputs: &[
            Input::flag("milk", "Milk, whey or anything of milk is in it"),
            Input::measure("sulphite", "Total sulphite in the drink", Dimension::Content, "mg/L", "15")
                .optional()
                .hint("Measured, or all that was added. Yeast makes some by itself."),
            Input::flag("added", "Sulphite was added at any time"),
            Input::words("others", "Other allergens that went in", "egg white"),
        ],
        gives: &[
            Gives::words("words", "The label must say").by(
                "milk: yes, if anything of milk went in. Sulphites: from 10 mg/L of total sulphur dioxide",
                LAW,
                "Drinks that are not distilled.",
            ),
            Gives::figure("sulphite_from", "“Contains sulphites” from", "mg/L", 0).by(
                "",
                LAW,
                "Total, as drunk.",
            ),
        ],
        work: label_words,
    },
];

fn acid(given: &Given) -> Result<Sheet, Unfit> {
    let (acidity, from, to) = (given.number("acidity"), given.choice("given_as"), given.choice("wanted_as"));
    let mut sheet = Sheet::new();
    let found = acid::acidity_as(acidity, acid_of(from), acid_of(to))?;
    sheet.says(format!("{} g/L as {to} acid.", shown(found, 2)));
    sheet.put("acidity", found);
    sheet.put("equivalents", acid::acidity_meq_l(acidity, acid_of(from))?);
    let rows = ACIDS.iter().map(|(code, name)| {
        let as_this = acid::acidity_as(acidity, acid_of(from), acid_of(code))?;
        Ok(vec![(*name).to_owned(), shown(as_this, 4)])
    });
    sheet.tables.push(Table {
        caption: "The same acidity as each acid",
        heads: vec!["Acid", "g/L"],
        rows: rows.collect::<Result<_, Unfit>>()?,
    });
    Ok(sheet)
}

fn salt_of(code: &str) -> Metabisulphite {
    if code == "sodium" { Metabisulphite::Sodium } else { Metabisulphite::Potassium }
}

fn sulphite(given: &Given) -> Result<Sheet, Unfit> {
    let (ph, strength, t) = (given.number("ph"), given.number("strength"), given.number("temperature"));
    let free = given.number("free");
    let mut sheet = Sheet::new();
    let share = sheet.take(sulphite::molecular_fraction(ph, strength, t)?);
    let molecular = sheet.take(sulphite::molecular_mg_l(free, ph, strength, t)?);
    let wanted = sheet.take(sulphite::free_for_molecular_mg_l(given.number("wanted"), ph, strength, t)?);
    let add = (wanted - free).max(0.0);
    let mut says =
        if add > 0.0 { format!("Add {} mg/L", shown(add, 0)) } else { "Nothing is missing".to_owned() };
    sheet.put("add", add);
    if let Some(volume) = given.optional("volume") {
        let active = given.number("active") / 100.0;
        let salt = salt_of(given.choice("salt"));
        let grams = sheet.take(sulphite::metabisulphite_g(volume, add.min(1000.0), salt, active)?);
        sheet.put("salt", grams);
        if add > 0.0 {
            says = format!("{says}: {} g of the salt", shown(grams, 1));
        }
    }
    sheet.says(format!("{says}."));
    sheet.put("free_wanted", wanted);
    sheet.put("share", 100.0 * share);
    sheet.put("molecular", molecular);
    let total = given.optional("total").map_or(free + add, |total| total + add);
    if total >= sulphite::LABEL_FROM_MG_L {
        sheet.warn("The label must say “contains sulphites”: it comes to 10 mg/L or more.");
    }
    if total > sulphite::EU_RED_LIMIT_MG_L {
        sheet.warn(
            "In all that passes 150 mg/L, the EU’s limit for dry red wine (white 200, US 350; from memory): lower \
                the pH \
             instead.",
        );
    }
    sheet.caution(SULPHITE);
    Ok(sheet)
}

fn metabisulphite(given: &Given) -> Result<Sheet, Unfit> {
    let mut sheet = Sheet::new();
    let salt = salt_of(given.choice("salt"));
    let active = given.number("active") / 100.0;
    let grams = sulphite::metabisulphite_g(given.number("volume"), given.number("add"), salt, active)?;
    let grams = sheet.take(grams);
    sheet.says(format!("{} g.", shown(grams, 2)));
    sheet.put("salt", grams);
    sheet.caution(SULPHITE);
    Ok(sheet)
}

fn need_of_nitrogen(given: &Given) -> Result<Sheet, Unfit> {
    let mut sheet = Sheet::new();
    let brix = given.sugar("sugar").brix()?.value;
    let wanted = sheet.take(nitrogen::nitrogen_wanted_mg_l(brix)?);
    let has = nitrogen::ADD_MG_L.check(given.optional("has").unwrap_or(0.0))?;
    let add = given.optional("add").unwrap_or((wanted - has).max(0.0));
    let grams = sheet.take(nitrogen::diammonium_phosphate_g(given.number("volume"), add)?);
    sheet.says(if grams > 0.0 {
        format!(
            "About {} g of diammonium phosphate, in two or three parts over the first days.",
            shown(grams, 1)
        )
    } else {
        "It seems to hold enough.".to_owned()
    });
    sheet.put("dap", grams);
    sheet.put("add", add);
    sheet.put("wanted", wanted);
    if !given.has("has") && !given.has("add") {
        sheet.warn("No nitrogen of its own was counted: most musts hold some, so this is the most it needs.");
    }
    Ok(sheet)
}

fn label_words(given: &Given) -> Result<Sheet, Unfit> {
    let total = sulphite::SULPHITE_MG_L.check(given.optional("sulphite").unwrap_or(0.0))?;
    let mut must = Vec::new();
    if given.flag("milk") {
        must.push("milk".to_owned());
    }
    if total >= sulphite::LABEL_FROM_MG_L {
        must.push("contains sulphites".to_owned());
    }
    let others = given.words("others");
    if !others.is_empty() {
        must.push(others.to_owned());
    }
    let mut sheet = Sheet::new();
    let words = if must.is_empty() { "nothing of these".to_owned() } else { must.join("; ") };
    sheet.says(format!("The label must say: {words}."));
    sheet.tell("words", words);
    sheet.put("sulphite_from", sulphite::LABEL_FROM_MG_L);
    if given.flag("milk") {
        sheet.warn(
            "Milk must be named although the lactose was split and the protein strained off; only spirit distilled \
                from \
             whey is excepted.",
        );
    }
    if total < sulphite::LABEL_FROM_MG_L {
        sheet.warn(if given.flag("added") {
            "Sulphite was added: without a measured total below 10 mg/L, say “contains sulphites”."
        } else {
            "Yeast alone can make more than 10 mg/L: “not added” is not “free of”."
        });
    }
    Ok(sheet)
}
