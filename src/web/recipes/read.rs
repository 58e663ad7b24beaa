//! From what was typed of a recipe to a revision, the same for pages and API; and back, to fill a form with a
//! revision.

use crate::actions::recipes::{Making, NewRevision, Revising};
use crate::db::stock::Units;
use crate::domain::members::Doer;
use crate::domain::plans::{PlanStep, PlanSupply, StepKind, duration, read_duration};
use crate::domain::recipes::{Goals, Revision, read_months};
use crate::domain::refusal::Refusal;
use crate::units::ids::{ItemId, RecipeId};
use crate::units::measure::{Measured, ReadingKind};
use crate::units::quantity::{BaseUnit, Milli};
use crate::units::{Misread, number};
use crate::web::input::{Draft, Reader};

/// The items that a draft names, so that their units can be looked up.
pub fn named(draft: &Draft) -> Vec<ItemId> {
    let mut items = Vec::new();
    let mut look =
        |path: String| items.extend(draft.typed(&path).and_then(|id| id.trim().parse::<ItemId>().ok()));
    look("base".to_owned());
    look("item".to_owned());
    for list in ["supplies", "by_products", "steps"] {
        for at in 0..draft.count(list).min(200) {
            look(format!("{list}.{at}.item"));
        }
    }
    items
}

/// A revision with its note.
pub fn revision(draft: &Draft, doer: &Doer, units: &Units) -> Result<NewRevision, Refusal> {
    draft.read(doer, |r| new_revision(r, units))
}

/// The next revision of a recipe.
pub fn revising(draft: &Draft, doer: &Doer, recipe: RecipeId, units: &Units) -> Result<Revising, Refusal> {
    draft.read(doer, |r| Revising {
        recipe,
        from: r.optional_whole("from", 1..=1_000_000).map(i64::from),
        new: new_revision(r, units),
    })
}

fn new_revision(r: &mut Reader, units: &Units) -> NewRevision {
    let drink = r.line("drink", 80, "the name of the drink");
    let base = line(r, "base", "base_amount", units);
    let supplies = r.rows("supplies", |r| line(r, "item", "amount", units));
    let by_products = r.rows("by_products", |r| line(r, "item", "amount", units));
    let mut steps = r.rows("steps", |r| step(r, units));
    // A step whose order was left open comes after the others.
    steps.sort_by_key(|step| step.0.unwrap_or(i64::MAX));
    let goals = Goals {
        strength: scaled(r, "strength", 0..=25_000_000, "11.5"),
        sugar_g_l: scaled(r, "sugar_g_l", 0..=500_000_000, "12"),
        tasting_ages_months: r.with("tasting_ages_months", Vec::new(), read_months),
        ages_by_warmth: r.flag("ages_by_warmth"),
    };
    let steps = steps.into_iter().map(|step| step.1).collect();
    NewRevision {
        revision: Revision { drink, base, supplies, by_products, steps, goals },
        note: r.remark("note"),
    }
}

fn scaled(
    r: &mut Reader,
    field: &str,
    range: std::ops::RangeInclusive<i64>,
    example: &str,
) -> Option<Measured> {
    r.optional_scaled(field, 1_000_000, &range, example).map(Measured::from_micros)
}

fn line(r: &mut Reader, item: &str, amount: &str, units: &Units) -> PlanSupply {
    let id: ItemId = r.id(item, "item");
    let amount = if let Some(unit) = units.of_item(id) {
        r.quantity(amount, unit)
    } else {
        r.text(amount);
        r.fault(item, "There is no such item in this club");
        Milli::ZERO
    };
    PlanSupply { item: id, amount }
}

/// A step of a form or a request, with its order where that was typed.
fn step(r: &mut Reader, units: &Units) -> (Option<i64>, PlanStep) {
    let turn = r.optional_scaled("turn", 1000, &(0..=1_000_000), "2.5");
    (turn, plan_step(r, units))
}

/// What a step says.
pub fn plan_step(r: &mut Reader, units: &Units) -> PlanStep {
    let kind = if r.is_empty("kind") {
        r.fault("kind", "Choose what is done");
        StepKind::Note
    } else {
        r.choice("kind", &StepKind::ALL, StepKind::code)
    };
    let item = r.optional_id::<ItemId>("item", "item");
    let unit = item.and_then(|item| units.of_item(item));
    if item.is_some() && unit.is_none() {
        r.fault("item", "There is no such item in this club");
    }
    let amount = match unit {
        Some(unit) => r.optional_quantity("amount", unit).map(|amount| (amount, unit)),
        None => r.optional("amount", read_amount),
    };
    PlanStep {
        kind,
        what: r.optional_line("what", 300, "what is done"),
        amount,
        item,
        target_c: r.optional_measured("target_c", ReadingKind::Temperature),
        minutes: r.optional("minutes", read_duration),
        caution: r.optional_line("caution", 500, "what can hurt somebody"),
    }
}

