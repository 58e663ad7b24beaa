//! The cellar by its places: how full each is and how old what stands there is; bottles are looked for, more are put
//! where they find room, and many fillings are carried at once.

use askama::Template;

use super::body::Form;
use super::extract::{Path, Query};
use super::form_page::FormPage;
use super::forms::{Choice, Field, FormView, Group};
use super::frame::Frame;
use super::input::Draft;
use super::pictures::{ShelfRow, Shelves, shelves};
use super::problem::Problem;
use super::respond::{self, Reply};
use super::site::{Room, Site};
use super::words;
use crate::actions::cellar::{Carrying, carry_bottles};
use crate::db::reminders::Facts;
use crate::db::stock::{self, Place};
use crate::db::{AnyConn, Failure, cellar as rows, counts};
use crate::domain::cellar::{Proposal, Sought, Spot, Stand, Wanted, propose};
use crate::domain::members::{Cellarhand, Doer, Onlooker, Role};
use crate::domain::refusal::Refusal;
use crate::units::days::{self, Day};
use crate::units::ids::{LotId, PlaceId};

pub mod ahead;

/// Rows of a search that are shown; the search says when there are more.
const MOST_FOUND: usize = 100;
/// The most bottles that are put somewhere at once.
const MOST_WANTED: u32 = 100_000;

/// What is looked for, and how many bottles are to be put somewhere.
#[derive(serde::Deserialize, utoipa::ToSchema)]
pub struct CellarQuery {
    /// Words that code, drink or place hold.
    pub words: Option<String>,
    /// At least so many months old.
    pub from_months: Option<String>,
    /// At most so many months old.
    pub until_months: Option<String>,
    /// At this place or within it.
    pub place: Option<String>,
    /// How many bottles are to be put somewhere.
    pub put: Option<String>,
    /// Of which drink.
    pub drink: Option<String>,
}

/// What was asked, as far as it can be read.
pub struct Asked {
    /// What is looked for; places are filled in from the database.
    pub sought: Sought,
    /// At this place or within it.
    pub place: Option<PlaceId>,
    /// What is to be put somewhere.
    pub wanted: Option<Wanted>,
}

/// Reads what was asked, from an address.
pub fn read(draft: &Draft, doer: &Doer) -> Result<Asked, Refusal> {
    draft.read(doer, |r| {
        let days = |months: u32| i64::from(months) * 365 / 12;
        let words = r.optional_line("words", 80, "what is looked for");
        let from_age = r.optional_whole("from_months", 0..=1200).map(days);
        // Up to the end of that month of age.
        let until_age = r.optional_whole("until_months", 0..=1200).map(|months| days(months + 1) - 1);
        let drink = r.optional_line("drink", 80, "the drink");
        let drink = (!drink.is_empty()).then_some(drink);
        Asked {
            sought: Sought { words, from_age, until_age, places: None },
            place: r.optional_id("place", "place"),
            wanted: r
                .optional_whole("put", 1..=MOST_WANTED)
                .map(|bottles| Wanted { bottles: i64::from(bottles), drink }),
        }
    })
}

/// What is shown.
pub struct Seen {
    /// The places for bottles.
    pub spots: Vec<Spot>,
    /// What was found, where something was looked for.
    pub found: Option<Vec<Stand>>,
    /// Where they should go, and how many find no room.
    pub proposed: Option<(Vec<Proposal>, i64)>,
    /// All places.
    pub places: Vec<Place>,
}

/// Looks, and proposes.
pub fn see(conn: &mut AnyConn, doer: &Doer, asked: &Asked) -> Result<Seen, Failure> {
    let mut sought = asked.sought.clone();
    sought.places = asked.place.map(|place| stock::within(conn, doer.club, place)).transpose()?;
    let spots = rows::spots(conn, doer.club, doer.today())?;
    let meant = |stand: &&Stand| sought.finds(stand, doer.today());
    let found = sought.is_any().then(|| {
        let mut found: Vec<Stand> =
            spots.iter().flat_map(|spot| &spot.stands).filter(meant).cloned().collect();
        found.sort_by_key(|stand| (stand.bottled_on, stand.bottling));
        found
    });
    let proposed = asked.wanted.as_ref().map(|wanted| propose(&spots, wanted));
    Ok(Seen { found, proposed, places: stock::places(conn, doer.club)?, spots })
}

