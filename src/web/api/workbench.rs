//! The workbench by the API: one route a question, described by the same table that makes its page.

use serde::Serialize;
use utoipa::openapi::schema::SchemaType;
use utoipa::openapi::{ArrayBuilder, ObjectBuilder, Ref, RefOr, Schema, Type};
use utoipa::{PartialSchema, ToSchema};

use super::describe::Operation;
use crate::domain::members::Onlooker;
use crate::domain::workbench::{Given, Held, Input, Kind, Need, Question, Sheet};
use crate::web::body::Sent;
use crate::web::problem::Problem;
use crate::web::respond::Answer;
use crate::web::site::Site;
use crate::web::workbench::answer;

/// One figure of an answer.
#[derive(Serialize, ToSchema)]
#[schema(as = WorkbenchFigure)]
pub struct FigureBody {
    /// The number, as exact as it was worked out; null where the answer is words.
    pub value: Option<f64>,
    /// The number as a page shows it, or the words.
    pub shown: String,
    /// Its unit.
    pub unit: String,
    /// It is a guide.
    pub about: bool,
    /// Half the width of what it may be off by, where that is known.
    pub give_or_take: Option<f64>,
    /// The formula in plain notation.
    pub formula: String,
    /// Figures on the way.
    pub via: String,
    /// On whose authority.
    pub source: String,
    /// For which values it holds.
    pub range: String,
}

/// What can hurt somebody.
#[derive(Serialize, ToSchema)]
#[schema(as = WorkbenchCaution)]
pub struct CautionBody {
    /// What it is about.
    pub title: String,
    /// What to do and what to leave.
    pub points: Vec<String>,
}

/// Figures in rows.
#[derive(Serialize, ToSchema)]
#[schema(as = WorkbenchTable)]
pub struct TableBody {
    /// What it shows.
    pub caption: String,
    /// The heads of its columns.
    pub heads: Vec<String>,
    /// Its rows, as a page shows them.
    pub rows: Vec<Vec<String>>,
}

/// An answer. Its figures stand under their codes; the schema of each question says which.
#[derive(Serialize)]
pub struct SheetBody {
    says: String,
    given: String,
    figures: serde_json::Map<String, serde_json::Value>,
    warnings: Vec<String>,
    cautions: Vec<CautionBody>,
    tables: Vec<TableBody>,
}

impl SheetBody {
    fn of(question: &Question, given: &Given, sheet: Sheet) -> Self {
        let figure = |figure: &crate::domain::workbench::Figure| {
            let declared = question.gives(figure.code)?;
            let (value, shown) = match &figure.value {
                Held::Number(number) => (Some(*number), declared.shown(*number)),
                Held::Words(words) => (None, words.clone()),
            };
            let body = FigureBody {
                value,
                shown,
                unit: declared.unit.to_owned(),
                about: declared.about,
                give_or_take: figure.give_or_take,
                formula: declared.formula.to_owned(),
                via: figure.via.clone(),
                source: declared.source.to_owned(),
                range: declared.range.to_owned(),
            };
            Some((figure.code.to_owned(), serde_json::to_value(body).ok()?))
        };
        let texts = |all: &[&str]| all.iter().map(|one| (*one).to_owned()).collect::<Vec<_>>();
        Self {
            given: given.said(question.inputs),
            figures: sheet.figures.iter().filter_map(figure).collect(),
            says: sheet.says,
            warnings: sheet.warnings,
            cautions: sheet
                .cautions
                .iter()
                .map(|caution| CautionBody { title: caution.title.to_owned(), points: texts(caution.points) })
                .collect(),
            tables: sheet
                .tables
                .into_iter()
                .map(|table| TableBody {
                    caption: table.caption.to_owned(),
                    heads: texts(&table.heads),
                    rows: table.rows,
                })
                .collect(),
        }
    }
}

/// Answers a question.
pub async fn ask(
    question: &'static Question,
    who: Onlooker,
    site: Site,
    sent: Sent,
) -> Result<Answer<SheetBody>, Problem> {
    let (_, found) = site.read(&who, move |conn, doer| answer(conn, doer, question, &sent.0)).await?;
    let (given, sheet) = found?;
    Ok(Answer(SheetBody::of(question, &given, sheet)))
}

