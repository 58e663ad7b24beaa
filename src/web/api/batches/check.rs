//! What to know before a batch is bottled: the cautions that stand before the button, for programs.

use serde::Serialize;
use utoipa::ToSchema;

use crate::db::{AnyConn, Failure, batches, cautions as known, stock};
use crate::domain::bottles::to_fill;
use crate::domain::cautions::{Caution, Doing, cautions, field};
use crate::domain::members::{Doer, Onlooker};
use crate::domain::refusal::Refusal;
use crate::units::ids::{BatchId, ItemId};
use crate::units::quantity::Milli;
use crate::web::extract::{Path, Query};
use crate::web::problem::Problem;
use crate::web::respond::Answer;
use crate::web::site::Site;

/// Into what it is to be filled.
#[derive(serde::Deserialize, ToSchema)]
pub struct Bottles {
    /// What one bottle holds, such as `75 cl`, which is taken where it is left out.
    pub bottle_volume: Option<String>,
    /// The item of the bottles; taken as not made for pressure where it is left out.
    pub item: Option<String>,
}

/// Something to know before the bottles are filled.
#[derive(Serialize, ToSchema)]
pub struct CheckLine {
    /// The rule, such as `unfinished`, `pressure`, `acid`.
    pub rule: String,
    /// What it says.
    pub title: String,
    /// What to do and what to leave, and from what that follows.
    pub points: Vec<String>,
    /// What happens otherwise, or how the figure was worked out.
    pub why: String,
    /// From where that is known.
    pub source: String,
    /// It is dangerous: bottling is refused unless this field holds the reason for going on.
    pub reason_in: Option<String>,
}

/// All that is to be known, the dangerous first.
#[derive(Serialize, ToSchema)]
pub struct CheckBody {
    /// Bottling is refused unless a reason is given for each dangerous line.
    pub refused: bool,
    /// What is to be known.
    pub lines: Vec<CheckLine>,
}

fn line(caution: Caution) -> CheckLine {
    CheckLine {
        rule: caution.rule.code().to_owned(),
        reason_in: caution.needs_reason.then(|| field(caution.rule)),
        title: caution.title,
        points: caution.points,
        why: caution.why,
        source: caution.source.to_owned(),
    }
}

fn found(
    conn: &mut AnyConn,
    doer: &Doer,
    id: BatchId,
    (volume, item): (Option<Milli>, Option<ItemId>),
) -> Result<CheckBody, Failure> {
    batches::batch(conn, doer.club, id)?;
    let mut facts = known::facts(conn, doer, id)?;
    known::before_bottling(conn, doer, id, &mut facts)?;
    let item = item.map(|item| stock::item(conn, doer.club, item)).transpose()?;
    facts.bottles = vec![to_fill(volume.unwrap_or(Milli::new(750_000)), item.iter())];
    let lines: Vec<CheckLine> = cautions(&facts, Doing::Bottle).into_iter().map(line).collect();
    Ok(CheckBody { refused: lines.iter().any(|line| line.reason_in.is_some()), lines })
}

/// Tells it.
pub async fn show(
    who: Onlooker,
    site: Site,
    path: Path<BatchId>,
    query: Query<Bottles>,
) -> Result<Answer<CheckBody>, Problem> {
    let asked: Result<_, Refusal> = query
        .draft
        .read(&who, |r| (r.optional_volume("bottle_volume"), r.optional_id::<ItemId>("item", "item")));
    let asked = asked?;
    let (_, told) = site.read(&who, move |conn, doer| found(conn, doer, path.0, asked)).await?;
    Ok(Answer(told))
}
