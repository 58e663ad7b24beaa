//! Labels on sheets: words, and beside them a code that leads a phone to the page of what is labelled.

use krilla::outline::Outline;
use qrcode::{Color, EcLevel, QrCode};

use super::face::Faces;
use super::{FACES, Ink, Mark, bind};
use crate::domain::labels::{CODE_UM, Label, Sheet};
use crate::web::problem::Problem;

/// Points of a micrometre: 72 on an inch of 25.4 mm.
const POINT: f32 = 72.0 / 25_400.0;
/// The largest and the smallest letters.
const LARGE: f32 = 9.0;
const SMALLEST: f32 = 5.0;

#[allow(clippy::cast_precision_loss, reason = "the length of a page in micrometres")]
fn points(micrometres: i64) -> f32 {
    micrometres as f32 * POINT
}

/// How labels are put on sheets.
#[derive(Debug, Clone, Copy)]
pub struct Printing {
    /// Which sheets.
    pub sheet: Sheet,
    /// So many of the first sheet are used already.
    pub skip: i64,
    /// How far the printer is off, to the right and down, in micrometres: it is taken back.
    pub off: (i64, i64),
}

/// So many of each label, one after the other.
pub fn labels(title: &str, of: &[(Label, u32)], how: &Printing) -> Result<Vec<u8>, Problem> {
    let faces = FACES.as_ref().ok_or_else(|| Problem::fault("the typeface cannot be read"))?;
    let mut pages: Vec<Vec<Mark>> = Vec::new();
    let mut at = how.skip;
    for (label, count) in of {
        let one = set(faces, label, how.sheet)?.ok_or_else(|| Problem::fault("a label does not fit"))?;
        for _ in 0..*count {
            let page = usize::try_from(at / how.sheet.each()).unwrap_or_default();
            pages.resize_with(pages.len().max(page + 1), Vec::new);
            let corner = how.sheet.corner(at);
            let (x, y) = (points(corner.0 - how.off.0), points(corner.1 - how.off.1));
            pages[page].extend(one.iter().map(|mark| mark.moved(x, y)));
            at += 1;
        }
    }
    bind(title, Outline::new(), &pages, size(how.sheet), faces)
}

/// A sheet on which every label is framed, with lengths to measure: where it is off is seen when it lies over a sheet.
pub fn calibration(how: &Printing) -> Result<Vec<u8>, Problem> {
    let faces = FACES.as_ref().ok_or_else(|| Problem::fault("the typeface cannot be read"))?;
    let (wide, high) = (points(how.sheet.label.0), points(how.sheet.label.1));
    let margin = margin(how.sheet);
    let mut marks = Vec::new();
    let mut line = |x, y, wide, high| marks.push(Mark::Box { x, y, wide, high, ink: Ink::Full });
    for at in 0..how.sheet.each() {
        let corner = how.sheet.corner(at);
        let (x, y) = (points(corner.0 - how.off.0), points(corner.1 - how.off.1));
        for (x, y, wide, high) in
            [(x, y, wide, 0.3), (x, y + high, wide, 0.3), (x, y, 0.3, high), (x + wide, y, 0.3, high)]
        {
            line(x, y, wide, high);
        }
    }
    let corner = how.sheet.corner(0);
    let (x, y) = (points(corner.0 - how.off.0) + margin, points(corner.1 - how.off.1) + margin);
    for tick in 0..=5 {
        line(x + points(tick * 10_000), y, 0.4, 8.0);
    }
    line(x, y, points(50_000), 0.4);
    let words = [
        "This line is 50 mm long. Print at 100 %, not “fit to page”.",
        "Hold the page against the light with a sheet of labels behind it:",
        "so many millimetres as the frames are too far right and down",
        "are entered as what the printer is off.",
    ];
    for (at, words) in (0_i16..).zip(words) {
        let y = y + 16.0 + f32::from(at) * 7.5;
        marks.push(Mark::Text { x, y, size: SMALLEST, bold: false, ink: Ink::Full, text: words.to_owned() });
    }
    bind("Calibration", Outline::new(), &[marks], size(how.sheet), faces)
}

