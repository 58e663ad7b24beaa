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
    /// The vessel into which it goes.
    pub vessel: Option<String>,
    /// How warm the liquid is, °C.
    pub temperature_c: Option<String>,
    /// Why it is done in spite of a dangerous caution, by the rule that a refusal names: `closed-vessel`.
    pub reasons: Option<BTreeMap<String, String>>,
    /// What you want to add.
    pub remark: Option<String>,
    /// The number of the step of the batch that this does.
    pub step: Option<u32>,
    /// It does the step although steps before it are not done.
    pub out_of_order: Option<bool>,
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
    /// The vessel into which it goes.
    pub vessel: Option<String>,
    /// How warm the liquid is, °C.
    pub temperature_c: Option<String>,
    /// Why it is done in spite of a dangerous caution, by the rule that a refusal names: `closed-vessel`.
    pub reasons: Option<BTreeMap<String, String>>,
    /// What you want to add.
    pub remark: Option<String>,
    /// The number of the step of the batch that this does.
    pub step: Option<u32>,
    /// It does the step although steps before it are not done.
    pub out_of_order: Option<bool>,
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
    /// The vessel into which it goes.
    pub vessel: Option<String>,
    /// How warm the liquid is, °C.
    pub temperature_c: Option<String>,
    /// Why it is done in spite of a dangerous caution, by the rule that a refusal names: `closed-vessel`.
    pub reasons: Option<BTreeMap<String, String>>,
    /// What you want to add.
    pub remark: Option<String>,
    /// The number of the step of the batch that this does.
    pub step: Option<u32>,
    /// It does the step although steps before it are not done.
    pub out_of_order: Option<bool>,
}

/// A value read off an instrument, or with `readings` what a sensor measured. One value that is unlikely is
/// answered with 409 and a problem of the type `question`, whose errors name the field and ask: sent again with
/// `as_read` it is kept. What a sensor sends is not asked about.
#[derive(ToSchema)]
pub struct NewReading {
    /// When, RFC 3339; now if left out.
    pub at: Option<String>,
    /// gravity, brix, temperature, ph, acidity, free-sulphite or volume.
    pub kind: Option<String>,
    /// As read: SG 20/20, °Brix, °C, pH, g/L as tartaric acid, mg/L, L.
    pub value: Option<String>,
    /// The temperature of the sample; a gravity is then corrected to 20 °C.
    pub sample_temperature_c: Option<String>,
    /// The instrument of the club it was read off: what that is off by is put right.
    pub instrument: Option<String>,
    /// It is meant, however unlikely.
    pub as_read: Option<bool>,
    /// What you want to add.
    pub remark: Option<String>,
    /// Instead of one value: up to 500 that a sensor measured.
    pub readings: Option<Vec<SentReading>>,
    /// What the sensor calls itself; of one source the same kind at the same time counts once.
    pub source: Option<String>,
}

/// A value that a sensor measured.
#[derive(ToSchema)]
pub struct SentReading {
    /// When, RFC 3339.
    pub at: String,
    /// gravity, brix, temperature, ph, acidity, free-sulphite or volume.
    pub kind: String,
    /// As measured.
    pub value: String,
    /// The temperature of the sample; a gravity is then corrected to 20 °C.
    pub sample_temperature_c: Option<String>,
    /// The instrument of the club.
    pub instrument: Option<String>,
    /// Nothing is asked of a sensor; it may be sent all the same.
    pub as_read: Option<bool>,
    /// What you want to add.
    pub remark: Option<String>,
}

/// A reading that was wrong, and what it is instead.
#[derive(ToSchema)]
pub struct NewCorrection {
    /// What it is, in the unit of its kind.
    pub value: String,
    /// When it was read, RFC 3339; as before if left out.
    pub at: Option<String>,
    /// The temperature of the sample.
    pub sample_temperature_c: Option<String>,
    /// What was wrong with it.
    pub reason: String,
    /// It is meant, however unlikely.
    pub as_read: Option<bool>,
}

/// What a logger wrote.
#[derive(ToSchema)]
pub struct NewImport {
    /// The rows as text: separated by commas, semicolons or tabs, with a row of names over them.
    pub rows: String,
    /// What the file is called.
    pub file_name: Option<String>,
    /// year-month-day, day-month-year or month-day-year, where the rows do not tell.
    pub date_order: Option<String>,
    /// sg, points or brix, where its name does not tell.
    pub gravity_in: Option<String>,
    /// c or f, where its name does not tell.
    pub temperature_in: Option<String>,
    /// `good` keeps the rows that can be read; otherwise nothing is kept if one cannot.
    pub keep: Option<String>,
}

/// An instrument.
#[derive(ToSchema)]
pub struct NewInstrument {
    /// What the club calls it.
    pub name: String,
    /// hydrometer, thermometer, ph-meter or refractometer; it is not changed later.
    pub kind: Option<String>,
    /// The temperature printed on a hydrometer: 15, 15.56 or 20.
    pub made_for_c: Option<String>,
    /// What is added to what it shows; 0 if left out.
    pub offset: Option<String>,
    /// When that was found; today if left out.
    pub checked_on: Option<String>,
    /// It is not used any more.
    pub retired: Option<bool>,
}

/// Work or energy that went into a batch: an amount at the club's rate, or a sum.
#[derive(ToSchema)]
pub struct NewEffort {
    /// When; today if left out.
    pub day: Option<String>,
    /// work or energy.
    pub kind: String,
    /// Hours, or kWh.
    pub amount: Option<String>,
    /// What it cost, where that is known.
    pub sum: Option<String>,
    /// For what.
    pub remark: Option<String>,
}

/// How the club counts from now on.
#[derive(ToSchema)]
pub struct NewCounting {
    /// net-value, mass or sales-value.
    pub by_products_by: String,
    /// What a litre of drink would sell for; needed for sales-value.
    pub litre_worth: Option<String>,
    /// An hour of work.
    pub hour_rate: Option<String>,
    /// A kilowatt-hour.
    pub kwh_price: Option<String>,
}

/// A filling into bottles.
#[derive(ToSchema)]
pub struct NewBottling {
    /// When; today if left out.
    pub day: Option<String>,
    /// How many bottles.
    pub bottles: u32,
    /// How many more broke while they were filled or closed: what they held is lost.
    pub broken: Option<u32>,
    /// What one holds.
    pub bottle_volume: Amount,
    /// Bottles, closures, labels that were used.
    pub packaging: Option<Vec<SupplyLine>>,
    /// Where they are laid.
    pub place: String,
    /// Ages at which it should be tasted.
    pub tasting_ages_days: Option<Vec<u32>>,
    /// They are counted by the warmth of the shelf, in days at 15 °C.
    pub ages_by_warmth: Option<bool>,
    /// What was spilt or left besides.
    pub lost_volume: Option<Amount>,
    /// Other sizes that were filled in the same go; all are recorded or none.
    pub also: Option<Vec<OtherSize>>,
    /// Why it is done in spite of a dangerous caution, by the rule that a refusal names: `unfinished`, `acid`.
    pub reasons: Option<BTreeMap<String, String>>,
    /// What you want to add.
    pub remark: Option<String>,
}

/// Bottles of another size, filled in the same go.
#[derive(ToSchema)]
pub struct OtherSize {
    /// How many bottles.
    pub bottles: u32,
    /// How many more broke.
    pub broken: Option<u32>,
    /// What one holds.
    pub bottle_volume: Amount,
    /// What was used for them.
    pub packaging: Option<Vec<SupplyLine>>,
    /// Where they are laid; beside the first if left out.
    pub place: Option<String>,
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
