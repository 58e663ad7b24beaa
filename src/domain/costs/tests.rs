//! The lines of a cost add up, whatever happened to a batch.

use proptest::prelude::*;

use super::*;
use crate::domain::batches::{
    ByProduct, Came, Loss, Progress, Stage, Standing, Transfer, lose, transfer, weigh_off,
};
use crate::domain::books::{Account, Holding, NewEntry};
use crate::domain::bottles::{Bottling, bottle};
use crate::domain::cautions::Reasons;
use crate::domain::stock::{Item, ItemKind};
use crate::units::ids::{ItemId, PlaceId};

fn euro(cents: i64) -> Money {
    Money::from_micros(cents * 10_000)
}

fn day() -> Day {
    "2026-03-11".parse().unwrap()
}

fn line(kind: EntryKind, what: &str, quantity: i64, cost: Money) -> CostLine {
    CostLine {
        entry: EntryId::fresh(),
        kind,
        day: day(),
        what: what.to_owned(),
        lot: None,
        receipt: None,
        other_batch: None,
        quantity: Milli::new(quantity),
        unit: BaseUnit::Millilitre,
        cost,
    }
}

/// The worked example of the design: milk 66.00, the rest 11.90, curds worth 46.20, bottles and corks
/// 32.34; 42 bottles.
#[test]
fn a_batch_bottled_whole_is_all_in_the_bottles() {
    let mut lines = vec![
        line(EntryKind::Draw, "Milk", 40_000, euro(6600)),
        line(EntryKind::Draw, "Sugar", 4600, euro(1190)),
        line(EntryKind::ByProduct, "Curds", -8800, euro(-4620)),
    ];
    let bottled = line(EntryKind::Bottling, "Bottled", -31_500, euro(-3170));
    let entry = bottled.entry;
    lines.push(bottled);
    let packaging = vec![line(EntryKind::Bottling, "Bottle", 42, euro(3234))];
    let cost = BottlingCost::of(lines.clone(), entry, packaging, 42).unwrap();
    assert_eq!(
        cost.parts.iter().map(|part| part.share).collect::<Vec<_>>(),
        [euro(6600), euro(1190), euro(-4620)]
    );
    assert_eq!((cost.came(), cost.deducted(), cost.drink()), (euro(7790), euro(-4620), euro(3170)));
    assert_eq!(cost.total(), euro(6404));
    assert!(!cost.is_part());
    assert_eq!(cost.by_name()[0], ("Milk".to_owned(), euro(6600)));
    let batch = BatchCost::of(lines);
    assert_eq!((batch.drink(), batch.went(), batch.held()), (euro(3170), euro(-3170), Money::ZERO));
}

/// A third goes into a split before, half of the rest is bottled: the bottles carry a third of each supply.
#[test]
fn bottles_carry_their_share_of_every_supply() {
    let mut lines = vec![
        line(EntryKind::Draw, "Honey", 9000, euro(9000)),
        line(EntryKind::Pitch, "Yeast", 0, euro(300)),
        line(EntryKind::Split, "Split", -10_000, euro(-3100)),
    ];
    let bottled = line(EntryKind::Bottling, "Bottled", -10_000, euro(-3100));
    let entry = bottled.entry;
    lines.extend([bottled, line(EntryKind::Draw, "Honey, later", 1000, euro(1000))]);
    let cost = BottlingCost::of(lines.clone(), entry, Vec::new(), 13).unwrap();
    assert_eq!(cost.parts.iter().map(|part| part.share).collect::<Vec<_>>(), [euro(3000), euro(100)]);
    assert_eq!(cost.before.len(), 1);
    assert_eq!(cost.stayed, euro(3100));
    assert!(cost.is_part());
    assert_eq!(BatchCost::of(lines).held(), euro(4100));
    assert!(BottlingCost::of(Vec::new(), entry, Vec::new(), 13).is_none());
}

#[test]
fn a_drink_that_its_by_products_paid_for_carries_nothing() {
    let mut lines = vec![
        line(EntryKind::Draw, "Milk", 40_000, euro(6600)),
        line(EntryKind::ByProduct, "Curds", -8800, euro(-6600)),
    ];
    let bottled = line(EntryKind::Bottling, "Bottled", -31_500, Money::ZERO);
    let entry = bottled.entry;
    lines.push(bottled);
    let cost = BottlingCost::of(lines, entry, Vec::new(), 42).unwrap();
    assert_eq!(cost.total(), Money::ZERO);
}

/// One thing that happens to a batch, with numbers that are made to fit.
#[derive(Debug, Clone)]
enum Event {
    Draw { micros: i64, volume: i64 },
    WeighOff { grams: i64, value: i64 },
    Lose { permille: i64, normal: bool },
    Split { permille: i64 },
    Bottle { bottles: u32, lost: i64 },
}

fn events() -> impl Strategy<Value = Vec<Event>> {
    let event = prop_oneof![
        (0..90_000_000_i64, 1..30_000_000_i64).prop_map(|(micros, volume)| Event::Draw { micros, volume }),
        (1..5000_i64, 0..20_000_i64).prop_map(|(grams, value)| Event::WeighOff { grams, value }),
        (1..=1000_i64, any::<bool>()).prop_map(|(permille, normal)| Event::Lose { permille, normal }),
        (1..=1000_i64).prop_map(|permille| Event::Split { permille }),
        (1..40_u32, 0..900_i64).prop_map(|(bottles, lost)| Event::Bottle { bottles, lost }),
    ];
    prop::collection::vec(event, 1..40)
}

