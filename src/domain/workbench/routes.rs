//! The ways from what there is to a strength, side by side: sweeten, boil down, some of both, or water.
//!
//! Every way is worked out by mass from the same base, so that the same goal is reached and no sugar is made or lost.
//! What a way costs comes from the club's own lots, first-expired-first ([`bill`]); what has to be done, and what
//! it takes, is a plan that a batch can keep ([`steps`]).

mod base;
mod inputs;
mod plan;
mod price;

pub use base::{Ask, Base, Liquid};
pub use inputs::{INPUTS, usual};
pub use plan::steps;
pub use price::{Bill, BillLine, Role, Stocked, Stores, bill};

use super::{Caution, Unfit, shown};
use crate::science::{OutOfRange, blend, dairy, heat, root, sugar};

/// Everything that is compared.
#[derive(Debug, Clone, PartialEq)]
pub struct Comparison {
    /// What was asked.
    pub ask: Ask,
    /// The base, ready to be made into a must.
    pub base: Liquid,
    /// What it comes to by itself, % vol.
    pub natural_vol_percent: f64,
    /// The ways.
    pub routes: Vec<Route>,
}

/// One way.
#[derive(Debug, Clone, PartialEq)]
pub struct Route {
    /// Its code.
    pub code: &'static str,
    /// Its name.
    pub name: &'static str,
    /// Why it cannot be gone; then every figure is that of the base.
    pub cannot: Option<String>,
    /// Cane sugar to add, kg.
    pub sugar_kg: f64,
    /// Water to add, L.
    pub water_l: f64,
    /// Volume after boiling down; the volume of the base where nothing is boiled.
    pub boiled_l: f64,
    /// Water boiled off, kg.
    pub evaporated_kg: f64,
    /// Hours on the stove.
    pub hours: f64,
    /// Energy drawn, kWh.
    pub energy_kwh: f64,
    /// Volume of the must.
    pub must_l: f64,
    /// Its gravity, SG 20/20, as far as it says anything.
    pub must_sg: f64,
    /// Sugar in it that ferments, as hexose, g/L.
    pub hexose_g_l: f64,
    /// Volume of the drink, after the gas is gone and alcohol and water have drawn together.
    pub drink_l: f64,
    /// Strength expected, % vol.
    pub vol_percent: f64,
    /// Half the width of what that may be off by.
    pub within_vol_percent: f64,
    /// Sugar that stays, g/L.
    pub left_g_l: f64,
    /// Bottles that can be filled.
    pub bottles: u32,
    /// What must be known.
    pub warnings: Vec<String>,
    /// What can hurt somebody.
    pub cautions: Vec<Caution>,
}

/// The yeast's yield, and how well a base and a scale are known: half-widths as shares (common practice, no source).
const YIELD_SHARE: f64 = 0.05;
const SUGAR_SHARE: f64 = 0.01;
/// The lowest strength that is worth a route of its own.
const SAME_VOL_PERCENT: f64 = 0.05;
/// A concentrate beyond this is no way to make a drink (own rule; the formula ends at twentyfold).
const MOST_TIMES: f64 = 15.0;

/// Compares the ways.
pub fn compare(ask: &Ask) -> Result<Comparison, Unfit> {
    let base = ask.liquid()?;
    let natural = base.hexose_g_l / ask.hexose_per_vol_g_l;
    let goal = ask.goal_vol_percent;
    let routes = if natural > goal + SAME_VOL_PERCENT {
        vec![weaken(ask, &base)?]
    } else if natural > goal - SAME_VOL_PERCENT {
        vec![finish(ask, &base, Way { code: "as-it-is", name: "As it is", ..Way::of(&base) })?]
    } else {
        vec![
            way(ask, &base, "sweeten", "Sweeten", 0.0)?,
            way(ask, &base, "boil-down", "Boil down", 1.0)?,
            way(ask, &base, "mix", "Some of both", ask.share_boiled)?,
        ]
    };
    Ok(Comparison { ask: ask.clone(), natural_vol_percent: natural, base, routes })
}

