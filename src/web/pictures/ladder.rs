//! Values side by side on one scale, each with its interval: what samples were given, how many chose, which places.

use super::shape::{NARROWEST_PX, cut, escape, figure, length, width_px};
use std::fmt::Write;

/// What a ladder shows.
pub struct Ladder<'a> {
    /// Unique in the page.
    pub id: &'a str,
    /// What it is.
    pub title: &'a str,
    /// What it shows, in a sentence, under it.
    pub caption: &'a str,
    /// The least and the greatest value of the scale.
    pub scale: (f64, f64),
    /// How many decimals the scale has at its ticks.
    pub step: f64,
    /// One rung for each value.
    pub rungs: &'a [Rung],
    /// Values with which the others are compared, in a word or two each.
    pub marks: &'a [(f64, String)],
}

/// One value.
pub struct Rung {
    /// Of what.
    pub name: String,
    /// The value.
    pub value: f64,
    /// The value in words: "7.4".
    pub shown: String,
    /// Between which bounds it lies.
    pub interval: Option<(f64, f64)>,
    /// The single values behind it.
    pub dots: Vec<f64>,
}

/// Where the scale begins and ends across, in per mille.
const LEFT: f64 = 25.0;
const RIGHT: f64 = 975.0;
/// The height of a rung, of the numbers over them, and of a row of marks.
const RUNG_PX: f64 = 52.0;
const HEAD_PX: f64 = 22.0;
const MARK_PX: f64 = 17.0;

/// The ladder as a figure. Values that are no numbers are left out.
pub fn ladder(ladder: &Ladder) -> String {
    let rungs: Vec<&Rung> = ladder.rungs.iter().filter(|rung| rung.value.is_finite()).collect();
    if rungs.is_empty() {
        return String::new();
    }
    let place = |value: f64| {
        let span = (ladder.scale.1 - ladder.scale.0).max(f64::MIN_POSITIVE);
        let part = ((value - ladder.scale.0) / span).clamp(0.0, 1.0);
        length((LEFT + part * (RIGHT - LEFT)) / 10.0)
    };
    let rows = f64::from(u8::try_from(ladder.marks.len()).unwrap_or(u8::MAX));
    let top = HEAD_PX + MARK_PX * rows;
    let base = top + RUNG_PX * f64::from(u8::try_from(rungs.len()).unwrap_or(u8::MAX));
    let mut body = ticks(ladder, &place, base);
    for (at, (value, text)) in (0_u8..).zip(ladder.marks) {
        body += &mark(*value, text, ladder.scale, &place, HEAD_PX + MARK_PX * f64::from(at), base);
    }
    for (at, rung) in (0_u8..).zip(rungs) {
        body += &one(rung, &place, top + RUNG_PX * f64::from(at));
    }
    figure(ladder.id, ladder.title, ladder.caption, &length(base + 6.0), &body)
}

fn ticks(ladder: &Ladder, place: &impl Fn(f64) -> String, base: f64) -> String {
    let mut html = String::new();
    let decimals = usize::from(ladder.step.fract() > 0.0);
    for at in 0..=20_u8 {
        let value = ladder.scale.0 + f64::from(at) * ladder.step;
        if value > ladder.scale.1 + ladder.step * 0.001 || ladder.step <= 0.0 {
            break;
        }
        let x = place(value);
        let _ = write!(
            html,
            "<line class=\"grid\" x1=\"{x}%\" x2=\"{x}%\" y1=\"{HEAD_PX}\" y2=\"{}\"/>\
             <text class=\"t-dim\" x=\"{x}%\" y=\"14\" text-anchor=\"middle\">{value:.decimals$}</text>",
            length(base)
        );
    }
    html
}

