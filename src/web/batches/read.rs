//! From what was typed about a batch to the commands of `domain`, the same for pages and API.

use crate::actions::batches::{Correction, NewReading, Plan, Sent, Strike};
use crate::actions::vessels::Into;
use crate::db::stock::Units;
use crate::domain::batches::{ByProduct, Draw, Ending, Loss, Racking, Transfer};
use crate::domain::bottles::{Bottling, MOST_BOTTLES, read_ages};
use crate::domain::instruments::InstrumentKind;
use crate::domain::members::Doer;
use crate::domain::refusal::Refusal;
use crate::units::ids::{BatchId, ReadingId};
use crate::units::measure::ReadingKind;
use crate::units::quantity::{BaseUnit, Milli};
use crate::web::input::{Draft, Reader};
use crate::web::stock::read::per_unit;
use crate::web::vessels::read::into;
use crate::web::{cautions, supplies};

/// A batch on paper.
pub fn plan(draft: &Draft, doer: &Doer) -> Result<Plan, Refusal> {
    draft.read(doer, |r| Plan {
        name: r.line("name", 80, "the name of the drink"),
        base_volume: r.optional_volume("base_volume"),
        day: r.day("day"),
    })
}

/// Supplies drawn, or yeast pitched.
pub fn draw(draft: &Draft, doer: &Doer, batch: BatchId, pitch: bool, units: &Units) -> Result<Draw, Refusal> {
    draft.read(doer, |r| {
        let lines = supplies::lines(r, "lines", units);
        if lines.is_empty() {
            r.fault("lines", "Choose what is drawn");
        }
        Draw {
            batch,
            day: r.day("day"),
            pitch,
            lines,
            volume_after: r.optional_volume("volume_after"),
            remark: r.remark("remark"),
        }
    })
}

/// A by-product weighed off; `unit` is what its item is counted in.
pub fn by_product(draft: &Draft, doer: &Doer, batch: BatchId, units: &Units) -> Result<ByProduct, Refusal> {
    draft.read(doer, |r| {
        let item = r.id("item", "by-product");
        let unit = units.of_item(item).unwrap_or(BaseUnit::Gram);
        ByProduct {
            batch,
            day: r.day("day"),
            item,
            quantity: r.quantity("quantity", unit),
            place: r.id("place", "place"),
            best_before: r.optional_day("best_before"),
            // A page asks for the worth of a kilo, the API for that of a gram; each sends its own field.
            value_per_unit: match r.optional("value", |text| per_unit(text, unit)) {
                None => r.optional_money("value_per_unit"),
                value => value,
            },
            volume_after: r.optional_volume("volume_after"),
            remark: r.remark("remark"),
        }
    })
}

/// Drink that is lost.
pub fn loss(draft: &Draft, doer: &Doer, batch: BatchId) -> Result<Loss, Refusal> {
    draft.read(doer, |r| Loss {
        batch,
        day: r.day("day"),
        volume: r.volume("volume"),
        normal: r.flag("normal"),
        reason: r.line("reason", 300, "how it happened"),
    })
}

/// Drink racked, or measured anew.
pub fn racking(draft: &Draft, doer: &Doer, batch: BatchId) -> Result<(Racking, Option<Into>), Refusal> {
    draft.read(doer, |r| {
        let racking = Racking {
            batch,
            day: r.day("day"),
            volume_after: r.optional_volume("volume_after"),
            remark: r.remark("remark"),
        };
        (racking, into(r))
    })
}

/// Part of a batch split off.
pub fn split(draft: &Draft, doer: &Doer, batch: BatchId) -> Result<(Transfer, Option<Into>), Refusal> {
    draft.read(doer, |r| {
        let name = r.optional_line("name", 80, "the name of the drink");
        let transfer = Transfer {
            batch,
            day: r.day("day"),
            volume: r.volume("volume"),
            into: None,
            name: (!name.is_empty()).then_some(name),
            remark: r.remark("remark"),
        };
        (transfer, into(r))
    })
}

/// Part of a batch blended into another.
pub fn blend(draft: &Draft, doer: &Doer, batch: BatchId) -> Result<(Transfer, Option<Into>), Refusal> {
    draft.read(doer, |r| {
        let transfer = Transfer {
            batch,
            day: r.day("day"),
            volume: r.volume("volume"),
            into: Some(r.id("into", "batch")),
            name: None,
            remark: r.remark("remark"),
        };
        (transfer, into(r))
    })
}

/// The end of a batch.
pub fn ending(draft: &Draft, doer: &Doer, batch: BatchId, abandoned: bool) -> Result<Ending, Refusal> {
    draft.read(doer, |r| Ending {
        batch,
        day: r.day("day"),
        abandoned,
        reason: if abandoned { r.line("reason", 300, "why it is given up") } else { r.remark("reason") },
    })
}

/// A value read off an instrument; `path` is empty, or that of a line with a dot at its end.
fn one_reading(
    r: &mut Reader,
    batch: BatchId,
    kind: ReadingKind,
    field: &str,
    instrument: &str,
) -> NewReading {
    NewReading {
        batch,
        at: r.instant("at"),
        kind,
        value: r.measured(field, kind),
        sample_c: r.optional_measured("sample_temperature_c", ReadingKind::Temperature),
        instrument: r.optional_id(instrument, "instrument"),
        as_read: r.flag("as_read"),
        remark: r.remark("remark"),
    }
}