/// A way under construction: the liquid as it is then, and what was done.
struct Way {
    code: &'static str,
    name: &'static str,
    liquid: Liquid,
    sugar_kg: f64,
    water_l: f64,
    boiled_l: f64,
    boil: Option<heat::Boil>,
    warnings: Vec<String>,
}

impl Way {
    fn of(base: &Liquid) -> Self {
        Self {
            code: "",
            name: "",
            liquid: *base,
            sugar_kg: 0.0,
            water_l: 0.0,
            boiled_l: base.litres,
            boil: None,
            warnings: Vec::new(),
        }
    }
}

/// Boil down until so much of the missing strength is there, and sweeten for the rest.
fn way(
    ask: &Ask,
    base: &Liquid,
    code: &'static str,
    name: &'static str,
    boiled: f64,
) -> Result<Route, Unfit> {
    let mut way = Way { code, name, ..Way::of(base) };
    match boil_and_sweeten(ask, base, &mut way, boiled) {
        Ok(()) => finish(ask, base, way),
        Err(why) => {
            let mut route = finish(ask, base, Way { code, name, ..Way::of(base) })?;
            route.cannot = Some(why);
            Ok(route)
        }
    }
}

fn boil_and_sweeten(ask: &Ask, base: &Liquid, way: &mut Way, boiled: f64) -> Result<(), String> {
    let says = |refused: OutOfRange| refused.to_string();
    let wanted = ask.goal_vol_percent * ask.hexose_per_vol_g_l;
    if boiled > 0.0 {
        if base.hexose_g_l < 1.0 {
            return Err("There is no sugar in it that boiling down could bring together.".to_owned());
        }
        let times = (base.hexose_g_l + boiled * (wanted - base.hexose_g_l)) / base.hexose_g_l;
        if times > MOST_TIMES {
            return Err(format!(
                "It would have to be boiled down {} times, and {MOST_TIMES} are the most.",
                shown(times, 0)
            ));
        }
        way.liquid = base.boiled_down(times).map_err(says)?;
        let job = heat::BoilDown {
            from_l: base.litres,
            from_kg_l: base.kg_l,
            to_l: way.liquid.litres,
            to_kg_l: way.liquid.kg_l,
            from_c: ask.from_c,
            boiling_c: heat::boiling_point_c(ask.altitude_m).map_err(says)?.value,
            specific_heat_kj_kg_k: if base.dairy { heat::WHEY_KJ_KG_K } else { 3.9 },
            power_w: ask.power_w,
            efficiency: ask.efficiency,
        };
        way.boil = Some(heat::boil_down(&job).map_err(says)?.value);
        way.boiled_l = way.liquid.litres;
        if times > 5.0 {
            way.warnings.push(
                "So strong a concentrate is salty and holds much sugar that yeast leaves: it may stick."
                    .to_owned(),
            );
        }
        if !base.dairy {
            way.warnings.push("Boiled juice tastes cooked, and its pectin makes it cloudy.".to_owned());
        }
    }
    way.sugar_kg = sugar_for(&way.liquid, wanted)?;
    way.liquid = way.liquid.sweetened(way.sugar_kg).map_err(says)?;
    Ok(())
}

/// Cane sugar that brings the sugar that ferments to `wanted_g_l` in the volume that results.
fn sugar_for(liquid: &Liquid, wanted_g_l: f64) -> Result<f64, String> {
    if liquid.hexose_g_l >= wanted_g_l {
        return Ok(0.0);
    }
    let missing = |kg: f64| liquid.sweetened(kg).map_or(f64::NAN, |then| then.hexose_g_l - wanted_g_l);
    let mut most = 1.7 * liquid.litres;
    while missing(most).is_nan() && most > 0.01 * liquid.litres {
        most *= 0.95;
    }
    root::find(0.0, most, missing)
        .map_err(|_| "So much sugar does not dissolve: choose a weaker goal.".to_owned())
}

