//! Beginning a count: what it covers.

use super::read;
use crate::actions::counts as actions;
use crate::db::stock::{self, Place};
use crate::domain::members::Cellarhand;
use crate::domain::stock::ItemKind;
use crate::web::body::Form;
use crate::web::extract::Query;
use crate::web::form_page::FormPage;
use crate::web::forms::{Field, FormView, Group};
use crate::web::problem::Problem;
use crate::web::respond::{self, Reply};
use crate::web::site::{Room, Site};

/// What the form may begin with.
#[derive(serde::Deserialize, utoipa::ToSchema)]
pub struct StartQuery {
    /// Items to be counted, by their ids with commas between.
    pub items: Option<String>,
    /// What it is to be called.
    pub title: Option<String>,
}

/// The form that begins a count.
pub async fn form(hand: Cellarhand, site: Site, query: Query<StartQuery>) -> Reply {
    let (items, title) = (query.value.items.unwrap_or_default(), query.value.title.unwrap_or_default());
    respond::page(&page(&site, &hand, &items, &title, |view| view).await?)
}

/// Begins a count.
pub async fn begin(hand: Cellarhand, site: Site, form: Form) -> Reply {
    let done = async {
        let order = read::start(&form.draft, &hand)?;
        actions::start(&site.db, &hand, form.key.clone(), order).await
    };
    match done.await {
        Ok(started) => Ok(site.see_other(&format!("/counts/{}?said=started", started.id))),
        Err(error) => {
            let refusal = Problem::or_refusal(error)?;
            let items = form.draft.typed("items").unwrap_or_default();
            let page = page(&site, &hand, &items, "", |view| form.back(view, &refusal)).await?;
            respond::refused(&page, &refusal)
        }
    }
}

async fn page(
    site: &Site,
    hand: &Cellarhand,
    items: &str,
    title: &str,
    fill: impl FnOnce(FormView) -> FormView,
) -> Result<FormPage, Problem> {
    let (facts, places) = site.read(hand, |conn, doer| stock::places(conn, doer.club)).await?;
    let frame = site.frame(hand, Room::Counts, "Begin a count", facts);
    let view = view(site, items, title, &places).leave(site.at("/counts"));
    Ok(FormPage::new(frame, Some((site.at("/counts"), "All counts".to_owned())), fill(view)))
}

fn view(site: &Site, items: &str, title: &str, places: &[Place]) -> FormView {
    let view = site.form("/counts", "Begin a count", "Begin");
    let named = !items.is_empty();
    let intro = if named {
        "It covers the items that were chosen, wherever they stand."
    } else {
        "It covers what you tick, or the whole cellar. Nobody who counts is shown what the books say."
    };
    let name = Field::text("title", "What to call it").hint("Not needed: it is named after what it covers.");
    let mut fields = vec![name.value(title), Field::hidden("items", items)];
    if named {
        return view.intro(intro).fields(fields);
    }
    let place = |place: &Place| Field::check(format!("places.{}", place.id), place.path.clone());
    let kind = |kind: &ItemKind| Field::check(format!("kinds.{}", kind.code()), kind.heading());
    let rest = fields.split_off(1);
    view.intro(intro)
        .group(Group::new("Where", places.iter().map(place).chain(rest).collect::<Vec<_>>()))
        .group(Group::new("Which kinds", ItemKind::ALL.iter().map(kind).collect::<Vec<_>>()))
        .group(Group::new("Its name", fields))
}
