//! Which forms are taken for ours, and what browsers are told to keep to.

use std::net::SocketAddr;

use actix_web::middleware::from_fn;
use actix_web::rt::System;
use actix_web::test::{TestRequest, call_service, init_service, read_body};
use actix_web::{App, web};

use super::*;
use crate::db::Database;
use crate::db::connection::Address;
use crate::web::extract::Anyone;
use crate::web::health::Metrics;
use crate::web::limits::Limits;
use crate::web::respond::Reply;
use crate::web::table::Table;

fn headers(of: &[(&'static str, &'static str)]) -> HeaderMap {
    let mut headers = HeaderMap::new();
    for (name, value) in of {
        headers.append(HeaderName::from_static(name), HeaderValue::from_static(value));
    }
    headers
}

fn settings(public: Option<&str>) -> Settings {
    let listen: SocketAddr = "127.0.0.1:8080".parse().unwrap();
    Settings { public: public.map(str::to_owned), ..Settings::on(listen) }
}

#[test]
fn a_form_is_ours_if_the_browser_says_so() {
    for (site, ours) in
        [("same-origin", true), ("none", true), ("same-site", false), ("cross-site", false), ("x", false)]
    {
        let sent = headers(&[("sec-fetch-site", site), ("origin", "http://cellar.example.org")]);
        assert_eq!(is_ours(&sent, &settings(None)), ours, "{site}");
    }
}

#[test]
fn without_that_word_the_origin_decides() {
    let from = |origin| headers(&[("origin", origin), ("host", "cellar.example.org")]);
    let public = Some("https://cellar.example.org");
    assert!(is_ours(&from("https://cellar.example.org"), &settings(public)));
    assert!(!is_ours(&from("http://cellar.example.org"), &settings(public)));
    assert!(is_ours(&from("http://cellar.example.org"), &settings(None)));
    for foreign in ["null", "http://elsewhere.example", "http://cellar.example.org.elsewhere.example", ""] {
        assert!(!is_ours(&from(foreign), &settings(public)), "{foreign}");
        assert!(!is_ours(&from(foreign), &settings(None)), "{foreign}");
    }
    let garbled = HeaderValue::from_bytes(&[0xff]).unwrap();
    let mut sent = HeaderMap::new();
    sent.insert(header::ORIGIN, garbled);
    assert!(!is_ours(&sent, &settings(None)));
}

#[test]
fn what_is_not_a_browser_says_neither() {
    assert!(is_ours(&headers(&[("host", "cellar.example.org")]), &settings(None)));
}

#[test]
fn only_a_public_https_address_binds_browsers_to_tls() {
    for (public, bound) in
        [(Some("https://cellar.example.org"), true), (Some("http://cellar.local"), false), (None, false)]
    {
        let mut headers = HeaderMap::new();
        put_headers(&mut headers, &settings(public));
        assert_eq!(headers.contains_key(header::STRICT_TRANSPORT_SECURITY), bound, "{public:?}");
    }
}

async fn breaks_off(_: Anyone) -> Reply {
    panic!("as a test wants it")
}

#[test]
fn a_handler_that_breaks_off_is_answered_as_a_fault_of_ours() {
    let folder = std::env::temp_dir().join(format!("undercroft-guard-{:016x}", getrandom::u64().unwrap()));
    std::fs::create_dir(&folder).unwrap();
    let state = web::Data::new(State {
        db: Database::open(&Address::Sqlite(folder.join("cellar.db"))).unwrap(),
        settings: settings(None),
        metrics: Metrics::default(),
        limits: Limits::default(),
        description: std::sync::OnceLock::new(),
    });
    let mut table = Table::default();
    table.api().get("/breaks", "Breaks off", breaks_off);
    table.pages().get("/breaks", breaks_off);
    System::new().block_on(async {
        let app = App::new().app_data(state).wrap(from_fn(guard)).configure(|service| table.install(service));
        let app = init_service(app).await;
        for (path, kind) in [("/api/v1/breaks", "application/problem+json"), ("/breaks", "text/html")] {
            let answer = call_service(&app, TestRequest::get().uri(path).to_request()).await;
            assert_eq!(answer.status().as_u16(), 500, "{path}");
            let said = answer.headers().get(header::CONTENT_TYPE).unwrap().to_str().unwrap();
            assert!(said.starts_with(kind), "{path}: {said}");
            let body = read_body(answer).await;
            assert!(!String::from_utf8_lossy(&body).contains("as a test wants it"), "{path}");
        }
    });
    std::fs::remove_dir_all(&folder).unwrap();
}
