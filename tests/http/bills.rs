//! The bill of a receipt: sent with the form or added later, opened as what it is, struck out.

use serde_json::{Value, json};
use undercroft::domain::bills::{MOST_BYTES, MOST_FILES};
use ureq::http::{Request, Response};

use super::House;
use crate::ground::cellar::Cellar;
use crate::ground::{Ground, findings, on_both};

on_both!(a_bill_comes_with_its_receipt, a_bill_is_added_and_struck_out_by_a_program);

const PNG: &[u8] = b"\x89PNG\r\n\x1a\n\0\0\0\rIHDR and so on";
const JPEG: &[u8] = b"\xff\xd8\xff\xe0\0\x10JFIF and so on";
const PDF: &[u8] = b"%PDF-1.7 and so on";
const SVG: &[u8] = b"<svg xmlns=\"http://www.w3.org/2000/svg\" onload=\"alert(1)\"/>";

/// A file by its name.
type Sent<'f> = (&'f str, &'f [u8]);

struct Got {
    status: u16,
    headers: Vec<(String, String)>,
    bytes: Vec<u8>,
}

impl Got {
    fn header(&self, name: &str) -> &str {
        self.headers.iter().find(|(found, _)| found == name).map_or("", |(_, value)| value)
    }

    fn body(&self) -> String {
        String::from_utf8_lossy(&self.bytes).into_owned()
    }
}

impl House {
    fn run(&self, request: Request<Vec<u8>>) -> Got {
        let mut answer: Response<ureq::Body> = self.server.agent.run(request).expect("the server answers");
        let text = |value: &ureq::http::HeaderValue| value.to_str().unwrap_or_default().to_owned();
        let headers = answer.headers().iter().map(|(name, value)| (name.to_string(), text(value))).collect();
        let bytes = answer.body_mut().with_config().limit(1 << 25).read_to_vec().expect("all of it");
        Got { status: answer.status().as_u16(), headers, bytes }
    }

    /// Sends a form with files, as a browser does.
    fn send_files(&self, session: &str, path: &str, fields: &[(&str, &str)], files: &[Sent]) -> Got {
        let mut body = Vec::new();
        for (name, value) in fields {
            let part =
                format!("--tide\r\nContent-Disposition: form-data; name=\"{name}\"\r\n\r\n{value}\r\n");
            body.extend(part.into_bytes());
        }
        // A browser that was given no file sends one without a name.
        let none: &[Sent] = &[("", b"")];
        for (name, bytes) in if files.is_empty() { none } else { files } {
            let head = format!(
                "--tide\r\nContent-Disposition: form-data; name=\"bills\"; filename=\"{name}\"\r\n\
                 Content-Type: application/octet-stream\r\n\r\n"
            );
            body.extend(head.into_bytes());
            body.extend_from_slice(bytes);
            body.extend(b"\r\n");
        }
        body.extend(b"--tide--\r\n");
        let request = Request::builder().method("POST").uri(format!("{}{path}", self.server.root));
        let request = request.header("Cookie", format!("undercroft={session}"));
        let request = request.header("Content-Type", "multipart/form-data; boundary=tide");
        self.run(request.body(body).expect("a request"))
    }

    fn open_file(&self, session: &str, path: &str) -> Got {
        let request = Request::builder().uri(format!("{}{path}", self.server.root));
        let request = request.header("Cookie", format!("undercroft={session}"));
        self.run(request.body(Vec::new()).expect("a request"))
    }

    fn post_file(&self, path: &str, kind: &str, key: &str, bytes: &[u8]) -> (u16, Value) {
        let request = Request::builder().method("POST").uri(format!("{}{path}", self.at));
        let request = request.header("Authorization", format!("Bearer {}", self.token));
        let request = request.header("Content-Type", kind).header("Idempotency-Key", key);
        let got = self.run(request.body(bytes.to_vec()).expect("a request"));
        (got.status, serde_json::from_slice(&got.bytes).unwrap_or_default())
    }
}

fn between<'t>(text: &'t str, before: &str, after: &str) -> &'t str {
    let rest = text.split_once(before).unwrap_or_else(|| panic!("no {before} in {text}")).1;
    rest.split_once(after).map_or(rest, |found| found.0)
}

