//! The shopping list: what the plans of all batches still want and what is below its reorder point, less what is free
//! to use, by supplier.

use std::collections::{BTreeMap, HashMap};

use askama::Template;

use self::instead::{Suggestion, suggestions};
use super::extract::Query;
use super::frame::Frame;
use super::respond::{self, Reply};
use super::site::{Room, Site};
use super::spreadsheet::{self, Cell};
use super::words;
use crate::db::buying::{Looked, Of, look};
use crate::db::{AnyConn, Failure};
use crate::domain::buying::{Known, Needed, Point};
use crate::domain::members::{Doer, Onlooker, Role};
use crate::domain::stock::Item;
use crate::units::days;
use crate::units::ids::BatchId;
use crate::units::money::Money;
use crate::units::number;
use crate::units::quantity::{BaseUnit, Milli};
use crate::units::text::folded;

pub mod instead;
pub mod item;
pub mod opened;

/// An item on the list.
pub struct Line {
    /// What it is.
    pub item: Item,
    /// What is known of it.
    pub known: Known,
    /// How much of it is to be bought.
    pub needed: Needed,
    /// What could be used for what plans want and is not there.
    pub instead: Vec<Suggestion>,
}

/// What is bought from one supplier.
pub struct Group {
    /// Who sold it last; empty where nobody wrote it.
    pub supplier: String,
    /// The items by name.
    pub lines: Vec<Line>,
}

impl Group {
    /// What it comes to at the last prices.
    pub fn cost(&self) -> Money {
        self.lines.iter().filter_map(|line| line.needed.cost).sum()
    }

    /// How many things to be bought have no price yet.
    pub fn unpriced(&self) -> usize {
        let without = |line: &&Line| line.needed.buy > Milli::ZERO && line.needed.cost.is_none();
        self.lines.iter().filter(without).count()
    }
}

/// The list, by supplier.
pub struct List {
    /// By name; what no supplier is known of comes last.
    pub groups: Vec<Group>,
    /// Number and drink of the batches that want something.
    pub batches: HashMap<BatchId, (String, String)>,
}

impl List {
    /// What all of it comes to at the last prices.
    pub fn cost(&self) -> Money {
        self.groups.iter().map(Group::cost).sum()
    }

    /// How many things are to be bought.
    pub fn things(&self) -> usize {
        let lines = self.groups.iter().flat_map(|group| &group.lines);
        lines.filter(|line| line.needed.buy > Milli::ZERO).count()
    }
}

/// What is to be bought; with `all`, what is wanted or kept and is there, too.
pub fn list(conn: &mut AnyConn, doer: &Doer, all: bool) -> Result<List, Failure> {
    let Looked { items, batches } = look(conn, doer.club, doer.today(), Of::All)?;
    let mut groups: BTreeMap<(bool, String), Group> = BTreeMap::new();
    let suggested: Vec<Vec<Suggestion>> = items
        .iter()
        .map(|(item, known)| suggestions(&items, (item, known), known.short_of_plans()))
        .collect();
    for ((item, known), instead) in items.into_iter().zip(suggested) {
        let needed = known.needed();
        let meant = needed.wanted > Milli::ZERO || known.point.quantity() > Milli::ZERO;
        if needed.buy > Milli::ZERO || all && meant {
            let supplier = known.supplier().to_owned();
            let group = groups.entry((supplier.is_empty(), folded(&supplier)));
            let group = group.or_insert_with(|| Group { supplier, lines: Vec::new() });
            group.lines.push(Line { item, known, needed, instead });
        }
    }
    Ok(List { groups: groups.into_values().collect(), batches })
}

/// What the list shows.
#[derive(serde::Deserialize, utoipa::ToSchema)]
pub struct Sift {
    /// `yes` shows what is there too.
    pub all: Option<String>,
}

impl Sift {
    /// Whether what is there is shown too.
    pub fn all(&self) -> bool {
        self.all.as_deref() == Some("yes")
    }
}

#[derive(Template)]
#[template(path = "buying/list.html")]
struct ListPage {
    frame: Frame,
    lead: String,
    all: bool,
    receive: bool,
    groups: Vec<GroupView>,
}

struct GroupView {
    supplier: String,
    /// What it comes to, and what has no price.
    sum: String,
    rows: Vec<Row>,
}

