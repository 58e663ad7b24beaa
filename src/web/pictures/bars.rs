//! Lying bars: one for each thing, with its name over it and its figure at the end; a mark may say how far they may go.

use std::fmt::Write;

use super::shape::{NARROWEST_PX, cut, escape, figure, length, width_px};

/// What the bars show; the same values are drawn on paper.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct Bars {
    /// What it is: "Litres bottled in 2026, by drink".
    pub title: String,
    /// What it shows, in a sentence, under it.
    pub caption: String,
    /// The bars, from above.
    pub bars: Vec<Bar>,
    /// How far they may go, and what that is called.
    pub mark: Option<(f64, String)>,
}

/// One bar.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct Bar {
    /// Of what.
    pub name: String,
    /// How long it is.
    pub value: f64,
    /// The same in words: "24.0 L".
    pub said: String,
}

/// More bars than this are not looked at; the table has them all.
pub const MOST_BARS: usize = 12;

const ROW_PX: f64 = 34.0;
const BAR_PX: f64 = 11.0;

impl Bars {
    /// The longest bar, or the mark where that is further.
    pub fn longest(&self) -> f64 {
        let values = self.bars.iter().map(|bar| bar.value).chain(self.mark.iter().map(|mark| mark.0));
        values.filter(|value| value.is_finite()).fold(0.0, f64::max)
    }

    /// How long a bar is, as a share of the longest.
    pub fn share(&self, value: f64) -> f64 {
        let longest = self.longest();
        if longest > 0.0 && value.is_finite() { (value / longest).clamp(0.0, 1.0) } else { 0.0 }
    }
}

/// The bars as a figure; nothing where there are none, or all are of no length.
pub fn bars(id: &str, bars: &Bars) -> String {
    if bars.bars.is_empty() || bars.longest() <= 0.0 {
        return String::new();
    }
    let mut body = String::new();
    let above = if bars.mark.is_some() { 20.0 } else { 0.0 };
    let mut y = above;
    for bar in &bars.bars {
        let room = NARROWEST_PX - width_px(&bar.said) - 12.0;
        let _ = write!(
            body,
            "<text x=\"0\" y=\"{0}\">{1}</text><text class=\"t-b\" x=\"100%\" y=\"{0}\" text-anchor=\"end\">{2}</text>\
             <rect class=\"r-glass\" x=\"0\" y=\"{3}\" width=\"{4}%\" height=\"{5}\"/>",
            length(y + 13.0),
            escape(&cut(&bar.name, room)),
            escape(&bar.said),
            length(y + 18.0),
            length(bars.share(bar.value) * 100.0),
            length(BAR_PX),
        );
        y += ROW_PX;
    }
    if let Some((at, words)) = &bars.mark {
        let share = bars.share(*at);
        let place = length(share * 100.0);
        let anchor = if share > 0.5 { "end" } else { "start" };
        let _ = write!(
            body,
            "<line class=\"mark-at\" x1=\"{place}%\" x2=\"{place}%\" y1=\"16\" y2=\"{}\"/>\
             <text class=\"t-dim\" x=\"{place}%\" y=\"12\" text-anchor=\"{anchor}\">{}</text>",
            length(y),
            escape(&cut(words, NARROWEST_PX))
        );
    }
    figure(id, &bars.title, &bars.caption, &length(y + 2.0), &body)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn of(values: &[f64], mark: Option<f64>) -> String {
        let bar = |value: &f64| Bar { name: "<Mead>".into(), value: *value, said: format!("{value} L") };
        let mark = mark.map(|at| (at, "limit".to_owned()));
        bars(
            "b",
            &Bars { title: "L".into(), caption: "C".into(), bars: values.iter().map(bar).collect(), mark },
        )
    }

    #[test]
    fn the_longest_fills_the_width_and_the_others_their_share() {
        let html = of(&[10.0, 5.0, 0.0], None);
        assert!(html.contains("width=\"100.0%\" height=\"11") && html.contains("width=\"50.0%\""));
        assert!(html.contains("width=\"0.0%\"") && !html.contains("<Mead>") && !html.contains("mark-at"));
    }

    #[test]
    fn a_mark_further_out_than_all_bars_is_in_the_picture() {
        let html = of(&[10.0], Some(40.0));
        assert!(
            html.contains("width=\"25.0%\"") && html.contains("x1=\"100.0%\"") && html.contains(">limit<")
        );
    }

    #[test]
    fn of_nothing_nothing_is_drawn() {
        assert_eq!(of(&[], None), "");
        assert_eq!(of(&[0.0, f64::NAN, -3.0], None), "");
        assert!(!of(&[f64::INFINITY, 2.0], None).contains("inf%"));
    }
}
