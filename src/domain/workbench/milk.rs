//! Milk, curd, whey, and boiling whey down.

use super::sheet::{BOILING, GLASS, MILK};
use super::strength::{FACTOR, FACTOR_SOURCE};
use super::{Given, Gives, Input, Question, Sheet, Unfit, shown};
use crate::science::dairy::{self, Lactase, LactaseKind, Milk};
use crate::science::{heat, sugar};
use crate::units::dimension::Dimension;

const MILKS: &[(&str, &str)] =
    &[("cow", "Cow"), ("goat", "Goat"), ("sheep", "Sheep"), ("buffalo", "Buffalo")];

pub(super) fn milk(code: &str) -> Milk {
    match code {
        "goat" => Milk::Goat,
        "sheep" => Milk::Sheep,
        "buffalo" => Milk::Buffalo,
        _ => Milk::Cow,
    }
}

const YIELD: &str = "Van Slyke and Price, as in the Cheese Technology e-book of the University of Guelph; \
    composition: USDA \
                     and FAO tables, partly from memory.";
const LEFT: &str = "Whey is all that is not curd, at 1.025 kg/L; losses are recorded, not computed.";
const NATURAL: &str = "Wine yeast takes glucose, not lactose; galactose by the setting (Rivera Flores et al., \
    Fermentation 7 \
                       (2021) 266, saw all of it taken; many wine strains leave it).";
const RENNET: &str = "ISO 11815 | IDF 157 for the unit; the dose is common practice. The label comes first.";
const LACTASE: &str = "First order; as much split in 22 h at 5 °C as in 2 h at 31 °C (beta-galactosidase of \
    Saccharomyces \
                       lactis, abstract); the galactose made slows it (Jurado 2002). The label comes first.";
const HEAT: &str = "Latent heat and vapour pressure of IAPWS, standard atmosphere; the share of the power that \
    arrives is \
                    common practice.";

const LACTASES: &[(&str, &str)] = &[
    ("neutral", "Neutral, from yeast: pH 6 to 7.5, below 40 °C"),
    ("acid", "Acid, from mould: pH 3.5 to 5.5"),
];

const LIQUIDS: &[(&str, &str)] = &[
    ("split-whey", "Whey with its lactose split"),
    ("whey", "Whey as it is"),
    ("must", "Juice or must"),
    ("water", "Water"),
];

