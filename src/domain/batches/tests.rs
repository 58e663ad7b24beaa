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
fn the_stage_follows_from_what_was_recorded() {
    let mut facts = Facts::default();
    assert_eq!(stage(&facts), Stage::Planned);
    facts.filled = true;
    facts.holds_volume = true;
    assert_eq!(stage(&facts), Stage::Preparing);
    facts.racked = true;
    assert_eq!(stage(&facts), Stage::Preparing, "racking juice does not make it rest");
    facts.pitched = true;
    facts.racked = false;
    assert_eq!(stage(&facts), Stage::Working);
    facts.racked = true;
    assert_eq!(stage(&facts), Stage::Resting);
    facts.bottled = true;
    facts.holds_volume = false;
    assert_eq!(stage(&facts), Stage::LaidDown);
    facts.closed = true;
    assert_eq!(stage(&facts), Stage::Closed);
    let split = Facts { filled: true, came_as: Some(Stage::Working), ..Facts::default() };
    assert_eq!(stage(&split), Stage::Working);
    assert_eq!(stage(&Facts { filled: false, ..split }), Stage::Planned, "the split was reversed");
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
    let entry = transfer(&from, &into, &order).unwrap();
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
