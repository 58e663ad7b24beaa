//! What a bottle cost and why: line by line from the receipts to the bottles, as a picture, a table and a
//! file. The same for a batch: what went into it, and where that went. The sums are those of
//! [`crate::domain::costs`].

use askama::Template;

pub mod batch;
mod lines;

use super::extract::Path;
use super::frame::Frame;
use super::pictures::{Flow, Node, flow};
use super::problem::Problem;
use super::respond::{self, Reply};
use super::site::{Room, Site};
use super::spreadsheet::{self, Cell};
use super::words;
use crate::db::bottles::{self, Bottling};
use crate::db::{AnyConn, Failure, costs};
use crate::domain::bottles::cost_per_bottle;
use crate::domain::costs::by_products::{By, ways};
use crate::domain::costs::{BottlingCost, CostLine, Effect, named};
use crate::domain::members::{Doer, Onlooker};
use crate::units::days;
use crate::units::ids::BottlingId;
use crate::units::money::Money;

use lines::{Line, Writer};

/// What a by-product is deducted by, and on whose authority.
pub(super) const SOURCE: &str = "By-products at net realisable value, deducted from the cost of the main product: \
                                 IAS 2, paragraph 14. A normal loss leaves its cost in the drink; any other loss \
                                 takes its share along.";

#[derive(Template)]
#[template(path = "costs/bottling.html")]
struct CostPage {
    frame: Frame,
    href: String,
    drink: String,
    code: String,
    each: String,
    size: String,
    lead: String,
    sums: String,
    rounding: String,
    source: &'static str,
    picture: String,
    caption: String,
    currency: String,
    is_part: bool,
    ways: Vec<WayRow>,
    lines: Vec<Line>,
}

/// A bottling with its cost.
pub(super) struct Found {
    pub(super) bottling: Bottling,
    /// All bottlings of its batch.
    siblings: Vec<Bottling>,
    pub(super) cost: BottlingCost,
    /// What a bottle would cost by each way in which by-products may take their share.
    pub(super) ways: Vec<(By, Option<Money>)>,
    /// The ways that were taken.
    pub(super) taken: Vec<By>,
}

pub(super) fn find(conn: &mut AnyConn, doer: &Doer, id: BottlingId) -> Result<Option<Found>, Failure> {
    let bottling = match bottles::bottling(conn, doer.club, id) {
        Err(Failure::Gone) => return Ok(None),
        found => found?,
    };
    let lines = costs::of_batch(conn, bottling.batch, Some(bottling.entry))?;
    let packaging = costs::packaging(conn, &bottling)?;
    let grounds = costs::grounds(conn, &lines)?;
    let each = |lines| {
        let cost = BottlingCost::of(lines, bottling.entry, packaging.clone(), bottling.bottles)?;
        Some(cost_per_bottle(cost.total(), cost.bottles))
    };
    let ways = ways(&lines, |entry| grounds.get(&entry).copied(), each);
    let taken = By::ALL.into_iter().filter(|by| grounds.values().any(|one| one.by == *by)).collect();
    let cost = if bottles::is_reversed(conn, &bottling)? {
        None
    } else {
        BottlingCost::of(lines, bottling.entry, packaging, bottling.bottles)
    };
    let siblings = bottles::of_batch(conn, doer.club, bottling.batch)?;
    Ok(cost.map(|cost| Found { bottling, siblings, cost, ways, taken }))
}

async fn found(
    site: &Site,
    doer: &Doer,
    id: BottlingId,
) -> Result<(crate::db::reminders::Facts, Found), Problem> {
    let (facts, found) = site.read(doer, move |conn, doer| find(conn, doer, id)).await?;
    Ok((facts, found.ok_or_else(|| Problem::missing("bottling with a cost"))?))
}

/// Shows what a bottle of a bottling cost.
pub async fn show(who: Onlooker, site: Site, path: Path<BottlingId>) -> Reply {
    let (facts, Found { bottling, siblings, cost, ways, taken }) = found(&site, &who, path.0).await?;
    let each = cost_per_bottle(cost.total(), cost.bottles);
    let sign = words::sign(&who.currency).trim().to_owned();
    let page = CostPage {
        href: site.at(&format!("/bottles/{}", bottling.id)),
        drink: bottling.name.clone(),
        code: bottling.code.clone(),
        each: words::money(&who.currency, each),
        size: super::bottles::size(&bottling),
        lead: lead(&cost, &who.currency),
        sums: sums(&cost, &who.currency),
        rounding: rounding(each, cost.total(), cost.bottles, &who.currency),
        source: SOURCE,
        picture: picture(&bottling, &cost, &who.currency),
        caption: format!("From receipts to a bottle, bottling {}, in {sign}", bottling.code),
        currency: sign,
        is_part: cost.is_part(),
        ways: way_rows(&ways, &taken, each, &who.currency),
        lines: bottling_lines(&site, &who, &cost, &siblings),
        frame: site.frame(
            &who,
            Room::Bottles,
            &format!("Cost a bottle, {} {}", bottling.name, bottling.code),
            facts,
        ),
    };
    respond::page(&page)
}

