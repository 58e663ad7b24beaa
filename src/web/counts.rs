//! Counts: the list, and the page of one: how far it is, what to do next, and in the end what it found.
//!
//! Who may see what the books say is decided in `domain::counts`; where it may not, it is not even read.

use askama::Template;

pub mod accuracy;
pub mod line;
pub mod papers;
pub mod read;
pub mod review;
pub mod start;
pub mod ways;

use super::body::Form;
use super::extract::{Paging, Path, Query};
use super::form_page::FormPage;
use super::forms::Field;
use super::frame::Frame;
use super::pictures::stem;
use super::problem::Problem;
use super::respond::{self, Reply};
use super::site::{Room, Site, fresh_key};
use super::words;
use crate::actions::counts as actions;
use crate::db::counts::{self as rows, Listed};
use crate::db::{AnyConn, Failure};
use crate::domain::counts::{Count, Ending, Line, Progress, State};
use crate::domain::members::{Cellarhand, Doer, Onlooker, Role};
use crate::units::ids::CountId;
use crate::units::money::Money;
use crate::units::quantity::{BaseUnit, Milli};

#[derive(Template)]
#[template(path = "counts/list.html")]
struct ListPage {
    frame: Frame,
    lead: String,
    may_start: bool,
    groups: Vec<(&'static str, Vec<ListRow>)>,
    more: Option<String>,
}

struct ListRow {
    href: String,
    when: String,
    title: String,
    about: String,
    says: String,
    waits: bool,
}

/// Shows the list.
pub async fn list(who: Onlooker, site: Site, paging: Paging<CountId>) -> Reply {
    let (after, limit) = (paging.after, paging.rows());
    let read = site.read(&who, move |conn, doer| {
        let open =
            if after.is_none() { rows::counts(conn, doer.club, true, None, limit)? } else { Vec::new() };
        Ok((open, rows::counts(conn, doer.club, false, after, limit)?))
    });
    let (facts, (open, found)) = read.await?;
    let part = paging.page(found, |listed| listed.count.id, |listed| listed);
    let row = |listed: &Listed| list_row(&site, &who, listed);
    let settled = part.items.iter().filter(|listed| listed.count.over_at.is_some()).map(row).collect();
    let groups = [("Open", open.iter().map(row).collect::<Vec<_>>()), ("Past", settled)];
    let lead = match open.len() {
        0 => "None is open just now.".to_owned(),
        1 => "One is open.".to_owned(),
        more => format!("{more} are open."),
    };
    let page = ListPage {
        lead,
        may_start: who.role >= Role::Cellarhand,
        groups: groups.into_iter().filter(|group| !group.1.is_empty()).collect(),
        more: part.next.map(|next| site.at(&format!("/counts?after={next}"))),
        frame: site.frame(&who, Room::Counts, "Counts", facts),
    };
    respond::page(&page)
}

fn list_row(site: &Site, doer: &Doer, listed: &Listed) -> ListRow {
    let Listed { count, lines, counted, posted } = listed;
    let state = count.state();
    let says = match state {
        State::Counting => format!("{counted} of {lines} counted"),
        State::Review if count.shows_books_to(doer) => "its differences wait to be looked at".to_owned(),
        State::Review => "its differences are looked at by somebody who did not count".to_owned(),
        State::Over if *posted == 0 => "the books were right".to_owned(),
        State::Over => format!("the books were put right in {}", words::count(*posted, "line", "lines")),
        State::CalledOff => format!("called off: {}", count.called_off_because.trim_end_matches('.')),
    };
    ListRow {
        href: site.at(&format!("/counts/{}", count.id)),
        when: crate::units::days::short(day_of(count, doer), doer.today()),
        title: count.title.clone(),
        about: format!("{}, {}", count.code, words::count(*lines, "line", "lines")),
        says: words::capital(&says),
        waits: matches!(state, State::Counting | State::Review),
    }
}

fn day_of(count: &Count, doer: &Doer) -> crate::units::days::Day {
    crate::units::days::local_day(count.started_at, doer.zone)
}

/// A count with its lines; with the books only for whoever may see them.
pub(super) struct Seen {
    pub(super) count: Count,
    pub(super) lines: Vec<Line>,
    pub(super) shows: bool,
}

pub(super) fn find(conn: &mut AnyConn, doer: &Doer, id: CountId) -> Result<Seen, Failure> {
    let count = rows::count(conn, doer.club, id)?;
    let mut lines = rows::lines(conn, doer.club, id, None)?;
    let shows = count.shows_books_to(doer);
    if shows {
        rows::with_books(conn, doer.club, &mut lines, doer.zone)?;
    }
    Ok(Seen { count, lines, shows })
}

impl Seen {
    /// How many lines are this far.
    pub(super) fn how_many(&self, progress: Progress) -> usize {
        self.lines.iter().filter(|line| line.progress() == progress).count()
    }

