//! Which forms are taken for ours, and what browsers are told to keep to.

use std::net::SocketAddr;

use super::*;

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
