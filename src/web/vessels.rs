//! Vessels: which are free and how large, what stands in which, and the page of one.

use askama::Template;

pub mod read;
pub mod tasks;

use super::extract::{Paging, Path, Query};
use super::forms::FormView;
use super::frame::Frame;
use super::problem::Problem;
use super::respond::{self, Reply};
use super::site::{Room, Site};
use super::words;
use crate::db::vessels::{self as rows, Filled, Kept};
use crate::domain::members::{Cellarhand, Doer, Onlooker, Role};
use crate::domain::vessels::{Closure, fitting};
use crate::units::days;
use crate::units::ids::FillingId;
use crate::units::ids::VesselId;
use crate::units::quantity::{BaseUnit, Milli};

/// Fillings on the page of a vessel.
const HISTORY: i64 = 20;

#[derive(Template)]
#[template(path = "vessels/list.html")]
struct ListPage {
    frame: Frame,
    lead: String,
    none: bool,
    may_record: bool,
    /// What was looked for, as typed, and what is wrong with it.
    sought: String,
    wrong: Option<String>,
    /// What the first list is called, and its rows; then the others.
    lists: Vec<(String, Vec<ListRow>)>,
}

struct ListRow {
    href: String,
    code: String,
    about: String,
    what: String,
    batch: Option<(String, String)>,
}

/// How large a vessel is looked for.
#[derive(serde::Deserialize, utoipa::ToSchema)]
pub struct Sought {
    /// Only free vessels that can take so much while it works: `20 L`.
    pub volume: Option<String>,
}

/// All vessels: the free ones first.
pub async fn list(who: Onlooker, site: Site, sought: Query<Sought>) -> Reply {
    let (facts, (all, inside)) = site
        .read(&who, |conn, doer| Ok((rows::all(conn, doer.club)?, rows::inside_all(conn, doer.club)?)))
        .await?;
    let typed = sought.draft.typed("volume").unwrap_or_default();
    let (volume, wrong) = match read::sought(&sought.draft, &who) {
        Ok(volume) => (volume, None),
        Err(refusal) => (None, refusal.faults.into_iter().next().map(|fault| fault.message)),
    };
    let of = |kept: &Kept| inside.iter().find(|filled| filled.vessel == kept.id);
    let free = || all.iter().filter(|kept| of(kept).is_none() && kept.out_of_use.is_none());
    let row = |kept: &Kept| list_row(&site, &who, kept, of(kept));
    let mut lists = Vec::new();
    if let Some(volume) = volume {
        let found = fitting(free().map(|kept| (kept, &kept.vessel)), volume);
        let heading = format!("Free, with room for {}", volume.shown(BaseUnit::Millilitre));
        lists.push((heading, found.into_iter().map(row).collect()));
    } else {
        lists.push(("Free".to_owned(), free().map(row).collect()));
        lists.push(("In use".to_owned(), all.iter().filter(|kept| of(kept).is_some()).map(row).collect()));
        let out: Vec<ListRow> = all.iter().filter(|kept| kept.out_of_use.is_some()).map(row).collect();
        if !out.is_empty() {
            lists.push(("Out of use".to_owned(), out));
        }
    }
    let room: Milli = free().map(|kept| kept.vessel.safe_filling).sum();
    let page = ListPage {
        lead: lead(free().count(), room, all.len()),
        none: all.is_empty(),
        may_record: who.role >= Role::Cellarhand,
        sought: typed,
        wrong,
        lists,
        frame: site.frame(&who, Room::Batches, "Vessels", facts),
    };
    respond::page(&page)
}

fn lead(free: usize, room: Milli, all: usize) -> String {
    let count = |number: usize| i64::try_from(number).unwrap_or(i64::MAX);
    match free {
        0 => format!("None of {} is free.", words::count(count(all), "vessel", "vessels")),
        1 => format!("One of {all} is free, with room for {}.", room.shown(BaseUnit::Millilitre)),
        _ => {
            format!("{free} of {all} are free, with room for {} together.", room.shown(BaseUnit::Millilitre))
        }
    }
}

/// The two innermost names of a place.
fn near(path: &str) -> String {
    let names: Vec<&str> = path.rsplit(", ").take(2).collect();
    names.into_iter().rev().collect::<Vec<_>>().join(", ")
}

