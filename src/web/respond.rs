//! Answers: a page, the same page with what stood in the way, a value of the API.

use actix_web::body::BoxBody;
use actix_web::http::StatusCode;
use actix_web::{HttpRequest, HttpResponse, Responder};
use askama::Template;
use serde::Serialize;
use utoipa::ToSchema;

use super::api::describe::{Describes, Operation};
use super::body::Form;
use super::forms::FormView;
use super::problem::Problem;
use crate::domain::refusal::{Refusal, Why};

/// What a page handler gives.
pub type Reply = Result<HttpResponse, Problem>;

/// A page.
pub fn page(template: &impl Template) -> Reply {
    html(StatusCode::OK, template)
}

/// The page again, with what stood in the way.
pub fn refused(template: &impl Template, refusal: &Refusal) -> Reply {
    let conflict = matches!(refusal.why, Why::Conflict | Why::Question);
    html(if conflict { StatusCode::CONFLICT } else { StatusCode::UNPROCESSABLE_ENTITY }, template)
}

fn html(status: StatusCode, template: &impl Template) -> Reply {
    let body = template.render()?;
    Ok(HttpResponse::build(status).content_type("text/html; charset=utf-8").body(body))
}

/// A file to keep: CSV, a calendar, a label. The name is ours and plain.
pub fn file(content_type: &'static str, name: &str, body: Vec<u8>) -> HttpResponse {
    let plain: String = name.chars().filter(|c| c.is_ascii_alphanumeric() || "-_.".contains(*c)).collect();
    HttpResponse::Ok()
        .content_type(content_type)
        .insert_header(("Content-Disposition", format!("attachment; filename=\"{plain}\"")))
        .body(body)
}

/// Fill a form with what was typed and put every fault beside its field.
pub fn with_refusal(view: FormView, typed: impl Fn(&str) -> Option<String>, refusal: &Refusal) -> FormView {
    let faults = refusal.faults.iter().map(|fault| (fault.field.clone(), fault.message.clone()));
    let view = view.filled(typed).with_problems(faults.collect());
    if refusal.why == Why::Question { view.asking() } else { view }
}

impl Form {
    /// The form as it was sent, with every fault beside its field. It keeps its request key, so that
    /// sending it again is known for what it is.
    pub fn back(&self, view: FormView, refusal: &Refusal) -> FormView {
        let token = view.form_token.clone();
        let view = match &self.key_text {
            Some(key) => view.keys(key, token),
            None => view,
        };
        with_refusal(view, |name| self.draft.typed(name), refusal)
    }
}

/// An answer of the API.
#[derive(Debug, Clone)]
pub struct Answer<T>(pub T);

/// An answer of the API to what made something new.
#[derive(Debug, Clone)]
pub struct Created<T>(pub T);

/// An answer of the API that has nothing to say.
#[derive(Debug, Clone, Copy)]
pub struct Empty;

impl<T: Serialize> Responder for Answer<T> {
    type Body = BoxBody;
    fn respond_to(self, _: &HttpRequest) -> HttpResponse {
        HttpResponse::Ok().json(self.0)
    }
}

impl<T: Serialize> Responder for Created<T> {
    type Body = BoxBody;
    fn respond_to(self, _: &HttpRequest) -> HttpResponse {
        HttpResponse::Created().json(self.0)
    }
}

impl Responder for Empty {
    type Body = BoxBody;
    fn respond_to(self, _: &HttpRequest) -> HttpResponse {
        HttpResponse::NoContent().finish()
    }
}

impl<T: ToSchema> Describes for Answer<T> {
    fn describe(operation: &mut Operation) {
        operation.answers::<T>(StatusCode::OK);
    }
}

impl<T: ToSchema> Describes for Created<T> {
    fn describe(operation: &mut Operation) {
        operation.answers::<T>(StatusCode::CREATED);
    }
}

impl Describes for Empty {
    fn describe(operation: &mut Operation) {
        operation.answers_nothing();
    }
}

impl Describes for HttpResponse {
    fn describe(operation: &mut Operation) {
        operation.answers_file();
    }
}

impl<T: Describes> Describes for Result<T, Problem> {
    fn describe(operation: &mut Operation) {
        T::describe(operation);
    }
}
