//! Bottles of many fillings, carried at once.

use serde_json::json;

use super::{Scene, Write, asked};
use crate::http::values::Takes::{Id, Past};

pub fn all(s: &Scene, to: &mut Vec<Write>) {
    let c = &s.cellar;
    let (from, lot) = (c.place, c.bottled.lot);
    let by_api = json!({"day": "2026-06-03", "to": c.shelf, "lots": [lot]});
    let asked_api = asked(by_api).may("day", Past).needs("to", Id).other("day", json!("2026-06-04"));
    to.push(asked_api.post("/api/v1/places/{id}/carrying", format!("/api/v1/places/{from}/carrying")));
    let mut lots = serde_json::Map::new();
    lots.insert(lot.to_string(), json!("yes"));
    let on_page = json!({"day": "2026-06-03", "to": c.shelf, "lots": lots});
    let asked_page = asked(on_page).may("day", Past).needs("to", Id).other("day", json!("2026-06-04"));
    to.push(asked_page.post("/bottles/cellar/{id}/carry", format!("/bottles/cellar/{from}/carry")));
}
