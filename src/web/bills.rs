//! The bill of a receipt, on the page of its entry: what is kept, adding to it, opening it, striking it out.
//!
//! A file is served as what its bytes are and nothing else (see [`crate::domain::bills`]): a picture is shown by the
//! browser, a PDF is handed over as a file, since it may hold script of its own for its reader.

use actix_web::HttpResponse;
use askama::Template;

use super::body::{BillForm, Form};
use super::extract::Path;
use super::form_page::FormPage;
use super::forms::{Field, FormView};
use super::input::Draft;
use super::problem::Problem;
use super::respond::{self, Reply};
use super::site::{Room, Site, fresh_key};
use super::{entries, words};
use crate::actions::bills::{self as acts, NewBills, StrikeBill};
use crate::db::{Failure, bills as rows};
use crate::domain::bills::{self as rules, Bill, FileKind};
use crate::domain::members::{Cellarhand, Doer, Onlooker, Role};
use crate::domain::refusal::{Fault, Refusal};
use crate::units::ids::{BillId, EntryId};

/// What is kept with a receipt.
#[derive(Template)]
#[template(path = "bills/list.html")]
pub struct BillsView {
    rows: Vec<BillRow>,
    form_token: String,
    /// Where one may be added.
    pub add: Option<FormView>,
}

struct BillRow {
    id: String,
    name: String,
    href: Option<String>,
    kind: &'static str,
    size: String,
    added: String,
    struck: Option<String>,
    /// Where it is struck out, and the key of that form.
    strike: Option<(String, String)>,
}

impl BillsView {
    /// The bills of a receipt that `stands`, as this member may see and change them.
    pub fn new(site: &Site, who: &Doer, entry: EntryId, stands: bool, bills: &[Bill]) -> Self {
        let may_record = who.role >= Role::Cellarhand;
        Self {
            rows: bills.iter().map(|bill| row(site, who, bill, may_record)).collect(),
            form_token: site.form_token().to_owned(),
            add: (may_record && stands).then(|| add_form(site, entry)),
        }
    }
}

impl BillsView {
    /// Whether something stood in the way of adding one.
    pub fn is_wrong(&self) -> bool {
        self.add.as_ref().is_some_and(|form| !form.problems.is_empty())
    }
}

fn address(bill: &Bill) -> String {
    format!("/entries/{}/bills/{}", bill.entry, bill.id)
}

fn row(site: &Site, who: &Doer, bill: &Bill, may_record: bool) -> BillRow {
    let here = site.at(&address(bill));
    let stands = bill.struck.is_none();
    BillRow {
        id: bill.id.to_string(),
        name: called(bill),
        href: stands.then(|| here.clone()),
        kind: bill.kind.label(),
        size: rules::size(bill.size),
        added: format!("{} · {}", words::when(bill.at, who), bill.by),
        struck: bill
            .struck
            .as_ref()
            .map(|(by, at, why)| format!("Struck out by {by} on {}: {why}", words::when(*at, who))),
        strike: (may_record && stands).then(|| (format!("{here}/strike"), fresh_key())),
    }
}

fn called(bill: &Bill) -> String {
    if bill.name.is_empty() { "Bill".to_owned() } else { bill.name.clone() }
}

/// The field in which the files are chosen.
pub fn field() -> Field {
    Field::pictures("bills", "The bill: photos or PDFs").hint(format!(
        "Up to {} files of {} each, as JPEG, PNG, WebP or PDF. Leave it empty if there is none.",
        rules::MOST_FILES,
        rules::size(rules::MOST_BYTES)
    ))
}

fn add_form(site: &Site, entry: EntryId) -> FormView {
    let hint = format!(
        "Up to {} files of {} each, as JPEG, PNG, WebP or PDF.",
        rules::MOST_FILES,
        rules::size(rules::MOST_BYTES)
    );
    site.form(&format!("/entries/{entry}/bills"), "", "Keep it with the receipt").fields([Field::pictures(
        "bills",
        "Photos or PDFs of the bill",
    )
    .hint(hint)])
}

