//! Several curves over each other, by the day since each began: told apart by their dashes and by the name at their
//! end, never by colour alone.

use std::fmt::Write;

use super::curve::{Scale, step_for, through};
use super::shape::{NARROWEST_PX, cut, escape, figure, length};
use super::thin::thin;

/// Curves that can be told apart.
pub const MOST_CURVES: usize = 8;

/// What is laid over each other.
pub struct Overlay<'a> {
    /// Unique in the page.
    pub id: &'a str,
    /// What it is.
    pub title: &'a str,
    /// What it shows, in a sentence.
    pub caption: &'a str,
    /// The unit, over the scale.
    pub unit: &'a str,
    /// The name of each, and its points: day and value.
    pub curves: Vec<(String, Vec<(f64, f64)>)>,
}

const LEFT: f64 = 165.0;
const RIGHT: f64 = 880.0;
const TOP_PX: f64 = 30.0;
const BASE_PX: f64 = 240.0;
/// Points of a curve are thinned to so many columns.
const COLUMNS: usize = 40;

/// The curves as a figure; nothing where there are none.
pub fn overlay(of: &Overlay) -> String {
    let curves: Vec<(&str, Vec<(f64, f64)>)> = of
        .curves
        .iter()
        .take(MOST_CURVES)
        .map(|(name, points)| (name.as_str(), thin(points, COLUMNS)))
        .filter(|curve| !curve.1.is_empty())
        .collect();
    if curves.is_empty() {
        return String::new();
    }
    let all = || curves.iter().flat_map(|curve| curve.1.iter());
    let days = Scale::over(all().map(|point| point.0).chain([0.0]), LEFT, RIGHT, 1.0);
    let values = Scale::over(all().map(|point| point.1), BASE_PX - 14.0, TOP_PX + 10.0, 0.0);
    let mut body = format!("<text class=\"t-dim\" x=\"0\" y=\"12\">{}</text>", escape(&cut(of.unit, 130.0)));
    body += &grid(&values);
    let mut names: Vec<(f64, f64, &str)> = Vec::new();
    for (at, (name, points)) in curves.iter().enumerate() {
        let line = through(points, &days, &values);
        let _ = write!(
            body,
            "<svg viewBox=\"0 0 1000 {0}\" preserveAspectRatio=\"none\" width=\"100%\" height=\"{0}\">\
             <path class=\"over o{at}\" d=\"{line}\"/></svg>",
            length(BASE_PX)
        );
        if let Some((x, y)) = points.last() {
            names.push((days.at(*x) / 10.0, values.at(*y), name));
        }
    }
    body += &named(names);
    body += &day_axis(&days);
    figure(of.id, of.title, of.caption, &length(BASE_PX + 28.0), &body)
}

fn grid(values: &Scale) -> String {
    let (step, decimals) = step_for(values.high - values.low);
    let first = (values.low / step).ceil() * step;
    let lines =
        (0..6).map(|n| first + f64::from(n) * step).take_while(|value| *value <= values.high + step * 0.001);
    let line = |value: f64| {
        let y = values.at(value);
        format!(
            "<line class=\"grid\" x1=\"0\" x2=\"100%\" y1=\"{0}\" y2=\"{0}\"/>\
             <text class=\"t-dim\" x=\"0\" y=\"{1}\">{value:.2$}</text>",
            length(y),
            length(y - 4.0),
            decimals.max(2)
        )
    };
    lines.map(line).collect()
}

/// The names at the ends, pushed apart where they would touch.
fn named(mut names: Vec<(f64, f64, &str)>) -> String {
    names.sort_by(|one, other| one.1.total_cmp(&other.1));
    let mut last = f64::NEG_INFINITY;
    let mut html = String::new();
    for (x, y, name) in names {
        let y = y.max(last + 15.0);
        last = y;
        let _ = write!(
            html,
            "<text class=\"t-b halo\" x=\"{}%\" y=\"{}\" transform=\"translate(5 4)\">{}</text>",
            length(x),
            length(y),
            escape(&cut(name, NARROWEST_PX / 7.0))
        );
    }
    html
}

fn day_axis(days: &Scale) -> String {
    let mut html =
        format!("<line class=\"base\" x1=\"0\" x2=\"100%\" y1=\"{0}\" y2=\"{0}\"/>", length(BASE_PX));
    let step = [1_u16, 2, 5, 7, 14, 30, 60, 90, 180, 365]
        .into_iter()
        .find(|step| days.high / f64::from(*step) <= 4.5);
    let step = f64::from(step.unwrap_or(730));
    for day in (0..6).map(|n| f64::from(n) * step).take_while(|day| *day <= days.high) {
        let _ = write!(
            html,
            "<text class=\"t-dim\" x=\"{}%\" y=\"{}\" text-anchor=\"middle\">day {day:.0}</text>",
            length(days.at(day) / 10.0),
            length(BASE_PX + 20.0)
        );
    }
    html
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_curve_has_its_own_dashes_and_its_name() {
        let fall =
            |from: f64| (0..9_u8).map(|n| (f64::from(n), from - f64::from(n) * 0.01)).collect::<Vec<_>>();
        let curves = (0..8_u8).map(|n| (format!("<{n}>"), fall(1.08 + f64::from(n) * 0.001))).collect();
        let html = overlay(&Overlay { id: "o", title: "Over", caption: "", unit: "SG", curves });
        for at in 0..8 {
            assert!(
                html.contains(&format!("over o{at}")) && html.contains(&format!("&lt;{at}&gt;")),
                "{html}"
            );
        }
        assert!(!html.contains("NaN") && html.contains("day 2"));
        assert_eq!(overlay(&Overlay { id: "o", title: "", caption: "", unit: "", curves: Vec::new() }), "");
    }
}
