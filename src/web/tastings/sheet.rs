//! One's own sheet: a screen for each glass, an overview from which it is handed in, and one screen where glasses are
//! put in order or one of them is chosen. Every screen is saved when it is left, and can be corrected until the key is
//! open.

use askama::Template;

use super::missing;
use crate::actions::{self, tastings::save_sheet};
use crate::db::tastings as rows;
use crate::db::{AnyConn, Failure};
use crate::domain::members::{Doer, Taster};
use crate::domain::refusal::{Fault, Refusal};
use crate::domain::tastings::sheet::{Answer, Part, WHOLE, may_write};
use crate::domain::tastings::{Method, Sample, Seat, Table};
use crate::units::days::Instant;
use crate::units::ids::TastingId;
use crate::web::body::Form;
use crate::web::extract::Path;
use crate::web::frame::Frame;
use crate::web::input::{Draft, Reader};
use crate::web::problem::Problem;
use crate::web::respond::{self, Reply};
use crate::web::site::{Room, Site, fresh_key};

/// The longest words about one glass.
const LONGEST_WORDS: usize = 1000;

/// A sheet with its table.
struct Own {
    table: Table,
    seat: Seat,
    answers: Vec<Answer>,
    saved_at: std::collections::HashMap<u16, Instant>,
}

fn find(conn: &mut AnyConn, doer: &Doer, id: TastingId) -> Result<Option<Own>, Failure> {
    let table = match rows::table(conn, doer.club, id) {
        Err(Failure::Gone) => return Ok(None),
        found => found?,
    };
    let Some(seat) = table.seat(doer.member).cloned() else { return Ok(None) };
    Ok(Some(Own {
        answers: rows::answers(conn, seat.sheet)?,
        saved_at: rows::saved_at(conn, seat.sheet)?,
        table,
        seat,
    }))
}

impl Own {
    fn answer(&self, code: u16) -> Option<&Answer> {
        self.answers.iter().find(|answer| answer.code == code)
    }

    /// Whether a glass has what is needed to hand the sheet in.
    fn is_done(&self, code: u16) -> bool {
        let Some(answer) = self.answer(code) else { return false };
        match self.table.tasting.method {
            Method::Scored => answer.mark(WHOLE).is_some(),
            Method::Words => !answer.words.is_empty(),
            _ => answer.place.is_some(),
        }
    }

    /// What a glass holds, where everybody knows.
    fn drink(&self, code: u16) -> Option<String> {
        if self.table.tasting.blind {
            return None;
        }
        self.table.sample_in(self.table.glass(code)?).map(Sample::name)
    }

    /// What a saved screen is told by: the sheet, what of it, and when it was saved last.
    fn kept(&self, of: &str, codes: &[u16]) -> (String, String) {
        let last = codes.iter().filter_map(|code| self.saved_at.get(code)).max();
        let saved = last.map(|at| at.and_utc().timestamp_micros().to_string()).unwrap_or_default();
        (format!("{}.{of}", self.seat.sheet), saved)
    }
}

/// What all screens of a sheet share.
struct Around {
    frame: Frame,
    href: String,
    about: String,
    question: String,
    allergens: String,
    action: String,
    key: String,
    /// Under which name the script keeps what is typed, and since when that is saved.
    keep: String,
    saved: String,
    problems: Vec<Fault>,
}

#[derive(Template)]
#[template(path = "tastings/glass.html")]
struct GlassPage {
    around: Around,
    frame: Frame,
    code: u16,
    drink: Option<String>,
    at: usize,
    of: usize,
    glasses: Vec<GlassLink>,
    lines: Vec<Line>,
    words: String,
    words_error: Option<String>,
    button: String,
}

struct GlassLink {
    code: u16,
    href: String,
    here: bool,
    done: bool,
}

/// One line from 0 to 10.
struct Line {
    number: u32,
    name: String,
    low_end: String,
    high_end: String,
    /// The figures, and whether each is chosen; half a step more may be.
    figures: Vec<(u32, bool)>,
    half: bool,
    error: Option<String>,
}

#[derive(Template)]
#[template(path = "tastings/sheet.html")]
struct SheetPage {
    around: Around,
    frame: Frame,
    glasses: Vec<GlassRow>,
    /// Which form is sent: `rank`, `choose`, or that which only hands in.
    method: &'static str,
    known: Option<String>,
    chosen: String,
    words: String,
    is_in: bool,
    complete: bool,
}

