//! Whether a bottling gets better with age: its marks at several tastings, a cautious trend, and what follows for the
//! next tasting.
//!
//! Panels change, and a strict one after a generous one looks like decline. So the trend is taken, where enough tasters
//! came more than once, from each taster's differences to their own mean: who came once says nothing of the change.

use crate::science::sensory::scores::{Mean, Trend, mean, trend, trend_within};
use crate::science::sensory::{Interval, TOO_FEW};
use crate::units::days::{self, Day};
use crate::units::ids::{MemberId, TastingId};

/// A trend is not spoken of before so many tastings at different ages (common practice, no source).
pub const LEAST_TASTINGS: usize = 3;
/// After a proposal to keep it, the next tasting comes after half as much time again, but not before so many days
/// (common practice, no source).
const LEAST_WAIT_DAYS: i64 = 90;
const MOST_WAIT_DAYS: i64 = 730;
/// A drink that gets worse is looked at again after so many days (common practice, no source).
const SOON_DAYS: i64 = 60;
const DAYS_A_YEAR: f64 = 365.25;

/// One tasting of the bottling: the marks for the whole.
#[derive(Debug, Clone, PartialEq)]
pub struct Sitting {
    /// Which tasting.
    pub tasting: TastingId,
    /// Its number.
    pub code: String,
    /// When.
    pub day: Day,
    /// How old the bottling was.
    pub age_days: i64,
    /// Who gave which mark, 0 to 10.
    pub marks: Vec<(MemberId, f64)>,
}

/// A sitting with its mean.
#[derive(Debug, Clone, PartialEq)]
pub struct Point {
    /// Which tasting.
    pub tasting: TastingId,
    /// Its number.
    pub code: String,
    /// When.
    pub day: Day,
    /// How old the bottling was.
    pub age_days: i64,
    /// The mean with its interval.
    pub mean: Mean,
}

/// From what the trend was taken.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Basis {
    /// From so many tasters who came more than once, each against their own mean.
    Within(u32),
    /// From the means of the tastings: too few tasters came more than once to take the panel out.
    Means,
}

/// What the ages show.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Verdict {
    /// Too few tastings or tasters to say.
    TooFew,
    /// It has been getting better.
    Better,
    /// It has been getting worse.
    Worse,
    /// Neither is shown.
    Unclear,
}

impl Verdict {
    /// As in the API.
    pub const fn code(self) -> &'static str {
        match self {
            Self::TooFew => "too-few",
            Self::Better => "better",
            Self::Worse => "worse",
            Self::Unclear => "unclear",
        }
    }
}

/// What is proposed.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Proposal {
    /// Drink it soon; otherwise keep it.
    pub drink_soon: bool,
    /// The age at which it should be tasted next.
    pub next_age_days: i64,
    /// That age has been set already.
    pub is_set: bool,
    /// Why.
    pub because: String,
}

/// A bottling over time.
#[derive(Debug, Clone, PartialEq)]
pub struct Ageing {
    /// Its tastings, the youngest age first.
    pub points: Vec<Point>,
    /// Marks a year with the 95 % interval, the mark at age nought, and from what it was taken.
    pub trend: Option<(Trend, Basis)>,
    /// What the ages show.
    pub verdict: Verdict,
    /// What it shows and what it does not, sentence by sentence.
    pub says: Vec<String>,
    /// What is proposed.
    pub proposal: Proposal,
}

/// A bottling over time; none where it was never marked. `age_today` is its age, `set_ages` those at which it is to be
/// tasted.
pub fn ageing(sittings: &[Sitting], age_today: i64, set_ages: &[i64]) -> Option<Ageing> {
    let mut points: Vec<Point> = sittings.iter().filter_map(point).collect();
    points.sort_by_key(|point| (point.age_days, point.day));
    let last = points.last()?;
    let found = cautious_trend(sittings);
    let verdict = match found {
        None => Verdict::TooFew,
        Some((trend, _)) if trend.slope.1.low > 0.0 => Verdict::Better,
        Some((trend, _)) if trend.slope.1.high < 0.0 => Verdict::Worse,
        Some(_) => Verdict::Unclear,
    };
    let says = says(&points, found, verdict);
    let proposal = propose(verdict, last.age_days, age_today, set_ages);
    Some(Ageing { trend: found, verdict, says, proposal, points })
}

