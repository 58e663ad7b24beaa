//! What a person who did not count makes of the differences: look, ask for a recount, say why, post.

use askama::Template;

use super::{Seen, about_worth, find, missing, read, signed};
use crate::actions::counts as actions;
use crate::db::counts as rows;
use crate::domain::counts::{Finding, Line, Progress, Reason, Tolerance};
use crate::domain::members::{Cellarhand, Doer};
use crate::domain::refusal::{Fault, Refusal};
use crate::units::ids::CountId;
use crate::units::quantity::Milli;
use crate::web::body::Form;
use crate::web::extract::Path;
use crate::web::frame::Frame;
use crate::web::problem::Problem;
use crate::web::respond::{self, Reply};
use crate::web::site::{Room, Site, fresh_key};
use crate::web::words;

/// Differences on one page at most; the others take the reason that is given for all.
const MOST_SHOWN: usize = 200;

#[derive(Template)]
#[template(path = "counts/differences.html")]
struct DifferencesPage {
    frame: Frame,
    href: String,
    code: String,
    key: String,
    problems: Vec<Fault>,
    lead: String,
    alone: bool,
    rows: Vec<Row>,
    more: usize,
    reasons: Vec<(String, &'static str)>,
    reason: String,
    words: String,
    disagreed: Vec<Open>,
    unknown: Vec<Open>,
    waiting: Vec<String>,
    missing: Vec<Row>,
    postable: bool,
}

/// A line that differs.
struct Row {
    number: u32,
    name: String,
    drink: bool,
    place: String,
    counted: String,
    book: String,
    difference: String,
    worth: String,
    /// Who counted, how, and what was said to it.
    about: String,
    second: bool,
    again: bool,
    reason: String,
    words: String,
    error: Option<String>,
}

/// A line of which somebody has to say something before it can be posted.
struct Open {
    number: u32,
    key: String,
    name: String,
    place: String,
    /// The counts that stand, with the value that chooses each.
    counts: Vec<(String, String)>,
}

/// Shows the differences.
pub async fn show(hand: Cellarhand, site: Site, path: Path<CountId>) -> Reply {
    let (facts, seen, tolerance) = load(&site, &hand, path.0).await?;
    respond::page(&page(&site, &hand, facts, &seen, tolerance, None))
}

async fn load(
    site: &Site,
    hand: &Cellarhand,
    id: CountId,
) -> Result<(crate::db::reminders::Facts, Seen, Tolerance), Problem> {
    let read =
        site.read(hand, move |conn, doer| Ok((find(conn, doer, id)?, rows::tolerance(conn, doer.club)?)));
    let (facts, (seen, tolerance)) = read.await.map_err(missing)?;
    seen.count.check_settler(hand)?;
    Ok((facts, seen, tolerance))
}

/// The lines that differ, the furthest off first by what that is worth, then the others.
fn differing<'s>(seen: &'s Seen, doer: &Doer) -> Vec<(&'s Line, Finding)> {
    let mut found: Vec<(&Line, Finding)> = seen
        .lines
        .iter()
        .filter(|line| line.settled.is_none())
        .map(|line| (line, line.finding(doer.zone)))
        .filter(|(_, finding)| finding.difference() != Milli::ZERO)
        .collect();
    let worth = |line: &Line, finding: &Finding| {
        about_worth(line, finding.difference()).map_or(0, |worth| worth.micros().abs())
    };
    found.sort_by_key(|(line, finding)| std::cmp::Reverse(worth(line, finding)));
    found
}

