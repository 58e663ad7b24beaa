//! What a tasting shows once its key is open: means with their uncertainty, the order and the agreement of the panel,
//! choices against chance, words; and for all of it sentences that say what it shows and what it does not.
//!
//! Only sheets that were handed in count. A sheet that lacks a glass counts for the means of those it has, and not for
//! the order.

pub use super::choices::Chosen;
pub use super::panel::Order;
use super::panel::too_few;
use super::sheet::{Answer, WHOLE};
use super::{Method, Table};
use crate::science::sensory::scores::{Mean, mean};
use crate::science::sensory::{NotEnough, TOO_FEW};
use crate::units::ids::MemberId;
use crate::units::text::folded;

/// A sheet that was handed in.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Sheet {
    /// Whose.
    pub member: MemberId,
    /// Their name.
    pub name: String,
    /// What they said, by code.
    pub answers: Vec<Answer>,
}

/// What came of a tasting.
#[derive(Debug, Clone, PartialEq)]
pub struct Results {
    /// How many sheets count.
    pub counted: u32,
    /// Who was poured for and handed nothing in: they do not count.
    pub not_counted: Vec<String>,
    /// What it shows, and what it does not, sentence by sentence.
    pub says: Vec<String>,
    /// The numbers.
    pub outcome: Outcome,
    /// What was written: sample by number from 0, whose, the words.
    pub words: Vec<(usize, String, String)>,
    /// Words that two tasters or more used for the same sample: sample from 0, the word, how many; most first.
    pub shared: Vec<(usize, String, usize)>,
}

/// The numbers, by method.
#[derive(Debug, Clone, PartialEq)]
pub enum Outcome {
    /// Marks on lines.
    Scored(Scored),
    /// An order, or why there is none.
    Ranked(Ranked),
    /// One glass was chosen.
    Chosen(Chosen),
    /// Words only.
    Words,
}

/// Glasses put in order.
#[derive(Debug, Clone, PartialEq)]
pub struct Ranked {
    /// The order of the panel, or why there is none.
    pub order: Result<Order, NotEnough>,
    /// Who put each sample where, in the order of the samples.
    pub rows: Vec<(String, Vec<f64>)>,
}

/// Marks on lines.
#[derive(Debug, Clone, PartialEq)]
pub struct Scored {
    /// For each attribute its number, and the mean for each sample; none where nobody marked it.
    pub means: Vec<(u32, Vec<Option<Mean>>)>,
    /// The order of the samples by the mark for the whole, or why there is none.
    pub order: Result<Order, NotEnough>,
    /// Each taster's own view.
    pub tasters: Vec<TasterView>,
}

/// How one taster marked.
#[derive(Debug, Clone, PartialEq)]
pub struct TasterView {
    /// Who.
    pub name: String,
    /// For each sample the marks by attribute.
    pub marks: Vec<Vec<(u32, f64)>>,
    /// The mean of their marks for the whole.
    pub own_mean: Option<f64>,
    /// How much that is above (+) or below (−) the mean of the panel for the same samples.
    pub above_panel: Option<f64>,
}

/// What these sheets show.
pub fn results(table: &Table, sheets: &[Sheet]) -> Results {
    let counted = u32::try_from(sheets.len()).unwrap_or(u32::MAX);
    let names: Vec<String> = table.samples.iter().map(super::Sample::name).collect();
    let (outcome, mut says) = match table.tasting.method {
        Method::Scored => {
            let scored = scored(table, sheets);
            let says = scored_says(&scored, table, &names, counted);
            (Outcome::Scored(scored), says)
        }
        Method::Ranking => {
            let ranked = ranked(table, sheets);
            let says = order_says(&ranked.order, &names, counted);
            (Outcome::Ranked(ranked), says)
        }
        Method::Words => {
            let says = if counted < TOO_FEW {
                too_few(counted)
            } else {
                format!("{counted} tasters wrote what they found; what several of them noticed stands first.")
            };
            (Outcome::Words, vec![says])
        }
        Method::Triangle | Method::Paired | Method::DuoTrio => {
            let said: Vec<_> = sheets
                .iter()
                .filter_map(|sheet| {
                    let chosen = sheet.answers.iter().find(|answer| answer.place == Some(1))?;
                    Some((sheet.member, sheet.name.clone(), chosen.code))
                })
                .collect();
            let chosen = Chosen::of(table, &said);
            let says = chosen.says(table);
            (Outcome::Chosen(chosen), says)
        }
    };
    let not_counted: Vec<String> = table.missing().into_iter().map(|seat| seat.name.clone()).collect();
    if !not_counted.is_empty() {
        says.push(format!("Not handed in, and not counted: {}.", not_counted.join(", ")));
    }
    says.push(
        "It is what this panel found on that day; another panel, or another day, may find otherwise."
            .to_owned(),
    );
    let words = words(table, sheets);
    Results { counted, not_counted, says, outcome, shared: shared(&words), words }
}