fn point(sitting: &Sitting) -> Option<Point> {
    let marks: Vec<f64> = sitting.marks.iter().map(|mark| mark.1).collect();
    Some(Point {
        tasting: sitting.tasting,
        code: sitting.code.clone(),
        day: sitting.day,
        age_days: sitting.age_days,
        mean: mean(&marks).ok()?,
    })
}

#[allow(clippy::cast_precision_loss, reason = "days of an age")]
fn years(age_days: i64) -> f64 {
    age_days as f64 / DAYS_A_YEAR
}

fn ages_of<'s>(sittings: impl Iterator<Item = &'s Sitting>) -> usize {
    let mut ages: Vec<i64> = sittings.map(|sitting| sitting.age_days).collect();
    ages.sort_unstable();
    ages.dedup();
    ages.len()
}

/// The trend in marks a year, from tasters who came again where there are enough, otherwise from the means.
fn cautious_trend(sittings: &[Sitting]) -> Option<(Trend, Basis)> {
    let enough = |sitting: &&Sitting| sitting.marks.len() >= TOO_FEW as usize;
    if ages_of(sittings.iter().filter(enough)) < LEAST_TASTINGS {
        return None;
    }
    let mut members: Vec<MemberId> =
        sittings.iter().flat_map(|one| one.marks.iter().map(|mark| mark.0)).collect();
    members.sort_unstable();
    let came_again: Vec<MemberId> =
        members.chunk_by(PartialEq::eq).filter(|same| same.len() > 1).map(|same| same[0]).collect();
    let of = |member: &MemberId| -> Vec<(f64, f64)> {
        let mark = |one: &Sitting| one.marks.iter().find(|mark| mark.0 == *member).map(|mark| mark.1);
        sittings.iter().filter_map(|one| Some((years(one.age_days), mark(one)?))).collect()
    };
    let sat = |one: &&Sitting| one.marks.iter().any(|mark| came_again.contains(&mark.0));
    if came_again.len() >= TOO_FEW as usize && ages_of(sittings.iter().filter(sat)) >= LEAST_TASTINGS {
        let within: Vec<_> = came_again.iter().map(of).collect();
        let tasters = u32::try_from(came_again.len()).unwrap_or(u32::MAX);
        return trend_within(&within).ok().map(|trend| (trend, Basis::Within(tasters)));
    }
    let means: Vec<(f64, f64)> = sittings
        .iter()
        .filter(enough)
        .filter_map(|sitting| Some((years(sitting.age_days), point(sitting)?.mean.mean)))
        .collect();
    trend(&means).ok().map(|trend| (trend, Basis::Means))
}