pub(super) const QUESTIONS: &[Question] = &[
    Question {
        slug: "whey",
        name: "What does the whey give by itself?",
        lead: "Curd, whey, and the strength that its own sugar makes once the lactose is split.",
        inputs: &[
            Input::measure("volume", "How much milk", Dimension::Volume, "L", "60"),
            Input::choice("milk", "Whose milk", MILKS),
            Input::measure("moisture", "Water in the curd", Dimension::Share, "%", "60")
                .setting("60")
                .hint("A hard cheese about 37 %, a fresh curd 60 to 75 %."),
            Input::measure("lactose", "Lactose of the whey", Dimension::Content, "g/L", "47")
                .optional()
                .hint("Left empty: 47 g/L for cow’s milk, the others in proportion."),
            Input::measure("split", "Lactose that is split", Dimension::Share, "%", "95").setting("95"),
            Input::measure("galactose", "Galactose that ferments", Dimension::Share, "%", "0")
                .setting("0")
                .hint("0 to plan a strength; 100 where the pressure in a bottle is meant."),
            Input::measure("fat", "Fat of the milk", Dimension::Share, "%", "").optional(),
            Input::measure("casein", "Casein of the milk", Dimension::Share, "%", "").optional(),
            FACTOR,
        ],
        gives: &[
            Gives::figure("strength", "Strength by itself", "% vol", 2).about().by(
                "lactose × share split × 1.0526/2 × (1 + share of galactose) / sugar for one per cent",
                NATURAL,
                "Lactose 0 to 200 g/L.",
            ),
            Gives::amount("whey", "Whey", "L").about().by("(milk − curd)/1.025", LEFT, "As for the curd."),
            Gives::amount("curd", "Curd", "kg").about().by(
                "milk × (0.93 F + C − 0.1) × 1.09/(1 − M)/100",
                YIELD,
                "Fat 2 to 9 %, casein 1.5 to 6 %, moisture 30 to 85 %; made for hard cheese.",
            ),
            Gives::figure("lactose", "Lactose of the whey", "g/L", 1).about().by(
                "47 g/L for cow’s milk, others in proportion to lactose/(100 − fat − casein)",
                "47 to 50 g/L by computation; the proportion is a rule of ours.",
                "0 to 200 g/L.",
            ),
            Gives::figure("fermentable", "Sugar that ferments", "g/L", 2).about().by(
                "lactose × share split × 1.0526/2 × (1 + share of galactose)",
                NATURAL,
                "As above.",
            ),
            Gives::figure("left", "Sugar that stays: lactose and galactose", "g/L", 1).about().by(
                "what was not split, and the galactose that does not ferment",
                NATURAL,
                "As above.",
            ),
            Gives::figure("pressure_sugar", "Sugar that counts for the pressure in a bottle", "g/L", 1).by(
                "all galactose, as if it could still ferment",
                "The safe side.",
                "As above.",
            ),
        ],
        work: whey,
    },
    Question {
        slug: "rennet",
        name: "How much rennet?",
        lead: "The dose for a milk, by the strength on the bottle.",
        inputs: &[
            Input::measure("volume", "How much milk", Dimension::Volume, "L", "4"),
            Input::number("strength", "Strength on the label", "IMCU/mL", "145"),
            Input::measure("temperature", "Temperature of the \
                milk", Dimension::Temperature, "°C", "32").usually("32"),
            Input::number("dose", "Dose", "IMCU/L", "45").setting("45").hint("30 to 50 for cow’s milk."),
            Input::measure("known_time", "Time to clot that you know", Dimension::Time, "min", "")
                .optional()
                .hint("From an earlier batch, with its dose below."),
            Input::number("known_dose", "at this dose", "IMCU/L", "").optional(),
        ],
        gives: &[
            Gives::figure("rennet", "Rennet", "mL", 3).by(
                "dose × milk / strength",
                RENNET,
                "20 to 40 °C; good at 28 to 36 °C; 5 to 200 IMCU/L.",
            ),
            Gives::figure("clotting", "Time to clot at this dose", "min", 1).about().by(
                "known time × known dose / dose",
                "Holter’s rule, from memory.",
                "The same milk at the same temperature.",
            ),
        ],
        work: rennet,
    },
    Question {
        slug: "lactase",
        name: "How long does the lactase need?",
        lead: "Time and dose to split the lactose, from what the label promises.",
        inputs: &[
            Input::measure("volume", "How much whey or milk", Dimension::Volume, "L", "50"),
            Input::measure("temperature", "Temperature", Dimension::Temperature, "°C", "5").usually("5"),
            Input::measure("share", "Lactose to be split", Dimension::Share, "%", "95").usually("95"),
            Input::number("dose", "Dose", "for each L", "3").usually("3").hint("In the unit of the label: mL, g, or \
                units."),
            Input::measure("time", "Or: the time there is", Dimension::Time, "h", "")
                .optional()
                .hint("Then the share that is split is worked out."),
            Input::number("ph", "pH", "", "6.5").setting("6.5"),
            Input::choice("kind", "The lactase", LACTASES),
            Input::number("label_dose", "The label says: this dose", "for each L", "3").setting("3"),
            Input::measure("label_time", "in this time", Dimension::Time, "h", "12").setting("12"),
            Input::measure("label_temperature", "at this temperature", Dimension::Temperature, "°C", "5").setting("5"),
            Input::measure("label_share", "splits so much", Dimension::Share, "%", "80").setting("80"),
        ],
        gives: &[
            Gives::figure("hours", "Time", "h", 2).about().by(
                "t = label time × label dose/dose × rate(label)/rate(T) × ln(1 − X)/ln(1 − X label)",
                LACTASE,
                "Neutral 2 to 40 °C, pH 6 to 7.5; acid 2 to 55 °C, pH 3.5 to 5.5; checked at 5 and 31 °C.",
            ),
            Gives::figure("share", "Lactose split", "%", 1).about().by("X = 1 − exp(−k t)", LACTASE, "As above."),
            Gives::amount("dose", "Lactase", "in the unit of the label").by("dose × volume", "", "Any."),
            Gives::figure("rate", "Speed against 31 °C", "", 3).by(
                "exp(−Ea/R (1/T − 1/304.15 K)), Ea 64.9 kJ/mol",
                LACTASE,
                "2 to 55 °C.",
            ),
        ],
        work: lactase,
    },
    Question {
        slug: "boil-down",
        name: "How long to boil it down?",
        lead: "Time, energy and what is left of whey, juice or water at your height above the sea.",
        inputs: &[
            Input::measure("volume", "How much there is", Dimension::Volume, "L", "4"),
            Input::measure("to", "Boil down to", Dimension::Volume, "L", "0.4"),
            Input::choice("liquid", "What is it", LIQUIDS),
            Input::measure("power", "Power of the stove", Dimension::Power, "W", "1500"),
            Input::measure("altitude", "Height above the sea", Dimension::Height, "m", "0").setting("0"),
            Input::measure("from", "Temperature now", Dimension::Temperature, "°C", "20").setting("20"),
            Input::measure("efficiency", "Power that reaches the liquid", Dimension::Share, "%", "80")
                .setting("80")
                .hint("50 to 85 %: a lidless pot on gas is low, a dipped element high."),
            Input::measure("lactose", "Lactose, before it was split", Dimension::Content, "g/L", "47").setting("47"),
            Input::sugar("sugar", "Sugar of the juice", "1.050").optional(),
            Input::measure("cool_to", "Kept afterwards at", Dimension::Temperature, "°C", "20").setting("20"),
        ],
        gives: &[
            Gives::figure("hours", "Time in all", "h", 2).about().by(
                "heat / (power × share that arrives)",
                HEAT,
                "50 to 100 000 W; share 10 to 100 %, usual 50 to 85 %.",
            ),
            Gives::figure("energy", "Energy drawn", "kWh", 2).about().by("power × time", HEAT, "As above."),
            Gives::figure("heat", "Heat the liquid takes", "kJ", 0).by("m c ΔT + evaporated × latent \
                heat", HEAT, "As above."),
            Gives::figure("evaporated", "Water boiled off", "kg", 3).by(
                "mass before − mass after",
                "Balance of mass; tenfold whey 1.20 kg/L is common practice.",
                "Down to a twentieth.",
            ),
            Gives::figure("warming_hours", "of which until it boils", "h", 2).about().by("m c ΔT / power that \
                arrives", HEAT, "As above."),
            Gives::figure("rate", "Boiled off in an hour", "kg/h", 3).about().by("power that arrives / latent \
                heat", HEAT, "As above."),
            Gives::figure("boils_at", "It boils at", "°C", 2).about().by(
                "vapour pressure of water = pressure of the air at this height",
                "IAPWS 1992 and the standard atmosphere; the weather moves it by half a degree, sugar raises it.",
                "−400 to 5000 m; checked 0 to 3000 m.",
            ),
            Gives::figure("times", "Boiled down", "times", 2).by("volume before / after", "", "1 to 20 times."),
            Gives::figure("sugar", "Sugar afterwards", "g/L", 1).by("content × times", "Balance of dry \
                matter.", "As above."),
            Gives::figure("strength", "Strength that would give", "% vol", 1).about().by(
                "as hexose that ferments / 16.83",
                FACTOR_SOURCE,
                "Galactose not counted.",
            ),
            Gives::figure("crystals", "Lactose that crystallises", "g/L", 0).about().by(
                "what the water left cannot hold at the temperature it is kept at",
                "A table of dairy textbooks, from memory.",
                "0 to 89 °C.",
            ),
        ],
        work: boil_down,
    },
];

