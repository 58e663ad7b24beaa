//! How long a formula takes against the same computation in scipy, in the same run.
//!
//! `cargo test --release --test suite reference::speed -- --ignored --nocapture`

use std::hint::black_box;
use std::path::Path;
use std::process::Command;
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

#[test]
#[ignore = "needs Python with scipy; figures are worth something in a release build only"]
fn formulas_take_a_part_of_the_time_of_scipy() {
    let script = Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/reference/science.py");
    let python = std::env::var("UNDERCROFT_PYTHON").unwrap_or_else(|_| "python3".to_owned());
    let out = Command::new(&python).arg(&script).arg("speed").output();
    let out = out.unwrap_or_else(|error| panic!("{python} does not start: {error}"));
    assert!(out.status.success(), "{}", String::from_utf8_lossy(&out.stderr));
    let said = String::from_utf8_lossy(&out.stdout).into_owned();
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
    let slowest = if cfg!(debug_assertions) { 10.0 } else { 1.0 };
    for (name, took) in ours {
        let line = said.lines().find_map(|line| line.strip_prefix(name)).expect("scipy was measured too");
        let scipy: f64 = line.trim().parse().expect("a number of seconds");
        let (us, theirs, ratio) = (took * 1e6, scipy * 1e6, scipy / took);
        println!("{name:<10} {us:>10.2} µs, scipy {theirs:>10.2} µs: {ratio:.1} times as fast");
        assert!(took < slowest * scipy, "{name} is slower than scipy");
    }
}