/// What a bottle costs by one of the ways.
struct WayRow {
    name: String,
    each: String,
    differs: String,
    taken: bool,
}

fn way_rows(ways: &[(By, Option<Money>)], taken: &[By], booked: Money, currency: &str) -> Vec<WayRow> {
    let row = |(by, each): &(By, Option<Money>)| {
        let taken = taken.contains(by);
        let differs = match each {
            None if *by == By::SalesValue => "nobody said what a litre would sell for".to_owned(),
            None => "not known of what was weighed off".to_owned(),
            Some(each) if *each == booked => "as it is booked".to_owned(),
            Some(each) if *each > booked => {
                format!("{} more", words::money(currency, *each + booked.negated()))
            }
            Some(each) => format!("{} less", words::money(currency, booked + each.negated())),
        };
        WayRow {
            name: words::capital(by.label()),
            each: each.map(words::fine).unwrap_or_default(),
            differs,
            taken,
        }
    };
    ways.iter().map(row).collect()
}

/// "Milk is the largest part of it. Curds took €46.20 off; without that a bottle would have cost €2.62."
fn lead(cost: &BottlingCost, currency: &str) -> String {
    let mut said = Vec::new();
    if let Some((name, largest)) = cost.by_name().first() {
        let packaging = cost.packaging();
        said.push(if *largest >= packaging {
            format!("{name} is the largest part of it.")
        } else {
            "Bottles, closures and labels are the largest part of it.".to_owned()
        });
    }
    let by_products = cost.deducted().negated();
    if by_products > Money::ZERO {
        let without = cost_per_bottle(cost.total() + by_products, cost.bottles);
        let (worth, without) = (words::money(currency, by_products), words::money(currency, without));
        said.push(format!(
            "{} took {worth} off; without that a bottle would have cost {without}.",
            by_products_of(cost)
        ));
    }
    if cost.is_part() {
        said.push("These bottles are a part of their batch and carry their share of it.".to_owned());
    }
    said.join(" ")
}

/// "Curds", "Curds and Whey, left over".
fn by_products_of(cost: &BottlingCost) -> String {
    let parts =
        cost.parts.iter().filter(|part| part.line.effect() == Effect::Deducted && part.share != Money::ZERO);
    let names = named(parts.map(|part| (part.line.what.as_str(), part.share)));
    names.into_iter().map(|(name, _)| name).collect::<Vec<_>>().join(" and ")
}

/// "(€110.24 in − €46.20 by-products) / 42 bottles".
fn sums(cost: &BottlingCost, currency: &str) -> String {
    let said = |amount: Money| words::money(currency, amount);
    let deducted = match cost.deducted().negated() {
        Money::ZERO => String::new(),
        worth => format!(" − {} by-products", said(worth)),
    };
    format!(
        "({} of supplies{deducted} + {} bottles and closures) / {} = {}",
        said(cost.came()),
        said(cost.packaging()),
        words::count(cost.bottles, "bottle", "bottles"),
        cost_per_bottle(cost.total(), cost.bottles).plain(),
    )
}

fn rounding(each: Money, total: Money, bottles: i64, currency: &str) -> String {
    let rest = total - Money::from_micros(each.micros() * bottles);
    let sign = words::sign(currency);
    if rest == Money::ZERO {
        return "It divides without a rest.".to_owned();
    }
    format!(
        "Each bottle carries the amount rounded down to a millionth; the last one takes the rest, {sign}{}, so \
         that nothing is lost.",
        rest.plain()
    )
}

