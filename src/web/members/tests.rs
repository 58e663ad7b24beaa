//! People coming and going, over HTTP.

use actix_web::rt::System;

use crate::actions::members::{begin_set_up, doer_of_session};
use crate::web::extract::now;
use crate::web::server::tests::{FORM, Heard, House, PASSWORD};
use crate::web::site::form_token;

/// What a form sends.
fn form(fields: &[(&str, &str)]) -> String {
    form_urlencoded::Serializer::new(String::new()).extend_pairs(fields).finish()
}

/// The secret of the session that an answer begins.
fn session(heard: &Heard) -> String {
    let (_, rest) = heard.header("set-cookie").split_once("undercroft=").unwrap();
    rest.split(';').next().unwrap().to_owned()
}

/// Somebody's browser.
struct Browser<'h> {
    house: &'h House,
    secret: String,
}

impl Browser<'_> {
    fn get(&self, path: &str) -> Heard {
        self.house.ask("GET", path, &[("cookie", &format!("undercroft={}", self.secret))], "")
    }

    fn send(&self, path: &str, fields: &[(&str, &str)]) -> Heard {
        let token = form_token(&self.secret);
        let body = form(&[&[("form_token", &*token)], fields].concat());
        self.house.ask("POST", path, &[("cookie", &format!("undercroft={}", self.secret)), FORM], &body)
    }
}

fn sign_in(house: &House, email: &str, password: &str, next: &str) -> Heard {
    house.ask("POST", "/sign-in", &[FORM], &form(&[("email", email), ("password", password), ("next", next)]))
}

/// The long text between two marks.
fn between<'t>(text: &'t str, before: &str, after: &str) -> &'t str {
    text.split_once(before).and_then(|(_, rest)| rest.split_once(after)).map(|(found, _)| found).unwrap()
}

#[test]
fn the_first_steward_sets_up_the_club_at_an_address_that_works_once() {
    let house = House::open("/cellar");
    let secret = System::new().block_on(begin_set_up(&house.db, now())).unwrap().unwrap();
    let path = format!("/set-up/{}", secret.reveal());
    assert!(house.get(&path).body.contains("<option value=\"Europe/Amsterdam\">Amsterdam</option>"));
    let fields = [
        ("name", "Tidemill Cellar Club"),
        ("currency", "EUR"),
        ("time_zone", "Europe/Amsterdam"),
        ("steward_name", "Marit Oldewelt"),
        ("steward_email", "marit@tidemill.example"),
        ("password", "wheel pit at low tide"),
    ];
    let mut wrong = fields;
    wrong[3].1 = "";
    let refused = house.ask("POST", &path, &[FORM], &form(&wrong));
    assert_eq!(refused.status, 422);
    assert!(
        refused.body.contains("href=\"#steward_name\"")
            && refused.body.contains("value=\"Tidemill Cellar Club\"")
    );
    assert!(!refused.body.contains("wheel pit"), "a password is never sent back");

    let done = house.ask("POST", &path, &[FORM], &form(&fields));
    assert_eq!((done.status, done.header("location")), (303, "/cellar/"));
    let browser = Browser { house: &house, secret: session(&done) };
    assert!(browser.get("/club").body.contains("marit@tidemill.example"));
    assert_eq!(house.get(&path).status, 404);
    assert_eq!(house.ask("POST", &path, &[FORM], &form(&fields)).status, 404);
}

#[test]
fn signing_in_leads_on_and_the_cookie_is_for_the_server_alone() {
    let house = House::open("");
    house.found();
    let done = sign_in(&house, "maren@example.org", PASSWORD, "/club");
    assert_eq!((done.status, done.header("location")), (303, "/club"));
    let cookie = done.header("set-cookie");
    for word in ["HttpOnly", "SameSite=Lax", "Path=/", "Max-Age=7776000"] {
        assert!(cookie.contains(word), "{word} in {cookie}");
    }
    let elsewhere = sign_in(&house, "maren@example.org", PASSWORD, "//elsewhere.example/");
    assert_eq!(elsewhere.header("location"), "/");
}

#[test]
fn a_wrong_password_and_an_unknown_name_look_the_same() {
    let house = House::open("");
    house.found();
    let keyless = |heard: Heard, email: &str| {
        assert_eq!(heard.status, 422);
        let key = between(&heard.body, "name=\"request_key\" value=\"", "\"").to_owned();
        heard.body.replace(&key, "").replace(email, "")
    };
    let (known, unknown) = ("maren@example.org", "nobody@example.org");
    let wrong = keyless(sign_in(&house, known, "wheel pit at high tide", ""), known);
    assert!(wrong.contains("The e-mail address and the password do not fit together"));
    assert_eq!(keyless(sign_in(&house, unknown, "wheel pit at high tide", ""), unknown), wrong);
}

