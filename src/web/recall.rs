//! A recall: whom to tell, what still stands where, and in which batch and vessel some of it is. Printed clean, and as
//! a file of whom to tell.

use askama::Template;

use super::extract::Path;
use super::frame::Frame;
use super::problem::Problem;
use super::respond::{self, Reply};
use super::site::{Room, Site};
use super::spreadsheet::{self, Cell};
use super::words;
use crate::db::holds;
use crate::db::reminders::Facts;
use crate::db::stock;
use crate::db::trace::recall::{self as rows, Gone, Recall, Told};
use crate::db::{AnyConn, Failure};
use crate::domain::holds::Hold;
use crate::domain::members::{Doer, Onlooker};
use crate::units::days;
use crate::units::ids::{EntryId, LotId};
use crate::units::quantity::{BaseUnit, Milli};

/// From what a recall starts.
#[derive(Debug, Clone, Copy)]
pub enum From {
    /// A lot, or the lot of a bottling.
    Lot(LotId),
    /// All lots of a receipt.
    Receipt(EntryId),
}

#[derive(Template)]
#[template(path = "stores/recall.html")]
struct RecallPage {
    frame: Frame,
    up: (String, String),
    what: String,
    lead: String,
    cut: bool,
    csv: String,
    /// To hold everything that came of it.
    hold: Option<String>,
    tell: Vec<TellRow>,
    shelves: Vec<ShelfRow>,
    batches: Vec<BatchRow>,
    gone: Vec<GoneRow>,
}

struct TellRow {
    name: String,
    left: String,
    bottles: i64,
    when: String,
    tastings: String,
}

struct ShelfRow {
    href: String,
    what: String,
    place: String,
    much: String,
    held: String,
}

struct BatchRow {
    href: String,
    name: String,
    about: String,
    inside: bool,
}

struct GoneRow {
    day: String,
    code: String,
    bottles: i64,
    who: String,
    remark: String,
}

/// Everything of a recall, with what is on hold of it.
pub struct Seen {
    what: String,
    /// Whom to tell, what stands where, in which batch.
    pub recall: Recall,
    held: Vec<Hold>,
}

/// Reads it.
pub fn seen(conn: &mut AnyConn, doer: &Doer, from: From) -> Result<Seen, Failure> {
    let club = doer.club;
    let (of, what) = match from {
        From::Lot(id) => {
            let lot = stock::lot(conn, club, id)?;
            (vec![id], format!("Lot {}, {}", lot.code, lot.item.name))
        }
        From::Receipt(entry) => {
            let of = rows::of_receipt(conn, club, entry)?;
            let told =
                crate::db::books::tell(conn, club, crate::db::books::Which::One(entry), None, 1)?.pop();
            let code = told.and_then(|told| told.code).unwrap_or_default();
            let count = i64::try_from(of.len()).unwrap_or(i64::MAX);
            (of, format!("Receipt {code}, {}", words::count(count, "lot", "lots")))
        }
    };
    let recall = rows::recall(conn, club, &of)?;
    let lots: Vec<LotId> = recall.lots.iter().map(|found| found.lot).collect();
    Ok(Seen { what, held: holds::of_lots(conn, club, &lots)?, recall })
}

async fn page(who: &Onlooker, site: &Site, from: From) -> Reply {
    let read = site.read(who, move |conn, doer| match seen(conn, doer, from) {
        Err(Failure::Gone) => Ok(None),
        found => found.map(Some),
    });
    let (facts, seen) = read.await?;
    let seen =
        seen.ok_or_else(|| Problem::missing(if matches!(from, From::Lot(_)) { "lot" } else { "receipt" }))?;
    respond::page(&shown(site, who, from, facts, &seen))
}

fn shown(site: &Site, who: &Doer, from: From, facts: Facts, seen: &Seen) -> RecallPage {
    let (up, base) = match from {
        From::Lot(id) => {
            ((site.at(&format!("/stores/lots/{id}")), "The lot".to_owned()), format!("/recall/lots/{id}"))
        }
        From::Receipt(id) => {
            ((site.at(&format!("/entries/{id}")), "The receipt".to_owned()), format!("/recall/receipts/{id}"))
        }
    };
    let recall = &seen.recall;
    let may_hold = who.role >= crate::domain::members::Role::Cellarhand;
    let hold = match from {
        From::Lot(id) if may_hold => Some(site.at(&format!("/stores/lots/{id}/hold"))),
        _ => None,
    };
    RecallPage {
        what: seen.what.clone(),
        lead: lead(recall),
        cut: recall.cut,
        csv: site.at(&format!("{base}/members.csv")),
        hold,
        tell: recall.tell.iter().map(|told| tell_row(told, who)).collect(),
        shelves: shelves(site, seen, who),
        batches: recall
            .batches
            .iter()
            .map(|batch| {
                let vessels: Vec<String> =
                    batch.vessels.iter().map(|(code, place)| format!("vessel {code}, {place}")).collect();
                let left = batch.left.shown(BaseUnit::Millilitre);
                let inside = batch.left > Milli::ZERO;
                let stands =
                    if vessels.is_empty() { String::new() } else { format!(" in {}", vessels.join("; ")) };
                BatchRow {
                    href: site.at(&format!("/batches/{}", batch.batch)),
                    name: format!("Batch {}, {}", batch.code, batch.drink),
                    about: if inside {
                        format!("{}: {left}{stands}", batch.stage.label())
                    } else {
                        format!("{}: nothing in it", batch.stage.label())
                    },
                    inside,
                }
            })
            .collect(),
        gone: recall.gone.iter().map(|gone| gone_row(gone, who)).collect(),
        frame: site.frame(who, Room::Stores, "Recall", facts),
        up,
    }
}

