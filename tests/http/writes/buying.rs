//! How items are bought and kept.

use serde_json::json;

use super::{Scene, Write, asked};
use crate::http::values::Takes::{Flag, Id, Number, Past, Whole};

pub fn all(s: &Scene, to: &mut Vec<Write>) {
    let upkeep = || {
        // Zero days are meant too: they are tried in `http/buying.rs`.
        asked(json!({"lead_days": 3, "cover_days": 2, "keeps_open_days": 9, "weakens_percent": "12.5",
            "substitutes": [{"item": s.cellar.curds, "factor": "1.2"}]}))
        .may("keeps_open_days", Whole)
        .may("weakens_percent", Number("12.5", "100"))
        .needs("substitutes.0.item", Id)
        .may("substitutes.0.factor", Number("1.2", "1001"))
        .other("lead_days", json!(4))
    };
    let yeast = s.cellar.yeast;
    to.push(upkeep().at("PUT", "/api/v1/items/{id}/upkeep", format!("/api/v1/items/{yeast}/upkeep")));
    to.push(upkeep().post("/stores/items/{id}/upkeep", format!("/stores/items/{yeast}/upkeep")));
    let opening = || {
        let asked = asked(json!({"day": "2026-03-04"})).may("day", Past).may("closed", Flag);
        asked.other("day", json!("2026-03-05"))
    };
    let lot = s.cellar.milk_lot;
    to.push(opening().post("/api/v1/lots/{id}/opening", format!("/api/v1/lots/{lot}/opening")));
    to.push(opening().post("/stores/lots/{id}/opened", format!("/stores/lots/{lot}/opened")));
}
