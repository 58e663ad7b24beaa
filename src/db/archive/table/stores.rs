//! The files of what is kept and where: items, places, and how items are bought.

use super::super::files::{Derive, File, Scope, has, may};
use super::{COST, MEASURED, QUANTITY, UNIT, WHOLE};
use crate::domain::archive::Kind::{Flag, Id, Number, Of, Text, Word};
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
    says: "How items are bought.",
    scope: Scope::Club,
    keys: &["item_id"],
    columns: &[
        has("item_id", Of("items.csv")),
        may("lead_days", WHOLE).says("from ordering to having it"),
        may("cover_days", WHOLE).says("how long the safety stock lasts"),
    ],
    derived: &[],
};
