//! Random steps, and the deed that each becomes where the books are now.
//!
//! A step is a handful of dice, so that a failing history shrinks to few steps of small numbers.

use proptest::prelude::*;

use super::deeds::{Amount, Bought, Day, Deed, Source, Spot, Take};
use super::model::Model;
use super::world::{BY_PRODUCTS, MEMBERS, PACKAGING, PLACES};

/// What is tried, how far from the day of its turn, and the dice for all the rest.
#[derive(Debug, Clone)]
pub struct Step {
    what: u8,
    off: Day,
    dice: [u16; 12],
}

/// Histories of up to `most` steps.
pub fn histories(most: usize) -> impl Strategy<Value = Vec<Step>> {
    let step = (0..SHARES.iter().sum::<u8>(), -4..=4_i64, any::<[u16; 12]>());
    let step = step.prop_map(|(what, off, dice)| Step { what, off, dice });
    proptest::collection::vec(step, 1..=most)
}

/// Of so many steps, how many receive, draw, pitch, weigh off, lose, rack, split or blend, bottle, withdraw, move,
/// count, reverse, end, plan.
const SHARES: [u8; 14] = [10, 12, 4, 5, 4, 4, 7, 10, 8, 6, 6, 12, 3, 1];

/// Dice that are thrown again from the first when all are used.
struct Dice<'a> {
    faces: std::iter::Cycle<std::slice::Iter<'a, u16>>,
}

impl Dice<'_> {
    fn throw(&mut self) -> u16 {
        *self.faces.next().expect("a circle does not end")
    }

    fn one_in(&mut self, many: u16) -> bool {
        self.throw() % many == many - 1
    }

    fn below(&mut self, end: usize) -> usize {
        usize::from(self.throw()) % end
    }

    /// One thousandth, a part, all of it, or more than there is.
    fn portion(&mut self, there: Amount) -> Amount {
        let face = Amount::from(self.throw());
        match face % 16 {
            0 => 1,
            1..=11 => there * face / 65_536 + 1,
            12..=14 => there.max(1),
            _ => there + face + 1,
        }
    }
}

impl Step {
    /// The deed of this step, as the `turn`-th of a history; `None` where there is nothing yet to do it to.
    pub fn deed(&self, turn: usize, books: &Model) -> Option<Deed> {
        let mut dice = Dice { faces: self.dice.iter().cycle() };
        let day = 10 + Day::try_from(turn / 2).expect("histories are short") + self.off;
        let mut left = self.what;
        let kind = SHARES.iter().position(|share| match left.checked_sub(*share) {
            Some(rest) => {
                left = rest;
                false
            }
            None => true,
        });
        let dice = &mut dice;
        match kind.expect("the dice are as many as the shares") {
            0 => Some(receive(dice, day)),
            kind @ (1 | 2) => draw(dice, day + 2, books, kind == 2),
            3 => weigh_off(dice, day, books),
            kind @ (4..=6) => change(dice, day, books, kind),
            7 => bottle(dice, day, books),
            8 => withdraw(dice, day, books),
            kind @ (9 | 10) => shift(dice, day, books, kind == 9),
            11 => reverse(dice, books),
            12 => Some(Deed::End { batch: batch(dice, books)?, day: day + 4, abandoned: dice.one_in(3) }),
            _ => Some(Deed::Plan),
        }
    }
}

/// A batch, mostly one that has not ended and holds something.
fn batch(dice: &mut Dice<'_>, books: &Model) -> Option<usize> {
    let full = |batch: &usize| books.ended(*batch).is_none() && books.at(Spot::Batch(*batch)).quantity > 0;
    let full: Vec<usize> = (0..books.batches).filter(full).collect();
    if full.is_empty() || dice.one_in(6) {
        (books.batches > 0).then(|| dice.below(books.batches))
    } else {
        Some(full[dice.below(full.len())])
    }
}

fn receive(dice: &mut Dice<'_>, day: Day) -> Deed {
    let payer = dice.one_in(2).then(|| dice.below(MEMBERS));
    let lines = (0..=dice.below(3)).map(|_| {
        let item = dice.below(PACKAGING.end);
        let pieces = PACKAGING.contains(&item);
        let much = Amount::from(dice.throw()) + 1;
        Bought {
            item,
            quantity: if pieces { (much % 97 + 1) * 1000 } else { much * 907 },
            cost: Amount::from(dice.throw()) * 331,
            place: dice.below(PLACES),
            best_before: dice.one_in(2).then(|| day + Day::from(dice.throw() % 32)),
        }
    });
    Deed::Receive { day, payer, lines: lines.collect() }
}

fn draw(dice: &mut Dice<'_>, day: Day, books: &Model, pitch: bool) -> Option<Deed> {
    let batch = batch(dice, books)?;
    let lines: Vec<Take> = (0..=dice.below(3)).map(|_| take(dice, books, None)).collect();
    let held = books.at(Spot::Batch(batch)).quantity;
    let volume_after = dice.one_in(6).then(|| held * Amount::from(dice.throw()) / 40_000);
    Some(Deed::Draw { batch, day, pitch, lines, volume_after })
}

