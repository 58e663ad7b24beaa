//! Counting: one thing at a time, in large letters; finding a line by the code of its label; and what was found that is
//! not on the sheet. Nothing here knows what the books say.

use askama::Template;

use super::{Seen, missing, read};
use crate::actions::counts as actions;
use crate::db::counts as rows;
use crate::db::stock::{self, Place};
use crate::db::{AnyConn, Failure};
use crate::domain::counts::{Count, Line, Progress, Tally};
use crate::domain::members::{Doer, Taster};
use crate::domain::refusal::{Fault, Refusal};
use crate::units::ids::{CountId, LotId};
use crate::units::quantity::BaseUnit;
use crate::web::body::Form;
use crate::web::extract::{Path, Query};
use crate::web::form_page::FormPage;
use crate::web::forms::{Choice, Field, FormView, Group};
use crate::web::frame::Frame;
use crate::web::problem::Problem;
use crate::web::respond::{self, Reply};
use crate::web::site::{Room, Site, fresh_key};
use crate::web::words;

#[derive(Template)]
#[template(path = "counts/line.html")]
struct LinePage {
    frame: Frame,
    href: String,
    key: String,
    problems: Vec<Fault>,
    number: u32,
    name: String,
    drink: bool,
    code: String,
    place: String,
    at: usize,
    of: usize,
    done: usize,
    unit: &'static str,
    example: &'static str,
    weighs: bool,
    /// What was typed, or what oneself counted before.
    counted: String,
    gross: String,
    tare: String,
    opened: bool,
    remark: String,
    before: String,
    again: Option<&'static str>,
    next: Option<String>,
    errors: Errors,
}

#[derive(Default)]
struct Errors {
    counted: Option<String>,
    gross: Option<String>,
    tare: Option<String>,
    remark: Option<String>,
}

fn load(conn: &mut AnyConn, doer: &Doer, id: CountId) -> Result<Seen, Failure> {
    let count = rows::count(conn, doer.club, id)?;
    let lines = rows::lines(conn, doer.club, id, None)?;
    Ok(Seen { count, lines, shows: false })
}

fn line_of(seen: &Seen, number: u32) -> Result<&Line, Problem> {
    seen.lines.iter().find(|line| line.number == number).ok_or_else(|| Problem::missing("line"))
}

/// Shows one line to be counted.
pub async fn show(taster: Taster, site: Site, path: Path<(CountId, u32)>) -> Reply {
    let (id, number) = path.0;
    let (facts, seen) = site.read(&taster, move |conn, doer| load(conn, doer, id)).await.map_err(missing)?;
    let line = line_of(&seen, number)?;
    seen.count.check_counter(&taster, taster.now)?;
    respond::page(&line_page(&site, &taster, facts, &seen, line, None))
}

