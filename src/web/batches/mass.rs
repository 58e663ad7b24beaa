//! Where the mass of a batch went, and how well each step yielded.

use askama::Template;

use crate::db::batches::{self as rows, Batch};
use crate::db::{AnyConn, Failure};
use crate::domain::members::{Doer, Onlooker};
use crate::domain::yields::{Balance, Part, Recovery};
use crate::units::ids::BatchId;
use crate::web::extract::Path;
use crate::web::frame::Frame;
use crate::web::pictures::{Flow, Node, flow};
use crate::web::problem::Problem;
use crate::web::respond::{self, Reply};
use crate::web::site::{Room, Site};
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
    basis: String,
}

/// The batch with its mass balance and recoveries.
pub type Yield = (Batch, Balance, Vec<Recovery>);

/// Loads a batch's mass balance; `None` where there is no such batch.
pub fn find(conn: &mut AnyConn, doer: &Doer, id: BatchId) -> Result<Option<Yield>, Failure> {
    match rows::batch(conn, doer.club, id) {
        Err(Failure::Gone) => Ok(None),
        found => {
            let story = rows::story(conn, doer.club, id)?;
            Ok(Some((found?, story.balance(), story.recoveries())))
        }
    }
}

/// Shows where the mass went.
pub async fn show(who: Onlooker, site: Site, path: Path<BatchId>) -> Reply {
    let (facts, found) = site.read(&who, move |conn, doer| find(conn, doer, path.0)).await?;
    let (batch, balance, recoveries) = found.ok_or_else(|| Problem::missing("batch"))?;
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
        recoveries: recoveries.iter().map(recovery).collect(),
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

fn recovery(recovery: &Recovery) -> RecoveryRow {
    RecoveryRow {
        name: recovery.name.clone(),
        percent: format!("{:.1}", recovery.percent),
        expected: recovery.expected.map(|(low, high)| format!("{low:.0} to {high:.0}")).unwrap_or_default(),
        basis: recovery.basis.clone(),
    }
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
