//! Why a request was not carried out: the one place that turns refusals and failures into a status and
//! words.
//!
//! A [`Problem`] is made anywhere and written down once, by its `render`: as a page of
//! the house, or as `application/problem+json` (RFC 9457) under the API. What a program of ours got
//! wrong is logged under a number that the answer shows; its inner words never get out.

use std::fmt;

use actix_web::http::{StatusCode, header};
use actix_web::{HttpRequest, HttpResponse, ResponseError};

use super::api::{FaultBody, KindBody, ProblemBody};
use super::extract::{Anyone, Path};
use super::respond::Answer;
use super::site::{Site, State};
use crate::actions;
use crate::db::Failure;
use crate::domain::members::Role;
use crate::domain::refusal::{Fault, Refusal, Why};
use crate::units::ids::EntryId;

mod page;

/// The kinds of problems. Their codes are the ends of the `type` addresses and stay as they are.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Kind {
    /// What was sent cannot be read at all.
    Unreadable,
    /// Nobody is signed in, or the token is not known.
    SignedOut,
    /// The role does not cover it.
    Forbidden,
    /// It did not come from a page of ours.
    Foreign,
    /// There is nothing here.
    Missing,
    /// Not with this method.
    WrongMethod,
    /// The sender was too slow.
    Slow,
    /// The books do not allow it.
    Conflict,
    /// What was sent is unlikely, and is asked about.
    Question,
    /// The form was made for an earlier session.
    Again,
    /// More than is taken at once.
    TooLarge,
    /// Sent as something else than what is taken.
    WrongType,
    /// Fields are at fault.
    Unfit,
    /// Tried too often.
    TooMany,
    /// A fault of this program.
    Fault,
    /// Too much waits to be written.
    Busy,
    /// The disk or the database server does not take it.
    Unavailable,
}

impl Kind {
    /// All kinds.
    pub const ALL: [Kind; 17] = [
        Self::Unreadable,
        Self::SignedOut,
        Self::Forbidden,
        Self::Foreign,
        Self::Missing,
        Self::WrongMethod,
        Self::Slow,
        Self::Conflict,
        Self::Question,
        Self::Again,
        Self::TooLarge,
        Self::WrongType,
        Self::Unfit,
        Self::TooMany,
        Self::Fault,
        Self::Busy,
        Self::Unavailable,
    ];

    /// Status, code and title.
    pub const fn about(self) -> (StatusCode, &'static str, &'static str) {
        match self {
            Self::Unreadable => (StatusCode::BAD_REQUEST, "unreadable", "This could not be read"),
            Self::SignedOut => (StatusCode::UNAUTHORIZED, "signed-out", "Sign in first"),
            Self::Forbidden => (StatusCode::FORBIDDEN, "role", "This is for another role"),
            Self::Foreign => {
                (StatusCode::FORBIDDEN, "origin", "This was not sent from a page of this cellar")
            }
            Self::Missing => (StatusCode::NOT_FOUND, "missing", "There is nothing here"),
            Self::WrongMethod => (StatusCode::METHOD_NOT_ALLOWED, "method", "This cannot be done here"),
            Self::Slow => (StatusCode::REQUEST_TIMEOUT, "slow", "It took too long to arrive"),
            Self::Conflict => (StatusCode::CONFLICT, "conflict", "The books do not allow this"),
            Self::Question => (StatusCode::CONFLICT, "question", "Is this meant?"),
            Self::Again => (StatusCode::CONFLICT, "again", "Send it once more"),
            Self::TooLarge => {
                (StatusCode::PAYLOAD_TOO_LARGE, "too-large", "This is more than is taken at once")
            }
            Self::WrongType => {
                (StatusCode::UNSUPPORTED_MEDIA_TYPE, "media-type", "This is not taken in this form")
            }
            Self::Unfit => (StatusCode::UNPROCESSABLE_ENTITY, "fields", "Some fields need another look"),
            Self::TooMany => (StatusCode::TOO_MANY_REQUESTS, "too-many", "Too many tries"),
            Self::Fault => (StatusCode::INTERNAL_SERVER_ERROR, "fault", "Something went wrong on our side"),
            Self::Busy => (StatusCode::SERVICE_UNAVAILABLE, "busy", "The cellar is busy"),
            Self::Unavailable => {
                (StatusCode::SERVICE_UNAVAILABLE, "unavailable", "Nothing can be recorded or read just now")
            }
        }
    }

