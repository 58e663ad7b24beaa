//! The books once more, as small as they can be: written from the rules in words, and from no code of the program.
//!
//! Sums are 128-bit and exact. A share of a cost is rounded down, and what is taken last takes the rest. Lots, places,
//! batches and members are numbered in the order in which they came.

mod life;

use std::collections::BTreeMap;

use super::deeds::{
    Amount, Bought, Day, Deed, Event, Held, Item, Line, Lot, Source, Spot, TODAY, Take, What, event,
};

/// Why a deed is not done, for the reader of a failing test.
pub type No = &'static str;

fn ensure(holds: bool, otherwise: No) -> Result<(), No> {
    if holds { Ok(()) } else { Err(otherwise) }
}

/// All that there is.
#[derive(Debug, Clone)]
pub struct Model {
    pub items: Vec<Item>,
    pub lots: Vec<Lot>,
    pub batches: usize,
    /// The lot of each bottling.
    pub bottlings: Vec<usize>,
    pub events: Vec<Event>,
    pub held: BTreeMap<Spot, Held>,
    /// The first day anything came to a spot.
    since: BTreeMap<Spot, Day>,
}

impl Model {
    pub fn new(items: Vec<Item>) -> Self {
        Self {
            items,
            lots: Vec::new(),
            batches: 0,
            bottlings: Vec::new(),
            events: Vec::new(),
            held: BTreeMap::new(),
            since: BTreeMap::new(),
        }
    }

    pub fn at(&self, spot: Spot) -> Held {
        self.held.get(&spot).copied().unwrap_or_default()
    }

    /// Records a deed, or says what stands in its way and stays as it was.
    pub fn record(&mut self, deed: &Deed) -> Result<(), No> {
        let mut next = self.clone();
        if let Deed::Plan = deed {
            next.batches += 1;
        } else {
            let event = next.event(deed)?;
            next.settle(event)?;
        }
        *self = next;
        Ok(())
    }

    fn event(&mut self, deed: &Deed) -> Result<Event, No> {
        match deed {
            Deed::Plan => Err("a plan is no event"),
            Deed::Receive { day, payer, lines } => Ok(self.receive(*day, *payer, lines)),
            Deed::Draw { batch, day, pitch, lines, volume_after } => {
                self.draw(*batch, *day, *pitch, lines, *volume_after)
            }
            Deed::WeighOff { batch, day, item, quantity, place, after } => {
                self.weigh_off(*batch, *day, *item, *quantity, *place, *after)
            }
            Deed::Lose { batch, day, volume, normal } => self.lose(*batch, *day, *volume, *normal),
            Deed::Rack { batch, day, volume_after } => {
                let spot = self.filled_batch(*batch, *day)?;
                let change = volume_after.map_or(0, |after| after - self.on(spot, *day).quantity);
                self.spares(*batch, *day, -change, 0)?;
                Ok(event(What::Racking, *day, [(spot, change, 0)]))
            }
            Deed::Transfer { batch, day, volume, into } => self.transfer(*batch, *day, *volume, *into),
            Deed::Bottle { batch, day, bottles, size, lost, packaging, place } => {
                self.bottle(*batch, *day, *bottles, *size, *lost, packaging, *place)
            }
            Deed::Withdraw { bottling, day, bottles, to, place } => {
                self.withdraw(*bottling, *day, *bottles, *to, *place)
            }
            Deed::Move { lot, day, quantity, from, to } => {
                ensure(from != to, "it stands there already")?;
                let from = Spot::Shelf { lot: *lot, place: *from };
                let cost = self.take(from, *quantity, *day)?;
                let to = Spot::Shelf { lot: *lot, place: *to };
                Ok(event(What::Move, *day, [(from, -quantity, -cost), (to, *quantity, cost)]))
            }
            Deed::Count { lot, place, day, found } => self.count(*lot, *place, *day, *found),
            Deed::End { batch, day, abandoned } => self.end(*batch, *day, *abandoned),
            Deed::Reverse { event } => self.reverse(*event),
        }
    }

    /// Adds an event up; refuses what would leave less than nothing anywhere.
    fn settle(&mut self, event: Event) -> Result<(), No> {
        for (spot, change) in &event.changes {
            let held = self.held.entry(*spot).or_default();
            held.quantity += change.quantity;
            held.cost += change.cost;
            let since = self.since.entry(*spot).or_insert(event.day);
            *since = event.day.min(*since);
            if spot.is_real() {
                ensure(held.quantity >= 0 && held.cost >= 0, "less than nothing would be left")?;
            }
            if matches!(spot, Spot::Shelf { .. }) {
                ensure(held.quantity > 0 || held.cost == 0, "a cost would be left of nothing")?;
            }
        }
        let spots: Vec<Spot> =
            event.changes.iter().map(|change| change.0).filter(|at| at.is_real()).collect();
        self.events.push(event);
        for spot in spots {
            ensure(self.lowest(spot, Day::MIN).quantity >= 0, "a day would end with less than nothing")?;
        }
        Ok(())
    }

