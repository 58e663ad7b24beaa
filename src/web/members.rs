//! Pages of people: how they come in, their own page, and the club with its members.

use actix_web::HttpResponse;
use actix_web::http::header::HeaderValue;

use super::forms::Choice;
use super::problem::Problem;
use super::respond::Reply;
use super::site::Site;
use super::words::capital;
use crate::actions::members::{SESSION_LASTS, Secret};
use crate::domain::members::Role;

pub mod club;
mod device;
pub mod entrance;
pub mod me;
pub mod read;
#[cfg(test)]
mod tests;

/// A secret that is shown once, to be copied.
#[derive(askama::Template)]
#[template(path = "members/secret.html")]
pub(super) struct SecretPage {
    pub frame: super::frame::Frame,
    pub up: (String, String),
    pub title: String,
    pub lead: String,
    pub label: &'static str,
    pub secret: String,
}

/// On to a page, with a session that begins here.
fn entering(site: &Site, secret: &Secret, to: &str) -> Reply {
    with_cookie(site.session_cookie(secret.reveal(), SESSION_LASTS.num_seconds()), site.see_other(to))
}

fn with_cookie(
    (name, value): (actix_web::http::header::HeaderName, String),
    mut answer: HttpResponse,
) -> Reply {
    let value = HeaderValue::from_str(&value).map_err(|error| Problem::fault(&error.to_string()))?;
    answer.headers_mut().insert(name, value);
    Ok(answer)
}

/// "a taster, who sees the cellar, tastes, takes bottles".
fn as_whom(role: Role) -> String {
    let article = if role == Role::Onlooker { "an" } else { "a" };
    format!("{article} {}, who {}", role.name(), role.meaning())
}

/// The roles to choose from, each with what it is for.
fn roles() -> Vec<Choice> {
    let choice =
        |role: Role| Choice::new(role.name(), format!("{}: {}", capital(role.name()), role.meaning()));
    Role::ALL.map(choice).into()
}
