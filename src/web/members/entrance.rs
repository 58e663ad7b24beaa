//! How people come in: signing in and out, an invitation, the set-up of the first club.
//!
//! Nothing here says whether an account exists; who tries too often waits.

use actix_web::HttpRequest;
use serde::Deserialize;
use utoipa::ToSchema;

use super::{as_whom, entering, with_cookie};
use crate::actions::members::{self, Visitor};
use crate::db::members::links::Offer;
use crate::domain::members::{NewClub, NewPerson, Onlooker, PASSWORD_AT_LEAST, Password};
use crate::domain::refusal::Refusal;
use crate::web::body::{Form, OpenForm};
use crate::web::extract::{Anyone, Path, Query, Session, session_secret};
use crate::web::form_page::FormPage;
use crate::web::forms::{Choice, Field, FormView, Group};
use crate::web::input::Draft;
use crate::web::problem::Problem;
use crate::web::respond::{self, Reply};
use crate::web::site::Site;

/// Where to go after signing in.
#[derive(Debug, Deserialize, ToSchema)]
pub struct Onward {
    /// A path of this server.
    next: Option<String>,
}

/// The form for signing in.
pub async fn sign_in_form(_: Anyone, site: Site, onward: Query<Onward>) -> Reply {
    respond::page(&open_page(&site, "Sign in", sign_in_view(&site, onward.value.next)))
}

/// Signing in.
pub async fn sign_in(_: Anyone, site: Site, visitor: Visitor, form: OpenForm, request: HttpRequest) -> Reply {
    let typed = |name: &str| form.draft.typed(name).unwrap_or_default();
    let email = typed("email");
    site.limits.count("sign-in", Some(&email), &visitor.address)?;
    let password = Password::new(typed("password"));
    match members::sign_in(&site.db, &email, &password, &visitor).await {
        Ok((secret, _)) => {
            if let Some(before) = session_secret(&request, &site) {
                members::sign_out(&site.db, &before).await?;
            }
            entering(&site, &secret, &own_path(&typed("next")))
        }
        Err(error) => {
            let refusal = Problem::or_refusal(error)?;
            refused(&site, "Sign in", sign_in_view(&site, None), &form.draft, &refusal)
        }
    }
}

/// A path of this server; the first page for anything else, such as the address of another server.
fn own_path(next: &str) -> String {
    let own = next.starts_with('/') && !next.starts_with("//") && !next.contains(['\\', '\n', '\r', '\t']);
    if own { next.to_owned() } else { "/".to_owned() }
}

fn sign_in_view(site: &Site, next: Option<String>) -> FormView {
    site.form("/sign-in", "Sign in", "Sign in").fields([
        Field::email("email", "E-mail address"),
        Field::password("password", "Password")
            .hint("Forgotten? Whoever runs this server can set another one."),
        Field::hidden("next", next.unwrap_or_default()),
    ])
}

/// Signing out.
pub async fn sign_out(_: Onlooker, site: Site, session: Session, _form: Form) -> Reply {
    members::sign_out(&site.db, &session.0).await?;
    with_cookie(site.no_cookie(), site.see_other("/sign-in"))
}

/// What an invitation offers.
pub async fn invitation_form(_: Anyone, site: Site, visitor: Visitor, secret: Path<String>) -> Reply {
    let offer = offered(&site, &visitor, &secret.0).await?;
    respond::page(&open_page(&site, "Invitation", invitation_view(&site, &secret.0, &offer)))
}

/// Accepting an invitation.
pub async fn accept(_: Anyone, site: Site, visitor: Visitor, secret: Path<String>, form: OpenForm) -> Reply {
    let offer = offered(&site, &visitor, &secret.0).await?;
    let done = async {
        let typed = |name: &str| form.draft.typed(name).unwrap_or_default();
        let person = NewPerson::read(&typed("name"), &typed("email"), &typed("password"))?;
        members::accept_invitation(&site.db, &secret.0, person, &visitor).await
    };
    match done.await {
        Ok((session, _)) => entering(&site, &session, "/"),
        Err(error) => {
            let refusal = Problem::or_refusal(error)?;
            refused(&site, "Invitation", invitation_view(&site, &secret.0, &offer), &form.draft, &refusal)
        }
    }
}

async fn offered(site: &Site, visitor: &Visitor, secret: &str) -> Result<Offer, Problem> {
    site.limits.count("invitation", None, &visitor.address)?;
    members::offered(&site.db, secret, visitor.now).await?.ok_or_else(|| members::invitation_over().into())
}

