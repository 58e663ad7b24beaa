//! What members paid and took, which only they and the stewards see: everyone for a steward, oneself for anyone else.

use super::asked::Asked;
use super::report::{Report, Row, Table, Value, figures, in_file, money_bar, picture, text};
use crate::db::reports::{self as rows, MemberYear};
use crate::db::{AnyConn, Failure};
use crate::domain::members::{Doer, Role};
use crate::units::days;
use crate::units::money::Money;
use crate::web::words;

/// The report.
pub fn report(conn: &mut AnyConn, doer: &Doer, asked: &Asked) -> Result<Report, Failure> {
    let members = rows::in_span(conn, doer, asked.span)?;
    let everyone = doer.role >= Role::Steward;
    let sum = |of: fn(&MemberYear) -> Money| -> Money { members.iter().map(of).sum() };
    let said = |money: Money| words::money(&doer.currency, money);
    let row = |year: &MemberYear| {
        Row::new([
            Value::typed(&year.money.name),
            Value::Money(year.before.negated()),
            Value::Money(year.paid),
            Value::Money(year.paid_in),
            Value::Money(year.took),
            Value::Money(year.after.negated()),
            Value::ours(&doer.currency),
        ])
        .to(format!("/reports/members/{}", year.money.member))
    };
    let mut lines: Vec<Row> = members.iter().map(row).collect();
    if lines.len() > 1 {
        lines.push(Row::sum([
            Value::ours("All"),
            Value::Money(sum(|year| year.before.negated())),
            Value::Money(sum(|year| year.paid)),
            Value::Money(sum(|year| year.paid_in)),
            Value::Money(sum(|year| year.took)),
            Value::Money(sum(|year| year.after.negated())),
            Value::Nothing,
        ]));
    }
    let mut takers: Vec<&MemberYear> = members.iter().filter(|year| year.took > Money::ZERO).collect();
    takers.sort_by_key(|year| std::cmp::Reverse(year.took));
    let who = if everyone { "Members" } else { "You" };
    let sign = words::sign(&doer.currency);
    Ok(Report {
        lead: format!(
            "{who} paid {} for supplies, paid in {} and took home {} at cost {}.",
            said(sum(|year| year.paid)),
            said(sum(|year| year.paid_in)),
            said(sum(|year| year.took)),
            asked.when(),
        ),
        picture: picture(
            format!("Taken home, {}", asked.period()),
            "At cost, the most first.",
            takers.iter().map(|year| money_bar(&doer.currency, &year.money.name, year.took)),
        ),
        tables: vec![Table {
            name: if everyone { "By member" } else { "Your money" },
            caption: format!(
                "Balances and what moved them, in {}, up to {}",
                sign.trim(),
                days::long(asked.span.last)
            ),
            columns: vec![
                text("member", "Member"),
                figures("balance_before", "Before"),
                figures("paid_for_supplies", "For supplies"),
                figures("paid_in", "Paid in"),
                figures("took", "Took"),
                figures("balance", "Balance"),
                in_file("currency"),
            ],
            rows: lines,
            none: "Nobody has paid or taken anything yet.",
            file: true,
        }],
        notes: vec![if everyone {
            "A balance below zero is owed to the club.".to_owned()
        } else {
            "A balance below zero is owed to the club. Only you and the stewards see this.".to_owned()
        }],
        ..Report::default()
    })
}
