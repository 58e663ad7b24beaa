//! A step and its records, in words.

use super::{Found, may_strike};
use crate::domain::members::{Doer, Role};
use crate::domain::plans::duration;
use crate::domain::steps::{Record, RecordKind, State, Step, clock};
use crate::units::days::Instant;
use crate::web::plans::{degrees, figures};
use crate::web::recipes::read::exact;
use crate::web::site::Site;
use crate::web::words;

/// A step as it is shown.
pub struct StepView {
    /// Its number in the batch.
    pub line: i64,
    /// Where it is recorded.
    pub href: String,
    /// What kind of step.
    pub kind: &'static str,
    /// In words.
    pub what: String,
    /// Item, amount, temperature, time.
    pub figures: String,
    /// `open`, `running`, `done` or `left-out`.
    pub state: &'static str,
    /// "14:32 · Aafke Tjaarda", "until 15:02".
    pub said: String,
    /// What was measured.
    pub measured: String,
    /// What was written.
    pub remark: String,
    /// What it says to beware of.
    pub caution: String,
    /// Who added it, if it was not planned.
    pub added: String,
    /// All that was recorded, newest first.
    pub records: Vec<RecordRow>,
    /// When it runs: when it is over and the server's clock, for the script; and in words.
    pub timer: Option<Timer>,
}

/// How long something still takes.
pub struct Timer {
    /// When it is over, RFC 3339.
    pub ends: String,
    /// What the server's clock shows, RFC 3339.
    pub now: String,
    /// "17 min left", "over since 4 min".
    pub left: String,
    /// "until 15:02".
    pub until: String,
    /// It is over.
    pub over: bool,
}

impl Timer {
    /// From when it is over.
    pub fn of(ends: Instant, doer: &Doer) -> Self {
        let left = (ends - doer.now).num_seconds();
        let minutes = |seconds: i64| duration((seconds.abs() + 59) / 60);
        let at = clock(ends, doer.zone, doer.today());
        Self {
            ends: ends.and_utc().to_rfc3339(),
            now: doer.now.and_utc().to_rfc3339(),
            left: if left > 0 {
                format!("{} left", minutes(left))
            } else {
                format!("over since {}", minutes(left))
            },
            until: if left > 0 { format!("until {at}") } else { format!("it was over at {at}") },
            over: left <= 0,
        }
    }
}

/// One record of a step.
pub struct RecordRow {
    /// Which.
    pub id: String,
    /// When and by whom.
    pub when: String,
    /// "Done", "Left out", "Remark", "Begun".
    pub what: &'static str,
    /// What was measured.
    pub measured: String,
    /// What was written.
    pub remark: String,
    /// The entry by which it was done.
    pub entry: Option<String>,
    /// That entry was reversed, or the record struck out: by whom and why.
    pub struck: Option<String>,
    /// It may be struck out here.
    pub may_strike: bool,
}

impl StepView {
    /// A step of a batch.
    pub fn of(site: &Site, doer: &Doer, found: &Found, step: &Step) -> Self {
        let state = step.state();
        let record = match state {
            State::Open => None,
            State::Running(record) | State::Done(record) | State::LeftOut(record) => Some(record),
        };
        let item = step.item.clone().filter(|name| !step.plan.what.contains(name.as_str()));
        let figures = [item.unwrap_or_default(), figures(&step.plan)];
        Self {
            line: step.line,
            href: site.at(&format!("/batches/{}/steps/{}", found.batch.id, step.line)),
            kind: step.plan.kind.name(),
            what: step.plan.what.clone(),
            figures: figures.into_iter().filter(|part| !part.is_empty()).collect::<Vec<_>>().join(" · "),
            state: state.code(),
            said: record.map(|record| said(state, record, doer)).unwrap_or_default(),
            measured: record.map(|record| measured(step, record)).unwrap_or_default(),
            remark: record.map(remark).unwrap_or_default(),
            caution: step.plan.caution.clone(),
            added: step.added_by.as_ref().map(|by| format!("added by {by}")).unwrap_or_default(),
            records: step.records.iter().rev().map(|record| row(site, doer, step, record)).collect(),
            timer: step.ends_at().map(|ends| Timer::of(ends, doer)),
        }
    }
}

fn at_by(at: &(Instant, String), doer: &Doer) -> String {
    format!("{} · {}", clock(at.0, doer.zone, doer.today()), at.1)
}

fn said(state: State<'_>, record: &Record, doer: &Doer) -> String {
    match (state, &record.begun, &record.done) {
        (State::Running(_), Some(begun), _) => format!("begun at {}", at_by(begun, doer)),
        (State::LeftOut(_), _, Some(done)) => format!("left out at {}", at_by(done, doer)),
        (_, _, Some(done)) => at_by(done, doer),
        _ => String::new(),
    }
}

/// Why it was left out or done all the same, and what was written.
pub fn remark(record: &Record) -> String {
    [&record.because, &record.remark]
        .into_iter()
        .filter(|text| !text.is_empty())
        .cloned()
        .collect::<Vec<_>>()
        .join("; ")
}

/// What was measured in a step: how warm, how much, how long, what was read off.
pub fn measured(step: &Step, record: &Record) -> String {
    let mut parts: Vec<String> = record.temperature_c.map(degrees).into_iter().collect();
    parts.extend(record.amount.map(|(amount, unit)| exact(amount, unit)));
    parts.extend(step.took(record));
    parts.extend(record.readings.iter().map(|taken| {
        let (name, unit) = taken.kind.label();
        let value = taken.value.shown(taken.kind);
        let unit = if unit == name { String::new() } else { format!(" {unit}") };
        let struck = if taken.struck { " (struck out)" } else { "" };
        format!("{name} {value}{unit}{struck}")
    }));
    parts.join(" · ")
}

fn row(site: &Site, doer: &Doer, step: &Step, record: &Record) -> RecordRow {
    let at = record.done.as_ref().or(record.begun.as_ref());
    let reversed = record.entry.is_some_and(|entry| entry.1);
    let struck = record.struck.as_ref().map(|(at, by, why)| {
        let why = if why.is_empty() { String::new() } else { format!(": {why}") };
        format!("Struck out by {by} on {}{why}", words::when(*at, doer))
    });
    RecordRow {
        id: record.id.to_string(),
        when: at.map(|(at, by)| format!("{} · {by}", words::when(*at, doer))).unwrap_or_default(),
        what: match record.kind {
            RecordKind::LeftOut => "Left out",
            RecordKind::Remark => "Remark",
            RecordKind::Done if record.done.is_none() => "Begun",
            RecordKind::Done => "Done",
        },
        measured: measured(step, record),
        remark: remark(record),
        entry: record.entry.map(|entry| site.at(&format!("/entries/{}", entry.0))),
        struck: struck
            .or_else(|| reversed.then(|| "Its entry was reversed: the step is open again".to_owned())),
        may_strike: record.struck.is_none()
            && !reversed
            && doer.role >= Role::Cellarhand
            && may_strike(record.kind, record.entry),
    }
}
