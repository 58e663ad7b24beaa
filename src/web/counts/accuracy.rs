//! How right the books are, why they were not, what drifts, and when each item is to be counted.

use askama::Template;
use chrono::Duration;

use super::signed;
use crate::db::counts::accuracy::{self, By, Drifting, Group, OfReason, Turn};
use crate::db::counts::tolerance;
use crate::db::{AnyConn, Failure};
use crate::domain::counts::accuracy::Class;
use crate::domain::members::{Doer, Onlooker, Role};
use crate::domain::stock::ItemKind;
use crate::units::days;
use crate::web::frame::Frame;
use crate::web::pictures::{Bar, Bars, bars};
use crate::web::respond::{self, Reply};
use crate::web::site::{Room, Site};
use crate::web::words;

/// How far back is looked.
const SINCE_DAYS: i64 = 730;

/// All of it.
pub(in crate::web) struct Found {
    pub(in crate::web) counts: Vec<Group>,
    pub(in crate::web) places: Vec<Group>,
    pub(in crate::web) kinds: Vec<Group>,
    pub(in crate::web) reasons: Vec<OfReason>,
    pub(in crate::web) drifting: Vec<Drifting>,
    pub(in crate::web) turns: Vec<Turn>,
}

pub(in crate::web) fn find(conn: &mut AnyConn, doer: &Doer) -> Result<Found, Failure> {
    let since = doer.now - Duration::days(SINCE_DAYS);
    let tolerance = tolerance(conn, doer.club)?;
    let mut by = |by| accuracy::groups(conn, doer.club, since, tolerance, by);
    let (counts, places, kinds) = (by(By::Count)?, by(By::Place)?, by(By::Kind)?);
    Ok(Found {
        counts,
        places,
        kinds,
        reasons: accuracy::reasons(conn, doer.club, since)?,
        drifting: accuracy::drifting(conn, doer.club, since)?,
        turns: accuracy::turns(conn, doer.club, doer.zone, doer.today())?,
    })
}

#[derive(Template)]
#[template(path = "counts/accuracy.html")]
struct AccuracyPage {
    frame: Frame,
    lead: String,
    sign: String,
    picture: String,
    tables: Vec<(&'static str, Vec<GroupRow>)>,
    reasons: Vec<(&'static str, i64, String)>,
    drifting: Vec<(String, String)>,
    classes: Vec<ClassRow>,
    may_start: bool,
}

struct GroupRow {
    name: String,
    lines: i64,
    right: String,
    worth: String,
}

struct ClassRow {
    letter: &'static str,
    every: i64,
    items: Vec<TurnRow>,
    /// Where a count of those that are overdue begins.
    begin: Option<(String, String)>,
}

struct TurnRow {
    href: String,
    name: String,
    used: String,
    counted: String,
    due: String,
    late: bool,
}

/// Shows it.
pub async fn show(who: Onlooker, site: Site) -> Reply {
    let (facts, found) = site.read(&who, find).await?;
    let row = |group: &Group, name: String| GroupRow {
        name,
        lines: group.lines,
        right: share(group),
        worth: words::figure(group.worth),
    };
    let own =
        |groups: &[Group]| groups.iter().map(|group| row(group, group.name.clone())).collect::<Vec<_>>();
    let kind = |group: &Group| {
        let heading = ItemKind::from_code(&group.name).map(|kind| kind.heading().to_owned());
        row(group, heading.unwrap_or_else(|| group.name.clone()))
    };
    let page = AccuracyPage {
        lead: lead(&found),
        sign: words::sign(&who.currency),
        picture: picture(&found),
        tables: vec![
            ("By count", own(&found.counts)),
            ("By place", own(&found.places)),
            ("By kind", found.kinds.iter().map(kind).collect()),
        ],
        reasons: found
            .reasons
            .iter()
            .map(|of| (of.reason.label(), of.lines, words::figure(of.net)))
            .collect(),
        drifting: found
            .drifting
            .iter()
            .map(|item| {
                let words = format!("{} in {} counts in a row", signed(item.off, item.unit), item.counts);
                (item.name.clone(), words)
            })
            .collect(),
        classes: Class::ALL.iter().map(|class| class_row(&site, &who, *class, &found.turns)).collect(),
        may_start: who.role >= Role::Cellarhand,
        frame: site.frame(&who, Room::Counts, "How right the books are", facts),
    };
    respond::page(&page)
}

#[allow(clippy::cast_precision_loss, reason = "lines of counts")]
fn percent(group: &Group) -> f64 {
    if group.lines == 0 { 0.0 } else { 100.0 * group.agreed as f64 / group.lines as f64 }
}

fn share(group: &Group) -> String {
    format!("{:.0} %", percent(group).floor())
}

fn lead(found: &Found) -> String {
    match (found.counts.last(), found.counts.len()) {
        (None, _) => {
            "Nothing has been counted and settled yet. With the first count this page says how far the books \
                      can be trusted."
                .to_owned()
        }
        (Some(last), 1) => {
            format!("In the one count so far the books were right in {} of the lines.", share(last))
        }
        (Some(last), _) => format!("In the last count the books were right in {} of the lines.", share(last)),
    }
}

fn picture(found: &Found) -> String {
    let latest = found.counts.iter().rev().take(12).rev();
    let each: Vec<Bar> = latest
        .map(|group| Bar { name: group.name.clone(), value: percent(group), said: share(group) })
        .collect();
    if each.is_empty() {
        return String::new();
    }
    let caption = "Each bar is one count: the share of its lines in which the books were right or within what the club \
                   lets pass.";
    bars(
        "accuracy",
        &Bars {
            title: "How right the books were, count by count".to_owned(),
            caption: caption.to_owned(),
            bars: each,
            mark: None,
        },
    )
}

fn class_row(site: &Site, doer: &Doer, class: Class, turns: &[Turn]) -> ClassRow {
    let today = doer.today();
    let own: Vec<&Turn> = turns.iter().filter(|turn| turn.class == class).collect();
    let late: Vec<String> =
        own.iter().filter(|turn| turn.due_on < today).map(|turn| turn.item.to_string()).collect();
    let begin = (!late.is_empty()).then(|| {
        let count = i64::try_from(late.len()).unwrap_or(i64::MAX);
        let title = format!("Items of class {}", class.letter());
        let title: String = form_urlencoded::byte_serialize(title.as_bytes()).collect();
        let href = site.at(&format!("/counts/new?title={title}&items={}", late.join(",")));
        (href, format!("Count the {} that {} overdue", count, if count == 1 { "is" } else { "are" }))
    });
    let row = |turn: &&Turn| TurnRow {
        href: site.at(&format!("/stores/items/{}", turn.item)),
        name: turn.name.clone(),
        used: words::figure(turn.used),
        counted: turn.counted_on.map_or_else(|| "never".to_owned(), |day| words::day(day, today)),
        due: days::short(turn.due_on, today),
        late: turn.due_on < today,
    };
    ClassRow {
        letter: class.letter(),
        every: class.every_days(),
        items: own.iter().map(row).collect(),
        begin,
    }
}
