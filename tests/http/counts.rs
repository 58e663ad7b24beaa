//! Counts over HTTP: whoever counts is told nothing of the books, by no page, no file and no answer of the API; and a
//! whole count from its first line to the entry.

use serde_json::{Value, json};

use super::bad_input::Stage;
use crate::ground::{Ground, on_both};

on_both!(
    who_counts_is_told_nothing_of_the_books,
    who_counts_bottles_is_not_told_how_many_are_left,
    a_count_goes_from_its_first_line_to_the_entry
);

/// The books hold 90 g of yeast, and the taster has counted 90 g.
async fn who_counts_is_told_nothing_of_the_books(ground: &Ground) {
    let stage = Stage::open(ground).await;
    let (count, review) = (stage.own.cellar.count, stage.own.review);
    let page = |path: &str| stage.house.server.open_page(&stage.own.session, path);
    let api = |path: &str| stage.house.send(&stage.own.token, "GET", path, None, "");
    let tells = |body: &str, figure: &str| {
        [format!("{figure} g"), format!("{figure} pieces"), format!("\"{figure}\""), format!(",{figure},")]
            .iter()
            .any(|told| body.contains(told.as_str()))
    };
    for path in ["", "/lines/1", "/sheet", "/result.csv", "/found"] {
        let heard = page(&format!("/counts/{count}{path}"));
        assert_eq!(heard.status, 200, "{path}: {}", heard.body);
        assert!(!tells(&heard.body, "90"), "{path} tells: {}", heard.body);
    }
    for path in ["", "/lines"] {
        let heard = api(&format!("/counts/{count}{path}"));
        assert_eq!(heard.status, 200, "{}", heard.body);
        assert!(!tells(&heard.body, "90"), "{path} tells: {}", heard.body);
    }
    let early = page(&format!("/counts/{count}/differences"));
    assert!(early.status == 409 && !tells(&early.body, "90"), "{}: {}", early.status, early.body);

    // Who has not counted looks at the differences, and counts no more.
    let lines = api(&format!("/counts/{review}/lines")).json;
    assert_eq!(lines["items"][1]["book"]["amount"], json!("500"), "{lines}");
    assert_eq!(lines["items"][1]["difference"]["amount"], json!("-1"), "{lines}");
    let looked = page(&format!("/counts/{review}/differences"));
    assert!(looked.status == 200 && looked.body.contains("− 1 piece"), "{}", looked.body);
    let tally = json!({"line": 1, "counted": "500"}).to_string();
    let refused =
        stage.house.send(&stage.own.token, "POST", &format!("/counts/{review}/tallies"), None, &tally);
    assert_eq!(refused.status, 409, "{}", refused.body);

    // Who has counted does not look, in the stores neither; who has not does.
    let yeast = stage.own.cellar.yeast;
    let item = page(&format!("/stores/items/{yeast}")).body;
    let lot = item.split("/stores/lots/").nth(1).and_then(|rest| rest.get(..13)).expect("its lot").to_owned();
    let stores = [
        "/stores".to_owned(),
        "/stores/stock.csv".to_owned(),
        format!("/stores/items/{yeast}"),
        format!("/stores/lots/{lot}"),
        format!("/stores/lots/{lot}/move"),
        format!("/stores/lots/{lot}/count"),
    ];
    for path in &stores {
        let heard = page(path);
        assert!(
            heard.status == 200 && tells_of_90_g(&heard.body),
            "{path} is for the steward: {}",
            heard.body
        );
    }
    let tally = json!({"line": 1, "counted": {"amount": "70", "unit": "g"}}).to_string();
    let send = |path: &str, body: &str| {
        let heard = stage.house.send(&stage.own.token, "POST", &format!("/counts/{count}{path}"), None, body);
        assert_eq!(heard.status, 201, "{path}: {}", heard.body);
        heard.json
    };
    send("/tallies", &tally);
    for path in &stores {
        let heard = page(path);
        assert!(heard.status == 200 && !tells_of_90_g(&heard.body), "{path} tells: {}", heard.body);
        let covered = path.contains("stock.csv") || heard.body.contains("covered");
        assert!(covered, "{path} says why: {}", heard.body);
    }
    send("/end", "{}");
    let lines = api(&format!("/counts/{count}/lines"));
    assert!(lines.json["items"][0]["book"] == Value::Null && !tells(&lines.body, "90"), "{}", lines.body);
    assert_eq!(lines.json["items"][0]["tallies"][0]["counted"]["amount"], json!("70"), "one’s own is shown");
    for path in ["", "/result.csv", "/differences"] {
        let heard = page(&format!("/counts/{count}{path}"));
        assert!(!tells(&heard.body, "90"), "{path} tells: {}", heard.body);
        assert_eq!(heard.status, if path == "/differences" { 409 } else { 200 }, "{}", heard.body);
    }
    stage.house.close().await;
}

