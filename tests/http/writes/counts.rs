//! The write routes of counts: one is being counted, the differences of another are looked at.

use serde_json::json;

use super::super::scene::Scene;
use super::super::values::Takes::{Counted, Flag, Id, Line, Number, Whole, Word};
use super::{Asked, Write, asked};

/// All of them, in this scene.
pub fn all(s: &Scene, to: &mut Vec<Write>) {
    let c = &s.cellar;
    let begun = || {
        let body = json!({"title": "Milk", "items": c.milk, "places": c.shelf, "kinds": "ingredient"});
        asked(body)
            .may("title", Line)
            .may("items", Id)
            .may("places", Id)
            .may("kinds", Word)
            .other("title", json!("All milk"))
    };
    to.push(begun().post("/api/v1/counts", "/api/v1/counts".to_owned()));
    to.push(begun().post("/counts", "/counts".to_owned()));
    to.push(ordered(s, "order").at("PUT", "/api/v1/counts/ways", "/api/v1/counts/ways".to_owned()));
    to.push(ordered(s, "order").post("/counts/ways", "/counts/ways".to_owned()));
    counted(s, to);
    settled(s, to);
}

fn ordered(s: &Scene, order: &'static str) -> Asked {
    let mut body = json!({"tolerance_percent": "3", "tolerance_pieces": 4});
    body[order] = json!(s.cellar.place);
    asked(body)
        .may("tolerance_percent", Number("2.5", "101"))
        .may(order, Id)
        .other("tolerance_pieces", json!(5))
}

fn counted(s: &Scene, to: &mut Vec<Write>) {
    let (count, shelf) = (s.cellar.count, s.cellar.shelf);
    let said = |line: Option<u32>| {
        let mut body =
            json!({"counted": {"amount": "80", "unit": "g"}, "opened": true, "remark": "two bags"});
        if let Some(line) = line {
            body["line"] = json!(line);
        }
        asked(body)
            .needs("counted", Counted("g"))
            .may("opened", Flag)
            .may("none", Flag)
            .may("remark", Line)
            .other("remark", json!("one bag"))
    };
    let api = format!("/api/v1/counts/{count}/tallies");
    to.push(said(Some(1)).post("/api/v1/counts/{id}/tallies", api));
    to.push(said(None).post("/counts/{id}/lines/{line}", format!("/counts/{count}/lines/1")));
    let found = || {
        let body = json!({"place": shelf, "what": "a white bucket", "counted": "3", "opened": false});
        asked(body)
            .needs("place", Id)
            .needs("what", Line)
            .may("opened", Flag)
            .may("remark", Line)
            .other("what", json!("a blue bucket"))
    };
    to.push(found().post("/api/v1/counts/{id}/found", format!("/api/v1/counts/{count}/found")));
    to.push(found().post("/counts/{id}/found", format!("/counts/{count}/found")));
    let nothing = || asked(json!({}));
    to.push(nothing().post("/api/v1/counts/{id}/end", format!("/api/v1/counts/{count}/end")));
    to.push(nothing().post("/counts/{id}/end", format!("/counts/{count}/end")));
    let off =
        || asked(json!({"reason": "high water"})).needs("reason", Line).other("reason", json!("low water"));
    to.push(off().post("/api/v1/counts/{id}/calling-off", format!("/api/v1/counts/{count}/calling-off")));
    to.push(off().post("/counts/{id}/call-off", format!("/counts/{count}/call-off")));
}

fn settled(s: &Scene, to: &mut Vec<Write>) {
    let review = s.review;
    let api = |end: &str| format!("/api/v1/counts/{review}/{end}");
    let again = || asked(json!({"again": [1]})).needs("again", Whole).other("again", json!([2]));
    to.push(again().post("/api/v1/counts/{id}/recounts", api("recounts")));
    let why = || {
        let body = json!({"reason": "broken", "words": "gnawed"});
        asked(body).needs("reason", Word).may("words", Line).other("words", json!("nibbled"))
    };
    to.push(why().post("/api/v1/counts/{id}/lines/{line}/say", api("lines/1/say")));
    to.push(why().post("/counts/{id}/lines/{line}/say", format!("/counts/{review}/lines/1/say")));
    let posted = || {
        let body = json!({"reason": "broken", "words": "gnawed"});
        asked(body).may("reason", Word).may("words", Line).other("words", json!("nibbled"))
    };
    to.push(posted().post("/api/v1/counts/{id}/posting", api("posting")));
    to.push(posted().post("/counts/{id}/differences", format!("/counts/{review}/differences")));
}