struct GlassRow {
    code: u16,
    href: String,
    name: String,
    says: String,
    done: bool,
    place: String,
    error: Option<String>,
}

fn per_glass(method: Method) -> bool {
    matches!(method, Method::Scored | Method::Words)
}

/// Shows the overview; or, where nothing is written yet, the first glass.
pub async fn show(taster: Taster, site: Site, path: Path<TastingId>) -> Reply {
    let own = to_write(&site, &taster, path.0).await?;
    let first = own.1.seat.serving.first().copied();
    if per_glass(own.1.table.tasting.method) && own.1.answers.is_empty() {
        return Ok(site.see_other(&format!("/tastings/{}/sheet/{}", path.0, first.unwrap_or_default())));
    }
    respond::page(&sheet_page(&site, &taster, own, None))
}

async fn load(
    site: &Site,
    taster: &Taster,
    id: TastingId,
) -> Result<(crate::db::reminders::Facts, Own), Problem> {
    let (facts, own) = site.read(taster, move |conn, doer| find(conn, doer, id)).await?;
    Ok((facts, own.ok_or_else(missing)?))
}

/// A screen is shown while the sheet may be written on.
async fn to_write(
    site: &Site,
    taster: &Taster,
    id: TastingId,
) -> Result<(crate::db::reminders::Facts, Own), Problem> {
    let (facts, own) = load(site, taster, id).await?;
    may_write(&own.table, &own.seat)?;
    Ok((facts, own))
}

/// What was refused is shown on its screen, where that is shown at all.
fn to_correct(error: actions::Error, own: &Own) -> Result<Refusal, Problem> {
    let refusal = Problem::or_refusal(error)?;
    match may_write(&own.table, &own.seat) {
        Ok(()) => Ok(refusal),
        Err(_) => Err(refusal.into()),
    }
}

fn around(
    site: &Site,
    doer: &Doer,
    facts: crate::db::reminders::Facts,
    own: &Own,
    (end, keep): (&str, (String, String)),
    sent: Option<(&Form, &Refusal)>,
) -> Around {
    let id = own.table.tasting.id;
    let href = site.at(&format!("/tastings/{id}"));
    let title = if sent.is_some() { "Problem: your sheet" } else { "Your sheet" };
    Around {
        frame: site.frame(doer, Room::Tastings, &format!("{title}, {}", own.table.tasting.title), facts),
        about: format!(
            "{}, {}",
            own.table.tasting.title,
            if own.table.tasting.blind { "blind" } else { "in the open" }
        ),
        question: own.table.tasting.question.clone(),
        allergens: own.table.allergens().join(", "),
        action: format!("{href}/sheet{end}"),
        key: sent.and_then(|(form, _)| form.key_text.clone()).unwrap_or_else(fresh_key),
        keep: keep.0,
        saved: keep.1,
        problems: sent.map(|(_, refusal)| refusal.faults.clone()).unwrap_or_default(),
        href,
    }
}

fn fault_of(sent: Option<(&Form, &Refusal)>, field: &str) -> Option<String> {
    let (_, refusal) = sent?;
    refusal.faults.iter().find(|fault| fault.field == field).map(|fault| fault.message.clone())
}

fn sheet_page(
    site: &Site,
    doer: &Doer,
    (facts, own): (crate::db::reminders::Facts, Own),
    sent: Option<(&Form, &Refusal)>,
) -> SheetPage {
    let method = own.table.tasting.method;
    let around = around(site, doer, facts, &own, ("", own.kept("whole", &own.seat.serving)), sent);
    let typed = |name: &str| sent.and_then(|(form, _)| form.draft.typed(name));
    let glasses = own
        .seat
        .serving
        .iter()
        .map(|code| {
            let answer = own.answer(*code);
            let place = answer.and_then(|answer| answer.place).map(|place| place.to_string());
            GlassRow {
                code: *code,
                href: format!("{}/sheet/{code}", around.href),
                name: own.drink(*code).unwrap_or_default(),
                says: says(&own, answer),
                done: own.is_done(*code),
                place: typed(&format!("place-{code}")).or(place).unwrap_or_default(),
                error: fault_of(sent, &format!("place-{code}")),
            }
        })
        .collect();
    let chosen = own.answers.iter().find(|answer| answer.place == Some(1));
    let known = (method == Method::DuoTrio).then(|| {
        "The known glass has no code. Taste it first, then the two coded ones in this order.".to_owned()
    });
    SheetPage {
        complete: own.seat.serving.iter().all(|code| own.is_done(*code)),
        glasses,
        method: match method {
            Method::Ranking => "rank",
            Method::Scored | Method::Words => "hand in",
            _ => "choose",
        },
        known,
        chosen: typed("chosen").or_else(|| chosen.map(|answer| answer.code.to_string())).unwrap_or_default(),
        words: typed("words").or_else(|| chosen.map(|answer| answer.words.clone())).unwrap_or_default(),
        is_in: own.seat.handed_in_at.is_some(),
        frame: around.frame.clone(),
        around,
    }
}

