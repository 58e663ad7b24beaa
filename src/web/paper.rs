//! What is printed or kept as PDF: pages of A4 with headings, sentences, tables and bars. Text can be selected, the
//! typeface is embedded. A table that does not fit goes on on the next page under its heading repeated; every page has
//! its number and how many there are.
//!
//! What stands in it is decided elsewhere; see [`super::reports`].

mod face;
mod grid;
pub mod label;

use std::sync::LazyLock;

use actix_web::HttpResponse;
use krilla::Document;
use krilla::color::rgb;
use krilla::destination::XyzDestination;
use krilla::geom::{PathBuilder, Point, Rect};
use krilla::metadata::Metadata;
use krilla::num::NormalizedF32;
use krilla::outline::{Outline, OutlineNode};
use krilla::page::PageSettings;
use krilla::paint::Fill;

use super::pictures::Bars;
use super::problem::Problem;
use super::respond;
use super::spreadsheet::Leaving;
use face::Faces;

pub use grid::{Grid, GridRow};

static FACES: LazyLock<Option<Faces>> = LazyLock::new(Faces::read);

/// A4 and its margins, in points.
const WIDE: f32 = 595.28;
const HIGH: f32 = 841.89;
const LEFT: f32 = 48.0;
const RIGHT: f32 = WIDE - 48.0;
const TOP: f32 = 56.0;
const BOTTOM: f32 = HIGH - 60.0;
const ROOM: f32 = RIGHT - LEFT;

/// The size of running text and of tables.
const TEXT: f32 = 10.0;
const SMALL: f32 = 8.0;

/// Shades of ink: text, what is less loud, lines, bars.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Ink {
    Full,
    Dim,
    Line,
    Bar,
    Warn,
    /// For what a machine reads.
    Black,
}

/// Something on a page; lengths from its upper left corner.
enum Mark {
    Text { x: f32, y: f32, size: f32, bold: bool, ink: Ink, text: String },
    Box { x: f32, y: f32, wide: f32, high: f32, ink: Ink },
}

impl Mark {
    /// The same from another corner.
    fn moved(&self, right: f32, down: f32) -> Self {
        match self {
            Self::Text { x, y, size, bold, ink, text } => Self::Text {
                x: x + right,
                y: y + down,
                size: *size,
                bold: *bold,
                ink: *ink,
                text: text.clone(),
            },
            Self::Box { x, y, wide, high, ink } => {
                Self::Box { x: x + right, y: y + down, wide: *wide, high: *high, ink: *ink }
            }
        }
    }
}

/// A document that is being written.
pub struct Paper {
    faces: &'static Faces,
    title: String,
    /// At the foot of every page, before its number.
    foot: String,
    pages: Vec<Vec<Mark>>,
    /// Where the next line stands.
    y: f32,
    /// The parts with their page and height, for the list beside the pages.
    parts: Vec<(String, usize, f32)>,
}

impl Paper {
    /// An empty one; `foot` says whose it is and when it was made.
    pub fn new(title: &str, foot: String) -> Result<Self, Problem> {
        let faces = FACES.as_ref().ok_or_else(|| Problem::fault("the typeface cannot be read"))?;
        Ok(Self { faces, title: title.to_owned(), foot, pages: vec![Vec::new()], y: TOP, parts: Vec::new() })
    }

    /// A part begins on a page of its own.
    pub fn part(&mut self, name: &str) {
        if self.pages.last().is_some_and(|page| !page.is_empty()) {
            self.turn();
        }
        self.parts.push((name.to_owned(), self.pages.len() - 1, self.y));
        self.block(name, 20.0, true, Ink::Full);
        self.rule(Ink::Full, 1.0);
        self.y += 12.0;
    }

    /// A heading; what follows stays with it.
    pub fn heading(&mut self, words: &str) {
        self.y += 10.0;
        self.need(70.0);
        self.block(words, 13.0, true, Ink::Full);
        self.y += 2.0;
    }

    /// A sentence or more.
    pub fn say(&mut self, words: &str) {
        self.block(words, TEXT, false, Ink::Full);
        self.y += 6.0;
    }

    /// Words less loud.
    pub fn whisper(&mut self, words: &str) {
        self.block(words, SMALL + 0.5, false, Ink::Dim);
        self.y += 4.0;
    }

    /// A caution.
    pub fn caution(&mut self, title: &str, points: &[String]) {
        self.need(48.0);
        self.block(title, TEXT, true, Ink::Warn);
        for point in points {
            self.say(point);
        }
    }

    /// Bars, as on the page.
    pub fn bars(&mut self, bars: &Bars) {
        if bars.bars.is_empty() || bars.longest() <= 0.0 {
            return;
        }
        self.heading(&bars.title);
        #[allow(clippy::cast_possible_truncation, reason = "the length of a bar")]
        let length = |value: f64| (bars.share(value) as f32) * (ROOM - 230.0);
        for bar in &bars.bars {
            self.need(15.0);
            let name = self.faces.regular.lines(&bar.name, SMALL, 150.0).swap_remove(0);
            let (y, from) = (self.y, LEFT + 160.0);
            self.text(LEFT, y + 8.5, SMALL, false, Ink::Full, name);
            let wide = length(bar.value);
            self.mark(Mark::Box { x: from, y: y + 1.5, wide, high: 8.0, ink: Ink::Bar });
            self.text(from + wide + 5.0, y + 8.5, SMALL, true, Ink::Full, bar.said.clone());
            if let Some((at, _)) = &bars.mark {
                let x = from + length(*at);
                self.mark(Mark::Box { x, y, wide: 0.8, high: 14.0, ink: Ink::Warn });
            }
            self.y += 14.0;
        }
        self.y += 2.0;
        let mark = bars.mark.as_ref().map(|mark| format!(" The line: {}.", mark.1)).unwrap_or_default();
        self.whisper(&format!("{}{mark}", bars.caption));
    }

