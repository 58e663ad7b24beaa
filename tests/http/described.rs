//! The description of the API against the server: a general-purpose tester of OpenAPI reads the one, makes requests
//! from it, good and bad, and holds the other to it.

use std::process::Command;

use super::House;
use crate::ground::{Ground, findings, run};

#[test]
#[ignore = "needs Python with schemathesis"]
fn on_sqlite_the_server_answers_as_it_is_described() {
    run(Ground::sqlite(), the_server_answers_as_it_is_described);
}

#[test]
#[ignore = "needs Python with schemathesis, and PostgreSQL: UNDERCROFT_TEST_POSTGRES"]
fn on_postgres_the_server_answers_as_it_is_described() {
    run(Ground::postgres(), the_server_answers_as_it_is_described);
}

/// What would take away the token that the test uses, or its member.
const LEFT_OUT: [&str; 3] = ["/api/v1/tokens/{id}", "/api/v1/members/{id}", "/api/v1/members/{id}/role"];
const CHECKS: &str = "not_a_server_error,status_code_conformance,content_type_conformance,\
                      response_schema_conformance,unsupported_method";

async fn the_server_answers_as_it_is_described(ground: &Ground) {
    let house = House::open(ground).await;
    let python = std::env::var("UNDERCROFT_PYTHON").unwrap_or_else(|_| "python3".to_owned());
    // It keeps a folder of its own where it runs.
    let folder =
        std::env::temp_dir().join(format!("undercroft-described-{}", house.at.replace([':', '/', '.'], "-")));
    std::fs::create_dir_all(&folder).expect("the temporary folder can be written");
    let out = Command::new(&python)
        .current_dir(&folder)
        .args(["-m", "schemathesis.cli", "run", &format!("{}/openapi.json", house.at)])
        .args(["--header", &format!("Authorization: Bearer {}", house.token)])
        .args(LEFT_OUT.iter().flat_map(|path| ["--exclude-path", path]))
        .args([
            "--checks",
            CHECKS,
            "--max-examples",
            "15",
            "--seed",
            "19",
            "--continue-on-failure",
            "--no-color",
        ])
        .output()
        .unwrap_or_else(|error| panic!("{python} does not start: {error}"));
    std::fs::remove_dir_all(&folder).expect("the temporary folder is ours");
    let said = String::from_utf8_lossy(&out.stdout);
    assert!(out.status.success(), "{said}\n{}", String::from_utf8_lossy(&out.stderr));
    let summary = said.lines().filter(|line| line.contains(" generated, ") || line.contains("Tested:"));
    summary.for_each(|line| println!("{}", line.trim()));
    house.close().await;
    assert_eq!(findings(&ground.open()).off, Vec::<String>::new());
}