fn sample_at(table: &Table, code: u16) -> Option<usize> {
    let glass = table.glass(code)?;
    table.samples.iter().position(|sample| sample.id == glass.sample)
}

/// What each sheet says of each sample, in the order of the samples.
fn by_sample<'s>(table: &Table, sheet: &'s Sheet) -> Vec<Option<&'s Answer>> {
    let mut found = vec![None; table.samples.len()];
    for answer in &sheet.answers {
        if let Some(slot) = sample_at(table, answer.code).and_then(|at| found.get_mut(at)) {
            *slot = Some(answer);
        }
    }
    found
}

fn scored(table: &Table, sheets: &[Sheet]) -> Scored {
    let said: Vec<Vec<Option<&Answer>>> = sheets.iter().map(|sheet| by_sample(table, sheet)).collect();
    let samples = table.samples.len();
    let marks = |number: u32, sample: usize| -> Vec<f64> {
        said.iter().filter_map(|row| row[sample].and_then(|answer| answer.mark(number))).collect()
    };
    let means = table
        .attributes
        .iter()
        .map(|line| (line.number, (0..samples).map(|at| mean(&marks(line.number, at)).ok()).collect()))
        .collect();
    // The best mark is first in the order: marks are turned round.
    let whole = |row: &Vec<Option<&Answer>>| -> Option<Vec<f64>> {
        row.iter().map(|answer| answer.and_then(|answer| answer.mark(WHOLE)).map(|mark| -mark)).collect()
    };
    let rows: Vec<Vec<f64>> = said.iter().filter_map(whole).collect();
    let panel: Vec<Option<f64>> =
        (0..samples).map(|at| mean(&marks(WHOLE, at)).ok().map(|mean| mean.mean)).collect();
    let tasters =
        sheets.iter().zip(&said).map(|(sheet, row)| taster_view(&sheet.name, row, &panel)).collect();
    Scored { means, order: Order::of(&rows), tasters }
}

#[allow(clippy::cast_precision_loss, reason = "tenths up to 100")]
fn taster_view(name: &str, row: &[Option<&Answer>], panel: &[Option<f64>]) -> TasterView {
    let both: Vec<(f64, f64)> = row
        .iter()
        .zip(panel)
        .filter_map(|(answer, panel)| Some((answer.as_ref()?.mark(WHOLE)?, (*panel)?)))
        .collect();
    let own: Vec<f64> = both.iter().map(|pair| pair.0).collect();
    let others: Vec<f64> = both.iter().map(|pair| pair.1).collect();
    let own_mean = mean(&own).ok().map(|mean| mean.mean);
    let marks = row.iter().map(|answer| {
        let marks = answer.map(|answer| answer.marks.as_slice()).unwrap_or_default();
        marks.iter().map(|(number, tenths)| (*number, *tenths as f64 / 10.0)).collect()
    });
    TasterView {
        name: name.to_owned(),
        marks: marks.collect(),
        own_mean,
        above_panel: own_mean.zip(mean(&others).ok()).map(|(own, panel)| own - panel.mean),
    }
}

fn scored_says(scored: &Scored, table: &Table, names: &[String], counted: u32) -> Vec<String> {
    let whole = scored.means.iter().find(|line| line.0 == WHOLE);
    let mut given: Vec<(usize, Mean)> = whole
        .map(|line| line.1.iter().enumerate().filter_map(|(at, mean)| Some((at, (*mean)?))).collect())
        .unwrap_or_default();
    given.sort_by(|one, other| other.1.mean.total_cmp(&one.1.mean));
    let line = table.attributes.iter().find(|line| line.number == WHOLE);
    let line = line.map_or("the whole", |line| line.name.as_str());
    let list: Vec<String> =
        given.iter().map(|(at, mean)| format!("{:.1} for {}", mean.mean, names[*at])).collect();
    let tasters = if counted == 1 { "1 taster".to_owned() } else { format!("{counted} tasters") };
    let means = format!("Mean marks of {tasters} for “{line}”, of 10: {}.", list.join("; "));
    if counted < TOO_FEW {
        return vec![means, too_few(counted)];
    }
    // What is found comes first, then the marks it rests on, then how well the panel agrees.
    let found = if names.len() > 1 { order_says(&scored.order, names, counted) } else { Vec::new() };
    let bars = "The thick bar round a mean says how far it is to be trusted: drawn so, 95 bars in 100 hold the mean \
                that very many such tasters would give (95 % interval, Student’s t).";
    let mut found = found.into_iter();
    found.next().into_iter().chain([means, bars.to_owned()]).chain(found).collect()
}

