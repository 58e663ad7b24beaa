//! How long a formula takes against the same computation in scipy, in the same run.
//!
//! `cargo test --release --test suite reference -- --ignored --nocapture`

use std::hint::black_box;
use std::time::Instant;

use undercroft::science::alcohol;
use undercroft::science::fermentation::{Reading, forecast};

/// Seconds of the middle one of many runs.
fn median(calls: u32, mut work: impl FnMut(f64)) -> f64 {
    let mut runs: Vec<f64> = (0..31)
        .map(|_| {
            let start = Instant::now();
            (0..calls).for_each(|at| work(f64::from(at)));
            start.elapsed().as_secs_f64() / f64::from(calls)
        })
        .collect();
    runs.sort_by(f64::total_cmp);
    runs[15]
}

/// Prints how many times as fast each is; worth something in a release build only.
pub fn print_ratios(scipy: &str) {
    let readings: Vec<Reading> = (0..60)
        .map(|at: u32| {
            let day = f64::from(at) / 4.0;
            let ripple = if at.is_multiple_of(2) { 0.0003 } else { -0.0003 };
            let sg = 0.998 + 0.087 / (1.0 + (0.9 * (day - 3.5)).exp()) + ripple;
            Reading { day, sg, temperature_c: None }
        })
        .collect();
    let ours = [
        (
            "strength",
            median(50, |at| {
                let _ = black_box(alcohol::strength_from_gravities(1.05 + at / 1000.0, 1.0));
            }),
        ),
        (
            "curve",
            median(5, |_| {
                let _ = black_box(forecast(black_box(&readings), 0.998));
            }),
        ),
    ];
    for (name, took) in ours {
        let line = scipy.lines().find_map(|line| line.strip_prefix(name)).expect("scipy was measured too");
        let theirs: f64 = line.trim().parse().expect("a number of seconds");
        let (us, theirs_us, ratio) = (took * 1e6, theirs * 1e6, theirs / took);
        println!("{name:<10} {us:>10.2} µs, scipy {theirs_us:>10.2} µs: {ratio:.1} times as fast");
    }
}
