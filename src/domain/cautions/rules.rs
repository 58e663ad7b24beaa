//! Each rule: when its caution stands, how it is worded, and whether it is dangerous.

use super::{Caution, Doing, Facts, Filled, Holder, Rule};
use crate::domain::batches::Stage;
use crate::domain::plans::StepKind;
use crate::science::pressure as gas_law;
use crate::science::{glass, sugar};
use crate::units::quantity::BaseUnit;

mod bottled;
mod drink;

pub use bottled::warm_shelf;
use bottled::{pressure, protection};
use drink::{acid, allergens, held, honey, not_finished, sulphite};

const CUSTOM: &str = "Common practice, no source.";
/// From here on whey, juice and syrup foam and scald. Common practice, no source.
const FOAMS_FROM_C: f64 = 80.0;
/// Yeast and enzymes go into liquid below these. Common practice, no source.
const YEAST_BELOW_C: f64 = 30.0;
const ENZYME_BELOW_C: f64 = 40.0;
/// How cold glass is taken to be where nobody measured it, °C: a cool room.
const COOL_GLASS_C: f64 = 15.0;
/// Food between these temperatures spoils by the hour, °C. Common practice, no source.
const SPOILS_C: (f64, f64) = (8.0, 60.0);
/// Hours out of the cold: up to the first all is well, beyond the last it is not food any more. Common practice
/// ("two hours, four hours"), no source.
const OUT_HOURS: (f64, f64) = (2.0, 4.0);
/// Sugar in a must of which no gravity is known, g/L as hexose: 12 % vol take 202 g/L.
const UNKNOWN_SUGAR_G_L: f64 = 210.0;
/// The room that is meant where none is known: a small cellar, m³.
const SMALL_ROOM_M3: f64 = 10.0;
/// Air above a drink at rest that is much, in per cent of a vessel. Common practice, no source.
const MUCH_AIR_PERCENT: i64 = 20;

/// The cautions that stand before the button, the most dangerous first.
pub fn cautions(facts: &Facts, doing: Doing) -> Vec<Caution> {
    let rules = [
        held,
        not_finished,
        pressure,
        hot_glass,
        closed_vessel,
        acid,
        sulphite,
        protection,
        boil_over,
        raw_milk,
        warm_whey,
        fresh_cheese,
        too_hot,
        gas,
        headspace,
        weight,
        allergens,
        honey,
    ];
    let mut found: Vec<Caution> = rules.iter().filter_map(|rule| rule(facts, doing)).collect();
    found.sort_by_key(|caution| !caution.needs_reason);
    found
}

/// The cautions at a step of a recipe or plan.
pub fn for_step(kind: StepKind, facts: &Facts) -> Vec<Caution> {
    cautions(facts, Doing::Step(kind))
}

fn caution<P: Into<String>>(
    rule: Rule,
    title: impl Into<String>,
    points: impl IntoIterator<Item = P>,
    why: impl Into<String>,
    source: &'static str,
) -> Caution {
    let points = points.into_iter().map(Into::into).collect();
    Caution { rule, title: title.into(), points, why: why.into(), source, needs_reason: false }
}

impl Caution {
    fn dangerous(mut self, dangerous: bool) -> Self {
        self.needs_reason = dangerous;
        self
    }
}

impl Facts {
    /// Supplies are still put together, or nobody knows how far it is.
    fn early(&self) -> bool {
        self.stage.is_none_or(|stage| stage <= Stage::Preparing)
    }

    fn works(&self, doing: Doing) -> bool {
        matches!(doing, Doing::Pitch | Doing::Step(StepKind::Pitch)) || self.stage == Some(Stage::Working)
    }

    /// Not known to be free of milk; before anything was drawn, that is not known.
    fn perhaps_dairy(&self) -> bool {
        self.dairy != Some(false)
    }
}

const fn heats(doing: Doing) -> bool {
    use StepKind::{BoilDown, Dissolve, HeatTo, Hold, Sweeten};
    matches!(doing, Doing::Draw | Doing::Step(HeatTo | Hold | BoilDown | Dissolve | Sweeten))
}