/// What stands on the sheet for a glass, in short.
fn says(own: &Own, answer: Option<&Answer>) -> String {
    let Some(answer) = answer else { return "nothing yet".to_owned() };
    let name =
        |number: u32| own.table.attributes.iter().find(|line| line.number == number).map(|line| &line.name);
    let mut parts: Vec<String> = Vec::new();
    if let (Some(mark), Some(name)) = (answer.mark(WHOLE), name(WHOLE)) {
        parts.push(format!("{name} {mark:.1}"));
    } else if own.table.tasting.method == Method::Scored {
        parts.push(format!("no mark for {} yet", name(WHOLE).map_or("the whole", String::as_str)));
    }
    let others = answer.marks.iter().filter(|mark| mark.0 != WHOLE).count();
    if others > 0 {
        parts.push(format!("{others} more"));
    }
    if !answer.words.is_empty() {
        parts.push(format!("“{}”", answer.words.chars().take(60).collect::<String>()));
    }
    parts.join(", ")
}

/// Shows the screen of one glass.
pub async fn glass(taster: Taster, site: Site, path: Path<(TastingId, u16)>) -> Reply {
    let (facts, own) = to_write(&site, &taster, path.0.0).await?;
    respond::page(&glass_page(&site, &taster, (facts, own), path.0.1, None)?)
}

fn glass_page(
    site: &Site,
    doer: &Doer,
    (facts, own): (crate::db::reminders::Facts, Own),
    code: u16,
    sent: Option<(&Form, &Refusal)>,
) -> Result<GlassPage, Problem> {
    let serving = &own.seat.serving;
    let at = serving.iter().position(|one| *one == code).ok_or_else(|| Problem::missing("glass"))?;
    if !per_glass(own.table.tasting.method) {
        return Err(Problem::missing("screen for one glass"));
    }
    let end = format!("/{code}");
    let around = around(site, doer, facts, &own, (&end, own.kept(&code.to_string(), &[code])), sent);
    let answer = own.answer(code);
    let lines = own
        .table
        .attributes
        .iter()
        .filter(|_| own.table.tasting.method == Method::Scored)
        .map(|line| {
            let tenths = answer.and_then(|answer| answer.marks.iter().find(|mark| mark.0 == line.number));
            let tenths = tenths.and_then(|mark| u32::try_from(mark.1).ok());
            let (figure, half) = match sent {
                None => (tenths.map(|tenths| tenths / 10), tenths.is_some_and(|tenths| tenths % 10 >= 5)),
                Some((form, _)) => (
                    form.draft.typed(&format!("mark-{}", line.number)).and_then(|text| text.parse().ok()),
                    form.draft.typed(&format!("half-{}", line.number)).is_some_and(|text| text == "yes"),
                ),
            };
            Line {
                number: line.number,
                name: line.name.clone(),
                low_end: line.low_end.clone(),
                high_end: line.high_end.clone(),
                figures: (0..=10).map(|one| (one, figure == Some(one))).collect(),
                half,
                error: fault_of(sent, &format!("mark-{}", line.number)),
            }
        })
        .collect();
    let typed = sent.map(|(form, _)| form.draft.typed("words").unwrap_or_default());
    Ok(GlassPage {
        code,
        drink: own.drink(code),
        at: at + 1,
        of: serving.len(),
        glasses: serving
            .iter()
            .map(|one| GlassLink {
                code: *one,
                href: format!("{}/sheet/{one}", around.href),
                here: *one == code,
                done: own.is_done(*one),
            })
            .collect(),
        lines,
        words: typed.or_else(|| answer.map(|answer| answer.words.clone())).unwrap_or_default(),
        words_error: fault_of(sent, "words"),
        button: match serving.get(at + 1) {
            Some(next) => format!("Save, then glass {next}"),
            None => "Save and look it over".to_owned(),
        },
        frame: around.frame.clone(),
        around,
    })
}