    fn mark(&mut self, mark: Mark) {
        if let Some(page) = self.pages.last_mut() {
            page.push(mark);
        }
    }

    fn text(&mut self, x: f32, y: f32, size: f32, bold: bool, ink: Ink, text: String) {
        if !text.is_empty() {
            self.mark(Mark::Text { x, y, size, bold, ink, text });
        }
    }

    /// Lines over the whole width.
    fn block(&mut self, words: &str, size: f32, bold: bool, ink: Ink) {
        for line in self.faces.of(bold).lines(words, size, ROOM) {
            self.need(size * 1.4);
            let y = self.y + size;
            self.text(LEFT, y, size, bold, ink, line);
            self.y += size * 1.4;
        }
    }

    fn rule(&mut self, ink: Ink, high: f32) {
        let y = self.y;
        self.mark(Mark::Box { x: LEFT, y, wide: ROOM, high, ink });
        self.y += high;
    }

    /// Turn the page where less than this is left of it; says whether it did.
    fn need(&mut self, high: f32) -> bool {
        let turns = self.y + high > BOTTOM;
        if turns {
            self.turn();
        }
        turns
    }

    fn turn(&mut self) {
        self.pages.push(Vec::new());
        self.y = TOP;
    }

    /// How many pages there are.
    pub fn pages(&self) -> usize {
        self.pages.len()
    }

    /// The finished document.
    pub fn finish(mut self) -> Result<Vec<u8>, Problem> {
        let all = self.pages.len();
        for (at, page) in self.pages.iter_mut().enumerate() {
            let number = format!("{} of {all}", at + 1);
            let wide = self.faces.regular.width(&number, SMALL);
            let y = HIGH - 34.0;
            let foot = self.faces.regular.lines(&self.foot, SMALL, ROOM - wide - 12.0).swap_remove(0);
            for (x, text) in [(LEFT, foot), (RIGHT - wide, number)] {
                page.push(Mark::Text { x, y, size: SMALL, bold: false, ink: Ink::Dim, text });
            }
        }
        let mut outline = Outline::new();
        for (name, page, y) in self.parts {
            outline.push_child(OutlineNode::new(name, XyzDestination::new(page, Point::from_xy(LEFT, y))));
        }
        bind(&self.title, outline, &self.pages, (WIDE, HIGH), self.faces)
    }
}

/// Pages of one size as a document.
fn bind(
    title: &str,
    outline: Outline,
    pages: &[Vec<Mark>],
    size: (f32, f32),
    faces: &Faces,
) -> Result<Vec<u8>, Problem> {
    let mut document = Document::new();
    document.set_metadata(Metadata::new().title(title.to_owned()).language("en".to_owned()));
    document.set_outline(outline);
    for marks in pages {
        let size =
            PageSettings::from_wh(size.0, size.1).ok_or_else(|| Problem::fault("there is no such page"))?;
        let mut page = document.start_page_with(size);
        let mut surface = page.surface();
        for mark in marks {
            draw(&mut surface, faces, mark);
        }
        surface.finish();
        page.finish();
    }
    document.finish().map_err(|error| Problem::fault(&format!("a PDF cannot be written: {error:?}")))
}

fn draw(surface: &mut krilla::surface::Surface<'_>, faces: &Faces, mark: &Mark) {
    match mark {
        Mark::Text { x, y, size, bold, ink, text } => {
            let face = faces.of(*bold);
            surface.set_fill(Some(fill(*ink)));
            let glyphs = face.glyphs(text);
            surface.draw_glyphs(Point::from_xy(*x, *y), &glyphs, face.font.clone(), text, *size, false);
        }
        Mark::Box { x, y, wide, high, ink } => {
            let mut path = PathBuilder::new();
            let Some(area) = Rect::from_xywh(*x, *y, wide.max(0.1), *high) else { return };
            path.push_rect(area);
            if let Some(path) = path.finish() {
                surface.set_fill(Some(fill(*ink)));
                surface.draw_path(&path);
            }
        }
    }
}

/// Dark on white; bars and cautions in the colours of the pages.
fn fill(ink: Ink) -> Fill {
    let colour = match ink {
        Ink::Full => rgb::Color::new(27, 35, 33),
        Ink::Dim => rgb::Color::new(80, 90, 85),
        Ink::Line => rgb::Color::new(160, 166, 161),
        Ink::Bar => rgb::Color::new(120, 163, 160),
        Ink::Warn => rgb::Color::new(154, 45, 23),
        Ink::Black => rgb::Color::new(0, 0, 0),
    };
    Fill { paint: colour.into(), opacity: NormalizedF32::ONE, ..Fill::default() }
}

/// A finished document as a file; like every file it leaves the house only when the audit log says so.
pub(super) fn bound(_: &Leaving, name: &str, document: Vec<u8>) -> HttpResponse {
    respond::file("application/pdf", name, document)
}

/// The document as a file; like every file it leaves the house only when the audit log says so.
pub(super) fn file(_: &Leaving, name: &str, paper: Paper) -> Result<HttpResponse, Problem> {
    Ok(respond::file("application/pdf", name, paper.finish()?))
}