const fn fills(doing: Doing) -> bool {
    use StepKind::{Blend, Cool, Fill, Rack, Split, Strain};
    matches!(
        doing,
        Doing::Fill
            | Doing::Rack
            | Doing::Split
            | Doing::Blend
            | Doing::Step(Fill | Cool | Rack | Split | Blend | Strain)
    )
}

fn boil_over(facts: &Facts, doing: Doing) -> Option<Caution> {
    let boils = facts.early() && facts.liquid_c.is_none_or(|c| c >= FOAMS_FROM_C);
    (heats(doing) && boils).then(|| {
        caution(
            Rule::BoilOver,
            "it boils over",
            [
                "Fill a pan two thirds at most, lift the lid away from you, stir syrup, keep children and pets away.",
                "Nobody carries a hot pot alone. Open a window for the steam.",
            ],
            "Boiling whey and juice foam within seconds, and sugar syrup sticks to skin.",
            CUSTOM,
        )
    })
}

fn hot_glass(facts: &Facts, doing: Doing) -> Option<Caution> {
    if !(fills(doing) || heats(doing) && facts.early()) {
        return None;
    }
    // A drink at work or at rest is never so hot that glass minds, unless somebody says so.
    if facts.liquid_c.is_none() && !facts.early() {
        return None;
    }
    let (name, of, glass_c) = match &facts.vessel {
        Some(Holder { glass: None, .. }) => return None,
        Some(Holder { name, glass: Some(of), glass_c, .. }) => (Some(name.as_str()), *of, *glass_c),
        None => (None, glass::Glass::Ordinary, None),
    };
    let verdict = facts.liquid_c.map(|c| glass::filling(c, glass_c.unwrap_or(COOL_GLASS_C), of));
    let (says, dangerous) = match verdict {
        Some(Ok(glass::Filling::Fine)) => return None,
        Some(Ok(verdict)) => (verdict.to_string(), verdict.is_refused()),
        Some(Err(range)) => (format!("Do not fill: {range}"), true),
        None => {
            ("Measure how warm it is. Nothing hot goes into glass that is not made for it.".to_owned(), false)
        }
    };
    let dangerous = dangerous && name.is_some();
    let what =
        name.map_or_else(|| "hot liquid breaks glass".to_owned(), |name| format!("heat breaks {name}"));
    let warm = facts.liquid_c.map_or_else(String::new, |c| format!(", and the liquid has {c:.0} °C"));
    Some(
        caution(
            Rule::HotGlass,
            format!("{what}{warm}"),
            [
                says,
                "Nothing more than 40 °C warmer than the glass goes into it, and nothing hot into old or scratched \
                 glass."
                    .to_owned(),
            ],
            "Glass bursts where one side is much warmer than the other, and what was in it scalds.",
            "The usual pass level of makers is 42 °C, from memory; the rest is common practice.",
        )
        .dangerous(dangerous),
    )
}

fn too_hot(facts: &Facts, doing: Doing) -> Option<Caution> {
    let (what, below) = match doing {
        Doing::Pitch | Doing::Step(StepKind::Pitch) => ("Yeast", YEAST_BELOW_C),
        Doing::Step(StepKind::SplitLactose | StepKind::Curdle) => ("Enzyme", ENZYME_BELOW_C),
        Doing::Draw if facts.early() && facts.dairy == Some(true) => ("Enzyme", ENZYME_BELOW_C),
        _ => return None,
    };
    let warm = facts.liquid_c.filter(|c| *c >= below);
    if facts.liquid_c.is_some() && warm.is_none() {
        return None;
    }
    let now = warm.map_or_else(String::new, |c| format!(" It has {c:.0} °C: let it cool first."));
    Some(caution(
        Rule::TooHot,
        format!("{} goes into warm liquid, not hot", what.to_lowercase()),
        [format!("Measure it: below {below:.0} °C.{now}")],
        "Hot liquid kills it and splashes when something is stirred in.",
        CUSTOM,
    ))
}

