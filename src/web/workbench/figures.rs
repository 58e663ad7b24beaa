//! A sheet as a page shows it.

use crate::domain::workbench::{Given, Held, Question, Sheet, shown};
use crate::web::forms::Caution;
use crate::web::pictures::{self, Curve};

/// One figure with its working.
pub struct Figure {
    /// Its name.
    pub name: &'static str,
    /// It is a guide.
    pub about: bool,
    /// The number, or the words.
    pub value: String,
    /// Its unit.
    pub unit: &'static str,
    /// What it may be off by; empty where that is not known.
    pub width: String,
    /// It is words and takes the whole width.
    pub words: bool,
    /// How it is worked out: a paragraph each.
    pub how: Vec<String>,
}

/// The figures of a sheet, in its order.
pub fn figures(question: &Question, given: &Given, sheet: &Sheet) -> Vec<Figure> {
    let inputs = given.said(question.inputs);
    let one = |figure: &crate::domain::workbench::Figure| {
        let declared = question.gives(figure.code)?;
        let (value, words) = match &figure.value {
            Held::Number(number) => (declared.shown(*number), false),
            Held::Words(words) => (words.clone(), true),
        };
        let width = figure.give_or_take.map(|width| declared.width_shown(width)).unwrap_or_default();
        let mut how = Vec::new();
        let mut say = |head: &str, text: &str| {
            if !text.is_empty() {
                how.push(format!("{head}{text}"));
            }
        };
        say("", declared.formula);
        say("With ", &inputs);
        say("On the way: ", &figure.via);
        say("Holds for: ", declared.range);
        say("Source: ", declared.source);
        Some(Figure {
            name: declared.name,
            about: declared.about,
            value,
            unit: declared.unit,
            width,
            words,
            how,
        })
    };
    sheet.figures.iter().filter_map(one).collect()
}

/// The cautions of a sheet.
pub fn cautions(sheet: &Sheet) -> Vec<Caution> {
    sheet.cautions.iter().map(|caution| Caution::new(caution.title, caution.points.iter().copied())).collect()
}

/// A table of a sheet.
pub struct TableView {
    /// What it shows.
    pub caption: &'static str,
    /// Its heads.
    pub heads: Vec<&'static str>,
    /// Its rows: the first cell is the head of the row.
    pub rows: Vec<Vec<String>>,
}

/// The tables of a sheet.
pub fn tables(sheet: &Sheet) -> Vec<TableView> {
    let view = |table: &crate::domain::workbench::Table| TableView {
        caption: table.caption,
        heads: table.heads.clone(),
        rows: table.rows.clone(),
    };
    sheet.tables.iter().map(view).collect()
}

/// The readings of a sheet as a picture; empty where there are too few.
pub fn picture(sheet: &Sheet) -> String {
    let (Some(first), Some(last)) = (sheet.points.first(), sheet.points.last()) else {
        return String::new();
    };
    if sheet.points.len() < 2 {
        return String::new();
    }
    let points: Vec<(f64, f64)> = sheet.points.iter().map(|(day, sg)| (day - first.0, *sg)).collect();
    let last = shown(last.1, 4);
    let caption = format!(
        "Gravity from {} on day {} to {last}. Each dot is a reading.",
        shown(first.1, 4),
        shown(first.0, 0)
    );
    let start = first.0;
    pictures::curve(&Curve {
        id: "gravity",
        title: "Gravity, day by day",
        caption: &caption,
        points: &points,
        unit: "SG",
        decimals: 3,
        last: &last,
        day_text: &|day| format!("day {}", shown(start + f64::from(day), 0)),
        marks: &[],
        ahead: None,
        lane: None,
    })
}