#[derive(Template)]
#[template(path = "cellar/cellar.html")]
struct CellarPage {
    frame: Frame,
    lead: String,
    picture: String,
    spots: Vec<SpotRow>,
    unsaid: usize,
    asked: Typed,
    places: Vec<(String, String, bool)>,
    found: Option<(String, Vec<FoundRow>)>,
    proposed: Option<Proposed>,
    problem: Option<String>,
}

/// What stands in the fields of the page.
#[derive(Default)]
struct Typed {
    words: String,
    from_months: String,
    until_months: String,
    put: String,
    drink: String,
}

struct SpotRow {
    path: String,
    holds: String,
    free: String,
    ages: String,
    air: String,
    carry: Option<String>,
}

struct FoundRow {
    href: String,
    drink: String,
    code: String,
    age: String,
    path: String,
    bottles: i64,
}

struct Proposed {
    lead: String,
    rows: Vec<(String, String, String)>,
}

/// A page in the place of one that adds up what is covered for whoever looks, who counts it.
#[derive(Template)]
#[template(path = "cellar/covered.html")]
struct CoveredPage {
    frame: Frame,
    title: &'static str,
    words: String,
}

fn covered_page(site: &Site, who: &Doer, title: &'static str, words: String, facts: Facts) -> Reply {
    respond::page(&CoveredPage { frame: site.frame(who, Room::Bottles, title, facts), title, words })
}

/// Shows the cellar.
pub async fn show(who: Onlooker, site: Site, query: Query<CellarQuery>) -> Reply {
    let typed = |field| query.draft.typed(field).unwrap_or_default();
    let fields = Typed {
        words: typed("words"),
        from_months: typed("from_months"),
        until_months: typed("until_months"),
        put: typed("put"),
        drink: typed("drink"),
    };
    // An address that cannot be read shows the cellar with what is wrong, rather than nothing.
    let (asked, problem) = match read(&query.draft, &who) {
        Ok(asked) => (asked, None),
        Err(refusal) => {
            (Asked { sought: Sought::default(), place: None, wanted: None }, Some(refusal.to_string()))
        }
    };
    let place = asked.place;
    let read = site.read(&who, move |conn, doer| {
        let seen = see(conn, doer, &asked)?;
        Ok((seen, counts::covered(conn, doer)?))
    });
    let (facts, (seen, covered)) = read.await?;
    if let Some(words) = covered.words_of(seen.spots.iter().flat_map(|spot| &spot.stands).map(|one| one.lot))
    {
        return covered_page(&site, &who, "The cellar by its places", words, facts);
    }
    let page = CellarPage {
        lead: lead(&seen.spots),
        picture: picture(&seen.spots, who.today()),
        unsaid: seen.spots.iter().filter(|spot| spot.capacity.is_none()).count(),
        spots: seen.spots.iter().map(|spot| spot_row(&site, &who, spot)).collect(),
        asked: fields,
        places: seen
            .places
            .iter()
            .map(|one| (one.id.to_string(), one.path.clone(), place == Some(one.id)))
            .collect(),
        found: seen.found.as_ref().map(|found| found_rows(&site, found, who.today())),
        proposed: seen.proposed.as_ref().map(|(found, left)| proposed(found, *left)),
        problem,
        frame: site.frame(&who, Room::Bottles, "The cellar by its places", facts),
    };
    respond::page(&page)
}

