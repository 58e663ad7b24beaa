//! Decimal numbers as people write them: "1.5", "1,5", "½", "1 ½", "3/4"; exact, never a float.

use super::Misread;

const MOST_DIGITS: usize = 18;

/// An exact fraction; the bottom is positive.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Fraction {
    /// Above the line.
    pub top: i128,
    /// Below the line, greater than zero.
    pub bottom: i128,
}

impl Fraction {
    /// This number times `factor`, rounded to a whole number, halves away from zero.
    pub fn times(self, factor: Fraction) -> Option<i128> {
        let top = self.top.checked_mul(factor.top)?;
        let bottom = self.bottom.checked_mul(factor.bottom)?;
        let half = bottom / 2;
        Some(if top < 0 { (top - half) / bottom } else { (top + half) / bottom })
    }

    /// The sum of two numbers.
    fn plus(self, other: Fraction) -> Option<Fraction> {
        let top = self.top.checked_mul(other.bottom)?.checked_add(other.top.checked_mul(self.bottom)?)?;
        Some(Fraction { top, bottom: self.bottom.checked_mul(other.bottom)? })
    }
}

/// Read a number; `example` is shown when it cannot be read.
pub fn read(text: &str, example: &str) -> Result<Fraction, Misread> {
    let shown: String = text.trim().chars().filter(|letter| !letter.is_control()).take(24).collect();
    parse(text.trim()).ok_or_else(|| {
        Misread::new(if shown.is_empty() {
            format!("Write a number, such as {example}")
        } else {
            format!("“{shown}” is not a number that can be read here; write it like {example}")
        })
    })
}

/// Read a number into whole steps of 1/`scale` (1000: thousandths), halves away from zero.
pub fn scaled(text: &str, scale: i64, example: &str) -> Result<i64, Misread> {
    let number = read(text, example)?;
    number
        .times(Fraction { top: i128::from(scale), bottom: 1 })
        .and_then(|whole| i64::try_from(whole).ok())
        .ok_or_else(|| Misread::new("This number is too large to be kept"))
}

fn parse(text: &str) -> Option<Fraction> {
    let (sign, text) = match text.strip_prefix(['-', '−']) {
        Some(rest) => (-1, rest.trim_start()),
        None => (1, text.strip_prefix('+').unwrap_or(text)),
    };
    let (whole, part) = match text.rsplit_once([' ', '\u{a0}', '\u{202f}']) {
        Some((whole, part)) => (Some(whole.trim()), part),
        None => match text.char_indices().last() {
            Some((at, letter)) if at > 0 && vulgar(letter).is_some() => (Some(&text[..at]), &text[at..]),
            _ => (None, text),
        },
    };
    let number = match whole {
        Some(whole) => decimal(whole)?.plus(fraction(part)?)?,
        None => fraction(part).or_else(|| decimal(part))?,
    };
    Some(Fraction { top: number.top * sign, bottom: number.bottom })
}

fn vulgar(letter: char) -> Option<(i128, i128)> {
    Some(match letter {
        '½' => (1, 2),
        '⅓' => (1, 3),
        '⅔' => (2, 3),
        '¼' => (1, 4),
        '¾' => (3, 4),
        '⅕' => (1, 5),
        '⅛' => (1, 8),
        '⅜' => (3, 8),
        '⅝' => (5, 8),
        '⅞' => (7, 8),
        _ => return None,
    })
}

fn fraction(text: &str) -> Option<Fraction> {
    let mut letters = text.chars();
    if let (Some(letter), None) = (letters.next(), letters.next())
        && let Some((top, bottom)) = vulgar(letter)
    {
        return Some(Fraction { top, bottom });
    }
    let (top, bottom) = text.split_once(['/', '⁄'])?;
    let (top, bottom) = (digits(top)?, digits(bottom)?);
    (bottom > 0).then_some(Fraction { top, bottom })
}

fn digits(text: &str) -> Option<i128> {
    let plain = !text.is_empty() && text.len() <= MOST_DIGITS && text.bytes().all(|b| b.is_ascii_digit());
    if plain { text.parse().ok() } else { None }
}

fn decimal(text: &str) -> Option<Fraction> {
    let (whole, part) = match text.split_once(['.', ',']) {
        Some((whole, part)) if !part.contains(['.', ',']) && !part.is_empty() => (whole, part),
        Some(_) => return None,
        None => (text, ""),
    };
    if whole.is_empty() && part.is_empty() || whole.len() + part.len() > MOST_DIGITS {
        return None;
    }
    let whole = if whole.is_empty() { 0 } else { digits(whole)? };
    let rest = if part.is_empty() { 0 } else { digits(part)? };
    let bottom = 10_i128.pow(u32::try_from(part.len()).ok()?);
    Some(Fraction { top: whole * bottom + rest, bottom })
}

/// Write thousandths (or another power of ten) as a plain decimal without trailing zeros.
pub fn plain(value: i64, places: u32) -> String {
    let scale = 10_u64.pow(places);
    let size = value.unsigned_abs();
    let (whole, part) = (size / scale, size % scale);
    let sign = if value < 0 { "-" } else { "" };
    if part == 0 {
        return format!("{sign}{whole}");
    }
    let part = format!("{part:0width$}", width = places as usize);
    format!("{sign}{whole}.{}", part.trim_end_matches('0'))
}

/// Write a scaled value with exactly `shown` places after the point, halves away from zero.
pub fn fixed(value: i64, places: u32, shown: u32) -> String {
    let drop = 10_i128.pow(places.saturating_sub(shown));
    let size = i128::from(value).abs();
    let rounded = (size + drop / 2) / drop * if value < 0 { -1 } else { 1 };
    let scale = 10_i128.pow(shown);
    let sign = if rounded < 0 { "−" } else { "" };
    let size = rounded.abs();
    if shown == 0 {
        return format!("{sign}{size}");
    }
    format!("{sign}{}.{:0width$}", size / scale, size % scale, width = shown as usize)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn numbers_are_read_as_people_write_them() {
        for (text, thousandths) in [
            ("1.5", 1500),
            ("1,5", 1500),
            ("½", 500),
            ("1 ½", 1500),
            ("1½", 1500),
            ("3/4", 750),
            ("2 3/4", 2750),
            ("-2", -2000),
            (".25", 250),
            ("0,0005", 1),
            ("+7", 7000),
        ] {
            assert_eq!(scaled(text, 1000, "1.5"), Ok(thousandths), "{text}");
        }
    }

    #[test]
    fn what_is_no_number_is_refused() {
        for text in ["", "abc", "1.2.3", "1,234.5", "NaN", "inf", "1e9", "1/0", "--1", "5.", "1\0", "٣"] {
            assert!(read(text, "1.5").is_err(), "{text}");
        }
        assert!(scaled(&"9".repeat(30), 1000, "1.5").is_err());
        assert!(scaled("999999999999999999", 1000, "1.5").unwrap_err().to_string().contains("too large"));
    }

    #[test]
    fn numbers_are_written_without_waste() {
        assert_eq!(plain(12_500, 3), "12.5");
        assert_eq!(plain(-7, 3), "-0.007");
        assert_eq!(fixed(1_524_761, 6, 2), "1.52");
        assert_eq!(fixed(-46_200_000, 6, 2), "−46.20");
        assert_eq!(fixed(999, 3, 0), "1");
    }
}
