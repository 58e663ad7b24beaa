//! What is sent: the form of a page, or JSON. Never more than fits, never the server library's own
//! words.
//!
//! A form of a member carries a token that follows from the secret of their session: another site cannot
//! know it. A form of somebody without a session carries none, since there is no secret from which it
//! could follow and nothing recorded in anyone's name; what guards it, and all forms, is that the
//! browser says from where it was sent ([`super::guard`]): every browser sends `Sec-Fetch-Site` or
//! `Origin` with a form.

use std::marker::PhantomData;
use std::time::Duration;

use actix_web::error::PayloadError;
use actix_web::http::header;
use actix_web::web::Bytes;
use actix_web::{FromRequest, HttpRequest, dev};
use serde_json::Value;
use utoipa::ToSchema;

use super::api::describe::Operation;
use super::extract::{Later, session_secret};
use super::input::Draft;
use super::problem::{Kind, Problem};
use super::site::{is_form_token, state_of};
use super::table::{Part, Takes};
use crate::actions::once::RequestKey;
use crate::domain::refusal::Refusal;

pub use bills::{BillBytes, BillForm};
pub use upload::{Rows, Upload};

mod bills;
mod upload;

/// The most that is taken of a form or of JSON.
pub const MOST_BYTES: usize = 256 * 1024;
/// How long it may take to arrive.
const LONGEST: Duration = Duration::from_secs(30);

/// A form that a member sent.
#[derive(Debug, Clone)]
pub struct Form {
    /// What was typed.
    pub draft: Draft,
    /// The key that was made with the form.
    pub key: Option<RequestKey>,
    pub(super) key_text: Option<String>,
}

/// A form of somebody who is not signed in.
#[derive(Debug, Clone)]
pub struct OpenForm {
    /// What was typed.
    pub draft: Draft,
}

/// JSON, described by `T`.
#[derive(Debug, Clone)]
pub struct Json<T> {
    /// What was sent; read it with [`Draft::read`].
    pub draft: Draft,
    described: PhantomData<T>,
}

impl FromRequest for Form {
    type Error = Problem;
    type Future = Later<Self>;

    fn from_request(request: &HttpRequest, payload: &mut dev::Payload) -> Self::Future {
        let bytes = bytes(request, payload);
        let request = request.clone();
        Box::pin(async move { Self::checked(&request, form(&request, &bytes.await?)?) })
    }
}

impl Form {
    /// A form that came from our own page, made for whoever is signed in.
    fn checked(request: &HttpRequest, mut draft: Draft) -> Result<Self, Problem> {
        let secret = session_secret(request, &state_of(request)).ok_or_else(Problem::signed_out)?;
        let token = draft.take("form_token").unwrap_or_default();
        if !is_form_token(&token, &secret) {
            return Err(once_more(&draft));
        }
        let key_text = draft.take("request_key").filter(|key| !key.is_empty());
        let key = key_text.as_deref().map(RequestKey::read).transpose();
        let key = key.map_err(|misread| Refusal::unfit("request_key", misread))?;
        Ok(Self { draft, key, key_text })
    }
}

impl Part for Form {
    const TAKES: Takes = Takes::Form;
}

impl FromRequest for OpenForm {
    type Error = Problem;
    type Future = Later<Self>;

    fn from_request(request: &HttpRequest, payload: &mut dev::Payload) -> Self::Future {
        let bytes = bytes(request, payload);
        let request = request.clone();
        Box::pin(async move {
            let mut draft = form(&request, &bytes.await?)?;
            draft.take("form_token");
            draft.take("request_key");
            Ok(Self { draft })
        })
    }
}

impl Part for OpenForm {
    const TAKES: Takes = Takes::OpenForm;
}

/// JSON whose description stands in a table.
#[derive(Debug, Clone)]
pub struct Sent(pub Draft);

impl FromRequest for Sent {
    type Error = Problem;
    type Future = Later<Self>;

    fn from_request(request: &HttpRequest, payload: &mut dev::Payload) -> Self::Future {
        let bytes = bytes(request, payload);
        let request = request.clone();
        Box::pin(async move {
            let bytes = bytes.await?;
            let root = if bytes.is_empty() {
                Value::Object(serde_json::Map::new())
            } else {
                json(&request, &bytes)?
            };
            Ok(Self(Draft::from_json(root)?))
        })
    }
}

impl Part for Sent {}

impl<T: 'static> FromRequest for Json<T> {
    type Error = Problem;
    type Future = Later<Self>;

    fn from_request(request: &HttpRequest, payload: &mut dev::Payload) -> Self::Future {
        let sent = Sent::from_request(request, payload);
        Box::pin(async move { Ok(Self { draft: sent.await?.0, described: PhantomData }) })
    }
}

impl<T: ToSchema + 'static> Part for Json<T> {
    fn describe(operation: &mut Operation) {
        operation.takes_json::<T>();
    }
}

/// What took too long to arrive.
fn slow(_: tokio::time::error::Elapsed) -> Problem {
    Problem::new(Kind::Slow, "The connection was too slow. Nothing was recorded; send it again.")
}

fn bytes(request: &HttpRequest, payload: &mut dev::Payload) -> Later<Bytes> {
    let arriving = Bytes::from_request(request, payload);
    Box::pin(async move {
        tokio::time::timeout(LONGEST, arriving).await.map_err(slow)?.map_err(|error| match error.as_error() {
            Some(PayloadError::Overflow) => Problem::new(
                Kind::TooLarge,
                format!("At most {} KiB are taken at once. Send it in parts.", MOST_BYTES / 1024),
            ),
            _ => Problem::new(Kind::Unreadable, "The connection broke while this was sent. Send it again."),
        })
    })
}

fn content_type(request: &HttpRequest) -> String {
    let value = request.headers().get(header::CONTENT_TYPE).and_then(|value| value.to_str().ok());
    value.unwrap_or_default().split(';').next().unwrap_or_default().trim().to_ascii_lowercase()
}

fn form(request: &HttpRequest, bytes: &[u8]) -> Result<Draft, Problem> {
    if content_type(request) != "application/x-www-form-urlencoded" {
        return Err(Problem::new(Kind::WrongType, "A form is sent as application/x-www-form-urlencoded."));
    }
    let fields = form_urlencoded::parse(bytes).map(|(name, text)| (name.into_owned(), text.into_owned()));
    Ok(Draft::from_form(fields)?)
}

fn json(request: &HttpRequest, bytes: &[u8]) -> Result<Value, Problem> {
    let sent_as = content_type(request);
    if sent_as != "application/json" && !(sent_as.starts_with("application/") && sent_as.ends_with("+json")) {
        return Err(Problem::new(
            Kind::WrongType,
            "Send JSON, with the header Content-Type: application/json.",
        ));
    }
    serde_json::from_slice(bytes).map_err(|error| {
        let (line, column) = (error.line(), error.column());
        let why =
            if error.is_eof() { "it ends too early" } else { "look at its commas, quotes and brackets" };
        Problem::new(Kind::Unreadable, format!("This is not JSON at line {line}, column {column}: {why}."))
    })
}

/// A form that was made for an earlier session and came from our own page: what was typed is offered to
/// be sent once more with the token of this one. Secrets are typed anew.
fn once_more(draft: &Draft) -> Problem {
    let mut problem = Problem::new(
        Kind::Again,
        "You signed in again after this form was opened, so nothing was recorded. What you typed is kept.",
    );
    problem.typed = draft.fields();
    problem.typed.retain(|(name, _)| !name.contains("password"));
    problem
}
