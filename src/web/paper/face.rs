//! The typeface of what is printed: Noto Sans, under the SIL Open Font License 1.1, which lets it be embedded. Letters
//! are set one after the other by their own widths, so that what is measured is what is drawn.

use krilla::text::{Font, GlyphId, KrillaGlyph};
use skrifa::instance::{LocationRef, Size};
use skrifa::{FontRef, MetadataProvider};

/// One weight of the typeface.
pub struct Face {
    /// As it is embedded; only the letters that are used go along.
    pub font: Font,
    bytes: &'static [u8],
    per_em: f32,
}

/// Both weights.
pub struct Faces {
    /// For running text.
    pub regular: Face,
    /// For headings and sums.
    pub bold: Face,
}

impl Faces {
    /// Reads them; none if they cannot be read, which a test excludes.
    pub fn read() -> Option<Self> {
        Some(Self { regular: Face::read(notosans::REGULAR_TTF)?, bold: Face::read(notosans::BOLD_TTF)? })
    }

    /// The one or the other.
    pub fn of(&self, bold: bool) -> &Face {
        if bold { &self.bold } else { &self.regular }
    }
}

impl Face {
    fn read(bytes: &'static [u8]) -> Option<Self> {
        let font = Font::new(bytes.into(), 0)?;
        let per_em = font.units_per_em();
        Some(Self { font, bytes, per_em })
    }

    /// The letters of a text, one after the other; a letter that the typeface does not have is drawn as an empty box
    /// and can still be copied out of the file.
    pub fn glyphs(&self, text: &str) -> Vec<KrillaGlyph> {
        let Ok(font) = FontRef::new(self.bytes) else { return Vec::new() };
        let (letters, widths) =
            (font.charmap(), font.glyph_metrics(Size::unscaled(), LocationRef::default()));
        text.char_indices()
            .map(|(at, letter)| {
                let glyph = letters.map(letter).unwrap_or_default();
                let wide = widths.advance_width(glyph).unwrap_or_default() / self.per_em;
                let range = at..at + letter.len_utf8();
                KrillaGlyph::new(GlyphId::new(glyph.to_u32()), wide, 0.0, 0.0, 0.0, range, None)
            })
            .collect()
    }

    /// How wide a text is at this size, in points.
    pub fn width(&self, text: &str, size: f32) -> f32 {
        self.glyphs(text).iter().map(|glyph| glyph.x_advance * size).sum()
    }

    /// The text in lines that are no wider; a word that is wider by itself is broken.
    pub fn lines(&self, text: &str, size: f32, room: f32) -> Vec<String> {
        let mut lines = Vec::new();
        let mut line = String::new();
        for word in text.split_whitespace() {
            let longer = if line.is_empty() { word.to_owned() } else { format!("{line} {word}") };
            if self.width(&longer, size) <= room {
                line = longer;
                continue;
            }
            if !line.is_empty() {
                lines.push(std::mem::take(&mut line));
            }
            for letter in word.chars() {
                let longer = format!("{line}{letter}");
                if !line.is_empty() && self.width(&longer, size) > room {
                    lines.push(std::mem::take(&mut line));
                }
                line.push(letter);
            }
        }
        lines.push(line);
        lines
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_typeface_has_the_letters_of_the_club_and_figures_of_one_width() {
        let faces = Faces::read().unwrap();
        for face in [&faces.regular, &faces.bold] {
            let glyphs = face.glyphs("Ærøskøbing – “Žluť”, −12.5 °C, ½ L × 3 €£ ΑΩ Я");
            assert!(glyphs.iter().all(|glyph| glyph.glyph_id.to_u32() != 0));
            let wide: Vec<f32> = (0..10).map(|digit| face.width(&digit.to_string(), 10.0)).collect();
            assert!(wide.iter().all(|one| (one - wide[0]).abs() < 1e-4), "{wide:?}");
        }
    }

    #[test]
    fn no_line_is_wider_than_its_room_and_nothing_is_lost() {
        let face = &Faces::read().unwrap().regular;
        let text = "Whole milk of the Friesian ewes on the quay meadow Donaudampfschifffahrtsgesellschaft";
        let lines = face.lines(text, 9.0, 60.0);
        assert!(lines.len() > 4 && lines.iter().all(|line| face.width(line, 9.0) <= 60.0));
        let letters = |text: &str| text.chars().filter(|letter| !letter.is_whitespace()).collect::<String>();
        assert_eq!(letters(&lines.concat()), letters(text));
        assert_eq!(face.lines("", 9.0, 60.0), [""]);
    }
}