fn order_says(order: &Result<Order, NotEnough>, names: &[String], counted: u32) -> Vec<String> {
    match order {
        Ok(order) => order.says(names),
        Err(_) if counted < TOO_FEW => vec![too_few(counted)],
        Err(why) => vec![format!("No order of the panel: {why}")],
    }
}

fn ranked(table: &Table, sheets: &[Sheet]) -> Ranked {
    let row = |sheet: &Sheet| -> Option<(String, Vec<f64>)> {
        let places: Option<Vec<f64>> =
            by_sample(table, sheet).iter().map(|answer| Some(f64::from(answer.as_ref()?.place?))).collect();
        Some((sheet.name.clone(), places?))
    };
    let rows: Vec<(String, Vec<f64>)> = sheets.iter().filter_map(row).collect();
    let places: Vec<Vec<f64>> = rows.iter().map(|row| row.1.clone()).collect();
    Ranked { order: Order::of(&places), rows }
}

fn words(table: &Table, sheets: &[Sheet]) -> Vec<(usize, String, String)> {
    let said = |sheet: &Sheet| -> Vec<(usize, String, String)> {
        let of = |answer: &Answer| {
            Some((sample_at(table, answer.code)?, sheet.name.clone(), answer.words.clone()))
        };
        sheet.answers.iter().filter(|answer| !answer.words.is_empty()).filter_map(of).collect()
    };
    let mut all: Vec<_> = sheets.iter().flat_map(said).collect();
    all.sort_by_key(|one| one.0);
    all
}

/// Words and expressions, as commas and lines part them, that several tasters used of one sample.
fn shared(words: &[(usize, String, String)]) -> Vec<(usize, String, usize)> {
    let mut used: Vec<(usize, String, &str)> = Vec::new();
    for (sample, name, text) in words {
        for word in text.split([',', ';', '.', '\n']).map(str::trim).filter(|word| !word.is_empty()) {
            let one = (*sample, folded(word), name.as_str());
            if !used.contains(&one) {
                used.push(one);
            }
        }
    }
    used.sort();
    let groups = used.chunk_by(|one, next| one.0 == next.0 && one.1 == next.1);
    let mut shared: Vec<_> = groups
        .filter(|group| group.len() > 1)
        .map(|group| (group[0].0, group[0].1.clone(), group.len()))
        .collect();
    shared.sort_by_key(|one| (one.0, std::cmp::Reverse(one.2)));
    shared
}

#[cfg(test)]
mod tests {
    use super::super::tests::{begun, marked, placed};
    use super::*;

    /// One sheet a row: the marks for the whole, in the order of the samples.
    fn sheets(table: &Table, rows: &[&[f64]]) -> Vec<Sheet> {
        let answers = |row: &[f64]| {
            #[allow(clippy::cast_possible_truncation, reason = "marks of a test")]
            let answer = |(code, mark): (u16, &f64)| marked(code, &[(WHOLE, (mark * 10.0).round() as i64)]);
            (201..).zip(row).map(answer).collect()
        };
        let seats = table.seats.iter().zip(rows);
        seats
            .map(|(seat, row)| Sheet { member: seat.member, name: seat.name.clone(), answers: answers(row) })
            .collect()
    }

    #[test]
    fn means_have_their_intervals_and_the_best_comes_first_in_the_order() {
        // The first sample has the marks of which mean and interval are known (science, scores).
        let table = begun(Method::Scored, 2, 8);
        let rows: Vec<Vec<f64>> =
            [6.5, 7.0, 5.5, 8.0, 6.0, 7.5, 6.5, 7.0].into_iter().map(|mark| vec![mark, mark - 2.0]).collect();
        let rows: Vec<&[f64]> = rows.iter().map(Vec::as_slice).collect();
        let results = results(&table, &sheets(&table, &rows));
        let Outcome::Scored(scored) = &results.outcome else { panic!("{results:?}") };
        let whole = scored.means.iter().find(|line| line.0 == WHOLE).unwrap();
        let first = whole.1[0].unwrap();
        assert!((first.mean - 6.75).abs() < 1e-9 && (first.interval.unwrap().low - 6.079_69).abs() < 1e-5);
        assert_eq!(scored.means[0].1, [None, None], "nobody marked the look");
        let order = scored.order.as_ref().unwrap();
        assert_eq!(order.ranking.rank_sums, [8.0, 16.0]);
        assert_eq!(order.apart, [(0, 1)]);
        assert!(
            results.says[1]
                .contains("8 tasters for “Overall”, of 10: 6.8 for Moor Mead, 1-1; 4.8 for Moor Mead, 2-1"),
            "{:?}",
            results.says
        );
        let view = &scored.tasters[3];
        assert!(
            (view.above_panel.unwrap() - 1.25).abs() < 1e-9,
            "8 and 6 where the panel gave 6.75 and 4.75"
        );
    }

