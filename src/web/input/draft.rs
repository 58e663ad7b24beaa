//! What was sent, as texts under dotted paths, bounded and free of what cannot be kept.

use std::fmt;

use serde::de::DeserializeOwned;
use serde_json::{Map, Value};

use crate::domain::refusal::Refusal;

/// The most fields that are taken, and how deep they may lie.
const MOST_FIELDS: usize = 4000;
const DEEPEST: usize = 6;
const LONGEST_NAME: usize = 120;

/// What was sent.
#[derive(Clone)]
pub struct Draft {
    root: Value,
    /// A field that nobody reads is a fault.
    strict: bool,
}

impl fmt::Debug for Draft {
    /// The names alone: there may be a password among the texts.
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.debug_list().entries(self.fields().iter().map(|(name, _)| name)).finish()
    }
}

impl Default for Draft {
    /// A form that is shown for the first time.
    fn default() -> Self {
        Self { root: Value::Object(Map::new()), strict: false }
    }
}

impl Draft {
    /// From the fields of a form or of a query. Lines that were left empty are taken out and the rest
    /// counted anew, so that the numbers in a message are those of the page that shows it.
    pub fn from_form(fields: impl Iterator<Item = (String, String)>) -> Result<Self, Refusal> {
        let mut root = Map::new();
        for (at, (name, text)) in fields.enumerate() {
            if at == MOST_FIELDS {
                return Err(too_many());
            }
            check_text(&name, &text)?;
            put(&mut root, &name, text)?;
        }
        for value in root.values_mut() {
            settle(value);
        }
        Ok(Self { root: Value::Object(root), strict: false })
    }

    /// From a JSON object. A field that nobody reads will be refused.
    pub fn from_json(root: Value) -> Result<Self, Refusal> {
        if !root.is_object() {
            return Err(Refusal::unfit("", "Send a JSON object: {…}"));
        }
        check_json("", &root, 0, &mut 0)?;
        Ok(Self { root, strict: true })
    }

    /// What a field of a form held, to be shown again.
    pub fn typed(&self, path: &str) -> Option<String> {
        self.at(path).and_then(text_of)
    }

    /// How many lines a list holds.
    pub fn count(&self, path: &str) -> usize {
        self.at(path).and_then(Value::as_array).map_or(0, Vec::len)
    }

    /// Fields and texts, as a form would send them.
    pub fn fields(&self) -> Vec<(String, String)> {
        let mut found = Vec::new();
        leaves("", &self.root, &mut |path, leaf| {
            found.push((path.to_owned(), text_of(leaf).unwrap_or_default()));
        });
        found
    }

    /// Take a text out, so that it is not among the fields any more.
    pub(in crate::web) fn take(&mut self, name: &str) -> Option<String> {
        self.root.as_object_mut()?.remove(name).as_ref().and_then(text_of)
    }

    /// With one text more, in place of what was there under its name.
    #[must_use]
    pub(in crate::web) fn with(mut self, name: &str, text: String) -> Self {
        if let Some(fields) = self.root.as_object_mut() {
            fields.insert(name.to_owned(), Value::String(text));
        }
        self
    }

    /// Take some fields out, with all that is under them, as a draft of their own.
    pub(in crate::web) fn part(&mut self, names: &[&str]) -> Self {
        let mut part = Map::new();
        if let Some(fields) = self.root.as_object_mut() {
            part.extend(names.iter().filter_map(|name| fields.remove_entry(*name)));
        }
        Self { root: Value::Object(part), strict: self.strict }
    }

    /// The texts by their names, as a struct that has a field for each.
    pub(in crate::web) fn texts<T: DeserializeOwned>(&self) -> Option<T> {
        serde_json::from_value(self.root.clone()).ok()
    }

    pub(super) fn at(&self, path: &str) -> Option<&Value> {
        path.split('.').try_fold(&self.root, |value, part| match value {
            Value::Object(fields) => fields.get(part),
            Value::Array(rows) => rows.get(part.parse::<usize>().ok()?),
            _ => None,
        })
    }

    /// The paths that are neither read nor under one that is.
    pub(super) fn unread(&self, known: impl Fn(&str) -> bool) -> Vec<String> {
        let mut found = Vec::new();
        if self.strict {
            leaves("", &self.root, &mut |path, _| {
                let mut ends = path.match_indices('.').map(|(at, _)| at).chain([path.len()]);
                if !ends.any(|end| known(&path[..end])) {
                    found.push(path.to_owned());
                }
            });
        }
        found
    }
}

