//! What came of a tasting: sentences first, then pictures, tables, every sample and every taster; and as a file.

use askama::Template;

use super::{Found, about, figures, find, missing};
use crate::db::{Failure, tastings as rows};
use crate::domain::members::Onlooker;
use crate::domain::tastings::results::{Chosen, Order, Outcome, Ranked, Results, Scored, Sheet};
use crate::domain::tastings::{Sample, State, Table};
use crate::science::sensory::scores::Mean;
use crate::units::days;
use crate::units::ids::TastingId;
use crate::units::number;
use crate::web::extract::Path;
use crate::web::frame::Frame;
use crate::web::problem::{Kind, Problem};
use crate::web::respond::{self, Reply};
use crate::web::site::{Room, Site};
use crate::web::spreadsheet::{self, Cell};

#[derive(Template)]
#[template(path = "tastings/results.html")]
struct ResultsPage {
    frame: Frame,
    href: String,
    title: String,
    about: String,
    question: String,
    says: Vec<String>,
    picture: String,
    key: Vec<(u16, String, String)>,
    tables: Vec<TableView>,
    facts: Vec<Fact>,
    samples: Vec<SampleView>,
}

struct TableView {
    id: String,
    name: &'static str,
    caption: String,
    heads: Vec<String>,
    rows: Vec<Vec<String>>,
}

struct Fact {
    name: &'static str,
    value: String,
    unit: &'static str,
    how: String,
}

struct SampleView {
    name: String,
    picture: String,
    shared: String,
    words: Vec<(String, String)>,
}

/// Shows the results; while sheets are out, who is missing and nothing else.
pub async fn show(who: Onlooker, site: Site, path: Path<TastingId>) -> Reply {
    let id = path.0;
    let (facts, found) = site.read(&who, move |conn, doer| find(conn, doer, id)).await?;
    let Found { table, results } = found.ok_or_else(missing)?;
    let results = results.ok_or_else(|| closed(&table))?;
    let key = table.seen_by(&who).key;
    let page = ResultsPage {
        title: table.tasting.title.clone(),
        about: about(&table, who.today()),
        question: table.tasting.question.clone(),
        says: results.says.clone(),
        picture: figures::main(&table, &results),
        key: key
            .into_iter()
            .map(|(code, sample)| (code, site.at(&format!("/bottles/{}", sample.bottling)), sample.name()))
            .collect(),
        tables: tables(&table, &results),
        facts: facts_of(&results),
        samples: samples(&table, &results),
        frame: site.frame(&who, Room::Tastings, &format!("Results, {}", table.tasting.title), facts),
        href: site.at(&format!("/tastings/{id}")),
    };
    respond::page(&page)
}

/// What is said while the key is closed.
pub(in crate::web) fn closed(table: &Table) -> Problem {
    let words = match table.tasting.state() {
        State::CalledOff => "This tasting was called off: there are no results.".to_owned(),
        State::ToCome => "This tasting has not begun: there are no results yet.".to_owned(),
        _ => {
            let missing: Vec<&str> = table.missing().into_iter().map(|seat| seat.name.as_str()).collect();
            format!("The key is closed. Waited for: {}.", missing.join(", "))
        }
    };
    Problem::new(Kind::Conflict, words)
}

fn names(table: &Table) -> Vec<String> {
    table.samples.iter().map(Sample::name).collect()
}

fn tables(table: &Table, results: &Results) -> Vec<TableView> {
    match &results.outcome {
        Outcome::Scored(scored) => {
            let mut all = vec![means(table, scored)];
            all.extend(scored.order.as_ref().ok().map(|order| sums(table, order)));
            all.push(tasters(table, scored));
            all.extend(sheets(table, scored));
            all
        }
        Outcome::Ranked(ranked) => {
            let mut all: Vec<TableView> =
                ranked.order.as_ref().ok().map(|order| sums(table, order)).into_iter().collect();
            all.push(places(table, ranked));
            all
        }
        Outcome::Chosen(chosen) => vec![who_chose(table, chosen)],
        Outcome::Words => Vec::new(),
    }
}

