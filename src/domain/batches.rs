//! A batch from its first supply to its last bottle: what each event does to its volume and its cost, and the stage
//! that follows from what has been recorded.

use serde::{Deserialize, Serialize};

use super::books::{Account, EntryKind, Holding, NewEntry, above_zero, not_before, not_below_zero};
use super::refusal::Refusal;
use super::stock::{Item, Shelf, draw};
use crate::units::days::Day;
use crate::units::ids::{BatchId, ItemId, LotId, PlaceId};
use crate::units::money::Money;
use crate::units::quantity::{BaseUnit, Milli};

/// How far a batch is.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, PartialOrd, Ord, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Stage {
    /// On paper, nothing drawn.
    Planned,
    /// Supplies drawn.
    Preparing,
    /// Yeast pitched.
    Working,
    /// Off the lees or done, in bulk.
    Resting,
    /// Bottled, ageing.
    LaidDown,
    /// Books settled, nothing left.
    Closed,
    /// Given up, with the reason and the loss.
    Abandoned,
}

impl Stage {
    /// All stages in the order of a life.
    pub const ALL: [Stage; 7] = [
        Self::Planned,
        Self::Preparing,
        Self::Working,
        Self::Resting,
        Self::LaidDown,
        Self::Closed,
        Self::Abandoned,
    ];

    /// As in the database and the API.
    pub const fn code(self) -> &'static str {
        match self {
            Self::Planned => "planned",
            Self::Preparing => "preparing",
            Self::Working => "working",
            Self::Resting => "resting",
            Self::LaidDown => "laid-down",
            Self::Closed => "closed",
            Self::Abandoned => "abandoned",
        }
    }

    /// For people.
    pub const fn label(self) -> &'static str {
        match self {
            Self::LaidDown => "laid down",
            other => other.code(),
        }
    }

    /// From its code.
    pub fn from_code(code: &str) -> Option<Self> {
        Self::ALL.into_iter().find(|stage| stage.code() == code)
    }

    /// Nothing more is recorded for it.
    pub const fn ended(self) -> bool {
        matches!(self, Self::Closed | Self::Abandoned)
    }
}

/// What has been recorded and not reversed: all that the stage depends on.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq)]
#[allow(clippy::struct_excessive_bools, reason = "each is one thing that may have been recorded")]
pub struct Facts {
    /// Something came into it.
    pub filled: bool,
    /// Yeast was pitched.
    pub pitched: bool,
    /// It was racked.
    pub racked: bool,
    /// Some of it was bottled.
    pub bottled: bool,
    /// It was closed.
    pub closed: bool,
    /// It was given up.
    pub abandoned: bool,
    /// It still holds something.
    pub holds_volume: bool,
    /// The stage of the batch it was split or blended from.
    pub came_as: Option<Stage>,
}

/// The stage that follows from the facts.
pub fn stage(facts: &Facts) -> Stage {
    let came = facts.came_as.filter(|_| facts.filled);
    let pitched = facts.pitched || came >= Some(Stage::Working);
    if facts.abandoned {
        Stage::Abandoned
    } else if facts.closed {
        Stage::Closed
    } else if facts.bottled && !facts.holds_volume {
        Stage::LaidDown
    } else if facts.bottled || pitched && facts.racked || came >= Some(Stage::Resting) {
        Stage::Resting
    } else if pitched {
        Stage::Working
    } else if facts.filled {
        Stage::Preparing
    } else {
        Stage::Planned
    }
}

/// Whether an entry of this kind can change the stage of a batch at all: supplies drawn into one that is under way
/// cannot, and they are what is recorded most.
pub const fn may_change(kind: EntryKind, stage: Stage) -> bool {
    !(matches!(kind, EntryKind::Draw) && matches!(stage, Stage::Preparing | Stage::Working | Stage::Resting))
}

