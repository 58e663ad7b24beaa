//! Scores on a scale: means with their uncertainty, differences between two samples, and a trend over time.

use statrs::distribution::{ContinuousCDF, StudentsT};

use super::{Interval, NotEnough};

/// The mean of some scores.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Mean {
    /// The mean.
    pub mean: f64,
    /// How many scores.
    pub of: u32,
    /// Standard deviation with n - 1; none for a single score.
    pub deviation: Option<f64>,
    /// The 95 % interval of the mean by Student's t; none for a single score.
    pub interval: Option<Interval>,
}

/// The mean of some scores with its uncertainty.
pub fn mean(scores: &[f64]) -> Result<Mean, NotEnough> {
    let n = count(scores.len());
    if scores.is_empty() {
        return Err(NotEnough::Judges);
    }
    let mean = scores.iter().sum::<f64>() / n;
    if !mean.is_finite() {
        return Err(NotEnough::Gap);
    }
    let of = u32::try_from(scores.len()).unwrap_or(u32::MAX);
    if of == 1 {
        return Ok(Mean { mean, of, deviation: None, interval: None });
    }
    let squares: f64 = scores.iter().map(|score| (score - mean).powi(2)).sum();
    let deviation = (squares / (n - 1.0)).sqrt();
    let half = t_quantile(n - 1.0) * deviation / n.sqrt();
    let interval = Some(Interval { low: mean - half, high: mean + half });
    Ok(Mean { mean, of, deviation: Some(deviation), interval })
}

/// How much more the same judges gave to one sample than to another.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Difference {
    /// The mean of the differences, with its uncertainty.
    pub mean: Mean,
    /// Student's t of it.
    pub t: f64,
    /// How likely a difference so large or larger is if there is none; two-sided.
    pub p: f64,
}

/// Compares two samples that the same judges scored: pairs of the first and the second score.
pub fn difference(pairs: &[(f64, f64)]) -> Result<Difference, NotEnough> {
    let differences: Vec<f64> = pairs.iter().map(|(one, other)| one - other).collect();
    let mean = mean(&differences)?;
    let deviation = mean.deviation.ok_or(NotEnough::Judges)?;
    if deviation == 0.0 {
        return Err(NotEnough::AllTied);
    }
    let n = f64::from(mean.of);
    let t = mean.mean / (deviation / n.sqrt());
    Ok(Difference { mean, t, p: two_sided(t, n - 1.0) })
}

/// A straight line through scores over time.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Trend {
    /// Change of the score for each unit of time, with its 95 % interval.
    pub slope: (f64, Interval),
    /// The score at time nought.
    pub start: f64,
    /// How likely a slope so steep or steeper is if there is none; two-sided.
    pub p: f64,
}

/// The line of least squares through points of time and score; at least three, not all of one time.
pub fn trend(points: &[(f64, f64)]) -> Result<Trend, NotEnough> {
    let n = count(points.len());
    if points.len() < 3 {
        return Err(NotEnough::Judges);
    }
    line(points, centre(points), n - 2.0)
}

/// The same through what several judges gave at several times (one list a judge), each against their own level: times
/// and scores are taken as differences to that judge's own means, so that a strict judge who comes late bends nothing.
/// Who came once says nothing of the change and is left out. Source: the within estimator (fixed effects of judges).
pub fn trend_within(judges: &[Vec<(f64, f64)>]) -> Result<Trend, NotEnough> {
    let again: Vec<_> = judges.iter().filter(|points| points.len() > 1).collect();
    let all: Vec<(f64, f64)> = again.iter().flat_map(|points| points.iter().copied()).collect();
    let freedom = count(all.len()) - count(again.len()) - 1.0;
    if freedom < 1.0 {
        return Err(NotEnough::Judges);
    }
    let middle = centre(&all);
    let level = |points: &Vec<(f64, f64)>| {
        let own = centre(points);
        points.iter().map(move |(x, y)| (x - own.0 + middle.0, y - own.1 + middle.1)).collect::<Vec<_>>()
    };
    line(&again.into_iter().flat_map(level).collect::<Vec<_>>(), middle, freedom)
}

/// The mean time and the mean score.
fn centre(points: &[(f64, f64)]) -> (f64, f64) {
    let n = count(points.len());
    let sum = |of: fn(&(f64, f64)) -> f64| points.iter().map(of).sum::<f64>();
    (sum(|point| point.0) / n, sum(|point| point.1) / n)
}

fn line(points: &[(f64, f64)], (mean_x, mean_y): (f64, f64), freedom: f64) -> Result<Trend, NotEnough> {
    let (mut xx, mut xy) = (0.0, 0.0);
    for (x, y) in points {
        xx += (x - mean_x).powi(2);
        xy += (x - mean_x) * (y - mean_y);
    }
    if !(xx.is_finite() && xy.is_finite()) {
        return Err(NotEnough::Gap);
    }
    if xx == 0.0 {
        return Err(NotEnough::AllTied);
    }
    let slope = xy / xx;
    let start = mean_y - slope * mean_x;
    let residual: f64 = points.iter().map(|(x, y)| (y - start - slope * x).powi(2)).sum();
    let error = (residual / freedom / xx).sqrt();
    let half = t_quantile(freedom) * error;
    // Points that lie on one line leave nothing to chance.
    let p = if error > 0.0 { two_sided(slope / error, freedom) } else { 0.0 };
    Ok(Trend { slope: (slope, Interval { low: slope - half, high: slope + half }), start, p })
}

