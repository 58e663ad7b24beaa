//! Ranking, ISO 8587: whether a panel agrees on an order, and which samples it puts apart.

use statrs::distribution::{ChiSquared, ContinuousCDF, Normal};

use super::NotEnough;

/// What a panel's ranks show.
#[derive(Debug, Clone, PartialEq)]
pub struct Ranking {
    /// The sum of ranks of each sample, in the order given; small is first.
    pub rank_sums: Vec<f64>,
    /// How many judges.
    pub judges: u32,
    /// Friedman's statistic without regard to ties.
    pub friedman: f64,
    /// The same, corrected for ties.
    pub corrected: f64,
    /// Degrees of freedom.
    pub freedom: u32,
    /// How likely so much agreement is if nobody sees a difference; about, by the chi-squared distribution.
    pub p: f64,
    /// Kendall's W, from 0 (no agreement) to 1 (all the same order).
    pub agreement: f64,
    /// Two samples whose rank sums differ by this or more are told apart, 95 times in 100.
    pub least_difference: f64,
}

/// Ranks the scores or ranks of each judge (one row a judge, one value a sample; small is first, equal values share
/// their rank) and looks for agreement. Source: ISO 8587, Friedman (1937), Kendall (1939).
pub fn rank(rows: &[Vec<f64>]) -> Result<Ranking, NotEnough> {
    let (samples, judges) = (rows.first().map_or(0, Vec::len), rows.len());
    if judges < 2 {
        return Err(NotEnough::Judges);
    }
    if samples < 2 {
        return Err(NotEnough::Samples);
    }
    let (mut rank_sums, mut ties) = (vec![0.0; samples], 0.0);
    for row in rows {
        if row.len() != samples || row.iter().any(|value| !value.is_finite()) {
            return Err(NotEnough::Gap);
        }
        let (ranks, equal) = mid_ranks(row);
        ties += equal;
        for (sum, rank) in rank_sums.iter_mut().zip(ranks) {
            *sum += rank;
        }
    }
    let (j, p) = (count(judges), count(samples));
    let squares: f64 = rank_sums.iter().map(|sum| sum * sum).sum();
    let friedman = (12.0 / (j * p * (p + 1.0)) * squares - 3.0 * j * (p + 1.0)).max(0.0);
    let untied = 1.0 - ties / (j * p * (p * p - 1.0));
    if untied <= 1e-12 {
        return Err(NotEnough::AllTied);
    }
    let corrected = friedman / untied;
    Ok(Ranking {
        judges: u32::try_from(judges).unwrap_or(u32::MAX),
        friedman,
        corrected,
        freedom: u32::try_from(samples - 1).unwrap_or(u32::MAX),
        p: ChiSquared::new(p - 1.0).map_or(1.0, |chi| chi.sf(corrected)),
        agreement: (corrected / (j * (p - 1.0))).clamp(0.0, 1.0),
        least_difference: normal_quantile(0.975) * (j * p * (p + 1.0) / 6.0).sqrt(),
        rank_sums,
    })
}

/// Whether a panel follows an order that was expected beforehand: Page's L (1963), large samples. One row a judge;
/// `expected` names the samples from the one that should be ranked first. Gives L and its probability.
pub fn follows(rows: &[Vec<f64>], expected: &[usize]) -> Result<(f64, f64), NotEnough> {
    let ranking = rank(rows)?;
    let mut seen = expected.to_vec();
    seen.sort_unstable();
    if !seen.iter().copied().eq(0..ranking.rank_sums.len()) {
        return Err(NotEnough::Gap);
    }
    let l =
        (1..).zip(expected).map(|(rank, sample)| f64::from(rank) * ranking.rank_sums[*sample]).sum::<f64>();
    let (j, p) = (f64::from(ranking.judges), count(expected.len()));
    let mean = j * p * (p + 1.0).powi(2) / 4.0;
    let variance = j * p * p * (p + 1.0) * (p * p - 1.0) / 144.0;
    let z = (l - mean) / variance.sqrt();
    Ok((l, Normal::standard().sf(z)))
}

impl Ranking {
    /// Whether the panel tells two samples apart: only where it agrees at all.
    pub fn tells_apart(&self, one: usize, other: usize) -> bool {
        let sums = (self.rank_sums.get(one), self.rank_sums.get(other));
        let (Some(a), Some(b)) = sums else { return false };
        self.p <= 0.05 && (a - b).abs() >= self.least_difference
    }
}