    /// After how many seconds it is worth trying again.
    const fn retry_after(self) -> Option<u32> {
        match self {
            Self::Busy => Some(1),
            Self::Unavailable => Some(30),
            _ => None,
        }
    }
}

/// Why a request was not carried out.
#[derive(Debug, Clone)]
pub struct Problem {
    /// Decides the status.
    pub kind: Kind,
    /// What happened and what to do, in a sentence or two.
    pub detail: String,
    /// Faults of fields.
    pub faults: Vec<Fault>,
    /// Entries that stand in the way.
    pub entries: Vec<EntryId>,
    /// A header that belongs to the answer.
    pub(super) header: Option<Box<(header::HeaderName, String)>>,
    /// What was typed, where it is offered to be sent once more.
    pub(super) typed: Vec<(String, String)>,
}

impl Problem {
    /// A problem of a kind.
    pub fn new(kind: Kind, detail: impl Into<String>) -> Self {
        let header = kind.retry_after().map(|seconds| Box::new((header::RETRY_AFTER, seconds.to_string())));
        Self {
            kind,
            detail: detail.into(),
            faults: Vec::new(),
            entries: Vec::new(),
            header,
            typed: Vec::new(),
        }
    }

    /// There is no such thing in this club, or no such page.
    pub fn missing(what: &str) -> Self {
        let words =
            format!("There is no such {what} here. It may be in another club, or the address is cut off.");
        Self::new(Kind::Missing, words)
    }

    /// Nobody is signed in, or the sign-in has ended.
    pub fn signed_out() -> Self {
        Self::new(
            Kind::SignedOut,
            "You are not signed in any more, so nothing was recorded. Sign in on another page, come back to \
             this one and reload it: your browser then sends again what you typed.",
        )
    }

    /// The member's role does not cover it.
    pub fn forbidden(role: Role, least: Role) -> Self {
        let who = match least {
            Role::Steward => "a steward",
            Role::Cellarhand => "a cellarhand or a steward",
            Role::Taster => "a taster, a cellarhand or a steward",
            Role::Onlooker => "a member",
        };
        let you = with_article(role);
        let words =
            format!("This takes {who}, and you are here as {you}. A steward of the club can change that.");
        Self::new(Kind::Forbidden, words)
    }

    /// Not with this method; these are the ones that are taken.
    pub fn wrong_method(allowed: &str) -> Self {
        let mut problem = Self::new(Kind::WrongMethod, format!("This address takes {allowed} only."));
        problem.header = Some(Box::new((header::ALLOW, allowed.to_owned())));
        problem
    }

    /// Tried too often.
    pub fn too_many(seconds: u64) -> Self {
        let mut problem = Self::new(
            Kind::TooMany,
            format!("This was tried too often. Wait {}, then try again.", waiting(seconds)),
        );
        problem.header = Some(Box::new((header::RETRY_AFTER, seconds.to_string())));
        problem
    }

    /// A fault of this program: logged with its words, shown without them.
    pub fn fault(words: &str) -> Self {
        let number = noted(words);
        Self::new(
            Kind::Fault,
            format!(
                "The fault was noted as {number}. Sending the same form or request key again does no harm."
            ),
        )
    }

    /// What stands in the way as a refusal, to be shown beside the fields; as a problem where there is
    /// no form that could help.
    pub fn or_refusal(error: impl Into<actions::Error>) -> Result<Refusal, Self> {
        match error.into() {
            actions::Error::Refused(refusal) if in_the_form(&refusal) => Ok(refusal),
            other => Err(other.into()),
        }
    }
}

/// Whether looking at the form again helps.
fn in_the_form(refusal: &Refusal) -> bool {
    match refusal.why {
        Why::Unfit | Why::Conflict | Why::Question => true,
        Why::Missing => refusal.faults.iter().any(|fault| !fault.field.is_empty()),
        Why::Forbidden => false,
    }
}

impl From<Refusal> for Problem {
    fn from(refusal: Refusal) -> Self {
        let kind = match refusal.why {
            Why::Unfit => Kind::Unfit,
            Why::Conflict => Kind::Conflict,
            Why::Question => Kind::Question,
            // The address names a thing that is there; it is a field that names one that is not.
            Why::Missing if in_the_form(&refusal) => Kind::Unfit,
            Why::Missing => Kind::Missing,
            Why::Forbidden => Kind::Forbidden,
        };
        let mut problem = Self::new(kind, format!("{refusal}."));
        problem.faults = refusal.faults;
        problem.entries = refusal.entries;
        problem
    }
}

