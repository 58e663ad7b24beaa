//! The comparison as pages show it: what the base gives, and every way with the same figures in the same order.

use super::routes::Ways;
use crate::domain::workbench::routes::{Base, Bill, Comparison, Route};
use crate::domain::workbench::shown;
use crate::units::money::Money;
use crate::web::plans::rounded;
use crate::web::words;

/// What the base gives by itself.
pub struct BaseView {
    /// Name, figure and unit; how it is worked out.
    pub facts: Vec<(&'static str, String, &'static str, Vec<&'static str>)>,
}

/// One figure of every way.
pub struct Row {
    /// Its name.
    pub label: &'static str,
    /// A text for each way; empty where it says nothing.
    pub cells: Vec<String>,
    /// Formula, range and source.
    pub how: &'static [&'static str],
    /// It is among the key figures.
    pub key: bool,
}

/// One way.
pub struct RouteView {
    /// Its name.
    pub name: &'static str,
    /// Why it cannot be gone.
    pub cannot: Option<String>,
    /// The key figures: name, text, how.
    pub key: Vec<(&'static str, String, &'static [&'static str])>,
    /// The others.
    pub more: Vec<(&'static str, String, &'static [&'static str])>,
    /// What must be known.
    pub warnings: Vec<String>,
    /// The address of the form that makes it a batch, for those who may.
    pub plan: Option<String>,
    /// What it takes: what, how much, cost and note.
    pub takes: Vec<(String, String, String)>,
    /// What is not known of its cost.
    pub note: &'static str,
}

const MASS: &str = "Source: balance of mass; ICUMSA SPS-4 for sugar, OIML R 22 for alcohol.";
const HEAT: &str = "Source: latent heat and vapour pressure of IAPWS, standard atmosphere; the share of the power \
    that \
                    arrives is common practice.";
const OWN: &str = "Source: common practice and rules of ours: lactose of whey ± 15 %, juice ± 5 %, honey ± 3 %, \
    sugar ± 1 %, the \
                   yeast’s yield ± 5 %.";
const MILK: &str = "Source: Van Slyke and Price; composition of USDA and FAO tables, partly from memory.";

type Tell = fn(&Comparison, &Route, &Bill, &str) -> String;

/// What is said of every way: name, key, text, how.
const FIGURES: &[(&str, bool, Tell, &[&str])] = &[
    (
        "Sugar to add",
        true,
        |_, route, _, _| some(route.sugar_kg, 2, "kg"),
        &[
            "The cane sugar for which all sugar that ferments / volume of the must gives the goal: it adds about \
                0.62 L for each kg.",
            "Holds for: up to 850 g/L.",
            MASS,
        ],
    ),
    (
        "Water to add",
        true,
        |_, route, _, _| some(route.water_l, 1, "L"),
        &["The water that brings the sugar that ferments down to the goal.", MASS],
    ),
    (
        "Boiled down to",
        true,
        boiled,
        &[
            "Volume × (sugar it has / sugar wanted after boiling); in the mix boiling brings its share of what is \
                missing.",
            "Holds for: up to 15 times.",
            "Source: balance of dry matter; tenfold whey weighs 1.20 kg/L (common practice).",
        ],
    ),
    (
        "On the stove",
        true,
        |_, route, _, _| some(route.hours, 1, "h"),
        &["(mass × specific heat × warming + water boiled off × latent heat) / power that arrives.", HEAT],
    ),
    ("Energy", false, |_, route, _, _| some(route.energy_kwh, 1, "kWh"), &["Power × time.", HEAT]),
    (
        "Water boiled off",
        false,
        |_, route, _, _| some(route.evaporated_kg, 1, "kg"),
        &["Mass before − mass after.", MASS],
    ),
    (
        "Strength expected",
        true,
        |_, route, _, _| strength(route),
        &[
            "Sugar that ferments, as hexose / sugar for one per cent; ± from how well each part of the sugar is \
                known and from the \
         yeast’s yield, added as squares.",
            "Source: stoichiometry and the convention of the EU and the OIV (16.83 g/L). Not a strength for a label.",
            OWN,
        ],
    ),
    (
        "Sugar that stays",
        true,
        |_, route, _, _| format!("{} g/L", shown(route.left_g_l, 0)),
        &[
            "Lactose that was not split and galactose that yeast leaves, in the volume of the must. It counts for \
                the pressure in a \
         bottle.",
            "Source: stoichiometry; galactose by the setting.",
        ],
    ),
    ("Must", false, |_, route, _, _| format!("{} L", shown(route.must_l, 1)), &["Mass / density.", MASS]),
    (
        "Gravity of the must",
        false,
        |_, route, _, _| format!("{} SG", shown(route.must_sg, 3)),
        &[
            "Mass / volume / 998.2 g/L. For whey it says nothing about strength: proteins and salts weigh too.",
            MASS,
        ],
    ),
    (
        "Drink",
        false,
        |_, route, _, _| format!("about {} L", shown(route.drink_l, 1)),
        &[
            "(mass of the must − mass of the gas) / density of extract, alcohol and water together, so with their \
                contraction.",
            "Source: Tabarié’s rule, OIML R 22, ICUMSA SPS-4.",
        ],
    ),
    (
        "Bottles",
        true,
        bottles,
        &["Whole bottles from the drink, less what lees and racking take.", "Source: the settings."],
    ),
    (
        "A bottle costs",
        true,
        cost,
        &[
            "What is taken from the club’s own lots, first-expired-first, at what they cost / bottles. Energy and \
                work are not in it, \
         and curds take nothing off yet.",
            "Source: the books of the club.",
        ],
    ),
    (
        "Rennet",
        false,
        |all, _, _, _| milk_only(all, all.ask.rennet_ml(), 1, "mL"),
        &[
            "45 IMCU for each litre of milk / strength on the label.",
            "Source: ISO 11815 | IDF 157 for the unit; the dose is common practice. The label comes first.",
        ],
    ),
    (
        "Lactase",
        false,
        |all, _, _, _| milk_only(all, all.ask.lactase_ml_l * all.base.litres, 0, "mL"),
        &[
            "Dose of the settings × whey.",
            "Source: a neutral lactase of common strength (SCIRP paper 114047, 2021). The label comes first.",
        ],
    ),
];

fn some(value: f64, places: usize, unit: &str) -> String {
    if value.abs() < 1e-9 { String::new() } else { format!("{} {unit}", shown(value, places)) }
}

fn milk_only(all: &Comparison, value: f64, places: usize, unit: &str) -> String {
    if all.ask.base.is_milk() { some(value, places, unit) } else { String::new() }
}

fn boiled(all: &Comparison, route: &Route, _: &Bill, _: &str) -> String {
    if route.evaporated_kg <= 0.0 {
        return String::new();
    }
    let times = all.base.litres / route.boiled_l;
    format!("{} L ({} times)", shown(route.boiled_l, 1), shown(times, 1))
}

fn strength(route: &Route) -> String {
    format!("about {} % vol ± {}", shown(route.vol_percent, 1), shown(route.within_vol_percent, 1))
}

fn bottles(all: &Comparison, route: &Route, _: &Bill, _: &str) -> String {
    format!("{} of {} mL", route.bottles, shown(1000.0 * all.ask.bottle_l, 0))
}

fn cost(_: &Comparison, _: &Route, bill: &Bill, currency: &str) -> String {
    match bill.bottle {
        Some(bottle) if bottle > Money::ZERO => {
            let unknown: Vec<&str> = bill
                .lines
                .iter()
                .filter(|line| line.cost.is_none())
                .map(|line| line.item.as_ref().map_or(line.role.name(), |item| item.1.as_str()))
                .collect();
            let without =
                if unknown.is_empty() { String::new() } else { format!(", without {}", unknown.join(", ")) };
            format!("about {}{without}", words::money(currency, bottle))
        }
        _ => "not known".to_owned(),
    }
}

/// Every figure of every way; those that say nothing of any way are left out.
pub fn rows(ways: &Ways, currency: &str) -> Vec<Row> {
    let cells = |tell: Tell| -> Vec<String> {
        let routes = ways.comparison.routes.iter().zip(&ways.bills);
        let cell = |(route, bill): (&Route, &Bill)| match route.cannot {
            Some(_) => String::new(),
            None => tell(&ways.comparison, route, bill, currency),
        };
        routes.map(cell).collect()
    };
    let row = |(label, key, tell, how): &(&'static str, bool, Tell, &'static [&'static str])| Row {
        label,
        cells: cells(*tell),
        how,
        key: *key,
    };
    FIGURES.iter().map(row).filter(|row| row.cells.iter().any(|cell| !cell.is_empty())).collect()
}

/// Every way.
pub fn views(ways: &Ways, currency: &str, to: impl Fn(&str) -> Option<String>) -> Vec<RouteView> {
    let told = |route: &Route, bill: &Bill, key: bool| {
        let figures = FIGURES.iter().filter(|figure| figure.1 == key && route.cannot.is_none());
        let texts =
            figures.map(|(name, _, tell, how)| (*name, tell(&ways.comparison, route, bill, currency), *how));
        texts.filter(|(_, text, _)| !text.is_empty()).collect()
    };
    let view = |(route, bill): (&Route, &Bill)| RouteView {
        key: told(route, bill, true),
        more: told(route, bill, false),
        name: route.name,
        cannot: route.cannot.clone(),
        warnings: route.warnings.clone(),
        plan: if route.cannot.is_some() { None } else { to(route.code) },
        takes: if route.cannot.is_some() { Vec::new() } else { takes(bill, currency) },
        note: if bill.incomplete { "Something has no price here: the cost is at least this." } else { "" },
    };
    ways.comparison.routes.iter().zip(&ways.bills).map(view).collect()
}

/// What a way takes from the stores: what, how much, cost and note.
pub fn takes(bill: &Bill, currency: &str) -> Vec<(String, String, String)> {
    let line = |line: &crate::domain::workbench::routes::BillLine| {
        let (what, much) = match &line.item {
            Some((_, name, unit)) => (name.clone(), rounded(line.needed, *unit)),
            None => (sentence(line.role.name()), String::new()),
        };
        let cost = line.cost.map(|cost| words::money(currency, cost)).unwrap_or_default();
        let note = match (cost.is_empty(), line.note.is_empty()) {
            (false, false) => format!("{cost}; {}", line.note),
            (false, true) => cost,
            (true, _) => line.note.clone(),
        };
        (what, much, note)
    };
    let mut lines: Vec<_> = bill.lines.iter().map(line).collect();
    if bill.total > Money::ZERO {
        lines.push(("In all".to_owned(), String::new(), words::money(currency, bill.total)));
    }
    lines
}

fn sentence(words: &str) -> String {
    let mut letters = words.chars();
    letters.next().map(|first| first.to_uppercase().chain(letters).collect()).unwrap_or_default()
}

/// What the base gives by itself, and the answer in a sentence.
pub fn base_view(all: &Comparison) -> (BaseView, String) {
    let ask = &all.ask;
    let natural = shown(all.natural_vol_percent, 1);
    let mut facts = Vec::new();
    if let Ok(Some(curd)) = ask.curd() {
        facts.push((
            "Whey",
            format!("about {}", shown(curd.whey_l, 1)),
            "L",
            vec!["(milk − curd)/1.025 kg/L", MILK],
        ));
        facts.push((
            "Curd",
            format!("about {}", shown(curd.curd_kg, 1)),
            "kg",
            vec!["milk × (0.93 F + C − 0.1) × 1.09/(1 − M)/100, with fat F, casein C, moisture M", MILK],
        ));
        if let Some(hours) = ask.lactase_hours() {
            facts.push(("Lactase needs, at 5 °C", format!("at least {}", shown(hours, 0)), "h", vec![
                "First order, from what the label or a trial promises; as much split in 22 h at 5 °C as in 2 h at \
                    31 °C",
                "Source: beta-galactosidase of Saccharomyces lactis, abstract; SCIRP paper 114047 (2021).",
            ]));
        }
    }
    if let Some(water) = ask.water() {
        facts.push((
            "Water it goes into",
            shown(water, 1),
            "L",
            vec!["As it was given, or for honey what brings it to the goal.", MASS],
        ));
    }
    facts.push(("Volume to start with", shown(all.base.litres, 1), "L", vec!["Mass / density.", MASS]));
    facts.push(("Sugar that ferments", format!("about {}", shown(all.base.hexose_g_l, 1)), "g/L", vec![
        "As glucose and fructose: of whey the glucose from split lactose, of juice what is measured less 25 g/L \
            that is no sugar.",
        MASS,
    ]));
    facts.push((
        "Strength by itself",
        format!("about {natural}"),
        "% vol",
        vec![
            "Sugar that ferments / sugar for one per cent.",
            "Source: stoichiometry and the convention of the EU and the OIV.",
        ],
    ));
    let what = match ask.base {
        Base::Milk(_) => "the whey",
        Base::Honey => "the honey water",
        Base::Juice => "the juice",
        Base::Fruit => "the juice of the fruit",
        Base::Water => "water",
    };
    let goal = shown(ask.goal_vol_percent, 1);
    let says = match all.routes.as_slice() {
        [only] if only.code == "as-it-is" => {
            format!("By itself {what} comes to about {natural} % vol: that is the goal.")
        }
        [_] => format!("By itself {what} would come to about {natural} % vol: it takes water to {goal}."),
        _ => format!("By itself {what} comes to about {natural} % vol. The ways to {goal} % vol:"),
    };
    (BaseView { facts }, says)
}
