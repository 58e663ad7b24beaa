//! What is sent about a recipe: shapes for the description of the API, read by the reader of the page.

use utoipa::ToSchema;

use crate::web::api::Amount;

/// One item of a recipe to be kept.
#[derive(ToSchema)]
pub struct RecipeLine {
    /// The item.
    pub item: String,
    /// How much, for the amount of the base.
    pub amount: Amount,
}

/// One step of a recipe to be kept.
#[derive(ToSchema)]
pub struct RecipeStep {
    /// heat-to, hold, curdle, strain, split-lactose, boil-down, sweeten, dissolve, cool, fill, pitch, rack, fine,
    /// stabilise, back-sweeten, blend, split, sample or note.
    pub kind: String,
    /// In words.
    pub what: Option<String>,
    /// What is added, or comes off.
    pub item: Option<String>,
    /// How much, for the amount of the base.
    pub amount: Option<Amount>,
    /// Temperature to reach or keep, °C.
    pub target_c: Option<String>,
    /// How long, in minutes, or such as `2 h 30 min`.
    pub minutes: Option<String>,
    /// What can hurt somebody.
    pub caution: Option<String>,
    /// Where it stands among the steps, if not as in the list.
    pub turn: Option<String>,
}

/// What a recipe says.
#[derive(ToSchema)]
pub struct NewRecipe {
    /// The drink.
    pub drink: String,
    /// The item that it is made from.
    pub base: String,
    /// How much of it all other amounts are for.
    pub base_amount: Amount,
    /// What is added.
    pub supplies: Option<Vec<RecipeLine>>,
    /// What is expected to come off.
    pub by_products: Option<Vec<RecipeLine>>,
    /// What is done, in order.
    pub steps: Option<Vec<RecipeStep>>,
    /// % vol that is wanted.
    pub strength: Option<String>,
    /// Sugar that should be left over, g/L.
    pub sugar_g_l: Option<String>,
    /// Ages at which it should be tasted.
    pub tasting_ages_months: Option<Vec<u32>>,
    /// They are counted by the warmth of the shelf, as months at 15 °C.
    pub ages_by_warmth: Option<bool>,
    /// What should be known of it.
    pub note: Option<String>,
}

/// What the next revision says.
#[derive(ToSchema)]
pub struct NextRevision {
    /// The number of the revision that was changed: saving is refused where another came after it. Left out: the
    /// latest.
    pub from: Option<u32>,
    /// The drink.
    pub drink: String,
    /// The item that it is made from.
    pub base: String,
    /// How much of it all other amounts are for.
    pub base_amount: Amount,
    /// What is added.
    pub supplies: Option<Vec<RecipeLine>>,
    /// What is expected to come off.
    pub by_products: Option<Vec<RecipeLine>>,
    /// What is done, in order.
    pub steps: Option<Vec<RecipeStep>>,
    /// % vol that is wanted.
    pub strength: Option<String>,
    /// Sugar that should be left over, g/L.
    pub sugar_g_l: Option<String>,
    /// Ages at which it should be tasted.
    pub tasting_ages_months: Option<Vec<u32>>,
    /// They are counted by the warmth of the shelf, as months at 15 °C.
    pub ages_by_warmth: Option<bool>,
    /// What changed and why.
    pub note: String,
}

/// A batch to be made by a revision.
#[derive(ToSchema)]
pub struct BatchOfRecipe {
    /// How much of the base.
    pub amount: Amount,
    /// The name of the drink, if other than the recipe's.
    pub name: Option<String>,
    /// When it is planned; today if left out.
    pub day: Option<String>,
}
