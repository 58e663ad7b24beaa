//! The shelves of a cellar, one under the other: how full each is, and how old what stands there is.

use std::fmt::Write;

use super::shape::{NARROWEST_PX, cut, escape, figure, length, width_px};

/// The shelves of a cellar.
pub struct Shelves<'a> {
    /// What it is.
    pub title: &'a str,
    /// What it shows, in a sentence, under it.
    pub caption: &'a str,
    /// The shelves, from above.
    pub rows: Vec<ShelfRow>,
}

/// One shelf.
pub struct ShelfRow {
    /// What it is called.
    pub name: String,
    /// "42 of 60".
    pub said: String,
    /// How many bottles it takes, where that is known.
    pub takes: Option<u32>,
    /// What stands there, the oldest first: how many bottles, and how many full years old.
    pub stands: Vec<(u32, u32)>,
}

const ROW_PX: f64 = 52.0;
const TALL_PX: f64 = 22.0;
/// A stand so wide, in per cent, has room for its years.
const NAMED_PERCENT: f64 = 5.0;
/// From so many years on all look the same.
const OLDEST_CLASS: u32 = 3;

impl ShelfRow {
    fn bottles(&self) -> u32 {
        self.stands.iter().map(|stand| stand.0).sum()
    }
}

/// The shelves as a figure; nothing where there are none.
pub fn shelves(id: &str, shelves: &Shelves) -> String {
    let widest = shelves.rows.iter().map(|row| row.takes.unwrap_or(0).max(row.bottles())).max().unwrap_or(0);
    if widest == 0 {
        return String::new();
    }
    let percent = |bottles: u32| 100.0 * f64::from(bottles) / f64::from(widest);
    let (mut body, mut y) = (String::new(), 0.0);
    for row in &shelves.rows {
        let room = NARROWEST_PX - width_px(&row.said) - 12.0;
        let _ = write!(
            body,
            "<text x=\"0\" y=\"{0}\">{1}</text><text class=\"t-b\" x=\"100%\" y=\"{0}\" text-anchor=\"end\">{2}</text>",
            length(y + 14.0),
            escape(&cut(&row.name, room)),
            escape(&row.said),
        );
        let top = y + 20.0;
        if let Some(takes) = row.takes {
            let _ = write!(
                body,
                "<rect class=\"room\" x=\"0\" y=\"{}\" width=\"{}%\" height=\"{}\"/>",
                length(top),
                length(percent(takes)),
                length(TALL_PX),
            );
        }
        let mut at = 0;
        for &(bottles, years) in &row.stands {
            let (x, wide) = (percent(at), percent(bottles));
            let _ = write!(
                body,
                "<rect class=\"y{}\" x=\"{}%\" y=\"{}\" width=\"{}%\" height=\"{}\"/>",
                years.min(OLDEST_CLASS),
                length(x),
                length(top),
                length(wide),
                length(TALL_PX),
            );
            if wide >= NAMED_PERCENT {
                let _ = write!(
                    body,
                    "<text class=\"t-b halo\" x=\"{}%\" y=\"{}\" text-anchor=\"middle\">{years}</text>",
                    length(x + wide / 2.0),
                    length(top + 16.0),
                );
            }
            at += bottles;
        }
        let _ = write!(
            body,
            "<line class=\"base\" x1=\"0\" x2=\"100%\" y1=\"{0}\" y2=\"{0}\"/>",
            length(top + TALL_PX + 0.5)
        );
        y += ROW_PX;
    }
    figure(id, shelves.title, shelves.caption, &length(y), &body)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn of(rows: Vec<ShelfRow>) -> String {
        shelves("s", &Shelves { title: "Shelves", caption: "How full.", rows })
    }

    fn row(takes: Option<u32>, stands: &[(u32, u32)]) -> ShelfRow {
        ShelfRow { name: "<Bay>".to_owned(), said: "x".to_owned(), takes, stands: stands.to_vec() }
    }

    #[test]
    fn what_stands_there_lies_side_by_side_in_the_room() {
        let html = of(vec![row(Some(100), &[(40, 2), (10, 0)]), row(None, &[(50, 7)])]);
        assert!(html.contains("class=\"room\" x=\"0\" y=\"20.0\" width=\"100.0%\""), "{html}");
        assert!(html.contains("class=\"y2\" x=\"0.0%\" y=\"20.0\" width=\"40.0%\""));
        assert!(html.contains("class=\"y0\" x=\"40.0%\" y=\"20.0\" width=\"10.0%\""));
        assert!(
            html.contains("class=\"y3\"") && html.contains(">7</text>"),
            "the years are said, whatever the shade"
        );
        assert!(!html.contains("<Bay>"));
    }

    #[test]
    fn a_thin_stand_has_no_words_and_no_shelf_no_picture() {
        assert!(!of(vec![row(Some(100), &[(4, 2)])]).contains(">2</text>"));
        assert_eq!(of(Vec::new()), "");
        assert_eq!(of(vec![row(None, &[])]), "");
    }
}
