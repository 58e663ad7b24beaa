//! The stores as they stand, or as they stood on a past day: what is there, what it is worth, what to
//! use soon, what is low. Sifting and paging live in the address.

use askama::Template;

use super::sift::{Sift, StoresQuery};
use super::{Paths, figure_and_unit, listed, seen_figure};
use crate::db::books::{self, Told, Which};
use crate::db::holds;
use crate::db::reminders::Facts;
use crate::db::stock::{self as rows, Place, StockFilter, Stocked};
use crate::db::{AnyConn, Failure, counts};
use crate::domain::books::Account;
use crate::domain::counts::covered::Covered;
use crate::domain::holds::Hold;
use crate::domain::members::{Doer, Onlooker, Role};
use crate::domain::stock::{Item, ItemKind};
use crate::units::days::{self, Day};
use crate::units::ids::{EntryId, ItemId};
use crate::units::money::Money;
use crate::units::quantity::Milli;
use crate::web::extract::{Paging, Query};
use crate::web::frame::Frame;
use crate::web::respond::{self, Reply};
use crate::web::site::{Room, Site};
use crate::web::words;

/// How far ahead a last good day is soon, in days.
const SOON_DAYS: i64 = 14;
/// Lots to use soon that are shown at once; the others fold.
const SOON_SHOWN: usize = 6;

/// What the page of the stores is made of.
pub struct Seen {
    lots: usize,
    worth: Vec<(ItemKind, Money)>,
    /// The lines of the items on this page.
    lines: Vec<Stocked>,
    next: Option<String>,
    soon: Vec<Stocked>,
    low: Vec<(ItemId, Item, Milli)>,
    places: Vec<Place>,
    received: Option<Told>,
    keeps_items: bool,
    /// What is on hold, now.
    held: Vec<Hold>,
    /// What is covered for whoever looks, who counts it.
    covered: Covered,
}

fn see(
    conn: &mut AnyConn,
    doer: &Doer,
    sift: &Sift,
    paging: &Paging<ItemId>,
    received: Option<EntryId>,
) -> Result<Seen, Failure> {
    let club = doer.club;
    sift.check(conn, club)?;
    let mut seen = match sift.on {
        Some(day) => seen_on(conn, doer, sift, day, paging)?,
        None => seen_now(conn, doer, sift, paging)?,
    };
    seen.places = rows::places(conn, club)?;
    seen.held = holds::all(conn, club)?;
    seen.covered = counts::covered(conn, doer)?;
    seen.keeps_items = !rows::items_after(conn, club, None, 1)?.is_empty();
    if let Some(entry) = received {
        let told = books::tell(conn, club, Which::One(entry), None, 1)?.pop();
        seen.received = told.filter(|told| told.reversed.is_none());
    }
    Ok(seen)
}

fn seen_now(conn: &mut AnyConn, doer: &Doer, sift: &Sift, paging: &Paging<ItemId>) -> Result<Seen, Failure> {
    let club = doer.club;
    let filter = sift.filter();
    let found = rows::stocked_items(conn, club, &filter, paging.after, paging.rows())?;
    let page = paging.page(found, |item| *item, |item| item);
    let lines = if page.items.is_empty() {
        Vec::new()
    } else {
        rows::stock(conn, club, &StockFilter { items: page.items, ..filter })?
    };
    Ok(Seen {
        lots: rows::lots_in_stock(conn, club)?,
        worth: rows::value_by_kind(conn, club)?,
        lines,
        next: page.next,
        soon: rows::expiring(conn, club, doer.today() + chrono::Duration::days(SOON_DAYS))?,
        low: rows::low(conn, club)?,
        places: Vec::new(),
        received: None,
        keeps_items: false,
        held: Vec::new(),
        covered: Covered::default(),
    })
}

fn seen_on(
    conn: &mut AnyConn,
    doer: &Doer,
    sift: &Sift,
    day: Day,
    paging: &Paging<ItemId>,
) -> Result<Seen, Failure> {
    let mut lines = rows::stock_on(conn, doer.club, day)?;
    let within = sift.place.map(|place| rows::within(conn, doer.club, place)).transpose()?;
    let (lots, worth) = (count_lots(&lines), worth_of(&lines));
    sift.keep(&mut lines, within.as_deref());
    let mut items: Vec<ItemId> = lines.iter().map(|line| line.item).collect();
    items.dedup();
    if let Some(at) = paging.after.and_then(|after| items.iter().position(|item| *item == after)) {
        items.drain(..=at);
    }
    let page = paging.page(items, |item| *item, |item| item);
    lines.retain(|line| page.items.contains(&line.item));
    Ok(Seen {
        lots,
        worth,
        lines,
        next: page.next,
        soon: Vec::new(),
        low: Vec::new(),
        places: Vec::new(),
        received: None,
        keeps_items: false,
        held: Vec::new(),
        covered: Covered::default(),
    })
}

