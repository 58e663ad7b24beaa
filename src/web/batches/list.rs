//! The list of batches, and the form that puts a new one on paper.

use std::collections::HashMap;

use askama::Template;

use super::course::Course;
use super::read;
use crate::actions::batches as acts;
use crate::db::batches::{self as rows, Batch};
use crate::db::recipes;
use crate::db::vessels;
use crate::domain::batches::Stage;
use crate::domain::books::Holding;
use crate::domain::members::{Cellarhand, Doer, Onlooker, Role};
use crate::units::days;
use crate::units::ids::{BatchId, RecipeId};
use crate::units::quantity::BaseUnit;
use crate::web::body::Form;
use crate::web::extract::{Paging, Query};
use crate::web::form_page::FormPage;
use crate::web::forms::{Field, FormView};
use crate::web::frame::Frame;
use crate::web::problem::Problem;
use crate::web::respond::{self, Reply};
use crate::web::site::{Room, Site};

/// Batches on one page of the list.
const LIST: i64 = 40;

/// The list of batches.
#[derive(Template)]
#[template(path = "batches/list.html")]
struct ListPage {
    frame: Frame,
    lead: String,
    /// The recipe by which all of them are made, and where it is.
    by: Option<(String, String)>,
    may_record: bool,
    views: Vec<(String, String, bool)>,
    rows: Vec<ListRow>,
    more: Option<String>,
}

struct ListRow {
    id: String,
    href: String,
    name: String,
    code: String,
    stage: &'static str,
    when: String,
    holds: String,
    /// "vessel G3"
    stands: String,
    stem: String,
    /// "Has not moved for 5 days."
    stopped: Option<String>,
}

/// Which batches the list shows.
#[derive(serde::Deserialize, utoipa::ToSchema)]
pub struct Sift {
    /// `open` (not ended: the default), a stage, or `all`.
    pub stage: Option<String>,
    /// Only those made by this recipe.
    pub recipe: Option<String>,
}

fn stages(sift: Option<&str>) -> Vec<Stage> {
    match sift {
        None | Some("open" | "") => {
            Stage::ALL.into_iter().filter(|stage| !stage.ended() && *stage != Stage::LaidDown).collect()
        }
        Some(code) => Stage::from_code(code).into_iter().collect(),
    }
}

/// Shows the list.
pub async fn show(who: Onlooker, site: Site, sift: Query<Sift>, paging: Paging<BatchId>) -> Reply {
    let chosen = sift.draft.typed("stage").filter(|stage| !stage.is_empty());
    let wanted = stages(chosen.as_deref());
    let after = paging.after;
    let recipe: Option<RecipeId> = sift.draft.read(&who, |r| {
        r.text("stage");
        r.optional_id("recipe", "recipe")
    })?;
    let read = site.read(&who, move |conn, doer| {
        let by = match recipe {
            Some(recipe) => recipes::revisions(conn, doer.club, recipe)?,
            None => Vec::new(),
        };
        let batches = match recipe {
            Some(_) => {
                let ids: Vec<_> = by.iter().map(|told| told.id).collect();
                rows::by_revisions(conn, doer.club, &ids, &wanted, after, LIST + 1)?
            }
            None => rows::batches(conn, doer.club, &wanted, after, LIST + 1)?,
        };
        let ids: Vec<BatchId> = batches.iter().map(|batch| batch.id).collect();
        let working = batches.iter().filter(|batch| batch.stage == Stage::Working);
        let working: Vec<BatchId> = working.map(|batch| batch.id).collect();
        Ok((
            batches,
            rows::holdings(conn, &ids)?,
            Course::of_batches(conn, &working)?,
            (by, vessels::standing_in(conn, &ids)?),
        ))
    });
    let (facts, (batches, holdings, courses, (by, vessels))) = read.await?;
    let of = recipe.map(|recipe| format!("&recipe={recipe}")).unwrap_or_default();
    let more = (batches.len() > 40).then(|| {
        let stage = chosen.as_deref().unwrap_or("open");
        site.at(&format!("/batches?stage={stage}{of}&after={}", batches[39].id))
    });
    let views = [
        ("open", "Under way"),
        ("laid-down", "Laid down"),
        ("closed", "Closed"),
        ("abandoned", "Abandoned"),
        ("all", "All"),
    ];
    let current = chosen.unwrap_or_else(|| "open".to_owned());
    let page = ListPage {
        lead: match facts.working {
            0 => "Nothing is working just now.".to_owned(),
            1 => "One batch is working.".to_owned(),
            working => format!("{working} batches are working."),
        },
        by: recipe
            .zip(by.first())
            .map(|(recipe, told)| (told.drink.clone(), site.at(&format!("/recipes/{recipe}")))),
        may_record: who.role >= Role::Cellarhand,
        views: views
            .map(|(code, name)| {
                (site.at(&format!("/batches?stage={code}{of}")), name.to_owned(), code == current)
            })
            .into(),
        rows: batches
            .iter()
            .take(40)
            .map(|batch| {
                let mut row = list_row(&site, &who, batch, &holdings, &courses);
                row.stands = stands(batch.id, &vessels);
                row
            })
            .collect(),
        more,
        frame: site.frame(&who, Room::Batches, "Batches", facts),
    };
    respond::page(&page)
}

