//! Tables that are brought in.

use crate::web::members::club;
use crate::web::table::{Api, Pages};
use crate::web::{api, intake};

pub(super) fn pages(to: &mut Pages) {
    to.get("/club/tables", intake::list)
        .get("/club/tables/new", intake::new_form)
        .post("/club/tables", intake::send)
        .get("/club/tables/{id}", intake::show)
        .post("/club/tables/{id}/columns", intake::say)
        .post("/club/tables/{id}/bringing", intake::bring)
        .post("/club/tables/{id}/undoing", intake::undo)
        .post("/club/members/{id}/link", club::invite_member);
}

pub(super) fn programs(to: &mut Api) {
    use api::{intake, members};
    to.get("/tables", "Tables that were sent to be brought in", intake::list)
        .post("/tables", "Send a table to be looked at", intake::send)
        .get("/tables/{id}", "What was understood of a table, and what came of it", intake::show)
        .post("/tables/{id}/columns", "Say what the columns of a table hold", intake::say)
        .post("/tables/{id}/bringing", "Bring a table in", intake::bring)
        .post("/tables/{id}/undoing", "Undo a table as one act", intake::undo)
        .post(
            "/members/{id}/link",
            "Make the link of a member who cannot sign in yet",
            members::invite_member,
        );
}