fn count_lots(lines: &[Stocked]) -> usize {
    lines.iter().map(|line| line.lot).collect::<std::collections::BTreeSet<_>>().len()
}

fn worth_of(lines: &[Stocked]) -> Vec<(ItemKind, Money)> {
    let of = |kind| lines.iter().filter(|line| line.kind == kind).map(|line| line.cost).sum();
    ItemKind::ALL.into_iter().map(|kind| (kind, of(kind))).collect()
}

#[derive(Template)]
#[template(path = "stores/overview.html")]
struct OverviewPage {
    frame: Frame,
    headline: String,
    lead: String,
    /// Why something is covered.
    covered: Option<String>,
    said: Option<Said>,
    may_record: bool,
    /// Where the place that is looked at can be changed, and its name.
    change_place: Option<(String, String)>,
    /// Where the climate of that place is told.
    climate: Option<String>,
    /// Nothing was ever kept: the page says how to begin.
    begins: Option<Begins>,
    soon: Vec<SoonRow>,
    soon_folded: Vec<SoonRow>,
    low: Vec<LowRow>,
    sift: SiftView,
    items: Vec<ItemRow>,
    more: Option<String>,
    csv: String,
    worth: Vec<WorthRow>,
    currency_sign: String,
}

/// What was just recorded.
struct Said {
    words: String,
    lots: Vec<(String, String)>,
    entry: String,
}

/// What there is already on the way to the first receipt.
struct Begins {
    places: bool,
    items: bool,
}

struct SoonRow {
    late: bool,
    until: String,
    day: String,
    href: String,
    name: String,
    where_it_is: String,
    figure: String,
    unit: String,
}

struct LowRow {
    href: String,
    name: String,
    left: String,
    low_at: String,
    receive: String,
}

struct SiftView {
    /// Nothing is sifted out.
    open: bool,
    folded: bool,
    kinds: Vec<(&'static str, &'static str, bool)>,
    name: String,
    places: Vec<(String, String, bool)>,
    /// The day as typed, and what is wrong with it.
    on: String,
    wrong: Option<String>,
    all: String,
}

/// An item with its lots.
struct ItemRow {
    href: String,
    name: String,
    drink: bool,
    amount: String,
    cost: String,
    lots: Vec<LotRow>,
}

struct LotRow {
    href: String,
    code: String,
    about: String,
    late: bool,
    figure: String,
    unit: String,
}

struct WorthRow {
    href: String,
    name: &'static str,
    value: String,
}

/// The stores.
pub async fn show(who: Onlooker, site: Site, query: Query<StoresQuery>, paging: Paging<ItemId>) -> Reply {
    let (sift, wrong_day) = Sift::read_by_hand(&query.draft, &who)?;
    let received = query.draft.read(&who, |r| r.optional_id("received", "entry"))?;
    let (asked, first) = (sift.clone(), paging.after.is_none());
    let (facts, seen) = site.read(&who, move |conn, doer| see(conn, doer, &asked, &paging, received)).await?;
    let frame = site.frame(&who, Room::Stores, "Stores", facts);
    let mut page = page(&site, &who, frame, &sift, first, seen);
    let Some((typed, refusal)) = wrong_day else { return respond::page(&page) };
    page.sift.wrong = refusal.faults.first().map(|fault| fault.message.clone());
    page.sift.on = typed;
    page.sift.folded = false;
    (page.soon, page.soon_folded, page.low) = Default::default();
    respond::refused(&page, &refusal)
}

/// Reads the first page of all that is there.
pub fn find(conn: &mut AnyConn, doer: &Doer) -> Result<Seen, Failure> {
    see(conn, doer, &Sift::default(), &Paging::first(), None)
}

/// The first page of all that is there, from what was read.
pub fn first_page(site: &Site, who: &Doer, facts: Facts, seen: Seen) -> impl Template + use<> {
    let frame = site.frame(who, Room::Stores, "Stores", facts);
    page(site, who, frame, &Sift::default(), true, seen)
}