fn whey(given: &Given) -> Result<Sheet, Unfit> {
    let milk = milk(given.choice("milk"));
    let food = milk.composition();
    let mut sheet = Sheet::new();
    let fat = given.optional("fat").unwrap_or(food.fat);
    let casein = given.optional("casein").unwrap_or(milk.casein_percent());
    let moisture = given.number("moisture") / 100.0;
    let curd = dairy::curd_and_whey(given.number("volume"), milk.kg_l(), fat, casein, moisture)?;
    let curd = sheet.take(curd);
    let lactose = given.optional("lactose").unwrap_or(milk.whey_lactose_g_l());
    let (split, taken) = (given.number("split") / 100.0, given.number("galactose") / 100.0);
    let natural = dairy::natural_strength(lactose, split, taken, given.number("sugar_per_vol"))?;
    let natural = sheet.take(natural);
    let sugars = dairy::hydrolysed(lactose, split)?;
    sheet.says(format!(
        "About {} L of whey and {} kg of curd; by itself the whey comes to about {} % vol.",
        shown(curd.whey_l, 1),
        shown(curd.curd_kg, 1),
        shown(natural.vol_percent, 1)
    ));
    sheet.put_within("strength", natural.vol_percent, 0.15 * natural.vol_percent);
    sheet.put_within("whey", curd.whey_l, 0.05 * curd.whey_l);
    sheet.put_within("curd", curd.curd_kg, 0.15 * curd.curd_kg);
    sheet.via(format!(
        "{} kg of milk, fat {} %, casein {} %",
        shown(curd.milk_kg, 2),
        shown(fat, 2),
        shown(casein, 2)
    ));
    sheet.put("lactose", lactose);
    sheet.put("fermentable", natural.fermentable_g_l);
    sheet.put("left", sugars.lactose + sugars.galactose * (1.0 - taken));
    sheet.put("pressure_sugar", sugars.galactose);
    if split < 1e-9 {
        sheet.warn("Unsplit, lactose is nothing to wine yeast: split it with lactase first.");
    }
    sheet.caution(MILK);
    Ok(sheet)
}

