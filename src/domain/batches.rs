//! A batch from its first supply to its last bottle: what each event does to its volume and its cost, and the stage
//! that follows from what has been recorded.

use serde::{Deserialize, Serialize};

pub use stage::{Came, Moved, Progress, Stage, may_change, progress};

pub mod loggers;
pub mod readings;
mod stage;

use super::books::{
    Account, Change, EntryKind, Holding, NewEntry, Past, above_zero, not_before, not_below_zero,
};
use super::costs::by_products::{By, Grounds};
use super::refusal::Refusal;
use super::stock::{Item, Shelf, draw};
use crate::units::days::{self, Day};
use crate::units::ids::{BatchId, ItemId, LotId, PlaceId};
use crate::units::money::Money;
use crate::units::quantity::{BaseUnit, Milli};

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
    /// What came and went after the day for which it was looked at.
    pub later: Vec<Change>,
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
    pub(super) fn filled(&self, day: Day) -> Result<(), Refusal> {
        self.open()?;
        match self.opened_on {
            Some(opened) => not_before(day, opened, &format!("Batch {}", self.code)),
            None => Err(Refusal::conflict(
                "",
                format!("Batch {} holds nothing yet: draw supplies into it first", self.code),
            )),
        }
    }

    /// What it held on a day, and the least since.
    fn past(&self, day: Day) -> Past {
        Past::of(self.holding, day, &self.later)
    }

    /// Refuses to take so much out of it on a day that this day or a later one would end with less than nothing.
    pub fn spares(&self, field: &str, day: Day, volume: Milli, cost: Money) -> Result<(), Refusal> {
        let past = self.past(day);
        if volume > past.least.max(Milli::ZERO) {
            return Err(past.refusal(field, &format!("batch {}", self.code), BaseUnit::Millilitre));
        }
        if cost > past.least_cost.max(Money::ZERO) {
            return Err(Refusal::conflict(
                "day",
                format!(
                    "Much of what batch {} has cost came into it after that day, and this would take a share of it \
                     along; write the day of the latest supplies or a later one",
                    self.code
                ),
            ));
        }
        Ok(())
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
/// overrides the sum: it is compared with what the books say of the end of that day.
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
                .map_err(|refusal| refusal.in_line(&format!("lines.{at}")))?;
        added = added + supply.item.adds_volume(line.quantity);
        if let Some(reason) = because.filter(|reason| !reason.is_empty())
            && supply.shelves.iter().any(|shelf| shelf.expired(order.day))
        {
            let used = format!("{} past its day: {reason}", supply.item.name);
            entry.remark = if entry.remark.is_empty() { used } else { format!("{}\n{used}", entry.remark) };
        }
    }
    let change = match order.volume_after {
        Some(after) => after - standing.past(order.day).then.quantity,
        None => added,
    };
    standing.spares("volume_after", order.day, change.negated(), Money::ZERO)?;
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

/// How the club has by-products take their share of the cost.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Sharing {
    /// The way.
    pub by: By,
    /// What a litre of the drink counts for beside them.
    pub litre_worth: Option<Money>,
}

/// The entry of a by-product that becomes stock of its own, at what it is worth.
pub fn weigh_off(
    standing: &Standing,
    order: &ByProduct,
    item: &Item,
    lot: LotId,
) -> Result<NewEntry, Refusal> {
    let usual = Sharing { by: By::NetValue, litre_worth: None };
    Ok(weigh_off_by(standing, order, item, lot, usual)?.0)
}

/// The same, as the club shares the cost, and what that rests on. What stays in the batch counts as 1 kg a litre.
pub fn weigh_off_by(
    standing: &Standing,
    order: &ByProduct,
    item: &Item,
    lot: LotId,
    sharing: Sharing,
) -> Result<(NewEntry, Grounds), Refusal> {
    standing.filled(order.day)?;
    above_zero("quantity", order.quantity)?;
    not_below_zero("volume_after", order.volume_after)?;
    let value = order.value_per_unit.or(item.value_per_unit).unwrap_or(Money::ZERO);
    if value < Money::ZERO {
        return Err(Refusal::unfit("value_per_unit", "Write a value that is not below zero"));
    }
    let past = standing.past(order.day);
    let volume = match order.volume_after {
        Some(after) => past.then.quantity - after,
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
    standing.spares("quantity", order.day, volume, Money::ZERO)?;
    let stays = (past.then.quantity - volume).max(Milli::ZERO);
    let grams = item.grams(order.quantity).and_then(|(grams, _)| Milli::from_base(grams));
    let grounds = Grounds {
        by: sharing.by,
        worth: net_value(order.quantity, value, Money::from_micros(i64::MAX)),
        mass: grams.unwrap_or_default(),
        drink_mass: stays,
        drink_worth: sharing
            .litre_worth
            .map(|litre| net_value(stays, litre, Money::from_micros(i64::MAX)))
            .map(|worth| Money::from_micros(worth.micros() / 1000)),
    };
    if sharing.by == By::Mass && grams.is_none() {
        return Err(Refusal::conflict(
            "quantity",
            "By-products of this club share the cost by mass, and this one has none: write its \
             density under Stores, Items",
        ));
    }
    let worth = grounds.booked(past.least_cost)?;
    let mut entry =
        NewEntry::new(EntryKind::ByProduct, order.day, order.remark.clone()).of_batch(order.batch);
    entry.post(Account::Stock { lot, place: order.place }, order.quantity, worth);
    entry.post(standing.account(), volume.negated(), worth.negated());
    Ok((entry, grounds))
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
    standing.spares("volume", order.day, order.volume, cost)?;
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
    let then = standing.past(order.day).then.quantity;
    let change = order.volume_after.map_or(Milli::ZERO, |after| after - then);
    standing.spares("volume_after", order.day, change.negated(), Money::ZERO)?;
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

/// The entry of a split or blend: volume moves with its share of the cost. `moved` is what the drink was then.
pub fn transfer(
    from: &Standing,
    into: &Standing,
    order: &Transfer,
    moved: Came,
) -> Result<NewEntry, Refusal> {
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
    from.spares("volume", order.day, order.volume, cost)?;
    entry.moved = Some(moved);
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
    if let Some(last) = standing.later.iter().map(|change| change.day).filter(|day| *day > order.day).max() {
        return Err(Refusal::unfit(
            "day",
            format!(
                "The books of batch {} go on until {}; write that day or a later one",
                standing.code,
                days::long(last)
            ),
        ));
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
mod tests;
