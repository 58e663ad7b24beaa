//! Files for spreadsheets, opened by others: Python's csv, and the office suite, which runs what looks like a formula.

use std::process::Command;

use serde_json::json;

use super::House;
use crate::ground::{Ground, run};

#[test]
#[ignore = "needs Python and LibreOffice"]
fn others_read_the_same_cells() {
    run(Ground::sqlite(), others_read_the_same);
}

/// Names that break a careless file, or that a spreadsheet would run.
const NAMES: [&str; 12] = [
    "=1+1",
    "+1",
    "-2*3",
    "@SUM(A1:A9)",
    "Milk, whole",
    "Milk \"whole\"",
    "Größe; Öl",
    "=HYPERLINK(\"http://127.0.0.1/\",\"look\")",
    "'quoted",
    "Tide|White",
    "奶 🥛",
    "TRUE story",
];

async fn others_read_the_same(ground: &Ground) {
    let house = House::open(ground).await;
    let place = house.post("/places", &json!({"name": "=Bay; \"one\", two"})).text("id");
    for name in NAMES {
        let item = house.post("/items", &json!({"name": name, "kind": "ingredient", "unit": "g"})).text("id");
        let line = json!({"item": item, "quantity": {"amount": "1.5", "unit": "kg"}, "cost": "2.40", "place": place,
            "supplier": "+31 Dairy"});
        house.post("/receipts", &json!({"lines": [line], "remark": name}));
    }
    let cookie = house.sign_in().await;
    let folder = std::env::temp_dir().join(format!("undercroft-spreadsheets-{}", std::process::id()));
    std::fs::create_dir_all(&folder).expect("the temporary folder can be written");
    let files = ["/stores/stock.csv", "/reports/books.csv?year=all", "/reports/supplies.csv"];
    let mut held = 0;
    for (at, path) in files.iter().enumerate() {
        let heard = house.page(&cookie, path);
        assert_eq!((heard.status, heard.kind.as_str()), (200, "text/csv; charset=utf-8"), "{path}");
        held += NAMES.iter().filter(|name| heard.body.contains(&name.replace('"', "\"\""))).count();
        std::fs::write(folder.join(format!("{at}.csv")), heard.body).expect("it can be written");
    }
    assert_eq!(held, files.len() * NAMES.len(), "every name is in every file");
    house.close().await;
    let python = std::env::var("UNDERCROFT_PYTHON").unwrap_or_else(|_| "python3".to_owned());
    let script = concat!(env!("CARGO_MANIFEST_DIR"), "/tests/http/spreadsheets.py");
    let out = Command::new(python).arg(script).arg(&folder).output().expect("Python starts");
    let told = format!("{}{}", String::from_utf8_lossy(&out.stdout), String::from_utf8_lossy(&out.stderr));
    std::fs::remove_dir_all(&folder).expect("the temporary folder is ours");
    assert!(out.status.success(), "{told}");
    println!("{told}");
}