fn heads(first: &str, table: &Table) -> Vec<String> {
    std::iter::once(first.to_owned()).chain(names(table)).collect()
}

fn interval(mean: &Mean) -> String {
    match mean.interval {
        Some(interval) => format!("{:.1} ({:.1} to {:.1})", mean.mean, interval.low, interval.high),
        None => format!("{:.1}", mean.mean),
    }
}

fn means(table: &Table, scored: &Scored) -> TableView {
    let row = |(number, means): &(u32, Vec<Option<Mean>>)| {
        let name = table.attributes.iter().find(|line| line.number == *number).map(|line| line.name.clone());
        let cells = means.iter().map(|mean| mean.as_ref().map(interval).unwrap_or_default());
        std::iter::once(name.unwrap_or_default()).chain(cells).collect()
    };
    TableView {
        id: "means".to_owned(),
        name: "Line by line",
        caption: "Means of the panel, 0 to 10, with 95 % intervals".to_owned(),
        heads: heads("Line", table),
        rows: scored.means.iter().map(row).collect(),
    }
}

fn sums(table: &Table, order: &Order) -> TableView {
    let mut rows: Vec<(f64, Vec<String>)> = table
        .samples
        .iter()
        .zip(&order.ranking.rank_sums)
        .map(|(sample, sum)| {
            let mean = sum / f64::from(order.ranking.judges.max(1));
            (*sum, vec![sample.name(), format!("{sum:.1}"), format!("{mean:.2}")])
        })
        .collect();
    rows.sort_by(|one, other| one.0.total_cmp(&other.0));
    TableView {
        id: "sums".to_owned(),
        name: "The order",
        caption: format!(
            "Rank sums of {} tasters, the best first; two that differ by {:.1} or more are told apart, \
             if the panel agrees",
            order.ranking.judges, order.ranking.least_difference
        ),
        heads: ["Sample", "Rank sum", "Mean rank"].map(str::to_owned).into(),
        rows: rows.into_iter().map(|row| row.1).collect(),
    }
}

fn signed(value: f64) -> String {
    format!("{value:+.1}").replace('-', "−")
}

fn tasters(table: &Table, scored: &Scored) -> TableView {
    let whole = |marks: &Vec<(u32, f64)>| {
        let mark = marks.iter().find(|mark| mark.0 == crate::domain::tastings::sheet::WHOLE);
        mark.map(|mark| format!("{:.1}", mark.1)).unwrap_or_default()
    };
    let row = |taster: &crate::domain::tastings::results::TasterView| {
        let mut cells = vec![taster.name.clone()];
        cells.extend(taster.marks.iter().map(whole));
        cells.push(taster.own_mean.map(|mean| format!("{mean:.1}")).unwrap_or_default());
        cells.push(taster.above_panel.map(signed).unwrap_or_default());
        cells
    };
    let mut heads = heads("Taster", table);
    heads.extend(["Own mean", "Above the panel"].map(str::to_owned));
    TableView {
        id: "tasters".to_owned(),
        name: "Taster by taster",
        caption: "The mark of each taster for the drink as a whole".to_owned(),
        heads,
        rows: scored.tasters.iter().map(row).collect(),
    }
}

/// Every sheet in full.
fn sheets<'t>(table: &'t Table, scored: &'t Scored) -> impl Iterator<Item = TableView> + 't {
    scored.tasters.iter().enumerate().map(|(at, taster)| {
        let row = |line: &crate::domain::tastings::sheet::Attribute| {
            let mark = |marks: &Vec<(u32, f64)>| {
                let mark = marks.iter().find(|mark| mark.0 == line.number);
                mark.map(|mark| format!("{:.1}", mark.1)).unwrap_or_default()
            };
            std::iter::once(line.name.clone()).chain(taster.marks.iter().map(mark)).collect()
        };
        TableView {
            id: format!("sheet-{at}"),
            name: "",
            caption: format!("The sheet of {}", taster.name),
            heads: heads("Line", table),
            rows: table.attributes.iter().map(row).collect(),
        }
    })
}

