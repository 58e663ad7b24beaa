//! The cautions of `domain` on a form, and the reasons that are typed beside them.

use super::forms::{Caution, Field};
use super::input::Reader;
use crate::domain::cautions::{self, Reasons, Rule};

/// The longest reason.
const LONGEST: usize = 300;

/// A caution as a form shows it; a dangerous one asks why somebody goes on.
pub fn shown(caution: &cautions::Caution) -> Caution {
    let ask = || {
        Field::text(cautions::field(caution.rule), "Why it is safe to go on here")
            .hint("In your words; it is kept with what is recorded. If you cannot say why, do not go on.")
    };
    Caution {
        why: caution.why.clone(),
        source: caution.source.to_owned(),
        reason: caution.needs_reason.then(ask),
        ..Caution::new(format!("{}: {}", sign(caution), caution.title), caution.points.iter().cloned())
    }
}

const fn sign(caution: &cautions::Caution) -> &'static str {
    if caution.needs_reason { "Danger" } else { "Caution" }
}

/// The reasons for going on, from `reasons.RULE`.
pub fn reasons(r: &mut Reader) -> Reasons {
    r.group("reasons");
    Rule::ALL.into_iter().fold(Reasons::default(), |reasons, rule| {
        let words = r.optional_line(&cautions::field(rule), LONGEST, "why it is safe to go on");
        reasons.with(rule, words)
    })
}
