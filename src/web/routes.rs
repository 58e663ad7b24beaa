//! Every route, on one page: pages with their forms, then the API.
//!
//! Who may ask stands in the first argument of each handler and nowhere else; see [`super::table`]. A feature adds its
//! lines here and its handlers in the file of its name.

use actix_web::HttpResponse;

use super::extract::Anyone;
use super::respond::Reply;
use super::site::Site;
use super::table::{Api, Pages, Table};
use super::{api, assets, health, stock};

/// All routes.
pub fn table() -> Table {
    let mut table = Table::default();
    pages(&mut table.pages());
    programs(&mut table.api());
    table
}

fn pages(to: &mut Pages) {
    to.get("/healthz", health::alive)
        .get("/readyz", health::ready)
        .get("/metrics", health::counts)
        .get("/static/{name}", assets::show);
    to.get("/stores/places", stock::places)
        .get("/stores/places/new", stock::new_place_form)
        .post("/stores/places", stock::new_place);
}

fn programs(to: &mut Api) {
    to.get("/openapi.json", "This description", description_file);
    to.get("/places", "All places", api::stock::places)
        .post("/places", "Record a place", api::stock::add_place);
}

/// The description of the API as JSON.
pub fn description(base: &str) -> String {
    let document = table().description.document(base);
    document.to_pretty_json().unwrap_or_else(|error| {
        tracing::error!(%error, "the description of the API cannot be written");
        "{}".to_owned()
    })
}

async fn description_file(_: Anyone, site: Site) -> Reply {
    Ok(HttpResponse::Ok().content_type("application/json").body(site.description.clone()))
}
