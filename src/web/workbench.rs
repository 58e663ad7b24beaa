//! The workbench's pages: the list of questions, and one page for each, all from the same table.
//!
//! A question is a form that is *got*: its address carries what was typed, so that it can be sent to
//! somebody, kept, or opened by another page. Nothing is recorded and no key is needed. With script the
//! page works itself out anew as the fields change; see `undercroft.js`.

use askama::Template;

pub mod asking;
mod compared;
mod figures;
pub mod routes;

use super::batches::Course;
use super::extract::{Asked, Path};
use super::forms::{Caution, FormView};
use super::frame::Frame;
use super::problem::Problem;
use super::respond::{self, Reply};
use super::site::{Room, Site};
use crate::db::{AnyConn, Failure, batches};
use crate::domain::members::{Doer, Onlooker};
use crate::domain::refusal::Refusal;
use crate::domain::workbench::{GROUPS, Given, Question, Sheet, Value, question};
use crate::science::fermentation::Reading;
use crate::units::ids::BatchId;
use figures::{Figure, TableView};

#[derive(Template)]
#[template(path = "workbench/list.html")]
struct ListPage {
    frame: Frame,
    groups: Vec<(&'static str, Vec<(String, &'static str)>)>,
}

/// Shows the questions.
pub async fn list(who: Onlooker, site: Site) -> Reply {
    let (facts, ()) = site.read(&who, |_, _| Ok(())).await?;
    let ways = |questions: &'static [Question]| {
        let way = |one: &'static Question| (site.at(&format!("/workbench/{}", one.slug)), one.name);
        questions.iter().map(way).collect()
    };
    let groups = GROUPS.iter().map(|group| (group.name, ways(group.questions))).collect();
    respond::page(&ListPage { groups, frame: site.frame(&who, Room::Workbench, "Workbench", facts) })
}

#[derive(Template)]
#[template(path = "workbench/question.html")]
struct QuestionPage {
    frame: Frame,
    name: &'static str,
    lead: &'static str,
    form: FormView,
    example: String,
    /// What is shown, once something was asked.
    answer: Option<AnswerView>,
}

struct AnswerView {
    says: String,
    warnings: Vec<String>,
    figures: Vec<Figure>,
    cautions: Vec<Caution>,
    tables: Vec<TableView>,
    picture: String,
    /// What was given, in words.
    given: String,
    /// The address that carries what was typed.
    link: String,
}

/// Shows a question; with its answer, where something was asked.
pub async fn show(who: Onlooker, site: Site, path: Path<String>, asked: Asked) -> Reply {
    let question = question(&path.0).ok_or_else(|| Problem::missing("question"))?;
    let draft = asked.0;
    let (facts, found) = {
        let draft = draft.clone();
        site.read(&who, move |conn, doer| answer(conn, doer, question, &draft)).await?
    };
    let form = asking::form(&site.at(&format!("/workbench/{}", question.slug)), question.inputs, &draft);
    let mut page = QuestionPage {
        name: question.name,
        lead: question.lead,
        example: site.at(&format!("/workbench/{}?{}", question.slug, asking::example(question.inputs))),
        form,
        answer: None,
        frame: site.frame(&who, Room::Workbench, question.name, facts),
    };
    if draft.fields().is_empty() {
        return respond::page(&page);
    }
    match found {
        Ok((given, sheet)) => {
            let link = site.address(&format!("/workbench/{}?{}", question.slug, asking::address(&draft)));
            page.answer = Some(view(question, &given, sheet, link));
            respond::page(&page)
        }
        Err(refusal) => {
            let faults = refusal.faults.iter().map(|fault| (fault.field.clone(), fault.message.clone()));
            page.form = page.form.with_problems(faults.collect());
            page.frame.title = format!("Problem: {}", page.frame.title);
            respond::refused(&page, &refusal)
        }
    }
}

fn view(question: &'static Question, given: &Given, sheet: Sheet, link: String) -> AnswerView {
    let picture = figures::picture(&sheet);
    AnswerView {
        figures: figures::figures(question, given, &sheet),
        cautions: figures::cautions(&sheet),
        tables: figures::tables(&sheet),
        says: sheet.says,
        given: given.said(question.inputs),
        warnings: sheet.warnings,
        picture,
        link,
    }
}

/// What a page or a program asked, answered. A batch that is named lends its readings.
pub(super) fn answer(
    conn: &mut AnyConn,
    doer: &Doer,
    question: &'static Question,
    draft: &super::input::Draft,
) -> Result<Result<(Given, Sheet), Refusal>, Failure> {
    let mut given = match asking::read(draft, doer, question.inputs) {
        Ok(given) => given,
        Err(refusal) => return Ok(Err(refusal)),
    };
    if !given.words("batch").is_empty() && given.lines("readings").is_empty() {
        match batches::coded(conn, doer.club, given.words("batch"))? {
            Some(batch) => given.put("readings", Value::Lines(gravities(conn, batch)?)),
            None => return Ok(Err(Refusal::unfit("batch", "There is no batch of this number in the club"))),
        }
    }
    Ok(question.ask(&given).map(|sheet| (given, sheet)))
}

/// The gravities of a batch with their days since the first, and the temperature that belongs to each. Of more than can
/// be listed, stretches of time are taken together: none is left out in silence.
fn gravities(conn: &mut AnyConn, batch: BatchId) -> Result<Vec<Given>, Failure> {
    let Some(course) = Course::find(conn, batch)? else { return Ok(Vec::new()) };
    let line = |reading: &Reading| {
        let mut line = Given::default();
        line.put("day", Value::Number(reading.day));
        line.put("gravity", Value::Number(reading.sg));
        if let Some(t) = reading.temperature_c {
            line.put("temperature", Value::Number(t));
        }
        line
    };
    Ok(course.readings().iter().map(line).collect())
}
