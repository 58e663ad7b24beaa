//! Bottles: the list of bottlings, and the page of one, where bottles are taken.

use askama::Template;

mod figures;
pub mod list;
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
use crate::db::bottles::{self as rows, Bottling};
use crate::db::holds;
use crate::db::{AnyConn, Failure, batches, climate, costs, counts, stock, trace};
use crate::domain::bottles::{TastingAge, cost_per_bottle, next_tasting};
use crate::domain::climate::Weighted;
use crate::domain::counts::covered::Covered;
use crate::domain::holds::Hold;
use crate::domain::members::{Doer, Onlooker, Role};
use crate::units::days::{self, Day};
use crate::units::ids::{BottlingId, EntryId, PlaceId};
use crate::units::measure::Measured;
use crate::units::money::Money;
use crate::units::quantity::BaseUnit;

use figures::Figure;

/// Entries on one page of a bottling.
const TRAIL: usize = 20;

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
    left: String,
    of: String,
    covered: Option<String>,
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
    covered: Covered,
}

impl Found {
    fn left(&self) -> i64 {
        self.places.iter().map(|place| place.2).sum()
    }

    /// Whether how many are left is covered for whoever looks, who counts them.
    fn hidden(&self) -> bool {
        self.covered.hides_lot(self.bottling.lot)
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
        covered: counts::covered(conn, doer)?,
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
    if found.hidden() {
        // What moved of it adds up to what is left of it.
        found.entries.clear();
    }
    let (today, left, bottling, hidden) = (who.today(), found.left(), &found.bottling, found.hidden());
    let may_take = who.role >= Role::Taster && left > 0 && found.held.is_none();
    let page = BottlingPage {
        held: found.held.as_ref().map(Hold::words),
        recall: site.at(&format!("/recall/lots/{}", bottling.lot)),
        drink: bottling.name.clone(),
        about: about(bottling, &who),
        batch: (site.at(&format!("/batches/{}", bottling.batch)), batch_code(bottling)),
        reversed: found.reversed,
        said: found.said.as_ref().map(|told| said_of(told, &who)),
        left: if hidden { words::COVERED.to_owned() } else { left.to_string() },
        of: format!("of {} left", words::count(bottling.bottles, "bottle", "bottles")),
        covered: found.covered.words_of([bottling.lot]),
        age: figure(&days::age((today - bottling.bottled_on).num_days())),
        warmth: found.warmth.filter(|age| age.measured > 0.0).map(|age| by_warmth(age.days)),
        tasting: tasting(&found.tastings, today),
        tally: if hidden { String::new() } else { drawn(left, bottling.bottles - left) },
        allergens: found.allergens.join(", "),
        places: found
            .places
            .iter()
            .map(|place| place_row(place, found.covered.hides(bottling.lot, place.0)))
            .collect(),
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
        sharing: shares::of_bottling(&site, &who, &found.sharing).filter(|_| !hidden),
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

fn place_row(place: &(PlaceId, String, i64, Money), hidden: bool) -> PlaceRow {
    let (_, path, bottles, _) = place;
    let (within, name) = path.rsplit_once(stock::WITHIN).unwrap_or(("", path));
    PlaceRow {
        within: within.to_owned(),
        name: name.to_owned(),
        bottles: if hidden { String::new() } else { bottles.to_string() },
        unit: match *bottles {
            _ if hidden => words::COVERED,
            1 => "bottle",
            _ => "bottles",
        },
        tally: if hidden { String::new() } else { drawn(*bottles, 0) },
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