fn says(points: &[Point], found: Option<(Trend, Basis)>, verdict: Verdict) -> Vec<String> {
    let (Some(first), Some(last)) = (points.first(), points.last()) else { return Vec::new() };
    let mut says = vec![if points.len() == 1 {
        format!("It was marked once, at {}: {:.1} of 10.", days::age(first.age_days), first.mean.mean)
    } else {
        format!(
            "It was marked {} times, from {} ({:.1} of 10) to {} ({:.1} of 10).",
            points.len(),
            days::age(first.age_days),
            first.mean.mean,
            days::age(last.age_days),
            last.mean.mean
        )
    }];
    let Some((trend, basis)) = found else {
        says.push(format!(
            "Whether it gets better cannot be said yet: it takes {LEAST_TASTINGS} tastings at different ages, each by \
             {TOO_FEW} tasters or more."
        ));
        return says;
    };
    let (slope, Interval { low, high }) = trend.slope;
    let signed = |marks: f64| format!("{marks:+.1}").replace('-', "−");
    let range = format!("{} to {}", signed(low), signed(high));
    says.push(match verdict {
        Verdict::Better => {
            format!("It has been getting better, by about {} marks a year ({range}, 95 % interval).", signed(slope))
        }
        Verdict::Worse => {
            format!("It has been getting worse, by about {} marks a year ({range}, 95 % interval).", signed(slope))
        }
        _ => format!(
            "Whether it gets better or worse is not shown: the change may be anything from {range} marks a year. That \
             is not the same as no change."
        ),
    });
    says.push(match basis {
        Basis::Within(tasters) => format!(
            "Taken from the {tasters} tasters who came more than once, from the differences of their marks to each \
             one’s own mean: so a stricter panel does not look like age."
        ),
        Basis::Means => format!(
            "Taken from the means of the tastings. Fewer than {TOO_FEW} tasters came more than once, so a stricter \
             panel may look like age."
        ),
    });
    says.push("The line holds for the ages that were tasted; what comes after is a guess.".to_owned());
    says
}

