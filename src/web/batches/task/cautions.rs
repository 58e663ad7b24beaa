//! The usual cautions of a task, where a person can still act on them.

use super::Task;
use crate::domain::batches::Stage;
use crate::web::batches::course::{Course, Readiness};
use crate::web::forms::Caution;

/// What to mind while doing it. Common practice, no source, where none is named.
pub(super) fn cautions(task: Task, dairy: bool, stage: Stage) -> Vec<Caution> {
    let mut cautions = Vec::new();
    if task == Task::Draw && stage <= Stage::Preparing {
        cautions.push(Caution::new(
            "Caution: heat and glass",
            [
                "Boiling whey and juice foam over, sugar syrup sticks: fill a pan two thirds at most, lift the lid \
                 away from you, keep children and pets away.",
                "Nothing above 40 °C warmer than the glass goes into it, and nothing hot into old or scratched glass: \
                 it breaks. Cool first.",
            ],
        ));
    }
    if task == Task::Draw && dairy {
        cautions.push(Caution::new(
            "Caution: milk",
            [
                "Raw milk can carry germs that make ill, above all the pregnant, the very young and the old: heat it \
                 to 72 °C for 15 seconds or 63 °C for 30 minutes (21 CFR 1240.61). A log kept here is no legal record \
                 of it.",
                "Enzymes go into liquid below 40 °C. Warm whey spoils: keep it below 8 °C or go on within 2 hours.",
            ],
        ));
    }
    match task {
        Task::ByProduct if dairy => cautions.push(Caution::new(
            "Caution: fresh cheese",
            ["Curds are food that spoils: below 5 °C at once, use-by day on the lot. Allergen: milk."],
        )),
        Task::Pitch => cautions.push(Caution::new(
            "Caution: heat, pressure and gas",
            [
                "Yeast goes into liquid below 30 °C; hot liquid kills it.",
                "From now on it makes gas: an airlock, never a stopper, and air in the room. A sealed jar bursts; 20 L \
                 give about a cubic metre of carbon dioxide, which gathers low down.",
            ],
        )),
        Task::Rack => cautions.push(Caution::new(
            "Caution: glass and weight",
            [
                "Siphon from where the jar stands; two people move a full one, never by the neck.",
                "While it works: airlock only.",
            ],
        )),
        Task::Bottle => cautions.push(Caution::new(
            "Caution: bottles burst if it has not finished",
            [
                "Bottle only when three gravities over at least three days, at 18 °C or more, are the same within \
                 0.001 and as low as expected. That it has stopped is not proof that it has finished.",
                "Sugar that is left can start again in the bottle; about 4 g/L make 1 bar more. Ordinary bottles are \
                 made for 1 bar.",
            ],
        )),
        _ => {}
    }
    cautions
}

/// What this batch's own gravities say against bottling it; nothing where they say that it seems finished.
pub(super) fn readiness(course: Option<&Course>) -> Option<Caution> {
    let Some(course) = course else {
        return Some(Caution::new(
            "No gravity of this batch is known",
            ["Read it first, three times over three days or more: nobody can see whether it has finished."],
        ));
    };
    let (readiness, why) = course.readiness();
    let title = match readiness {
        Readiness::SeemsFinished => return None,
        Readiness::NotYet => "This batch is not ready to bottle",
        Readiness::Stopped => "This batch has stopped: do not bottle it",
        Readiness::Unknown => "Nothing shows that this batch has finished",
    };
    Some(Caution::new(title, [format!("Its last gravity was {}. {why}", course.last_gravity())]))
}
