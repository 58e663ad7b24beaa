//! The figures of a batch as its page shows them: how far its gravity has come, its curve, its strength.

use crate::db::batches::{Batch, Series};
use crate::domain::batches::{Moved, Stage, Standing};
use crate::domain::books::EntryKind;
use crate::domain::members::Doer;
use crate::domain::yields::{Basis, Story, Strength, Unknown};
use crate::units::days::{self, Day, Instant};
use crate::units::measure::{Measured, ReadingKind};
use crate::web::pictures::{Curve, Lane, Mark, curve};
use crate::web::words;

use super::course::Course;
use crate::domain::cautions::Readiness;

/// A figure with its unit, and how it is worked out.
pub(super) struct Fact {
    pub(super) name: &'static str,
    pub(super) about: bool,
    pub(super) value: String,
    /// "± 0.3", or nothing.
    pub(super) give: &'static str,
    /// Nothing where the value is in words.
    pub(super) unit: String,
    pub(super) how: Option<(String, String)>,
}

/// Marks on the time axis at most.
const MARKS: usize = 12;

/// What happened to a batch, in a word for the curve.
const fn in_a_word(kind: EntryKind) -> Option<&'static str> {
    match kind {
        EntryKind::Pitch => Some("pitched"),
        EntryKind::Draw => Some("added to"),
        EntryKind::ByProduct => Some("weighed off"),
        EntryKind::Racking => Some("racked"),
        EntryKind::Split => Some("split"),
        EntryKind::Blend => Some("blended"),
        EntryKind::Bottling => Some("bottled"),
        EntryKind::Loss => Some("loss"),
        _ => None,
    }
}

