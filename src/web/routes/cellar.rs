//! The routes of the cellar by its places, and of the year ahead.

use crate::web::table::{Api, Pages};
use crate::web::{api, cellar};

pub(super) fn cellar_pages(to: &mut Pages) {
    to.get("/bottles/cellar", cellar::show)
        .get("/bottles/ahead", cellar::ahead::show)
        .get("/bottles/cellar/{id}/carry", cellar::carry_form)
        .post("/bottles/cellar/{id}/carry", cellar::carry);
}

pub(super) fn cellar_programs(to: &mut Api) {
    use api::cellar;
    to.get(
        "/cellar",
        "The places for bottles: how full each is; bottles found; where more find room",
        cellar::show,
    )
    .get(
        "/cellar/ahead",
        "The stock of bottles by drink and age, and what comes of age in a year",
        cellar::ahead,
    )
    .post(
        "/places/{id}/carrying",
        "Carry all bottles of some lots from a place to another",
        cellar::carry,
    );
}