fn lead(spots: &[Spot]) -> String {
    let bottles: i64 = spots.iter().map(Spot::bottles).sum();
    let free: i64 = spots.iter().filter_map(Spot::free).sum();
    let places = words::count(i64::try_from(spots.len()).unwrap_or(0), "place", "places");
    match spots.iter().any(|spot| spot.capacity.is_some()) {
        _ if spots.is_empty() => "No bottles are laid down, and no place says how many it takes.".to_owned(),
        true => format!("{} at {places}; {free} more find room.", words::count(bottles, "bottle", "bottles")),
        false => format!("{} at {places}.", words::count(bottles, "bottle", "bottles")),
    }
}

/// "42 of 60", or "42".
fn holds(spot: &Spot) -> String {
    match spot.capacity {
        Some(takes) => format!("{} of {takes}", spot.bottles()),
        None => spot.bottles().to_string(),
    }
}

fn years(stand: &Stand, today: Day) -> u32 {
    u32::try_from((today - stand.bottled_on).num_days() / 365).unwrap_or(0)
}

fn picture(spots: &[Spot], today: Day) -> String {
    let whole = |number: i64| u32::try_from(number.max(0)).unwrap_or(u32::MAX);
    let row = |spot: &Spot| ShelfRow {
        name: spot.path.rsplit_once(stock::WITHIN).map_or(&*spot.path, |path| path.1).to_owned(),
        said: holds(spot),
        takes: spot.capacity.map(whole),
        stands: spot.stands.iter().map(|stand| (whole(stand.bottles), years(stand, today))).collect(),
    };
    shelves(
        "shelves",
        &Shelves {
            title: "How full the places are, and how old what stands there is",
            caption: "A frame is the room a place has, a block the bottles of one filling. The number in it is \
                      their age in full years, and older ones are darker.",
            rows: spots.iter().map(row).collect(),
        },
    )
}

fn spot_row(site: &Site, doer: &Doer, spot: &Spot) -> SpotRow {
    let today = doer.today();
    let age = |stand: &Stand| days::age((today - stand.bottled_on).num_days());
    let ages = match (spot.stands.first(), spot.stands.last()) {
        (Some(oldest), Some(youngest)) if age(oldest) != age(youngest) => {
            format!("{} to {}", age(youngest), age(oldest))
        }
        (Some(only), _) => age(only),
        _ => "–".to_owned(),
    };
    let carries = doer.role >= Role::Cellarhand && !spot.stands.is_empty();
    SpotRow {
        path: spot.path.clone(),
        holds: holds(spot),
        free: spot.free().map_or_else(|| "–".to_owned(), |free| free.to_string()),
        ages,
        air: spot.air.map_or_else(|| "–".to_owned(), |(mean, _)| format!("{mean:.1}")),
        carry: carries.then(|| site.at(&format!("/bottles/cellar/{}/carry", spot.place))),
    }
}

fn found_rows(site: &Site, found: &[Stand], today: Day) -> (String, Vec<FoundRow>) {
    let bottles: i64 = found.iter().map(|stand| stand.bottles).sum();
    let lead = match found.len() {
        0 => "Nothing of that is laid down.".to_owned(),
        many if many > MOST_FOUND => format!("{bottles} bottles; the first {MOST_FOUND} rows are shown."),
        _ => format!("{}.", words::count(bottles, "bottle", "bottles")),
    };
    let row = |stand: &Stand| FoundRow {
        href: site.at(&format!("/bottles/{}", stand.bottling)),
        drink: stand.drink.clone(),
        code: stand.code.clone(),
        age: days::age((today - stand.bottled_on).num_days()),
        path: stand.path.clone(),
        bottles: stand.bottles,
    };
    (lead, found.iter().take(MOST_FOUND).map(row).collect())
}

fn proposed(found: &[Proposal], left: i64) -> Proposed {
    let lead = match (found.first(), left) {
        (None, _) => {
            "No place that says what it takes has room: say it at the places, or make room.".to_owned()
        }
        (Some(first), 0) if found.len() == 1 => format!("Put them all at {}.", first.path),
        (Some(_), 0) => format!("They find room at {} places.", found.len()),
        (Some(_), left) => {
            format!("{} no room; the others fit here.", words::count(left, "bottle finds", "bottles find"))
        }
    };
    let row =
        |one: &Proposal| (one.bottles.to_string(), one.path.clone(), words::capital(&one.reasons.join("; ")));
    Proposed { lead, rows: found.iter().map(row).collect() }
}