    /// What a spot held at the end of a day.
    pub fn on(&self, spot: Spot, day: Day) -> Held {
        let mut held = Held::default();
        for event in self.events.iter().filter(|event| event.day <= day) {
            for (_, change) in event.changes.iter().filter(|change| change.0 == spot) {
                held.quantity += change.quantity;
                held.cost += change.cost;
            }
        }
        held
    }

    /// The least quantity, and the least cost, at the end of this day or of any later one.
    fn lowest(&self, spot: Spot, day: Day) -> Held {
        let days = self.events.iter().map(|event| event.day).filter(|later| *later > day).chain([day]);
        let held: Vec<Held> = days.map(|day| self.on(spot, day)).collect();
        let least = |of: fn(&Held) -> Amount| held.iter().map(of).min().unwrap_or_default();
        Held { quantity: least(|held| held.quantity), cost: least(|held| held.cost) }
    }

    /// Whether a batch held this much on a day and on every day since.
    fn spares(&self, batch: usize, day: Day, volume: Amount, cost: Amount) -> Result<(), No> {
        let lowest = self.lowest(Spot::Batch(batch), day);
        ensure(volume <= lowest.quantity.max(0), "that much was not in it then")?;
        ensure(cost <= lowest.cost.max(0), "it had not cost that much then")
    }

    /// What taking this much out costs.
    fn take(&self, spot: Spot, quantity: Amount, day: Day) -> Result<Amount, No> {
        ensure(quantity <= self.lowest(spot, day).quantity, "that much was not there then")?;
        Ok(share(self.at(spot), quantity))
    }

    fn receive(&mut self, day: Day, payer: Option<usize>, lines: &[Bought]) -> Event {
        let mut changes = Vec::new();
        for line in lines {
            let lot = self.lots.len();
            self.lots.push(Lot { item: Some(line.item), best_before: line.best_before, came_on: day });
            changes.push((Spot::Shelf { lot, place: line.place }, line.quantity, line.cost));
        }
        let paid: Amount = lines.iter().map(|line| line.cost).sum();
        changes.push((payer.map_or(Spot::Purse, Spot::Payer), 0, -paid));
        event(What::Receipt, day, changes)
    }

    /// Takes lines of supplies out of a copy of the shelves, one after the other, and says what they cost in all.
    fn supplies(&self, lines: &[Take], day: Day) -> Result<(Vec<Line>, Amount), No> {
        let mut rest = self.clone();
        let mut changes = Vec::new();
        for (at, line) in lines.iter().enumerate() {
            ensure(lines[..at].iter().all(|earlier| earlier.from != line.from), "one line a source")?;
            let mut wanted = line.quantity;
            for spot in rest.shelves_in_order(line.from) {
                let Spot::Shelf { lot, .. } = spot else { continue };
                let part = wanted.min(rest.lowest(spot, day).quantity);
                if part > 0 {
                    let expired = rest.lots[lot].best_before.is_some_and(|last| last < day);
                    ensure(!expired || line.although_expired, "it has expired")?;
                    let cost = rest.take(spot, part, day)?;
                    rest.settle(event(What::Draw, day, [(spot, -part, -cost)]))?;
                    changes.push((spot, -part, -cost));
                    wanted -= part;
                }
            }
            ensure(wanted == 0, "that much is not there")?;
        }
        let cost = -changes.iter().map(|change| change.2).sum::<Amount>();
        Ok((changes, cost))
    }

    /// What expires first, then what came first; what does not expire comes last.
    fn shelves_in_order(&self, from: Source) -> Vec<Spot> {
        let mut spots: Vec<_> = self
            .held
            .keys()
            .filter_map(|spot| match spot {
                Spot::Shelf { lot, place } => Some((*lot, *place)),
                _ => None,
            })
            .filter(|(lot, _)| match from {
                Source::Lot(wanted) => *lot == wanted,
                Source::Item(item) => self.lots[*lot].item == Some(item),
            })
            .collect();
        spots.sort_by_key(|(lot, place)| {
            let of = &self.lots[*lot];
            (of.best_before.is_none(), of.best_before, of.came_on, *lot, *place)
        });
        spots.into_iter().map(|(lot, place)| Spot::Shelf { lot, place }).collect()
    }

    fn draw(
        &self,
        batch: usize,
        day: Day,
        pitch: bool,
        lines: &[Take],
        volume_after: Option<Amount>,
    ) -> Result<Event, No> {
        self.open(batch)?;
        let (mut changes, cost) = self.supplies(lines, day)?;
        let added: Amount = lines.iter().map(|line| self.volume_of(line)).sum();
        let spot = Spot::Batch(batch);
        let change = volume_after.map_or(added, |after| after - self.on(spot, day).quantity);
        self.spares(batch, day, -change, 0)?;
        changes.push((spot, change, cost));
        Ok(event(if pitch { What::Pitch } else { What::Draw }, day, changes))
    }