fn propose(verdict: Verdict, last_age: i64, age_today: i64, set_ages: &[i64]) -> Proposal {
    let from = last_age.max(age_today);
    let wait = match verdict {
        Verdict::Worse => SOON_DAYS,
        _ => (from / 2).clamp(LEAST_WAIT_DAYS, MOST_WAIT_DAYS),
    };
    // To the next whole month of 30 days.
    let wanted = (from + wait + 29) / 30 * 30;
    let set = set_ages.iter().copied().filter(|age| *age > age_today && *age <= wanted + 30).min();
    let next_age_days = set.unwrap_or(wanted);
    let because = match verdict {
        Verdict::Better => "Keep it: it was still getting better when it was last tasted.",
        Verdict::Worse => {
            "Drink it soon: its marks have been falling, and nothing says that they will rise again."
        }
        Verdict::Unclear => "Keep it or drink it as you like: no change is shown in either direction.",
        Verdict::TooFew => "Keep some: another tasting is needed before anything can be said of its age.",
    };
    Proposal {
        drink_soon: verdict == Verdict::Worse,
        next_age_days,
        is_set: set.is_some(),
        because: because.to_owned(),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Tastings at these ages; each row is one taster's marks, none where they did not come.
    fn sittings(ages: &[i64], rows: &[&[Option<f64>]]) -> Vec<Sitting> {
        let members: Vec<MemberId> = rows.iter().map(|_| MemberId::fresh()).collect();
        let marks = |at: usize| -> Vec<(MemberId, f64)> {
            members.iter().zip(rows).filter_map(|(member, row)| Some((*member, row[at]?))).collect()
        };
        ages.iter()
            .enumerate()
            .map(|(at, age_days)| Sitting {
                tasting: TastingId::fresh(),
                code: format!("T-{at}"),
                day: "2026-06-30".parse().unwrap(),
                age_days: *age_days,
                marks: marks(at),
            })
            .collect()
    }

    #[test]
    fn a_drink_that_every_taster_marks_higher_is_kept() {
        let rows: Vec<[Option<f64>; 3]> = [5.0, 6.0, 5.5, 6.5, 4.5, 7.0]
            .map(|mark| [Some(mark), Some(mark + 0.6), Some(mark + 1.1)])
            .into();
        let rows: Vec<&[Option<f64>]> = rows.iter().map(<[_; 3]>::as_slice).collect();
        let found = ageing(&sittings(&[90, 180, 270], &rows), 300, &[365, 730]).unwrap();
        assert_eq!((found.verdict, found.trend.unwrap().1), (Verdict::Better, Basis::Within(6)));
        assert!(
            found.says[1].starts_with("It has been getting better, by about +2.2 marks a year"),
            "{:?}",
            found.says
        );
        assert!(found.says[2].contains("the 6 tasters who came more than once"), "{:?}", found.says);
        assert_eq!((found.proposal.drink_soon, found.proposal.next_age_days), (false, 365));
        assert!(found.proposal.is_set);
    }

    #[test]
    fn a_stricter_panel_does_not_look_like_age() {
        // Six who mark 8 whatever the age, six who mark 4; at first the generous ones come, at last the strict ones.
        let mut rows: Vec<[Option<f64>; 3]> = Vec::new();
        for jitter in [0.0, 0.1, -0.1, 0.2, -0.2, 0.0] {
            rows.push([Some(8.0 + jitter), Some(8.0 - jitter), None]);
            rows.push([None, Some(4.0 + jitter), Some(4.0 - jitter)]);
        }
        let rows: Vec<&[Option<f64>]> = rows.iter().map(<[_; 3]>::as_slice).collect();
        let found = ageing(&sittings(&[90, 180, 365], &rows), 400, &[]).unwrap();
        assert!(found.points[0].mean.mean > 7.9 && found.points[2].mean.mean < 4.1, "the means fall by half");
        assert_eq!(found.verdict, Verdict::Unclear, "{:?}", found.says);
        assert!(found.says[1].contains("not the same as no change"), "{:?}", found.says);
    }

    #[test]
    fn a_drink_that_falls_is_to_be_drunk_soon() {
        let rows: Vec<[Option<f64>; 3]> =
            [7.0, 8.0, 7.5, 6.5, 7.2].map(|mark| [Some(mark), Some(mark - 1.0), Some(mark - 2.1)]).into();
        let rows: Vec<&[Option<f64>]> = rows.iter().map(<[_; 3]>::as_slice).collect();
        let found = ageing(&sittings(&[180, 365, 730], &rows), 750, &[]).unwrap();
        assert_eq!(found.verdict, Verdict::Worse);
        assert!(found.proposal.drink_soon && found.proposal.because.starts_with("Drink it soon"));
        assert_eq!((found.proposal.next_age_days, found.proposal.is_set), (810, false));
    }

    #[test]
    fn two_tastings_or_four_tasters_are_too_few_to_speak_of_a_trend() {
        let five: [&[Option<f64>]; 5] = [&[Some(2.0), Some(9.0)]; 5];
        let found = ageing(&sittings(&[90, 180], &five), 200, &[]).unwrap();
        assert_eq!((found.verdict, found.trend), (Verdict::TooFew, None));
        let four: [&[Option<f64>]; 4] = [&[Some(2.0), Some(5.0), Some(9.0)]; 4];
        let found = ageing(&sittings(&[90, 180, 365], &four), 400, &[]).unwrap();
        assert_eq!(found.verdict, Verdict::TooFew);
        assert!(found.says[1].contains("cannot be said yet"), "{:?}", found.says);
        assert_eq!(found.proposal.next_age_days, 600, "400 days and half as much again, to the month");
    }

    #[test]
    fn without_tasters_who_come_again_the_means_are_used_and_it_is_said() {
        let mut rows: Vec<[Option<f64>; 3]> = Vec::new();
        for at in 0..3 {
            for mark in [5.0, 6.0, 5.5, 6.5, 5.2] {
                let mut row = [None; 3];
                row[at] = Some(mark + f64::from(u8::try_from(at).unwrap()));
                rows.push(row);
            }
        }
        let rows: Vec<&[Option<f64>]> = rows.iter().map(<[_; 3]>::as_slice).collect();
        let found = ageing(&sittings(&[100, 200, 300], &rows), 300, &[]).unwrap();
        assert_eq!(found.trend.unwrap().1, Basis::Means);
        assert!(found.says[2].contains("a stricter panel may look like age"), "{:?}", found.says);
    }

    #[test]
    fn what_was_never_marked_has_no_line() {
        assert_eq!(ageing(&[], 100, &[]), None);
        assert_eq!(ageing(&sittings(&[90], &[&[None]]), 100, &[]), None);
    }
}