fn page(
    site: &Site,
    doer: &Doer,
    facts: crate::db::reminders::Facts,
    seen: &Seen,
    tolerance: Tolerance,
    sent: Option<(&Form, &Refusal)>,
) -> DifferencesPage {
    let typed = |name: &str| sent.and_then(|(form, _)| form.draft.typed(name)).unwrap_or_default();
    let open = |line: &&Line| line.settled.is_none();
    let of = |wanted: fn(&Finding) -> bool| {
        seen.lines.iter().filter(open).filter(move |line| wanted(&line.finding(doer.zone)))
    };
    let differing = differing(seen, doer);
    let row = |(line, finding): &(&Line, Finding)| row(doer, line, *finding, tolerance, sent);
    let right =
        of(|finding| matches!(finding, Finding::Known { .. }) && finding.difference() == Milli::ZERO).count();
    let name = |line: &Line| format!("{} {}, {}", line.name(), line.code(), line.place.1);
    let asked = |line: &&Line| line.progress() == Progress::Again;
    DifferencesPage {
        frame: site.frame(doer, Room::Counts, &format!("Differences of {}", seen.count.code), facts),
        href: site.at(&format!("/counts/{}", seen.count.id)),
        code: seen.count.code.clone(),
        key: sent.and_then(|(form, _)| form.key_text.clone()).unwrap_or_else(fresh_key),
        problems: sent.map(|(_, refusal)| refusal.faults.clone()).unwrap_or_default(),
        lead: lead(differing.len(), right),
        alone: seen.count.counted_by(doer.member),
        more: differing.len().saturating_sub(MOST_SHOWN),
        rows: differing.iter().take(MOST_SHOWN).map(row).collect(),
        reasons: Reason::ALL.iter().map(|reason| (reason.code().to_owned(), reason.label())).collect(),
        reason: typed("reason"),
        words: typed("words"),
        disagreed: of(|finding| *finding == Finding::Disagreed).map(|line| open_line(doer, line)).collect(),
        unknown: of(|finding| matches!(finding, Finding::Unknown(_)))
            .map(|line| open_line(doer, line))
            .collect(),
        waiting: seen.lines.iter().filter(open).filter(asked).map(name).collect(),
        missing: seen
            .lines
            .iter()
            .filter(|line| line.progress() == Progress::NotCounted)
            .map(|line| self::row(doer, line, Finding::Missing, tolerance, sent))
            .collect(),
        postable: right + differing.len() > 0,
    }
}

fn lead(differing: usize, right: usize) -> String {
    let count = |number: usize| i64::try_from(number).unwrap_or(i64::MAX);
    let right = words::count(count(right), "line agrees", "lines agree");
    match differing {
        0 => format!("Nothing that was counted differs; {right} with the books."),
        more => format!("{} off; {right} with the books.", words::count(count(more), "line is", "lines are")),
    }
}

fn row(
    doer: &Doer,
    line: &Line,
    finding: Finding,
    tolerance: Tolerance,
    sent: Option<(&Form, &Refusal)>,
) -> Row {
    let number = line.number;
    let typed = |name: &str| sent.and_then(|(form, _)| form.draft.typed(&format!("{name}-{number}")));
    let (counted, book) = match finding {
        Finding::Known { counted, book, .. } => (counted.shown(line.unit), book.shown(line.unit)),
        _ => (String::new(), String::new()),
    };
    let second = line.needs_second(finding, tolerance);
    let difference = finding.difference();
    let fault = |field: &str| {
        let faults = &sent?.1.faults;
        faults.iter().find(|fault| fault.field == field).map(|fault| fault.message.clone())
    };
    Row {
        number,
        name: format!("{} {}", line.name(), line.code()),
        drink: line.lot.as_ref().is_some_and(|lot| lot.bottling.is_some()),
        place: line.place.1.clone(),
        counted,
        book,
        difference: signed(difference, line.unit),
        worth: about_worth(line, difference).map(words::figure).unwrap_or_default(),
        about: counted_by(doer, line),
        second,
        again: if sent.is_some() { typed("again").is_some() } else { second },
        reason: typed("reason")
            .or_else(|| line.reason.map(|reason| reason.code().to_owned()))
            .unwrap_or_default(),
        words: typed("words").unwrap_or_else(|| line.words.clone()),
        error: fault(&format!("reason-{number}"))
            .or_else(|| fault(&format!("lines.{number}.reason")))
            .or_else(|| fault(&format!("lines.{number}"))),
    }
}