impl From<Failure> for Problem {
    fn from(failure: Failure) -> Self {
        match failure {
            Failure::Gone => Self::missing("thing"),
            Failure::Taken => {
                Self::new(Kind::Conflict, "Something with this name is there already. Choose another name.")
            }
            Failure::Again | Failure::Busy => Self::new(
                Kind::Busy,
                "Too much is being recorded at once. Wait a moment, then send it again: it is recorded once.",
            ),
            Failure::Unavailable(words) => {
                let number = noted(&words);
                Self::new(
                    Kind::Unavailable,
                    format!(
                        "The database does not take it: its disk may be full, or its server down. Nothing was \
                         recorded; what was recorded before is safe. Whoever runs this server finds the cause \
                         under {number}."
                    ),
                )
            }
            Failure::Refused(words) | Failure::Fault(words) => Self::fault(&words),
        }
    }
}

impl From<actions::Error> for Problem {
    fn from(error: actions::Error) -> Self {
        match error {
            actions::Error::Refused(refusal) => refusal.into(),
            actions::Error::Failed(failure) => failure.into(),
        }
    }
}

impl From<askama::Error> for Problem {
    fn from(error: askama::Error) -> Self {
        Self::fault(&error.to_string())
    }
}

impl fmt::Display for Problem {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(&self.detail)
    }
}

impl std::error::Error for Problem {}

impl ResponseError for Problem {
    fn status_code(&self) -> StatusCode {
        self.kind.about().0
    }
}

impl Problem {
    /// What stands for an error of the server library that nothing of ours has put into words.
    pub(super) fn of_status(status: StatusCode) -> Self {
        match status {
            StatusCode::NOT_FOUND => Self::missing("page"),
            StatusCode::PAYLOAD_TOO_LARGE => Self::new(Kind::TooLarge, "Send less at once."),
            StatusCode::REQUEST_TIMEOUT => {
                Self::new(Kind::Slow, "The connection was too slow. Send it again.")
            }
            other if other.is_client_error() => Self::new(
                Kind::Unreadable,
                "The request could not be read. Open the page anew and try again.",
            ),
            other => Self::fault(&format!("the server library answered {other}")),
        }
    }

    /// The answer: a page, or problem details under the API.
    pub(super) fn render(&self, request: &HttpRequest, state: &State) -> HttpResponse {
        let (status, code, title) = self.kind.about();
        if !state.in_api(request.path()) {
            return page::render(self, request, state);
        }
        let mut answer = HttpResponse::build(status);
        if let Some(header) = &self.header {
            answer.insert_header((header.0.clone(), header.1.as_str()));
        }
        if self.kind == Kind::SignedOut {
            answer.insert_header((header::WWW_AUTHENTICATE, "Bearer"));
        }
        let body = ProblemBody {
            kind: format!("{}/problems/{code}", state.api_address()),
            title: title.to_owned(),
            status: status.as_u16(),
            detail: self.detail.clone(),
            errors: self.faults.iter().map(FaultBody::from).collect(),
            entries: self.entries.iter().map(ToString::to_string).collect(),
        };
        answer.content_type("application/problem+json").body(serde_json::to_string(&body).unwrap_or_default())
    }
}

/// What a kind of problem is, at the address that problems of this kind name.
pub async fn explain(_: Anyone, site: Site, Path(code): Path<String>) -> Result<Answer<KindBody>, Problem> {
    let kind = Kind::ALL.into_iter().find(|kind| kind.about().1 == code);
    let (status, code, title) = kind.ok_or_else(|| Problem::missing("kind of problem"))?.about();
    let address = format!("{}/problems/{code}", site.api_address());
    Ok(Answer(KindBody { kind: address, title: title.to_owned(), status: status.as_u16() }))
}

fn with_article(role: Role) -> String {
    let article = if role == Role::Onlooker { "an" } else { "a" };
    format!("{article} {}", role.name())
}

fn waiting(seconds: u64) -> String {
    match seconds {
        0..=1 => "a second".to_owned(),
        2..=90 => format!("{seconds} seconds"),
        more => format!("{} minutes", more.div_ceil(60)),
    }
}

/// Log the inner words under a number, and give the number.
fn noted(words: &str) -> String {
    let number = format!("{:08x}", getrandom::u32().unwrap_or_default());
    tracing::error!(%number, words, "a request failed");
    number
}

#[cfg(test)]
mod tests;
