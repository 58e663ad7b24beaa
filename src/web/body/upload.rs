//! A form that may bring a file along: what the file holds stands in the field `rows` as if it had been pasted there.
//! Larger than other forms, for the file of a logger is.

use actix_multipart::Multipart;
use actix_web::error::PayloadError;
use actix_web::web::Bytes;
use actix_web::{FromRequest, HttpRequest, dev};
use futures_util::{StreamExt, TryStreamExt, stream};

use super::{Form, LONGEST, content_type, form};
use crate::domain::batches::loggers::decode;
use crate::web::extract::Later;
use crate::web::input::Draft;
use crate::web::problem::{Kind, Problem};
use crate::web::table::{Part, Takes};

/// The most that is taken with a file.
const MOST_BYTES: usize = 4 * 1024 * 1024;

/// A form with the text of its file.
#[derive(Debug, Clone)]
pub struct Upload(pub Form);

impl FromRequest for Upload {
    type Error = Problem;
    type Future = Later<Self>;

    fn from_request(request: &HttpRequest, payload: &mut dev::Payload) -> Self::Future {
        let (request, body) = (request.clone(), payload.take());
        Box::pin(async move {
            let slow = |_| {
                Problem::new(Kind::Slow, "The connection was too slow. Nothing was recorded; send it again.")
            };
            let bytes = tokio::time::timeout(LONGEST, gathered(body)).await.map_err(slow)??;
            let draft = match content_type(&request).as_str() {
                "multipart/form-data" => Draft::from_form(fields(&request, bytes).await?.into_iter())?,
                _ => form(&request, &bytes)?,
            };
            Ok(Self(Form::checked(&request, draft)?))
        })
    }
}

impl Part for Upload {
    const TAKES: Takes = Takes::Form;
}

async fn gathered(mut body: dev::Payload) -> Result<Bytes, Problem> {
    let broke =
        |_| Problem::new(Kind::Unreadable, "The connection broke while this was sent. Send it again.");
    let mut bytes = Vec::new();
    while let Some(chunk) = body.next().await {
        bytes.extend_from_slice(&chunk.map_err(broke)?);
        if bytes.len() > MOST_BYTES {
            let most = MOST_BYTES / 1024 / 1024;
            let words =
                format!("At most {most} MiB are taken at once. Split the file, or leave out columns.");
            return Err(Problem::new(Kind::TooLarge, words));
        }
    }
    Ok(bytes.into())
}

/// The fields; those of a file are its name and its rows, which come before what was pasted.
async fn fields(request: &HttpRequest, bytes: Bytes) -> Result<Vec<(String, String)>, Problem> {
    let torn =
        |_| Problem::new(Kind::Unreadable, "This form could not be read. Open the page anew and try again.");
    let whole = stream::iter([Ok::<_, PayloadError>(bytes)]);
    let mut parts = Multipart::new(request.headers(), whole);
    let (mut found, mut file) = (Vec::new(), None);
    while let Some(mut part) = parts.try_next().await.map_err(torn)? {
        let name = part.name().unwrap_or_default().to_owned();
        let called = part.content_disposition().and_then(|said| said.get_filename()).map(str::to_owned);
        let mut held = Vec::new();
        while let Some(chunk) = part.try_next().await.map_err(torn)? {
            held.extend_from_slice(&chunk);
        }
        match called {
            Some(called) if !held.is_empty() => file = Some((called, decode(&held))),
            Some(_) => {}
            None => found.push((name, decode(&held))),
        }
    }
    if let Some((called, rows)) = file {
        found.retain(|(name, _)| name != "rows" && name != "file_name");
        found.extend([("file_name".to_owned(), called), ("rows".to_owned(), rows)]);
    }
    Ok(found)
}
