//! The files of what is kept and where: items, places, how items are bought and kept, and what is open.

use super::super::files::{Derive, File, Scope, has, may};
use super::{COST, MEASURED, QUANTITY, UNIT, WHOLE};
use crate::domain::archive::Kind::{Day, Flag, Id, Instant, Number, Of, Text, Word};
use crate::domain::stock::ItemKind;

pub(super) const ITEMS: File = File {
    name: "items.csv",
    table: "items",
    says: "Kinds of things kept.",
    scope: Scope::Club,
    keys: &["id"],
    columns: &[
        has("id", Id),
        has("name", Text),
        has("kind", Word(|word| ItemKind::from_code(word).is_some())),
        has("unit", UNIT).says("in what all quantities of the item are"),
        may("density_g_per_ml", MEASURED).kept_as("density_micro"),
        has("allergens", Text).says("with commas between"),
        may("value_per_unit", COST).says("net value of a by-product"),
        may("low_at", QUANTITY).says("low below this quantity"),
        may("sugar_mg_per_kg", WHOLE),
        may("lactose_mg_per_kg", WHOLE),
        may("fat_mg_per_kg", WHOLE),
        may("casein_mg_per_kg", WHOLE),
        has("splits_lactose", Flag),
        may("made_for_bar", Number(3)).kept_as("made_for_mbar").says("what a bottle is made for"),
    ],
    derived: &[("folded", Derive::Folded("name"))],
};

pub(super) const PLACES: File = File {
    name: "places.csv",
    table: "places",
    says: "Where stock stands.",
    scope: Scope::Club,
    // A path is longer than that of the place around it, which so comes first.
    keys: &["LENGTH(path)", "id"],
    columns: &[
        has("id", Id),
        may("within", Of("places.csv")),
        has("name", Text),
        has("path", Text).says("all names from the outside in"),
        may("capacity", WHOLE).says("how many bottles it takes"),
    ],
    derived: &[("folded", Derive::Folded("path"))],
};

pub(super) const UPKEEP: File = File {
    name: "upkeep.csv",
    table: "upkeep",
    says: "How items are bought and kept.",
    scope: Scope::Club,
    keys: &["item_id"],
    columns: &[
        has("item_id", Of("items.csv")),
        may("lead_days", WHOLE).says("from ordering to having it"),
        may("cover_days", WHOLE).says("how long the safety stock lasts"),
        may("keeps_open_days", WHOLE).says("how long it keeps once it is open"),
        may("weakens_percent", Number(1)).kept_as("weakens_permille").says("lost of its strength in a year"),
    ],
    derived: &[],
};

pub(super) const OPENINGS: File = File {
    name: "openings.csv",
    table: "openings",
    says: "When lots were opened.",
    scope: Scope::Club,
    keys: &["lot_id"],
    columns: &[
        has("lot_id", Of("lots.csv")),
        has("opened_on", Day),
        has("recorded_by", Of("members.csv")),
        has("recorded_at", Instant),
    ],
    derived: &[],
};

pub(super) const SUBSTITUTES: File = File {
    name: "substitutes.csv",
    table: "substitutes",
    says: "What can be used in the place of an item.",
    scope: Scope::Club,
    keys: &["item_id", "other_id"],
    columns: &[
        has("item_id", Of("items.csv")),
        has("other_id", Of("items.csv")),
        has("line", WHOLE),
        has("factor", MEASURED).kept_as("factor_micro").says("how much of it for one unit"),
    ],
    derived: &[],
};
