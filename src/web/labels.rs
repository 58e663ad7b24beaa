//! Labels of a bottling, of a lot, or of all lots of a receipt: chosen on a page, printed from a PDF on sheets of any
//! printer.

use askama::Template;

use super::bottles::size;
use super::extract::{Path, Query};
use super::forms::{Choice, Field, FormView};
use super::frame::Frame;
use super::input::{Draft, Reader};
use super::paper::bound;
use super::paper::label::{Printing, calibration, fits, labels};
use super::problem::Problem;
use super::respond::{self, Reply};
use super::site::{Room, Site};
use super::spreadsheet::leaving;
use super::words;
use crate::db::books::{self, Which};
use crate::db::stock::{self, Bringing, Brought};
use crate::db::{AnyConn, Failure, bottles, counts, trace};
use crate::domain::labels::{Label, MOST, OFF_TENTHS, SHEETS, Sheet, contains};
use crate::domain::members::{Doer, Onlooker};
use crate::domain::refusal::Refusal;
use crate::units::days;
use crate::units::ids::{BottlingId, EntryId, LotId};

/// How labels are printed.
#[derive(Debug, serde::Deserialize, utoipa::ToSchema)]
pub struct LabelsQuery {
    /// The sheet: a4-2x4, a4-3x8, a4-2x4-full, a4-3x7, letter-2x3 or letter-3x10.
    pub sheet: Option<String>,
    /// How many labels; of a receipt, how many of each lot is asked as `each.` with its code.
    pub count: Option<String>,
    /// How many of the first sheet are used already.
    pub used: Option<String>,
    /// How far the printer is off to the right, mm.
    pub right: Option<String>,
    /// How far the printer is off downwards, mm.
    pub down: Option<String>,
    /// How it is kept, in a few words.
    pub keep: Option<String>,
    /// `yes` for a sheet with frames to measure.
    pub calibration: Option<String>,
}

/// The field that asks how many of a label that is alone.
const COUNT: &str = "count";
const HOW_MANY: &str = "How many?";

/// What is labelled.
#[derive(Debug, Clone, Copy)]
enum Of {
    Bottling(BottlingId),
    Lot(LotId),
    Receipt(EntryId),
}

/// What is known of it.
struct Found {
    /// The different labels.
    labels: Vec<Known>,
    /// Its name for the audit log and the file: "bottling 36-1".
    name: String,
    /// How the way back to it is called.
    up: String,
    keep: &'static str,
    room: Room,
}

/// One label, and how it is asked for.
struct Known {
    /// The field that asks how many.
    field: String,
    /// What it asks.
    asks: String,
    /// How many labels are usual.
    count: i64,
    /// Where its code leads.
    short: String,
    label: Label,
}

#[derive(Template)]
#[template(path = "labels/labels.html")]
struct LabelsPage {
    frame: Frame,
    up: (String, String),
    title: String,
    lead: &'static str,
    form: FormView,
    labels: Vec<Label>,
}

impl Of {
    fn page(self) -> String {
        match self {
            Self::Bottling(id) => format!("/bottles/{id}"),
            Self::Lot(id) => format!("/stores/lots/{id}"),
            Self::Receipt(id) => format!("/entries/{id}"),
        }
    }
}

/// A short address, so that its code has few squares.
fn short(lot: LotId) -> String {
    format!("/l/{lot}")
}

fn find(conn: &mut AnyConn, doer: &Doer, of: Of) -> Result<Option<Found>, Failure> {
    let found = match of {
        Of::Bottling(id) => of_bottling(conn, doer, id),
        Of::Lot(id) => of_lot(conn, doer, id),
        Of::Receipt(id) => of_receipt(conn, doer, id),
    };
    match found {
        Err(Failure::Gone) => Ok(None),
        found => found.map(Some),
    }
}

