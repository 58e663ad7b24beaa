//! What all pictures share: safe words, lengths in tenths of a pixel, and the frame of a figure.

use std::fmt::Write;

/// The narrowest content a page has, in pixels: a screen of 320 less its margins.
pub(super) const NARROWEST_PX: f64 = 288.0;

/// The text with everything that means something in HTML or SVG made harmless.
pub(super) fn escape(text: &str) -> String {
    let mut safe = String::with_capacity(text.len());
    for letter in text.chars() {
        match letter {
            '&' => safe.push_str("&amp;"),
            '<' => safe.push_str("&lt;"),
            '>' => safe.push_str("&gt;"),
            '"' => safe.push_str("&quot;"),
            '\'' => safe.push_str("&#39;"),
            other => safe.push(other),
        }
    }
    safe
}

/// A length with one decimal. A value that is no number draws at zero.
pub(super) fn length(px: f64) -> String {
    tenths(of_ten(px))
}

// A picture is far from as wide as an integer goes.
#[allow(clippy::cast_possible_truncation, reason = "lengths of pictures")]
fn of_ten(px: f64) -> i64 {
    if px.is_finite() { (px * 10.0).round() as i64 } else { 0 }
}

/// A length given in tenths of a pixel.
pub(super) fn tenths(length: i64) -> String {
    let mut text = String::new();
    put(&mut text, length);
    text
}

fn put(text: &mut String, length: i64) {
    let sign = if length < 0 { "-" } else { "" };
    let _ = write!(text, "{sign}{}.{}", length.abs() / 10, length.abs() % 10);
}

/// A line through these points, as a path is told it.
pub(super) fn line(points: impl IntoIterator<Item = (f64, f64)>) -> String {
    let mut path = String::new();
    for (x, y) in points {
        path.push(if path.is_empty() { 'M' } else { 'L' });
        put(&mut path, of_ten(x));
        path.push(' ');
        put(&mut path, of_ten(y));
    }
    path
}

/// The share of `span` that `part` has in `whole`, rounded down; nothing of nothing is nothing.
///
/// Heights are differences of such shares of running sums, so that they add up exactly.
pub(super) fn share(part: i64, whole: i64, span: i64) -> i64 {
    if whole <= 0 {
        return 0;
    }
    let share = i128::from(part.clamp(0, whole)) * i128::from(span) / i128::from(whole);
    i64::try_from(share).unwrap_or(span)
}

/// About how wide a text is at 13 px, in pixels, in the widest of the fonts that may be used.
///
/// Measured by groups of letters, on the wide side (from memory of common sans fonts).
pub(super) fn width_px(text: &str) -> f64 {
    let of = |letter: char| match letter {
        'i' | 'j' | 'l' | 'I' | '.' | ',' | ':' | ';' | '\'' | '’' | '|' | '!' | ' ' => 4.3,
        'f' | 'r' | 't' | '(' | ')' | '-' => 5.5,
        'm' | 'w' | 'M' | 'W' | '%' | '@' | '…' => 12.8,
        wide if wide.is_uppercase() => 9.3,
        plain if plain.is_ascii() || plain.is_alphabetic() && plain < '\u{0600}' => 7.6,
        _ => 13.0,
    };
    text.chars().map(of).sum()
}

/// The text, cut with an ellipsis where it would be wider than `room_px`.
pub(super) fn cut(text: &str, room_px: f64) -> String {
    if width_px(text) <= room_px {
        return text.to_owned();
    }
    let mut kept = String::new();
    for letter in text.chars() {
        if width_px(&kept) + width_px(&format!("{letter}…")) > room_px {
            break;
        }
        kept.push(letter);
    }
    format!("{}…", kept.trim_end_matches([' ', ',', ':']))
}

/// The figure around a picture: its title for those who do not see it, its caption for everybody.
///
/// `id` is unique in the page; `height` is in pixels, as text.
pub(super) fn figure(id: &str, title: &str, caption: &str, height: &str, body: &str) -> String {
    let (id, title, caption) = (escape(id), escape(title), escape(caption));
    format!(
        "<figure class=\"pic\"><svg height=\"{height}\" role=\"img\" aria-labelledby=\"{id}-title\" \
         aria-describedby=\"{id}-says\"><title id=\"{id}-title\">{title}</title>\
         <desc id=\"{id}-says\">{caption}</desc>{body}</svg><figcaption>{caption}</figcaption></figure>"
    )
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn words_cannot_become_markup() {
        assert_eq!(escape("<b a=\"x\">'&"), "&lt;b a=&quot;x&quot;&gt;&#39;&amp;");
    }

    #[test]
    fn shares_of_running_sums_add_up_exactly() {
        let parts = [1, 1, 1, 7, 13, 977];
        let whole: i64 = parts.iter().sum();
        let mut sum = 0;
        let mut heights = 0;
        for part in parts {
            heights += share(sum + part, whole, 2600) - share(sum, whole, 2600);
            sum += part;
        }
        assert_eq!(heights, 2600);
        assert_eq!(share(5, 0, 2600), 0);
        assert_eq!(share(i64::MAX, i64::MAX, 2600), 2600);
    }

    #[test]
    fn a_long_name_is_cut_and_a_short_one_is_not() {
        assert_eq!(cut("Sheep’s milk", 126.0), "Sheep’s milk");
        let name = cut("Whole milk of the Friesian ewes on the quay meadow", 126.0);
        assert!(name.ends_with('…') && width_px(&name) <= 126.0, "{name}");
        assert_eq!(cut("", 126.0), "");
    }

    #[test]
    fn lengths_are_always_numbers() {
        assert_eq!(length(f64::NAN), "0.0");
        assert_eq!(length(f64::INFINITY), "0.0");
        assert_eq!(tenths(-5), "-0.5");
        assert_eq!(tenths(1234), "123.4");
        assert_eq!(line([(0.0, 10.04), (-5.06, f64::NAN)]), "M0.0 10.0L-5.1 0.0");
        assert_eq!(line([]), "");
    }
}