    fn volume_of(&self, line: &Take) -> Amount {
        let item = match line.from {
            Source::Item(item) => Some(item),
            Source::Lot(lot) => self.lots[lot].item,
        };
        match item.map(|item| self.items[item]) {
            Some(Item { adds: true, unit: "mL", .. }) => line.quantity,
            Some(Item { adds: true, unit: "g", density: Some(density), .. }) => {
                line.quantity * 1_000_000 / density
            }
            _ => 0,
        }
    }

    fn weigh_off(
        &mut self,
        batch: usize,
        day: Day,
        item: usize,
        quantity: Amount,
        place: usize,
        after: Option<Amount>,
    ) -> Result<Event, No> {
        let spot = self.filled_batch(batch, day)?;
        let (held, of) = (self.at(spot), self.items[item]);
        let volume = match (after, of.unit, of.density) {
            (Some(after), ..) => self.on(spot, day).quantity - after,
            (None, "mL", _) => quantity,
            (None, "g", density) => {
                (quantity * 1_000_000 + density.unwrap_or(1_000_000) / 2) / density.unwrap_or(1_000_000)
            }
            _ => 0,
        };
        ensure(volume <= held.quantity, "the batch does not hold that much")?;
        self.spares(batch, day, volume, 0)?;
        let worth = (quantity * of.worth / 1000).min(self.lowest(spot, day).cost.max(0));
        let lot = self.lots.len();
        self.lots.push(Lot { item: Some(item), best_before: None, came_on: day });
        let stock = Spot::Shelf { lot, place };
        Ok(event(What::ByProduct, day, [(stock, quantity, worth), (spot, -volume, -worth)]))
    }

    fn lose(&self, batch: usize, day: Day, volume: Amount, normal: bool) -> Result<Event, No> {
        let spot = self.filled_batch(batch, day)?;
        let held = self.at(spot);
        ensure(volume <= held.quantity, "the batch does not hold that much")?;
        let stays = normal && volume < held.quantity;
        let cost = if stays { 0 } else { share(held, volume) };
        self.spares(batch, day, volume, cost)?;
        Ok(event(What::Loss, day, [(spot, -volume, -cost), (Spot::Lost, 0, cost)]))
    }

    fn transfer(&mut self, batch: usize, day: Day, volume: Amount, into: Option<usize>) -> Result<Event, No> {
        let from = self.filled_batch(batch, day)?;
        ensure(volume <= self.at(from).quantity, "the batch does not hold that much")?;
        ensure(into != Some(batch), "it is the same batch")?;
        let into = if let Some(into) = into {
            self.open(into)?;
            into
        } else {
            self.batches += 1;
            self.batches - 1
        };
        let cost = share(self.at(from), volume);
        self.spares(batch, day, volume, cost)?;
        let moved = event(What::Transfer, day, [(from, -volume, -cost), (Spot::Batch(into), volume, cost)]);
        let moved_as = Some((self.stage_on(batch, day), self.pitched_by(batch, day)));
        Ok(Event { moved_as, ..moved })
    }

    #[allow(clippy::too_many_arguments, reason = "the fields of the deed")]
    fn bottle(
        &mut self,
        batch: usize,
        day: Day,
        bottles: u32,
        size: Amount,
        spilt: Amount,
        packaging: &[Take],
        place: usize,
    ) -> Result<Event, No> {
        let spot = self.filled_batch(batch, day)?;
        let held = self.at(spot);
        let filled = size * Amount::from(bottles);
        ensure(filled + spilt <= held.quantity, "the batch does not hold that much")?;
        let drink = share(Held { quantity: held.quantity - spilt, cost: held.cost }, filled);
        self.spares(batch, day, filled + spilt, drink)?;
        let (mut changes, extra) = self.supplies(packaging, day)?;
        let lot = self.lots.len();
        self.lots.push(Lot { item: None, best_before: None, came_on: day });
        self.bottlings.push(lot);
        changes.push((spot, -filled - spilt, -drink));
        changes.push((Spot::Shelf { lot, place }, Amount::from(bottles) * 1000, drink + extra));
        Ok(event(What::Bottling, day, changes))
    }

