//! Labels of a bottling or a lot: chosen on a page, printed from a PDF on sheets of any printer.

use askama::Template;

use super::bottles::size;
use super::extract::{Path, Query};
use super::forms::{Choice, Field, FormView};
use super::frame::Frame;
use super::input::Draft;
use super::paper::bound;
use super::paper::label::{Printing, calibration, fits, labels};
use super::problem::Problem;
use super::respond::{self, Reply};
use super::site::{Room, Site};
use super::spreadsheet::leaving;
use crate::db::{AnyConn, Failure, bottles, stock, trace};
use crate::domain::labels::{Label, MOST, OFF_TENTHS, SHEETS, Sheet, contains};
use crate::domain::members::{Doer, Onlooker};
use crate::domain::refusal::Refusal;
use crate::units::days;
use crate::units::ids::{BottlingId, LotId};

/// How labels are printed.
#[derive(Debug, serde::Deserialize, utoipa::ToSchema)]
pub struct LabelsQuery {
    /// The sheet: a4-2x4, a4-3x8, a4-2x4-full, a4-3x7, letter-2x3 or letter-3x10.
    pub sheet: Option<String>,
    /// How many labels.
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

/// What is labelled.
#[derive(Debug, Clone, Copy)]
enum Of {
    Bottling(BottlingId),
    Lot(LotId),
}

/// What is known of it.
struct Found {
    label: Label,
    /// Its name for the audit log and the file: "bottling 36-1".
    name: String,
    /// How many labels are usual.
    count: i64,
    keep: &'static str,
    room: Room,
}

#[derive(Template)]
#[template(path = "labels/labels.html")]
struct LabelsPage {
    frame: Frame,
    up: (String, String),
    title: String,
    lead: &'static str,
    form: FormView,
    label: Label,
}

impl Of {
    fn page(self) -> String {
        match self {
            Self::Bottling(id) => format!("/bottles/{id}"),
            Self::Lot(id) => format!("/stores/lots/{id}"),
        }
    }