async fn who_counts_bottles_is_not_told_how_many_are_left(ground: &Ground) {
    let stage = Stage::open(ground).await;
    let ask = |method: &str, path: &str, body: Value| {
        let text = if body.is_null() { String::new() } else { body.to_string() };
        stage.house.send(&stage.own.token, method, path, None, &text)
    };
    let page = |path: &str| stage.house.server.open_page(&stage.own.session, path);
    let begun = ask("POST", "/counts", json!({"kinds": ["drink"]}));
    assert_eq!(begun.status, 201, "{}", begun.body);
    let id = begun.text("id");
    let bottling = ask("GET", "/bottlings", Value::Null).json["items"][0].clone();
    let (left, bottling) = (&bottling["left"], bottling["id"].as_str().expect("a bottling"));
    let figure = format!("<p class=\"fig\">{left}</p>");
    let said = [
        (format!("/bottles/{bottling}"), figure.as_str()),
        ("/bottles".to_owned(), "laid down."),
        ("/bottles/cellar".to_owned(), "Where to put more"),
        ("/bottles/ahead".to_owned(), "are laid down, which cost"),
    ];
    for (path, told) in &said {
        let heard = page(path);
        assert!(heard.status == 200 && heard.body.contains(told), "{path}: {}", heard.body);
    }
    let line = ask("GET", &format!("/counts/{id}/lines"), Value::Null).json["items"][0]["line"].clone();
    let tally = ask("POST", &format!("/counts/{id}/tallies"), json!({"line": line, "counted": "3"}));
    assert_eq!(tally.status, 201, "{}", tally.body);
    for (path, told) in &said {
        let heard = page(path);
        assert_eq!(heard.status, 200, "{path}: {}", heard.body);
        assert!(!heard.body.contains(told) && heard.body.contains("You count in"), "{path}: {}", heard.body);
    }
    let one = page(&said[0].0).body;
    assert!(!one.contains("What is left, at cost") && one.contains("Covered for you as long as"), "{one}");
    let off = ask("POST", &format!("/counts/{id}/calling-off"), json!({"reason": "the lamp went out"}));
    assert!(off.status < 300, "{}", off.body);
    assert!(page(&said[0].0).body.contains(&figure), "it is told again");
    stage.house.close().await;
}

/// Whether 90 g stand in a page or a file, whatever is between the figure and its unit.
fn tells_of_90_g(body: &str) -> bool {
    let mut tag = false;
    let words: String = body
        .chars()
        .filter(|letter| {
            tag = (tag || *letter == '<') && *letter != '>';
            !tag && *letter != '>' && !letter.is_whitespace()
        })
        .collect();
    let own = |at: usize| !words[..at].ends_with(|before: char| before.is_ascii_digit() || before == '.');
    let figures = words.match_indices("90g").chain(words.match_indices("90,g"));
    figures.into_iter().any(|(at, _)| own(at)) || body.contains("value=\"90 g\"")
}

async fn a_count_goes_from_its_first_line_to_the_entry(ground: &Ground) {
    let stage = Stage::open(ground).await;
    let cellar = &stage.own.cellar;
    let hand = super::token(&stage.house.db, &cellar.club).await;
    let ask = |token: &str, method: &str, path: &str, body: Value| {
        let text = if body.is_null() { String::new() } else { body.to_string() };
        stage.house.send(token, method, path, None, &text)
    };
    let begun = ask(&hand, "POST", "/counts", json!({"items": [cellar.milk]}));
    assert_eq!(begun.status, 201, "{}", begun.body);
    let id = begun.text("id");
    let path = |end: &str| format!("/counts/{id}{end}");
    let sheet = ask(&hand, "GET", &path("/lines"), Value::Null).json;
    // The shelf comes first as one walks; 5 L of stale milk stand there.
    assert_eq!(sheet["items"][0]["place"], json!(cellar.shelf.to_string()), "{sheet}");
    let [first, second] = [0, 1].map(|at| sheet["items"][at]["line"].clone());
    let code = sheet["items"][1]["code"].as_str().expect("a code").to_owned();
    let tally =
        |line: &Value, counted: &str| json!({"line": line, "counted": counted, "at": "2026-11-01T10:00:00Z"});
    assert_eq!(ask(&hand, "POST", &path("/tallies"), tally(&first, "2 × 2.5 L")).status, 201);
    assert_eq!(ask(&hand, "POST", &path("/tallies"), tally(&second, "9.9 L")).status, 201);
    let by_label = json!({"place": cellar.shelf, "code": code.to_lowercase(), "counted": "0.1 L"});
    let label = ask(&hand, "POST", &path("/found"), by_label);
    assert_eq!(label.status, 201, "{}", label.body);
    assert_eq!(
        ask(&hand, "POST", &path("/end"), Value::Null).json["again"],
        json!(1),
        "the find is looked at twice"
    );
    let found = label.json["line"].clone();
    assert_eq!(ask(&hand, "POST", &path("/tallies"), json!({"line": found, "counted": "0.1 L"})).status, 201);
    let posted = ask(&stage.own.token, "POST", &path("/posting"), json!({"reason": "elsewhere"}));
    assert_eq!(posted.status, 201, "{}", posted.body);
    assert_eq!(
        (posted.json["posted"].clone(), posted.json["right"].clone()),
        (json!(2), json!(1)),
        "{}",
        posted.body
    );
    let entry = ask(&hand, "GET", &format!("/entries/{}", posted.text("entry")), Value::Null).json;
    assert_eq!(entry["kind"], json!("difference"), "{entry}");
    let shown = ask(&hand, "GET", &path(""), Value::Null).json;
    assert_eq!((shown["state"].clone(), shown["shows_books"].clone()), (json!("over"), json!(true)));
    let csv = stage.house.server.open_page(&stage.own.session, &format!("/counts/{id}/result.csv")).body;
    assert!(csv.contains(",posted,") && csv.contains(",elsewhere,"), "{csv}");
    stage.house.close().await;
}
