//! What was made in a calendar year, and how that stands to the limit that the club entered.

use std::collections::BTreeMap;

use super::asked::Asked;
use super::report::{Report, Row, Table, Value, figures, picture, text};
use super::yields;
use crate::db::{AnyConn, Failure, bottles, reports as rows};
use crate::domain::members::Doer;
use crate::domain::reports::{Against, Made};
use crate::units::quantity::Milli;
use crate::web::forms::Caution;
use crate::web::pictures::Bar;

/// Before anybody relies on a figure of this.
pub fn caution() -> Caution {
    Caution::new(
        "Caution: the law where you are",
        [
            "How much may be made without a licence or duty, of what, by whom and per what differs from place to place \
             and changes. Check the law where you are, and ask the office in charge; this page only adds up.",
        ],
    )
}

/// The report.
pub fn report(conn: &mut AnyConn, doer: &Doer, asked: &Asked) -> Result<Report, Failure> {
    let limit = rows::yearly_limit(conn, doer.club)?.filter(|_| asked.year.is_some());
    let mut by_drink: BTreeMap<String, (Made, i64)> = BTreeMap::new();
    for (batch, story) in yields::find(conn, doer, asked)? {
        if batch.pitched_on.is_some() {
            let made = &mut by_drink.entry(batch.name).or_default().0;
            made.pitched = made.pitched + story.own_must();
        }
    }
    for bottling in bottles::of_days(conn, doer.club, asked.span, None)? {
        let volume = Milli::new(bottling.bottles.saturating_mul(bottling.bottle_volume.get()));
        let (made, bottles) = by_drink.entry(bottling.name).or_default();
        made.bottled = made.bottled + volume;
        *bottles += bottling.bottles;
    }
    let mut all = Made::default();
    let mut count = 0;
    for (made, bottles) in by_drink.values() {
        all.pitched = all.pitched + made.pitched;
        all.bottled = all.bottled + made.bottled;
        count += bottles;
    }
    let cells = |name: Value, made: &Made, bottles: i64| {
        Row::new([name, Value::Litres(made.bottled), Value::Litres(made.pitched), Value::Count(bottles)])
    };
    let mut lines: Vec<Row> =
        by_drink.iter().map(|(name, (made, bottles))| cells(Value::typed(name), made, *bottles)).collect();
    if lines.len() > 1 {
        lines.push(Row { sum: true, ..cells(Value::ours("All"), &all, count) });
    }
    let bar = |name: &str, volume: Milli| Bar {
        name: name.to_owned(),
        value: volume.base(),
        said: format!("{} L", volume.litres()),
    };
    let mut shown = picture(
        format!("Made, {}", asked.period()),
        "Must to which yeast was pitched, and drink that was bottled.",
        [bar("Pitched", all.pitched), bar("Bottled", all.bottled)],
    );
    shown.mark = limit.map(|limit| (limit.base(), format!("the club’s limit, {} L", limit.litres())));
    Ok(Report {
        lead: format!(
            "{} L were bottled and yeast was pitched to {} L {}. {}",
            all.bottled.litres(),
            all.pitched.litres(),
            asked.when(),
            against(all, limit, asked)
        ),
        caution: Some(caution()),
        picture: shown,
        tables: vec![Table {
            name: "By drink",
            caption: "What was made, in litres".to_owned(),
            columns: vec![
                text("drink", "Drink"),
                figures("bottled_litres", "Bottled, L"),
                figures("pitched_litres", "Pitched, L"),
                figures("bottles", "Bottles"),
            ],
            rows: lines,
            none: "Nothing was made in these days.",
            file: true,
        }],
        notes: vec![
            "Laws differ in what they count: the larger of the two is held against the limit. What came from another \
             batch is counted where it was pitched."
                .to_owned(),
        ],
        ..Report::default()
    })
}

fn against(made: Made, limit: Option<Milli>, asked: &Asked) -> String {
    let Some(limit) = limit else {
        return if asked.year.is_some() {
            "The club has entered no limit.".to_owned()
        } else {
            "A limit is for one year: choose one.".to_owned()
        };
    };
    let litres = limit.litres();
    match made.against(limit) {
        Against::Within(left) => {
            format!(
                "That is within the {litres} L that the club entered as its limit; {} L are left.",
                left.litres()
            )
        }
        Against::Near(left) => {
            format!(
                "That is near the {litres} L that the club entered as its limit: {} L are left.",
                left.litres()
            )
        }
        Against::Over(over) => {
            format!("That is {} L over the {litres} L that the club entered as its limit.", over.litres())
        }
    }
}