/// A dashed line with its words, which lean to the side where there is room.
fn mark(
    value: f64,
    text: &str,
    scale: (f64, f64),
    place: &impl Fn(f64) -> String,
    y: f64,
    base: f64,
) -> String {
    let x = place(value);
    let right = value > f64::midpoint(scale.0, scale.1);
    let (anchor, aside) = if right { ("end", -5) } else { ("start", 5) };
    format!(
        "<line class=\"mark-at\" x1=\"{x}%\" x2=\"{x}%\" y1=\"{}\" y2=\"{}\"/>\
         <text class=\"halo\" x=\"{x}%\" y=\"{}\" text-anchor=\"{anchor}\" \
         transform=\"translate({aside} 0)\">{}</text>",
        length(y + 3.0),
        length(base),
        length(y + 13.0),
        escape(&cut(text, NARROWEST_PX * 0.6))
    )
}

fn one(rung: &Rung, place: &impl Fn(f64) -> String, y: f64) -> String {
    let room = NARROWEST_PX - width_px(&rung.shown) - 16.0;
    let mut html = format!(
        "<text class=\"halo\" x=\"0\" y=\"{name}\">{}</text><text class=\"t-b halo\" x=\"100%\" y=\"{name}\" \
         text-anchor=\"end\">{}</text><line class=\"base\" x1=\"{}%\" x2=\"{}%\" y1=\"{line}\" y2=\"{line}\"/>",
        escape(&cut(&rung.name, room)),
        escape(&rung.shown),
        length(LEFT / 10.0),
        length(RIGHT / 10.0),
        name = length(y + 18.0),
        line = length(y + 34.0),
    );
    for dot in rung.dots.iter().filter(|dot| dot.is_finite()) {
        let _ = write!(
            html,
            "<circle class=\"one\" cx=\"{}%\" cy=\"{}\" r=\"3\"/>",
            place(*dot),
            length(y + 43.0)
        );
    }
    if let Some((low, high)) = rung.interval.filter(|(low, high)| low.is_finite() && high.is_finite()) {
        let _ = write!(
            html,
            "<line class=\"int\" x1=\"{}%\" x2=\"{}%\" y1=\"{y}\" y2=\"{y}\"/>",
            place(low),
            place(high),
            y = length(y + 34.0)
        );
    }
    let _ = write!(
        html,
        "<circle class=\"mean\" cx=\"{}%\" cy=\"{}\" r=\"6\"/>",
        place(rung.value),
        length(y + 34.0)
    );
    html
}

#[cfg(test)]
mod tests {
    use super::*;

    fn drawn(rungs: &[Rung], marks: &[(f64, String)]) -> String {
        ladder(&Ladder {
            id: "whole",
            title: "Overall",
            caption: "Bars are 95 % intervals.",
            scale: (0.0, 10.0),
            step: 2.0,
            rungs,
            marks,
        })
    }

    fn rung(value: f64, interval: Option<(f64, f64)>) -> Rung {
        Rung {
            name: "Moor Mead, 6-1".to_owned(),
            value,
            shown: format!("{value:.1}"),
            interval,
            dots: vec![4.0],
        }
    }

    #[test]
    fn every_value_has_its_place_its_bar_and_its_dots() {
        let html = drawn(&[rung(5.0, Some((4.0, 6.0))), rung(10.0, None)], &[]);
        assert!(html.contains("class=\"mean\" cx=\"50.0%\"") && html.contains("class=\"mean\" cx=\"97.5%\""));
        assert!(html.contains("class=\"int\" x1=\"40.5%\" x2=\"59.5%\""), "{html}");
        assert_eq!(html.matches("class=\"one\"").count(), 2);
        assert_eq!(html.matches("class=\"grid\"").count(), 6, "0, 2, 4, 6, 8, 10");
    }

    #[test]
    fn what_is_no_number_is_not_drawn_and_nothing_runs_off_the_scale() {
        assert_eq!(drawn(&[rung(f64::NAN, None)], &[]), "");
        let html = drawn(&[rung(12.0, Some((-3.0, f64::INFINITY)))], &[(99.0, "<needed>".to_owned())]);
        assert!(!html.contains("NaN") && !html.contains("inf") && !html.contains("<needed>"), "{html}");
        assert!(html.contains("cx=\"97.5%\""), "{html}");
    }
}