fn places(table: &Table, ranked: &Ranked) -> TableView {
    let row = |(name, places): &(String, Vec<f64>)| {
        std::iter::once(name.clone()).chain(places.iter().map(|place| format!("{place:.0}"))).collect()
    };
    TableView {
        id: "places".to_owned(),
        name: "Taster by taster",
        caption: "The place that each taster gave; 1 is first".to_owned(),
        heads: heads("Taster", table),
        rows: ranked.rows.iter().map(row).collect(),
    }
}

fn who_chose(table: &Table, chosen: &Chosen) -> TableView {
    let row = |(_, name, code, right): &(_, String, u16, Option<bool>)| {
        let sample = table.glass(*code).and_then(|glass| table.sample_in(glass));
        let right = right.map(|right| if right { "right" } else { "not right" }.to_owned());
        let cells = [name.clone(), code.to_string(), sample.map(Sample::name).unwrap_or_default()];
        cells.into_iter().chain(right).collect()
    };
    let known = usize::from(chosen.test != crate::science::sensory::choice::Test::PairedOpen);
    let heads = ["Taster", "Glass", "What was in it", "Choice"];
    TableView {
        id: "chose".to_owned(),
        name: "Taster by taster",
        caption: "The glass that each taster chose".to_owned(),
        heads: heads[..3 + known].iter().map(|head| (*head).to_owned()).collect(),
        rows: chosen.who.iter().map(row).collect(),
    }
}

/// Chances for a table: "0.019", "below 0.001".
fn probability(p: f64) -> String {
    if p < 0.001 { "below 0.001".to_owned() } else { format!("{p:.3}") }
}

fn facts_of(results: &Results) -> Vec<Fact> {
    let order = match &results.outcome {
        Outcome::Scored(scored) => scored.order.as_ref().ok(),
        Outcome::Ranked(ranked) => ranked.order.as_ref().ok(),
        Outcome::Chosen(chosen) => return choice_facts(chosen),
        Outcome::Words => None,
    };
    let Some(Order { ranking, .. }) = order else { return Vec::new() };
    let fact = |name, value, how: &str| Fact { name, value, unit: "", how: how.to_owned() };
    vec![
        fact(
            "Agreement of the panel, Kendall’s W",
            format!("{:.2}", ranking.agreement),
            "Friedman’s statistic, ties counted, over tasters × (samples − 1): 0 for no agreement, 1 for the same \
             order from everybody (Kendall, 1939).",
        ),
        fact(
            "Friedman’s statistic, ties counted",
            format!("{:.2}", ranking.corrected),
            &format!(
                "From the rank sums (ISO 8587; Friedman, 1937), with {} degrees of freedom.",
                ranking.freedom
            ),
        ),
        fact(
            "Chance of so much agreement, if nobody sees a difference",
            probability(ranking.p),
            "By the chi-squared distribution, which is about right from a handful of tasters on.",
        ),
        fact(
            "Least difference of two rank sums",
            format!("{:.1}", ranking.least_difference),
            "1.96 × √(tasters × samples × (samples + 1) / 6): 95 times in 100 (ISO 8587).",
        ),
    ]
}

