//! What a batch cost: what went into it, what by-products took off, and where the rest went or still is.

use askama::Template;

use super::SOURCE;
use super::lines::{Line, Writer};
use crate::db::batches::{self, Batch};
use crate::db::bottles::{self, Bottling};
use crate::db::{AnyConn, Failure, costs};
use crate::domain::books::EntryKind;
use crate::domain::bottles::cost_per_bottle;
use crate::domain::costs::{BatchCost, CostLine, Effect, named};
use crate::domain::members::{Doer, Onlooker};
use crate::units::ids::{BatchId, EntryId};
use crate::units::money::Money;
use crate::web::extract::Path;
use crate::web::frame::Frame;
use crate::web::pictures::{Flow, Node, flow};
use crate::web::problem::Problem;
use crate::web::respond::{self, Reply};
use crate::web::site::{Room, Site};
use crate::web::words;

#[derive(Template)]
#[template(path = "costs/batch.html")]
struct BatchCostPage {
    frame: Frame,
    href: String,
    drink: String,
    code: String,
    total: String,
    lead: String,
    source: &'static str,
    picture: String,
    caption: String,
    currency: String,
    lines: Vec<Line>,
    /// The bottlings: address, code, bottles, cost, cost a bottle.
    bottlings: Vec<(String, String, String, String, String)>,
}

/// A batch with its cost and what its bottlings were booked at, packaging included.
pub(in crate::web) struct Found {
    pub(in crate::web) batch: Batch,
    pub(in crate::web) cost: BatchCost,
    pub(in crate::web) bottlings: Vec<(Bottling, Money)>,
}

pub(in crate::web) fn find(conn: &mut AnyConn, doer: &Doer, id: BatchId) -> Result<Option<Found>, Failure> {
    let batch = match batches::batch(conn, doer.club, id) {
        Err(Failure::Gone) => return Ok(None),
        found => found?,
    };
    let cost = BatchCost::of(costs::of_batch(conn, id, None)?);
    let standing = |bottling: &Bottling| cost.went.iter().any(|line| line.entry == bottling.entry);
    let mut bottlings = bottles::of_batch(conn, doer.club, id)?;
    bottlings.retain(standing);
    let entries: Vec<EntryId> = bottlings.iter().map(|bottling| bottling.entry).collect();
    let booked = costs::booked(conn, &entries)?;
    let of = |bottling: &Bottling| booked.get(&bottling.entry).copied().unwrap_or_default();
    let bottlings =
        bottlings.into_iter().map(|bottling| (of(&bottling), bottling)).map(|(cost, one)| (one, cost));
    Ok(Some(Found { bottlings: bottlings.collect(), batch, cost }))
}

/// Shows what a batch cost.
pub async fn show(who: Onlooker, site: Site, path: Path<BatchId>) -> Reply {
    let id = path.0;
    let (facts, found) = site.read(&who, move |conn, doer| find(conn, doer, id)).await?;
    let Found { batch, cost, bottlings } = found.ok_or_else(|| Problem::missing("batch"))?;
    let sign = words::sign(&who.currency).trim().to_owned();
    let said = |amount: Money| words::money(&who.currency, amount);
    let page = BatchCostPage {
        href: site.at(&format!("/batches/{id}")),
        total: said(cost.drink()),
        lead: lead(&cost, &said),
        source: SOURCE,
        picture: picture(&batch, &cost, &said),
        caption: format!("What went into batch {} and where it went, in {sign}", batch.code),
        lines: lines(&site, &who, &cost, &bottlings.iter().map(|row| row.0.clone()).collect::<Vec<_>>()),
        bottlings: bottlings
            .iter()
            .map(|(bottling, booked)| {
                let each = cost_per_bottle(*booked, bottling.bottles);
                let bottles = words::count(bottling.bottles, "bottle", "bottles");
                let href = site.at(&format!("/bottles/{}/cost", bottling.id));
                (href, bottling.code.clone(), bottles, words::figure(*booked), words::figure(each))
            })
            .collect(),
        currency: sign,
        frame: site.frame(
            &who,
            Room::Batches,
            &format!("Cost of batch {}, {}", batch.code, batch.name),
            facts,
        ),
        drink: batch.name,
        code: batch.code,
    };
    respond::page(&page)
}

