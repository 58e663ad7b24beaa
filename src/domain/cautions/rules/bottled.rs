//! What decides over bottles before they are filled: what the sugar that is left can come to in them, and whether
//! sulphite keeps the drink.
//!
//! Every figure errs towards too much pressure: all sugar that any microbe could take counts, at the warmest that a
//! shelf gets, in the weakest of the bottles. Words are asked for where the gravity itself shows that sugar;
//! galactose that wine yeast mostly leaves is told and counted, and asks for nothing as long as the gravity shows
//! none of it.

use super::{Caution, Doing, Facts, Filled, Rule, caution};
use crate::domain::cautions::readiness::{EXPECTED_END_SG, unfinished};
use crate::science::pressure::{self, Bottle, DISSOLVED_DEFAULT_G_L, Vessel, WARM_SHELF_C};
use crate::science::{OutOfRange, alcohol, sugar, sulphite};
use crate::units::quantity::{BaseUnit, Milli};

/// Two readings may differ by so much anyway; sugar below that is not shown by a gravity.
const READING_ERROR_SG: f64 = 0.001;
/// Readings are written to four decimals.
const ROUNDING_SG: f64 = 0.000_05;
/// A bottle of 750 mL is closed over about 15 mL of gas: from memory. Less gas makes more pressure.
const HEADSPACE: f64 = 15.0 / 750.0;
/// The strength that counts where none is known, % vol: a strong drink dissolves less, which makes more pressure.
const UNKNOWN_VOL_PERCENT: f64 = 15.0;
/// Molecular sulphite from which it protects: 0.5 mg/L in red and 0.8 in white drink (common practice).
const PROTECTS_MG_L: f64 = 0.5;
/// Warmth at which the share of molecular sulphite is tabled, °C.
const TABLED_C: f64 = 20.0;
const OVERPRESSURE: &str = "Balance of carbon dioxide between drink and gas space, solubility by the OIV's method for \
     overpressure (Regulation (EEC) 2676/90). Still wine stays below 1 bar: Regulation (EU) 1308/2013, from memory.";

/// How warm a shelf is taken to get where its warmest reading of a year was so warm, °C: readings are few, and
/// bottles go home to warm kitchens.
pub fn warm_shelf(warmest_read_c: f64) -> f64 {
    (warmest_read_c + 5.0).max(25.0)
}

/// Sugar that is left, g/L as hexose.
struct Left {
    /// What the gravity shows above a drink that has fermented out.
    shown: f64,
    /// What of the milk's galactose may be left.
    galactose: f64,
}

impl Left {
    fn of(facts: &Facts) -> Self {
        let above = facts.gravities.last().filter(|last| last.sg > EXPECTED_END_SG);
        let sucrose = above.and_then(|last| sugar::sugar_g_l_from_sg(last.sg).ok());
        Self {
            shown: sucrose.map_or(0.0, |found| found.value) * alcohol::HEXOSE_PER_DISACCHARIDE,
            galactose: facts.galactose_g_l.unwrap_or(0.0),
        }
    }

    /// Galactose is part of what a gravity shows, so that the larger of the two is all there can be.
    fn counted(&self) -> f64 {
        self.shown.max(self.galactose).min(pressure::RESIDUAL_G_L.allowed.1)
    }
}

/// A bottle in its circumstances.
struct Case<'f> {
    filled: &'f Filled,
    limit_bar: f64,
    warmest_c: f64,
    bottle: Bottle,
}

impl<'f> Case<'f> {
    fn of(facts: &Facts, filled: &'f Filled, residual_g_l: f64) -> Self {
        let (low, high) = pressure::TEMPERATURE_C.allowed;
        let drink_ml = filled.drink.base().max(1.0);
        Self {
            filled,
            limit_bar: filled.made_for_bar.unwrap_or(1.0),
            warmest_c: facts.warmest_c.unwrap_or(WARM_SHELF_C).clamp(low, high),
            bottle: Bottle {
                drink_ml,
                headspace_ml: drink_ml * HEADSPACE,
                vol_percent: facts.strength.unwrap_or(UNKNOWN_VOL_PERCENT).clamp(0.0, 20.0),
                residual_g_l,
                dissolved_g_l: DISSOLVED_DEFAULT_G_L,
            },
        }
    }

