//! The logistic curve through a series of gravities, by least squares.

use super::Reading;

/// The curve `FG + (OG - FG)/(1 + exp(k (t - t_mid)))`.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Curve {
    /// Gravity that it begins at; may lie above the first reading.
    pub original_gravity: f64,
    /// Gravity that it ends at.
    pub final_gravity: f64,
    /// How steep it is, per day.
    pub rate_per_day: f64,
    /// The day of its steepest fall.
    pub midpoint_day: f64,
    /// Root of the mean square distance of the readings from it.
    pub rmse_sg: f64,
}

impl Curve {
    /// How far it falls.
    pub fn drop_sg(&self) -> f64 {
        self.original_gravity - self.final_gravity
    }

    /// Its gravity on a day.
    pub fn sg_on(&self, day: f64) -> f64 {
        self.final_gravity + self.drop_sg() * left(self.rate_per_day, self.midpoint_day, day)
    }

    /// The day on which it comes within `distance_sg` of its end: that of its middle or later.
    pub fn day_within(&self, distance_sg: f64) -> f64 {
        let times = self.drop_sg() / distance_sg.max(1e-6) - 1.0;
        self.midpoint_day + times.max(1.0).ln() / self.rate_per_day
    }
}

/// The lowest final and the highest original gravity, and the logarithms of the rates per day.
const LOWEST_FG: f64 = 0.980;
const HIGHEST_OG: f64 = 1.25;
const LOG_RATES: (f64, f64) = (-4.0, 3.0);
/// The coarse search looks at so many rates and midpoints.
const GRID: (u32, u32) = (24, 36);
/// The fine search ends at steps of this size, or is given up after so many.
const FINEST_STEP: f64 = 1e-9;
const MOST_STEPS: u32 = 1000;

/// A point of the search: logarithm of the rate, and midpoint, with the sum of squares there.
#[derive(Clone, Copy)]
struct Point {
    log_rate: f64,
    midpoint: f64,
    squares: f64,
}

/// The curve nearest to the readings, in the order of time, with 0.980 ≤ FG ≤ OG and a rate above zero.
/// None where the best lies on a bound, so that the readings do not determine it, or is not found.
///
/// For a given rate and midpoint the gravities follow by linear least squares, so that only two numbers
/// are searched for: first on a coarse grid, then step by step from the best of it.
pub fn fit(readings: &[Reading]) -> Option<Curve> {
    let (first, last) = (readings.first()?.day, readings.last()?.day);
    let midpoints = (first - (last - first), last + (last - first));
    let step =
        ((LOG_RATES.1 - LOG_RATES.0) / f64::from(GRID.0), (midpoints.1 - midpoints.0) / f64::from(GRID.1));
    let grid =
        (0..=GRID.0).flat_map(|row| (0..=GRID.1).map(move |column| (f64::from(row), f64::from(column))));
    let start = grid
        .map(|(row, column)| point(readings, LOG_RATES.0 + row * step.0, midpoints.0 + column * step.1))
        .min_by(|a, b| a.squares.total_cmp(&b.squares))?;
    let best = descend(readings, start, step, midpoints)?;
    let (final_gravity, drop, squares) = level(readings, best.log_rate.exp(), best.midpoint);
    let inside = |value: f64, bounds: (f64, f64)| value > bounds.0 + 1e-6 && value < bounds.1 - 1e-6;
    let determined = inside(best.log_rate, LOG_RATES)
        && inside(best.midpoint, midpoints)
        && inside(final_gravity, (LOWEST_FG, HIGHEST_OG))
        && inside(final_gravity + drop, (final_gravity, HIGHEST_OG));
    determined.then(|| Curve {
        original_gravity: final_gravity + drop,
        final_gravity,
        rate_per_day: best.log_rate.exp(),
        midpoint_day: best.midpoint,
        rmse_sg: (squares / count(readings)).sqrt(),
    })
}

