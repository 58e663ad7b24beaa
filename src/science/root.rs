//! The zero of a continuous function inside a bracket.

use std::fmt;

/// Why no zero was found.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum NoRoot {
    /// The function has the same sign at both ends: `(x, f(x))` of each.
    SameSign {
        /// The low end.
        low: (f64, f64),
        /// The high end.
        high: (f64, f64),
    },
    /// The bracket, or the function at this place, is not a finite number.
    NotFinite {
        /// Where.
        at: f64,
    },
    /// The bracket could not be narrowed below this within the promised number of steps.
    NotNarrowed {
        /// Its low end.
        low: f64,
        /// Its high end.
        high: f64,
    },
}

impl std::error::Error for NoRoot {}

impl fmt::Display for NoRoot {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::SameSign { low, high } => write!(
                f,
                "no solution between {} and {}: the difference is {} at one end and {} at the other",
                low.0, high.0, low.1, high.1
            ),
            Self::NotFinite { at } => {
                write!(f, "no solution: the function has no finite value at {at}")
            }
            Self::NotNarrowed { low, high } => {
                write!(f, "the solution lies between {low} and {high}, but could not be narrowed further")
            }
        }
    }
}

/// Finds `x` in `low..=high` with `f(x) = 0`, to a few units of the last place of the larger bound.
///
/// The method is ITP (interpolate, truncate, project; Oliveira and Takahashi, ACM Trans. Math. Softw.
/// 47 (2021) 5, from memory): never more than one step beyond bisection, mostly as fast as the secant.
pub fn find(low: f64, high: f64, f: impl Fn(f64) -> f64) -> Result<f64, NoRoot> {
    let (mut a, mut b) = if low <= high { (low, high) } else { (high, low) };
    let (mut fa, mut fb) = (value_at(a, &f)?, value_at(b, &f)?);
    if fa == 0.0 || fb == 0.0 {
        return Ok(if fa == 0.0 { a } else { b });
    }
    if (fa < 0.0) == (fb < 0.0) {
        return Err(NoRoot::SameSign { low: (a, fa), high: (b, fb) });
    }
    let rising = fa < 0.0;
    let width = b - a;
    let tolerance = 2.0 * f64::EPSILON * a.abs().max(b.abs());
    let bisections = (width / (2.0 * tolerance)).log2().ceil().max(0.0) + 1.0;
    let mut reach = tolerance * bisections.exp2();
    let mut steps = 0.0;
    while b - a > 2.0 * tolerance {
        if steps > bisections + 4.0 {
            return Err(NoRoot::NotNarrowed { low: a, high: b });
        }
        let middle = a + (b - a) / 2.0;
        let secant = (fb * a - fa * b) / (fb - fa);
        let towards = (middle - secant).signum();
        let nudge = 0.2 / width * (b - a).powi(2);
        let truncated = if nudge <= (middle - secant).abs() { secant + towards * nudge } else { middle };
        let slack = (reach - (b - a) / 2.0).max(0.0);
        let x = if (truncated - middle).abs() <= slack { truncated } else { middle - towards * slack };
        let fx = value_at(x, &f)?;
        if fx == 0.0 {
            return Ok(x);
        }
        if (fx < 0.0) == rising {
            (a, fa) = (x, fx);
        } else {
            (b, fb) = (x, fx);
        }
        reach /= 2.0;
        steps += 1.0;
    }
    Ok(a + (b - a) / 2.0)
}

fn value_at(x: f64, f: impl Fn(f64) -> f64) -> Result<f64, NoRoot> {
    let value = f(x);
    if x.is_finite() && value.is_finite() { Ok(value) } else { Err(NoRoot::NotFinite { at: x }) }
}

#[cfg(test)]
mod tests {
    use super::*;
    use std::cell::Cell;

    #[test]
    fn it_finds_known_zeros_in_few_steps() {
        type Case = (f64, f64, fn(f64) -> f64, f64);
        // Zeros known in closed form, or (x = cos x, Lambert's W) to 16 digits (M).
        let cases: [Case; 5] = [
            (0.0, 2.0, |x| x * x - 2.0, std::f64::consts::SQRT_2),
            (0.0, 1.0, |x| x - x.cos(), 0.739_085_133_215_160_6),
            (0.0, 1.0, |x| x * x.exp() - 1.0, 0.567_143_290_409_783_8),
            (-1.0, 4.0, |x| (x - 1.0).powi(9), 1.0),
            (1.0, 3.0, |x| if x < 2.5 { -1.0 } else { 1.0 }, 2.5),
        ];
        for (low, high, f, want) in cases {
            let calls = Cell::new(0);
            let counted = |x| {
                calls.set(calls.get() + 1);
                f(x)
            };
            assert!((find(low, high, counted).unwrap() - want).abs() < 1e-15 * 4.0);
            assert!(calls.get() <= 60, "{} calls", calls.get());
        }
    }

    #[test]
    fn it_says_why_there_is_none() {
        assert!(matches!(find(0.0, 1.0, |x| x + 1.0), Err(NoRoot::SameSign { .. })));
        assert!(matches!(find(-1.0, 1.0, |x| 1.0 / (x - x)), Err(NoRoot::NotFinite { .. })));
        assert!(matches!(find(f64::NAN, 1.0, |x| x), Err(NoRoot::NotFinite { .. })));
        assert!(matches!(find(0.0, f64::INFINITY, |x| x - 1.0), Err(NoRoot::NotFinite { .. })));
        let text = find(0.0, 1.0, |x| x + 1.0).unwrap_err().to_string();
        assert!(text.starts_with("no solution between 0 and 1"), "{text}");
    }

    #[test]
    fn a_zero_at_an_end_counts() {
        assert_eq!(find(0.0, 1.0, |x| x), Ok(0.0));
        assert_eq!(find(1.0, 0.0, |x| x - 1.0), Ok(1.0));
        assert_eq!(find(0.0, 0.0, |x| x), Ok(0.0));
    }
}