/// What a program reads: one value, or the values of a source.
pub enum Measured {
    /// One, which may be asked about.
    One(NewReading),
    /// Many, each of which counts once.
    Many(Sent),
}

/// Readings that a source sends in one call at most.
const MOST_SENT: usize = 500;

/// A value, or what a sensor measured.
pub fn measured(draft: &Draft, doer: &Doer, batch: BatchId) -> Result<Measured, Refusal> {
    draft.read(doer, |r| {
        if !r.was_sent("readings") {
            let kind = r.choice("kind", &ReadingKind::ALL, ReadingKind::code);
            return Measured::One(one_reading(r, batch, kind, "value", "instrument"));
        }
        let source = r.optional_line("source", 80, "what sends the readings");
        let readings = r.rows_up_to("readings", MOST_SENT, |r| {
            let kind = r.choice("kind", &ReadingKind::ALL, ReadingKind::code);
            if !r.was_sent("at") {
                r.fault(
                    "at",
                    "Send when it was measured: without it the same reading cannot be told from another",
                );
            }
            one_reading(r, batch, kind, "value", "instrument")
        });
        if readings.is_empty() {
            r.fault("readings", "Send at least one reading");
        }
        let source = if source.is_empty() { "sensor".to_owned() } else { source };
        Measured::Many(Sent { batch, source, readings })
    })
}

/// What a page takes at once: gravity with the temperature of its sample, and what else was measured.
pub fn readings(draft: &Draft, doer: &Doer, batch: BatchId) -> Result<Vec<NewReading>, Refusal> {
    draft.read(doer, |r| {
        let mut found = Vec::new();
        for kind in ReadingKind::ALL {
            if !r.is_empty(kind.code()) {
                let instrument = InstrumentKind::ALL.into_iter().find(|one| one.reads() == kind);
                let instrument = instrument.map_or("instrument", InstrumentKind::code);
                let reading = one_reading(r, batch, kind, kind.code(), instrument);
                let minds = matches!(kind, ReadingKind::Gravity | ReadingKind::Brix);
                found.push(NewReading { sample_c: reading.sample_c.filter(|_| minds), ..reading });
            }
        }
        if found.is_empty() {
            r.fault("gravity", "Write at least one value");
        }
        found
    })
}

/// A reading of this kind that was wrong, and what it should have been.
pub fn correction(
    draft: &Draft,
    doer: &Doer,
    reading: ReadingId,
    kind: ReadingKind,
) -> Result<Correction, Refusal> {
    draft.read(doer, |r| Correction {
        reading,
        reason: r.line("reason", 300, "what was wrong with it"),
        value: r.measured("value", kind),
        at: (!r.is_empty("at")).then(|| r.instant("at")),
        sample_c: r.optional_measured("sample_temperature_c", ReadingKind::Temperature),
        as_read: r.flag("as_read"),
    })
}

/// A reading that was wrong.
pub fn strike(draft: &Draft, doer: &Doer, reading: ReadingId) -> Result<Strike, Refusal> {
    draft.read(doer, |r| Strike { reading, reason: r.line("reason", 300, "why it is struck out") })
}

/// Where the supplies of each size stand that is filled.
pub fn packaging(draft: &Draft) -> Vec<String> {
    let also = (0..draft.count(SIZES).min(MOST_SIZES)).map(|at| format!("{SIZES}.{at}.packaging"));
    std::iter::once("packaging".to_owned()).chain(also).collect()
}

/// The sizes after the first.
pub const SIZES: &str = "also";
/// So many of them are filled in one go at most.
const MOST_SIZES: usize = 12;

/// A filling into bottles: the first size, then others that were filled in the same go. What was spilt or left is
/// taken with the first, which makes no difference to what a bottle costs.
pub fn bottlings(
    draft: &Draft,
    doer: &Doer,
    batch: BatchId,
    units: &Units,
) -> Result<Vec<Bottling>, Refusal> {
    draft.read(doer, |r| {
        let first = Bottling {
            batch,
            day: r.day("day"),
            bottles: 0,
            broken: 0,
            bottle_volume: Milli::ZERO,
            lost_volume: r.quantity_or_zero("lost_volume", BaseUnit::Millilitre),
            packaging: Vec::new(),
            place: r.id("place", "place"),
            tasting_ages_days: r.with("tasting_ages_days", Vec::new(), read_ages),
            ages_by_warmth: r.flag("ages_by_warmth"),
            reasons: cautions::reasons(r),
            remark: r.remark("remark"),
        };
        let first = of_size(r, units, first);
        let also = r.rows_up_to(SIZES, MOST_SIZES, |r| {
            let place = r.optional_id("place", "place").unwrap_or(first.place);
            of_size(r, units, Bottling { place, lost_volume: Milli::ZERO, ..first.clone() })
        });
        std::iter::once(first).chain(also).collect()
    })
}

fn of_size(r: &mut Reader, units: &Units, shared: Bottling) -> Bottling {
    let bottle_volume = r.volume("bottle_volume");
    if bottle_volume > Milli::new(60_000_000) {
        r.fault("bottle_volume", "Write what one bottle holds, such as 75 cl");
    }
    Bottling {
        bottles: r.whole("bottles", 1..=MOST_BOTTLES),
        broken: r.optional_whole("broken", 0..=MOST_BOTTLES).unwrap_or(0),
        bottle_volume,
        packaging: supplies::lines(r, "packaging", units),
        ..shared
    }
}
