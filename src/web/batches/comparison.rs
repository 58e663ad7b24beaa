//! Batches side by side: supplies, course, yields, strength, cost, tastings, and what differed, the largest first.

use std::collections::{BTreeMap, BTreeSet};

use askama::Template;
use serde_json::Value;

use crate::db::batches::{self as rows, Batch, Series};
use crate::db::{AnyConn, Failure, bottles, costs, tastings};
use crate::domain::bottles::cost_per_bottle;
use crate::domain::members::{Doer, Onlooker};
use crate::domain::refusal::Refusal;
use crate::domain::stock::ItemKind;
use crate::domain::yields::Story;
use crate::domain::yields::compared::{Difference, Figure, differences, warning};
use crate::science::sensory::scores::{Mean, mean};
use crate::units::days::{self, Instant};
use crate::units::ids::BatchId;
use crate::units::measure::{Measured, ReadingKind};
use crate::units::quantity::BaseUnit;
use crate::web::extract::Query;
use crate::web::frame::Frame;
use crate::web::input::Draft;
use crate::web::pictures::{MOST_CURVES, Overlay, overlay};
use crate::web::problem::Problem;
use crate::web::respond::{self, Reply};
use crate::web::site::{Room, Site};
use crate::web::spreadsheet::{self, Cell};

/// Which batches: `batch` once for each.
#[derive(serde::Deserialize, utoipa::ToSchema)]
pub struct Which {
    /// The ids, once for each batch.
    #[schema(value_type = Option<Vec<String>>)]
    pub batch: Option<Value>,
}

/// Reads which, from a page or a program: two to eight.
pub fn read(draft: &Draft, doer: &Doer) -> Result<Vec<BatchId>, Refusal> {
    draft.read(doer, |r| {
        let ids: Vec<BatchId> = r.ids("batch", "batch");
        if !(2..=MOST_CURVES).contains(&ids.len()) {
            r.fault("batch", format!("Choose two to {MOST_CURVES} batches"));
        }
        ids
    })
}

/// A batch with all that is compared.
pub struct Side {
    /// The batch.
    pub batch: Batch,
    story: Story,
    gravities: Series,
    temperatures: Series,
    cost_a_litre: Option<f64>,
    cost_a_bottle: Option<f64>,
    /// What tasters gave it.
    pub tasted: Option<Mean>,
}

/// Loads them; none where one of them is not in the club. The number of queries does not grow with what they hold.
pub fn find(conn: &mut AnyConn, doer: &Doer, ids: &[BatchId]) -> Result<Option<Vec<Side>>, Failure> {
    let mut stories = rows::stories(conn, doer.club, ids)?;
    let mut series = rows::series(conn, ids, &[ReadingKind::Gravity, ReadingKind::Temperature])?;
    let mut found = Vec::with_capacity(ids.len());
    for id in ids {
        let batch = match rows::batch(conn, doer.club, *id) {
            Err(Failure::Gone) => return Ok(None),
            found => found?,
        };
        let mut bottlings = bottles::of_batch(conn, doer.club, *id)?;
        let costs = costs::of_bottlings(conn, &bottlings)?;
        bottlings.retain(|bottling| costs.contains_key(&bottling.entry));
        let cost =
            |one: &bottles::Bottling| costs.get(&one.entry).map(crate::domain::costs::BottlingCost::total);
        let total: crate::units::money::Money = bottlings.iter().filter_map(cost).sum();
        let bottles: i64 = bottlings.iter().map(|one| one.bottles).sum();
        let litres: f64 =
            bottlings.iter().map(|one| one.bottle_volume.base() / 1000.0 * whole(one.bottles)).sum();
        let mut marks = Vec::new();
        for bottling in &bottlings {
            let sittings = tastings::sittings(conn, doer.club, bottling.id)?;
            marks.extend(sittings.iter().flat_map(|sitting| sitting.marks.iter().map(|mark| mark.1)));
        }
        let mut of = |kind| series.remove(&(*id, kind)).unwrap_or_default();
        found.push(Side {
            story: stories.remove(id).unwrap_or_default(),
            gravities: of(ReadingKind::Gravity),
            temperatures: of(ReadingKind::Temperature),
            cost_a_litre: (litres > 0.0).then(|| whole(total.micros()) / 1e6 / litres),
            cost_a_bottle: (bottles > 0).then(|| whole(cost_per_bottle(total, bottles).micros()) / 1e6),
            tasted: mean(&marks).ok(),
            batch,
        });
    }
    Ok(Some(found))
}