#[test]
fn who_tries_too_often_is_told_to_wait() {
    let house = House::open("");
    let tries: Vec<_> = (0..21).map(|_| sign_in(&house, "nobody@example.org", "?", "")).collect();
    assert!(tries[..20].iter().all(|heard| heard.status == 422));
    assert_eq!(tries[20].status, 429);
    let wait: u64 = tries[20].header("retry-after").parse().unwrap();
    assert!((1..=181).contains(&wait), "{wait}");
    assert_eq!(sign_in(&house, "somebody@example.org", "?", "").status, 422);
}

#[test]
fn a_link_lets_one_person_join_and_names_no_host_that_a_request_made_up() {
    let house = House::open("");
    let steward = Browser { house: &house, secret: house.found()[0].1.clone() };
    let headers =
        [("cookie", &*format!("undercroft={}", steward.secret)), FORM, ("host", "elsewhere.example")];
    let body = form(&[("form_token", &form_token(&steward.secret)), ("name", "Ilse"), ("role", "taster")]);
    let made = house.ask("POST", "/club/invitations", &headers, &body);
    assert_eq!(made.status, 200);
    assert!(!made.body.contains("elsewhere.example"));
    let path = format!("/invitation/{}", between(&made.body, "/invitation/", "<"));

    assert!(house.get(&path).body.contains("You are invited as a taster"));
    let ilse =
        form(&[("name", "Ilse"), ("email", "ilse@example.org"), ("password", "a gannet over the weir")]);
    let joined = house.ask("POST", &path, &[FORM], &ilse);
    assert_eq!(joined.status, 303);
    let browser = Browser { house: &house, secret: session(&joined) };
    let club = browser.get("/club").body;
    assert!(club.contains("Ilse (you)") && !club.contains("maren@example.org"), "addresses are for stewards");
    assert_eq!(browser.get("/club/log").status, 403);
    assert_eq!(house.get(&path).status, 404);
    assert!(steward.get("/club/log").body.contains("Ilse: joined as taster"));
}

#[test]
fn a_token_is_shown_once_and_works_until_it_is_revoked() {
    let house = House::open("");
    let browser = Browser { house: &house, secret: house.found()[1].1.clone() };
    let fields = [("label", "Sensor"), ("scope", "read"), ("days", "30")];
    let made = browser.send("/me/tokens", &fields);
    let token = format!("uc_{}", between(&made.body, ">uc_", "<"));
    let bearer = format!("Bearer {token}");
    let ask = || house.ask("GET", "/api/v1/me", &[("authorization", &bearer)], "");
    assert!(ask().body.contains("\"role\":\"cellarhand\""));
    let page = browser.get("/me").body;
    assert!(page.contains("Sensor") && !page.contains(&token));
    let latest = between(&page, "/me/tokens/", "/revocation");
    let latest = latest.rsplit('/').next().unwrap();
    let path = format!("/me/tokens/{latest}/revocation");
    assert_eq!(browser.send(&path, &[]).status, 303);
    assert_eq!(ask().status, 401);
}

#[test]
fn a_changed_password_signs_out_everybody_but_who_changed_it() {
    let house = House::open("");
    let secret = house.found()[2].1.clone();
    let browser = Browser { house: &house, secret: secret.clone() };
    let fields = [("current_password", PASSWORD), ("new_password", "a gannet over the weir")];
    let done = browser.send("/me/password", &fields);
    assert_eq!(done.status, 303, "{}", done.body);
    assert_eq!(browser.get("/me").status, 303, "the old session leads to signing in");
    assert_eq!(Browser { house: &house, secret: session(&done) }.get("/me").status, 200);
}

#[test]
fn signing_out_ends_the_session_itself() {
    let house = House::open("");
    let browser = Browser { house: &house, secret: house.found()[2].1.clone() };
    let done = browser.send("/sign-out", &[]);
    assert!(done.header("set-cookie").contains("Max-Age=0"));
    let doer = System::new().block_on(doer_of_session(&house.db, &browser.secret, "", now()));
    assert!(doer.unwrap().is_none());
}

#[test]
fn the_last_steward_stays_and_is_told_why() {
    let house = House::open("");
    let steward = Browser { house: &house, secret: house.found()[0].1.clone() };
    let refused = steward.send("/me/leave", &[]);
    assert_eq!(refused.status, 409);
    assert!(refused.body.contains("A club has at least one steward"));
    assert_eq!(steward.get("/me").status, 200);
}