async fn a_bill_comes_with_its_receipt(ground: &Ground) {
    let house = House::open(ground).await;
    let session = &house.sign_in().await;
    let item = house.post("/items", &json!({"name": "Cane sugar", "kind": "ingredient", "unit": "g"}));
    let place = house.post("/places", &json!({"name": "Wheel pit"}));
    let (item, place) = (item.text("id"), place.text("id"));
    let form = house.page(session, "/stores/receipts/new").body;
    assert!(form.contains("enctype=\"multipart/form-data\"") && form.contains("image/webp,application/pdf"));
    let token = between(&form, "name=\"form_token\" value=\"", "\"");
    let fields = |quantity: &'static str, key: &'static str| {
        vec![
            ("form_token", token.to_owned()),
            ("request_key", key.to_owned()),
            ("lines.0.item", item.clone()),
            ("lines.0.quantity", quantity.to_owned()),
            ("lines.0.cost", "10".to_owned()),
            ("lines.0.place", place.clone()),
            ("paid_by", "club".to_owned()),
        ]
    };
    let send = |quantity: &'static str, key: &'static str, files: &[Sent]| {
        let fields = fields(quantity, key);
        let fields: Vec<(&str, &str)> = fields.iter().map(|(name, value)| (*name, &**value)).collect();
        house.send_files(session, "/stores/receipts", &fields, files)
    };
    let bill: [Sent; 2] = [("Kassenbon Mühle.png", PNG), ("invoice.pdf", PDF)];
    let made = send("6 kg", "first", &bill);
    assert_eq!(made.status, 303, "{}", made.body());
    let entry = between(made.header("location"), "received=", "&").to_owned();
    let twice = send("6 kg", "first", &bill);
    assert_eq!(twice.header("location"), made.header("location"), "sent twice, recorded once");
    assert_eq!(send("6 kg", "first", &bill[..1]).status, 422, "the same key with another bill");
    assert_eq!(house.get("/stock").json["lots"].as_array().map(Vec::len), Some(1));
    let page = house.page(session, &format!("/entries/{entry}")).body;
    let size = format!("{} bytes", PNG.len());
    for words in ["Kassenbon Mühle.png", "invoice.pdf", "PNG", &size, "Famke"] {
        assert!(page.contains(words), "{words}: {page}");
    }
    let kept = house.get(&format!("/entries/{entry}/bills")).json;
    let id = |at: usize| kept["items"][at]["id"].as_str().expect("its id").to_owned();
    assert_eq!(kept["items"].as_array().map(Vec::len), Some(2), "{kept}");
    for (at, bytes, kind, how) in [
        (0, PNG, "image/png", "inline; filename=\"bill-"),
        (1, PDF, "application/pdf", "attachment; filename=\"bill-"),
    ] {
        let got = house.open_file(session, &format!("/entries/{entry}/bills/{}", id(at)));
        assert_eq!((got.status, got.bytes.as_slice(), got.header("content-type")), (200, bytes, kind));
        assert!(got.header("content-disposition").starts_with(how));
        assert_eq!(got.header("x-content-type-options"), "nosniff");
        assert!(got.header("content-security-policy").starts_with("default-src 'none'"));
    }
    // Without a file, and with an empty one, it is a receipt like any other.
    assert_eq!(send("1 kg", "none", &[]).status, 303);
    assert_eq!(house.get("/stock").json["lots"].as_array().map(Vec::len), Some(2));

    // What is wrong is said, with what was typed, and nothing is recorded.
    let wrong = send("six bags", "wrong", &bill);
    assert_eq!(wrong.status, 422);
    assert!(
        wrong.body().contains("six bags")
            && wrong.body().contains("Choose the photos or PDFs of the bill again")
    );
    let large = [JPEG.to_vec(), vec![0; MOST_BYTES]].concat();
    let many: Vec<Sent> = vec![("a.pdf", PDF); MOST_FILES + 1];
    let bad: [(&[Sent], &str); 5] = [
        (&[("bill.svg", SVG)], "“bill.svg” is neither a JPEG, PNG or WebP picture nor a PDF"),
        (&[("bill.png", b"<!doctype html><script>alert(1)</script>")], "“bill.png” is neither"),
        (&[("bill.jpg", &large)], "“bill.jpg” is too large: at most 8 MiB"),
        (&[("bill.jpg", b"")], "“bill.jpg” is empty"),
        (&many, "At most 6 files are kept with a receipt"),
    ];
    for (files, words) in bad {
        let heard = send("6 kg", "bad", files);
        assert_eq!(heard.status, 422, "{words}: {}", heard.body());
        assert!(
            heard.body().contains(words) && heard.body().contains("value=\"6 kg\""),
            "{words}: {}",
            heard.body()
        );
    }
    assert_eq!(house.get("/stock").json["lots"].as_array().map(Vec::len), Some(2), "nothing was recorded");

    // Added later on the page of the entry; what is there already is not kept again.
    let add = |key: &str, files: &[Sent]| {
        let fields = [("form_token", token), ("request_key", key)];
        house.send_files(session, &format!("/entries/{entry}/bills"), &fields, files)
    };
    assert_eq!(add("later", &[("photo.jpg", JPEG), ("again.png", PNG)]).status, 303);
    assert_eq!(house.get(&format!("/entries/{entry}/bills")).json["items"].as_array().map(Vec::len), Some(3));
    let heard = add("nothing", &[]);
    assert!(heard.status == 422 && heard.body().contains("Choose a photo or a PDF"), "{}", heard.body());
    let four: Vec<Vec<u8>> = (0..4).map(|page| format!("%PDF-1.4 {page}").into_bytes()).collect();
    let four: Vec<Sent> = four.iter().map(|bytes| ("page.pdf", bytes.as_slice())).collect();
    let heard = add("four", &four);
    assert!(heard.status == 422 && heard.body().contains("3 are there already"), "{}", heard.body());

    struck_out_on_the_page(&house, session, token, &entry, &id(0));
    assert_eq!(findings(&house.db).off, Vec::<String>::new());
    house.close().await;
}

