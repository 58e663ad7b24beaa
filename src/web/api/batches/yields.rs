//! Where the mass of a batch went, by the API.

use serde::Serialize;
use utoipa::ToSchema;

use crate::domain::members::Onlooker;
use crate::domain::yields::compared::Usual;
use crate::domain::yields::{Part, Recovery};
use crate::units::ids::BatchId;
use crate::web::batches::mass::{self, Others};
use crate::web::extract::Path;
use crate::web::problem::Problem;
use crate::web::respond::Answer;
use crate::web::site::Site;

/// One part of the mass balance.
#[derive(Serialize, ToSchema)]
pub struct PartBody {
    /// What it is.
    pub name: String,
    /// Its mass in grams.
    pub grams: String,
    /// It rests on a volume, a formula, or an assumed density.
    pub about: bool,
}

impl From<&Part> for PartBody {
    fn from(part: &Part) -> Self {
        Self { name: part.name.clone(), grams: format!("{:.1}", part.grams), about: part.about }
    }
}

/// One recovery.
#[derive(Serialize, ToSchema)]
pub struct RecoveryBody {
    /// What from what.
    pub name: String,
    /// In per cent.
    pub percent: String,
    /// The least that was expected, in per cent.
    pub expected_low: Option<String>,
    /// The most that was expected, in per cent.
    pub expected_high: Option<String>,
    /// How it is meant.
    pub basis: String,
    /// What the club’s other batches gave: the median.
    pub others_median: Option<String>,
    /// The least of them.
    pub others_low: Option<String>,
    /// The most of them.
    pub others_high: Option<String>,
    /// How many they are.
    pub others: usize,
}

impl RecoveryBody {
    fn of(recovery: &Recovery, others: &Others) -> Self {
        let usual = others.usual.get(&recovery.name);
        let said = |value: fn(&Usual) -> f64| usual.map(|usual| format!("{:.2}", value(usual)));
        Self {
            others_median: said(|usual| usual.median),
            others_low: said(|usual| usual.low),
            others_high: said(|usual| usual.high),
            others: usual.map_or(0, |usual| usual.of),
            name: recovery.name.clone(),
            percent: format!("{:.2}", recovery.percent),
            expected_low: recovery.expected.map(|range| format!("{:.2}", range.0)),
            expected_high: recovery.expected.map(|range| format!("{:.2}", range.1)),
            basis: recovery.basis.clone(),
        }
    }
}

/// Where the mass of a batch went.
#[derive(Serialize, ToSchema)]
pub struct YieldBody {
    /// What came in.
    pub r#in: Vec<PartBody>,
    /// What went out or is still there.
    pub out: Vec<PartBody>,
    /// In less out, in grams.
    pub unaccounted_grams: String,
    /// What was got out of what was put in.
    pub recoveries: Vec<RecoveryBody>,
}

/// The mass balance and recoveries of a batch.
pub async fn show(who: Onlooker, site: Site, path: Path<BatchId>) -> Result<Answer<YieldBody>, Problem> {
    let doer = who.clone();
    let found = site.db.read(move |conn| mass::find(conn, &doer, path.0)).await?;
    let (_, balance, recoveries, others) = found.ok_or_else(|| Problem::missing("batch"))?;
    Ok(Answer(YieldBody {
        r#in: balance.ins.iter().map(PartBody::from).collect(),
        out: balance.outs.iter().map(PartBody::from).collect(),
        unaccounted_grams: format!("{:.1}", balance.unaccounted_g),
        recoveries: recoveries.iter().map(|one| RecoveryBody::of(one, &others)).collect(),
    }))
}
