//! Batches side by side by the API.

use serde::Serialize;
use utoipa::ToSchema;

use crate::domain::members::Onlooker;
use crate::domain::yields::compared::{Figure, warning};
use crate::web::batches::comparison::{Which, compare, find, read};
use crate::web::extract::Query;
use crate::web::problem::Problem;
use crate::web::respond::Answer;
use crate::web::site::Site;

/// A batch that is compared.
#[derive(Serialize, ToSchema)]
pub struct ComparedBatch {
    /// Its id.
    pub id: String,
    /// Its number.
    pub code: String,
    /// Its drink.
    pub name: String,
    /// The mean of what tasters gave it, 0 to 10.
    pub tasted: Option<String>,
    /// The 95 % interval of that mean.
    pub tasted_low: Option<String>,
    /// Its upper end.
    pub tasted_high: Option<String>,
    /// How many marks.
    pub marks: u32,
}

/// A figure of all of them.
#[derive(Serialize, ToSchema)]
pub struct FigureBody {
    /// Supplies, Course, Yields or Result.
    pub group: String,
    /// What it is.
    pub name: String,
    /// In what.
    pub unit: String,
    /// Of each batch, in their order; null where it is not known.
    pub values: Vec<Option<String>>,
}

impl From<&Figure> for FigureBody {
    fn from(figure: &Figure) -> Self {
        let value = |value: &Option<f64>| value.map(|value| format!("{value:.*}", figure.places + 2));
        Self {
            group: figure.group.to_owned(),
            name: figure.name.clone(),
            unit: figure.unit.to_owned(),
            values: figure.values.iter().map(value).collect(),
        }
    }
}

/// Batches side by side.
#[derive(Serialize, ToSchema)]
pub struct ComparisonBody {
    /// The batches.
    pub batches: Vec<ComparedBatch>,
    /// Their figures.
    pub figures: Vec<FigureBody>,
    /// What differed, the largest first, in sentences.
    pub differences: Vec<String>,
    /// What this can say, and what it cannot.
    pub warning: String,
}

/// Two to eight batches side by side.
pub async fn show(who: Onlooker, site: Site, query: Query<Which>) -> Result<Answer<ComparisonBody>, Problem> {
    let ids = read(&query.draft, &who)?;
    let doer = who.clone();
    let sides = site.db.read(move |conn| find(conn, &doer, &ids)).await?;
    let found = compare(sides.ok_or_else(|| Problem::missing("batch"))?, &who);
    let batch = |side: &crate::web::batches::comparison::Side| {
        let within = side.tasted.and_then(|mean| mean.interval);
        ComparedBatch {
            id: side.batch.id.to_string(),
            code: side.batch.code.clone(),
            name: side.batch.name.clone(),
            tasted: side.tasted.map(|mean| format!("{:.2}", mean.mean)),
            tasted_low: within.map(|within| format!("{:.2}", within.low)),
            tasted_high: within.map(|within| format!("{:.2}", within.high)),
            marks: side.tasted.map_or(0, |mean| mean.of),
        }
    };
    Ok(Answer(ComparisonBody {
        batches: found.sides.iter().map(batch).collect(),
        figures: found.figures.iter().map(FigureBody::from).collect(),
        differences: found.differences.iter().map(|one| one.says.clone()).collect(),
        warning: warning(found.sides.len()).to_owned(),
    }))
}