/// What stands at a place, to be carried.
struct There {
    spot: Spot,
    places: Vec<Place>,
}

async fn there(site: &Site, doer: &Doer, id: PlaceId) -> Result<(Facts, There), Problem> {
    let read = site.read(doer, move |conn, doer| {
        let spots = rows::spots(conn, doer.club, doer.today())?;
        Ok((spots.into_iter().find(|spot| spot.place == id), stock::places(conn, doer.club)?))
    });
    let (facts, (spot, places)) = read.await?;
    let spot =
        spot.filter(|spot| !spot.stands.is_empty()).ok_or_else(|| Problem::missing("place with bottles"))?;
    Ok((facts, There { spot, places }))
}

fn carry_page(
    site: &Site,
    doer: &Doer,
    facts: Facts,
    found: &There,
    fill: impl FnOnce(FormView) -> FormView,
) -> FormPage {
    let today = doer.today();
    let ticks = found.spot.stands.iter().map(|stand| {
        let age = days::age((today - stand.bottled_on).num_days());
        let bottles = words::count(stand.bottles, "bottle", "bottles");
        let label = format!("{}, {}: {bottles}, {age} old", stand.drink, stand.code);
        Field::check(format!("lots.{}", stand.lot), label)
    });
    let to = found.places.iter().filter(|place| place.id != found.spot.place).map(|place| {
        let takes = place.capacity.map(|takes| format!(" (takes {takes})")).unwrap_or_default();
        Choice::new(place.id.to_string(), format!("{}{takes}", place.path))
    });
    let to = std::iter::once(Choice::new("", "Choose a place")).chain(to).collect();
    let up = (site.at("/bottles/cellar"), "The cellar by its places".to_owned());
    let view = site
        .form(
            &format!("/bottles/cellar/{}/carry", found.spot.place),
            "Carry bottles",
            "Record that they were carried",
        )
        .intro(format!("All bottles at {} of the fillings that are ticked.", found.spot.path))
        .group(Group::new("Which", ticks.collect::<Vec<_>>()))
        .group(Group::new(
            "Where to, and when",
            [Field::select("to", "Where to", to), Field::day("day", "Day").value(days::long(today))],
        ))
        .leave(up.0.clone());
    FormPage::new(site.frame(doer, Room::Bottles, "Carry bottles", facts), Some(up), fill(view))
}

/// Shows what stands at a place, to be carried.
pub async fn carry_form(hand: Cellarhand, site: Site, path: Path<PlaceId>) -> Reply {
    let (facts, found) = there(&site, &hand, path.0).await?;
    respond::page(&carry_page(&site, &hand, facts, &found, |view| view))
}

/// Reads what is carried, from a page or a program.
pub fn read_carrying(draft: &Draft, doer: &Doer, from: PlaceId) -> Result<Carrying, Refusal> {
    draft.read(doer, |r| {
        let lots: Vec<LotId> = r.ids("lots", "lot");
        if lots.is_empty() {
            r.fault("lots", "Choose at least one filling that is carried");
        }
        Carrying { day: r.day("day"), from, to: r.id("to", "place"), lots }
    })
}

/// Carries them.
pub async fn carry(hand: Cellarhand, site: Site, path: Path<PlaceId>, sent: Form) -> Reply {
    let id = path.0;
    let done = async {
        let order = read_carrying(&sent.draft, &hand, id)?;
        carry_bottles(&site.db, &hand, sent.key.clone(), order).await
    };
    match done.await {
        Ok(_) => Ok(site.see_other("/bottles/cellar")),
        Err(error) => {
            let refusal = Problem::or_refusal(error)?;
            let (facts, found) = there(&site, &hand, id).await?;
            let page = carry_page(&site, &hand, facts, &found, |view| sent.back(view, &refusal));
            respond::refused(&page, &refusal)
        }
    }
}
