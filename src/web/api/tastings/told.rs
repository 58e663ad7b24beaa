//! What came of a tasting, and a bottling over time.

use serde::Serialize;
use utoipa::ToSchema;

use crate::domain::tastings::ageing::{Ageing, Basis};
use crate::domain::tastings::results::{Chosen, Order, Outcome, Results, Scored};
use crate::domain::tastings::{Sample, State, Table};
use crate::science::sensory::Interval;
use crate::science::sensory::scores::Mean;
use crate::units::days;
use crate::web::tastings::ageing::Told;

/// A mean with its uncertainty.
#[derive(Serialize, ToSchema)]
pub struct MeanBody {
    /// The bottling.
    pub bottling: String,
    /// The number of the line; 0 for the drink as a whole.
    pub line: u32,
    /// The mean, 0 to 10.
    pub mean: f64,
    /// Of how many marks.
    pub of: u32,
    /// The lower bound of the 95 % interval; null for a single mark.
    pub low: Option<f64>,
    /// The upper bound.
    pub high: Option<f64>,
}

fn mean_body(bottling: String, line: u32, mean: &Mean) -> MeanBody {
    MeanBody {
        bottling,
        line,
        mean: mean.mean,
        of: mean.of,
        low: mean.interval.map(|interval| interval.low),
        high: mean.interval.map(|interval| interval.high),
    }
}

/// A rank sum.
#[derive(Serialize, ToSchema)]
pub struct RankSum {
    /// The bottling.
    pub bottling: String,
    /// The sum of its ranks; small is first.
    pub rank_sum: f64,
}

/// Two bottlings.
#[derive(Serialize, ToSchema)]
pub struct Pair {
    /// The one that is before.
    pub before: String,
    /// The other.
    pub after: String,
}

/// The order of the panel.
#[derive(Serialize, ToSchema)]
pub struct OrderBody {
    /// How many tasters.
    pub tasters: u32,
    /// Rank sums, in the order of the samples.
    pub rank_sums: Vec<RankSum>,
    /// Friedman's statistic, ties counted.
    pub friedman: f64,
    /// How likely so much agreement is by chance.
    pub p: f64,
    /// Kendall's W, 0 to 1.
    pub agreement: f64,
    /// Rank sums that differ by this or more are told apart.
    pub least_difference: f64,
    /// What is told apart.
    pub apart: Vec<Pair>,
}

fn order_body(table: &Table, order: &Order) -> OrderBody {
    let bottling =
        |at: usize| table.samples.get(at).map(|sample| sample.bottling.to_string()).unwrap_or_default();
    let sums = order.ranking.rank_sums.iter().enumerate();
    OrderBody {
        tasters: order.ranking.judges,
        rank_sums: sums.map(|(at, sum)| RankSum { bottling: bottling(at), rank_sum: *sum }).collect(),
        friedman: order.ranking.corrected,
        p: order.ranking.p,
        agreement: order.ranking.agreement,
        least_difference: order.ranking.least_difference,
        apart: order
            .apart
            .iter()
            .map(|(one, other)| Pair { before: bottling(*one), after: bottling(*other) })
            .collect(),
    }
}

/// Choices against chance.
#[derive(Serialize, ToSchema)]
pub struct ChoiceBody {
    /// Right answers; in a pair without a right one, the answers for what was named more often.
    pub chosen: u32,
    /// Answers in all.
    pub of: u32,
    /// How likely so many or more are by guessing.
    pub p: f64,
    /// The least number that is more than chance, 5 times in 100; null where even all would not do.
    pub needed: Option<u32>,
    /// The share who really tell them apart; null in a pair without a right answer.
    pub discriminators: Option<Share>,
}

/// A share with its 95 % interval.
#[derive(Serialize, ToSchema)]
pub struct Share {
    /// From 0 to 1.
    pub value: f64,
    /// Lower bound.
    pub low: f64,
    /// Upper bound.
    pub high: f64,
}

