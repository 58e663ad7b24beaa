//! What a bottle cost, of what that is made, and how it moved from one bottling of a drink to the next.

use std::collections::HashMap;

use super::asked::Asked;
use super::report::{Report, Row, Table, Value, figures, in_file, money_bar, on_page, picture, text};
use crate::db::bottles::{self, Bottling};
use crate::db::{AnyConn, Failure, costs};
use crate::domain::bottles::cost_per_bottle;
use crate::domain::costs::{BottlingCost, named};
use crate::domain::members::Doer;
use crate::units::days;
use crate::units::money::Money;
use crate::units::quantity::Milli;
use crate::web::words;

/// The report.
pub fn report(conn: &mut AnyConn, doer: &Doer, asked: &Asked) -> Result<Report, Failure> {
    let mut bottlings = bottles::of_days(conn, doer.club, asked.span, None)?;
    let mut drinks: Vec<String> = bottlings.iter().map(|bottling| bottling.name.clone()).collect();
    drinks.sort_unstable();
    drinks.dedup();
    bottlings.retain(|bottling| asked.drink.as_ref().is_none_or(|drink| bottling.name == *drink));
    let mut known = costs::of_bottlings(conn, &bottlings)?;
    let costed: Vec<(Bottling, BottlingCost)> = bottlings
        .into_iter()
        .filter_map(|of| Some((known.remove(&of.entry)?, of)))
        .map(|(c, b)| (b, c))
        .collect();
    let all: Money = costed.iter().map(|row| row.1.total()).sum();
    let count: i64 = costed.iter().map(|row| row.0.bottles).sum();
    let lead = if costed.is_empty() {
        format!("Nothing was bottled {}.", asked.when())
    } else {
        format!(
            "A bottle cost {} on average {}: {} for {} in {}.",
            words::money(&doer.currency, cost_per_bottle(all, count)),
            asked.when(),
            words::money(&doer.currency, all),
            words::count(count, "bottle", "bottles"),
            words::count(i64::try_from(costed.len()).unwrap_or(0), "bottling", "bottlings"),
        )
    };
    let bars = costed.iter().rev().map(|(bottling, cost)| {
        let name = format!(
            "{}, {}, {}",
            bottling.code,
            bottling.name,
            days::tiny(bottling.bottled_on, doer.today())
        );
        money_bar(&doer.currency, name, cost_per_bottle(cost.total(), bottling.bottles))
    });
    let sign = words::sign(&doer.currency);
    let sign = sign.trim();
    Ok(Report {
        lead,
        picture: picture("Cost a bottle, the first bottling first".to_owned(), "All that a bottle bears.", bars),
        tables: vec![by_bottling(&costed, all, count, sign, &doer.currency), parts(&costed, all, count, sign)],
        notes: vec![
            "By-products are taken off at what they were worth when they were weighed. More than before is compared \
             with the bottling before it of that drink in such bottles. A bottling opens its lines down to the \
             receipts."
                .to_owned(),
        ],
        drinks,
        ..Report::default()
    })
}

fn by_bottling(
    costed: &[(Bottling, BottlingCost)],
    all: Money,
    count: i64,
    sign: &str,
    currency: &str,
) -> Table {
    let mut before: HashMap<(&str, Milli), Money> = HashMap::new();
    let mut rows: Vec<Row> = Vec::new();
    // From the first on, so that each is compared with the one before it of its drink in bottles of its size.
    for (bottling, cost) in costed.iter().rev() {
        let each = |cost: Money| cost_per_bottle(cost, bottling.bottles);
        let now = each(cost.total());
        let moved = before.insert((&bottling.name, bottling.bottle_volume), now).map(|then| now - then);
        let cells = [
            Value::typed(format!("{}, {}", bottling.code, bottling.name)),
            Value::ours(&bottling.code),
            Value::typed(&bottling.name),
            Value::Fine(now),
            moved.map_or(Value::Nothing, Value::Fine),
            Value::Fine(each(cost.came())),
            Value::Fine(each(cost.deducted())),
            Value::Fine(each(cost.packaging())),
            Value::Day(bottling.bottled_on),
            Value::Count(bottling.bottles),
            Value::ours(bottling.bottle_volume.plain()),
            Value::Money(cost.total()),
            Value::ours(currency),
        ];
        rows.push(Row::new(cells).to(format!("/bottles/{}/cost", bottling.id)));
    }
    rows.reverse();
    if costed.len() > 1 {
        let parts = |of: fn(&BottlingCost) -> Money| {
            Value::Fine(cost_per_bottle(costed.iter().map(|row| of(&row.1)).sum(), count))
        };
        let mut cells = vec![Value::ours("All"), Value::Nothing, Value::Nothing];
        cells.extend([Value::Fine(cost_per_bottle(all, count)), Value::Nothing]);
        cells.extend([
            parts(BottlingCost::came),
            parts(BottlingCost::deducted),
            parts(BottlingCost::packaging),
        ]);
        cells.extend([
            Value::Nothing,
            Value::Count(count),
            Value::Nothing,
            Value::Money(all),
            Value::Nothing,
        ]);
        rows.push(Row::sum(cells));
    }
    Table {
        name: "By bottling",
        caption: format!("What a bottle bears, in {sign}, the latest bottling first"),
        columns: vec![
            on_page("Bottling"),
            in_file("bottling"),
            in_file("drink"),
            figures("cost_per_bottle", "A bottle"),
            figures("change_per_bottle", "More than before"),
            figures("supplies_per_bottle", "Supplies"),
            figures("by_products_per_bottle", "By-products"),
            figures("packaging_per_bottle", "Packaging"),
            figures("bottled_on", "Day"),
            figures("bottles", "Bottles"),
            in_file("bottle_volume_ml"),
            figures("cost", "All"),
            in_file("currency"),
        ],
        rows,
        none: "When a batch is bottled, what a bottle cost stands here.",
        file: true,
    }
}

/// Of what the bottles of these days are made, by the name of the item.
fn parts(costed: &[(Bottling, BottlingCost)], all: Money, count: i64, sign: &str) -> Table {
    let each = costed.iter().flat_map(|(_, cost)| {
        let drink = cost.parts.iter().map(|part| (part.line.what.as_str(), part.share));
        drink.chain(cost.packaging.iter().map(|line| (line.what.as_str(), line.cost)))
    });
    let mut sums = named(each);
    sums.sort_by_key(|sum| std::cmp::Reverse(sum.1));
    #[allow(clippy::cast_precision_loss, reason = "a share in per cent")]
    let share = |cost: Money| {
        let whole = all.micros() as f64;
        Value::tenths((whole > 0.0).then(|| 100.0 * cost.micros() as f64 / whole))
    };
    let row = |(name, cost): &(String, Money)| {
        let each = Value::Fine(cost_per_bottle(*cost, count));
        Row::new([Value::typed(name), each, share(*cost), Value::Money(*cost)])
    };
    let mut rows: Vec<Row> = sums.iter().map(row).collect();
    if rows.len() > 1 {
        let each = Value::Fine(cost_per_bottle(all, count));
        rows.push(Row::sum([Value::ours("All"), each, share(all), Value::Money(all)]));
    }
    Table {
        name: "Of what it is made",
        caption: format!("What went into these bottles, the most first, in {sign}; by-products below zero"),
        columns: vec![
            text("part", "Part"),
            figures("cost_per_bottle", "A bottle"),
            figures("share_percent", "Share, %"),
            figures("cost", "All"),
        ],
        rows,
        none: "There is nothing in bottles of these days.",
        file: false,
    }
}