struct Row {
    href: String,
    receive: String,
    name: String,
    buy: String,
    packs: String,
    /// For which batches: address, words.
    batches: Vec<(String, String)>,
    instead: Vec<String>,
    why: String,
    last: String,
    cost: String,
    how: Vec<String>,
}

/// Shows the shopping list.
pub async fn show(who: Onlooker, site: Site, sift: Query<Sift>) -> Reply {
    let all = sift.value.all();
    let (facts, list) = site.read(&who, move |conn, doer| list(conn, doer, all)).await?;
    let page = ListPage {
        lead: lead(&who, &list),
        all,
        receive: who.role >= Role::Cellarhand,
        groups: list.groups.iter().map(|group| group_view(&site, &who, &list, group)).collect(),
        frame: site.frame(&who, Room::Stores, "Shopping list", facts),
    };
    respond::page(&page)
}

fn lead(who: &Doer, list: &List) -> String {
    let things = list.things();
    if things == 0 {
        return "Nothing has to be bought: what is planned is there, and nothing is below its reorder point."
            .to_owned();
    }
    let count = |count: usize, one, many| words::count(i64::try_from(count).unwrap_or(i64::MAX), one, many);
    let unpriced: usize = list.groups.iter().map(Group::unpriced).sum();
    let known = match (things - unpriced, unpriced) {
        (0, _) => "No price is known yet.".to_owned(),
        (_, 0) => format!("About {} at the last prices.", words::money(&who.currency, list.cost())),
        (_, without) => format!(
            "About {} at the last prices, without {} that {} no price yet.",
            words::money(&who.currency, list.cost()),
            count(without, "thing", "things"),
            if without == 1 { "has" } else { "have" }
        ),
    };
    format!("{} to buy. {known}", count(things, "thing", "things"))
}

fn group_view(site: &Site, who: &Doer, list: &List, group: &Group) -> GroupView {
    let none = group.unpriced();
    let cost = words::money(&who.currency, group.cost());
    let bought = group.lines.iter().any(|line| line.needed.cost.is_some());
    GroupView {
        supplier: if group.supplier.is_empty() {
            "No supplier written down".to_owned()
        } else {
            group.supplier.clone()
        },
        sum: match (bought, none) {
            (true, 0) => format!("About {cost} in all"),
            (true, none) => format!("About {cost} in all, without {none} of no known price"),
            (false, _) => String::new(),
        },
        rows: group.lines.iter().map(|line| row(site, who, list, line)).collect(),
    }
}

fn row(site: &Site, who: &Doer, list: &List, line: &Line) -> Row {
    let Line { item, known, needed, .. } = line;
    let batch = |(id, much): &(BatchId, Milli)| {
        let (code, drink) = list.batches.get(id).cloned().unwrap_or_default();
        (
            site.at(&format!("/batches/{id}")),
            format!("batch {code}, {drink}: {}", in_kitchen(*much, item.unit)),
        )
    };
    Row {
        href: site.at(&format!("/stores/items/{}", known.id)),
        receive: site.at(&format!("/stores/receipts/new?item={}", known.id)),
        name: item.name.clone(),
        buy: if needed.buy == Milli::ZERO { "Nothing".to_owned() } else { needed.buy.shown(item.unit) },
        packs: packs(needed, item.unit),
        batches: known.wants.iter().map(batch).collect(),
        instead: line.instead.iter().map(|one| words::capital(&one.words(known))).collect(),
        why: why(known),
        last: last(who, known),
        cost: needed.cost.map(|cost| words::money(&who.currency, cost)).unwrap_or_default(),
        how: item::working(known, needed),
    }
}

/// "2 × 10.0 kg", of what comes in packs.
fn packs(needed: &Needed, unit: BaseUnit) -> String {
    match needed.pack {
        Some(pack) if needed.buy > Milli::ZERO && pack > Milli::ZERO => {
            format!("{} × {}", needed.buy.get() / pack.get(), pack.shown(unit))
        }
        _ => String::new(),
    }
}

