//! What a batch cost: what went into it, what by-products took off, and where the rest went or still is.

use askama::Template;

use super::SOURCE;
use super::lines::{Line, Writer};
use crate::db::batches::{self, Batch};
use crate::db::bottles::{self, Bottling};
use crate::db::efforts::{self, Effort};
use crate::db::{AnyConn, Failure, costs};
use crate::domain::books::EntryKind;
use crate::domain::bottles::cost_per_bottle;
use crate::domain::costs::{BatchCost, CostLine, Effect, named};
use crate::domain::members::{Doer, Onlooker, Role};
use crate::units::days;
use crate::units::ids::{BatchId, EntryId};
use crate::units::money::Money;
use crate::units::quantity::Milli;
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
    /// Work and energy beside the books.
    efforts: Vec<EffortRow>,
    /// What they come to, and the drink with them.
    with_efforts: Option<(String, String)>,
    /// Of each bottling, a bottle with them.
    bottles_with: Vec<(String, String)>,
    may_record: bool,
    keys: Vec<String>,
}

/// A batch with its cost and what its bottlings were booked at, packaging included.
pub(in crate::web) struct Found {
    pub(in crate::web) batch: Batch,
    pub(in crate::web) cost: BatchCost,
    pub(in crate::web) bottlings: Vec<(Bottling, Money)>,
    /// Work and energy beside the books, struck ones too.
    pub(in crate::web) efforts: Vec<Effort>,
    /// What the batch still holds.
    held: Milli,
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
    let bottlings: Vec<_> = bottlings.collect();
    let held = batches::standing(conn, doer.club, id)?.holding.quantity;
    Ok(Some(Found { bottlings, efforts: efforts::efforts(conn, doer.club, &[id])?, held, batch, cost }))
}

/// Shows what a batch cost.
pub async fn show(who: Onlooker, site: Site, path: Path<BatchId>) -> Reply {
    let id = path.0;
    let (facts, found) = site.read(&who, move |conn, doer| find(conn, doer, id)).await?;
    let found = found.ok_or_else(|| Problem::missing("batch"))?;
    let (effort, share) = (found.effort(), found.bottles_with());
    let Found { batch, cost, bottlings, efforts, .. } = found;
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
        with_efforts: (effort > Money::ZERO).then(|| (said(effort), said(cost.drink() + effort))),
        bottles_with: share.into_iter().map(|(code, each)| (code, words::figure(each))).collect(),
        keys: efforts.iter().map(|_| site.form("", "", "").request_key).collect(),
        efforts: efforts.iter().map(|effort| effort_row(effort, &who)).collect(),
        may_record: who.role >= Role::Cellarhand,
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

/// Work or energy as a line.
struct EffortRow {
    id: String,
    what: String,
    much: String,
    cost: String,
    day: String,
    by: String,
    struck: Option<String>,
}

fn effort_row(effort: &Effort, doer: &Doer) -> EffortRow {
    let (name, unit) = effort.kind.label();
    let remark = if effort.remark.is_empty() { String::new() } else { format!(", {}", effort.remark) };
    EffortRow {
        id: effort.id.to_string(),
        what: format!("{name}{remark}"),
        much: effort.amount.map(|amount| format!("{} {unit}", amount.plain())).unwrap_or_default(),
        cost: words::figure(effort.cost),
        day: days::tiny(effort.day, doer.today()),
        by: effort.by.clone(),
        struck: effort.struck.as_ref().map(|(_, why)| why.clone()),
    }
}

impl Found {
    /// What work and energy come to.
    pub(in crate::web) fn effort(&self) -> Money {
        self.efforts.iter().filter(|effort| effort.struck.is_none()).map(|effort| effort.cost).sum()
    }

    /// A bottle of each bottling with its share of them, by volume: what is still in the batch carries its own.
    pub(in crate::web) fn bottles_with(&self) -> Vec<(String, Money)> {
        let effort = self.effort();
        let volume = |bottling: &Bottling| bottling.bottles * bottling.bottle_volume.get();
        let all: i64 = self.bottlings.iter().map(|row| volume(&row.0)).sum::<i64>() + self.held.get();
        if effort == Money::ZERO || all == 0 {
            return Vec::new();
        }
        let with = |(bottling, booked): &(Bottling, Money)| {
            let total = *booked + effort.share(volume(bottling), all);
            (bottling.code.clone(), cost_per_bottle(total, bottling.bottles))
        };
        self.bottlings.iter().map(with).collect()
    }
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
