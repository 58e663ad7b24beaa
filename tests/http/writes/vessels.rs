//! The write routes of vessels.

use serde_json::{Value, json};

use super::{Asked, Write, asked};
use crate::http::scene::Scene;
use crate::http::values::Takes::{Amount, Flag, Id, Line, Number, Past, Remark, Word};
use crate::http::values::amount;

pub fn all(s: &Scene, to: &mut Vec<Write>) {
    let c = &s.cellar;
    to.push(kept(s, "N1").post("/vessels", "/vessels".to_owned()));
    to.push(kept(s, "N1").post("/api/v1/vessels", "/api/v1/vessels".to_owned()));
    let change = format!("/api/v1/vessels/{}", s.free);
    to.push(kept(s, "T2").at("PUT", "/api/v1/vessels/{id}", change));
    let deed = |id: undercroft::units::ids::VesselId, name: &str| format!("/vessels/{id}/{name}");
    let api = |id: undercroft::units::ids::VesselId, name: &str| format!("/api/v1/vessels/{id}/{name}");
    for (page, program, id, what) in [
        ("fill", "fillings", s.free, filled(s)),
        ("move", "decantings", c.vessel, moved(s)),
        ("empty", "emptyings", c.vessel, because("drunk at the table")),
        ("clean", "cleanings", s.free, on()),
        ("out-of-use", "out-of-use", s.free, because("cracked")),
        ("in-use", "in-use", s.lent, on()),
    ] {
        let again = Asked { body: what.body.clone(), other: what.other.clone(), ..asked(json!({})) };
        let again = Asked { fields: what.fields.iter().map(copied).collect(), ..again };
        to.push(what.post("/vessels/{id}/{deed}", deed(id, page)));
        to.push(again.post(route(program), api(id, program)));
    }
    to.push(kept(s, "T2").post("/vessels/{id}/{deed}", deed(s.free, "edit")));
    let strike =
        || asked(json!({"reason": "the wrong jar"})).needs("reason", Line).other("reason", json!("slip"));
    to.push(strike().post("/api/v1/fillings/{id}/strike", format!("/api/v1/fillings/{}/strike", c.filling)));
    let page = format!("/vessels/{}/fillings/{}/strike", c.vessel, c.filling);
    to.push(strike().post("/vessels/{id}/fillings/{filling}/strike", page));
}

/// The write routes of holds: one lot is free, one is held.
pub fn holds(s: &Scene, to: &mut Vec<Write>) {
    let hold = || {
        asked(json!({"reason": "smells of hay", "all": false}))
            .needs("reason", Line)
            .may("all", Flag)
            .other("reason", json!("smells of fish"))
    };
    let free = s.cellar.milk_lot;
    to.push(hold().post("/stores/lots/{id}/hold", format!("/stores/lots/{free}/hold")));
    to.push(hold().post("/api/v1/lots/{id}/hold", format!("/api/v1/lots/{free}/hold")));
    let bound = s.held_lot;
    to.push(hold().post("/stores/lots/{id}/release", format!("/stores/lots/{bound}/release")));
    to.push(hold().post("/api/v1/lots/{id}/release", format!("/api/v1/lots/{bound}/release")));
}

fn copied(field: &super::Field) -> super::Field {
    super::Field { path: field.path, takes: field.takes, needed: field.needed }
}

fn route(program: &str) -> &'static str {
    match program {
        "fillings" => "/api/v1/vessels/{id}/fillings",
        "decantings" => "/api/v1/vessels/{id}/decantings",
        "emptyings" => "/api/v1/vessels/{id}/emptyings",
        "cleanings" => "/api/v1/vessels/{id}/cleanings",
        "out-of-use" => "/api/v1/vessels/{id}/out-of-use",
        _ => "/api/v1/vessels/{id}/in-use",
    }
}

fn kept(s: &Scene, code: &str) -> Asked {
    let body = json!({"code": code, "material": "glass", "capacity": amount("25", "L"), "safe_filling":
        amount("1", "L"), "place": s.cellar.shelf, "closure": "airlock", "worn": true, "marks": "chip at the foot"});
    asked(body)
        .needs("code", Line)
        .needs("material", Word)
        .needs("capacity", Amount("L"))
        .may("safe_filling", Amount("L"))
        .needs("place", Id)
        .needs("closure", Word)
        .may("worn", Flag)
        .may("marks", Remark)
        .other("marks", json!("none"))
}

fn filled(s: &Scene) -> Asked {
    let body = json!({"batch": s.cellar.batch, "day": "2026-06-02", "volume": amount("1", "L"), "temperature_c": "18",
        "closure": "loose", "reasons": {}});
    asked(body)
        .needs("batch", Id)
        .may("day", Past)
        .needs("volume", Amount("L"))
        .may("temperature_c", Number("18.5", "400"))
        .may("closure", Word)
        .may("reasons.hot-glass", Line)
        .other("volume", amount("2", "L"))
}

fn moved(s: &Scene) -> Asked {
    let body =
        json!({"into": s.free, "day": "2026-06-02", "volume": amount("1", "L"), "temperature_c": "18"});
    asked(body)
        .needs("into", Id)
        .may("day", Past)
        .may("volume", Amount("L"))
        .may("temperature_c", Number("18.5", "400"))
        .other("volume", amount("2", "L"))
}

fn because(reason: &str) -> Asked {
    let body: Value = json!({"day": "2026-06-02", "reason": reason});
    asked(body).may("day", Past).needs("reason", Line).other("reason", json!("another"))
}

fn on() -> Asked {
    asked(json!({"day": "2026-06-02"})).may("day", Past).other("day", json!("2026-06-03"))
}
