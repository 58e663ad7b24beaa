//! One entry of the books, and taking it back from wherever it is shown.

use askama::Template;

use super::bills::BillsView;
use super::body::Form;
use super::extract::Path;
use super::forms::{Field, FormView};
use super::frame::Frame;
use super::input::{Draft, Reader};
use super::problem::Problem;
use super::respond::{self, Reply};
use super::site::{Room, Site};
use super::trail::{self, Trail};
use super::words;
use crate::actions::reversals::{TakeBack, record_reversal};
use crate::db::books::{self, Told, Which};
use crate::db::{AnyConn, Failure, bills};
use crate::domain::books::{Account, EntryKind};
use crate::domain::members::{Cellarhand, Doer, Onlooker};
use crate::domain::refusal::Refusal;
use crate::units::ids::{EntryId, MemberId};

/// One entry.
#[derive(Template)]
#[template(path = "entry.html")]
pub(super) struct EntryPage {
    frame: Frame,
    title: &'static str,
    back: (String, String),
    /// Of a receipt: its bill.
    bills: Option<BillsView>,
    trail: Trail,
    lines: Vec<Line>,
    currency: String,
    /// Of a receipt: whom to tell if something is wrong with what it brought.
    recall: Option<String>,
    /// Of a receipt that stands: the labels of its lots.
    labels: Option<String>,
}

/// An entry that cannot be reversed, with those that stand in the way.
#[derive(Template)]
#[template(path = "refused.html")]
struct RefusedPage {
    frame: Frame,
    back: (String, String),
    form: FormView,
    trail: Trail,
}

/// Entries in the way that are shown.
const IN_THE_WAY: usize = 12;

/// One posting in words.
struct Line {
    account: String,
    quantity: String,
    cost: String,
}

/// Shows an entry with its lines.
pub async fn show(who: Onlooker, site: Site, path: Path<EntryId>) -> Reply {
    respond::page(&page(&site, &who, path.0, |view| view).await?)
}

/// The page of an entry; `fill` puts into the form for its bill what stood in the way.
pub(super) async fn page(
    site: &Site,
    who: &Doer,
    id: EntryId,
    fill: impl FnOnce(FormView) -> FormView,
) -> Result<EntryPage, Problem> {
    let (facts, (told, bills)) = site
        .read(who, move |conn, doer| Ok((one(conn, doer, id)?, bills::of_entry(conn, doer.club, id)?)))
        .await?;
    let told = told.ok_or_else(|| Problem::missing("entry"))?;
    let title = told.kind.label();
    let receipt = told.kind == EntryKind::Receipt;
    let bills = receipt.then(|| {
        let mut view = BillsView::new(site, who, told.id, told.reversed.is_none(), &bills);
        view.add = view.add.map(fill);
        view
    });
    let wrong = bills.as_ref().is_some_and(BillsView::is_wrong);
    let title = if wrong { format!("Problem: {title}") } else { title.to_owned() };
    Ok(EntryPage {
        bills,
        back: back(site, &told),
        trail: trail_of(site, who, std::slice::from_ref(&told), None),
        recall: receipt.then(|| site.at(&format!("/recall/receipts/{}", told.id))),
        labels: (receipt && told.reversed.is_none())
            .then(|| site.at(&format!("/entries/{}/labels", told.id))),
        lines: told.lines.iter().map(line).collect(),
        currency: words::sign(&who.currency).trim().to_owned(),
        title: told.kind.label(),
        frame: site.frame(who, room(&told), &title, facts),
    })
}

fn one(conn: &mut AnyConn, doer: &Doer, id: EntryId) -> Result<Option<Told>, Failure> {
    let told = books::tell(conn, doer.club, Which::One(id), None, 1)?.pop();
    Ok(told.filter(|told| told.may_be_told_to(doer)))
}

/// Entries as a trail with a key for each form.
pub fn trail_of(site: &Site, doer: &Doer, entries: &[Told], more: Option<String>) -> Trail {
    let form = || site.form("", "", "");
    Trail {
        base: site.at(""),
        form_token: form().form_token,
        keys: entries.iter().map(|_| form().request_key).collect(),
        rows: entries.iter().map(|told| trail::row(told, doer)).collect(),
        more,
    }
}

/// The section of its home.
fn room(told: &Told) -> Room {
    match (told.bottling, told.batch, paid_by(told)) {
        (Some(_), ..) => Room::Bottles,
        (None, Some(_), _) => Room::Batches,
        (None, None, Some(_)) => Room::Reports,
        (None, None, None) => Room::Stores,
    }
}

