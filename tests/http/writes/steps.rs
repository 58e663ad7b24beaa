//! The write routes of the steps of a batch that is made by a recipe: its first step is done, the others are ahead.

use serde_json::json;

use super::super::scene::Scene;
use super::super::values::Takes::{Amount, Flag, Id, Line, Moment, Number, Remark, Whole, Word};
use super::super::values::amount;
use super::{Asked, Write, asked};

/// All of them, in this scene.
pub fn all(s: &Scene, to: &mut Vec<Write>) {
    let (batch, record) = (s.making, s.record);
    let under = |api: bool| if api { "/api/v1" } else { "" };
    for api in [true, false] {
        let path = format!("{}/batches/{batch}/steps", under(api));
        to.push(added(s).post(if api { "/api/v1/batches/{id}/steps" } else { "/batches/{id}/steps" }, path));
    }
    for (asked, line, api, page) in [
        (
            begun as fn() -> Asked,
            2,
            "/api/v1/batches/{id}/steps/{line}/begin",
            "/batches/{id}/steps/{line}/begin",
        ),
        (read, 4, "/api/v1/batches/{id}/steps/{line}/done", "/batches/{id}/steps/{line}"),
        (left_out, 3, "/api/v1/batches/{id}/steps/{line}/leave-out", "/batches/{id}/steps/{line}/leave-out"),
        (remarked, 1, "/api/v1/batches/{id}/steps/{line}/remark", "/batches/{id}/steps/{line}/remark"),
    ] {
        for route in [api, page] {
            let path = route.replace("{id}", &batch.to_string()).replace("{line}", &line.to_string());
            to.push(asked().post(route, path));
        }
    }
    for route in [
        "/api/v1/batches/{id}/steps/{line}/records/{record}/strike",
        "/batches/{id}/steps/{line}/records/{record}/strike",
    ] {
        let path = route.replace("{id}", &batch.to_string()).replace("{line}", "1");
        to.push(left_out().post(route, path.replace("{record}", &record.to_string())));
    }
}

fn added(s: &Scene) -> Asked {
    let c = &s.cellar;
    let body = json!({"kind": "note", "what": "wash", "item": c.yeast, "amount": amount("5", "g"),
        "target_c": "63", "minutes": "30", "caution": "hot", "after": 2});
    asked(body)
        .needs("kind", Word)
        .may("what", Line)
        .may("item", Id)
        .may("amount", Amount("g"))
        .may("target_c", Number("18.5", "400"))
        .may("caution", Line)
        .may("after", Whole)
        .other("what", json!("dry"))
}

fn begun() -> Asked {
    let body = json!({"at": "2026-06-02T10:00:00Z", "out_of_order": true});
    let asked = asked(body).may("at", Moment).may("out_of_order", Flag);
    asked.other("at", json!("2026-06-02T11:00:00Z"))
}

fn read() -> Asked {
    let body = json!({"gravity": "1.045", "sample_temperature_c": "20",
        "at": "2026-06-02T10:00:00Z", "remark": "clear", "out_of_order": true});
    asked(body)
        .needs("gravity", Number("1.045", "45"))
        .may("sample_temperature_c", Number("18.5", "400"))
        .may("temperature", Number("18.5", "400"))
        .may("ph", Number("3.5", "15"))
        .may("at", Moment)
        .may("begun_at", Moment)
        .may("remark", Remark)
        .may("out_of_order", Flag)
        .other("remark", json!("dull"))
}

fn left_out() -> Asked {
    asked(json!({"reason": "a slip"})).needs("reason", Line).other("reason", json!("another"))
}

fn remarked() -> Asked {
    asked(json!({"remark": "it foamed"})).needs("remark", Remark).other("remark", json!("it did not"))
}