/// From the start to the lowest neighbour, again and again, with steps halved where there is none.
fn descend(readings: &[Reading], start: Point, mut step: (f64, f64), midpoints: (f64, f64)) -> Option<Point> {
    let mut best = start;
    for _ in 0..MOST_STEPS {
        let neighbours = (0..9).filter(|n| *n != 4).map(|n| {
            let log_rate = best.log_rate + f64::from(n / 3 - 1) * step.0;
            let midpoint = best.midpoint + f64::from(n % 3 - 1) * step.1;
            let log_rate = log_rate.clamp(LOG_RATES.0, LOG_RATES.1);
            point(readings, log_rate, midpoint.clamp(midpoints.0, midpoints.1))
        });
        let lowest = neighbours.fold(best, |a, b| if b.squares < a.squares { b } else { a });
        if lowest.squares < best.squares {
            best = lowest;
        } else if step.0 > FINEST_STEP {
            step = (step.0 / 2.0, step.1 / 2.0);
        } else {
            return Some(best);
        }
    }
    None
}

fn point(readings: &[Reading], log_rate: f64, midpoint: f64) -> Point {
    Point { log_rate, midpoint, squares: level(readings, log_rate.exp(), midpoint).2 }
}

/// The best final gravity and drop for a rate and a midpoint, by linear least squares within the bounds,
/// and their sum of squares. The shares that are left are worked out once: they are what takes the time.
fn level(readings: &[Reading], rate: f64, midpoint: f64) -> (f64, f64, f64) {
    let points: Vec<(f64, f64)> = readings.iter().map(|r| (left(rate, midpoint, r.day), r.sg)).collect();
    let sums = |x0: f64, y0: f64| {
        points.iter().fold((0.0, 0.0), |(xy, xx), (x, y)| (xy + (x - x0) * (y - y0), xx + (x - x0).powi(2)))
    };
    let slope = |(xy, xx): (f64, f64)| if xx > 0.0 { (xy / xx).max(0.0) } else { 0.0 };
    let (sum_x, sum_y) = points.iter().fold((0.0, 0.0), |(x, y), point| (x + point.0, y + point.1));
    let (mean_x, mean_y) = (sum_x / count(readings), sum_y / count(readings));
    let free = slope(sums(mean_x, mean_y));
    let fg = mean_y - free * mean_x;
    let (fg, drop) = if fg < LOWEST_FG { (LOWEST_FG, slope(sums(0.0, LOWEST_FG))) } else { (fg, free) };
    let drop = drop.min((HIGHEST_OG - fg).max(0.0));
    (fg, drop, points.iter().map(|(x, y)| (y - fg - drop * x).powi(2)).sum())
}

/// The share of the fall that is left on a day.
fn left(rate: f64, midpoint: f64, day: f64) -> f64 {
    (1.0 + (rate * (day - midpoint)).exp()).recip()
}

#[allow(clippy::cast_precision_loss, reason = "readings of one batch")]
fn count(readings: &[Reading]) -> f64 {
    readings.len() as f64
}

#[cfg(test)]
mod tests {
    use super::super::super::checks::near;
    use super::*;

    #[test]
    fn a_curve_that_is_known_is_found_again() {
        for (og, fg, rate, midpoint) in
            [(1.05, 1.01, 0.5, 4.0), (1.12, 0.995, 0.3, 9.0), (1.08, 1.0, 1.6, 2.0), (1.04, 0.999, 0.9, 0.5)]
        {
            let reading = |day: f64| Reading {
                day,
                sg: fg + (og - fg) * left(rate, midpoint, day),
                temperature_c: None,
            };
            let readings: Vec<Reading> = (0..25).map(|n| reading(f64::from(n))).collect();
            let curve = fit(&readings).unwrap();
            near(curve.final_gravity, fg, 1e-7);
            near(curve.original_gravity, og, 1e-5);
            near(curve.rate_per_day, rate, 1e-4);
            near(curve.midpoint_day, midpoint, 1e-3);
        }
    }

    #[test]
    fn a_line_without_an_end_determines_nothing() {
        let reading =
            |n: u32| Reading { day: f64::from(n), sg: 1.08 - 0.01 * f64::from(n), temperature_c: None };
        assert_eq!(fit(&(0..5).map(reading).collect::<Vec<_>>()), None);
        let flat = |n: u32| Reading { day: f64::from(n), sg: 1.0, temperature_c: None };
        assert_eq!(fit(&(0..5).map(flat).collect::<Vec<_>>()), None);
        assert_eq!(fit(&[]), None);
    }
}
