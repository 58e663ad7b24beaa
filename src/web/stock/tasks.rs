//! What is done to one lot: carried to another place, or counted and put right.

use super::{Paths, exact, place_choices, read};
use crate::actions::stock as actions;
use crate::db::stock::{self as rows, Lot, Place, Shelved};
use crate::db::{AnyConn, Failure, counts};
use crate::domain::counts::covered::Covered;
use crate::domain::members::{Cellarhand, Doer};
use crate::domain::stock::Shelf;
use crate::units::days;
use crate::units::ids::LotId;
use crate::web::body::Form;
use crate::web::extract::Path;
use crate::web::form_page::FormPage;
use crate::web::forms::{Choice, Field, FormView};
use crate::web::problem::{Kind, Problem};
use crate::web::respond::{self, Reply};
use crate::web::site::{Room, Site};
use crate::web::words;

/// A lot, where it stands, and where it may go.
struct Found {
    lot: Lot,
    shelves: Vec<Shelf>,
    places: Vec<Place>,
    /// What is covered for whoever counts it.
    covered: Covered,
}

fn find(conn: &mut AnyConn, doer: &Doer, id: LotId) -> Result<Found, Failure> {
    Ok(Found {
        lot: rows::lot(conn, doer.club, id)?,
        shelves: rows::shelves(conn, doer.club, Shelved::Lot(id))?,
        places: rows::places(conn, doer.club)?,
        covered: counts::covered(conn, doer)?,
    })
}

/// The form that moves a lot.
pub async fn move_form(hand: Cellarhand, site: Site, path: Path<LotId>) -> Reply {
    respond::page(&page(&site, &hand, path.0, Task::Move, |view| view).await?)
}

/// A lot that was moved.
pub async fn record_move(hand: Cellarhand, site: Site, path: Path<LotId>, form: Form) -> Reply {
    let (id, club) = (path.0, hand.club);
    let done = async {
        let lot = site.db.read(move |conn| rows::lot(conn, club, id)).await?;
        let order = read::movement(&form.draft, &hand, id, lot.item.unit)?;
        actions::move_stock(&site.db, &hand, form.key.clone(), order).await
    };
    answer(&hand, &site, id, Task::Move, &form, done.await).await
}

/// The form that puts a count right.
pub async fn count_form(hand: Cellarhand, site: Site, path: Path<LotId>) -> Reply {
    respond::page(&page(&site, &hand, path.0, Task::Count, |view| view).await?)
}

/// A lot that was counted.
pub async fn record_count(hand: Cellarhand, site: Site, path: Path<LotId>, form: Form) -> Reply {
    let (id, club) = (path.0, hand.club);
    let done = async {
        let lot = site.db.read(move |conn| rows::lot(conn, club, id)).await?;
        let count = read::count(&form.draft, &hand, id, lot.item.unit)?;
        actions::record_count(&site.db, &hand, form.key.clone(), count).await
    };
    answer(&hand, &site, id, Task::Count, &form, done.await).await
}

#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Task {
    Move,
    Count,
}

async fn answer<T>(
    hand: &Cellarhand,
    site: &Site,
    id: LotId,
    task: Task,
    form: &Form,
    done: Result<T, crate::actions::Error>,
) -> Reply {
    match done {
        Ok(_) => Ok(site.see_other(&format!("/stores/lots/{id}"))),
        Err(error) => {
            let refusal = Problem::or_refusal(error)?;
            let page = page(site, hand, id, task, |view| form.back(view, &refusal)).await?;
            respond::refused(&page, &refusal)
        }
    }
}

async fn page(
    site: &Site,
    hand: &Cellarhand,
    id: LotId,
    task: Task,
    fill: impl FnOnce(FormView) -> FormView,
) -> Result<FormPage, Problem> {
    let (facts, found) = site.read(hand, move |conn, doer| find(conn, doer, id)).await?;
    let (view, title) = match task {
        Task::Move => (moving(site, hand, &found)?, "Move a lot"),
        Task::Count => (counting(site, hand, &found), "Put the count right"),
    };
    let here = site.at(&format!("/stores/lots/{id}"));
    let frame = site.frame(hand, Room::Stores, title, facts);
    let view = view.leave(here.clone());
    Ok(FormPage::new(frame, Some((here, format!("Lot {}", found.lot.code))), fill(view)))
}

fn moving(site: &Site, doer: &Doer, found: &Found) -> Result<FormView, Problem> {
    let lot = &found.lot;
    let Some(first) = found.shelves.first() else {
        let words = format!("Nothing is left of lot {}, so there is nothing to move.", lot.code);
        return Err(Problem::new(Kind::Conflict, words));
    };
    let only = found.shelves.len() == 1;
    let seen = only && !found.covered.hides(lot.id, first.place);
    let all = if seen { exact(first.holding.quantity, lot.item.unit) } else { String::new() };
    let from = if only { first.place.to_string() } else { String::new() };
    let paths = Paths::of(&found.places);
    let elsewhere = found.places.iter().filter(|place| !only || place.id != first.place);
    let view = site
        .form(&format!("/stores/lots/{}/move", lot.id), &format!("Move {}", lot.item.name), "Record the move")
        .intro(format!("Lot {}.", lot.code))
        .fields([
            Field::text("quantity", "How much")
                .hint("With its unit, as it stands: all of it, or a part.")
                .value(all),
            Field::select("from", "From", standing_choices(found, only)).value(from),
            Field::select("to", "To", place_choices(&paths, elsewhere, "Choose a place")),
            Field::day("day", "Day").value(days::long(doer.today())),
        ]);
    Ok(view)
}

fn counting(site: &Site, doer: &Doer, found: &Found) -> FormView {
    let lot = &found.lot;
    let only = found.shelves.len() == 1;
    let at = if only { found.shelves[0].place.to_string() } else { String::new() };
    let others =
        found.places.iter().filter(|place| !found.shelves.iter().any(|shelf| shelf.place == place.id));
    let others =
        others.map(|place| Choice::new(place.id.to_string(), place.path.clone()).under("Found elsewhere"));
    let mut places = standing_choices(found, only);
    places.extend(others);
    site.form(
        &format!("/stores/lots/{}/count", lot.id),
        &format!("Count {}", lot.item.name),
        "Put the count right",
    )
    .intro(format!(
        "Lot {}. The difference goes into the books with its cost. If it only stands elsewhere, \
             move it instead.",
        lot.code
    ))
    .fields([
        Field::select("place", "Where", places).value(at),
        Field::text("counted", "What is really there").hint("With its unit; 0 if there is none."),
        Field::text("reason", "Why it differs")
            .hint("As far as it is known: spilt, dried out, weighed wrong, eaten at the club table."),
        Field::day("day", "Day").value(days::long(doer.today())),
    ])
}

/// Where it stands, with how much.
fn standing_choices(found: &Found, only: bool) -> Vec<Choice> {
    let paths = Paths::of(&found.places);
    let path = |shelf: &Shelf| {
        let place = found.places.iter().find(|place| place.id == shelf.place);
        place.map_or("", |place| paths.short(&place.path))
    };
    let each = found.shelves.iter().map(|shelf| {
        let there = shelf.holding.quantity.shown(found.lot.item.unit);
        let there =
            if found.covered.hides(shelf.lot, shelf.place) { words::COVERED.to_owned() } else { there };
        Choice::new(shelf.place.to_string(), format!("{}: {there}", path(shelf)))
    });
    let first = (!only).then(|| Choice::new("", "Choose where it stands"));
    first.into_iter().chain(each).collect()
}
