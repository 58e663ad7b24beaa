//! Whether a drink may be bottled, as far as its gravities tell: they never say that it is safe.

use crate::domain::reminders::stopped_for;
use crate::science::fermentation::{Doubt, Progress, Reading, progress};

/// The gravity at which a drink that has fermented out is expected to stand, as long as nobody said otherwise: common
/// practice, no source.
pub const EXPECTED_END_SG: f64 = 1.000;
/// A drink that stands more than 0.005 above the expected end is not near it: the limit of
/// `science::fermentation::progress`. That is 13 g/L of sugar, and 4 g/L make a bar more in the bottle.
const DRY_SG: f64 = EXPECTED_END_SG + 0.005;
/// One that has stood still for days may stand so high, and no higher: the limit of the same rule.
const FLAT_SG: f64 = EXPECTED_END_SG + 0.010;
/// Two gravities this many days apart, and no more, show whether a drink still moves (own rule).
const MOVES_WITHIN_DAYS: (f64, f64) = (0.5, 7.0);
/// How far a drink must have fallen between them to be still at work: what two readings may differ by anyway.
const MOVES_BY_SG: f64 = 0.001;
/// Readings are written to four decimals.
const ROUNDING_SG: f64 = 0.000_05;

/// What the gravities of a batch say about bottling it, which is never that it is safe.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Readiness {
    /// Flat for long enough, and low enough.
    SeemsFinished,
    /// It moves.
    NotYet,
    /// It stands still too high.
    Stopped,
    /// Nothing shows that it has finished.
    Unknown,
}

/// Whether it may be finished, and why that is said.
pub fn readiness(gravities: &[Reading]) -> (Readiness, String) {
    let progress = match progress(gravities, EXPECTED_END_SG) {
        Ok(progress) => progress,
        Err(refused) => return (Readiness::Unknown, refused.to_string()),
    };
    let readiness = match progress {
        _ if stopped_for(gravities).is_some() => Readiness::Stopped,
        Progress::Stalled => Readiness::Stopped,
        Progress::Finished => Readiness::SeemsFinished,
        Progress::Working => Readiness::NotYet,
        Progress::Unsure(_) => Readiness::Unknown,
    };
    (readiness, progress.to_string())
}

/// Whether what was read speaks against bottling, so that whoever bottles it all the same says why: nothing was
/// read, it still moves, or its last gravity leaves sugar that can burst a bottle.
pub(super) fn unfinished(gravities: &[Reading]) -> bool {
    let Some(last) = gravities.last() else { return true };
    let flat = match progress(gravities, EXPECTED_END_SG) {
        Ok(Progress::Finished) => return false,
        // Perry keeps sugar that no yeast takes: flat for days and not far from the end it may have finished. What
        // such sugar could come to in the bottles is another rule, `rules/bottled.rs`.
        Ok(Progress::Unsure(Doubt::AboveExpected | Doubt::UnknownTemperature)) => true,
        _ => false,
    };
    let moves = gravities.iter().rev().nth(1).is_some_and(|before| {
        let apart = last.day - before.day;
        (MOVES_WITHIN_DAYS.0..=MOVES_WITHIN_DAYS.1).contains(&apart)
            && before.sg - last.sg > MOVES_BY_SG + ROUNDING_SG
    });
    moves || last.sg > (if flat { FLAT_SG } else { DRY_SG }) + ROUNDING_SG
}
