//! A form that may bring photos and PDFs of a bill along, and a bill that a program sends as it is.
//!
//! Who sends is known before anything is read, since these are the largest things that are taken. A file that is too
//! large is read to its end and not kept, so that the form comes back with what was typed; only what is larger than
//! anybody means is cut off.

use actix_multipart::Multipart;
use actix_web::{FromRequest, HttpRequest, dev};
use futures_util::{StreamExt, TryStreamExt};
use std::time::Duration;
use tokio::sync::{Semaphore, SemaphorePermit};

use super::{Form, content_type, form, slow};
use crate::domain::bills::{BillFile, FileKind, MOST_BYTES, MOST_FILES};
use crate::domain::refusal::{Fault, Refusal, Why};
use crate::web::api::describe::Operation;
use crate::web::extract::{Later, doer};
use crate::web::input::Draft;
use crate::web::problem::{Kind, Problem};
use crate::web::table::{Part, Takes};

/// The field of the files.
pub const FIELD: &str = "bills";
/// The most that is read of one request, kept or not.
const MOST_READ: usize = 12 * MOST_BYTES;
/// How long it may take: a phone in a kitchen sends a photo in a minute.
const LONGEST: Duration = Duration::from_mins(3);

/// So many bills are taken at the same time; the others wait.
static ROOM: Semaphore = Semaphore::const_new(3);

/// A form with the files that came with it.
#[derive(Debug)]
pub struct BillForm {
    /// What was typed.
    pub form: Form,
    /// The files, each by its name.
    pub files: Vec<(String, Vec<u8>)>,
    /// How many files came on top of all that are kept with a receipt.
    pub more: usize,
    _room: SemaphorePermit<'static>,
}

/// A file as a program sends it.
#[derive(Debug)]
pub struct BillBytes {
    /// What it holds.
    pub bytes: Vec<u8>,
    /// What the sender says that it is; may be empty.
    pub said: String,
    _room: SemaphorePermit<'static>,
}

impl FromRequest for BillForm {
    type Error = Problem;
    type Future = Later<Self>;

    fn from_request(request: &HttpRequest, payload: &mut dev::Payload) -> Self::Future {
        let (request, body) = (request.clone(), payload.take());
        Box::pin(async move {
            doer(&request).await?;
            tokio::time::timeout(LONGEST, gathered(&request, body)).await.map_err(slow)?
        })
    }
}

impl Part for BillForm {
    const TAKES: Takes = Takes::Form;
}

impl FromRequest for BillBytes {
    type Error = Problem;
    type Future = Later<Self>;

    fn from_request(request: &HttpRequest, payload: &mut dev::Payload) -> Self::Future {
        let (request, body) = (request.clone(), payload.take());
        Box::pin(async move {
            doer(&request).await?;
            let taken = async {
                let room = room().await?;
                let bytes = whole(body, MOST_BYTES + 1).await?;
                Ok(Self { bytes, said: content_type(&request), _room: room })
            };
            tokio::time::timeout(LONGEST, taken).await.map_err(slow)?
        })
    }
}

impl Part for BillBytes {
    fn describe(operation: &mut Operation) {
        operation.takes_file(&FileKind::ALL.map(FileKind::media_type));
    }
}

impl BillForm {
    /// The files as bills, or what is wrong with each.
    pub fn bills(&mut self) -> Result<Vec<BillFile>, Refusal> {
        let (mut bills, mut faults) = (Vec::new(), Vec::new());
        let mut wrong = |message: String| faults.push(Fault { field: FIELD.to_owned(), message });
        for (name, bytes) in std::mem::take(&mut self.files) {
            match BillFile::read(&name, bytes) {
                Ok(bill) => bills.push(bill),
                Err(misread) => wrong(misread.to_string()),
            }
        }
        if self.more > 0 {
            wrong(format!("At most {MOST_FILES} files are kept with a receipt; choose the ones that matter"));
        }
        if faults.is_empty() {
            Ok(bills)
        } else {
            Err(Refusal { why: Why::Unfit, faults, entries: Vec::new() })
        }
    }
}

fn torn<E>(_: E) -> Problem {
    Problem::new(Kind::Unreadable, "The connection broke while this was sent. Send it again.")
}

fn too_much() -> Problem {
    let most = MOST_BYTES / 1024 / 1024;
    let words = format!(
        "This is far more than is taken at once: at most {MOST_FILES} files of {most} MiB. Send fewer."
    );
    Problem::new(Kind::TooLarge, words)
}

async fn room() -> Result<SemaphorePermit<'static>, Problem> {
    ROOM.acquire().await.map_err(|_| Problem::fault("the room for bills is closed"))
}

/// All of a body, `most` bytes at most; the rest is read and not kept.
async fn whole(mut body: dev::Payload, most: usize) -> Result<Vec<u8>, Problem> {
    let (mut kept, mut read) = (Vec::new(), 0);
    while let Some(chunk) = body.next().await {
        keep(&mut kept, &mut read, &chunk.map_err(torn)?, most)?;
    }
    Ok(kept)
}

fn keep(kept: &mut Vec<u8>, read: &mut usize, chunk: &[u8], most: usize) -> Result<(), Problem> {
    *read += chunk.len();
    if *read > MOST_READ {
        return Err(too_much());
    }
    let room = most.saturating_sub(kept.len()).min(chunk.len());
    kept.extend_from_slice(&chunk[..room]);
    Ok(())
}

async fn gathered(request: &HttpRequest, body: dev::Payload) -> Result<BillForm, Problem> {
    let room = room().await?;
    if content_type(request) != "multipart/form-data" {
        let bytes = whole(body, super::MOST_BYTES + 1).await?;
        if bytes.len() > super::MOST_BYTES {
            return Err(too_much());
        }
        let form = Form::checked(request, form(request, &bytes)?)?;
        return Ok(BillForm { form, files: Vec::new(), more: 0, _room: room });
    }
    let mut parts = Multipart::new(request.headers(), body);
    let (mut fields, mut files, mut more, mut read, mut typed) = (Vec::new(), Vec::new(), 0, 0, 0);
    while let Some(mut part) = parts.try_next().await.map_err(torn)? {
        let name = part.name().unwrap_or_default().to_owned();
        let called = part.content_disposition().and_then(|said| said.get_filename()).map(str::to_owned);
        let most = match called {
            Some(_) if files.len() == MOST_FILES => 1,
            Some(_) => MOST_BYTES + 1,
            None => super::MOST_BYTES,
        };
        let mut held = Vec::new();
        while let Some(chunk) = part.try_next().await.map_err(torn)? {
            keep(&mut held, &mut read, &chunk, most)?;
        }
        match called {
            // A field in which nothing was chosen.
            Some(called) if called.is_empty() && held.is_empty() => {}
            Some(_) if files.len() == MOST_FILES => more += 1,
            Some(called) => files.push((called, held)),
            None => {
                typed += held.len();
                if typed > super::MOST_BYTES {
                    return Err(too_much());
                }
                fields.push((name, String::from_utf8_lossy(&held).into_owned()));
            }
        }
    }
    let form = Form::checked(request, Draft::from_form(fields.into_iter())?)?;
    Ok(BillForm { form, files, more, _room: room })
}
