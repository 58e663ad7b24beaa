//! The write routes of tastings. One is to come, one is at the table: of it one sheet is in, and one is filled.

use serde_json::{Value, json};

use super::super::scene::Scene;
use super::super::values::Takes::{AnyDay, Flag, Id, Line, Number, Remark, Whole, Word};
use super::{Asked, Write, asked};

/// All of them, in this scene.
pub fn all(s: &Scene, to: &mut Vec<Write>) {
    let (to_come, table) = (s.tasting, s.table);
    to.push(plan(s).post("/api/v1/tastings", "/api/v1/tastings".to_owned()));
    to.push(plan(s).post("/tastings", "/tastings".to_owned()));
    to.push(plan(s).at("PUT", "/api/v1/tastings/{id}", format!("/api/v1/tastings/{to_come}")));
    to.push(plan(s).post("/tastings/{id}/plan", format!("/tastings/{to_come}/plan")));
    let (api, page) = ("/api/v1/tastings/attributes", "/tastings/attributes");
    to.push(attributes().at("PUT", api, api.to_owned()));
    to.push(attributes().post(page, page.to_owned()));
    let allergens = || {
        let body = json!({"may_taste": false});
        asked(body).needs("may_taste", Flag).other("may_taste", json!(true))
    };
    let of_age = || asked(json!({"of_age": true})).needs("of_age", Flag).other("of_age", json!(false));
    let off =
        || asked(json!({"reason": "high water"})).needs("reason", Line).other("reason", json!("low water"));
    let nothing = || asked(json!({}));
    for (asked, at, api, page) in [
        (allergens as fn() -> Asked, to_come, "allergens", "allergens"),
        (of_age, to_come, "beginning", "begin"),
        (nothing, table, "opening", "opening"),
        (off, to_come, "calling-off", "call-off"),
    ] {
        let route =
            |under: &str, end: &str| -> &'static str { format!("{under}/tastings/{{id}}/{end}").leak() };
        to.push(asked().post(route("/api/v1", api), format!("/api/v1/tastings/{at}/{api}")));
        to.push(asked().post(route("", page), format!("/tastings/{at}/{page}")));
    }
    sheets(s, to);
    let age = || asked(json!({"age_days": 4000})).needs("age_days", Whole).other("age_days", json!(4001));
    let bottling = s.cellar.bottled.bottling;
    let api = format!("/api/v1/bottlings/{bottling}/tasting-ages");
    to.push(age().post("/api/v1/bottlings/{id}/tasting-ages", api));
    to.push(age().post("/bottles/{id}/tasting-ages", format!("/bottles/{bottling}/tasting-ages")));
}

fn plan(s: &Scene) -> Asked {
    let c = &s.cellar;
    let body = json!({"title": "Wheys", "day": "2026-07-02", "place": "Mill loft", "method": "scored", "blind": true,
        "question": "Which?", "pour_volume": {"amount": "30", "unit": "mL"}, "host": s.member,
        "pourer": c.club.hand.member, "tasters": s.taster, "samples": [{"bottling": c.bottled.bottling}]});
    asked(body)
        .needs("title", Line)
        .needs("day", AnyDay)
        .may("place", Line)
        .needs("method", Word)
        .may("blind", Flag)
        .may("question", Line)
        .may("expected", Whole)
        .may("host", Id)
        .may("pourer", Id)
        .needs("tasters", Id)
        .needs("samples.0.bottling", Id)
        .other("title", json!("Whites"))
}

fn attributes() -> Asked {
    let line = |name: &str| json!({"name": name, "low_end": "none", "high_end": "much"});
    asked(json!({"lines": [line("Fizz")], "whole": line("All in all")}))
        .needs("lines.0.name", Line)
        .needs("lines.0.low_end", Line)
        .needs("lines.0.high_end", Line)
        .needs("whole.name", Line)
        .needs("whole.low_end", Line)
        .needs("whole.high_end", Line)
        .other("lines.0.name", json!("Foam"))
}

fn sheets(s: &Scene, to: &mut Vec<Write>) {
    let glass = s.glass;
    let said = json!([{"code": glass, "marks": [{"line": 0, "mark": "7.5"}], "words": "hay"}]);
    let sheet = asked(json!({"glasses": said, "hand_in": false}))
        .needs("glasses.0.code", Whole)
        .needs("glasses.0.marks.0.mark", Number("6.5", "11"))
        .may("glasses.0.words", Remark)
        .may("hand_in", Flag)
        .other("hand_in", json!(true));
    let api = format!("/api/v1/tastings/{}/sheet", s.table);
    to.push(sheet.at("PUT", "/api/v1/tastings/{id}/sheet", api));
    let page = format!("/tastings/{}/sheet", s.table);
    let body: Value = json!({"mark-0": "7", "half-0": "yes", "mark-3": "0", "words": "hay"});
    let one = asked(body).may("half-0", Flag).may("words", Remark).other("words", json!("straw"));
    to.push(one.post("/tastings/{id}/sheet/{glass}", format!("{page}/{glass}")));
    to.push(asked(json!({})).post("/tastings/{id}/sheet", page));
}