/// The 97.5 % quantile of Student's t.
fn t_quantile(freedom: f64) -> f64 {
    StudentsT::new(0.0, 1.0, freedom).map_or(f64::INFINITY, |t| t.inverse_cdf(0.975))
}

fn two_sided(t: f64, freedom: f64) -> f64 {
    StudentsT::new(0.0, 1.0, freedom).map_or(1.0, |student| (2.0 * student.sf(t.abs())).min(1.0))
}

#[allow(clippy::cast_precision_loss, reason = "a panel has no 2^52 judges")]
const fn count(n: usize) -> f64 {
    n as f64
}

#[cfg(test)]
mod tests {
    use super::super::super::checks::near;
    use super::*;

    #[test]
    fn quantiles_of_t_are_those_of_the_tables() {
        // M: any table of Student's t, 97.5 %.
        for (freedom, want) in [
            (1.0, 12.7062),
            (2.0, 4.3027),
            (5.0, 2.5706),
            (7.0, 2.3646),
            (9.0, 2.2622),
            (19.0, 2.0930),
            (29.0, 2.0452),
            (60.0, 2.0003),
        ] {
            near(t_quantile(freedom), want, 6e-5);
        }
    }

    #[test]
    fn a_mean_says_how_sure_it_is() {
        // C: numpy and scipy.stats.t.
        let mean = mean(&[6.5, 7.0, 5.5, 8.0, 6.0, 7.5, 6.5, 7.0]).unwrap();
        near(mean.mean, 6.75, 1e-12);
        near(mean.deviation.unwrap(), 0.801_784, 1e-6);
        near(mean.interval.unwrap().low, 6.079_69, 1e-5);
        near(mean.interval.unwrap().high, 7.420_31, 1e-5);
    }

    #[test]
    fn one_score_has_no_interval_and_none_has_no_mean() {
        let one = mean(&[7.0]).unwrap();
        assert_eq!((one.deviation, one.interval), (None, None));
        assert_eq!(mean(&[]), Err(NotEnough::Judges));
        assert_eq!(mean(&[1.0, f64::NAN]), Err(NotEnough::Gap));
    }

    #[test]
    fn a_trend_says_how_sure_it_is() {
        // C: scipy.stats.linregress.
        let points = [(2.0, 5.1), (4.0, 5.9), (6.0, 6.2), (9.0, 6.8), (12.0, 7.4), (18.0, 7.6)];
        let trend = trend(&points).unwrap();
        near(trend.slope.0, 0.153_352_769_679, 1e-9);
        near(trend.start, 5.196_501_457_726, 1e-9);
        near(trend.slope.1.low, 0.079_390_164, 1e-8);
        near(trend.slope.1.high, 0.227_315_375, 1e-8);
        near(trend.p, 0.004_516_430_2, 1e-9);
    }

    #[test]
    fn a_trend_of_many_judges_does_not_take_their_strictness_for_time() {
        // C: numpy.linalg.lstsq with a column for each judge who came more than once, and scipy.stats.t.
        let judges = [
            vec![(0.25, 5.5), (0.5, 6.0), (1.0, 7.0)],
            vec![(0.25, 7.0), (0.5, 8.0)],
            vec![(0.5, 4.0), (1.0, 5.5), (1.5, 5.0)],
            vec![(0.25, 6.0), (1.5, 8.5)],
            vec![(1.0, 9.0)],
        ];
        let trend = trend_within(&judges).unwrap();
        near(trend.slope.0, 1.727_272_727_3, 1e-9);
        near(trend.slope.1.low, 0.744_506_889_2, 1e-9);
        near(trend.slope.1.high, 2.710_038_565_4, 1e-9);
        near(trend.start, 4.997_727_272_7, 1e-9);
        near(trend.p, 0.006_294_675_07, 1e-10);
        // A generous judge at the start and a strict one at the end, neither of whom changes their mind.
        let strict = [vec![(0.0, 9.0), (1.0, 9.0)], vec![(1.0, 3.0), (2.0, 3.0)]];
        near(trend_within(&strict).unwrap().slope.0, 0.0, 1e-12);
        assert_eq!(trend_within(&[vec![(0.0, 5.0), (1.0, 6.0)], vec![(1.0, 6.0)]]), Err(NotEnough::Judges));
    }

    #[test]
    fn no_trend_without_time() {
        assert_eq!(trend(&[(1.0, 5.0), (2.0, 6.0)]), Err(NotEnough::Judges));
        assert_eq!(trend(&[(1.0, 5.0), (1.0, 6.0), (1.0, 7.0)]), Err(NotEnough::AllTied));
        assert_eq!(trend(&[(1.0, 5.0), (f64::NAN, 6.0), (1.0, 7.0)]), Err(NotEnough::Gap));
    }
}
