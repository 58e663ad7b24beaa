//! The routes of the steps of a batch.

use crate::web::table::{Api, Pages};
use crate::web::{api, steps};

pub(super) fn step_pages(to: &mut Pages) {
    to.get("/batches/{id}/now", steps::now::show)
        .get("/batches/{id}/steps", steps::show_all)
        .post("/batches/{id}/steps", steps::add::add)
        .get("/batches/{id}/steps/new", steps::add::form)
        .get("/batches/{id}/steps/{line}", steps::show)
        .post("/batches/{id}/steps/{line}", steps::record)
        .post("/batches/{id}/steps/{line}/begin", steps::begin)
        .post("/batches/{id}/steps/{line}/leave-out", steps::leave_out)
        .post("/batches/{id}/steps/{line}/remark", steps::remark)
        .post("/batches/{id}/steps/{line}/records/{record}/strike", steps::strike);
}

pub(super) fn step_programs(to: &mut Api) {
    use api::steps;
    to.get("/steps/running", "The steps that run in the club", steps::running)
        .get("/batches/{id}/steps", "The steps of a batch, and what became of each", steps::list)
        .post("/batches/{id}/steps", "Add a step to a batch", steps::add)
        .post("/batches/{id}/steps/{line}/begin", "Begin a step: it runs from then on", steps::begin)
        .post("/batches/{id}/steps/{line}/done", "Record that a step was done", steps::done)
        .post("/batches/{id}/steps/{line}/leave-out", "Leave a step out", steps::leave_out)
        .post("/batches/{id}/steps/{line}/remark", "Remark on a step", steps::remark)
        .post(
            "/batches/{id}/steps/{line}/records/{record}/strike",
            "Strike out a record of a step that was wrong",
            steps::strike,
        );
}
