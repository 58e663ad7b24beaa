//! What is measured of a batch, and what is kept beside its books.

use serde_json::{Value, json};

use super::{Asked, Scene, Write, asked};
use crate::http::values::Takes::{Flag, Id, Line, Moment, Number, Once, Past, Price, Remark, Word};

pub fn all(s: &Scene, to: &mut Vec<Write>) {
    let c = &s.cellar;
    let own = |name: &str| format!("/api/v1/batches/{}/{name}", c.batch);
    to.push(one(s).post("/api/v1/batches/{id}/readings", own("readings")));
    to.push(sent(s).post("/api/v1/batches/{id}/readings", own("readings")));
    to.push(typed(s).post("/batches/{id}/reading", format!("/batches/{}/reading", c.batch)));
    let again = || {
        let body = json!({"value": "1.044", "at": "2026-03-05T18:30:00Z", "sample_temperature_c": "19",
            "reason": "misread", "as_read": true});
        asked(body)
            .needs("value", Once("45"))
            .may("at", Moment)
            .may("sample_temperature_c", Once("400"))
            .needs("reason", Line)
            .may("as_read", Flag)
            .other("value", json!("1.043"))
    };
    let path = format!("/api/v1/readings/{}/correction", c.reading);
    to.push(again().post("/api/v1/readings/{id}/correction", path));
    let path = format!("/batches/{}/readings/{}/correction", c.batch, c.reading);
    to.push(again().post("/batches/{id}/readings/{reading}/correction", path));
    to.push(file().post("/api/v1/batches/{id}/reading-imports", own("reading-imports")));
    to.push(file().post("/batches/{id}/logger", format!("/batches/{}/logger", c.batch)));
    let undone =
        || asked(json!({"reason": "of another vat"})).needs("reason", Line).other("reason", json!("slip"));
    let path = format!("/api/v1/reading-imports/{}/undoing", c.import);
    to.push(undone().post("/api/v1/reading-imports/{id}/undoing", path));
    let path = format!("/batches/{}/logger/{}/undoing", c.batch, c.import);
    to.push(undone().post("/batches/{id}/logger/{import}/undoing", path));
    instruments(s, to);
    beside_the_books(s, to);
}

fn beside_the_books(s: &Scene, to: &mut Vec<Write>) {
    let c = &s.cellar;
    let noted = || {
        let body =
            json!({"day": "2026-06-02", "kind": "work", "amount": "1.5", "sum": "18", "remark": "racking"});
        asked(body)
            .may("day", Past)
            .needs("kind", Word)
            .may("amount", Number("1.5", "99999"))
            .may("sum", Price)
            .may("remark", Line)
            .other("sum", json!("19"))
    };
    to.push(noted().post("/api/v1/batches/{id}/efforts", format!("/api/v1/batches/{}/efforts", c.batch)));
    to.push(noted().post("/batches/{id}/effort", format!("/batches/{}/effort", c.batch)));
    let struck =
        || asked(json!({"reason": "of another batch"})).needs("reason", Line).other("reason", json!("slip"));
    to.push(struck().post("/api/v1/efforts/{id}/strike", format!("/api/v1/efforts/{}/strike", c.effort)));
    let path = format!("/batches/{}/efforts/{}/strike", c.batch, c.effort);
    to.push(struck().post("/batches/{id}/efforts/{effort}/strike", path));
    let counted = || {
        let body = json!({"by_products_by": "sales-value", "litre_worth": "6", "hour_rate": "12", "kwh_price": "0.3"});
        asked(body)
            .needs("by_products_by", Word)
            .may("litre_worth", Price)
            .may("hour_rate", Price)
            .may("kwh_price", Price)
            .other("hour_rate", json!("13"))
    };
    to.push(counted().at("PUT", "/api/v1/club/counting", "/api/v1/club/counting".to_owned()));
    to.push(counted().post("/club/counting", "/club/counting".to_owned()));
}

fn instruments(s: &Scene, to: &mut Vec<Write>) {
    let new = |name: &str, kind: bool| {
        let mut body =
            json!({"name": name, "offset": "0.002", "made_for_c": "15", "checked_on": "2026-03-01"});
        if kind {
            body["kind"] = json!("hydrometer");
        }
        let asked = asked(body).needs("name", Line).may("made_for_c", Number("15.5", "400"));
        let asked = asked.may("offset", Number("0.002", "1000")).may("checked_on", Past);
        let asked = if kind { asked.needs("kind", Word) } else { asked.may("retired", Flag) };
        asked.other("offset", json!("0.003"))
    };
    to.push(new("Hydrometer 3", true).post("/api/v1/instruments", "/api/v1/instruments".to_owned()));
    to.push(new("Hydrometer 4", true).post("/club/instruments", "/club/instruments".to_owned()));
    let path = format!("/api/v1/instruments/{}", s.cellar.instrument);
    to.push(new("Hydrometer 2 b", false).at("PUT", "/api/v1/instruments/{id}", path));
    let path = format!("/club/instruments/{}", s.cellar.instrument);
    to.push(new("Hydrometer 2 c", false).post("/club/instruments/{id}", path));
}

fn value(body: Value, field: &'static str) -> Asked {
    asked(body)
        .may("at", Moment)
        .needs(field, Number("1.045", "45"))
        .may("sample_temperature_c", Number("18.5", "400"))
        .may("as_read", Flag)
        .may("remark", Remark)
        .other(field, json!("1.030"))
}

fn one(s: &Scene) -> Asked {
    let body = json!({"kind": "gravity", "value": "1.040", "at": "2026-06-02T10:00:00Z", "remark": "clear",
        "sample_temperature_c": "20", "instrument": s.cellar.instrument, "as_read": true});
    value(body, "value").needs("kind", Word).may("instrument", Id)
}

fn sent(s: &Scene) -> Asked {
    let reading = json!({"kind": "gravity", "value": "1.040", "at": "2026-06-02T10:00:00Z", "remark": "clear",
        "sample_temperature_c": "20", "instrument": s.cellar.instrument});
    asked(json!({"source": "float 7", "readings": [reading]}))
        .may("source", Line)
        .needs("readings.0.at", Moment)
        .needs("readings.0.kind", Word)
        .needs("readings.0.value", Number("1.045", "45"))
        .may("readings.0.sample_temperature_c", Number("18.5", "400"))
        .may("readings.0.instrument", Id)
        .may("readings.0.remark", Remark)
        .other("source", json!("float 8"))
}

fn typed(s: &Scene) -> Asked {
    let body = json!({"gravity": "1.040", "at": "2026-06-02 10:00", "sample_temperature_c": "20", "as_read": true,
        "hydrometer": s.cellar.instrument});
    value(body, "gravity")
        .may("temperature", Number("18.5", "400"))
        .may("ph", Number("3.5", "15"))
        .may("acidity", Number("6.5", "51"))
        .may("free-sulphite", Number("25.5", "-1"))
        .may("volume", Number("10.5", "-1"))
        .may("hydrometer", Id)
}

fn file() -> Asked {
    let rows = "time;SG\n13.06.2026 10:00;1,046\n13.06.2026 11:00;1,045\n";
    asked(json!({"rows": rows, "file_name": "vat.csv", "keep": "good"}))
        .may("file_name", Line)
        .may("date_order", Word)
        .may("gravity_in", Word)
        .may("temperature_in", Word)
        .may("keep", Word)
        .other("file_name", json!("loft.csv"))
}