fn choice_facts(chosen: &Chosen) -> Vec<Fact> {
    let outcome = chosen.outcome;
    let sides = if chosen.test == crate::science::sensory::choice::Test::PairedOpen {
        "both tails"
    } else {
        "upper tail"
    };
    let mut facts = vec![
        Fact {
            name: "Chance of so many or more by guessing",
            value: probability(outcome.p),
            unit: "",
            how: format!("Exact binomial distribution, {sides} (ISO 4120, ISO 5495, ISO 10399)."),
        },
        Fact {
            name: "Least number that is more than chance, 5 times in 100",
            value: outcome.needed.map_or_else(|| "none".to_owned(), |needed| needed.to_string()),
            unit: "",
            how: "The smallest number that guessing reaches with a probability of at most 0.05.".to_owned(),
        },
    ];
    if chosen.test != crate::science::sensory::choice::Test::PairedOpen {
        let (share, interval) = outcome.discriminators;
        facts.push(Fact {
            name: "Share who really tell them apart",
            value: format!("{:.0} ({:.0} to {:.0})", share * 100.0, interval.low * 100.0, interval.high * 100.0),
            unit: "%",
            how: "(share of right answers − chance) / (1 − chance), from nought; exact interval of Clopper and Pearson \
                  (1934), never too narrow."
                .to_owned(),
        });
    }
    facts
}

fn samples(table: &Table, results: &Results) -> Vec<SampleView> {
    let each = |(at, sample): (usize, &Sample)| {
        let shared: Vec<String> = results
            .shared
            .iter()
            .filter(|one| one.0 == at)
            .map(|(_, word, tasters)| format!("{word} ({tasters})"))
            .collect();
        let words = results.words.iter().filter(|one| one.0 == at);
        SampleView {
            name: sample.name(),
            picture: match &results.outcome {
                Outcome::Scored(scored) => figures::lines(table, scored, at),
                _ => String::new(),
            },
            shared: shared.join(", "),
            words: words.map(|(_, name, words)| (name.clone(), words.clone())).collect(),
        }
    };
    let all = table.samples.iter().enumerate().map(each);
    all.filter(|view| !view.picture.is_empty() || !view.words.is_empty()).collect()
}

/// The results as a file: one row for each mark, place, choice or text.
pub async fn file(who: Onlooker, site: Site, path: Path<TastingId>) -> Reply {
    let (id, club) = (path.0, who.club);
    let read = site.db.read(move |conn| {
        let table = match rows::table(conn, club, id) {
            Err(Failure::Gone) => return Ok(None),
            found => found?,
        };
        Ok::<_, Failure>(Some((rows::handed_in(conn, id)?, table)))
    });
    let (sheets, table) = read.await?.ok_or_else(missing)?;
    if table.tasting.state() != State::Open {
        return Err(closed(&table));
    }
    let leaving = spreadsheet::leaving(&site, &who, "exported the results of a tasting").await?;
    let header = [
        "tasting", "day", "method", "taster", "glass", "bottling", "drink", "line", "mark", "place", "words",
    ];
    let name = format!("tasting-{}.csv", table.tasting.code);
    let lines = sheets.iter().flat_map(|sheet| lines(&table, sheet)).collect::<Vec<_>>();
    spreadsheet::csv(&leaving, &name, &header, lines)
}

fn lines(table: &Table, sheet: &Sheet) -> Vec<Vec<Cell>> {
    let mut all = Vec::new();
    for answer in &sheet.answers {
        let Some(sample) = table.glass(answer.code).and_then(|glass| table.sample_in(glass)) else {
            continue;
        };
        let row = |line: &str, mark: String, place: String, words: &str| {
            vec![
                Cell::ours(&table.tasting.code),
                Cell::ours(days::iso(table.tasting.day)),
                Cell::ours(table.tasting.method.code()),
                Cell::typed(&sheet.name),
                Cell::ours(answer.code.to_string()),
                Cell::ours(&sample.code),
                Cell::typed(&sample.drink),
                Cell::typed(line),
                Cell::ours(mark),
                Cell::ours(place),
                Cell::typed(words),
            ]
        };
        for (number, tenths) in &answer.marks {
            let line = table.attributes.iter().find(|line| line.number == *number);
            let name = line.map_or("", |line| line.name.as_str());
            all.push(row(name, number::plain(*tenths, 1), String::new(), ""));
        }
        if answer.place.is_some() || !answer.words.is_empty() {
            let place = answer.place.map(|place| place.to_string()).unwrap_or_default();
            all.push(row("", String::new(), place, &answer.words));
        }
    }
    all
}
