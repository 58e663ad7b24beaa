//! Bottles: the bottlings of which some are left, those of which none is, and the page of one, where
//! bottles are taken.

use askama::Template;

mod figures;
pub mod take;
#[cfg(test)]
mod tests;

use super::entries::trail_of;
use super::extract::{Paging, Path, Query};
use super::forms::FormView;
use super::frame::Frame;
use super::pictures::tally;
use super::problem::Problem;
use super::respond::{self, Reply};
use super::shares;
use super::site::{Room, Site};
use super::tastings::ageing;
use super::trail::{self, Trail};
use super::words;
use crate::db::books::{self, Told, Which};
use crate::db::bottles::{self as rows, Bottling, Left};
use crate::db::holds;
use crate::db::{AnyConn, Failure, batches, climate, costs, stock, trace};
use crate::domain::bottles::{TastingAge, cost_per_bottle, next_tasting};
use crate::domain::climate::Weighted;
use crate::domain::holds::Hold;
use crate::domain::members::{Doer, Onlooker, Role};
use crate::units::days::{self, Day};
use crate::units::ids::{BottlingId, EntryId, LotId, PlaceId};
use crate::units::measure::Measured;
use crate::units::money::Money;
use crate::units::quantity::BaseUnit;
use crate::units::text::folded;

use figures::Figure;

/// Entries on one page of a bottling.
const TRAIL: usize = 20;

/// Which bottlings are listed, and in what order.
#[derive(serde::Deserialize, utoipa::ToSchema)]
pub struct ListQuery {
    /// `left` (the default) or `gone`.
    pub view: Option<String>,
    /// `age`, the oldest first (the default), or `name`.
    pub sort: Option<String>,
}

/// The views of the list.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum View {
    ByAge,
    ByName,
    Gone,
}

impl View {
    const ALL: [View; 3] = [Self::ByAge, Self::ByName, Self::Gone];

    const fn address(self) -> (&'static str, &'static str) {
        match self {
            Self::ByAge => ("/bottles?sort=age", "By age"),
            Self::ByName => ("/bottles?sort=name", "By name"),
            Self::Gone => ("/bottles?view=gone", "None left"),
        }
    }
}

