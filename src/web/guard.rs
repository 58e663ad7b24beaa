//! What is the same for every request: where a form may come from, the headers of every answer, the
//! words of every problem, and the count.

use std::panic::AssertUnwindSafe;
use std::time::Instant;

use actix_web::Error;
use actix_web::body::{BoxBody, MessageBody};
use actix_web::dev::{ServiceRequest, ServiceResponse};
use actix_web::http::Method;
use actix_web::http::header::{self, HeaderMap, HeaderName, HeaderValue};
use actix_web::middleware::Next;
use futures_util::FutureExt;

use super::health::Group;
use super::problem::{Kind, Problem};
use super::server::Settings;
use super::site::{State, state_of};

/// What a browser may load and where a form may go: ourselves, and nothing written into a page.
const CONTENT_POLICY: &str = "default-src 'none'; style-src 'self'; script-src 'self'; img-src 'self'; connect-src \
    'self'; \
                              worker-src 'self'; manifest-src 'self'; \
                              font-src 'self'; form-action 'self'; base-uri 'none'; frame-ancestors 'none'";

const HEADERS: [(HeaderName, &str); 6] = [
    (header::CONTENT_SECURITY_POLICY, CONTENT_POLICY),
    (header::X_CONTENT_TYPE_OPTIONS, "nosniff"),
    (header::REFERRER_POLICY, "same-origin"),
    (header::CROSS_ORIGIN_OPENER_POLICY, "same-origin"),
    (header::CROSS_ORIGIN_RESOURCE_POLICY, "same-origin"),
    (header::PERMISSIONS_POLICY, "camera=(self), geolocation=(), microphone=()"),
];

/// Around every request.
pub async fn guard(
    request: ServiceRequest,
    next: Next<impl MessageBody + 'static>,
) -> Result<ServiceResponse<BoxBody>, Error> {
    let began = Instant::now();
    let state = state_of(request.request());
    let path = request.path();
    let group = group(&state, path);
    let foreign =
        group == Group::Pages && changes(request.method()) && !is_ours(request.headers(), &state.settings);
    let answer = if foreign {
        let words = "Forms are taken from the pages of this cellar only. Open the page here, then send it.";
        request.error_response(Problem::new(Kind::Foreign, words))
    } else {
        next.call(request).await?.map_into_boxed_body()
    };
    let mut answer = worded(answer, &state);
    put_headers(answer.headers_mut(), &state.settings);
    state.metrics.count(group, answer.status(), began.elapsed());
    Ok(answer)
}

/// Around every handler: one that breaks off is a fault of this program that gets its answer like any other. What it
/// was writing is undone where it is written.
pub(super) async fn unbroken(
    request: ServiceRequest,
    next: Next<impl MessageBody + 'static>,
) -> Result<ServiceResponse<BoxBody>, Error> {
    let asked = request.request().clone();
    match AssertUnwindSafe(next.call(request)).catch_unwind().await {
        Ok(answer) => Ok(answer?.map_into_boxed_body()),
        Err(_) => Ok(ServiceResponse::from_err(Problem::fault("a handler broke off"), asked)),
    }
}

fn changes(method: &Method) -> bool {
    !matches!(*method, Method::GET | Method::HEAD | Method::OPTIONS)
}

fn group(state: &State, path: &str) -> Group {
    let within = path.strip_prefix(&state.settings.base).unwrap_or(path);
    match within {
        "/healthz" | "/readyz" | "/metrics" => Group::Health,
        _ if state.in_api(path) => Group::Api,
        _ if within.starts_with("/static/") => Group::Static,
        _ => Group::Pages,
    }
}

/// Whether what a browser says of the sender is us. What says nothing is not a browser of today, and
/// holds nobody's session unless it was given it.
fn is_ours(headers: &HeaderMap, settings: &Settings) -> bool {
    let text = |name: HeaderName| headers.get(name).and_then(|value| value.to_str().ok());
    if let Some(site) = text(HeaderName::from_static("sec-fetch-site")) {
        return matches!(site, "same-origin" | "none");
    }
    let Some(origin) = text(header::ORIGIN) else { return !headers.contains_key(header::ORIGIN) };
    match &settings.public {
        Some(public) => origin.eq_ignore_ascii_case(public),
        None => origin.split_once("://").is_some_and(|(_, host)| Some(host) == text(header::HOST)),
    }
}

/// Puts every problem into words, also those of the server library.
fn worded(answer: ServiceResponse<BoxBody>, state: &State) -> ServiceResponse<BoxBody> {
    let status = answer.status();
    let problem = match answer.response().error() {
        Some(error) => error.as_error::<Problem>().cloned().unwrap_or_else(|| Problem::of_status(status)),
        None => return answer,
    };
    if problem.kind == Kind::Busy {
        state.metrics.count_busy();
    }
    let worded = problem.render(answer.request(), state);
    answer.into_response(worded)
}

fn put_headers(headers: &mut HeaderMap, settings: &Settings) {
    for (name, value) in HEADERS {
        headers.insert(name, HeaderValue::from_static(value));
    }
    if settings.over_tls() && settings.public.is_some() {
        headers.insert(header::STRICT_TRANSPORT_SECURITY, HeaderValue::from_static("max-age=31536000"));
    }
    if !headers.contains_key(header::CACHE_CONTROL) {
        headers.insert(header::CACHE_CONTROL, HeaderValue::from_static("no-store"));
    }
}

#[cfg(test)]
mod tests;
