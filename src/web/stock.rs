//! Pages of the stores.

use askama::Template;

use super::body::Form;
use super::form_page::FormPage;
use super::forms::{Choice, Field, FormView};
use super::frame::Frame;
use super::input::Draft;
use super::problem::Problem;
use super::respond::{self, Reply};
use super::site::{Room, Site};
use crate::actions::stock::{self as actions, NewPlace};
use crate::db::stock::{self as rows, Place};
use crate::domain::members::{Cellarhand, Doer, Onlooker, Role};
use crate::domain::refusal::Refusal;

#[derive(Template)]
#[template(path = "stock/places.html")]
struct PlacesPage {
    frame: Frame,
    places: Vec<Place>,
    may_record: bool,
}

/// All places.
pub async fn places(who: Onlooker, site: Site) -> Reply {
    let (facts, places) = site.read(&who, |conn, doer| rows::places(conn, doer.club)).await?;
    let frame = site.frame(&who, Room::Stores, "Places", facts);
    respond::page(&PlacesPage { frame, places, may_record: who.role >= Role::Cellarhand })
}

/// The form of a new place.
pub async fn new_place_form(hand: Cellarhand, site: Site) -> Reply {
    respond::page(&new_place_page(&site, &hand, |form| form).await?)
}

/// A new place.
pub async fn new_place(hand: Cellarhand, site: Site, form: Form) -> Reply {
    let done = async {
        let place = read_place(&form.draft, &hand)?;
        actions::add_place(&site.db, &hand, form.key.clone(), place).await
    };
    match done.await {
        Ok(_) => Ok(site.see_other("/stores/places")),
        Err(error) => {
            let refusal = Problem::or_refusal(error)?;
            let page = new_place_page(&site, &hand, |view| form.back(view, &refusal)).await?;
            respond::refused(&page, &refusal)
        }
    }
}

/// A place from what was sent, by page or API.
pub fn read_place(draft: &Draft, doer: &Doer) -> Result<NewPlace, Refusal> {
    draft.read(doer, |r| NewPlace {
        name: r.line("name", 80, "a name"),
        within: r.optional_id("within", "place"),
    })
}

async fn new_place_page(
    site: &Site,
    hand: &Cellarhand,
    fill: impl FnOnce(FormView) -> FormView,
) -> Result<FormPage, Problem> {
    let (facts, places) = site.read(hand, |conn, doer| rows::places(conn, doer.club)).await?;
    let around = places.into_iter().map(|place| Choice::new(place.id.to_string(), place.path));
    let around = [Choice::new("", "Nothing: it stands by itself")].into_iter().chain(around).collect();
    let form = site.form("/stores/places", "A new place", "Record the place").fields([
        Field::text("name", "Name").hint("What people call it: Cold store, North shelf, Bay 3."),
        Field::select("within", "What it stands in", around),
    ]);
    let frame = site.frame(hand, Room::Stores, "A new place", facts);
    Ok(FormPage::new(frame, Some((site.at("/stores/places"), "Places".to_owned())), fill(form)))
}
