//! A step that was not planned.

use super::{Found, find, read};
use crate::actions::steps as acts;
use crate::db::stock;
use crate::db::{AnyConn, Failure};
use crate::domain::members::{Cellarhand, Doer};
use crate::domain::stock::{Item, ItemKind};
use crate::units::ids::{BatchId, ItemId};
use crate::web::body::Form;
use crate::web::extract::Path;
use crate::web::form_page::FormPage;
use crate::web::forms::{Choice, Field, FormView};
use crate::web::problem::Problem;
use crate::web::recipes::read::named;
use crate::web::recipes::write::step_fields;
use crate::web::respond::{self, Reply};
use crate::web::site::{Room, Site};

type Material = (Found, Vec<(ItemId, Item)>);

fn material(conn: &mut AnyConn, doer: &Doer, id: BatchId) -> Result<Option<Material>, Failure> {
    let Some(found) = find(conn, doer, id)? else { return Ok(None) };
    Ok(Some((found, stock::items(conn, doer.club)?)))
}

/// Shows the form.
pub async fn form(hand: Cellarhand, site: Site, path: Path<BatchId>) -> Reply {
    let id = path.0;
    let (facts, found) = site.read(&hand, move |conn, doer| material(conn, doer, id)).await?;
    let (found, items) = found.ok_or_else(|| Problem::missing("batch"))?;
    let view = view(&site, &found, &items);
    let frame = site.frame(&hand, Room::Batches, "Add a step", facts);
    respond::page(&FormPage::new(frame, Some(up(&site, id)), view))
}

fn up(site: &Site, id: BatchId) -> (String, String) {
    (site.at(&format!("/batches/{id}/steps")), "All steps".to_owned())
}

fn view(site: &Site, found: &Found, items: &[(ItemId, Item)]) -> FormView {
    let mut choices = vec![Choice::new("", "nothing by itself")];
    for kind in [ItemKind::Ingredient, ItemKind::Aid, ItemKind::ByProduct, ItemKind::Packaging] {
        let of = items.iter().filter(|(_, item)| item.kind == kind);
        choices.extend(
            of.map(|(id, item)| Choice::new(id.to_string(), item.name.clone()).under(kind.heading())),
        );
    }
    let mut after = vec![Choice::new("", "before all others")];
    after.extend(
        found.steps.iter().enumerate().map(|(at, step)| {
            Choice::new(step.line.to_string(), format!("after {}. {}", at + 1, step.name()))
        }),
    );
    // Where it usually goes: after the last one that was done, which is before the next.
    let last_done = found.steps.iter().rfind(|step| !step.state().is_ahead());
    let last = last_done.map(|step| step.line.to_string()).unwrap_or_default();
    let mut fields = step_fields(&choices);
    fields.push(Field::select("after", "Where it comes", after).value(last));
    site.form(&format!("/batches/{}/steps", found.batch.id), "Add a step", "Add it")
        .intro("It is added to this batch alone; the recipe stays as it is. Record it as done from its own page.")
        .fields(fields)
        .leave(up(site, found.batch.id).0)
}

/// Adds it.
pub async fn add(hand: Cellarhand, site: Site, path: Path<BatchId>, sent: Form) -> Reply {
    let (id, items_named) = (path.0, named(&sent.draft));
    let read = site.read(&hand, move |conn, doer| {
        let Some((found, items)) = material(conn, doer, id)? else { return Ok(None) };
        Ok(Some((found, items, stock::units(conn, doer.club, &items_named, &[])?)))
    });
    let (facts, found) = read.await?;
    let (found, items, units) = found.ok_or_else(|| Problem::missing("batch"))?;
    let done = async {
        let order = read::adding(&sent.draft, &hand, id, &units)?;
        acts::add(&site.db, &hand, sent.key.clone(), order).await
    };
    match done.await {
        Ok(line) => Ok(site.see_other(&format!("/batches/{id}/steps/{line}"))),
        Err(error) => {
            let refusal = Problem::or_refusal(error)?;
            let view = sent.back(view(&site, &found, &items), &refusal);
            let frame = site.frame(&hand, Room::Batches, "Add a step", facts);
            respond::refused(&FormPage::new(frame, Some(up(&site, id)), view), &refusal)
        }
    }
}
