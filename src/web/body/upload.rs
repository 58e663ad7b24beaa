//! A form that may bring a file along: what the file holds stands in the field `rows` as if it had been pasted there.
//! Larger than other forms, for the file of a logger is, and a table that a club brings in. A program sends such rows
//! as they are, or as a field of JSON.

use std::marker::PhantomData;
use std::time::Duration;

use actix_multipart::{Multipart, MultipartError};
use actix_web::error::PayloadError;
use actix_web::web::Bytes;
use actix_web::{FromRequest, HttpRequest, dev};
use futures_util::{Stream, StreamExt, TryStreamExt};
use serde_json::Value;
use utoipa::ToSchema;

use super::{Form, content_type, form, json, slow};
use crate::domain::intake::tables::decode;
use crate::web::api::describe::Operation;
use crate::web::extract::{Later, query};
use crate::web::input::Draft;
use crate::web::problem::{Kind, Problem};
use crate::web::table::{Part, Takes};

/// The most that is taken with a file.
const MOST_BYTES: usize = 16 * 1024 * 1024;
/// How long it may take to arrive: from a phone, minutes.
const LONGEST: Duration = Duration::from_mins(5);

/// A form with the text of its file.
#[derive(Debug, Clone)]
pub struct Upload(pub Form);

impl FromRequest for Upload {
    type Error = Problem;
    type Future = Later<Self>;

    fn from_request(request: &HttpRequest, payload: &mut dev::Payload) -> Self::Future {
        let (request, body) = (request.clone(), payload.take());
        Box::pin(async move {
            let arriving = async {
                let body = limited(body);
                match content_type(&request).as_str() {
                    "multipart/form-data" => Ok(Draft::from_form(fields(&request, body).await?.into_iter())?),
                    _ => form(&request, &gathered(body, 0).await?),
                }
            };
            let draft = tokio::time::timeout(LONGEST, arriving).await.map_err(slow)??;
            Ok(Self(Form::checked(&request, draft)?))
        })
    }
}

impl Part for Upload {
    const TAKES: Takes = Takes::Form;
}

/// Rows that a program sends, described by `T`: as they are, what else is to be said behind the question mark; or as
/// JSON.
#[derive(Debug, Clone)]
pub struct Rows<T> {
    /// What was sent.
    pub draft: Draft,
    described: PhantomData<T>,
}

impl<T: 'static> FromRequest for Rows<T> {
    type Error = Problem;
    type Future = Later<Self>;

    fn from_request(request: &HttpRequest, payload: &mut dev::Payload) -> Self::Future {
        let (request, body) = (request.clone(), payload.take());
        Box::pin(async move {
            let long =
                request.headers().get("content-length").and_then(|long| long.to_str().ok()?.parse().ok());
            let arriving = gathered(limited(body), long.unwrap_or(0));
            let bytes = tokio::time::timeout(LONGEST, arriving).await.map_err(slow)??;
            let draft = if content_type(&request) == "text/csv" {
                query(&request)?.with("rows", decode(bytes))
            } else {
                let none = || Value::Object(serde_json::Map::new());
                Draft::from_json(if bytes.is_empty() { none() } else { json(&request, &bytes)? })?
            };
            Ok(Self { draft, described: PhantomData })
        })
    }
}

impl<T: ToSchema + 'static> Part for Rows<T> {
    fn describe(operation: &mut Operation) {
        operation.takes_json::<T>();
    }
}

/// What arrives, up to the most that is taken.
fn limited(body: dev::Payload) -> impl Stream<Item = Result<Bytes, PayloadError>> {
    let mut count = 0;
    body.map(move |chunk| {
        let chunk = chunk?;
        count += chunk.len();
        if count > MOST_BYTES { Err(PayloadError::Overflow) } else { Ok(chunk) }
    })
}

fn broke(error: &PayloadError) -> Problem {
    match error {
        PayloadError::Overflow => {
            let most = MOST_BYTES / 1024 / 1024;
            let words =
                format!("At most {most} MiB are taken at once. Split the file, or leave out columns.");
            Problem::new(Kind::TooLarge, words)
        }
        _ => Problem::new(Kind::Unreadable, "The connection broke while this was sent. Send it again."),
    }
}

/// All of it, which is said to be so long.
async fn gathered(
    body: impl Stream<Item = Result<Bytes, PayloadError>>,
    long: usize,
) -> Result<Vec<u8>, Problem> {
    let mut body = std::pin::pin!(body);
    let mut bytes = Vec::with_capacity(long.min(MOST_BYTES));
    while let Some(chunk) = body.next().await {
        bytes.extend_from_slice(&chunk.map_err(|error| broke(&error))?);
    }
    Ok(bytes)
}

/// The fields; those of a file are its name and its rows, which come before what was pasted.
async fn fields(
    request: &HttpRequest,
    body: impl Stream<Item = Result<Bytes, PayloadError>> + 'static,
) -> Result<Vec<(String, String)>, Problem> {
    let torn = |error: MultipartError| match error {
        MultipartError::Payload(error) => broke(&error),
        _ => Problem::new(Kind::Unreadable, "This form could not be read. Open the page anew and try again."),
    };
    let mut parts = Multipart::new(request.headers(), body);
    let (mut found, mut file) = (Vec::new(), None);
    while let Some(mut part) = parts.try_next().await.map_err(torn)? {
        let name = part.name().unwrap_or_default().to_owned();
        let called = part.content_disposition().and_then(|said| said.get_filename()).map(str::to_owned);
        let mut held = Vec::new();
        while let Some(chunk) = part.try_next().await.map_err(torn)? {
            held.extend_from_slice(&chunk);
        }
        match called {
            Some(called) if !held.is_empty() => file = Some((called, decode(held))),
            Some(_) => {}
            None => found.push((name, decode(held))),
        }
    }
    if let Some((called, rows)) = file {
        found.retain(|(name, _)| name != "rows" && name != "file_name");
        found.extend([("file_name".to_owned(), called), ("rows".to_owned(), rows)]);
    }
    Ok(found)
}
