//! Entering how much the club may make in a calendar year, from the report of production or by the API.

use super::production::caution;
use crate::actions::reports::set_yearly_limit;
use crate::db::reports as rows;
use crate::domain::members::{Doer, Steward};
use crate::domain::refusal::Refusal;
use crate::units::quantity::{BaseUnit, Milli};
use crate::web::body::Form;
use crate::web::form_page::FormPage;
use crate::web::forms::{Field, FormView};
use crate::web::input::Draft;
use crate::web::problem::Problem;
use crate::web::respond::{self, Reply};
use crate::web::site::{Room, Site};

const HERE: &str = "/reports/production";

/// Reads a limit, from a page or a program; none where it is left empty.
pub fn read_limit(draft: &Draft, doer: &Doer) -> Result<Option<Milli>, Refusal> {
    draft.read(doer, |r| r.optional_volume("limit"))
}

/// The form of the limit.
pub async fn form(steward: Steward, site: Site) -> Reply {
    respond::page(&page(&site, &steward, |view| view).await?)
}

/// Records it.
pub async fn record(steward: Steward, site: Site, sent: Form) -> Reply {
    let done = async {
        let limit = read_limit(&sent.draft, &steward)?;
        set_yearly_limit(&site.db, &steward, sent.key.clone(), limit).await
    };
    match done.await {
        Ok(()) => Ok(site.see_other(HERE)),
        Err(error) => {
            let refusal = Problem::or_refusal(error)?;
            let page = page(&site, &steward, |view| sent.back(view, &refusal)).await?;
            respond::refused(&page, &refusal)
        }
    }
}

async fn page(
    site: &Site,
    steward: &Steward,
    fill: impl FnOnce(FormView) -> FormView,
) -> Result<FormPage, Problem> {
    let (facts, limit) = site.read(steward, |conn, doer| rows::yearly_limit(conn, doer.club)).await?;
    let standing = limit.map(|limit| limit.shown(BaseUnit::Millilitre)).unwrap_or_default();
    let view = site
        .form(&format!("{HERE}/limit"), "The limit of a year", "Keep this limit")
        .intro("How much the club may make in a calendar year, as you read the law where you are.")
        .fields([Field::text("limit", "Limit")
            .hint("With its unit: 400 L, 100 gal. Empty for none.")
            .value(standing)])
        .caution(caution())
        .leave(site.at(HERE));
    let frame = site.frame(steward, Room::Reports, "The limit of a year", facts);
    Ok(FormPage::new(frame, Some((site.at(HERE), "Production of the year".to_owned())), fill(view)))
}
