//! A measured value against the day: the fermentation curve.

use super::shape::{NARROWEST_PX, cut, escape, figure, length, line, width_px};
use super::thin::{COLUMNS, thin};
use std::fmt::Write;

/// What a curve shows.
pub struct Curve<'a> {
    /// Unique in the page.
    pub id: &'a str,
    /// What it is: "Gravity of batch 41, day by day".
    pub title: &'a str,
    /// What it shows, in a sentence, under it.
    pub caption: &'a str,
    /// The readings: the day, counted from the first day (which is 0), and the value.
    pub points: &'a [(f64, f64)],
    /// The unit, over the scale: "SG 20/20".
    pub unit: &'a str,
    /// How many decimals a reading has.
    pub decimals: usize,
    /// Words beside the last reading, such as "1.0150 today".
    pub last: &'a str,
    /// A day in few words, such as "11 June".
    pub day_text: &'a dyn Fn(u32) -> String,
    /// What happened on the way.
    pub marks: &'a [Mark<'a>],
    /// What is expected after the last reading.
    pub ahead: Option<&'a Ahead>,
    /// Another value under it, on the same days.
    pub lane: Option<Lane<'a>>,
}

/// A lane under the curve: the temperature.
pub struct Lane<'a> {
    /// Its readings, counted as those of the curve.
    pub points: &'a [(f64, f64)],
    /// The unit, over its scale.
    pub unit: &'a str,
    /// Words beside the last of them.
    pub last: &'a str,
}

/// A forecast: three lines of days and values, counted as the readings are, from the last of them on.
pub struct Ahead {
    /// The likeliest.
    pub expected: Vec<(f64, f64)>,
    /// The soonest end that is to be expected; with `late` it bounds the band.
    pub early: Vec<(f64, f64)>,
    /// The latest.
    pub late: Vec<(f64, f64)>,
}

/// Something that happened on a day of the curve.
pub struct Mark<'a> {
    /// The day, counted as for the readings.
    pub day: f64,
    /// What it was, in a word or two: "racked".
    pub text: &'a str,
}

/// Where the plot begins and ends across, in per mille.
const LEFT: f64 = 165.0;
const RIGHT: f64 = 920.0;
/// Its height between the highest and the lowest reading, in pixels, and the room above and below.
const TALL_PX: f64 = 190.0;
const ABOVE_PX: f64 = 14.0;
const BELOW_PX: f64 = 34.0;
/// A lane: its height, and the room over its highest value.
const LANE_PX: f64 = 92.0;
const LANE_ABOVE_PX: f64 = 30.0;
/// The height of a row of words over the plot.
const ROW_PX: f64 = 17.0;
/// Marks whose words find no room in this many rows are drawn without them.
const MOST_ROWS: usize = 4;
/// With more readings than this, each is a small dot.
const MANY: usize = 40;
/// With more than this the line alone says it.
const MOST_DOTS: usize = 200;