/// A batch as the books would have it, and the lines of its cost.
struct History {
    batch: Standing,
    lines: Vec<CostLine>,
}

impl History {
    fn new() -> Self {
        let batch = Standing {
            id: BatchId::fresh(),
            code: "1".to_owned(),
            stage: Stage::Working,
            holding: Holding::default(),
            opened_on: Some(day()),
            later: Vec::new(),
        };
        Self { batch, lines: Vec::new() }
    }

    fn of_holding(&self, permille: i64) -> Milli {
        Milli::new((self.batch.holding.quantity.get() * permille / 1000).max(1))
    }

    /// The entry that the rules of the cellar give, or none where they refuse it.
    fn entry(&self, event: &Event) -> Option<NewEntry> {
        let batch = self.batch.id;
        match *event {
            Event::Draw { micros, volume } => {
                let mut entry = NewEntry::new(EntryKind::Draw, day(), "");
                entry.post(Account::Batch(batch), Milli::new(volume), Money::from_micros(micros));
                Some(entry)
            }
            Event::WeighOff { grams, value } => {
                let quantity = Milli::new(grams * 1000);
                let (item, place) = (ItemId::fresh(), PlaceId::fresh());
                let value_per_unit = Some(Money::from_micros(value));
                let (best_before, volume_after, remark) = (None, None, String::new());
                let order = ByProduct {
                    batch,
                    day: day(),
                    item,
                    quantity,
                    place,
                    best_before,
                    value_per_unit,
                    volume_after,
                    remark,
                };
                weigh_off(&self.batch, &order, &curds(), LotId::fresh()).ok()
            }
            Event::Lose { permille, normal } => {
                let volume = self.of_holding(permille);
                lose(&self.batch, &Loss { batch, day: day(), volume, normal, reason: String::new() }).ok()
            }
            Event::Split { permille } => {
                let volume = self.of_holding(permille);
                let into =
                    Standing { id: BatchId::fresh(), holding: Holding::default(), ..self.batch.clone() };
                let order =
                    Transfer { batch, day: day(), volume, into: None, name: None, remark: String::new() };
                let progress = Progress { stage: Stage::Working, pitched_on: None };
                let moved = Came { progress, first_gravity: None, strength: None };
                transfer(&self.batch, &into, &order, moved).ok()
            }
            Event::Bottle { bottles, lost } => {
                let order = Bottling {
                    batch,
                    day: day(),
                    bottles,
                    bottle_volume: Milli::new(750_000),
                    broken: 0,
                    lost_volume: Milli::new(lost * 1000),
                    packaging: Vec::new(),
                    place: PlaceId::fresh(),
                    tasting_ages_days: Vec::new(),
                    ages_by_warmth: false,
                    reasons: Reasons::default(),
                    remark: String::new(),
                };
                bottle(&self.batch, &order, &mut [], LotId::fresh()).ok()
            }
        }
    }

    /// Record an event; gives what the bottles were booked at, if it was a bottling.
    fn record(&mut self, event: &Event) -> Option<(EntryId, Money)> {
        let entry = self.entry(event)?;
        let posting =
            entry.postings.iter().find(|posting| posting.account == Account::Batch(self.batch.id))?;
        let line = line(entry.kind, "x", posting.quantity.get(), posting.cost);
        let booked = (entry.kind == EntryKind::Bottling).then_some((line.entry, posting.cost.negated()));
        self.batch.holding.quantity = self.batch.holding.quantity + posting.quantity;
        self.batch.holding.cost = self.batch.holding.cost + posting.cost;
        self.lines.push(line);
        booked
    }
}

fn curds() -> Item {
    Item {
        name: "Curds".to_owned(),
        kind: ItemKind::ByProduct,
        unit: BaseUnit::Gram,
        density_micro: None,
        allergens: Vec::new(),
        value_per_unit: None,
        low_at: None,
        made_for_mbar: None,
        sugar_mg_per_kg: None,
        lactose_mg_per_kg: None,
        fat_mg_per_kg: None,
        casein_mg_per_kg: None,
        splits_lactose: false,
    }
}

proptest! {
    /// Whatever was drawn, weighed off, lost, split and bottled: the lines of every bottling add up to what
    /// its bottles were booked at, the batch's to what it holds, and no share leaves its part.
    #[test]
    fn lines_add_up_to_what_was_booked(events in events()) {
        let mut history = History::new();
        let booked: Vec<_> = events.iter().filter_map(|event| history.record(event)).collect();
        for (entry, cost) in booked {
            let found = BottlingCost::of(history.lines.clone(), entry, Vec::new(), 1).unwrap();
            prop_assert_eq!(found.total(), cost);
            let whole: Money = found.parts.iter().map(|part| part.line.cost).sum();
            let before: Money = found.before.iter().map(|line| line.cost).sum();
            prop_assert_eq!(whole + before, cost + found.stayed);
        }
        let batch = BatchCost::of(history.lines);
        prop_assert_eq!(batch.held(), history.batch.holding.cost);
        prop_assert_eq!(batch.drink() + batch.went(), batch.held());
        for part in &batch.parts {
            let (least, most) = (part.line.cost.min(Money::ZERO), part.line.cost.max(Money::ZERO));
            prop_assert!(part.share >= least && part.share <= most);
        }
    }
}
