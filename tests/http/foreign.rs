//! A member of another club finds nothing: every route of the API with the ids of this club answers "not here".

use super::{House, token};
use crate::ground::cellar::Cellar;
use crate::ground::{Ground, on_both};

on_both!(another_club_sees_nothing_of_this_one);

async fn another_club_sees_nothing_of_this_one(ground: &Ground) {
    let house = House::open(ground).await;
    let cellar = Cellar::new(&house.db, "Quay Cellar").await;
    let foreigner = house.token.clone();
    let own = token(&house.db, &cellar.club).await;
    let mut walked = 0;
    for route in undercroft::web::routes::table().routes {
        let Some(path) = route.path.strip_prefix("/api/v1") else { continue };
        if !path.contains('{')
            || path.contains("problems/")
            || path.contains("members/")
            || path.contains("tokens/")
            || path.contains("invitations/")
            || path.contains("sessions/")
            // A steward settles shares; the foreigner is none.
            || (route.method == "POST" && path.ends_with("/shares"))
        {
            continue;
        }
        let path = filled(path, &cellar);
        let body = if route.method == "GET" { "" } else { "{\"reason\":\"curious\",\"lines\":[]}" };
        let heard = house.send(&foreigner, route.method.as_str(), &path, None, body);
        let hidden = heard.status == 404 || route.method != "GET" && heard.status == 422;
        assert!(hidden, "{} {path}: {} {}", route.method, heard.status, heard.body);
        for name in ["Whole milk", "Whey wine", "Curds"] {
            assert!(!heard.body.contains(name), "{} {path} tells of {name}: {}", route.method, heard.body);
        }
        if route.method == "GET" {
            let seen = house.send(&own, "GET", &path, None, "");
            assert_eq!(seen.status, 200, "{path}, for a member of the club: {}", seen.body);
        }
        walked += 1;
    }
    assert!(walked > 20, "only {walked} routes take an id");
    for list in ["/tastings", "/batches", "/items", "/places", "/stock", "/bottlings", "/entries"] {
        let heard = house.get(list);
        assert!(
            !heard.body.contains("Whole milk") && !heard.body.contains("Whey wine"),
            "{list}: {}",
            heard.body
        );
    }
    house.close().await;
}

/// A path with the ids of this cellar in the place of its variables.
fn filled(path: &str, cellar: &Cellar) -> String {
    let id = if path.contains("bottlings/{") || path.contains("bottles/{") {
        cellar.bottled.bottling.to_string()
    } else if path.contains("places/{") {
        cellar.place.to_string()
    } else if path.contains("recipes/{") {
        cellar.recipe.to_string()
    } else if path.contains("instruments/{") {
        cellar.instrument.to_string()
    } else if path.contains("reading-imports/{") {
        cellar.import.to_string()
    } else if path.contains("efforts/{") {
        cellar.effort.to_string()
    } else if path.contains("readings/{id}") {
        cellar.reading.to_string()
    } else if path.contains("/bills") {
        cellar.receipt.to_string()
    } else if path.contains("entries/{") {
        cellar.draw.to_string()
    } else if path.contains("lots/{") || path.contains("trace/{") {
        cellar.milk_lot.to_string()
    } else if path.contains("items/{") {
        cellar.milk.to_string()
    } else if path.contains("reminders/{") {
        cellar.reminder.to_string()
    } else if path.contains("receipts/{") {
        cellar.receipt.to_string()
    } else if path.contains("vessels/{") {
        cellar.vessel.to_string()
    } else if path.contains("fillings/{") {
        cellar.filling.to_string()
    } else if path.contains("counts/{") {
        cellar.count.to_string()
    } else if path.contains("tables/{") {
        cellar.sent.to_string()
    } else if path.contains("tastings/{") {
        cellar.tasting.to_string()
    } else {
        cellar.batch.to_string()
    };
    let path = path
        .replace("{number}", "1")
        .replace("{line}", "1")
        .replace("{task}", "draw")
        .replace("{deed}", "fill")
        .replace("{bill}", &cellar.bills[0].to_string())
        .replace("{filling}", &cellar.filling.to_string())
        .replace("{reading}", &cellar.reading.to_string());
    let path =
        path.replace("{import}", &cellar.import.to_string()).replace("{effort}", &cellar.effort.to_string());
    let mut filled = String::new();
    let mut rest = path.as_str();
    while let Some((before, after)) = rest.split_once('{') {
        let (_, behind) = after.split_once('}').expect("a variable ends");
        filled.push_str(before);
        filled.push_str(&id);
        rest = behind;
    }
    filled + rest
}
