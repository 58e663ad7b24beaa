//! A member of another club finds nothing: every route of the API with the ids of this club answers "not here".

use super::bad_input::filled;
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
    for list in ["/batches", "/items", "/places", "/stock", "/bottlings", "/entries"] {
        let heard = house.get(list);
        assert!(
            !heard.body.contains("Whole milk") && !heard.body.contains("Whey wine"),
            "{list}: {}",
            heard.body
        );
    }
    house.close().await;
}
