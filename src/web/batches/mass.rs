//! Where the mass of a batch went, and how well each step yielded.

use std::collections::HashMap;

use askama::Template;

use crate::db::batches::{self as rows, Batch};
use crate::db::{AnyConn, Failure, recipes};
use crate::domain::members::{Doer, Onlooker};
use crate::domain::yields::compared::{Usual, usual};
use crate::domain::yields::{Balance, Part, Recovery};
use crate::units::ids::BatchId;
use crate::web::extract::Path;
use crate::web::frame::Frame;
use crate::web::pictures::{Flow, Node, flow};
use crate::web::problem::Problem;
use crate::web::respond::{self, Reply};
use crate::web::site::{Room, Site};
use crate::web::spreadsheet::{self, Cell};
use crate::web::words;

#[derive(Template)]
#[template(path = "batches/mass.html")]
struct MassPage {
    frame: Frame,
    batch: Batch,
    up: String,
    lead: String,
    picture: String,
    ins: Vec<Row>,
    outs: Vec<Row>,
    total: String,
    unaccounted: String,
    share: String,
    recoveries: Vec<RecoveryRow>,
    others: &'static str,
    csv: String,
}

struct Row {
    name: String,
    about: bool,
    mass: String,
    share: String,
}

struct RecoveryRow {
    name: String,
    percent: String,
    expected: String,
    usual: String,
    basis: String,
}

/// The batch with its mass balance and recoveries, and what others of its kind gave.
pub type Yield = (Batch, Balance, Vec<Recovery>, Others);

/// What the club’s other batches gave: of what kind they are, and what is usual of each recovery.
#[derive(Debug, Clone, Default)]
pub struct Others {
    /// "of this recipe", or "of this drink".
    pub kind: &'static str,
    /// By the name of the recovery.
    pub usual: HashMap<String, Usual>,
}

/// Others that are looked at: the latest.
const OTHERS: i64 = 50;

fn others(conn: &mut AnyConn, doer: &Doer, batch: &Batch) -> Result<Others, Failure> {
    let recipe = recipes::followed_by(conn, doer.club, batch.id)?;
    let revisions = match &recipe {
        Some(followed) => recipes::revision_ids(conn, doer.club, followed.recipe)?,
        None => Vec::new(),
    };
    let mut ids = rows::alike(conn, doer.club, &batch.name, &revisions, OTHERS + 1)?;
    ids.retain(|id| *id != batch.id);
    let mut found: HashMap<String, Vec<f64>> = HashMap::new();
    for story in rows::stories(conn, doer.club, &ids)?.values().filter(|story| !story.under_way) {
        for recovery in story.recoveries() {
            found.entry(recovery.name).or_default().push(recovery.percent);
        }
    }
    let usual = found.into_iter().filter_map(|(name, values)| Some((name, usual(&values)?))).collect();
    Ok(Others { kind: if revisions.is_empty() { "of this drink" } else { "of this recipe" }, usual })
}

/// Loads a batch's mass balance; `None` where there is no such batch.
pub fn find(conn: &mut AnyConn, doer: &Doer, id: BatchId) -> Result<Option<Yield>, Failure> {
    match rows::batch(conn, doer.club, id) {
        Err(Failure::Gone) => Ok(None),
        found => {
            let (batch, story) = (found?, rows::story(conn, doer.club, id)?);
            let others = others(conn, doer, &batch)?;
            Ok(Some((batch, story.balance(), story.recoveries(), others)))
        }
    }
}

/// Shows where the mass went.
pub async fn show(who: Onlooker, site: Site, path: Path<BatchId>) -> Reply {
    let (facts, found) = site.read(&who, move |conn, doer| find(conn, doer, path.0)).await?;
    let (batch, balance, recoveries, others) = found.ok_or_else(|| Problem::missing("batch"))?;
    let total = balance.total_g();
    let missing = if total > 0.0 { 100.0 * balance.unaccounted_g / total } else { 0.0 };
    let page = MassPage {
        up: site.at(&format!("/batches/{}", batch.id)),
        lead: lead(&balance),
        picture: picture(&batch, &balance),
        ins: balance.ins.iter().map(|part| row(part, total)).collect(),
        outs: balance.outs.iter().map(|part| row(part, total)).collect(),
        total: words::mass(total),
        unaccounted: words::mass(balance.unaccounted_g).replace('-', "− "),
        share: format!("{missing:.1}").replace('-', "− "),
        recoveries: recoveries.iter().map(|one| recovery(one, &others)).collect(),
        others: others.kind,
        csv: site.at(&format!("/batches/{}/yield.csv", batch.id)),
        frame: site.frame(
            &who,
            Room::Batches,
            &format!("Where the mass of batch {} went", batch.code),
            facts,
        ),
        batch,
    };
    respond::page(&page)
}

