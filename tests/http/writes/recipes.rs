//! The write routes of recipes: one with two revisions, one that was put aside.

use serde_json::json;

use super::super::scene::Scene;
use super::super::values::Takes::{Amount, Id, Line, Number, Past, Remark, Word};
use super::super::values::amount;
use super::{Asked, Write, asked};

/// All of them, in this scene.
pub fn all(s: &Scene, to: &mut Vec<Write>) {
    let recipe = s.cellar.recipe;
    to.push(written(s).post("/api/v1/recipes", "/api/v1/recipes".to_owned()));
    to.push(written(s).post("/recipes", "/recipes".to_owned()));
    let path = format!("/api/v1/recipes/{recipe}/revisions");
    to.push(written(s).post("/api/v1/recipes/{id}/revisions", path));
    to.push(written(s).post("/recipes/{id}/revisions", format!("/recipes/{recipe}/revisions")));
    let made = || {
        let body = json!({"amount": amount("30", "L"), "name": "Tide Red", "day": "2026-03-02"});
        let asked = asked(body).needs("amount", Amount("L")).may("name", Line).may("day", Past);
        asked.other("amount", amount("20", "L"))
    };
    let end = format!("/recipes/{recipe}/revisions/2/batch");
    to.push(made().post("/api/v1/recipes/{id}/revisions/{number}/batch", format!("/api/v1{end}")));
    to.push(made().post("/recipes/{id}/revisions/{number}/batch", end));
    for under in ["/api/v1", ""] {
        let (aside, back) = match under {
            "" => ("/recipes/{id}/aside", "/recipes/{id}/back"),
            _ => ("/api/v1/recipes/{id}/aside", "/api/v1/recipes/{id}/back"),
        };
        to.push(asked(json!({})).post(aside, format!("{under}/recipes/{recipe}/aside")));
        to.push(asked(json!({})).post(back, format!("{under}/recipes/{}/back", s.aside)));
    }
}

fn written(s: &Scene) -> Asked {
    let c = &s.cellar;
    let step = json!({"kind": "hold", "what": "warm", "item": c.yeast, "amount": amount("5", "g"), "target_c": "63",
        "minutes": "30", "caution": "hot", "turn": "1"});
    let body = json!({"drink": "Tide Blue", "base": c.milk, "base_amount": amount("50", "L"),
        "supplies": [{"item": c.yeast, "amount": amount("15", "g")}],
        "by_products": [{"item": c.curds, "amount": amount("16", "kg")}],
        "steps": [step], "strength": "11.5", "sugar_g_l": "4.5", "tasting_ages_months": [6, 12], "note": "first"});
    asked(body)
        .needs("drink", Line)
        .needs("base_amount", Amount("L"))
        .needs("base", Id)
        .needs("supplies.0.item", Id)
        .needs("supplies.0.amount", Amount("g"))
        .needs("by_products.0.item", Id)
        .needs("by_products.0.amount", Amount("kg"))
        .needs("steps.0.kind", Word)
        .may("steps.0.what", Line)
        .may("steps.0.item", Id)
        .may("steps.0.amount", Amount("g"))
        .may("steps.0.target_c", Number("18.5", "400"))
        .may("steps.0.caution", Line)
        .may("steps.0.turn", Number("2.5", "1001"))
        .may("strength", Number("12.5", "26"))
        .may("sugar_g_l", Number("4.5", "501"))
        .may("note", Remark)
        .other("drink", json!("Tide Red"))
}
