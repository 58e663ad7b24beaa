//! The stores by the API.

use serde::Serialize;
use utoipa::ToSchema;

use crate::actions::stock as actions;
use crate::db::stock as rows;
use crate::domain::members::{Cellarhand, Onlooker};
use crate::web::body::Json;
use crate::web::extract::Key;
use crate::web::problem::Problem;
use crate::web::respond::{Answer, Created};
use crate::web::site::Site;
use crate::web::stock::read_place;

/// A place to be made.
#[derive(ToSchema)]
pub struct NewPlace {
    /// Its name.
    pub name: String,
    /// The place around it.
    pub within: Option<String>,
}

/// A place.
#[derive(Serialize, ToSchema)]
pub struct Place {
    /// Its id.
    pub id: String,
    /// Its name.
    pub name: String,
    /// Its name after those of the places around it.
    pub path: String,
    /// The place around it.
    pub within: Option<String>,
}

impl From<rows::Place> for Place {
    fn from(place: rows::Place) -> Self {
        let within = place.within.map(|within| within.to_string());
        Self { id: place.id.to_string(), name: place.name, path: place.path, within }
    }
}

/// What stands where.
#[derive(Serialize, ToSchema)]
pub struct Places {
    /// All places, the outer before the inner.
    pub items: Vec<Place>,
    /// Always null: there is no second part.
    pub next: Option<String>,
}

/// All places.
pub async fn places(who: Onlooker, site: Site) -> Result<Answer<Places>, Problem> {
    let club = who.club;
    let places = site.db.read(move |conn| rows::places(conn, club)).await?;
    Ok(Answer(Places { items: places.into_iter().map(Place::from).collect(), next: None }))
}

/// A new place.
pub async fn add_place(
    hand: Cellarhand,
    site: Site,
    Key(key): Key,
    sent: Json<NewPlace>,
) -> Result<Created<Place>, Problem> {
    let id = actions::add_place(&site.db, &hand, key, read_place(&sent.draft, &hand)?).await?;
    let club = hand.club;
    let place = site.db.read(move |conn| rows::place(conn, club, id)).await?;
    Ok(Created(place.into()))
}