/// What was marked on the screen of one glass.
fn read_glass(draft: &Draft, doer: &Doer, table: &Table, code: u16) -> Result<Part, Refusal> {
    draft.read(doer, |r| {
        let mut marks = Vec::new();
        for line in &table.attributes {
            let number = line.number;
            let figure = r.optional_whole(&format!("mark-{number}"), 0..=10);
            let half = r.flag(&format!("half-{number}"));
            match (figure, half) {
                (None, true) => {
                    r.fault(&format!("mark-{number}"), "Choose a figure to which half a step is added");
                }
                (Some(10), true) => {
                    r.fault(&format!("mark-{number}"), "10 is the end of the line: leave the half step out");
                }
                (Some(figure), half) => marks.push((number, i64::from(figure) * 10 + i64::from(half) * 5)),
                (None, false) => {}
            }
        }
        let words = words(r, "words");
        let answers = vec![Answer { code, marks, place: None, words }];
        Part { tasting: table.tasting.id, answers, hand_in: false }
    })
}

fn words(r: &mut Reader, field: &str) -> String {
    r.with(field, String::new(), |typed| crate::units::text::remark(typed, LONGEST_WORDS, "your words"))
}

/// Saves one glass.
pub async fn save_glass(taster: Taster, site: Site, path: Path<(TastingId, u16)>, form: Form) -> Reply {
    let (id, code) = path.0;
    let (facts, own) = load(&site, &taster, id).await?;
    let serving = own.seat.serving.clone();
    let done = async {
        let part = read_glass(&form.draft, &taster, &own.table, code)?;
        save_sheet(&site.db, &taster, form.key.clone(), part).await
    };
    match done.await {
        Ok(_) => {
            let at = serving.iter().position(|one| *one == code).unwrap_or_default();
            let next = serving.get(at + 1).map(|next| format!("/{next}")).unwrap_or_default();
            Ok(site.see_other(&format!("/tastings/{id}/sheet{next}")))
        }
        Err(error) => {
            let refusal = to_correct(error, &own)?;
            respond::refused(
                &glass_page(&site, &taster, (facts, own), code, Some((&form, &refusal)))?,
                &refusal,
            )
        }
    }
}

/// What was put in order, or chosen; it hands the sheet in.
fn read_sheet(draft: &Draft, doer: &Doer, own: &Own) -> Result<Part, Refusal> {
    let serving = &own.seat.serving;
    draft.read(doer, |r| {
        let answers = match own.table.tasting.method {
            Method::Scored | Method::Words => Vec::new(),
            Method::Ranking => {
                let most = u32::try_from(serving.len()).unwrap_or(u32::MAX);
                let each = |code: &u16| Answer {
                    code: *code,
                    marks: Vec::new(),
                    place: r.optional_whole(&format!("place-{code}"), 1..=most),
                    words: String::new(),
                };
                serving.iter().map(each).collect()
            }
            _ => {
                if r.is_empty("chosen") {
                    r.fault("chosen", "Choose one glass, also if you are not sure: a guess counts as one");
                }
                let code = r.optional_whole("chosen", 100..=999).and_then(|code| u16::try_from(code).ok());
                let words = words(r, "words");
                code.into_iter()
                    .map(|code| Answer { code, marks: Vec::new(), place: Some(1), words: words.clone() })
                    .collect()
            }
        };
        Part { tasting: own.table.tasting.id, answers, hand_in: true }
    })
}

/// Hands the sheet in.
pub async fn hand_in(taster: Taster, site: Site, path: Path<TastingId>, form: Form) -> Reply {
    let id = path.0;
    let (facts, own) = load(&site, &taster, id).await?;
    let done = async {
        let part = read_sheet(&form.draft, &taster, &own)?;
        save_sheet(&site.db, &taster, form.key.clone(), part).await
    };
    match done.await {
        Ok(_) => Ok(site.see_other(&format!("/tastings/{id}?said=in"))),
        Err(error) => {
            let refusal = to_correct(error, &own)?;
            respond::refused(&sheet_page(&site, &taster, (facts, own), Some((&form, &refusal))), &refusal)
        }
    }
}
