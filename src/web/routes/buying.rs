//! What to buy, and how items are bought.

use crate::web::table::{Api, Pages};
use crate::web::{api, buying};

pub(super) fn pages(to: &mut Pages) {
    use buying::{item, opened};
    to.get("/stores/shopping", buying::show)
        .get("/stores/shopping.csv", buying::file)
        .get("/stores/items/{id}/upkeep", item::form)
        .post("/stores/items/{id}/upkeep", item::record)
        .get("/stores/lots/{id}/opened", opened::form)
        .post("/stores/lots/{id}/opened", opened::record);
}

pub(super) fn programs(to: &mut Api) {
    use api::buying;
    to.get(
        "/shopping-list",
        "What to buy before the next batch, and why: plans and reorder points, less what is free to use",
        buying::list,
    )
    .get(
        "/items/{id}/upkeep",
        "How an item is bought: its use, its reorder point, what is free and wanted",
        buying::show,
    )
    .put("/items/{id}/upkeep", "Say how an item is bought and kept; all of it is sent", buying::keep_up)
    .post("/lots/{id}/opening", "Say that a lot was opened, or is not open after all", buying::open_lot);
}