#[derive(Template)]
#[template(path = "bottles/list.html")]
struct ListPage {
    frame: Frame,
    lead: String,
    views: Vec<(String, &'static str, bool)>,
    gone: bool,
    rows: Vec<ListRow>,
    more: Option<String>,
}

struct ListRow {
    href: String,
    age: String,
    day: String,
    drink: String,
    about: String,
    tasting: Option<String>,
    left: i64,
    of: String,
    tally: String,
    held: bool,
    each: String,
}

/// A bottling with all that its row shows.
struct Listed {
    held: bool,
    left: Left,
    booked: Money,
    tastings: Vec<TastingAge>,
}

/// Bottlings with bottles left, in the order of the view, after one of them; and those of which none is left.
fn listed(
    conn: &mut AnyConn,
    doer: &Doer,
    view: View,
    after: Option<BottlingId>,
    limit: i64,
) -> Result<Vec<Listed>, Failure> {
    let club = doer.club;
    let left = if view == View::Gone {
        let gone = rows::bottlings(conn, club, true, after, limit)?;
        gone.into_iter().map(|bottling| Left { bottling, left: 0, cost: Money::ZERO }).collect()
    } else {
        let before = match after.map(|after| rows::bottling(conn, club, after)) {
            None | Some(Err(Failure::Gone)) => None,
            Some(found) => Some(order(view, &found?)),
        };
        let mut left = rows::with_bottles_left(conn, club)?;
        left.sort_by_key(|left| order(view, &left.bottling));
        left.retain(|left| before.as_ref().is_none_or(|before| order(view, &left.bottling) > *before));
        left.truncate(usize::try_from(limit).unwrap_or(usize::MAX));
        left
    };
    let ids: Vec<BottlingId> = left.iter().map(|left| left.bottling.id).collect();
    let entries: Vec<EntryId> = left.iter().map(|left| left.bottling.entry).collect();
    let booked = costs::booked(conn, &entries)?;
    let mut tastings = rows::tastings(conn, club, &ids)?;
    let lots: Vec<LotId> = left.iter().map(|left| left.bottling.lot).collect();
    let held = holds::of_lots(conn, club, &lots)?;
    let each = |left: Left| Listed {
        held: held.iter().any(|hold| hold.lot == left.bottling.lot),
        booked: booked.get(&left.bottling.entry).copied().unwrap_or_default(),
        tastings: tastings.remove(&left.bottling.id).unwrap_or_default(),
        left,
    };
    Ok(left.into_iter().map(each).collect())
}

/// Where a bottling stands in the order of a view.
fn order(view: View, bottling: &Bottling) -> (String, Day, BottlingId) {
    let name = if view == View::ByName { folded(&bottling.name) } else { String::new() };
    (name, bottling.bottled_on, bottling.id)
}

/// Shows the list.
pub async fn list(who: Onlooker, site: Site, query: Query<ListQuery>, paging: Paging<BottlingId>) -> Reply {
    let typed = |field| query.draft.typed(field).unwrap_or_default();
    let view = match (typed("view").as_str(), typed("sort").as_str()) {
        ("gone", _) => View::Gone,
        (_, "name") => View::ByName,
        _ => View::ByAge,
    };
    let (after, limit) = (paging.after, paging.rows());
    let (facts, found) = site.read(&who, move |conn, doer| listed(conn, doer, view, after, limit)).await?;
    let part = paging.page(found, |listed| listed.left.bottling.id, |listed| list_row(&site, &who, &listed));
    let page = ListPage {
        lead: match facts.bottles {
            0 => "No bottles are laid down just now.".to_owned(),
            bottles => format!("{} laid down.", words::count(bottles, "bottle is", "bottles are")),
        },
        views: View::ALL.map(|one| (site.at(one.address().0), one.address().1, one == view)).into(),
        gone: view == View::Gone,
        rows: part.items,
        more: part.next.map(|next| site.at(&format!("{}&after={next}", view.address().0))),
        frame: site.frame(&who, Room::Bottles, "Bottles", facts),
    };
    respond::page(&page)
}

fn list_row(site: &Site, doer: &Doer, listed: &Listed) -> ListRow {
    let Listed { left: Left { bottling, left, .. }, booked, tastings, held } = listed;
    let today = doer.today();
    let tasting = next_tasting(tastings, today).filter(|_| *left > 0);
    let each = cost_per_bottle(*booked, bottling.bottles);
    ListRow {
        href: site.at(&format!("/bottles/{}", bottling.id)),
        age: days::age((today - bottling.bottled_on).num_days()),
        day: days::short(bottling.bottled_on, today),
        drink: bottling.name.clone(),
        about: format!("Bottling {}, {}", bottling.code, size(bottling)),
        tasting: tasting.map(|(age, day)| tasting_words(&age, day, today)),
        left: *left,
        of: format!("of {}", words::count(bottling.bottles, "bottle", "bottles")),
        tally: drawn(*left, bottling.bottles - left),
        held: *held,
        each: format!("{} a bottle", words::money(&doer.currency, each)),
    }
}

/// "Taste now, at 12 months"; "next tasting in 14 weeks, at 12 months".
fn tasting_words(age: &TastingAge, day: Day, today: Day) -> String {
    let at = days::age(age.age_days);
    match (day - today).num_days() {
        i64::MIN..=0 => format!("Now is the time to taste it, at {at}"),
        wait => format!("Next tasting in {}, at {at}", days::age(wait)),
    }
}

/// "75 cl", "1.5 L": as bottles are named.
pub(super) fn size(bottling: &Bottling) -> String {
    let volume = bottling.bottle_volume;
    let centilitres = volume.get() % 1_000_000 != 0 && volume.get() % 10_000 == 0 && volume.get() < 1_000_000;
    if centilitres { format!("{} cl", volume.get() / 10_000) } else { volume.shown(BaseUnit::Millilitre) }
}

fn drawn(left: i64, gone: i64) -> String {
    let whole = |number: i64| u32::try_from(number.max(0)).unwrap_or(u32::MAX);
    tally(whole(left), whole(gone), "bottle", "bottles")
}

/// What the page of a bottling may be asked.
#[derive(serde::Deserialize, utoipa::ToSchema)]
pub struct ShowQuery {
    /// The entry that was just recorded.
    pub said: Option<String>,
}

#[derive(Template)]
#[template(path = "bottles/bottling.html")]
struct BottlingPage {
    frame: Frame,
    href: String,
    drink: String,
    about: String,
    batch: (String, String),
    reversed: bool,
    said: Option<(String, String)>,
    left: i64,
    of: String,
    age: (String, String),
    /// Its age by the warmth of its shelves, where some of it was measured.
    warmth: Option<String>,
    tasting: (String, String, String),
    tally: String,
    allergens: String,
    held: Option<String>,
    recall: String,
    places: Vec<PlaceRow>,
    move_hrefs: Option<(String, String)>,
    form: Option<FormView>,
    figures: Vec<Figure>,
    ages: Vec<AgeRow>,
    id: BottlingId,
    may_plan: bool,
    /// What its tastings say of its age.
    age_view: Option<ageing::View>,
    /// Whose its bottles are.
    sharing: Option<shares::OfBottling>,
    trail: Trail,
}

struct PlaceRow {
    within: String,
    name: String,
    bottles: String,
    unit: &'static str,
    tally: String,
}

struct AgeRow {
    age: String,
    day: String,
    state: String,
    here: bool,
}

/// All that the page of a bottling shows.
struct Found {
    bottling: Bottling,
    reversed: bool,
    places: Vec<(PlaceId, String, i64, Money)>,
    booked: Money,
    tastings: Vec<TastingAge>,
    told: ageing::Told,
    allergens: Vec<String>,
    held: Option<Hold>,
    gravity: Option<(Measured, days::Instant)>,
    /// Its age by the warmth of its shelves.
    warmth: Option<Weighted>,
    entries: Vec<Told>,
    said: Option<Told>,
    sharing: shares::Found,
}

impl Found {
    fn left(&self) -> i64 {
        self.places.iter().map(|place| place.2).sum()
    }

