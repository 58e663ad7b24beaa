//! What was lost and why. The costs by reason add up to what the account of losses took.

use std::collections::BTreeMap;

use super::asked::Asked;
use super::report::{Report, Row, Table, Value, figures, in_file, money_bar, picture, text};
use crate::db::reports::{self as rows, Loss};
use crate::db::{AnyConn, Failure};
use crate::domain::books::{Account, EntryKind};
use crate::domain::members::Doer;
use crate::units::money::Money;
use crate::units::quantity::Milli;
use crate::web::words;

/// Why it was lost, in words.
const fn reason(kind: EntryKind) -> &'static str {
    match kind {
        EntryKind::Racking => "Lees and what racking left",
        EntryKind::Bottling => "Spilt at bottling",
        EntryKind::Withdrawal => "Bottles broken",
        EntryKind::Abandonment => "Batches given up",
        EntryKind::Closing => "Rests at closing",
        _ => "Drink lost",
    }
}

#[derive(Default)]
struct Sum {
    times: i64,
    volume: Milli,
    bottles: Milli,
    cost: Money,
}

impl Sum {
    fn add(&mut self, loss: &Loss) {
        self.times += if loss.taken_back { -1 } else { 1 };
        self.volume = self.volume + loss.volume;
        self.bottles = self.bottles + loss.bottles;
        self.cost = self.cost + loss.cost;
    }

    fn cells(&self, name: &str) -> [Value; 5] {
        [
            Value::ours(name),
            Value::Money(self.cost),
            Value::Litres(self.volume),
            Value::Count(self.bottles.get() / 1000),
            Value::Count(self.times),
        ]
    }
}

/// The report.
pub fn report(conn: &mut AnyConn, doer: &Doer, asked: &Asked) -> Result<Report, Failure> {
    let losses = rows::losses(conn, doer.club, asked.span)?;
    let differences = rows::account(conn, doer.club, Account::Difference, asked.span)?;
    let (mut by_reason, mut all) = (BTreeMap::<&str, Sum>::new(), Sum::default());
    for loss in &losses {
        by_reason.entry(reason(loss.kind)).or_default().add(loss);
        all.add(loss);
    }
    let mut reasons: Vec<(&str, Sum)> = by_reason.into_iter().collect();
    reasons.sort_by_key(|(_, sum)| std::cmp::Reverse((sum.cost, sum.volume)));
    let mut rows: Vec<Row> = reasons.iter().map(|(name, sum)| Row::new(sum.cells(name))).collect();
    if rows.len() > 1 {
        rows.push(Row::sum(all.cells("All")));
    }
    let sign = words::sign(&doer.currency);
    let sign = sign.trim();
    let said = |money: Money| words::money(&doer.currency, money);
    let counts = match differences {
        Money::ZERO => "Counts agreed with the books.".to_owned(),
        less if less > Money::ZERO => {
            format!(
                "Besides, counts found {} less than the books said; that is not among the losses.",
                said(less)
            )
        }
        more => {
            let more = said(more.negated());
            format!("Besides, counts found {more} more than the books said; that is not among the losses.")
        }
    };
    Ok(Report {
        lead: if losses.is_empty() {
            format!("Nothing was lost {}.", asked.when())
        } else {
            format!(
                "{} went with what was lost {}: {} L of drink in bulk and {}.",
                said(all.cost),
                asked.when(),
                all.volume.litres(),
                words::count(all.bottles.get() / 1000, "bottle", "bottles"),
            )
        },
        picture: picture(
            format!("Losses by reason, {}", asked.period()),
            "The cost that went with them.",
            reasons.iter().map(|(name, sum)| money_bar(&doer.currency, *name, sum.cost)),
        ),
        tables: vec![
            Table {
                name: "By reason",
                caption: format!("What was lost and the cost that went with it, in {sign}"),
                columns: vec![
                    text("reason", "Reason"),
                    figures("cost", "Cost"),
                    figures("litres", "In bulk, L"),
                    figures("bottles", "Bottles"),
                    figures("times", "Times"),
                ],
                rows,
                none: "Nothing was lost in these days.",
                file: false,
            },
            each(&losses, sign, &doer.currency),
        ],
        notes: vec![
            "Lees and a loss in the usual way leave their cost to the drink that remains. What was taken back counts \
             below zero on the day it was taken back."
                .to_owned(),
            counts,
        ],
        ..Report::default()
    })
}

fn each(losses: &[Loss], sign: &str, currency: &str) -> Table {
    let row = |loss: &Loss| {
        let (batch, drink) = loss.batch.clone().unwrap_or_default();
        let reason = reason(loss.kind).to_owned();
        let reason = if loss.taken_back { format!("{reason}, taken back") } else { reason };
        Row::new([
            Value::Day(loss.day),
            Value::ours(batch),
            Value::typed(drink),
            Value::ours(reason),
            Value::typed(&loss.remark),
            Value::Litres(loss.volume),
            Value::Count(loss.bottles.get() / 1000),
            Value::Money(loss.cost),
            Value::ours(currency),
        ])
        .to(format!("/entries/{}", loss.entry))
    };
    Table {
        name: "Each",
        caption: format!("Every loss, the latest first, its cost in {sign}"),
        columns: vec![
            text("day", "Day"),
            text("batch", "Batch"),
            text("drink", "Drink"),
            text("reason", "Reason"),
            text("remark", "Remark"),
            figures("litres", "L"),
            figures("bottles", "Bottles"),
            figures("cost", "Cost"),
            in_file("currency"),
        ],
        rows: losses.iter().map(row).collect(),
        none: "Nothing was lost in these days.",
        file: true,
    }
}