    fn withdraw(
        &self,
        bottling: usize,
        day: Day,
        bottles: u32,
        to: Spot,
        place: Option<usize>,
    ) -> Result<Event, No> {
        let mut spots = self.shelves_in_order(Source::Lot(self.bottlings[bottling]));
        if let Some(wanted) = place {
            spots.retain(|spot| matches!(spot, Spot::Shelf { place, .. } if *place == wanted));
        }
        spots.sort_by_key(|spot| std::cmp::Reverse(self.at(*spot).quantity));
        let mut wanted = Amount::from(bottles) * 1000;
        let (mut changes, mut cost) = (Vec::new(), 0);
        for spot in spots {
            let part = wanted.min(self.lowest(spot, day).quantity);
            if part > 0 {
                let part_cost = self.take(spot, part, day)?;
                changes.push((spot, -part, -part_cost));
                wanted -= part;
                cost += part_cost;
            }
        }
        ensure(wanted == 0, "there are not that many bottles")?;
        changes.push((to, 0, cost));
        Ok(event(What::Withdrawal, day, changes))
    }

    fn count(&self, lot: usize, place: usize, day: Day, found: Amount) -> Result<Event, No> {
        let spot = Spot::Shelf { lot, place };
        let held = self.at(spot);
        let more = found - self.on(spot, day).quantity;
        ensure(more != 0, "the books say so too")?;
        let cost = if more < 0 {
            -self.take(spot, -more, day)?
        } else {
            // A lot that never stood here may be found here from the day it came.
            let empty = held.quantity == 0;
            let since = if empty { self.lots[lot].came_on } else { self.since[&spot] };
            ensure(day >= since, "it came later")?;
            if empty { 0 } else { held.cost * more / held.quantity }
        };
        Ok(event(What::Count, day, [(spot, more, cost), (Spot::Difference, 0, -cost)]))
    }

    fn end(&self, batch: usize, day: Day, abandoned: bool) -> Result<Event, No> {
        self.open(batch)?;
        let spot = Spot::Batch(batch);
        ensure(self.since.get(&spot).is_none_or(|since| day >= *since), "it came later")?;
        let last = self.events.iter().filter(|event| event.touches(spot)).map(|event| event.day).max();
        ensure(last.is_none_or(|last| day >= last), "its books go on")?;
        let held = self.at(spot);
        ensure(abandoned || held.quantity == 0, "the batch still holds something")?;
        let what = if abandoned { What::Abandonment } else { What::Closing };
        Ok(event(what, day, [(spot, -held.quantity, -held.cost), (Spot::Lost, 0, held.cost)]))
    }

    /// The later events that stand in the way of taking this one back: those that took out of where it put in, and
    /// the ends of the batches it moved.
    pub fn in_the_way(&self, of: usize) -> Vec<usize> {
        let filled: Vec<Spot> = self.events[of].filled().collect();
        let ends = |later: &Event| {
            matches!(later.what, What::Closing | What::Abandonment)
                && later
                    .changes
                    .iter()
                    .any(|(at, _)| matches!(at, Spot::Batch(_)) && self.events[of].touches(*at))
        };
        (of + 1..self.events.len())
            .filter(|later| {
                let later = &self.events[*later];
                let stands = later.what != What::Reversal && !later.taken_back;
                stands && (filled.iter().any(|spot| later.took_from(*spot)) || ends(later))
            })
            .collect()
    }

    fn reverse(&mut self, of: usize) -> Result<Event, No> {
        let event = self.events[of].clone();
        ensure(event.what != What::Reversal, "a reversal stays")?;
        ensure(!event.taken_back, "it was taken back before")?;
        ensure(self.in_the_way(of).is_empty(), "later events rest on it")?;
        self.events[of].taken_back = true;
        let back =
            event.changes.iter().map(|(at, held)| (*at, Held { quantity: -held.quantity, cost: -held.cost }));
        Ok(Event {
            what: What::Reversal,
            day: event.day.max(TODAY),
            changes: back.collect(),
            taken_back: false,
            moved_as: None,
        })
    }

    fn live(&self) -> impl Iterator<Item = &Event> {
        self.events.iter().filter(|event| event.stands())
    }

    /// Whether a batch has ended, and how.
    pub fn ended(&self, batch: usize) -> Option<What> {
        self.of_batch(batch)
            .map(|event| event.what)
            .find(|what| matches!(what, What::Closing | What::Abandonment))
    }

    fn open(&self, batch: usize) -> Result<(), No> {
        ensure(self.ended(batch).is_none(), "the batch has ended")
    }

    fn of_batch(&self, batch: usize) -> impl Iterator<Item = &Event> {
        self.live().filter(move |event| event.touches(Spot::Batch(batch)))
    }

    /// A batch into which something came by that day.
    fn filled_batch(&self, batch: usize, day: Day) -> Result<Spot, No> {
        self.open(batch)?;
        let spot = Spot::Batch(batch);
        ensure(self.since.get(&spot).is_some_and(|since| day >= *since), "nothing came into it yet")?;
        Ok(spot)
    }
}

fn share(held: Held, quantity: Amount) -> Amount {
    if quantity == held.quantity { held.cost } else { held.cost * quantity / held.quantity }
}