/// Struck out with a reason: it cannot be opened any more, and the page says why.
fn struck_out_on_the_page(house: &House, session: &str, token: &str, entry: &str, bill: &str) {
    let strike = |reason: &str| {
        let mut form = form_urlencoded::Serializer::new(String::new());
        form.append_pair("form_token", token).append_pair("reason", reason);
        let path = format!("/entries/{entry}/bills/{bill}/strike");
        house.server.submit(session, &path, &form.finish())
    };
    let heard = strike("");
    assert!(heard.status == 422 && heard.body.contains("There is a problem"), "{}", heard.body);
    assert_eq!(strike("of another shop").status, 303);
    assert_eq!(strike("of another shop").status, 409);
    assert_eq!(house.open_file(session, &format!("/entries/{entry}/bills/{bill}")).status, 404);
    let page = house.page(session, &format!("/entries/{entry}")).body;
    assert!(page.contains("<s>Kassenbon Mühle.png</s>") && page.contains("of another shop"), "{page}");
}

async fn a_bill_is_added_and_struck_out_by_a_program(ground: &Ground) {
    let house = House::open(ground).await;
    let other = Cellar::new(&house.db, "Quay Cellar").await;
    let item = house.post("/items", &json!({"name": "Cane sugar", "kind": "ingredient", "unit": "g"}));
    let place = house.post("/places", &json!({"name": "Wheel pit"}));
    let line = json!({"item": item.text("id"), "quantity": "6 kg", "cost": "9", "place": place.text("id")});
    let entry = house.post("/receipts", &json!({"day": "2026-03-01", "lines": [line]})).text("entry");
    let at = format!("/entries/{entry}/bills");
    // Larger than a part, and not a whole number of them.
    let long = [JPEG.to_vec(), (0..100_001_u32).map(|at| (at % 251) as u8).collect()].concat();
    let (status, first) = house.post_file(&format!("{at}?name=page+1.jpg"), "image/jpeg", "one", &long);
    assert_eq!(status, 201, "{first}");
    let (status, again) = house.post_file(&format!("{at}?name=page+1.jpg"), "image/jpeg", "one", &long);
    assert_eq!((status, &again), (201, &first), "sent twice, kept once");
    let (status, _) = house.post_file(&at, "image/jpeg", "one", JPEG);
    assert_eq!(status, 422, "the same key with another file");
    let told = house.get(&at).json;
    assert_eq!(told["items"].as_array().map(Vec::len), Some(1));
    assert_eq!(
        (&told["items"][0]["name"], &told["items"][0]["bytes"]),
        (&json!("page 1.jpg"), &json!(long.len()))
    );
    let bill = first["bill"].as_str().expect("its id");
    let (status, bytes) = house.server.take(&house.token, &format!("/api/v1{at}/{bill}"));
    assert!(status == 200 && bytes == long, "it comes back as it was sent");
    let large = [JPEG.to_vec(), vec![0; MOST_BYTES]].concat();
    for (kind, bytes, words) in [
        ("image/svg+xml", SVG, "neither a JPEG"),
        ("image/png", JPEG, "These bytes are a JPEG"),
        ("image/jpeg", b"", "is empty"),
        ("image/jpeg", &large, "at most 8 MiB"),
    ] {
        let (status, said) = house.post_file(&at, kind, "bad", bytes);
        assert!(status == 422 && said.to_string().contains(words), "{status} {said}");
    }
    let (status, _) = house.post_file(&format!("/entries/{}/bills", other.receipt), "image/png", "x", PNG);
    assert_eq!(status, 404, "of another club");
    let theirs = super::token(&house.db, &other.club).await;
    let heard = house.send(&theirs, "POST", &format!("/entries/{}/bills", other.draw), None, "%PDF-1.4");
    assert!(heard.status == 409 && heard.body.contains("with receipts only"), "{}", heard.body);
    house.post(&format!("{at}/{bill}/strike"), &json!({"reason": "blurred"}));
    assert_eq!(house.server.take(&house.token, &format!("/api/v1{at}/{bill}")).0, 404);
    let told = house.get(&at).json;
    assert_eq!(told["items"][0]["struck"]["reason"], "blurred");
    // A receipt that was reversed takes no bill any more.
    house.post(&format!("/entries/{entry}/reversal"), &json!({"reason": "twice"}));
    let (status, said) = house.post_file(&at, "image/png", "late", PNG);
    assert!(status == 409 && said.to_string().contains("was reversed"), "{said}");
    assert_eq!(findings(&house.db).off, Vec::<String>::new());
    house.close().await;
}