fn picture(bottling: &Bottling, cost: &BottlingCost, currency: &str) -> String {
    let came = cost.parts.iter().filter(|part| part.line.effect() == Effect::Came);
    let node = |(name, amount): (String, Money)| Node::new(name, amount.micros());
    let mut inputs = named(came.map(|part| (part.line.what.as_str(), part.share)));
    inputs.sort_by_key(|(_, amount)| std::cmp::Reverse(*amount));
    let off = cost.parts.iter().filter(|part| part.line.effect() == Effect::Deducted);
    let off = named(off.map(|part| (part.line.what.as_str(), part.share.negated())));
    let bottles = words::count(cost.bottles, "bottle", "bottles");
    let outputs: Vec<Node> =
        off.into_iter().map(node).chain([Node::new(&bottles, cost.total().micros())]).collect();
    let said = |amount: Money| words::money(currency, amount);
    let largest = inputs
        .first()
        .map(|(name, amount)| format!(", {} of it for {name}", said(*amount)))
        .unwrap_or_default();
    let (paid, total) = (said(cost.came() + cost.packaging()), said(cost.total()));
    let rest = match cost.deducted().negated() {
        Money::ZERO => format!("All of it is in the {bottles}."),
        worth => {
            format!(
                "By-products took {} out again, as stock of their own; {total} is in the {bottles}.",
                said(worth)
            )
        }
    };
    let share = if cost.is_part() { "is the share of these bottles" } else { "was paid" };
    flow(&Flow {
        id: "money",
        title: &format!("Where the money of bottling {} went", bottling.code),
        caption: &format!(
            "{paid} {share}{largest}. {rest} The widths are money. The table below holds the same numbers."
        ),
        heads: ["paid", "in the drink", "now"],
        inputs: &inputs.into_iter().map(node).collect::<Vec<_>>(),
        straight: &[Node::new("Packaging", cost.packaging().micros())],
        outputs: &outputs,
        text: &|micros| words::money(currency, Money::from_micros(micros)),
    })
}

/// The rows of the table: supplies, what was taken off, what went elsewhere, what is around the drink.
fn bottling_lines(site: &Site, doer: &Doer, cost: &BottlingCost, siblings: &[Bottling]) -> Vec<Line> {
    let write = Writer::new(site, doer, Some(cost.bottles), siblings);
    let whole = |effect: Effect| -> Money {
        cost.parts.iter().filter(|part| part.line.effect() == effect).map(|part| part.line.cost).sum()
    };
    let of = |effect: Effect| cost.parts.iter().filter(move |part| part.line.effect() == effect);
    let mut lines: Vec<Line> =
        of(Effect::Came).map(|part| write.supply(&part.line, Some(part.share))).collect();
    let has_by_products = of(Effect::Deducted).next().is_some();
    let elsewhere: Vec<&CostLine> = cost.before.iter().filter(|line| Writer::tells(line)).collect();
    if has_by_products {
        lines.push(write.part("Into the batch", whole(Effect::Came), Some(cost.came())));
        lines.extend(of(Effect::Deducted).map(|part| write.supply(&part.line, Some(part.share))));
    }
    let drink = whole(Effect::Came) + whole(Effect::Deducted);
    let name = if cost.is_part() { "The drink of the batch" } else { "The drink" };
    lines.push(write.part(name, drink, Some(cost.drink())));
    lines.extend(elsewhere.into_iter().map(|line| write.elsewhere(line)));
    if cost.stayed != Money::ZERO {
        lines.push(write.part("Stayed in the batch", cost.stayed.negated(), None));
    }
    if cost.is_part() {
        lines.push(write.part("The drink in these bottles", cost.drink(), Some(cost.drink())));
    }
    lines.extend(cost.packaging.iter().map(|line| write.supply(line, Some(line.cost))));
    lines.push(write.sum(&words::count(cost.bottles, "bottle", "bottles"), cost.total()));
    lines
}

/// The lines of a bottling's cost as a file: the shares add up to what the bottles are booked at.
pub async fn file(who: Onlooker, site: Site, path: Path<BottlingId>) -> Reply {
    let (_, Found { bottling, cost, .. }) = found(&site, &who, path.0).await?;
    let header = [
        "bottling",
        "part",
        "what",
        "lot",
        "receipt",
        "day",
        "quantity",
        "unit",
        "cost",
        "in_these_bottles",
        "currency",
    ];
    let row = |part: &str, line: &CostLine, share: Money| {
        let (_, lot) = line.lot.clone().unzip();
        let receipt = line.receipt.clone().and_then(|receipt| receipt.1);
        vec![
            Cell::ours(&bottling.code),
            Cell::ours(part),
            Cell::typed(&line.what),
            Cell::ours(lot.unwrap_or_default()),
            Cell::ours(receipt.unwrap_or_default()),
            Cell::ours(days::iso(line.day)),
            Cell::ours(line.quantity.plain()),
            Cell::ours(line.unit.sign()),
            Cell::ours(line.cost.plain()),
            Cell::ours(share.plain()),
            Cell::ours(&who.currency),
        ]
    };
    let parts = cost.parts.iter().map(|part| {
        let kind = if part.line.effect() == Effect::Deducted { "by-product" } else { "supply" };
        row(kind, &part.line, part.share)
    });
    let packaging = cost.packaging.iter().map(|line| row("packaging", line, line.cost));
    let said = format!("exported the cost of bottling {}", bottling.code);
    let leaving = spreadsheet::leaving(&site, &who, &said).await?;
    spreadsheet::csv(&leaving, &format!("cost-{}.csv", bottling.code), &header, parts.chain(packaging))
}
