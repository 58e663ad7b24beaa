//! A table on paper: columns as wide as what stands in them, words broken where they do not fit, the heads repeated on
//! every page.

use super::{Ink, LEFT, Paper, ROOM, SMALL};

/// A table to be printed.
#[derive(Debug, Clone, Default)]
pub struct Grid {
    /// What stands over each column, and whether it holds figures, which stand to the right.
    pub heads: Vec<(String, bool)>,
    /// The rows.
    pub rows: Vec<GridRow>,
}

/// A row of a table.
#[derive(Debug, Clone, Default)]
pub struct GridRow {
    /// What stands in each column.
    pub cells: Vec<String>,
    /// It is the sum of the others.
    pub sum: bool,
}

/// Between two columns.
const GAP: f32 = 9.0;
const LINE: f32 = SMALL * 1.35;
/// No column is made narrower by breaking its words.
const LEAST: f32 = 40.0;
/// What stands over a column is broken into lines where it is wider than this.
const HEAD: f32 = 64.0;
/// So much more than it needs a column may get where there is room.
const SPARE: f32 = 26.0;

impl Paper {
    /// Writes a table.
    pub fn grid(&mut self, grid: &Grid) {
        let wide = self.widths(grid);
        self.need(60.0);
        self.heads(grid, &wide);
        for row in &grid.rows {
            let cells: Vec<Vec<String>> = (row.cells.iter().zip(&wide))
                .map(|(cell, wide)| self.faces.of(row.sum).lines(cell, SMALL, *wide + 0.01))
                .collect();
            let high = lines(cells.iter().map(Vec::len).max().unwrap_or(1)) * LINE + 4.0;
            if self.need(high + 2.0) {
                self.heads(grid, &wide);
            }
            if row.sum {
                self.rule(Ink::Full, 0.9);
            }
            self.row(grid, &wide, &cells, row.sum, Ink::Full);
            self.y += 2.0;
            self.rule(Ink::Line, 0.4);
        }
        self.y += 8.0;
    }

    fn heads(&mut self, grid: &Grid, wide: &[f32]) {
        let heads: Vec<Vec<String>> = (grid.heads.iter().zip(wide))
            .map(|(head, wide)| self.faces.regular.lines(&head.0, SMALL, *wide + 0.01))
            .collect();
        self.row(grid, wide, &heads, false, Ink::Dim);
        self.y += 2.0;
        self.rule(Ink::Full, 0.9);
    }

    fn row(&mut self, grid: &Grid, wide: &[f32], cells: &[Vec<String>], bold: bool, ink: Ink) {
        let (top, mut x, mut most) = (self.y + 2.0, LEFT, 1);
        for ((cell, wide), head) in cells.iter().zip(wide).zip(&grid.heads) {
            for (at, line) in cell.iter().enumerate() {
                let left = if head.1 { wide - self.faces.of(bold).width(line, SMALL) } else { 0.0 };
                let y = top + SMALL + lines(at) * LINE;
                self.text(x + left, y, SMALL, bold, ink, line.clone());
            }
            most = most.max(cell.len());
            x += wide + GAP;
        }
        self.y = top + lines(most) * LINE;
    }

    /// Columns of figures get what they need; columns of words share what is left, the widest giving way first.
    fn widths(&self, grid: &Grid) -> Vec<f32> {
        let word = |text: &str| {
            let words = text.split_whitespace();
            words.map(|word| self.faces.bold.width(word, SMALL)).fold(0.0, f32::max)
        };
        let mut wide: Vec<f32> = (grid.heads.iter().enumerate())
            .map(|(at, head)| {
                let cells = grid.rows.iter().filter_map(|row| Some((row.cells.get(at)?, row.sum)));
                let widest =
                    cells.map(|(cell, sum)| self.faces.of(sum).width(cell, SMALL)).fold(0.0, f32::max);
                let over = self.faces.regular.width(&head.0, SMALL).min(HEAD).max(word(&head.0));
                widest.max(over).max(12.0)
            })
            .collect();
        let gaps = lines(wide.len().saturating_sub(1)) * GAP;
        let over = |wide: &[f32]| wide.iter().sum::<f32>() + gaps - ROOM;
        let spare = (-over(&wide) / lines(wide.len().max(1))).clamp(0.0, SPARE);
        for wide in &mut wide {
            *wide += spare;
        }
        while over(&wide) > 0.0 {
            let words = (0..wide.len()).filter(|at| !grid.heads[*at].1 && wide[*at] > LEAST);
            let widest = words.max_by(|one, other| wide[*one].total_cmp(&wide[*other]));
            let any = || (0..wide.len()).max_by(|one, other| wide[*one].total_cmp(&wide[*other]));
            let Some(at) = widest.or_else(any) else { break };
            wide[at] = (wide[at] - over(&wide).min(8.0)).max(10.0);
            if wide.iter().all(|wide| *wide <= 10.0) {
                break;
            }
        }
        wide
    }
}

#[allow(clippy::cast_precision_loss, reason = "a few lines or columns")]
fn lines(count: usize) -> f32 {
    count as f32
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::web::paper::{Mark, RIGHT};

    fn texts(page: &[Mark]) -> Vec<(&str, f32)> {
        let mut found = Vec::new();
        for mark in page {
            if let Mark::Text { text, x, .. } = mark {
                found.push((text.as_str(), *x));
            }
        }
        found
    }

    fn long() -> Grid {
        let row = |at: usize| GridRow {
            cells: vec![
                format!("Batch {at} of the long drink name from the quay meadow"),
                format!("{at}.50"),
            ],
            sum: at == 199,
        };
        Grid {
            heads: vec![("Batch".to_owned(), false), ("Cost, €".to_owned(), true)],
            rows: (0..200).map(row).collect(),
        }
    }

    #[test]
    fn a_long_table_goes_on_under_its_heads_and_has_every_row_once() {
        let mut paper = Paper::new("Costs", "Club".to_owned()).unwrap();
        paper.part("Costs");
        paper.grid(&long());
        assert!(paper.pages() > 3);
        for page in &paper.pages {
            assert_eq!(texts(page).iter().filter(|text| text.0 == "Batch").count(), 1);
        }
        let all: Vec<_> = paper.pages.iter().flat_map(|page| texts(page)).collect();
        for at in 0..200 {
            assert_eq!(all.iter().filter(|text| text.0 == format!("{at}.50")).count(), 1, "{at}");
        }
        let right = |(text, x): &(&str, f32)| x + paper.faces.regular.width(text, SMALL);
        assert!(all.iter().all(|text| right(text) < RIGHT + 6.0 && text.1 >= LEFT - 0.1));
    }

    #[test]
    fn too_many_wide_columns_are_broken_into_lines_within_the_page() {
        let mut paper = Paper::new("Wide", String::new()).unwrap();
        let words = "whole milk of the Friesian ewes on the quay meadow";
        let heads = (0..9).map(|_| (words.to_owned(), false)).collect();
        let cells = (0..9).map(|_| words.to_owned()).collect();
        paper.grid(&Grid { heads, rows: vec![GridRow { cells, sum: false }] });
        let widest = texts(&paper.pages[0]);
        let right = |(text, x): &(&str, f32)| x + paper.faces.regular.width(text, SMALL);
        assert!(widest.iter().all(|text| right(text) <= RIGHT + 1.0));
        assert!(paper.finish().unwrap().starts_with(b"%PDF-"));
    }
}
