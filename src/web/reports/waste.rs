//! What passed its last good day and was thrown away, and what will pass it before it is used.

use std::collections::HashMap;

use super::asked::Asked;
use super::report::{Report, Row, Table, Value, figures, in_file, money_bar, picture, text};
use crate::db::buying::waste::{Thrown, thrown};
use crate::db::buying::{Of, look};
use crate::db::stock::{StockFilter, Stocked, stock};
use crate::db::{AnyConn, Failure};
use crate::domain::buying::Known;
use crate::domain::buying::waste::{Dated, left_over};
use crate::domain::members::Doer;
use crate::domain::stock::{Item, ItemKind};
use crate::units::days::Day;
use crate::units::ids::{ItemId, LotId};
use crate::units::money::Money;
use crate::units::quantity::Milli;
use crate::web::words;

/// What is bought: by-products leave by counts when they are eaten, so that nobody knows a rate of their use.
const KINDS: [ItemKind; 3] = [ItemKind::Ingredient, ItemKind::Aid, ItemKind::Packaging];

/// A lot of which something will not be used in time.
struct Late {
    line: Stocked,
    /// All of the lot that is left, and what of that will not be used.
    left: Milli,
    over: Milli,
    cost: Money,
    /// Days in which so much of the item was used.
    used: (Milli, i64),
}

/// What was thrown away past its day, and what will be.
pub fn report(conn: &mut AnyConn, doer: &Doer, asked: &Asked) -> Result<Report, Failure> {
    let gone = thrown(conn, doer.club, asked.span)?;
    let lost: Money = gone.iter().map(|thrown| thrown.gone.cost).sum();
    let late = late(conn, doer)?;
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

/// Lots that will not be used up by their day, the soonest first.
fn late(conn: &mut AnyConn, doer: &Doer) -> Result<Vec<Late>, Failure> {
    let today = doer.today();
    let known = look(conn, doer.club, today, Of::All)?.items;
    let known: HashMap<ItemId, (Item, Known)> =
        known.into_iter().map(|(item, known)| (known.id, (item, known))).collect();
    let filter = StockFilter { kinds: KINDS.to_vec(), ..StockFilter::default() };
    let mut lots: HashMap<LotId, (Stocked, Day)> = HashMap::new();
    for line in stock(conn, doer.club, &filter)? {
        let Some(until) = line.best_before else { continue };
        match lots.get_mut(&line.lot) {
            Some((lot, _)) => {
                lot.quantity = lot.quantity + line.quantity;
                lot.cost = lot.cost + line.cost;
            }
            None => drop(lots.insert(line.lot, (line, until))),
        }
    }
    let mut of_item: HashMap<ItemId, Vec<Dated>> = HashMap::new();
    for (line, until) in lots.values() {
        let dated = Dated { lot: line.lot, left: line.quantity, until: *until };
        of_item.entry(line.item).or_default().push(dated);
    }
    let mut found = Vec::new();
    for (item, dated) in of_item {
        let Some((_, known)) = known.get(&item) else { continue };
        for (lot, over) in left_over(&dated, known.used, today) {
            if let Some((line, _)) = lots.remove(&lot) {
                let (left, cost) = (line.quantity, line.cost.share(over.get(), line.quantity.get()));
                found.push(Late { line, left, over, cost, used: (known.used.quantity, known.used.days) });
            }
        }
    }
    found.sort_by_key(|late| (late.line.best_before, late.line.lot));
    Ok(found)
}

fn will_pass(late: &[Late], doer: &Doer, sign: &str) -> Table {
    let row = |late: &Late| {
        let unit = late.line.unit;
        let (used, days) = late.used;
        Row::new([
            Value::typed(&late.line.name),
            Value::ours(&late.line.code),
            late.line.best_before.map_or(Value::Nothing, Value::Day),
            Value::Amount(late.over, unit),
            Value::Amount(late.left, unit),
            Value::Amount(used, unit),
            Value::Count(days),
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
            figures("used", "Used"),
            figures("used_days", "In days"),
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
