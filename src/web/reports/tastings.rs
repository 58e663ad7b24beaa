//! The tastings: what was poured, how old it was, and the mean of the marks for the whole, once the key is open.

use super::asked::Asked;
use super::report::{Report, Row, Table, Value, figures, in_file, picture, text};
use crate::db::reports::{self as rows, Poured, Tasted};
use crate::db::{AnyConn, Failure};
use crate::domain::books::Account;
use crate::domain::members::Doer;
use crate::units::days;
use crate::web::pictures::Bar;
use crate::web::words;

/// The report.
pub fn report(conn: &mut AnyConn, doer: &Doer, asked: &Asked) -> Result<Report, Failure> {
    let mut tasted = rows::tasted(conn, doer.club, asked.span)?;
    let opened = rows::account(conn, doer.club, Account::Tasted, asked.span)?;
    let mut drinks: Vec<String> =
        tasted.iter().flat_map(|of| of.poured.iter().map(|poured| poured.drink.clone())).collect();
    drinks.sort_unstable();
    drinks.dedup();
    if let Some(drink) = &asked.drink {
        for of in &mut tasted {
            of.poured.retain(|poured| poured.drink == *drink);
        }
        tasted.retain(|of| !of.poured.is_empty());
    }
    let sheets: i64 = tasted.iter().map(|of| of.sheets).sum();
    let mut lines: Vec<Row> = Vec::new();
    for of in &tasted {
        if of.poured.is_empty() {
            lines.push(line(of, None));
        }
        lines.extend(of.poured.iter().map(|poured| line(of, Some(poured))));
    }
    let mut marked: Vec<(&Tasted, &Poured, f64)> = tasted
        .iter()
        .flat_map(|of| of.poured.iter().filter_map(move |poured| Some((of, poured, poured.mean?))))
        .collect();
    marked.sort_by(|one, other| other.2.total_cmp(&one.2));
    let bars = marked.iter().map(|(of, poured, value)| Bar {
        name: format!("{}, {}, {}", poured.code, poured.drink, days::tiny(of.day, doer.today())),
        value: *value,
        said: format!("{value:.1} of 10"),
    });
    let count = i64::try_from(tasted.len()).unwrap_or(0);
    Ok(Report {
        lead: if tasted.is_empty() {
            format!("Nothing was tasted {}.", asked.when())
        } else {
            format!(
                "{} with {} {}; the bottles opened for tasting cost {}.",
                words::count(count, "tasting", "tastings"),
                words::count(sheets, "sheet", "sheets"),
                asked.when(),
                words::money(&doer.currency, opened)
            )
        },
        picture: picture(
            format!("Marks for the whole, {}", asked.period()),
            "Means of the sheets, the highest first. They come from different evenings and tasters, so that a small \
             difference says nothing; each tasting tells what it shows.",
            bars,
        ),
        tables: vec![Table {
            name: "Each",
            caption: "What was poured, the latest tasting first; marks are means from 0 to 10".to_owned(),
            columns: vec![
                text("tasting", "Tasting"),
                text("title", "Title"),
                figures("day", "Day"),
                text("bottling", "Bottling"),
                text("drink", "Drink"),
                figures("mean_mark", "Mark"),
                figures("marks", "Of so many"),
                figures("age_days", "Age, days"),
                in_file("method"),
                figures("sheets", "Sheets"),
            ],
            rows: lines,
            none: "When a tasting has begun, it stands here; what was in its glasses once its key is open.",
            file: true,
        }],
        drinks,
        ..Report::default()
    })
}

fn line(of: &Tasted, poured: Option<&Poured>) -> Row {
    let closed = if of.open { "" } else { "the key is not open" };
    let from = |of: fn(&Poured) -> Value| poured.map_or(Value::Nothing, of);
    Row::new([
        Value::ours(&of.code),
        Value::typed(&of.title),
        Value::Day(of.day),
        poured.map_or(Value::ours(closed), |poured| Value::ours(&poured.code)),
        from(|poured| Value::typed(&poured.drink)),
        from(|poured| Value::tenths(poured.mean)),
        from(|poured| Value::Count(poured.marks)),
        from(|poured| Value::Count(poured.age_days)),
        Value::ours(of.method.code()),
        Value::Count(of.sheets),
    ])
    .to(format!("/tastings/{}", of.id))
}