fn line_page(
    site: &Site,
    doer: &Doer,
    facts: crate::db::reminders::Facts,
    seen: &Seen,
    line: &Line,
    sent: Option<(&Form, &Refusal)>,
) -> LinePage {
    let href = site.at(&format!("/counts/{}", seen.count.id));
    let own = line.own(doer.member);
    let typed = |name: &str| sent.and_then(|(form, _)| form.draft.typed(name));
    let kept = |of: fn(&Tally) -> String| own.map(of).unwrap_or_default();
    let error = |name: &str| {
        let fault = sent?.1.faults.iter().find(|fault| fault.field == name)?;
        Some(fault.message.clone())
    };
    let grams = |milli: crate::units::quantity::Milli| milli.shown(BaseUnit::Gram);
    let (unit, example) = line.asked_in();
    let position = seen.lines.iter().position(|one| one.number == line.number).unwrap_or_default();
    let again = line.progress() == Progress::Again;
    LinePage {
        frame: site.frame(doer, Room::Counts, &format!("{}, {}", line.name(), line.place.1), facts),
        key: sent.and_then(|(form, _)| form.key_text.clone()).unwrap_or_else(fresh_key),
        problems: sent.map(|(_, refusal)| refusal.faults.clone()).unwrap_or_default(),
        number: line.number,
        name: line.name().to_owned(),
        drink: line.lot.as_ref().is_some_and(|lot| lot.bottling.is_some()),
        code: line.code().to_owned(),
        place: line.place.1.clone(),
        at: position + 1,
        of: seen.lines.len(),
        done: seen.how_many(Progress::Counted) + seen.how_many(Progress::Settled),
        unit,
        example,
        weighs: line.weighs(),
        counted: typed("counted").unwrap_or_default(),
        gross: typed("gross").unwrap_or_default(),
        tare: typed("tare")
            .unwrap_or_else(|| own.and_then(|own| Some(grams(own.weighed?.1))).unwrap_or_default()),
        opened: sent.map_or_else(|| own.is_some_and(|own| own.opened), |_| typed("opened").is_some()),
        remark: typed("remark").unwrap_or_else(|| kept(|own| own.remark.clone())),
        before: own.filter(|_| !again).map_or_else(String::new, |own| {
            format!("You counted {} on {}.", own.counted.shown(line.unit), words::when(own.counted_at, doer))
        }),
        again: again.then_some("This is counted a second time. Count it as if for the first time."),
        next: seen
            .next_after(Some(line.number))
            .filter(|next| *next != line.number)
            .map(|next| format!("{href}/lines/{next}")),
        errors: Errors {
            counted: error("counted"),
            gross: error("gross"),
            tare: error("tare"),
            remark: error("remark"),
        },
        href,
    }
}

/// Keeps what was counted, and goes on to the next line.
pub async fn tally(taster: Taster, site: Site, path: Path<(CountId, u32)>, form: Form) -> Reply {
    let (id, number) = path.0;
    let (facts, seen) = site.read(&taster, move |conn, doer| load(conn, doer, id)).await.map_err(missing)?;
    let line = line_of(&seen, number)?;
    let done = async {
        let order = read::tally(&form.draft, &taster, id, line)?;
        actions::tally(&site.db, &taster, form.key.clone(), order).await
    };
    match done.await {
        Ok(_) => Ok(match seen.next_after(Some(number)).filter(|next| *next != number) {
            Some(next) => site.see_other(&format!("/counts/{id}/lines/{next}")),
            None => site.see_other(&format!("/counts/{id}?said=counted")),
        }),
        Err(error) => {
            let refusal = Problem::or_refusal(error)?;
            respond::refused(
                &line_page(&site, &taster, facts, &seen, line, Some((&form, &refusal))),
                &refusal,
            )
        }
    }
}

/// What a label says.
#[derive(serde::Deserialize, utoipa::ToSchema)]
pub struct FindQuery {
    /// The code of a lot or a bottling as it is written, or the address that a phone reads off its label.
    pub code: Option<String>,
}

/// Goes to the line with this code; to the next where a lot stands at several places; to the form for what is not on
/// the sheet where it is on none.
pub async fn find(taster: Taster, site: Site, path: Path<CountId>, query: Query<FindQuery>) -> Reply {
    let id = path.0;
    let code = query.value.code.unwrap_or_default();
    let said = code.clone();
    let read = site
        .read(&taster, move |conn, doer| Ok((load(conn, doer, id)?, rows::lot_by(conn, doer.club, &said)?)));
    let (_, (seen, lot)) = read.await.map_err(missing)?;
    let on_sheet: Vec<&Line> =
        seen.lines.iter().filter(|line| line.lot.as_ref().is_some_and(|of| Some(of.id) == lot)).collect();
    let open = on_sheet.iter().find(|line| matches!(line.progress(), Progress::NotCounted | Progress::Again));
    if let Some(line) = open.or(on_sheet.first()) {
        return Ok(site.see_other(&format!("/counts/{id}/lines/{}", line.number)));
    }
    let code: String = form_urlencoded::byte_serialize(code.as_bytes()).collect();
    Ok(site.see_other(&format!("/counts/{id}/found?code={code}")))
}

