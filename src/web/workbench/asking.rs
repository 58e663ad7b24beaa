//! From a table of questions to a form, and from what was typed to what is given: the same for pages and API.

use crate::domain::members::Doer;
use crate::domain::refusal::Refusal;
use crate::domain::workbench::{Given, Input, Kind, Need, Value};
use crate::units::dimension::Dimension;
use crate::web::forms::{Choice, Field, FieldKind, FormView, Group};
use crate::web::input::{Draft, Reader};

/// Spare lines of a form in which parts are asked for.
const SPARE: usize = 2;

/// Reads what was given, or says all that is wrong with it.
pub fn read(draft: &Draft, doer: &Doer, inputs: &[Input]) -> Result<Given, Refusal> {
    draft.read(doer, |r| all(r, Some(draft), inputs))
}

/// The same within a reading of more.
pub fn all(r: &mut Reader, draft: Option<&Draft>, inputs: &[Input]) -> Given {
    let mut given = Given::default();
    for input in inputs {
        if let Some(value) = one(r, draft, input) {
            given.put(input.name, value);
        }
    }
    given
}

fn one(r: &mut Reader, draft: Option<&Draft>, input: &Input) -> Option<Value> {
    match input.kind {
        Kind::Parts(each, of) => {
            let lines = r.rows(input.name, |r| all(r, None, of));
            if lines.is_empty() && input.need == Need::Must {
                r.fault(&format!("{}.0.{}", input.name, of[0].name), format!("Write at least one {each}"));
            }
            Some(Value::Lines(lines))
        }
        Kind::Log(of) if draft.is_some_and(|draft| draft.count(input.name) > 0) => {
            Some(Value::Lines(r.rows(input.name, |r| all(r, None, of))))
        }
        _ if r.is_empty(input.name) => match input.need {
            Need::Must => {
                r.fault(input.name, format!("{}: write it, such as {}", input.label, first_line(input)));
                None
            }
            Need::Usually(usual) => input.read(usual).ok(),
            Need::May => None,
        },
        _ => r.optional(input.name, |typed| input.read(typed)),
    }
}

fn first_line(input: &Input) -> String {
    input.written().lines().next().unwrap_or_default().to_owned()
}

/// The form of a question, filled with what was typed; where nothing was, with what is usual.
pub fn form(action: &str, inputs: &'static [Input], draft: &Draft) -> FormView {
    let mut form = FormView::new(action, "", "Work it out");
    let mut open = Vec::new();
    for input in inputs.iter().filter(|input| !input.setting) {
        if let Kind::Parts(each, of) = input.kind {
            let count = draft.count(input.name) + SPARE;
            let fields = |at: usize| {
                let path = format!("{}.{at}", input.name);
                of.iter().map(|inner| field(inner, draft, &format!("{path}.{}", inner.name))).collect()
            };
            form = form.group(Group::repeated(input.label, each, input.name, count.max(3), |at| {
                let mut fields: Vec<Field> = fields(at);
                for (field, inner) in fields.iter_mut().zip(of) {
                    inner.name.clone_into(&mut field.name);
                }
                fields
            }));
        } else {
            open.push(field(input, draft, input.name));
        }
    }
    if !open.is_empty() {
        form.groups.insert(0, Group::new("", open));
    }
    let settings: Vec<Field> =
        inputs.iter().filter(|input| input.setting).map(|input| field(input, draft, input.name)).collect();
    if !settings.is_empty() {
        form = form.group(Group::new(SETTINGS, settings));
    }
    form
}

/// The name of the group that is folded away.
pub const SETTINGS: &str = "Settings";

fn field(input: &Input, draft: &Draft, path: &str) -> Field {
    let kind = match input.kind {
        Kind::Measure(unit) => match unit.of {
            // These have units enough to be worth letters on the keyboard.
            Dimension::Volume | Dimension::Mass | Dimension::Time | Dimension::Content => FieldKind::Text,
            _ => FieldKind::Decimal,
        },
        Kind::Sugar | Kind::Amount | Kind::Words | Kind::Parts(..) => FieldKind::Text,
        Kind::Choice(of) => FieldKind::Select(of.iter().map(|one| Choice::new(one.0, one.1)).collect()),
        Kind::Flag => FieldKind::Check,
        Kind::Log(_) => FieldKind::Area,
    };
    let usual = match input.need {
        Need::Usually(usual) => usual,
        _ => "",
    };
    let typed = draft.typed(path).filter(|typed| !typed.trim().is_empty());
    let mut field = Field::of(kind, path, input.label)
        .value(typed.unwrap_or_else(|| usual.to_owned()))
        .after(input.sign());
    let optional =
        input.need == Need::May && matches!(input.kind, Kind::Measure(_) | Kind::Sugar | Kind::Amount);
    field.hint = match (input.hint, optional) {
        ("", true) => "May be left empty.".to_owned(),
        (hint, _) => hint.to_owned(),
    };
    field
}

/// What was typed, as it stands in an address; what was left empty is left out.
pub fn address(draft: &Draft) -> String {
    let mut written = form_urlencoded::Serializer::new(String::new());
    for (name, text) in draft.fields().iter().filter(|(_, text)| !text.trim().is_empty()) {
        written.append_pair(name, text);
    }
    written.finish()
}

/// An example of a question, as it stands in an address.
pub fn example(inputs: &[Input]) -> String {
    let mut written = form_urlencoded::Serializer::new(String::new());
    for (name, text) in examples(inputs) {
        written.append_pair(&name, &text);
    }
    written.finish()
}

/// An example of a question: fields and texts, as a form would send them.
pub fn examples(inputs: &[Input]) -> Vec<(String, String)> {
    let mut found = Vec::new();
    for input in inputs.iter().filter(|input| !input.example.is_empty()) {
        match input.kind {
            Kind::Parts(_, of) => {
                for (at, line) in input.example.lines().enumerate() {
                    let cells = of.iter().zip(line.split_whitespace());
                    found.extend(cells.map(|(inner, cell)| {
                        (format!("{}.{at}.{}", input.name, inner.name), cell.to_owned())
                    }));
                }
            }
            Kind::Log(_) | Kind::Words | Kind::Choice(_) | Kind::Sugar | Kind::Amount => {
                found.push((input.name.to_owned(), input.example.to_owned()));
            }
            Kind::Flag => {}
            Kind::Measure(_) => found.push((input.name.to_owned(), input.written())),
        }
    }
    found
}
