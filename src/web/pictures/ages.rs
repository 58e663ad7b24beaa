//! Marks against age, with their intervals, a cautious line through them, and the age that comes next.

use super::shape::{cut, escape, figure, length, line};
use std::fmt::Write;

/// A mark at an age: the age in days, the mean, and its interval.
pub type Aged = (f64, f64, Option<(f64, f64)>);

/// What the picture shows.
pub struct Ages<'a> {
    /// Unique in the page.
    pub id: &'a str,
    /// What it is.
    pub title: &'a str,
    /// What it shows, in a sentence, under it.
    pub caption: &'a str,
    /// The marks, the youngest age first.
    pub points: &'a [Aged],
    /// The mark at age nought and the change a day, where a trend may be spoken of.
    pub line: Option<(f64, f64)>,
    /// The age that comes next, in days.
    pub next: Option<f64>,
    /// An age in few words.
    pub age_text: &'a dyn Fn(f64) -> String,
}

/// Where the plot begins and ends across, in per mille, and its heights in pixels.
const LEFT: f64 = 70.0;
const RIGHT: f64 = 940.0;
const TOP_PX: f64 = 30.0;
const TALL_PX: f64 = 180.0;
/// Ages that are closer than this, in per mille, share the words under them.
const NEAR: f64 = 190.0;

/// The picture as a figure. Points that are no numbers are left out.
pub fn ages(ages: &Ages) -> String {
    let points: Vec<_> =
        ages.points.iter().filter(|point| point.0.is_finite() && point.1.is_finite()).collect();
    let (Some(first), Some(last)) = (points.first(), points.last()) else { return String::new() };
    let low = points.iter().map(|point| point.2.map_or(point.1, |interval| interval.0)).fold(10.0, f64::min);
    let high = points.iter().map(|point| point.2.map_or(point.1, |interval| interval.1)).fold(0.0, f64::max);
    let (low, high) = ((low - 0.5).floor().clamp(0.0, 9.0), (high + 0.5).ceil().clamp(1.0, 10.0));
    let oldest = ages.next.unwrap_or(last.0).max(last.0).max(first.0 + 1.0);
    let x = |age: f64| LEFT + (age - first.0) / (oldest - first.0) * (RIGHT - LEFT);
    let y = |mark: f64| TOP_PX + TALL_PX * (1.0 - ((mark - low) / (high - low).max(1.0)).clamp(0.0, 1.0));
    let base = TOP_PX + TALL_PX + 10.0;
    let mut body = String::from("<text class=\"t-dim\" x=\"0\" y=\"12\">of 10</text>");
    for mark in (0..=10).map(f64::from).filter(|mark| *mark >= low && *mark <= high) {
        let at = y(mark);
        let _ = write!(
            body,
            "<line class=\"grid\" x1=\"0\" x2=\"100%\" y1=\"{0}\" y2=\"{0}\"/>\
             <text class=\"t-dim\" x=\"0\" y=\"{1}\">{mark:.0}</text>",
            length(at),
            length(at - 4.0)
        );
    }
    if let Some((start, slope)) = ages.line {
        let end = |age: f64| (x(age), y(start + slope * age));
        let height = length(base);
        let _ = write!(
            body,
            "<svg viewBox=\"0 0 1000 {height}\" preserveAspectRatio=\"none\" width=\"100%\" height=\"{height}\">\
             <path class=\"curve\" d=\"{}\"/></svg>",
            line([end(first.0), end(last.0)])
        );
    }
    let mut shown_until = f64::NEG_INFINITY;
    for (age, mark, interval) in &points {
        let place = length(x(*age) / 10.0);
        if let Some((from, to)) = interval {
            let _ = write!(
                body,
                "<line class=\"int\" x1=\"{place}%\" x2=\"{place}%\" y1=\"{}\" y2=\"{}\"/>",
                length(y(*to)),
                length(y(*from))
            );
        }
        let _ = write!(body, "<circle class=\"mean\" cx=\"{place}%\" cy=\"{}\" r=\"6\"/>", length(y(*mark)));
        if x(*age) >= shown_until {
            shown_until = x(*age) + NEAR;
            // At the right edge words stand to the left of the mark.
            let (side, anchor, by) = match x(*age) {
                at if at > 850.0 => ("end", "end", -10),
                at if at < 150.0 => ("start", "start", 10),
                _ => ("start", "middle", 10),
            };
            let _ = write!(
                body,
                "<text class=\"t-b halo\" x=\"{place}%\" y=\"{}\" text-anchor=\"{side}\" \
                 transform=\"translate({by} 0)\">{mark:.1}</text>",
                length(y(*mark) + 4.0)
            );
            body += &words(&place, base, anchor, &(ages.age_text)(*age));
        }
    }
    if let Some(next) = ages.next.filter(|next| *next > last.0) {
        let place = length(x(next) / 10.0);
        let _ = write!(
            body,
            "<line class=\"mark-at\" x1=\"{place}%\" x2=\"{place}%\" y1=\"18\" y2=\"{0}\"/>\
             <text class=\"halo\" x=\"{place}%\" y=\"12\" text-anchor=\"end\">taste next</text>",
            length(base)
        );
        if x(next) >= shown_until {
            body += &words(&place, base, "end", &(ages.age_text)(next));
        }
    }
    let _ = write!(body, "<line class=\"base\" x1=\"0\" x2=\"100%\" y1=\"{0}\" y2=\"{0}\"/>", length(base));
    figure(ages.id, ages.title, ages.caption, &length(base + 26.0), &body)
}

fn words(place: &str, base: f64, anchor: &str, text: &str) -> String {
    format!(
        "<text class=\"t-dim\" x=\"{place}%\" y=\"{}\" text-anchor=\"{anchor}\">{}</text>",
        length(base + 20.0),
        escape(&cut(text, 70.0))
    )
}

#[cfg(test)]
mod tests {
    use super::*;

    fn drawn(points: &[Aged], line: Option<(f64, f64)>, next: Option<f64>) -> String {
        ages(&Ages {
            id: "ages",
            title: "Marks against age",
            caption: "It rose.",
            points,
            line,
            next,
            age_text: &|days| format!("{days:.0} d"),
        })
    }

    #[test]
    fn marks_stand_at_their_ages_with_their_intervals() {
        let points = [(90.0, 5.0, Some((4.0, 6.0))), (180.0, 6.0, None), (270.0, 7.0, Some((6.5, 7.5)))];
        let html = drawn(&points, Some((4.0, 0.011)), Some(360.0));
        assert_eq!((html.matches("class=\"mean\"").count(), html.matches("class=\"int\"").count()), (3, 2));
        assert!(
            html.contains("cx=\"7.0%\"") && html.contains("cx=\"36.0%\"") && html.contains("cx=\"65.0%\"")
        );
        assert!(html.contains("taste next") && html.contains("360 d") && html.contains("class=\"curve\""));
    }

    #[test]
    fn one_tasting_is_drawn_too_and_none_is_not() {
        assert!(drawn(&[(90.0, 5.0, None)], None, None).contains("class=\"mean\""));
        assert_eq!(drawn(&[], None, Some(100.0)), "");
        assert!(!drawn(&[(f64::NAN, 5.0, None), (1.0, 5.0, None)], None, None).contains("NaN"));
    }
}