    #[test]
    fn three_sheets_say_no_more_than_what_is_on_them() {
        let table = begun(Method::Scored, 2, 3);
        let results = results(&table, &sheets(&table, &[&[9.0, 1.0], &[9.0, 1.0], &[9.0, 1.0]]));
        assert!(results.says[1].starts_with("3 sheets: fewer than 5 tasters"), "{:?}", results.says);
        assert!(!results.says.iter().any(|says| says.contains("Told apart")), "{:?}", results.says);
    }

    #[test]
    fn a_sheet_that_lacks_a_glass_counts_for_means_and_not_for_the_order() {
        let table = begun(Method::Scored, 2, 6);
        let rows: [&[f64]; 6] = [&[7.0, 5.0], &[8.0, 6.0], &[7.0, 6.0], &[6.0, 5.0], &[8.0, 5.0], &[2.0]];
        let results = results(&table, &sheets(&table, &rows));
        let Outcome::Scored(scored) = results.outcome else { panic!("scored") };
        assert_eq!(scored.order.unwrap().ranking.judges, 5);
        assert_eq!(scored.means.last().unwrap().1[0].unwrap().of, 6);
    }

    #[test]
    fn glasses_all_marked_alike_have_no_order() {
        let table = begun(Method::Scored, 2, 5);
        let alike: Vec<&[f64]> = vec![&[5.0, 5.0]; 5];
        let results = results(&table, &sheets(&table, &alike));
        assert!(results.says.iter().any(|says| says.contains("No order of the panel")), "{:?}", results.says);
    }

    #[test]
    fn places_are_ranked_as_they_stand() {
        let table = begun(Method::Ranking, 3, 5);
        let sheet = |seat: &super::super::Seat| Sheet {
            member: seat.member,
            name: seat.name.clone(),
            answers: vec![placed(201, 2), placed(202, 1), placed(203, 3)],
        };
        let sheets: Vec<Sheet> = table.seats.iter().map(sheet).collect();
        let Outcome::Ranked(ranked) = results(&table, &sheets).outcome else { panic!("ranked") };
        let order = ranked.order.unwrap();
        assert_eq!(order.ranking.rank_sums, [10.0, 5.0, 15.0]);
        assert!((order.ranking.agreement - 1.0).abs() < 1e-12);
    }

    #[test]
    fn who_handed_nothing_in_is_named_and_not_counted() {
        let mut table = begun(Method::Scored, 2, 6);
        table.seats.iter_mut().take(5).for_each(|seat| seat.handed_in_at = table.tasting.begun_at);
        let rows: Vec<&[f64]> = vec![&[7.0, 5.0]; 5];
        let results = results(&table, &sheets(&table, &rows));
        assert_eq!(
            (results.counted, results.not_counted.as_slice()),
            (5, ["Taster 6".to_owned()].as_slice())
        );
        assert!(results.says.iter().any(|says| says == "Not handed in, and not counted: Taster 6."));
    }

    #[test]
    fn words_that_several_use_are_found() {
        let table = begun(Method::Words, 2, 3);
        let said = [("Smoke, honey", 201), ("honey; thin", 201), ("honey, honey", 202)];
        let sheets: Vec<Sheet> = table
            .seats
            .iter()
            .zip(said)
            .map(|(seat, (words, code))| {
                let answer = Answer { code, marks: Vec::new(), place: None, words: words.to_owned() };
                Sheet { member: seat.member, name: seat.name.clone(), answers: vec![answer] }
            })
            .collect();
        let results = results(&table, &sheets);
        assert_eq!(results.shared, [(0, "honey".to_owned(), 2)], "one taster who says it twice is one");
        assert_eq!(results.words.len(), 3);
    }
}