fn lead(recall: &Recall) -> String {
    let members = i64::try_from(recall.tell.len()).unwrap_or(i64::MAX);
    let taken: i64 = recall.gone.iter().filter(|gone| gone.member.is_some()).map(|gone| gone.bottles).sum();
    let bottled: Vec<LotId> =
        recall.lots.iter().filter(|found| found.bottling.is_some()).map(|found| found.lot).collect();
    let here =
        recall.stands.iter().filter(|row| bottled.contains(&row.0)).map(|row| row.2.get() / 1000).sum();
    let inside = recall.batches.iter().filter(|batch| batch.left > Milli::ZERO).count();
    let batches = match inside {
        0 => "no batch holds".to_owned(),
        1 => "one batch holds".to_owned(),
        more => format!("{more} batches hold"),
    };
    format!(
        "{} to tell, who took {}. {} in the cellar, and {batches} some of it.",
        words::count(members, "member", "members"),
        words::count(taken, "bottle", "bottles"),
        words::count(here, "bottle of it stands", "bottles of it stand"),
    )
}

fn tell_row(told: &Told, who: &Doer) -> TellRow {
    let today = who.today();
    TellRow {
        name: told.name.clone(),
        left: told
            .left_on
            .map(|day| format!("left the club {}", days::short(day, today)))
            .unwrap_or_default(),
        bottles: told.bottles,
        when: match told.days {
            None => String::new(),
            Some((first, last)) if first == last => days::short(first, today),
            Some((first, last)) => format!("{} to {}", days::short(first, today), days::short(last, today)),
        },
        tastings: told.tastings.join("; "),
    }
}

fn shelves(site: &Site, seen: &Seen, who: &Doer) -> Vec<ShelfRow> {
    let row = |(lot, place, left): &(LotId, String, Milli)| {
        let found = seen.recall.lots.iter().find(|found| found.lot == *lot)?;
        let bottles = found.bottling.is_some();
        let held = seen.held.iter().find(|hold| hold.lot == *lot);
        Some(ShelfRow {
            href: site.at(&format!("/stores/lots/{lot}")),
            what: format!("{}, {}", found.item, found.code),
            place: place.clone(),
            much: if bottles {
                words::count(left.get() / 1000, "bottle", "bottles")
            } else {
                left.shown(found.unit)
            },
            held: held.map_or_else(
                || "not on hold".to_owned(),
                |hold| format!("on hold since {}", days::short(hold.since, who.today())),
            ),
        })
    };
    seen.recall.stands.iter().filter_map(row).collect()
}

fn gone_row(gone: &Gone, who: &Doer) -> GoneRow {
    GoneRow {
        day: days::short(gone.day, who.today()),
        code: gone.code.clone(),
        bottles: gone.bottles,
        who: match gone.who.as_str() {
            "tasted" => "opened for a tasting".to_owned(),
            "given" => "given away".to_owned(),
            "lost" => "broken or spoilt".to_owned(),
            name => name.to_owned(),
        },
        remark: gone.remark.clone(),
    }
}

/// The recall of a lot.
pub async fn of_lot(who: Onlooker, site: Site, path: Path<LotId>) -> Reply {
    page(&who, &site, From::Lot(path.0)).await
}

/// The recall of a receipt.
pub async fn of_receipt(who: Onlooker, site: Site, path: Path<EntryId>) -> Reply {
    page(&who, &site, From::Receipt(path.0)).await
}

/// Whom to tell of a lot, as a file.
pub async fn lot_file(who: Onlooker, site: Site, path: Path<LotId>) -> Reply {
    file(&who, &site, From::Lot(path.0)).await
}

/// Whom to tell of a receipt, as a file.
pub async fn receipt_file(who: Onlooker, site: Site, path: Path<EntryId>) -> Reply {
    file(&who, &site, From::Receipt(path.0)).await
}

const HEADER: &[&str] = &["member", "left_on", "bottles", "first_taken", "last_taken", "tastings"];

async fn file(who: &Onlooker, site: &Site, from: From) -> Reply {
    let doer = Doer::clone(who);
    let seen = site.db.read(move |conn| seen(conn, &doer, from)).await?;
    let leaving = spreadsheet::leaving(site, who, "exported whom to tell of a recall").await?;
    let iso = |day: Option<days::Day>| Cell::ours(day.map(days::iso).unwrap_or_default());
    let rows = seen.recall.tell.into_iter().map(move |told| {
        vec![
            Cell::typed(told.name),
            iso(told.left_on),
            Cell::ours(told.bottles.to_string()),
            iso(told.days.map(|days| days.0)),
            iso(told.days.map(|days| days.1)),
            Cell::typed(told.tastings.join("; ")),
        ]
    });
    spreadsheet::csv(&leaving, "recall.csv", HEADER, rows)
}