fn page(site: &Site, who: &Doer, frame: Frame, sift: &Sift, first: bool, seen: Seen) -> OverviewPage {
    let today = who.today();
    let begins = (seen.lots == 0 && seen.lines.is_empty() && sift.is_open() && sift.on.is_none())
        .then_some(Begins { places: !seen.places.is_empty(), items: seen.keeps_items });
    let worth: Money = seen.worth.iter().map(|row| row.1).sum();
    let late = seen.soon.iter().filter(|line| line.best_before.is_some_and(|day| day < today)).count();
    let paths = Paths::of(&seen.places);
    // A view of a part goes straight to its list.
    let whole = first && sift.is_open();
    let shown = if whole { seen.soon.as_slice() } else { &[] };
    let mut soon: Vec<SoonRow> =
        shown.iter().map(|line| soon_row(site, &paths, line, today, &seen.covered)).collect();
    let soon_folded = if soon.len() > SOON_SHOWN + 1 { soon.split_off(SOON_SHOWN) } else { Vec::new() };
    OverviewPage {
        headline: headline(seen.lots, &words::money(&who.currency, worth), sift.on),
        lead: match sift.on {
            Some(_) => "Each lot counts at what it had cost.".to_owned(),
            None => lead(late, seen.soon.len() - late, today, seen.low.len()),
        },
        covered: seen.covered.words(),
        said: seen.received.as_ref().map(|told| said(site, told)),
        may_record: who.role >= Role::Cellarhand,
        change_place: seen
            .places
            .iter()
            .find(|place| who.role >= Role::Cellarhand && sift.place == Some(place.id))
            .map(|place| (site.at(&format!("/stores/places/{}/edit", place.id)), place.name.clone())),
        climate: sift.place.map(|place| site.at(&format!("/stores/places/{place}/climate"))),
        begins,
        soon,
        soon_folded,
        low: seen.low.iter().filter(|_| whole).map(|row| low_row(site, row, &seen.covered)).collect(),
        items: item_rows(site, who, &paths, sift.on.unwrap_or(today), &seen),
        more: seen.next.map(|next| site.at(&sift.address("/stores", Some(&next)))),
        csv: site.at(&sift.address("/stores/stock.csv", None)),
        worth: worth_rows(site, sift, &seen.worth),
        currency_sign: words::sign(&who.currency).trim().to_owned(),
        sift: sift_view(site, sift, &seen.places),
        frame,
    }
}

fn headline(lots: usize, worth: &str, on: Option<Day>) -> String {
    let what = match lots {
        0 => "nothing in stock".to_owned(),
        lots => {
            format!("{}, worth {worth}", words::count(lots.try_into().unwrap_or(i64::MAX), "lot", "lots"))
        }
    };
    match on {
        Some(day) => format!("On {}: {what}", days::long(day)),
        None => words::capital(&what),
    }
}

/// What asks for something: "3 lots are past their day, 2 are to be used by 7 July and 1 item is low."
fn lead(late: usize, soon: usize, today: Day, low: usize) -> String {
    let until = days::tiny(today + chrono::Duration::days(SOON_DAYS), today);
    let mut parts = Vec::new();
    match late {
        0 => {}
        1 => parts.push("1 lot is past its day".to_owned()),
        more => parts.push(format!("{more} lots are past their day")),
    }
    match (soon, late) {
        (0, _) => {}
        (1, 0) => parts.push(format!("1 lot is to be used by {until}")),
        (more, 0) => parts.push(format!("{more} lots are to be used by {until}")),
        (1, _) => parts.push(format!("1 is to be used by {until}")),
        (more, _) => parts.push(format!("{more} are to be used by {until}")),
    }
    match low {
        0 => {}
        1 => parts.push("1 item is low".to_owned()),
        more => parts.push(format!("{more} items are low")),
    }
    if parts.is_empty() {
        return format!("Nothing has to be used by {until}, and nothing is low.");
    }
    format!("{}.", listed(&parts))
}

fn said(site: &Site, told: &Told) -> Said {
    let lots = told.lines.iter().filter_map(|line| match (line.account, &line.lot, line.unit) {
        (Account::Stock { lot, .. }, Some((code, item)), Some(unit)) => {
            let words = format!("{code}: {item}, {}", line.quantity.shown(unit));
            Some((site.at(&format!("/stores/lots/{lot}")), words))
        }
        _ => None,
    });
    let code = told.code.clone().unwrap_or_default();
    Said {
        words: format!("Receipt {code} is recorded. Write the lot on what you put away:"),
        lots: lots.collect(),
        entry: site.at(&format!("/entries/{}", told.id)),
    }
}

fn soon_row(site: &Site, paths: &Paths, line: &Stocked, today: Day, covered: &Covered) -> SoonRow {
    let day = line.best_before.unwrap_or(today);
    let (figure, unit) = seen_figure(line, covered);
    SoonRow {
        late: day < today,
        until: words::until(day, today),
        day: days::short(day, today),
        href: site.at(&format!("/stores/lots/{}", line.lot)),
        name: line.name.clone(),
        where_it_is: format!("Lot {}, {}", line.code, paths.short(&line.path)),
        figure,
        unit,
    }
}

fn low_row(site: &Site, (id, item, left): &(ItemId, Item, Milli), covered: &Covered) -> LowRow {
    LowRow {
        href: site.at(&format!("/stores/items/{id}")),
        name: item.name.clone(),
        left: match *left {
            _ if covered.hides_item(*id) => words::COVERED.to_owned(),
            Milli::ZERO => "None".to_owned(),
            left => left.shown(item.unit),
        },
        low_at: item.low_at.unwrap_or_default().shown(item.unit),
        receive: site.at(&format!("/stores/receipts/new?item={id}")),
    }
}