/// What it is bought for besides plans, and what is there: "To keep 1.05 kg; 300 g free to use, 2.0 kg past its day or
/// on hold."
fn why(known: &Known) -> String {
    let shown = |amount: Milli| in_kitchen(amount, known.unit);
    let point = match known.point {
        Point::Typed(point) if point > Milli::ZERO => format!("Kept at {} or more, as typed; ", shown(point)),
        Point::WorkedOut(point) if point > Milli::ZERO => {
            format!("Kept at {} or more, by its use; ", shown(point))
        }
        _ => String::new(),
    };
    let free = match known.free {
        Milli::ZERO => "none is free to use".to_owned(),
        free => format!("{} free to use", shown(free)),
    };
    let stopped = if known.stopped > Milli::ZERO {
        format!(", {} past its day or on hold", shown(known.stopped))
    } else {
        String::new()
    };
    words::capital(&format!("{point}{free}{stopped}."))
}

/// What it cost last, for one kg, L or piece, and when.
fn last(who: &Doer, known: &Known) -> String {
    let Some((price, day)) = last_price(known) else { return "Never bought yet.".to_owned() };
    let (name, _) = known.unit.priced();
    let sign = words::sign(&who.currency);
    let figure =
        if price < Money::from_micros(1_000_000) { words::fine(price) } else { words::figure(price) };
    format!("Last {sign}{figure} a {name}, {}.", days::tiny(day, who.today()))
}

/// What one kg, L or piece cost last, and when.
pub fn last_price(known: &Known) -> Option<(Money, days::Day)> {
    let last = known.bought.first().filter(|last| last.quantity > Milli::ZERO)?;
    Some((last.cost.share(known.unit.priced().1 * 1000, last.quantity.get()), last.day))
}

/// With no more digits than a kitchen can weigh; pieces are whole, and little things keep their digits.
pub fn in_kitchen(amount: Milli, unit: BaseUnit) -> String {
    if amount == Milli::ZERO {
        return format!("0 {}", unit.priced().0);
    }
    if amount.get() < 1_000 && unit != BaseUnit::Piece {
        return amount.shown(unit);
    }
    super::plans::rounded(amount, unit)
}

/// Half days as days: "3.5".
pub fn half_days(half_days: i64) -> String {
    number::plain(half_days * 5, 1)
}

const HEADER: [&str; 16] = [
    "supplier",
    "item",
    "to_buy",
    "unit",
    "missing",
    "wanted",
    "batches",
    "reorder_point",
    "reorder_point_from",
    "free",
    "pack",
    "cost",
    "currency",
    "last_price",
    "last_price_for",
    "last_bought",
];

/// The shopping list as a file, with the rows that the page shows.
pub async fn file(who: Onlooker, site: Site, sift: Query<Sift>) -> Reply {
    let all = sift.value.all();
    let (_, list) = site.read(&who, move |conn, doer| list(conn, doer, all)).await?;
    let mut rows = Vec::new();
    for group in &list.groups {
        rows.extend(group.lines.iter().map(|line| cells(&who, &list, &group.supplier, line)));
    }
    let leaving = spreadsheet::leaving(&site, &who, "exported the shopping list").await?;
    spreadsheet::csv(&leaving, "shopping.csv", &HEADER, rows)
}

fn cells(who: &Doer, list: &List, supplier: &str, line: &Line) -> Vec<Cell> {
    let Line { item, known, needed, .. } = line;
    let codes: Vec<&str> =
        known.wants.iter().filter_map(|want| list.batches.get(&want.0)).map(|batch| &*batch.0).collect();
    let price = last_price(known);
    vec![
        Cell::typed(supplier),
        Cell::typed(&item.name),
        Cell::ours(needed.buy.plain()),
        Cell::ours(item.unit.sign()),
        Cell::ours(needed.missing.plain()),
        Cell::ours(needed.wanted.plain()),
        Cell::ours(codes.join(" ")),
        Cell::ours(known.point.quantity().plain()),
        Cell::ours(known.point.code()),
        Cell::ours(known.free.plain()),
        Cell::ours(needed.pack.map(Milli::plain).unwrap_or_default()),
        Cell::ours(needed.cost.map(Money::plain).unwrap_or_default()),
        Cell::ours(&who.currency),
        Cell::ours(price.map(|price| price.0.plain()).unwrap_or_default()),
        Cell::ours(item.unit.priced().0),
        Cell::ours(price.map(|price| days::iso(price.1)).unwrap_or_default()),
    ]
}
