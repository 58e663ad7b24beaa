//! The figures of a batch as its page shows them: how far its gravity has come, its curve, its strength.

use crate::db::batches::{Batch, Reading};
use crate::domain::batches::Standing;
use crate::domain::members::Doer;
use crate::domain::yields::{Basis, Story, Strength};
use crate::units::days;
use crate::units::measure::{Measured, ReadingKind};
use crate::web::pictures::{Curve, Mark, curve, stem};
use crate::web::words;

/// A figure with its unit, and how it is worked out.
pub(super) struct Fact {
    pub(super) name: &'static str,
    pub(super) about: bool,
    pub(super) value: String,
    pub(super) unit: String,
    pub(super) how: Option<(String, String)>,
}

/// How far the gravity has come towards 1.000, where most drinks end: the fraction, a sentence, and the ruled scale.
pub fn gauge(first: Measured, last: Measured) -> (f64, String, String) {
    let (first_sg, last_sg) = (first.number(), last.number());
    let way = first_sg - EXPECTED_END;
    let gone = if way > 0.0005 { ((first_sg - last_sg) / way).clamp(0.0, 1.0) } else { 0.0 };
    let shown = |value: Measured| value.shown(ReadingKind::Gravity);
    let percent = format!("about {:.0} %", gone * 100.0);
    let says = format!("{percent} of the way from {} to {EXPECTED_END:.4}", shown(first));
    let left = format!("{}, {percent} of the way", shown(last));
    let picture = stem(gone, &says, &left, &format!("ends about {EXPECTED_END:.3}"), None);
    (gone, says, picture)
}

/// The gravity at which a drink that has fermented out is expected to stand: common practice, no source.
const EXPECTED_END: f64 = 1.000;

pub(super) fn gravity_curve(batch: &Batch, gravities: &[&Reading], doer: &Doer) -> String {
    let Some(first) = gravities.first() else { return String::new() };
    let start = days::local_day(first.at, doer.zone);
    #[allow(clippy::cast_precision_loss, reason = "minutes of a fermentation")]
    let day = |reading: &Reading| (reading.at - first.at).num_minutes() as f64 / 1440.0;
    let points: Vec<(f64, f64)> =
        gravities.iter().map(|reading| (day(reading), reading.value.number())).collect();
    let last = gravities.last().map(|last| last.value.shown(ReadingKind::Gravity)).unwrap_or_default();
    let caption = format!(
        "Gravity of batch {} from {} on {} to {last}, {} later. Each dot is a reading, ± 0.0005, corrected to 20 °C.",
        batch.code,
        first.value.shown(ReadingKind::Gravity),
        days::long(start),
        days::age((days::local_day(gravities[gravities.len() - 1].at, doer.zone) - start).num_days()),
    );
    #[allow(clippy::cast_precision_loss, reason = "days of a fermentation")]
    let marks: Vec<Mark> = batch
        .pitched_on
        .map(|pitched| (pitched - start).num_days() as f64)
        .filter(|day| *day > 0.0)
        .map(|day| Mark { day, text: "pitched" })
        .into_iter()
        .collect();
    curve(&Curve {
        id: "gravity",
        title: "Gravity, day by day",
        caption: &caption,
        points: &points,
        unit: "SG",
        decimals: 3,
        last: &last,
        day_text: &|day| (start + chrono::Duration::days(i64::from(day))).format("%-d %b").to_string(),
        marks: &marks,
    })
}

pub(super) fn figures(standing: &Standing, story: &Story, readings: &[Reading], doer: &Doer) -> Vec<Fact> {
    let mut found = Vec::new();
    for kind in ReadingKind::ALL {
        let last = readings.iter().rev().find(|reading| reading.kind == kind && reading.struck.is_none());
        if let Some(last) = last.filter(|_| kind != ReadingKind::Volume) {
            let (name, unit) = kind.label();
            found.push(Fact {
                name,
                about: false,
                value: last.value.shown(kind),
                unit: unit.to_owned(),
                how: None,
            });
        }
    }
    if let Some(strength) = story.strength() {
        found.push(strength_fact(&strength));
    }
    found.push(Fact {
        name: "Cost so far, by-products deducted",
        about: false,
        value: standing.holding.cost.shown(),
        unit: words::sign(&doer.currency).trim().to_owned(),
        how: None,
    });
    found
}

fn strength_fact(strength: &Strength) -> Fact {
    let warning = strength.warning.clone().unwrap_or_default();
    let (name, how, source) = match &strength.basis {
        Basis::Gravities { first, last } => (
            "Strength so far, ± 0.3",
            format!("From gravity {first:.4} to {last:.4} at 20 °C. {warning}"),
            "Balling’s balance and Tabarié’s rule solved together; densities of OIML R 22 and ICUMSA. Not a strength \
             for a label: that takes a laboratory."
                .to_owned(),
        ),
        Basis::Whey { whey_litres, split, natural_g, added_g, litres } => (
            "Strength when it has fermented out",
            format!(
                "{whey_litres:.1} L of whey with 47 g/L of lactose, {}, give {natural_g:.0} g of glucose; \
                 {added_g:.0} g of sugar were added; together in {litres:.1} L, at 16.83 g/L for 1 % vol. {warning}",
                if *split { "95 % of it split" } else { "not split by an enzyme, which yeast cannot take" }
            ),
            "Gravity would mislead: whey holds salts, protein and galactose that do not ferment. 16.83 g/L is the \
             convention of the European Union. Galactose is not counted here."
                .to_owned(),
        ),
    };
    Fact {
        name,
        about: true,
        value: format!("{:.1}", strength.vol_percent),
        unit: "% vol".to_owned(),
        how: Some((how, source)),
    }
}
