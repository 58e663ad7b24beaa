//! What is read at a place.

use serde_json::json;

use super::{Asked, Scene, Write, asked};
use crate::http::values::Takes::{Flag, Line, Moment, Number, Word};

pub fn all(s: &Scene, to: &mut Vec<Write>) {
    let place = s.cellar.place;
    let (page, api) = (format!("/stores/places/{place}/climate"), format!("/api/v1/places/{place}/climate"));
    let read = || {
        let body = json!({"temperature": "14.5", "humidity": "70", "at": "2026-03-07T10:00:00Z"});
        let asked = asked(body).needs("temperature", Number("14.5", "99")).may("at", Moment);
        asked.may("humidity", Number("70.5", "101")).other("temperature", json!("15"))
    };
    to.push(read().post("/stores/places/{id}/climate", page.clone()));
    to.push(read().post("/api/v1/places/{id}/climate", api.clone()));
    let sent =
        json!({"source": "probe", "readings": [{"at": "2026-03-07T11:00:00Z", "temperature": "14.5"}]});
    let sent = asked(sent).needs("readings.0.temperature", Number("14.5", "99")).may("source", Line);
    let sent = sent.needs("readings.0.at", Moment).other("source", json!("another probe"));
    to.push(sent.post("/api/v1/places/{id}/climate", api.clone()));
    to.push(file(8).post("/stores/places/{id}/climate/file", format!("{page}/file")));
    to.push(file(9).post("/api/v1/places/{id}/climate/file", format!("{api}/file")));
    let shelf = s.cellar.shelf;
    let (page, api) = (format!("/stores/places/{shelf}/climate"), format!("/api/v1/places/{shelf}/climate"));
    let struck = |day: u32| {
        let (from, until) = (format!("2026-03-{day:02}T00:00:00Z"), format!("2026-03-{day:02}T23:00:00Z"));
        let body = json!({"from": from, "until": until, "reason": "in the sun"});
        let asked = asked(body).needs("from", Moment).may("until", Moment).needs("reason", Line);
        asked.other("reason", json!("by the stove"))
    };
    to.push(struck(1).post("/stores/places/{id}/climate/strike", format!("{page}/strike")));
    to.push(struck(3).post("/api/v1/places/{id}/climate/strike", format!("{api}/strike")));
}

fn file(day: u32) -> Asked {
    let rows = format!(
        "time,temperature °C,humidity\n2026-03-{day:02} 10:00,14.5,70\n2026-03-{day:02} 11:00,14.7,71\n"
    );
    let body = json!({"rows": rows, "file_name": "shelf.csv", "date_order": "year-month-day", "keep": true});
    let asked = asked(body).may("file_name", Line).may("date_order", Word).may("keep", Flag);
    asked.other("file_name", json!("other.csv"))
}