fn item_rows(site: &Site, who: &Doer, paths: &Paths, on: Day, seen: &Seen) -> Vec<ItemRow> {
    let row = |lines: &[Stocked]| {
        let first = lines.first()?;
        let quantity: Milli = lines.iter().map(|line| line.quantity).sum();
        let cost: Money = lines.iter().map(|line| line.cost).sum();
        let (figure, unit) = figure_and_unit(quantity, first.unit, first.kind);
        let hidden = seen.covered.hides_item(first.item);
        Some(ItemRow {
            // A lot alone is gone to at once; it leads on to its item.
            href: site.at(&match lines {
                [only] => format!("/stores/lots/{}", only.lot),
                _ => format!("/stores/items/{}", first.item),
            }),
            name: first.name.clone(),
            drink: first.kind == ItemKind::Drink,
            amount: if hidden { words::COVERED.to_owned() } else { format!("{figure} {unit}") },
            cost: if hidden { "you count it".to_owned() } else { words::money(&who.currency, cost) },
            lots: lines
                .iter()
                .map(|line| lot_row(site, who, paths, on, line, (lines.len() > 1, seen)))
                .collect(),
        })
    };
    seen.lines.chunk_by(|one, next| one.item == next.item).filter_map(row).collect()
}

/// One of `several` lots says what it cost; of one alone, the item says it.
fn lot_row(
    site: &Site,
    who: &Doer,
    paths: &Paths,
    on: Day,
    line: &Stocked,
    (several, seen): (bool, &Seen),
) -> LotRow {
    let held = seen.held.iter().any(|hold| hold.lot == line.lot);
    let late = held || line.best_before.is_some_and(|day| day < on);
    let (figure, unit) = seen_figure(line, &seen.covered);
    let mut about = vec![paths.short(&line.path).to_owned()];
    about.extend(held.then(|| "on hold".to_owned()));
    about.extend(line.best_before.map(|day| {
        let day = days::tiny(day, who.today());
        match (late, line.opened_on) {
            (true, _) => format!("past its day, {day}"),
            (false, Some(_)) => format!("open, good until {day}"),
            (false, None) => format!("best before {day}"),
        }
    }));
    let told = several && !seen.covered.hides(line.lot, line.place);
    about.extend(told.then(|| words::money(&who.currency, line.cost)));
    LotRow {
        href: site.at(&format!("/stores/lots/{}", line.lot)),
        code: line.code.clone(),
        about: about.join(" · "),
        late,
        figure,
        unit,
    }
}

fn worth_rows(site: &Site, sift: &Sift, worth: &[(ItemKind, Money)]) -> Vec<WorthRow> {
    let row = |(kind, value): &(ItemKind, Money)| WorthRow {
        href: site.at(&Sift { kind: Some(*kind), on: sift.on, ..Sift::default() }.address("/stores", None)),
        name: kind.heading(),
        value: words::figure(*value),
    };
    worth.iter().filter(|row| row.1 != Money::ZERO).map(row).collect()
}

fn sift_view(site: &Site, sift: &Sift, places: &[Place]) -> SiftView {
    let kind = |kind: ItemKind| (kind.code(), kind.heading(), sift.kind == Some(kind));
    let paths = Paths::of(places);
    let short = |place: &Place| paths.short(&place.path).to_owned();
    let place = |place: &Place| (place.id.to_string(), short(place), sift.place == Some(place.id));
    SiftView {
        open: sift.is_open(),
        folded: sift.is_open() && sift.on.is_none(),
        kinds: ItemKind::ALL.into_iter().map(kind).collect(),
        name: sift.name.clone(),
        places: places.iter().map(place).collect(),
        on: sift.on.map(days::long).unwrap_or_default(),
        wrong: None,
        all: site.at(&Sift { on: sift.on, ..Sift::default() }.address("/stores", None)),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_page_says_first_what_asks_for_something() {
        let today: Day = "2026-06-23".parse().unwrap();
        assert_eq!(lead(0, 0, today, 0), "Nothing has to be used by 7 Jul, and nothing is low.");
        assert_eq!(lead(1, 0, today, 0), "1 lot is past its day.");
        assert_eq!(
            lead(3, 2, today, 1),
            "3 lots are past their day, 2 are to be used by 7 Jul and 1 item is low."
        );
        assert_eq!(headline(0, "€0.00", None), "Nothing in stock");
        assert_eq!(headline(1, "€2.00", Some(today)), "On 23 June 2026: 1 lot, worth €2.00");
    }
}
