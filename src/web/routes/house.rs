//! The routes of the house itself: whether it stands, what its pages are drawn with, and the page without a signal.

use crate::web::table::Pages;
use crate::web::{assets, health, phone};

pub(super) fn house_pages(to: &mut Pages) {
    to.get("/healthz", health::alive)
        .get("/readyz", health::ready)
        .get("/metrics", health::counts)
        .get("/static/{name}", assets::show)
        .get("/phone", phone::show)
        .get("/phone/who.json", phone::who)
        .get("/phone/data.json", phone::data);
}
