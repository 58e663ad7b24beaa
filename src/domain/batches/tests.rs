//! A batch from event to event, with worked examples.

use super::*;

fn standing(litres: i64, euros: i64) -> Standing {
    Standing {
        id: BatchId::fresh(),
        code: "41".to_owned(),
        stage: Stage::Working,
        holding: Holding {
            quantity: Milli::new(litres * 1_000_000),
            cost: Money::from_micros(euros * 1_000_000),
        },
        opened_on: Some("2026-06-10".parse().unwrap()),
        later: Vec::new(),
    }
}

fn curds() -> Item {
    Item {
        name: "Curds".to_owned(),
        kind: crate::domain::stock::ItemKind::ByProduct,
        unit: BaseUnit::Gram,
        density_micro: None,
        allergens: vec!["milk".to_owned()],
        value_per_unit: Some(Money::from_micros(15_500)),
        low_at: None,
        made_for_mbar: None,
        sugar_mg_per_kg: None,
        lactose_mg_per_kg: None,
        fat_mg_per_kg: None,
        casein_mg_per_kg: None,
        splits_lactose: false,
    }
}

fn weigh(standing: &Standing, grams: i64) -> Result<NewEntry, Refusal> {
    let order = ByProduct {
        batch: standing.id,
        day: "2026-06-10".parse().unwrap(),
        item: ItemId::fresh(),
        quantity: Milli::new(grams * 1000),
        place: PlaceId::fresh(),
        best_before: None,
        value_per_unit: None,
        volume_after: None,
        remark: String::new(),
    };
    weigh_off(standing, &order, &curds(), LotId::fresh())
}

/// IAS 2, paragraph 14 (rule from memory of the text; the figures are a worked example of the rule): joint cost
/// 120.00, by-product with a net realisable value of 15.50 leaves 104.50 for the drink; never below zero.
#[test]
fn a_by_product_takes_its_net_value_off_the_drink() {
    let batch = standing(60, 120);
    let entry = weigh(&batch, 1000).unwrap();
    assert!(entry.balances());
    assert_eq!(batch.holding.cost + entry.postings[1].cost, Money::from_micros(104_500_000));
    assert_eq!(entry.postings[1].quantity, Milli::new(-1_000_000));
    let cheap = standing(60, 10);
    let entry = weigh(&cheap, 1000).unwrap();
    assert_eq!(cheap.holding.cost + entry.postings[1].cost, Money::ZERO);
}

#[test]
fn a_normal_loss_leaves_its_cost_in_the_drink() {
    let batch = standing(10, 40);
    let mut loss = Loss {
        batch: batch.id,
        day: "2026-06-12".parse().unwrap(),
        volume: Milli::new(1_000_000),
        normal: true,
        reason: "lees".to_owned(),
    };
    assert_eq!(lose(&batch, &loss).unwrap().postings[0].cost, Money::ZERO);
    loss.normal = false;
    let entry = lose(&batch, &loss).unwrap();
    assert_eq!(entry.postings[0].cost, Money::from_micros(-4_000_000));
    assert!(entry.balances());
    loss.volume = Milli::new(10_000_001);
    let said = lose(&batch, &loss).unwrap_err().to_string();
    assert!(said.contains("holds 10.0 L by the books"), "{said}");
    loss.day = "2026-06-09".parse().unwrap();
    assert!(lose(&batch, &loss).unwrap_err().to_string().contains("since 10 June 2026"));
}

#[test]
fn a_split_and_its_rest_share_the_cost_exactly() {
    let (from, into) = (standing(3, 10), standing(0, 0));
    let order = Transfer {
        batch: from.id,
        day: "2026-06-20".parse().unwrap(),
        volume: Milli::new(1_000_000),
        into: None,
        name: None,
        remark: String::new(),
    };
    let progress = Progress { stage: Stage::Working, pitched_on: None };
    let moved = Came { progress, first_gravity: None, strength: None };
    let entry = transfer(&from, &into, &order, moved).unwrap();
    assert_eq!(entry.moved, Some(moved));
    assert_eq!(entry.kind, EntryKind::Split);
    assert_eq!(entry.postings[1].cost, Money::from_micros(3_333_333));
    assert!(entry.balances());
}

#[test]
fn a_batch_that_holds_something_is_not_closed() {
    let batch = standing(3, 10);
    let mut order = Ending {
        batch: batch.id,
        day: "2026-06-20".parse().unwrap(),
        abandoned: false,
        reason: String::new(),
    };
    assert!(end(&batch, &order).unwrap_err().to_string().contains("3.0 L are still in batch 41"));
    order.abandoned = true;
    let entry = end(&batch, &order).unwrap();
    assert!(entry.balances());
    assert_eq!(entry.postings[0].cost, Money::from_micros(-10_000_000));
    let ended = Standing { stage: Stage::Abandoned, ..batch };
    assert!(end(&ended, &order).unwrap_err().to_string().contains("is abandoned"));
}

/// 10 L came on 10 June, 30 L on 15 June; 5 L were lost on the 20th.
#[test]
fn a_past_day_gives_no_more_than_was_there_then() {
    let day = |text: &str| -> Day { text.parse().unwrap() };
    let change = |on: &str, litres: i64, euros: i64| Change {
        day: day(on),
        by: Holding { quantity: Milli::new(litres * 1_000_000), cost: Money::from_micros(euros * 1_000_000) },
    };
    let later = vec![change("2026-06-15", 30, 100), change("2026-06-20", -5, 0)];
    let batch = Standing { later, ..standing(35, 110) };
    let loss = |on: &str, litres: i64, normal: bool| {
        let (batch_id, reason) = (batch.id, "spilt".to_owned());
        let volume = Milli::new(litres * 1_000_000);
        lose(&batch, &Loss { batch: batch_id, day: day(on), volume, normal, reason })
    };
    let said = |done: Result<NewEntry, Refusal>| {
        let refusal = done.unwrap_err();
        (refusal.faults[0].field.clone(), refusal.to_string())
    };
    let (field, words) = said(loss("2026-06-12", 11, true));
    assert_eq!(field, "volume");
    assert!(words.contains("only 10.0 L was left of batch 41 on 12 June 2026"), "{words}");
    assert!(loss("2026-06-12", 10, true).is_ok());
    assert!(loss("2026-06-15", 35, true).is_ok(), "on the 20th 35 L are left");
    let (_, words) = said(loss("2026-06-15", 36, true));
    assert!(words.contains("holds 35.0 L by the books"), "{words}");
    // A seventh of 110.00 would go along with 5 L, but only 10.00 had come by then.
    let (field, words) = said(loss("2026-06-12", 5, false));
    assert_eq!(field, "day");
    assert!(words.contains("came into it after that day"), "{words}");

    let rack = |on: &str, litres: i64| {
        let volume_after = Some(Milli::new(litres * 1_000_000));
        let order = Racking { batch: batch.id, day: day(on), volume_after, remark: String::new() };
        super::rack(&batch, &order).map(|entry| entry.postings[0].quantity.get() / 1_000_000)
    };
    assert_eq!(rack("2026-06-12", 9), Ok(-1), "what was measured is compared with that day");
    assert_eq!(rack("2026-06-22", 34), Ok(-1));

    let order =
        Ending { batch: batch.id, day: day("2026-06-18"), abandoned: true, reason: "mould".to_owned() };
    let (field, words) = said(end(&batch, &order));
    assert_eq!(field, "day");
    assert!(words.contains("go on until 20 June 2026"), "{words}");
}