    /// The first line that waits to be counted, after one in the order of the sheet.
    pub(super) fn next_after(&self, number: Option<u32>) -> Option<u32> {
        let at = number.and_then(|number| self.lines.iter().position(|line| line.number == number));
        let from = at.map_or(0, |at| at + 1);
        let open = |line: &&Line| matches!(line.progress(), Progress::NotCounted | Progress::Again);
        let reviewing = self.count.state() == State::Review;
        let wanted = |line: &&Line| open(line) && (!reviewing || line.asked_at.is_some());
        let later = self.lines[from..].iter().find(wanted);
        later.or_else(|| self.lines[..from].iter().find(wanted)).map(|line| line.number)
    }
}

#[derive(Template)]
#[template(path = "counts/count.html")]
struct CountPage {
    frame: Frame,
    href: String,
    count: Count,
    about: String,
    said: Option<&'static str>,
    lead: String,
    progress: String,
    go_on: Option<(String, &'static str)>,
    may_end: bool,
    may_look: bool,
    may_find: bool,
    keys: [String; 2],
    places: Vec<PlaceRow>,
    results: Vec<ResultRow>,
    sign: String,
    secret: Option<&'static str>,
    not_counted: Vec<String>,
    entries: Vec<(String, String)>,
}

/// What is said to those who are not shown the books.
const SECRET: &str =
    "What the books say is not shown here, nor in the file or by the API, to whoever counts.";

struct PlaceRow {
    name: String,
    done: usize,
    lines: Vec<LineLink>,
}

struct LineLink {
    href: String,
    name: String,
    code: String,
    /// What oneself counted, or what is asked.
    says: String,
    done: bool,
    drink: bool,
}

struct ResultRow {
    name: String,
    place: String,
    counted: String,
    book: String,
    difference: String,
    worth: String,
    why: String,
    taken_back: bool,
}

/// What the page of a count may be asked.
#[derive(serde::Deserialize, utoipa::ToSchema)]
pub struct ShowQuery {
    /// What was just done.
    pub said: Option<String>,
}

/// Shows a count.
pub async fn show(who: Onlooker, site: Site, path: Path<CountId>, query: Query<ShowQuery>) -> Reply {
    let id = path.0;
    let (facts, seen) = site.read(&who, move |conn, doer| find(conn, doer, id)).await.map_err(missing)?;
    let href = site.at(&format!("/counts/{id}"));
    let state = seen.count.state();
    let counts = who.role >= Role::Taster && seen.count.check_counter(&who, who.now).is_ok();
    let open = matches!(state, State::Counting | State::Review);
    let again = seen.how_many(Progress::Again);
    let next = seen.next_after(None);
    let (all, waiting) = (seen.lines.len(), seen.how_many(Progress::NotCounted) + again);
    let done = all - waiting;
    let go_on = next.filter(|_| counts && (state == State::Counting || again > 0)).map(|number| {
        let words = match state {
            State::Review => "Count again what is asked",
            _ if done == 0 => "Begin to count",
            _ => "Go on counting",
        };
        (format!("{href}/lines/{number}"), words)
    });
    let page = CountPage {
        about: about(&seen.count, &who),
        said: query.draft.typed("said").and_then(|word| said(&word)),
        lead: lead(&seen, &who, (done, all, again)),
        progress: if open { progress(done, all) } else { String::new() },
        go_on,
        may_end: state == State::Counting && who.role >= Role::Cellarhand && done > 0,
        may_look: state == State::Review && seen.shows,
        may_find: counts && open,
        keys: [fresh_key(), fresh_key()],
        places: if open { place_rows(&seen, &who, &href) } else { Vec::new() },
        results: if state == State::Over { result_rows(&seen) } else { Vec::new() },
        sign: words::sign(&who.currency),
        secret: (!seen.shows).then_some(SECRET),
        not_counted: if state == State::Over { not_counted(&seen) } else { Vec::new() },
        entries: entries(&site, &seen),
        frame: site.frame(&who, Room::Counts, &format!("Count {}", seen.count.code), facts),
        count: seen.count,
        href,
    };
    respond::page(&page)
}

pub(super) fn missing(problem: Problem) -> Problem {
    if problem.kind == super::problem::Kind::Missing { Problem::missing("count") } else { problem }
}

/// "C-3 · since Fri 27 November, 18:40 · begun by Maren · counted by Wieke, Joost".
pub(super) fn about(count: &Count, doer: &Doer) -> String {
    let mut parts = vec![
        count.code.clone(),
        words::when(count.started_at, doer),
        format!("begun by {}", count.started_by.1),
    ];
    if !count.counters.is_empty() {
        let names: Vec<&str> = count.counters.iter().map(|counter| counter.1.as_str()).collect();
        parts.push(format!("counted by {}", names.join(", ")));
    }
    parts.join(" · ")
}

fn progress(done: usize, all: usize) -> String {
    #[allow(clippy::cast_precision_loss, reason = "lines of a count")]
    let fraction = if all == 0 { 0.0 } else { done as f64 / all as f64 };
    let says = format!("{done} of {all} counted");
    stem(fraction, &says, &says, &format!("{} to go", all - done), None)
}

fn lead(seen: &Seen, doer: &Doer, (done, all, again): (usize, usize, usize)) -> String {
    let count = &seen.count;
    match count.state() {
        State::Counting if done == all => {
            "Everything on the sheet is counted. When nothing else is found, end the counting.".to_owned()
        }
        State::Counting => {
            "Count what you see. What the books say is not shown, to nobody, while it is counted; \
                            nothing there is an answer too."
                .to_owned()
        }
        State::Review if again > 0 && !seen.shows => {
            let lines = i64::try_from(again).unwrap_or(i64::MAX);
            format!("{} to be counted a second time.", words::count(lines, "line is", "lines are"))
        }
        State::Review if seen.shows && count.counted_by(doer.member) => {
            "You have counted, and nobody else in the club can look at the differences: so you may."
                .to_owned()
        }
        State::Review if seen.shows => {
            "The counting has ended. Look at the differences, ask for a recount of what \
                                        you doubt, and post the rest."
                .to_owned()
        }
        State::Review => {
            "The counting has ended. Somebody who has not counted looks at the differences.".to_owned()
        }
        State::Over => {
            let is = |ending| seen.lines.iter().filter(move |line| ends(line) == Some(ending)).count();
            let (right, posted, left) = (is(Ending::Right), is(Ending::Posted), is(Ending::LeftOut));
            let mut parts =
                vec![format!("The books were right in {right} of {} lines", right + posted + left)];
            if posted > 0 {
                parts.push(format!("{posted} were put right"));
            }
            if left > 0 {
                parts.push(format!("{left} were left as they are"));
            }
            format!("{}.", parts.join("; "))
        }
        State::CalledOff => format!("Called off: {}.", count.called_off_because.trim_end_matches('.')),
    }
}

fn ends(line: &Line) -> Option<Ending> {
    line.settled.as_ref().map(|settled| settled.ending)
}

fn said(word: &str) -> Option<&'static str> {
    Some(match word {
        "started" => {
            "It has begun. Everybody who opens this page can count; each sees what they counted themselves."
        }
        "counted" => "That was the last line. Look round once more for what is not on the sheet.",
        "found" => "What you found is kept. Somebody else says what becomes of it.",
        "ended" => "The counting has ended. What is far off is asked for a second time.",
        "again" => "They are asked for again. What was counted of them before no longer stands.",
        "posted" => "Posted. What is counted again or not agreed on stays open.",
        "over" => "Posted, and nothing is left open.",
        _ => return None,
    })
}

fn place_rows(seen: &Seen, doer: &Doer, href: &str) -> Vec<PlaceRow> {
    let by_place = seen.lines.chunk_by(|one, next| one.place.0 == next.place.0);
    by_place
        .map(|lines| PlaceRow {
            name: lines[0].place.1.clone(),
            done: lines.iter().filter(|line| is_done(line)).count(),
            lines: lines.iter().map(|line| line_link(line, doer, href)).collect(),
        })
        .collect()
}

fn is_done(line: &Line) -> bool {
    matches!(line.progress(), Progress::Counted | Progress::Settled)
}

fn line_link(line: &Line, doer: &Doer, href: &str) -> LineLink {
    let says = match (line.progress(), line.own(doer.member)) {
        (Progress::Settled, _) => "settled".to_owned(),
        (_, Some(tally)) => tally.counted.shown(line.unit),
        (Progress::Counted, None) => "counted by another".to_owned(),
        (Progress::Again, None) => "count it again".to_owned(),
        (Progress::NotCounted, None) => "not counted".to_owned(),
    };
    LineLink {
        href: format!("{href}/lines/{}", line.number),
        name: line.name().to_owned(),
        code: line.code().to_owned(),
        says,
        done: is_done(line),
        drink: line.lot.as_ref().is_some_and(|lot| lot.bottling.is_some()),
    }
}

fn result_rows(seen: &Seen) -> Vec<ResultRow> {
    let row = |line: &Line| {
        let settled = line.settled.as_ref().filter(|settled| settled.ending != Ending::Right)?;
        let why = match line.reason {
            Some(reason) if line.words.is_empty() => reason.label().to_owned(),
            Some(reason) => format!("{}: {}", reason.label(), line.words),
            None => line.words.clone(),
        };
        let (counted, book) = settled.against.unzip();
        Some(ResultRow {
            name: format!("{} {}", line.name(), line.code()).trim_end().to_owned(),
            place: line.place.1.clone(),
            counted: counted.map(|counted| counted.shown(line.unit)).unwrap_or_default(),
            book: book.map(|book| book.shown(line.unit)).unwrap_or_default(),
            difference: match settled.ending {
                Ending::LeftOut => "left as it is".to_owned(),
                _ => settled
                    .against
                    .map(|against| signed(against.0 - against.1, line.unit))
                    .unwrap_or_default(),
            },
            worth: settled.worth.map(words::figure).unwrap_or_default(),
            why,
            taken_back: settled.entry.is_some_and(|entry| entry.1),
        })
    };
    seen.lines.iter().filter_map(row).collect()
}

fn not_counted(seen: &Seen) -> Vec<String> {
    let open = |line: &&Line| line.settled.is_none();
    let name = |line: &Line| format!("{} {}, {}", line.name(), line.code(), line.place.1);
    seen.lines.iter().filter(open).map(name).collect()
}

/// The entries with which it was posted: address and name.
fn entries(site: &Site, seen: &Seen) -> Vec<(String, String)> {
    let mut found: Vec<(String, String)> = Vec::new();
    for line in &seen.lines {
        let Some((entry, back)) = line.settled.as_ref().and_then(|settled| settled.entry) else { continue };
        let href = site.at(&format!("/entries/{entry}"));
        if !found.iter().any(|known| known.0 == href) {
            let name =
                if back { "The entry, which was taken back" } else { "The entry, where it can be reversed" };
            found.push((href, name.to_owned()));
        }
    }
    found
}

/// "+ 3 bottles", "− 1.2 kg".
pub(super) fn signed(difference: Milli, unit: BaseUnit) -> String {
    if difference > Milli::ZERO {
        format!("+ {}", difference.shown(unit))
    } else {
        difference.shown(unit).replace('−', "− ")
    }
}

/// What a difference is worth, about: its share of what the books hold there.
pub(super) fn about_worth(line: &Line, difference: Milli) -> Option<Money> {
    let now = line.books.as_ref()?.now;
    (now.quantity > Milli::ZERO).then(|| {
        let worth = now.cost.share(difference.get().abs(), now.quantity.get());
        if difference < Milli::ZERO { worth.negated() } else { worth }
    })
}

/// Ends the counting.
pub async fn end(hand: Cellarhand, site: Site, path: Path<CountId>, form: Form) -> Reply {
    let id = path.0;
    form.draft.read(&hand, |_| ())?;
    actions::end(&site.db, &hand, form.key.clone(), id).await?;
    Ok(site.see_other(&format!("/counts/{id}?said=ended")))
}

/// The form that calls a count off.
pub async fn call_off_form(hand: Cellarhand, site: Site, path: Path<CountId>) -> Reply {
    let id = path.0;
    let (facts, count) =
        site.read(&hand, move |conn, doer| rows::count(conn, doer.club, id)).await.map_err(missing)?;
    respond::page(&call_off_page(&site, &hand, (facts, &count)))
}

fn call_off_page(
    site: &Site,
    hand: &Cellarhand,
    (facts, count): (crate::db::reminders::Facts, &Count),
) -> FormPage {
    let href = site.at(&format!("/counts/{}", count.id));
    let view = site
        .form(&format!("/counts/{}/call-off", count.id), &format!("Call off {}", count.code), "Call it off")
        .intro("What was counted stays to be read; nothing of it is posted.")
        .fields([Field::text("reason", "Why")])
        .leave(href.clone());
    let frame = site.frame(hand, Room::Counts, "Call off a count", facts);
    FormPage::new(frame, Some((href, format!("Count {}", count.code))), view)
}

/// Calls a count off.
pub async fn call_off(hand: Cellarhand, site: Site, path: Path<CountId>, form: Form) -> Reply {
    let id = path.0;
    let done = async {
        let order = read::calling_off(&form.draft, &hand, id)?;
        actions::call_off(&site.db, &hand, form.key.clone(), order).await
    };
    match done.await {
        Ok(_) => Ok(site.see_other(&format!("/counts/{id}"))),
        Err(error) => {
            let refusal = Problem::or_refusal(error)?;
            let read = site.read(&hand, move |conn, doer| rows::count(conn, doer.club, id));
            let (facts, count) = read.await.map_err(missing)?;
            let mut page = call_off_page(&site, &hand, (facts, &count));
            page.form = form.back(page.form, &refusal);
            respond::refused(&page, &refusal)
        }
    }
}