/// What happened while it was read, once a day, with the days counted from the first reading.
fn marks(moved: &[Moved], start: Day, last: Day) -> Vec<Mark<'static>> {
    let mut found: Vec<(Day, &'static str)> = Vec::new();
    for line in moved.iter().filter(|line| line.day >= start && line.day <= last) {
        if let Some(word) = in_a_word(line.kind).filter(|word| !found.contains(&(line.day, *word))) {
            found.push((line.day, word));
        }
    }
    found.sort_unstable_by_key(|one| one.0);
    #[allow(clippy::cast_precision_loss, reason = "days of a fermentation")]
    let mark = |(day, text): (Day, &'static str)| Mark { day: (day - start).num_days() as f64, text };
    found.into_iter().take(MARKS).map(mark).collect()
}

/// Days since the first of some values.
#[allow(clippy::cast_precision_loss, reason = "seconds of a fermentation")]
fn since(start: Instant, series: &Series) -> Vec<(f64, f64)> {
    series.iter().map(|(at, value)| ((*at - start).num_seconds() as f64 / 86_400.0, value.number())).collect()
}

pub(super) fn gravity_curve(
    batch: &Batch,
    (gravities, temperatures): (&Series, &Series),
    moved: &[Moved],
    course: Option<&Course>,
    doer: &Doer,
) -> String {
    let (Some(first), Some(end)) = (gravities.first(), gravities.last()) else { return String::new() };
    let day = |at: Instant| days::local_day(at, doer.zone);
    let start = day(first.0);
    let last = end.1.shown(ReadingKind::Gravity);
    let ahead = course.filter(|_| batch.stage == Stage::Working).and_then(|course| course.ahead(doer));
    let band = match &ahead {
        Some(_) => " The dashed line is the forecast, the band how much sooner or later it may come.",
        None => "",
    };
    let warm: Series = temperatures.iter().copied().filter(|noted| noted.0 >= first.0).collect();
    let ends = |of: fn(std::slice::Iter<(Instant, Measured)>) -> Option<Measured>| {
        of(warm.iter()).map(|value| value.shown(ReadingKind::Temperature))
    };
    let low = ends(|noted| noted.map(|noted| noted.1).min());
    let high = ends(|noted| noted.map(|noted| noted.1).max());
    let lane = match (low, high) {
        (Some(low), Some(high)) => format!(" Under it the temperature, between {low} and {high} °C."),
        _ => String::new(),
    };
    let count = i64::try_from(gravities.len()).unwrap_or(i64::MAX);
    let caption = format!(
        "Gravity of batch {} from {} on {} to {last}, {} later: {}, ± 0.0005, corrected to 20 °C.{lane}{band}",
        batch.code,
        first.1.shown(ReadingKind::Gravity),
        days::long(start),
        days::age((day(end.0) - start).num_days()),
        words::count(count, "reading", "readings"),
    );
    let until = warm.last().map_or(day(end.0), |noted| day(noted.0).max(day(end.0)));
    let (points, under) = (since(first.0, gravities), since(first.0, &warm));
    let words_under = warm.last().map(|noted| noted.1.shown(ReadingKind::Temperature)).unwrap_or_default();
    curve(&Curve {
        id: "gravity",
        title: "Gravity, day by day",
        caption: &caption,
        points: &points,
        unit: "SG",
        decimals: 3,
        last: &last,
        day_text: &|day| (start + chrono::Duration::days(i64::from(day))).format("%-d %b").to_string(),
        marks: &marks(moved, start, until),
        ahead: ahead.as_ref(),
        lane: (under.len() > 1).then_some(Lane { points: &under, unit: "°C", last: &words_under }),
    })
}

/// The curve as a table: the last gravity and temperature of each day, the latest forty days.
pub(super) fn gravity_table(gravities: &Series, temperatures: &Series, doer: &Doer) -> Vec<[String; 3]> {
    const DAYS: usize = 40;
    let mut found: Vec<[String; 3]> = Vec::new();
    let (mut later, mut noted) = (Instant::MAX, temperatures.iter().rev().peekable());
    for (at, value) in gravities.iter().rev() {
        if *at >= later {
            continue;
        }
        let day = days::local_day(*at, doer.zone);
        later = days::begin(day, doer.zone);
        let next = days::begin(day + chrono::Duration::days(1), doer.zone);
        while noted.next_if(|one| one.0 >= next).is_some() {}
        let warmth = noted.peek().filter(|one| one.0 >= later);
        let warmth = warmth.map(|one| one.1.shown(ReadingKind::Temperature)).unwrap_or_default();
        found.push([days::tiny(day, doer.today()), value.shown(ReadingKind::Gravity), warmth]);
        if found.len() == DAYS {
            break;
        }
    }
    found.reverse();
    found
}

pub(super) fn figures(
    stage: Stage,
    standing: &Standing,
    story: &Story,
    last: &[(ReadingKind, Instant, Measured)],
    course: Option<&Course>,
    doer: &Doer,
) -> Vec<Fact> {
    let mut found = Vec::new();
    if matches!(stage, Stage::Working | Stage::Resting) {
        found.extend(course.map(safe_to_bottle));
    }
    for kind in ReadingKind::ALL {
        let last = last.iter().find(|reading| reading.0 == kind);
        if let Some(last) = last.filter(|_| kind != ReadingKind::Volume) {
            let (name, unit) = kind.label();
            found.push(Fact {
                name,
                about: false,
                value: last.2.shown(kind),
                give: "",
                unit: if unit == name { String::new() } else { unit.to_owned() },
                how: None,
            });
        }
    }
    match story.strength() {
        Ok(strength) => found.push(strength_fact(&strength)),
        // What has just begun has no strength to ask for.
        Err(Unknown::Readings) => {}
        Err(why) => found.push(Fact {
            name: "Strength",
            about: false,
            value: "not known".to_owned(),
            give: "",
            unit: String::new(),
            how: Some((why.words().to_owned(), String::new())),
        }),
    }
    if stage == Stage::Working && !story.dairy() {
        found.extend(story.expected().map(|(strength, silent)| expected_fact(&strength, &silent)));
    }
    if !stage.ended() && stage != Stage::LaidDown {
        found.push(Fact {
            name: "Cost of what is in it",
            about: false,
            value: standing.holding.cost.shown(),
            give: "",
            unit: words::sign(&doer.currency).trim().to_owned(),
            how: None,
        });
    }
    found
}

fn safe_to_bottle(course: &Course) -> Fact {
    let (readiness, why) = course.readiness();
    let value = match readiness {
        Readiness::SeemsFinished => "it seems finished",
        Readiness::NotYet => "not yet",
        Readiness::Stopped => "no, it has stopped",
        Readiness::Unknown => "not sure",
    };
    Fact {
        name: "Ready to bottle",
        about: false,
        value: value.to_owned(),
        give: "",
        unit: String::new(),
        how: Some((
            why,
            "Finished is: at least three gravities over at least three days at 18 °C or more, the same within 0.001 \
             and near 1.000. Common practice, no source."
                .to_owned(),
        )),
    }
}

const PARTS_SOURCE: &str = "By mass, with the contraction of alcohol and water; densities of OIML R 22. The sugar in \
                            the drinks is not counted. Not a strength for a label: that takes a laboratory.";

fn parts_in_words(parts: &[(f64, f64)], warning: &str) -> String {
    match parts {
        [(_, percent)] => format!("As it was in the batch it came from: {percent:.1} % vol. {warning}"),
        parts => {
            let each: Vec<String> = parts
                .iter()
                .map(|(litres, percent)| format!("{litres:.1} L of {percent:.1} % vol"))
                .collect();
            format!("From {}. {warning}", each.join(" and "))
        }
    }
}

/// What the sugar gives, with the supplies of which none is counted.
fn expected_fact(strength: &Strength, silent: &[String]) -> Fact {
    let mut fact = strength_fact(strength);
    if let (Some((how, _)), false) = (&mut fact.how, silent.is_empty()) {
        let silent = silent.join(" and ");
        *how = format!("{how} No sugar is stated for {silent}, so none of theirs is counted.");
    }
    fact
}

fn strength_fact(strength: &Strength) -> Fact {
    let warning = strength.warning.clone().unwrap_or_default();
    let (name, give, how, source) = match &strength.basis {
        Basis::Gravities { first, last } => (
            "Strength so far",
            "± 0.3",
            format!("From gravity {first:.4} to {last:.4} at 20 °C. {warning}"),
            "Balling’s balance and Tabarié’s rule solved together; densities of OIML R 22 and ICUMSA. Not a strength \
             for a label: that takes a laboratory."
                .to_owned(),
        ),
        Basis::Whey { whey_litres, split, natural_g, added_g, litres } => (
            "Strength when it has fermented out",
            "",
            format!(
                "{whey_litres:.1} L of whey with 47 g/L of lactose, {}, give {natural_g:.0} g of glucose; \
                 {added_g:.0} g of sugar were added; together in {litres:.1} L, at 16.83 g/L for 1 % vol. {warning}",
                if *split { "95 % of it split" } else { "not split by an enzyme, which yeast cannot take" }
            ),
            "Gravity would mislead: whey holds salts, protein and galactose that do not ferment. 16.83 g/L is the \
             convention of the European Union. Galactose is not counted here."
                .to_owned(),
        ),
        Basis::Sugars { added_g, litres } => (
            "Strength when it has fermented out",
            "",
            format!("{added_g:.0} g of sugar in {litres:.1} L, at 16.83 g/L for 1 % vol. {warning}"),
            "From the sugar of what was drawn into it, counted as glucose and fructose. 16.83 g/L is the convention of \
             the European Union. It takes for granted that all of it ferments."
                .to_owned(),
        ),
        Basis::Parts(parts) => ("Strength, computed", "", parts_in_words(parts, &warning), PARTS_SOURCE.to_owned()),
    };
    Fact {
        name,
        about: true,
        value: format!("{:.1}", strength.vol_percent),
        give,
        unit: "% vol".to_owned(),
        how: Some((how, source)),
    }
}
