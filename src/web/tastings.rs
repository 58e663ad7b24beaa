//! Tastings: the list, and the page of one for whoever looks at it: who is invited says whether they may taste, who
//! tastes finds their sheet, who pours their list, the host what to do next, and all of them the key when it is open.
//!
//! What a member may see is decided in `domain`; pages and programs take it from there.

use askama::Template;

pub mod ageing;
pub mod attributes;
mod figures;
pub mod paper;
pub mod plan;
pub mod results;
pub mod run;
pub mod sheet;

use super::extract::{ByDay, Paging, Path};
use super::frame::Frame;
use super::problem::Problem;
use super::respond::{self, Reply};
use super::site::{Room, Site, fresh_key};
use super::words;
use crate::db::tastings::{self as rows, Listed};
use crate::db::{AnyConn, Failure};
use crate::domain::members::{Doer, Onlooker, Role};
use crate::domain::tastings::results::{Results, results};
use crate::domain::tastings::serving::{MUCH_ALCOHOL_G, UNKNOWN_VOL_PERCENT, most_for_one};
use crate::domain::tastings::{Seat, Seen, State, Table};
use crate::units::days::{self, Day};
use crate::units::ids::TastingId;
use crate::units::quantity::BaseUnit;

#[derive(Template)]
#[template(path = "tastings/list.html")]
struct ListPage {
    frame: Frame,
    lead: String,
    may_plan: bool,
    groups: Vec<(&'static str, Vec<ListRow>)>,
    more: Option<String>,
}

struct ListRow {
    href: String,
    when: String,
    place: String,
    title: String,
    about: String,
    /// What there is to do, or how far it is.
    says: String,
    waits: bool,
}

/// Shows the list.
pub async fn list(who: Onlooker, site: Site, paging: Paging<ByDay<TastingId>>) -> Reply {
    let (after, limit) = (paging.after.map(|ByDay(day, id)| (day, id)), paging.rows());
    let read = site.read(&who, move |conn, doer| rows::tastings(conn, doer.club, after, limit));
    let (facts, found) = read.await?;
    let part = paging.page(found, |listed| ByDay(listed.tasting.day, listed.tasting.id), |listed| listed);
    let of = |states: &[State]| -> Vec<ListRow> {
        let rows = part.items.iter().filter(|listed| states.contains(&listed.tasting.state()));
        rows.map(|listed| list_row(&site, &who, listed)).collect()
    };
    let mut to_come = of(&[State::ToCome]);
    to_come.reverse();
    let groups = [
        ("At the table", of(&[State::AtTheTable])),
        ("To come", to_come),
        ("Past", of(&[State::Open, State::CalledOff])),
    ];
    let page = ListPage {
        lead: match facts.tasting {
            Some(day) if day <= who.today() => "A tasting is at the table.".to_owned(),
            Some(day) => format!("The next one is on {}.", days::short(day, who.today())),
            None => "None is planned just now.".to_owned(),
        },
        may_plan: who.role >= Role::Cellarhand,
        groups: groups.into_iter().filter(|group| !group.1.is_empty()).collect(),
        more: part.next.map(|next| site.at(&format!("/tastings?after={next}"))),
        frame: site.frame(&who, Room::Tastings, "Tastings", facts),
    };
    respond::page(&page)
}

fn list_row(site: &Site, doer: &Doer, listed: &Listed) -> ListRow {
    let Listed { tasting, samples, seats } = listed;
    let own = seats.iter().find(|seat| seat.member == doer.member);
    let (says, waits) = match (tasting.state(), own) {
        (State::ToCome, Some(seat)) if seat.may_taste.is_none() => {
            ("You are invited: say whether you may taste".to_owned(), true)
        }
        (State::AtTheTable, Some(seat)) if seat.is_missing() => ("Your sheet is waited for".to_owned(), true),
        (State::AtTheTable, _) => (sheets_in(seats), false),
        (state, _) => (state.label().to_owned(), false),
    };
    ListRow {
        href: site.at(&format!("/tastings/{}", tasting.id)),
        when: days::short(tasting.day, doer.today()),
        place: tasting.place.clone(),
        title: tasting.title.clone(),
        about: format!(
            "{}, {}, {}, {}",
            tasting.code,
            words::count(*samples, "bottling", "bottlings"),
            if tasting.blind { "blind" } else { "in the open" },
            kind(tasting.method)
        ),
        says: words::capital(&says),
        waits,
    }
}

/// "marks on lines", within a sentence.
fn kind(method: crate::domain::tastings::Method) -> &'static str {
    use crate::domain::tastings::Method;
    match method {
        Method::Scored => "marks on lines",
        Method::Ranking => "put in order",
        Method::Triangle => "a triangle",
        Method::Paired => "a pair",
        Method::DuoTrio => "a duo-trio",
        Method::Words => "words only",
    }
}