fn rennet(given: &Given) -> Result<Sheet, Unfit> {
    let dose = given.number("dose");
    let mut sheet = Sheet::new();
    let ml = dairy::rennet_ml(
        given.number("volume"),
        dose,
        given.number("strength"),
        given.number("temperature"),
    )?;
    let ml = sheet.take(ml);
    sheet.says(format!(
        "{} mL of rennet, in a little cold water, stirred in for half a minute.",
        shown(ml, 2)
    ));
    sheet.put("rennet", ml);
    match (given.optional("known_time"), given.optional("known_dose")) {
        (Some(time), Some(known)) => sheet.put("clotting", dairy::clotting_minutes(time, known, dose)?),
        (Some(_), None) => {
            return Err(Unfit::field("known_dose", "Write the dose that took this time, in IMCU/L"));
        }
        (None, Some(_)) => {
            return Err(Unfit::field("known_time", "Write the time that this dose took, in minutes"));
        }
        (None, None) => {}
    }
    sheet.caution(MILK);
    Ok(sheet)
}

fn lactase(given: &Given) -> Result<Sheet, Unfit> {
    let kind = if given.choice("kind") == "acid" { LactaseKind::Acid } else { LactaseKind::Neutral };
    let label = Lactase {
        kind,
        dose: given.number("label_dose"),
        hours: given.number("label_time"),
        temperature_c: given.number("label_temperature"),
        fraction: given.number("label_share") / 100.0,
    };
    let (dose, t, ph) = (given.number("dose"), given.number("temperature"), given.number("ph"));
    let mut sheet = Sheet::new();
    let (hours, share) = if let Some(hours) = given.optional("time") {
        (hours, sheet.take(dairy::lactase_fraction(&label, dose, t, ph, hours)?))
    } else {
        let share = given.number("share") / 100.0;
        (sheet.take(dairy::lactase_hours(&label, dose, t, ph, share)?), share)
    };
    sheet.says(if given.has("time") {
        format!("About {} % of the lactose is split by then.", shown(100.0 * share, 0))
    } else {
        format!("At least {} hours at {} °C.", shown(hours, 1), shown(t, 0))
    });
    if given.has("time") {
        sheet.put("share", 100.0 * share);
        sheet.put("hours", hours);
    } else {
        sheet.put("hours", hours);
        sheet.put("share", 100.0 * share);
    }
    sheet.put("dose", dose * crate::science::range::VOLUME_L.check(given.number("volume"))?);
    sheet.put("rate", dairy::lactase_rate_to_31_c(t)?);
    sheet.caution(MILK);
    Ok(sheet)
}