fn invitation_view(site: &Site, secret: &str, offer: &Offer) -> FormView {
    site.form(&format!("/invitation/{secret}"), &format!("Join {}", offer.club_name), "Join the club")
        .intro(format!("You are invited as {}.", as_whom(offer.role)))
        .fields([
            Field::text("name", "Your name").hint("What the others call you.").value(&offer.name),
            Field::email("email", "Your e-mail address").hint("You sign in with it."),
            new_password().hint(format!(
                "At least {PASSWORD_AT_LEAST} characters; three or four words are easy to remember. If you are in \
                 another club on this server, give the password you have."
            )),
        ])
}

fn new_password() -> Field {
    Field::new_password("password", "Password")
}

/// The form where the first club is set up.
pub async fn set_up_form(_: Anyone, site: Site, visitor: Visitor, secret: Path<String>) -> Reply {
    check_set_up(&site, &visitor, &secret.0).await?;
    respond::page(&open_page(&site, "Set up", set_up_view(&site, &secret.0)))
}

/// Setting up the first club.
pub async fn set_up(_: Anyone, site: Site, visitor: Visitor, secret: Path<String>, form: OpenForm) -> Reply {
    check_set_up(&site, &visitor, &secret.0).await?;
    let typed = |name: &str| form.draft.typed(name).unwrap_or_default();
    let done = async {
        let steward = NewPerson::read(&typed("steward_name"), &typed("steward_email"), &typed("password"));
        let club = NewClub::read(&typed("name"), &typed("currency"), &typed("time_zone"), steward)?;
        members::set_up(&site.db, &secret.0, club, &visitor).await
    };
    match done.await {
        Ok((session, _)) => entering(&site, &session, "/"),
        Err(error) => {
            let refusal = Problem::or_refusal(error)?;
            refused(&site, "Set up", set_up_view(&site, &secret.0), &form.draft, &refusal)
        }
    }
}

async fn check_set_up(site: &Site, visitor: &Visitor, secret: &str) -> Result<(), Problem> {
    site.limits.count("set-up", None, &visitor.address)?;
    if members::set_up_is_open(&site.db, secret, visitor.now).await? {
        Ok(())
    } else {
        Err(members::set_up_over().into())
    }
}

fn set_up_view(site: &Site, secret: &str) -> FormView {
    let club = [
        Field::text("name", "Name of the club"),
        Field::text("currency", "Currency").hint("Its three letters, such as EUR. It stays as it is."),
        Field::select("time_zone", "Time zone", zones()).hint("It decides which day it is in the cellar."),
    ];
    let you = [
        Field::text("steward_name", "Your name").hint("What the others call you."),
        Field::email("steward_email", "Your e-mail address").hint("You sign in with it."),
        new_password().hint(format!(
            "At least {PASSWORD_AT_LEAST} characters; three or four words are easy to remember."
        )),
    ];
    site.form(&format!("/set-up/{secret}"), "Set up the club", "Set up the club")
        .intro("Undercroft keeps the cellar of a club. This page works once, and you become the club’s first steward.")
        .group(Group::new("The club", club))
        .group(Group::new("You", you))
}

/// The time zones of places, by the part of the world.
fn zones() -> Vec<Choice> {
    let place = |zone: &chrono_tz::Tz| {
        let (part, place) = zone.name().split_once('/')?;
        let of_places = !matches!(part, "Etc" | "US" | "Canada" | "Brazil" | "Chile" | "Mexico");
        of_places.then(|| Choice::new(zone.name(), place.replace('_', " ").replace('/', ", ")).under(part))
    };
    let utc = Choice::new("UTC", "UTC, without summer time");
    [Choice::new("", "Choose a place"), utc]
        .into_iter()
        .chain(chrono_tz::TZ_VARIANTS.iter().filter_map(place))
        .collect()
}

fn open_page(site: &Site, title: &str, form: FormView) -> FormPage {
    FormPage::new(site.stranger_frame(title), None, form)
}

fn refused(site: &Site, title: &str, view: FormView, draft: &Draft, refusal: &Refusal) -> Reply {
    let view = respond::with_refusal(view, |name| draft.typed(name), refusal);
    respond::refused(&open_page(site, title, view), refusal)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn after_signing_in_nobody_is_led_to_another_server() {
        for (next, to) in [
            ("/batches?view=working", "/batches?view=working"),
            ("", "/"),
            ("//evil.example/", "/"),
            ("/\\evil.example", "/"),
            ("https://evil.example/", "/"),
            ("/\r\nSet-Cookie: a=b", "/"),
        ] {
            assert_eq!(own_path(next), to);
        }
    }

    #[test]
    fn every_zone_that_is_offered_is_one_that_a_club_can_have() {
        let zones = zones();
        assert!(
            zones
                .iter()
                .any(|zone| zone.value == "Europe/Amsterdam" && zone.group.as_deref() == Some("Europe"))
        );
        for zone in zones.iter().skip(1) {
            assert!(zone.value.parse::<chrono_tz::Tz>().is_ok(), "{}", zone.value);
        }
    }
}