    fn bar(&self) -> Result<f64, OutOfRange> {
        self.bottle.pressure_bar(self.warmest_c)
    }

    fn made_for(&self) -> String {
        match self.filled.made_for_bar {
            Some(bar) => format!("By their maker {} are made for up to {bar} bar", self.filled.name),
            None => format!(
                "As far as is known {} are not made for pressure: 1 bar is the most",
                self.filled.name
            ),
        }
    }
}

pub(super) fn pressure(facts: &Facts, doing: Doing) -> Option<Caution> {
    if doing != Doing::Bottle {
        return None;
    }
    let left = Left::of(facts);
    let plain = [Filled { name: "plain bottles".to_owned(), drink: Milli::new(750_000), made_for_bar: None }];
    let bottles: &[Filled] = if facts.bottles.is_empty() { &plain } else { &facts.bottles };
    // The bottle that is furthest beyond, or nearest to, what it is made for.
    let over = |filled: &Filled| {
        let case = Case::of(facts, filled, left.counted());
        case.bar().map_or(f64::INFINITY, |bar| bar / case.limit_bar)
    };
    let worst = bottles.iter().max_by(|one, other| over(one).total_cmp(&over(other)))?;
    let case = Case::of(facts, worst, left.counted());
    let bar = case.bar().ok()?;
    let by_gravity = Case::of(facts, worst, left.shown).bar().ok()?;
    let shows_sugar =
        facts.gravities.last().is_some_and(|last| last.sg > EXPECTED_END_SG + READING_ERROR_SG + ROUNDING_SG);
    let bursts = shows_sugar && by_gravity > case.limit_bar;
    // One danger is asked about once: a drink that has not finished is asked about as such.
    let dangerous = bursts && !kept_still(facts) && !unfinished(&facts.gravities);
    let title = if bar <= case.limit_bar {
        format!("about {bar:.1} bar in {}, which is within what they bear", worst.name)
    } else if left.counted() > 0.0 {
        format!("{} can come to about {bar:.1} bar", worst.name)
    } else {
        format!("the gas in it makes about {bar:.1} bar in {}", worst.name)
    };
    let mut points = vec![format!("{}.", case.made_for()), sugar_left(facts, &left)];
    points.extend(what_to_do(&case, &left, bar));
    points.push(stabilised(facts));
    Some(
        caution(Rule::Pressure, title, points, working(facts, &case, bar), OVERPRESSURE).dangerous(dangerous),
    )
}

fn sugar_left(facts: &Facts, left: &Left) -> String {
    let shown = match facts.gravities.last() {
        None => "no gravity is known, so that the sugar left in it is not known".to_owned(),
        Some(last) if left.shown > 0.0 => {
            format!(
                "its gravity of {:.4} can be {:.1} g/L of sugar above {EXPECTED_END_SG:.3}",
                last.sg, left.shown
            )
        }
        Some(last) => format!("its gravity of {:.4} shows none", last.sg),
    };
    let galactose = if left.galactose > 0.0 {
        format!(
            ". Up to {:.1} g/L of galactose came of the split milk sugar, which wine yeast does not take well, \
             and other microbes do",
            left.galactose
        )
    } else {
        String::new()
    };
    format!("Sugar that is left: {shown}{galactose}. {:.1} g/L are counted.", left.counted())
}

fn what_to_do(case: &Case<'_>, left: &Left, bar: f64) -> Option<String> {
    if bar <= case.limit_bar {
        return None;
    }
    if left.counted() > 0.0 {
        let least = if bar <= Vessel::RATED_BAR.allowed.1 {
            format!("take bottles that are made for {bar:.1} bar or more")
        } else {
            "no bottle is made for that".to_owned()
        };
        return Some(format!(
            "Let it finish or stabilise it first; otherwise {least}. Keep it cold, and drink it soon."
        ));
    }
    Some(
        "Let the gas out first: stir it or let it stand until no bubbles rise. Then it counts nothing."
            .to_owned(),
    )
}

