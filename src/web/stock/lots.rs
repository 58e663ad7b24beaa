//! One lot: what it is, where it stands, what it cost, where it came from, where it went, and the trace
//! both ways.

use askama::Template;

use super::{Paths, figure_and_unit, listed, price};
use crate::db::books::{self, Told, Which};
use crate::db::holds::{self, Held};
use crate::db::stock::{self as rows, Lot, Place, Shelved};
use crate::db::trace::{self, Found, Taken, Trace};
use crate::db::{AnyConn, Failure, counts};
use crate::domain::books::Account;
use crate::domain::buying::strength;
use crate::domain::counts::covered::Covered;
use crate::domain::holds::Hold;
use crate::domain::members::{Doer, Onlooker, Role};
use crate::domain::stock::{Item, ItemKind, Shelf};
use crate::units::days;
use crate::units::ids::{EntryId, LotId, PlaceId};
use crate::units::money::Money;
use crate::units::number;
use crate::units::quantity::Milli;
use crate::web::entries::trail_of;
use crate::web::extract::{Paging, Path};
use crate::web::frame::Frame;
use crate::web::pictures::tally;
use crate::web::respond::{self, Reply};
use crate::web::site::{Room, Site};
use crate::web::trail::Trail;
use crate::web::words;

/// Whatever has to be known of a lot.
struct Known {
    lot: Lot,
    shelves: Vec<Shelf>,
    places: Vec<Place>,
    came: Option<Told>,
    entries: Vec<Told>,
    trace: Trace,
    held: Option<Hold>,
    holds: Vec<Held>,
    covered: Covered,
}

impl Known {
    /// Whether how much is left of it is covered for whoever looks, who counts it.
    fn hidden(&self) -> bool {
        self.covered.hides_lot(self.lot.id)
    }
}