/// An amount of anything: a volume or a mass, as its unit says.
pub fn read_amount(text: &str) -> Result<(Milli, BaseUnit), Misread> {
    match Milli::read(text, BaseUnit::Millilitre) {
        Ok(volume) => Ok((volume, BaseUnit::Millilitre)),
        Err(_) => Milli::read(text, BaseUnit::Gram).map(|mass| (mass, BaseUnit::Gram)),
    }
}

/// A batch to be made by a revision; `unit` is what its base is counted in.
pub fn making(
    draft: &Draft,
    doer: &Doer,
    (recipe, number): (RecipeId, i64),
    unit: BaseUnit,
) -> Result<Making, Refusal> {
    draft.read(doer, |r| {
        let name = r.optional_line("name", 80, "the name of the drink");
        Making {
            recipe,
            number: Some(number),
            amount: r.quantity("amount", unit),
            name: (!name.is_empty()).then_some(name),
            day: r.day("day"),
        }
    })
}

/// An amount as it stands, to fill a field with: in the larger unit where there is that much, and exact.
pub fn exact(amount: Milli, unit: BaseUnit) -> String {
    let (large, small) = (unit.priced().0, unit.sign());
    match unit {
        BaseUnit::Piece => amount.plain(),
        _ if amount.get() >= 1_000_000 => format!("{} {large}", number::plain(amount.get(), 6)),
        _ => format!("{} {small}", amount.plain()),
    }
}

/// The fields of a form that says this revision.
pub fn fields_of(revision: &Revision, unit: impl Fn(ItemId) -> BaseUnit) -> Vec<(String, String)> {
    let mut fields = vec![
        ("drink".to_owned(), revision.drink.clone()),
        ("base".to_owned(), revision.base.item.to_string()),
        ("base_amount".to_owned(), exact(revision.base.amount, unit(revision.base.item))),
    ];
    for (list, lines) in [("supplies", &revision.supplies), ("by_products", &revision.by_products)] {
        for (at, line) in lines.iter().enumerate() {
            fields.push((format!("{list}.{at}.item"), line.item.to_string()));
            fields.push((format!("{list}.{at}.amount"), exact(line.amount, unit(line.item))));
        }
    }
    for (at, step) in revision.steps.iter().enumerate() {
        fields.push((format!("steps.{at}.turn"), (at + 1).to_string()));
        fields.extend(step_fields(step).into_iter().map(|(name, text)| (format!("steps.{at}.{name}"), text)));
    }
    let goals = &revision.goals;
    let ages: Vec<String> = goals.tasting_ages_months.iter().map(u32::to_string).collect();
    fields.push(("strength".to_owned(), goals.strength.map(Measured::plain).unwrap_or_default()));
    fields.push(("sugar_g_l".to_owned(), goals.sugar_g_l.map(Measured::plain).unwrap_or_default()));
    fields.push(("tasting_ages_months".to_owned(), ages.join(", ")));
    if goals.ages_by_warmth {
        fields.push(("ages_by_warmth".to_owned(), "yes".to_owned()));
    }
    fields
}

/// The fields of one step.
pub fn step_fields(step: &PlanStep) -> Vec<(&'static str, String)> {
    vec![
        ("kind", step.kind.code().to_owned()),
        ("what", step.what.clone()),
        ("item", step.item.map(|item| item.to_string()).unwrap_or_default()),
        ("amount", step.amount.map(|(amount, unit)| exact(amount, unit)).unwrap_or_default()),
        ("target_c", step.target_c.map(Measured::plain).unwrap_or_default()),
        ("minutes", step.minutes.map(duration).unwrap_or_default()),
        ("caution", step.caution.clone()),
    ]
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn an_amount_in_a_field_is_read_as_it_was() {
        for (amount, unit) in [(7_000_000, "7 kg"), (4_666_667, "4.666667 kg"), (999_999, "999.999 g")] {
            let (amount, said) = (Milli::new(amount), unit);
            assert_eq!(exact(amount, BaseUnit::Gram), said);
            assert_eq!(Milli::read(said, BaseUnit::Gram), Ok(amount));
        }
        assert_eq!(exact(Milli::new(60_000_000), BaseUnit::Millilitre), "60 L");
        assert_eq!(exact(Milli::new(42_000), BaseUnit::Piece), "42");
        assert_eq!(read_amount("2 L"), Ok((Milli::new(2_000_000), BaseUnit::Millilitre)));
        assert_eq!(read_amount("1 lb").map(|found| found.1), Ok(BaseUnit::Gram));
        assert!(read_amount("2 cans").is_err());
    }
}