/// A batch as the rules see it.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Standing {
    /// Which.
    pub id: BatchId,
    /// Its number, for messages.
    pub code: String,
    /// How far it is.
    pub stage: Stage,
    /// What it holds.
    pub holding: Holding,
    /// The first day anything came into it.
    pub opened_on: Option<Day>,
}

impl Standing {
    fn account(&self) -> Account {
        Account::Batch(self.id)
    }

    /// Refuse what cannot be recorded any more.
    fn open(&self) -> Result<(), Refusal> {
        if self.stage.ended() {
            let stage = self.stage.label();
            return Err(Refusal::conflict(
                "",
                format!("Batch {} is {stage}: reverse that first if it was a mistake", self.code),
            ));
        }
        Ok(())
    }

    /// Refuse a day before the batch held anything, and a batch that holds nothing.
    fn filled(&self, day: Day) -> Result<(), Refusal> {
        self.open()?;
        match self.opened_on {
            Some(opened) => not_before(day, opened, &format!("Batch {}", self.code)),
            None => Err(Refusal::conflict(
                "",
                format!("Batch {} holds nothing yet: draw supplies into it first", self.code),
            )),
        }
    }

    fn at_most(&self, field: &str, volume: Milli) -> Result<(), Refusal> {
        if volume > self.holding.quantity {
            let there = self.holding.quantity.shown(BaseUnit::Millilitre);
            return Err(Refusal::conflict(
                field,
                format!(
                    "Batch {} holds {there} by the books; write that or less, or record the volume measured first",
                    self.code
                ),
            ));
        }
        Ok(())
    }
}

/// From where a line is drawn.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
pub enum Source {
    /// This lot.
    Lot(LotId),
    /// First expired, first out.
    Item(ItemId),
}

/// One line of supplies drawn.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct DrawLine {
    /// From where.
    pub source: Source,
    /// How much.
    pub quantity: Milli,
    /// Why an expired lot is used all the same.
    pub expired_because: Option<String>,
}

/// Supplies drawn into a batch, or yeast pitched.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct Draw {
    /// Which batch.
    pub batch: BatchId,
    /// When.
    pub day: Day,
    /// Whether this is the yeast.
    pub pitch: bool,
    /// What.
    pub lines: Vec<DrawLine>,
    /// The volume measured afterwards.
    pub volume_after: Option<Milli>,
    /// A remark.
    pub remark: String,
}

/// A line of a draw with what it is drawn from.
pub struct Supply {
    /// The item.
    pub item: Item,
    /// The lots it may come from, in order.
    pub shelves: Vec<Shelf>,
}

/// The entry of a draw. Liquids add their volume, solids with a known density theirs; a volume measured afterwards
/// overrides the sum.
pub fn draw_into(standing: &Standing, order: &Draw, supplies: &mut [Supply]) -> Result<NewEntry, Refusal> {
    standing.open()?;
    not_below_zero("volume_after", order.volume_after)?;
    if order.lines.is_empty() {
        return Err(Refusal::unfit("lines", "Write at least one line"));
    }
    let kind = if order.pitch { EntryKind::Pitch } else { EntryKind::Draw };
    let mut entry = NewEntry::new(kind, order.day, order.remark.clone()).of_batch(order.batch);
    let (mut cost, mut added) = (Money::ZERO, Milli::ZERO);
    for (at, (line, supply)) in order.lines.iter().zip(supplies).enumerate() {
        let unit = supply.item.unit;
        let because = line.expired_because.as_deref();
        cost = cost
            + draw(&mut entry, &mut supply.shelves, line.quantity, unit, because)
                .map_err(|refusal| refusal.under(&format!("lines.{at}")))?;
        added = added + supply.item.adds_volume(line.quantity);
        if let Some(reason) = because.filter(|reason| !reason.is_empty())
            && supply.shelves.iter().any(|shelf| shelf.expired(order.day))
        {
            let used = format!("{} past its day: {reason}", supply.item.name);
            entry.remark = if entry.remark.is_empty() { used } else { format!("{}\n{used}", entry.remark) };
        }
    }
    let change = order.volume_after.map_or(added, |after| after - standing.holding.quantity);
    entry.post(standing.account(), change, cost);
    Ok(entry)
}

