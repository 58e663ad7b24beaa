//! The files of recipes in an archive.

use super::{MEASURED, QUANTITY, UNIT, WHOLE};
use crate::db::archive::files::{File, Scope, has, may};
use crate::domain::archive::Kind::{Flag, Id, Instant, Of, Text, Word};
use crate::domain::plans::StepKind;

/// Recipes.
pub const RECIPES: File = File {
    name: "recipes.csv",
    table: "recipes",
    says: "Recipes; what they say is in their revisions.",
    scope: Scope::Club,
    keys: &["id"],
    columns: &[has("id", Id), may("aside_at", Instant), may("aside_by", Of("members.csv"))],
    derived: &[],
};

/// Their revisions.
pub const REVISIONS: File = File {
    name: "recipe_revisions.csv",
    table: "recipe_revisions",
    says: "Revisions of recipes, which are never changed.",
    scope: Scope::Club,
    keys: &["id"],
    columns: &[
        has("id", Id),
        has("recipe_id", Of("recipes.csv")),
        has("number", WHOLE),
        has("drink", Text),
        has("base_item_id", Of("items.csv")),
        has("base_amount", QUANTITY).says("all other amounts are for so much of the base"),
        may("strength", MEASURED).kept_as("strength_micro").says("% vol that is wanted"),
        may("sugar_g_l", MEASURED).kept_as("sugar_micro_g_l").says("sugar that should be left"),
        has("tasting_ages_months", Text).says("with commas between"),
        has("ages_by_warmth", Flag).says("they are counted in days at 15 °C"),
        has("note", Text),
        has("made_by", Of("members.csv")),
        has("made_at", Instant),
    ],
    derived: &[],
};

/// What a revision takes.
pub const SUPPLIES: File = File {
    name: "recipe_supplies.csv",
    table: "recipe_supplies",
    says: "Supplies of a revision.",
    scope: Scope::Club,
    keys: &["revision_id", "line"],
    columns: &[
        has("revision_id", Of("recipe_revisions.csv")),
        has("line", WHOLE),
        has("item_id", Of("items.csv")),
        has("amount", QUANTITY),
    ],
    derived: &[],
};

/// What comes off by it.
pub const BY_PRODUCTS: File = File {
    name: "recipe_by_products.csv",
    table: "recipe_by_products",
    says: "What is expected to come off by a revision.",
    scope: Scope::Club,
    keys: &["revision_id", "line"],
    columns: &[
        has("revision_id", Of("recipe_revisions.csv")),
        has("line", WHOLE),
        has("item_id", Of("items.csv")),
        has("amount", QUANTITY),
    ],
    derived: &[],
};

/// The steps.
pub const STEPS: File = File {
    name: "recipe_steps.csv",
    table: "recipe_steps",
    says: "Steps of a revision.",
    scope: Scope::Club,
    keys: &["revision_id", "line"],
    columns: &[
        has("revision_id", Of("recipe_revisions.csv")),
        has("line", WHOLE),
        has("kind", Word(|word| StepKind::from_code(word).is_some())),
        has("what", Text),
        may("amount", QUANTITY),
        may("unit", UNIT),
        may("item_id", Of("items.csv")),
        may("target_c", MEASURED).kept_as("target_micro_c"),
        may("minutes", WHOLE),
        has("caution", Text),
    ],
    derived: &[],
};