fn boil_down(given: &Given) -> Result<Sheet, Unfit> {
    let (volume, to) = (given.number("volume"), given.number("to"));
    let liquid = given.choice("liquid");
    let range = crate::science::range::VOLUME_L;
    let from_l = range.within(0.001, range.allowed.1).check(volume)?;
    let to_l = range.within(from_l / 20.0, from_l).check(to)?;
    let fold = from_l / to_l;
    let mut sheet = Sheet::new();
    let (from_kg_l, to_kg_l, cp, sugar_g_l) = match liquid {
        "water" => (0.9982, 0.9982, 4.18, 0.0),
        "must" => {
            let sg = if given.has("sugar") { given.sugar("sugar").sg()?.value } else { 1.05 };
            let g_l = sugar::sugar_g_l_from_sg(sg)?.value.max(0.0);
            let after = sugar::sg_from_sugar_g_l(g_l * fold).map_err(|_| {
                Unfit::field("to", "So far down it is no syrup any more but candy: boil down less")
            })?;
            let after = sheet.take(after);
            let water = sugar::WATER_20_KG_M3 / 1000.0;
            (sg * water, after * water, 3.9, g_l * fold)
        }
        _ => {
            let grown = sheet.take(dairy::concentrated_g_l(given.number("lactose"), from_l, to_l)?);
            (dairy::WHEY_KG_L, dairy::concentrated_whey_kg_l(fold)?, heat::WHEY_KJ_KG_K, grown)
        }
    };
    let boils_at = sheet.take(heat::boiling_point_c(given.number("altitude"))?);
    let job = heat::BoilDown {
        from_l,
        from_kg_l,
        to_l,
        to_kg_l,
        from_c: given.number("from"),
        boiling_c: boils_at,
        specific_heat_kj_kg_k: cp,
        power_w: given.number("power"),
        efficiency: given.number("efficiency") / 100.0,
    };
    let boil = sheet.take(heat::boil_down(&job)?);
    sheet.says(format!(
        "About {} hours and {} kWh; {} kg of water goes.",
        shown(boil.hours, 1),
        shown(boil.drawn_kwh, 1),
        shown(boil.evaporated_kg, 1)
    ));
    sheet.put_within("hours", boil.hours, 0.15 * boil.hours);
    sheet.put_within("energy", boil.drawn_kwh, 0.15 * boil.drawn_kwh);
    sheet.put("heat", boil.heat_kj);
    sheet.put("evaporated", boil.evaporated_kg);
    sheet.put("warming_hours", boil.warming_hours);
    sheet.put("rate", job.power_w * job.efficiency * 3.6 / heat::latent_heat_kj_kg(boils_at)?);
    sheet.put("boils_at", boils_at);
    sheet.put("times", fold);
    if liquid != "water" {
        sheet.put("sugar", sugar_g_l);
    }
    match liquid {
        "whey" => {
            let crystals = dairy::lactose_crystals_g_l(sugar_g_l.min(1000.0), fold, given.number("cool_to"))?;
            sheet.put("crystals", crystals);
            if crystals > 0.0 {
                sheet.warn(
                    "Unsplit lactose crystallises when this cools: split it with lactase before you boil \
                    down.",
                );
            }
        }
        "split-whey" => {
            let split = dairy::hydrolysed(sugar_g_l, dairy::DEFAULT_HYDROLYSED_FRACTION)?;
            sheet.put("strength", split.glucose / crate::science::alcohol::DEFAULT_HEXOSE_PER_VOL_G_L);
            sheet.via("95 % of the lactose split; the yeast takes the glucose");
        }
        _ => {}
    }
    sheet.caution(BOILING);
    sheet.caution(GLASS);
    Ok(sheet)
}