fn raw_milk(facts: &Facts, doing: Doing) -> Option<Caution> {
    use StepKind::{Curdle, HeatTo, Strain};
    let here = match doing {
        Doing::Draw => facts.early(),
        Doing::ByProduct => facts.dairy == Some(true),
        Doing::Step(HeatTo | Curdle | Strain) => true,
        _ => false,
    };
    if !here || !facts.perhaps_dairy() || facts.raw_milk == Some(false) {
        return None;
    }
    let what = if facts.raw_milk == Some(true) { "this milk is raw" } else { "milk may be raw" };
    Some(caution(
        Rule::RawMilk,
        format!("{}{what}", if facts.dairy.is_none() { "if milk goes in: " } else { "" }),
        [
            "Heat it to 72 °C for 15 seconds or 63 °C for 30 minutes. A log kept here is no legal record of it.",
            "The pregnant, the very young and the old do not taste what was made of raw milk.",
        ],
        "Raw milk can carry germs that make ill or kill.",
        "Times and temperatures: 21 CFR 1240.61.",
    ))
}

/// What so many hours out of the cold mean: how long, and whether it is too long.
fn out_of_the_cold(hours: Option<f64>) -> Option<(String, bool)> {
    match hours {
        Some(hours) if hours <= OUT_HOURS.0 => None,
        Some(hours) if hours <= OUT_HOURS.1 => {
            Some((format!("It stands for {hours:.1} hours: use it now."), false))
        }
        Some(hours) => Some((format!("It stands for {hours:.1} hours: throw it away."), true)),
        None => Some(("Know since when it stands.".to_owned(), false)),
    }
}

const TWO_FOUR: &str = "Two hours and four hours are common practice, no source.";

fn warm_whey(facts: &Facts, doing: Doing) -> Option<Caution> {
    use StepKind::{Curdle, Hold, SplitLactose, Strain};
    let here = match doing {
        Doing::Draw => facts.early() && facts.dairy == Some(true),
        Doing::Step(Curdle | Hold | SplitLactose | Strain) => facts.perhaps_dairy(),
        _ => false,
    };
    if !here || facts.liquid_c.is_some_and(|c| !(SPOILS_C.0..=SPOILS_C.1).contains(&c)) {
        return None;
    }
    let (stands, dangerous) = out_of_the_cold(facts.standing_hours)?;
    Some(
        caution(
            Rule::WarmWhey,
            "warm whey spoils",
            [
                stands,
                "Keep it below 8 °C, or go on within two hours; after four hours it is not food any more."
                    .to_owned(),
            ],
            "Warm whey is what germs are grown in, and some of their poison stands boiling.",
            TWO_FOUR,
        )
        .dangerous(dangerous),
    )
}

fn fresh_cheese(facts: &Facts, doing: Doing) -> Option<Caution> {
    let here = matches!(doing, Doing::ByProduct | Doing::Step(StepKind::Strain));
    if !here || facts.dairy != Some(true) {
        return None;
    }
    // Without hours it is about to be put away; what stood too long is dangerous.
    let stands = facts.standing_hours.and_then(|hours| out_of_the_cold(Some(hours)));
    let (stood, dangerous) = stands.map_or((None, false), |(words, late)| (Some(words), late));
    let points = stood
        .into_iter()
        .chain(["Curds are food that spoils: below 5 °C at once, use-by day on the lot. Allergen: milk."
            .to_owned()]);
    Some(
        caution(
            Rule::FreshCheese,
            "fresh cheese",
            points,
            "Fresh cheese out of the cold makes ill, that of raw milk above all.",
            TWO_FOUR,
        )
        .dangerous(dangerous),
    )
}

/// Litres of gas that a must can still make, and the share of a room's air in per cent.
fn gas_made(facts: &Facts) -> Option<(f64, f64)> {
    let litres = facts.volume?.base() / 1000.0;
    let shown = facts.gravities.first().and_then(|first| sugar::sugar_g_l_from_sg(first.sg).ok());
    // All extract counts as sugar: it errs towards more gas.
    let sugar = shown.map_or(UNKNOWN_SUGAR_G_L, |shown| shown.value.max(0.0) * 1.0526);
    let co2_g = gas_law::co2_made_g(litres * sugar).ok()?;
    let percent = gas_law::room_percent(co2_g, facts.room_m3.unwrap_or(SMALL_ROOM_M3), 20.0).ok()?;
    Some((gas_law::gas_l(co2_g, 20.0).ok()?, percent.value))
}