fn of_bottling(conn: &mut AnyConn, doer: &Doer, id: BottlingId) -> Result<Found, Failure> {
    let bottling = bottles::bottling(conn, doer.club, id)?;
    let allergens = trace::allergens(conn, bottling.lot)?;
    let ages = bottles::tastings(conn, doer.club, &[id])?.remove(&id).unwrap_or_default();
    let mut lines = vec![
        doer.club_name.clone(),
        format!("Lot {}, bottled {}", bottling.code, days::long(bottling.bottled_on)),
    ];
    let strength = bottling.strength.map(|strength| format!(", about {:.1} % vol", strength.number()));
    lines.push(format!("{}{}", size(&bottling), strength.unwrap_or_default()));
    if let Some(first) = ages.iter().map(|age| age.age_days).min() {
        let best = bottling.bottled_on + chrono::Duration::days(first);
        lines.push(format!("Best from {}", days::long(best)));
    }
    let label =
        Label { name: bottling.name.clone(), lines, contains: contains(&allergens), ..Label::default() };
    let left = bottles::left_of(conn, &[id])?.get(&id).copied().unwrap_or_default();
    let hidden = counts::covered(conn, doer)?.hides_lot(bottling.lot);
    let count = if left > 0 && !hidden { left } else { bottling.bottles };
    Ok(Found {
        labels: vec![Known {
            field: COUNT.to_owned(),
            asks: HOW_MANY.to_owned(),
            count,
            short: format!("/b/{id}"),
            label,
        }],
        name: format!("bottling {}", bottling.code),
        up: bottling.name,
        keep: "Keep cool and dark.",
        room: Room::Bottles,
    })
}

fn of_lot(conn: &mut AnyConn, doer: &Doer, id: LotId) -> Result<Found, Failure> {
    stock::lot(conn, doer.club, id)?;
    let lot = stock::brought(conn, doer.club, Bringing::Lot(id))?.pop().ok_or(Failure::Gone)?;
    let label = lot_label(doer, &lot, &trace::allergens(conn, id)?);
    Ok(Found {
        name: format!("lot {}", lot.code),
        up: label.name.clone(),
        labels: vec![Known {
            field: COUNT.to_owned(),
            asks: HOW_MANY.to_owned(),
            count: 1,
            short: short(id),
            label,
        }],
        keep: "",
        room: Room::Stores,
    })
}

/// All lots of a receipt; of those of which nothing is left, no label is wanted.
fn of_receipt(conn: &mut AnyConn, doer: &Doer, id: EntryId) -> Result<Found, Failure> {
    let told = books::tell(conn, doer.club, Which::One(id), None, 1)?.pop().ok_or(Failure::Gone)?;
    let lots = stock::brought(conn, doer.club, Bringing::Receipt(id))?;
    if lots.is_empty() {
        return Err(Failure::Gone);
    }
    let name = format!("receipt {}", told.code.unwrap_or_default());
    let known = |lot: &Brought| Known {
        field: format!("each.{}", lot.code),
        asks: format!("{}: {}, {}", lot.code, lot.item.name, lot.quantity.shown(lot.item.unit)),
        count: i64::from(!lot.places.is_empty()),
        short: short(lot.lot),
        // Nothing went into what was bought but what its item states.
        label: lot_label(doer, lot, &lot.item.allergens),
    };
    let labels = lots.iter().map(known).collect();
    Ok(Found { labels, up: words::capital(&name), name, keep: "", room: Room::Stores })
}

fn lot_label(doer: &Doer, lot: &Brought, allergens: &[String]) -> Label {
    let mut lines =
        vec![doer.club_name.clone(), format!("Lot {}, came {}", lot.code, days::long(lot.came_on))];
    let much = std::iter::once(lot.quantity.shown(lot.item.unit));
    lines.push(much.chain(lot.places.iter().cloned()).collect::<Vec<_>>().join(", "));
    lines.extend(lot.best_before.map(|day| format!("Use by {}", days::long(day))));
    if !lot.supplier.is_empty() {
        lines.push([&*lot.supplier, &*lot.supplier_mark].join(" ").trim().to_owned());
    }
    Label { name: lot.item.name.clone(), lines, contains: contains(allergens), ..Label::default() }
}

/// Chooses the labels of a bottling.
pub async fn of_bottling_form(who: Onlooker, site: Site, id: Path<BottlingId>) -> Reply {
    form(who, site, Of::Bottling(id.0)).await
}

/// The labels of a bottling.
pub async fn of_bottling_file(
    who: Onlooker,
    site: Site,
    id: Path<BottlingId>,
    query: Query<LabelsQuery>,
) -> Reply {
    file(who, site, Of::Bottling(id.0), query.draft).await
}

/// Chooses the labels of a lot.
pub async fn of_lot_form(who: Onlooker, site: Site, id: Path<LotId>) -> Reply {
    form(who, site, Of::Lot(id.0)).await
}