/// "6 of 8 sheets are in".
fn sheets_in(seats: &[Seat]) -> String {
    let expected = seats.iter().filter(|seat| seat.tastes()).count();
    let there = seats.iter().filter(|seat| seat.tastes() && seat.handed_in_at.is_some()).count();
    format!("{there} of {expected} sheets are in")
}

/// A tasting with what came of it, if its key is open.
pub(super) struct Found {
    pub(super) table: Table,
    pub(super) results: Option<Results>,
}

pub(super) fn find(conn: &mut AnyConn, doer: &Doer, id: TastingId) -> Result<Option<Found>, Failure> {
    let table = match rows::table(conn, doer.club, id) {
        Err(Failure::Gone) => return Ok(None),
        found => found?,
    };
    let results = match table.tasting.state() {
        State::Open => Some(results(&table, &rows::handed_in(conn, id)?)),
        _ => None,
    };
    Ok(Some(Found { table, results }))
}

pub(super) fn missing() -> Problem {
    Problem::missing("tasting")
}

#[derive(Template)]
#[template(path = "tastings/tasting.html")]
struct TastingPage {
    frame: Frame,
    href: String,
    title: String,
    about: String,
    lead: String,
    question: String,
    said: Option<&'static str>,
    /// How far it is, for the script that looks whether that changed.
    state: String,
    /// Asked about these allergens, as long as nothing is poured: the words, and what was said.
    asked: Option<Asked>,
    sheet: Option<SheetWay>,
    missing: Vec<String>,
    does_run: bool,
    steps: Vec<(String, &'static str)>,
    reopen: bool,
    keys: [String; 3],
    pouring: Option<String>,
    bags: Vec<BagRow>,
    key: Vec<KeyRow>,
    hidden: Option<String>,
    alcohol: Alcohol,
    seats: Vec<SeatRow>,
    says: Vec<String>,
    picture: String,
    ages: Vec<AgeRow>,
}

struct Asked {
    allergens: String,
    said: Option<bool>,
    host: String,
}

struct SheetWay {
    href: String,
    button: &'static str,
    says: &'static str,
}

struct BagRow {
    /// The letter of its bag, or its number in the plan.
    bag: String,
    href: String,
    name: String,
    about: String,
}

struct KeyRow {
    code: u16,
    href: String,
    name: String,
}

struct SeatRow {
    name: String,
    state: &'static str,
    ok: bool,
}

struct AgeRow {
    href: String,
    name: String,
    says: String,
}

struct Alcohol {
    grams: String,
    much: bool,
    how: String,
}

/// What the page of a tasting may be asked.
#[derive(serde::Deserialize, utoipa::ToSchema)]
pub struct ShowQuery {
    /// What was just done.
    pub said: Option<String>,
}

/// Shows a tasting.
pub async fn show(
    who: Onlooker,
    site: Site,
    path: Path<TastingId>,
    query: super::extract::Query<ShowQuery>,
) -> Reply {
    let id = path.0;
    let read = site.read(&who, move |conn, doer| {
        let Some(found) = find(conn, doer, id)? else { return Ok(None) };
        let ages = ageing::of_table(conn, doer, &found)?;
        Ok(Some((found, ages)))
    });
    let (facts, found) = read.await?;
    let (found, ages) = found.ok_or_else(missing)?;
    let table = &found.table;
    let seen = table.seen_by(&who);
    let state = table.tasting.state();
    let href = site.at(&format!("/tastings/{id}"));
    let page = TastingPage {
        title: table.tasting.title.clone(),
        about: about(table, who.today()),
        lead: lead(table, &seen),
        question: table.tasting.question.clone(),
        said: query.draft.typed("said").and_then(|word| said(&word, state)),
        state: format!("{}{}", state.code(), table.missing().len()),
        asked: asked(table, &seen, who.role),
        sheet: sheet_way(table, &seen, &href),
        missing: match state {
            State::AtTheTable => table.missing().iter().map(|seat| seat.name.clone()).collect(),
            _ => Vec::new(),
        },
        does_run: seen.runs && who.role >= Role::Cellarhand,
        steps: steps(table, &who, &href),
        reopen: state == State::AtTheTable,
        keys: [fresh_key(), fresh_key(), fresh_key()],
        pouring: (state == State::AtTheTable && (seen.sight.pouring || seen.runs))
            .then(|| format!("{href}/pouring")),
        bags: bag_rows(&site, &who, &seen),
        key: key_rows(&site, &seen),
        hidden: hidden(table, &seen),
        alcohol: alcohol(table),
        seats: table.seats.iter().map(|seat| seat_row(table, seat, &seen)).collect(),
        says: found.results.as_ref().map(|results| results.says.clone()).unwrap_or_default(),
        picture: found.results.as_ref().map(|found| figures::main(table, found)).unwrap_or_default(),
        ages: ages
            .into_iter()
            .map(|(bottling, name, says)| AgeRow {
                href: site.at(&format!("/bottles/{bottling}")),
                name,
                says,
            })
            .collect(),
        frame: site.frame(&who, Room::Tastings, &table.tasting.title, facts),
        href,
    };
    respond::page(&page)
}

/// "T-4 · Fri 3 July · Mill loft · blind · marks on lines · host Aafke".
pub(super) fn about(table: &Table, today: Day) -> String {
    let tasting = &table.tasting;
    let mut parts = vec![tasting.code.clone(), days::short(tasting.day, today)];
    if !tasting.place.is_empty() {
        parts.push(tasting.place.clone());
    }
    parts.push(if tasting.blind { "blind".to_owned() } else { "in the open".to_owned() });
    parts.push(kind(tasting.method).to_owned());
    parts.push(format!("{} in each glass", tasting.pour_volume.shown(BaseUnit::Millilitre)));
    parts.push(format!("host {}", tasting.host.1));
    parts.join(" · ")
}

fn lead(table: &Table, seen: &Seen) -> String {
    match table.tasting.state() {
        State::ToCome if seen.own.is_some_and(|seat| seat.may_taste.is_none()) => {
            "You are invited. Say first whether you may taste what is poured.".to_owned()
        }
        State::ToCome => {
            let yes = table.seats.iter().filter(|seat| seat.may_taste == Some(true)).count();
            let invited = i64::try_from(table.seats.len()).unwrap_or(i64::MAX);
            let yes =
                if yes == 0 { "nobody has said yes yet".to_owned() } else { format!("{yes} will taste") };
            format!("{} invited; {yes}.", words::count(invited, "member is", "members are"))
        }
        State::AtTheTable => format!("{}. The key opens with the last one.", sheets_in(&table.seats)),
        State::Open => {
            let sheets = table.seats.iter().filter(|seat| seat.handed_in_at.is_some()).count();
            let sheets = i64::try_from(sheets).unwrap_or(i64::MAX);
            format!("The key is open: {}.", words::count(sheets, "sheet counts", "sheets count"))
        }
        State::CalledOff => {
            format!("Called off: {}.", table.tasting.called_off_because.trim_end_matches('.'))
        }
    }
}

fn said(word: &str, state: State) -> Option<&'static str> {
    Some(match word {
        "planned" => "It is planned. Those who are invited find it here and say whether they may taste.",
        "changed" => "The plan is changed. Whoever was asked about other allergens is asked again.",
        "yes" => "You taste. Until glasses are poured you may say otherwise.",
        "no" => "You leave this one out. Nothing is poured for you.",
        "begun" => "It has begun: the bottles are out of the cellar, and every glass has its code.",
        "in" if state == State::Open => "Your sheet is in. It was the last one: the key is open.",
        "in" => "Your sheet is in. Until the key is open you may correct it.",
        _ => return None,
    })
}

