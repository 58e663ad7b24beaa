//! What is in stock and what moved it: what the cellar is worth on a day, by-products, supplies used and needed. All
//! of it comes from the same sums over the books, so that what was there, with what came and went, is what is there.

use std::collections::HashMap;

use chrono::Datelike;

use super::asked::Asked;
use super::report::{Column, Report, Row, Table, Value, figures, in_file, money_bar, picture, text};
use crate::db::reports::{self as rows, Flow};
use crate::db::{AnyConn, Failure, plans};
use crate::domain::books::{EntryKind, Holding};
use crate::domain::members::Doer;
use crate::domain::reports::Span;
use crate::domain::stock::ItemKind;
use crate::units::days;
use crate::units::ids::ItemId;
use crate::units::money::Money;
use crate::units::quantity::Milli;
use crate::web::words;

/// What is in stock at the end of a day, and what it is worth.
pub fn on_day(conn: &mut AnyConn, doer: &Doer, asked: &Asked) -> Result<Report, Failure> {
    let span = Span::until(asked.on);
    let eve = span.first.pred_opt().unwrap_or(span.first);
    let mut ends = vec![eve];
    ends.extend(span.month_ends());
    let values = rows::value_at(conn, doer.club, &ends)?;
    let (then, now) =
        (values.first().cloned().unwrap_or_default(), values.last().cloned().unwrap_or_default());
    let flows = rows::flows(conn, doer.club, span)?;
    let said = |money: Money| words::money(&doer.currency, money);
    let sign = words::sign(&doer.currency);
    let sign = sign.trim();
    let kind = |name: &str, now: Money, then: Money| {
        vec![Value::ours(name), Value::Money(now), Value::Money(then), Value::Money(now - then)]
    };
    let mut kinds: Vec<Row> = (now.stock.iter())
        .map(|(of, cost)| {
            let href = format!("/stores?kind={}&on={}", of.code(), days::iso(asked.on));
            Row::new(kind(of.heading(), *cost, then.of(*of))).to(href)
        })
        .collect();
    kinds.push(Row::new(kind("Batches, in bulk", now.batches, then.batches)).to("/batches".to_owned()));
    kinds.push(Row::sum(kind("All of it", now.total(), then.total())));
    let held: Vec<&Flow> = flows.iter().filter(|flow| flow.after.quantity > Milli::ZERO).collect();
    let mut items: Vec<Row> = held.iter().map(|flow| item_row(flow, &doer.currency)).collect();
    let stock: Money = held.iter().map(|flow| flow.after.cost).sum();
    if items.len() > 1 {
        let [none, sum] = [Value::Nothing, Value::Money(stock)];
        items.push(Row::sum([Value::ours("All stock"), none.clone(), none.clone(), none.clone(), sum, none]));
    }
    let months = ends
        .iter()
        .zip(&values)
        .skip(1)
        .map(|(day, value)| money_bar(&doer.currency, days::tiny(*day, doer.today()), value.total()));
    Ok(Report {
        lead: format!(
            "At the end of {} the cellar was worth {} at cost: {} in stock and {} in batches.",
            days::long(asked.on),
            said(now.total()),
            said(now.total() - now.batches),
            said(now.batches),
        ),
        picture: picture(
            format!("Worth of the cellar in {}, month by month", asked.on.year()),
            "Stock and what is in batches, at cost, at the end of each month.",
            months,
        ),
        tables: vec![
            Table {
                name: "By kind",
                caption: format!(
                    "Worth at cost on {} and at the end of {}, in {sign}",
                    days::long(asked.on),
                    eve.year()
                ),
                columns: vec![
                    text("kind", "What"),
                    figures("cost", "Then"),
                    figures("cost_before", &format!("End of {}", eve.year())),
                    figures("change", "Change"),
                ],
                rows: kinds,
                none: "",
                file: false,
            },
            Table {
                name: "By item",
                caption: format!("What was in stock on {}, with its cost in {sign}", days::long(asked.on)),
                columns: vec![
                    text("item", "Item"),
                    text("kind", "Kind"),
                    figures("quantity", "How much"),
                    in_file("unit"),
                    figures("cost", "Cost"),
                    in_file("currency"),
                ],
                rows: items,
                none: "Nothing was in stock on that day.",
                file: true,
            },
        ],
        ..Report::default()
    })
}

