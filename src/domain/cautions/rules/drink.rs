//! What concerns whoever drinks it: bottles that burst, a drink that does not keep, sulphite, allergens, honey.

use super::caution;
use crate::domain::cautions::readiness::{Readiness, readiness, unfinished};
use crate::domain::cautions::{Caution, Doing, Facts, Rule};
use crate::domain::plans::StepKind;

/// pH above which the germs of botulism can grow: 21 CFR 114.3.
const ACID_BELOW_PH: f64 = 4.6;
/// pH above which sulphite hardly helps: the range of `science::sulphite`.
const SOUR_BELOW_PH: f64 = 4.2;
/// Sulphur dioxide that no drink may hold, mg/L: 27 CFR 4.22 (b)(1); the EU allows 200 in white wine.
const SULPHITE_MOST_MG_L: f64 = 350.0;
const SULPHITE_EU_MG_L: f64 = 200.0;
pub(super) fn not_finished(facts: &Facts, doing: Doing) -> Option<Caution> {
    if doing != Doing::Bottle {
        return None;
    }
    let dangerous = unfinished(&facts.gravities);
    let (title, first) = match facts.gravities.last() {
        None => (
            "no gravity of this batch is known",
            "Read it first, three times over three days or more: nobody can see whether it has finished."
                .to_owned(),
        ),
        Some(last) => {
            let (readiness, why) = readiness(&facts.gravities);
            let title = match readiness {
                Readiness::SeemsFinished => "bottles burst if it has not finished",
                Readiness::NotYet => "this batch is not ready to bottle",
                Readiness::Stopped => "this batch has stopped, and bottles of it burst",
                Readiness::Unknown => "nothing shows that this batch has finished",
            };
            (title, format!("Its last gravity was {:.4}. {why}", last.sg))
        }
    };
    let points = [
        first,
        "Bottle only when three gravities over at least three days, at 18 °C or more, are the same within 0.001 and as \
         low as expected. That it has stopped is not proof that it has finished."
            .to_owned(),
    ];
    Some(
        caution(
            Rule::Unfinished,
            title,
            points,
            "Sugar that is left can start again in the bottle. About 4 g/L make 1 bar more, and ordinary bottles are \
             made for 1 bar.",
            "Three gravities: common practice, no source. Pressure: the OIV's method for overpressure.",
        )
        .dangerous(dangerous),
    )
}

pub(super) fn acid(facts: &Facts, doing: Doing) -> Option<Caution> {
    let here = matches!(doing, Doing::Bottle | Doing::Step(StepKind::Stabilise));
    if !here || facts.ph.is_some_and(|ph| ph <= SOUR_BELOW_PH) {
        return None;
    }
    let (title, point) = match facts.ph {
        None => ("its pH is not known".to_owned(), "Measure it: below 4.2 is safe ground."),
        Some(ph) if ph <= ACID_BELOW_PH => (
            format!("its pH of {ph:.2} is little sour"),
            "Sulphite hardly helps above pH 4.2: add acid, or drink it young.",
        ),
        Some(ph) => (
            format!("its pH of {ph:.2} is not sour enough to keep"),
            "Do not bottle it: add acid, and measure again.",
        ),
    };
    Some(
        caution(
            Rule::Acid,
            title,
            [point],
            "In a closed bottle above pH 4.6 the germs of botulism can grow.",
            "21 CFR 114.3: acid food has a pH of 4.6 or below.",
        )
        .dangerous(facts.ph.is_some_and(|ph| ph > ACID_BELOW_PH)),
    )
}

pub(super) fn sulphite(facts: &Facts, doing: Doing) -> Option<Caution> {
    let stabilises = doing == Doing::Step(StepKind::Stabilise);
    let much = facts.free_sulphite_mg_l.filter(|mg| *mg > SULPHITE_EU_MG_L && doing == Doing::Bottle);
    if !stabilises && much.is_none() {
        return None;
    }
    let too_much = much.is_some_and(|mg| mg > SULPHITE_MOST_MG_L);
    let title = much.map_or_else(
        || "sulphite takes the breath".to_owned(),
        |mg| format!("{mg:.0} mg/L of free sulphite is much"),
    );
    let point = if much.is_some() {
        "Do not bottle it so: air it, or blend it, and measure again."
    } else {
        "Gloves, an open window, never together with acid in a closed room, never near chlorine bleach."
    };
    Some(
        caution(
            Rule::Sulphite,
            title,
            [point],
            "Its fumes can bring on asthma, and so can a drink that holds much of it.",
            "Most that is allowed: 350 mg/L in 27 CFR 4.22 (b)(1), 200 mg/L in white wine in the EU.",
        )
        .dangerous(too_much),
    )
}

pub(super) fn allergens(facts: &Facts, doing: Doing) -> Option<Caution> {
    let here = matches!(doing, Doing::Bottle | Doing::Blend | Doing::Step(StepKind::Blend));
    if !here || facts.allergens.is_empty() {
        return None;
    }
    let named = facts.allergens.join(", ");
    let goes = if doing == Doing::Bottle {
        "They stand on the bottling and go on every label."
    } else {
        "They go along into the other batch and all its bottles."
    };
    Some(caution(
        Rule::Allergens,
        format!("allergens: {named}"),
        [goes.to_owned(), "Lactase does not take the milk out, nor fining the egg or fish.".to_owned()],
        "For some a trace is enough. What no item states is not known here.",
        "Regulation (EU) 1169/2011, Annex II.",
    ))
}

pub(super) fn honey(facts: &Facts, doing: Doing) -> Option<Caution> {
    let here = matches!(doing, Doing::Bottle | Doing::Blend | Doing::ByProduct);
    (here && facts.honey).then(|| {
        caution(
            Rule::Honey,
            "honey is not for infants",
            ["Nothing with honey in it is given to a child under 12 months, not even the tip of a finger."],
            "Spores in honey can grow in an infant's gut and poison it.",
            "Usual advice of health authorities, from memory.",
        )
    })
}

pub(super) fn held(facts: &Facts, doing: Doing) -> Option<Caution> {
    let here = matches!(doing, Doing::Bottle | Doing::Blend | Doing::Split | Doing::Draw | Doing::Pitch);
    if !here || facts.held.is_empty() {
        return None;
    }
    let points = facts.held.iter().take(5).cloned();
    let points = points.chain(["Find out first what is wrong with it.".to_owned()]);
    Some(
        caution(
            Rule::Held,
            "what went into this batch is on hold",
            points,
            "What comes of it carries on what may be wrong, to everybody who drinks it.",
            "The hold that a member of this club wrote.",
        )
        .dangerous(doing == Doing::Bottle),
    )
}
