//! How the club counts: how far a line may be off, and in which order one walks past the places.

use super::read;
use crate::actions::counts as actions;
use crate::db::counts as rows;
use crate::db::stock::{self, Place};
use crate::domain::counts::Tolerance;
use crate::domain::members::{Cellarhand, Doer};
use crate::units::ids::PlaceId;
use crate::units::number;
use crate::web::body::Form;
use crate::web::form_page::FormPage;
use crate::web::forms::{Field, FormView, Group};
use crate::web::problem::Problem;
use crate::web::respond::{self, Reply};
use crate::web::site::{Room, Site};

/// What the form shows.
struct Known {
    tolerance: Tolerance,
    order: Vec<(PlaceId, u32)>,
    places: Vec<Place>,
}

/// The form.
pub async fn show(hand: Cellarhand, site: Site) -> Reply {
    let (facts, known) = load(&site, &hand).await?;
    respond::page(&page(&site, &hand, facts, &known))
}

async fn load(site: &Site, doer: &Doer) -> Result<(crate::db::reminders::Facts, Known), Problem> {
    site.read(doer, |conn, doer| {
        Ok(Known {
            tolerance: rows::tolerance(conn, doer.club)?,
            order: rows::walking_order(conn, doer.club)?,
            places: stock::places(conn, doer.club)?,
        })
    })
    .await
}

fn page(site: &Site, hand: &Cellarhand, facts: crate::db::reminders::Facts, known: &Known) -> FormPage {
    let frame = site.frame(hand, Room::Counts, "How we count", facts);
    let up = (site.at("/counts"), "All counts".to_owned());
    FormPage::new(frame, Some(up), view(site, known).leave(site.at("/counts")))
}

fn view(site: &Site, known: &Known) -> FormView {
    let walk = |place: &Place| {
        let number = known.order.iter().find(|one| one.0 == place.id).map(|one| one.1.to_string());
        Field::whole(format!("walk-{}", place.id), place.path.clone()).value(number.unwrap_or_default())
    };
    site.form("/counts/ways", "How we count", "Keep it")
        .intro("What is further off than this is counted a second time before it can be posted.")
        .group(Group::new(
            "How far off is too far",
            [
                Field::decimal("tolerance_percent", "What is weighed or measured")
                    .hint("Of what the books say. A kitchen scale and a hand are easily 2 % off (common practice).")
                    .value(number::plain(i64::from(known.tolerance.permille), 1))
                    .after("%"),
                Field::whole("tolerance_pieces", "What is counted")
                    .hint("0: every bottle that is missing is looked for a second time.")
                    .value(known.tolerance.pieces.to_string())
                    .after("pieces"),
            ],
        ))
        .group(Group::new(
            "In which order one walks",
            known.places.iter().map(walk).collect::<Vec<_>>(),
        ))
}

/// Keeps it.
pub async fn change(hand: Cellarhand, site: Site, form: Form) -> Reply {
    let (facts, known) = load(&site, &hand).await?;
    let places: Vec<PlaceId> = known.places.iter().map(|place| place.id).collect();
    let done = async {
        let ways = read::ways(&form.draft, &hand, &places)?;
        actions::set_ways(&site.db, &hand, form.key.clone(), ways).await
    };
    match done.await {
        Ok(_) => Ok(site.see_other("/counts")),
        Err(error) => {
            let refusal = Problem::or_refusal(error)?;
            let mut page = page(&site, &hand, facts, &known);
            page.form = form.back(page.form, &refusal);
            respond::refused(&page, &refusal)
        }
    }
}