fn item_row(flow: &Flow, currency: &str) -> Row {
    let unit = flow.item.unit;
    Row::new([
        Value::typed(&flow.item.name),
        Value::ours(flow.item.kind.code()),
        Value::Amount(flow.after.quantity, unit),
        Value::ours(unit.sign()),
        Value::Money(flow.after.cost),
        Value::ours(currency),
    ])
    .to(format!("/stores/items/{}", flow.id))
}

/// What came and went: brought in, used in batches and on bottles, and everything else.
struct Moves {
    came: Holding,
    used: Holding,
    other: Holding,
}

const CAME: [EntryKind; 2] = [EntryKind::Receipt, EntryKind::ByProduct];
const USED: [EntryKind; 3] = [EntryKind::Draw, EntryKind::Pitch, EntryKind::Bottling];

impl Moves {
    fn of(flow: &Flow) -> Self {
        let (came, used) = (flow.by(&CAME), flow.by(&USED));
        let other = Holding {
            quantity: flow.after.quantity - flow.before.quantity - came.quantity - used.quantity,
            cost: flow.after.cost - flow.before.cost - came.cost - used.cost,
        };
        Self { came, used, other }
    }
}

/// The columns that supplies and by-products share, with the words over what came.
fn columns(came: &str, sign: &str) -> Vec<Column> {
    vec![
        text("item", "Item"),
        in_file("kind"),
        in_file("unit"),
        figures("used", "Used"),
        figures("cost_used", &format!("Used, {sign}")),
        figures("left", "Left"),
        figures("cost_left", &format!("Left, {sign}")),
        figures("came", came),
        figures("cost_came", &format!("{came}, {sign}")),
        figures("before", "Before"),
        in_file("cost_before"),
        figures("other", "Lost or put right"),
        in_file("cost_other"),
    ]
}

fn moved_row(flow: &Flow) -> Row {
    let (unit, moves) = (flow.item.unit, Moves::of(flow));
    let amount = |held: Holding| Value::Amount(held.quantity, unit);
    let cost = |held: Holding| Value::Money(held.cost);
    Row::new([
        Value::typed(&flow.item.name),
        Value::ours(flow.item.kind.code()),
        Value::ours(unit.sign()),
        Value::Amount(moves.used.quantity.negated(), unit),
        Value::Money(moves.used.cost.negated()),
        amount(flow.after),
        cost(flow.after),
        amount(moves.came),
        cost(moves.came),
        amount(flow.before),
        cost(flow.before),
        amount(moves.other),
        cost(moves.other),
    ])
    .to(format!("/stores/items/{}", flow.id))
}

/// The sum of the costs; amounts of different things do not add up.
fn moved_sum(flows: &[Flow]) -> Row {
    let sum = |of: &dyn Fn(&Flow) -> Money| Value::Money(flows.iter().map(of).sum());
    let none = || Value::Nothing;
    Row::sum([
        Value::ours("All"),
        none(),
        none(),
        none(),
        sum(&|flow| Moves::of(flow).used.cost.negated()),
        none(),
        sum(&|flow| flow.after.cost),
        none(),
        sum(&|flow| Moves::of(flow).came.cost),
        none(),
        sum(&|flow| flow.before.cost),
        none(),
        sum(&|flow| Moves::of(flow).other.cost),
    ])
}

fn moved(flows: &[Flow]) -> Vec<Row> {
    let mut rows: Vec<Row> = flows.iter().map(moved_row).collect();
    if rows.len() > 1 {
        rows.push(moved_sum(flows));
    }
    rows
}

/// What came off the way, what it was worth, and what became of it.
pub fn by_products(conn: &mut AnyConn, doer: &Doer, asked: &Asked) -> Result<Report, Failure> {
    let mut flows = rows::flows(conn, doer.club, asked.span)?;
    flows.retain(|flow| flow.item.kind == ItemKind::ByProduct);
    let came: Money = flows.iter().map(|flow| Moves::of(flow).came.cost).sum();
    let bars = flows.iter().map(|flow| {
        let moves = Moves::of(flow);
        let name = format!("{}, {}", flow.item.name, moves.came.quantity.shown(flow.item.unit));
        money_bar(&doer.currency, name, moves.came.cost)
    });
    let sign = words::sign(&doer.currency);
    Ok(Report {
        lead: if flows.is_empty() {
            format!("Nothing came off the way {}.", asked.when())
        } else {
            format!(
                "By-products worth {} came off the way {}; that much less the drinks bear.",
                words::money(&doer.currency, came),
                asked.when()
            )
        },
        picture: picture(
            format!("By-products weighed off, {}", asked.period()),
            "What each was worth when it was weighed.",
            bars,
        ),
        tables: vec![Table {
            name: "By item",
            caption: "What came off, what was used and what is left".to_owned(),
            columns: columns("Weighed", sign.trim()),
            rows: moved(&flows),
            none: "Curds, lees and pomace that are weighed off a batch stand here.",
            file: true,
        }],
        ..Report::default()
    })
}