fn gas(facts: &Facts, doing: Doing) -> Option<Caution> {
    let here =
        matches!(doing, Doing::Pitch | Doing::Step(StepKind::Pitch)) || fills(doing) && facts.works(doing);
    if !here {
        return None;
    }
    let made = gas_made(facts);
    let room = facts.room_m3.unwrap_or(SMALL_ROOM_M3);
    let much = made.map_or_else(
        || "20 L of must give about a cubic metre of carbon dioxide.".to_owned(),
        |(litres, percent)| {
            format!(
                "This batch can give about {} of carbon dioxide: {percent:.0} % of the air in a closed room of \
                 {room:.0} m³. From 4 % on life is in danger.",
                if litres < 1000.0 { format!("{litres:.0} L") } else { format!("{:.1} m³", litres / 1000.0) }
            )
        },
    );
    Some(caution(
        Rule::Gas,
        "pressure and gas",
        [
            "An airlock, never a stopper: a sealed vessel bursts.".to_owned(),
            much,
            "Air the room. Never go alone into a pit or a closed room where much is working.".to_owned(),
        ],
        "The gas has no smell, gathers low down and takes the breath.",
        "Volumes: ideal gas. Limits 0.5, 3 and 4 %: OSHA and NIOSH, from memory.",
    ))
}

fn closed_vessel(facts: &Facts, doing: Doing) -> Option<Caution> {
    let vessel = facts.vessel.as_ref().filter(|vessel| !vessel.vented)?;
    let early = facts.early() && !facts.works(doing);
    // Before the yeast, juice starts by itself; a drink at rest may go on when it gets warm.
    if facts.works(doing) {
        let title = format!("{} is closed, and this batch is working", vessel.name);
        let points = ["Put an airlock on it, or take another vessel."];
        let why = "Gas that cannot leave bursts the vessel.";
        return Some(caution(Rule::ClosedVessel, title, points, why, CUSTOM).dangerous(true));
    }
    let title = format!("{} has no airlock", vessel.name);
    let point = if early {
        "Put one on it before the yeast goes in; juice can also begin by itself."
    } else {
        "Close it only if the drink has finished, and look at it when it gets warm."
    };
    let why = "A drink that begins to work in a closed vessel bursts it.";
    Some(caution(Rule::ClosedVessel, title, [point], why, CUSTOM))
}

/// Air above the drink, in per cent of the vessel.
fn air(vessel: &Holder) -> i64 {
    let free = (vessel.capacity - vessel.filling).get().saturating_mul(100);
    free.checked_div(vessel.capacity.get()).unwrap_or(0)
}

fn headspace(facts: &Facts, doing: Doing) -> Option<Caution> {
    let vessel = facts.vessel.as_ref()?;
    let (title, point, why) = if facts.works(doing) || facts.early() {
        if vessel.filling <= vessel.safe_filling {
            return None;
        }
        let most = vessel.safe_filling.shown(BaseUnit::Millilitre);
        (
            format!("foam needs room in {}", vessel.name),
            format!("While it works, {most} are the most for it."),
            "Foam climbs into the airlock and blocks it; a blocked airlock is a stopper.",
        )
    } else {
        if air(vessel) <= MUCH_AIR_PERCENT {
            return None;
        }
        let free = (vessel.capacity - vessel.filling).shown(BaseUnit::Millilitre);
        (
            format!("much air over the drink in {}", vessel.name),
            format!("Above a drink at rest {free} of air stand; take a smaller vessel, or fill it up."),
            "Air spoils a drink at rest. It hurts nobody.",
        )
    };
    Some(caution(Rule::Headspace, title, [point], why, CUSTOM))
}

fn weight(_: &Facts, doing: Doing) -> Option<Caution> {
    matches!(doing, Doing::Rack | Doing::Fill | Doing::Step(StepKind::Rack | StepKind::Fill)).then(|| {
        caution(
            Rule::Weight,
            "glass and weight",
            [
                "Siphon from where the vessel stands; two people move a full one, never by the neck.",
                "Chips at the neck: throw the vessel and what was in it away.",
            ],
            "A full jar is heavier than it looks, and its neck breaks off.",
            CUSTOM,
        )
    })
}