/// Says that files have to be chosen again, as a browser does not put them into a form that comes back.
pub fn choose_again(refusal: &mut Refusal, sent: bool) {
    if sent && refusal.faults.iter().all(|fault| fault.field != "bills") {
        let message = "Choose the photos or PDFs of the bill again: a browser does not keep them".to_owned();
        refusal.faults.push(Fault { field: "bills".to_owned(), message });
    }
}

/// Keeps files with a receipt.
pub async fn add(hand: Cellarhand, site: Site, path: Path<EntryId>, mut sent: BillForm) -> Reply {
    let entry = path.0;
    let done = async {
        let files = sent.bills()?;
        acts::add_bills(&site.db, &hand, sent.form.key.clone(), NewBills { entry, files }).await
    };
    match done.await {
        Ok(_) => Ok(site.see_other(&format!("/entries/{entry}#bill"))),
        Err(error) => {
            let refusal = Problem::or_refusal(error)?;
            let page = entries::page(&site, &hand, entry, |view| sent.form.back(view, &refusal)).await?;
            respond::refused(&page, &refusal)
        }
    }
}

/// A file, as what it is.
pub async fn open(who: Onlooker, site: Site, path: Path<(EntryId, BillId)>) -> Reply {
    file(&who, &site, path.0).await
}

/// The same for pages and programs.
pub async fn file(who: &Doer, site: &Site, (entry, bill): (EntryId, BillId)) -> Reply {
    let club = who.club;
    let found = site.db.read(move |conn| rows::file(conn, club, entry, bill)).await;
    let bytes = found.map_err(|failure| match failure {
        Failure::Gone => Problem::missing("bill"),
        other => other.into(),
    })?;
    // By what it holds, whatever else is said of it.
    let kind = FileKind::of(&bytes).ok_or_else(|| Problem::fault("a bill is of no known kind"))?;
    let how = if kind == FileKind::Pdf { "attachment" } else { "inline" };
    let name = format!("{how}; filename=\"bill-{bill}.{}\"", kind.code());
    let mut answer = HttpResponse::Ok();
    Ok(answer.content_type(kind.media_type()).insert_header(("Content-Disposition", name)).body(bytes))
}

/// Why a bill is struck out.
pub fn read_strike(
    draft: &Draft,
    doer: &Doer,
    (entry, bill): (EntryId, BillId),
) -> Result<StrikeBill, Refusal> {
    draft.read(doer, |r| StrikeBill { entry, bill, reason: r.line("reason", 300, "why it is struck out") })
}

/// Strikes a bill out.
pub async fn strike(hand: Cellarhand, site: Site, path: Path<(EntryId, BillId)>, form: Form) -> Reply {
    let (entry, id) = path.0;
    let done = async {
        let order = read_strike(&form.draft, &hand, path.0)?;
        acts::strike_bill(&site.db, &hand, form.key.clone(), order).await
    };
    match done.await {
        Ok(_) => Ok(site.see_other(&format!("/entries/{entry}#bill"))),
        Err(error) => {
            let refusal = Problem::or_refusal(error)?;
            let (facts, found) =
                site.read(&hand, move |conn, doer| rows::of_entry(conn, doer.club, entry)).await?;
            let bill =
                found.into_iter().find(|bill| bill.id == id).ok_or_else(|| Problem::missing("bill"))?;
            let view = site
                .form(&format!("{}/strike", address(&bill)), "Strike a bill out", "Strike it out")
                .intro(format!("{}. What it shows is gone then; that it was here stays.", called(&bill)))
                .fields([Field::text("reason", "Why is it struck out?")])
                .leave(site.at(&format!("/entries/{entry}")));
            let frame = site.frame(&hand, Room::Stores, "Strike a bill out", facts);
            let up = Some((site.at(&format!("/entries/{entry}")), "The receipt".to_owned()));
            respond::refused(&FormPage::new(frame, up, form.back(view, &refusal)), &refusal)
        }
    }
}
