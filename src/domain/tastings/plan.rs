//! A tasting on paper: what was thought of, and what stands in its way before anybody is invited.

use serde::{Deserialize, Serialize};

use super::Method;
use crate::domain::members::Role;
use crate::domain::refusal::{Fault, Refusal, Why};
use crate::units::days::Day;
use crate::units::ids::{BottlingId, MemberId};
use crate::units::quantity::Milli;

/// The most who are invited to one tasting.
pub const MOST_TASTERS: usize = 200;
/// The least and the most that is poured into a glass, mL.
pub const POUR_ML: (i64, i64) = (5, 150);

/// A tasting on paper.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct Plan {
    /// What the club calls it.
    pub title: String,
    /// Who runs it: a cellarhand or a steward.
    pub host: MemberId,
    /// When.
    pub day: Day,
    /// Where, in words.
    pub place: String,
    /// Nobody knows which glass holds what.
    pub blind: bool,
    /// How glasses are judged.
    pub method: Method,
    /// What is asked, where the method leaves it open; empty for the usual question.
    pub question: String,
    /// In a pair: the sample that should be named, where that is known beforehand.
    pub expected: Option<u32>,
    /// What is poured, in the order of the plan; the first is the known glass of a duo-trio.
    pub samples: Vec<BottlingId>,
    /// How much goes into each glass.
    pub pour_volume: Milli,
    /// Who is invited to taste.
    pub tasters: Vec<MemberId>,
    /// Who pours, if it is blind.
    pub pourer: Option<MemberId>,
}

/// A member as a plan needs them.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Person {
    /// Who.
    pub member: MemberId,
    /// What the others call them.
    pub name: String,
    /// What they may do.
    pub role: Role,
}

impl Plan {
    /// Refuses a plan that cannot be carried out: `people` are the members of the club now.
    pub fn check(&self, people: &[Person]) -> Result<(), Refusal> {
        let mut faults = Vec::new();
        let mut fault = |field: &str, message: String| {
            faults.push(Fault { field: field.to_owned(), message });
        };
        let (least, most) = self.method.samples();
        if self.samples.len() < least || self.samples.len() > most {
            let wanted = if least == most { format!("{least}") } else { format!("{least} to {most}") };
            fault("samples", format!("Choose {wanted} bottlings; this has {}", self.samples.len()));
        }
        if (1..self.samples.len()).any(|at| self.samples[..at].contains(&self.samples[at])) {
            fault("samples", "A bottling is in the list twice; take one of them out".to_owned());
        }
        if self.pour_volume < Milli::new(POUR_ML.0 * 1000) || self.pour_volume > Milli::new(POUR_ML.1 * 1000)
        {
            fault("pour_volume", format!("Pour {} to {} mL into a glass", POUR_ML.0, POUR_ML.1));
        }
        if self.method.is_difference() && !self.blind {
            fault(
                "blind",
                "Who knows which glasses are alike cannot tell them apart: choose blind".to_owned(),
            );
        }
        if self.expected.is_some() && self.method != Method::Paired {
            fault(
                "expected",
                "Only in a pair can it be known which glass should be named; leave it out".to_owned(),
            );
        }
        let known = |member: MemberId| people.iter().find(|person| person.member == member);
        match known(self.host) {
            None => fault("host", "The host has left the club; choose another".to_owned()),
            Some(host) if host.role < Role::Cellarhand => {
                fault(
                    "host",
                    format!(
                        "{} is a {}: a cellarhand or a steward opens bottles",
                        host.name,
                        host.role.name()
                    ),
                );
            }
            Some(_) => {}
        }
        if self.tasters.is_empty() {
            fault("tasters", "Invite at least one taster".to_owned());
        }
        if self.tasters.len() > MOST_TASTERS {
            fault("tasters", format!("Invite at most {MOST_TASTERS} tasters"));
        }
        for taster in &self.tasters {
            match known(*taster) {
                None => fault("tasters", "One of those invited has left the club; take them out".to_owned()),
                Some(person) if person.role < Role::Taster => fault(
                    "tasters",
                    format!(
                        "{} is an onlooker, who only reads; a steward can make them a taster",
                        person.name
                    ),
                ),
                Some(_) => {}
            }
        }
        if let Some(pourer) = self.pourer {
            if known(pourer).is_none() {
                fault("pourer", "The one who pours has left the club; choose another".to_owned());
            }
            if self.blind && pourer == self.host {
                let words =
                    "The host knows what is in the bags: let somebody else pour, so that nobody knows both";
                fault("pourer", words.to_owned());
            }
            if self.method.is_difference() && self.tasters.contains(&pourer) {
                let words =
                    "Who pours sees which glasses are alike and cannot taste here; let somebody else pour";
                fault("pourer", words.to_owned());
            }
        }
        if faults.is_empty() { Ok(()) } else { Err(Refusal { why: Why::Unfit, faults, entries: Vec::new() }) }
    }

    /// The question as it is asked.
    pub fn question(&self) -> &str {
        if self.method.asks() && !self.question.is_empty() { &self.question } else { self.method.question() }
    }
}