fn lead(balance: &Balance) -> String {
    let total = balance.total_g();
    if total <= 0.0 {
        return "Nothing that has a mass has been drawn into it yet.".to_owned();
    }
    let largest = balance.outs.iter().max_by(|a, b| a.grams.total_cmp(&b.grams));
    let largest =
        largest.map(|part| format!(" The largest part is {}: {}.", part.name, words::mass(part.grams)));
    let missing = balance.unaccounted_g;
    let missing = if missing.abs() < total * 0.02 {
        " Nearly all of it is accounted for.".to_owned()
    } else if missing > 0.0 {
        format!(" {} of it is not accounted for.", words::mass(missing))
    } else {
        format!(
            " More came out than went in, by {}: look at the volumes that were measured.",
            words::mass(-missing)
        )
    };
    format!("{} went in.{}{missing}", words::mass(total), largest.unwrap_or_default())
}

fn row(part: &Part, total: f64) -> Row {
    Row {
        name: words::capital(&part.name),
        about: part.about,
        mass: words::mass(part.grams),
        share: if total > 0.0 { format!("{:.1}", 100.0 * part.grams / total) } else { String::new() },
    }
}

fn recovery(recovery: &Recovery, others: &Others) -> RecoveryRow {
    let usual = others.usual.get(&recovery.name).map(|usual| match usual.of {
        1 => format!("{:.1} (one batch)", usual.median),
        of => format!("{:.1} ({:.1} to {:.1}, {of} batches)", usual.median, usual.low, usual.high),
    });
    RecoveryRow {
        name: recovery.name.clone(),
        percent: format!("{:.1}", recovery.percent),
        expected: recovery.expected.map(|(low, high)| format!("{low:.0} to {high:.0}")).unwrap_or_default(),
        usual: usual.unwrap_or_else(|| "no other yet".to_owned()),
        basis: recovery.basis.clone(),
    }
}

/// The balance and the recoveries as a file.
pub async fn file(who: Onlooker, site: Site, path: Path<BatchId>) -> Reply {
    let (_, found) = site.read(&who, move |conn, doer| find(conn, doer, path.0)).await?;
    let (batch, balance, recoveries, _) = found.ok_or_else(|| Problem::missing("batch"))?;
    let whole = balance.whole();
    let line = |side: &str, name: &str, value: String, unit: &str, about: bool| {
        vec![
            Cell::ours(&batch.code),
            Cell::ours(side),
            Cell::typed(name),
            Cell::ours(value),
            Cell::ours(unit),
            Cell::ours(if about { "about" } else { "" }),
        ]
    };
    let ins = whole.ins.iter().map(|(name, grams, about)| line("in", name, grams.to_string(), "g", *about));
    let outs =
        whole.outs.iter().map(|(name, grams, about)| line("out", name, grams.to_string(), "g", *about));
    let rest = line("unaccounted", "not accounted for", whole.unaccounted.to_string(), "g", false);
    let yields =
        recoveries.iter().map(|one| line("recovery", &one.name, format!("{:.2}", one.percent), "%", true));
    let rows: Vec<Vec<Cell>> = ins.chain(outs).chain([rest]).chain(yields).collect();
    let leaving =
        spreadsheet::leaving(&site, &who, &format!("exported the yield of batch {}", batch.code)).await?;
    let header = ["batch", "side", "what", "value", "unit", "about"];
    spreadsheet::csv(&leaving, &format!("yield-{}.csv", batch.code), &header, rows)
}

/// Whole grams, so that heights in the picture are exact.
#[allow(clippy::cast_possible_truncation, reason = "masses of a batch are far below 2^52 g")]
fn whole(grams: f64) -> i64 {
    grams.round() as i64
}

/// Names that fit beside a ribbon on a phone; the table has them whole.
fn in_the_picture(name: &str) -> String {
    match name {
        "drink in bottles" => "In bottles".to_owned(),
        "drink in bulk" => "In bulk".to_owned(),
        "lees, samples and losses" => "Lees, losses".to_owned(),
        "water boiled off" => "Boiled off".to_owned(),
        "to other batches" => "Moved on".to_owned(),
        "from other batches" => "Moved in".to_owned(),
        other => words::capital(other),
    }
}

fn picture(batch: &Batch, balance: &Balance) -> String {
    let node = |part: &Part| Node::new(in_the_picture(&part.name), whole(part.grams));
    let mut outputs: Vec<Node> =
        balance.outs.iter().filter(|part| !part.name.starts_with("drink")).map(node).collect();
    let (ins, outs) =
        (whole(balance.total_g()), balance.outs.iter().map(|part| whole(part.grams)).sum::<i64>());
    if ins > outs {
        outputs.push(Node::new("Missing", ins - outs));
    }
    outputs.extend(balance.outs.iter().filter(|part| part.name.starts_with("drink")).map(node));
    let mut inputs: Vec<Node> = balance.ins.iter().map(node).collect();
    if outs > ins {
        inputs.push(Node::new("Too much", outs - ins));
    }
    let caption =
        format!("{} The heights are masses; the table below holds the same numbers.", lead(balance));
    #[allow(clippy::cast_precision_loss, reason = "masses of a batch are far below 2^52 g")]
    flow(&Flow {
        id: "mass",
        title: &format!("Where the mass of batch {} went", batch.code),
        caption: &caption,
        heads: ["drawn", "in the batch", "became"],
        inputs: &inputs,
        straight: &[],
        outputs: &outputs,
        text: &|grams| words::mass(grams as f64),
    })
}
