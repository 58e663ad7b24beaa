//! How right the books are, by the API.

use serde::Serialize;
use utoipa::ToSchema;

use crate::db::counts::accuracy::Group;
use crate::domain::members::{Doer, Onlooker};
use crate::web::api::Amount;
use crate::web::counts::accuracy::find;
use crate::web::problem::Problem;
use crate::web::respond::Answer;
use crate::web::site::Site;

/// How right the books were in one group of lines.
#[derive(Serialize, ToSchema)]
pub struct AccuracyGroup {
    /// A count, a place or a kind.
    pub name: String,
    /// Lines that were counted and settled in the last two years.
    pub lines: i64,
    /// Those in which the books were right, or within what the club lets pass.
    pub right: i64,
    /// What all differences were worth, above and below taken together.
    pub worth: String,
    /// What they were worth added up.
    pub net: String,
}

/// Differences of one reason.
#[derive(Serialize, ToSchema)]
pub struct AccuracyReason {
    /// not-written, written-wrong, broken, dried, measured, elsewhere, not-known.
    pub reason: String,
    /// In how many lines.
    pub lines: i64,
    /// What they were worth added up.
    pub net: String,
}

/// An item that goes off to the same side count by count.
#[derive(Serialize, ToSchema)]
pub struct DriftingItem {
    /// Which.
    pub item: String,
    /// Its name.
    pub name: String,
    /// By how much in all.
    pub off: Amount,
    /// In how many counts in a row.
    pub counts: usize,
}

/// When an item is to be counted.
#[derive(Serialize, ToSchema)]
pub struct CountTurn {
    /// Which.
    pub item: String,
    /// Its name.
    pub name: String,
    /// A, B or C, by what is used of it in a year.
    pub class: String,
    /// What was used of it in a year.
    pub used: String,
    /// When it was counted last.
    pub counted_on: Option<String>,
    /// By when it is to be counted.
    pub due_on: String,
}

/// How right the books are.
#[derive(Serialize, ToSchema)]
pub struct Accuracy {
    /// Count by count, the earliest first.
    pub counts: Vec<AccuracyGroup>,
    /// Place by place.
    pub places: Vec<AccuracyGroup>,
    /// Kind by kind.
    pub kinds: Vec<AccuracyGroup>,
    /// Why they were not.
    pub reasons: Vec<AccuracyReason>,
    /// What goes off to the same side again and again.
    pub drifting: Vec<DriftingItem>,
    /// When each item in stock is to be counted.
    pub turns: Vec<CountTurn>,
}

/// How right the books are.
pub async fn show(who: Onlooker, site: Site) -> Result<Answer<Accuracy>, Problem> {
    let doer = Doer::clone(&who);
    let found = site.db.read(move |conn| find(conn, &doer)).await?;
    let groups = |groups: &[Group]| {
        let group = |group: &Group| AccuracyGroup {
            name: group.name.clone(),
            lines: group.lines,
            right: group.agreed,
            worth: group.worth.plain(),
            net: group.net.plain(),
        };
        groups.iter().map(group).collect()
    };
    Ok(Answer(Accuracy {
        counts: groups(&found.counts),
        places: groups(&found.places),
        kinds: groups(&found.kinds),
        reasons: found
            .reasons
            .iter()
            .map(|of| AccuracyReason {
                reason: of.reason.code().to_owned(),
                lines: of.lines,
                net: of.net.plain(),
            })
            .collect(),
        drifting: found
            .drifting
            .iter()
            .map(|item| DriftingItem {
                item: item.item.to_string(),
                name: item.name.clone(),
                off: Amount::of(item.off, item.unit),
                counts: item.counts,
            })
            .collect(),
        turns: found
            .turns
            .iter()
            .map(|turn| CountTurn {
                item: turn.item.to_string(),
                name: turn.name.clone(),
                class: turn.class.letter().to_owned(),
                used: turn.used.plain(),
                counted_on: turn.counted_on.map(|day| day.to_string()),
                due_on: turn.due_on.to_string(),
            })
            .collect(),
    }))
}
