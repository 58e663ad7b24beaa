//! On paper: which bag holds what for the host, what is poured from which bag for whoever pours, the trays, and blank
//! sheets for tasters without a phone.

use askama::Template;

use super::{Found, about, find, missing};
use crate::domain::members::{Onlooker, Taster};
use crate::domain::tastings::sheet::Attribute;
use crate::domain::tastings::{Method, Seat, State, Table};
use crate::units::ids::TastingId;
use crate::web::extract::Path;
use crate::web::frame::Frame;
use crate::web::respond::{self, Reply};
use crate::web::site::{Room, Site};

#[derive(Template)]
#[template(path = "tastings/pouring.html")]
struct PouringPage {
    frame: Frame,
    href: String,
    title: String,
    about: String,
    /// The letter of each bag, and what is wrapped in it.
    bags: Vec<(char, String)>,
    /// The letter of each bag, and the codes that are poured from it.
    pouring: Vec<(char, String)>,
    /// Before whom which codes stand, in order.
    trays: Vec<(String, String)>,
    known: Option<char>,
    blind: bool,
    pour: String,
    pourer: Option<String>,
}

fn codes(serving: &[u16]) -> String {
    serving.iter().map(u16::to_string).collect::<Vec<_>>().join(" · ")
}

/// Shows what is wrapped, or what is poured, to whom it concerns.
pub async fn pouring(who: Onlooker, site: Site, path: Path<TastingId>) -> Reply {
    let id = path.0;
    let (facts, found) = site.read(&who, move |conn, doer| find(conn, doer, id)).await?;
    let Found { table, .. } = found.ok_or_else(missing)?;
    table.tasting.expect(&[State::AtTheTable, State::Open])?;
    let seen = table.seen_by(&who);
    let tray = |seat: &&Seat| (seat.name.clone(), codes(&seat.serving));
    let page = PouringPage {
        title: table.tasting.title.clone(),
        about: about(&table, who.today()),
        bags: seen.bags.iter().filter_map(|sample| Some((sample.bag?, sample.name()))).collect(),
        trays: if seen.sight.pouring {
            table.seats.iter().filter(|seat| seat.tastes()).map(|seat| tray(&seat)).collect()
        } else {
            Vec::new()
        },
        known: table
            .samples
            .first()
            .and_then(|sample| sample.bag)
            .filter(|_| table.tasting.method == Method::DuoTrio && seen.sight.pouring),
        pouring: seen.pouring.iter().map(|(bag, glasses)| (*bag, codes(glasses))).collect(),
        blind: table.tasting.blind,
        pour: table.tasting.pour_volume.shown(crate::units::quantity::BaseUnit::Millilitre),
        pourer: table.tasting.pourer.as_ref().map(|pourer| pourer.1.clone()),
        frame: site.frame(&who, Room::Tastings, &format!("Bags and glasses, {}", table.tasting.title), facts),
        href: site.at(&format!("/tastings/{id}")),
    };
    respond::page(&page)
}

#[derive(Template)]
#[template(path = "tastings/paper.html")]
struct PaperPage {
    frame: Frame,
    href: String,
    title: String,
    about: String,
    question: String,
    allergens: String,
    lines: Vec<Attribute>,
    sheets: Vec<PaperSheet>,
    method: Method,
}

struct PaperSheet {
    name: String,
    codes: Vec<u16>,
}

/// Shows sheets to be printed: everybody's for the host and whoever pours, one's own for a taster.
pub async fn sheets(who: Taster, site: Site, path: Path<TastingId>) -> Reply {
    let id = path.0;
    let (facts, found) = site.read(&who, move |conn, doer| find(conn, doer, id)).await?;
    let Found { table, .. } = found.ok_or_else(missing)?;
    table.tasting.expect(&[State::AtTheTable])?;
    let all = table.seen_by(&who).runs || table.tasting.sight(who.member).pouring;
    let seats = table.seats.iter().filter(|seat| seat.tastes() && (all || seat.member == who.member));
    let page = PaperPage {
        title: table.tasting.title.clone(),
        about: about(&table, who.today()),
        question: table.tasting.question.clone(),
        allergens: table.allergens().join(", "),
        lines: lines(&table),
        sheets: seats
            .map(|seat| PaperSheet { name: seat.name.clone(), codes: seat.serving.clone() })
            .collect(),
        method: table.tasting.method,
        frame: site.frame(&who, Room::Tastings, &format!("Sheets on paper, {}", table.tasting.title), facts),
        href: site.at(&format!("/tastings/{id}")),
    };
    respond::page(&page)
}

fn lines(table: &Table) -> Vec<Attribute> {
    if table.tasting.method == Method::Scored { table.attributes.clone() } else { Vec::new() }
}