/// Adds what a question takes and gives to the description of the API.
pub fn describe(question: &'static Question, operation: &mut Operation) {
    let name = camel(question.slug);
    let taken = (format!("{name}Question"), object(question.inputs).build().into());
    operation.exchanges(taken, (format!("{name}Answer"), answered(question)), |schemas| {
        schemas.push((FigureBody::name().into_owned(), FigureBody::schema()));
        schemas.push((CautionBody::name().into_owned(), CautionBody::schema()));
        schemas.push((TableBody::name().into_owned(), TableBody::schema()));
    });
}

fn camel(slug: &str) -> String {
    let word = |word: &str| {
        let mut letters = word.chars();
        letters
            .next()
            .map(|first| first.to_uppercase().chain(letters).collect::<String>())
            .unwrap_or_default()
    };
    slug.split('-').map(word).collect()
}

/// The schema of what is asked for.
pub(super) fn object(inputs: &[Input]) -> ObjectBuilder {
    let mut object = ObjectBuilder::new();
    for input in inputs {
        object = object.property(input.name, property(input));
        if input.need == Need::Must {
            object = object.required(input.name);
        }
    }
    object
}

fn property(input: &Input) -> RefOr<Schema> {
    let label = [input.label, input.hint].join(". ").trim_end_matches(". ").to_owned();
    let one_of =
        |types: &[Type]| ObjectBuilder::new().schema_type(types.iter().cloned().collect::<SchemaType>());
    let (schema, more) = match input.kind {
        Kind::Measure(unit) => {
            let sign = if unit.sign.is_empty() {
                "A number".to_owned()
            } else {
                format!("A bare number is in {}", unit.sign)
            };
            (one_of(&[Type::String, Type::Number]).examples([input.written()]), sign)
        }
        Kind::Sugar => (
            one_of(&[Type::String, Type::Number]).examples([input.example]),
            "A bare number is a gravity".to_owned(),
        ),
        Kind::Amount => {
            let words = "With its unit, or {\"amount\":\"60\",\"unit\":\"L\"}".to_owned();
            (one_of(&[Type::String, Type::Object]).examples([input.example]), words)
        }
        Kind::Choice(of) => {
            let codes = of.iter().map(|one| one.0);
            let words: Vec<String> = of.iter().map(|one| format!("{}: {}", one.0, one.1)).collect();
            (one_of(&[Type::String]).enum_values(Some(codes)), words.join("; "))
        }
        Kind::Flag => (one_of(&[Type::Boolean]), String::new()),
        Kind::Words => (one_of(&[Type::String]).examples([input.example]), String::new()),
        Kind::Parts(_, of) | Kind::Log(of) => {
            let lines = ArrayBuilder::new().items(object(of)).description(Some(label));
            return lines.max_items(Some(100)).build().into();
        }
    };
    let usual = match input.need {
        Need::Usually(usual) if !matches!(input.kind, Kind::Choice(_)) => format!("Left out: {usual}"),
        _ => String::new(),
    };
    let words: Vec<&str> =
        [label.as_str(), &more, &usual].into_iter().filter(|part| !part.is_empty()).collect();
    schema.description(Some(words.join(". "))).build().into()
}

fn answered(question: &Question) -> Schema {
    let mut figures = ObjectBuilder::new()
        .description(Some("Figures by their codes; those that do not apply are left out."));
    for gives in question.gives {
        figures = figures.property(gives.code, Ref::from_schema_name(FigureBody::name()));
    }
    let text = || ObjectBuilder::new().schema_type(Type::String);
    let texts = || ArrayBuilder::new().items(text());
    let list = |name: std::borrow::Cow<'static, str>| ArrayBuilder::new().items(Ref::from_schema_name(name));
    let object = ObjectBuilder::new()
        .property("says", text().description(Some("The answer in a sentence.")))
        .property("given", text().description(Some("What was given, as it was read.")))
        .property("figures", figures)
        .property("warnings", texts().description(Some("What must be known with it.")))
        .property("cautions", list(CautionBody::name()))
        .property("tables", list(TableBody::name()));
    let names = ["says", "given", "figures", "warnings", "cautions", "tables"];
    names.into_iter().fold(object, ObjectBuilder::required).build().into()
}
