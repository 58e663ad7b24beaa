//! The routes of counts.

use crate::web::table::{Api, Pages};
use crate::web::{api, counts};

pub(super) fn count_pages(to: &mut Pages) {
    use counts::{accuracy, line, papers, review, start, ways};
    to.get("/counts", counts::list)
        .post("/counts", start::begin)
        .get("/counts/new", start::form)
        .get("/counts/accuracy", accuracy::show)
        .get("/counts/ways", ways::show)
        .post("/counts/ways", ways::change)
        .get("/counts/{id}", counts::show)
        .post("/counts/{id}/end", counts::end)
        .get("/counts/{id}/call-off", counts::call_off_form)
        .post("/counts/{id}/call-off", counts::call_off)
        .get("/counts/{id}/find", line::find)
        .get("/counts/{id}/found", line::found_form)
        .post("/counts/{id}/found", line::found);
    to.get("/counts/{id}/lines/{line}", line::show)
        .post("/counts/{id}/lines/{line}", line::tally)
        .post("/counts/{id}/lines/{line}/say", review::say)
        .get("/counts/{id}/differences", review::show)
        .post("/counts/{id}/differences", review::perform)
        .get("/counts/{id}/sheet", papers::sheet)
        .get("/counts/{id}/result.csv", papers::file);
}

pub(super) fn count_programs(to: &mut Api) {
    use api::counts;
    to.get("/counts", "Counts, the latest first", counts::list)
        .post("/counts", "Begin a count of places, of kinds, or of items", counts::start)
        .get("/counts/ways", "How the club counts: tolerance and walking order", counts::ways::show)
        .put("/counts/ways", "Count otherwise from now on; all of it is sent", counts::ways::change)
        .get(
            "/counts/accuracy",
            "How right the books are, why not, what drifts, what is to be counted",
            counts::accuracy::show,
        )
        .get("/counts/{id}", "A count", counts::show)
        .get("/counts/{id}/lines", "Its lines, with the books only for whoever may see them", counts::lines)
        .post("/counts/{id}/tallies", "Say what one counted of a line", counts::tally)
        .post(
            "/counts/{id}/found",
            "Say that something stands there which is not on the sheet",
            counts::found,
        )
        .post("/counts/{id}/end", "End the counting", counts::end)
        .post("/counts/{id}/recounts", "Ask for lines to be counted again", counts::ask_again)
        .post(
            "/counts/{id}/lines/{line}/say",
            "Say why a line differs, which count stands, of which lot it is, or that it is left out",
            counts::say,
        )
        .post("/counts/{id}/posting", "Post all differences that are clear as one entry", counts::post)
        .post("/counts/{id}/calling-off", "Call a count off; nothing of it is posted", counts::call_off);
}
