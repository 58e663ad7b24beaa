//! The ruled scale, like the stem of a hydrometer: how far something is on its way.

use super::shape::{escape, length};

/// The marks of the scale: 25 parts, every fifth one long.
const TICKS: &str = "M0 0V10M4 5V10M8 5V10M12 5V10M16 5V10M20 0V10M24 5V10M28 5V10M32 5V10M36 5V10\
                     M40 0V10M44 5V10M48 5V10M52 5V10M56 5V10M60 0V10M64 5V10M68 5V10M72 5V10M76 5V10\
                     M80 0V10M84 5V10M88 5V10M92 5V10M96 5V10M100 0V10";

/// A scale from 0 to 1 with `fraction` of it done, and the two ends in words under it.
///
/// `says` tells the same in a sentence for those who do not see it. `band` is where the end is
/// forecast, as two fractions; it is drawn dashed.
pub fn stem(fraction: f64, says: &str, left: &str, right: &str, band: Option<(f64, f64)>) -> String {
    let at = percent(fraction);
    let band = band.map_or(String::new(), |(from, to)| {
        let (from, to) = (from.min(to), from.max(to));
        let (x, end) = (within(from), within(to));
        format!(
            "<rect class=\"band\" x=\"{}%\" width=\"{}%\" y=\"2\" height=\"19\"/>",
            length(x),
            length(end - x)
        )
    });
    format!(
        "<svg class=\"stem\" role=\"img\" aria-label=\"{says}\">{band}\
         <svg viewBox=\"0 0 100 10\" preserveAspectRatio=\"none\" x=\"0\" y=\"12\" \
         width=\"100%\" height=\"10\">\
         <path class=\"tick\" d=\"{TICKS}\"/></svg>\
         <line class=\"tick\" x1=\"0\" x2=\"100%\" y1=\"22.5\" y2=\"22.5\"/>\
         <line class=\"done\" x1=\"0\" x2=\"{at}\" y1=\"23\" y2=\"23\"/>\
         <rect class=\"at\" x=\"{at}\" y=\"1\" width=\"3\" height=\"24\" \
         transform=\"translate(-1.5 0)\"/></svg>\
         <p class=\"ends\"><span>{left}</span><span>{right}</span></p>",
        says = escape(says),
        left = escape(left),
        right = escape(right),
    )
}

/// Per cent of the scale, never off it.
fn within(fraction: f64) -> f64 {
    if fraction.is_nan() { 0.0 } else { fraction.clamp(0.0, 1.0) * 100.0 }
}

fn percent(fraction: f64) -> String {
    format!("{}%", length(within(fraction)))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_thick_line_ends_where_the_batch_is() {
        let html = stem(0.85, "About 85 % of the way", "1.0150", "done about 3 July", None);
        assert!(html.contains(r#"<line class="done" x1="0" x2="85.0%""#));
        assert!(html.contains(r#"aria-label="About 85 % of the way""#));
        assert!(html.contains("<span>1.0150</span><span>done about 3 July</span>"));
        assert!(!html.contains("band"));
    }

    #[test]
    fn nothing_runs_off_the_scale() {
        for odd in [f64::NAN, f64::INFINITY, -3.0, 7.0] {
            let html = stem(odd, "", "", "", Some((odd, 0.9)));
            assert!(!html.contains("NaN") && !html.contains("inf"), "{html}");
            assert!(!html.contains("=\"-") && !html.contains("700.0%"), "{html}");
        }
    }

    #[test]
    fn the_forecast_is_a_band() {
        let html = stem(0.5, "", "", "", Some((0.92, 1.0)));
        assert!(html.contains(r#"<rect class="band" x="92.0%" width="8.0%""#));
    }

    #[test]
    fn words_cannot_become_markup() {
        let html = stem(0.5, "\"><script>", "<i>", "&", None);
        assert!(!html.contains("<script>") && !html.contains("<i>"));
        assert!(html.contains("<span>&amp;</span>"));
    }
}
