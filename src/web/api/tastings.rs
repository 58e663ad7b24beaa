//! Tastings by the API: planning, the answer to the allergens, the sheet, the key, what came of it, and a bottling over
//! time. What may be seen is decided in `domain`, as for the pages.

mod bodies;
mod told;

use super::Page;
use super::bodies::Reason;
use crate::actions::tastings as acts;
use crate::db::tastings as rows;
use crate::db::{AnyConn, Failure, bottles};
use crate::domain::members::{Cellarhand, Doer, Onlooker, Taster};
use crate::domain::refusal::Refusal;
use crate::domain::tastings::State;
use crate::domain::tastings::results::results;
use crate::domain::tastings::sheet::{Answer, Part};
use crate::units::ids::{BottlingId, TastingId};
use crate::web::body::Json;
use crate::web::extract::{ByDay, Key, Paging, Path};
use crate::web::input::Draft;
use crate::web::problem::Problem;
use crate::web::respond::{Answer as Said, Created};
use crate::web::site::Site;
use crate::web::tastings::{ageing, attributes, plan, run};
use bodies::{
    AllergenAnswer, AttributeList, BeginningBody, NewAttributes, NewSheet, NewTasting, NewTastingAge,
    Nothing, SheetBody, TastingBody, TastingLine, TastingPlanned,
};
use told::{BottlingTastings, ResultsBody};

/// Tastings, the latest day first.
pub async fn list(
    who: Onlooker,
    site: Site,
    paging: Paging<ByDay<TastingId>>,
) -> Result<Said<Page<TastingLine>>, Problem> {
    let (club, after, limit) = (who.club, paging.after.map(|ByDay(day, id)| (day, id)), paging.rows());
    let found = site.db.read(move |conn| rows::tastings(conn, club, after, limit)).await?;
    Ok(Said(paging.page(found, |one| ByDay(one.tasting.day, one.tasting.id), |one| TastingLine::from(&one))))
}

async fn body(site: &Site, doer: &Doer, id: TastingId) -> Result<TastingBody, Problem> {
    let club = doer.club;
    let table = site.db.read(move |conn| rows::table(conn, club, id)).await?;
    Ok(TastingBody::of(&table, doer))
}

/// One tasting.
pub async fn show(who: Onlooker, site: Site, path: Path<TastingId>) -> Result<Said<TastingBody>, Problem> {
    Ok(Said(body(&site, &who, path.0).await?))
}

/// Plans a tasting.
pub async fn add(
    hand: Cellarhand,
    site: Site,
    key: Key,
    sent: Json<NewTasting>,
) -> Result<Created<TastingPlanned>, Problem> {
    let plan = plan::read(&sent.draft, &hand)?;
    let planned = acts::plan_tasting(&site.db, &hand, key.0, plan).await?;
    Ok(Created(TastingPlanned { id: planned.id.to_string(), code: planned.code }))
}

/// Changes a tasting to come.
pub async fn change(
    hand: Cellarhand,
    site: Site,
    path: Path<TastingId>,
    key: Key,
    sent: Json<NewTasting>,
) -> Result<Said<TastingBody>, Problem> {
    let plan = plan::read(&sent.draft, &hand)?;
    acts::change_tasting(&site.db, &hand, key.0, path.0, plan).await?;
    Ok(Said(body(&site, &hand, path.0).await?))
}

/// What the club marks on lines.
pub async fn show_attributes(who: Onlooker, site: Site) -> Result<Said<AttributeList>, Problem> {
    let club = who.club;
    let list = site.db.read(move |conn| rows::attributes(conn, club)).await?;
    Ok(Said(AttributeList::from(list)))
}

/// Another list of what the club marks.
pub async fn change_attributes(
    hand: Cellarhand,
    site: Site,
    key: Key,
    sent: Json<NewAttributes>,
) -> Result<Said<AttributeList>, Problem> {
    let list = attributes::read(&sent.draft, &hand)?;
    acts::set_attributes(&site.db, &hand, key.0, list.clone()).await?;
    Ok(Said(AttributeList::from(list)))
}

/// Says whether one may taste.
pub async fn answer(
    taster: Taster,
    site: Site,
    path: Path<TastingId>,
    key: Key,
    sent: Json<AllergenAnswer>,
) -> Result<Said<TastingBody>, Problem> {
    let reply = run::read_answer(&sent.draft, &taster, path.0)?;
    acts::answer_allergens(&site.db, &taster, key.0, reply).await?;
    Ok(Said(body(&site, &taster, path.0).await?))
}

/// Begins.
pub async fn begin(
    hand: Cellarhand,
    site: Site,
    path: Path<TastingId>,
    key: Key,
    sent: Json<BeginningBody>,
) -> Result<Said<TastingBody>, Problem> {
    let order = run::read_beginning(&sent.draft, &hand, path.0)?;
    acts::begin_tasting(&site.db, &hand, key.0, order).await?;
    Ok(Said(body(&site, &hand, path.0).await?))
}

/// Opens the key.
pub async fn open(
    hand: Cellarhand,
    site: Site,
    path: Path<TastingId>,
    key: Key,
    sent: Json<Nothing>,
) -> Result<Said<TastingBody>, Problem> {
    sent.draft.read(&hand, |_| ())?;
    acts::open_key(&site.db, &hand, key.0, path.0).await?;
    Ok(Said(body(&site, &hand, path.0).await?))
}

