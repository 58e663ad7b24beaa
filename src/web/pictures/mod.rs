//! Pictures that the pages show: plain values in, SVG or HTML out, drawn on the server.
//!
//! They take the page's colours by class (`templates/static/undercroft.css`), never by attribute.
//! Lines stretch with the page and words do not: the outer picture is measured in pixels, with
//! places along it in per cent; curves and ribbons lie in an inner picture that is stretched.
//! All words are laid out for a content width of 288 px, the narrowest there is, and are cut
//! rather than allowed to run into each other; the table behind a picture has them in full.
//!
//! Whether a value is right, and what the table shows, is decided elsewhere.

mod ages;
mod bars;
mod curve;
mod flow;
mod ladder;
mod overlay;
mod shape;
mod shelves;
mod stem;
mod tally;
mod thin;
mod year;

pub use ages::{Ages, ages};
pub use bars::{Bar, Bars, MOST_BARS, bars};
pub use curve::{Ahead, Curve, Lane, Mark, curve};
pub use flow::{Flow, Node, flow};
pub use ladder::{Ladder, Rung, ladder};
pub use overlay::{MOST_CURVES, Overlay, overlay};
pub use shelves::{ShelfRow, Shelves, shelves};
pub use stem::stem;
pub use tally::tally;
pub use thin::thin;
pub use year::{Year, YearMark, YearRow, year};
