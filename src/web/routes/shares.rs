//! Whose the bottles of a batch are, and settling up.

use crate::web::reports::settling;
use crate::web::table::{Api, Pages};
use crate::web::{api, shares};

pub(super) fn pages(to: &mut Pages) {
    to.get("/batches/{id}/shares", shares::show)
        .get("/batches/{id}/shares/new", shares::form)
        .post("/batches/{id}/shares", shares::settle)
        .post("/bottles/{id}/wish", shares::wish)
        .get("/reports/settling-up/paid", settling::form)
        .post("/reports/settling-up/paid", settling::record);
}

pub(super) fn programs(to: &mut Api) {
    use api::shares;
    to.get("/batches/{id}/shares", "Whose the bottles of a batch are, and what is due to whom", shares::show)
        .post("/batches/{id}/shares", "Settle how the bottles of a batch are shared", shares::settle)
        .post("/bottlings/{id}/wishes", "Say what one would like to have of a bottling", shares::wish)
        .post("/transfers", "One member paid another, or the purse", shares::transfer);
}