    /// A short address, so that its code has few squares.
    fn short(self) -> String {
        match self {
            Self::Bottling(id) => format!("/b/{id}"),
            Self::Lot(id) => format!("/l/{id}"),
        }
    }
}

fn find(conn: &mut AnyConn, doer: &Doer, of: Of) -> Result<Option<Found>, Failure> {
    let found = match of {
        Of::Bottling(id) => of_bottling(conn, doer, id),
        Of::Lot(id) => of_lot(conn, doer, id),
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
    Ok(Found {
        label,
        name: format!("bottling {}", bottling.code),
        count: if left > 0 { left } else { bottling.bottles },
        keep: "Keep cool and dark.",
        room: Room::Bottles,
    })
}

fn of_lot(conn: &mut AnyConn, doer: &Doer, id: LotId) -> Result<Found, Failure> {
    let lot = stock::lot(conn, doer.club, id)?;
    let allergens = trace::allergens(conn, id)?;
    let mut lines =
        vec![doer.club_name.clone(), format!("Lot {}, came {}", lot.code, days::long(lot.received_on))];
    lines.extend(lot.best_before.map(|day| format!("Use by {}", days::long(day))));
    if !lot.supplier.is_empty() {
        lines.push([lot.supplier, lot.supplier_mark].join(" ").trim().to_owned());
    }
    let label = Label { name: lot.item.name, lines, contains: contains(&allergens), ..Label::default() };
    let name = format!("lot {}", lot.code);
    Ok(Found { label, name, count: 1, keep: "", room: Room::Stores })
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
    respond::page(&page(&site, of, found, frame, &Draft::default()))
}

fn page(site: &Site, of: Of, mut found: Found, frame: Frame, draft: &Draft) -> LabelsPage {
    found.label.address = site.address(&of.short());
    let sheets = SHEETS.iter().map(|sheet| Choice::new(sheet.code, sheet.name())).collect();
    let typed = |name: &str| draft.typed(name);
    let or = |name: &str, usual: String| typed(name).unwrap_or(usual);
    let keep = or("keep", found.keep.to_owned());
    found.label.remarks = remarks(&keep, of);
    let form = site.form(&format!("{}/labels.pdf", of.page()), "", "Make the labels").fields([
        Field::select("sheet", "Sheets", sheets).value(or("sheet", SHEETS[0].code.to_owned())),
        Field::whole("count", "How many?").value(or("count", found.count.to_string())),
        Field::whole("used", "Used already")
            .hint("Labels that are gone from the first sheet.")
            .value(or("used", "0".to_owned())),
        Field::text("keep", "How it is kept").hint("A few words, or nothing.").value(keep),
        Field::decimal("right", "The printer is too far right by")
            .hint("As the calibration sheet shows; with a minus if too far left.")
            .after("mm")
            .value(or("right", "0".to_owned())),
        Field::decimal("down", "and too far down by").after("mm").value(or("down", "0".to_owned())),
    ]);
    LabelsPage {
        up: (site.at(&of.page()), found.label.name.clone()),
        title: format!("Labels of {}", found.name),
        lead: "A PDF in exact millimetres: print it at 100 %, not fitted to the page.",
        form,
        label: found.label,
        frame,
    }
}

/// What stands at the end of a label.
fn remarks(keep: &str, of: Of) -> Vec<String> {
    let caution = match of {
        Of::Bottling(_) => "Not for minors, not in pregnancy. Open with care: it may be under pressure.",
        Of::Lot(_) => "",
    };
    [keep, caution].into_iter().filter(|words| !words.is_empty()).map(str::to_owned).collect()
}

struct Asked {
    how: Printing,
    keep: String,
    calibration: bool,
}

fn read(draft: &Draft, doer: &Doer, found: &Found) -> Result<Asked, Refusal> {
    draft.read(doer, |r| {
        let codes: Vec<Sheet> = SHEETS.to_vec();
        let sheet = if draft.typed("sheet").is_some() {
            r.choice("sheet", &codes, |sheet| sheet.code)
        } else {
            SHEETS[0]
        };
        let usual = u32::try_from(found.count).unwrap_or(1).clamp(1, MOST);
        let count = r.optional_whole("count", 1..=MOST).unwrap_or(usual);
        let used = r.optional_whole("used", 0..=u32::try_from(sheet.each() - 1).unwrap_or_default());
        let mut off = |field| {
            r.optional_scaled(field, 10, &(-OFF_TENTHS..=OFF_TENTHS), "0.5").unwrap_or_default() * 100
        };
        let off = (off("right"), off("down"));
        let keep = match draft.typed("keep") {
            Some(_) => r.optional_line("keep", 80, "how it is kept"),
            None => found.keep.to_owned(),
        };
        let how = Printing { sheet, skip: i64::from(used.unwrap_or_default()), count: i64::from(count), off };
        Asked { how, keep, calibration: draft.typed("calibration").as_deref() == Some("yes") }
    })
}

async fn file(who: Onlooker, site: Site, of: Of, draft: Draft) -> Reply {
    let (facts, found) = site.read(&who, move |conn, doer| find(conn, doer, of)).await?;
    let found = found.ok_or_else(|| Problem::missing("label"))?;
    let room = found.room;
    let asked = match read(&draft, &who, &found) {
        Ok(asked) => asked,
        Err(refusal) => {
            return again(&site, of, found, site.frame(&who, room, WRONG, facts), &draft, &refusal);
        }
    };
    if asked.calibration {
        let leaving = leaving(&site, &who, "printed a calibration sheet").await?;
        let name = format!("calibration-{}.pdf", asked.how.sheet.code);
        return Ok(bound(&leaving, &name, calibration(&asked.how)?));
    }
    let (address, remarks) = (site.address(&of.short()), remarks(&asked.keep, of));
    let label = Label { remarks, address, ..found.label.clone() };
    if !fits(&label, asked.how.sheet)? {
        let words = "The words do not fit on labels of this size: choose larger ones, or say less";
        let refusal = Refusal::unfit("sheet", words);
        return again(&site, of, found, site.frame(&who, room, WRONG, facts), &draft, &refusal);
    }
    let document = labels(&format!("{}, {}", label.name, found.name), &label, &asked.how)?;
    let leaving = leaving(&site, &who, &format!("printed labels of {}", found.name)).await?;
    Ok(bound(&leaving, &format!("labels-{}.pdf", found.name.replace(' ', "-")), document))
}

const WRONG: &str = "Problem: Labels";

/// The page again, with what was typed and what is wrong with it.
fn again(site: &Site, of: Of, found: Found, frame: Frame, draft: &Draft, refusal: &Refusal) -> Reply {
    let faults = refusal.faults.iter().map(|fault| (fault.field.clone(), fault.message.clone()));
    let mut page = page(site, of, found, frame, draft);
    page.form = page.form.with_problems(faults.collect());
    respond::refused(&page, refusal)
}
