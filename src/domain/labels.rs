//! Labels: where each stands on a sheet, to the micrometre, and what it says.
//!
//! Sheets are told apart by their measures alone (common practice, no source); what is left over of a page is shared by
//! its margins, as on every sheet that is sold.

/// A sheet of labels, in micrometres.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Sheet {
    /// In addresses.
    pub code: &'static str,
    /// The page: wide and high.
    pub page: (i64, i64),
    /// One label: wide and high.
    pub label: (i64, i64),
    /// How many stand side by side, and one below the other.
    pub count: (i64, i64),
    /// Between two of them.
    pub gap: (i64, i64),
}

const A4: (i64, i64) = (210_000, 297_000);
const LETTER: (i64, i64) = (215_900, 279_400);

const fn sheet(
    code: &'static str,
    page: (i64, i64),
    label: (i64, i64),
    count: (i64, i64),
    gap: (i64, i64),
) -> Sheet {
    Sheet { code, page, label, count, gap }
}

/// The sheets, the usual one first.
pub const SHEETS: [Sheet; 6] = [
    sheet("a4-2x4", A4, (99_100, 67_700), (2, 4), (2_500, 0)),
    sheet("a4-3x8", A4, (70_000, 37_000), (3, 8), (0, 0)),
    sheet("a4-2x4-full", A4, (105_000, 74_000), (2, 4), (0, 0)),
    sheet("a4-3x7", A4, (63_500, 38_100), (3, 7), (2_500, 0)),
    sheet("letter-2x3", LETTER, (101_600, 84_667), (2, 3), (4_762, 0)),
    sheet("letter-3x10", LETTER, (66_675, 25_400), (3, 10), (3_175, 0)),
];

/// The side of the code that a phone reads.
pub const CODE_UM: i64 = 15_000;
/// Labels of one document at most.
pub const MOST: u32 = 1000;
/// How far a printer may be off, in tenths of a millimetre.
pub const OFF_TENTHS: i64 = 50;

impl Sheet {
    /// From its place in addresses.
    pub fn from_code(code: &str) -> Option<Self> {
        SHEETS.into_iter().find(|sheet| sheet.code == code)
    }

    /// How many labels a page has.
    pub const fn each(&self) -> i64 {
        self.count.0 * self.count.1
    }

    /// The upper left corner of a label, counted row by row from 0.
    pub const fn corner(&self, at: i64) -> (i64, i64) {
        const fn margin(page: i64, label: i64, count: i64, gap: i64) -> i64 {
            (page - count * label - (count - 1) * gap) / 2
        }
        let (column, row) = (at % self.count.0, at / self.count.0 % self.count.1);
        let left = margin(self.page.0, self.label.0, self.count.0, self.gap.0);
        let top = margin(self.page.1, self.label.1, self.count.1, self.gap.1);
        (left + column * (self.label.0 + self.gap.0), top + row * (self.label.1 + self.gap.1))
    }

    /// "99.1 × 67.7 mm, 2 × 4 on A4".
    pub fn name(&self) -> String {
        let page = if self.page == A4 { "A4" } else { "US letter" };
        let (wide, high) = (millimetres(self.label.0), millimetres(self.label.1));
        format!("{wide} × {high} mm, {} × {} on {page}", self.count.0, self.count.1)
    }
}

/// With one place where one is needed.
fn millimetres(micrometres: i64) -> String {
    let tenths = (micrometres + 50) / 100;
    if tenths % 10 == 0 { (tenths / 10).to_string() } else { format!("{}.{}", tenths / 10, tenths % 10) }
}

/// What a label says.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct Label {
    /// What it is.
    pub name: String,
    /// What stands under it, the most important first.
    pub lines: Vec<String>,
    /// Whom it can hurt: set apart from the rest.
    pub contains: Option<String>,
    /// What stands at the end.
    pub remarks: Vec<String>,
    /// What the code leads to.
    pub address: String,
}

/// "Contains milk, sulphites"; nothing where nothing is known to be in it.
pub fn contains(allergens: &[String]) -> Option<String> {
    (!allergens.is_empty()).then(|| format!("Contains {}", allergens.join(", ")))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn labels_stand_within_the_page_beside_each_other_and_in_its_middle() {
        for sheet in SHEETS {
            let last = sheet.corner(sheet.each() - 1);
            let first = sheet.corner(0);
            let right = sheet.page.0 - last.0 - sheet.label.0;
            let bottom = sheet.page.1 - last.1 - sheet.label.1;
            assert!(first.0 >= 0 && first.1 >= 0, "{}", sheet.code);
            assert!(
                (right - first.0).abs() <= 1 && (bottom - first.1).abs() <= 1,
                "{}: in the middle",
                sheet.code
            );
            for at in 1..sheet.each() {
                let (before, here) = (sheet.corner(at - 1), sheet.corner(at));
                let beside = here.1 == before.1 && here.0 - before.0 == sheet.label.0 + sheet.gap.0;
                let below = here.0 == first.0 && here.1 - before.1 == sheet.label.1 + sheet.gap.1;
                assert!(beside || below, "{} {at}", sheet.code);
            }
            assert_eq!(sheet.corner(sheet.each()), first, "the next page begins anew");
            assert_eq!(Sheet::from_code(sheet.code), Some(sheet));
            // A code with its white border of four of its squares stands beside words.
            assert!(sheet.label.1 >= CODE_UM + 2 * 4 * CODE_UM / 29 && sheet.label.0 >= 3 * CODE_UM);
        }
        assert_eq!(SHEETS[0].name(), "99.1 × 67.7 mm, 2 × 4 on A4");
        assert_eq!(SHEETS[1].name(), "70 × 37 mm, 3 × 8 on A4");
    }
}