/// A by-product weighed off.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct ByProduct {
    /// From which batch.
    pub batch: BatchId,
    /// When.
    pub day: Day,
    /// What it is.
    pub item: ItemId,
    /// How much.
    pub quantity: Milli,
    /// Where it is put.
    pub place: PlaceId,
    /// Use by.
    pub best_before: Option<Day>,
    /// Net realisable value of one unit, where it differs from the item's.
    pub value_per_unit: Option<Money>,
    /// The volume of the batch measured afterwards.
    pub volume_after: Option<Milli>,
    /// A remark.
    pub remark: String,
}

/// What a by-product is worth: quantity times net realisable value, never more than the batch has cost
/// (IAS 2, paragraph 14: deducted from the cost of the main product).
pub fn net_value(quantity: Milli, value_per_unit: Money, batch_cost: Money) -> Money {
    let value = i128::from(quantity.get()) * i128::from(value_per_unit.micros()) / 1000;
    Money::from_micros(i64::try_from(value).unwrap_or(i64::MAX)).min(batch_cost)
}

/// The entry of a by-product that becomes stock of its own.
pub fn weigh_off(
    standing: &Standing,
    order: &ByProduct,
    item: &Item,
    lot: LotId,
) -> Result<NewEntry, Refusal> {
    standing.filled(order.day)?;
    above_zero("quantity", order.quantity)?;
    not_below_zero("volume_after", order.volume_after)?;
    let value = order.value_per_unit.or(item.value_per_unit).unwrap_or(Money::ZERO);
    if value < Money::ZERO {
        return Err(Refusal::unfit("value_per_unit", "Write a value that is not below zero"));
    }
    let worth = net_value(order.quantity, value, standing.holding.cost);
    let volume = match order.volume_after {
        Some(after) => standing.holding.quantity - after,
        None => item.grams(order.quantity).map_or(Ok(Milli::ZERO), |(grams, _)| by_density(item, grams))?,
    };
    if volume > standing.holding.quantity {
        return Err(Refusal::conflict(
            "quantity",
            format!(
                "Batch {} holds only {}; that much cannot have come out of it",
                standing.code,
                standing.holding.quantity.shown(BaseUnit::Millilitre)
            ),
        ));
    }
    let mut entry =
        NewEntry::new(EntryKind::ByProduct, order.day, order.remark.clone()).of_batch(order.batch);
    entry.post(Account::Stock { lot, place: order.place }, order.quantity, worth);
    entry.post(standing.account(), volume.negated(), worth.negated());
    Ok(entry)
}

#[allow(clippy::cast_precision_loss, reason = "densities are far below 2^52 millionths")]
fn by_density(item: &Item, grams: f64) -> Result<Milli, Refusal> {
    let density = item.density_micro.map_or(1.0, |density| density as f64 / 1e6);
    Milli::from_base(grams / density)
        .ok_or_else(|| Refusal::unfit("quantity", "This is too much to be meant"))
}

/// Drink that is lost.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct Loss {
    /// From which batch.
    pub batch: BatchId,
    /// When.
    pub day: Day,
    /// How much.
    pub volume: Milli,
    /// A normal loss (lees, samples) leaves its cost in the drink; an abnormal one takes it along.
    pub normal: bool,
    /// How it happened.
    pub reason: String,
}

/// The entry of a loss.
pub fn lose(standing: &Standing, order: &Loss) -> Result<NewEntry, Refusal> {
    standing.filled(order.day)?;
    above_zero("volume", order.volume)?;
    standing.at_most("volume", order.volume)?;
    let mut entry = NewEntry::new(EntryKind::Loss, order.day, order.reason.clone()).of_batch(order.batch);
    let mut holding = standing.holding;
    let taken = holding.take(order.volume).unwrap_or_default();
    // Even a normal loss takes the cost along when nothing is left to carry it.
    let cost = if order.normal && holding.quantity > Milli::ZERO { Money::ZERO } else { taken };
    entry.post(standing.account(), order.volume.negated(), cost.negated());
    entry.post(Account::Lost, Milli::ZERO, cost);
    Ok(entry)
}