/// "Wieke 34 bottles at 18:40, weighed 12.4 kg less 900 g, one open: “behind the vat”".
fn counted_by(doer: &Doer, line: &Line) -> String {
    let one = |tally: &crate::domain::counts::Tally| {
        let mut words = format!(
            "{} {}, {}",
            tally.member.1,
            tally.counted.shown(line.unit),
            words::when(tally.counted_at, doer)
        );
        if let Some((gross, tare)) = tally.weighed {
            let grams = crate::units::quantity::BaseUnit::Gram;
            words = format!("{words}, weighed {} less {}", gross.shown(grams), tare.shown(grams));
        }
        if tally.opened {
            words = format!("{words}, one open");
        }
        if !tally.remark.is_empty() {
            words = format!("{words}: “{}”", tally.remark);
        }
        words
    };
    line.tallies.iter().map(one).collect::<Vec<_>>().join("; ")
}

fn open_line(doer: &Doer, line: &Line) -> Open {
    let count = |tally: &&crate::domain::counts::Tally| {
        let words = format!(
            "{}: {}, {}",
            tally.member.1,
            tally.counted.shown(line.unit),
            words::when(tally.counted_at, doer)
        );
        (tally.id.to_string(), words)
    };
    Open {
        number: line.number,
        key: fresh_key(),
        name: format!("{} {}", line.name(), line.code()).trim_end().to_owned(),
        place: line.place.1.clone(),
        counts: line.standing().iter().map(count).collect(),
    }
}

/// Posts, or asks for a recount.
pub async fn perform(hand: Cellarhand, site: Site, path: Path<CountId>, form: Form) -> Reply {
    let id = path.0;
    let club = hand.club;
    let numbers = site.db.read(move |conn| rows::numbers(conn, club, id)).await?;
    let only_again = form.draft.typed("do").is_some_and(|word| word == "again");
    let done = async {
        let order = read::page_posting(&form.draft, &hand, id, &numbers)?;
        if only_again {
            let order = actions::Recount { count: id, lines: order.again };
            actions::ask_again(&site.db, &hand, form.key.clone(), order).await?;
            return Ok("again");
        }
        let posted = actions::post(&site.db, &hand, form.key.clone(), order).await?;
        Ok::<_, crate::actions::Error>(if posted.open == 0 { "over" } else { "posted" })
    };
    match done.await {
        Ok(said) => Ok(site.see_other(&format!("/counts/{id}?said={said}"))),
        Err(error) => {
            let refusal = Problem::or_refusal(error)?;
            // Where it is over, there is no page to show it on.
            let Ok((facts, seen, tolerance)) = load(&site, &hand, id).await else {
                return Err(refusal.into());
            };
            respond::refused(&page(&site, &hand, facts, &seen, tolerance, Some((&form, &refusal))), &refusal)
        }
    }
}

/// Says something of one line: which count stands, of which lot it is, that it is left out.
pub async fn say(hand: Cellarhand, site: Site, path: Path<(CountId, u32)>, form: Form) -> Reply {
    let (id, number) = path.0;
    let mut draft = form.draft.clone();
    // A page asks for the code that stands on the label; what is sent on is the lot.
    let code = draft.take("code").unwrap_or_default();
    let lot = super::line::lot_coded(&site, &hand, code.clone()).await?;
    let done = async {
        if !code.trim().is_empty() && lot.is_none() {
            let words = "No lot has this code; look at the label again";
            return Err(Refusal::unfit("code", words).into());
        }
        let mut order = read::saying(&draft, &hand, id, number);
        if let Some((lot, _)) = lot {
            let words = draft.typed("words").unwrap_or_default();
            order =
                Ok(actions::Saying { count: id, number, say: actions::Say::Is(lot), reason: None, words });
        }
        actions::say(&site.db, &hand, form.key.clone(), order?).await
    };
    match done.await {
        Ok(_) => Ok(site.see_other(&format!("/counts/{id}/differences"))),
        Err(error) => {
            let refusal = Problem::or_refusal(error)?;
            // Where it is over, there is no page to show it on.
            let Ok((facts, seen, tolerance)) = load(&site, &hand, id).await else {
                return Err(refusal.into());
            };
            // Its own key stays with its own form; the page gets a new one.
            let mut again = page(&site, &hand, facts, &seen, tolerance, None);
            again.problems.clone_from(&refusal.faults);
            respond::refused(&again, &refusal)
        }
    }
}