/// The form for what is not on the sheet.
pub async fn found_form(taster: Taster, site: Site, path: Path<CountId>, query: Query<FindQuery>) -> Reply {
    let code = query.value.code.unwrap_or_default();
    respond::page(&found_page(&site, &taster, path.0, &code, |view| view).await?)
}

/// Keeps what was found.
pub async fn found(taster: Taster, site: Site, path: Path<CountId>, form: Form) -> Reply {
    let id = path.0;
    let code = form.draft.typed("code").unwrap_or_default();
    let lot = lot_coded(&site, &taster, code.clone()).await?;
    let done = async {
        let order = read::thing(&form.draft, &taster, id, lot)?;
        actions::found_thing(&site.db, &taster, form.key.clone(), order).await
    };
    match done.await {
        Ok(_) => Ok(site.see_other(&format!("/counts/{id}?said=found"))),
        Err(error) => {
            let refusal = Problem::or_refusal(error)?;
            let page = found_page(&site, &taster, id, &code, |view| form.back(view, &refusal)).await?;
            respond::refused(&page, &refusal)
        }
    }
}

/// The lot that a code names, with what it is counted in.
pub(in crate::web) async fn lot_coded(
    site: &Site,
    doer: &Doer,
    code: String,
) -> Result<Option<(LotId, BaseUnit)>, Problem> {
    if code.trim().is_empty() || code.contains('\0') {
        return Ok(None);
    }
    let club = doer.club;
    let read = site.db.read(move |conn| {
        let Some(lot) = rows::lot_by(conn, club, &code)? else { return Ok::<_, Failure>(None) };
        Ok(stock::units(conn, club, &[], &[lot])?.of_lot(lot).map(|unit| (lot, unit)))
    });
    Ok(read.await?)
}

async fn found_page(
    site: &Site,
    doer: &Doer,
    id: CountId,
    code: &str,
    fill: impl FnOnce(FormView) -> FormView,
) -> Result<FormPage, Problem> {
    let read = site.read(doer, move |conn, doer| {
        Ok((rows::count(conn, doer.club, id)?, stock::places(conn, doer.club)?))
    });
    let (facts, (count, places)) = read.await.map_err(missing)?;
    count.check_counter(doer, doer.now)?;
    let href = site.at(&format!("/counts/{id}"));
    let frame = site.frame(doer, Room::Counts, "Something else was found", facts);
    let view = found_view(site, &count, &places, code).leave(href.clone());
    Ok(FormPage::new(frame, Some((href, format!("Count {}", count.code))), fill(view)))
}

fn found_view(site: &Site, count: &Count, places: &[Place], code: &str) -> FormView {
    let choices = std::iter::once(Choice::new("", "Choose a place"))
        .chain(places.iter().map(|place| Choice::new(place.id.to_string(), place.path.clone())))
        .collect();
    site.form(
        &format!("/counts/{}/found", count.id),
        "Something that is not on the sheet",
        "Keep what was found",
    )
    .intro(
        "With a label, its code is enough. Without one, say what it is: somebody else finds out what to do.",
    )
    .group(Group::new(
        "",
        [
            Field::text("code", "The code of its label")
                .hint("L-12, 36-1; empty if it has none.")
                .value(code),
            Field::text("what", "Or what it is").hint("Such as: honey in a white bucket, no label."),
            Field::select("place", "Where it stands", choices),
            Field::text("counted", "How much").hint("3 × 12 + 5, 2.5 kg, 4 L."),
            Field::text("gross", "Or weighed with its vessel")
                .hint("Such as 12.4 kg; then also the empty vessel."),
            Field::text("tare", "The empty vessel").hint("Such as 900 g."),
            Field::check("opened", "A package of it is open"),
            Field::text("remark", "Remark").hint("Not needed."),
        ],
    ))
}