/// Water until the goal is reached.
fn weaken(ask: &Ask, base: &Liquid) -> Result<Route, Unfit> {
    let wanted = ask.goal_vol_percent * ask.hexose_per_vol_g_l;
    let mut way = Way { code: "water", name: "Add water", ..Way::of(base) };
    let too_much = |water: f64| base.watered(water).map_or(f64::NAN, |then| then.hexose_g_l - wanted);
    let most = base.litres * (base.hexose_g_l / wanted + 1.0);
    way.water_l = root::find(0.0, most, too_much)
        .map_err(|_| Unfit::field("goal", "Choose a goal above zero that this can be brought down to"))?;
    way.liquid = base.watered(way.water_l)?;
    finish(ask, base, way)
}

fn finish(ask: &Ask, base: &Liquid, way: Way) -> Result<Route, Unfit> {
    let Way { liquid, boil, mut warnings, .. } = way;
    let strength = liquid.hexose_g_l / ask.hexose_per_vol_g_l;
    let from_base = (base.hexose_g_l * base.litres) / (liquid.hexose_g_l * liquid.litres).max(1e-9);
    let known = [from_base.min(1.0) * base.known_to, (1.0 - from_base).max(0.0) * SUGAR_SHARE, YIELD_SHARE];
    let within = strength * known.iter().map(|share| share * share).sum::<f64>().sqrt();
    let drink_l = liquid.drink_litres(strength)?;
    let bottled = drink_l * (1.0 - ask.loss) / ask.bottle_l;
    if strength > 16.0 {
        warnings.push("Most yeasts stop near 16 to 18 % vol: expect sugar to be left over.".to_owned());
    }
    let mut cautions = Vec::new();
    if base.dairy {
        cautions.push(super::sheet::MILK);
    }
    if boil.is_some() {
        cautions.push(super::sheet::BOILING);
        cautions.push(super::sheet::GLASS);
    }
    cautions.push(super::sheet::GAS);
    if liquid.left_g_l > 5.0 {
        cautions.push(super::sheet::PRESSURE);
    }
    Ok(Route {
        code: way.code,
        name: way.name,
        cannot: None,
        sugar_kg: way.sugar_kg,
        water_l: way.water_l,
        boiled_l: way.boiled_l,
        evaporated_kg: boil.map_or(0.0, |boil| boil.evaporated_kg),
        hours: boil.map_or(0.0, |boil| boil.hours),
        energy_kwh: boil.map_or(0.0, |boil| boil.drawn_kwh),
        must_l: liquid.litres,
        must_sg: liquid.sg(),
        hexose_g_l: liquid.hexose_g_l,
        drink_l,
        vol_percent: strength,
        within_vol_percent: within,
        left_g_l: liquid.left_g_l,
        bottles: whole_bottles(bottled),
        warnings,
        cautions,
    })
}

#[allow(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "bounded first")]
fn whole_bottles(bottles: f64) -> u32 {
    (bottles + 1e-9).floor().clamp(0.0, 1e9) as u32
}

/// Density of a must that holds so much sucrose a litre, or the like of it, in kg/L.
fn must_kg_l(sucrose_g_l: f64) -> Result<f64, OutOfRange> {
    Ok(sugar::sg_from_sugar_g_l(sucrose_g_l)?.value * sugar::WATER_20_KG_M3 / 1000.0)
}

/// A liquid with cane sugar dissolved in it: litres and kg/L.
fn with_sugar(litres: f64, kg_l: f64, sugar_kg: f64) -> Result<(f64, f64), OutOfRange> {
    let sg = kg_l * 1000.0 / sugar::WATER_20_KG_M3;
    let then = blend::dissolve(litres, sg.max(1.0), sugar_kg)?;
    Ok((then.volume_l, then.sg * sugar::WATER_20_KG_M3 / 1000.0))
}

/// Whey boiled down: kg/L.
fn whey_kg_l(times: f64) -> Result<f64, OutOfRange> {
    dairy::concentrated_whey_kg_l(times)
}

#[cfg(test)]
mod tests;
