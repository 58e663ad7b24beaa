//! How items are bought and kept.

use serde_json::json;

use super::{Scene, Write, asked};

pub fn all(s: &Scene, to: &mut Vec<Write>) {
    let upkeep = || {
        // Zero days are meant too: they are tried in `http/buying.rs`.
        asked(json!({"lead_days": 3, "cover_days": 2})).other("lead_days", json!(4))
    };
    let milk = s.cellar.milk;
    to.push(upkeep().at("PUT", "/api/v1/items/{id}/upkeep", format!("/api/v1/items/{milk}/upkeep")));
    to.push(upkeep().post("/stores/items/{id}/upkeep", format!("/stores/items/{milk}/upkeep")));
}
