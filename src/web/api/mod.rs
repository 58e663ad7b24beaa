//! The JSON API under `/api/v1`, and the shapes that its features share.
//!
//! A handler takes `Json<NewPlace>` and gives `Result<Created<PlaceBody>, Problem>`; both are types with
//! `#[derive(ToSchema)]`, and from the handler's types the `OpenAPI` description is made ([`describe`]).
//! What is sent is read by the same reader as the page's form.

use serde::Serialize;
use utoipa::ToSchema;
use utoipa::openapi::{ObjectBuilder, RefOr, Schema, Type};

use crate::domain::refusal::Fault;
use crate::units::quantity::{BaseUnit, Milli};

pub mod batches;
pub mod bills;
pub mod bodies;
pub mod bottles;
pub mod buying;
pub mod cellar;
pub mod climate;
pub mod costs;
pub mod counts;
pub mod describe;
pub mod efforts;
pub mod entries;
pub mod holds;
pub mod instruments;
pub mod intake;
pub mod members;
pub mod payments;
pub mod plans;
pub mod recipes;
pub mod reminders;
pub mod reports;
pub mod shares;
pub mod steps;
pub mod stock;
pub mod tastings;
pub mod vessels;
pub mod workbench;

/// The path of the API after the path prefix.
pub const UNDER: &str = "/api/v1";

/// What is asked under this path is worked out and not recorded.
pub const ASKS: &str = "/api/v1/workbench/";

/// A quantity.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, ToSchema)]
pub struct Amount {
    /// A decimal number, such as 12.5.
    #[schema(example = "12.5")]
    pub amount: String,
    /// g, mL or piece in answers; kg, L, lb and what else is in use are read too.
    #[schema(example = "kg")]
    pub unit: String,
}

impl Amount {
    /// In the base unit of its item.
    pub fn of(quantity: Milli, unit: BaseUnit) -> Self {
        Self { amount: quantity.plain(), unit: unit.sign().to_owned() }
    }

    /// A volume, in millilitres.
    pub fn volume(volume: Milli) -> Self {
        Self::of(volume, BaseUnit::Millilitre)
    }
}

/// One part of a list.
#[derive(Debug, Clone, Serialize)]
pub struct Page<T> {
    /// The things.
    pub items: Vec<T>,
    /// What to send as `after` for those that follow; null where these are the last.
    pub next: Option<String>,
}

impl<T: ToSchema> utoipa::PartialSchema for Page<T> {
    fn schema() -> RefOr<Schema> {
        let next = ObjectBuilder::new()
            .schema_type(utoipa::openapi::schema::SchemaType::from_iter([Type::String, Type::Null]))
            .description(Some(
                "What to send as `after` for those that follow; null where these are the last.",
            ));
        ObjectBuilder::new()
            .property("items", describe::reference::<T>().to_array_builder())
            .property("next", next)
            .required("items")
            .required("next")
            .into()
    }
}

impl<T: ToSchema> ToSchema for Page<T> {
    fn name() -> std::borrow::Cow<'static, str> {
        format!("PageOf{}", T::name()).into()
    }

    fn schemas(schemas: &mut Vec<(String, RefOr<Schema>)>) {
        schemas.push((T::name().into_owned(), T::schema()));
        T::schemas(schemas);
    }
}

/// Problem details (RFC 9457).
#[derive(Debug, Clone, Serialize, ToSchema)]
#[schema(as = Problem)]
pub struct ProblemBody {
    /// The address of the kind of problem; it stays as it is.
    #[serde(rename = "type")]
    pub kind: String,
    /// The kind in words.
    pub title: String,
    /// The status of the answer.
    pub status: u16,
    /// What happened here, and what to do.
    pub detail: String,
    /// The fields at fault.
    pub errors: Vec<FaultBody>,
    /// The entries that stand in the way.
    pub entries: Vec<String>,
}

/// A kind of problem.
#[derive(Debug, Clone, Serialize, ToSchema)]
#[schema(as = ProblemKind)]
pub struct KindBody {
    /// Its address, as problems name it.
    #[serde(rename = "type")]
    pub kind: String,
    /// In words.
    pub title: String,
    /// The status of answers of this kind.
    pub status: u16,
}

/// One field at fault.
#[derive(Debug, Clone, Serialize, ToSchema)]
#[schema(as = FieldFault)]
pub struct FaultBody {
    /// Its path, such as `lines.0.quantity`; empty for the whole.
    pub field: String,
    /// What to do.
    pub message: String,
}

impl From<&Fault> for FaultBody {
    fn from(fault: &Fault) -> Self {
        Self { field: fault.field.clone(), message: fault.message.clone() }
    }
}
