//! What is read at a place.

use serde_json::json;

use super::{Asked, Scene, Write, asked};
use crate::http::values::Takes::{Flag, Line, Moment, Number, Word};

pub fn all(s: &Scene, to: &mut Vec<Write>) {
    let place = s.cellar.place;
    let (page, api) = (format!("/stores/places/{place}/climate"), format!("/api/v1/places/{place}/climate"));
    let read = |minute: u32| {
        let at = format!("2026-03-07T10:{minute:02}:00Z");
        let body = json!({"temperature": "14.5", "humidity": "70", "at": at});
        let asked = asked(body).needs("temperature", Number("14", "99")).may("humidity", Number("70", "101"));
        asked.may("at", Moment).other("temperature", json!("15"))
    };
    to.push(read(1).post("/stores/places/{id}/climate", page.clone()));
    to.push(read(2).post("/api/v1/places/{id}/climate", api.clone()));
    let sent =
        json!({"source": "probe", "readings": [{"at": "2026-03-07T11:00:00Z", "temperature": "14.5"}]});
    let sent = asked(sent).needs("readings.0.temperature", Number("14", "99")).may("source", Line);
    let sent = sent.needs("readings.0.at", Moment).other("source", json!("another probe"));
    to.push(sent.post("/api/v1/places/{id}/climate", api.clone()));
    to.push(file().post("/stores/places/{id}/climate/file", format!("{page}/file")));
    to.push(file().post("/api/v1/places/{id}/climate/file", format!("{api}/file")));
    let struck = || {
        let body =
            json!({"from": "2026-03-01T00:00:00Z", "until": "2026-03-05T23:00:00Z", "reason": "in the sun"});
        let asked = asked(body).needs("from", Moment).may("until", Moment).needs("reason", Line);
        asked.other("reason", json!("by the stove"))
    };
    to.push(struck().post("/stores/places/{id}/climate/strike", format!("{page}/strike")));
    to.push(struck().post("/api/v1/places/{id}/climate/strike", format!("{api}/strike")));
}

fn file() -> Asked {
    let rows = "time,temperature °C,humidity\n2026-03-08 10:00,14.5,70\n2026-03-08 11:00,14.7,71\n";
    let body = json!({"rows": rows, "file_name": "shelf.csv", "date_order": "year-month-day", "keep": true});
    let asked = asked(body).may("file_name", Line).may("date_order", Word).may("keep", Flag);
    asked.other("file_name", json!("other.csv"))
}
