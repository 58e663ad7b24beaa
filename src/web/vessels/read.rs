//! From what was typed about a vessel to the commands of `actions`, the same for pages and API.

use crate::actions::vessels::{Decant, Deed, Into, StrikeFilling};
use crate::domain::members::Doer;
use crate::domain::refusal::Refusal;
use crate::domain::vessels::{Closure, Filling, Material, Vessel, code};
use crate::units::days::Day;
use crate::units::ids::{FillingId, VesselId};
use crate::units::measure::ReadingKind;
use crate::units::quantity::Milli;
use crate::units::text;
use crate::web::cautions;
use crate::web::input::{Draft, Reader};

/// A vessel as it is to be kept.
pub fn vessel(draft: &Draft, doer: &Doer) -> Result<Vessel, Refusal> {
    draft.read(doer, |r| {
        let capacity = r.volume("capacity");
        Vessel {
            code: r.with("code", String::new(), |typed| code(&text::line(typed, 8, "a code")?)),
            material: r.choice("material", &Material::ALL, Material::code),
            capacity,
            safe_filling: r
                .optional_volume("safe_filling")
                .unwrap_or_else(|| Vessel::usual_filling(capacity)),
            place: r.id("place", "place"),
            closure: r.choice("closure", &Closure::ALL, Closure::code),
            worn: r.flag("worn"),
            marks: r.remark("marks"),
        }
    })
}

/// Drink that goes into a vessel.
pub fn filling(draft: &Draft, doer: &Doer, vessel: VesselId) -> Result<Filling, Refusal> {
    draft.read(doer, |r| Filling {
        vessel,
        batch: r.id("batch", "batch"),
        day: r.day("day"),
        volume: r.volume("volume"),
        liquid_c: r.optional_measured("temperature_c", ReadingKind::Temperature),
        closure: r.optional_choice("closure", &Closure::ALL, Closure::code),
        reasons: cautions::reasons(r),
    })
}

/// What is in a vessel goes into another.
pub fn decant(draft: &Draft, doer: &Doer, from: VesselId) -> Result<Decant, Refusal> {
    draft.read(doer, |r| Decant {
        from,
        into: r.id("into", "vessel"),
        day: r.day("day"),
        volume: r.optional_volume("volume"),
        liquid_c: r.optional_measured("temperature_c", ReadingKind::Temperature),
        reasons: cautions::reasons(r),
    })
}

/// Nothing is in it any more.
pub fn emptied(draft: &Draft, doer: &Doer) -> Result<(Day, Deed), Refusal> {
    draft.read(doer, |r| (r.day("day"), Deed::Empty(r.line("reason", 300, "where it went"))))
}

/// It was cleaned.
pub fn cleaned(draft: &Draft, doer: &Doer) -> Result<(Day, Deed), Refusal> {
    draft.read(doer, |r| (r.day("day"), Deed::Clean))
}

/// It is not to be used.
pub fn out_of_use(draft: &Draft, doer: &Doer) -> Result<(Day, Deed), Refusal> {
    draft.read(doer, |r| (r.day("day"), Deed::OutOfUse(r.line("reason", 300, "why it is out of use"))))
}

/// It may be used again.
pub fn in_use(draft: &Draft, doer: &Doer) -> Result<(Day, Deed), Refusal> {
    draft.read(doer, |r| (r.day("day"), Deed::InUse))
}

/// A filling that was wrong.
pub fn strike(draft: &Draft, doer: &Doer, filling: FillingId) -> Result<StrikeFilling, Refusal> {
    draft.read(doer, |r| StrikeFilling { filling, reason: r.line("reason", 300, "why it is struck out") })
}

/// The vessel into which a racking, split or blend goes, where one is named. `reading` reads the rest of the form.
pub fn into(r: &mut Reader) -> Option<Into> {
    let vessel = r.optional_id("vessel", "vessel");
    let liquid_c = r.optional_measured("temperature_c", ReadingKind::Temperature);
    let reasons = cautions::reasons(r);
    vessel.map(|vessel| Into { vessel, liquid_c, reasons })
}

/// For how much a vessel is looked for.
pub fn sought(draft: &Draft, doer: &Doer) -> Result<Option<Milli>, Refusal> {
    draft.read(doer, |r| r.optional_volume("volume"))
}
