//! Lines of supplies in a form or a request: what may be chosen, and what was chosen.
//!
//! A page sends one field, `source`, that holds `item:…` (first to expire goes first) or `lot:…`; the API sends `item`
//! or `lot`.

use super::forms::{Choice, Field, Group};
use super::input::{Draft, Reader};
use super::stock::much;
use crate::db::stock::{Stocked, Units};
use crate::domain::batches::{DrawLine, Source};
use crate::domain::buying::strength;
use crate::domain::stock::ItemKind;
use crate::units::days::Day;
use crate::units::ids::{ItemId, LotId};
use crate::units::quantity::{BaseUnit, Milli};
use crate::units::{Misread, days};

/// What the lines at `path` are drawn from, as far as it can be read, so that their units can be looked up.
pub fn named(draft: &Draft, path: &str) -> (Vec<ItemId>, Vec<LotId>) {
    let (mut items, mut lots) = (Vec::new(), Vec::new());
    for at in 0..draft.count(path).min(200) {
        let typed = |field: &str| draft.typed(&format!("{path}.{at}.{field}")).unwrap_or_default();
        let source = typed("source");
        items.extend(source.strip_prefix("item:").unwrap_or(&typed("item")).parse::<ItemId>());
        lots.extend(source.strip_prefix("lot:").unwrap_or(&typed("lot")).parse::<LotId>());
    }
    (items, lots)
}

/// The lines at `path`.
pub fn lines(r: &mut Reader, path: &str, units: &Units) -> Vec<DrawLine> {
    r.rows(path, |r| {
        let source = source(r);
        let unit = match source {
            Some(Source::Item(item)) => units.of_item(item),
            Some(Source::Lot(lot)) => units.of_lot(lot),
            None => None,
        };
        if source.is_some() && unit.is_none() {
            let field =
                if r.is_empty("source") { if r.is_empty("lot") { "item" } else { "lot" } } else { "source" };
            r.fault(field, "There is no such supply in this club");
        }
        let quantity = if let Some(unit) = unit {
            r.quantity("quantity", unit)
        } else {
            r.text("quantity");
            Milli::ZERO
        };
        let because = r.optional_line("expired_because", 200, "why it is used all the same");
        DrawLine {
            source: source.unwrap_or(Source::Item(ItemId::fresh())),
            quantity,
            expired_because: (!because.is_empty()).then_some(because),
        }
    })
}

fn source(r: &mut Reader) -> Option<Source> {
    if !r.is_empty("source") {
        return r.with("source", None, |text| {
            let found = match text.split_once(':') {
                Some(("item", id)) => id.parse().ok().map(Source::Item),
                Some(("lot", id)) => id.parse().ok().map(Source::Lot),
                _ => None,
            };
            found.map(Some).ok_or_else(|| Misread::new("Choose what is drawn"))
        });
    }
    let (lot, item) = (r.optional_id::<LotId>("lot", "lot"), r.optional_id::<ItemId>("item", "item"));
    match (lot, item) {
        (Some(lot), _) => Some(Source::Lot(lot)),
        (None, Some(item)) => Some(Source::Item(item)),
        (None, None) => {
            if r.is_empty("lot") && r.is_empty("item") {
                r.fault(if r.was_sent("source") { "source" } else { "item" }, "Choose what is drawn");
            }
            None
        }
    }
}

/// What may be chosen: each item with something left (first to expire goes first), then each of its lots.
pub fn choices(stock: &[Stocked], kinds: &[ItemKind], today: Day) -> Vec<Choice> {
    let mut choices = vec![Choice::new("", "Choose what is drawn")];
    let mut at = 0;
    while at < stock.len() {
        let item = stock[at].item;
        let lines: Vec<&Stocked> = stock[at..].iter().take_while(|line| line.item == item).collect();
        at += lines.len();
        let first = lines[0];
        if !kinds.contains(&first.kind) {
            continue;
        }
        let there: Milli = lines.iter().map(|line| line.quantity).sum();
        let lots = lots(&lines, today);
        let rule = if lots.len() > 1 {
            ", first to expire goes first".to_owned()
        } else {
            weaker(first, today).unwrap_or_default()
        };
        choices.push(
            Choice::new(
                format!("item:{item}"),
                format!("{}: {} there{rule}", first.name, much(there, first.unit, first.kind)),
            )
            .under(first.kind.heading()),
        );
        if lots.len() > 1 {
            choices.extend(lots.into_iter().map(|choice| choice.under(first.kind.heading())));
        }
    }
    choices
}

/// What is left of the strength of a lot, where it loses some: ", about 82 % of its strength, a guide: …".
fn weaker(line: &Stocked, today: Day) -> Option<String> {
    let left = strength::left(line.weakens?, line.received_on, today);
    strength::words(left).map(|words| format!(", {words}"))
}

fn lots(lines: &[&Stocked], today: Day) -> Vec<Choice> {
    let mut seen: Vec<(LotId, Milli)> = Vec::new();
    for line in lines {
        match seen.iter_mut().find(|lot| lot.0 == line.lot) {
            Some(lot) => lot.1 = lot.1 + line.quantity,
            None => seen.push((line.lot, line.quantity)),
        }
    }
    seen.into_iter()
        .filter_map(|(lot, there)| {
            let line = lines.iter().find(|line| line.lot == lot)?;
            let good =
                line.best_before.map(|day| format!(", good until {}", days::long(day))).unwrap_or_default();
            let weaker = weaker(line, today).unwrap_or_default();
            let there = much(there, line.unit, line.kind);
            let text = format!("{}, only lot {}: {there}{good}{weaker}", line.name, line.code);
            Some(Choice::new(format!("lot:{lot}"), text))
        })
        .collect()
}

/// The lines of a form, with a spare one or more.
pub fn group(name: &str, path: &str, choices: &[Choice], draft: &Draft, spare: usize) -> Group {
    let typed = draft.count(path);
    let asks_why = |at: usize| draft.typed(&format!("{path}.{at}.expired_because")).is_some();
    let count = (typed + usize::from(typed == 0) + spare).min(40);
    Group::repeated(name, "supply", path, count, |at| {
        let mut fields = vec![
            Field::select("source", "What", choices.to_vec()),
            Field::text("quantity", "How much")
                .hint("With its unit: 2.5 kg, 24 L, 12 mL, 1 lb 4 oz; pieces without."),
        ];
        if asks_why(at) || typed > 0 {
            fields.push(
                Field::text("expired_because", "If it is past its day: why it is used all the same")
                    .hint("Look at it and smell it first. Leave this empty if it is good."),
            );
        }
        fields
    })
}

/// A volume as it stands, to fill a field with.
pub fn litres(volume: Milli) -> String {
    volume.shown(BaseUnit::Millilitre)
}
