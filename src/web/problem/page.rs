//! A problem as a page of the house: what happened, what to do, and a way on.

use actix_web::http::Method;
use actix_web::http::header;
use actix_web::{HttpMessage, HttpRequest, HttpResponse};
use askama::Template;

use super::{Kind, Problem};
use crate::domain::members::Doer;
use crate::web::frame::Frame;
use crate::web::site::{Room, State};

#[derive(Template)]
#[template(path = "problem.html")]
struct Page<'p> {
    frame: Frame,
    title: &'static str,
    detail: &'p str,
    /// One line for each fault, where there is more than one; the detail says the same in one line.
    faults: Vec<&'p str>,
    /// A way on: the address after the path prefix, and its words.
    onward: (&'static str, &'static str),
    /// Where it is sent once more, and what.
    again: Option<(String, &'p [(String, String)])>,
}

pub(super) fn render(problem: &Problem, request: &HttpRequest, state: &State) -> HttpResponse {
    let (status, _, title) = problem.kind.about();
    let shown = matches!(*request.method(), Method::GET | Method::HEAD);
    if problem.kind == Kind::SignedOut && shown {
        return to_sign_in(request, state);
    }
    let doer = request.extensions().get::<Doer>().cloned();
    let token = state.form_token_of(request);
    let frame = match &doer {
        Some(doer) => state.frame_without_facts(doer, Room::Elsewhere, title, token),
        None => Frame { form_token: token, ..state.stranger_frame(title) },
    };
    let faults: Vec<_> = problem.faults.iter().map(|fault| fault.message.as_str()).collect();
    let page = Page {
        frame,
        title,
        detail: &problem.detail,
        faults: if faults.len() > 1 { faults } else { Vec::new() },
        onward: match problem.kind {
            Kind::SignedOut => ("/sign-in", "Sign in"),
            _ if doer.is_some() => ("/", "Go to Today"),
            _ => ("/", "Go to the first page"),
        },
        again: (problem.kind == Kind::Again).then(|| (request.path().to_owned(), problem.typed.as_slice())),
    };
    let mut answer = HttpResponse::build(status);
    if let Some(header) = &problem.header {
        answer.insert_header((header.0.clone(), header.1.as_str()));
    }
    answer.content_type("text/html; charset=utf-8").body(page.render().unwrap_or_else(|_| title.to_owned()))
}

/// To the sign-in page, and from there back to the page that was asked for.
fn to_sign_in(request: &HttpRequest, state: &State) -> HttpResponse {
    let wanted = request.uri().path_and_query().map_or("/", |wanted| wanted.as_str());
    let wanted = wanted.strip_prefix(&state.settings.base).unwrap_or(wanted);
    let next: String = form_urlencoded::byte_serialize(wanted.as_bytes()).collect();
    HttpResponse::SeeOther()
        .insert_header((header::LOCATION, state.at(&format!("/sign-in?next={next}"))))
        .finish()
}
