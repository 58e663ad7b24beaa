//! In which order glasses are served, and under which codes, so that neither sways a judge.

/// A Williams design (1949) for so many samples: each order of serving names samples by number from 0. Every sample
/// stands equally often in every position, and every sample follows every other equally often. An even number of
/// samples needs as many orders, an odd number twice as many.
pub fn williams(samples: usize) -> Vec<Vec<usize>> {
    if samples == 0 {
        return Vec::new();
    }
    // 0, 1, t-1, 2, t-2, …
    let first =
        (0..samples).map(|at| if at % 2 == 1 { at.div_ceil(2) } else { (samples - at / 2) % samples });
    let first: Vec<usize> = first.collect();
    let turned = (0..samples).map(|by| first.iter().map(|sample| (sample + by) % samples).collect());
    let mut orders: Vec<Vec<usize>> = turned.collect();
    if samples % 2 == 1 && samples > 1 {
        let mirrored: Vec<Vec<usize>> =
            orders.iter().map(|order| order.iter().rev().copied().collect()).collect();
        orders.extend(mirrored);
    }
    orders
}

/// The order for each of so many judges: the orders of the design in turn, beginning with the one that `start` falls
/// on, so that not every tasting begins with the same.
pub fn for_judges(samples: usize, judges: usize, start: usize) -> Vec<Vec<usize>> {
    let orders = williams(samples);
    orders.iter().cycle().skip(start % orders.len().max(1)).take(judges).cloned().collect()
}

/// Three-digit codes, all different, none of which looks like a place in an order or a pattern. `draw` gives random
/// numbers. There are 490 such codes; more are not given.
pub fn codes(samples: usize, mut draw: impl FnMut() -> u32) -> Vec<u16> {
    let mut free: Vec<u16> = (101..=998).filter(|code| !is_pattern(*code)).collect();
    let most = free.len();
    let mut take = || {
        let left = u32::try_from(free.len()).unwrap_or(1);
        free.swap_remove(usize::try_from(draw() % left).unwrap_or(0))
    };
    (0..samples.min(most)).map(|_| take()).collect()
}

/// Codes that people read a meaning into: equal digits side by side, digits in a row, a nought.
fn is_pattern(code: u16) -> bool {
    let (a, b, c) = (code / 100, code / 10 % 10, code % 10);
    let in_a_row = (a + 1 == b && b + 1 == c) || (a == b + 1 && b == c + 1);
    a == b || b == c || a == c || in_a_row || b == 0 || c == 0
}

#[cfg(test)]
mod tests {
    use std::collections::{HashMap, HashSet};

    use super::super::super::checks::Draw;
    use super::*;

    #[test]
    fn every_sample_is_in_every_position_and_after_every_other_equally_often() {
        for samples in 2..=20 {
            let orders = williams(samples);
            let (mut places, mut pairs) = (HashMap::new(), HashMap::new());
            for order in &orders {
                for (at, sample) in order.iter().enumerate() {
                    *places.entry((at, *sample)).or_insert(0) += 1;
                }
                for pair in order.windows(2) {
                    *pairs.entry((pair[0], pair[1])).or_insert(0) += 1;
                }
            }
            let times = if samples % 2 == 0 { 1 } else { 2 };
            assert_eq!(orders.len(), samples * times);
            assert_eq!((places.len(), pairs.len()), (samples * samples, samples * (samples - 1)));
            assert!(places.values().chain(pairs.values()).all(|count| *count == times), "{samples} samples");
        }
    }

    #[test]
    fn the_squares_are_those_of_the_table() {
        // C: Williams (1949) as computed and checked independently, samples from 1.
        let table = include_str!("../../../tests/check-values/williams_squares.csv");
        let mut rows = 0;
        for line in table.lines().skip(1) {
            let cells: Vec<&str> = line.split(',').collect();
            let (samples, row): (usize, usize) = (cells[0].parse().unwrap(), cells[1].parse().unwrap());
            let want: Vec<usize> =
                cells[2].split(' ').map(|sample| sample.parse::<usize>().unwrap() - 1).collect();
            assert_eq!(williams(samples)[row - 1], want, "{line}");
            rows += 1;
        }
        assert!(rows > 40);
    }

    #[test]
    fn judges_take_turns() {
        let orders = for_judges(4, 6, 3);
        assert_eq!(orders.len(), 6);
        assert_eq!(orders[0], williams(4)[3]);
        assert_eq!(orders[1], williams(4)[0]);
        assert!(for_judges(0, 5, 7).is_empty());
        assert_eq!(for_judges(1, 2, 9), vec![vec![0]; 2]);
    }

    #[test]
    fn codes_differ_and_mean_nothing() {
        let mut numbers = Draw::new(7);
        let codes = codes(500, || numbers.index(u32::MAX));
        assert_eq!(codes.len(), 490);
        assert_eq!(codes.iter().collect::<HashSet<_>>().len(), 490);
        assert!(codes.iter().all(|code| (100..1000).contains(code) && !is_pattern(*code)));
        for pattern in [111, 123, 321, 101, 220, 355] {
            assert!(is_pattern(pattern), "{pattern}");
        }
    }
}