/// Within a label; low ones have less to spare.
fn margin(sheet: Sheet) -> f32 {
    points(if sheet.label.1 < 30_000 { 2000 } else { 3000 })
}

fn size(sheet: Sheet) -> (f32, f32) {
    (points(sheet.page.0), points(sheet.page.1))
}

/// A line of words: bold, how large against the others, the words.
type Words = (bool, f32, String);

/// The marks of one label from its upper left corner; none where its words do not fit.
fn set(faces: &Faces, label: &Label, sheet: Sheet) -> Result<Option<Vec<Mark>>, Problem> {
    let code = QrCode::with_error_correction_level(&label.address, EcLevel::M)
        .map_err(|error| Problem::fault(&format!("a code cannot be made: {error}")))?;
    let (wide, high) = (points(sheet.label.0), points(sheet.label.1));
    let (side, margin) = (points(CODE_UM), margin(sheet));
    #[allow(clippy::cast_precision_loss, reason = "some dozens of squares")]
    let square = side / code.width() as f32;
    let border = margin.max(4.0 * square);
    let mut marks = squares(&code, square, wide - border - side, high - border - side);
    let room = wide - margin - side - 2.0 * border;
    let Some((lines, letters)) = fitted(faces, label, room, high - 2.0 * margin) else { return Ok(None) };
    let mut y = margin;
    for (bold, scale, text) in lines {
        y += letters * scale;
        marks.push(Mark::Text { x: margin, y, size: letters * scale, bold, ink: Ink::Full, text });
        y += letters * scale * 0.22;
    }
    Ok(Some(marks))
}

/// Whether the words fit on a label of this sheet beside their code.
pub fn fits(label: &Label, sheet: Sheet) -> Result<bool, Problem> {
    let faces = FACES.as_ref().ok_or_else(|| Problem::fault("the typeface cannot be read"))?;
    Ok(set(faces, label, sheet)?.is_some())
}

/// The words in the largest letters in which they fit.
fn fitted(faces: &Faces, label: &Label, room: f32, high: f32) -> Option<(Vec<Words>, f32)> {
    let mut size = LARGE;
    loop {
        let mut lines: Vec<Words> = Vec::new();
        let mut say = |bold: bool, scale: f32, text: &str| {
            let broken = faces.of(bold).lines(text, size * scale, room);
            lines.extend(broken.into_iter().filter(|line| !line.is_empty()).map(|line| (bold, scale, line)));
        };
        say(true, 1.5, &label.name);
        label.lines.iter().for_each(|line| say(false, 1.0, line));
        label.contains.iter().for_each(|line| say(true, 1.0, line));
        label.remarks.iter().for_each(|line| say(false, 0.9, line));
        let tall: f32 = lines.iter().map(|(_, scale, _)| size * scale * 1.22).sum();
        if tall <= high {
            return Some((lines, size));
        }
        size -= 0.25;
        if size < SMALLEST {
            return None;
        }
    }
}

/// The dark squares of a code, a run at a time.
fn squares(code: &QrCode, square: f32, x: f32, y: f32) -> Vec<Mark> {
    let colours = code.to_colors();
    let mut marks = Vec::new();
    for (row, colours) in (0_u16..).zip(colours.chunks(code.width())) {
        let mut from: Option<u16> = None;
        for (column, dark) in (0_u16..).zip(colours.iter().map(|one| *one == Color::Dark).chain([false])) {
            match (dark, from) {
                (true, None) => from = Some(column),
                (false, Some(began)) => {
                    let wide = f32::from(column - began) * square;
                    let (x, y) = (x + f32::from(began) * square, y + f32::from(row) * square);
                    marks.push(Mark::Box { x, y, wide, high: square, ink: Ink::Black });
                    from = None;
                }
                _ => {}
            }
        }
    }
    marks
}
