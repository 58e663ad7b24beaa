//! Places: where things stand, one within another, and what stands at each.

use std::collections::HashMap;

use askama::Template;

use super::{Paths, place_choices, read};
use crate::actions::stock as actions;
use crate::db::stock::{self as rows, Place, Stands};
use crate::domain::members::{Cellarhand, Onlooker, Role};
use crate::units::ids::PlaceId;
use crate::web::body::Form;
use crate::web::extract::Path;
use crate::web::form_page::FormPage;
use crate::web::forms::{Field, FormView};
use crate::web::frame::Frame;
use crate::web::problem::Problem;
use crate::web::respond::{self, Reply};
use crate::web::site::{Room, Site};
use crate::web::words;

#[derive(Template)]
#[template(path = "stores/places.html")]
struct PlacesPage {
    frame: Frame,
    lead: String,
    nest: Option<Nest>,
    may_record: bool,
}

/// Places side by side, each with those within it.
#[derive(Template)]
#[template(path = "stores/nest.html")]
struct Nest {
    places: Vec<Nested>,
}

struct Nested {
    href: String,
    name: String,
    holds: String,
    within: Option<Nest>,
}

/// All places.
pub async fn list(who: Onlooker, site: Site) -> Reply {
    let (facts, (places, standing)) = site
        .read(&who, |conn, doer| Ok((rows::places(conn, doer.club)?, rows::standing(conn, doer.club)?)))
        .await?;
    let page = PlacesPage {
        lead: lead(places.len(), standing.len()),
        nest: nest(&site, &places, &standing, None),
        may_record: who.role >= Role::Cellarhand,
        frame: site.frame(&who, Room::Stores, "Places", facts),
    };
    respond::page(&page)
}

fn lead(places: usize, used: usize) -> String {
    let count = |number: usize| words::count(number.try_into().unwrap_or(i64::MAX), "place", "places");
    match used {
        0 => format!("{}; nothing stands there yet.", count(places)),
        used => format!("{}; something stands at {used} of them.", count(places)),
    }
}

fn nest(
    site: &Site,
    places: &[Place],
    standing: &HashMap<PlaceId, Stands>,
    around: Option<PlaceId>,
) -> Option<Nest> {
    let nested = |place: &Place| Nested {
        href: site.at(&format!("/stores?place={}", place.id)),
        name: place.name.clone(),
        holds: holds(standing.get(&place.id).copied().unwrap_or_default()),
        within: nest(site, places, standing, Some(place.id)),
    };
    let found: Vec<Nested> = places.iter().filter(|place| place.within == around).map(nested).collect();
    (!found.is_empty()).then_some(Nest { places: found })
}

fn holds(stands: Stands) -> String {
    let lots = (stands.lots > 0).then(|| words::count(stands.lots, "lot", "lots"));
    let bottles = (stands.bottles > 0).then(|| words::count(stands.bottles, "bottle", "bottles"));
    lots.into_iter().chain(bottles).collect::<Vec<_>>().join(", ")
}

/// The form of a new place.
pub async fn new_form(hand: Cellarhand, site: Site) -> Reply {
    respond::page(&new_page(&site, &hand, |view| view).await?)
}

/// A new place.
pub async fn add(hand: Cellarhand, site: Site, form: Form) -> Reply {
    let done = async {
        let place = read::place(&form.draft, &hand)?;
        actions::add_place(&site.db, &hand, form.key.clone(), place).await
    };
    match done.await {
        Ok(_) => Ok(site.see_other("/stores/places")),
        Err(error) => {
            let refusal = Problem::or_refusal(error)?;
            let page = new_page(&site, &hand, |view| form.back(view, &refusal)).await?;
            respond::refused(&page, &refusal)
        }
    }
}

/// The form in which a place is renamed or put elsewhere.
pub async fn change_form(hand: Cellarhand, site: Site, path: Path<PlaceId>) -> Reply {
    respond::page(&change_page(&site, &hand, path.0, |view| view).await?)
}

/// Another name for a place, or another place around it.
pub async fn change(hand: Cellarhand, site: Site, path: Path<PlaceId>, form: Form) -> Reply {
    let id = path.0;
    let done = async {
        let place = read::place(&form.draft, &hand)?;
        actions::change_place(&site.db, &hand, form.key.clone(), id, place).await
    };
    match done.await {
        Ok(_) => Ok(site.see_other("/stores/places")),
        Err(error) => {
            let refusal = Problem::or_refusal(error)?;
            let page = change_page(&site, &hand, id, |view| form.back(view, &refusal)).await?;
            respond::refused(&page, &refusal)
        }
    }
}

async fn change_page(
    site: &Site,
    hand: &Cellarhand,
    id: PlaceId,
    fill: impl FnOnce(FormView) -> FormView,
) -> Result<FormPage, Problem> {
    let read = site.read(hand, move |conn, doer| {
        Ok((rows::places(conn, doer.club)?, rows::within(conn, doer.club, id)?))
    });
    let (facts, (places, own)) = read.await?;
    let place = places.iter().find(|place| place.id == id).ok_or_else(|| Problem::missing("place"))?;
    let within = place.within.map(|within| within.to_string()).unwrap_or_default();
    let heading = format!("Change {}", place.name);
    let view = site
        .form(&format!("/stores/places/{id}"), &heading, "Keep the changes")
        .intro("Everything that stands in it goes along, and what was recorded there shows its new name.")
        .fields(questions(
            places.iter().filter(|other| !own.contains(&other.id)),
            place.name.clone(),
            within,
            place.capacity,
        ))
        .leave(site.at("/stores/places"));
    let frame = site.frame(hand, Room::Stores, &heading, facts);
    Ok(FormPage::new(frame, Some((site.at("/stores/places"), "Places".to_owned())), fill(view)))
}

fn questions<'p>(
    places: impl IntoIterator<Item = &'p Place>,
    name: String,
    within: String,
    capacity: Option<i64>,
) -> [Field; 3] {
    let around = place_choices(&Paths(None), places, "Nothing: it stands by itself");
    [
        Field::text("name", "Name").hint("What people call it: Cold store, North shelf, Bay 3.").value(name),
        Field::select("within", "What it stands in", around).value(within),
        Field::whole("capacity", "How many bottles it takes")
            .hint("Of a shelf or bay, so that room for bottles is found. Empty if it is not for bottles.")
            .value(capacity.map(|takes| takes.to_string()).unwrap_or_default()),
    ]
}

async fn new_page(
    site: &Site,
    hand: &Cellarhand,
    fill: impl FnOnce(FormView) -> FormView,
) -> Result<FormPage, Problem> {
    let (facts, places) = site.read(hand, |conn, doer| rows::places(conn, doer.club)).await?;
    let view = site
        .form("/stores/places", "A new place", "Record the place")
        .fields(questions(&places, String::new(), String::new(), None))
        .leave(site.at("/stores/places"));
    let frame = site.frame(hand, Room::Stores, "A new place", facts);
    Ok(FormPage::new(frame, Some((site.at("/stores/places"), "Places".to_owned())), fill(view)))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_place_says_what_stands_there() {
        assert_eq!(holds(Stands { lots: 1, bottles: 42 }), "1 lot, 42 bottles");
        assert_eq!(holds(Stands { lots: 0, bottles: 1 }), "1 bottle");
        assert_eq!(holds(Stands::default()), "");
    }
}