/// The curve as a figure. Readings that are no numbers are left out.
pub fn curve(curve: &Curve) -> String {
    let mut points: Vec<_> =
        curve.points.iter().copied().filter(|(x, y)| x.is_finite() && y.is_finite()).collect();
    points.sort_by(|one, next| one.0.total_cmp(&next.0));
    points = thin(&points, COLUMNS);
    if points.is_empty() {
        return "<p class=\"dim\">No readings yet.</p>".to_owned();
    }
    let marks: Vec<_> = curve.marks.iter().filter(|mark| mark.day.is_finite()).collect();
    let ahead = || curve.ahead.iter().flat_map(|ahead| ahead.early.iter().chain(&ahead.late));
    let lane = curve.lane.as_ref().map(|lane| thin(lane.points, COLUMNS)).unwrap_or_default();
    let days = Scale::over(
        points
            .iter()
            .chain(&lane)
            .chain(ahead())
            .map(|point| point.0)
            .chain(marks.iter().map(|mark| mark.day))
            .chain([0.0]),
        LEFT,
        RIGHT,
        1.0,
    );
    let rows = rows_of(&marks, &days);
    let top =
        ROW_PX * f64::from(u8::try_from(rows.iter().flatten().max().map_or(1, |row| row + 2)).unwrap_or(1));
    let base = top + ABOVE_PX + TALL_PX + BELOW_PX;
    let values =
        Scale::over(points.iter().chain(ahead()).map(|point| point.1), base - BELOW_PX, top + ABOVE_PX, 0.0);

    let mut body = grid(&values, curve, base);
    body += &curve.ahead.map(|ahead| forecast(ahead, &days, &values, base)).unwrap_or_default();
    body += &line_and_dots(&points, &days, &values, base);
    let floor = match &curve.lane {
        Some(words) if !lane.is_empty() => {
            body += &lane_under(words, &lane, &days, base);
            base + LANE_PX
        }
        _ => base,
    };
    body += &mark_lines(&marks, &rows, &days, floor);
    body += &last_words(curve, &points, &days, &values);
    body += &day_axis(curve, &days, floor);
    figure(curve.id, curve.title, curve.caption, &length(floor + 28.0), &body)
}

/// The lane: its own scale of at most three lines, its line, the words beside its last value.
fn lane_under(lane: &Lane, points: &[(f64, f64)], days: &Scale, base: f64) -> String {
    let floor = base + LANE_PX;
    let values = Scale::over(points.iter().map(|point| point.1), floor - 12.0, base + LANE_ABOVE_PX, 1.0);
    let mut html = format!(
        "<line class=\"base\" x1=\"0\" x2=\"100%\" y1=\"{0}\" y2=\"{0}\"/>\
         <text class=\"t-dim\" x=\"0\" y=\"{1}\">{2}</text>",
        length(base),
        length(base + 16.0),
        escape(&cut(lane.unit, 130.0))
    );
    let step =
        [1.0, 2.0, 5.0, 10.0, 20.0, 50.0].into_iter().find(|step| (values.high - values.low) / step <= 2.5);
    let step = step.unwrap_or(100.0);
    let first = (values.low / step).ceil() * step;
    for value in (0..3).map(|n| first + f64::from(n) * step).take_while(|value| *value <= values.high + 0.01)
    {
        let y = values.at(value);
        let _ = write!(
            html,
            "<line class=\"grid\" x1=\"0\" x2=\"100%\" y1=\"{0}\" y2=\"{0}\"/>\
             <text class=\"t-dim\" x=\"0\" y=\"{1}\">{value:.0}</text>",
            length(y),
            length(y - 3.0),
        );
    }
    let trace = through(points, days, &values);
    let height = length(floor);
    let _ = write!(
        html,
        "<svg viewBox=\"0 0 1000 {height}\" preserveAspectRatio=\"none\" width=\"100%\" height=\"{height}\">\
         <path class=\"lane\" d=\"{trace}\"/></svg>"
    );
    if let Some((x, y)) = points.last() {
        let x = days.at(*x);
        let anchor = if leans_left(x) { "end" } else { "start" };
        let _ = write!(
            html,
            "<text class=\"t-b halo\" x=\"{}%\" y=\"{}\" text-anchor=\"{anchor}\">{}</text>",
            length(x / 10.0),
            length(values.at(*y) - 7.0),
            escape(lane.last)
        );
    }
    html
}

/// A straight rule from values to places in the picture.
pub(super) struct Scale {
    pub(super) low: f64,
    pub(super) high: f64,
    from: f64,
    to: f64,
}

impl Scale {
    /// From the lowest value at `from` to the highest at `to`; at least `least` apart.
    pub(super) fn over(values: impl Iterator<Item = f64> + Clone, from: f64, to: f64, least: f64) -> Self {
        let low = values.clone().fold(f64::INFINITY, f64::min);
        let high = values.fold(f64::NEG_INFINITY, f64::max).max(low + least);
        Self { low, high, from, to }
    }