fn choice_body(chosen: &Chosen) -> ChoiceBody {
    let (share, Interval { low, high }) = chosen.outcome.discriminators;
    let open = chosen.test == crate::science::sensory::choice::Test::PairedOpen;
    ChoiceBody {
        chosen: chosen.outcome.chosen,
        of: chosen.outcome.of,
        p: chosen.outcome.p,
        needed: chosen.outcome.needed,
        discriminators: (!open).then_some(Share { value: share, low, high }),
    }
}

/// What one taster gave a glass.
#[derive(Serialize, ToSchema)]
pub struct TasterView {
    /// Their name.
    pub name: String,
    /// The mean of their marks for the drink as a whole.
    pub own_mean: Option<f64>,
    /// How much that is above (+) or below (−) the panel.
    pub above_panel: Option<f64>,
}

/// What was written of a bottling.
#[derive(Serialize, ToSchema)]
pub struct Written {
    /// The bottling.
    pub bottling: String,
    /// By whom.
    pub taster: String,
    /// The words.
    pub words: String,
}

/// What came of a tasting.
#[derive(Serialize, ToSchema)]
#[schema(as = TastingResults)]
pub struct ResultsBody {
    /// The key is open; until then only `missing` is filled.
    pub open: bool,
    /// The names of those whose sheets are waited for.
    pub missing: Vec<String>,
    /// How many sheets count.
    pub counted: u32,
    /// What it shows, and what it does not, sentence by sentence.
    pub says: Vec<String>,
    /// Means, where glasses were marked on lines.
    pub means: Vec<MeanBody>,
    /// How each taster marked, where glasses were marked on lines.
    pub tasters: Vec<TasterView>,
    /// The order of the panel, where there is one.
    pub order: Option<OrderBody>,
    /// Choices, where one glass was chosen.
    pub choice: Option<ChoiceBody>,
    /// What was written.
    pub words: Vec<Written>,
}

impl ResultsBody {
    /// What may be told.
    pub fn of(table: &Table, results: Option<&Results>) -> Self {
        let missing = match table.tasting.state() {
            State::AtTheTable => table.missing().into_iter().map(|seat| seat.name.clone()).collect(),
            _ => Vec::new(),
        };
        let mut body = Self {
            open: results.is_some(),
            missing,
            counted: 0,
            says: Vec::new(),
            means: Vec::new(),
            tasters: Vec::new(),
            order: None,
            choice: None,
            words: Vec::new(),
        };
        let Some(results) = results else { return body };
        body.counted = results.counted;
        body.says.clone_from(&results.says);
        body.words = results
            .words
            .iter()
            .filter_map(|(at, taster, words)| {
                let bottling = table.samples.get(*at)?.bottling.to_string();
                Some(Written { bottling, taster: taster.clone(), words: words.clone() })
            })
            .collect();
        match &results.outcome {
            Outcome::Scored(scored) => body.scored(table, scored),
            Outcome::Ranked(ranked) => {
                body.order = ranked.order.as_ref().ok().map(|order| order_body(table, order));
            }
            Outcome::Chosen(chosen) => body.choice = Some(choice_body(chosen)),
            Outcome::Words => {}
        }
        body
    }

    fn scored(&mut self, table: &Table, scored: &Scored) {
        for (line, means) in &scored.means {
            let each = table.samples.iter().zip(means);
            self.means.extend(each.filter_map(|(sample, mean): (&Sample, _)| {
                Some(mean_body(sample.bottling.to_string(), *line, mean.as_ref()?))
            }));
        }
        self.order = scored.order.as_ref().ok().map(|order| order_body(table, order));
        self.tasters = scored
            .tasters
            .iter()
            .map(|taster| TasterView {
                name: taster.name.clone(),
                own_mean: taster.own_mean,
                above_panel: taster.above_panel,
            })
            .collect();
    }
}