/// "Glass, 25.0 L, airlock, Cellar, North bench".
fn about(kept: &Kept) -> String {
    let vessel = &kept.vessel;
    let closure = match vessel.closure {
        Closure::Airlock => "airlock",
        Closure::Lid => "tight lid",
        Closure::Loose => "loose lid",
    };
    let worn = if vessel.worn { ", old or scratched" } else { "" };
    let holds = vessel.capacity.shown(BaseUnit::Millilitre);
    format!("{}{worn}, {holds}, {closure} · {}", vessel.material.label(), near(&kept.place))
}

fn list_row(site: &Site, doer: &Doer, kept: &Kept, inside: Option<&Filled>) -> ListRow {
    let since = |filled: &Filled| {
        let volume = filled.inside.volume.shown(BaseUnit::Millilitre);
        format!("{volume} since {}", days::short(filled.inside.since, doer.today()))
    };
    ListRow {
        href: site.at(&format!("/vessels/{}", kept.id)),
        code: kept.vessel.code.clone(),
        about: about(kept),
        what: match (&kept.out_of_use, inside) {
            (Some((since, because)), _) => {
                format!("out of use since {}: {because}", days::short(*since, doer.today()))
            }
            (None, Some(filled)) => since(filled),
            (None, None) => format!("room for {}", kept.vessel.safe_filling.shown(BaseUnit::Millilitre)),
        },
        batch: inside.map(|filled| {
            let name = format!("{}, batch {}", filled.drink, filled.inside.code);
            (site.at(&format!("/batches/{}", filled.inside.batch)), name)
        }),
    }
}

