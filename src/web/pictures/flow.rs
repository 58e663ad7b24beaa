//! Where the money or the mass of a batch came from and where it went.
//!
//! Three columns: what came in, the batch, what came out. Heights are proportional and add up
//! exactly, because everything is counted in whole tenths of a pixel.

use super::shape::{cut, escape, figure, tenths};
use layout::Layout;
use std::fmt::Write;

mod layout;

/// What a flow shows.
pub struct Flow<'a> {
    /// Unique in the page.
    pub id: &'a str,
    /// What it is: "Where the money of batch 36 went".
    pub title: &'a str,
    /// What it shows, in a sentence, under it.
    pub caption: &'a str,
    /// The words over the three columns: "paid", "in the batch", "now".
    pub heads: [&'a str; 3],
    /// What came into the batch.
    pub inputs: &'a [Node],
    /// What was never in the batch and joins the last output: bottles, corks, labels.
    pub straight: &'a [Node],
    /// What came out, the drink last.
    pub outputs: &'a [Node],
    /// A sum in words, with its unit: "€66.00", "8.8 kg".
    pub text: &'a dyn Fn(i64) -> String,
}

/// One part of a flow. Parts of nothing or less are left to the table.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Node {
    /// What it is.
    pub name: String,
    /// How much, in whole parts of the smallest unit.
    pub value: i64,
}

impl Node {
    /// A part of a flow.
    pub fn new(name: impl Into<String>, value: i64) -> Self {
        Self { name: name.into(), value }
    }
}

/// The room for words on either side, in pixels: inside a part, and beneath one, where ribbons pass.
const INSIDE_PX: f64 = 100.0;
const BENEATH_PX: f64 = 112.0;

/// The flow as a figure; a sentence where nothing has moved.
pub fn flow(flow: &Flow) -> String {
    let layout = Layout::of(flow);
    if layout.total == 0 {
        return "<p class=\"dim\">Nothing has moved yet.</p>".to_owned();
    }
    let height = tenths(layout.height);
    let mut body = format!(
        "<svg viewBox=\"0 0 100 {height}\" preserveAspectRatio=\"none\" width=\"100%\" \
         height=\"{height}\">{}</svg>",
        layout.ribbons.iter().map(Ribbon::path).collect::<String>()
    );
    for bar in &layout.bars {
        body += &bar.line();
    }
    for ((text, x), anchor) in flow.heads.iter().zip([0, 50, 100]).zip(["start", "middle", "end"]) {
        let text = escape(&cut(text, 90.0));
        let _ =
            write!(body, "<text class=\"t-dim\" x=\"{x}%\" y=\"14\" text-anchor=\"{anchor}\">{text}</text>");
    }
    for label in &layout.labels {
        body += &label.words(flow.text);
    }
    figure(flow.id, flow.title, flow.caption, &height, &body)
}

/// A band from one column to the next.
struct Ribbon {
    class: &'static str,
    from: (i64, i64),
    to: (i64, i64),
    tall: i64,
}

impl Ribbon {
    /// It keeps level where words may stand and bends close to the batch.
    fn path(&self) -> String {
        let ((x0, y0), (x1, y1)) = (self.from, self.to);
        let (level0, bend, level1) = match (x0, x1) {
            (0, 50) => (40, 45, 50),
            (50, _) => (50, 55, 60),
            _ => (40, 50, 60),
        };
        let (low0, low1) = (tenths(y0 + self.tall), tenths(y1 + self.tall));
        let (y0, y1) = (tenths(y0), tenths(y1));
        format!(
            "<path class=\"{}\" d=\"M{x0} {y0}H{level0}C{bend} {y0} {bend} {y1} {level1} {y1}H{x1}\
             V{low1}H{level1}C{bend} {low1} {bend} {low0} {level0} {low0}H{x0}Z\"/>",
            self.class
        )
    }
}

/// The upright that stands for a part.
struct Bar {
    class: &'static str,
    x: i64,
    from: i64,
    to: i64,
}

impl Bar {
    fn line(&self) -> String {
        let aside = match self.x {
            0 => 2,
            100 => -2,
            _ => 0,
        };
        format!(
            "<line class=\"{}\" x1=\"{x}%\" x2=\"{x}%\" y1=\"{}\" y2=\"{}\" \
             transform=\"translate({aside} 0)\"/>",
            self.class,
            tenths(self.from),
            tenths(self.to),
            x = self.x
        )
    }
}

/// The name of a part and how much it is, on two lines.
struct Label {
    node: Node,
    right: bool,
    y: i64,
    inside: bool,
}

impl Label {
    fn words(&self, text: &dyn Fn(i64) -> String) -> String {
        let (aside, room) = if self.inside { (14, INSIDE_PX) } else { (2, BENEATH_PX) };
        let (x, anchor, aside) = if self.right { (100, "end", -aside) } else { (0, "start", aside) };
        let place = format!("x=\"{x}%\" text-anchor=\"{anchor}\" transform=\"translate({aside} 0)\"");
        format!(
            "<text {place} y=\"{}\">{}</text><text class=\"t-b t-l\" {place} y=\"{}\">{}</text>",
            tenths(self.y),
            escape(&cut(&self.node.name, room)),
            tenths(self.y + 170),
            escape(&cut(&text(self.node.value), room)),
        )
    }
}

#[cfg(test)]
mod tests;