fn list_row(
    site: &Site,
    doer: &Doer,
    batch: &Batch,
    holdings: &[(BatchId, Holding)],
    courses: &HashMap<BatchId, Course>,
) -> ListRow {
    let holding = holdings.iter().find(|row| row.0 == batch.id).map(|row| row.1).unwrap_or_default();
    let course = courses.get(&batch.id);
    ListRow {
        id: batch.id.to_string(),
        href: site.at(&format!("/batches/{}", batch.id)),
        name: batch.name.clone(),
        code: batch.code.clone(),
        stage: batch.stage.label(),
        when: match batch.pitched_on {
            Some(day) if batch.stage == Stage::Working => format!("day {}", (doer.today() - day).num_days()),
            _ => days::short(batch.planned_on, doer.today()),
        },
        holds: if holding.quantity.get() > 0 {
            holding.quantity.shown(BaseUnit::Millilitre)
        } else {
            String::new()
        },
        stands: String::new(),
        stem: course.map(|course| course.stem(doer)).unwrap_or_default(),
        stopped: course.and_then(Course::stopped),
    }
}

/// "vessel G3", "vessels G3 and T60".
fn stands(batch: BatchId, vessels: &[(BatchId, vessels::In)]) -> String {
    let codes: Vec<&str> =
        vessels.iter().filter(|row| row.0 == batch).map(|row| row.1.code.as_str()).collect();
    match codes.as_slice() {
        [] => String::new(),
        [one] => format!("vessel {one}"),
        [some @ .., last] => format!("vessels {} and {last}", some.join(", ")),
    }
}

/// Shows the form of a new batch.
pub async fn new_form(hand: Cellarhand, site: Site) -> Reply {
    let (facts, ()) = site.read(&hand, |_, _| Ok(())).await?;
    let frame = site.frame(&hand, Room::Batches, "Start a batch", facts);
    let view = plan_form(&site, &hand);
    respond::page(&FormPage::new(frame, Some((site.at("/batches"), "Batches".to_owned())), view))
}

fn plan_form(site: &Site, doer: &Doer) -> FormView {
    site.form("/batches", "Start a batch", "Put it on paper")
        .intro("Nothing is drawn yet: that comes next.")
        .fields([
            Field::text("name", "What will it be").hint("The name of the drink, such as Heather mead."),
            Field::text("base_volume", "How much base there is")
                .hint("Milk, juice or must, such as 60 L. Leave it empty if you do not know yet."),
            Field::day("day", "Day").value(days::long(doer.today())),
        ])
        .leave(site.at("/batches"))
}

/// Puts a batch on paper.
pub async fn new(hand: Cellarhand, site: Site, form: Form) -> Reply {
    let done = async {
        let plan = read::plan(&form.draft, &hand)?;
        acts::plan(&site.db, &hand, form.key.clone(), plan).await
    };
    match done.await {
        Ok(made) => Ok(site.see_other(&format!("/batches/{}", made.id))),
        Err(error) => {
            let refusal = Problem::or_refusal(error)?;
            let (facts, ()) = site.read(&hand, |_, _| Ok(())).await?;
            let frame = site.frame(&hand, Room::Batches, "Start a batch", facts);
            let view = form.back(plan_form(&site, &hand), &refusal);
            let up = (site.at("/batches"), "Batches".to_owned());
            respond::refused(&FormPage::new(frame, Some(up), view), &refusal)
        }
    }
}