/// The text of a leaf: a number as it is written, a quantity as amount and unit, several values with
/// commas between.
pub(super) fn text_of(value: &Value) -> Option<String> {
    match value {
        Value::Null => Some(String::new()),
        Value::Bool(yes) => Some(if *yes { "yes" } else { "no" }.to_owned()),
        Value::Number(number) => Some(number.to_string()),
        Value::String(text) => Some(text.clone()),
        Value::Array(values) => {
            let texts: Option<Vec<_>> =
                values.iter().map(|value| (!value.is_array()).then(|| text_of(value)).flatten()).collect();
            texts.map(|texts| texts.join(", "))
        }
        Value::Object(fields) => match (fields.len(), fields.get("amount"), fields.get("unit")) {
            (2, Some(Value::Object(_) | Value::Array(_)), Some(_)) => None,
            (2, Some(amount), Some(Value::String(unit))) => {
                text_of(amount).map(|amount| format!("{amount} {unit}"))
            }
            _ => None,
        },
    }
}

/// Every value that holds no others, and every empty list, with its path.
fn leaves(path: &str, value: &Value, each: &mut impl FnMut(&str, &Value)) {
    let under = |name: &str| if path.is_empty() { name.to_owned() } else { format!("{path}.{name}") };
    match value {
        Value::Object(fields) => fields.iter().for_each(|(name, value)| leaves(&under(name), value, each)),
        Value::Array(rows) if rows.iter().any(|row| row.is_object() || row.is_array()) => {
            for (at, row) in rows.iter().enumerate() {
                leaves(&under(&at.to_string()), row, each);
            }
        }
        leaf => each(path, leaf),
    }
}

fn put(fields: &mut Map<String, Value>, name: &str, text: String) -> Result<(), Refusal> {
    let parts: Vec<_> = name.split('.').collect();
    let plain = |part: &str| {
        !part.is_empty() && part.bytes().all(|c| c.is_ascii_alphanumeric() || b"_-".contains(&c))
    };
    if name.len() > LONGEST_NAME || parts.len() > DEEPEST || !parts.iter().all(|part| plain(part)) {
        return Err(Refusal::unfit(
            "",
            "The form holds a field that was not on the page; open the form anew",
        ));
    }
    let twice = || Refusal::unfit(name, "The form holds this field twice; open the form anew");
    let (last, above) = parts.split_last().ok_or_else(twice)?;
    let mut fields = fields;
    for part in above {
        let next = fields.entry(*part).or_insert_with(|| Value::Object(Map::new()));
        fields = next.as_object_mut().ok_or_else(twice)?;
    }
    match fields.get_mut(*last) {
        None => drop(fields.insert((*last).to_owned(), Value::String(text))),
        Some(Value::Array(texts)) => texts.push(Value::String(text)),
        Some(first @ Value::String(_)) => *first = Value::Array(vec![first.take(), Value::String(text)]),
        Some(_) => return Err(twice()),
    }
    Ok(())
}

/// Turns fields that are numbered into a list, without the lines that were left empty.
fn settle(value: &mut Value) {
    let Value::Object(fields) = value else { return };
    for inner in fields.values_mut() {
        settle(inner);
    }
    let numbers: Option<Vec<u32>> = fields.keys().map(|name| name.parse().ok()).collect();
    if let Some(numbers) = numbers {
        let mut rows: Vec<_> = numbers.into_iter().zip(fields.values_mut()).collect();
        rows.sort_by_key(|(number, _)| *number);
        rows.retain(|(_, row)| !is_blank(row));
        *value = Value::Array(rows.into_iter().map(|(_, row)| row.take()).collect());
    }
}

fn is_blank(value: &Value) -> bool {
    match value {
        Value::String(text) => text.trim().is_empty(),
        Value::Array(values) => values.iter().all(is_blank),
        Value::Object(fields) => fields.values().all(is_blank),
        _ => false,
    }
}

fn check_text(path: &str, text: &str) -> Result<(), Refusal> {
    if text.contains('\0') || path.contains('\0') {
        return Err(Refusal::unfit(path.replace('\0', ""), "Leave out the character with the code 0"));
    }
    Ok(())
}

fn check_json(path: &str, value: &Value, depth: usize, count: &mut usize) -> Result<(), Refusal> {
    *count += 1;
    if *count > MOST_FIELDS {
        return Err(too_many());
    }
    if depth > DEEPEST {
        return Err(Refusal::unfit(path, "Nothing here is nested this deep"));
    }
    let under = |name: &str| if path.is_empty() { name.to_owned() } else { format!("{path}.{name}") };
    match value {
        Value::Object(fields) => fields.iter().try_for_each(|(name, value)| {
            if name.len() > LONGEST_NAME {
                return Err(Refusal::unfit(path, "No field here has a name this long"));
            }
            check_text(name, "")?;
            check_json(&under(name), value, depth + 1, count)
        }),
        Value::Array(values) => values
            .iter()
            .enumerate()
            .try_for_each(|(at, value)| check_json(&under(&at.to_string()), value, depth + 1, count)),
        Value::String(text) => check_text(path, text),
        _ => Ok(()),
    }
}

fn too_many() -> Refusal {
    Refusal::unfit("", format!("Send at most {MOST_FIELDS} fields at once"))
}