/// Stabilised, with as much free sulphite as keeps yeast from starting again.
fn kept_still(facts: &Facts) -> bool {
    facts.stabilised && molecular(facts).is_some_and(|(mg, _)| mg >= PROTECTS_MG_L)
}

fn stabilised(facts: &Facts) -> String {
    match (facts.stabilised, kept_still(facts)) {
        (false, _) => "No step says that it was stabilised.".to_owned(),
        (true, true) => {
            "It was stabilised, and its free sulphite protects: yeast is not likely to start again, which is no proof."
                .to_owned()
        }
        (true, false) => "It was stabilised, but no reading shows that its free sulphite is enough.".to_owned(),
    }
}

fn working(facts: &Facts, case: &Case<'_>, bar: f64) -> String {
    let bottle = &case.bottle;
    let holds = (bottle.residual_g_l * alcohol::CO2_PER_HEXOSE + bottle.dissolved_g_l) / bar;
    let warmest = if facts.warmest_c.is_some() {
        "the warmest reading of a shelf in a year and 5 °C more, 25 °C at least"
    } else {
        "taken as the warmest, as no shelf was measured"
    };
    format!(
        "At {:.0} °C ({warmest}), {} of drink under {:.0} mL of gas, {:.1} % vol{}: (0.48857 × {:.1} g/L + {} g/L of \
         gas when filled) / {holds:.2} g/L a bar = {bar:.2} bar.",
        case.warmest_c,
        case.filled.drink.shown(BaseUnit::Millilitre),
        bottle.headspace_ml,
        bottle.vol_percent,
        if facts.strength.is_some() { "" } else { " (not known: taken)" },
        bottle.residual_g_l,
        bottle.dissolved_g_l,
    )
}

/// Molecular sulphite in mg/L, and how much free would be enough at this pH.
fn molecular(facts: &Facts) -> Option<(f64, f64)> {
    let (free, ph) = (facts.free_sulphite_mg_l?, facts.ph?);
    let strength = facts.strength.unwrap_or(0.0).clamp(0.0, 20.0);
    let found = sulphite::molecular_mg_l(free, ph, strength, TABLED_C).ok()?.value;
    let enough = sulphite::free_for_molecular_mg_l(PROTECTS_MG_L, ph, strength, TABLED_C).ok()?.value;
    Some((found, enough))
}

pub(super) fn protection(facts: &Facts, doing: Doing) -> Option<Caution> {
    if doing != Doing::Bottle {
        return None;
    }
    let (title, point) = match (facts.free_sulphite_mg_l, molecular(facts)) {
        (Some(_), None) if facts.ph.is_none() => (
            "what its free sulphite does is not known".to_owned(),
            "Measure its pH: at pH 3.8 it takes four times as much free sulphite as at 3.2.".to_owned(),
        ),
        (None, _) => (
            "its free sulphite is not known".to_owned(),
            "Measure it, if it is to keep: without it air and germs spoil a drink within months.".to_owned(),
        ),
        // Beyond the table the rule about sourness speaks.
        (Some(_), None) => return None,
        (Some(free), Some((found, enough))) => {
            let ph = facts.ph.unwrap_or_default();
            let says = format!("{free:.0} mg/L of free sulphite at pH {ph:.2} are {found:.2} mg/L molecular");
            if found >= PROTECTS_MG_L {
                (format!("{says}, which protects it"), "For white drink 0.8 mg/L are usual.".to_owned())
            } else {
                (
                    format!("{says}, which protects it little"),
                    format!("About {enough:.0} mg/L free would be enough at this pH; or drink it young."),
                )
            }
        }
    };
    Some(caution(
        Rule::Protection,
        title,
        [point],
        "Only the molecular part of sulphite keeps germs down: the share falls as the pH rises. It hurts nobody where \
         it is missing; the drink keeps less well.",
        "OIV-MA-AS323-04C. 0.5 to 0.8 mg/L molecular: common practice.",
    ))
}