#[allow(clippy::cast_precision_loss, reason = "amounts of a batch are far below 2^52")]
fn whole(number: i64) -> f64 {
    number as f64
}

/// Days since the first reading.
fn day(start: Instant, at: Instant) -> f64 {
    whole((at - start).num_seconds()) / 86_400.0
}

impl Side {
    fn base_litres(&self) -> f64 {
        let must = self.story.own_must().base() / 1000.0;
        if must > 0.0 { must } else { self.batch.base_volume.map_or(0.0, |volume| volume.base() / 1000.0) }
    }

    /// When its days are counted from: its yeast, or its first reading.
    fn start(&self, doer: &Doer) -> Option<Instant> {
        let pitched = self.batch.pitched_on.map(|day| days::begin(day, doer.zone));
        pitched.or_else(|| self.gravities.first().map(|read| read.0))
    }

    /// The day on which nine tenths of its fall were behind it.
    fn ninety(&self, doer: &Doer) -> Option<f64> {
        let (first, last) = (self.gravities.first()?.1.number(), self.gravities.last()?.1.number());
        let aim = first - 0.9 * (first - last);
        let there =
            self.gravities.iter().find(|read| read.1.number() <= aim).filter(|_| first - last > 0.01)?;
        Some(day(self.start(doer)?, there.0))
    }

    fn warmth(&self) -> Option<f64> {
        let count = self.temperatures.len();
        let sum: f64 = self.temperatures.iter().map(|read| read.1.number()).sum();
        (count > 0).then(|| sum / whole(i64::try_from(count).unwrap_or(1)))
    }
}

/// The figures of these batches.
pub fn figures(sides: &[Side], doer: &Doer) -> Vec<Figure> {
    let mut found = supplies(sides);
    let mut put = |group, name: &str, unit, places, same_within, value: &dyn Fn(&Side) -> Option<f64>| {
        let values: Vec<Option<f64>> = sides.iter().map(value).collect();
        if values.iter().any(Option::is_some) {
            found.push(Figure { group, name: name.to_owned(), unit, places, same_within, values });
        }
    };
    let sg = |read: Option<&(Instant, Measured)>| read.map(|read| read.1.number());
    put("Course", "First gravity", "SG", 4, 0.001, &|side| sg(side.gravities.first()));
    put("Course", "Last gravity", "SG", 4, 0.001, &|side| sg(side.gravities.last()));
    put("Course", "Nine tenths of the fall done on day", "", 1, 0.5, &|side| side.ninety(doer));
    put("Course", "Mean temperature", "°C", 1, 0.5, &Side::warmth);
    put("Result", "Strength, about", "% vol", 1, 0.3, &|side| {
        side.story.strength().ok().map(|one| one.vol_percent)
    });
    let names: BTreeSet<String> =
        sides.iter().flat_map(|side| side.story.recoveries()).map(|recovery| recovery.name).collect();
    for name in names {
        put("Yields", &name, "%", 1, 0.5, &|side| {
            side.story.recoveries().into_iter().find(|one| one.name == name).map(|one| one.percent)
        });
    }
    put("Result", "Cost a litre, bottled", "", 2, 0.01, &|side| side.cost_a_litre);
    put("Result", "Cost a bottle", "", 2, 0.01, &|side| side.cost_a_bottle);
    put("Result", "Tasted, mean of 0 to 10", "", 1, 0.05, &|side| side.tasted.map(|mean| mean.mean));
    found
}

