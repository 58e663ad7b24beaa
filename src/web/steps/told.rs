//! The steps of a batch in the record of that batch: every one with all that was recorded of it, struck out or not.

use super::shown::{measured, remark};
use crate::domain::members::Doer;
use crate::domain::steps::{Record, RecordKind, Step};
use crate::web::words;

/// Rows of number and step, what was recorded and by whom, what was measured, and remarks.
pub fn rows(steps: &[Step], doer: &Doer) -> Vec<Vec<String>> {
    let mut rows = Vec::new();
    for step in steps {
        let name = match &step.item {
            Some(item) if !step.name().contains(item.as_str()) => format!("{} ({item})", step.name()),
            _ => step.name().to_owned(),
        };
        let name = format!("{}. {name}", step.line);
        if step.records.is_empty() {
            rows.push(vec![name.clone(), "not done".to_owned(), String::new(), String::new()]);
        }
        rows.extend(step.records.iter().map(|record| row(&name, step, record, doer)));
    }
    rows
}

fn row(name: &str, step: &Step, record: &Record, doer: &Doer) -> Vec<String> {
    let what = match record.kind {
        RecordKind::LeftOut => "Left out",
        RecordKind::Remark => "Remark",
        RecordKind::Done if record.done.is_none() => "Begun",
        RecordKind::Done => "Done",
    };
    let at = record.done.as_ref().or(record.begun.as_ref());
    let when = at.map(|(at, by)| format!(" {} · {by}", words::when(*at, doer))).unwrap_or_default();
    let struck = record
        .struck
        .as_ref()
        .map(|(at, by, why)| format!("STRUCK OUT by {by} on {}: {why}", words::when(*at, doer)));
    let reversed = record.entry.is_some_and(|entry| entry.1).then(|| "Its entry was REVERSED".to_owned());
    let said = [Some(remark(record)), struck, reversed].into_iter().flatten().filter(|text| !text.is_empty());
    let said: Vec<String> = said.collect();
    vec![name.to_owned(), format!("{what}{when}"), measured(step, record), said.join(". ")]
}