/// A tasting at which a bottling was poured.
#[derive(Serialize, ToSchema)]
pub struct Appearance {
    /// Which.
    pub tasting: String,
    /// Its number.
    pub code: String,
    /// What the club calls it.
    pub title: String,
    /// When.
    pub day: String,
    /// scored, ranking, triangle, paired, duo-trio or words.
    pub method: String,
    /// to-come, at-the-table or open.
    pub state: String,
}

/// A mark at an age.
#[derive(Serialize, ToSchema)]
pub struct AgePoint {
    /// At which tasting.
    pub tasting: String,
    /// How old the bottling was.
    pub age_days: i64,
    /// The mean, 0 to 10.
    pub mean: f64,
    /// Of how many marks.
    pub of: u32,
    /// The lower bound of the 95 % interval; null for a single mark.
    pub low: Option<f64>,
    /// The upper bound.
    pub high: Option<f64>,
}

/// A line through marks over time.
#[derive(Serialize, ToSchema)]
pub struct TrendBody {
    /// Marks a year.
    pub marks_a_year: f64,
    /// The lower bound of its 95 % interval.
    pub low: f64,
    /// The upper bound.
    pub high: f64,
    /// `within-tasters`: from tasters who came more than once, each against their own mean; or `means`.
    pub basis: String,
}

/// What is proposed.
#[derive(Serialize, ToSchema)]
pub struct ProposalBody {
    /// Drink it soon; otherwise keep it.
    pub drink_soon: bool,
    /// The age at which it should be tasted next.
    pub next_age_days: i64,
    /// That age is set already.
    pub is_set: bool,
    /// Why.
    pub because: String,
}

/// A bottling over time.
#[derive(Serialize, ToSchema)]
pub struct AgeingBody {
    /// too-few, better, worse or unclear.
    pub verdict: String,
    /// What it shows, and what it does not.
    pub says: Vec<String>,
    /// Its marks, the youngest age first.
    pub points: Vec<AgePoint>,
    /// The trend, where there is enough to speak of one.
    pub trend: Option<TrendBody>,
    /// What is proposed.
    pub proposal: ProposalBody,
}

/// The tastings of a bottling, and what they say of its age.
#[derive(Serialize, ToSchema)]
pub struct BottlingTastings {
    /// Those that may be told of, the latest first.
    pub tastings: Vec<Appearance>,
    /// Its marks over time; null where it was never marked.
    pub ageing: Option<AgeingBody>,
}

impl From<Told> for BottlingTastings {
    fn from(told: Told) -> Self {
        let appearance = |one: crate::db::tastings::Appearance| Appearance {
            tasting: one.tasting.to_string(),
            code: one.code,
            title: one.title,
            day: days::iso(one.day),
            method: one.method.code().to_owned(),
            state: one.state.code().to_owned(),
        };
        Self {
            tastings: told.tastings.into_iter().map(appearance).collect(),
            ageing: told.ageing.map(AgeingBody::from),
        }
    }
}

impl From<Ageing> for AgeingBody {
    fn from(ageing: Ageing) -> Self {
        let points = ageing.points.iter().map(|point| AgePoint {
            tasting: point.tasting.to_string(),
            age_days: point.age_days,
            mean: point.mean.mean,
            of: point.mean.of,
            low: point.mean.interval.map(|interval| interval.low),
            high: point.mean.interval.map(|interval| interval.high),
        });
        Self {
            points: points.collect(),
            trend: ageing.trend.map(|(trend, basis)| TrendBody {
                marks_a_year: trend.slope.0,
                low: trend.slope.1.low,
                high: trend.slope.1.high,
                basis: match basis {
                    Basis::Within(_) => "within-tasters".to_owned(),
                    Basis::Means => "means".to_owned(),
                },
            }),
            verdict: ageing.verdict.code().to_owned(),
            says: ageing.says,
            proposal: ProposalBody {
                drink_soon: ageing.proposal.drink_soon,
                next_age_days: ageing.proposal.next_age_days,
                is_set: ageing.proposal.is_set,
                because: ageing.proposal.because,
            },
        }
    }
}
