//! Holding a lot back and releasing it: the two forms, and the list of what is on hold.

use super::body::Form;
use super::extract::Path;
use super::form_page::FormPage;
use super::forms::{Field, FormView};
use super::input::Draft;
use super::problem::Problem;
use super::respond::{self, Reply};
use super::site::{Room, Site};
use crate::actions::holds::{self as acts, HoldBack, Release};
use crate::db::holds as rows;
use crate::db::stock;
use crate::domain::members::{Cellarhand, Doer};
use crate::domain::refusal::Refusal;
use crate::units::ids::LotId;

/// Why a lot is held back.
pub fn read_hold(draft: &Draft, doer: &Doer, lot: LotId) -> Result<HoldBack, Refusal> {
    draft.read(doer, |r| HoldBack {
        lot,
        reason: r.line("reason", 300, "why it is held"),
        all: r.flag("all"),
    })
}

/// Why it is released.
pub fn read_release(draft: &Draft, doer: &Doer, lot: LotId) -> Result<Release, Refusal> {
    draft.read(doer, |r| Release {
        lot,
        reason: r.line("reason", 300, "why it is released"),
        all: r.flag("all"),
    })
}

/// The form that holds a lot back.
pub async fn hold_form(hand: Cellarhand, site: Site, path: Path<LotId>) -> Reply {
    respond::page(&page(&site, &hand, path.0, true, |view| view).await?)
}

/// Holds it back.
pub async fn hold(hand: Cellarhand, site: Site, path: Path<LotId>, form: Form) -> Reply {
    let done = async {
        let order = read_hold(&form.draft, &hand, path.0)?;
        acts::hold(&site.db, &hand, form.key.clone(), order).await
    };
    answer(&hand, &site, path.0, true, &form, done.await).await
}

/// The form that releases a lot.
pub async fn release_form(hand: Cellarhand, site: Site, path: Path<LotId>) -> Reply {
    respond::page(&page(&site, &hand, path.0, false, |view| view).await?)
}

/// Releases it.
pub async fn release(hand: Cellarhand, site: Site, path: Path<LotId>, form: Form) -> Reply {
    let done = async {
        let order = read_release(&form.draft, &hand, path.0)?;
        acts::release(&site.db, &hand, form.key.clone(), order).await
    };
    answer(&hand, &site, path.0, false, &form, done.await).await
}

async fn answer(
    hand: &Cellarhand,
    site: &Site,
    id: LotId,
    hold: bool,
    form: &Form,
    done: Result<u32, crate::actions::Error>,
) -> Reply {
    match done {
        Ok(_) => Ok(site.see_other(&format!("/recall/lots/{id}"))),
        Err(error) => {
            let refusal = Problem::or_refusal(error)?;
            let page = page(site, hand, id, hold, |view| form.back(view, &refusal)).await?;
            respond::refused(&page, &refusal)
        }
    }
}

async fn page(
    site: &Site,
    hand: &Cellarhand,
    id: LotId,
    hold: bool,
    fill: impl FnOnce(FormView) -> FormView,
) -> Result<FormPage, Problem> {
    let read = site.read(hand, move |conn, doer| {
        Ok((stock::lot(conn, doer.club, id)?, rows::of_lots(conn, doer.club, &[id])?))
    });
    let (facts, (lot, current)) = read.await?;
    let here = site.at(&format!("/stores/lots/{id}"));
    let (heading, path, says) = if hold {
        (format!("Hold lot {} back", lot.code), "hold", "Hold it")
    } else {
        (format!("Release lot {}", lot.code), "release", "Release it")
    };
    let now = current.first().map(|hold| format!(" {}.", hold.words())).unwrap_or_default();
    let view = site.form(&format!("/stores/lots/{id}/{path}"), &heading, says).leave(here.clone());
    let view = if hold {
        view.intro(format!(
            "{}. While it is held nobody draws, bottles, takes or pours it; it may be moved and counted.{now}",
            lot.item.name
        ))
        .fields([
            Field::text("reason", "Why it is held")
                .hint("As everybody reads it who meets it: smells of solvent, recalled by the dairy."),
            Field::check("all", "Hold everything that came of it too")
                .hint("By-products and bottles of every batch it went into, by splits and blends as well."),
        ])
    } else {
        view.intro(format!("{}.{now}", lot.item.name)).fields([
            Field::text("reason", "Why it is released")
                .hint("Tested, mistaken, the dairy withdrew its warning."),
            Field::check("all", "Release everything that was held because of it too"),
        ])
    };
    let frame = site.frame(hand, Room::Stores, &heading, facts);
    Ok(FormPage::new(frame, Some((here, format!("Lot {}", lot.code))), fill(view)))
}