/// The ranks of the values, equal ones sharing the mean of theirs, and the sum of t³ - t over groups of t equal ones.
fn mid_ranks(values: &[f64]) -> (Vec<f64>, f64) {
    let mut order: Vec<usize> = (0..values.len()).collect();
    order.sort_by(|a, b| values[*a].total_cmp(&values[*b]));
    let (mut ranks, mut ties) = (vec![0.0; values.len()], 0.0);
    let mut before = 0;
    #[allow(clippy::float_cmp, reason = "a tie is what was marked exactly alike; −0 and 0 are")]
    let alike = |a: &usize, b: &usize| values[*a] == values[*b];
    for group in order.chunk_by(alike) {
        let size = count(group.len());
        for sample in group {
            ranks[*sample] = count(before) + f64::midpoint(size, 1.0);
        }
        ties += size.powi(3) - size;
        before += group.len();
    }
    (ranks, ties)
}

fn normal_quantile(p: f64) -> f64 {
    Normal::standard().inverse_cdf(p)
}

#[allow(clippy::cast_precision_loss, reason = "a panel has no 2^52 judges")]
const fn count(n: usize) -> f64 {
    n as f64
}

#[cfg(test)]
mod tests {
    use super::super::super::checks::near;
    use super::*;

    fn rows(text: &str) -> Vec<Vec<f64>> {
        let row = |line: &str| line.split(' ').map(|value| value.parse().expect("a number")).collect();
        text.split(',').map(row).collect()
    }

    fn ten_judges() -> Vec<Vec<f64>> {
        rows("1 2 4 3,2 1 4 3,1 3 4 2,1 2 3 4,2 1 4 3,1 3 4 2,1 2 4 3,2 3 4 1,1 2 4 3,1 4 3 2")
    }

    #[test]
    fn ten_judges_who_agree() {
        // C: scipy.stats.friedmanchisquare; the least difference by the formula of ISO 8587.
        let ranking = rank(&ten_judges()).unwrap();
        assert_eq!(ranking.rank_sums, [13.0, 23.0, 38.0, 26.0]);
        near(ranking.friedman, 19.080, 1e-9);
        near(ranking.p, 0.000_263_181, 1e-9);
        near(ranking.agreement, 0.636, 1e-9);
        near(ranking.least_difference, 11.316, 1e-3);
        assert!(ranking.tells_apart(0, 2) && !ranking.tells_apart(1, 3));
    }

    #[test]
    fn ties_share_their_rank_and_are_corrected_for() {
        // C: scipy.stats.friedmanchisquare.
        let sheets = rows("1 2.5 4 2.5,2 1 4 3,1 3 4 2,1.5 1.5 3 4,2 1 4 3");
        let ranking = rank(&sheets).unwrap();
        near(ranking.friedman, 10.02, 1e-9);
        near(ranking.corrected, 10.4375, 1e-9);
        near(ranking.p, 0.015_190_9, 1e-7);
    }

    #[test]
    fn an_expected_order_is_followed() {
        // C: scipy.stats.page_trend_test (asymptotic) on the same ten judges, order a, b, d, c.
        let (l, p) = follows(&ten_judges(), &[0, 1, 3, 2]).unwrap();
        near(l, 289.0, 1e-9);
        near(p, 9.676e-6, 1e-8);
        assert_eq!(follows(&ten_judges(), &[0, 0, 3, 2]), Err(NotEnough::Gap));
    }

    #[test]
    fn what_cannot_be_ranked_is_refused() {
        assert_eq!(rank(&[]), Err(NotEnough::Judges));
        assert_eq!(rank(&rows("1 2")), Err(NotEnough::Judges));
        assert_eq!(rank(&rows("1,1")), Err(NotEnough::Samples));
        assert_eq!(rank(&rows("1 2,1 2 3")), Err(NotEnough::Gap));
        assert_eq!(rank(&[vec![1.0, f64::NAN], vec![1.0, 2.0]]), Err(NotEnough::Gap));
        assert_eq!(rank(&rows("2 2,5 5")), Err(NotEnough::AllTied));
        assert_eq!(rank(&rows("0 -0,-0 0")), Err(NotEnough::AllTied));
    }
}