/// Calls it off.
pub async fn call_off(
    hand: Cellarhand,
    site: Site,
    path: Path<TastingId>,
    key: Key,
    sent: Json<Reason>,
) -> Result<Said<TastingBody>, Problem> {
    let order = run::read_calling_off(&sent.draft, &hand, path.0)?;
    acts::call_off(&site.db, &hand, key.0, order).await?;
    Ok(Said(body(&site, &hand, path.0).await?))
}

fn sheet_of(conn: &mut AnyConn, doer: &Doer, id: TastingId) -> Result<Result<SheetBody, Refusal>, Failure> {
    let table = rows::table(conn, doer.club, id)?;
    let seat = match table.own_seat(doer.member) {
        Ok(seat) => seat,
        Err(refusal) => return Ok(Err(refusal)),
    };
    let answers = rows::answers(conn, seat.sheet)?;
    Ok(Ok(SheetBody::of(&table, seat, &answers)))
}

/// One's own sheet.
pub async fn sheet(taster: Taster, site: Site, path: Path<TastingId>) -> Result<Said<SheetBody>, Problem> {
    let (_, found) = site.read(&taster, move |conn, doer| sheet_of(conn, doer, path.0)).await?;
    Ok(Said(found?))
}

/// Saves glasses of one's own sheet.
pub async fn save(
    taster: Taster,
    site: Site,
    path: Path<TastingId>,
    key: Key,
    sent: Json<NewSheet>,
) -> Result<Said<SheetBody>, Problem> {
    let part = read_part(&sent.draft, &taster, path.0)?;
    acts::save_sheet(&site.db, &taster, key.0, part).await?;
    sheet(taster, site, path).await
}

/// What a program says of glasses: of each its code, marks, place and words; or which one is chosen.
fn read_part(draft: &Draft, doer: &Doer, tasting: TastingId) -> Result<Part, Refusal> {
    let code = |code: u32| u16::try_from(code).unwrap_or_default();
    draft.read(doer, |r| {
        let mut answers = r.rows("glasses", |r| Answer {
            code: code(r.whole("code", 100..=999)),
            marks: r.rows("marks", |r| {
                let line = r.whole("line", 0..=12);
                let tenths = r.optional_scaled("mark", 10, &(0..=100), "7.5");
                if tenths.is_none() {
                    r.fault("mark", "Write a mark from 0 to 10, such as 7.5");
                }
                (line, tenths.unwrap_or_default())
            }),
            place: r.optional_whole("place", 1..=12),
            words: r.remark("words"),
        });
        if let Some(chosen) = r.optional_whole("chosen", 100..=999) {
            answers.push(Answer {
                code: code(chosen),
                marks: Vec::new(),
                place: Some(1),
                words: r.remark("words"),
            });
        } else if !r.is_empty("words") {
            r.fault("words", "Words stand with the glass they are about; here they go with what is chosen");
        }
        let hand_in = r.flag("hand_in");
        if answers.is_empty() && !hand_in {
            r.fault("glasses", "Say something of a glass, or hand the sheet in");
        }
        Part { tasting, answers, hand_in }
    })
}

/// What came of it; while the key is closed, who is missing and nothing else.
pub async fn show_results(
    who: Onlooker,
    site: Site,
    path: Path<TastingId>,
) -> Result<Said<ResultsBody>, Problem> {
    let (club, id) = (who.club, path.0);
    let read = site.db.read(move |conn| {
        let table = rows::table(conn, club, id)?;
        let sheets = match table.tasting.state() {
            State::Open => Some(rows::handed_in(conn, id)?),
            _ => None,
        };
        Ok::<_, Failure>((table, sheets))
    });
    let (table, sheets) = read.await?;
    let results = sheets.map(|sheets| results(&table, &sheets));
    Ok(Said(ResultsBody::of(&table, results.as_ref())))
}

fn tastings_of(conn: &mut AnyConn, doer: &Doer, id: BottlingId) -> Result<BottlingTastings, Failure> {
    let bottling = bottles::bottling(conn, doer.club, id)?;
    let set = bottles::tastings(conn, doer.club, &[id])?.remove(&id).unwrap_or_default();
    Ok(BottlingTastings::from(ageing::told(conn, doer, &bottling, &set)?))
}

/// A bottling over time.
pub async fn of_bottling(
    who: Onlooker,
    site: Site,
    path: Path<BottlingId>,
) -> Result<Said<BottlingTastings>, Problem> {
    let (_, found) = site.read(&who, move |conn, doer| tastings_of(conn, doer, path.0)).await?;
    Ok(Said(found))
}

/// Sets an age at which a bottling should be tasted.
pub async fn set_age(
    hand: Cellarhand,
    site: Site,
    path: Path<BottlingId>,
    key: Key,
    sent: Json<NewTastingAge>,
) -> Result<Created<NewTastingAge>, Problem> {
    let order = ageing::read(&sent.draft, &hand, path.0)?;
    let age_days = order.age_days;
    acts::set_tasting_age(&site.db, &hand, key.0, order).await?;
    Ok(Created(NewTastingAge { age_days }))
}
