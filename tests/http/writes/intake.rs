//! The write routes of tables that are brought in.

use serde_json::json;

use super::{Write, asked};
use crate::http::scene::Scene;
use crate::http::values::Takes::{Line, Word};

pub fn all(s: &Scene, to: &mut Vec<Write>) {
    let table = || {
        let body = json!({"kind": "places", "rows": "Name\nQuay\n", "file_name": "quay.csv"});
        asked(body).needs("kind", Word).may("file_name", Line).other("rows", json!("Name\nPier\n"))
    };
    to.push(table().post("/api/v1/tables", "/api/v1/tables".to_owned()));
    to.push(table().post("/club/tables", "/club/tables".to_owned()));
    let at = |name: &str| format!("/tables/{}/{name}", s.cellar.sent);
    let columns = || {
        let body = json!({"columns": [{"heading": "Name", "field": "name"}], "date_order": "day-month-year"});
        asked(body).may("date_order", Word).other("date_order", json!("month-day-year"))
    };
    to.push(columns().post("/api/v1/tables/{id}/columns", format!("/api/v1{}", at("columns"))));
    to.push(columns().post("/club/tables/{id}/columns", format!("/club{}", at("columns"))));
    let keep = || asked(json!({"keep": "all"})).needs("keep", Word).other("keep", json!("good"));
    to.push(keep().post("/api/v1/tables/{id}/bringing", format!("/api/v1{}", at("bringing"))));
    to.push(keep().post("/club/tables/{id}/bringing", format!("/club{}", at("bringing"))));
    let undo = || asked(json!({"reason": "a slip"})).needs("reason", Line).other("reason", json!("another"));
    to.push(undo().post("/api/v1/tables/{id}/undoing", format!("/api/v1{}", at("undoing"))));
    to.push(undo().post("/club/tables/{id}/undoing", format!("/club{}", at("undoing"))));
}
