//! Batches side by side: the same figures of each, and what differed most, in sentences.
//!
//! Nothing here says why. Two batches differ in a hundred ways that nobody wrote down, and a single difference between
//! them proves nothing; the page says so.

/// A figure of some batches: what it is, in what, and the value of each; none where it is not known.
#[derive(Debug, Clone, PartialEq)]
pub struct Figure {
    /// Under which heading: "Supplies", "Course", "Yields", "Result".
    pub group: &'static str,
    /// What it is.
    pub name: String,
    /// In what.
    pub unit: &'static str,
    /// Decimals that mean something.
    pub places: usize,
    /// So far apart two values are the same.
    pub same_within: f64,
    /// Of each batch.
    pub values: Vec<Option<f64>>,
}

/// How much two or more values of a figure differ.
#[derive(Debug, Clone, PartialEq)]
pub struct Difference {
    /// The sentence.
    pub says: String,
    /// The spread as a share of the middle.
    pub share: f64,
}

impl Figure {
    /// A value as it is said.
    pub fn shown(&self, value: f64) -> String {
        if value == 0.0 && self.group == "Supplies" {
            return "none".to_owned();
        }
        let unit = if self.unit.is_empty() { String::new() } else { format!(" {}", self.unit) };
        format!("{value:.*}{unit}", self.places)
    }

    /// The lowest and the highest of those that are known, with the batches that have them.
    fn ends(&self) -> Option<((usize, f64), (usize, f64))> {
        let known = || self.values.iter().enumerate().filter_map(|(at, value)| Some((at, (*value)?)));
        let low = known().min_by(|one, other| one.1.total_cmp(&other.1))?;
        let high = known().max_by(|one, other| one.1.total_cmp(&other.1))?;
        Some((low, high))
    }

    fn difference(&self, codes: &[String]) -> Option<Difference> {
        let (low, high) = self.ends()?;
        let spread = high.1 - low.1;
        let known = self.values.iter().flatten().count();
        if known < 2 || spread <= self.same_within {
            return None;
        }
        let middle = f64::midpoint(high.1.abs(), low.1.abs());
        let share = if middle > 0.0 { spread / middle } else { 0.0 };
        let (least, most) = (codes.get(low.0)?, codes.get(high.0)?);
        let says = format!(
            "{}: {} in batch {most}, {} in batch {least}.",
            self.name,
            self.shown(high.1),
            self.shown(low.1)
        );
        Some(Difference { says, share })
    }
}

/// What differed, the largest first; `codes` are the numbers of the batches.
pub fn differences(figures: &[Figure], codes: &[String]) -> Vec<Difference> {
    let mut found: Vec<Difference> = figures.iter().filter_map(|figure| figure.difference(codes)).collect();
    found.sort_by(|one, other| other.share.total_cmp(&one.share));
    found
}

/// What such a comparison can say, and what it cannot.
pub fn warning(batches: usize) -> &'static str {
    if batches <= 2 {
        "Two batches prove nothing: they differ in many ways that nobody wrote down, and any of these could be chance. \
         Change one thing at a time, and make it more than once."
    } else {
        "A few batches prove little: what goes together here may be chance, or follow from something that nobody wrote \
         down. Change one thing at a time, and make it more than once."
    }
}

/// The middle and the ends of what other batches gave.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Usual {
    /// The median.
    pub median: f64,
    /// The lowest.
    pub low: f64,
    /// The highest.
    pub high: f64,
    /// Of how many.
    pub of: usize,
}

/// What is usual among these values; none where there are none.
pub fn usual(values: &[f64]) -> Option<Usual> {
    let mut sorted: Vec<f64> = values.iter().copied().filter(|value| value.is_finite()).collect();
    sorted.sort_by(f64::total_cmp);
    let (low, high) = (*sorted.first()?, *sorted.last()?);
    let (half, of) = (sorted.len() / 2, sorted.len());
    let median = if of % 2 == 1 { sorted[half] } else { f64::midpoint(sorted[half - 1], sorted[half]) };
    Some(Usual { median, low, high, of })
}

#[cfg(test)]
mod tests {
    use super::*;

    fn figure(name: &str, same_within: f64, values: &[Option<f64>]) -> Figure {
        let values = values.to_vec();
        Figure { group: "Supplies", name: name.to_owned(), unit: "g/L", places: 0, same_within, values }
    }

    #[test]
    fn the_largest_difference_comes_first_and_what_is_the_same_is_not_told() {
        let codes: Vec<String> = ["12", "9", "7"].map(str::to_owned).to_vec();
        let figures = [
            figure("Honey", 0.5, &[Some(300.0), Some(310.0), Some(305.0)]),
            figure("Cane sugar", 0.5, &[Some(120.0), Some(60.0), None]),
            figure("Yeast", 0.5, &[Some(0.2), Some(0.4), Some(0.3)]),
            figure("Acid", 0.0, &[Some(1.0), None, None]),
        ];
        let found = differences(&figures, &codes);
        let said: Vec<&str> = found.iter().map(|one| one.says.as_str()).collect();
        assert_eq!(
            said,
            [
                "Cane sugar: 120 g/L in batch 12, 60 g/L in batch 9.",
                "Honey: 310 g/L in batch 9, 300 g/L in batch 12."
            ]
        );
        assert!((found[0].share - 60.0 / 90.0).abs() < 1e-9);
    }

    #[test]
    fn the_middle_of_others_is_their_median() {
        assert_eq!(usual(&[]), None);
        let found = usual(&[30.0, 10.0, 20.0, 26.0]).unwrap();
        assert_eq!((found.median, found.low, found.high, found.of), (23.0, 10.0, 30.0, 4));
        assert!(warning(2).contains("prove nothing"));
    }
}