#[derive(Template)]
#[template(path = "vessels/vessel.html")]
struct VesselPage {
    frame: Frame,
    href: String,
    code: String,
    about: String,
    lead: String,
    marks: String,
    batch: Option<(String, String)>,
    first: Option<(String, &'static str)>,
    rest: Vec<(String, &'static str)>,
    facts: Vec<(&'static str, String)>,
    rows: Vec<HistoryRow>,
    more: Option<String>,
    may_record: bool,
    request_keys: Vec<String>,
}

struct HistoryRow {
    id: String,
    when: String,
    what: String,
    batch: String,
    because: String,
    struck: Option<String>,
}

/// One vessel: what is in it, what it is, and what was in it before.
pub async fn show(who: Onlooker, site: Site, path: Path<VesselId>, paging: Paging<FillingId>) -> Reply {
    let (id, before) = (path.0, paging.after);
    let read = site.read(&who, move |conn, doer| {
        let kept = rows::vessel(conn, doer.club, id)?;
        let (inside, last) = (rows::inside(conn, id)?, rows::last_out(conn, id)?);
        Ok((kept, inside, last, rows::history(conn, id, before, HISTORY + 1)?))
    });
    let (facts, (kept, inside, last, mut history)) = read.await?;
    let href = site.at(&format!("/vessels/{id}"));
    let more = (history.len() > 20).then(|| {
        history.truncate(20);
        format!("{href}?after={}#hi", history[19].id)
    });
    let may_record = who.role >= Role::Cellarhand;
    let deeds = if may_record { tasks::next(&kept, inside.as_ref(), last.as_ref()) } else { Vec::new() };
    let link = |deed: &tasks::Deed| {
        let more = *deed == tasks::Deed::Fill && inside.is_some();
        (format!("{href}/{}", deed.code()), if more { "Say how much is in it" } else { deed.says().0 })
    };
    let page = VesselPage {
        code: kept.vessel.code.clone(),
        about: about(&kept),
        lead: vessel_lead(&who, &kept, inside.as_ref(), last.as_ref()),
        marks: kept.vessel.marks.clone(),
        batch: inside.as_ref().map(|filled| {
            let name = format!("{}, batch {}", filled.drink, filled.inside.code);
            (site.at(&format!("/batches/{}", filled.inside.batch)), name)
        }),
        first: deeds.first().map(link),
        rest: deeds.iter().skip(1).map(link).collect(),
        facts: facts_of(&kept, &who),
        request_keys: history.iter().map(|_| site.form("", "", "").request_key).collect(),
        rows: history.iter().map(|filled| history_row(filled, &who)).collect(),
        more,
        may_record,
        frame: site.frame(&who, Room::Batches, &format!("Vessel {}", kept.vessel.code), facts),
        href,
    };
    respond::page(&page)
}

/// Whether it was cleaned since something was in it.
fn is_clean(kept: &Kept, last: Option<&Filled>) -> bool {
    match (kept.cleaned_on, last.and_then(|filled| filled.inside.until)) {
        (_, None) => true,
        (None, Some(_)) => false,
        (Some(cleaned), Some(emptied)) => cleaned >= emptied,
    }
}

fn vessel_lead(doer: &Doer, kept: &Kept, inside: Option<&Filled>, last: Option<&Filled>) -> String {
    let today = doer.today();
    if let Some((since, because)) = &kept.out_of_use {
        return format!("Out of use since {}: {because}.", days::short(*since, today));
    }
    if let Some(filled) = inside {
        let volume = filled.inside.volume.shown(BaseUnit::Millilitre);
        return format!("{volume} are in it since {}.", days::short(filled.inside.since, today));
    }
    let room = kept.vessel.safe_filling.shown(BaseUnit::Millilitre);
    let clean = if is_clean(kept, last) { "" } else { " It was not cleaned since the last batch." };
    format!("Free, with room for {room} that work.{clean}")
}

fn facts_of(kept: &Kept, doer: &Doer) -> Vec<(&'static str, String)> {
    let vessel = &kept.vessel;
    let worn = if vessel.worn { ", old or scratched" } else { "" };
    let mut facts = vec![
        ("Made of", format!("{}{worn}", vessel.material.label())),
        ("Holds", vessel.capacity.shown(BaseUnit::Millilitre)),
        ("At most while it works", vessel.safe_filling.shown(BaseUnit::Millilitre)),
        ("Closed with", vessel.closure.label().to_owned()),
    ];
    if let Some(day) = kept.cleaned_on {
        facts.push(("Last cleaned", days::short(day, doer.today())));
    }
    facts
}

fn history_row(filled: &Filled, doer: &Doer) -> HistoryRow {
    let short = |day| days::short(day, doer.today());
    let (since, until) = (short(filled.inside.since), filled.inside.until.map(short));
    HistoryRow {
        id: filled.id.to_string(),
        when: match until {
            Some(until) => format!("{since} to {until} · {}", filled.by),
            None => format!("since {since} · {}", filled.by),
        },
        what: format!("{}, {}", filled.drink, filled.inside.volume.shown(BaseUnit::Millilitre)),
        batch: filled.inside.code.clone(),
        because: filled.because.clone(),
        struck: filled.struck.as_ref().map(|(at, why)| format!("on {}: {why}", words::when(*at, doer))),
    }
}

/// Shows a form again that strikes a filling out.
fn strike_form(site: &Site, vessel: VesselId, filling: FillingId) -> FormView {
    let path = format!("/vessels/{vessel}/fillings/{filling}/strike");
    site.form(&path, "Strike a filling out", "Strike it out")
        .intro("It stays in the record, and the vessel is as if it had not been.")
        .fields([super::forms::Field::text("reason", "Why is it struck out?")])
        .leave(site.at(&format!("/vessels/{vessel}")))
}

/// Strikes a filling out.
pub async fn strike(
    hand: Cellarhand,
    site: Site,
    path: Path<(VesselId, FillingId)>,
    form: super::body::Form,
) -> Reply {
    let (vessel, filling) = path.0;
    let done = async {
        let order = read::strike(&form.draft, &hand, filling)?;
        crate::actions::vessels::strike_filling(&site.db, &hand, form.key.clone(), order).await
    };
    match done.await {
        Ok(vessel) => Ok(site.see_other(&format!("/vessels/{vessel}#hi"))),
        Err(error) => {
            let refusal = Problem::or_refusal(error)?;
            let (facts, ()) = site.read(&hand, |_, _| Ok(())).await?;
            let view = form.back(strike_form(&site, vessel, filling), &refusal);
            let frame = site.frame(&hand, Room::Batches, "Strike a filling out", facts);
            let up = (site.at(&format!("/vessels/{vessel}")), "The vessel".to_owned());
            respond::refused(&super::form_page::FormPage::new(frame, Some(up), view), &refusal)
        }
    }
}
