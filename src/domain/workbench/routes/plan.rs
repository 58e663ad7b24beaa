//! A way as steps: what is done, with how much, how warm, how long, and what to beware of where one can still act.

use super::base::LACTASE_C;
use super::{Base, Comparison, Route};
use crate::domain::plans::{PlanStep, StepKind};
use crate::units::measure::Measured;
use crate::units::quantity::{BaseUnit, Milli};

const HOT: &str = "Boiling liquid scalds and boils over: fill the pan two thirds at most, open a window, keep \
    children and \
                   pets out, nobody carries a hot pot alone. Never into glass that is not made for it.";
const COLD: &str = "Hot liquid breaks glass: below 40 °C before it goes into a jar or demijohn.";
const RAW: &str = "Raw milk can make ill: if it is not pasteurised, hold it at 63 °C for 30 minutes first and let \
    it cool. \
                   Clean vessels, cold storage.";
const CURD: &str = "Curds spoil: below 5 °C at once, with a use-by day. Made of raw milk they are not for pregnant, \
    old or ill \
                    people.";
const WARM: &str =
    "Warm whey spoils within hours: keep it below 8 °C while the enzyme works. Milk stays an allergen.";
const WORKING: &str = "It makes gas: an airlock, never a stopper, and air in the room.";
const PRESSURE: &str =
    "Never bottle from one reading: work out the pressure with all the sugar that is left, galactose too.";

fn step(kind: StepKind, what: impl Into<String>) -> PlanStep {
    PlanStep {
        kind,
        what: what.into(),
        amount: None,
        item: None,
        target_c: None,
        minutes: None,
        caution: String::new(),
    }
}

impl PlanStep {
    fn with(self, base_units: f64, unit: BaseUnit) -> Self {
        let amount = Milli::from_base(base_units).filter(|amount| *amount > Milli::ZERO);
        Self { amount: amount.map(|amount| (amount, unit)), ..self }
    }

    fn litres(self, litres: f64) -> Self {
        self.with(1000.0 * litres, BaseUnit::Millilitre)
    }

    fn grams(self, grams: f64) -> Self {
        self.with(grams, BaseUnit::Gram)
    }

    fn at(self, celsius: f64) -> Self {
        Self { target_c: Measured::from_number(celsius), ..self }
    }

    #[allow(clippy::cast_possible_truncation, reason = "hours of a kitchen, bounded")]
    fn hours(self, hours: f64) -> Self {
        Self { minutes: Some((60.0 * hours.clamp(0.0, 1e6)).round() as i64), ..self }
    }

    fn beware(self, words: &str) -> Self {
        Self { caution: words.to_owned(), ..self }
    }
}

/// The steps of a way.
pub fn steps(all: &Comparison, route: &Route) -> Vec<PlanStep> {
    let ask = &all.ask;
    let mut steps = Vec::new();
    match ask.base {
        Base::Milk(_) => {
            steps.push(step(StepKind::HeatTo, "Warm the milk").litres(ask.milk_l()).at(32.0).beware(RAW));
            let rennet = step(StepKind::Curdle, "Stir in the rennet in a little cold water, then let it set");
            steps.push(rennet.with(ask.rennet_ml(), BaseUnit::Millilitre).at(32.0).hours(0.75));
            let strained = step(StepKind::Strain, "Cut the curd, strain the whey off, weigh the curds");
            steps.push(strained.litres(all.base.litres).beware(CURD));
            steps.push(step(StepKind::Cool, "Cool the whey").litres(all.base.litres).at(LACTASE_C));
            let split = step(StepKind::SplitLactose, "Stir in the lactase, keep it cold");
            let split = split.with(ask.lactase_ml_l * all.base.litres, BaseUnit::Millilitre).at(LACTASE_C);
            steps.push(split.hours(ask.lactase_hours().unwrap_or(24.0)).beware(WARM));
        }
        Base::Honey => {
            let warm = step(StepKind::HeatTo, "Warm part of this water");
            steps.push(warm.litres(ask.water().unwrap_or(0.0)).at(40.0).beware(COLD));
            let kg = 1000.0 * honey_kg(all);
            steps.push(
                step(StepKind::Dissolve, "Dissolve the honey in it, then add the rest of the water")
                    .grams(kg),
            );
        }
        Base::Fruit => {
            steps.push(step(StepKind::Strain, "Crush and press the fruit").litres(all.base.litres));
        }
        Base::Juice | Base::Water => {}
    }
    if route.evaporated_kg > 0.0 {
        let boil = step(StepKind::BoilDown, "Boil it down, skim the foam, stir towards the end");
        steps.push(boil.litres(route.boiled_l).hours(route.hours).beware(HOT));
    }
    if route.water_l > 0.0 {
        steps.push(step(StepKind::Dissolve, "Add the water").litres(route.water_l));
    }
    if route.sugar_kg > 0.0 {
        let sugar = step(StepKind::Sweeten, "Dissolve the sugar in warm liquid, stir until it is clear");
        steps.push(sugar.grams(1000.0 * route.sugar_kg).beware(HOT));
    }
    steps.push(step(StepKind::Cool, "Cool it").at(20.0).beware(COLD));
    steps.push(step(StepKind::Sample, "Read its gravity and temperature").litres(0.2));
    steps.push(
        step(StepKind::Fill, "Fill the vessel, leave room for foam").litres(route.must_l).beware(WORKING),
    );
    steps.push(step(StepKind::Pitch, "Pitch the yeast").grams(0.25 * route.must_l).at(20.0));
    steps.push(
        step(StepKind::Sample, "Read its gravity every few days until it stands still").hours(14.0 * 24.0),
    );
    steps.push(step(StepKind::Rack, "Draw it off the lees").litres(route.drink_l * (1.0 - ask.loss)));
    let words = format!("About {} bottles, when it is clear and dry enough", route.bottles);
    steps.push(step(StepKind::Note, words).beware(PRESSURE));
    steps
}

fn honey_kg(all: &Comparison) -> f64 {
    use crate::units::dimension::Amount;
    match all.ask.amount {
        Amount::Kilograms(kg) => kg,
        Amount::Litres(litres) => 1.42 * litres,
    }
}