/// What was drawn for a litre of the must, supply by supply.
fn supplies(sides: &[Side]) -> Vec<Figure> {
    let mut found: BTreeMap<(String, &'static str), Vec<Option<f64>>> = BTreeMap::new();
    for (at, side) in sides.iter().enumerate() {
        let litres = side.base_litres();
        for used in side.story.supplies.iter().filter(|used| used.item.kind != ItemKind::Packaging) {
            let unit = match used.item.unit {
                BaseUnit::Gram => "g/L",
                BaseUnit::Millilitre => "mL/L",
                BaseUnit::Piece => "a litre",
            };
            let values =
                found.entry((used.item.name.clone(), unit)).or_insert_with(|| vec![None; sides.len()]);
            values[at] = (litres > 0.0).then(|| used.quantity.base() / litres);
        }
    }
    let figure = |((name, unit), values): ((String, &'static str), Vec<Option<f64>>)| {
        // What one of them had none of is a difference, too.
        let values: Vec<_> = values
            .iter()
            .zip(sides)
            .map(|(value, side)| value.or((side.base_litres() > 0.0).then_some(0.0)))
            .collect();
        let most = values.iter().flatten().copied().fold(0.0, f64::max);
        let places = if most < 1.0 { 3 } else { usize::from(most < 100.0) };
        Figure { group: "Supplies", name, unit, places, same_within: most * 0.02, values }
    };
    found.into_iter().map(figure).collect()
}

/// A comparison as the page, the file and the API show it.
pub struct Comparison {
    /// The batches, in the order in which they were asked for.
    pub sides: Vec<Side>,
    /// Their figures.
    pub figures: Vec<Figure>,
    /// What differed, the largest first.
    pub differences: Vec<Difference>,
}

/// Works it out.
pub fn compare(sides: Vec<Side>, doer: &Doer) -> Comparison {
    let figures = figures(&sides, doer);
    let codes: Vec<String> = sides.iter().map(|side| side.batch.code.clone()).collect();
    Comparison { differences: differences(&figures, &codes), figures, sides }
}

#[derive(Template)]
#[template(path = "batches/comparison.html")]
struct ComparisonPage {
    frame: Frame,
    wrong: Option<String>,
    choices: Vec<(String, String, bool)>,
    heads: Vec<(String, String, String)>,
    warning: &'static str,
    differences: Vec<String>,
    picture: String,
    groups: Vec<GroupRows>,
    csv: String,
}

/// Differences that are told in sentences.
const TOLD: usize = 8;
/// Batches that are offered to be ticked.
const OFFERED: i64 = 40;

/// Shows the comparison, or the batches to choose from.
pub async fn show(who: Onlooker, site: Site, query: Query<Which>) -> Reply {
    let asked = !query.draft.fields().is_empty();
    let (ids, wrong) = match read(&query.draft, &who) {
        Ok(ids) => (ids, None),
        Err(refusal) => (Vec::new(), asked.then(|| refusal.to_string())),
    };
    let wanted = ids.clone();
    let read = site.read(&who, move |conn, doer| {
        let offered = rows::batches(conn, doer.club, &[], None, OFFERED)?;
        let sides = if wanted.is_empty() { Some(Vec::new()) } else { find(conn, doer, &wanted)? };
        Ok((offered, sides))
    });
    let (facts, (offered, sides)) = read.await?;
    let found = compare(sides.ok_or_else(|| Problem::missing("batch"))?, &who);
    let choice = |batch: &Batch| {
        let says = format!("Batch {}, {}, {}", batch.code, batch.name, batch.stage.label());
        (batch.id.to_string(), says, ids.contains(&batch.id))
    };
    let address: Vec<String> = ids.iter().map(|id| format!("batch={id}")).collect();
    let page = ComparisonPage {
        wrong,
        choices: offered.iter().map(choice).collect(),
        heads: (found.sides.iter())
            .map(|side| {
                let href = site.at(&format!("/batches/{}", side.batch.id));
                (href, side.batch.code.clone(), side.batch.name.clone())
            })
            .collect(),
        warning: warning(found.sides.len()),
        differences: found.differences.iter().take(TOLD).map(|one| one.says.clone()).collect(),
        picture: picture(&found.sides, &who),
        groups: groups(&found),
        csv: site.at(&format!("/batches/comparison.csv?{}", address.join("&"))),
        frame: site.frame(&who, Room::Batches, "Batches side by side", facts),
    };
    respond::page(&page)
}

/// A row of the tables: the figure, and each batch with its number.
type FigureRow = (String, Vec<(String, String)>);
/// A table: its name and rows.
type GroupRows = (&'static str, Vec<FigureRow>);

/// The tables: a row for each figure, a cell for each batch, with its number for a narrow page.
fn groups(found: &Comparison) -> Vec<GroupRows> {
    let mut groups: Vec<GroupRows> = Vec::new();
    for figure in &found.figures {
        let cell = |(side, value): (&Side, &Option<f64>)| {
            let shown = value.map_or_else(|| "not known".to_owned(), |value| figure.shown(value));
            let shown = match side.tasted.filter(|_| figure.name.starts_with("Tasted")) {
                Some(Mean { interval: Some(within), of, .. }) => {
                    format!("{shown} ({:.1} to {:.1}, {of} marks)", within.low, within.high)
                }
                Some(Mean { of, .. }) => format!("{shown} ({of} mark)"),
                None => shown,
            };
            (side.batch.code.clone(), shown)
        };
        let cells = found.sides.iter().zip(&figure.values).map(cell).collect();
        match groups.iter_mut().find(|group| group.0 == figure.group) {
            Some(group) => group.1.push((figure.name.clone(), cells)),
            None => groups.push((figure.group, vec![(figure.name.clone(), cells)])),
        }
    }
    groups
}

fn picture(sides: &[Side], doer: &Doer) -> String {
    let curve = |side: &Side| {
        let start = side.start(doer).unwrap_or_default();
        let points = side.gravities.iter().map(|(at, value)| (day(start, *at), value.number()));
        (side.batch.code.clone(), points.filter(|point| point.0 >= -1.0).collect())
    };
    let curves: Vec<_> = sides.iter().map(curve).collect();
    overlay(&Overlay {
        id: "gravities",
        title: "Gravity by the day since the yeast was pitched",
        caption: "Each line is a batch, named at its end by its number. The tables below hold the figures.",
        unit: "SG",
        curves,
    })
}

/// The figures as a file: a row for each, a column for each batch.
pub async fn file(who: Onlooker, site: Site, query: Query<Which>) -> Reply {
    let ids = read(&query.draft, &who)?;
    let (_, sides) = site.read(&who, move |conn, doer| find(conn, doer, &ids)).await?;
    let found = compare(sides.ok_or_else(|| Problem::missing("batch"))?, &who);
    let header = ["group", "figure", "unit", "batch", "drink", "value"];
    let row = |figure: &Figure| {
        let cells = found.sides.iter().zip(&figure.values).map(|(side, value)| {
            vec![
                Cell::ours(figure.group),
                Cell::typed(&figure.name),
                Cell::ours(figure.unit),
                Cell::ours(&side.batch.code),
                Cell::typed(&side.batch.name),
                Cell::ours(value.map(|value| format!("{value:.*}", figure.places + 2)).unwrap_or_default()),
            ]
        });
        cells.collect::<Vec<_>>()
    };
    let lines: Vec<Vec<Cell>> = found.figures.iter().flat_map(row).collect();
    let codes: Vec<&str> = found.sides.iter().map(|side| side.batch.code.as_str()).collect();
    let said = format!("exported the comparison of batches {}", codes.join(", "));
    let leaving = spreadsheet::leaving(&site, &who, &said).await?;
    spreadsheet::csv(&leaving, &format!("batches-{}.csv", codes.join("-")), &header, lines)
}
