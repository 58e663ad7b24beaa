//! Twelve months ahead: a line for each thing, and a mark on it wherever something falls.

use std::fmt::Write;

use super::shape::{NARROWEST_PX, cut, escape, figure, length, width_px};

/// The months ahead.
pub struct Year<'a> {
    /// What it is.
    pub title: &'a str,
    /// What it shows, in a sentence, under it.
    pub caption: &'a str,
    /// Where each month begins, as a share of the whole, and what it is called, in three letters.
    pub months: Vec<(f64, String)>,
    /// The lines, from above.
    pub rows: Vec<YearRow>,
}

/// A line.
pub struct YearRow {
    /// What it is called.
    pub name: String,
    /// "24 bottles".
    pub said: String,
    /// What falls on it: where, as a share of the whole, and how it is drawn.
    pub marks: Vec<(f64, YearMark)>,
}

/// How a mark is drawn.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum YearMark {
    /// A full round: it begins.
    Begins,
    /// An open round: it is on the way.
    Between,
    /// A bar: it ends.
    Ends,
}

const HEAD_PX: f64 = 22.0;
const ROW_PX: f64 = 46.0;
const LINE_PX: f64 = 30.0;
/// So much of the width lies between the edges, so that marks at the ends are seen.
const INSET: f64 = 2.0;

fn place(share: f64) -> String {
    length(INSET + share.clamp(0.0, 1.0) * (100.0 - 2.0 * INSET))
}

/// The months as a figure; nothing where there is no line.
pub fn year(id: &str, year: &Year) -> String {
    if year.rows.is_empty() {
        return String::new();
    }
    let tall = HEAD_PX + ROW_PX * f64::from(u16::try_from(year.rows.len()).unwrap_or(u16::MAX));
    let mut body = String::new();
    for (at, (share, name)) in year.months.iter().enumerate() {
        let x = place(*share);
        let _ = write!(
            body,
            "<line class=\"grid\" x1=\"{x}%\" x2=\"{x}%\" y1=\"{}\" y2=\"{}\"/>",
            length(HEAD_PX - 4.0),
            length(tall)
        );
        // Every third month is named, so that names do not run into each other on a phone.
        if at % 3 == 0 && *share < 0.95 {
            let _ = write!(body, "<text class=\"t-dim\" x=\"{x}%\" y=\"12\">{}</text>", escape(name));
        }
    }
    let mut y = HEAD_PX;
    for row in &year.rows {
        let room = NARROWEST_PX - width_px(&row.said) - 12.0;
        let at = length(y + LINE_PX);
        let _ = write!(
            body,
            "<text class=\"halo\" x=\"0\" y=\"{0}\">{1}</text>\
             <text class=\"t-dim halo\" x=\"100%\" y=\"{0}\" text-anchor=\"end\">{2}</text>\
             <line class=\"base\" x1=\"0\" x2=\"100%\" y1=\"{at}\" y2=\"{at}\"/>",
            length(y + 16.0),
            escape(&cut(&row.name, room)),
            escape(&row.said),
        );
        for (share, mark) in &row.marks {
            let x = place(*share);
            let _ = match mark {
                YearMark::Begins => write!(body, "<circle class=\"mean\" cx=\"{x}%\" cy=\"{at}\" r=\"7\"/>"),
                YearMark::Between => write!(body, "<circle class=\"open\" cx=\"{x}%\" cy=\"{at}\" r=\"6\"/>"),
                YearMark::Ends => write!(
                    body,
                    "<line class=\"int\" x1=\"{x}%\" x2=\"{x}%\" y1=\"{}\" y2=\"{}\"/>",
                    length(y + LINE_PX - 8.0),
                    length(y + LINE_PX + 8.0)
                ),
            };
        }
        y += ROW_PX;
    }
    figure(id, year.title, year.caption, &length(tall), &body)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn marks_lie_where_they_fall_and_never_outside() {
        let row = YearRow {
            name: "<Mead>".to_owned(),
            said: "6 bottles".to_owned(),
            marks: vec![(0.0, YearMark::Begins), (0.5, YearMark::Between), (9.0, YearMark::Ends)],
        };
        let months = vec![(0.0, "Jun".to_owned()), (0.08, "Jul".to_owned())];
        let html = year("y", &Year { title: "T", caption: "C", months, rows: vec![row] });
        assert!(
            html.contains("class=\"mean\" cx=\"2.0%\"") && html.contains("class=\"open\" cx=\"50.0%\""),
            "{html}"
        );
        assert!(html.contains("class=\"int\" x1=\"98.0%\"") && !html.contains("<Mead>"));
        assert!(html.contains(">Jun<") && !html.contains(">Jul<"));
        let nothing = Year { title: "T", caption: "C", months: Vec::new(), rows: Vec::new() };
        assert_eq!(year("y", &nothing), "");
    }
}