fn asked(table: &Table, seen: &Seen, role: Role) -> Option<Asked> {
    let open = matches!(table.tasting.state(), State::ToCome | State::AtTheTable);
    let seat = seen.own.filter(|seat| open && role >= Role::Taster && seat.handed_in_at.is_none())?;
    let allergens = table.allergens();
    // Who was asked about fewer is asked again.
    let said = match seat.may_taste {
        Some(true) if !seat.may(&allergens) => None,
        said => said,
    };
    Some(Asked { allergens: allergens.join(", "), said, host: table.tasting.host.1.clone() })
}

fn sheet_way(table: &Table, seen: &Seen, href: &str) -> Option<SheetWay> {
    let seat = seen.own.filter(|seat| table.tasting.state() == State::AtTheTable && seat.tastes())?;
    let href = format!("{href}/sheet");
    Some(match seat.handed_in_at {
        None => SheetWay { href, button: "Open your sheet", says: "Your sheet is waited for." },
        Some(_) => SheetWay { href, button: "Correct your sheet", says: "Your sheet is in." },
    })
}

/// What the host can do next: address and words.
fn steps(table: &Table, doer: &Doer, href: &str) -> Vec<(String, &'static str)> {
    match table.tasting.state() {
        State::ToCome => {
            let mut steps = vec![(format!("{href}/begin"), "Open the bottles and begin")];
            if table.tasting.planned_by(doer).is_ok() {
                steps.push((format!("{href}/plan"), "Change the plan"));
            }
            steps.push((format!("{href}/call-off"), "Call it off"));
            steps
        }
        State::AtTheTable => {
            vec![(format!("{href}/paper"), "Sheets on paper"), (format!("{href}/call-off"), "Call it off")]
        }
        _ => Vec::new(),
    }
}

