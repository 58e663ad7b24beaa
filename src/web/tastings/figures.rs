//! The pictures of a tasting: means with their intervals, rank sums, choices against chance.

use crate::domain::tastings::Table;
use crate::domain::tastings::results::{Chosen, Order, Outcome, Results, Scored};
use crate::domain::tastings::sheet::WHOLE;
use crate::science::sensory::choice::Test;
use crate::web::pictures::{Ladder, Rung, ladder};

/// The picture that answers first.
pub(super) fn main(table: &Table, results: &Results) -> String {
    match &results.outcome {
        Outcome::Scored(scored) => whole(table, scored),
        Outcome::Ranked(ranked) => ranked.order.as_ref().map(|order| ranks(table, order)).unwrap_or_default(),
        Outcome::Chosen(chosen) => choices(table, chosen),
        Outcome::Words => String::new(),
    }
}

/// The mean for the whole of each sample, the best first.
fn whole(table: &Table, scored: &Scored) -> String {
    let line = table.attributes.iter().find(|line| line.number == WHOLE);
    let name = line.map_or("The whole", |line| line.name.as_str());
    let means = scored.means.iter().find(|means| means.0 == WHOLE);
    let mut rungs: Vec<Rung> = means
        .map(|means| {
            let each = means.1.iter().enumerate().filter_map(|(at, mean)| {
                let mean = (*mean)?;
                Some(Rung {
                    name: table.samples[at].name(),
                    value: mean.mean,
                    shown: format!("{:.1}", mean.mean),
                    interval: mean.interval.map(|interval| (interval.low, interval.high)),
                    dots: dots(scored, at, WHOLE),
                })
            });
            each.collect()
        })
        .unwrap_or_default();
    rungs.sort_by(|one, other| other.value.total_cmp(&one.value));
    ladder(&Ladder {
        id: "whole",
        title: &format!("{name}: means of the panel"),
        caption: &format!(
            "“{name}” from 0 to 10: the mean of each, with its 95 % interval; small rings are single tasters."
        ),
        scale: (0.0, 10.0),
        step: 2.0,
        rungs: &rungs,
        marks: &[],
    })
}

fn dots(scored: &Scored, sample: usize, attribute: u32) -> Vec<f64> {
    let mark = |marks: &Vec<(u32, f64)>| marks.iter().find(|mark| mark.0 == attribute).map(|mark| mark.1);
    scored.tasters.iter().filter_map(|taster| taster.marks.get(sample).and_then(mark)).collect()
}

/// All lines of one sample.
pub(super) fn lines(table: &Table, scored: &Scored, sample: usize) -> String {
    let rungs: Vec<Rung> = table
        .attributes
        .iter()
        .filter_map(|line| {
            let mean = (*scored.means.iter().find(|means| means.0 == line.number)?.1.get(sample)?)?;
            Some(Rung {
                name: format!("{}: {} – {}", line.name, line.low_end, line.high_end),
                value: mean.mean,
                shown: format!("{:.1}", mean.mean),
                interval: mean.interval.map(|interval| (interval.low, interval.high)),
                dots: dots(scored, sample, line.number),
            })
        })
        .collect();
    let name = table.samples.get(sample).map(crate::domain::tastings::Sample::name).unwrap_or_default();
    ladder(&Ladder {
        id: &format!("lines-{sample}"),
        title: &format!("{name}, line by line"),
        caption: "The mean of each line, with its 95 % interval; small rings are single tasters.",
        scale: (0.0, 10.0),
        step: 2.0,
        rungs: &rungs,
        marks: &[],
    })
}

fn ranks(table: &Table, order: &Order) -> String {
    let judges = f64::from(order.ranking.judges);
    let last = f64::from(u32::try_from(table.samples.len()).unwrap_or(u32::MAX));
    let mut rungs: Vec<Rung> = table
        .samples
        .iter()
        .zip(&order.ranking.rank_sums)
        .map(|(sample, sum)| Rung {
            name: sample.name(),
            value: sum / judges,
            shown: format!("{:.1}", sum / judges),
            interval: None,
            dots: Vec::new(),
        })
        .collect();
    rungs.sort_by(|one, other| one.value.total_cmp(&other.value));
    ladder(&Ladder {
        id: "ranks",
        title: "Mean places",
        caption: &format!(
            "The mean of the places that each was given; 1 is first. Two are told apart where they differ by {:.1} or \
             more, if the panel agrees at all.",
            order.ranking.least_difference / judges
        ),
        scale: (1.0, last),
        step: 1.0,
        rungs: &rungs,
        marks: &[],
    })
}

fn choices(table: &Table, chosen: &Chosen) -> String {
    let outcome = chosen.outcome;
    let of = f64::from(outcome.of);
    let mut marks = vec![(of * chosen.test.chance(), "by guessing".to_owned())];
    marks.extend(outcome.needed.map(|needed| (f64::from(needed), format!("{needed} is more than chance"))));
    let what = match chosen.test {
        Test::Triangle => "Named the odd glass".to_owned(),
        Test::DuoTrio => "Named the glass like the known one".to_owned(),
        Test::PairedDirected | Test::PairedOpen => {
            let at = usize::from(chosen.by_sample.get(1) > chosen.by_sample.first());
            format!("Named {}", table.samples[at].name())
        }
    };
    let rung = Rung {
        name: what,
        value: f64::from(outcome.chosen),
        shown: format!("{} of {}", outcome.chosen, outcome.of),
        interval: None,
        dots: Vec::new(),
    };
    let step = if outcome.of > 20 {
        10.0
    } else if outcome.of > 8 {
        4.0
    } else {
        1.0
    };
    ladder(&Ladder {
        id: "choices",
        title: "Choices against chance",
        caption: "How many named it, beside what guessing alone gives and what would be more than chance (5 times in \
                  100).",
        scale: (0.0, of),
        step,
        rungs: &[rung],
        marks: &marks,
    })
}