/// The labels of a lot.
pub async fn of_lot_file(who: Onlooker, site: Site, id: Path<LotId>, query: Query<LabelsQuery>) -> Reply {
    file(who, site, Of::Lot(id.0), query.draft).await
}

/// Chooses the labels of all lots of a receipt.
pub async fn of_receipt_form(who: Onlooker, site: Site, id: Path<EntryId>) -> Reply {
    form(who, site, Of::Receipt(id.0)).await
}

/// The labels of all lots of a receipt.
pub async fn of_receipt_file(
    who: Onlooker,
    site: Site,
    id: Path<EntryId>,
    query: Query<LabelsQuery>,
) -> Reply {
    file(who, site, Of::Receipt(id.0), query.draft).await
}

/// From the short address of a code to the page of a bottling.
pub async fn to_bottling(_: Onlooker, site: Site, id: Path<BottlingId>) -> Reply {
    Ok(site.see_other(&Of::Bottling(id.0).page()))
}

/// From the short address of a code to the page of a lot.
pub async fn to_lot(_: Onlooker, site: Site, id: Path<LotId>) -> Reply {
    Ok(site.see_other(&Of::Lot(id.0).page()))
}

async fn form(who: Onlooker, site: Site, of: Of) -> Reply {
    let (facts, found) = site.read(&who, move |conn, doer| find(conn, doer, of)).await?;
    let found = found.ok_or_else(|| Problem::missing("label"))?;
    let frame = site.frame(&who, found.room, "Labels", facts);
    respond::page(&page(&site, of, &found, frame, &Draft::default()))
}

fn page(site: &Site, of: Of, found: &Found, frame: Frame, draft: &Draft) -> LabelsPage {
    let sheets = SHEETS.iter().map(|sheet| Choice::new(sheet.code, sheet.name())).collect();
    let or = |name: &str, usual: String| draft.typed(name).unwrap_or(usual);
    let keep = or("keep", found.keep.to_owned());
    let several = matches!(of, Of::Receipt(_));
    let each = found.labels.iter().map(|known| {
        Field::whole(&known.field, &known.asks).value(or(&known.field, known.count.to_string()))
    });
    let mut fields =
        vec![Field::select("sheet", "Sheets", sheets).value(or("sheet", SHEETS[0].code.to_owned()))];
    fields.extend(each);
    fields.extend([
        Field::whole("used", "Used already")
            .hint("Labels that are gone from the first sheet.")
            .value(or("used", "0".to_owned())),
        Field::text("keep", "How it is kept").hint("A few words, or nothing.").value(keep.clone()),
        Field::decimal("right", "The printer is too far right by")
            .hint("As the calibration sheet shows; with a minus if too far left.")
            .after("mm")
            .value(or("right", "0".to_owned())),
        Field::decimal("down", "and too far down by").after("mm").value(or("down", "0".to_owned())),
    ]);
    let form = site.form(&format!("{}/labels.pdf", of.page()), "", "Make the labels").fields(fields);
    LabelsPage {
        up: (site.at(&of.page()), found.up.clone()),
        title: title(found),
        lead: if several {
            "How many labels of each lot? A PDF in exact millimetres: print it at 100 %, not fitted to the page."
        } else {
            "A PDF in exact millimetres: print it at 100 %, not fitted to the page."
        },
        form,
        labels: finished(site, of, found, &keep),
        frame,
    }
}

fn title(found: &Found) -> String {
    format!("Labels of {}", found.name)
}

/// Every label with its code and what stands at its end.
fn finished(site: &Site, of: Of, found: &Found, keep: &str) -> Vec<Label> {
    let finish = |known: &Known| Label {
        remarks: remarks(keep, of),
        address: site.address(&known.short),
        ..known.label.clone()
    };
    found.labels.iter().map(finish).collect()
}

/// What stands at the end of a label.
fn remarks(keep: &str, of: Of) -> Vec<String> {
    let caution = match of {
        Of::Bottling(_) => "Not for minors, not in pregnancy. Open with care: it may be under pressure.",
        Of::Lot(_) | Of::Receipt(_) => "",
    };
    [keep, caution].into_iter().filter(|words| !words.is_empty()).map(str::to_owned).collect()
}

struct Asked {
    how: Printing,
    /// How many of each label.
    counts: Vec<u32>,
    keep: String,
    calibration: bool,
}