    pub(super) fn at(&self, value: f64) -> f64 {
        let span = self.high - self.low;
        let part = if span > 0.0 { (value - self.low) / span } else { 0.5 };
        self.from + part * (self.to - self.from)
    }
}

/// A line through readings.
pub(super) fn through<'p>(
    points: impl IntoIterator<Item = &'p (f64, f64)>,
    days: &Scale,
    values: &Scale,
) -> String {
    line(points.into_iter().map(|(x, y)| (days.at(*x), values.at(*y))))
}

/// The row over the plot in which the words of each mark find room; none where there is none.
fn rows_of(marks: &[&Mark], days: &Scale) -> Vec<Option<usize>> {
    let mut taken: Vec<(usize, f64, f64)> = Vec::new();
    let place = |mark: &&Mark| {
        let x = days.at(mark.day) / 1000.0 * NARROWEST_PX;
        let wide = width_px(mark.text) + 8.0;
        let (from, to) = if leans_left(days.at(mark.day)) { (x - wide, x) } else { (x, x + wide) };
        let free =
            |row: usize| !taken.iter().any(|&(other, start, end)| other == row && from < end && start < to);
        let row = (0..MOST_ROWS).find(|&row| free(row)).filter(|_| from >= 0.0 && to <= NARROWEST_PX)?;
        taken.push((row, from, to));
        Some(row)
    };
    marks.iter().map(place).collect()
}

/// Past the middle, words stand to the left of what they name.
fn leans_left(x_per_mille: f64) -> bool {
    x_per_mille > 550.0
}

/// A step that people count in, and its decimals, so that at most five lines are drawn.
pub(super) fn step_for(span: f64) -> (f64, usize) {
    const STEPS: [(f64, usize); 19] = [
        (0.0005, 4),
        (0.001, 3),
        (0.002, 3),
        (0.005, 3),
        (0.01, 2),
        (0.02, 2),
        (0.05, 2),
        (0.1, 1),
        (0.2, 1),
        (0.5, 1),
        (1.0, 0),
        (2.0, 0),
        (5.0, 0),
        (10.0, 0),
        (20.0, 0),
        (50.0, 0),
        (100.0, 0),
        (200.0, 0),
        (500.0, 0),
    ];
    STEPS.into_iter().find(|(step, _)| span / step <= 5.0).unwrap_or((span / 4.0, 0))
}

fn grid(values: &Scale, curve: &Curve, base: f64) -> String {
    let mut html =
        format!("<text class=\"t-dim\" x=\"0\" y=\"12\">{}</text>", escape(&cut(curve.unit, 130.0)));
    let (step, decimals) = step_for(values.high - values.low);
    let decimals = decimals.max(curve.decimals.saturating_sub(1));
    let first = (values.low / step).ceil() * step;
    for value in (0..6).map(|n| first + f64::from(n) * step) {
        let y = values.at(value);
        if value > values.high + step * 0.001 || y > base {
            break;
        }
        let _ = write!(
            html,
            "<line class=\"grid\" x1=\"0\" x2=\"100%\" y1=\"{0}\" y2=\"{0}\"/>\
             <text class=\"t-dim\" x=\"0\" y=\"{1}\">{value:.decimals$}</text>",
            length(y),
            length(y - 4.0),
        );
    }
    html
}

/// The band between the soonest and the latest end, edged, and the likeliest line dashed on it.
fn forecast(ahead: &Ahead, days: &Scale, values: &Scale, base: f64) -> String {
    let height = length(base);
    format!(
        "<svg viewBox=\"0 0 1000 {height}\" preserveAspectRatio=\"none\" width=\"100%\" height=\"{height}\">\
         <path class=\"band\" d=\"{}Z\"/><path class=\"fore\" d=\"{}\"/></svg>",
        through(ahead.early.iter().chain(ahead.late.iter().rev()), days, values),
        through(&ahead.expected, days, values),
    )
}

