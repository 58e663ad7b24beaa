//! Striking the bills of a receipt out.

use serde_json::json;

use super::{Scene, Write, asked};
use crate::http::values::Takes::Line;

pub fn all(s: &Scene, to: &mut Vec<Write>) {
    let struck =
        || asked(json!({"reason": "blurred"})).needs("reason", Line).other("reason", json!("another shop’s"));
    let at = |bill| format!("/entries/{}/bills/{bill}/strike", s.cellar.receipt);
    let [one, other] = s.cellar.bills;
    to.push(struck().post("/entries/{id}/bills/{bill}/strike", at(one)));
    to.push(struck().post("/api/v1/entries/{id}/bills/{bill}/strike", format!("/api/v1{}", at(other))));
}
