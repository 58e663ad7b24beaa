//! The figures of a bottling: cost, strength and how it is known, the last gravity, the shelf.

use super::{Bottling, Found, by_warmth};
use crate::domain::bottles::STATED;
use crate::domain::members::Doer;
use crate::domain::reminders::STOPPED_ABOVE_SG;
use crate::domain::yields::Unknown;
use crate::science::ageing::NOTE;
use crate::science::alcohol::GRAVITY_METHOD_VOL_PERCENT;
use crate::units::days;
use crate::units::measure::ReadingKind;
use crate::units::quantity::{BaseUnit, Milli};
use crate::web::words;

/// A figure with its unit, and how it is worked out.
pub(super) struct Figure {
    pub(super) name: &'static str,
    pub(super) about: bool,
    pub(super) value: String,
    /// "± 0.3", or nothing.
    pub(super) give: String,
    pub(super) unit: String,
    /// How it is worked out, and on whose authority.
    pub(super) how: Option<(String, &'static str)>,
    /// What must be known with it, in iron.
    pub(super) warning: Option<&'static str>,
}

const NO_LEGAL_STRENGTH: &str =
    "For the club’s own use: a strength on anything that is sold takes a laboratory’s method.";
const FROM_GRAVITIES: &str = "From the first and the last gravity of its batch on the day it was bottled (Balling’s \
                              balance and Tabarié’s rule solved together), which tell it to";
const FROM_SUGARS: &str = "From the sugars in the whey, if it has fermented out. Gravity would mislead: whey holds \
                           salts, protein and sugars that do not ferment. The batch’s page shows the sums.";
const FROM_PARTS: &str = "Computed, not measured: from the strengths of what was blended or added, by mass and with \
                          the contraction of alcohol and water. The batch’s page names the parts.";
const AS_STATED: &str =
    "As it was said when these bottles came into the books: nothing here shows how it was known.";
const HIGH_GRAVITY: &str = "This is high: sugar may be left. If it ferments in the bottle, the pressure can burst it. \
                            Keep it cold, open it with care, and open one early.";

pub(super) fn of(doer: &Doer, found: &Found) -> Vec<Figure> {
    let sign = words::sign(&doer.currency);
    let sign = sign.trim();
    let plain = |name, value: String, unit: String| Figure {
        name,
        about: false,
        value,
        give: String::new(),
        unit,
        how: None,
        warning: None,
    };
    let mut figures = vec![plain("Cost of one bottle", words::figure(found.each()), sign.to_owned())];
    figures.push(strength(found));
    figures.extend(gravity(found, doer));
    figures.extend(warmth(found));
    if !found.hidden() {
        let left_cost = found.places.iter().map(|place| place.3).sum();
        figures.push(plain("What is left, at cost", words::figure(left_cost), sign.to_owned()));
    }
    figures.extend(lost(&found.bottling));
    figures
}

/// What was lost while it was filled, where something was.
fn lost(bottling: &Bottling) -> Option<Figure> {
    let volume = bottling.lost_volume;
    (volume != Milli::ZERO).then(|| {
        let shown = volume.shown(BaseUnit::Millilitre);
        let (value, unit) = shown.split_once(' ').unwrap_or((&shown, ""));
        let broken = words::count(bottling.broken, "bottle", "bottles");
        let how = match bottling.broken {
            0 => "Spilt or left over.".to_owned(),
            _ => format!("With what was in {broken} that broke."),
        };
        Figure {
            name: "Lost while it was filled",
            about: false,
            value: value.to_owned(),
            give: String::new(),
            unit: unit.to_owned(),
            how: Some((how, "Its cost is borne by the bottles that were filled.")),
            warning: None,
        }
    })
}

/// How old it is by the warmth of its shelves; nothing where none of them was measured.
fn warmth(found: &Found) -> Option<Figure> {
    let age = found.warmth.filter(|age| age.measured > 0.0)?;
    let value = by_warmth(age.days);
    let value = value.strip_prefix("about ").unwrap_or(&value);
    let (value, unit) = value.split_once(' ').unwrap_or((value, ""));
    let share = 100.0 * age.measured;
    let how = format!(
        "Each day counts 2.5^((T − 15 °C)/10) by the readings of the place where its bottles stood then. {share:.0} % \
         of the time was read; the rest counts as that does on average. Bottles at several places count by number."
    );
    Some(Figure {
        name: "Age by the warmth of its shelves",
        about: true,
        value: value.to_owned(),
        give: String::new(),
        unit: unit.to_owned(),
        how: Some((how, NOTE)),
        warning: None,
    })
}

fn strength(found: &Found) -> Figure {
    let unit = "% vol".to_owned();
    let known = |about, value, give, unit, how: String| Figure {
        name: "Strength",
        about,
        value,
        give,
        unit,
        how: Some((how, NO_LEGAL_STRENGTH)),
        warning: None,
    };
    let Some(strength) = found.bottling.strength else {
        let why = Unknown::from_code(&found.bottling.strength_basis).unwrap_or(Unknown::Readings);
        return known(false, "not known".to_owned(), String::new(), String::new(), why.words().to_owned());
    };
    let value = format!("{:.1}", strength.number());
    match found.bottling.strength_basis.as_str() {
        "gravities" => {}
        STATED => return known(true, value, String::new(), unit, AS_STATED.to_owned()),
        "parts" => return known(true, value, String::new(), unit, FROM_PARTS.to_owned()),
        _ => return known(true, value, String::new(), unit, FROM_SUGARS.to_owned()),
    }
    let give = format!("± {GRAVITY_METHOD_VOL_PERCENT}");
    let how = format!("{FROM_GRAVITIES} {give} % vol (common practice).");
    known(false, value, give, unit, how)
}

fn gravity(found: &Found, doer: &Doer) -> Option<Figure> {
    let (value, at) = found.gravity?;
    let day = days::long(days::local_day(at, doer.zone));
    let how = format!("Read on {day}, corrected to 20 °C. Read to ± 0.0005 (common practice).");
    let high = value.number() > STOPPED_ABOVE_SG;
    Some(Figure {
        name: "Last gravity of its batch",
        about: false,
        value: value.shown(ReadingKind::Gravity),
        give: String::new(),
        unit: "SG".to_owned(),
        how: Some((how, "A gravity that stands still is no proof that nothing ferments any more.")),
        warning: high.then_some(HIGH_GRAVITY),
    })
}