/// How many of a label. Of several, one that was left empty is not wanted.
fn count(r: &mut Reader, draft: &Draft, known: &Known, each: bool) -> u32 {
    let usual = u32::try_from(known.count).unwrap_or_default().min(MOST);
    let least = u32::from(!each);
    match r.optional_whole(&known.field, least..=MOST) {
        Some(count) => count,
        None if each && draft.typed("sheet").is_some() => 0,
        None => usual.max(least),
    }
}

fn read(draft: &Draft, doer: &Doer, of: Of, found: &Found) -> Result<Asked, Refusal> {
    draft.read(doer, |r| {
        let codes: Vec<Sheet> = SHEETS.to_vec();
        let sheet = if draft.typed("sheet").is_some() {
            r.choice("sheet", &codes, |sheet| sheet.code)
        } else {
            SHEETS[0]
        };
        let each = matches!(of, Of::Receipt(_));
        let counts: Vec<u32> = found.labels.iter().map(|known| count(r, draft, known, each)).collect();
        let many: u32 = counts.iter().sum();
        let first = found.labels.first().map(|known| known.field.clone()).unwrap_or_default();
        if many == 0 && draft.typed("calibration").is_none() {
            r.fault(&first, "Write how many labels of a lot are wanted; all are 0");
        } else if many > MOST {
            r.fault(&first, format!("These are {many} labels; make at most {MOST} at once"));
        }
        let used = r.optional_whole("used", 0..=u32::try_from(sheet.each() - 1).unwrap_or_default());
        let mut off = |field| {
            r.optional_scaled(field, 10, &(-OFF_TENTHS..=OFF_TENTHS), "0.5").unwrap_or_default() * 100
        };
        let off = (off("right"), off("down"));
        let keep = match draft.typed("keep") {
            Some(_) => r.optional_line("keep", 80, "how it is kept"),
            None => found.keep.to_owned(),
        };
        let how = Printing { sheet, skip: i64::from(used.unwrap_or_default()), off };
        Asked { how, counts, keep, calibration: draft.typed("calibration").as_deref() == Some("yes") }
    })
}

async fn file(who: Onlooker, site: Site, of: Of, draft: Draft) -> Reply {
    let (facts, found) = site.read(&who, move |conn, doer| find(conn, doer, of)).await?;
    let found = found.ok_or_else(|| Problem::missing("label"))?;
    let room = found.room;
    let asked = match read(&draft, &who, of, &found) {
        Ok(asked) => asked,
        Err(refusal) => {
            return again(&site, of, &found, site.frame(&who, room, WRONG, facts), &draft, &refusal);
        }
    };
    if asked.calibration {
        let leaving = leaving(&site, &who, "printed a calibration sheet").await?;
        let name = format!("calibration-{}.pdf", asked.how.sheet.code);
        return Ok(bound(&leaving, &name, calibration(&asked.how)?));
    }
    let each = finished(&site, of, &found, &asked.keep).into_iter().zip(&asked.counts);
    let wanted: Vec<(Label, u32)> =
        each.filter(|(_, count)| **count > 0).map(|(label, count)| (label, *count)).collect();
    for (label, _) in &wanted {
        if !fits(label, asked.how.sheet)? {
            let words = format!(
                "The words of {} do not fit on labels of this size: choose larger ones, or say less",
                label.name
            );
            let refusal = Refusal::unfit("sheet", words);
            return again(&site, of, &found, site.frame(&who, room, WRONG, facts), &draft, &refusal);
        }
    }
    let document = labels(&title(&found), &wanted, &asked.how)?;
    let leaving = leaving(&site, &who, &format!("printed labels of {}", found.name)).await?;
    Ok(bound(&leaving, &format!("labels-{}.pdf", found.name.replace(' ', "-")), document))
}

const WRONG: &str = "Problem: Labels";

/// The page again, with what was typed and what is wrong with it.
fn again(site: &Site, of: Of, found: &Found, frame: Frame, draft: &Draft, refusal: &Refusal) -> Reply {
    let faults = refusal.faults.iter().map(|fault| (fault.field.clone(), fault.message.clone()));
    let mut page = page(site, of, found, frame, draft);
    page.form = page.form.with_problems(faults.collect());
    respond::refused(&page, refusal)
}

#[cfg(test)]
mod tests;
