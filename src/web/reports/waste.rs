//! What passed its last good day and was thrown away, and what will pass it before it is used.

use super::asked::Asked;
use super::report::{Report, Row, Table, Value, figures, in_file, money_bar, picture, text};
use crate::db::buying::waste::{Late, Thrown, late, thrown};
use crate::db::{AnyConn, Failure};
use crate::domain::members::Doer;
use crate::units::money::Money;
use crate::web::words;

/// What was thrown away past its day, and what will be.
pub fn report(conn: &mut AnyConn, doer: &Doer, asked: &Asked) -> Result<Report, Failure> {
    let gone = thrown(conn, doer.club, asked.span)?;
    let lost: Money = gone.iter().map(|thrown| thrown.gone.cost).sum();
    let late = late(conn, doer.club, doer.today())?;
    let coming: Money = late.iter().map(|late| late.cost).sum();
    let said = |money: Money| words::money(&doer.currency, money);
    let bars = by_item(&gone).into_iter().map(|(name, cost)| money_bar(&doer.currency, name, cost));
    let was = match gone.len() {
        0 => format!("Nothing was thrown away past its day {}.", asked.when()),
        _ => format!("What was thrown away past its day {} had cost {}.", asked.when(), said(lost)),
    };
    let will = match late.len() {
        0 => "All that is there will be used in time, at the present rate.".to_owned(),
        1 => format!("Of 1 lot, {} will pass its day before it is used, at the present rate.", said(coming)),
        lots => {
            format!(
                "Of {lots} lots, {} will pass its day before it is used, at the present rate.",
                said(coming)
            )
        }
    };
    let sign = words::sign(&doer.currency);
    let sign = sign.trim();
    Ok(Report {
        lead: format!("{was} {will}"),
        picture: picture(
            format!("Thrown away past its day, {}", asked.period()),
            "What it had cost, the most first.",
            bars,
        ),
        tables: vec![will_pass(&late, doer, sign), was_thrown(&gone, lost, doer, sign)],
        notes: vec![
            "Thrown away is what a count took out of the books after its last good day; what was drawn all the same, \
             with a reason, was used."
                .to_owned(),
            "The present rate is what was drawn, pitched and put on bottles in the last 365 days, or since it first \
             came, at least 30; each day takes from what expires first. A batch that is planned may use more."
                .to_owned(),
        ],
        ..Report::default()
    })
}

fn by_item(gone: &[Thrown]) -> Vec<(String, Money)> {
    let mut sums: Vec<(String, Money)> = Vec::new();
    for thrown in gone {
        match sums.iter_mut().find(|sum| sum.0 == thrown.name) {
            Some(sum) => sum.1 = sum.1 + thrown.gone.cost,
            None => sums.push((thrown.name.clone(), thrown.gone.cost)),
        }
    }
    sums.sort_by_key(|sum| std::cmp::Reverse(sum.1));
    sums
}

fn will_pass(late: &[Late], doer: &Doer, sign: &str) -> Table {
    let row = |late: &Late| {
        let unit = late.line.unit;
        Row::new([
            Value::typed(&late.line.name),
            Value::ours(&late.line.code),
            late.line.best_before.map_or(Value::Nothing, Value::Day),
            Value::Amount(late.over, unit),
            Value::Amount(late.line.quantity, unit),
            Value::Amount(late.used.quantity, unit),
            Value::Count(late.used.days),
            Value::ours(unit.sign()),
            Value::Money(late.cost),
            Value::ours(&doer.currency),
        ])
        .to(format!("/stores/lots/{}", late.line.lot))
    };
    let mut rows: Vec<Row> = late.iter().map(row).collect();
    if rows.len() > 1 {
        let mut cells = vec![Value::ours("All")];
        cells.extend(std::iter::repeat_n(Value::Nothing, 7));
        cells.extend([Value::Money(late.iter().map(|late| late.cost).sum()), Value::Nothing]);
        rows.push(Row::sum(cells));
    }
    Table {
        name: "Will pass its day",
        caption: format!(
            "What of each lot will not be used by its last good day, today, with its cost in {sign}"
        ),
        columns: vec![
            text("item", "Item"),
            text("lot", "Lot"),
            text("good_until", "Good until"),
            figures("over", "Not used by then"),
            figures("left", "Left"),
            in_file("used"),
            in_file("used_days"),
            in_file("unit"),
            figures("cost", "Cost"),
            in_file("currency"),
        ],
        rows,
        none: "Everything with a best-before day will be used in time, as it was used so far.",
        file: false,
    }
}

fn was_thrown(gone: &[Thrown], lost: Money, doer: &Doer, sign: &str) -> Table {
    let row = |thrown: &Thrown| {
        Row::new([
            Value::typed(&thrown.name),
            Value::ours(thrown.kind.code()),
            Value::ours(thrown.year.to_string()),
            Value::Amount(thrown.gone.quantity, thrown.unit),
            Value::ours(thrown.unit.sign()),
            Value::Money(thrown.gone.cost),
            Value::ours(&doer.currency),
        ])
        .to(format!("/stores/items/{}", thrown.item))
    };
    let mut rows: Vec<Row> = gone.iter().map(row).collect();
    if rows.len() > 1 {
        let [kind, year, much, unit, currency] = std::array::from_fn(|_| Value::Nothing);
        rows.push(Row::sum([Value::ours("All"), kind, year, much, unit, Value::Money(lost), currency]));
    }
    Table {
        name: "Thrown away",
        caption: format!("What was counted away past its day, by year and item, with its cost in {sign}"),
        columns: vec![
            text("item", "Item"),
            in_file("kind"),
            text("year", "Year"),
            figures("quantity", "How much"),
            in_file("unit"),
            figures("cost", "Cost"),
            in_file("currency"),
        ],
        rows,
        none: "Nothing was counted away past its day in these days.",
        file: true,
    }
}