/// Drink drawn off its lees, or measured anew.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct Racking {
    /// Which batch.
    pub batch: BatchId,
    /// When.
    pub day: Day,
    /// The volume measured afterwards.
    pub volume_after: Option<Milli>,
    /// A remark.
    pub remark: String,
}

/// The entry of a racking: lees stay behind without cost.
pub fn rack(standing: &Standing, order: &Racking) -> Result<NewEntry, Refusal> {
    standing.filled(order.day)?;
    not_below_zero("volume_after", order.volume_after)?;
    let mut entry = NewEntry::new(EntryKind::Racking, order.day, order.remark.clone()).of_batch(order.batch);
    let change = order.volume_after.map_or(Milli::ZERO, |after| after - standing.holding.quantity);
    entry.post(standing.account(), change, Money::ZERO);
    Ok(entry)
}

/// Drink moved from one batch into another: a split into a new one, or a blend into one that is there.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct Transfer {
    /// From which batch.
    pub batch: BatchId,
    /// When.
    pub day: Day,
    /// How much.
    pub volume: Milli,
    /// Into which batch; none makes a new one.
    pub into: Option<BatchId>,
    /// The new batch's drink, if it is another.
    pub name: Option<String>,
    /// A remark.
    pub remark: String,
}

/// The entry of a split or blend: volume moves with its share of the cost.
pub fn transfer(from: &Standing, into: &Standing, order: &Transfer) -> Result<NewEntry, Refusal> {
    from.filled(order.day)?;
    above_zero("volume", order.volume)?;
    from.at_most("volume", order.volume)?;
    into.open().map_err(|refusal| refusal.under("into"))?;
    if from.id == into.id {
        return Err(Refusal::unfit("into", "Choose another batch than the one it comes from"));
    }
    let kind = if order.into.is_some() { EntryKind::Blend } else { EntryKind::Split };
    let mut entry = NewEntry::new(kind, order.day, order.remark.clone()).of_batch(order.batch);
    let mut holding = from.holding;
    let cost = holding.take(order.volume).unwrap_or_default();
    entry.post(from.account(), order.volume.negated(), cost.negated());
    entry.post(into.account(), order.volume, cost);
    Ok(entry)
}

/// The end of a batch.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct Ending {
    /// Which batch.
    pub batch: BatchId,
    /// When.
    pub day: Day,
    /// Given up: the rest is lost. Otherwise nothing may be left.
    pub abandoned: bool,
    /// Why it is given up.
    pub reason: String,
}

/// The entry that leaves a batch with nothing.
pub fn end(standing: &Standing, order: &Ending) -> Result<NewEntry, Refusal> {
    standing.open()?;
    if let Some(opened) = standing.opened_on {
        not_before(order.day, opened, &format!("Batch {}", standing.code))?;
    }
    let kind = if order.abandoned { EntryKind::Abandonment } else { EntryKind::Closing };
    if !order.abandoned && standing.holding.quantity > Milli::ZERO {
        return Err(Refusal::conflict(
            "",
            format!(
                "{} are still in batch {}: bottle them, or record them as a loss, then close it",
                standing.holding.quantity.shown(BaseUnit::Millilitre),
                standing.code
            ),
        ));
    }
    let mut entry = NewEntry::new(kind, order.day, order.reason.clone()).of_batch(order.batch);
    let Holding { quantity, cost } = standing.holding;
    entry.post(standing.account(), quantity.negated(), cost.negated());
    entry.post(Account::Lost, Milli::ZERO, cost);
    Ok(entry)
}

#[cfg(test)]
mod tests {
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
            kind: super::super::stock::ItemKind::ByProduct,
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
}
