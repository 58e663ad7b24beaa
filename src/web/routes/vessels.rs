//! The routes of vessels, of holds and of recalls.

use crate::web::table::{Api, Pages};
use crate::web::{api, holds, recall, vessels};

pub(super) fn hold_pages(to: &mut Pages) {
    to.get("/stores/lots/{id}/hold", holds::hold_form)
        .post("/stores/lots/{id}/hold", holds::hold)
        .get("/stores/lots/{id}/release", holds::release_form)
        .post("/stores/lots/{id}/release", holds::release)
        .get("/recall/lots/{id}", recall::of_lot)
        .get("/recall/lots/{id}/members.csv", recall::lot_file)
        .get("/recall/receipts/{id}", recall::of_receipt)
        .get("/recall/receipts/{id}/members.csv", recall::receipt_file);
}

pub(super) fn hold_programs(to: &mut Api) {
    use api::holds;
    to.get("/holds", "All that is on hold, the oldest first", holds::list)
        .post("/lots/{id}/hold", "Hold a lot back, perhaps with everything that came of it", holds::hold)
        .post("/lots/{id}/release", "Release a lot that is on hold", holds::release)
        .get("/recall/lots/{id}", "Whom to tell of a lot, and where all of it is", holds::of_lot)
        .get(
            "/recall/receipts/{id}",
            "Whom to tell of a receipt’s lots, and where they are",
            holds::of_receipt,
        );
}

pub(super) fn vessel_pages(to: &mut Pages) {
    use vessels::tasks;
    to.get("/vessels", vessels::list)
        .post("/vessels", tasks::add)
        .get("/vessels/new", tasks::new_form)
        .get("/vessels/{id}", vessels::show)
        .get("/vessels/{id}/{deed}", tasks::show_deed)
        .post("/vessels/{id}/{deed}", tasks::perform)
        .post("/vessels/{id}/fillings/{filling}/strike", vessels::strike);
}

pub(super) fn vessel_programs(to: &mut Api) {
    use api::vessels;
    to.get("/vessels", "Vessels with what is in them", vessels::list)
        .post("/vessels", "Record a vessel", vessels::add)
        .get("/vessels/{id}", "A vessel", vessels::show)
        .put("/vessels/{id}", "Change a vessel; all of it is sent", vessels::change)
        .get("/vessels/{id}/fillings", "What was in a vessel, the latest first", vessels::fillings)
        .post("/vessels/{id}/fillings", "Fill a vessel, or say anew how much is in it", vessels::fill)
        .post("/vessels/{id}/decantings", "Move what is in a vessel into another", vessels::decant)
        .post("/vessels/{id}/emptyings", "Say that nothing is in a vessel any more", vessels::empty)
        .post("/vessels/{id}/cleanings", "Say that a vessel was cleaned", vessels::clean)
        .post("/vessels/{id}/out-of-use", "Take a vessel out of use", vessels::out_of_use)
        .post("/vessels/{id}/in-use", "Put a vessel back in use", vessels::in_use)
        .post("/fillings/{id}/strike", "Strike a filling out", vessels::strike);
}
