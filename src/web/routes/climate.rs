//! The routes of the climate of places.

use crate::web::table::{Api, Pages};
use crate::web::{api, climate};

pub(super) fn climate_pages(to: &mut Pages) {
    to.get("/stores/places/{id}/climate", climate::show)
        .post("/stores/places/{id}/climate", climate::record)
        .post("/stores/places/{id}/climate/strike", climate::strike)
        .get("/stores/places/{id}/climate/file", climate::file_form)
        .post("/stores/places/{id}/climate/file", climate::file);
}

pub(super) fn climate_programs(to: &mut Api) {
    use api::climate;
    to.get("/places/{id}/climate", "How warm and how damp a place was, day by day", climate::show)
        .post(
            "/places/{id}/climate",
            "Record what was read at a place, or send that of a sensor",
            climate::record,
        )
        .post("/places/{id}/climate/file", "Bring in what a logger wrote at a place", climate::bring_in)
        .post(
            "/places/{id}/climate/strike",
            "Strike out what was read from one time to another",
            climate::strike,
        );
}