fn bag_rows(site: &Site, doer: &Doer, seen: &Seen) -> Vec<BagRow> {
    let row = |sample: &&crate::domain::tastings::Sample| {
        let old = days::age((doer.today() - sample.bottled_on).num_days());
        let about = match sample.allergens.join(", ") {
            none if none.is_empty() => format!("{old} old"),
            allergens => format!("{old} old, contains {allergens}"),
        };
        BagRow {
            bag: sample.bag.map_or_else(|| sample.number.to_string(), String::from),
            href: site.at(&format!("/bottles/{}", sample.bottling)),
            name: sample.name(),
            about,
        }
    };
    // With the key open, the key says it.
    if seen.sight.key && !seen.key.is_empty() { Vec::new() } else { seen.bags.iter().map(row).collect() }
}

fn key_rows(site: &Site, seen: &Seen) -> Vec<KeyRow> {
    let row = |(code, sample): &(u16, &crate::domain::tastings::Sample)| KeyRow {
        code: *code,
        href: site.at(&format!("/bottles/{}", sample.bottling)),
        name: sample.name(),
    };
    seen.key.iter().map(row).collect()
}

/// What is said to those who may not see what is poured.
fn hidden(table: &Table, seen: &Seen) -> Option<String> {
    if seen.sight.bags || table.tasting.state() == State::CalledOff {
        return None;
    }
    let samples = i64::try_from(table.samples.len()).unwrap_or(i64::MAX);
    Some(format!(
        "{} in it; which glass holds what is shown when the key is open. The books name the bottles that were opened: \
         leave them unread until then.",
        words::count(samples, "bottling is", "bottlings are")
    ))
}

fn alcohol(table: &Table) -> Alcohol {
    let tasting = &table.tasting;
    let alcohol = most_for_one(tasting.method, &table.samples, tasting.pour_volume);
    let formula = "Volume of every glass × its % vol × 7.89 g/L for each % vol (ethanol at 20 °C, OIML R 22), as if \
                   all of it were swallowed.";
    let guessed = format!(
        "A strength that is not known is taken for {UNKNOWN_VOL_PERCENT:.0} % vol, which few yeasts exceed (common \
         practice)."
    );
    let how = if alcohol.guessed { format!("{formula} {guessed}") } else { formula.to_owned() };
    Alcohol { grams: format!("{:.0}", alcohol.grams.ceil()), much: alcohol.grams > MUCH_ALCOHOL_G, how }
}

fn seat_row(table: &Table, seat: &Seat, seen: &Seen) -> SeatRow {
    let begun = table.tasting.begun_at.is_some();
    let state = match (seat.may_taste, seat.handed_in_at) {
        (_, Some(_)) => "sheet is in",
        (Some(true), None) if begun && seat.tastes() => "sheet is out",
        // What somebody said to the allergens is for themselves and the host.
        _ if !seen.runs && seen.own.is_none_or(|own| own.sheet != seat.sheet) => "",
        (Some(true), None) => "will taste",
        (Some(false), None) => "leaves it out",
        (None, None) => "has not answered",
    };
    SeatRow { name: seat.name.clone(), state, ok: seat.handed_in_at.is_some() }
}
