//! A curve with thousands of points, drawn with a few hundred: nothing that an eye could see is lost.
//!
//! The picture is cut into columns. Of the points in each, the first, the last, the lowest and the highest are kept, in
//! their order: so ends, extremes and steps stay where they were, to the width of a column.

/// Columns of a picture: each is a few pixels wide on a large screen.
pub const COLUMNS: usize = 80;

/// The points that are drawn, of points in the order of their days. As many as four a column are left as they are.
pub fn thin(points: &[(f64, f64)], columns: usize) -> Vec<(f64, f64)> {
    let (Some(first), Some(last)) = (points.first(), points.last()) else { return Vec::new() };
    let wide = (last.0 - first.0) / whole(columns.max(1));
    if points.len() <= 4 * columns || wide <= 0.0 {
        return points.to_vec();
    }
    #[allow(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "columns of a picture")]
    let column = |point: &(f64, f64)| (((point.0 - first.0) / wide) as usize).min(columns - 1);
    let mut kept = Vec::with_capacity(4 * columns);
    for some in points.chunk_by(|one, next| column(one) == column(next)) {
        let (mut low, mut high) = (0, 0);
        for (at, point) in some.iter().enumerate() {
            low = if point.1 < some[low].1 { at } else { low };
            high = if point.1 > some[high].1 { at } else { high };
        }
        let those = [0, low.min(high), low.max(high), some.len() - 1];
        let new = |at: &usize| *at == 0 || those[*at - 1] != those[*at];
        kept.extend((0..those.len()).filter(new).map(|at| some[those[at]]));
    }
    kept
}

#[allow(clippy::cast_precision_loss, reason = "columns of a picture")]
fn whole(count: usize) -> f64 {
    count as f64
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    #[test]
    fn few_points_stay_as_they_are() {
        let points: Vec<_> = (0..20_u8).map(|n| (f64::from(n), f64::from(n % 3))).collect();
        assert_eq!(thin(&points, COLUMNS), points);
        assert_eq!(thin(&[], COLUMNS), []);
        assert_eq!(thin(&[(1.0, 2.0); 1000], COLUMNS).len(), 1000, "all at one time: nothing to cut");
    }

    #[test]
    fn a_step_and_a_spike_stay_where_they_are() {
        let value = |n: u32| {
            if n == 777 {
                1.2
            } else if n < 1000 {
                1.08
            } else {
                1.03
            }
        };
        let points: Vec<_> = (0..2000).map(|n| (f64::from(n), value(n))).collect();
        let kept = thin(&points, COLUMNS);
        assert!(kept.len() <= 4 * COLUMNS, "{}", kept.len());
        assert!(kept.contains(&(777.0, 1.2)));
        let step = kept.windows(2).find(|pair| pair[0].1 > 1.05 && pair[1].1 < 1.05).unwrap();
        assert!(step[1].0 - step[0].0 <= 2000.0 / 80.0, "the step is one column wide at most: {step:?}");
    }

    proptest! {
        #[test]
        fn ends_and_extremes_are_kept_and_the_order(values in prop::collection::vec(0.98_f64..1.12, 400..1500)) {
            let at = |n: u32| f64::from(n * n % 7 + 7 * n);
            let points: Vec<_> = (0_u32..).zip(values).map(|(n, value)| (at(n), value)).collect();
            let kept = thin(&points, 40);
            let extreme = |of: &[(f64, f64)], by: fn(f64, f64) -> f64, from: f64| of.iter().map(|p| p.1).fold(from, by);
            prop_assert!(kept.len() <= 160);
            prop_assert_eq!((kept[0], kept[kept.len() - 1]), (points[0], points[points.len() - 1]));
            prop_assert!(extreme(&kept, f64::min, 9.0) <= extreme(&points, f64::min, 9.0));
            prop_assert!(extreme(&kept, f64::max, 0.0) >= extreme(&points, f64::max, 0.0));
            let mut rest = points.iter();
            prop_assert!(kept.iter().all(|one| rest.any(|point| point == one)), "the order is that of the points");
        }
    }
}