fn lead(cost: &BatchCost, said: &impl Fn(Money) -> String) -> String {
    if cost.parts.is_empty() {
        return "Nothing has come into it yet.".to_owned();
    }
    let mut parts = vec![format!("{} of supplies went into it", said(cost.came()))];
    if cost.deducted() < Money::ZERO {
        parts.push(format!("by-products took {} off", said(cost.deducted().negated())));
    }
    if cost.went() < Money::ZERO {
        parts.push(format!("{} has left it", said(cost.went().negated())));
    }
    parts.push(if cost.held() == Money::ZERO {
        "nothing is in it now".to_owned()
    } else {
        format!("{} is in it now", said(cost.held()))
    });
    format!("{}.", parts.join("; "))
}

/// Where a line that left went, in a few words.
fn went_to(line: &CostLine) -> String {
    match (&line.other_batch, line.kind) {
        (Some((_, code, _)), _) => format!("Batch {code}"),
        (None, EntryKind::Loss) => "Lost".to_owned(),
        (None, kind) => kind.label().to_owned(),
    }
}

fn picture(batch: &Batch, cost: &BatchCost, said: &impl Fn(Money) -> String) -> String {
    let node = |(name, amount): (String, Money)| Node::new(name, amount.micros());
    let of = |effect: Effect| cost.parts.iter().filter(move |part| part.line.effect() == effect);
    let mut inputs = named(of(Effect::Came).map(|part| (part.line.what.as_str(), part.line.cost)));
    inputs.sort_by_key(|(_, amount)| std::cmp::Reverse(*amount));
    let off = named(of(Effect::Deducted).map(|part| (part.line.what.as_str(), part.line.cost.negated())));
    let went: Vec<(String, Money)> =
        cost.went.iter().map(|line| (went_to(line), line.cost.negated())).collect();
    let went = named(went.iter().map(|(name, amount)| (name.as_str(), *amount)));
    let still = (cost.held() > Money::ZERO).then(|| ("Still in it".to_owned(), cost.held()));
    let outputs: Vec<Node> = off.into_iter().chain(went).chain(still).map(node).collect();
    flow(&Flow {
        id: "money",
        title: &format!("Where the money of batch {} went", batch.code),
        caption: &format!(
            "{} came in. The widths are money. The table below holds the same numbers.",
            said(cost.came())
        ),
        heads: ["paid", "in the batch", "now"],
        inputs: &inputs.into_iter().map(node).collect::<Vec<_>>(),
        straight: &[],
        outputs: &outputs,
        text: &|micros| said(Money::from_micros(micros)),
    })
}

fn lines(site: &Site, doer: &Doer, cost: &BatchCost, bottlings: &[Bottling]) -> Vec<Line> {
    let write = Writer::new(site, doer, None, bottlings);
    let of = |effect: Effect| cost.parts.iter().filter(move |part| part.line.effect() == effect);
    let mut lines: Vec<Line> = of(Effect::Came).map(|part| write.supply(&part.line, None)).collect();
    if of(Effect::Deducted).next().is_some() {
        lines.push(write.part("Into the batch", cost.came(), None));
        lines.extend(of(Effect::Deducted).map(|part| write.supply(&part.line, None)));
    }
    lines.push(write.part("The drink", cost.drink(), None));
    lines.extend(cost.went.iter().filter(|line| Writer::tells(line)).map(|line| write.elsewhere(line)));
    lines.push(Line { class: "sum", ..write.part("Still in the batch", cost.held(), None) });
    lines
}