fn line_and_dots(points: &[(f64, f64)], days: &Scale, values: &Scale, base: f64) -> String {
    let line = through(points, days, values);
    let dots = if points.len() <= MOST_DOTS { line.replace('L', "h0M") + "h0" } else { String::new() };
    let fine = if points.len() > MANY { " fine" } else { "" };
    let height = length(base);
    format!(
        "<svg viewBox=\"0 0 1000 {height}\" preserveAspectRatio=\"none\" \
         width=\"100%\" height=\"{height}\">\
         <path class=\"curve\" d=\"{line}\"/><path class=\"dot{fine}\" d=\"{dots}\"/></svg>"
    )
}

fn mark_lines(marks: &[&Mark], rows: &[Option<usize>], days: &Scale, base: f64) -> String {
    let mut lines = String::new();
    let mut words = String::new();
    for (mark, row) in marks.iter().zip(rows) {
        let x = days.at(mark.day);
        let place = length(x / 10.0);
        let y = ROW_PX * f64::from(u8::try_from(row.unwrap_or(0) + 1).unwrap_or(1));
        let _ = write!(
            lines,
            "<line class=\"mark-at\" x1=\"{place}%\" x2=\"{place}%\" y1=\"{}\" y2=\"{}\"/>",
            length(y + 2.0),
            length(base)
        );
        if row.is_some() {
            let (anchor, aside) = if leans_left(x) { (" text-anchor=\"end\"", -5) } else { ("", 5) };
            let _ = write!(
                words,
                "<text class=\"halo\" x=\"{place}%\" y=\"{}\"{anchor} \
                 transform=\"translate({aside} 0)\">{}</text>",
                length(y + 13.0),
                escape(mark.text)
            );
        }
    }
    lines + words.as_str()
}

/// The words beside the last reading: under a curve that falls, over one that rises.
fn last_words(curve: &Curve, points: &[(f64, f64)], days: &Scale, values: &Scale) -> String {
    let words = curve.last;
    let Some(&(day, value)) = points.last().filter(|_| !words.is_empty()) else {
        return String::new();
    };
    let rises = points.len() > 1 && value > points[points.len() - 2].1;
    let x = days.at(day);
    let anchor = if leans_left(x) || curve.ahead.is_some() { "end" } else { "start" };
    let y = values.at(value) + if rises { -13.0 } else { 23.0 };
    format!(
        "<text class=\"t-b halo\" x=\"{}%\" y=\"{}\" text-anchor=\"{anchor}\">{}</text>",
        length(x / 10.0),
        length(y),
        escape(&cut(words, NARROWEST_PX / 2.0))
    )
}

fn day_axis(curve: &Curve, days: &Scale, base: f64) -> String {
    const STEPS: [u16; 11] = [1, 2, 5, 7, 14, 30, 60, 90, 180, 365, 730];
    let mut html = format!("<line class=\"base\" x1=\"0\" x2=\"100%\" y1=\"{0}\" y2=\"{0}\"/>", length(base));
    let span = days.high - days.low;
    let step = STEPS.into_iter().find(|step| span / f64::from(*step) <= 3.5).unwrap_or(3650);
    for day in (0..=4).map(|n| n * u32::from(step)).take_while(|day| f64::from(*day) <= days.high) {
        let x = length(days.at(f64::from(day)) / 10.0);
        let text = escape(&cut(&(curve.day_text)(day), 56.0));
        let _ = write!(
            html,
            "<text class=\"t-dim\" x=\"{x}%\" y=\"{}\" text-anchor=\"middle\">{text}</text>",
            length(base + 20.0)
        );
    }
    html
}

#[cfg(test)]
mod tests {
    use super::*;

    fn drawn(points: &[(f64, f64)], marks: &[Mark]) -> String {
        curve(&Curve {
            id: "gravity",
            title: "Gravity of batch 41",
            caption: "Gravity fell from 1.0820 to 1.0150.",
            points,
            unit: "SG 20/20",
            decimals: 4,
            last: "1.0150 today",
            day_text: &|day| format!("{} June", day + 11),
            marks,
            ahead: None,
            lane: None,
        })
    }