/// Where an entry is at home: its bottling, its batch, the statement of the member who paid, or the stores.
fn home(told: &Told) -> String {
    match (told.bottling, told.batch, paid_by(told)) {
        (Some(bottling), ..) => format!("/bottles/{bottling}"),
        (None, Some(batch), _) => format!("/batches/{batch}"),
        (None, None, Some(member)) => format!("/reports/members/{member}"),
        (None, None, None) => "/stores".to_owned(),
    }
}

/// The member of a payment.
fn paid_by(told: &Told) -> Option<MemberId> {
    let kind = told.reverses.map_or(told.kind, |reverses| reverses.1);
    let member = told.lines.iter().find_map(|line| match line.account {
        Account::Settled(member) => Some(member),
        _ => None,
    });
    member.filter(|_| kind == EntryKind::Payment)
}

fn back(site: &Site, told: &Told) -> (String, String) {
    let name = match room(told) {
        Room::Bottles => "The bottling",
        Room::Batches => "The batch",
        Room::Reports => "The statement",
        _ => "Stores",
    };
    (site.at(&home(told)), name.to_owned())
}

fn line(line: &crate::db::books::ToldLine) -> Line {
    let name = line.name.clone().unwrap_or_default();
    let account = match line.account {
        Account::Stock { .. } => {
            let (lot, item) = line.lot.clone().unwrap_or_default();
            format!("{item}, lot {lot}, {}", line.place.clone().unwrap_or_default())
        }
        Account::Batch(_) => format!("Batch {name}"),
        Account::Member(_) => name,
        Account::Payer(_) => format!("Paid by {name}"),
        Account::Settled(_) => format!("Between {name} and the club"),
        Account::Purse => "The club’s purse".to_owned(),
        Account::Lost => "Lost".to_owned(),
        Account::Tasted => "Opened for tastings".to_owned(),
        Account::Given => "Given away".to_owned(),
        Account::Difference => "Count differences".to_owned(),
    };
    let unit = line.unit.unwrap_or(crate::units::quantity::BaseUnit::Millilitre);
    let quantity = match line.account {
        Account::Stock { .. } | Account::Batch(_) => line.quantity.shown(unit),
        _ => String::new(),
    };
    Line { account, quantity, cost: words::figure(line.cost) }
}

/// Reads why an entry is taken back.
pub fn read_reversal(draft: &Draft, doer: &Doer, entry: EntryId) -> Result<TakeBack, Refusal> {
    draft.read(doer, |r: &mut Reader| TakeBack { entry, reason: r.line("reason", 300, "why it is reversed") })
}

/// Takes an entry back.
pub async fn reverse(hand: Cellarhand, site: Site, path: Path<EntryId>, form: Form) -> Reply {
    let (facts, told) = site.read(&hand, move |conn, doer| one(conn, doer, path.0)).await?;
    let told = told.ok_or_else(|| Problem::missing("entry"))?;
    let done = async {
        let order = read_reversal(&form.draft, &hand, told.id)?;
        record_reversal(&site.db, &hand, form.key.clone(), order).await
    };
    match done.await {
        Ok(_) => Ok(site.see_other(&format!("{}#e-{}", home(&told), told.id))),
        Err(error) => {
            let refusal = Problem::or_refusal(error)?;
            let view = form.back(reversal_form(&site, &told, &hand), &refusal);
            let ids = refusal.entries.clone();
            let (_, in_the_way) = site.read(&hand, move |conn, doer| named(conn, doer, &ids)).await?;
            let frame = site.frame(&hand, room(&told), "Problem: Reverse an entry", facts);
            let page = RefusedPage {
                frame,
                back: back(&site, &told),
                form: view,
                trail: trail_of(&site, &hand, &in_the_way, None),
            };
            respond::refused(&page, &refusal)
        }
    }
}

/// The first of these entries, the latest first.
fn named(conn: &mut AnyConn, doer: &Doer, ids: &[EntryId]) -> Result<Vec<Told>, Failure> {
    let mut found = Vec::new();
    for id in ids.iter().take(IN_THE_WAY) {
        found.extend(one(conn, doer, *id)?);
    }
    found.sort_by_key(|told| std::cmp::Reverse(told.id));
    Ok(found)
}

fn reversal_form(site: &Site, told: &Told, doer: &Doer) -> FormView {
    let row = trail::row(told, doer);
    site.form(&format!("/entries/{}/reversal", told.id), "Reverse an entry", "Reverse the entry")
        .intro(format!("{} ({})", row.title, row.when))
        .fields([Field::text("reason", "Why is it reversed?")])
        .leave(site.at(&home(told)))
}
