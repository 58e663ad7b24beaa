//! The chalk tally: one stroke a bottle, five a gate; thin strokes are gone.

use super::shape::escape;
use std::fmt::Write;

/// More strokes than this are not counted by eye; each stroke then stands for ten, or a hundred …
const MOST_STROKES: u64 = 60;

/// The four uprights and the bar that closes the gate.
const STROKES: [&str; 5] =
    ["M4 3L3.4 22", "M10.6 4L9.4 21", "M15.4 2V21.5", "M22.3 3.5L21.4 23", "M0 19L27 6"];
/// The same, short: what is left over when a stroke stands for several.
const SHORT: [&str; 5] =
    ["M3.7 13L3.4 22", "M9.9 13L9.4 21", "M15.4 12V21.5", "M21.8 13L21.4 23", "M0 19L12 13"];

/// What is left and what is gone, as strokes, with the number in words.
///
/// `one` and `many` name the thing: "bottle", "bottles".
pub fn tally(left: u32, gone: u32, one: &str, many: &str) -> String {
    let (one, many) = (escape(one), escape(many));
    let all = u64::from(left) + u64::from(gone);
    let mut each = 1;
    while all.div_ceil(each) > MOST_STROKES {
        each *= 10;
    }
    let mut says = format!("{left} {} left", if left == 1 { &one } else { &many });
    if gone > 0 {
        let _ = write!(says, ", {gone} gone");
    }
    let key = if each == 1 {
        String::new()
    } else {
        let _ = write!(says, "; one stroke is {each} {many}");
        format!("<span class=\"key\">One stroke is {each} {many}, a short one the rest.</span>")
    };
    let gates = gates(u64::from(left), each, "") + gates(u64::from(gone), each, " class=\"gone\"").as_str();
    format!("<span class=\"tally\" role=\"img\" aria-label=\"{says}\">{gates}{key}</span>")
}

/// The gates for one number: full strokes, and a short one for what is over.
fn gates(number: u64, each: u64, class: &str) -> String {
    let full = number / each;
    let over = u64::from(!number.is_multiple_of(each));
    let mut html = String::new();
    let mut drawn = 0;
    while drawn < full + over {
        let mut path = String::new();
        for (stroke, short) in STROKES.iter().zip(SHORT) {
            if drawn < full {
                path.push_str(stroke);
            } else if drawn < full + over {
                path.push_str(short);
            }
            drawn += 1;
        }
        let _ =
            write!(html, "<svg viewBox=\"0 0 27 25\" aria-hidden=\"true\"{class}><path d=\"{path}\"/></svg>");
    }
    html
}

#[cfg(test)]
mod tests {
    use super::*;

    fn strokes(html: &str) -> usize {
        html.matches('M').count()
    }

    #[test]
    fn one_stroke_a_bottle_and_five_a_gate() {
        let html = tally(31, 15, "bottle", "bottles");
        assert_eq!(strokes(&html), 46);
        assert_eq!(html.matches("<svg").count(), 7 + 3);
        assert_eq!(html.matches("class=\"gone\"").count(), 3);
        assert!(html.contains("aria-label=\"31 bottles left, 15 gone\""));
    }

    #[test]
    fn one_bottle_is_a_bottle_and_none_draws_nothing() {
        assert!(tally(1, 0, "bottle", "bottles").contains("\"1 bottle left\""));
        assert_eq!(strokes(&tally(0, 0, "bottle", "bottles")), 0);
    }

    #[test]
    fn many_bottles_stay_readable() {
        let html = tally(412, 63, "bottle", "bottles");
        assert_eq!(strokes(&html), 41 + 1 + 6 + 1);
        assert!(html.contains("One stroke is 10 bottles"));
        for number in [61, 599, 600, 601, 5_000, 99_999, u32::MAX] {
            assert!(strokes(&tally(number, 0, "bottle", "bottles")) <= 61, "{number}");
        }
    }

    #[test]
    fn words_cannot_become_markup() {
        assert!(!tally(2, 0, "<b>", "<b>").contains("<b>"));
    }
}