    fn sane(html: &str) {
        assert!(!html.contains("NaN") && !html.contains("inf"), "{html}");
    }

    #[test]
    fn from_one_reading_to_two_hundred_each_is_a_dot() {
        for count in [1_u8, 2, 12, 41, 200] {
            let points: Vec<_> = (0..count).map(|n| (f64::from(n), 1.08 - f64::from(n) * 0.0003)).collect();
            let html = drawn(&points, &[]);
            sane(&html);
            assert_eq!(html.matches("h0").count(), usize::from(count));
            assert!(html.contains("1.0150 today"));
        }
    }

    #[test]
    fn two_thousand_readings_are_a_line_of_a_few_hundred_points() {
        let points: Vec<_> =
            (0..2000_u32).map(|n| (f64::from(n) / 96.0, 1.08 - f64::from(n) * 0.00003)).collect();
        let html = drawn(&points, &[]);
        sane(&html);
        assert!(html.matches("h0").count() <= 200 && html.len() < 12_000, "{}", html.len());
    }

    #[test]
    fn a_lane_stands_under_the_curve_on_the_same_days() {
        let lane = Lane { points: &[(0.0, 18.0), (12.0, 21.5)], unit: "°C", last: "21.5" };
        let html = curve(&Curve {
            id: "gravity",
            title: "Gravity",
            caption: "",
            points: &[(0.0, 1.08), (12.0, 1.01)],
            unit: "SG",
            decimals: 3,
            last: "1.010",
            day_text: &|day| day.to_string(),
            marks: &[],
            ahead: None,
            lane: Some(lane),
        });
        sane(&html);
        assert!(html.contains("class=\"lane\"") && html.contains(">°C<") && html.contains(">20<"), "{html}");
    }

    #[test]
    fn without_readings_it_says_so() {
        assert!(drawn(&[], &[]).contains("No readings yet."));
        assert!(drawn(&[(f64::NAN, 1.0)], &[]).contains("No readings yet."));
    }

    #[test]
    fn readings_that_do_not_move_and_readings_of_one_day_are_drawn() {
        sane(&drawn(&[(0.0, 1.0), (5.0, 1.0)], &[]));
        sane(&drawn(&[(3.0, 1.05), (3.0, 1.04)], &[]));
        sane(&drawn(&[(0.0, 0.0), (4000.0, 9_000_000.0)], &[]));
    }

    #[test]
    fn the_scale_is_ruled_in_steps_that_people_count_in() {
        let html = drawn(&[(0.0, 1.082), (12.0, 1.015)], &[]);
        for text in [">1.020<", ">1.040<", ">1.060<", ">1.080<", ">11 June<", ">16 June<", ">21 June<"] {
            assert!(html.contains(text), "{text}: {html}");
        }
        assert!(html.matches("class=\"grid\"").count() <= 6);
    }

    #[test]
    fn words_of_marks_close_together_stand_in_rows_of_their_own() {
        let marks: Vec<_> = (0..6).map(|n| Mark { day: 2.0 + f64::from(n) * 0.1, text: "racked" }).collect();
        let html = drawn(&[(0.0, 1.082), (12.0, 1.015)], &marks);
        assert_eq!(html.matches("class=\"mark-at\"").count(), 6);
        let rows: Vec<_> = html.split(">racked<").collect();
        assert_eq!(rows.len() - 1, MOST_ROWS);
        let heights: std::collections::BTreeSet<_> =
            rows[..MOST_ROWS].iter().filter_map(|part| part.rsplit("y=\"").next()).collect();
        assert_eq!(heights.len(), MOST_ROWS);
    }

    #[test]
    fn words_cannot_become_markup() {
        let html = drawn(&[(0.0, 1.0)], &[Mark { day: 0.0, text: "<script>" }]);
        assert!(!html.contains("<script>"));
    }
}