#[derive(Template)]
#[template(path = "stores/lot.html")]
struct LotPage {
    frame: Frame,
    code: String,
    name: String,
    drink: bool,
    item: String,
    labels: String,
    figure: String,
    unit: String,
    lead: String,
    hidden: bool,
    late: bool,
    bottling: Option<String>,
    tasks: Option<(String, String)>,
    held: Option<String>,
    hold: Option<(String, &'static str)>,
    /// Where it is said that it is open, and the words.
    open: Option<(String, &'static str)>,
    recall: String,
    holds: Vec<String>,
    stands: Vec<StandRow>,
    facts: Vec<FactRow>,
    origin: Origin,
    trace: TraceView,
    trail: Trail,
}

struct StandRow {
    name: String,
    around: String,
    figure: String,
    unit: String,
    tally: String,
}

struct FactRow {
    name: &'static str,
    figure: String,
    unit: String,
    how: String,
}

/// Where it came from.
struct Origin {
    words: String,
    entry: String,
    batch: Option<(String, String)>,
}

struct TraceView {
    lead: String,
    up: Vec<(String, String)>,
    batches: Vec<(String, String)>,
    down: Vec<(String, String)>,
    taken: Vec<TakenRow>,
}

struct TakenRow {
    day: String,
    lot: String,
    bottles: i64,
    who: String,
}

/// One lot.
pub async fn show(who: Onlooker, site: Site, path: Path<LotId>, paging: Paging<EntryId>) -> Reply {
    let (id, after, limit) = (path.0, paging.after, paging.rows());
    let (facts, known) = site.read(&who, move |conn, doer| known(conn, doer, id, after, limit)).await?;
    let frame = site.frame(&who, Room::Stores, &format!("Lot {}", known.lot.code), facts);
    let told = paging.page(known.entries.iter().collect(), |told: &&Told| told.id, Told::clone);
    let more = told.next.map(|next| site.at(&format!("/stores/lots/{id}?after={next}")));
    let trail = if known.hidden() {
        // What moved of it adds up to what is left of it.
        trail_of(&site, &who, &[], None)
    } else {
        trail_of(&site, &who, &told.items, more)
    };
    respond::page(&page(&site, &who, &known, frame, trail))
}

fn known(
    conn: &mut AnyConn,
    doer: &Doer,
    id: LotId,
    after: Option<EntryId>,
    limit: i64,
) -> Result<Known, Failure> {
    let club = doer.club;
    let lot = rows::lot(conn, club, id)?;
    Ok(Known {
        shelves: rows::shelves(conn, club, Shelved::Lot(id))?,
        places: rows::places(conn, club)?,
        came: books::tell(conn, club, Which::One(lot.entry), None, 1)?.pop(),
        entries: books::tell(conn, club, Which::Lot(id), after, limit)?,
        trace: trace::trace(conn, club, id)?,
        held: holds::of_lots(conn, club, &[id])?.pop(),
        holds: holds::history(conn, id)?,
        covered: counts::covered(conn, doer)?,
        lot,
    })
}

fn page(site: &Site, who: &Doer, known: &Known, frame: Frame, trail: Trail) -> LotPage {
    let lot = &known.lot;
    let left: Milli = known.shelves.iter().map(|shelf| shelf.holding.quantity).sum();
    let drink = lot.item.kind == ItemKind::Drink;
    let hidden = known.hidden();
    let (figure, unit) = if hidden {
        (String::new(), words::COVERED.to_owned())
    } else {
        figure_and_unit(left, lot.item.unit, lot.item.kind)
    };
    let here = site.at(&format!("/stores/lots/{}", lot.id));
    let may_record = who.role >= Role::Cellarhand;
    LotPage {
        code: lot.code.clone(),
        name: lot.item.name.clone(),
        drink,
        item: site.at(&format!("/stores/items/{}", lot.item_id)),
        labels: format!("{here}/labels"),
        unit,
        figure,
        lead: if hidden { known.covered.words().unwrap_or_default() } else { lead(known, left, who) },
        hidden,
        late: !hidden && left > Milli::ZERO && lot.good_until().is_some_and(|day| day < who.today()),
        bottling: lot.bottling.map(|bottling| site.at(&format!("/bottles/{bottling}"))),
        tasks: may_record.then(|| (format!("{here}/move"), format!("{here}/count"))),
        held: known.held.as_ref().map(Hold::words),
        hold: may_record.then(|| match known.held {
            Some(_) => (format!("{here}/release"), "Release it"),
            None => (format!("{here}/hold"), "Hold it back"),
        }),
        open: (may_record && !drink && left > Milli::ZERO).then(|| {
            (
                format!("{here}/opened"),
                if lot.opened_on.is_some() { "Change when it was opened" } else { "It is open" },
            )
        }),
        recall: site.at(&format!("/recall/lots/{}", lot.id)),
        holds: known.holds.iter().filter_map(|held| past_hold(held, who)).collect(),
        stands: known.shelves.iter().map(|shelf| stand_row(known, shelf)).collect(),
        facts: figures(known, left, who),
        origin: origin(site, known, who),
        trace: trace_view(site, known, who),
        trail,
        frame,
    }
}

/// A hold that is over, in a sentence.
fn past_hold(held: &Held, who: &Doer) -> Option<String> {
    let (at, by, why) = held.released.as_ref()?;
    Some(format!(
        "Held by {} on {}: {}. Released by {by} on {}: {why}",
        held.by,
        words::when(held.at, who),
        held.reason,
        words::when(*at, who)
    ))
}

/// How much is left of how much, and how long it is good.
fn lead(known: &Known, left: Milli, who: &Doer) -> String {
    let (lot, today) = (&known.lot, who.today());
    let came = figure_and_unit(came_quantity(known), lot.item.unit, lot.item.kind);
    let came = format!("{} {}", came.0, came.1);
    let much = match left {
        Milli::ZERO => format!("Nothing is left of the {came} that came."),
        left if left == came_quantity(known) => "All of it is still there.".to_owned(),
        _ => format!("That is left of {came}."),
    };
    let good = lot.good_until().map(|day| {
        let long = days::long(day);
        match (day - today).num_days() {
            _ if left == Milli::ZERO => format!(" It was good until {long}."),
            0 => format!(" It is good until today, {long}."),
            1 => format!(" It is good until tomorrow, {long}."),
            left if left > 0 => format!(" It is good until {long}, {} more.", days::age(left)),
            _ if spoils(&lot.item) => format!(" It was good until {long}: past its day it is thrown away."),
            _ => format!(" It was good until {long}: look at it and smell it before it is used."),
        }
    });
    much + good.unwrap_or_default().as_str() + opened(lot, left, who).as_str()
}

/// When it was opened, and what follows from that.
fn opened(lot: &Lot, left: Milli, who: &Doer) -> String {
    let Some(day) = lot.opened_on.filter(|_| left > Milli::ZERO) else { return String::new() };
    let keeps = match (lot.keeps_open, lot.best_before) {
        (None, _) => String::new(),
        (Some(_), Some(best)) if lot.good_until() == Some(best) => {
            ": its best-before day comes before the last day that it keeps open".to_owned()
        }
        (Some(days), best) => format!(
            " and keeps for {} then{}",
            words::count(i64::from(days), "day", "days"),
            best.map(|day| format!("; unopened it was good until {}", words::day(day, who.today())))
                .unwrap_or_default()
        ),
    };
    format!(" It was opened on {}{keeps}.", words::day(day, who.today()))
}

/// Food in which germs grow that nobody sees or smells: milk, eggs, fish and what is made of them.
fn spoils(item: &Item) -> bool {
    let food = ["milk", "egg", "fish", "crustaceans"];
    let eaten = matches!(item.kind, ItemKind::Ingredient | ItemKind::ByProduct);
    eaten && item.allergens.iter().any(|allergen| food.contains(&allergen.as_str()))
}

fn came_quantity(known: &Known) -> Milli {
    came(known).0
}

/// How much of it came in at first, and what that cost.
fn came(known: &Known) -> (Milli, Money) {
    let lines = known.came.iter().flat_map(|told| &told.lines);
    let own = lines.filter(|line| matches!(line.account, Account::Stock { lot, .. } if lot == known.lot.id));
    own.fold((Milli::ZERO, Money::ZERO), |sum, line| (sum.0 + line.quantity, sum.1 + line.cost))
}

fn stand_row(known: &Known, shelf: &Shelf) -> StandRow {
    let (name, around) = place_names(&known.places, shelf.place);
    let item = &known.lot.item;
    let hidden = known.covered.hides(shelf.lot, shelf.place);
    let (figure, unit) = if hidden {
        (String::new(), words::COVERED.to_owned())
    } else {
        figure_and_unit(shelf.holding.quantity, item.unit, item.kind)
    };
    let bottles = u32::try_from(shelf.holding.quantity.get() / 1000).unwrap_or(u32::MAX);
    let drink = item.kind == ItemKind::Drink;
    StandRow {
        name,
        around,
        figure,
        unit,
        tally: if drink && !hidden { tally(bottles, 0, "bottle", "bottles") } else { String::new() },
    }
}

/// The name of a place, and those around it.
fn place_names(places: &[Place], id: PlaceId) -> (String, String) {
    let Some(place) = places.iter().find(|place| place.id == id) else { return Default::default() };
    let around = place.within.and_then(|within| places.iter().find(|place| place.id == within));
    let around = around.map(|around| Paths::of(places).short(&around.path).to_owned());
    (place.name.clone(), around.unwrap_or_default())
}

fn figures(known: &Known, left: Milli, who: &Doer) -> Vec<FactRow> {
    let (quantity, cost) = came(known);
    let item = &known.lot.item;
    let much = |quantity| figure_and_unit(quantity, item.unit, item.kind);
    let sign = words::sign(&who.currency).trim().to_owned();
    let row = |name, (figure, unit), how: String| FactRow { name, figure, unit, how };
    let mut facts = vec![row("Came in", much(quantity), String::new())];
    facts.push(row("Cost in all", (words::figure(cost), sign.clone()), String::new()));
    if quantity > Milli::ZERO {
        let (figure, per) = price(who, cost, quantity, item);
        let how = format!(
            "{} for {}. What leaves the lot takes its share of the cost, rounded down to a millionth; the \
             last of it takes the rest, so that nothing is lost or made.",
            words::money(&who.currency, cost),
            quantity.shown(item.unit)
        );
        facts.push(row("Cost of one", (figure, per), how));
    }
    facts.extend(strength(known, left, who));
    let worth: Money = known.shelves.iter().map(|shelf| shelf.holding.cost).sum();
    if left != quantity && !known.hidden() {
        facts.push(row("Left", much(left), String::new()));
        facts.push(row("Cost of what is left", (words::figure(worth), sign), String::new()));
    }
    facts
}

/// What is left of its strength, where its item says that it loses some.
fn strength(known: &Known, left: Milli, who: &Doer) -> Option<FactRow> {
    let weakens = known.lot.weakens.filter(|_| left > Milli::ZERO)?;
    let share = strength::left(weakens, known.lot.received_on, who.today());
    let more = strength::words(share).map(|words| words::capital(&words) + ". ").unwrap_or_default();
    Some(FactRow {
        name: "Strength left",
        figure: format!("about {:.0}", share * 100.0),
        unit: "%".to_owned(),
        how: format!(
            "{more}It came on {} and loses {} % of what is left each year, as its item says (common practice, no \
             source). The amount that is drawn stays yours to choose.",
            days::long(known.lot.received_on),
            number::plain(i64::from(weakens), 1)
        ),
    })
}

fn origin(site: &Site, known: &Known, who: &Doer) -> Origin {
    let lot = &known.lot;
    let day = days::long(lot.received_on);
    let batch = lot.batch.map(|id| {
        let found = known.trace.batches.iter().find(|batch| batch.0 == id);
        let words = found.map(|(_, code, drink)| format!("Batch {code}, {drink}")).unwrap_or_default();
        (site.at(&format!("/batches/{id}")), words)
    });
    let words = match (&lot.receipt, lot.bottling) {
        (Some(receipt), _) => {
            let seller =
                if lot.supplier.is_empty() { String::new() } else { format!(" from {}", lot.supplier) };
            let mark = if lot.supplier_mark.is_empty() {
                String::new()
            } else {
                format!(" Their own mark on it is {}.", lot.supplier_mark)
            };
            format!("Came{seller} on {day} with receipt {receipt}, paid by {}.{mark}", payer(known))
        }
        (None, Some(_)) => format!("Bottled on {day}."),
        (None, None) => format!("Weighed off a batch on {day}."),
    };
    let words = match known.came.as_ref().and_then(|told| told.reversed.as_ref()) {
        Some(back) => format!("{words} Reversed by {} on {}.", back.by, words::when(back.at, who)),
        None => words,
    };
    Origin { words, entry: site.at(&format!("/entries/{}", lot.entry)), batch }
}

fn payer(known: &Known) -> String {
    let lines = known.came.iter().flat_map(|told| &told.lines);
    let mut members = lines.filter(|line| matches!(line.account, Account::Payer(_)));
    members.find_map(|line| line.name.clone()).unwrap_or_else(|| "the club".to_owned())
}

fn trace_view(site: &Site, known: &Known, who: &Doer) -> TraceView {
    let trace = &known.trace;
    let link = |found: &Found| {
        let href = match found.bottling {
            Some(bottling) => format!("/bottles/{bottling}"),
            None => format!("/stores/lots/{}", found.lot),
        };
        (site.at(&href), found_words(found))
    };
    let batch = |(id, code, drink): &(_, String, String)| {
        (site.at(&format!("/batches/{id}")), format!("Batch {code}, {drink}"))
    };
    TraceView {
        lead: trace_lead(&known.lot, trace),
        up: trace.up.iter().map(link).collect(),
        batches: trace.batches.iter().map(batch).collect(),
        down: trace.down.iter().map(link).collect(),
        taken: trace.taken.iter().map(|taken| taken_row(taken, who)).collect(),
    }
}

fn found_words(found: &Found) -> String {
    let bottled = found.bottling.is_some();
    let left = if bottled {
        words::count(found.left.get() / 1000, "bottle", "bottles")
    } else {
        found.left.shown(found.unit)
    };
    let left = if found.left == Milli::ZERO { "nothing left".to_owned() } else { format!("{left} left") };
    let seller = match (&found.receipt, found.supplier.0.as_str()) {
        (Some(receipt), "") => format!(", receipt {receipt}"),
        (Some(receipt), seller) => format!(", {seller}, receipt {receipt}"),
        (None, _) => String::new(),
    };
    let what = if bottled { "Bottling" } else { "Lot" };
    format!("{}, {what} {}{seller}: {left}", found.item, found.code)
}

/// The answer to a recall, in a sentence.
fn trace_lead(lot: &Lot, trace: &Trace) -> String {
    let taken: i64 = trace.taken.iter().map(|taken| taken.bottles).sum();
    let bottled: Vec<&Found> = trace.down.iter().filter(|found| found.bottling.is_some()).collect();
    let left: i64 = bottled.iter().map(|found| found.left.get() / 1000).sum();
    let gone = if taken == 0 { String::new() } else { format!(", {}", hands(&trace.taken)) };
    let more = if trace.cut {
        format!(
            " The trace tells {} lots and batches each way and this one has more: follow those named here for the \
             rest.",
            trace::MOST
        )
    } else {
        String::new()
    };
    let lead = match (lot.bottling, bottled.is_empty()) {
        (Some(_), _) => format!("{} taken from it{gone}.", words::count(taken, "bottle was", "bottles were")),
        (None, true) if trace.batches.is_empty() => "None of it has gone into a batch so far.".to_owned(),
        (None, true) => "No bottle has come of it so far.".to_owned(),
        (None, false) => format!(
            "{} came of it: {left} of them stand here, {taken} were taken{gone}.",
            words::count(left + taken, "bottle", "bottles")
        ),
    };
    format!("{lead}{more}")
}

/// Who took them: "by 5 members and for tastings".
fn hands(taken: &[Taken]) -> String {
    let mut members: Vec<&str> =
        taken.iter().map(|taken| taken.who.as_str()).filter(|who| use_of(who).is_none()).collect();
    members.sort_unstable();
    members.dedup();
    let by = match members[..] {
        [] => None,
        [one] => Some(format!("by {one}")),
        _ => Some(format!("by {} members", members.len())),
    };
    let uses = [("tasted", "opened for tastings"), ("given", "given away"), ("lost", "broken or spoilt")];
    let uses = uses.iter().filter(|(code, _)| taken.iter().any(|taken| taken.who == *code));
    let parts: Vec<String> = by.into_iter().chain(uses.map(|(_, words)| (*words).to_owned())).collect();
    listed(&parts)
}

/// The use that a bottle went to; none where a member took it.
fn use_of(who: &str) -> Option<&'static str> {
    match who {
        "tasted" => Some("Opened for a tasting"),
        "given" => Some("Given away"),
        "lost" => Some("Broken or spoilt"),
        _ => None,
    }
}

fn taken_row(taken: &Taken, who: &Doer) -> TakenRow {
    let said = use_of(&taken.who).unwrap_or(&taken.who);
    TakenRow {
        day: days::tiny(taken.day, who.today()),
        lot: taken.code.clone(),
        bottles: taken.bottles,
        who: said.to_owned(),
    }
}