    fn each(&self) -> Money {
        cost_per_bottle(self.booked, self.bottling.bottles)
    }
}

fn find(
    conn: &mut AnyConn,
    doer: &Doer,
    id: BottlingId,
    before: Option<EntryId>,
    said: Option<EntryId>,
) -> Result<Option<Found>, Failure> {
    let club = doer.club;
    let bottling = match rows::bottling(conn, club, id) {
        Err(Failure::Gone) => return Ok(None),
        found => found?,
    };
    let limit = i64::try_from(TRAIL).unwrap_or(i64::MAX) + 1;
    let said = match said {
        Some(said) => books::tell(conn, club, Which::One(said), None, 1)?.pop(),
        None => None,
    };
    let tastings = rows::tastings(conn, club, &[id])?.remove(&id).unwrap_or_default();
    Ok(Some(Found {
        told: ageing::told(conn, doer, &bottling, &tastings)?,
        reversed: rows::is_reversed(conn, &bottling)?,
        places: rows::standing(conn, club, bottling.lot)?,
        booked: costs::booked(conn, &[bottling.entry])?.remove(&bottling.entry).unwrap_or_default(),
        tastings,
        allergens: trace::allergens(conn, bottling.lot)?,
        held: holds::of_lots(conn, club, &[bottling.lot])?.pop(),
        warmth: climate::ages(conn, club, &[bottling.lot], doer.today())?.remove(&bottling.lot),
        gravity: batches::gravity_ends(conn, &[bottling.batch])?.first().map(|ends| (ends.2, ends.3)),
        entries: books::tell(conn, club, Which::Bottling(id), before, limit)?,
        said: said.filter(|told| told.bottling == Some(id)),
        sharing: shares::find(conn, doer, &bottling)?,
        bottling,
    }))
}

/// Shows a bottling.
pub async fn show(
    who: Onlooker,
    site: Site,
    path: Path<BottlingId>,
    query: Query<ShowQuery>,
    paging: Paging<EntryId>,
) -> Reply {
    let (id, before) = (path.0, paging.after);
    let said = query.draft.typed("said").and_then(|entry| entry.parse().ok());
    let (facts, found) = site.read(&who, move |conn, doer| find(conn, doer, id, before, said)).await?;
    let mut found = found.ok_or_else(|| Problem::missing("bottling"))?;
    let href = site.at(&format!("/bottles/{id}"));
    let more = (found.entries.len() > TRAIL).then(|| {
        found.entries.truncate(TRAIL);
        format!("{href}?after={}#en", found.entries[TRAIL - 1].id)
    });
    let (today, left, bottling) = (who.today(), found.left(), &found.bottling);
    let may_take = who.role >= Role::Taster && left > 0 && found.held.is_none();
    let page = BottlingPage {
        held: found.held.as_ref().map(Hold::words),
        recall: site.at(&format!("/recall/lots/{}", bottling.lot)),
        drink: bottling.name.clone(),
        about: about(bottling, &who),
        batch: (site.at(&format!("/batches/{}", bottling.batch)), batch_code(bottling)),
        reversed: found.reversed,
        said: found.said.as_ref().map(|told| said_of(told, &who)),
        left,
        of: format!("of {} left", words::count(bottling.bottles, "bottle", "bottles")),
        age: figure(&days::age((today - bottling.bottled_on).num_days())),
        warmth: found.warmth.filter(|age| age.measured > 0.0).map(|age| by_warmth(age.days)),
        tasting: tasting(&found.tastings, today),
        tally: drawn(left, bottling.bottles - left),
        allergens: found.allergens.join(", "),
        places: found.places.iter().map(place_row).collect(),
        move_hrefs: (who.role >= Role::Cellarhand && left > 0).then(|| {
            let lot = site.at(&format!("/stores/lots/{}", bottling.lot));
            (format!("{lot}/move"), lot)
        }),
        form: if may_take { Some(take::form(&site, &who, &found).await?) } else { None },
        figures: figures::of(&who, &found),
        ages: found.tastings.iter().map(|age| age_row(age, &found.tastings, &found.told, today)).collect(),
        id,
        may_plan: who.role >= Role::Cellarhand && left > 0,
        age_view: ageing::view(&site, &who, bottling, &found.told, who.role >= Role::Cellarhand && left > 0),
        sharing: shares::of_bottling(&site, &who, &found.sharing),
        trail: trail_of(&site, &who, &found.entries, more),
        frame: site.frame(
            &who,
            Room::Bottles,
            &format!("{}, bottling {}", bottling.name, bottling.code),
            facts,
        ),
        href,
    };
    respond::page(&page)
}

fn about(bottling: &Bottling, doer: &Doer) -> String {
    let mut parts = vec![
        format!("Bottling {}", bottling.code),
        format!("laid down {}", days::short(bottling.bottled_on, doer.today())),
        size(bottling),
    ];
    parts.extend(bottling.strength.map(|strength| format!("about {:.1} % vol", strength.number())));
    parts.join(" · ")
}

/// A bottling's code is that of its batch with a number behind it.
fn batch_code(bottling: &Bottling) -> String {
    bottling.code.rsplit_once('-').map_or(&*bottling.code, |(batch, _)| batch).to_owned()
}

fn said_of(told: &Told, doer: &Doer) -> (String, String) {
    let row = trail::row(told, doer);
    (format!("{}. {}", row.title, row.detail), row.id)
}

/// "about 14 months".
#[allow(clippy::cast_possible_truncation, reason = "days of a life")]
pub(super) fn by_warmth(in_days: f64) -> String {
    format!("about {}", days::age(in_days.round() as i64))
}

/// Number and unit apart: "12" and "months".
fn figure(age: &str) -> (String, String) {
    let (number, unit) = age.split_once(' ').unwrap_or((age, ""));
    (number.to_owned(), unit.to_owned())
}

/// The third figure of the answer: number, unit, and what it says.
fn tasting(ages: &[TastingAge], today: Day) -> (String, String, String) {
    let Some((age, day)) = next_tasting(ages, today) else {
        let says = if ages.is_empty() { "no tasting ages were set" } else { "no tasting is to come" };
        return ("–".to_owned(), String::new(), says.to_owned());
    };
    let at = days::age(age.age_days);
    match (day - today).num_days() {
        i64::MIN..=0 => {
            let since =
                if day < today { format!(", since {}", days::short(day, today)) } else { String::new() };
            (
                "Now".to_owned(),
                String::new(),
                format!("is the time to taste it: the tasting at {at} is due{since}"),
            )
        }
        wait => {
            let (number, unit) = figure(&days::age(wait));
            (number, unit, format!("until the tasting at {at}, on {}", days::short(day, today)))
        }
    }
}

fn place_row(place: &(PlaceId, String, i64, Money)) -> PlaceRow {
    let (_, path, bottles, _) = place;
    let (within, name) = path.rsplit_once(stock::WITHIN).unwrap_or(("", path));
    PlaceRow {
        within: within.to_owned(),
        name: name.to_owned(),
        bottles: bottles.to_string(),
        unit: if *bottles == 1 { "bottle" } else { "bottles" },
        tally: drawn(*bottles, 0),
    }
}

fn age_row(age: &TastingAge, all: &[TastingAge], told: &ageing::Told, today: Day) -> AgeRow {
    let waits_for = age.waits_for(today);
    let state = match (age.reminder, waits_for) {
        _ if told.tasted(age, all) => "tasted".to_owned(),
        (Some((_, true)), _) => "done".to_owned(),
        (_, None) => "passed".to_owned(),
        (_, Some(day)) if day <= today => "due".to_owned(),
        (_, Some(day)) if day != age.falls_on => format!("put off to {}", days::short(day, today)),
        (_, Some(day)) => format!("in {}", days::age((day - today).num_days())),
    };
    AgeRow {
        age: if age.by_warmth {
            format!("{} by warmth, about", days::age(age.age_days))
        } else {
            days::age(age.age_days)
        },
        day: days::short(age.falls_on, today),
        state,
        here: next_tasting(all, today).is_some_and(|(next, _)| next.age_days == age.age_days),
    }
}
