//! The routes of a receipt after it is recorded: the labels of what came, and its bill.

use crate::web::table::{Api, Pages};
use crate::web::{api, bills, labels};

pub(super) fn pages(to: &mut Pages) {
    to.get("/entries/{id}/labels", labels::of_receipt_form)
        .get("/entries/{id}/labels.pdf", labels::of_receipt_file)
        .post("/entries/{id}/bills", bills::add)
        .get("/entries/{id}/bills/{bill}", bills::open)
        .post("/entries/{id}/bills/{bill}/strike", bills::strike);
}

pub(super) fn programs(to: &mut Api) {
    use api::bills;
    to.get("/entries/{id}/bills", "The photos and PDFs of a receipt’s bill", bills::list)
        .post(
            "/entries/{id}/bills",
            "Keep a photo or a PDF with a receipt: its bytes, as they are",
            bills::add,
        )
        .get("/entries/{id}/bills/{bill}", "A photo or a PDF of a bill, as it was sent", bills::file)
        .post("/entries/{id}/bills/{bill}/strike", "Strike a bill out: what it holds is gone", bills::strike);
}