/// A line of an item, mostly one that is there, or of one of its lots, for a part of what is there.
fn take(dice: &mut Dice<'_>, books: &Model, fixed: Option<usize>) -> Take {
    let left =
        |lot: usize| (0..PLACES).map(|place| books.at(Spot::Shelf { lot, place }).quantity).sum::<Amount>();
    let lots_of = |item| {
        let mine = move |lot: &usize| books.lots[*lot].item == Some(item) && left(*lot) > 0;
        (0..books.lots.len()).filter(mine).collect::<Vec<usize>>()
    };
    let any = dice.one_in(8);
    let known: Vec<usize> = (0..PACKAGING.start).filter(|item| any || !lots_of(*item).is_empty()).collect();
    let item = fixed.unwrap_or_else(|| if known.is_empty() { 0 } else { known[dice.below(known.len())] });
    let lots = lots_of(item);
    // Of a batch also what came off another, or was bottled from it.
    let again: Vec<usize> = (0..books.lots.len()).filter(|lot| fixed.is_none() && left(*lot) > 0).collect();
    let (from, there) = if dice.one_in(5) && !again.is_empty() {
        let lot = again[dice.below(again.len())];
        (Source::Lot(lot), left(lot))
    } else if dice.one_in(3) && !lots.is_empty() {
        let lot = lots[dice.below(lots.len())];
        (Source::Lot(lot), left(lot))
    } else {
        (Source::Item(item), lots.iter().map(|lot| left(*lot)).sum())
    };
    Take { from, quantity: dice.portion(there), although_expired: !dice.one_in(4) }
}

fn weigh_off(dice: &mut Dice<'_>, day: Day, books: &Model) -> Option<Deed> {
    let batch = batch(dice, books)?;
    let held = books.at(Spot::Batch(batch)).quantity;
    let item = BY_PRODUCTS.start + dice.below(BY_PRODUCTS.len());
    let after = dice.one_in(4).then(|| held * Amount::from(dice.throw()) / 60_000);
    let quantity = dice.portion(held / 2);
    Some(Deed::WeighOff { batch, day, item, quantity, place: dice.below(PLACES), after })
}

/// A loss, a racking, a split or a blend.
fn change(dice: &mut Dice<'_>, day: Day, books: &Model, kind: usize) -> Option<Deed> {
    let batch = batch(dice, books)?;
    let held = books.at(Spot::Batch(batch)).quantity;
    Some(match kind {
        4 => Deed::Lose { batch, day, volume: dice.portion(held), normal: dice.one_in(2) },
        5 => Deed::Rack { batch, day, volume_after: dice.one_in(2).then(|| dice.portion(held)) },
        _ => {
            let into = dice.one_in(2).then(|| dice.below(books.batches));
            Deed::Transfer { batch, day, volume: dice.portion(held), into }
        }
    })
}

fn bottle(dice: &mut Dice<'_>, day: Day, books: &Model) -> Option<Deed> {
    const SIZES: [Amount; 3] = [750_000, 330_000, 1_000_000];
    let batch = batch(dice, books)?;
    let held = books.at(Spot::Batch(batch)).quantity;
    let size = SIZES[dice.below(SIZES.len())];
    let bottles = u32::try_from(dice.portion(held / size).min(5000)).expect("a few bottles");
    let lost = if dice.one_in(3) { dice.portion(held - held / size * size) } else { 0 };
    let packaging = PACKAGING
        .filter_map(|item| {
            let line = dice.one_in(3).then(|| take(dice, books, Some(item)))?;
            Some(Take { quantity: Amount::from(bottles) * 1000, ..line })
        })
        .collect();
    Some(Deed::Bottle { batch, day, bottles, size, lost, packaging, place: dice.below(PLACES) })
}

fn withdraw(dice: &mut Dice<'_>, day: Day, books: &Model) -> Option<Deed> {
    if books.bottlings.is_empty() {
        return None;
    }
    let bottling = dice.below(books.bottlings.len());
    let lot = books.bottlings[bottling];
    let there = (0..PLACES).map(|place| books.at(Spot::Shelf { lot, place }).quantity).sum::<Amount>();
    let bottles = u32::try_from(dice.portion(there / 1000)).expect("a few bottles");
    let to = match dice.below(4) {
        0 => Spot::Member(dice.below(MEMBERS)),
        1 => Spot::Tasted,
        2 => Spot::Given,
        _ => Spot::Lost,
    };
    let place = dice.one_in(3).then(|| dice.below(PLACES));
    Some(Deed::Withdraw { bottling, day: day + 4, bottles, to, place })
}

/// Carries a lot, or counts it.
fn shift(dice: &mut Dice<'_>, day: Day, books: &Model, carry: bool) -> Option<Deed> {
    let shelves: Vec<(usize, usize)> = books
        .held
        .keys()
        .filter_map(|spot| if let Spot::Shelf { lot, place } = spot { Some((*lot, *place)) } else { None })
        .collect();
    if shelves.is_empty() {
        return None;
    }
    let (lot, place) = shelves[dice.below(shelves.len())];
    let held = books.at(Spot::Shelf { lot, place }).quantity;
    if carry {
        let quantity = dice.portion(held);
        return Some(Deed::Move { lot, day: day + 4, quantity, from: place, to: dice.below(PLACES) });
    }
    let place = if dice.one_in(4) { dice.below(PLACES) } else { place };
    let found = if dice.one_in(5) { 0 } else { held * Amount::from(dice.throw()) / 40_000 };
    Some(Deed::Count { lot, place, day: day + 4, found })
}

/// Takes back one of the latest eight entries, or any.
fn reverse(dice: &mut Dice<'_>, books: &Model) -> Option<Deed> {
    let all = books.events.len();
    let among = if dice.one_in(4) { all } else { all.min(8) };
    (all > 0).then(|| Deed::Reverse { event: all - 1 - dice.below(among) })
}
