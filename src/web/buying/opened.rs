//! Saying that a lot is open, or is not after all.

use crate::actions::buying as acts;
use crate::db::stock::{self, Lot};
use crate::domain::buying::Opening;
use crate::domain::members::{Cellarhand, Doer};
use crate::domain::refusal::Refusal;
use crate::units::days;
use crate::units::ids::LotId;
use crate::web::body::Form;
use crate::web::extract::Path;
use crate::web::form_page::FormPage;
use crate::web::forms::{Field, FormView};
use crate::web::input::Draft;
use crate::web::problem::Problem;
use crate::web::respond::{self, Reply};
use crate::web::site::{Room, Site};
use crate::web::words;

/// When a lot was opened, as it was sent.
pub fn read_opening(draft: &Draft, doer: &Doer, lot: LotId) -> Result<Opening, Refusal> {
    draft.read(doer, |r| {
        let day = r.day("day");
        Opening { lot, on: (!r.flag("closed")).then_some(day) }
    })
}

/// The form.
pub async fn form(hand: Cellarhand, site: Site, path: Path<LotId>) -> Reply {
    respond::page(&page(&site, &hand, path.0, |view| view).await?)
}

/// Keeps what was said.
pub async fn record(hand: Cellarhand, site: Site, path: Path<LotId>, form: Form) -> Reply {
    let done = async {
        let opening = read_opening(&form.draft, &hand, path.0)?;
        acts::open_lot(&site.db, &hand, form.key.clone(), opening).await
    };
    match done.await {
        Ok(id) => Ok(site.see_other(&format!("/stores/lots/{id}"))),
        Err(error) => {
            let refusal = Problem::or_refusal(error)?;
            let page = page(&site, &hand, path.0, |view| form.back(view, &refusal)).await?;
            respond::refused(&page, &refusal)
        }
    }
}

/// What opening it does: how long it keeps then, and from where that is known.
fn says(lot: &Lot) -> String {
    let keeps = match lot.keeps_open {
        Some(days) => format!(
            "It keeps for {} once it is open; the earlier of that and its best-before day counts from then on.",
            words::count(i64::from(days), "day", "days")
        ),
        None => "How long it keeps once it is open was not said: it can be, at its item, and counts then."
            .to_owned(),
    };
    format!("{}. {keeps} Of several packages, the lot counts as open with the first of them.", lot.item.name)
}

async fn page(
    site: &Site,
    hand: &Cellarhand,
    id: LotId,
    fill: impl FnOnce(FormView) -> FormView,
) -> Result<FormPage, Problem> {
    let (facts, lot) = site.read(hand, move |conn, doer| stock::lot(conn, doer.club, id)).await?;
    let here = site.at(&format!("/stores/lots/{id}"));
    let title = format!("Lot {} is open", lot.code);
    let day = lot.opened_on.unwrap_or(hand.today());
    let mut fields = vec![Field::day("day", "Opened on").value(days::long(day))];
    if lot.opened_on.is_some() {
        fields.push(Field::check("closed", "It is not open after all"));
    }
    let view = site
        .form(&format!("/stores/lots/{id}/opened"), &title, "Record it")
        .intro(says(&lot))
        .leave(here.clone())
        .fields(fields);
    let frame = site.frame(hand, Room::Stores, &title, facts);
    Ok(FormPage::new(frame, Some((here, format!("Lot {}", lot.code))), fill(view)))
}
