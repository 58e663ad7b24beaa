//! What is sent about a batch: shapes for the description of the API. They are read by the same readers as the forms
//! of the pages; see `web/batches/read.rs`.

use std::collections::BTreeMap;

use utoipa::ToSchema;

use super::Amount;

/// A batch on paper.
#[derive(ToSchema)]
pub struct NewBatch {
    /// The drink.
    pub name: String,
    /// How much base there is.
    pub base_volume: Option<Amount>,
    /// When it was planned; today if left out.
    pub day: Option<String>,
    /// The recipe by which it is made: its latest revision, scaled to the base volume.
    pub recipe: Option<String>,
}

/// One supply. Either `lot`, or `item`: then the first to expire goes first.
#[derive(ToSchema)]
pub struct SupplyLine {
    /// This lot.
    pub lot: Option<String>,
    /// This item, first to expire first.
    pub item: Option<String>,
    /// How much.
    pub quantity: Amount,
    /// Why a lot past its day is used all the same.
    pub expired_because: Option<String>,
}

/// Supplies drawn into a batch, or the yeast pitched.
#[derive(ToSchema)]
pub struct Draw {
    /// When; today if left out.
    pub day: Option<String>,
    /// What.
    pub lines: Vec<SupplyLine>,
    /// The volume measured afterwards; without it liquids add theirs, and solids with a known density theirs.
    pub volume_after: Option<Amount>,
    /// What you want to add.
    pub remark: Option<String>,
    /// The number of the step of the batch that this does.
    pub step: Option<u32>,
    /// It does the step although steps before it are not done.
    pub out_of_order: Option<bool>,
    /// With a step: why one goes on in spite of a danger, by the code of its rule.
    pub reasons: Option<std::collections::BTreeMap<String, String>>,
}

/// A by-product weighed off.
#[derive(ToSchema)]
pub struct ByProduct {
    /// When; today if left out.
    pub day: Option<String>,
    /// The item it becomes a lot of.
    pub item: String,
    /// How much.
    pub quantity: Amount,
    /// Where it is put.
    pub place: String,
    /// Use by.
    pub best_before: Option<String>,
    /// Net realisable value of one g, mL or piece, where it differs from the item's.
    pub value_per_unit: Option<String>,
    /// The volume of the batch measured afterwards.
    pub volume_after: Option<Amount>,
    /// What you want to add.
    pub remark: Option<String>,
    /// The number of the step of the batch that this does.
    pub step: Option<u32>,
    /// It does the step although steps before it are not done.
    pub out_of_order: Option<bool>,
    /// With a step: why one goes on in spite of a danger, by the code of its rule.
    pub reasons: Option<std::collections::BTreeMap<String, String>>,
}

/// Drink that is lost.
#[derive(ToSchema)]
#[schema(as = Loss)]
pub struct LossBody {
    /// When; today if left out.
    pub day: Option<String>,
    /// How much.
    pub volume: Amount,
    /// A normal loss leaves its cost in the drink; an abnormal one takes it along.
    pub normal: bool,
    /// How it happened.
    pub reason: String,
}

/// Drink racked, or measured anew.
#[derive(ToSchema)]
pub struct Racking {
    /// When; today if left out.
    pub day: Option<String>,
    /// The volume measured afterwards.
    pub volume_after: Option<Amount>,
    /// What you want to add.
    pub remark: Option<String>,
    /// The number of the step of the batch that this does.
    pub step: Option<u32>,
    /// It does the step although steps before it are not done.
    pub out_of_order: Option<bool>,
    /// With a step: why one goes on in spite of a danger, by the code of its rule.
    pub reasons: Option<std::collections::BTreeMap<String, String>>,
}

/// Part of a batch that becomes a batch of its own.
#[derive(ToSchema)]
pub struct Split {
    /// When; today if left out.
    pub day: Option<String>,
    /// How much.
    pub volume: Amount,
    /// The new batch's drink, if it is another.
    pub name: Option<String>,
    /// What you want to add.
    pub remark: Option<String>,
    /// The number of the step of the batch that this does.
    pub step: Option<u32>,
    /// It does the step although steps before it are not done.
    pub out_of_order: Option<bool>,
    /// With a step: why one goes on in spite of a danger, by the code of its rule.
    pub reasons: Option<std::collections::BTreeMap<String, String>>,
}

/// Part of a batch that goes into another.
#[derive(ToSchema)]
pub struct Blend {
    /// When; today if left out.
    pub day: Option<String>,
    /// How much.
    pub volume: Amount,
    /// The other batch.
    pub into: String,
    /// What you want to add.
    pub remark: Option<String>,
    /// The number of the step of the batch that this does.
    pub step: Option<u32>,
    /// It does the step although steps before it are not done.
    pub out_of_order: Option<bool>,
    /// With a step: why one goes on in spite of a danger, by the code of its rule.
    pub reasons: Option<std::collections::BTreeMap<String, String>>,
}

/// A value read off an instrument.
#[derive(ToSchema)]
pub struct NewReading {
    /// When, RFC 3339; now if left out.
    pub at: Option<String>,
    /// gravity, brix, temperature, ph, acidity, free-sulphite or volume.
    pub kind: String,
    /// As read: SG 20/20, °Brix, °C, pH, g/L as tartaric acid, mg/L, L.
    pub value: String,
    /// The temperature of the sample; a gravity is then corrected to 20 °C.
    pub sample_temperature_c: Option<String>,
    /// What you want to add.
    pub remark: Option<String>,
}

/// A filling into bottles of one size.
#[derive(ToSchema)]
pub struct NewBottling {
    /// When; today if left out.
    pub day: Option<String>,
    /// How many bottles.
    pub bottles: u32,
    /// What one holds.
    pub bottle_volume: Amount,
    /// Bottles, closures, labels that were used.
    pub packaging: Option<Vec<SupplyLine>>,
    /// Where they are laid.
    pub place: String,
    /// Ages at which it should be tasted.
    pub tasting_ages_days: Option<Vec<u32>>,
    /// What was spilt or left.
    pub lost_volume: Option<Amount>,
    /// Why it is done in spite of a dangerous caution, by the rule that a refusal names: `unfinished`, `acid`.
    pub reasons: Option<BTreeMap<String, String>>,
    /// What you want to add.
    pub remark: Option<String>,
}

/// The end of a batch.
#[derive(ToSchema)]
pub struct Ending {
    /// When; today if left out.
    pub day: Option<String>,
    /// Why; needed where it is given up.
    pub reason: Option<String>,
}

/// Why something is taken back.
#[derive(ToSchema)]
pub struct Reason {
    /// In your words.
    pub reason: String,
}