/// What was bought, used and is left of every supply, and what plans still want.
pub fn supplies(conn: &mut AnyConn, doer: &Doer, asked: &Asked) -> Result<Report, Failure> {
    let mut flows = rows::flows(conn, doer.club, asked.span)?;
    flows.retain(|flow| matches!(flow.item.kind, ItemKind::Ingredient | ItemKind::Aid | ItemKind::Packaging));
    let of = |of: fn(&Moves) -> Money| -> Money { flows.iter().map(|flow| of(&Moves::of(flow))).sum() };
    let (came, used) = (of(|moves| moves.came.cost), of(|moves| moves.used.cost.negated()));
    let mut by_use: Vec<(&str, Money)> =
        flows.iter().map(|flow| (flow.item.name.as_str(), Moves::of(flow).used.cost.negated())).collect();
    by_use.sort_by_key(|row| std::cmp::Reverse(row.1));
    by_use.retain(|row| row.1 > Money::ZERO);
    let sign = words::sign(&doer.currency);
    let said = |money: Money| words::money(&doer.currency, money);
    Ok(Report {
        lead: format!("Supplies for {} came and {} were used {}.", said(came), said(used), asked.when()),
        picture: picture(
            format!("Supplies used, {}", asked.period()),
            "What was drawn into batches and put on bottles, at cost, the most first.",
            by_use.into_iter().map(|(name, cost)| money_bar(&doer.currency, name, cost)),
        ),
        tables: vec![
            Table {
                name: "Used",
                caption: "What was there, came, was used and is left".to_owned(),
                columns: columns("Came", sign.trim()),
                rows: moved(&flows),
                none: "Supplies that were received or used in these days stand here.",
                file: true,
            },
            needed(conn, doer)?,
        ],
        notes: vec![
            "Before, with what came, less what was used, with what was lost or put right, is what is left."
                .to_owned(),
        ],
        ..Report::default()
    })
}

/// What the plans of all batches still want, today, whatever year is looked at.
fn needed(conn: &mut AnyConn, doer: &Doer) -> Result<Table, Failure> {
    let mut wanted: HashMap<ItemId, Milli> = HashMap::new();
    for (_, want) in plans::wanted(conn, doer.club)? {
        let sum = wanted.entry(want.item).or_default();
        *sum = *sum + want.left();
    }
    wanted.retain(|_, left| *left > Milli::ZERO);
    let today = rows::flows(conn, doer.club, Span { first: doer.today(), last: doer.today() })?;
    let there: HashMap<ItemId, Milli> = today.iter().map(|flow| (flow.id, flow.after.quantity)).collect();
    let ids: Vec<ItemId> = wanted.keys().copied().collect();
    let items = crate::db::stock::items_of(conn, doer.club, &ids)?;
    let mut lines: Vec<_> =
        wanted.iter().filter_map(|(id, left)| Some((items.get(id)?, *id, *left))).collect();
    lines.sort_by_cached_key(|line| crate::units::text::folded(&line.0.name));
    let row = |(item, id, left): &(&crate::domain::stock::Item, ItemId, Milli)| {
        let there = there.get(id).copied().unwrap_or_default();
        let missing = left.above(there);
        let amount = |amount: Milli| Value::Amount(amount, item.unit);
        let unit = Value::ours(item.unit.sign());
        Row::new([Value::typed(&item.name), unit, amount(*left), amount(there), amount(missing)])
            .to(format!("/stores/items/{id}"))
    };
    Ok(Table {
        name: "Needed",
        caption: "What the plans of all batches still want today".to_owned(),
        columns: vec![
            text("item", "Item"),
            in_file("unit"),
            figures("wanted", "Wanted"),
            figures("there", "There"),
            figures("missing", "Missing"),
        ],
        rows: lines.iter().map(row).collect(),
        none: "No plan wants anything that was not drawn yet.",
        file: false,
    })
}
